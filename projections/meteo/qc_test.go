package meteo

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

func repeat(v float64, n int) []float64 {
	out := make([]float64, n)
	for i := range out {
		out[i] = v
	}
	return out
}

// Check table weather_qc_cases.csv, exact. Limits published (Zahumensky 2004;
// WMO-No. 305, 1993, p. VI.21; GHCN-Daily), the over-read rule for humidity a
// project rule.
func TestQCTable(t *testing.T) {
	t.Parallel()
	minute := func(v Variable, change float64) Finding { return CheckStep(v, 50, 50+change, Minute) }
	hour := func(v Variable, from, to float64, h int64) Finding { return CheckStep(v, from, to, h*Hour) }
	ours := map[string]Finding{
		"range T=60.1":            CheckRange(AirTemperature, 60.1),
		"range T=60.0":            CheckRange(AirTemperature, 60.0),
		"range T=-80.1":           CheckRange(AirTemperature, -80.1),
		"range Td=35.2":           CheckRange(DewPointTemperature, 35.2),
		"range RH=100.0":          CheckRange(RelativeHumidity, 100.0),
		"range RH=101.5":          CheckRange(RelativeHumidity, 101.5),
		"range RH=105.1":          CheckRange(RelativeHumidity, 105.1),
		"range wind=75.1 m/s":     CheckRange(WindSpeed, 75.1),
		"range dir=361":           CheckRange(WindDirection, 361),
		"range p=499":             CheckRange(StationPressure, 499),
		"range solar=1601":        CheckRange(SolarRadiation, 1601),
		"range rain_1min=40.1 mm": CheckRange(RainPerMinute, 40.1),

		"step_hourly T 20.0 -> 24.0 in 1 h":   hour(AirTemperature, 20, 24, 1),
		"step_hourly T 20.0 -> 24.1 in 1 h":   hour(AirTemperature, 20, 24.1, 1),
		"step_hourly T 20.0 -> 27.0 in 2 h":   hour(AirTemperature, 20, 27, 2),
		"step_hourly T 20.0 -> 29.1 in 3 h":   hour(AirTemperature, 20, 29.1, 3),
		"step_hourly T 20.0 -> 35.1 in 6 h":   hour(AirTemperature, 20, 35.1, 6),
		"step_hourly T 5.0 -> 30.1 in 12 h":   hour(AirTemperature, 5, 30.1, 12),
		"step_hourly T 5.0 -> 45.0 in 13 h":   hour(AirTemperature, 5, 45, 13),
		"step_hourly Td 10 -> 14.1 in 1 h":    hour(DewPointTemperature, 10, 14.1, 1),
		"step_hourly p 1010 -> 1013.1 in 1 h": hour(StationPressure, 1010, 1013.1, 1),

		"step_1min T +2.9":   minute(AirTemperature, 2.9),
		"step_1min T +3.1":   minute(AirTemperature, 3.1),
		"step_1min RH +12":   minute(RelativeHumidity, 12),
		"step_1min RH +16":   minute(RelativeHumidity, 16),
		"step_1min p +0.6":   minute(StationPressure, 0.6),
		"step_1min p +2.1":   minute(StationPressure, 2.1),
		"step_1min wind +11": minute(WindSpeed, 11),
		"step_1min wind +21": minute(WindSpeed, 21),

		"persistence_60min T range 0.0 over 60 one-minute values": CheckStuck(AirTemperature, 0, 18),
		"persistence_60min RH range 0 at 97 %":                    CheckStuck(RelativeHumidity, 0, 97),
		"persistence_60min RH range 0 at 60 %":                    CheckStuck(RelativeHumidity, 0, 60),
		"persistence_60min wind dir range 0, mean speed 0.0":      CheckStuck(WindDirection, 0, 0),
		"persistence_60min wind dir range 5, mean speed 2":        CheckStuck(WindDirection, 5, 2),

		"consistency T=10 Td=10.1":       CheckDew(10, 10.1),
		"consistency speed=0 dir=90":     CheckWind(0, 90),
		"consistency speed=2 dir=0":      CheckWind(2, 0),
		"consistency gust=3 speed=4":     CheckGust(4, 3),
		"consistency tmin=12 tmax=11":    CheckExtremes(12, math.NaN(), 11),
		"consistency rain>0 and cloud=0": CheckRainCloud(0.2, 0),

		"streak_daily 20 equal non-missing TMAX": CheckStreak(repeat(21.3, 20), DailyStreak),
		"naught_daily TMAX=0.0 TMIN=0.0":         CheckNaught(0, 0),
		"naught_daily_F TMAX=-17.8 TMIN=-17.8":   CheckNaught(-17.8, -17.8),
	}
	words := map[string]Verdict{"ok": Good, "suspect": Suspect, "error": Wrong, "not checked": NotChecked}
	for _, r := range vectors(t, "weather_qc_cases.csv", 43) {
		key := r.text("rule") + " " + r.text("input")
		got, ok := ours[key]
		if !ok {
			t.Errorf("no check for row %d, %s", r.line, key)
			continue
		}
		delete(ours, key)
		want, ok := words[r.text("expected")]
		if !ok {
			t.Fatalf("row %d expects %q", r.line, r.text("expected"))
		}
		if got.Verdict != want {
			t.Errorf("%s: got %s, want %s", key, got.Verdict, want)
		}
		if (got.Reason == "") != (want == Good || want == NotChecked) {
			t.Errorf("%s: %s with reason %q", key, got.Verdict, got.Reason)
		}
	}
	for key := range ours {
		t.Errorf("%s was checked, but the table has no such row", key)
	}
}

func TestQCEdges(t *testing.T) {
	t.Parallel()
	nan, inf := math.NaN(), math.Inf(1)
	good, none := Finding{Verdict: Good}, Finding{}
	tests := []struct {
		name string
		got  Finding
		want Finding
	}{
		{"missing value", CheckRange(AirTemperature, nan), Finding{Wrong, ReasonNotNumber}},
		{"infinite value", CheckRange(RelativeHumidity, inf), Finding{Wrong, ReasonNotNumber}},
		{"RH 105", CheckRange(RelativeHumidity, 105), Finding{Suspect, ReasonOverRead}},
		{"RH -1", CheckRange(RelativeHumidity, -1), Finding{Wrong, ReasonRange}},
		{"unknown variable", CheckRange(99, 5), none},
		// A mistake in circulation: T and Td the wrong way round in a public copy.
		{"dew point below", CheckDew(10, 9), good},
		{"dew point equal", CheckDew(10, 10), good},
		{"dew point missing", CheckDew(10, nan), none},
		{"wet bulb", CheckWetBulb(10, 10.5), Finding{Wrong, ReasonWetAboveDry}},
		// A known trap: north is 360, 0 is calm.
		{"north", CheckWind(3, 360), good},
		{"calm", CheckWind(0, 0), good},
		{"no direction", CheckWind(3, nan), none},
		{"mean above maximum", CheckExtremes(5, 12, 11), Finding{Wrong, ReasonOrder}},
		{"mean below minimum", CheckExtremes(5, 4, nan), Finding{Wrong, ReasonOrder}},
		{"all equal", CheckExtremes(5, 5, 5), good},
		{"one alone", CheckExtremes(5, nan, nan), none},
		{"gust equal", CheckGust(4, 4), good},
		{"no cloud reading", CheckRainCloud(1, nan), none},
		{"rain and cloud", CheckRainCloud(1, 8), good},
		{"binary rounding", CheckStep(AirTemperature, 16.3, 20.3, Hour), good},
		{"same the other way", CheckStep(AirTemperature, 20.3, 16.3, Hour), good},
		{"quarter hour takes the hour", CheckStep(AirTemperature, 20, 24.1, 15*Minute), Finding{Suspect, ReasonStep}},
		{"four hours take six", CheckStep(AirTemperature, 20, 34, 4*Hour), good},
		{"humidity has no hourly limit", CheckStep(RelativeHumidity, 20, 90, Hour), none},
		{"no interval", CheckStep(AirTemperature, 20, 90, 0), none},
		{"step from nothing", CheckStep(AirTemperature, nan, 20, Hour), Finding{Wrong, ReasonNotNumber}},
		{"sample", CheckSample(AirTemperature, 20, 22.1), Finding{Wrong, ReasonStep}},
		{"sample at limit", CheckSample(AirTemperature, 20.1, 22.1), good},
		{"sample without limit", CheckSample(WindDirection, 0, 300), none},
		{"spike", CheckSpike(AirTemperature, 20, 27, 20, Hour, Hour), Finding{Suspect, ReasonSpike}},
		{"front", CheckSpike(AirTemperature, 27, 20, 15, Hour, Hour), good},
		{"front, one step", CheckSpike(AirTemperature, 27, 20, 20, Hour, Hour), good},
		{"spike unknown", CheckSpike(WindDirection, 20, 27, 20, Hour, Hour), none},
		{"spike from nothing", CheckSpike(AirTemperature, nan, 27, 20, Hour, Hour), Finding{Wrong, ReasonNotNumber}},
		{"varies just enough", CheckStuck(AirTemperature, 0.3-0.2, 18), good},
		{"melting snow", CheckStuck(GroundTemperature, 0, 0.1), good},
		{"frozen ground", CheckStuck(GroundTemperature, 0, -3), Finding{Suspect, ReasonStuck}},
		{"calm cup", CheckStuck(WindSpeed, 0, 0.1), good},
		{"stuck cup", CheckStuck(WindSpeed, 0.2, 3), Finding{Suspect, ReasonStuck}},
		{"no variation rule", CheckStuck(SoilTemperature, 0, 20), none},
		{"variation missing", CheckStuck(AirTemperature, nan, 20), Finding{Wrong, ReasonNotNumber}},
		{"19 equal days", CheckStreak(repeat(21.3, 19), DailyStreak), good},
		{"20 with a gap", CheckStreak(append(append(repeat(21.3, 10), nan), repeat(21.3, 10)...), DailyStreak), Finding{Suspect, ReasonStreak}},
		{"20 with another value", CheckStreak(append(append(repeat(21.3, 10), 21.4), repeat(21.3, 10)...), DailyStreak), good},
		{"streak of nothing", CheckStreak([]float64{nan}, 2), none},
		{"streak of one", CheckStreak([]float64{1, 1}, 1), none},
		{"a day at freezing", CheckNaught(-0.1, 0), good},
		{"naught missing", CheckNaught(nan, 0), none},
		{"worst", Worst(good, Finding{Suspect, ReasonStep}, Finding{Wrong, ReasonRange}, Finding{Suspect, ReasonSpike}), Finding{Wrong, ReasonRange}},
		{"worst of none", Worst(), none},
	}
	for _, tt := range tests {
		if tt.got != tt.want {
			t.Errorf("%s: got %v, want %v", tt.name, tt.got, tt.want)
		}
	}
}

func TestCheckClock(t *testing.T) {
	t.Parallel()
	arrived := instant(t, "2026-07-01T12:00:00Z")
	tests := []struct {
		name, at string
		want     Verdict
	}{
		{"now", "2026-07-01T12:00:00Z", Good},
		{"five minutes ahead", "2026-07-01T12:05:00Z", Good},
		{"more ahead", "2026-07-01T12:05:01Z", Suspect},
		{"1970", "1970-12-31T23:59:59Z", Suspect},
		{"1971", "1971-01-01T00:00:00Z", Good},
		{"1969", "1969-12-31T23:59:59Z", Good},
		{"1999", "1999-12-31T23:59:59Z", Good},
		{"2000", "2000-12-31T23:59:59Z", Suspect},
		{"2001", "2001-01-01T00:00:00Z", Good},
	}
	for _, tt := range tests {
		if got := CheckClock(instant(t, tt.at), arrived); got.Verdict != tt.want {
			t.Errorf("%s: got %s, want %s", tt.name, got.Verdict, tt.want)
		}
	}
}

// The table is data: complete, with units and sources, and in order.
func TestLimitsTable(t *testing.T) {
	t.Parallel()
	rows := Limits()
	if len(rows) != 10 {
		t.Fatalf("got %d rows, want 10", len(rows))
	}
	for i, l := range rows {
		if l.Variable != Variable(i) || l.Name == "" || l.Unit == "" || l.Source == "" || !(l.Low < l.High) {
			t.Errorf("row %d is not whole: %+v", i, l)
		}
		if usable(l.Steps[0]) != (l.StepSource != "") {
			t.Errorf("%s: steps and their source do not go together", l.Name)
		}
		for k := 1; k < len(l.Steps); k++ {
			if l.Steps[k] < l.Steps[k-1] {
				t.Errorf("%s: the limit for %d h is below that for %d h", l.Name, stepHours[k], stepHours[k-1])
			}
		}
		if l.MinuteSuspect > l.MinuteError {
			t.Errorf("%s: suspect above error", l.Name)
		}
	}
	rows[0].High = 1000
	if limit(AirTemperature).High != 60 {
		t.Error("a caller can write to the table")
	}
	for _, v := range []Verdict{NotChecked, Good, Suspect, Wrong, 9} {
		if v.String() == "" {
			t.Errorf("%d has no name", v)
		}
	}
}

// The numbers themselves, once more by hand from the guidelines as transcribed:
// Zahumensky 2004 and WMO-No. 305. -1 stands for no limit.
func TestLimitsNumbers(t *testing.T) {
	t.Parallel()
	want := [][6]float64{ // low, high, sample, minute suspect, minute error, vary
		{-80, 60, 2, -1, 3, 0.1},
		{-80, 35, 2, 2, 4, 0.1},
		{-80, 80, 2, 5, 10, 0.1},
		{-50, 50, -1, -1, -1, -1},
		{0, 100, 5, 10, 15, 1},
		{500, 1100, 0.3, 0.5, 2, 0.1},
		{0, 75, 20, 10, 20, 0.5},
		{0, 360, -1, -1, -1, 10},
		{0, 1600, 800, 800, 1000, -1},
		{0, 40, -1, -1, -1, -1},
	}
	steps := map[Variable][5]float64{
		AirTemperature: {4, 7, 9, 15, 25}, DewPointTemperature: {4, 6, 8, 12, 20}, StationPressure: {3, 6, 9, 18, 36},
	}
	for i, l := range Limits() {
		got := [6]float64{l.Low, l.High, l.Sample, l.MinuteSuspect, l.MinuteError, l.Vary}
		for k, v := range got {
			if w := want[i][k]; v != w && !(w == -1 && math.IsNaN(v)) {
				t.Errorf("%s, number %d: got %g, want %g", l.Name, k, v, w)
			}
		}
		if w, ok := steps[l.Variable]; ok != usable(l.Steps[0]) || (ok && w != l.Steps) {
			t.Errorf("%s, steps: got %v, want %v", l.Name, l.Steps, w)
		}
	}
}

func TestStepProperties(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		v := Variable(rapid.IntRange(0, int(variables)-1).Draw(t, "variable"))
		a := rapid.Float64Range(-50, 50).Draw(t, "a")
		b := rapid.Float64Range(-50, 50).Draw(t, "b")
		dt := rapid.Int64Range(Minute+1, 12*Hour).Draw(t, "dt")
		f := CheckStep(v, a, b, dt)
		if f != CheckStep(v, b, a, dt) {
			t.Fatal("the direction of a step matters")
		}
		if f.Verdict == Wrong {
			t.Fatal("a long step is an error")
		}
		// Twice the time never makes a step worse, twice the step never better.
		if dt <= 6*Hour && CheckStep(v, a, b, 2*dt).Verdict > f.Verdict {
			t.Fatal("more time made it worse")
		}
		if CheckStep(v, a, a+2*(b-a), dt).Verdict < f.Verdict {
			t.Fatal("a larger step made it better")
		}
	})
}
