package meteo

import (
	"fmt"
	"math"
)

// Hours is the time below and at or above a threshold.
type Hours struct {
	Method    Method
	Threshold float64 // in the unit of the readings
	// Below is the time strictly below the threshold and AtOrAbove the rest,
	// both in hours. Under Linear and Hold they add up to Covered. Under
	// Count they add up to the readings times what each stands for, which is
	// not the time between the first and the last of them.
	Below, AtOrAbove float64
	// CountBelow is the number of readings strictly below, under any method.
	CountBelow int
	Coverage
}

// An HoursMeter adds up the hours below one threshold, reading by reading. It
// holds no slice and allocates nothing; its value may be copied to try a
// continuation. Make one with [NewHoursMeter].
type HoursMeter struct {
	w          walker
	threshold  float64
	below      float64 // ms
	above      float64 // ms, count method only
	countBelow int
}

// NewHoursMeter prepares a meter for hours below and at or above a threshold,
// given in the unit of the readings. Strict comparison: a reading equal to the
// threshold is not below it ("below 68 F" leaves out 68.0).
//
// Errors: [ErrNotFinite] for the threshold, [ErrRules] for rules that
// contradict themselves, among them Count without Nominal; a caller with
// interval readings only may set Nominal to any positive number.
//
// Source: the three methods are project rules written down for this program;
// counting per reading is common practice. Valid for any element that can be
// compared.
func NewHoursMeter(threshold float64, r Rules) (HoursMeter, error) {
	if err := finite("threshold", threshold); err != nil {
		return HoursMeter{}, err
	}
	r, err := r.check()
	if err != nil {
		return HoursMeter{}, err
	}
	if r.Method == Count && r.Nominal == 0 {
		return HoursMeter{}, fmt.Errorf("meteo: the count method needs a nominal interval: %w", ErrRules)
	}
	return HoursMeter{w: walker{rules: r}, threshold: threshold}, nil
}

// Add takes a reading that speaks for the instant t (Unix milliseconds).
// Readings come in order of time; one that does not, or is NaN or infinite,
// is left out and counted in Ignored. The silence it leaves is judged like
// any other.
func (m *HoursMeter) Add(t int64, v float64) { m.AddInterval(t, 0, v) }

// AddInterval takes a reading that speaks for [t-interval, t), both in
// milliseconds. Where that reaches back behind the reading before, only the
// new part counts.
func (m *HoursMeter) AddInterval(t, interval int64, v float64) {
	bridge, own, speaks := m.w.step(t, interval, v)
	isBelow := v < m.threshold
	if speaks && isBelow {
		m.countBelow++
	}
	if m.w.rules.Method == Count {
		if speaks {
			if weight := float64(m.w.weight(own, interval)); isBelow {
				m.below += weight
			} else {
				m.above += weight
			}
		}
		return
	}
	if bridge.to > bridge.from {
		m.below += timeBelow(bridge, m.threshold)
	}
	if isBelow {
		m.below += own.length()
	}
}

// Result gives the hours so far. More readings may follow.
func (m *HoursMeter) Result() Hours {
	h := Hours{
		Method:     m.w.rules.Method,
		Threshold:  m.threshold,
		Below:      hours(m.below),
		CountBelow: m.countBelow,
		Coverage:   m.w.coverage(),
	}
	if h.Method == Count {
		h.AtOrAbove = hours(m.above)
	} else {
		h.AtOrAbove = math.Max(0, h.Covered-h.Below)
	}
	return h
}

// timeBelow is the part of a piece, in ms, during which its line runs strictly
// below c.
func timeBelow(p piece, c float64) float64 {
	switch {
	case p.a >= c && p.b >= c:
		return 0
	case p.a < c && p.b < c:
		return p.length()
	case p.a < c:
		return p.length() * ((c - p.a) / (p.b - p.a))
	default:
		return p.length() * ((c - p.b) / (p.a - p.b))
	}
}

// HoursBelow runs a series through an [HoursMeter]: hours strictly below, and
// at or above, a threshold in the unit of the values. Errors as
// [NewHoursMeter], and [ErrLength]. Source and range as there.
func HoursBelow(s Series, threshold float64, r Rules) (Hours, error) {
	if err := s.lengths(); err != nil {
		return Hours{}, err
	}
	m, err := NewHoursMeter(threshold, r)
	if err != nil {
		return Hours{}, err
	}
	for i, t := range s.Times {
		m.AddInterval(t, s.interval(i), s.Values[i])
	}
	return m.Result(), nil
}

// ShareBelowSine is the share of a day (0 to 1) strictly below c, for a day
// whose temperature is a single sine through its minimum and maximum. Units:
// any, the same for all three.
//
// It is 0 for c <= tmin and 1 for c >= tmax; between them 1/2 +
// asin((c-M)/W)/pi with M the middle and W half the range. A day with tmin =
// tmax below c gives 1, else 0.
//
// Source: model published by Baskerville & Emin 1969 (Ecology 50:514-517,
// cited from memory); the closed form was derived again and checked by
// numeric integration. Valid for both extremes from the same day; multiply by
// the real length of the day (23 to 25 h) for hours. Errors: [ErrNotFinite],
// [ErrMinAboveMax].
func ShareBelowSine(tmin, tmax, c float64) (float64, error) {
	if err := shareInput(tmin, tmax, c); err != nil {
		return 0, err
	}
	switch {
	case tmin == tmax:
		return flatDay(tmin, c), nil
	case c <= tmin:
		return 0, nil
	case c >= tmax:
		return 1, nil
	}
	m, w := (tmax+tmin)/2, (tmax-tmin)/2
	return clamp01(0.5 + math.Asin(clampUnit((c-m)/w))/math.Pi), nil
}

// ShareBelowTriangle is the same share for a day that rises and falls in
// straight lines between its extremes: (c-tmin)/(tmax-tmin).
//
// Source: common practice (published names of the triangle method: UC IPM
// glossary; formula from memory, Zalom et al. 1983). Range and errors as
// [ShareBelowSine].
func ShareBelowTriangle(tmin, tmax, c float64) (float64, error) {
	if err := shareInput(tmin, tmax, c); err != nil {
		return 0, err
	}
	switch {
	case tmin == tmax:
		return flatDay(tmin, c), nil
	case c <= tmin:
		return 0, nil
	case c >= tmax:
		return 1, nil
	}
	return (c - tmin) / (tmax - tmin), nil
}

// HoursBelowSine is 24 times [ShareBelowSine]: hours of a 24 hour day
// strictly below c; 24 minus it are the hours at or above. Source, range and
// errors as there.
func HoursBelowSine(tmin, tmax, c float64) (float64, error) {
	share, err := ShareBelowSine(tmin, tmax, c)
	return 24 * share, err
}

// HoursBelowTriangle is 24 times [ShareBelowTriangle]. Source, range and
// errors as there.
func HoursBelowTriangle(tmin, tmax, c float64) (float64, error) {
	share, err := ShareBelowTriangle(tmin, tmax, c)
	return 24 * share, err
}

func shareInput(tmin, tmax, c float64) error {
	if err := minMax(tmin, tmax); err != nil {
		return err
	}
	return finite("threshold", c)
}

func flatDay(t, c float64) float64 {
	if t < c {
		return 1
	}
	return 0
}

func clamp01(x float64) float64   { return math.Min(1, math.Max(0, x)) }
func clampUnit(x float64) float64 { return math.Min(1, math.Max(-1, x)) }
