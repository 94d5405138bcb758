package project_test

import (
	"context"
	"errors"
	"fmt"
	"iter"
	"slices"
	"sync/atomic"
	"testing"
	"time"

	"latewood/events"
	"latewood/events/ledger"
	"latewood/events/ledger/memlog"
	"latewood/projections"
	"latewood/projections/foldtest"
	"latewood/services/project"
)

// In the strict sense a moment's knowledge is a ledger that was cut there.
func TestKnownStrict(t *testing.T) {
	t.Parallel()
	w := newWriter(t)
	var last *events.Record
	for i := range 40 {
		at := events.RecordedAt(start.Add(time.Duration(10+i/3*10) * time.Second)) // some in one and the same moment
		env := events.Envelope{RecordedTime: at}
		if i%4 == 1 {
			env.NotedTime = "2025-06-02T00:00:00Z" // no matter here
		}
		if i%5 == 2 {
			env.Batch = "017f22e2-79b0-7cc3-98c4-dc0c0c07398f"
		}
		if i%7 == 6 {
			w.add("2025-07-01T00:00:00Z", env, &events.RecordCorrected{
				Record: last.ID.String(), Follows: last.ID.String(), Type: last.Envelope.Type, Reason: "test", Data: foldtest.Data(picked(100, "north")),
			})
			continue
		}
		last = w.add("2025-06-01T10:00:00-10:00", env, picked(float64(i+1), fmt.Sprint("b", i%3)))
	}
	var all []*events.Record
	for rec, err := range project.Records(t.Context(), w.log, 1, 0) {
		if err != nil {
			t.Fatal(err)
		}
		all = append(all, rec)
	}
	p := caughtUp(t, project.Config{Log: w.log})
	var f folds
	list := f.list(1)
	n := 0
	for by := start.Add(-5 * time.Second); by.Before(start.Add(150 * time.Second)); by = by.Add(2500 * time.Millisecond) {
		n++
		cut := 0
		for cut < len(all) && !all[cut].Recorded.After(by) {
			cut++
		}
		book, assumed, err := p.AsKnown(t.Context(), projections.Strict(by))
		if err != nil {
			t.Fatal(err)
		}
		want := foldtest.States(t, foldtest.BookOf(t, all[:cut]), list)
		if got := foldtest.States(t, book, list); string(got) != string(want) || book.Size() != uint64(cut) || assumed != 0 {
			t.Errorf("by %v: a book of %d, want %d; assumed %d\n%s\n%s", by, book.Size(), cut, assumed, got, want)
		}
	}
	// The zero moment is all that is known.
	book, _, err := p.AsKnown(t.Context(), projections.Knowledge{})
	if err != nil || book.Size() != w.n {
		t.Errorf("all of it: %v, %d of %d", err, book.Size(), w.n)
	}
	t.Logf("counts: %d moments over %d records", n, w.n)
}

func TestKnownClaimed(t *testing.T) {
	t.Parallel()
	const batch = "017f22e2-79b0-7cc3-98c4-dc0c0c07398f"
	type known struct {
		by      string
		kg      float64 // of all that is known then
		assumed int
	}
	late := "2026-01-01T00:00:02Z" // when the second record of a writer is recorded
	tests := []struct {
		name string
		add  func(*writer)
		want []known
	}{
		{"no claim: by its recordedtime", func(w *writer) { w.pick(8, "north") }, []known{
			{"2025-12-31T23:59:59Z", 0, 0}, {"2026-01-01T00:00:01.999Z", 0, 0}, {late, 8, 0},
		}},
		{"noted: from then on", func(w *writer) {
			w.add("2025-06-01T10:00:00-10:00", events.Envelope{NotedTime: "2025-06-03T08:00:00Z"}, picked(8, "north"))
		}, []known{{"2025-06-03T07:59:59.999Z", 0, 0}, {"2025-06-03T08:00:00Z", 8, 0}, {late, 8, 0}}},
		{"in a batch: from the end of its day on, in the farm's zone", func(w *writer) {
			w.add("2025-06-01T10:00:00-10:00", events.Envelope{Batch: batch}, picked(8, "north"))
		}, []known{{"2025-06-02T09:59:59.999Z", 0, 0}, {"2025-06-02T10:00:00Z", 8, 1}, {late, 8, 1}}},
		{"in a batch, at the first moment of a day: that day", func(w *writer) {
			w.add("2025-06-01T00:00:00-10:00", events.Envelope{Batch: batch}, picked(8, "north"))
		}, []known{{"2025-06-02T09:59:59.999Z", 0, 0}, {"2025-06-02T10:00:00Z", 8, 1}}},
		{"in a batch, and noted: as noted", func(w *writer) {
			w.add("2025-06-01T10:00:00-10:00", events.Envelope{Batch: batch, NotedTime: "2025-09-01T00:00:00Z"}, picked(8, "north"))
		}, []known{{"2025-06-02T10:00:00Z", 0, 0}, {"2025-08-31T23:59:59Z", 0, 0}, {"2025-09-01T00:00:00Z", 8, 0}}},
		{"a correction counts once both are known", func(w *writer) {
			// The correction is claimed to be older than what is claimed of its record.
			rec := w.add("2025-06-01T10:00:00-10:00", events.Envelope{NotedTime: "2025-08-01T00:00:00Z"}, picked(8, "north"))
			w.add("2025-07-01T00:00:00Z", events.Envelope{NotedTime: "2025-07-01T00:00:00Z"}, &events.RecordCorrected{
				Record: rec.ID.String(), Follows: rec.ID.String(), Type: rec.Envelope.Type, Reason: "test", Data: foldtest.Data(picked(20, "north")),
			})
		}, []known{{"2025-07-15T00:00:00Z", 0, 0}, {"2025-08-01T00:00:00Z", 20, 0}}},
		{"a later correction", func(w *writer) {
			rec := w.add("2025-06-01T10:00:00-10:00", events.Envelope{Batch: batch}, picked(8, "north"))
			c := w.add("2025-07-01T00:00:00Z", events.Envelope{Batch: batch}, &events.RecordCorrected{
				Record: rec.ID.String(), Follows: rec.ID.String(), Type: rec.Envelope.Type, Reason: "test", Data: foldtest.Data(picked(20, "north")),
			})
			// Follows a version that is known only later: until then it waits.
			w.add("2025-07-02T00:00:00Z", events.Envelope{NotedTime: "2025-06-20T00:00:00Z"}, &events.RecordCorrected{
				Record: rec.ID.String(), Follows: c.ID.String(), Type: rec.Envelope.Type, Reason: "test", Data: foldtest.Data(picked(30, "north")),
			})
		}, []known{{"2025-06-02T10:00:00Z", 8, 1}, {"2025-06-25T00:00:00Z", 8, 1}, {"2025-07-01T09:59:59Z", 8, 1}, {"2025-07-01T10:00:00Z", 30, 2}, {late, 30, 2}}},
		{"a withdrawal", func(w *writer) {
			rec := w.add("2025-06-01T10:00:00-10:00", events.Envelope{NotedTime: "2025-06-02T00:00:00Z"}, picked(8, "north"))
			w.add("2025-07-01T00:00:00Z", events.Envelope{NotedTime: "2025-07-01T00:00:00Z"}, &events.RecordWithdrawn{Record: rec.ID.String(), Follows: rec.ID.String(), Reason: "test"})
		}, []known{{"2025-06-02T00:00:00Z", 8, 0}, {"2025-06-30T23:59:59Z", 8, 0}, {"2025-07-01T00:00:00Z", 0, 0}}},
		{"what was recorded later and known earlier does not stop the look", func(w *writer) {
			w.pick(8, "north")
			w.add("2025-06-01T10:00:00-10:00", events.Envelope{NotedTime: "2025-06-03T08:00:00Z"}, picked(5, "north"))
		}, []known{{"2025-06-02T00:00:00Z", 0, 0}, {"2025-12-01T00:00:00Z", 5, 0}, {late, 13, 0}}},
	}
	n := 0
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			w := newWriter(t)
			tt.add(w)
			p := caughtUp(t, project.Config{Log: w.log})
			for _, k := range tt.want {
				by, err := time.Parse(time.RFC3339, k.by)
				if err != nil {
					t.Fatal(err)
				}
				book, assumed, err := p.AsKnown(context.Background(), projections.Claim(by))
				if err != nil {
					t.Fatal(err)
				}
				var f folds
				kg := projections.StateOf[total](book, f.list(1)[0], "north").Kg
				if kg != k.kg || assumed != k.assumed {
					t.Errorf("by %s: %g kg, %d assumed, want %g and %d", k.by, kg, assumed, k.kg, k.assumed)
				}
				if book.Zone().String() != "Pacific/Honolulu" {
					t.Errorf("by %s the farm has the zone %s", k.by, book.Zone())
				}
			}
		})
		n += len(tt.want)
	}
	t.Logf("counts: %d ways to know, %d moments", len(tests), n)
}

// A reading in a batch is known with the day that it speaks for: a reading at midnight with an interval speaks for the day
// before.
func TestKnownClaimedReadings(t *testing.T) {
	t.Parallel()
	w := newWriter(t)
	hour := 3600.0
	w.add("2025-06-02T00:00:00-10:00", events.Envelope{Batch: "017f22e2-79b0-7cc3-98c4-dc0c0c07398f"}, &events.WeatherRead{
		Station: "mauka", Interval: &hour, AirTemperature: &events.Quantity{Value: 20, Unit: "Cel"},
	})
	p := caughtUp(t, project.Config{Log: w.log})
	for by, want := range map[string]uint64{"2025-06-02T09:59:59Z": 1, "2025-06-02T10:00:00Z": 2} {
		at, err := time.Parse(time.RFC3339, by)
		if err != nil {
			t.Fatal(err)
		}
		book, assumed, err := p.AsKnown(t.Context(), projections.Claim(at))
		if err != nil || book.Size() != want || assumed != int(want-1) {
			t.Errorf("by %s: %v, a book of %d, %d assumed, want %d", by, err, book.Size(), assumed, want)
		}
	}
}

func TestKnownEnds(t *testing.T) {
	t.Parallel()
	w := newWriter(t)
	w.pick(1, "north")
	// What the Book has not taken in is not in the answer either.
	empty := project.New(project.Config{Log: w.log})
	if book, _, err := empty.AsKnown(t.Context(), projections.Knowledge{}); err != nil || book.Size() != 0 {
		t.Errorf("an empty book: %v, %d", err, book.Size())
	}
	p := caughtUp(t, project.Config{Log: w.log})
	w.pick(2, "north")
	if book, _, err := p.AsKnown(t.Context(), projections.Knowledge{}); err != nil || book.Size() != 2 {
		t.Errorf("a book behind its ledger: %v, %d", err, book.Size())
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, _, err := p.AsKnown(ctx, projections.Knowledge{}); !errors.Is(err, context.Canceled) {
		t.Errorf("with an ended context: %v", err)
	}
	w.log.Hole(2)
	var hole *ledger.HoleError
	if _, _, err := p.AsKnown(t.Context(), projections.Knowledge{}); !errors.As(err, &hole) {
		t.Errorf("over a hole: %v", err)
	}
}

// watched is a slow log that knows whether it is being read.
type watched struct {
	ledger.Log
	reading atomic.Bool
}

func (w *watched) Read(ctx context.Context, first, last uint64) iter.Seq2[ledger.Entry, error] {
	return func(yield func(ledger.Entry, error) bool) {
		w.reading.Store(true)
		defer w.reading.Store(false)
		for e, err := range w.Log.Read(ctx, first, last) {
			time.Sleep(10 * time.Microsecond) // a disk: else the reading is over before anyone can look at it
			if !yield(e, err) {
				return
			}
		}
	}
}

func TestRecords(t *testing.T) {
	t.Parallel()
	w := newWriter(t)
	for range 5000 {
		w.pick(1, "north")
	}
	read := func(ctx context.Context, log ledger.Log, first, last uint64) (places []uint64, err error) {
		for rec, e := range project.Records(ctx, log, first, last) {
			if err != nil {
				t.Error("something came behind an error")
			}
			if err = e; err == nil {
				places = append(places, rec.Place)
			}
		}
		return places, err
	}
	for _, span := range [][2]uint64{{1, 5001}, {1, 1}, {1, 1024}, {1000, 1025}, {2, 4097}, {5001, 5001}, {4000, 3000}, {1, 0}, {5002, 0}} {
		end := span[1]
		if end == 0 {
			end = 5001
		}
		var want []uint64
		for p := span[0]; p <= end; p++ {
			want = append(want, p)
		}
		if got, err := read(t.Context(), w.log, span[0], span[1]); err != nil || !slices.Equal(got, want) {
			t.Errorf("%v: %v, %d records", span, err, len(got))
		}
	}
	// An error comes in its place.
	var hole *ledger.HoleError
	if got, err := read(t.Context(), w.log, 4000, 6000); len(got) != 1002 || !errors.As(err, &hole) || hole.Want != 5002 {
		t.Errorf("behind the end: %d records, %v", len(got), err)
	}
	bad := memlog.New()
	for i := range uint64(3000) {
		body := w.make("2025-06-01", events.Envelope{}, picked(1, "north")).Body
		if i == 1999 {
			body = []byte("{}")
		}
		if err := bad.Append(t.Context(), i, []ledger.Entry{{Kind: "fruit.picked", Body: body}}); err != nil {
			t.Fatal(err)
		}
	}
	bad.Hole(2500) // behind it, and so not told
	if got, err := read(t.Context(), bad, 1, 3000); len(got) != 1999 || !errors.Is(err, events.ErrNotARecord) {
		t.Errorf("a record that is none: %d records, %v", len(got), err)
	}
	// The reader breaks off, at once or in the middle; the context ends. Nothing runs on.
	for _, n := range []int{1, 1500} {
		got := 0
		log := &watched{Log: w.log}
		for _, err := range project.Records(t.Context(), log, 1, 5001) {
			if err != nil {
				t.Fatal(err)
			}
			if got++; got == n {
				break
			}
		}
		if log.reading.Load() {
			t.Errorf("the ledger was still being read when the reader had broken off after %d", n)
		}
	}
	ctx, cancel := context.WithCancel(t.Context())
	got, last := 0, error(nil)
	for _, err := range project.Records(ctx, w.log, 1, 5001) {
		if last = err; err == nil {
			got++
		}
		if got == 100 {
			cancel()
		}
	}
	if got < 5001 && !errors.Is(last, context.Canceled) {
		t.Errorf("%d records, and then %v", got, last)
	}
	cancel()
	if got, err := read(ctx, w.log, 1, 5001); len(got) > 0 || !errors.Is(err, context.Canceled) {
		t.Errorf("with an ended context: %d records, %v", len(got), err)
	}
}
