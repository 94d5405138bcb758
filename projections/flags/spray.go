package flags

import (
	"strconv"

	"latewood/events"
	"latewood/events/civil"
	"latewood/events/units"
	"latewood/projections"
	"latewood/projections/settings"
)

// spray holds a spray against what its labels say. A limit that a label does not state flags nothing.
func (d *finder) spray(f *projections.Fact, s *events.SprayApplied) {
	for i, m := range s.Mix {
		if m.Label == "" {
			continue
		}
		fact, label := d.v.Label(m.Label)
		if label == nil {
			continue // said by the references
		}
		day := civil.DateOf(f.Time, d.v.Zone)
		if label.CropListed != nil && !*label.CropListed {
			d.add(f, "crop-not-listed", "", "product", label.Product)
		}
		if f.Time.Before(fact.Time) {
			d.add(f, "before-label", "", "product", label.Product, "filed", civil.DateOf(fact.Time, d.v.Zone).String())
		}
		d.closed(f, fact, label, day)
		d.rate(f, m, label, day)
		d.total(f, s, m, day)
		d.wind(f, s, label)
		d.repeats(f, m.Label, label)
		if label.RestrictedUse != nil && *label.RestrictedUse && (s.Applicator == nil || s.Applicator.Commitment == "") &&
			(s.SupervisedBy == nil || s.SupervisedBy.Commitment == "") {
			d.add(f, "no-certificate", "", "product", label.Product, "item", strconv.Itoa(i+1))
		}
	}
}

// closed flags a use after the label's last lawful day.
func (d *finder) closed(f, fact *projections.Fact, label *events.LabelFiled, day civil.Date) {
	for _, about := range d.v.About(fact.ID) {
		c, ok := about.Data().(*events.LabelClosed)
		if !ok {
			continue
		}
		last := civil.DateOf(about.Time, d.v.Zone)
		if c.LastLawfulUse != "" {
			if parsed, err := civil.ParseDate(c.LastLawfulUse); err == nil {
				last = parsed
			}
		}
		if day.After(last) {
			d.add(f, "label-closed", "", "product", label.Product, "last", last.String())
		}
	}
	for _, limit := range []struct {
		text   string
		beyond func(civil.Date) bool
	}{{label.ValidUntil, day.After}, {label.ValidFrom, day.Before}} {
		if on, err := civil.ParseDate(limit.text); err == nil && limit.beyond(on) {
			d.add(f, "label-closed", "validity", "product", label.Product, "limit", on.String())
		}
	}
}

// rate holds a rate against the label's highest of the same dimension.
func (d *finder) rate(f *projections.Fact, m events.MixItem, label *events.LabelFiled, day civil.Date) {
	if m.Rate == nil {
		return
	}
	rate, dim, ok := base(m.Rate)
	if !ok {
		return
	}
	most, text := int64(0), ""
	limits := []*events.Quantity{label.MostProductPerUse}
	for _, r := range label.Rates {
		limits = append(limits, r.Max)
	}
	for _, q := range limits {
		if q == nil {
			continue
		}
		if v, limitDim, ok := base(q); ok && limitDim == dim && v > most {
			most, text = v, quantityText(q)
		}
	}
	if most == 0 || rate <= most {
		return
	}
	d.add(f, "over-rate", "", "product", label.Product, "rate", quantityText(m.Rate), "most", text)
	if times, ok := d.v.Number(settings.RateSlip, day); ok && float64(rate) > times*float64(most) {
		d.add(f, "did-you-mean", "rate", "rate", quantityText(m.Rate), "most", text)
	}
}

// total asks about a total that does not come of rate and area.
func (d *finder) total(f *projections.Fact, s *events.SprayApplied, m events.MixItem, day civil.Date) {
	if m.Rate == nil || m.Total == nil || s.AreaTreated == nil {
		return
	}
	perArea := map[units.Dimension]struct{ per, sum string }{
		units.MassPerArea:   {"kg/har", "kg"},
		units.VolumePerArea: {"L/har", "L"},
	}
	_, dim, ok := base(m.Rate)
	of, ok2 := perArea[dim]
	if !ok || !ok2 {
		return
	}
	rate, err1 := units.Convert(m.Rate.Value, m.Rate.Unit, of.per)
	area, err2 := units.Convert(s.AreaTreated.Value, s.AreaTreated.Unit, "har")
	total, err3 := units.Convert(m.Total.Value, m.Total.Unit, of.sum)
	if err1 != nil || err2 != nil || err3 != nil || rate*area <= 0 {
		return
	}
	percent, _ := d.v.Number(settings.TotalSlip, day)
	if off := total/(rate*area) - 1; off > percent/100 || off < -percent/100 {
		d.add(f, "did-you-mean", "total", "total", quantityText(m.Total), "want", units.FormatNumber(round3(rate*area))+" "+of.sum)
	}
}

func (d *finder) wind(f *projections.Fact, s *events.SprayApplied, label *events.LabelFiled) {
	if label.WindLimit == nil {
		return
	}
	limit, _, ok := base(label.WindLimit)
	if !ok {
		return
	}
	for _, c := range s.Conditions {
		if c.WindSpeed == nil {
			continue
		}
		if v, _, ok := base(c.WindSpeed); ok && v > limit {
			d.add(f, "over-wind", "", "product", label.Product, "wind", quantityText(c.WindSpeed), "most", quantityText(label.WindLimit))
			return
		}
	}
}

// repeats holds a spray against the earlier ones with the same label on any of the same trees, in this block.
func (d *finder) repeats(f *projections.Fact, id string, label *events.LabelFiled) {
	seasons := d.v.Seasons()
	crop := seasons.Of(f.Kind, f.Time)
	count := 1
	var last *projections.Fact
	for _, other := range d.sprays {
		s, ok := other.Data().(*events.SprayApplied)
		if !ok || other == f || other.Time.After(f.Time) || other.Time.Equal(f.Time) && f.ID.Less(other.ID) || !uses(s, id) || !d.meet(f, other) {
			continue
		}
		last = other
		if seasons.Of(other.Kind, other.Time) == crop {
			count++
		}
	}
	d.season(f, id, label, crop, seasons)
	if label.MostApplications != nil && count > *label.MostApplications {
		d.add(f, "over-season", "", "product", label.Product, "n", strconv.Itoa(count), "most", strconv.Itoa(*label.MostApplications), "season", string(crop))
	}
	if label.LeastDaysBetween != nil && last != nil {
		days := civil.DateOf(f.Time, d.v.Zone).Sub(civil.DateOf(last.Time, d.v.Zone))
		if days < *label.LeastDaysBetween {
			d.add(f, "too-soon", "", "product", label.Product, "days", strconv.Itoa(days), "least", strconv.Itoa(*label.LeastDaysBetween))
		}
	}
}

func uses(s *events.SprayApplied, label string) bool {
	for _, m := range s.Mix {
		if m.Label == label {
			return true
		}
	}
	return false
}

// meet reports whether two records touch a tree of this block in common; where no tree is listed, whether both touch the
// block at all.
func (d *finder) meet(a, b *projections.Fact) bool {
	ground := d.v.Ground()
	if len(ground.Trees) == 0 {
		return true
	}
	there := map[string]bool{}
	for _, s := range ground.Resolve(d.v.Parts(a), a.Time) {
		there[s.Tree] = true
	}
	for _, s := range ground.Resolve(d.v.Parts(b), b.Time) {
		if there[s.Tree] {
			return true
		}
	}
	return false
}

func base(q *events.Quantity) (int64, units.Dimension, bool) {
	u, ok := units.Lookup(q.Unit)
	if !ok {
		return 0, "", false
	}
	v, err := units.Base(q.Value, q.Unit)
	return v, u.Dimension, err == nil
}

func quantityText(q *events.Quantity) string {
	if q == nil {
		return ""
	}
	return units.FormatNumber(q.Value) + " " + q.Unit
}

func round3(f float64) float64 { return float64(int64(f*1000+0.5)) / 1000 }
