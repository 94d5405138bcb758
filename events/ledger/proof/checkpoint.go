package proof

import (
	"crypto/ed25519"
	"crypto/sha256"
	"fmt"
	"strconv"
	"strings"

	"latewood/events/ledger"
)

// MaxSize is the largest tree that this package speaks of: what a JSON number holds exactly.
const MaxSize = 1<<53 - 1

// maxCheckpoint is the largest checkpoint, in bytes, with all its signatures.
const maxCheckpoint = 1 << 16

// A Tree is a size and a root: what a checkpoint says of a ledger.
type Tree struct {
	Size uint64
	Root ledger.Hash
}

// A Checkpoint says how large a ledger is and what it holds.
type Checkpoint struct {
	Origin string
	Tree
	// Extra is extension lines. We write none; the specification advises against them, and a witness says nothing of them.
	Extra []string
}

// Text is the checkpoint's three lines (and Extra), as they are signed.
func (c Checkpoint) Text() string {
	var b strings.Builder
	b.WriteString(c.Origin + "\n" + strconv.FormatUint(c.Size, 10) + "\n" + c.Root.String() + "\n")
	for _, line := range c.Extra {
		b.WriteString(line + "\n")
	}
	return b.String()
}

// ParseCheckpoint reads what Text wrote, and refuses everything else.
func ParseCheckpoint(text string) (Checkpoint, error) {
	body, ok := strings.CutSuffix(text, "\n")
	lines := strings.Split(body, "\n")
	if !ok || len(lines) < 3 {
		return Checkpoint{}, bad("checkpoint", fmt.Errorf("want three lines: origin, size, root"))
	}
	for i, line := range lines {
		if line == "" {
			return Checkpoint{}, bad("checkpoint", fmt.Errorf("line %d is empty", i+1))
		}
	}
	c := Checkpoint{Origin: lines[0]}
	if size, ok := decimal(lines[1]); ok && size <= MaxSize {
		c.Size = size
	} else {
		return Checkpoint{}, bad("checkpoint", fmt.Errorf("%q is not a size", lines[1]))
	}
	root, err := ledger.ParseHash(lines[2])
	if err != nil {
		return Checkpoint{}, bad("checkpoint", fmt.Errorf("%q is not a root", lines[2]))
	}
	c.Root = root
	if c.Size == 0 && c.Root != sha256.Sum256(nil) {
		return Checkpoint{}, bad("checkpoint", fmt.Errorf("size 0 with a root that is not that of the empty tree"))
	}
	if len(lines) > 3 {
		c.Extra = lines[3:]
	}
	return c, nil
}

// Sign signs the checkpoint with the ledger's keys: one, or two while a key is being changed.
func (c Checkpoint) Sign(secrets ...Secret) ([]byte, error) {
	if _, err := ParseCheckpoint(c.Text()); err != nil {
		return nil, err
	}
	return SignNote(c.Text(), secrets...)
}

// A Signed is an opened checkpoint: its signatures are right.
type Signed struct {
	Checkpoint
	Note      []byte        // as it was read, with all signature lines
	By        []Key         // the ledger's keys that signed
	Witnessed []Cosignature // what witnesses said
}

// OpenCheckpoint checks a checkpoint of the ledger called origin. At least one of keys must be a ledger's key that signed
// it. Keys of witnesses among them are checked where they signed, and asked for by nobody here: the caller looks at
// Witnessed. Errors: those of OpenNote, *FormatError, *OriginError.
func OpenCheckpoint(msg []byte, origin string, keys ...Key) (Signed, error) {
	n, by, err := openNote(msg, maxCheckpoint, keys)
	if err != nil {
		return Signed{}, err
	}
	c, err := ParseCheckpoint(n.Text)
	if err != nil {
		return Signed{}, err
	}
	if c.Origin != origin {
		return Signed{}, &OriginError{Want: origin, Got: c.Origin}
	}
	s := Signed{Checkpoint: c, Note: msg}
	for _, k := range by {
		if !k.IsWitness() {
			s.By = append(s.By, k)
			continue
		}
		for _, l := range n.Lines {
			if l.Name == k.Name() && l.ID == k.KeyHash() {
				at, _, _ := splitCosignature(l.Bytes)
				s.Witnessed = append(s.Witnessed, Cosignature{Key: k, Time: at})
			}
		}
	}
	if len(s.By) == 0 {
		e := &UnsignedError{Note: msg, Want: keys}
		for _, k := range by {
			e.Signed = append(e.Signed, k.ID())
		}
		return Signed{}, e
	}
	return s, nil
}

// decimal reads a number in its one form: digits, no sign, no leading zero.
func decimal(text string) (uint64, bool) {
	n, err := strconv.ParseUint(text, 10, 64)
	return n, err == nil && strconv.FormatUint(n, 10) == text
}

func signEd25519(s Secret, text []byte) []byte { return ed25519.Sign(s.private(), text) }
