package yields

import (
	"math"
	"slices"
	"time"

	"latewood/events"
	"latewood/events/civil"
	"latewood/events/units"
	"latewood/projections"
	"latewood/projections/settings"
)

// An item takes a share of a pick: a tree, or the trees of a block that are not listed one by one.
type item struct {
	block  string
	tree   projections.Standing // zero: trees that are not listed
	weight int64
}

type pool []item

// share divides a mass over the items by their weights.
func (p pool) share(mg int64) []int64 {
	weights, codes := make([]int64, len(p)), make([]string, len(p))
	for i, it := range p {
		weights[i], codes[i] = it.weight, it.tree.Tree
		if it.tree.Tree == "" {
			codes[i] = it.block
		}
	}
	return units.ShareOut(mg, weights, codes)
}

// pool lists who takes a share of a pick: the bearing trees of all parts, or all of them if none bears. It depends on the
// pick and the grounds only, so that every block's fold makes the same one.
func (f *folder) pool(parts []events.Part, at time.Time, day civil.Date) (items pool, blocks []string) {
	for _, p := range parts {
		if !slices.Contains(blocks, p.Block) {
			blocks = append(blocks, p.Block)
		}
	}
	slices.Sort(blocks)
	bears := false
	for _, block := range blocks {
		ground := f.view.Ground()
		if block != f.block {
			ground = f.view.GroundOf(block)
		}
		single, many := split(parts, block, f.listed(ground, day))
		for _, tree := range ground.Resolve(single, at) {
			it := item{block: block, tree: tree}
			if f.bears(tree, day) {
				it.weight, bears = 1, true
			}
			items = append(items, it)
		}
		if n := unlisted(ground, many, day); n > 0 {
			items = append(items, item{block: block, weight: n})
			bears = true
		}
	}
	if len(items) == 0 {
		for _, block := range blocks {
			items = append(items, item{block: block, weight: 1})
		}
	} else if !bears {
		for i := range items {
			items[i].weight = 1
		}
	}
	return items, blocks
}

// split tells the parts of a block that resolve to trees from those of which only a number of trees is known.
func split(parts []events.Part, block string, listed bool) (single, many []events.Part) {
	for _, p := range parts {
		switch {
		case p.Block != block:
		case listed || len(p.Trees) > 0 && len(p.Rows) == 0:
			single = append(single, p)
		default:
			many = append(many, p)
		}
	}
	return single, many
}

// unlisted is the number of trees that parts of a block with unlisted trees stand for. How many stand in a row is not
// known, so rows count as the block.
func unlisted(ground *projections.Ground, parts []events.Part, day civil.Date) int64 {
	if len(parts) == 0 {
		return 0
	}
	n, _ := ground.Counted(day)
	return int64(max(n, 0))
}

// listed reports whether a block's trees are listed one by one: no number is stated, or at least half of it have a record.
func (f *folder) listed(ground *projections.Ground, day civil.Date) bool {
	n, stated := ground.Counted(day)
	if !stated {
		return true
	}
	singles, known := f.singles[ground.Block]
	if !known {
		codes := map[string]bool{}
		for i := range ground.Trees {
			codes[ground.Trees[i].Tree] = true
		}
		singles = len(codes)
		f.singles[ground.Block] = singles
	}
	return 2*singles >= n
}

// bears reports whether a tree is of bearing age on a day.
func (f *folder) bears(tree projections.Standing, day civil.Date) bool {
	if tree.Planted.IsZero() {
		return true
	}
	least, known := f.ages[day]
	if !known {
		if years, ok := f.view.Number(settings.BearingAge, day); ok {
			least = int(math.Round(years * 12))
		}
		f.ages[day] = least
	}
	return months(tree.Planted.First, day) >= least
}

// months is the number of full months from one day to another.
func months(from, to civil.Date) int {
	n := 12*(to.Year-from.Year) + int(to.Month) - int(from.Month)
	if to.Day < from.Day {
		n--
	}
	return n
}

// age is a tree's age in full years on a day, nil where its planting is not known.
func age(tree projections.Standing, day civil.Date) *int {
	n := months(tree.Planted.First, day)
	if tree.Planted.IsZero() || n < 0 {
		return nil
	}
	return pointer(n / 12)
}
