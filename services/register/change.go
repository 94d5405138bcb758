package register

import (
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"latewood/events"
	"latewood/events/civil"
)

// New is what is told of a person who is added.
type New struct {
	Name, Phone, Role, KeepUntil string
	Certificates                 []Change
}

// A Change is a certificate as somebody types it in: a new one, or other dates of one with the same number. Nil leaves a
// field as it is, an empty text takes it away.
type Change struct {
	Number              string
	Kind, From, Expires *string
}

// A Correction gives fields of a person other values; nil leaves one as it is, an empty text takes it away.
type Correction struct {
	Name, Phone, Role, KeepUntil, Since *string
	Certificates                        []Change
	// Drop takes certificates away by number. Records made under one keep their commitment; the proof is kept too.
	Drop []string
}

// limits of what a person's fields hold, in letters.
const (
	mostName = 120
	mostText = 60
)

// Add puts a person into the register and gives pseudonym and tag. since is the day on which they came. The error is an
// events.Problem where something was told wrong.
func (r *Register) Add(n New, since civil.Date) (Person, error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	p := Person{Role: "crew", Since: since.String()}
	if normal(n.Name) == "" {
		return Person{}, problem("name", nil, say("people.name-missing"), say("people.name-instead"))
	}
	c := Correction{Name: &n.Name, Phone: &n.Phone, KeepUntil: &n.KeepUntil, Certificates: n.Certificates}
	if n.Role != "" {
		c.Role = &n.Role
	}
	if n.Role == Owner {
		return Person{}, oneOwner(n.Role)
	}
	var random [16]byte
	if _, err := io.ReadFull(r.random, random[:]); err != nil {
		return Person{}, fmt.Errorf("register: random bytes: %w", err)
	}
	p.Pseudonym = events.NewPseudonym(random)
	if r.find(p.Pseudonym) != nil {
		return Person{}, errors.New("register: the random source gave a pseudonym that is taken")
	}
	err := r.change(func() error {
		p.Tag = r.nextTag()
		if err := r.correct(&p, c); err != nil {
			return err
		}
		r.persons = append(r.persons, p)
		return nil
	})
	if err != nil {
		return Person{}, err
	}
	return p.clone(), nil
}

func oneOwner(role string) error {
	return problem("role", role, say("people.one-owner"), say("people.role-instead", "roles", strings.Join(Roles()[1:], ", ")))
}

// Correct gives a person other values.
func (r *Register) Correct(pseudonym string, c Correction) (Person, error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	var out Person
	err := r.change(func() error {
		p := r.find(pseudonym)
		switch {
		case p == nil:
			return problem("person", pseudonym, say("people.unknown-pseudonym"), say("people.unknown-instead"))
		case p.Erased != nil:
			return problem("person", nil, say("people.erased", "tag", p.Tag, "on", p.Erased.On), say("people.erased-instead"))
		case c.Name != nil && normal(*c.Name) == "" && p.Role != Owner:
			return problem("name", *c.Name, say("people.name-missing"), say("people.name-instead"))
		case c.Role != nil && (*c.Role == Owner) != (p.Role == Owner):
			return oneOwner(*c.Role)
		}
		if err := r.correct(p, c); err != nil {
			return err
		}
		out = p.clone()
		return nil
	})
	return out, err
}

func (r *Register) correct(p *Person, c Correction) error {
	for _, f := range []struct {
		field      string
		from, into *string
	}{{"phone", c.Phone, &p.Phone}, {"role", c.Role, &p.Role}, {"keepUntil", c.KeepUntil, &p.KeepUntil}, {"since", c.Since, &p.Since}} {
		if f.from == nil {
			continue
		}
		text, err := line(f.field, *f.from, mostText)
		if err != nil {
			return err
		}
		*f.into = text
	}
	if !slices.Contains(Roles(), p.Role) {
		return problem("role", p.Role, say("people.role"), say("people.role-instead", "roles", strings.Join(Roles(), ", ")))
	}
	for _, d := range []struct{ field, text string }{{"keepUntil", p.KeepUntil}, {"since", p.Since}} {
		if err := isDay(d.field, d.text); err != nil {
			return err
		}
	}
	for _, number := range c.Drop {
		i := p.certificate(number)
		if i < 0 {
			return p.noCertificate("certificate", number)
		}
		p.keep(p.Certificates[i])
		p.Certificates = slices.Delete(p.Certificates, i, i+1)
	}
	if c.Name != nil {
		if err := r.rename(p, *c.Name); err != nil {
			return err
		}
	}
	for _, change := range c.Certificates {
		if err := r.certify(p, change); err != nil {
			return err
		}
	}
	return nil
}

// rename gives a person another name. Every certificate is committed to anew, with a new salt: who is shown the new name
// could else find the earlier one by trying names against the earlier commitment.
func (r *Register) rename(p *Person, name string) error {
	name, err := line("name", name, mostName)
	switch {
	case err != nil:
		return err
	case events.IsPseudonym(name) || IsTag(name):
		return problem("name", name, say("people.name-is-tag"), say("people.name-instead"))
	case name == p.Name:
		return nil
	case name == "" && len(p.Certificates) > 0:
		return problem("name", name, say("people.name-for-certificate"), say("people.name-instead"))
	}
	for i := range p.Certificates {
		p.keep(p.Certificates[i])
	}
	p.Name = name
	for i := range p.Certificates {
		if err := r.commit(p, &p.Certificates[i]); err != nil {
			return err
		}
	}
	return nil
}

// keep remembers the proof of a commitment that is about to change.
func (p *Person) keep(c Certificate) {
	p.Earlier = append(p.Earlier, Proof{Name: p.Name, Number: c.Number, Salt: c.Salt, Commitment: c.Commitment})
}

func (p *Person) certificate(number string) int {
	return slices.IndexFunc(p.Certificates, func(c Certificate) bool { return folded(c.Number) == folded(number) })
}

func (p *Person) noCertificate(field, number string) error {
	numbers := make([]string, len(p.Certificates))
	for i, c := range p.Certificates {
		numbers[i] = c.Number
	}
	if len(numbers) == 0 {
		return problem(field, number, say("people.no-certificate", "tag", p.Tag), say("people.certificate-add", "tag", p.Tag))
	}
	return problem(field, number, say("people.no-certificate", "tag", p.Tag), say("people.certificate-instead", "numbers", strings.Join(numbers, ", ")))
}

// certify adds a certificate, or changes kind and days of the one with this number.
func (r *Register) certify(p *Person, change Change) error {
	number, err := line("certificate", change.Number, mostText)
	switch {
	case err != nil:
		return err
	case number == "":
		return problem("certificate", nil, say("people.number-missing"), say("people.number-instead"))
	case p.Name == "":
		return problem("name", nil, say("people.name-for-certificate"), say("people.name-instead"))
	}
	i := p.certificate(number)
	if i < 0 {
		c := Certificate{Number: number}
		if err := r.commit(p, &c); err != nil {
			return err
		}
		i = len(p.Certificates)
		p.Certificates = append(p.Certificates, c)
	}
	c := &p.Certificates[i]
	for _, f := range []struct {
		field      string
		from, into *string
	}{{"kind", change.Kind, &c.Kind}, {"from", change.From, &c.From}, {"expires", change.Expires, &c.Expires}} {
		if f.from == nil {
			continue
		}
		if *f.into, err = line(f.field, *f.from, mostText); err != nil {
			return err
		}
	}
	if err := errors.Join(isDay("from", c.From), isDay("expires", c.Expires)); err != nil {
		return err
	}
	if c.From != "" && c.Expires != "" && c.Expires < c.From {
		return problem("expires", c.Expires, say("people.expires-before", "from", c.From), say("people.day-instead"))
	}
	return nil
}

// commit gives a certificate a new salt, and with it its commitment.
func (r *Register) commit(p *Person, c *Certificate) error {
	var salt [32]byte
	if _, err := io.ReadFull(r.random, salt[:]); err != nil {
		return fmt.Errorf("register: random bytes: %w", err)
	}
	c.Salt, c.Commitment = base64Text(salt[:]), events.Commitment(salt, c.Number, p.Name)
	return nil
}

// line reads a text of one line.
func line(field, text string, most int) (string, error) {
	if !utf8.ValidString(text) || strings.ContainsFunc(text, unicode.IsControl) {
		return "", problem(field, strings.ToValidUTF8(text, "\ufffd"), say("people.one-line"), say("people.one-line-instead"))
	}
	text = normal(text)
	if utf8.RuneCountInString(text) > most {
		return "", problem(field, text, say("people.too-long", "most", most), say("people.one-line-instead"))
	}
	return text, nil
}

func isDay(field, text string) error {
	if text == "" {
		return nil
	}
	if _, err := civil.ParseDate(text); err != nil {
		return problem(field, text, say("people.day"), say("people.day-instead"))
	}
	return nil
}
