package app

import (
	"bytes"
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"path/filepath"
	"slices"

	"latewood/events"
	"latewood/events/civil"
	"latewood/events/words"
	"latewood/projections"
	"latewood/services/attach"
	"latewood/services/internal/paper"
	"latewood/services/print"
	"latewood/services/record"
	"latewood/services/register"
	"latewood/services/serve"
)

// openPeople opens the register and the folder of files.
func (f *farm) openPeople() error {
	var err error
	if f.people, err = register.Open(register.Config{Dir: filepath.Join(f.dir, "people"), Owner: f.owner}); err != nil {
		return registerFault(err)
	}
	f.files = attach.New(filepath.Join(f.dir, "files"))
	f.spots = spotsOf(events.Standard())
	return nil
}

// registerFault says in a sentence what is wrong with the register, or with what was asked of it.
func registerFault(err error) error {
	var problem events.Problem
	var file *register.FileError
	switch {
	case errors.As(err, &problem):
		text := problem.Why.String()
		if problem.Value != nil && problem.Value != "" {
			text = fmt.Sprintf("%v: %s", problem.Value, text)
		}
		if instead := problem.Instead.String(); instead != "" {
			text += "; " + instead
		}
		return &serve.Fault{Exit: 1, Text: text}
	case errors.As(err, &file) && errors.Is(err, register.ErrExposed):
		return &serve.Fault{Exit: 1, Text: words.Say("people.exposed", "file", file.Path)}
	case errors.As(err, &file):
		return &serve.Fault{Exit: 1, Text: words.Say("people.damaged", "file", file.Path), Err: err}
	}
	return err
}

// settleErasures holds the register and the ledger together: who is forgotten in the ledger is erased, though a backup brought
// the name back; who was erased is forgotten in the ledger, though a crash came between.
func (f *farm) settleErasures(ctx context.Context) error {
	if f.recorder.Head().Size == 0 {
		return nil
	}
	var forgotten []register.Erasure
	_ = f.projector.With(func(b *projections.Book) error {
		for _, fact := range b.View(projections.FarmKey).Facts {
			if d, ok := fact.Data().(*events.PersonForgotten); ok {
				forgotten = append(forgotten, register.Erasure{
					Pseudonym: d.Who, On: civil.DateOf(fact.Time, b.Zone()).String(), Reason: d.Reason, Record: fact.ID.String(),
				})
			}
		}
		return nil
	})
	n, err := f.people.Reapply(forgotten)
	if err != nil {
		return registerFault(err)
	}
	if n > 0 {
		//words:data a line of the log
		f.app.o.Logger.Warn("names that a restored register had again were erased again", "service", "register", "farm", f.code, "persons", n)
	}
	for _, e := range f.people.Erasures() {
		id, err := events.ParseID(e.Record)
		if err != nil {
			continue
		}
		if _, known, err := f.index.Lookup(id); known || err != nil {
			continue
		}
		if _, _, err := f.forget(ctx, e); err != nil {
			// The farm can be read all the same; the next start tries again.
			//words:data a line of the log
			f.app.o.Logger.Warn("an erasure is not in the ledger yet", "service", "register", "farm", f.code, "tag", e.Tag)
		}
	}
	return nil
}

// forget appends the person.forgotten of an erasure; sent again it is the same record.
func (f *farm) forget(ctx context.Context, e register.Erasure) (Recorded, int, error) {
	return f.record(ctx, []record.Proposal{{
		Draft:  events.Draft{ID: e.Record, Type: personForgotten, Data: events.Encode(events.PersonForgotten{Who: e.Pseudonym, Reason: e.Reason})},
		Device: "cli", Clock: true,
	}})
}

func (f *farm) today() civil.Date { return civil.DateOf(f.app.o.Now(), f.zone()) }

// PersonRequest adds a person, or corrects one: Who is a tag, a name or a pseudonym, empty for somebody new. Nil leaves a
// field as it is, an empty text takes it away.
type PersonRequest struct {
	Farm         string               `json:"farm,omitempty"`
	Who          string               `json:"who,omitempty"`
	Name         *string              `json:"name,omitempty"`
	Phone        *string              `json:"phone,omitempty"`
	Role         *string              `json:"role,omitempty"`
	KeepUntil    *string              `json:"keepUntil,omitempty"`
	Certificates []CertificateRequest `json:"certificates,omitempty"`
	Drop         []string             `json:"drop,omitempty"` // numbers of certificates that go
}

// CertificateRequest is a certificate as it is typed in.
type CertificateRequest struct {
	Number  string  `json:"number"`
	Kind    *string `json:"kind,omitempty"`
	From    *string `json:"from,omitempty"`
	Expires *string `json:"expires,omitempty"`
}

// Person is somebody of the register as answers show them: without salts.
type Person struct {
	Pseudonym    string           `json:"pseudonym"`
	Tag          string           `json:"tag"`
	Name         string           `json:"name,omitempty"`
	Phone        string           `json:"phone,omitempty"`
	Role         string           `json:"role,omitempty"`
	Since        string           `json:"since,omitempty"`
	KeepUntil    string           `json:"keepUntil,omitempty"`
	Expired      bool             `json:"expired,omitempty"` // the keep-until date has gone by
	Certificates []Certificate    `json:"certificates,omitempty"`
	Erased       *register.Erased `json:"erased,omitempty"`
	Proofs       []Proof          `json:"proofs,omitempty"`    // only where they were asked for
	Forgotten    *Recorded        `json:"forgotten,omitempty"` // what an erasure recorded
}

// Certificate is a licence as answers show it.
type Certificate struct {
	Number  string `json:"number"`
	Kind    string `json:"kind,omitempty"`
	From    string `json:"from,omitempty"`
	Expires string `json:"expires,omitempty"`
}

// Proof shows that a commitment means a name, and which records carry it.
type Proof struct {
	register.Proof
	Records []RecordOfPerson `json:"records"`
}

// RecordOfPerson is a record that carries a commitment.
type RecordOfPerson struct {
	ID    string `json:"id"`
	Kind  string `json:"kind"`
	Time  string `json:"time"`
	Place uint64 `json:"place"`
}

func shown(p register.Person, today civil.Date) Person {
	out := Person{
		Pseudonym: p.Pseudonym, Tag: p.Tag, Name: p.Name, Phone: p.Phone, Role: p.Role, Since: p.Since, KeepUntil: p.KeepUntil, Erased: p.Erased,
		Expired: p.Erased == nil && p.KeepUntil != "" && p.KeepUntil < today.String(),
	}
	for _, c := range p.Certificates {
		out.Certificates = append(out.Certificates, Certificate{Number: c.Number, Kind: c.Kind, From: c.From, Expires: c.Expires})
	}
	return out
}

func (a *App) opPerson(ctx context.Context, q PersonRequest) (any, int, error) {
	f, err := a.farm(ctx, q.Farm)
	if err != nil {
		return nil, 1, err
	}
	var certificates []register.Change
	for _, c := range q.Certificates {
		certificates = append(certificates, register.Change{Number: c.Number, Kind: c.Kind, From: c.From, Expires: c.Expires})
	}
	var p register.Person
	if q.Who == "" {
		n := register.New{Certificates: certificates}
		for _, field := range []struct {
			from *string
			into *string
		}{{q.Name, &n.Name}, {q.Phone, &n.Phone}, {q.Role, &n.Role}, {q.KeepUntil, &n.KeepUntil}} {
			if field.from != nil {
				*field.into = *field.from
			}
		}
		p, err = f.people.Add(n, f.today())
	} else if p, err = f.people.Find(q.Who); err == nil {
		p, err = f.people.Correct(p.Pseudonym, register.Correction{
			Name: q.Name, Phone: q.Phone, Role: q.Role, KeepUntil: q.KeepUntil, Certificates: certificates, Drop: q.Drop,
		})
	}
	if err != nil {
		return nil, 1, registerFault(err)
	}
	return shown(p, f.today()), 0, nil
}

// PeopleRequest asks who is in the register.
type PeopleRequest struct {
	Farm    string `json:"farm,omitempty"`
	Expired bool   `json:"expired,omitempty"` // only those whose keep-until date has gone by
}

// People lists the register.
type People struct {
	People []Person `json:"people"`
}

func (a *App) opPeople(ctx context.Context, q PeopleRequest) (any, int, error) {
	f, err := a.farm(ctx, q.Farm)
	if err != nil {
		return nil, 1, err
	}
	list := f.people.List()
	if q.Expired {
		list = f.people.Expired(f.today())
	}
	doc := People{People: []Person{}}
	for _, p := range list {
		doc.People = append(doc.People, shown(p, f.today()))
	}
	return doc, 0, nil
}

// ShowPersonRequest asks for one person: Who is a tag, a name or a pseudonym.
type ShowPersonRequest struct {
	Farm  string `json:"farm,omitempty"`
	Who   string `json:"who"`
	Proof bool   `json:"proof,omitempty"` // with salts, for an inspector
}

func (a *App) opShowPerson(ctx context.Context, q ShowPersonRequest) (any, int, error) {
	f, err := a.farm(ctx, q.Farm)
	if err != nil {
		return nil, 1, err
	}
	p, ok := f.people.ByTag(q.Who) // of an erased person the tag is enough here
	if !ok {
		if p, err = f.people.Find(q.Who); err != nil {
			return nil, 1, registerFault(err)
		}
	}
	doc := shown(p, f.today())
	if !q.Proof {
		return doc, 0, nil
	}
	err = f.projector.With(func(b *projections.Book) error {
		facts := b.Facts()
		for _, proof := range p.Proofs() {
			doc.Proofs = append(doc.Proofs, Proof{Proof: proof, Records: carriers(facts, proof.Commitment)})
		}
		return nil
	})
	return doc, 0, err
}

// carriers lists the records that carry a commitment, corrections with it, in order of place.
func carriers(facts []*projections.Fact, commitment string) []RecordOfPerson {
	out := []RecordOfPerson{}
	quoted := []byte(`"` + commitment + `"`)
	for _, fact := range facts {
		for _, r := range slices.Concat([]*events.Record{fact.Record}, fact.Corrections) {
			if bytes.Contains(r.Data, quoted) {
				out = append(out, RecordOfPerson{ID: r.ID.String(), Kind: r.Kind, Time: r.Envelope.Time, Place: r.Place})
			}
		}
	}
	slices.SortFunc(out, func(a, b RecordOfPerson) int { return int(a.Place) - int(b.Place) })
	return out
}

// EraseRequest erases a person.
type EraseRequest struct {
	Farm   string `json:"farm,omitempty"`
	Who    string `json:"who"`
	Reason string `json:"reason"`
	Early  bool   `json:"early,omitempty"` // before the keep-until date
}

func (a *App) opErase(ctx context.Context, q EraseRequest) (any, int, error) {
	f, err := a.farm(ctx, q.Farm)
	if err != nil {
		return nil, 1, err
	}
	p, err := f.people.Find(q.Who)
	if err != nil {
		return nil, 1, registerFault(err)
	}
	var random [10]byte
	if _, err := rand.Read(random[:]); err != nil {
		return nil, 1, fmt.Errorf("app: random bytes: %w", err)
	}
	id := events.NewID(a.o.Now().UnixMilli(), random).String()
	e, err := f.people.Erase(p.Pseudonym, q.Reason, f.today(), id, q.Early)
	if err != nil {
		return nil, 1, registerFault(err)
	}
	// If we crash here, the next start appends the record.
	recorded, exit, err := f.forget(ctx, e)
	if err != nil {
		return nil, exit, err
	}
	p, _ = f.people.Get(p.Pseudonym)
	doc := shown(p, f.today())
	doc.Forgotten = &recorded
	return doc, exit, nil
}

// CardsRequest asks for cards to print: of those named, else of everybody who is not erased.
type CardsRequest struct {
	Farm  string   `json:"farm,omitempty"`
	Who   []string `json:"who,omitempty"`
	Paper string   `json:"paper,omitempty"`
	On    string   `json:"on,omitempty"` // the day that stands on the sheet
}

// Cards is a sheet of cards.
type Cards struct {
	Cards   int             `json:"cards"`
	Pages   int             `json:"pages"`
	Missing []print.Missing `json:"missing"` // letters that the font does not have
	PDF     []byte          `json:"pdf,omitempty"`
}

func (a *App) opCards(ctx context.Context, q CardsRequest) (any, int, error) {
	f, err := a.farm(ctx, q.Farm)
	if err != nil {
		return nil, 1, err
	}
	day := f.today()
	if q.On != "" {
		if day, err = civil.ParseDate(q.On); err != nil {
			return nil, 2, &serve.Fault{Exit: 2, Text: words.Say("app.moment", "text", q.On), Err: err}
		}
	}
	if q.Paper != "" && !slices.Contains(paper.Sizes(), paper.Size(q.Paper)) {
		return nil, 2, &serve.Fault{Exit: 2, Text: words.Say("people.paper", "paper", q.Paper)}
	}
	var people []register.Person
	for _, who := range q.Who {
		p, err := f.people.Find(who)
		if err != nil {
			return nil, 1, registerFault(err)
		}
		people = append(people, p)
	}
	if len(q.Who) == 0 {
		people = f.people.List()
	}
	sheet := print.Sheet{Farm: f.name(), Paper: paper.Size(q.Paper), Made: civil.DayStart(day, f.zone())}
	for _, p := range people {
		if p.Erased == nil {
			sheet.Cards = append(sheet.Cards, print.Card{Tag: p.Tag, Name: p.Name, Role: words.Say("people.role-" + p.Role), Code: p.Pseudonym})
		}
	}
	doc := Cards{Cards: len(sheet.Cards), Pages: print.Pages(len(sheet.Cards)), Missing: []print.Missing{}}
	var pdf bytes.Buffer
	missing, err := print.Cards(&pdf, sheet)
	if err != nil {
		return nil, 1, err
	}
	doc.Missing = append(doc.Missing, missing...)
	doc.PDF = pdf.Bytes()
	return doc, 0, nil
}

// name is what people call the farm, its code before it is opened.
func (f *farm) name() string {
	name := f.code
	_ = f.projector.With(func(b *projections.Book) error {
		if o := b.Opened(); o != nil {
			name = o.Name
		}
		return nil
	})
	return name
}

// tags says who the pseudonyms of a text are: by tag, never by name, for answers are passed on.
func (f *farm) tags(text []byte) map[string]string {
	out := map[string]string{}
	for rest := text; ; {
		i := bytes.Index(rest, []byte(`w_`))
		if i < 0 {
			return out
		}
		rest = rest[i:]
		if who := string(rest[:min(34, len(rest))]); events.IsPseudonym(who) {
			if p, ok := f.people.Get(who); ok {
				out[who] = p.Tag
				if p.Erased != nil {
					out[who] = words.Say("people.tag-erased", "tag", p.Tag, "on", p.Erased.On)
				}
			}
		}
		rest = rest[2:]
	}
}
