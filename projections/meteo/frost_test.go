package meteo

import (
	"errors"
	"math"
	"testing"

	"pgregory.net/rapid"
)

// frostSeries is the series "frost" of hours_from_readings.csv.
func frostSeries(t *testing.T) Series {
	return parseReadings(t, "0:3.0 1:1.5 2:0.5 3:-0.5 4:-1.4 5:-2.1 6:-2.6 7:-1.0 8:2.0 9:6.0")
}

// Computed in plain Python for this project: below 0 C 4.833 h by lines and 5 by count; below -2 C 1.518
// h. Degree-hours by hand, trapezoid by trapezoid.
func TestFrostHours(t *testing.T) {
	t.Parallel()
	s := frostSeries(t)
	near(t, "below 0", must[Hours](t)(HoursBelow(s, 0, Rules{})).Below, 4.833, 0.001)
	if n := must[Hours](t)(HoursBelow(s, 0, Rules{})).CountBelow; n != 5 {
		t.Errorf("got %d readings below 0, want 5", n)
	}
	near(t, "below -2", must[Hours](t)(HoursBelow(s, -2, Rules{})).Below, 1.518, 0.001)
	sum, cover, err := DegreeHoursBelow(s, 0, Rules{})
	if err != nil {
		t.Fatal(err)
	}
	// 2:30-3:00 0.5*0.5/2; then trapezoids; 7:00-7:20 1.0/3/2.
	want := 0.125 + (0.5+1.4)/2 + (1.4+2.1)/2 + (2.1+2.6)/2 + (2.6+1.0)/2 + 1.0/6
	near(t, "degree-hours", sum, want, 1e-9)
	near(t, "covered", cover.Covered, 9, 1e-9)
	if _, _, err := DegreeHoursBelow(s, 0, Rules{Method: Count}); !errors.Is(err, ErrRules) {
		t.Errorf("got %v, want ErrRules", err)
	}
	if _, _, err := DegreeHoursBelow(Series{Times: []int64{1}}, 0, Rules{}); !errors.Is(err, ErrLength) {
		t.Errorf("got %v, want ErrLength", err)
	}
}

func TestFrostEvents(t *testing.T) {
	t.Parallel()
	// Hourly readings need a longer gap than the half hour of an alarm.
	events := must[[]FrostEvent](t)(FrostEvents(frostSeries(t), FrostRules{Threshold: 0, MaxGap: 2 * Hour}))
	if len(events) != 1 {
		t.Fatalf("got %d events, want 1", len(events))
	}
	e := events[0]
	if e.Start != 2*Hour+30*Minute || e.End != 7*Hour+20*Minute || e.Open || e.Gap || e.Min != -2.6 || e.MinAt != 6*Hour {
		t.Errorf("got %+v", e)
	}
	near(t, "hours", e.Hours, 4.8333, 0.001)
	near(t, "degree-hours", e.DegreeHours, 7.1417, 0.001)
	// Half an hour about 06:00: down at 0.5 C an hour before, up at 1.6 after.
	// Both ends equal where 0.5 x = 1.6 (0.5 - x), x = 8/21 h: -2.6 + 4/21.
	near(t, "exposure", e.Exposure, -2.6+4.0/21, 1e-9)
	// With half-hour gaps hourly readings say nothing.
	if got := must[[]FrostEvent](t)(FrostEvents(frostSeries(t), FrostRules{})); len(got) != 0 {
		t.Errorf("hourly readings under the alarm gap: got %d events, want none", len(got))
	}
}

// minutes makes readings every step minutes from the given values.
func minutes(step int64, values ...float64) Series {
	s := Series{Values: values}
	for i := range values {
		s.Times = append(s.Times, int64(i)*step*Minute)
	}
	return s
}

func TestFrostEventRules(t *testing.T) {
	t.Parallel()
	nan := math.NaN()
	tests := []struct {
		name   string
		s      Series
		events int
		open   bool
		gap    bool
		start  int64 // of the first, minutes
		end    int64 // of the first, minutes; 0: open
	}{
		{"one reading is no event", minutes(10, 2, -1, 2, 2, 2, 2), 0, false, false, 0, 0},
		{"two readings, open", minutes(10, 1, -1, -1), 1, true, false, 5, 0},
		{"five minutes are too few", minutes(5, 1, -1, -1, 1, 1), 0, false, false, 0, 0},
		{"at the threshold counts", minutes(10, 1, 0, 0, 1), 1, true, false, 10, 0},
		{"a short rise belongs to it", minutes(10, 2, -2, -2, 2, 2, 2, -2, 2, 2, 2, 2), 1, false, false, 5, 65},
		{"within a degree is not over", minutes(10, 1, -1, -1, 1, 1, 1, 1, 1, 1), 1, true, false, 5, 0},
		{"over after 30 minutes", minutes(10, 3, -1, -1, 3, 3, 3, 3), 1, false, false, 7, 22},
		{"two events", minutes(10, 3, -1, -1, 3, 3, 3, 3, -1, -1), 2, true, false, 7, 22},
		{"a missing value is no rise", minutes(10, 1, -1, nan, -1), 1, true, false, 5, 0},
		{"silence does not end it", Series{
			Times:  []int64{0, 10 * Minute, 20 * Minute, 200 * Minute, 210 * Minute},
			Values: []float64{1, -1, -1, -1, -1},
		}, 1, true, true, 5, 0},
		{"silence before confirmation", Series{
			Times:  []int64{0, 100 * Minute, 105 * Minute},
			Values: []float64{-1, -1, -1},
		}, 0, false, false, 0, 0},
		{"out of order is left out", Series{
			Times:  []int64{0, 10 * Minute, 5 * Minute, 20 * Minute},
			Values: []float64{1, -1, 9, -1},
		}, 1, true, false, 5, 0},
	}
	for _, tt := range tests {
		got := must[[]FrostEvent](t)(FrostEvents(tt.s, FrostRules{}))
		if len(got) != tt.events {
			t.Errorf("%s: got %d events, want %d", tt.name, len(got), tt.events)
			continue
		}
		if tt.events == 0 {
			continue
		}
		if last := got[len(got)-1]; last.Open != tt.open || (last.End == 0) != tt.open {
			t.Errorf("%s: last event %+v, want open %v", tt.name, last, tt.open)
		}
		e := got[0]
		if e.Start/Minute != tt.start || e.End/Minute != tt.end || e.Gap != tt.gap {
			t.Errorf("%s: got %d to %d min, gap %v", tt.name, e.Start/Minute, e.End/Minute, e.Gap)
		}
	}
	if _, err := FrostEvents(Series{}, FrostRules{Threshold: math.NaN()}); !errors.Is(err, ErrNotFinite) {
		t.Errorf("got %v, want ErrNotFinite", err)
	}
	if _, err := FrostEvents(Series{}, FrostRules{MaxGap: -1}); !errors.Is(err, ErrRules) {
		t.Errorf("got %v, want ErrRules", err)
	}
	if _, err := FrostEvents(Series{Times: []int64{1}}, FrostRules{}); !errors.Is(err, ErrLength) {
		t.Errorf("got %v, want ErrLength", err)
	}
}

// Against sampling: the stretch is slid over the lines in steps of a minute.
func TestLowestForAgainstSampling(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(2, 10).Draw(t, "n")
		var s Series
		at := int64(0)
		for range n {
			at += rapid.Int64Range(1, 20).Draw(t, "step") * 4 * Minute
			s.Times = append(s.Times, at)
			s.Values = append(s.Values, float64(rapid.IntRange(-20, 20).Draw(t, "v")))
		}
		const width = 30 * Minute
		value := func(at int64) float64 {
			for i := 1; i < n; i++ {
				if at <= s.Times[i] {
					return s.Values[i-1] + (s.Values[i]-s.Values[i-1])*float64(at-s.Times[i-1])/float64(s.Times[i]-s.Times[i-1])
				}
			}
			return math.NaN()
		}
		want := math.NaN()
		for start := s.Times[0]; start+width <= s.Times[n-1]; start += Minute {
			top := math.Inf(-1)
			for at := start; at <= start+width; at += Minute {
				top = math.Max(top, value(at))
			}
			if math.IsNaN(want) || top < want {
				want = top
			}
		}
		got := LowestFor(s, width, Hour*24)
		// The slope is at most 40 degrees in 4 minutes: a minute's placing can
		// miss the best by 10, never beat it.
		if math.IsNaN(got) != math.IsNaN(want) || got > want+1e-9 || got < want-10 {
			t.Fatalf("got %g, sampled %g", got, want)
		}
		lowest := math.Inf(1)
		for _, v := range s.Values {
			lowest = math.Min(lowest, v)
		}
		if got < lowest-1e-9 {
			t.Fatalf("got %g below the lowest reading %g", got, lowest)
		}
		if longer := LowestFor(s, 2*width, Hour*24); longer < got-1e-9 {
			t.Fatalf("%g for 30 minutes, %g for 60", got, longer)
		}
	})
}

func TestLowestFor(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name string
		s    Series
		want float64
	}{
		{"level", minutes(10, 1, 1, 1, 1), 1},
		{"a notch of 20 minutes", minutes(10, 0, 0, -4, 0, 0), 0},
		{"a valley of 40", minutes(10, 0, -4, -4, -4, 0), -2},
		{"too short", minutes(10, 1, 1, 1), math.NaN()},
		{"gap", Series{Times: []int64{0, 20 * Minute, 60 * Minute, 80 * Minute}, Values: []float64{1, 1, 1, 1}}, math.NaN()},
		{"missing in a valley", minutes(10, 0, -4, math.NaN(), -4, 0), -2},
		{"nothing", Series{}, math.NaN()},
	}
	for _, tt := range tests {
		got := LowestFor(tt.s, 30*Minute, 30*Minute)
		if math.IsNaN(got) != math.IsNaN(tt.want) || math.Abs(got-tt.want) > 1e-9 {
			t.Errorf("%s: got %g, want %g", tt.name, got, tt.want)
		}
	}
}

// The alert rules, project rules all: each row one rule.
func TestFrostLevels(t *testing.T) {
	t.Parallel()
	nan := math.NaN()
	// Sunset at minute 0; readings every 10 minutes from there.
	tests := []struct {
		name     string
		s        Series
		now      int64 // minutes
		forecast float64
		level    FrostLevel
		reason   string
		blind    bool
	}{
		{"mild", minutes(10, 12, 12, 12, 12, 12, 12, 12), 60, nan, FrostNone, "", false},
		{"forecast", minutes(10, 12, 12, 12, 12, 12, 12, 12), 60, 2, FrostWatch, FrostByForecast, false},
		{"forecast above", minutes(10, 12, 12, 12, 12, 12, 12, 12), 60, 2.1, FrostNone, "", false},
		{"falling", minutes(10, 3.2, 3.1, 3.1, 3, 3, 2.9, 2.8), 60, nan, FrostWatch, FrostByFalling, false},
		{"rising", minutes(10, 2.2, 2.3, 2.3, 2.4, 2.5, 2.6, 2.8), 60, nan, FrostNone, "", false},
		{"falling, too early", minutes(10, 3.2, 3.1, 3.1, 3, 3, 2.9), 50, nan, FrostNone, "", false},
		{"trend", minutes(10, 8, 7.5, 7, 6.5, 6, 5.5, 5), 60, nan, FrostWarn, FrostByTrend, false},
		{"trend of three readings", minutes(20, 8, 7, 6), 40, nan, FrostNone, "", false},
		{"trend of four readings", minutes(20, 8, 7, 6, 5), 60, nan, FrostWarn, FrostByTrend, false},
		{"trend too slow", minutes(10, 6, 5.7, 5.4, 5.1, 4.8, 4.5, 4.2), 60, nan, FrostNone, "", false},
		{"near", minutes(10, 1, 1, 1, 1), 30, nan, FrostWarn, FrostByNear, false},
		{"near until half an hour above", minutes(10, 1, 1.5, 1.6, 1.7), 30, nan, FrostWarn, FrostByNear, false},
		{"not near any more", minutes(10, 1, 1.5, 1.6, 1.7, 1.8), 40, nan, FrostNone, "", false},
		{"event", minutes(10, 1, 0, 0), 20, nan, FrostNow, FrostByReadings, false},
		{"event not over", minutes(10, 1, 0, 0, 5, 5, 5), 50, nan, FrostNow, FrostByReadings, false},
		{"event over", minutes(10, 1, 0, 0, 9, 9, 9, 9, 9, 9, 9, 9, 9, 9), 120, nan, FrostNone, "", false},
		{"blind", minutes(10, 2, 2, 2), 51, nan, FrostNone, "", true},
		{"half an hour is not blind", minutes(10, 2, 2, 2), 50, nan, FrostNone, "", false},
		{"mild and silent", minutes(10, 9, 9, 9), 51, nan, FrostNone, "", false},
		{"event and blind", minutes(10, 1, 0, 0), 60, nan, FrostNow, FrostByReadings, true},
		{"silent by day", minutes(10, 2, 2, 2), 901, nan, FrostNone, "", false},
		{"readings after now are not known", minutes(10, 12, 12, -5, -5), 10, nan, FrostNone, "", false},
		{"no readings", Series{}, 10, nan, FrostNone, "", false},
		{"no readings, forecast", Series{}, 10, -3, FrostWatch, FrostByForecast, false},
	}
	for _, tt := range tests {
		v := must[FrostVerdict](t)(Frost(tt.s, tt.now*Minute, 0, 720*Minute, tt.forecast, FrostRules{}))
		if v.Level != tt.level || v.Reason != tt.reason || v.Blind != tt.blind {
			t.Errorf("%s: got %s by %q, blind %v; want %s by %q, %v", tt.name, v.Level, v.Reason, v.Blind, tt.level, tt.reason, tt.blind)
		}
	}
	if _, err := Frost(Series{}, 0, 0, 1, nan, FrostRules{Threshold: nan}); !errors.Is(err, ErrNotFinite) {
		t.Errorf("got %v, want ErrNotFinite", err)
	}
	if _, err := Frost(Series{Times: []int64{1}}, 0, 0, 1, nan, FrostRules{}); !errors.Is(err, ErrLength) {
		t.Errorf("got %v, want ErrLength", err)
	}
	for _, l := range []FrostLevel{FrostNone, FrostWatch, FrostWarn, FrostNow, 9} {
		if l.String() == "" {
			t.Errorf("%d has no name", l)
		}
	}
}

func TestFrostLimits(t *testing.T) {
	t.Parallel()
	seen := map[string]bool{}
	for _, l := range FrostLimits() {
		if l.Code == "" || l.Source == "" || l.FromF > l.ToF || seen[l.Code] {
			t.Errorf("not whole: %+v", l)
		}
		seen[l.Code] = true
	}
}
