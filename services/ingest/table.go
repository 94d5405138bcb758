package ingest

import (
	"cmp"
	"errors"
	"slices"
	"strings"
	"time"
	"unicode/utf8"

	"latewood/events"
	"latewood/events/canon"
	"latewood/services/internal/sheets"
)

// A column is one column that is read.
type column struct {
	heading string
	at      int // which cell of the row
	fields  []*field
}

// A table reads the rows of a grid as records of one kind.
type table struct {
	grid
	sheet     *sheet
	cells     cellReader
	columns   []column
	constants []constant
	missing   map[string]bool
	headings  []string
	leftOut   []string

	mapped  *Map
	typed   bool          // the grid is of a workbook: what stands beside the table is no cell cut in two
	name    string        // of the sheet
	down    map[int]*cell // columns of which an empty cell says what the one above it says
	unpivot *unpivot
	waiting []Row // rows of a line that is turned into several

	placed  []placed
	indexed bool // some heading names an item of a list beyond the first

	zone    *time.Location
	station string
	loggers map[string]*logger
}

// A constant is a field that is the same in every row.
type constant struct {
	field   *field
	text    string
	heading string // what messages call it, where it is the sheet's name
}

// A filled is one cell, or constant, that says something.
type filled struct {
	field   *field
	steps   []step // of the field, its items counted without the empty ones
	text    string
	heading string
	cell    *cell // nil for constants
	guarded bool  // an apostrophe was taken off, and what follows is the text
}

// newTable works out what the headings mean. at is the line on which they stand.
func newTable(g grid, headings []string, at int, kind *events.Kind, m *Map, o Options) (*table, error) {
	t := &table{
		grid: g, headings: headings, zone: o.Zone, station: o.Station, loggers: map[string]*logger{}, mapped: m,
		cells: cellReader{comma: o.DecimalComma || m.DecimalComma, order: cmp.Or(m.DateOrder, o.DateOrder), person: o.Person, codes: o.Codes},
	}
	if s, ok := g.(*sheetGrid); ok {
		t.typed, t.name = true, s.name
	}
	var refusals Refusals
	refuse := func(column string, value any, why, instead events.Sentence) {
		refusals = append(refusals, Refusal{File: o.Name, Line: at, Column: column, Problem: events.Problem{Value: value, Why: why, Instead: instead}})
	}
	t.hasColumns(m, refuse)
	if kind == nil {
		if len(refusals) > 0 {
			return nil, refusals // what the headings tell of the kind would be half of it
		}
		found, f := detect(o.Catalogue, headings, m, o)
		if f != nil {
			refuse("", strings.Join(headings, " "), f.why, f.instead)
			return nil, refusals
		}
		kind = found
	}
	t.sheet = newSheet(kind)
	t.sheet.pair(asked(headings, m))
	t.readHeadings(m, refuse)
	t.readConstants(m, refuse)
	t.readSheetName(m, refuse)
	t.readNames(m, refuse)
	t.readDown(m, refuse)
	t.readUnpivot(m, refuse)
	for _, text := range m.Missing {
		if t.missing == nil {
			t.missing = map[string]bool{}
		}
		t.missing[strip(text)] = true
	}
	t.twice(refuse)
	if kind.Name == weatherKind {
		if t.station == "" && !t.leadsTo("data.station") {
			refuse("", nil, say("ingest.station"), say("ingest.station-instead"))
		}
		if t.zone == nil {
			return nil, errNoZone
		}
	}
	if len(refusals) > 0 {
		return nil, refusals
	}
	return t, nil
}

// errNoZone is a fault of the caller, who knows the farm's zone.
var errNoZone = errors.New("ingest: a weather table needs Options.Zone")

type refuser func(column string, value any, why, instead events.Sentence)

// hasColumns refuses what the map says of columns that the table does not have.
func (t *table) hasColumns(m *Map, refuse refuser) {
	names := make([]string, 0, len(m.Columns))
	for _, c := range m.Columns {
		names = append(names, c.Heading)
	}
	if m.Unpivot != nil {
		names = append(names, m.Unpivot.Columns...)
	}
	names = append(names, m.Down...)
	for _, name := range names {
		if slices.ContainsFunc(t.headings, func(h string) bool { return sameHeading(h, name) }) {
			continue
		}
		instead := say("ingest.headings-are", "headings", joined(t.headings))
		if near := nearest(name, t.headings); near != "" {
			instead = say("refuse.did-you-mean", "near", near)
		}
		refuse(name, nil, say("ingest.map-no-column"), instead)
	}
}

// readHeadings resolves the headings, those of the map by what it says about them.
func (t *table) readHeadings(m *Map, refuse refuser) {
	seen := map[string]bool{}
	for i, h := range t.headings {
		if h == "" {
			continue // cells below it are refused row by row
		}
		if seen[h] && !m.unpivots(h) {
			refuse(h, nil, say("ingest.heading-doubled"), say("ingest.heading-doubled-instead"))
			continue
		}
		seen[h] = true
		text, mapped := m.field(h)
		switch {
		case m.unpivots(h):
			continue
		case !mapped && ledgerColumn(h):
			continue
		case mapped && text == "-", !mapped && m.ignores(h):
			t.leftOut = append(t.leftOut, h)
			continue
		case !mapped:
			text = h
		}
		fields, f := t.sheet.resolve(text)
		if f == nil && !mapped && dateAndTime(t.headings, h) && ownField(t.sheet.kind.Shape, "date") == nil && len(fields) == 1 && fields[0].attr == "time" && fields[0].part == wholeTime {
			fields[0].part = clockPart
		}
		switch {
		case f == nil:
			t.columns = append(t.columns, column{heading: h, at: i, fields: fields})
		case !mapped && m.restIgnored():
			t.leftOut = append(t.leftOut, h)
		case mapped:
			refuse(h, text, f.why, f.instead)
		default:
			refuse(h, nil, f.why, f.instead)
		}
	}
}

func sameHeading(a, b string) bool { return strings.EqualFold(strip(a), strip(b)) }

// dateAndTime reports whether h is the clock's column in a table that has the date in another.
func dateAndTime(headings []string, h string) bool {
	return fold(h) == "time" && slices.ContainsFunc(headings, func(s string) bool { return fold(s) == "date" })
}

// readConstants resolves the fields that are the same in every row and tries their values once.
func (t *table) readConstants(m *Map, refuse refuser) {
	for _, c := range m.Constants {
		fields, f := t.sheet.resolve(c.Field)
		if f != nil {
			refuse(c.Field, c.Value, f.why, f.instead)
			continue
		}
		for _, field := range fields {
			if field.part == wholeTime && field.attr == "" {
				if _, f := t.cells.value(field, strip(c.Value)); f != nil {
					refuse(c.Field, c.Value, f.why, f.instead)
				}
			}
			t.constants = append(t.constants, constant{field: field, text: strip(c.Value)})
		}
	}
}

// readNames gives each field the names that the map has for it.
func (t *table) readNames(m *Map, refuse refuser) {
	for _, name := range m.named() {
		fields, f := t.sheet.resolve(name)
		if f != nil {
			refuse(name, nil, f.why, f.instead)
			continue
		}
		// A name stands for the same thing wherever its path leads in a list: mix[0].product and mix[1].product.
		used := m.unpivotsInto(t.sheet, fields[0])
		for _, c := range t.columns {
			for _, field := range c.fields {
				if noIndex(field.path()) == noIndex(fields[0].path()) {
					field.names, used = newNames(m.Names[name]), true
				}
			}
		}
		for _, c := range t.constants {
			if c.heading != "" && noIndex(c.field.path()) == noIndex(fields[0].path()) {
				c.field.names, used = newNames(m.Names[name]), true
			}
		}
		if !used {
			refuse(name, nil, say("ingest.names-no-column"), say("ingest.headings-are", "headings", joined(t.headings)))
		}
	}
}

// readSheetName leads the name of the sheet to the field that the map says.
func (t *table) readSheetName(m *Map, refuse refuser) {
	if m.SheetInto == "" || t.name == "" {
		return
	}
	fields, f := t.sheet.resolve(m.SheetInto)
	if f != nil {
		refuse(m.SheetInto, t.name, f.why, f.instead)
		return
	}
	for _, field := range fields {
		t.constants = append(t.constants, constant{field: field, text: t.name, heading: t.name})
	}
}

// readDown finds the columns that are filled down.
func (t *table) readDown(m *Map, _ refuser) {
	for i, h := range t.headings {
		if h != "" && slices.ContainsFunc(m.Down, func(d string) bool { return sameHeading(d, h) }) {
			if t.down == nil {
				t.down = map[int]*cell{}
			}
			t.down[i] = &cell{}
		}
	}
}

func noIndex(path string) string {
	var b strings.Builder
	skip := false
	for _, c := range []byte(path) {
		switch {
		case c == '[':
			skip = true
		case c == ']':
			skip = false
		case !skip:
			b.WriteByte(c)
		}
	}
	return b.String()
}

// all lists every field that a row can fill, with its heading.
func (t *table) all() []filled {
	var out []filled
	for _, c := range t.columns {
		for _, f := range c.fields {
			out = append(out, filled{field: f, heading: c.heading})
		}
	}
	for _, c := range t.constants {
		out = append(out, filled{field: c.field, heading: c.heading})
	}
	if t.unpivot != nil {
		for _, f := range slices.Concat(t.unpivot.heading, t.unpivot.value) {
			out = append(out, filled{field: f, heading: t.unpivot.first})
		}
	}
	return out
}

// twice refuses two columns that lead to one place, or one into what the other fills.
func (t *table) twice(refuse refuser) {
	all := t.all()
	for i, a := range all {
		if a.field.part == wholeTime && slices.ContainsFunc(a.field.steps, func(s step) bool { return s.index > 0 }) {
			t.indexed = true
		}
		pa := withoutZero(a.field.path())
		if a.heading != "" {
			t.placed = append(t.placed, placed{a.field.path(), a.heading})
		}
		for _, b := range all[:i] {
			pb := withoutZero(b.field.path())
			clash := pa == pb && a.field.part == b.field.part ||
				!a.field.counted && strings.HasPrefix(pb, pa+".") || !b.field.counted && strings.HasPrefix(pa, pb+".") ||
				a.field.counted && (pb == pa+".value" || pb == pa+".unit") || b.field.counted && (pa == pb+".value" || pa == pb+".unit")
			if clash {
				refuse(cmp.Or(a.heading, pa), nil, say("ingest.twice", "path", pa, "other", cmp.Or(b.heading, pb)), say("ingest.twice-instead"))
				break
			}
		}
	}
}

func (t *table) leadsTo(path string) bool {
	return slices.ContainsFunc(t.all(), func(f filled) bool { return f.field.path() == path })
}

func (t *table) next() (Row, error) {
	for {
		if len(t.waiting) > 0 {
			row := t.waiting[0]
			t.waiting = t.waiting[1:]
			return row, nil
		}
		cells, line, problems, err := t.row()
		if err != nil {
			return Row{}, err
		}
		if len(problems) == 0 && t.passes(cells) {
			continue
		}
		if len(problems) == 0 {
			problems = t.fits(cells)
		}
		if len(problems) > 0 {
			return Row{Sheet: t.name, Line: line, Draft: events.Draft{Type: t.sheet.kind.Type()}, Problems: problems, sheet: t.sheet, columns: t.placed}, nil
		}
		for at, above := range t.down {
			switch {
			case strip(cells[at].text) == "" && cells[at].bad == nil:
				cells[at] = *above
			default:
				*above = cells[at]
			}
		}
		if t.unpivot == nil {
			return t.assemble(line, t.fill(cells)), nil
		}
		t.turn(line, cells)
	}
}

// passes reports whether a row is none of the table's: an example of a template, or a row that the map passes over.
func (t *table) passes(cells []cell) bool {
	if len(cells) > 0 && isExample(cells[0].text) {
		return true
	}
	for _, c := range cells {
		if text := strip(c.text); text != "" {
			return slices.ContainsFunc(t.mapped.SkipRows, func(pattern string) bool { return glob(pattern, text) })
		}
	}
	return false
}

// isExample reports whether the first cell of a row marks it as an example.
func isExample(text string) bool {
	text = foldName(strip(text))
	return text == sheets.ExampleMark || strings.HasPrefix(text, sheets.ExampleMark+":")
}

// fits refuses rows that are longer or shorter than the heading: their cells stand under the wrong words.
func (t *table) fits(cells []cell) events.Problems {
	if len(cells) < len(t.headings) {
		return events.Problems{{
			Why: say("ingest.row-short", "cells", len(cells), "headings", len(t.headings)), Instead: say("ingest.row-short-instead"),
		}}
	}
	if t.typed && t.mapped.restIgnored() {
		return nil // what a sheet holds beside the table is left out with the rest
	}
	for i, c := range cells {
		if text := strip(c.text); text != "" && (i >= len(t.headings) || t.headings[i] == "") {
			return events.Problems{{Value: strings.ToValidUTF8(text, "\ufffd"), Why: say("ingest.row-long", "cell", i+1, "headings", len(t.headings)), Instead: say("ingest.row-long-instead")}}
		}
	}
	return nil
}

// fill takes the cells that say something, and the constants.
func (t *table) fill(cells []cell) []filled {
	out := make([]filled, 0, len(t.columns)+len(t.constants))
	for _, c := range t.columns {
		from := &cells[c.at]
		raw := strip(from.text)
		text := unguard(raw)
		if from.bad == nil && (text == "" || t.missing[text]) {
			continue
		}
		for _, f := range c.fields {
			out = append(out, filled{field: f, text: text, heading: c.heading, cell: from, guarded: text != raw})
		}
	}
	for _, c := range t.constants {
		out = append(out, filled{field: c.field, text: c.text, heading: c.heading})
	}
	return out
}

// assemble makes a row of its cells.
func (t *table) assemble(line int, cells []filled) Row {
	row := Row{Sheet: t.name, Line: line, Draft: events.Draft{Type: t.sheet.kind.Type(), Data: canon.Value{Kind: canon.Object}}, sheet: t.sheet, columns: t.placed}
	t.renumber(&row, cells)
	var times []*halves
	for i := range cells {
		c := &cells[i]
		if !utf8.ValidString(c.text) {
			row.blame(c, c.path(), c.text, say("ingest.not-utf8"), say("ingest.save-as-csv"))
			continue
		}
		text, f := t.cells.plain(c.field, c.text, c.cell)
		if f != nil {
			row.blame(c, c.at(), c.text, f.why, f.instead)
			continue
		}
		if c.field.names != nil && c.field.shape.Form != events.FormList {
			code, f := c.field.names.code(text)
			if f != nil {
				row.blame(c, c.path(), c.text, f.why, f.instead)
				continue
			}
			text = code
		}
		if f := t.cells.lostZeros(c.field, text); f != nil {
			row.blame(c, c.path(), c.text, f.why, f.instead)
			continue
		}
		if c.field.timed() {
			times = t.half(&row, times, c, text)
			continue
		}
		if c.field.attr != "" {
			t.attribute(&row, c, text)
			continue
		}
		v, ok := literal(c, text)
		if !ok {
			v, f = t.cells.value(c.field, text)
		}
		switch {
		case f == nil:
			put(&row.Draft.Data, c.steps, v)
		case t.trace(c, text):
			put(&row.Draft.Data, []step{{name: "rainTrace", index: -1}}, canon.Truth(true))
		default:
			row.blame(c, c.at(), c.text, f.why, f.instead)
		}
	}
	t.join(&row, times)
	lonely(&row.Draft.Data, t.sheet.kind.Shape)
	finish(t.sheet.kind.Name, &row.Draft.Data)
	if t.sheet.kind.Name == weatherKind {
		t.reading(&row)
	}
	return row
}

// blame adds a problem of one cell, and remembers its column.
func (r *Row) blame(c *filled, path string, value any, why, instead events.Sentence) {
	r.add(path, value, why, instead)
	if c.heading != "" {
		r.blamed = append(r.blamed, placed{path, c.heading})
	}
}

// at is the path that a problem of the cell names: of a measured value, the number.
func (c *filled) at() string {
	if c.field.attr == "" && (c.field.shape.Form == events.FormQuantity || c.field.counted) {
		return c.path() + ".value"
	}
	return c.path()
}

func (c *filled) path() string { return pathOf(c.field.attr, c.steps) }

// attribute takes a cell of the envelope.
func (t *table) attribute(row *Row, c *filled, text string) {
	switch c.field.attr {
	case "id":
		row.Draft.ID = text
	case "notedtime":
		at, f := t.cells.order.normal(text)
		if f != nil {
			row.blame(c, "notedtime", c.text, f.why, f.instead)
			return
		}
		row.Draft.NotedTime = at
	case "devicetime":
		row.Draft.DeviceTime = text
	case "actor":
		v, f := t.cells.who(text)
		if f != nil {
			row.blame(c, "actor", c.text, f.why, f.instead)
			return
		}
		row.Draft.Actor = v.Str
	}
}

// renumber counts the items of lists anew where cells of items before them are empty: a spray with nothing in mix[0] has its
// mix[1] first. The row then knows by its own list which column led where.
func (t *table) renumber(row *Row, cells []filled) {
	for i := range cells {
		cells[i].steps = cells[i].field.steps
	}
	if !t.indexed {
		return
	}
	used := map[string][]int{}
	for _, c := range cells {
		for i, s := range c.steps {
			if key := pathOf("", c.field.steps[:i]) + "." + s.name; s.index >= 0 && !slices.Contains(used[key], s.index) {
				used[key] = append(used[key], s.index)
			}
		}
	}
	for key := range used {
		slices.Sort(used[key])
	}
	for i := range cells {
		cells[i].steps, _ = counted(cells[i].field, used)
	}
	row.columns = make([]placed, 0, len(t.placed))
	for _, c := range t.all() { // also those whose cells are empty: what is missing would stand there
		steps, ok := counted(c.field, used)
		if c.heading != "" && ok {
			row.columns = append(row.columns, placed{pathOf(c.field.attr, steps), c.heading})
		}
	}
}

// counted gives the steps of a field with its items counted among those that are used. ok is false where its own item is
// not used although others of the list are.
func counted(f *field, used map[string][]int) (steps []step, ok bool) {
	steps = slices.Clone(f.steps)
	for j := range steps {
		s := &steps[j]
		if s.index < 0 {
			continue
		}
		items := used[pathOf("", f.steps[:j])+"."+s.name]
		if len(items) == 0 {
			continue
		}
		if s.index = slices.Index(items, s.index); s.index < 0 {
			return nil, false
		}
		s.one = s.one && len(items) == 1
	}
	return steps, true
}

// halves is a time as far as the cells of a row tell it: whole, or its date and its clock.
type halves struct {
	*filled
	whole, date, clock string
	bad                bool // told already
}

// half sorts a cell of a time to what else is said about that time.
func (t *table) half(row *Row, times []*halves, c *filled, text string) []*halves {
	i := slices.IndexFunc(times, func(h *halves) bool { return h.path() == c.path() })
	if i < 0 {
		times = append(times, &halves{filled: c})
		i = len(times) - 1
	}
	h := times[i]
	clock, isClock := clockOnly(text)
	switch {
	case c.field.part == clockPart && !isClock:
		row.blame(c, c.path(), c.text, say("ingest.clock"), say("ingest.clock-instead"))
		h.bad = true
		return times
	case isClock && c.field.part != datePart:
		h.clock = clock
		if c.field.part == wholeTime {
			h.filled = c
		}
		return times
	}
	at, f := t.cells.order.normal(text)
	if f != nil {
		row.blame(c, c.path(), c.text, f.why, f.instead)
		h.bad = true
	}
	if c.field.part == datePart {
		if date, err := t.cells.order.days(text); err == nil {
			at = date
		}
		h.date = at
	} else {
		h.whole, h.filled = at, c
	}
	return times
}

// join makes the times whole.
func (t *table) join(row *Row, times []*halves) {
	for _, h := range times {
		at := h.whole
		switch {
		case h.bad:
			continue
		case h.whole != "" && h.date != "" && !strings.HasPrefix(h.whole, h.date):
			row.blame(h.filled, h.path(), h.whole, say("ingest.two-dates", "one", h.date, "other", h.whole), say("ingest.two-dates-instead"))
		case h.whole != "":
		case h.date == "":
			row.blame(h.filled, h.path(), h.text, say("ingest.clock-alone"), say("ingest.clock-alone-instead"))
		case h.clock == "":
			at = h.date
		case len(h.date) != len("2006-01-02"):
			at = h.date // for the door to refuse
		default:
			at = h.date + "T" + h.clock
		}
		if h.field.attr == "time" {
			row.Draft.Time = at
			row.read = h.text
		} else {
			put(&row.Draft.Data, h.steps, canon.Text(at))
		}
	}
}

// trace reports whether a cell of rain says that there was some, too little to measure: T, as gauges' keepers write it.
func (t *table) trace(c *filled, text string) bool {
	return t.sheet.kind.Name == weatherKind && c.field.last() == "rain" && (strings.EqualFold(text, "T") || strings.EqualFold(text, "trace"))
}
