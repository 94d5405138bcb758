package projections_test

import (
	"slices"
	"testing"
	"time"

	"latewood/events"
	"latewood/projections"
	"latewood/projections/foldtest"
)

// treesFold is the smallest fold over the ground: which trees stand in a block on some days.
func treesFold() *projections.Fold {
	type state struct{ On map[string][]string }
	return projections.NewFold("trees-test", 1, projections.Block, func(v *projections.View) *state {
		s := &state{On: map[string][]string{}}
		for _, year := range []int{2015, 2017, 2019, 2021, 2023} {
			at := time.Date(year, 6, 1, 12, 0, 0, 0, v.Zone)
			for _, t := range v.Ground().At(at) {
				s.On[at.Format("2006")] = append(s.On[at.Format("2006")], t.Tree+" "+t.Cultivar)
			}
		}
		return s
	})
}

func redrawn(t *testing.T) *foldtest.Farm {
	t.Helper()
	f := foldtest.NewFarm(t, "Australia/Brisbane")
	for _, tree := range []struct{ code, row, block string }{{"a-1", "1", "a"}, {"a-2", "1", "a"}, {"a-3", "2", "a"}, {"b-1", "1", "b"}} {
		f.Add("", &events.TreePlanted{Tree: tree.code, Block: tree.block, Row: tree.row, Cultivar: "Bengal", Planted: "2012"})
	}
	// 2016: a is split by rows and a tree; b goes on.
	f.Add("", &events.BlockRedrawn{From: []string{"a"}, Into: []events.DrawnBlock{{Block: "a", Rows: []string{"1"}}, {Block: "c", Rows: []string{"2"}}, {Block: "d", Trees: []string{"a-2"}}}, Date: "2016-01-01"})
	// 2018: c and b are merged into b.
	f.Add("", &events.BlockRedrawn{From: []string{"b", "c"}, Into: []events.DrawnBlock{{Block: "b"}}, Date: "2018-01-01"})
	// 2020: b goes back into a; one tree that came by two redrawings moves on afterwards.
	f.Add("", &events.BlockRedrawn{From: []string{"b"}, Into: []events.DrawnBlock{{Block: "a"}}, Date: "2020-01-01"})
	f.Add("2022-01-01", &events.TreeMoved{Moves: []events.Move{{Tree: "b-1", From: "a", Block: "d", Row: "9"}}})
	return f
}

// Splits, merges and a block that comes back: each tree stands in exactly one block at any time.
func TestRedrawn(t *testing.T) {
	t.Parallel()
	f := redrawn(t)
	b := f.Book()
	want := map[int]map[string][]string{
		2015: {"a": {"a-1", "a-2", "a-3"}, "b": {"b-1"}},
		2017: {"a": {"a-1"}, "b": {"b-1"}, "c": {"a-3"}, "d": {"a-2"}},
		2019: {"a": {"a-1"}, "b": {"a-3", "b-1"}, "d": {"a-2"}},
		2021: {"a": {"a-1", "a-3", "b-1"}, "d": {"a-2"}},
		2023: {"a": {"a-1", "a-3"}, "d": {"a-2", "b-1"}},
	}
	for year, blocks := range want {
		at := time.Date(year, 6, 1, 12, 0, 0, 0, f.Zone())
		for _, block := range []string{"a", "b", "c", "d"} {
			var got []string
			for _, s := range b.View(projections.Key{Class: projections.Block, Code: block}).Ground().At(at) {
				got = append(got, s.Tree)
			}
			slices.Sort(got)
			if !slices.Equal(got, blocks[block]) {
				t.Errorf("%d, block %s: trees %v, want %v", year, block, got, blocks[block])
			}
		}
	}
}

func TestRedrawnLaws(t *testing.T) {
	t.Parallel()
	for seed := range uint64(10) {
		foldtest.Laws(t, redrawn(t).Records, []*projections.Fold{treesFold()}, seed)
	}
}
