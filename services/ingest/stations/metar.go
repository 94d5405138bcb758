package stations

import (
	"strings"
	"time"

	"latewood/events"
	"latewood/events/civil"
)

// A Group is a coded group of a METAR's remarks.
type Group struct {
	// Kind is 'T' (temperature and dew point of the hour), '1' and '2' (maximum and minimum of six hours), '4' (maximum and
	// minimum of 24 hours) or 'P' (rain since the last report of the hour).
	Kind byte
	// First and Second are in C: temperature and dew point, or maximum and minimum. Nil: not in the group.
	First, Second *float64
	// Rain is in mm, to the hundredth of an inch that the group has; a trace is less than that.
	Rain Amount
}

// ParseGroup reads a group of the remarks; false for any other. A temperature has a digit for its sign, 1 below zero, and
// three for its tenths, so -0.0 and 0.0 are both 0. Source: AFMAN 15-111 (12 March 2019), remarks 30 to 33, and for P the
// rain of the hour in hundredths of an inch.
func ParseGroup(text string) (Group, bool) {
	if text == "" || len(text) > 9 {
		return Group{}, false
	}
	g := Group{Kind: text[0]}
	code := text[1:]
	if _, ok := digits(code); !ok {
		return Group{}, false
	}
	var ok1, ok2 bool
	switch {
	case g.Kind == 'T' && (len(code) == 4 || len(code) == 8), g.Kind == '4' && len(code) == 8:
		g.First, ok1 = signed(code[:4])
		ok2 = true
		if len(code) == 8 {
			g.Second, ok2 = signed(code[4:])
		}
	case (g.Kind == '1' || g.Kind == '2') && len(code) == 4:
		g.First, ok1 = signed(code)
		ok2 = true
	case g.Kind == 'P' && len(code) == 4:
		n, _ := digits(code)
		g.Rain.Trace = n == 0
		if n > 0 {
			mm := float64(n*254) / 1000 // 0.01 in is 0.254 mm exactly
			g.Rain.MM = &mm
		}
		ok1, ok2 = true, true
	}
	return g, ok1 && ok2
}

// signed reads a digit for the sign and three for tenths.
func signed(code string) (*float64, bool) {
	n, ok := digits(code[1:])
	if !ok || code[0] != '0' && code[0] != '1' {
		return nil, false
	}
	v := float64(n) / 10
	if code[0] == '1' && n != 0 {
		v = -v
	}
	return &v, true
}

// A Report is what a METAR says that can be kept.
type Report struct {
	Station string // four letters and digits
	Special bool   // SPECI: between the hours
	// Day, Hour and Minute are its time in UTC. Month and year do not stand in it.
	Day, Hour, Minute int
	Groups            []Group // of its remarks
	Remarks           bool
}

// ParseReport reads a METAR on one line. false: it is none.
func ParseReport(text string) (Report, bool) {
	words := strings.Fields(strings.TrimSuffix(strings.TrimSpace(text), "="))
	var r Report
	for len(words) > 0 && (words[0] == "METAR" || words[0] == "SPECI" || words[0] == "COR") {
		r.Special = r.Special || words[0] == "SPECI"
		words = words[1:]
	}
	if len(words) < 2 || !isPlace(words[0]) || len(words[1]) != 7 || words[1][6] != 'Z' {
		return Report{}, false
	}
	n, ok := digits(words[1][:6])
	r.Station, r.Day, r.Hour, r.Minute = words[0], n/10000, n/100%100, n%100
	if !ok || r.Day < 1 || r.Day > 31 || r.Hour > 23 || r.Minute > 59 {
		return Report{}, false
	}
	for _, word := range words[2:] {
		if word == "RMK" {
			r.Remarks = true
			continue
		}
		if !r.Remarks {
			continue // the body has whole degrees, rounded: the remarks are read
		}
		if g, ok := ParseGroup(word); ok {
			r.Groups = append(r.Groups, g)
		}
	}
	return r, true
}

// isPlace reports whether a text is a location indicator: a letter and three letters or digits.
func isPlace(s string) bool {
	return len(s) == 4 && s[0] >= 'A' && s[0] <= 'Z' && !strings.ContainsFunc(s, func(r rune) bool {
		return !(r >= '0' && r <= '9' || r >= 'A' && r <= 'Z')
	})
}

// on finds the instant of a report near a day: its day of the month must be that day or one beside it.
func (r Report) on(day civil.Date) (time.Time, bool) {
	for _, d := range []civil.Date{day, day.AddDays(-1), day.AddDays(1)} {
		if d.Day == r.Day {
			return time.Date(d.Year, d.Month, d.Day, r.Hour, r.Minute, 0, 0, time.UTC), true
		}
	}
	return time.Time{}, false
}

// dated takes the date off the beginning of a line: 2026/01/15 18:53, 2026-01-15T18:53Z or 202601151853, and what follows.
func dated(text string) (day civil.Date, rest string, ok bool) {
	text = strings.TrimSpace(text)
	word, rest, _ := strings.Cut(text, " ")
	if n, isNumber := digits8(word); isNumber {
		day = civil.Date{Year: n / 10000, Month: time.Month(n / 100 % 100), Day: n % 100}
	} else if len(word) >= 10 {
		var err error
		if day, err = civil.ParseDate(strings.ReplaceAll(word[:10], "/", "-")); err != nil {
			return civil.Date{}, text, false
		}
		if clock, after, _ := strings.Cut(strings.TrimSpace(rest), " "); len(word) == 10 && strings.Contains(clock, ":") {
			rest = after
		}
	}
	if !day.Valid() || day.Year == 0 {
		return civil.Date{}, text, false
	}
	return day, strings.TrimSpace(rest), true
}

// digits8 reads the date of YYYYMMDDHHMM.
func digits8(s string) (int, bool) {
	if len(s) != 12 {
		return 0, false
	}
	n, ok1 := digits(s[:8])
	_, ok2 := digits(s[8:])
	return n, ok1 && ok2
}

// reports reads a file of METARs, one a line. The month stands before the report on its line, or on a line of its own
// before it.
type reports struct {
	o     Options
	id    string
	day   civil.Date // the last that was stated
	mixed bool       // more than one station, and nobody said which
	bare  int        // reports without a temperature in their remarks
	held  []Reading  // until it is known that the file has one station, where none was named
	tally
}

func (p *reports) Line(n int, text string) []Reading {
	out := p.line(n, text)
	if p.o.ID != "" {
		return out
	}
	if p.mixed && len(out) > 0 {
		p.held = nil
	}
	p.held = append(p.held, out...)
	return nil
}

func (p *reports) line(n int, text string) []Reading {
	p.tally.add(n, "")
	if p.mixed || strings.TrimSpace(text) == "" {
		return nil
	}
	if day, rest, ok := dated(text); ok {
		p.day = day
		if text = rest; text == "" {
			return nil
		}
	}
	r, ok := ParseReport(text)
	if !ok {
		return []Reading{bad(n, "", text, say("stations.metar"), say("stations.metar-instead"))}
	}
	if p.id == "" && p.o.ID == "" {
		p.id = r.Station
	}
	switch {
	case p.o.ID != "" && r.Station != p.o.ID:
		return nil
	case p.o.ID == "" && r.Station != p.id:
		p.mixed = true
		return []Reading{bad(n, "", r.Station, say("stations.several", "one", p.id, "other", r.Station), say("stations.several-instead", "id", p.id))}
	case p.day.IsZero():
		return []Reading{bad(n, "time", text, say("stations.metar-month"), say("stations.metar-month-instead"))}
	}
	at, ok := r.on(p.day)
	if !ok {
		return []Reading{bad(n, "time", text, say("stations.metar-day", "day", r.Day, "date", p.day.String()), say("stations.metar-month-instead"))}
	}
	return p.readings(n, r, at)
}

// readings makes a report's groups readings: one of the moment or the hour, and one for each longer span.
func (p *reports) readings(n int, r Report, at time.Time) []Reading {
	blank := func(seconds float64) *events.WeatherRead {
		w := &events.WeatherRead{Station: p.o.Station}
		if seconds > 0 {
			w.Interval = &seconds
		}
		return w
	}
	now, six, day := blank(0), blank(6*3600), blank(24*3600)
	var left []LeftOut
	leave := func(field, value string, why events.Sentence) {
		left = append(left, LeftOut{n, events.Problem{Field: "data." + field, Value: value, Why: why}})
	}
	clash := false
	set := func(into **events.Quantity, v *float64) {
		if v != nil {
			ok, same := merge(into, quantity(*v, "Cel"))
			clash = clash || !ok && !same
		}
	}
	var dew *float64
	for _, g := range r.Groups {
		switch g.Kind {
		case 'T':
			set(&now.AirTemperature, g.First)
			dew = g.Second
		case '1':
			set(&six.AirTemperatureMax, g.First)
		case '2':
			set(&six.AirTemperatureMin, g.First)
		case '4':
			set(&day.AirTemperatureMax, g.First)
			set(&day.AirTemperatureMin, g.Second)
		case 'P':
			if r.Special {
				leave("rain", "P", say("stations.special-rain"))
				continue
			}
			seconds := 3600.0
			now.Interval = &seconds
			put(now, g.Rain)
		}
	}
	if clash {
		return []Reading{bad(n, "", nil, say("stations.metar-twice"), say("stations.metar-instead"))}
	}
	if dew != nil && !addDew(now, *dew) {
		leave("relativeHumidity", number(*dew)+" Cel", say("stations.dew-alone"))
	}
	hour := now.AirTemperature != nil || now.Rain != nil || now.RainTrace != nil
	if hour {
		for field, q := range map[string]*events.Quantity{"airTemperatureMax": six.AirTemperatureMax, "airTemperatureMin": six.AirTemperatureMin} {
			if q != nil {
				p.tally.add(n, field+sixHours)
			}
		}
		six.AirTemperatureMax, six.AirTemperatureMin = nil, nil
	}
	if now.AirTemperature == nil {
		p.bare++
	}
	var out []Reading
	for _, w := range []*events.WeatherRead{now, six, day} {
		if w != now || hour {
			if w == now || w.AirTemperatureMax != nil || w.AirTemperatureMin != nil {
				out = append(out, Reading{Line: n, Time: at, Data: w})
			}
		}
	}
	switch {
	case len(left) > 0 && len(out) > 0:
		out[0].LeftOut = left
	case len(left) > 0:
		out = []Reading{{Line: n, LeftOut: left}}
	}
	return out
}

func (p *reports) End() []Reading {
	if p.mixed {
		return p.held
	}
	out := append(p.held, p.tally.told()...)
	if p.bare > 0 {
		out = append(out, Reading{Line: p.last, LeftOut: []LeftOut{{p.last, events.Problem{Why: say("stations.metar-bare", "n", p.bare)}}}})
	}
	return out
}
