package proof

import (
	"errors"
	"fmt"

	"latewood/events/ledger"
)

// ErrEmptyTree says that somebody asked for a consistency from size 0. The empty tree is the beginning of every tree, so
// that would prove nothing (transparency-dev/merkle refuses it too, see its changelog).
var ErrEmptyTree = errors.New("proof: a consistency from size 0 proves nothing")

// ErrSize says that a size or an index lies outside the tree, or that a size is above MaxSize.
var ErrSize = errors.New("proof: a size or index outside the tree")

// A FormatError says that bytes are not in the one form that they must have.
type FormatError struct {
	Of  string // what they were to be: "note", "checkpoint", "proof", "consistency", "key", "secret", "stamp"
	Why string
}

func (e *FormatError) Error() string { return fmt.Sprintf("proof: not a %s: %s", e.Of, e.Why) }

func bad(of string, why error) error { return &FormatError{Of: of, Why: why.Error()} }

// An UnsignedError says that none of the keys asked for signed a note: a note of somebody else, or signed with a key that
// the reader does not know.
type UnsignedError struct {
	Note   []byte
	Want   []Key
	Signed []string // NAME+ID of the lines that are there, unchecked
}

func (e *UnsignedError) Error() string {
	return fmt.Sprintf("proof: signed by %q, and by none of the %d keys that were asked for", e.Signed, len(e.Want))
}

// A SignatureError says that a signature by a known key is wrong: the note was changed after it was signed, or never
// signed by that key.
type SignatureError struct {
	Note []byte
	Key  Key
}

func (e *SignatureError) Error() string {
	return fmt.Sprintf("proof: the signature of %s+%08x does not fit the text", e.Key.Name(), e.Key.KeyHash())
}

// An OriginError says that a checkpoint is of another ledger.
type OriginError struct{ Want, Got string }

func (e *OriginError) Error() string {
	return fmt.Sprintf("proof: a checkpoint of %q, not of %q", e.Got, e.Want)
}

// An InclusionError says that a path does not lead from the leaf to the root. It carries all that was checked.
type InclusionError struct {
	Size, Index uint64
	Leaf, Root  ledger.Hash
	Path        []ledger.Hash
}

func (e *InclusionError) Error() string {
	return fmt.Sprintf("proof: leaf %v is not shown to stand at index %d of the tree of size %d with root %v", e.Leaf, e.Index, e.Size, e.Root)
}

// A ConsistencyError says that a path does not show the old tree to be the beginning of the new one. It carries all that
// was checked. Where both trees are signed by one key and the path came from the ledger itself, it is evidence of a second
// history.
type ConsistencyError struct {
	Old, New Tree
	Path     []ledger.Hash
}

func (e *ConsistencyError) Error() string {
	return fmt.Sprintf("proof: the tree of size %d with root %v is not shown to begin with that of size %d with root %v",
		e.New.Size, e.New.Root, e.Old.Size, e.Old.Root)
}

// A SplitError holds two checkpoints that one key signed and that cannot both be of one ledger.
type SplitError struct {
	One, Other Signed
}

func (e *SplitError) Error() string {
	return fmt.Sprintf("proof: %s signed two histories: size %d with root %v, and size %d with root %v",
		e.One.Origin, e.One.Size, e.One.Root, e.Other.Size, e.Other.Root)
}
