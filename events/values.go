package events

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"unicode/utf8"

	"golang.org/x/text/unicode/norm"

	"latewood/events/canon"
	"latewood/events/units"
)

// value checks v against a shape and brings it into its normal form.
func (c *check) value(v *canon.Value, s *Shape, path string) {
	if v.Kind == canon.Null {
		c.add(path, nil, say("refuse.null"), say("refuse.null-instead"))
		return
	}
	switch s.Form {
	case FormObject:
		c.object(v, s, path)
	case FormQuantity:
		c.quantity(v, s, path)
	case FormOneOrMany:
		if v.Kind != canon.List {
			c.value(v, s.Elem, path)
			return
		}
		c.list(v, s, path)
		if len(v.Items) == 1 {
			*v = v.Items[0]
		}
	case FormList:
		c.list(v, s, path)
	case FormNumber, FormCount:
		c.number(v, s, path)
	case FormBool:
		if v.Kind != canon.Bool {
			c.wrong(*v, path, wanted(s))
		}
	case FormAny:
		c.free(*v, path)
	case FormGeometry:
		if v.Kind != canon.Object || v.Get("type").Kind != canon.String {
			c.wrong(*v, path, wanted(s))
			return
		}
		c.free(*v, path)
	case FormData:
		if c.inner != nil {
			c.correctedData(v, path)
		} else if v.Kind != canon.Object {
			c.wrong(*v, path, wanted(s))
		}
	default:
		c.text(v, s, path)
	}
}

// wrong reports a value of the wrong JSON type.
func (c *check) wrong(v canon.Value, path string, instead Sentence) {
	c.add(path, Plain(v), say("refuse.wrong-type", "type", say("refuse.type."+v.Kind.String())), instead)
}

// Plain turns a value into what a message shows of it: text, number, truth; for a list or object its JSON; nil where
// nothing or null stands.
func Plain(v canon.Value) any {
	switch v.Kind {
	case canon.String:
		return v.Str
	case canon.Number:
		return v.Num
	case canon.Bool:
		return v.Bool
	case canon.List, canon.Object:
		return string(canon.Bytes(v))
	}
	return nil
}

func (c *check) object(v *canon.Value, s *Shape, path string) {
	if v.Kind != canon.Object {
		c.wrong(*v, path, wanted(s))
		return
	}
	if len(v.Members) == 0 && len(s.Fields) > 0 {
		c.add(path, "{}", say("refuse.empty"), say("refuse.leave-out"))
		return
	}
	told := len(c.problems)
	for i := range v.Members {
		m := &v.Members[i]
		f := s.Field(m.Name)
		if f == nil {
			instead := say("refuse.fields-instead", "fields", strings.Join(fieldNames(s), ", "))
			if near := nearest(m.Name, fieldNames(s)); near != "" {
				instead = say("refuse.did-you-mean", "near", near)
			}
			c.add(path+"."+m.Name, Plain(m.Value), say("refuse.unknown-field"), instead)
			continue
		}
		c.value(&m.Value, f.Shape, path+"."+m.Name)
	}
	for i := range s.Fields {
		if f := &s.Fields[i]; f.Required && v.Get(f.Name).Kind == canon.Absent {
			c.add(path+"."+f.Name, nil, say("refuse.required"), wanted(f.Shape))
		}
	}
	for _, group := range s.OneOf {
		if !stands(*v, group) {
			c.add(path+"."+group[0], nil, say("refuse.one-of", "fields", strings.Join(group, ", ")), say("refuse.one-of-instead"))
		}
	}
	for _, g := range s.Given {
		word := v.Get(g.Field)
		if word.Kind != canon.String || !slices.Contains(g.Words, word.Str) {
			continue
		}
		for _, name := range g.Require {
			if v.Get(name).Kind == canon.Absent {
				c.add(path+"."+name, nil, say("refuse.required-given", "field", g.Field, "word", word.Str), wanted(s.Field(name).Shape))
			}
		}
	}
	if len(c.problems) == told {
		c.relations(*v, s, path)
	}
}

func stands(v canon.Value, names []string) bool {
	return slices.ContainsFunc(names, func(n string) bool { return v.Get(n).Kind != canon.Absent })
}

func fieldNames(s *Shape) []string {
	out := make([]string, len(s.Fields))
	for i := range s.Fields {
		out[i] = s.Fields[i].Name
	}
	return out
}

func (c *check) list(v *canon.Value, s *Shape, path string) {
	if v.Kind != canon.List {
		c.wrong(*v, path, wanted(s))
		return
	}
	if len(v.Items) == 0 {
		c.add(path, "[]", say("refuse.empty"), say("refuse.leave-out"))
		return
	}
	for i := range v.Items {
		c.value(&v.Items[i], s.Elem, fmt.Sprintf("%s[%d]", path, i))
	}
}

// maxWhole is the largest number of which a double holds every whole part: 2^53-1.
const maxWhole = units.MaxBase

func (c *check) number(v *canon.Value, s *Shape, path string) {
	switch {
	case v.Kind != canon.Number:
		c.wrong(*v, path, wanted(s))
	case !finite(v.Num):
		c.add(path, fmt.Sprint(v.Num), say("refuse.not-a-number"), wanted(s))
	case s.Form == FormCount && (v.Num != math.Trunc(v.Num) || v.Num < 0):
		c.add(path, v.Num, say("refuse.count"), wanted(s))
	case math.Abs(v.Num) > maxWhole:
		c.add(path, v.Num, say("refuse.too-large"), say("refuse.too-large-instead"))
	case s.Positive && v.Num == 0:
		c.add(path, v.Num, say("refuse.zero"), say("refuse.zero-instead"))
	case s.Min != nil && v.Num < *s.Min:
		c.add(path, v.Num, say("refuse.below", "low", units.FormatNumber(*s.Min)), say("refuse.check-number"))
	case s.Max != nil && v.Num > *s.Max:
		c.add(path, v.Num, say("refuse.above", "high", units.FormatNumber(*s.Max)), say("refuse.check-number"))
	}
}

// finite is false for what comes out of a calculation gone wrong; JSON has no text for it.
func finite(f float64) bool { return !math.IsNaN(f) && !math.IsInf(f, 0) }

func (c *check) quantity(v *canon.Value, s *Shape, path string) {
	if v.Kind != canon.Object {
		c.wrong(*v, path, wanted(s))
		return
	}
	before := len(c.problems)
	c.object(v, s.written, path)
	if len(c.problems) > before {
		return
	}
	code := v.Get("unit").Str
	unit, ok := units.Lookup(code)
	if !ok {
		instead := say("refuse.one-word-of", "words", strings.Join(codesOf(s.Dims), " "))
		if near := units.Nearest(code); near != "" {
			instead = say("refuse.did-you-mean", "near", near)
		}
		c.add(path+".unit", code, say("refuse.unit-unknown"), instead)
		return
	}
	if !slices.Contains(s.Dims, unit.Dimension) {
		want := make([]string, len(s.Dims))
		for i, d := range s.Dims {
			want[i] = dimension(d).String()
		}
		c.add(path+".unit", code, say("refuse.dimension", "is", dimension(unit.Dimension), "want", strings.Join(want, ", ")),
			say("refuse.one-word-of", "words", strings.Join(codesOf(s.Dims), " ")))
		return
	}
	f := v.Get("value").Num
	base, err := units.Base(f, code)
	if err != nil {
		c.add(path+".value", f, say("refuse.too-large"), say("refuse.too-large-instead"))
		return
	}
	low, high := s.Range(unit.Dimension)
	switch {
	case s.Positive && f == 0:
		c.add(path+".value", f, say("refuse.zero"), say("refuse.zero-instead"))
	case low != nil && low.Unit == "":
		if f < 0 {
			c.add(path+".value", f, say("refuse.negative", "what", dimension(unit.Dimension)), say("refuse.check-sign"))
		}
	case low != nil && base < baseOf(low):
		c.add(path+".value", f, say("refuse.below", "low", low), say("refuse.check-unit"))
	case high != nil && base > baseOf(high):
		c.add(path+".value", f, say("refuse.above", "high", high), say("refuse.check-unit"))
	}
}

// dimension names a dimension to people.
func dimension(d units.Dimension) Sentence { return say("refuse.dimension." + string(d)) }

// baseOf is a limit in base units; limits are checked when the types are read.
func baseOf(q *Quantity) int64 {
	n, err := units.Base(q.Value, q.Unit)
	if err != nil {
		panic(fmt.Sprintf("events: limit %v: %v", q, err))
	}
	return n
}

// codesOf lists the unit codes of dimensions, for people.
func codesOf(dims []units.Dimension) []string {
	var out []string
	for _, d := range dims {
		out = append(out, units.Codes(d)...)
	}
	return out
}

// free looks only for what the ledger never holds: null and emptiness, at any depth, and what cannot be written.
func (c *check) free(v canon.Value, path string) {
	switch v.Kind {
	case canon.Null:
		c.add(path, nil, say("refuse.null"), say("refuse.null-instead"))
	case canon.String:
		if c.readable(v.Str, path) && strings.TrimSpace(v.Str) == "" {
			c.add(path, v.Str, say("refuse.empty"), say("refuse.leave-out"))
		}
	case canon.Number:
		c.number(&v, &Shape{Form: FormNumber}, path)
	case canon.List:
		if len(v.Items) == 0 {
			c.add(path, "[]", say("refuse.empty"), say("refuse.leave-out"))
		}
		for i := range v.Items {
			c.free(v.Items[i], fmt.Sprintf("%s[%d]", path, i))
		}
	case canon.Object:
		if len(v.Members) == 0 {
			c.add(path, "{}", say("refuse.empty"), say("refuse.leave-out"))
		}
		for _, m := range v.Members {
			if c.readable(m.Name, path) {
				c.free(m.Value, path+"."+m.Name)
			}
		}
	}
}

// readable refuses bytes that are no text in UTF-8, as a file in another encoding brings them, and the character zero,
// which ends a text in many programs that will read the ledger.
func (c *check) readable(s, path string) bool {
	switch {
	case !utf8.ValidString(s):
		c.add(path, s, say("refuse.not-utf8"), say("refuse.not-utf8-instead"))
		return false
	case strings.ContainsRune(s, 0):
		c.add(path, s, say("refuse.zero-character"), say("refuse.zero-character-instead"))
		return false
	}
	return true
}

// text checks every form that is a JSON string.
func (c *check) text(v *canon.Value, s *Shape, path string) {
	if v.Kind != canon.String {
		c.wrong(*v, path, wanted(s))
		return
	}
	if !c.readable(v.Str, path) {
		return
	}
	if strings.TrimSpace(v.Str) == "" {
		c.add(path, v.Str, say("refuse.empty"), say("refuse.leave-out"))
		return
	}
	if len(s.Enum) > 0 {
		if slices.Contains(s.Enum, v.Str) {
			return
		}
		instead := wanted(s)
		if near := nearest(v.Str, s.Enum); near != "" {
			instead = say("refuse.did-you-mean", "near", near)
		}
		c.add(path, v.Str, say("refuse.word"), instead)
		return
	}
	read := v.Str
	switch s.Form {
	case FormDate, FormPartial, FormMoment, FormInstant, FormSeason:
		c.when(v, s.Form, path)
		return
	case FormText:
		return
	case FormName, FormLabel, FormLot, FormCode:
		v.Str = strings.TrimSpace(norm.NFC.String(v.Str))
	case FormID, FormSHA256:
		v.Str = strings.ToLower(v.Str)
	}
	if follows(s.Form, v.Str, c.door.Catalogue) {
		return
	}
	instead := wanted(s)
	if s.Form == FormCode {
		if near := NearestCode(v.Str); near != "" {
			instead = say("refuse.did-you-mean", "near", near)
		}
	}
	c.add(path, read, say("refuse.not."+string(s.Form)), instead)
}
