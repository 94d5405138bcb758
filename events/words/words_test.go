package words

import (
	"errors"
	"io/fs"
	"slices"
	"strings"
	"testing"
	"testing/fstest"
	"time"
)

// catalogue makes one from lines, in a language.
func catalogue(t *testing.T, file string, lines ...string) *Catalogue {
	t.Helper()
	cs, err := load(fstest.MapFS{file: {Data: []byte(strings.Join(lines, "\n"))}})
	if err != nil {
		t.Fatalf("load: %v", err)
	}
	lang, _, _ := strings.Cut(strings.TrimSuffix(file, ".txt"), "_")
	return cs[lang]
}

func TestSay(t *testing.T) {
	t.Parallel()
	c := catalogue(t, "en.txt",
		"# a comment, and an empty line",
		"",
		"plain = Nothing to fill in.",
		"  blanks   =   around are dropped  ",
		"name = Block {block}, row {row}.",
		"twice = {a} and {a}",
		"trees = {n|one tree|{n} trees} in {block}",
		`breaks = first\nsecond`,
		`escapes = \{n\} \| \\ end`,
		"pipe = a | b outside a choice is itself",
		"forms = {n|none in {block}|{n}}",
		"equals = a = b",
		"dots.and-hyphens_1 = ok",
	)
	for _, tc := range []struct {
		name, key string
		pairs     []any
		want      string
	}{
		{"plain", "plain", nil, "Nothing to fill in."},
		{"blanks", "blanks", nil, "around are dropped"},
		{"names", "name", []any{"row", "2a", "block", "north"}, "Block north, row 2a."},
		{"same name twice", "twice", []any{"a", 7}, "7 and 7"},
		{"one", "trees", []any{"n", 1, "block", "north"}, "one tree in north"},
		{"many", "trees", []any{"n", 12, "block", "north"}, "12 trees in north"},
		{"none", "trees", []any{"n", 0, "block", "north"}, "0 trees in north"},
		{"a part", "trees", []any{"n", 1.5, "block", "north"}, "1.5 trees in north"},
		{"one as a float", "trees", []any{"n", 1.0, "block", "north"}, "one tree in north"},
		{"line break", "breaks", nil, "first\nsecond"},
		{"escapes", "escapes", nil, `{n} | \ end`},
		{"pipe outside", "pipe", nil, "a | b outside a choice is itself"},
		{"name within a form", "forms", []any{"n", 1, "block", "north"}, "none in north"},
		{"closing braces meet", "forms", []any{"n", 3}, "3"},
		{"equals sign in the text", "equals", nil, "a = b"},
		{"key with signs", "dots.and-hyphens_1", nil, "ok"},
		{"small float", "twice", []any{"a", 0.1}, "0.1 and 0.1"},
		{"large float", "twice", []any{"a", 1e21}, "1000000000000000000000 and 1000000000000000000000"},
		{"stringer", "twice", []any{"a", 90 * time.Second}, "1m30s and 1m30s"},
		{"error", "twice", []any{"a", errors.New("no")}, "no and no"},
		{"values are not read as text", "twice", []any{"a", "{b}"}, "{b} and {b}"},
		{"missing key", "nowhere", nil, "⟦nowhere⟧"},
		{"missing value", "name", []any{"row", 1}, "Block ⟦block⟧, row 1."},
		{"missing number", "trees", []any{"block", "b"}, "⟦n⟧ in b"},
		{"value without a name", "name", []any{"row", 1, "block"}, "Block ⟦block⟧, row 1."},
		{"name that is no string", "name", []any{"row", 1, 5, "x"}, "Block ⟦block⟧, row 1."},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			if got := c.Say(tc.key, tc.pairs...); got != tc.want {
				t.Errorf("Say(%q, %v)\n got %q\nwant %q", tc.key, tc.pairs, got, tc.want)
			}
		})
	}
}

func TestBadLines(t *testing.T) {
	t.Parallel()
	for _, tc := range []struct{ name, line, want string }{
		{"no equals sign", "holds are running", "neither a comment nor key = text"},
		{"no key", " = text", "letters, digits"},
		{"blank in key", "two words = text", "letters, digits"},
		{"no text", "key =  ", "no text"},
		{"not closed", "key = {n", "{n is not closed"},
		{"choice not closed", "key = {n|one", "{n is not closed"},
		{"one form", "key = {n|one}", "one form only"},
		{"no name", "key = {}", "a name of letters"},
		{"sentence as a name", "key = {how many}", "a name of letters"},
		{"closed only", "key = a } b", "} without {"},
		{"choice in a choice", "key = {n|{m|a|b}|c}", "a choice within a choice"},
		{"unknown escape", `key = a \t b`, `\t is no escape`},
		{"escape at the end", `key = a \`, `nothing behind it`},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			_, err := load(fstest.MapFS{"en.txt": {Data: []byte("good = text\n" + tc.line)}})
			if err == nil || !strings.Contains(err.Error(), tc.want) || !strings.Contains(err.Error(), "en.txt:2") {
				t.Errorf("load(%q)\n got error %v\nwant one with %q and en.txt:2", tc.line, err, tc.want)
			}
		})
	}
}

func TestLoad(t *testing.T) {
	t.Parallel()
	cs, err := load(fstest.MapFS{
		"en.txt":      {Data: []byte("a = A\r\nb = B {x}\r\n")},
		"en_more.txt": {Data: []byte("c = C\nb = again\nnonsense\n")},
		"de_one.txt":  {Data: []byte("a = Ah")},
		"de_two.txt":  {Data: []byte("d = Deh")},
		"pt-br.txt":   {Data: []byte("a = Á")},
		"notes.md":    {Data: []byte("no = text")},
	})
	for _, want := range []string{"en_more.txt:2: key b: stands twice", "en_more.txt:3: neither"} {
		if err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("load: got error %v, want one with %q", err, want)
		}
	}
	if got, want := len(cs), 3; got != want {
		t.Fatalf("load: got %d languages, want %d", got, want)
	}
	en, de := cs["en"], cs["de"]
	if got, want := en.Keys(), []string{"a", "b", "c"}; !slices.Equal(got, want) {
		t.Errorf("English keys: got %v, want %v", got, want)
	}
	if got, want := de.Keys(), []string{"a", "d"}; !slices.Equal(got, want) {
		t.Errorf("German keys: got %v, want %v", got, want)
	}
	if got, want := de.Say("a")+" "+de.Say("b", "x", 1)+" "+de.Say("z"), "Ah B 1 ⟦z⟧"; got != want {
		t.Errorf("German, English where it lacks a key, a marker where both do: got %q, want %q", got, want)
	}
	if de.Has("b") || !de.Has("a") || de.Lang() != "de" {
		t.Errorf("Has counts what is borrowed, or misses its own: a %v, b %v, language %q", de.Has("a"), de.Has("b"), de.Lang())
	}
}

func TestNames(t *testing.T) {
	t.Parallel()
	c := catalogue(t, "en.txt", "k = {z} {n|one {a}|{n} of {b}}", "p = plain")
	if got, want := c.Names("k"), []string{"a", "b", "n", "z"}; !slices.Equal(got, want) {
		t.Errorf("Names: got %v, want %v", got, want)
	}
	if got := c.Names("p"); len(got) != 0 {
		t.Errorf("Names of a plain text: got %v, want none", got)
	}
}

func TestForm(t *testing.T) {
	t.Parallel()
	for _, tc := range []struct {
		lang, n string
		of      int
		want    int
	}{
		{"en", "1", 2, 0},
		{"en", "0", 2, 1},
		{"en", "2", 2, 1},
		{"en", "1.5", 2, 1},
		{"en", "-1", 2, 1},
		{"en", "1", 3, 0},
		{"en", "5", 3, 2},
		{"en", "many", 2, 1},
		{"es", "1", 2, 0},
		{"es", "0", 2, 1},
		{"es", "2", 2, 1},
	} {
		if got := form(tc.lang, tc.n, tc.of); got != tc.want {
			t.Errorf("form(%q, %q, %d): got %d, want %d", tc.lang, tc.n, tc.of, got, tc.want)
		}
	}
}

// The files that are shipped: every line can be read, no key stands twice, every other language has the sheets, and a file of
// another language has every key of the English file about the same, and fills in the same.
func TestFiles(t *testing.T) {
	t.Parallel()
	cs, err := load(files)
	if err != nil {
		t.Errorf("lines that cannot be read:\n%v", err)
	}
	en := cs[English]
	if en == nil {
		t.Fatal("no English file")
	}
	names, err := fs.Glob(files, "*.txt")
	if err != nil {
		t.Fatal(err)
	}
	compared := 0
	for _, lang := range Languages() {
		c := cs[lang]
		for _, name := range names {
			about, ok := strings.CutPrefix(name, English)
			if !ok || !strings.HasPrefix(about, "_sheet") && !slices.Contains(names, lang+about) {
				continue
			}
			if !slices.Contains(names, lang+about) {
				t.Errorf("%s has no file %s: sheets that people carry or hang up are said in every language", lang, lang+about)
				continue
			}
			for _, key := range keysOf(t, name) {
				compared++
				switch {
				case !c.Has(key):
					t.Errorf("%s lacks %s", lang+about, key)
				case !slices.Equal(c.Names(key), en.Names(key)):
					t.Errorf("%s: %s fills in %v, the English %v", lang+about, key, c.Names(key), en.Names(key))
				}
			}
		}
		for _, key := range c.Keys() {
			if !en.Has(key) {
				t.Errorf("%s has %s, which the English lacks", lang, key)
			}
		}
	}
	t.Logf("counts: %d sentences, %d languages, %d pairs compared", len(en.Keys()), len(cs), compared)
}

// keysOf lists the keys of one file.
func keysOf(t *testing.T, name string) (keys []string) {
	t.Helper()
	b, err := files.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	for line := range strings.Lines(string(b)) {
		if key, _, ok := strings.Cut(line, "="); ok && !strings.HasPrefix(strings.TrimSpace(line), "#") {
			keys = append(keys, strings.TrimSpace(key))
		}
	}
	return keys
}

func TestIn(t *testing.T) {
	t.Parallel()
	if c, err := In(English); err != nil || c.Lang() != English {
		t.Errorf("In(en): got %v, %v", c, err)
	}
	if _, err := In("xx"); !errors.Is(err, ErrLanguage) || !strings.Contains(err.Error(), "en") {
		t.Errorf("In(xx): got %v, want ErrLanguage with the languages that are there", err)
	}
	if got, want := Say("no.such.key", "a", 1), "⟦no.such.key⟧"; got != want {
		t.Errorf("Say of a key that is not there: got %q, want %q", got, want)
	}
}

// Whatever a translator types, reading it ends with a text or an error, and a text that was read can be said.
func FuzzParse(f *testing.F) {
	for _, s := range []string{"plain", "{n|one|{n} more}", `\{\}\|\\\n`, "{", "}", "{a|", "{a|b|c", `\`, "{a}{b}", "{a|{b}|{c}}"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		tx, err := parse(s)
		if err != nil {
			return
		}
		set := map[string]bool{}
		tx.names(set)
		var pairs []any
		for name := range set {
			pairs = append(pairs, name, 1)
		}
		if got := tx.say(English, pairs); strings.Contains(got, "⟦") && !strings.Contains(s, "⟦") {
			t.Errorf("parse(%q) hides a placeholder: said %q with %v", s, got, pairs)
		}
	})
}
