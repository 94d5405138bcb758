package weather

import (
	"math"

	"latewood/events/civil"
	"latewood/projections"
	"latewood/projections/meteo"
)

// A HeatDay is one local day of a station for models of growth. Temperatures are C.
type HeatDay struct {
	Degrees  float64 // degree-days of the day: mean over the day of max(0, min(T, upper) - base)
	Mean     float64 // of the air temperature over the covered time; the middle of the extremes where only those are known
	Min, Max float64 // NaN: not known
	Warm     float64 // hours at or above 20
	Rain     float64 // mm; NaN: not known
	Known    bool    // covered for 22 of 24 hours, or answered by a daily summary
	Shorter  bool    // answered by readings shorter than a day, so that Warm was measured and not drawn out of the extremes
}

// farBelow is a base that no air temperature reaches: degree-days above it are the mean less the base.
const farBelow = -100

// Heat sums up a station's days from its first to its last day up to an end (inclusive; zero: all), one after another. It
// is what the flush clock runs on. days is nil where the station told nothing.
func Heat(v *projections.View, base, upper float64, end civil.Date) (first civil.Date, days []HeatDay, err error) {
	first, last, ok := extent(v)
	if !ok {
		return first, nil, nil
	}
	if !end.IsZero() && end.Before(last) {
		last = end
	}
	a := ask{base: base, upper: upper, gap: gaps(v, 0)}
	warm, _, err := compute(v, first, last, a, false)
	if err != nil {
		return first, nil, err
	}
	a.base, a.upper = farBelow, meteo.NoUpper()
	mean, _, err := compute(v, first, last, a, false)
	if err != nil {
		return first, nil, err
	}
	days = make([]HeatDay, len(warm))
	for i := range days {
		d, w := &days[i], &warm[i]
		d.Min, d.Max, d.Rain = w.low, w.high, math.NaN()
		if w.Rain != nil {
			d.Rain = float64(*w.Rain) / 1000
		}
		if w.Covered == 0 || !w.enough(w.Covered) {
			continue
		}
		// The day's mean, whatever its length and however much of it is covered.
		scale := 1.0
		if w.Method == "linear" {
			scale = float64(meteo.Day) / float64(w.Covered)
		}
		d.Degrees = float64(w.Day.Degrees) / 1e6 * scale
		d.Mean = float64(mean[i].Day.Degrees)/1e6*scale + farBelow
		d.Warm = float64(w.Above) / float64(meteo.Hour)
		d.Known, d.Shorter = true, w.Method == "linear"
	}
	return first, days, nil
}
