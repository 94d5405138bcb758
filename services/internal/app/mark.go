package app

import (
	"context"
	"fmt"

	"latewood/events"
	"latewood/events/ledger"
	"latewood/events/ledger/idindex"
)

// mark is the ledger's size and root, as text.
func (f *farm) mark() (size uint64, root string) {
	h := f.recorder.Head()
	return h.Size, hashText(h.Root)
}

func hashText(h ledger.Hash) string { return h.String() }

// index is the index of ids as the committer fills it: flushed now and then, so that memory holds only its tail.
type index struct{ *idindex.Index }

// flushEvery bounds the ids that are held in memory.
const flushEvery = 50_000

func (i index) Add(id [16]byte, place uint64) error {
	i.Index.Add(id, place)
	if i.Tail() < flushEvery {
		return nil
	}
	return i.Flush(place)
}

// stored reads the record with an id from the ledger, nil if there is none.
func (f *farm) stored(ctx context.Context, id events.ID) (*events.Record, error) {
	place, ok, err := f.index.Lookup(id)
	if err != nil || !ok {
		return nil, err
	}
	for e, err := range f.log.Read(ctx, place, place) {
		if err != nil {
			return nil, fmt.Errorf("app: reading place %d: %w", place, err)
		}
		return events.ParseRecord(e.Place, e.Body)
	}
	return nil, &ledger.HoleError{Want: place}
}

func ledger32(r *events.Record) ledger.Hash { return ledger.Hash(r.Leaf()) }
