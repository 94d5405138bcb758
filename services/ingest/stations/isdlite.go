package stations

import (
	"strings"
	"time"

	"latewood/events"
	"latewood/events/civil"
)

// An Hour is a line of ISD-Lite. Nil: missing.
type Hour struct {
	At             time.Time // UTC; the values are those nearest to it
	AirTemperature *float64  // Cel
	DewPoint       *float64  // Cel
	Pressure       *float64  // hPa at sea level
	WindDirection  *float64  // deg; 0 with a wind speed of 0 is calm, north is 360
	WindSpeed      *float64  // m/s
	Sky            *int      // code of the sky's condition
	Rain1, Rain6   Amount    // of the last hour and the last six
}

// An Amount is rain in mm, or a trace of it: some, and less than what can be measured. Both empty: missing.
type Amount struct {
	MM    *float64
	Trace bool
}

func (a Amount) missing() bool { return a.MM == nil && !a.Trace }

// isdFields are where a line's values stand, positions from 1 with blanks before: document of ISD-Lite, 20 June 2006, as
// its lengths say and not as it misprints two positions.
var isdFields = [...]struct {
	first, last int
	name        string
	tenths      bool
}{
	{14, 19, "airTemperature", true},
	{20, 25, "dewPoint", true},
	{26, 31, "pressure", true},
	{32, 37, "windDirection", false},
	{38, 43, "windSpeed", true},
	{44, 49, "sky", false},
	{50, 55, "rain", true},
	{56, 61, "rain6", true},
}

const (
	isdLength  = 61
	isdMissing = -9999
	isdTrace   = -1
)

// ParseHour reads a line of ISD-Lite.
func ParseHour(text string) (Hour, events.Problems) {
	fail := func(field, value string, why events.Sentence) (Hour, events.Problems) {
		return Hour{}, events.Problems{{Field: field, Value: shown(value), Why: why, Instead: say("stations.isd-instead")}}
	}
	text = strings.TrimRight(text, " \t\r")
	if len(text) != isdLength || !ascii(text) {
		return fail("", text, say("stations.isd-length", "want", isdLength, "got", len(text)))
	}
	year, ok1 := digits(text[:4])
	month, ok2 := digits(text[5:7])
	day, ok3 := digits(text[8:10])
	hour, ok4 := digits(text[11:13])
	date := civil.Date{Year: year, Month: time.Month(month), Day: day}
	if !ok1 || !ok2 || !ok3 || !ok4 || text[4] != ' ' || text[7] != ' ' || text[10] != ' ' || !date.Valid() || year == 0 || hour > 23 {
		return fail("time", text[:13], say("stations.isd-time"))
	}
	h := Hour{At: civil.DayStart(date, time.UTC).Add(time.Duration(hour) * time.Hour)}
	var values [len(isdFields)]*float64
	var whats [len(isdFields)]int
	for i, f := range isdFields {
		cell := text[f.first-1 : f.last]
		n, ok := whole(cell)
		if !ok {
			return fail(f.name, strings.TrimSpace(cell), say("stations.isd-value"))
		}
		whats[i] = n
		if n == isdMissing {
			continue
		}
		v := float64(n)
		if f.tenths {
			v /= 10
		}
		values[i] = &v
	}
	h.AirTemperature, h.DewPoint, h.Pressure = values[0], values[1], values[2]
	h.WindDirection, h.WindSpeed = values[3], values[4]
	if values[5] != nil {
		h.Sky = &whats[5]
	}
	for i, into := range []*Amount{&h.Rain1, &h.Rain6} {
		switch n := whats[6+i]; {
		case n == isdMissing:
		case n == isdTrace:
			into.Trace = true
		case n < 0:
			return fail(isdFields[6+i].name, number(float64(n)), say("stations.isd-value"))
		default:
			into.MM = values[6+i]
		}
	}
	return h, nil
}

// hourly reads a file of ISD-Lite. Each line is a reading of the hour that ends at its stamp.
type hourly struct {
	o Options
	tally
}

func (p *hourly) Line(n int, text string) []Reading {
	p.tally.add(n, "")
	if strings.TrimSpace(text) == "" {
		return nil
	}
	h, problems := ParseHour(text)
	if len(problems) > 0 {
		return []Reading{{Line: n, Problems: problems}}
	}
	seconds := 3600.0
	w := &events.WeatherRead{Station: p.o.Station, Interval: &seconds}
	if h.AirTemperature != nil {
		w.AirTemperature = quantity(*h.AirTemperature, "Cel")
	}
	if h.WindSpeed != nil {
		w.WindSpeed = quantity(*h.WindSpeed, "m/s")
	}
	if h.WindDirection != nil {
		w.WindDirection = quantity(*h.WindDirection, "deg")
	}
	r := Reading{Line: n, Time: h.At}
	leave := func(field string, value float64, unit string, why events.Sentence) {
		r.LeftOut = append(r.LeftOut, LeftOut{n, events.Problem{Field: "data." + field, Value: number(value) + " " + unit, Why: why}})
	}
	if h.DewPoint != nil && !addDew(w, *h.DewPoint) {
		leave("relativeHumidity", *h.DewPoint, "Cel", say("stations.dew-alone"))
	}
	put(w, h.Rain1)
	held := w.AirTemperature != nil || w.WindSpeed != nil || w.WindDirection != nil || !h.Rain1.missing()
	switch {
	case h.Rain6.missing():
	case !held:
		seconds = 6 * 3600
		put(w, h.Rain6)
		held = true
	case h.Rain1.missing() && h.Rain6.Trace:
		leave("rainTrace", 0, "mm", say("stations.six-hours"))
	case h.Rain1.missing() && *h.Rain6.MM > 0:
		leave("rain", *h.Rain6.MM, "mm", say("stations.six-hours"))
	case h.Rain1.missing():
	default:
		p.tally.add(n, "rain"+sixHours)
	}
	if h.Pressure != nil {
		p.tally.add(n, "pressure")
	}
	if h.Sky != nil {
		p.tally.add(n, "sky")
	}
	switch {
	case held:
		r.Data = w
	case len(r.LeftOut) == 0:
		return nil
	}
	return []Reading{r}
}

func (p *hourly) End() []Reading { return p.tally.told() }

// put gives a reading an amount of rain.
func put(w *events.WeatherRead, a Amount) {
	if a.Trace {
		yes := true
		w.RainTrace = &yes
	}
	if a.MM != nil {
		w.Rain = quantity(*a.MM, "mm")
	}
}
