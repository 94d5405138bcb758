package events

import (
	"errors"
	"fmt"
	"time"

	"latewood/events/canon"
	"latewood/events/civil"
)

// instant reads a time with offset (or without: the farm's zone) and returns it in the ledger's form.
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
	why := say("refuse.time")
	var form *civil.FormError
	if errors.As(err, &form) {
		why = say("refuse.time-"+string(form.Reason), "text", text)
	}
	c.add(field, text, why, say("refuse.form.moment", "example", exampleOf(FormMoment)))
}

// when checks dates and times inside data and writes them in the ledger's form.
func (c *check) when(v *canon.Value, form Form, path string) {
	switch form {
	case FormDate:
		d, err := civil.ParseDate(v.Str)
		if err != nil {
			c.badDate(path, v.Str, err)
			return
		}
		v.Str = d.String()
	case FormPartial:
		p, err := civil.ParsePartial(v.Str)
		if err != nil {
			c.badDate(path, v.Str, err)
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
	case FormInstant:
		v.Str = c.instant(path, v.Str)
	}
}

func (c *check) badDate(path, text string, err error) {
	why := say("refuse.date")
	var form *civil.FormError
	if errors.As(err, &form) {
		why = say("refuse.time-"+string(form.Reason), "text", text)
	}
	c.add(path, text, why, say("refuse.form.date", "example", exampleOf(FormDate)))
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
	data := out.Draft.Data
	field, given, ok := c.timeField(out.Kind, data)
	var stamp civil.Stamp
	switch {
	case out.Draft.Time != "":
		var err error
		if stamp, err = civil.ParseTime(out.Draft.Time, c.door.Zone); err != nil {
			c.badTime("time", out.Draft.Time, err)
			return
		}
		out.Time = stamp.At
		if ok && !given.holds(out.Time, stamp.Precision == civil.ToDay, c.door.Zone) {
			c.add("time", out.Draft.Time, say("refuse.time-contradicts", "time", out.Draft.Time, "field", "data."+field, "value", data.Get(field).Str),
				say("refuse.time-contradicts-instead", "field", "data."+field))
			return
		}
		if ok && stamp.Precision == civil.ToDay {
			out.Time = given.at // the field knows it better than a date does
		}
	case ok:
		out.Time = given.at
	default:
		instead := say("refuse.time-missing-instead")
		if len(out.Kind.TimeFrom) > 0 {
			instead = say("refuse.time-missing-field", "field", "data."+out.Kind.TimeFrom[0])
		}
		c.add("time", nil, say(NeedsTime), instead)
		return
	}
	if name := out.Kind.Starts; name != "" {
		if text := data.Get(name); text.Kind == canon.String {
			started, err := ParseMoment(text.Str, c.door.Zone)
			// A start known only to the day may be any time of that day, so only a later day contradicts.
			late := err == nil && started.At.After(out.Time)
			if err == nil && late && (given.only || started.Only) && ok {
				late = started.Day.After(civil.DateOf(out.Time, c.door.Zone))
			}
			if late {
				c.add("data."+name, text.Str, say("refuse.starts-after", "started", text.Str, "time", civil.FormatTime(out.Time)),
					say("refuse.starts-after-instead", "field", "data."+name))
			}
		}
	}
	out.Draft.Time = civil.FormatTime(out.Time)
	out.Time = out.Time.Truncate(time.Millisecond)
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
		if k.Shape.Field(name).Shape.Form == FormPartial || k.Shape.Field(name).Shape.Form == FormDate {
			p, err := civil.ParsePartial(v.Str)
			if err != nil {
				continue
			}
			return name, stated{civil.DayStart(p.First, c.door.Zone), true, p.First, p.Last}, true
		}
		m, err := ParseMoment(v.Str, c.door.Zone)
		if err != nil {
			continue
		}
		return name, stated{m.At, m.Only, m.Day, m.Day}, true
	}
	return "", stated{}, false
}

// RecordedAt writes a recordedtime: UTC, three decimals, Z; never less than the one before, which the caller sees to.
func RecordedAt(t time.Time) string { return civil.FormatRecorded(t) }

// DeviceClock reads the two times of a devicetime that Check let through.
func DeviceClock(s string) (written, sent time.Time, err error) {
	var a, b string
	if _, err := fmt.Sscanf(s, "%s %s", &a, &b); err != nil {
		return time.Time{}, time.Time{}, fmt.Errorf("events: devicetime %q: %w", s, err)
	}
	if written, err = parseStored(a); err != nil {
		return time.Time{}, time.Time{}, err
	}
	sent, err = parseStored(b)
	return written, sent, err
}
