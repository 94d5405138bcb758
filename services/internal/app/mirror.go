package app

import (
	"context"
	"errors"
	"time"

	"latewood/events/ledger"
	"latewood/events/words"
	"latewood/projections"
	"latewood/projections/store/pgstore"
	"latewood/services/project"
	"latewood/services/record"
	"latewood/services/serve"
)

// mirrorPause is how long rows may be behind the folds at least, so that many records cost one fold. Where writing takes
// long the pause is mirrorShare times as long as it took: the folds stand still while they are compared.
const (
	mirrorPause = time.Second
	mirrorShare = 4
	// mirrorLast is how long a farm that is closed waits for its last rows. The next start writes what is missing.
	mirrorLast = 5 * time.Second
	// mirrorRetry is the longest pause between attempts to reach the database.
	mirrorRetry = 30 * time.Second
)

// preparePostgres makes the tables, so that what is wrong with the database is told at the start.
func (a *App) preparePostgres(ctx context.Context) error {
	if a.o.Postgres == "" {
		return nil
	}
	err := pgstore.Prepare(ctx, a.o.Postgres)
	switch {
	case errors.Is(err, pgstore.ErrNewer):
		return &serve.Fault{Exit: 1, Text: words.Say("app.postgres-newer"), Err: err}
	case err != nil:
		return &serve.Fault{Exit: 1, Text: words.Say("app.postgres"), Err: err}
	}
	return nil
}

// startMirror keeps the farm's rows in Postgres, if that was asked for. A database that is away stops nothing: the farm
// goes on, and the rows follow when it is back.
//
//words:data lines of the log
func (f *farm) startMirror() {
	if f.app.o.Postgres == "" {
		return
	}
	ctx, stop := context.WithCancel(context.Background())
	f.stopMirror = stop
	f.mirroring.Go(func() {
		log := f.app.o.Logger.With("service", "mirror", "farm", f.code)
		pause := mirrorPause
		for {
			worked, err := f.mirror(ctx)
			switch {
			case err == nil:
				return
			case ctx.Err() != nil:
				log.Warn("the last rows were not written; the next start writes them", "error", err)
				return
			case errors.Is(err, pgstore.ErrFenced), errors.Is(err, pgstore.ErrOtherLedger), errors.Is(err, pgstore.ErrNewer), errors.Is(err, project.ErrBehind):
				log.Error("rows are not written to Postgres any more", "error", err)
				return
			}
			if worked {
				pause = mirrorPause
			}
			log.Warn("rows could not be written to Postgres; it is tried again", "error", err, "pause", pause)
			if !wait(ctx, pause) {
				return
			}
			pause = min(2*pause, mirrorRetry)
		}
	})
}

// mirror writes rows until ctx ends, and then once more (nil), or until something fails. worked tells that it wrote some.
func (f *farm) mirror(ctx context.Context) (worked bool, err error) {
	if err := f.projector.Wait(ctx, 1); err != nil { // a ledger has a name once it has a record
		if ctx.Err() != nil {
			return false, nil // and no row
		}
		return false, err
	}
	// What is under way when ctx ends may end, for a while.
	work, cut := context.WithCancel(context.WithoutCancel(ctx))
	defer cut()
	defer context.AfterFunc(ctx, func() { time.AfterFunc(mirrorLast, cut) })()
	origin, err := f.origin(work)
	if err != nil {
		return false, err
	}
	if err := pgstore.Prepare(work, f.app.o.Postgres); err != nil {
		return false, err
	}
	s, err := pgstore.Open(work, f.app.o.Postgres, f.code, origin, Folds())
	if err != nil {
		return false, err
	}
	defer s.Close(work)
	for {
		last := ctx.Err() != nil
		began := time.Now()
		var batch *pgstore.Batch
		err := f.projector.With(func(b *projections.Book) (err error) {
			batch, err = s.Gather(b)
			return err
		})
		if err == nil {
			err = s.Commit(work, batch)
		}
		if err != nil {
			return worked, err
		}
		worked = true
		if last {
			return worked, nil
		}
		if !wait(ctx, max(mirrorPause, mirrorShare*time.Since(began))) {
			continue
		}
		if err := f.projector.Wait(ctx, s.Size()+1); err != nil && ctx.Err() == nil {
			return worked, err
		}
	}
}

// origin names the farm's ledger by its first record.
func (f *farm) origin(ctx context.Context) (string, error) {
	for e, err := range f.log.Read(ctx, 1, 1) {
		if err != nil {
			return "", err
		}
		return (&record.State{First: ledger.LeafHash(e.Body)}).Origin(f.code), nil
	}
	return "", errors.New("app: the ledger has no first record")
}

// wait reports whether a time has passed before ctx ended.
func wait(ctx context.Context, d time.Duration) bool {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-t.C:
		return true
	case <-ctx.Done():
		return false
	}
}
