package ingest

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"io/fs"
	"os"
	"path"
	"slices"
	"strings"
	"testing"

	"latewood/events"
	"latewood/events/canon"
)

// The frozen sample of every kind, one rich record each, written as a table of one row: a column for each value, the paths
// into groups and lists as headings (inputs[0].pick, items[0].question). Read back it is the same data.
func TestEveryKindFromATable(t *testing.T) {
	t.Parallel()
	samples := os.DirFS("../../testdata/versions")
	columns := 0
	for _, k := range events.Standard().Kinds() {
		raw, err := fs.ReadFile(samples, path.Join(k.Type()+".json"))
		if err != nil {
			t.Fatal(err)
		}
		record, err := canon.Parse(bytes.TrimSpace(raw))
		if err != nil {
			t.Fatal(err)
		}
		data := record.Get("data")
		var headings, cells []string
		add := func(heading, cell string) {
			headings, cells = append(headings, heading), append(cells, cell)
		}
		if k.Name == "tree.planted" || !slices.ContainsFunc(k.TimeFrom, func(f string) bool { return data.Get(f).Kind != canon.Absent }) {
			add("time", record.Get("time").Str)
		}
		if k.Name == "rule.adopted" { // a cell loses the blanks around it
			data.Set("rule", canon.Text(strings.TrimSpace(data.Get("rule").Str)))
		}
		flatten(k.Shape, data, "", add)
		columns += len(headings)
		var table strings.Builder
		w := csv.NewWriter(&table)
		_ = w.WriteAll([][]string{headings, cells})
		got := read(t, table.String(), Options{Name: "f", As: k.Name})
		if want := fmt.Sprintf("2: %s %s %s\n", k.Type(), record.Get("time").Str, canon.Bytes(data)); got != want {
			t.Errorf("%s:\n%s got  %s want %s", k.Name, table.String(), got, want)
		}
	}
	t.Logf("counts: %d kinds from tables, %d columns", len(events.Standard().Kinds()), columns)
}

// flatten writes a value as cells under the headings that a template would give them.
func flatten(s *events.Shape, v canon.Value, at string, add func(heading, cell string)) {
	switch s.Form {
	case events.FormObject:
		for _, m := range v.Members {
			inner := m.Name
			if at != "" {
				inner = at + "." + m.Name
			} else if m.Name == "time" {
				inner = "data.time" // of a correction; the bare word is the record's own
			}
			flatten(s.Field(m.Name).Shape, m.Value, inner, add)
		}
	case events.FormQuantity:
		add(at+"["+v.Get("unit").Str+"]", string(canon.Bytes(v.Get("value"))))
	case events.FormList, events.FormOneOrMany:
		items := v.Items
		if v.Kind != canon.List {
			items = []canon.Value{v}
		}
		if simple(s.Elem) {
			texts := make([]string, len(items))
			for i, item := range items {
				texts[i] = item.Str
			}
			add(at, strings.Join(texts, "; "))
			return
		}
		for i, item := range items {
			flatten(s.Elem, item, fmt.Sprintf("%s[%d]", at, i), add)
		}
	default:
		if v.Kind == canon.String {
			add(at, v.Str)
			return
		}
		add(at, string(canon.Bytes(v)))
	}
}
