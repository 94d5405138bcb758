package civil

import (
	"cmp"
	"strings"
	"time"
)

// A Turn is the day of the year on which the crop year turns: its first day.
type Turn struct {
	Month time.Month
	Day   int
	// Slash says that crop years are named by both calendar years ("2025/26"), as south of the equator, not by the one
	// that they end in ("2026"). A turn on 1 January is named by its year in either case.
	Slash bool
}

// DefaultTurn returns the turn of a farm that has set no other: 1 October for latitudes of 0 and above, 1 April south
// of it (latitude in degrees, north positive). Source: the catalogue of records, "Seasons"; common practice, so that
// bloom and harvest fall into one crop year.
func DefaultTurn(latitude float64) Turn {
	if latitude < 0 {
		return Turn{Month: time.April, Day: 1, Slash: true}
	}
	return Turn{Month: time.October, Day: 1}
}

// ParseTurn reads MM-DD, a day that every year has, or YYYY-MM-DD, of which the year does not count. The error is a
// *FormError.
func ParseTurn(s string, slash bool) (Turn, error) {
	full := s
	if len(s) == len("01-02") {
		full = "2001-" + s // no leap year: 29 February is no day to turn on
	}
	d, reason := parseDate(full)
	if reason == "" && d.Month == time.February && d.Day == 29 {
		reason = BadDate
	}
	if reason != "" {
		return Turn{}, &FormError{What: TurnText, Text: s, Reason: reason}
	}
	return Turn{Month: d.Month, Day: d.Day, Slash: slash}, nil
}

// Valid reports whether the turn is a day that every year has.
func (t Turn) Valid() bool {
	return t.Month >= time.January && t.Month <= time.December && t.Day >= 1 && t.Day <= daysIn(2001, t.Month)
}

// String returns the form that ParseTurn reads, MM-DD.
func (t Turn) String() string {
	return (Date{Year: 1, Month: t.Month, Day: t.Day}).String()[len("0001-"):]
}

// calendar reports whether crop years are calendar years.
func (t Turn) calendar() bool { return t.Month == time.January && t.Day == 1 }

// slash reports whether seasons are named by two years.
func (t Turn) slash() bool { return t.Slash && !t.calendar() }

// Season returns the name of the crop year that ends in the calendar year end, "" beyond the years 1 to 9999.
func (t Turn) Season(end int) Season { return seasonOf(end, t.slash()) }

func seasonOf(end int, slash bool) Season {
	if end < 1 || end > 9999 {
		return ""
	}
	if !slash {
		return Season(appendDigits(nil, end, 4))
	}
	return Season(appendDigits(append(appendDigits(nil, end-1, 4), '/'), end, 2))
}

// A Season is the name of a crop year, "2026" or "2025/26". The zero Season is none.
type Season string

// CropYear returns the crop year that d falls in. With the northern turn 2025-10-01 to 2026-09-30 are "2026"; with the
// southern one 2025-04-01 to 2026-03-31 are "2025/26". A date that is not Valid falls in none: "".
func CropYear(d Date, t Turn) Season {
	if !d.Valid() {
		return ""
	}
	end := d.Year
	if !t.calendar() && (d.Month > t.Month || d.Month == t.Month && d.Day >= t.Day) {
		end++
	}
	return t.Season(end)
}

// ParseSeason reads YYYY or YYYY/YY, where YY are the last digits of the year that follows. It does not know which of
// the two a farm uses; SeasonSpan does. The error is a *FormError.
func ParseSeason(s string) (Season, error) {
	if _, reason := Season(s).end(); reason != "" {
		return "", &FormError{What: SeasonText, Text: s, Reason: reason}
	}
	return Season(s), nil
}

// end reads the calendar year that the season ends in.
func (s Season) end() (int, Reason) {
	first, second, slash := strings.Cut(string(s), "/")
	year, ok := digits(first)
	if !ok || len(first) != 4 {
		return 0, BadForm
	}
	if slash {
		short, ok := digits(second)
		if !ok || len(second) != 2 {
			return 0, BadForm
		}
		if year++; year%100 != short {
			return 0, BadSequence
		}
	}
	if year < 1 || year > 9999 {
		return 0, NoSuchYear
	}
	return year, ""
}

// Valid reports whether s is a name that ParseSeason reads.
func (s Season) Valid() bool { _, reason := s.end(); return reason == "" }

// End returns the calendar year that the season ends in, 0 if s is not Valid.
func (s Season) End() int { year, _ := s.end(); return year }

func (s Season) slash() bool { return strings.Contains(string(s), "/") }

// Next returns the season after s, named in the same way; "" if s is not Valid or has none.
func (s Season) Next() Season { return s.move(1) }

// Prev returns the season before s, named in the same way; "" if s is not Valid or has none.
func (s Season) Prev() Season { return s.move(-1) }

func (s Season) move(by int) Season {
	end, reason := s.end()
	if reason != "" {
		return ""
	}
	return seasonOf(end+by, s.slash())
}

// Compare returns -1, 0 or +1 as s ends before o, is the same, or ends after it; of two that end in one year the shorter
// name comes first.
func (s Season) Compare(o Season) int {
	return cmp.Or(cmp.Compare(s.End(), o.End()), cmp.Compare(len(s), len(o)), strings.Compare(string(s), string(o)))
}

// SeasonSpan returns the first and the last day of a season, both inclusive. The error is a *FormError for what is no
// season, and a *SeasonError, with the right name, for one that is not named as the turn names it: "2026" south of the
// equator could mean either of two years.
func SeasonSpan(s Season, t Turn) (from, to Date, err error) {
	end, reason := s.end()
	if reason != "" {
		return Date{}, Date{}, &FormError{What: SeasonText, Text: string(s), Reason: reason}
	}
	if s.slash() != t.slash() {
		return Date{}, Date{}, &SeasonError{Season: s, Turn: t, Instead: t.Season(end)}
	}
	if t.calendar() {
		return Date{Year: end, Month: time.January, Day: 1}, Date{Year: end, Month: time.December, Day: 31}, nil
	}
	// Through day numbers, so that a turn on 29 February, which no setting may have, still gives days that exist.
	start := Date{Year: end - 1, Month: t.Month, Day: t.Day}
	next := Date{Year: end, Month: t.Month, Day: t.Day}
	return start.AddDays(0), next.AddDays(-1), nil
}
