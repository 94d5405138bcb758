package main

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"

	"latewood/events"
	"latewood/projections/meteo"
	"latewood/projections/weather"
)

// Hourly temperatures in Fahrenheit: npm package vega-datasets 1.31.1, data/sf-temps.csv; US Government data (NOAA hourly
// normals 1981-2010 under the nominal year 2010), the package under BSD-3-Clause by its later versions. Not in 2.x or 3.x.
const (
	sfPackage = "vega-datasets@1.31.1"
	sfFile    = "package/data/sf-temps.csv"
	sfSHA256  = "bba2d91f48c80da50daca582e4bd1c1e0a054737585ec37530ad97d5efd41d3b"
)

// A year of hourly readings in Fahrenheit comes in through a map and gives the published sums: every month and column of
// testdata/vectors/sf_temps_monthly.csv by its heading's tolerance (counts exact, Utah units to 0.1, the rest to 0.002).
// The file's offset is -08:00 all year, so the farm's zone has no daylight saving.
func TestSanFranciscoHours(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	latewood(t, dir, "open", "sf-test", "--name", "Hours test", "--zone", "Etc/GMT+8", "--lat", "37.6", "--lon", "-122.4")
	file := published(t, sfPackage, sfFile, sfSHA256)
	if out := latewood(t, dir, "import", file, "--as", "weather", "--station", "airport", "--map", "date=time,temp=airTemperature[[degF]]"); !strings.Contains(out, "8759 recorded, 0 known before, 0 refused") {
		t.Fatalf("import: %s", out)
	}
	var doc weather.Doc
	// 68 F is 20 C exactly, and 68.1 F the next value that the file can hold: what is below one and not the other is 68.0 F.
	text := latewood(t, dir, "report", "weather", "--json", "--method", "count", "--base", "10", "--below", "20", "--below", "20.05", "--with", "chill")
	if err := events.ReadJSON([]byte(text), &doc); err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(text, "fitted to temperate fruit, not to lychee") {
		t.Errorf("chill is not marked as fitted to temperate fruit, not to lychee")
	}
	rows := map[string]weather.Row{}
	for _, r := range doc.Rows {
		rows[strings.TrimPrefix(strings.TrimPrefix(r.Period, "2010-"), "0")] = r
	}
	byF := fahrenheit(t, file)
	cells := 0
	var year [11]float64
	for _, want := range vector(t, "sf_temps_monthly.csv") {
		month := want["month"]
		r := rows[month]
		f := byF[month]
		got := [11]float64{}
		if month == "year" {
			got = year
			got[7] /= got[0]
		} else {
			got = [11]float64{
				r.Chill.HoursJudged, hoursBelow(r, 20), hoursBelow(r, 20.05) - hoursBelow(r, 20), r.Chill.Hours, f.chill, r.Chill.UtahUnits, f.utah,
				f.sum / f.rows, *r.MinC*1.8 + 32, *r.MaxC*1.8 + 32, value(r.DegreeDays.Value),
			}
			for i, v := range got {
				switch i {
				case 7:
					year[i] += f.sum
				case 8:
					year[i] = least(year[i], v)
				case 9:
					year[i] = max(year[i], v)
				default:
					year[i] += v
				}
			}
		}
		for i, c := range []struct {
			column    string
			tolerance float64
		}{
			{"rows", 0}, {"hours_below_68F", 0}, {"eq_68F", 0}, {"chill_hours_C", 0}, {"chill_hours_F", 0}, {"utah_C", 0.1}, {"utah_F", 0.1},
			{"mean_F", 0.002}, {"min_F", 0.002}, {"max_F", 0.002}, {"dd10C_hourly", 0.002},
		} {
			w, err := strconv.ParseFloat(want[c.column], 64)
			if err != nil {
				t.Fatalf("%s %s: %v", month, c.column, err)
			}
			cells++
			if !(math.Abs(got[i]-w) <= c.tolerance+1e-6) {
				t.Errorf("%s %s: %v, want %v", month, c.column, got[i], w)
			}
		}
	}
	t.Logf("counts: sf-temps %d months and the year, %d cells", len(rows), cells)
}

func least(a, b float64) float64 {
	if a == 0 {
		return b
	}
	return min(a, b)
}

// monthF is what the report has no column for: sums in Fahrenheit, by the formulas of meteo on the file's own numbers.
type monthF struct{ rows, sum, chill, utah float64 }

func fahrenheit(t *testing.T, file string) map[string]*monthF {
	t.Helper()
	f, err := os.Open(file)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	lines, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	out := map[string]*monthF{}
	for _, line := range lines[1:] {
		month := strings.TrimPrefix(line[0][5:7], "0")
		v, err := strconv.ParseFloat(line[1], 64)
		if err != nil {
			t.Fatal(err)
		}
		m := out[month]
		if m == nil {
			m = &monthF{}
			out[month] = m
		}
		m.rows++
		m.sum += v
		m.chill += meteo.ChillHoursF(v)
		m.utah += meteo.UtahF(v)
	}
	return out
}
