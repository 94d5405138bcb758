package app

import (
	"context"
	"crypto/rand"
	"fmt"
	"slices"
	"strings"
	"time"

	"latewood/events"
	"latewood/events/units"
	"latewood/events/words"
	"latewood/projections"
	"latewood/projections/holds"
	"latewood/projections/lots"
	"latewood/projections/yields"
	"latewood/services/record"
)

// answer is one thing that the folds say, as text, so that two Books can be held against each other.
type answer struct{ of, what, text string }

// answers is what the folds say now: the intervals of every block and spray, the mass of every block and season, the lots and
// loads that are held, the flags.
func (f *farm) answers() (out []answer, err error) {
	err = f.projector.With(func(b *projections.Book) error {
		out = answersOf(b, f.app.o.Now())
		return nil
	})
	return out, err
}

func answersOf(b *projections.Book, at time.Time) []answer {
	var out []answer
	for _, block := range holds.Holds(b, at).Blocks {
		out = append(out,
			answer{block.Block, words.Say("moves.pick"), holdText(block.Pick)},
			answer{block.Block, words.Say("moves.enter"), holdText(block.Enter)})
	}
	for _, code := range b.Keys(projections.Block) {
		for _, i := range projections.StateOf[holds.State](b, holds.Fold(), code).Intervals(b.Zone()) {
			out = append(out,
				answer{i.Spray + " " + code, words.Say("moves.interval-pick"), intervalText(i.Pick, i.ReadPick)},
				answer{i.Spray + " " + code, words.Say("moves.interval-enter"), intervalText(i.Enter, i.ReadEnter)})
		}
	}
	for _, row := range yields.Report(b, yields.Filter{By: yields.ByBlock}).Blocks {
		if row.Kg != nil {
			out = append(out, answer{row.Block + " " + string(row.Season), words.Say("moves.kg"), units.FormatNumber(*row.Kg)})
		}
	}
	said := saidOf(b, at)
	for _, h := range said.held.Lots {
		out = append(out, answer{words.Say("lots.lot", "code", h.Lot), words.Say("moves.held"), heldText(h)})
	}
	for _, h := range said.held.Deliveries {
		out = append(out, answer{words.Say("lots.delivery", "code", h.Delivery), words.Say("moves.held"), heldText(h)})
	}
	for _, fl := range said.flags {
		out = append(out, answer{fl.ID, fl.Name, fl.Why()})
	}
	return out
}

// intervalText is the end of an interval, or that the label must be read.
func intervalText(until string, read bool) string {
	if read {
		return strings.TrimSpace(words.Say("holds.status-"+string(holds.ReadTheLabel)) + " " + until)
	}
	return until
}

// heldText is whether a lot or load is held, and by what.
func heldText(h lots.Held) string {
	if !h.Held {
		return words.Say("lots.released-word")
	}
	var why []string
	for _, r := range h.Because {
		if r.Flag == "" {
			why = append(why, words.Say("lots.by-hand"))
		} else {
			why = append(why, r.Flag+":"+r.Record)
		}
	}
	return words.Say("lots.held-word", "why", strings.Join(why, ", "))
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
	return moves(before, answersOf(book, f.app.o.Now())), nil
}

// said is what the folds flag and hold now.
func (f *farm) said() (out said) {
	_ = f.projector.With(func(b *projections.Book) error {
		out = saidOf(b, f.app.o.Now())
		return nil
	})
	return out
}
