package meteo

import (
	"fmt"
	"math"
)

// What is known of warmth and lychee flowering is reported, not foretold:
// cultivars differ.

// The line and the daily hours that reports for lychee use.
const (
	// LycheeLine, C (68 F): growers count hours below it (common practice).
	LycheeLine = 20.0
	// FewWarmHours and ManyWarmHours a day at or above 20 C: in one trial
	// plants with 2 h were mainly floral and plants with 8 h or more stayed
	// vegetative. Published: Menzel & Simpson, "Effect of temperatures above
	// 20 C on flowering in lychee" (Queensland DPI).
	FewWarmHours  = 2.0
	ManyWarmHours = 8.0
)

// A WarmClass sorts a day by its hours at or above 20 C.
type WarmClass uint8

// The classes.
const (
	FewWarm     WarmClass = iota // up to 2 h
	BetweenWarm                  // more than 2, less than 8 h
	ManyWarm                     // 8 h and more
)

// String gives a code: few, between, many.
func (c WarmClass) String() string {
	switch c {
	case FewWarm:
		return "few"
	case BetweenWarm:
		return "between"
	case ManyWarm:
		return "many"
	}
	return fmt.Sprintf("warm-class(%d)", uint8(c))
}

// Warmth sorts a day's hours at or above 20 C (0 to 25). Source of the limits:
// published, see the constants; the classes are a project rule. Hours outside
// that, or NaN, are [ErrRange] or [ErrNotFinite].
func Warmth(hoursAtOrAbove float64) (WarmClass, error) {
	if err := within("daily hours", hoursAtOrAbove, 0, 25, "h"); err != nil {
		return 0, err
	}
	switch {
	case hoursAtOrAbove <= FewWarmHours:
		return FewWarm, nil
	case hoursAtOrAbove < ManyWarmHours:
		return BetweenWarm, nil
	}
	return ManyWarm, nil
}

// CoolRun gives, for consecutive days of hours at or above 20 C, the number of
// days strictly under limit hours that the list ends with, and the longest
// such stretch in it. A day that is missing (NaN) ends a stretch: it is not
// known to have been cool. Source: project rule, with [ManyWarmHours] as the
// usual limit.
func CoolRun(hoursAtOrAbove []float64, limit float64) (current, longest int) {
	for _, h := range hoursAtOrAbove {
		if math.IsNaN(h) || h >= limit {
			current = 0
			continue
		}
		current++
		longest = max(longest, current)
	}
	return current, longest
}
