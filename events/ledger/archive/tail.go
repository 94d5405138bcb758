package archive

import (
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
	"os"
	"path/filepath"

	"latewood/events/ledger"
)

const (
	tailMagic  = "latewood tail 1\n"
	tailHeader = len(tailMagic) + 8 + 4 // magic, index of the first record, checksum
	tailFrame  = 2 + 4                  // length, checksum
)

var castagnoli = crc32.MakeTable(crc32.Castagnoli)

var errTail = errors.New("archive: not a tail file")

// appendTailHeader begins a tail file whose first record has this index, from 0.
func appendTailHeader(dst []byte, base uint64) []byte {
	start := len(dst)
	dst = append(dst, tailMagic...)
	dst = binary.BigEndian.AppendUint64(dst, base)
	return binary.BigEndian.AppendUint32(dst, crc32.Checksum(dst[start:], castagnoli))
}

// appendFrame appends one record. The checksum is over its index as well, so that no frame can stand in another's place.
func appendFrame(dst []byte, index uint64, body []byte) []byte {
	dst = binary.BigEndian.AppendUint16(dst, uint16(len(body)))
	dst = binary.BigEndian.AppendUint32(dst, frameSum(index, body))
	return append(dst, body...)
}

func frameSum(index uint64, body []byte) uint32 {
	var b [8]byte
	binary.BigEndian.PutUint64(b[:], index)
	return crc32.Update(crc32.Checksum(b[:], castagnoli), castagnoli, body)
}

// tailBytes is a whole tail file.
func tailBytes(base uint64, bodies [][]byte) []byte {
	b := appendTailHeader(nil, base)
	for i, body := range bodies {
		b = appendFrame(b, base+uint64(i), body)
	}
	return b
}

// parseTail reads a tail file up to its first frame that is torn or damaged: the index of its first record, the records,
// and how many bytes they and the header take. The error is about the header only.
func parseTail(b []byte) (base uint64, bodies [][]byte, good int, err error) {
	if len(b) < tailHeader || string(b[:len(tailMagic)]) != tailMagic {
		return 0, nil, 0, fmt.Errorf("%w: it does not begin as one", errTail)
	}
	base = binary.BigEndian.Uint64(b[len(tailMagic):])
	if binary.BigEndian.Uint32(b[tailHeader-4:]) != crc32.Checksum(b[:tailHeader-4], castagnoli) || base%width != 0 {
		return 0, nil, 0, fmt.Errorf("%w: its beginning is damaged", errTail)
	}
	for good = tailHeader; ; {
		body, ok := frameAt(b[good:])
		if !ok || frameSum(base+uint64(len(bodies)), body) != binary.BigEndian.Uint32(b[good+2:]) {
			return base, bodies, good, nil
		}
		bodies = append(bodies, body)
		good += tailFrame + len(body)
	}
}

// frameAt cuts one frame's record off, without a look at its checksum.
func frameAt(b []byte) ([]byte, bool) {
	if len(b) < tailFrame {
		return nil, false
	}
	n := int(binary.BigEndian.Uint16(b))
	if n == 0 || len(b) < tailFrame+n {
		return nil, false
	}
	return b[tailFrame : tailFrame+n : tailFrame+n], true
}

// Salvage reads, and only reads, what can be read of an archive's tail file: also records that stand behind a damaged
// one. They come with their places, in order, with gaps where a record cannot be read. Nobody signed those behind the
// newest checkpoint; their checksums say that they are as they were written. Without a tail file it returns none.
func Salvage(dir string) ([]ledger.Entry, error) {
	b, err := os.ReadFile(filepath.Join(dir, tailName))
	if errors.Is(err, os.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("archive: reading the tail: %w", err)
	}
	base, _, _, err := parseTail(b)
	if err != nil {
		return nil, err
	}
	var out []ledger.Entry
	index := base
	for rest := b[tailHeader:]; ; index++ {
		body, ok := frameAt(rest)
		if !ok {
			return out, nil
		}
		if frameSum(index, body) == binary.BigEndian.Uint32(rest[2:]) {
			out = append(out, ledger.Entry{Place: index + 1, Kind: kindOf(body), Body: body})
		}
		rest = rest[tailFrame+len(body):]
	}
}
