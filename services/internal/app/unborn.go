package app

import (
	"context"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"latewood/events"
	"latewood/events/ledger"
	"latewood/events/ledger/disk"
	"latewood/services/internal/natsbox"
)

// A farm is born with its first record. A program that ends before it can leave a folder and a stream without one, and, worse,
// a stream whose settings the broker wrote without their checksum: the broker takes the half-made stream over when it is made again,
// never writes the checksum, and does not know the stream at the next start, with all the records that it got. So what is left of
// a farm that was never born is swept away before the broker starts.
//
// Nothing goes that could have held a record: a stream is left alone if a record or a damaged place is in it, a folder if it has
// any file but that of the owner's pseudonym, which no record has named yet.
func (a *App) sweepUnborn(ctx context.Context) error {
	broker := filepath.Join(a.o.Dir, "broker")
	codes, err := a.Codes()
	if err != nil {
		return err
	}
	for _, code := range codes {
		dir := filepath.Join(a.o.Dir, "farms", code)
		if held, err := heldFiles(dir); err != nil || held {
			if err != nil {
				return folderFault(a.o.Dir, err)
			}
			continue
		}
		// The stream goes first: if we crash behind it, the folder is still that of an unborn farm.
		gone, err := a.sweepStream(ctx, broker, code)
		if err != nil {
			return folderFault(a.o.Dir, err)
		}
		if !gone {
			continue
		}
		if err := errors.Join(os.RemoveAll(dir), disk.SyncDir(filepath.Dir(dir))); err != nil {
			return folderFault(a.o.Dir, err)
		}
		//words:data a line of the log
		a.o.Logger.Debug("a farm without a record was swept away", "farm", code)
	}
	streams, err := natsbox.Ledgers(broker)
	if err != nil {
		return folderFault(a.o.Dir, err)
	}
	for _, code := range streams {
		if !events.IsCode(code) || slices.Contains(codes, code) {
			continue
		}
		if _, err := a.sweepStream(ctx, broker, code); err != nil {
			return folderFault(a.o.Dir, err)
		}
	}
	return nil
}

// errBorn ends a look at the first record.
var errBorn = errors.New("app: there is a record")

// sweepStream takes the stream of a farm away if nothing was ever stored in it, and reports whether there is none now.
func (a *App) sweepStream(ctx context.Context, broker, code string) (bool, error) {
	dir := natsbox.StreamDir(broker, code)
	if _, err := os.Lstat(dir); errors.Is(err, fs.ErrNotExist) {
		return true, nil
	}
	look, err := natsbox.LookAt(ctx, broker, code, 0, func(ledger.Entry) error { return errBorn })
	if errors.Is(err, errBorn) {
		return false, nil
	}
	if err != nil {
		return false, err
	}
	if slices.ContainsFunc(look.Spots, func(s natsbox.Spot) bool { return !s.Torn }) {
		return false, nil
	}
	return true, errors.Join(os.RemoveAll(dir), disk.SyncDir(filepath.Dir(dir)))
}

// heldFiles reports whether a farm's folder holds anything that a farm without a record does not have.
func heldFiles(dir string) (held bool, err error) {
	err = filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		// Also the half of it that a kill leaves beside it.
		if filepath.Dir(path) != filepath.Join(dir, "people") || !strings.HasPrefix(d.Name(), "owner.json") {
			held = true
			return fs.SkipAll
		}
		return nil
	})
	return held, err
}
