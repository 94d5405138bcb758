// Package memlog keeps a ledger in memory: for tests, for rehearsals, and for folding a ledger that was read from a
// file. It keeps the whole law of ledger.Log but one point: what it holds dies with the process.
//
// It can be told to fail in the ways that a broker fails ([Log.LoseAnswer], [Log.Refuse], [Log.Hole]), so that those
// who write to a ledger can be shown to stand it.
package memlog

import (
	"bytes"
	"context"
	"fmt"
	"iter"
	"sync"

	"latewood/events/ledger"
)

// A Log is a ledger in memory. Make one with New.
type Log struct {
	mu      sync.Mutex
	entries []ledger.Entry // entries[i] is place i+1
	grown   chan struct{}  // closed and replaced at every append: wakes followers
	holes   map[uint64]bool
	faults  []fault // of the coming appends, first first
}

var _ ledger.Log = (*Log)(nil)

// A fault is what goes wrong in one append.
type fault struct {
	err    error // what the caller is told
	stored bool  // whether the entries stand all the same
}

// New makes an empty log.
func New() *Log {
	return &Log{grown: make(chan struct{}), holes: map[uint64]bool{}}
}

// LoseAnswer makes the next append that is not faulted yet, and would not be a conflict, return an error that Is
// ledger.ErrUnknownOutcome. The entries are stored if stored is true, else they are not.
func (l *Log) LoseAnswer(stored bool) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.faults = append(l.faults, fault{fmt.Errorf("memlog: told to lose the answer: %w", ledger.ErrUnknownOutcome), stored})
}

// Refuse makes the next append that is not faulted yet, and would not be a conflict, store nothing and return an error
// that Is ledger.ErrStore.
func (l *Log) Refuse() {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.faults = append(l.faults, fault{fmt.Errorf("memlog: told to refuse: %w", ledger.ErrStore), false})
}

// Hole makes readers miss the entry at place, as if its bytes had rotted, from their next step on.
func (l *Log) Hole(place uint64) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.holes[place] = true
}

// Append is ledger.Log's.
func (l *Log) Append(ctx context.Context, expectedLast uint64, entries []ledger.Entry) error {
	if err := ledger.CheckAppend(entries); err != nil {
		return err
	}
	if err := ctx.Err(); err != nil {
		return fmt.Errorf("memlog: append behind place %d: %w", expectedLast, err)
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	if last := uint64(len(l.entries)); last != expectedLast {
		return fmt.Errorf("memlog: append behind place %d: the last place is %d: %w", expectedLast, last, ledger.ErrConflict)
	}
	var f fault
	if len(l.faults) > 0 {
		f, l.faults = l.faults[0], l.faults[1:]
	}
	if f.err == nil || f.stored {
		for _, e := range entries {
			l.entries = append(l.entries, ledger.Entry{Place: uint64(len(l.entries)) + 1, Kind: e.Kind, Body: bytes.Clone(e.Body)})
		}
		close(l.grown)
		l.grown = make(chan struct{})
	}
	return f.err
}

// Last is ledger.Log's.
func (l *Log) Last(ctx context.Context) (uint64, error) {
	if err := ctx.Err(); err != nil {
		return 0, err
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	return uint64(len(l.entries)), nil
}

// Read is ledger.Log's.
func (l *Log) Read(ctx context.Context, first, last uint64) iter.Seq2[ledger.Entry, error] {
	l.mu.Lock()
	if last == 0 {
		last = uint64(len(l.entries))
	}
	l.mu.Unlock()
	return func(yield func(ledger.Entry, error) bool) {
		for place := max(first, 1); place <= last; place++ {
			if err := ctx.Err(); err != nil {
				yield(ledger.Entry{}, err)
				return
			}
			run, _, err := l.run(place, 1)
			if err == nil && len(run) == 0 {
				err = &ledger.HoleError{Want: place}
			}
			if err != nil {
				yield(ledger.Entry{}, err)
				return
			}
			if !yield(run[0], nil) {
				return
			}
		}
	}
}

// Follow is ledger.Log's.
func (l *Log) Follow(ctx context.Context, first uint64, f func([]ledger.Entry) error) error {
	for next := max(first, 1); ; {
		if err := ctx.Err(); err != nil {
			return err
		}
		run, grown, err := l.run(next, ledger.MaxBatch)
		if len(run) > 0 {
			if err := f(run); err != nil {
				return err
			}
			next += uint64(len(run))
			continue
		}
		if err != nil {
			return err
		}
		select {
		case <-grown:
		case <-ctx.Done():
		}
	}
}

// run gives up to n entries from place on, as copies, and a channel that closes when there is more. It gives the entries
// before a hole without an error, and the hole when there is nothing before it.
func (l *Log) run(place uint64, n int) ([]ledger.Entry, <-chan struct{}, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	var out []ledger.Entry
	for ; place <= uint64(len(l.entries)) && len(out) < n; place++ {
		if l.holes[place] {
			if len(out) > 0 {
				break
			}
			got := place + 1
			for l.holes[got] {
				got++
			}
			if got > uint64(len(l.entries)) {
				got = 0
			}
			return nil, nil, &ledger.HoleError{Want: place, Got: got}
		}
		e := l.entries[place-1]
		e.Body = bytes.Clone(e.Body)
		out = append(out, e)
	}
	return out, l.grown, nil
}
