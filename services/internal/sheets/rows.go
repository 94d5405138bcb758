package sheets

import (
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"
)

// A Kind is what a cell holds.
type Kind uint8

// The kinds of cells.
const (
	Blank        Kind = iota
	Text              // typed as text, or worked out as one
	Number            // a number that is shown as a number
	Date              // a number that is shown as a day, or a day with a time of the day
	Clock             // a number below 1 that is shown as a time of the day
	Span              // a number that is shown as a length of time, beyond 24 hours
	Bool              // true or false
	Error             // what could not be worked out: #N/A
	Uncalculated      // a formula that no program has worked out since it was written
)

// A Cell is one cell of a row.
type Cell struct {
	Kind Kind
	// Text is the text of a Text and an Error; true or false; a Number with all its digits and a decimal point, shown to
	// fifteen digits at most, as spreadsheets do; a Date as 2026-06-01 or 2026-06-01T14:30:00; a Clock as 14:30:00; of a Span
	// the number of days.
	Text string
	// Value is the number of a Number, a Date, a Clock and a Span.
	Value float64
	// Shown is what the cell's format writes with a Number: "kg", "$", and "%" where it shows a hundred times the number.
	Shown string
	// Zeros is how many digits the format shows of a whole Number, with zeros in front.
	Zeros int
	// Formula is what the cell works out; empty: it was typed.
	Formula string
}

// A Row is one row of a sheet.
type Row struct {
	N      int  // from 1
	Hidden bool // by a person, or by a filter
	Cells  []Cell
	Joined []Range // the joined cells that this row has a part in
}

// A Range is a rectangle of cells that were joined, from 1, both ends within.
type Range struct {
	Top, Left, Bottom, Right int
	Name                     string // B2:B6
}

// Rows reads one sheet in a stream.
type Rows struct {
	b      *Book
	d      *xml.Decoder
	merged []Range // that begin below the row given last, the topmost first
	joined []Range // that the row given last has a part in
	last   int     // the row before
	ended  bool
	cells  []Cell // of the row given last
}

// Rows begins to read a sheet. The error Is ErrNoSheet or ErrBroken.
func (b *Book) Rows(sheet string) (*Rows, error) {
	name, ok := b.parts[sheet]
	if !ok {
		return nil, ErrNoSheet
	}
	part := b.part(name)
	if part == nil {
		return nil, fmt.Errorf("%w: %s is not there", ErrBroken, name)
	}
	merged, err := mergedOf(part)
	if err != nil {
		return nil, err
	}
	return &Rows{b: b, d: xml.NewDecoder(bytes.NewReader(part)), merged: merged}, nil
}

// mostMerged is how many joined ranges a sheet may have.
const mostMerged = 100_000

// mergedOf reads the joined ranges, which stand behind the rows.
func mergedOf(part []byte) ([]Range, error) {
	i := bytes.LastIndex(part, []byte("sheetData"))
	if i < 0 {
		return nil, nil
	}
	j := bytes.Index(part[i:], []byte("mergeCells"))
	if j < 0 {
		return nil, nil
	}
	j = i + bytes.LastIndexByte(part[i:i+j], '<')
	if j < i {
		return nil, nil
	}
	d := xml.NewDecoder(bytes.NewReader(part[j:]))
	var out []Range
	for {
		tok, err := token(d)
		if err != nil {
			return nil, fmt.Errorf("%w: joined cells: %w", ErrBroken, err)
		}
		switch t := tok.(type) {
		case xml.StartElement:
			if t.Name.Local != "mergeCell" {
				continue
			}
			name := attr(t, "ref")
			from, to, two := strings.Cut(name, ":")
			left, top, ok1 := place(from)
			right, bottom, ok2 := place(to)
			if !two || !ok1 || !ok2 || left > right || top > bottom {
				continue
			}
			if out = append(out, Range{top, left, bottom, right, name}); len(out) > mostMerged {
				return nil, ErrTooLarge
			}
		case xml.EndElement:
			if t.Name.Local == "mergeCells" {
				slices.SortStableFunc(out, func(a, b Range) int { return a.Top - b.Top })
				return out, nil
			}
		}
	}
}

// From1904 reports whether the workbook counts days from 1904.
func (b *Book) From1904() bool { return b.from04 }

// Day is the day of a number as the workbook counts days. ok is false where there is none.
func (b *Book) Day(n float64) (day string, ok bool) {
	t, ok := b.moment(n)
	if !ok || n < 1 {
		return "", false
	}
	return t.Format(time.DateOnly), true
}

// moment is the instant of a number, to the second. The system of 1900 has a 29 February 1900 that never was (ECMA-376 part
// 1, 18.17.4.1): days before it are one later than counted from the same point.
func (b *Book) moment(n float64) (time.Time, bool) {
	if !(n >= 0) || n >= 2958466 { // the year 10000
		return time.Time{}, false
	}
	start := time.Date(1899, 12, 30, 0, 0, 0, 0, time.UTC)
	switch {
	case b.from04:
		start = time.Date(1904, 1, 1, 0, 0, 0, 0, time.UTC)
	case n < 60:
		start = time.Date(1899, 12, 31, 0, 0, 0, 0, time.UTC)
	case n < 61:
		return time.Time{}, false
	}
	days := math.Floor(n)
	seconds := math.Round((n - days) * 86400)
	return start.AddDate(0, 0, int(days)).Add(time.Duration(seconds) * time.Second), true
}

// Next gives the next row that the sheet writes down, io.EOF after the last; a row that was never touched is not there.
// Cells end with the last that is not Blank. The row is valid until the next call. An error Is ErrBroken or ErrTooLarge.
func (r *Rows) Next() (Row, error) {
	for !r.ended {
		tok, err := token(r.d)
		if err != nil {
			return Row{}, fmt.Errorf("%w: behind row %d: %w", ErrBroken, r.last, err)
		}
		switch t := tok.(type) {
		case xml.StartElement:
			if t.Name.Local == "row" {
				return r.row(t)
			}
		case xml.EndElement:
			r.ended = t.Name.Local == "sheetData"
		}
	}
	return Row{}, io.EOF
}

// token reads on. Wherever it is asked something is still to come, so an end is a part that was cut off.
func token(d *xml.Decoder) (xml.Token, error) {
	tok, err := d.RawToken()
	if errors.Is(err, io.EOF) {
		err = io.ErrUnexpectedEOF
	}
	return tok, err
}

func (r *Rows) row(start xml.StartElement) (Row, error) {
	out := Row{N: r.last + 1, Hidden: truth(attr(start, "hidden"))}
	if text := attr(start, "r"); text != "" {
		n, err := strconv.Atoi(text)
		if err != nil || n <= r.last {
			return Row{}, fmt.Errorf("%w: row %q behind row %d", ErrBroken, text, r.last)
		}
		out.N = n
	}
	if out.N > MaxRows {
		return Row{}, ErrTooLarge
	}
	r.last = out.N
	r.cells = r.cells[:0]
	for {
		tok, err := token(r.d)
		if err != nil {
			return Row{}, fmt.Errorf("%w: row %d: %w", ErrBroken, out.N, err)
		}
		switch t := tok.(type) {
		case xml.StartElement:
			if t.Name.Local != "c" {
				continue
			}
			at := len(r.cells) + 1
			if ref := attr(t, "r"); ref != "" {
				column, row, ok := place(ref)
				if !ok || row != out.N || column < at {
					return Row{}, fmt.Errorf("%w: cell %q in row %d", ErrBroken, ref, out.N)
				}
				at = column
			}
			if at > MaxColumns {
				return Row{}, ErrTooLarge
			}
			c, err := r.cell(t)
			if err != nil {
				return Row{}, fmt.Errorf("row %d: %w", out.N, err)
			}
			for len(r.cells) < at-1 {
				r.cells = append(r.cells, Cell{})
			}
			r.cells = append(r.cells, c)
		case xml.EndElement:
			if t.Name.Local != "row" {
				continue
			}
			r.join(out.N)
			for len(r.cells) > 0 && r.cells[len(r.cells)-1].Kind == Blank {
				r.cells = r.cells[:len(r.cells)-1]
			}
			out.Cells, out.Joined = r.cells, r.joined
			return out, nil
		}
	}
}

// join moves the list of joined ranges on to a row.
func (r *Rows) join(n int) {
	r.joined = slices.DeleteFunc(r.joined, func(m Range) bool { return m.Bottom < n })
	for len(r.merged) > 0 && r.merged[0].Top <= n {
		if r.merged[0].Bottom >= n && len(r.joined) < mostJoined {
			r.joined = append(r.joined, r.merged[0])
		}
		r.merged = r.merged[1:]
	}
}

// mostJoined is how many joined ranges one row is told of. Ranges cannot overlap, so it is also a number of columns.
const mostJoined = 1000

// cell reads one cell.
func (r *Rows) cell(start xml.StartElement) (Cell, error) {
	kind := attr(start, "t")
	style, _ := strconv.Atoi(attr(start, "s"))
	var value, inline strings.Builder
	var formula strings.Builder
	isFormula, hasValue := false, false
	in := ""
	for {
		tok, err := token(r.d)
		if err != nil {
			return Cell{}, fmt.Errorf("%w: a cell: %w", ErrBroken, err)
		}
		switch t := tok.(type) {
		case xml.StartElement:
			switch in = t.Name.Local; in {
			case "v":
				hasValue = true
			case "f":
				isFormula = true
			case "is":
				text, err := richText(r.d, "is")
				if err != nil {
					return Cell{}, err
				}
				inline.WriteString(text)
				in = ""
			}
		case xml.CharData:
			switch in {
			case "v":
				value.Write(t)
			case "f":
				formula.Write(t)
			}
		case xml.EndElement:
			in = ""
			if t.Name.Local != "c" {
				continue
			}
			c, err := r.typed(kind, style, value.String(), inline.String())
			if err != nil {
				return Cell{}, err
			}
			if isFormula {
				c.Formula = formula.String()
				if c.Formula == "" {
					c.Formula = "=" // one that several cells share is written in the first of them
				}
				// A program that writes formulas without working them out leaves no value, or an empty one.
				if !hasValue || value.Len() == 0 && kind != "str" {
					c.Kind, c.Text = Uncalculated, ""
				}
			}
			return c, nil
		}
	}
}

// typed makes a cell of its parts (ECMA-376 part 1, 18.18.11).
func (r *Rows) typed(kind string, style int, value, inline string) (Cell, error) {
	text := func(s string) Cell {
		if strings.TrimSpace(s) == "" {
			return Cell{}
		}
		return Cell{Kind: Text, Text: s}
	}
	switch kind {
	case "s":
		value = strings.TrimSpace(value)
		if value == "" {
			return Cell{}, nil
		}
		i, err := strconv.Atoi(value)
		if err != nil || i < 0 || i >= len(r.b.texts) {
			return Cell{}, fmt.Errorf("%w: text %q of %d", ErrBroken, value, len(r.b.texts))
		}
		return text(r.b.texts[i]), nil
	case "inlineStr":
		return text(inline), nil
	case "str":
		return text(unescape(value)), nil
	case "b":
		return Cell{Kind: Bool, Text: strconv.FormatBool(truth(strings.TrimSpace(value)))}, nil
	case "e":
		return Cell{Kind: Error, Text: strings.TrimSpace(value)}, nil
	case "d": // a day written as a text
		if t, err := isoMoment(strings.TrimSpace(value)); err == nil {
			return Cell{Kind: Date, Text: writeMoment(t)}, nil
		}
		return text(value), nil
	}
	value = strings.TrimSpace(value)
	if value == "" {
		return Cell{}, nil
	}
	n, err := strconv.ParseFloat(value, 64)
	if err != nil || math.IsInf(n, 0) || math.IsNaN(n) {
		return Cell{}, fmt.Errorf("%w: the number %q", ErrBroken, value)
	}
	f := r.b.formatOf(style)
	c := Cell{Kind: Number, Value: n, Text: digits(n), Shown: f.words, Zeros: f.zeros}
	if n != math.Trunc(n) {
		c.Zeros = 0
	}
	at, ok := r.b.moment(n)
	switch {
	case f.span:
		c.Kind = Span
	case ok && f.clock && !f.date && n < 1:
		c.Kind, c.Text = Clock, at.Format(time.TimeOnly)
	case ok && (f.date || f.clock):
		c.Kind, c.Text = Date, writeMoment(at)
	case f.percent:
		// Worked out from the digits that are shown: 0.07 is 7, not 7.000000000000001.
		c.Text, c.Shown = digits(n*100), "%"
	}
	return c, nil
}

func isoMoment(s string) (time.Time, error) {
	for _, layout := range []string{time.DateOnly, "2006-01-02T15:04", "2006-01-02T15:04:05", "2006-01-02T15:04:05.999", time.RFC3339} {
		if t, err := time.Parse(layout, s); err == nil {
			return t, nil
		}
	}
	return time.Time{}, errors.New("sheets: no moment")
}

func writeMoment(t time.Time) string {
	if t.Hour() == 0 && t.Minute() == 0 && t.Second() == 0 {
		return t.Format(time.DateOnly)
	}
	return t.Format("2006-01-02T15:04:05")
}

// digits writes a number to fifteen digits, as spreadsheets show them: 0.1+0.2 is kept as 0.30000000000000004 and shown,
// and meant, as 0.3.
func digits(n float64) string {
	short, err := strconv.ParseFloat(strconv.FormatFloat(n, 'g', 15, 64), 64)
	if err != nil {
		short = n
	}
	if a := math.Abs(short); a != 0 && (a < 1e-9 || a >= 1e21) {
		return strconv.FormatFloat(short, 'E', -1, 64)
	}
	return strconv.FormatFloat(short, 'f', -1, 64)
}

func truth(s string) bool { return s == "1" || s == "true" }

func attr(e xml.StartElement, name string) string {
	for _, a := range e.Attr {
		if a.Name.Local == name && a.Name.Space == "" {
			return a.Value
		}
	}
	return ""
}

// place reads a cell's name: B7 is column 2, row 7.
func place(ref string) (column, row int, ok bool) {
	ref = strings.ReplaceAll(ref, "$", "")
	i := 0
	for i < len(ref) && i < 3 && (ref[i] >= 'A' && ref[i] <= 'Z' || ref[i] >= 'a' && ref[i] <= 'z') {
		column = column*26 + int(ref[i]&^0x20-'A') + 1
		i++
	}
	if i == 0 || i == len(ref) || len(ref)-i > 7 {
		return 0, 0, false
	}
	for ; i < len(ref); i++ {
		if ref[i] < '0' || ref[i] > '9' {
			return 0, 0, false
		}
		row = row*10 + int(ref[i]-'0')
	}
	return column, row, row > 0
}

// ColumnName is the letters of a column: 2 is B.
func ColumnName(n int) string {
	var out []byte
	for n > 0 {
		n--
		out = append([]byte{byte('A' + n%26)}, out...)
		n /= 26
	}
	return string(out)
}
