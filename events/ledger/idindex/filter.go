package idindex

import "math/bits"

// A Bloom filter says of an id "certainly not here" or "maybe here". Which bits an id sets is part of the file format.

const (
	bitsPerID = 10
	probes    = 7 // 0.69 times bitsPerID makes the fewest false answers (B. Bloom, CACM 13 (1970) 422)
)

// filter is the bit array, 64 bits a word. Its length is a whole number of words and at least one.
type filter []uint64

func newFilter(ids int) filter {
	return make(filter, max((ids*bitsPerID+63)/64, 1))
}

// hash is what an id contributes: where its probes begin, and how far apart they are.
type hash struct{ at, step uint64 }

// hashID spreads the bits of an id. The ids of one day have the same first half, so both halves are stirred. The
// constants are those of the SplitMix64 finisher (Steele, Lea, Flood, OOPSLA 2014).
func hashID(id ID) hash {
	stir := func(x uint64) uint64 {
		x = (x ^ x>>30) * 0xbf58476d1ce4e5b9
		x = (x ^ x>>27) * 0x94d049bb133111eb
		return x ^ x>>31
	}
	hi, lo := be64(id[:8]), be64(id[8:])
	at := stir(lo + stir(hi+0x9e3779b97f4a7c15))
	return hash{at, stir(at) | 1}
}

// bit is the position of probe i, spread over the filter by multiplication instead of division (D. Lemire, 2016).
func (f filter) bit(h hash, i uint64) (word uint64, mask uint64) {
	pos, _ := bits.Mul64(h.at+i*h.step, uint64(len(f))*64)
	return pos / 64, 1 << (pos % 64)
}

func (f filter) add(h hash) {
	for i := range uint64(probes) {
		w, m := f.bit(h, i)
		f[w] |= m
	}
}

func (f filter) has(h hash) bool {
	for i := range uint64(probes) {
		if w, m := f.bit(h, i); f[w]&m == 0 {
			return false
		}
	}
	return true
}
