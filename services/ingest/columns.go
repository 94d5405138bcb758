package ingest

import (
	"slices"
	"strconv"
	"strings"

	"latewood/events"
	"latewood/events/canon"
	"latewood/events/units"
)

// A step is one part of a path: a member, and in a list the item.
type step struct {
	name  string
	index int  // -1: the member is no list, or the cell holds the whole list
	one   bool // a list of one item stands without the list
}

// A part says which half of a time a column holds.
type part uint8

const (
	wholeTime part = iota
	datePart
	clockPart
)

// A field is where the cells of a column go.
type field struct {
	attr    string // of the envelope; empty: into the data, by steps
	steps   []step
	shape   *events.Shape // of the cell's value
	unit    string        // the code, for quantities and counted values
	counted bool          // an object of value and unit, as a withholding line in days
	isUnit  bool          // the unit of the quantity that steps lead to
	dims    []units.Dimension
	part    part
	names   names
}

// timed reports whether the field holds a time that may come in two halves.
func (f *field) timed() bool {
	return f.attr == "time" || f.attr == "" && (f.shape.Form == events.FormMoment || f.shape.Form == events.FormInstant)
}

// last is the name of the innermost member.
func (f *field) last() string {
	if len(f.steps) == 0 {
		return f.attr
	}
	return f.steps[len(f.steps)-1].name
}

// path is the field as records and problems name it.
func (f *field) path() string { return pathOf(f.attr, f.steps) }

func pathOf(attr string, steps []step) string {
	if attr != "" {
		return attr
	}
	var b strings.Builder
	b.WriteString("data")
	for _, s := range steps {
		b.WriteByte('.')
		b.WriteString(s.name)
		if s.index > 0 || s.index == 0 && !s.one {
			b.WriteByte('[')
			b.WriteString(strconv.Itoa(s.index))
			b.WriteByte(']')
		}
	}
	return b.String()
}

// A sheet knows what headings mean for one kind.
type sheet struct {
	kind  *events.Kind
	where *events.Shape // of one part of a `where`; nil: the kind has none
	alias map[string]string
	// paired is the quantities whose unit stands in a column of its own: their other column then is the bare number.
	paired map[string]bool
	all    []Heading // worked out when first asked for
}

func newSheet(k *events.Kind) *sheet {
	s := &sheet{kind: k, alias: alias[k.Name]}
	if f := k.Shape.Field("where"); f != nil && f.Shape.Elem != nil && f.Shape.Elem.Field("block") != nil {
		s.where = f.Shape.Elem
	}
	return s
}

// pair looks for columns of units.
func (s *sheet) pair(texts []string) {
	for _, text := range texts {
		fields, _ := s.reads(text)
		for _, f := range fields {
			if f.isUnit {
				if s.paired == nil {
					s.paired = map[string]bool{}
				}
				s.paired[pathOf("", f.steps[:len(f.steps)-1])] = true
			}
		}
	}
}

// Ranks of faults: how sure it is what the heading was meant to be.
const (
	unknownHeading = iota
	unknownUnit
	missingUnit
	unfitUnit
	unfitField
)

// resolve finds what a heading, or the right side of a map, leads to: one field, or several joined by plus signs.
func (s *sheet) resolve(text string) ([]*field, *fault) {
	var out []*field
	for piece := range strings.SplitSeq(text, "+") {
		piece = strip(piece)
		fields, f := s.one(piece)
		if f != nil {
			if f.unknown() {
				f = s.unknown(piece)
			}
			return nil, f
		}
		out = append(out, fields...)
	}
	return out, nil
}

// reads reports whether a heading means something, without working out what else it could have meant.
func (s *sheet) reads(text string) ([]*field, bool) {
	var out []*field
	for piece := range strings.SplitSeq(text, "+") {
		fields, f := s.one(strip(piece))
		if f != nil {
			return nil, false
		}
		out = append(out, fields...)
	}
	return out, true
}

func (s *sheet) one(text string) ([]*field, *fault) {
	if base, unit, ok := cutBracket(text); ok {
		return s.try(base, unit, true)
	}
	fields, best := s.try(text, "", false)
	if best == nil {
		return fields, nil
	}
	// The unit begins at one of the underscores of the last part; a name may have some of its own.
	start := strings.LastIndexByte(text, '.') + 1
	for i := start; i < len(text); i++ {
		if text[i] != '_' || i == start || i == len(text)-1 {
			continue
		}
		fields, f := s.try(text[:i], text[i+1:], false)
		if f == nil {
			return fields, nil
		}
		if f.rank > best.rank {
			best = f
		}
	}
	return nil, best
}

// cutBracket takes a unit in brackets off the end: rain[mm], windSpeed[[mi_i]/h]. An index is no unit.
func cutBracket(text string) (base, unit string, ok bool) {
	if !strings.HasSuffix(text, "]") {
		return "", "", false
	}
	depth := 0
	for i := len(text) - 1; i >= 0; i-- {
		switch text[i] {
		case ']':
			depth++
		case '[':
			depth--
		}
		if depth == 0 {
			unit = text[i+1 : len(text)-1]
			return strip(text[:i]), strip(unit), !allDigits(unit)
		}
	}
	return "", "", false
}

// unitCode finds the code of a unit as headings write it.
func unitCode(text string, bracket bool) (string, bool) {
	if text == "" {
		return "", false
	}
	if bracket {
		for _, code := range []string{text, "[" + text + "]"} {
			if _, ok := units.Lookup(code); ok {
				return code, true
			}
		}
	}
	if code, ok := units.Suffix(text); ok {
		return code, true
	}
	if top, bottom, ok := strings.Cut(text, "_per_"); ok { // rate_l_per_ha
		a, ok1 := units.Suffix(top)
		b, ok2 := units.Suffix(bottom)
		if _, ok := units.Lookup(a + "/" + b); ok1 && ok2 && ok {
			return a + "/" + b, true
		}
	}
	return "", false
}

// try reads base as a path and unit as its unit. A fault without words is an unknown heading.
func (s *sheet) try(base, unit string, bracket bool) ([]*field, *fault) {
	folded := fold(base)
	target, ok := s.alias[folded]
	if !ok {
		if target, ok = general[folded]; ok && ownField(s.kind.Shape, folded) != nil {
			ok = false
		} else if ok && folded == "date" {
			target = "time.date"
		}
	}
	if !ok {
		target = base
	}
	var out []*field
	for piece := range strings.SplitSeq(target, "+") {
		f, fault := s.walk(piece)
		if fault == nil && unit == "" && !bracket && f.shape.Form == events.FormQuantity && s.paired[f.path()] {
			fault = f.enter("value", true)
		}
		if fault == nil {
			fault = f.setUnit(base, unit, bracket)
		}
		if fault != nil {
			return nil, fault
		}
		out = append(out, f)
	}
	return out, nil
}

// ownField finds a field of an object by its folded name.
func ownField(s *events.Shape, folded string) *events.Field {
	for i := range s.Fields {
		if fold(s.Fields[i].Name) == folded {
			return &s.Fields[i]
		}
	}
	return nil
}

// maxIndex is the highest item of a list that a heading can name.
const maxIndex = 99

// walk follows a path through the kind's shape. A fault without words is an unknown heading.
func (s *sheet) walk(path string) (*field, *fault) {
	names := strings.Split(path, ".")
	first := fold(names[0])
	switch first {
	case "time", "id", "actor", "notedtime", "devicetime":
		f := &field{attr: first, shape: &events.Shape{Form: events.FormText}}
		switch {
		case len(names) == 1:
			return f, nil
		case len(names) == 2 && first == "time" && f.half(names[1]):
			return f, nil
		}
		return nil, &fault{}
	case "data":
		if len(names) > 1 {
			names = names[1:]
			first = fold(names[0])
		}
	}
	bare, _, _ := strings.Cut(first, "[")
	if s.where != nil && ownField(s.kind.Shape, bare) == nil {
		switch {
		case first == "row" || first == "tree":
			names[0] = first + "s"
			fallthrough
		case ownField(s.where, first) != nil:
			names = append([]string{"where"}, names...)
		}
	}
	f := &field{shape: s.kind.Shape}
	for i, name := range names {
		if fault := f.enter(name, i == len(names)-1); fault != nil {
			return nil, fault
		}
	}
	return f, nil
}

// half takes "date" or "clock" behind a time.
func (f *field) half(name string) bool {
	switch fold(name) {
	case "date":
		f.part = datePart
	case "clock":
		f.part = clockPart
	}
	return f.part != wholeTime
}

// enter goes one name further.
func (f *field) enter(name string, last bool) *fault {
	index := -1
	if open := strings.IndexByte(name, '['); open >= 0 {
		digits, ok := strings.CutSuffix(name[open+1:], "]")
		if !ok || !allDigits(digits) || len(digits) > 3 {
			return &fault{}
		}
		index, _ = strconv.Atoi(digits)
		name = name[:open]
		if index > maxIndex {
			return &fault{why: say("ingest.index", "most", maxIndex), instead: say("ingest.index-instead"), rank: unfitField}
		}
	}
	if f.part != wholeTime || f.isUnit {
		return &fault{}
	}
	switch f.shape.Form {
	case events.FormObject:
	case events.FormQuantity:
		switch fold(name) {
		case "value":
			f.steps, f.dims, f.shape = append(f.steps, step{name: "value", index: -1}), f.shape.Dims, &events.Shape{Form: events.FormNumber}
			return nil
		case "unit":
			f.steps, f.dims, f.shape = append(f.steps, step{name: "unit", index: -1}), f.shape.Dims, &events.Shape{Form: events.FormText}
			f.isUnit = true
			return nil
		}
		return &fault{}
	case events.FormMoment, events.FormInstant:
		if !last || !f.half(name) {
			return &fault{}
		}
		return nil
	default:
		return &fault{}
	}
	m := ownField(f.shape, fold(name))
	if m == nil {
		return &fault{}
	}
	shape := m.Shape
	list := shape.Form == events.FormList || shape.Form == events.FormOneOrMany
	switch {
	case !list && index >= 0:
		return &fault{}
	case list && index < 0 && last && simple(shape.Elem):
	case list:
		index = max(index, 0)
		f.steps = append(f.steps, step{name: m.Name, index: index, one: shape.Form == events.FormOneOrMany})
		f.shape = shape.Elem
		return nil
	}
	f.steps = append(f.steps, step{name: m.Name, index: -1})
	f.shape = shape
	return nil
}

// simple reports whether a cell can hold several of these, divided by semicolons.
func simple(s *events.Shape) bool {
	switch s.Form {
	case events.FormObject, events.FormQuantity, events.FormAny, events.FormData, events.FormGeometry, events.FormList, events.FormOneOrMany:
		return false
	}
	return true
}

// setUnit checks that the field can hold a cell, with this unit. A fault without words is an unknown heading.
func (f *field) setUnit(base, text string, bracket bool) *fault {
	code, known := unitCode(text, bracket)
	has := text != "" || bracket
	switch {
	case f.part != wholeTime:
		if has {
			return &fault{}
		}
	case f.shape.Form == events.FormQuantity:
		instead := say("ingest.unit-missing-instead", "heading", withUnitOf(base, f.shape.Dims), "other", inBrackets(base, f.shape.Dims))
		if !has {
			return &fault{why: say("ingest.unit-missing"), instead: instead, rank: missingUnit}
		}
		if !known {
			instead := say("refuse.one-word-of", "words", strings.Join(codes(f.shape.Dims), " "))
			if near := units.Nearest(text); near != "" {
				instead = say("ingest.heading-instead", "heading", base+"["+near+"]")
			}
			return &fault{why: say("ingest.unit-unknown", "unit", text), instead: instead, rank: unknownUnit}
		}
		unit, _ := units.Lookup(code)
		if !slices.Contains(f.shape.Dims, unit.Dimension) {
			return &fault{why: say("ingest.unit-unfit", "unit", text, "is", say("refuse.dimension."+string(unit.Dimension))), instead: instead, rank: unfitUnit}
		}
		f.unit = code
	case f.shape.Form == events.FormObject:
		unit := f.shape.Field("unit")
		if known && unit != nil && slices.Contains(unit.Shape.Enum, code) && f.shape.Field("value") != nil {
			f.counted, f.unit = true, code
			return nil
		}
		names := make([]string, len(f.shape.Fields))
		for i := range f.shape.Fields {
			names[i] = base + "." + f.shape.Fields[i].Name
		}
		return &fault{why: say("ingest.group"), instead: say("ingest.group-instead", "headings", strings.Join(names, ", ")), rank: unfitField}
	case has && f.bareUnit() != "" && f.bareUnit() == code:
		// interval_s, reentry.hours_h: the unit that the field has anyway
	case has && (bracket || known):
		return &fault{why: say("ingest.unit-for-none"), instead: say("ingest.heading-instead", "heading", base), rank: unfitField}
	case has:
		return &fault{}
	}
	return nil
}

// bareUnit is the unit that a bare number has by its name.
func (f *field) bareUnit() string {
	switch name := f.last(); {
	case f.shape.Form != events.FormNumber:
		return ""
	case name == "interval":
		return "s"
	case name == "hours" || strings.HasSuffix(name, "Hours"):
		return "h"
	}
	return ""
}

// member finds or makes the member of an object called name, to be changed in place.
func member(v *canon.Value, name string, create bool) *canon.Value {
	for i := range v.Members {
		if v.Members[i].Name == name {
			return &v.Members[i].Value
		}
	}
	if !create {
		return nil
	}
	v.Kind = canon.Object
	v.Members = append(v.Members, canon.Member{Name: name})
	return &v.Members[len(v.Members)-1].Value
}

// put sets the value that steps lead to, and makes what is missing on the way.
func put(v *canon.Value, steps []step, leaf canon.Value) {
	for _, s := range steps {
		v = member(v, s.name, true)
		if s.index < 0 {
			continue
		}
		v.Kind = canon.List
		for len(v.Items) <= s.index {
			v.Items = append(v.Items, canon.Value{})
		}
		v = &v.Items[s.index]
	}
	if v.Kind == canon.Object && leaf.Kind == canon.Object { // a counted value beside the other fields of its line
		for _, m := range leaf.Members {
			v.Set(m.Name, m.Value)
		}
		return
	}
	*v = leaf
}

// lonely takes lists of one item apart where the kind lets the item stand alone.
func lonely(v *canon.Value, s *events.Shape) {
	switch s.Form {
	case events.FormOneOrMany:
		if v.Kind != canon.List {
			lonely(v, s.Elem)
			return
		}
		for i := range v.Items {
			lonely(&v.Items[i], s.Elem)
		}
		if len(v.Items) == 1 {
			*v = v.Items[0]
		}
	case events.FormList:
		for i := range v.Items {
			lonely(&v.Items[i], s.Elem)
		}
	case events.FormObject:
		for i := range v.Members {
			if f := s.Field(v.Members[i].Name); f != nil {
				lonely(&v.Members[i].Value, f.Shape)
			}
		}
	}
}
