package house

import (
	"errors"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"testing/fstest"
)

// module is the name of our module, and so the first element of our import paths.
const module = "latewood"

// A tree is the source files below a folder, parsed.
type tree struct {
	fset  *token.FileSet
	files []*source // all Go files, by path
	pages []page    // templates and scripts that stand beside Go code, by path
	bad   []string  // files that could not be read or parsed
}

// A source is one Go file.
type source struct {
	path string // from the root, with slashes
	dir  string // its folder, and so its package's import path without the module; "" at the root
	test bool   // a _test.go file
	text string
	ast  *ast.File
}

// A page is a file that a program of ours sends or fills in: HTML, script, style.
type page struct{ path, text string }

// support reports whether the package is there for tests only: its name ends in "test".
func support(dir string) bool { return strings.HasSuffix(path.Base(dir), "test") }

// live reports whether the file becomes part of the program.
func (s *source) live() bool { return !s.test && !support(s.dir) }

// imports gives the import paths of the file with the line each stands on.
func (t *tree) imports(s *source) map[string]int {
	m := map[string]int{}
	for _, spec := range s.ast.Imports {
		m[strings.Trim(spec.Path.Value, "`\"")] = t.line(spec.Pos())
	}
	return m
}

func (t *tree) line(p token.Pos) int { return t.fset.Position(p).Line }

// at names a place in a file for a finding.
func (t *tree) at(s *source, p token.Pos) string { return fmt.Sprintf("%s:%d", s.path, t.line(p)) }

// packages gives, by folder, the files of each folder that has Go files other than tests.
func (t *tree) packages() map[string][]*source {
	m := map[string][]*source{}
	for _, s := range t.files {
		if !s.test {
			m[s.dir] = append(m[s.dir], s)
		}
	}
	return m
}

// grow reads the Go files and pages of a folder, as the go command would: without testdata, vendor, and names that begin
// with a dot or an underscore.
func grow(root fs.FS) *tree {
	t := &tree{fset: token.NewFileSet()}
	err := fs.WalkDir(root, ".", func(p string, d fs.DirEntry, err error) error {
		if errors.Is(err, fs.ErrNotExist) {
			return nil // went away while we walked
		}
		if err != nil {
			return err
		}
		name := d.Name()
		if p != "." && (name[0] == '.' || name[0] == '_') {
			return skip(d)
		}
		if d.IsDir() {
			if name == "testdata" || name == "vendor" || name == "node_modules" || p == "dist" {
				return fs.SkipDir
			}
			return nil
		}
		switch path.Ext(name) {
		case ".go", ".html", ".tmpl", ".js", ".css", ".svg", ".webmanifest":
		default:
			return nil
		}
		b, err := fs.ReadFile(root, p)
		if err != nil {
			t.bad = append(t.bad, fmt.Sprintf("%s: %v", p, err))
			return nil
		}
		if path.Ext(name) != ".go" {
			t.pages = append(t.pages, page{path: p, text: string(b)})
			return nil
		}
		f, err := parser.ParseFile(t.fset, p, b, parser.ParseComments|parser.SkipObjectResolution)
		if err != nil {
			t.bad = append(t.bad, err.Error())
			return nil
		}
		dir := path.Dir(p)
		if dir == "." {
			dir = ""
		}
		t.files = append(t.files, &source{
			path: p, dir: dir, test: strings.HasSuffix(name, "_test.go"), text: string(b), ast: f,
		})
		return nil
	})
	if err != nil {
		t.bad = append(t.bad, err.Error())
	}
	return t
}

func skip(d fs.DirEntry) error {
	if d.IsDir() {
		return fs.SkipDir
	}
	return nil
}

// root is the folder of this repository.
func root(t *testing.T) string {
	t.Helper()
	dir, err := os.Getwd()
	if err != nil {
		t.Fatal(err)
	}
	for {
		if _, err := os.Stat(filepath.Join(dir, "go.mod")); err == nil {
			return dir
		}
		up := filepath.Dir(dir)
		if up == dir {
			t.Fatal("no go.mod above the folder of this test")
		}
		dir = up
	}
}

// parsed keeps the repository, read once for all laws.
var parsed struct {
	once sync.Once
	tree *tree
}

// repository is this repository, parsed.
func repository(t *testing.T) *tree {
	t.Helper()
	dir := root(t)
	parsed.once.Do(func() { parsed.tree = grow(os.DirFS(dir)) })
	return parsed.tree
}

// plant makes a small tree from file names and texts.
func plant(files map[string]string) *tree {
	m := fstest.MapFS{}
	for name, text := range files {
		m[name] = &fstest.MapFile{Data: []byte(text)}
	}
	return grow(m)
}

// report fails the test with everything that breaks a law.
func report(t *testing.T, found []string, how string) {
	t.Helper()
	if len(found) == 0 {
		return
	}
	slices.Sort(found)
	t.Errorf("%d findings. %s\n\t%s", len(found), how, strings.Join(slices.Compact(found), "\n\t"))
}

// caught fails the test unless the findings on a planted tree are exactly as many as wanted, each with its words in it.
func caught(t *testing.T, found, want []string) {
	t.Helper()
	slices.Sort(found)
	if len(found) != len(want) {
		t.Errorf("got %d findings, want %d:\n\t%s", len(found), len(want), strings.Join(found, "\n\t"))
	}
	for _, w := range want {
		if !slices.ContainsFunc(found, func(f string) bool { return strings.Contains(f, w) }) {
			t.Errorf("no finding says %q; there are:\n\t%s", w, strings.Join(found, "\n\t"))
		}
	}
}

func TestEveryFileParses(t *testing.T) {
	t.Parallel()
	tr := repository(t)
	report(t, slices.Clone(tr.bad), "These files could not be read, so no law looked at them.")
	if len(tr.files) < 10 {
		t.Errorf("only %d Go files found: the laws are looking at the wrong folder", len(tr.files))
	}
	t.Logf("counts: %d Go files in %d packages, %d pages and scripts", len(tr.files), len(tr.packages()), len(tr.pages))
}
