package ingest

import (
	"maps"
	"slices"
	"strings"

	"latewood/events"
)

// A Map says what the columns of a table mean. The right side of a column, a constant and an unpivot is a heading as Open
// reads it: a field with its unit, or several joined by plus signs.
type Map struct {
	Kind         string                       // kind or table, as Options.As
	Columns      []MapColumn                  // in the order of the map
	Constants    []MapConstant                // fields that are the same in every row
	Names        map[string]map[string]string // by field: what the table calls it, and the code
	DateOrder    DateOrder
	DecimalComma bool
	Ignore       []string // headings that are left out, * and ? for any letters or one; "*" alone: all that mean nothing
	Missing      []string // cells that say nothing, as -9999
	Unpivot      *Unpivot
	Skip         int      // the first lines, above the heading
	SkipRows     []string // rows whose first cell looks like this, as "Total*"
	Down         []string // headings under which an empty cell says what the one above it says
	// Of workbooks only.
	Sheets    []string // the sheets that are read, by name or pattern
	SheetInto string   // the field that a sheet's name goes to
	Hidden    string   // hidden rows: "take" or "leave"; empty: each is refused
	Merged    string   // joined cells: "repeat" gives all what the first has; empty: each is refused
}

// What a map says of hidden rows and joined cells.
const (
	hiddenTake   = "take"
	hiddenLeave  = "leave"
	mergedRepeat = "repeat"
)

// maxSkip is the most lines that a map can skip.
const maxSkip = 10_000

// skipped is how many lines stand above the heading.
func (m *Map) skipped() int { return m.Skip }

// A MapColumn leads the cells under a heading to a field. The field "-" leaves the column out.
type MapColumn struct{ Heading, Field string }

// A MapConstant gives a field one value in every row, written as a cell.
type MapConstant struct{ Field, Value string }

// An Unpivot turns columns into rows: for each of them whose cell is not empty there is a record, with the heading in one
// field (time, where.block) and the cell in another (mass[kg]).
type Unpivot struct {
	Columns []string // the headings, or
	Pattern string   // what they look like, with * and ?
	Heading string   // the field that the heading goes to
	Value   string   // the field that the cell goes to
}

// Empty reports whether the map says nothing.
func (m *Map) Empty() bool {
	return m.Kind == "" && len(m.Columns) == 0 && len(m.Constants) == 0 && len(m.Names) == 0 && m.DateOrder == AnyOrder && !m.DecimalComma &&
		len(m.Ignore) == 0 && len(m.Missing) == 0 && m.Unpivot == nil && m.Skip == 0 && len(m.SkipRows) == 0 && len(m.Down) == 0 &&
		len(m.Sheets) == 0 && m.SheetInto == "" && m.Hidden == "" && m.Merged == ""
}

// field is what the map says about a heading.
func (m *Map) field(heading string) (string, bool) {
	for _, c := range m.Columns {
		if sameHeading(c.Heading, heading) {
			return strip(c.Field), true
		}
	}
	return "", false
}

func (m *Map) ignores(heading string) bool {
	return slices.ContainsFunc(m.Ignore, func(pattern string) bool { return pattern != "*" && glob(pattern, heading) })
}

// restIgnored reports whether headings that mean nothing are left out instead of refused.
func (m *Map) restIgnored() bool { return slices.Contains(m.Ignore, "*") }

func (m *Map) unpivots(heading string) bool {
	u := m.Unpivot
	if u == nil {
		return false
	}
	if _, mapped := m.field(heading); mapped {
		return false
	}
	return slices.ContainsFunc(u.Columns, func(c string) bool { return sameHeading(c, heading) }) || u.Pattern != "" && glob(u.Pattern, heading)
}

// named lists the fields that have names, sorted.
func (m *Map) named() []string { return slices.Sorted(maps.Keys(m.Names)) }

// glob matches a text against a pattern with * for any letters, also none, and ? for one. Cases are alike.
func glob(pattern, text string) bool {
	p, s := []rune(strings.ToLower(strip(pattern))), []rune(strings.ToLower(strip(text)))
	star, mark := -1, 0
	i, j := 0, 0
	for j < len(s) {
		switch {
		case i < len(p) && p[i] == '*':
			star, mark = i, j
			i++
		case i < len(p) && (p[i] == '?' || p[i] == s[j]):
			i++
			j++
		case star >= 0:
			mark++
			i, j = star+1, mark
		default:
			return false
		}
	}
	for i < len(p) && p[i] == '*' {
		i++
	}
	return i == len(p)
}

// ParseMap reads a map as a command takes it: the text of a map file (see ReadMap), or all on one line:
//
//	date=time,tmax=airTemperatureMax[Cel],rain=rain[mm]
//
// A heading with a comma or an equals sign stands in double quotes. The field - leaves a column out. dateOrder=dmy (mdy,
// ymd), decimal=comma and kind=KIND say what the map says as a file. Columns that are not named are read if their heading is
// one that Open knows, else left out: whoever writes such a line picks what they want. The error is Refusals.
func ParseMap(text string) (*Map, error) {
	if one := strip(text); strings.Contains(one, "\n") || strings.HasPrefix(one, "{") || !strings.Contains(one, "=") {
		return ReadMap("", strings.NewReader(text))
	}
	m := &Map{Ignore: []string{"*"}}
	for _, piece := range pieces(text) {
		if strip(piece) == "" {
			continue
		}
		if f := m.pair(piece); f != nil {
			return nil, refused("", 0, "", events.Problem{Value: strip(piece), Why: f.why, Instead: f.instead})
		}
	}
	return m, nil
}

// pair takes one heading=field.
func (m *Map) pair(piece string) *fault {
	heading, rest, ok := cutPair(piece)
	if !ok || heading == "" || rest == "" {
		return wrong(say("ingest.map-pair"), say("ingest.map-pair-instead"))
	}
	order, isOrder := dateOrder(rest)
	switch {
	case fold(heading) == "dateorder" && isOrder:
		m.DateOrder = order
	case fold(heading) == "decimal" && (rest == "comma" || rest == "point"):
		m.DecimalComma = rest == "comma"
	case fold(heading) == "kind":
		m.Kind = rest
	default:
		if _, doubled := m.field(heading); doubled {
			return wrong(say("ingest.map-doubled"), say("ingest.map-doubled-instead"))
		}
		m.Columns = append(m.Columns, MapColumn{heading, rest})
	}
	return nil
}

// pieces divides at commas outside of quotes.
func pieces(text string) []string {
	var out []string
	start, quoted := 0, false
	for i := range len(text) {
		switch {
		case text[i] == '"':
			quoted = !quoted
		case text[i] == ',' && !quoted:
			out = append(out, text[start:i])
			start = i + 1
		}
	}
	return append(out, text[start:])
}

// cutPair divides heading=field.
func cutPair(piece string) (heading, field string, ok bool) {
	piece = strip(piece)
	if rest, quoted := strings.CutPrefix(piece, `"`); quoted {
		heading, rest, ok = strings.Cut(rest, `"`)
		rest, eq := strings.CutPrefix(strip(rest), "=")
		return strip(heading), strip(rest), ok && eq
	}
	heading, field, ok = strings.Cut(piece, "=")
	return strip(heading), strip(field), ok
}

func dateOrder(text string) (DateOrder, bool) {
	switch o := DateOrder(strings.ToLower(text)); o {
	case DMY, MDY, YMD:
		return o, true
	}
	return AnyOrder, false
}
