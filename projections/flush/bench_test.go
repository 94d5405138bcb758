package flush

import (
	"fmt"
	"math/rand/v2"
	"runtime"
	"testing"
)

// winters are invented weather years.
func winters(n, days int) []Scene {
	r := rand.New(rand.NewPCG(4, 4))
	out := make([]Scene, n)
	for y := range out {
		h, c := make([]float64, days), make([]float64, days)
		for i := range h {
			c[i] = 17 + 4*r.NormFloat64()
			h[i] = max(c[i]-11, 0)
		}
		out[y] = Scene{Season: fmt.Sprint(2000 + y), Heat: NewSums(h), Cool: NewSums(c)}
	}
	return out
}

// The year of candidate prune dates for one block: 30 winters and 400 draws here, for 1 and all cores, beside a plain loop of
// the same recurrence over the same candidates (for 4 draws of one winter; it is that much slower). One unit is a winter, a
// draw, and a year of prune dates.
func BenchmarkPrunes(b *testing.B) {
	const days, horizon, years = 365, 560, 30
	season := span{380, 515}
	scenes := winters(years, horizon)
	params := make([]Params, sets)
	for k := range params {
		params[k] = Params{Lag: 180 + float64(k), Grow: 620, Rest: 380, T50: 17.5, Slope: 0.8, Cycle: 0.15}
	}
	for _, cores := range []int{1, runtime.GOMAXPROCS(0)} {
		b.Run(fmt.Sprintf("scan/cores=%d", cores), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				prunes(params, 5, scenes, reaction{window: 28}, days, season, 20, 1, cores)
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(years*sets*5), "ns/unit")
		})
	}
	heat := make([]float64, horizon)
	for i := range heat {
		heat[i] = scenes[0].Heat[i+1] - scenes[0].Heat[i]
	}
	b.Run("loop", func(b *testing.B) {
		for b.Loop() {
			for k := range 4 {
				targets := make([]float64, ahead)
				for j := range targets {
					targets[j] = params[k].Lag + float64(j)*1000
				}
				for d := range days {
					slow(heat, scenes[0].Cool, d, targets, season, params[k])
				}
			}
		}
		b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/4, "ns/unit")
	})
}

// The same bytes on any number of cores.
func TestPrunesOnAnyCores(t *testing.T) {
	t.Parallel()
	scenes := winters(3, 400)
	params := make([]Params, 9)
	for k := range params {
		params[k] = Params{Lag: 180 + 3*float64(k), Grow: 620, Rest: 380, T50: 17.5, Slope: 0.8, Cycle: 0.15}
	}
	one := prunes(params, 3, scenes, reaction{window: 28}, 100, span{150, 300}, 20, 1, 1)
	for _, cores := range []int{2, 3, 16} {
		got := prunes(params, 3, scenes, reaction{window: 28}, 100, span{150, 300}, 20, 1, cores)
		for d := range one.share {
			if got.share[d] != one.share[d] || got.gate[d] != one.gate[d] || got.alone[d] != one.alone[d] {
				t.Fatalf("%d cores, day %d: got %v, one core gives %v", cores, d, got.share[d], one.share[d])
			}
		}
	}
}
