package weather

import (
	"math"

	"latewood/events/civil"
	"latewood/projections"
	"latewood/projections/meteo"
	"latewood/projections/settings"
)

// State is a station's days by the default parameters, from its first reading's day to its last, in order. Days without
// any reading stand in it too, with none.
type State struct {
	Days  []Day              `json:"days"`
	Flags []projections.Flag `json:"flags,omitempty"` // of readings that fail quality control
}

// On is a day of the State; false where the station tells nothing about it.
func (s *State) On(day civil.Date) (Day, bool) {
	if len(s.Days) == 0 {
		return Day{}, false
	}
	i := day.Sub(s.Days[0].Day)
	if i < 0 || i >= len(s.Days) || s.Days[i].Readings == 0 {
		return Day{}, false
	}
	return s.Days[i], true
}

// Fold computes the State of each station.
func Fold() *projections.Fold { return projections.NewFold("weather", 2, projections.Station, fold) }

func fold(v *projections.View) *State {
	out := &State{Days: []Day{}}
	first, last, ok := extent(v)
	if !ok {
		return out
	}
	results, flags, err := compute(v, first, last, ask{base: DefaultBase, upper: meteo.NoUpper(), gap: gaps(v, 0)}, true)
	if err != nil {
		return out // the default parameters contradict nothing
	}
	for i := range results {
		out.Days = append(out.Days, results[i].Day)
	}
	out.Flags = flags
	return out
}

// Flags lists the quality-control flags of all stations' readings, in order of records.
func Flags(b *projections.Book) []projections.Flag {
	var out []projections.Flag
	fold := Fold()
	for _, code := range b.Keys(projections.Station) {
		out = append(out, projections.StateOf[State](b, fold, code).Flags...)
	}
	return projections.SortFlags(out)
}

// extent is the first and the last day about which a station's readings say something.
func extent(v *projections.View) (first, last civil.Date, ok bool) {
	s := v.Weather()
	if s == nil {
		return first, last, false
	}
	from, to := int64(math.MaxInt64), int64(math.MinInt64)
	s.Each(func(m *projections.Month) {
		for i, at := range m.Times {
			interval := int64(m.Interval[i]) * 1000
			if spanOf(interval) == shorter && interval > 0 {
				from, to = min(from, at-interval), max(to, at-1)
				continue
			}
			from, to = min(from, at-interval/2), max(to, at-interval/2)
		}
	})
	if from > to {
		return first, last, false
	}
	return dateAt(from, v.Zone), dateAt(to, v.Zone), true
}

// gaps gives the longest silence to be bridged on a day, in ms: the one asked for, else the farm's setting.
func gaps(v *projections.View, asked int64) func(civil.Date) int64 {
	if asked > 0 {
		return func(civil.Date) int64 { return asked }
	}
	var memo civil.Date
	var value int64
	return func(day civil.Date) int64 {
		if day == memo {
			return value
		}
		memo, value = day, meteo.DefaultMaxGap
		if hours, ok := v.Number(settings.HoldGap, day); ok {
			value = max(1, milliseconds(hours)) // no gap at all is a gap of a millisecond: 0 would mean the default
		}
		return value
	}
}

// compute answers for the days from first to last, both inclusive.
func compute(v *projections.View, first, last civil.Date, a ask, flags bool) ([]result, []projections.Flag, error) {
	s := v.Weather()
	if s == nil || last.Before(first) {
		return nil, nil, nil
	}
	// One day more on either side, which some methods look at.
	cal := newCalendar(first.AddDays(-1), last.AddDays(1), v.Zone)
	want := wants{air: len(a.with) > 0, flags: flags}
	t := gather(v.Key.Code, s, cal, doubtsOf(v), want)
	results, err := run(t, a)
	if err != nil {
		return nil, nil, err
	}
	return results[1 : len(results)-1], t.flags, nil
}
