package stations

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"latewood/events"
	"latewood/events/civil"
	"latewood/events/units"
)

// A Format is how a station or an archive writes.
type Format string

// The formats that New knows.
const (
	GHCNDaily Format = "ghcn-daily"
	ISDLite   Format = "isd-lite"
	METAR     Format = "metar"
	SenML     Format = "senml"
)

// Formats lists all formats in the order in which they are told.
func Formats() []Format { return []Format{GHCNDaily, ISDLite, METAR, SenML} }

// Options say what the bytes do not.
type Options struct {
	// Station is the farm's code of the station that the readings are of.
	Station string
	// ID is the station's name in the file (USC00026481, KXYZ), where the file holds several; empty: the only one.
	ID string
	// Zone is the zone that the station's days end in. Nil is UTC.
	Zone *time.Location
	// Now is the moment that relative times of SenML count from: when the pack was received. Zero: there is none.
	Now time.Time
}

func (o Options) zone() *time.Location {
	if o.Zone == nil {
		return time.UTC
	}
	return o.Zone
}

// A Reading is what one line, day or moment gave.
type Reading struct {
	// Line is the line that it began on, from 1; in a pack of SenML that was given alone, 1.
	Line int
	// Time is when the reading ends, in the location whose offset the record shall have.
	Time time.Time
	// Data is the reading, its station filled in; nil where there is nothing to record.
	Data *events.WeatherRead
	// Problems say why the line cannot be read. Data is nil then.
	Problems events.Problems
	// LeftOut says what the line held and the reading does not.
	LeftOut []LeftOut
}

// A LeftOut is a value that was read and not taken.
type LeftOut struct {
	Line int // from 1
	events.Problem
}

// Draft is the reading as somebody proposes it to the ledger. It must have Data.
func (r Reading) Draft() events.Draft {
	return events.Draft{Type: "weather.read", Time: civil.FormatTime(r.Time), Data: events.Encode(*r.Data)}
}

// A Parser reads one file, line by line. Readings come as soon as their lines are complete; their Line never falls.
type Parser interface {
	// Line reads the next line, n from 1, without its line break.
	Line(n int, text string) []Reading
	// End is called once, behind the last line.
	End() []Reading
}

// New makes a Parser for a format. It is nil for what is no format.
func New(f Format, o Options) Parser {
	switch f {
	case GHCNDaily:
		return newDaily(o)
	case ISDLite:
		return &hourly{o: o}
	case METAR:
		return &reports{o: o}
	case SenML:
		return &packs{o: o}
	}
	return nil
}

// say names a sentence of the catalogue.
//
//words:say
func say(key string, pairs ...any) events.Sentence { return events.Sentence{Key: key, Pairs: pairs} }

// bad is a reading that is none, for one reason.
func bad(line int, field string, value any, why, instead events.Sentence) Reading {
	if s, ok := value.(string); ok {
		value = shown(s)
	}
	return Reading{Line: line, Problems: events.Problems{{Field: field, Value: value, Why: why, Instead: instead}}}
}

// shown is a text as it can be shown: valid, and short.
func shown(s string) string {
	const most = 80
	s = strings.ToValidUTF8(s, "\uFFFD")
	if len(s) > most {
		s = strings.ToValidUTF8(s[:most], "") + "..."
	}
	return s
}

// quantity is a measured value, never -0.
func quantity(value float64, unit string) *events.Quantity {
	if value == 0 {
		value = 0 // not -0, which would be written differently
	}
	return &events.Quantity{Value: value, Unit: unit}
}

// tenths makes a whole number of tenths a quantity: the double nearest to the decimal.
func tenths(n int, unit string) *events.Quantity { return quantity(float64(n)/10, unit) }

// A tally counts the values of which a record cannot hold any, to be told once.
type tally struct {
	counts map[string]int
	last   int // the last line seen
}

func (t *tally) add(line int, what string) {
	t.last = line
	if what == "" {
		return
	}
	if t.counts == nil {
		t.counts = map[string]int{}
	}
	// A file of another kind has any number of names; nobody reads so many.
	const most = 200
	if _, known := t.counts[what]; known || len(t.counts) < most {
		t.counts[what]++
	}
}

// sixHours ends the name of what is left out because the hour that it ends with has a reading of its own.
const sixHours = "-6h"

// told is the reading that only says what was counted.
func (t *tally) told() []Reading {
	if len(t.counts) == 0 {
		return nil
	}
	out := Reading{Line: t.last}
	for what, n := range t.counts {
		why := say("stations.no-field", "n", n, "what", shown(what))
		if strings.HasSuffix(what, sixHours) {
			why = say("stations.six-hours-many", "n", n, "what", strings.TrimSuffix(what, sixHours))
		}
		out.LeftOut = append(out.LeftOut, LeftOut{t.last, events.Problem{Value: shown(what), Why: why}})
	}
	slices.SortFunc(out.LeftOut, func(a, b LeftOut) int { return cmp.Compare(fmt.Sprint(a.Value), fmt.Sprint(b.Value)) })
	return []Reading{out}
}

// merge puts an element of one reading beside those of another. It reports false where the other has the element already;
// same then says whether with the same value.
func merge[T comparable](into **T, value *T) (ok, same bool) {
	switch {
	case value == nil:
		return true, true
	case *into == nil:
		*into = value
		return true, true
	}
	return false, **into == *value
}

// number writes a value as records do.
func number(f float64) string { return units.FormatNumber(f) }
