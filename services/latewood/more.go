package main

import (
	"context"
	"encoding/csv"
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"

	"latewood/events"
	"latewood/projections/weather"
	"latewood/projections/yields"
	"latewood/services/internal/app"
)

func sortedKeys[V any](m map[string]V) []string { return slices.Sorted(maps.Keys(m)) }

// report asks for a report and writes it in a format: text on a terminal, JSON, or a table as CSV.
func report[D any](ctx context.Context, t *terminal, name string, q any, format, path string, show func(D), table func(D) ([]string, [][]string)) (int, error) {
	if t.json {
		format = "json"
	}
	out, done, err := t.output(path)
	if err != nil {
		return 1, err
	}
	exit, err := t.with(ctx, func(c app.Connection) (int, error) {
		document, exit, err := c.Call(ctx, name, q, nil, nil)
		if document == nil {
			return exit, err
		}
		if format == "json" {
			_, werr := fmt.Fprintf(out, "%s\n", document)
			return exit, firstError(err, werr)
		}
		var d D
		if derr := events.ReadJSON(document, &d); derr != nil {
			return 1, derr
		}
		if format == "csv" {
			return exit, firstError(err, writeCSV(out, d, table))
		}
		screen := t.out
		t.out = out
		show(d)
		t.out = screen
		return exit, err
	})
	return exit, firstError(err, done(err == nil))
}

func writeCSV[D any](w io.Writer, d D, table func(D) ([]string, [][]string)) error {
	head, rows := table(d)
	out := csv.NewWriter(w)
	out.UseCRLF = true // RFC 4180
	if err := out.Write(head); err != nil {
		return err
	}
	for _, r := range rows {
		for i := range r {
			r[i] = guard(head[i], r[i])
		}
		if err := out.Write(r); err != nil {
			return err
		}
	}
	out.Flush()
	return out.Error()
}

func weatherTable(d weather.Doc) (head []string, rows [][]string) {
	head = []string{"station", "period", "days", "hours", "covered_hours", "hours_below_20", "hours_at_or_above_20",
		"degree_days", "base_c", "method", "min_c", "max_c", "rain_mm", "frost_hours"}
	for _, r := range d.Rows {
		rows = append(rows, []string{
			r.Station, r.Period, fmt.Sprint(r.Days), exact(&r.Hours), exact(&r.CoveredHours), exact(r.HoursBelow20), exact(r.HoursAbove20),
			exact(r.DegreeDays.Value), exact(&r.DegreeDays.Base), r.DegreeDays.Method, exact(r.MinC), exact(r.MaxC), exact(r.RainMm), exact(r.FrostHours),
		})
	}
	return head, rows
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

// guard keeps a spreadsheet from taking a text for a formula: a quote stands before what would begin one. Columns of
// quantities hold numbers, and a negative one is no formula.
func guard(column, cell string) string {
	if cell == "" || strings.HasSuffix(column, "]") {
		return cell
	}
	if strings.ContainsRune("=+-@\t\x00", rune(cell[0])) && !isNumber(cell) {
		return "'" + cell
	}
	return cell
}
