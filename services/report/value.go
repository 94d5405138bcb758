package report

import (
	"math"
	"strconv"
	"time"

	"latewood/events/civil"
	"latewood/events/units"
	"latewood/events/words"
)

// A Report is what is to be said.
type Report struct {
	Kind     string
	Lang     string // of its texts, as the catalogue names it; empty: English
	Title    string
	Of       string  // the farm, the season: what stands below the title
	Covers   []Field // what it covers: the time, the blocks, as known by when
	Sections []Section
	Cautions []string
	Foot     Foot
	Wide     bool // pages lie, for tables with many columns
	// Data are the tables for CSV and workbooks, where those of the sections are cut for people; empty: those of the sections.
	Data []Table
	// Document is the JSON that is agreed for this kind; nil: the report itself.
	Document any
}

// Foot says how a report was made, and from what.
type Foot struct {
	Method    []string // sentences
	Corrected int      // records in it that were corrected
	Made      civil.Date
	Size      uint64 // records in the ledger
	Root      string
	Sealed    bool
	Version   string // of the program
}

// A Field is a name and a value.
type Field struct {
	Key   string
	Name  string
	Value Cell
	Wide  bool // on a line of its own
}

// A Section is a part of a report; what it has is shown in the order of its fields.
type Section struct {
	Title      string
	Fresh      bool   // begins on a new page
	Big        string // in large letters
	Paragraphs []string
	Fields     []Field
	Marks      []Mark
	Figures    []Figure
	Tables     []Table
}

// A Mark is what a reader must not miss, with a bar beside it.
type Mark struct {
	Head  string
	Texts []string
}

// A Figure is a drawing; the numbers in it stand in a table beside it.
type Figure struct {
	Title string
	SVG   []byte // for pages
	PNG   []byte // for PDF
	// Width and Height in mm, as it is to be printed.
	Width, Height float64
}

// A Table is rows of typed columns.
type Table struct {
	Key     string // lower case, as a file's name
	Name    string // for people; also the name of its sheet
	Columns []Column
	Rows    [][]Cell
	Empty   string // said where there are no rows
}

// A Column is a column of a table. Key is its heading in CSV and JSON.
type Column struct {
	Key     string
	Heading string
	Unit    string // behind the heading
	Numbers bool   // stand to the right
}

// Add puts a row below the others.
func (t *Table) Add(cells ...Cell) { t.Rows = append(t.Rows, cells) }

// heading is what stands above a column for people.
func (c Column) heading() string {
	if c.Unit == "" {
		return c.Heading
	}
	return c.Heading + " (" + c.Unit + ")"
}

// catalogue is the report's language; English where there is none of that name.
func (r *Report) catalogue() *words.Catalogue { return Language(r.Lang) }

// Language is the catalogue of a language, the English one where it is not there. Whoever takes a language from a user asks
// words.In first and says what is wrong.
func Language(lang string) *words.Catalogue {
	c, err := words.In(lang)
	if err != nil {
		c, _ = words.In(words.English)
	}
	return c
}

// tables are the tables for CSV and workbooks.
func (r *Report) tables() []Table {
	if len(r.Data) > 0 {
		return r.Data
	}
	var out []Table
	for _, s := range r.Sections {
		out = append(out, s.Tables...)
	}
	return out
}

// A Cell is a value with its type. The zero Cell is not known.
type Cell struct {
	is     cellKind
	text   string
	num    float64
	digits int // behind the decimal sign for people; -1: as many as it has
	at     time.Time
	day    civil.Date
}

type cellKind uint8

const (
	isNothing cellKind = iota
	isText
	isNumber
	isDay
	isMoment
	isTruth
)

// Text is words. An empty text is not known.
func Text(s string) Cell {
	if s == "" {
		return Cell{}
	}
	return Cell{is: isText, text: s}
}

// Count is a whole number.
func Count(n int) Cell { return Cell{is: isNumber, num: float64(n)} }

// Number is a number that people see with so many digits behind the decimal sign, -1 for as many as it has; tables for
// machines have it whole. What is not a number is not known.
func Number(f float64, digits int) Cell {
	if math.IsNaN(f) || math.IsInf(f, 0) {
		return Cell{}
	}
	return Cell{is: isNumber, num: f, digits: digits}
}

// Perhaps is a Number that may not be known.
func Perhaps(f *float64, digits int) Cell {
	if f == nil {
		return Cell{}
	}
	return Number(*f, digits)
}

// Day is a civil day.
func Day(d civil.Date) Cell {
	if d.IsZero() {
		return Cell{}
	}
	return Cell{is: isDay, day: d}
}

// DayText is a day as documents have it; what is no day stays a text.
func DayText(s string) Cell {
	d, err := civil.ParseDate(s)
	if err != nil {
		return Text(s)
	}
	return Day(d)
}

// Moment is an instant, shown in its own zone.
func Moment(t time.Time) Cell {
	if t.IsZero() {
		return Cell{}
	}
	return Cell{is: isMoment, at: t}
}

// Truth is yes or no.
func Truth(b bool) Cell {
	c := Cell{is: isTruth}
	if b {
		c.num = 1
	}
	return c
}

// Known reports whether there is a value.
func (c Cell) Known() bool { return c.is != isNothing }

// show is the cell as people read it.
func (c Cell) show(say *words.Catalogue) string {
	switch c.is {
	case isText:
		return c.text
	case isNumber:
		if c.digits < 0 {
			return units.FormatNumber(c.num)
		}
		return strconv.FormatFloat(c.num, 'f', c.digits, 64)
	case isDay:
		return c.day.String()
	case isMoment:
		return c.at.Format("2006-01-02 15:04")
	case isTruth:
		if c.num == 1 {
			return say.Say("report.yes")
		}
		return say.Say("report.no")
	}
	return "–"
}

// exact is the cell as tables for machines have it: empty where it is not known.
func (c Cell) exact() string {
	switch c.is {
	case isText:
		return c.text
	case isNumber:
		return units.FormatNumber(c.num)
	case isDay:
		return c.day.String()
	case isMoment:
		return civil.FormatTime(c.at)
	case isTruth:
		return strconv.FormatBool(c.num == 1)
	}
	return ""
}

// value is the cell in JSON.
func (c Cell) value() any {
	switch c.is {
	case isNothing:
		return nil
	case isNumber:
		return c.num
	case isTruth:
		return c.num == 1
	}
	return c.exact()
}
