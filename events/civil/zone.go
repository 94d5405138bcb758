package civil

import (
	"strings"
	"time"
	_ "time/tzdata" // for machines without a time-zone database
)

// Zone returns the time zone of an IANA name ("America/New_York", "UTC"). Names that mean "wherever this machine is" ("",
// "Local", "localtime") are refused: a farm's days may not depend on the machine that counts them. So are the variants
// of zones that count leap seconds. The error is a *ZoneError.
func Zone(name string) (*time.Location, error) {
	if name == "" || strings.EqualFold(name, "local") || strings.EqualFold(name, "localtime") || name == "posixrules" ||
		strings.HasPrefix(name, "right/") || strings.HasPrefix(name, "posix/") {
		return nil, &ZoneError{Name: name}
	}
	loc, err := time.LoadLocation(name)
	if err != nil {
		return nil, &ZoneError{Name: name, Err: err}
	}
	return loc, nil
}

// reach is further from UTC than any zone ever was (15:14 and -15:56, before the date line was settled).
const reach = 24 * 60 * 60

// A period is a stretch of time during which a zone keeps one offset, in Unix seconds. Open ends are far away. Periods
// that follow one another may have the same offset.
type period struct {
	start, end int64
	offset     int64
}

const farAway = 1 << 60

// periodAt returns a period around the instant: start <= unix < end always holds.
func periodAt(unix int64, loc *time.Location) period {
	t := time.Unix(unix, 0).In(loc)
	_, offset := t.Zone()
	from, to := t.ZoneBounds()
	p := period{start: -farAway, end: farAway, offset: int64(offset)}
	if !from.IsZero() {
		p.start = from.Unix()
	}
	if !to.IsZero() {
		p.end = to.Unix()
	}
	if p.end <= unix {
		p.end = nextChange(unix, p.offset, loc)
	}
	return p
}

// periodFrom is periodAt without what lies before the instant, for walks from one period to the next.
func periodFrom(unix int64, loc *time.Location) period {
	p := periodAt(unix, loc)
	p.start = unix
	return p
}

// nextChange finds the next move of the clocks within two days by looking at the offset alone, else returns the end of
// the two days. It is for the one day on which ZoneBounds names an end that has gone by: beyond the years that the
// time-zone database lists one by one (from 2038 on), the standard library gives every year 365 days when it works out
// where a period ends, so that 31 December of a leap year lies behind its own period (seen with Go 1.26; offsets are
// right). A search that trusted it would never come to an end.
func nextChange(unix, offset int64, loc *time.Location) int64 {
	offsetAt := func(unix int64) int64 {
		_, offset := time.Unix(unix, 0).In(loc).Zone()
		return int64(offset)
	}
	const step = 60 * 60
	for range 48 {
		if offsetAt(unix+step) == offset {
			unix += step
			continue
		}
		low, high := unix, unix+step
		for high-low > 1 {
			if middle := (low + high) / 2; offsetAt(middle) == offset {
				low = middle
			} else {
				high = middle
			}
		}
		return high
	}
	return unix
}

// DayStart returns the first instant of the local day d in loc, in loc. That is midnight, but:
//
//   - where the clocks skip midnight, it is the instant of the move: the day starts at, say, 01:00;
//   - where midnight comes twice, it is the first;
//   - where the clocks move back over midnight into the day before, so that a part of that day comes again after this
//     one has begun, it is still the first instant that bears the date;
//   - a day that a zone left out (Pacific/Apia had no 30 December 2011) starts with the next one and has no length.
//
// It is the first instant at which the calendar in loc shows d or a later day.
func DayStart(d Date, loc *time.Location) time.Time {
	midnight := int64(d.DayNumber()) * (24 * 60 * 60)
	for at := midnight - reach; ; {
		p := periodFrom(at, loc)
		if first := max(midnight-p.offset, p.start); first < p.end {
			return time.Unix(first, 0).In(loc)
		}
		at = p.end
	}
}

// DayEnd returns the end of the local day d in loc, which is the start of the next: days are half-open, [DayStart,
// DayEnd).
func DayEnd(d Date, loc *time.Location) time.Time { return DayStart(d.AddDays(1), loc) }

// DayLength returns how long the local day d lasts in loc: mostly 24 hours, 23 or 25 where clocks move.
func DayLength(d Date, loc *time.Location) time.Duration { return DayEnd(d, loc).Sub(DayStart(d, loc)) }
