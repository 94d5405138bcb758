package yields_test

import (
	"math"
	"testing"

	"latewood/events/civil"
	"latewood/projections/yields"
)

// series makes points of kilograms, one season after the other from 2021 on; a negative value is a season that is not
// there.
func series(kilos ...float64) []yields.Point {
	var out []yields.Point
	season := civil.Season("2021")
	for _, k := range kilos {
		if k >= 0 {
			out = append(out, yields.Point{Season: season, MG: int64(math.Round(k * 1e6))})
		}
		season = season.Next()
	}
	return out
}

// Check values: computed by hand from the published formulas (Hoblyn and others 1936; pair index Monselise & Goldschmidt
// 1982) in the project's facts on phenology, section 4.3. NaN: no value.
func TestAlternation(t *testing.T) {
	t.Parallel()
	none := math.NaN()
	for _, c := range []struct {
		name  string
		kilos []float64
		i, b  float64
	}{
		{"off and on", []float64{45.4, 12, 50, 15}, 0.57775, 1},
		{"first pair", []float64{45.4, 12}, 0.58188, none},
		{"second pair", []float64{12, 50}, 0.61290, none},
		{"third pair", []float64{50, 15}, 0.53846, none},
		{"even", []float64{40, 40, 40, 40}, 0, 0},
		{"all or nothing", []float64{80, 0, 80, 0}, 1, 1},
		{"pure growth", []float64{10, 20, 30, 40}, 0.22540, 0},
		{"other tree of the pair", []float64{0, 80, 0, 80}, 1, 1},
		{"both trees summed", []float64{80, 80, 80, 80}, 0, 0},
		{"two zeros are a missing term", []float64{30, 0, 0, 30}, 1, 0},
		{"only zeros", []float64{0, 0}, none, none},
		{"one season", []float64{40}, none, none},
		{"none", nil, none, none},
		{"a gap is not bridged", []float64{80, 0, -1, 0, 80}, 1, none},
		{"a gap only", []float64{80, -1, 20}, none, none},
		{"reversal behind a gap", []float64{80, -1, 20, 60, 20}, 0.5, 1},
		{"level ground between up and down is no reversal", []float64{10, 20, 20, 10}, (1./3 + 0 + 1./3) / 3, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			got := yields.Alternation(series(c.kilos...))
			near(t, "I", got.I, c.i, 0.000005)
			near(t, "B", got.B, c.b, 1e-12)
		})
	}
}

func near(t *testing.T, what string, got *float64, want, tolerance float64) {
	t.Helper()
	switch {
	case math.IsNaN(want) != (got == nil):
		t.Errorf("%s: got %v, want %v", what, got, want)
	case got != nil && math.Abs(*got-want) > tolerance:
		t.Errorf("%s: got %v, want %v", what, *got, want)
	}
}

// I is not the drop: I 0.57 is a drop of 72.6 %, I 0.92 one of 95.8 % (2I/(1+I); same source as above).
func TestDropIsNotTheIndex(t *testing.T) {
	t.Parallel()
	for i, drop := range map[float64]float64{0.57: 0.726, 0.92: 0.958} {
		good, bad := 1+i, 1-i
		near(t, "I", yields.Alternation(series(good, bad)).I, i, 1e-6)
		near(t, "drop", pointer(1-bad/good), drop, 0.0005)
	}
}

func pointer(f float64) *float64 { return &f }
