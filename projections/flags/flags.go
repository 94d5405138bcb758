// Package flags finds what asks for a person's eyes: references that lead nowhere, trees that do not stand where a record
// puts them, sprays outside of what their label says, clocks that are off, numbers that look slipped, records that look
// like another.
//
// Nothing here refuses anything. What happened is recorded; the flag stands beside it until the record is corrected, the
// missing one comes, or somebody reviews it. Flags about intervals are the holds fold's, flags about readings the weather
// fold's, flags about lots and loads the lots fold's; Every puts them together, and Names lists all that there can be.
package flags

import (
	"slices"
	"strings"
	"time"

	"latewood/events"
	"latewood/events/civil"
	"latewood/events/words"
	"latewood/projections"
	"latewood/projections/holds"
	"latewood/projections/lots"
	"latewood/projections/settings"
	"latewood/projections/terms"
	"latewood/projections/weather"
)

// State is the flags of one block, or of what belongs to no block.
type State struct {
	Flags []projections.Flag `json:"flags"`
}

// Blocks is the fold over blocks.
func Blocks() *projections.Fold { return projections.NewFold("flags", 2, projections.Block, block) }

// Farm is the fold over what belongs to no block or station.
func Farm() *projections.Fold { return projections.NewFold("flags-farm", 2, projections.Farm, farm) }

// Stations is the fold over stations: their sitings, doubts, and readings that were corrected.
func Stations() *projections.Fold {
	return projections.NewFold("flags-station", 1, projections.Station, farm)
}

// Names lists the flags that there are, in the order of the contract.
func Names() []string {
	return []string{
		"pick-in-interval", "work-in-reentry", "crop-not-listed", "over-rate", "over-season", "over-wind", "too-soon",
		"before-label", "label-closed", "no-certificate", "clock-off", "waits-for", "refers-to-nothing", "not-in-block",
		"out-of-order", "over-drawn", "did-you-mean", "late", "looks-like", "code-reused", "forked", "interval-gone",
		"quality-control",
	}
}

// Do says what to do about a flag.
func Do(name string) string { return words.Say("flag-do." + name) }

// Every lists every flag of a Book, of all folds that find any, in order of records.
func Every(b *projections.Book) []projections.Flag {
	return projections.SortFlags(slices.Concat(All(b), holds.Flags(b), weather.Flags(b), lots.Flags(b)))
}

// All lists every flag of a Book that these folds find, in order of records.
func All(b *projections.Book) []projections.Flag {
	var out []projections.Flag
	blocks := Blocks()
	for _, code := range b.Keys(projections.Block) {
		out = append(out, projections.StateOf[State](b, blocks, code).Flags...)
	}
	stations := Stations()
	for _, code := range b.Keys(projections.Station) {
		out = append(out, projections.StateOf[State](b, stations, code).Flags...)
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
	borne    map[borne]int64     // what picks took off each tree in each season, mg
	measured map[string]measures // the last measures of each tree
	flags    []projections.Flag
}

func newFinder(v *projections.View) *finder {
	d := &finder{v: v, standing: v.Standing(), borne: map[borne]int64{}, measured: map[string]measures{}}
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
	d.codes()
	seasons := v.Seasons()
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
			d.pick(f, data, seasons)
		case *events.TreeMeasured:
			d.shrinks(f, data)
		case *events.TreePruned, *events.TreeTopworked, *events.DamageSeen:
			d.shorter(f)
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
	d.doubles()
	return &State{Flags: projections.SortFlags(d.flags)}
}

// codes flags a block that is established a second time.
func (d *finder) codes() {
	var first *projections.Fact
	code := d.v.Key.Code
	for _, f := range d.standing {
		makes := false
		switch data := f.Data().(type) {
		case *events.BlockEstablished:
			makes = data.Block == code
		case *events.BlockRedrawn: // into itself it goes on
			makes = !slices.Contains(data.From, code) && slices.ContainsFunc(data.Into, func(into events.DrawnBlock) bool { return into.Block == code })
		}
		switch {
		case makes && first == nil:
			first = f
		case makes:
			d.add(f, "code-reused", "block", "code", code, "first", first.ID.String())
		}
	}
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
		case early(f, target):
			d.add(f, "out-of-order", "spray", "id", id.String(), "on", d.clockText(f), "made", d.clockText(target))
		}
	}
	d.clock(f)
	d.late(f)
}

// early reports whether a spray ended, or was called off, before what it names had begun.
func early(f, target *projections.Fact) bool {
	switch f.Kind {
	case "spray.applied", "spray.called-off":
		return target.Kind == "spray.begun" && f.Time.Before(target.Time)
	}
	return false
}

func (d *finder) clockText(f *projections.Fact) string { return civil.FormatTime(f.Time.In(d.v.Zone)) }

// late flags what was written down, or posted, after its legal term.
func (d *finder) late(f *projections.Fact) {
	for _, l := range Terms(d.v, f) {
		if l.Late {
			d.add(f, "late", "", "took", span(l.Took), "within", span(l.Term.Within), "term", l.Term.ID, "source", l.Term.Source)
		}
	}
}

// span is a time that something took, in whole days or hours.
func span(t time.Duration) string {
	if t%(24*time.Hour) == 0 || t > 72*time.Hour {
		return words.Say("flags.days", "n", int(t/(24*time.Hour)))
	}
	return words.Say("flags.hours", "n", int(t/time.Hour))
}

// A Lateness is a term of a record and what it took.
type Lateness struct {
	Term terms.Term
	Took time.Duration
	Late bool // false also where the term gives no number
}

// Terms lists the terms that a record has by the rule sets of its day, and what it took: to be written down, by the writer's
// own claim of when it was noted, else by when the ledger took it; to be posted, from the end of the spray on.
func Terms(v *projections.View, f *projections.Fact) []Lateness {
	sets := strings.Fields(v.Text(settings.RuleSets, civil.DateOf(f.Time, v.Zone)))
	var out []Lateness
	for _, t := range terms.Of(terms.Record, f.Kind, sets) {
		if !t.Restricted || restricted(v, f) {
			out = append(out, lateness(t, f.Record.Known().Sub(f.Time)))
		}
	}
	if posted, ok := f.Data().(*events.SprayPosted); ok {
		if spray := v.Fact(posted.Spray); spray != nil && spray.Stands() && spray.Kind == "spray.applied" {
			for _, t := range terms.Of(terms.Post, f.Kind, sets) {
				out = append(out, lateness(t, f.Time.Sub(spray.Time)))
			}
		}
	}
	return out
}

func lateness(t terms.Term, took time.Duration) Lateness {
	return Lateness{Term: t, Took: took, Late: t.Within > 0 && took > t.Within}
}

// restricted reports whether a spray used a product whose label says restricted use.
func restricted(v *projections.View, f *projections.Fact) bool {
	s, ok := f.Data().(*events.SprayApplied)
	if !ok {
		return false
	}
	for _, m := range s.Mix {
		if _, label := v.Label(m.Label); label != nil && label.RestrictedUse != nil && *label.RestrictedUse {
			return true
		}
	}
	return false
}

// clock flags a device that was off, until the record is corrected or somebody has looked at it.
func (d *finder) clock(f *projections.Fact) {
	offset := f.Record.DeviceOffset().Abs()
	if f.Record.Sent.IsZero() || len(f.Corrections) > 0 || d.v.Reviewed(f) {
		return
	}
	minutes, _ := d.v.Number(settings.ClockTolerance, civil.DateOf(f.Time, d.v.Zone))
	if offset > time.Duration(minutes*float64(time.Minute)) {
		d.add(f, "clock-off", "", "by", offset.Round(time.Second).String())
	}
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
