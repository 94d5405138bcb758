package civil

import (
	"cmp"
	"time"
)

// A Date is a day on the Gregorian calendar, without a zone. The zero Date is no day; IsZero tells it, and JSON's
// omitzero leaves it out. Dates can be compared with == and serve as keys of maps.
type Date struct {
	Year  int
	Month time.Month
	Day   int
}

// ParseDate reads YYYY-MM-DD and nothing else: four, two and two digits, a day that exists, years 0001 to 9999. The
// error is a *FormError.
func ParseDate(s string) (Date, error) {
	d, reason := parseDate(s)
	if reason != "" {
		return Date{}, &FormError{What: DateText, Text: s, Reason: reason}
	}
	return d, nil
}

func parseDate(s string) (Date, Reason) {
	if len(s) != len("2006-01-02") || s[4] != '-' || s[7] != '-' {
		return Date{}, BadForm
	}
	year, ok1 := digits(s[:4])
	month, ok2 := digits(s[5:7])
	day, ok3 := digits(s[8:])
	if !ok1 || !ok2 || !ok3 {
		return Date{}, BadForm
	}
	if year == 0 {
		return Date{}, BadYear
	}
	d := Date{Year: year, Month: time.Month(month), Day: day}
	if !d.Valid() {
		return Date{}, BadDate
	}
	return d, ""
}

// digits reads a short text of ASCII digits.
func digits(s string) (n int, ok bool) {
	for i := range len(s) {
		c := s[i] - '0'
		if c > 9 {
			return 0, false
		}
		n = n*10 + int(c)
	}
	return n, true
}

// DateOf returns the day that the calendar on the wall shows in loc at the instant t.
func DateOf(t time.Time, loc *time.Location) Date {
	year, month, day := t.In(loc).Date()
	return Date{Year: year, Month: month, Day: day}
}

// Valid reports whether the date exists, in the years 1 to 9999.
func (d Date) Valid() bool {
	return d.Year >= 1 && d.Year <= 9999 && d.Month >= time.January && d.Month <= time.December && d.Day >= 1 && d.Day <= daysIn(d.Year, d.Month)
}

func daysIn(year int, month time.Month) int {
	switch month {
	case time.April, time.June, time.September, time.November:
		return 30
	case time.February:
		if year%4 == 0 && (year%100 != 0 || year%400 == 0) {
			return 29
		}
		return 28
	}
	return 31
}

// IsZero reports whether d is the zero Date, which stands for "no date".
func (d Date) IsZero() bool { return d == Date{} }

// String returns YYYY-MM-DD. It is the form of the wire for a valid date and means nothing for others.
func (d Date) String() string { return string(d.appendTo(make([]byte, 0, 10))) }

func (d Date) appendTo(dst []byte) []byte {
	dst = appendDigits(dst, d.Year, 4)
	dst = appendDigits(append(dst, '-'), int(d.Month), 2)
	return appendDigits(append(dst, '-'), d.Day, 2)
}

// appendDigits writes the last width digits of n.
func appendDigits(dst []byte, n, width int) []byte {
	if n < 0 {
		n = -n
	}
	if width > 2 {
		dst = appendDigits(dst, n/100, width-2)
	}
	if width > 1 {
		dst = append(dst, byte('0'+n/10%10))
	}
	return append(dst, byte('0'+n%10))
}

// MarshalText returns the form that ParseDate reads. A date that is not Valid has none: the error is a *FormError.
func (d Date) MarshalText() ([]byte, error) {
	if !d.Valid() {
		return nil, &FormError{What: DateText, Text: d.String(), Reason: BadDate}
	}
	return d.appendTo(make([]byte, 0, 10)), nil
}

// UnmarshalText reads what ParseDate reads.
func (d *Date) UnmarshalText(text []byte) error {
	got, err := ParseDate(string(text))
	if err != nil {
		return err
	}
	*d = got
	return nil
}

// DayNumber returns the days from 1970-01-01 to d, negative before. Differences of day numbers are civil days, whatever
// the clocks did. A day or month beyond its end counts on: 2025-02-29 has the number of 2025-03-01.
func (d Date) DayNumber() int {
	// The year starts in March, so that the leap day is its last and months have a regular pattern of lengths: 153 days
	// for every five. An era is 400 years, 146,097 days.
	month := int(d.Month) - 3
	year := d.Year + floorDiv(month, 12)
	month -= floorDiv(month, 12) * 12
	era := floorDiv(year, 400)
	inEra := year - era*400
	dayOfYear := (153*month+2)/5 + d.Day - 1
	return era*146097 + inEra*365 + inEra/4 - inEra/100 + dayOfYear - epochDays
}

// epochDays is the number of days from 0000-03-01 to 1970-01-01.
const epochDays = 719468

// FromDayNumber is the date with that DayNumber.
func FromDayNumber(n int) Date {
	n += epochDays
	era := floorDiv(n, 146097)
	n -= era * 146097 // the day in its era
	inEra := (n - n/1460 + n/36524 - n/146096) / 365
	dayOfYear := n - (inEra*365 + inEra/4 - inEra/100)
	month := (5*dayOfYear + 2) / 153
	d := Date{Year: era*400 + inEra, Month: time.Month(month + 3), Day: dayOfYear - (153*month+2)/5 + 1}
	if d.Month > time.December {
		d.Month -= 12
		d.Year++
	}
	return d
}

func floorDiv(a, b int) int {
	q := a / b
	if a%b < 0 {
		q--
	}
	return q
}

// AddDays returns the date n civil days later, earlier if n is negative.
func (d Date) AddDays(n int) Date { return FromDayNumber(d.DayNumber() + n) }

// Sub returns the civil days from o to d: 1 if d is the day after o.
func (d Date) Sub(o Date) int { return d.DayNumber() - o.DayNumber() }

// Weekday returns the day of the week.
func (d Date) Weekday() time.Weekday {
	n := d.DayNumber() + int(time.Thursday) // 1970-01-01 was a Thursday
	return time.Weekday(n - floorDiv(n, 7)*7)
}

// Compare returns -1, 0 or +1 as d is before, the same as or after o. The zero Date is before all others.
func (d Date) Compare(o Date) int {
	return cmp.Or(cmp.Compare(d.Year, o.Year), cmp.Compare(d.Month, o.Month), cmp.Compare(d.Day, o.Day))
}

// Before reports whether d is an earlier day than o.
func (d Date) Before(o Date) bool { return d.Compare(o) < 0 }

// After reports whether d is a later day than o.
func (d Date) After(o Date) bool { return d.Compare(o) > 0 }
