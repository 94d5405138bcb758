package civil

import (
	"cmp"
	"time"
)

// A Wall is what a calendar and a clock on a wall show: a local time without a zone.
type Wall struct {
	Date                             Date
	Hour, Minute, Second, Nanosecond int
}

// WallOf returns what the wall shows in loc at the instant t.
func WallOf(t time.Time, loc *time.Location) Wall {
	t = t.In(loc)
	hour, minute, second := t.Clock()
	return Wall{Date: DateOf(t, loc), Hour: hour, Minute: minute, Second: second, Nanosecond: t.Nanosecond()}
}

// Valid reports whether the date exists and the clock runs from 00:00:00 to 23:59:59.999999999.
func (w Wall) Valid() bool {
	return w.Date.Valid() && w.Hour >= 0 && w.Hour < 24 && w.Minute >= 0 && w.Minute < 60 && w.Second >= 0 && w.Second < 60 &&
		w.Nanosecond >= 0 && w.Nanosecond < 1e9
}

// unix is the instant at which a clock at UTC shows w.
func (w Wall) unix() int64 {
	return int64(w.Date.DayNumber())*(24*60*60) + int64(w.Hour)*3600 + int64(w.Minute)*60 + int64(w.Second)
}

// Compare returns -1, 0 or +1 as w shows an earlier time than o, the same or a later one.
func (w Wall) Compare(o Wall) int {
	return cmp.Or(cmp.Compare(w.unix(), o.unix()), cmp.Compare(w.Nanosecond, o.Nanosecond))
}

// String returns the form 2026-05-03T14:10:00, with a fraction only if it is not zero, at most to the millisecond.
func (w Wall) String() string { return string(w.appendTo(make([]byte, 0, 23))) }

func (w Wall) appendTo(dst []byte) []byte {
	dst = w.Date.appendTo(dst)
	dst = appendDigits(append(dst, 'T'), w.Hour, 2)
	dst = appendDigits(append(dst, ':'), w.Minute, 2)
	dst = appendDigits(append(dst, ':'), w.Second, 2)
	if ms := w.Nanosecond / 1e6; ms > 0 {
		dst = appendDigits(append(dst, '.'), ms, 3)
		for dst[len(dst)-1] == '0' {
			dst = dst[:len(dst)-1]
		}
	}
	return dst
}

// Resolve returns the instants, in loc and in their order, at which a clock in loc shows w: one as a rule, none where
// the clocks were moved over w, two where they were moved back over it. Fields beyond their range count on, as in
// time.Date.
func Resolve(w Wall, loc *time.Location) []time.Time {
	first, second, n, _ := resolve(w, loc)
	return []time.Time{first, second}[:n]
}

// resolve finds up to two instants. No zone ever showed one wall time three times within two days, and none is
// expected to. gap is the period that starts with the move, if there is no instant.
func resolve(w Wall, loc *time.Location) (first, second time.Time, n int, gap period) {
	wall := w.unix()
	last := wall + reach
	previous := period{end: -farAway}
	for at := wall - reach; ; at = previous.end {
		p := periodFrom(at, loc)
		if unix := wall - p.offset; unix >= p.start && unix < p.end {
			t := time.Unix(unix, int64(w.Nanosecond)).In(loc)
			if n == 0 {
				first = t
			} else {
				second = t
			}
			n++
		} else if n == 0 && unix < p.start && wall-previous.offset >= p.start && previous.end == p.start {
			gap = p // behind the end of the period before, and before the start of this one
		}
		if n == 2 || p.end > last {
			return first, second, n, gap
		}
		previous = p
	}
}

func skipped(w Wall, gap period, loc *time.Location) *SkippedError {
	before := periodAt(gap.start-1, loc)
	return &SkippedError{
		Wall: w,
		Zone: loc.String(),
		At:   time.Unix(gap.start, 0).In(loc),
		By:   time.Duration(gap.offset-before.offset) * time.Second,
	}
}

// Later returns the instant at which a clock in loc shows w, for a time that stands alone. In a repeated hour it is the
// later of the two: an interval that counts from it ends later, which is the careful reading. The error is a
// *SkippedError where the clocks were moved over w.
func Later(w Wall, loc *time.Location) (time.Time, error) {
	t, skip := later(w, loc)
	if skip != nil {
		return time.Time{}, skip
	}
	return t, nil
}

func later(w Wall, loc *time.Location) (time.Time, *SkippedError) {
	first, second, n, gap := resolve(w, loc)
	switch n {
	case 0:
		return time.Time{}, skipped(w, gap, loc)
	case 1:
		return first, nil
	}
	return second, nil
}

// A Series turns the wall times of one logger into instants. Its rows must come in the order in which the logger wrote
// them; each logger (station, file) has its own Series.
//
// A wall time in a repeated hour is taken as its first instant as long as the readings rise, and as its later instant
// from the first one on that has fallen back: that is not after the reading before it, which stands in the same
// repeated hour. So the hourly rows 00:00, 01:00, 01:00, 02:00 of an autumn night, and the half-hourly rows 01:00, 01:30,
// 01:00, 01:30, come out an hour or half an hour apart, as they were measured.
//
// The first reading of a series counts as rising. Rows of which none falls back (a logger that was off for one of the
// two hours, or that leaves the second out) cannot be told apart from rows of the first pass and are taken as that; a
// logger on standard time all year has no repeated hour and needs a fixed offset as its zone. The zero Series is not
// ready: set Zone.
type Series struct {
	// Zone is the zone of the logger's clock.
	Zone *time.Location

	previous Wall
	inside   bool  // whether previous stood in a repeated hour
	repeat   int64 // which one: the Unix second at which the clocks were moved back
	fallen   bool  // whether the readings have fallen back in it
}

// Next returns the instant of the next wall time of the series. A time that the clocks were moved over is refused with
// a *SkippedError and changes nothing; the caller may go on with the next row.
func (s *Series) Next(w Wall) (time.Time, error) {
	first, second, n, gap := resolve(w, s.Zone)
	if n == 0 {
		return time.Time{}, skipped(w, gap, s.Zone)
	}
	fell := w.Compare(s.previous) <= 0
	s.previous = w
	if n == 1 {
		s.inside, s.fallen = false, false
		return first, nil
	}
	repeat := periodAt(second.Unix(), s.Zone).start
	if !s.inside || repeat != s.repeat {
		s.inside, s.fallen, s.repeat = true, false, repeat
		return first, nil
	}
	s.fallen = s.fallen || fell
	if s.fallen {
		return second, nil
	}
	return first, nil
}
