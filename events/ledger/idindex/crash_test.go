package idindex

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
	"os"
	"path/filepath"
	"testing"
)

// copyDir copies an index as a crash at this moment would leave it.
func copyDir(t testing.TB, from string) string {
	t.Helper()
	to := t.TempDir()
	if err := os.CopyFS(to, os.DirFS(from)); err != nil {
		t.Fatal(err)
	}
	return to
}

// wantUsable opens what a crash or damage left, and says whether the index knows all ids up to what it covers, or finds
// itself damaged, and then does at the next opening. Whatever it lost can be added again. It returns what is covered.
func wantUsable(t testing.TB, dir string, ids []ID) int {
	t.Helper()
	for try := 0; ; try++ {
		x, covered, err := Open(dir)
		if err != nil {
			t.Fatalf("open: %v", err)
		}
		if covered > uint64(len(ids)) {
			t.Fatalf("covers %d of %d", covered, len(ids))
		}
		var damaged error
		for i, id := range ids {
			place, ok, err := x.Lookup(id)
			if damaged = err; err != nil {
				break
			}
			if i < int(covered) && !ok || ok && place != uint64(i)+1 {
				t.Fatalf("place %d, %d covered: got %d, %v", i+1, covered, place, ok)
			}
		}
		if damaged != nil {
			if !errors.Is(damaged, ErrDamaged) || try > 20 {
				t.Fatalf("lookup, try %d: %v", try, damaged)
			}
			if _, _, err := x.Lookup(ids[0]); !errors.Is(err, ErrDamaged) {
				t.Fatalf("lookup after damage was found: %v", err)
			}
			if err := x.Flush(uint64(len(ids))); !errors.Is(err, ErrDamaged) {
				t.Fatalf("flush after damage was found: %v", err)
			}
			x.Close()
			continue
		}
		for i := int(covered); i < len(ids); i++ {
			x.Add(ids[i], uint64(i)+1)
		}
		if err := x.Flush(uint64(len(ids))); err != nil {
			// A page of an older run that no lookup came to may be found damaged by a merge.
			if !errors.Is(err, ErrDamaged) || try > 20 {
				t.Fatalf("flush: %v", err)
			}
			x.Close()
			continue
		}
		wantFound(t, x, ids, len(ids))
		x.Close()
		again, all, err := Open(dir)
		if err != nil || all != uint64(len(ids)) {
			t.Fatalf("open again: covers %d of %d, %v", all, len(ids), err)
		}
		wantFound(t, again, ids, len(ids))
		again.Close()
		if left, _ := filepath.Glob(filepath.Join(dir, "*.tmp")); len(left) > 0 {
			t.Fatalf("left over: %v", left)
		}
		return int(covered)
	}
}

// TestCrashWhileMerging reconstructs every folder that a crash in a merge can leave: the merged run half written, whole beside all
// its parts, and with some of them deleted.
func TestCrashWhileMerging(t *testing.T) {
	t.Parallel()
	const step, n = 50, 50 * (maxRuns + 1)
	ids := randomIDs(20, n)
	before := t.TempDir()
	build(t, before, ids[:step*maxRuns], step)
	parts := runFiles(t, before)
	if len(parts) != maxRuns {
		t.Fatalf("%d runs before the merge, want %d", len(parts), maxRuns)
	}
	// The ninth flush merges.
	x := mustOpen(t, copyDir(t, before), step*maxRuns)
	for i := step * maxRuns; i < n; i++ {
		x.Add(ids[i], uint64(i)+1)
	}
	if err := x.flush(n); err != nil {
		t.Fatal(err)
	}
	unmerged := copyDir(t, x.dir)
	if err := x.merge(); err != nil {
		t.Fatal(err)
	}
	after := copyDir(t, x.dir)
	merged := runFiles(t, after)
	if len(merged) >= maxRuns {
		t.Fatalf("%d runs after the merge", len(merged))
	}
	var whole string
	for _, path := range merged {
		if _, err := os.Stat(filepath.Join(unmerged, filepath.Base(path))); errors.Is(err, os.ErrNotExist) {
			whole = path
		}
	}
	content, err := os.ReadFile(whole)
	if err != nil {
		t.Fatal(err)
	}

	t.Run("before it", func(t *testing.T) {
		if got := wantUsable(t, copyDir(t, unmerged), ids); got != n {
			t.Errorf("covers %d, want %d", got, n)
		}
	})
	for _, length := range []int{0, 1, 100, 4096, len(content) / 2, len(content) - 1, len(content)} {
		t.Run(fmt.Sprintf("temporary file of %d bytes", length), func(t *testing.T) {
			dir := copyDir(t, unmerged)
			if err := os.WriteFile(filepath.Join(dir, filepath.Base(whole)+".tmp"), content[:length], 0o600); err != nil {
				t.Fatal(err)
			}
			if got := wantUsable(t, dir, ids); got != n {
				t.Errorf("covers %d, want %d", got, n)
			}
		})
	}
	var merging []string // of the merge: what is not there any more after it
	for _, path := range runFiles(t, unmerged) {
		if _, err := os.Stat(filepath.Join(after, filepath.Base(path))); errors.Is(err, os.ErrNotExist) {
			merging = append(merging, filepath.Base(path))
		}
	}
	// Deletions reach the disk in any order.
	for deleted := range 1 << len(merging) {
		dir := copyDir(t, unmerged)
		if err := os.WriteFile(filepath.Join(dir, filepath.Base(whole)), content, 0o600); err != nil {
			t.Fatal(err)
		}
		for i, name := range merging {
			if deleted>>i&1 == 1 {
				if err := os.Remove(filepath.Join(dir, name)); err != nil {
					t.Fatal(err)
				}
			}
		}
		if got := wantUsable(t, dir, ids); got != n {
			t.Errorf("parts %b deleted: covers %d, want %d", deleted, got, n)
		}
	}
}

// TestMergeFindsDamage damages a page that nobody looks at before a merge does. What the merge had written by then must not
// pass for the whole.
func TestMergeFindsDamage(t *testing.T) {
	t.Parallel()
	const step, n = 400, 400 * (maxRuns + 1)
	ids := randomIDs(24, n)
	for damaged := range maxRuns {
		dir := t.TempDir()
		build(t, dir, ids[:step*maxRuns], step)
		path := runFiles(t, dir)[damaged]
		b, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, flipped(pageSize+100)(b), 0o600); err != nil {
			t.Fatal(err)
		}
		x := mustOpen(t, dir, step*maxRuns)
		for i := step * maxRuns; i < n; i++ {
			x.Add(ids[i], uint64(i)+1)
		}
		if err := x.Flush(n); !errors.Is(err, ErrDamaged) {
			t.Errorf("run %d damaged: flush: got %v, want ErrDamaged", damaged, err)
		}
		x.Close()
		if got, want := wantUsable(t, dir, ids), step*damaged; got != want {
			t.Errorf("run %d damaged: covers %d, want %d", damaged, got, want)
		}
	}
}

// TestDamage does to one run file after another what disks and people do.
func TestDamage(t *testing.T) {
	t.Parallel()
	const n = 2000
	ids := randomIDs(21, n)
	whole := t.TempDir()
	build(t, whole, ids, 500)
	files := runFiles(t, whole)
	if len(files) != 4 {
		t.Fatalf("%d runs, want 4", len(files))
	}
	tests := []struct {
		name   string
		change func([]byte) []byte
	}{
		{"deleted", nil},
		{"emptied", func([]byte) []byte { return nil }},
		{"cut to a trailer's length", func(b []byte) []byte { return b[:trailerSize] }},
		{"cut in half", func(b []byte) []byte { return b[:len(b)/2] }},
		{"a byte short", func(b []byte) []byte { return b[:len(b)-1] }},
		{"a byte long", func(b []byte) []byte { return append(b, 0) }},
		{"a page missing", func(b []byte) []byte { return b[pageSize:] }},
		{"zeros", func(b []byte) []byte { return make([]byte, len(b)) }},
		{"something else", func(b []byte) []byte { return bytes.Repeat([]byte("not a run"), 1000) }},
		{"bit in the first id", flipped(0)},
		{"bit in a place", flipped(entrySize - 1)},
		{"bit in the last page", flipped(2*pageSize + 3)},
		{"bit in a page's checksum", flipped(pageSize - 1)},
		{"bit in the fences", flipped(3*pageSize + 5)},
		{"bit in the filter", flipped(-trailerSize - 9)},
		{"bit in the magic", flipped(-trailerSize)},
		{"bit in the checksum", flipped(-trailerSize + 12)},
		{"bit in from", flipped(-trailerSize + 23)},
		{"bit in to", flipped(-trailerSize + 31)},
		{"bit in count", flipped(-trailerSize + 39)},
		{"huge counts", func(b []byte) []byte {
			for at := len(b) - 32; at < len(b)-8; at++ {
				b[at] = 0xff
			}
			return b
		}},
		{"a later format", func(b []byte) []byte {
			t := b[len(b)-trailerSize:]
			binary.BigEndian.PutUint32(t[8:], runFormat+1)
			return b
		}},
		{"other places, checksum put right", func(b []byte) []byte {
			// Good bytes under a wrong name: a file that somebody moved.
			rest := b[3*pageSize:]
			tr := rest[len(rest)-trailerSize:]
			binary.BigEndian.PutUint64(tr[24:], 7777)
			clear(tr[12:16])
			binary.BigEndian.PutUint32(tr[12:], crc32.Checksum(rest, castagnoli))
			return b
		}},
	}
	for _, tt := range tests {
		for i, path := range files {
			t.Run(fmt.Sprintf("%s, run %d", tt.name, i), func(t *testing.T) {
				t.Parallel()
				dir := copyDir(t, whole)
				path := filepath.Join(dir, filepath.Base(path))
				if tt.change == nil {
					if err := os.Remove(path); err != nil {
						t.Fatal(err)
					}
				} else {
					b, err := os.ReadFile(path)
					if err != nil {
						t.Fatal(err)
					}
					if err := os.WriteFile(path, tt.change(b), 0o600); err != nil {
						t.Fatal(err)
					}
				}
				// What comes before the damaged run is kept.
				if got, want := wantUsable(t, dir, ids), 500*i; got != want {
					t.Errorf("covers %d, want %d", got, want)
				}
			})
		}
	}
}

// flipped changes one bit at a place from the start, or from the end if it is negative.
func flipped(at int) func([]byte) []byte {
	return func(b []byte) []byte {
		if at < 0 {
			b[len(b)+at] ^= 1
		} else {
			b[at] ^= 1
		}
		return b
	}
}

// TestForeignFiles leaves alone what is not the index's.
func TestForeignFiles(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	note := filepath.Join(dir, "README.txt")
	if err := os.WriteFile(note, []byte("mine"), 0o600); err != nil {
		t.Fatal(err)
	}
	ids := randomIDs(22, 10)
	wantUsable(t, dir, ids)
	if b, err := os.ReadFile(note); err != nil || string(b) != "mine" {
		t.Errorf("another's file: %q, %v", b, err)
	}
	if _, _, err := Open(note); err == nil {
		t.Error("a file in place of the folder was opened")
	}
}

func FuzzOpen(f *testing.F) {
	dir := f.TempDir()
	ids := randomIDs(23, 200)
	build(f, dir, ids, 200)
	path := runFiles(f, dir)[0]
	good, err := os.ReadFile(path)
	if err != nil {
		f.Fatal(err)
	}
	f.Add(good)
	f.Add(good[len(good)-trailerSize:])
	f.Add([]byte(nil))
	f.Fuzz(func(t *testing.T, data []byte) {
		dir := t.TempDir()
		if err := os.WriteFile(filepath.Join(dir, filepath.Base(path)), data, 0o600); err != nil {
			t.Fatal(err)
		}
		x, covered, err := Open(dir)
		if err != nil {
			t.Fatalf("open: %v", err)
		}
		defer x.Close()
		if covered != 0 && covered != 200 {
			t.Fatalf("covers %d", covered)
		}
		for _, id := range ids {
			if _, _, err := x.Lookup(id); err != nil && !errors.Is(err, ErrDamaged) {
				t.Fatalf("lookup: %v", err)
			}
		}
	})
}
