package meteo

import (
	"fmt"
	"math"
	"time"
)

const (
	radians = math.Pi / 180
	degrees = 180 / math.Pi
	// zenith of sunrise and sunset, degrees: refraction and the sun's radius
	// are in it once (90 deg 50 min). Asking for the upper limb on top of it
	// adds the radius twice and moves the times by one to two minutes.
	sunZenith = 90.833
)

// A Light tells what the sun does on a day.
type Light uint8

// The three kinds of day.
const (
	RisesAndSets Light = iota
	NeverRises         // day length 0, no times
	NeverSets          // day length 24, no times
)

// String gives a code: rises-and-sets, never-rises, never-sets.
func (l Light) String() string {
	switch l {
	case RisesAndSets:
		return "rises-and-sets"
	case NeverRises:
		return "never-rises"
	case NeverSets:
		return "never-sets"
	}
	return fmt.Sprintf("light(%d)", uint8(l))
}

// SunTimes are the sun's times on one day at one place.
type SunTimes struct {
	Light Light
	// Rise and Set, Unix milliseconds UTC; 0 unless the sun rises and sets.
	// Seen from Greenwich they may fall on the date before or after.
	Rise, Set int64
	// Length of the day in hours, 0 to 24.
	Length float64
	// EquationOfTime in minutes (sundial minus clock) and Declination of the
	// sun in degrees, both at noon UTC of the date.
	EquationOfTime, Declination float64
}

// Sun gives sunrise, sunset and day length by the long NOAA equations (after
// Meeus), repeated at the times found. For rules that hang on sunset.
//
// lat and lonEast are decimal degrees, north and EAST positive (the Americas
// are negative; older NOAA texts count west positive, a well-worn trap). The
// date is the local one at that longitude: the sunrise and sunset on either
// side of the place's noon. A place that keeps the date of the other side of
// the date line asks for the neighbouring day.
//
// Source: equations published by NOAA (solar calculation spreadsheet),
// constants from memory; checked against an independent ephemeris: within 3 s
// below 60 deg latitude on the check days. Valid 1900-2100, any
// latitude; near the polar circles, on the days when the sun only grazes the
// horizon, times are rough. Terrain is not known. Errors: [ErrRange],
// [ErrNotFinite].
func Sun(lat, lonEast float64, year int, month time.Month, day int) (SunTimes, error) {
	midnight, err := sunInput(lat, lonEast, year, month, day)
	if err != nil {
		return SunTimes{}, err
	}
	noon := midnight.UnixMilli() + 12*Hour
	eot, decl := solarLong(noon)
	out := SunTimes{EquationOfTime: eot, Declination: decl * degrees}
	ha, light := hourAngle(lat, decl)
	if light != RisesAndSets {
		out.Light, out.Length = light, polarLength(light)
		return out, nil
	}
	// Start from the declination at local noon, then use it at the event.
	localNoon := midnight.UnixMilli() + int64((720-4*lonEast-eot)*float64(Minute))
	times := [2]float64{}
	for i, sign := range [2]float64{-1, 1} {
		at := float64(localNoon) + sign*4*ha*float64(Minute)
		for range 6 {
			eot, decl := solarLong(int64(at))
			ha, light := hourAngle(lat, decl)
			if light != RisesAndSets {
				out.Light, out.Length = light, polarLength(light)
				return out, nil
			}
			at = float64(midnight.UnixMilli()) + (720-4*lonEast-eot+sign*4*ha)*float64(Minute)
		}
		times[i] = at
	}
	out.Rise, out.Set = int64(math.Round(times[0])), int64(math.Round(times[1]))
	out.Length = hours(times[1] - times[0])
	return out, nil
}

// SunShort gives the same by the short NOAA equations, evaluated once at noon
// UTC. Enough for windows counted in hours around sunset; not for rules that
// name sunset.
//
// Source: published, NOAA "General Solar Position Calculations". Off by up to
// 190 s below 60 deg latitude, 340 s at 70 deg (computed against an
// independent ephemeris); near the polar circles it can miss the first and
// last days of sun. Arguments, range and errors as [Sun].
func SunShort(lat, lonEast float64, year int, month time.Month, day int) (SunTimes, error) {
	midnight, err := sunInput(lat, lonEast, year, month, day)
	if err != nil {
		return SunTimes{}, err
	}
	daysInYear := 365.0
	if time.Date(year, 12, 31, 0, 0, 0, 0, time.UTC).YearDay() == 366 {
		daysInYear = 366
	}
	g := 2 * math.Pi / daysInYear * float64(midnight.YearDay()-1)
	eot := 229.18 * (0.000075 + 0.001868*math.Cos(g) - 0.032077*math.Sin(g) -
		0.014615*math.Cos(2*g) - 0.040849*math.Sin(2*g))
	decl := spencerDeclination(g)
	out := SunTimes{EquationOfTime: eot, Declination: decl * degrees}
	ha, light := hourAngle(lat, decl)
	if light != RisesAndSets {
		out.Light, out.Length = light, polarLength(light)
		return out, nil
	}
	at := func(minutes float64) int64 {
		return midnight.UnixMilli() + int64(math.Round(minutes*float64(Minute)))
	}
	out.Rise = at(720 - 4*(lonEast+ha) - eot)
	out.Set = at(720 - 4*(lonEast-ha) - eot)
	out.Length = 8 * ha / 60
	return out, nil
}

func sunInput(lat, lonEast float64, year int, month time.Month, day int) (time.Time, error) {
	if err := within("latitude", lat, -90, 90, "deg"); err != nil {
		return time.Time{}, err
	}
	if err := within("longitude", lonEast, -180, 180, "deg east"); err != nil {
		return time.Time{}, err
	}
	if err := within("year", float64(year), 1900, 2100, ""); err != nil {
		return time.Time{}, err
	}
	midnight := time.Date(year, month, day, 0, 0, 0, 0, time.UTC)
	if midnight.Year() != year || midnight.Month() != month || midnight.Day() != day {
		return time.Time{}, fmt.Errorf("meteo: %d-%d-%d is no date: %w", year, month, day, ErrRange)
	}
	return midnight, nil
}

func polarLength(l Light) float64 {
	if l == NeverSets {
		return 24
	}
	return 0
}

// hourAngle is the sun's hour angle at rise and set, in degrees.
func hourAngle(lat, decl float64) (float64, Light) {
	phi := lat * radians
	c := math.Cos(sunZenith*radians)/(math.Cos(phi)*math.Cos(decl)) - math.Tan(phi)*math.Tan(decl)
	switch {
	case c > 1:
		return 0, NeverRises
	case c < -1:
		return 180, NeverSets
	}
	return math.Acos(c) * degrees, RisesAndSets
}

// spencerDeclination is the sun's declination in radians from the year angle g
// in radians (Spencer 1971, Search 2:172, published; as used by NOAA). The
// fifth term is the sine of 2g: a sine of g is a known copying mistake.
func spencerDeclination(g float64) float64 {
	return 0.006918 - 0.399912*math.Cos(g) + 0.070257*math.Sin(g) -
		0.006758*math.Cos(2*g) + 0.000907*math.Sin(2*g) -
		0.002697*math.Cos(3*g) + 0.00148*math.Sin(3*g)
}

// solarLong gives the equation of time in minutes and the declination in
// radians at an instant, by the long NOAA form.
func solarLong(ms int64) (eot, decl float64) {
	// Julian centuries since 2000-01-01 12:00 UTC.
	jc := (float64(ms)/float64(Day) + 2440587.5 - 2451545) / 36525
	l0 := math.Mod(280.46646+jc*(36000.76983+jc*0.0003032), 360) * radians
	m := (357.52911 + jc*(35999.05029-0.0001537*jc)) * radians
	ecc := 0.016708634 - jc*(0.000042037+0.0000001267*jc)
	centre := math.Sin(m)*(1.914602-jc*(0.004817+0.000014*jc)) +
		math.Sin(2*m)*(0.019993-0.000101*jc) + math.Sin(3*m)*0.000289
	node := (125.04 - 1934.136*jc) * radians
	lambda := l0 + (centre-0.00569-0.00478*math.Sin(node))*radians
	obliquity := (23 + (26+(21.448-jc*(46.815+jc*(0.00059-jc*0.001813)))/60)/60 + 0.00256*math.Cos(node)) * radians
	decl = math.Asin(math.Sin(obliquity) * math.Sin(lambda))
	y := math.Tan(obliquity/2) * math.Tan(obliquity/2)
	eot = 4 * degrees * (y*math.Sin(2*l0) - 2*ecc*math.Sin(m) + 4*ecc*y*math.Sin(m)*math.Cos(2*l0) -
		0.5*y*y*math.Sin(4*l0) - 1.25*ecc*ecc*math.Sin(2*m))
	return eot, decl
}
