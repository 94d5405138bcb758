package holds

import (
	"math"
	"time"

	"latewood/events"
	"latewood/events/civil"
)

// An Instant is Unix time in milliseconds: what a State keeps. 0 stands for none.
type Instant int64

// Far ends of time: both are whole numbers that every JSON reader keeps.
const (
	always Instant = -1 << 52
	never  Instant = 1 << 52
)

func instant(t time.Time) Instant { return Instant(t.UnixMilli()) }

// Time is the instant in a zone.
func (i Instant) Time(zone *time.Location) time.Time { return time.UnixMilli(int64(i)).In(zone) }

// text writes the instant as documents do, "" for none and for the far ends.
func (i Instant) text(zone *time.Location) string {
	if i == 0 || i >= never || i <= always {
		return ""
	}
	return civil.FormatTime(i.Time(zone))
}

// Rules of counting days, as labels and the setting count-rule name them.
const (
	ByDate    = "date"
	ByElapsed = "elapsed"
	ByFull    = "full-days"
	LabelSays = "label-says" // the label says how in words that no machine applies: counted as full days, words shown
)

// An End is when an application ended: an instant, and the civil day of it.
type End struct {
	At  time.Time  // where only the day is known, the end of that day
	Day civil.Date // the day of the application, which for a day alone is the one before At
}

// endOf reads an end as records give it. A day alone ends with that day.
func endOf(m events.Moment, zone *time.Location) End { return End{At: m.Latest(zone), Day: m.Day} }

// later moves an end by what a clock was slow. A day alone stays the end of a day.
func (e End) later(by time.Duration, dayOnly bool, zone *time.Location) End {
	if by <= 0 {
		return e
	}
	if !dayOnly {
		at := e.At.Add(by)
		return End{At: at, Day: civil.DateOf(at, zone)}
	}
	day := civil.DateOf(e.At.Add(by-time.Millisecond), zone)
	return End{At: civil.DayEnd(day, zone), Day: day}
}

// Readings are the three ways to count an interval: the first instant outside of it. Of hours only Elapsed stands.
type Readings struct {
	Date, Elapsed, Full time.Time
}

// Count counts an interval of value h, d or wk (7 d) from an end; ok is false for another unit.
//
//	date       the first instant of the day value days after the day of the application
//	elapsed    value x 24 real hours after the end
//	full-days  the first instant after value whole days, the day of the application not counted
//
// Parts of days count as whole days in date and full-days. No reading lies before the end. Clocks that move between an end near
// midnight and the opening could turn the order of the readings round by the hour that they moved (an end at 00:00 and
// clocks moved back; an end in the last hour of a day and clocks moved forward); then the one that would be too early is
// raised, so that full-days >= elapsed >= date.
//
// Source: design of the project, compliance 4.2, readings A, B, C.
func Count(end End, value float64, unit string, zone *time.Location) (r Readings, ok bool) {
	days := value
	switch unit {
	case "h":
		return Readings{Elapsed: end.At.Add(hours(value))}, true
	case "d":
	case "wk":
		days = 7 * value
	default:
		return Readings{}, false
	}
	whole := int(math.Ceil(days))
	r.Date = latest(civil.DayStart(end.Day.AddDays(whole), zone), end.At)
	r.Elapsed = latest(end.At.Add(hours(24*days)), r.Date)
	r.Full = latest(civil.DayStart(end.Day.AddDays(whole+1), zone), r.Elapsed)
	return r, true
}

// hours rounds to the millisecond, the finest that records know.
func hours(h float64) time.Duration {
	return time.Duration(math.Round(h*3_600_000)) * time.Millisecond
}

func latest(a, b time.Time) time.Time {
	if b.After(a) {
		return b
	}
	return a
}

// by picks the reading of a rule; hours know only one.
func (r Readings) by(rule string) time.Time {
	switch {
	case r.Full.IsZero():
		return r.Elapsed
	case rule == ByDate:
		return r.Date
	case rule == ByElapsed:
		return r.Elapsed
	}
	return r.Full
}
