package meteo

import (
	"errors"
	"math"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// parseReadings reads "0:21.0 0.25:20.0": hours and values.
func parseReadings(t *testing.T, text string) Series {
	t.Helper()
	var s Series
	for _, pair := range strings.Fields(text) {
		h, v, ok := strings.Cut(pair, ":")
		if !ok {
			t.Fatalf("reading %q", pair)
		}
		hour, err := strconv.ParseFloat(h, 64)
		if err != nil {
			t.Fatal(err)
		}
		value, err := strconv.ParseFloat(v, 64)
		if err != nil {
			t.Fatal(err)
		}
		s.Times = append(s.Times, int64(math.Round(hour*float64(Hour))))
		s.Values = append(s.Values, value)
	}
	return s
}

// Check table hours_from_readings.csv, tolerance 0.001 h. Computed in plain
// Python for this project.
func TestHoursFromReadings(t *testing.T) {
	t.Parallel()
	for _, r := range vectors(t, "hours_from_readings.csv", 7) {
		s := parseReadings(t, r.text("readings"))
		name := r.text("series") + " below " + r.text("threshold")
		rules := Rules{MaxGap: int64(r.num("max_gap_h") * float64(Hour))}
		for _, c := range []struct {
			method Method
			column string
		}{{Hold, "hold_h"}, {Linear, "linear_h"}} {
			rules.Method = c.method
			h := must[Hours](t)(HoursBelow(s, r.num("threshold"), rules))
			near(t, name+" "+c.method.String(), h.Below, r.num(c.column), 0.001)
			near(t, name+" covered", h.Covered, r.num("covered_h"), 0.001)
			near(t, name+" sum", h.Below+h.AtOrAbove, h.Covered, 1e-9)
			if want := int(r.num("count")); h.CountBelow != want {
				t.Errorf("%s: got %d readings below, want %d", name, h.CountBelow, want)
			}
		}
		rules.Method, rules.Nominal = Count, Hour
		h := must[Hours](t)(HoursBelow(s, r.num("threshold"), rules))
		near(t, name+" count", h.Below, r.num("count"), 0.001)
		near(t, name+" count, rest", h.AtOrAbove, float64(len(s.Times))-r.num("count"), 0.001)
	}
}

// Check table hours_below_daily_minmax.csv, tolerance 0.005 h. Computed, the
// closed form against numeric integration; model Baskerville & Emin 1969.
func TestHoursBelowFromDailyExtremes(t *testing.T) {
	t.Parallel()
	for _, r := range vectors(t, "hours_below_daily_minmax.csv", 16) {
		lo, hi, c := r.num("tmin_C"), r.num("tmax_C"), r.num("threshold_C")
		name := r.text("tmin_C") + ".." + r.text("tmax_C") + " below " + r.text("threshold_C")
		sine := must[float64](t)(HoursBelowSine(lo, hi, c))
		near(t, name+" sine", sine, r.num("hours_below_sine"), 0.005)
		near(t, name+" sine, rest", 24-sine, r.num("hours_at_or_above_sine"), 0.005)
		near(t, name+" triangle", must[float64](t)(HoursBelowTriangle(lo, hi, c)), r.num("hours_below_triangle"), 0.005)
	}
}

func TestDailyExtremesRefused(t *testing.T) {
	t.Parallel()
	for _, f := range []func(lo, hi, c float64) (float64, error){
		HoursBelowSine, HoursBelowTriangle, ShareBelowSine, ShareBelowTriangle,
	} {
		if _, err := f(12, 11, 20); !errors.Is(err, ErrMinAboveMax) {
			t.Errorf("reversed day: got %v, want ErrMinAboveMax", err)
		}
		if _, err := f(math.NaN(), 11, 20); !errors.Is(err, ErrNotFinite) {
			t.Errorf("missing minimum: got %v, want ErrNotFinite", err)
		}
		if _, err := f(1, 11, math.Inf(1)); !errors.Is(err, ErrNotFinite) {
			t.Errorf("infinite threshold: got %v, want ErrNotFinite", err)
		}
	}
}

func TestStrictComparison(t *testing.T) {
	t.Parallel()
	// Three readings exactly at the threshold: nothing lies below it
	// (project rule: "below 68 F" leaves out 68.0).
	s := Series{Times: []int64{0, Hour, 2 * Hour}, Values: []float64{20, 20, 20}}
	for _, m := range []Method{Linear, Hold, Count} {
		h := must[Hours](t)(HoursBelow(s, 20, Rules{Method: m, Nominal: Hour}))
		if h.Below != 0 || h.CountBelow != 0 {
			t.Errorf("%s: got %g h and %d readings below, want none", m, h.Below, h.CountBelow)
		}
	}
}

func TestIntervalReadings(t *testing.T) {
	t.Parallel()
	// Invented: quarter-hour means that end at their stamps, with a hole of
	// three hours that no reading speaks for and one of a quarter hour.
	q := 15 * Minute
	s := Series{
		Times:     []int64{q, 2 * q, 3 * q, 16 * q, 18 * q},
		Values:    []float64{19, 21, 19, 19, 21},
		Intervals: []int64{q, q, q, q, q},
	}
	tests := []struct {
		name                   string
		rules                  Rules
		below, rest, covered   float64
		readings, gaps, counts int
	}{
		// Means are steps; only the bridged hole from 4 h to 4.25 h differs:
		// a line from 19 to 21 is below 20 for half of it.
		{"linear", Rules{}, 0.75 + 0.125, 0.5 + 0.125, 1.5, 5, 1, 3},
		{"hold", Rules{Method: Hold}, 1, 0.5, 1.5, 5, 1, 3},
		{"count", Rules{Method: Count, Nominal: 1}, 0.75, 0.5, 1.5, 5, 1, 3},
		{"window cuts two means", Rules{From: q / 2, To: 2*q + q/2}, 0.125 + 0.125, 0.25, 0.5, 3, 0, 2},
	}
	for _, tt := range tests {
		h := must[Hours](t)(HoursBelow(s, 20, tt.rules))
		near(t, tt.name+" below", h.Below, tt.below, 1e-9)
		near(t, tt.name+" rest", h.AtOrAbove, tt.rest, 1e-9)
		near(t, tt.name+" covered", h.Covered, tt.covered, 1e-9)
		if h.Readings != tt.readings || h.Gaps != tt.gaps || h.CountBelow != tt.counts {
			t.Errorf("%s: got %d readings, %d gaps, %d below; want %d, %d, %d",
				tt.name, h.Readings, h.Gaps, h.CountBelow, tt.readings, tt.gaps, tt.counts)
		}
	}
	// A mean that reaches back behind the reading before it is trimmed: two
	// hourly means half an hour apart cover an hour and a half.
	h := must[Hours](t)(HoursBelow(Series{
		Times: []int64{Hour, Hour + Hour/2}, Values: []float64{19, 21}, Intervals: []int64{Hour, Hour},
	}, 20, Rules{}))
	near(t, "overlap below", h.Below, 1, 1e-9)
	near(t, "overlap covered", h.Covered, 1.5, 1e-9)
}

func TestReadingsLeftOut(t *testing.T) {
	t.Parallel()
	m := must[HoursMeter](t)(NewHoursMeter(20, Rules{}))
	m.Add(0, 19)
	m.Add(0, 25)                        // same instant
	m.Add(-Hour, 25)                    // earlier
	m.Add(Hour, math.NaN())             // no number
	m.Add(Hour, math.Inf(-1))           // no number
	m.AddInterval(Hour, -1, 25)         // no interval
	m.Add(math.MaxInt64, 25)            // no instant of this world
	m.AddInterval(0, math.MinInt64, 25) // nor this
	m.Add(2*Hour, 19)                   // exactly the longest gap
	m.Add(4*Hour+1, 19)                 // a millisecond longer
	h := m.Result()
	if h.Ignored != 7 || h.Readings != 3 || h.Gaps != 1 {
		t.Errorf("got %d left out, %d readings, %d gaps; want 7, 3, 1", h.Ignored, h.Readings, h.Gaps)
	}
	near(t, "below", h.Below, 2, 1e-9)
	near(t, "covered", h.Covered, 2, 1e-9)
	near(t, "longest gap", h.LongestGap, 2, 1e-6)
}

func TestRulesRefused(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name  string
		c     float64
		rules Rules
		want  error
	}{
		{"no threshold", math.NaN(), Rules{}, ErrNotFinite},
		{"unknown method", 20, Rules{Method: 9}, ErrRules},
		{"negative gap", 20, Rules{MaxGap: -1}, ErrRules},
		{"negative nominal", 20, Rules{Nominal: -1}, ErrRules},
		{"count without nominal", 20, Rules{Method: Count}, ErrRules},
		{"window backwards", 20, Rules{From: 2, To: 1}, ErrRules},
		{"window empty", 20, Rules{From: 2, To: 2}, ErrRules},
	}
	for _, tt := range tests {
		if _, err := HoursBelow(Series{}, tt.c, tt.rules); !errors.Is(err, tt.want) {
			t.Errorf("%s: got %v, want %v", tt.name, err, tt.want)
		}
	}
	if _, err := HoursBelow(Series{Times: []int64{1}}, 20, Rules{}); !errors.Is(err, ErrLength) {
		t.Errorf("slices: got %v, want ErrLength", err)
	}
}

// anySeries draws an invented series: steps of 1 to 200 minutes, values in
// tenths, some missing, some speaking for an interval.
func anySeries(t *rapid.T) Series {
	n := rapid.IntRange(2, 40).Draw(t, "n")
	var s Series
	at := int64(0)
	intervals := rapid.Bool().Draw(t, "intervals")
	for i := range n {
		at += rapid.Int64Range(1, 200).Draw(t, "step") * Minute
		v := float64(rapid.IntRange(-50, 400).Draw(t, "tenths")) / 10
		if i > 0 && rapid.IntRange(0, 9).Draw(t, "missing") == 0 {
			v = math.NaN()
		}
		s.Times, s.Values = append(s.Times, at), append(s.Values, v)
		if intervals {
			s.Intervals = append(s.Intervals, rapid.Int64Range(0, 90).Draw(t, "interval")*Minute)
		}
	}
	return s
}

func anyRules(t *rapid.T) Rules {
	return Rules{
		Method:  rapid.SampledFrom([]Method{Linear, Hold, Count}).Draw(t, "method"),
		MaxGap:  rapid.Int64Range(1, 240).Draw(t, "gap") * Minute,
		Nominal: Hour,
	}
}

func TestHoursProperties(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		s, r := anySeries(t), anyRules(t)
		c := float64(rapid.IntRange(-60, 410).Draw(t, "threshold")) / 10
		whole, err := HoursBelow(s, c, r)
		if err != nil {
			t.Fatal(err)
		}
		// Below and the rest make up the covered time.
		if r.Method != Count && math.Abs(whole.Below+whole.AtOrAbove-whole.Covered) > 1e-9 {
			t.Fatalf("%g below + %g not, %g covered", whole.Below, whole.AtOrAbove, whole.Covered)
		}
		// A higher threshold never has fewer hours below it.
		more, _ := HoursBelow(s, c+1, r)
		if more.Below < whole.Below-1e-9 {
			t.Fatalf("below %g: %g h, below %g: %g h", c, whole.Below, c+1, more.Below)
		}
		// Two windows side by side add up to one.
		from, to := s.Times[0]-3*Hour, s.Times[len(s.Times)-1]+3*Hour
		mid := rapid.Int64Range(from+1, to-1).Draw(t, "mid")
		var sum, covered float64
		for _, w := range [][2]int64{{from, mid}, {mid, to}} {
			r.From, r.To = w[0], w[1]
			part, err := HoursBelow(s.Between(w[0], w[1]), c, r)
			if err != nil {
				t.Fatal(err)
			}
			sum, covered = sum+part.Below, covered+part.Covered
		}
		if math.Abs(sum-whole.Below) > 1e-6 || math.Abs(covered-whole.Covered) > 1e-6 {
			t.Fatalf("in two windows %g of %g h, in one %g of %g h", sum, covered, whole.Below, whole.Covered)
		}
	})
}

// The lines again by brute force: each stretch between two readings is sampled
// at 4000 points.
func TestLinearAgainstSampling(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(2, 8).Draw(t, "n")
		var s Series
		at := int64(0)
		for range n {
			at += rapid.Int64Range(5, 119).Draw(t, "step") * Minute
			s.Times = append(s.Times, at)
			s.Values = append(s.Values, float64(rapid.IntRange(0, 40).Draw(t, "v")))
		}
		const c, upper, points = 14.5, 30.25, 4000
		var below, sum float64
		for i := 1; i < n; i++ {
			dt := float64(s.Times[i]-s.Times[i-1]) / points
			for k := range points {
				v := s.Values[i-1] + (s.Values[i]-s.Values[i-1])*(float64(k)+0.5)/points
				if v < c {
					below += dt
				}
				sum += (math.Min(math.Max(v, c), upper) - c) * dt
			}
		}
		h, err := HoursBelow(s, c, Rules{})
		if err != nil {
			t.Fatal(err)
		}
		if got, want := h.Below, below/float64(Hour); math.Abs(got-want) > 0.002*float64(n) {
			t.Fatalf("got %g h, sampled %g h", got, want)
		}
		dd, err := DegreeDaysFrom(s, c, upper, Rules{})
		if err != nil {
			t.Fatal(err)
		}
		if got, want := dd.Total, sum/float64(Day); math.Abs(got-want) > 1e-4*float64(n) {
			t.Fatalf("got %g degree-days, sampled %g", got, want)
		}
	})
}

func TestShareProperties(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		lo := rapid.Float64Range(-30, 45).Draw(t, "lo")
		hi := lo + rapid.Float64Range(0, 30).Draw(t, "range")
		c := rapid.Float64Range(-40, 80).Draw(t, "c")
		for _, f := range []func(lo, hi, c float64) (float64, error){ShareBelowSine, ShareBelowTriangle} {
			a, err := f(lo, hi, c)
			if err != nil || a < 0 || a > 1 {
				t.Fatalf("share %g, %v", a, err)
			}
			if b, _ := f(lo, hi, c+0.5); b < a-1e-12 {
				t.Fatalf("share falls from %g to %g", a, b)
			}
			// Turned upside down, below becomes above.
			if b, _ := f(-hi, -lo, -c); lo < hi && math.Abs(a+b-1) > 1e-9 {
				t.Fatalf("share %g and its mirror %g", a, b)
			}
		}
	})
}

func TestMethodNames(t *testing.T) {
	t.Parallel()
	for _, m := range []Method{Linear, Hold, Count} {
		if got, err := ParseMethod(m.String()); err != nil || got != m {
			t.Errorf("%s: got %v, %v", m, got, err)
		}
	}
	if _, err := ParseMethod("guess"); !errors.Is(err, ErrRules) {
		t.Errorf("got %v, want ErrRules", err)
	}
	if got := Method(7).String(); got != "method(7)" {
		t.Errorf("got %q", got)
	}
}
