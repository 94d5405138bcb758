package field

import (
	"strings"

	"latewood/events"
	"latewood/events/civil"
	"latewood/projections"
	"latewood/projections/elements"
	"latewood/projections/flags"
	"latewood/services/report"
)

// Sprays is the spray records of a time: what 7 CFR 110.3 wants of each, what was recorded beside it, and what is missing.
func Sprays(b *projections.Book, q Query, people People) *report.Report {
	d := newBuilder(b, q, people)
	r := d.begin("sprays", d.say.Say("sheet.sprays-title"))
	sprays, withdrawn, corrected := d.sprays()
	d.covers(r, len(sprays), withdrawn, corrected)
	r.Cautions = append([]string{d.say.Say("sheet.federal-only")}, r.Cautions...)
	r.Foot.Method = append(d.editions(elements.Restricted, elements.Spot, elements.Display), d.say.Say("sheet.missing-method"))
	if len(sprays) == 0 {
		r.Sections = append(r.Sections, report.Section{Paragraphs: []string{d.say.Say("sheet.sprays-none")}})
	}
	list := report.Table{Key: "list", Name: d.say.Say("sheet.list"), Columns: []report.Column{
		{Key: "date", Heading: d.say.Say("sheet.col-date")}, {Key: "where", Heading: d.say.Say("sheet.col-where")},
		{Key: "products", Heading: d.say.Say("sheet.col-products")}, {Key: "area", Heading: d.say.Say("sheet.col-area")},
		{Key: "reentry", Heading: d.say.Say("sheet.col-reentry")}, {Key: "missing", Heading: d.say.Say("sheet.col-missing"), Numbers: true},
	}}
	flagged := d.flagged(sprays)
	rows, missing := d.sprayTable(), d.missingTable()
	var each []report.Section
	for i := range sprays {
		s := &sprays[i]
		all := d.missing(s.Missing)
		list.Add(report.Day(civil.DateOf(s.Fact.Time, d.zone)), report.Text(d.where(s)), report.Text(s.Short()), report.Text(quantity(s.Data.AreaTreated)),
			report.Text(d.hours(s)), report.Count(len(all)))
		each = append(each, d.record(s, all, flagged[s.Fact.ID.String()]))
		d.addSpray(&rows, s, all, flagged[s.Fact.ID.String()])
		for _, m := range s.Missing {
			missing.Add(report.Text(m.Record), report.Day(civil.DateOf(s.Fact.Time, d.zone)), report.Text(m.Element), report.Text(m.Rule), report.Text(m.Product), report.Text(m.Words(d.say)))
		}
	}
	if len(sprays) > 1 {
		r.Sections = append(r.Sections, report.Section{Title: list.Name, Tables: []report.Table{list}})
	}
	r.Sections = append(r.Sections, each...)
	entries := d.entries(r, &missing)
	r.Data = []report.Table{rows, missing}
	if len(entries.Rows) > 0 {
		r.Data = append(r.Data, entries)
	}
	return r
}

// flagged is what is flagged about each spray, by its id: the spray itself, what was posted about it, and what other records
// did inside its intervals. The sentences of flags are English.
func (d *builder) flagged(sprays []elements.Spray) map[string][]string {
	of := map[string]string{} // id of a record about a spray, to the spray
	for i := range sprays {
		s := &sprays[i]
		of[s.Fact.ID.String()] = s.Fact.ID.String()
		for _, p := range s.Posted {
			of[p.ID.String()] = s.Fact.ID.String()
		}
	}
	out := map[string][]string{}
	for _, f := range flags.Every(d.b) {
		if spray := of[f.ID]; spray != "" {
			out[spray] = append(out[spray], f.Why())
			continue
		}
		for _, id := range f.Because {
			if spray := of[id]; spray == id && spray != "" {
				out[spray] = append(out[spray], d.say.Say("sheet.flag-other", "day", d.dayOf(f.ID), "why", f.Why(), "id", f.ID))
			}
		}
	}
	return out
}

// dayOf is the civil day of a record.
func (d *builder) dayOf(id string) string {
	parsed, err := events.ParseID(id)
	if err != nil {
		return ""
	}
	f := d.b.Fact(parsed)
	if f == nil {
		return ""
	}
	return civil.DateOf(f.Time, d.zone).String()
}

// entries adds a section on the entries while re-entry ran, each with what is missing in it, and gives them as a table.
func (d *builder) entries(r *report.Report, missing *report.Table) report.Table {
	t := report.Table{Key: "entries", Name: d.say.Say("sheet.entries")}
	for _, key := range []string{"record", "date", "from", "until", "blocks", "who", "activity", "exception", "given", "missing"} {
		t.Columns = append(t.Columns, report.Column{Key: key, Heading: d.say.Say("sheet.col-" + key)})
	}
	if d.q.Spray != "" {
		return t
	}
	out := report.Section{Title: t.Name}
	seasons := d.seasons()
	for _, f := range d.b.Facts() {
		e, ok := f.Data().(*events.EntryMade)
		if !ok || !f.Stands() || !d.picks(f, seasons) {
			continue
		}
		var who, blocks []string
		for _, code := range e.Who {
			who = append(who, d.person(code))
		}
		for _, p := range e.Where {
			blocks = append(blocks, p.Block)
		}
		list := elements.OfEntry(f)
		lacks := d.missing(list)
		day := civil.DateOf(f.Time, d.zone)
		t.Add(report.Text(f.ID.String()), report.Day(day), d.momentOf(e.From), d.momentOf(e.Until), report.Text(strings.Join(blocks, ", ")), report.Text(strings.Join(who, ", ")),
			report.Text(e.Activity), report.Text(e.ExceptionClaimed), report.Text(e.ProtectiveEquipment), report.Text(strings.Join(lacks, "; ")))
		if len(lacks) > 0 {
			out.Marks = append(out.Marks, report.Mark{Head: d.say.Say("sheet.entry-missing", "day", day.String(), "blocks", strings.Join(blocks, ", ")), Texts: lacks})
		}
		for _, m := range list {
			missing.Add(report.Text(m.Record), report.Day(day), report.Text(m.Element), report.Text(m.Rule), report.Cell{}, report.Text(m.Words(d.say)))
		}
	}
	if len(t.Rows) > 0 {
		shown := t
		shown.Columns, shown.Rows = t.Columns[2:len(t.Columns)-1], nil // the id and what is missing stand elsewhere
		for _, row := range t.Rows {
			shown.Add(row[2 : len(row)-1]...)
		}
		out.Tables = []report.Table{shown}
		r.Sections = append(r.Sections, out)
		r.Foot.Method = append(d.editions(elements.Entry), r.Foot.Method...)
	}
	return t
}

// hours is the re-entry interval as the labels state it.
func (d *builder) hours(s *elements.Spray) string {
	var out []string
	if s.Reentry.Hours != nil {
		out = append(out, d.say.Say("sheet.hours", "hours", *s.Reentry.Hours))
	}
	if len(s.Reentry.Words) > 0 {
		out = append(out, "«"+strings.Join(s.Reentry.Words, "» «")+"»")
	}
	return strings.Join(out, "; ")
}

// opens says until when the recorded re-entry interval runs.
func (d *builder) opens(s *elements.Spray) report.Cell {
	switch {
	case s.Reentry.Read:
		return report.Text(d.say.Say("sheet.read-the-label"))
	case s.Reentry.Opens.IsZero():
		return report.Cell{}
	}
	return report.Moment(s.Reentry.Opens)
}

// record is one spray in full.
func (d *builder) record(s *elements.Spray, missing, flagged []string) report.Section {
	data := s.Data
	when := s.Ended.Day.String()
	if !s.Ended.Only {
		when = d.short(s.Ended.At)
	}
	out := report.Section{Title: when + " · " + blockNames(s)}
	add := func(key, name string, c report.Cell) {
		if c.Known() {
			out.Fields = append(out.Fields, field(key, name, c))
		}
	}
	must := func(key, name string, c report.Cell) { out.Fields = append(out.Fields, field(key, name, c)) }
	must("started", d.say.Say("sheet.started"), moment(s.Started, d.zone))
	must("ended", d.say.Say("sheet.ended"), moment(s.Ended, d.zone))
	out.Fields = append(out.Fields, report.Field{Key: "where", Name: d.say.Say("sheet.where"), Value: report.Text(d.where(s)), Wide: true})
	must("area", d.say.Say("sheet.area"), report.Text(quantity(data.AreaTreated)))
	must("crop", d.say.Say("sheet.crop"), report.Text(crop(s)))
	add("target", d.say.Say("sheet.target"), report.Text(strings.Join(nonEmpty(data.Target, data.Purpose), "; ")))
	who := s.Certified()
	if data.SupervisedBy != nil {
		must("supervisor", d.say.Say("sheet.supervisor"), report.Text(d.person(data.SupervisedBy.Code)))
		add("applied-by", d.say.Say("sheet.applied-by"), report.Text(d.person(s.Uncertified())))
	} else if who != nil {
		must("applicator", d.say.Say("sheet.applicator"), report.Text(d.person(who.Code)))
		add("applied-by", d.say.Say("sheet.applied-by"), report.Text(d.person(s.Uncertified())))
	}
	must("certificate", d.say.Say("sheet.certificate"), report.Text(d.certificate(who)))
	if s.Hired() {
		add("contractor", d.say.Say("sheet.contractor"), report.Text(party(data.Contractor)))
		add("customer", d.say.Say("sheet.customer"), report.Text(party(s.Customer(d.b))))
	}
	must("reentry", d.say.Say("sheet.reentry"), report.Text(d.hours(s)))
	must("reentry-until", d.say.Say("sheet.reentry-until"), d.opens(s))
	if data.EquipmentKind != "" {
		add("equipment", d.say.Say("sheet.equipment"), report.Text(d.say.Say("sheet.equipment-"+data.EquipmentKind)))
	}
	add("mix-volume", d.say.Say("sheet.mix-volume"), report.Text(quantity(data.MixVolume)))
	add("weather", d.say.Say("sheet.weather"), report.Text(d.weather(s)))
	if data.Spot != nil && *data.Spot {
		add("spot", d.say.Say("sheet.spot"), report.Truth(true))
	}
	add("warning", d.say.Say("sheet.warning"), report.Text(d.warned(s)))
	for _, p := range s.Posted {
		add("posted", d.say.Say("sheet.posted"), report.Text(d.posted(p)))
	}
	must("noted", d.say.Say("sheet.noted"), report.Moment(s.Fact.Record.Known().In(d.zone)))
	must("record", d.say.Say("sheet.record"), report.Text(s.Fact.ID.String()))
	if n := len(s.Fact.Corrections); n > 0 {
		add("corrected", d.say.Say("sheet.corrected"), report.Text(d.say.Say("sheet.times", "n", n)))
	}
	for i := range out.Fields {
		switch out.Fields[i].Key {
		case "record", "weather", "posted", "contractor", "customer":
			out.Fields[i].Wide = true
		}
	}
	out.Tables = []report.Table{d.products(s)}
	if len(missing) > 0 {
		out.Marks = []report.Mark{{Head: d.say.Say("sheet.missing-head"), Texts: missing}}
	}
	if len(flagged) > 0 {
		out.Marks = append(out.Marks, report.Mark{Head: d.say.Say("sheet.flagged"), Texts: flagged})
	}
	return out
}

func nonEmpty(texts ...string) (out []string) {
	for _, t := range texts {
		if t != "" {
			out = append(out, t)
		}
	}
	return out
}

func blockNames(s *elements.Spray) string {
	var out []string
	for _, p := range s.Places {
		name := p.Name
		if name == "" {
			name = p.Block
		}
		out = append(out, name)
	}
	return strings.Join(out, ", ")
}

// products is the mix as a table.
func (d *builder) products(s *elements.Spray) report.Table {
	t := report.Table{Key: "products", Columns: []report.Column{
		{Key: "product", Heading: d.say.Say("sheet.col-product")}, {Key: "registration", Heading: d.say.Say("sheet.col-registration")},
		{Key: "ingredients", Heading: d.say.Say("sheet.col-ingredients")}, {Key: "restricted", Heading: d.say.Say("sheet.col-restricted")},
		{Key: "total", Heading: d.say.Say("sheet.col-total")}, {Key: "rate", Heading: d.say.Say("sheet.col-rate")}, {Key: "batch", Heading: d.say.Say("sheet.col-batch")},
	}}
	for _, i := range s.Items {
		t.Add(report.Text(i.Product), report.Text(i.Registration), report.Text(ingredients(i)), d.isRestricted(i), report.Text(quantity(i.Mix.Total)), report.Text(quantity(i.Mix.Rate)), report.Text(i.Mix.Batch))
	}
	return t
}

func (d *builder) isRestricted(i elements.Item) report.Cell {
	if i.Label == nil || i.Label.RestrictedUse == nil {
		return report.Cell{}
	}
	return report.Truth(*i.Label.RestrictedUse)
}

// weather is the conditions as they were read.
func (d *builder) weather(s *elements.Spray) string {
	var lines []string
	for _, c := range s.Data.Conditions {
		var parts []string
		if c.At != "" {
			parts = append(parts, d.clock(c.At))
		}
		if c.WindSpeed != nil {
			parts = append(parts, d.say.Say("sheet.wind", "speed", quantity(c.WindSpeed)))
		}
		if c.WindDirection != nil {
			parts = append(parts, d.say.Say("sheet.wind-from", "degrees", quantity(c.WindDirection)))
		}
		if c.AirTemperature != nil {
			parts = append(parts, quantity(c.AirTemperature))
		}
		if c.RelativeHumidity != nil {
			parts = append(parts, d.say.Say("sheet.humidity", "share", quantity(c.RelativeHumidity)))
		}
		lines = append(lines, strings.Join(parts, ", "))
	}
	return strings.Join(lines, "\n")
}

// clock is a time of the day where it is known, else the day.
func (d *builder) clock(text string) string {
	m, err := events.ParseMoment(text, d.zone)
	switch {
	case err != nil:
		return text
	case m.Only:
		return m.Day.String()
	}
	return d.short(m.At)
}

// warned says how people were kept out, as it was recorded.
func (d *builder) warned(s *elements.Spray) string {
	w := s.Data.Warning
	if w == nil {
		return ""
	}
	var out []string
	if w.SignsUp != "" {
		out = append(out, d.say.Say("sheet.signs-up", "at", d.clock(w.SignsUp)))
	}
	if w.SignsDown != "" {
		out = append(out, d.say.Say("sheet.signs-down", "at", d.clock(w.SignsDown)))
	}
	if w.Oral != "" {
		out = append(out, d.say.Say("sheet.oral-at", "at", d.clock(w.Oral)))
	}
	return strings.Join(out, "; ")
}

// posted says where and when a spray was displayed.
func (d *builder) posted(f *projections.Fact) string {
	p := f.Data().(*events.SprayPosted)
	out := d.say.Say("sheet.posted-at", "place", p.Place, "from", d.clock(p.From))
	if p.Removed != "" {
		out += "; " + d.say.Say("sheet.removed-at", "at", d.clock(p.Removed))
	}
	return out
}

// sprayTable is for machines: a row for each product of each spray.
func (d *builder) sprayTable() report.Table {
	t := report.Table{Key: "sprays", Name: d.say.Say("sheet.sprays-title")}
	for _, key := range []string{"record", "started", "ended", "blocks", "where", "crop", "product", "registration", "active-ingredients", "moa", "restricted",
		"total", "total-unit", "rate", "rate-unit", "batch", "area", "area-unit", "applicator", "certificate", "applied-by", "target", "equipment",
		"reentry-hours", "reentry-until", "noted", "missing", "flags"} {
		number := key == "total" || key == "rate" || key == "area" || key == "reentry-hours"
		t.Columns = append(t.Columns, report.Column{Key: strings.ReplaceAll(key, "-", "_"), Heading: d.say.Say("sheet.col-" + key), Numbers: number})
	}
	return t
}

func (d *builder) addSpray(t *report.Table, s *elements.Spray, missing, flagged []string) {
	var blocks []string
	for _, p := range s.Places {
		blocks = append(blocks, p.Block)
	}
	value := func(q *events.Quantity) (report.Cell, report.Cell) {
		if q == nil {
			return report.Cell{}, report.Cell{}
		}
		return report.Number(q.Value, -1), report.Text(q.Unit)
	}
	area, areaUnit := value(s.Data.AreaTreated)
	hours := report.Perhaps(s.Reentry.Hours, -1)
	who := s.Certified()
	applicator := ""
	if who != nil {
		applicator = d.person(who.Code)
	}
	for _, i := range s.Items {
		total, totalUnit := value(i.Mix.Total)
		rate, rateUnit := value(i.Mix.Rate)
		t.Add(report.Text(s.Fact.ID.String()), moment(s.Started, d.zone), moment(s.Ended, d.zone), report.Text(strings.Join(blocks, ";")), report.Text(d.where(s)),
			report.Text(crop(s)), report.Text(i.Product), report.Text(i.Registration), report.Text(ingredients(i)), report.Text(groups(i)), d.isRestricted(i),
			total, totalUnit, rate, rateUnit, report.Text(i.Mix.Batch), area, areaUnit, report.Text(applicator), report.Text(d.certificate(who)),
			report.Text(d.person(s.Uncertified())), report.Text(strings.Join(nonEmpty(s.Data.Target, s.Data.Purpose), "; ")), report.Text(s.Data.EquipmentKind),
			hours, d.opens(s), report.Moment(s.Fact.Record.Known().In(d.zone)), report.Text(strings.Join(missing, "; ")), report.Text(strings.Join(flagged, "; ")))
	}
}

// missingTable is for machines: a row for each missing element.
func (d *builder) missingTable() report.Table {
	return report.Table{Key: "missing", Name: d.say.Say("sheet.missing-name"), Empty: d.say.Say("sheet.missing-none"), Columns: []report.Column{
		{Key: "record", Heading: d.say.Say("sheet.col-record")}, {Key: "date", Heading: d.say.Say("sheet.col-date")}, {Key: "element", Heading: d.say.Say("sheet.col-element")},
		{Key: "rule", Heading: d.say.Say("sheet.col-rule")}, {Key: "product", Heading: d.say.Say("sheet.col-product")}, {Key: "words", Heading: d.say.Say("sheet.col-words")},
	}}
}
