package trails

import (
	"cmp"
	"maps"
	"slices"
	"strings"
	"time"

	"latewood/events"
	"latewood/events/civil"
	"latewood/projections"
	"latewood/projections/holds"
	"latewood/projections/weather"
)

// sprays lists the sprays on the blocks of the picks that led to their crop, each with how it stood at the first pick that
// came after it.
func (t *tracer) sprays() {
	type found struct {
		line SprayLine
		at   time.Time
	}
	all := map[string]*found{}
	for _, block := range slices.Sorted(maps.Keys(t.first)) {
		v := t.look.Block(block)
		seasons := v.Seasons()
		var picks []*projections.Fact
		crops := map[civil.Season]bool{}
		for _, f := range t.facts {
			if d, ok := f.Data().(*events.FruitPicked); ok && slices.ContainsFunc(d.Where, func(p events.Part) bool { return p.Block == block }) {
				picks = append(picks, f)
				crops[seasons.Of(f.Kind, f.Time)] = true
			}
		}
		slices.SortFunc(picks, func(a, b *projections.Fact) int { return a.Time.Compare(b.Time) })
		var state *holds.State
		for _, f := range v.Standing() {
			d, ok := f.Data().(*events.SprayApplied)
			if !ok || !crops[seasons.Of(f.Kind, f.Time)] {
				continue
			}
			if state == nil {
				state = holds.Of(t.b, block)
			}
			ended := f.Time
			if m, err := events.ParseMoment(d.Ended, t.zone); err == nil {
				ended = m.Latest(t.zone)
			}
			id := f.ID.String()
			line := SprayLine{ID: id, Products: v.Products(d.Mix), Blocks: []string{block}, Ended: t.local(ended), Hold: holds.None}
			for _, p := range picks {
				if p.Time.Before(f.Time) {
					continue
				}
				days := max(civil.DateOf(p.Time, t.zone).Sub(civil.DateOf(ended, t.zone)), 0)
				line.DaysBefore = &days
				line.Hold = state.Only(id).At(p.Time, t.zone).Pick.Status
				break
			}
			if known := all[id]; known != nil {
				known.line.Blocks = append(known.line.Blocks, block)
				if line.Hold.Worse(known.line.Hold) {
					known.line.Hold = line.Hold
				}
				if line.DaysBefore != nil && (known.line.DaysBefore == nil || *line.DaysBefore < *known.line.DaysBefore) {
					known.line.DaysBefore = line.DaysBefore
				}
				continue
			}
			all[id] = &found{line, ended}
		}
	}
	for _, f := range slices.SortedFunc(maps.Values(all), func(a, b *found) int {
		return cmp.Or(a.at.Compare(b.at), strings.Compare(a.line.ID, b.line.ID))
	}) {
		t.doc.Sprays = append(t.doc.Sprays, f.line)
	}
}

// stood lists what was done and checked around the fruit: what names its picks, lots or loads; cleaning on a day of picking
// or packing; the newest look at the water and training before the first pick.
func (t *tracer) stood() {
	var first time.Time
	days := map[civil.Date]bool{}
	named := map[string]bool{}
	for _, f := range t.facts {
		switch f.Data().(type) {
		case *events.FruitPicked:
			if first.IsZero() || f.Time.Before(first) {
				first = f.Time
			}
			named[f.ID.String()] = true
			days[civil.DateOf(f.Time, t.zone)] = true
		case *events.LotPacked, *events.LotRepacked:
			days[civil.DateOf(f.Time, t.zone)] = true
		}
	}
	for _, u := range slices.Concat(t.doc.Lots, t.doc.Deliveries) {
		named[Lot+"/"+u.Lot], named[Delivery+"/"+u.Delivery] = u.Lot != "", u.Delivery != ""
	}
	newest := map[string]*projections.Fact{}
	var found []*projections.Fact
	for _, f := range t.look.Farm().Standing() {
		day := civil.DateOf(f.Time, t.zone)
		switch d := f.Data().(type) {
		case *events.LotTreated:
			if named[Lot+"/"+d.Lot] || named[Delivery+"/"+d.Delivery] {
				found = append(found, f)
			}
		case *events.PickCooled:
			if slices.ContainsFunc(d.Picks, func(p string) bool { return named[p] }) {
				found = append(found, f)
			}
		case *events.IncidentReported:
			lots, _ := projections.LotsOf(f)
			if slices.ContainsFunc(lots, func(l string) bool { return named[Lot+"/"+l] }) {
				found = append(found, f)
			}
		case *events.ToolCleaned:
			if days[day] {
				found = append(found, f)
			}
		case *events.SampleTested:
			lots, _ := projections.LotsOf(f)
			if slices.ContainsFunc(lots, func(l string) bool { return named[Lot+"/"+l] }) {
				found = append(found, f)
			}
		case *events.WaterAssessed, *events.TrainingGiven:
			if !first.IsZero() && !f.Time.After(first) {
				newest[f.Kind] = f
			}
		}
	}
	for _, kind := range slices.Sorted(maps.Keys(newest)) {
		found = append(found, newest[kind])
	}
	slices.SortFunc(found, func(a, b *projections.Fact) int {
		return cmp.Or(a.Time.Compare(b.Time), strings.Compare(a.ID.String(), b.ID.String()))
	})
	for _, f := range found {
		t.doc.Stood = append(t.doc.Stood, Stood{f.ID.String(), f.Kind, civil.DateOf(f.Time, t.zone).String()})
	}
}

// weather tells the days of the picks, of every station.
func (t *tracer) weather() {
	days := map[civil.Date]bool{}
	for _, f := range t.facts {
		if _, ok := f.Data().(*events.FruitPicked); ok {
			days[civil.DateOf(f.Time, t.zone)] = true
		}
	}
	sorted := slices.SortedFunc(maps.Keys(days), func(a, b civil.Date) int { return a.Sub(b) })
	for _, station := range t.b.Keys(projections.Station) {
		state := projections.StateOf[weather.State](t.b, weather.Fold(), station)
		for _, day := range sorted {
			if d, ok := state.On(day); ok {
				t.doc.Weather = append(t.doc.Weather, dayOf(station, day, d))
			}
		}
	}
}

func dayOf(station string, day civil.Date, d weather.Day) Day {
	out := Day{Station: station, Date: day.String()}
	scaled := func(v *int64) *float64 {
		if v == nil {
			return nil
		}
		x := float64(*v) / 1000
		return &x
	}
	out.MinC, out.MaxC, out.RainMM = scaled(d.Min), scaled(d.Max), scaled(d.Rain)
	return out
}
