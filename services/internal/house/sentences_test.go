package house

import (
	"fmt"
	"go/ast"
	"go/token"
	"regexp"
	"slices"
	"strings"
	"testing"
	"unicode"
	"unicode/utf8"
)

// markData is the way out of this law: on a declaration, on the line of the text, or on the line above, with a reason.
const markData = "//words:data"

// citation is the reason for what stands in a field named Source; it needs no mark.
const citation = "a citation beside its number"

// A loose sentence is one that stands in the code.
type loose struct {
	where, text string
	reason      string // of the mark that lets it stand
	bare        bool   // the mark has no reason
}

// word is one word of a sentence, with the punctuation that may stand around it.
var word = regexp.MustCompile(`^[("'‘“]*\pL[\pL\pM'’-]*[.,;:!?)"'’”…]*$`)

// isSentence reports whether a text reads like one: it begins with a letter and has three words, apart from numbers, codes
// and what is filled in.
func isSentence(text string) bool {
	text = strings.TrimSpace(text)
	if r, _ := utf8.DecodeRuneInString(text); !unicode.IsLetter(r) {
		return false
	}
	n := 0
	for _, w := range strings.Fields(text) {
		if word.MatchString(w) {
			n++
		}
	}
	return n >= 3
}

// quietCalls is calls whose texts no user reads: causes of errors, the log, and what is searched for in another text.
var quietCalls = map[string][]string{
	"errors":  {"New"},
	"fmt":     {"Errorf"},
	"strings": {"Contains", "HasPrefix", "HasSuffix", "Index", "Cut", "EqualFold"},
	"slog":    {"Debug", "Info", "Warn", "Error", "DebugContext", "InfoContext", "WarnContext", "ErrorContext", "Log", "LogAttrs", "String", "Any", "Group"},
}

// logMethods is the methods of a logger; they count as such in files that import log/slog.
var logMethods = []string{"Debug", "Info", "Warn", "Error", "DebugContext", "InfoContext", "WarnContext", "ErrorContext", "Log", "LogAttrs", "With"}

// sentenceLaw finds sentences in the code of the three rooms, but for those that only developers read.
func sentenceLaw(t *tree) []loose {
	var found []loose
	for _, s := range t.files {
		inRoom := fits("events/...", s.dir, "") || fits("projections/...", s.dir, "") || fits("services/...", s.dir, "")
		if !s.live() || !inRoom || s.dir == "events/words" || fits("services/internal/house/...", s.dir, "") {
			continue
		}
		v := visitor{tree: t, source: s, marks: marked(t, s, markData), logs: importedAs(s, "log/slog") != ""}
		for _, d := range s.ast.Decls {
			switch d := d.(type) {
			case *ast.FuncDecl:
				if d.Name.Name == "Error" && d.Recv != nil && d.Type.Params.NumFields() == 0 {
					continue // the text of an error: a cause, not a message
				}
				reason, ok := markIn(d.Doc, markData)
				v.walk(d, reason, ok)
			case *ast.GenDecl:
				if d.Tok == token.IMPORT {
					continue
				}
				reason, ok := markIn(d.Doc, markData)
				for _, spec := range d.Specs {
					r, o := reason, ok
					if val, isVal := spec.(*ast.ValueSpec); isVal && !o {
						if r, o = markIn(val.Doc, markData); !o {
							r, o = markIn(val.Comment, markData)
						}
					}
					v.walk(spec, r, o)
				}
			}
		}
		found = append(found, v.found...)
	}
	return found
}

type visitor struct {
	tree   *tree
	source *source
	marks  map[int]string
	logs   bool
	found  []loose
}

// walk looks at every string below n. Where marked is set, an enclosing declaration lets them stand, for reason.
func (v *visitor) walk(n ast.Node, reason string, marked bool) {
	ast.Inspect(n, func(n ast.Node) bool {
		switch n := n.(type) {
		case *ast.CallExpr:
			return !v.quiet(n)
		case *ast.CompositeLit:
			// An error with its evidence: &FolderError{Doing: "...", Err: err}. What it says is a cause.
			return !strings.HasSuffix(typeName(n.Type), "Error")
		case *ast.KeyValueExpr:
			// Where a number comes from, beside the number: a citation stays as its publisher wrote it, in every language.
			if id, ok := n.Key.(*ast.Ident); ok && id.Name == "Source" {
				v.walk(n.Value, citation, true)
				return false
			}
		case *ast.Field:
			if n.Tag != nil { // a struct tag: help texts of the command line, names of fields
				if n.Type != nil {
					v.walk(n.Type, reason, marked)
				}
				return false
			}
		case *ast.BinaryExpr:
			if n.Op == token.ADD && hasString(n) {
				v.judge(n, joined(n), reason, marked)
				// The parts that are not strings themselves may hold calls with strings in them.
				for _, part := range parts(n) {
					if _, ok := part.(*ast.BasicLit); !ok {
						v.walk(part, reason, marked)
					}
				}
				return false
			}
		case *ast.BasicLit:
			if text, ok := literal(n); ok {
				v.judge(n, text, reason, marked)
			}
		}
		return true
	})
}

func (v *visitor) judge(n ast.Node, text, reason string, marked bool) {
	if !isSentence(text) {
		return
	}
	l := loose{where: v.tree.at(v.source, n.Pos()), text: text, reason: reason, bare: marked && reason == ""}
	if !marked {
		line := v.tree.line(n.Pos())
		for _, at := range []int{line, line - 1} {
			if r, ok := v.marks[at]; ok {
				l.reason, l.bare = r, r == ""
				break
			}
		}
	}
	v.found = append(v.found, l)
}

// typeName is the last word of a type's name, "" where it has none.
func typeName(e ast.Expr) string {
	switch e := e.(type) {
	case *ast.Ident:
		return e.Name
	case *ast.SelectorExpr:
		return e.Sel.Name
	}
	return ""
}

// quiet reports whether no user reads what is handed to this call.
func (v *visitor) quiet(call *ast.CallExpr) bool {
	switch f := call.Fun.(type) {
	case *ast.Ident:
		return f.Name == "panic"
	case *ast.SelectorExpr:
		if x, ok := f.X.(*ast.Ident); ok && slices.Contains(quietCalls[x.Name], f.Sel.Name) {
			return true
		}
		return v.logs && slices.Contains(logMethods, f.Sel.Name)
	}
	return false
}

// parts takes a sum of strings apart.
func parts(e ast.Expr) []ast.Expr {
	switch e := e.(type) {
	case *ast.BinaryExpr:
		if e.Op == token.ADD {
			return append(parts(e.X), parts(e.Y)...)
		}
	case *ast.ParenExpr:
		return parts(e.X)
	}
	return []ast.Expr{e}
}

func hasString(e ast.Expr) bool {
	return slices.ContainsFunc(parts(e), func(e ast.Expr) bool {
		l, ok := e.(*ast.BasicLit)
		return ok && l.Kind == token.STRING
	})
}

// joined puts the sum together again, with a sign where something is filled in.
func joined(e ast.Expr) string {
	var b strings.Builder
	for _, p := range parts(e) {
		if l, ok := p.(*ast.BasicLit); ok {
			if text, ok := literal(l); ok {
				b.WriteString(text)
				continue
			}
		}
		b.WriteString("…")
	}
	return b.String()
}

// sentenceFindings turns what was found into findings, and counts what marks let stand, by reason.
func sentenceFindings(all []loose) (found []string, stand map[string]int) {
	stand = map[string]int{}
	for _, l := range all {
		text := l.text
		if len(text) > 70 {
			text = text[:70] + "..."
		}
		switch {
		case l.bare:
			found = append(found, fmt.Sprintf("%s: %s without a reason lets %q stand", l.where, markData, text))
		case l.reason == "":
			found = append(found, fmt.Sprintf("%s: %q", l.where, text))
		default:
			stand[l.reason]++
		}
	}
	return found, stand
}

func TestSentences(t *testing.T) {
	t.Parallel()
	found, stand := sentenceFindings(sentenceLaw(repository(t)))
	report(t, found, "A sentence that a user reads stands in events/words and is said by its key. What is data, not a sentence, is marked with\n"+
		markData+" and a reason, on its declaration, its line or the line above.")
	sum := 0
	for reason, n := range stand {
		sum += n
		t.Logf("%d stand in the code: %s", n, reason)
	}
	t.Logf("counts: %d texts stand in the code under %s, for %d reasons", sum, markData, len(stand))
}

func TestSentencesCatches(t *testing.T) {
	t.Parallel()
	tr := plant(map[string]string{
		"services/a/a.go": `package a
import (
	"errors"
	"fmt"
	"log/slog"
)
type args struct { F string ` + "`help:\"This is read by a user, but stands in a tag.\"`" + ` }
type fault struct{}
func (fault) Error() string { return "the cause of an error is not searched" }
func (fault) Text(a int) string { return "the text of a value is searched" }
var layout = "Mon Jan 2 three letters" //words:data a layout of package time
//words:data the notes of an invented orchard
var notes = []string{"cut back after harvest", "rain all of the night"}
var (
	//words:data units as the trade writes them
	units = map[string]string{"a": "pounds an acre treated"}
	other = "this one is not marked"
)
//words:data
var bare = "a mark without any reason"
const short = "two words"
const code = "select-none x-y-z 12 34 56"
func f(n int, log *slog.Logger) error {
	fmt.Println("Nothing was recorded today.")
	fmt.Println("Block " + fmt.Sprint("holds of this block") + " is unknown here")
	fmt.Println(" and a part that begins with a blank")
	log.Info("the log is read by whoever runs it", "n", n)
	slog.Warn("so is this one here")
	if n > 3 { panic(fmt.Sprintf("a: %d should not be here ever", n)) }
	if n > 2 { return errors.New("the record is not there") }
	//words:data a heading of a file format
	fmt.Println("heading of the file")
	_ = setting{Value: 3, Source: "published: a paper of somebody, " + "page three", Doc: "but this is a sentence"}
	if strings.Contains(x, "what is searched for") { return &pathError{Doing: "opening of the folder"} }
	fmt.Println("%d of %d", "<p>not this one here</p>", "{\"json\": \"is not one\"}")
	return fmt.Errorf("a: doing this and that: %w", errors.New("x"))
}
`,
		"services/a/a_test.go":               "package a\nvar x = \"sentences in tests are free\"\n",
		"services/a/atest/a.go":              "package atest\nvar x = \"and in packages for tests\"\n",
		"services/internal/house/tally/m.go": "package main\nvar x = \"developers read this one here\"\n",
		"events/words/w.go":                  "package words\nvar x = \"this package may have them\"\n",
		"projections/p.go":                   "package projections\nvar x = \"folds are searched as well\"\n",
		"events/e.go":                        "package events\nfunc f() string { return `raw strings\ntoo, of course` }\n",
		"deploy/d.go":                        "package deploy\nvar x = \"not one of the three rooms\"\n",
	})
	found, stand := sentenceFindings(sentenceLaw(tr))
	caught(t, found, []string{
		`a.go:10: "the text of a value is searched"`, `"this one is not marked"`, `without a reason lets "a mark without any reason"`, `"Nothing was recorded today."`,
		`"Block … is unknown here"`, `"holds of this block"`, `" and a part that begins with a blank"`, `"folds are searched as well"`, `"but this is a sentence"`, "raw strings",
	})
	want := map[string]int{"a layout of package time": 1, "the notes of an invented orchard": 2, "units as the trade writes them": 1, "a heading of a file format": 1, citation: 1}
	if fmt.Sprint(stand) != fmt.Sprint(want) {
		t.Errorf("what stands under marks: got %v, want %v", stand, want)
	}
}
