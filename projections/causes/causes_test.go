package causes_test

import (
	"fmt"
	"math/rand/v2"
	"os"
	"slices"
	"strings"
	"testing"

	"latewood/events/civil"
	"latewood/projections/causes"
	"latewood/projections/foldtest"
	"latewood/projections/grovetest"
)

// named says by which names this package calls what the generator did. A cause and its only possible trace count as one:
// an unpruned block flushes in patches, and a late prune leaves its leaves immature.
var named = map[string][]string{
	"young": {"too-young"}, "seedlings": {"seedling-or-cultivar"}, "unpruned": {"not-pruned", "flushes-in-patches"}, "late-feed": {"late-flush"},
	"pruned-late": {"leaves-not-mature"}, "warm": {"warm-at-break"}, "heavy-before": {"heavy-crop-before"}, "regulator": {"girdled-or-regulator"},
	"mites": {"mites-or-disease"}, "frost": {"weather-in-bloom"}, "no-bees": {"no-pollination"}, "dropped": {"fruit-drop"},
	"birds": {"birds-or-theft"}, "left": {"picked-unrecorded"},
}

func ask(t *testing.T, f *foldtest.Farm) causes.Doc {
	t.Helper()
	doc, err := causes.Why(f.Book(), "north", "2025", civil.Date{Year: 2025, Month: 8, Day: 1})
	if err != nil {
		t.Fatal(err)
	}
	return doc
}

// Seasons spoiled by one known cause have it first in 90 of 100, by two of one side of the bloom both among the first three in
// 80. 14 seasons each, or 100 where LATEWOOD_PROOF=1 asks for the full proof. The seasons are invented.
func TestConfusion(t *testing.T) {
	t.Parallel()
	seasons := 14
	if os.Getenv("LATEWOOD_PROOF") == "1" {
		seasons = 100
	}
	all := grovetest.Causes()
	first := 0
	table := map[string]map[string]int{}
	for i := range seasons {
		did := all[i%len(all)]
		d := ask(t, grovetest.Spoil(t, uint64(i), false, did))
		got := d.Causes[0].Cause
		if table[did] == nil {
			table[did] = map[string]int{}
		}
		table[did][got]++
		if slices.Contains(named[did], got) {
			first++
		}
		if d.Verdict == "" || len(d.Next) == 0 {
			t.Errorf("%s: no verdict or nothing to look at next: %+v", did, d)
		}
	}
	both := 0
	r := rand.New(rand.NewPCG(8, 8))
	var missed []string
	for i := range seasons {
		a := all[i%len(all)]
		b := all[r.IntN(len(all))]
		for b == a || grovetest.Green(b) != grovetest.Green(a) || clash(a, b) {
			b = all[r.IntN(len(all))]
		}
		d := ask(t, grovetest.Spoil(t, uint64(1000+i), false, a, b))
		top := []string{d.Causes[0].Cause, d.Causes[1].Cause, d.Causes[2].Cause}
		hit := func(did string) bool {
			return slices.ContainsFunc(named[did], func(n string) bool { return slices.Contains(top, n) })
		}
		if hit(a) && hit(b) {
			both++
		} else {
			missed = append(missed, fmt.Sprintf("%s and %s: %v", a, b, top))
		}
	}
	cannot := 0
	for i := range seasons {
		did := all[i%len(all)]
		if did == "young" || did == "seedlings" || did == "unpruned" || did == "warm" || did == "heavy-before" {
			did = "mites" // what these leave is in the trees, the weather and the crops before, not in the season's records
		}
		d := ask(t, grovetest.Spoil(t, uint64(2000+i), true, did))
		if !slices.ContainsFunc(d.Causes, func(c causes.Cause) bool { return c.Weight == causes.Strong || c.Weight == causes.Some }) && len(d.Missing) > 0 && strings.HasPrefix(d.Verdict, "cannot tell") {
			cannot++
		}
	}
	for _, did := range all {
		t.Logf("counts: %-12s was called %v", did, table[did])
	}
	t.Logf("counts: one cause first in %d of %d, two among three in %d of %d, records removed: cannot tell in %d of %d", first, seasons, both, seasons, cannot, seasons)
	if first*100 < 90*seasons || both*100 < 80*seasons || cannot < seasons {
		t.Errorf("want 90, 80 and 100 in 100; missed:\n%s", strings.Join(missed, "\n"))
	}
}

// clash are pairs that cannot be in one season.
func clash(a, b string) bool {
	pair := func(x, y string) bool { return a == x && b == y || a == y && b == x }
	return pair("young", "seedlings") || pair("unpruned", "pruned-late") || pair("left", "dropped") || pair("frost", "dropped") || pair("no-bees", "dropped") ||
		pair("birds", "dropped") || pair("birds", "left") || pair("frost", "left") || pair("no-bees", "left") || pair("pruned-late", "late-feed")
}

// What is not there is refused, and a tree answers as its block does.
func TestPlace(t *testing.T) {
	t.Parallel()
	f := grovetest.Spoil(t, 1, false, "mites")
	if _, err := causes.Why(f.Book(), "nowhere", "", civil.Date{Year: 2025, Month: 8, Day: 1}); err == nil || !strings.Contains(err.Error(), "north") {
		t.Errorf("nowhere: got %v", err)
	}
	d, err := causes.Why(f.Book(), "n-1", "2025", civil.Date{Year: 2025, Month: 8, Day: 1})
	if err != nil || d.Block != "north" || d.Causes[0].Cause != "mites-or-disease" {
		t.Errorf("n-1: got %+v, %v", d, err)
	}
	for _, c := range d.Causes {
		if !slices.Contains([]string{causes.Strong, causes.Some, causes.Weak, causes.Against, causes.CannotTell}, c.Weight) || c.For == nil || c.Against == nil {
			t.Errorf("cause %+v", c)
		}
	}
}
