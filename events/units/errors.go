package units

import (
	"errors"
	"fmt"
)

// What a caller branches on; the types below carry what a message needs.
var (
	// ErrUnit means that a code is not in the table.
	ErrUnit = errors.New("unknown unit")
	// ErrDimension means that a unit measures something else than is asked for.
	ErrDimension = errors.New("unit of another dimension")
	// ErrRange means that a value in base units lies beyond 2^53-1, or is no finite number.
	ErrRange = errors.New("value out of exact range")
)

// A UnitError says that Code is no unit of this package. It Is ErrUnit.
type UnitError struct {
	Code    string // as given
	Nearest string // the code that was probably meant, "" if there is no good guess
}

func (e *UnitError) Error() string {
	if e.Nearest == "" {
		return fmt.Sprintf("units: %q: %v", e.Code, ErrUnit)
	}
	return fmt.Sprintf("units: %q: %v, nearest is %q", e.Code, ErrUnit, e.Nearest)
}

func (e *UnitError) Unwrap() error { return ErrUnit }

// A DimensionError says that Code measures Got where Want is needed. It Is ErrDimension.
type DimensionError struct {
	Code      string
	Got, Want Dimension
}

func (e *DimensionError) Error() string {
	return fmt.Sprintf("units: %q: %v: it measures %s, not %s", e.Code, ErrDimension, e.Got, e.Want)
}

func (e *DimensionError) Unwrap() error { return ErrDimension }

// A RangeError says that Value has no exact base value. It Is ErrRange.
type RangeError struct {
	Value float64
	Code  string
}

func (e *RangeError) Error() string {
	return fmt.Sprintf("units: %g %s: %v", e.Value, e.Code, ErrRange)
}

func (e *RangeError) Unwrap() error { return ErrRange }
