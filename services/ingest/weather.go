package ingest

import (
	"errors"
	"time"

	"latewood/events/canon"
	"latewood/events/civil"
	"latewood/events/units"
)

// A logger is the clock of one station in one file.
type logger struct {
	series civil.Series
	before civil.Wall // the row before
	any    bool       // there was one
	turned bool       // the rows came into this repeated hour from behind
}

// reading gives a row of weather its station, its instant and, for a day, its interval.
func (t *table) reading(row *Row) {
	data := &row.Draft.Data
	if t.station != "" && data.Get("station").Kind == canon.Absent {
		data.Set("station", canon.Text(t.station))
	}
	text := row.Draft.Time
	if text == "" || len(row.Problems) > 0 {
		return // refused at the door, or already
	}
	stamp, err := civil.ParseTime(text, t.zone)
	var skipped *civil.SkippedError
	switch {
	case err != nil && !errors.As(err, &skipped):
		// no time at all: the door says so
	case len(text) == len("2006-01-02"):
		t.daily(row, text, err)
	case err == nil && stamp.Offset:
		row.Draft.Time = civil.FormatTime(stamp.At)
	default:
		t.wall(row, text)
	}
}

// daily makes a day's summary: it ends with the local day and speaks for all of it, 23 or 25 hours where clocks move.
func (t *table) daily(row *Row, text string, err error) {
	day, bad := civil.ParseDate(text)
	if err == nil {
		err = bad
	}
	if err != nil {
		row.skipped(t.zone)
		return
	}
	seconds := civil.DayLength(day, t.zone).Seconds()
	if stated := row.Draft.Data.Get("interval"); stated.Kind == canon.Number && stated.Num != seconds {
		row.add("data.interval", stated.Num, say("ingest.day-interval", "day", text, "zone", t.zone.String(), "seconds", units.FormatNumber(seconds)), say("ingest.day-interval-instead"))
		return
	}
	row.Draft.Data.Set("interval", canon.Num(seconds))
	row.Draft.Time = civil.FormatTime(civil.DayEnd(day, t.zone))
}

// wall finds the instant at which the logger's clock showed a time. A repeated hour is told by the order of the rows.
func (t *table) wall(row *Row, text string) {
	w, ok := wallOf(text)
	if !ok {
		return // no time at all: the door says so
	}
	station := row.Draft.Data.Get("station").Str
	l := t.loggers[station]
	if l == nil {
		l = &logger{series: civil.Series{Zone: t.zone}}
		t.loggers[station] = l
	}
	if !l.follows(w, t.zone) {
		row.add("time", row.read, say("ingest.backwards", "zone", t.zone.String()), say("ingest.backwards-instead"))
		return
	}
	at, err := l.series.Next(w)
	if err != nil {
		row.skipped(t.zone)
		return
	}
	row.Draft.Time = civil.FormatTime(at)
}

// follows reports whether the order of the rows can tell which pass of a repeated hour w is of. In a file with the newest row
// first it cannot: the order is upside down.
func (l *logger) follows(w civil.Wall, zone *time.Location) bool {
	before, any := l.before, l.any
	l.before, l.any = w, true
	if len(civil.Resolve(w, zone)) < 2 {
		l.turned = false
		return true
	}
	if any && w.Compare(before) < 0 && len(civil.Resolve(before, zone)) < 2 {
		l.turned = true
	}
	return !l.turned
}

// wallOf reads a time without offset, which ParseTime has found to be one.
func wallOf(text string) (civil.Wall, bool) {
	stamp, err := civil.ParseTime(text, time.UTC)
	if err != nil {
		return civil.Wall{}, false
	}
	return civil.WallOf(stamp.At, time.UTC), true
}

// skipped refuses a time that the clocks of the station's zone, which need not be the farm's, were moved over.
func (r *Row) skipped(zone *time.Location) {
	r.add("time", r.read, say("ingest.skipped", "zone", zone.String()), say("ingest.skipped-instead"))
}
