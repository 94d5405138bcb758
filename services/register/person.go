package register

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"golang.org/x/text/unicode/norm"

	"latewood/events"
	"latewood/events/civil"
)

// A Person is somebody whom records name by a pseudonym. Of an erased person only pseudonym, tag and Erased are left. Days
// are written YYYY-MM-DD; an empty text is not known.
type Person struct {
	Pseudonym string `json:"pseudonym"`
	Tag       string `json:"tag"`
	Name      string `json:"name,omitempty"`
	Phone     string `json:"phone,omitempty"`
	Role      string `json:"role,omitempty"` // one of Roles
	Since     string `json:"since,omitempty"`
	// KeepUntil is the last day on which a law or a dispute still wants the name.
	KeepUntil    string        `json:"keepUntil,omitempty"`
	Certificates []Certificate `json:"certificates,omitempty"`
	// Earlier are commitments to a name or number that was corrected since.
	Earlier []Proof `json:"earlier,omitempty"`
	Erased  *Erased `json:"erased,omitempty"`
}

// A Certificate is a licence that a person holds, and how records are bound to it.
type Certificate struct {
	Number     string `json:"number"`
	Kind       string `json:"kind,omitempty"`    // as the issuer calls it
	From       string `json:"from,omitempty"`    // first day on which it is valid; empty: ever
	Expires    string `json:"expires,omitempty"` // last day on which it is valid; empty: no end
	Salt       string `json:"salt"`              // 32 bytes, padded standard base64
	Commitment string `json:"commitment"`
}

// A Proof is what shows that a commitment means a name: base64 of SHA-256 over the bytes of Salt and the canonical
// {certificate, name}. Claim is that canonical text, so that it can be checked by hand.
type Proof struct {
	Name       string `json:"name"`
	Number     string `json:"number"`
	Salt       string `json:"salt"`
	Commitment string `json:"commitment"`
	Claim      string `json:"claim,omitempty"`
}

// Erased says when a name was erased and why.
type Erased struct {
	On     string `json:"on"`
	Reason string `json:"reason,omitempty"`
}

// Roles are the words that a person's role may be.
func Roles() []string { return []string{"owner", "manager", "crew", "auditor"} }

// Owner is the role of whoever enters what comes without a login.
const Owner = "owner"

// validOn reports whether a certificate is valid on a day, by what was recorded of it. Both ends count.
func (c Certificate) validOn(day civil.Date) bool {
	d := day.String()
	return (c.From == "" || c.From <= d) && (c.Expires == "" || d <= c.Expires)
}

func (p Person) clone() Person {
	p.Certificates = slices.Clone(p.Certificates)
	p.Earlier = slices.Clone(p.Earlier)
	if p.Erased != nil {
		e := *p.Erased
		p.Erased = &e
	}
	return p
}

// tagOf writes a tag: P and at least two digits.
func tagOf(n int) string { return fmt.Sprintf("P%02d", n) }

// tagNumber reads a tag as people write it, P07, p7, P007. It reports whether the text is one.
func tagNumber(text string) (n int, ok bool) {
	if len(text) < 2 || len(text) > 8 || text[0] != 'P' && text[0] != 'p' || strings.Trim(text[1:], "0123456789") != "" {
		return 0, false
	}
	n, err := strconv.Atoi(text[1:])
	return n, err == nil && n > 0
}

// IsTag reports whether a text is written like a tag.
func IsTag(text string) bool {
	_, ok := tagNumber(strings.TrimSpace(text))
	return ok
}

// normal is a name or number in the form in which it is kept and committed to: NFC, single blanks, none around it.
func normal(s string) string { return strings.Join(strings.Fields(norm.NFC.String(s)), " ") }

// folded makes the ways to write a name one.
func folded(s string) string { return strings.ToLower(normal(s)) }

// problem is a fault of what somebody asked for.
func problem(field string, value any, why, instead events.Sentence) error {
	return events.Problem{Field: field, Value: value, Why: why, Instead: instead}
}

// say names a sentence of the catalogue.
//
//words:say
func say(key string, pairs ...any) events.Sentence { return events.Sentence{Key: key, Pairs: pairs} }
