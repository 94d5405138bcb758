package meteo

import (
	"fmt"
	"math"
	"time"
)

// DayBounds are the bounds of one local day as instants, Unix milliseconds,
// with the stretches in which a minimum and a maximum usually fall. A local day
// can have 23, 23.5, 24, 24.5 or 25 hours.
type DayBounds struct {
	Start, End         int64
	NightFrom, NightTo int64 // local 03:00 to 07:00; both 0: not looked at
	NoonFrom, NoonTo   int64 // local 12:00 to 16:00; both 0: not looked at
}

// Hours is the real length of the day.
func (b DayBounds) Hours() float64 { return hours(float64(b.End - b.Start)) }

// LocalDay gives the bounds of a calendar day in a zone: from the first
// instant that carries the date to the first instant that carries a later one,
// also where the clock changes at midnight. A date that a zone left out
// altogether has no length; a date that does not exist is [ErrRange].
//
// Source: the zone's own rules, from the time-zone database that made loc.
func LocalDay(year int, month time.Month, day int, loc *time.Location) (DayBounds, error) {
	if d := time.Date(year, month, day, 0, 0, 0, 0, time.UTC); d.Year() != year || d.Month() != month || d.Day() != day {
		return DayBounds{}, fmt.Errorf("meteo: %d-%d-%d is no date: %w", year, month, day, ErrRange)
	}
	at := func(hour int) int64 { return time.Date(year, month, day, hour, 0, 0, 0, loc).UnixMilli() }
	return DayBounds{
		Start:     firstInstant(year, month, day, loc),
		End:       firstInstant(year, month, day+1, loc),
		NightFrom: at(3), NightTo: at(7),
		NoonFrom: at(12), NoonTo: at(16),
	}, nil
}

// firstInstant is the first instant in loc whose date is the given one or,
// where there is none, later.
func firstInstant(year int, month time.Month, day int, loc *time.Location) int64 {
	wall := time.Date(year, month, day, 0, 0, 0, 0, time.UTC)
	t := time.Date(year, month, day, 0, 0, 0, 0, loc)
	from, to := t.ZoneBounds()
	_, offset := t.Zone()
	switch {
	case t.Unix()+int64(offset) < wall.Unix():
		// Midnight was skipped and t fell before the change: the day starts
		// with the new offset.
		return to.UnixMilli()
	case t.Unix()+int64(offset) > wall.Unix():
		// Skipped, and t fell after the change.
		return from.UnixMilli()
	case from.IsZero():
		return t.UnixMilli()
	}
	// Midnight may have struck twice, and time.Date does not promise which of
	// the two it gives: was it already there under the offset before?
	_, before := from.Add(-time.Second).Zone()
	if early := wall.Unix() - int64(before); early < from.Unix() {
		return early * 1000
	}
	return t.UnixMilli()
}

// Shares of time that must be covered. Project rules.
const (
	// ExtremesCover: a daily minimum and maximum need 22 of 24 hours, taken
	// as a share so that it holds for days of 23 and 25 hours.
	ExtremesCover = 22.0 / 24
	// StretchCover: of the night stretch for a minimum and of the noon
	// stretch for a maximum.
	StretchCover = 0.75
)

// A DaySummary is one local day from readings.
type DaySummary struct {
	// Min and Max in the readings' unit with the instants at which they were
	// read (Unix milliseconds); NaN and 0 without any reading.
	Min, Max     float64
	MinAt, MaxAt int64
	// Mean over the covered time by the method of the rules; NaN where
	// nothing is covered.
	Mean float64
	// MinValid and MaxValid tell whether coverage suffices to call them the
	// day's: 22 of 24 hours, and three quarters of 03-07 for the minimum, of
	// 12-16 for the maximum.
	MinValid, MaxValid bool
	Coverage
}

// Summarise sums up one local day of a series. From and To of the rules are
// set from the bounds; use [Series.Between] to hand in only the part needed.
//
// The extremes are taken from readings, never from lines between them. An
// instant belongs to the day that it falls in; a reading with an interval to
// the day that holds the middle of its interval, together with its Lows and
// Highs. A logger's midnight value thus ends the old day.
//
// Source: project rules. Errors: [ErrLength], [ErrRules].
func Summarise(s Series, day DayBounds, r Rules) (DaySummary, error) {
	r.From, r.To = day.Start, day.End
	if r.From >= r.To {
		return DaySummary{}, fmt.Errorf("meteo: a day from %d to %d: %w", r.From, r.To, ErrRules)
	}
	if err := s.lengths(); err != nil {
		return DaySummary{}, err
	}
	// Three walks over the same readings: the day, its night, its noon.
	r, err := r.check()
	if err != nil {
		return DaySummary{}, err
	}
	whole := walker{rules: r}
	night, noon := whole, whole
	night.rules.From, night.rules.To = day.NightFrom, day.NightTo
	noon.rules.From, noon.rules.To = day.NoonFrom, day.NoonTo

	out := DaySummary{Min: math.NaN(), Max: math.NaN(), Mean: math.NaN()}
	var sum, count float64
	for i, t := range s.Times {
		v, interval := s.Values[i], s.interval(i)
		ignored := whole.ignored
		bridge, own, speaks := whole.step(t, interval, v)
		night.step(t, interval, v)
		noon.step(t, interval, v)
		if whole.ignored > ignored {
			continue
		}
		sum += (bridge.a+bridge.b)/2*bridge.length() + v*own.length()
		if speaks && r.Method == Count {
			weight := 1.0
			if interval > 0 {
				weight = own.length()
			}
			count += weight
			out.Mean = addMean(out.Mean, v, weight, count)
		}
		if middle := t - interval/2; middle >= day.Start && middle < day.End {
			out.note(t, v, s.extreme(s.Lows, i, v), s.extreme(s.Highs, i, v))
		}
	}
	if r.Method != Count && whole.covered > 0 {
		out.Mean = sum / float64(whole.covered)
	}
	out.Coverage = whole.coverage()
	enough := out.Covered >= ExtremesCover*out.Window-1e-9
	out.MinValid = enough && usable(out.Min) && stretchCovered(night)
	out.MaxValid = enough && usable(out.Max) && stretchCovered(noon)
	return out, nil
}

func addMean(mean, v, weight, total float64) float64 {
	if math.IsNaN(mean) {
		return v
	}
	return mean + (v-mean)*weight/total
}

func stretchCovered(w walker) bool {
	length := float64(w.rules.To - w.rules.From)
	return length <= 0 || float64(w.covered) >= StretchCover*length
}

// extreme is the low or high that came with a reading, else its value.
func (s Series) extreme(from []float64, i int, v float64) float64 {
	if len(from) == 0 || !usable(from[i]) {
		return v
	}
	return from[i]
}

func (d *DaySummary) note(t int64, v, low, high float64) {
	low, high = math.Min(v, low), math.Max(v, high)
	if math.IsNaN(d.Min) || low < d.Min {
		d.Min, d.MinAt = low, t
	}
	if math.IsNaN(d.Max) || high > d.Max {
		d.Max, d.MaxAt = high, t
	}
}

// Limits of missing days in a month.
const (
	MonthMissing = 11 // from this many missing days there is no monthly mean
	MonthInARow  = 5  // nor from this many in a row
)

// A MonthSummary is a month of daily values.
type MonthSummary struct {
	// Mean of the days that have a value; NaN unless Valid.
	Mean float64
	// Valid: fewer than 11 days missing and fewer than 5 in a row.
	Valid bool
	// Days in the month, days missing, longest stretch of missing days.
	Days, Missing, InARow int
}

// Month sums up a month of daily values, one for each of its days, NaN for a
// missing one. No mean is given with 11 or more days missing or with 5 or more
// in a row.
//
// Source: WMO-No. 1203, from memory. Valid for means; sums (rain) need every
// day. Errors: [ErrRules] unless there are 28 to 31 days.
func Month(daily []float64) (MonthSummary, error) {
	if len(daily) < 28 || len(daily) > 31 {
		return MonthSummary{}, fmt.Errorf("meteo: a month of %d days: %w", len(daily), ErrRules)
	}
	m := MonthSummary{Mean: math.NaN(), Days: len(daily)}
	sum, run := 0.0, 0
	for _, v := range daily {
		if usable(v) {
			sum, run = sum+v, 0
			continue
		}
		m.Missing++
		run++
		m.InARow = max(m.InARow, run)
	}
	m.Valid = m.Missing < MonthMissing && m.InARow < MonthInARow
	if m.Valid {
		m.Mean = sum / float64(m.Days-m.Missing)
	}
	return m, nil
}
