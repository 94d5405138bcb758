package register

import (
	"encoding/base64"

	"latewood/events"
	"latewood/events/canon"
	"latewood/events/civil"
)

func base64Text(b []byte) string { return base64.StdEncoding.EncodeToString(b) }

// Commit gives what a record says of a person under a certificate: pseudonym and commitment. The error is an events.Problem
// without a field.
func (r *Register) Commit(pseudonym, number string) (events.Person, error) {
	p, ok := r.Get(pseudonym)
	if !ok {
		return events.Person{}, problem("", pseudonym, say("people.unknown-pseudonym"), say("people.unknown-instead"))
	}
	i := p.certificate(number)
	if i < 0 {
		return events.Person{}, p.noCertificate("", number)
	}
	return events.Person{Code: p.Pseudonym, Commitment: p.Certificates[i].Commitment}, nil
}

// On gives what a record says of a person on a day: the pseudonym, and the commitment where exactly one certificate is valid
// on that day. With none, or several, nobody can tell which the law would want, and the commitment stays empty.
func (p Person) On(day civil.Date) events.Person {
	out := events.Person{Code: p.Pseudonym}
	valid := 0
	for _, c := range p.Certificates {
		if c.validOn(day) {
			valid++
			out.Commitment = c.Commitment
		}
	}
	if valid != 1 {
		out.Commitment = ""
	}
	return out
}

// Proofs lists what shows that a commitment means this person: for the certificates as they stand, then for names and
// certificates before a correction.
func (p Person) Proofs() []Proof {
	var out []Proof
	for _, c := range p.Certificates {
		out = append(out, Proof{Name: p.Name, Number: c.Number, Salt: c.Salt, Commitment: c.Commitment})
	}
	out = append(out, p.Earlier...)
	for i := range out {
		out[i].Claim = claim(out[i].Number, out[i].Name)
	}
	return out
}

// claim is the canonical text that the salt is hashed with; see events.Commitment.
func claim(number, name string) string {
	return string(canon.Bytes(canon.ObjectOf(
		canon.Member{Name: "certificate", Value: canon.Text(number)},
		canon.Member{Name: "name", Value: canon.Text(name)},
	)))
}
