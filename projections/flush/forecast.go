package flush

import (
	"cmp"
	"hash/fnv"
	"math"
	"slices"
	"sort"
	"strings"

	"latewood/events"
	"latewood/events/civil"
	"latewood/projections"
	"latewood/projections/settings"
)

// seed starts every draw; with the block's name, so that two blocks do not share their chance.
func seed(texts ...string) uint64 {
	h := fnv.New64a()
	for _, t := range texts {
		h.Write([]byte(t))
		h.Write([]byte{0})
	}
	return h.Sum64()
}

// teller holds what several blocks share.
type teller struct {
	book  *projections.Book
	q     Query
	model Model
	sky   *Weather
	fits  map[string]*Fit // by cultivar
	skill map[string]*Skill
	turn  civil.Turn
}

func newTeller(b *projections.Book, q Query) *teller {
	m := ModelOn(b, q.On)
	return &teller{book: b, q: q, model: m, sky: NewWeather(b, m, q.On), fits: map[string]*Fit{}, skill: map[string]*Skill{}, turn: b.Turn(q.On)}
}

func (t *teller) season(d civil.Date) string { return string(civil.CropYear(d, t.turn)) }

// Forecast answers for every block and cultivar, by code and name.
func Forecast(b *projections.Book, q Query) (Doc, error) {
	doc := Doc{On: q.On.String(), Blocks: []Block{}, Caution: say("flush.caution")}
	codes := b.Keys(projections.Block)
	if q.Block != "" {
		if !slices.Contains(codes, q.Block) {
			return doc, unknownBlock(q.Block, codes)
		}
		codes = []string{q.Block}
	}
	t := newTeller(b, q)
	for _, code := range codes {
		st := projections.StateOf[State](b, Fold(), code)
		for _, c := range st.cultivars() {
			doc.Blocks = append(doc.Blocks, t.block(code, c, st))
		}
	}
	return doc, nil
}

// cultivars lists what stands in the block, the most trees first; "" where no tree is listed.
func (st *State) cultivars() []string {
	trees := map[string]int{}
	var out []string
	for i := range st.Groups {
		c := st.Groups[i].Cultivar
		if _, ok := trees[c]; !ok {
			out = append(out, c)
		}
		trees[c] += st.Groups[i].Trees
	}
	slices.SortStableFunc(out, func(a, b string) int { return cmp.Or(cmp.Compare(trees[b], trees[a]), cmp.Compare(a, b)) })
	return out
}

func (st *State) of(cultivar string) (trees int, species string) {
	for i := range st.Groups {
		if st.Groups[i].Cultivar == cultivar {
			trees += st.Groups[i].Trees
			species = st.Groups[i].Species
		}
	}
	return trees, species
}

// fit is that of a cultivar by all its blocks, up to the day of the question.
func (t *teller) fit(cultivar string) *Fit {
	if f := t.fits[cultivar]; f != nil {
		return f
	}
	prior, _ := t.model.For(t.book, cultivar, t.q.On)
	f := NewFit(t.evidence(cultivar, t.q.On), prior, t.model, seed("fit", cultivar))
	t.fits[cultivar] = f
	return f
}

// evidence is what all blocks of a cultivar saw up to a day.
func (t *teller) evidence(cultivar string, until civil.Date) *Evidence {
	prior, _ := t.model.For(t.book, cultivar, t.q.On)
	ev := &Evidence{}
	for _, code := range t.book.Keys(projections.Block) {
		st := projections.StateOf[State](t.book, Fold(), code)
		if slices.Contains(st.cultivars(), cultivar) {
			ev.Collect(code, st, cultivar, t.sky.For(code).Own, prior, t.model, until)
		}
	}
	return ev
}

// modelled reports whether the clock is meant for a species.
func (t *teller) modelled(species string) bool {
	for name := range strings.SplitSeq(t.book.Text(settings.FlushSpecies, t.q.On), ",") {
		if strings.EqualFold(strings.TrimSpace(name), species) {
			return true
		}
	}
	return species == "" || species == events.DefaultSpecies
}

func (t *teller) block(code, cultivar string, st *State) Block {
	trees, species := st.of(cultivar)
	out := Block{Block: code, Cultivar: cultivar, Trees: trees, PruneStretches: []Stretch{}}
	m := t.model
	out.Basis = Basis{YearsAsked: m.Years, TradeLine: m.TradeLine, ShareAsked: m.Share, Response: m.Response}
	out.Outside = outside(st, t.q.On, &m)
	if !t.modelled(species) {
		out.NotKnown = []NotKnown{notKnown(1, whySpecies, species)}
		out.Headline = out.NotKnown[0].Words
		return out
	}
	prior, published := m.For(t.book, cultivar, t.q.On)
	out.Basis.Threshold, out.Basis.ThresholdKnown = prior.T50, published
	sky := t.sky.For(code)
	if later := st.lastLook(cultivar); later.After(t.q.On) {
		out.NotKnown = []NotKnown{notKnown(1, whyLater, later.String())}
		out.Headline = out.NotKnown[0].Words
		return out
	}
	if sky.Own == nil {
		out.NotKnown = []NotKnown{notKnown(1, whyNoWeather, "")}
		out.Headline = out.NotKnown[0].Words
		return out
	}
	fit := t.fit(cultivar)
	r := t.tell(code, cultivar, st, sky, fit, t.q.On, t.q.Cores)
	r.into(&out, t)
	if t.q.Skill {
		out.Skill = t.skillOf(cultivar)
	}
	out.Headline = headline(&out, fit)
	return out
}

// told is what the clock tells of a block on a day.
type told struct {
	on, now  civil.Date // now: the last day with weather up to on
	air      *Air
	past     *Air
	fit      *Fit
	sets     []Params
	strands  []strand
	ticks    []bool // by strand: its clock runs
	draws    []draw // of the strands whose clock runs, perStrand for each
	weights  []float64
	lost     []NotKnown
	running  float64 // share of the terminals whose clock runs
	imputed  int
	broken   float64 // chance, of the running share, that a break went by unseen
	season   [2]civil.Date
	scenes   []Scene
	left     int
	meet     meeting
	alone    meeting
	breaks   []weighted // days after now, of the next break
	early    []weighted // of the first terminals
	sky      Sky
	cultivar string
	block    string
	st       *State
	cores    int

	perStrand int
}

type weighted struct {
	day int
	w   float64
}

// tell runs a block's clock. fit may be of an earlier day than the weather.
func (t *teller) tell(code, cultivar string, st *State, sky Sky, fit *Fit, on civil.Date, cores int) *told {
	m := &t.model
	r := &told{on: on, air: sky.Own, past: sky.Past, fit: fit, sets: fit.Of(code), sky: sky, cultivar: cultivar, block: code, st: st, cores: cores}
	r.now = on
	if last := sky.Own.Last(); last.Before(on) {
		r.now = last
	}
	r.strands = st.strandsOf(cultivar, sky.Own, fit.Median(code), on)
	reps := max(m.Draws/sets, 1)
	r.perStrand = reps * len(r.sets)
	r.ticks = make([]bool, len(r.strands))
	for i := range r.strands {
		s := &r.strands[i]
		why, what := r.trouble(s, m)
		r.ticks[i] = why == ""
		if why != "" {
			r.lost = append(r.lost, notKnown(s.weight, why, what))
			continue
		}
		mk := newMaker(sky.Own, sky.Own.Day(r.now), seed(code, cultivar, s.from.String()), uint64(i))
		for _, d := range mk.draws(s, r.sets, reps) {
			r.draws = append(r.draws, d)
			r.weights = append(r.weights, s.weight/float64(reps*len(r.sets)))
			if floor := sky.Own.Day(s.looked); len(d.past) > 0 && d.past[len(d.past)-1] > floor {
				r.broken += s.weight / float64(reps*len(r.sets))
			}
		}
		r.running += s.weight
		r.imputed = max(r.imputed, int(sky.Own.Filled.Over(sky.Own.Day(s.from), sky.Own.Day(r.now)+1)))
	}
	if r.running > 0 {
		r.broken /= r.running
	}
	slices.SortStableFunc(r.lost, func(a, b NotKnown) int { return cmp.Compare(b.Share, a.Share) })
	r.lost = joined(r.lost)
	r.winters(t)
	return r
}

// joined adds up what is not known for the same reason.
func joined(list []NotKnown) []NotKnown {
	var out []NotKnown
	for _, n := range list {
		if i := slices.IndexFunc(out, func(o NotKnown) bool { return o.Words == n.Words }); i >= 0 {
			out[i].Share += n.Share
			continue
		}
		out = append(out, n)
	}
	return out
}

// trouble says why a strand's clock is not known, "" where it is.
func (r *told) trouble(s *strand, m *Model) (why, what string) {
	switch {
	case !s.known():
		return s.why, s.what
	case s.from.Before(r.air.First) || s.to.After(r.on):
		return whyShort, r.air.First.String()
	}
	// Of the last days no weather may be in yet: past winters stand in for a week of them, or for the share that may be filled in.
	now := r.on
	if last := r.air.Last(); last.Before(now) {
		now = last
	}
	if tail := r.on.Sub(now); tail > 7 && float64(tail) > m.Imputed*float64(r.on.Sub(s.from)+1) {
		return whyGaps, now.String()
	}
	if r.air.Holes(s.from, now) > m.Imputed {
		return whyGaps, ""
	}
	return "", ""
}

// horizon is the days of weather that are needed after now to see the end of a cool season.
func (r *told) horizon(m *Model, to civil.Date) int { return to.Sub(r.now) + m.reaction().window + 1 }

// winters lays past winters behind the day, and lets the draws run.
func (r *told) winters(t *teller) {
	m := &t.model
	r.season[0], r.season[1] = m.Season.On(r.on)
	if r.past == nil { // only the stage is asked for
		return
	}
	r.scenes, r.left = r.past.Scenes(r.now, r.horizon(m, r.season[1]), *m, t.season)
	if len(r.draws) == 0 || len(r.scenes) == 0 {
		return
	}
	s := span{r.season[0].Sub(r.now) - 1, r.season[1].Sub(r.now) - 1}
	past := r.air.sums(m.reaction()).cut(0, r.air.Day(r.now)+1)
	r.meet = meet(r.draws, r.weights, len(r.sets), r.scenes, past, m.reaction(), s, 0, r.cores)
	r.alone = meet(r.draws, r.weights, len(r.sets), r.scenes, past, m.reaction(), s, m.TradeLine, r.cores)
	first := math.Exp(-1.2816 * m.Terminal) // a tenth of the terminals is ahead by so much
	for i := range r.draws {
		d := &r.draws[i]
		for y := range r.scenes {
			w := r.weights[i] / float64(len(r.scenes))
			r.breaks = append(r.breaks, weighted{r.scenes[y].Heat.Reach(d.needs[0], 0), w})
			r.early = append(r.early, weighted{r.scenes[y].Heat.Reach((d.needs[0]+d.run)*first-d.run, 0), w})
		}
	}
}

// quantiles of weighted days.
func quantiles(list []weighted, qs ...float64) []int {
	sort.Slice(list, func(i, k int) bool { return list[i].day < list[k].day })
	total := 0.0
	for _, w := range list {
		total += w.w
	}
	out := make([]int, len(qs))
	sum, k := 0.0, 0
	for _, w := range list {
		sum += w.w
		for k < len(qs) && sum >= qs[k]*total-1e-12 {
			out[k] = w.day
			k++
		}
	}
	return out
}

// into writes the answer down.
func (r *told) into(out *Block, t *teller) {
	m := &t.model
	out.NotKnown = r.lost
	r.basis(out, m)
	r.stage(out)
	date := func(day int) string { return r.now.AddDays(day + 1).String() }
	if len(r.breaks) > 0 {
		q := quantiles(r.breaks, 0.1, 0.5, 0.9)
		if end := r.scenes[0].Heat.Days(); q[2] < end {
			out.NextBreak = &Band{date(q[0]), date(q[1]), date(q[2])}
			from := quantiles(r.early, 0.1)[0]
			look := &Days{date(from), date(q[2])}
			if look.From < r.on.String() {
				look.From = r.on.String()
			}
			out.Look = look
		} else {
			out.Notes = append(out.Notes, say("flush.beyond", "to", r.now.AddDays(end).String()))
		}
		if r.broken >= 0.1 {
			out.MaybeBroken = round(r.broken, 2)
		}
		out.CoolShare = r.cool(t)
	}
	r.stretches(out, t)
	r.notes(out, m)
}

func (r *told) basis(out *Block, m *Model) {
	b := &out.Basis
	b.WeatherYears, b.YearsLeftOut = len(r.scenes), r.left
	b.Station, b.WeatherUntil = r.air.Station, r.now.String()
	if r.past != r.air {
		b.PastStation = r.past.Station
	}
	b.ImputedDays, b.ObservedCycles, b.Counts, b.Fitted = r.imputed, r.fit.Cycles, r.fit.Flowerings, r.fit.Fitted()
	b.Parameters = r.fit.Moved()
	for i := range b.Parameters {
		p := &b.Parameters[i]
		digits := 1
		if p.Unit == "1" || p.Name == "slope" {
			digits = 3
		} else if p.Name == "threshold" {
			digits = 2
		}
		p.Prior, p.Low, p.Median, p.High, p.Learned = round(p.Prior, digits), round(p.Low, digits), round(p.Median, digits), round(p.High, digits), round(p.Learned, 2)
	}
	b.Threshold = round(r.fit.Median(r.block).T50, 2)
	b.CoolSeason = &Days{r.season[0].String(), r.season[1].String()}
}

// cool reads the share of met winters off.
func (r *told) cool(t *teller) *CoolShare {
	all, byScene, bySet := r.meet.means()
	alone, _, _ := r.alone.means()
	mid := r.season[0].AddDays(r.season[1].Sub(r.season[0]) / 2)
	c := &CoolShare{Season: t.season(mid), Mean: round(all, 3), TradeLine: round(alone, 3), ByYear: []Year{}}
	last := byScene[max(len(byScene)-10, 0):]
	for _, v := range last {
		c.LastTen += v / float64(len(last))
	}
	c.LastTen = round(c.LastTen, 3)
	for y, v := range byScene {
		c.ByYear = append(c.ByYear, Year{r.scenes[y].Season, round(v, 3)})
		row := slices.Clone(r.meet.row(y))
		slices.Sort(row)
		if at(row, 0.5) >= 0.5 {
			c.Winters.Met++
		}
	}
	c.Winters.Of = len(byScene)
	if n := len(byScene); n >= 10 {
		slope := round(trend(byScene)*10, 3)
		c.Trend = &slope
	}
	slices.Sort(bySet)
	sorted := slices.Clone(byScene)
	slices.Sort(sorted)
	c.Weather = Spread{round(at(sorted, 0.1), 3), round(at(sorted, 0.9), 3)}
	c.Ignorance = Spread{round(at(bySet, 0.1), 3), round(at(bySet, 0.9), 3)}
	return c
}

// trend is the slope of a straight line, a step.
func trend(v []float64) float64 {
	n := float64(len(v))
	var sx, sy, sxx, sxy float64
	for i, y := range v {
		x := float64(i)
		sx, sy, sxx, sxy = sx+x, sy+y, sxx+x*x, sxy+x*y
	}
	return (n*sxy - sx*sy) / (n*sxx - sx*sx)
}

func round(v float64, digits int) float64 {
	p := math.Pow(10, float64(digits))
	return math.Round(v*p) / p
}
