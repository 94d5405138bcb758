package flush

import (
	"math"
	"math/rand/v2"
	"slices"
)

// A step of the clock that observations speak about.
type step uint8

const (
	stepLag  step = iota // prune to break
	stepGrow             // break to mature leaves
	stepTurn             // break to the next break
)

// A Sighting is one step of which the orchard's people saw the ends: heat from the start (of which several days may be
// possible, equally likely) to the last look before the end and to the first look after it.
type Sighting struct {
	Step   step
	Block  int       // index into a Fit's blocks
	Low    []float64 // degree-days to the last look that saw it not yet, by possible start; 0 or less: no such look
	High   []float64 // to the first look that saw it; +Inf: never seen
	Before bool      // other flushes may have come between unseen: the step can be two or three rounds
}

// seen reports whether the end was seen at all.
func (s *Sighting) seen() bool { return !math.IsInf(s.High[0], 1) }

// A Flowering is a count of terminals after a break.
type Flowering struct {
	Block int
	Mean  []float64 // C over the sensitive window, by possible day of the break
	N, K  float64   // terminals that grew, and of them those with a panicle
}

// Odd is how much of a sighting's likelihood is left to mistakes of people and to whatever starts a flush beside heat: rain,
// nitrogen. It keeps one odd look from deciding. Project rule.
const odd = 0.04

// IntervalLogLikelihood is ln(F(high) - F(low)) of a lognormal with median and sigma: the event came after low and up to high
// degree-days. low 0 or less: it was there at the first look; high +Inf: it was never seen.
func IntervalLogLikelihood(low, high, median, sigma float64) float64 {
	return math.Log(between(low, high, median, sigma))
}

// between is F(high) - F(low), computed on the side where it loses no digits.
func between(low, high, median, sigma float64) float64 {
	zl, zh := math.Inf(-1), math.Inf(1)
	if low > 0 {
		zl = math.Log(low/median) / sigma
	}
	if !math.IsInf(high, 1) {
		if high <= 0 {
			return 0
		}
		zh = math.Log(high/median) / sigma
	}
	if zl > 0 {
		return normal(-zl) - normal(-zh)
	}
	return normal(zh) - normal(zl)
}

// likelihood is the probability of a sighting under a block's parameters, averaged over its possible starts.
func (s *Sighting) likelihood(p Params) float64 {
	median, sigma := p.Lag, p.Cycle
	switch s.Step {
	case stepGrow:
		median = p.Grow
	case stepTurn:
		median = p.Round()
	}
	sum := 0.0
	for i := range s.Low {
		low, high := s.Low[i], s.High[i]
		if low > 0 && high <= low {
			high = low * 1.02
		}
		l := between(low, high, median, sigma)
		if s.Before {
			l = 0.70*l + 0.22*between(low, high, median+p.Round(), sigma*0.75) + 0.08*between(low, high, median+2*p.Round(), sigma*0.65)
		}
		sum += l + odd*between(low, high, median*1.1, 0.8)
	}
	return sum / float64(len(s.Low)) / (1 + odd)
}

// crowd is how alike the terminals of one block and season are: of n counted, n / (1 + crowd (n-1)) count by themselves.
// Project rule.
const crowd = 0.1

func (f *Flowering) logLikelihood(p Params) float64 {
	n := f.N / (1 + crowd*(f.N-1))
	k := n * f.K / f.N
	sum := 0.0
	for _, tm := range f.Mean {
		share := min(max(Flowers(tm, p.T50, p.Slope), 0.02), 0.98) // nobody's count is all of one kind for one reason
		sum += math.Exp(k*math.Log(share) + (n-k)*math.Log(1-share))
	}
	return math.Log(sum/float64(len(f.Mean)) + 1e-12)
}

// Evidence is what a cultivar's blocks saw.
type Evidence struct {
	Blocks     []string
	Sightings  []Sighting
	Flowerings []Flowering
}

// Cycles is the number of breaks that were seen and of which it is known what they came after: a prune or another break.
func (e *Evidence) Cycles() int {
	n := 0
	for i := range e.Sightings {
		if e.Sightings[i].seen() && e.Sightings[i].Step != stepGrow {
			n++
		}
	}
	return n
}

// A Moved says how far the data moved a parameter.
type Moved struct {
	Name   string  `json:"name"` // lag, grow, rest, threshold, slope, spread
	Unit   string  `json:"unit"`
	Prior  float64 `json:"prior"`
	Median float64 `json:"median"`
	Low    float64 `json:"low"` // p10
	High   float64 `json:"high"`
	// Learned is how much narrower the band became: 0 nothing, 1 all.
	Learned float64 `json:"learned"`
}

// A Fit is draws of the parameters, given what was seen.
type Fit struct {
	Cycles     int // breaks seen after a prune or another break that is known
	Flowerings int
	blocks     []string
	draws      [][]Params // by block; the last row is a block of which nothing was seen
	prior      Params
	model      Model
	all        [][6]float64 // the draws of the cultivar: lag, grow, rest, t50, slope, cycle
}

// Fitted reports whether there is enough to speak of a fit: five cycles. Fewer hardly move the prior.
func (f *Fit) Fitted() bool { return f.Cycles >= enough }

const enough = 5

// Of gives a block's draws.
func (f *Fit) Of(block string) []Params {
	if i := slices.Index(f.blocks, block); i >= 0 {
		return f.draws[i]
	}
	return f.draws[len(f.draws)-1]
}

// Spreads of the blocks of one cultivar about it: of all heats together, as a logarithm, and of T50 in C (an air station is
// not the canopy: 1 to 3 C on clear nights, from memory). Project rules.
const (
	blockHeat = 0.05
	blockT50  = 0.5
	spreadSD  = 0.35 // of the logarithm of Params.Cycle
	slopeSD   = 0.28 // ln(1.5/0.5)/3.92
)

// sets is the number of parameter sets that a fit keeps.
const sets = 80

// chain is a walk through the parameters of a cultivar and its blocks.
type chain struct {
	ev    *Evidence
	m     Model
	prior Params
	at    [6]float64 // ln lag, ln grow, ln rest, t50, ln slope, ln cycle
	block [][2]float64
	like  []float64 // log-likelihood by block
	rand  *rand.Rand
	by    []blockEvidence
}

type blockEvidence struct {
	s []Sighting
	f []Flowering
}

func (c *chain) params(at [6]float64, b [2]float64) Params {
	k := math.Exp(b[0])
	return Params{
		Lag: math.Exp(at[0]) * k, Grow: math.Exp(at[1]) * k, Rest: math.Exp(at[2]) * k, T50: at[3] + b[1], Slope: math.Exp(at[4]), Cycle: math.Exp(at[5]),
	}
}

func (c *chain) blockLike(i int, p Params) float64 {
	l := 0.0
	for k := range c.by[i].s {
		l += math.Log(c.by[i].s[k].likelihood(p) + 1e-12)
	}
	for k := range c.by[i].f {
		l += c.by[i].f[k].logLikelihood(p)
	}
	return l
}

// means and sds of the prior of chain.at.
func (c *chain) priors() (mean, sd [6]float64) {
	p := c.prior
	mean = [6]float64{math.Log(p.Lag), math.Log(p.Grow), math.Log(p.Rest), p.T50, math.Log(p.Slope), math.Log(p.Cycle)}
	// The rest is what is left of a cycle and has the widest range of all.
	sd = [6]float64{c.m.Spread, c.m.Spread, 2 * c.m.Spread, c.m.Spread50, slopeSD, spreadSD}
	return mean, sd
}

func logPrior(x, mean, sd float64) float64 { d := (x - mean) / sd; return -d * d / 2 }

// NewFit draws parameters given what was seen, by a random walk (Metropolis, one parameter at a time) from a seed.
func NewFit(ev *Evidence, prior Params, m Model, seed uint64) *Fit {
	c := &chain{ev: ev, m: m, prior: prior, rand: rand.New(rand.NewPCG(seed, 0x666c757368))}
	mean, sd := c.priors()
	c.at = mean
	n := len(ev.Blocks)
	c.block, c.like, c.by = make([][2]float64, n), make([]float64, n), make([]blockEvidence, n)
	for _, s := range ev.Sightings {
		c.by[s.Block].s = append(c.by[s.Block].s, s)
	}
	for _, f := range ev.Flowerings {
		c.by[f.Block].f = append(c.by[f.Block].f, f)
	}
	for i := range c.by {
		c.like[i] = c.blockLike(i, c.params(c.at, c.block[i]))
	}
	f := &Fit{Cycles: ev.Cycles(), Flowerings: len(ev.Flowerings), blocks: ev.Blocks, draws: make([][]Params, n+1), prior: prior, model: m}
	step := sd
	for i := range step {
		step[i] *= 0.8
	}
	blockStep := [2]float64{blockHeat, blockT50}
	const warm, thin = 240, 6
	accepted, tried := [6]int{}, 0
	for sweep := range warm + sets*thin {
		for i := range c.at {
			if c.walk(i, mean[i], sd[i], step[i]) {
				accepted[i]++
			}
		}
		for i := range c.block {
			c.walkBlock(i, blockStep)
		}
		if tried++; sweep < warm && tried == 30 { // about a third of the steps should be taken
			for i := range step {
				step[i] = min(step[i]*math.Exp(2*(float64(accepted[i])/30-0.35)), sd[i]*2.4)
			}
			accepted, tried = [6]int{}, 0
		}
		if sweep < warm || (sweep-warm)%thin != 0 {
			continue
		}
		for i := range c.block {
			f.draws[i] = append(f.draws[i], c.params(c.at, c.block[i]))
		}
		other := [2]float64{c.rand.NormFloat64() * blockHeat, c.rand.NormFloat64() * blockT50}
		f.draws[n] = append(f.draws[n], c.params(c.at, other))
		p := c.params(c.at, [2]float64{})
		f.all = append(f.all, [6]float64{p.Lag, p.Grow, p.Rest, p.T50, p.Slope, p.Cycle})
	}
	return f
}

// walk proposes another value of one of the cultivar's parameters.
func (c *chain) walk(i int, mean, sd, step float64) bool {
	old := c.at[i]
	next := c.at
	next[i] = old + c.rand.NormFloat64()*step
	delta := logPrior(next[i], mean, sd) - logPrior(old, mean, sd)
	likes := make([]float64, len(c.like))
	for b := range c.like {
		likes[b] = c.blockLike(b, c.params(next, c.block[b]))
		delta += likes[b] - c.like[b]
	}
	if math.Log(1-c.rand.Float64()) < delta {
		c.at, c.like = next, likes
		return true
	}
	return false
}

func (c *chain) walkBlock(b int, step [2]float64) {
	for k, sd := range [2]float64{blockHeat, blockT50} {
		next := c.block[b]
		next[k] += c.rand.NormFloat64() * step[k]
		like := c.blockLike(b, c.params(c.at, next))
		delta := logPrior(next[k], 0, sd) - logPrior(c.block[b][k], 0, sd) + like - c.like[b]
		if math.Log(1-c.rand.Float64()) < delta {
			c.block[b], c.like[b] = next, like
		}
	}
}

// Moved tells of each parameter how far what was seen moved it.
func (f *Fit) Moved() []Moved {
	c := &chain{m: f.model, prior: f.prior}
	mean, sd := c.priors()
	var out []Moved
	for i, name := range []string{"lag", "grow", "rest", "threshold", "slope", "spread"} {
		values := make([]float64, len(f.all))
		logs := make([]float64, len(f.all))
		for k := range f.all {
			values[k] = f.all[k][i]
			logs[k] = values[k]
			if name != "threshold" {
				logs[k] = math.Log(values[k])
			}
		}
		m := Moved{Name: name, Unit: "K.d", Prior: math.Exp(mean[i])}
		switch name {
		case "threshold":
			m.Unit, m.Prior = "Cel", mean[i]
		case "slope":
			m.Unit = "Cel"
		case "spread":
			m.Unit = "1"
		}
		slices.Sort(values)
		m.Low, m.Median, m.High = at(values, 0.1), at(values, 0.5), at(values, 0.9)
		m.Learned = min(max(1-deviation(logs)/sd[i], 0), 1)
		out = append(out, m)
	}
	return out
}

// Median is the middle of each of a block's parameters: the plain reading of the fit.
func (f *Fit) Median(block string) Params {
	draws := f.Of(block)
	get := func(of func(Params) float64) float64 {
		v := make([]float64, len(draws))
		for i, p := range draws {
			v[i] = of(p)
		}
		slices.Sort(v)
		return at(v, 0.5)
	}
	return Params{
		Lag: get(func(p Params) float64 { return p.Lag }), Grow: get(func(p Params) float64 { return p.Grow }), Rest: get(func(p Params) float64 { return p.Rest }),
		T50: get(func(p Params) float64 { return p.T50 }), Slope: get(func(p Params) float64 { return p.Slope }), Cycle: get(func(p Params) float64 { return p.Cycle }),
	}
}

// at is a quantile of sorted values, by lines between them; NaN of none.
func at(sorted []float64, q float64) float64 {
	if len(sorted) == 0 {
		return math.NaN()
	}
	x := q * float64(len(sorted)-1)
	i := int(x)
	if i+1 >= len(sorted) {
		return sorted[len(sorted)-1]
	}
	return sorted[i] + (sorted[i+1]-sorted[i])*(x-float64(i))
}

func deviation(v []float64) float64 {
	n, mean, sum := float64(len(v)), 0.0, 0.0
	for _, x := range v {
		mean += x / n
	}
	for _, x := range v {
		sum += (x - mean) * (x - mean)
	}
	return math.Sqrt(sum / math.Max(n-1, 1))
}
