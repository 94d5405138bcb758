package weather

import (
	"math"
	"slices"
	"time"

	"latewood/events"
	"latewood/events/civil"
	"latewood/projections/meteo"
)

// By says what a row of the report is about.
type By string

// The ways to cut the report.
const (
	ByMonth By = "month" // the default
	ByDay   By = "day"
)

// A Query asks for a weather report. The zero value asks for every station, all its time, by month, with the defaults.
// Temperatures are in C.
type Query struct {
	Station     string     // "": all
	From, To    civil.Date // both inclusive; zero: from the first reading, to the last
	By          By
	Base, Upper *float64 // of degree-days; nil: DefaultBase, none
	Below       []float64
	MinBelow    []float64     // days with a minimum strictly below
	MaxBelow    []float64     // days with a maximum strictly below
	Method      string        // one of Methods; "": linear, and sine for what daily summaries answer
	MaxGap      time.Duration // longest silence to be bridged; 0: the setting weather-max-gap
	With        []string      // of WithET0 and so on
}

// Methods lists what Query.Method may be: of shorter readings count, hold, linear; of daily extremes the others.
func Methods() []string {
	return []string{"count", "hold", "linear", "sine", "average", "clipped", "double-sine"}
}

// Withs lists what Query.With may hold.
func Withs() []string { return []string{WithET0, WithChill, WithVPD, WithDewPoint, WithDeltaT} }

// plain reports whether the State answers the query.
func (q Query) plain() bool {
	return (q.Base == nil || *q.Base == DefaultBase) && q.Upper == nil && len(q.Below)+len(q.MinBelow)+len(q.MaxBelow)+len(q.With) == 0 &&
		q.Method == "" && q.MaxGap == 0
}

func (q Query) base() float64 {
	if q.Base == nil {
		return DefaultBase
	}
	return *q.Base
}

func (q Query) upper() float64 {
	if q.Upper == nil {
		return meteo.NoUpper()
	}
	return *q.Upper
}

// check refuses what cannot be answered, with an events.Problem whose Field is the name of the option.
func (q Query) check() error {
	problem := func(field string, value any, why, instead events.Sentence) error {
		return events.Problem{Field: field, Value: value, Why: why, Instead: instead}
	}
	temperatures := map[string][]float64{"base": {q.base()}, "below": q.Below, "min-below": q.MinBelow, "max-below": q.MaxBelow}
	if q.Upper != nil {
		temperatures["upper"] = []float64{*q.Upper}
	}
	for _, field := range []string{"base", "upper", "below", "min-below", "max-below"} {
		for _, v := range temperatures[field] {
			if math.IsNaN(v) || math.Abs(v) > 100 {
				return problem(field, v, sentence("weather.refuse-temperature"), sentence("weather.refuse-temperature-instead"))
			}
		}
	}
	switch {
	case q.By != "" && q.By != ByMonth && q.By != ByDay:
		return problem("by", string(q.By), sentence("weather.refuse-by"), sentence("weather.refuse-by-instead"))
	case q.upper() <= q.base():
		return problem("upper", q.upper(), sentence("weather.refuse-upper", "base", q.base()), sentence("weather.refuse-upper-instead", "base", q.base()))
	case q.Method != "" && !slices.Contains(Methods(), q.Method):
		return problem("method", q.Method, sentence("weather.refuse-method"), sentence("weather.refuse-one-of", "list", list(Methods())))
	case q.MaxGap < 0 || q.MaxGap > 0 && q.MaxGap < time.Millisecond || q.MaxGap > 48*time.Hour:
		return problem("max-gap", q.MaxGap.String(), sentence("weather.refuse-gap"), sentence("weather.refuse-gap-instead"))
	case !q.From.IsZero() && !q.To.IsZero() && q.To.Before(q.From):
		return problem("to", q.To.String(), sentence("weather.refuse-span", "from", q.From.String()), sentence("weather.refuse-span-instead"))
	}
	for _, name := range q.With {
		if !slices.Contains(Withs(), name) {
			return problem("with", name, sentence("weather.refuse-with"), sentence("weather.refuse-one-of", "list", list(Withs())))
		}
	}
	return nil
}

// sentence names a text of the catalogue.
//
//words:say
func sentence(key string, pairs ...any) events.Sentence {
	return events.Sentence{Key: key, Pairs: pairs}
}

func list(names []string) string {
	out := ""
	for i, n := range names {
		if i > 0 {
			out += ", "
		}
		out += n
	}
	return out
}

// unknown refuses a station of which there are no readings.
func unknown(station string, known []string) error {
	instead := sentence("weather.refuse-station-instead")
	if len(known) > 0 {
		instead = sentence("weather.refuse-one-of", "list", list(known))
	}
	return events.Problem{Field: "station", Value: station, Why: sentence("weather.refuse-station"), Instead: instead}
}
