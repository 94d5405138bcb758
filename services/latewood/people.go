package main

import (
	"context"
	"fmt"
	"strings"

	"latewood/events"
	"latewood/events/words"
	"latewood/services/internal/app"
	"latewood/services/serve"
)

type peopleCommand struct {
	Add     addPersonCommand     `cmd:"" help:"${cli_people_add}"`
	List    listPeopleCommand    `cmd:"" help:"${cli_people_list}"`
	Show    showPersonCommand    `cmd:"" help:"${cli_people_show}"`
	Correct correctPersonCommand `cmd:"" help:"${cli_people_correct}"`
	Erase   erasePersonCommand   `cmd:"" help:"${cli_people_erase}"`
}

// personFields are what add and correct share. A field that is not given stays as it is.
type personFields struct {
	Phone       *string `help:"${cli_people_phone}" placeholder:"NUMBER"`
	Role        *string `help:"${cli_people_role}" placeholder:"ROLE"`
	KeepUntil   *string `help:"${cli_people_keep_until}" placeholder:"DATE"`
	Certificate string  `help:"${cli_people_certificate}" placeholder:"NUMBER"`
	Kind        *string `help:"${cli_people_certificate_kind}" placeholder:"KIND"`
	From        *string `help:"${cli_people_certificate_from}" placeholder:"DATE"`
	Expires     *string `help:"${cli_people_certificate_expires}" placeholder:"DATE"`
}

// request puts them into a request. The days and the kind are a certificate's, and nothing without its number.
func (p *personFields) request(t *terminal) (app.PersonRequest, error) {
	q := app.PersonRequest{Farm: t.global.Farm, Phone: p.Phone, Role: p.Role, KeepUntil: p.KeepUntil}
	switch {
	case p.Certificate != "":
		q.Certificates = []app.CertificateRequest{{Number: p.Certificate, Kind: p.Kind, From: p.From, Expires: p.Expires}}
	case p.Kind != nil || p.From != nil || p.Expires != nil:
		return q, &serve.Fault{Exit: 2, Text: words.Say("cli.people-which-certificate")}
	}
	return q, nil
}

type addPersonCommand struct {
	Name string `arg:"" help:"${cli_people_name}"`
	personFields
}

func (a *addPersonCommand) Run(ctx context.Context, t *terminal) (int, error) {
	q, err := a.request(t)
	if err != nil {
		return 2, err
	}
	q.Name = &a.Name
	return ask(ctx, t, "person", q, func(p app.Person) {
		t.say("cli.people-added", "tag", p.Tag, "name", p.Name)
		t.person(p)
	})
}

type correctPersonCommand struct {
	Who  string  `arg:"" help:"${cli_people_who}"`
	Name *string `help:"${cli_people_new_name}" placeholder:"NAME"`
	personFields
	DropCertificate []string `help:"${cli_people_drop}" placeholder:"NUMBER"`
}

func (c *correctPersonCommand) Run(ctx context.Context, t *terminal) (int, error) {
	q, err := c.request(t)
	if err != nil {
		return 2, err
	}
	q.Who, q.Name, q.Drop = c.Who, c.Name, c.DropCertificate
	return ask(ctx, t, "person", q, t.person)
}

type listPeopleCommand struct {
	Expired bool `help:"${cli_people_expired}"`
}

func (l *listPeopleCommand) Run(ctx context.Context, t *terminal) (int, error) {
	return ask(ctx, t, "people", app.PeopleRequest{Farm: t.global.Farm, Expired: l.Expired}, func(d app.People) {
		rows := make([][]string, len(d.People))
		expired := 0
		for i, p := range d.People {
			name, keep := dash(p.Name), dash(p.KeepUntil)
			if p.Erased != nil {
				name = words.Say("cli.people-erased-on", "on", p.Erased.On)
			}
			if p.Expired {
				expired++
				keep += " " + words.Say("cli.people-gone-by")
			}
			rows[i] = []string{p.Tag, name, dash(roleWord(p.Role)), dash(p.Phone), dash(strings.Join(certificates(p), "; ")), keep}
		}
		if len(rows) == 0 {
			t.say("cli.people-none")
			return
		}
		t.table(heads("tag", "name", "role", "phone", "certificates", "keep-until"), rows)
		if expired > 0 {
			fmt.Fprintln(t.out)
			t.say("cli.people-to-erase", "n", expired)
		}
	})
}

// roleWord is a role as people call it.
func roleWord(role string) string {
	if role == "" {
		return ""
	}
	return words.Say("people.role-" + role)
}

// certificates writes each certificate on one line.
func certificates(p app.Person) []string {
	var out []string
	for _, c := range p.Certificates {
		line := c.Number
		if c.Kind != "" {
			line += " (" + c.Kind + ")"
		}
		if c.From != "" {
			line += " " + words.Say("cli.people-valid-from", "from", c.From)
		}
		if c.Expires != "" {
			line += " " + words.Say("cli.people-valid-until", "until", c.Expires)
		}
		out = append(out, line)
	}
	return out
}

func (t *terminal) person(p app.Person) {
	keep := p.KeepUntil
	if p.Expired {
		keep += " " + words.Say("cli.people-gone-by")
	}
	erased := ""
	if p.Erased != nil {
		erased = p.Erased.On + ", " + p.Erased.Reason
	}
	t.pairs(
		"tag", p.Tag, "name", p.Name, "role", roleWord(p.Role), "phone", p.Phone, "since", p.Since, "keep-until", keep,
		"certificates", strings.Join(certificates(p), "\n"), "erased", erased, "pseudonym", p.Pseudonym,
	)
}

type showPersonCommand struct {
	Who   string `arg:"" help:"${cli_people_who}"`
	Proof bool   `help:"${cli_people_show_proof}"`
}

func (s *showPersonCommand) Run(ctx context.Context, t *terminal) (int, error) {
	return ask(ctx, t, "who", app.ShowPersonRequest{Farm: t.global.Farm, Who: s.Who, Proof: s.Proof}, func(p app.Person) {
		t.person(p)
		if !s.Proof {
			return
		}
		fmt.Fprintln(t.out)
		if len(p.Proofs) == 0 {
			t.say("cli.people-no-proof")
			return
		}
		t.say("cli.people-proof")
		for _, proof := range p.Proofs {
			fmt.Fprintln(t.out)
			t.pairs("name", proof.Name, "number", proof.Number, "salt", proof.Salt, "claim", proof.Claim, "commitment", proof.Commitment)
			for _, r := range proof.Records {
				t.say("cli.people-proof-record", "id", r.ID, "kind", r.Kind, "time", r.Time, "place", r.Place)
			}
			if len(proof.Records) == 0 {
				t.say("cli.people-proof-nowhere")
			}
		}
	})
}

type erasePersonCommand struct {
	Who    string `arg:"" help:"${cli_people_who}"`
	Reason string `required:"" help:"${cli_people_reason}"`
	Early  bool   `help:"${cli_people_early}"`
}

func (e *erasePersonCommand) Run(ctx context.Context, t *terminal) (int, error) {
	return ask(ctx, t, "erase", app.EraseRequest{Farm: t.global.Farm, Who: e.Who, Reason: e.Reason, Early: e.Early}, func(p app.Person) {
		t.say("cli.people-erased", "tag", p.Tag)
		if p.Forgotten != nil {
			t.recorded(*p.Forgotten)
		}
	})
}

type printCommand struct {
	Cards printCardsCommand `cmd:"" help:"${cli_print_cards}"`
}

type printCardsCommand struct {
	Who    []string `arg:"" optional:"" help:"${cli_print_cards_who}"`
	Output string   `short:"o" required:"" help:"${cli_output}" placeholder:"FILE"`
	Paper  string   `help:"${cli_print_paper}" enum:"a4,letter" default:"a4"`
	On     string   `help:"${cli_print_on}" placeholder:"DATE"`
}

// Run writes the sheet. Beside it the terminal is told how many cards there are; under --json without the sheet itself.
func (p *printCardsCommand) Run(ctx context.Context, t *terminal) (int, error) {
	return t.with(ctx, func(c app.Connection) (int, error) {
		document, exit, err := c.Call(ctx, "cards", app.CardsRequest{Farm: t.global.Farm, Who: p.Who, Paper: p.Paper, On: p.On}, nil, nil)
		if document == nil {
			return exit, err
		}
		var d app.Cards
		if err := events.ReadJSON(document, &d); err != nil {
			return 1, err
		}
		if err := t.write(p.Output, string(d.PDF)); err != nil {
			return 1, err
		}
		for _, m := range d.Missing {
			t.tell("cli.print-missing", "tag", m.Tag, "letters", m.Letters)
		}
		switch d.PDF = nil; {
		case p.Output == "-":
		case t.json:
			b, err := events.WriteJSON(d)
			if err != nil {
				return 1, err
			}
			fmt.Fprintf(t.out, "%s\n", b)
		default:
			t.say("cli.print-done", "cards", d.Cards, "pages", d.Pages, "file", p.Output)
		}
		return exit, nil
	})
}

// who puts the tag behind a pseudonym, where the register knows it.
func who(pseudonym string, tags map[string]string) string {
	if tag := tags[pseudonym]; tag != "" {
		return pseudonym + " (" + tag + ")"
	}
	return pseudonym
}
