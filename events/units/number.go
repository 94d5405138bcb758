package units

import (
	"math"
	"strconv"
)

// FormatNumber writes a finite double as ECMAScript's Number::toString does (ECMA-262, radix 10), which RFC 8785
// section 3.2.2.3 makes the only text of a number in canonical JSON: the shortest digits that read back as the same
// double; plain up to 21 digits before the point and down to 0.000001; else with an exponent ("1e+21", "1e-7"). Minus
// zero is "0".
//
// NaN and the infinities have no text in JSON: the result is "", which no JSON reader takes for a number.
func FormatNumber(f float64) string {
	var buf [32]byte
	return string(AppendNumber(buf[:0], f))
}

// AppendNumber appends FormatNumber(f) to dst and returns the longer slice.
func AppendNumber(dst []byte, f float64) []byte {
	if f == 0 {
		return append(dst, '0')
	}
	if m, k, ok := shortDecimal(f); ok {
		return appendDecimal(dst, m, k)
	}
	if math.IsNaN(f) || math.IsInf(f, 0) {
		return dst
	}
	// The names are those of ECMA-262: the value is s * 10^(n-k), and s has the k digits below.
	var buf [32]byte
	text := strconv.AppendFloat(buf[:0], f, 'e', -1, 64)
	if text[0] == '-' {
		dst = append(dst, '-')
		text = text[1:]
	}
	// text is d.ddde±dd or de±dd.
	at := len(text) - 1
	for text[at] != 'e' {
		at--
	}
	exponent := 0
	for _, c := range text[at+2:] {
		exponent = exponent*10 + int(c-'0')
	}
	if text[at+1] == '-' {
		exponent = -exponent
	}
	digits := text[:at]
	if len(digits) > 1 {
		digits[1] = digits[0] // closes the gap of the point
		digits = digits[1:]
	}
	k, n := len(digits), exponent+1
	switch {
	case k <= n && n <= 21:
		return appendZeros(append(dst, digits...), n-k)
	case 0 < n && n <= 21:
		dst = append(dst, digits[:n]...)
		return append(append(dst, '.'), digits[n:]...)
	case -6 < n && n <= 0:
		return append(appendZeros(append(dst, '0', '.'), -n), digits...)
	}
	dst = append(dst, digits[0])
	if k > 1 {
		dst = append(append(dst, '.'), digits[1:]...)
	}
	dst = append(dst, 'e')
	if n-1 > 0 {
		dst = append(dst, '+')
	}
	return strconv.AppendInt(dst, int64(n-1), 10)
}

// appendDecimal writes m / 10^k, where k is the smallest possible, so that no zero ends the fraction.
func appendDecimal(dst []byte, m int64, k int) []byte {
	if k == 0 {
		return strconv.AppendInt(dst, m, 10)
	}
	if m < 0 {
		dst = append(dst, '-')
		m = -m
	}
	whole, part := uint64(m)/pow10[k], uint64(m)%pow10[k]
	dst = strconv.AppendUint(dst, whole, 10)
	dst = append(dst, '.')
	for k--; k > 0 && part < pow10[k]; k-- {
		dst = append(dst, '0')
	}
	return strconv.AppendUint(dst, part, 10)
}

func appendZeros(dst []byte, n int) []byte {
	for ; n > 0; n-- {
		dst = append(dst, '0')
	}
	return dst
}
