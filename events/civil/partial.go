package civil

import "time"

// A Precision says how much of a date or time was stated.
type Precision string

// The precisions. Day is the precision of a whole Date.
const (
	ToYear   Precision = "year"
	ToMonth  Precision = "month"
	ToDay    Precision = "day"
	ToMinute Precision = "minute"
	ToSecond Precision = "second" // seconds, with or without a fraction
)

// A Partial is a date of which perhaps only the month or the year is known: the day, month or year in which a tree was
// planted. First and Last are the days that it can have been, both inclusive and the same where the day is known. The
// zero Partial is no date.
type Partial struct {
	First, Last Date
	Precision   Precision
}

// ParsePartial reads YYYY-MM-DD, YYYY-MM or YYYY. The error is a *FormError.
func ParsePartial(s string) (Partial, error) {
	full, precision := s, ToDay
	switch len(s) {
	case len("2006"):
		full, precision = s+"-01-01", ToYear
	case len("2006-01"):
		full, precision = s+"-01", ToMonth
	}
	first, reason := parseDate(full)
	if reason != "" {
		return Partial{}, &FormError{What: PartialText, Text: s, Reason: reason}
	}
	p := Partial{First: first, Last: first, Precision: precision}
	switch precision {
	case ToYear:
		p.Last = Date{Year: first.Year, Month: time.December, Day: 31}
	case ToMonth:
		p.Last.Day = daysIn(first.Year, first.Month)
	}
	return p, nil
}

// IsZero reports whether p is the zero Partial, which stands for "no date".
func (p Partial) IsZero() bool { return p == Partial{} }

// String returns the form that ParsePartial reads, with as much as was stated.
func (p Partial) String() string {
	s := p.First.String()
	switch p.Precision {
	case ToYear:
		return s[:len("2006")]
	case ToMonth:
		return s[:len("2006-01")]
	}
	return s
}

// MarshalText returns what String returns. The error is a *FormError where First is not a valid date.
func (p Partial) MarshalText() ([]byte, error) {
	if !p.First.Valid() {
		return nil, &FormError{What: PartialText, Text: p.String(), Reason: BadDate}
	}
	return []byte(p.String()), nil
}

// UnmarshalText reads what ParsePartial reads.
func (p *Partial) UnmarshalText(text []byte) error {
	got, err := ParsePartial(string(text))
	if err != nil {
		return err
	}
	*p = got
	return nil
}
