package archive

import (
	"encoding/binary"
	"errors"
	"fmt"
	"strconv"
	"strings"

	"latewood/events/ledger"
	"latewood/events/ledger/proof"
)

const (
	// width is how many records a full bundle has, and how many hashes a full tile (C2SP tlog-tiles).
	width = 256
	// height is how many levels of the tree lie in one level of tiles: width is 1 << height.
	height = 8
	// MaxEntry is the largest record that a bundle can hold, in bytes: its length stands in two.
	MaxEntry = 65535
	// hashSize is the length of a hash in bytes.
	hashSize = len(ledger.Hash{})

	entries = -1 // the level of entry bundles

	checkpointName = "checkpoint"
	historyName    = "checkpoints"
	tailName       = "tail"
)

// EntriesPath is what the names of entry bundles begin with: the files that hold whole records.
const EntriesPath = "tile/entries/"

// A tile names one file of the tree: level 0 and up for hashes, entries for bundles of records.
type tile struct {
	level int
	n     uint64 // within the level, from 0
	w     int    // hashes or records in it, 1 to width
}

// name is the tile's path below the archive, with slashes.
func (t tile) name() string {
	level := "entries"
	if t.level != entries {
		level = strconv.Itoa(t.level)
	}
	number := fmt.Sprintf("%03d", t.n%1000)
	for n := t.n / 1000; n > 0; n /= 1000 {
		number = fmt.Sprintf("x%03d/%s", n%1000, number)
	}
	if t.w < width {
		return "tile/" + level + "/" + number + ".p/" + strconv.Itoa(t.w)
	}
	return "tile/" + level + "/" + number
}

// parseTile reads a path in the one form that name writes.
func parseTile(name string) (tile, bool) {
	parts := strings.Split(name, "/")
	if len(parts) < 3 || len(parts) > 12 || parts[0] != "tile" {
		return tile{}, false
	}
	t := tile{w: width}
	if parts[1] == "entries" {
		t.level = entries
	} else if level, err := strconv.Atoi(parts[1]); err == nil && level >= 0 && level < 8 {
		t.level = level
	} else {
		return tile{}, false
	}
	parts = parts[2:]
	if len(parts) >= 2 {
		if last, ok := strings.CutSuffix(parts[len(parts)-2], ".p"); ok {
			w, err := strconv.Atoi(parts[len(parts)-1])
			if err != nil || w < 1 || w >= width {
				return tile{}, false
			}
			t.w = w
			parts = append(parts[:len(parts)-2:len(parts)-2], last)
		}
	}
	for _, p := range parts {
		d, err := strconv.ParseUint(strings.TrimPrefix(p, "x"), 10, 64)
		if err != nil || d > 999 || t.n > proof.MaxSize/1000 {
			return tile{}, false
		}
		t.n = t.n*1000 + d
	}
	return t, t.name() == name
}

// places is the records that a tile of level 0 or a bundle holds: first and last place.
func (t tile) places() Span {
	return Span{t.n*width + 1, t.n*width + uint64(t.w)}
}

var errBundle = errors.New("archive: not a bundle of records")

// appendBundle appends records as a bundle has them: the length in two bytes, big endian, then the bytes.
func appendBundle(dst []byte, bodies [][]byte) []byte {
	for _, body := range bodies {
		dst = binary.BigEndian.AppendUint16(dst, uint16(len(body)))
		dst = append(dst, body...)
	}
	return dst
}

// parseBundle takes a bundle of w records apart. Where it is broken it gives the records before the break and an error. The
// records are slices of b that cannot grow into each other.
func parseBundle(b []byte, w int) ([][]byte, error) {
	bodies := make([][]byte, 0, w)
	for range w {
		if len(b) < 2 {
			return bodies, fmt.Errorf("%w: it ends in record %d", errBundle, len(bodies)+1)
		}
		n := int(binary.BigEndian.Uint16(b))
		b = b[2:]
		if n == 0 || n > len(b) {
			return bodies, fmt.Errorf("%w: record %d cannot have %d bytes", errBundle, len(bodies)+1, n)
		}
		bodies = append(bodies, b[:n:n])
		b = b[n:]
	}
	if len(b) > 0 {
		return bodies, fmt.Errorf("%w: %d bytes behind the last record", errBundle, len(b))
	}
	return bodies, nil
}

// parseHashes takes a tile of w hashes apart.
func parseHashes(b []byte, w int) ([]ledger.Hash, error) {
	if len(b) != w*hashSize {
		return nil, fmt.Errorf("archive: a tile of %d bytes, want %d", len(b), w*hashSize)
	}
	hashes := make([]ledger.Hash, w)
	for i := range hashes {
		copy(hashes[i][:], b[i*hashSize:])
	}
	return hashes, nil
}

func appendHashes(dst []byte, hashes []ledger.Hash) []byte {
	for i := range hashes {
		dst = append(dst, hashes[i][:]...)
	}
	return dst
}

// leavesOf hashes records.
func leavesOf(bodies [][]byte) []ledger.Hash {
	leaves := make([]ledger.Hash, len(bodies))
	for i, body := range bodies {
		leaves[i] = ledger.LeafHash(body)
	}
	return leaves
}

// fold is the root over a power of two of hashes.
func fold(hashes []ledger.Hash) ledger.Hash {
	if len(hashes) == 1 {
		return hashes[0]
	}
	var stack [width / 2]ledger.Hash
	level := stack[:len(hashes)/2]
	for i := range level {
		level[i] = proof.NodeHash(hashes[2*i], hashes[2*i+1])
	}
	for len(level) > 1 {
		for i := range len(level) / 2 {
			level[i] = proof.NodeHash(level[2*i], level[2*i+1])
		}
		level = level[:len(level)/2]
	}
	return level[0]
}

// kindOf is a record's kind without its version: the canonical envelope ends with its type. Empty if the bytes are none.
func kindOf(body []byte) string {
	const name = `,"type":"`
	rest, ok := strings.CutSuffix(string(body[max(0, len(body)-128):]), `"}`)
	i := strings.LastIndex(rest, name)
	if !ok || i < 0 {
		return ""
	}
	kind := rest[i+len(name):]
	if i = strings.LastIndex(kind, ".v"); i <= 0 {
		return ""
	}
	return kind[:i]
}
