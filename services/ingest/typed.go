package ingest

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"latewood/events"
	"latewood/events/units"
	"latewood/services/internal/sheets"
)

// A cell is one cell of a table. In a text file it has a text and nothing else; in a workbook also a type.
type cell struct {
	text  string
	kind  sheets.Kind // Blank where the file knows no types
	bad   *fault      // told where the cell is read
	shown string      // what a number is shown with
	zeros int         // how many digits a number is shown with, with zeros in front
	day   string      // the day that a number would be, if it is one of a date
}

// texts makes cells of texts.
func texts(ss []string) []cell {
	out := make([]cell, len(ss))
	for i, s := range ss {
		out[i].text = s
	}
	return out
}

// plain gives the text of a typed cell as a text file would have it, for a field. What a spreadsheet made of what somebody
// typed is refused, with what to do.
func (c *cellReader) plain(f *field, text string, from *cell) (string, *fault) {
	if from == nil {
		return text, nil
	}
	if from.bad != nil {
		return text, from.bad
	}
	switch from.kind {
	case sheets.Date:
		if f.dated() {
			return text, nil
		}
		return text, wrong(say("ingest.became-date"), say("tables.became-date-instead", "texts", wasTyped(text)))
	case sheets.Clock:
		if f.timed() {
			return text, nil
		}
		return text, wrong(say("tables.clock"), say("tables.clock-instead"))
	case sheets.Span:
		return text, wrong(say("tables.clock"), say("tables.clock-instead"))
	case sheets.Number:
		return c.shown(f, text, from)
	}
	return text, nil
}

// dated reports whether a day can stand in the field.
func (f *field) dated() bool {
	return f.timed() || f.attr == "notedtime" || f.attr == "" && !f.counted && !f.isUnit && (f.shape.Form == events.FormDate || f.shape.Form == events.FormPartial)
}

// wasTyped lists what a person may have typed that became a day: 1-2, 2-1, or 3-45 for the first of a month.
func wasTyped(day string) string {
	if len(day) < len("2006-01-02") {
		return "1-3"
	}
	year, month, date := day[2:4], strings.TrimPrefix(day[5:7], "0"), strings.TrimPrefix(day[8:10], "0")
	out := month + "-" + date
	if month != date {
		out += ", " + date + "-" + month
	}
	if date == "1" {
		out += ", " + month + "-" + year
	}
	return out
}

// shown reads a number as what it was meant to be: by its field, and by what the sheet shows.
func (c *cellReader) shown(f *field, text string, from *cell) (string, *fault) {
	switch {
	case f.dated():
		if from.day != "" {
			return text, wrong(say("ingest.serial-day", "date", from.day), say("ingest.serial-day-instead", "date", from.day))
		}
		return text, nil
	case f.numeric():
		if f := f.fitsShown(text, from.shown); f != nil {
			return text, f
		}
		if c.comma {
			text = strings.Replace(text, ".", ",", 1)
		}
		return text, nil
	}
	n, err := strconv.ParseFloat(text, 64)
	switch {
	case err != nil:
	case math.Abs(n) >= 1e15:
		return text, wrong(say("tables.digits"), say("tables.digits-instead"))
	case from.zeros > 1 && n >= 0 && n == math.Trunc(n):
		return fmt.Sprintf("%0*d", from.zeros, int64(n)), nil
	}
	return text, nil
}

// numeric reports whether the field holds a number.
func (f *field) numeric() bool {
	if f.attr != "" || f.isUnit {
		return false
	}
	switch f.shape.Form {
	case events.FormQuantity, events.FormNumber, events.FormCount:
		return true
	}
	return f.counted
}

// fitsShown refuses a number that the sheet shows in another unit than the heading says.
func (f *field) fitsShown(text, shown string) *fault {
	if shown == "" {
		return nil
	}
	code, known := unitCode(shown, true)
	if !known {
		code = units.Nearest(shown)
	}
	switch {
	case code != "" && code == f.unit, code != "" && code == f.bareUnit():
		return nil
	case f.unit == "" && shown != "%": // trees, or money: the field has no unit that could be another
		return nil
	}
	return wrong(say("tables.shown", "shown", shown), say("tables.shown-instead", "text", text))
}

// shortened reports whether a spreadsheet has shortened a long number that is a name: 1.23457E+13.
func shortened(text string) bool {
	mantissa, exponent, ok := strings.Cut(text, "E+")
	whole, _, _ := strings.Cut(mantissa, ".")
	return ok && len(whole) == 1 && allDigits(strings.ReplaceAll(mantissa, ".", "")) && allDigits(exponent)
}

// lostZeros refuses the number of a block that lacks the zeros of a block that the farm has.
func (c *cellReader) lostZeros(f *field, text string) *fault {
	if len(c.codes) == 0 || f.attr != "" || f.last() != "block" || !allDigits(text) || slices.Contains(c.codes, text) {
		return nil
	}
	bare := strings.TrimLeft(text, "0")
	for _, code := range c.codes {
		if allDigits(code) && strings.TrimLeft(code, "0") == bare {
			return wrong(say("tables.zeros", "text", text), say("tables.zeros-instead", "code", code))
		}
	}
	return nil
}
