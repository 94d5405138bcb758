package main

import (
	"crypto/sha256"
	"encoding/csv"
	"encoding/hex"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"latewood/events"
	"latewood/projections/weather"
)

// The file of real weather: npm package vega-datasets 3.2.1, data/seattle-weather.csv; US Government work (NOAA), package
// under BSD-3-Clause. It is fetched, held against its hash, kept in the user's cache, and never committed.
const (
	seattlePackage = "vega-datasets@3.2.1"
	seattleFile    = "package/data/seattle-weather.csv"
	seattleSHA256  = "0845078a290b48e3149ab8639966824110a251db4e06fc144c06ebb534af23be"
)

// published returns the path of a file of an npm package that a test fetches, holds against its hash, keeps in the user's
// cache and never commits.
func published(t *testing.T, pack, file, want string) string {
	t.Helper()
	cache, err := os.UserCacheDir()
	if err != nil {
		cache = t.TempDir() // a user without a home: fetched each time
	}
	path := filepath.Join(cache, "latewood", want+".csv")
	if sumOf(path) == want {
		return path
	}
	dir := t.TempDir()
	fetch := exec.Command("npm", "pack", "--silent", "--pack-destination", dir, pack)
	fetch.Dir = dir
	if out, err := fetch.CombinedOutput(); err != nil {
		t.Fatalf("npm pack %s: %v\n%s\nnpm and its registry are needed for this test", pack, err, out)
	}
	packed, err := filepath.Glob(filepath.Join(dir, "*.tgz"))
	if err != nil || len(packed) != 1 {
		t.Fatalf("npm pack left %v (%v)", packed, err)
	}
	if out, err := exec.Command("tar", "-xzf", packed[0], "-C", dir, file).CombinedOutput(); err != nil {
		t.Fatalf("tar: %v\n%s", err, out)
	}
	b, err := os.ReadFile(filepath.Join(dir, file))
	if err != nil {
		t.Fatal(err)
	}
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, b, 0o644); err != nil {
		t.Fatal(err)
	}
	if got := sumOf(path); got != want {
		t.Fatalf("the file has SHA-256 %s, want %s", got, want)
	}
	return path
}

func sumOf(path string) string {
	b, err := os.ReadFile(path)
	if err != nil {
		return ""
	}
	sum := sha256.Sum256(b)
	return hex.EncodeToString(sum[:])
}

// latewood runs the program in this process on a folder and returns what it prints.
func latewood(t *testing.T, dir string, args ...string) string {
	t.Helper()
	var out, errs strings.Builder
	if exit := run(append(args, "--dir", dir), strings.NewReader(""), &out, &errs); exit != 0 {
		t.Fatalf("latewood %s: exit %d\n%s%s", strings.Join(args, " "), exit, out.String(), errs.String())
	}
	return out.String()
}

// Four years of real daily weather come in through a map and give the published totals: every month and column of
// testdata/vectors/seattle_weather_dd10_monthly.csv within its tolerance (0.01 on degree-days and hours, counts exact).
func TestSeattle(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	// A zone without daylight saving: the vector counts every day as 24 hours.
	latewood(t, dir, "open", "seattle-test", "--name", "Weather test", "--zone", "Etc/GMT+8", "--lat", "47.6", "--lon", "-122.3")
	file := published(t, seattlePackage, seattleFile, seattleSHA256)
	out := latewood(t, dir, "import", file, "--as", "weather", "--station", "airport",
		"--map", "date=time,precipitation=rain[mm],temp_max=airTemperatureMax[Cel],temp_min=airTemperatureMin[Cel],wind=windSpeed[m/s]")
	if !strings.Contains(out, "1461 recorded, 0 known before, 0 refused") {
		t.Fatalf("import: %s", out)
	}
	if again := latewood(t, dir, "import", file, "--as", "weather", "--station", "airport",
		"--map", "date=time,precipitation=rain[mm],temp_max=airTemperatureMax[Cel],temp_min=airTemperatureMin[Cel],wind=windSpeed[m/s]"); !strings.Contains(again, "0 recorded, 1461 known before") {
		t.Errorf("the same file again: %s", again)
	}
	ask := func(args ...string) map[string]weather.Row {
		var doc weather.Doc
		text := latewood(t, dir, append([]string{"report", "weather", "--json", "--base", "10", "--below", "20", "--below", "7.2", "--min-below", "0", "--min-below", "-2.1", "--max-below", "20"}, args...)...)
		if err := events.ReadJSON([]byte(text), &doc); err != nil {
			t.Fatal(err)
		}
		rows := map[string]weather.Row{}
		for _, r := range doc.Rows {
			rows[r.Period] = r
		}
		return rows
	}
	average, sine := ask("--method", "average"), ask("--method", "sine")
	double, clipped := ask("--method", "double-sine", "--upper", "30"), ask("--method", "clipped", "--upper", "30")
	months, cells := 0, 0
	totals := map[string]float64{}
	for _, want := range vector(t, "seattle_weather_dd10_monthly.csv") {
		month := want["month"]
		r := sine[month]
		if month != "all" { // the last row is the whole file: the months added up
			months++
		}
		for _, c := range []struct {
			column    string
			got       float64
			tolerance float64
		}{
			{"days", float64(r.Days), 0},
			{"dd_avg", value(average[month].DegreeDays.Value), 0.01},
			{"dd_sine", value(r.DegreeDays.Value), 0.01},
			{"dd_dsine_h", value(double[month].DegreeDays.Value), 0.01},
			{"dd_clip", value(clipped[month].DegreeDays.Value), 0.01},
			{"h_below_20_sine", hoursBelow(r, 20), 0.01},
			{"h_below_7_2_sine", hoursBelow(r, 7.2), 0.01},
			{"frost_days", daysBelow(r.DaysMinBelow, 0), 0},
			{"precip_mm", math.Round(value(r.RainMm)*10) / 10, 0},
			{"cold_days", daysBelow(r.DaysMaxBelow, 20), 0},
			{"hard_freeze_days", daysBelow(r.DaysMinBelow, -2.1), 0}, // -2.2 and less, in data of tenths
		} {
			w, err := strconv.ParseFloat(want[c.column], 64)
			if err != nil {
				t.Fatalf("%s %s: %v", month, c.column, err)
			}
			cells++
			if month == "all" {
				c.got = totals[c.column]
			} else {
				totals[c.column] += c.got
			}
			if math.Abs(c.got-w) > c.tolerance+1e-6 {
				t.Errorf("%s %s: %v, want %v", month, c.column, c.got, w)
			}
		}
	}
	if months != 48 {
		t.Errorf("%d months, want 48", months)
	}
	t.Logf("counts: seattle %d months, %d cells", months, cells)
}

func value(f *float64) float64 {
	if f == nil {
		return math.NaN()
	}
	return *f
}

func hoursBelow(r weather.Row, c float64) float64 {
	for _, h := range r.HoursBelow {
		if h.C == c {
			return h.Hours
		}
	}
	return math.NaN()
}

func daysBelow(days []weather.Days, c float64) float64 {
	for _, d := range days {
		if d.C == c {
			return float64(d.Days)
		}
	}
	return math.NaN()
}

// vector reads a check table of testdata/vectors.
func vector(t *testing.T, name string) []map[string]string {
	t.Helper()
	b, err := os.ReadFile(filepath.Join("..", "..", "testdata", "vectors", name))
	if err != nil {
		t.Fatal(err)
	}
	r := csv.NewReader(strings.NewReader(string(b)))
	r.Comment = '#'
	rows, err := r.ReadAll()
	if err != nil || len(rows) < 2 {
		t.Fatal(fmt.Errorf("%s: %w", name, err))
	}
	var out []map[string]string
	for _, row := range rows[1:] {
		m := map[string]string{}
		for i, h := range rows[0] {
			m[h] = row[i]
		}
		out = append(out, m)
	}
	return out
}
