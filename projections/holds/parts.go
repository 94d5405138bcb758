package holds

import (
	"cmp"
	"slices"
	"time"

	"latewood/events"
	"latewood/events/civil"
	"latewood/projections"
)

// BlockHolds is what a block answers at one instant. Its own line is its worst part, for picking and for entering apart.
type BlockHolds struct {
	Block string `json:"block"`
	Pick  Hold   `json:"pick"`
	Enter Hold   `json:"enter"`
	Parts []Part `json:"parts,omitempty"` // only where trees differ
}

// A Part is trees that answer alike: whole rows, and single trees by code, both by row and position. In a block whose
// trees are not listed the part without either is what no record names.
type Part struct {
	Rows  []string `json:"rows,omitempty"`
	Trees []string `json:"trees,omitempty"`
	Pick  Hold     `json:"pick"`
	Enter Hold     `json:"enter"`
}

// group is units that answer alike.
type group struct {
	units []unit
	pick  Hold
	enter Hold
}

// At answers for every tree that stands in the block at an instant. Zone is the farm's.
func (s *State) At(at time.Time, zone *time.Location) BlockHolds {
	moment := instant(at)
	units := s.units(moment)
	groups := s.groups(units, moment, zone)
	out := BlockHolds{Block: s.Block}
	for i, g := range groups {
		if i == 0 || worse(g.pick, out.Pick) {
			out.Pick = g.pick
		}
		if i == 0 || worse(g.enter, out.Enter) {
			out.Enter = g.enter
		}
	}
	if len(groups) < 2 {
		return out
	}
	inRow := map[string]int{}
	for _, u := range units {
		inRow[u.row]++
	}
	for _, g := range groups {
		p := Part{Pick: g.pick, Enter: g.enter}
		here := map[string]int{}
		for _, u := range g.units {
			here[u.row]++
		}
		for _, u := range g.units {
			switch {
			case u.row != "" && here[u.row] == inRow[u.row]:
				if !slices.Contains(p.Rows, u.row) {
					p.Rows = append(p.Rows, u.row)
				}
			case u.tree >= 0:
				p.Trees = append(p.Trees, s.Codes[u.tree])
			}
		}
		out.Parts = append(out.Parts, p)
	}
	return out
}

// worse reports whether one answer is worse than another: by status, then the one that opens later or gives no day, then
// the one with more behind it.
func worse(a, b Hold) bool {
	if a.Status != b.Status {
		return a.Status.Worse(b.Status)
	}
	opens := func(h Hold) Instant {
		if h.from == 0 {
			return never
		}
		return h.from
	}
	return cmp.Or(cmp.Compare(opens(a), opens(b)), cmp.Compare(len(a.Because), len(b.Because))) > 0
}

// units lists what stands in the block at an instant, by row and position: trees, or where none is listed the rows that
// records name and the rest.
func (s *State) units(at Instant) []unit {
	var out []unit
	for _, t := range s.Trees {
		if t.stands(at) {
			out = append(out, unit{t.Tree, t.Row, t.Position})
		}
	}
	if len(out) > 0 {
		return out
	}
	var rows []string
	for _, c := range s.covers(at) {
		rows = append(rows, c.Rows...)
	}
	slices.SortFunc(rows, projections.CompareLabels)
	for _, row := range slices.Compact(rows) {
		out = append(out, unit{tree: -1, row: row})
	}
	return append(out, unit{tree: -1})
}

// covers lists everything that can tell one tree from another at an instant.
func (s *State) covers(at Instant) []Cover {
	var out []Cover
	for i := range s.Sprays {
		spray := &s.Sprays[i]
		if at >= spray.Last {
			continue
		}
		for n := range spray.Spans {
			out = append(out, spray.Spans[n].Cover)
		}
		for n := range spray.Ends {
			out = append(out, spray.Ends[n].Cover)
		}
		for n := range spray.Judged {
			out = append(out, spray.Judged[n].Cover)
		}
	}
	if len(out) == 0 {
		return nil
	}
	for i := range s.Closings {
		out = append(out, s.Closings[i].Cover)
	}
	return out
}

// groups asks for units, once for all that nothing tells apart, and puts those together that answer alike: in the order
// of their first unit.
func (s *State) groups(units []unit, at Instant, zone *time.Location) []group {
	covers := s.covers(at)
	var groups []group
	bySign, byAnswer := map[string]int{}, map[string]int{}
	sign := make([]byte, len(covers))
	for _, u := range units {
		for i, c := range covers {
			sign[i] = 0
			if c.has(u) {
				sign[i] = 1
			}
		}
		g, ok := bySign[string(sign)]
		if !ok {
			pick, enter := s.ask(u, at, zone)
			text, err := events.WriteJSON([]Hold{pick, enter})
			if err != nil { // plain texts: it cannot be
				text = sign
			}
			if g, ok = byAnswer[string(text)]; !ok {
				g = len(groups)
				groups = append(groups, group{pick: pick, enter: enter})
				byAnswer[string(text)] = g
			}
			bySign[string(sign)] = g
		}
		groups[g].units = append(groups[g].units, u)
	}
	return groups
}

// named lists the units that parts of a record name at an instant; the whole block where they name nothing that is there.
// Where trees are not listed, a row that no spray names belongs to the rest.
func (s *State) named(parts []events.Part, at Instant) []unit {
	units := s.units(at)
	names := func(u unit, p events.Part) bool {
		switch {
		case p.Block != s.Block:
			return false
		case u.tree >= 0:
			return projections.Covers(p, s.Codes[u.tree], u.row)
		case len(p.Rows) == 0 || len(p.Trees) > 0:
			return true
		case u.row != "":
			return slices.Contains(p.Rows, u.row)
		}
		return slices.ContainsFunc(p.Rows, func(row string) bool {
			return !slices.ContainsFunc(units, func(o unit) bool { return o.row == row })
		})
	}
	out := slices.DeleteFunc(slices.Clone(units), func(u unit) bool {
		return !slices.ContainsFunc(parts, func(p events.Part) bool { return names(u, p) })
	})
	if len(out) == 0 {
		return units
	}
	return out
}

// PickAt reports whether fruit picked from parts of the block at an instant was inside an interval: while a spray went on,
// while the label had to be read, or before the end of what ran, a person's reading with a date included. Because is what
// held it.
//
// A pick at the first instant of a local day is one of which only the date is known: it speaks for its whole day, and is
// inside where any moment of that day is. Parts that name no tree that stands there speak for the whole block.
func (s *State) PickAt(parts []events.Part, at time.Time, zone *time.Location) (in bool, because []Because) {
	return s.during(parts, at, zone, picking)
}

// WorkAt is PickAt for work of any kind and re-entry.
func (s *State) WorkAt(parts []events.Part, at time.Time, zone *time.Location) (in bool, because []Because) {
	return s.during(parts, at, zone, entering)
}

func (s *State) during(parts []events.Part, at time.Time, zone *time.Location, which int) (in bool, because []Because) {
	moment := instant(at)
	asked := []Instant{moment}
	if day := civil.DateOf(at, zone); civil.DayStart(day, zone).Equal(at) {
		asked = append(asked, s.changes(moment, instant(civil.DayEnd(day, zone)))...)
	}
	var causes []sortable
	for _, m := range asked {
		for _, g := range s.groups(s.named(parts, m), m, zone) {
			h := g.pick
			if which == entering {
				h = g.enter
			}
			if !h.holds() {
				continue
			}
			in = true
			for _, c := range h.causes {
				if c.because.holds() && !slices.ContainsFunc(causes, func(o sortable) bool { return o.compare(c) == 0 }) {
					causes = append(causes, c)
				}
			}
		}
	}
	slices.SortFunc(causes, sortable.compare)
	for _, c := range causes {
		because = append(because, c.because)
	}
	return in, because
}

// holds reports whether an answer keeps people off: the block is not open, and not by a plan alone.
func (h Hold) holds() bool { return keepsOff(h.Status, h.From) }

func (b Because) holds() bool { return keepsOff(b.Status, b.From) }

func keepsOff(s Status, from string) bool {
	switch s {
	case InProgress, ReadTheLabel, Waiting:
		return true
	case ReadByPerson:
		return from != ""
	}
	return false
}

// changes lists the instants after from and before until at which an answer can become another one.
func (s *State) changes(from, until Instant) []Instant {
	var out []Instant
	see := func(all ...Instant) {
		for _, i := range all {
			if i > from && i < until {
				out = append(out, i)
			}
		}
	}
	for i := range s.Sprays {
		spray := &s.Sprays[i]
		if from >= spray.Last {
			continue
		}
		for n := range spray.Spans {
			see(spray.Spans[n].From, spray.Spans[n].Until)
		}
		for _, e := range spray.Ends {
			see(e.At, e.Else)
		}
		for _, j := range spray.Judged {
			see(j.Time, j.From)
		}
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// Only is a State with one spray alone, by the id of its record: what that spray holds.
func (s *State) Only(id string) *State {
	out := *s
	out.Sprays = slices.DeleteFunc(slices.Clone(s.Sprays), func(p Spray) bool { return p.ID != id })
	out.Gone = nil
	return &out
}

// Withdrawn is a State with the sprays alone that were withdrawn, as if they stood: what they held.
func (s *State) Withdrawn() *State {
	out := *s
	out.Sprays, out.Gone = s.Gone, nil
	return &out
}

// Due is something that waits for somebody.
type Due struct {
	What   string `json:"what"`            // plan-overdue, spray-open, read-the-label
	Record string `json:"record"`          // id of the spray
	Since  string `json:"since,omitempty"` // RFC 3339 with the farm's offset
	Words  string `json:"words"`           // one sentence for people
}
