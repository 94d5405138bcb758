package seal_test

import (
	"bytes"
	"context"
	"errors"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"latewood/events/ledger"
	"latewood/events/ledger/archive"
	"latewood/events/ledger/memlog"
	"latewood/events/ledger/proof"
	"latewood/services/seal"
)

// start runs a sealer and returns how to stop it; stop waits, and fails the test if it ends with an error.
func start(t *testing.T, s *seal.Sealer) (stop func()) {
	t.Helper()
	ctx, cancel := context.WithCancel(t.Context())
	ready, done := make(chan struct{}), make(chan error, 1)
	go func() { done <- s.Run(ctx, func() { close(ready) }) }()
	<-ready
	return func() {
		t.Helper()
		cancel()
		if err := <-done; err != nil {
			t.Errorf("run: %v", err)
		}
	}
}

func wait(t *testing.T, s *seal.Sealer, place uint64) {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), 30*time.Second)
	defer cancel()
	if err := s.Wait(ctx, place); err != nil {
		t.Fatalf("waiting for place %d: %v", place, err)
	}
}

func TestRunSeals(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		name string
		c    seal.Config
		n    []int
	}{
		{"one record by the clock", seal.Config{Every: time.Millisecond}, []int{1}},
		{"some records by the clock", seal.Config{Every: time.Millisecond}, []int{1, 3, 200, 60}},
		{"a thousand records before the clock", seal.Config{Every: time.Hour}, []int{1000}},
		{"some records before the clock", seal.Config{Every: time.Hour, Most: 10}, []int{4, 6}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			r := newRig(t)
			s := r.sealer(tt.c)
			stop := start(t, s)
			for _, n := range tt.n {
				r.record(n)
			}
			wait(t, s, r.n)
			stop()
			r.wantSealed(r.n)
		})
	}
}

// On stop everything is sealed, what came last too, whatever the clock says.
func TestStopSeals(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	s := r.sealer(seal.Config{Every: time.Hour})
	stop := start(t, s)
	r.record(7)
	stop()
	r.wantSealed(7)
	if err := s.Wait(t.Context(), 8); !errors.Is(err, seal.ErrStopped) {
		t.Errorf("waiting for what never comes: got %v, want ErrStopped", err)
	}
	// Nothing new, nothing signed.
	before, err := r.a.Checkpoints()
	if err != nil {
		t.Fatal(err)
	}
	start(t, r.sealer(seal.Config{Every: time.Millisecond}))()
	if after, _ := r.a.Checkpoints(); len(after) != len(before) {
		t.Errorf("an idle run: %d checkpoints, before %d", len(after), len(before))
	}
}

// A start goes on where the archive ends, also with records in its tail that nobody signed.
func TestGoesOn(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.record(300)
	if err := r.sealer(seal.Config{}).Seal(t.Context()); err != nil {
		t.Fatal(err)
	}
	r.record(5)
	var unsigned [][]byte
	for e, err := range r.stream.Read(t.Context(), 301, 303) {
		if err != nil {
			t.Fatal(err)
		}
		unsigned = append(unsigned, e.Body)
	}
	if err := errors.Join(r.a.Append(unsigned...), r.a.Sync(), r.a.Close()); err != nil {
		t.Fatal(err)
	}
	r.open()
	start(t, r.sealer(seal.Config{}))()
	r.wantSealed(305)
}

// Two sealers of one stream, each with an archive of its own, make the same tree and the same files.
func TestTwoSealersAgree(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	other := *r
	other.dir = t.TempDir()
	a, err := archive.Open(other.dir+"/archive", r.options())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { a.Close() })
	other.a = a
	s, second := r.sealer(seal.Config{Every: time.Millisecond}), other.sealer(seal.Config{Every: time.Millisecond, Most: 3})
	stop, stopSecond := start(t, s), start(t, second)
	for range 40 {
		r.record(7)
	}
	wait(t, s, r.n)
	stop()
	stopSecond()
	r.wantSealed(r.n)
	other.wantSealed(r.n)
	for _, name := range []string{"tile/entries/000", "tile/0/000", "tile/1/000.p/1"} {
		x, err := os.ReadFile(filepath.Join(r.dir, "archive", name))
		if err != nil {
			t.Fatal(err)
		}
		y, err := os.ReadFile(filepath.Join(other.dir, "archive", name))
		if err != nil || !bytes.Equal(x, y) {
			t.Errorf("%s: the archives differ, %v", name, err)
		}
	}
}

// TestRefusesAnotherHistory: what does not extend the newest published checkpoint is not signed.
func TestRefusesAnotherHistory(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.record(20)
	if err := r.sealer(seal.Config{}).Seal(t.Context()); err != nil {
		t.Fatal(err)
	}
	published, err := r.a.Checkpoints()
	if err != nil {
		t.Fatal(err)
	}
	t.Run("a shorter stream", func(t *testing.T) {
		var hole *ledger.HoleError
		s := seal.New(seal.Config{Stream: memlog.New(), Archive: r.a, Ring: r.ring})
		if err := s.Seal(t.Context()); !errors.As(err, &hole) {
			t.Errorf("got %v, want a hole", err)
		}
	})
	t.Run("a stream with a hole", func(t *testing.T) {
		r.record(3)
		r.stream.Hole(22)
		var hole *ledger.HoleError
		if err := r.sealer(seal.Config{}).Run(t.Context(), nil); !errors.As(err, &hole) || hole.Want != 22 {
			t.Errorf("got %v, want a hole at 22", err)
		}
	})
	after, err := r.a.Checkpoints()
	if err != nil || len(after) != len(published) {
		t.Errorf("%d checkpoints, before %d, %v", len(after), len(published), err)
	}
}

func TestEveryCheckpointExtendsTheLast(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	s := r.sealer(seal.Config{})
	rounds := 20
	if full {
		rounds = 200
	}
	for i := range rounds {
		r.record(i%9 + 1)
		if err := s.Seal(t.Context()); err != nil {
			t.Fatal(err)
		}
	}
	notes, err := r.a.Checkpoints()
	if err != nil || len(notes) != rounds {
		t.Fatalf("%d checkpoints, %v, want %d", len(notes), err, rounds)
	}
	newest, err := r.a.Checkpoint()
	if err != nil {
		t.Fatal(err)
	}
	for _, note := range notes {
		old, err := proof.OpenCheckpoint(note, origin, r.ring.Key())
		if err != nil {
			t.Fatal(err)
		}
		path, err := proof.Consistency(old.Size, newest.Size, r.a)
		if err == nil {
			err = proof.CheckConsistency(old.Tree, newest.Tree, path)
		}
		if err != nil {
			t.Errorf("size %d: %v", old.Size, err)
		}
	}
	t.Logf("counts: %d checkpoints, each the beginning of the last tree", len(notes))
}

func TestNoKeyNoSeal(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.record(2)
	if err := r.sealer(seal.Config{}).Seal(t.Context()); err != nil {
		t.Fatal(err)
	}
	lose(t, r.dir)
	ring, err := seal.OpenRing(r.dir+"/keys", origin, strings.NewReader(""))
	if !errors.Is(err, seal.ErrNoSecret) || ring == nil || ring.CanSign() {
		t.Fatalf("got %v, want ErrNoSecret and a ring that cannot sign", err)
	}
	r.record(1)
	s := seal.New(seal.Config{Stream: r.stream, Archive: r.a, Ring: ring})
	if err := s.Seal(t.Context()); !errors.Is(err, seal.ErrNoSecret) {
		t.Errorf("got %v, want ErrNoSecret", err)
	}
	if !slices.Equal(ring.Public(), r.ring.Public()) {
		t.Error("the keys that signed before are not known any more")
	}
	if _, err := archive.Look(r.dir+"/archive", r.options()); err != nil {
		t.Error(err)
	}
}
