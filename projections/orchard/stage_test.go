package orchard_test

import (
	"fmt"
	"math/rand/v2"
	"os"
	"testing"

	"latewood/events"
	"latewood/events/civil"
	"latewood/projections"
	"latewood/projections/foldtest"
	"latewood/projections/orchard"
)

func stand(t *testing.T, f *foldtest.Farm, on string) orchard.Stand {
	t.Helper()
	day, err := civil.ParseDate(on)
	if err != nil {
		t.Fatal(err)
	}
	return orchard.Status(f.Book(), day, nil).Blocks[0]
}

// The stage is what was seen last, since it was first seen without another between; work done later is an estimate.
func TestStages(t *testing.T) {
	t.Parallel()
	f := foldtest.NewFarm(t, "Pacific/Honolulu")
	where := events.Where{{Block: "north"}}
	f.Add("2010-01-01", &events.BlockEstablished{Block: "north", Name: "North", Area: events.Quantity{Value: 0.5, Unit: "har"}})
	f.Add("2026-01-10", &events.FlushSeen{Where: where, Stage: "hardened"})
	f.Add("2026-01-20", &events.FlushSeen{Where: where, Stage: "hardened"})
	f.Add("2026-01-25", &events.BloomSeen{Where: where, Stage: "none"})
	f.Add("", &events.TreePruned{Where: where, Cut: "dead-wood", Ended: "2026-01-28"})
	f.Add("2026-02-10", &events.BloomSeen{Where: where, Stage: "panicles-out"})
	f.Add("2026-03-01", &events.BloomSeen{Where: where, BBCH: "615"})
	f.Add("2026-04-20", &events.CropAssessed{Where: where, Crop: "fair", Method: "eye"})
	f.Add("2026-04-25", &events.CropAssessed{Where: where, Crop: "none", Method: "eye"})
	f.Add("2026-06-10", &events.FruitPicked{Where: where, Mass: &events.Quantity{Value: 9, Unit: "kg"}})
	f.Add("2026-06-20", &events.FruitPicked{Where: where, Mass: &events.Quantity{Value: 9, Unit: "kg"}})
	f.Add("", &events.TreePruned{Where: where, Cut: "after-harvest", Ended: "2026-06-20"})
	f.Add("", &events.TreePruned{Where: where, Cut: "root", Ended: "2026-07-05"})
	f.Add("", &events.TreePruned{Where: where, Cut: "shaping", Ended: "2026-07-01"})
	for _, tt := range []struct{ on, stage, since, from, prune, cut string }{
		{"2026-01-09", "", "", "", "", ""},
		{"2026-01-10", "hardened", "2026-01-10", "seen", "", ""},
		{"2026-01-26", "hardened", "2026-01-10", "seen", "", ""},
		{"2026-01-28", "hardened", "2026-01-10", "seen", "2026-01-28", "dead-wood"},
		{"2026-02-10", "panicles-out", "2026-02-10", "seen", "2026-01-28", "dead-wood"},
		{"2026-03-01", "bbch-615", "2026-03-01", "seen", "2026-01-28", "dead-wood"},
		{"2026-04-30", "fruit", "2026-04-20", "seen", "2026-01-28", "dead-wood"},
		{"2026-06-15", "picked", "2026-06-10", "estimate", "2026-01-28", "dead-wood"},
		{"2026-06-20", "picked", "2026-06-20", "estimate", "2026-06-20", "after-harvest"},
		{"2026-07-03", "pruned", "2026-07-01", "estimate", "2026-07-01", "shaping"},
		{"2026-07-06", "pruned", "2026-07-01", "estimate", "2026-07-05", "root"},
	} {
		got := stand(t, f, tt.on)
		if got.Stage != tt.stage || got.StageSince != tt.since || got.StageFrom != tt.from || got.LastPrune != tt.prune || got.LastCut != tt.cut {
			t.Errorf("%s: got %q since %q by %q, prune %q %q, want %+v", tt.on, got.Stage, got.StageSince, got.StageFrom, got.LastPrune, got.LastCut, tt)
		}
	}
}

// A stated number is for trees that are not listed; one that is removed is one less.
func TestStatedNumber(t *testing.T) {
	t.Parallel()
	f := foldtest.NewFarm(t, "Pacific/Honolulu")
	four, six := 4, 6
	f.Add("2010-01-01", &events.BlockEstablished{Block: "north", Name: "North", Area: events.Quantity{Value: 1, Unit: "har"}, BlockFields: events.BlockFields{Trees: &four}})
	for i, planted := range []string{"2011", "2012", "2013", "2014"} {
		f.Add("", &events.TreePlanted{Tree: fmt.Sprint("n-", i), Block: "north", Cultivar: "Bengal", Planted: planted})
	}
	f.Add("2020-01-01", &events.TreeRemoved{Where: events.Where{{Block: "north", Trees: []string{"n-0"}}}})
	f.Add("", &events.BlockChanged{Block: "north", From: "2022-01-01", Area: &events.Quantity{Value: 2, Unit: "har"}, BlockFields: events.BlockFields{Trees: &six}})
	f.Add("", &events.BlockChanged{Block: "north", From: "2021-01-01", BlockFields: events.BlockFields{Trees: &four}})
	for on, want := range map[string][2]float64{
		"2009-12-31": {0, 0}, "2010-06-01": {4, 10000}, "2012-06-01": {4, 10000}, "2019-12-31": {4, 10000},
		"2020-01-01": {3, 10000}, "2021-06-01": {3, 10000}, "2022-01-01": {5, 20000},
	} {
		if got := stand(t, f, on); float64(got.Trees) != want[0] || got.AreaM2 != want[1] {
			t.Errorf("%s: got %d trees on %v m2, want %v", on, got.Trees, got.AreaM2, want)
		}
	}
}

// The laws of folds on invented histories: 20, or 1,000 where LATEWOOD_PROOF=1 asks for the full proof.
func TestLawsOnHistories(t *testing.T) {
	t.Parallel()
	histories := 20
	if os.Getenv("LATEWOOD_PROOF") == "1" {
		histories = 1000
	}
	records := 0
	for seed := range uint64(histories) {
		r := rand.New(rand.NewPCG(seed, 3))
		f := foldtest.NewFarm(t, "America/New_York")
		one := func(list ...string) string { return list[r.IntN(len(list))] }
		day := func() string { return civil.Date{Year: 2020, Month: 1, Day: 1}.AddDays(r.IntN(2000)).String() }
		block := func() string { return one("north", "south") }
		where := func() events.Where {
			p := events.Part{Block: block()}
			if r.IntN(2) == 0 {
				p.Trees = []string{fmt.Sprint("t-", r.IntN(8))}
			}
			return events.Where{p}
		}
		var first, last *events.Record
		for i := range 40 {
			switch r.IntN(10) {
			case 0:
				n := r.IntN(9)
				f.Add(day(), &events.BlockEstablished{Block: block(), Name: one("A", "B"), Area: events.Quantity{Value: float64(1 + r.IntN(3)), Unit: "har"}, BlockFields: events.BlockFields{Trees: &n}})
			case 1:
				f.Add("", &events.BlockChanged{Block: block(), From: day(), Area: &events.Quantity{Value: 1.5, Unit: "har"}})
			case 2, 3:
				f.Add("", &events.TreePlanted{Tree: fmt.Sprint("t-", i%8), Block: block(), Cultivar: one("Bengal", "Kaimana"), Planted: day()})
			case 4:
				f.Add(day(), &events.TreeTopworked{Where: where(), Cultivar: one("Bengal", "Mauritius")})
			case 5:
				f.Add(day(), &events.TreeMoved{Moves: []events.Move{{Tree: fmt.Sprint("t-", r.IntN(8)), Block: block()}}})
			case 6:
				first = f.Add(day(), &events.FlushSeen{Where: where(), Stage: one("bud-break", "hardened")})
				last = first
			case 7:
				if first != nil {
					last = f.Correct(first, last, "", &events.FlushSeen{Where: where(), Stage: one("dormant", "hardened")})
				}
			case 8:
				f.Add(day(), &events.FruitPicked{Where: where(), Mass: &events.Quantity{Value: 1, Unit: "kg"}})
			case 9:
				rec := f.Add(day(), &events.TreePruned{Where: where(), Cut: one("tip", "root")})
				if r.IntN(3) == 0 {
					f.Withdraw(rec, rec)
				}
			}
		}
		records += len(f.Records)
		foldtest.Laws(t, f.Records, []*projections.Fold{orchard.Fold()}, seed)
	}
	t.Logf("counts: %d histories of %d records", histories, records)
}
