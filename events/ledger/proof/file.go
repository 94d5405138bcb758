package proof

import (
	"bytes"
	"encoding/base64"
	"fmt"
	"strconv"
	"strings"

	"latewood/events/ledger"
)

const (
	proofLine       = "c2sp.org/tlog-proof@v1"
	consistencyLine = "latewood-consistency/v1"

	maxFile = 1 << 18 // bytes of a proof file, with checkpoint and extra data
	maxPath = 64      // hashes: no tree that fits a size has more levels
)

// A File is a proof file: one record in one checkpoint. The record itself is not in it.
type File struct {
	Extra      []byte // optional; nobody signed it
	Index      uint64 // from 0
	Path       []ledger.Hash
	Checkpoint []byte // the signed note as it is
}

// Format writes the file.
func (f File) Format() []byte {
	var b bytes.Buffer
	b.WriteString(proofLine + "\n")
	if len(f.Extra) > 0 {
		b.WriteString("extra " + base64.StdEncoding.EncodeToString(f.Extra) + "\n")
	}
	b.WriteString("index " + strconv.FormatUint(f.Index, 10) + "\n")
	for _, h := range f.Path {
		b.WriteString(h.String() + "\n")
	}
	b.WriteByte('\n')
	b.Write(f.Checkpoint)
	return b.Bytes()
}

// ParseFile reads a proof file. It looks at the form only: Check says whether it proves anything.
func ParseFile(b []byte) (File, error) {
	if len(b) > maxFile {
		return File{}, bad("proof", fmt.Errorf("%d bytes, and %d is the most", len(b), maxFile))
	}
	head, checkpoint, ok := bytes.Cut(b, []byte("\n\n"))
	if !ok {
		return File{}, bad("proof", fmt.Errorf("no empty line before the checkpoint"))
	}
	lines := strings.Split(string(head), "\n")
	if lines[0] != proofLine {
		return File{}, bad("proof", fmt.Errorf("the first line is not %q", proofLine))
	}
	lines = lines[1:]
	f := File{Checkpoint: checkpoint}
	if len(lines) > 0 {
		if b64, ok := strings.CutPrefix(lines[0], "extra "); ok {
			if f.Extra, ok = decode(b64); !ok || len(f.Extra) == 0 {
				return File{}, bad("proof", fmt.Errorf("the extra line is not base64 of something"))
			}
			lines = lines[1:]
		}
	}
	if len(lines) == 0 {
		return File{}, bad("proof", fmt.Errorf("no index line"))
	}
	digits, ok := strings.CutPrefix(lines[0], "index ")
	if f.Index, ok = decimalIf(ok, digits); !ok || f.Index >= MaxSize {
		return File{}, bad("proof", fmt.Errorf("%q is not an index line", lines[0]))
	}
	path, err := parsePath("proof", lines[1:])
	if err != nil {
		return File{}, err
	}
	f.Path = path
	if _, err := parseNote(checkpoint, maxCheckpoint); err != nil {
		return File{}, err
	}
	return f, nil
}

// Check opens the file's checkpoint with the keys (see OpenCheckpoint) and follows the path from the record's leaf hash
// to its root.
func (f File) Check(leaf ledger.Hash, origin string, keys ...Key) (Signed, error) {
	s, err := OpenCheckpoint(f.Checkpoint, origin, keys...)
	if err != nil {
		return Signed{}, err
	}
	return s, CheckInclusion(s.Tree, f.Index, leaf, f.Path)
}

// A Growth is a consistency file: the tree of size From is the beginning of the one of size To.
type Growth struct {
	From, To uint64
	Path     []ledger.Hash
}

// Format writes the file.
func (g Growth) Format() []byte {
	var b bytes.Buffer
	fmt.Fprintf(&b, "%s\nfrom %d\nto %d\n", consistencyLine, g.From, g.To)
	for _, h := range g.Path {
		b.WriteString(h.String() + "\n")
	}
	return b.Bytes()
}

// ParseGrowth reads a consistency file. It looks at the form only: CheckConsistency, with two opened checkpoints, says
// whether it proves anything.
func ParseGrowth(b []byte) (Growth, error) {
	text, ok := strings.CutSuffix(string(b[:min(len(b), maxFile)]), "\n")
	lines := strings.Split(text, "\n")
	if !ok || len(lines) < 3 || lines[0] != consistencyLine || len(b) > maxFile {
		return Growth{}, bad("consistency", fmt.Errorf("want the lines %q, from, to, and hashes", consistencyLine))
	}
	var g Growth
	from, okFrom := strings.CutPrefix(lines[1], "from ")
	to, okTo := strings.CutPrefix(lines[2], "to ")
	g.From, okFrom = decimalIf(okFrom, from)
	g.To, okTo = decimalIf(okTo, to)
	if !okFrom || !okTo || g.To > MaxSize || g.From > g.To {
		return Growth{}, bad("consistency", fmt.Errorf("%q and %q are not two sizes, the smaller first", lines[1], lines[2]))
	}
	if g.From == 0 {
		return Growth{}, ErrEmptyTree
	}
	path, err := parsePath("consistency", lines[3:])
	g.Path = path
	return g, err
}

func parsePath(of string, lines []string) ([]ledger.Hash, error) {
	if len(lines) > maxPath {
		return nil, bad(of, fmt.Errorf("%d hashes, and no path has more than %d", len(lines), maxPath))
	}
	var path []ledger.Hash
	for _, line := range lines {
		h, err := ledger.ParseHash(line)
		if err != nil {
			return nil, bad(of, fmt.Errorf("%q is not a hash", line))
		}
		path = append(path, h)
	}
	return path, nil
}

func decimalIf(ok bool, digits string) (uint64, bool) {
	if !ok {
		return 0, false
	}
	return decimal(digits)
}
