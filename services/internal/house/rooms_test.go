package house

import (
	"fmt"
	"go/ast"
	"maps"
	"regexp"
	"slices"
	"strings"
	"testing"
)

// docLaw finds packages that have no doc, or more than one, or one that does not begin as docs do.
func docLaw(t *tree) []string {
	var found []string
	for dir, files := range t.packages() {
		var docs []*source
		for _, s := range files {
			if s.ast.Doc != nil && strings.TrimSpace(s.ast.Doc.Text()) != "" {
				docs = append(docs, s)
			}
		}
		name := files[0].ast.Name.Name
		switch len(docs) {
		case 1:
			text := docs[0].ast.Doc.Text()
			if want := "Package " + name + " "; name != "main" && !strings.HasPrefix(text, want) {
				found = append(found, fmt.Sprintf("%s: the package doc begins with %q, not with %q", docs[0].path, strings.SplitN(text, "\n", 2)[0], want))
			}
		case 0:
			found = append(found, fmt.Sprintf("%s: package %s has no package doc", dir, name))
		default:
			var paths []string
			for _, s := range docs {
				paths = append(paths, s.path)
			}
			found = append(found, fmt.Sprintf("%s: package %s has %d package docs: %s", dir, name, len(docs), strings.Join(paths, ", ")))
		}
	}
	return found
}

func TestOneDocAPackage(t *testing.T) {
	t.Parallel()
	tr := repository(t)
	report(t, docLaw(tr), "A package doc says what the package is for and how to use it; it stands once.")
	t.Logf("counts: %d package docs", len(tr.packages()))
}

func TestOneDocAPackageCatches(t *testing.T) {
	t.Parallel()
	tr := plant(map[string]string{
		"a/a.go":      "// Package a is good.\npackage a\n",
		"a/a_test.go": "// Package a: a doc in a test does not count.\npackage a\n",
		"b/b.go":      "package b\n",
		"c/c.go":      "// Package c is here.\npackage c\n",
		"c/d.go":      "// Package c is here, too.\npackage c\n",
		"d/d.go":      "// Licence: none.\npackage d\n",
		"e/main.go":   "// Command e does it.\npackage main\n",
		"f/f.go":      "//go:build linux\n\npackage f\n",
	})
	caught(t, docLaw(tr), []string{"package b has no package doc", "package c has 2 package docs: c/c.go, c/d.go", `not with "Package d "`, "package f has no"})
}

// doors is the packages in the pure rooms that touch the world all the same, with the reason.
var doors = map[string]string{
	"events/internal/gencatalogue": "writes events/CATALOGUE.md",
	"events/ledger/jetlog":         "speaks to the broker",
	"events/ledger/archive":        "keeps the sealed records in files, and serves them read-only",
	"events/ledger/idindex":        "keeps the index of ids on disk",
	"events/ledger/disk":           "writes and syncs the files of the archive",
	"projections/store/pgstore":    "speaks to Postgres",
}

// impure is the packages of the standard library that a pure room may not import: the clock's relatives, chance, and the
// world outside. Below "net" the two that only take text apart are let in.
var impure = []string{
	"os", "net", "syscall", "math/rand", "crypto/rand", "log", "plugin", "database/sql", "io/ioutil", "testing", "expvar", "runtime/debug",
}

var pureNet = []string{"net/url", "net/netip"}

// clock is what package time has that looks at the clock, waits for it, or reads the machine's zone.
var clock = []string{"Now", "Since", "Until", "Sleep", "After", "AfterFunc", "NewTimer", "NewTicker", "Tick", "Local"}

// seeded is what a pure room may take from math/rand/v2: a generator that starts from a seed in sight. The functions of that
// package itself start from the machine's chance.
var seeded = []string{"New", "NewPCG", "PCG", "Rand"}

// pureLaw finds clocks, chance and I/O in events and projections.
func pureLaw(t *tree) []string {
	var found []string
	for _, s := range t.files {
		if !s.live() || doors[s.dir] != "" {
			continue
		}
		if !fits("events/...", s.dir, s.dir) && !fits("projections/...", s.dir, s.dir) {
			continue
		}
		for imp, line := range t.imports(s) {
			if imp == "math/rand/v2" && importedAs(s, imp) == "rand" {
				continue // looked at by name below
			}
			if slices.ContainsFunc(impure, func(p string) bool { return imp == p || strings.HasPrefix(imp, p+"/") }) && !slices.Contains(pureNet, imp) {
				found = append(found, fmt.Sprintf("%s:%d: imports %s", s.path, line, imp))
			}
			if to, ours := strings.CutPrefix(imp, module+"/"); ours && doors[to] != "" {
				found = append(found, fmt.Sprintf("%s:%d: imports %s, which %s", s.path, line, to, doors[to]))
			}
		}
		name := importedAs(s, "time")
		chance := importedAs(s, "math/rand/v2") == "rand"
		keys := importedAs(s, "crypto/ed25519")
		ast.Inspect(s.ast, func(n ast.Node) bool {
			switch n := n.(type) {
			case *ast.SelectorExpr:
				if x, ok := n.X.(*ast.Ident); ok && chance && x.Name == "rand" && x.Obj == nil && !slices.Contains(seeded, n.Sel.Name) {
					found = append(found, fmt.Sprintf("%s: uses rand.%s, which no seed decides", t.at(s, n.Pos()), n.Sel.Name))
				}
				if x, ok := n.X.(*ast.Ident); ok && name != "" && x.Name == name && slices.Contains(clock, n.Sel.Name) {
					found = append(found, fmt.Sprintf("%s: uses time.%s", t.at(s, n.Pos()), n.Sel.Name))
				}
			case *ast.CallExpr:
				sel, ok := n.Fun.(*ast.SelectorExpr)
				if !ok {
					break
				}
				if sel.Sel.Name == "Local" && len(n.Args) == 0 {
					found = append(found, fmt.Sprintf("%s: converts to the machine's zone with Local()", t.at(s, n.Pos())))
				}
				if x, ok := sel.X.(*ast.Ident); ok && keys != "" && x.Name == keys && sel.Sel.Name == "GenerateKey" && isNil(n.Args) {
					found = append(found, fmt.Sprintf("%s: makes a key from the machine's chance", t.at(s, n.Pos())))
				}
			}
			return true
		})
	}
	return found
}

func isNil(args []ast.Expr) bool {
	if len(args) != 1 {
		return false
	}
	id, ok := args[0].(*ast.Ident)
	return ok && id.Name == "nil"
}

// importedAs gives the name by which a file calls an imported package, "" if it does not import it.
func importedAs(s *source, pkg string) string {
	for _, spec := range s.ast.Imports {
		if strings.Trim(spec.Path.Value, "`\"") != pkg {
			continue
		}
		if spec.Name != nil {
			return spec.Name.Name
		}
		if pkg == "math/rand/v2" {
			return "rand"
		}
		return pkg[strings.LastIndex(pkg, "/")+1:]
	}
	return ""
}

func TestPureRooms(t *testing.T) {
	t.Parallel()
	report(t, pureLaw(repository(t)), "The same records must give the same bytes on every machine and every day. Take the time, the bytes or the\n"+
		"random source as an argument; a service hands them in.")
	t.Logf("counts: %d packages in the pure rooms may touch the world: %s", len(doors), strings.Join(slices.Sorted(maps.Keys(doors)), ", "))
}

func TestPureRoomsCatches(t *testing.T) {
	t.Parallel()
	tr := plant(map[string]string{
		"events/a.go":                   "package events\nimport \"time\"\nvar a = time.Now\nvar b = time.Hour\nvar c = time.Unix(0, 0).Local()\nvar d = time.Local\n",
		"events/b.go":                   "package events\nimport (\n_ \"os\"\n_ \"os/exec\"\n_ \"net/http\"\n_ \"net/url\"\n_ \"math/rand/v2\"\n_ \"crypto/rand\"\n_ \"crypto/sha256\"\n)\n",
		"projections/holds/a.go":        "package holds\nimport clock \"time\"\nfunc f() { clock.Sleep(1) }\n",
		"projections/flush/a.go":        "package flush\nimport \"math/rand/v2\"\nvar a = rand.New(rand.NewPCG(1, 2))\nvar b = rand.N(5)\n",
		"projections/holds/b.go":        "package holds\nimport _ \"latewood/events/ledger/disk\"\n",
		"projections/holds/h_test.go":   "package holds\nimport _ \"os\"\nimport \"time\"\nvar a = time.Now\n",
		"events/ledger/key.go":          "package ledger\nimport \"crypto/ed25519\"\nvar a, b, c = ed25519.GenerateKey(nil)\n",
		"events/ledger/jetlog/a.go":     "package jetlog\nimport _ \"net\"\n",
		"services/record/a.go":          "package record\nimport _ \"os\"\nimport \"time\"\nvar a = time.Now\n",
		"events/ledger/ledgertest/a.go": "package ledgertest\nimport _ \"os\"\n",
	})
	caught(t, pureLaw(tr), []string{
		"events/a.go:3: uses time.Now", "events/a.go:5: converts", "events/a.go:6: uses time.Local",
		"events/b.go:3: imports os", "events/b.go:4: imports os/exec", "imports net/http", "imports math/rand/v2", "imports crypto/rand",
		"projections/flush/a.go:4: uses rand.N", "projections/holds/a.go:3: uses time.Sleep", "events/ledger/disk, which writes and syncs", "makes a key from the machine's chance",
	})
}

// habitLaw finds what the house does without: init functions, skipped tests, names that say nothing, files too long to read.
func habitLaw(t *tree) []string {
	var found []string
	for _, s := range t.files {
		for _, d := range s.ast.Decls {
			if f, ok := d.(*ast.FuncDecl); ok && f.Recv == nil && f.Name.Name == "init" {
				found = append(found, fmt.Sprintf("%s: func init: what happens before main cannot be ordered, tested or left out", t.at(s, f.Pos())))
			}
		}
		if !s.live() {
			ast.Inspect(s.ast, func(n ast.Node) bool {
				call, ok := n.(*ast.CallExpr)
				if !ok {
					return true
				}
				if sel, ok := call.Fun.(*ast.SelectorExpr); ok {
					x, isIdent := sel.X.(*ast.Ident)
					if isIdent && slices.Contains([]string{"t", "b", "f", "tb", "rt"}, x.Name) && slices.Contains([]string{"Skip", "Skipf", "SkipNow"}, sel.Sel.Name) {
						found = append(found, fmt.Sprintf("%s: skips a test: what does not run proves nothing", t.at(s, n.Pos())))
					}
				}
				return true
			})
		}
		if n := strings.Count(s.text, "\n"); n >= longest && !generated.MatchString(s.text) {
			found = append(found, fmt.Sprintf("%s: %d lines; split it by subject (fewer than %d)", s.path, n, longest))
		}
		name := strings.TrimSuffix(s.ast.Name.Name, "_test")
		switch {
		case !plainName.MatchString(name):
			found = append(found, fmt.Sprintf("%s: package name %q is not one lower-case word", s.path, name))
		case slices.Contains(emptyNames, name):
			found = append(found, fmt.Sprintf("%s: package name %q says nothing about what is in it", s.path, name))
		case slices.Contains(standardNames, name):
			found = append(found, fmt.Sprintf("%s: package name %q is one of the standard library", s.path, name))
		}
	}
	return found
}

const longest = 700 // lines of a Go file

var (
	generated     = regexp.MustCompile(`(?m)^// Code generated .* DO NOT EDIT\.$`)
	plainName     = regexp.MustCompile(`^[a-z][a-z0-9]*$`)
	emptyNames    = []string{"util", "utils", "common", "types", "models", "model", "helper", "helpers", "misc", "base", "shared", "lib"}
	standardNames = []string{
		"ast", "binary", "bufio", "bytes", "cmp", "color", "context", "crypto", "csv", "database", "embed", "encoding", "errors", "expvar",
		"flag", "fmt", "fs", "hash", "heap", "html", "http", "image", "io", "iter", "json", "list", "log", "maps", "math", "mail", "mime", "net", "os",
		"parser", "path", "plugin", "rand", "reflect", "regexp", "ring", "runtime", "signal", "slices", "slog", "sort", "strings", "strconv", "sync",
		"syntax", "tar", "template", "testing", "text", "time", "token", "trace", "types", "unicode", "unique", "unsafe", "url", "user", "weak", "xml", "zip",
	}
)

func TestHabits(t *testing.T) {
	t.Parallel()
	report(t, habitLaw(repository(t)), "House habits; the reason stands in each line.")
}

func TestHabitsCatches(t *testing.T) {
	t.Parallel()
	caught(t, habitLaw(plant(map[string]string{
		"a/a.go":      "package a\nfunc init() {}\ntype T struct{}\nfunc (T) init() {}\n",
		"a/a_test.go": "package a\nimport \"testing\"\nfunc TestA(t *testing.T) { t.Skip(\"later\") }\nfunc TestB(t *testing.T) { var r reader; r.Skip(3) }\n",
		"b/b.go":      "package bigRoom\n",
		"c/c.go":      "package util\n",
		"d/d.go":      "package http\n",
		"e/e.go":      "package e\n" + strings.Repeat("//\n", longest),
		"e/f.go":      "// Code generated by hand. DO NOT EDIT.\npackage e\n" + strings.Repeat("//\n", longest),
	})), []string{"a/a.go:2: func init", "a/a_test.go:3: skips", "bigRoom", `"util" says nothing`, `"http" is one of the standard`, "e/e.go: 701 lines"})
}
