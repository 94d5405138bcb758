package units

import (
	"math/big"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// No word of the tables may mean two units once its case is gone, or Suffix and Nearest would depend on the order of a
// map.
func TestWordsHaveOneMeaning(t *testing.T) {
	t.Parallel()
	seen := make(map[string]string)
	see := func(word, code string) {
		if _, ok := table[code]; !ok {
			t.Errorf("%q: code %q is not in the table", word, code)
		}
		word = strings.ToLower(word)
		if was, ok := seen[word]; ok && was != code {
			t.Errorf("%q means %q and %q", word, was, code)
		}
		seen[word] = code
	}
	for suffix, code := range suffixes {
		see(suffix, code)
	}
	for word, code := range said {
		see(word, code)
	}
	for code := range table {
		see(code, code)
	}
}

// The quick ways must give what the fractions give, or say that they cannot.
func TestQuickWays(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		dim := rapid.SampledFrom(Dimensions()).Draw(t, "dimension")
		from := table[rapid.SampledFrom(Codes(dim)).Draw(t, "from")]
		to := table[rapid.SampledFrom(Codes(dim)).Draw(t, "to")]
		m := rapid.OneOf(rapid.Int64Range(-1e17, 1e17), rapid.Int64Range(-1e6, 1e6)).Draw(t, "m")
		k := rapid.IntRange(0, len(pow10)-1).Draw(t, "k")
		value := new(big.Rat).SetFrac(big.NewInt(m), new(big.Int).SetUint64(pow10[k]))
		exact := from.toBase(value)
		if n, ok := from.quickBase(m, k); ok {
			if want, fits := roundHalfEven(exact); !fits || n != want {
				t.Fatalf("quickBase of %d/10^%d %s: got %d, want %d, %v", m, k, from.Code, n, want, fits)
			}
		}
		if v, ok := quickConvert(m, k, from, to); ok {
			if want, _ := to.fromBase(exact).Float64(); v != want {
				t.Fatalf("quickConvert of %d/10^%d %s: got %v %s, want %v", m, k, from.Code, v, to.Code, want)
			}
		}
		base := rapid.Int64Range(-MaxBase, MaxBase).Draw(t, "base")
		if want, _ := from.fromBase(new(big.Rat).SetInt64(base)).Float64(); FromBase(base, from.Code) != want {
			t.Fatalf("FromBase(%d, %s): got %v, want %v", base, from.Code, FromBase(base, from.Code), want)
		}
	})
}

// The two readers of digits must agree with the text of the standard library.
func TestDecimals(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		value := rapid.OneOf(rapid.Float64(), rapid.Float64Range(-1e17, 1e17), rapid.Float64Range(-1, 1)).Draw(t, "value")
		want, finite := exactDecimal(value)
		for name, read := range map[string]func(float64) (int64, int, bool){"short": shortDecimal, "long": longDecimal} {
			m, k, ok := read(value)
			if !ok {
				continue
			}
			got := new(big.Rat).SetFrac(big.NewInt(m), new(big.Int).SetUint64(pow10[k]))
			if !finite || got.Cmp(want) != 0 {
				t.Fatalf("%s of %v: got %d/10^%d, want %v", name, value, m, k, want)
			}
		}
	})
}
