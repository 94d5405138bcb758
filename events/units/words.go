package units

import (
	"slices"
	"strings"
)

// suffixes maps what stands behind the last underscore of a table's heading ("mass_kg", "waterVolume_galac") to a code.
var suffixes = map[string]string{
	"ug": "ug", "mg": "mg", "g": "g", "kg": "kg", "t": "t", "lb": "[lb_av]", "oz": "[oz_av]",
	"mL": "mL", "L": "L", "hL": "hL", "m3": "m3", "gal": "[gal_us]", "qt": "[qt_us]", "pt": "[pt_us]", "floz": "[foz_us]", "impgal": "[gal_br]",
	"cm2": "cm2", "m2": "m2", "ha": "har", "km2": "km2", "sqft": "[sft_i]", "ac": "[acr_us]",
	"mm": "mm", "cm": "cm", "m": "m", "km": "km", "in": "[in_i]", "ft": "[ft_i]",
	"C": "Cel", "F": "[degF]", "K": "K",
	"mps": "m/s", "kmh": "km/h", "mph": "[mi_i]/h", "kn": "[kn_i]",
	"pct": "%", "deg": "deg",
	"s": "s", "min": "min", "h": "h", "d": "d", "wk": "wk",
	"Pa": "Pa", "hPa": "hPa", "mbar": "mbar", "kPa": "kPa", "bar": "bar", "inHg": "[in_i'Hg]", "psi": "[psi]",
	"Wm2": "W/m2", "kJm2": "kJ/m2", "MJm2": "MJ/m2", "Jm2": "J/m2",
	"gha": "g/har", "kgha": "kg/har", "tha": "t/har", "gm2": "g/m2", "kgm2": "kg/m2", "lbac": "[lb_av]/[acr_us]", "ozac": "[oz_av]/[acr_us]",
	"mLha": "mL/har", "Lha": "L/har", "m3ha": "m3/har", "Lm2": "L/m2", "galac": "[gal_us]/[acr_us]", "qtac": "[qt_us]/[acr_us]",
	"ptac": "[pt_us]/[acr_us]", "flozac": "[foz_us]/[acr_us]",
	"ugL": "ug/L", "mgL": "mg/L", "gL": "g/L", "ghL": "g/hL", "mgmL": "mg/mL", "kgm3": "kg/m3", "lbgal": "[lb_av]/[gal_us]", "ozgal": "[oz_av]/[gal_us]",
	"mLL": "mL/L", "mLhL": "mL/hL", "Lm3": "L/m3", "flozgal": "[foz_us]/[gal_us]",
	"ugkg": "ug/kg", "mgkg": "mg/kg", "gkg": "g/kg",
	"Gy": "Gy", "kGy": "kGy",
	"mLmin": "mL/min", "Lmin": "L/min", "Lh": "L/h", "m3h": "m3/h", "galmin": "[gal_us]/min", "gpm": "[gal_us]/min",
}

// said maps what people write, in lower case, to the code that they mean. It only feeds Nearest: a guess is offered,
// never taken.
var said = map[string]string{
	"kgs": "kg", "kilo": "kg", "kilos": "kg", "kilogram": "kg", "kilograms": "kg", "kilogramme": "kg", "kilogrammes": "kg",
	"gr": "g", "gm": "g", "gms": "g", "gram": "g", "grams": "g", "gramme": "g", "grammes": "g",
	"milligram": "mg", "milligrams": "mg", "mcg": "ug", "µg": "ug", "μg": "ug",
	"lbs": "[lb_av]", "pound": "[lb_av]", "pounds": "[lb_av]", "#": "[lb_av]",
	"ozs": "[oz_av]", "ounce": "[oz_av]", "ounces": "[oz_av]",
	"ton": "t", "tons": "t", "tonne": "t", "tonnes": "t", "mt": "t",
	"liter": "L", "liters": "L", "litre": "L", "litres": "L", "lt": "L", "ltr": "L", "ltrs": "L",
	"cc": "mL", "cm3": "mL", "milliliter": "mL", "milliliters": "mL", "millilitre": "mL", "millilitres": "mL", "mls": "mL",
	"cubic meter": "m3", "cubic meters": "m3", "cubic metre": "m3", "cubic metres": "m3", "m³": "m3", "m^3": "m3",
	"gals": "[gal_us]", "gallon": "[gal_us]", "gallons": "[gal_us]", "us gal": "[gal_us]", "us gallon": "[gal_us]",
	"imperial gallon": "[gal_br]", "imp gal": "[gal_br]", "imperial gallons": "[gal_br]",
	"pint": "[pt_us]", "pints": "[pt_us]", "pts": "[pt_us]", "quart": "[qt_us]", "quarts": "[qt_us]", "qts": "[qt_us]",
	"fl oz": "[foz_us]", "fl. oz.": "[foz_us]", "fl. oz": "[foz_us]", "fl_oz": "[foz_us]", "fluid ounce": "[foz_us]", "fluid ounces": "[foz_us]",
	"acre": "[acr_us]", "acres": "[acr_us]", "acr": "[acr_us]", "a": "[acr_us]",
	"hectare": "har", "hectares": "har", "sqm": "m2", "sq m": "m2", "m²": "m2", "m^2": "m2", "ft2": "[sft_i]", "ft²": "[sft_i]", "sq ft": "[sft_i]",
	"square feet": "[sft_i]", "square foot": "[sft_i]", "square meters": "m2", "square metres": "m2", "km²": "km2", "km^2": "km2",
	"meter": "m", "meters": "m", "metre": "m", "metres": "m", "mtr": "m", "centimeter": "cm", "centimeters": "cm", "centimetre": "cm",
	"centimetres": "cm", "millimeter": "mm", "millimeters": "mm", "millimetre": "mm", "millimetres": "mm",
	"kilometer": "km", "kilometers": "km", "kilometre": "km", "kilometres": "km",
	"inch": "[in_i]", "inches": "[in_i]", "ins": "[in_i]", `"`: "[in_i]", "foot": "[ft_i]", "feet": "[ft_i]", "'": "[ft_i]",
	"°c": "Cel", "degc": "Cel", "deg c": "Cel", "celsius": "Cel", "centigrade": "Cel", "ºc": "Cel", "℃": "Cel",
	"°f": "[degF]", "degf": "[degF]", "deg f": "[degF]", "fahrenheit": "[degF]", "ºf": "[degF]", "℉": "[degF]", "kelvin": "K",
	"ms-1": "m/s", "m s-1": "m/s", "m/sec": "m/s", "kph": "km/h", "kmph": "km/h", "km/hr": "km/h", "km h-1": "km/h",
	//words:data what people write for a unit, read and never shown
	"mi/h": "[mi_i]/h", "mile/h": "[mi_i]/h", "miles per hour": "[mi_i]/h", "kt": "[kn_i]", "kts": "[kn_i]", "knot": "[kn_i]", "knots": "[kn_i]",
	"percent": "%", "per cent": "%", "°": "deg", "º": "deg", "degree": "deg", "degrees": "deg",
	"sec": "s", "secs": "s", "second": "s", "seconds": "s", "mins": "min", "minute": "min", "minutes": "min", "hr": "h", "hrs": "h",
	"hour": "h", "hours": "h", "day": "d", "days": "d", "week": "wk", "weeks": "wk", "wks": "wk",
	"hectopascal": "hPa", "mb": "mbar", "millibar": "mbar", "in hg": "[in_i'Hg]", "pascal": "Pa",
	"w/m^2": "W/m2", "w/m²": "W/m2", "w m-2": "W/m2", "mj/m^2": "MJ/m2", "mj/m²": "MJ/m2", "langley": "cal_IT/cm2", "langleys": "cal_IT/cm2", "ly": "cal_IT/cm2",
	"gpa": "[gal_us]/[acr_us]", "gray": "Gy", "grays": "Gy", "kilogray": "kGy",
}

// loweredSuffixes holds the suffixes in lower case; a test sees to it that no two become one.
var loweredSuffixes = makeLoweredSuffixes()

func makeLoweredSuffixes() map[string]string {
	words := make(map[string]string, len(suffixes))
	for suffix, code := range suffixes {
		words[strings.ToLower(suffix)] = code
	}
	return words
}

// lowered maps every code, suffix and said word in lower case to its code; a test sees to it that no word has two.
var lowered = makeLowered()

func makeLowered() map[string]string {
	words := makeLoweredSuffixes()
	for word, code := range said {
		words[word] = code
	}
	for code := range table {
		words[strings.ToLower(code)] = code
	}
	return words
}

// Suffix returns the code for the unit at the end of a column's heading: kg, g, lb, oz, t, L, mL, gal, floz, m, cm, mm,
// in, ft, ha, ac, m2, sqft, C, F, K, mps, kmh, mph, kn, pct, deg, Wm2, s, min, h, d, wk, hPa, kPa, and rates written
// without a stroke as kgha, Lha, galac, flozac, mLL. Each may also be written wholly in lower case (l, ml, lha, c, f),
// as spreadsheets do; any other mixture of cases is refused, and Nearest knows what it could mean.
func Suffix(s string) (code string, ok bool) {
	if code, ok = suffixes[s]; ok {
		return code, true
	}
	code, ok = loweredSuffixes[s]
	return code, ok
}

// Nearest returns the code that an unknown unit probably means ("lbs": "[lb_av]", "KG": "kg", "gal/acre":
// "[gal_us]/[acr_us]"), "" if there is no good guess. It is for the words "did you mean", nothing else: a guessed unit
// is never recorded.
func Nearest(code string) string {
	word := strings.ToLower(strings.Trim(strings.TrimSpace(code), "[]{}()."))
	word = strings.Join(strings.Fields(word), " ")
	if word == "" {
		return ""
	}
	for _, w := range []string{strings.ToLower(code), "[" + word + "]", word} {
		if c, ok := lowered[w]; ok {
			return c
		}
	}
	for _, stroke := range []string{"/", " per "} {
		if top, bottom, ok := strings.Cut(word, stroke); ok {
			if c := Nearest(top) + "/" + Nearest(bottom); table[c].Code != "" {
				return c
			}
		}
	}
	return closest(word)
}

// closest returns the code of the word within one slip (a letter more, less, changed or swapped), two for words of
// more than six letters. Where two codes are equally near there is no good guess. Words of one or two letters are left
// alone: one slip from "g" is half the table.
func closest(word string) string {
	size := len([]rune(word))
	if size < 3 || size > 24 {
		return ""
	}
	best, limit := "", 1
	if size > 6 {
		limit = 2
	}
	keys := make([]string, 0, len(lowered))
	for key := range lowered {
		if len(key) > 2 {
			keys = append(keys, key)
		}
	}
	slices.Sort(keys)
	limit++
	for _, key := range keys {
		switch d := slips([]rune(word), []rune(strings.Trim(key, "[]"))); {
		case d < limit:
			best, limit = lowered[key], d
		case d == limit && best != "" && best != lowered[key]:
			best = ""
		}
	}
	return best
}

// slips is the number of letters to add, drop, change or swap with a neighbour.
func slips(a, b []rune) int {
	two, one := make([]int, len(b)+1), make([]int, len(b)+1)
	for j := range one {
		one[j] = j
	}
	for i := 1; i <= len(a); i++ {
		now := make([]int, len(b)+1)
		now[0] = i
		for j := 1; j <= len(b); j++ {
			change := one[j-1]
			if a[i-1] != b[j-1] {
				change++
			}
			now[j] = min(one[j]+1, now[j-1]+1, change)
			if i > 1 && j > 1 && a[i-1] == b[j-2] && a[i-2] == b[j-1] {
				now[j] = min(now[j], two[j-2]+1)
			}
		}
		two, one = one, now
	}
	return one[len(b)]
}
