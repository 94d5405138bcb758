package main

import (
	"encoding/csv"
	"io"
	"slices"
	"strings"

	"latewood/events/canon"
	"latewood/events/units"
)

// exportWriter returns what takes one stored record after the other, and what ends the export.
func exportWriter(format string, w io.Writer) (line func([]byte) error, finish func() error) {
	if format == "csv" {
		t := &csvTable{w: w}
		return t.add, t.finish
	}
	return func(b []byte) error {
		_, err := w.Write(append(b, '\n'))
		return err
	}, func() error { return nil }
}

// csvTable keeps the records of one kind until all columns are known: a record may bring a field that none before it had.
type csvTable struct {
	w    io.Writer
	rows []map[string]string
	cols map[string]bool
}

// envelopeColumns stand before the data, in this order.
var envelopeColumns = []string{"id", "time", "notedtime", "recordedtime", "actor", "source", "devicetime", "batch"}

func (t *csvTable) add(b []byte) error {
	v, err := canon.Parse(b)
	if err != nil {
		return err
	}
	row := map[string]string{}
	for _, name := range envelopeColumns {
		if s := v.Get(name); s.Kind == canon.String {
			row[name] = s.Str
		}
	}
	if t.cols == nil {
		t.cols = map[string]bool{}
	}
	flatten(row, "", v.Get("data"))
	for name := range row {
		t.cols[name] = true
	}
	t.rows = append(t.rows, row)
	return nil
}

// flatten turns data into columns: a field's path, a quantity's path with its unit in brackets, lists of texts joined by ;.
func flatten(row map[string]string, path string, v canon.Value) {
	switch v.Kind {
	case canon.Object:
		if u := v.Get("unit"); len(v.Members) == 2 && u.Kind == canon.String && v.Get("value").Kind == canon.Number {
			row[path+"["+u.Str+"]"] = units.FormatNumber(v.Get("value").Num)
			return
		}
		for _, m := range v.Members {
			name := m.Name
			switch {
			case path == "" && m.Name == "where" && m.Value.Kind == canon.Object:
				name = "" // one part: block, rows, trees, except stand for themselves
			case path != "":
				name = path + "." + m.Name
			}
			flatten(row, name, m.Value)
		}
	case canon.List:
		if !slices.ContainsFunc(v.Items, func(i canon.Value) bool { return i.Kind != canon.String }) {
			texts := make([]string, len(v.Items))
			for i := range v.Items {
				texts[i] = v.Items[i].Str
			}
			row[path] = strings.Join(texts, ";")
			return
		}
		for i, item := range v.Items {
			flatten(row, path+"["+units.FormatNumber(float64(i))+"]", item)
		}
	case canon.String:
		row[path] = v.Str
	case canon.Number:
		row[path] = units.FormatNumber(v.Num)
	case canon.Bool:
		row[path] = string(canon.Bytes(v))
	}
}

func (t *csvTable) finish() error {
	var cols []string
	for _, name := range envelopeColumns {
		if t.cols[name] {
			cols = append(cols, name)
			delete(t.cols, name)
		}
	}
	rest := make([]string, 0, len(t.cols))
	for name := range t.cols {
		rest = append(rest, name)
	}
	slices.Sort(rest)
	cols = append(cols, rest...)
	w := csv.NewWriter(t.w)
	w.UseCRLF = true // RFC 4180
	if err := w.Write(cols); err != nil {
		return err
	}
	for _, row := range t.rows {
		cells := make([]string, len(cols))
		for i, name := range cols {
			cells[i] = guard(name, row[name])
		}
		if err := w.Write(cells); err != nil {
			return err
		}
	}
	w.Flush()
	return w.Error()
}

// guard keeps a spreadsheet from taking a text for a formula: a quote stands before what would begin one. Columns of
// quantities hold numbers, and a negative one is no formula.
func guard(column, cell string) string {
	if cell == "" || strings.HasSuffix(column, "]") {
		return cell
	}
	if strings.ContainsRune("=+-@\t\x00", rune(cell[0])) && !isNumber(cell) {
		return "'" + cell
	}
	return cell
}
