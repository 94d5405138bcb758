package meteo

import (
	"fmt"
	"math"
)

// The parts of the reference evapotranspiration of FAO Irrigation and Drainage
// Paper 56 (Allen, Pereira, Raes & Smith 1998). Energies are MJ per square
// metre and day, pressures kPa, temperatures C, wind m/s at 2 m, evaporation mm
// per day. Inputs are daily (or monthly) aggregates; nights and polar days have
// no result.

const (
	solarConstant   = 0.0820   // MJ m-2 min-1, FAO-56 eq. 21
	stefanBoltzmann = 4.903e-9 // MJ K-4 m-2 d-1, FAO-56 eq. 39
	// lowestWind: FAO-56 advises to reckon with at least this much (m/s; from
	// memory): even still air moves.
	lowestWind = 0.5
)

// An Orbit is the geometry of sun and earth on a day at a latitude.
type Orbit struct {
	InverseDistance float64 // dr, relative; FAO-56 eq. 23
	Declination     float64 // rad; eq. 24
	SunsetAngle     float64 // ws, rad; eq. 25
	Radiation       float64 // Ra, extraterrestrial, MJ m-2 d-1; eq. 21
	Daylight        float64 // N, hours, geometric; eq. 34
}

// OrbitOn computes the geometry for a latitude in degrees (north positive) and
// a day of the year, 1 to 366.
//
// Source: published, FAO-56 eqs. 21-25 and 34. Daylight is geometric, some 8 to
// 14 minutes shorter than the day with refraction in the tropics and
// subtropics: use [Sun] for times. Valid where the sun rises and sets; polar
// night gives Ra 0 and N 0, polar day N 24. Errors: [ErrRange],
// [ErrNotFinite].
func OrbitOn(lat float64, doy int) (Orbit, error) {
	if err := within("latitude", lat, -90, 90, "deg"); err != nil {
		return Orbit{}, err
	}
	if err := within("day-of-year", float64(doy), 1, 366, ""); err != nil {
		return Orbit{}, err
	}
	phi, angle := lat*radians, 2*math.Pi*float64(doy)/365
	o := Orbit{
		InverseDistance: 1 + 0.033*math.Cos(angle),
		Declination:     0.409 * math.Sin(angle-1.39),
	}
	o.SunsetAngle = math.Acos(clampUnit(-math.Tan(phi) * math.Tan(o.Declination)))
	o.Radiation = math.Max(0, 24*60/math.Pi*solarConstant*o.InverseDistance*
		(o.SunsetAngle*math.Sin(phi)*math.Sin(o.Declination)+
			math.Cos(phi)*math.Cos(o.Declination)*math.Sin(o.SunsetAngle)))
	o.Daylight = 24 / math.Pi * o.SunsetAngle
	return o, nil
}

// SolarFromSunshine is Rs, the solar radiation, from hours of bright sunshine
// n, possible hours N and Ra: (0.25 + 0.50 n/N) Ra. Source: published, FAO-56
// eq. 35 with the usual constants. Valid 0 <= n <= N (n up to a quarter hour
// above N counts as N, project rule), N > 0; else [ErrRange].
func SolarFromSunshine(n, possible, ra float64) (float64, error) {
	if err := within("possible sunshine", possible, math.SmallestNonzeroFloat64, 24, "h"); err != nil {
		return 0, err
	}
	if err := within("sunshine", n, 0, possible+0.25, "h"); err != nil {
		return 0, err
	}
	if err := energy("extraterrestrial radiation", ra); err != nil {
		return 0, err
	}
	return (0.25 + 0.50*math.Min(1, n/possible)) * ra, nil
}

// Constants for [SolarFromTemperatures]. Published: FAO-56 eq. 50.
const (
	Interior = 0.16 // land mass dominates
	Coastal  = 0.19 // by a large water
)

// SolarFromTemperatures is Rs where nothing was measured: kRs sqrt(Tmax - Tmin)
// Ra, never above the clear-sky radiation rso. Source: published, FAO-56 eq.
// 50. Valid for kRs from 0.16 to 0.19. Errors: [ErrMinAboveMax], [ErrRange],
// [ErrNotFinite].
func SolarFromTemperatures(k, tmin, tmax, ra, rso float64) (float64, error) {
	if err := minMax(tmin, tmax); err != nil {
		return 0, err
	}
	if err := within("kRs", k, 0.1, 0.25, ""); err != nil {
		return 0, err
	}
	if err := energy("extraterrestrial radiation", ra); err != nil {
		return 0, err
	}
	if err := energy("clear-sky radiation", rso); err != nil {
		return 0, err
	}
	return math.Min(rso, k*math.Sqrt(tmax-tmin)*ra), nil
}

// ClearSky is Rso, the radiation under a clear sky, from the elevation in
// metres and Ra: (0.75 + 2e-5 z) Ra. Source: published, FAO-56 eq. 37. Range as
// [Pressure].
func ClearSky(elevation, ra float64) (float64, error) {
	if err := within("elevation", elevation, -500, 4000, "m"); err != nil {
		return 0, err
	}
	if err := energy("extraterrestrial radiation", ra); err != nil {
		return 0, err
	}
	return (0.75 + 2e-5*elevation) * ra, nil
}

// NetLongwave is Rnl, the heat radiated away, from a day's extremes in C, ea in
// kPa, Rs and Rso: 4.903e-9 times the mean of the fourth powers of both
// extremes in kelvin, times (0.34 - 0.14 sqrt ea)(1.35 Rs/Rso - 0.35), with
// Rs/Rso at most 1. Source: published, FAO-56 eq. 39. Valid for Rso > 0; else
// [ErrRange].
func NetLongwave(tmin, tmax, ea, rs, rso float64) (float64, error) {
	if err := minMax(tmin, tmax); err != nil {
		return 0, err
	}
	if err := within("vapour pressure", ea, 0, 10, "kPa"); err != nil {
		return 0, err
	}
	if err := energy("solar radiation", rs); err != nil {
		return 0, err
	}
	if err := within("clear-sky radiation", rso, math.SmallestNonzeroFloat64, 60, "MJ m-2 d-1"); err != nil {
		return 0, err
	}
	fourth := (math.Pow(tmax+273.16, 4) + math.Pow(tmin+273.16, 4)) / 2
	return stefanBoltzmann * fourth * (0.34 - 0.14*math.Sqrt(ea)) * (1.35*math.Min(1, rs/rso) - 0.35), nil
}

// NetRadiation is Rn = 0.77 Rs - Rnl, for the albedo 0.23 of the reference
// grass. Source: published, FAO-56 eqs. 38 and 40.
func NetRadiation(rs, rnl float64) float64 { return 0.77*rs - rnl }

// Psychrometric is gamma in kPa per C from the pressure in kPa: 0.000665 P.
// Source: published, FAO-56 eq. 8. Valid for pressures from 50 to 110 kPa.
func Psychrometric(pressure float64) (float64, error) {
	if err := within("pressure", pressure, 50, 110, "kPa"); err != nil {
		return 0, err
	}
	return 0.000665 * pressure, nil
}

// MonthlySoilHeat is G for a month from its mean temperature and that of the
// month before, in C: 0.14 times the difference. For single days G is 0.
// Source: published, FAO-56 eqs. 42 and 44.
func MonthlySoilHeat(tMonth, tBefore float64) float64 { return 0.14 * (tMonth - tBefore) }

// ET0Input is what the Penman-Monteith equation needs for a day or a month.
type ET0Input struct {
	Tmin, Tmax float64 // C
	// Tmean in C; NaN: the middle of the extremes, as for a single day.
	Tmean     float64
	Vapour    float64 // ea, kPa
	Wind2     float64 // m/s at 2 m; below 0.5 it is taken as 0.5 (FAO-56 advice, from memory)
	Net       float64 // Rn, MJ m-2 d-1
	SoilHeat  float64 // G, MJ m-2 d-1
	Elevation float64 // m; used where Pressure is 0
	Pressure  float64 // kPa; 0: from the elevation
}

// PenmanMonteith is the reference evapotranspiration of FAO-56 in mm per day:
//
//	[0.408 D (Rn - G) + g 900/(T + 273) u2 (es - ea)] / [D + g (1 + 0.34 u2)]
//
// Source: published, FAO-56 eq. 6; worked examples agree to 0.05 mm. Valid for
// daily to monthly aggregates over land; a negative result, possible in winter,
// is given as 0. Errors: [ErrMinAboveMax], [ErrRange], [ErrNotFinite].
func PenmanMonteith(in ET0Input) (float64, error) {
	if err := finite("net radiation", in.Net, in.SoilHeat); err != nil {
		return 0, err
	}
	if err := within("wind", in.Wind2, 0, 75, "m/s"); err != nil {
		return 0, err
	}
	if err := within("vapour pressure", in.Vapour, 0, 10, "kPa"); err != nil {
		return 0, err
	}
	es, err := DaySatVapour(in.Tmin, in.Tmax)
	if err != nil {
		return 0, err
	}
	mean := in.Tmean
	if math.IsNaN(mean) {
		mean = (in.Tmin + in.Tmax) / 2
	}
	if mean < in.Tmin || mean > in.Tmax {
		return 0, fmt.Errorf("meteo: mean %g C outside the extremes %g and %g C: %w", mean, in.Tmin, in.Tmax, ErrRange)
	}
	slope, err := SatVapourSlope(mean)
	if err != nil {
		return 0, err
	}
	p := in.Pressure
	if p == 0 {
		if p, err = Pressure(in.Elevation); err != nil {
			return 0, err
		}
	}
	gamma, err := Psychrometric(p)
	if err != nil {
		return 0, err
	}
	u := math.Max(lowestWind, in.Wind2)
	et := (0.408*slope*(in.Net-in.SoilHeat) + gamma*900/(mean+273)*u*math.Max(0, es-in.Vapour)) /
		(slope + gamma*(1+0.34*u))
	return math.Max(0, et), nil
}

// Hargreaves is the evapotranspiration in mm per day where only temperatures
// are known: 0.0023 (Tmean + 17.8) sqrt(Tmax - Tmin) 0.408 Ra. Source:
// published, FAO-56 eq. 52. It wants calibration against Penman-Monteith where
// that can be had; valid for periods of five days and more. Negative results
// are given as 0. Errors: [ErrMinAboveMax], [ErrRange], [ErrNotFinite].
func Hargreaves(tmin, tmax, ra float64) (float64, error) {
	if err := minMax(tmin, tmax); err != nil {
		return 0, err
	}
	if err := energy("extraterrestrial radiation", ra); err != nil {
		return 0, err
	}
	return math.Max(0, 0.0023*((tmin+tmax)/2+17.8)*math.Sqrt(tmax-tmin)*0.408*ra), nil
}

// energy checks a daily radiation sum; the top of the atmosphere never gets
// more than about 49 MJ.
func energy(what string, v float64) error { return within(what, v, 0, 60, "MJ m-2 d-1") }
