package record

import (
	"context"
	"errors"
	"fmt"
	"slices"

	"latewood/events/ledger"
)

// singles is the most records that go in one by one: up to about this many, single appends are faster than an atomic
// batch with its fixed cost (events/ledger/jetlog, BenchmarkBreakEven).
const singles = 16

// attempt is one append. While its outcome is unknown it is kept.
type attempt struct {
	records []made
	entries []ledger.Entry
}

// errIndex says that the index of ids no longer knows all records: going on could record one twice.
var errIndex = errors.New("record: the index of ids cannot be written")

// errAgain says that an older append of our own had arrived after all, so that the run at hand has to be made anew.
var errAgain = errors.New("record: an append that was in doubt stands")

// fatal reports whether the committer must not go on: its picture of the ledger is wrong.
func fatal(err error) bool {
	var hole *ledger.HoleError
	return errors.Is(err, ErrFenced) || errors.Is(err, errIndex) || errors.As(err, &hole)
}

// commit answers a group of jobs. It returns an error only if the committer cannot go on.
func (r *Recorder) commit(jobs []*job) error {
	var items []*item
	for _, j := range jobs {
		j.receipts = make([]Receipt, len(j.items))
		for i, it := range j.items {
			it.job, it.receipt, it.done = j, &j.receipts[i], false
			items = append(items, it)
		}
	}
	// What was begun is brought to its end even if a caller gives up meanwhile: its outcome must be known.
	ctx := context.WithoutCancel(jobs[0].ctx)
	var err error
	if trial := jobs[0].dry; trial != nil {
		err = r.try(ctx, trial, items)
	} else {
		err = r.settle(ctx)
		for err == nil && len(items) > 0 {
			n := min(len(items), ledger.MaxBatch)
			if err = r.commitRun(ctx, items[:n]); errors.Is(err, errAgain) {
				err = nil
				continue
			}
			items = items[n:]
		}
	}
	for _, j := range jobs {
		for _, it := range j.items {
			if !it.done && j.err == nil { // what has its receipt is answered, whatever became of the others
				j.err = err
			}
		}
		j.finish()
	}
	if err != nil && fatal(err) {
		return err
	}
	return nil
}

// try judges items of a dry run.
func (r *Recorder) try(ctx context.Context, trial *Trial, items []*item) error {
	if trial.on == nil {
		trial.on = r.c.State.next()
	}
	for _, it := range items {
		if err := r.place(ctx, it, trial.on); err != nil {
			return err
		}
		it.done = true
		it.made = made{}
		clear(trial.on.items) // nothing of a trial is appended, so only what later items are judged by is kept
		trial.on.items = trial.on.items[:0]
	}
	return nil
}

// commitRun judges up to ledger.MaxBatch items and appends those that have no problem.
func (r *Recorder) commitRun(ctx context.Context, items []*item) error {
	on := r.c.State.next()
	for _, it := range items {
		if it.job.err != nil {
			continue // its caller is told that nobody knows; less is done rather than more
		}
		if err := r.place(ctx, it, on); err != nil {
			if fatal(err) {
				return err
			}
			it.job.err = err
		}
	}
	err := r.append(ctx, on.items)
	for _, it := range items {
		if first := it.twin; first != nil && first.done {
			it.receipt.Place, it.receipt.Leaf, it.done = first.receipt.Place, first.receipt.Leaf, true
		}
	}
	return err
}

// place judges an item and makes its record, on top of a run. Afterwards it has problems, or is known (here or as a twin of
// one in the run), or stands in the run.
func (r *Recorder) place(ctx context.Context, it *item, on *run) error {
	rc := it.receipt
	*rc = Receipt{ID: it.accepted.ID, Problems: slices.Clip(it.problems)}
	it.twin, it.said, it.made = nil, nil, made{}
	if len(rc.Problems) == 0 {
		if err := r.judge(ctx, it, on); err != nil {
			return err
		}
	}
	if len(rc.Problems) == 0 && !rc.Known {
		if err := r.make(ctx, it, on); err != nil {
			return err
		}
	}
	it.given = true // should the call fail and be made again, the record may be known by then
	switch {
	case len(rc.Problems) > 0:
		it.done = true
	case rc.Known:
		it.done = it.twin == nil
	default:
		on.put(it)
	}
	return nil
}

// append puts the records of a run into the ledger.
func (r *Recorder) append(ctx context.Context, items []*item) error {
	for len(items) > 0 {
		n := 1
		if len(items) > singles {
			n = len(items)
		}
		a := &attempt{}
		for _, it := range items[:n] {
			a.records = append(a.records, it.made)
			a.entries = append(a.entries, ledger.Entry{Kind: it.kind, Body: it.body})
		}
		behind := r.c.State.Size()
		// If we crash before this returns, the entries stand whole or not at all, and nobody was told that they stand.
		err := ledger.Settle(ctx, r.c.Log, behind, a.entries)
		switch {
		case errors.Is(err, ledger.ErrUnknownOutcome):
			r.doubts = append(r.doubts, a)
			return fmt.Errorf("record: appending behind place %d: %w", behind, err)
		case errors.Is(err, ledger.ErrConflict):
			if len(r.doubts) > 0 { // what stands there may be an append of our own that was thought lost
				if err := r.settle(ctx); err != nil {
					return err
				}
				if r.c.State.Size() > behind {
					return errAgain
				}
			}
			return fmt.Errorf("%w: behind place %d", ErrFenced, behind)
		case err != nil:
			return fmt.Errorf("record: appending behind place %d: %w", behind, err)
		}
		for i, it := range items[:n] {
			it.receipt.Place, it.receipt.Leaf, it.done = behind+uint64(i)+1, it.leaf, true
		}
		if err := r.keep(a); err != nil {
			return err
		}
		items = items[n:]
	}
	return nil
}

// keep takes records into the committer's own knowledge: they stand in the ledger, and nothing else can take their places
// any more.
func (r *Recorder) keep(a *attempt) error {
	r.doubts = nil
	behind := r.c.State.Size()
	for i := range a.records {
		m := &a.records[i]
		r.c.State.take(m)
		if m.zone != nil {
			r.SetZone(m.zone)
		}
	}
	r.showHead()
	for i := range a.records {
		// The index is a cache of the ledger: an entry that does not reach its disk is found again at the next start.
		if err := r.c.Index.Add(a.records[i].id, behind+uint64(i)+1); err != nil {
			return fmt.Errorf("%w: %w", errIndex, err)
		}
	}
	return nil
}

// settle finds out what became of appends whose outcome was unknown, before anything else is appended. Those that are not
// there may still arrive, so they are forgotten only when something else has taken their place.
func (r *Recorder) settle(ctx context.Context) error {
	conflicts := 0
	for _, a := range r.doubts {
		behind := r.c.State.Size()
		found, err := ledger.Resolve(ctx, r.c.Log, behind, a.entries)
		switch {
		case errors.Is(err, ledger.ErrConflict):
			conflicts++
		case err != nil:
			return fmt.Errorf("record: an append behind place %d is still in doubt: %w", behind, err)
		case found > 0:
			return r.keep(a)
		}
	}
	if conflicts > 0 {
		return fmt.Errorf("%w: behind place %d", ErrFenced, r.c.State.Size())
	}
	return nil // their senders were told that nobody knows, and may send them again
}
