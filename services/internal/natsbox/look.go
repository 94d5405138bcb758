package natsbox

import (
	"bytes"
	"cmp"
	"context"
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"fmt"
	"hash"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"github.com/minio/highwayhash"

	"latewood/events/ledger"
)

// The layout of a block file of nats-server 2.15.2 (filestore.go, rebuildStateFromBufLocked), uncompressed and unencrypted,
// as the ledger's stream is. A record is
//
//	length of all (4 bytes, little endian; the top bit says that there are headers), sequence (8), time (8), length of subject (2)
//	subject; with headers, their length (4) and they; body; checksum (8)
//
// The checksum is HighwayHash-64 over sequence, time, length of subject, subject, headers and body, with the key
// SHA-256(STREAM-BLOCK). The layout is the server's own affair, so it is used for looking only, and TestLook holds it
// against what the server of this version writes.
const (
	blockHeader  = 22
	blockSum     = 8
	blockMost    = 32 << 20 // bytes of a record that the server takes for one
	blockHeaders = 1 << 31  // in the length
	blockNotes   = 3 << 62  // in the sequence: erased, or a mark of an erased one
)

// headersEnd ends the headers of a message, and stands nowhere inside them.
var headersEnd = []byte("\r\n\r\n")

// A Spot is a place in a block file where no record can be read.
type Spot struct {
	File   string // its path
	Offset int64
	After  uint64 // the last place that could be read before it, 0 if none
	// Torn says that the file ends in the middle of a record, or in zeros: what a power cut leaves of a record that nobody was
	// told of. Everything else is damage.
	Torn bool
}

// A Look is what the files of a stopped broker hold of a ledger.
type Look struct {
	There       bool   // the broker has a ledger of this farm
	Settings    bool   // its settings are as their checksum says; else the broker would not know it any more
	First, Last uint64 // the places that were read, 0 if none
	Records     int
	Spots       []Spot
	Gaps        [][2]uint64 // places from and to that are missing between records that were read, in order
}

// StreamDir is the folder in which a broker keeps the ledger of a farm.
func StreamDir(dir, farm string) string {
	return filepath.Join(dir, "jetstream", ledgerAccount, "streams", "LATEWOOD_"+farm)
}

// Ledgers lists the farms of which a broker keeps a ledger, whole or half made, from the files.
func Ledgers(dir string) ([]string, error) {
	entries, err := os.ReadDir(filepath.Dir(StreamDir(dir, "")))
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return nil, folderError(dir, "reading", err)
	}
	var out []string
	for _, e := range entries {
		if farm, ok := strings.CutPrefix(e.Name(), "LATEWOOD_"); ok && e.IsDir() {
			out = append(out, farm)
		}
	}
	return out, nil
}

// LookAt reads the ledger of a farm out of the files of a broker, and only reads: nothing is opened for writing, and no
// server runs. It hands every record behind a place to f, in order, with its checksum checked, also those behind a damaged
// one, and says where none can be read. Blocks that hold nothing behind that place are left out where their beginnings say so.
// It may be called while a broker runs on the folder, for places that are acknowledged. The error is about reading, f's, or
// ctx's.
func LookAt(ctx context.Context, dir, farm string, after uint64, f func(ledger.Entry) error) (Look, error) {
	var l Look
	msgs := filepath.Join(StreamDir(dir, farm), "msgs")
	names, err := os.ReadDir(msgs)
	if errors.Is(err, fs.ErrNotExist) {
		return l, nil
	}
	if err != nil {
		return l, folderError(dir, "reading", err)
	}
	l.There = true
	if l.Settings, err = settingsFit(StreamDir(dir, farm)); err != nil {
		return l, folderError(dir, "reading", err)
	}
	type block struct {
		index uint64
		path  string
		first uint64 // sequence in its first header, not checked
	}
	var blocks []block
	for _, n := range names {
		if text, ok := strings.CutSuffix(n.Name(), ".blk"); ok {
			if i, err := strconv.ParseUint(text, 10, 32); err == nil {
				path := filepath.Join(msgs, n.Name())
				blocks = append(blocks, block{i, path, firstSequence(path)})
			}
		}
	}
	slices.SortFunc(blocks, func(a, b block) int { return cmp.Compare(a.index, b.index) })
	from := 0
	for i, b := range blocks {
		// A damaged beginning only makes us read more.
		if b.first > 0 && b.first <= after+1 && (i == 0 || blocks[i-1].first < b.first) {
			from = i
		}
	}
	prefix := []byte("latewood." + farm + ".")
	for i, b := range blocks[from:] {
		if err := ctx.Err(); err != nil {
			return l, err
		}
		content, err := os.ReadFile(b.path)
		if err != nil {
			return l, folderError(dir, "reading", err)
		}
		key := sha256.Sum256(fmt.Appendf(nil, "LATEWOOD_%s-%d", farm, b.index))
		sum, err := highwayhash.NewDigest64(key[:])
		if err != nil {
			return l, fmt.Errorf("natsbox: looking at %s: %w", b.path, err)
		}
		s := blockScan{content: content, sum: sum, prefix: prefix, look: &l, path: b.path, last: from+i == len(blocks)-1}
		if err := s.run(after, f); err != nil {
			return l, err
		}
	}
	return l, nil
}

// settingsFit holds the settings of a stream against their checksum, as the server does when it opens them: HighwayHash-64 with
// the key SHA-256(STREAM), in hex (nats-server 2.15.2, jetstream.go, EnableJetStream's recovery).
func settingsFit(stream string) (bool, error) {
	settings, err := os.ReadFile(filepath.Join(stream, "meta.inf"))
	if errors.Is(err, fs.ErrNotExist) {
		return false, nil
	}
	if err != nil {
		return false, err
	}
	want, err := os.ReadFile(filepath.Join(stream, "meta.sum"))
	if errors.Is(err, fs.ErrNotExist) {
		return false, nil
	}
	if err != nil {
		return false, err
	}
	key := sha256.Sum256([]byte(filepath.Base(stream)))
	sum, err := highwayhash.NewDigest64(key[:])
	if err != nil {
		return false, err
	}
	sum.Write(settings)
	return hex.EncodeToString(sum.Sum(nil)) == string(want), nil
}

// firstSequence is what the first header of a block says, 0 if it has none.
func firstSequence(path string) uint64 {
	f, err := os.Open(path)
	if err != nil {
		return 0
	}
	defer f.Close()
	var h [blockHeader]byte
	if _, err := f.ReadAt(h[:], 0); err != nil {
		return 0
	}
	return binary.LittleEndian.Uint64(h[4:]) &^ blockNotes
}

type blockScan struct {
	content []byte
	sum     hash.Hash64
	prefix  []byte
	look    *Look
	path    string
	last    bool // no block follows
}

func (s *blockScan) run(after uint64, f func(ledger.Entry) error) error {
	for at := 0; at < len(s.content); {
		e, n, ok := s.record(at)
		if !ok {
			next, found := s.resume(at)
			s.look.Spots = append(s.look.Spots, Spot{s.path, int64(at), s.look.Last, !found && s.last && s.torn(at)})
			if !found {
				return nil
			}
			at = next
			continue
		}
		at += n
		if e.Place&blockNotes != 0 || e.Place <= s.look.Last {
			continue // of what was never stored; the ledger takes nothing out
		}
		if s.look.Last > 0 && e.Place != s.look.Last+1 {
			s.look.Gaps = append(s.look.Gaps, [2]uint64{s.look.Last + 1, e.Place - 1})
		}
		if s.look.First == 0 {
			s.look.First = e.Place
		}
		s.look.Last = e.Place
		s.look.Records++
		if e.Place > after {
			if err := f(e); err != nil {
				return err
			}
		}
	}
	return nil
}

// record reads the record at an offset, if there is one whose checksum fits. n is its length.
func (s *blockScan) record(at int) (e ledger.Entry, n int, ok bool) {
	b := s.content[at:]
	if len(b) < blockHeader+blockSum {
		return e, 0, false
	}
	length := binary.LittleEndian.Uint32(b)
	headers := length&blockHeaders != 0
	n = int(length &^ blockHeaders)
	subject := int(binary.LittleEndian.Uint16(b[20:]))
	head := subject
	if headers {
		head += 4
	}
	if n > blockMost || n > len(b) || n < blockHeader+head+blockSum {
		return e, 0, false
	}
	data := b[blockHeader : n-blockSum]
	rest := data[subject:]
	if headers {
		rest = rest[4:]
	}
	s.sum.Reset()
	s.sum.Write(b[4:20])
	s.sum.Write(data[:subject])
	s.sum.Write(rest)
	var have [blockSum]byte
	if !bytes.Equal(s.sum.Sum(have[:0]), b[n-blockSum:n]) {
		return e, 0, false
	}
	if headers {
		// No checksum covers this length; the server would take a flipped bit in it for the truth.
		h := int(binary.LittleEndian.Uint32(data[subject:]))
		if end := bytes.Index(rest, headersEnd); end < 0 || h != end+len(headersEnd) {
			return e, 0, false
		}
		rest = rest[h:]
	}
	e.Place = binary.LittleEndian.Uint64(b[4:])
	kind, _ := bytes.CutPrefix(data[:subject], s.prefix)
	e.Kind, e.Body = string(kind), rest
	return e, n, true
}

// resume looks for the next record behind an offset where none can be read: by its subject, which all of them have.
func (s *blockScan) resume(at int) (int, bool) {
	for from := at + 1; ; {
		i := bytes.Index(s.content[min(from, len(s.content)):], s.prefix)
		if i < 0 {
			return 0, false
		}
		begin := from + i - blockHeader
		if begin > at {
			if _, _, ok := s.record(begin); ok {
				return begin, true
			}
		}
		from += i + 1
	}
}

// torn says whether what stands from an offset on is the beginning of a record, or zeros.
func (s *blockScan) torn(at int) bool {
	b := s.content[at:]
	if len(bytes.Trim(b, "\x00")) == 0 || len(b) < blockHeader {
		return true
	}
	n := int(binary.LittleEndian.Uint32(b) &^ blockHeaders)
	subject := int(binary.LittleEndian.Uint16(b[20:]))
	seq := binary.LittleEndian.Uint64(b[4:])
	begun := b[blockHeader:min(len(b), blockHeader+subject)]
	return n > len(b) && n <= blockMost && seq == s.look.Last+1 && bytes.HasPrefix(begun, s.prefix[:min(len(begun), len(s.prefix))])
}
