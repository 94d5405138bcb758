package flush

import (
	"cmp"
	"math"

	"latewood/events/civil"
)

// Collect adds what a block saw of a cultivar up to the end of a day. Groups that share looks tell each of them once.
func (e *Evidence) Collect(block string, st *State, cultivar string, a *Air, p Params, m Model, until civil.Date) {
	if a == nil {
		return
	}
	e.Blocks = append(e.Blocks, block)
	c := &collector{ev: e, block: len(e.Blocks) - 1, air: a, prior: p, model: m, done: map[[3]string]bool{}}
	for i := range st.Groups {
		if st.Groups[i].Cultivar == cultivar {
			c.group(&st.Groups[i], until)
		}
	}
}

type collector struct {
	ev    *Evidence
	block int
	air   *Air
	prior Params
	model Model
	done  map[[3]string]bool // by step and the records at its ends
}

// mark is where a step can have begun.
type mark struct {
	from, to civil.Date
	id       string
	loose    bool // flushes may have gone by unseen before it ended
}

// group walks through the events of a group. A whole cut starts the lag; a break that was seen ends the lag, or a round.
func (c *collector) group(g *Group, until civil.Date) {
	var cutAt, breakAt *mark
	var floor civil.Date // the last look that saw no break
	var grown bool       // maturity of the flush of breakAt was seen
	var soft civil.Date  // the last look that saw the flush of breakAt not mature
	for i := range g.Events {
		e := &g.Events[i]
		if e.To.After(until) {
			break
		}
		switch e.Kind {
		case evCut:
			c.open(cutAt, breakAt, floor)
			if e.Share < 0.5 {
				continue
			}
			cutAt, breakAt, floor, grown = &mark{e.From, e.To, e.ID, false}, nil, civil.Date{}, false
		case evPicked, evLost, evFruit:
			cutAt, breakAt, floor = nil, nil, civil.Date{}
		case evBloom:
			c.flowering(e, breakAt, floor)
			if e.K > 0 || e.N == 0 && e.Stage != "none" {
				c.open(cutAt, nil, floor)
				cutAt, breakAt = nil, nil
			}
		case evSeen:
			switch e.Stage {
			case "no-movement", "dormant":
				floor = e.To
				if e.Stage == "dormant" && breakAt != nil && !grown {
					c.step(stepGrow, breakAt, soft, e)
					grown = true
				}
			case "hardened":
				if breakAt != nil {
					if !grown {
						c.step(stepGrow, breakAt, soft, e)
						grown = true
					}
					floor = e.To
				}
			case "elongating", "expanding":
				if breakAt != nil && !grown {
					soft, floor = e.To, e.To
					continue
				}
				// A flush whose break nobody saw: it came before this look, by the heat that the stage takes.
				fallthrough
			case "bud-break":
				if e.Stage == "bud-break" && e.N > 0 && e.K*2 < e.N {
					floor = e.To // most have not
					continue
				}
				if breakAt != nil && breakAt.to == e.To {
					continue
				}
				if breakAt != nil && c.heat(breakAt.to, e.To) < 0.3*c.prior.Round() {
					continue // the same flush, seen once more
				}
				next := c.breakOf(e, floor)
				switch {
				case breakAt != nil:
					breakAt.loose = !floor.After(breakAt.to) || c.heat(floor, e.To) > 0.5*c.prior.Round()
					c.step(stepTurn, breakAt, floor, e)
				case cutAt != nil:
					cutAt.loose = c.heat(cutAt.to, e.To) > c.prior.Lag+0.7*c.prior.Round()
					c.step(stepLag, cutAt, floor, e)
				}
				cutAt, breakAt, floor, grown, soft = nil, next, e.To, false, e.To
			}
		}
	}
	c.open(cutAt, breakAt, floor)
}

// heat is the degree-days after a day up to another; +Inf where the weather does not reach.
func (c *collector) heat(from, to civil.Date) float64 {
	i, k := c.air.Day(from), c.air.Day(to)
	if i < 0 || k >= c.air.Heat.Days() {
		return math.Inf(1)
	}
	return c.air.Heat.Over(i+1, k+1)
}

// breakOf is when a flush that was seen can have broken.
func (c *collector) breakOf(e *Event, floor civil.Date) *mark {
	low, high := window(e.Stage, c.prior)
	k := c.air.Day(e.To)
	if k < 0 || k >= c.air.Heat.Days() {
		return nil
	}
	sum := c.air.Heat.After(k)
	m := &mark{from: c.air.Date(c.air.Heat.Reach(sum-high, 0)), to: c.air.Date(c.air.Heat.Reach(sum-low, 0)), id: e.ID}
	if m.to.After(e.To) {
		m.to = e.To
	}
	if !floor.IsZero() && floor.AddDays(1).After(m.from) && floor.Before(e.To) {
		m.from = floor.AddDays(1)
	}
	if m.from.After(m.to) {
		m.from = m.to
	}
	return m
}

// starts is how many possible days of a beginning are looked at.
const starts = 5

// step adds a step whose end was seen at a look; floor is the last look that saw it not yet.
func (c *collector) step(s step, from *mark, floor civil.Date, e *Event) {
	c.add(s, from, floor, e.To, e.ID, e.Stage)
}

// open adds a step whose end nobody saw up to the last look.
func (c *collector) open(cutAt, breakAt *mark, floor civil.Date) {
	switch {
	case floor.IsZero():
	case breakAt != nil:
		c.add(stepTurn, breakAt, floor, civil.Date{}, "", "")
	case cutAt != nil:
		c.add(stepLag, cutAt, floor, civil.Date{}, "", "")
	}
}

func (c *collector) add(s step, from *mark, floor, to civil.Date, id, stage string) {
	key := [3]string{string('0' + rune(s)), from.id, cmp.Or(id, floor.String())}
	if c.done[key] {
		return
	}
	c.done[key] = true
	end := to
	if to.IsZero() {
		end = floor
	}
	if c.air.Holes(from.from, end) > c.model.Imputed {
		return
	}
	out := Sighting{Step: s, Block: c.block, Before: from.loose && s != stepGrow}
	span := from.to.Sub(from.from)
	n := min(span+1, starts)
	for i := range n {
		day := from.from
		if n > 1 {
			day = day.AddDays(int(math.Round(float64(span) * float64(i) / float64(n-1))))
		}
		low, high := 0.0, math.Inf(1)
		if floor.After(day) {
			low = c.heat(day, floor)
		}
		if !to.IsZero() {
			high = c.heat(day, to)
			if stage == "bud-break" || stage == "elongating" || stage == "expanding" {
				// It broke no longer ago than the stage lasts, whenever the last look was.
				_, longest := window(stage, c.prior)
				shortest, _ := window(stage, c.prior)
				low = max(low, high-longest)
				high -= shortest
			}
			if high <= 0 {
				continue
			}
		}
		out.Low, out.High = append(out.Low, low), append(out.High, high)
	}
	if len(out.Low) > 0 {
		c.ev.Sightings = append(c.ev.Sightings, out)
	}
}

// Panicles are seen from 24 days after the break (published: Lin 2020; floral initials within 39: Batten & McConchie 1995).
const panicleFrom, panicleTo = 21, 60

// flowering adds a count of panicles. The break that it came from was seen, or lies some weeks before.
func (c *collector) flowering(e *Event, breakAt *mark, floor civil.Date) {
	n := float64(e.K + e.Leaves)
	if n == 0 || (e.Stage != "panicles-out" && e.Stage != "male-1" && e.Stage != "none") {
		return
	}
	if key := [3]string{"f", e.ID}; c.done[key] {
		return
	} else {
		c.done[key] = true
	}
	from, to := e.To.AddDays(-panicleTo), e.To.AddDays(-panicleFrom)
	if breakAt != nil && e.To.Sub(breakAt.to) < 100 && e.To.Sub(breakAt.from) >= panicleFrom {
		from, to = breakAt.from, breakAt.to
	} else if floor.After(from) && floor.Before(to) {
		from = floor
	}
	i, k := c.air.Day(from), c.air.Day(to)
	w := c.model.Window
	if i < 0 || k+w > c.air.Heat.Days() || c.air.Holes(from, to.AddDays(w)) > c.model.Imputed {
		return
	}
	f := Flowering{Block: c.block, N: n, K: float64(e.K)}
	for d := i; d <= k; d += max((k-i)/6, 1) {
		f.Mean = append(f.Mean, c.air.Mean.Over(d, d+w)/float64(w))
	}
	c.ev.Flowerings = append(c.ev.Flowerings, f)
}
