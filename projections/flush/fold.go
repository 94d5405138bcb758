package flush

import (
	"cmp"
	"slices"
	"strconv"
	"strings"

	"latewood/events"
	"latewood/events/civil"
	"latewood/events/units"
	"latewood/projections"
	"latewood/projections/settings"
)

// What an Event says.
const (
	evCut    = "cut"    // From..To, Share of the terminals, What was cut
	evSeen   = "seen"   // Stage on To, K of N terminals
	evBloom  = "bloom"  // on To: Stage; of N terminals K panicles, Leaves vegetative, Idle without movement
	evPicked = "picked" // on To
	evFruit  = "fruit"  // on To: fruit seen on the trees
	evLost   = "lost"   // on To: hail, freeze and the like, What
	evGrown  = "set"    // on To: the tree came into the block
)

// An Event is what one record says of the shoots of a group of trees. Its days are the farm's.
type Event struct {
	Kind   string     `json:"kind"`
	From   civil.Date `json:"from"` // the first day on which it can have happened to a tree
	To     civil.Date `json:"to"`
	What   string     `json:"what,omitempty"`
	Stage  string     `json:"stage,omitempty"`
	Share  float64    `json:"share,omitempty"` // of the terminals that were cut, 0 to 1
	Guess  bool       `json:"guess,omitempty"` // Share is not what the record states
	N      int        `json:"n,omitempty"`
	K      int        `json:"k,omitempty"`
	Leaves int        `json:"leaves,omitempty"`
	Idle   int        `json:"idle,omitempty"`
	ID     string     `json:"id"` // of the record
}

// A Group is trees of one cultivar that share their history.
type Group struct {
	Cultivar string   `json:"cultivar"`
	Species  string   `json:"species"`
	Trees    int      `json:"trees"`
	Codes    []string `json:"codes,omitempty"` // where not all trees of the block are in the group
	Planted  string   `json:"planted,omitempty"`
	Seedling int      `json:"seedlings,omitempty"`
	Events   []Event  `json:"events"` // by day and id
}

// A Note is something outside the model: it stands on the calendar and moves nothing.
type Note struct {
	Day  civil.Date `json:"day"`
	Till string     `json:"till,omitempty"`
	What string     `json:"what"` // girdled, water-withheld, regulator, flush-removed
	ID   string     `json:"id"`
}

// A Pace is trees that were pruned on the days of one record.
type Pace struct {
	From  civil.Date `json:"from"`
	To    civil.Date `json:"to"`
	Trees int        `json:"trees"`
}

// State is what a block's records say of its shoots.
type State struct {
	Groups []Group  `json:"groups"` // the largest first
	Notes  []Note   `json:"notes,omitempty"`
	Paces  []Pace   `json:"paces,omitempty"`
	Picks  []Picked `json:"picks,omitempty"` // by calendar year
}

// Picked is the first and the last pick of a block in a calendar year.
type Picked struct {
	First civil.Date `json:"first"`
	Last  civil.Date `json:"last"`
	ID    string     `json:"id"` // of the last
}

// Fold computes the State of each block.
func Fold() *projections.Fold { return projections.NewFold("flush", 1, projections.Block, fold) }

// reach is an event with the trees that it is about: nil means all.
type reach struct {
	Event
	trees map[string]bool
}

func fold(v *projections.View) *State {
	s := &State{Groups: []Group{}}
	ground := v.Ground()
	var all []reach
	for _, f := range v.Standing() {
		day := civil.DateOf(f.Time, v.Zone)
		id := f.ID.String()
		for _, e := range eventsOf(v, f, day) {
			e.ID = id
			if e.From.IsZero() {
				e.From = e.To
			}
			parts := v.Parts(f)
			if len(parts) == 0 {
				continue
			}
			trees, share, guess := covers(v, ground, f, parts)
			if e.Kind == evCut {
				e.Share *= share
				e.Guess = e.Guess || guess
				s.pace(&e, len(trees))
			}
			all = append(all, reach{e, trees})
		}
		s.note(v, f, day)
	}
	all = append(all, s.harvests()...)
	slices.SortStableFunc(s.Notes, func(a, b Note) int { return cmp.Or(a.Day.Compare(b.Day), strings.Compare(a.ID, b.ID)) })
	slices.SortStableFunc(all, func(a, b reach) int { return cmp.Or(a.To.Compare(b.To), strings.Compare(a.ID, b.ID)) })
	s.group(v, ground, all)
	return s
}

// eventsOf reads one record; the share of a cut is that of a tree that it touches.
func eventsOf(v *projections.View, f *projections.Fact, day civil.Date) []Event {
	switch d := f.Data().(type) {
	case *events.TreePruned:
		return cutOf(d, day, v)
	case *events.FruitPicked: // that there were picks is a matter of the block: see harvests
		most, _ := v.Number(settings.FlushCutLength, day)
		if cm, ok := length(d.LengthCutBack); ok && cm >= most {
			return []Event{{Kind: evCut, To: day, What: "with-fruit", Share: 1}}
		}
	case *events.HarvestClosed:
		if closed, err := civil.ParseDate(d.Date); err == nil {
			return []Event{{Kind: evPicked, To: closed}}
		}
	case *events.FlushSeen:
		e := Event{Kind: evSeen, To: day, Stage: d.Stage}
		if d.TerminalsCounted != nil && d.TerminalsInStage != nil && *d.TerminalsCounted > 0 {
			e.N, e.K = *d.TerminalsCounted, min(*d.TerminalsInStage, *d.TerminalsCounted)
		}
		return []Event{e}
	case *events.BloomSeen:
		return bloomOf(d, day)
	case *events.CropAssessed:
		switch d.Crop {
		case "light", "fair", "heavy":
			return []Event{{Kind: evFruit, To: day}}
		}
	case *events.DamageSeen:
		if slices.Contains([]string{"hail", "freeze", "fire", "herbicide", "spray-injury", "salt"}, d.Cause) || d.Cause == "storm" && d.TreesDead != nil {
			return []Event{{Kind: evLost, To: day, What: d.Cause}}
		}
	}
	return nil
}

// cutOf says how much of the terminals a prune takes. Without a stated share: all for the cuts that go over the whole
// canopy, a third for those that take single limbs or one face of it (an assumption, marked as a guess). Roots and dead wood
// take none: common practice.
func cutOf(d *events.TreePruned, day civil.Date, v *projections.View) []Event {
	e := Event{Kind: evCut, To: day, What: d.Cut, Share: 1}
	if d.Started != "" {
		if m, err := events.ParseMoment(d.Started, v.Zone); err == nil {
			if from := civil.DateOf(m.At, v.Zone); from.Before(day) {
				e.From = from
			}
		}
	}
	stated, ok := percent(d.ShareOfTerminalsCut)
	switch {
	case d.Cut == "root" || d.Cut == "dead-wood":
		return nil
	case ok:
		e.Share = stated
	default:
		if canopy, ok := percent(d.ShareOfCanopy); ok {
			e.Share, e.Guess = canopy, true
			break
		}
		switch d.Cut {
		case "topping", "skirting", "limb", "panicle":
			e.Share, e.Guess = 1.0/3, true
		}
	}
	return []Event{e}
}

func bloomOf(d *events.BloomSeen, day civil.Date) []Event {
	e := Event{Kind: evBloom, To: day, Stage: d.Stage}
	if d.Stage == "" {
		// BBCH principal stages of the extended scale: 5 inflorescence, 6 flowering, 7 and 8 fruit (from memory, after Wei 2013).
		switch {
		case strings.HasPrefix(d.BBCH, "5"):
			e.Stage = "panicles-out"
		case strings.HasPrefix(d.BBCH, "6"):
			e.Stage = "female"
		case strings.HasPrefix(d.BBCH, "7"), strings.HasPrefix(d.BBCH, "8"):
			return []Event{{Kind: evFruit, To: day}}
		default:
			return nil
		}
	}
	n := func(p *int) int {
		if p == nil {
			return 0
		}
		return *p
	}
	if d.LeaflessPanicle != nil || d.LeafyPanicle != nil || d.Stage == "none" {
		e.K = n(d.LeaflessPanicle) + n(d.LeafyPanicle)
		e.Leaves, e.Idle = n(d.Vegetative), n(d.NoMovement)
		e.N = max(n(d.TerminalsCounted), e.K+e.Leaves+e.Idle)
	}
	return []Event{e}
}

func length(q *events.Quantity) (cm float64, ok bool) {
	if q == nil {
		return 0, false
	}
	v, err := units.Convert(q.Value, q.Unit, "cm")
	return v, err == nil
}

// covers is the trees that a record's parts name (nil: the whole block, or no tree is listed), the share of each tree, and
// whether that share had to be guessed.
func covers(v *projections.View, ground *projections.Ground, f *projections.Fact, parts []events.Part) (trees map[string]bool, share float64, guess bool) {
	share = 1
	whole := false
	for _, p := range parts {
		switch stated, ok := percent(p.Share); {
		case ok:
			share = min(share, stated)
		case p.Side != "":
			share, guess = min(share, 0.5), true // a tree has two sides to a row: common practice
		}
		whole = whole || p.Whole()
	}
	if whole {
		return nil, share, guess
	}
	named := ground.Resolve(parts, f.Time)
	if len(named) == 0 {
		if len(ground.Trees) > 0 {
			return map[string]bool{}, share, guess
		}
		return nil, min(share, 0.5), true // rows of a block whose trees are not listed: nobody knows how many
	}
	trees = make(map[string]bool, len(named))
	for _, t := range named {
		trees[t.Tree] = true
	}
	return trees, share, guess
}

// note keeps what the model leaves out, and the pace of the work.
func (s *State) note(v *projections.View, f *projections.Fact, day civil.Date) {
	add := func(what, till string) {
		s.Notes = append(s.Notes, Note{Day: day, Till: till, What: what, ID: f.ID.String()})
	}
	switch d := f.Data().(type) {
	case *events.TreeGirdled:
		if d.Healed == nil {
			add("girdled", "")
		}
	case *events.WaterWithheld:
		till := ""
		if m, err := events.ParseMoment(d.Until, v.Zone); d.Until != "" && err == nil {
			till = civil.DateOf(m.At, v.Zone).String()
		}
		if m, err := events.ParseMoment(d.From, v.Zone); err == nil {
			day = civil.DateOf(m.At, v.Zone)
		}
		add("water-withheld", till)
	case *events.SprayApplied:
		for _, item := range d.Mix {
			if _, label := v.Label(item.Label); item.Label != "" && label != nil && label.Material == "growth-regulator" {
				add("regulator", "")
				break
			}
		}
	case *events.TreePruned:
		if d.FlushRemoved == "soft" || d.FlushRemoved == "hardened" {
			add("flush-removed", "")
		}
	case *events.FruitPicked:
		if n := len(s.Picks); n > 0 && s.Picks[n-1].First.Year == day.Year {
			s.Picks[n-1].Last, s.Picks[n-1].ID = day, f.ID.String()
		} else {
			s.Picks = append(s.Picks, Picked{day, day, f.ID.String()})
		}
	}
}

// harvests are the picks as events of the whole block: thousands of weighings by tree say nothing of shoots but that there
// was fruit, and that it is off.
func (s *State) harvests() []reach {
	var out []reach
	for _, p := range s.Picks {
		if p.First != p.Last {
			out = append(out, reach{Event: Event{Kind: evFruit, From: p.First, To: p.First, ID: p.ID}})
		}
		out = append(out, reach{Event: Event{Kind: evPicked, From: p.First, To: p.Last, ID: p.ID}})
	}
	return out
}

func (s *State) pace(e *Event, trees int) {
	if e.What == "with-fruit" || trees == 0 && e.From == e.To {
		return
	}
	s.Paces = append(s.Paces, Pace{From: e.From, To: e.To, Trees: trees}) // 0 trees: all of the block
}

// group sorts the trees that stand now by what happened to them.
func (s *State) group(v *projections.View, ground *projections.Ground, all []reach) {
	type bundle struct {
		Group
		order int
	}
	var groups []*bundle
	by := map[string]*bundle{}
	standing := 0
	for i := range ground.Trees {
		t := &ground.Trees[i]
		if !t.Until.IsZero() {
			continue
		}
		standing++
		cultivar := t.Cultivar
		var signature strings.Builder
		came := civil.DateOf(t.From, v.Zone)
		for _, g := range ground.Grafts(*t) {
			cultivar = g.Cultivar
		}
		signature.WriteString(cultivar + "|" + t.Species + "|" + t.Planted.String())
		var mine []Event
		for k := range all {
			if all[k].trees != nil && !all[k].trees[t.Tree] || all[k].To.Before(came) {
				continue
			}
			signature.WriteString(" " + strconv.Itoa(k))
			mine = append(mine, all[k].Event)
		}
		b := by[signature.String()]
		if b == nil {
			b = &bundle{Group: Group{Cultivar: cultivar, Species: t.Species, Planted: t.Planted.String(), Events: mine}, order: len(groups)}
			by[signature.String()] = b
			groups = append(groups, b)
		}
		b.Trees++
		b.Codes = append(b.Codes, t.Tree)
		if plantedFrom(v, t.Tree) == "seedling" {
			b.Seedling++
		}
	}
	if standing == 0 {
		g := Group{Species: events.DefaultSpecies, Events: []Event{}}
		for _, r := range all {
			g.Events = append(g.Events, r.Event)
		}
		s.Groups = append(s.Groups, g)
		return
	}
	slices.SortFunc(groups, func(a, b *bundle) int { return cmp.Or(cmp.Compare(b.Trees, a.Trees), cmp.Compare(a.order, b.order)) })
	for _, b := range groups {
		if b.Trees == standing {
			b.Codes = nil
		}
		if b.Events == nil {
			b.Events = []Event{}
		}
		s.Groups = append(s.Groups, b.Group)
	}
}

func plantedFrom(v *projections.View, tree string) string {
	if fs := v.Planters(tree); len(fs) > 0 {
		return fs[0].Data().(*events.TreePlanted).Propagation
	}
	return ""
}
