package archive

import (
	"fmt"
	"io"
	"os"
	"path"
	"path/filepath"
	"slices"

	"latewood/events/ledger"
	"latewood/events/ledger/disk"
)

// files writes below the archive's folder.
type files struct {
	dir string
	// step is for tests: it is called before each step that a crash could cut off, and an error of it ends the work
	// there as a crash would. Nil in the program.
	step func(what, name string) error
}

func (f files) path(name string) string { return filepath.Join(f.dir, filepath.FromSlash(name)) }

func (f files) before(what, name string) error {
	if f.step == nil {
		return nil
	}
	return f.step(what, name)
}

// put writes a file whole and synced, under its name. The name itself is durable only after syncNames.
func (f files) put(name string, content []byte) error {
	to := f.path(name)
	if err := os.MkdirAll(filepath.Dir(to), 0o700); err != nil {
		return store("making", path.Dir(name), err)
	}
	if err := f.before("write", name); err != nil {
		return err
	}
	temp := to + ".tmp"
	w, err := os.OpenFile(temp, os.O_WRONLY|os.O_CREATE|os.O_TRUNC, 0o600)
	if err != nil {
		return store("writing", name, err)
	}
	_, err = w.Write(content)
	if err == nil {
		err = w.Sync()
	}
	if cerr := w.Close(); err == nil {
		err = cerr
	}
	if err == nil {
		if err := f.before("rename", name); err != nil {
			return err
		}
		err = os.Rename(temp, to)
	}
	if err != nil {
		os.Remove(temp)
		return store("writing", name, err)
	}
	return nil
}

// syncNames makes the names of files durable: their folders, and those above, which may be new.
func (f files) syncNames(names []string) error {
	var dirs []string
	for _, name := range names {
		for d := path.Dir(name); d != "."; d = path.Dir(d) {
			dirs = append(dirs, d)
		}
	}
	dirs = append(dirs, ".")
	slices.Sort(dirs)
	dirs = slices.Compact(dirs)
	slices.Reverse(dirs) // what lies deeper first
	if err := f.before("sync", "names"); err != nil {
		return err
	}
	for _, d := range dirs {
		if err := disk.SyncDir(f.path(d)); err != nil {
			return store("syncing", d, err)
		}
	}
	return nil
}

// replace puts a file in the place of another in one step, durable with its name.
func (f files) replace(name string, content []byte) error {
	if err := f.before("replace", name); err != nil {
		return err
	}
	err := disk.WriteFile(f.path(name), func(w io.Writer) error {
		_, err := w.Write(content)
		return err
	})
	if err != nil {
		return store("replacing", name, err)
	}
	return nil
}

// store is an error of the disk, in the words of the ledger's contract.
func store(doing, name string, err error) error {
	return fmt.Errorf("archive: %s %s: %w: %w", doing, name, ledger.ErrStore, err)
}

func (f files) remove(name string) error {
	if err := f.before("remove", name); err != nil {
		return err
	}
	if err := os.Remove(f.path(name)); err != nil {
		return store("removing", name, err)
	}
	return nil
}
