package seal

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"strings"
	"time"

	"latewood/events/ledger/disk"
	"latewood/events/ledger/proof"
)

// What can be wrong when somebody outside is to sign a checkpoint.
var (
	// ErrOlder says that the witness has seen a newer checkpoint of this ledger.
	ErrOlder = errors.New("seal: an older checkpoint than one that was seen")
	// ErrGrowth says that nothing shows the newer checkpoint to begin with the one that was seen.
	ErrGrowth = errors.New("seal: nothing shows that the ledger has only grown")
	// ErrNoWitness says that there is no key of a witness.
	ErrNoWitness = errors.New("seal: there is no key of a witness")
)

// A Witness is somebody outside, a packer, who says that a checkpoint was seen, and when (C2SP tlog-cosignature). Its memory is
// a file beside its key: the last checkpoint of a ledger that it signed. Nothing older is signed, nothing of the same size
// with another root, and nothing larger that is not shown to begin with it.
type Witness struct {
	path   string
	secret proof.Secret
}

// OpenWitness reads the key file of a witness. Where it is not there and name is given, one is made, under that name, from
// random; made says so.
func OpenWitness(path, name string, random io.Reader) (w *Witness, made bool, err error) {
	s, err := readSecret(path)
	switch {
	case errors.Is(err, fs.ErrNotExist) && name == "":
		return nil, false, &KeyFileError{path, ErrNoWitness}
	case errors.Is(err, fs.ErrNotExist):
		if s, err = proof.GenerateWitness(random, name); err != nil {
			return nil, false, err
		}
		return &Witness{path, s}, true, private(path, s.File())
	case err != nil:
		return nil, false, err
	case !s.Key().IsWitness():
		return nil, false, &KeyFileError{path, ErrNoWitness}
	}
	return &Witness{path, s}, false, nil
}

// Key is what others check the witness's signatures with.
func (w *Witness) Key() proof.Key { return w.secret.Key() }

// seenPath is the witness's memory of one ledger: named by the id of the ledger's key, which has no slash.
func (w *Witness) seenPath(log proof.Key) string {
	return fmt.Sprintf("%s.seen-%08x", w.path, log.KeyHash())
}

// Cosign signs a checkpoint of the ledger whose key is log, at unix seconds. growth is a consistency file from the checkpoint
// that was seen last; nil where none was, or where the size is the same.
func (w *Witness) Cosign(checkpoint []byte, log proof.Key, growth []byte, unix int64) ([]byte, proof.Signed, error) {
	s, err := proof.OpenCheckpoint(checkpoint, log.Name(), log)
	if err != nil {
		return nil, s, err
	}
	seen, err := os.ReadFile(w.seenPath(log))
	switch {
	case errors.Is(err, fs.ErrNotExist):
	case err != nil:
		return nil, s, fmt.Errorf("seal: what the witness has seen: %w", err)
	default:
		if err := grown(seen, s, log, growth); err != nil {
			return nil, s, err
		}
	}
	out, err := proof.Cosign(checkpoint, log, w.secret, unix)
	if err != nil {
		return nil, s, err
	}
	// The memory first: if we crash behind it, the same checkpoint can be signed again. The other way round, one that was signed
	// would be forgotten.
	return out, s, private(w.seenPath(log), out)
}

// grown holds a checkpoint against the one that was seen last.
func grown(seen []byte, s proof.Signed, log proof.Key, growth []byte) error {
	old, err := proof.OpenCheckpoint(seen, log.Name(), log)
	switch {
	case err != nil:
		return err
	case s.Size < old.Size:
		return &olderError{s.Size, old.Size}
	case s.Size == old.Size && s.Root != old.Root:
		return &proof.SplitError{One: old, Other: s}
	case s.Size == old.Size:
		return nil
	case len(growth) == 0:
		return fmt.Errorf("%w: from size %d to %d", ErrGrowth, old.Size, s.Size)
	}
	g, err := proof.ParseGrowth(growth)
	if err != nil {
		return err
	}
	if g.From != old.Size || g.To != s.Size {
		return fmt.Errorf("%w: it goes from %d to %d, want from %d to %d", ErrGrowth, g.From, g.To, old.Size, s.Size)
	}
	return proof.CheckConsistency(old.Tree, s.Tree, g.Path)
}

func private(path string, content []byte) error {
	return disk.WriteFile(path, func(w io.Writer) error {
		_, err := w.Write(content)
		return err
	})
}

// A Refused says in one word why a witness did not sign.
type Refused struct {
	What string // Older, NoGrowth, Split, or empty for what is no checkpoint of the ledger
	Seen uint64 // under Older: the size that was seen
}

// Why a witness did not sign.
const (
	Older    = "older"
	NoGrowth = "no-growth"
	Split    = "split"
)

// Refusal reads the error of Cosign.
func Refusal(err error) Refused {
	var older *olderError
	var split *proof.SplitError
	var inconsistent *proof.ConsistencyError
	switch {
	case errors.As(err, &older):
		return Refused{Older, older.seen}
	case errors.As(err, &split), errors.As(err, &inconsistent):
		return Refused{What: Split}
	case errors.Is(err, ErrGrowth):
		return Refused{What: NoGrowth}
	}
	return Refused{}
}

type olderError struct{ size, seen uint64 }

func (e *olderError) Error() string {
	return fmt.Sprintf("%v: size %d, seen %d", ErrOlder, e.size, e.seen)
}
func (e *olderError) Unwrap() error { return ErrOlder }

// ReadKey reads a verifier key: as text, or out of a file with one line.
func ReadKey(text string) (proof.Key, error) {
	k, err := proof.ParseKey(text)
	if err == nil {
		return k, nil
	}
	b, ferr := os.ReadFile(text)
	if ferr != nil {
		return proof.Key{}, err
	}
	return proof.ParseKey(strings.TrimSpace(string(b)))
}

// StampQuery is a question to a time authority about data (RFC 3161), with a nonce from random.
func StampQuery(data []byte, random io.Reader) ([]byte, error) {
	var nonce [8]byte
	if _, err := io.ReadFull(random, nonce[:]); err != nil {
		return nil, fmt.Errorf("seal: a nonce: %w", err)
	}
	return proof.StampQuery(data, nonce)
}

// ReadStamp says when an authority's answer stamped something, and whether that is data. The answer's signature is not checked.
func ReadStamp(reply, data []byte) (at time.Time, over bool, err error) {
	s, err := proof.ReadStamp(reply)
	return s.Time, err == nil && s.Over(data), err
}
