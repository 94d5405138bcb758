package units

import (
	"cmp"
	"math/big"
	"math/bits"
	"slices"
)

// ShareOut splits total over the weights by largest remainder: each part gets its quota rounded down, and what is left
// goes, one each, to the parts with the largest remainders; of equal remainders the lower code comes first, of equal
// codes the earlier part. The parts always add up to total. A pick of 10,001 mg over three trees of equal weight is
// 3334, 3334, 3333.
//
// codes names the parts in the order of weights; a missing code counts as "". A negative weight counts as 0. If no
// weight is above 0, the parts are equal. A negative total is split like the positive one, with the sign changed. No
// weights give no parts: the only case in which nothing adds up to total.
func ShareOut(total int64, weights []int64, codes []string) []int64 {
	if len(weights) == 0 {
		return nil
	}
	parts := make([]int64, len(weights))
	remainders := make([]uint64, len(weights))
	left := magnitude(total)

	weigh := func(i int) uint64 { return uint64(max(weights[i], 0)) }
	sum, overflow := addUp(len(weights), weigh)
	if sum == 0 && !overflow {
		weigh = func(int) uint64 { return 1 }
		sum = uint64(len(weights))
	}
	if overflow {
		left = shareOutBig(magnitude(total), weights, parts, remainders)
	} else {
		for i := range weights {
			hi, lo := bits.Mul64(magnitude(total), weigh(i)) // below total*sum, so the quotient fits
			q, r := bits.Div64(hi, lo, sum)
			parts[i], remainders[i] = int64(q), r
			left -= q
		}
	}

	if left > 0 {
		order := make([]int, len(weights))
		for i := range order {
			order[i] = i
		}
		slices.SortStableFunc(order, func(a, b int) int {
			return cmp.Or(cmp.Compare(remainders[b], remainders[a]), cmp.Compare(codeOf(codes, a), codeOf(codes, b)))
		})
		for _, i := range order[:left] {
			parts[i]++
		}
	}
	if total < 0 {
		for i := range parts {
			parts[i] = -parts[i]
		}
	}
	return parts
}

// shareOutBig is the same division for weights whose sum does not fit 64 bits. Remainders are replaced by their rank,
// which is all that the order needs.
func shareOutBig(total uint64, weights []int64, parts []int64, ranks []uint64) (left uint64) {
	sum := new(big.Int)
	for _, w := range weights {
		sum.Add(sum, big.NewInt(max(w, 0)))
	}
	left = total
	rests := make([]*big.Int, len(weights))
	for i, w := range weights {
		q := new(big.Int).Mul(new(big.Int).SetUint64(total), big.NewInt(max(w, 0)))
		rests[i] = new(big.Int)
		q.QuoRem(q, sum, rests[i])
		parts[i] = int64(q.Uint64())
		left -= q.Uint64()
	}
	sorted := slices.Clone(rests)
	slices.SortFunc(sorted, (*big.Int).Cmp)
	for i, rest := range rests {
		at, _ := slices.BinarySearchFunc(sorted, rest, (*big.Int).Cmp)
		ranks[i] = uint64(at)
	}
	return left
}

func addUp(n int, weigh func(int) uint64) (sum uint64, overflow bool) {
	for i := range n {
		s, carry := bits.Add64(sum, weigh(i), 0)
		if carry != 0 {
			return 0, true
		}
		sum = s
	}
	return sum, false
}

func codeOf(codes []string, i int) string {
	if i < len(codes) {
		return codes[i]
	}
	return ""
}
