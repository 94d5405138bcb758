package shed_test

import (
	"bytes"
	"slices"
	"strings"
	"testing"
	"time"

	"latewood/events"
	"latewood/events/civil"
	"latewood/projections/foldtest"
	"latewood/projections/trails"
	"latewood/services/report"
	"latewood/services/report/shed"
)

func q(value float64, unit string) *events.Quantity {
	return &events.Quantity{Value: value, Unit: unit}
}

var at = time.Date(2026, 7, 1, 0, 0, 0, 0, time.UTC)

// farm has one record of every critical tracking event; each name is invented.
func farm(t *testing.T) *foldtest.Farm {
	t.Helper()
	f := foldtest.NewFarm(t, "Pacific/Honolulu")
	shedOf := &events.Party{Name: "Shed (invented)", Phone: "555 0100", Address: "1 Invented Road"}
	paper := &events.Reference{Type: "field tag", Number: "7"}
	f.Add("2010-01-01", &events.BlockEstablished{Block: "north", Name: "North block", Area: *q(0.5, "har")})
	f.Add("", &events.TreePlanted{Tree: "n1", Block: "north", Row: "1", Position: "1", Cultivar: "Kaimana", Planted: "2012-03-01"})
	pick := f.Add("2026-06-04T09:00:00-10:00", &events.FruitPicked{Where: events.Where{{Block: "north"}}, Mass: q(100, "[lb_av]"), NextRecipient: shedOf, ReferenceDocument: paper})
	f.Add("", &events.PickCooled{Picks: []string{pick.ID.String()}, Date: "2026-06-04", Location: shedOf, NextRecipient: shedOf, ReferenceDocument: paper})
	load := f.Add("", &events.FruitReceived{Delivery: "N7", Source: &events.Party{Name: "Neighbour (invented)", Phone: "555 0101"}, SourceCovered: "yes", Date: "2026-06-04", Commodity: "lychee", Variety: "Bengal",
		Amount: q(50, "kg"), GrowingArea: "Lower field", HarvestDates: []string{"2026-06-03"}})
	fields := func(day string, kg float64) events.LotFields {
		return events.LotFields{Product: "lychee, carton", Packed: &events.Packed{Count: 1, Kind: "carton", NetMass: q(kg, "kg")}, Location: shedOf, Date: day, ReceivedDate: day, Harvester: shedOf, ReferenceDocument: paper}
	}
	f.Add("", &events.LotPacked{Lot: "L1", Inputs: []events.PackInput{{Pick: pick.ID.String(), Mass: q(40, "kg")}, {Received: load.ID.String(), Mass: q(50, "kg")}}, LotFields: fields("2026-06-05", 90)})
	f.Add("", &events.LotRepacked{Lot: "L2", Inputs: []events.LotInput{{Lot: "L1", Amount: q(30, "kg")}}, LotFields: fields("2026-06-06", 30)})
	travels := events.LotTravels{Date: "2026-06-07", From: shedOf, To: shedOf, ProductDescription: "lychee, carton", LotCodeSource: shedOf, ReferenceDocument: paper}
	f.Add("", &events.LotReceived{Lot: "X1", Amount: q(5, "kg"), PreviousSource: shedOf, LotTravels: travels})
	f.Add("", &events.LotShipped{Lot: "L2", Amount: q(20, "kg"), Recipient: shedOf, LotTravels: travels})
	return f
}

// Every event has its rows, every row a cell for each column, and two sources of one lot are two rows.
func TestSheet(t *testing.T) {
	t.Parallel()
	b := farm(t).Book()
	r := shed.Sheet(b, shed.Query{At: at})
	rows := map[string]int{}
	for _, table := range r.Data {
		rows[table.Key] = len(table.Rows)
		for _, row := range table.Rows {
			if len(row) != len(table.Columns) {
				t.Errorf("%s: a row of %d cells under %d columns", table.Key, len(row), len(table.Columns))
			}
		}
	}
	for _, want := range []struct {
		table string
		rows  int
	}{{"harvesting", 1}, {"cooling", 1}, {"packing", 2}, {"shipping", 1}, {"receiving", 1}, {"transformation", 1}, {"map", len(trails.Elements())}} {
		if rows[want.table] != want.rows {
			t.Errorf("%s has %d rows, want %d", want.table, rows[want.table], want.rows)
		}
	}
	csv := func(q shed.Query, table string) string {
		q.At = at
		var out bytes.Buffer
		if _, err := shed.Sheet(b, q).Render(&out, report.AsCSV, report.Options{Table: table}); err != nil {
			t.Fatal(err)
		}
		return out.String()
	}
	if got := csv(shed.Query{}, "harvesting"); !strings.Contains(got, ",Kaimana,100,[lb_av],North block,2026-06-04,Shed (invented),555 0100,1 Invented Road,Tern Hollow,") {
		t.Errorf("harvesting: %s", got)
	}
	if got := csv(shed.Query{}, "packing"); !strings.Contains(got, "L1,lychee Bengal,2026-06-05,50,kg,Neighbour (invented),555 0101,Lower field,") {
		t.Errorf("packing: %s", got)
	}
	day := func(text string) civil.Date {
		d, err := civil.ParseDate(text)
		if err != nil {
			t.Fatal(err)
		}
		return d
	}
	for _, c := range []struct {
		name  string
		q     shed.Query
		table string
		has   bool
	}{
		{"the lot behind a repacked one", shed.Query{Lots: []string{"L2"}}, "packing", true},
		{"another lot", shed.Query{Lots: []string{"X1"}}, "packing", false},
		{"its picks", shed.Query{Lots: []string{"X1"}}, "harvesting", false},
		{"before", shed.Query{To: day("2026-06-03")}, "harvesting", false},
		{"after", shed.Query{From: day("2026-06-08")}, "shipping", false},
		{"a cultivar", shed.Query{Commodity: "kaim"}, "harvesting", true},
		{"another cultivar", shed.Query{Commodity: "souey"}, "harvesting", false},
	} {
		if has := strings.Count(csv(c.q, c.table), "\n") > 1; has != c.has {
			t.Errorf("%s: rows %v, want %v", c.name, has, c.has)
		}
	}
	var first, second bytes.Buffer
	for _, out := range []*bytes.Buffer{&first, &second} {
		if _, err := shed.Sheet(b, shed.Query{At: at}).Render(out, report.AsXLSX, report.Options{}); err != nil {
			t.Fatal(err)
		}
	}
	if !slices.Equal(first.Bytes(), second.Bytes()) || first.Len() == 0 {
		t.Errorf("the workbook has other bytes the second time")
	}
}
