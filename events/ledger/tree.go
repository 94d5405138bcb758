package ledger

import (
	"crypto/sha256"
	"encoding/base64"
	"encoding/binary"
	"errors"
	"fmt"
	"math/bits"
	"slices"

	"golang.org/x/mod/sumdb/tlog"
)

// A Hash is a SHA-256 hash: a leaf, a node or a root of the tree. Its text and JSON forms are padded standard base64
// (44 characters), as in a C2SP checkpoint; ParseHash reads that form back.
type Hash = tlog.Hash

// LeafHash is the hash of a record's canonical bytes as a leaf: SHA-256(0x00, body) (RFC 6962, section 2.1).
func LeafHash(body []byte) Hash { return tlog.RecordHash(body) }

// ParseHash reads a hash from its base64 form. It takes exactly one form for each hash: padded, standard alphabet, no
// line breaks, unused bits zero.
func ParseHash(text string) (Hash, error) {
	var h Hash
	// The decoder skips line breaks even when strict, so the length is checked as well.
	if len(text) != base64.StdEncoding.EncodedLen(len(h)) {
		return Hash{}, fmt.Errorf("ledger: %q is not a hash: want 44 characters of base64", text)
	}
	b, err := base64.StdEncoding.Strict().DecodeString(text)
	if err != nil || len(b) != len(h) {
		return Hash{}, fmt.Errorf("ledger: %q is not a hash: want the base64 form of 32 bytes", text)
	}
	copy(h[:], b)
	return h, nil
}

// A Frontier is a Merkle tree of which only the right edge is kept: the hashes of the largest complete subtrees, from
// left to right, one for each set bit of the size. That is enough to append leaves and to give the root, at any
// size, in at most 64 hashes. The zero value is the empty tree. A Frontier is not for use by several goroutines at once.
type Frontier struct {
	size  uint64
	nodes []Hash
}

// Size is the number of leaves, which is also the place of the last record.
func (f *Frontier) Size() uint64 { return f.size }

// Append adds a leaf, given as its leaf hash, at the right end.
func (f *Frontier) Append(leaf Hash) {
	// A new leaf completes as many subtrees as the old size has set bits at its low end, as in adding one with carry.
	h := leaf
	for range bits.TrailingZeros64(^f.size) {
		last := len(f.nodes) - 1
		h = tlog.NodeHash(f.nodes[last], h)
		f.nodes = f.nodes[:last]
	}
	f.nodes = append(f.nodes, h)
	f.size++
}

// Root is the root of the tree of the current size (RFC 6962, section 2.1); of the empty tree, SHA-256 of no bytes.
func (f *Frontier) Root() Hash {
	if len(f.nodes) == 0 {
		return sha256.Sum256(nil)
	}
	h := f.nodes[len(f.nodes)-1]
	for i := len(f.nodes) - 2; i >= 0; i-- {
		h = tlog.NodeHash(f.nodes[i], h)
	}
	return h
}

// Clone returns a copy that can grow on its own.
func (f *Frontier) Clone() *Frontier {
	return &Frontier{size: f.size, nodes: slices.Clone(f.nodes)}
}

// frontierFormat is the first byte of a stored frontier. A new layout takes a new number.
const frontierFormat = 1

var errFrontier = errors.New("ledger: not a stored frontier")

// MarshalBinary gives the frontier as bytes: format (1 byte, 1), size (8 bytes, big endian), then the hashes of the
// complete subtrees, largest first, 32 bytes each. There is exactly one form for each frontier.
func (f *Frontier) MarshalBinary() ([]byte, error) {
	b := make([]byte, 0, 9+len(f.nodes)*tlog.HashSize)
	b = append(b, frontierFormat)
	b = binary.BigEndian.AppendUint64(b, f.size)
	for _, h := range f.nodes {
		b = append(b, h[:]...)
	}
	return b, nil
}

// UnmarshalBinary takes back what MarshalBinary gave. The bytes carry no checksum: who stores a frontier compares its
// Root with one that is known from elsewhere.
func (f *Frontier) UnmarshalBinary(data []byte) error {
	if len(data) < 9 || data[0] != frontierFormat {
		return errFrontier
	}
	size := binary.BigEndian.Uint64(data[1:9])
	data = data[9:]
	if want := bits.OnesCount64(size) * tlog.HashSize; len(data) != want {
		return fmt.Errorf("%w: size %d takes %d bytes of hashes, found %d", errFrontier, size, want, len(data))
	}
	nodes := make([]Hash, 0, len(data)/tlog.HashSize)
	for ; len(data) > 0; data = data[tlog.HashSize:] {
		nodes = append(nodes, Hash(data[:tlog.HashSize]))
	}
	f.size, f.nodes = size, nodes
	return nil
}
