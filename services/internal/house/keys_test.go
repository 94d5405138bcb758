package house

import (
	"fmt"
	"go/ast"
	"go/token"
	"maps"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"latewood/events/words"
)

// A catalogue is what this law needs of words.Catalogue.
type catalogue interface {
	Keys() []string
	Has(key string) bool
	Names(key string) []string
}

const (
	markKeys = "//words:keys" // keys that begin so are said here, through a variable
	markSay  = "//words:say"  // this function passes its parameter key on to Say
)

// sayInPage is how a template says a sentence.
var sayInPage = regexp.MustCompile("\\bsay\\s*\\(?\\s*[\"'`]([^\"'`]+)[\"'`]")

// quoted is any string in a page.
var quoted = regexp.MustCompile("[\"'`]([A-Za-z0-9._-]+)[\"'`]")

// keyLaw holds the code and the catalogue together: every key said is there and gets the values it fills in, every key
// there is said. It counts the calls it could check.
func keyLaw(t *tree, c catalogue) (found []string, calls int) {
	used := map[string]bool{}
	useAll := func(prefix, suffix string) int {
		n := 0
		for _, k := range c.Keys() {
			if len(k) >= len(prefix)+len(suffix) && strings.HasPrefix(k, prefix) && strings.HasSuffix(k, suffix) {
				used[k] = true
				n++
			}
		}
		return n
	}
	helpers := sayHelpers(t)
	for _, s := range t.files {
		if !s.live() || s.dir == "events/words" || fits("services/internal/house/...", s.dir, "") {
			continue
		}
		marks := marked(t, s, markKeys)
		for line, prefix := range marks {
			if prefix == "" {
				found = append(found, fmt.Sprintf("%s:%d: %s needs the beginning of the keys behind it", s.path, line, markKeys))
			} else if useAll(prefix, "") == 0 {
				found = append(found, fmt.Sprintf("%s:%d: no key begins with %q", s.path, line, prefix))
			}
		}
		consts := constants(t, s.dir)
		var inHelper []*ast.FuncDecl
		ast.Inspect(s.ast, func(n ast.Node) bool {
			switch n := n.(type) {
			case *ast.FuncDecl:
				if hasMark(n.Doc, markSay) {
					inHelper = append(inHelper, n)
				}
			case *ast.BasicLit:
				if text, ok := literal(n); ok && c.Has(text) {
					used[text] = true // also through a table that is handed on
				}
			case *ast.CompositeLit:
				key, args := carried(n)
				if key == nil {
					break
				}
				prefix, _, whole := pattern(key, consts)
				if !whole {
					break // the Say that it ends in must say which keys it can be
				}
				calls++
				where := t.at(s, n.Pos())
				if !c.Has(prefix) {
					found = append(found, fmt.Sprintf("%s: carries %q, which no file of the catalogue has", where, prefix))
					break
				}
				used[prefix] = true
				found = append(found, pairs(where, prefix, args, c.Names(prefix), consts)...)
			case *ast.CallExpr:
				at, ok := keyArgument(n, s.dir, helpers)
				if !ok || at >= len(n.Args) {
					break
				}
				calls++
				key := n.Args[at]
				if id, ok := key.(*ast.Ident); ok && id.Name == "key" && slices.ContainsFunc(inHelper, func(f *ast.FuncDecl) bool { return f.Pos() <= n.Pos() && n.Pos() <= f.End() }) {
					break
				}
				where := t.at(s, n.Pos())
				prefix, suffix, whole := pattern(key, consts)
				switch {
				case whole && !c.Has(prefix):
					found = append(found, fmt.Sprintf("%s: says %q, which no file of the catalogue has", where, prefix))
				case whole:
					used[prefix] = true
					if !n.Ellipsis.IsValid() {
						found = append(found, pairs(where, prefix, n.Args[at+1:], c.Names(prefix), consts)...)
					}
				case prefix != "" || suffix != "":
					if useAll(prefix, suffix) == 0 {
						found = append(found, fmt.Sprintf("%s: says %q...%q, and no key of the catalogue is like that", where, prefix, suffix))
					}
				default:
					line := t.line(n.Pos())
					if marks[line] == "" && marks[line-1] == "" {
						found = append(found, fmt.Sprintf("%s: the key is known only when this runs; say with %s which keys it can be", where, markKeys))
					}
				}
			}
			return true
		})
	}
	for _, p := range t.pages {
		for _, m := range sayInPage.FindAllStringSubmatchIndex(p.text, -1) {
			calls++
			key := p.text[m[2]:m[3]]
			if !c.Has(key) {
				found = append(found, fmt.Sprintf("%s:%d: says %q, which no file of the catalogue has", p.path, 1+strings.Count(p.text[:m[0]], "\n"), key))
			}
		}
		for _, m := range quoted.FindAllStringSubmatch(p.text, -1) {
			used[m[1]] = true
		}
	}
	for _, k := range c.Keys() {
		if !used[k] {
			found = append(found, fmt.Sprintf("the catalogue has %s, which no code says", k))
		}
	}
	return found, calls
}

// carried gives key and pairs of a sentence that travels as a value: a literal of a type named Sentence with the fields Key
// and Pairs. The key is nil for any other literal, and where the pairs are not written out.
func carried(lit *ast.CompositeLit) (key ast.Expr, args []ast.Expr) {
	switch t := lit.Type.(type) {
	case *ast.Ident:
		if t.Name != "Sentence" {
			return nil, nil
		}
	case *ast.SelectorExpr:
		if t.Sel.Name != "Sentence" {
			return nil, nil
		}
	default:
		return nil, nil
	}
	for _, e := range lit.Elts {
		kv, ok := e.(*ast.KeyValueExpr)
		if !ok {
			return nil, nil
		}
		switch name, _ := kv.Key.(*ast.Ident); {
		case name == nil:
		case name.Name == "Key":
			key = kv.Value
		case name.Name == "Pairs":
			list, ok := kv.Value.(*ast.CompositeLit)
			if !ok {
				return nil, nil
			}
			args = list.Elts
		}
	}
	return key, args
}

// pairs checks the names that a call hands over against the placeholders of the text.
func pairs(where, key string, args []ast.Expr, want []string, consts map[string]string) []string {
	if len(args)%2 != 0 {
		return []string{fmt.Sprintf("%s: %s gets a name without a value", where, key)}
	}
	got := map[string]bool{}
	for i := 0; i < len(args); i += 2 {
		name, _, whole := pattern(args[i], consts)
		if !whole {
			return []string{fmt.Sprintf("%s: %s: a placeholder's name must stand in the call as it is", where, key)}
		}
		got[name] = true
	}
	var found []string
	for _, name := range want {
		if !got[name] {
			found = append(found, fmt.Sprintf("%s: %s needs a value for {%s}", where, key, name))
		}
	}
	for _, name := range slices.Sorted(maps.Keys(got)) {
		if !slices.Contains(want, name) {
			found = append(found, fmt.Sprintf("%s: %s has no {%s}; it has %v", where, key, name, want))
		}
	}
	return found
}

// pattern says what is known of a string before the program runs: all of it, or how it begins and ends.
func pattern(e ast.Expr, consts map[string]string) (prefix, suffix string, whole bool) {
	switch e := e.(type) {
	case *ast.BasicLit:
		if text, ok := literal(e); ok {
			return text, "", true
		}
	case *ast.Ident:
		if text, ok := consts[e.Name]; ok {
			return text, "", true
		}
	case *ast.ParenExpr:
		return pattern(e.X, consts)
	case *ast.CallExpr: // string(x)
		if id, ok := e.Fun.(*ast.Ident); ok && id.Name == "string" && len(e.Args) == 1 {
			return pattern(e.Args[0], consts)
		}
	case *ast.BinaryExpr:
		if e.Op != token.ADD {
			break
		}
		p1, s1, w1 := pattern(e.X, consts)
		p2, s2, w2 := pattern(e.Y, consts)
		switch {
		case w1 && w2:
			return p1 + p2, "", true
		case w1:
			return p1 + p2, s2, false
		case w2:
			return p1, s1 + p2, false
		default:
			return p1, s2, false
		}
	}
	return "", "", false
}

func literal(l *ast.BasicLit) (string, bool) {
	if l.Kind != token.STRING {
		return "", false
	}
	text, err := strconv.Unquote(l.Value)
	return text, err == nil
}

// constants gives the string constants of a package, as far as they are written as literals.
func constants(t *tree, dir string) map[string]string {
	m := map[string]string{}
	for _, s := range t.files {
		if s.dir != dir || s.test {
			continue
		}
		for _, d := range s.ast.Decls {
			g, ok := d.(*ast.GenDecl)
			if !ok || g.Tok != token.CONST {
				continue
			}
			for _, spec := range g.Specs {
				v := spec.(*ast.ValueSpec)
				for i, name := range v.Names {
					if i < len(v.Values) {
						if text, _, whole := pattern(v.Values[i], m); whole {
							m[name.Name] = text
						}
					}
				}
			}
		}
	}
	return m
}

// A helper is a function marked with //words:say.
type helper struct {
	dir, name string
	key       int // which argument is the key
}

// sayHelpers finds them all.
func sayHelpers(t *tree) []helper {
	var hs []helper
	for _, s := range t.files {
		for _, d := range s.ast.Decls {
			f, ok := d.(*ast.FuncDecl)
			if !ok || !hasMark(f.Doc, markSay) {
				continue
			}
			i := 0
			for _, field := range f.Type.Params.List {
				for _, name := range field.Names {
					if name.Name == "key" {
						hs = append(hs, helper{s.dir, f.Name.Name, i})
					}
					i++
				}
			}
		}
	}
	return hs
}

// keyArgument says which argument of a call is a key of the catalogue, if any: the first of every Say, the marked one of a
// helper, called in its package or as a method or function of that name elsewhere.
func keyArgument(call *ast.CallExpr, dir string, helpers []helper) (int, bool) {
	switch f := call.Fun.(type) {
	case *ast.SelectorExpr:
		if f.Sel.Name == "Say" {
			return 0, true
		}
		for _, h := range helpers {
			if h.name == f.Sel.Name && (h.dir == dir || ast.IsExported(h.name)) {
				return h.key, true
			}
		}
	case *ast.Ident:
		for _, h := range helpers {
			if h.name == f.Name && h.dir == dir {
				return h.key, true
			}
		}
	}
	return 0, false
}

// hasMark reports whether a doc comment has a line that begins with the mark.
func hasMark(doc *ast.CommentGroup, mark string) bool {
	_, ok := markIn(doc, mark)
	return ok
}

func markIn(doc *ast.CommentGroup, mark string) (string, bool) {
	if doc == nil {
		return "", false
	}
	for _, c := range doc.List {
		if rest, ok := strings.CutPrefix(c.Text, mark); ok && (rest == "" || rest[0] == ' ') {
			return strings.TrimSpace(rest), true
		}
	}
	return "", false
}

// marked gives the lines of a file that bear the mark, with what stands behind it.
func marked(t *tree, s *source, mark string) map[int]string {
	m := map[int]string{}
	for _, g := range s.ast.Comments {
		for _, c := range g.List {
			if rest, ok := strings.CutPrefix(c.Text, mark); ok && (rest == "" || rest[0] == ' ') {
				m[t.line(c.Pos())] = strings.TrimSpace(rest)
			}
		}
	}
	return m
}

func TestKeys(t *testing.T) {
	t.Parallel()
	en, err := words.In(words.English)
	if err != nil {
		t.Fatal(err)
	}
	found, calls := keyLaw(repository(t), en)
	report(t, found, "How to add, name and say a sentence is told in the package doc of events/words.")
	t.Logf("counts: %d places say one of %d sentences", calls, len(en.Keys()))
}

// fake is a catalogue for the planted tree: key to placeholders.
type fake map[string][]string

func (f fake) Keys() []string            { return slices.Sorted(maps.Keys(f)) }
func (f fake) Has(key string) bool       { _, ok := f[key]; return ok }
func (f fake) Names(key string) []string { return f[key] }

func TestKeysCatches(t *testing.T) {
	t.Parallel()
	tr := plant(map[string]string{
		"services/a/a.go": `package a
import "latewood/events/words"
const known = "a.const"
func f(k string, c *words.Catalogue) {
	words.Say("a.good", "n", 1, "block", k)
	words.Say("a.none")
	words.Say("a.good", "n", 1)
	words.Say("a.good", "n", 1, "block", k, "row", 2)
	words.Say("a.good", "n", 1, "block")
	words.Say("a.good", k, 1)
	c.Say(known)
	c.Say("a.missing")
	c.Say("flag." + k)
	c.Say("nothing." + k)
	c.Say("m." + k + ".end")
	c.Say(k)
	//words:keys kind.
	c.Say(k)
	c.Say(k) //words:keys kind.
	pairs := []any{"n", 1}
	c.Say("a.good", pairs...)
	refuse(3, "a.refuse", "why", k)
	refuse(3, "a.refuse", "what", k)
	refuse(3, "a.gone")
	_ = []string{"a.table"}
	//words:keys zzz.
	c.Say(k)
	_ = Sentence{Key: "a.carried", Pairs: []any{"n", 1}}
	_ = e.Sentence{Key: "a.carried", Pairs: []any{"m", 1}}
	_ = Sentence{Key: "a.lost"}
	_ = Sentence{Key: k, Pairs: pairs}
	_ = Other{Key: "a.else"}
}
// refuse says no.
//
//words:say
func refuse(n int, key string, pairs ...any) string { return words.Say(key, pairs...) }
`,
		"services/a/page.html": `<p>{{say "a.page"}}</p><p>{{ say "a.nopage" }}</p>`,
		"services/a/app.js":    `show(texts['a.script'])`,
		"services/a/a_test.go": "package a\nvar _ = words.Say(\"not.checked\")\n",
	})
	c := fake{
		"a.good": {"block", "n"}, "a.none": nil, "a.const": nil, "flag.x": nil, "m.x.end": nil, "m.x.start": nil, "kind.x": {"n"},
		"a.refuse": {"why"}, "a.carried": {"n"}, "a.table": nil, "a.page": nil, "a.script": nil, "a.unused": nil,
	}
	found, calls := keyLaw(tr, c)
	caught(t, found, []string{
		"a.go:7: a.good needs a value for {block}", "a.go:8: a.good has no {row}", "a.go:9: a.good gets a name without", "a.go:10: a.good: a placeholder's name",
		`a.go:12: says "a.missing"`, `a.go:14: says "nothing."`, "a.go:16: the key is known only", "a.go:23: a.refuse needs a value for {why}",
		"a.go:23: a.refuse has no {what}", `a.go:24: says "a.gone"`, `a.go:26: no key begins with "zzz."`, `page.html:1: says "a.nopage"`,
		"a.go:29: a.carried needs a value for {n}", "a.go:29: a.carried has no {m}", `a.go:30: carries "a.lost"`,
		"has m.x.start, which no code says", "has a.unused, which no code says",
	})
	if got, want := calls, 25; got != want {
		t.Errorf("checked %d calls, want %d", got, want)
	}
}
