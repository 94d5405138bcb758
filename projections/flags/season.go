package flags

import (
	"strconv"

	"latewood/events"
	"latewood/events/civil"
	"latewood/events/units"
	"latewood/projections"
)

// season holds what was sprayed of a product, and of each of its active ingredients in whatever product, on the same ground
// in one season against the most that the label gives, and the run of uses of one mode of action against its longest.
//
// The season is the crop that the spray leads to; what the label itself calls a season is for a person to read. Sprays that
// touch a tree in common are summed as if they covered the same ground.
func (d *finder) season(f *projections.Fact, id string, label *events.LabelFiled, crop civil.Season, seasons *projections.Seasons) {
	product := 0.0
	ingredients := map[string]float64{}
	for _, other := range d.sprays {
		s, ok := other.Data().(*events.SprayApplied)
		later := other.Time.After(f.Time) || other.Time.Equal(f.Time) && f.ID.Less(other.ID)
		if !ok || later || seasons.Of(other.Kind, other.Time) != crop || other != f && !d.meet(f, other) {
			continue
		}
		for _, m := range s.Mix {
			amount, dim, ok := perArea(m, s)
			if !ok {
				continue
			}
			if m.Label == id && label.MostProduct != nil && dimensionOf(label.MostProduct) == dim {
				product += amount
			}
			_, used := d.v.Label(m.Label)
			if used == nil || dim != units.MassPerArea { // of a volume nobody says what it weighs
				continue
			}
			for _, ai := range used.ActiveIngredients {
				if ai.Share != nil {
					ingredients[ai.Name] += amount * ai.Share.Value / 100
				}
			}
		}
	}
	over := func(what string, sum float64, most *events.Quantity, unit string) {
		limit, err := units.Convert(most.Value, most.Unit, unit)
		if err == nil && sum > limit*(1+1e-9) {
			d.add(f, "over-season", "amount", "what", what, "sum", units.FormatNumber(round3(sum))+" "+unit, "most", quantityText(most), "season", string(crop))
		}
	}
	if label.MostProduct != nil {
		over(label.Product, product, label.MostProduct, unitOf(dimensionOf(label.MostProduct)))
	}
	if label.MostIngredient != nil {
		for _, ai := range label.ActiveIngredients {
			over(ai.Name, ingredients[ai.Name], label.MostIngredient, "kg/har")
		}
	}
	d.group(f, label, crop, seasons)
}

// group counts the uses of one mode of action that followed one another on the same trees.
func (d *finder) group(f *projections.Fact, label *events.LabelFiled, crop civil.Season, seasons *projections.Seasons) {
	if label.MostConsecutive == nil {
		return
	}
	for _, ai := range label.ActiveIngredients {
		if ai.MoA == nil || ai.MoA.Group == "" {
			continue
		}
		run := 1
		for i := len(d.sprays) - 1; i >= 0; i-- {
			other := d.sprays[i]
			if other == f || other.Time.After(f.Time) || other.Time.Equal(f.Time) && f.ID.Less(other.ID) || !d.meet(f, other) {
				continue
			}
			if seasons.Of(other.Kind, other.Time) != crop || !d.ofGroup(other, ai.MoA) {
				break
			}
			run++
		}
		if run > *label.MostConsecutive {
			d.add(f, "over-season", "group", "group", ai.MoA.Group, "n", strconv.Itoa(run), "most", strconv.Itoa(*label.MostConsecutive), "product", label.Product)
		}
	}
}

func (d *finder) ofGroup(f *projections.Fact, moa *events.MoA) bool {
	s, ok := f.Data().(*events.SprayApplied)
	if !ok {
		return false
	}
	for _, m := range s.Mix {
		if _, label := d.v.Label(m.Label); label != nil {
			for _, ai := range label.ActiveIngredients {
				if ai.MoA != nil && ai.MoA.Group == moa.Group && ai.MoA.Scheme == moa.Scheme {
					return true
				}
			}
		}
	}
	return false
}

// perArea is how much of a product an area got, in kg/har or L/har: by its rate, else by total and area.
func perArea(m events.MixItem, s *events.SprayApplied) (float64, units.Dimension, bool) {
	if m.Rate != nil {
		if dim := dimensionOf(m.Rate); unitOf(dim) != "" {
			v, err := units.Convert(m.Rate.Value, m.Rate.Unit, unitOf(dim))
			return v, dim, err == nil
		}
	}
	if m.Total == nil || s.AreaTreated == nil {
		return 0, "", false
	}
	area, err := units.Convert(s.AreaTreated.Value, s.AreaTreated.Unit, "har")
	if err != nil || area <= 0 {
		return 0, "", false
	}
	if kg, err := units.Convert(m.Total.Value, m.Total.Unit, "kg"); err == nil {
		return kg / area, units.MassPerArea, true
	}
	if l, err := units.Convert(m.Total.Value, m.Total.Unit, "L"); err == nil {
		return l / area, units.VolumePerArea, true
	}
	return 0, "", false
}

func dimensionOf(q *events.Quantity) units.Dimension {
	u, _ := units.Lookup(q.Unit)
	return u.Dimension
}

// unitOf is the unit in which amounts an area are summed; "" for anything else.
func unitOf(dim units.Dimension) string {
	switch dim {
	case units.MassPerArea:
		return "kg/har"
	case units.VolumePerArea:
		return "L/har"
	}
	return ""
}
