package ingest

import (
	"maps"
	"slices"
	"strings"

	"latewood/events"
	"latewood/events/units"
)

// A Heading is one column that a table of a kind can have.
type Heading struct {
	Text     string      // as a template writes it: mass_kg, mix[0].product
	Field    string      // the path in the record: data.mass, data.mix[0].product, time
	Required bool        // no record without it, or without what it stands in
	Form     events.Form // of one cell, or of one item in a cell that is a list
	List     bool        // a cell may hold several, divided by semicolons
	Words    []string    // what a cell may be; empty: the form says it
	Units    []string    // the codes that may stand in the place of the heading's unit
	Doc      string      // one line, may be empty
	shape    *events.Shape
}

// Headings lists the columns that Open takes for a kind or table, in the order of the catalogue, the times first. A list of
// groups (the products of a mix, the lines of a label) is listed with its first item; more items count on: mix[1].product.
func Headings(c *events.Catalogue, as string) ([]Heading, error) {
	k, p := kindOf(c, as)
	if p != nil {
		return nil, *p
	}
	return newSheet(k).headings(), nil
}

func (s *sheet) headings() []Heading {
	if s.all != nil {
		return s.all
	}
	out := []Heading{{Text: "time", Field: "time", Required: len(s.kind.TimeFrom) == 0, Form: events.FormMoment}}
	for i := range s.kind.Shape.Fields {
		out = s.outline(out, &s.kind.Shape.Fields[i], "", true)
	}
	s.all = append(out,
		Heading{Text: "id", Field: "id", Form: events.FormID},
		Heading{Text: "actor", Field: "actor", Form: events.FormPerson},
		Heading{Text: "notedtime", Field: "notedtime", Form: events.FormInstant},
		Heading{Text: "devicetime", Field: "devicetime", Form: events.FormText},
	)
	return s.all
}

// envelopeColumns are the columns of the envelope. A field of that name is written with the word data before it.
var envelopeColumns = []string{"time", "id", "actor", "notedtime", "devicetime"}

// outline adds the headings of a field and of what is in it. prefix is the heading around it, required whether that must
// stand.
func (s *sheet) outline(out []Heading, f *events.Field, prefix string, required bool) []Heading {
	shape, text := f.Shape, prefix+f.Name
	h := Heading{Text: text, Field: "data." + text, Required: required && f.Required, Form: shape.Form, Doc: f.Doc, shape: shape}
	if prefix == "" && slices.Contains(envelopeColumns, f.Name) {
		h.Text = "data." + f.Name
	}
	list := shape.Form == events.FormList || shape.Form == events.FormOneOrMany
	if list && simple(shape.Elem) {
		h.List, h.Form, h.Words = true, shape.Elem.Form, shape.Elem.Enum
		if strings.HasPrefix(text, "where.") {
			h.Text = f.Name
		}
		return append(out, h)
	}
	if list {
		shape = shape.Elem
		if f.Name != "where" {
			text += "[0]"
		}
		h.Text, h.Field, h.Form = text, "data."+text, shape.Form
	}
	if prefix == "where." && ownField(s.kind.Shape, fold(f.Name)) == nil {
		h.Text = f.Name
	}
	switch shape.Form {
	case events.FormObject:
		for i := range shape.Fields {
			out = s.outline(out, &shape.Fields[i], text+".", h.Required)
		}
		return out
	case events.FormQuantity:
		h.Text = withUnitOf(h.Text, shape.Dims)
		h.Units = codes(shape.Dims)
	}
	h.Words = shape.Enum
	return append(out, h)
}

// written is the unit that a template and a message write for a dimension: the word of the heading and the code.
var written = map[units.Dimension][2]string{
	units.Mass: {"kg", "kg"}, units.Volume: {"L", "L"}, units.Area: {"ha", "har"}, units.Length: {"m", "m"}, units.Temperature: {"C", "Cel"},
	units.Speed: {"mps", "m/s"}, units.Share: {"pct", "%"}, units.Angle: {"deg", "deg"}, units.Duration: {"h", "h"}, units.Pressure: {"hPa", "hPa"},
	units.Irradiance: {"Wm2", "W/m2"}, units.RadiantExposure: {"MJm2", "MJ/m2"}, units.MassPerArea: {"kgha", "kg/har"}, units.VolumePerArea: {"Lha", "L/har"},
	units.MassPerVolume: {"gL", "g/L"}, units.VolumePerVolume: {"mLL", "mL/L"}, units.MassPerMass: {"mgkg", "mg/kg"}, units.Flow: {"Lmin", "L/min"},
}

// withUnitOf writes a heading with a unit of the first dimension, a length of rain in mm.
func withUnitOf(heading string, dims []units.Dimension) string {
	if len(dims) == 0 {
		return heading
	}
	if dims[0] == units.Length && strings.HasSuffix(strings.ToLower(heading), "rain") {
		return heading + "_mm"
	}
	return heading + "_" + written[dims[0]][0]
}

// inBrackets is withUnitOf with the code of the same unit.
func inBrackets(heading string, dims []units.Dimension) string {
	if len(dims) == 0 {
		return heading
	}
	if strings.HasSuffix(withUnitOf(heading, dims), "_mm") {
		return heading + "[mm]"
	}
	return heading + "[" + written[dims[0]][1] + "]"
}

// unknown refuses a heading and names the one that was probably meant.
func (s *sheet) unknown(whole string) *fault {
	base, unit, bracket := cutBracket(whole)
	if !bracket {
		base = whole
	}
	// What could have been meant: by its bare name, and as it is written with a unit.
	type word struct {
		bare string
		dims []units.Dimension
	}
	var words []word
	for _, h := range s.headings() {
		bare, dims := h.Text, []units.Dimension(nil)
		if h.shape != nil && h.shape.Form == events.FormQuantity {
			bare, dims = h.Text[:strings.LastIndexByte(h.Text, '_')], h.shape.Dims
		}
		words = append(words, word{bare, dims})
	}
	for _, name := range slices.Sorted(maps.Keys(s.alias)) {
		first, _, _ := strings.Cut(s.alias[name], "+")
		if f, fault := s.walk(first); fault == nil && f.shape.Form == events.FormQuantity {
			words = append(words, word{name, f.shape.Dims})
		} else {
			words = append(words, word{name, nil})
		}
	}
	names := make([]string, len(words))
	for i, w := range words {
		names[i] = w.bare
	}
	for _, text := range candidates(base) {
		near := nearest(text, names)
		if near == "" {
			continue
		}
		w := words[slices.Index(names, near)]
		heading := withUnitOf(w.bare, w.dims)
		if !bracket {
			_, unit, _ = strings.Cut(base[min(len(text), len(base)):], "_")
		}
		if code, ok := unitCode(unit, bracket); ok && slices.Contains(codes(w.dims), code) {
			heading = w.bare + "[" + code + "]"
			if !bracket {
				heading = w.bare + "_" + unit
			}
		}
		return &fault{why: say("ingest.heading", "kind", s.kind.Name), instead: say("refuse.did-you-mean", "near", heading)}
	}
	var must []string
	for _, h := range s.headings() {
		if h.Required {
			must = append(must, h.Text)
		}
	}
	return &fault{
		why:     say("ingest.heading", "kind", s.kind.Name),
		instead: say("ingest.heading-unknown-instead", "kind", s.kind.Name, "headings", strings.Join(must, ", ")),
	}
}

// candidates is what of a heading may be the name: all of it and what stands before its last underscore, that first if a
// unit stands behind it.
func candidates(base string) []string {
	i := strings.LastIndexByte(base, '_')
	if i <= 0 {
		return []string{base}
	}
	if _, ok := unitCode(base[i+1:], false); ok {
		return []string{base[:i], base}
	}
	return []string{base, base[:i]}
}
