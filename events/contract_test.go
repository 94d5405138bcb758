package events_test

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"unicode"

	"latewood/events"
)

// TestContract holds the Go types against testdata/contract.txt, which was written by hand from the description of the
// records. A line of the difference says which of both has what the other lacks.
func TestContract(t *testing.T) {
	t.Parallel()
	raw, err := os.ReadFile(filepath.Join("testdata", "contract.txt"))
	if err != nil {
		t.Fatal(err)
	}
	want, err := readContract(string(raw))
	if err != nil {
		t.Fatal(err)
	}
	got := map[string][]string{}
	for _, k := range events.Standard().Kinds() {
		lines := []string{fmt.Sprintf("version %d, time %s, after %s", k.Version, strings.Join(k.TimeFrom, ","), k.Starts)}
		tellShape(k.Shape, "", &lines)
		got[k.Name] = lines
	}
	lines := 0
	for _, name := range slices.Sorted(func(yield func(string) bool) {
		for name := range want {
			if !yield(name) {
				return
			}
		}
		for name := range got {
			if want[name] == nil && !yield(name) {
				return
			}
		}
	}) {
		g, w := got[name], want[name]
		switch {
		case g == nil:
			t.Errorf("%s: the contract has it, the catalogue has not", name)
			continue
		case w == nil:
			t.Errorf("%s: the catalogue has it, the contract has not", name)
			continue
		}
		for _, line := range w {
			lines++
			if !slices.Contains(g, line) {
				t.Errorf("%s: only in the contract: %s", name, line)
			}
		}
		for _, line := range g {
			if !slices.Contains(w, line) {
				t.Errorf("%s: only in the catalogue: %s", name, line)
			}
		}
	}
	t.Logf("counts: contract: %d kinds, %d fields and rules", len(want), lines)
}

// tellShape writes an object's fields as lines "path form", "path! form" where it must stand.
func tellShape(s *events.Shape, below string, lines *[]string) {
	for _, f := range s.Fields {
		if below == "" && (f.Name == "by" || f.Name == "note" || f.Name == "attachments") {
			continue
		}
		mark := ""
		if f.Required {
			mark = "!"
		}
		inner, wrap := f.Shape, "%s"
		switch inner.Form {
		case events.FormList:
			inner, wrap = inner.Elem, "[%s]"
		case events.FormOneOrMany:
			inner, wrap = inner.Elem, "%s+"
		}
		form := string(inner.Form)
		switch {
		case inner.Form == events.FormObject:
			form = "{}"
		case len(inner.Enum) > 0:
			form = "(" + strings.Join(inner.Enum, " ") + ")"
		case inner.Form == events.FormQuantity:
			dims := make([]string, len(inner.Dims))
			for i, d := range inner.Dims {
				dims[i] = string(d)
			}
			form = "~" + strings.Join(dims, "|")
		}
		*lines = append(*lines, below+f.Name+mark+" "+fmt.Sprintf(wrap, form))
		if inner.Form == events.FormObject {
			tellShape(inner, below+f.Name+".", lines)
		}
	}
	for _, group := range s.OneOf {
		*lines = append(*lines, below+"one of "+strings.Join(group, ", "))
	}
	for _, g := range s.Given {
		*lines = append(*lines, fmt.Sprintf("%sgiven %s %s: %s", below, g.Field, strings.Join(g.Words, " "), strings.Join(g.Require, ", ")))
	}
}

// readContract reads the table into the lines that tellShape writes.
func readContract(text string) (map[string][]string, error) {
	c := contract{shapes: map[string][]string{}, kinds: map[string][]string{}}
	var head string
	var body []string
	end := func() error {
		if head == "" {
			return nil
		}
		items := c.split(strings.Join(body, "; "), ';')
		if name, ok := strings.CutPrefix(head, "shape "); ok {
			c.shapes[name] = items
			return nil
		}
		line, after, _ := strings.Cut(head, " after ")
		f := append(strings.Fields(line), "")
		if len(f) < 3 {
			return fmt.Errorf("%q is no kind with a version", head)
		}
		lines := []string{fmt.Sprintf("version %s, time %s, after %s", f[1], f[2], after)}
		if err := c.fields(items, "", &lines); err != nil {
			return fmt.Errorf("%s: %w", f[0], err)
		}
		c.kinds[f[0]] = lines
		return nil
	}
	for line := range strings.SplitSeq(text, "\n") {
		switch {
		case strings.HasPrefix(line, "#") || strings.TrimSpace(line) == "":
		case strings.HasPrefix(line, "\t"):
			body = append(body, strings.TrimSpace(line))
		default:
			if err := end(); err != nil {
				return nil, err
			}
			head, body = line, nil
		}
	}
	return c.kinds, end()
}

type contract struct{ shapes, kinds map[string][]string }

// split cuts at a separator that stands in no brackets.
func (c contract) split(text string, at byte) []string {
	var out []string
	depth, from := 0, 0
	for i := range len(text) {
		switch text[i] {
		case '{', '[', '(':
			depth++
		case '}', ']', ')':
			depth--
		case at:
			if depth == 0 {
				out = append(out, strings.TrimSpace(text[from:i]))
				from = i + 1
			}
		}
	}
	return append(out, strings.TrimSpace(text[from:]))
}

func (c contract) fields(items []string, below string, lines *[]string) error {
	for _, item := range items {
		if shape, ok := strings.CutPrefix(item, "@"); ok {
			if c.shapes[shape] == nil {
				return fmt.Errorf("no shape %s", shape)
			}
			if err := c.fields(c.shapes[shape], below, lines); err != nil {
				return err
			}
			continue
		}
		if strings.HasPrefix(item, "one of ") || strings.HasPrefix(item, "given ") {
			*lines = append(*lines, below+item)
			continue
		}
		words, form, ok := strings.Cut(item, ": ")
		if !ok {
			return fmt.Errorf("%q is no field", item)
		}
		mark := ""
		if words, ok = strings.CutSuffix(words, "!"); ok {
			mark = "!"
		}
		name := camel(words)
		if err := c.form(form, below, name, mark, lines); err != nil {
			return err
		}
	}
	return nil
}

func (c contract) form(form, below, name, mark string, lines *[]string) error {
	wrap := "%s"
	if inner, ok := strings.CutPrefix(form, "["); ok {
		form, wrap = strings.TrimSuffix(inner, "]"), "[%s]"
	} else if inner, ok := strings.CutSuffix(form, "+"); ok {
		form, wrap = inner, "%s+"
	}
	items := c.shapes[form]
	if inner, ok := strings.CutPrefix(form, "{"); ok {
		items = c.split(strings.TrimSuffix(inner, "}"), ';')
	}
	if items == nil {
		*lines = append(*lines, below+name+mark+" "+fmt.Sprintf(wrap, form))
		return nil
	}
	*lines = append(*lines, below+name+mark+" "+fmt.Sprintf(wrap, "{}"))
	return c.fields(items, below+name+".", lines)
}

// camel writes words in lowerCamelCase: "BBCH code" is bbchCode.
func camel(words string) string {
	parts := strings.FieldsFunc(words, func(r rune) bool { return r == ' ' || r == '-' })
	for i, w := range parts {
		w = strings.ToLower(w)
		if i > 0 {
			r := []rune(w)
			r[0] = unicode.ToUpper(r[0])
			w = string(r)
		}
		parts[i] = w
	}
	return strings.Join(parts, "")
}
