package units_test

import (
	"math"
	"math/big"
	"strconv"
	"strings"
	"testing"

	"latewood/events/units"

	"pgregory.net/rapid"
)

// anyDouble draws from all finite doubles, and often from those that people write.
func anyDouble() *rapid.Generator[float64] {
	return rapid.OneOf(
		rapid.Custom(func(t *rapid.T) float64 {
			f := math.Float64frombits(rapid.Uint64().Draw(t, "bits"))
			if math.IsNaN(f) || math.IsInf(f, 0) {
				return 0
			}
			return f
		}),
		rapid.Custom(func(t *rapid.T) float64 {
			m := rapid.Int64Range(-1e16, 1e16).Draw(t, "digits")
			f, _ := strconv.ParseFloat(strconv.FormatInt(m, 10)+"e-"+strconv.Itoa(rapid.IntRange(0, 20).Draw(t, "decimals")), 64)
			return f
		}),
		rapid.Custom(func(t *rapid.T) float64 {
			return float64(rapid.Int64Range(-1e6, 1e6).Draw(t, "whole")) / math.Pow10(rapid.IntRange(0, 7).Draw(t, "decimals"))
		}),
	)
}

func anyCode(t *rapid.T, label string) string {
	dim := rapid.SampledFrom(units.Dimensions()).Draw(t, label+" dimension")
	return rapid.SampledFrom(units.Codes(dim)).Draw(t, label)
}

func TestNumberProperties(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		f := anyDouble().Draw(t, "f")
		text := units.FormatNumber(f)
		back, err := strconv.ParseFloat(text, 64)
		if err != nil || back != f {
			t.Fatalf("%q reads back as %v (%v), want %v", text, back, err, f)
		}
		// Shortest: as many digits as the shortest form that the standard library knows, which is another code path for
		// values with few decimals.
		digits := func(s string) string {
			s, _, _ = strings.Cut(s, "e")
			s = strings.NewReplacer("-", "", ".", "").Replace(s)
			return strings.Trim(s, "0")
		}
		if got, want := digits(text), digits(strconv.FormatFloat(f, 'e', -1, 64)); got != want {
			t.Fatalf("%q: digits %s, want %s", text, got, want)
		}
		if plain, magnitude := !strings.Contains(text, "e"), math.Abs(f); plain != (f == 0 || magnitude >= 1e-6 && magnitude < 1e21) {
			t.Fatalf("%q: plain is %v", text, plain)
		}
	})
}

// TestBaseAgainstFractions compares every way through Base with the definition in fractions, written out here again.
func TestBaseAgainstFractions(t *testing.T) {
	t.Parallel()
	factors := map[string][2]string{ // factor and shift to the base
		"kg": {"1000000", "0"}, "[lb_av]": {"453592.37", "0"}, "[oz_av]": {"28349.523125", "0"}, "[gal_us]": {"3785.411784", "0"},
		"[foz_us]": {"29.5735295625", "0"}, "[acr_us]": {"4046856422.4", "0"}, "Cel": {"1000", "0"}, "K": {"1000", "-273150"},
		"[degF]": {"5000/9", "-160000/9"}, "km/h": {"2500/9", "0"}, "har": {"10000000000", "0"}, "mm": {"1000", "0"}, "%": {"1000", "0"},
	}
	codes := []string{"kg", "[lb_av]", "[oz_av]", "[gal_us]", "[foz_us]", "[acr_us]", "Cel", "K", "[degF]", "km/h", "har", "mm", "%"}
	rapid.Check(t, func(t *rapid.T) {
		value := anyDouble().Draw(t, "value")
		code := rapid.SampledFrom(codes).Draw(t, "code")
		x, _ := new(big.Rat).SetString(units.FormatNumber(value))
		f, _ := new(big.Rat).SetString(factors[code][0])
		s, _ := new(big.Rat).SetString(factors[code][1])
		x.Add(x.Mul(x, f), s)
		got, err := units.Base(value, code)
		limit := new(big.Rat).SetInt64(units.MaxBase)
		if err != nil {
			if x.Abs(x).Cmp(limit) <= 0 {
				t.Fatalf("Base(%v, %q): %v, want a value", value, code, err)
			}
			return
		}
		// |got - x| <= 1/2, and even at exactly one half.
		diff := new(big.Rat).Sub(new(big.Rat).SetInt64(got), x)
		switch diff.Abs(diff).Cmp(big.NewRat(1, 2)) {
		case 1:
			t.Fatalf("Base(%v, %q): got %d, want within a half of %s", value, code, got, x.FloatString(3))
		case 0:
			if got%2 != 0 {
				t.Fatalf("Base(%v, %q): got %d, want the even neighbour of %s", value, code, got, x.FloatString(3))
			}
		}
	})
}

// TestConvertProperties holds Convert to coming back: two roundings are at most two units of the last place.
func TestConvertProperties(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		from := anyCode(t, "from")
		u, _ := units.Lookup(from)
		to := rapid.SampledFrom(units.Codes(u.Dimension)).Draw(t, "to")
		value := float64(rapid.Int64Range(-1e9, 1e9).Draw(t, "digits")) / math.Pow10(rapid.IntRange(0, 8).Draw(t, "decimals"))
		there, err := units.Convert(value, from, to)
		if err != nil {
			t.Fatal(err)
		}
		back, err := units.Convert(there, to, from)
		if err != nil {
			t.Fatal(err)
		}
		near := 4e-16 * math.Abs(value)
		if u.Dimension == units.Temperature {
			near += 3e-13 // the distance of the scales' origins, in units of the last place
		}
		if math.Abs(back-value) > near {
			t.Fatalf("%v %s = %v %s = %v %s, want the first again", value, from, there, to, back, from)
		}
	})
}

func TestBaseComesBack(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		code := anyCode(t, "code")
		base := rapid.Int64Range(-units.MaxBase, units.MaxBase).Draw(t, "base")
		value := units.FromBase(base, code)
		got, err := units.Base(value, code)
		if err != nil {
			// The double beside the limit may lie a little beyond it.
			if base > -units.MaxBase+4 && base < units.MaxBase-4 {
				t.Fatalf("Base(FromBase(%d, %q)): %v", base, code, err)
			}
			return
		}
		// A double has 53 bits, and so has a base: the way there and back loses at most the last place.
		if diff := got - base; diff > 1 || diff < -1 {
			t.Fatalf("Base(FromBase(%d, %q)): got %d", base, code, got)
		}
	})
}

func TestShareOutProperties(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		total := rapid.Int64().Draw(t, "total")
		weights := rapid.SliceOfN(rapid.OneOf(rapid.Int64(), rapid.Int64Range(0, 9)), 1, 8).Draw(t, "weights")
		codes := rapid.SliceOfN(rapid.SampledFrom([]string{"a", "b", "c"}), 0, 8).Draw(t, "codes")
		parts := units.ShareOut(total, weights, codes)
		sum, all := new(big.Int), new(big.Int)
		for i := range parts {
			sum.Add(sum, big.NewInt(parts[i]))
			all.Add(all, big.NewInt(max(weights[i], 0)))
		}
		if sum.Cmp(big.NewInt(total)) != 0 {
			t.Fatalf("parts %v add up to %v, want %d", parts, sum, total)
		}
		if all.Sign() == 0 {
			all.SetInt64(int64(len(weights)))
			for i := range weights {
				weights[i] = 1
			}
		}
		for i, part := range parts { // within one of the quota, on the way there
			quota := new(big.Rat).SetFrac(new(big.Int).Mul(big.NewInt(total), big.NewInt(max(weights[i], 0))), all)
			diff := quota.Sub(quota, new(big.Rat).SetInt64(part))
			if diff.Abs(diff).Cmp(big.NewRat(1, 1)) >= 0 {
				t.Fatalf("part %d of %v is %d, a whole one off its quota", i, parts, part)
			}
		}
	})
}

func FuzzNearest(f *testing.F) {
	for _, s := range []string{"lbs", "KG", "°F", "gal/ac", "\xff", "////", " per per "} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		if got := units.Nearest(s); got != "" {
			if _, ok := units.Lookup(got); !ok {
				t.Errorf("Nearest(%q): %q is not in the table", s, got)
			}
		}
	})
}
