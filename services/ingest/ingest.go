package ingest

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"latewood/events"
)

// Options say what a file is, as far as somebody knows. The zero value leaves everything to the content.
type Options struct {
	// Name is what messages call the file.
	Name string
	// As is a kind (fruit.picked, with or without version), a table (trees, picks, sprays, labels, weather) or a format: geojson, or one of
	// weather archives (ghcn-daily, isd-lite, metar, senml). Empty: JSON Lines name their kinds themselves, tables are known
	// by their headings, maps by their shapes, archives by the form of their lines.
	As string
	// Sheet is the sheet of a workbook that is read, by its name or a pattern with * and ?; empty: the map says it, or there
	// is only one.
	Sheet string
	// Codes are the codes of the farm's blocks. A number in their place that lacks the zeros of one of them is refused, for
	// spreadsheets take zeros away; empty: numbers are taken as they stand.
	Codes []string
	// Map says what the columns of a table mean; nil: their headings say it.
	Map *Map
	// Catalogue is the kinds that can be read; nil: events.Standard().
	Catalogue *events.Catalogue
	// Zone is the zone of days and clocks in weather tables, which need it. Times in other tables are left as they stand
	// for the door, which knows the farm's.
	Zone *time.Location
	// Station is the station of weather rows that name none. For a file of an archive with several stations it is CODE=ID,
	// the farm's code and the archive's.
	Station string
	// DecimalComma and DateOrder are as in Map; either can say it.
	DecimalComma bool
	DateOrder    DateOrder
	// Person finds the pseudonym behind a tag ("P07") in cells that name a person; nil: cells hold pseudonyms.
	Person func(tag string) (pseudonym string, ok bool)
}

// A Format is how a file is built.
type Format string

// The formats that Open knows.
const (
	JSONLines Format = "jsonl"
	CSV       Format = "csv" // divided by commas, semicolons or tabs
)

// A Reader gives the rows of one file.
type Reader struct {
	src     source
	format  Format
	kind    *events.Kind
	mapped  *Map
	leftOut []string
}

// A source is a file of one format. It is not used after an error.
type source interface {
	// next gives the next row, io.EOF after the last.
	next() (Row, error)
}

// A grid is a table of cells, whatever file it stands in.
type grid interface {
	// row gives the cells of the next row that is not blank, io.EOF after the last. What is wrong with a row as a whole
	// comes as problems; its cells then do not count.
	row() (cells []cell, line int, problems events.Problems, err error)
}

// A Row is one proposed record and where it stood.
type Row struct {
	// Sheet is the sheet of a workbook; empty: the file is none.
	Sheet string
	// Line is the physical line on which the row begins, from 1. Several rows can have one line, where a Map turns the
	// columns of a line into rows.
	Line int
	// Draft is the record as proposed. It has no Type where none could be told.
	Draft events.Draft
	// Problems are the faults found while reading. Where there are any, the draft is incomplete and of no use.
	Problems events.Problems
	// Recorded is the recordedtime of a full envelope, as it stood there; empty: none. The draft's NotedTime has it
	// already, if the envelope brought no other. A devicetime keeps its meaning only beside it: Recorded less the SENT half
	// is the offset of the device's clock as it was measured then.
	Recorded string

	sheet   *sheet
	columns []placed
	blamed  []placed // the columns whose cells the problems are about
	read    string   // the cell of its time
}

// A placed is a column and the path that its cells went to in one row.
type placed struct{ path, heading string }

// Open looks at the beginning of a file and makes a Reader for what it finds. The error is Refusals where the file or its
// heading cannot be read, else that of r.
func Open(r io.Reader, o Options) (*Reader, error) {
	if o.Catalogue == nil {
		o.Catalogue = events.Standard()
	}
	br, head, err := begin(r, o.Name)
	if err != nil {
		return nil, err
	}
	if f, ok := archiveFormat(o, head); ok {
		return openArchive(newLines(br, head), f, o)
	}
	m := o.Map
	if m == nil {
		m = &Map{}
	}
	as := o.As
	if strings.TrimSpace(as) == string(GeoJSON) {
		as = "" // a format and no kind
	}
	switch {
	case as == "":
		as = m.Kind
	case m.Kind != "" && !sameKind(o.Catalogue, as, m.Kind):
		return nil, refused(o.Name, 0, "", events.Problem{Value: m.Kind, Why: say("ingest.kind-twice", "as", as, "map", m.Kind), Instead: say("ingest.kind-twice-instead")})
	}
	var kind *events.Kind
	if as != "" {
		var p *events.Problem
		if kind, p = kindOf(o.Catalogue, as); p != nil {
			return nil, refused(o.Name, 0, "", *p)
		}
	}
	if isWorkbook(head) {
		return openWorkbook(br, kind, m, o)
	}
	if isGeoJSON(o, head) {
		return openGeo(br, kind, m, o)
	}
	in := newLines(br, head)
	out := &Reader{kind: kind, mapped: o.Map}
	if first := bytes.TrimLeft(head, " \t\r\n"); first[0] == '{' {
		line, _, _ := bytes.Cut(first, []byte("\n"))
		if len(bytes.TrimSpace(line)) == 1 {
			return nil, refused(o.Name, 1, "", events.Problem{Why: say("ingest.json-spread"), Instead: say("ingest.json-spread-instead")})
		}
		out.format, out.src = JSONLines, &jsonLines{in: in, kind: kind, catalogue: o.Catalogue, station: o.Station}
		return out, nil
	}
	g, headings, at, err := openCSV(in, o.Name, m.skipped())
	if err != nil {
		return nil, err
	}
	t, err := newTable(g, headings, at, kind, m, o)
	if err != nil {
		return nil, err
	}
	out.format, out.src, out.kind, out.leftOut = CSV, t, t.sheet.kind, t.leftOut
	return out, nil
}

// Next gives the next row. io.EOF ends the file; any other error means that it was not read to its end.
func (r *Reader) Next() (Row, error) {
	row, err := r.src.next()
	if err != nil && !errors.Is(err, io.EOF) {
		return Row{}, fmt.Errorf("ingest: reading: %w", err)
	}
	return row, err
}

// Format is how the file is built.
func (r *Reader) Format() Format { return r.format }

// Kind is the kind of all rows, nil where each line names its own.
func (r *Reader) Kind() *events.Kind { return r.kind }

// Map is the map that the file is read by, nil if none was given.
func (r *Reader) Map() *Map { return r.mapped }

// LeftOut lists the headings of the columns that are not read, because the map says so.
func (r *Reader) LeftOut() []string { return r.leftOut }

// ColumnOf gives the heading of the column that a problem is about: the one whose cells went to path ("data.mass.value"),
// else the nearest around it. Empty: no column led there, or the file is no table.
func (r *Row) ColumnOf(path string) string {
	path = withoutZero(path)
	for at := path; at != ""; at = parent(at) {
		for _, c := range slices.Concat(r.blamed, r.columns) {
			if withoutZero(c.path) == at {
				return c.heading
			}
		}
	}
	for _, c := range r.columns {
		if rest, ok := strings.CutPrefix(withoutZero(c.path), path); ok && (rest[0] == '.' || rest[0] == '[') {
			return c.heading
		}
	}
	// Of several fields of which one must stand, the problem names the first; the table may have a column for another.
	for _, other := range r.sheet.others(path) {
		for _, c := range r.columns {
			if withoutZero(c.path) == other {
				return c.heading
			}
		}
	}
	return ""
}

// others lists the fields of which one must stand where path does not.
func (s *sheet) others(path string) []string {
	i := strings.LastIndexByte(path, '.')
	if s == nil || i < 0 {
		return nil
	}
	shape := s.kind.Shape
	if around, ok := strings.CutPrefix(path[:i], "data."); ok {
		f, fault := s.walk(around)
		if fault != nil {
			return nil
		}
		if shape = f.shape; shape.Elem != nil {
			shape = shape.Elem
		}
	}
	var out []string
	for _, group := range shape.OneOf {
		if slices.Contains(group, path[i+1:]) {
			for _, name := range group {
				out = append(out, path[:i+1]+name)
			}
		}
	}
	return out
}

// withoutZero drops [0], which stands or not for the same thing where a list has one item.
func withoutZero(path string) string { return strings.ReplaceAll(path, "[0]", "") }

// parent is the path of what holds path, "" for data and for attributes of the envelope: a column for the whole of the
// data there is not.
func parent(path string) string {
	i := strings.LastIndexAny(path, ".[")
	if i < 0 || path[:i] == "data" {
		return ""
	}
	return path[:i]
}

// A Refusal says why a file or a map cannot be read, and where in it.
type Refusal struct {
	File   string
	Sheet  string // of a workbook
	Line   int    // from 1; 0: no line in particular
	Column string // the heading; empty: none in particular
	events.Problem
}

// Refusals is the error of Open for files, and of ReadMap and ParseMap for maps, that cannot be read.
type Refusals []Refusal

// Error puts each refusal on a line of its own: file, line, column, what it held, why, and what to write instead.
func (rs Refusals) Error() string {
	var b strings.Builder
	for i, r := range rs {
		if i > 0 {
			b.WriteByte('\n')
		}
		b.WriteString(r.String())
	}
	return b.String()
}

// String is the refusal on one line.
func (r Refusal) String() string {
	var parts []string
	where := r.File
	if r.Sheet != "" {
		where += " (" + r.Sheet + ")"
	}
	if r.Line > 0 {
		where = fmt.Sprintf("%s:%d", where, r.Line)
	}
	if where != "" {
		parts = append(parts, where)
	}
	if r.Column != "" {
		parts = append(parts, fmt.Sprintf("%q", r.Column))
	} else if r.Field != "" {
		parts = append(parts, r.Field)
	}
	parts = append(parts, r.Why.String())
	if s := r.Instead.String(); s != "" {
		parts = append(parts, s)
	}
	return strings.Join(parts, ": ")
}

func refused(file string, line int, column string, p events.Problem) Refusals {
	return Refusals{{File: file, Line: line, Column: column, Problem: p}}
}

// say names a sentence of the catalogue.
//
//words:say
func say(key string, pairs ...any) events.Sentence { return events.Sentence{Key: key, Pairs: pairs} }

const headSize = 64 << 10 // bytes at the beginning of a file by which its format is told

// begin takes a byte order mark off and refuses what is no text in UTF-8. head is the beginning of what br will give, with
// at least one byte that is not blank.
func begin(r io.Reader, name string) (br *bufio.Reader, head []byte, err error) {
	br = bufio.NewReaderSize(r, headSize)
	head, err = br.Peek(headSize)
	if err != nil && !errors.Is(err, io.EOF) {
		return nil, nil, fmt.Errorf("ingest: reading: %w", err)
	}
	if rest, ok := bytes.CutPrefix(head, []byte("\xef\xbb\xbf")); ok {
		if _, err := br.Discard(len(head) - len(rest)); err != nil {
			return nil, nil, fmt.Errorf("ingest: reading: %w", err)
		}
		head = rest
	}
	no := func(line int, why, instead events.Sentence) error {
		return refused(name, line, "", events.Problem{Why: why, Instead: instead})
	}
	text := bytes.TrimLeft(head, " \t\r\n")
	switch {
	case bytes.HasPrefix(head, []byte("\xff\xfe")) || bytes.HasPrefix(head, []byte("\xfe\xff")):
		return nil, nil, no(0, say("ingest.utf16"), say("ingest.save-as-csv"))
	case isWorkbook(head):
		return br, head, nil
	case bytes.IndexByte(head, 0) >= 0:
		return nil, nil, no(0, say("ingest.not-text"), say("ingest.save-as-csv"))
	case len(text) == 0 && len(head) > headSize/2:
		return nil, nil, no(0, say("ingest.blank"), say("ingest.empty-instead"))
	case len(text) == 0:
		return nil, nil, no(0, say("ingest.empty"), say("ingest.empty-instead"))
	case text[0] == '[' && !isPack(text):
		return nil, nil, no(1, say("ingest.json-list"), say("ingest.json-spread-instead"))
	}
	return br, head, nil
}
