package flush

import (
	"slices"

	"latewood/events/civil"
	"latewood/projections"
)

// stretches scans the days of the coming pruning season.
func (r *told) stretches(out *Block, t *teller) {
	m := &t.model
	from, to := m.Season.On(r.on)
	for !from.After(r.on) {
		from, to = m.Season.On(to.AddDays(1))
	}
	last := civil.Date{Year: from.Year, Month: m.LastPrune.Month, Day: m.LastPrune.Day}
	if last.After(from) {
		last.Year--
	}
	if last.Before(r.on) { // too late for this one
		from, to = m.Season.On(to.AddDays(1))
		last.Year++
	}
	days := last.Sub(r.now)
	scenes, left := r.past.Scenes(r.now, r.horizon(m, to), *m, t.season)
	out.PruneSeason = t.season(from.AddDays(to.Sub(from) / 2))
	if len(scenes) == 0 || days <= 0 {
		out.Notes = append(out.Notes, say("flush.no-winters"))
		return
	}
	if out.Basis.WeatherYears == 0 || len(r.draws) == 0 {
		out.Basis.WeatherYears, out.Basis.YearsLeftOut = len(scenes), left
	}
	skip := r.on.Sub(r.now) - 1 // days before the day after the question
	reps := max(m.Draws/sets, 1)
	sc := prunes(r.sets, reps, scenes, m.reaction(), days, span{from.Sub(r.now) - 1, to.Sub(r.now) - 1}, m.TradeLine, seed(r.block, "prune"), r.cores)
	for d := range min(max(skip, 0), days) {
		sc.share[d] = -1
	}
	pace, known := t.pace()
	if known {
		p := round(pace, 1)
		out.Basis.PacePerDay = &p
	}
	fruit := r.fruitUntil()
	for _, s := range sc.stretches(m.Share) {
		column := make([]float64, len(sc.bySet))
		for k := range column {
			column[k] = sc.bySet[k][s.best]
		}
		slices.Sort(column)
		x := Stretch{
			From: r.now.AddDays(s.from + 1).String(), To: r.now.AddDays(s.to + 1).String(), Best: r.now.AddDays(s.best + 1).String(),
			Share: round(sc.share[s.best], 3), Low: round(at(column, 0.1), 3), High: round(at(column, 0.9), 3),
			MarginBefore: s.best - s.from, MarginAfter: s.to - s.best, TradeLine: round(sc.alone[s.best], 3), Mature: round(sc.gate[s.to], 3),
			FruitOn: !fruit.IsZero() && r.now.AddDays(s.from+1).Before(fruit),
		}
		if known {
			n := int(pace * m.WorkDays / 7 * float64(s.to-s.from+1))
			x.TreesWorkable = &n
		}
		if sc.gate[s.to] >= m.Gate {
			out.LastPruneDay = x.To
		} else if sc.gate[s.from] >= m.Gate {
			for d := s.to; d >= s.from; d-- {
				if sc.gate[d] >= m.Gate {
					out.LastPruneDay = r.now.AddDays(d + 1).String()
					break
				}
			}
		}
		out.PruneStretches = append(out.PruneStretches, x)
	}
	if len(out.PruneStretches) == 0 {
		best := max(skip, 0)
		for d := best; d < days; d++ {
			if sc.share[d] > sc.share[best] {
				best = d
			}
		}
		if best < days {
			column := make([]float64, len(sc.bySet))
			for k := range column {
				column[k] = sc.bySet[k][best]
			}
			slices.Sort(column)
			out.BestDay = &BestDay{r.now.AddDays(best + 1).String(), round(sc.share[best], 3), round(at(column, 0.1), 3), round(at(column, 0.9), 3)}
		}
	}
}

// fruitUntil is when the last pick usually is, of a block with panicles or fruit on: the middle one of past years' last days.
func (r *told) fruitUntil() civil.Date {
	on := 0.0
	for i := range r.strands {
		if r.strands[i].phase == panicled {
			on += r.strands[i].weight
		}
	}
	if on < 0.05 {
		return civil.Date{}
	}
	var days []int
	for _, p := range r.st.Picks {
		if p.Last.Before(r.on.AddDays(-60)) {
			days = append(days, p.Last.Sub(civil.Date{Year: p.Last.Year, Month: 1, Day: 1}))
		}
	}
	if len(days) == 0 {
		return civil.Date{}
	}
	slices.Sort(days)
	until := civil.Date{Year: r.on.Year, Month: 1, Day: 1}.AddDays(days[len(days)/2] + 1)
	if until.Before(r.on.AddDays(-120)) {
		until.Year++
	}
	return until
}

// pace is the trees that the farm prunes in a day: as adopted, else the middle one of its prunes.
func (t *teller) pace() (float64, bool) {
	if t.model.Pace > 0 {
		return t.model.Pace, true
	}
	var rates []float64
	for _, code := range t.book.Keys(projections.Block) {
		st := projections.StateOf[State](t.book, Fold(), code)
		all := 0
		for i := range st.Groups {
			all += st.Groups[i].Trees
		}
		for _, p := range st.Paces {
			if p.To.After(t.q.On) {
				continue
			}
			n := p.Trees
			if n == 0 {
				n = all
			}
			if n > 0 {
				rates = append(rates, float64(n)/float64(p.To.Sub(p.From)+1))
			}
		}
	}
	if len(rates) == 0 {
		return 0, false
	}
	slices.Sort(rates)
	return at(rates, 0.5), true
}
