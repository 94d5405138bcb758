package meteo

import (
	"errors"
	"math"
	"testing"
)

// Check table chill_per_reading.csv, exact. Computed from the published tables
// (Richardson et al. 1974 and the 32-45 F rule); the edges are in it, among
// them the one on which packages disagree: 0.0 C counts as a chilling hour.
func TestChillTable(t *testing.T) {
	t.Parallel()
	disagree := 0
	for _, r := range vectors(t, "chill_per_reading.csv", 23) {
		c, f := r.num("T_C"), r.num("T_F")
		below := 0.0
		if h := must[Hours](t)(HoursBelow(Series{Times: []int64{0}, Values: []float64{c}}, LycheeLine,
			Rules{Method: Count, Nominal: Hour})); h.CountBelow == 1 {
			below = h.Below
		}
		for _, k := range []struct {
			column string
			got    float64
		}{
			{"chill_hours_C", ChillHoursC(c)}, {"chill_hours_F", ChillHoursF(f)},
			{"utah_C", UtahC(c)}, {"utah_F", UtahF(f)}, {"below_20C", below},
		} {
			if want := r.num(k.column); k.got != want {
				t.Errorf("%g C, %g F, %s: got %g, want %g", c, f, k.column, k.got, want)
			}
		}
		if UtahC(c) != UtahF(f) {
			disagree++
		}
	}
	// A known trap: on continuous temperatures the two tables are two
	// functions.
	if disagree != 6 {
		t.Errorf("the tables in C and F differ in %d rows, want 6", disagree)
	}
}

// Every tenth of a degree, by a table of classes written the other way round:
// from above. Edges published (Richardson et al. 1974, as two packages agree).
func TestUtahEveryTenth(t *testing.T) {
	t.Parallel()
	for tenths := -100; tenths <= 400; tenths++ {
		want := 0.0
		switch {
		case tenths > 180:
			want = -1
		case tenths > 159:
			want = -0.5
		case tenths > 124:
			want = 0
		case tenths > 91:
			want = 0.5
		case tenths > 24:
			want = 1
		case tenths > 14:
			want = 0.5
		}
		if got := UtahC(float64(tenths) / 10); got != want {
			t.Errorf("%d tenths C: got %g, want %g", tenths, got, want)
		}
		// In whole degrees F the two tables agree, the C edges being half
		// degrees; all but the last, 18.0 C = 64.4 F, so not at 65 F.
		if f := float64(tenths); f >= 20 && f <= 110 && (UtahF(f) != UtahC((f-32)/1.8)) != (f == 65) {
			t.Errorf("%g F: got %g, in C %g", f, UtahF(f), UtahC((f-32)/1.8))
		}
	}
}

func TestChillSum(t *testing.T) {
	t.Parallel()
	temps := []float64{5, 19, 19, 19, math.NaN(), 8, math.Inf(1)}
	var open, floored ChillSum
	floored.Floor = true
	for _, c := range temps {
		open.AddC(c)
		floored.AddC(c)
	}
	if open.Readings != 5 || open.Hours != 1 || open.Utah != -1 {
		t.Errorf("open: got %+v, want 5 readings, 1 hour, -1 units", open)
	}
	if floored.Utah != 1 {
		t.Errorf("floored: got %g, want 1", floored.Utah)
	}
	var f ChillSum
	f.AddF(45)
	f.AddF(70)
	if f.Hours != 1 || f.Utah != 0 {
		t.Errorf("F: got %+v, want 1 hour, 1-1 units", f)
	}
	if UtahC(math.NaN()) != 0 || ChillHoursC(math.NaN()) != 0 {
		t.Error("a missing reading weighs something")
	}
	// The rounding trap: 45 F is a chilling hour in F, is none at 7.2222 C, and
	// is one again once rounded to 7.2 C.
	c := (45.0 - 32) / 1.8
	if ChillHoursF(45) != 1 || ChillHoursC(c) != 0 || ChillHoursC(math.Round(c*10)/10) != 1 {
		t.Error("the rounding trap at 45 F has moved")
	}
}

func TestWarmth(t *testing.T) {
	t.Parallel()
	tests := []struct {
		hours float64
		want  WarmClass
	}{{0, FewWarm}, {2, FewWarm}, {2.01, BetweenWarm}, {7.99, BetweenWarm}, {8, ManyWarm}, {24, ManyWarm}, {25, ManyWarm}}
	for _, tt := range tests {
		if got, err := Warmth(tt.hours); err != nil || got != tt.want {
			t.Errorf("%g h: got %s, %v; want %s", tt.hours, got, err, tt.want)
		}
	}
	for _, bad := range []float64{-1, 26} {
		if _, err := Warmth(bad); !errors.Is(err, ErrRange) {
			t.Errorf("%g h: got %v, want ErrRange", bad, err)
		}
	}
	if _, err := Warmth(math.NaN()); !errors.Is(err, ErrNotFinite) {
		t.Errorf("got %v, want ErrNotFinite", err)
	}
	if got := WarmClass(9).String(); got != "warm-class(9)" {
		t.Errorf("got %q", got)
	}
	nan := math.NaN()
	runs := []struct {
		days             []float64
		current, longest int
	}{
		{nil, 0, 0},
		{[]float64{1, 2, 7.9, 8, 3, 3}, 2, 3},
		{[]float64{1, 2, nan, 3}, 1, 2},
		{[]float64{1, 2, 9}, 0, 2},
	}
	for _, tt := range runs {
		if c, l := CoolRun(tt.days, ManyWarmHours); c != tt.current || l != tt.longest {
			t.Errorf("%v: got %d, %d; want %d, %d", tt.days, c, l, tt.current, tt.longest)
		}
	}
}
