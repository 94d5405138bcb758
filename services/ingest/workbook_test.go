package ingest

import (
	"bytes"
	"strings"
	"testing"

	"latewood/services/internal/sheets/sheetstest"
)

func book(t testing.TB, rows ...[]any) string {
	t.Helper()
	return string(sheetstest.Book{Sheets: []sheetstest.Sheet{{Name: "Picks", Rows: rows}}}.Bytes(t))
}

// What spreadsheets do to what people type, and what becomes of it. All picks of an invented farm.
func TestSpreadsheetTraps(t *testing.T) {
	t.Parallel()
	num := sheetstest.Num
	head := []any{"time", "block", "rows", "mass_kg", "ticket"}
	for _, tc := range []struct {
		name string
		row  []any
		o    Options
		want string // of line 2
	}{
		{"typed cells", []any{num(46174, sheetstest.Day), "north", "1-3", 12.5, "T1"}, Options{},
			`2: fruit.picked.v1 2026-06-01T00:00:00-10:00 {"mass":{"unit":"kg","value":12.5},"ticket":"T1","where":{"block":"north","rows":["1","2","3"]}}`},
		{"a day with a clock", []any{num(46174.3125, sheetstest.DayTime), "north", nil, 1, nil}, Options{},
			`2: fruit.picked.v1 2026-06-01T07:30:00-10:00 {"mass":{"unit":"kg","value":1},"where":{"block":"north"}}`},
		{"a number of a day", []any{46174, "north", nil, 1, nil}, Options{}, `2: time (time): 46174: this is a spreadsheet's number of a day, probably 2026-06-01; format the column as a date and save again, or write 2026-06-01`},
		{"1-3 became a day", []any{"2026-06-01", "north", num(46025, sheetstest.DayMon), 1, nil}, Options{},
			`2: data.where.rows (rows): 2026-01-03: a spreadsheet has made a date of this; format the column as text and write it again, whichever was meant of 1-3, 3-1`},
		{"3-45 became a day", []any{"2026-06-01", "north", nil, 1, num(16497, sheetstest.DayMon)}, Options{},
			`2: data.ticket (ticket): 1945-03-01: a spreadsheet has made a date of this; format the column as text and write it again, whichever was meant of 3-1, 1-3, 3-45`},
		{"a weight became a day", []any{"2026-06-01", "north", nil, num(46025, sheetstest.Day), nil}, Options{},
			`2: data.mass.value (mass_kg): 2026-01-03: a spreadsheet has made a date of this; format the column as text and write it again, whichever was meant of 1-3, 3-1`},
		{"a weight shown as a clock", []any{"2026-06-01", "north", nil, num(0.5, sheetstest.Clock), nil}, Options{}, `2: data.mass.value (mass_kg): 12:00:00: the sheet shows this as a time; format the column as a number and write it again`},
		{"a weight shown as hours", []any{"2026-06-01", "north", nil, num(1.5, sheetstest.Hours), nil}, Options{}, `2: data.mass.value (mass_kg): 1.5: the sheet shows this as a time; format the column as a number and write it again`},
		{"zeros that are shown", []any{"2026-06-01", "north", nil, 1, num(7, sheetstest.Padded)}, Options{},
			`2: fruit.picked.v1 2026-06-01T00:00:00-10:00 {"mass":{"unit":"kg","value":1},"ticket":"007","where":{"block":"north"}}`},
		{"zeros that are lost", []any{"2026-06-01", 7, nil, 1, nil}, Options{Codes: []string{"007", "north"}},
			`2: data.where.block (block): 7: the farm has no block 7; a spreadsheet takes zeros in front of a number away; format the column as text and write 007`},
		{"a block called 7", []any{"2026-06-01", 7, nil, 1, nil}, Options{Codes: []string{"7", "007"}},
			`2: fruit.picked.v1 2026-06-01T00:00:00-10:00 {"mass":{"unit":"kg","value":1},"where":{"block":"7"}}`},
		{"more digits than a number has", []any{"2026-06-01", "north", nil, 1, sheetstest.Cell{Value: "1.23456789012345E+17"}}, Options{},
			`2: data.ticket (ticket): 123456789012345000: spreadsheets keep fifteen digits of a number, so some of these are lost; format the column as text and write it again from the paper`},
		{"a percent sign", []any{"2026-06-01", "north", nil, num(0.5, sheetstest.Percent), nil}, Options{},
			`2: data.mass.value (mass_kg): 50: the sheet shows the number with %; write 50 and format the cell as a plain number if it is in the unit of the heading; else give the heading the unit`},
		{"another unit behind it", []any{"2026-06-01", "north", nil, num(12, sheetstest.Pounds), nil}, Options{},
			`2: data.mass.value (mass_kg): 12: the sheet shows the number with lb; write 12 and format the cell as a plain number if it is in the unit of the heading; else give the heading the unit`},
		{"a formula", []any{"2026-06-01", "north", nil, sheetstest.Cell{Formula: "A1*2", Value: "9"}, nil}, Options{},
			`2: fruit.picked.v1 2026-06-01T00:00:00-10:00 {"mass":{"unit":"kg","value":9},"where":{"block":"north"}}`},
		{"a formula without its value", []any{"2026-06-01", "north", nil, sheetstest.Cell{Formula: "A1*2"}, nil}, Options{},
			`2: data.mass.value (mass_kg): =A1*2: the cell holds a formula that was never worked out; open the workbook in a spreadsheet and save it, or write the value`},
		{"an error", []any{"2026-06-01", "north", nil, sheetstest.Cell{Type: "e", Value: "#N/A"}, nil}, Options{},
			`2: data.mass.value (mass_kg): #N/A: the spreadsheet could not work this cell out; correct the formula or the width of the column, and save again`},
		{"a decimal comma, said, and a number", []any{"2026-06-01", "north", nil, 1.5, nil}, Options{DecimalComma: true},
			`2: fruit.picked.v1 2026-06-01T00:00:00-10:00 {"mass":{"unit":"kg","value":1.5},"where":{"block":"north"}}`},
		{"a decimal comma, said, in a text", []any{"2026-06-01", "north", nil, "1,5", nil}, Options{DecimalComma: true},
			`2: fruit.picked.v1 2026-06-01T00:00:00-10:00 {"mass":{"unit":"kg","value":1.5},"where":{"block":"north"}}`},
		{"a note beside the table", []any{"2026-06-01", "north", nil, 1, nil, nil, "ask Ann"}, Options{},
			`2: : ask Ann: cell 7 stands under no heading; there are 5; put texts with a comma into quotes, or give the column a heading`},
		{"an example", []any{"Example", "north", nil, "twelve", nil}, Options{}, ""},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			tc.o.Name, tc.o.As = "f", "picks"
			if got := strings.TrimSuffix(read(t, book(t, head, tc.row, nil, []any{nil, " "}), tc.o), "\n"); got != tc.want {
				t.Errorf("got\n%s\nwant\n%s", got, tc.want)
			}
		})
	}
}

// A percent sign belongs where the heading says so.
func TestShownAsTheHeading(t *testing.T) {
	t.Parallel()
	got := read(t, book(t, []any{"time", "relativeHumidity_pct"}, []any{"2026-06-01T06:00:00-10:00", sheetstest.Num(0.45, sheetstest.Percent)}), Options{As: "weather", Station: "hollow"})
	if want := `2: weather.read.v1 2026-06-01T06:00:00-10:00 {"relativeHumidity":{"unit":"%","value":45},"station":"hollow"}` + "\n"; got != want {
		t.Errorf("got %s, want %s", got, want)
	}
	got = read(t, book(t, []any{"time", "block", "mass_lb"}, []any{"2026-06-01", "north", sheetstest.Num(12, sheetstest.Pounds)}), Options{As: "picks"})
	if want := `2: fruit.picked.v1 2026-06-01T00:00:00-10:00 {"mass":{"unit":"[lb_av]","value":12},"where":{"block":"north"}}` + "\n"; got != want {
		t.Errorf("got %s, want %s", got, want)
	}
}

// Rows that are hidden and cells that are joined are refused until the map says what to do.
func TestHiddenAndJoined(t *testing.T) {
	t.Parallel()
	b := string(sheetstest.Book{Sheets: []sheetstest.Sheet{{Name: "S", Rows: [][]any{
		{"Picks of the week"},
		{"time", "block", "mass_kg", "note"},
		{"2026-06-01", "north", 1, "a"},
		{"2026-06-02", nil, 2, "b"},
		{"2026-06-03", nil, 3, "c"},
		{"2026-06-04", "south", 4, "d"},
	}, Hidden: []int{6}, Merged: []string{"A1:D1", "B3:B4", "D3:E3"}}}}.Bytes(t))
	m := "kind: picks\nheading: 2\ncolumns: {time: time, block: block, mass_kg: mass_kg, note: note}\n"
	pick := func(line, day, block, kg, note string) string {
		return line + ": fruit.picked.v1 2026-06-" + day + `T00:00:00-10:00 {"mass":{"unit":"kg","value":` + kg + `},"note":"` + note + `","where":{"block":"` + block + "\"}}\n"
	}
	joined := "the cells B3:B4 are joined, and what stands in them stands there once; split them and write each row its own, or say in a map: merged: repeat\n"
	for _, tc := range []struct{ name, more, want string }{
		{"nothing said", "", "3: data.where.block (block): north: " + joined + "4: data.where.block (block): north: " + joined + "5: data.where (block): <nil>: refuse.required\n" +
			"6: : <nil>: the row is hidden in the sheet, and who sent it may not know that it is there; show the row or delete it, or say in a map: hidden: leave or hidden: take\n"},
		{"all said", "merged: repeat\nhidden: take\n", pick("3", "01", "north", "1", "a") + pick("4", "02", "north", "2", "b") + "5: data.where (block): <nil>: refuse.required\n" + pick("6", "04", "south", "4", "d")},
		{"filled down, hidden rows left", "merged: repeat\nhidden: leave\ndown: [block]\n", pick("3", "01", "north", "1", "a") + pick("4", "02", "north", "2", "b") + pick("5", "03", "north", "3", "c")},
	} {
		if got := read(t, b, Options{Name: "f", Map: inline(t, m+tc.more)}); got != tc.want {
			t.Errorf("%s: got\n%s\nwant\n%s", tc.name, got, tc.want)
		}
	}
}

func TestWhichSheet(t *testing.T) {
	t.Parallel()
	picks := [][]any{{"time", "mass_kg"}, {"2026-06-01", 1}}
	named := [][]any{{"time", "block", "mass_kg"}, {"2026-06-01", "north", 1}}
	one := `2: fruit.picked.v1 2026-06-01T00:00:00-10:00 {"mass":{"unit":"kg","value":1},"where":{"block":"north"}}` + "\n"
	for _, tc := range []struct {
		name   string
		sheets []sheetstest.Sheet
		o      Options
		m      string
		want   string
	}{
		{"one among others", []sheetstest.Sheet{{Name: "Read Me", Rows: [][]any{{"how to"}}}, {Name: "Empty"}, {Name: "Picks", Rows: named}, {Name: "lists", State: "hidden", Rows: picks}}, Options{As: "picks"}, "", one},
		{"several", []sheetstest.Sheet{{Name: "A", Rows: named}, {Name: "B", Rows: named}}, Options{As: "picks"}, "",
			`f: the workbook has several sheets: A, B: name one with --sheet "A", or say in a map which are read: sheets: ["*"]` + "\n"},
		{"one of several", []sheetstest.Sheet{{Name: "A", Rows: picks}, {Name: "B", Rows: named}}, Options{As: "picks", Sheet: "b"}, "", one},
		{"a hidden one, by its name", []sheetstest.Sheet{{Name: "A", Rows: picks}, {Name: "B", State: "hidden", Rows: named}}, Options{As: "picks", Sheet: "B"}, "", one},
		{"none of that name", []sheetstest.Sheet{{Name: "Picks"}}, Options{Sheet: "pick"}, "", "f: the workbook has no sheet pick: did you mean \"Picks\"?\n"},
		{"an empty one", []sheetstest.Sheet{{Name: "Picks"}}, Options{Sheet: "Picks"}, "", "f (Picks): the sheet is empty: check that it is the right file\n"},
		{"nothing at all", []sheetstest.Sheet{{Name: "Picks"}}, Options{}, "", "f: no sheet of the workbook holds a table: check that it is the right file\n"},
		{"all", []sheetstest.Sheet{{Name: "A", Rows: named}, {Name: "B", Rows: named}}, Options{As: "picks", Sheet: "*"}, "", one + one},
		{"a sheet a block", []sheetstest.Sheet{{Name: "North Block", Rows: picks}, {Name: "south", Rows: picks}, {Name: "Notes", Rows: [][]any{{"x"}}}}, Options{},
			"kind: picks\nsheets: ['* Block', south]\nsheetInto: block\nnames: {block: {North Block: north}}\n", one + "2: data.where.block (south): south: the map has no code for this name; add it under names in the map\n"},
		{"a heading that is none", []sheetstest.Sheet{{Name: "A", Rows: [][]any{{"time", "block", "mas_kg"}}}}, Options{As: "picks"}, "", "f (A):1: \"mas_kg\": this is no heading of fruit.picked: did you mean \"mass_kg\"?\n"},
		{"a heading that is worked out and was not", []sheetstest.Sheet{{Name: "A", Rows: [][]any{{"time", sheetstest.Cell{Formula: "B9"}}}}}, Options{As: "picks"}, "", "f (A):1: \"B\": the cell holds a formula that was never worked out: open the workbook in a spreadsheet and save it, or write the value\n"},
		{"a heading below the end", []sheetstest.Sheet{{Name: "A", Rows: named}}, Options{}, "kind: picks\nheading: 9\n", "f (A): there is no heading on line 9 or below it: correct skip or heading in the map\n"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			tc.o.Name = "f"
			if tc.m != "" {
				tc.o.Map = inline(t, tc.m)
			}
			if got := read(t, string(sheetstest.Book{Sheets: tc.sheets}.Bytes(t)), tc.o); got != tc.want {
				t.Errorf("got\n%s\nwant\n%s", got, tc.want)
			}
		})
	}
}

// A map can be proposed from a workbook; of sheets that are alike and name no block, each is probably one.
func TestProposeBook(t *testing.T) {
	t.Parallel()
	rows := [][]any{{"Date", "Weight (kg)"}, {sheetstest.Num(46174, sheetstest.Day), 12}}
	for _, tc := range []struct {
		sheets []sheetstest.Sheet
		want   string
	}{
		{[]sheetstest.Sheet{{Name: "A", Rows: rows}}, "kind: picks\ncolumns:\n  Date: time\n  Weight (kg): mass[kg]\n"},
		{[]sheetstest.Sheet{{Name: "North Block", Rows: rows}, {Name: "south", Rows: rows}},
			"kind: picks\ncolumns:\n  Date: time\n  Weight (kg): mass[kg]\nnames:\n  block:\n    North Block: north-block\nsheets: [North Block, south]\nsheetInto: block\n"},
		{[]sheetstest.Sheet{{Name: "A", Rows: rows}, {Name: "B", Rows: [][]any{{"x"}}}}, "kind: picks\ncolumns:\n  Date: time\n  Weight (kg): mass[kg]\nsheets: [A]\n"},
	} {
		m, err := Propose(bytes.NewReader(sheetstest.Book{Sheets: tc.sheets}.Bytes(t)), Options{As: "picks"})
		if err != nil {
			t.Fatal(err)
		}
		if _, got, _ := strings.Cut(m.String(), "\n"); strings.TrimLeft(got, "\n") != tc.want {
			t.Errorf("got\n%s\nwant\n%s", got, tc.want)
		}
	}
}

// Totals, titles and gaps, as people's sheets have them, in a text file too.
func TestRowsPassedOver(t *testing.T) {
	t.Parallel()
	table := "Tern Hollow;;\r\nweek 23;;\r\nDate;Block;kg\r\n2026-06-01;north;1\r\n;south;2\r\nTotal;;3\r\nexample: 2026-06-01;x;y\r\n2026-06-02;north;4\r\n"
	m := "kind: picks\nskip: 2\ncolumns: {Date: time, Block: block, kg: 'mass[kg]'}\nskipRows: ['total*']\ndown: [Date]\n"
	pick := func(line, day, block, kg string) string {
		return line + ": fruit.picked.v1 2026-06-" + day + `T00:00:00-10:00 {"mass":{"unit":"kg","value":` + kg + `},"where":{"block":"` + block + "\"}}\n"
	}
	want := pick("4", "01", "north", "1") + pick("5", "01", "south", "2") + pick("8", "02", "north", "4")
	if got := read(t, "\ufeff"+table, Options{Name: "f", Map: inline(t, m)}); got != want {
		t.Errorf("got\n%s\nwant\n%s", got, want)
	}
	if got := read(t, table, Options{Name: "f", Map: inline(t, "kind: picks\nheading: 99\n")}); got != "f: there is no heading on line 99 or below it: correct skip or heading in the map\n" {
		t.Errorf("got %s", got)
	}
}
