package report

import (
	"bytes"
	_ "embed"
	"fmt"
	"html/template"
	"io"
	"strings"
	"time"
	"unicode/utf8"

	"latewood/events/words"
	"latewood/services/internal/paper"
	"latewood/services/internal/sheets"
)

// pdf writes the report as PDF.
func (r *Report) pdf(w io.Writer, o Options) (lack string, err error) {
	say := r.catalogue()
	info := paper.Info{Size: o.Paper, Wide: r.Wide, Title: r.Title, Lang: say.Lang(), Made: time.Date(r.Foot.Made.Year, r.Foot.Made.Month, r.Foot.Made.Day, 0, 0, 0, 0, time.UTC)}
	feet := paper.Feet{
		Left: strings.Join(r.origin(say), " "),
		Page: func(page, pages int) string { return say.Say("report.page", "page", page, "pages", pages) },
		Head: func(int, int) string { return strings.Trim(r.Title+", "+r.Of, ", ") },
	}
	lack, err = paper.Set(w, info, feet, func(f *paper.Flow) { r.flow(f, say) })
	if err != nil {
		return lack, fmt.Errorf("report: pdf: %w", err)
	}
	return lack, nil
}

func (r *Report) flow(f *paper.Flow, say *words.Catalogue) {
	f.Title(r.Title, r.Of)
	if len(r.Covers) > 0 {
		f.Pairs(pairs(r.Covers, say))
	}
	for _, s := range r.Sections {
		if s.Fresh {
			f.Fresh()
		}
		f.Heading(s.Title)
		if s.Big != "" {
			f.Big(s.Big)
		}
		for _, p := range s.Paragraphs {
			f.Paragraph(p)
		}
		if len(s.Fields) > 0 {
			f.Pairs(pairs(s.Fields, say))
		}
		for _, m := range s.Marks {
			f.Marked(m.Head, m.Texts)
		}
		for _, g := range s.Figures {
			f.Figure(g.Title, g.PNG, g.Width, g.Height)
		}
		for _, t := range s.Tables {
			if t.Name != s.Title {
				f.Heading(t.Name)
			}
			if len(t.Rows) == 0 {
				if t.Empty != "" {
					f.Paragraph(t.Empty)
				}
				continue
			}
			columns := make([]paper.Column, len(t.Columns))
			for i, c := range t.Columns {
				columns[i] = paper.Column{Heading: c.heading(), Right: c.Numbers}
			}
			rows := make([][]string, len(t.Rows))
			for i, row := range t.Rows {
				for _, c := range row {
					rows[i] = append(rows[i], c.show(say))
				}
			}
			f.Table(columns, rows)
		}
	}
	if len(r.Cautions) > 0 {
		f.Space(2)
		f.Marked("", r.Cautions)
	}
	for _, s := range r.foot(say)[:len(r.foot(say))-len(r.origin(say))] {
		f.Small(s)
	}
}

func pairs(fields []Field, say *words.Catalogue) []paper.Pair {
	out := make([]paper.Pair, len(fields))
	for i, f := range fields {
		out[i] = paper.Pair{Name: f.Name, Value: f.Value.show(say), Wide: f.Wide}
	}
	return out
}

// xlsx writes the report as a workbook: what it says on the first sheet, each table on one of its own.
func (r *Report) xlsx(w io.Writer) (err error) {
	say := r.catalogue()
	book, err := sheets.NewWorkbook(r.Title)
	if err != nil {
		return err
	}
	defer func() {
		if cerr := book.Close(); err == nil {
			err = cerr
		}
	}()
	taken := map[string]bool{}
	about, err := book.Sheet(sheetName(say.Say("report.sheet-about"), taken), []sheets.Column{{Heading: say.Say("report.sheet-what"), Width: 32}, {Heading: r.Title, Width: 90}})
	if err != nil {
		return err
	}
	var rows [][2]sheets.Value
	put := func(name string, v sheets.Value) { rows = append(rows, [2]sheets.Value{sheets.Words(name), v}) }
	if r.Of != "" {
		put("", sheets.Words(r.Of))
	}
	for _, f := range r.Covers {
		put(f.Name, f.Value.sheet())
	}
	for _, c := range r.Cautions {
		put(say.Say("report.caution"), sheets.Words(c))
	}
	for _, s := range r.foot(say) {
		put("", sheets.Words(s))
	}
	for _, row := range rows {
		if err := about.Text(row[0], row[1]); err != nil {
			return err
		}
	}
	if err := about.Done(); err != nil {
		return err
	}
	for _, t := range r.tables() {
		if err := t.sheet(book, taken); err != nil {
			return err
		}
	}
	_, err = book.WriteTo(w)
	return err
}

// sheet writes the table onto a sheet.
func (t Table) sheet(book *sheets.Workbook, taken map[string]bool) error {
	columns := make([]sheets.Column, len(t.Columns))
	for i, c := range t.Columns {
		columns[i] = sheets.Column{Heading: c.heading(), Width: t.width(i)}
	}
	name := t.Name
	if name == "" {
		name = t.Key
	}
	page, err := book.Sheet(sheetName(name, taken), columns)
	if err != nil {
		return err
	}
	for _, r := range t.Rows {
		values := make([]sheets.Value, len(r))
		for i, c := range r {
			values[i] = c.sheet()
		}
		if err := page.Row(values...); err != nil {
			return err
		}
	}
	if err := page.Filter(); err != nil {
		return err
	}
	return page.Done()
}

// width is how wide a column of a sheet is to be, in characters.
func (t Table) width(i int) float64 {
	most := utf8.RuneCountInString(t.Columns[i].heading()) + 3
	for _, r := range t.Rows {
		if i < len(r) {
			most = max(most, utf8.RuneCountInString(r[i].exact())+2)
		}
	}
	return float64(min(max(most, 9), 60))
}

// sheetName makes a name that a sheet may have and that is not taken.
func sheetName(s string, taken map[string]bool) string {
	s = strings.Map(func(r rune) rune {
		if strings.ContainsRune(`[]:*?/\'`, r) {
			return ' '
		}
		return r
	}, s)
	runes := []rune(strings.TrimSpace(s))
	base := strings.TrimSpace(string(runes[:min(len(runes), 28)]))
	name := base
	for n := 2; taken[strings.ToLower(name)]; n++ {
		name = fmt.Sprintf("%s %d", base, n)
	}
	taken[strings.ToLower(name)] = true
	return name
}

// sheet is the cell for a workbook.
func (c Cell) sheet() sheets.Value {
	switch c.is {
	case isNumber:
		return sheets.Figure(c.num)
	case isDay:
		return sheets.Day(c.day)
	case isTruth:
		return sheets.Truth(c.num == 1)
	}
	return sheets.Words(c.exact())
}

//go:embed page.html
var pageText string

// html writes the report as one page for a browser, to be printed from there.
func (r *Report) html(w io.Writer) error {
	say := r.catalogue()
	page, err := template.New("page").Funcs(template.FuncMap{
		"show":    func(c Cell) string { return c.show(say) },
		"heading": Column.heading,
		"picture": func(svg []byte) template.HTML { return template.HTML(svg) }, // drawn by us, not by a user
		"lang":    say.Lang,
	}).Parse(pageText)
	if err != nil {
		return fmt.Errorf("report: html: %w", err)
	}
	var b bytes.Buffer
	if err := page.Execute(&b, struct {
		*Report
		Below []string
	}{r, r.foot(say)}); err != nil {
		return fmt.Errorf("report: html: %w", err)
	}
	_, err = w.Write(b.Bytes())
	return err
}
