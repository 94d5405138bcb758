package archive

import (
	"context"
	"fmt"
	"iter"

	"latewood/events/ledger"
)

// Over is a ledger of two stores: what is sealed is read from the archive, where every record is checked against the signed
// tree on the way, and only what is not sealed yet from the stream. So what has rotted in the sealed part of the stream is
// never handed out, and a replay does not need the broker.
//
// Appends go to the stream; sealing is somebody else's business, and goes on while this is read. Where the line between the
// two stores lies is asked once at the beginning of each Read and for each run of Follow.
func Over(stream ledger.Log, sealed Store) ledger.Log { return &over{stream, sealed} }

// A Store hands out sealed records, as an Archive and a Reader do.
type Store interface {
	Sealed() uint64
	Read(ctx context.Context, first, last uint64) iter.Seq2[ledger.Entry, error]
}

type over struct {
	stream ledger.Log
	sealed Store
}

func (o *over) Append(ctx context.Context, expectedLast uint64, entries []ledger.Entry) error {
	return o.stream.Append(ctx, expectedLast, entries)
}

// Last is the stream's: a stream that ends before what is sealed has lost records.
func (o *over) Last(ctx context.Context) (uint64, error) {
	sealed := o.sealed.Sealed()
	last, err := o.stream.Last(ctx)
	if err == nil && last < sealed {
		err = fmt.Errorf("archive: the stream ends at place %d, and %d are sealed: %w", last, sealed, &ledger.HoleError{Want: last + 1})
	}
	return last, err
}

func (o *over) Read(ctx context.Context, first, last uint64) iter.Seq2[ledger.Entry, error] {
	first = max(first, 1)
	if last == 0 {
		end, err := o.Last(ctx)
		if err != nil || end < first {
			return func(yield func(ledger.Entry, error) bool) {
				if err != nil {
					yield(ledger.Entry{}, err)
				}
			}
		}
		last = end
	}
	sealed := o.sealed.Sealed()
	return func(yield func(ledger.Entry, error) bool) {
		next := first
		if next <= sealed {
			for e, err := range o.sealed.Read(ctx, next, min(last, sealed)) {
				if !yield(e, err) || err != nil {
					return
				}
				next = e.Place + 1
			}
		}
		if next > last {
			return
		}
		for e, err := range o.stream.Read(ctx, next, last) {
			if !yield(e, err) || err != nil {
				return
			}
		}
	}
}

func (o *over) Follow(ctx context.Context, first uint64, f func([]ledger.Entry) error) error {
	next := max(first, 1)
	for next <= o.sealed.Sealed() {
		run := make([]ledger.Entry, 0, ledger.MaxBatch)
		for e, err := range o.sealed.Read(ctx, next, min(o.sealed.Sealed(), next+ledger.MaxBatch-1)) {
			if err != nil {
				if ctx.Err() != nil {
					return ctx.Err()
				}
				return err
			}
			run = append(run, e)
		}
		if err := ctx.Err(); err != nil {
			return err
		}
		if err := f(run); err != nil {
			return err
		}
		next += uint64(len(run))
	}
	return o.stream.Follow(ctx, next, f)
}
