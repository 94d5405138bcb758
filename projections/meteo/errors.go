package meteo

import (
	"errors"
	"fmt"
)

// Errors that callers branch on. Every returned error wraps one of them and
// names the offending values.
var (
	// ErrNotFinite: an input is NaN or infinite where a number is needed.
	ErrNotFinite = errors.New("not a finite number")
	// ErrMinAboveMax: a daily minimum above the daily maximum. The day is to
	// be rejected, not swapped: usually the two belong to different days.
	ErrMinAboveMax = errors.New("daily minimum above daily maximum")
	// ErrUpper: an upper threshold that is not above the lower one. It is a
	// mistake in the settings, not in the weather.
	ErrUpper = errors.New("upper threshold not above lower threshold")
	// ErrRange: an input outside the range in which the formula holds.
	ErrRange = errors.New("outside the range of the formula")
	// ErrHumidity: relative humidity at or below 0 %, or above 105 %.
	ErrHumidity = errors.New("relative humidity is not usable")
	// ErrRules: [Rules] or other settings that contradict themselves.
	ErrRules = errors.New("settings contradict themselves")
	// ErrLength: parallel slices of different length.
	ErrLength = errors.New("parallel slices differ in length")
	// ErrNoSun: the sun does not both rise and set on that day.
	ErrNoSun = errors.New("no sunrise and sunset on this day")
)

// finite refuses NaN and infinities; what names the values for the message.
func finite(what string, values ...float64) error {
	for _, v := range values {
		if !usable(v) {
			// A copy for the message: the list itself then stays on the stack.
			return fmt.Errorf("meteo: %s: %v: %w", what, append([]float64(nil), values...), ErrNotFinite)
		}
	}
	return nil
}

// within refuses a value outside [lo, hi], NaN included.
func within(what string, v, lo, hi float64, unit string) error {
	if v >= lo && v <= hi {
		return nil
	}
	if !usable(v) {
		return fmt.Errorf("meteo: %s %v: %w", what, v, ErrNotFinite)
	}
	return fmt.Errorf("meteo: %s %g %s, usable from %g to %g: %w", what, v, unit, lo, hi, ErrRange)
}

// minMax refuses a day whose extremes are not numbers or are reversed.
func minMax(tmin, tmax float64) error {
	if err := finite("daily extremes", tmin, tmax); err != nil {
		return err
	}
	if tmin > tmax {
		return fmt.Errorf("meteo: minimum %g, maximum %g: %w", tmin, tmax, ErrMinAboveMax)
	}
	return nil
}

func isNoSun(err error) bool { return errors.Is(err, ErrNoSun) }
