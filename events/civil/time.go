package civil

import (
	"time"
)

// A Stamp is the time of a record as it was stated.
type Stamp struct {
	// At is the instant. Its location is a fixed offset where the text had one (UTC for Z and ±00:00), else the zone
	// that was given to ParseTime: FormatTime(At) keeps the offset in either case.
	At time.Time
	// Precision is ToDay where only a date was stated, and At the start of the local day; ToMinute, ToSecond.
	Precision Precision
	// Offset says that the text named its offset, so that nothing had to be resolved in the zone.
	Offset bool
}

// ParseTime reads the time of a record:
//
//	2026-05-03T14:10:00+10:00     RFC 3339; Z and a fraction of up to three digits are welcome
//	2026-05-03T14:10:00           no offset: in the farm's zone, loc
//	2026-05-03                    a date: the start of that local day
//
// Seconds may be left out (2026-05-03T14:10), and a space may stand for the T. In a repeated local hour the later
// instant is meant, as Later explains.
//
// Refused, with a *FormError: lower-case t and z, year 0000, days and clocks that do not exist, 24:00, second 60, more than
// three digits of fraction, offsets of 16 hours and more. With a *SkippedError: a local time or a local day that the
// clocks were moved over.
func ParseTime(s string, loc *time.Location) (Stamp, error) {
	stamp, skippedErr, reason := parseTime(s, loc)
	if reason != "" {
		return Stamp{}, &FormError{What: TimeText, Text: s, Reason: reason}
	}
	if skippedErr != nil {
		return Stamp{}, skippedErr
	}
	return stamp, nil
}

func parseTime(s string, loc *time.Location) (Stamp, *SkippedError, Reason) {
	const date, clock = len("2006-01-02"), len("15:04")
	if len(s) < date {
		return Stamp{}, nil, BadForm
	}
	d, reason := parseDate(s[:date])
	if reason != "" {
		return Stamp{}, nil, reason
	}
	w := Wall{Date: d}
	s = s[date:]
	if s == "" {
		start := DayStart(d, loc)
		if DateOf(start, loc) != d {
			return Stamp{}, skipped(w, periodAt(start.Unix(), loc), loc), ""
		}
		return Stamp{At: start, Precision: ToDay}, nil, ""
	}
	switch {
	case s[0] == 't':
		return Stamp{}, nil, LowerCase
	case s[0] != 'T' && s[0] != ' ', len(s) < 1+clock, s[3] != ':':
		return Stamp{}, nil, BadForm
	}
	var ok1, ok2 bool
	w.Hour, ok1 = digits(s[1:3])
	w.Minute, ok2 = digits(s[4:6])
	if !ok1 || !ok2 {
		return Stamp{}, nil, BadForm
	}
	if w.Hour > 23 || w.Minute > 59 {
		return Stamp{}, nil, BadClock
	}
	s = s[1+clock:]
	precision := ToMinute
	if s != "" && s[0] == ':' {
		precision = ToSecond
		if s, reason = w.parseSeconds(s[1:]); reason != "" {
			return Stamp{}, nil, reason
		}
	}
	if s == "" {
		at, skip := later(w, loc)
		return Stamp{At: at, Precision: precision}, skip, ""
	}
	offset, reason := parseOffset(s)
	if reason != "" {
		return Stamp{}, nil, reason
	}
	zone := time.UTC
	if offset != 0 {
		zone = time.FixedZone("", offset)
	}
	at := time.Unix(w.unix()-int64(offset), int64(w.Nanosecond)).In(zone)
	return Stamp{At: at, Precision: precision, Offset: true}, nil, ""
}

// parseSeconds reads "05" or "05.123" into w and returns the rest.
func (w *Wall) parseSeconds(s string) (rest string, reason Reason) {
	if len(s) < 2 {
		return "", BadForm
	}
	var ok bool
	if w.Second, ok = digits(s[:2]); !ok {
		return "", BadForm
	}
	switch {
	case w.Second == 60:
		return "", LeapSecond
	case w.Second > 60:
		return "", BadClock
	}
	s = s[2:]
	if s == "" || s[0] != '.' {
		return s, ""
	}
	n, unit := 0, 100_000_000
	for n = 1; n < len(s) && s[n]-'0' <= 9; n++ {
		w.Nanosecond += int(s[n]-'0') * unit
		unit /= 10
	}
	switch {
	case n == 1:
		return "", BadForm
	case n > 4:
		return "", TooFine
	}
	return s[n:], ""
}

// maxOffset is the bound of offsets in seconds: no zone ever was 16 hours from UTC.
const maxOffset = 16 * 60 * 60

// parseOffset reads Z or ±hh:mm into seconds east of UTC.
func parseOffset(s string) (int, Reason) {
	switch {
	case s == "Z":
		return 0, ""
	case s == "z":
		return 0, LowerCase
	case s[0] != '+' && s[0] != '-':
		return 0, BadForm
	case len(s) != len("+10:00") || s[3] != ':':
		return 0, BadOffset
	}
	hours, ok1 := digits(s[1:3])
	minutes, ok2 := digits(s[4:6])
	offset := hours*3600 + minutes*60
	if !ok1 || !ok2 || minutes > 59 || offset >= maxOffset {
		return 0, BadOffset
	}
	if s[0] == '-' {
		offset = -offset
	}
	return offset, ""
}

// FormatTime writes an instant as records keep it, with the offset that t's location has then: RFC 3339, seconds always,
// a fraction only if it is not zero, at most three digits and without zeros at its end, Z for an offset of zero. What is
// finer than a millisecond is cut off.
//
// Before zones kept whole minutes an offset could have seconds, for which RFC 3339 has no room. It is then written as
// the next whole minute to the east: the instant stays the same, and so does the date of a day's first instant.
func FormatTime(t time.Time) string { return string(AppendTime(make([]byte, 0, 29), t)) }

// AppendTime appends FormatTime(t) to dst and returns the longer slice.
func AppendTime(dst []byte, t time.Time) []byte {
	_, offset := t.Zone()
	minutes := floorDiv(offset+59, 60)
	dst = wallAt(t, minutes*60).appendTo(dst)
	if minutes == 0 {
		return append(dst, 'Z')
	}
	sign := byte('+')
	if minutes < 0 {
		sign, minutes = '-', -minutes
	}
	dst = appendDigits(append(dst, sign), minutes/60, 2)
	return appendDigits(append(dst, ':'), minutes%60, 2)
}

// wallAt is what a clock shows at t that runs offset seconds before UTC.
func wallAt(t time.Time, offset int) Wall {
	unix := int(t.Unix()) + offset
	day := floorDiv(unix, 24*60*60)
	unix -= day * 24 * 60 * 60
	return Wall{Date: FromDayNumber(day), Hour: unix / 3600, Minute: unix / 60 % 60, Second: unix % 60, Nanosecond: t.Nanosecond()}
}

// FormatRecorded writes the recordedtime of a record: UTC, always three decimals, Z. What is finer than a millisecond is
// cut off.
func FormatRecorded(t time.Time) string {
	w := wallAt(t, 0)
	ms := w.Nanosecond / 1e6
	w.Nanosecond = 0
	dst := w.appendTo(make([]byte, 0, 24))
	dst = appendDigits(append(dst, '.'), ms, 3)
	return string(append(dst, 'Z'))
}
