package app

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"sync"
	"time"

	"latewood/events"
	"latewood/events/ledger"
	"latewood/events/ledger/disk"
	"latewood/events/ledger/idindex"
	"latewood/events/words"
	"latewood/projections"
	"latewood/services/attach"
	"latewood/services/project"
	"latewood/services/record"
	"latewood/services/register"
	"latewood/services/serve"
)

// farm is one farm with its services running.
type farm struct {
	app    *App
	code   string
	dir    string
	stream ledger.Log // the ledger itself
	log    ledger.Log // the same, its sealed part read from the archive
	seal   sealing
	owner  string // pseudonym of the owner, who enters what comes without a login

	people *register.Register
	files  *attach.Store
	spots  map[string]*spot // where records can name persons, by kind

	index     *idindex.Index
	state     *record.State
	projector *project.Projector
	recorder  *record.Recorder

	stopRecorder context.CancelFunc
	stopFolds    context.CancelFunc
	stopMirror   context.CancelFunc // nil: no rows are written to Postgres
	recording    sync.WaitGroup
	folding      sync.WaitGroup
	mirroring    sync.WaitGroup
	savedSize    uint64 // of the caches on disk
	// importing keeps imports apart: each says which flags it caused.
	importing sync.Mutex
}

// start reads the ledger and runs the services: the index and the recorder's state, the folds, then the committer.
func (f *farm) start(ctx context.Context) (err error) {
	if f.owner, err = f.loadOwner(); err != nil {
		return err
	}
	if err := f.openPeople(); err != nil {
		return err
	}
	// Before anything is read: what is sealed is read from the archive.
	if err := f.beginSeal(ctx); err != nil {
		return err
	}
	ids, covered, err := idindex.Open(filepath.Join(f.dir, "folds", "ids"))
	if err != nil {
		return folderFault(f.dir, err)
	}
	f.index = ids
	saved := f.loadState(ctx)
	f.savedSize = saved.Size()
	// The mark of the caches, taken before the state runs on.
	mark := projections.Mark{Origin: saved.Origin(f.code), Size: saved.Size(), Root: saved.Root()}
	f.state = saved
	if err := f.catchUp(ctx, covered); err != nil {
		return f.damaged(err)
	}
	f.projector = project.New(project.Config{
		Farm: f.code, Log: f.log, Folds: Folds(), Snapshot: filepath.Join(f.dir, "folds", "book.snapshot"),
		Logger: f.app.o.Logger,
		Trust:  func(m projections.Mark) bool { return m == mark && m.Size > 0 },
		Mark: func(size uint64) (projections.Mark, bool) {
			return projections.Mark{Origin: f.state.Origin(f.code), Size: size, Root: f.state.Root()}, size == f.state.Size()
		},
	})
	if err := f.projector.CatchUp(ctx); err != nil {
		return f.damaged(err)
	}
	zone := time.UTC
	_ = f.projector.With(func(b *projections.Book) error { zone = b.Zone(); return nil })
	f.recorder = record.New(record.Config{
		Farm: f.code, Log: f.log, Index: index{f.index}, Folds: f.projector, State: f.state, Zone: zone, Now: f.app.o.Now,
	})
	if err := f.run(); err != nil {
		return err
	}
	if err := f.resumeKey(ctx); err != nil {
		return err
	}
	if err := f.settleErasures(ctx); err != nil {
		return err
	}
	f.startMirror()
	return nil
}

// run starts the folds' delivery and the committer, and returns when delivery stands.
func (f *farm) run() error {
	ready := make(chan struct{})
	folds, stopFolds := context.WithCancel(context.Background())
	f.stopFolds = stopFolds
	ended := make(chan error, 1)
	f.folding.Go(func() {
		err := f.projector.Run(folds, sync.OnceFunc(func() { close(ready) }))
		if err != nil {
			f.app.failed(f.damaged(err))
		}
		ended <- err
	})
	recording, stopRecorder := context.WithCancel(context.Background())
	f.stopRecorder = stopRecorder
	f.recording.Go(func() {
		if err := f.recorder.Run(recording); err != nil {
			f.app.failed(&serve.Fault{Exit: 1, Text: words.Say("app.recorder", "farm", f.code), Err: err})
		}
	})
	select {
	case <-ready:
		return nil
	case err := <-ended:
		return errors.Join(errors.New("app: the folds ended at once"), err)
	}
}

// loadState reads the recorder's state and trusts it only where the ledger bears it out: its first and last record must
// stand in the ledger where it says.
func (f *farm) loadState(ctx context.Context) *record.State {
	file, err := os.Open(f.statePath())
	if err != nil {
		return record.NewState()
	}
	defer file.Close()
	s, err := record.LoadState(file)
	if err != nil || s.Size() == 0 || !f.stands(ctx, 1, s.First) || !f.stands(ctx, s.Size(), s.LastLeaf) {
		return record.NewState()
	}
	return s
}

func (f *farm) stands(ctx context.Context, place uint64, leaf ledger.Hash) bool {
	last, err := f.log.Last(ctx)
	if err != nil || last < place {
		return false
	}
	for e, err := range f.log.Read(ctx, place, place) {
		return err == nil && ledger.LeafHash(e.Body) == leaf
	}
	return false
}

// catchUp brings the recorder's state and the index of ids up to the ledger's end.
func (f *farm) catchUp(ctx context.Context, indexed uint64) error {
	last, err := f.log.Last(ctx)
	if err != nil {
		return err
	}
	first := min(f.state.Size(), indexed) + 1
	if first > last {
		return nil
	}
	for r, err := range project.Records(ctx, f.log, first, last) {
		if err != nil {
			return err
		}
		if r.Place > f.state.Size() {
			if err := f.state.Apply(r); err != nil {
				return err
			}
		}
		if r.Place > indexed {
			f.index.Add(r.ID, r.Place)
		}
	}
	return nil
}

func (f *farm) statePath() string { return filepath.Join(f.dir, "folds", "recorder.state") }

// close stops the farm's services and writes the caches down, if something came since.
func (f *farm) close() error {
	f.stopRecorder()
	f.recording.Wait()
	wait, cancel := context.WithTimeout(context.Background(), 10*time.Second)
	defer cancel()
	behind := f.projector.Wait(wait, f.state.Size()) // a batch that is under way is finished
	if f.stopMirror != nil {
		f.stopMirror()
		f.mirroring.Wait()
	}
	f.stopFolds()
	f.folding.Wait()
	var errs []error
	if f.state.Size() > f.savedSize && behind == nil {
		errs = append(errs, f.projector.SaveSnapshot(), disk.WriteFile(f.statePath(), func(w io.Writer) error { return f.state.Save(w) }))
	}
	if f.state.Size() > 0 {
		errs = append(errs, f.index.Flush(f.state.Size()))
	}
	errs = append(errs, f.index.Close(), f.endSeal())
	return errors.Join(errs...)
}

// loadOwner reads the owner's pseudonym, and makes one when the farm is new.
func (f *farm) loadOwner() (string, error) {
	path := filepath.Join(f.dir, "people", "owner.json")
	b, err := os.ReadFile(path)
	if err == nil {
		var o struct {
			Code string `json:"code"`
		}
		if err := events.ReadJSON(b, &o); err != nil || !events.IsPseudonym(o.Code) {
			return "", &serve.Fault{Exit: 1, Text: words.Say("app.owner", "file", path), Err: err}
		}
		return o.Code, nil
	}
	// A register that lost the file beside it still knows who the owner is.
	code, err := register.OwnerOf(filepath.Dir(path))
	if err != nil {
		return "", registerFault(err)
	}
	if code == "" {
		var random [16]byte
		if _, err := rand.Read(random[:]); err != nil {
			return "", fmt.Errorf("app: random bytes: %w", err)
		}
		code = events.NewPseudonym(random)
	}
	return code, disk.WriteFile(path, func(w io.Writer) error {
		_, err := fmt.Fprintf(w, "{\"code\":%q}\n", code)
		return err
	})
}
