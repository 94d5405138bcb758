package bus_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"go.uber.org/goleak"

	"latewood/events/ledger"
	"latewood/events/ledger/ledgertest"
	"latewood/events/ledger/memlog"
	"latewood/services/internal/bus"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// patience is how long a test waits for what has to happen.
const patience = 30 * time.Second

// A reader is a Deliver under way, and what it got.
type reader struct {
	t      *testing.T
	mu     sync.Mutex
	got    []ledger.Entry
	runs   int
	grown  chan struct{}
	ended  chan error
	cancel context.CancelFunc
	// refuse decides before a run is taken; nil takes all.
	refuse func([]ledger.Entry) error
}

func follow(t *testing.T, log ledger.Log, first uint64, refuse func([]ledger.Entry) error) *reader {
	t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	r := &reader{t: t, grown: make(chan struct{}, 1), ended: make(chan error, 1), cancel: cancel, refuse: refuse}
	ready := make(chan struct{})
	go func() {
		r.ended <- bus.Deliver(ctx, "test", log, first, nil, func() { close(ready) }, r.take)
	}()
	t.Cleanup(cancel)
	select {
	case <-ready:
	case <-time.After(patience):
		t.Fatal("delivery does not begin")
	}
	return r
}

func (r *reader) take(entries []ledger.Entry) error {
	if r.refuse != nil {
		if err := r.refuse(entries); err != nil {
			return err
		}
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	if len(entries) == 0 || len(entries) > ledger.MaxBatch {
		r.t.Errorf("a run of %d entries", len(entries))
	}
	r.got = append(r.got, entries...)
	r.runs++
	select {
	case r.grown <- struct{}{}:
	default:
	}
	return nil
}

// await waits until n entries have come.
func (r *reader) await(n int) {
	r.t.Helper()
	until := time.After(patience)
	for {
		r.mu.Lock()
		have := len(r.got)
		r.mu.Unlock()
		if have >= n {
			return
		}
		select {
		case <-r.grown:
		case err := <-r.ended:
			r.t.Fatalf("delivery ended after %d of %d entries: %v", have, n, err)
		case <-until:
			r.t.Fatalf("%d of %d entries came", have, n)
		}
	}
}

func (r *reader) end() error {
	r.t.Helper()
	select {
	case err := <-r.ended:
		return err
	case <-time.After(patience):
		r.t.Fatal("delivery does not end")
		return nil
	}
}

// check holds what came against what was appended, from a place on.
func (r *reader) check(first uint64, want []ledger.Entry) {
	r.t.Helper()
	r.mu.Lock()
	defer r.mu.Unlock()
	if len(r.got) != len(want) {
		r.t.Fatalf("%d entries came, want %d", len(r.got), len(want))
	}
	for i, e := range r.got {
		if e.Place != first+uint64(i) || e.Kind != want[i].Kind || !bytes.Equal(e.Body, want[i].Body) {
			r.t.Fatalf("number %d: place %d, %.40q, want place %d, %.40q", i, e.Place, e.Body, first+uint64(i), want[i].Body)
		}
	}
}

func mustAppend(t *testing.T, log ledger.Log, behind int, entries []ledger.Entry) {
	t.Helper()
	for len(entries) > 0 {
		n := min(len(entries), ledger.MaxBatch)
		if err := log.Append(context.Background(), uint64(behind), entries[:n]); err != nil {
			t.Fatal(err)
		}
		behind, entries = behind+n, entries[n:]
	}
}

func TestOrder(t *testing.T) {
	t.Parallel()
	log := memlog.New()
	all := ledgertest.Entries("order", 2700)
	mustAppend(t, log, 0, all[:2500])
	r := follow(t, log, 11, nil)
	r.await(2490)
	for i := 2500; i < 2700; i++ {
		mustAppend(t, log, i, all[i:i+1])
	}
	r.await(2690)
	r.check(11, all[10:])
	r.cancel()
	if err := r.end(); err != nil {
		t.Errorf("ended by its context with %v", err)
	}
	t.Logf("counts: %d entries in %d runs", len(r.got), r.runs)
}

// What is refused comes again at once, from the same entry on, and nothing of what follows overtakes it.
func TestRetryInPlace(t *testing.T) {
	t.Parallel()
	log := memlog.New()
	all := ledgertest.Entries("retry", 30)
	mustAppend(t, log, 0, all[:10])
	tries := map[uint64]int{}
	r := follow(t, log, 1, func(entries []ledger.Entry) error {
		first := entries[0].Place
		if tries[first]++; tries[first] < bus.Tries { // each run is refused as often as may be
			return errors.New("not yet")
		}
		return nil
	})
	r.await(10)
	mustAppend(t, log, 10, all[10:])
	r.await(30)
	r.check(1, all)
	for first, n := range tries {
		if n != bus.Tries {
			t.Errorf("the run from %d was handed over %d times, want %d", first, n, bus.Tries)
		}
	}
	r.cancel()
	if err := r.end(); err != nil {
		t.Error(err)
	}
}

func TestPoison(t *testing.T) {
	t.Parallel()
	errFirst := errors.New("this is why")
	for name, refuse := range map[string]func(int) error{
		"always the same reason": func(int) error { return errFirst },
		"later ones are its consequence": func(n int) error {
			if n == 1 {
				return errFirst
			}
			return errors.New("doubled")
		},
		"a panic": func(n int) error {
			if n == 1 {
				return errFirst
			}
			panic("no map")
		},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			log := memlog.New()
			all := ledgertest.Entries("poison", 1500)
			mustAppend(t, log, 0, all)
			n := 0
			r := follow(t, log, 1, func(entries []ledger.Entry) error {
				if entries[0].Place == 1 {
					return nil
				}
				n++
				return refuse(n)
			})
			err := r.end()
			if !errors.Is(err, bus.ErrPoison) || !errors.Is(err, errFirst) || !strings.Contains(err.Error(), "test") {
				t.Errorf("got %v, want ErrPoison with the first reason and the reader's name", err)
			}
			if n != bus.Tries {
				t.Errorf("handed over %d times, want %d", n, bus.Tries)
			}
			r.check(1, all[:1000]) // it stopped before them
		})
	}
}

func TestPanicAlone(t *testing.T) {
	t.Parallel()
	log := memlog.New()
	mustAppend(t, log, 0, ledgertest.Entries("panic", 1))
	r := follow(t, log, 1, func([]ledger.Entry) error { panic("no map") })
	if err := r.end(); !errors.Is(err, bus.ErrPoison) || !strings.Contains(err.Error(), "no map") {
		t.Errorf("got %v, want ErrPoison that says what", err)
	}
}

// Refusals count one run at a time: a reader that stumbles often, but goes on, is no poison.
func TestRefusalsDoNotAddUp(t *testing.T) {
	t.Parallel()
	log := memlog.New()
	all := ledgertest.Entries("often", 12)
	refused := map[uint64]bool{}
	r := follow(t, log, 1, func(entries []ledger.Entry) error {
		if p := entries[0].Place; !refused[p] {
			refused[p] = true
			return errors.New("once each")
		}
		return nil
	})
	for i := range all {
		mustAppend(t, log, i, all[i:i+1])
		r.await(i + 1)
	}
	r.check(1, all)
	r.cancel()
	if err := r.end(); err != nil {
		t.Error(err)
	}
}

func TestHole(t *testing.T) {
	t.Parallel()
	log := memlog.New()
	all := ledgertest.Entries("hole", 20)
	mustAppend(t, log, 0, all[:10])
	log.Hole(14)
	r := follow(t, log, 1, nil)
	r.await(10)
	mustAppend(t, log, 10, all[10:])
	var hole *ledger.HoleError
	if err := r.end(); !errors.As(err, &hole) || hole.Want != 14 {
		t.Errorf("got %v, want place 14 missing", err)
	}
	r.check(1, all[:13])
}

// closed is a log that ends under its readers.
type closed struct{ *memlog.Log }

func (closed) Follow(context.Context, uint64, func([]ledger.Entry) error) error {
	return fmt.Errorf("test: closed: %w", ledger.ErrStore)
}

func TestLogEnds(t *testing.T) {
	t.Parallel()
	err := bus.Deliver(t.Context(), "test", closed{memlog.New()}, 1, nil, nil, func([]ledger.Entry) error { return nil })
	if !errors.Is(err, ledger.ErrStore) {
		t.Errorf("got %v, want ErrStore", err)
	}
}

func TestContextEnds(t *testing.T) {
	t.Parallel()
	t.Run("before", func(t *testing.T) {
		t.Parallel()
		ctx, cancel := context.WithCancel(context.Background())
		cancel()
		log := memlog.New()
		mustAppend(t, log, 0, ledgertest.Entries("ended", 3))
		err := bus.Deliver(ctx, "test", log, 1, nil, nil, func([]ledger.Entry) error {
			t.Error("handed over after the end")
			return nil
		})
		if err != nil {
			t.Errorf("got %v", err)
		}
	})
	t.Run("while it waits for more", func(t *testing.T) {
		t.Parallel()
		r := follow(t, memlog.New(), 1, nil)
		r.cancel()
		if err := r.end(); err != nil {
			t.Errorf("got %v", err)
		}
	})
	t.Run("while a run is taken", func(t *testing.T) {
		t.Parallel()
		log := memlog.New()
		all := ledgertest.Entries("taken", 3)
		mustAppend(t, log, 0, all)
		inside, gate := make(chan struct{}), make(chan struct{})
		done := false
		r := follow(t, log, 1, func([]ledger.Entry) error {
			close(inside)
			<-gate
			done = true // the race detector sees if Deliver does not wait for this
			return nil
		})
		<-inside
		r.cancel()
		select {
		case err := <-r.ended:
			t.Fatalf("ended with %v while a run was being taken", err)
		case <-time.After(50 * time.Millisecond):
		}
		close(gate)
		if err := r.end(); err != nil || !done {
			t.Errorf("got %v, done %v", err, done)
		}
		r.check(1, all)
	})
	t.Run("between two tries", func(t *testing.T) {
		t.Parallel()
		log := memlog.New()
		mustAppend(t, log, 0, ledgertest.Entries("tries", 3))
		refused := make(chan struct{}, bus.Tries)
		r := follow(t, log, 1, func([]ledger.Entry) error {
			refused <- struct{}{}
			return errors.New("no")
		})
		<-refused
		r.cancel()
		if err := r.end(); err != nil {
			t.Errorf("got %v", err)
		}
	})
}

// What Watermill tells of every message stays out of the log; what is wrong gets there.
func TestQuiet(t *testing.T) {
	t.Parallel()
	var out bytes.Buffer
	logger := slog.New(slog.NewTextHandler(&out, &slog.HandlerOptions{Level: slog.LevelDebug}))
	log := memlog.New()
	mustAppend(t, log, 0, ledgertest.Entries("quiet", 5))
	ctx, cancel := context.WithCancel(context.Background())
	if err := bus.Deliver(ctx, "test", log, 1, logger, nil, func([]ledger.Entry) error { cancel(); return nil }); err != nil {
		t.Fatal(err)
	}
	if out.Len() > 0 {
		t.Errorf("all went well, and the log says:\n%s", &out)
	}
	if err := bus.Deliver(t.Context(), "test", log, 1, logger, nil, func([]ledger.Entry) error { return errors.New("bad record") }); err == nil {
		t.Fatal("no error")
	}
	if !strings.Contains(out.String(), "bad record") {
		t.Errorf("the log does not say what was refused:\n%s", &out)
	}
}

func TestPack(t *testing.T) {
	t.Parallel()
	tests := [][]ledger.Entry{
		nil,
		{{Place: 1, Kind: "fruit.picked", Body: []byte("{}")}},
		{{Place: 1<<64 - 1, Kind: "", Body: nil}, {Place: 0, Kind: strings.Repeat("k", 300), Body: bytes.Repeat([]byte{0, 255}, 30_000)}},
		ledgertest.Entries("pack", ledger.MaxBatch),
	}
	for i, want := range tests {
		got, err := bus.Unpack(bus.Pack(want))
		if err != nil || !equal(got, want) {
			t.Errorf("number %d: %v", i, err)
		}
	}
	packed := bus.Pack(ledgertest.Entries("cut", 3))
	whole := 0
	for i := range packed {
		if got, err := bus.Unpack(packed[:i]); err == nil {
			whole++
			if !bytes.Equal(bus.Pack(got), packed[:i]) {
				t.Errorf("cut at %d it was read as something else", i)
			}
		}
	}
	if whole != 3 {
		t.Errorf("%d of the cuts read well, want those between entries, 3", whole)
	}
}

func equal(a, b []ledger.Entry) bool {
	return slices.EqualFunc(a, b, func(x, y ledger.Entry) bool {
		return x.Place == y.Place && x.Kind == y.Kind && bytes.Equal(x.Body, y.Body)
	})
}

func FuzzUnpack(f *testing.F) {
	f.Add([]byte{})
	f.Add(bus.Pack(ledgertest.Entries("fuzz", 3)))
	f.Add([]byte{1, 0x80, 0x80, 0x80, 0x80, 0x80, 0x80, 0x80, 0x80, 0xff, 1})
	f.Fuzz(func(t *testing.T, b []byte) {
		entries, err := bus.Unpack(b)
		if err != nil {
			return
		}
		again, err := bus.Unpack(bus.Pack(entries))
		if err != nil || !equal(entries, again) {
			t.Fatalf("packed again: %v", err)
		}
	})
}

// What one record costs on its way from a ledger in memory through the router, in runs and one by one.
func BenchmarkDeliver(b *testing.B) {
	entries := ledgertest.Entries("bench", ledger.MaxBatch)
	for i := range entries {
		entries[i].Body = bytes.Repeat([]byte("x"), 600)
	}
	for _, one := range []bool{false, true} {
		b.Run(map[bool]string{false: "in runs", true: "one by one"}[one], func(b *testing.B) {
			log := memlog.New()
			taken := make(chan int, 1<<16)
			ctx, cancel := context.WithCancel(context.Background())
			done := make(chan error, 1)
			go func() {
				done <- bus.Deliver(ctx, "bench", log, 1, nil, nil, func(run []ledger.Entry) error { taken <- len(run); return nil })
			}()
			last := uint64(0)
			for b.Loop() {
				run := entries
				if one {
					run = entries[:1]
				}
				if err := log.Append(ctx, last, run); err != nil {
					b.Fatal(err)
				}
				last += uint64(len(run))
				for n := 0; n < len(run); {
					n += <-taken
				}
			}
			b.ReportMetric(float64(last)/b.Elapsed().Seconds(), "records/s")
			cancel()
			if err := <-done; err != nil {
				b.Fatal(err)
			}
		})
	}
}
