package ingest

import (
	"bytes"
	"errors"
	"io"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"unicode/utf8"

	"latewood/events"
	"latewood/services/internal/sheets"
	"latewood/services/internal/sheets/sheetstest"
)

// drain reads a file to its end and checks what holds for every file: lines rise and are lines of the file, drafts go
// through the door or are refused, what is refused can be shown.
func drain(t *testing.T, data []byte, o Options) {
	o.Name, o.Zone = "f", zone(t, "America/New_York")
	door := events.Door{Catalogue: events.Standard(), Farm: "tern-hollow", Zone: o.Zone}
	r, err := Open(bytes.NewReader(data), o)
	var refusals Refusals
	if err != nil {
		if !errors.As(err, &refusals) || err.Error() == "" {
			t.Fatalf("an error without words: %v", err)
		}
		return
	}
	most := bytes.Count(data, []byte("\n")) + bytes.Count(data, []byte("\r")) + 1
	if r.Format() == XLSX {
		most = sheets.MaxRows
	}
	before, sheet := 0, ""
	for n := 0; ; n++ {
		row, err := r.Next()
		if errors.Is(err, io.EOF) {
			return
		}
		if errors.As(err, &refusals) { // a sheet that breaks off in the middle
			return
		}
		if err != nil {
			t.Fatal(err)
		}
		if row.Sheet != sheet { // the next one begins anew
			before, sheet = 0, row.Sheet
		}
		if row.Line < before || row.Line > most || row.Line < 1 {
			t.Fatalf("line %d after %d of %d", row.Line, before, most)
		}
		before = row.Line
		problems := row.Problems
		if len(problems) == 0 {
			_, problems = door.Check(row.Draft)
		}
		for _, p := range problems {
			if p.Why.String() == "" || strings.Contains(p.Error(), "⟦") {
				t.Fatalf("a problem without words: %+v", p)
			}
			if s, ok := p.Value.(string); ok && !utf8.ValidString(s) {
				t.Fatalf("a value that cannot be shown: %q", s)
			}
			row.ColumnOf(p.Field)
		}
	}
}

func corpus(f *testing.F, pattern string) [][]byte {
	f.Helper()
	names, err := filepath.Glob(filepath.Join("testdata", pattern))
	if err != nil || len(names) == 0 {
		f.Fatal(pattern, err)
	}
	var out [][]byte
	for _, name := range names {
		b, err := os.ReadFile(name)
		if err != nil {
			f.Fatal(err)
		}
		out = append(out, b)
	}
	return out
}

func FuzzCSV(f *testing.F) {
	kinds := append(Tables(), "", "tree.pruned", "setting.adopted", "record.corrected")
	for i, b := range corpus(f, "*.csv") {
		f.Add(b, i)
	}
	f.Add([]byte("time,block,mass,unit\n2026-06-01,north,\"1\n2\",kg\n"), 1)
	f.Add([]byte("sep=;\na;b\r1;2\r"), 5)
	f.Fuzz(func(t *testing.T, data []byte, kind int) {
		o := Options{As: kinds[uint(kind)%uint(len(kinds))], Station: "hollow"}
		drain(t, data, o)
		if m, err := Propose(bytes.NewReader(data), o); err == nil {
			o.Map = m
			if m.Kind != "" {
				o.As = ""
			}
			drain(t, data, o)
		}
	})
}

func FuzzJSONLines(f *testing.F) {
	kinds := []string{"", "picks", "weather", "record.corrected"}
	for i, b := range corpus(f, "*.jsonl") {
		f.Add(b, i)
	}
	f.Add([]byte(`{"time":"2026-06-01","rain":{"value":1,"unit":"mm"}}`), 2)
	f.Fuzz(func(t *testing.T, data []byte, kind int) {
		drain(t, data, Options{As: kinds[uint(kind)%uint(len(kinds))], Station: "hollow"})
	})
}

func FuzzMap(f *testing.F) {
	workbook := sheetstest.Book{Sheets: []sheetstest.Sheet{{Name: "North", Rows: [][]any{
		{"Datum", "Feld", "Menge", "2026-06-01"}, {sheetstest.Num(46174, sheetstest.Day), "north", 1.5, 2}, {nil, "north", sheetstest.Num(0.5, sheetstest.Percent)}, {"Total", nil, 3}},
		Hidden: []int{4}, Merged: []string{"B2:B3"}}, {Name: "South", Rows: [][]any{{"Datum"}}}}}.Bytes(f)
	features := []byte(`{"type":"FeatureCollection","features":[{"type":"Feature","geometry":{"type":"Point","coordinates":[-155,19]},"properties":{"Feld":"north","Datum":2011,"Menge":null}}]}`)
	table := []byte("Datum;Feld;Menge;2026-06-01;2026-06-02\n03/04/2026;North;1,5;2;3\n")
	for _, b := range corpus(f, "*.yaml") {
		f.Add(string(b))
	}
	f.Add(`date=time,"a,b"=mass[kg],dateOrder=dmy,x=-`)
	f.Add("columns: {Datum: [time, note], Menge: 'mass[kg]'}\nignore: '*'\nunpivot: {pattern: '2026*', into: {heading: time, value: mass_kg}}\n")
	f.Add("columns: {Datum: time, Feld: block, Menge: 'mass[kg]'}\nheading: 1\nskipRows: [T*]\ndown: [Datum]\nsheets: ['*']\nsheetInto: crew\nhidden: take\nmerged: repeat\nignore: '*'\n")
	f.Add("columns: {Datum: started+ended.clock}\nconstants: {'mix[3].product': x, 'where[2].block': y}\nkind: sprays\nmissing: ['2']\nnames: {block: {a: b}}")
	f.Fuzz(func(t *testing.T, text string) {
		m, err := ParseMap(text)
		var refusals Refusals
		if err != nil {
			if !errors.As(err, &refusals) || strings.Contains(err.Error(), "⟦") {
				t.Fatalf("an error without words: %v", err)
			}
			return
		}
		for _, as := range []string{"", "picks", "weather"} {
			drain(t, table, Options{As: as, Map: m, Station: "hollow"})
			drain(t, workbook, Options{As: as, Map: m, Station: "hollow"})
			drain(t, features, Options{Map: m})
		}
		if !utf8.ValidString(text) || m.Empty() {
			return
		}
		again, err := ReadMap("m", strings.NewReader(m.String()))
		if err != nil || !reflect.DeepEqual(again, m) {
			t.Fatalf("read again: %+v, %v, want %+v, from\n%s", again, err, m, m.String())
		}
	})
}

// FuzzXLSX hands cells of every type to every table.
func FuzzXLSX(f *testing.F) {
	kinds := append(Tables(), "", "block.established", "setting.adopted")
	f.Add("time", "mass_kg", "n", "46174", "SUM(A1)", 1, 1, uint8(3))
	f.Add("date", "rows", "s", "0", "", 6, 1, uint8(1))
	f.Add("block", "ticket", "e", "#N/A", "-", 4, 1, uint8(0))
	f.Add("relativeHumidity_pct", "station", "b", "1", "", 3, 4, uint8(7))
	f.Fuzz(func(t *testing.T, one, two, typ, value, formula string, style, kind int, more uint8) {
		c := sheetstest.Cell{Type: typ, Value: value, Formula: formula, Style: style}
		s := sheetstest.Sheet{Name: "S", Rows: [][]any{{one, two, "note"}, {c, value, typ}, nil, {value, c, true}, {c}}}
		if more&1 != 0 {
			s.Hidden = []int{4}
		}
		if more&2 != 0 {
			s.Merged = []string{"A2:A4", "B4:C4"}
		}
		b := sheetstest.Book{Sheets: []sheetstest.Sheet{s}, Shared: []string{"North"}, From1904: more&4 != 0}
		o := Options{As: kinds[uint(kind)%uint(len(kinds))], Station: "hollow", Codes: []string{"007"}}
		drain(t, b.Bytes(t), o)
		if m, err := Propose(bytes.NewReader(b.Bytes(t)), o); err == nil {
			o.Map = m
			if m.Kind != "" {
				o.As = ""
			}
			drain(t, b.Bytes(t), o)
		}
	})
}

func FuzzGeoJSON(f *testing.F) {
	kinds := []string{"", "trees", "block.established", "geojson"}
	f.Add([]byte(`{"type":"FeatureCollection","features":[{"type":"Feature","id":7,"geometry":{"type":"Point","coordinates":[-155,19]},"properties":{"block":"north","row":1}},
{"type":"Feature","geometry":{"type":"Polygon","coordinates":[[[0,0],[1,0],[1,1],[0,0]]]},"properties":{"block":"north","area_ha":1}}]}`), 0)
	f.Add([]byte(`{"type":"Feature","geometry":null,"properties":{"geometry":"x","@id":[1]}}`), 1)
	f.Fuzz(func(t *testing.T, data []byte, kind int) {
		drain(t, data, Options{As: kinds[uint(kind)%uint(len(kinds))]})
	})
}
