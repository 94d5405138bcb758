package meteo

import (
	"errors"
	"math"
	"testing"

	"pgregory.net/rapid"
)

// Check table degree_days.csv, tolerance 0.01. Computed in plain Python for
// this project (Baskerville & Emin 1969, Allen 1976); the row 50/78/53 is the
// published UC IPM example (11 degree-days by the average).
func TestDegreeDaysTable(t *testing.T) {
	t.Parallel()
	columns := []struct {
		column string
		method DailyMethod
	}{
		{"avg", Average}, {"avg_clipped", Clipped}, {"sine", Sine}, {"sine_h", SineHorizontal},
		{"sine_i", SineIntermediate}, {"sine_v", SineVertical}, {"tri_h", Triangle}, {"dsine_h", DoubleSine},
	}
	for _, r := range vectors(t, "degree_days.csv", 15) {
		day := Extremes{r.num("tmin"), r.num("tmax"), r.num("tmin_next")}
		for _, c := range columns {
			name := r.text("tmin") + ".." + r.text("tmax") + " " + r.text("unit") + " " + c.method.String()
			got := must[float64](t)(DegreeDays(c.method, day, r.num("lower"), r.num("upper")))
			near(t, name, got, r.num(c.column), 0.01)
		}
	}
}

// The six positions of a day against both thresholds, by hand.
func TestSixPositions(t *testing.T) {
	t.Parallel()
	const base, upper = 10, 30
	tests := []struct {
		name   string
		lo, hi float64
		method DailyMethod
		want   float64
	}{
		{"both above upper", 31, 38, SineHorizontal, upper - base},
		{"both below base", -3, 9, SineHorizontal, 0},
		{"both between", 12, 20, SineHorizontal, 6},
		{"both between, vertical", 12, 20, SineVertical, 6},
		{"both above, vertical", 31, 38, SineVertical, 0},
		// A sine symmetric about a threshold has the area W/pi above it.
		{"crosses base", 5, 15, SineHorizontal, 5 / math.Pi},
		{"crosses upper", 25, 35, SineHorizontal, 20 - 5/math.Pi},
		{"crosses both", 5, 35, SineHorizontal, 10},
		{"at upper all day", 30, 30, SineVertical, 20},
		{"at upper all day, horizontal", 30, 30, SineHorizontal, 20},
		{"intermediate never negative", 60, 70, SineIntermediate, 0},
	}
	for _, tt := range tests {
		got := must[float64](t)(DegreeDays(tt.method, Extremes{Min: tt.lo, Max: tt.hi}, base, upper))
		near(t, tt.name, got, tt.want, 1e-9)
	}
}

func TestDegreeDaysRefused(t *testing.T) {
	t.Parallel()
	day := Extremes{10, 20, 12}
	for m := Average; m <= DoubleSine; m++ {
		if _, err := DegreeDays(m, day, 30, 30); !errors.Is(err, ErrUpper) {
			t.Errorf("%s, upper = base: got %v, want ErrUpper", m, err)
		}
		if _, err := DegreeDays(m, day, 30, 10); !errors.Is(err, ErrUpper) {
			t.Errorf("%s, upper < base: got %v, want ErrUpper", m, err)
		}
		if _, err := DegreeDays(m, Extremes{21, 20, 12}, 10, 30); !errors.Is(err, ErrMinAboveMax) {
			t.Errorf("%s, reversed: got %v, want ErrMinAboveMax", m, err)
		}
		if _, err := DegreeDays(m, Extremes{10, math.NaN(), 12}, 10, 30); !errors.Is(err, ErrNotFinite) {
			t.Errorf("%s, missing: got %v, want ErrNotFinite", m, err)
		}
		if _, err := DegreeDays(m, day, 10, math.NaN()); !errors.Is(err, ErrNotFinite) {
			t.Errorf("%s, no upper number: got %v, want ErrNotFinite", m, err)
		}
		if got, err := DegreeDays(m, day, 10, NoUpper()); err != nil || !usable(got) {
			t.Errorf("%s without upper: got %g, %v", m, got, err)
		}
		if name, err := ParseDailyMethod(m.String()); err != nil || name != m {
			t.Errorf("%s: parsed as %v, %v", m, name, err)
		}
	}
	if _, err := DegreeDays(DoubleSine, Extremes{10, 20, math.NaN()}, 10, 30); !errors.Is(err, ErrNotFinite) {
		t.Errorf("no next minimum: got %v, want ErrNotFinite", err)
	}
	if _, err := DegreeDays(99, day, 10, 30); !errors.Is(err, ErrRules) {
		t.Errorf("unknown method: got %v, want ErrRules", err)
	}
	if _, err := ParseDailyMethod("guess"); !errors.Is(err, ErrRules) {
		t.Errorf("unknown name: got %v, want ErrRules", err)
	}
	if _, err := NewDegreeDayMeter(10, 10, Rules{}); !errors.Is(err, ErrUpper) {
		t.Errorf("meter: got %v, want ErrUpper", err)
	}
	if _, err := NewDegreeDayMeter(10, 30, Rules{Method: Count}); !errors.Is(err, ErrRules) {
		t.Errorf("count without nominal: got %v, want ErrRules", err)
	}
	if _, err := DegreeDaysFrom(Series{Times: []int64{1}}, 10, 30, Rules{}); !errors.Is(err, ErrLength) {
		t.Errorf("slices: got %v, want ErrLength", err)
	}
	if _, _, err := HourlyDegreeDays(nil, 10, 9); !errors.Is(err, ErrUpper) {
		t.Errorf("hourly: got %v, want ErrUpper", err)
	}
}

// Orderings that follow from the definitions: sine >= average, horizontal >= intermediate
// and vertical, nothing below 0; and F-days are 1.8 C-days.
func TestDegreeDayOrderings(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		lo := rapid.Float64Range(-20, 40).Draw(t, "lo")
		hi := lo + rapid.Float64Range(0, 30).Draw(t, "range")
		next := rapid.Float64Range(-20, 60).Draw(t, "next")
		base := rapid.Float64Range(-5, 20).Draw(t, "base")
		upper := base + rapid.Float64Range(0.1, 30).Draw(t, "width")
		f := func(c float64) float64 { return c*1.8 + 32 }
		var got [DoubleSine + 1]float64
		for m := Average; m <= DoubleSine; m++ {
			dd, err := DegreeDays(m, Extremes{lo, hi, next}, base, upper)
			if err != nil || dd < 0 {
				t.Fatalf("%s: %g, %v", m, dd, err)
			}
			inF, err := DegreeDays(m, Extremes{f(lo), f(hi), f(next)}, f(base), f(upper))
			if err != nil || math.Abs(inF-1.8*dd) > 1e-5 {
				t.Fatalf("%s: %g C-days, %g F-days, %v", m, dd, inF, err)
			}
			got[m] = dd
		}
		const hair = 1e-9
		if got[Sine] < got[Average]-hair || got[Sine] < got[SineHorizontal]-hair ||
			got[SineHorizontal] < got[SineIntermediate]-hair || got[SineHorizontal] < got[SineVertical]-hair ||
			got[SineHorizontal] > upper-base+hair || got[Triangle] > upper-base+hair ||
			got[DoubleSine] > upper-base+hair || got[Clipped] > upper-base+hair {
			t.Fatalf("out of order: %v", got)
		}
		// The double sine of a day that repeats is the single one.
		if same, _ := DegreeDays(DoubleSine, Extremes{lo, hi, lo}, base, upper); math.Abs(same-got[SineHorizontal]) > hair {
			t.Fatalf("repeating day: %g, single sine %g", same, got[SineHorizontal])
		}
	})
}

// The closed forms against the sine itself, sampled at 20,000 midpoints.
func TestDailyMethodsAgainstSampling(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		lo := float64(rapid.IntRange(-10, 35).Draw(t, "lo"))
		hi := lo + float64(rapid.IntRange(0, 25).Draw(t, "range"))
		base := float64(rapid.IntRange(0, 15).Draw(t, "base")) + 0.5
		upper := base + float64(rapid.IntRange(1, 25).Draw(t, "width"))
		const n = 20000
		var plain, horizontal, vertical, triangle float64
		for k := range n {
			x := (float64(k) + 0.5) / n
			v := (lo+hi)/2 + (hi-lo)/2*math.Sin(2*math.Pi*x)
			plain += math.Max(0, v-base)
			horizontal += clipped(v, base, upper)
			if v <= upper {
				vertical += math.Max(0, v-base)
			}
			triangle += clipped(lo+(hi-lo)*x, base, upper)
		}
		for m, want := range map[DailyMethod]float64{
			Sine: plain / n, SineHorizontal: horizontal / n, SineVertical: vertical / n, Triangle: triangle / n,
		} {
			got, err := DegreeDays(m, Extremes{Min: lo, Max: hi}, base, upper)
			if err != nil || math.Abs(got-want) > 0.02 {
				t.Fatalf("%s of %g..%g between %g and %g: got %g, sampled %g, %v", m, lo, hi, base, upper, got, want, err)
			}
		}
	})
}

func TestDegreeDaysFromReadings(t *testing.T) {
	t.Parallel()
	// By hand: six hours up from 5 to 25, six hours level, base 10, upper 20.
	// Up: from 10 to 20 half the time, mean 5; above 20 a quarter, 10. So
	// (0.5*5 + 0.25*10)*6 + 6*10 = 90 degree-hours.
	s := Series{Times: []int64{0, 6 * Hour, 12 * Hour}, Values: []float64{5, 25, 25}}
	r := Rules{MaxGap: 6 * Hour, Nominal: 6 * Hour}
	tests := []struct {
		method Method
		want   float64
	}{
		{Linear, 90.0 / 24},
		{Hold, 60.0 / 24},     // 5 held, then 25 held
		{Count, 2 * 60. / 24}, // two readings of 25, six hours each
	}
	for _, tt := range tests {
		r.Method = tt.method
		dd := must[DegreeDayTotal](t)(DegreeDaysFrom(s, 10, 20, r))
		near(t, tt.method.String(), dd.Total, tt.want, 1e-9)
		near(t, tt.method.String()+" covered", dd.Covered, 12, 1e-9)
		near(t, tt.method.String()+" a covered day", dd.PerCoveredDay(dd.Total), 2*tt.want, 1e-9)
	}
	// The hourly method is count with a nominal hour.
	values := []float64{8, 12, 16, math.NaN(), 35, 28}
	total, n, err := HourlyDegreeDays(values, 10, 30)
	if err != nil || n != 5 {
		t.Fatalf("got %d values, %v", n, err)
	}
	near(t, "hourly", total, (2.0+6+20+18)/24, 1e-12)
	hourly := Series{Times: []int64{0, Hour, 2 * Hour, 3 * Hour, 4 * Hour, 5 * Hour}, Values: values}
	dd := must[DegreeDayTotal](t)(DegreeDaysFrom(hourly, 10, 30, Rules{Method: Count, Nominal: Hour}))
	near(t, "count by the hour", dd.Total, total, 1e-12)
	// One interval reading of six hours.
	dd = must[DegreeDayTotal](t)(DegreeDaysFrom(Series{
		Times: []int64{6 * Hour}, Values: []float64{14}, Intervals: []int64{6 * Hour},
	}, 10, NoUpper(), Rules{}))
	near(t, "a mean of six hours", dd.Total, 1, 1e-12)
}

// A nearly level line across a threshold keeps its digits.
func TestNearlyLevelLine(t *testing.T) {
	t.Parallel()
	for _, d := range []float64{1e-15, 1e-13, 1e-9, 1e-6} {
		near(t, "at upper", meanClipped(30-d, 30+d, 10, 30), 20, 1e-6)
		near(t, "at base", meanClipped(10-d, 10+d, 10, 30), 0, 1e-6)
	}
}

func TestDegreeDaysWindowsAddUp(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		s, r := anySeries(t), anyRules(t)
		whole, err := DegreeDaysFrom(s, 11, 25, r)
		if err != nil {
			t.Fatal(err)
		}
		if bound := 14 * whole.Covered / 24; r.Method != Count && (whole.Total < 0 || whole.Total > bound+1e-9) {
			t.Fatalf("total %g outside 0..%g", whole.Total, bound)
		}
		from, to := s.Times[0]-3*Hour, s.Times[len(s.Times)-1]+3*Hour
		mid := rapid.Int64Range(from+1, to-1).Draw(t, "mid")
		sum := 0.0
		for _, w := range [][2]int64{{from, mid}, {mid, to}} {
			r.From, r.To = w[0], w[1]
			part, err := DegreeDaysFrom(s.Between(w[0], w[1]), 11, 25, r)
			if err != nil {
				t.Fatal(err)
			}
			sum += part.Total
		}
		if math.Abs(sum-whole.Total) > 1e-6 {
			t.Fatalf("in two windows %g, in one %g", sum, whole.Total)
		}
		// A reading placed on a line changes nothing.
		if r.From, r.To = 0, 0; r.Method == Linear && s.Intervals == nil {
			i := rapid.IntRange(1, len(s.Times)-1).Draw(t, "i")
			if usable(s.Values[i-1]) && usable(s.Values[i]) && s.Times[i]-s.Times[i-1] <= r.MaxGap && s.Times[i]-s.Times[i-1] > 1 {
				m, _ := NewDegreeDayMeter(11, 25, r)
				for j := range s.Times {
					if j == i {
						half := (s.Times[i] - s.Times[i-1]) / 2
						share := float64(half) / float64(s.Times[i]-s.Times[i-1])
						m.Add(s.Times[i-1]+half, s.Values[i-1]+share*(s.Values[i]-s.Values[i-1]))
					}
					m.Add(s.Times[j], s.Values[j])
				}
				if got := m.Result().Total; math.Abs(got-whole.Total) > 1e-6 {
					t.Fatalf("with a reading on the line %g, without %g", got, whole.Total)
				}
			}
		}
	})
}
