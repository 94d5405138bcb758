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
	before := 0
	for n := 0; ; n++ {
		row, err := r.Next()
		if errors.Is(err, io.EOF) {
			return
		}
		if err != nil {
			t.Fatal(err)
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
	table := []byte("Datum;Feld;Menge;2026-06-01;2026-06-02\n03/04/2026;North;1,5;2;3\n")
	for _, b := range corpus(f, "*.yaml") {
		f.Add(string(b))
	}
	f.Add(`date=time,"a,b"=mass[kg],dateOrder=dmy,x=-`)
	f.Add("columns: {Datum: [time, note], Menge: 'mass[kg]'}\nignore: '*'\nunpivot: {pattern: '2026*', into: {heading: time, value: mass_kg}}\n")
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
