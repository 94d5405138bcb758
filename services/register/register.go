package register

import (
	"crypto/rand"
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
	"unicode"

	"latewood/events"
	"latewood/events/ledger/disk"
)

// Config says where a register lives.
type Config struct {
	Dir string // the folder, which is there
	// Owner is the pseudonym of whoever enters what comes without a login. The owner is a person of every register, P01
	// unless the register was made otherwise.
	Owner string
	// Random gives salts and pseudonyms; nil: the system's.
	Random io.Reader
}

// A Register is open. Its methods may be called by many goroutines at once; one process at a time may have a register open.
type Register struct {
	dir    string
	owner  string
	random io.Reader

	mu       sync.Mutex
	persons  []Person // by number of the tag
	lastTag  int      // the highest number that was ever given
	erasures []Erasure
}

// file is what register.json holds.
type file struct {
	Version int      `json:"version"`
	LastTag int      `json:"lastTag"`
	Persons []Person `json:"persons"`
}

const version = 1

// mostTags is the highest number of a tag in a file that is taken for whole: more people than any farm has seen.
const mostTags = 1_000_000

// ErrExposed says that others on the machine can read a file with names.
var ErrExposed = errors.New("register: others can read it")

// ErrDamaged says that a file of the register cannot be read for what it is.
var ErrDamaged = errors.New("register: damaged")

// A FileError says which file keeps the register from opening, and why: ErrExposed or ErrDamaged.
type FileError struct {
	Path string
	Err  error
}

func (e *FileError) Error() string { return fmt.Sprintf("register: %s: %v", e.Path, e.Err) }

func (e *FileError) Unwrap() error { return e.Err }

// Open reads a register and makes every erasure of the list again. A folder without one has the owner alone; nothing is
// written before something changes. The error is a *FileError where a file is not as it must be.
func Open(c Config) (*Register, error) {
	r := &Register{dir: c.Dir, owner: c.Owner, random: c.Random}
	if r.random == nil {
		r.random = rand.Reader
	}
	if err := r.load(); err != nil {
		return nil, err
	}
	var err error
	if r.erasures, err = readErasures(r.erasuresPath()); err != nil {
		return nil, err
	}
	changed := r.applyErasures()
	if c.Owner != "" && r.find(c.Owner) == nil {
		r.persons = append(r.persons, Person{Pseudonym: c.Owner, Tag: r.nextTag(), Role: Owner})
	}
	if changed {
		return r, r.save()
	}
	return r, nil
}

// OwnerOf gives the pseudonym of the owner in a folder's register, empty if there is none: for a folder that has lost the
// file with the owner's pseudonym.
func OwnerOf(dir string) (string, error) {
	r := &Register{dir: dir}
	if err := r.load(); err != nil {
		return "", err
	}
	for _, p := range r.persons {
		if p.Role == Owner && p.Erased == nil {
			return p.Pseudonym, nil
		}
	}
	return "", nil
}

func (r *Register) path() string { return filepath.Join(r.dir, "register.json") }

// readPrivate reads a file that nobody else may read; nil if it is not there.
func readPrivate(path string) ([]byte, error) {
	info, err := os.Stat(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("register: %w", err)
	}
	// Windows has no such bits; there the folder's own list of who may read decides.
	if runtime.GOOS != "windows" && info.Mode().Perm()&0o077 != 0 {
		return nil, &FileError{path, ErrExposed}
	}
	b, err := os.ReadFile(path)
	if err != nil {
		return nil, fmt.Errorf("register: %w", err)
	}
	return b, nil
}

func (r *Register) load() error {
	b, err := readPrivate(r.path())
	if err != nil || b == nil {
		return err
	}
	var f file
	if err := events.ReadJSON(b, &f); err != nil {
		return &FileError{r.path(), errors.Join(ErrDamaged, err)}
	}
	if f.Version != version {
		return &FileError{r.path(), fmt.Errorf("%w: version %d", ErrDamaged, f.Version)}
	}
	r.persons, r.lastTag = f.Persons, f.LastTag
	seen := map[string]bool{}
	for _, p := range r.persons {
		n, ok := tagNumber(p.Tag)
		if !ok || !events.IsPseudonym(p.Pseudonym) || seen[p.Tag] || seen[p.Pseudonym] {
			return &FileError{r.path(), fmt.Errorf("%w: person %s", ErrDamaged, p.Tag)}
		}
		seen[p.Tag], seen[p.Pseudonym] = true, true
		r.lastTag = max(r.lastTag, n)
	}
	if r.lastTag < 0 || r.lastTag > mostTags {
		return &FileError{r.path(), fmt.Errorf("%w: tag %d", ErrDamaged, r.lastTag)}
	}
	return nil
}

// save writes the register whole. If it fails, memory is ahead of the disk; the caller puts memory back.
func (r *Register) save() error {
	b, err := events.WriteJSON(file{Version: version, LastTag: r.lastTag, Persons: r.persons})
	if err != nil {
		return fmt.Errorf("register: writing: %w", err)
	}
	err = disk.WriteFile(r.path(), func(w io.Writer) error {
		_, err := w.Write(append(b, '\n'))
		return err
	})
	if err != nil {
		return fmt.Errorf("register: %w", err)
	}
	return nil
}

// change lets f change the persons and writes them down, all or nothing.
func (r *Register) change(f func() error) error {
	before, last := make([]Person, len(r.persons)), r.lastTag
	for i, p := range r.persons {
		before[i] = p.clone()
	}
	err := f()
	if err == nil {
		err = r.save()
	}
	if err != nil {
		r.persons, r.lastTag = before, last
	}
	return err
}

// nextTag gives a tag that nobody had: the numbers of erased persons count too.
func (r *Register) nextTag() string {
	r.lastTag++
	return tagOf(r.lastTag)
}

// sort puts the persons in order of the numbers of their tags.
func (r *Register) sort() {
	slices.SortStableFunc(r.persons, func(a, b Person) int {
		x, _ := tagNumber(a.Tag)
		y, _ := tagNumber(b.Tag)
		return x - y
	})
}

func (r *Register) find(pseudonym string) *Person {
	i := slices.IndexFunc(r.persons, func(p Person) bool { return p.Pseudonym == pseudonym })
	if i < 0 {
		return nil
	}
	return &r.persons[i]
}

// List gives all persons in order of their tags, the erased ones too.
func (r *Register) List() []Person {
	r.mu.Lock()
	defer r.mu.Unlock()
	out := make([]Person, len(r.persons))
	for i, p := range r.persons {
		out[i] = p.clone()
	}
	return out
}

// Get finds a person by pseudonym.
func (r *Register) Get(pseudonym string) (Person, bool) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if p := r.find(pseudonym); p != nil {
		return p.clone(), true
	}
	return Person{}, false
}

// ByTag finds a person by tag, written P07 or p7. An erased person keeps the tag.
func (r *Register) ByTag(tag string) (Person, bool) {
	r.mu.Lock()
	defer r.mu.Unlock()
	n, ok := tagNumber(tag)
	if !ok {
		return Person{}, false
	}
	for _, p := range r.persons {
		if m, _ := tagNumber(p.Tag); m == n {
			return p.clone(), true
		}
	}
	return Person{}, false
}

// ByName finds the persons of a name; capitals and blanks do not matter.
func (r *Register) ByName(name string) []Person {
	r.mu.Lock()
	defer r.mu.Unlock()
	var out []Person
	want := folded(name)
	for _, p := range r.persons {
		if want != "" && folded(p.Name) == want {
			out = append(out, p.clone())
		}
	}
	return out
}

// Find reads what a form or a sheet says of a person: a pseudonym, a tag, or a name that the register has once. The error is
// an events.Problem without a field. An erased person is found by pseudonym only: nobody hands in work under an erased tag.
func (r *Register) Find(text string) (Person, error) {
	text = normal(text)
	if events.IsPseudonym(text) {
		if p, ok := r.Get(text); ok {
			return p, nil
		}
		return Person{}, problem("", text, say("people.unknown-pseudonym"), say("people.unknown-instead"))
	}
	switch p, ok := r.ByTag(text); {
	case ok && p.Erased != nil:
		return Person{}, problem("", text, say("people.erased", "tag", p.Tag, "on", p.Erased.On), say("people.erased-instead"))
	case ok:
		return p, nil
	case IsTag(text):
		return Person{}, problem("", text, say("people.unknown-tag"), say("people.unknown-instead"))
	}
	found := r.ByName(text)
	switch len(found) {
	case 0:
		return Person{}, problem("", text, say("people.unknown-name"), say("people.unknown-name-instead"))
	case 1:
		return found[0], nil
	}
	tags := make([]string, len(found))
	for i, p := range found {
		tags[i] = p.Tag
	}
	return Person{}, problem("", text, say("people.several", "n", len(found)), say("people.several-instead", "tags", strings.Join(tags, ", ")))
}

// Mentions gives a test for texts: whether somebody's full name stands in one, and whose, by tag. It knows the names as they
// are now. Names of one word are left out, for they are words of other meanings too.
func (r *Register) Mentions() func(text string) (tag string, ok bool) {
	type full struct{ words, tag string }
	var names []full
	for _, p := range r.List() {
		if w := spaced(p.Name); strings.Count(w, " ") > 2 {
			names = append(names, full{w, p.Tag})
		}
	}
	return func(text string) (string, bool) {
		if len(names) == 0 {
			return "", false
		}
		text = spaced(text)
		i := slices.IndexFunc(names, func(f full) bool { return strings.Contains(text, f.words) })
		if i < 0 {
			return "", false
		}
		return names[i].tag, true
	}
}

// spaced is the words of a text in small letters, a blank before each and one at the end.
func spaced(text string) string {
	words := strings.FieldsFunc(folded(text), func(r rune) bool { return !unicode.IsLetter(r) && !unicode.IsMark(r) })
	return " " + strings.Join(words, " ") + " "
}
