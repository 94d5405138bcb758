package stations

import (
	"math"
	"math/big"
	"strconv"
	"strings"
)

// Decimals are added exactly, as they stand in the text: 1276020076.001 less 5 ends in .001, and 0.1 and 0.2 make 0.3.

// Bounds of what is worth reading exactly. Beyond them a number is no measurement, and its exact form could fill the
// memory: 1e-999999999 is short to write.
const (
	mostDigits   = 60 // of the text
	mostExponent = 60 // of ten, either way
)

// decimal reads a JSON number exactly. false: it is none, or beyond the bounds.
func decimal(text string) (*big.Rat, bool) {
	if len(text) > mostDigits {
		return nil, false
	}
	if _, exponent, ok := strings.Cut(strings.ToLower(text), "e"); ok {
		if n, err := strconv.Atoi(exponent); err != nil || n > mostExponent || n < -mostExponent {
			return nil, false
		}
	}
	return new(big.Rat).SetString(text)
}

// nearest is the double nearest to a decimal.
func nearest(r *big.Rat) float64 {
	f, _ := r.Float64()
	if f == 0 {
		return 0 // not -0
	}
	return f
}

// scaled rounds r times n to a whole number, half to even. false: too large for 64 bits.
func scaled(r *big.Rat, n int64) (int64, bool) {
	x := new(big.Rat).Mul(r, new(big.Rat).SetInt64(n))
	q, rest := new(big.Int).QuoRem(x.Num(), x.Denom(), new(big.Int))
	twice := rest.Abs(rest).Lsh(rest, 1)
	if c := twice.Cmp(x.Denom()); c > 0 || c == 0 && q.Bit(0) == 1 {
		if x.Sign() < 0 {
			q.Sub(q, big.NewInt(1))
		} else {
			q.Add(q, big.NewInt(1))
		}
	}
	if !q.IsInt64() || q.Int64() == math.MinInt64 {
		return 0, false
	}
	return q.Int64(), true
}
