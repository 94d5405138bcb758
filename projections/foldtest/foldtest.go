// Package foldtest helps tests of folds: it makes stored records as the recorder would, and checks the laws that every
// fold keeps.
package foldtest

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"math/rand/v2"
	"testing"
	"time"

	"latewood/events"
	"latewood/events/civil"
	"latewood/projections"
)

// A Farm collects records in the order in which a ledger would hold them.
type Farm struct {
	t       testing.TB
	door    *events.Door
	Records []*events.Record
	n       uint64
	clock   time.Time
}

// NewFarm opens an invented farm in a zone: code "tern-hollow", north of the equator.
func NewFarm(t testing.TB, zone string) *Farm {
	t.Helper()
	loc, err := civil.Zone(zone)
	if err != nil {
		t.Fatal(err)
	}
	f := &Farm{t: t, clock: time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)}
	f.door = &events.Door{Catalogue: events.Standard(), Farm: "tern-hollow", Zone: loc}
	f.Add("2008-01-01", &events.FarmOpened{Name: "Tern Hollow", Zone: zone, Latitude: 19.6, Longitude: -155.1})
	return f
}

// Zone is the farm's zone.
func (f *Farm) Zone() *time.Location { return f.door.Zone }

// Add records data (a pointer to a kind's struct) as having happened at a time: RFC 3339, a date, or "" where a field of
// the data tells it. It fails the test if the door refuses it.
func (f *Farm) Add(at string, data any) *events.Record {
	f.t.Helper()
	return f.AddFrom(events.Draft{Time: at}, data)
}

// AddFrom is Add with an envelope of the test's making: an id, a notedtime, a devicetime.
func (f *Farm) AddFrom(draft events.Draft, data any) *events.Record {
	f.t.Helper()
	kind := f.door.Catalogue.KindOf(data)
	if kind == nil {
		f.t.Fatalf("foldtest: %T is the data of no kind", data)
	}
	draft.Type, draft.Data = kind.Type(), events.Encode(data)
	a, problems := f.door.Check(draft)
	if len(problems) > 0 {
		f.t.Fatalf("foldtest: %s refused: %v", kind.Name, problems)
	}
	f.n++
	f.clock = f.clock.Add(time.Second)
	id := a.ID
	if id.IsZero() {
		var tail [10]byte
		binary.BigEndian.PutUint64(tail[2:], f.n)
		id = events.NewID(f.clock.UnixMilli(), tail)
	}
	source := "/farms/" + f.door.Farm + "/cli"
	if draft.Source != "" {
		source = draft.Source
	}
	env := events.Envelope{
		Farm: f.door.Farm, ID: id.String(), NotedTime: a.Draft.NotedTime, DeviceTime: a.Draft.DeviceTime,
		RecordedTime: events.RecordedAt(f.clock), Salt: "AAAAAAAAAAAAAAAAAAAAAA==", Source: source,
		Time: a.Draft.Time, Type: a.Draft.Type, Chains: "farm 1 -",
	}
	rec, err := events.ParseRecord(f.n, env.AppendCanonical(nil, a.Data))
	if err != nil {
		f.t.Fatal(err)
	}
	f.Records = append(f.Records, rec)
	return rec
}

// Correct gives a record other data; follows is the version that it follows (the record itself, or a correction).
func (f *Farm) Correct(rec, follows *events.Record, at string, data any) *events.Record {
	f.t.Helper()
	return f.Add("2026-01-02T00:00:00Z", &events.RecordCorrected{
		Record: rec.ID.String(), Type: f.door.Catalogue.KindOf(data).Type(), Follows: follows.ID.String(), Reason: "test",
		Time: at, Data: Data(data),
	})
}

// Withdraw ends a record.
func (f *Farm) Withdraw(rec, follows *events.Record) *events.Record {
	f.t.Helper()
	return f.Add("2026-01-02T00:00:00Z", &events.RecordWithdrawn{Record: rec.ID.String(), Follows: follows.ID.String(), Reason: "test"})
}

// Data is the JSON of a kind's data.
func Data(data any) events.Raw { return events.Raw(canonicalJSON(data)) }

// Book folds the farm's records in their order.
func (f *Farm) Book() *projections.Book {
	f.t.Helper()
	return BookOf(f.t, f.Records)
}

// BookOf folds records in the order given.
func BookOf(t testing.TB, records []*events.Record) *projections.Book {
	t.Helper()
	b := projections.NewBook(events.Standard())
	for _, r := range records {
		if err := b.Add(r); err != nil {
			t.Fatal(err)
		}
	}
	return b
}

// States is what folds say of every key, as bytes.
func States(t testing.TB, b *projections.Book, folds []*projections.Fold) []byte {
	t.Helper()
	var out bytes.Buffer
	for _, f := range folds {
		for _, code := range b.Keys(f.Class) {
			j, err := events.WriteJSON(b.State(f, code))
			if err != nil {
				t.Fatal(err)
			}
			fmt.Fprintf(&out, "%s %s %s\n", f.Name, code, j)
		}
	}
	return out.Bytes()
}

// Laws checks that folds keep the laws on these records: shuffled arrival gives the same bytes, asking in between changes
// nothing, and a snapshot at any place with the tail added is the same as folding from the start.
func Laws(t testing.TB, records []*events.Record, folds []*projections.Fold, seed uint64) {
	t.Helper()
	want := States(t, BookOf(t, records), folds)
	r := rand.New(rand.NewPCG(seed, 1))
	for range 3 {
		shuffled := append([]*events.Record(nil), records...)
		r.Shuffle(len(shuffled), func(i, j int) { shuffled[i], shuffled[j] = shuffled[j], shuffled[i] })
		b := projections.NewBook(events.Standard())
		for i, rec := range shuffled {
			if err := b.Add(rec); err != nil {
				t.Fatal(err)
			}
			if r.IntN(8) == 0 && i > 0 {
				States(t, b, folds)
			}
		}
		if got := States(t, b, folds); !bytes.Equal(got, want) {
			t.Fatalf("shuffled arrival gives other states:\n%s", diff(want, got))
		}
	}
	cut := r.IntN(len(records) + 1)
	b := BookOf(t, records[:cut])
	States(t, b, folds)
	var snapshot bytes.Buffer
	mark := projections.Mark{Origin: "test", Size: b.Size()}
	if err := b.Save(&snapshot, mark, folds); err != nil {
		t.Fatal(err)
	}
	loaded, got, err := projections.Load(&snapshot, events.Standard(), folds)
	if err != nil || got != mark {
		t.Fatalf("load: %v, mark %v", err, got)
	}
	for _, rec := range records[cut:] {
		if err := loaded.Add(rec); err != nil {
			t.Fatal(err)
		}
	}
	if got := States(t, loaded, folds); !bytes.Equal(got, want) {
		t.Fatalf("a snapshot at %d of %d and the tail give other states:\n%s", cut, len(records), diff(want, got))
	}
}

// diff shows the first line that differs.
func diff(want, got []byte) string {
	w, g := bytes.Split(want, []byte("\n")), bytes.Split(got, []byte("\n"))
	for i := range min(len(w), len(g)) {
		if !bytes.Equal(w[i], g[i]) {
			return fmt.Sprintf("want %s\ngot  %s", w[i], g[i])
		}
	}
	return fmt.Sprintf("%d lines wanted, %d got", len(w), len(g))
}
