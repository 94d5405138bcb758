package field

import (
	"cmp"
	"slices"
	"strings"
	"time"

	"latewood/events"
	"latewood/events/civil"
	"latewood/events/units"
	"latewood/events/words"
	"latewood/projections"
	"latewood/projections/elements"
	"latewood/projections/terms"
	"latewood/services/report"
)

// A Query picks sprays. Empty fields pick all.
type Query struct {
	Lang   string
	Season civil.Season
	From   civil.Date // first day
	To     civil.Date // last day
	Block  string
	Spray  string    // id of one record
	At     time.Time // the moment that the answer is for
}

// Who is what the register says of a pseudonym.
type Who struct {
	Name        string // empty: not known, or erased
	Tag         string
	Certificate string // the number that a commitment was made with
}

// People looks a pseudonym up, and the certificate number behind a commitment.
type People func(code, commitment string) Who

// a builder makes one report.
type builder struct {
	b      *projections.Book
	q      Query
	say    *words.Catalogue
	zone   *time.Location
	people People
}

func newBuilder(b *projections.Book, q Query, people People) *builder {
	if people == nil {
		people = func(string, string) Who { return Who{} }
	}
	return &builder{b: b, q: q, say: report.Language(q.Lang), zone: b.Zone(), people: people}
}

// named tells package elements whose name is known.
func (d *builder) named(code string) bool { return d.people(code, "").Name != "" }

// begin makes a report with what all of them share.
func (d *builder) begin(kind, title string) *report.Report {
	r := &report.Report{Kind: kind, Lang: d.say.Lang(), Title: title, Cautions: []string{d.say.Say("sheet.label-decides")}}
	if o := d.b.Opened(); o != nil {
		r.Of = o.Name
		if o.Contact != nil {
			r.Of = strings.Join(slices.DeleteFunc([]string{o.Name, o.Contact.Address, o.Contact.Phone}, func(s string) bool { return s == "" }), ", ")
		}
	}
	r.Foot.Made = civil.DateOf(d.q.At, d.zone)
	return r
}

// seasons remembers each block's seasons.
func (d *builder) seasons() func(block string) *projections.Seasons {
	known := map[string]*projections.Seasons{}
	return func(block string) *projections.Seasons {
		if known[block] == nil {
			known[block] = d.b.View(projections.Key{Class: projections.Block, Code: block}).Seasons()
		}
		return known[block]
	}
}

// picks reports whether the query picks a record by its day, block and season.
func (d *builder) picks(f *projections.Fact, seasons func(string) *projections.Seasons) bool {
	day := civil.DateOf(f.Time, d.zone)
	if !d.q.From.IsZero() && day.Before(d.q.From) || !d.q.To.IsZero() && day.After(d.q.To) {
		return false
	}
	if d.q.Block == "" && d.q.Season == "" {
		return true
	}
	return slices.ContainsFunc(projections.PartsOf(f.Data()), func(p events.Part) bool {
		return (d.q.Block == "" || p.Block == d.q.Block) && (d.q.Season == "" || seasons(p.Block).Of(f.Kind, f.Time) == d.q.Season)
	})
}

// sprays gathers what the query picks, the oldest first. It also counts what was withdrawn and what was corrected among it.
func (d *builder) sprays() (out []elements.Spray, withdrawn, corrected int) {
	seasons := d.seasons()
	picked := func(f *projections.Fact) bool {
		return (d.q.Spray == "" || f.ID.String() == d.q.Spray) && d.picks(f, seasons)
	}
	for _, f := range d.b.Facts() {
		if _, ok := f.Data().(*events.SprayApplied); ok && !f.Stands() && picked(f) {
			withdrawn++
		}
	}
	for _, s := range elements.Sprays(d.b, d.named) {
		if !picked(s.Fact) {
			continue
		}
		if len(s.Fact.Corrections) > 0 {
			corrected++
		}
		out = append(out, s)
	}
	return out, withdrawn, corrected
}

// covers says what the query picks.
func (d *builder) covers(r *report.Report, n, withdrawn, corrected int) {
	add := func(key, name string, c report.Cell) {
		r.Covers = append(r.Covers, report.Field{Key: key, Name: name, Value: c})
	}
	if d.q.Season != "" {
		add("season", d.say.Say("sheet.season"), report.Text(string(d.q.Season)))
	}
	if !d.q.From.IsZero() {
		add("from", d.say.Say("sheet.from-day"), report.Day(d.q.From))
	}
	if !d.q.To.IsZero() {
		add("to", d.say.Say("sheet.to-day"), report.Day(d.q.To))
	}
	if d.q.Block != "" {
		add("block", d.say.Say("sheet.block"), report.Text(d.q.Block))
	}
	add("sprays", d.say.Say("sheet.sprays-n"), report.Count(n))
	if withdrawn > 0 {
		add("withdrawn", d.say.Say("sheet.withdrawn-n"), report.Count(withdrawn))
	}
	r.Foot.Corrected = corrected
}

// where says which ground a spray covered.
func (d *builder) where(s *elements.Spray) string {
	var out []string
	for _, p := range s.Places {
		out = append(out, d.place(p))
	}
	return strings.Join(out, "; ")
}

// place says a block with the parts of it.
func (d *builder) place(p elements.Place) string {
	name := p.Block
	if p.Name != "" {
		name = d.say.Say("sheet.block-named", "name", p.Name, "code", p.Block)
	}
	var parts []string
	for _, part := range p.Parts {
		if t := d.part(part); t != "" && !slices.Contains(parts, t) {
			parts = append(parts, t)
		}
	}
	if len(parts) == 0 {
		return name
	}
	return name + ": " + strings.Join(parts, "; ")
}

func (d *builder) part(p events.Part) string {
	var out []string
	if len(p.Rows) > 0 {
		out = append(out, d.say.Say("sheet.rows", "rows", strings.Join(p.Rows, ", ")))
	}
	if len(p.Trees) > 0 {
		out = append(out, d.say.Say("sheet.trees", "trees", strings.Join(p.Trees, ", ")))
	}
	if len(p.Except) > 0 {
		out = append(out, d.say.Say("sheet.except", "trees", strings.Join(p.Except, ", ")))
	}
	if p.Share != nil {
		out = append(out, d.say.Say("sheet.share", "share", quantity(p.Share)))
	}
	if p.Side != "" {
		out = append(out, d.say.Say("sheet.side-"+p.Side))
	}
	return strings.Join(out, ", ")
}

// person says who somebody is: name and tag, where the register has them.
func (d *builder) person(code string) string {
	if code == "" {
		return ""
	}
	w := d.people(code, "")
	switch {
	case w.Name != "" && w.Tag != "":
		return w.Name + " (" + w.Tag + ")"
	case w.Name != "":
		return w.Name
	case w.Tag != "":
		return d.say.Say("sheet.no-name", "tag", w.Tag)
	}
	return d.say.Say("sheet.no-name", "tag", code)
}

// certificate says the number that stands behind a commitment.
func (d *builder) certificate(p *events.Person) string {
	if p == nil || p.Commitment == "" {
		return ""
	}
	if n := d.people(p.Code, p.Commitment).Certificate; n != "" {
		return n
	}
	return d.say.Say("sheet.committed")
}

func party(p *events.Party) string {
	if p == nil {
		return ""
	}
	return strings.Join(slices.DeleteFunc([]string{cmp.Or(p.Name, p.Code), p.Address, p.Phone}, func(s string) bool { return s == "" }), ", ")
}

// crop says what grew where a spray was.
func crop(s *elements.Spray) string {
	out := strings.Join(s.Crops, ", ")
	if len(s.Cultivars) > 0 {
		out += " (" + strings.Join(s.Cultivars, ", ") + ")"
	}
	return out
}

// ingredients lists the active ingredients of an item, with what the label states of them.
func ingredients(i elements.Item) string {
	if i.Label == nil {
		return ""
	}
	var out []string
	for _, ai := range i.Label.ActiveIngredients {
		text := ai.Name
		if ai.Share != nil {
			text += " " + quantity(ai.Share)
		}
		out = append(out, text)
	}
	return strings.Join(out, ", ")
}

// groups lists the modes of action of an item.
func groups(i elements.Item) string {
	if i.Label == nil {
		return ""
	}
	var out []string
	for _, ai := range i.Label.ActiveIngredients {
		if ai.MoA != nil && ai.MoA.Group != "" {
			if g := strings.TrimSpace(ai.MoA.Scheme + " " + ai.MoA.Group); !slices.Contains(out, g) {
				out = append(out, g)
			}
		}
	}
	return strings.Join(out, ", ")
}

// moment is a time that may be known only to the day.
func moment(m events.Moment, zone *time.Location) report.Cell {
	switch {
	case m.At.IsZero():
		return report.Cell{}
	case m.Only:
		return report.Day(m.Day)
	}
	return report.Moment(m.At.In(zone))
}

func (d *builder) momentOf(text string) report.Cell {
	m, err := events.ParseMoment(text, d.zone)
	if err != nil {
		return report.Text(text)
	}
	return moment(m, d.zone)
}

// short writes an instant as a sheet has it.
func (d *builder) short(t time.Time) string { return t.In(d.zone).Format("2006-01-02 15:04") }

// spoken are units as people write them, by UCUM code.
var spoken = strings.NewReplacer("[acr_us]", "ac", "[lb_av]", "lb", "[oz_av]", "oz", "[gal_us]", "gal", "[foz_us]", "fl oz", "[mi_i]/h", "mph",
	"[degF]", "°F", "Cel", "°C", "[ft_i]", "ft", "[in_i]", "in", "[sft_i]", "sq ft", "har", "ha", "m2", "m²", "/", "/")

// quantity writes a quantity as people read it, in the unit in which it was recorded.
func quantity(q *events.Quantity) string {
	if q == nil {
		return ""
	}
	if q.Unit == "%" {
		return units.FormatNumber(q.Value) + " %"
	}
	return units.FormatNumber(q.Value) + " " + spoken.Replace(q.Unit)
}

// converted is a quantity in a unit, where it can be said in it.
func converted(q *events.Quantity, unit string) report.Cell {
	if q == nil {
		return report.Cell{}
	}
	v, err := units.Convert(q.Value, q.Unit, unit)
	if err != nil {
		return report.Cell{}
	}
	return report.Number(v, -1)
}

// missing lists what a spray lacks, each with its paragraph.
func (d *builder) missing(list []elements.Missing, sets ...elements.Set) (out []string) {
	sources := map[string]bool{}
	for _, set := range sets {
		for _, e := range elements.Of(set) {
			sources[e.ID] = true
		}
	}
	for _, m := range list {
		if text := m.Words(d.say); (len(sets) == 0 || sources[m.Element]) && !slices.Contains(out, text) {
			out = append(out, text)
		}
	}
	return out
}

// editions says which editions of the rules the elements were read in.
func (d *builder) editions(sets ...elements.Set) []string {
	var out []string
	for _, set := range sets {
		list := elements.Of(set)
		if len(list) == 0 {
			continue
		}
		e := list[0]
		paragraph := e.Source
		if i := strings.LastIndex(paragraph, "("); set == elements.Restricted || set == elements.Spot {
			paragraph = paragraph[:i]
		}
		out = append(out, d.say.Say("sheet.edition", "rule", paragraph, "edition", e.Edition, "how", d.say.Say("sheet.mark-"+strings.ReplaceAll(string(e.Mark), " ", "-")), "read", e.Read))
	}
	return out
}

// term finds a legal term.
func term(id string) terms.Term {
	for _, t := range terms.Table() {
		if t.ID == id {
			return t
		}
	}
	return terms.Term{}
}

// field is a field of a section.
func field(key, name string, value report.Cell) report.Field {
	return report.Field{Key: key, Name: name, Value: value}
}
