package flush

import (
	"cmp"
	"math"
	"slices"

	"latewood/events/civil"
)

// A phase is what a strand last went through.
type phase string

const (
	unknown   phase = "unknown"
	cut       phase = "cut"       // pruned on a day in [from, to]
	broke     phase = "broke"     // buds broke on a day in [from, to]
	panicled  phase = "panicled"  // panicles, flowers or fruit since to
	harvested phase = "harvested" // picked up to `to`, not cut since
	hurt      phase = "hurt"      // lost its shoots to hail or the like
)

// Why a clock is not known: keys of sentences.
const (
	whyNothing   = "nothing-seen"
	whyOrder     = "stage-order"
	whyUncut     = "not-pruned-since-pick"
	whyLost      = "shoots-lost"
	whyNoWeather = "no-weather"
	whyGaps      = "weather-gaps"
	whyShort     = "weather-too-short"
	whySpecies   = "species"
	whyLater     = "later-look"
	whyPanicles  = "panicles"
	whyFruit     = "fruit-on"
)

// A strand is a share of the terminals of a block and where its clock stands.
type strand struct {
	cultivar string
	weight   float64
	phase    phase
	from, to civil.Date // of the event that set the phase
	floor    civil.Date // the last day on which somebody saw that no bud had broken since; zero: nobody looked
	stage    string     // as somebody saw it last; "": nobody did since the last cut
	since    civil.Date // of that stage
	looked   civil.Date // the last look
	why      string
	what     string // of why: the cause, the cultivar
	guess    bool   // a share had to be guessed
}

// strands follows a group's events up to the end of a day. heat may be nil: then only what needs no weather is known.
func (g *Group) strands(weight float64, a *Air, p Params, on civil.Date) []strand {
	list := []strand{{cultivar: g.Cultivar, weight: weight, phase: unknown, why: whyNothing}}
	for i := range g.Events {
		e := &g.Events[i]
		if e.To.After(on) {
			// A prune that is under way has cut some trees already.
			if e.Kind == evCut && !e.From.After(on) {
				done := float64(on.Sub(e.From)+1) / float64(e.To.Sub(e.From)+1)
				part := *e
				part.To, part.Share = on, e.Share*done
				list = spread(list, func(s strand) []strand { return s.cut(&part) })
			}
			continue
		}
		list = spread(list, func(s strand) []strand { return s.take(e, a, p) })
	}
	return merge(list)
}

func spread(list []strand, f func(strand) []strand) []strand {
	var out []strand
	for _, s := range list {
		out = append(out, f(s)...)
	}
	return merge(out)
}

// most is how many strands of a block are followed: more say no more.
const most = 12

// merge puts strands of one standing together, and of too many those that stand closest.
func merge(list []strand) []strand {
	slices.SortStableFunc(list, func(a, b strand) int {
		return cmp.Or(cmp.Compare(a.cultivar, b.cultivar), cmp.Compare(a.phase, b.phase), a.from.Compare(b.from), a.to.Compare(b.to),
			a.floor.Compare(b.floor), cmp.Compare(a.why, b.why), cmp.Compare(a.stage, b.stage))
	})
	var out []strand
	for _, s := range list {
		if s.weight < 1e-9 {
			continue
		}
		if n := len(out); n > 0 {
			l := &out[n-1]
			if l.cultivar == s.cultivar && l.phase == s.phase && l.from == s.from && l.to == s.to && l.floor == s.floor && l.why == s.why && l.stage == s.stage {
				l.weight += s.weight
				l.guess = l.guess || s.guess
				if s.looked.After(l.looked) {
					l.looked = s.looked
				}
				continue
			}
		}
		out = append(out, s)
	}
	for len(out) > most {
		best, gap := -1, math.MaxInt
		for i := range out[1:] {
			a, b := &out[i], &out[i+1]
			if a.cultivar == b.cultivar && a.phase == b.phase && a.why == b.why && b.to.Sub(a.from) < gap {
				best, gap = i, b.to.Sub(a.from)
			}
		}
		if best < 0 {
			break
		}
		a, b := &out[best], &out[best+1]
		a.weight += b.weight
		if b.from.Before(a.from) {
			a.from = b.from
		}
		if b.to.After(a.to) {
			a.to = b.to
		}
		if b.floor.Before(a.floor) {
			a.floor = b.floor
		}
		if b.looked.After(a.looked) {
			a.looked = b.looked
		}
		out = slices.Delete(out, best+1, best+2)
	}
	return out
}

// take lets one event happen to a strand.
func (s strand) take(e *Event, a *Air, p Params) []strand {
	switch e.Kind {
	case evCut:
		return s.cut(e)
	case evPicked:
		if s.fresh(e.To) {
			break
		}
		s.set(harvested, e.To, e.To, whyUncut)
		s.stage = ""
	case evLost:
		s.set(hurt, e.To, e.To, whyLost)
		s.what, s.stage = e.What, ""
	case evFruit:
		if s.fresh(e.To) {
			break
		}
		s.set(panicled, e.To, e.To, whyFruit)
		s.see("fruit", e.To)
	case evBloom:
		return s.bloom(e)
	case evSeen:
		return s.seen(e, a, p)
	}
	return []strand{s}
}

// fresh reports whether a strand was cut or broke so short before a day with fruit that it bears none of it: from bloom to
// the pick takes longer (published durations of fruit development are 68 days and more, after the weeks of the panicle).
func (s *strand) fresh(day civil.Date) bool { return s.known() && day.Sub(s.from) < fruitDays }

const fruitDays = 120

func (s *strand) set(ph phase, from, to civil.Date, why string) {
	s.phase, s.from, s.to, s.why, s.floor, s.what = ph, from, to, why, civil.Date{}, ""
}

func (s *strand) see(stage string, day civil.Date) {
	if s.stage != stage {
		s.stage, s.since = stage, day
	}
	s.looked = day
}

func (s strand) cut(e *Event) []strand {
	rest := s
	rest.weight *= 1 - e.Share
	s.weight *= e.Share
	s.set(cut, e.From, e.To, "")
	s.stage, s.guess = "", s.guess || e.Guess
	rest.guess = s.guess
	return []strand{s, rest}
}

// bloom splits by what was counted: panicles have no clock until they are cut, leaves broke at a time that nobody noted, and
// what did not move stands where it stood.
func (s strand) bloom(e *Event) []strand {
	if e.Stage == "none" && e.N == 0 {
		s.looked = e.To
		return []strand{s}
	}
	share, leaves := 1.0, 0.0
	if e.N > 0 {
		share, leaves = float64(e.K)/float64(e.N), float64(e.Leaves)/float64(e.N)
	}
	var out []strand
	add := func(w float64, f func(*strand)) {
		if w > 0 {
			t := s
			t.weight *= w
			f(&t)
			out = append(out, t)
		}
	}
	add(share, func(t *strand) {
		t.set(panicled, e.To, e.To, whyPanicles)
		t.see(e.Stage, e.To)
	})
	add(leaves, func(t *strand) {
		if t.phase != broke || t.to.Before(e.To.AddDays(-60)) {
			// Seen beside panicles: it broke in the weeks before.
			t.set(broke, e.To.AddDays(-60), e.To, "")
		}
		t.looked = e.To
	})
	add(max(1-share-leaves, 0), func(t *strand) {
		t.floor, t.looked = e.To, e.To
	})
	return out
}

// seen lets a look at the flush happen.
func (s strand) seen(e *Event, a *Air, p Params) []strand {
	if e.Stage == "bud-break" && e.N > 0 && e.K*2 < e.N {
		// A minority has broken: only it moves on.
		rest := s
		rest.weight *= 1 - float64(e.K)/float64(e.N)
		rest.looked = e.To
		if rest.phase != unknown {
			rest.floor = e.To
		}
		s.weight *= float64(e.K) / float64(e.N)
		s.stand(e, a, p)
		return []strand{s, rest}
	}
	s.stand(e, a, p)
	return []strand{s}
}

// window is where a stage stands, in shares of the heat from break to mature leaves, plus rest for the last one.
func window(stage string, p Params) (low, high float64) {
	switch stage {
	case "bud-break":
		return 0, seenBreakTo * p.Grow
	case "elongating":
		return seenElongFrom * p.Grow, seenElongTo * p.Grow
	case "expanding":
		return seenExpFrom * p.Grow, seenExpTo * p.Grow
	}
	return seenHardFrom * p.Grow, p.Grow + 1.5*p.Rest
}

// impossible is how far a look may contradict the one before it until the clock is given up: a stage that was reached with
// less than this share of the least heat. Project rule; two people draw the lines between stages differently.
const impossible = 0.5

func (s *strand) stand(e *Event, a *Air, p Params) {
	if a == nil || a.Day(e.To) >= a.Heat.Days() || a.Day(e.To) < 0 {
		s.dated(e)
		return
	}
	// Heat from the earliest to the day of the look.
	sum := func(d civil.Date) float64 { return a.Heat.Over(a.Day(d)+1, a.Day(e.To)+1) }
	back := func(x float64) civil.Date { // the last day from which x or more degree-days have gone by
		target := a.Heat.After(a.Day(e.To)) - x
		return a.Date(a.Heat.Reach(target, 0))
	}
	defer s.see(e.Stage, e.To)
	switch e.Stage {
	case "no-movement":
		if s.phase == cut || s.phase == broke {
			s.floor = e.To
		}
		return
	case "dormant":
		if s.phase == cut && sum(s.from) < p.Lag+seenHardFrom*p.Grow*impossible {
			s.floor = e.To // nobody looked at it closely: it has not moved since the cut
			return
		}
	}
	low, high := window(e.Stage, p)
	from, to := back(high), back(low)
	if s.phase == broke {
		x0, x1 := sum(s.from), sum(s.to) // since its earliest and since its latest day
		switch {
		case x1 <= high && x0 >= low: // the flush that was seen to break
			if from.After(s.from) {
				s.from = from
			}
			if to.Before(s.to) {
				s.to = to
			}
			if s.to.Before(s.from) {
				s.to = s.from
			}
			if e.Stage != "bud-break" {
				s.floorAt(e)
			}
			return
		case x0 < low && x0 < impossible*low:
			s.set(unknown, e.To, e.To, whyOrder)
			s.what = e.Stage
			return
		case x0 < low: // somewhat too soon: the earlier look was late
			s.to = s.from
			s.floorAt(e)
			return
		case e.Stage != "hardened" && e.Stage != "dormant" && x1-high < impossible*(p.Round()-high) && x0 < p.Round()*impossible:
			// Back in an early stage long before another flush can have come.
			s.set(unknown, e.To, e.To, whyOrder)
			s.what = e.Stage
			return
		case e.Stage == "hardened" || e.Stage == "dormant":
			if x1 < p.Round()*1.5 { // a long rest
				s.floor = e.To
				return
			}
		}
		// A flush that nobody saw break.
	}
	if s.phase == cut {
		x := sum(s.from)
		if x < low+impossible*impossible*p.Lag && e.Stage != "bud-break" && x < impossible*(p.Lag+low) {
			s.set(unknown, e.To, e.To, whyOrder)
			s.what = e.Stage
			return
		}
	}
	// It broke after the last look that saw nothing, and after the cut.
	if bound := s.bound(); bound.After(from) {
		from = bound
	}
	if from.After(e.To) {
		from = e.To
	}
	if to.Before(from) {
		to = from
	}
	s.set(broke, from, to, "")
	s.floorAt(e)
}

// floorAt remembers that the flush seen on a day had not broken again.
func (s *strand) floorAt(e *Event) {
	if e.Stage != "bud-break" {
		s.floor = e.To
	}
}

// bound is the first day on which a break can have come after what is known.
func (s *strand) bound() civil.Date {
	day := s.floor
	if s.phase == cut && s.from.After(day) {
		day = s.from
	}
	if day.IsZero() {
		return day
	}
	return day.AddDays(1)
}

// dated takes a look without weather: only a break is a point in time by itself.
func (s *strand) dated(e *Event) {
	switch e.Stage {
	case "bud-break":
		from := e.To.AddDays(-14)
		if b := s.bound(); b.After(from) {
			from = b
		}
		if from.After(e.To) {
			from = e.To
		}
		s.set(broke, from, e.To, "")
	case "no-movement":
		s.floor = e.To
	default:
		if s.phase == unknown {
			s.why = whyNoWeather
		}
	}
	s.see(e.Stage, e.To)
}

// known reports whether the strand's clock runs.
func (s *strand) known() bool { return s.phase == cut || s.phase == broke }

// strandsOf are the strands of a block on a day, by cultivar; their weights are shares of the block's terminals, every tree
// counting the same.
func (st *State) strandsOf(cultivar string, a *Air, p Params, on civil.Date) []strand {
	var out []strand
	trees := 0
	for i := range st.Groups {
		if st.Groups[i].Cultivar == cultivar {
			trees += st.Groups[i].Trees
		}
	}
	for i := range st.Groups {
		g := &st.Groups[i]
		if g.Cultivar != cultivar {
			continue
		}
		w := 1.0
		if trees > 0 {
			w = float64(g.Trees) / float64(trees)
		}
		out = append(out, g.strands(w, a, p, on)...)
	}
	return merge(out)
}

// lastLook is the last day on which any look, cut or pick of the cultivar is recorded.
func (st *State) lastLook(cultivar string) (last civil.Date) {
	for i := range st.Groups {
		if st.Groups[i].Cultivar != cultivar {
			continue
		}
		for k := range st.Groups[i].Events {
			if d := st.Groups[i].Events[k].To; d.After(last) {
				last = d
			}
		}
	}
	return last
}
