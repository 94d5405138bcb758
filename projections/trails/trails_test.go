package trails_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"latewood/events"
	"latewood/projections"
	"latewood/projections/foldtest"
	"latewood/projections/trails"
)

func q(value float64, unit string) *events.Quantity {
	return &events.Quantity{Value: value, Unit: unit}
}

// place is a location description with all of its parts; every name here is invented.
func place(name string) *events.Party {
	return &events.Party{Name: name + " (invented)", Phone: "555 0100", Address: "1 Invented Road"}
}

var paper = &events.Reference{Type: "field tag", Number: "7"}

// begin is an invented farm with a block of listed trees, and a contact.
func begin(t *testing.T) *foldtest.Farm {
	t.Helper()
	f := foldtest.NewFarm(t, "Pacific/Honolulu")
	f.Add("2010-01-01", &events.BlockEstablished{Block: "north", Name: "North block", Area: *q(0.5, "har")})
	for i := range 3 {
		f.Add("", &events.TreePlanted{Tree: fmt.Sprintf("north-01-%02d", i+1), Block: "north", Row: "1", Position: fmt.Sprint(i + 1), Cultivar: "Kaimana", Planted: "2012-03-01"})
	}
	return f
}

func pick(kg float64, trees ...string) *events.FruitPicked {
	return &events.FruitPicked{Where: events.Where{{Block: "north", Trees: trees}}, Mass: q(kg, "kg"), NextRecipient: place("Shed"), ReferenceDocument: paper}
}

func fields(day string, cartons int, each float64) events.LotFields {
	return events.LotFields{Product: "lychee, 2 kg", Packed: &events.Packed{Count: cartons, Kind: "carton", NetMass: q(each, "kg")}, Location: place("Shed"),
		Date: day, ReceivedDate: day, Harvester: place("Farm"), ReferenceDocument: paper}
}

func trace(t *testing.T, b *projections.Book, of string) trails.Doc {
	t.Helper()
	doc, err := trails.Trace(b, of)
	if err != nil {
		t.Fatal(err)
	}
	return doc
}

func percent(m trails.Mass) float64 {
	if m.Percent == nil {
		return -1
	}
	return *m.Percent
}

// One lot, both ways: from a tree, a pick, a spray, the lot, its shipment and the day.
func TestTrace(t *testing.T) {
	t.Parallel()
	f := begin(t)
	seven, four, listed := 7.0, 4.0, true
	label := f.Add("2015-01-01", &events.LabelFiled{Product: "Mitefall (invented)", Material: "pesticide", ReadBy: "test", Registration: "INVENTED-1", Crop: "lychee",
		CropListed: &listed, ActiveIngredients: []events.Ingredient{{Name: "invented sulphur"}},
		Withholding: events.OneOrMany[events.Withholding]{{Kind: "numeric", Value: &seven, Unit: "d"}}, Reentry: events.OneOrMany[events.Reentry]{{Hours: &four}}})
	spray := f.Add("", &events.SprayApplied{Where: events.OneOrMany[events.SprayedPart]{{Part: events.Part{Block: "north"}}}, Started: "2026-06-01T06:00:00-10:00",
		Ended: "2026-06-01T08:00:00-10:00", Target: "mites", Mix: []events.MixItem{{Label: label.ID.String()}}, Applicator: &events.Person{Code: "w_00000000000000000000000000000001"}})
	p := f.Add("2026-06-04T09:00:00-10:00", pick(100, "north-01-01", "north-01-02"))
	f.Add("2026-06-04T10:00:00-10:00", pick(50, "north-01-03"))
	lot := &events.LotPacked{Lot: "L1", Inputs: []events.PackInput{{Pick: p.ID.String(), Mass: q(100, "kg")}}, LotFields: fields("2026-06-04", 45, 2)}
	lot.Culls = events.OneOrMany[events.Cull]{{Mass: q(9, "kg"), Reason: "split"}}
	lot.Samples = q(0.5, "kg")
	f.Add("", lot)
	f.Add("2026-06-04T15:00:00-10:00", &events.LotTreated{Lot: "L1", Treatment: "cold", Facility: place("Shed")})
	shipped := f.Add("", &events.LotShipped{Lot: "L1", Amount: q(60, "kg"), Recipient: place("Buyer"), LotTravels: events.LotTravels{Date: "2026-06-05", From: place("Shed"), ProductDescription: "lychee", LotCodeSource: place("Shed"), ReferenceDocument: paper}})
	f.Add("", &events.LotReturned{LotFate: events.LotFate{Lot: "L1", Amount: q(10, "kg"), From: place("Buyer"), Reason: "wet", Date: "2026-06-06"}})
	f.Add("2026-06-07T08:00:00-10:00", &events.LotWrittenOff{Lot: "L1", Amount: q(10, "kg"), Reason: "mould"})
	f.Add("2026-06-08T08:00:00-10:00", &events.StockCounted{Location: "cold room", Items: []events.StockItem{{Lot: "L1", Amount: q(28, "kg")}}})
	b := f.Book()

	doc := trace(t, b, "L1")
	if len(doc.Picks) != 1 || doc.Picks[0].ID != p.ID.String() || !slices.Equal(doc.Trees, []string{"north-01-01", "north-01-02"}) || doc.Blocks[0].Name != "North block" {
		t.Errorf("back from the lot: %+v, %v, %+v", doc.Picks, doc.Trees, doc.Blocks)
	}
	if len(doc.Sprays) != 1 || doc.Sprays[0].DaysBefore == nil || *doc.Sprays[0].DaysBefore != 3 || doc.Sprays[0].Hold != "waiting" {
		t.Errorf("the spray before it: %+v", doc.Sprays)
	}
	if len(doc.Shipments) != 1 || doc.Shipments[0].Party != "Buyer (invented)" || len(doc.Back) != 1 || *doc.Back[0].Kg != 10 || len(doc.Stood) != 1 {
		t.Errorf("on from the lot: %+v, %+v, %+v", doc.Shipments, doc.Back, doc.Stood)
	}
	// 100 in; 9 culled, half a kilogram sampled, 60 out less 10 back, 10 written off, 28 counted: two and a half are nowhere.
	if m := doc.Mass; m.In != 100 || m.Out != 50 || m.OnHand != 28 || m.OnHandFrom != "counted" || m.Unaccounted != 2.5 || percent(m) != 97.5 {
		t.Errorf("the balance: %+v", m)
	}
	if !slices.ContainsFunc(doc.Missing, func(m trails.Missing) bool { return m.Element == "farm" && m.Part == "phone" }) {
		t.Errorf("the farm has no phone, and nobody says so: %+v", doc.Missing)
	}
	for _, m := range doc.Missing {
		if m.Element != "farm" {
			t.Errorf("missing: %+v", m)
		}
	}
	for _, of := range []string{p.ID.String(), shipped.ID.String(), spray.ID.String(), "north-01-01", "north/2026-06-04"} {
		doc := trace(t, b, of)
		if !slices.ContainsFunc(doc.Shipments, func(o trails.OutLine) bool { return o.Party == "Buyer (invented)" }) {
			t.Errorf("from %s (%s) nobody finds the buyer", of, doc.What)
		}
	}
	if doc := trace(t, b, "north/2026-06-04"); len(doc.Picks) != 2 || doc.Mass.In != 150 || doc.Mass.OnHand != 50 || doc.Mass.OnHandFrom != "books" {
		t.Errorf("the day: %+v", doc.Mass)
	}
	row := f.Add("2026-06-05T09:00:00-10:00", &events.FruitPicked{Where: events.Where{{Block: "north", Rows: []string{"1"}, Except: []string{"north-01-02"}}}, Mass: q(1, "kg")})
	if got := trace(t, f.Book(), row.ID.String()).Trees; !slices.Equal(got, []string{"north-01-01", "north-01-03"}) {
		t.Errorf("the trees of a row but one: %v", got)
	}
	for _, of := range []string{"L9", "north/yesterday", "south/2026-06-04", label.ID.String(), "018f0000-0000-7000-8000-00000000ffff"} {
		if _, err := trails.Trace(b, of); err == nil || strings.Contains(err.Error(), "⟦") {
			t.Errorf("%s: %v", of, err)
		}
	}
}

// A load is answered for by the packer: both weights are shown, and what is nowhere between them.
func TestLoads(t *testing.T) {
	t.Parallel()
	f := begin(t)
	p := f.Add("2026-06-04T09:00:00-10:00", pick(100))
	send := func(code string) {
		f.Add("", &events.FruitDelivered{Delivery: code, Picks: []events.DrawnPick{{Pick: p.ID.String(), Mass: q(50, "kg")}}, Recipient: place("Packer"), Date: "2026-06-04"})
	}
	send("D1")
	send("D2")
	f.Add("2026-06-05T09:00:00-10:00", &events.DeliveryAnswered{Delivery: "D1", Outcome: "accepted", WeighedMass: q(49, "kg")})
	f.Add("2026-06-06T09:00:00-10:00", &events.PackoutReported{Deliveries: []string{"D1"}, Delivered: q(49, "kg"), Packed: q(40, "kg"), Seconds: q(5, "kg"),
		Culls: events.OneOrMany[events.Cull]{{Mass: q(2, "kg")}}, Shrink: q(1, "kg"), PackersLotCodes: []string{"X9"}})
	f.Add("2026-06-05T09:00:00-10:00", &events.DeliveryAnswered{Delivery: "D2", Outcome: "rejected", Reason: "hot"})
	b := f.Book()
	d1, d2 := trace(t, b, "D1").Mass, trace(t, b, "D2")
	if d1.In != 50 || d1.Out != 45 || d1.Culled != 2 || d1.Shrink != 1 || d1.Unaccounted != 2 || *d1.Ours != 50 || *d1.Packers != 49 || percent(d1) != 96 {
		t.Errorf("a load with a pack-out: %+v", d1)
	}
	if d2.Mass.Out != 0 || d2.Mass.OnHand != 50 || percent(d2.Mass) != 100 || len(d2.Back) != 1 {
		t.Errorf("a load that was sent back: %+v, %+v", d2.Mass, d2.Back)
	}
	if m := trace(t, b, p.ID.String()).Mass; m.Out != 100 || percent(m) != 100 {
		t.Errorf("the pick of both: %+v", m)
	}
}

// Random seasons of picks, loads, lots, repacking, shipments, returns and counts come to exactly 100 where nothing was lost,
// and show exactly what was, in any order of arrival.
func TestSeasons(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		f := begin(t)
		grams := func(label string, most int) int { return rapid.IntRange(1, most).Draw(rt, label) }
		kg := func(g int) *events.Quantity { return q(float64(g)/1000, "kg") }
		lost := map[string]int{} // by code of the lot, grams
		var codes []string
		for i := range rapid.IntRange(1, 5).Draw(rt, "lots") {
			code := fmt.Sprintf("L%d", i+1)
			lot := &events.LotPacked{Lot: code, LotFields: fields("2026-06-04", 1, 1)}
			in := 0
			for range rapid.IntRange(1, 4).Draw(rt, "picks") {
				mass := grams("mass", 200_000)
				p := f.Add(fmt.Sprintf("2026-06-0%dT09:00:00-10:00", rapid.IntRange(1, 3).Draw(rt, "day")), pick(float64(mass)/1000))
				lot.Inputs = append(lot.Inputs, events.PackInput{Pick: p.ID.String(), Mass: kg(mass)})
				in += mass
			}
			if in < 10 {
				continue
			}
			gone, cull, waste := grams("lost", in/10+1)-1, grams("cull", in/10+1), 0
			packed := in - gone - cull
			if packed < 10 {
				continue
			}
			lot.Packed = &events.Packed{Count: 1, Kind: "lot", NetMass: kg(packed)}
			lot.Culls = events.OneOrMany[events.Cull]{{Mass: kg(cull)}}
			f.Add("", lot)
			lost[code] += gone
			codes = append(codes, code)
			ship := grams("ship", packed)
			f.Add("", &events.LotShipped{Lot: code, Amount: kg(ship), Recipient: place("Buyer"), LotTravels: events.LotTravels{Date: "2026-06-05"}})
			left := packed - ship
			if rapid.Bool().Draw(rt, "back") {
				back := grams("back", ship)
				f.Add("", &events.LotReturned{LotFate: events.LotFate{Lot: code, Amount: kg(back), From: place("Buyer"), Reason: "wet", Date: "2026-06-06"}})
				left += back
			}
			if left > 1 && rapid.Bool().Draw(rt, "write off") {
				waste = grams("waste", left-1)
				f.Add("2026-06-07T08:00:00-10:00", &events.LotWrittenOff{Lot: code, Amount: kg(waste), Reason: "mould"})
				left -= waste
			}
			if left > 1 && rapid.Bool().Draw(rt, "repack") {
				part := grams("part", left-1)
				again := &events.LotRepacked{Lot: code + "R", Inputs: []events.LotInput{{Lot: code, Amount: kg(part)}}, LotFields: fields("2026-06-07", 1, 1)}
				again.Packed = &events.Packed{Count: 1, Kind: "lot", NetMass: kg(part)}
				f.Add("", again)
				left -= part
				codes = append(codes, code+"R")
			}
			if rapid.Bool().Draw(rt, "count") {
				missing := grams("stolen", left+1) - 1
				f.Add("2026-06-09T08:00:00-10:00", &events.StockCounted{Location: "cold room", Items: []events.StockItem{{Lot: code, Amount: kg(left - missing)}}})
				lost[code] += missing
			}
		}
		b := f.Book()
		for _, code := range codes {
			m := trace(t, b, code).Mass
			if want := float64(lost[code]) / 1000; m.Unaccounted != want || lost[code] == 0 && percent(m) != 100 || lost[code] > 0 && percent(m) >= 100 {
				rt.Fatalf("%s: unaccounted %v at %v per cent, lost %v: %+v", code, m.Unaccounted, percent(m), want, m)
			}
		}
		foldtest.Laws(t, f.Records, []*projections.Fold{trails.Fold()}, rapid.Uint64().Draw(rt, "seed"))
	})
}

// Each key data element is taken out in turn: it is named, with its paragraph, and nothing else is.
func TestElements(t *testing.T) {
	t.Parallel()
	for _, e := range trails.Elements() {
		if !strings.HasPrefix(e.Rule, "21 CFR 1.13") || e.Field == "" {
			t.Errorf("%+v", e)
		}
	}
	pickup := func() *events.FruitPicked { return pick(10, "north-01-01") }
	without := func(what string, party *events.Party) *events.Party {
		out := *party
		switch what {
		case "name":
			out.Name = ""
			out.Code = "someone"
		case "phone":
			out.Phone = ""
		case "address":
			out.Address = ""
		}
		return &out
	}
	travels := func() events.LotTravels {
		return events.LotTravels{Date: "2026-06-05", From: place("Shed"), To: place("Shed"), ProductDescription: "lychee", LotCodeSource: place("Shed"), ReferenceDocument: paper}
	}
	n := 0
	for _, c := range []struct {
		event, element, rule string
		data                 func(id string) any
	}{
		{"harvesting", "next-recipient", "21 CFR 1.1325(a)(1)(i)", func(string) any { p := pickup(); p.NextRecipient = nil; return p }},
		{"harvesting", "next-recipient", "21 CFR 1.1325(a)(1)(i)", func(string) any { p := pickup(); p.NextRecipient = without("phone", place("Shed")); return p }},
		{"harvesting", "document", "21 CFR 1.1325(a)(1)(viii)", func(string) any { p := pickup(); p.ReferenceDocument = nil; return p }},
		{"harvesting", "document", "21 CFR 1.1325(a)(1)(viii)", func(string) any { p := pickup(); p.ReferenceDocument = &events.Reference{Type: "tag"}; return p }},
		{"harvesting", "growing-area", "21 CFR 1.1325(a)(1)(v)", func(string) any { p := pickup(); p.Where = append(p.Where, events.Part{Block: "south"}); return p }},
		{"cooling", "cooling-place", "21 CFR 1.1325(b)(1)(iv)", func(id string) any {
			return &events.PickCooled{Picks: []string{id}, Date: "2026-06-04", NextRecipient: place("Shed"), ReferenceDocument: paper}
		}},
		{"cooling", "next-recipient", "21 CFR 1.1325(b)(1)(i)", func(id string) any {
			return &events.PickCooled{Picks: []string{id}, Date: "2026-06-04", Location: place("Shed"), ReferenceDocument: paper}
		}},
		{"cooling", "document", "21 CFR 1.1325(b)(1)(vii)", func(id string) any {
			return &events.PickCooled{Picks: []string{id}, Date: "2026-06-04", Location: place("Shed"), NextRecipient: place("Shed")}
		}},
		{"packing", "received-date", "21 CFR 1.1330(a)(2)", func(id string) any { l := packOf(id); l.ReceivedDate = ""; return l }},
		{"packing", "harvester", "21 CFR 1.1330(a)(7)", func(id string) any { l := packOf(id); l.Harvester = nil; return l }},
		{"packing", "harvester", "21 CFR 1.1330(a)(7)", func(id string) any { l := packOf(id); l.Harvester = without("phone", place("Farm")); return l }},
		{"packing", "lot-code-source", "21 CFR 1.1330(a)(14)", func(id string) any { l := packOf(id); l.Location = without("address", place("Shed")); return l }},
		{"packing", "document", "21 CFR 1.1330(a)(16)", func(id string) any { l := packOf(id); l.ReferenceDocument = nil; return l }},
		{"shipping", "product", "21 CFR 1.1340(a)(3)", func(string) any {
			tr := travels()
			tr.ProductDescription = ""
			return &events.LotShipped{Lot: "L0", Amount: q(1, "kg"), Recipient: place("Buyer"), LotTravels: tr}
		}},
		{"shipping", "next-recipient", "21 CFR 1.1340(a)(4)", func(string) any {
			return &events.LotShipped{Lot: "L0", Amount: q(1, "kg"), Recipient: without("address", place("Buyer")), LotTravels: travels()}
		}},
		{"shipping", "shipped-from", "21 CFR 1.1340(a)(5)", func(string) any {
			tr := travels()
			tr.From = nil
			return &events.LotShipped{Lot: "L0", Amount: q(1, "kg"), Recipient: place("Buyer"), LotTravels: tr}
		}},
		{"shipping", "lot-code-source", "21 CFR 1.1340(a)(7)", func(string) any {
			tr := travels()
			tr.LotCodeSource = nil
			return &events.LotShipped{Lot: "L0", Amount: q(1, "kg"), Recipient: place("Buyer"), LotTravels: tr}
		}},
		{"shipping", "document", "21 CFR 1.1340(a)(8)", func(string) any {
			tr := travels()
			tr.ReferenceDocument = nil
			return &events.LotShipped{Lot: "L0", Amount: q(1, "kg"), Recipient: place("Buyer"), LotTravels: tr}
		}},
		{"receiving", "previous-source", "21 CFR 1.1345(a)(4)", func(string) any { return &events.LotReceived{Lot: "N1", Amount: q(1, "kg"), LotTravels: travels()} }},
		{"receiving", "received-at", "21 CFR 1.1345(a)(5)", func(string) any {
			tr := travels()
			tr.To = nil
			return &events.LotReceived{Lot: "N1", Amount: q(1, "kg"), PreviousSource: place("Neighbour"), LotTravels: tr}
		}},
		{"transformation", "input-product", "21 CFR 1.1350(a)(1)(ii)", func(string) any {
			return &events.LotRepacked{Lot: "R1", Inputs: []events.LotInput{{Lot: "nowhere", Amount: q(1, "kg")}}, LotFields: fields("2026-06-06", 1, 1)}
		}},
		{"transformation", "lot-code-source", "21 CFR 1.1350(a)(2)(ii)", func(string) any {
			l := &events.LotRepacked{Lot: "R1", Inputs: []events.LotInput{{Lot: "L0", Amount: q(1, "kg")}}, LotFields: fields("2026-06-06", 1, 1)}
			l.Location = without("phone", place("Shed"))
			return l
		}},
	} {
		f := begin(t)
		whole := f.Add("2026-06-04T09:00:00-10:00", pickup())
		f.Add("", func() any { l := packOf(whole.ID.String()); l.Lot = "L0"; return l }())
		data := c.data(whole.ID.String())
		at := ""
		if _, ok := data.(*events.FruitPicked); ok {
			at = "2026-06-04T10:00:00-10:00"
		}
		rec := f.Add(at, data)
		b := f.Book()
		var found []string
		for _, m := range trails.NewLook(b).Missing(b.Fact(rec.ID)) {
			if m.Element == "farm" { // this farm has no contact; TestTrace looks at it
				continue
			}
			if c.element == "growing-area" && m.Element == "commodity" {
				continue // a block that nobody described has no listed trees either
			}
			found = append(found, m.Event+" "+m.Element+" "+m.Rule)
		}
		if want := c.event + " " + c.element + " " + c.rule; !slices.Equal(found, []string{want}) {
			t.Errorf("want %q, got %q", want, found)
		}
		n++
	}
	t.Logf("counts: %d elements of records taken out in turn", n)
}

func packOf(pick string) *events.LotPacked {
	return &events.LotPacked{Lot: "L1", Inputs: []events.PackInput{{Pick: pick, Mass: q(5, "kg")}}, LotFields: fields("2026-06-05", 1, 5)}
}
