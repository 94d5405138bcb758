// Package orchard says how each block stands: which trees are in it, when it was last pruned and picked, and in which stage
// its growth was last seen.
//
// A stage is what somebody saw. Where nothing was seen since the last prune or pick, the stage is an estimate, marked so, and
// says no more than what common practice would: that the block was pruned, or picked. The flush clock, which knows when buds
// are likely to break, is a model of its own and not part of this fold.
package orchard

import (
	"slices"
	"time"

	"latewood/events"
	"latewood/events/civil"
	"latewood/projections"
)

// Fold is the fold over blocks.
func Fold() *projections.Fold { return projections.NewFold("orchard", 1, projections.Block, fold) }

// State is what a block's records say of it. Its days are the farm's.
type State struct {
	Name    string  `json:"name,omitempty"`
	Listed  []Tree  `json:"listed"`           // trees listed one by one
	Counted []Count `json:"counted"`          // trees stated as a number, by day
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

func fold(v *projections.View) *State {
	s := &State{Listed: []Tree{}, Counted: []Count{}, Seen: []Seen{}, Cuts: []Done{}, Picks: []Done{}}
	day := func(t time.Time) string { return civil.DateOf(t, v.Zone).String() }
	for _, f := range v.Standing() {
		on := day(f.Time)
		switch d := f.Data().(type) {
		case *events.BlockEstablished:
			s.Name = d.Name
			if d.Trees != nil {
				s.Counted = append(s.Counted, Count{on, *d.Trees})
			}
		case *events.BlockChanged:
			if d.Name != "" {
				s.Name = d.Name
			}
			if d.Trees != nil {
				s.Counted = append(s.Counted, Count{d.From, *d.Trees})
			}
		case *events.BlockRedrawn:
			s.redrawn(d, v.Key.Code)
		case *events.FlushSeen:
			s.Seen = append(s.Seen, Seen{on, d.Stage})
		case *events.BloomSeen:
			if d.Stage != "" {
				s.Seen = append(s.Seen, Seen{on, d.Stage})
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
	return s
}

// redrawn ends the block, or says how many trees it has from then on.
func (s *State) redrawn(d *events.BlockRedrawn, code string) {
	kept := false
	for _, into := range d.Into {
		if into.Block == code {
			kept = true
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
	for _, t := range s.Listed {
		if t.From <= on && (t.Until == "" || on < t.Until) {
			out.Trees++
			out.Cultivars[t.cultivar(on)]++
		}
	}
	for _, c := range s.Counted { // a stated number counts where more trees are stated than listed
		if c.Day <= on {
			out.Trees = max(out.Trees, c.Trees)
		}
	}
	if cut, ok := last(s.Cuts, on); ok {
		out.LastPrune, out.LastCut = cut.Day, cut.What
	}
	if pick, ok := last(s.Picks, on); ok {
		out.LastPick = pick.Day
	}
	for _, seen := range s.Seen {
		if seen.Day <= on {
			out.Stage, out.StageSince, out.StageFrom = seen.Stage, seen.Day, "seen"
		}
	}
	// What was done after the last look says more than the look.
	if out.LastPick > out.StageSince {
		out.Stage, out.StageSince, out.StageFrom = "picked", out.LastPick, "estimate"
	}
	if out.LastPrune > out.StageSince {
		out.Stage, out.StageSince, out.StageFrom = "pruned", out.LastPrune, "estimate"
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
