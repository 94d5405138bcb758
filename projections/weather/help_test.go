package weather_test

import (
	"bytes"
	"encoding/csv"
	"flag"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"latewood/events"
	"latewood/events/civil"
	"latewood/projections"
	"latewood/projections/foldtest"
	"latewood/projections/weather"
)

// TestMain sets the number of property checks: few by default, 2,000 where LATEWOOD_PROOF=1 asks for the full proof.
func TestMain(m *testing.M) {
	flag.Parse()
	checks := "20"
	if os.Getenv("LATEWOOD_PROOF") == "1" {
		checks = "2000"
	}
	if err := flag.Set("rapid.checks", checks); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
	fmt.Println("weather: property checks a test:", checks)
	os.Exit(m.Run())
}

// vectors reads a check table of testdata/vectors: one map of cells by heading a row.
func vectors(t *testing.T, name string, rows int) []map[string]string {
	t.Helper()
	raw, err := os.ReadFile(filepath.Join("..", "..", "testdata", "vectors", name))
	if err != nil {
		t.Fatal(err)
	}
	reader := csv.NewReader(bytes.NewReader(raw))
	reader.Comment = '#'
	all, err := reader.ReadAll()
	if err != nil || len(all)-1 != rows {
		t.Fatalf("%s: %d rows, %v, want %d", name, len(all)-1, err, rows)
	}
	var out []map[string]string
	for _, record := range all[1:] {
		cells := map[string]string{}
		for i, v := range record {
			cells[all[0][i]] = v
		}
		out = append(out, cells)
	}
	return out
}

func num(t *testing.T, s string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func near(t *testing.T, what string, got *float64, want, tolerance float64) {
	t.Helper()
	switch {
	case got == nil:
		t.Errorf("%s: got nothing, want %v", what, want)
	case math.Abs(*got-want) > tolerance:
		t.Errorf("%s: got %v, want %v", what, *got, want)
	}
}

func celsius(v float64) *events.Quantity { return &events.Quantity{Value: v, Unit: "Cel"} }

func in(v float64, unit string) *events.Quantity { return &events.Quantity{Value: v, Unit: unit} }

func pointer[T any](v T) *T { return &v }

func date(t testing.TB, s string) civil.Date {
	t.Helper()
	d, err := civil.ParseDate(s)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

// instant adds a temperature at a Unix time in milliseconds.
func instant(f *foldtest.Farm, at int64, temp float64) *events.Record {
	return f.Add(civil.FormatTime(time.UnixMilli(at).UTC()), &events.WeatherRead{Station: "mauka", AirTemperature: celsius(temp)})
}

// day adds a daily summary of a local day.
func day(t testing.TB, f *foldtest.Farm, on string, w events.WeatherRead) *events.Record {
	t.Helper()
	d := date(t, on)
	w.Station, w.Interval = "mauka", pointer(civil.DayLength(d, f.Zone()).Seconds())
	return f.Add(civil.FormatTime(civil.DayEnd(d, f.Zone())), &w)
}

func report(t testing.TB, b *projections.Book, q weather.Query) weather.Doc {
	t.Helper()
	doc, err := weather.Report(b, q)
	if err != nil {
		t.Fatal(err)
	}
	return doc
}

// only returns the one row that a report is expected to have.
func only(t testing.TB, doc weather.Doc) weather.Row {
	t.Helper()
	if len(doc.Rows) != 1 {
		t.Fatalf("got %d rows, want 1: %s", len(doc.Rows), text(doc.Rows))
	}
	return doc.Rows[0]
}

func text(v any) string {
	j, err := events.WriteJSON(v)
	if err != nil {
		return err.Error()
	}
	return strings.ReplaceAll(string(j), "},{", "},\n{")
}
