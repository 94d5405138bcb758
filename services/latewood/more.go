package main

import (
	"fmt"
	"maps"
	"slices"

	"latewood/projections/weather"
	"latewood/projections/yields"
	"latewood/services/report"
)

func sortedKeys[V any](m map[string]V) []string { return slices.Sorted(maps.Keys(m)) }

func weatherTable(d weather.Doc) report.Table {
	t := columns("station", "period", "days#", "hours#", "covered_hours#", "hours_below_20#", "hours_at_or_above_20#",
		"degree_days#", "base_c#", "method", "min_c#", "max_c#", "rain_mm#", "frost_hours#")
	for _, r := range d.Rows {
		t.Add(report.Text(r.Station), report.DayText(r.Period), report.Count(r.Days), whole(&r.Hours), whole(&r.CoveredHours), whole(r.HoursBelow20), whole(r.HoursAbove20),
			whole(r.DegreeDays.Value), whole(&r.DegreeDays.Base), report.Text(r.DegreeDays.Method), whole(r.MinC), whole(r.MaxC), whole(r.RainMm), whole(r.FrostHours))
	}
	return t
}

// treesShown is how many trees the demo prints.
const treesShown = 8

// trees prints the last seasons of some trees beside one another, and the seasons of the blocks.
func (t *terminal) trees(d yields.Doc) {
	seasons := map[string]bool{}
	kg := map[string]map[string]*float64{}
	var order []string
	for _, r := range d.Rows {
		if r.Tree == "" {
			continue
		}
		if kg[r.Tree] == nil {
			kg[r.Tree] = map[string]*float64{}
			order = append(order, r.Tree)
		}
		kg[r.Tree][string(r.Season)] = r.Kg
		seasons[string(r.Season)] = true
	}
	slices.Sort(order)
	columns := sortedKeys(seasons)
	head := append(heads("tree"), columns...)
	var rows [][]string
	step := max(len(order)/treesShown, 1)
	for i := 0; i < len(order) && len(rows) < treesShown; i += step {
		row := []string{order[i]}
		for _, s := range columns {
			row = append(row, number(kg[order[i]][s], 1))
		}
		rows = append(rows, row)
	}
	t.table(head, rows)
	t.say("demo.trees", "n", len(order), "shown", len(rows))
	fmt.Fprintln(t.out)
	t.yield(d)
}
