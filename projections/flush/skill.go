package flush

import (
	"cmp"
	"slices"

	"latewood/events/civil"
	"latewood/projections"
)

// Skill is how well the clock did on past seasons that it had not seen: each judged on the first day of its cool season with
// what was recorded and what weather had come up to then, and parameters fitted to nothing later.
type Skill struct {
	Cultivar string  `json:"cultivar"`
	Seasons  int     `json:"seasons"` // with a forecast and a count
	Judged   []Judge `json:"judged"`
	// Brier is the mean squared error of the chance that half of the terminals or more flower; Reference that of the base
	// rate known then; Score 1 - Brier/Reference: 0 is no better than the base rate. Absent under six seasons.
	Brier     *float64 `json:"brier,omitempty"`
	Reference *float64 `json:"reference,omitempty"`
	Score     *float64 `json:"score,omitempty"`
	BandsHeld int      `json:"bandsHeld"` // of the seasons in which a break was seen, those inside p10 to p90
	BandsOf   int      `json:"bandsOf"`
	Words     string   `json:"words"`
}

// Judge is one block and season.
type Judge struct {
	Season    string   `json:"season"`
	Block     string   `json:"block"`
	Chance    *float64 `json:"chance,omitempty"`    // forecast that half or more of the terminals flower; absent: the clock was not known
	Reference float64  `json:"reference"`           // base rate of the seasons before
	Share     float64  `json:"share"`               // of the terminals counted, with panicles
	Break     *Days    `json:"seenBreak,omitempty"` // when the break was, by what was seen
	Band      *Band    `json:"band,omitempty"`      // as forecast on the first day of the cool season
	BandHeld  *bool    `json:"bandHeld,omitempty"`
	Why       string   `json:"why,omitempty"` // there was no forecast
}

// worth is the score from which the clock is called better than the base rate: less comes by chance alone. Project rule.
const worth = 0.15

// least is how many judged seasons a score asks for.
const least = 6

// until is the air as it was known at the end of a day.
func (a *Air) until(d civil.Date) *Air {
	n := min(max(a.Day(d)+1, 0), a.Heat.Days())
	return &Air{
		Station: a.Station, First: a.First, Heat: a.Heat[:n+1], Mean: a.Mean[:n+1], Filled: a.Filled[:n+1],
		Max: a.Max[:n], Min: a.Min[:n], Warm: a.Warm[:n], cool: a.cool[:n],
	}
}

// outcome is the share of terminals with panicles that was counted in a season, and when the break before it was seen.
type outcome struct {
	from, to civil.Date // the cool season
	share    float64
	counted  bool
	broke    *Days
}

// bloomLag is how long after a cool season its panicles are still counted.
const bloomLag = 75

// outcomes lists the past cool seasons of a block that somebody counted or in which a break was seen, in order.
func (st *State) outcomes(cultivar string, m *Model, a *Air, prior Params, on civil.Date) []outcome {
	by := map[civil.Date]*outcome{}
	get := func(from, to civil.Date) *outcome {
		if by[from] == nil {
			by[from] = &outcome{from: from, to: to}
		}
		return by[from]
	}
	for i := range st.Groups {
		if st.Groups[i].Cultivar != cultivar {
			continue
		}
		for k := range st.Groups[i].Events {
			e := &st.Groups[i].Events[k]
			from, to := m.Season.On(e.To.AddDays(-bloomLag))
			if e.To.Before(from) || e.To.After(on) {
				continue
			}
			switch {
			case e.Kind == evBloom && (e.N > 0 || e.Stage == "none"):
				o := get(from, to)
				if share := float64(e.K) / float64(max(e.N, 1)); !o.counted || share > o.share {
					o.share, o.counted = share, true
				}
			case e.Kind == evSeen && e.Stage == "bud-break" && (e.N == 0 || e.K*2 >= e.N):
				if in, end := m.Season.On(e.To); in.After(e.To) || end.Before(e.To) {
					continue
				}
				o := get(m.Season.On(e.To))
				if o.broke == nil && a.Day(e.To) < a.Heat.Days() {
					c := &collector{air: a, prior: prior}
					if b := c.breakOf(e, lookBefore(&st.Groups[i], k)); b != nil {
						o.broke = &Days{b.from.String(), b.to.String()}
					}
				}
			}
		}
	}
	var out []outcome
	for _, o := range by {
		if o.counted && o.to.Before(on) {
			out = append(out, *o)
		}
	}
	slices.SortFunc(out, func(a, b outcome) int { return a.from.Compare(b.from) })
	return out
}

// lookBefore is the last look before an event that saw no break.
func lookBefore(g *Group, k int) civil.Date {
	for i := k - 1; i >= 0; i-- {
		if e := &g.Events[i]; e.Kind == evSeen {
			if e.Stage == "no-movement" || e.Stage == "dormant" || e.Stage == "hardened" {
				return e.To
			}
			break
		}
	}
	return civil.Date{}
}

// skillOf judges every past season of a cultivar's blocks.
func (t *teller) skillOf(cultivar string) *Skill {
	if s := t.skill[cultivar]; s != nil {
		return s
	}
	s := &Skill{Cultivar: cultivar, Judged: []Judge{}}
	t.skill[cultivar] = s
	type job struct {
		code string
		st   *State
		sky  Sky
		o    outcome
	}
	var jobs []job
	prior, _ := t.model.For(t.book, cultivar, t.q.On)
	for _, code := range t.book.Keys(projections.Block) {
		st := projections.StateOf[State](t.book, Fold(), code)
		sky := t.sky.For(code)
		if !slices.Contains(st.cultivars(), cultivar) || sky.Own == nil {
			continue
		}
		sky.Past.sums(t.model.reaction()) // made once, before several read it
		for _, o := range st.outcomes(cultivar, &t.model, sky.Own, prior, t.q.On) {
			jobs = append(jobs, job{code, st, sky, o})
		}
	}
	slices.SortStableFunc(jobs, func(a, b job) int { return cmp.Or(a.o.from.Compare(b.o.from), cmp.Compare(a.code, b.code)) })
	// One fit for each season, of what was known on its first day.
	var days []civil.Date
	for _, j := range jobs {
		if !slices.Contains(days, j.o.from) {
			days = append(days, j.o.from)
		}
	}
	evidence := make([]*Evidence, len(days))
	for i, d := range days {
		evidence[i] = t.evidence(cultivar, d)
	}
	fits := make([]*Fit, len(days))
	each(len(days), t.q.Cores, func(i int) {
		fits[i] = NewFit(evidence[i], prior, t.model, seed("skill", cultivar, days[i].String()))
	})
	judged := make([]Judge, len(jobs))
	each(len(jobs), t.q.Cores, func(i int) {
		j := jobs[i]
		sky := Sky{Own: j.sky.Own.until(j.o.from), Past: j.sky.Past.until(j.o.from)}
		r := t.tell(j.code, cultivar, j.st, sky, fits[slices.Index(days, j.o.from)], j.o.from, 1)
		judged[i] = r.judge(t, &j.o)
	})
	var met, n float64
	var brier, reference float64
	seasons := map[string]bool{}
	scored := 0.0
	for i := range judged {
		g := &judged[i]
		hit := 0.0
		if g.Share >= 0.5 {
			hit = 1
		}
		g.Reference = round((met+1)/(n+2), 3)
		if g.Chance != nil {
			brier += (*g.Chance - hit) * (*g.Chance - hit)
			reference += (g.Reference - hit) * (g.Reference - hit)
			seasons[g.Season] = true
			scored++
		}
		if g.BandHeld != nil {
			s.BandsOf++
			if *g.BandHeld {
				s.BandsHeld++
			}
		}
		// Blocks of the same season are not known to each other.
		if i+1 == len(judged) || judged[i+1].Season != g.Season {
			for k := i; k >= 0 && judged[k].Season == g.Season; k-- {
				n++
				if judged[k].Share >= 0.5 {
					met++
				}
			}
		}
	}
	s.Judged, s.Seasons = append(s.Judged, judged...), len(seasons)
	if s.Seasons < least {
		s.Words = say("flush.skill-few", "n", s.Seasons, "asked", least)
		return s
	}
	b, ref := round(brier/scored, 3), round(reference/scored, 3)
	s.Brier, s.Reference = &b, &ref
	score := 0.0
	if reference > 0 {
		score = round(1-brier/reference, 2)
	}
	s.Score = &score
	key := "flush.skill-none"
	if score > worth {
		key = "flush.skill-some"
	}
	s.Words = say(key, "n", s.Seasons, "score", score) //words:keys flush.skill
	return s
}

// judge holds a forecast of the first day of a cool season against what was counted.
func (r *told) judge(t *teller, o *outcome) Judge {
	mid := o.from.AddDays(o.to.Sub(o.from) / 2)
	j := Judge{Season: t.season(mid), Block: r.block, Share: round(o.share, 3), Break: o.broke}
	switch {
	case len(r.draws) == 0 && len(r.lost) > 0:
		j.Why = r.lost[0].Words
		return j
	case len(r.draws) == 0 || len(r.scenes) == 0:
		j.Why = say("flush.no-winters-then")
		return j
	}
	hits := 0.0
	for _, v := range r.meet.share {
		if v >= 0.5 {
			hits++
		}
	}
	// No chance is 0 or 1 with so few draws and winters.
	n := float64(len(r.scenes))
	chance := round((hits/float64(len(r.meet.share))*n+0.5)/(n+1), 3)
	j.Chance = &chance
	q := quantiles(r.breaks, 0.1, 0.5, 0.9)
	j.Band = &Band{r.now.AddDays(q[0] + 1).String(), r.now.AddDays(q[1] + 1).String(), r.now.AddDays(q[2] + 1).String()}
	if o.broke != nil {
		held := o.broke.To >= j.Band.P10 && o.broke.From <= j.Band.P90
		j.BandHeld = &held
	}
	return j
}
