package civil

import (
	"errors"
	"fmt"
	"time"
)

// What a caller branches on; the types below carry what a message needs.
var (
	// ErrForm means that a text is no date, time, season or turn. The error is a *FormError.
	ErrForm = errors.New("not in the expected form")
	// ErrSkipped means that clocks were moved over a local time or day, so that it never was. The error is a *SkippedError.
	ErrSkipped = errors.New("local time was skipped")
	// ErrZone means that a name is no time zone. The error is a *ZoneError.
	ErrZone = errors.New("no such time zone")
	// ErrSeason means that a season's name does not fit the turn of the crop year. The error is a *SeasonError.
	ErrSeason = errors.New("season does not fit the turn of the crop year")
)

// A What names the kind of text that a FormError is about.
type What string

// The kinds of text that this package reads.
const (
	DateText    What = "date"    // 2026-05-03
	PartialText What = "partial" // 2026-05-03, 2026-05 or 2026
	TimeText    What = "time"    // 2026-05-03T14:10:00+10:00
	SeasonText  What = "season"  // 2026 or 2025/26
	TurnText    What = "turn"    // 10-01
)

// A Reason says what is wrong with a text, so that a caller can say what to write instead.
type Reason string

// The reasons of a FormError.
const (
	BadForm     Reason = "form"      // not the shape of it at all: letters, wrong separators, missing or extra characters
	BadYear     Reason = "year"      // year 0000
	BadDate     Reason = "date"      // a month or day that the calendar does not have
	BadClock    Reason = "clock"     // an hour over 23 (also 24:00) or a minute or second over 59
	LeapSecond  Reason = "leap"      // second 60
	LowerCase   Reason = "case"      // t or z instead of T or Z
	TooFine     Reason = "fine"      // more than three digits behind the second
	BadOffset   Reason = "offset"    // an offset from UTC that is not Z or ±hh:mm, or reaches 16 hours
	BadSequence Reason = "sequence"  // a season whose second year does not follow its first
	NoSuchYear  Reason = "no-season" // a season outside of the years 1 to 9999
)

// A FormError says that Text is no What, and why. It Is ErrForm.
type FormError struct {
	What   What
	Text   string
	Reason Reason
}

func (e *FormError) Error() string {
	return fmt.Sprintf("civil: %s %q: %v (%s)", e.What, e.Text, ErrForm, e.Reason)
}

func (e *FormError) Unwrap() error { return ErrForm }

// A SkippedError says that Wall never was in the zone, because the clocks were moved over it. It Is ErrSkipped.
type SkippedError struct {
	Wall Wall
	Zone string // the location's name
	// At is the instant of the move, in the zone: what the clocks showed right after it. By is how far they moved.
	At time.Time
	By time.Duration
}

func (e *SkippedError) Error() string {
	return fmt.Sprintf("civil: %s in %s: %v: clocks moved on by %v to %s", e.Wall, e.Zone, ErrSkipped, e.By, FormatTime(e.At))
}

func (e *SkippedError) Unwrap() error { return ErrSkipped }

// A ZoneError says that Name is no time zone that a farm can be in. It Is ErrZone.
type ZoneError struct {
	Name string
	Err  error // what the time-zone database said, nil if it was not asked
}

func (e *ZoneError) Error() string {
	if e.Err == nil {
		return fmt.Sprintf("civil: zone %q: %v", e.Name, ErrZone)
	}
	return fmt.Sprintf("civil: zone %q: %v: %v", e.Name, ErrZone, e.Err)
}

func (e *ZoneError) Unwrap() error { return ErrZone }

// A SeasonError says that Season is not named as the crop years of Turn are. It Is ErrSeason.
type SeasonError struct {
	Season  Season
	Turn    Turn
	Instead Season // the same year by its right name
}

func (e *SeasonError) Error() string {
	return fmt.Sprintf("civil: season %q: %v on %s: %q", string(e.Season), ErrSeason, e.Turn, string(e.Instead))
}

func (e *SeasonError) Unwrap() error { return ErrSeason }
