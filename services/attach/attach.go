// Package attach keeps the files that records point to: a scan of a label, a photograph, a laboratory's sheet. A record names
// a file by its SHA-256, so that the ledger's proofs reach the file without holding it.
//
//	files/ab/abcdef...   the bytes as they came, under their hash; never changed, readable by their owner only
//
// The name under which a file came and its type stand in the records that point to it. The same bytes are kept once,
// whatever they are called. What is read is hashed again on the way: a file that was changed on the disk is never handed out.
//
// What a file is, its content says and not its name. Only kinds that office and field have a use for are taken, because what
// is kept here is handed to other people for years; a program that calls itself a picture is refused.
//
// A file can hold names and faces, and a hash in the ledger cannot be taken back. Removing the file from the folder is
// enough to forget it: the records then say that it is missing.
package attach

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"unicode"
	"unicode/utf8"

	"latewood/events"
	"latewood/events/ledger/disk"
)

// MaxBytes is the largest file that is taken.
const MaxBytes = 25 << 20

// mostName is the longest name of a file, in letters.
const mostName = 120

// ErrMissing says that no file with this hash is kept.
var ErrMissing = errors.New("attach: missing")

// ErrDamaged says that what is kept under a hash has another one.
var ErrDamaged = errors.New("attach: damaged")

// A FileError says which file: ErrMissing or ErrDamaged.
type FileError struct {
	SHA256 string
	Path   string
	Err    error
}

func (e *FileError) Error() string { return fmt.Sprintf("%v: %s", e.Err, e.SHA256) }

func (e *FileError) Unwrap() error { return e.Err }

// A Store is the files of one farm. Its methods may be called by many goroutines at once.
type Store struct {
	dir string
	mu  sync.Mutex // one Put at a time
}

// New gives the store in a folder, which is there.
func New(dir string) *Store { return &Store{dir: dir} }

// A Kept is a file that was taken in: what a record says of it, its size in bytes, and whether it was kept before.
type Kept struct {
	Attachment events.Attachment
	Bytes      int64
	Known      bool
}

// Put takes a file in: it is on the disk, synced, when Put returns. name is what records call it; folders in it are dropped.
// The error is an events.Problem where the file is not one to keep.
func (s *Store) Put(r io.Reader, name string) (Kept, error) {
	name, err := baseName(name)
	if err != nil {
		return Kept{}, err
	}
	content, err := io.ReadAll(io.LimitReader(r, MaxBytes+1))
	switch {
	case err != nil:
		return Kept{}, fmt.Errorf("attach: reading: %w", err)
	case len(content) == 0:
		return Kept{}, problem(name, say("attach.empty"), say("attach.empty-instead"))
	case len(content) > MaxBytes:
		return Kept{}, problem(name, say("attach.large", "most", MaxBytes>>20), say("attach.large-instead"))
	}
	mediaType := sniff(content, name)
	if mediaType == "" {
		return Kept{}, problem(name, say("attach.type"), say("attach.type-instead", "types", strings.Join(Types(), ", ")))
	}
	sum := sha256.Sum256(content)
	out := Kept{Attachment: events.Attachment{SHA256: hex.EncodeToString(sum[:]), Name: name, MediaType: mediaType}, Bytes: int64(len(content))}
	s.mu.Lock()
	defer s.mu.Unlock()
	// A damaged file of this hash is written over: here are the bytes that it should have.
	if s.Check(out.Attachment.SHA256) == nil {
		out.Known = true
		return out, nil
	}
	path := s.path(out.Attachment.SHA256)
	if err := os.Mkdir(filepath.Dir(path), 0o700); err == nil {
		err = disk.SyncDir(s.dir)
		if err != nil {
			return Kept{}, fmt.Errorf("attach: %w", err)
		}
	} else if !errors.Is(err, fs.ErrExist) {
		return Kept{}, fmt.Errorf("attach: %w", err)
	}
	err = disk.WriteFile(path, func(w io.Writer) error {
		_, err := w.Write(content)
		return err
	})
	if err != nil {
		return Kept{}, fmt.Errorf("attach: %w", err)
	}
	return out, nil
}

// path is where a hash is kept; hash is 64 hex digits.
func (s *Store) path(hash string) string { return filepath.Join(s.dir, hash[:2], hash) }

// Get reads a file whole, and checks it. The error is a *FileError where it is not there or not what it should be.
func (s *Store) Get(hash string) ([]byte, error) {
	var content []byte
	err := s.open(hash, func(r io.Reader) (err error) {
		content, err = io.ReadAll(r)
		return err
	})
	if err != nil {
		return nil, err
	}
	return content, nil
}

// Check reads a file and says whether it is what it should be, with the errors of Get.
func (s *Store) Check(hash string) error {
	return s.open(hash, func(r io.Reader) error {
		_, err := io.Copy(io.Discard, r)
		return err
	})
}

func (s *Store) open(hash string, read func(io.Reader) error) error {
	hash = strings.ToLower(hash)
	if b, err := hex.DecodeString(hash); err != nil || len(b) != sha256.Size {
		return &FileError{SHA256: hash, Err: ErrMissing}
	}
	f, err := os.Open(s.path(hash))
	if errors.Is(err, fs.ErrNotExist) {
		return &FileError{SHA256: hash, Path: s.path(hash), Err: ErrMissing}
	}
	if err != nil {
		return fmt.Errorf("attach: %w", err)
	}
	defer f.Close()
	sum := sha256.New()
	// One byte more than a file can have is enough to see that it is another.
	if err := read(io.TeeReader(io.LimitReader(f, MaxBytes+1), sum)); err != nil {
		return fmt.Errorf("attach: reading %s: %w", s.path(hash), err)
	}
	if hex.EncodeToString(sum.Sum(nil)) != hash {
		return &FileError{SHA256: hash, Path: s.path(hash), Err: ErrDamaged}
	}
	return nil
}

// baseName takes the folders off a name, of any system, and refuses what is none.
func baseName(name string) (string, error) {
	if !utf8.ValidString(name) || strings.ContainsFunc(name, unicode.IsControl) {
		return "", problem(strings.ToValidUTF8(name, "\ufffd"), say("attach.name"), say("attach.name-instead"))
	}
	name = strings.ReplaceAll(name, `\`, "/")
	name = strings.TrimSpace(name[strings.LastIndexByte(name, '/')+1:])
	if name == "" || name == "." || name == ".." || utf8.RuneCountInString(name) > mostName {
		return "", problem(name, say("attach.name"), say("attach.name-instead"))
	}
	return name, nil
}

func problem(name string, why, instead events.Sentence) error {
	return events.Problem{Field: "file", Value: name, Why: why, Instead: instead}
}

// say names a sentence of the catalogue.
//
//words:say
func say(key string, pairs ...any) events.Sentence { return events.Sentence{Key: key, Pairs: pairs} }
