package sheets_test

import (
	"archive/zip"
	"bytes"
	"errors"
	"fmt"
	"io"
	"strings"
	"testing"

	"github.com/xuri/excelize/v2"
	"pgregory.net/rapid"

	"latewood/events/civil"
	"latewood/services/internal/sheets"
)

// write makes a workbook of one sheet.
func write(t testing.TB, columns []sheets.Column, rows ...[]sheets.Value) []byte {
	t.Helper()
	b, err := writeErr(columns, rows...)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func writeErr(columns []sheets.Column, rows ...[]sheets.Value) ([]byte, error) {
	w, err := sheets.NewWorkbook("test")
	if err != nil {
		return nil, err
	}
	defer w.Close()
	s, err := w.Sheet("Rows", columns)
	if err != nil {
		return nil, err
	}
	for _, r := range rows {
		if err := s.Row(r...); err != nil {
			return nil, err
		}
	}
	if err := errors.Join(s.Filter(), s.Done()); err != nil {
		return nil, err
	}
	var out bytes.Buffer
	_, err = w.WriteTo(&out)
	return out.Bytes(), err
}

// part reads one part of a workbook.
func part(t testing.TB, book []byte, name string) string {
	t.Helper()
	z, err := zip.NewReader(bytes.NewReader(book), int64(len(book)))
	if err != nil {
		t.Fatal(err)
	}
	f, err := z.Open(name)
	if err != nil {
		t.Fatal(err)
	}
	b, err := io.ReadAll(f)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

func TestWrite(t *testing.T) {
	t.Parallel()
	book := write(t, []sheets.Column{{Heading: "what", Must: true}, {Heading: "kg", Choices: []string{"1", "2"}, Only: true}, {Heading: "on", Keep: sheets.KeepDays}, {Heading: "dry"}},
		[]sheets.Value{sheets.Words("=1+1"), sheets.Figure(0.1), sheets.Day(civil.Date{Year: 2026, Month: 6, Day: 18}), sheets.Truth(true)},
		[]sheets.Value{sheets.Words(" 007 & <b>"), {}, sheets.Day(civil.Date{Year: 1899, Month: 12, Day: 31}), sheets.Truth(false)},
	)
	f, err := excelize.OpenReader(bytes.NewReader(book))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	for cell, want := range map[string]string{
		"A1": "what", "A2": "=1+1", "B2": "0.1", "C2": "2026-06-18", "D2": "TRUE", "A3": " 007 & <b>", "B3": "", "C3": "1899-12-31", "D3": "FALSE",
	} {
		if got, err := f.GetCellValue("Rows", cell); err != nil || got != want {
			t.Errorf("%s: got %q, %v, want %q", cell, got, err, want)
		}
	}
	if formula, _ := f.GetCellFormula("Rows", "A2"); formula != "" {
		t.Errorf("A2 is the formula %q", formula)
	}
	sheet := part(t, book, "xl/worksheets/sheet1.xml")
	for _, want := range []string{`<v>46191</v>`, `state="frozen"`, `<autoFilter ref="$A$1:$D$3"`, `type="list"`, `<t>=1+1</t>`} { // 46191: days from 30 December 1899 to 18 June 2026
		if !strings.Contains(sheet, want) {
			t.Errorf("no %s in the sheet:\n%s", want, sheet)
		}
	}
	if a, b := strings.Index(sheet, `<col min="1"`), strings.Index(sheet, `<col min="4"`); a < 0 || b < a { // the format wants them in order
		t.Errorf("columns at %d and %d", a, b)
	}
	if strings.Contains(sheet, "<f>") {
		t.Errorf("a formula in the sheet:\n%s", sheet)
	}
}

// Whatever text a record holds, no cell becomes a formula, and the same rows give the same bytes.
func TestWriteAnything(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		var rows [][]sheets.Value
		var texts []string
		for i := range rapid.IntRange(1, 5).Draw(t, "rows") {
			text := rapid.SampledFrom([]string{"", "=", "+", "-", "@", "\t", "'", " "}).Draw(t, "first") + rapid.String().Draw(t, fmt.Sprint("text", i))
			texts = append(texts, text)
			rows = append(rows, []sheets.Value{sheets.Words("x"), sheets.Words(text), sheets.Figure(rapid.Float64().Draw(t, "number"))})
		}
		columns := []sheets.Column{{Heading: "a"}, {Heading: "=b"}, {Heading: "c"}}
		one, err := writeErr(columns, rows...)
		if err != nil {
			t.Fatal(err)
		}
		if two, err := writeErr(columns, rows...); err != nil || !bytes.Equal(one, two) {
			t.Fatalf("the same rows gave other bytes (%v)", err)
		}
		f, err := excelize.OpenReader(bytes.NewReader(one))
		if err != nil {
			t.Fatal(err)
		}
		defer f.Close()
		for i, text := range texts {
			cell := fmt.Sprintf("B%d", i+2)
			if formula, err := f.GetCellFormula("Rows", cell); err != nil || formula != "" {
				t.Fatalf("%s: %q became the formula %q (%v)", cell, text, formula, err)
			}
		}
	})
}

func TestWriteSeveralSheets(t *testing.T) {
	t.Parallel()
	make := func() []byte {
		w, err := sheets.NewWorkbook("several")
		if err != nil {
			t.Fatal(err)
		}
		defer w.Close()
		for _, name := range []string{"d", "b", "a", "c", sheets.ReadMe} {
			s, err := w.Sheet(name, []sheets.Column{{Heading: name}})
			if err != nil {
				t.Fatal(err)
			}
			if err := errors.Join(s.Row(sheets.Words(name)), s.Example(sheets.Words(name)), s.Text(sheets.Words(name)), s.Done()); err != nil {
				t.Fatal(err)
			}
		}
		var out bytes.Buffer
		if _, err := w.WriteTo(&out); err != nil {
			t.Fatal(err)
		}
		return out.Bytes()
	}
	first := make()
	for range 10 { // the library goes through its sheets in the order of a map
		if !bytes.Equal(make(), first) {
			t.Fatal("the same sheets gave other bytes")
		}
	}
	z, err := zip.NewReader(bytes.NewReader(first), int64(len(first)))
	if err != nil {
		t.Fatal(err)
	}
	if z.File[0].Name != "[Content_Types].xml" {
		t.Errorf("the archive begins with %s", z.File[0].Name)
	}
	for _, f := range z.File {
		if y := f.Modified.UTC().Year(); y != 2000 {
			t.Errorf("%s is of %v", f.Name, f.Modified)
		}
	}
	if core := part(t, first, "docProps/core.xml"); !strings.Contains(core, "2000-01-01T00:00:00Z") || strings.Contains(core, "xuri") {
		t.Errorf("properties: %s", core)
	}
}

func TestWriteRefuses(t *testing.T) {
	t.Parallel()
	if _, err := writeErr([]sheets.Column{{Heading: "a"}}, []sheets.Value{sheets.Words(strings.Repeat("é", sheets.MaxText))}); err != nil {
		t.Errorf("a text of the largest size: %v", err)
	}
	if _, err := writeErr([]sheets.Column{{Heading: "a"}}, []sheets.Value{sheets.Words(strings.Repeat("é", sheets.MaxText+1))}); !errors.Is(err, sheets.ErrLongText) || !strings.Contains(err.Error(), "A2") {
		t.Errorf("a text too long: got %v", err)
	}
	w, err := sheets.NewWorkbook("")
	if err != nil {
		t.Fatal(err)
	}
	defer w.Close()
	for _, name := range []string{"", "a/b", "a:b", strings.Repeat("n", 32)} {
		if _, err := w.Sheet(name, nil); !errors.Is(err, sheets.ErrName) {
			t.Errorf("sheet %q: got %v", name, err)
		}
	}
	if _, err := w.WriteTo(io.Discard); err == nil {
		t.Error("a workbook without sheets was written")
	}
	s, err := w.Sheet("one", nil)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := w.Sheet("two", nil); err == nil {
		t.Error("a sheet was begun before the one before it was done")
	}
	if err := s.Done(); err != nil {
		t.Fatal(err)
	}
	if _, err := w.Sheet("ONE", nil); !errors.Is(err, sheets.ErrName) {
		t.Errorf("two sheets of one name: got %v", err)
	}
}

// BenchmarkWrite is a season of picks: 20,000 rows of ten cells.
func BenchmarkWrite(b *testing.B) {
	for b.Loop() {
		w, err := sheets.NewWorkbook("picks")
		if err != nil {
			b.Fatal(err)
		}
		columns := make([]sheets.Column, 10)
		s, err := w.Sheet("picks", columns)
		if err != nil {
			b.Fatal(err)
		}
		row := make([]sheets.Value, 10)
		for i := range 20_000 {
			for c := range row {
				row[c] = sheets.Figure(float64(i*c) / 10)
			}
			row[0] = sheets.Words("north")
			if err := s.Row(row...); err != nil {
				b.Fatal(err)
			}
		}
		if err := s.Done(); err != nil {
			b.Fatal(err)
		}
		if _, err := w.WriteTo(io.Discard); err != nil {
			b.Fatal(err)
		}
		w.Close()
	}
}
