package ingest

import (
	"math"
	"regexp"
	"strconv"
	"strings"

	"latewood/events"
	"latewood/events/canon"
	"latewood/events/units"
)

// cellReader turns the texts of cells into values.
type cellReader struct {
	comma  bool // the decimal sign is a comma
	order  DateOrder
	person func(string) (string, bool)
	codes  []string // of the farm's blocks
}

// spoiled is what spreadsheets write into a cell that they could not work out.
var spoiled = map[string]bool{
	"#N/A": true, "#REF!": true, "#VALUE!": true, "#DIV/0!": true, "#NAME?": true, "#NUM!": true, "#NULL!": true, "#SPILL!": true, "#CALC!": true,
	"#BUSY!": true, "#FIELD!": true, "#BLOCKED!": true, "#UNKNOWN!": true, "#GETTING_DATA": true,
}

// value reads a cell for a leaf of the kind's shape.
func (c *cellReader) value(f *field, text string) (canon.Value, *fault) {
	if spoiled[text] || len(text) > 3 && strings.Trim(text, "#") == "" {
		return canon.Value{}, wrong(say("ingest.spreadsheet-error"), say("ingest.spreadsheet-error-instead"))
	}
	switch {
	case f.isUnit:
		return unitCell(f, text)
	case f.counted:
		n, fault := c.number(text)
		return canon.ObjectOf(canon.Member{Name: "value", Value: canon.Num(n)}, canon.Member{Name: "unit", Value: canon.Text(f.unit)}), fault
	}
	if f.shape.Form == events.FormList || f.shape.Form == events.FormOneOrMany {
		return c.list(f, text)
	}
	return c.single(f.shape, f.unit, text)
}

func (c *cellReader) single(s *events.Shape, unit, text string) (canon.Value, *fault) {
	switch s.Form {
	case events.FormQuantity:
		n, fault := c.number(text)
		return canon.ObjectOf(canon.Member{Name: "value", Value: canon.Num(n)}, canon.Member{Name: "unit", Value: canon.Text(unit)}), fault
	case events.FormNumber, events.FormCount:
		n, fault := c.number(text)
		return canon.Num(n), fault
	case events.FormBool:
		switch strings.ToLower(text) {
		case "true", "yes":
			return canon.Truth(true), nil
		case "false", "no":
			return canon.Truth(false), nil
		}
		return canon.Value{}, wrong(say("ingest.bool"), say("ingest.bool-instead"))
	case events.FormDate, events.FormPartial:
		date, fault := c.order.days(text)
		return canon.Text(date), fault
	case events.FormMoment, events.FormInstant:
		at, fault := c.order.normal(text)
		return canon.Text(at), fault
	case events.FormPerson:
		return c.who(text)
	case events.FormLabel:
		if monthOf(text) {
			return canon.Value{}, wrong(say("ingest.became-date"), say("ingest.became-date-instead"))
		}
	case events.FormCode, events.FormText, events.FormName:
		if shortened(text) {
			return canon.Value{}, wrong(say("tables.digits"), say("tables.digits-instead"))
		}
	case events.FormAny:
		return anything(text), nil
	case events.FormGeometry, events.FormData:
		v, err := canon.Parse([]byte(text))
		if err != nil {
			return canon.Value{}, wrong(say("ingest.cell-json"), say("ingest.cell-json-instead"))
		}
		return v, nil
	}
	return canon.Text(text), nil
}

// who finds the pseudonym of a person. Forms and sheets carry the short tag, records never.
func (c *cellReader) who(text string) (canon.Value, *fault) {
	if events.IsPseudonym(text) || c.person == nil {
		return canon.Text(text), nil
	}
	if who, ok := c.person(text); ok {
		return canon.Text(who), nil
	}
	return canon.Value{}, wrong(say("ingest.tag"), say("ingest.tag-instead"))
}

// anything reads a cell for a field that takes any value: numbers, truth and JSON as what they are, else a text.
func anything(text string) canon.Value {
	if v, err := canon.Parse([]byte(text)); err == nil && v.Kind != canon.Null {
		return v
	}
	return canon.Text(text)
}

// unitCell reads a cell that holds the unit of the quantity beside it: a UCUM code, or the word that headings use.
func unitCell(f *field, text string) (canon.Value, *fault) {
	if _, ok := units.Lookup(text); ok {
		return canon.Text(text), nil
	}
	if code, ok := units.Suffix(text); ok {
		return canon.Text(code), nil
	}
	instead := say("refuse.one-word-of", "words", strings.Join(codes(f.dims), " "))
	if near := units.Nearest(text); near != "" {
		instead = say("refuse.did-you-mean", "near", near)
	}
	return canon.Value{}, wrong(say("ingest.unit-unknown", "unit", text), instead)
}

func codes(dims []units.Dimension) []string {
	var out []string
	for _, d := range dims {
		out = append(out, units.Codes(d)...)
	}
	return out
}

// list reads a cell of several items, divided by semicolons.
func (c *cellReader) list(f *field, text string) (canon.Value, *fault) {
	if v, ok := jsonList(text); ok {
		return v, nil
	}
	out := canon.Value{Kind: canon.List}
	for item := range strings.SplitSeq(text, ";") {
		if item = strip(item); item == "" {
			continue
		}
		if f.names != nil {
			var fault *fault
			if item, fault = f.names.code(item); fault != nil {
				return canon.Value{}, fault
			}
		}
		var span []string
		var fault *fault
		switch {
		case f.shape.Elem.Form == events.FormLabel && f.last() == "rows":
			span, fault = rowSpan(item)
		case f.shape.Elem.Form == events.FormCode && strings.Contains(item, ".."):
			span, fault = codeSpan(item)
		}
		if fault != nil {
			return canon.Value{}, fault
		}
		if span == nil {
			span = []string{item}
		}
		for _, s := range span {
			v, fault := c.single(f.shape.Elem, f.unit, s)
			if fault != nil {
				return canon.Value{}, fault
			}
			out.Items = append(out.Items, v)
		}
		if len(out.Items) > maxSpan {
			return canon.Value{}, wrong(say("ingest.span-long", "most", maxSpan), say("ingest.span-long-instead"))
		}
	}
	if len(out.Items) == 0 {
		return canon.Value{}, wrong(say("ingest.list-empty"), say("ingest.list-empty-instead"))
	}
	return out, nil
}

// maxSpan is the most items that a cell may hold or write out.
const maxSpan = 2000

// rowSpan writes out 1-3 and 1..3; nil: the item is one row.
func rowSpan(item string) ([]string, *fault) {
	from, to, ok := strings.Cut(item, "..")
	if !ok {
		if from, to, ok = strings.Cut(item, "-"); !ok {
			from, to, ok = strings.Cut(item, "–")
		}
	}
	from, to = strip(from), strip(to)
	if !ok || !allDigits(from) || !allDigits(to) || len(from) > 6 || len(to) > 6 {
		return nil, nil
	}
	return span("", from, to)
}

// codeSpan writes out north-01-03..north-01-09: codes that differ in the number at their end.
func codeSpan(item string) ([]string, *fault) {
	from, to, _ := strings.Cut(item, "..")
	from, to = strip(from), strip(to)
	cut := func(s string) (string, string) {
		i := len(s)
		for i > 0 && isDigit(s[i-1]) {
			i--
		}
		return s[:i], s[i:]
	}
	head, first := cut(from)
	other, last := cut(to)
	if head != other || first == "" || last == "" || len(first) > 6 || len(last) > 6 {
		return nil, wrong(say("ingest.span"), say("ingest.span-instead"))
	}
	return span(head, first, last)
}

// span counts from the number from to the number to, as wide as from is written.
func span(head, from, to string) ([]string, *fault) {
	a, _ := strconv.Atoi(from)
	b, _ := strconv.Atoi(to)
	if a > b {
		return nil, wrong(say("ingest.span"), say("ingest.span-instead"))
	}
	if b-a >= maxSpan {
		return nil, wrong(say("ingest.span-long", "most", maxSpan), say("ingest.span-long-instead"))
	}
	var out []string
	for n := a; n <= b; n++ {
		s := strconv.Itoa(n)
		for len(s) < len(from) {
			s = "0" + s
		}
		out = append(out, head+s)
	}
	return out, nil
}

// turned is what spreadsheets make of 1-3 and 3-1.
var turned = regexp.MustCompile(`(?i)^(\d{1,2}[- ](jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec)|(jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec)[- ]\d{2})$`)

func monthOf(text string) bool { return len(text) <= 6 && turned.MatchString(text) }

// The shapes of numbers that people write and that this reader does not take.
var (
	plainNumber = regexp.MustCompile(`^[+-]?(\d+(\.\d+)?|\.\d+)([eE][+-]?\d+)?$`)
	commaNumber = regexp.MustCompile(`^[+-]?(\d+(,\d+)?|,\d+)([eE][+-]?\d+)?$`)
	// Groups of three: 1,234  1,234.5  1.234.567  1 234,5  1'234
	groupComma = regexp.MustCompile(`^[+-]?\d{1,3}(,\d{3})+(\.\d+)?$`)
	groupPoint = regexp.MustCompile(`^[+-]?\d{1,3}(\.\d{3})+(,\d+)?$`)
	groupBlank = regexp.MustCompile("^[+-]?\\d{1,3}([ '’\u00a0\u2009\u202f]\\d{3})+([.,]\\d+)?$")
	// A number with something behind it: 12 kg, 30°C, 45%.
	withUnit = regexp.MustCompile(`^[+-]?(\d[\d.,]*)\s*([^\d\s.,].*)$`)
)

// nothings is what people write for "not known" in a cell of numbers.
var nothings = map[string]bool{
	"-": true, "--": true, "–": true, "—": true, "?": true, "n/a": true, "na": true, "nan": true, "nil": true, "none": true, "null": true, "x": true,
	"unknown": true, ".": true, "tbd": true,
}

// number reads a cell of a number, strictly: digits, one decimal sign, perhaps an exponent.
func (c *cellReader) number(text string) (float64, *fault) {
	sign, other := ".", ","
	is := plainNumber
	if c.comma {
		sign, other, is = ",", ".", commaNumber
	}
	if is.MatchString(text) {
		f, err := strconv.ParseFloat(strings.Replace(text, ",", ".", 1), 64)
		if err != nil || math.IsInf(f, 0) {
			return 0, wrong(say("ingest.too-large"), say("ingest.number-instead"))
		}
		return f, nil
	}
	write := func(s string) events.Sentence { return say("refuse.write", "text", s) }
	bare := strings.NewReplacer(" ", "", "'", "", "’", "", "\u00a0", "", "\u2009", "", "\u202f", "").Replace(text)
	switch {
	case nothings[strings.ToLower(text)]:
		return 0, wrong(say("ingest.nothing"), say("ingest.nothing-instead"))
	case groupBlank.MatchString(text):
		return 0, wrong(say("ingest.thousands"), write(strings.Replace(bare, other, sign, 1)))
	case !c.comma && groupComma.MatchString(text) && !strings.Contains(text, ".") && strings.Count(text, ",") == 1:
		return 0, wrong(say("ingest.comma-either"), say("ingest.comma-either-instead", "whole", strings.Replace(text, ",", "", 1), "part", strings.Replace(text, ",", ".", 1)))
	case groupComma.MatchString(text):
		return 0, wrong(say("ingest.thousands"), write(strings.Replace(strings.ReplaceAll(text, ",", ""), ".", sign, 1)))
	case c.comma && plainNumber.MatchString(text):
		return 0, wrong(say("ingest.point"), say("ingest.point-instead", "text", strings.Replace(text, ".", ",", 1)))
	case groupPoint.MatchString(text):
		return 0, wrong(say("ingest.thousands"), write(strings.Replace(strings.ReplaceAll(text, ".", ""), ",", sign, 1)))
	case !c.comma && commaNumber.MatchString(text):
		return 0, wrong(say("ingest.comma"), say("ingest.comma-instead", "text", strings.Replace(text, ",", ".", 1)))
	}
	if m := withUnit.FindStringSubmatch(text); m != nil {
		digits := strings.TrimRight(m[1], ".,")
		if strings.HasPrefix(text, "-") {
			digits = "-" + digits
		}
		return 0, wrong(say("ingest.unit-in-cell"), say("ingest.unit-in-cell-instead", "text", digits, "unit", m[2]))
	}
	return 0, wrong(say("ingest.number"), say("ingest.number-instead"))
}
