package meteo

import (
	"fmt"
	"math"
)

// Limits of the day-length model.
const (
	linvillLatitude = 66.0    // degrees; nearer the poles there is no curve
	linvillAltitude = -0.8333 // degrees, sun's centre at rise and set
	hoursADay       = 24
)

// SolarDay gives sunrise and sunset in SOLAR hours (noon is 12) and the day
// length in hours, from the day of the year (1 to 366) and the latitude in
// degrees, north positive.
//
// Source: declination published by Spencer 1971 (Search 2:172), sun's centre
// at -0.8333 deg. Valid for latitudes inside +-66 deg, else [ErrNoSun]. To
// compare with a clock, longitude and the equation of time are still to be
// added; [Sun] does that.
func SolarDay(doy int, lat float64) (rise, set, length float64, err error) {
	if err := within("day-of-year", float64(doy), 1, 366, ""); err != nil {
		return 0, 0, 0, err
	}
	if err := within("latitude", lat, -90, 90, "deg"); err != nil {
		return 0, 0, 0, err
	}
	return solarDay(doy, lat)
}

// solarDay does it for any whole number of days, the year being a circle.
func solarDay(doy int, lat float64) (rise, set, length float64, err error) {
	if math.Abs(lat) >= linvillLatitude {
		return 0, 0, 0, fmt.Errorf("meteo: latitude %g deg: %w", lat, ErrNoSun)
	}
	delta := spencerDeclination(2 * math.Pi * float64(doy-1) / 365)
	phi := lat * radians
	c := (math.Sin(linvillAltitude*radians) - math.Sin(phi)*math.Sin(delta)) / (math.Cos(phi) * math.Cos(delta))
	if math.Abs(c) > 1 {
		return 0, 0, 0, fmt.Errorf("meteo: latitude %g deg, day %d: %w", lat, doy, ErrNoSun)
	}
	half := math.Acos(c) * degrees / 15
	return 12 - half, 12 + half, 2 * half, nil
}

// An HourSource tells where a rebuilt hour comes from.
type HourSource uint8

// Sources of a rebuilt hour.
const (
	FromModel   HourSource = iota // the curve
	FromMean                      // no day-length model here: the day's mean
	FromNothing                   // a day it needs is missing: NaN
)

// String gives a code: model, no-day-length-model, incomplete.
func (s HourSource) String() string {
	switch s {
	case FromModel:
		return "model"
	case FromMean:
		return "no-day-length-model"
	case FromNothing:
		return "incomplete"
	}
	return fmt.Sprintf("hour-source(%d)", uint8(s))
}

// A LinvillDay is what one day's curve needs: the day of the year, the
// latitude, this day's extremes, those of the day before and the minimum of
// the day after. NaN for a neighbour that is not known.
type LinvillDay struct {
	DayOfYear        int
	Latitude         float64 // degrees, north positive
	PrevMin, PrevMax float64
	Min, Max         float64
	NextMin          float64
}

// Linvill rebuilds the temperatures at solar hours 0 to 23 from daily
// extremes, in their unit. Between sunrise and sunset a sine that peaks (day
// length + 4)/2 hours after sunrise; at night a logarithmic fall from the
// temperature at sunset to the next minimum at sunrise:
//
//	day    Tmin + (Tmax - Tmin) sin(pi (h - rise) / (length + 4))
//	night  Ts - (Ts - Tmin next) ln(t + 1) / ln(N + 1), t hours after sunset, N hours of night
//
// The hours before sunrise continue the evening of the day before, with its
// own sunset, so they need PrevMin and PrevMax; the hours after sunset need
// NextMin. N runs to the sunrise of the next day, so the curve has no step at
// midnight. Without the neighbours, or where theirs are reversed, those hours
// are NaN and FromNothing: a missing day breaks the chain. Poleward of 66
// degrees, and on days without sunrise or sunset, every hour is the day's
// mean and FromMean.
//
// Source: after Linvill 1990 (HortScience 25:14-16; citation published, the
// paper itself not seen, equations as coded in two open packages). The night
// in this continuous form is a project rule: it equals the sunset temperature
// at sunset and the minimum exactly at sunrise, which the circulating forms
// with ln(N) do not; expect up to about 0.5 C between the forms. Valid inland
// and on clear days; a front is not in it. Errors: [ErrNotFinite],
// [ErrMinAboveMax], [ErrRange].
func Linvill(d LinvillDay) (temps [hoursADay]float64, from [hoursADay]HourSource, err error) {
	if err := minMax(d.Min, d.Max); err != nil {
		return temps, from, err
	}
	rise, set, length, err := SolarDay(d.DayOfYear, d.Latitude)
	if isNoSun(err) {
		for h := range temps {
			temps[h], from[h] = (d.Min+d.Max)/2, FromMean
		}
		return temps, from, nil
	}
	if err != nil {
		return temps, from, err
	}
	before, hasBefore := newEvening(d.DayOfYear-1, d.Latitude, d.PrevMin, d.PrevMax)
	tonight, hasTonight := newEvening(d.DayOfYear, d.Latitude, d.Min, d.Max)
	hasTonight = hasTonight && usable(d.NextMin)
	for h := range temps {
		switch hour := float64(h); {
		case hour > rise && hour <= set:
			temps[h] = dayCurve(d.Min, d.Max, rise, length, hour)
		case hour <= rise && hasBefore:
			temps[h] = before.at(hour+hoursADay, d.Min)
		case hour > set && hasTonight:
			temps[h] = tonight.at(hour, d.NextMin)
		default:
			temps[h], from[h] = math.NaN(), FromNothing
		}
	}
	return temps, from, nil
}

func dayCurve(lo, hi, rise, length, hour float64) float64 {
	return lo + (hi-lo)*math.Sin(math.Pi*(hour-rise)/(length+4))
}

// An evening is where a night starts: sunset, the temperature then, and the
// hours until the sun rises again.
type evening struct{ set, temp, night float64 }

// newEvening needs both extremes of its day and a sunrise on the next.
func newEvening(doy int, lat, lo, hi float64) (evening, bool) {
	if minMax(lo, hi) != nil {
		return evening{}, false
	}
	rise, set, length, err := solarDay(doy, lat)
	if err != nil {
		return evening{}, false
	}
	riseNext, _, _, err := solarDay(doy+1, lat)
	if err != nil {
		return evening{}, false
	}
	return evening{set, dayCurve(lo, hi, rise, length, set), hoursADay - set + riseNext}, true
}

// at gives the temperature at an hour counted on from the evening's own day
// (24 is the following midnight), falling to lo at sunrise.
func (e evening) at(hour, lo float64) float64 {
	return e.temp - (e.temp-lo)*math.Log(hour-e.set+1)/math.Log(e.night+1)
}
