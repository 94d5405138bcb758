package ingest

import (
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"latewood/events"
	"latewood/events/canon"
	"latewood/events/civil"
)

var update = flag.Bool("update", false, "write the golden files anew")

func zone(t testing.TB, name string) *time.Location {
	t.Helper()
	z, err := civil.Zone(name)
	if err != nil {
		t.Fatal(err)
	}
	return z
}

// read shows what a file comes to behind the door of the invented farm Tern Hollow: a line for each record, and one for
// each problem.
func read(t testing.TB, text string, o Options) string {
	t.Helper()
	var b strings.Builder
	door := events.Door{Catalogue: events.Standard(), Farm: "tern-hollow", Zone: zone(t, "Pacific/Honolulu")}
	if o.Zone == nil {
		o.Zone = door.Zone
	}
	r, err := Open(strings.NewReader(text), o)
	if err != nil {
		return err.Error() + "\n"
	}
	for {
		row, err := r.Next()
		if errors.Is(err, io.EOF) {
			return b.String()
		}
		if err != nil {
			t.Fatal(err)
		}
		problems := row.Problems
		var a events.Accepted
		if len(problems) == 0 {
			a, problems = door.Check(row.Draft)
		}
		for _, p := range problems {
			field := p.Field
			if c := row.ColumnOf(p.Field); c != "" {
				field += fmt.Sprintf(" (%s)", c)
			}
			words := p.Why.Key // the door's words are its own
			if strings.HasPrefix(p.Why.Key, "ingest.") || strings.HasPrefix(p.Why.Key, "tables.") {
				words = fmt.Sprintf("%s; %s", p.Why, p.Instead)
			}
			fmt.Fprintf(&b, "%d: %s: %v: %s\n", row.Line, field, p.Value, words)
		}
		if len(problems) > 0 {
			continue
		}
		fmt.Fprintf(&b, "%d: %s %s", row.Line, a.Draft.Type, a.Draft.Time)
		for _, s := range []struct{ name, text string }{
			{"id", a.Draft.ID}, {"source", a.Draft.Source}, {"actor", a.Draft.Actor}, {"notedtime", a.Draft.NotedTime},
			{"devicetime", a.Draft.DeviceTime}, {"recorded", row.Recorded},
		} {
			if s.text != "" {
				fmt.Fprintf(&b, " %s=%s", s.name, s.text)
			}
		}
		fmt.Fprintf(&b, " %s\n", canon.Bytes(a.Draft.Data))
	}
}

// golden compares with a file below testdata; -update writes it.
func golden(t *testing.T, name, got string) {
	t.Helper()
	path := filepath.Join("testdata", filepath.FromSlash(name))
	if *update {
		if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if got != string(want) {
		t.Errorf("%s differs; got:\n%s\nwant:\n%s", name, got, want)
	}
}

func file(t testing.TB, name string) string {
	t.Helper()
	b, err := os.ReadFile(filepath.Join("testdata", filepath.FromSlash(name)))
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

func readMap(t testing.TB, name string) *Map {
	t.Helper()
	m, err := ReadMap(name, strings.NewReader(file(t, name)))
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// The files of the invented farm, each as a person would send it, and what they come to.
func TestFiles(t *testing.T) {
	t.Parallel()
	tags := map[string]string{"P07": "w_000102030405060708090a0b0c0d0e0f", "P11": "w_101112131415161718191a1b1c1d1e1f"}
	person := func(tag string) (string, bool) { who, ok := tags[tag]; return who, ok }
	for _, tc := range []struct {
		name string
		o    Options
	}{
		{"trees.csv", Options{As: "trees"}},
		{"picks.csv", Options{As: "picks", Person: person}},
		{"sprays.csv", Options{As: "sprays", Person: person}},
		{"labels.csv", Options{As: "labels"}},
		{"weather-hourly.csv", Options{As: "weather", Station: "hollow", Zone: zone(t, "America/New_York")}},
		{"weather-daily.csv", Options{Station: "hollow", Zone: zone(t, "America/New_York"), Map: inline(t, "date=time,tmax=airTemperatureMax[Cel],tmin=airTemperatureMin[Cel],rain=rain[mm]")}},
		{"export.jsonl", Options{}},
		{"cellar.csv", Options{Map: readMap(t, "cellar.yaml")}},
		{"week.csv", Options{Map: readMap(t, "week.yaml")}},
		{"bad.csv", Options{As: "picks", Person: person}},
		{"bad.jsonl", Options{}},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			tc.o.Name = tc.name
			golden(t, tc.name+".want", read(t, file(t, tc.name), tc.o))
		})
	}
}

func inline(t testing.TB, text string) *Map {
	t.Helper()
	m, err := ParseMap(text)
	if err != nil {
		t.Fatal(err)
	}
	return m
}
