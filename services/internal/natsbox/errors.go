package natsbox

import (
	"errors"
	"fmt"

	"latewood/events/ledger/disk"
)

// What can be wrong with the broker's folder. Start and Health return errors that Is one of these where they can tell.
var (
	// ErrReadOnly says that this process may not write to the folder.
	ErrReadOnly = errors.New("the folder cannot be written to")
	// ErrInUse says that another broker has the folder open.
	ErrInUse = errors.New("the folder is in use by another process")
	// ErrFull says that there is no room left on the disk.
	ErrFull = errors.New("the disk is full")
)

var errStopped = errors.New("natsbox: the broker is stopped")

// A FolderError is a trouble with the broker's folder.
type FolderError struct {
	Dir   string
	Doing string // "opening", "locking", "writing", "measuring"
	Err   error  // Is ErrReadOnly, ErrInUse or ErrFull where that is known, and the system's own error
}

func (e *FolderError) Error() string {
	return fmt.Sprintf("natsbox: %s in %s: %v", e.Doing, e.Dir, e.Err)
}

func (e *FolderError) Unwrap() error { return e.Err }

// folderError says what an error of the file system means for the folder.
func folderError(dir, doing string, err error) error {
	if err == nil {
		return nil
	}
	switch {
	case errors.Is(err, disk.ErrLocked):
		err = fmt.Errorf("%w: %w", ErrInUse, err)
	case disk.IsReadOnly(err):
		err = fmt.Errorf("%w: %w", ErrReadOnly, err)
	case disk.IsFull(err):
		err = fmt.Errorf("%w: %w", ErrFull, err)
	}
	return &FolderError{Dir: dir, Doing: doing, Err: err}
}
