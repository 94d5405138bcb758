package attach_test

import (
	"archive/zip"
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"sync"
	"testing"

	"pgregory.net/rapid"

	"latewood/events"
	"latewood/services/attach"
)

// zipped makes a ZIP file with empty entries.
func zipped(t testing.TB, names ...string) string {
	t.Helper()
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	for _, n := range names {
		if _, err := z.Create(n); err != nil {
			t.Fatal(err)
		}
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func hashOf(content string) string {
	sum := sha256.Sum256([]byte(content))
	return hex.EncodeToString(sum[:])
}

func key(err error) string {
	var p events.Problem
	if !errors.As(err, &p) {
		return ""
	}
	return p.Why.Key
}

var filler = strings.Repeat("\x00", 64)

func TestTypes(t *testing.T) {
	t.Parallel()
	sheet := zipped(t, "[Content_Types].xml", "xl/workbook.xml", "xl/worksheets/sheet1.xml")
	for _, tc := range []struct{ name, file, content, want, why string }{
		{"PDF", "label.pdf", "%PDF-1.7\n" + filler, "application/pdf", ""},
		{"JPEG", "a.jpg", "\xff\xd8\xff\xe0" + filler, "image/jpeg", ""},
		{"PNG", "a.png", "\x89PNG\r\n\x1a\n" + filler, "image/png", ""},
		{"WebP", "a.webp", "RIFF\x10\x00\x00\x00WEBPVP8 " + filler, "image/webp", ""},
		{"HEIC", "a.heic", "\x00\x00\x00\x18ftypheic" + filler, "image/heic", ""},
		{"HEIF", "a.heif", "\x00\x00\x00\x18ftypmif1" + filler, "image/heic", ""},
		{"XLSX", "a.xlsx", sheet, "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet", ""},
		{"CSV", "a.CSV", "block,kg\nnorth,3\n", "text/csv", ""},
		{"CSV with a byte order mark", "a.csv", "\xef\xbb\xbfblock;kg\r\n", "text/csv", ""},
		{"text", "a.txt", "Žofie's note\n", "text/plain", ""},
		{"text by any name", "notes", "a", "text/plain", ""},
		{"the content counts, not the name", "a.txt", "%PDF-1.7\n" + filler, "application/pdf", ""},
		{"a program that calls itself a picture", "a.jpg", "MZ\x90\x00" + filler, "", "attach.type"},
		{"an ELF program", "a.pdf", "\x7fELF" + filler, "", "attach.type"},
		{"a script", "a.txt", "#!/bin/sh\necho\n", "", "attach.type"},
		{"a page", "a.txt", " \n<!doctype html><script>", "", "attach.type"},
		{"a picture as text", "a.svg", "<svg xmlns=\"http://www.w3.org/2000/svg\"/>", "", "attach.type"},
		{"a film", "a.heic", "\x00\x00\x00\x18ftypisom" + filler, "", "attach.type"},
		{"sound", "a.webp", "RIFF\x10\x00\x00\x00WAVEfmt " + filler, "", "attach.type"},
		{"a workbook with macros", "a.xlsx", zipped(t, "[Content_Types].xml", "xl/workbook.xml", "xl/vbaProject.bin"), "", "attach.type"},
		{"another ZIP file", "a.xlsx", zipped(t, "a.txt"), "", "attach.type"},
		{"half a workbook", "a.xlsx", sheet[:len(sheet)/2], "", "attach.type"},
		{"a PDF's first letters only", "a.pdf", "%PDF-", "text/plain", ""},
		{"text in another encoding", "a.txt", "Se\xf1or", "", "attach.type"},
		{"blanks", "a.txt", " \n", "", "attach.type"},
		{"nothing", "a.txt", "", "", "attach.empty"},
		{"too large", "a.txt", strings.Repeat("a", attach.MaxBytes+1), "", "attach.large"},
		{"just not too large", "a.txt", strings.Repeat("a", attach.MaxBytes), "text/plain", ""},
		{"no name", "folder/", "a", "", "attach.name"},
		{"two dots", "..", "a", "", "attach.name"},
		{"a name of two lines", "a\nb", "a", "", "attach.name"},
		{"a long name", strings.Repeat("n", 121), "a", "", "attach.name"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			dir := t.TempDir()
			k, err := attach.New(dir).Put(strings.NewReader(tc.content), tc.file)
			if key(err) != tc.why || k.Attachment.MediaType != tc.want {
				t.Errorf("got %q, %v; want %q, %q", k.Attachment.MediaType, err, tc.want, tc.why)
			}
			if tc.why != "" {
				if left, _ := os.ReadDir(dir); len(left) != 0 {
					t.Errorf("what was refused left %v behind", left)
				}
				return
			}
			if k.Bytes != int64(len(tc.content)) || k.Attachment.SHA256 != hashOf(tc.content) {
				t.Errorf("kept %+v", k)
			}
		})
	}
}

func TestPutAndGet(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	s := attach.New(dir)
	const content = "block,kg\nnorth,3\n"
	k, err := s.Put(strings.NewReader(content), `C:\papers\picks.csv`)
	if err != nil || k.Known || k.Attachment.Name != "picks.csv" {
		t.Fatalf("kept %+v, %v", k, err)
	}
	hash := k.Attachment.SHA256
	path := filepath.Join(dir, hash[:2], hash)
	info, err := os.Stat(path)
	if err != nil || runtime.GOOS != "windows" && info.Mode().Perm() != 0o600 {
		t.Errorf("on the disk: %v, %v", info, err)
	}
	again, err := s.Put(strings.NewReader(content), "other name.csv")
	if err != nil || !again.Known || again.Attachment.SHA256 != hash || again.Attachment.Name != "other name.csv" {
		t.Errorf("the same bytes again: %+v, %v", again, err)
	}
	got, err := s.Get(strings.ToUpper(hash))
	if err != nil || string(got) != content {
		t.Errorf("read %q, %v", got, err)
	}
	for name, damage := range map[string]string{"changed": "block,kg\nnorth,4\n", "cut": content[:5], "longer": content + "x", "empty": ""} {
		if err := os.WriteFile(path, []byte(damage), 0o600); err != nil {
			t.Fatal(err)
		}
		var file *attach.FileError
		if got, err := s.Get(hash); !errors.Is(err, attach.ErrDamaged) || !errors.As(err, &file) || file.Path != path || got != nil {
			t.Errorf("%s: read %q, %v", name, got, err)
		}
		if err := s.Check(hash); !errors.Is(err, attach.ErrDamaged) {
			t.Errorf("%s: %v", name, err)
		}
		if k, err := s.Put(strings.NewReader(content), "picks.csv"); err != nil || k.Known {
			t.Errorf("%s, put again: %+v, %v", name, k, err)
		}
		if err := s.Check(hash); err != nil {
			t.Errorf("%s, mended: %v", name, err)
		}
	}
	for _, hash := range []string{hashOf("other"), "", "zz", "../../../../etc/passwd", strings.Repeat("g", 64)} {
		if _, err := s.Get(hash); !errors.Is(err, attach.ErrMissing) {
			t.Errorf("%q: %v, want ErrMissing", hash, err)
		}
	}
}

type broken struct{}

var errBroken = errors.New("the wire broke")

func (broken) Read([]byte) (int, error) { return 0, errBroken }

func TestBrokenReader(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	_, err := attach.New(dir).Put(io.MultiReader(strings.NewReader("half"), broken{}), "a.txt")
	if left, _ := os.ReadDir(dir); !errors.Is(err, errBroken) || len(left) != 0 {
		t.Errorf("%v, left %v", err, left)
	}
}

// Many put the same and other files at once; each comes back whole.
func TestAtOnce(t *testing.T) {
	t.Parallel()
	s := attach.New(t.TempDir())
	var wait sync.WaitGroup
	for i := range 8 {
		wait.Go(func() {
			for n := range 4 {
				content := strings.Repeat("row\n", n+1)
				k, err := s.Put(strings.NewReader(content), "a.txt")
				if err != nil {
					t.Errorf("%d: %v", i, err)
					continue
				}
				if got, err := s.Get(k.Attachment.SHA256); err != nil || string(got) != content {
					t.Errorf("%d: read %q, %v", i, got, err)
				}
			}
		})
	}
	wait.Wait()
}

// Whatever bytes come, they are kept whole under their hash or refused in a sentence.
func TestAnyBytes(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	s := attach.New(dir)
	heads := []string{"", "%PDF-", "\xff\xd8\xff", "\x89PNG\r\n\x1a\n", "RIFF", "RIFF\x00\x00\x00\x00WEBPVP8 ", "\x00\x00\x00\x18ftyp", "PK\x03\x04", "<", "a"}
	kept := 0
	rapid.Check(t, func(rt *rapid.T) {
		content := rapid.SampledFrom(heads).Draw(rt, "head") + string(rapid.SliceOfN(rapid.Byte(), 0, 60).Draw(rt, "rest"))
		k, err := s.Put(strings.NewReader(content), rapid.String().Draw(rt, "name")+"a")
		if err != nil {
			if key(err) == "" {
				rt.Fatal(err)
			}
			return
		}
		kept++
		if got, err := s.Get(k.Attachment.SHA256); err != nil || string(got) != content || k.Attachment.SHA256 != hashOf(content) {
			rt.Fatalf("kept %+v, read %q, %v", k, got, err)
		}
	})
	t.Logf("counts: %d random files kept", kept)
}
