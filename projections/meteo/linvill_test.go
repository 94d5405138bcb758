package meteo

import (
	"errors"
	"math"
	"testing"

	"pgregory.net/rapid"
)

// Check table hourly_from_minmax_linvill.csv, tolerance 0.02 C and 0.001 h.
// Computed in plain Python for this project, the continuous night form.
func TestLinvillTable(t *testing.T) {
	t.Parallel()
	for _, r := range vectors(t, "hourly_from_minmax_linvill.csv", 72) {
		d := LinvillDay{
			DayOfYear: int(r.num("doy")), Latitude: r.num("lat_deg"),
			PrevMin: r.num("tmin_prev"), PrevMax: r.num("tmax_prev"),
			Min: r.num("tmin"), Max: r.num("tmax"), NextMin: r.num("tmin_next"),
		}
		name := r.text("case") + " hour " + r.text("hour")
		temps, from, err := Linvill(d)
		if err != nil {
			t.Fatal(err)
		}
		h := int(r.num("hour"))
		near(t, name, temps[h], r.num("T_C"), 0.02)
		if from[h] != FromModel {
			t.Errorf("%s: got %s, want model", name, from[h])
		}
		rise, set, length, err := SolarDay(d.DayOfYear, d.Latitude)
		if err != nil {
			t.Fatal(err)
		}
		near(t, name+" rise", rise, r.num("sunrise_h"), 0.0006)
		near(t, name+" set", set, r.num("sunset_h"), 0.0006)
		near(t, name+" length", length, r.num("daylength_h"), 0.0006)
		near(t, name+" at sunset", dayCurve(d.Min, d.Max, rise, length, set), r.num("T_at_sunset"), 0.0006)
	}
}

func TestLinvillWithoutNeighbours(t *testing.T) {
	t.Parallel()
	nan := math.NaN()
	d := LinvillDay{DayOfYear: 15, Latitude: 25.5, PrevMin: nan, PrevMax: nan, Min: 10, Max: 22, NextMin: nan}
	temps, from, err := Linvill(d)
	if err != nil {
		t.Fatal(err)
	}
	for h := range temps {
		night := h <= 6 || h >= 18 // sunrise 6.646, sunset 17.354
		if (from[h] == FromNothing) != night || math.IsNaN(temps[h]) != night {
			t.Errorf("hour %d: got %g from %s", h, temps[h], from[h])
		}
	}
	// Reversed neighbours break the chain as well; they are not swapped.
	d.PrevMin, d.PrevMax = 20, 11
	if _, from, _ = Linvill(d); from[0] != FromNothing {
		t.Errorf("reversed day before: got %s", from[0])
	}
}

func TestLinvillNearThePoles(t *testing.T) {
	t.Parallel()
	for _, lat := range []float64{66, -66, 69.65, 90, 65.9} {
		temps, from, err := Linvill(LinvillDay{DayOfYear: 172, Latitude: lat, PrevMin: 1, PrevMax: 9, Min: 2, Max: 8, NextMin: 3})
		if err != nil {
			t.Fatal(err)
		}
		if lat == 65.9 {
			// Inside 66, yet the midnight sun shines there for refraction.
			if _, _, _, err := SolarDay(172, lat); !errors.Is(err, ErrNoSun) {
				t.Errorf("latitude 65.9 in June: got %v, want ErrNoSun", err)
			}
		}
		for h := range temps {
			if temps[h] != 5 || from[h] != FromMean {
				t.Errorf("latitude %g hour %d: got %g from %s, want the mean", lat, h, temps[h], from[h])
			}
		}
	}
}

func TestLinvillRefused(t *testing.T) {
	t.Parallel()
	good := LinvillDay{DayOfYear: 1, Latitude: 25, PrevMin: 1, PrevMax: 2, Min: 3, Max: 4, NextMin: 5}
	tests := []struct {
		name string
		edit func(*LinvillDay)
		want error
	}{
		{"reversed", func(d *LinvillDay) { d.Min = 5 }, ErrMinAboveMax},
		{"missing", func(d *LinvillDay) { d.Max = math.NaN() }, ErrNotFinite},
		{"day 0", func(d *LinvillDay) { d.DayOfYear = 0 }, ErrRange},
		{"day 367", func(d *LinvillDay) { d.DayOfYear = 367 }, ErrRange},
		{"latitude 91", func(d *LinvillDay) { d.Latitude = 91 }, ErrRange},
	}
	for _, tt := range tests {
		d := good
		tt.edit(&d)
		if _, _, err := Linvill(d); !errors.Is(err, tt.want) {
			t.Errorf("%s: got %v, want %v", tt.name, err, tt.want)
		}
	}
	for _, s := range []HourSource{FromModel, FromMean, FromNothing, 9} {
		if s.String() == "" {
			t.Errorf("%d has no name", s)
		}
	}
}

// A mistake in circulation: the sine of G for the sine of 2G in the declination. The
// defective form must fail the check that ours meets (J=15: -21.273 deg in
// sun_times.csv, computed).
func TestDeclinationTakesTheSineOfTwoG(t *testing.T) {
	t.Parallel()
	g := 2 * math.Pi / 365 * 14
	near(t, "ours", spencerDeclination(g)*degrees, -21.273, 0.0006)
	defective := spencerDeclination(g) - 0.000907*math.Sin(2*g) + 0.000907*math.Sin(g)
	if math.Abs(defective*degrees+21.273) < 0.005 {
		t.Errorf("the defective form cannot be told apart: %g", defective*degrees)
	}
}

func TestLinvillProperties(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		day := func(name string) (float64, float64) {
			lo := rapid.Float64Range(-10, 25).Draw(t, name)
			return lo, lo + rapid.Float64Range(0, 20).Draw(t, name+" range")
		}
		d := LinvillDay{
			DayOfYear: rapid.IntRange(1, 366).Draw(t, "doy"),
			Latitude:  rapid.Float64Range(-65, 65).Draw(t, "lat"),
		}
		d.PrevMin, d.PrevMax = day("prev")
		d.Min, d.Max = day("day")
		d.NextMin, _ = day("next")
		temps, from, err := Linvill(d)
		if err != nil {
			t.Fatal(err)
		}
		lowest := math.Min(math.Min(d.PrevMin, d.Min), d.NextMin)
		highest := math.Max(math.Max(d.PrevMax, d.Max), d.NextMin)
		for h := range temps {
			if from[h] != FromModel || temps[h] < lowest-1e-9 || temps[h] > highest+1e-9 {
				t.Fatalf("hour %d: %g from %s, outside %g..%g", h, temps[h], from[h], lowest, highest)
			}
		}
		// The night meets the minimum at sunrise and the day at sunset.
		e, ok := newEvening(d.DayOfYear, d.Latitude, d.Min, d.Max)
		if !ok {
			t.Fatal("no evening")
		}
		if math.Abs(e.at(e.set, d.NextMin)-e.temp) > 1e-9 || math.Abs(e.at(e.set+e.night, d.NextMin)-d.NextMin) > 1e-9 {
			t.Fatalf("night from %g to %g, want %g to %g", e.at(e.set, d.NextMin), e.at(e.set+e.night, d.NextMin), e.temp, d.NextMin)
		}
	})
}
