package flush

import (
	"math"
	"strings"
	"time"

	"latewood/events/civil"
	"latewood/projections"
	"latewood/projections/settings"
)

// Params is what a block's clock runs on. Heat is degree-days above the model's base.
type Params struct {
	Lag, Grow, Rest float64 // medians: prune to break, break to mature leaves, mature leaves to the next break
	T50, Slope      float64 // C: the mean at which half of the terminals flower, and how sharply
	Cycle           float64 // spread of a step between cycles, as the sigma of a logarithm
}

// Round is the heat of a whole cycle, from break to break.
func (p Params) Round() float64 { return p.Grow + p.Rest }

// A Model is the settings of the clock as they stand on a day.
type Model struct {
	Base, Cap float64 // C
	Prior     Params
	Window    int     // days from a break in which cool weather decides
	Terminal  float64 // sigma between terminals of one block and cycle
	Spread    float64 // sigma of the prior of each heat
	Spread50  float64 // C, of the prior of T50
	TradeLine float64 // C
	Share     float64 // from which a day belongs to a prune stretch
	Gate      float64 // least share of draws with a mature flush before the cool season
	Reversion float64 // C
	WarmHours float64
	Imputed   float64 // largest share of days filled in
	Years     int     // winters of weather asked for
	Draws     int
	Response  string // logistic, beta
	Season    Season
	LastPrune civil.Turn
	Pace      float64 // trees a day that the farm says; 0: by its past prunes
	WorkDays  float64 // of a week
	Reach     float64 // km, of a station
}

// Sigma turns a coefficient of variation into the sigma of the logarithm.
func Sigma(cv float64) float64 { return math.Sqrt(math.Log(1 + cv*cv)) }

// ModelOn reads the settings of a day.
func ModelOn(b *projections.Book, day civil.Date) Model {
	n := func(name string) float64 { v, _ := b.Number(name, day); return v }
	m := Model{
		Base: n(settings.FlushBase), Cap: n(settings.FlushCap),
		Prior: Params{
			Lag: n(settings.FlushLag), Grow: n(settings.FlushGrow), Rest: n(settings.FlushRest),
			T50: n(settings.FlushThreshold), Slope: n(settings.FlushSlope), Cycle: Sigma(n(settings.FlushCycleCV)),
		},
		Window: int(n(settings.FlushWindow)), Terminal: Sigma(n(settings.FlushTerminalCV)), Spread: n(settings.FlushPriorSD),
		Spread50: n(settings.FlushThresholdSD), TradeLine: n(settings.FlushTradeLine), Share: n(settings.FlushShare), Gate: n(settings.FlushGate),
		Reversion: n(settings.FlushReversion), WarmHours: n(settings.FlushWarmHours), Imputed: n(settings.FlushImputed) / 100,
		Years: int(n(settings.FlushYears)), Draws: int(n(settings.FlushDraws)), Response: b.Text(settings.FlushResponse, day),
		Pace: n(settings.FlushPace), WorkDays: n(settings.FlushWorkDays), Reach: n(settings.FlushStationReach),
	}
	south := false
	if o := b.Opened(); o != nil {
		south = o.Latitude < 0
	}
	m.Season, m.LastPrune = DefaultSeason(south)
	if s, ok := ParseSeason(b.Text(settings.FlushSeason, day)); ok {
		m.Season = s
	}
	if t, err := civil.ParseTurn(b.Text(settings.FlushLastPrune, day), false); err == nil {
		m.LastPrune = t
	}
	return m
}

// For gives the prior of a cultivar: its own threshold where one is adopted or published, else the default.
func (m Model) For(b *projections.Book, cultivar string, day civil.Date) (p Params, known bool) {
	p = m.Prior
	if v, ok := b.Number(settings.FlushThresholdStem+settings.CultivarCode(cultivar), day); ok {
		p.T50, known = v, true
	}
	return p, known
}

// A Season is the cool season of a year: from a day of one year to a later day, mostly of the next.
type Season struct {
	From, To civil.Turn // both days inclusive
}

// DefaultSeason is 1 November to 15 March with a last prune on 31 October in the north, and half a year later in the south.
// Project rule, after the published dates of bloom.
func DefaultSeason(south bool) (Season, civil.Turn) {
	turn := func(m time.Month, d int) civil.Turn { return civil.Turn{Month: m, Day: d} }
	if south {
		return Season{turn(time.May, 1), turn(time.September, 15)}, turn(time.April, 30)
	}
	return Season{turn(time.November, 1), turn(time.March, 15)}, turn(time.October, 31)
}

// ParseSeason reads MM-DD/MM-DD.
func ParseSeason(text string) (Season, bool) {
	from, to, ok := strings.Cut(text, "/")
	if !ok {
		return Season{}, false
	}
	a, err1 := civil.ParseTurn(from, false)
	b, err2 := civil.ParseTurn(to, false)
	return Season{a, b}, err1 == nil && err2 == nil
}

// On gives the cool season that holds a day or is the next to come after it.
func (s Season) On(day civil.Date) (from, to civil.Date) {
	for year := day.Year - 1; ; year++ {
		from = civil.Date{Year: year, Month: s.From.Month, Day: s.From.Day}
		to = civil.Date{Year: year, Month: s.To.Month, Day: s.To.Day}
		if !to.After(from) {
			to.Year++
		}
		if !to.Before(day) {
			return from, to
		}
	}
}
