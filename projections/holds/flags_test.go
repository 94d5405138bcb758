package holds_test

import (
	"slices"
	"testing"

	"latewood/events"
	"latewood/projections"
	"latewood/projections/foldtest"
	"latewood/projections/holds"
)

// Flags come and go with what is known: a spray that comes late flags the earlier pick, one that is withdrawn leaves word.
func TestFlags(t *testing.T) {
	t.Parallel()
	o := newOrchard(t, honolulu)
	o.rows("north", 2, 1)
	names := func(rec *events.Record) []string {
		var out []string
		for _, f := range holds.Flags(o.Book()) {
			if f.ID == rec.ID.String() {
				out = append(out, f.Name)
			}
		}
		return out
	}
	check := func(what string, rec *events.Record, want ...string) {
		t.Helper()
		if got := names(rec); !slices.Equal(got, want) {
			t.Errorf("%s: got flags %v, want %v", what, got, want)
		}
	}
	pick := func(at string, row string) *events.Record {
		return o.Add(at, &events.FruitPicked{Where: rows("north", row), Mass: &events.Quantity{Value: 3, Unit: "kg"}})
	}
	early, late, other := pick("2026-06-01T18:00:00-10:00", "1"), pick("2026-06-05T09:00:00-10:00", "1"), pick("2026-06-05T09:00:00-10:00", "2")
	look := o.Add("2026-06-01T18:00:00-10:00", &events.FlushSeen{Where: rows("north", "1"), Stage: "hardened"})
	check("before the spray was entered", late)
	rec := o.sprayed("2026-06-01T15:00:00-10:00", ended, rows("north", "1"), o.label(label("A", numeric(7, "d", ""), entry(12))))
	check("in both intervals", early, "pick-in-interval", "work-in-reentry")
	check("in the longer one", late, "pick-in-interval")
	check("on another row", other)
	check("a look in re-entry", look, "work-in-reentry")
	check("the spray itself", rec)
	closed := o.Add("", &events.HarvestClosed{Where: block("north"), Date: "2026-06-01"})
	check("what is only written down", closed)
	o.Withdraw(rec, rec)
	check("withdrawn", late, "interval-gone")
	check("withdrawn: work", look)
	foldtest.Laws(t, o.Records, []*projections.Fold{holds.FlagFold()}, 1)
}
