package flush

import (
	"math"
	"math/rand/v2"
	"slices"
	"sync"
)

// A draw is one way in which a strand's clock may go on: its parameters, the breaks that it had up to now, and the heat from
// now to each of the next.
type draw struct {
	set    int // of the parameters
	params Params
	past   []int     // days of the air
	needs  []float64 // degree-days after the last day of the air, ascending
	run    float64   // degree-days since the event before the first of needs
}

// ahead is how many breaks a draw looks forward to: more than fit into the horizon in any climate.
const ahead = 9

// maker makes draws; its chance comes from a seed.
type maker struct {
	rand *rand.Rand
	air  *Air
	now  int // the last day of the air that counts
}

func newMaker(a *Air, now int, seed, stream uint64) *maker {
	return &maker{rand.New(rand.NewPCG(seed, stream)), a, now}
}

// draws follows a strand n times for each parameter set.
func (mk *maker) draws(s *strand, sets []Params, n int) []draw {
	out := make([]draw, 0, len(sets)*n)
	from, to := mk.air.Day(s.from), mk.air.Day(s.to)
	floor := -1
	if !s.floor.IsZero() {
		floor = min(mk.air.Day(s.floor), mk.now)
	}
	for k, p := range sets {
		for range n {
			start := from
			if to > from {
				start += mk.rand.IntN(to - from + 1)
			}
			// What was done or seen after the last day with weather has had no heat yet.
			out = append(out, mk.draw(s.phase, min(start, mk.now), floor, k, p))
		}
	}
	return out
}

func (mk *maker) draw(ph phase, start, floor, set int, p Params) draw {
	d := draw{set: set, params: p}
	heat := mk.air.Heat
	origin, now := heat.After(start), heat.After(mk.now)
	median := p.Lag
	if ph == broke {
		median = p.Round()
	}
	least := 0.0 // degree-days at which somebody still saw no break
	if floor > start {
		least = heat.After(floor) - origin
	}
	sum := origin + mk.step(median, p.Cycle, least)
	from := start + 1
	d.run = now - origin
	for len(d.needs) < ahead {
		if sum <= now {
			day := heat.Reach(sum, from)
			d.past = append(d.past, day)
			from = day + 1
			d.run = now - sum
		} else {
			d.needs = append(d.needs, sum-now)
		}
		sum += mk.step(p.Round(), p.Cycle, 0)
	}
	return d
}

// step draws the heat of a step that is known to take more than least.
func (mk *maker) step(median, sigma, least float64) float64 {
	u := mk.rand.Float64()
	if least > 0 {
		f := normal(math.Log(least/median) / sigma)
		if f > 1-1e-9 { // far beyond anything the parameters allow: any day now
			return least * (1 + 0.02*u)
		}
		u = f + u*(1-f)
	}
	u = min(max(u, 1e-12), 1-1e-12)
	return median * math.Exp(sigma*quantile(u))
}

// each runs f for 0 to n-1 on the given number of goroutines. Each f writes to a place of its own, so the number changes no
// byte of what comes out.
func each(n, cores int, f func(int)) {
	if cores <= 1 || n <= 1 {
		for i := range n {
			f(i)
		}
		return
	}
	var wg sync.WaitGroup
	next := make(chan int)
	for range min(cores, n) {
		wg.Go(func() {
			for i := range next {
				f(i)
			}
		})
	}
	for i := range n {
		next <- i
	}
	close(next)
	wg.Wait()
}

// meeting is how breaks met the cool season: for every scene and parameter set the mean share over the draws.
type meeting struct {
	scenes, sets int
	share        []float64 // scene-major
}

func (m *meeting) row(scene int) []float64 { return m.share[scene*m.sets : (scene+1)*m.sets] }

// mean over all, by scene, and by set.
func (m *meeting) means() (all float64, byScene, bySet []float64) {
	byScene, bySet = make([]float64, m.scenes), make([]float64, m.sets)
	for y := range m.scenes {
		for k, v := range m.row(y) {
			byScene[y] += v / float64(m.sets)
			bySet[k] += v / float64(m.scenes)
		}
	}
	for _, v := range byScene {
		all += v / float64(m.scenes)
	}
	return all, byScene, bySet
}

// span is days of a scene, 0 the day after the last day of the air; negative lie in the air itself.
type span struct{ from, to int } // both inclusive

// tables are, for a scene, the share of terminals that flower by day of break, for one parameter set. Days outside of the
// span are 0.
func shares(sc *Scene, past Sums, r reaction, p Params, s span, into []float64) []float64 {
	into = slices.Grow(into[:0], s.to-s.from+1)[:s.to-s.from+1]
	n := past.Days()
	for i := range into {
		day := s.from + i
		sum := sc.Cool.Over(day, day+r.window)
		if day < 0 {
			sum = past.Over(n+day, n+min(day+r.window, 0)) + sc.Cool.Over(0, day+r.window)
		}
		into[i] = r.share(sum, p)
	}
	return into
}

// meet lets draws run through every scene, and says which share of the terminals meets the cool season: a terminal that
// stayed green may try again at its next break. weight is that of each draw within its set. T50 of the parameters is
// replaced by line where line is not 0.
func meet(draws []draw, weights []float64, nsets int, scenes []Scene, past Sums, r reaction, s span, line float64, cores int) meeting {
	out := meeting{scenes: len(scenes), sets: nsets, share: make([]float64, len(scenes)*nsets)}
	total := make([]float64, nsets)
	for i := range draws {
		total[draws[i].set] += weights[i]
	}
	// Draws lie set by set within strands; the table of shares depends on the set alone.
	bySet := make([][]int, nsets)
	for i := range draws {
		bySet[draws[i].set] = append(bySet[draws[i].set], i)
	}
	each(len(scenes), cores, func(y int) {
		row := out.row(y)
		sc := &scenes[y]
		var table []float64
		for k, members := range bySet {
			if len(members) == 0 {
				continue
			}
			p := draws[members[0]].params
			if line != 0 {
				p.T50 = line
			}
			table = shares(sc, past, r, p, s, table)
			for _, i := range members {
				d := &draws[i]
				green := 1.0
				for _, day := range d.past {
					if rel := day - past.Days(); rel >= s.from && rel <= s.to {
						green *= 1 - table[rel-s.from]
					}
				}
				from := 0
				for _, need := range d.needs {
					day := sc.Heat.Reach(need, from)
					if day > s.to {
						break
					}
					if day >= s.from {
						green *= 1 - table[day-s.from]
					}
					from = day
				}
				row[k] += weights[i] / total[k] * (1 - green)
			}
		}
	})
	return out
}
