package proof_test

import (
	"encoding/hex"
	"errors"
	"fmt"
	"slices"
	"testing"

	merkle "github.com/transparency-dev/merkle/proof"
	"github.com/transparency-dev/merkle/rfc6962"
	"github.com/transparency-dev/merkle/testonly"

	"latewood/events/ledger"
	"latewood/events/ledger/proof"
)

func unhex(t testing.TB, s string) []byte {
	t.Helper()
	b, err := hex.DecodeString(s)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// Source: transparency-dev/merkle, rfc6962/rfc6962_test.go.
func TestHashesPublished(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		name string
		got  ledger.Hash
		want string
	}{
		{"empty tree", rootOf(t, &proof.Hashes{}, 0), "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"},
		{"leaf of nothing", ledger.LeafHash(nil), "6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d"},
		{"leaf L123456", ledger.LeafHash([]byte("L123456")), "395aa064aa4c29f7010acfe3f25db9485bbd4b91897b6ad7ad547639252b4d56"},
	} {
		if got := hex.EncodeToString(tt.got[:]); got != tt.want {
			t.Errorf("%s: got %s, want %s", tt.name, got, tt.want)
		}
	}
	// That test hashes N123 and N456 as they are, without hashing them to 32 bytes first, so ours is held against the same
	// construction: SHA-256(0x01, left, right).
	want := rfc6962.DefaultHasher.HashChildren(unhex(t, "6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d"),
		unhex(t, "395aa064aa4c29f7010acfe3f25db9485bbd4b91897b6ad7ad547639252b4d56"))
	got := proof.NodeHash(ledger.LeafHash(nil), ledger.LeafHash([]byte("L123456")))
	if !slices.Equal(got[:], want) {
		t.Errorf("node: got %x, want %x", got, want)
	}
	if got, want := hex.EncodeToString(rfc6962.DefaultHasher.HashChildren([]byte("N123"), []byte("N456"))),
		"aa217fe888e47007fa15edab33c2b492a722cb106c64667fc2b044444de66bbb"; got != want {
		t.Errorf("node N123, N456 by the oracle: got %s, want %s", got, want)
	}
}

// Leaves and roots: transparency-dev/merkle, testonly/constants.go. Paths: the same repository, testdata/.
var (
	publishedLeaves = []string{"", "00", "10", "2021", "3031", "40414243", "5051525354555657", "606162636465666768696a6b6c6d6e6f"}
	publishedRoots  = []string{
		"6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
		"fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125",
		"aeb6bcfe274b70a14fb067a5e5578264db0fa9b51af5e0ba159158f329e06e77",
		"d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
		"4e3bbb1f7b478dcfe71fb631631519a3bca12c9aefca1612bfce4c13a86264d4",
		"76e67dadbcdf1e10e1b74ddc608abd2f98dfb16fbce75277b5232a127f2087ef",
		"ddb89be403809e325750d3d263cd78929c2942b7942a34b77e122c9594a74c8c",
		"5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328",
	}
)

func TestPathsPublished(t *testing.T) {
	t.Parallel()
	var h proof.Hashes
	for i, leaf := range publishedLeaves {
		h.Append(ledger.LeafHash(unhex(t, leaf)))
		root := rootOf(t, &h, uint64(i+1))
		if got := hex.EncodeToString(root[:]); got != publishedRoots[i] {
			t.Errorf("root of size %d: got %s, want %s", i+1, got, publishedRoots[i])
		}
	}
	for _, tt := range []struct {
		name     string
		old, new uint64 // of a consistency; of an inclusion old is the index
		included bool
		leaf     string
		want     []string
	}{
		{"inclusion 5 in 8", 5, 8, true, "QnGia+DYqE8L1UyMMC58s6O10fpngKQLzOKHNHfatlg=", []string{
			"vBoGQ7EuTS18d5GPROD095qDi2z57FtcKD4fTYhZnms=", "yoVOoSjtBQtBs1/8G4e46yveRh6eO1WW7Oa51ZdaCuA=", "037kGJdt2VdTwcc4Yrk5j6Kiz5tP8P3+izDNlSCWFLc="}},
		{"inclusion 2 in 3", 2, 3, true, "ApjRIpBtz8EIkstTpzmS/FufST6kybrbJ7eRtBJ6f+c=", []string{
			"+sVCA+fMaWzw38tCySodnbr3CtnmIfS9jZhmLwDjwSU="}},
		{"inclusion 1 in 5", 1, 5, true, "", []string{
			"bjQLnP+zepicpUTmu3gKLHiQHT+zNzh2hRGjBhevoB0=", "Xwg/ChozygdqlSeYMlgNs+DvRYS9/x9UyKNg9Q3jAx4=", "vBoGQ7EuTS18d5GPROD095qDi2z57FtcKD4fTYhZnms="}},
		{"consistency 6 to 8", 6, 8, false, "", []string{
			"DrxdNDf74tsVi58Sah0RjjCBgQMdCpSfje3t68VY72o=", "yoVOoSjtBQtBs1/8G4e46yveRh6eO1WW7Oa51ZdaCuA=", "037kGJdt2VdTwcc4Yrk5j6Kiz5tP8P3+izDNlSCWFLc="}},
		{"consistency 2 to 5", 2, 5, false, "", []string{
			"Xwg/ChozygdqlSeYMlgNs+DvRYS9/x9UyKNg9Q3jAx4=", "vBoGQ7EuTS18d5GPROD095qDi2z57FtcKD4fTYhZnms="}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			var path []ledger.Hash
			var err, check error
			now := proof.Tree{Size: tt.new, Root: rootOf(t, &h, tt.new)}
			if tt.included {
				leaf := ledger.LeafHash(unhex(t, publishedLeaves[tt.old]))
				if tt.leaf != "" && leaf.String() != tt.leaf {
					t.Errorf("leaf: got %v, want %s", leaf, tt.leaf)
				}
				path, err = proof.Inclusion(tt.new, tt.old, &h)
				check = proof.CheckInclusion(now, tt.old, leaf, path)
			} else {
				path, err = proof.Consistency(tt.old, tt.new, &h)
				check = proof.CheckConsistency(proof.Tree{Size: tt.old, Root: rootOf(t, &h, tt.old)}, now, path)
			}
			var got []string
			for _, p := range path {
				got = append(got, p.String())
			}
			if err != nil || check != nil || !slices.Equal(got, tt.want) {
				t.Errorf("got %q, %v, %v, want %q", got, err, check, tt.want)
			}
		})
	}
}

// An oracle is the tree of transparency-dev/merkle v0.0.2, which makes and checks proofs in another way.
type oracle struct{ *testonly.Tree }

func newOracle(size uint64) oracle {
	o := oracle{testonly.New(rfc6962.DefaultHasher)}
	for n := range size {
		o.AppendData(body(n))
	}
	return o
}

func raw(path []ledger.Hash) [][]byte {
	out := make([][]byte, len(path))
	for i := range path {
		out[i] = path[i][:]
	}
	return out
}

func samePath(path []ledger.Hash, want [][]byte) bool {
	return slices.EqualFunc(path, want, func(a ledger.Hash, b []byte) bool { return slices.Equal(a[:], b) })
}

// counts is what TestAllSizes did.
type counts struct{ inclusion, consistency, refused, shape int }

func (c *counts) add(o counts) {
	c.inclusion += o.inclusion
	c.consistency += o.consistency
	c.refused += o.refused
	c.shape += o.shape
}

// TestAllSizes makes every proof of every tree of 1 to 300 leaves, compares it with the oracle's, and changes it in every
// way: one bit of each hash, the leaf, the roots, the size, the index, the order. By default it takes the sizes around
// powers of two, with LATEWOOD_PROOF=1 all.
//
// A changed size is special: where the path keeps its shape, RFC 9162's check cannot tell the sizes apart if the root stays
// the same, and no checker can. There the oracle's verdict must be ours; that the file is refused all the same, by its
// signature, is in TestFileChanged.
func TestAllSizes(t *testing.T) {
	t.Parallel()
	const most = 300
	h, o := grow(most), newOracle(most)
	var roots []ledger.Hash
	for size := range uint64(most + 1) {
		roots = append(roots, rootOf(t, h, size))
		if want := o.HashAt(size); !slices.Equal(roots[size][:], want) {
			t.Fatalf("root of size %d: got %x, want %x", size, roots[size], want)
		}
	}
	total := make(chan counts, most)
	t.Run("sizes", func(t *testing.T) {
		for size := uint64(1); size <= most; size++ {
			if !full && !slices.Contains([]uint64{1, 2, 3, 4, 5, 7, 8, 9, 13, 31, 33, 64, 100, 255, 256, 257, 300}, size) {
				continue
			}
			t.Run(fmt.Sprint(size), func(t *testing.T) {
				t.Parallel()
				w := walker{t: t, h: h, o: o, roots: roots, size: size}
				for n := range size {
					w.inclusion(n)
					w.consistency(n + 1)
				}
				total <- w.counts
			})
		}
	})
	close(total)
	var sum counts
	for c := range total {
		sum.add(c)
	}
	t.Logf("counts: %d inclusion and %d consistency proofs equal to the oracle's; %d changed ones refused; %d changed sizes keep the shape of the path, judged as the oracle does",
		sum.inclusion, sum.consistency, sum.refused, sum.shape)
}

type walker struct {
	t     *testing.T
	h     *proof.Hashes
	o     oracle
	roots []ledger.Hash
	size  uint64
	counts
}

func (w *walker) refuse(err error, what string, args ...any) {
	w.refused++
	if err == nil {
		w.t.Errorf("size %d: %s: got it taken, want it refused", w.size, fmt.Sprintf(what, args...))
	}
}

func (w *walker) inclusion(n uint64) {
	path, err := proof.Inclusion(w.size, n, w.h)
	want, oerr := w.o.InclusionProof(n, w.size)
	if err != nil || oerr != nil || !samePath(path, want) {
		w.t.Errorf("inclusion %d in %d: got %v, %v, want %v, %v", n, w.size, path, err, want, oerr)
		return
	}
	w.counts.inclusion++
	tree, leaf := proof.Tree{Size: w.size, Root: w.roots[w.size]}, ledger.LeafHash(body(n))
	if err := proof.CheckInclusion(tree, n, leaf, path); err != nil {
		w.t.Errorf("inclusion %d in %d: %v", n, w.size, err)
	}
	bit := int(n) % 256 // another bit in each proof; in the full run every bit of every hash
	for _, bit := range bits(bit) {
		for i := range path {
			w.refuse(proof.CheckInclusion(tree, n, leaf, flipped(path, i, bit)), "inclusion %d, bit %d of hash %d", n, bit, i)
		}
		w.refuse(proof.CheckInclusion(tree, n, flip(leaf, bit), path), "inclusion %d, bit %d of the leaf", n, bit)
		w.refuse(proof.CheckInclusion(proof.Tree{Size: w.size, Root: flip(tree.Root, bit)}, n, leaf, path), "inclusion %d, bit %d of the root", n, bit)
	}
	for _, m := range w.others(n, w.size-1) {
		w.refuse(proof.CheckInclusion(tree, m, leaf, path), "inclusion %d as %d", n, m)
	}
	w.refuse(proof.CheckInclusion(tree, w.size, leaf, path), "inclusion %d as the size", n)
	for i := 1; i < len(path); i++ {
		swapped := slices.Clone(path)
		swapped[i-1], swapped[i] = swapped[i], swapped[i-1]
		w.refuse(proof.CheckInclusion(tree, n, leaf, swapped), "inclusion %d, hashes %d and %d swapped", n, i-1, i)
	}
	if len(path) > 0 {
		w.refuse(proof.CheckInclusion(tree, n, leaf, path[1:]), "inclusion %d, one hash less", n)
	}
	w.refuse(proof.CheckInclusion(tree, n, leaf, append(slices.Clone(path), leaf)), "inclusion %d, one hash more", n)
	for _, s := range w.others(w.size, uint64(len(w.roots)-1)) {
		// With the root that size really has, and with the root left as it is.
		w.refuse(proof.CheckInclusion(proof.Tree{Size: s, Root: w.roots[s]}, n, leaf, path), "inclusion %d as of size %d", n, s)
		got := proof.CheckInclusion(proof.Tree{Size: s, Root: tree.Root}, n, leaf, path)
		want := merkle.VerifyInclusion(rfc6962.DefaultHasher, n, s, leaf[:], raw(path), tree.Root[:])
		if (got == nil) != (want == nil) {
			w.t.Errorf("inclusion %d of size %d, size said to be %d: got %v, want %v", n, w.size, s, got, want)
		}
		if got == nil {
			w.shape++
		} else {
			w.refused++
		}
	}
}

func (w *walker) consistency(old uint64) {
	path, err := proof.Consistency(old, w.size, w.h)
	want, oerr := w.o.ConsistencyProof(old, w.size)
	if err != nil || oerr != nil || !samePath(path, want) {
		w.t.Errorf("consistency %d to %d: got %v, %v, want %v, %v", old, w.size, path, err, want, oerr)
		return
	}
	w.counts.consistency++
	was, now := proof.Tree{Size: old, Root: w.roots[old]}, proof.Tree{Size: w.size, Root: w.roots[w.size]}
	if err := proof.CheckConsistency(was, now, path); err != nil {
		w.t.Errorf("consistency %d to %d: %v", old, w.size, err)
	}
	for _, bit := range bits(int(old) % 256) {
		for i := range path {
			w.refuse(proof.CheckConsistency(was, now, flipped(path, i, bit)), "consistency from %d, bit %d of hash %d", old, bit, i)
		}
		w.refuse(proof.CheckConsistency(proof.Tree{Size: old, Root: flip(was.Root, bit)}, now, path), "consistency from %d, bit %d of the old root", old, bit)
		w.refuse(proof.CheckConsistency(was, proof.Tree{Size: w.size, Root: flip(now.Root, bit)}, path), "consistency from %d, bit %d of the new root", old, bit)
	}
	for i := 1; i < len(path); i++ {
		swapped := slices.Clone(path)
		swapped[i-1], swapped[i] = swapped[i], swapped[i-1]
		w.refuse(proof.CheckConsistency(was, now, swapped), "consistency from %d, hashes %d and %d swapped", old, i-1, i)
	}
	if len(path) > 0 {
		w.refuse(proof.CheckConsistency(was, now, path[1:]), "consistency from %d, one hash less", old)
	}
	w.refuse(proof.CheckConsistency(was, now, append(slices.Clone(path), was.Root)), "consistency from %d, one hash more", old)
	w.refuse(proof.CheckConsistency(proof.Tree{Root: was.Root}, now, path), "consistency from %d as from 0", old)
	for _, s := range w.others(old, w.size) {
		w.refuse(proof.CheckConsistency(proof.Tree{Size: s, Root: was.Root}, now, path), "consistency from %d as from %d", old, s)
	}
	for _, s := range w.others(w.size, uint64(len(w.roots)-1)) {
		if s < old {
			continue
		}
		w.refuse(proof.CheckConsistency(was, proof.Tree{Size: s, Root: w.roots[s]}, path), "consistency from %d as to %d", old, s)
		got := proof.CheckConsistency(was, proof.Tree{Size: s, Root: now.Root}, path)
		want := merkle.VerifyConsistency(rfc6962.DefaultHasher, old, s, raw(path), was.Root[:], now.Root[:])
		if (got == nil) != (want == nil) {
			w.t.Errorf("consistency %d to %d, said to be to %d: got %v, want %v", old, w.size, s, got, want)
		}
		if got == nil {
			w.shape++
		} else {
			w.refused++
		}
	}
}

// others gives other numbers from 1 (0 for an index is always among them) to most: neighbours and powers of two by
// default, all in the full run.
func (w *walker) others(n, most uint64) []uint64 {
	var out []uint64
	for m := uint64(0); m <= most; m++ {
		if m == n || m == 0 && most > w.size {
			continue
		}
		if full || m == 0 || m+1 == n || m == n+1 || m == most || m&(m-1) == 0 {
			out = append(out, m)
		}
	}
	return out
}

// bits gives the bits to flip: eight of each hash in the full run.
func bits(one int) []int {
	if !full {
		return []int{one}
	}
	var all []int
	for b := one % 32; b < 256; b += 32 {
		all = append(all, b)
	}
	return all
}

func flip(h ledger.Hash, bit int) ledger.Hash {
	h[bit/8] ^= 1 << (bit % 8)
	return h
}

func flipped(path []ledger.Hash, i, bit int) []ledger.Hash {
	path = slices.Clone(path)
	path[i] = flip(path[i], bit)
	return path
}

func TestPathsOutside(t *testing.T) {
	t.Parallel()
	h := grow(8)
	at := func(size uint64) proof.Tree { return proof.Tree{Size: size, Root: rootOf(t, h, size)} }
	_, e1 := proof.Consistency(0, 8, h)
	_, e2 := proof.Inclusion(8, 8, h)
	_, e3 := proof.Inclusion(1<<62, 0, h)
	_, e4 := proof.Consistency(5, 4, h)
	_, e5 := proof.Root(proof.MaxSize+1, h)
	_, e6 := proof.Root(9, h)
	var included *proof.InclusionError
	var grown *proof.ConsistencyError
	for _, tt := range []struct {
		name string
		got  error
		want error
	}{
		{"consistency from 0 made", e1, proof.ErrEmptyTree},
		{"consistency from 0 checked", proof.CheckConsistency(proof.Tree{}, at(8), nil), proof.ErrEmptyTree},
		{"index at the size", e2, proof.ErrSize},
		{"size beyond all", e3, proof.ErrSize},
		{"back in time made", e4, proof.ErrSize},
		{"back in time checked", proof.CheckConsistency(at(5), at(4), nil), proof.ErrSize},
		{"root beyond all", e5, proof.ErrSize},
		{"root of what is not there", e6, proof.ErrSize},
		{"huge size checked", proof.CheckInclusion(proof.Tree{Size: 1 << 63}, 0, ledger.Hash{}, nil), proof.ErrSize},
		{"huge growth checked", proof.CheckConsistency(at(1), proof.Tree{Size: 1 << 63}, nil), proof.ErrSize},
	} {
		if !errors.Is(tt.got, tt.want) {
			t.Errorf("%s: got %v, want %v", tt.name, tt.got, tt.want)
		}
	}
	path, err := proof.Inclusion(8, 3, h)
	if err != nil {
		t.Fatal(err)
	}
	if err := proof.CheckInclusion(at(8), 4, ledger.LeafHash(body(3)), path); !errors.As(err, &included) || included.Index != 4 || len(included.Path) != 3 {
		t.Errorf("the evidence of an inclusion: got %v", err)
	}
	if err := proof.CheckConsistency(at(4), proof.Tree{Size: 8, Root: at(7).Root}, path); !errors.As(err, &grown) || grown.Old != at(4) {
		t.Errorf("the evidence of a consistency: got %v", err)
	}
	same, err := proof.Consistency(8, 8, h)
	if err != nil || len(same) != 0 || proof.CheckConsistency(at(8), at(8), same) != nil {
		t.Errorf("from 8 to 8: got %v, %v, want an empty path that holds", same, err)
	}
	if proof.CheckConsistency(at(8), proof.Tree{Size: 8, Root: at(7).Root}, nil) == nil {
		t.Error("two roots of one size are taken")
	}
	level, n := proof.SplitStoredHashIndex(proof.StoredHashIndex(3, 5))
	if level != 3 || n != 5 {
		t.Errorf("stored index of level 3, 5: got back %d, %d", level, n)
	}
}

func BenchmarkInclusion(b *testing.B) {
	h := grow(1_000_000)
	t := proof.Tree{Size: h.Size(), Root: rootOf(b, h, h.Size())}
	leaf := ledger.LeafHash(body(777_777))
	path, err := proof.Inclusion(h.Size(), 777_777, h)
	if err != nil {
		b.Fatal(err)
	}
	b.Run("make", func(b *testing.B) {
		for b.Loop() {
			proof.Inclusion(h.Size(), 777_777, h)
		}
	})
	b.Run("check", func(b *testing.B) {
		for b.Loop() {
			if proof.CheckInclusion(t, 777_777, leaf, path) != nil {
				b.Fatal("refused")
			}
		}
	})
}
