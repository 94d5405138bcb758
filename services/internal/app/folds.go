package app

import (
	"slices"
	"sync"

	"latewood/projections"
	"latewood/projections/flags"
	"latewood/projections/holds"
	"latewood/projections/orchard"
	"latewood/projections/weather"
	"latewood/projections/yields"
)

// Folds lists the folds that run, in the order in which reports name them.
var Folds = sync.OnceValue(func() []*projections.Fold {
	return []*projections.Fold{orchard.Fold(), holds.Fold(), holds.FlagFold(), yields.Fold(), weather.Fold(), flags.Blocks(), flags.Farm()}
})

// flagsOf puts the flags of all folds together, in order of records.
func flagsOf(b *projections.Book) []Flagged {
	all := rawFlags(b)
	out := make([]Flagged, len(all))
	for i, f := range all {
		out[i] = Flagged{ID: f.ID, Flag: f.Name, Why: f.Why()}
	}
	return out
}

// rawFlags is flagsOf before the sentences are made.
func rawFlags(b *projections.Book) []projections.Flag {
	return projections.SortFlags(slices.Concat(flags.All(b), holds.Flags(b), weather.Flags(b)))
}
