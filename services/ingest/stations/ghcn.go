package stations

import (
	"cmp"
	"slices"
	"strconv"
	"strings"
	"time"

	"latewood/events"
	"latewood/events/civil"
)

// A DayValue is one value of GHCN-Daily as it stands in the file.
type DayValue struct {
	ID      string // 11 characters, as USC00026481
	Date    civil.Date
	Element string // four characters, as TMAX
	// Value is in the element's own unit: tenths of a degree C for TMAX, TMIN and TAVG, tenths of a mm for PRCP, tenths of
	// m/s for AWND.
	Value int
	// The flags of measurement, quality and source; 0: blank.
	M, Q, S byte
	// ObsTime is when it was read, HHMM; empty: not known, and always so in a .dly file.
	ObsTime string
}

// ghcnMissing is what stands where there is no value.
const ghcnMissing = -9999

// Positions in a .dly record, from 0: readme of GHCN-Daily, section III.
const (
	dlyValues = 21 // where the first day begins
	dlyDay    = 8  // value in five columns, then the three flags
	dlyLength = dlyValues + 31*dlyDay
)

// ParseDLY reads a record of a .dly file: a station, month and element. Days without a value are left away. Blanks at the
// end of the line, which editors cut off, may be missing.
func ParseDLY(text string) ([]DayValue, events.Problems) {
	fail := func(field, value string, why, instead events.Sentence) ([]DayValue, events.Problems) {
		return nil, events.Problems{{Field: field, Value: shown(value), Why: why, Instead: instead}}
	}
	text = strings.TrimRight(text, " \t\r")
	if len(text) < dlyLength-3 || len(text) > dlyLength || !ascii(text) {
		return fail("", text, say("stations.dly-length", "want", dlyLength, "got", len(text)), say("stations.dly-instead"))
	}
	text += strings.Repeat(" ", dlyLength-len(text))
	id, element := text[:11], text[17:21]
	if !isID(id) || !isElement(element) {
		return fail("", text[:dlyValues], say("stations.dly-head"), say("stations.dly-instead"))
	}
	year, ok1 := digits(text[11:15])
	month, ok2 := digits(text[15:17])
	first := civil.Date{Year: year, Month: time.Month(month), Day: 1}
	if !ok1 || !ok2 || !first.Valid() {
		return fail("", text[11:17], say("stations.month"), say("stations.dly-instead"))
	}
	var out []DayValue
	for i := range 31 {
		cell := text[dlyValues+i*dlyDay:][:dlyDay]
		n, ok := whole(cell[:5])
		if !ok {
			return fail("", cell[:5], say("stations.dly-value", "day", i+1), say("stations.dly-instead"))
		}
		if n == ghcnMissing {
			continue
		}
		date := civil.Date{Year: year, Month: time.Month(month), Day: i + 1}
		if !date.Valid() {
			return fail("", cell[:5], say("stations.dly-day", "day", i+1, "month", text[11:15]+"-"+text[15:17]), say("stations.dly-instead"))
		}
		out = append(out, DayValue{
			ID: id, Date: date, Element: element, Value: n, M: flag(cell[5]), Q: flag(cell[6]), S: flag(cell[7]),
		})
	}
	return out, nil
}

// ParseDayLine reads a line of the by-year or by-station CSV: ID, YYYYMMDD, element, value, three flags, time of
// observation. missing: it says that there is no value.
func ParseDayLine(text string) (v DayValue, missing bool, problems events.Problems) {
	fail := func(field, value string, why, instead events.Sentence) (DayValue, bool, events.Problems) {
		return DayValue{}, false, events.Problems{{Field: field, Value: shown(value), Why: why, Instead: instead}}
	}
	cells := strings.Split(text, ",")
	for i := range cells {
		cells[i] = strings.Trim(strings.TrimSpace(cells[i]), `"`)
	}
	if len(cells) == 7 {
		cells = append(cells, "")
	}
	if len(cells) != 8 {
		return fail("", text, say("stations.daily-cells", "got", len(cells)), say("stations.daily-instead"))
	}
	v = DayValue{ID: cells[0], Element: cells[2], ObsTime: cells[7]}
	if !isID(v.ID) {
		return fail("id", cells[0], say("stations.daily-id"), say("stations.daily-instead"))
	}
	number, ok := digits(cells[1])
	v.Date = civil.Date{Year: number / 10000, Month: time.Month(number / 100 % 100), Day: number % 100}
	if !ok || len(cells[1]) != 8 || !v.Date.Valid() || v.Date.Year == 0 {
		return fail("date", cells[1], say("stations.daily-date"), say("stations.daily-instead"))
	}
	if !isElement(v.Element) {
		return fail("element", cells[2], say("stations.daily-element"), say("stations.daily-instead"))
	}
	if v.Value, ok = whole(cells[3]); !ok {
		return fail("value", cells[3], say("stations.daily-value"), say("stations.daily-instead"))
	}
	for i, into := range []*byte{&v.M, &v.Q, &v.S} {
		cell := cells[4+i]
		if len(cell) > 1 || !ascii(cell) {
			return fail("flags", cell, say("stations.daily-flag"), say("stations.daily-instead"))
		}
		if cell != "" {
			*into = flag(cell[0])
		}
	}
	if _, _, ok := v.clock(); !ok {
		return fail("obs-time", cells[7], say("stations.daily-clock"), say("stations.daily-instead"))
	}
	return v, v.Value == ghcnMissing, nil
}

// clock is the time of observation, 24:00 where none is known: the day then ends with the local day.
func (v DayValue) clock() (hour, minute int, ok bool) {
	if v.ObsTime == "" {
		return 24, 0, true
	}
	n, ok := digits(v.ObsTime)
	if len(v.ObsTime) != 4 || !ok || n > 2400 || n%100 > 59 {
		return 0, 0, false
	}
	return n / 100, n % 100, true
}

// span is what a value speaks for.
func (v DayValue) span(zone *time.Location) (end time.Time, length time.Duration, ok bool) {
	hour, minute, ok := v.clock()
	if !ok {
		return time.Time{}, 0, false
	}
	if hour == 24 {
		return civil.DayEnd(v.Date, zone), civil.DayLength(v.Date, zone), true
	}
	end, err1 := civil.Later(civil.Wall{Date: v.Date, Hour: hour, Minute: minute}, zone)
	start, err2 := civil.Later(civil.Wall{Date: v.Date.AddDays(-1), Hour: hour, Minute: minute}, zone)
	return end, end.Sub(start), err1 == nil && err2 == nil
}

// qualityFlags are the archive's reasons to reject a value. Source: readme of GHCN-Daily, QFLAG.
var qualityFlags = map[byte]string{
	'D': "duplicate", 'G': "gap", 'I': "internal", 'K': "streak", 'L': "length", 'M': "mega", 'N': "naught", 'O': "outlier",
	'R': "lagged", 'S': "spatial", 'T': "temporal", 'W': "snow", 'X': "bounds", 'Z': "manual",
}

// The elements that a record can hold, by their names in the archive, with the fields that they go to.
var dayFields = map[string]string{
	"TMAX": "airTemperatureMax", "TMIN": "airTemperatureMin", "TAVG": "airTemperature", "PRCP": "rain", "AWND": "windSpeed",
}

// quantityOf is a value in a record's unit.
func (v DayValue) quantityOf() *events.Quantity {
	switch v.Element {
	case "PRCP":
		return tenths(v.Value, "mm")
	case "AWND":
		return tenths(v.Value, "m/s")
	}
	return tenths(v.Value, "Cel")
}

// put gives a reading the value. clash: the reading has another one already.
func (v DayValue) put(w *events.WeatherRead) (clash bool) {
	var ok, same bool
	q := v.quantityOf()
	switch v.Element {
	case "TMAX":
		ok, same = merge(&w.AirTemperatureMax, q)
	case "TMIN":
		ok, same = merge(&w.AirTemperatureMin, q)
	case "TAVG":
		ok, same = merge(&w.AirTemperature, q)
	case "AWND":
		ok, same = merge(&w.WindSpeed, q)
	case "PRCP":
		if v.M == 'T' {
			yes := true
			if w.Rain != nil {
				return true
			}
			ok, same = merge(&w.RainTrace, &yes)
			break
		}
		if w.RainTrace != nil {
			return true
		}
		ok, same = merge(&w.Rain, q)
	}
	return !ok && !same
}

// mostDays limits what one file may hold of one station, in readings: a thousand years of days, read at two hours.
const mostDays = 800_000

// daily reads a file of GHCN-Daily. A day's elements stand on several lines, in an order that no document promises, so all
// of a station's days are kept until the end.
type daily struct {
	o       Options
	id      string
	days    map[dayKey]*Reading
	out     []Reading // lines that cannot be read
	several bool      // the file has more than one station, and nobody said which
	full    bool
	tally
}

// A dayKey tells the readings of a file apart.
type dayKey struct {
	date civil.Date
	obs  string
}

func newDaily(o Options) *daily { return &daily{o: o, id: o.ID, days: map[dayKey]*Reading{}} }

func (d *daily) Line(n int, text string) []Reading {
	d.tally.add(n, "")
	if strings.TrimSpace(text) == "" || d.several || d.full {
		return nil
	}
	if !strings.Contains(text, ",") {
		values, problems := ParseDLY(text)
		if len(problems) > 0 {
			d.out = append(d.out, Reading{Line: n, Problems: problems})
		}
		for _, v := range values {
			d.take(n, v)
		}
		return nil
	}
	first, _, _ := strings.Cut(text, ",")
	if n == 1 && strings.EqualFold(strings.Trim(strings.TrimSpace(first), `"`), "ID") {
		return nil // a heading, which some copies have
	}
	v, missing, problems := ParseDayLine(text)
	switch {
	case len(problems) > 0:
		d.out = append(d.out, Reading{Line: n, Problems: problems})
	case !missing:
		d.take(n, v)
	}
	return nil
}

// take files a value under its day.
func (d *daily) take(n int, v DayValue) {
	switch {
	case d.id == "":
		d.id = v.ID
	case d.id != v.ID && d.o.ID == "":
		d.several = true
		d.out = []Reading{bad(n, "", v.ID, say("stations.several", "one", d.id, "other", v.ID), say("stations.several-instead", "id", d.id))}
		return
	case d.id != v.ID:
		return
	}
	field, known := dayFields[v.Element]
	if !known {
		d.tally.add(n, v.Element)
		return
	}
	key := dayKey{v.Date, v.ObsTime}
	day := d.days[key]
	if day == nil {
		if len(d.days) == mostDays {
			d.full = true
			d.out = append(d.out, bad(n, "", nil, say("stations.too-many-days", "most", mostDays), say("stations.too-many-days-instead")))
			return
		}
		day = &Reading{Line: n}
		d.days[key] = day
	}
	leave := func(why events.Sentence) {
		q := v.quantityOf()
		day.LeftOut = append(day.LeftOut, LeftOut{n, events.Problem{
			Field: "data." + field, Value: number(q.Value) + " " + q.Unit, Why: why, Instead: say("stations.left-instead"),
		}})
	}
	switch {
	case v.Q != 0 && qualityFlags[v.Q] != "":
		leave(say("stations.quality", "day", v.Date.String(), "flag", string(v.Q), "meaning", say("stations.quality-"+qualityFlags[v.Q])))
	case v.Q != 0:
		leave(say("stations.quality-unknown", "day", v.Date.String(), "flag", string(v.Q)))
	case v.M == 'P':
		leave(say("stations.presumed", "day", v.Date.String()))
	default:
		if day.Data == nil {
			end, length, ok := v.span(d.o.zone())
			if !ok {
				d.out = append(d.out, bad(n, "time", v.Date.String()+" "+v.ObsTime, say("stations.skipped", "zone", d.o.zone().String()), say("stations.skipped-instead")))
				return
			}
			seconds := length.Seconds()
			day.Time, day.Data = end, &events.WeatherRead{Station: d.o.Station, Interval: &seconds}
		}
		if v.put(day.Data) {
			leave(say("stations.twice", "day", v.Date.String(), "element", v.Element))
		}
	}
}

func (d *daily) End() []Reading {
	if d.several {
		return d.out
	}
	out := d.out
	keys := make([]dayKey, 0, len(d.days))
	for k := range d.days {
		keys = append(keys, k)
	}
	slices.SortFunc(keys, func(a, b dayKey) int {
		return cmp.Or(cmp.Compare(d.days[a].Line, d.days[b].Line), a.date.Compare(b.date), cmp.Compare(a.obs, b.obs))
	})
	for _, k := range keys {
		if day := d.days[k]; day.Data != nil || len(day.LeftOut) > 0 {
			out = append(out, *day)
		}
	}
	slices.SortStableFunc(out, func(a, b Reading) int { return cmp.Compare(a.Line, b.Line) })
	if d.o.ID != "" && len(d.days) == 0 && len(d.out) == 0 {
		out = append(out, bad(max(d.last, 1), "", d.o.ID, say("stations.no-such-id", "id", d.o.ID), say("stations.no-such-id-instead")))
	}
	return append(out, d.tally.told()...)
}

// isID reports whether a text is a station's identification: 11 letters and digits, with - and _ in some networks.
func isID(s string) bool {
	return len(s) == 11 && !strings.ContainsFunc(s, func(r rune) bool {
		return !(r >= '0' && r <= '9' || r >= 'A' && r <= 'Z' || r == '_' || r == '-')
	})
}

// isElement reports whether a text is an element's name: four capitals and digits, as TMAX or WT01.
func isElement(s string) bool {
	return len(s) == 4 && !strings.ContainsFunc(s, func(r rune) bool { return !(r >= '0' && r <= '9' || r >= 'A' && r <= 'Z') })
}

// flag is a flag of one character, 0 where it is blank.
func flag(c byte) byte {
	if c == ' ' {
		return 0
	}
	return c
}

func ascii(s string) bool {
	return !strings.ContainsFunc(s, func(r rune) bool { return r < ' ' && r != '\t' || r > '~' })
}

// digits reads a text of ASCII digits, at most nine.
func digits(s string) (n int, ok bool) {
	if s == "" || len(s) > 9 || strings.ContainsFunc(s, func(r rune) bool { return r < '0' || r > '9' }) {
		return 0, false
	}
	n, err := strconv.Atoi(s)
	return n, err == nil
}

// whole reads a whole number of at most five characters with a sign, and blanks before it.
func whole(s string) (n int, ok bool) {
	s = strings.TrimLeft(s, " ")
	rest, negative := strings.CutPrefix(s, "-")
	if n, ok = digits(rest); !ok || len(rest) > 6 {
		return 0, false
	}
	if negative {
		n = -n
	}
	return n, true
}
