package main

import (
	"archive/tar"
	"archive/zip"
	"bytes"
	"compress/gzip"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

func TestArchives(t *testing.T) {
	t.Parallel()
	when, err := stamp("1750000000")
	if err != nil {
		t.Fatal(err)
	}
	for _, sys := range systems {
		t.Run(sys.os+"/"+sys.arch, func(t *testing.T) {
			t.Parallel()
			files := contents(sys, []byte("the program"), []byte("licence"), []byte("readme"), []byte("others"))
			pack, read := packTar, readTar
			if sys.os == "windows" {
				pack, read = packZip, readZip
			}
			var one, two bytes.Buffer
			for _, w := range []io.Writer{&one, &two} {
				if err := pack(w, "folder", files, when); err != nil {
					t.Fatal(err)
				}
			}
			if !bytes.Equal(one.Bytes(), two.Bytes()) {
				t.Error("the same files give different archives")
			}
			got := read(t, one.Bytes(), when)
			name := "folder/latewood"
			if sys.os == "windows" {
				name += ".exe"
			}
			if got[name] != "-rwxr-xr-x the program" {
				t.Errorf("%s: got %q", name, got[name])
			}
			want := fmt.Sprintf("-rw-r--r-- %x  %s\n", sha256.Sum256([]byte("the program")), strings.TrimPrefix(name, "folder/"))
			if !strings.HasPrefix(got["folder/SHA256SUMS"], want) || len(got) != 5 {
				t.Errorf("%d files, sums %q; want 5, beginning with %q", len(got), got["folder/SHA256SUMS"], want)
			}
		})
	}
}

func readTar(t *testing.T, b []byte, when time.Time) map[string]string {
	t.Helper()
	zr, err := gzip.NewReader(bytes.NewReader(b))
	if err != nil {
		t.Fatal(err)
	}
	got := map[string]string{}
	for tr := tar.NewReader(zr); ; {
		h, err := tr.Next()
		if errors.Is(err, io.EOF) {
			return got
		}
		if err != nil {
			t.Fatal(err)
		}
		body, err := io.ReadAll(tr)
		if err != nil {
			t.Fatal(err)
		}
		if !h.ModTime.Equal(when) || h.Uid != 0 || h.Uname != "" {
			t.Errorf("%s: time %v, user %d %q; want %v and nobody", h.Name, h.ModTime, h.Uid, h.Uname, when)
		}
		got[h.Name] = h.FileInfo().Mode().String() + " " + string(body)
	}
}

func readZip(t *testing.T, b []byte, when time.Time) map[string]string {
	t.Helper()
	zr, err := zip.NewReader(bytes.NewReader(b), int64(len(b)))
	if err != nil {
		t.Fatal(err)
	}
	got := map[string]string{}
	for _, f := range zr.File {
		r, err := f.Open()
		if err != nil {
			t.Fatal(err)
		}
		body, err := io.ReadAll(r)
		if err != nil {
			t.Fatal(err)
		}
		if !f.Modified.Equal(when) {
			t.Errorf("%s: time %v, want %v", f.Name, f.Modified, when)
		}
		got[f.Name] = f.Mode().String() + " " + string(body)
	}
	return got
}

func TestFirst(t *testing.T) {
	t.Parallel()
	for _, tc := range []struct{ name, in, want string }{
		{"cut", "# A\n\ntext\n\n" + firstPage + "\nmore\n", "# A\n\ntext\n"},
		{"no mark", "# A\n\ntext\n", "# A\n\ntext\n"},
	} {
		if got := string(first([]byte(tc.in))); got != tc.want {
			t.Errorf("%s: got %q, want %q", tc.name, got, tc.want)
		}
	}
}

func TestNotices(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	for name, text := range map[string]string{"b/LICENSE.md": "be kind", "b/NOTICE": "of b", "b/license.go": "package b", "a/COPYING": "freely", "none/README": "x", "go/x": "y"} {
		p := filepath.Join(dir, name)
		if err := os.MkdirAll(filepath.Dir(p), 0o700); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(p, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	a := linked{Path: "example.org/a", Version: "v1", Dir: filepath.Join(dir, "a")}
	b := linked{Path: "example.org/b", Version: "v2", Dir: filepath.Join(dir, "b")}
	goItself := linked{Path: "Go", Dir: filepath.Join(dir, "go")}
	got, err := notices([]linked{b, goItself, a})
	if err != nil {
		t.Fatal(err)
	}
	at := -1
	for _, w := range []string{"example.org/a v1: COPYING", "freely", "example.org/b v2: LICENSE.md", "be kind", "example.org/b v2: NOTICE", "of b"} {
		i := strings.Index(string(got), w)
		if i <= at {
			t.Errorf("%q is missing or out of order in\n%s", w, got)
		}
		at = i
	}
	if strings.Contains(string(got), "package b") {
		t.Error("a Go file was taken for a licence")
	}
	if _, err := notices([]linked{{Path: "example.org/none", Version: "v1", Dir: filepath.Join(dir, "none")}}); err == nil || !strings.Contains(err.Error(), "example.org/none") {
		t.Errorf("a module without a licence: got %v, want an error that names it", err)
	}
}

func TestStamp(t *testing.T) {
	t.Parallel()
	if got, err := stamp(""); err != nil || got.Year() != 1980 {
		t.Errorf("no time given: got %v, %v, want 1980", got, err)
	}
	if _, err := stamp("yesterday"); err == nil {
		t.Error("a time that is no number was taken")
	}
}
