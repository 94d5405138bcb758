// Package project runs the folds: it reads the ledger from where its snapshot stands, keeps a Book up to date as records
// come, and answers questions from it.
//
// Folds always run in memory. A snapshot on disk saves the reading at the next start and is never needed: one that is
// damaged, of another ledger, or of another version of a fold is thrown away and the ledger is read instead.
package project

import (
	"context"
	"errors"
	"fmt"
	"io"
	"iter"
	"log/slog"
	"os"
	"runtime"
	"sync"

	"latewood/events"
	"latewood/events/ledger"
	"latewood/events/ledger/disk"
	"latewood/projections"
	"latewood/services/internal/bus"
)

// Config is what a Projector is made of.
type Config struct {
	Farm     string // code; it stands in the log
	Log      ledger.Log
	Folds    []*projections.Fold // whose states a snapshot keeps
	Snapshot string              // the file; empty: none is kept
	Logger   *slog.Logger        // nil: nothing is logged
	// Trust says whether a snapshot's mark fits the ledger. Needed where there is a Snapshot.
	Trust func(projections.Mark) bool
	// Mark names the ledger at a size, for writing a snapshot; ok is false if that size is no longer known. Needed where there
	// is a Snapshot.
	Mark func(size uint64) (mark projections.Mark, ok bool)
}

// A Projector keeps one farm's Book. Its methods may be called by several goroutines.
type Projector struct {
	c     Config
	mu    sync.Mutex
	book  *projections.Book
	moved chan struct{} // closed and replaced whenever the book has grown, or will not any more
	err   error         // why it does not follow the ledger any more
	// broken is why a record could not be added. What the Book holds since then is not to be trusted: no record is added
	// behind it, and no snapshot written.
	broken error
}

// ErrBehind says that the folds have stopped before the record that was asked for.
var ErrBehind = errors.New("project: the folds have stopped")

var errHalf = errors.New("project: a record was added by half")

// New makes a Projector with an empty Book.
func New(c Config) *Projector {
	return &Projector{c: c, book: projections.NewBook(events.Standard()), moved: make(chan struct{})}
}

// CatchUp takes in everything that the ledger holds now: the snapshot if it can be trusted, then the rest. It comes before
// Run, and once. Its error Is that of the ledger (a *ledger.HoleError), of the record (events.ErrNotARecord,
// events.ErrNewerVersion) or ctx's.
func (p *Projector) CatchUp(ctx context.Context) error {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.loadSnapshot()
	last, err := p.c.Log.Last(ctx)
	if err != nil {
		return fmt.Errorf("project: %w", err)
	}
	if p.book.Size() > last {
		p.book = projections.NewBook(events.Standard())
	}
	if p.book.Size() == last {
		return nil
	}
	for r, err := range Records(ctx, p.c.Log, p.book.Size()+1, last) {
		if err != nil {
			return fmt.Errorf("project: %w", err)
		}
		if err := p.add(r); err != nil {
			return err
		}
	}
	return nil
}

// add adds a record to the Book. Once that has failed it fails for ever: the Book may have taken in half of it.
func (p *Projector) add(r *events.Record) error {
	if p.broken != nil {
		return p.broken
	}
	p.broken = errHalf // stays if Add panics
	p.broken = p.book.Add(r)
	if p.broken != nil {
		p.broken = fmt.Errorf("project: %w", p.broken)
	}
	return p.broken
}

func (p *Projector) loadSnapshot() {
	if p.c.Snapshot == "" {
		return
	}
	f, err := os.Open(p.c.Snapshot)
	if err != nil {
		return // none yet
	}
	defer f.Close()
	book, mark, err := projections.Load(f, events.Standard(), p.c.Folds)
	switch {
	case err != nil:
		p.log().Warn("a snapshot of the folds is thrown away", "service", "project", "farm", p.c.Farm, "error", err)
	case !p.c.Trust(mark):
		p.log().Warn("a snapshot of the folds is of another ledger and is thrown away", "service", "project", "farm", p.c.Farm)
	default:
		p.book = book
	}
}

// SaveSnapshot writes the Book down, whole or not at all. It writes nothing, and returns nil, where there is nothing to
// write, where Config.Mark does not know the Book's size any more, and where a record could not be added.
func (p *Projector) SaveSnapshot() error {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.c.Snapshot == "" || p.book.Size() == 0 || p.broken != nil {
		return nil
	}
	mark, ok := p.c.Mark(p.book.Size())
	if !ok {
		return nil
	}
	return disk.WriteFile(p.c.Snapshot, func(w io.Writer) error { return p.book.Save(w, mark, p.c.Folds) })
}

// Run follows the ledger until ctx ends (nil) or a record cannot be taken in: then it returns why, as bus.Deliver does, and
// the Book stays as it was before that record. CatchUp comes first. ready, which may be nil, is called once it follows.
func (p *Projector) Run(ctx context.Context, ready func()) error {
	p.mu.Lock()
	first := p.book.Size() + 1
	p.err = nil
	p.mu.Unlock()
	err := bus.Deliver(ctx, "project-"+p.c.Farm, p.c.Log, first, p.c.Logger, ready, p.take)
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.err = err; err == nil {
		p.err = context.Canceled
	}
	p.wake()
	return err
}

func (p *Projector) wake() {
	close(p.moved)
	p.moved = make(chan struct{})
}

// take adds a run of records. A run that was handed over twice is taken once.
func (p *Projector) take(entries []ledger.Entry) error {
	p.mu.Lock()
	defer p.mu.Unlock()
	defer p.wake() // also for the records in front of one that fails
	for _, e := range entries {
		switch size := p.book.Size(); {
		case e.Place <= size:
			continue
		case e.Place != size+1:
			return &ledger.HoleError{Want: size + 1, Got: e.Place}
		}
		r, err := events.ParseRecord(e.Place, e.Body)
		if err != nil {
			return err
		}
		if err := p.add(r); err != nil {
			return err
		}
	}
	return nil
}

// Wait returns when the Book holds the record at a place: nil; an error that Is ErrBehind, and Is why, when Run has ended
// before it; or ctx's error. It waits for a Run that has not begun yet.
func (p *Projector) Wait(ctx context.Context, place uint64) error {
	for {
		p.mu.Lock()
		size, moved, err := p.book.Size(), p.moved, p.err
		p.mu.Unlock()
		switch {
		case size >= place:
			return nil
		case err != nil:
			return fmt.Errorf("%w at place %d: %w", ErrBehind, size, err)
		}
		select {
		case <-moved:
		case <-ctx.Done():
			return ctx.Err()
		}
	}
}

// With lets f read the Book while nothing moves. f must not keep it, and must not call the Projector.
func (p *Projector) With(f func(*projections.Book) error) error {
	p.mu.Lock()
	defer p.mu.Unlock()
	return f(p.book)
}

// Size is the number of records that the Book holds.
func (p *Projector) Size() uint64 {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.book.Size()
}

func (p *Projector) log() *slog.Logger {
	if p.c.Logger == nil {
		return slog.New(slog.DiscardHandler)
	}
	return p.c.Logger
}

// chunk is how many records one worker parses at a time.
const chunk = 1024

// Records reads and parses a stretch of the ledger, on all cores, in order. An error comes in its place, behind the records
// in front of it, and is the last thing that comes. When the iteration ends, nothing of it runs on.
func Records(ctx context.Context, log ledger.Log, first, last uint64) iter.Seq2[*events.Record, error] {
	return func(yield func(*events.Record, error) bool) {
		ctx, cancel := context.WithCancel(ctx)
		order := make(chan chan parsed, 2*runtime.GOMAXPROCS(0))
		cut := false // the reader gave up, because ctx ended
		defer func() {
			cancel()
			for out := range order {
				<-out
			}
		}()
		go func() {
			defer close(order)
			parse := func(entries []ledger.Entry, err error) bool {
				out := make(chan parsed, 1)
				select {
				case order <- out:
				case <-ctx.Done():
					cut = true
					return false
				}
				go func() { out <- parseAll(entries, err) }()
				return true
			}
			entries := make([]ledger.Entry, 0, chunk)
			for e, err := range log.Read(ctx, first, last) {
				if err != nil {
					parse(entries, err)
					return
				}
				if entries = append(entries, e); len(entries) == chunk {
					if !parse(entries, nil) {
						return
					}
					entries = make([]ledger.Entry, 0, chunk)
				}
			}
			parse(entries, nil)
		}()
		for out := range order {
			p := <-out
			for _, rec := range p.records {
				if !yield(rec, nil) {
					return
				}
			}
			if p.err != nil {
				yield(nil, p.err)
				return
			}
		}
		if cut {
			yield(nil, ctx.Err())
		}
	}
}

// parsed is a chunk of records, and what came behind the last of them.
type parsed struct {
	records []*events.Record
	err     error
}

func parseAll(entries []ledger.Entry, behind error) parsed {
	p := parsed{records: make([]*events.Record, 0, len(entries)), err: behind}
	for _, e := range entries {
		rec, err := events.ParseRecord(e.Place, e.Body)
		if err != nil {
			p.err = err
			break
		}
		p.records = append(p.records, rec)
	}
	return p
}

// Said lists what was said about a record by what the Book holds.
func (p *Projector) Said(id events.ID) []projections.Saying {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.book.Said(id)
}

// AsKnown folds the ledger, as far as the Book holds it, anew by the knowledge of a moment. assumed counts the records that
// are in it though their time of knowing had to be assumed (see projections.Knowledge). In the claimed sense farm.opened
// is always known: without its zone a farm has no days.
func (p *Projector) AsKnown(ctx context.Context, k projections.Knowledge) (book *projections.Book, assumed int, err error) {
	p.mu.Lock()
	last, zone := p.book.Size(), p.book.Zone()
	p.mu.Unlock()
	book = projections.NewBook(events.Standard())
	if last == 0 {
		return book, 0, nil // a last place of 0 would read to the end of the ledger
	}
	for r, err := range Records(ctx, p.c.Log, 1, last) {
		if err != nil {
			return nil, 0, fmt.Errorf("project: %w", err)
		}
		known, guess := k.Takes(r, zone)
		if !known && !k.Claimed {
			break // recordedtimes never fall
		}
		if !known && r.Kind != "farm.opened" {
			continue
		}
		if guess {
			assumed++
		}
		if err := book.Add(r); err != nil {
			return nil, 0, fmt.Errorf("project: %w", err)
		}
	}
	return book, assumed, nil
}
