package trails

import (
	"slices"
	"strings"

	"latewood/events"
	"latewood/projections"
)

// Edition is the edition of 21 CFR part 1, subpart S that Elements was read from.
const Edition = "21 CFR part 1 subpart S, text as of 2026-06-11"

// An Element is one key data element of a critical tracking event.
type Element struct {
	Event string `json:"event"` // harvesting, cooling, packing, packing-uncovered, shipping, receiving, transformation
	Rule  string `json:"rule"`  // the paragraph
	Name  string `json:"name"`  // its sentence is trace.element-NAME
	Field string `json:"field"` // where it stands in our records
}

// Elements lists them, by event, in the rule's order. Published: 21 CFR 1.1325 to 1.1350, read as of 2026-06-11. The container
// names of aquaculture are left out. packing-uncovered is 1.1330(c): fruit from a person whom the rule does not cover.
func Elements() []Element {
	var out []Element
	for _, e := range []struct {
		event, section string
		rows           [][3]string
	}{
		{"harvesting", "1.1325(a)(1)", [][3]string{
			{"(i)", "next-recipient", "nextRecipient"}, {"(ii)", "commodity", "tree.planted/cultivar"}, {"(iii)", "quantity", "mass,containers"},
			{"(iv)", "farm", "farm.opened/contact"}, {"(v)", "growing-area", "block.established/name"}, {"(vii)", "harvest-date", "time"},
			{"(viii)", "document", "referenceDocument"},
		}},
		{"cooling", "1.1325(b)(1)", [][3]string{
			{"(i)", "next-recipient", "nextRecipient"}, {"(ii)", "commodity", "tree.planted/cultivar"}, {"(iii)", "quantity", "fruit.picked/mass"},
			{"(iv)", "cooling-place", "location"}, {"(v)", "cooling-date", "date"}, {"(vi)", "farm", "farm.opened/contact"}, {"(vii)", "document", "referenceDocument"},
		}},
		{"packing", "1.1330(a)", [][3]string{
			{"(1)", "commodity", "tree.planted/cultivar,fruit.received/variety"}, {"(2)", "received-date", "receivedDate"}, {"(3)", "quantity-received", "inputs/mass"},
			{"(4)", "farm", "farm.opened/contact,fruit.received/source"}, {"(5)", "growing-area", "block.established/name,fruit.received/growingArea"}, {"(7)", "harvester", "harvester"},
			{"(8)", "harvest-date", "fruit.picked/time,fruit.received/harvestDates"}, {"(11)", "lot-code", "lot"}, {"(12)", "product", "product"}, {"(13)", "quantity-packed", "packed"},
			{"(14)", "lot-code-source", "location"}, {"(15)", "packing-date", "date"}, {"(16)", "document", "referenceDocument"},
		}},
		{"packing-uncovered", "1.1330(c)", [][3]string{
			{"(1)", "commodity", "fruit.received/commodity,fruit.received/variety"}, {"(2)", "received-date", "receivedDate"}, {"(3)", "quantity-received", "inputs/mass"},
			{"(4)", "source", "fruit.received/source"}, {"(5)", "lot-code", "lot"}, {"(6)", "product", "product"}, {"(7)", "quantity-packed", "packed"},
			{"(8)", "lot-code-source", "location"}, {"(9)", "packing-date", "date"}, {"(10)", "document", "referenceDocument"},
		}},
		{"shipping", "1.1340(a)", [][3]string{
			{"(1)", "lot-code", "lot"}, {"(2)", "quantity", "amount"}, {"(3)", "product", "productDescription"}, {"(4)", "next-recipient", "recipient"},
			{"(5)", "shipped-from", "from"}, {"(6)", "ship-date", "date"}, {"(7)", "lot-code-source", "lotCodeSource"}, {"(8)", "document", "referenceDocument"},
		}},
		{"receiving", "1.1345(a)", [][3]string{
			{"(1)", "lot-code", "lot"}, {"(2)", "quantity", "amount"}, {"(3)", "product", "productDescription"}, {"(4)", "previous-source", "previousSource"},
			{"(5)", "received-at", "to"}, {"(6)", "received-date", "date"}, {"(7)", "lot-code-source", "lotCodeSource"}, {"(8)", "document", "referenceDocument"},
		}},
		{"transformation", "1.1350(a)", [][3]string{
			{"(1)(i)", "input-lot-code", "inputs/lot"}, {"(1)(ii)", "input-product", "lot.packed/product"}, {"(1)(iii)", "input-quantity", "inputs/amount"},
			{"(2)(i)", "lot-code", "lot"}, {"(2)(ii)", "lot-code-source", "location"}, {"(2)(iii)", "transformation-date", "date"}, {"(2)(iv)", "product", "product"},
			{"(2)(v)", "quantity-packed", "packed"}, {"(2)(vi)", "document", "referenceDocument"},
		}},
	} {
		for _, r := range e.rows {
			out = append(out, Element{Event: e.event, Rule: "21 CFR " + e.section + r[0], Name: r[1], Field: r[2]})
		}
	}
	return out
}

// A Missing is an element that does not stand in a record, or stands there only in part.
type Missing struct {
	Record  string `json:"record"`
	Event   string `json:"event"`
	Element string `json:"element"`
	Rule    string `json:"rule"`
	Part    string `json:"part,omitempty"` // what of it is not there: name, phone, address
}

// Missing lists what subpart S wants in a record and does not find. A record that is no critical tracking event misses nothing.
func (l *Look) Missing(f *projections.Fact) []Missing {
	r := &reading{Look: l, f: f}
	switch d := f.Data().(type) {
	case *events.FruitPicked:
		r.event = "harvesting"
		r.party("next-recipient", d.NextRecipient)
		r.want("commodity", r.commodity(f))
		r.want("quantity", d.Mass != nil || len(d.Containers) > 0)
		r.place()
		r.want("growing-area", r.named(d.Where))
		r.paper(d.ReferenceDocument)
	case *events.PickCooled:
		r.event = "cooling"
		r.party("next-recipient", d.NextRecipient)
		r.want("commodity", r.every(d.Picks, r.commodity))
		r.want("quantity", r.every(d.Picks, weighed))
		r.party("cooling-place", d.Location)
		r.place()
		r.paper(d.ReferenceDocument)
	case *events.LotPacked:
		r.packing(d)
	case *events.LotShipped:
		r.event = "shipping"
		r.want("product", d.ProductDescription != "")
		r.party("next-recipient", d.Recipient)
		r.party("shipped-from", d.From)
		r.party("lot-code-source", d.LotCodeSource)
		r.paper(d.ReferenceDocument)
	case *events.LotReceived:
		r.event = "receiving"
		r.want("product", d.ProductDescription != "")
		r.party("previous-source", d.PreviousSource)
		r.party("received-at", d.To)
		r.party("lot-code-source", d.LotCodeSource)
		r.paper(d.ReferenceDocument)
	case *events.LotRepacked:
		r.event = "transformation"
		for _, in := range d.Inputs {
			if !r.known(in.Lot) {
				r.want("input-product", false)
				break
			}
		}
		r.party("lot-code-source", d.Location)
		r.paper(d.ReferenceDocument)
	}
	return r.missing
}

// reading goes through one record. What the door refuses to take in without (a lot code, its amount, its date) cannot be
// missing here.
type reading struct {
	*Look
	f       *projections.Fact
	event   string
	missing []Missing
}

func (r *reading) rule(name string) string {
	for _, e := range Elements() {
		if e.Event == r.event && e.Name == name {
			return e.Rule
		}
	}
	return "" // TestElements asks for every one
}

func (r *reading) want(name string, there bool) { r.part(name, there, "") }

func (r *reading) part(name string, there bool, part string) {
	if !there {
		r.missing = append(r.missing, Missing{Record: r.f.ID.String(), Event: r.event, Element: name, Rule: r.rule(name), Part: part})
	}
}

// party wants a location description: name, phone and address.
func (r *reading) party(name string, p *events.Party) {
	if p == nil {
		r.want(name, false)
		return
	}
	var not []string
	for _, part := range []struct{ name, text string }{{"name", p.Name}, {"phone", p.Phone}, {"address", p.Address}} {
		if part.text == "" {
			not = append(not, part.name)
		}
	}
	r.part(name, len(not) == 0, strings.Join(not, ", "))
}

// farm wants the farm's own location description; its coordinates stand for its address.
func (r *reading) place() {
	opened := r.b.Opened()
	if opened == nil || opened.Contact == nil {
		r.part("farm", false, "phone")
		return
	}
	r.part("farm", opened.Contact.Phone != "", "phone")
}

func (r *reading) paper(d *events.Reference) {
	switch {
	case d == nil:
		r.want("document", false)
	case d.Type == "":
		r.part("document", false, "type")
	case d.Number == "":
		r.part("document", false, "number")
	}
}

// commodity is known where trees are listed in the blocks of a pick.
func (r *reading) commodity(f *projections.Fact) bool {
	d, ok := f.Data().(*events.FruitPicked)
	if !ok {
		return false
	}
	for _, p := range d.Where {
		v := r.Block(p.Block)
		if len(v.Ground().At(f.Time)) == 0 {
			return false
		}
	}
	return true
}

// named reports whether the farm has described every block of a place under a name.
func (r *reading) named(where events.Where) bool {
	for _, p := range where {
		v := r.Block(p.Block)
		if NameOn(v, r.f.Time) == "" {
			return false
		}
	}
	return true
}

func weighed(f *projections.Fact) bool {
	d, ok := f.Data().(*events.FruitPicked)
	return ok && (d.Mass != nil || len(d.Containers) > 0)
}

func (r *reading) every(picks []string, is func(*projections.Fact) bool) bool {
	for _, id := range picks {
		f := r.farm.Fact(id)
		if f == nil || !is(f) {
			return false
		}
	}
	return true
}

func (r *reading) packing(d *events.LotPacked) {
	r.event = "packing"
	var loads []*events.FruitReceived
	own := false
	for _, in := range d.Inputs {
		f := r.farm.Fact(in.Received)
		if in.Received == "" || f == nil {
			own = true
			continue
		}
		if load, ok := f.Data().(*events.FruitReceived); ok {
			loads = append(loads, load)
		}
	}
	uncovered := !own && len(loads) > 0 && !slices.ContainsFunc(loads, func(l *events.FruitReceived) bool { return l.SourceCovered != "no" })
	if uncovered {
		r.event = "packing-uncovered"
	}
	r.want("received-date", d.ReceivedDate != "")
	if own {
		r.place()
		picks := r.picksOf(d.Lot)
		r.want("commodity", r.every(picks, r.commodity))
		r.want("growing-area", r.every(picks, func(f *projections.Fact) bool {
			pick, ok := f.Data().(*events.FruitPicked)
			return ok && r.named(pick.Where)
		}))
		r.want("harvest-date", len(picks) > 0)
	}
	for _, load := range loads {
		if uncovered {
			r.party("source", load.Source)
			continue
		}
		r.party("farm", load.Source)
		r.want("growing-area", load.GrowingArea != "")
		r.want("harvest-date", len(load.HarvestDates) > 0)
	}
	if !uncovered {
		switch {
		case d.Harvester == nil:
			r.want("harvester", false)
		case d.Harvester.Name == "":
			r.part("harvester", false, "name")
		case d.Harvester.Phone == "":
			r.part("harvester", false, "phone")
		}
	}
	r.party("lot-code-source", d.Location)
	r.paper(d.ReferenceDocument)
}

// picksOf lists the picks that a lot was packed from, those of bins among them.
func (r *reading) picksOf(lot string) (ids []string) {
	u := r.lot(lot)
	if u == nil {
		return nil
	}
	for _, m := range u.Moves {
		if id, ok := strings.CutPrefix(m.From, Pick+"/"); ok && m.To == u.Key {
			ids = append(ids, id)
		}
	}
	return ids
}

// missing goes through every record of the answer that is a critical tracking event, each once.
func (t *tracer) missing() {
	slices.SortFunc(t.facts, func(a, b *projections.Fact) int { return strings.Compare(a.ID.String(), b.ID.String()) })
	t.facts = slices.Compact(t.facts)
	for _, f := range t.facts {
		t.doc.Missing = append(t.doc.Missing, t.look.Missing(f)...)
	}
	for _, s := range t.doc.Stood {
		if f := t.fact(s.Record); f != nil && s.Kind == "pick.cooled" {
			t.doc.Missing = append(t.doc.Missing, t.look.Missing(f)...)
		}
	}
}
