package meteo

import (
	"fmt"
	"math"
)

// A Verdict is what a quality rule says of a reading. The raw value is kept
// whatever the verdict.
type Verdict uint8

// The verdicts, from best to worst. NotChecked sorts first: no rule exists for
// that variable and interval, which is no praise.
const (
	NotChecked Verdict = iota
	Good
	Suspect
	Wrong
)

// String gives the flag as stored: not-checked, good, suspect, error.
func (v Verdict) String() string {
	switch v {
	case NotChecked:
		return "not-checked"
	case Good:
		return "good"
	case Suspect:
		return "suspect"
	case Wrong:
		return "error"
	}
	return fmt.Sprintf("verdict(%d)", uint8(v))
}

// Reason codes of findings. Good and NotChecked carry none.
const (
	ReasonNotNumber   = "not-a-number"
	ReasonRange       = "range"
	ReasonOverRead    = "rh-over-read"
	ReasonStep        = "step"
	ReasonSpike       = "spike"
	ReasonStuck       = "stuck"
	ReasonDewAboveAir = "dew-point-above-temperature"
	ReasonWetAboveDry = "wet-bulb-above-temperature"
	ReasonOrder       = "min-mean-max-order"
	ReasonCalm        = "calm-with-direction"
	ReasonNoDirection = "wind-without-direction"
	ReasonGust        = "gust-below-mean"
	ReasonRainClear   = "rain-without-cloud"
	ReasonStreak      = "streak"
	ReasonNaught      = "naught"
	ReasonClock       = "clock-suspect"
)

// A Finding is a verdict with its reason code.
type Finding struct {
	Verdict Verdict
	Reason  string
}

// Worst picks the worst of some findings, the first among equals; none is
// NotChecked.
func Worst(findings ...Finding) Finding {
	worst := Finding{}
	for _, f := range findings {
		if f.Verdict > worst.Verdict {
			worst = f
		}
	}
	return worst
}

// A Variable is what a reading measures.
type Variable uint8

// The variables with limits. Units: C, %, hPa, m/s, degrees, W/m2, mm.
const (
	AirTemperature Variable = iota
	DewPointTemperature
	GroundTemperature
	SoilTemperature
	RelativeHumidity
	StationPressure
	WindSpeed // mean over 2 or 10 minutes
	WindDirection
	SolarRadiation
	RainPerMinute
	variables // number of variables
)

// A Limit is one variable's row of the table. NaN: no such limit.
type Limit struct {
	Variable Variable
	Name     string
	Unit     string
	// Low and High: outside is an error.
	Low, High float64
	// Sample: largest change from raw sample to raw sample (seconds apart).
	Sample float64
	// MinuteSuspect and MinuteError: change within a minute, flagged above.
	MinuteSuspect, MinuteError float64
	// Vary: least variation within 60 minutes of minute values.
	Vary float64
	// Steps: largest change within 1, 2, 3, 6 and 12 hours.
	Steps [5]float64
	// Where the range, minute and variation limits come from, and the steps.
	Source, StepSource string
}

// stepHours are the columns of [Limit.Steps].
var stepHours = [5]int64{1, 2, 3, 6, 12}

//words:data citations beside their numbers, as published
const (
	zahumensky = "published: Zahumensky 2004, Guidelines on Quality Control Procedures for Data from Automatic Weather Stations " +
		"(WMO CBS/OPAG-IOS), as transcribed in two public code bases"
	humidityMemory = "; the suspect limit of 10 % a minute from memory"
	wmo305         = "published: WMO-No. 305, Guide on the Global Data-processing System, 1993, p. VI.21, via an open package"
)

// Limits lists the whole table with units and sources, one row a variable, in
// the order of the constants.
//
// Single limits: air temperature has one transcribed minute limit, which is used as an error
// limit (project rule). Soil temperature's minute limit depends on depth and is
// left out.
func Limits() []Limit {
	rows := make([]Limit, variables)
	for v := range rows {
		rows[v] = limit(Variable(v))
	}
	return rows
}

// limit is the table. It is a switch so that nobody can write to it.
func limit(v Variable) Limit {
	none := math.NaN()
	noSteps := [5]float64{none, none, none, none, none}
	row := func(name, unit string, low, high, sample, suspect, wrong, vary float64, steps [5]float64) Limit {
		l := Limit{v, name, unit, low, high, sample, suspect, wrong, vary, steps, zahumensky, ""}
		if usable(steps[0]) {
			l.StepSource = wmo305
		}
		return l
	}
	switch v {
	case AirTemperature:
		return row("air temperature", "C", -80, 60, 2, none, 3, 0.1, [5]float64{4, 7, 9, 15, 25})
	case DewPointTemperature:
		return row("dew point", "C", -80, 35, 2, 2, 4, 0.1, [5]float64{4, 6, 8, 12, 20})
	case GroundTemperature:
		return row("ground temperature", "C", -80, 80, 2, 5, 10, 0.1, noSteps)
	case SoilTemperature:
		return row("soil temperature", "C", -50, 50, none, none, none, none, noSteps)
	case RelativeHumidity:
		l := row("relative humidity", "%", 0, 100, 5, 10, 15, 1, noSteps)
		l.Source += humidityMemory
		return l
	case StationPressure:
		return row("station pressure", "hPa", 500, 1100, 0.3, 0.5, 2, 0.1, [5]float64{3, 6, 9, 18, 36})
	case WindSpeed:
		return row("wind speed", "m/s", 0, 75, 20, 10, 20, 0.5, noSteps)
	case WindDirection:
		return row("wind direction", "deg", 0, 360, none, none, none, 10, noSteps)
	case SolarRadiation:
		return row("solar irradiance", "W/m2", 0, 1600, 800, 800, 1000, none, noSteps)
	case RainPerMinute:
		return row("precipitation", "mm/min", 0, 40, none, none, none, none, noSteps)
	}
	return row("", "", none, none, none, none, none, none, noSteps)
}

// slack absorbs the binary rounding of decimal readings: 24.0 - 20.0 must not
// come out above 4.
const slack = 1e-9

// overReadLimit: relative humidity up to here is a wet sensor's over-reading.
const overReadLimit = 105.0

// CheckRange judges a single value against its variable's range, in the units
// of [Limits]: outside is an error, both ends belong to it.
//
// Relative humidity above 100 and up to 105 % is suspect, not wrong: keep the
// raw value, derive with 100 ([UsableRH]); project rule. Source of the rest:
// published, see [Limits]. NaN and infinities are errors; an unknown variable
// is not checked.
func CheckRange(v Variable, value float64) Finding {
	l := limit(v)
	switch {
	case !usable(value):
		return Finding{Wrong, ReasonNotNumber}
	case !usable(l.Low):
		return Finding{}
	case v == RelativeHumidity && value > l.High && value <= overReadLimit:
		return Finding{Suspect, ReasonOverRead}
	case value < l.Low || value > l.High:
		return Finding{Wrong, ReasonRange}
	}
	return Finding{Verdict: Good}
}

// CheckSample judges the change between two raw samples seconds apart: above
// the limit is an error of the later one. Source: published, see [Limits].
func CheckSample(v Variable, before, after float64) Finding {
	return stepFinding(before, after, math.NaN(), limit(v).Sample)
}

// CheckStep judges the change between two readings an interval (ms) apart.
// Flagged when greater than the limit.
//
// Up to a minute: the minute limits, suspect and error (published, Zahumensky
// 2004). Longer, up to 12 hours: the limit of the next listed length of 1, 2,
// 3, 6 or 12 hours, always suspect only, since fronts and thunderstorms do
// exceed it (limits published, WMO-No. 305; using a longer column for lengths
// in between, and the hour's for less than an hour, is a project rule). Beyond
// 12 hours, and for variables without a limit, not checked.
//
// Wind direction has no step limit: it turns through north.
func CheckStep(v Variable, before, after float64, interval int64) Finding {
	l := limit(v)
	if interval <= 0 {
		return Finding{}
	}
	if interval <= Minute {
		return stepFinding(before, after, l.MinuteSuspect, l.MinuteError)
	}
	for i, h := range stepHours {
		if interval <= h*Hour {
			return stepFinding(before, after, l.Steps[i], math.NaN())
		}
	}
	return Finding{}
}

func stepFinding(before, after, suspect, wrong float64) Finding {
	if !usable(suspect) && !usable(wrong) {
		return Finding{}
	}
	if !usable(before) || !usable(after) {
		return Finding{Wrong, ReasonNotNumber}
	}
	change := math.Abs(after - before)
	switch {
	case change > wrong+slack: // false for NaN
		return Finding{Wrong, ReasonStep}
	case change > suspect+slack:
		return Finding{Suspect, ReasonStep}
	}
	return Finding{Verdict: Good}
}

// CheckSpike judges a reading by both neighbours, each an interval (ms) away:
// suspect when it jumps beyond the step limit and jumps back beyond it. A front
// goes one way and is no spike. Limits and lengths as [CheckStep]; the rule
// itself is a project rule.
func CheckSpike(v Variable, before, value, after float64, toBefore, toAfter int64) Finding {
	up, down := CheckStep(v, before, value, toBefore), CheckStep(v, value, after, toAfter)
	switch {
	case up.Verdict == NotChecked || down.Verdict == NotChecked:
		return Finding{}
	case up.Reason == ReasonNotNumber || down.Reason == ReasonNotNumber:
		return Finding{Wrong, ReasonNotNumber}
	case up.Reason == ReasonStep && down.Reason == ReasonStep && (value-before)*(after-value) < 0:
		return Finding{Suspect, ReasonSpike}
	}
	return Finding{Verdict: Good}
}

// CheckStuck judges an hour of minute values by their variation (largest less
// smallest) and a mean: suspect when they vary by less than the least that the
// variable must.
//
// mean is the mean of the variable itself for humidity (no check at 95 % and
// above) and for ground temperature (no check from -0.2 to 0.2 C, melting
// snow), and the mean WIND SPEED in m/s for wind speed and direction (no check
// at 0.1 and below). The others do not look at it. Source: published, see
// [Limits]. Sensors that report whole degrees vary less without being stuck:
// do not ask it of them.
func CheckStuck(v Variable, variation, mean float64) Finding {
	l := limit(v)
	if !usable(l.Vary) {
		return Finding{}
	}
	if !usable(variation) || variation < 0 {
		return Finding{Wrong, ReasonNotNumber}
	}
	exempt := false
	switch v {
	case RelativeHumidity:
		exempt = mean >= 95
	case GroundTemperature:
		exempt = math.Abs(mean) <= 0.2
	case WindSpeed, WindDirection:
		exempt = mean <= 0.1
	}
	if !exempt && variation < l.Vary-slack {
		return Finding{Suspect, ReasonStuck}
	}
	return Finding{Verdict: Good}
}

// CheckDew judges dew point against temperature, C: above it is an error. One
// public transcription has the two the wrong way round. Source: published,
// Zahumensky 2004. A missing value (NaN): not checked.
func CheckDew(t, td float64) Finding { return notAbove(td, t, ReasonDewAboveAir) }

// CheckWetBulb judges wet against dry bulb, C: above it is an error. Source:
// project rule, from the psychrometer equation. NaN: not checked.
func CheckWetBulb(t, tw float64) Finding { return notAbove(tw, t, ReasonWetAboveDry) }

// CheckExtremes judges the order minimum <= value <= maximum; NaN for what is
// missing, and fewer than two are not checked. Source: published, Zahumensky
// 2004.
func CheckExtremes(lo, value, hi float64) Finding {
	return Worst(notAbove(lo, value, ReasonOrder), notAbove(value, hi, ReasonOrder), notAbove(lo, hi, ReasonOrder))
}

// CheckGust judges a gust against the mean speed, m/s: below it is an error.
// Source: published, Zahumensky 2004. NaN: not checked.
func CheckGust(speed, gust float64) Finding { return notAbove(speed, gust, ReasonGust) }

func notAbove(low, high float64, reason string) Finding {
	switch {
	case !usable(low) || !usable(high):
		return Finding{}
	case low > high+slack:
		return Finding{Wrong, reason}
	}
	return Finding{Verdict: Good}
}

// CheckWind judges speed in m/s against direction in degrees: calm has
// direction 0 and only calm has it, for north is 360. Either without the other
// is an error. Source: published, Zahumensky 2004. NaN: not checked.
func CheckWind(speed, from float64) Finding {
	switch {
	case !usable(speed) || !usable(from):
		return Finding{}
	case speed == 0 && from != 0:
		return Finding{Wrong, ReasonCalm}
	case speed > 0 && from == 0:
		return Finding{Wrong, ReasonNoDirection}
	}
	return Finding{Verdict: Good}
}

// CheckRainCloud judges rain in mm against a cloud cover in any unit where 0 is
// a clear sky: rain from none is suspect. Source: published, Zahumensky 2004.
// NaN: not checked.
func CheckRainCloud(rain, cloud float64) Finding {
	switch {
	case !usable(rain) || !usable(cloud):
		return Finding{}
	case rain > 0 && cloud == 0:
		return Finding{Suspect, ReasonRainClear}
	}
	return Finding{Verdict: Good}
}

// DailyStreak is the number of equal daily values in a row from which a streak
// is suspect. Source: published, GHCN-Daily uses 15 to 20; 20 is chosen here
// (project rule).
const DailyStreak = 20

// CheckStreak judges daily values in order: suspect when at least n of them in
// a row are equal. Missing days (NaN) neither end nor lengthen a streak.
// Source: published method, GHCN-Daily. Not for rain, where dry days repeat. n
// below 2: not checked.
func CheckStreak(daily []float64, n int) Finding {
	if n < 2 {
		return Finding{}
	}
	run, last, seen := 0, math.NaN(), false
	for _, v := range daily {
		if !usable(v) {
			continue
		}
		if seen = true; v == last {
			run++
		} else {
			run, last = 1, v
		}
		if run >= n {
			return Finding{Suspect, ReasonStreak}
		}
	}
	if !seen {
		return Finding{}
	}
	return Finding{Verdict: Good}
}

// CheckNaught judges a day whose extremes are both 0.0 C, or both -17.8 C (0
// F): suspect, a zero that was typed or sent for a missing value. Source:
// published, GHCN-Daily (there 0 F is looked at in the US and 0 C elsewhere;
// here both, project rule). NaN: not checked.
func CheckNaught(tmin, tmax float64) Finding {
	switch {
	case !usable(tmin) || !usable(tmax):
		return Finding{}
	case tmin == 0 && tmax == 0, math.Abs(tmin+17.8) < 0.05 && math.Abs(tmax+17.8) < 0.05:
		return Finding{Suspect, ReasonNaught}
	}
	return Finding{Verdict: Good}
}

// CheckClock judges the instant of a reading that came straight from a station
// by the instant at which it arrived, Unix milliseconds: suspect when more than
// 5 minutes in the future, or in the years 1970 or 2000, where clocks without a
// battery start. Not for imported histories, which may honestly be that old. A
// series that jumps back is for the caller to see. Source: project rule.
func CheckClock(t, arrived int64) Finding {
	const year2000 = 946_684_800_000
	const leapYear, plainYear = 366 * Day, 365 * Day
	if t > arrived+5*Minute || (t >= 0 && t < plainYear) || (t >= year2000 && t < year2000+leapYear) {
		return Finding{Suspect, ReasonClock}
	}
	return Finding{Verdict: Good}
}
