package seal

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"

	"latewood/events/ledger"
	"latewood/events/ledger/archive"
	"latewood/events/ledger/proof"
)

// How late a record may be sealed if Config says nothing: whichever comes first.
const (
	DefaultEvery = time.Second
	DefaultMost  = 1000 // records
)

// Config is what a Sealer is made of.
type Config struct {
	Stream  ledger.Log       // the ledger itself, not what reads the archive
	Archive *archive.Archive // open, of the same ledger
	Ring    *Ring
	Every   time.Duration // 0: DefaultEvery
	Most    uint64        // 0: DefaultMost
}

// A Sealer seals one ledger into an archive that nobody else appends to. Its methods may be called by several goroutines; Run is called once.
type Sealer struct {
	c     Config
	work  sync.Mutex    // held by whoever appends to the archive or publishes
	mu    sync.Mutex    // guards what follows
	moved chan struct{} // closed and replaced whenever more is sealed, or will not be any more
	err   error         // why nothing more is sealed
}

// ErrStopped says that the sealer has stopped before what was asked for was sealed.
var ErrStopped = errors.New("seal: the sealer has stopped")

// New makes a Sealer.
func New(c Config) *Sealer {
	if c.Every == 0 {
		c.Every = DefaultEvery
	}
	if c.Most == 0 {
		c.Most = DefaultMost
	}
	return &Sealer{c: c, moved: make(chan struct{})}
}

// Run follows the ledger until ctx ends; then it seals what the ledger has by then and returns nil. It returns an error if it
// cannot go on: the stream has a hole or another record than the archive, or the archive cannot be written. What is sealed
// stays as it is then. ready, which may be nil, is called once it follows.
func (s *Sealer) Run(ctx context.Context, ready func()) error {
	err := s.run(ctx, ready)
	if err == nil {
		err = s.Seal(context.WithoutCancel(ctx))
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.err = err
	if err == nil {
		s.err = ErrStopped
	}
	s.wake()
	return err
}

func (s *Sealer) run(ctx context.Context, ready func()) error {
	if ready != nil {
		ready()
	}
	followed, cancel := context.WithCancel(ctx)
	defer cancel()
	// The clock of a record that waits alone runs beside the stream, which may bring nothing for hours.
	due := make(chan struct{}, 1)
	late := make(chan error, 1)
	go func() {
		err := s.late(followed, due)
		if err != nil {
			cancel() // else nobody would hear of it before the next record
		}
		late <- err
	}()
	err := s.c.Stream.Follow(followed, s.c.Archive.Size()+1, func(run []ledger.Entry) error {
		if err := s.take(run); err != nil {
			return err
		}
		if s.c.Archive.Size()-s.c.Archive.Sealed() >= s.c.Most {
			return s.publish()
		}
		select {
		case due <- struct{}{}:
		default:
		}
		return nil
	})
	ended := followed.Err() != nil
	cancel()
	lateErr := <-late
	switch {
	case lateErr != nil:
		return lateErr
	case ended:
		return nil // by ctx: late had nothing to say
	}
	return fmt.Errorf("seal: following the ledger: %w", err)
}

// late publishes Every after the first record that came since the last time.
func (s *Sealer) late(ctx context.Context, due <-chan struct{}) error {
	for {
		select {
		case <-ctx.Done():
			return nil
		case <-due:
		}
		timer := time.NewTimer(s.c.Every)
		select {
		case <-ctx.Done():
			timer.Stop()
			return nil
		case <-timer.C:
		}
		if err := s.publish(); err != nil {
			return err
		}
	}
}

// take appends records to the archive. Those that it has already (a call to Seal was quicker) are left out.
//
// If we crash before the bytes are in the tail file, or before the tail is synced, the stream still has them, synced before
// anybody was told, and the next start brings them again from the archive's end on. If we crash in the middle of a record,
// the archive cuts the torn rest off when it is opened.
func (s *Sealer) take(run []ledger.Entry) error {
	s.work.Lock()
	defer s.work.Unlock()
	return s.add(run)
}

func (s *Sealer) add(run []ledger.Entry) error {
	bodies := make([][]byte, 0, len(run))
	for _, e := range run {
		switch want := s.c.Archive.Size() + uint64(len(bodies)) + 1; {
		case e.Place < want:
			continue
		case e.Place > want:
			return fmt.Errorf("seal: %w", &ledger.HoleError{Want: want, Got: e.Place})
		}
		bodies = append(bodies, e.Body)
	}
	if len(bodies) == 0 {
		return nil
	}
	if err := s.c.Archive.Append(bodies...); err != nil {
		return fmt.Errorf("seal: %w", err)
	}
	return nil
}

// publish signs a checkpoint over everything in the archive and makes it the newest, if it is larger than that.
func (s *Sealer) publish() error {
	s.work.Lock()
	defer s.work.Unlock()
	return s.sign(false)
}

// sign signs. again signs a checkpoint of the size that is published already, as when a second key is to stand under it.
func (s *Sealer) sign(again bool) error {
	a := s.c.Archive
	size := a.Size()
	if size == 0 || !again && size == a.Sealed() {
		return nil
	}
	signers := s.c.Ring.signers()
	if !s.c.Ring.CanSign() && s.c.Ring.Next() == nil {
		return fmt.Errorf("seal: %w", ErrNoSecret)
	}
	// Compare: the records that are here lead to the root that was published last. An archive in which they do not is damaged,
	// and nothing is signed on top of it.
	if newest, err := a.Checkpoint(); err == nil {
		root, err := a.RootAt(newest.Size)
		if err != nil {
			return fmt.Errorf("seal: %w", err)
		}
		if size < newest.Size || root != newest.Root {
			return fmt.Errorf("seal: size %d behind the published size %d: %w", size, newest.Size, archive.ErrOrder)
		}
	}
	root, err := a.RootAt(size)
	if err != nil {
		return fmt.Errorf("seal: %w", err)
	}
	// If we crash behind this, a checkpoint was signed that nobody has seen. The next one is of this tree too, since the
	// records are the stream's, so the two cannot contradict each other.
	note, err := proof.Checkpoint{Origin: s.c.Ring.origin, Tree: proof.Tree{Size: size, Root: root}}.Sign(signers...)
	if err != nil {
		return fmt.Errorf("seal: %w", err)
	}
	// And set: Publish says at each of its steps what a crash leaves.
	if err := a.Publish(note); err != nil {
		return fmt.Errorf("seal: %w", err)
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.wake()
	return nil
}

func (s *Sealer) wake() {
	close(s.moved)
	s.moved = make(chan struct{})
}

// Seal seals everything that the ledger has when it is called, without waiting for the clock.
func (s *Sealer) Seal(ctx context.Context) error { return s.seal(ctx, false) }

// SealAgain is Seal, and signs also if the ledger has not grown: with both keys while the key is being changed.
func (s *Sealer) SealAgain(ctx context.Context) error { return s.seal(ctx, true) }

func (s *Sealer) seal(ctx context.Context, again bool) error {
	s.work.Lock()
	defer s.work.Unlock()
	last, err := s.c.Stream.Last(ctx)
	if err != nil {
		return fmt.Errorf("seal: %w", err)
	}
	if size := s.c.Archive.Size(); last < size {
		return fmt.Errorf("seal: the ledger ends at place %d, and the archive has %d: %w", last, size, &ledger.HoleError{Want: last + 1})
	}
	run := make([]ledger.Entry, 0, ledger.MaxBatch)
	for first := s.c.Archive.Size() + 1; first <= last; first = s.c.Archive.Size() + 1 {
		run = run[:0]
		for e, err := range s.c.Stream.Read(ctx, first, min(last, first+ledger.MaxBatch-1)) {
			if err != nil {
				return fmt.Errorf("seal: %w", err)
			}
			run = append(run, e)
		}
		if err := s.add(run); err != nil {
			return err
		}
	}
	return s.sign(again)
}

// Sealed is the number of records under the newest checkpoint: also the place of the last of them.
func (s *Sealer) Sealed() uint64 { return s.c.Archive.Sealed() }

// Wait returns when the record at a place is sealed: nil; an error that Is ErrStopped when Run has ended before; or ctx's.
func (s *Sealer) Wait(ctx context.Context, place uint64) error {
	for {
		s.mu.Lock()
		moved, err := s.moved, s.err
		s.mu.Unlock()
		switch {
		case s.Sealed() >= place:
			return nil
		case err != nil:
			return fmt.Errorf("%w at place %d: %w", ErrStopped, s.Sealed(), err)
		}
		select {
		case <-moved:
		case <-ctx.Done():
			return ctx.Err()
		}
	}
}
