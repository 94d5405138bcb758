package flush

import (
	"math/rand/v2"
	"os"
	"testing"

	"pgregory.net/rapid"

	"latewood/events"
	"latewood/events/civil"
	"latewood/projections"
	"latewood/projections/foldtest"
)

// A warmer series never delays a break, and a higher threshold never lowers a share.
func TestWarmerIsNeverLater(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		n := 500
		h1, h2, c := make([]float64, n), make([]float64, n), make([]float64, n)
		more := rapid.Float64Range(0, 4).Draw(t, "warmer")
		base := rapid.Float64Range(12, 22).Draw(t, "mean")
		r := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 1))
		for i := range h1 {
			c[i] = base + 4*r.NormFloat64()
			h1[i], h2[i] = max(c[i]-11, 0), max(c[i]+more-11, 0)
		}
		p := Params{Lag: rapid.Float64Range(100, 400).Draw(t, "lag"), Grow: 620, Rest: rapid.Float64Range(100, 900).Draw(t, "rest"), T50: 18, Slope: 0.8}
		start := rapid.IntRange(0, 100).Draw(t, "prune")
		cold, warm := p.Run(NewSums(h1), NewSums(c), start, true, 28), p.Run(NewSums(h2), NewSums(c), start, true, 28)
		for i := range cold {
			if i >= len(warm) || warm[i].Break > cold[i].Break {
				t.Fatalf("break %d: %v when warmer, %v before", i, warm, cold)
			}
		}
		tm, t50 := rapid.Float64Range(0, 35).Draw(t, "tm"), rapid.Float64Range(14, 22).Draw(t, "t50")
		if a, b := Flowers(tm, t50, 0.8), Flowers(tm, t50+rapid.Float64Range(0, 3).Draw(t, "up"), 0.8); b < a || a < 0 || b > 1 {
			t.Fatalf("shares %v and %v", a, b)
		}
	})
}

// The scan with its pointers gives what a plain loop of the recurrence gives.
func TestScanAgainstLoop(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		r := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 1))
		n := 420
		h, c := make([]float64, n), make([]float64, n)
		for i := range h {
			c[i] = 17 + 6*r.NormFloat64()
			h[i] = max(c[i]-11, 0)
		}
		heat, cool := NewSums(h), NewSums(c)
		season := span{150 + r.IntN(50), 320 + r.IntN(40)}
		p := Params{Lag: 150 + 100*r.Float64(), Grow: 620, Rest: 200 + 300*r.Float64(), T50: 17, Slope: 0.8}
		table := shares(&Scene{Heat: heat, Cool: cool}, nil, reaction{window: 28}, p, season, nil)
		targets := make([]float64, ahead)
		for j := range targets {
			targets[j] = p.Lag + float64(j)*p.Round()
		}
		green, other := make([]float64, 140), make([]float64, 140)
		walk(heat, targets, season, table, table, green, other)
		for d := range green {
			want := slow(h, cool, d, targets, season, p)
			if diff := green[d] - want; diff > 1e-9 || diff < -1e-9 {
				t.Fatalf("prune on day %d: got %v, want %v", d, green[d], want)
			}
		}
	})
}

// slow adds up day by day.
func slow(heat []float64, cool Sums, prune int, targets []float64, season span, p Params) float64 {
	green, sum, j := 1.0, 0.0, 0
	for day := prune + 1; day < len(heat) && j < len(targets); day++ {
		sum += heat[day]
		for j < len(targets) && sum >= targets[j]-1e-9 {
			if day >= season.from && day <= season.to {
				green *= 1 - Flowers(cool.Over(day, day+28)/28, p.T50, p.Slope)
			}
			j++
		}
	}
	return green
}

// The laws of folds on invented histories: 12, or 600 where LATEWOOD_PROOF=1 asks for the full proof.
func TestLawsOnHistories(t *testing.T) {
	t.Parallel()
	histories := 12
	if os.Getenv("LATEWOOD_PROOF") == "1" {
		histories = 600
	}
	records := 0
	for seed := range uint64(histories) {
		r := rand.New(rand.NewPCG(seed, 3))
		f := foldtest.NewFarm(t, "Pacific/Honolulu")
		one := func(list ...string) string { return list[r.IntN(len(list))] }
		at := func() string { return civil.Date{Year: 2020, Month: 1, Day: 1}.AddDays(r.IntN(1500)).String() }
		where := func() events.Where {
			p := events.Part{Block: one("north", "south")}
			switch r.IntN(4) {
			case 0:
				p.Trees = []string{one("t-0", "t-1", "t-2")}
			case 1:
				p.Rows = []string{one("1", "2")}
			case 2:
				p.Side = "east"
			}
			return events.Where{p}
		}
		var last *events.Record
		for i := range 40 {
			switch r.IntN(9) {
			case 0, 1:
				f.Add("", &events.TreePlanted{Tree: one("t-0", "t-1", "t-2", "t-3"), Block: one("north", "south"), Row: one("1", "2"), Position: one("1", "2"), Cultivar: one("Bengal", "Kaimana"), Planted: "2012"})
			case 2:
				f.Add(at(), &events.TreePruned{Where: where(), Cut: one("tip", "topping", "after-harvest", "root"), FlushRemoved: one("", "soft")})
			case 3, 4:
				n, k := 40, r.IntN(41)
				last = f.Add(at(), &events.FlushSeen{Where: where(), Stage: one("no-movement", "bud-break", "hardened", "expanding"), TerminalsCounted: &n, TerminalsInStage: &k})
			case 5:
				n, k := 50, r.IntN(51)
				f.Add(at(), &events.BloomSeen{Where: where(), Stage: "panicles-out", TerminalsCounted: &n, LeaflessPanicle: &k})
			case 6:
				f.Add(at(), &events.FruitPicked{Where: where(), Mass: &events.Quantity{Value: 1, Unit: "kg"}, LengthCutBack: &events.Quantity{Value: float64(5 + r.IntN(20)), Unit: "cm"}})
			case 7:
				f.Add(at(), &events.DamageSeen{Where: where(), Cause: one("hail", "wind")})
			case 8:
				if last != nil && i%2 == 0 {
					f.Withdraw(last, last)
					last = nil
				}
			}
		}
		records += len(f.Records)
		foldtest.Laws(t, f.Records, []*projections.Fold{Fold()}, seed)
	}
	t.Logf("counts: %d histories, %d records", histories, records)
}
