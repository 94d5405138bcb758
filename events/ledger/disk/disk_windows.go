package disk

import (
	"errors"
	"os"

	"golang.org/x/sys/windows"
)

// SyncDir does nothing on Windows: a folder cannot be synced there, and replace writes the name through.
func SyncDir(string) error { return nil }

// Free is the number of bytes that the user can still write to the disk under path.
func Free(path string) (int64, error) {
	p, err := windows.UTF16PtrFromString(path)
	if err != nil {
		return 0, &os.PathError{Op: "GetDiskFreeSpaceEx", Path: path, Err: err}
	}
	var free uint64
	if err := windows.GetDiskFreeSpaceEx(p, &free, nil, nil); err != nil {
		return 0, &os.PathError{Op: "GetDiskFreeSpaceEx", Path: path, Err: err}
	}
	return int64(free), nil
}

// IsFull says whether an error of the system means that there is no room left.
func IsFull(err error) bool {
	return errors.Is(err, windows.ERROR_DISK_FULL) || errors.Is(err, windows.ERROR_HANDLE_DISK_FULL)
}

// IsReadOnly says whether an error of the system means that one may not write here.
func IsReadOnly(err error) bool {
	return errors.Is(err, os.ErrPermission) || errors.Is(err, windows.ERROR_WRITE_PROTECT)
}

func replace(from, to string) error {
	f, err := windows.UTF16PtrFromString(from)
	if err != nil {
		return err
	}
	t, err := windows.UTF16PtrFromString(to)
	if err != nil {
		return err
	}
	return windows.MoveFileEx(f, t, windows.MOVEFILE_REPLACE_EXISTING|windows.MOVEFILE_WRITE_THROUGH)
}

func lock(f *os.File) error {
	const flags = windows.LOCKFILE_EXCLUSIVE_LOCK | windows.LOCKFILE_FAIL_IMMEDIATELY
	err := windows.LockFileEx(windows.Handle(f.Fd()), flags, 0, 1, 0, new(windows.Overlapped))
	if errors.Is(err, windows.ERROR_LOCK_VIOLATION) {
		return ErrLocked
	}
	return err
}
