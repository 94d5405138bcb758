//go:build linux || darwin

package disk

import (
	"errors"
	"os"
	"syscall"
)

// SyncDir makes the names in a folder durable: files made, renamed and removed in it.
func SyncDir(dir string) error {
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	err = d.Sync()
	if cerr := d.Close(); err == nil {
		err = cerr
	}
	return err
}

// Free is the number of bytes that an ordinary user can still write to the disk under path.
func Free(path string) (int64, error) {
	var st syscall.Statfs_t
	if err := syscall.Statfs(path, &st); err != nil {
		return 0, &os.PathError{Op: "statfs", Path: path, Err: err}
	}
	return int64(uint64(st.Bavail) * uint64(st.Bsize)), nil
}

// IsFull says whether an error of the system means that there is no room left.
func IsFull(err error) bool {
	return errors.Is(err, syscall.ENOSPC) || errors.Is(err, syscall.EDQUOT) || errors.Is(err, syscall.EFBIG)
}

// IsReadOnly says whether an error of the system means that one may not write here.
func IsReadOnly(err error) bool {
	return errors.Is(err, os.ErrPermission) || errors.Is(err, syscall.EROFS)
}

func replace(from, to string) error { return os.Rename(from, to) }

func lock(f *os.File) error {
	// flock, not fcntl: it belongs to the open file, so that a second opening in the same process is refused too, and
	// closing some other handle of the file does not give it up.
	for {
		err := syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB)
		switch {
		case errors.Is(err, syscall.EINTR):
			continue
		case errors.Is(err, syscall.EWOULDBLOCK):
			return ErrLocked
		}
		return err
	}
}
