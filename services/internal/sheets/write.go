package sheets

import (
	"archive/zip"
	"bytes"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"unicode/utf16"

	"github.com/xuri/excelize/v2"

	"latewood/events/civil"
)

// What a sheet cannot hold.
var (
	ErrLongText = errors.New("sheets: a cell holds at most 32,767 characters")
	ErrFull     = errors.New("sheets: a sheet holds at most 1,048,576 rows and 16,384 columns")
	ErrName     = errors.New("sheets: a sheet's name has 1 to 31 characters, none of []:*?/\\, and stands once")
)

// MaxText is the most that one cell holds, in UTF-16 code units (the limit of the common spreadsheets).
const MaxText = 32_767

// firstDay is the first day that both ways of counting days and all spreadsheets agree on: the day after the 29 February
// 1900 that was not (ECMA-376 part 1, 18.17.4.1). Dates before it are written as text.
var firstDay = civil.Date{Year: 1900, Month: 3, Day: 1}

// A Value is what goes into one cell. The zero Value leaves it empty.
type Value struct {
	is   valueKind
	text string
	num  float64
}

type valueKind uint8

const (
	isNothing valueKind = iota
	isText
	isNumber
	isDay
	isTruth
)

// Words is a cell of text. It is never a formula, whatever it begins with.
func Words(s string) Value {
	if s == "" {
		return Value{}
	}
	return Value{is: isText, text: s}
}

// Figure is a cell of a number.
func Figure(f float64) Value { return Value{is: isNumber, num: f} }

// Day is a cell of a date, shown as YYYY-MM-DD wherever the sheet is opened. A date that sheets cannot count is a text.
func Day(d civil.Date) Value {
	if d.Before(firstDay) || d.Year > 9999 {
		return Words(d.String())
	}
	return Value{is: isDay, num: float64(d.Sub(civil.Date{Year: 1899, Month: 12, Day: 30}))}
}

// Truth is a cell of true or false.
func Truth(b bool) Value {
	v := Value{is: isTruth}
	if b {
		v.num = 1
	}
	return v
}

// Keep says as what a spreadsheet keeps that which people type below a heading.
type Keep uint8

// KeepText holds "1-3" and "007" as they are typed, where a spreadsheet would make a date and a number of them.
const (
	KeepAny Keep = iota
	KeepText
	KeepDays
)

// A Column is one column of a sheet: its heading and what people find there.
type Column struct {
	Heading string
	Width   float64 // in characters; 0: as wide as the heading
	Must    bool    // the heading stands out
	Aside   bool    // the heading stands back: nobody has to fill it in
	Keep    Keep
	// Choices are offered in a drop-down. Those of more than 255 characters together do not fit into a cell's rule: put them
	// on a sheet and name the Range.
	Choices []string
	Range   string // 'read me'!$H$2:$H$40
	// Only refuses what is not among the choices; else the spreadsheet asks back.
	Only bool
	// Off leaves this column and those behind it out when the sheet is printed.
	Off bool
	// Hint is shown to who stands on the heading, cut at 255 characters.
	Hint string
}

// ChoicesFit reports whether choices can stand in a cell's own rule.
func ChoicesFit(choices []string) bool {
	return len(utf16.Encode([]rune(strings.Join(choices, ",")))) <= 255 && !slices.ContainsFunc(choices, func(s string) bool { return strings.Contains(s, ",") })
}

// A Workbook is a workbook that is being written: sheet by sheet, each row by row. The same calls give the same bytes: the
// dates inside are fixed, and the parts of the archive sorted.
type Workbook struct {
	f      *excelize.File
	names  []string
	styles map[style]int
	open   *Page
}

// style is one look of a cell.
type style struct {
	format  string // a number format; empty: general
	bold    bool
	grey    bool
	wrap    bool
	fill    string
	colour  string
	heading bool
}

// NewWorkbook begins a workbook. title stands in its properties.
func NewWorkbook(title string) (*Workbook, error) {
	f := excelize.NewFile()
	const made = "2000-01-01T00:00:00Z" // a real date would make other bytes of the same rows
	err := errors.Join(
		f.SetDocProps(&excelize.DocProperties{Title: title, Creator: "Latewood", LastModifiedBy: "Latewood", Created: made, Modified: made}),
		f.SetAppProps(&excelize.AppProperties{Application: "Latewood"}),
	)
	if err != nil {
		return nil, fmt.Errorf("sheets: new workbook: %w", err)
	}
	return &Workbook{f: f, styles: map[style]int{}}, nil
}

// Close lets go of what the library holds; temporary files of large sheets among it.
func (w *Workbook) Close() error { return w.f.Close() }

func (w *Workbook) style(s style) (int, error) {
	if id, ok := w.styles[s]; ok {
		return id, nil
	}
	x := excelize.Style{Alignment: &excelize.Alignment{Vertical: "top", WrapText: s.wrap}}
	if s.heading {
		x.Alignment.Vertical = "center"
		x.Border = []excelize.Border{{Type: "bottom", Color: "5B7B4F", Style: 2}}
	}
	if s.format != "" {
		x.CustomNumFmt = &s.format
	}
	if s.bold || s.grey || s.colour != "" {
		x.Font = &excelize.Font{Bold: s.bold, Italic: s.grey, Color: s.colour, Family: "Calibri", Size: 11}
		if s.grey {
			x.Font.Color = "6B6B6B"
		}
	}
	if s.fill != "" {
		x.Fill = excelize.Fill{Type: "pattern", Pattern: 1, Color: []string{s.fill}}
	}
	id, err := w.f.NewStyle(&x)
	if err != nil {
		return 0, fmt.Errorf("sheets: style: %w", err)
	}
	w.styles[s] = id
	return id, nil
}

// A Page is a sheet that is being written.
type Page struct {
	w       *Workbook
	name    string
	columns []Column
	stream  *excelize.StreamWriter
	row     int
}

// Sheet begins the next sheet and writes its headings. The sheet before it must be done.
func (w *Workbook) Sheet(name string, columns []Column) (*Page, error) {
	if w.open != nil {
		return nil, fmt.Errorf("sheets: %q is begun before %q is done", name, w.open.name)
	}
	doubled := slices.ContainsFunc(w.names, func(n string) bool { return strings.EqualFold(n, name) })
	if n := len(utf16.Encode([]rune(name))); n == 0 || n > 31 || strings.ContainsAny(name, `[]:*?/\`) || doubled {
		return nil, fmt.Errorf("%w: %q", ErrName, name)
	}
	if len(columns) > MaxColumns {
		return nil, ErrFull
	}
	var err error
	if len(w.names) == 0 {
		err = w.f.SetSheetName("Sheet1", name)
	} else {
		_, err = w.f.NewSheet(name)
	}
	if err != nil {
		return nil, fmt.Errorf("sheets: sheet %q: %w", name, err)
	}
	w.names = append(w.names, name)
	s := &Page{w: w, name: name, columns: columns, row: 1}
	if err := s.begin(); err != nil {
		return nil, fmt.Errorf("sheets: sheet %q: %w", name, err)
	}
	w.open = s
	return s, nil
}

// begin writes what stands before the rows.
func (s *Page) begin() error {
	f := s.w.f
	landscape, paper, yes, zero := "landscape", 9, true, 0 // 9 is A4
	if err := f.SetPageLayout(s.name, &excelize.PageLayoutOptions{Orientation: &landscape, Size: &paper, FitToHeight: &zero}); err != nil {
		return err
	}
	if s.width() < 220 { // more does not become readable by being made to fit
		if err := f.SetSheetProps(s.name, &excelize.SheetPropsOptions{FitToPage: &yes}); err != nil {
			return err
		}
	}
	stream, err := f.NewStreamWriter(s.name)
	if err != nil {
		return err
	}
	s.stream = stream
	if err := stream.SetPanes(&excelize.Panes{Freeze: true, YSplit: 1, TopLeftCell: "A2", ActivePane: "bottomLeft",
		Selection: []excelize.Selection{{SQRef: "A2", ActiveCell: "A2", Pane: "bottomLeft"}}}); err != nil {
		return err
	}
	for i, c := range slices.Backward(s.columns) { // the library puts each before the others, and they have to stand in order
		if err := stream.SetColWidth(i+1, i+1, c.width()); err != nil {
			return err
		}
		if format := c.Keep.format(); format != "" {
			id, err := s.w.style(style{format: format})
			if err != nil {
				return err
			}
			if err := stream.SetColStyle(i+1, i+1, id); err != nil {
				return err
			}
		}
	}
	if err := s.rules(); err != nil {
		return err
	}
	return s.headings()
}

// printed is the columns that are printed.
func (s *Page) printed() []Column {
	if i := slices.IndexFunc(s.columns, func(c Column) bool { return c.Off }); i >= 0 {
		return s.columns[:i]
	}
	return s.columns
}

func (s *Page) width() (sum float64) {
	for _, c := range s.printed() {
		sum += c.width()
	}
	return sum
}

func (c *Column) width() float64 {
	if c.Width > 0 {
		return min(c.Width, 120)
	}
	return min(max(float64(len([]rune(c.Heading)))+3, 10), 40)
}

func (k Keep) format() string {
	switch k {
	case KeepText:
		return "@"
	case KeepDays:
		return "yyyy\\-mm\\-dd"
	}
	return ""
}

func (s *Page) headings() error {
	cells := make([]any, len(s.columns))
	for i, c := range s.columns {
		look := style{format: "@", bold: true, heading: true, wrap: true, fill: "E4EDDD"}
		switch {
		case c.Must:
			look.fill, look.colour = "3F6B35", "FFFFFF"
		case c.Aside:
			look.bold, look.fill, look.colour = false, "F2F2F2", "6B6B6B"
		}
		id, err := s.w.style(look)
		if err != nil {
			return err
		}
		cells[i] = excelize.Cell{StyleID: id, Value: c.Heading}
	}
	return s.stream.SetRow("A1", cells, excelize.RowOpts{Height: 32})
}

// lastRuled is the last row for which choices are offered.
const lastRuled = 5000

// rules puts drop-downs below the headings, and hints onto them.
func (s *Page) rules() error {
	for i, c := range s.columns {
		letter, err := excelize.ColumnNumberToName(i + 1)
		if err != nil {
			return err
		}
		if c.Hint != "" {
			rule := excelize.NewDataValidation(true)
			rule.SetSqref(letter + "1")
			rule.SetInput(cut(c.Heading, 32), cut(c.Hint, 255))
			if err := s.w.f.AddDataValidation(s.name, rule); err != nil {
				return err
			}
		}
		if len(c.Choices) == 0 && c.Range == "" {
			continue
		}
		rule := excelize.NewDataValidation(true)
		rule.SetSqref(fmt.Sprintf("%s2:%s%d", letter, letter, lastRuled))
		if c.Range != "" {
			rule.SetSqrefDropList(c.Range)
		} else if err := rule.SetDropList(c.Choices); err != nil {
			return err
		}
		if rule.ShowErrorMessage = c.Only; !c.Only {
			rule.ErrorStyle = nil
		}
		if err := s.w.f.AddDataValidation(s.name, rule); err != nil {
			return err
		}
	}
	return nil
}

// cut shortens a text to a number of UTF-16 code units.
func cut(s string, most int) string {
	for len(utf16.Encode([]rune(s))) > most {
		r := []rune(s)
		s = strings.TrimRight(string(r[:len(r)-2]), " ,;") + "…"
	}
	return s
}

// A look is how a row is shown.
type look uint8

const (
	plainRow look = iota
	exampleRow
	textRow
	headRow
)

// Row writes the next row, a value a column.
func (s *Page) Row(values ...Value) error { return s.write(values, plainRow) }

// Example writes the next row in grey.
func (s *Page) Example(values ...Value) error { return s.write(values, exampleRow) }

// Text writes the next row with lines that break inside their cells, the first cell in bold.
func (s *Page) Text(values ...Value) error { return s.write(values, textRow) }

// Head writes the next row as a heading within the sheet.
func (s *Page) Head(values ...Value) error { return s.write(values, headRow) }

func (s *Page) write(values []Value, as look) error {
	if s.row >= MaxRows || len(values) > MaxColumns {
		return ErrFull
	}
	s.row++
	cells := make([]any, len(values))
	for i, v := range values {
		style := style{grey: as == exampleRow, wrap: as >= textRow, bold: as == headRow || as == textRow && i == 0}
		if as == headRow {
			style.fill = "E4EDDD"
		}
		var what any
		switch v.is {
		case isNothing:
			continue
		case isText:
			if n := len(utf16.Encode([]rune(v.text))); n > MaxText {
				return fmt.Errorf("%w: %s%d would hold %d", ErrLongText, letter(i), s.row, n)
			}
			style.format, what = "@", v.text
		case isNumber:
			what = v.num
		case isDay:
			style.format, what = KeepDays.format(), v.num
		case isTruth:
			what = v.num == 1
		}
		id, err := s.w.style(style)
		if err != nil {
			return err
		}
		cells[i] = excelize.Cell{StyleID: id, Value: what}
	}
	var options []excelize.RowOpts
	if as >= textRow { // programs that open the sheet do not all make room for lines that break
		options = append(options, excelize.RowOpts{Height: 15.5 * float64(s.lines(values))})
	}
	if err := s.stream.SetRow(fmt.Sprintf("A%d", s.row), cells, options...); err != nil {
		return fmt.Errorf("sheets: sheet %q, row %d: %w", s.name, s.row, err)
	}
	return nil
}

// lines is how many lines a row of texts takes, about.
func (s *Page) lines(values []Value) int {
	most := 1
	for i, v := range values {
		if i >= len(s.columns) {
			break
		}
		n := 0
		for line := range strings.SplitSeq(v.text, "\n") {
			n += 1 + int(float64(len([]rune(line)))/s.columns[i].width())
		}
		most = max(most, n)
	}
	return min(most, 26) // a row is at most 409 points high
}

func letter(i int) string {
	name, err := excelize.ColumnNumberToName(i + 1)
	if err != nil {
		return "?"
	}
	return name
}

// Filter puts arrows onto the headings, by which rows are sorted and chosen. It is called before Done.
func (s *Page) Filter() error {
	if len(s.columns) == 0 {
		return nil
	}
	if err := s.w.f.AutoFilter(s.name, fmt.Sprintf("A1:%s%d", letter(len(s.columns)-1), max(s.row, 2)), nil); err != nil {
		return fmt.Errorf("sheets: filter of %q: %w", s.name, err)
	}
	return nil
}

// Done ends the sheet.
func (s *Page) Done() error {
	s.w.open = nil
	var err error
	if n := len(s.printed()); n > 0 && n < len(s.columns) {
		err = s.w.f.SetDefinedName(&excelize.DefinedName{Name: "_xlnm.Print_Area", RefersTo: fmt.Sprintf("'%s'!$A$1:$%s$%d", s.name, letter(n-1), s.row), Scope: s.name})
	}
	err = errors.Join(err, s.w.f.SetDefinedName(&excelize.DefinedName{Name: "_xlnm.Print_Titles", RefersTo: "'" + s.name + "'!$1:$1", Scope: s.name}))
	if err := errors.Join(err, s.stream.Flush()); err != nil {
		return fmt.Errorf("sheets: sheet %q: %w", s.name, err)
	}
	return nil
}

// WriteTo writes the workbook, which has at least one sheet and none that is not done.
func (w *Workbook) WriteTo(out io.Writer) (int64, error) {
	if w.open != nil || len(w.names) == 0 {
		return 0, errors.New("sheets: a workbook without sheets, or with one that is not done")
	}
	packed, err := w.f.WriteToBuffer()
	if err != nil {
		return 0, fmt.Errorf("sheets: writing: %w", err)
	}
	counted := &counter{w: out}
	if err := repack(counted, packed.Bytes()); err != nil {
		return counted.n, fmt.Errorf("sheets: writing: %w", err)
	}
	return counted.n, nil
}

// packedOn is 1 January 2000 as archives write dates.
const packedOn = (2000-1980)<<9 | 1<<5 | 1

// repack sorts the parts of an archive, without packing them anew: the library takes streamed sheets in the order of a map.
// What says which parts there are stands first, as readers of the format expect.
func repack(out io.Writer, packed []byte) error {
	in, err := zip.NewReader(bytes.NewReader(packed), int64(len(packed)))
	if err != nil {
		return err
	}
	const first = "[Content_Types].xml"
	slices.SortFunc(in.File, func(a, b *zip.File) int {
		if (a.Name == first) != (b.Name == first) {
			if a.Name == first {
				return -1
			}
			return 1
		}
		return strings.Compare(a.Name, b.Name)
	})
	z := zip.NewWriter(out)
	for _, part := range in.File {
		header := part.FileHeader
		header.Extra = nil
		header.ModifiedDate, header.ModifiedTime = packedOn, 0
		to, err := z.CreateRaw(&header)
		if err != nil {
			return err
		}
		from, err := part.OpenRaw()
		if err != nil {
			return err
		}
		if _, err := io.Copy(to, from); err != nil {
			return err
		}
	}
	return z.Close()
}

type counter struct {
	w io.Writer
	n int64
}

func (c *counter) Write(b []byte) (int, error) {
	n, err := c.w.Write(b)
	c.n += int64(n)
	return n, err
}
