// Package grovetest invents lychee orchards for tests of models: hourly weather, terminals one by one, and people who walk
// through irregularly and see what they see. It knows the truth that it made, and it imports no model, so that a model is not
// tested against itself.
//
// Everything here is invented. The way a terminal grows follows the project's facts on phenology (heat above 11 C from cut to
// break, to mature leaves, to the next break), but in hourly steps, with each terminal's own needs, and, where asked, with a
// rest that also waits for rain.
package grovetest

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"latewood/events"
	"latewood/events/civil"
	"latewood/projections/foldtest"
)

// Truth is what the orchard really needs. Heat in degree-days above 11 C.
type Truth struct {
	Lag, Grow, Rest float64
	T50             float64 // C
	Cycle           float64 // sigma of whole flushes, as a logarithm
	Terminal        float64 // sigma between terminals
}

// Faults are what real records are like.
type Faults struct {
	RestWaits bool    // for 8 mm of rain in two days
	Observers bool    // two people, of whom one sees a stage early or late
	Missing   float64 // share of the looks that nobody wrote down
	Noise     bool    // unrelated records
}

// A Grove is one invented block through years.
type Grove struct {
	*foldtest.Farm
	Truth  Truth
	Breaks []civil.Date // days on which half of the terminals that were growing had broken
	Cool   []float64    // by year from First: mean of January, C
	First  civil.Date
	Last   civil.Date

	rand  *rand.Rand
	hours [][24]float64
	rain  []float64
}

// Draw makes a truth about the published defaults: spread as a logarithm, of the heat of each step.
func Draw(r *rand.Rand, spread float64) Truth {
	k := func(v, s float64) float64 { return v * math.Exp(s*r.NormFloat64()) }
	return Truth{Lag: k(200, spread), Grow: k(620, spread), Rest: k(380, 2*spread), T50: 18.47 + 0.8*r.NormFloat64(), Cycle: k(0.149, 0.35), Terminal: 0.1}
}

// New invents a farm with one block "north" of Kwai May Pink, from 1 January of a year to a day. mean and amp are of the
// year's wave of temperature, C.
func New(t testing.TB, seed uint64, truth Truth, faults Faults, firstYear int, last civil.Date, mean, amp float64) *Grove {
	g := &Grove{
		Farm: foldtest.NewFarm(t, "Pacific/Honolulu"), Truth: truth, rand: rand.New(rand.NewPCG(seed, 11)),
		First: civil.Date{Year: firstYear, Month: 1, Day: 1}, Last: last,
	}
	g.weather(mean, amp)
	for i := range 6 {
		g.Add("", &events.TreePlanted{Tree: fmt.Sprintf("north-%d", i+1), Block: "north", Row: "1", Position: fmt.Sprint(i + 1), Cultivar: "Kwai May Pink", Planted: "2001"})
	}
	for year := firstYear; year <= last.Year; year++ {
		g.year(year, faults)
	}
	return g
}

// weather makes hours, and records of their days.
func (g *Grove) weather(mean, amp float64) {
	n := g.Last.Sub(g.First) + 1
	g.hours, g.rain = make([][24]float64, n), make([]float64, n)
	spell := 0.0
	for i := range n {
		d := g.First.AddDays(i)
		doy := float64(d.Sub(civil.Date{Year: d.Year, Month: 1, Day: 1}) + 1)
		spell = 0.85*spell + 1.0*g.rand.NormFloat64()
		day := mean + amp*math.Cos(2*math.Pi*(doy-205)/365) + spell
		swing := 4 + g.rand.Float64()*2
		low, high := math.Inf(1), math.Inf(-1)
		for h := range 24 {
			v := day + swing*math.Sin(2*math.Pi*(float64(h)-9)/24) + 0.3*g.rand.NormFloat64()
			g.hours[i][h] = v
			low, high = math.Min(low, v), math.Max(high, v)
		}
		if g.rand.Float64() < 0.12 {
			g.rain[i] = 2 + 20*g.rand.Float64()
		}
		length := 86400.0
		g.Add(civil.FormatTime(civil.DayStart(d.AddDays(1), g.Zone())), &events.WeatherRead{
			Station: "gate", Interval: &length, AirTemperatureMin: quantity(low, "Cel"), AirTemperatureMax: quantity(high, "Cel"), Rain: quantity(g.rain[i], "mm"),
		})
	}
}

func quantity(v float64, unit string) *events.Quantity {
	return &events.Quantity{Value: math.Round(v*10) / 10, Unit: unit}
}

func (g *Grove) day(d civil.Date) int { return d.Sub(g.First) }

// heat of a day, hour by hour, up to 30 C.
func (g *Grove) heat(i int) float64 {
	sum := 0.0
	for _, v := range g.hours[i] {
		sum += math.Max(math.Min(v, 30)-11, 0) / 24
	}
	return sum
}

// after is the day on which a need is met from a day on, -1 beyond the end; over is the heat left over.
func (g *Grove) after(from int, need float64) int {
	for i := from + 1; i < len(g.hours); i++ {
		if need -= g.heat(i); need <= 0 {
			return i
		}
	}
	return -1
}

func (g *Grove) wet(i int) bool { return i < 1 || g.rain[i]+g.rain[i-1] >= 8 }

// terminal is one shoot through a year: the days of its breaks and of its mature leaves; panicle is the day of the break that
// made it one, -1 for none.
type terminal struct {
	breaks, mature []int
	panicle        int
}

// year invents prune, flushes, walks, bloom and harvest.
func (g *Grove) year(year int, faults Faults) {
	prune := civil.Date{Year: year, Month: 7, Day: 1}.AddDays(g.rand.IntN(35))
	if prune.After(g.Last) {
		return
	}
	at := g.day(prune)
	harvest := g.day(civil.Date{Year: year + 1, Month: 6, Day: 10})
	g.Add("", &events.TreePruned{Where: north(), Cut: "after-harvest", Ended: g.at(prune, 15)})
	steps := make([]float64, 16)
	for i := range steps {
		steps[i] = math.Exp(g.Truth.Cycle * g.rand.NormFloat64())
	}
	list := make([]terminal, 40)
	for k := range list {
		list[k] = g.grow(at, steps, faults)
	}
	for j := range 8 {
		var days []int
		for k := range list {
			if len(list[k].breaks) > j {
				days = append(days, list[k].breaks[j])
			}
		}
		if len(days) < 10 {
			break
		}
		slices.Sort(days)
		if mid := days[len(days)/2]; mid < harvest {
			g.Breaks = append(g.Breaks, g.First.AddDays(mid))
		}
	}
	g.walks(at, harvest, list, faults)
	g.bloom(year+1, list)
	end := civil.Date{Year: year + 1, Month: 6, Day: 10}
	if !end.After(g.Last) {
		g.Add(g.at(end, 9), &events.FruitPicked{Where: north(), Mass: quantity(50, "kg")})
	}
}

func north() events.Where { return events.Where{{Block: "north"}} }

func (g *Grove) at(d civil.Date, hour int) string {
	return civil.FormatTime(civil.DayStart(d, g.Zone()).Add(time.Duration(hour) * time.Hour))
}

func (g *Grove) grow(cut int, steps []float64, faults Faults) terminal {
	t := terminal{panicle: -1}
	own := func() float64 { return math.Exp(g.Truth.Terminal * g.rand.NormFloat64()) }
	at := g.after(cut, g.Truth.Lag*steps[0]*own())
	for j := 1; at >= 0 && len(t.breaks) < 8; j++ {
		t.breaks = append(t.breaks, at)
		sum, n := 0.0, 0
		for i := at; i < min(at+28, len(g.hours)); i++ {
			for _, v := range g.hours[i] {
				sum, n = sum+v, n+1
			}
		}
		if g.rand.Float64() < 1/(1+math.Exp((sum/float64(n)-g.Truth.T50)/0.8)) {
			t.panicle = at
			return t
		}
		k := steps[min(j, len(steps)-1)]
		mature := g.after(at, g.Truth.Grow*k*own())
		if mature < 0 {
			return t
		}
		t.mature = append(t.mature, mature)
		if at = g.after(mature, g.Truth.Rest*k*own()); at < 0 {
			return t
		}
		for faults.RestWaits && at < len(g.hours) && !g.wet(at) {
			at++
		}
		if at >= len(g.hours) {
			return t
		}
	}
	return t
}

// stage is what a terminal looks like on a day.
func (t *terminal) stage(g *Grove, day int) string {
	for j := len(t.breaks) - 1; j >= 0; j-- {
		if t.breaks[j] > day {
			continue
		}
		if t.panicle >= 0 && t.panicle == t.breaks[j] && day > t.panicle+21 {
			return "panicle"
		}
		if j < len(t.mature) && t.mature[j] <= day {
			return "hardened"
		}
		sum := 0.0
		for i := t.breaks[j] + 1; i <= day; i++ {
			sum += g.heat(i)
		}
		switch part := sum / g.Truth.Grow; {
		case part < 0.12:
			return "bud-break"
		case part < 0.4:
			return "elongating"
		}
		return "expanding"
	}
	return "no-movement"
}

// walks records what most terminals looked like, every one to three weeks.
func (g *Grove) walks(from, to int, list []terminal, faults Faults) {
	order := []string{"no-movement", "bud-break", "elongating", "expanding", "hardened"}
	for day := from + 6; day < min(to, len(g.hours)); day += 5 + g.rand.IntN(14) {
		count := map[string]int{}
		for k := range list {
			count[list[k].stage(g, day)]++
		}
		best := ""
		for _, s := range append(order, "panicle") {
			if count[s] > count[best] {
				best = s
			}
		}
		if g.rand.Float64() < faults.Missing || best == "panicle" {
			continue
		}
		if i := slices.Index(order, best); faults.Observers && g.rand.IntN(8) == 0 && i > 0 && i < 3 {
			best = order[i+1]
		}
		n, k := len(list), count[best]
		seen := &events.FlushSeen{Where: north(), Stage: best}
		if g.rand.IntN(2) == 0 && k > 0 {
			seen.TerminalsCounted, seen.TerminalsInStage = &n, &k
		}
		d := g.First.AddDays(day)
		g.Add(g.at(d, 10), seen)
		if faults.Noise && g.rand.IntN(3) == 0 {
			g.Add(g.at(d, 12), &events.GroundWorked{Where: north(), What: "mown"})
		}
	}
}

func (g *Grove) bloom(year int, list []terminal) {
	d := civil.Date{Year: year, Month: 3, Day: 10}
	if d.After(g.Last) {
		return
	}
	n, panicles := len(list), 0
	for k := range list {
		if p := list[k].panicle; p >= 0 && p+21 <= g.day(d) {
			panicles++
		}
	}
	green := n - panicles
	g.Add(g.at(d, 10), &events.BloomSeen{Where: north(), Stage: "panicles-out", TerminalsCounted: &n, LeaflessPanicle: &panicles, Vegetative: &green})
}
