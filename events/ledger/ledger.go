package ledger

import (
	"context"
	"errors"
	"fmt"
	"iter"
)

// An Entry is one record as it lies in the ledger.
type Entry struct {
	// Place is the record's position in its farm's ledger, from 1, without gaps.
	Place uint64
	// Kind is the record's kind without its version, as "spray.applied". It names the subject, nothing more.
	Kind string
	// Body is the record's canonical bytes. Callers must not change them.
	Body []byte
}

// A Log is the ledger of one farm: byte strings in one order, appended and never changed.
//
// Every implementation runs the suite in ledgertest. The law:
//
//   - Append MUST put all entries directly behind expectedLast, in order, or none of them. It MUST NOT return nil
//     before the entries would survive the death of the process (memlog excepted: it promises only order).
//   - If the log's last place is not expectedLast, Append MUST return an error that Is ErrConflict and change nothing.
//     That is the fence: of two writers one is refused.
//   - If Append cannot know whether the entries were stored, it MUST return an error that Is ErrUnknownOutcome. The
//     caller then reads on from expectedLast and compares bytes (see Resolve); no message id is used to guess.
//   - Any other error of Append means that nothing of this call was stored or will be. What the store itself could not
//     do (full disk, no broker) MUST be an error that Is ErrStore. Append and Last MUST return within a bounded time,
//     whatever the store does.
//   - Read MUST hand out places first, first+1, ... and MUST yield an error that is a *HoleError, and stop, when the
//     next entry is not the one that follows. A broker may skip a damaged record in silence; a Log may not.
//
// All methods may be called from many goroutines at once.
type Log interface {
	// Append stores the bodies behind expectedLast. From 1 to MaxBatch entries; their Place fields are ignored. The
	// bodies may be used again by the caller when Append has returned.
	Append(ctx context.Context, expectedLast uint64, entries []Entry) error
	// Read yields the entries from place first up to and including last, or up to the last place that the log had
	// when Read was called, if last is 0. A first of 0 is read as 1. A last behind the end of the log is a *HoleError after
	// the entries that are there. An entry's Body belongs to the caller.
	Read(ctx context.Context, first, last uint64) iter.Seq2[Entry, error]
	// Last returns the place of the newest entry, 0 for an empty log.
	Last(ctx context.Context) (uint64, error)
	// Follow calls f with runs of entries that follow one another, from place first on, until ctx ends or f fails.
	// It waits when it has caught up. A run has from 1 to MaxBatch entries. It returns ctx's error, f's error as it is,
	// a *HoleError, or, if the log is closed under it, an error that Is ErrStore. When it returns, nothing of it runs on.
	Follow(ctx context.Context, first uint64, f func([]Entry) error) error
}

// MaxBatch is the largest number of entries that one Append takes: the broker's limit for an atomic batch.
const MaxBatch = 1000

// ErrConflict says that another entry already stands where this one was to go.
var ErrConflict = errors.New("ledger: another writer was here first")

// ErrUnknownOutcome says that an append was sent and its answer never came: it may or may not stand.
var ErrUnknownOutcome = errors.New("ledger: it is not known whether the append was stored")

// ErrStore says that the store below could not do what was asked: its disk is full, it refuses to grow, it does not
// answer. After an Append with this error, and without ErrUnknownOutcome, nothing was stored.
var ErrStore = errors.New("ledger: the store could not do it")

// A HoleError says that a record which should be there was not delivered: damage, never a normal state.
type HoleError struct {
	Want, Got uint64 // places; Got is 0 when nothing behind Want could be had
}

func (e *HoleError) Error() string {
	if e.Got == 0 {
		return fmt.Sprintf("ledger: place %d is missing: the log ends before it", e.Want)
	}
	return fmt.Sprintf("ledger: place %d is missing: the next entry delivered was %d", e.Want, e.Got)
}
