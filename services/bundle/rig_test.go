package bundle_test

import (
	"bytes"
	"context"
	"encoding/base64"
	"errors"
	"fmt"
	"iter"
	"strings"
	"testing"
	"time"

	"latewood/events"
	"latewood/events/canon"
	"latewood/events/ledger"
	"latewood/events/ledger/evidence"
	"latewood/events/ledger/proof"
	"latewood/projections"
	"latewood/projections/holds"
	"latewood/services/bundle"
)

// A rig is an invented ledger in memory, with a recorder, a sealer and a register of its own, all of a few lines.
type rig struct {
	t       testing.TB
	key     proof.Secret
	entries []ledger.Entry
	ids     map[[16]byte]uint64
	heads   map[string]events.Link
	hashes  proof.Hashes
	notes   [][]byte
	sealed  uint64
	stuck   error // why nothing is sealed any more
	now     time.Time
	// between is called before an evidence.given is appended.
	between func()
	names   map[string]evidence.Name // by commitment
}

func newRig(t testing.TB) *rig {
	key, err := proof.Generate(bytes.NewReader(bytes.Repeat([]byte{1}, 32)), "latewood/tern-hollow-00000000")
	if err != nil {
		t.Fatal(err)
	}
	return &rig{t: t, key: key, ids: map[[16]byte]uint64{}, heads: map[string]events.Link{}, now: time.Date(2026, 5, 1, 6, 0, 0, 0, time.UTC), names: map[string]evidence.Name{}}
}

func (r *rig) giver() *bundle.Giver {
	return bundle.New(bundle.Config{
		Log: r, Index: r, Seal: r, Size: func() uint64 { return uint64(len(r.entries)) }, Record: r.record, With: r.with,
		Flags:    func(b *projections.Book) []projections.Flag { return holds.Flags(b) },
		Patience: 50 * time.Millisecond,
		Name: func(_, commitment string) (evidence.Name, bool) {
			n, ok := r.names[commitment]
			return n, ok
		},
	})
}

// add appends a record; more are chains beside its own.
func (r *rig) add(kind, data string, more ...string) string {
	r.t.Helper()
	v, err := canon.Parse([]byte(data))
	if err != nil {
		r.t.Fatalf("%s: %v", data, err)
	}
	return r.put(kind, v, r.now.Add(-time.Hour), more...)
}

func (r *rig) put(kind string, data canon.Value, at time.Time, more ...string) string {
	n := uint64(len(r.entries) + 1)
	var random [10]byte
	random[9], random[8], random[7] = byte(n), byte(n>>8), byte(n>>16)
	id := events.NewID(r.now.UnixMilli(), random)
	k := events.Standard().Kind(kind)
	var links []events.Link
	for _, c := range events.MergeChains(k.OwnChains(id, data), more) {
		l := r.heads[c]
		links = append(links, events.Link{Chain: c, Place: l.Place + 1, Prev: l.Prev})
	}
	e := events.Envelope{
		Farm: "tern-hollow", ID: id.String(), RecordedTime: events.RecordedAt(r.now), Time: at.Format(time.RFC3339),
		Salt: base64.StdEncoding.EncodeToString(bytes.Repeat([]byte{byte(n)}, 16)), Source: "/farms/tern-hollow/cli", Type: k.Type(), Chains: events.FormatChains(links),
	}
	body := e.AppendCanonical(nil, canon.Bytes(data))
	leaf := ledger.LeafHash(body)
	for _, l := range links {
		r.heads[l.Chain] = events.Link{Place: l.Place, Prev: leaf}
	}
	r.entries = append(r.entries, ledger.Entry{Place: n, Kind: kind, Body: body})
	r.ids[id] = n
	r.hashes.Append(leaf)
	r.now = r.now.Add(6 * time.Hour)
	return id.String()
}

func (r *rig) record(_ context.Context, drafts []events.Draft) ([]uint64, error) {
	door := events.Door{Catalogue: events.Standard(), Farm: "tern-hollow", Zone: time.UTC}
	var places []uint64
	for _, d := range drafts {
		d.Time = r.now.Format(time.RFC3339)
		a, problems := door.Check(d)
		if len(problems) > 0 {
			return nil, fmt.Errorf("refused at the door: %v", problems)
		}
		if a.Kind.Name == "evidence.given" && r.between != nil {
			r.between()
		}
		r.put(a.Kind.Name, a.Draft.Data, r.now)
		places = append(places, uint64(len(r.entries)))
	}
	return places, nil
}

func (r *rig) Read(_ context.Context, first, last uint64) iter.Seq2[ledger.Entry, error] {
	return func(yield func(ledger.Entry, error) bool) {
		for _, e := range r.entries[first-1 : last] {
			if !yield(e, nil) {
				return
			}
		}
	}
}

func (r *rig) Lookup(id [16]byte) (uint64, bool, error) {
	p, ok := r.ids[id]
	return p, ok, nil
}

func (r *rig) with(_ context.Context, place uint64, f func(*projections.Book) error) error {
	b := projections.NewBook(events.Standard())
	for _, e := range r.entries[:place] {
		rec, err := events.ParseRecord(e.Place, e.Body)
		if err == nil {
			err = b.Add(rec)
		}
		if err != nil {
			return err
		}
	}
	return f(b)
}

func (r *rig) Wait(context.Context, uint64) error {
	if r.stuck != nil {
		return r.stuck
	}
	r.seal()
	return nil
}

func (r *rig) seal() {
	r.sealed = uint64(len(r.entries))
	root, err := proof.Root(r.sealed, &r.hashes)
	if err != nil {
		r.t.Fatal(err)
	}
	note, err := proof.Checkpoint{Origin: r.key.Key().Name(), Tree: proof.Tree{Size: r.sealed, Root: root}}.Sign(r.key)
	if err != nil {
		r.t.Fatal(err)
	}
	r.notes = append(r.notes, note)
}

func (r *rig) Sealed() uint64                                    { return r.sealed }
func (r *rig) Checkpoints() ([][]byte, error)                    { return r.notes, nil }
func (r *rig) ReadHashes(indexes []int64) ([]ledger.Hash, error) { return r.hashes.ReadHashes(indexes) }
func (r *rig) Keys() []proof.Key                                 { return []proof.Key{r.key.Key()} }
func (r *rig) Sign(text string) ([]byte, error)                  { return proof.SignNote(text, r.key) }

var errStuck = errors.New("the disk is full")

// give asks for evidence and checks the file.
func (r *rig) give(q bundle.Request) (bundle.Given, evidence.Report) {
	r.t.Helper()
	g, err := r.giver().Give(context.Background(), q)
	if err != nil {
		r.t.Fatalf("%s: %v", q.Of, err)
	}
	rep := evidence.Verify(g.File, evidence.Trust{Keys: r.Keys(), Seen: q.Seen})
	if !rep.OK || !rep.Complete {
		r.t.Fatalf("%s: the file does not verify: %+v", q.Of, rep.Problems)
	}
	return g, rep
}

// refused asks for evidence that there is none of.
func (r *rig) refused(q bundle.Request, want string) {
	r.t.Helper()
	_, err := r.giver().Give(context.Background(), q)
	f, ok := bundle.IsRefusal(err)
	if !ok || !strings.Contains(f.Text, want) || strings.Contains(f.Text, "⟦") {
		r.t.Errorf("%q: got %v, want a refusal with %q", q.Of, err, want)
	}
}

// part takes a part out of a file of evidence.
func part(t testing.TB, file []byte, name string) string {
	t.Helper()
	files, err := evidence.Unpack(file)
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range files {
		if f.Name == name {
			return string(f.Body)
		}
	}
	return ""
}
