// Package orchard says how each block stands: which trees are in it, when it was last pruned and picked, and in which stage
// its growth was last seen.
//
// A stage is what somebody saw. Where nothing was seen since the last prune or pick, the stage is an estimate, marked so, and
// says no more than what common practice would: that the block was pruned, or picked. The flush clock, which knows when buds
// are likely to break, is a model of its own and not part of this fold.
//
// A look at some trees counts for the block, as the last one does: who wants to know tree by tree reads the records.
package orchard

import (
	"slices"
	"strings"
	"time"

	"latewood/events"
	"latewood/events/civil"
	"latewood/events/units"
	"latewood/projections"
)

// Fold is the fold over blocks.
func Fold() *projections.Fold { return projections.NewFold("orchard", 2, projections.Block, fold) }

// State is what a block's records say of it. Its days are the farm's.
type State struct {
	Name    string  `json:"name,omitempty"`
	Listed  []Tree  `json:"listed"`           // trees listed one by one
	Counted []Count `json:"counted"`          // trees stated as a number, by day
	Areas   []Area  `json:"areas,omitempty"`  // by day
	Seen    []Seen  `json:"seen"`             // stages, by time and id
	Cuts    []Done  `json:"cuts"`             // prunes, by time and id
	Picks   []Done  `json:"picks"`            // first and last pick of each day are one
	Closed  []Done  `json:"closed,omitempty"` // harvests closed
	Ended   string  `json:"ended,omitempty"`  // the day on which the block was redrawn into others
}

// Tree is one tree's stay in the block.
type Tree struct {
	Tree     string `json:"tree"`
	From     string `json:"from"`
	Until    string `json:"until,omitempty"` // the first day on which it no longer stands there
	Cultivar string `json:"cultivar"`
	Grafted  []Cut  `json:"grafted,omitempty"`
}

// Cut is a cultivar grafted on, from a day on.
type Cut struct {
	Day      string `json:"day"`
	Cultivar string `json:"cultivar"`
}

// Count is a number of trees that a record states for the block as a whole.
type Count struct {
	Day   string `json:"day"`
	Trees int    `json:"trees"`
}

// Area is how large the block is, from a day on.
type Area struct {
	Day string `json:"day"`
	MM2 int64  `json:"mm2"` // square millimetres
}

// Seen is a stage that somebody saw.
type Seen struct {
	Day   string `json:"day"`
	Stage string `json:"stage"`
}

// Done is a day on which something was done.
type Done struct {
	Day  string `json:"day"`
	What string `json:"what,omitempty"`
}

// bbch stands before a stage of which only the code was noted.
const bbch = "bbch-"

func fold(v *projections.View) *State {
	s := &State{Listed: []Tree{}, Counted: []Count{}, Seen: []Seen{}, Cuts: []Done{}, Picks: []Done{}}
	day := func(t time.Time) string { return civil.DateOf(t, v.Zone).String() }
	for _, f := range v.Standing() {
		on := day(f.Time)
		switch d := f.Data().(type) {
		case *events.BlockEstablished:
			s.Name = d.Name
			s.area(on, &d.Area)
			if d.Trees != nil {
				s.Counted = append(s.Counted, Count{on, *d.Trees})
			}
		case *events.BlockChanged:
			if d.Name != "" {
				s.Name = d.Name
			}
			s.area(d.From, d.Area)
			if d.Trees != nil {
				s.Counted = append(s.Counted, Count{d.From, *d.Trees})
			}
		case *events.BlockRedrawn:
			s.redrawn(d, v.Key.Code)
		case *events.FlushSeen:
			s.Seen = append(s.Seen, Seen{on, d.Stage})
		case *events.BloomSeen:
			switch d.Stage {
			case "none": // no panicles is no stage
			case "":
				s.Seen = append(s.Seen, Seen{on, bbch + d.BBCH})
			default:
				s.Seen = append(s.Seen, Seen{on, d.Stage})
			}
		case *events.CropAssessed:
			switch d.Crop {
			case "light", "fair", "heavy":
				s.Seen = append(s.Seen, Seen{on, "fruit"})
			}
		case *events.TreePruned:
			s.Cuts = append(s.Cuts, Done{on, d.Cut})
		case *events.FruitPicked:
			if n := len(s.Picks); n == 0 || s.Picks[n-1].Day != on {
				s.Picks = append(s.Picks, Done{Day: on})
			}
		case *events.HarvestClosed:
			s.Closed = append(s.Closed, Done{Day: d.Date})
		}
	}
	ground := v.Ground()
	for _, t := range ground.Trees {
		row := Tree{Tree: t.Tree, From: day(t.From), Cultivar: t.Cultivar}
		if !t.Until.IsZero() {
			row.Until = day(t.Until)
		}
		for _, g := range ground.Grafts(t) {
			row.Grafted = append(row.Grafted, Cut{day(g.At), g.Cultivar})
		}
		s.Listed = append(s.Listed, row)
	}
	// What changes from a day on goes by that day, not by when it was written down.
	slices.SortStableFunc(s.Counted, func(a, b Count) int { return strings.Compare(a.Day, b.Day) })
	slices.SortStableFunc(s.Areas, func(a, b Area) int { return strings.Compare(a.Day, b.Day) })
	return s
}

func (s *State) area(day string, q *events.Quantity) {
	if q == nil {
		return
	}
	if mm2, err := units.Base(q.Value, q.Unit); err == nil {
		s.Areas = append(s.Areas, Area{day, mm2})
	}
}

// redrawn ends the block, or says how many trees it has from then on.
func (s *State) redrawn(d *events.BlockRedrawn, code string) {
	kept := false
	for _, into := range d.Into {
		if into.Block == code {
			kept = true
			s.area(d.Date, into.Area)
			if into.Name != "" {
				s.Name = into.Name
			}
		}
	}
	if !kept && slices.Contains(d.From, code) {
		s.Ended = d.Date
	}
}

// Doc is the answer of the whole farm on a day.
type Doc struct {
	On     string  `json:"on"`
	Blocks []Stand `json:"blocks"` // by code
}

// Stand is how one block stands on a day. Dates are civil; what is absent is not known.
type Stand struct {
	Block      string         `json:"block"`
	Name       string         `json:"name,omitempty"`
	AreaM2     float64        `json:"areaM2,omitempty"`
	Trees      int            `json:"trees"`
	Cultivars  map[string]int `json:"cultivars"`
	LastPrune  string         `json:"lastPrune,omitempty"`
	LastCut    string         `json:"lastCut,omitempty"`
	LastPick   string         `json:"lastPick,omitempty"`
	Stage      string         `json:"stage,omitempty"`
	StageSince string         `json:"stageSince,omitempty"`
	StageFrom  string         `json:"stageFrom,omitempty"` // seen, estimate
	Due        []string       `json:"due"`
}

// Status answers for every block on a day, by all that the Book holds up to the end of that day. due are sentences of other
// folds about what waits in a block.
func Status(b *projections.Book, on civil.Date, due map[string][]string) Doc {
	doc := Doc{On: on.String(), Blocks: []Stand{}}
	f := Fold()
	for _, code := range b.Keys(projections.Block) {
		s := projections.StateOf[State](b, f, code)
		if s.Ended != "" && s.Ended <= doc.On {
			continue
		}
		stand := s.At(on)
		stand.Block, stand.Due = code, append([]string{}, due[code]...)
		doc.Blocks = append(doc.Blocks, stand)
	}
	return doc
}

// At is how the block stands at the end of a day.
func (s *State) At(day civil.Date) Stand {
	on := day.String()
	out := Stand{Name: s.Name, Cultivars: map[string]int{}, Due: []string{}}
	ever := map[string]bool{}
	for _, t := range s.Listed {
		if t.From > on {
			continue
		}
		ever[t.Tree] = true
		if t.Until == "" || on < t.Until {
			out.Trees++
			out.Cultivars[t.cultivar(on)]++
		}
	}
	// A stated number says how many trees there are beside those that were ever listed, so that one removed is one less.
	stated := 0
	for _, c := range s.Counted {
		if c.Day <= on {
			stated = c.Trees
		}
	}
	out.Trees += max(0, stated-len(ever))
	for _, a := range s.Areas {
		if a.Day <= on {
			out.AreaM2 = units.FromBase(a.MM2, "m2")
		}
	}
	if cut, ok := last(s.Cuts, on); ok {
		out.LastPrune, out.LastCut = cut.Day, cut.What
	}
	if pick, ok := last(s.Picks, on); ok {
		out.LastPick = pick.Day
	}
	looked := "" // the day of the last look; the stage is since the first of those that saw the same one after another
	for _, seen := range s.Seen {
		if seen.Day > on {
			continue
		}
		if looked = seen.Day; seen.Stage != out.Stage {
			out.Stage, out.StageSince, out.StageFrom = seen.Stage, seen.Day, "seen"
		}
	}
	// What was done after the last look says more than the look. Roots and dead wood say nothing about the shoots: common
	// practice.
	if out.LastPick > looked {
		out.Stage, out.StageSince, out.StageFrom = "picked", out.LastPick, "estimate"
		looked = out.LastPick
	}
	cuts := slices.DeleteFunc(slices.Clone(s.Cuts), func(c Done) bool { return c.What == "root" || c.What == "dead-wood" })
	if cut, ok := last(cuts, on); ok && cut.Day > looked {
		out.Stage, out.StageSince, out.StageFrom = "pruned", cut.Day, "estimate"
	}
	return out
}

func (t Tree) cultivar(on string) string {
	c := t.Cultivar
	for _, g := range t.Grafted {
		if g.Day <= on {
			c = g.Cultivar
		}
	}
	return c
}

func last(done []Done, on string) (out Done, ok bool) {
	for _, d := range done {
		if d.Day <= on && d.Day >= out.Day {
			out, ok = d, true
		}
	}
	return out, ok
}
