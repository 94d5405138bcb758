package house

import (
	"fmt"
	"go/ast"
	"go/token"
	"io/fs"
	"os"
	"path"
	"regexp"
	"strings"
	"testing"

	"latewood/events/words"
)

// claims is what this program never says about fruit, a field, a farm or a record, by language of the catalogue; everything
// that is not in the catalogue is English. What a person filed off a label decides, and the local rules do: the program
// counts days and shows words. Each language of the catalogue needs its own line, written by somebody who speaks it.
var claims = map[string]*regexp.Regexp{
	"en": regexp.MustCompile(`(?i)\b(safe|cleared|may be picked|compliant|approved|passed)\b`),
	// Letters with accents are no word letters to \b, so a word that ends in one is closed by what follows it.
	"es": regexp.MustCompile(`(?i)\b(segur[oa]s?|sin peligro|sin riesgo|inofensiv[oa]s?|se puede (cosechar|entrar)|puede cosecharse|liberad[oa]s?|aprobad[oa]s?|autorizad[oa]s?|cumple|conforme)\b`),
}

// denied is the one claim that may be named in a sentence that says we do not make it.
var (
	denied   = regexp.MustCompile(`(?i)\bapproved yields?\b`)
	denial   = regexp.MustCompile(`(?i)\b(no|not|never|neither|nor|nobody|nothing|only|cannot)\b`)
	sentence = regexp.MustCompile(`[^.!?]*[.!?]?`)
)

// A quote is a place where such a word stands because it is quoted from a label or a law, or because no user reads it.
type quote struct{ path, text, why string }

var quotes = []quote{
	{"services/internal/house/tally/main.go", "%d passed, %d failed", "the closing line of the test command, in the words that test runners use"},
}

// A claim is a text with where it stands.
type claim struct{ path, where, text string }

// claimLaw finds forbidden words. It also gives the quotes that it met.
func claimLaw(texts []claim, lang func(path string) string) (found []string, met map[quote]bool) {
	met = map[quote]bool{}
	for _, c := range texts {
		re := claims[lang(c.path)]
		if re == nil {
			found = append(found, fmt.Sprintf("%s: no list of words that this language must not use", c.path))
			continue
		}
		text := c.text
		for _, q := range quotes {
			if q.path == c.path && strings.Contains(text, q.text) {
				met[q] = true
				text = strings.ReplaceAll(text, q.text, "")
			}
		}
		text = sentence.ReplaceAllStringFunc(text, func(s string) string {
			if denial.MatchString(denied.ReplaceAllString(s, "")) {
				return denied.ReplaceAllString(s, "")
			}
			return s
		})
		for _, w := range re.FindAllString(text, -1) {
			found = append(found, fmt.Sprintf("%s: %q in %q", c.where, w, strings.TrimSpace(c.text)))
		}
	}
	return found, met
}

// languageOf a text: that of its file in the catalogue, else English.
func languageOf(p string) string {
	if path.Dir(p) != "events/words" || path.Ext(p) != ".txt" {
		return words.English
	}
	lang, _, _ := strings.Cut(strings.TrimSuffix(path.Base(p), ".txt"), "_")
	return lang
}

// texts collects what people read: the catalogue, the documents, the strings in the code (help texts in tags too), the pages.
func texts(t *tree, dir fs.FS, files []string) []claim {
	var all []claim
	for _, f := range files {
		inCatalogue := path.Dir(f) == "events/words" && path.Ext(f) == ".txt"
		document := path.Ext(f) == ".md" && (path.Dir(f) == "." || strings.HasPrefix(f, "deploy/"))
		if !inCatalogue && !document {
			continue
		}
		b, err := fs.ReadFile(dir, f)
		if err != nil {
			continue
		}
		for i, line := range strings.Split(string(b), "\n") {
			if inCatalogue && strings.HasPrefix(strings.TrimSpace(line), "#") {
				continue
			}
			all = append(all, claim{f, fmt.Sprintf("%s:%d", f, i+1), line})
		}
	}
	for _, s := range t.files {
		if !s.live() {
			continue
		}
		ast.Inspect(s.ast, func(n ast.Node) bool {
			switch n := n.(type) {
			case *ast.GenDecl:
				return n.Tok != token.IMPORT
			case *ast.BasicLit:
				if text, ok := literal(n); ok {
					all = append(all, claim{s.path, t.at(s, n.Pos()), text})
				}
			}
			return true
		})
	}
	for _, p := range t.pages {
		for i, line := range strings.Split(p.text, "\n") {
			all = append(all, claim{p.path, fmt.Sprintf("%s:%d", p.path, i+1), line})
		}
	}
	return all
}

func TestClaims(t *testing.T) {
	t.Parallel()
	files, _ := tracked(t)
	all := texts(repository(t), os.DirFS(root(t)), files)
	found, met := claimLaw(all, languageOf)
	for _, q := range quotes {
		if !met[q] {
			found = append(found, fmt.Sprintf("claims_test.go: %s no longer has %q: take the quote off the list", q.path, q.text))
		}
	}
	for _, lang := range words.Languages() {
		if claims[lang] == nil {
			found = append(found, fmt.Sprintf("claims_test.go: the catalogue has %q and no list of words that it must not use", lang))
		}
	}
	report(t, found, "Say what is recorded and what is not; the label and the local rules decide.")
	t.Logf("counts: %d lines and strings searched, %d quotes", len(all), len(quotes))
}

func TestClaimsCatches(t *testing.T) {
	t.Parallel()
	files := map[string]string{
		"events/words/en.txt":    "# safe in a comment\na = It is safe to pick.\nb = safety data sheet, produce safety, unsafe\n",
		"events/words/en_b.txt":  "a = The block is Cleared.\nb = This is not an approved yield; only the insurer decides.\nc = Your approved yield is 4.\n",
		"events/words/xx.txt":    "a = ...\n",
		"events/words/es_a.txt":  "a = Es seguro entrar.\nb = hoja de datos de seguridad\nc = El bloque Cumple.\nd = Ya se puede cosechar.\n",
		"README.md":              "A compliance ledger.\nIt MAY BE PICKED now.\n",
		"deploy/TRUST.md":        "all tests passed\n",
		"services/a/NOTES.md":    "approved\n",
		"services/a/a.go":        "package a\nimport _ \"safe\"\n// safe\nvar a = \"compliant\"\ntype s struct { A int `help:\"approved things\"` }\n",
		"services/a/a_test.go":   "package a\nvar b = \"safe\"\n",
		"services/a/t/page.html": "<b>\npassed</b>\n",
	}
	tr := plant(files)
	dir := t.TempDir()
	var names []string
	for name, text := range files {
		names = append(names, name)
		if err := os.MkdirAll(path.Join(dir, path.Dir(name)), 0o700); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path.Join(dir, name), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	found, _ := claimLaw(texts(tr, os.DirFS(dir), names), languageOf)
	caught(t, found, []string{
		`en.txt:2: "safe"`, `en_b.txt:1: "Cleared"`, `en_b.txt:3: "approved"`, "xx.txt: no list", `es_a.txt:1: "seguro"`, `es_a.txt:3: "Cumple"`, `es_a.txt:4: "se puede cosechar"`, `README.md:2: "MAY BE PICKED"`, `TRUST.md:1: "passed"`,
		`a.go:4: "compliant"`, `a.go:5: "approved"`, `page.html:2: "passed"`, "xx.txt: no list",
	})
}
