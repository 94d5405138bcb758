package proof

import (
	"fmt"
	"slices"

	"golang.org/x/mod/sumdb/tlog"

	"latewood/events/ledger"
)

// A HashReader gives hashes of a tree by their stored index: index i is what StoredHashIndex of a level and a number in
// that level makes. All of one call are asked for at once.
type HashReader = tlog.HashReader

// StoredHashIndex is the stored index of the n-th hash (from 0) of a level (0: the leaves).
func StoredHashIndex(level int, n uint64) int64 { return tlog.StoredHashIndex(level, int64(n)) }

// SplitStoredHashIndex takes a stored index, which must not be negative, apart again.
func SplitStoredHashIndex(index int64) (level int, n uint64) {
	l, i := tlog.SplitStoredHashIndex(index)
	return l, uint64(i)
}

// NodeHash is the hash over two hashes: SHA-256(0x01, left, right) (RFC 6962, section 2.1).
func NodeHash(left, right ledger.Hash) ledger.Hash { return tlog.NodeHash(left, right) }

// Root is the root of the tree of a size.
func Root(size uint64, r HashReader) (ledger.Hash, error) {
	if size > MaxSize {
		return ledger.Hash{}, fmt.Errorf("%w: size %d", ErrSize, size)
	}
	return tlog.TreeHash(int64(size), r)
}

// Inclusion proves that the leaf at index (from 0) stands in the tree of a size: the hashes from the leaf's sibling up
// (RFC 6962, section 2.1.1).
func Inclusion(size, index uint64, r HashReader) ([]ledger.Hash, error) {
	if size > MaxSize || index >= size {
		return nil, fmt.Errorf("%w: index %d, size %d", ErrSize, index, size)
	}
	return tlog.ProveRecord(int64(size), int64(index), r)
}

// CheckInclusion checks a path from a leaf to the root of a tree (RFC 9162, section 2.1.3.2). The error is an
// *InclusionError, or Is ErrSize.
func CheckInclusion(t Tree, index uint64, leaf ledger.Hash, path []ledger.Hash) error {
	if t.Size > MaxSize || index >= t.Size {
		return fmt.Errorf("%w: index %d, size %d", ErrSize, index, t.Size)
	}
	if err := tlog.CheckRecord(path, int64(t.Size), t.Root, int64(index), leaf); err != nil {
		return &InclusionError{Size: t.Size, Index: index, Leaf: leaf, Root: t.Root, Path: slices.Clone(path)}
	}
	return nil
}

// Consistency proves that the tree of size old is the beginning of the one of size new (RFC 6962, section 2.1.2).
// Of one size with itself the path is empty.
func Consistency(old, new uint64, r HashReader) ([]ledger.Hash, error) {
	switch {
	case old == 0:
		return nil, ErrEmptyTree
	case new > MaxSize || old > new:
		return nil, fmt.Errorf("%w: from %d to %d", ErrSize, old, new)
	}
	return tlog.ProveTree(int64(new), int64(old), r)
}

// CheckConsistency checks a path from an older tree to a newer one (RFC 9162, section 2.1.4.2). The error is a
// *ConsistencyError, or Is ErrEmptyTree or ErrSize.
func CheckConsistency(old, new Tree, path []ledger.Hash) error {
	switch {
	case old.Size == 0:
		return ErrEmptyTree
	case new.Size > MaxSize || old.Size > new.Size:
		return fmt.Errorf("%w: from %d to %d", ErrSize, old.Size, new.Size)
	}
	if err := tlog.CheckTree(path, int64(new.Size), new.Root, int64(old.Size), old.Root); err != nil {
		return &ConsistencyError{Old: old, New: new, Path: slices.Clone(path)}
	}
	return nil
}

// Hashes keeps every hash of a tree in memory: 64 bytes a leaf. The zero value is the empty tree. It grows by one
// goroutine at a time; what is there can be read by many.
type Hashes struct {
	stored []ledger.Hash
	size   uint64
}

var _ HashReader = (*Hashes)(nil)

// Size is the number of leaves.
func (h *Hashes) Size() uint64 { return h.size }

// Append adds a leaf, given as its hash.
func (h *Hashes) Append(leaf ledger.Hash) {
	h.stored = append(h.stored, leaf)
	for level, n := 0, h.size; n&1 == 1; level, n = level+1, n>>1 {
		leaf = tlog.NodeHash(h.At(level, n-1), leaf)
		h.stored = append(h.stored, leaf)
	}
	h.size++
}

// At is the n-th hash of a level. It must be there: (n+1) << level at most Size.
func (h *Hashes) At(level int, n uint64) ledger.Hash {
	return h.stored[tlog.StoredHashIndex(level, int64(n))]
}

// ReadHashes is HashReader's.
func (h *Hashes) ReadHashes(indexes []int64) ([]ledger.Hash, error) {
	out := make([]ledger.Hash, len(indexes))
	for i, x := range indexes {
		if x < 0 || x >= int64(len(h.stored)) {
			return nil, fmt.Errorf("%w: stored hash %d of %d", ErrSize, x, len(h.stored))
		}
		out[i] = h.stored[x]
	}
	return out, nil
}
