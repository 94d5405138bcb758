package record_test

import (
	"context"
	"encoding/binary"
	"errors"
	"flag"
	"fmt"
	"os"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"go.uber.org/goleak"

	"latewood/events"
	"latewood/events/canon"
	"latewood/events/ledger"
	"latewood/events/ledger/memlog"
	"latewood/projections"
	"latewood/services/record"
)

// proof asks for the full counts.
var proof = os.Getenv("LATEWOOD_PROOF") == "1"

func TestMain(m *testing.M) {
	flag.Parse()
	if proof {
		if err := flag.Set("rapid.checks", "2000"); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
	}
	goleak.VerifyTestMain(m)
}

const farm = "tern-hollow"

// day is when the tests happen, by the recorder's clock.
var day = time.Date(2026, 6, 1, 12, 0, 0, 0, time.UTC)

// A rig is a ledger with a Recorder that runs, and all that it needs, in memory.
type rig struct {
	t     testing.TB
	log   *memlog.Log
	index *index
	folds *folds
	state *record.State
	clock *clock
	rec   *record.Recorder
	// ended yields what Run returned.
	ended chan error
	stop  context.CancelFunc
}

// newRig starts a recorder on an empty ledger. change, where given, alters what it is made of.
func newRig(t testing.TB, change ...func(*record.Config)) *rig {
	t.Helper()
	r := &rig{t: t, log: memlog.New(), index: &index{places: map[[16]byte]uint64{}}, state: record.NewState(), clock: &clock{at: day}}
	r.folds = &folds{log: r.log, book: projections.NewBook(events.Standard())}
	r.start(change...)
	return r
}

func (r *rig) start(change ...func(*record.Config)) {
	c := record.Config{Farm: farm, Log: r.log, Index: r.index, Folds: r.folds, State: r.state, Zone: time.UTC, Now: r.clock.now}
	for _, f := range change {
		f(&c)
	}
	r.rec = record.New(c)
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	done := make(chan struct{})
	go func() {
		defer close(done)
		ended <- r.rec.Run(ctx)
	}()
	r.ended = ended
	r.stop = func() {
		cancel()
		<-done
	}
	r.t.Cleanup(r.stop)
}

// open records farm.opened.
func (r *rig) open() record.Receipt {
	r.t.Helper()
	return r.one(proposal("", "2008-01-01", opened()))
}

func opened() *events.FarmOpened {
	return &events.FarmOpened{Name: "Tern Hollow", Zone: "Pacific/Honolulu", Latitude: 19.6, Longitude: -155.1}
}

// send records proposals and returns their receipts.
func (r *rig) send(ps ...record.Proposal) []record.Receipt {
	r.t.Helper()
	out, err := r.rec.Record(context.Background(), ps)
	if err != nil {
		r.t.Fatalf("record: %v", err)
	}
	if len(out) != len(ps) {
		r.t.Fatalf("%d proposals got %d receipts", len(ps), len(out))
	}
	return out
}

// one records a proposal that must not be refused.
func (r *rig) one(p record.Proposal) record.Receipt {
	r.t.Helper()
	rc := r.send(p)[0]
	if len(rc.Problems) > 0 {
		r.t.Fatalf("%s refused: %v", p.Draft.Type, rc.Problems)
	}
	return rc
}

// refused records a proposal that must be refused for a field and a reason, and returns the problem.
func (r *rig) refused(p record.Proposal, field, key string) events.Problem {
	r.t.Helper()
	before := r.rec.Head()
	rc := r.send(p)[0]
	got := r.wantProblem(rc, field, key)
	if r.rec.Head() != before {
		r.t.Errorf("%s was refused, and still the ledger grew from %d to %d", p.Draft.Type, before.Size, r.rec.Head().Size)
	}
	return got
}

func (r *rig) wantProblem(rc record.Receipt, field, key string) events.Problem {
	r.t.Helper()
	i := slices.IndexFunc(rc.Problems, func(p events.Problem) bool { return p.Field == field && p.Why.Key == key })
	if i < 0 {
		r.t.Fatalf("got problems %v, want %s at %s", rc.Problems, key, field)
	}
	if rc.Place != 0 || rc.Known || rc.Leaf != (ledger.Hash{}) {
		r.t.Errorf("a refused proposal has place %d, known %v, leaf %v", rc.Place, rc.Known, rc.Leaf)
	}
	if text := rc.Problems[i].Error(); strings.Contains(text, "{") {
		r.t.Errorf("the sentence lacks a value: %s", text)
	}
	return rc.Problems[i]
}

// records reads the ledger.
func (r *rig) records() []*events.Record { return readAll(r.t, r.log) }

func readAll(t testing.TB, log ledger.Log) []*events.Record {
	t.Helper()
	var out []*events.Record
	for e, err := range log.Read(context.Background(), 1, 0) {
		if err != nil {
			t.Fatal(err)
		}
		rec, err := events.ParseRecord(e.Place, e.Body)
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, rec)
	}
	return out
}

// at is the record at a place.
func (r *rig) at(place uint64) *events.Record {
	r.t.Helper()
	all := r.records()
	if place == 0 || place > uint64(len(all)) {
		r.t.Fatalf("place %d of %d", place, len(all))
	}
	return all[place-1]
}

// chains are the names of the chains in which the record at a place stands.
func (r *rig) chains(place uint64) []string {
	r.t.Helper()
	return chainNames(r.t, r.at(place))
}

func chainNames(t testing.TB, rec *events.Record) []string {
	t.Helper()
	links, err := events.ParseChains(rec.Envelope.Chains)
	if err != nil {
		t.Fatal(err)
	}
	var out []string
	for _, l := range links {
		out = append(out, l.Chain)
	}
	return out
}

// check holds the committer's State against one that is made of the ledger alone: Apply also checks that every chain hangs
// together. The recorder must have stopped.
func (r *rig) check() {
	r.t.Helper()
	r.stop()
	checkState(r.t, r.log, r.state)
	for _, rec := range r.records() {
		if place, ok, err := r.index.Lookup(rec.ID); err != nil || !ok || place != rec.Place {
			r.t.Errorf("the index has %s at %d, %v, %v; it stands at %d", rec.ID, place, ok, err, rec.Place)
		}
	}
}

func checkState(t testing.TB, log ledger.Log, got *record.State) {
	t.Helper()
	fresh := record.NewState()
	for _, rec := range readAll(t, log) {
		if err := fresh.Apply(rec); err != nil {
			t.Fatal(err)
		}
	}
	if a, b := saved(t, fresh), saved(t, got); a != b {
		t.Errorf("the committer's state differs from that of the ledger:\n%x\n%x", b, a)
	}
}

func saved(t testing.TB, s *record.State) string {
	t.Helper()
	var b strings.Builder
	if err := s.Save(&b); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// proposal makes one of a kind's data. id may be empty.
func proposal(id, at string, data any) record.Proposal {
	k := events.Standard().KindOf(data)
	if k == nil {
		panic(fmt.Sprintf("%T is the data of no kind", data))
	}
	return record.Proposal{Device: "cli", Draft: events.Draft{ID: id, Type: k.Type(), Time: at, Data: events.Encode(data)}}
}

// id makes a version 7 id.
func id(n int) string {
	var tail [10]byte
	binary.BigEndian.PutUint64(tail[2:], uint64(n))
	return events.NewID(day.UnixMilli()+int64(n), tail).String()
}

func pick(id string, kg float64, blocks ...string) record.Proposal {
	return proposal(id, "2026-05-01T10:00:00-10:00", picked(kg, blocks...))
}

func picked(kg float64, blocks ...string) *events.FruitPicked {
	if len(blocks) == 0 {
		blocks = []string{"north"}
	}
	return &events.FruitPicked{Where: where(blocks...), Mass: &events.Quantity{Value: kg, Unit: "kg"}}
}

func where(blocks ...string) events.Where {
	var w events.Where
	for _, b := range blocks {
		w = append(w, events.Part{Block: b})
	}
	return w
}

// correction of a record; follows is the version that it follows.
func correction(id, record, follows string, data any) record.Proposal {
	return proposal(id, "2026-05-20T00:00:00Z", &events.RecordCorrected{
		Record: record, Follows: follows, Type: events.Standard().KindOf(data).Type(), Reason: "typed wrong",
		Data: canon.Bytes(events.Encode(data)),
	})
}

func withdrawal(id, record, follows string) record.Proposal {
	return proposal(id, "2026-05-21T00:00:00Z", &events.RecordWithdrawn{Record: record, Follows: follows, Reason: "another farm's"})
}

// clock is the recorder's clock.
type clock struct {
	mu   sync.Mutex
	at   time.Time
	step time.Duration // by which it goes on at every look
}

func (c *clock) now() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	now := c.at
	c.at = c.at.Add(c.step)
	return now
}

func (c *clock) set(at time.Time) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.at = at
}

// index is an index of ids in memory that can be told to fail.
type index struct {
	mu     sync.Mutex
	places map[[16]byte]uint64
	broken bool // Add fails
	blind  int  // so many times Lookup fails
}

var errDisk = errors.New("test: the disk is broken")

func (x *index) Lookup(id [16]byte) (uint64, bool, error) {
	x.mu.Lock()
	defer x.mu.Unlock()
	if x.blind > 0 {
		x.blind--
		return 0, false, errDisk
	}
	place, ok := x.places[id]
	return place, ok, nil
}

func (x *index) Add(id [16]byte, place uint64) error {
	x.mu.Lock()
	defer x.mu.Unlock()
	if x.broken {
		return errDisk
	}
	if _, known := x.places[id]; known {
		panic("test: an id was recorded twice")
	}
	x.places[id] = place
	return nil
}

// folds reads the ledger into a Book when it is asked.
type folds struct {
	log   ledger.Log
	mu    sync.Mutex
	book  *projections.Book
	err   error
	stall chan struct{} // Wait waits for it to close
}

func (f *folds) Wait(ctx context.Context, place uint64) error {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.err != nil {
		return f.err
	}
	if f.stall != nil {
		<-f.stall
	}
	for e, err := range f.log.Read(ctx, f.book.Size()+1, place) {
		if err != nil {
			return err
		}
		rec, err := events.ParseRecord(e.Place, e.Body)
		if err != nil {
			return err
		}
		if err := f.book.Add(rec); err != nil {
			return err
		}
	}
	return nil
}

func (f *folds) Said(id events.ID) []record.Version {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.book.Said(id)
}
