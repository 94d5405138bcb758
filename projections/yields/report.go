package yields

import (
	"cmp"
	"maps"
	"slices"
	"strings"

	"latewood/events/civil"
	"latewood/events/words"
	"latewood/projections"
)

// By says what a row of the report is about.
type By string

// The ways to cut the report.
const (
	ByTree     By = "tree" // the default
	ByBlock    By = "block"
	ByCultivar By = "cultivar" // over all blocks
)

// A Filter narrows the report.
type Filter struct {
	Season civil.Season // "": all. Trees, the indices, always look at all seasons
	By     By           // "": by tree
}

// Doc is the report as JSON shows it. Masses are in kg; what is absent is not known.
type Doc struct {
	Rows   []Row      `json:"rows"`
	Trees  []TreeRow  `json:"trees"`
	Blocks []BlockRow `json:"blocks"`
	// WithoutKg lists the picks of the rows whose mass is not known.
	WithoutKg []WithoutRow `json:"withoutKg,omitempty"`
	Notes     []string     `json:"notes,omitempty"`
}

// A Row is a season of a tree, block or cultivar.
type Row struct {
	Season   civil.Season `json:"season"`
	Block    string       `json:"block,omitempty"`
	Tree     string       `json:"tree,omitempty"`
	Cultivar string       `json:"cultivar,omitempty"`
	Kg       *float64     `json:"kg,omitempty"`
	Picks    int          `json:"picks"`
	// PicksWithoutKg are those of Picks whose mass is not known; Kg is then a lower bound, or absent.
	PicksWithoutKg int   `json:"picksWithoutKg,omitempty"`
	AgeYears       *int  `json:"ageYears,omitempty"`
	Basis          Basis `json:"basis"`
}

// A TreeRow is a tree through the seasons that were weighed tree by tree or assessed.
type TreeRow struct {
	Tree    string   `json:"tree"`
	Seasons int      `json:"seasons"`
	MeanKg  *float64 `json:"meanKg,omitempty"`
	I       *float64 `json:"I,omitempty"`
	B       *float64 `json:"B,omitempty"`
}

// A BlockRow is a block's season.
type BlockRow struct {
	Block          string       `json:"block"`
	Season         civil.Season `json:"season"`
	Kg             *float64     `json:"kg,omitempty"`
	PicksWithoutKg int          `json:"picksWithoutKg,omitempty"`
	KgPerTree      *float64     `json:"kgPerTree,omitempty"` // a bearing tree
	KgPerHa        *float64     `json:"kgPerHa,omitempty"`
	BearingTrees   int          `json:"bearingTrees"`
}

// A WithoutRow is a pick without mass.
type WithoutRow struct {
	Pick       string       `json:"pick"`
	Season     civil.Season `json:"season"`
	Block      string       `json:"block"`
	Containers []string     `json:"containers"` // the kinds that have no mass in the settings
	Why        string       `json:"why"`
}

// Report builds the yield report of a whole farm. Rows go by season, block, tree or cultivar; blocks by code and season;
// trees by code.
func Report(book *projections.Book, filter Filter) Doc {
	doc := Doc{Rows: []Row{}, Trees: []TreeRow{}, Blocks: []BlockRow{}}
	fold := Fold()
	cultivars := map[groupKey]*Cultivar{}
	trees := map[string]map[civil.Season]Sum{}
	for _, block := range book.Keys(projections.Block) {
		for _, s := range projections.StateOf[State](book, fold, block).Seasons {
			for _, t := range s.Trees {
				if trees[t.Tree] == nil {
					trees[t.Tree] = map[civil.Season]Sum{}
				}
				sum := trees[t.Tree][s.Season]
				sum.add(t.Sum)
				trees[t.Tree][s.Season] = sum
			}
			if filter.Season != "" && filter.Season != s.Season {
				continue
			}
			doc.Blocks = append(doc.Blocks, blockRow(block, s))
			for _, n := range s.NoMass {
				doc.WithoutKg = append(doc.WithoutKg, WithoutRow{n.Pick, s.Season, block, n.Kinds,
					words.Say("yields.no-container-mass", "kinds", strings.Join(n.Kinds, ", "), "setting", "container-mass."+n.Kinds[0])})
			}
			switch filter.By {
			case ByBlock:
				doc.Rows = append(doc.Rows, row(s.Season, block, s.Sum))
			case ByCultivar:
				for _, g := range s.Groups {
					key := groupKey{s.Season, g.Cultivar}
					if cultivars[key] == nil {
						cultivars[key] = &Cultivar{Cultivar: g.Cultivar}
					}
					cultivars[key].join(g)
				}
			default:
				for _, t := range s.Trees {
					r := row(s.Season, block, t.Sum)
					r.Tree, r.Cultivar, r.AgeYears = t.Tree, t.Cultivar, t.Age
					doc.Rows = append(doc.Rows, r)
				}
			}
		}
	}
	for key, g := range cultivars {
		r := row(key.season, "", g.Sum)
		r.Cultivar = key.cultivar
		doc.Rows = append(doc.Rows, r)
	}
	slices.SortFunc(doc.Rows, func(a, b Row) int {
		return cmp.Or(compareSeasons(a.Season, b.Season), strings.Compare(a.Block, b.Block),
			strings.Compare(a.Tree, b.Tree), strings.Compare(a.Cultivar, b.Cultivar))
	})
	for _, code := range slices.Sorted(maps.Keys(trees)) {
		doc.Trees = append(doc.Trees, treeRow(code, trees[code]))
	}
	doc.Notes = notes(doc)
	return doc
}

type groupKey struct {
	season   civil.Season
	cultivar string
}

// join adds a block's share to a cultivar's sum over blocks. A pick that lies in several blocks counts once.
func (c *Cultivar) join(o Cultivar) {
	c.add(o.Sum)
	for _, pick := range o.Across {
		if !slices.Contains(c.Across, pick) {
			c.Across = append(c.Across, pick)
			continue
		}
		c.Picks--
		if pick.Without {
			c.Without--
		}
	}
}

func row(season civil.Season, block string, s Sum) Row {
	return Row{Season: season, Block: block, Kg: s.kg(), Picks: s.Picks, PicksWithoutKg: s.Without, Basis: s.Basis}
}

// kg is the sum in kg, nil where no pick of several has a known mass.
func (s Sum) kg() *float64 {
	if s.Picks > 0 && s.Without >= s.Picks {
		return nil
	}
	return kg(s.MG, 1)
}

func blockRow(block string, s Season) BlockRow {
	r := BlockRow{Block: block, Season: s.Season, Kg: s.kg(), PicksWithoutKg: s.Without, BearingTrees: s.Bearing}
	if r.Kg != nil {
		r.KgPerTree = kg(s.MG, int64(s.Bearing))
		r.KgPerHa = quotient(s.MG, 10_000, s.Area) // 1e10 mm2 a hectare, 1e6 mg a kilogram
	}
	return r
}

func treeRow(code string, seasons map[civil.Season]Sum) TreeRow {
	var points []Point
	for _, name := range slices.SortedFunc(maps.Keys(seasons), compareSeasons) {
		if s := seasons[name]; s.Basis.ByTree() {
			points = append(points, Point{name, s.MG})
		}
	}
	index := Alternation(points)
	return TreeRow{Tree: code, Seasons: index.Seasons, MeanKg: index.MeanKg, I: index.I, B: index.B}
}

// notes are the sentences without which somebody could read too much into the numbers.
func notes(doc Doc) []string {
	var out []string
	if slices.ContainsFunc(doc.Rows, func(r Row) bool {
		return r.Tree != "" && !r.Basis.ByTree()
	}) {
		out = append(out, words.Say("yields.note-shared"))
	}
	if slices.ContainsFunc(doc.Trees, func(t TreeRow) bool { return t.I != nil }) {
		out = append(out, words.Say("yields.note-index"))
	}
	return out
}
