package words

import (
	"embed"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"path"
	"slices"
	"strconv"
	"strings"
	"sync"
)

//go:embed *.txt
var files embed.FS

// English is the language of Say, and the one that a Catalogue falls back to.
const English = "en"

// ErrLanguage is wrapped by the error of In when no file of that language is there.
var ErrLanguage = errors.New("no texts in this language")

// A Catalogue is the sentences of one language, ready to be said. It does not change and may be used by many goroutines.
type Catalogue struct {
	lang string
	keys map[string]text
	// fallback is asked for keys that this language lacks; nil in English.
	fallback *Catalogue
}

// all reads the embedded files at the first use. The error lists every bad line; what could be read is there all the same.
var all = sync.OnceValues(func() (map[string]*Catalogue, error) { return load(files) })

// Say gives the English sentence of key, with each placeholder replaced by the value of that name: pairs are name,
// value, name, value. Whole numbers are written plainly, floating point numbers in the shortest form that reads back to
// the same number, everything else as fmt.Sprint has it; round before you hand over. What is missing shows as ⟦name⟧.
func Say(key string, pairs ...any) string {
	c, err := In(English)
	if err != nil {
		return marker(key)
	}
	return c.Say(key, pairs...)
}

// In gives the catalogue of a language, named as its files are: "en", "pt-br". The error Is ErrLanguage where there is none.
func In(lang string) (*Catalogue, error) {
	cs, _ := all() // a bad line fails the tests of this package; it must not silence the good ones
	c, ok := cs[lang]
	if !ok {
		return nil, fmt.Errorf("words: %q: %w; there are: %s", lang, ErrLanguage, strings.Join(Languages(), ", "))
	}
	return c, nil
}

// Languages lists the languages that have files, in byte order.
func Languages() []string {
	cs, _ := all()
	return slices.Sorted(maps.Keys(cs))
}

// Lang is the language as its files name it.
func (c *Catalogue) Lang() string { return c.lang }

// Say is like the function Say, in this language.
func (c *Catalogue) Say(key string, pairs ...any) string {
	for from := c; from != nil; from = from.fallback {
		if t, ok := from.keys[key]; ok {
			return t.say(from.lang, pairs)
		}
	}
	return marker(key)
}

// Has reports whether this language itself has the key, not counting what it would borrow from English.
func (c *Catalogue) Has(key string) bool {
	_, ok := c.keys[key]
	return ok
}

// Keys lists the keys that this language itself has, in byte order.
func (c *Catalogue) Keys() []string { return slices.Sorted(maps.Keys(c.keys)) }

// Names lists the placeholders of a key's text, each once, in byte order; nil if there are none or the key is not there.
func (c *Catalogue) Names(key string) []string {
	set := map[string]bool{}
	c.keys[key].names(set)
	return slices.Sorted(maps.Keys(set))
}

// marker is what stands in the output where a text or a value is missing.
func marker(name string) string { return "⟦" + name + "⟧" }

// load reads all files of a folder. It goes on after a bad line and reports all of them.
func load(dir fs.FS) (map[string]*Catalogue, error) {
	cs := map[string]*Catalogue{}
	var bad []error
	found, err := fs.Glob(dir, "*.txt") // sorted
	if err != nil {
		return nil, err
	}
	for _, file := range found {
		b, err := fs.ReadFile(dir, file)
		if err != nil {
			bad = append(bad, err)
			continue
		}
		lang, _, _ := strings.Cut(strings.TrimSuffix(path.Base(file), ".txt"), "_")
		c := cs[lang]
		if c == nil {
			c = &Catalogue{lang: lang, keys: map[string]text{}}
			cs[lang] = c
		}
		for i, line := range strings.Split(string(b), "\n") {
			if err := c.add(strings.TrimSuffix(line, "\r")); err != nil {
				bad = append(bad, fmt.Errorf("%s:%d: %w", file, i+1, err))
			}
		}
	}
	for lang, c := range cs {
		if lang != English {
			c.fallback = cs[English]
		}
	}
	return cs, errors.Join(bad...)
}

// add takes in one line of a file.
func (c *Catalogue) add(line string) error {
	line = strings.TrimSpace(line)
	if line == "" || strings.HasPrefix(line, "#") {
		return nil
	}
	key, body, ok := strings.Cut(line, "=")
	if !ok {
		return errors.New("neither a comment nor key = text")
	}
	key, body = strings.TrimSpace(key), strings.TrimSpace(body)
	if !isName(key) {
		return fmt.Errorf("key %q: letters, digits, dots, hyphens and underscores only", key)
	}
	if body == "" {
		return fmt.Errorf("key %s: no text", key)
	}
	if _, ok := c.keys[key]; ok {
		return fmt.Errorf("key %s: stands twice in this language", key)
	}
	t, err := parse(body)
	if err != nil {
		return fmt.Errorf("key %s: %w", key, err)
	}
	c.keys[key] = t
	return nil
}

func isName(s string) bool {
	for _, r := range s {
		switch {
		case r >= 'a' && r <= 'z', r >= 'A' && r <= 'Z', r >= '0' && r <= '9', r == '.', r == '-', r == '_':
		default:
			return false
		}
	}
	return s != ""
}

// value finds what was handed over under a name.
func value(name string, pairs []any) (any, bool) {
	for i := 0; i+1 < len(pairs); i += 2 {
		if s, ok := pairs[i].(string); ok && s == name {
			return pairs[i+1], true
		}
	}
	return nil, false
}

func show(v any) string {
	switch v := v.(type) {
	case string:
		return v
	case fmt.Stringer:
		return v.String()
	case float64:
		return strconv.FormatFloat(v, 'f', -1, 64)
	case float32:
		return strconv.FormatFloat(float64(v), 'f', -1, 32)
	default:
		return fmt.Sprint(v)
	}
}
