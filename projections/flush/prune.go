package flush

import (
	"slices"
)

// A scan asks of every day of the coming season what a prune on it would lead to.
type scan struct {
	days   int // candidates: day 0 is the day after the last day of the air
	season span
	share  []float64   // by day, over scenes and sets
	bySet  [][]float64 // by set and day
	gate   []float64   // by day: share of draws with a mature flush before the season
	alone  []float64   // by day, at the trade's line instead of the cultivar's own
}

// prunes runs every candidate day through every scene with every draw of steps. The first break comes a lag after the cut.
//
// For one draw and scene the days of the breaks never fall as the day of the prune rises, so one pointer a break walks along
// the scene once: the cost is that of the days, not of days times heat.
func prunes(sets []Params, reps int, scenes []Scene, r reaction, days int, season span, line float64, seed uint64, cores int) scan {
	out := scan{days: days, season: season, share: make([]float64, days), bySet: make([][]float64, len(sets)), gate: make([]float64, days), alone: make([]float64, days)}
	gates, alone := make([][]float64, len(sets)), make([][]float64, len(sets))
	each(len(sets), cores, func(k int) {
		mk := newMaker(nil, 0, seed, uint64(k)<<8|1)
		p := sets[k]
		trade := p
		trade.T50 = line
		rows := make([]float64, days)
		grown, others := make([]float64, days), make([]float64, days)
		var table, tableAlone []float64
		green, greenAlone := make([]float64, days), make([]float64, days)
		type steps struct {
			targets [ahead]float64
			mature  float64
		}
		all := make([]steps, reps)
		for i := range all {
			lag := mk.step(p.Lag, p.Cycle, 0)
			all[i].mature = lag + mk.step(p.Grow, p.Cycle, 0)
			sum := lag
			for j := range all[i].targets {
				all[i].targets[j] = sum
				sum += mk.step(p.Round(), p.Cycle, 0)
			}
		}
		for y := range scenes {
			sc := &scenes[y]
			table = shares(sc, nil, r, p, season, table)
			tableAlone = shares(sc, nil, r, trade, season, tableAlone)
			for i := range all {
				st := &all[i]
				walk(sc.Heat, st.targets[:], season, table, tableAlone, green, greenAlone)
				for d := range green {
					rows[d] += 1 - green[d]
					others[d] += 1 - greenAlone[d]
				}
				// Mature before the season begins: for all days up to the last one from which it works.
				last := sc.Heat.lastStart(st.mature, season.from-1, days)
				for d := 0; d <= last; d++ {
					grown[d]++
				}
			}
		}
		n := float64(reps * len(scenes))
		for d := range rows {
			rows[d], grown[d], others[d] = rows[d]/n, grown[d]/n, others[d]/n
		}
		out.bySet[k], gates[k], alone[k] = rows, grown, others
	})
	for k := range sets {
		for d := range days {
			out.share[d] += out.bySet[k][d] / float64(len(sets))
			out.gate[d] += gates[k][d] / float64(len(sets))
			out.alone[d] += alone[k][d] / float64(len(sets))
		}
	}
	return out
}

// walk fills in, for every day of a prune, the share of terminals that stays green through every break of the season.
func walk(heat Sums, targets []float64, season span, table, tableAlone, green, greenAlone []float64) {
	for d := range green {
		green[d], greenAlone[d] = 1, 1
	}
	for _, need := range targets {
		at := 0
		reached := false
		for d := range green {
			target := heat.After(d) + need
			at = max(at, d+1)
			for at <= season.to && heat.After(at) < target {
				at++
			}
			if at > season.to {
				break
			}
			reached = true
			if at >= season.from {
				green[d] *= 1 - table[at-season.from]
				greenAlone[d] *= 1 - tableAlone[at-season.from]
			}
		}
		if !reached {
			return
		}
	}
}

// lastStart is the last day (below days) from which need degree-days are reached by a day; -1 if there is none.
func (s Sums) lastStart(need float64, by, days int) int {
	by = min(by, s.Days()-1)
	if by < 0 {
		return -1
	}
	limit := s.After(by) - need
	n, _ := slices.BinarySearchFunc(s[1:min(days, s.Days())+1], limit, func(v, limit float64) int {
		if v <= limit {
			return -1
		}
		return 1
	})
	return n - 1
}

// A stretch is days of a scan, both inclusive.
type stretch struct{ from, to, best int }

// stretches lists the runs of days whose share reaches alpha.
func (s *scan) stretches(alpha float64) []stretch {
	var out []stretch
	for d := 0; d < s.days; d++ {
		if s.share[d] < alpha {
			continue
		}
		run := stretch{d, d, d}
		for ; d < s.days && s.share[d] >= alpha; d++ {
			run.to = d
			if s.share[d] > s.share[run.best] {
				run.best = d
			}
		}
		out = append(out, run)
	}
	return out
}
