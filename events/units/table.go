package units

import (
	"maps"
	"math/big"
	"slices"
	"strings"
)

// A Dimension says what a unit measures. Two quantities can be added, compared or converted only within one dimension.
type Dimension string

// The dimensions. The comment names the base, the small unit whose whole numbers Base returns.
const (
	Mass            Dimension = "mass"              // mg
	Volume          Dimension = "volume"            // mL
	Area            Dimension = "area"              // mm2
	Length          Dimension = "length"            // um; also heights, spacings and depths of rain
	Temperature     Dimension = "temperature"       // mdegC; points on the scale, not differences
	Speed           Dimension = "speed"             // mm/s
	Share           Dimension = "share"             // m%, thousandths of a percent
	Angle           Dimension = "angle"             // mdeg, thousandths of a degree
	Duration        Dimension = "duration"          // ms; a day is 24 h here, civil days are in package civil
	Pressure        Dimension = "pressure"          // Pa
	Irradiance      Dimension = "irradiance"        // mW/m2
	RadiantExposure Dimension = "radiant-exposure"  // J/m2
	MassPerArea     Dimension = "mass-per-area"     // mg/har
	VolumePerArea   Dimension = "volume-per-area"   // uL/har
	MassPerVolume   Dimension = "mass-per-volume"   // ug/L
	VolumePerVolume Dimension = "volume-per-volume" // uL/L
	MassPerMass     Dimension = "mass-per-mass"     // ng/kg
	Flow            Dimension = "flow"              // uL/min
	AbsorbedDose    Dimension = "absorbed-dose"     // mGy; of an irradiation
)

var bases = map[Dimension]string{
	Mass: "mg", Volume: "mL", Area: "mm2", Length: "um", Temperature: "mdegC", Speed: "mm/s", Share: "m%",
	Angle: "mdeg", Duration: "ms", Pressure: "Pa", Irradiance: "mW/m2", RadiantExposure: "J/m2",
	MassPerArea: "mg/har", VolumePerArea: "uL/har", MassPerVolume: "ug/L", VolumePerVolume: "uL/L",
	MassPerMass: "ng/kg", Flow: "uL/min", AbsorbedDose: "mGy",
}

// Base returns the name of the dimension's base unit as in the table of the package comment, "" for what is no
// dimension of this package. It is a name for people and documents; not every base is a unit that Lookup knows.
func (d Dimension) Base() string { return bases[d] }

// Dimensions returns all dimensions in byte order.
func Dimensions() []Dimension { return slices.Sorted(maps.Keys(bases)) }

// A Unit is one unit of the table. The zero Unit measures nothing.
type Unit struct {
	// Code is the UCUM code, case-sensitive.
	Code string
	// Dimension is what the unit measures.
	Dimension Dimension

	// base = (value*num + off) / den, in lowest terms. Whole numbers, so that nothing drifts. off is not 0 for the
	// temperature scales that do not start where Celsius does.
	num, den uint64
	off      int64
}

// simple holds the factors from one unit to the base of its dimension, as exact decimals or fractions.
//
// Inch, pound and their multiples: the international yard and pound of 1959; US gallon 231 cubic inches; imperial
// gallon 4.54609 L; nautical mile 1852 m; standard gravity 9.80665 m/s2; conventional mercury 13,595.1 kg/m3; IT calorie
// 4.1868 J, thermochemical calorie 4.184 J. Source of all: NIST Special Publication 811 (2008), appendix B, written down
// from memory; testdata/vectors/units.csv, computed from the defining constants by others, agrees wherever it has a line.
// The acre is 43,560 square feet of 0.09290304 m2.
var simple = []struct {
	dim    Dimension
	code   string
	factor string
}{
	{Mass, "ug", "1/1000"},
	{Mass, "mg", "1"},
	{Mass, "g", "1000"},
	{Mass, "kg", "1000000"},
	{Mass, "t", "1000000000"},
	{Mass, "[lb_av]", "453592.37"},
	{Mass, "[oz_av]", "28349.523125"},

	{Volume, "mL", "1"},
	{Volume, "L", "1000"},
	{Volume, "hL", "100000"},
	{Volume, "m3", "1000000"},
	{Volume, "[gal_us]", "3785.411784"},
	{Volume, "[qt_us]", "946.352946"},
	{Volume, "[pt_us]", "473.176473"},
	{Volume, "[foz_us]", "29.5735295625"},
	{Volume, "[gal_br]", "4546.09"},

	{Area, "cm2", "100"},
	{Area, "m2", "1000000"},
	{Area, "har", "10000000000"},
	{Area, "km2", "1000000000000"},
	{Area, "[sft_i]", "92903.04"},
	{Area, "[acr_us]", "4046856422.4"},

	{Length, "mm", "1000"},
	{Length, "cm", "10000"},
	{Length, "m", "1000000"},
	{Length, "km", "1000000000"},
	{Length, "[in_i]", "25400"},
	{Length, "[ft_i]", "304800"},

	{Temperature, "Cel", "1000"},
	{Temperature, "K", "1000"},
	{Temperature, "[degF]", "5000/9"},

	{Speed, "m/s", "1000"},
	{Speed, "km/h", "2500/9"},
	{Speed, "[mi_i]/h", "447.04"},
	{Speed, "[kn_i]", "4630/9"},

	{Share, "%", "1000"},
	{Angle, "deg", "1000"},

	{Duration, "s", "1000"},
	{Duration, "min", "60000"},
	{Duration, "h", "3600000"},
	{Duration, "d", "86400000"},
	{Duration, "wk", "604800000"},

	{Pressure, "Pa", "1"},
	{Pressure, "hPa", "100"},
	{Pressure, "mbar", "100"},
	{Pressure, "kPa", "1000"},
	{Pressure, "bar", "100000"},
	{Pressure, "[in_i'Hg]", "3386.388640341"},         // 0.0254 * 13595.1 * 9.80665
	{Pressure, "[psi]", "4.4482216152605/0.00064516"}, // 0.45359237 * 9.80665 / 0.0254^2

	{Irradiance, "W/m2", "1000"},

	{RadiantExposure, "J/m2", "1"},
	{RadiantExposure, "kJ/m2", "1000"},
	{RadiantExposure, "MJ/m2", "1000000"},
	{RadiantExposure, "cal_IT/cm2", "41868"}, // the langley of most stations
	{RadiantExposure, "cal_th/cm2", "41840"}, // the other langley

	{AbsorbedDose, "Gy", "1000"},
	{AbsorbedDose, "kGy", "1000000"},
}

// shifts holds what a temperature scale adds, in mdegC, after the factor.
var shifts = map[string]string{"K": "-273150", "[degF]": "-160000/9"}

// rates holds units of the form "top/bottom". The base is that of the top, times scale, for one of per.
var rates = []struct {
	dim   Dimension
	scale string // base of the top's dimension to the base of the rate
	per   string // the bottom of the rate's base
	codes string
}{
	{MassPerArea, "1", "har", "mg/m2 g/m2 kg/m2 mg/har g/har kg/har t/har g/[acr_us] kg/[acr_us] [oz_av]/[acr_us] [lb_av]/[acr_us]"},
	{VolumePerArea, "1000", "har", "mL/m2 L/m2 mL/har L/har m3/har mL/[acr_us] L/[acr_us] [foz_us]/[acr_us] [pt_us]/[acr_us] " +
		"[qt_us]/[acr_us] [gal_us]/[acr_us] [gal_br]/[acr_us]"},
	{MassPerVolume, "1000", "L", "ug/L mg/L g/L kg/L mg/mL g/mL g/hL kg/hL g/m3 kg/m3 g/[gal_us] [oz_av]/[gal_us] [lb_av]/[gal_us]"},
	{VolumePerVolume, "1000", "L", "mL/L mL/hL L/hL mL/m3 L/m3 mL/[gal_us] [foz_us]/[gal_us] [pt_us]/[gal_us] [qt_us]/[gal_us]"},
	{MassPerMass, "1000000", "kg", "ug/kg mg/kg g/kg g/t kg/t"},
	{Flow, "1000", "min", "mL/min L/min L/h m3/h [foz_us]/min [gal_us]/min [gal_us]/h"},
}

var table = makeTable()

// makeTable works the factors out as fractions. A mistake in the rows above shows as a unit that is missing or wrong in
// the tests, never at run time: the rows are constants.
func makeTable() map[string]Unit {
	units := make(map[string]Unit)
	factors := make(map[string]*big.Rat)
	add := func(dim Dimension, code string, factor, shift *big.Rat) {
		factors[code] = factor
		// Both over one denominator: base = value*f + s = (value*num + off) / den.
		den := new(big.Int).Mul(factor.Denom(), new(big.Int).Div(shift.Denom(), new(big.Int).GCD(nil, nil, factor.Denom(), shift.Denom())))
		num := new(big.Rat).Mul(factor, new(big.Rat).SetInt(den))
		off := new(big.Rat).Mul(shift, new(big.Rat).SetInt(den))
		if num.Num().IsUint64() && den.IsUint64() && off.Num().IsInt64() {
			units[code] = Unit{Code: code, Dimension: dim, num: num.Num().Uint64(), den: den.Uint64(), off: off.Num().Int64()}
		}
	}
	for _, row := range simple {
		add(row.dim, row.code, fraction(row.factor), fraction(shifts[row.code]))
	}
	for _, row := range rates {
		for code := range strings.FieldsSeq(row.codes) {
			top, bottom, _ := strings.Cut(code, "/")
			factor := new(big.Rat).Quo(factors[top], factors[bottom])
			factor.Mul(factor, factors[row.per])
			add(row.dim, code, factor.Mul(factor, fraction(row.scale)), new(big.Rat))
		}
	}
	return units
}

// fraction reads "a", "a/b" with decimals on both sides; "" is 0.
func fraction(s string) *big.Rat {
	top, bottom, ok := strings.Cut(s, "/")
	r, good := new(big.Rat).SetString(top)
	if !good {
		return new(big.Rat)
	}
	if d, good := new(big.Rat).SetString(bottom); ok && good {
		r.Quo(r, d)
	}
	return r
}

// Lookup returns the unit of a UCUM code. Case counts: "kg" is a unit, "KG" is not; Nearest guesses what was meant.
func Lookup(code string) (Unit, bool) {
	u, ok := table[code]
	return u, ok
}

// Codes returns the codes of a dimension in byte order, empty for what is no dimension of this package.
func Codes(dim Dimension) []string {
	var codes []string
	for code, u := range table {
		if u.Dimension == dim {
			codes = append(codes, code)
		}
	}
	slices.Sort(codes)
	return codes
}

// Check returns nil if code is a unit of the dimension, else a *UnitError or a *DimensionError.
func Check(code string, dim Dimension) error {
	u, ok := table[code]
	if !ok {
		return &UnitError{Code: code, Nearest: Nearest(code)}
	}
	if u.Dimension != dim {
		return &DimensionError{Code: code, Got: u.Dimension, Want: dim}
	}
	return nil
}
