package seal

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"sync"

	"latewood/events/ledger/disk"
	"latewood/events/ledger/proof"
)

// Names in a farm's folder of keys.
const (
	secretName = "ledger.key"   // the secret that signs
	nextName   = "next.key"     // the one that is to take its place
	publicName = "ledger.vkeys" // every verifier key that the ledger ever had, one a line, the newest last
)

// ErrNoSecret says that the ledger has a history of keys and the secret of the newest is not there.
var ErrNoSecret = errors.New("seal: the secret key is not there")

// A KeyFileError says that a file of keys cannot be used.
type KeyFileError struct {
	File string
	Err  error // Is proof.ErrOpenKey, ErrNoSecret, or says what is wrong with the content
}

func (e *KeyFileError) Error() string { return fmt.Sprintf("seal: key file %s: %v", e.File, e.Err) }
func (e *KeyFileError) Unwrap() error { return e.Err }

// A Ring is the keys of one ledger, in a folder.
type Ring struct {
	dir    string
	origin string

	mu     sync.RWMutex // guards what follows
	secret proof.Secret
	have   bool // the secret is there
	next   *proof.Secret
	public []proof.Key
}

// OpenRing reads the keys of the ledger called origin. A ledger that never had one gets one, from 32 bytes of random. Where
// the secret is lost, the ring is returned all the same, with an error that Is ErrNoSecret: what was signed can be checked,
// and nothing can be signed.
func OpenRing(dir, origin string, random io.Reader) (*Ring, error) {
	r := &Ring{dir: dir, origin: origin}
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return nil, fmt.Errorf("seal: keys: %w", err)
	}
	if err := r.readPublic(); err != nil {
		return nil, err
	}
	secret, there, err := r.read(secretName)
	if err != nil {
		return nil, err
	}
	next, thereNext, err := r.read(nextName)
	if err != nil {
		return nil, err
	}
	if thereNext {
		r.next = &next
	}
	switch {
	case there:
		r.secret, r.have = secret, true
		if !slices.Contains(r.public, secret.Key()) {
			// We crashed between the secret and its line, or somebody put back a secret from paper.
			return r, r.addPublic(secret.Key())
		}
		return r, nil
	case len(r.public) > 0:
		return r, &KeyFileError{filepath.Join(dir, secretName), ErrNoSecret}
	}
	if secret, err = proof.Generate(random, origin); err != nil {
		return nil, err
	}
	// If we crash before the secret is on the disk, nothing was signed with it, and another is made at the next start. If we
	// crash behind it, its line is added then.
	if err := r.write(secretName, secret.File()); err != nil {
		return nil, err
	}
	r.secret, r.have = secret, true
	return r, r.addPublic(secret.Key())
}

// read reads a secret; there is false if there is no file.
func (r *Ring) read(name string) (s proof.Secret, there bool, err error) {
	path := filepath.Join(r.dir, name)
	s, err = readSecret(path)
	if errors.Is(err, fs.ErrNotExist) {
		return s, false, nil
	}
	if err == nil && (s.Key().Name() != r.origin || s.Key().IsWitness()) {
		err = &KeyFileError{path, fmt.Errorf("a key of %q, want one of %q", s.Key().Name(), r.origin)}
	}
	return s, err == nil, err
}

// readSecret reads a key file. What is wrong with one that is there is a *KeyFileError.
func readSecret(path string) (proof.Secret, error) {
	b, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		return proof.Secret{}, err
	}
	mode := fs.FileMode(0o600)
	if err == nil && runtime.GOOS != "windows" { // modes say nothing there
		var info fs.FileInfo
		if info, err = os.Stat(path); err == nil {
			mode = info.Mode()
		}
	}
	var s proof.Secret
	if err == nil {
		s, err = proof.ParseSecretFile(b, mode)
	}
	if err != nil {
		return s, &KeyFileError{path, err}
	}
	return s, nil
}

func (r *Ring) readPublic() error {
	path := filepath.Join(r.dir, publicName)
	b, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return &KeyFileError{path, err}
	}
	for line := range strings.Lines(string(b)) {
		k, err := proof.ParseKey(strings.TrimSuffix(line, "\n"))
		if err != nil {
			return &KeyFileError{path, err}
		}
		if !slices.Contains(r.public, k) {
			r.public = append(r.public, k)
		}
	}
	return nil
}

func (r *Ring) addPublic(k proof.Key) error {
	var b bytes.Buffer
	for _, have := range append(slices.Clone(r.public), k) {
		b.WriteString(have.String() + "\n")
	}
	if err := r.write(publicName, b.Bytes()); err != nil {
		return err
	}
	r.public = append(r.public, k)
	return nil
}

func (r *Ring) write(name string, content []byte) error {
	err := disk.WriteFile(filepath.Join(r.dir, name), func(w io.Writer) error {
		_, err := w.Write(content)
		return err
	})
	if err != nil {
		return fmt.Errorf("seal: keys: %w", err)
	}
	return nil
}

// Public gives every verifier key that the ledger ever had, oldest first.
func (r *Ring) Public() []proof.Key {
	r.mu.RLock()
	defer r.mu.RUnlock()
	return slices.Clone(r.public)
}

// Key is the newest verifier key. The zero Key if there is none.
func (r *Ring) Key() proof.Key {
	r.mu.RLock()
	defer r.mu.RUnlock()
	if len(r.public) == 0 {
		return proof.Key{}
	}
	if r.have {
		return r.secret.Key()
	}
	return r.public[len(r.public)-1]
}

// CanSign says whether the secret is there.
func (r *Ring) CanSign() bool {
	r.mu.RLock()
	defer r.mu.RUnlock()
	return r.have
}

// Next is the key that is to take the place of the newest one, nil if none is.
func (r *Ring) Next() *proof.Key {
	r.mu.RLock()
	defer r.mu.RUnlock()
	if r.next == nil {
		return nil
	}
	k := r.next.Key()
	return &k
}

// signers are the secrets that sign now: two while the key is being changed.
func (r *Ring) signers() []proof.Secret {
	r.mu.RLock()
	defer r.mu.RUnlock()
	var out []proof.Secret
	if r.have {
		out = append(out, r.secret)
	}
	if r.next != nil {
		out = append(out, *r.next)
	}
	return out
}

// Prepare begins a change of the key: a new secret is made beside the old one, or found there where an earlier change was
// cut off. The caller appends key.changed, seals it, and calls Finish. From here on both secrets sign.
//
//  1. The new secret is written. A crash before: nothing happened.
//  2. Its line is added to the verifier keys. A crash before: the next Prepare adds it.
//  3. key.changed is appended. A crash before: the next start signs with both, which says no more than that both are here;
//     the change can be made again and goes on with the same secret.
//  4. A checkpoint over it is signed by both. A crash before: the next start signs it so.
//  5. Finish: the new secret takes the old one's place in one step. A crash before: the next start finds key.changed in the
//     ledger, and finishes.
func (r *Ring) Prepare(random io.Reader) (proof.Key, error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.next == nil {
		s, err := proof.Generate(random, r.origin)
		if err != nil {
			return proof.Key{}, err
		}
		if err := r.write(nextName, s.File()); err != nil { // 1
			return proof.Key{}, err
		}
		r.next = &s
	}
	k := r.next.Key()
	if !slices.Contains(r.public, k) {
		return k, r.addPublic(k) // 2
	}
	return k, nil
}

// Finish ends a change of the key. The old secret is gone with it: what it signed can be checked for ever, and nobody who
// finds this folder later can sign with it.
func (r *Ring) Finish() error { // 5
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.next == nil {
		return nil
	}
	if err := os.Rename(filepath.Join(r.dir, nextName), filepath.Join(r.dir, secretName)); err != nil {
		return fmt.Errorf("seal: keys: %w", err)
	}
	if err := disk.SyncDir(r.dir); err != nil {
		return fmt.Errorf("seal: keys: %w", err)
	}
	r.secret, r.have, r.next = *r.next, true, nil
	return nil
}

// PublicKeys reads the verifier keys of a folder, oldest first, and nothing else: none if the ledger has no keys yet.
func PublicKeys(dir string) ([]proof.Key, error) {
	r := Ring{dir: dir}
	err := r.readPublic()
	return r.public, err
}
