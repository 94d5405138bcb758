// Package flags finds what asks for a person's eyes: references that lead nowhere, trees that do not stand where a record
// puts them, sprays outside of what their label says, clocks that are off, numbers that look slipped, records that look
// like another.
//
// Nothing here refuses anything. What happened is recorded; the flag stands beside it until the record is corrected, the
// missing one comes, or somebody reviews it. Flags about intervals are the holds fold's, flags about readings the weather
// fold's; services/internal/app puts them together.
package flags

import (
	"slices"
	"strconv"
	"strings"
	"time"

	"latewood/events"
	"latewood/events/civil"
	"latewood/projections"
	"latewood/projections/settings"
	"latewood/projections/terms"
)

// State is the flags of one block, or of what belongs to no block.
type State struct {
	Flags []projections.Flag `json:"flags"`
}

// Blocks is the fold over blocks, Farm the one over everything else.
func Blocks() *projections.Fold { return projections.NewFold("flags", 1, projections.Block, block) }

// Farm is the fold over what belongs to no block.
func Farm() *projections.Fold { return projections.NewFold("flags-farm", 1, projections.Farm, farm) }

// All lists every flag of a Book that these folds find, in order of records.
func All(b *projections.Book) []projections.Flag {
	var out []projections.Flag
	blocks := Blocks()
	for _, code := range b.Keys(projections.Block) {
		out = append(out, projections.StateOf[State](b, blocks, code).Flags...)
	}
	out = append(out, projections.StateOf[State](b, Farm(), "").Flags...)
	for _, r := range b.Waiting() { // depends on nothing but which records are there
		out = append(out, projections.NewFlag(r.ID, "waits-for", "record"))
	}
	return projections.SortFlags(out)
}

// finder collects the flags of one key.
type finder struct {
	v        *projections.View
	standing []*projections.Fact
	sprays   []*projections.Fact // of standing, those of spray.applied
	flags    []projections.Flag
}

func newFinder(v *projections.View) *finder {
	d := &finder{v: v, standing: v.Standing()}
	for _, f := range d.standing {
		if f.Kind == "spray.applied" {
			d.sprays = append(d.sprays, f)
		}
	}
	return d
}

func (d *finder) add(f *projections.Fact, name, detail string, args ...string) {
	d.flags = append(d.flags, projections.NewFlag(f.ID, name, detail, args...))
}

func block(v *projections.View) *State {
	d := newFinder(v)
	there := v.HasBlock(v.Key.Code)
	for _, f := range d.standing {
		if !there {
			d.add(f, "waits-for", "block", "block", v.Key.Code)
		}
		d.common(f)
		d.trees(f)
		switch data := f.Data().(type) {
		case *events.TreePlanted:
			if first := v.Planters(data.Tree); len(first) > 0 && first[0].ID != f.ID {
				d.add(f, "code-reused", "", "tree", data.Tree, "first", first[0].ID.String())
			}
		case *events.SprayApplied:
			d.spray(f, data)
		case *events.FruitPicked:
			d.pick(f, data)
		}
	}
	d.doubles()
	return &State{Flags: projections.SortFlags(d.flags)}
}

func farm(v *projections.View) *State {
	d := newFinder(v)
	for _, f := range d.standing {
		d.common(f)
	}
	return &State{Flags: projections.SortFlags(d.flags)}
}

// common is what can be wrong with any record.
func (d *finder) common(f *projections.Fact) {
	if f.Forked {
		d.add(f, "forked", "")
	}
	for _, id := range projections.References(f) {
		switch target := d.v.Fact(id.String()); {
		case target == nil:
			d.add(f, "waits-for", "id", "id", id.String())
		case !target.Stands():
			d.add(f, "refers-to-nothing", "", "id", id.String())
		}
	}
	d.clock(f)
	d.late(f)
}

// late flags what was written down after its legal term: by the writer's own claim of when it was noted, else by when the
// ledger took it.
func (d *finder) late(f *projections.Fact) {
	day := civil.DateOf(f.Time, d.v.Zone)
	sets := strings.Fields(d.v.Text(settings.RuleSets, day))
	written := f.Record.Known()
	for _, t := range terms.Table() {
		if t.Kind != terms.Record || !slices.Contains(t.Kinds, f.Kind) || !slices.Contains(sets, t.Rules) || written.Sub(f.Time) <= t.Within {
			continue
		}
		if t.Restricted && !d.restricted(f) {
			continue
		}
		d.add(f, "late", "", "days", strconv.Itoa(int(written.Sub(f.Time).Hours()/24)), "within", strconv.Itoa(int(t.Within.Hours()/24)), "term", t.ID, "source", t.Source)
	}
}

// restricted reports whether a spray used a product whose label says restricted use.
func (d *finder) restricted(f *projections.Fact) bool {
	s, ok := f.Data().(*events.SprayApplied)
	if !ok {
		return false
	}
	for _, m := range s.Mix {
		if _, label := d.v.Label(m.Label); label != nil && label.RestrictedUse != nil && *label.RestrictedUse {
			return true
		}
	}
	return false
}

// clock flags a device that was off, until the record is corrected or somebody has looked at it.
func (d *finder) clock(f *projections.Fact) {
	offset := f.Record.DeviceOffset().Abs()
	if f.Record.Sent.IsZero() || len(f.Corrections) > 0 || d.reviewed(f) {
		return
	}
	minutes, _ := d.v.Number(settings.ClockTolerance, civil.DateOf(f.Time, d.v.Zone))
	if offset > time.Duration(minutes*float64(time.Minute)) {
		d.add(f, "clock-off", "", "by", offset.Round(time.Second).String())
	}
}

func (d *finder) reviewed(f *projections.Fact) bool {
	for _, about := range d.v.About(f.ID) {
		if _, ok := about.Data().(*events.RecordsReviewed); ok {
			return true
		}
	}
	return false
}

// trees flags trees that do not stand where the record puts them.
func (d *finder) trees(f *projections.Fact) {
	ground := d.v.Ground()
	for _, p := range d.v.Parts(f) {
		for _, tree := range ground.Missing(p, f.Time) {
			if d.v.HasTree(tree) {
				d.add(f, "not-in-block", "", "tree", tree, "block", p.Block)
			} else {
				d.add(f, "waits-for", "tree", "tree", tree)
			}
		}
	}
}

// doubles flags records that look like one before them: the same kind, place, day and amount.
func (d *finder) doubles() {
	first := map[string]*projections.Fact{}
	for _, f := range d.standing {
		key := likeness(f, d.v.Zone)
		if key == "" {
			continue
		}
		if other := first[key]; other != nil {
			d.add(f, "looks-like", "", "id", other.ID.String())
		} else {
			first[key] = f
		}
	}
}

// likeness is what two records of one thing have in common; empty for kinds that may well come twice a day.
func likeness(f *projections.Fact, zone *time.Location) string {
	var place any
	amount := ""
	switch data := f.Data().(type) {
	case *events.FruitPicked:
		place = data.Where
		if data.Mass == nil {
			return ""
		}
		amount = quantityText(data.Mass)
	case *events.SprayApplied:
		place = data.Where
		for _, m := range data.Mix {
			amount += m.Label + m.Product + " " + quantityText(m.Total) + quantityText(m.Rate) + ";"
		}
	case *events.TreePruned:
		place = data.Where
		amount = data.Cut
	default:
		return ""
	}
	where, err := events.WriteJSON(place)
	if err != nil {
		return ""
	}
	return f.Kind + " " + civil.DateOf(f.Time, zone).String() + " " + amount + " " + string(where)
}
