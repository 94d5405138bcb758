package field

import (
	"slices"
	"strings"

	"latewood/events"
	"latewood/events/civil"
	"latewood/projections"
	"latewood/projections/elements"
	"latewood/services/report"
)

// exposureDays is how far back the sheet looks where no spray is named: as long as information about a spray hangs.
const exposureDays = 30

// Exposure is the sheet that goes with somebody to a doctor. It waits for nothing: what is not recorded is a line to be filled
// in by hand, and where nothing is recorded at all the sheet is there all the same.
func Exposure(b *projections.Book, q Query, people People) *report.Report {
	d := newBuilder(b, q, people)
	r := d.begin("exposure", d.say.Say("sheet.exposure-title"))
	all, _, corrected := d.sprays()
	r.Foot.Corrected = corrected
	now := report.Section{Title: d.say.Say("sheet.exposure-first"), Marks: []report.Mark{{Texts: []string{d.say.Say("sheet.exposure-help"), d.say.Say("sheet.exposure-label"), d.say.Say("sheet.exposure-take")}}}}
	blank := report.Text(strings.Repeat("_", 24))
	for _, f := range []report.Field{
		field("who", d.say.Say("sheet.exposure-who"), blank), field("when", d.say.Say("sheet.exposure-when"), blank),
		field("how", d.say.Say("sheet.exposure-how"), blank), field("signs-of", d.say.Say("sheet.exposure-symptoms"), blank),
	} {
		now.Fields = append(now.Fields, f)
	}
	r.Sections = append(r.Sections, now)
	r.Sections = append(r.Sections, d.reported()...)

	t := report.Table{Key: "exposure", Name: d.say.Say("sheet.exposure-title")}
	for _, key := range []string{"record", "where", "product", "registration", "ingredients", "signal", "started", "ended", "reentry-hours", "reentry-until"} {
		t.Columns = append(t.Columns, report.Column{Key: strings.ReplaceAll(key, "-", "_"), Heading: d.say.Say("sheet.col-" + key), Numbers: key == "reentry-hours"})
	}
	n := 0
	for i := range all {
		s := &all[len(all)-1-i] // the latest first
		if d.q.Spray == "" && !d.recent(s) {
			continue
		}
		n++
		r.Sections = append(r.Sections, d.exposed(s))
		for _, i := range s.Items {
			signal := ""
			if i.Label != nil {
				signal = i.Label.SignalWord
			}
			t.Add(report.Text(s.Fact.ID.String()), report.Text(d.where(s)), report.Text(i.Product), report.Text(i.Registration), report.Text(ingredients(i)), report.Text(signal),
				moment(s.Started, d.zone), moment(s.Ended, d.zone), report.Perhaps(s.Reentry.Hours, -1), d.opens(s))
		}
	}
	r.Sections = append(r.Sections, d.goingOn()...)
	if n == 0 {
		r.Sections = append(r.Sections, report.Section{Paragraphs: []string{d.say.Say("sheet.exposure-none", "days", exposureDays)}})
	}
	r.Cautions = append(r.Cautions, d.say.Say("sheet.exposure-phone"))
	r.Foot.Method = []string{d.say.Say("sheet.exposure-method", "days", exposureDays)}
	r.Data = []report.Table{t}
	return r
}

// recent reports whether a spray began before the moment and ended, or closes, less than a month before it.
func (d *builder) recent(s *elements.Spray) bool {
	if s.Started.At.After(d.q.At) {
		return false
	}
	from := civil.DayStart(civil.DateOf(d.q.At, d.zone).AddDays(-exposureDays), d.zone)
	return !s.Ended.Latest(d.zone).Before(from) || s.Reentry.Opens.After(from) || s.Reentry.Read && s.Ended.At.After(from)
}

// exposed is one spray as a doctor needs it.
func (d *builder) exposed(s *elements.Spray) report.Section {
	out := report.Section{Title: civil.DateOf(s.Fact.Time, d.zone).String() + " · " + d.where(s)}
	for _, f := range []report.Field{
		field("started", d.say.Say("sheet.started"), moment(s.Started, d.zone)), field("ended", d.say.Say("sheet.ended"), moment(s.Ended, d.zone)),
		field("reentry", d.say.Say("sheet.reentry"), report.Text(d.hours(s))), field("reentry-until", d.say.Say("sheet.reentry-until"), d.opens(s)),
	} {
		out.Fields = append(out.Fields, f)
	}
	t := report.Table{Key: "products", Columns: []report.Column{
		{Key: "product", Heading: d.say.Say("sheet.col-product")}, {Key: "registration", Heading: d.say.Say("sheet.col-registration")},
		{Key: "ingredients", Heading: d.say.Say("sheet.col-ingredients")}, {Key: "signal", Heading: d.say.Say("sheet.col-signal")},
		{Key: "rate", Heading: d.say.Say("sheet.col-rate")}, {Key: "data-sheet", Heading: d.say.Say("sheet.col-data-sheet")},
	}}
	for _, i := range s.Items {
		sheet, signal := report.Text(d.say.Say("sheet.data-sheet-none")), ""
		if i.Label != nil {
			signal = i.Label.SignalWord
			if h := i.Label.SafetyDataSheet; h != "" {
				sheet = report.Text(d.say.Say("sheet.data-sheet-filed", "start", h[:min(12, len(h))]))
			}
		}
		t.Add(report.Text(i.Product), report.Text(i.Registration), report.Text(ingredients(i)), report.Text(signal), report.Text(quantity(i.Mix.Rate)), sheet)
	}
	out.Tables = []report.Table{t}
	return out
}

// reported is what was recorded of exposures about the sprays or the block that are asked about, the latest first.
func (d *builder) reported() (out []report.Section) {
	facts := d.b.Facts()
	from := civil.DayStart(civil.DateOf(d.q.At, d.zone).AddDays(-exposureDays), d.zone)
	for _, f := range slices.Backward(facts) {
		e, ok := f.Data().(*events.ExposureReported)
		if !ok || !f.Stands() || f.Time.Before(from) || f.Time.After(d.q.At) || d.q.Spray != "" && e.Spray != "" && e.Spray != d.q.Spray {
			continue
		}
		if d.q.Block != "" && !slices.ContainsFunc(e.Where, func(p events.Part) bool { return p.Block == d.q.Block }) {
			continue
		}
		one := report.Section{Title: d.say.Say("sheet.exposure-reported")}
		var who []string
		for _, w := range e.Who {
			who = append(who, d.person(w))
		}
		one.Fields = []report.Field{
			field("who", d.say.Say("sheet.exposure-who"), report.Text(strings.Join(who, ", "))), field("when", d.say.Say("sheet.exposure-when"), d.momentOf(e.When)),
		}
		place := field("place", d.say.Say("sheet.where"), report.Text(e.Place))
		what := field("what", d.say.Say("sheet.exposure-how"), report.Text(e.What))
		place.Wide, what.Wide = true, true
		one.Fields = append(one.Fields, place, what)
		out = append(out, one)
	}
	return out
}

// goingOn lists sprays that were begun and have no end by what is recorded.
func (d *builder) goingOn() (out []report.Section) {
	if d.q.Spray != "" {
		return nil
	}
	ended := map[string]bool{}
	facts := d.b.Facts()
	for _, f := range facts {
		switch s := f.Data().(type) {
		case *events.SprayApplied:
			ended[s.Begun] = ended[s.Begun] || f.Stands()
		case *events.SprayCalledOff:
			ended[s.Begun] = ended[s.Begun] || f.Stands()
		}
	}
	v := d.b.View(projections.FarmKey)
	for _, f := range facts {
		s, ok := f.Data().(*events.SprayBegun)
		if !ok || !f.Stands() || ended[f.ID.String()] || f.Time.After(d.q.At) {
			continue
		}
		if d.q.Block != "" && !slices.ContainsFunc(s.Where, func(p events.Part) bool { return p.Block == d.q.Block }) {
			continue
		}
		var blocks, products []string
		for _, p := range s.Where {
			blocks = append(blocks, p.Block)
		}
		mix := s.Mix
		if plan := v.Fact(s.Plan); len(mix) == 0 && plan != nil {
			if p, ok := plan.Data().(*events.SprayPlanned); ok {
				mix = p.Mix
			}
		}
		for _, m := range mix {
			name := m.Product
			if _, label := v.Label(m.Label); label != nil {
				name = label.Product
			}
			products = append(products, name)
		}
		out = append(out, report.Section{Title: d.say.Say("sheet.exposure-going-on"), Fields: []report.Field{
			field("started", d.say.Say("sheet.started"), d.momentOf(s.Started)), field("where", d.say.Say("sheet.where"), report.Text(strings.Join(blocks, ", "))),
			field("products", d.say.Say("sheet.col-products"), report.Text(strings.Join(products, ", "))),
		}})
	}
	return out
}
