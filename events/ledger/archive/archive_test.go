package archive

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"golang.org/x/mod/sumdb/tlog"
	"pgregory.net/rapid"

	"latewood/events/ledger"
	"latewood/events/ledger/proof"
)

func TestArchive(t *testing.T) {
	t.Parallel()
	for _, sizes := range [][]uint64{{1}, {255}, {256}, {257}, {1, 2, 3}, {100, 300, 512, 513, 900}, {511, 512, 1024, 1025}} {
		t.Run(fmt.Sprint(sizes), func(t *testing.T) {
			t.Parallel()
			dir := t.TempDir()
			a := build(t, dir, 7, sizes...)
			last := sizes[len(sizes)-1]
			if a.Size() != last+7 || a.Sealed() != last {
				t.Errorf("size %d, sealed %d, want %d, %d", a.Size(), a.Sealed(), last+7, last)
			}
			for _, b := range []*Archive{a, reopen(t, copyDir(t, dir))} {
				wantRecords(t, b)
				for _, size := range []uint64{0, 1, last / 2, last, last + 7} {
					if root, err := b.RootAt(size); err != nil || root != rootAt(size) {
						t.Errorf("root at %d: got %v, %v", size, root, err)
					}
				}
				if root, err := b.Root(); err != nil || root != rootAt(last+7) {
					t.Errorf("root: got %v, %v", root, err)
				}
				if s, err := b.Checkpoint(); err != nil || s.Size != last || !bytes.Equal(s.Note, readFile(t, dir, "checkpoint")) {
					t.Errorf("checkpoint: got %+v, %v", s, err)
				}
				notes, err := b.Checkpoints()
				if err != nil || len(notes) != len(sizes) {
					t.Errorf("history: got %d, %v, want %d", len(notes), err, len(sizes))
				}
			}
			r := wantClean(t, dir)
			if r.Size != last || r.Root != rootAt(last) || r.Checkpoints != len(sizes) || r.Unsealed != 7 || r.Torn != 0 {
				t.Errorf("report: %+v", r)
			}
			// It goes on where it was.
			c := reopen(t, copyDir(t, dir))
			if err := errors.Join(c.Append(records(c.Size()+1, c.Size()+600)...), c.Publish(note(t, last+500, rootAt(last+500)))); err != nil {
				t.Fatal(err)
			}
			wantRecords(t, c)
			wantClean(t, c.dir)
		})
	}
}

// TestLayout holds the names and contents of the files against the specification: its own example of a tree of 70,000
// (C2SP tlog-tiles, "Partial Tiles"), and tlog.NewTiles of golang.org/x/mod.
func TestLayout(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		t    tile
		want string
	}{
		{tile{0, 1234067, width}, "tile/0/x001/x234/067"}, // the specification's example of an index
		{tile{entries, 0, width}, "tile/entries/000"},
		{tile{entries, 1000, 3}, "tile/entries/x001/000.p/3"},
		{tile{2, 999, 255}, "tile/2/999.p/255"},
	} {
		if got := tt.t.name(); got != tt.want {
			t.Errorf("got %s, want %s", got, tt.want)
		}
		if back, ok := parseTile(tt.want); !ok || back != tt.t {
			t.Errorf("%s: read back as %+v, %v", tt.want, back, ok)
		}
	}
	for _, name := range []string{"", "tile", "tile/0", "tile/0/1", "tile/0/0001", "tile/00/001", "tile/-1/001", "tile/9/001", "tile/0/x000/001", "tile/0/001/002",
		"tile/0/001.p/0", "tile/0/001.p/256", "tile/0/001.p/01", "tile/0/001.p/+1", "tile/0/001.p", "tile/entries/x1/001", "tile/0/../001", "tile/data/001", "/tile/0/001",
		"tile/0/001/", "tile/0/x999/x999/x999/x999/x999/x999/x999/x999/999"} {
		if got, ok := parseTile(name); ok {
			t.Errorf("%q: taken as %+v", name, got)
		}
	}
	want := map[string]int{"entries.p": 112, "0.p": 112, "1": 1, "1.p": 17, "2.p": 1, "0": 273}
	got := map[string]int{"0": 70000 / width, "1": 70000 / width / width}
	for _, tl := range edge(70000) {
		key := fmt.Sprint(tl.level)
		if tl.level == entries {
			key = "entries"
		}
		got[key+".p"] = tl.w
	}
	if fmt.Sprint(got) != fmt.Sprint(want) {
		t.Errorf("a tree of 70,000: got %v, want %v", got, want)
	}
	for _, size := range []uint64{1, 255, 256, 70000, 65536, 1 << 24} {
		var a, b []string
		for _, tl := range edge(size) {
			if tl.level != entries {
				a = append(a, fmt.Sprint(tl.level, tl.n, tl.w))
			}
		}
		for _, tl := range tlog.NewTiles(height, 0, int64(size)) {
			if tl.W < width {
				b = append(b, fmt.Sprint(tl.L, tl.N, tl.W))
			}
		}
		if !slices.Equal(a, b) {
			t.Errorf("size %d: partial tiles %v, tlog has %v", size, a, b)
		}
	}
	dir := t.TempDir()
	build(t, dir, 0, 256, 600)
	got2 := listFiles(t, dir)
	want2 := []string{"checkpoint", "checkpoints", "tail", "tile/0/000", "tile/0/001", "tile/0/002.p/88", "tile/1/000.p/1", "tile/1/000.p/2", "tile/entries/000", "tile/entries/001", "tile/entries/002.p/88"}
	if !slices.Equal(got2, want2) {
		t.Errorf("files: got %q, want %q", got2, want2)
	}
	if b := readFile(t, dir, "tile/entries/000"); b[0] != 0 || int(b[1]) != len(record(1)) || !bytes.HasPrefix(b[2:], record(1)) {
		t.Errorf("a bundle begins with %q", b[:20])
	}
}

// TestPartialFiles sees that partial files come and go.
func TestPartialFiles(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	a := build(t, dir, 0, 10, 20, 30)
	want := []string{"tile/0/000.p/20", "tile/0/000.p/30", "tile/entries/000.p/20", "tile/entries/000.p/30"}
	if got := listFiles(t, dir)[3:]; !slices.Equal(got, want) {
		t.Errorf("got %q, want %q", got, want)
	}
	for _, size := range []uint64{256, 300, 301} {
		if err := errors.Join(a.Append(records(a.Size()+1, size)...), a.Publish(sign(t, a, size))); err != nil {
			t.Fatal(err)
		}
	}
	want = []string{"tile/0/000", "tile/0/001.p/44", "tile/0/001.p/45", "tile/1/000.p/1", "tile/entries/000", "tile/entries/001.p/44", "tile/entries/001.p/45"}
	if got := listFiles(t, dir)[3:]; !slices.Equal(got, want) {
		t.Errorf("got %q, want %q", got, want)
	}
	if _, err := os.Stat(filepath.Join(dir, "tile/0/000.p")); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("the folder of old partial tiles is still there: %v", err)
	}
}

func TestProofs(t *testing.T) {
	t.Parallel()
	const size = 1000
	a := build(t, t.TempDir(), 30, 300, 777, size)
	root := rootAt(size)
	var h proof.Hashes
	for p := uint64(1); p <= size; p++ {
		h.Append(ledger.LeafHash(record(p)))
	}
	for index := uint64(0); index < size; index += 13 {
		path, err := proof.Inclusion(size, index, a)
		want, werr := proof.Inclusion(size, index, &h)
		if err != nil || werr != nil || !slices.Equal(path, want) {
			t.Fatalf("index %d: got %v, %v, want %v", index, path, err, want)
		}
		leaf, err := a.LeafHash(index + 1)
		if err != nil || proof.CheckInclusion(proof.Tree{Size: size, Root: root}, index, leaf, path) != nil {
			t.Errorf("index %d: leaf %v, %v", index, leaf, err)
		}
	}
	for old := uint64(1); old <= size; old += 17 {
		path, err := proof.Consistency(old, size, a)
		want, werr := proof.Consistency(old, size, &h)
		if err != nil || werr != nil || !slices.Equal(path, want) {
			t.Fatalf("from %d: got %v, %v, want %v", old, path, err, want)
		}
	}
	if _, err := a.ReadHashes([]int64{-1}); !errors.Is(err, proof.ErrSize) {
		t.Errorf("a negative index: got %v", err)
	}
	if _, err := a.RootAt(1031); !errors.Is(err, proof.ErrSize) {
		t.Errorf("a root beyond: got %v", err)
	}
	if _, err := a.LeafHash(0); !errors.Is(err, proof.ErrSize) {
		t.Errorf("place 0: got %v", err)
	}
}

func TestRead(t *testing.T) {
	t.Parallel()
	a := build(t, t.TempDir(), 10, 600)
	for _, tt := range []struct {
		first, last uint64
		from, to    uint64 // what is handed out
		hole        uint64 // 0: none
	}{
		{0, 0, 1, 600, 0}, {1, 1, 1, 1, 0}, {256, 257, 256, 257, 0}, {600, 600, 600, 600, 0}, {513, 0, 513, 600, 0},
		{601, 0, 1, 0, 0}, {590, 605, 590, 600, 601}, {601, 605, 1, 0, 601}, {700, 705, 1, 0, 700},
	} {
		next := tt.from
		var hole *ledger.HoleError
		for e, err := range a.Read(t.Context(), tt.first, tt.last) {
			if err != nil {
				if !errors.As(err, &hole) {
					t.Errorf("%d to %d: %v", tt.first, tt.last, err)
				}
				break
			}
			if e.Place != next || !bytes.Equal(e.Body, record(next)) {
				t.Fatalf("%d to %d: got place %d, want %d", tt.first, tt.last, e.Place, next)
			}
			clear(e.Body) // it is ours
			next++
		}
		if next != tt.to+1 || (hole != nil) != (tt.hole != 0) || hole != nil && hole.Want != tt.hole {
			t.Errorf("%d to %d: stopped before %d with %v, want %d, hole at %d", tt.first, tt.last, next, hole, tt.to+1, tt.hole)
		}
	}
	wantRecords(t, a) // what the readers cleared was theirs
	for range a.Read(t.Context(), 1, 0) {
		break
	}
	for _, p := range []uint64{0, 601, 610, 1 << 60} {
		var hole *ledger.HoleError
		if _, err := a.ReadRecord(t.Context(), p); !errors.As(err, &hole) {
			t.Errorf("place %d: got %v, want a HoleError", p, err)
		}
	}
}

func TestPublishRefused(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	a := build(t, dir, 50, 300)
	other, err := proof.Checkpoint{Origin: origin, Tree: proof.Tree{Size: 320, Root: rootAt(320)}}.Sign(secret(9))
	if err != nil {
		t.Fatal(err)
	}
	elsewhere, err := proof.Checkpoint{Origin: "x", Tree: proof.Tree{Size: 320, Root: rootAt(320)}}.Sign(log)
	if err != nil {
		t.Fatal(err)
	}
	extra, err := proof.Checkpoint{Origin: origin, Tree: proof.Tree{Size: 320, Root: rootAt(320)}, Extra: []string{"more"}}.Sign(log)
	if err != nil {
		t.Fatal(err)
	}
	before := readFile(t, dir, "checkpoints")
	for _, tt := range []struct {
		name string
		note []byte
		want any
	}{
		{"another root", note(t, 320, rootAt(319)), ErrOrder},
		{"another root of the same size", note(t, 300, rootAt(299)), ErrOrder},
		{"smaller", note(t, 299, rootAt(299)), ErrOrder},
		{"beyond the end", note(t, 351, rootAt(351)), ErrOrder},
		{"size 0", note(t, 0, rootAt(0)), ErrOrder},
		{"extension lines", extra, ErrOrder},
		{"another key", other, new(*proof.UnsignedError)},
		{"another ledger", elsewhere, new(*proof.OriginError)},
		{"no note", []byte("x"), new(*proof.FormatError)},
	} {
		err := a.Publish(tt.note)
		if want, ok := tt.want.(error); ok && !errors.Is(err, want) || !ok && !errors.As(err, tt.want) {
			t.Errorf("%s: got %v", tt.name, err)
		}
	}
	if err := a.Publish(note(t, 300, rootAt(300))); err != nil {
		t.Errorf("the same again: %v", err)
	}
	if !bytes.Equal(readFile(t, dir, "checkpoints"), before) || a.Sealed() != 300 {
		t.Error("something was published")
	}
	// A witness's signature makes another note of the same size.
	witness, err := proof.GenerateWitness(bytes.NewReader(make([]byte, 32)), "w")
	if err != nil {
		t.Fatal(err)
	}
	seen, err := proof.Cosign(note(t, 300, rootAt(300)), log.Key(), witness, 5)
	if err != nil {
		t.Fatal(err)
	}
	if err := a.Publish(seen); err != nil || !bytes.Equal(readFile(t, dir, "checkpoint"), seen) {
		t.Errorf("with a witness: %v", err)
	}
	wantClean(t, dir)
	for _, n := range []int{0, MaxEntry + 1} {
		if err := a.Append(record(1), make([]byte, n)); err == nil || a.Size() != 350 {
			t.Errorf("a record of %d bytes: got %v, size %d", n, err, a.Size())
		}
	}
	if err := errors.Join(a.Append(make([]byte, MaxEntry)), a.Sync(), a.Close(), a.Close()); err != nil {
		t.Fatal(err)
	}
	if err := errors.Join(a.Append(record(1))); !errors.Is(err, ErrClosed) || !errors.Is(err, ledger.ErrStore) {
		t.Errorf("closed: got %v", err)
	}
	if b := reopen(t, dir); b.Size() != 351 {
		t.Errorf("size %d, want 351", b.Size())
	}
}

func TestOpenRefused(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	build(t, dir, 5, 300).Close()
	if _, err := Open(dir, Options{Origin: origin, Keys: []proof.Key{secret(9).Key()}}); err == nil {
		t.Error("opened with a foreign key")
	}
	if _, err := Open(dir, Options{Origin: "x", Keys: options().Keys}); err == nil {
		t.Error("opened as another ledger's")
	}
	foreign := t.TempDir()
	writeFile(t, foreign, "letters.txt", []byte("x"))
	if _, err := Open(foreign, options()); err == nil {
		t.Error("an archive is made among other files")
	}
	file := filepath.Join(foreign, "letters.txt")
	if _, err := Open(file, options()); err == nil {
		t.Error("a file is opened as a folder")
	}
	a := reopen(t, filepath.Join(t.TempDir(), "new", "one"))
	if _, err := a.Checkpoint(); !errors.Is(err, ErrNoCheckpoint) || a.Size() != 0 {
		t.Errorf("an empty archive: %v", err)
	}
	for range a.Read(t.Context(), 0, 0) {
		t.Error("an empty archive has a record")
	}
	wantClean(t, a.dir)
}

// TestModel runs random commands against a slice.
func TestModel(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		dir, err := os.MkdirTemp(t.TempDir(), "")
		if err != nil {
			rt.Fatal(err)
		}
		defer os.RemoveAll(dir)
		a, err := Open(dir, options())
		if err != nil {
			rt.Fatal(err)
		}
		defer func() { a.Close() }()
		var size, sealed uint64
		steps := rapid.IntRange(1, 12).Draw(rt, "steps")
		for range steps {
			switch rapid.IntRange(0, 4).Draw(rt, "command") {
			case 0, 1:
				n := uint64(rapid.SampledFrom([]int{1, 2, 40, 255, 256, 300}).Draw(rt, "records"))
				if err := a.Append(records(size+1, size+n)...); err != nil {
					rt.Fatal(err)
				}
				size += n
			case 2:
				if size == sealed {
					continue
				}
				sealed = rapid.Uint64Range(sealed+1, size).Draw(rt, "seal")
				if err := a.Publish(sign(t, a, sealed)); err != nil {
					rt.Fatal(err)
				}
			case 3:
				if err := errors.Join(a.Sync(), a.Close()); err != nil {
					rt.Fatal(err)
				}
				if a, err = Open(dir, options()); err != nil {
					rt.Fatal(err)
				}
			case 4:
				r, err := Check(t.Context(), dir, options())
				if err != nil || !r.OK() || r.Size != sealed {
					rt.Fatalf("check: %+v, %v", r, err)
				}
			}
			if a.Size() != size || a.Sealed() != sealed {
				rt.Fatalf("size %d, sealed %d, want %d, %d", a.Size(), a.Sealed(), size, sealed)
			}
			if size > 0 {
				p := rapid.Uint64Range(1, size).Draw(rt, "place")
				body, err := a.ReadRecord(t.Context(), p)
				if (err == nil) != (p <= sealed) || err == nil && !bytes.Equal(body, record(p)) {
					rt.Fatalf("place %d of %d sealed: %q, %v", p, sealed, body, err)
				}
			}
		}
	})
}
