package export

import (
	"regexp"
	"strconv"
	"strings"
	"unicode/utf8"

	"latewood/events"
	"latewood/events/canon"
	"latewood/events/civil"
	"latewood/events/units"
	"latewood/services/internal/sheets"
)

// A cell is one value for a column, as it is written into CSV and into a sheet.
type cell struct {
	text  string
	value sheets.Value
}

// number writes a number with all its digits. Sheets show fifteen of them; one that has more is a text there.
func number(f float64) cell {
	text := units.FormatNumber(f)
	if digits(text) > 15 {
		return cell{text, sheets.Words(text)}
	}
	return cell{text, sheets.Figure(f)}
}

// digits counts those of a number that say something.
func digits(text string) int {
	text, _, _ = strings.Cut(strings.TrimLeft(text, "-0."), "e")
	return len(strings.Replace(text, ".", "", 1))
}

func truth(b bool) cell { return cell{strconv.FormatBool(b), sheets.Truth(b)} }

// single writes a value that is neither a group nor a list nor a measure.
func single(s *events.Shape, v canon.Value) cell {
	switch s.Form {
	case events.FormNumber, events.FormCount:
		return number(v.Num)
	case events.FormBool:
		return truth(v.Bool)
	case events.FormDate, events.FormPartial, events.FormMoment:
		if d, err := civil.ParseDate(v.Str); err == nil && d.String() == v.Str {
			return cell{v.Str, sheets.Day(d)}
		}
		return textCell(v.Str)
	case events.FormGeometry, events.FormData:
		return textCell(asJSON(v))
	case events.FormAny:
		return anyCell(v)
	}
	return textCell(escape(s.Form, v.Str))
}

// anyCell writes any JSON. A text stands for itself unless it would be read as something else.
func anyCell(v canon.Value) cell {
	switch v.Kind {
	case canon.Number:
		return number(v.Num)
	case canon.Bool:
		return truth(v.Bool)
	case canon.String:
		if read, err := canon.Parse([]byte(v.Str)); err != nil || read.Kind == canon.Null {
			if e := escape(events.FormText, v.Str); !strings.HasPrefix(e, `'"`) {
				return textCell(e)
			}
		}
		return textCell(quote(v.Str))
	}
	return textCell(asJSON(v))
}

// textCell is a text that is read as it stands. In CSV a spreadsheet would make a formula of some.
func textCell(text string) cell {
	guarded := text
	if text != "" && strings.IndexByte("=+-@", text[0]) >= 0 && !plain.MatchString(text) {
		guarded = "'" + text
	}
	return cell{guarded, sheets.Words(text)}
}

// plain is a number: -5 is no formula.
var plain = regexp.MustCompile(`^[+-]?\d+(\.\d+)?([eE][+-]?\d+)?$`)

// mark is what a text begins with that import would take for one of the escapes: an apostrophe and one of these.
var mark = regexp.MustCompile(`^'[=+\-@'"]`)

// escape writes a text so that a cell keeps it.
func escape(form events.Form, s string) string {
	switch {
	case form == events.FormPerson || form == events.FormID: // their grammar has nothing that a cell could lose
		return s
	case lost(form, s):
		return "'" + quote(s)
	case mark.MatchString(s):
		return "'" + s
	}
	return s
}

// outer is the blanks that reading takes off the ends of a cell.
const outer = " \t\r\n\u00a0\u2007\u202f\ufeff\u200b"

// mostBreaks is how many lines a cell may have: more are written as one.
const mostBreaks = 200

// escaped is what the sheet's own format takes for a character that XML cannot write (ECMA-376 part 1, 22.9.2.19).
var escaped = regexp.MustCompile(`_x[0-9A-Fa-f]{4}_`)

// turned is what a spreadsheet makes of the rows 1-3, which reading refuses therefore.
var turned = regexp.MustCompile(`(?i)^(\d{1,2}[- ](jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec)|(jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec)[- ]\d{2})$`)

// spoiled is what spreadsheets write into a cell that they could not work out.
var spoiled = regexp.MustCompile(`^#(N/A|[A-Z0/_]+[!?]|GETTING_DATA|###+)$`)

// lost reports whether reading a cell would not give this text again.
func lost(form events.Form, s string) bool {
	control := func(r rune) bool { return r < ' ' && r != '\n' || r == 0x7f || r == '\ufffe' || r == '\uffff' }
	return strings.Trim(s, outer) != s || strings.TrimSpace(s) != s || strings.ContainsFunc(s, control) || strings.Count(s, "\n") > mostBreaks ||
		spoiled.MatchString(s) || form == events.FormLabel && turned.MatchString(s) || escaped.MatchString(s)
}

// quote writes a text as JSON does.
func quote(s string) string { return asJSON(canon.Text(s)) }

// asJSON writes JSON with nothing in it that a sheet would change. What it escapes can stand in texts only.
func asJSON(v canon.Value) string {
	text := fixed.Replace(string(canon.Bytes(v)))
	return escaped.ReplaceAllStringFunc(text, func(s string) string { return `\u005f` + s[1:] })
}

var fixed = strings.NewReplacer("\x7f", `\u007f`, "\ufffe", `\ufffe`, "\uffff", `\uffff`)

// mostItems is the most items that a cell is read to hold.
const mostItems = 2000

// list writes a list of single values.
func list(name string, s *events.Shape, items []canon.Value) cell {
	texts := make([]string, len(items))
	apart := len(items) <= mostItems
	for i, v := range items {
		one := single(s, v)
		texts[i] = one.text
		if v.Kind == canon.String {
			texts[i] = v.Str
			apart = apart && v.Str != "" && !lost(s.Form, v.Str) && !strings.Contains(v.Str, ";") && !spans(name, s.Form, v.Str)
		}
	}
	text := strings.Join(texts, ";")
	if !apart || strings.HasPrefix(text, "[") || mark.MatchString(text) {
		return textCell(asJSON(canon.Value{Kind: canon.List, Items: items}))
	}
	return textCell(text)
}

// spans reports whether an item would be read as several: rows as 1-3, codes as a..b.
func spans(name string, form events.Form, s string) bool {
	return form == events.FormLabel && name == "rows" && strings.ContainsAny(s, "-–.") || strings.Contains(s, "..")
}

// shown is about how many characters of a cell one sees.
func (c cell) shown() int {
	first, _, _ := strings.Cut(c.text, "\n")
	return utf8.RuneCountInString(first)
}
