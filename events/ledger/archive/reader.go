package archive

import (
	"context"
	"fmt"
	"iter"
	"sync/atomic"

	"latewood/events/ledger"
	"latewood/events/ledger/proof"
)

// A Reader reads an archive that somebody else writes: over HTTP, or in a folder. It believes nothing that does not fit
// a checkpoint signed by the ledger. Its methods may be called from many goroutines.
type Reader struct {
	fetch Fetch
	opt   Options
	now   atomic.Pointer[core]
}

// OpenReader fetches the newest checkpoint and what is needed to check everything else: one hash for each 256 records.
func OpenReader(ctx context.Context, fetch Fetch, opt Options) (*Reader, error) {
	r := &Reader{fetch: fetch, opt: opt}
	c, err := r.load(ctx)
	if err != nil {
		return nil, err
	}
	r.now.Store(c)
	return r, nil
}

// Folder fetches files of an archive in a folder.
func Folder(dir string) Fetch { return local(dir) }

func (r *Reader) load(ctx context.Context) (*core, error) {
	note, err := r.fetch(ctx, checkpointName)
	if err != nil {
		return nil, fmt.Errorf("archive: reading the checkpoint: %w", err)
	}
	s, err := proof.OpenCheckpoint(note, r.opt.Origin, r.opt.Keys...)
	if err != nil {
		return nil, err
	}
	c := &core{sealed: s}
	c.init(r.fetch)
	n, w := s.Size/width, int(s.Size%width)
	if c.full, err = loadFull(ctx, r.fetch, n, s.Size); err != nil {
		return nil, err
	}
	c.base = n * width
	if w > 0 {
		t := tile{0, n, w}
		b, err := r.fetch(ctx, t.name())
		if err != nil {
			// The bundle may have been filled since, and the partial tile removed.
			full, ferr := r.fetch(ctx, tile{0, n, width}.name())
			if ferr != nil || len(full) < w*hashSize {
				return nil, fmt.Errorf("archive: reading %s: %w", t.name(), err)
			}
			b = full[:w*hashSize]
		}
		if c.leaves, err = parseHashes(b, w); err != nil {
			return nil, &DamageError{[]Finding{{File: t.name(), Fault: Damaged}}}
		}
		c.bodies = make([][]byte, w)
	}
	if root, err := c.RootAt(s.Size); err != nil || root != s.Root {
		// At least one of the tiles read is wrong; who has all of them can tell which.
		return nil, &DamageError{[]Finding{{checkpointName, Unproven, []Span{{1, s.Size}}}}}
	}
	return c, nil
}

// Refresh looks for a newer checkpoint. It says whether there is one. A newer one must begin with all that the older one
// had: if it does not, the error is a *proof.SplitError with both, and the Reader stays with the older. A smaller
// checkpoint, as an old copy serves, changes nothing.
func (r *Reader) Refresh(ctx context.Context) (bool, error) {
	was := r.now.Load()
	note, err := r.fetch(ctx, checkpointName)
	if err != nil {
		return false, fmt.Errorf("archive: reading the checkpoint: %w", err)
	}
	s, err := proof.OpenCheckpoint(note, r.opt.Origin, r.opt.Keys...)
	if err != nil {
		return false, err
	}
	switch {
	case s.Size < was.sealed.Size || s.Tree == was.sealed.Tree:
		return false, nil
	case s.Size == was.sealed.Size:
		return false, &proof.SplitError{One: was.sealed, Other: s}
	}
	c, err := r.load(ctx)
	if err != nil {
		return false, err
	}
	// Every hash of the tree now fits the new root. So does the old root, or there are two histories.
	root, err := c.RootAt(was.sealed.Size)
	if err != nil {
		return false, err
	}
	if root != was.sealed.Root {
		return false, &proof.SplitError{One: was.sealed, Other: c.sealed}
	}
	return r.now.CompareAndSwap(was, c), nil
}

// Checkpoint is the checkpoint that everything is checked against.
func (r *Reader) Checkpoint() proof.Signed { return r.now.Load().sealed }

// Sealed is the number of records under it.
func (r *Reader) Sealed() uint64 { return r.now.Load().sealed.Size }

// ReadRecord is as Archive's.
func (r *Reader) ReadRecord(ctx context.Context, place uint64) ([]byte, error) {
	return r.now.Load().ReadRecord(ctx, place)
}

// Read is as Archive's.
func (r *Reader) Read(ctx context.Context, first, last uint64) iter.Seq2[ledger.Entry, error] {
	return r.now.Load().Read(ctx, first, last)
}

// ReadHashes is as Archive's.
func (r *Reader) ReadHashes(indexes []int64) ([]ledger.Hash, error) {
	return r.now.Load().ReadHashes(indexes)
}

// RootAt is as Archive's.
func (r *Reader) RootAt(size uint64) (ledger.Hash, error) { return r.now.Load().RootAt(size) }

// LeafHash is as Archive's.
func (r *Reader) LeafHash(place uint64) (ledger.Hash, error) { return r.now.Load().LeafHash(place) }
