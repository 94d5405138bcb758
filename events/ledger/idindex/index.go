package idindex

import (
	"cmp"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"sync"
)

// maxRuns is the number of runs up to which none are merged. Each costs a lookup of an unknown id one filter probe.
const maxRuns = 8

// ErrDamaged says that the index found itself damaged, or was closed by that. What is damaged has been deleted; Open it again and
// add what it then does not cover.
var ErrDamaged = errors.New("idindex: the index is damaged")

// ErrClosed says that the index has been closed.
var ErrClosed = errors.New("idindex: the index is closed")

// An ID is the id of a record: the 16 bytes of a UUID.
type ID = [16]byte

// An Index maps ids to places. Make one with Open. Its methods may be called from many goroutines at once; a Flush does
// not hold up lookups and additions while it writes.
type Index struct {
	dir string

	flushing sync.Mutex // held for the length of a flush: one at a time

	mu     sync.RWMutex
	runs   []*run        // oldest first, each beginning where the one before ends
	frozen map[ID]uint64 // what a flush is writing just now
	tail   map[ID]uint64 // what came since
	err    error         // why the index is of no more use, nil while it is
}

// Open opens the index in dir, makes it if it is not there, and says up to which place of the ledger it knows the ids. The
// caller adds the ids of all later records before it asks for any. An error is about the folder, never about what was
// found in it: what cannot be used is deleted.
func Open(dir string) (_ *Index, covered uint64, err error) {
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return nil, 0, fmt.Errorf("idindex: opening %s: %w", dir, err)
	}
	names, err := os.ReadDir(dir)
	if err != nil {
		return nil, 0, fmt.Errorf("idindex: opening %s: %w", dir, err)
	}
	var found []*run
	for _, name := range names {
		path := filepath.Join(dir, name.Name())
		if filepath.Ext(path) == ".tmp" {
			// A crash in the middle of writing a run.
			err = errors.Join(err, os.Remove(path))
			continue
		}
		if filepath.Ext(path) != runExt {
			continue // not ours
		}
		r, rerr := openRun(path)
		switch {
		case rerr == nil:
			found = append(found, r)
		case errors.Is(rerr, ErrDamaged):
			err = errors.Join(err, os.Remove(path))
		default:
			err = errors.Join(err, rerr)
		}
	}
	x := &Index{dir: dir, tail: map[ID]uint64{}}
	var spare []*run
	x.runs, spare = line(found)
	for _, r := range spare {
		err = errors.Join(err, r.remove())
	}
	if err != nil {
		x.Close()
		return nil, 0, fmt.Errorf("idindex: opening %s: %w", dir, err)
	}
	return x, x.covered(), nil
}

// line picks the runs that follow one another from place 0 on. Where several begin at the same place, a crash came between a
// merge and the deletion of its parts, and the longest has all that the others have.
func line(found []*run) (used, spare []*run) {
	slices.SortFunc(found, func(a, b *run) int {
		return cmp.Or(cmp.Compare(a.from, b.from), cmp.Compare(b.to, a.to))
	})
	at := uint64(0)
	for _, r := range found {
		if r.from == at && r.to > at {
			used = append(used, r)
			at = r.to
		} else {
			spare = append(spare, r)
		}
	}
	return used, spare
}

func (x *Index) covered() uint64 {
	if len(x.runs) == 0 {
		return 0
	}
	return x.runs[len(x.runs)-1].to
}

// Lookup gives the place of the record with this id, and whether there is one.
func (x *Index) Lookup(id ID) (place uint64, ok bool, err error) {
	place, ok, err = x.lookup(id)
	if errors.Is(err, ErrDamaged) {
		x.giveUp(err)
	}
	return place, ok, err
}

func (x *Index) lookup(id ID) (uint64, bool, error) {
	// The lock is held while a page is read, so that no run is closed under the read.
	x.mu.RLock()
	defer x.mu.RUnlock()
	if x.err != nil {
		return 0, false, x.err
	}
	h := hashID(id)
	// Oldest first: should an id have been added twice, its first place is the answer.
	for _, r := range x.runs {
		if !r.filter.has(h) {
			continue
		}
		if place, ok, err := r.lookup(id); ok || err != nil {
			return place, ok, err
		}
	}
	if place, ok := x.frozen[id]; ok {
		return place, true, nil
	}
	place, ok := x.tail[id]
	return place, ok, nil
}

// Add says that the record with this id stands at place. An id that is there keeps its place. After an error that ended
// the index, Add does nothing.
func (x *Index) Add(id ID, place uint64) {
	x.mu.Lock()
	defer x.mu.Unlock()
	if x.err != nil {
		return
	}
	if _, ok := x.frozen[id]; ok {
		return
	}
	if _, ok := x.tail[id]; !ok {
		x.tail[id] = place
	}
}

// Tail is the number of ids that are in memory only, each about 50 bytes.
func (x *Index) Tail() int {
	x.mu.RLock()
	defer x.mu.RUnlock()
	return len(x.tail) + len(x.frozen)
}

// Flush writes the tail to disk. coveredPlace is the place up to which the ids of all records have been added when Flush is
// called; ids of later records may be among those added, and do no harm. After an error other than ErrDamaged and
// ErrClosed the index works on, and has lost nothing.
func (x *Index) Flush(coveredPlace uint64) error {
	x.flushing.Lock()
	defer x.flushing.Unlock()
	err := x.flush(coveredPlace)
	if err == nil {
		err = x.merge()
	}
	if errors.Is(err, ErrDamaged) {
		x.giveUp(err)
	}
	if err != nil {
		return fmt.Errorf("idindex: flushing up to place %d: %w", coveredPlace, err)
	}
	return nil
}

func (x *Index) flush(coveredPlace uint64) error {
	x.mu.Lock()
	from := x.covered()
	if x.err != nil || coveredPlace <= from {
		defer x.mu.Unlock()
		return x.err
	}
	x.frozen, x.tail = x.tail, map[ID]uint64{}
	frozen := x.frozen
	x.mu.Unlock()

	entries := make([]entry, 0, len(frozen))
	for id, place := range frozen {
		entries = append(entries, entry{id, place})
	}
	slices.SortFunc(entries, compareEntries)
	// If we crash before this is done, the index covers what it covered before, and the caller adds these ids again.
	r, err := writeRun(x.dir, from, coveredPlace, len(entries), slices.Values(entries))

	x.mu.Lock()
	defer x.mu.Unlock()
	if err != nil || x.err != nil {
		if r != nil {
			err = errors.Join(x.err, r.close())
		}
		for id, place := range x.tail {
			if _, ok := frozen[id]; !ok {
				frozen[id] = place
			}
		}
		x.tail, x.frozen = frozen, nil
		return err
	}
	x.runs = append(x.runs, r)
	x.frozen = nil
	return nil
}

// merge makes one run of the newest ones when there are too many. Only Flush calls it, so nobody else changes runs.
func (x *Index) merge() error {
	x.mu.RLock()
	runs, err := x.runs, x.err
	x.mu.RUnlock()
	if err != nil || len(runs) <= maxRuns {
		return err
	}
	// The newest two at least; older ones as long as they are not larger than what is merged already. So a large run is
	// not written again for the sake of a small one.
	first := len(runs) - 2
	total := runs[first].count + runs[first+1].count
	for first > 0 && runs[first-1].count <= total {
		first--
		total += runs[first].count
	}
	parts := runs[first:]
	seq, failed := mergeRuns(parts)
	merged, err := writeRun(x.dir, parts[0].from, parts[len(parts)-1].to, int(total), seq)
	if ferr := failed(); ferr != nil {
		// A part could not be read to its end, so the merged run is short.
		if err == nil {
			err = merged.remove()
		}
		return errors.Join(ferr, err)
	}
	if err != nil {
		return err
	}
	// If we crash here, or while deleting, Open finds merged and parts, and takes merged.
	x.mu.Lock()
	defer x.mu.Unlock()
	if x.err != nil {
		return errors.Join(x.err, merged.close())
	}
	x.runs = append(slices.Clone(runs[:first]), merged)
	for _, r := range parts {
		err = errors.Join(err, r.remove())
	}
	return err
}

// giveUp ends the use of the index after it was found damaged. The damaged run and all behind it are deleted, so that the next
// Open covers what lies before.
func (x *Index) giveUp(cause error) {
	x.mu.Lock()
	defer x.mu.Unlock()
	if x.err != nil {
		return
	}
	x.err = cause
	damaged := false
	for _, r := range x.runs {
		damaged = damaged || r.damaged.Load()
		if damaged {
			// An error leaves the file for the next Open, which will find the page again.
			_ = r.remove()
		} else {
			_ = r.close()
		}
	}
	x.runs, x.tail, x.frozen = nil, nil, nil
}

// Reset throws the whole index away, on disk and in memory: afterwards it covers nothing.
func (x *Index) Reset() error {
	x.flushing.Lock()
	defer x.flushing.Unlock()
	x.mu.Lock()
	defer x.mu.Unlock()
	if x.err != nil {
		return x.err
	}
	var err error
	// Newest first: if we crash on the way, what is left still follows on from place 0.
	for _, r := range slices.Backward(x.runs) {
		err = errors.Join(err, r.remove())
	}
	x.runs, x.tail = nil, map[ID]uint64{}
	return err
}

// Close closes the files. What was not flushed is forgotten; the next Open says so by what it covers. A second call does
// nothing.
func (x *Index) Close() error {
	x.flushing.Lock()
	defer x.flushing.Unlock()
	x.mu.Lock()
	defer x.mu.Unlock()
	if x.err != nil {
		return nil
	}
	var err error
	for _, r := range x.runs {
		err = errors.Join(err, r.close())
	}
	x.runs, x.tail, x.err = nil, nil, ErrClosed
	return err
}
