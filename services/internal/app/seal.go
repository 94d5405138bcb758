package app

import (
	"context"
	"crypto/rand"
	"encoding/hex"
	"errors"
	"fmt"
	"iter"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"latewood/events/ledger"
	"latewood/events/ledger/archive"
	"latewood/events/ledger/proof"
	"latewood/events/words"
	"latewood/services/seal"
	"latewood/services/serve"
)

// sealing is a farm's second store and who fills it. A ledger has one from its first record on: its name, the origin, is made
// of that record's hash.
type sealing struct {
	begin   sync.Mutex
	archive atomic.Pointer[archive.Archive]
	sealer  atomic.Pointer[seal.Sealer]
	ring    *seal.Ring
	stop    context.CancelFunc
	running sync.WaitGroup
}

// Sealed is archive.Store's: nothing before there is an archive.
func (s *sealing) Sealed() uint64 {
	if a := s.archive.Load(); a != nil {
		return a.Sealed()
	}
	return 0
}

// Read is archive.Store's.
func (s *sealing) Read(ctx context.Context, first, last uint64) iter.Seq2[ledger.Entry, error] {
	if a := s.archive.Load(); a != nil {
		return a.Read(ctx, first, last)
	}
	return func(yield func(ledger.Entry, error) bool) { yield(ledger.Entry{}, &ledger.HoleError{Want: first}) }
}

func (f *farm) keysDir() string    { return filepath.Join(f.dir, "keys") }
func (f *farm) archiveDir() string { return filepath.Join(f.dir, "archive") }

// beginSeal opens the archive, makes the keys of a ledger that has none yet, holds the stream against what is sealed, and
// starts the sealer. On a ledger without a record it does nothing, and where it was done already too.
func (f *farm) beginSeal(ctx context.Context) error {
	s := &f.seal
	s.begin.Lock()
	defer s.begin.Unlock()
	if s.archive.Load() != nil {
		return nil
	}
	last, err := f.stream.Last(ctx)
	if err != nil {
		return f.damaged(err)
	}
	public, err := seal.PublicKeys(f.keysDir())
	if err != nil {
		return keyFault(err)
	}
	if last == 0 && len(public) == 0 {
		return nil
	}
	origin := ""
	if len(public) > 0 {
		origin = public[0].Name()
	} else if origin, err = f.originOf(ctx); err != nil {
		return f.damaged(err)
	}
	ring, err := seal.OpenRing(f.keysDir(), origin, rand.Reader)
	if err != nil && !errors.Is(err, seal.ErrNoSecret) {
		return keyFault(err)
	}
	a, err := archive.Open(f.archiveDir(), archive.Options{Origin: origin, Keys: ring.Public()})
	if err != nil {
		return f.damaged(err)
	}
	if err := f.hold(ctx, a, origin, last); err != nil {
		return errors.Join(err, a.Close())
	}
	s.ring = ring
	s.archive.Store(a)
	f.runSeal(ring)
	return nil
}

// originOf names a ledger by its first record.
func (f *farm) originOf(ctx context.Context) (string, error) {
	for e, err := range f.stream.Read(ctx, 1, 1) {
		if err != nil {
			return "", err
		}
		leaf := ledger.LeafHash(e.Body)
		return "latewood/" + f.code + "-" + hex.EncodeToString(leaf[:4]), nil
	}
	return "", &ledger.HoleError{Want: 1}
}

// hold holds the stream against the archive: it must have every record that the archive has, and where the archive ends, and
// at its first record, the same ones. What lies between was compared when it was sealed, and is read from the archive; audit
// compares all of it.
func (f *farm) hold(ctx context.Context, a *archive.Archive, origin string, last uint64) error {
	size := a.Size()
	if size == 0 {
		return nil
	}
	if last < size {
		return f.found(Finding{What: words.Say("seal.stream-short", "last", last, "size", size), Place: last + 1})
	}
	places := []uint64{1}
	for p := max(a.Sealed(), 1); p <= size; p++ {
		places = append(places, p)
	}
	for _, p := range places {
		want, err := a.LeafHash(p)
		if err != nil {
			return f.damaged(err)
		}
		if p == 1 && !strings.HasSuffix(origin, "-"+hex.EncodeToString(want[:4])) {
			return f.found(Finding{What: words.Say("seal.other-origin", "origin", origin), Place: 1})
		}
		for e, err := range f.stream.Read(ctx, p, p) {
			if err != nil {
				return f.damaged(err)
			}
			if ledger.LeafHash(e.Body) != want {
				return f.found(Finding{What: words.Say("seal.differs", "place", p), Place: p})
			}
		}
	}
	return nil
}

// sealAgainAfter is how long the sealer waits after the disk refused it.
const sealAgainAfter = 2 * time.Second

// runSeal starts the sealer. If the disk refuses it, it is started again: what was acknowledged stands in the stream, and
// answers say meanwhile that it is not sealed. If the two stores do not fit each other, the program stops.
func (f *farm) runSeal(ring *seal.Ring) {
	s := &f.seal
	if !ring.CanSign() && ring.Next() == nil {
		//words:data a line of the log
		f.app.o.Logger.Warn("the key that signs checkpoints is not there; nothing is sealed", "service", "seal", "farm", f.code)
		return
	}
	ctx, stop := context.WithCancel(context.Background())
	s.stop = stop
	s.sealer.Store(f.newSealer(ring))
	s.running.Go(func() {
		for {
			err := s.sealer.Load().Run(ctx, nil)
			if err == nil {
				return
			}
			var hole *ledger.HoleError
			if !errors.Is(err, ledger.ErrStore) || errors.As(err, &hole) {
				f.app.failed(f.damaged(err))
				return
			}
			//words:data a line of the log
			f.app.o.Logger.Warn("records wait to be sealed", "service", "seal", "farm", f.code, "error", err)
			select {
			case <-ctx.Done():
				return
			case <-time.After(sealAgainAfter):
			}
			// A write that failed leaves the files uncertain: opening them finds out what stands there.
			old := s.archive.Load()
			_ = old.Close()
			if a, err := archive.Open(f.archiveDir(), archive.Options{Origin: ring.Key().Name(), Keys: ring.Public()}); err == nil {
				s.archive.Store(a)
				s.sealer.Store(f.newSealer(ring))
			}
		}
	})
}

func (f *farm) newSealer(ring *seal.Ring) *seal.Sealer {
	return seal.New(seal.Config{Stream: f.stream, Archive: f.seal.archive.Load(), Ring: ring, Every: f.app.o.SealEvery})
}

// abandon lets go of what a farm that could not be started has open.
func (f *farm) abandon() error {
	var errs []error
	if f.stopRecorder != nil {
		f.stopRecorder()
		f.recording.Wait()
	}
	if f.stopFolds != nil {
		f.stopFolds()
		f.folding.Wait()
	}
	if f.index != nil {
		errs = append(errs, f.index.Close())
	}
	if f.seal.stop != nil {
		f.seal.stop()
		f.seal.running.Wait()
	}
	if a := f.seal.archive.Load(); a != nil {
		errs = append(errs, a.Close())
	}
	return errors.Join(errs...)
}

// endSeal seals what is not sealed yet, and closes the archive.
func (f *farm) endSeal() error {
	// A ledger whose first record came by a command that ends now has no archive yet.
	err := f.beginSeal(context.Background())
	s := &f.seal
	s.begin.Lock()
	defer s.begin.Unlock()
	if s.stop != nil {
		s.stop()
		s.running.Wait()
	}
	if a := s.archive.Load(); a != nil {
		err = errors.Join(err, a.Close())
	}
	return err
}

// sealed reports whether a signed checkpoint covers a size.
func (f *farm) sealed(size uint64) bool { return size > 0 && f.seal.Sealed() >= size }

// sealNow seals everything that the ledger has, for those who need it: a backup, an audit, a bundle.
func (f *farm) sealNow(ctx context.Context) (proof.Signed, error) {
	if err := f.beginSeal(ctx); err != nil {
		return proof.Signed{}, err
	}
	s := f.seal.sealer.Load()
	if s == nil {
		return proof.Signed{}, &serve.Fault{Exit: 1, Text: words.Say("seal.no-key", "farm", f.code, "file", filepath.Join(f.keysDir(), "ledger.key"))}
	}
	if err := s.Seal(ctx); err != nil {
		return proof.Signed{}, f.damaged(err)
	}
	return f.seal.archive.Load().Checkpoint()
}

// keyFault says in a sentence what is wrong with a key file.
func keyFault(err error) error {
	var file *seal.KeyFileError
	if !errors.As(err, &file) {
		return err
	}
	key := "seal.key-damaged"
	switch {
	case errors.Is(err, proof.ErrOpenKey):
		key = "seal.key-open"
	case errors.Is(err, seal.ErrNoSecret):
		key = "seal.key-gone"
	}
	return &serve.Fault{Exit: 1, Text: words.Say(key, "file", file.File), Err: fmt.Errorf("app: %w", err)} //words:keys seal.key-
}
