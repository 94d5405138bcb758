package holds

import (
	"cmp"
	"slices"
	"strings"

	"latewood/projections"
)

// Of is the State of a block with what its trees brought along: the holds of trees that moved here from another block,
// and those of the blocks that this one was made from by a redrawing. Those of the latter count for the whole block, but
// for trees that the other block knows.
func Of(b *projections.Book, code string) *State {
	fold := Fold()
	own := projections.StateOf[State](b, fold, code)
	var out *State
	for _, other := range b.Keys(projections.Block) {
		if other == code {
			continue
		}
		o := projections.StateOf[State](b, fold, other)
		if brought := own.bring(o); len(brought) > 0 {
			if out == nil {
				clone := *own
				clone.Sprays = slices.Clone(own.Sprays)
				out = &clone
			}
			out.Sprays = append(out.Sprays, brought...)
		}
	}
	if out == nil {
		return own
	}
	slices.SortStableFunc(out.Sprays, func(a, b Spray) int {
		return cmp.Or(cmp.Compare(a.Time, b.Time), strings.Compare(a.ID, b.ID))
	})
	return out
}

// A carrier translates what another block's State covers into this one's.
type carrier struct {
	common  map[int]int // index there -> index here, of the trees that both know
	unknown []int       // trees here that the other does not know
	from    int         // how many trees the other knows
	bare    bool        // no tree is listed here
	drawn   bool        // this block was made from the other: what it does not know counts as covered
}

// bring copies those of another block's sprays that cover trees of this one.
func (s *State) bring(o *State) []Spray {
	drawn := Instant(0)
	for _, d := range s.Drawn {
		if slices.Contains(d.From, o.Block) {
			drawn = max(drawn, d.At)
		}
	}
	there := make(map[string]int, len(o.Codes))
	for i, code := range o.Codes {
		there[code] = i
	}
	c := carrier{common: map[int]int{}, from: len(o.Codes), bare: len(s.Codes) == 0}
	for i, code := range s.Codes {
		if j, ok := there[code]; ok {
			c.common[j] = i
		} else {
			c.unknown = append(c.unknown, i)
		}
	}
	if drawn == 0 && len(c.common) == 0 {
		return nil
	}
	var out []Spray
	for _, spray := range o.Sprays {
		var spans []Span
		for _, span := range spray.Spans {
			c.drawn = span.From < drawn
			if span.Cover = c.cover(span.Cover, c.drawn); !span.Cover.empty() {
				spans = append(spans, span)
			}
		}
		if len(spans) == 0 {
			continue
		}
		spray.Spans = spans
		spray.Ends = slices.Clone(spray.Ends)
		for i := range spray.Ends {
			e := &spray.Ends[i]
			e.Cover = c.cover(e.Cover, c.drawn && c.whole(e.Cover))
		}
		spray.Judged = slices.Clone(spray.Judged)
		for i := range spray.Judged {
			j := &spray.Judged[i]
			j.Cover = c.cover(j.Cover, c.drawn && c.whole(j.Cover))
		}
		out = append(out, spray)
	}
	return out
}

func (c Cover) empty() bool { return !c.All && len(c.Trees) == 0 && len(c.Rows) == 0 }

// whole reports whether a cover there was the whole other block.
func (c *carrier) whole(o Cover) bool {
	return o.All || len(o.Trees) == 2 && o.Trees[0] == 0 && o.Trees[1] == c.from-1
}

// cover translates; with it, the trees that the other does not know are covered too.
func (c *carrier) cover(o Cover, with bool) Cover {
	if o.empty() {
		return Cover{}
	}
	if with && (c.bare || o.All && len(c.common) == 0) {
		return Cover{All: true}
	}
	var places []int
	for j, i := range c.common {
		if o.All || len(o.Rows) > 0 || (Cover{Trees: o.Trees}).has(unit{tree: j}) {
			places = append(places, i)
		}
	}
	if with {
		places = append(places, c.unknown...)
	}
	return Cover{Trees: ranges(places)}
}
