package projections

import (
	"cmp"
	"slices"
	"strconv"
	"strings"
	"time"

	"latewood/events"
	"latewood/events/civil"
)

// A Standing is one tree's stay at one place of a block, from From up to but not including Until.
type Standing struct {
	Tree     string
	Row      string
	Position string
	From     time.Time // zero: since always, where only a year was known this is its first instant
	Until    time.Time // zero: still there
	Cultivar string    // as planted; Topworked holds what was grafted on later
	Species  string
	Planted  civil.Partial
	Source   events.ID // of the tree.planted

	block string // while a redrawing is worked out: the block it stood in
}

// Ground is the trees of one block through time: what `where` is resolved against.
type Ground struct {
	Block string
	Trees []Standing // by row and position, then by code, then by From
	graft []graft
	count []counted
	stays map[string][]int // indices of Trees by tree
}

// counted is what a record says of the number of a block's trees, from a day on.
type counted struct {
	from  civil.Date
	trees int
}

type graft struct {
	at       time.Time
	parts    []events.Part
	cultivar string
}

// groundOf computes, or returns what was computed of, a block's ground.
func (b *Book) groundOf(block string) *Ground {
	if g := b.ground[block]; g != nil {
		return g
	}
	g := newGround(b, block, time.Time{})
	b.ground[block] = g
	return g
}

// newGround computes a block's ground by the facts before a moment; the zero moment: by all.
func newGround(b *Book, block string, before time.Time) *Ground {
	g := &Ground{Block: block}
	zone := b.Zone()
	planted := map[string]*events.TreePlanted{} // first standing tree.planted of each code wins
	current := map[string]int{}                 // tree -> index of its open standing in g.Trees
	end := func(tree string, at time.Time) {
		if i, ok := current[tree]; ok {
			g.Trees[i].Until = at
			delete(current, tree)
		}
	}
	for _, f := range b.factsOf(Key{Block, block}) {
		if !f.Stands() || !before.IsZero() && !f.Time.Before(before) {
			continue
		}
		switch d := f.decoded.(type) {
		case *events.BlockRedrawn:
			for _, s := range g.At(f.Time) {
				s.block = block
				if redrawnTo(d, &s) != block {
					end(s.Tree, f.Time)
				}
			}
			for _, s := range b.brought(d, f, block) {
				if _, here := current[s.Tree]; !here {
					g.Trees = append(g.Trees, s)
					current[s.Tree] = len(g.Trees) - 1
				}
			}
		case *events.BlockEstablished:
			if d.Trees != nil {
				g.count = append(g.count, counted{trees: *d.Trees}) // from the beginning: trees are older than papers
			}
		case *events.BlockChanged:
			if from, err := civil.ParseDate(d.From); err == nil && d.Trees != nil {
				g.count = append(g.count, counted{from, *d.Trees})
			}
		case *events.TreePlanted:
			if d.Block != block || planted[d.Tree] != nil {
				continue
			}
			planted[d.Tree] = d
			g.Trees = append(g.Trees, standing(d, f, zone))
			current[d.Tree] = len(g.Trees) - 1
		case *events.TreeMoved:
			for _, m := range d.Moves {
				_, here := current[m.Tree]
				switch {
				case m.Block == block:
					end(m.Tree, f.Time)
					s := b.origin(m.Tree, zone)
					s.Tree, s.From = m.Tree, f.Time
					s.Row, s.Position = m.Row, m.Position
					g.Trees = append(g.Trees, s)
					current[m.Tree] = len(g.Trees) - 1
				case here:
					end(m.Tree, f.Time)
				}
			}
		case *events.TreeRemoved:
			for _, p := range d.Where {
				if p.Block != block {
					continue
				}
				for _, s := range g.resolve(p, f.Time) {
					end(s.Tree, f.Time)
				}
			}
		case *events.TreeTopworked:
			g.graft = append(g.graft, graft{f.Time, slices.DeleteFunc(slices.Clone([]events.Part(d.Where)), func(p events.Part) bool {
				return p.Block != block
			}), d.Cultivar})
		}
	}
	slices.SortStableFunc(g.count, func(a, b counted) int { return a.from.Compare(b.from) })
	slices.SortFunc(g.Trees, func(a, b Standing) int {
		return cmp.Or(CompareLabels(a.Row, b.Row), CompareLabels(a.Position, b.Position), strings.Compare(a.Tree, b.Tree), a.From.Compare(b.From))
	})
	g.stays = make(map[string][]int, len(g.Trees))
	for i := range g.Trees {
		g.stays[g.Trees[i].Tree] = append(g.stays[g.Trees[i].Tree], i)
	}
	return g
}

// brought are the trees that a redrawing brings into a block from the others that it was made from. Looking at those goes back
// in time only, so blocks that were redrawn into one another do not ask each other for ever.
func (b *Book) brought(d *events.BlockRedrawn, f *Fact, block string) []Standing {
	if !slices.ContainsFunc(d.Into, func(into events.DrawnBlock) bool { return into.Block == block }) {
		return nil
	}
	var out []Standing
	for _, from := range d.From {
		if from == block {
			continue
		}
		for _, s := range newGround(b, from, f.Time).At(f.Time) {
			s.block = from
			if redrawnTo(d, &s) == block {
				s.From, s.Until = f.Time, time.Time{}
				s.block = ""
				out = append(out, s)
			}
		}
	}
	return out
}

// redrawnTo is the block in which a tree stands after a redrawing: the one that names it, else the one that names its row,
// else one that names neither trees nor rows (its own before the first of the others), else its own if that goes on; ""
// where the redrawing leaves it none.
func redrawnTo(d *events.BlockRedrawn, s *Standing) string {
	rest, own := "", false
	for _, into := range d.Into {
		if slices.Contains(into.Trees, s.Tree) {
			return into.Block
		}
	}
	for _, into := range d.Into {
		if s.Row != "" && slices.Contains(into.Rows, s.Row) {
			return into.Block
		}
		own = own || into.Block == s.block
		if len(into.Trees) == 0 && len(into.Rows) == 0 && (rest == "" || into.Block == s.block) {
			rest = into.Block
		}
	}
	if rest == "" && own {
		return s.block
	}
	return rest
}

func standing(d *events.TreePlanted, f *Fact, zone *time.Location) Standing {
	s := Standing{Tree: d.Tree, Row: d.Row, Position: d.Position, From: f.Time, Cultivar: d.Cultivar,
		Species: cmp.Or(d.Species, events.DefaultSpecies), Source: f.ID}
	if p, err := civil.ParsePartial(d.Planted); err == nil {
		s.Planted = p
		// The record's time is the first instant of the day, month or year planted; a correction of planted alone moves it.
		s.From = civil.DayStart(p.First, zone)
	}
	return s
}

// origin describes a tree that came from elsewhere by the record that planted it.
func (b *Book) origin(tree string, zone *time.Location) Standing {
	if fs := (&View{book: b}).Planters(tree); len(fs) > 0 {
		return standing(fs[0].decoded.(*events.TreePlanted), fs[0], zone)
	}
	return Standing{}
}

// holds reports whether the tree stands at its place at a moment.
func (s *Standing) holds(at time.Time) bool {
	return !s.From.After(at) && (s.Until.IsZero() || at.Before(s.Until))
}

// At returns the trees that stand in the block at a moment, in order of row and position.
func (g *Ground) At(at time.Time) []Standing {
	var out []Standing
	for i := range g.Trees {
		if s := &g.Trees[i]; s.holds(at) {
			out = append(out, *s)
			out[len(out)-1].Cultivar = g.cultivar(s, at)
		}
	}
	return out
}

func (g *Ground) cultivar(s *Standing, at time.Time) string {
	c := s.Cultivar
	for _, gr := range g.graft {
		if gr.at.After(at) {
			continue
		}
		for i := range gr.parts {
			if matches(&gr.parts[i], s) {
				c = gr.cultivar
			}
		}
	}
	return c
}

// Resolve returns the trees that the parts name at a moment: rows and trees add up, except takes away, a part without
// either is the whole block. A share or a side counts as the whole tree. Each tree stands once.
func (g *Ground) Resolve(parts []events.Part, at time.Time) []Standing {
	var out []Standing
	seen := map[string]bool{}
	for _, p := range parts {
		if p.Block != g.Block {
			continue
		}
		for _, s := range g.resolve(p, at) {
			if !seen[s.Tree] {
				seen[s.Tree] = true
				out = append(out, s)
			}
		}
	}
	slices.SortFunc(out, func(a, b Standing) int {
		return cmp.Or(CompareLabels(a.Row, b.Row), CompareLabels(a.Position, b.Position), strings.Compare(a.Tree, b.Tree))
	})
	return out
}

func (g *Ground) resolve(p events.Part, at time.Time) []Standing {
	var out []Standing
	take := func(s *Standing) {
		if s.holds(at) && matches(&p, s) {
			out = append(out, *s)
			out[len(out)-1].Cultivar = g.cultivar(s, at)
		}
	}
	if g.stays != nil && len(p.Trees) > 0 && len(p.Rows) == 0 {
		for _, tree := range p.Trees { // most picks name a tree or two of hundreds
			for _, i := range g.stays[tree] {
				take(&g.Trees[i])
			}
		}
		return out
	}
	for i := range g.Trees {
		take(&g.Trees[i])
	}
	return out
}

// Counted is the number of trees that the block's own records state for a day, where they state one: what is known of a
// block whose trees are not listed one by one.
func (g *Ground) Counted(on civil.Date) (trees int, ok bool) {
	for _, c := range g.count {
		if c.from.After(on) {
			break
		}
		trees, ok = c.trees, true
	}
	return trees, ok
}

func matches(p *events.Part, s *Standing) bool { return Covers(*p, s.Tree, s.Row) }

// Covers reports whether a part of a block names a tree that stands there in a row ("" where it stands in none).
func Covers(p events.Part, tree, row string) bool {
	if slices.Contains(p.Except, tree) {
		return false
	}
	if len(p.Rows) == 0 && len(p.Trees) == 0 {
		return true
	}
	return slices.Contains(p.Trees, tree) || row != "" && slices.Contains(p.Rows, row)
}

// Missing lists the trees and rows that a part names and that do not stand in the block at that moment.
func (g *Ground) Missing(p events.Part, at time.Time) []string {
	var out []string
	there := g.At(at)
	for _, tree := range p.Trees {
		if !slices.ContainsFunc(there, func(s Standing) bool { return s.Tree == tree }) {
			out = append(out, tree)
		}
	}
	for _, tree := range p.Except {
		if !slices.ContainsFunc(there, func(s Standing) bool { return s.Tree == tree }) {
			out = append(out, tree)
		}
	}
	return out
}

// CompareLabels orders rows and positions as people do: "2" before "10", "2a" behind "2".
func CompareLabels(a, b string) int {
	na, ra := leadingNumber(a)
	nb, rb := leadingNumber(b)
	return cmp.Or(cmp.Compare(na, nb), strings.Compare(ra, rb), strings.Compare(a, b))
}

func leadingNumber(s string) (int, string) {
	i := 0
	for i < len(s) && i < 9 && s[i] >= '0' && s[i] <= '9' {
		i++
	}
	if i == 0 {
		return -1, s
	}
	n, _ := strconv.Atoi(s[:i])
	return n, s[i:]
}

// A Graft is a cultivar that was put onto a standing tree.
type Graft struct {
	At       time.Time
	Cultivar string
}

// Grafts lists what was grafted onto a tree in this block, in order.
func (g *Ground) Grafts(s Standing) []Graft {
	var out []Graft
	for _, gr := range g.graft {
		for i := range gr.parts {
			if matches(&gr.parts[i], &s) {
				out = append(out, Graft{gr.at, gr.cultivar})
				break
			}
		}
	}
	return out
}
