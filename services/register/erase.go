package register

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"latewood/events"
	"latewood/events/civil"
	"latewood/events/ledger/disk"
)

// An Erasure is one line of the list. It names nobody: pseudonym and tag are all that is left.
type Erasure struct {
	Pseudonym string `json:"pseudonym"`
	Tag       string `json:"tag,omitempty"`
	On        string `json:"on"`
	Reason    string `json:"reason,omitempty"`
	// Record is the id that the person.forgotten of this erasure bears in the ledger, fixed before it is appended, so that
	// it can be appended after a crash and stands there once.
	Record string `json:"record"`
}

// Erase takes name, phone, certificates and salts of a person away for good. record is the id of the person.forgotten that
// the caller appends next; see Erasures. Early erases before the keep-until date, and somebody with certificates who has
// none. The error is an events.Problem where it cannot be.
func (r *Register) Erase(pseudonym, reason string, day civil.Date, record string, early bool) (Erasure, error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	p := r.find(pseudonym)
	switch {
	case p == nil:
		return Erasure{}, problem("person", pseudonym, say("people.unknown-pseudonym"), say("people.unknown-instead"))
	case p.Erased != nil:
		return Erasure{}, problem("person", nil, say("people.erased", "tag", p.Tag, "on", p.Erased.On), say("people.erased-instead"))
	case p.Pseudonym == r.owner:
		return Erasure{}, problem("person", nil, say("people.erase-owner"), say("people.erase-owner-instead", "tag", p.Tag))
	case !early && p.KeepUntil != "" && day.String() <= p.KeepUntil:
		return Erasure{}, problem("keepUntil", nil, say("people.erase-early", "tag", p.Tag, "until", p.KeepUntil), say("people.erase-early-instead"))
	case !early && p.KeepUntil == "" && len(p.Certificates)+len(p.Earlier) > 0:
		return Erasure{}, problem("keepUntil", nil, say("people.erase-unknown", "tag", p.Tag), say("people.erase-unknown-instead", "tag", p.Tag))
	}
	reason, err := line("reason", reason, 2*mostName)
	switch {
	case err != nil:
		return Erasure{}, err
	case reason == "":
		return Erasure{}, problem("reason", nil, say("people.reason-missing"), say("people.reason-instead"))
	case names(reason, p.Name):
		return Erasure{}, problem("reason", reason, say("people.reason-names"), say("people.reason-instead"))
	}
	e := Erasure{Pseudonym: p.Pseudonym, Tag: p.Tag, On: day.String(), Reason: reason, Record: record}
	return e, r.erase(e)
}

// names reports whether a reason, which stays for good, has a word of the name that is to go.
func names(reason, name string) bool {
	words := func(s string) []string {
		return strings.FieldsFunc(folded(s), func(r rune) bool { return !unicode.IsLetter(r) })
	}
	in := words(reason)
	return slices.ContainsFunc(words(name), func(w string) bool { return utf8.RuneCountInString(w) > 2 && slices.Contains(in, w) })
}

// erase puts an erasure on the list and makes it.
func (r *Register) erase(e Erasure) error {
	if err := appendErasure(r.erasuresPath(), e); err != nil {
		return err
	}
	// If we crash here, the name still stands in register.json; the next Open takes it away by the list.
	r.erasures = append(r.erasures, e)
	r.applyErasures()
	return r.save()
}

// Erasures lists all erasures in the order in which they were made. For each the ledger is to have a person.forgotten with
// the id Record; whoever opens the register appends those that a crash kept out.
func (r *Register) Erasures() []Erasure {
	r.mu.Lock()
	defer r.mu.Unlock()
	return slices.Clone(r.erasures)
}

// Reapply takes in erasures that the list does not have: of a list that was kept elsewhere while this folder was restored
// from a backup, or of the ledger's person.forgotten records. Persons who still have a name lose it. It returns how many.
func (r *Register) Reapply(erasures []Erasure) (int, error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	n := 0
	for _, e := range erasures {
		p := r.find(e.Pseudonym)
		if p == nil || p.Erased != nil || p.Pseudonym == r.owner {
			continue
		}
		e.Tag = p.Tag
		if err := r.erase(e); err != nil {
			return n, err
		}
		n++
	}
	return n, nil
}

// applyErasures makes every erasure of the list, and reports whether one was not made yet.
func (r *Register) applyErasures() (changed bool) {
	for _, e := range r.erasures {
		if n, ok := tagNumber(e.Tag); ok {
			r.lastTag = max(r.lastTag, n) // a register from before the person came does not give the tag again
		}
		p := r.find(e.Pseudonym)
		gone := Person{Pseudonym: e.Pseudonym, Tag: e.Tag, Erased: &Erased{On: e.On, Reason: e.Reason}}
		switch {
		case e.Pseudonym == r.owner || p != nil && p.Erased != nil:
			continue
		case p != nil:
			gone.Tag = p.Tag
			*p = gone
		case e.Tag == "" || slices.ContainsFunc(r.persons, func(p Person) bool { return p.Tag == e.Tag }):
			continue // of somebody who never stood in this register
		default:
			r.persons = append(r.persons, gone)
		}
		changed = true
	}
	r.sort()
	return changed
}

// Expired lists the persons whose keep-until date has gone by on a day: their names are to be erased.
func (r *Register) Expired(day civil.Date) []Person {
	var out []Person
	for _, p := range r.List() {
		if p.Erased == nil && p.KeepUntil != "" && p.KeepUntil < day.String() {
			out = append(out, p)
		}
	}
	return out
}

func (r *Register) erasuresPath() string { return filepath.Join(r.dir, "erasures.json") }

// readErasures reads the list. A last line without its end is what a crash left of an erasure that nobody was told of.
func readErasures(path string) ([]Erasure, error) {
	b, err := readPrivate(path)
	if err != nil {
		return nil, err
	}
	var out []Erasure
	whole := b[:bytes.LastIndexByte(b, '\n')+1]
	for l := range bytes.Lines(whole) {
		var e Erasure
		err := events.ReadJSON(l, &e)
		if n, _ := tagNumber(e.Tag); err != nil || !events.IsPseudonym(e.Pseudonym) || n > mostTags {
			return nil, &FileError{path, errors.Join(ErrDamaged, err)}
		}
		out = append(out, e)
	}
	return out, nil
}

// appendErasure adds a line to the list and has it on the disk when it returns.
func appendErasure(path string, e Erasure) (err error) {
	defer func() {
		if err != nil {
			err = fmt.Errorf("register: the list of erasures: %w", err)
		}
	}()
	b, err := events.WriteJSON(e)
	if err != nil {
		return err
	}
	f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE, 0o600)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, f.Close()) }()
	old, err := os.ReadFile(path)
	if err != nil {
		return err
	}
	// Half a line that a crash left behind is written over.
	end := int64(bytes.LastIndexByte(old, '\n') + 1)
	if err := f.Truncate(end); err != nil {
		return err
	}
	if _, err := f.WriteAt(append(b, '\n'), end); err != nil {
		return err
	}
	// If we crash before this sync, the line is there whole, half or not at all; the person keeps the name in the last two
	// cases, and nobody was told otherwise.
	if err := f.Sync(); err != nil {
		return err
	}
	return disk.SyncDir(filepath.Dir(path))
}

// Take puts the erasures of another list on the list of a register that is not open: of the folder that a backup is to take the
// place of. Whoever stands on it has no name any more when the register is opened next. A line that is on the list already is left out.
func Take(dir, list string) error {
	if _, err := os.Stat(list); err != nil {
		return fmt.Errorf("register: a list of erasures: %w", err)
	}
	theirs, err := readErasures(list)
	if err != nil {
		return err
	}
	path := filepath.Join(dir, "erasures.json")
	ours, err := readErasures(path)
	if err != nil {
		return err
	}
	for _, e := range theirs {
		if slices.ContainsFunc(ours, func(o Erasure) bool { return o.Pseudonym == e.Pseudonym }) {
			continue
		}
		if err := appendErasure(path, e); err != nil {
			return err
		}
	}
	return nil
}
