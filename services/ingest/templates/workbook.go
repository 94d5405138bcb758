package templates

import (
	"fmt"
	"io"
	"regexp"
	"strings"

	"latewood/events"
	"latewood/events/words"
	"latewood/services/internal/sheets"
)

// Columns of the sheet that explains, from 0. The lists of the farm stand beside the text, where drop-downs find them.
const (
	readColumn = iota
	readWhat
	readHow
	readExample
	readUnits
	readGap
	readBlocks
	readBlockNames
	readStations
	readStationNames
	readLabels
	readLabelNames
	readWords // lists of words that are too long for a cell's own rule
)

// A page is the cells of the sheet that explains, filled here and there.
type page struct {
	rows [][]string
	head int // the row that heads the list of columns
}

func (p *page) put(row, column int, text string) {
	for len(p.rows) <= row {
		p.rows = append(p.rows, nil)
	}
	for len(p.rows[row]) <= column {
		p.rows[row] = append(p.rows[row], "")
	}
	p.rows[row][column] = text
}

// list puts a list below a heading and returns the range of its items, as a drop-down names it.
func (p *page) list(column int, items []string) string {
	for i, text := range items {
		p.put(i, column, text)
	}
	name := columnName(column)
	return fmt.Sprintf("'%s'!$%s$2:$%s$%d", sheets.ReadMe, name, name, len(items)+1) // row 1 is the heading
}

// XLSX writes the table, and a sheet that explains it.
func (t *Template) XLSX(out io.Writer) (err error) {
	w, err := sheets.NewWorkbook(t.Kind.Name)
	if err != nil {
		return err
	}
	defer func() {
		if cerr := w.Close(); err == nil {
			err = cerr
		}
	}()
	var p page
	ranges, headings := t.lists(&p)
	if err := t.table(w, ranges); err != nil {
		return err
	}
	t.explain(&p)
	if err := p.write(w, headings); err != nil {
		return err
	}
	if _, err := w.WriteTo(out); err != nil {
		return fmt.Errorf("templates: %w", err)
	}
	return nil
}

// lists puts what drop-downs offer onto the page. ranges are by what is offered; headings by column.
func (t *Template) lists(p *page) (ranges, headings map[string]string) {
	ranges, headings = map[string]string{}, map[string]string{}
	offer := func(of string, at int, choices []Choice, head, second string) {
		used := false
		for _, c := range t.Columns {
			used = used || c.Of == of
		}
		if !used || len(choices) == 0 {
			return
		}
		codes := make([]string, len(choices))
		for i, c := range choices {
			codes[i] = c.Code
			p.put(i, at+1, c.Name)
		}
		ranges[of] = p.list(at, codes)
		headings[fmt.Sprint(at)], headings[fmt.Sprint(at+1)] = head, second
	}
	offer("blocks", readBlocks, t.farm.Blocks, words.Say("out.list-blocks"), words.Say("out.list-name"))
	offer("stations", readStations, t.farm.Stations, words.Say("out.list-stations"), words.Say("out.list-name"))
	offer("labels", readLabels, t.farm.Labels, words.Say("out.list-labels"), words.Say("out.list-product"))
	at := readWords
	for _, c := range t.Columns {
		if len(c.Choices) > 0 && !sheets.ChoicesFit(c.Choices) {
			ranges[c.Text] = p.list(at, c.Choices)
			headings[fmt.Sprint(at)] = c.Text
			at++
		}
	}
	return ranges, headings
}

// table writes the headings, the drop-downs and the example.
func (t *Template) table(w *sheets.Workbook, ranges map[string]string) error {
	columns := make([]sheets.Column, len(t.Columns))
	values := make([]sheets.Value, len(t.Columns))
	row := t.exampleRow()
	for i, c := range t.Columns {
		columns[i] = sheets.Column{
			Heading: c.Text, Must: c.Required, Aside: c.Aside, Keep: c.keep(), Only: c.Only, Hint: t.hint(c),
			Width: float64(min(max(min(len(c.Text), 22)+3, min(len(row[i]), 30)+2, 10), 34)),
		}
		if r := ranges[c.Text]; r != "" {
			columns[i].Range = r
		} else if r := ranges[c.Of]; c.Of != "" && r != "" {
			columns[i].Range = r
		} else {
			columns[i].Choices = c.Choices
		}
		values[i] = c.value(row[i])
	}
	values[0] = sheets.Words(row[0])
	s, err := w.Sheet(t.Kind.Name, columns)
	if err != nil {
		return err
	}
	if err := s.Example(values...); err != nil {
		return err
	}
	return s.Done()
}

// hint is what a heading says of its column when one stands on it.
func (t *Template) hint(c Column) string {
	return strings.TrimSpace(strings.Join([]string{t.must(c), t.what(c), t.how(c)}, " "))
}

// must says whether a column has to be filled in.
func (t *Template) must(c Column) string {
	switch {
	case c.Required:
		return words.Say("out.must")
	case c.When != nil && len(c.When.Words) > 0:
		return words.Say("out.must-when", "column", c.When.Column, "words", strings.Join(c.When.Words, ", "))
	case len(c.OneOf) > 0:
		return words.Say("out.must-one", "columns", strings.Join(c.OneOf, ", "))
	}
	return ""
}

// what says what a column means: the line of the schema, or a sentence for what all kinds have.
func (t *Template) what(c Column) string {
	switch {
	case c.Field == "time" && !c.Required:
		return words.Say("out.what-time-else", "columns", strings.Join(t.Kind.TimeFrom, ", "))
	case c.Field == "time":
		return words.Say("out.what-time")
	case c.Field == "id":
		return words.Say("out.what-id")
	case c.Field == "actor":
		return words.Say("out.what-actor")
	case c.Field == "notedtime":
		return words.Say("out.what-notedtime")
	}
	name := c.Field[strings.LastIndexByte(c.Field, '.')+1:]
	if strings.HasPrefix(c.Field, "data.where") {
		switch name {
		case "block":
			return words.Say("out.what-block")
		case "rows":
			return words.Say("out.what-rows")
		case "trees":
			return words.Say("out.what-trees")
		case "except":
			return words.Say("out.what-except")
		case "share":
			return words.Say("out.what-share")
		case "side":
			return words.Say("out.what-side")
		}
	}
	text := spoken(strings.TrimPrefix(c.Field, "data."))
	if c.Doc != "" {
		text += ": " + c.Doc
	}
	if !strings.HasSuffix(text, ".") {
		text += "."
	}
	return strings.ToUpper(text[:1]) + text[1:]
}

// index is the number of an item: mix[1].
var index = regexp.MustCompile(`\[\d+\]`)

// spoken takes a path apart: referenceDocument.number is reference document, number.
func spoken(path string) string {
	var b strings.Builder
	for _, r := range index.ReplaceAllString(path, "") {
		switch {
		case r == '.':
			b.WriteString(", ")
		case r >= 'A' && r <= 'Z':
			b.WriteByte(' ')
			b.WriteRune(r + 'a' - 'A')
		default:
			b.WriteRune(r)
		}
	}
	return b.String()
}

// how says how a cell is written.
func (t *Template) how(c Column) string {
	var text string
	switch {
	case len(c.Words) > 0:
		text = words.Say("out.how-words", "words", strings.Join(c.Words, ", "))
	case c.Of == "labels":
		text = words.Say("out.how-label")
	case c.Form == events.FormLabel && strings.HasSuffix(c.Field, "rows"):
		return words.Say("out.how-rows")
	default:
		text = words.Say("out.form-" + string(c.Form)) //words:keys out.form-
	}
	if c.List {
		text += " " + words.Say("out.how-list")
	}
	return text
}

// explain writes what the table is and what each column means.
func (t *Template) explain(p *page) {
	row := 0
	line := func(name, text string) {
		p.put(row, readColumn, name)
		p.put(row, readWhat, text)
		row++
	}
	line(words.Say("out.template-what"), words.Say("out.template-what-text", "kind", t.Kind.Name))
	line(words.Say("out.template-fill"), words.Say("out.template-fill-text"))
	line(words.Say("out.template-example"), words.Say("out.template-example-text", "mark", sheets.ExampleMark))
	line(words.Say("out.template-dates"), words.Say("out.template-dates-text"))
	line(words.Say("out.template-units"), words.Say("out.template-units-text"))
	line(words.Say("out.template-several"), words.Say("out.template-several-text"))
	line(words.Say("out.template-empty"), words.Say("out.template-empty-text"))
	line(words.Say("out.template-in"), words.Say("out.template-in-text", "kind", t.Kind.Name))
	line(words.Say("out.caution"), t.caution())
	row++
	p.head = row
	for i, key := range []string{words.Say("out.read-column"), words.Say("out.read-what"), words.Say("out.read-how"), words.Say("out.read-example"), words.Say("out.read-units")} {
		p.put(row, i, key)
	}
	row++
	for _, c := range t.Columns {
		p.put(row, readColumn, c.Text)
		p.put(row, readWhat, strings.TrimSpace(t.must(c)+" "+t.what(c)))
		p.put(row, readHow, t.how(c))
		p.put(row, readExample, cut(c.Example))
		p.put(row, readUnits, strings.Join(c.Units, "  "))
		row++
	}
}

// cut shortens an example that is a whole outline.
func cut(s string) string {
	if r := []rune(s); len(r) > 80 {
		return string(r[:79]) + "…"
	}
	return s
}

// caution is the one that applies to the kind.
func (t *Template) caution() string {
	switch class, _, _ := strings.Cut(t.Kind.Name, "."); class {
	case "spray", "label", "hold", "entry", "fruit", "lot", "delivery", "harvest":
		return words.Say("holds.caution")
	}
	return words.Say("out.caution-people")
}

// write puts the page onto its sheet.
func (p *page) write(w *sheets.Workbook, headings map[string]string) error {
	width := readGap + 1
	for _, r := range p.rows {
		width = max(width, len(r))
	}
	columns := make([]sheets.Column, width)
	for i := range columns {
		columns[i] = sheets.Column{Heading: headings[fmt.Sprint(i)], Width: 20}
	}
	for i, wide := range []float64{28, 56, 48, 26, 30, 4} {
		columns[i].Width = wide
	}
	columns[readGap].Off = true
	if len(columns) > readLabels {
		columns[readLabels].Width = 40
	}
	columns[0].Heading = words.Say("out.read-me")
	s, err := w.Sheet(sheets.ReadMe, columns)
	if err != nil {
		return err
	}
	for n, r := range p.rows {
		values := make([]sheets.Value, len(r))
		for i, text := range r {
			values[i] = sheets.Words(text)
		}
		write := s.Text
		if n == p.head {
			write = s.Head
		}
		if err := write(values...); err != nil {
			return err
		}
	}
	return s.Done()
}

// columnName is A for 0, AA for 26.
func columnName(i int) string {
	name := ""
	for i++; i > 0; i = (i - 1) / 26 {
		name = string(rune('A'+(i-1)%26)) + name
	}
	return name
}
