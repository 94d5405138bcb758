package flags

import (
	"slices"
	"strconv"

	"latewood/events"
	"latewood/events/civil"
	"latewood/events/units"
	"latewood/projections"
	"latewood/projections/settings"
)

// borne names one tree's season.
type borne struct {
	tree   string
	season civil.Season
}

// pick asks about a mass that so few trees hardly bore, alone or with what was picked off them before in that season. Several
// trees share a pick alike; of a pick over several blocks all their trees do.
func (d *finder) pick(f *projections.Fact, p *events.FruitPicked, seasons *projections.Seasons) {
	day := civil.DateOf(f.Time, d.v.Zone)
	mass, ok := d.v.MassOf(p.Mass, p.Containers, day)
	if !ok {
		return
	}
	trees := d.v.Ground().Resolve(d.v.Parts(f), f.Time)
	all, seen := len(trees), map[string]bool{d.v.Key.Code: true}
	for _, part := range p.Where {
		if !seen[part.Block] {
			seen[part.Block] = true
			all += len(d.v.GroundOf(part.Block).Resolve(p.Where, f.Time))
		}
	}
	if all == 0 {
		return
	}
	most, _ := d.v.Number(settings.MostKgPerTree, day)
	limit := int64(most * 1e6)
	if share := mass / int64(all); share > limit {
		d.add(f, "did-you-mean", "mass", "mass", units.FormatNumber(float64(mass/1e3)/1e3)+" kg", "trees", strconv.Itoa(all))
		return // it is left out of the season: else every later pick would be asked about
	}
	crop := seasons.Of(f.Kind, f.Time)
	over := ""
	for _, t := range trees {
		key := borne{t.Tree, crop}
		before := d.borne[key]
		d.borne[key] = before + mass/int64(all)
		if before <= limit && d.borne[key] > limit && over == "" {
			over = t.Tree
		}
	}
	if over != "" {
		d.add(f, "did-you-mean", "season", "tree", over, "season", string(crop), "most", units.FormatNumber(most)+" kg")
	}
}

// measures are the last measures of a tree, in units.Base; 0: none.
type measures struct {
	height, along, across, girth, girthAt int64
}

// shrinks asks about a tree that is smaller than it was, though nothing was cut off it in between. Girths are compared only
// where they were measured at the same height.
func (d *finder) shrinks(f *projections.Fact, m *events.TreeMeasured) {
	percent, _ := d.v.Number(settings.MeasureSlip, civil.DateOf(f.Time, d.v.Zone))
	least := func(before int64) int64 { return before - int64(float64(before)*percent/100) }
	value := func(q *events.Quantity) int64 {
		if q == nil {
			return 0
		}
		v, _, _ := base(q)
		return v
	}
	now := measures{value(m.Height), value(m.WidthAlong), value(m.WidthAcross), value(m.TrunkGirth), value(m.GirthHeight)}
	told := map[string]bool{}
	for _, t := range d.v.Ground().Resolve(d.v.Parts(f), f.Time) {
		was := d.measured[t.Tree]
		for _, one := range []struct {
			what     string
			was, now int64
			as       *events.Quantity
		}{
			{"height", was.height, now.height, m.Height}, {"width", was.along, now.along, m.WidthAlong},
			{"width", was.across, now.across, m.WidthAcross}, {"girth", same(was, now), now.girth, m.TrunkGirth},
		} {
			if one.now != 0 && one.was != 0 && one.now < least(one.was) && !told[one.what] {
				told[one.what] = true
				d.add(f, "did-you-mean", "shrinks-"+one.what, "tree", t.Tree, "now", quantityText(one.as), "was", units.FormatNumber(float64(one.was/1e3)/1e3)+" m")
			}
		}
		for _, one := range []struct {
			into *int64
			now  int64
		}{{&was.height, now.height}, {&was.along, now.along}, {&was.across, now.across}} {
			if one.now != 0 {
				*one.into = one.now
			}
		}
		if now.girth != 0 {
			was.girth, was.girthAt = now.girth, now.girthAt
		}
		d.measured[t.Tree] = was
	}
}

// same is the girth before, if it was measured at the same height.
func same(was, now measures) int64 {
	if was.girthAt != now.girthAt {
		return 0
	}
	return was.girth
}

// shorter forgets the height and widths of trees that were cut or damaged: they may well be smaller now. A trunk is not.
func (d *finder) shorter(f *projections.Fact) {
	for _, t := range d.v.Ground().Resolve(d.v.Parts(f), f.Time) {
		if m, ok := d.measured[t.Tree]; ok {
			m.height, m.along, m.across = 0, 0, 0
			d.measured[t.Tree] = m
		}
	}
}

// doubles flags records that look like one before them: the same kind, place, day and amount, whichever device they were
// typed on.
func (d *finder) doubles() {
	first := map[string]*projections.Fact{}
	for _, f := range d.standing {
		key := d.likeness(f)
		if key == "" {
			continue
		}
		other := first[key]
		switch {
		case other == nil:
			first[key] = f
		case device(other) != device(f):
			d.add(f, "looks-like", "device", "id", other.ID.String(), "device", device(other))
		default:
			d.add(f, "looks-like", "", "id", other.ID.String())
		}
	}
}

// likeness is what two records of one thing have in common; empty for kinds that may well come twice a day.
func (d *finder) likeness(f *projections.Fact) string {
	var place, amount any
	switch data := f.Data().(type) {
	case *events.FruitPicked:
		if data.Mass == nil && !slices.ContainsFunc(data.Containers, func(c events.Container) bool { return c.ID != "" }) {
			return "" // "one crate" is said of many
		}
		place, amount = data.Where, []any{data.Mass, data.Containers}
	case *events.SprayApplied:
		type item struct {
			Label, Product string
			Total, Rate    *events.Quantity
		}
		var mix []item
		for _, m := range data.Mix {
			mix = append(mix, item{m.Label, m.Product, m.Total, m.Rate})
		}
		place, amount = data.Where, mix
	case *events.TreePruned:
		place, amount = data.Where, data.Cut
	case *events.NutrientApplied:
		place, amount = data.Where, []any{data.Material, data.Total}
	case *events.WaterApplied:
		place, amount = data.Where, []any{data.Amount, data.Hours, data.From, data.Until}
	case *events.FruitDelivered:
		place, amount = data.Recipient, data.Picks
	case *events.LotShipped:
		place, amount = data.Recipient, []any{data.Lot, data.Amount}
	case *events.FruitSold:
		if data.Amount == nil {
			return ""
		}
		place, amount = []any{data.Where, data.Lot, data.Picks, data.Buyer}, []any{data.Channel, data.Amount}
	case *events.LotWrittenOff:
		place, amount = []any{data.Lot, data.Picks}, data.Amount
	default:
		return ""
	}
	text, err := events.WriteJSON([]any{place, amount})
	if err != nil {
		return ""
	}
	return f.Kind + " " + civil.DateOf(f.Time, d.v.Zone).String() + " " + string(text)
}

// device is the last part of a record's source.
func device(f *projections.Fact) string {
	source := f.Record.Envelope.Source
	for i := len(source) - 1; i >= 0; i-- {
		if source[i] == '/' {
			return source[i+1:]
		}
	}
	return source
}
