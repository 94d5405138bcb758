package field

import (
	"strings"

	"latewood/events/civil"
	"latewood/projections"
	"latewood/projections/elements"
	"latewood/services/report"
)

// CustomerCopy is what a hired applicator hands to whom was treated for: 40 CFR 171.303(b)(7), a page for each spray that
// names a contractor or a customer.
func CustomerCopy(b *projections.Book, q Query, people People) *report.Report {
	d := newBuilder(b, q, people)
	r := d.begin("customer-copy", d.say.Say("sheet.copy-title"))
	sprays, _, corrected := d.sprays()
	r.Cautions = append([]string{d.say.Say("sheet.federal-only")}, r.Cautions...)
	r.Foot.Method = append(d.editions(elements.Commercial), d.say.Say("sheet.copy-term", "days", term("rup.customer_copy").Days(), "source", "7 U.S.C. 136i-1(a)(2)"), d.say.Say("sheet.missing-method"))
	r.Foot.Corrected = corrected
	t := report.Table{Key: "copies", Name: d.say.Say("sheet.copy-title")}
	for _, key := range []string{"record", "customer", "where", "area", "crop", "started", "ended", "products", "registration", "total", "applicator", "certificate", "applied-by", "hand-over-by", "missing"} {
		t.Columns = append(t.Columns, report.Column{Key: strings.ReplaceAll(key, "-", "_"), Heading: d.say.Say("sheet.col-" + key)})
	}
	for i := range sprays {
		s := &sprays[i]
		if !s.Hired() {
			continue
		}
		missing := d.missing(s.Missing, elements.Commercial)
		by := civil.DateOf(s.Ended.Latest(d.zone).Add(-1), d.zone).AddDays(term("rup.customer_copy").Days())
		out := report.Section{Fresh: len(r.Sections) > 0, Title: civil.DateOf(s.Fact.Time, d.zone).String() + " · " + blockNames(s)}
		wide := func(key, name string, c report.Cell) {
			f := field(key, name, c)
			f.Wide = true
			out.Fields = append(out.Fields, f)
		}
		must := func(key, name string, c report.Cell) { out.Fields = append(out.Fields, field(key, name, c)) }
		customer := report.Text(party(s.Customer(b)))
		wide("customer", d.say.Say("sheet.customer"), customer)
		wide("contractor", d.say.Say("sheet.contractor"), report.Text(party(s.Data.Contractor)))
		wide("where", d.say.Say("sheet.where"), report.Text(d.where(s)))
		must("area", d.say.Say("sheet.area"), report.Text(quantity(s.Data.AreaTreated)))
		must("crop", d.say.Say("sheet.crop"), report.Text(crop(s)))
		must("started", d.say.Say("sheet.started"), moment(s.Started, d.zone))
		must("ended", d.say.Say("sheet.ended"), moment(s.Ended, d.zone))
		who := s.Certified()
		name := ""
		if who != nil {
			name = d.person(who.Code)
		}
		must("applicator", d.say.Say("sheet.col-applicator"), report.Text(name))
		must("certificate", d.say.Say("sheet.certificate"), report.Text(d.certificate(who)))
		if under := s.Uncertified(); under != "" || s.Data.SupervisedBy != nil {
			wide("applied-by", d.say.Say("sheet.applied-under"), report.Text(d.person(under)))
		}
		must("reentry", d.say.Say("sheet.reentry"), report.Text(d.hours(s)))
		must("hand-over-by", d.say.Say("sheet.hand-over-by"), report.Day(by))
		wide("record", d.say.Say("sheet.record"), report.Text(s.Fact.ID.String()))
		out.Tables = []report.Table{d.products(s)}
		if len(missing) > 0 {
			out.Marks = []report.Mark{{Head: d.say.Say("sheet.missing-head"), Texts: missing}}
		}
		r.Sections = append(r.Sections, out)
		var products, numbers, totals []string
		for _, i := range s.Items {
			products, numbers, totals = append(products, i.Product), append(numbers, i.Registration), append(totals, quantity(i.Mix.Total))
		}
		t.Add(report.Text(s.Fact.ID.String()), customer, report.Text(d.where(s)), report.Text(quantity(s.Data.AreaTreated)), report.Text(crop(s)), moment(s.Started, d.zone), moment(s.Ended, d.zone),
			report.Text(strings.Join(products, "; ")), report.Text(strings.Join(numbers, "; ")), report.Text(strings.Join(totals, "; ")), report.Text(name), report.Text(d.certificate(who)),
			report.Text(d.person(s.Uncertified())), report.Day(by), report.Text(strings.Join(missing, "; ")))
	}
	if len(r.Sections) == 0 {
		r.Sections = []report.Section{{Paragraphs: []string{d.say.Say("sheet.copy-none")}}}
	}
	r.Data = []report.Table{t}
	return r
}
