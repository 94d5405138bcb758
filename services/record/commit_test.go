package record_test

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"testing"
	"time"

	"latewood/events/ledger"
	"latewood/events/ledger/memlog"
	"latewood/services/record"
)

// hooked is a log whose appends and reads can be watched and changed.
type hooked struct {
	*memlog.Log
	mu     sync.Mutex
	append func(ctx context.Context, behind uint64, entries []ledger.Entry) error // nil: as it is
	last   func() error
	sizes  []int // of the appends
}

func (h *hooked) Append(ctx context.Context, behind uint64, entries []ledger.Entry) error {
	h.mu.Lock()
	f := h.append
	h.sizes = append(h.sizes, len(entries))
	h.mu.Unlock()
	if f != nil {
		return f(ctx, behind, entries)
	}
	return h.Log.Append(ctx, behind, entries)
}

func (h *hooked) Last(ctx context.Context) (uint64, error) {
	h.mu.Lock()
	f := h.last
	h.mu.Unlock()
	if f != nil {
		if err := f(); err != nil {
			return 0, err
		}
	}
	return h.Log.Last(ctx)
}

func (h *hooked) hook(f func(ctx context.Context, behind uint64, entries []ledger.Entry) error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.append = f
}

// hookedRig is a rig over a hooked log, opened.
func hookedRig(t testing.TB) (*rig, *hooked) {
	h := &hooked{}
	r := newRig(t, func(c *record.Config) {
		h.Log = c.Log.(*memlog.Log)
		c.Log = h
	})
	r.open()
	return r, h
}

func TestAtOnce(t *testing.T) {
	t.Parallel()
	r, h := hookedRig(t)
	const callers, calls = 16, 30
	var wait sync.WaitGroup
	var mu sync.Mutex
	got := map[uint64]record.Receipt{}
	for c := range callers {
		wait.Go(func() {
			for i := range calls {
				// Two callers send each id; one of them is told that it is known.
				shared := pick(id(1000+c/2*calls+i), float64(c/2*calls+i+1))
				out, err := r.rec.Record(context.Background(), []record.Proposal{shared, pick("", 7, fmt.Sprint("b", c))})
				if err != nil || len(out) != 2 || len(out[0].Problems)+len(out[1].Problems) > 0 {
					t.Errorf("caller %d, call %d: %v, %+v", c, i, err, out)
					return
				}
				if out[0].ID.String() != shared.Draft.ID {
					t.Errorf("caller %d got the receipt of %s, want %s", c, out[0].ID, shared.Draft.ID)
				}
				mu.Lock()
				for _, rc := range out {
					if was, ok := got[rc.Place]; ok && (was.ID != rc.ID || was.Leaf != rc.Leaf || was.Known == rc.Known) {
						t.Errorf("place %d: %+v and %+v", rc.Place, was, rc)
					}
					got[rc.Place] = rc
				}
				mu.Unlock()
			}
		})
	}
	wait.Wait()
	r.check()
	records := r.records()
	if want := 1 + callers*calls + callers/2*calls; len(records) != want || len(got) != want-1 {
		t.Errorf("%d records, %d places told, want %d", len(records), len(got), want)
	}
	for place, rc := range got {
		if rec := records[place-1]; rec.ID != rc.ID || ledger.Hash(rec.Leaf()) != rc.Leaf {
			t.Errorf("place %d holds %s, told was %s", place, rec.ID, rc.ID)
		}
	}
	t.Logf("counts: %d callers, %d records in %d appends", callers, len(records), len(h.sizes))
}

// Few waiting records go in one by one, many as one batch, more than a batch takes as several.
func TestGrouping(t *testing.T) {
	t.Parallel()
	r, h := hookedRig(t)
	// The first append waits until all other calls are in the queue.
	var gate sync.WaitGroup
	gate.Add(1)
	h.hook(func(ctx context.Context, behind uint64, entries []ledger.Entry) error {
		gate.Wait()
		return h.Log.Append(ctx, behind, entries)
	})
	var calls sync.WaitGroup
	send := func(n int) {
		calls.Go(func() {
			ps := make([]record.Proposal, n)
			for i := range ps {
				ps[i] = pick("", float64(i+1))
			}
			if out, err := r.rec.Record(context.Background(), ps); err != nil || out[n-1].Place == 0 {
				t.Errorf("a call of %d: %v", n, err)
			}
		})
	}
	send(1)
	for n := 0; n < 2; { // until the one append is under way
		h.mu.Lock()
		n = len(h.sizes)
		h.mu.Unlock()
	}
	for range 50 {
		send(3)
	}
	send(2300)
	for r.rec.Waiting() < 51 {
		time.Sleep(time.Millisecond)
	}
	gate.Done()
	calls.Wait()
	total := 0
	for _, n := range h.sizes {
		if n > ledger.MaxBatch {
			t.Errorf("an append of %d", n)
		}
		total += n
	}
	if total != 1+1+150+2300 || len(h.sizes) > 2+4+16 {
		t.Errorf("%d records in %d appends: %v", total, len(h.sizes), h.sizes)
	}
	r.send(pick("", 1), pick("", 2), pick("", 3))
	if got := h.sizes[len(h.sizes)-3:]; got[0] != 1 || got[1] != 1 || got[2] != 1 {
		t.Errorf("three records went in as appends of %v", got)
	}
	r.check()
}

func TestUnknownOutcome(t *testing.T) {
	t.Parallel()
	// Settle tries three times; what is lost more often stays unknown.
	const tries = 3
	for _, tt := range []struct {
		name   string
		n      int  // records of the call
		stored bool // whether the entries stand, as is found out later
		again  bool // the same call is made again
	}{
		{"one, stored", 1, true, false}, {"one, not stored", 1, false, false},
		{"one, stored, sent again", 1, true, true}, {"one, not stored, sent again", 1, false, true},
		{"several singly, stored", 5, true, true}, {"several singly, not stored", 5, false, true},
		{"batch, stored", 40, true, true}, {"batch, not stored", 40, false, true},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			r, h := hookedRig(t)
			before := r.rec.Head()
			var ps []record.Proposal
			for i := range tt.n {
				ps = append(ps, pick(id(i+1), float64(i+1)))
			}
			n := 0
			h.hook(func(ctx context.Context, behind uint64, entries []ledger.Entry) error {
				if n++; n == tries && tt.stored {
					h.Log.LoseAnswer(true)
				} else {
					h.Log.LoseAnswer(false)
				}
				return h.Log.Append(ctx, behind, entries)
			})
			if tt.stored { // Settle must not find it before it gives up
				looks := 0
				h.last = func() error {
					if looks++; looks >= tries {
						return ledger.ErrStore
					}
					return nil
				}
			}
			_, err := r.rec.Record(context.Background(), ps)
			if !errors.Is(err, ledger.ErrUnknownOutcome) {
				t.Fatalf("got %v, want ErrUnknownOutcome", err)
			}
			if r.rec.Head() != before {
				t.Error("the head moved")
			}
			h.hook(nil)
			if tt.stored {
				// Still nobody can look: nothing else is appended meanwhile.
				if _, err := r.rec.Record(context.Background(), []record.Proposal{pick(id(500), 1)}); err == nil {
					t.Fatal("recorded behind an append in doubt")
				}
			}
			h.mu.Lock()
			h.last = nil
			h.mu.Unlock()
			if tt.again {
				for i, rc := range r.send(ps...) {
					if len(rc.Problems) > 0 || rc.Place != uint64(i+2) {
						t.Errorf("sent again, number %d: %+v", i, rc)
					}
				}
			}
			next := r.one(pick(id(600), 1))
			want := uint64(2)
			if tt.again {
				want += uint64(tt.n)
			} else if tt.stored {
				want++
			}
			if next.Place != want {
				t.Errorf("the next stands at %d, want %d", next.Place, want)
			}
			r.check()
		})
	}
}

// An answer that is lost, and found again by looking, is no matter of the caller's.
func TestLostAnswer(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.open()
	for i, stored := range []bool{true, false, false, true} {
		r.log.LoseAnswer(stored)
		if rc := r.one(pick("", float64(i+1))); rc.Place != uint64(i+2) {
			t.Errorf("got place %d, want %d", rc.Place, i+2)
		}
	}
	r.check()
}

// A store that can take no more refuses, and takes again once it can.
func TestStoreRefuses(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.open()
	r.log.Refuse()
	if _, err := r.rec.Record(t.Context(), []record.Proposal{pick(id(1), 1)}); !errors.Is(err, ledger.ErrStore) {
		t.Fatalf("got %v, want ErrStore", err)
	}
	if rc := r.one(pick(id(1), 1)); rc.Known || rc.Place != 2 {
		t.Errorf("sent again: %+v", rc)
	}
	r.check()
}

// In a call of several that go in singly, what stands is told even if one behind it fails; each caller of a group is told
// its own.
func TestPartOfAGroup(t *testing.T) {
	t.Parallel()
	r, h := hookedRig(t)
	var gate sync.WaitGroup
	gate.Add(1)
	h.hook(func(ctx context.Context, behind uint64, entries []ledger.Entry) error {
		gate.Wait()
		if behind == 4 {
			h.Log.Refuse()
		}
		return h.Log.Append(ctx, behind, entries)
	})
	type answer struct {
		out []record.Receipt
		err error
	}
	send := func(ps ...record.Proposal) chan answer {
		c := make(chan answer, 1)
		go func() {
			out, err := r.rec.Record(context.Background(), ps)
			c <- answer{out, err}
		}()
		return c
	}
	first := send(pick(id(1), 1)) // place 2; all others wait for it
	for n := 0; n < 2; {
		h.mu.Lock()
		n = len(h.sizes)
		h.mu.Unlock()
	}
	queued := func(ps ...record.Proposal) chan answer { // one behind the other
		n := r.rec.Waiting()
		c := send(ps...)
		for r.rec.Waiting() == n {
			time.Sleep(time.Millisecond)
		}
		return c
	}
	a := queued(pick(id(2), 2))                                     // place 3
	b := queued(pick(id(3), 3), pick(id(4), 4))                     // place 4, and the one that is refused
	c := queued(pick(id(5), 5))                                     // never tried
	d := queued(pick(id(2), 2), pick(id(2), 99), pick("", -1))      // known, of other content, wrong
	e := queued(pick(id(1), 1), pick(id(1), 1))                     // known from before
	f := queued(correction(id(6), id(2), id(2), picked(20, "far"))) // never tried
	gate.Done()
	if got := <-first; got.err != nil {
		t.Errorf("first: %v", got.err)
	}
	for name, c := range map[string]chan answer{"a": a, "d": d, "e": e} {
		if got := <-c; got.err != nil {
			t.Errorf("%s: %v", name, got.err)
		} else if name == "d" && (got.out[0].Place != 3 || !got.out[0].Known || len(got.out[1].Problems) != 1 || len(got.out[2].Problems) != 1) {
			t.Errorf("d: %+v", got.out)
		}
	}
	for name, c := range map[string]chan answer{"b": b, "c": c, "f": f} {
		if got := <-c; !errors.Is(got.err, ledger.ErrStore) || got.out != nil {
			t.Errorf("%s: %v, %+v, want ErrStore", name, got.err, got.out)
		}
	}
	h.hook(nil)
	out := r.send(pick(id(3), 3), pick(id(4), 4), pick(id(5), 5))
	if !out[0].Known || out[0].Place != 4 || out[1].Known || out[1].Place != 5 || out[2].Place != 6 {
		t.Errorf("sent again: %+v", out)
	}
	r.check()
}

func TestFence(t *testing.T) {
	t.Parallel()
	for _, n := range []int{1, 40} {
		t.Run(fmt.Sprint(n), func(t *testing.T) {
			t.Parallel()
			r := newRig(t)
			r.open()
			// Another recorder on the same ledger, started on what there was.
			state := record.NewState()
			if err := state.Apply(r.at(1)); err != nil {
				t.Fatal(err)
			}
			other := &rig{t: t, log: r.log, index: &index{places: map[[16]byte]uint64{r.at(1).ID: 1}}, folds: r.folds, state: state, clock: &clock{at: day}}
			other.start()
			other.one(pick(id(1), 1))
			var ps []record.Proposal
			for i := range n {
				ps = append(ps, pick(id(100+i), 2))
			}
			_, err := r.rec.Record(context.Background(), ps)
			if !errors.Is(err, record.ErrFenced) {
				t.Fatalf("got %v, want ErrFenced", err)
			}
			if err := <-r.ended; !errors.Is(err, record.ErrFenced) {
				t.Errorf("Run ended with %v", err)
			}
			if _, err := r.rec.Record(context.Background(), ps); !errors.Is(err, record.ErrFenced) {
				t.Errorf("afterwards: %v", err)
			}
			if rc := other.one(pick(id(2), 2)); rc.Place != 3 {
				t.Errorf("the first writer goes on at %d", rc.Place)
			}
			other.check()
		})
	}
}

// A writer whose answer was lost and whose place another took is fenced as well.
func TestFenceAfterDoubt(t *testing.T) {
	t.Parallel()
	r, h := hookedRig(t)
	h.hook(func(ctx context.Context, behind uint64, entries []ledger.Entry) error {
		h.Log.LoseAnswer(false)
		return h.Log.Append(ctx, behind, entries)
	})
	if _, err := r.rec.Record(context.Background(), []record.Proposal{pick(id(1), 1)}); !errors.Is(err, ledger.ErrUnknownOutcome) {
		t.Fatalf("got %v", err)
	}
	h.hook(nil)
	foreign := []ledger.Entry{{Kind: "fruit.picked", Body: []byte("{}")}}
	if err := h.Log.Append(context.Background(), 1, foreign); err != nil {
		t.Fatal(err)
	}
	if _, err := r.rec.Record(context.Background(), []record.Proposal{pick(id(1), 1)}); !errors.Is(err, record.ErrFenced) {
		t.Fatalf("got %v, want ErrFenced", err)
	}
	if err := <-r.ended; !errors.Is(err, record.ErrFenced) {
		t.Errorf("Run ended with %v", err)
	}
}

// An append that was thought lost can reach the broker late: after its sender looked and did not find it. What comes then
// must not take the recorder's own record for another writer's.
func TestLateArrival(t *testing.T) {
	t.Parallel()
	for _, n := range []int{1, 40} {
		for _, which := range []int{0, 1} {
			t.Run(fmt.Sprintf("%d, attempt %d", n, which), func(t *testing.T) {
				t.Parallel()
				r, h := hookedRig(t)
				type sent struct {
					behind  uint64
					entries []ledger.Entry
				}
				var onTheWay []sent
				h.hook(func(_ context.Context, behind uint64, entries []ledger.Entry) error {
					onTheWay = append(onTheWay, sent{behind, entries})
					return ledger.ErrUnknownOutcome
				})
				calls := [][]record.Proposal{}
				for c := range 2 {
					var ps []record.Proposal
					for i := range n {
						ps = append(ps, pick(id(100*c+i+1), float64(c+1)))
					}
					calls = append(calls, ps)
					if _, err := r.rec.Record(context.Background(), ps); !errors.Is(err, ledger.ErrUnknownOutcome) {
						t.Fatalf("got %v", err)
					}
				}
				// Three tries a call. Now one of them arrives, while the next append is on its way.
				late := onTheWay[3*which]
				h.hook(func(ctx context.Context, behind uint64, entries []ledger.Entry) error {
					h.hook(nil)
					if err := h.Log.Append(ctx, late.behind, late.entries); err != nil {
						t.Error(err)
					}
					return h.Log.Append(ctx, behind, entries)
				})
				again := r.send(append(calls[which], correction(id(900), id(100*which+1), id(100*which+1), picked(77, "far")))...)
				for i, rc := range again[:n] {
					if len(rc.Problems) > 0 || rc.Place != uint64(i+2) || !rc.Known {
						t.Errorf("number %d: %+v, want known at %d", i, rc, i+2)
					}
				}
				if rc := again[n]; rc.Known || rc.Place != uint64(n+2) || len(r.chains(rc.Place)) != 2 {
					t.Errorf("the correction: %+v", rc)
				}
				if rc := r.one(calls[1-which][0]); rc.Known || rc.Place != uint64(n+3) {
					t.Errorf("what never arrived: %+v", rc)
				}
				r.check()
			})
		}
	}
}

func TestIndexFails(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.open()
	r.index.mu.Lock()
	r.index.broken = true
	r.index.mu.Unlock()
	if out, err := r.rec.Record(t.Context(), []record.Proposal{pick(id(1), 1)}); err == nil && out[0].Place != 2 {
		t.Errorf("got %+v", out)
	}
	if err := <-r.ended; !errors.Is(err, errDisk) {
		t.Errorf("Run ended with %v, want the index's error", err)
	}
	if _, err := r.rec.Record(t.Context(), []record.Proposal{pick(id(1), 1)}); !errors.Is(err, errDisk) {
		t.Errorf("afterwards: %v", err)
	}
}

func TestIndexBlind(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.open()
	r.index.mu.Lock()
	r.index.blind = 1
	r.index.mu.Unlock()
	if _, err := r.rec.Record(t.Context(), []record.Proposal{pick(id(1), 1)}); !errors.Is(err, errDisk) {
		t.Errorf("got %v, want the index's error", err)
	}
	if rc := r.one(pick(id(1), 1)); rc.Known || rc.Place != 2 {
		t.Errorf("once it sees again: %+v", rc)
	}
	r.check()
}

// The index names a place that the ledger does not have: it lost records.
func TestLedgerLostRecords(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.open()
	r.one(pick(id(1), 1))
	r.log.Hole(2)
	var hole *ledger.HoleError
	if _, err := r.rec.Record(t.Context(), []record.Proposal{pick(id(1), 1)}); !errors.As(err, &hole) {
		t.Errorf("got %v, want a hole", err)
	}
	if err := <-r.ended; !errors.As(err, &hole) {
		t.Errorf("Run ended with %v", err)
	}
}

func TestStop(t *testing.T) {
	t.Parallel()
	r, h := hookedRig(t)
	underway := make(chan struct{})
	begin := sync.OnceFunc(func() { close(underway) })
	var gate sync.WaitGroup
	gate.Add(1)
	h.hook(func(ctx context.Context, behind uint64, entries []ledger.Entry) error {
		begin()
		gate.Wait()
		return h.Log.Append(ctx, behind, entries)
	})
	// One call is under way, others wait, more than the queue holds.
	taken := make(chan error, 1)
	go func() {
		out, err := r.rec.Record(context.Background(), []record.Proposal{pick("", 1)})
		if err == nil && out[0].Place != 2 {
			err = fmt.Errorf("place %d", out[0].Place)
		}
		taken <- err
	}()
	<-underway
	const calls = 100
	waiting := make(chan error, calls)
	for i := range calls {
		go func() {
			_, err := r.rec.Record(context.Background(), []record.Proposal{pick(id(i), 1)})
			waiting <- err
		}()
	}
	for r.rec.Waiting() < 64 {
		time.Sleep(time.Millisecond)
	}
	stopped := make(chan struct{})
	go func() { r.stop(); close(stopped) }()
	time.Sleep(10 * time.Millisecond)
	gate.Done()
	<-stopped
	if err := <-taken; err != nil {
		t.Errorf("the call under way: %v", err)
	}
	for range calls {
		if err := <-waiting; !errors.Is(err, record.ErrStopped) {
			t.Errorf("a waiting call: %v, want ErrStopped", err)
		}
	}
	if last, _ := r.log.Last(t.Context()); last != 2 {
		t.Errorf("%d records, want that of the call under way and nothing behind it", last)
	}
	if _, err := r.rec.Record(t.Context(), []record.Proposal{pick("", 1)}); !errors.Is(err, record.ErrStopped) {
		t.Errorf("after the end: %v", err)
	}
	if err := <-r.ended; err != nil {
		t.Errorf("Run: %v", err)
	}
	r.check()
}

func TestCancelled(t *testing.T) {
	t.Parallel()
	r, h := hookedRig(t)
	underway := make(chan struct{}, 1)
	var gate sync.WaitGroup
	gate.Add(1)
	h.hook(func(ctx context.Context, behind uint64, entries []ledger.Entry) error {
		underway <- struct{}{}
		gate.Wait()
		return h.Log.Append(ctx, behind, entries)
	})
	type answer struct {
		out []record.Receipt
		err error
	}
	send := func(ctx context.Context, n int) chan answer {
		c := make(chan answer, 1)
		go func() {
			out, err := r.rec.Record(ctx, []record.Proposal{pick(id(n), 1)})
			c <- answer{out, err}
		}()
		return c
	}
	ctx, cancel := context.WithCancel(context.Background())
	first := send(ctx, 1)
	<-underway
	second := send(ctx, 2)
	third := send(context.Background(), 3)
	for r.rec.Waiting() < 2 {
		time.Sleep(time.Millisecond)
	}
	cancel()
	// Who waits in the queue goes at once, and what it sent is not recorded.
	if got := <-second; !errors.Is(got.err, context.Canceled) {
		t.Errorf("the call in the queue: %v", got.err)
	}
	h.hook(nil)
	gate.Done()
	// What is under way is brought to its end, and its caller is told.
	if got := <-first; got.err != nil || got.out[0].Place != 2 {
		t.Errorf("the call under way: %+v", got)
	}
	if got := <-third; got.err != nil || got.out[0].Place != 3 {
		t.Errorf("the call behind it: %+v", got)
	}
	if _, err := r.rec.Record(ctx, []record.Proposal{pick(id(4), 1)}); !errors.Is(err, context.Canceled) {
		t.Errorf("with an ended context: %v", err)
	}
	if rc := r.one(pick(id(2), 1)); rc.Known {
		t.Errorf("what was given up was recorded at %d", rc.Place)
	}
	r.check()
}

// The recorder takes up an older ledger where it ends.
func TestGoesOn(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.open()
	r.one(pick(id(1), 1))
	r.check()
	again := &rig{t: t, log: r.log, index: r.index, folds: r.folds, state: r.state, clock: &clock{at: day.Add(-time.Hour)}}
	again.start()
	if h := again.rec.Head(); h.Size != 2 || h != r.rec.Head() {
		t.Errorf("head %+v, want %+v", h, r.rec.Head())
	}
	if rc := again.one(pick(id(1), 1)); !rc.Known || rc.Place != 2 {
		t.Errorf("known from before: %+v", rc)
	}
	rec := again.at(again.one(correction("", id(1), id(1), picked(2))).Place)
	if rec.Recorded.Before(day) {
		t.Errorf("recordedtime fell to %v over a restart", rec.Recorded)
	}
	again.check()
}
