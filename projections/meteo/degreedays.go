package meteo

import (
	"fmt"
	"math"
)

// A DailyMethod names how one day's minimum and maximum become degree-days. A
// total is only good with the method it was developed with (published: Oregon
// State University, calculation methods page), so the name is stored beside
// the total.
type DailyMethod uint8

// The daily methods. M is the middle of minimum and maximum, W half the range
// between them, A(L) the area under the daily sine above L.
const (
	// Average: max(0, M - base). Published: UC IPM, "A simple way to
	// calculate degree-days" (mean 64 F, base 53 F give 11).
	Average DailyMethod = iota
	// Clipped: minimum and maximum are first moved into [base, upper], then
	// averaged ("86/50", growing degree-days). Published: Oregon State
	// University, calculation methods page.
	Clipped
	// Triangle: straight lines between the extremes; with an upper threshold
	// the horizontal cutoff. Names published in the UC IPM glossary, formula
	// from memory (Zalom et al. 1983), derived again.
	Triangle
	// Sine: single sine above base; the upper threshold is not used.
	// Baskerville & Emin 1969, Ecology 50:514-517 (from memory, derived again
	// and checked by numeric integration).
	Sine
	// SineHorizontal: A(base) - A(upper): growth stays at its pace above
	// upper. Definition published: UC IPM glossary.
	SineHorizontal
	// SineIntermediate: A(base) - 2 A(upper): growth slows above upper; never
	// below 0 (project rule: the bare formula goes negative once the middle
	// of the day exceeds 2 upper - base). Definition published: UC IPM
	// glossary; formula derived again.
	SineIntermediate
	// SineVertical: growth stops above upper: A(base) - A(upper) - (upper -
	// base) times the share of the day above upper. Definition published: UC
	// IPM glossary; formula derived again.
	SineVertical
	// DoubleSine: half a day from this minimum, half a day to the next one,
	// both with this maximum; with an upper threshold the horizontal cutoff.
	// Allen 1976, Environ. Entomol. 5:388-396 (from memory); definition
	// published in the UC IPM glossary.
	DoubleSine
)

var dailyNames = [...]string{
	Average: "average", Clipped: "clipped", Triangle: "triangle", Sine: "sine", SineHorizontal: "sine-horizontal",
	SineIntermediate: "sine-intermediate", SineVertical: "sine-vertical", DoubleSine: "double-sine",
}

// String gives the method's name as stored with totals.
func (m DailyMethod) String() string {
	if int(m) < len(dailyNames) {
		return dailyNames[m]
	}
	return fmt.Sprintf("daily-method(%d)", uint8(m))
}

// ParseDailyMethod reads the names that [DailyMethod.String] writes; anything
// else is [ErrRules].
func ParseDailyMethod(name string) (DailyMethod, error) {
	for m, n := range dailyNames {
		if n == name {
			return DailyMethod(m), nil
		}
	}
	return 0, fmt.Errorf("meteo: daily method %q, known are %q: %w", name, dailyNames, ErrRules)
}

// NoUpper is the upper threshold of a method without one.
func NoUpper() float64 { return math.Inf(1) }

// An Extremes is one day's lowest and highest value, and the lowest of the day
// after, which only [DoubleSine] looks at. Units: those of the thresholds.
type Extremes struct {
	Min, Max, NextMin float64
}

// DegreeDays gives one day's degree-days above base, in the unit of the
// temperatures (1.8 F-days are one C-day). base and upper are the lower and
// upper threshold; upper may be [NoUpper].
//
// Every method gives 0 or more. Sine and Average go on above upper; the others
// are bounded by upper - base.
//
// Errors: [ErrMinAboveMax], [ErrNotFinite] (also for a missing NextMin under
// DoubleSine), [ErrUpper] for upper at or below base, [ErrRules] for an unknown
// method. Sources: see the methods. Valid for extremes of one calendar day.
func DegreeDays(m DailyMethod, day Extremes, base, upper float64) (float64, error) {
	if err := minMax(day.Min, day.Max); err != nil {
		return 0, err
	}
	if err := thresholds(base, upper); err != nil {
		return 0, err
	}
	lo, hi := day.Min, day.Max
	switch m {
	case Average:
		return math.Max(0, (lo+hi)/2-base), nil
	case Clipped:
		lo = math.Min(math.Max(lo, base), upper)
		hi = math.Min(math.Max(hi, base), upper)
		return (lo+hi)/2 - base, nil
	case Triangle:
		return math.Max(0, triangleArea(lo, hi, base)-triangleArea(lo, hi, upper)), nil
	case Sine:
		return sineArea(lo, hi, base), nil
	case SineHorizontal:
		return sineHorizontal(lo, hi, base, upper), nil
	case SineIntermediate:
		return math.Max(0, sineArea(lo, hi, base)-2*sineArea(lo, hi, upper)), nil
	case SineVertical:
		return sineVertical(lo, hi, base, upper)
	case DoubleSine:
		if err := finite("next minimum", day.NextMin); err != nil {
			return 0, err
		}
		// After a warm night the next minimum can lie above this maximum. The
		// second half then rises; the area under half a sine is the same
		// either way round.
		lo2, hi2 := math.Min(day.NextMin, hi), math.Max(day.NextMin, hi)
		return (sineHorizontal(lo, hi, base, upper) + sineHorizontal(lo2, hi2, base, upper)) / 2, nil
	}
	return 0, fmt.Errorf("meteo: %s: %w", m, ErrRules)
}

// thresholds refuses an upper threshold that is not above the base.
func thresholds(base, upper float64) error {
	if err := finite("lower threshold", base); err != nil {
		return err
	}
	if math.IsNaN(upper) || math.IsInf(upper, -1) {
		return fmt.Errorf("meteo: upper threshold %g: %w", upper, ErrNotFinite)
	}
	if upper <= base {
		return fmt.Errorf("meteo: upper threshold %g, lower %g: %w", upper, base, ErrUpper)
	}
	return nil
}

// sineArea is the mean over a day of max(0, T - l) for the sine through lo
// and hi.
func sineArea(lo, hi, l float64) float64 {
	m, w := (hi+lo)/2, (hi-lo)/2
	switch {
	case hi <= l:
		return 0
	case lo >= l:
		return m - l
	}
	th := math.Asin(clampUnit((l - m) / w))
	return math.Max(0, ((m-l)*(math.Pi/2-th)+w*math.Cos(th))/math.Pi)
}

func sineHorizontal(lo, hi, base, upper float64) float64 {
	return math.Max(0, sineArea(lo, hi, base)-sineArea(lo, hi, upper))
}

func sineVertical(lo, hi, base, upper float64) (float64, error) {
	horizontal := sineHorizontal(lo, hi, base, upper)
	if math.IsInf(upper, 1) {
		return horizontal, nil
	}
	below, err := ShareBelowSine(lo, hi, upper)
	if err != nil {
		return 0, err
	}
	if lo == hi && lo == upper {
		below = 1 // a whole day at the upper threshold is not above it
	}
	return math.Max(0, horizontal-(upper-base)*(1-below)), nil
}

// triangleArea is the mean over a day of max(0, T - l) for straight lines
// between lo and hi.
func triangleArea(lo, hi, l float64) float64 {
	switch {
	case hi <= l:
		return 0
	case lo >= l:
		return (hi+lo)/2 - l
	}
	return (hi - l) * (hi - l) / (2 * (hi - lo))
}

// HourlyDegreeDays is the sum over hourly values of max(0, min(T, upper) -
// base) / 24, in degree-days of the values' unit, and the number of values
// that counted; NaN and infinite values do not.
//
// Source: common practice. Valid for one value per hour; for anything else
// use [DegreeDaysFrom]. Errors: [ErrNotFinite], [ErrUpper].
func HourlyDegreeDays(values []float64, base, upper float64) (total float64, counted int, err error) {
	if err := thresholds(base, upper); err != nil {
		return 0, 0, err
	}
	for _, v := range values {
		if !usable(v) {
			continue
		}
		counted++
		total += clipped(v, base, upper)
	}
	return total / 24, counted, nil
}

// DegreeDayTotal is a sum of degree-days from readings.
type DegreeDayTotal struct {
	Method      Method
	Base, Upper float64 // Upper is +Inf where there is none
	Total       float64 // degree-days in the readings' unit, over covered time
	Coverage
}

// A DegreeDayMeter adds up degree-days reading by reading, without
// allocation. Make one with [NewDegreeDayMeter].
type DegreeDayMeter struct {
	w           walker
	base, upper float64
	sum         float64 // degree-ms
}

// NewDegreeDayMeter prepares a meter for degree-days above base and up to
// upper ([NoUpper] for none; above upper growth stays at its pace, the
// horizontal cutoff), in the unit of the readings.
//
// Linear: the exact integral of the straight lines, moved into [base, upper],
// less base. Hold: the same with each value standing until the next. Count:
// each reading times what it stands for. All over covered time only: see
// [Coverage.PerCoveredDay] before comparing periods.
//
// Source: project rule for linear and hold; count with a nominal hour is the
// hourly method, common practice. Errors as [NewHoursMeter] and [ErrUpper].
func NewDegreeDayMeter(base, upper float64, r Rules) (DegreeDayMeter, error) {
	if err := thresholds(base, upper); err != nil {
		return DegreeDayMeter{}, err
	}
	r, err := r.check()
	if err != nil {
		return DegreeDayMeter{}, err
	}
	if r.Method == Count && r.Nominal == 0 {
		return DegreeDayMeter{}, fmt.Errorf("meteo: the count method needs a nominal interval: %w", ErrRules)
	}
	return DegreeDayMeter{w: walker{rules: r}, base: base, upper: upper}, nil
}

// Add takes a reading for the instant t, Unix milliseconds; see
// [HoursMeter.Add] for what is left out.
func (m *DegreeDayMeter) Add(t int64, v float64) { m.AddInterval(t, 0, v) }

// AddInterval takes a reading that speaks for [t-interval, t), milliseconds.
func (m *DegreeDayMeter) AddInterval(t, interval int64, v float64) {
	bridge, own, speaks := m.w.step(t, interval, v)
	if m.w.rules.Method == Count {
		if speaks {
			m.sum += clipped(v, m.base, m.upper) * float64(m.w.weight(own, interval))
		}
		return
	}
	if bridge.to > bridge.from {
		m.sum += meanClipped(bridge.a, bridge.b, m.base, m.upper) * bridge.length()
	}
	if own.to > own.from {
		m.sum += clipped(v, m.base, m.upper) * own.length()
	}
}

// Result gives the total so far. More readings may follow.
func (m *DegreeDayMeter) Result() DegreeDayTotal {
	return DegreeDayTotal{
		Method:   m.w.rules.Method,
		Base:     m.base,
		Upper:    m.upper,
		Total:    m.sum / float64(Day),
		Coverage: m.w.coverage(),
	}
}

// DegreeDaysFrom runs a series through a [DegreeDayMeter]. Errors as
// [NewDegreeDayMeter], and [ErrLength]. Source and range as there.
func DegreeDaysFrom(s Series, base, upper float64, r Rules) (DegreeDayTotal, error) {
	if err := s.lengths(); err != nil {
		return DegreeDayTotal{}, err
	}
	m, err := NewDegreeDayMeter(base, upper, r)
	if err != nil {
		return DegreeDayTotal{}, err
	}
	for i, t := range s.Times {
		m.AddInterval(t, s.interval(i), s.Values[i])
	}
	return m.Result(), nil
}

// clipped is v moved into [base, upper], less base.
func clipped(v, base, upper float64) float64 {
	return math.Min(math.Max(v, base), upper) - base
}

// meanClipped is the mean of [clipped] along the straight line from a to b.
// The stretch is split at the thresholds and each part summed as a trapezoid:
// differences of squares would lose all digits on a nearly level line.
func meanClipped(a, b, base, upper float64) float64 {
	lo, hi := a, b
	if lo > hi {
		lo, hi = hi, lo
	}
	switch {
	case hi <= base:
		return 0
	case lo >= upper:
		return upper - base
	case lo >= base && hi <= upper:
		return (lo+hi)/2 - base
	}
	span := hi - lo
	from, to := math.Max(lo, base), math.Min(hi, upper)
	mean := (to - from) / span * ((from+to)/2 - base)
	if hi > upper {
		mean += (hi - upper) / span * (upper - base)
	}
	return mean
}
