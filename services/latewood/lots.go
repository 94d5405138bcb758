package main

import (
	"context"
	"fmt"
	"strings"

	"latewood/events/words"
	"latewood/projections/lots"
	"latewood/projections/reviews"
	"latewood/services/internal/app"
	"latewood/services/report"
)

// heldFruit prints which lots and loads are held, why, who let them go, and who already has them.
func (t *terminal) heldFruit(d app.Holds) {
	if len(d.Lots)+len(d.Deliveries)+len(d.Sold) == 0 {
		return
	}
	fmt.Fprintln(t.out)
	n, m := d.Fruit.Held()
	t.say("cli.lots-head", "lots", n, "loads", m)
	for _, held := range [][]lots.Held{d.Lots, d.Deliveries} {
		for _, h := range held {
			t.heldUnit(h, d.People)
		}
	}
	for _, s := range d.Sold {
		t.say("cli.lots-sold", "record", s.Record)
		for _, r := range s.Because {
			t.under(1, "cli.lots-because", "flag", r.Flag, "record", r.Record, "why", r.Why)
		}
		t.gone(s.Went)
	}
	fmt.Fprintln(t.out)
	fmt.Fprintln(t.out, d.LotsCaution)
}

func (t *terminal) heldUnit(h lots.Held, people map[string]string) {
	name := words.Say("lots.lot", "code", h.Lot)
	if h.Delivery != "" {
		name = words.Say("lots.delivery", "code", h.Delivery)
	}
	switch {
	case h.Reopened:
		t.say("cli.lots-reopened", "name", name)
	case h.Held:
		t.say("cli.lots-held", "name", name)
	default:
		t.say("cli.lots-released", "name", name)
	}
	for _, r := range h.Because {
		if r.Flag == "" {
			t.under(1, "cli.lots-by-hand", "record", r.Record, "why", r.Why, "by", who(r.By, people), "since", clock(r.Since))
		} else {
			t.under(1, "cli.lots-because", "flag", r.Flag, "record", r.Record, "why", r.Why)
		}
		if len(r.Through) > 0 {
			t.under(2, "cli.lots-through", "inputs", strings.Join(r.Through, ", "))
		}
		if r.New {
			t.under(2, "cli.lots-new")
		}
	}
	for _, f := range h.Released {
		t.under(1, "cli.lots-release", "id", f.ID, "by", dash(who(f.By, people)), "at", clock(f.At), "basis", f.Basis, "answers", strings.Join(f.Answers, ", "))
		if f.Second != "" {
			t.under(2, "cli.lots-second", "who", who(f.Second, people))
		}
	}
	for _, w := range h.Gone {
		t.gone(w)
	}
	for _, w := range h.Back {
		t.under(1, "cli.lots-back", "how", how(w), "party", dash(w.Party), "date", w.Date, "kg", number(w.Kg, 1))
		for _, told := range w.Told {
			t.under(2, "cli.lots-told", "party", told.Party, "when", dash(told.When), "how", dash(told.How), "answer", dash(told.Answer))
		}
	}
	if len(h.Told) > 0 {
		t.under(1, "cli.lots-packers", "codes", strings.Join(h.Told, ", "))
	}
}

// under prints a sentence of the catalogue below another.
//
//words:say
func (t *terminal) under(depth int, key string, pairs ...any) {
	fmt.Fprint(t.out, strings.Repeat("  ", depth))
	t.say(key, pairs...) //words:keys cli
}

// gone prints one step of fruit on its way out.
func (t *terminal) gone(w lots.Went) {
	t.under(1, "cli.lots-gone", "how", how(w), "party", dash(w.Party), "date", w.Date, "kg", number(w.Kg, 1))
}

// how is how fruit left or came back.
func how(w lots.Went) string { return words.Say("lots.how-" + w.How) }

// terms prints which legal terms a record has, and who looked it over.
func (t *terminal) terms(d app.Shown) {
	if len(d.Terms)+len(d.Reviews) == 0 {
		return
	}
	fmt.Fprintln(t.out)
	for _, x := range d.Terms {
		switch {
		case x.Late:
			t.say("cli.term-late", "term", x.Term, "hours", x.Hours, "within", x.Within, "source", x.Source.Source)
		case x.Within == 0:
			t.say("cli.term-open", "term", x.Term, "hours", x.Hours, "source", x.Source.Source)
		default:
			t.say("cli.term-kept", "term", x.Term, "hours", x.Hours, "within", x.Within, "source", x.Source.Source)
		}
	}
	for _, l := range d.Reviews {
		t.say("cli.reviewed-by", "who", who(l.Reviewer, d.People), "day", l.Day, "mark", lookMark(l))
	}
}

// lookMark is what is to be said of a review.
func lookMark(l reviews.Look) string {
	var out []string
	if l.Role != "" {
		out = append(out, l.Role)
	}
	if l.Same {
		out = append(out, words.Say("cli.review-same"))
	}
	if l.Before {
		out = append(out, words.Say("cli.review-before"))
	}
	return strings.Join(out, ", ")
}

type reviewsCommand struct {
	asked
	shown
	On string `help:"${cli_on}" placeholder:"DATE"`
}

func (r *reviewsCommand) Run(ctx context.Context, t *terminal) (int, error) {
	q := app.ReviewsRequest{Asked: t.asked(r.asked), On: r.On}
	return tabled(ctx, t, "reviews", q, &r.shown, t.reviews, reviewsTable)
}

// reviews prints what waits for a review, what had one, and what was late.
func (t *terminal) reviews(d app.Reviews) {
	if len(d.Rows) == 0 {
		t.say("cli.reviews-none", "on", d.On)
	} else {
		t.say("cli.reviews-head", "n", len(d.Rows), "on", d.On)
		rows := make([][]string, len(d.Rows))
		for i, r := range d.Rows {
			due := r.Due
			if r.Overdue {
				due = words.Say("cli.overdue", "due", r.Due)
			}
			rows[i] = []string{r.Record, r.Kind, r.Day, due, r.Term}
		}
		t.table(heads("record", "kind", "day", "due", "term"), rows)
	}
	if len(d.Reviewed) > 0 {
		fmt.Fprintln(t.out)
		t.say("cli.reviewed-head", "n", len(d.Reviewed))
		var rows [][]string
		for _, r := range d.Reviewed {
			for _, l := range r.Reviews {
				rows = append(rows, []string{r.Record, r.Kind, r.Day, l.Day, who(l.Reviewer, d.People), dash(lookMark(l))})
			}
		}
		t.table(heads("record", "kind", "day", "reviewed", "by", "mark"), rows)
	}
	if len(d.Late) > 0 {
		fmt.Fprintln(t.out)
		t.say("cli.late-head", "n", len(d.Late))
		rows := make([][]string, len(d.Late))
		for i, l := range d.Late {
			rows[i] = []string{l.Record, l.Kind, l.Day, fmt.Sprint(l.Hours), fmt.Sprint(l.Within), l.Term}
		}
		t.table(heads("record", "kind", "day", "hours", "within", "term"), rows)
	}
	fmt.Fprintln(t.out)
	fmt.Fprintln(t.out, d.Note)
}

func reviewsTable(d app.Reviews) report.Table {
	t := columns("record", "kind", "day", "due", "overdue", "term", "source", "edition", "review", "reviewer", "reviewed", "role", "same_person", "before_correction")
	for _, list := range [][]reviews.Row{d.Rows, d.Reviewed} {
		for _, r := range list {
			row := []report.Cell{
				report.Text(r.Record), report.Text(r.Kind), report.DayText(r.Day), report.DayText(r.Due), report.Truth(r.Overdue), report.Text(r.Term), report.Text(r.Source.Source), report.Text(r.Edition),
			}
			if len(r.Reviews) == 0 {
				t.Add(append(row, make([]report.Cell, 6)...)...)
			}
			for _, l := range r.Reviews {
				t.Add(append(row[:8:8], report.Text(l.Review), report.Text(l.Reviewer), report.DayText(l.Day), report.Text(l.Role), report.Truth(l.Same), report.Truth(l.Before))...)
			}
		}
	}
	return t
}

type flagsCommand struct {
	asked
	shown
	Of []string `help:"${cli_flags_of}" placeholder:"FLAG"`
}

func (f *flagsCommand) Run(ctx context.Context, t *terminal) (int, error) {
	q := app.FlagsRequest{Asked: t.asked(f.asked), Of: f.Of}
	return tabled(ctx, t, "flags", q, &f.shown, t.allFlags, flagsTable)
}

// allFlags prints every flag, by name, each with what to do.
func (t *terminal) allFlags(d app.FlagsDoc) {
	if len(d.Rows) == 0 {
		t.say("cli.flags-none")
		return
	}
	by := map[string][]app.FlagRow{}
	for _, r := range d.Rows {
		by[r.Flag] = append(by[r.Flag], r)
	}
	for _, name := range sortedKeys(by) {
		t.say("cli.flags-head", "flag", name, "n", len(by[name]))
		for _, r := range by[name] {
			fmt.Fprintf(t.out, "  %s  %s %s  %s\n", r.ID, r.Day, r.Kind, r.Why)
			if codes := heldBy(r.Flagged); codes != "" {
				t.under(2, "cli.flag-holds", "codes", codes)
			}
		}
		fmt.Fprintf(t.out, "  %s\n\n", by[name][0].Do)
	}
}

func flagsTable(d app.FlagsDoc) report.Table {
	t := columns("id", "flag", "kind", "day", "blocks", "why", "do", "lots", "deliveries")
	for _, r := range d.Rows {
		t.Add(report.Text(r.ID), report.Text(r.Flag), report.Text(r.Kind), report.DayText(r.Day), report.Text(strings.Join(r.Blocks, ";")), report.Text(r.Why), report.Text(r.Do),
			report.Text(strings.Join(r.Lots, ";")), report.Text(strings.Join(r.Deliveries, ";")))
	}
	return t
}
