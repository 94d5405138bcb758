package flush_test

import (
	"math/rand/v2"
	"os"
	"testing"

	"latewood/events"
	"latewood/events/civil"
	"latewood/projections"
	"latewood/projections/flush"
	"latewood/projections/foldtest"
	"latewood/projections/grovetest"
)

// Bands of 80 in 100 cover about 80 in 100 of the breaks that came later: over 16 invented orchards, or 200 where
// LATEWOOD_PROOF=1 asks for the full proof, with clean records and with faults. The orchards are invented, and so is what
// they prove: that the fit does what it says on the truth that it assumes, and not far from it.
func TestCalibration(t *testing.T) {
	t.Parallel()
	orchards, low, high := 16, 0.55, 1.0
	if os.Getenv("LATEWOOD_PROOF") == "1" {
		orchards, low, high = 200, 0.75, 0.85
	}
	for _, tt := range []struct {
		name   string
		faults grovetest.Faults
	}{
		{"clean", grovetest.Faults{}},
		{"faults", grovetest.Faults{RestWaits: true, Observers: true, Missing: 0.3, Noise: true}},
	} {
		held, asked, unknown, width := 0, 0, 0, 0
		for i := range orchards {
			seed := uint64(i)
			r := rand.New(rand.NewPCG(seed, 5))
			years := 2 + r.IntN(5)
			last := civil.Date{Year: 2024, Month: 5, Day: 1}
			on := civil.Date{Year: 2023, Month: 8, Day: 15}.AddDays(r.IntN(75))
			g := grovetest.New(t, seed, grovetest.Draw(r, 0.124), tt.faults, 2023-max(years, 6), last, 20, 4.5)
			b := upTo(t, g, on, 2023-years)
			doc, err := flush.Forecast(b, flush.Query{On: on, Cores: 1})
			if err != nil {
				t.Fatal(err)
			}
			n := doc.Blocks[0].NextBreak
			if n == nil {
				unknown++
				continue
			}
			truth := ""
			for _, d := range g.Breaks {
				if d.After(on) {
					truth = d.String()
					break
				}
			}
			if truth == "" {
				continue
			}
			asked++
			if truth >= n.P10 && truth <= n.P90 {
				held++
			}
			p10, _ := civil.ParseDate(n.P10)
			p90, _ := civil.ParseDate(n.P90)
			width += p90.Sub(p10)
		}
		if asked < orchards/2 {
			t.Fatalf("%s: only %d of %d orchards could be asked", tt.name, asked, orchards)
		}
		share := float64(held) / float64(asked)
		t.Logf("counts: %s: %d orchards, bands held %d of %d (%.2f), mean width %d d, not known %d", tt.name, orchards, held, asked, share, width/asked, unknown)
		if share < low || share > high {
			t.Errorf("%s: bands of 0.80 held %d of %d, want between %v and %v", tt.name, held, asked, low, high)
		}
	}
}

// upTo is the grove as known on a day; looks before a year are left out, the weather is not.
func upTo(t testing.TB, g *grovetest.Grove, on civil.Date, from int) *projections.Book {
	t.Helper()
	var records []*events.Record
	for _, r := range g.Records {
		day := civil.DateOf(r.Time, g.Zone())
		if day.After(on) && r.Kind != "farm.opened" {
			continue
		}
		if (r.Kind == "flush.seen" || r.Kind == "bloom.seen" || r.Kind == "tree.pruned") && day.Before(civil.Date{Year: from, Month: 6, Day: 1}) {
			continue
		}
		records = append(records, r)
	}
	return foldtest.BookOf(t, records)
}

// A fit narrows with seasons and moves towards the truth.
func TestFitNarrows(t *testing.T) {
	t.Parallel()
	truth := grovetest.Truth{Lag: 240, Grow: 560, Rest: 520, T50: 18.4, Cycle: 0.1, Terminal: 0.08}
	g := grovetest.New(t, 3, truth, grovetest.Faults{}, 2012, civil.Date{Year: 2024, Month: 5, Day: 1}, 20, 4.5)
	on := civil.Date{Year: 2024, Month: 4, Day: 20}
	var wide, narrow float64
	for i, from := range []int{2022, 2012} {
		doc, err := flush.Forecast(upTo(t, g, on, from), flush.Query{On: on, Cores: 1})
		if err != nil {
			t.Fatal(err)
		}
		for _, p := range doc.Blocks[0].Basis.Parameters {
			if p.Name != "lag" {
				continue
			}
			if i == 0 {
				wide = p.High - p.Low
				continue
			}
			narrow = p.High - p.Low
			if p.Low > truth.Lag || p.High < truth.Lag*0.9 {
				t.Errorf("the lag was fitted to %v to %v, the truth is %v", p.Low, p.High, truth.Lag)
			}
		}
	}
	if narrow >= 0.7*wide {
		t.Errorf("twelve years leave a band of %v, two of %v", narrow, wide)
	}
}
