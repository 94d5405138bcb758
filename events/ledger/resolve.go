package ledger

import (
	"bytes"
	"context"
	"errors"
	"fmt"
)

// Resolve finds out what became of an append whose outcome is unknown: it reads on from expectedLast and compares what
// stands there with what was to be stored, byte for byte.
//
//   - (len(entries), nil): they stand. Other entries may stand behind them.
//   - (0, nil): they do not stand yet and the place is free. The same append may be sent again. It may also still
//     arrive by itself; then sending it again brings ErrConflict, and Resolve, asked once more, says that it stands.
//   - ErrConflict: another writer's entry stands there. The caller is fenced off and must stop.
//   - ErrUnknownOutcome, with the number found: some of the entries stand and the log ends behind them. That is a store
//     that failed in the middle of a batch and has to be opened again before anything is said or written.
//   - any other error: the log could not be read, or has lost what it had.
func Resolve(ctx context.Context, log Log, expectedLast uint64, entries []Entry) (int, error) {
	last, err := log.Last(ctx)
	if err != nil {
		return 0, fmt.Errorf("ledger: resolving an append behind place %d: %w", expectedLast, err)
	}
	if last < expectedLast {
		// The caller knew an entry at expectedLast. The log lost it.
		return 0, &HoleError{Want: last + 1}
	}
	end := min(last, expectedLast+uint64(len(entries)))
	if end == expectedLast {
		return 0, nil
	}
	found := 0
	for e, err := range log.Read(ctx, expectedLast+1, end) {
		if err != nil {
			return found, fmt.Errorf("ledger: resolving an append behind place %d: %w", expectedLast, err)
		}
		want := entries[found]
		if e.Kind != want.Kind || !bytes.Equal(e.Body, want.Body) {
			return found, fmt.Errorf("ledger: place %d: %w", e.Place, ErrConflict)
		}
		found++
	}
	if found < len(entries) {
		return found, fmt.Errorf("ledger: %d of %d entries stand behind place %d: %w", found, len(entries), expectedLast, ErrUnknownOutcome)
	}
	return found, nil
}

// settleTries is how often Settle sends the same append: once, again after a lost answer, and once more for a store
// that came back in between.
const settleTries = 3

// Settle appends and does not leave the outcome open if it can help it: after ErrUnknownOutcome it resolves, and sends
// the same entries again if they are not there. It returns nil exactly if they stand. It returns ErrUnknownOutcome if
// even that is not to be known now; then the caller resolves later, before it appends anything else.
func Settle(ctx context.Context, log Log, expectedLast uint64, entries []Entry) error {
	var unknown error
	for range settleTries {
		err := log.Append(ctx, expectedLast, entries)
		switch {
		case errors.Is(err, ErrUnknownOutcome):
			unknown = err
		case errors.Is(err, ErrConflict) && unknown != nil:
			// An earlier try of our own may be what stands there.
		case unknown != nil && err != nil:
			// This try stored nothing, but an earlier one may have, or may still.
			return errors.Join(unknown, err)
		default:
			return err
		}
		found, rerr := Resolve(ctx, log, expectedLast, entries)
		switch {
		case errors.Is(rerr, ErrConflict):
			return rerr
		case rerr != nil:
			return errors.Join(unknown, rerr)
		case found == len(entries):
			return nil
		}
	}
	return unknown
}
