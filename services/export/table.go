package export

import (
	"cmp"
	"encoding/csv"
	"fmt"
	"io"
	"iter"
	"maps"
	"slices"
	"strconv"
	"strings"

	"latewood/events"
	"latewood/events/canon"
	"latewood/services/internal/sheets"
)

// A Row is one record as it stands.
type Row struct {
	ID, Time, Actor string
	Noted           string      // when it was first written down: as its writer claims, else when the ledger took it
	Data            canon.Value // of the newest version of its kind
	// What its own ledger says of it.
	Recorded, Source, Batch, DeviceTime string
	Type                                string // as it was first written: water.withheld.v1
	Corrections                         int
}

// the columns before and behind the data, in order.
var (
	before = []string{"id", "time", "actor", "notedtime"}
	behind = []string{"ledger.recorded", "ledger.source", "ledger.batch", "ledger.devicetime", "ledger.type", "ledger.corrections"}
)

// envelope gives the cells of the columns that are not the data's.
func (r *Row) envelope() map[string]cell {
	return map[string]cell{
		"id": textCell(r.ID), "time": textCell(r.Time), "actor": textCell(r.Actor), "notedtime": textCell(r.Noted),
		"ledger.recorded": textCell(r.Recorded), "ledger.source": textCell(r.Source), "ledger.batch": textCell(r.Batch),
		"ledger.devicetime": textCell(r.DeviceTime), "ledger.type": textCell(r.Type), "ledger.corrections": number(float64(r.Corrections)),
	}
}

// A Table is the columns of one kind, as far as rows were seen.
type Table struct {
	Kind  *events.Kind
	where bool // it has a `where`, whose first part stands without the word
	seen  map[string]*column
	rows  int
	made  []*column
	width map[string]int // of the columns of the envelope
}

// A column is one path that some row fills.
type column struct {
	heading string
	doc     string
	order   []int // where it stands among the others: by its fields in the order of the catalogue, and by items
	form    events.Form
	units   map[string]bool // of a measure
	half    string          // value or unit, where the units differ
	path    string          // of the measure
	width   int
	must    bool
}

// NewTable begins a table.
func NewTable(k *events.Kind) *Table {
	t := &Table{Kind: k, seen: map[string]*column{}, width: map[string]int{}}
	if f := k.Shape.Field("where"); f != nil && f.Shape.Elem != nil && f.Shape.Elem.Field("block") != nil {
		t.where = true
	}
	return t
}

// Rows is how many rows were seen.
func (t *Table) Rows() int { return t.rows }

// See learns the columns that a row fills.
func (t *Table) See(r Row) {
	t.rows++
	t.made = nil
	for name, c := range r.envelope() {
		if c.text != "" {
			t.width[name] = max(t.width[name], c.shown())
		}
	}
	t.walk(t.Kind.Shape, r.Data, place{must: true}, func(p place, s *events.Shape, unit string, c cell) {
		col := t.seen[p.path]
		if col == nil {
			col = &column{heading: t.heading(p.path), doc: p.doc, order: slices.Clone(p.order), form: s.Form, path: p.path, units: map[string]bool{}, must: p.must}
			t.seen[p.path] = col
		}
		if unit != "" {
			col.units[unit] = true
		}
		col.width = max(col.width, c.shown())
	})
}

// A place is where a walk through a record is.
type place struct {
	path  string
	doc   string
	order []int
	must  bool
}

// walk calls leaf for each cell of a value.
func (t *Table) walk(s *events.Shape, v canon.Value, p place, leaf func(p place, s *events.Shape, unit string, c cell)) {
	switch s.Form {
	case events.FormObject:
		for i := range s.Fields {
			f := &s.Fields[i]
			m := v.Get(f.Name)
			if m.Kind == canon.Absent {
				continue
			}
			inner := place{path: f.Name, doc: f.Doc, order: append(slices.Clone(p.order), i), must: p.must && f.Required}
			if p.path != "" {
				inner.path = p.path + "." + f.Name
			}
			t.walk(f.Shape, m, inner, leaf)
		}
	case events.FormQuantity:
		leaf(p, s, v.Get("unit").Str, number(v.Get("value").Num))
	case events.FormList, events.FormOneOrMany:
		items := v.Items
		if v.Kind != canon.List {
			items = []canon.Value{v}
		}
		if simple(s.Elem) {
			leaf(p, s.Elem, "", list(p.path[strings.LastIndexByte(p.path, '.')+1:], s.Elem, items))
			return
		}
		for i, item := range items {
			inner := p
			inner.path += "[" + strconv.Itoa(i) + "]"
			inner.order = append(slices.Clone(p.order), i)
			inner.must = p.must && i == 0
			t.walk(s.Elem, item, inner, leaf)
		}
	default:
		leaf(p, s, "", single(s, v))
	}
}

// simple reports whether a cell can hold several of these.
func simple(s *events.Shape) bool {
	switch s.Form {
	case events.FormObject, events.FormQuantity, events.FormAny, events.FormData, events.FormGeometry, events.FormList, events.FormOneOrMany:
		return false
	}
	return true
}

// heading writes a path as import reads it. The first part of a `where` stands without the word, so that block and rows are
// block and rows; what has the name of an attribute is told from it.
func (t *Table) heading(path string) string {
	if rest, ok := strings.CutPrefix(path, "where[0]."); ok && t.where && t.Kind.Shape.Field(rest) == nil {
		return rest
	}
	first, _, _ := strings.Cut(path, ".")
	if slices.Contains(before, first) || first == "data" || first == "devicetime" {
		return "data." + path
	}
	return path
}

// columns are those of the data, in the order of the catalogue.
func (t *Table) columns() []*column {
	if t.made != nil {
		return t.made
	}
	out := []*column{}
	for _, path := range slices.Sorted(maps.Keys(t.seen)) {
		c := *t.seen[path]
		switch len(c.units) {
		case 0:
			out = append(out, &c)
		case 1:
			for unit := range c.units {
				c.heading += "[" + unit + "]"
			}
			out = append(out, &c)
		default:
			value, unit := c, c
			value.heading, value.half = c.heading+".value", "value"
			unit.heading, unit.half, unit.form, unit.width = c.heading+".unit", "unit", events.FormText, 8
			out = append(out, &value, &unit)
		}
	}
	slices.SortStableFunc(out, func(a, b *column) int { return slices.Compare(a.order, b.order) })
	t.made = out
	return out
}

// Headings is the line of headings.
func (t *Table) Headings() []string {
	out := slices.Clone(before)
	for _, c := range t.columns() {
		out = append(out, c.heading)
	}
	return append(out, behind...)
}

// cells are the cells of a row, one a heading.
func (t *Table) cells(r Row) []cell {
	filled := map[string]cell{}
	unit := map[string]string{}
	t.walk(t.Kind.Shape, r.Data, place{}, func(p place, _ *events.Shape, u string, c cell) {
		filled[p.path], unit[p.path] = c, u
	})
	envelope := r.envelope()
	out := make([]cell, 0, len(before)+len(t.columns())+len(behind))
	for _, name := range before {
		out = append(out, envelope[name])
	}
	for _, c := range t.columns() {
		switch c.half {
		case "unit":
			out = append(out, textCell(unit[c.path]))
		default:
			out = append(out, filled[c.path])
		}
	}
	for _, name := range behind {
		out = append(out, envelope[name])
	}
	return out
}

// CSV writes the rows that were seen as comma separated values, lines ended as RFC 4180 has it.
func (t *Table) CSV(w io.Writer, rows iter.Seq2[Row, error]) error {
	out := csv.NewWriter(w)
	out.UseCRLF = true
	if err := out.Write(t.Headings()); err != nil {
		return fmt.Errorf("export: writing: %w", err)
	}
	for r, err := range rows {
		if err != nil {
			return err
		}
		cells := t.cells(r)
		texts := make([]string, len(cells))
		for i, c := range cells {
			texts[i] = c.text
		}
		if err := out.Write(texts); err != nil {
			return fmt.Errorf("export: writing: %w", err)
		}
	}
	out.Flush()
	if err := out.Error(); err != nil {
		return fmt.Errorf("export: writing: %w", err)
	}
	return nil
}

// A TooLong says that a record does not fit into a sheet.
type TooLong struct {
	ID  string
	Err error
}

// Error names the record.
func (e *TooLong) Error() string { return "export: " + e.ID + ": " + e.Err.Error() }

// Unwrap is why.
func (e *TooLong) Unwrap() error { return e.Err }

// Sheet writes the rows that were seen as a sheet named as the kind.
func (t *Table) Sheet(w *sheets.Workbook, rows iter.Seq2[Row, error]) error {
	columns := make([]sheets.Column, 0, len(before)+len(behind))
	for _, name := range before {
		width := wide(name, t.width[name])
		if name != "time" { // nobody reads an id across
			width = min(width, 13)
		}
		columns = append(columns, sheets.Column{Heading: name, Width: width, Keep: sheets.KeepText, Aside: name != "time"})
	}
	for _, c := range t.columns() {
		columns = append(columns, sheets.Column{Heading: c.heading, Width: wide(c.heading, c.width), Keep: keep(c.form), Must: c.must, Hint: c.doc})
	}
	for i, name := range behind {
		columns = append(columns, sheets.Column{Heading: name, Width: min(wide(name, t.width[name]), 21), Aside: true, Off: i == 0})
	}
	s, err := w.Sheet(t.Kind.Name, columns)
	if err != nil {
		return err
	}
	for r, err := range rows {
		if err != nil {
			return err
		}
		cells := t.cells(r)
		values := make([]sheets.Value, len(cells))
		for i, c := range cells {
			values[i] = c.value
		}
		if err := s.Row(values...); err != nil {
			return &TooLong{r.ID, err}
		}
	}
	if err := s.Filter(); err != nil {
		return err
	}
	return s.Done()
}

// wide is a width that shows heading and cells, up to a point.
func wide(heading string, cells int) float64 {
	return float64(min(max(min(len(heading), 18)+3, cells+2, 9), 46))
}

// keep is as what a spreadsheet is to keep what people type into a column.
func keep(form events.Form) sheets.Keep {
	switch form {
	case events.FormNumber, events.FormCount, events.FormBool, events.FormQuantity:
		return sheets.KeepAny
	case events.FormDate:
		return sheets.KeepDays
	}
	return sheets.KeepText
}

// ByKind sorts tables as the catalogue lists their kinds, the farm's opening first: a file that is brought in elsewhere has to
// begin with it.
func ByKind(c *events.Catalogue, tables []*Table) {
	place := map[string]int{}
	for i, k := range c.Kinds() {
		place[k.Name] = i + 1
	}
	place["farm.opened"] = 0
	slices.SortFunc(tables, func(a, b *Table) int { return cmp.Compare(place[a.Kind.Name], place[b.Kind.Name]) })
}
