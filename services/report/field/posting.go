package field

import (
	"strings"
	"time"

	"latewood/events"
	"latewood/events/civil"
	"latewood/projections"
	"latewood/projections/elements"
	"latewood/services/report"
)

// A window is when something about a spray is to hang.
type window struct {
	by    time.Time // at the latest
	until time.Time // zero: not known, an interval must be read off the label
}

// shown is the window of the information about a spray: 24 hours after its end at the latest, until 30 days after re-entry
// is open (wps.display_by, wps.display_until in projections/terms).
func (d *builder) shown(s *elements.Spray) window {
	end := s.Ended.Latest(d.zone)
	first := s.Ended.At // where only the day is known, the earliest that it can mean: a deadline is not moved back by what nobody knows
	if s.Ended.Only && s.Started.At.After(first) {
		first = s.Started.At
	}
	w := window{by: first.Add(term("wps.display_by").Within)}
	days := term("wps.display_until").Days()
	switch {
	case s.Reentry.Read:
	case s.Reentry.Opens.IsZero():
		w.until = civil.DayEnd(civil.DateOf(end, d.zone).AddDays(days), d.zone)
	default:
		w.until = civil.DayEnd(civil.DateOf(s.Reentry.Opens, d.zone).AddDays(days), d.zone)
	}
	return w
}

// Posting is the application and hazard information as 40 CFR 170.311(b) has it displayed, a page for each spray whose time to
// hang is not over at the query's moment; of a spray that is named, whatever the moment.
func Posting(b *projections.Book, q Query, people People) *report.Report {
	d := newBuilder(b, q, people)
	r := d.begin("posting", d.say.Say("sheet.posting-title"))
	sprays, _, corrected := d.sprays()
	r.Cautions = append([]string{d.say.Say("sheet.federal-only"), d.say.Say("sheet.posting-other")}, r.Cautions...)
	r.Foot.Method = append(d.editions(elements.Display, elements.Warning), d.say.Say("sheet.missing-method"))
	r.Foot.Corrected = corrected
	t := report.Table{Key: "posting", Name: d.say.Say("sheet.posting-title")}
	for _, key := range []string{"record", "where", "crop", "products", "registration", "ingredients", "started", "ended", "reentry-hours", "reentry-until",
		"display-by", "display-until", "signs", "oral", "missing"} {
		t.Columns = append(t.Columns, report.Column{Key: strings.ReplaceAll(key, "-", "_"), Heading: d.say.Say("sheet.col-" + key), Numbers: key == "reentry-hours"})
	}
	for i := range sprays {
		s := &sprays[i]
		w := d.shown(s)
		over := !w.until.IsZero() && w.until.Before(q.At)
		if d.q.Spray == "" && (s.Started.At.After(q.At) || over || !has(s.Sets, elements.Display)) {
			continue
		}
		r.Sections = append(r.Sections, d.post(s, w))
		missing := d.missing(s.Missing, elements.Display, elements.Warning)
		signs, oral, either := s.Reentry.Warnings()
		var products, numbers, actives []string
		for _, i := range s.Items {
			products, numbers, actives = append(products, i.Product), append(numbers, i.Registration), append(actives, ingredients(i))
		}
		t.Add(report.Text(s.Fact.ID.String()), report.Text(d.where(s)), report.Text(crop(s)), report.Text(strings.Join(products, "; ")), report.Text(strings.Join(numbers, "; ")),
			report.Text(strings.Join(actives, "; ")), moment(s.Started, d.zone), moment(s.Ended, d.zone), report.Perhaps(s.Reentry.Hours, -1), d.opens(s),
			report.Moment(w.by.In(d.zone)), d.until(w), report.Truth(signs || either), report.Truth(oral || either), report.Text(strings.Join(missing, "; ")))
	}
	if len(r.Sections) == 0 {
		r.Sections = []report.Section{{Paragraphs: []string{d.say.Say("sheet.posting-none")}}}
	} else {
		r.Sections[0].Fresh = false
	}
	r.Data = []report.Table{t}
	return r
}

func has(sets []elements.Set, set elements.Set) bool {
	for _, s := range sets {
		if s == set {
			return true
		}
	}
	return false
}

// until is the last day on which something hangs, as far as it is known.
func (d *builder) until(w window) report.Cell {
	if w.until.IsZero() {
		return report.Text(d.say.Say("sheet.until-read"))
	}
	return report.Day(civil.DateOf(w.until.Add(-time.Second), d.zone))
}

// post is the page of one spray.
func (d *builder) post(s *elements.Spray, w window) report.Section {
	out := report.Section{Fresh: true, Title: d.say.Say("sheet.posting-head"), Big: d.where(s)}
	must := func(key, name string, c report.Cell) { out.Fields = append(out.Fields, field(key, name, c)) }
	add := func(key, name string, c report.Cell) {
		if c.Known() {
			f := field(key, name, c)
			f.Wide = true
			out.Fields = append(out.Fields, f)
		}
	}
	must("started", d.say.Say("sheet.started"), moment(s.Started, d.zone))
	must("ended", d.say.Say("sheet.ended"), moment(s.Ended, d.zone))
	must("reentry", d.say.Say("sheet.reentry"), report.Text(d.hours(s)))
	must("reentry-until", d.say.Say("sheet.reentry-until"), d.opens(s))
	must("crop", d.say.Say("sheet.crop-treated"), report.Text(crop(s)))
	must("area", d.say.Say("sheet.area"), report.Text(quantity(s.Data.AreaTreated)))
	must("display-by", d.say.Say("sheet.display-by"), report.Moment(w.by.In(d.zone)))
	must("display-until", d.say.Say("sheet.display-until"), d.until(w))
	for _, p := range s.Posted {
		add("posted", d.say.Say("sheet.posted"), report.Text(d.posted(p)))
	}
	add("warning", d.say.Say("sheet.warning-how"), report.Text(strings.Join(d.keepOut(s), "\n")))
	add("warned", d.say.Say("sheet.warning"), report.Text(d.warned(s)))
	t := report.Table{Key: "products", Columns: []report.Column{
		{Key: "product", Heading: d.say.Say("sheet.col-product")}, {Key: "registration", Heading: d.say.Say("sheet.col-registration")},
		{Key: "ingredients", Heading: d.say.Say("sheet.col-ingredients")}, {Key: "signal-word", Heading: d.say.Say("sheet.col-signal")},
		{Key: "reentry", Heading: d.say.Say("sheet.col-reentry")}, {Key: "data-sheet", Heading: d.say.Say("sheet.col-data-sheet")},
	}}
	for _, i := range s.Items {
		sheet, signal, hours := report.Cell{}, "", ""
		if i.Label != nil {
			signal, hours = i.Label.SignalWord, d.labelHours(i.Label)
			if i.Label.SafetyDataSheet != "" {
				sheet = report.Text(d.say.Say("sheet.data-sheet-filed", "start", i.Label.SafetyDataSheet[:min(12, len(i.Label.SafetyDataSheet))]))
			}
		}
		t.Add(report.Text(i.Product), report.Text(i.Registration), report.Text(ingredients(i)), report.Text(signal), report.Text(hours), sheet)
	}
	out.Tables = []report.Table{t}
	out.Marks = []report.Mark{{Texts: []string{d.say.Say("sheet.posting-attach"), d.say.Say("sheet.posting-place")}}}
	if missing := d.missing(s.Missing, elements.Display, elements.Warning); len(missing) > 0 {
		out.Marks = append(out.Marks, report.Mark{Head: d.say.Say("sheet.missing-head"), Texts: missing})
	}
	return out
}

// labelHours is the re-entry of one label.
func (d *builder) labelHours(l *events.LabelFiled) string {
	var out []string
	for _, r := range l.Reentry {
		text := ""
		if r.Hours != nil {
			text = d.say.Say("sheet.hours", "hours", *r.Hours)
		}
		if r.Words != "" {
			text = strings.TrimSpace(text + " «" + r.Words + "»")
		}
		if r.Activity != "" {
			text += " (" + r.Activity + ")"
		}
		out = append(out, text)
	}
	return strings.Join(out, "; ")
}

// keepOut says how workers are to be warned, and the days for the signs.
func (d *builder) keepOut(s *elements.Spray) (out []string) {
	signs, oral, either := s.Reentry.Warnings()
	switch {
	case either:
		out = append(out, d.say.Say("sheet.warn-either", "hours", elements.SignHours))
	case signs && oral:
		out = append(out, d.say.Say("sheet.warn-both"))
	case signs:
		out = append(out, d.say.Say("sheet.warn-signs", "hours", elements.SignHours))
	}
	if signs || either {
		up := s.Started.At.Add(-term("wps.sign_before").Within)
		if s.Reentry.Opens.IsZero() {
			out = append(out, d.say.Say("sheet.signs-terms-open", "up", d.short(up), "days", term("wps.sign_after").Days()))
		} else {
			down := s.Reentry.Opens.Add(term("wps.sign_after").Within)
			out = append(out, d.say.Say("sheet.signs-terms", "up", d.short(up), "down", d.short(down)))
		}
	}
	if oral || either {
		out = append(out, d.say.Say("sheet.oral-what"))
	}
	return out
}
