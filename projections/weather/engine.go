package weather

import (
	"math"
	"slices"

	"latewood/events/civil"
	"latewood/projections/meteo"
)

// Lines that every report has. Units C.
const (
	CoolLine  = meteo.LycheeLine // growers count hours below it (common practice)
	FrostLine = 0.0
	// DefaultBase is the base of degree-days where none is asked for. Source: the project's facts on phenology, section 1.4,
	// derived from published growth rates.
	DefaultBase = 11.0
)

// A Day is one local day of a station by the default parameters: whole numbers, see the package comment.
type Day struct {
	Day      civil.Date `json:"day"`
	Length   int64      `json:"length"` // ms
	Readings int        `json:"readings"`
	Method   string     `json:"method,omitempty"`  // what gave hours and degree-days: linear, sine; "": nothing could
	Covered  int64      `json:"covered,omitempty"` // ms; hours and degree-days mean nothing where it is 0
	Below    int64      `json:"below20,omitempty"` // ms strictly below 20 C
	Above    int64      `json:"above20,omitempty"` // ms at or above 20 C
	Frost    int64      `json:"frost,omitempty"`   // ms strictly below 0 C
	Degrees  int64      `json:"degreeDays,omitempty"`
	Min      *int64     `json:"min,omitempty"`  // thousandths of a degree C
	Max      *int64     `json:"max,omitempty"`  // thousandths of a degree C
	Rain     *int64     `json:"rain,omitempty"` // um
	Suspect  int        `json:"suspect,omitempty"`
	Wrong    int        `json:"wrong,omitempty"` // left out
	Twice    int        `json:"twice,omitempty"` // readings that share their time with another
}

// ask is what a run is to compute.
type ask struct {
	base, upper float64 // upper: +Inf for none
	method      string  // "": by the readings
	below       []float64
	gap         func(civil.Date) int64 // ms
	with        []string
	places      []place // by time; at least one where with is not empty
}

// result is a day with what a Day does not keep.
type result struct {
	Day
	low, high float64 // C as read; NaN: not known
	below     []int64 // ms below each of ask.below
	derived   derived
}

// enough reports whether a covered time is enough to speak for the day.
func (r *result) enough(covered int64) bool {
	return float64(covered) >= meteo.ExtremesCover*float64(r.Length)
}

// engine computes days out of a table.
type engine struct {
	*table
	ask   ask
	cover meteo.Series // of temperatures
	air   *air         // nil while nothing of it is asked for
}

// run computes every day of the calendar.
func run(t *table, a ask) ([]result, error) {
	e := &engine{table: t, ask: a, cover: t.series(t.temp)}
	if len(a.with) > 0 {
		e.air = newAir(t, a)
	}
	n := t.cal.days()
	out := make([]result, n)
	below := make([]int64, n*len(a.below))
	for i := range out {
		r := &out[i]
		r.below = below[i*len(a.below) : (i+1)*len(a.below)]
		r.Day.Day, r.Length = t.cal.date(i), t.cal.length(i)
		r.Readings, r.Suspect, r.Wrong, r.Twice = int(t.count[i]), int(t.suspect[i]), int(t.wrong[i]), int(t.twice[i])
		r.low, r.high = t.low[i], t.high[i]
		if r.Length == 0 { // a day that the zone left out
			continue
		}
		if err := e.temperature(i, r); err != nil {
			return nil, err
		}
		e.rainfall(i, r)
		if s := e.summaryOf(i); s.known {
			r.low, r.high = lower(r.low, s.low), higher(r.high, s.high)
		}
		r.Min, r.Max = thousandths(r.low), thousandths(r.high)
		if e.air != nil {
			if err := e.derive(i, r); err != nil {
				return nil, err
			}
		}
	}
	return out, nil
}

func thousandths(v float64) *int64 {
	if math.IsNaN(v) {
		return nil
	}
	n := int64(math.RoundToEven(v * 1000))
	return &n
}

// summaryOf is a day's daily summary, unknown where there is none.
func (e *engine) summaryOf(i int) summary {
	if e.daily == nil || i < 0 || i >= len(e.daily) {
		return summary{}
	}
	return e.daily[i]
}

// temperature fills in hours and degree-days by the method asked for, or by what the day has.
func (e *engine) temperature(i int, r *result) error {
	switch e.ask.method {
	case "linear", "hold", "count":
		return e.walk(i, r, e.ask.method)
	case "":
		if err := e.walk(i, r, "linear"); err != nil {
			return err
		}
		if r.enough(r.Covered) || !e.summaryOf(i).extremes() {
			return nil
		}
		return e.extremesOf(i, r, "sine")
	}
	return e.extremesOf(i, r, e.ask.method)
}

// extremes reports whether a summary has a minimum and a maximum.
func (s summary) extremes() bool { return s.known && !math.IsNaN(s.low) && !math.IsNaN(s.high) }

// walk measures a day along its shorter readings.
func (e *engine) walk(i int, r *result, method string) error {
	cut := e.cover.Between(e.cal.bounds[i], e.cal.bounds[i+1])
	if len(cut.Times) == 0 {
		return nil
	}
	m, err := meteo.ParseMethod(method)
	if err != nil {
		return err
	}
	rules := meteo.Rules{Method: m, MaxGap: e.ask.gap(r.Day.Day), From: e.cal.bounds[i], To: e.cal.bounds[i+1]}
	if m == meteo.Count {
		rules.Nominal = nominal(cut, rules.MaxGap)
	}
	cool, err := meteo.HoursBelow(cut, CoolLine, rules)
	if err != nil {
		return err
	}
	r.Covered = milliseconds(cool.Covered)
	if r.Covered == 0 && (m != meteo.Count || cool.Readings == 0) {
		return nil
	}
	r.Method, r.Below, r.Above = method, milliseconds(cool.Below), milliseconds(cool.AtOrAbove)
	if m != meteo.Count {
		r.Above = r.Covered - r.Below
	}
	frost, err := meteo.HoursBelow(cut, FrostLine, rules)
	if err != nil {
		return err
	}
	r.Frost = milliseconds(frost.Below)
	for k, c := range e.ask.below {
		h, err := meteo.HoursBelow(cut, c, rules)
		if err != nil {
			return err
		}
		r.below[k] = milliseconds(h.Below)
	}
	dd, err := meteo.DegreeDaysFrom(cut, e.ask.base, e.ask.upper, rules)
	if err != nil {
		return err
	}
	r.Degrees = millionths(dd.Total)
	return nil
}

func milliseconds(hours float64) int64 { return int64(math.RoundToEven(hours * float64(meteo.Hour))) }
func millionths(v float64) int64       { return int64(math.RoundToEven(v * 1e6)) }

// nominal is what an instant reading stands for under the count method: the middle one of the distances between readings
// in and around the day, silences left out; an hour where there is none.
func nominal(s meteo.Series, gap int64) int64 {
	var steps []int64
	last := int64(math.MinInt64)
	for i, t := range s.Times {
		if math.IsNaN(s.Values[i]) {
			continue
		}
		if last != math.MinInt64 && t-last <= gap {
			steps = append(steps, t-last)
		}
		last = t
	}
	if len(steps) == 0 {
		return meteo.Hour
	}
	slices.Sort(steps)
	return steps[len(steps)/2]
}

// lowHigh gives a day's minimum and maximum for the daily methods.
func (e *engine) lowHigh(i int) (low, high float64, ok bool, err error) {
	if s := e.summaryOf(i); s.extremes() {
		return s.low, s.high, true, nil
	}
	if i < 0 || i >= e.cal.days() || e.cal.length(i) == 0 {
		return 0, 0, false, nil
	}
	cut := e.cover.Between(e.cal.bounds[i], e.cal.bounds[i+1])
	if len(cut.Times) == 0 {
		return 0, 0, false, nil
	}
	sum, err := meteo.Summarise(cut, e.cal.full(i), meteo.Rules{MaxGap: e.ask.gap(e.cal.date(i))})
	if err != nil {
		return 0, 0, false, err
	}
	return e.low[i], e.high[i], sum.MinValid && sum.MaxValid, nil
}

// lowOf gives a day's minimum alone, NaN where it is not known.
func (e *engine) lowOf(i int) (float64, error) {
	if s := e.summaryOf(i); s.known && !math.IsNaN(s.low) {
		return s.low, nil
	}
	low, _, ok, err := e.lowHigh(i)
	if !ok {
		return math.NaN(), err
	}
	return low, err
}

// extremesOf measures a day by its minimum and maximum.
func (e *engine) extremesOf(i int, r *result, method string) error {
	low, high, ok, err := e.lowHigh(i)
	if err != nil || !ok {
		return err
	}
	hours := func(c float64) (int64, error) {
		share, err := meteo.ShareBelowSine(low, high, c)
		return int64(math.RoundToEven(share * float64(r.Length))), err
	}
	if r.Below, err = hours(CoolLine); err != nil {
		return err
	}
	if r.Frost, err = hours(FrostLine); err != nil {
		return err
	}
	for k, c := range e.ask.below {
		if r.below[k], err = hours(c); err != nil {
			return err
		}
	}
	r.Method, r.Covered, r.Above = method, r.Length, r.Length-r.Below
	day := meteo.Extremes{Min: low, Max: high, NextMin: low}
	if method == "double-sine" {
		// Where the next day has no minimum its own stands in.
		next, err := e.lowOf(i + 1)
		if err != nil {
			return err
		}
		if !math.IsNaN(next) {
			day.NextMin = next
		}
	}
	dd, err := meteo.DegreeDays(dailyMethod(method, e.ask.upper), day, e.ask.base, e.ask.upper)
	if err != nil {
		return err
	}
	r.Degrees = millionths(dd)
	return nil
}

func dailyMethod(method string, upper float64) meteo.DailyMethod {
	switch method {
	case "average":
		return meteo.Average
	case "clipped":
		return meteo.Clipped
	case "double-sine":
		return meteo.DoubleSine
	}
	if math.IsInf(upper, 1) {
		return meteo.Sine
	}
	return meteo.SineHorizontal
}

// rainfall takes the summary's rain where it has any, else the sum of the shorter readings.
func (e *engine) rainfall(i int, r *result) {
	if s := e.summaryOf(i); s.known && s.rained {
		r.Rain = &s.rain
		return
	}
	if e.rained[i] {
		rain := e.rain[i]
		r.Rain = &rain
	}
}
