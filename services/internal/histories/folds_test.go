package histories

import (
	"bytes"
	"encoding/json"
	"testing"

	"latewood/projections"
	"latewood/projections/flags"
	"latewood/projections/foldtest"
	"latewood/projections/holds"
	"latewood/projections/lots"
	"latewood/projections/orchard"
	"latewood/projections/reviews"
	"latewood/projections/weather"
	"latewood/projections/yields"
)

// folds lists every fold that runs. A new fold gets its place here.
func folds() []*projections.Fold {
	return []*projections.Fold{
		orchard.Fold(), holds.Fold(), holds.FlagFold(), yields.Fold(), weather.Fold(), flags.Blocks(), flags.Farm(), flags.Stations(),
		lots.Fold(), lots.FlagFold(), reviews.Blocks(), reviews.Farm(),
	}
}

// says is all that a Book says: the states of all folds, the flags of the whole farm, and each fact as it stands.
func says(t testing.TB, b *projections.Book) []byte {
	t.Helper()
	var out bytes.Buffer
	out.Write(foldtest.States(t, b, folds()))
	line := func(what string, v any) {
		j, err := json.Marshal(v)
		if err != nil {
			t.Fatal(err)
		}
		out.WriteString(what)
		out.WriteByte(' ')
		out.Write(j)
		out.WriteByte('\n')
	}
	for _, f := range flags.Every(b) {
		line("flag", f)
	}
	for _, f := range b.Facts() {
		var corrections []string
		for _, c := range f.Corrections {
			corrections = append(corrections, c.ID.String())
		}
		at, data := f.Time, json.RawMessage(f.Raw())
		if f.Kind == "weather.read" {
			// Readings live in columns, which keep instants and the columns' units. What is said about one makes a fact of it,
			// and that has the record's own offset and units only where the correction or withdrawal came first.
			if at = at.UTC(); len(corrections) == 0 {
				data = nil
			}
		}
		line("fact", map[string]any{
			"id": f.ID.String(), "kind": f.Kind, "version": f.Version, "time": at, "corrections": corrections,
			"stands": f.Stands(), "forked": f.Forked, "data": data,
		})
	}
	for _, r := range b.Waiting() {
		line("waiting", r.ID.String())
	}
	line("settings", len(b.Adopted()))
	line("zone", b.Zone().String())
	return out.Bytes()
}
