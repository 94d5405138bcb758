package idindex

import (
	"encoding/binary"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"sync"
	"testing"

	"pgregory.net/rapid"
)

// randomIDs are n ids as they come: version 7 UUIDs, each a millisecond or so behind the one before, and among them ids
// that are nothing but a hash.
func randomIDs(seed uint64, n int) []ID {
	rnd := rand.New(rand.NewPCG(seed, 3))
	out := make([]ID, n)
	at := uint64(1_700_000_000_000)
	for i := range out {
		at += rnd.Uint64N(3)
		binary.BigEndian.PutUint64(out[i][:], at<<16|0x7000|rnd.Uint64N(0x1000))
		binary.BigEndian.PutUint64(out[i][8:], 1<<63|rnd.Uint64()>>2)
		if rnd.IntN(3) == 0 {
			binary.BigEndian.PutUint64(out[i][:], rnd.Uint64())
		}
	}
	return out
}

// build makes an index in dir of ids at the places 1, 2, ..., flushed every step places, and closes it.
func build(t testing.TB, dir string, ids []ID, step int) {
	t.Helper()
	x := mustOpen(t, dir, 0)
	for i, id := range ids {
		x.Add(id, uint64(i)+1)
		if (i+1)%step == 0 || i == len(ids)-1 {
			if err := x.Flush(uint64(i) + 1); err != nil {
				t.Fatalf("flush: %v", err)
			}
		}
	}
	if err := x.Close(); err != nil {
		t.Fatalf("close: %v", err)
	}
}

func mustOpen(t testing.TB, dir string, want uint64) *Index {
	t.Helper()
	x, covered, err := Open(dir)
	if err != nil {
		t.Fatalf("open: %v", err)
	}
	t.Cleanup(func() { x.Close() })
	if covered != want {
		t.Fatalf("covered: got %d, want %d", covered, want)
	}
	return x
}

// wantFound says whether the index knows exactly the ids that stand at places up to known.
func wantFound(t testing.TB, x *Index, ids []ID, known int) {
	t.Helper()
	for i, id := range ids {
		place, ok, err := x.Lookup(id)
		if err != nil {
			t.Fatalf("lookup of place %d: %v", i+1, err)
		}
		if want := i < known; ok != want || ok && place != uint64(i)+1 {
			t.Fatalf("lookup of place %d, %d known: got %d, %v", i+1, known, place, ok)
		}
	}
}

func runFiles(t testing.TB, dir string) []string {
	t.Helper()
	names, err := filepath.Glob(filepath.Join(dir, "*"+runExt))
	if err != nil {
		t.Fatal(err)
	}
	return names
}

func TestManyIDs(t *testing.T) {
	t.Parallel()
	n := 200_000
	if os.Getenv("LATEWOOD_PROOF") == "1" {
		n = 3_000_000
	}
	ids := randomIDs(1, n)
	dir := t.TempDir()
	build(t, dir, ids, n/40)
	x := mustOpen(t, dir, uint64(n))
	wantFound(t, x, ids, n)
	wrong := 0
	for _, id := range randomIDs(2, n) {
		if _, ok, err := x.Lookup(id); err != nil || ok {
			t.Fatalf("an id that was never added: %v, %v", ok, err)
		}
		for _, r := range x.runs {
			if r.filter.has(hashID(id)) {
				wrong++
			}
		}
	}
	var size int64
	for _, path := range runFiles(t, dir) {
		info, err := os.Stat(path)
		if err != nil {
			t.Fatal(err)
		}
		size += info.Size()
	}
	if len(x.runs) > maxRuns {
		t.Errorf("%d runs after 40 flushes, want at most %d", len(x.runs), maxRuns)
	}
	rate := float64(wrong) / float64(n*len(x.runs))
	if rate > 0.015 {
		t.Errorf("the filters say maybe to %.2f%% of ids that are not there, want about 0.8%%", 100*rate)
	}
	t.Logf("%d ids in %d runs, %.1f bytes an id on disk, filters wrong for %.2f%%", n, len(x.runs), float64(size)/float64(n), 100*rate)
}

func TestFirstPlaceStays(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	x := mustOpen(t, dir, 0)
	ids := randomIDs(3, maxRuns+3)
	for i, id := range ids {
		x.Add(id, uint64(i)+1)
		x.Add(id, 1000)
		x.Add(ids[0], 2000) // flushed already from the second round on
		if err := x.Flush(uint64(i) + 1); err != nil {
			t.Fatal(err)
		}
		wantFound(t, x, ids, i+1)
	}
	x.Close()
	wantFound(t, mustOpen(t, dir, uint64(len(ids))), ids, len(ids))
}

func TestUnflushedIsForgotten(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	ids := randomIDs(4, 30)
	x := mustOpen(t, dir, 0)
	for i, id := range ids {
		x.Add(id, uint64(i)+1)
		if i == 19 {
			if err := x.Flush(20); err != nil {
				t.Fatal(err)
			}
		}
	}
	wantFound(t, x, ids, 30)
	if got := x.Tail(); got != 10 {
		t.Errorf("tail: got %d, want 10", got)
	}
	x.Close()
	if _, _, err := x.Lookup(ids[0]); !errors.Is(err, ErrClosed) {
		t.Errorf("lookup after close: got %v, want ErrClosed", err)
	}
	if err := x.Flush(30); !errors.Is(err, ErrClosed) {
		t.Errorf("flush after close: got %v, want ErrClosed", err)
	}
	wantFound(t, mustOpen(t, dir, 20), ids, 20)
}

func TestReset(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	ids := randomIDs(5, 100)
	build(t, dir, ids, 30)
	x := mustOpen(t, dir, 100)
	if err := x.Reset(); err != nil {
		t.Fatal(err)
	}
	wantFound(t, x, ids, 0)
	if left := runFiles(t, dir); len(left) > 0 {
		t.Errorf("left on disk: %v", left)
	}
	x.Add(ids[0], 1)
	if err := x.Flush(1); err != nil {
		t.Fatal(err)
	}
	wantFound(t, x, ids, 1)
}

// TestFailedFlush takes the folder away while ids wait for it.
func TestFailedFlush(t *testing.T) {
	t.Parallel()
	dir := filepath.Join(t.TempDir(), "index")
	ids := randomIDs(6, 40)
	x := mustOpen(t, dir, 0)
	for i, id := range ids[:30] {
		x.Add(id, uint64(i)+1)
	}
	if err := os.RemoveAll(dir); err != nil {
		t.Fatal(err)
	}
	if err := x.Flush(30); err == nil {
		t.Fatal("flush into a folder that is gone: no error")
	}
	for i, id := range ids[30:] {
		x.Add(id, uint64(i)+31)
	}
	wantFound(t, x, ids, 40)
	if err := os.Mkdir(dir, 0o700); err != nil {
		t.Fatal(err)
	}
	if err := x.Flush(40); err != nil {
		t.Fatalf("flush when the folder is back: %v", err)
	}
	x.Close()
	wantFound(t, mustOpen(t, dir, 40), ids, 40)
}

// TestModel holds random additions, flushes and reopenings against a map.
func TestModel(t *testing.T) {
	t.Parallel()
	ids := randomIDs(7, 400)
	rapid.Check(t, func(rt *rapid.T) {
		dir, err := os.MkdirTemp("", "idindex-")
		if err != nil {
			rt.Fatal(err)
		}
		defer os.RemoveAll(dir)
		x, covered, err := Open(dir)
		if err != nil || covered != 0 {
			rt.Fatalf("open: %d, %v", covered, err)
		}
		defer func() { x.Close() }()
		known, flushed := 0, 0
		for range rapid.IntRange(1, 30).Draw(rt, "steps") {
			switch rapid.SampledFrom([]string{"add", "add", "flush", "reopen"}).Draw(rt, "step") {
			case "add":
				for n := rapid.IntRange(1, 25).Draw(rt, "n"); n > 0 && known < len(ids); n-- {
					x.Add(ids[known], uint64(known)+1)
					known++
				}
			case "flush":
				if err := x.Flush(uint64(known)); err != nil {
					rt.Fatalf("flush: %v", err)
				}
				flushed = known
			case "reopen":
				if err := x.Close(); err != nil {
					rt.Fatalf("close: %v", err)
				}
				if x, covered, err = Open(dir); err != nil || covered != uint64(flushed) {
					rt.Fatalf("reopen: covered %d, %v, want %d", covered, err, flushed)
				}
				known = flushed
			}
			for i, id := range ids {
				place, ok, err := x.Lookup(id)
				if err != nil || ok != (i < known) || ok && place != uint64(i)+1 {
					rt.Fatalf("place %d, %d known: got %d, %v, %v", i+1, known, place, ok, err)
				}
			}
			if len(x.runs) > maxRuns {
				rt.Fatalf("%d runs", len(x.runs))
			}
		}
	})
}

// TestAtOnce looks up, adds and flushes from several goroutines; it is for the race detector.
func TestAtOnce(t *testing.T) {
	t.Parallel()
	ids := randomIDs(8, 6000)
	x := mustOpen(t, t.TempDir(), 0)
	var (
		mu    sync.Mutex
		added int
		wg    sync.WaitGroup
	)
	known := func() int {
		mu.Lock()
		defer mu.Unlock()
		return added
	}
	wg.Go(func() {
		for i, id := range ids {
			x.Add(id, uint64(i)+1)
			mu.Lock()
			added = i + 1
			mu.Unlock()
		}
	})
	wg.Go(func() {
		for known() < len(ids) {
			if err := x.Flush(uint64(known())); err != nil {
				t.Errorf("flush: %v", err)
				return
			}
		}
	})
	for g := range 2 {
		wg.Go(func() {
			rnd := rand.New(rand.NewPCG(uint64(g), 9))
			for n := known(); n < len(ids); n = known() {
				i := rnd.IntN(len(ids))
				place, ok, err := x.Lookup(ids[i])
				if err != nil || i < n && !ok || ok && place != uint64(i)+1 {
					t.Errorf("place %d, %d known: got %d, %v, %v", i+1, n, place, ok, err)
					return
				}
			}
		})
	}
	wg.Wait()
	wantFound(t, x, ids, len(ids))
}

func BenchmarkLookup(b *testing.B) {
	const n = 1_000_000
	ids := randomIDs(10, n)
	dir := b.TempDir()
	build(b, dir, ids, n/40)
	x := mustOpen(b, dir, n)
	other := randomIDs(11, n)
	for _, bm := range []struct {
		name string
		ids  []ID
		hit  bool
	}{{"hit", ids, true}, {"miss", other, false}} {
		b.Run(bm.name, func(b *testing.B) {
			b.ReportAllocs()
			i := 0
			for b.Loop() {
				if _, ok, err := x.Lookup(bm.ids[i*7919%n]); err != nil || ok != bm.hit {
					b.Fatal(ok, err)
				}
				i++
			}
			b.ReportMetric(float64(len(x.runs)), "runs")
		})
	}
}

func BenchmarkFlush(b *testing.B) {
	for _, n := range []int{1000, 100_000} {
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			ids := randomIDs(12, n)
			x := mustOpen(b, b.TempDir(), 0)
			for b.Loop() {
				b.StopTimer()
				if err := x.Reset(); err != nil {
					b.Fatal(err)
				}
				for i, id := range ids {
					x.Add(id, uint64(i)+1)
				}
				b.StartTimer()
				if err := x.Flush(uint64(n)); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

// BenchmarkOpen opens an index of a million ids: what a start pays.
func BenchmarkOpen(b *testing.B) {
	const n = 1_000_000
	dir := b.TempDir()
	build(b, dir, randomIDs(13, n), n/40)
	for b.Loop() {
		x, covered, err := Open(dir)
		if err != nil || covered != n {
			b.Fatal(covered, err)
		}
		x.Close()
	}
}
