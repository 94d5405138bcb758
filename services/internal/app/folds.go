package app

import (
	"slices"
	"sync"
	"time"

	"latewood/projections"
	"latewood/projections/flags"
	"latewood/projections/flush"
	"latewood/projections/holds"
	"latewood/projections/lots"
	"latewood/projections/orchard"
	"latewood/projections/reviews"
	"latewood/projections/trails"
	"latewood/projections/weather"
	"latewood/projections/yields"
)

// Folds lists the folds that run, in the order in which reports name them.
var Folds = sync.OnceValue(func() []*projections.Fold {
	return []*projections.Fold{
		orchard.Fold(), holds.Fold(), holds.FlagFold(), yields.Fold(), weather.Fold(), flags.Blocks(), flags.Farm(), flags.Stations(),
		lots.Fold(), lots.FlagFold(), trails.Fold(), reviews.Blocks(), reviews.Farm(), flush.Fold(),
	}
})

// said is what the folds flag and hold, at one moment of the ledger.
type said struct {
	flags []projections.Flag
	held  lots.Fruit
}

func saidOf(b *projections.Book, at time.Time) said {
	raw := flags.Every(b)
	return said{raw, lots.Holds(b, raw, at)}
}

// flagged makes the flags' lines: with what to do, and the lots and loads that a flag holds.
func (s said) flagged() []Flagged {
	type key struct{ id, flag string }
	var lotsOf, loadsOf map[key][]string
	gather := func(held []lots.Held) map[key][]string {
		out := map[key][]string{}
		for _, h := range held {
			for _, r := range h.Because {
				k := key{r.Record, r.Flag}
				out[k] = append(out[k], h.Lot+h.Delivery)
			}
		}
		return out
	}
	lotsOf, loadsOf = gather(s.held.Lots), gather(s.held.Deliveries)
	out := make([]Flagged, len(s.flags))
	for i, f := range s.flags {
		k := key{f.ID, f.Name}
		out[i] = Flagged{ID: f.ID, Flag: f.Name, Why: f.Why(), Do: flags.Do(f.Name), Lots: lotsOf[k], Deliveries: loadsOf[k], rests: f.Because}
	}
	return out
}

// HeldCodes names lots and loads.
type HeldCodes struct {
	Lots       []string `json:"lots"`
	Deliveries []string `json:"deliveries"`
}

// since lists the lots and loads that are held and were not held before.
func (s said) since(before said) *HeldCodes {
	codes := func(now, old []lots.Held) []string {
		was := map[string]bool{}
		for _, h := range old {
			was[h.Lot+h.Delivery] = h.Held
		}
		out := []string{}
		for _, h := range now {
			if code := h.Lot + h.Delivery; h.Held && !was[code] {
				out = append(out, code)
			}
		}
		return out
	}
	c := &HeldCodes{codes(s.held.Lots, before.held.Lots), codes(s.held.Deliveries, before.held.Deliveries)}
	if len(c.Lots)+len(c.Deliveries) == 0 {
		return nil
	}
	return c
}

// came lists the flags that were not there before, or that rest on something new.
func came(now, before []Flagged) []Flagged {
	known := make(map[[2]string][]string, len(before))
	for _, f := range before {
		k := [2]string{f.ID, f.Flag}
		known[k] = append(append(known[k], ""), f.rests...)
	}
	out := []Flagged{}
	for _, f := range now {
		rests, ok := known[[2]string{f.ID, f.Flag}]
		if !ok || slices.ContainsFunc(f.rests, func(id string) bool { return !slices.Contains(rests, id) }) {
			out = append(out, f)
		}
	}
	return out
}
