package events

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"latewood/events/canon"
	"latewood/events/civil"
)

// instant reads a time with offset (or without: the farm's zone) and returns it in the ledger's form. A date is refused.
func (c *check) instant(field, text string) string {
	if text == "" {
		return ""
	}
	stamp, err := civil.ParseTime(text, c.door.Zone)
	switch {
	case err != nil:
		c.badTime(field, text, err)
	case stamp.Precision == civil.ToDay:
		c.add(field, text, say("refuse.date-for-instant"), say("refuse.form.instant", "example", exampleOf(FormInstant)))
	default:
		return civil.FormatTime(stamp.At)
	}
	return text
}

// badTime says why a text is no time.
func (c *check) badTime(field, text string, err error) {
	var skipped *civil.SkippedError
	if errors.As(err, &skipped) {
		c.add(field, text, say("refuse.skipped-hour", "zone", c.door.Zone.String()), say("refuse.skipped-hour-instead"))
		return
	}
	c.add(field, text, badWhen("refuse.not.moment", err), say("refuse.form.moment", "example", exampleOf(FormMoment)))
}

// when checks dates and times inside data and writes them in the ledger's form.
func (c *check) when(v *canon.Value, form Form, path string) {
	switch form {
	case FormDate:
		d, err := civil.ParseDate(v.Str)
		if err != nil {
			c.add(path, v.Str, badWhen("refuse.not.date", err), say("refuse.form.date", "example", exampleOf(FormDate)))
			return
		}
		v.Str = d.String()
	case FormPartial:
		p, err := civil.ParsePartial(v.Str)
		if err != nil {
			c.add(path, v.Str, badWhen("refuse.not.partial", err), say("refuse.form.partial"))
			return
		}
		v.Str = p.String()
	case FormMoment:
		m, err := ParseMoment(v.Str, c.door.Zone)
		if err != nil {
			c.badTime(path, v.Str, err)
			return
		}
		v.Str = m.String()
	case FormSeason:
		season, err := civil.ParseSeason(v.Str)
		if err != nil {
			c.add(path, v.Str, badWhen("refuse.not.season", err), say("refuse.form.season", "example", exampleOf(FormSeason)))
			return
		}
		v.Str = string(season)
	case FormInstant:
		stamp, err := civil.ParseTime(v.Str, c.door.Zone)
		if err != nil {
			c.badTime(path, v.Str, err)
			return
		}
		v.Str = civil.FormatTime(stamp.At)
	}
}

// badWhen says what is wrong with the text of a date or time; plain is the key for what is none at all.
func badWhen(plain string, err error) Sentence {
	var form *civil.FormError
	if !errors.As(err, &form) || form.Reason == civil.BadForm {
		return say(plain) //words:keys refuse.not.
	}
	return say("refuse.time-" + string(form.Reason))
}

// A Moment is a time that may be known only to the day: `started`, `ended`, `from` and their like.
type Moment struct {
	At   time.Time  // the instant; the first instant of the day where only that is known
	Day  civil.Date // the civil day in the zone that it was read in
	Only bool       // only the day is known
}

// ParseMoment reads a time or a date as records write them; zone is the farm's.
func ParseMoment(s string, zone *time.Location) (Moment, error) {
	stamp, err := civil.ParseTime(s, zone)
	if err != nil {
		return Moment{}, err
	}
	return Moment{At: stamp.At, Day: civil.DateOf(stamp.At, zone), Only: stamp.Precision == civil.ToDay}, nil
}

// String writes the moment as records do.
func (m Moment) String() string {
	if m.Only {
		return m.Day.String()
	}
	return civil.FormatTime(m.At)
}

// Latest is the last instant that the moment can mean: the end of its day where only that is known.
func (m Moment) Latest(zone *time.Location) time.Time {
	if m.Only {
		return civil.DayEnd(m.Day, zone)
	}
	return m.At
}

// time finds the record's time, from `time` or the field that gives it, and refuses contradictions with both values
// named.
func (c *check) time(out *Accepted) {
	told := len(c.problems)
	at, ok := c.happened(out.Kind, out.Draft.Data, c.read, out.Draft.Time, "time", "data.")
	switch {
	case ok:
		out.Time = at
		out.Draft.Time = civil.FormatTime(at)
	case len(c.problems) == told && !c.timeIsTold(out.Kind, out.Draft.Data):
		instead := say("refuse.time-missing-instead", "example", exampleOf(FormMoment))
		if len(out.Kind.TimeFrom) > 0 {
			instead = say("refuse.time-missing-field", "field", "data."+out.Kind.TimeFrom[0])
		}
		c.add("time", nil, say(NeedsTime), instead)
	}
}

// timeIsTold reports whether a field that gives the time stands there, readable or not, or its lack was told already.
func (c *check) timeIsTold(k *Kind, data canon.Value) bool {
	if data.Kind != canon.Object {
		return true // it is refused for that
	}
	return slices.ContainsFunc(k.TimeFrom, func(name string) bool {
		return k.Shape.Field(name).Required || data.Get(name).Kind != canon.Absent
	})
}

// correctedTime holds the time that a correction states against the data that it brings, as time does for a new record.
// Without one the time of the version that it follows counts, which only the ledger knows.
func (c *check) correctedTime(data *canon.Value, said string) {
	inner, read := data.Get("data"), c.read.Get("data")
	if c.inner != nil && c.innerVersion < c.inner.Version {
		inner, read = c.innerData, c.innerRead
	}
	if c.inner == nil || inner.Kind != canon.Object {
		return
	}
	if at, ok := c.happened(c.inner, inner, read, said, "data.time", "data.data."); ok && said != "" {
		data.Set("time", canon.Text(civil.FormatTime(at)))
	}
}

// happened works out when it happened, from the text of a time field and the data. It is not ok where neither says it or
// what they say was refused. read is the data as it was read; field is the path of the time field, in that of the data's
// fields.
func (c *check) happened(k *Kind, data, read canon.Value, text, field, in string) (at time.Time, ok bool) {
	zone := c.door.Zone
	name, given, found := c.timeField(k, data)
	dayOnly := given.only
	switch {
	case text != "":
		stamp, err := civil.ParseTime(text, zone)
		if err != nil {
			if field == "time" {
				c.badTime(field, text, err)
			} // in data the field's own check has told it
			return at, false
		}
		at, dayOnly = stamp.At, stamp.Precision == civil.ToDay
		// The start of a day that a field knows only as a day: so it comes out of a ledger.
		dayOnly = dayOnly || given.only && at.Equal(given.at)
		// Only the first of the fields is the time itself. The others stand in where nothing better is known, and may be
		// earlier: pruning that started and whose end was not noted.
		if found && name == k.TimeFrom[0] && !given.holds(at, dayOnly, zone) {
			c.add(field, text, say("refuse.time-contradicts", "time", text, "field", in+name, "value", read.Get(name).Str),
				say("refuse.time-contradicts-instead", "field", in+name))
			return at, false
		}
		// On the day that a date names, a field with the time of day knows it better.
		if found && dayOnly && !given.only && civil.DateOf(at, zone) == civil.DateOf(given.at, zone) {
			at, dayOnly = given.at, false
		}
	case found:
		at = given.at
	default:
		return at, false
	}
	if k.Starts == "" || data.Get(k.Starts).Kind != canon.String {
		return at, true
	}
	started, err := ParseMoment(data.Get(k.Starts).Str, zone)
	if err != nil {
		return at, true // its own check has told it
	}
	// What is known to the day may be any time of it, so there only a later day contradicts.
	late := started.At.After(at)
	if late && (dayOnly || started.Only) {
		late = started.Day.After(civil.DateOf(at, zone))
	}
	if late {
		end := field
		if found && name != k.Starts {
			end = in + name
		}
		c.add(in+k.Starts, read.Get(k.Starts).Str, say("refuse.starts-after", "started", data.Get(k.Starts).Str, "time", civil.FormatTime(at)),
			say("refuse.starts-after-instead", "field", in+k.Starts, "end", end))
		return at, false
	}
	return at, true
}

// stated is what a data field says about the record's time: an instant, or a span of days known only as such.
type stated struct {
	at          time.Time // the instant, or the start of the first day
	only        bool      // only the days are known
	first, last civil.Date
}

// holds reports whether a time agrees with what a field states.
func (s stated) holds(at time.Time, dayOnly bool, zone *time.Location) bool {
	day := civil.DateOf(at, zone)
	if s.only {
		return !day.Before(s.first) && !day.After(s.last)
	}
	if dayOnly {
		return day == civil.DateOf(s.at, zone)
	}
	return at.Equal(s.at)
}

// timeField finds the first of the kind's time fields that stands, and what it states.
func (c *check) timeField(k *Kind, data canon.Value) (name string, s stated, ok bool) {
	for _, name := range k.TimeFrom {
		v := data.Get(name)
		if v.Kind != canon.String {
			continue
		}
		switch k.Shape.Field(name).Shape.Form {
		case FormPartial, FormDate:
			p, err := civil.ParsePartial(v.Str)
			if err != nil {
				return "", stated{}, false // its own check has told it
			}
			return name, stated{civil.DayStart(p.First, c.door.Zone), true, p.First, p.Last}, true
		default:
			m, err := ParseMoment(v.Str, c.door.Zone)
			if err != nil {
				return "", stated{}, false
			}
			return name, stated{m.At, m.Only, m.Day, m.Day}, true
		}
	}
	return "", stated{}, false
}

// RecordedAt writes a recordedtime: UTC, three decimals, Z; never less than the one before, which the caller sees to.
func RecordedAt(t time.Time) string { return civil.FormatRecorded(t) }

// DeviceClock reads the two times of a devicetime that Check let through.
func DeviceClock(s string) (written, sent time.Time, err error) {
	a, b, _ := strings.Cut(s, " ")
	if written, err = parseStored(a); err == nil {
		sent, err = parseStored(b)
	}
	if err != nil {
		return time.Time{}, time.Time{}, fmt.Errorf("events: devicetime %q: %w", s, err)
	}
	return written, sent, nil
}
