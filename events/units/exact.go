package units

import (
	"math"
	"math/big"
	"math/bits"
	"strconv"
)

// MaxBase is the largest base value, and -MaxBase the smallest: 2^53-1, up to which a double holds every whole number.
const MaxBase = 1<<53 - 1

// Base returns value, in the unit code, as a whole number of the base unit of the code's dimension: the decimal that
// FormatNumber(value) shows, times the exact factor, rounded once, half to even.
//
// The error is a *UnitError for an unknown code, and a *RangeError if the result lies beyond MaxBase or value is not
// finite.
func Base(value float64, code string) (int64, error) {
	u, ok := table[code]
	if !ok {
		return 0, &UnitError{Code: code, Nearest: Nearest(code)}
	}
	m, k, ok := shortDecimal(value)
	if !ok {
		m, k, ok = longDecimal(value)
	}
	if ok {
		if n, ok := u.quickBase(m, k); ok {
			return n, nil
		}
	}
	r, ok := exactDecimal(value)
	if !ok {
		return 0, &RangeError{Value: value, Code: code}
	}
	n, ok := roundHalfEven(u.toBase(r))
	if !ok {
		return 0, &RangeError{Value: value, Code: code}
	}
	return n, nil
}

// FromBase returns a base value in the unit code: the double nearest to the exact quotient. It is NaN for an unknown
// code, which cannot happen where the code went through Lookup, Check or Base before.
func FromBase(base int64, code string) float64 {
	u, ok := table[code]
	if !ok {
		return math.NaN()
	}
	// value = (base*den - off) / num. Where both sides are whole numbers that a double holds, one division rounds once.
	if hi, lo := bits.Mul64(magnitude(base), u.den); hi == 0 && lo < 1<<52 && u.num <= 1<<53 {
		top := int64(lo)
		if base < 0 {
			top = -top
		}
		if top -= u.off; top < 1<<53 && top > -(1<<53) {
			return float64(top) / float64(u.num)
		}
	}
	f, _ := u.fromBase(new(big.Rat).SetInt64(base)).Float64()
	return f
}

// Convert returns value, in the unit from, in the unit to: the double nearest to the exact result. A value in its own
// unit comes back unchanged.
//
// The error is a *UnitError for an unknown code, a *DimensionError (Code to, Want the dimension of from) where the two
// measure different things, and a *RangeError if value or the result is not finite.
func Convert(value float64, from, to string) (float64, error) {
	f, ok := table[from]
	if !ok {
		return 0, &UnitError{Code: from, Nearest: Nearest(from)}
	}
	t, ok := table[to]
	if !ok {
		return 0, &UnitError{Code: to, Nearest: Nearest(to)}
	}
	if f.Dimension != t.Dimension {
		return 0, &DimensionError{Code: to, Got: t.Dimension, Want: f.Dimension}
	}
	if math.IsNaN(value) || math.IsInf(value, 0) {
		return 0, &RangeError{Value: value, Code: from}
	}
	if from == to {
		return value, nil
	}
	if m, k, ok := shortDecimal(value); ok {
		if v, ok := quickConvert(m, k, f, t); ok {
			return v, nil
		}
	}
	r, _ := exactDecimal(value)
	v, _ := t.fromBase(f.toBase(r)).Float64()
	if math.IsInf(v, 0) {
		return 0, &RangeError{Value: value, Code: from}
	}
	return v, nil
}

// toBase and fromBase are the whole truth about a unit; what is called quick below only gets there sooner.
func (u Unit) toBase(value *big.Rat) *big.Rat {
	r := new(big.Rat).Mul(value, new(big.Rat).SetInt(new(big.Int).SetUint64(u.num)))
	r.Add(r, new(big.Rat).SetInt64(u.off))
	return r.Quo(r, new(big.Rat).SetInt(new(big.Int).SetUint64(u.den)))
}

func (u Unit) fromBase(base *big.Rat) *big.Rat {
	r := new(big.Rat).Mul(base, new(big.Rat).SetInt(new(big.Int).SetUint64(u.den)))
	r.Sub(r, new(big.Rat).SetInt64(u.off))
	return r.Quo(r, new(big.Rat).SetInt(new(big.Int).SetUint64(u.num)))
}

// pow10f holds the powers of ten that shortDecimal tries, all exact; pow10 those that fit a word.
var (
	pow10f = [...]float64{1, 10, 100, 1000, 10000, 100000, 1000000}
	pow10  = [...]uint64{1, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18, 1e19}
)

// shortDecimal returns value as m / 10^k with the smallest k, for values of at most 15 digits of which at most 6 stand
// behind the point.
//
// Why this is the decimal of the shortest text: m and 10^k are whole numbers that a double holds, so m/10^k is the
// double nearest to that decimal; the test says it is value. Decimals of up to 15 digits survive the way to a double
// and back, so no two of them share a double, and a shorter text than this one would be a second such decimal.
func shortDecimal(value float64) (m int64, k int, ok bool) {
	for k = range pow10f {
		p := value * pow10f[k]
		if !(p < 1e15 && p > -1e15) {
			return 0, 0, false
		}
		n := math.RoundToEven(p)
		if n/pow10f[k] == value {
			return int64(n), k, true
		}
	}
	return 0, 0, false
}

// longDecimal reads the same decimal off the shortest text, for values with up to 19 places behind the point.
func longDecimal(value float64) (m int64, k int, ok bool) {
	if !(value < 1e17 && value > -1e17) {
		return 0, 0, false
	}
	var buf [32]byte
	text := strconv.AppendFloat(buf[:0], value, 'f', -1, 64)
	negative := text[0] == '-'
	if negative {
		text = text[1:]
	}
	behind := false
	for _, c := range text {
		if c == '.' {
			behind = true
			continue
		}
		if behind {
			k++
		}
		if k == len(pow10) {
			return 0, 0, false
		}
		m = m*10 + int64(c-'0') // at most 17 digits that are not zeros in front
	}
	return signed(uint64(m), negative), k, true
}

// exactDecimal returns the decimal of the shortest text of value, not ok if it is not finite.
func exactDecimal(value float64) (*big.Rat, bool) {
	if math.IsNaN(value) || math.IsInf(value, 0) {
		return nil, false
	}
	return new(big.Rat).SetString(strconv.FormatFloat(value, 'e', -1, 64))
}

// quickBase is (m*num + off*10^k) / (den*10^k) in 128 bits, not ok where that is too narrow.
func (u Unit) quickBase(m int64, k int) (int64, bool) {
	hi, lo := bits.Mul64(magnitude(m), u.num)
	negative := m < 0
	if u.off != 0 {
		over, shift := bits.Mul64(magnitude(u.off), pow10[k])
		if hi != 0 || over != 0 || lo >= 1<<62 || shift >= 1<<62 {
			return 0, false
		}
		top := signed(lo, negative) + signed(shift, u.off < 0)
		negative, lo = top < 0, magnitude(top)
	}
	over, den := bits.Mul64(u.den, pow10[k])
	if over != 0 || hi >= den {
		return 0, false
	}
	q, r := lo, uint64(0)
	if hi != 0 || den != 1 {
		q, r = bits.Div64(hi, lo, den)
	}
	// r < den, so den-r does not wrap; comparing r with it compares 2r with den without overflow.
	if rest := den - r; r > rest || r == rest && q&1 == 1 {
		q++
	}
	if q > MaxBase {
		return 0, false // the long way says so too, and such values are rare
	}
	return signed(q, negative), true
}

// quickConvert is one division of two whole numbers that doubles hold, not ok where they grow too large.
//
// base = (m*f.num + f.off*10^k) / (f.den*10^k); result = (base*t.den - t.off) / t.num.
func quickConvert(m int64, k int, f, t Unit) (float64, bool) {
	const limit = 1 << 53
	top, ok1 := mulLimit(magnitude(m), f.num)
	shift, ok2 := mulLimit(magnitude(f.off), pow10[k])
	if !ok1 || !ok2 {
		return 0, false
	}
	sum := signed(top, m < 0) + signed(shift, f.off < 0)
	top, ok1 = mulLimit(magnitude(sum), t.den)
	den, ok2 := mulLimit(f.den, pow10[k])
	if !ok1 || !ok2 {
		return 0, false
	}
	shift, ok1 = mulLimit(magnitude(t.off), den)
	den, ok2 = mulLimit(den, t.num)
	if !ok1 || !ok2 {
		return 0, false
	}
	total := signed(top, sum < 0) - signed(shift, t.off < 0)
	if total > limit || total < -limit {
		return 0, false
	}
	return float64(total) / float64(den), true
}

// mulLimit multiplies, not ok beyond 2^53.
func mulLimit(a, b uint64) (uint64, bool) {
	hi, lo := bits.Mul64(a, b)
	return lo, hi == 0 && lo <= 1<<53
}

// roundHalfEven rounds, not ok beyond MaxBase.
func roundHalfEven(r *big.Rat) (int64, bool) {
	q, rest := new(big.Int).QuoRem(r.Num(), r.Denom(), new(big.Int))
	rest.Abs(rest).Lsh(rest, 1)
	if c := rest.Cmp(r.Denom()); c > 0 || c == 0 && q.Bit(0) == 1 {
		q.Add(q, big.NewInt(int64(r.Sign())))
	}
	if !q.IsInt64() || q.Int64() > MaxBase || q.Int64() < -MaxBase {
		return 0, false
	}
	return q.Int64(), true
}

// magnitude is |n|, also of the smallest int64.
func magnitude(n int64) uint64 {
	if n < 0 {
		return -uint64(n)
	}
	return uint64(n)
}

// signed gives a magnitude its sign; the caller knows that it fits.
func signed(magnitude uint64, negative bool) int64 {
	if negative {
		return -int64(magnitude)
	}
	return int64(magnitude)
}
