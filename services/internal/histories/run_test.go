package histories

import (
	"bytes"
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"latewood/events"
	"latewood/events/canon"
	"latewood/events/ledger"
	"latewood/events/ledger/memlog"
	"latewood/projections"
	"latewood/services/project"
	"latewood/services/record"
)

const farm = "tern-hollow"

// arrival is when the first record of a ledger comes in, by the recorder's clock: after all that histories tell of.
var arrival = time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)

// A house is a farm's ledger with the services on it, in memory but for the snapshot.
type house struct {
	t     testing.TB
	log   *memlog.Log
	state *record.State
	rec   *record.Recorder
	proj  *project.Projector

	mu     sync.Mutex
	now    time.Time
	places map[[16]byte]uint64

	stop func()
}

// build starts the services on an empty ledger.
func build(t testing.TB, snapshot string) *house {
	t.Helper()
	h := &house{t: t, log: memlog.New(), state: record.NewState(), now: arrival, places: map[[16]byte]uint64{}}
	h.proj = project.New(h.config(h.log, snapshot))
	if err := h.proj.CatchUp(context.Background()); err != nil {
		t.Fatal(err)
	}
	h.rec = record.New(record.Config{Farm: farm, Log: h.log, Index: h, Folds: h.proj, State: h.state, Zone: time.UTC, Now: h.clock})
	ctx, cancel := context.WithCancel(context.Background())
	var wait sync.WaitGroup
	ready := make(chan struct{})
	wait.Go(func() {
		if err := h.proj.Run(ctx, func() { close(ready) }); err != nil {
			t.Errorf("the folds stopped: %v", err)
		}
	})
	wait.Go(func() {
		if err := h.rec.Run(ctx); err != nil {
			t.Errorf("the recorder stopped: %v", err)
		}
	})
	<-ready
	h.stop = sync.OnceFunc(func() { cancel(); wait.Wait() })
	t.Cleanup(h.stop)
	return h
}

func (h *house) config(log ledger.Log, snapshot string) project.Config {
	mark := func(size uint64) (projections.Mark, bool) {
		head := h.rec.Head()
		return projections.Mark{Origin: head.Origin, Size: head.Size, Root: head.Root}, size == head.Size
	}
	return project.Config{
		Farm: farm, Log: log, Folds: folds(), Snapshot: snapshot, Mark: mark,
		Trust: func(m projections.Mark) bool { return m.Origin == h.rec.Head().Origin },
	}
}

func (h *house) clock() time.Time {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.now
}

// Lookup and Add make the house its own index of ids.
func (h *house) Lookup(id [16]byte) (uint64, bool, error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	place, ok := h.places[id]
	return place, ok, nil
}

func (h *house) Add(id [16]byte, place uint64) error {
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.places[id] != 0 {
		return fmt.Errorf("histories: id %x at %d and %d", id, h.places[id], place)
	}
	h.places[id] = place
	return nil
}

// proposal is an entry as its device sends it now. A device that is off stays off by the same: what it says of its clock is
// a function of the record.
func (h *house) proposal(e *entry) record.Proposal {
	d := e.draft
	dev := devices[e.device]
	if dev.tells {
		sent := h.clock().Add(-dev.offset)
		d.DeviceTime = stamp(sent.Add(-time.Minute)) + " " + stamp(sent)
	}
	return record.Proposal{Draft: d, Device: dev.name}
}

// send sends entries in one call and returns the receipts.
func (h *house) send(entries []*entry) []record.Receipt {
	h.t.Helper()
	ps := make([]record.Proposal, len(entries))
	for i, e := range entries {
		ps[i] = h.proposal(e)
	}
	out, err := h.rec.Record(context.Background(), ps)
	if err != nil {
		h.t.Fatal(err)
	}
	h.mu.Lock()
	h.now = h.now.Add(time.Second) // a call comes all at once, the next one later
	h.mu.Unlock()
	return out
}

func (h *house) says() []byte {
	h.t.Helper()
	var out []byte
	if err := h.proj.With(func(b *projections.Book) error { out = says(h.t, b); return nil }); err != nil {
		h.t.Fatal(err)
	}
	return out
}

func (h *house) records() []*events.Record {
	h.t.Helper()
	return readAll(h.t, h.log)
}

func readAll(t testing.TB, log ledger.Log) []*events.Record {
	t.Helper()
	var out []*events.Record
	for rec, err := range project.Records(context.Background(), log, 1, 0) {
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, rec)
	}
	return out
}

// A model says what records.md lets the recorder refuse, from the entries that came before.
type model struct {
	content  map[events.ID]*entry
	said     map[events.ID][]*entry
	accepted int
}

func newModel() *model {
	return &model{content: map[events.ID]*entry{}, said: map[events.ID][]*entry{}}
}

// expect is what must become of an entry: known, refused with a reason, or "" and recorded.
func (m *model) expect(e *entry) string {
	if before := m.content[e.id]; before != nil {
		if before.draft.Type == e.draft.Type && before.draft.Time == e.draft.Time && bytes.Equal(canon.Bytes(before.draft.Data), canon.Bytes(e.draft.Data)) {
			return "known"
		}
		return "refuse.id-known"
	}
	if e.never != "" {
		return e.never
	}
	if e.follows != (events.ID{}) {
		// What hangs together from the record on. A withdrawal of any of it is the end.
		at := e.target
		for step := true; step; {
			step = false
			for _, s := range m.said[e.target] {
				if s.follows == at {
					if s.withdraws {
						return "refuse.withdrawn"
					}
					at, step = s.id, true
					break
				}
			}
		}
		for _, s := range m.said[e.target] {
			if s.follows == e.follows {
				return "refuse.second-follower"
			}
		}
		m.said[e.target] = append(m.said[e.target], e)
	}
	m.content[e.id] = e
	m.accepted++
	return ""
}

// tally counts what the property met.
type tally struct {
	sync.Mutex
	histories, orders, sent, records, known, refused, moments, snapshots, claimed int
	kinds, reasons                                                                map[string]int
	corrected, withdrawn                                                          map[string]int // by kind of the record
}

// An order is the entries of a history as they arrive; the first opens the farm.
type order struct {
	name    string
	entries []*entry
}

// orders are the ways in which a history arrives.
func orders(entries []*entry, r *rand.Rand) []order {
	first, rest := entries[:1], entries[1:]
	whole := func(tail []*entry) []*entry { return append(append([]*entry{}, first...), tail...) }
	shuffled := func() []*entry {
		out := append([]*entry{}, rest...)
		r.Shuffle(len(out), func(i, j int) { out[i], out[j] = out[j], out[i] })
		return whole(out)
	}
	backwards := func() []*entry {
		out := append([]*entry{}, rest...)
		for i, j := 0, len(out)-1; i < j; i, j = i+1, j-1 {
			out[i], out[j] = out[j], out[i]
		}
		return whole(out)
	}
	// Each device sends its own in order, one device after the other comes into reach.
	byDevice := func() []*entry {
		var out []*entry
		for _, d := range r.Perm(len(devices)) {
			for _, e := range rest {
				if e.device == d {
					out = append(out, e)
				}
			}
		}
		return whole(out)
	}
	return []order{
		{"as written", whole(rest)}, {"shuffled", shuffled()}, {"shuffled again", shuffled()}, {"backwards", backwards()}, {"device by device", byDevice()},
	}
}

// retried puts some entries in a second time: phones send until they are answered.
func retried(entries []*entry, r *rand.Rand) []*entry {
	var out []*entry
	for i, e := range entries {
		out = append(out, e)
		if i > 0 && r.IntN(20) == 0 {
			out = append(out, entries[r.IntN(i+1)])
		}
	}
	return out
}

// record sends an order through the recorder in calls of random length and holds each receipt against the model. In the
// middle of it, it lets the projector write its snapshot.
func (h *house) record(entries []*entry, r *rand.Rand, n *tally) {
	h.t.Helper()
	m := newModel()
	snapshotAt := r.IntN(len(entries))
	for i := 0; i < len(entries); {
		size := 1 + r.IntN(3)
		if r.IntN(3) == 0 {
			size = 10 + r.IntN(30)
		}
		if i == 0 {
			size = 1 // the farm is opened alone
		}
		call := entries[i:min(i+size, len(entries))]
		for k, rc := range h.send(call) {
			e := call[k]
			want, got := m.expect(e), ""
			switch {
			case len(rc.Problems) > 0:
				got = rc.Problems[0].Why.Key
			case rc.Known:
				got = "known"
			}
			if got != want {
				h.t.Fatalf("%s %s: got %q, want %q; problems: %v\n%s", e.kind, e.id, got, want, rc.Problems, canon.Bytes(e.draft.Data))
			}
			n.Lock()
			n.sent++
			switch {
			case want == "known":
				n.known++
			case want != "":
				n.refused++
				n.reasons[want]++
			default:
				n.kinds[e.kind]++
				if of := m.content[e.target]; of != nil && e.withdraws {
					n.withdrawn[of.kind]++
				} else if of != nil && e.follows != (events.ID{}) {
					n.corrected[of.kind]++
				}
			}
			n.Unlock()
		}
		if i <= snapshotAt && snapshotAt < i+len(call) {
			if err := h.proj.Wait(context.Background(), h.rec.Head().Size); err != nil {
				h.t.Fatal(err)
			}
			if r.IntN(2) == 0 {
				h.says() // with all states in it, or with none
			}
			if err := h.proj.SaveSnapshot(); err != nil {
				h.t.Fatal(err)
			}
		}
		if r.IntN(6) == 0 {
			h.says() // asking in between changes nothing
		}
		i += len(call)
	}
	if got := h.rec.Head().Size; got != uint64(m.accepted) {
		h.t.Fatalf("%d records, want %d", got, m.accepted)
	}
	if err := h.proj.Wait(context.Background(), h.rec.Head().Size); err != nil {
		h.t.Fatal(err)
	}
}

// check holds what came out of one order against the ledger itself: the committer's state, a snapshot and its tail, the
// strict knowledge of moments.
func (h *house) check(snapshot string, r *rand.Rand, n *tally) {
	h.t.Helper()
	t := h.t
	records := h.records()
	want := h.says()

	fresh := record.NewState()
	book := projections.NewBook(events.Standard())
	for _, rec := range records {
		if err := fresh.Apply(rec); err != nil {
			t.Fatal(err)
		}
		if err := book.Add(rec); err != nil {
			t.Fatal(err)
		}
	}
	if h.stop(); saved(t, fresh) != saved(t, h.state) {
		t.Error("the committer's state is not that of the ledger")
	}
	if got := says(t, book); !bytes.Equal(got, want) {
		t.Fatalf("folded while it came and from zero it says different things:\n%s", diff(want, got))
	}

	// The same set of records in any other order.
	shuffled := append([]*events.Record{}, records...)
	r.Shuffle(len(shuffled), func(i, j int) { shuffled[i], shuffled[j] = shuffled[j], shuffled[i] })
	book = projections.NewBook(events.Standard())
	for _, rec := range shuffled {
		if err := book.Add(rec); err != nil {
			t.Fatal(err)
		}
	}
	if got := says(t, book); !bytes.Equal(got, want) {
		t.Fatalf("the same records shuffled say different things:\n%s", diff(want, got))
	}

	// The snapshot from the middle, and the tail.
	if _, err := os.Stat(snapshot); err != nil {
		t.Fatalf("no snapshot was written: %v", err)
	}
	tailed := project.New(h.config(h.log, snapshot))
	if err := tailed.CatchUp(context.Background()); err != nil {
		t.Fatal(err)
	}
	err := tailed.With(func(b *projections.Book) error {
		if got := says(t, b); !bytes.Equal(got, want) {
			t.Fatalf("a snapshot and the tail say different things:\n%s", diff(want, got))
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}

	// What was known at a moment is what a ledger says that was cut there.
	moments := []time.Time{records[0].Recorded.Add(-time.Millisecond), records[0].Recorded, records[len(records)-1].Recorded}
	for range 3 {
		moments = append(moments, records[r.IntN(len(records))].Recorded.Add(time.Duration(r.IntN(2)-1)*time.Millisecond))
	}
	for _, by := range moments {
		known, _, err := h.proj.AsKnown(context.Background(), projections.Strict(by))
		if err != nil {
			t.Fatal(err)
		}
		cut := memlog.New()
		for i, rec := range records {
			if rec.Recorded.After(by) {
				break
			}
			if err := cut.Append(context.Background(), uint64(i), []ledger.Entry{{Kind: rec.Kind, Body: rec.Body}}); err != nil {
				t.Fatal(err)
			}
		}
		alone := project.New(project.Config{Farm: farm, Log: cut})
		if err := alone.CatchUp(context.Background()); err != nil {
			t.Fatal(err)
		}
		var short []byte
		_ = alone.With(func(b *projections.Book) error { short = says(t, b); return nil })
		if got := says(t, known); !bytes.Equal(got, short) {
			t.Fatalf("known by %v, and cut there, are different:\n%s", by, diff(short, got))
		}
	}
	n.Lock()
	n.orders++
	n.snapshots++
	n.moments += len(moments)
	n.records += len(records)
	n.Unlock()
}

func saved(t testing.TB, s *record.State) string {
	t.Helper()
	var b bytes.Buffer
	if err := s.Save(&b); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// diff shows the first lines that differ.
func diff(want, got []byte) string {
	w, g := bytes.Split(want, []byte("\n")), bytes.Split(got, []byte("\n"))
	for i := range min(len(w), len(g)) {
		if !bytes.Equal(w[i], g[i]) {
			return fmt.Sprintf("want %s\ngot  %s", w[i], g[i])
		}
	}
	return fmt.Sprintf("%d lines wanted, %d got", len(w), len(g))
}

func snapshotPath(t testing.TB) string { return filepath.Join(t.TempDir(), "book.snapshot") }
