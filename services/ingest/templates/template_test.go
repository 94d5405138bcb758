package templates_test

import (
	"bytes"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"latewood/events"
	"latewood/events/canon"
	"latewood/events/civil"
	"latewood/services/ingest"
	"latewood/services/ingest/templates"
	"latewood/services/internal/sheets"
)

var update = flag.Bool("update", false, "write examples.json anew, from the frozen samples")

const versions = "../../../testdata/versions"

// sample reads the frozen sample of a kind.
func sample(t *testing.T, k *events.Kind) *events.Record {
	t.Helper()
	body, err := os.ReadFile(filepath.Join(versions, k.Type()+".json"))
	if err != nil {
		t.Fatal(err)
	}
	r, err := events.ParseRecord(1, body)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// The examples are those of the frozen samples.
func TestExamples(t *testing.T) {
	t.Parallel()
	var want bytes.Buffer
	want.WriteString("{\n")
	for i, k := range events.Standard().Kinds() {
		if i > 0 {
			want.WriteString(",\n")
		}
		r := sample(t, k)
		fmt.Fprintf(&want, "%q: {\"time\": %q, \"data\": %s}", k.Name, r.Envelope.Time, r.Data)
	}
	want.WriteString("\n}\n")
	if *update {
		if err := os.WriteFile("examples.json", want.Bytes(), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	got, err := os.ReadFile("examples.json")
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(got, want.Bytes()) {
		t.Error("examples.json is not what the frozen samples say; go test ./services/ingest/templates -update")
	}
	if !json.Valid(got) {
		t.Error("examples.json is no JSON")
	}
}

func make(t *testing.T, as string, farm templates.Farm) *templates.Template {
	t.Helper()
	tm, err := templates.New(events.Standard(), as, farm)
	if err != nil {
		t.Fatal(err)
	}
	return tm
}

// read reads a table and takes its rows through the door.
func read(t *testing.T, table []byte, as string) (rows []events.Accepted, refused []string) {
	t.Helper()
	zone, err := civil.Zone("Pacific/Honolulu")
	if err != nil {
		t.Fatal(err)
	}
	r, err := ingest.Open(bytes.NewReader(table), ingest.Options{Name: as, As: as, Zone: zone, Person: func(string) (string, bool) { return "w_8c3d1f0a5b6e4d2c9a7f0e1d2c3b4a59", true }})
	if err != nil {
		t.Fatalf("%v\n%s", err, table)
	}
	door := events.Door{Catalogue: events.Standard(), Farm: "tern-hollow", Zone: zone}
	for {
		row, err := r.Next()
		if errors.Is(err, io.EOF) {
			return rows, refused
		}
		if err != nil {
			t.Fatal(err)
		}
		a, problems := door.Check(row.Draft)
		for _, p := range slices.Concat(row.Problems, problems) {
			refused = append(refused, p.Field+": "+p.Why.String())
		}
		rows = append(rows, a)
	}
}

// unmarked takes the mark off the example.
func unmarked(table []byte) []byte {
	return bytes.Replace(table, []byte("\r\n"+sheets.ExampleMark+": "), []byte("\r\n"), 1)
}

// The template of every kind is read: nothing is refused, and its example is passed over. Without its mark the example is a
// record that the door takes.
func TestTemplatesAreRead(t *testing.T) {
	t.Parallel()
	names := ingest.Tables()
	for _, k := range events.Standard().Kinds() {
		names = append(names, k.Name)
	}
	columns := 0
	for _, name := range names {
		t.Run(name, func(t *testing.T) {
			tm := make(t, name, templates.Farm{})
			columns += len(tm.Columns)
			var csv bytes.Buffer
			if err := tm.CSV(&csv); err != nil {
				t.Fatal(err)
			}
			if rows, refused := read(t, csv.Bytes(), name); len(rows) > 0 || len(refused) > 0 {
				t.Errorf("the example was read as a row: %v", refused)
			}
			if name == "record.corrected" { // its data are those of another kind
				return
			}
			if rows, refused := read(t, unmarked(csv.Bytes()), name); len(rows) != 1 || len(refused) > 0 {
				t.Errorf("the example is no record: %d rows, %s\n%s", len(rows), strings.Join(refused, "\n"), csv.Bytes())
			}
		})
	}
	t.Logf("counts: %d templates with %d columns", len(names), columns)
}

var index = regexp.MustCompile(`\[\d+\]`)

// Every field of every frozen sample has a column; filled in as the sheet says (other units in the heading, further items of
// lists in further columns) the sample comes out again.
func TestTemplatesTakeTheSamples(t *testing.T) {
	t.Parallel()
	fields := 0
	for _, k := range events.Standard().Kinds() {
		t.Run(k.Name, func(t *testing.T) {
			tm := make(t, k.Name, templates.Farm{})
			r := sample(t, k)
			data, err := canon.Parse(r.Data)
			if err != nil {
				t.Fatal(err)
			}
			var headings, cells []string
			fill := func(field, unit, text string) {
				fields++
				bare := index.ReplaceAllString(field, "")
				i := slices.IndexFunc(tm.Columns, func(c templates.Column) bool { return index.ReplaceAllString(c.Field, "") == bare })
				if i < 0 {
					t.Errorf("no column for %s", field)
					return
				}
				heading := tm.Columns[i].Text
				if unit != "" {
					heading = heading[:strings.LastIndexByte(heading, '_')] + "[" + unit + "]"
				}
				if n := index.FindAllString(field, -1); len(n) > 0 && slices.ContainsFunc(n, func(s string) bool { return s != "[0]" }) {
					heading = strings.TrimPrefix(field, "data.") // counted on, as the sheet says
					if unit != "" {
						heading += "[" + unit + "]"
					}
				}
				if strings.TrimSpace(text) != text { // blanks at the ends of a cell are nothing that one sees: see services/export
					text = "'" + string(canon.Bytes(canon.Text(text)))
				}
				headings, cells = append(headings, heading), append(cells, `"`+strings.ReplaceAll(text, `"`, `""`)+`"`)
			}
			fill("time", "", r.Envelope.Time)
			leaves(k.Shape, data, "data", fill)
			table := strings.Join(headings, ",") + "\r\n" + strings.Join(cells, ",") + "\r\n"
			rows, refused := read(t, []byte(table), k.Name)
			if len(rows) != 1 || len(refused) > 0 {
				t.Fatalf("%d rows; refused: %s\n%s", len(rows), strings.Join(refused, "\n"), table)
			}
			if got := string(rows[0].Data); got != string(r.Data) || !rows[0].Time.Equal(r.Time) {
				t.Errorf("got  %v %s\nwant %v %s", rows[0].Time, got, r.Time, r.Data)
			}
		})
	}
	t.Logf("counts: %d kinds, %d fields of frozen samples filled in and read", len(events.Standard().Kinds()), fields)
}

// leaves calls fill for each cell of a value.
func leaves(s *events.Shape, v canon.Value, path string, fill func(field, unit, text string)) {
	text := func(v canon.Value) string {
		if v.Kind == canon.String {
			return v.Str
		}
		return string(canon.Bytes(v))
	}
	switch s.Form {
	case events.FormObject:
		for _, m := range v.Members {
			leaves(s.Field(m.Name).Shape, m.Value, path+"."+m.Name, fill)
		}
	case events.FormQuantity:
		fill(path, v.Get("unit").Str, text(v.Get("value")))
	case events.FormList, events.FormOneOrMany:
		items := v.Items
		if v.Kind != canon.List {
			items = []canon.Value{v}
		}
		switch s.Elem.Form {
		case events.FormObject, events.FormQuantity:
			for i, item := range items {
				leaves(s.Elem, item, fmt.Sprintf("%s[%d]", path, i), fill)
			}
		default:
			texts := []string{}
			for _, item := range items {
				texts = append(texts, text(item))
			}
			fill(path, "", strings.Join(texts, "; "))
		}
	default:
		fill(path, "", text(v))
	}
}

func TestUnknownKind(t *testing.T) {
	t.Parallel()
	_, err := templates.New(events.Standard(), "piks", templates.Farm{})
	var p events.Problem
	if !errors.As(err, &p) || !strings.Contains(p.Instead.String(), "picks") {
		t.Errorf("got %v", err)
	}
}

// Workbooks are the same bytes each time, and list what the farm has.
func TestWorkbook(t *testing.T) {
	t.Parallel()
	farm := templates.Farm{Code: "tern-hollow", Blocks: []templates.Choice{{"north", "North Block"}, {"upper", "Upper"}}, Labels: []templates.Choice{{"019b76da-a800-7000-8000-000000000001", "Brume 80 rev. 4"}}}
	for _, name := range []string{"sprays", "picks", "labels", "weather", "trees", "damage.seen"} {
		var one, two bytes.Buffer
		if err := errors.Join(make(t, name, farm).XLSX(&one), make(t, name, farm).XLSX(&two)); err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(one.Bytes(), two.Bytes()) {
			t.Errorf("%s: the same template gave other bytes", name)
		}
	}
}
