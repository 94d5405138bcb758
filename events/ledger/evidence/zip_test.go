package evidence_test

import (
	"archive/zip"
	"bytes"
	"encoding/binary"
	"errors"
	"io"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"latewood/events/ledger/evidence"
)

// The standard library's reader, which is not ours, sees what was packed.
func TestPackIsAZip(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		names := rapid.SliceOfNDistinct(rapid.StringMatching(`[A-Za-z0-9_]{1,8}(/[a-z0-9][a-z0-9-]{0,6})?`), 0, 6, rapid.ID[string]).Draw(t, "names")
		var files []evidence.File
		for _, n := range names {
			files = append(files, evidence.File{Name: n, Body: rapid.SliceOfN(rapid.Byte(), 0, 40).Draw(t, "body")})
		}
		b, err := evidence.Pack(files)
		if err != nil {
			t.Fatal(err)
		}
		slices.SortFunc(files, func(a, b evidence.File) int { return strings.Compare(a.Name, b.Name) })
		z, err := zip.NewReader(bytes.NewReader(b), int64(len(b)))
		if err != nil {
			t.Fatal(err)
		}
		back, err := evidence.Unpack(b)
		if err != nil || len(z.File) != len(files) || len(back) != len(files) {
			t.Fatalf("%d files, the standard library sees %d, we see %d: %v", len(files), len(z.File), len(back), err)
		}
		for i, f := range files {
			r, err := z.File[i].Open()
			if err != nil {
				t.Fatal(err)
			}
			body, err := io.ReadAll(r)
			if err != nil || z.File[i].Name != f.Name || !bytes.Equal(body, f.Body) || back[i].Name != f.Name || !bytes.Equal(back[i].Body, f.Body) {
				t.Fatalf("%s: %v", f.Name, err)
			}
		}
	})
}

// zipOf makes an archive with the standard library.
func zipOf(t *testing.T, add func(w *zip.Writer)) []byte {
	t.Helper()
	var b bytes.Buffer
	w := zip.NewWriter(&b)
	add(w)
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// Traps in archives, each with a line of its own.
func TestTraps(t *testing.T) {
	t.Parallel()
	good, err := evidence.Pack([]evidence.File{{Name: "a", Body: []byte("first")}, {Name: "b", Body: []byte("second")}, {Name: "c", Body: []byte("third")}})
	if err != nil {
		t.Fatal(err)
	}
	end := len(good) - 22
	directory := int(binary.LittleEndian.Uint32(good[end+16:]))
	change := func(f func(b []byte)) []byte {
		b := bytes.Clone(good)
		f(b)
		return b
	}
	insert := func(at int, more string) []byte { return slices.Concat(good[:at], []byte(more), good[at:]) }
	rename := func(from, to byte) []byte {
		return change(func(b []byte) {
			for i := range b {
				if b[i] == from && (i == 30 || i == directory+46) {
					b[i] = to
				}
			}
		})
	}
	stored := func(names ...string) []byte {
		return zipOf(t, func(w *zip.Writer) {
			for _, n := range names {
				f, err := w.CreateRaw(&zip.FileHeader{Name: n, Method: zip.Store, ModifiedDate: 33})
				if err != nil {
					t.Fatal(err)
				}
				_, _ = f.Write(nil)
			}
		})
	}
	for _, tc := range []struct {
		name, want string
		b          []byte
	}{
		{"empty", "not-zip", nil},
		{"a text", "not-zip", []byte(strings.Repeat("not a ZIP archive ", 4))},
		{"cut short", "cut-short", good[:len(good)-30]},
		{"a byte behind", "bytes-behind", append(bytes.Clone(good), 0)},
		{"a comment", "bytes-behind", append(change(func(b []byte) { b[end+20] = 1 }), 'x')},
		{"compressed", "compressed", zipOf(t, func(w *zip.Writer) {
			f, err := w.Create("a")
			if err != nil {
				t.Fatal(err)
			}
			_, _ = f.Write(bytes.Repeat([]byte{0}, 1<<20))
		})},
		{"a name that climbs", "bad-path", stored("../../etc/cron")},
		{"an absolute name", "bad-path", stored("/etc/passwd")},
		{"a drive", "bad-path", stored("C:boot")},
		{"a backslash", "bad-path", stored(`a\b`)},
		{"a folder", "bad-path", stored("records/")},
		{"three folders deep", "bad-path", stored("a/b/c")},
		{"a hidden name", "bad-path", stored(".profile")},
		{"an option", "bad-path", stored("-rf")},
		{"a device of another system, and a trailing dot", "bad-path", stored("nul.")},
		{"letters that look like others", "bad-path", stored("réadme")},
		{"a long name", "bad-path", stored(strings.Repeat("a", 81))},
		{"the same name twice", "doubled", stored("a", "a")},
		{"out of order", "unsorted", stored("b", "a")},
		{"made by another program", "other-layout", stored("a", "b")},
		{"encrypted", "encrypted", change(func(b []byte) { b[6], b[directory+8] = 1, 1 })},
		{"a checksum", "checksum", change(func(b []byte) { b[31] ^= 1 })},
		{"two names for one part", "two-headers", change(func(b []byte) { b[30] = 'A' })},
		{"two sizes for one part", "two-headers", change(func(b []byte) { b[22]-- })},
		{"bytes between the parts", "overlap", insert(36, "hidden")},
		{"bytes before the directory", "overlap", insert(directory, "hidden")},
		{"one body for two parts", "overlap", change(func(b []byte) { b[directory+47+42] = 0 })},
		{"a directory somewhere else", "overlap", change(func(b []byte) { b[end+16]++ })},
		{"fewer parts in the directory", "overlap", change(func(b []byte) { b[end+8], b[end+10] = 2, 2 })},
		{"several disks", "other-layout", change(func(b []byte) { b[end+4] = 1 })},
		{"another time", "other-layout", change(func(b []byte) { b[12], b[directory+14] = 34, 34 })},
		{"more parts than a file of evidence has", "too-many", change(func(b []byte) { b[end+8], b[end+9], b[end+10], b[end+11] = 255, 255, 255, 255 })},
		{"renamed alike in both places", "unsorted", rename('a', 'd')},
	} {
		_, err := evidence.Unpack(tc.b)
		var e *evidence.ContainerError
		if !errors.As(err, &e) || e.Code != tc.want {
			t.Errorf("%s: got %v, want %s", tc.name, err, tc.want)
			continue
		}
		if s := e.Sentence(); strings.Contains(s, "⟦") || s == "" {
			t.Errorf("%s: the sentence is %q", tc.name, s)
		}
		if r := evidence.Verify(tc.b, newFarm(t).trust()); codes(r) != "container" {
			t.Errorf("%s: Verify says %q", tc.name, codes(r))
		}
	}
}

func TestPackRefuses(t *testing.T) {
	t.Parallel()
	for _, tc := range []struct {
		name  string
		files []evidence.File
	}{
		{"a name that climbs", []evidence.File{{Name: "../a"}}},
		{"a name twice", []evidence.File{{Name: "a"}, {Name: "a"}}},
		{"too many", make([]evidence.File, evidence.MaxFiles+1)},
	} {
		if _, err := evidence.Pack(tc.files); err == nil {
			t.Errorf("%s: it is packed", tc.name)
		}
	}
	big := make([]byte, evidence.MaxBytes/2)
	if _, err := evidence.Pack([]evidence.File{{Name: "a", Body: big}, {Name: "b", Body: big}}); err == nil {
		t.Error("too large: it is packed")
	}
}

// FuzzUnpack holds the reader against the writer: it never panics, and what it takes is, packed again, the same bytes.
func FuzzUnpack(f *testing.F) {
	f.Add(small(f))
	b, err := evidence.Pack([]evidence.File{{Name: "a", Body: []byte("first")}, {Name: "b/c", Body: []byte("second")}})
	if err != nil {
		f.Fatal(err)
	}
	f.Add(b)
	f.Add([]byte("PK\x05\x06" + strings.Repeat("\x00", 18)))
	f.Fuzz(func(t *testing.T, b []byte) {
		files, err := evidence.Unpack(b)
		if err != nil {
			return
		}
		again, err := evidence.Pack(files)
		if err != nil || !bytes.Equal(again, b) {
			t.Errorf("taken, and packed again it is something else: %v", err)
		}
	})
}

// FuzzVerify signs what comes: whatever the parts hold, Verify never panics and never calls two files good that differ.
func FuzzVerify(f *testing.F) {
	good := small(f)
	key := newFarm(f).trust()
	f.Add("records/0000000002.json", []byte(`{"chains":"lot/L17 1 -"}`))
	f.Add("proofs/0000000002.tlog-proof", []byte("c2sp.org/tlog-proof@v1\nindex 1\n\n"))
	f.Add("names.json", []byte("[{}]\n"))
	f.Add("consistency/0000000001", []byte("latewood-consistency/v1\nfrom 1\nto 4\n"))
	f.Add("checkpoint.tsr", []byte{0x30, 0})
	f.Add("manifest", []byte("latewood-evidence/v1\norigin x\n"))
	f.Fuzz(func(t *testing.T, name string, body []byte) {
		farm := newFarm(t)
		parts := open(t, good)
		same := bytes.Equal(parts.parts[name], body) && parts.parts[name] != nil
		parts.parts[name] = body
		b, err := evidence.Pack(parts.files())
		if err != nil {
			return
		}
		if r := evidence.Verify(b, key); r.OK && !same {
			t.Errorf("%s changed: it verifies", name)
		}
		// And as somebody with the key would do it.
		head, err := evidence.Head(good)
		if err != nil {
			t.Fatal(err)
		}
		if b, err = head.Reseal(parts.files(), farm.sign); err == nil {
			evidence.Verify(b, key)
		}
	})
}
