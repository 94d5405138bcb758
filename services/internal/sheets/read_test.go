package sheets

import (
	"archive/zip"
	"bytes"
	"errors"
	"fmt"
	"io"
	"strings"
	"testing"

	"github.com/xuri/excelize/v2"

	"latewood/services/internal/sheets/sheetstest"
)

// all reads a sheet to its end, as lines of "row kind text" for each cell that is not blank.
func all(t *testing.T, b *Book, sheet string) string {
	t.Helper()
	rows, err := b.Rows(sheet)
	if err != nil {
		t.Fatal(err)
	}
	var out strings.Builder
	for {
		row, err := rows.Next()
		if errors.Is(err, io.EOF) {
			return out.String()
		}
		if err != nil {
			return out.String() + err.Error() + "\n"
		}
		for i, c := range row.Cells {
			if c.Kind == Blank {
				continue
			}
			fmt.Fprintf(&out, "%s%d %d %s", ColumnName(i+1), row.N, c.Kind, c.Text)
			for _, extra := range []string{c.Shown, c.Formula} {
				if extra != "" {
					out.WriteString(" " + extra)
				}
			}
			if c.Zeros > 0 {
				fmt.Fprintf(&out, " zeros %d", c.Zeros)
			}
			if row.Hidden {
				out.WriteString(" hidden")
			}
			out.WriteByte('\n')
		}
	}
}

func open(t *testing.T, b sheetstest.Book) *Book {
	t.Helper()
	book, err := Open(bytes.NewReader(b.Bytes(t)))
	if err != nil {
		t.Fatal(err)
	}
	return book
}

func TestCells(t *testing.T) {
	t.Parallel()
	num := sheetstest.Num
	for _, tc := range []struct {
		name string
		cell any
		want string
	}{
		{"a text", "North", "A1 1 North"},
		{"a shared text", sheetstest.Cell{Type: "s", Value: "1"}, "A1 1 two runs"},
		{"a text with what XML cannot hold", "a_x000D_b_x005F_x", "A1 1 a\rb_x"},
		{"blanks", "  ", ""},
		{"a number", 12.5, "A1 2 12.5"},
		{"a number that was added up", sheetstest.Cell{Value: "0.30000000000000004"}, "A1 2 0.3"},
		{"a long number", sheetstest.Cell{Value: "9.506000134352E12"}, "A1 2 9506000134352"},
		{"truth", true, "A1 6 true"},
		{"an error", sheetstest.Cell{Type: "e", Value: "#N/A"}, "A1 7 #N/A"},
		{"a day", num(46204, sheetstest.Day), "A1 3 2026-07-01"},
		{"a day that was written as a text", sheetstest.Cell{Type: "d", Value: "2026-07-01T00:00:00"}, "A1 3 2026-07-01"},
		{"a day and a clock", num(46204.604166666664, sheetstest.DayTime), "A1 3 2026-07-01T14:30:00"},
		{"a clock", num(0.25, sheetstest.Clock), "A1 4 06:00:00"},
		{"a clock that has a day", num(46204.25, sheetstest.Clock), "A1 3 2026-07-01T06:00:00"},
		{"a length of time", num(1.5, sheetstest.Hours), "A1 5 1.5"},
		{"1 January 1900", num(1, sheetstest.Day), "A1 3 1900-01-01"},
		{"28 February 1900", num(59, sheetstest.Day), "A1 3 1900-02-28"},
		{"the day that never was", num(60, sheetstest.Day), "A1 2 60"},
		{"1 March 1900", num(61, sheetstest.Day), "A1 3 1900-03-01"},
		{"before all days", num(-1, sheetstest.Day), "A1 2 -1"},
		{"percent", num(0.07, sheetstest.Percent), "A1 2 7 %"},
		{"zeros in front", num(7, sheetstest.Padded), "A1 2 7 zeros 3"},
		{"a unit behind it", num(12, sheetstest.Pounds), "A1 2 12 lb"},
		{"a formula", sheetstest.Cell{Formula: "1+1", Value: "2"}, "A1 2 2 1+1"},
		{"a formula that is a text", sheetstest.Cell{Type: "str", Formula: "A2&\"x\"", Value: "ax"}, "A1 1 ax A2&\"x\""},
		{"a shared formula", sheetstest.Cell{Formula: "-", Value: "3"}, "A1 2 3 ="},
		{"a formula without its value", sheetstest.Cell{Formula: "1+1"}, "A1 8  1+1"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			b := open(t, sheetstest.Book{Sheets: []sheetstest.Sheet{{Name: "S", Rows: [][]any{{tc.cell}}}}, Shared: []string{"one", "two runs"}})
			if got := strings.TrimSuffix(all(t, b, "S"), "\n"); got != tc.want {
				t.Errorf("got %q, want %q", got, tc.want)
			}
		})
	}
}

// Days are counted from 1904 in some workbooks: the same number is four years and a day later.
func TestFrom1904(t *testing.T) {
	t.Parallel()
	b := open(t, sheetstest.Book{From1904: true, Sheets: []sheetstest.Sheet{{Name: "S", Rows: [][]any{{sheetstest.Num(44742, sheetstest.Day), sheetstest.Num(0, sheetstest.Day)}}}}})
	if got, want := all(t, b, "S"), "A1 3 2026-07-01\nB1 3 1904-01-01\n"; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
	if day, ok := b.Day(44742); day != "2026-07-01" || !ok || !b.From1904() {
		t.Errorf("got %s, %v", day, ok)
	}
}

func TestSheetsAndRows(t *testing.T) {
	t.Parallel()
	b := open(t, sheetstest.Book{Sheets: []sheetstest.Sheet{
		{Name: "Read me", Rows: [][]any{{"hello"}}},
		{Name: "Block <1>", Rows: [][]any{{"a", nil, "c", sheetstest.Cell{Style: 1}}, nil, {nil, 2}, {"x"}}, Hidden: []int{3}, Merged: []string{"A3:A4", "B1:C1", "A9:B10"}},
		{Name: "Lists", State: "veryHidden", Rows: [][]any{{1}}},
	}})
	if got, want := fmt.Sprint(b.Sheets()), "[{Read me false} {Block <1> false} {Lists true}]"; got != want {
		t.Errorf("sheets: got %s, want %s", got, want)
	}
	if got, want := all(t, b, "Block <1>"), "A1 1 a\nC1 1 c\nB3 2 2 hidden\nA4 1 x\n"; got != want {
		t.Errorf("rows: got %q, want %q", got, want)
	}
	rows, _ := b.Rows("Block <1>")
	var joined []string
	for row, err := rows.Next(); err == nil; row, err = rows.Next() {
		for _, r := range row.Joined {
			joined = append(joined, fmt.Sprintf("%d %s", row.N, r.Name))
		}
	}
	if got, want := fmt.Sprint(joined), "[1 B1:C1 3 A3:A4 4 A3:A4]"; got != want {
		t.Errorf("joined cells: got %s, want %s", got, want)
	}
	if _, err := b.Rows("none"); !errors.Is(err, ErrNoSheet) {
		t.Errorf("a sheet that is not there: got %v", err)
	}
}

// The library's own writer is read as it reads itself.
func TestAgainstTheLibrary(t *testing.T) {
	t.Parallel()
	f := excelize.NewFile()
	w, err := f.NewStreamWriter("Sheet1")
	if err != nil {
		t.Fatal(err)
	}
	const n = 500
	for i := 1; i <= n; i++ {
		cell := fmt.Sprintf("A%d", i)
		if err := w.SetRow(cell, []any{fmt.Sprintf("text %d", i), i, float64(i) / 7, i%2 == 0, nil, excelize.Cell{Formula: "1+1", Value: 2}}); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Flush(); err != nil {
		t.Fatal(err)
	}
	var out bytes.Buffer
	if err := f.Write(&out); err != nil {
		t.Fatal(err)
	}
	b, err := Open(&out)
	if err != nil {
		t.Fatal(err)
	}
	theirs, err := b.f.GetRows("Sheet1")
	if err != nil || len(theirs) != n {
		t.Fatal(len(theirs), err)
	}
	rows, err := b.Rows("Sheet1")
	if err != nil {
		t.Fatal(err)
	}
	for i := range n {
		row, err := rows.Next()
		if err != nil || row.N != i+1 {
			t.Fatal(row.N, err)
		}
		for j, c := range row.Cells {
			got, want := c.Text, theirs[i][j]
			if c.Kind == Bool {
				got = strings.ToUpper(got)
			}
			if j != 2 && got != want { // the third is written shorter by the library
				t.Errorf("row %d column %d: got %q, want %q", i+1, j+1, got, want)
			}
		}
	}
	t.Logf("counts: %d rows against the library", n)
}

func zipped(t *testing.T, parts map[string][]byte) []byte {
	t.Helper()
	var out bytes.Buffer
	z := zip.NewWriter(&out)
	for name, text := range parts {
		w, err := z.Create(name)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := w.Write(text); err != nil {
			t.Fatal(err)
		}
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}

func TestRefused(t *testing.T) {
	t.Parallel()
	good := sheetstest.Book{Sheets: []sheetstest.Sheet{{Name: "S", Rows: [][]any{{1}}}}}
	// A bomb says its size in the archive's list; one that does not is "a lie about a size".
	var bomb bytes.Buffer
	z := zip.NewWriter(&bomb)
	for _, name := range []string{"xl/workbook.xml", "xl/worksheets/sheet1.xml"} {
		if _, err := z.CreateRaw(&zip.FileHeader{Name: name, Method: zip.Deflate, UncompressedSize64: MaxUnpacked/2 + 1}); err != nil {
			t.Fatal(err)
		}
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	many := map[string][]byte{}
	for i := range MaxParts + 1 {
		many[fmt.Sprint(i)] = nil
	}
	short := good.Bytes(t)
	lying := bytes.Replace(zipped(t, map[string][]byte{"a": bytes.Repeat([]byte("a"), 1000)}), []byte{0xe8, 0x03, 0, 0}, []byte{1, 0, 0, 0}, -1)
	for name, tc := range map[string]struct {
		file []byte
		want error
	}{
		"nothing":                 {nil, ErrBroken},
		"a text":                  {[]byte("time,block\n"), ErrBroken},
		"a zip of something else": {zipped(t, map[string][]byte{"hello": []byte("x")}), ErrBroken},
		"half a workbook":         {short[:len(short)/2], ErrBroken},
		"the old format":          {[]byte(OldMagic + strings.Repeat("\x00", 512)), ErrLocked},
		"a bomb":                  {bomb.Bytes(), ErrTooLarge},
		"many parts":              {zipped(t, many), ErrTooLarge},
		"a lie about a size":      {lying, ErrBroken},
		"a large file":            {append([]byte(Magic), make([]byte, MaxPacked)...), ErrTooLarge},
	} {
		if _, err := Open(bytes.NewReader(tc.file)); !errors.Is(err, tc.want) {
			t.Errorf("%s: got %v, want %v", name, err, tc.want)
		}
	}
	cause := errors.New("disk")
	if _, err := Open(io.MultiReader(strings.NewReader("PK"), failing{cause})); !errors.Is(err, cause) || errors.Is(err, ErrBroken) {
		t.Errorf("a disk that fails: got %v", err)
	}
}

type failing struct{ err error }

func (f failing) Read([]byte) (int, error) { return 0, f.err }

// What is broken inside of a sheet is told where it stands.
func TestBrokenSheets(t *testing.T) {
	t.Parallel()
	for name, tc := range map[string]struct{ xml, want string }{
		"a row that goes back":     {`<sheetData><row r="2"/><row r="2"/></sheetData>`, "row \"2\" behind row 2"},
		"a cell that goes back":    {`<sheetData><row r="1"><c r="B1"/><c r="A1"/></row></sheetData>`, "cell \"A1\" in row 1"},
		"a cell of another row":    {`<sheetData><row r="1"><c r="A2"/></row></sheetData>`, "cell \"A2\" in row 1"},
		"a text that is not there": {`<sheetData><row r="1"><c t="s"><v>7</v></c></row></sheetData>`, "text \"7\" of 0"},
		"no number":                {`<sheetData><row r="1"><c><v>x</v></c></row></sheetData>`, "the number \"x\""},
		"too many rows":            {`<sheetData><row r="1048577"/></sheetData>`, ErrTooLarge.Error()},
		"the end in a cell":        {`<sheetData><row r="1"><c><v>1`, "the workbook cannot be read"},
	} {
		b := open(t, sheetstest.Book{Sheets: []sheetstest.Sheet{{Name: "S"}}, Parts: map[string]string{"xl/worksheets/sheet1.xml": "<worksheet>" + tc.xml + "</worksheet>"}})
		if got := all(t, b, "S"); !strings.Contains(got, tc.want) {
			t.Errorf("%s: got %q, want %q", name, got, tc.want)
		}
	}
}

func TestFormats(t *testing.T) {
	t.Parallel()
	for code, want := range map[string]format{
		"General": {}, "0.00": {}, "#,##0": {}, "": {}, "@": {}, "0.00E+00": {},
		"yyyy-mm-dd": {date: true}, "d/m/yy h:mm": {date: true, clock: true}, "[$-409]mmmm d, yyyy;@": {date: true}, "mmm": {date: true},
		"h:mm AM/PM": {clock: true}, "mm:ss.0": {clock: true}, "[h]:mm": {span: true}, "[mm]:ss": {span: true},
		"0%": {percent: true}, "0000": {zeros: 4}, `0.0 "kg"`: {words: "kg"}, `0\ \k\g`: {words: "kg"}, "[$€-407] 0.00": {words: "€"},
		`[Red]0.0;[Blue]-0.0 "kg"`: {}, `"day" 0`: {words: "day"}, "_-* 0.0_-": {}, `dd"."mm"."`: {date: true},
	} {
		got := readFormat(code)
		if got.words == "day" {
			got.date = want.date
		}
		if got != want {
			t.Errorf("%s: got %+v, want %+v", code, got, want)
		}
	}
}

func FuzzRead(f *testing.F) {
	f.Add([]byte(`<worksheet><sheetData><row r="1" hidden="1"><c r="A1" t="s" s="1"><f>A2</f><v>0</v></c><c t="inlineStr"><is><r><t>a</t></r><rPh><t>b</t></rPh></is></c></row></sheetData><mergeCells><mergeCell ref="A1:B2"/></mergeCells></worksheet>`),
		[]byte(`<sst><si><t>one_x000D_</t></si></sst>`), `yyyy-mm-dd`)
	f.Add([]byte(`<worksheet><sheetData><row><c s="1"><v>1E400</v></c></row></sheetData></worksheet>`), []byte(`<sst>`), `[h]:mm;"x`)
	f.Fuzz(func(t *testing.T, sheet, shared []byte, code string) {
		readFormat(code)
		b, err := Open(bytes.NewReader(sheetstest.Book{Sheets: []sheetstest.Sheet{{Name: "S"}}, Parts: map[string]string{
			"xl/worksheets/sheet1.xml": "<?xml?>" + string(sheet), "xl/sharedStrings.xml": "<?xml?>" + string(shared),
		}}.Bytes(t)))
		if err != nil {
			if !errors.Is(err, ErrBroken) {
				t.Fatalf("an error of no kind: %v", err)
			}
			return
		}
		drain(t, b)
	})
}

// FuzzOpen hands the archive itself over, damaged.
func FuzzOpen(f *testing.F) {
	f.Add(sheetstest.Book{Sheets: []sheetstest.Sheet{{Name: "S", Rows: [][]any{{"a", 1, true, sheetstest.Num(46204, sheetstest.Day)}}}}}.Bytes(f))
	f.Add([]byte(OldMagic))
	f.Fuzz(func(t *testing.T, file []byte) {
		b, err := Open(bytes.NewReader(file))
		if err == nil {
			drain(t, b)
		} else if !errors.Is(err, ErrBroken) && !errors.Is(err, ErrTooLarge) && !errors.Is(err, ErrLocked) {
			t.Fatalf("an error of no kind: %v", err)
		}
	})
}

// drain reads every sheet and checks what holds for all: rows rise, cells end with one that holds something, and what holds
// something has a text unless it was never worked out.
func drain(t *testing.T, b *Book) {
	for _, s := range b.Sheets() {
		rows, err := b.Rows(s.Name)
		if err != nil {
			if !errors.Is(err, ErrBroken) && !errors.Is(err, ErrTooLarge) {
				t.Fatalf("an error of no kind: %v", err)
			}
			continue
		}
		for before := 0; ; {
			row, err := rows.Next()
			if errors.Is(err, io.EOF) {
				break
			}
			if err != nil {
				if !errors.Is(err, ErrBroken) && !errors.Is(err, ErrTooLarge) {
					t.Fatalf("an error of no kind: %v", err)
				}
				break
			}
			if row.N <= before || row.N > MaxRows {
				t.Fatalf("row %d behind row %d", row.N, before)
			}
			before = row.N
			for i, c := range row.Cells {
				if c.Kind == Blank && i == len(row.Cells)-1 {
					t.Fatalf("row %d ends with a blank cell", row.N)
				}
				if (c.Text == "") != (c.Kind == Blank || c.Kind == Uncalculated || c.Kind == Error) && c.Kind != Error {
					t.Fatalf("row %d: kind %d has the text %q", row.N, c.Kind, c.Text)
				}
			}
		}
	}
}
