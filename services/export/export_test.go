package export_test

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"iter"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"latewood/events"
	"latewood/events/canon"
	"latewood/projections/foldtest"
	"latewood/services/export"
	"latewood/services/internal/sheets"
)

// frozen is the frozen samples as rows, one a kind.
func frozen(t testing.TB) map[string]export.Row {
	t.Helper()
	out := map[string]export.Row{}
	for _, k := range events.Standard().Kinds() {
		body, err := os.ReadFile(filepath.Join("..", "..", "testdata", "versions", k.Type()+".json"))
		if err != nil {
			t.Fatal(err)
		}
		r, err := events.ParseRecord(1, body)
		if err != nil {
			t.Fatal(err)
		}
		row := export.RowOfRecord(r)
		if row.Data, err = export.Newest(k.Name, r.Version, r.Data); err != nil {
			t.Fatal(err)
		}
		out[k.Name] = row
	}
	return out
}

func one(r export.Row) iter.Seq2[export.Row, error] {
	return func(yield func(export.Row, error) bool) { yield(r, nil) }
}

func tableOf(kind string, rows ...export.Row) *export.Table {
	t := export.NewTable(events.Standard().Kind(kind))
	for _, r := range rows {
		t.See(r)
	}
	return t
}

// written is a table as CSV reads it: the headings and the rows.
func written(t testing.TB, table *export.Table, rows ...export.Row) [][]string {
	t.Helper()
	var b bytes.Buffer
	if err := table.CSV(&b, func(yield func(export.Row, error) bool) {
		for _, r := range rows {
			if !yield(r, nil) {
				return
			}
		}
	}); err != nil {
		t.Fatal(err)
	}
	cells, err := csv.NewReader(&b).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	return cells
}

// cellsOf gives the cells of one row by heading, the filled ones of the data.
func cellsOf(t testing.TB, kind, data string) map[string]string {
	t.Helper()
	v, err := canon.Parse([]byte(data))
	if err != nil {
		t.Fatal(err)
	}
	r := export.Row{ID: "1", Time: "2026-06-18T11:40:00-10:00", Data: v}
	cells := written(t, tableOf(kind, r), r)
	out := map[string]string{}
	for i, heading := range cells[0] {
		if cells[1][i] != "" && !strings.HasPrefix(heading, "ledger.") && heading != "id" && heading != "time" {
			out[heading] = cells[1][i]
		}
	}
	return out
}

func TestCells(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct{ name, kind, data, want string }{
		{"one part of a where", "fruit.picked", `{"where":{"block":"north","rows":["1","2a"]},"mass":{"value":84.5,"unit":"kg"}}`, `map[block:north mass[kg]:84.5 rows:1;2a]`},
		{"two parts", "harvest.closed", `{"where":[{"block":"north"},{"block":"upper"}],"date":"2026-07-22"}`, `map[block:north date:2026-07-22 where[1].block:upper]`},
		{"a part with a field that the kind has too", "spray.applied", `{"where":{"block":"north","ended":"2026-04-13"},"ended":"2026-04-14"}`, `map[block:north ended:2026-04-14 where[0].ended:2026-04-13]`},
		{"a list of groups", "spray.applied", `{"mix":[{"product":"A"},{"product":"B","rate":{"value":0.25,"unit":"%"}}]}`, `map[mix[0].product:A mix[1].product:B mix[1].rate[%]:0.25]`},
		{"a formula", "tree.seen", `{"note":"=1+1"}`, `map[note:'=1+1]`},
		{"no formula but like one", "tree.seen", `{"note":"'=1+1"}`, `map[note:''=1+1]`},
		{"an address of a cell", "tree.seen", `{"note":"@A1"}`, `map[note:'@A1]`},
		{"a text that is a negative number", "tree.seen", `{"note":"-5"}`, `map[note:-5]`},
		{"an apostrophe", "tree.seen", `{"note":"'tis wet"}`, `map[note:'tis wet]`},
		{"blanks at the ends", "tree.seen", `{"note":" wet\n"}`, `map[note:'" wet\n"]`},
		{"what a spreadsheet could not work out", "tree.seen", `{"note":"#N/A"}`, `map[note:'"#N/A"]`},
		{"a number sign", "tree.seen", `{"note":"#4 by the gate"}`, `map[note:#4 by the gate]`},
		{"a list with semicolons in it", "fruit.picked", `{"cullReasons":["bird; bat","crack"]}`, `map[cullReasons:["bird; bat","crack"]]`},
		{"a row that would be a range", "tree.seen", `{"where":{"block":"north","rows":["1-3"]}}`, `map[block:north rows:["1-3"]]`},
		{"any: a number", "setting.adopted", `{"value":5}`, `map[value:5]`},
		{"any: a text", "setting.adopted", `{"value":"elapsed"}`, `map[value:elapsed]`},
		{"any: a text that is a number", "setting.adopted", `{"value":"5"}`, `map[value:"5"]`},
		{"any: a list", "setting.adopted", `{"value":["a","b"]}`, `map[value:["a","b"]]`},
		{"named as an attribute", "record.corrected", `{"time":"2026-06-18T11:30:00-10:00","data":{"a":1}}`, `map[data:{"a":1} data.time:2026-06-18T11:30:00-10:00]`},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			if got := fmt.Sprint(cellsOf(t, tt.kind, tt.data)); got != tt.want && !(tt.kind == "record.corrected" && got == strings.Replace(tt.want, "data:", "data.data:", 1)) {
				t.Errorf("got  %s\nwant %s", got, tt.want)
			}
		})
	}
}

// Units stand in the heading as long as all rows agree.
func TestUnits(t *testing.T) {
	t.Parallel()
	row := func(mass string) export.Row {
		v, err := canon.Parse([]byte(`{"mass":` + mass + `}`))
		if err != nil {
			t.Fatal(err)
		}
		return export.Row{ID: "1", Data: v}
	}
	kg, lb := row(`{"value":1,"unit":"kg"}`), row(`{"value":2,"unit":"[lb_av]"}`)
	if got := tableOf("fruit.picked", kg, kg).Headings(); !slices.Contains(got, "mass[kg]") {
		t.Errorf("one unit: %v", got)
	}
	table := tableOf("fruit.picked", kg, lb)
	got := written(t, table, kg, lb)
	i := slices.Index(got[0], "mass.value")
	if i < 0 || got[0][i+1] != "mass.unit" || got[2][i] != "2" || got[2][i+1] != "[lb_av]" {
		t.Errorf("two units: %v", got)
	}
}

func TestTooLong(t *testing.T) {
	t.Parallel()
	r := frozen(t)["tree.seen"]
	r.Data.Set("note", canon.Text(strings.Repeat("wet ", 9000)+"."))
	err := export.Workbook(&bytes.Buffer{}, export.About{}, []*export.Table{tableOf("tree.seen", r)}, func(string) iter.Seq2[export.Row, error] { return one(r) })
	var long *export.TooLong
	if !errors.As(err, &long) || long.ID != r.ID {
		t.Errorf("got %v", err)
	}
}

// The ground: outlines by the record that states them last, points of trees that nobody moved, and nulls (RFC 7946, 3.2:
// "a member with the name geometry ... or, in the case that the Feature is unlocated, a JSON null value").
func TestGround(t *testing.T) {
	t.Parallel()
	f := foldtest.NewFarm(t, "Pacific/Honolulu")
	hectare := events.Quantity{Value: 1, Unit: "har"}
	outline := func(geometry string) events.BlockFields { return events.BlockFields{Outline: events.Raw(geometry)} }
	f.Add("2010-01-01", &events.BlockEstablished{Block: "north", Name: "North", Area: hectare, BlockFields: outline(`{"type":"Polygon","coordinates":[[[0,0],[1,0],[1,1],[0,0]]]}`)})
	f.Add("2010-01-01", &events.BlockEstablished{Block: "upper", Name: "Upper", Area: hectare, BlockFields: outline(`{"type":"Circle","radius":3}`)})
	f.Add("", &events.BlockChanged{Block: "north", From: "2012-01-01", BlockFields: outline(`{"type":"Feature","geometry":{"type":"Point","coordinates":[2,3]}}`)})
	f.Add("", &events.TreePlanted{Tree: "north-01-01", Block: "north", Row: "1", Position: "1", Cultivar: "Haku", Planted: "2011", Point: &events.Point{Latitude: 19.604, Longitude: -155.1164}})
	f.Add("", &events.TreePlanted{Tree: "north-01-02", Block: "north", Row: "1", Position: "2", Cultivar: "Haku", Planted: "2011", Point: &events.Point{Latitude: 19.7, Longitude: -155.2}})
	f.Add("2013-01-01", &events.TreeMoved{Moves: []events.Move{{Tree: "north-01-02", From: "north", Block: "upper", Row: "1", Position: "1"}}, Reason: "transplanted"})
	f.Add("2014-01-01", &events.TreeTopworked{Where: events.Where{{Block: "north", Trees: []string{"north-01-01"}}}, Cultivar: "Ember"})
	b := f.Book()
	body, n, err := export.Ground(b, time.Date(2026, 6, 1, 0, 0, 0, 0, time.UTC), "")
	if err != nil {
		t.Fatal(err)
	}
	var got struct {
		Type     string
		Features []struct {
			Type, ID   string
			Geometry   json.RawMessage
			Properties map[string]any
		}
	}
	if err := json.Unmarshal(body, &got); err != nil || got.Type != "FeatureCollection" || len(got.Features) != n || n != 4 {
		t.Fatalf("%d features, %v\n%s", n, err, body)
	}
	want := map[string]string{
		"block/north": `{"coordinates":[2,3],"type":"Point"}`, "block/upper": "null",
		"tree/north-01-01": `{"type":"Point","coordinates":[-155.1164,19.604]}`, "tree/north-01-02": "null",
	}
	for _, f := range got.Features {
		if f.Type != "Feature" || string(f.Geometry) != want[f.ID] {
			t.Errorf("%s: got %s, want %s", f.ID, f.Geometry, want[f.ID])
		}
		if f.ID == "tree/north-01-01" && f.Properties["grafted"] != "Ember" || f.ID == "tree/north-01-02" && f.Properties["block"] != "upper" {
			t.Errorf("%s: %v", f.ID, f.Properties)
		}
	}
	if _, n, err := export.Ground(b, time.Date(2026, 6, 1, 0, 0, 0, 0, time.UTC), "upper"); err != nil || n != 2 {
		t.Errorf("upper alone: %d features, %v", n, err)
	}
}

// A workbook of every kind's frozen sample, opened by a spreadsheet program that others wrote: each sheet, turned into CSV
// by it, has the cells that our own CSV has.
func TestSecondReader(t *testing.T) {
	t.Parallel()
	rows := frozen(t)
	var tables []*export.Table
	for _, k := range events.Standard().Kinds() {
		tables = append(tables, tableOf(k.Name, rows[k.Name]))
	}
	dir := t.TempDir()
	f, err := os.Create(filepath.Join(dir, "all.xlsx"))
	if err != nil {
		t.Fatal(err)
	}
	if err := export.Workbook(f, export.About{Farm: "tern-hollow", Zone: "Pacific/Honolulu"}, tables, func(kind string) iter.Seq2[export.Row, error] { return one(rows[kind]) }); err != nil {
		t.Fatal(err)
	}
	if err := f.Close(); err != nil {
		t.Fatal(err)
	}
	office(t, dir, "all.xlsx")
	cells := 0
	for _, table := range tables {
		want := written(t, table, rows[table.Kind.Name])
		b, err := os.ReadFile(filepath.Join(dir, "all-"+table.Kind.Name+".csv"))
		if err != nil {
			t.Fatal(err)
		}
		got, err := csv.NewReader(bytes.NewReader(b)).ReadAll()
		if err != nil {
			t.Fatal(err)
		}
		if len(got) != len(want) {
			t.Fatalf("%s: %d rows, want %d\n%s", table.Kind.Name, len(got), len(want), b)
		}
		for i := range want {
			for j := range want[i] {
				cells++
				w, g := want[i][j], got[i][j]
				if len(w) > 1 && w[0] == '\'' && strings.IndexByte("=+-@", w[1]) >= 0 { // what CSV needs and a cell of text does not
					w = w[1:]
				}
				if strings.EqualFold(w, "true") || strings.EqualFold(w, "false") {
					g = strings.ToLower(g)
				}
				if g != w {
					t.Errorf("%s, row %d, %s: it reads %q, want %q", table.Kind.Name, i+1, want[0][j], g, w)
				}
			}
		}
	}
	if _, err := os.Stat(filepath.Join(dir, "all-"+sheets.ReadMe+".csv")); err != nil {
		t.Error(err)
	}
	t.Logf("counts: %d sheets with %d cells read by a second program", len(tables), cells)
}

// office turns every sheet of a workbook into CSV with LibreOffice, as its cells are shown (its documentation of the CSV
// filter's tokens: comma, quote, UTF-8, from line 1, all sheets).
func office(t *testing.T, dir, file string) {
	t.Helper()
	cmd := exec.Command("soffice", "-env:UserInstallation=file://"+filepath.Join(dir, "profile"), "--headless", "--convert-to",
		"csv:Text - txt - csv (StarCalc):44,34,76,1,,0,false,true,false,false,false,-1", "--outdir", dir, filepath.Join(dir, file))
	cmd.Env = append(os.Environ(), "HOME="+dir)
	if out, err := cmd.CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
}
