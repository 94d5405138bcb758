package meteo

import (
	"fmt"
	"math"
)

// Psychrometer constants per degree C, to be multiplied by the pressure in
// kPa. Published: FAO-56 eq. 16.
const (
	Aspirated  = 0.000662 // air drawn past the bulbs at about 5 m/s
	Ventilated = 0.000800 // natural ventilation, about 1 m/s
	Indoor     = 0.001200 // still air indoors
)

// SeaLevel is the standard pressure in kPa.
const SeaLevel = 101.325

// tetens is e0(T) in kPa without a range check.
func tetens(t float64) float64 { return 0.6108 * math.Exp(17.27*t/(t+237.3)) }

// tetensInverse is the temperature at which e is the saturation pressure.
func tetensInverse(e float64) float64 {
	x := math.Log(e / 0.6108)
	return 237.3 * x / (17.27 - x)
}

func airTemperature(t float64) error { return within("temperature", t, -40, 60, "C") }

// SatVapour is the saturation vapour pressure e0 in kPa at t in C, over
// water also below 0 C.
//
// Source: published, FAO-56 eq. 11. Valid about -20..60 C; down to -40 C it is
// given, beyond that [ErrRange].
func SatVapour(t float64) (float64, error) {
	if err := airTemperature(t); err != nil {
		return 0, err
	}
	return tetens(t), nil
}

// SatVapourSlope is the slope of e0 in kPa per C at t in C. Source: published,
// FAO-56 eq. 13. Range as [SatVapour].
func SatVapourSlope(t float64) (float64, error) {
	if err := airTemperature(t); err != nil {
		return 0, err
	}
	return 4098 * tetens(t) / ((t + 237.3) * (t + 237.3)), nil
}

// DaySatVapour is the mean saturation pressure of a day in kPa, the mean of e0
// at both extremes in C; never e0 of the mean, which is too low. Source:
// published, FAO-56 eq. 12. Range as [SatVapour]; [ErrMinAboveMax].
func DaySatVapour(tmin, tmax float64) (float64, error) {
	if err := minMax(tmin, tmax); err != nil {
		return 0, err
	}
	lo, err := SatVapour(tmin)
	if err != nil {
		return 0, err
	}
	hi, err := SatVapour(tmax)
	return (lo + hi) / 2, err
}

// UsableRH gives the relative humidity in % to be used for derived values: the
// reading itself in (0, 100], and 100 with overRead true for readings above
// 100 and up to 105, a common over-reading of wet sensors whose raw value is
// kept and flagged. Anything else is [ErrHumidity]. Source: project rule.
func UsableRH(rh float64) (used float64, overRead bool, err error) {
	switch {
	case rh > 0 && rh <= 100:
		return rh, false, nil
	case rh > 100 && rh <= 105:
		return 100, true, nil
	}
	return 0, false, fmt.Errorf("meteo: relative humidity %g %%: %w", rh, ErrHumidity)
}

// VapourFromRH is the actual vapour pressure ea in kPa from t in C and
// relative humidity in %: RH/100 e0(T). Source: published, FAO-56 (definition,
// eq. 10). Range as [SatVapour] and [UsableRH].
func VapourFromRH(t, rh float64) (float64, error) {
	rh, _, err := UsableRH(rh)
	if err != nil {
		return 0, err
	}
	e, err := SatVapour(t)
	return rh / 100 * e, err
}

// VapourFromDayRH is a day's ea in kPa from both extremes in C and the highest
// and lowest humidity in %: (e0(Tmin) RHmax + e0(Tmax) RHmin)/200. Source:
// published, FAO-56 eq. 17. Range as [DaySatVapour] and [UsableRH].
func VapourFromDayRH(tmin, tmax, rhMin, rhMax float64) (float64, error) {
	if err := minMax(tmin, tmax); err != nil {
		return 0, err
	}
	if err := minMax(rhMin, rhMax); err != nil {
		return 0, err
	}
	dawn, err := VapourFromRH(tmin, rhMax)
	if err != nil {
		return 0, err
	}
	noon, err := VapourFromRH(tmax, rhMin)
	return (dawn + noon) / 2, err
}

// VapourFromMeanRH is a day's ea in kPa from both extremes in C and the mean
// humidity in %: RH/100 times [DaySatVapour]. Source: published, FAO-56
// eq. 19; less good than eq. 17. Range as there.
func VapourFromMeanRH(tmin, tmax, rh float64) (float64, error) {
	rh, _, err := UsableRH(rh)
	if err != nil {
		return 0, err
	}
	es, err := DaySatVapour(tmin, tmax)
	return rh / 100 * es, err
}

// VapourFromDew is ea in kPa from the dew point in C: e0(Td). Source:
// published, FAO-56 eq. 14. Range as [SatVapour].
func VapourFromDew(td float64) (float64, error) { return SatVapour(td) }

// VapourFromWetBulb is ea in kPa from dry and wet bulb in C, pressure in kPa
// and a psychrometer constant ([Aspirated], [Ventilated], [Indoor]): e0(Tw) -
// a P (T - Tw).
//
// Source: published, FAO-56 eqs. 15-16. A wet bulb above the dry one, or so far
// below it that nothing is left, is [ErrRange]. Below 0 C the wick may be ice
// and the constant another: flag such values ([IcePossible]).
func VapourFromWetBulb(t, tw, pressure, a float64) (float64, error) {
	if err := airTemperature(t); err != nil {
		return 0, err
	}
	if err := within("wet bulb", tw, -40, t, "C"); err != nil {
		return 0, err
	}
	if err := psychrometer(pressure, a); err != nil {
		return 0, err
	}
	ea := tetens(tw) - a*pressure*(t-tw)
	if ea <= 0 {
		return 0, fmt.Errorf("meteo: wet bulb %g C at %g C leaves no water vapour: %w", tw, t, ErrRange)
	}
	return ea, nil
}

// RHFromWetBulb is the relative humidity in % from the same inputs, at most
// 100. Source, range and errors as [VapourFromWetBulb].
func RHFromWetBulb(t, tw, pressure, a float64) (float64, error) {
	ea, err := VapourFromWetBulb(t, tw, pressure, a)
	if err != nil {
		return 0, err
	}
	return math.Min(100, 100*ea/tetens(t)), nil
}

func psychrometer(pressure, a float64) error {
	if err := within("pressure", pressure, 50, 110, "kPa"); err != nil {
		return err
	}
	return within("psychrometer constant", a, 0.0003, 0.002, "per C")
}

// DewPoint is the dew point in C of a vapour pressure in kPa, the inverse of
// [SatVapour]. Source: FAO-56 eq. 11 turned around. Valid where the result is
// from -40 to 60 C; else [ErrRange].
func DewPoint(ea float64) (float64, error) {
	// The bounds are e0 at -40 and 60 C, given a hair of room for rounding.
	if err := within("vapour pressure", ea, tetens(-40)*(1-1e-12), tetens(60)*(1+1e-12), "kPa"); err != nil {
		return 0, err
	}
	return tetensInverse(ea), nil
}

// DewPointFromRH is the dew point in C from t in C and humidity in %; never
// above t. Source and range as [DewPoint], [VapourFromRH].
func DewPointFromRH(t, rh float64) (float64, error) {
	ea, err := VapourFromRH(t, rh)
	if err != nil {
		return 0, err
	}
	td, err := DewPoint(ea)
	return math.Min(td, t), err
}

// VPD is the vapour pressure deficit e0(T) - ea in kPa, at least 0, from t in
// C and humidity in %. Source: published, FAO-56. Range as [VapourFromRH].
func VPD(t, rh float64) (float64, error) {
	ea, err := VapourFromRH(t, rh)
	if err != nil {
		return 0, err
	}
	return math.Max(0, tetens(t)-ea), nil
}

// Pressure is the usual air pressure in kPa at an elevation in metres. A
// measured pressure is better. Source: published, FAO-56 eq. 7, valid 0 to
// 4000 m; given here from -500 m (project rule, for farms below the sea), else
// [ErrRange].
func Pressure(elevation float64) (float64, error) {
	if err := within("elevation", elevation, -500, 4000, "m"); err != nil {
		return 0, err
	}
	return 101.3 * math.Pow((293-0.0065*elevation)/293, 5.26), nil
}

// WetBulb is the wet-bulb temperature in C from t in C, humidity in %,
// pressure in kPa and a psychrometer constant, found by halving between -60 C
// and t until e0(Tw) - a P (T - Tw) equals ea.
//
// Source: computed from FAO-56 eq. 15 (published). Range as
// [VapourFromRH]; pressure 50 to 110 kPa. Near sea level up to 1 C from
// [WetBulbStull], each being right by its own lights; more in cold dry air,
// where only this one holds. Where the result is below 0 C the wick may be ice: flag it
// ([IcePossible]).
func WetBulb(t, rh, pressure, a float64) (float64, error) {
	ea, err := VapourFromRH(t, rh)
	if err != nil {
		return 0, err
	}
	if err := psychrometer(pressure, a); err != nil {
		return 0, err
	}
	if ea >= tetens(t) {
		return t, nil
	}
	lo, hi := -60.0, t
	for range 50 { // 100 C halved 50 times: far below any instrument
		mid := (lo + hi) / 2
		if tetens(mid)-a*pressure*(t-mid) < ea {
			lo = mid
		} else {
			hi = mid
		}
	}
	return (lo + hi) / 2, nil
}

// IcePossible tells that a wet-bulb temperature in C is below freezing, where
// the wick may be ice and the psychrometer equation for water is off.
func IcePossible(tw float64) bool { return tw < 0 }

// WetBulbStull is the wet-bulb temperature in C near sea level from t in C and
// humidity in %, by a fitted formula.
//
// Source: published, Stull 2011 (J. Appl. Meteor. Climatol. 50:2267-2269).
// Valid for 5-99 % and -20..50 C, not for cold and dry air together; error -1.0
// to +0.65 C, below 0.3 C in the mean. Outside [ErrRange]: use [WetBulb]. 30 C
// and 50 % give 22.30; the 21.92 in circulation is not this formula.
func WetBulbStull(t, rh float64) (float64, error) {
	if err := within("temperature", t, -20, 50, "C"); err != nil {
		return 0, err
	}
	if err := within("relative humidity", rh, 5, 99, "%"); err != nil {
		return 0, err
	}
	return t*math.Atan(0.151977*math.Sqrt(rh+8.313659)) + math.Atan(t+rh) - math.Atan(rh-1.676331) +
		0.00391838*math.Pow(rh, 1.5)*math.Atan(0.023101*rh) - 4.686035, nil
}

// StullFits tells whether [WetBulbStull] may stand in for [WetBulb]: inside its
// published ranges of t in C and humidity in %, and within 5 kPa of standard
// sea-level pressure (that width is a project rule; the paper says near sea
// level).
func StullFits(t, rh, pressure float64) bool {
	return t >= -20 && t <= 50 && rh >= 5 && rh <= 99 && math.Abs(pressure-SeaLevel) <= 5
}

// DeltaT is the dry minus the wet bulb in C, from t in C, humidity in % and
// pressure in kPa, with an aspirated psychrometer. Definition published;
// computed by [WetBulb], range as there.
func DeltaT(t, rh, pressure float64) (float64, error) {
	tw, err := WetBulb(t, rh, pressure, Aspirated)
	if err != nil {
		return 0, err
	}
	return math.Max(0, t-tw), nil
}

// A DeltaTBand is where a Delta T falls among limits. It is a code for advice,
// never a permission: the label and local rules decide.
type DeltaTBand uint8

// The bands, from wet to dry.
const (
	TooHumid   DeltaTBand = iota // below Low: fine drops live long, dew and inversion are likely
	Preferred                    // from Low to High
	Marginal                     // above High, up to Top
	Unsuitable                   // above Top
)

// String gives a code: too-humid, preferred, marginal, unsuitable.
func (b DeltaTBand) String() string {
	switch b {
	case TooHumid:
		return "too-humid"
	case Preferred:
		return "preferred"
	case Marginal:
		return "marginal"
	case Unsuitable:
		return "unsuitable"
	}
	return fmt.Sprintf("delta-t-band(%d)", uint8(b))
}

// DeltaTLimits are the limits between the bands, in C.
type DeltaTLimits struct{ Low, High, Top float64 }

// DefaultDeltaTLimits are 2, 8 and 10 C. Source: published Australian guidance
// (Bureau of Meteorology guideline as quoted publicly: ideally 2 to 8, not
// above 10); at least one trial report uses 2 to 10, so a farm may set others.
func DefaultDeltaTLimits() DeltaTLimits { return DeltaTLimits{2, 8, 10} }

// Band places a Delta T in C: [Low, High] preferred, (High, Top] marginal,
// compared after rounding to 0.1 C (project rule). Errors: [ErrNotFinite],
// and [ErrRules] for limits that do not rise.
func (l DeltaTLimits) Band(dt float64) (DeltaTBand, error) {
	if err := finite("Delta T", dt, l.Low, l.High, l.Top); err != nil {
		return 0, err
	}
	if l.Low > l.High || l.High > l.Top {
		return 0, fmt.Errorf("meteo: Delta T limits %g, %g, %g do not rise: %w", l.Low, l.High, l.Top, ErrRules)
	}
	switch r := math.Round(dt*10) / 10; {
	case r < l.Low:
		return TooHumid, nil
	case r <= l.High:
		return Preferred, nil
	case r <= l.Top:
		return Marginal, nil
	}
	return Unsuitable, nil
}
