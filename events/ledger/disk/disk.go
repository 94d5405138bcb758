// Package disk is the little that differs between systems when a file has to be there after a power cut: replacing
// a file in one step, syncing a folder, holding a lock that dies with its holder, asking for free space.
//
// A rename is atomic for readers on every system that the program runs on, but the new name is only durable when its
// folder has been synced as well (POSIX leaves that open; on Linux and macOS the folder is a file that can be
// synced, on Windows the rename itself is asked to be written through).
package disk

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
)

// ErrLocked says that another process, or another part of this one, holds the lock.
var ErrLocked = errors.New("disk: held by another process")

// WriteFile puts a file at path, or replaces the one there, so that after a crash at any moment path holds either the
// old content whole or the new content whole. write is called once; what it writes is buffered. If write fails, path is
// as it was. The file is readable and writable for its owner only.
//
// The temporary file is path + ".tmp". One that a crash left behind is written over by the next call; two callers at
// once on one path are a mistake of the callers.
func WriteFile(path string, write func(io.Writer) error) (err error) {
	temp := path + ".tmp"
	f, err := os.OpenFile(temp, os.O_WRONLY|os.O_CREATE|os.O_TRUNC, 0o600)
	if err != nil {
		return fmt.Errorf("disk: writing %s: %w", path, err)
	}
	defer func() {
		if err != nil {
			f.Close()
			os.Remove(temp)
			err = fmt.Errorf("disk: writing %s: %w", path, err)
		}
	}()
	w := bufio.NewWriterSize(f, 1<<16)
	if err := write(w); err != nil {
		return err
	}
	if err := w.Flush(); err != nil {
		return err
	}
	// If we crash before this sync, path is the old file. Without it the rename could reach the disk before the content,
	// and path would be the new file with old or no bytes.
	if err := f.Sync(); err != nil {
		return err
	}
	if err := f.Close(); err != nil {
		return err
	}
	// If we crash here, path is the old file and temp is left over.
	if err := replace(temp, path); err != nil {
		return err
	}
	// If we crash before this sync, path may be the old file or the new one, each whole.
	return SyncDir(filepath.Dir(path))
}

// A Lock is held until Unlock, or until its process ends, however it ends.
type Lock struct {
	file *os.File
}

// TryLock takes the lock on the file at path, which it makes if it is not there and never removes. It does not wait:
// if the lock is held, also by this process, the error Is ErrLocked. Lock a file of its own, never one with content: on
// Windows the locked bytes cannot be read by others.
func TryLock(path string) (*Lock, error) {
	f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE, 0o600)
	if err != nil {
		return nil, fmt.Errorf("disk: locking %s: %w", path, err)
	}
	if err := lock(f); err != nil {
		f.Close()
		return nil, fmt.Errorf("disk: locking %s: %w", path, err)
	}
	return &Lock{f}, nil
}

// Unlock gives the lock back. A second call does nothing.
func (l *Lock) Unlock() error {
	if l.file == nil {
		return nil
	}
	f := l.file
	l.file = nil
	// Closing the only handle releases the lock on every system.
	return f.Close()
}
