package orchard_test

import (
	"testing"

	"latewood/events"
	"latewood/events/civil"
	"latewood/projections"
	"latewood/projections/foldtest"
	"latewood/projections/orchard"
)

func farm(t *testing.T) *foldtest.Farm {
	t.Helper()
	f := foldtest.NewFarm(t, "Pacific/Honolulu")
	area := events.Quantity{Value: 0.5, Unit: "har"}
	f.Add("2010-01-01", &events.BlockEstablished{Block: "north", Name: "North", Area: area})
	for _, tree := range []string{"n-1", "n-2", "n-3"} {
		f.Add("", &events.TreePlanted{Tree: tree, Block: "north", Row: "1", Cultivar: "Bengal", Planted: "2012"})
	}
	f.Add("2019-03-01", &events.TreeTopworked{Where: events.Where{{Block: "north", Trees: []string{"n-2"}}}, Cultivar: "Kaimana"})
	f.Add("2020-03-01", &events.TreeRemoved{Where: events.Where{{Block: "north", Trees: []string{"n-3"}}}})
	f.Add("2020-07-01", &events.FruitPicked{Where: events.Where{{Block: "north"}}, Mass: &events.Quantity{Value: 40, Unit: "kg"}})
	f.Add("", &events.TreePruned{Where: events.Where{{Block: "north"}}, Cut: "after-harvest", Ended: "2020-07-20"})
	f.Add("2020-08-25T09:00:00-10:00", &events.FlushSeen{Where: events.Where{{Block: "north"}}, Stage: "bud-break"})
	trees := 60
	f.Add("2015-01-01", &events.BlockEstablished{Block: "south", Name: "South", Area: area, BlockFields: events.BlockFields{Trees: &trees}})
	f.Add("", &events.BlockRedrawn{From: []string{"south"}, Into: []events.DrawnBlock{{Block: "north", Area: &area}}, Date: "2021-01-01"})
	return f
}

func TestStatus(t *testing.T) {
	t.Parallel()
	f := farm(t)
	tests := []struct {
		on                       string
		trees, bengal, kaimana   int
		prune, stage, since, how string
	}{
		{"2011-12-31", 0, 0, 0, "", "", "", ""},
		{"2012-01-01", 3, 3, 0, "", "", "", ""},
		{"2019-02-28", 3, 3, 0, "", "", "", ""},
		{"2019-03-01", 3, 2, 1, "", "", "", ""},
		{"2020-03-01", 2, 1, 1, "", "", "", ""},
		{"2020-07-01", 2, 1, 1, "", "picked", "2020-07-01", "estimate"},
		{"2020-07-20", 2, 1, 1, "2020-07-20", "pruned", "2020-07-20", "estimate"},
		{"2020-08-25", 2, 1, 1, "2020-07-20", "bud-break", "2020-08-25", "seen"},
	}
	for _, tt := range tests {
		t.Run(tt.on, func(t *testing.T) {
			t.Parallel()
			day, err := civil.ParseDate(tt.on)
			if err != nil {
				t.Fatal(err)
			}
			doc := orchard.Status(f.Book(), day, map[string][]string{"north": {"something"}})
			n := doc.Blocks[0]
			if n.Block != "north" || n.Trees != tt.trees || n.Cultivars["Bengal"] != tt.bengal || n.Cultivars["Kaimana"] != tt.kaimana {
				t.Errorf("trees %d %v, want %d: %d Bengal, %d Kaimana", n.Trees, n.Cultivars, tt.trees, tt.bengal, tt.kaimana)
			}
			if n.LastPrune != tt.prune || n.Stage != tt.stage || n.StageSince != tt.since || n.StageFrom != tt.how {
				t.Errorf("prune %q, stage %q since %q by %q; want %q, %q, %q, %q", n.LastPrune, n.Stage, n.StageSince, n.StageFrom, tt.prune, tt.stage, tt.since, tt.how)
			}
			if len(n.Due) != 1 {
				t.Errorf("due %q, want what was handed in", n.Due)
			}
		})
	}
}

// A block that states its number of trees has them, and is gone from the day on which it was redrawn into another.
func TestStatedAndRedrawn(t *testing.T) {
	t.Parallel()
	b := farm(t).Book()
	before := orchard.Status(b, civil.Date{Year: 2020, Month: 12, Day: 31}, nil)
	if len(before.Blocks) != 2 || before.Blocks[1].Trees != 60 {
		t.Errorf("before: %+v, want two blocks, the second of 60 trees", before.Blocks)
	}
	if after := orchard.Status(b, civil.Date{Year: 2021, Month: 1, Day: 1}, nil); len(after.Blocks) != 1 {
		t.Errorf("after: %d blocks, want 1", len(after.Blocks))
	}
}

func TestLaws(t *testing.T) {
	t.Parallel()
	for seed := range uint64(5) {
		foldtest.Laws(t, farm(t).Records, []*projections.Fold{orchard.Fold()}, seed)
	}
}
