package house

import (
	"bytes"
	"fmt"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"unicode/utf8"
)

// top is what may stand at the top of the repository, beside names that begin with a dot.
var top = []string{
	"README.md", "DEVELOPERS.md", "LICENSE", "Makefile", "go.mod", "go.sum",
	"deploy", "events", "projections", "services", "testdata",
}

// topLaw finds what else stands there.
func topLaw(files []string) []string {
	var found []string
	for _, f := range files {
		name, _, _ := strings.Cut(f, "/")
		if !slices.Contains(top, name) && !strings.HasPrefix(name, ".") {
			found = append(found, fmt.Sprintf("%s: %q does not belong at the top", f, name))
		}
	}
	return found
}

// A fragment is something that no file may contain. They are written in two halves, so that this file does not either.
type fragment struct {
	hints []string // one of them stands in every match: a quick look before the slow one
	re    *regexp.Regexp
	why   string
}

var fragments = []fragment{
	{[]string{"/wo" + "rk/", "/ro" + "ot/", "/tmp/ba" + "sh"}, regexp.MustCompile(`(^|[^A-Za-z0-9_.-])/(wo` + `rk|ro` + `ot)/|/tmp/ba` + `sh`), "a path of one machine"},
	{[]string{"gola" + "ng.org", "np" + "mjs.org", "deb" + "ian.org"}, regexp.MustCompile(`(proxy|sum)\.gola` + `ng\.org|registry\.np` + `mjs\.org|(deb|security)\.deb` + `ian\.org`),
		"the host of a registry: use it by its client, under the package's name"},
	{[]string{"cript", "CRIPT", "ocument", "OCUMENT"}, regexp.MustCompile(`(?i)\btrans` + `cripts?\b|\bseed doc` + `ument`), "says how the text came about, not what it is"},
	{[]string{"TO" + "DO", "FIX" + "ME", "XX" + "X"}, regexp.MustCompile(`\b(TO` + `DO|FIX` + `ME|XX` + `X)\b`), "do it, or file it; a note in the code is neither"},
}

// fragmentLaw finds forbidden fragments in the text files of a folder.
func fragmentLaw(dir fs.FS, files []string) (found []string, read int) {
	for _, f := range files {
		b, err := fs.ReadFile(dir, f)
		if err != nil {
			continue // a link, or gone since it was listed
		}
		if bytes.IndexByte(b[:min(len(b), 8000)], 0) >= 0 || !utf8.Valid(b) {
			continue
		}
		read++
		for _, fr := range fragments {
			if !slices.ContainsFunc(fr.hints, func(h string) bool { return bytes.Contains(b, []byte(h)) }) {
				continue
			}
			for _, at := range fr.re.FindAllIndex(b, -1) {
				found = append(found, fmt.Sprintf("%s:%d: %q: %s", f, 1+bytes.Count(b[:at[0]], []byte("\n")), b[at[0]:at[1]], fr.why))
			}
		}
	}
	return found, read
}

// tracked lists the files of the repository: those git tracks and those it would take in. Where there is no git, or this is
// an unpacked archive, it lists what stands there without the folders that hold build outputs.
func tracked(t *testing.T) (files []string, how string) {
	t.Helper()
	dir := root(t)
	if _, err := os.Stat(filepath.Join(dir, ".git")); err == nil {
		// The folder may belong to another user than the one who runs the tests.
		out, err := exec.Command("git", "-c", "safe.directory=*", "-C", dir, "ls-files", "-z", "--cached", "--others", "--exclude-standard").Output()
		if err == nil {
			for f := range strings.SplitSeq(strings.TrimSuffix(string(out), "\x00"), "\x00") {
				files = append(files, f)
			}
			return files, "as git lists them"
		}
	}
	err := fs.WalkDir(os.DirFS(dir), ".", func(p string, d fs.DirEntry, err error) error {
		switch {
		case err != nil:
			return err
		case p == ".git" || p == ".bin" || p == "dist":
			return skip(d)
		case !d.IsDir():
			files = append(files, p)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return files, "as the folder has them, without git"
}

func TestTopLevel(t *testing.T) {
	t.Parallel()
	files, how := tracked(t)
	report(t, topLaw(files), "The top level is agreed. What you have belongs into one of its folders, or into .gitignore.")
	t.Logf("counts: %d files, %s", len(files), how)
}

func TestTopLevelCatches(t *testing.T) {
	t.Parallel()
	caught(t, topLaw([]string{"README.md", "events/a.go", ".ci/test", ".gitignore", "cmd/main.go", "latewood", "CHANGELOG.md"}),
		[]string{`"cmd" does not`, `"latewood" does not`, `"CHANGELOG.md" does not`})
}

func TestFragments(t *testing.T) {
	t.Parallel()
	files, _ := tracked(t)
	found, read := fragmentLaw(os.DirFS(root(t)), files)
	report(t, found, "No file speaks of one machine, of where packages are fetched from, or of what is left to do.")
	t.Logf("counts: %d text files read", read)
}

func TestFragmentsCatches(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	for name, text := range map[string]string{
		"a.md":  "good: services/work/a, see example.org/wo" + "rk/\nbad: /wo" + "rk/main/x\n",
		"b.go":  "package b // TO" + "DO later\n",
		"c.txt": "cd /ro" + "ot/x; (/tmp/ba" + "sh_1)\nhttps://proxy.gola" + "ng.org\n",
		"d.bin": "\x00/wo" + "rk/",
		"e.md":  "the trans" + "cript",
	} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	found, read := fragmentLaw(os.DirFS(dir), []string{"a.md", "b.go", "c.txt", "d.bin", "e.md", "gone.md"})
	caught(t, found, []string{"a.md:2", "b.go:1", "c.txt:1", "c.txt:1", "c.txt:2", "e.md:1"})
	if got, want := read, 4; got != want {
		t.Errorf("read %d text files, want %d", got, want)
	}
}
