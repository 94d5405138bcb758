package project_test

import (
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"go.uber.org/goleak"

	"latewood/events"
	"latewood/events/ledger"
	"latewood/events/ledger/memlog"
	"latewood/projections"
	"latewood/projections/foldtest"
	"latewood/services/project"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// patience is how long a test waits for what has to happen.
const patience = 30 * time.Second

// start is when the ledger of the tests begins, by the recorder's clock; each record is a second later.
var start = time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)

// A writer appends records to a ledger as the recorder would, but for their chains.
type writer struct {
	t   testing.TB
	log *memlog.Log
	n   uint64
}

// newWriter begins a ledger with farm.opened, in Honolulu.
func newWriter(t testing.TB) *writer {
	w := &writer{t: t, log: memlog.New()}
	w.add("2008-01-01T00:00:00-10:00", events.Envelope{}, &events.FarmOpened{Name: "Tern Hollow", Zone: "Pacific/Honolulu", Latitude: 19.6, Longitude: -155.1})
	return w
}

// add appends a record. Of env count NotedTime, Batch, ID and RecordedTime.
func (w *writer) add(at string, env events.Envelope, data any) *events.Record {
	w.t.Helper()
	rec := w.make(at, env, data)
	w.append(rec.Kind, rec.Body)
	return rec
}

func (w *writer) make(at string, env events.Envelope, data any) *events.Record {
	w.t.Helper()
	door := events.Door{Catalogue: events.Standard(), Farm: "tern-hollow", Zone: time.UTC}
	a, problems := door.Check(events.Draft{Type: events.Standard().KindOf(data).Type(), Time: at, ID: env.ID, NotedTime: env.NotedTime, Data: events.Encode(data)})
	if len(problems) > 0 {
		w.t.Fatal(problems)
	}
	recorded := start.Add(time.Duration(w.n+1) * time.Second)
	if env.ID == "" {
		var tail [10]byte
		binary.BigEndian.PutUint64(tail[2:], w.n+1)
		env.ID = events.NewID(recorded.UnixMilli(), tail).String()
	}
	if env.RecordedTime == "" {
		env.RecordedTime = events.RecordedAt(recorded)
	}
	env.Farm, env.Salt, env.Source, env.Chains = "tern-hollow", "AAAAAAAAAAAAAAAAAAAAAA==", "/farms/tern-hollow/cli", "farm 1 -"
	env.Time, env.Type, env.NotedTime = a.Draft.Time, a.Draft.Type, a.Draft.NotedTime
	rec, err := events.ParseRecord(w.n+1, env.AppendCanonical(nil, a.Data))
	if err != nil {
		w.t.Fatal(err)
	}
	return rec
}

func (w *writer) append(kind string, body []byte) {
	w.t.Helper()
	if err := w.log.Append(context.Background(), w.n, []ledger.Entry{{Kind: kind, Body: body}}); err != nil {
		w.t.Fatal(err)
	}
	w.n++
}

// pick adds a pick of so many kg in a block.
func (w *writer) pick(kg float64, block string) *events.Record {
	w.t.Helper()
	return w.add("2025-06-01T10:00:00-10:00", events.Envelope{}, picked(kg, block))
}

func picked(kg float64, block string) *events.FruitPicked {
	return &events.FruitPicked{Where: events.Where{{Block: block}}, Mass: &events.Quantity{Value: kg, Unit: "kg"}}
}

func (w *writer) correct(rec, follows *events.Record, data any) *events.Record {
	w.t.Helper()
	return w.add("2025-07-01T00:00:00Z", events.Envelope{}, &events.RecordCorrected{
		Record: rec.ID.String(), Follows: follows.ID.String(), Type: rec.Envelope.Type, Reason: "test", Data: foldtest.Data(data),
	})
}

// folds counts how often it folds: a state that came from a snapshot is not folded.
type folds struct {
	mu    sync.Mutex
	count int
}

type total struct {
	Facts int     `json:"facts"`
	Kg    float64 `json:"kg"`
}

func (f *folds) list(version int) []*projections.Fold {
	return []*projections.Fold{projections.NewFold("total", version, projections.Block, func(v *projections.View) *total {
		f.mu.Lock()
		f.count++
		f.mu.Unlock()
		t := &total{}
		for _, fact := range v.Standing() {
			t.Facts++
			if d, ok := fact.Data().(*events.FruitPicked); ok && d.Mass != nil {
				t.Kg += d.Mass.Value
			}
		}
		return t
	})}
}

// states is what the folds of a projector say.
func states(t testing.TB, p *project.Projector, folds []*projections.Fold) string {
	t.Helper()
	var out string
	err := p.With(func(b *projections.Book) error {
		out = string(foldtest.States(t, b, folds))
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return out
}

func caughtUp(t testing.TB, c project.Config) *project.Projector {
	t.Helper()
	p := project.New(c)
	if err := p.CatchUp(context.Background()); err != nil {
		t.Fatal(err)
	}
	return p
}

// running starts Run and returns when it follows. ended yields what it returned.
func running(t testing.TB, p *project.Projector) (stop func() error) {
	t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	t.Cleanup(cancel)
	ended, ready := make(chan error, 1), make(chan struct{})
	go func() { ended <- p.Run(ctx, func() { close(ready) }) }()
	select {
	case <-ready:
	case <-time.After(patience):
		t.Fatal("Run does not begin")
	}
	return sync.OnceValue(func() error { cancel(); return <-ended })
}

func TestCatchUp(t *testing.T) {
	t.Parallel()
	if p := caughtUp(t, project.Config{Log: memlog.New()}); p.Size() != 0 {
		t.Errorf("an empty ledger gives a book of %d", p.Size())
	}
	w := newWriter(t)
	for i := range 2500 {
		w.pick(1, fmt.Sprint("b", i%3))
	}
	var f folds
	p := caughtUp(t, project.Config{Log: w.log})
	if p.Size() != 2501 {
		t.Errorf("a book of %d, want 2501", p.Size())
	}
	if got, want := states(t, p, f.list(1)), "total b0 {\"facts\":834,\"kg\":834}\ntotal b1 {\"facts\":833,\"kg\":833}\ntotal b2 {\"facts\":833,\"kg\":833}\n"; got != want {
		t.Errorf("got %s, want %s", got, want)
	}
}

func TestCatchUpFails(t *testing.T) {
	t.Parallel()
	newer := func(w *writer) []byte {
		r := w.make("2025-06-01", events.Envelope{}, picked(1, "north"))
		return bytes.Replace(r.Body, []byte("fruit.picked.v1"), []byte("fruit.picked.v2"), 1)
	}
	var hole *ledger.HoleError
	for _, tt := range []struct {
		name string
		harm func(*writer)
		is   func(error) bool
	}{
		// The hole is where the next record goes: what is there already may have been taken in.
		{"a hole", func(w *writer) {
			w.log.Hole(w.n + 1)
			w.pick(1, "north")
		}, func(err error) bool { return errors.As(err, &hole) }},
		{"not a record", func(w *writer) { w.append("fruit.picked", []byte(`{"a":1}`)) }, func(err error) bool { return errors.Is(err, events.ErrNotARecord) }},
		{"a newer version", func(w *writer) { w.append("fruit.picked", newer(w)) }, func(err error) bool { return errors.Is(err, events.ErrNewerVersion) }},
		{"the same record twice", func(w *writer) {
			r := w.pick(1, "north")
			w.append(r.Kind, r.Body)
		}, func(err error) bool { return errors.Is(err, projections.ErrDoubled) }},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			catch := newWriter(t)
			for range 9 {
				catch.pick(1, "north")
			}
			tt.harm(catch)
			if err := project.New(project.Config{Log: catch.log}).CatchUp(t.Context()); !tt.is(err) {
				t.Errorf("CatchUp: got %v", err)
			}
			// The same met by Run: it stops before the record, says why, and so does Wait.
			w := newWriter(t)
			p := caughtUp(t, project.Config{Log: w.log})
			stop := running(t, p)
			for range 9 {
				w.pick(1, "north")
			}
			tt.harm(w)
			w.pick(1, "north")
			ctx, cancel := context.WithTimeout(t.Context(), patience)
			defer cancel()
			if err := p.Wait(ctx, w.n); !errors.Is(err, project.ErrBehind) || !tt.is(err) {
				t.Errorf("Wait: got %v, want ErrBehind and why", err)
			}
			if err := stop(); !tt.is(err) {
				t.Errorf("Run: got %v", err)
			}
			if size := p.Size(); size >= w.n-1 || size < 4 && tt.name != "a hole" {
				t.Errorf("the book holds %d of %d", size, w.n)
			}
			if err := p.Wait(ctx, p.Size()); err != nil {
				t.Errorf("Wait for what is there: %v", err)
			}
			// Once more it stops at the same place, for the same reason.
			size := p.Size()
			if err := p.Run(ctx, nil); !tt.is(err) || p.Size() != size {
				t.Errorf("Run again: got %v, with a book of %d after one of %d", err, p.Size(), size)
			}
		})
	}
	t.Run("the context ends", func(t *testing.T) {
		t.Parallel()
		ctx, cancel := context.WithCancel(context.Background())
		cancel()
		if err := project.New(project.Config{Log: newWriter(t).log}).CatchUp(ctx); !errors.Is(err, context.Canceled) {
			t.Errorf("got %v", err)
		}
	})
}

func TestRun(t *testing.T) {
	t.Parallel()
	w := newWriter(t)
	w.pick(1, "north")
	p := caughtUp(t, project.Config{Log: w.log})
	// Who asks before Run has begun waits.
	early := make(chan error, 1)
	go func() { early <- p.Wait(context.Background(), 3) }()
	stop := running(t, p)
	var f folds
	rec := w.pick(2, "north")
	if err := <-early; err != nil {
		t.Errorf("Wait from before Run: %v", err)
	}
	for i := range 200 {
		w.pick(float64(i+1), "south")
		if i%20 == 0 {
			if err := p.Wait(t.Context(), w.n); err != nil {
				t.Fatal(err)
			}
			if p.Size() < w.n {
				t.Fatalf("after Wait for %d the book holds %d", w.n, p.Size())
			}
		}
	}
	c := w.correct(rec, rec, picked(40, "north"))
	if err := p.Wait(t.Context(), w.n); err != nil {
		t.Fatal(err)
	}
	if got, want := states(t, p, f.list(1)), "total north {\"facts\":2,\"kg\":41}\ntotal south {\"facts\":200,\"kg\":20100}\n"; got != want {
		t.Errorf("got %s, want %s", got, want)
	}
	if said := p.Said(rec.ID); len(said) != 1 || said[0].ID != c.ID || said[0].Follows != rec.ID || said[0].Withdraws || said[0].Chains != "farm 1 -" {
		t.Errorf("said %+v", said)
	}
	if said := p.Said(c.ID); len(said) != 0 {
		t.Errorf("of a correction was said %+v", said)
	}
	// Wait ends with its context, with Run, and not for what is there.
	ctx, cancel := context.WithTimeout(t.Context(), 10*time.Millisecond)
	defer cancel()
	if err := p.Wait(ctx, w.n+1); !errors.Is(err, context.DeadlineExceeded) {
		t.Errorf("Wait for what does not come: %v", err)
	}
	if err := p.Wait(ctx, w.n); err != nil {
		t.Errorf("Wait for what is there, with an ended context: %v", err)
	}
	waits := make(chan error, 1)
	go func() { waits <- p.Wait(context.Background(), w.n+1) }()
	if err := stop(); err != nil {
		t.Errorf("Run: %v", err)
	}
	if err := <-waits; !errors.Is(err, project.ErrBehind) {
		t.Errorf("Wait while Run ends: %v", err)
	}
	// It goes on where it stood.
	w.pick(7, "north")
	stop = running(t, p)
	if err := p.Wait(t.Context(), w.n); err != nil {
		t.Errorf("Wait in a second Run: %v", err)
	}
	if err := stop(); err != nil {
		t.Error(err)
	}
	if err := p.With(func(*projections.Book) error { return errors.New("mine") }); err == nil || err.Error() != "mine" {
		t.Errorf("With gives %v", err)
	}
}

// Readers and the follower at once, for the race detector.
func TestReadersAtOnce(t *testing.T) {
	t.Parallel()
	w := newWriter(t)
	p := caughtUp(t, project.Config{Log: w.log})
	stop := running(t, p)
	var f folds
	list := f.list(1)
	var wait sync.WaitGroup
	for range 4 {
		wait.Go(func() {
			for place := uint64(1); place <= 101; place += 10 {
				if err := p.Wait(context.Background(), place); err != nil {
					t.Error(err)
				}
				states(t, p, list)
			}
		})
	}
	for i := range 100 {
		w.pick(1, fmt.Sprint("b", i%5))
	}
	wait.Wait()
	if err := stop(); err != nil {
		t.Error(err)
	}
}

// logged is a logger into a buffer.
func logged() (*slog.Logger, *bytes.Buffer) {
	var out bytes.Buffer
	return slog.New(slog.NewTextHandler(&out, nil)), &out
}

func TestSnapshot(t *testing.T) {
	t.Parallel()
	w := newWriter(t)
	first := w.pick(1, "north")
	for i := range 100 {
		w.pick(float64(i+1), fmt.Sprint("b", i%4))
	}
	w.add("2025-06-01T00:00:00Z", events.Envelope{}, &events.WeatherRead{Station: "mauka", AirTemperature: &events.Quantity{Value: 20, Unit: "Cel"}})
	path := filepath.Join(t.TempDir(), "book.snapshot")
	mark := func(size uint64) (projections.Mark, bool) {
		return projections.Mark{Origin: "latewood/test", Size: size, Root: [32]byte{byte(size)}}, true
	}
	trust := func(m projections.Mark) bool { want, _ := mark(m.Size); return m == want }
	var saver folds
	conf := func(f *folds, version int) project.Config {
		return project.Config{Farm: "tern-hollow", Log: w.log, Folds: f.list(version), Snapshot: path, Trust: trust, Mark: mark}
	}
	p := caughtUp(t, conf(&saver, 1))
	want := states(t, p, saver.list(1))
	if err := p.SaveSnapshot(); err != nil {
		t.Fatal(err)
	}
	snapshot, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	// load starts a projector on the file and says what it logged, what it answers, and how often it had to fold.
	load := func(t *testing.T, change func(*project.Config), version int) (p *project.Projector, out string, log string, folded int) {
		t.Helper()
		var f folds
		c := conf(&f, version)
		logger, text := logged()
		c.Logger = logger
		if change != nil {
			change(&c)
		}
		p = caughtUp(t, c)
		return p, states(t, p, c.Folds), text.String(), f.count
	}
	blocks := saver.count
	t.Run("loaded", func(t *testing.T) {
		if _, got, log, folded := load(t, nil, 1); got != want || log != "" || folded != 0 {
			t.Errorf("got %s, want %s; folded %d times; log %s", got, want, folded, log)
		}
	})
	t.Run("and the tail", func(t *testing.T) {
		c := w.correct(first, first, picked(50, "b0"))
		w.correct(first, c, picked(60, "b1"))
		fresh := caughtUp(t, project.Config{Log: w.log})
		var f folds
		zero := states(t, fresh, f.list(1))
		p, got, log, folded := load(t, nil, 1)
		if got != zero || log != "" || folded == 0 || folded > 2 {
			t.Errorf("got %s, want %s; folded %d times; log %s", got, zero, folded, log)
		}
		if p.Size() != w.n {
			t.Errorf("a book of %d, want %d", p.Size(), w.n)
		}
		want = zero
	})
	t.Run("another version of the fold", func(t *testing.T) {
		if _, got, _, folded := load(t, nil, 2); got != want || folded != blocks-1 { // north has no fact any more
			t.Errorf("folded %d times, want %d; got %s, want %s", folded, blocks-1, got, want)
		}
	})
	t.Run("not trusted", func(t *testing.T) {
		_, got, log, _ := load(t, func(c *project.Config) { c.Trust = func(projections.Mark) bool { return false } }, 1)
		if got != want || log == "" {
			t.Errorf("got %s, want %s; log %s", got, want, log)
		}
	})
	t.Run("longer than the ledger", func(t *testing.T) {
		short := newWriter(t)
		p, _, _, _ := load(t, func(c *project.Config) { c.Log = short.log }, 1)
		if p.Size() != 1 {
			t.Errorf("a book of %d on a ledger of 1", p.Size())
		}
	})
	t.Run("damaged", func(t *testing.T) {
		n := 0
		for i := 0; i < len(snapshot); i += 1 + len(snapshot)/60 {
			for _, harm := range []func() []byte{
				func() []byte { b := bytes.Clone(snapshot); b[i] ^= 1; return b },
				func() []byte { return snapshot[:i] },
			} {
				n++
				if err := os.WriteFile(path, harm(), 0o600); err != nil {
					t.Fatal(err)
				}
				if _, got, log, _ := load(t, nil, 1); got != want || log == "" {
					t.Fatalf("damaged at %d: got %s, want %s; log %s", i, got, want, log)
				}
			}
		}
		t.Logf("counts: %d damaged snapshots of %d bytes", n, len(snapshot))
	})
	t.Run("written over", func(t *testing.T) {
		p, _, _, _ := load(t, nil, 1)
		if err := p.SaveSnapshot(); err != nil {
			t.Fatal(err)
		}
		if _, got, log, folded := load(t, nil, 1); got != want || log != "" || folded != 0 {
			t.Errorf("got %s, want %s; folded %d times; log %s", got, want, folded, log)
		}
	})
	t.Run("not written", func(t *testing.T) {
		other := filepath.Join(t.TempDir(), "other.snapshot")
		none := func(name string, c project.Config, catchUp bool) {
			t.Helper()
			c.Snapshot = other
			p := project.New(c)
			if catchUp {
				if err := p.CatchUp(t.Context()); err != nil {
					t.Fatal(err)
				}
			}
			if err := p.SaveSnapshot(); err != nil {
				t.Errorf("%s: %v", name, err)
			}
			if _, err := os.Stat(other); !errors.Is(err, os.ErrNotExist) {
				t.Errorf("%s: there is a file: %v", name, err)
			}
		}
		var f folds
		none("an empty book", conf(&f, 1), false)
		c := conf(&f, 1)
		c.Mark = func(uint64) (projections.Mark, bool) { return projections.Mark{}, false }
		none("a size that nobody can mark", c, true)
		c = conf(&f, 1)
		c.Snapshot = filepath.Join(t.TempDir(), "nowhere", "x")
		if err := caughtUp(t, c).SaveSnapshot(); err == nil {
			t.Error("a folder that is not there gives no error")
		}
	})
	t.Run("not after a record that could not be added", func(t *testing.T) {
		other := filepath.Join(t.TempDir(), "broken.snapshot")
		bad := newWriter(t)
		r := bad.pick(1, "north")
		bad.append(r.Kind, r.Body)
		var f folds
		c := conf(&f, 1)
		c.Log, c.Snapshot = bad.log, other
		p := project.New(c)
		if err := p.CatchUp(t.Context()); err == nil {
			t.Fatal("a doubled record was taken")
		}
		if err := p.SaveSnapshot(); err != nil {
			t.Error(err)
		}
		if _, err := os.Stat(other); !errors.Is(err, os.ErrNotExist) {
			t.Error("half a book was written down")
		}
	})
}

// A run of records of which the last is refused is handed over again whole; what was taken from it is not taken twice.
func TestRetriedRun(t *testing.T) {
	t.Parallel()
	w := newWriter(t)
	path := filepath.Join(t.TempDir(), "book.snapshot")
	p := caughtUp(t, project.Config{Log: w.log, Snapshot: path, Mark: func(size uint64) (projections.Mark, bool) { return projections.Mark{Size: size}, true }})
	for range 3 {
		w.pick(1, "north")
	}
	w.append("fruit.picked", []byte(`{"a":1}`))
	for range 2 {
		if err := p.Run(t.Context(), nil); !errors.Is(err, events.ErrNotARecord) {
			t.Errorf("got %v, want ErrNotARecord", err)
		}
		if p.Size() != 4 {
			t.Errorf("a book of %d, want the 4 records in front of it", p.Size())
		}
	}
	// The Book is whole as far as it goes, and can be written down.
	if err := p.SaveSnapshot(); err != nil {
		t.Error(err)
	}
	if _, err := os.Stat(path); err != nil {
		t.Error(err)
	}
}
