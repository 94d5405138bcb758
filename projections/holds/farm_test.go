package holds_test

import (
	"fmt"
	"slices"
	"testing"
	"time"

	"latewood/events"
	"latewood/events/civil"
	"latewood/projections"
	"latewood/projections/foldtest"
	"latewood/projections/holds"
)

// An orchard is an invented farm for these tests: blocks, trees, labels and sprays in few words.
type orchard struct {
	*foldtest.Farm
	t testing.TB
}

const applicator = "w_00000000000000000000000000000001"

func newOrchard(t testing.TB, zone string, blocks ...string) *orchard {
	t.Helper()
	o := &orchard{foldtest.NewFarm(t, zone), t}
	if len(blocks) == 0 {
		blocks = []string{"north"}
	}
	for _, b := range blocks {
		o.Add("2008-01-02", &events.BlockEstablished{Block: b, Name: b, Area: events.Quantity{Value: 1, Unit: "har"}})
	}
	return o
}

// rows plants rows of a block: row r has the trees BLOCK-r-1 to BLOCK-r-n.
func (o *orchard) rows(block string, rows, n int) {
	o.t.Helper()
	for r := 1; r <= rows; r++ {
		for p := 1; p <= n; p++ {
			o.tree(block, fmt.Sprint(r), fmt.Sprint(p), "2011")
		}
	}
}

func (o *orchard) tree(block, row, position, planted string) string {
	o.t.Helper()
	code := block + "-" + row + "-" + position
	o.Add("", &events.TreePlanted{Tree: code, Block: block, Row: row, Position: position, Cultivar: "Mauritius", Planted: planted})
	return code
}

func ptr[T any](v T) *T { return &v }

// label is a full label of a pesticide: the interval lines as given, 12 h of re-entry where none are.
func label(product string, lines ...any) *events.LabelFiled {
	d := &events.LabelFiled{
		Product: product, Material: "pesticide", ReadBy: applicator, Registration: "999-" + product, Crop: "lychee", CropListed: ptr(true),
		ActiveIngredients: []events.Ingredient{{Name: "inventium", Share: &events.Quantity{Value: 10, Unit: "%"}}},
	}
	for _, l := range lines {
		switch l := l.(type) {
		case events.Withholding:
			d.Withholding = append(d.Withholding, l)
		case events.Reentry:
			d.Reentry = append(d.Reentry, l)
		}
	}
	if len(d.Reentry) == 0 {
		d.Reentry = append(d.Reentry, events.Reentry{Hours: ptr(0.0)})
	}
	if len(d.Withholding) == 0 {
		d.Withholding = append(d.Withholding, events.Withholding{Kind: "zero"})
	}
	return d
}

func numeric(value float64, unit, rule string) events.Withholding {
	return events.Withholding{Kind: "numeric", Value: &value, Unit: unit, CountRule: rule, TermOnLabel: "PHI", Words: fmt.Sprint("do not harvest within ", value, " ", unit)}
}

func entry(hours float64) events.Reentry { return events.Reentry{Hours: &hours} }

func (o *orchard) label(d *events.LabelFiled) events.MixItem {
	o.t.Helper()
	return events.MixItem{Label: o.Add("2026-01-01", d).ID.String()}
}

// spray is an application of a mix to parts, done.
func spray(started, ended string, parts []events.Part, mix ...events.MixItem) *events.SprayApplied {
	d := &events.SprayApplied{Started: started, Ended: ended, Mix: mix, Target: "mites", Applicator: &events.Person{Code: applicator}}
	for _, p := range parts {
		d.Where = append(d.Where, events.SprayedPart{Part: p})
	}
	return d
}

func block(code string) []events.Part { return []events.Part{{Block: code}} }

func rows(code string, rows ...string) []events.Part { return []events.Part{{Block: code, Rows: rows}} }

func trees(code string, trees ...string) []events.Part {
	return []events.Part{{Block: code, Trees: trees}}
}

// sprayed adds one.
func (o *orchard) sprayed(started, ended string, parts []events.Part, mix ...events.MixItem) *events.Record {
	o.t.Helper()
	return o.Add("", spray(started, ended, parts, mix...))
}

func (o *orchard) state(block string) *holds.State {
	o.t.Helper()
	return projections.StateOf[holds.State](o.Book(), holds.Fold(), block)
}

// when reads an instant: RFC 3339, or without offset a time in the farm's zone.
func (o *orchard) when(text string) time.Time { o.t.Helper(); return when(o.t, text, o.Zone()) }

func when(t testing.TB, text string, zone *time.Location) time.Time {
	t.Helper()
	stamp, err := civil.ParseTime(text, zone)
	if err != nil {
		t.Fatal(err)
	}
	return stamp.At
}

func (o *orchard) at(block, text string) holds.BlockHolds {
	o.t.Helper()
	return o.state(block).At(o.when(text), o.Zone())
}

// want checks status and from of one side; from "" means none.
func want(t testing.TB, what string, got holds.Hold, status holds.Status, from string) {
	t.Helper()
	if got.Status != status || got.From != from {
		t.Errorf("%s: got %s from %q, want %s from %q; because %+v", what, got.Status, got.From, status, from, got.Because)
	}
}

// phrases lists the words of what holds.
func phrases(h holds.Hold) []string {
	var out []string
	for _, b := range h.Because {
		out = append(out, b.Words)
	}
	return out
}

func products(h holds.Hold) []string {
	var out []string
	for _, b := range h.Because {
		out = append(out, b.Product)
	}
	return out
}

func contains(list []string, text string) bool { return slices.Contains(list, text) }
