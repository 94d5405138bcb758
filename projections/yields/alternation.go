package yields

import (
	"math/big"

	"latewood/events/civil"
)

// A Point is what one tree or block bore in one season, in milligrams.
type Point struct {
	Season civil.Season
	MG     int64
}

// An Index is how much a series of seasons goes up and down. Nil means that the series is too short to say.
type Index struct {
	Seasons int
	MeanKg  *float64
	// I is the mean over pairs of seasons that follow one another of |difference| / sum: 0 is even, 1 is all or nothing.
	// A pair of two zeros is missing, not 0.
	I *float64
	// B is the share of reversals: sign changes between successive differences, of all places where one could stand.
	B *float64
}

// Alternation computes the indices of a series, whose seasons rise. A season that is not there breaks the chain: it is
// not bridged.
//
// I is not the drop from a good year to a bad one, which is 2I/(1+I). Growth alone gives I above 0, with B 0: show both,
// and the number of seasons. Four seasons have 24 orders, and each order and its reverse give one I, so chance alone gives
// an I as high in at least 2 of 24 (0.083): four seasons prove nothing.
//
// Source: I from Hoblyn and others 1936 (also attributed to Pearce & Dobersek-Urbanc 1967), for one pair the same as
// Monselise & Goldschmidt 1982; B from Hoblyn; both from memory. The randomising argument is Huff 2001, J. Hort. Sci.
// Biotech. 76:534-535. Check values: facts of the project, computed.
func Alternation(points []Point) Index {
	out := Index{Seasons: len(points)}
	if len(points) == 0 {
		return out
	}
	var total int64
	var sum float64
	var terms, places, reversals int
	before := 0 // sign of the difference before, where places counts it
	chained := false
	for i, p := range points {
		total += p.MG
		if i == 0 {
			continue
		}
		last := points[i-1]
		if last.Season.Next() != p.Season || p.Season == "" {
			chained = false
			continue
		}
		d := p.MG - last.MG
		if both := p.MG + last.MG; both > 0 {
			sum += float64(max(d, -d)) / float64(both)
			terms++
		}
		sign := 0
		switch {
		case d > 0:
			sign = 1
		case d < 0:
			sign = -1
		}
		if chained {
			places++
			if sign*before < 0 {
				reversals++
			}
		}
		before, chained = sign, true
	}
	out.MeanKg = kg(total, int64(len(points)))
	if terms > 0 {
		out.I = pointer(sum / float64(terms))
	}
	if places > 0 {
		out.B = pointer(float64(reversals) / float64(places))
	}
	return out
}

func pointer[T any](v T) *T { return &v }

// kg is a sum of milligrams divided by a number of trees or seasons, in kg.
func kg(mg, by int64) *float64 { return quotient(mg, 1, 1_000_000, by) }

// quotient is whole*times over the product of the rest: the double nearest to the exact value, nil for a division by zero.
func quotient(whole, times int64, by ...int64) *float64 {
	num, den := new(big.Int).SetInt64(whole), big.NewInt(1)
	num.Mul(num, big.NewInt(times))
	for _, n := range by {
		den.Mul(den, big.NewInt(n))
	}
	if den.Sign() == 0 {
		return nil
	}
	f, _ := new(big.Rat).SetFrac(num, den).Float64()
	return &f
}
