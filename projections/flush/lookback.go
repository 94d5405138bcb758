package flush

import (
	"slices"

	"latewood/events/civil"
	"latewood/projections"
)

// A Break is a bud break of a cool season that is over, or about to be: as seen, or as the clock puts it.
type Break struct {
	Day      civil.Date
	Seen     bool
	Mean     float64 // C over the sensitive window; weather that really came
	Share    float64 // of the terminals that flower at that mean
	WarmDays int     // of the window, with many hours above 20; -1: not measured
	Window   int     // days
	Mature   civil.Date
}

// Past is what the clock says of a cool season with the weather that came.
type Past struct {
	From, To  civil.Date // the cool season
	Cultivar  string
	Species   string
	Trees     int
	Seedlings int
	Planted   string
	Known     bool // the clock ran; else Why says why not
	Why       string
	Breaks    []Break    // inside the season, and the last one before it, in order
	Hardened  civil.Date // when the last flush before the season was mature; zero: not known, or not before the season ended
	LastCut   civil.Date // before the season
	Threshold float64
	Warmest   float64 // C: mean of the season
	Air       *Air
}

// LookBack runs a block's clock through the cool season that holds or follows a day, by the settings and what was seen. tree
// narrows it to one tree; "" is the block's most frequent history.
func LookBack(b *projections.Book, block, tree string, day civil.Date) (Past, bool) {
	st := projections.StateOf[State](b, Fold(), block)
	if len(st.Groups) == 0 {
		return Past{}, false
	}
	g := &st.Groups[0]
	for i := range st.Groups {
		if tree != "" && (slices.Contains(st.Groups[i].Codes, tree) || st.Groups[i].Codes == nil) {
			g = &st.Groups[i]
			break
		}
	}
	m := ModelOn(b, day)
	p, _ := m.For(b, g.Cultivar, day)
	out := Past{Cultivar: g.Cultivar, Species: g.Species, Trees: g.Trees, Seedlings: g.Seedling, Planted: g.Planted, Threshold: p.T50}
	out.From, out.To = m.Season.On(day)
	for i := range g.Events {
		if e := &g.Events[i]; e.Kind == evCut && !e.To.After(out.To) && e.Share >= 0.3 {
			out.LastCut = e.To
		}
	}
	t := newTeller(b, Query{On: out.To.AddDays(m.Window + 60)})
	out.Air = t.sky.For(block).Own
	switch {
	case !t.modelled(g.Species):
		out.Why = whySpecies
		return out, true
	case out.Air == nil || out.Air.Day(out.From) < 0 || out.Air.Day(out.To) >= out.Air.Heat.Days():
		out.Why = whyNoWeather
		return out, true
	}
	a := out.Air
	out.Warmest = a.Mean.Over(a.Day(out.From), a.Day(out.To)+1) / float64(out.To.Sub(out.From)+1)
	strand := heaviest(g.strands(1, a, p, out.From))
	if why, _ := (&told{on: out.From, air: a}).trouble(&strand, &m); why != "" {
		out.Why = why
		return out, true
	}
	out.Known = true
	start := a.Day(strand.from) + strand.to.Sub(strand.from)/2
	if strand.phase == broke {
		out.add(a, p, m, start, a.Heat.Reach(a.Heat.After(start)+p.Grow, start), strand.stage != "")
	}
	for _, r := range p.Run(a.Heat, a.Mean, start, strand.phase == cut, m.Window) {
		if date := a.Date(r.Break); date.After(out.To) || !strand.floor.IsZero() && date.Before(strand.floor) {
			continue
		}
		out.add(a, p, m, r.Break, r.Mature, false)
	}
	out.seen(g, a, p, m)
	return out, true
}

func heaviest(list []strand) strand {
	best := list[0]
	for _, s := range list {
		if s.weight > best.weight {
			best = s
		}
	}
	return best
}

// add keeps a break; of those before the season the last one, whose leaves must be mature for the next.
func (p *Past) add(a *Air, par Params, m Model, at, mature int, seen bool) {
	if at >= a.Heat.Days() {
		return
	}
	b := Break{Day: a.Date(at), Seen: seen, Mature: a.Date(min(mature, a.Heat.Days())), Window: m.Window, WarmDays: -1}
	b.Mean = a.Mean.Over(at, at+m.Window) / float64(max(min(m.Window, a.Heat.Days()-at), 1))
	b.Share = Flowers(b.Mean, par.T50, par.Slope)
	for d := at; d < min(at+m.Window, len(a.Warm)); d++ {
		if a.Warm[d] == a.Warm[d] {
			if b.WarmDays < 0 {
				b.WarmDays = 0
			}
			if a.Warm[d] >= m.WarmHours {
				b.WarmDays++
			}
		}
	}
	if b.Day.Before(p.From) {
		p.Breaks = slices.DeleteFunc(p.Breaks, func(o Break) bool { return o.Day.Before(p.From) })
		p.Hardened = b.Mature
	}
	p.Breaks = append(p.Breaks, b)
}

// seen puts breaks of the season that somebody saw in the place of those that the clock makes up.
func (p *Past) seen(g *Group, a *Air, par Params, m Model) {
	for i := range g.Events {
		e := &g.Events[i]
		if e.Kind != evSeen || e.Stage != string(Breaking) || e.To.Before(p.From) || e.To.After(p.To) || e.N > 0 && e.K*2 < e.N {
			continue
		}
		c := &collector{air: a, prior: par}
		mk := c.breakOf(e, lookBefore(g, i))
		if mk == nil {
			continue
		}
		at := a.Day(mk.from) + mk.to.Sub(mk.from)/2
		p.Breaks = slices.DeleteFunc(p.Breaks, func(o Break) bool {
			return !o.Day.Before(p.From) && !o.Seen
		})
		p.add(a, par, m, at, a.Heat.Reach(a.Heat.After(at)+par.Grow, at), true)
	}
	slices.SortStableFunc(p.Breaks, func(x, y Break) int { return x.Day.Compare(y.Day) })
}
