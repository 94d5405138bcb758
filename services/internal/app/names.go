package app

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"latewood/events"
	"latewood/events/canon"
	"latewood/events/civil"
	"latewood/services/register"
)

// naming puts pseudonyms where drafts have tags or names, before the door sees them: what stands in a record names nobody.
// One goroutine uses it, for one entry or one import.
type naming struct {
	f    *farm
	row  bool // drafts are rows of a file, which without an id get one from their content
	seen map[string]whom
	// mentions is asked for when the first free text comes.
	mentions func(text string) (tag string, ok bool)
}

// whom is what the register says of a text.
type whom struct {
	person register.Person
	err    error
}

func (f *farm) naming(row bool) *naming { return &naming{f: f, row: row, seen: map[string]whom{}} }

func (n *naming) find(text string) (register.Person, error) {
	w, ok := n.seen[text]
	if !ok {
		w.person, w.err = n.f.people.Find(text)
		n.seen[text] = w
	}
	return w.person, w.err
}

// mentioned says whose full name stands in a free text, by tag. What stands in a record cannot be taken back, and an erasure
// would leave the name there.
func (n *naming) mentioned(text string) (tag string, ok bool) {
	if n.mentions == nil {
		n.mentions = n.f.people.Mentions()
	}
	return n.mentions(text)
}

// inReason refuses a reason that names somebody.
func (n *naming) inReason(reason string) error {
	if tag, ok := n.mentioned(reason); ok {
		return registerFault(mention(tag))
	}
	return nil
}

func mention(tag string) events.Problem {
	return events.Problem{Why: sentence("people.mentioned", "tag", tag), Instead: sentence("people.mentioned-instead", "tag", tag)}
}

// A filling is a person of a record who was told by tag or name, so that the register can say the certificate.
type filling struct {
	at     *canon.Value // {code, commitment}
	person register.Person
	given  string // the commitment that the draft brought
}

// names is one draft under way.
type names struct {
	*naming
	problems events.Problems
	fillings []filling
}

// draft gives a draft with pseudonyms. Where there are problems it is of no use; they are then all of it, with those that
// the door has.
func (n *naming) draft(ctx context.Context, d events.Draft) (events.Draft, events.Problems, error) {
	w := names{naming: n}
	if d.Actor != "" && !events.IsPseudonym(d.Actor) {
		if p, err := n.find(d.Actor); err != nil {
			w.refuse("actor", d.Actor, err)
		} else {
			d.Actor = p.Pseudonym
		}
	}
	kind, _, ok := events.SplitType(d.Type)
	if !ok {
		kind = d.Type
	}
	if spot := n.f.spots[kind]; spot != nil && spot.in(d.Data, n.f.spots) {
		d.Data = d.Data.Clone()
		w.walk(&d.Data, spot, "data")
	}
	if kind == personForgotten {
		w.forgets(d)
	}
	if len(w.problems) > 0 {
		return d, append(w.problems, n.others(d, w.problems)...), nil
	}
	if len(w.fillings) > 0 {
		return d, nil, w.fill(ctx, d)
	}
	return d, nil, nil
}

const personForgotten = "person.forgotten"

// forgets refuses a record that says of somebody who stands in the register that they are forgotten. The next start would
// take it at its word and erase the name (settleErasures), also before the day until which it is to be kept. An erasure makes
// its record itself; records of people whom this register does not know come in with a farm's export.
func (w *names) forgets(d events.Draft) {
	who := d.Data.Get("who").Str
	if p, ok := w.f.people.Get(who); ok && p.Erased == nil {
		w.problems = append(w.problems, events.Problem{
			Field: "data.who", Value: p.Tag, Why: sentence("people.forget-here", "tag", p.Tag), Instead: sentence("people.forget-here-instead", "tag", p.Tag),
		})
	}
}

// others are the door's problems with a draft beside those about persons.
func (n *naming) others(d events.Draft, told events.Problems) events.Problems {
	_, problems := n.f.door().Check(d)
	return slices.DeleteFunc(problems, func(p events.Problem) bool {
		return p.Why.Key == events.NeedsTime || slices.ContainsFunc(told, func(q events.Problem) bool { return q.Field == p.Field })
	})
}

func (f *farm) door() *events.Door {
	return &events.Door{Catalogue: events.Standard(), Farm: f.code, Zone: f.zone()}
}

func (w *names) refuse(field, text string, err error) {
	p := events.Problem{Why: events.Sentence{Key: "people.unknown-name"}}
	errors.As(err, &p)
	p.Field, p.Value = field, strings.ToValidUTF8(text, "\ufffd")
	w.problems = append(w.problems, p)
}

// walk goes through what may name persons.
func (w *names) walk(v *canon.Value, s *spot, path string) {
	switch {
	case s.person && v.Kind == canon.String:
		w.one(v, path)
	case s.perhaps && v.Kind == canon.String:
		w.perhaps(v, path)
	case s.free && v.Kind == canon.String:
		if tag, ok := w.mentioned(v.Str); ok {
			w.refuse(path, v.Str, mention(tag))
		}
	case s.data != nil && v.Kind == canon.Object:
		w.inner(v, s, path)
	case s.elem != nil && v.Kind == canon.List:
		for i := range v.Items {
			w.walk(&v.Items[i], s.elem, fmt.Sprintf("%s[%d]", path, i))
		}
	case s.elem != nil && s.single:
		w.walk(v, s.elem, path)
	case v.Kind == canon.Object:
		if s.certified {
			w.certified(v, path)
			return
		}
		for i := range v.Members {
			if deeper := s.fields[v.Members[i].Name]; deeper != nil {
				w.walk(&v.Members[i].Value, deeper, path+"."+v.Members[i].Name)
			}
		}
	}
}

// inner goes through a correction: its data are of the kind that its type names.
func (w *names) inner(v *canon.Value, s *spot, path string) {
	for i := range v.Members {
		m := &v.Members[i]
		if deeper := s.fields[m.Name]; deeper != nil {
			w.walk(&m.Value, deeper, path+"."+m.Name)
		}
	}
	kind, _, _ := events.SplitType(v.Get("type").Str)
	deeper := w.f.spots[kind]
	if deeper == nil {
		return
	}
	for i := range v.Members {
		if m := &v.Members[i]; slices.Contains(s.data, m.Name) {
			w.walk(&m.Value, deeper, path+"."+m.Name)
		}
	}
}

// one puts a pseudonym in the place of a tag or a name.
func (w *names) one(v *canon.Value, path string) {
	if events.IsPseudonym(v.Str) {
		return
	}
	p, err := w.find(v.Str)
	if err != nil {
		w.refuse(path, v.Str, err)
		return
	}
	v.Str = p.Pseudonym
}

// perhaps puts a pseudonym where a tag or a name of the register stands. Anything else may be a business, and stays.
func (w *names) perhaps(v *canon.Value, path string) {
	p, err := w.find(v.Str)
	var problem events.Problem
	switch {
	case err == nil:
		v.Str = p.Pseudonym
	case errors.As(err, &problem) && problem.Why.Key == "people.several":
		w.refuse(path, v.Str, err)
	}
}

// certified reads a person with a commitment: {code, commitment}. A tag may bring the number of a certificate, as P07/EX-100,
// for who has several.
func (w *names) certified(v *canon.Value, path string) {
	code := v.Get("code")
	if code.Kind != canon.String || events.IsPseudonym(code.Str) {
		return
	}
	text, number, numbered := strings.Cut(code.Str, "/")
	p, err := w.find(text)
	if err != nil {
		w.refuse(path+".code", code.Str, err)
		return
	}
	given := v.Get("commitment").Str
	v.Set("code", canon.Text(p.Pseudonym))
	if !numbered {
		w.fillings = append(w.fillings, filling{v, p, given})
		return
	}
	committed, err := w.f.people.Commit(p.Pseudonym, strings.TrimSpace(number))
	if err != nil {
		w.refuse(path+".code", code.Str, err)
		return
	}
	v.Set("commitment", canon.Text(committed.Commitment))
}

// fill puts in the commitments: of the one certificate that was valid on the day of the record. A commitment that a draft
// brings stays if it is the person's own.
//
// The same sheet must give the same records when it is brought in again, also after a certificate was added or a name
// corrected since. So a draft that is here already under another commitment of the same persons keeps that.
func (w *names) fill(ctx context.Context, d events.Draft) error {
	zone := w.f.zone()
	day := civil.DateOf(w.f.app.o.Now(), zone)
	if a, problems := w.f.door().Check(d); len(problems) == 0 {
		day = civil.DateOf(a.Time, zone)
	}
	var choices [][]string
	for i := range w.fillings {
		fl := &w.fillings[i]
		first, all := fl.person.On(day).Commitment, []string{""}
		for _, proof := range fl.person.Proofs() {
			if proof.Commitment == fl.given {
				first = fl.given
			}
			all = append(all, proof.Commitment)
		}
		all = slices.DeleteFunc(all, func(s string) bool { return s == first })
		choices = append(choices, append([]string{first}, all...))
		fl.set(first)
	}
	if !w.row && d.ID == "" {
		return nil
	}
	for _, choice := range combined(choices) {
		for i := range w.fillings {
			w.fillings[i].set(choice[i])
		}
		if known, err := w.known(ctx, d); known || err != nil {
			return err
		}
	}
	for i := range w.fillings {
		w.fillings[i].set(choices[i][0])
	}
	return nil
}

func (fl *filling) set(commitment string) {
	if commitment == "" {
		fl.at.Drop("commitment")
		return
	}
	fl.at.Set("commitment", canon.Text(commitment))
}

// mostChoices bounds the ways that are tried; a record names two such persons at most, and few have three certificates.
const mostChoices = 64

// combined lists every way to take one of each list, the first of all lists first.
func combined(lists [][]string) [][]string {
	out := [][]string{{}}
	for _, list := range lists {
		var longer [][]string
		for _, head := range out {
			for _, s := range list {
				if len(longer) < mostChoices {
					longer = append(longer, append(slices.Clone(head), s))
				}
			}
		}
		out = longer
	}
	return out
}

// known reports whether a draft is recorded already, just as it is.
func (w *names) known(ctx context.Context, d events.Draft) (bool, error) {
	a, problems := w.f.door().Check(d)
	if len(problems) > 0 {
		return false, nil
	}
	if a.ID.IsZero() {
		_, ok, err := w.f.index.Lookup(events.RowID(w.f.code, a.Kind.Name, a.Draft.Time, d.Actor, a.Draft.Data, 0))
		return ok, err
	}
	r, err := w.f.stored(ctx, a.ID)
	return r != nil && bytes.Equal(r.Data, a.Data), err
}

// A spot is where a kind's data can name persons: its shape with everything else left out. Rows by the million go by it.
type spot struct {
	person    bool // a pseudonym stands here
	perhaps   bool // a text that may name a person, or a business
	free      bool // a text of many words, which should name nobody
	certified bool // {code, commitment}
	fields    map[string]*spot
	elem      *spot
	single    bool     // the item may stand without a list
	data      []string // fields that hold the data of another kind
}

// spotsOf finds them for every kind.
func spotsOf(c *events.Catalogue) map[string]*spot {
	out := map[string]*spot{}
	for _, k := range c.Kinds() {
		if s := spotOf(k.Shape); s != nil {
			out[k.Name] = s
		}
	}
	return out
}

// spotOf is nil where nobody can be named.
func spotOf(s *events.Shape) *spot {
	switch s.Form {
	case events.FormPerson:
		return &spot{person: true}
	case events.FormList, events.FormOneOrMany:
		if elem := spotOf(s.Elem); elem != nil {
			return &spot{elem: elem, single: s.Form == events.FormOneOrMany}
		}
	case events.FormObject:
		out := &spot{fields: map[string]*spot{}, certified: s.Type == "Person"}
		for i := range s.Fields {
			f := &s.Fields[i]
			if f.Shape.Form == events.FormData {
				out.data = append(out.data, f.Name)
			} else if text := textSpot(f); text != nil {
				out.fields[f.Name] = text
			} else if deeper := spotOf(f.Shape); deeper != nil {
				out.fields[f.Name] = deeper
			}
		}
		if len(out.fields) > 0 || out.data != nil {
			return out
		}
	}
	return nil
}

// textSpot is the spot of a field of text that people put names into: who read a label may be a person of the register or an
// adviser's business, so the catalogue cannot ask for a pseudonym there.
func textSpot(f *events.Field) *spot {
	shape := f.Shape
	list := shape.Form == events.FormOneOrMany
	if list {
		shape = shape.Elem
	}
	var out *spot
	switch {
	case shape.Form != events.FormText || len(shape.Enum) > 0:
		return nil
	case f.Name == "readBy" || f.Name == "trainer" || f.Name == "who" || f.Name == "measuredBy":
		out = &spot{perhaps: true}
	case f.Name == "note" || f.Name == "reason":
		out = &spot{free: true}
	default:
		return nil
	}
	if list {
		return &spot{elem: out, single: true}
	}
	return out
}

// in reports whether a value may name somebody otherwise than by a pseudonym, and has to be looked at. It changes nothing.
func (s *spot) in(v canon.Value, spots map[string]*spot) bool {
	switch {
	case s.person, s.perhaps:
		return v.Kind == canon.String && !events.IsPseudonym(v.Str)
	case s.free:
		return v.Kind == canon.String && strings.Contains(v.Str, " ")
	case s.elem != nil && v.Kind == canon.List:
		return slices.ContainsFunc(v.Items, func(i canon.Value) bool { return s.elem.in(i, spots) })
	case s.elem != nil:
		return s.single && s.elem.in(v, spots)
	}
	for i := range v.Members {
		m := &v.Members[i]
		if deeper := s.fields[m.Name]; deeper != nil && deeper.in(m.Value, spots) {
			return true
		}
		if slices.Contains(s.data, m.Name) {
			kind, _, _ := events.SplitType(v.Get("type").Str)
			if inner := spots[kind]; inner != nil && inner.in(m.Value, spots) {
				return true
			}
		}
	}
	return false
}
