package app

import (
	"os"
	"path/filepath"
	"testing"

	"latewood/services/internal/natsbox"
)

// What a kill leaves of a farm before its first record does not stand in the way of opening it, and the farm that is opened then is
// there at the next start. Where there is a record, nothing is swept.
func TestUnborn(t *testing.T) {
	t.Parallel()
	open := func(t *testing.T, dir string) *App {
		t.Helper()
		a, err := Open(t.Context(), Options{Dir: dir})
		if err != nil {
			t.Fatal(err)
		}
		return a
	}
	request := OpenRequest{Farm: "hollow", Name: "Hollow", Zone: "Pacific/Honolulu", Latitude: 19.7, Longitude: -155.1}
	stream := func(dir string) string { return natsbox.StreamDir(filepath.Join(dir, "broker"), "hollow") }
	remove := func(t *testing.T, path string) {
		t.Helper()
		if _, err := os.Stat(path); err != nil {
			t.Fatal(err)
		}
		if err := os.RemoveAll(path); err != nil {
			t.Fatal(err)
		}
	}
	farmDir := func(dir string) string { return filepath.Join(dir, "farms", "hollow") }
	for name, leave := range map[string]func(t *testing.T, dir string){
		"a stream and a folder":       func(*testing.T, string) {},
		"a stream without a folder":   func(t *testing.T, dir string) { remove(t, farmDir(dir)) },
		"a folder without a stream":   func(t *testing.T, dir string) { remove(t, stream(dir)) },
		"settings without a checksum": func(t *testing.T, dir string) { remove(t, filepath.Join(stream(dir), "meta.sum")) },
		"settings without a checksum or a folder": func(t *testing.T, dir string) {
			remove(t, filepath.Join(stream(dir), "meta.sum"))
			remove(t, farmDir(dir))
		},
		"an empty stream folder": func(t *testing.T, dir string) {
			remove(t, stream(dir))
			_ = os.Mkdir(stream(dir), 0o700)
			remove(t, farmDir(dir))
		},
		"half a file of the owner's pseudonym": func(t *testing.T, dir string) {
			p := filepath.Join(farmDir(dir), "people", "owner.json")
			_ = os.Rename(p, p+".tmp")
		},
		"a first record that was cut off": func(t *testing.T, dir string) {
			_ = os.WriteFile(filepath.Join(stream(dir), "msgs", "1.blk"), []byte{90, 0, 0, 0, 1, 0}, 0o600)
		},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			dir := t.TempDir()
			a := open(t, dir)
			if _, err := a.create(t.Context(), "hollow"); err != nil {
				t.Fatal(err)
			}
			if err := a.Close(); err != nil {
				t.Fatal(err)
			}
			leave(t, dir)
			a = open(t, dir)
			if codes, err := a.Codes(); err != nil || len(codes) != 0 {
				t.Errorf("farms %v, %v, want none", codes, err)
			}
			if _, exit, err := a.opOpen(t.Context(), request); err != nil || exit != 0 {
				t.Fatalf("opening the farm: exit %d, %v", exit, err)
			}
			if err := a.Close(); err != nil {
				t.Fatal(err)
			}
			a = open(t, dir)
			defer a.Close()
			f, err := a.farm(t.Context(), "")
			if err != nil {
				t.Fatalf("the next start: %v", err)
			}
			if n := f.recorder.Head().Size; n != 1 {
				t.Errorf("%d records, want 1", n)
			}
		})
	}
	t.Run("a record", func(t *testing.T) {
		t.Parallel()
		dir := t.TempDir()
		a := open(t, dir)
		if _, exit, err := a.opOpen(t.Context(), request); err != nil || exit != 0 {
			t.Fatalf("opening the farm: exit %d, %v", exit, err)
		}
		if err := a.Close(); err != nil {
			t.Fatal(err)
		}
		// As a kill leaves it between the first record and the keys.
		remove(t, filepath.Join(farmDir(dir), "keys"))
		remove(t, filepath.Join(farmDir(dir), "archive"))
		remove(t, filepath.Join(farmDir(dir), "folds"))
		a = open(t, dir)
		defer a.Close()
		if f, err := a.farm(t.Context(), ""); err != nil || f.recorder.Head().Size != 1 {
			t.Errorf("the farm with a record: %v", err)
		}
	})
}
