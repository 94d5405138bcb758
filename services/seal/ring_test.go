package seal_test

import (
	"crypto/rand"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"latewood/events/ledger/proof"
	"latewood/services/seal"
)

func lose(t *testing.T, dir string) {
	t.Helper()
	if err := os.Remove(filepath.Join(dir, "keys", "ledger.key")); err != nil {
		t.Fatal(err)
	}
}

func TestRing(t *testing.T) {
	t.Parallel()
	dir := filepath.Join(t.TempDir(), "keys")
	r, err := seal.OpenRing(dir, origin, rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	if !r.CanSign() || r.Key().Name() != origin || len(r.Public()) != 1 {
		t.Errorf("a new ring: %v, %v", r.Key(), r.Public())
	}
	info, err := os.Stat(filepath.Join(dir, "ledger.key"))
	if err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("the secret's mode: %v, %v, want 0600", info.Mode(), err)
	}
	again, err := seal.OpenRing(dir, origin, strings.NewReader("")) // no randomness is needed
	if err != nil || again.Key() != r.Key() {
		t.Errorf("again: got %v, %v, want %v", again.Key(), err, r.Key())
	}
	// A crash between the secret and its line.
	if err := os.Remove(filepath.Join(dir, "ledger.vkeys")); err != nil {
		t.Fatal(err)
	}
	if again, err = seal.OpenRing(dir, origin, rand.Reader); err != nil || again.Key() != r.Key() || len(again.Public()) != 1 {
		t.Errorf("without the line: got %v, %v", again.Public(), err)
	}
	keys, err := seal.PublicKeys(dir)
	if err != nil || len(keys) != 1 || keys[0] != r.Key() {
		t.Errorf("public keys: %v, %v", keys, err)
	}
}

func TestRingRefused(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		name string
		hurt func(t *testing.T, dir string) error
		want error // nil: any KeyFileError
	}{
		{"others may read it", func(_ *testing.T, dir string) error { return os.Chmod(filepath.Join(dir, "ledger.key"), 0o644) }, proof.ErrOpenKey},
		{"no secret", func(_ *testing.T, dir string) error {
			return os.WriteFile(filepath.Join(dir, "ledger.key"), []byte("x\n"), 0o600)
		}, nil},
		{"cut", func(t *testing.T, dir string) error {
			b, err := os.ReadFile(filepath.Join(dir, "ledger.key"))
			if err != nil {
				t.Fatal(err)
			}
			return os.WriteFile(filepath.Join(dir, "ledger.key"), b[:len(b)-3], 0o600)
		}, nil},
		{"no key in the list", func(_ *testing.T, dir string) error {
			return os.WriteFile(filepath.Join(dir, "ledger.vkeys"), []byte("x\n"), 0o600)
		}, nil},
		{"of another ledger", func(_ *testing.T, dir string) error {
			s, err := proof.Generate(rand.Reader, "latewood/other-00000000")
			if err != nil {
				return err
			}
			return os.WriteFile(filepath.Join(dir, "ledger.key"), s.File(), 0o600)
		}, nil},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			dir := t.TempDir()
			if _, err := seal.OpenRing(dir, origin, rand.Reader); err != nil {
				t.Fatal(err)
			}
			if err := tt.hurt(t, dir); err != nil {
				t.Fatal(err)
			}
			var file *seal.KeyFileError
			if _, err := seal.OpenRing(dir, origin, rand.Reader); !errors.As(err, &file) || tt.want != nil && !errors.Is(err, tt.want) {
				t.Errorf("got %v, want a KeyFileError, %v", err, tt.want)
			} else if strings.Contains(err.Error(), "PRIVATE+KEY+latewood") {
				t.Errorf("the error shows a secret: %v", err)
			}
		})
	}
}

// TestChange cuts a change of the key off behind each of its steps and opens the folder again.
func TestChange(t *testing.T) {
	t.Parallel()
	for _, steps := range []int{0, 1, 2, 3} {
		r := newRig(t)
		r.record(3)
		if err := r.sealer(seal.Config{}).Seal(t.Context()); err != nil {
			t.Fatal(err)
		}
		old := r.ring.Key()
		var next proof.Key
		for step := range steps {
			var err error
			switch step {
			case 0:
				next, err = r.ring.Prepare(rand.Reader)
				r.a.Trust(next)
			case 1:
				r.record(1) // key.changed
				err = r.sealer(seal.Config{}).SealAgain(t.Context())
			case 2:
				err = r.ring.Finish()
			}
			if err != nil {
				t.Fatalf("step %d: %v", step, err)
			}
		}
		if err := r.a.Close(); err != nil {
			t.Fatal(err)
		}
		r.open()
		if steps > 0 && steps < 3 {
			again, err := r.ring.Prepare(strings.NewReader("")) // goes on with the same secret
			if err != nil || again != next {
				t.Errorf("cut off behind step %d: got %v, %v, want %v", steps, again, err, next)
			}
			r.a.Trust(next)
		}
		r.record(1)
		if err := r.sealer(seal.Config{}).Seal(t.Context()); err != nil {
			t.Fatal(err)
		}
		s, err := r.a.Checkpoint()
		if err != nil {
			t.Fatal(err)
		}
		_, oldErr := proof.OpenCheckpoint(s.Note, origin, old)
		if (oldErr == nil) != (steps < 3) {
			t.Errorf("behind step %d: signed by the old key: %v", steps, oldErr)
		}
		if steps > 0 {
			if _, err := proof.OpenCheckpoint(s.Note, origin, next); err != nil {
				t.Errorf("behind step %d: not signed by the new key: %v", steps, err)
			}
		}
		r.wantSealed(r.n)
	}
}
