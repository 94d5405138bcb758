package report

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"unicode/utf8"

	"latewood/events"
	"latewood/events/words"
	"latewood/services/internal/paper"
)

// A Format is a way to show a report.
type Format string

// The formats.
const (
	AsText Format = "text"
	AsJSON Format = "json"
	AsCSV  Format = "csv"
	AsXLSX Format = "xlsx"
	AsHTML Format = "html"
	AsPDF  Format = "pdf"
)

// Formats lists them.
func Formats() []Format { return []Format{AsText, AsJSON, AsCSV, AsXLSX, AsHTML, AsPDF} }

// Binary reports whether a format is nothing for a terminal.
func (f Format) Binary() bool { return f == AsXLSX || f == AsPDF }

// Paper is a size of sheets: a4 or letter.
type Paper = paper.Size

// Options are what a rendering may be told.
type Options struct {
	Paper Paper  // of PDF; empty: A4
	Table string // of CSV, by its key; empty: the first
}

// ErrFormat says that there is no such format.
var ErrFormat = errors.New("report: no such format")

// ErrNoTable says that a report has no such table, or none at all, so that it cannot be a CSV file.
var ErrNoTable = errors.New("report: no table in it")

// Render writes the report. lack lists the letters that a PDF's font does not have.
func (r *Report) Render(w io.Writer, as Format, o Options) (lack string, err error) {
	switch as {
	case AsText, "":
		return "", r.text(w)
	case AsJSON:
		return "", r.json(w)
	case AsCSV:
		return "", r.csv(w, o.Table)
	case AsXLSX:
		return "", r.xlsx(w)
	case AsHTML:
		return "", r.html(w)
	case AsPDF:
		return r.pdf(w, o)
	}
	return "", fmt.Errorf("%w: %q", ErrFormat, as)
}

// foot is what stands at the end of a report, sentence by sentence.
func (r *Report) foot(say *words.Catalogue) []string {
	out := slices.Clone(r.Foot.Method)
	if r.Foot.Corrected > 0 {
		out = append(out, say.Say("report.corrected", "n", r.Foot.Corrected))
	}
	return append(out, r.origin(say)...)
}

// origin says from what ledger a report was made, and by what.
func (r *Report) origin(say *words.Catalogue) (out []string) {
	if r.Foot.Size > 0 {
		key := "report.ledger"
		if r.Foot.Sealed {
			key = "report.ledger-signed"
		}
		out = append(out, say.Say(key, "size", r.Foot.Size, "root", r.Foot.Root)) //words:keys report.ledger
	}
	if r.Foot.Version != "" {
		out = append(out, say.Say("report.made", "day", r.Foot.Made.String(), "version", r.Foot.Version))
	}
	return out
}

// text writes the report for a terminal.
func (r *Report) text(w io.Writer) error {
	say := r.catalogue()
	var b strings.Builder
	line := func(s string) { b.WriteString(s + "\n") }
	line(r.Title)
	if r.Of != "" {
		line(r.Of)
	}
	fields(&b, r.Covers, say, "")
	for _, s := range r.Sections {
		line("")
		if s.Title != "" {
			line(s.Title)
			line(strings.Repeat("─", utf8.RuneCountInString(s.Title)))
		}
		if s.Big != "" {
			line(s.Big)
		}
		for _, p := range s.Paragraphs {
			line(p)
		}
		fields(&b, s.Fields, say, "  ")
		for _, m := range s.Marks {
			if m.Head != "" {
				line("▌ " + m.Head)
			}
			for _, t := range m.Texts {
				if m.Head != "" {
					t = "• " + t
				}
				line("▌ " + t)
			}
		}
		for _, t := range s.Tables {
			if t.Name != "" && t.Name != s.Title {
				line(t.Name)
			}
			if len(t.Rows) == 0 {
				if t.Empty != "" {
					line(t.Empty)
				}
				continue
			}
			aligned(&b, t, say)
		}
	}
	line("")
	for _, c := range r.Cautions {
		line(c)
	}
	for _, s := range r.foot(say) {
		line(s)
	}
	_, err := io.WriteString(w, b.String())
	return err
}

// fields writes names and values below one another.
func fields(b *strings.Builder, fields []Field, say *words.Catalogue, inset string) {
	wide := 0
	for _, f := range fields {
		wide = max(wide, utf8.RuneCountInString(f.Name))
	}
	for _, f := range fields {
		value := strings.ReplaceAll(f.Value.show(say), "\n", "\n"+inset+strings.Repeat(" ", wide+2))
		fmt.Fprintf(b, "%s%s%s  %s\n", inset, f.Name, strings.Repeat(" ", wide-utf8.RuneCountInString(f.Name)), value)
	}
}

// aligned writes a table with its columns below one another.
func aligned(b *strings.Builder, t Table, say *words.Catalogue) {
	head := make([]string, len(t.Columns))
	width := make([]int, len(t.Columns))
	for c, col := range t.Columns {
		head[c] = col.heading()
		width[c] = utf8.RuneCountInString(head[c])
	}
	rows := make([][]string, len(t.Rows))
	for i, r := range t.Rows {
		rows[i] = make([]string, len(t.Columns))
		for c := range t.Columns {
			if c < len(r) {
				rows[i][c] = strings.ReplaceAll(r[c].show(say), "\n", "; ")
			}
			width[c] = max(width[c], utf8.RuneCountInString(rows[i][c]))
		}
	}
	write := func(cells []string) {
		var l strings.Builder
		for c, cell := range cells {
			if c > 0 {
				l.WriteString("  ")
			}
			pad := strings.Repeat(" ", width[c]-utf8.RuneCountInString(cell))
			if t.Columns[c].Numbers {
				l.WriteString(pad + cell)
			} else {
				l.WriteString(cell + pad)
			}
		}
		b.WriteString(strings.TrimRight(l.String(), " ") + "\n")
	}
	write(head)
	rule := make([]string, len(head))
	for c := range rule {
		rule[c] = strings.Repeat("─", width[c])
	}
	write(rule)
	for _, r := range rows {
		write(r)
	}
}

// csv writes the table with a key, else the first.
func (r *Report) csv(w io.Writer, key string) error {
	for _, t := range r.tables() {
		if key == "" || t.Key == key {
			return t.CSV(w)
		}
	}
	return ErrNoTable
}

// TableKeys lists the keys of the tables that CSV can be made of.
func (r *Report) TableKeys() (out []string) {
	for _, t := range r.tables() {
		out = append(out, t.Key)
	}
	return out
}

// CSV writes the table as RFC 4180 has it. A text that a spreadsheet would take for a formula gets a quote in front.
func (t Table) CSV(w io.Writer) error {
	out := csv.NewWriter(w)
	out.UseCRLF = true
	cells := make([]string, len(t.Columns))
	for c, col := range t.Columns {
		cells[c] = col.Key
	}
	if err := out.Write(cells); err != nil {
		return err
	}
	for _, r := range t.Rows {
		for c := range cells {
			cells[c] = ""
			if c < len(r) {
				cells[c] = guarded(r[c])
			}
		}
		if err := out.Write(cells); err != nil {
			return err
		}
	}
	out.Flush()
	return out.Error()
}

// guarded is a cell for CSV.
func guarded(c Cell) string {
	s := c.exact()
	if c.is == isText && s != "" && strings.ContainsRune("=+-@\t\r\x00", rune(s[0])) {
		return "'" + s
	}
	return s
}

// json writes the agreed document, else the report.
func (r *Report) json(w io.Writer) error {
	document := r.Document
	if document == nil {
		document = r.generic()
	}
	b, err := events.WriteJSON(document)
	if err != nil {
		return fmt.Errorf("report: json: %w", err)
	}
	_, err = w.Write(append(b, '\n'))
	return err
}

// The report as JSON.
type jsonReport struct {
	Kind     string        `json:"kind"`
	Lang     string        `json:"lang"`
	Title    string        `json:"title"`
	Of       string        `json:"of,omitempty"`
	Covers   []jsonField   `json:"covers"`
	Sections []jsonSection `json:"sections"`
	Tables   []jsonTable   `json:"tables,omitempty"` // for machines
	Cautions []string      `json:"cautions"`
	Foot     jsonFoot      `json:"foot"`
}

type jsonFoot struct {
	Method    []string `json:"method"`
	Corrected int      `json:"corrected"`
	Made      string   `json:"made,omitempty"`
	Size      uint64   `json:"size"`
	Root      string   `json:"root,omitempty"`
	Sealed    bool     `json:"sealed"`
	Version   string   `json:"version,omitempty"`
}

type jsonField struct {
	Key   string `json:"key"`
	Name  string `json:"name"`
	Value any    `json:"value"` // null: not known
}

type jsonMark struct {
	Head  string   `json:"head,omitempty"`
	Texts []string `json:"texts"`
}

type jsonSection struct {
	Title      string      `json:"title,omitempty"`
	Big        string      `json:"big,omitempty"`
	Paragraphs []string    `json:"paragraphs,omitempty"`
	Fields     []jsonField `json:"fields,omitempty"`
	Marks      []jsonMark  `json:"marks,omitempty"`
	Tables     []jsonTable `json:"tables,omitempty"`
}

type jsonTable struct {
	Key  string           `json:"key"`
	Name string           `json:"name"`
	Rows []map[string]any `json:"rows"`
}

func (r *Report) generic() jsonReport {
	lang := r.Lang
	if lang == "" {
		lang = words.English
	}
	out := jsonReport{
		Kind: r.Kind, Lang: lang, Title: r.Title, Of: r.Of, Covers: jsonFields(r.Covers), Sections: []jsonSection{},
		Tables: jsonTables(r.Data), Cautions: append([]string{}, r.Cautions...),
		Foot: jsonFoot{append([]string{}, r.Foot.Method...), r.Foot.Corrected, "", r.Foot.Size, r.Foot.Root, r.Foot.Sealed, r.Foot.Version},
	}
	if !r.Foot.Made.IsZero() {
		out.Foot.Made = r.Foot.Made.String()
	}
	for _, s := range r.Sections {
		one := jsonSection{Title: s.Title, Big: s.Big, Paragraphs: s.Paragraphs, Tables: jsonTables(s.Tables)}
		if len(s.Fields) > 0 {
			one.Fields = jsonFields(s.Fields)
		}
		for _, m := range s.Marks {
			one.Marks = append(one.Marks, jsonMark{m.Head, append([]string{}, m.Texts...)})
		}
		out.Sections = append(out.Sections, one)
	}
	return out
}

func jsonFields(fields []Field) []jsonField {
	out := []jsonField{}
	for _, f := range fields {
		out = append(out, jsonField{f.Key, f.Name, f.Value.value()})
	}
	return out
}

func jsonTables(tables []Table) (out []jsonTable) {
	for _, t := range tables {
		one := jsonTable{Key: t.Key, Name: t.Name, Rows: []map[string]any{}}
		for _, r := range t.Rows {
			row := map[string]any{}
			for c, col := range t.Columns {
				if c < len(r) && r[c].Known() {
					row[col.Key] = r[c].value()
				}
			}
			one.Rows = append(one.Rows, row)
		}
		out = append(out, one)
	}
	return out
}
