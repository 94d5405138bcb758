package shed

import (
	"cmp"
	"slices"
	"strings"
	"time"

	"latewood/events"
	"latewood/events/civil"
	"latewood/events/words"
	"latewood/projections"
	"latewood/projections/trails"
	"latewood/services/report"
)

// A Query picks what a sheet holds. Empty fields pick all. Lots take their inputs along, back to the picks.
type Query struct {
	Lots      []string
	From, To  civil.Date // days of the event, both included
	Commodity string     // cultivar, variety or product, or a part of its name
	At        time.Time  // the moment that the answer is for
}

// Tables by the events of trails.Elements.
var tables = []struct {
	event   string
	columns []string // a # behind a name: numbers
}{
	{"harvesting", []string{"record", "commodity", "quantity#", "unit", "growing_area", "harvest_date", "next_recipient", "next_phone", "next_address", "farm", "farm_phone",
		"farm_latitude#", "farm_longitude#", "document_type", "document_number"}},
	{"cooling", []string{"record", "pick", "commodity", "quantity#", "unit", "cooling_date", "cooled_at", "cooled_phone", "cooled_address", "next_recipient", "next_phone", "next_address",
		"farm", "farm_phone", "document_type", "document_number"}},
	{"packing", []string{"lot_code", "commodity", "received_date", "quantity_received#", "unit_received", "farm", "farm_phone", "growing_area", "harvester", "harvester_phone", "harvest_date",
		"product", "quantity_packed#", "unit_packed", "packed_kind", "lot_code_source", "source_phone", "source_address", "packing_date", "document_type", "document_number", "record", "input"}},
	{"shipping", []string{"lot_code", "quantity#", "unit", "product", "next_recipient", "next_phone", "next_address", "shipped_from", "from_phone", "from_address", "ship_date",
		"lot_code_source", "source_phone", "source_address", "document_type", "document_number", "record"}},
	{"receiving", []string{"lot_code", "quantity#", "unit", "product", "previous_source", "previous_phone", "previous_address", "received_at", "received_phone", "received_address", "received_date",
		"lot_code_source", "source_phone", "source_address", "document_type", "document_number", "record"}},
	{"transformation", []string{"lot_code", "input_lot_code", "input_product", "quantity_used#", "unit_used", "product", "quantity_packed#", "unit_packed", "lot_code_source", "source_phone",
		"source_address", "transformation_date", "document_type", "document_number", "record"}},
}

// Sheet is the sortable sheet of the traceability rule.
func Sheet(b *projections.Book, q Query) *report.Report {
	s := &sheet{b: b, look: trails.NewLook(b), q: q, zone: b.Zone(), farm: b.Opened(), rows: map[string]*report.Table{}}
	for _, t := range tables {
		s.rows[t.event] = &report.Table{Key: t.event, Name: words.Say("trace.event-" + t.event), Columns: columns(t.columns), Empty: words.Say("shed.empty")}
	}
	s.wanted()
	for _, f := range b.Facts() {
		if f.Stands() {
			s.add(f)
		}
	}
	r := &report.Report{Kind: "trace-sheet", Title: words.Say("shed.sheet-title"), Wide: true, Cautions: []string{words.Say("shed.caution"), words.Say("trace.caution")}}
	if s.farm != nil {
		r.Of = s.farm.Name
	}
	r.Covers = s.covers()
	missing := report.Table{Key: "missing", Name: words.Say("shed.missing"), Columns: columns([]string{"event", "element", "part", "rule", "record"}), Empty: words.Say("shed.nothing-missing")}
	for _, m := range s.missing {
		missing.Add(report.Text(words.Say("trace.event-"+m.Event)), report.Text(words.Say("trace.element-"+m.Element)), report.Text(m.Part), report.Text(m.Rule), report.Text(m.Record))
	}
	for _, t := range tables {
		r.Data = append(r.Data, *s.rows[t.event])
		r.Sections = append(r.Sections, report.Section{Title: s.rows[t.event].Name, Tables: onPaper(*s.rows[t.event])})
	}
	r.Data = append(r.Data, missing, glossary(), elements())
	r.Sections = append(r.Sections, report.Section{Title: missing.Name, Tables: []report.Table{missing}},
		report.Section{Title: words.Say("shed.glossary"), Tables: []report.Table{glossary()}}, report.Section{Title: words.Say("shed.map"), Tables: []report.Table{elements()}})
	r.Foot.Method = []string{words.Say("shed.method", "edition", trails.Edition)}
	r.Foot.Made = civil.DateOf(q.At, s.zone)
	r.Foot.Corrected = s.corrected
	return r
}

// onPaper cuts a table for pages: ids are left out, and what has more columns than a page holds goes on in a second table that
// begins with the same first column.
func onPaper(t report.Table) []report.Table {
	const most = 14
	if len(t.Rows) == 0 {
		return []report.Table{t}
	}
	var keep []int
	for i, c := range t.Columns {
		if c.Key != "record" && c.Key != "pick" && c.Key != "input" {
			keep = append(keep, i)
		}
	}
	first := keep[0]
	var out []report.Table
	for len(keep) > 0 {
		n := min(len(keep), most)
		part := report.Table{Key: t.Key, Name: t.Name, Empty: t.Empty}
		for _, i := range keep[:n] {
			part.Columns = append(part.Columns, t.Columns[i])
		}
		for _, row := range t.Rows {
			var cells []report.Cell
			for _, i := range keep[:n] {
				cells = append(cells, row[i])
			}
			part.Rows = append(part.Rows, cells)
		}
		out = append(out, part)
		if keep = keep[n:]; len(keep) > 0 {
			keep = append([]int{first}, keep...)
		}
	}
	return out
}

func columns(keys []string) (out []report.Column) {
	for _, key := range keys {
		key, numbers := strings.CutSuffix(key, "#")
		out = append(out, report.Column{Key: key, Heading: strings.ReplaceAll(key, "_", " "), Numbers: numbers})
	}
	return out
}

type sheet struct {
	b         *projections.Book
	look      *trails.Look
	q         Query
	zone      *time.Location
	farm      *events.FarmOpened
	rows      map[string]*report.Table
	missing   []trails.Missing
	corrected int
	picks     map[string]bool // nil: all
	lots      map[string]bool
}

// wanted walks back from the lots of the query to what went into them.
func (s *sheet) wanted() {
	if len(s.q.Lots) == 0 {
		return
	}
	s.picks, s.lots = map[string]bool{}, map[string]bool{}
	for _, lot := range s.q.Lots {
		s.lots[lot] = true
		doc, err := trails.Trace(s.b, lot)
		if err != nil {
			continue // a lot that nothing is known of has no rows
		}
		for _, p := range doc.Picks {
			s.picks[p.ID] = true
		}
		for _, u := range doc.Lots {
			s.lots[u.Lot] = true
		}
	}
}

func (s *sheet) covers() []report.Field {
	out := []report.Field{{Key: "lots", Name: words.Say("shed.lots"), Value: report.Text(cmp.Or(strings.Join(s.q.Lots, ", "), words.Say("shed.all")))}}
	if !s.q.From.IsZero() {
		out = append(out, report.Field{Key: "from", Name: words.Say("shed.from"), Value: report.Day(s.q.From)})
	}
	if !s.q.To.IsZero() {
		out = append(out, report.Field{Key: "to", Name: words.Say("shed.to"), Value: report.Day(s.q.To)})
	}
	if s.q.Commodity != "" {
		out = append(out, report.Field{Key: "commodity", Name: words.Say("shed.commodity"), Value: report.Text(s.q.Commodity)})
	}
	return out
}

// takes reports whether the query wants what happened on a day to a commodity or product.
func (s *sheet) takes(day string, names ...string) bool {
	d, err := civil.ParseDate(day)
	if err == nil && (!s.q.From.IsZero() && d.Before(s.q.From) || !s.q.To.IsZero() && d.After(s.q.To)) {
		return false
	}
	return s.q.Commodity == "" || slices.ContainsFunc(names, func(name string) bool {
		return strings.Contains(strings.ToLower(name), strings.ToLower(s.q.Commodity))
	})
}

// add takes in one record that is a critical tracking event.
func (s *sheet) add(f *projections.Fact) {
	before := s.count()
	switch d := f.Data().(type) {
	case *events.FruitPicked:
		s.harvesting(f, d)
	case *events.PickCooled:
		s.cooling(f, d)
	case *events.LotPacked:
		s.packing(f, d)
	case *events.LotShipped:
		if s.lot(d.Lot) && s.takes(d.Date, d.ProductDescription) {
			s.put("shipping", text(d.Lot), number(d.Amount), unit(d.Amount), text(d.ProductDescription), party(d.Recipient), party(d.From), day(d.Date), party(d.LotCodeSource), paper(d.ReferenceDocument), id(f))
		}
	case *events.LotReceived:
		if s.lot(d.Lot) && s.takes(d.Date, d.ProductDescription) {
			s.put("receiving", text(d.Lot), number(d.Amount), unit(d.Amount), text(d.ProductDescription), party(d.PreviousSource), party(d.To), day(d.Date), party(d.LotCodeSource), paper(d.ReferenceDocument), id(f))
		}
	case *events.LotRepacked:
		if s.lot(d.Lot) && s.takes(d.Date, d.Product) {
			for _, in := range d.Inputs {
				s.put("transformation", text(d.Lot), text(in.Lot), text(s.look.Product(in.Lot)), number(in.Amount), unit(in.Amount), text(d.Product), packed(d.Packed, false), party(d.Location), day(d.Date),
					paper(d.ReferenceDocument), id(f))
			}
		}
	default:
		return
	}
	if s.count() > before {
		s.missing = append(s.missing, s.look.Missing(f)...)
		if len(f.Corrections) > 0 {
			s.corrected++
		}
	}
}

func (s *sheet) count() (n int) {
	for _, t := range s.rows {
		n += len(t.Rows)
	}
	return n
}

func (s *sheet) lot(code string) bool     { return s.lots == nil || s.lots[code] }
func (s *sheet) picked(id string) bool    { return s.picks == nil || s.picks[id] }
func (s *sheet) local(t time.Time) string { return civil.DateOf(t, s.zone).String() }

// put adds a row of groups of cells.
func (s *sheet) put(event string, groups ...[]report.Cell) {
	s.rows[event].Add(slices.Concat(groups...)...)
}

func text(t string) []report.Cell { return []report.Cell{report.Text(t)} }
func day(t string) []report.Cell  { return []report.Cell{report.DayText(t)} }
func id(f *projections.Fact) []report.Cell {
	return []report.Cell{report.Text(f.ID.String())}
}

// number and unit are an amount as it was recorded: the rule asks for the quantity and the unit that the farm used.
func number(q *events.Quantity) []report.Cell {
	if q == nil {
		return []report.Cell{{}}
	}
	return []report.Cell{report.Number(q.Value, -1)}
}

func unit(q *events.Quantity) []report.Cell {
	if q == nil {
		return []report.Cell{{}}
	}
	return []report.Cell{report.Text(q.Unit)}
}

// party is a location description: name, phone, address.
func party(p *events.Party) []report.Cell {
	if p == nil {
		return []report.Cell{{}, {}, {}}
	}
	return []report.Cell{report.Text(cmp.Or(p.Name, p.Code)), report.Text(p.Phone), report.Text(p.Address)}
}

func paper(r *events.Reference) []report.Cell {
	if r == nil {
		return []report.Cell{{}, {}}
	}
	return []report.Cell{report.Text(r.Type), report.Text(r.Number)}
}

// packed is the mass that came out of packing, with its unit, and with what they are where kind is wanted.
func packed(p *events.Packed, kind bool) []report.Cell {
	if p == nil || p.NetMass == nil {
		if kind {
			return make([]report.Cell, 3)
		}
		return make([]report.Cell, 2)
	}
	out := []report.Cell{report.Number(p.NetMass.Value*float64(p.Count), -1), report.Text(p.NetMass.Unit)}
	if kind {
		out = append(out, report.Text(p.Kind))
	}
	return out
}

// ours is the farm's location description; where places stand for it, its coordinates.
func (s *sheet) ours(places bool) []report.Cell {
	out := make([]report.Cell, 2, 4)
	if places {
		out = make([]report.Cell, 4)
	}
	if s.farm == nil {
		return out
	}
	out[0] = report.Text(s.farm.Name)
	if s.farm.Contact != nil {
		out[1] = report.Text(s.farm.Contact.Phone)
	}
	if places {
		out[2], out[3] = report.Number(s.farm.Latitude, -1), report.Number(s.farm.Longitude, -1)
	}
	return out
}

// grown is what a pick was of, and the names of its fields on that day.
func (s *sheet) grown(f *projections.Fact) (commodity, area string) {
	d, ok := f.Data().(*events.FruitPicked)
	if !ok {
		return "", ""
	}
	var cultivars, areas []string
	for _, p := range d.Where {
		v := s.look.Block(p.Block)
		for _, tree := range v.Ground().Resolve([]events.Part{p}, f.Time) {
			if tree.Cultivar != "" && !slices.Contains(cultivars, tree.Cultivar) {
				cultivars = append(cultivars, tree.Cultivar)
			}
		}
		if name := cmp.Or(trails.NameOn(v, f.Time), p.Block); !slices.Contains(areas, name) {
			areas = append(areas, name)
		}
	}
	slices.Sort(cultivars)
	slices.Sort(areas)
	return strings.Join(cultivars, ", "), strings.Join(areas, ", ")
}

// weight is a pick's mass as recorded, else that of its containers in kg.
func (s *sheet) weight(f *projections.Fact) []report.Cell {
	d, ok := f.Data().(*events.FruitPicked)
	if !ok {
		return make([]report.Cell, 2)
	}
	if d.Mass != nil {
		return slices.Concat(number(d.Mass), unit(d.Mass))
	}
	if mg, ok := s.look.Farm().MassOf(nil, d.Containers, civil.DateOf(f.Time, s.zone)); ok {
		return []report.Cell{report.Number(float64(mg)/1e6, -1), report.Text("kg")}
	}
	n := 0
	kind := ""
	for _, c := range d.Containers {
		if c.Count != nil {
			n += *c.Count
		} else {
			n++
		}
		kind = c.Kind
	}
	return []report.Cell{report.Count(n), report.Text(kind)}
}

func (s *sheet) harvesting(f *projections.Fact, d *events.FruitPicked) {
	commodity, area := s.grown(f)
	if !s.picked(f.ID.String()) || !s.takes(s.local(f.Time), commodity) {
		return
	}
	s.put("harvesting", id(f), text(commodity), s.weight(f), text(area), day(s.local(f.Time)), party(d.NextRecipient), s.ours(true), paper(d.ReferenceDocument))
}

func (s *sheet) cooling(f *projections.Fact, d *events.PickCooled) {
	v := s.look.Farm()
	for _, code := range d.Picks {
		pick := v.Fact(code)
		if pick == nil || !s.picked(code) {
			continue
		}
		commodity, _ := s.grown(pick)
		if s.takes(d.Date, commodity) {
			s.put("cooling", id(f), text(code), text(commodity), s.weight(pick), day(d.Date), party(d.Location), party(d.NextRecipient), s.ours(false), paper(d.ReferenceDocument))
		}
	}
}

// packing has a row for each pick or received load that a lot was packed from: two fields in one lot are two rows.
func (s *sheet) packing(f *projections.Fact, d *events.LotPacked) {
	if !s.lot(d.Lot) {
		return
	}
	v := s.look.Farm()
	harvester := party(d.Harvester)[:2]
	row := func(commodity string, amount []report.Cell, farm []report.Cell, area, picked, input string) {
		if s.takes(d.Date, commodity, d.Product) {
			s.put("packing", text(d.Lot), text(commodity), day(d.ReceivedDate), amount, farm, text(area), harvester, day(picked), text(d.Product), packed(d.Packed, true), party(d.Location), day(d.Date),
				paper(d.ReferenceDocument), id(f), text(input))
		}
	}
	for _, m := range s.look.Inputs(f) {
		amount := []report.Cell{report.Number(float64(m.MG)/1e6, -1), report.Text("kg")}
		what, code, _ := strings.Cut(m.From, "/")
		switch {
		case what == trails.Pick:
			pick := v.Fact(code)
			if pick == nil {
				row("", amount, s.ours(false), "", "", code)
				continue
			}
			commodity, area := s.grown(pick)
			row(commodity, amount, s.ours(false), area, s.local(pick.Time), code)
		default:
			s.received(d, code, amount, row)
		}
	}
}

func (s *sheet) received(d *events.LotPacked, code string, amount []report.Cell, row func(string, []report.Cell, []report.Cell, string, string, string)) {
	v := s.look.Farm()
	for _, in := range d.Inputs {
		f := v.Fact(in.Received)
		if in.Received == "" || f == nil {
			continue
		}
		if load, ok := f.Data().(*events.FruitReceived); ok && load.Delivery == code {
			row(strings.TrimSpace(load.Commodity+" "+load.Variety), amount, party(load.Source)[:2], load.GrowingArea, strings.Join(load.HarvestDates, ", "), code)
			return
		}
	}
	row("", amount, make([]report.Cell, 2), "", "", code)
}

// glossary says what the sheet's own words mean.
func glossary() report.Table {
	t := report.Table{Key: "glossary", Name: words.Say("shed.glossary"), Columns: columns([]string{"term", "meaning"})}
	for _, key := range []string{"record", "pick", "input", "lot_code", "lot_code_source", "growing_area", "quantity", "unit", "empty"} {
		t.Add(report.Text(strings.ReplaceAll(key, "_", " ")), report.Text(words.Say("shed.term-"+key)))
	}
	return t
}

// elements maps the rule's elements to our fields.
func elements() report.Table {
	t := report.Table{Key: "map", Name: words.Say("shed.map"), Columns: columns([]string{"event", "rule", "element", "our_field"})}
	for _, e := range trails.Elements() {
		t.Add(report.Text(words.Say("trace.event-"+e.Event)), report.Text(e.Rule), report.Text(words.Say("trace.element-"+e.Name)), report.Text(e.Field))
	}
	return t
}
