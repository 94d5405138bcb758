package projections_test

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"latewood/events"
	"latewood/projections"
	"latewood/projections/foldtest"
)

// told is the state of the test folds below: one line a fact, and what its answer leans on.
type told struct{ Lines []string }

// line says of a fact what a fold over fruit looks at: each record that it names as it stands now.
func line(v *projections.View, f *projections.Fact) string {
	out := f.Kind
	for _, id := range projections.References(f) {
		target := v.Fact(id.String())
		switch {
		case target == nil:
			out += " ?"
			continue
		case !target.Stands():
			out += " gone"
			continue
		}
		switch d := target.Data().(type) {
		case *events.FruitPicked:
			out += " " + d.Mass.String()
		case *events.LabelFiled:
			out += " " + d.Product
		default:
			out += " " + target.Kind
		}
	}
	return out
}

// namers is a fold of a class that tells each standing fact of its key.
func namers(class string) *projections.Fold {
	return projections.NewFold("namers-"+class, 1, class, func(v *projections.View) *told {
		s := &told{}
		for _, f := range v.Standing() {
			s.Lines = append(s.Lines, line(v, f))
		}
		return s
	})
}

// fates is a fold over blocks that tells what became of each pick and who wrote of each spray.
func fates() *projections.Fold {
	return projections.NewFold("fates", 1, projections.Block, func(v *projections.View) *told {
		s := &told{}
		for _, f := range v.Standing() {
			if f.Kind != "fruit.picked" && f.Kind != "spray.applied" {
				continue
			}
			of := f.Kind + ":"
			for _, about := range v.About(f.ID) {
				of += " " + about.Kind
			}
			s.Lines = append(s.Lines, of)
		}
		return s
	})
}

const worker = "w_00112233445566778899aabbccddeeff"

func kg(x float64) *events.Quantity { return &events.Quantity{Value: x, Unit: "kg"} }

// fruitful is a farm whose fruit goes every way that fruit can go; records are named as they are needed later.
func fruitful(t *testing.T) (f *foldtest.Farm, pick, other, spray, load, packed *events.Record) {
	t.Helper()
	f = foldtest.NewFarm(t, "Pacific/Honolulu")
	here := &events.Party{Code: "tern-hollow"}
	quay := &events.Party{Code: "quay-market"}
	north := events.Where{{Block: "north"}}
	lot := events.LotFields{Product: "lychee", Packed: &events.Packed{Count: 5, Kind: "carton", NetMass: kg(2)}, Date: "2026-06-19", Location: here}
	label := f.Add("2026-01-12", &events.LabelFiled{Product: "Sheen wax", Material: "other", ReadBy: "P07"})
	spray = f.Add("", &events.SprayApplied{Where: events.OneOrMany[events.SprayedPart]{{Part: events.Part{Block: "north"}}}, Started: "2026-04-13", Ended: "2026-04-13",
		Mix: []events.MixItem{{Label: label.ID.String()}}, Target: "mites", Applicator: &events.Person{Code: worker}})
	f.Add("", &events.SprayPosted{Spray: spray.ID.String(), Place: "shed door", From: "2026-04-13"})
	f.Add("", &events.ExposureReported{Who: events.OneOrMany[string]{worker}, When: "2026-04-13", Spray: spray.ID.String()})
	pick = f.Add("2026-06-18", &events.FruitPicked{Where: north, Mass: kg(100)})
	other = f.Add("2026-06-18", &events.FruitPicked{Where: events.Where{{Block: "south"}}, Mass: kg(40)})
	a, b := pick.ID.String(), other.ID.String()
	load = f.Add("", &events.FruitDelivered{Delivery: "D-1", Picks: []events.DrawnPick{{Pick: a, Mass: kg(30)}, {Pick: b, Mass: kg(10)}}, Recipient: quay, Date: "2026-06-18"})
	f.Add("2026-06-19", &events.DeliveryAnswered{Delivery: "D-1", Outcome: "accepted"})
	f.Add("2026-06-25", &events.PackoutReported{Deliveries: []string{"D-1", "D-2"}, Delivered: kg(40)})
	f.Add("", &events.PickCooled{Picks: []string{a}, Date: "2026-06-18"})
	received := f.Add("", &events.FruitReceived{Delivery: "N-1", Source: quay, SourceCovered: "no", Date: "2026-06-18", Commodity: "lychee", Amount: kg(9)})
	packed = f.Add("", &events.LotPacked{Lot: "L17", Inputs: []events.PackInput{{Pick: a, Mass: kg(10)}, {Received: received.ID.String(), Mass: kg(9)}, {Bin: "7", Mass: kg(2)}}, LotFields: lot})
	f.Add("2026-06-19", &events.BinEmptied{Bins: []string{"7"}, Into: "L17"})
	f.Add("2026-06-19", &events.BinEmptied{Bins: []string{"8"}})
	f.Add("", &events.LotRepacked{Lot: "L18", Inputs: []events.LotInput{{Lot: "L17", Amount: kg(4)}}, LotFields: lot})
	f.Add("2026-06-20", &events.LotTreated{Lot: "L17", Delivery: "D-1", Treatment: "wax", Label: label.ID.String()})
	f.Add("", &events.LotReceived{Lot: "F-3", Amount: kg(4), LotTravels: events.LotTravels{Date: "2026-06-20"}})
	f.Add("", &events.LotShipped{Lot: "L17", Amount: kg(4), Recipient: quay, LotTravels: events.LotTravels{Date: "2026-06-20"}})
	f.Add("2026-06-21", &events.LotRejected{LotFate: events.LotFate{Lot: "L17", Recipient: quay, Reason: "brown"}})
	f.Add("2026-06-22", &events.LotReturned{LotFate: events.LotFate{Lots: []string{"L17", "L18"}, From: quay, Reason: "brown"}})
	f.Add("2026-06-23", &events.LotRecalled{LotFate: events.LotFate{Lot: "L18", Lots: []string{"F-3"}, Recipient: quay, Reason: "brown"}})
	f.Add("2026-06-19", &events.LotHeld{Lot: "L17", Reason: "warm"})
	f.Add("2026-06-20", &events.LotReleased{Lot: "L17", Delivery: "D-1", Basis: "authority", Answers: []string{"pick-in-interval"}})
	f.Add("2026-06-21", &events.FruitSold{Channel: "u-pick", Where: north, Amount: kg(3)})
	f.Add("2026-06-21", &events.FruitSold{Channel: "market", Lot: "L18", Where: north, Picks: []string{b}, Amount: kg(3)})
	f.Add("2026-06-24", &events.LotWrittenOff{Picks: []string{a, b}, Amount: kg(1), Reason: "decay"})
	f.Add("2026-06-24", &events.StockCounted{Location: "cold room", Items: []events.StockItem{{Lot: "L17", Amount: kg(1)}, {Pick: b, Amount: kg(1)}}})
	f.Add("", &events.SampleTested{Material: "fruit", Where: north, Lot: "L17", Sampled: "2026-06-18", Results: []events.TestResult{{What: "soluble solids"}}})
	f.Add("", &events.IncidentReported{What: "cold-break", From: "2026-06-19", Location: "cold room", LotsTouched: []string{"L17"}, PicksTouched: []string{a}})
	f.Add("2026-06-18", &events.ToolCleaned{What: "clippers", Method: "washed"})

	// Then what was wrong is put right: a pick weighs less, another never was, a load had another number, the label another
	// name; a lot is withdrawn.
	f.Correct(pick, pick, "", &events.FruitPicked{Where: north, Mass: kg(90)})
	f.Withdraw(other, other)
	f.Correct(load, load, "", &events.FruitDelivered{Delivery: "D-2", Picks: []events.DrawnPick{{Pick: a, Mass: kg(30)}}, Recipient: quay, Date: "2026-06-18"})
	f.Correct(label, label, "", &events.LabelFiled{Product: "Sheen", Material: "other", ReadBy: "P07"})
	return f, pick, other, spray, load, packed
}

func fruitFolds() []*projections.Fold {
	var out []*projections.Fold
	for _, class := range []string{projections.Block, projections.Lot, projections.Delivery, projections.Farm} {
		out = append(out, namers(class))
	}
	return append(out, fates())
}

func TestFruitLaws(t *testing.T) {
	t.Parallel()
	f, _, _, _, _, packed := fruitful(t)
	for seed := range uint64(12) {
		foldtest.Laws(t, f.Records, fruitFolds(), seed)
	}
	f.Withdraw(packed, packed)
	for seed := range uint64(4) {
		foldtest.Laws(t, f.Records, fruitFolds(), seed)
	}
}

// What stands under each key, before the corrections and after.
func TestFruitKeys(t *testing.T) {
	t.Parallel()
	f, pick, other, spray, _, _ := fruitful(t)
	b := projections.NewBook(events.Standard())
	add := func(records []*events.Record) {
		for _, r := range records {
			if err := b.Add(r); err != nil {
				t.Fatal(err)
			}
		}
	}
	state := func(fold *projections.Fold, code string) string {
		return strings.Join(projections.StateOf[told](b, fold, code).Lines, "; ")
	}
	last := len(f.Records) - 4
	add(f.Records[:last])
	lots, loads := namers(projections.Lot), namers(projections.Delivery)
	check := func(what, got, want string) {
		t.Helper()
		if got != want {
			t.Errorf("%s:\n got %s\nwant %s", what, got, want)
		}
	}
	check("lots", strings.Join(b.Keys(projections.Lot), " "), "F-3 L17 L18")
	check("loads", strings.Join(b.Keys(projections.Delivery), " "), "D-1 D-2 N-1")
	check("load D-1", state(loads, "D-1"), "fruit.delivered 100 kg 40 kg; delivery.answered; lot.treated Sheen wax; lot.released; packout.reported")
	check("load D-2", state(loads, "D-2"), "packout.reported")
	check("lot L17", state(lots, "L17"), "sample.tested; lot.packed 100 kg fruit.received; bin.emptied; lot.repacked; lot.held; incident.reported 100 kg; "+
		"lot.treated Sheen wax; lot.shipped; lot.released; lot.rejected; lot.returned; stock.counted 40 kg")
	check("lot F-3", state(lots, "F-3"), "lot.received; lot.recalled")
	check("picks of the north", state(fates(), "north"),
		"spray.applied: spray.posted exposure.reported; fruit.picked: fruit.delivered pick.cooled lot.packed incident.reported lot.written-off")
	check("picks of the south", state(fates(), "south"), "fruit.picked: fruit.delivered fruit.sold lot.written-off stock.counted")

	add(f.Records[last:])
	check("load D-1", state(loads, "D-1"), "delivery.answered; lot.treated Sheen; lot.released; packout.reported")
	check("load D-2", state(loads, "D-2"), "fruit.delivered 90 kg; packout.reported")
	check("lot L17", state(lots, "L17"), "sample.tested; lot.packed 90 kg fruit.received; bin.emptied; lot.repacked; lot.held; incident.reported 90 kg; "+
		"lot.treated Sheen; lot.shipped; lot.released; lot.rejected; lot.returned; stock.counted gone")
	check("lot L18", state(lots, "L18"), "lot.repacked; fruit.sold gone; lot.returned; lot.recalled")
	check("picks of the south", state(fates(), "south"), "")

	farm := state(namers(projections.Farm), "")
	for _, want := range []string{"lot.packed", "fruit.delivered 90 kg", "spray.posted spray.applied", "exposure.reported spray.applied", "lot.written-off 90 kg gone", "fruit.sold gone", "tool.cleaned", "bin.emptied; bin.emptied"} {
		if !strings.Contains(farm, want) {
			t.Errorf("the farm lacks %s:\n%s", want, farm)
		}
	}
	if strings.Contains(farm, "fruit.picked") || strings.Count(farm, "fruit.sold") != 1 {
		t.Errorf("the farm has what only a block names:\n%s", farm)
	}
	for id, r := range map[string]*events.Record{"the pick": pick, "the withdrawn pick": other, "the spray": spray} {
		if b.Fact(r.ID) == nil {
			t.Errorf("%s is gone", id)
		}
	}
}

// The keys of a fact and the chains of its record are told from the same fields: of every kind's frozen sample.
func TestKeysAreChains(t *testing.T) {
	t.Parallel()
	class := map[string]string{"growth": projections.Block, "inputs": projections.Block, "picks": projections.Block, "lot": projections.Lot, "delivery": projections.Delivery, "station": projections.Station}
	files, err := filepath.Glob(filepath.Join("..", "testdata", "versions", "*.json"))
	if err != nil || len(files) == 0 {
		t.Fatal(files, err)
	}
	seen := map[string]bool{}
	for _, path := range files {
		body, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		r, err := events.ParseRecord(1, body)
		if err != nil {
			t.Fatal(err)
		}
		if !events.Correctable(r.Kind) || r.Kind == "weather.read" {
			continue // the ledger's own, and what is no fact
		}
		b := projections.NewBook(events.Standard())
		if err := b.Add(r); err != nil {
			t.Fatal(err)
		}
		f := b.Fact(r.ID)
		seen[r.Envelope.Type] = true
		links, err := events.ParseChains(r.Envelope.Chains)
		if err != nil {
			t.Fatal(err)
		}
		var want, got []string
		for _, l := range links {
			c, code, _ := strings.Cut(l.Chain, "/")
			if class[c] != "" {
				want = append(want, class[c]+"/"+code)
			}
		}
		for _, k := range projections.KeysOf(f) {
			if k != projections.FarmKey {
				got = append(got, k.String())
			}
		}
		slices.Sort(want)
		if !slices.Equal(got, want) {
			t.Errorf("%s: keys %v, chains %v", r.Envelope.Type, got, want)
		}
	}
	if len(seen) < 74 {
		t.Errorf("only %d kinds and versions were looked at", len(seen))
	}
}

// Records and corrections of a retired version read as the newest, in whatever order they come.
func TestOldVersionInTheBook(t *testing.T) {
	t.Parallel()
	body, err := os.ReadFile(filepath.Join("..", "testdata", "versions", "water.withheld.v1.json"))
	if err != nil {
		t.Fatal(err)
	}
	old, err := events.ParseRecord(2, body)
	if err != nil {
		t.Fatal(err)
	}
	f := foldtest.NewFarm(t, "Pacific/Honolulu")
	id := old.ID.String()
	first := f.Add("2026-10-07", &events.RecordCorrected{Record: id, Follows: id, Reason: "the gauge was read again", Type: "water.withheld.v1",
		Data: events.Raw(`{"from":"2025-10-03","reading":"61.5 cb","until":"2025-11-18","where":{"block":"north"}}`)})
	second := f.Add("2026-10-08", &events.RecordCorrected{Record: id, Follows: first.ID.String(), Reason: "another block", Type: "water.withheld.v2",
		Data: foldtest.Data(&events.WaterWithheld{Where: events.Where{{Block: "south"}}, From: "2025-10-03", Reading: &events.Quantity{Value: 63, Unit: "kPa"}})})
	for _, tc := range []struct {
		name    string
		records []*events.Record
		reading string
		version int
		block   string
	}{
		{"the record", []*events.Record{old}, "58 kPa", 1, "north"},
		{"an old correction", []*events.Record{old, first}, "61.5 kPa", 1, "north"},
		{"the old correction first", []*events.Record{first, old}, "61.5 kPa", 1, "north"},
		{"a new correction of that", []*events.Record{second, old, first}, "63 kPa", 2, "south"},
	} {
		b := foldtest.BookOf(t, append([]*events.Record{f.Records[0]}, tc.records...))
		fact := b.Fact(old.ID)
		d, ok := fact.Data().(*events.WaterWithheld)
		if !ok || d.Reading.String() != tc.reading || fact.Version != tc.version || !slices.Equal(b.Keys(projections.Block), []string{tc.block}) {
			t.Errorf("%s: got version %d of %+v in %v", tc.name, fact.Version, fact.Data(), b.Keys(projections.Block))
		}
	}
	foldtest.Laws(t, append(f.Records, old), []*projections.Fold{namers(projections.Block)}, 3)
}
