package projections_test

import (
	"slices"
	"strings"
	"testing"

	"latewood/events"
	"latewood/events/civil"
	"latewood/projections"
	"latewood/projections/foldtest"
)

// neighbours is a fold that looks at the trees of all blocks that the picks of its block name.
func neighbours() *projections.Fold {
	type state struct{ Trees []string }
	return projections.NewFold("neighbours", 1, projections.Block, func(v *projections.View) *state {
		s := &state{}
		for _, f := range v.Standing() {
			if d, ok := f.Data().(*events.FruitPicked); ok {
				for _, p := range d.Where {
					for _, tree := range v.GroundOf(p.Block).Resolve([]events.Part{p}, f.Time) {
						s.Trees = append(s.Trees, tree.Tree+" "+tree.Cultivar)
					}
				}
			}
		}
		return s
	})
}

func TestGroundOfAnotherBlockMovesTheState(t *testing.T) {
	t.Parallel()
	farm := foldtest.NewFarm(t, "Pacific/Honolulu")
	kilo := &events.Quantity{Value: 10, Unit: "kg"}
	north := farm.Add("2012-01-01", &events.TreePlanted{Tree: "n-1", Block: "north", Cultivar: "Kaimana", Planted: "2012-01-01"})
	farm.Add("2026-06-01T09:00:00-10:00", &events.FruitPicked{Where: events.Where{{Block: "north"}, {Block: "south"}}, Mass: kilo})
	farm.Add("2012-01-01", &events.TreePlanted{Tree: "s-1", Block: "south", Cultivar: "Kaimana", Planted: "2012-01-01"})
	farm.Add("2012-01-01", &events.TreePlanted{Tree: "e-1", Block: "east", Cultivar: "Groff", Planted: "2012-01-01"})
	farm.Add("2020-01-01", &events.TreeMoved{Moves: []events.Move{{Tree: "e-1", Block: "south"}}})
	farm.Add("2021-01-01", &events.TreeTopworked{Where: events.Where{{Block: "south", Trees: []string{"s-1"}}}, Cultivar: "Bosworth"})
	farm.Add("2025-01-01", &events.TreeRemoved{Where: events.Where{{Block: "south", Trees: []string{"e-1"}}}})
	farm.Withdraw(north, north)

	fold := neighbours()
	book := projections.NewBook(events.Standard())
	steps := map[int]string{ // after so many records, what stands in north's state
		3: "n-1 Kaimana", 4: "n-1 Kaimana, s-1 Kaimana", 6: "n-1 Kaimana, e-1 Groff, s-1 Kaimana",
		7: "n-1 Kaimana, e-1 Groff, s-1 Bosworth", 8: "n-1 Kaimana, s-1 Bosworth", 9: "s-1 Bosworth",
	}
	for i, r := range farm.Records {
		if err := book.Add(r); err != nil {
			t.Fatal(err)
		}
		want, asked := steps[i+1]
		if !asked {
			continue
		}
		for _, block := range []string{"north", "south"} {
			state := book.State(fold, block)
			got, err := events.WriteJSON(state)
			if err != nil {
				t.Fatal(err)
			}
			if full, _ := events.WriteJSON(map[string][]string{"Trees": strings.Split(want, ", ")}); string(got) != string(full) {
				t.Errorf("%s after %d records (%s): got %s, want %s", block, i+1, r.Kind, got, full)
			}
		}
	}
	foldtest.Laws(t, farm.Records, []*projections.Fold{fold}, 7)
}

func TestGroundCounts(t *testing.T) {
	t.Parallel()
	farm := foldtest.NewFarm(t, "Pacific/Honolulu")
	n, more := 40, 55
	farm.Add("2010-01-01", &events.BlockEstablished{Block: "north", Name: "North", Area: events.Quantity{Value: 1, Unit: "har"}, BlockFields: events.BlockFields{Trees: &n}})
	farm.Add("", &events.BlockChanged{Block: "north", From: "2020-05-01", BlockFields: events.BlockFields{Trees: &more}})
	ground := farm.Book().View(projections.Key{Class: projections.Block, Code: "north"}).Ground()
	for day, want := range map[string]int{"2009-01-01": 40, "2020-04-30": 40, "2020-05-01": 55} {
		on, err := civil.ParseDate(day)
		if err != nil {
			t.Fatal(err)
		}
		if got, ok := ground.Counted(on); got != want || !ok {
			t.Errorf("on %s: got %d, %v, want %d", day, got, ok, want)
		}
	}
	if _, ok := farm.Book().View(projections.Key{Class: projections.Block, Code: "south"}).Ground().Counted(civil.Date{Year: 2020, Month: 1, Day: 1}); ok {
		t.Error("a block of which nothing is said has a number of trees")
	}
}

// A reading that a correction gives to another station leaves its first one, whichever record comes first.
func TestReadingMovesToAnotherStation(t *testing.T) {
	t.Parallel()
	farm := foldtest.NewFarm(t, "Pacific/Honolulu")
	warm := &events.Quantity{Value: 21, Unit: "Cel"}
	read := farm.Add("2026-01-01T08:00:00-10:00", &events.WeatherRead{Station: "mauka", AirTemperature: warm})
	fix := farm.Correct(read, read, "", &events.WeatherRead{Station: "makai", AirTemperature: warm})
	for name, order := range map[string][]*events.Record{
		"reading first":    {farm.Records[0], read, fix},
		"correction first": {farm.Records[0], fix, read},
	} {
		if got := foldtest.BookOf(t, order).Keys(projections.Station); !slices.Equal(got, []string{"makai"}) {
			t.Errorf("%s: stations %v, want makai alone", name, got)
		}
	}
}
