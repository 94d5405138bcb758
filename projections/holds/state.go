package holds

import (
	"slices"
	"time"

	"latewood/events"
	"latewood/events/civil"
	"latewood/projections"
)

// A State is all that can move a block's answers. It is plain data and has no day of its own.
type State struct {
	Block    string    `json:"block"`
	Trees    []Stay    `json:"trees,omitempty"`    // by row and position
	Codes    []string  `json:"codes,omitempty"`    // each tree once, in the order of its first stay: what a Cover counts
	Sprays   []Spray   `json:"sprays,omitempty"`   // by time and id
	Gone     []Spray   `json:"gone,omitempty"`     // sprays applied that were withdrawn: they hold nothing any more
	Closings []Closing `json:"closings,omitempty"` // of harvests, by time
	Drawn    []Drawn   `json:"drawn,omitempty"`    // the blocks that this one was made from, by time
}

// A Stay is one tree's stay at one place of the block.
type Stay struct {
	Tree     int     `json:"tree"` // index into Codes
	Row      string  `json:"row,omitempty"`
	Position string  `json:"position,omitempty"`
	From     Instant `json:"from"`
	Until    Instant `json:"until"` // the first instant without it
}

func (s Stay) stands(at Instant) bool { return s.From <= at && at < s.Until }

// A Cover is which trees something is about.
type Cover struct {
	Trees []int    `json:"trees,omitempty"` // pairs of first and last index into Codes, rising
	Rows  []string `json:"rows,omitempty"`  // where no tree was listed: these rows
	All   bool     `json:"all,omitempty"`   // where no tree was listed: the block
}

// A Spray is one record of spraying: planned, begun, applied, or called off with something applied.
type Spray struct {
	ID     string      `json:"id"` // of the record; for what was called off, of what was begun or else planned
	Kind   string      `json:"kind"`
	Time   Instant     `json:"time"`
	Mix    []Item      `json:"mix,omitempty"`
	Spans  []Span      `json:"spans,omitempty"`
	Ends   []Ending    `json:"ends,omitempty"`   // of a plan or a spray begun: what ended it
	Due    Instant     `json:"due,omitempty"`    // of a plan: its until
	Judged []Judgement `json:"judged,omitempty"` // by time and id
	Last   Instant     `json:"last"`             // from then on it says nothing
}

// An Item is one product of a mix.
type Item struct {
	Product string `json:"product,omitempty"`
	Label   string `json:"label,omitempty"` // id as the record names it
	// Term, Words and Entry are what the label says first of withholding and of re-entry, for sprays that are not done.
	Term  string `json:"term,omitempty"`
	Words string `json:"words,omitempty"`
	Entry string `json:"entry,omitempty"`
}

// A Span is one stretch of trees with one end: it is going on (or planned) from From until Until, then its lines count.
type Span struct {
	Cover Cover    `json:"cover"`
	From  Instant  `json:"from"`
	Until Instant  `json:"until"` // never: an Ending ends it
	Marks []string `json:"marks,omitempty"`
	Pick  []Line   `json:"pick,omitempty"`  // by place in the mix
	Enter []Line   `json:"enter,omitempty"` // by place in the mix
}

// Marks of a span.
const (
	MarkEndNotKnown = "end-not-known" // the end is known only to the day
	MarkClockOff    = "clock-off"     // the device's clock was off: the careful reading of its times is taken
)

// An Ending ends a plan, or a spray begun, on some trees.
type Ending struct {
	Cover Cover   `json:"cover"`
	At    Instant `json:"at"`
	Else  Instant `json:"else,omitempty"` // when it ends on trees that no ending with an Else covers; 0: those go on
}

// A Reason says why a person must read the label. Each has a sentence in the catalogue.
type Reason string

// The reasons.
const (
	NoneStated      Reason = "none-stated"
	GrowthStage     Reason = "growth-stage"
	Prohibited      Reason = "prohibited"
	Unknown         Reason = "unknown"
	NotStated       Reason = "not-stated"      // the label as filed says nothing about it
	CropMissing     Reason = "crop-missing"    // nor about the crop
	CropNotListed   Reason = "crop-not-listed" // the label does not list the crop
	NoLabel         Reason = "no-label"        // the product was typed
	LabelMissing    Reason = "label-missing"   // the label that is named is not here
	LabelWithdrawn  Reason = "label-withdrawn"
	EntryWords      Reason = "entry-words" // re-entry in words
	CalledOff       Reason = "called-off"  // called off with something applied
	CalledOffUnsaid Reason = "called-off-unsaid"
)

// A Line is one line of a label as it applies to one span: numbers, or a reason why a person must read it.
type Line struct {
	Item   int    `json:"item"` // place in the mix, from 0
	Reason Reason `json:"reason,omitempty"`
	Term   string `json:"term,omitempty"`
	Words  string `json:"words,omitempty"`
	Use    string `json:"use,omitempty"` // the use, region, rate or activity that the line is for

	Value   float64 `json:"value,omitempty"`
	Unit    string  `json:"unit,omitempty"`
	Rule    string  `json:"rule,omitempty"` // the rule that Opens follows
	Date    Instant `json:"date,omitempty"`
	Elapsed Instant `json:"elapsed,omitempty"`
	Full    Instant `json:"full,omitempty"`
	Opens   Instant `json:"opens,omitempty"`

	// Crop is the crop that the spray leads to, for a reason; the crop in which the interval ends, for numbers. Turn is
	// when its year turns.
	Crop  civil.Season `json:"crop,omitempty"`
	Turn  Instant      `json:"turn,omitempty"`
	Floor Instant      `json:"floor,omitempty"` // a reason does not lapse before
}

// latest is the latest of the line's readings.
func (l *Line) latest() Instant { return max(l.Date, l.Elapsed, l.Full, l.Opens) }

// A Judgement is a person's reading of a label for one spray.
type Judgement struct {
	ID     string       `json:"id"`
	Time   Instant      `json:"time"` // when it was made
	Cover  Cover        `json:"cover"`
	Words  string       `json:"words"`
	Narrow bool         `json:"narrow,omitempty"` // it answers only the lines with these words
	From   Instant      `json:"from,omitempty"`   // when the interval ends by this reading; 0: the reading names a stage
	Stage  string       `json:"stage,omitempty"`
	Crop   civil.Season `json:"crop,omitempty"` // in which it ends
	Turn   Instant      `json:"turn,omitempty"`
}

// A Closing is the end of a harvest on some trees: the end of the day that was named.
type Closing struct {
	Crop  civil.Season `json:"crop"`
	At    Instant      `json:"at"`
	Cover Cover        `json:"cover"`
}

// A Drawn names the blocks that this one was made from.
type Drawn struct {
	At   Instant  `json:"at"`
	From []string `json:"from"`
}

// Fold is the fold of holds: class block.
func Fold() *projections.Fold { return projections.NewFold("holds", 1, projections.Block, fold) }

// builder makes a State out of a view.
type builder struct {
	view    *projections.View
	zone    *time.Location
	ground  *projections.Ground
	seasons *projections.Seasons
	index   map[string]int // tree -> place in Codes
	state   *State
}

func fold(v *projections.View) *State {
	b := &builder{view: v, zone: v.Zone, ground: v.Ground(), seasons: v.Seasons(), index: map[string]int{}, state: &State{Block: v.Key.Code}}
	b.trees()
	for _, f := range v.Standing() {
		switch d := f.Data().(type) {
		case *events.HarvestClosed:
			if day, err := civil.ParseDate(d.Date); err == nil {
				b.state.Closings = append(b.state.Closings, Closing{
					Crop: b.seasons.Of(f.Kind, civil.DayStart(day, b.zone)), At: instant(civil.DayEnd(day, b.zone)), Cover: b.cover(f),
				})
			}
		case *events.BlockRedrawn:
			if slices.ContainsFunc(d.Into, func(into events.DrawnBlock) bool { return into.Block == v.Key.Code }) {
				b.state.Drawn = append(b.state.Drawn, Drawn{At: instant(f.Time), From: d.From})
			}
		}
	}
	for _, f := range v.Facts {
		if d, ok := f.Data().(*events.SprayApplied); ok && !f.Stands() {
			b.state.Gone = append(b.state.Gone, b.applied(f, d))
		}
		if !f.Stands() {
			continue
		}
		switch d := f.Data().(type) {
		case *events.SprayPlanned:
			b.add(b.planned(f, d))
		case *events.SprayBegun:
			b.add(b.begun(f, d))
		case *events.SprayApplied:
			b.add(b.applied(f, d))
		case *events.SprayCalledOff:
			if s, something := b.calledOff(f, d); something {
				b.add(s)
			}
		}
	}
	return b.state
}

func (b *builder) add(s Spray) { b.state.Sprays = append(b.state.Sprays, s) }

// trees lists the stays of the block's trees.
func (b *builder) trees() {
	for _, s := range b.ground.Trees {
		i, ok := b.index[s.Tree]
		if !ok {
			i = len(b.state.Codes)
			b.index[s.Tree] = i
			b.state.Codes = append(b.state.Codes, s.Tree)
		}
		stay := Stay{Tree: i, Row: s.Row, Position: s.Position, From: always, Until: never}
		if !s.From.IsZero() {
			stay.From = instant(s.From)
		}
		if !s.Until.IsZero() {
			stay.Until = instant(s.Until)
		}
		b.state.Trees = append(b.state.Trees, stay)
	}
}

// cover is what a record is about in this block, by the trees that stood at its time.
func (b *builder) cover(f *projections.Fact) Cover { return b.coverOf(b.view.Parts(f), f.Time) }

func (b *builder) coverOf(parts []events.Part, at time.Time) Cover {
	var c Cover
	moment := instant(at)
	listed := false
	var places []int
	for _, s := range b.state.Trees {
		if !s.stands(moment) {
			continue
		}
		listed = true
		if slices.ContainsFunc(parts, func(p events.Part) bool { return projections.Covers(p, b.state.Codes[s.Tree], s.Row) }) {
			places = append(places, s.Tree)
		}
	}
	if listed {
		c.Trees = ranges(places)
		return c
	}
	for _, p := range parts {
		if len(p.Rows) == 0 || len(p.Trees) > 0 {
			c.All = true // nobody can tell which trees these were: all
		}
		c.Rows = append(c.Rows, p.Rows...)
	}
	slices.Sort(c.Rows)
	c.Rows = slices.Compact(c.Rows)
	return c
}

// ranges writes places, each once, as pairs of first and last.
func ranges(places []int) []int {
	slices.Sort(places)
	var out []int
	for _, i := range places {
		if n := len(out); n > 0 && out[n-1] >= i-1 {
			out[n-1] = i
		} else {
			out = append(out, i, i)
		}
	}
	return out
}

// turn is when the year of a crop turns.
func (b *builder) turn(crop civil.Season) Instant {
	if t, ok := b.seasons.Turns(crop); ok {
		return instant(t)
	}
	return never
}

// ends names the crop in which an interval ends, and when that turns.
func (b *builder) ends(kind string, at time.Time) (civil.Season, Instant) {
	crop := b.seasons.Of(kind, at)
	return crop, b.turn(crop)
}
