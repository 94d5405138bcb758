package app

import (
	"context"
	"crypto/rand"
	"fmt"
	"slices"
	"strings"

	"latewood/events"
	"latewood/events/units"
	"latewood/events/words"
	"latewood/projections"
	"latewood/projections/holds"
	"latewood/projections/yields"
	"latewood/services/record"
)

// answer is one thing that the folds say, as text, so that two Books can be held against each other.
type answer struct{ of, what, text string }

// answers is what the folds say now: the intervals of every block, the mass of every block and season, the flags.
func (f *farm) answers() (out []answer, err error) {
	err = f.projector.With(func(b *projections.Book) error {
		out = answersOf(f, b)
		return nil
	})
	return out, err
}

func answersOf(f *farm, b *projections.Book) []answer {
	var out []answer
	for _, block := range holds.Holds(b, f.app.o.Now()).Blocks {
		out = append(out,
			answer{block.Block, words.Say("moves.pick"), holdText(block.Pick)},
			answer{block.Block, words.Say("moves.enter"), holdText(block.Enter)})
	}
	for _, row := range yields.Report(b, yields.Filter{By: yields.ByBlock}).Blocks {
		if row.Kg != nil {
			out = append(out, answer{row.Block + " " + string(row.Season), words.Say("moves.kg"), units.FormatNumber(*row.Kg)})
		}
	}
	for _, fl := range flagsOf(b) {
		out = append(out, answer{fl.ID, fl.Flag, fl.Why})
	}
	return out
}

func holdText(h holds.Hold) string {
	text := string(h.Status)
	if h.From != "" {
		text += " " + h.From
	}
	return text
}

// moves lists what differs between two sets of answers, in the order of the first and then of the second.
func moves(before, after []answer) []Move {
	type key struct{ of, what string }
	texts := func(answers []answer) map[key][]string {
		m := map[key][]string{}
		for _, a := range answers {
			k := key{a.of, a.what}
			m[k] = append(m[k], a.text)
		}
		return m
	}
	old, now := texts(before), texts(after)
	out := []Move{}
	done := map[key]bool{}
	for _, a := range slices.Concat(before, after) {
		k := key{a.of, a.what}
		if done[k] || slices.Equal(old[k], now[k]) {
			continue
		}
		done[k] = true
		out = append(out, Move{Of: a.of, What: a.what, Before: strings.Join(old[k], "; "), After: strings.Join(now[k], "; ")})
	}
	return out
}

// wouldMove folds the ledger with records on top that are not recorded, and says what differs.
func (f *farm) wouldMove(ctx context.Context, proposals []record.Proposal, before []answer) ([]Move, error) {
	book, _, err := f.projector.AsKnown(ctx, projections.Knowledge{})
	if err != nil {
		return nil, err
	}
	door := events.Door{Catalogue: events.Standard(), Farm: f.code, Zone: book.Zone()}
	place := book.Size()
	for _, p := range proposals {
		a, problems := door.Check(p.Draft)
		if len(problems) > 0 {
			return nil, problems
		}
		var random [10]byte
		if _, err := rand.Read(random[:]); err != nil {
			return nil, fmt.Errorf("app: random bytes: %w", err)
		}
		now := f.app.o.Now()
		env := events.Envelope{
			Farm: f.code, ID: events.NewID(now.UnixMilli(), random).String(), Time: a.Draft.Time, Type: a.Draft.Type,
			RecordedTime: events.RecordedAt(now), Source: "/farms/" + f.code + "/cli", Chains: "farm 1 -",
		}
		place++
		r, err := events.ParseRecord(place, env.AppendCanonical(nil, a.Data))
		if err != nil {
			return nil, err
		}
		if err := book.Add(r); err != nil {
			return nil, err
		}
	}
	return moves(before, answersOf(f, book)), nil
}

// flags lists every flag of the farm.
func (f *farm) flags() (out []Flagged) {
	_ = f.projector.With(func(b *projections.Book) error {
		out = flagsOf(b)
		return nil
	})
	return out
}
