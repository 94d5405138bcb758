package flush

import (
	"math"
	"sort"
)

// Sums are running sums over days: Sums[i] is the sum before day i, Sums[len-1] that of all days.
type Sums []float64

// NewSums sums up one value a day.
func NewSums(days []float64) Sums {
	s := make(Sums, len(days)+1)
	for i, v := range days {
		s[i+1] = s[i] + v
	}
	return s
}

// Days is the number of days.
func (s Sums) Days() int { return len(s) - 1 }

// After is the sum up to and with day i.
func (s Sums) After(i int) float64 { return s[i+1] }

// Reach is the first day, from a day on, whose sum up to and with it is at least target; Days() if none is. What is over the
// target counts for what comes next, so that a step's end does not wait for a whole day.
func (s Sums) Reach(target float64, from int) int {
	from = max(from, 0)
	return from + sort.Search(max(s.Days()-from, 0), func(k int) bool { return s[from+k+1] >= target })
}

// Over is the sum over [from, to), as far as days are known.
func (s Sums) Over(from, to int) float64 {
	from, to = min(max(from, 0), s.Days()), min(max(to, 0), s.Days())
	return s[to] - s[from]
}

// DayHeat is the mean over a day of max(0, T - base) for a sine through the day's extremes, degree-days. It ignores the cap.
//
// Source: single sine, Baskerville & Emin 1969 (from memory).
func DayHeat(low, high, base float64) float64 {
	mid, half := (high+low)/2, (high-low)/2
	switch {
	case low >= base:
		return mid - base
	case high <= base:
		return 0
	}
	th := math.Asin((base - mid) / half)
	return ((mid-base)*(math.Pi/2-th) + half*math.Cos(th)) / math.Pi
}

// A Turning is one break of the clock, and when the leaves of that flush are mature.
type Turning struct {
	Break, Mature int     // days; Days() of the sums where it is not reached
	Mean          float64 // C, over the sensitive window after the break
	Share         float64 // of the terminals that flower
}

// Run is the clock without chance: a prune (or, with cut false, a break) on day start, then every break up to the end of the
// heat. Heat counts from the day after. It is the plain reading of the model, for check cases and estimates.
func (p Params) Run(heat, mean Sums, start int, cut bool, window int) []Turning {
	var out []Turning
	at := heat.After(start)
	next := start
	if cut {
		at += p.Lag
		next = heat.Reach(at, start+1)
	}
	for next < heat.Days() {
		t := Turning{Break: next, Mature: heat.Reach(at+p.Grow, next+1)}
		t.Mean = mean.Over(next, next+window) / float64(max(min(window, mean.Days()-next), 1))
		t.Share = Flowers(t.Mean, p.T50, p.Slope)
		out = append(out, t)
		at += p.Round()
		next = heat.Reach(at, next+1)
	}
	return out
}

// normal is the standard normal distribution function.
func normal(z float64) float64 { return 0.5 * math.Erfc(-z/math.Sqrt2) }

// quantile is the inverse of normal.
func quantile(p float64) float64 { return math.Sqrt2 * math.Erfinv(2*p-1) }

// Reached is the share of terminals (or the chance of a block) that has reached a step after x degree-days: a lognormal with
// that median and sigma.
func Reached(x, median, sigma float64) float64 {
	if x <= 0 {
		return 0
	}
	if math.IsInf(x, 1) {
		return 1
	}
	return normal(math.Log(x/median) / sigma)
}

// Stage is what a person sees of a terminal, in the words of flush.seen, and the model's states behind them.
type Stage string

// The stages that the clock can estimate.
const (
	Still      Stage = "no-movement" // LAG: cut, bud flat
	Breaking   Stage = "bud-break"   // BREAK: bud of 1 to 5 mm
	Elongating Stage = "elongating"  // GROW: folded soft leaflets
	Expanding  Stage = "expanding"   // GROW: leaflets opening, soft
	Hardened   Stage = "hardened"    // REST: mature leaves, no bud moving
)

// Where stages begin and end, as shares of the heat from break to mature leaves. Leaves were folded for 20.3 of the 39.0 days
// of growth (published: Sukhvibul 2014); the rest is an assumption. They are wide because people draw the lines differently.
const (
	breakingTo                 = 0.10
	elongatingTo               = 0.35
	seenBreakTo                = 0.30
	seenElongFrom, seenElongTo = 0.03, 0.60
	seenExpFrom, seenExpTo     = 0.20, 1.10
	seenHardFrom               = 0.80
)

// A StageShare is a share of the terminals in a stage.
type StageShare struct {
	Stage Stage   `json:"stage"`
	Share float64 `json:"share"`
}

// Stages gives the shares of terminals by stage x degree-days after a prune (cut) or a break, by stage in the order of the
// constants. terminal is the sigma between terminals.
func (p Params) Stages(x float64, cut bool, terminal float64) []StageShare {
	shares := [5]float64{}
	lag := 0.0
	if cut {
		lag = p.Lag
	}
	// The spread of a sum of steps that spread independently, each by the same sigma.
	reached := func(steps ...float64) float64 {
		sum, square := 0.0, 0.0
		for _, s := range steps {
			sum += s
			square += s * s
		}
		if sum == 0 {
			return 1
		}
		return Reached(x, sum, terminal*math.Sqrt(square)/sum)
	}
	steps := []float64{lag}
	before := 1.0 // have reached the break of this round
	for round := range 12 {
		broken := reached(steps...)
		if round == 0 {
			shares[0] = 1 - broken
		} else {
			shares[4] += before - broken
		}
		marks := [3]float64{}
		for i, part := range []float64{breakingTo, elongatingTo, 1} {
			marks[i] = reached(append(append([]float64{}, steps...), p.Grow*part)...)
		}
		shares[1] += broken - marks[0]
		shares[2] += marks[0] - marks[1]
		shares[3] += marks[1] - marks[2]
		before = marks[2]
		steps = append(steps, p.Grow, p.Rest)
		if before < 1e-6 {
			break
		}
	}
	shares[4] += before
	out := make([]StageShare, 0, 5)
	for i, s := range []Stage{Still, Breaking, Elongating, Expanding, Hardened} {
		out = append(out, StageShare{s, max(shares[i], 0)})
	}
	return out
}
