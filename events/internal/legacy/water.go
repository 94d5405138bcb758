package legacy

import (
	"errors"
	"strconv"
	"strings"

	"latewood/events/canon"
)

// ErrBothReadings says that data has a reading as version 1 wrote it and one as version 2 does.
var ErrBothReadings = errors.New("legacy: water.withheld: a reading as text, and readingInWords beside it")

// WaterWithheld1 makes a reading that is a number and a unit into a quantity. Any other text becomes readingInWords.
func WaterWithheld1(data []byte) ([]byte, error) {
	v, err := canon.Parse(data)
	if err != nil {
		return nil, err
	}
	reading := v.Get("reading")
	if reading.Kind != canon.String {
		return data, nil
	}
	if v.Get("readingInWords").Kind != canon.Absent {
		return nil, ErrBothReadings
	}
	v.Drop("reading")
	if value, unit, ok := measured(reading.Str); ok {
		v.Set("reading", canon.ObjectOf(canon.Member{Name: "unit", Value: canon.Text(unit)}, canon.Member{Name: "value", Value: canon.Num(value)}))
	} else {
		v.Set("readingInWords", reading)
	}
	return canon.Bytes(v), nil
}

// readings are the units that a reading of version 1 is taken at its word with, and the least and most that version 2 takes
// in them. Gauges of tensiometers are marked in centibars; one is a kilopascal.
var readings = []struct {
	said, code string
	low, high  float64
}{
	{"kPa", "kPa", -10000, 100000},
	{"cbar", "kPa", -10000, 100000},
	{"cb", "kPa", -10000, 100000},
	{"bar", "bar", -100, 1000},
	{"hPa", "hPa", -100000, 1000000},
	{"mbar", "mbar", -100000, 1000000},
	{"psi", "[psi]", -1450, 10000},
	{"%", "%", 0, 100},
	{"mm", "mm", 0, 100000},
	{"cm", "cm", 0, 10000},
}

// measured reads a number with a decimal point, and a unit behind it.
func measured(text string) (value float64, unit string, ok bool) {
	text = strings.TrimSpace(text)
	n := 0
	for n < len(text) && strings.IndexByte("-.0123456789", text[n]) >= 0 {
		n++
	}
	number, said := text[:n], strings.TrimSpace(text[n:])
	if number == "" || strings.HasPrefix(number, ".") || strings.HasSuffix(number, ".") || strings.Contains(number, "-.") {
		return 0, "", false
	}
	value, err := strconv.ParseFloat(number, 64)
	if err != nil {
		return 0, "", false
	}
	for _, r := range readings {
		if said == r.said && value >= r.low && value <= r.high {
			return value, r.code, true
		}
	}
	return 0, "", false
}
