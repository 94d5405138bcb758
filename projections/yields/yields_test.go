package yields_test

import (
	"flag"
	"fmt"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"latewood/events"
	"latewood/projections"
	"latewood/projections/foldtest"
	"latewood/projections/yields"
)

// TestMain sets the number of property checks: few by default, 2,000 where LATEWOOD_PROOF=1 asks for the full proof.
func TestMain(m *testing.M) {
	flag.Parse()
	checks := "25"
	if os.Getenv("LATEWOOD_PROOF") == "1" {
		checks = "2000"
	}
	if err := flag.Set("rapid.checks", checks); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
	fmt.Println("yields: property checks a test:", checks)
	os.Exit(m.Run())
}

// All of this is invented.
func kilos(v float64) *events.Quantity { return &events.Quantity{Value: v, Unit: "kg"} }

// orchard is a farm with block north: two rows of three trees, planted in 2010, the last one in 2024.
func orchard(t testing.TB) *foldtest.Farm {
	t.Helper()
	farm := foldtest.NewFarm(t, "Pacific/Honolulu")
	farm.Add("2010-01-01", &events.BlockEstablished{Block: "north", Name: "North", Area: events.Quantity{Value: 0.5, Unit: "har"}})
	for row := 1; row <= 2; row++ {
		for position := 1; position <= 3; position++ {
			planted := "2010"
			if row == 2 && position == 3 {
				planted = "2024-07"
			}
			cultivar := "Kaimana"
			if row == 2 {
				cultivar = "Groff"
			}
			farm.Add("", &events.TreePlanted{
				Tree: fmt.Sprintf("n-%d-%d", row, position), Block: "north", Row: fmt.Sprint(row), Position: fmt.Sprint(position),
				Cultivar: cultivar, Planted: planted,
			})
		}
	}
	return farm
}

func trees(codes ...string) events.Where { return events.Where{{Block: "north", Trees: codes}} }
func rows(labels ...string) events.Where { return events.Where{{Block: "north", Rows: labels}} }

// print writes rows as short lines, which tests compare.
func print(rows []yields.Row) string {
	var out []string
	for _, r := range rows {
		line := fmt.Sprintf("%s %s%s%s", r.Season, r.Block, prefix("/", r.Tree), prefix(" ", r.Cultivar))
		if r.Kg == nil {
			line += " -"
		} else {
			line += " " + strconv.FormatFloat(*r.Kg, 'f', -1, 64)
		}
		line += fmt.Sprintf(" %d", r.Picks)
		if r.PicksWithoutKg > 0 {
			line += fmt.Sprintf("(%d)", r.PicksWithoutKg)
		}
		if r.AgeYears != nil {
			line += fmt.Sprintf(" age %d", *r.AgeYears)
		}
		out = append(out, line+" "+string(r.Basis))
	}
	return strings.Join(out, "\n")
}

func prefix(p, s string) string {
	if s == "" {
		return ""
	}
	return p + s
}

func show(v *float64) string {
	if v == nil {
		return "-"
	}
	return strconv.FormatFloat(math.Round(*v*1e5)/1e5, 'f', -1, 64)
}

func TestRows(t *testing.T) {
	t.Parallel()
	const june = "2026-06-10T09:00:00-10:00"
	for _, c := range []struct {
		name string
		add  func(f *foldtest.Farm)
		by   yields.By
		want string
	}{
		{"one tree weighed, the others are measured zeros; the young one is not", func(f *foldtest.Farm) {
			f.Add(june, &events.FruitPicked{Where: trees("n-1-1"), Mass: kilos(12.5), MassBasis: "scale"})
		}, "", `
2026 north/n-1-1 Kaimana 12.5 1 age 16 weighed-tree
2026 north/n-1-2 Kaimana 0 0 age 16 weighed-tree
2026 north/n-1-3 Kaimana 0 0 age 16 weighed-tree
2026 north/n-2-1 Groff 0 0 age 16 weighed-tree
2026 north/n-2-2 Groff 0 0 age 16 weighed-tree`},
		{"the mass of a row goes to its bearing trees, by largest remainder", func(f *foldtest.Farm) {
			f.Add(june, &events.FruitPicked{Where: rows("2"), Mass: &events.Quantity{Value: 10001, Unit: "mg"}, MassBasis: "packer-ticket"})
		}, "", `
2026 north/n-2-1 Groff 0.005001 1 age 16 weighed-row-shared
2026 north/n-2-2 Groff 0.005 1 age 16 weighed-row-shared`},
		{"ties go by code, one milligram each", func(f *foldtest.Farm) {
			f.Add(june, &events.FruitPicked{Where: rows("1"), Mass: &events.Quantity{Value: 10001, Unit: "mg"}, MassBasis: "scale"})
		}, "", `
2026 north/n-1-1 Kaimana 0.003334 1 age 16 weighed-row-shared
2026 north/n-1-2 Kaimana 0.003334 1 age 16 weighed-row-shared
2026 north/n-1-3 Kaimana 0.003333 1 age 16 weighed-row-shared`},
		{"a young tree alone takes its own fruit", func(f *foldtest.Farm) {
			f.Add(june, &events.FruitPicked{Where: trees("n-2-3"), Mass: kilos(1), MassBasis: "scale"})
			f.Add(june, &events.FruitPicked{Where: rows("1"), Mass: kilos(3), MassBasis: "scale"})
		}, "", `
2026 north/n-1-1 Kaimana 1 1 age 16 weighed-row-shared
2026 north/n-1-2 Kaimana 1 1 age 16 weighed-row-shared
2026 north/n-1-3 Kaimana 1 1 age 16 weighed-row-shared
2026 north/n-2-3 Groff 1 1 age 1 weighed-tree`},
		{"bearing age is a setting of the day", func(f *foldtest.Farm) {
			f.Add("2026-01-01", &events.SettingAdopted{Name: "bearing-age", Value: events.Raw("1"), Unit: "a", From: "2026-06-01"})
			f.Add(june, &events.FruitPicked{Where: rows("2"), Mass: kilos(3), MassBasis: "scale"})
			f.Add("2026-05-10T09:00:00-10:00", &events.FruitPicked{Where: rows("2"), Mass: kilos(2), MassBasis: "scale"})
		}, "", `
2026 north/n-2-1 Groff 2 2 age 16 weighed-row-shared
2026 north/n-2-2 Groff 2 2 age 16 weighed-row-shared
2026 north/n-2-3 Groff 1 1 age 1 weighed-row-shared`},
		{"the weakest basis shows", func(f *foldtest.Farm) {
			f.Add(june, &events.FruitPicked{Where: trees("n-1-1"), Mass: kilos(4), MassBasis: "scale"})
			f.Add(june, &events.FruitPicked{Where: events.Where{{Block: "north", Except: []string{"n-2-1", "n-2-2"}}}, Mass: kilos(3), MassBasis: "scale"})
			f.Add(june, &events.FruitPicked{Where: trees("n-1-2"), Mass: kilos(4), MassBasis: "estimated"})
			f.Add(june, &events.FruitPicked{Where: trees("n-1-3", "n-1-3"), Mass: kilos(4)})
		}, "", `
2026 north/n-1-1 Kaimana 5 2 age 16 weighed-block-shared
2026 north/n-1-2 Kaimana 5 2 age 16 estimated
2026 north/n-1-3 Kaimana 5 2 age 16 estimated`},
		{"two sides of one tree are one tree", func(f *foldtest.Farm) {
			f.Add(june, &events.FruitPicked{Where: events.Where{
				{Block: "north", Trees: []string{"n-1-1"}, Side: "east"}, {Block: "north", Trees: []string{"n-1-1"}, Side: "west"},
			}, Mass: kilos(4), MassBasis: "scale"})
			f.Add(june, &events.FruitPicked{Where: rows("2"), Mass: kilos(2), MassBasis: "scale"})
		}, "", `
2026 north/n-1-1 Kaimana 4 1 age 16 weighed-tree
2026 north/n-2-1 Groff 1 1 age 16 weighed-row-shared
2026 north/n-2-2 Groff 1 1 age 16 weighed-row-shared`},
		{"containers weigh what the setting says on that day", func(f *foldtest.Farm) {
			f.Add("2026-01-01", &events.SettingAdopted{Name: "container-mass.lug", Value: events.Raw("20"), Unit: "[lb_av]", From: "2026-06-01"})
			f.Add("2026-01-01", &events.SettingAdopted{Name: "container-mass.lug", Value: events.Raw("10"), Unit: "kg", From: "2026-06-20"})
			three := 3
			lugs := []events.Container{{Kind: "lug", Count: &three}, {Kind: "lug"}}
			f.Add(june, &events.FruitPicked{Where: trees("n-1-1"), Containers: lugs, MassBasis: "counted"})
			f.Add("2026-06-21", &events.FruitPicked{Where: trees("n-1-2"), Containers: lugs, MassBasis: "scale"})
			f.Add("2026-05-10T09:00:00-10:00", &events.FruitPicked{Where: rows("2"), Containers: lugs})
			f.Add("2026-06-21", &events.FruitPicked{Where: trees("n-1-3"), Containers: []events.Container{{Kind: "lug"}, {Kind: "bin"}}, MassBasis: "counted"})
			f.Add("2026-06-21", &events.FruitPicked{Where: trees("n-1-3"), Mass: kilos(5), MassBasis: "scale"})
		}, "", `
2026 north/n-1-1 Kaimana 36.28739 1 age 16 counted
2026 north/n-1-2 Kaimana 40 1 age 16 counted
2026 north/n-1-3 Kaimana 5 2(1) age 16 counted
2026 north/n-2-1 Groff - 1(1) age 16 estimated
2026 north/n-2-2 Groff - 1(1) age 16 estimated`},
		{"assessed as none, and what was said last counts", func(f *foldtest.Farm) {
			f.Add(june, &events.FruitPicked{Where: rows("1"), Mass: kilos(3), MassBasis: "scale"})
			f.Add("2026-04-01", &events.CropAssessed{Where: rows("2"), Crop: "none", Method: "eye"})
			f.Add("2026-05-01", &events.CropAssessed{Where: trees("n-2-1"), Crop: "light", Method: "eye"})
			f.Add("2026-04-01", &events.CropAssessed{Where: trees("n-1-1"), Crop: "none", Method: "eye"})
		}, "", `
2026 north/n-1-1 Kaimana 1 1 age 16 weighed-row-shared
2026 north/n-1-2 Kaimana 1 1 age 16 weighed-row-shared
2026 north/n-1-3 Kaimana 1 1 age 16 weighed-row-shared
2026 north/n-2-2 Groff 0 0 age 16 assessed`},
		{"a crop that failed is no measured zero", func(f *foldtest.Farm) {
			f.Add("2026-04-01", &events.CropAssessed{Where: rows("2"), Crop: "failed", Method: "eye"})
		}, "", ""},
		{"assessed without any pick, and after the harvest for the next crop", func(f *foldtest.Farm) {
			f.Add("2025-04-01", &events.CropAssessed{Where: trees("n-1-1"), Crop: "none", Method: "eye"})
			f.Add("2026-05-01T09:00:00-10:00", &events.FruitPicked{Where: rows("2"), Mass: kilos(2), MassBasis: "scale"})
			f.Add("2026-08-01", &events.CropAssessed{Where: trees("n-1-1"), Crop: "none", Method: "eye"})
		}, "", `
2025 north/n-1-1 Kaimana 0 0 age 15 assessed
2026 north/n-2-1 Groff 1 1 age 16 weighed-row-shared
2026 north/n-2-2 Groff 1 1 age 16 weighed-row-shared
2027 north/n-1-1 Kaimana 0 0 age 16 assessed`},
		{"a tree that is gone by the last pick is no measured zero", func(f *foldtest.Farm) {
			f.Add("2026-06-11", &events.TreeRemoved{Where: trees("n-2-2")})
			f.Add(june, &events.FruitPicked{Where: trees("n-1-1"), Mass: kilos(3), MassBasis: "scale"})
			f.Add("2026-06-12", &events.FruitPicked{Where: trees("n-1-2", "n-1-3", "n-2-1"), Mass: kilos(3), MassBasis: "scale"})
		}, "", `
2026 north/n-1-1 Kaimana 3 1 age 16 weighed-tree
2026 north/n-1-2 Kaimana 1 1 age 16 weighed-row-shared
2026 north/n-1-3 Kaimana 1 1 age 16 weighed-row-shared
2026 north/n-2-1 Groff 1 1 age 16 weighed-row-shared`},
		{"a tree that stands elsewhere takes nothing", func(f *foldtest.Farm) {
			f.Add(june, &events.FruitPicked{Where: trees("n-1-1", "s-9"), Mass: kilos(3), MassBasis: "scale"})
			f.Add(june, &events.FruitPicked{Where: rows("7"), Mass: kilos(5), MassBasis: "scale"})
		}, "", `
2026 north/n-1-1 Kaimana 3 1 age 16 weighed-row-shared`},
		{"by block, what no tree takes is in it", func(f *foldtest.Farm) {
			f.Add(june, &events.FruitPicked{Where: trees("n-1-1", "s-9"), Mass: kilos(3), MassBasis: "scale"})
			f.Add(june, &events.FruitPicked{Where: rows("7"), Mass: kilos(5), MassBasis: "scale"})
		}, yields.ByBlock, `
2026 north 8 2 weighed-row-shared`},
		{"by cultivar, a pick across two cultivars counts for both", func(f *foldtest.Farm) {
			f.Add(june, &events.FruitPicked{Where: events.Where{{Block: "north"}}, Mass: kilos(10), MassBasis: "scale"})
			f.Add(june, &events.FruitPicked{Where: trees("n-2-1"), Mass: kilos(1), MassBasis: "scale"})
		}, yields.ByCultivar, `
2026  Groff 5 2 weighed-block-shared
2026  Kaimana 6 1 weighed-block-shared`},
		{"a season is the crop year", func(f *foldtest.Farm) {
			f.Add("2025-09-30T23:00:00-10:00", &events.FruitPicked{Where: rows("2"), Mass: kilos(2), MassBasis: "scale"})
			f.Add("2025-10-01T01:00:00-10:00", &events.FruitPicked{Where: rows("2"), Mass: kilos(4), MassBasis: "scale"})
		}, yields.ByBlock, `
2025 north 2 1 weighed-row-shared
2026 north 4 1 weighed-row-shared`},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			farm := orchard(t)
			c.add(farm)
			got := print(yields.Report(farm.Book(), yields.Filter{By: c.by}).Rows)
			if want := strings.TrimPrefix(c.want, "\n"); got != want {
				t.Errorf("got\n%s\nwant\n%s", got, want)
			}
			foldtest.Laws(t, farm.Records, []*projections.Fold{yields.Fold()}, 3)
		})
	}
}

func TestCorrectionAndWithdrawal(t *testing.T) {
	t.Parallel()
	farm := orchard(t)
	pick := farm.Add("2026-06-10T09:00:00-10:00", &events.FruitPicked{Where: trees("n-1-1"), Mass: kilos(125), MassBasis: "scale"})
	gone := farm.Add("2026-06-10T10:00:00-10:00", &events.FruitPicked{Where: trees("n-1-2"), Mass: kilos(9), MassBasis: "scale"})
	farm.Correct(pick, pick, "2025-06-10T09:00:00-10:00", &events.FruitPicked{Where: trees("n-1-1"), Mass: kilos(12.5), MassBasis: "scale"})
	farm.Withdraw(gone, gone)
	got := print(yields.Report(farm.Book(), yields.Filter{By: yields.ByBlock}).Rows)
	if want := "2025 north 12.5 1 weighed-tree"; got != want {
		t.Errorf("got %s, want %s", got, want)
	}
	foldtest.Laws(t, farm.Records, []*projections.Fold{yields.Fold()}, 5)
}

func TestBlocksAndTrees(t *testing.T) {
	t.Parallel()
	farm := orchard(t)
	for year, masses := range map[int][2]float64{2022: {45.4, 80}, 2023: {12, 0}, 2024: {50, 80}, 2025: {15, 0}} {
		for i, tree := range []string{"n-1-1", "n-1-2"} {
			if masses[i] > 0 {
				farm.Add(fmt.Sprintf("%d-06-01", year), &events.FruitPicked{Where: trees(tree), Mass: kilos(masses[i]), MassBasis: "scale"})
			}
		}
	}
	farm.Add("2026-06-01", &events.FruitPicked{Where: events.Where{{Block: "north"}}, Mass: kilos(100), MassBasis: "scale"})
	farm.Add("", &events.BlockChanged{Block: "north", From: "2026-01-01", Area: &events.Quantity{Value: 1, Unit: "har"}})
	doc := yields.Report(farm.Book(), yields.Filter{})

	var lines []string
	for _, tr := range doc.Trees {
		lines = append(lines, fmt.Sprintf("%s %d %s %s %s", tr.Tree, tr.Seasons, show(tr.MeanKg), show(tr.I), show(tr.B)))
	}
	got := strings.Join(lines, "\n")
	want := "n-1-1 4 30.6 0.57775 1\nn-1-2 4 40 1 1\nn-1-3 4 0 - 0\nn-2-1 4 0 - 0\nn-2-2 4 0 - 0"
	if got != want {
		t.Errorf("trees: got\n%s\nwant\n%s", got, want)
	}
	lines = nil
	for _, b := range doc.Blocks {
		lines = append(lines, fmt.Sprintf("%s %s %s %s %s %d", b.Season, b.Block, show(b.Kg), show(b.KgPerTree), show(b.KgPerHa), b.BearingTrees))
	}
	got = strings.Join(lines, "\n")
	want = "2022 north 125.4 25.08 250.8 5\n2023 north 12 2.4 24 5\n2024 north 130 26 260 5\n2025 north 15 3 30 5\n2026 north 100 20 100 5"
	if got != want {
		t.Errorf("blocks: got\n%s\nwant\n%s", got, want)
	}
	if len(doc.Notes) != 2 {
		t.Errorf("notes: got %q, want one about shares and one about indices", doc.Notes)
	}
	if one := yields.Report(farm.Book(), yields.Filter{Season: "2024"}); len(one.Blocks) != 1 || len(one.Rows) != 5 || len(one.Trees) != 5 {
		t.Errorf("season 2024: got %d blocks, %d rows, %d trees, want 1, 5, 5", len(one.Blocks), len(one.Rows), len(one.Trees))
	}
}

func TestPickOverTwoBlocks(t *testing.T) {
	t.Parallel()
	farm := orchard(t)
	both := events.Where{{Block: "north", Trees: []string{"n-1-1", "n-1-2"}}, {Block: "a-south"}}
	pick := farm.Add("2026-06-10T09:00:00-10:00", &events.FruitPicked{Where: both, Mass: &events.Quantity{Value: 11, Unit: "mg"}, MassBasis: "scale"})
	farm.Add("2026-06-11T09:00:00-10:00", &events.FruitPicked{Where: both, Containers: []events.Container{{Kind: "lug"}}, MassBasis: "counted"})
	// The trees of the other block come later than the pick.
	for _, tree := range []string{"s-1", "s-2"} {
		farm.Add("", &events.TreePlanted{Tree: tree, Block: "a-south", Cultivar: "Kaimana", Planted: "2012-03-01"})
	}
	doc := yields.Report(farm.Book(), yields.Filter{})
	got := print(doc.Rows)
	// In block north all picks name trees, so the others there are measured zeros; in a-south they do not.
	want := `2026 a-south/s-1 Kaimana 0.000003 2(1) age 14 counted
2026 a-south/s-2 Kaimana 0.000002 2(1) age 14 counted
2026 north/n-1-1 Kaimana 0.000003 2(1) age 16 counted
2026 north/n-1-2 Kaimana 0.000003 2(1) age 16 counted
2026 north/n-1-3 Kaimana 0 0 age 16 weighed-tree
2026 north/n-2-1 Groff 0 0 age 16 weighed-tree
2026 north/n-2-2 Groff 0 0 age 16 weighed-tree`
	if got != want {
		t.Errorf("got\n%s\nwant\n%s", got, want)
	}
	if len(doc.WithoutKg) != 2 || !strings.Contains(doc.WithoutKg[0].Why, "container-mass.lug") {
		t.Errorf("picks without kg: got %+v, want the second pick for each block, with the setting's name", doc.WithoutKg)
	}
	got = print(yields.Report(farm.Book(), yields.Filter{By: yields.ByCultivar}).Rows)
	if want := "2026  Groff 0 0 weighed-tree\n2026  Kaimana 0.000011 2(1) counted"; got != want {
		t.Errorf("by cultivar: got %s, want %s", got, want)
	}
	foldtest.Laws(t, farm.Records, []*projections.Fold{yields.Fold()}, 9)
	farm.Withdraw(pick, pick)
	foldtest.Laws(t, farm.Records, []*projections.Fold{yields.Fold()}, 10)
}

func TestBlockWhoseTreesAreNotListed(t *testing.T) {
	t.Parallel()
	farm := orchard(t)
	n := 14
	farm.Add("2010-01-01", &events.BlockEstablished{Block: "west", Name: "West", Area: events.Quantity{Value: 2000, Unit: "m2"}, BlockFields: events.BlockFields{Trees: &n}})
	farm.Add("", &events.TreePlanted{Tree: "w-study", Block: "west", Cultivar: "Bosworth", Planted: "2011"})
	farm.Add("2026-06-01T08:00:00-10:00", &events.FruitPicked{Where: events.Where{{Block: "west"}}, Mass: kilos(70), MassBasis: "scale"})
	farm.Add("2026-06-02T08:00:00-10:00", &events.FruitPicked{Where: events.Where{{Block: "west", Trees: []string{"w-study"}}}, Mass: kilos(6), MassBasis: "scale"})
	// 14 unlisted trees and two listed ones take part: 7/8 and 1/8.
	farm.Add("2026-06-03T08:00:00-10:00", &events.FruitPicked{
		Where: events.Where{{Block: "west", Rows: []string{"3"}}, {Block: "north", Trees: []string{"n-1-1", "n-1-2"}}}, Mass: kilos(16), MassBasis: "scale",
	})
	farm.Add("2025-04-01", &events.CropAssessed{Where: events.Where{{Block: "west"}}, Crop: "none", Method: "eye"})
	doc := yields.Report(farm.Book(), yields.Filter{})
	if got, want := print(doc.Rows), `2025 west/w-study Bosworth 0 0 age 14 assessed
2026 north/n-1-1 Kaimana 1 1 age 16 weighed-row-shared
2026 north/n-1-2 Kaimana 1 1 age 16 weighed-row-shared
2026 north/n-1-3 Kaimana 0 0 age 16 weighed-tree
2026 north/n-2-1 Groff 0 0 age 16 weighed-tree
2026 north/n-2-2 Groff 0 0 age 16 weighed-tree
2026 west/w-study Bosworth 6 1 age 15 weighed-tree`; got != want {
		t.Errorf("got\n%s\nwant\n%s", got, want)
	}
	var lines []string
	for _, b := range doc.Blocks {
		lines = append(lines, fmt.Sprintf("%s %s %s %s %s %d", b.Season, b.Block, show(b.Kg), show(b.KgPerTree), show(b.KgPerHa), b.BearingTrees))
	}
	if got, want := strings.Join(lines, "\n"), "2026 north 2 0.4 4 5\n2025 west 0 0 0 14\n2026 west 90 6.42857 450 14"; got != want {
		t.Errorf("blocks: got\n%s\nwant\n%s", got, want)
	}
	foldtest.Laws(t, farm.Records, []*projections.Fold{yields.Fold()}, 11)
}

// Whatever way a harvest is cut into records, its total is the same to the milligram, trees add up to it, and the order of
// arrival does not matter.
func TestSplitsAddUp(t *testing.T) {
	t.Parallel()
	wheres := []events.Where{
		trees("n-1-1"), trees("n-1-1", "n-2-3"), rows("1"), rows("1", "2"), {{Block: "north"}}, trees("n-2-3"),
		{{Block: "north", Rows: []string{"2"}}, {Block: "south"}}, {{Block: "south", Trees: []string{"s-2"}}, {Block: "north", Trees: []string{"n-1-2"}}},
		{{Block: "north", Except: []string{"n-1-1"}}},
	}
	rapid.Check(t, func(rt *rapid.T) {
		farm := orchard(t)
		for _, tree := range []string{"s-1", "s-2", "s-3"} {
			farm.Add("", &events.TreePlanted{Tree: tree, Block: "south", Cultivar: "Kaimana", Planted: "2012-03-01"})
		}
		total := int64(0)
		for range rapid.IntRange(1, 4).Draw(rt, "harvests") {
			left := rapid.Int64Range(1, 90_000_000).Draw(rt, "mg")
			total += left
			where := rapid.SampledFrom(wheres).Draw(rt, "where")
			day := rapid.IntRange(1, 28).Draw(rt, "day")
			for left > 0 {
				mg := rapid.Int64Range(1, left).Draw(rt, "part")
				if rapid.Bool().Draw(rt, "rest") {
					mg = left
				}
				left -= mg
				farm.Add(fmt.Sprintf("2026-06-%02dT09:00:00-10:00", day), &events.FruitPicked{Where: where, Mass: &events.Quantity{Value: float64(mg), Unit: "mg"}, MassBasis: "scale"})
				if left > 0 && rapid.IntRange(0, 9).Draw(rt, "stop") == 0 {
					total -= left
					left = 0
				}
			}
		}
		sums := map[yields.By]float64{}
		for _, by := range []yields.By{yields.ByTree, yields.ByBlock, yields.ByCultivar} {
			var mg float64
			for _, r := range yields.Report(farm.Book(), yields.Filter{By: by}).Rows {
				mg += math.Round(*r.Kg * 1e6)
			}
			sums[by] = mg
		}
		for by, mg := range sums {
			if mg != float64(total) {
				rt.Errorf("by %s: %v mg, picked %d mg", by, mg, total)
			}
		}
		foldtest.Laws(t, farm.Records, []*projections.Fold{yields.Fold()}, rapid.Uint64().Draw(rt, "seed"))
	})
}

func BenchmarkFold(b *testing.B) {
	farm := foldtest.NewFarm(b, "Pacific/Honolulu")
	for i := range 400 {
		farm.Add("", &events.TreePlanted{Tree: fmt.Sprintf("n-%03d", i), Block: "north", Row: fmt.Sprint(i / 20), Cultivar: "Kaimana", Planted: "2010"})
	}
	for year := 2016; year < 2026; year++ {
		for i := range 400 {
			farm.Add(fmt.Sprintf("%d-06-%02dT09:00:00-10:00", year, i%28+1), &events.FruitPicked{Where: trees(fmt.Sprintf("n-%03d", i)), Mass: kilos(12.34), MassBasis: "scale"})
		}
	}
	book := farm.Book()
	fold := yields.Fold()
	for b.Loop() {
		// One more record makes the block's state be computed anew.
		b.StopTimer()
		if err := book.Add(farm.Add("2025-07-01T09:00:00-10:00", &events.FruitPicked{Where: trees("n-001"), Mass: kilos(1)})); err != nil {
			b.Fatal(err)
		}
		b.StartTimer()
		book.State(fold, "north")
	}
	b.ReportMetric(float64(len(farm.Records)), "records")
}

func TestBearingFromTheDayOn(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name, planted, pick string
		bears               bool
	}{
		{"on the day", "2023-06-10", "2026-06-10T09:00:00-10:00", true},
		{"a day before", "2023-06-11", "2026-06-10T09:00:00-10:00", false},
		{"a leap day", "2020-02-29", "2023-02-28T09:00:00-10:00", false},
		{"the day after", "2020-02-29", "2023-03-01T09:00:00-10:00", true},
		{"a month counts from its first day", "2023-06", "2026-06-01T09:00:00-10:00", true},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			farm := foldtest.NewFarm(t, "Pacific/Honolulu")
			for tree, planted := range map[string]string{"a": c.planted, "b": c.pick[:7]} { // b is new: it takes a share only where a does not bear
				farm.Add("", &events.TreePlanted{Tree: tree, Block: "north", Row: "1", Cultivar: "Kaimana", Planted: planted})
			}
			farm.Add(c.pick, &events.FruitPicked{Where: rows("1"), Mass: kilos(2), MassBasis: "scale"})
			got := yields.Report(farm.Book(), yields.Filter{})
			if bears := len(got.Rows) == 1 && *got.Rows[0].Kg == 2; bears != c.bears {
				t.Errorf("bears: got %v, want %v; rows\n%s", bears, c.bears, print(got.Rows))
			}
			if want := map[bool]int{true: 1, false: 0}[c.bears]; got.Blocks[0].BearingTrees != want {
				t.Errorf("bearing trees: got %d, want %d", got.Blocks[0].BearingTrees, want)
			}
		})
	}
}

// At least half of the stated number must be listed for a block's mass to go to its trees.
func TestListedByHalf(t *testing.T) {
	t.Parallel()
	for stated, want := range map[int]int64{8: 0, 4: 0, 9: 5_000_000, 40: 5_000_000} {
		farm := foldtest.NewFarm(t, "Pacific/Honolulu")
		farm.Add("2010-01-01", &events.BlockEstablished{Block: "north", Name: "North", Area: events.Quantity{Value: 1, Unit: "har"}, BlockFields: events.BlockFields{Trees: &stated}})
		for _, tree := range []string{"a", "b", "c", "d"} {
			farm.Add("", &events.TreePlanted{Tree: tree, Block: "north", Cultivar: "Kaimana", Planted: "2010"})
		}
		farm.Add("2026-06-01", &events.FruitPicked{Where: events.Where{{Block: "north"}}, Mass: kilos(5), MassBasis: "scale"})
		s := projections.StateOf[yields.State](farm.Book(), yields.Fold(), "north").Seasons[0]
		if s.Unassigned != want || s.MG != 5_000_000 {
			t.Errorf("%d trees stated, 4 listed: %d mg in no tree, want %d", stated, s.Unassigned, want)
		}
	}
}
