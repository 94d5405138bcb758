package units_test

import (
	"encoding/csv"
	"errors"
	"math"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"

	"latewood/events/units"
)

// factsCodes gives the codes for the unit names of testdata/vectors/units.csv.
var factsCodes = map[string]string{
	"F": "[degF]", "C": "Cel", "mph": "[mi_i]/h", "m/s": "m/s", "km/h": "km/h", "knot": "[kn_i]",
	"US gal": "[gal_us]", "L": "L", "US fl oz": "[foz_us]", "mL": "mL", "US pint": "[pt_us]", "imperial gal": "[gal_br]",
	"acre": "[acr_us]", "ha": "har", "ft2": "[sft_i]", "US gal/acre": "[gal_us]/[acr_us]", "L/ha": "L/har",
	"imperial gal/acre": "[gal_br]/[acr_us]", "lb": "[lb_av]", "kg": "kg", "lb/acre": "[lb_av]/[acr_us]", "kg/ha": "kg/har",
	"oz (weight)/acre": "[oz_av]/[acr_us]", "g/ha": "g/har", "US fl oz/acre": "[foz_us]/[acr_us]", "mL/ha": "mL/har",
	"inch": "[in_i]", "inch (rain)": "[in_i]", "mm": "mm", "inHg": "[in_i'Hg]", "hPa": "hPa", "langley": "cal_IT/cm2", "MJ/m2": "MJ/m2",
}

// Source: testdata/vectors/units.csv, computed from the defining constants of NIST Special Publication 811 (2008).
func TestConvertAgainstVectors(t *testing.T) {
	t.Parallel()
	f, err := os.Open("../../testdata/vectors/units.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	rows, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	if got, want := len(rows)-1, 28; got != want {
		t.Errorf("rows: got %d, want %d", got, want)
	}
	for _, row := range rows[1:] {
		value, _ := strconv.ParseFloat(row[0], 64)
		want, _ := strconv.ParseFloat(row[2], 64)
		from, to := factsCodes[row[1]], factsCodes[row[3]]
		got, err := units.Convert(value, from, to)
		if err != nil {
			t.Errorf("Convert(%v, %q, %q): %v", value, from, to, err)
			continue
		}
		relative := 1e-6
		switch row[4] {
		case "exact":
			relative = 0
		case "rel 1e-5":
			relative = 1e-5
		}
		if math.Abs(got-want) > relative*math.Abs(want) {
			t.Errorf("%s %s: got %v %s, want %v (relative %g)", row[0], row[1], got, row[3], want, relative)
		}
	}
}

func TestBase(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		name  string
		value float64
		code  string
		want  int64
	}{
		{"a case of fruit", 12.5, "kg", 12_500_000},
		{"pounds", 12.5, "[lb_av]", 5_669_905}, // 5669904.625
		{"an ounce", 1, "[oz_av]", 28_350},     // 28349.523125
		{"a tenth is a tenth", 0.1, "kg", 100_000},
		{"nought", 0, "kg", 0},
		{"minus nought", math.Copysign(0, -1), "kg", 0},
		{"half goes to even, down", 0.5, "mg", 0},
		{"half goes to even, up", 1.5, "mg", 2},
		{"half below nought", -0.5, "mg", 0},
		{"half below nought, up", -1.5, "mg", -2},
		{"decimal half, binary a little less", 1.0005, "g", 1000}, // 1000.5: to even
		{"decimal half, binary a little more", 1.0015, "g", 1002},
		{"seven decimals", 0.0000005, "kg", 0}, // 0.5
		{"seven decimals, up", 0.0000015, "kg", 2},
		{"seventeen digits", 0.30000000000000004, "kg", 300_000},
		{"gallons", 100, "[gal_us]", 378_541}, // 378541.1784
		{"an acre", 1, "[acr_us]", 4_046_856_422},
		{"ten acres", 10, "[acr_us]", 40_468_564_224},
		{"hectares", 1.25, "har", 12_500_000_000},
		{"one tip of a gauge", 0.2, "mm", 200},
		{"a hundredth of an inch", 0.01, "[in_i]", 254},
		{"freezing", 32, "[degF]", 0},
		{"68 F", 68, "[degF]", 20_000},
		{"45 F", 45, "[degF]", 7222},
		{"-40 F", -40, "[degF]", -40_000},
		{"0 F", 0, "[degF]", -17_778},
		{"68.5 F", 68.5, "[degF]", 20_278},
		{"Celsius", -2.2, "Cel", -2200},
		{"kelvin", 273.15, "K", 0},
		{"kelvin below", 272.65, "K", -500},
		{"wind", 10, "[mi_i]/h", 4470}, // 4470.4
		{"wind km/h", 10, "km/h", 2778},
		{"humidity", 87.5, "%", 87_500},
		{"direction", 359.9, "deg", 359_900},
		{"two weeks", 2, "wk", 1_209_600_000},
		{"pressure", 1013.25, "hPa", 101_325},
		{"sun", 801.25, "W/m2", 801_250},
		{"rate", 2, "L/har", 2_000_000},
		{"rate of mass", 1, "[lb_av]/[acr_us]", 1_120_851},
		{"residue", 0.01, "mg/kg", 10_000},
		{"concentration", 480, "g/L", 480_000_000},
		{"a dose", 410.5, "Gy", 410_500},
		{"a large dose", 1.2, "kGy", 1_200_000},
		{"the largest", 9007199254740991, "mg", units.MaxBase},
		{"the smallest", -9007199254740991, "mg", -units.MaxBase},
		{"tiny", 5e-324, "t", 0},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			got, err := units.Base(tt.value, tt.code)
			if err != nil {
				t.Fatalf("Base(%v, %q): %v", tt.value, tt.code, err)
			}
			if got != tt.want {
				t.Errorf("Base(%v, %q): got %d, want %d", tt.value, tt.code, got, tt.want)
			}
		})
	}
}

func TestRefusals(t *testing.T) {
	t.Parallel()
	base := func(v float64, code string) error { _, err := units.Base(v, code); return err }
	convert := func(v float64, from, to string) error { _, err := units.Convert(v, from, to); return err }
	for _, tt := range []struct {
		name string
		err  error
		want error
	}{
		{"unknown", base(1, "lbs"), units.ErrUnit},
		{"wrong case", base(1, "KG"), units.ErrUnit},
		{"empty", base(1, ""), units.ErrUnit},
		{"one too large", base(9007199254740992, "mg"), units.ErrRange},
		{"one too small", base(-9007199254740992, "mg"), units.ErrRange},
		{"too large by its factor", base(9007200, "t"), units.ErrRange},
		{"far too large", base(math.MaxFloat64, "t"), units.ErrRange},
		{"not a number", base(math.NaN(), "kg"), units.ErrRange},
		{"infinite", base(math.Inf(-1), "kg"), units.ErrRange},
		{"infinite, unknown", base(math.Inf(1), "kilo"), units.ErrUnit},
		{"convert unknown from", convert(1, "x", "kg"), units.ErrUnit},
		{"convert unknown to", convert(1, "kg", "x"), units.ErrUnit},
		{"convert mass to volume", convert(1, "kg", "L"), units.ErrDimension},
		{"convert not a number", convert(math.NaN(), "kg", "g"), units.ErrRange},
		{"convert out of doubles", convert(math.MaxFloat64, "km", "mm"), units.ErrRange},
		{"check", units.Check("kg", units.Mass), nil},
		{"check dimension", units.Check("kg", units.Volume), units.ErrDimension},
		{"check unknown", units.Check("kilo", units.Mass), units.ErrUnit},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			if !errors.Is(tt.err, tt.want) {
				t.Errorf("got error %v, want %v", tt.err, tt.want)
			}
		})
	}
	var unknown *units.UnitError
	if err := base(1, "lbs"); !errors.As(err, &unknown) || unknown.Code != "lbs" || unknown.Nearest != "[lb_av]" {
		t.Errorf("got %#v, want the code and its nearest", unknown)
	}
	var other *units.DimensionError
	if err := convert(1, "kg", "L"); !errors.As(err, &other) || other.Got != units.Volume || other.Want != units.Mass {
		t.Errorf("got %#v, want both dimensions", other)
	}
	if got := units.FromBase(1, "lbs"); !math.IsNaN(got) {
		t.Errorf("FromBase of an unknown unit: got %v, want NaN", got)
	}
}

// One division of two rounded sides would be off in the last place here; the fraction is not.
func TestConvertRoundsOnce(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		value    float64
		from, to string
		want     float64
	}{
		{0.00007, "Pa", "[in_i'Hg]", 2.0670988310707064e-08}, // computed with fractions of whole numbers
		{123456789.123456, "[lb_av]", "[oz_av]", 1975308625.975296},
		{0.1, "m", "mm", 100},
		{1.1, "kg", "g", 1100},
	} {
		if got, err := units.Convert(tt.value, tt.from, tt.to); err != nil || got != tt.want {
			t.Errorf("Convert(%v, %q, %q): got %v, %v, want %v", tt.value, tt.from, tt.to, got, err, tt.want)
		}
	}
}

func TestTable(t *testing.T) {
	t.Parallel()
	count := 0
	for _, dim := range units.Dimensions() {
		codes := units.Codes(dim)
		if len(codes) == 0 || dim.Base() == "" {
			t.Errorf("%s: got codes %v, base %q, want some of both", dim, codes, dim.Base())
		}
		if !slices.IsSorted(codes) {
			t.Errorf("%s: codes are not sorted: %v", dim, codes)
		}
		for _, code := range codes {
			count++
			u, ok := units.Lookup(code)
			if !ok || u.Code != code || u.Dimension != dim {
				t.Errorf("Lookup(%q): got %+v, %v", code, u, ok)
			}
			if got := units.Nearest(code); got != code {
				t.Errorf("Nearest(%q): got %q, want itself", code, got)
			}
			// The base one unit makes and back: no unit lost its factor on the way into the table.
			if v, err := units.Convert(1, code, code); err != nil || v != 1 {
				t.Errorf("Convert(1, %q, itself): got %v, %v", code, v, err)
			}
		}
	}
	if count != 114 {
		t.Errorf("units: got %d, want 114 (one left out does not fit 64 bits; one more belongs into this number)", count)
	}
	if got := units.Codes("taste"); len(got) != 0 {
		t.Errorf("Codes of nothing: got %v, want none", got)
	}
	// As records.md and the drawing of quantities name them: these may never leave the table.
	for _, code := range strings.Fields("kg [lb_av] L [gal_us] m [ft_i] cm har [acr_us] Cel [degF] m/s [mi_i]/h mm W/m2 % deg L/har s h d wk") {
		if _, ok := units.Lookup(code); !ok {
			t.Errorf("Lookup(%q): not found", code)
		}
	}
}

func TestSuffix(t *testing.T) {
	t.Parallel()
	for s, want := range map[string]string{
		"kg": "kg", "g": "g", "lb": "[lb_av]", "L": "L", "l": "L", "mL": "mL", "ml": "mL", "gal": "[gal_us]", "m": "m", "cm": "cm",
		"ft": "[ft_i]", "ha": "har", "ac": "[acr_us]", "C": "Cel", "F": "[degF]", "mps": "m/s", "mph": "[mi_i]/h", "mm": "mm",
		"in": "[in_i]", "pct": "%", "deg": "deg", "oz": "[oz_av]", "t": "t", "floz": "[foz_us]", "m2": "m2", "sqft": "[sft_i]",
		"K": "K", "kmh": "km/h", "kn": "[kn_i]", "Wm2": "W/m2", "h": "h", "d": "d", "wk": "wk", "s": "s", "min": "min", "hPa": "hPa",
		"kPa": "kPa", "lha": "L/har", "mlha": "mL/har", "kgha": "kg/har", "gha": "g/har", "galac": "[gal_us]/[acr_us]",
		"ptac": "[pt_us]/[acr_us]", "qtac": "[qt_us]/[acr_us]", "flozac": "[foz_us]/[acr_us]", "lbac": "[lb_av]/[acr_us]",
		"ozac": "[oz_av]/[acr_us]", "gl": "g/L", "mll": "mL/L", "Lha": "L/har", "c": "Cel", "hpa": "hPa",
		"KG": "", "Mm": "", "M": "", "": "", "lbs": "", "[lb_av]": "", "LHA": "",
	} {
		got, ok := units.Suffix(s)
		if got != want || ok != (want != "") {
			t.Errorf("Suffix(%q): got %q, %v, want %q", s, got, ok, want)
		}
		if _, known := units.Lookup(got); ok && !known {
			t.Errorf("Suffix(%q): %q is not in the table", s, got)
		}
	}
}

func TestNearest(t *testing.T) {
	t.Parallel()
	for s, want := range map[string]string{
		"lbs": "[lb_av]", "KG": "kg", "°F": "[degF]", "acres": "[acr_us]", "lb": "[lb_av]", "Kg": "kg", "ML": "mL", "l": "L",
		"litre": "L", "gallon": "[gal_us]", "gallns": "[gal_us]", "kilogarm": "kg", "kg/ha": "kg/har", "L/ha": "L/har",
		"gal/acre": "[gal_us]/[acr_us]", "lbs per acre": "[lb_av]/[acr_us]", "fl oz/ac": "[foz_us]/[acr_us]", "degC": "Cel", "celcius": "Cel",
		"[lb]": "[lb_av]", "hectars": "har", "mph": "[mi_i]/h", "percent": "%", " kg ": "kg", "w/m2": "W/m2",
		"": "", "furlong": "", "xyzzy": "", "/": "", "☃": "", strings.Repeat("k", 100): "", "kg/kg/kg": "",
	} {
		if got := units.Nearest(s); got != want {
			t.Errorf("Nearest(%q): got %q, want %q", s, got, want)
		}
	}
}

func TestShareOut(t *testing.T) {
	t.Parallel()
	const huge = math.MaxInt64
	for _, tt := range []struct {
		name    string
		total   int64
		weights []int64
		codes   []string
		want    []int64
	}{
		{"even", 9, []int64{1, 1, 1}, []string{"a", "b", "c"}, []int64{3, 3, 3}},
		{"ties by code", 10, []int64{1, 1, 1}, []string{"c", "b", "a"}, []int64{3, 3, 4}},
		{"two left", 11, []int64{1, 1, 1}, []string{"c", "b", "a"}, []int64{3, 4, 4}},
		{"larger remainder first", 10, []int64{6, 5, 2}, []string{"a", "b", "c"}, []int64{5, 4, 1}}, // 4.62, 3.85, 1.54
		{"equal codes by place", 3, []int64{1, 1}, nil, []int64{2, 1}},
		{"a weight of nought gets nothing", 7, []int64{0, 3, 3}, []string{"a", "b", "c"}, []int64{0, 4, 3}},
		{"a weight below nought is nought", 7, []int64{-5, 3, 3}, []string{"a", "b", "c"}, []int64{0, 4, 3}},
		{"no weight at all: equal", 7, []int64{0, 0}, []string{"b", "a"}, []int64{3, 4}},
		{"below nought", -10, []int64{1, 1, 1}, []string{"a", "b", "c"}, []int64{-4, -3, -3}},
		{"nothing", 0, []int64{1, 2}, []string{"a", "b"}, []int64{0, 0}},
		{"nobody", 5, nil, nil, nil},
		{"huge weights", 10, []int64{huge, huge, huge}, []string{"c", "b", "a"}, []int64{3, 3, 4}},
		{"smallest total", math.MinInt64, []int64{1}, []string{"a"}, []int64{math.MinInt64}},
		{"largest total, huge weights", huge, []int64{huge, huge, huge, huge}, nil, []int64{huge/4 + 1, huge/4 + 1, huge/4 + 1, huge / 4}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			if got := units.ShareOut(tt.total, tt.weights, tt.codes); !slices.Equal(got, tt.want) {
				t.Errorf("got %v, want %v", got, tt.want)
			}
		})
	}
}
