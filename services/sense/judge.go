package sense

import (
	"slices"
	"strings"
	"time"

	"latewood/events"
	"latewood/events/civil"
	"latewood/services/ingest/stations"
)

// What a message can be refused for.
const (
	Clock  = "clock"  // its times are suspect
	Form   = "form"   // it is no SenML, or says nothing that is known
	Flood  = "flood"  // the hour has had enough readings
	Record = "record" // the recorder has something against it
)

// A mind is what is remembered of a station.
type mind struct {
	newest  time.Time     // of all readings that were believed
	lag     time.Duration // how far the newest reading of a message lay behind our clock, also of a refused one
	lagSeen time.Time     // when the first message came in since which that has stayed the same
	moments map[moment]*events.WeatherRead
	order   []moment      // the oldest first
	hours   map[int64]int // readings by hour since 1970
}

func newMind() *mind { return &mind{moments: map[moment]*events.WeatherRead{}, hours: map[int64]int{}} }

// remembered is how many moments of a station are remembered.
const remembered = 2048

// A moment is what a reading of a station speaks for, in milliseconds since 1970.
type moment int64

// A proposed is a reading that may come of several messages.
type proposed struct {
	station string
	at      time.Time
	data    *events.WeatherRead
	from    []int         // the messages
	late    time.Duration // after its time, where that is longer than Rules.Late
}

func (p proposed) proposal() Proposal {
	return Proposal{
		Station: p.station, Device: "mqtt-" + p.station,
		Draft: stations.Reading{Time: p.at, Data: p.data}.Draft(),
	}
}

// A window is what is made of messages that came in together.
type window struct {
	messages  []Message
	proposals []proposed
	refusals  []Refusal
	leftOut   []LeftOut
	repeats   int
	recorded  bool // the recorder has answered
	finished  bool // written down and counted
}

func (w *window) refuse(m Message, station, kind string, why, instead events.Sentence) {
	w.refusals = append(w.refusals, newRefusal(m, station, kind, why, instead))
}

// say names a sentence of the catalogue.
//
//words:say
func say(key string, pairs ...any) events.Sentence { return events.Sentence{Key: key, Pairs: pairs} }

// stationOf is the station that a topic names: its second level.
func stationOf(topic string) (string, bool) {
	levels := strings.Split(topic, "/")
	if len(levels) < 2 || levels[0] != "wx" {
		return "", false
	}
	return levels[1], events.IsCode(levels[1])
}

// judge makes messages readings, or refuses them.
func (s *Service) judge(messages []Message) *window {
	w := &window{messages: messages}
	for i, m := range messages {
		station, ok := stationOf(m.Topic)
		if !ok {
			w.refuse(m, "", Form, say("sense.topic", "topic", clipped(m.Topic)), say("sense.topic-instead"))
			continue
		}
		readings, fault := w.read(m, station)
		if fault != nil {
			w.refuse(m, station, Form, fault.Why, fault.Instead)
			continue
		}
		known := s.minds[station]
		if known == nil {
			known = newMind()
			s.minds[station] = known
		}
		readings = slices.DeleteFunc(readings, func(r stations.Reading) bool { return !known.news(r) })
		if len(readings) == 0 {
			w.repeats++
			continue
		}
		rules := s.rules(station)
		kind, why, instead := believe(known, m, readings, rules)
		if why.Key != "" {
			w.refuse(m, station, kind, why, instead)
			continue
		}
		for _, r := range readings {
			w.add(proposed{station, r.Time, r.Data, []int{i}, rules.late(m.At.Sub(r.Time))})
		}
	}
	return w
}

// read makes a message readings. The fault says why there are none.
func (w *window) read(m Message, station string) (out []stations.Reading, fault *events.Problem) {
	if len(m.Body) > mostBody {
		return nil, &events.Problem{Why: say("sense.large", "most", mostBody), Instead: say("sense.large-instead")}
	}
	for _, r := range stations.ReadSenML(m.Body, stations.Options{Station: station, Now: m.At}) {
		switch {
		case len(r.Problems) > 0:
			return nil, &r.Problems[0]
		case r.Data != nil:
			out = append(out, r)
		}
		for _, l := range r.LeftOut {
			w.leave(station, m, l.Problem)
			if fault == nil {
				fault = &l.Problem
			}
		}
	}
	if len(out) > 0 {
		return out, nil
	}
	if fault == nil {
		fault = &events.Problem{Why: say("sense.nothing"), Instead: say("stations.senml-instead")}
	}
	return nil, fault
}

// mostBody is the longest pack of a station, in bytes; one with ten elements takes about five hundred.
const mostBody = 64 << 10

// news takes out of a reading what is known with the same value, and reports whether anything is left.
func (k *mind) news(r stations.Reading) bool {
	before := k.moments[moment(r.Time.UnixMilli())]
	if before == nil {
		return true
	}
	return subtract(r.Data, before)
}

// believe looks at the times of a message's readings, which are in order. A Sentence says why they are not believed.
func believe(k *mind, m Message, readings []stations.Reading, rules Rules) (kind string, why, instead events.Sentence) {
	oldest, newest := readings[0].Time, readings[len(readings)-1].Time
	lag := m.At.Sub(newest)
	if k.lagSeen.IsZero() || (lag-k.lag).Abs() > sameLag {
		k.lag, k.lagSeen = lag, m.At
	}
	switch {
	case oldest.Before(rules.Reset):
		return Clock, say("sense.reset", "time", stamp(oldest)), say("sense.clock-instead")
	case newest.After(m.At.Add(rules.Ahead)):
		return Clock, say("sense.ahead", "time", stamp(newest), "by", rounded(-lag)), say("sense.clock-instead")
	case newest.Before(k.newest.Add(-rules.Back)):
		return Clock, say("sense.back", "time", stamp(newest), "newest", stamp(k.newest)), say("sense.back-instead")
	case k.newest.IsZero() && lag > rules.Oldest:
		return Clock, say("sense.old", "time", stamp(newest)), say("sense.back-instead")
	case lag > rules.Behind && m.At.Sub(k.lagSeen) >= apart:
		return Clock, say("sense.behind", "by", rounded(lag)), say("sense.clock-instead")
	}
	for _, r := range readings {
		if k.hours[hourOf(r.Time)] >= rules.PerHour {
			return Flood, say("sense.flood", "most", rules.PerHour, "time", stamp(r.Time)), say("sense.flood-instead")
		}
	}
	for _, r := range readings {
		if k.moments[moment(r.Time.UnixMilli())] == nil {
			k.hours[hourOf(r.Time)]++
		}
	}
	if newest.After(k.newest) {
		k.newest = newest
		for hour := range k.hours {
			if hour < hourOf(newest.Add(-rules.Back-time.Hour)) {
				delete(k.hours, hour)
			}
		}
	}
	return "", events.Sentence{}, events.Sentence{}
}

// A lag stays the same while it changes by no more than sameLag; that says something about a clock only if time has moved on
// by apart in the meantime.
const (
	sameLag = 30 * time.Second
	apart   = time.Minute
)

func hourOf(t time.Time) int64 { return t.Unix() / 3600 }

func stamp(t time.Time) string { return civil.FormatTime(t.UTC().Truncate(time.Second)) }

func rounded(d time.Duration) string { return d.Round(time.Second).String() }

func clipped(s string) string {
	s = strings.ToValidUTF8(s, "\uFFFD")
	if len(s) > 80 {
		s = strings.ToValidUTF8(s[:80], "") + "..."
	}
	return s
}

// add puts a reading into the window: beside what others say of the same moment, or as one of its own where they contradict
// each other.
func (w *window) add(p proposed) {
	for i := range w.proposals {
		o := &w.proposals[i]
		if o.station != p.station || !o.at.Equal(p.at) || conflict(o.data, p.data) {
			continue
		}
		unite(o.data, p.data)
		o.from = append(o.from, p.from...)
		return
	}
	w.proposals = append(w.proposals, p)
}

// remember keeps what was recorded, so that a repeat is known for one.
func (s *Service) remember(p proposed) {
	k := s.minds[p.station]
	if k == nil {
		return
	}
	at := moment(p.at.UnixMilli())
	if before := k.moments[at]; before != nil {
		if !conflict(before, p.data) {
			unite(before, p.data)
		}
		return
	}
	if len(k.order) == remembered {
		delete(k.moments, k.order[0])
		k.order = k.order[1:]
	}
	k.order = append(k.order, at)
	data := *p.data
	k.moments[at] = &data
}

// fields are the elements of a reading that a pack can fill.
func fields(w *events.WeatherRead) [12]**events.Quantity {
	return [...]**events.Quantity{
		&w.AirTemperature, &w.AirTemperatureMin, &w.AirTemperatureMax, &w.RelativeHumidity, &w.WetBulb, &w.WindSpeed, &w.WindGust,
		&w.WindDirection, &w.Rain, &w.SolarRadiation, &w.LeafWetness, &w.SoilTemperature,
	}
}

// conflict reports whether two readings have different values for one element.
func conflict(a, b *events.WeatherRead) bool {
	of := fields(b)
	for i, f := range fields(a) {
		if *f != nil && *of[i] != nil && **f != **of[i] {
			return true
		}
	}
	return false
}

// unite gives into what it lacks and from has.
func unite(into, from *events.WeatherRead) {
	of := fields(from)
	for i, f := range fields(into) {
		if *f == nil {
			*f = *of[i]
		}
	}
}

// subtract takes out of a reading what before has with the same value, and reports whether anything is left.
func subtract(r, before *events.WeatherRead) bool {
	of := fields(before)
	left := false
	for i, f := range fields(r) {
		if *f != nil && *of[i] != nil && **f == **of[i] {
			*f = nil
		}
		left = left || *f != nil
	}
	return left
}
