package weather

import (
	"fmt"
	"math"
	"slices"
	"time"

	"latewood/events/civil"
	"latewood/events/words"
	"latewood/projections"
	"latewood/projections/meteo"
)

// Doc is the report as JSON shows it. What is absent is not known.
type Doc struct {
	Rows  []Row    `json:"rows"`
	Notes []string `json:"notes,omitempty"`
}

// A Row is a day or month of a station. Temperatures are C.
type Row struct {
	Station string `json:"station"`
	Period  string `json:"period"` // 2026-01, 2026-01-31
	// Days with any reading; Hours of the period, as far as the report reaches; and of them those that readings answer for.
	Days         int        `json:"days"`
	Hours        float64    `json:"hours"`
	CoveredHours float64    `json:"coveredHours"`
	HoursBelow   []Hours    `json:"hoursBelow,omitempty"`
	HoursBelow20 *float64   `json:"hoursBelow20,omitempty"`
	HoursAbove20 *float64   `json:"hoursAtOrAbove20,omitempty"`
	DegreeDays   DegreeDays `json:"degreeDays"`
	MinC         *float64   `json:"minC,omitempty"`
	MaxC         *float64   `json:"maxC,omitempty"`
	RainMm       *float64   `json:"rainMm,omitempty"`
	FrostHours   *float64   `json:"frostHours,omitempty"` // strictly below 0
	DaysMinBelow []Days     `json:"daysMinBelow,omitempty"`
	DaysMaxBelow []Days     `json:"daysMaxBelow,omitempty"`
	Et0Mm        *float64   `json:"et0Mm,omitempty"`   // sum of the days that have one
	Et0Days      *Et0Days   `json:"et0Days,omitempty"` // by method
	Chill        *Chill     `json:"chill,omitempty"`
	VpdKPa       *float64   `json:"vpdKPa,omitempty"` // means over the time with temperature and humidity
	DewpointC    *float64   `json:"dewpointC,omitempty"`
	DeltaTC      *float64   `json:"deltaTC,omitempty"`
	// Readings that quality control found suspect (still in use) and wrong (left out), and readings that share their time.
	Suspect  int `json:"suspect,omitempty"`
	Wrong    int `json:"wrong,omitempty"`
	SameTime int `json:"sameTime,omitempty"`
}

// Hours is time strictly below a temperature.
type Hours struct {
	C     float64 `json:"c"`
	Hours float64 `json:"hours"`
}

// Days is a number of days whose minimum or maximum is strictly below a temperature.
type Days struct {
	C    float64 `json:"c"`
	Days int     `json:"days"`
}

// DegreeDays is a sum with what it was computed by: it can be compared only with sums of the same method.
type DegreeDays struct {
	Base   float64  `json:"base"`
	Upper  *float64 `json:"upper,omitempty"` // only where the method used it
	Method string   `json:"method"`          // "linear+sine" where days of the period were answered differently
	Value  *float64 `json:"value,omitempty"`
}

// Et0Days counts the days of a sum of evapotranspiration by the way each was computed.
type Et0Days struct {
	PenmanMonteith int `json:"penmanMonteith"`
	Hargreaves     int `json:"hargreaves"`
}

// Chill is counted by rules that were fitted to temperate fruit, not to lychee.
type Chill struct {
	Hours       float64 `json:"hours"`       // from 0 to 7.2 C
	UtahUnits   float64 `json:"utahUnits"`   // never cut off at 0
	HoursJudged float64 `json:"hoursJudged"` // that had a temperature
}

// Report answers a query. Rows go by station and time; periods that no reading speaks for have none.
//
// The error is an events.Problem where the query cannot be answered as it stands.
func Report(book *projections.Book, q Query) (Doc, error) {
	if err := q.check(); err != nil {
		return Doc{}, err
	}
	doc := Doc{Rows: []Row{}}
	stations := book.Keys(projections.Station)
	if q.Station != "" {
		if !slices.Contains(stations, q.Station) {
			return Doc{}, unknown(q.Station, stations)
		}
		stations = []string{q.Station}
	}
	fold := Fold()
	for _, code := range stations {
		var days []result
		if q.plain() {
			days = q.cut(projections.StateOf[State](book, fold, code))
		} else {
			var err error
			if days, err = q.compute(book.View(projections.Key{Class: projections.Station, Code: code})); err != nil {
				return Doc{}, fmt.Errorf("weather: station %s: %w", code, err)
			}
		}
		doc.Rows = append(doc.Rows, q.rows(code, days)...)
	}
	doc.Notes = q.notes(doc)
	return doc, nil
}

// cut takes the asked days out of a State.
func (q Query) cut(s *State) []result {
	var out []result
	for _, d := range s.Days {
		if (q.From.IsZero() || !d.Day.Before(q.From)) && (q.To.IsZero() || !d.Day.After(q.To)) {
			out = append(out, result{Day: d})
		}
	}
	return out
}

// compute answers out of the columns.
func (q Query) compute(v *projections.View) ([]result, error) {
	first, last, ok := extent(v)
	if !ok {
		return nil, nil
	}
	if q.From.After(first) {
		first = q.From
	}
	if !q.To.IsZero() && q.To.Before(last) {
		last = q.To
	}
	a := ask{base: q.base(), upper: q.upper(), method: q.Method, below: q.Below, gap: gaps(v, q.MaxGap.Milliseconds()), with: q.With}
	if len(q.With) > 0 {
		a.places = placesOf(v)
	}
	results, _, err := compute(v, first, last, a, false)
	return results, err
}

// sum adds up the days of a period.
type sum struct {
	row                                Row
	length, covered, cool, warm, frost int64
	below                              []int64
	degrees                            int64
	methods                            []string
	low, high                          *int64
	rain                               int64
	rained                             bool
	et0, chillHours, utah, chillFor    float64
	vpd, dew, deltaT                   float64
	vpdSpan, dewSpan, deltaSpan        int64
	minBelow, maxBelow                 []int
	penman, hargreaves                 int
}

func (q Query) rows(station string, days []result) []Row {
	var out []Row
	var s *sum
	end := func() {
		if s != nil && (s.row.Days > 0 || s.covered > 0) {
			out = append(out, s.close(q))
		}
	}
	for i := range days {
		period := days[i].Day.Day.String()
		if q.By != ByDay {
			period = period[:7]
		}
		if s == nil || s.row.Period != period {
			end()
			s = &sum{
				row:   Row{Station: station, Period: period},
				below: make([]int64, len(q.Below)), minBelow: make([]int, len(q.MinBelow)), maxBelow: make([]int, len(q.MaxBelow)),
			}
		}
		s.add(q, &days[i])
	}
	end()
	return out
}

func (s *sum) add(q Query, r *result) {
	s.length += r.Length
	s.row.Suspect += r.Suspect
	s.row.Wrong += r.Wrong
	s.row.SameTime += r.Twice
	if r.Readings > 0 {
		s.row.Days++
	}
	if r.Method != "" {
		s.covered += r.Covered
		s.cool += r.Below
		s.warm += r.Above
		s.frost += r.Frost
		s.degrees += r.Degrees
		for k := range q.Below {
			s.below[k] += r.below[k]
		}
		if !slices.Contains(s.methods, r.Method) {
			s.methods = append(s.methods, r.Method)
		}
	}
	if r.Min != nil && (s.low == nil || *r.Min < *s.low) {
		s.low = r.Min
	}
	if r.Max != nil && (s.high == nil || *r.Max > *s.high) {
		s.high = r.Max
	}
	if r.Rain != nil {
		s.rain, s.rained = s.rain+*r.Rain, true
	}
	for k, c := range q.MinBelow {
		if r.low < c { // false for NaN
			s.minBelow[k]++
		}
	}
	for k, c := range q.MaxBelow {
		if r.high < c {
			s.maxBelow[k]++
		}
	}
	if len(q.With) > 0 {
		s.air(&r.derived)
	}
}

// air adds what the air of a day gives: means by the time that they cover.
func (s *sum) air(d *derived) {
	weigh := func(total *float64, span *int64, v float64, covered int64) {
		if !math.IsNaN(v) && covered > 0 {
			*total += v * float64(covered)
			*span += covered
		}
	}
	weigh(&s.vpd, &s.vpdSpan, d.vpd, d.vpdSpan)
	weigh(&s.dew, &s.dewSpan, d.dew, d.dewSpan)
	weigh(&s.deltaT, &s.deltaSpan, d.deltaT, d.dryWet)
	switch d.et0Method {
	case "penman-monteith":
		s.penman++
	case "hargreaves":
		s.hargreaves++
	}
	if d.et0Method != "" {
		s.et0 += d.et0
	}
	s.chillHours += d.chillHours
	s.utah += d.utah
	s.chillFor += d.chillFor
}

func (s *sum) close(q Query) Row {
	r := s.row
	r.Hours, r.CoveredHours = hours(s.length), hours(s.covered)
	r.DegreeDays = DegreeDays{Base: q.base(), Method: method(q, s.methods)}
	if q.Upper != nil && r.DegreeDays.Method != "average" {
		r.DegreeDays.Upper = q.Upper
	}
	if len(s.methods) > 0 {
		r.HoursBelow20, r.HoursAbove20, r.FrostHours = pointer(hours(s.cool)), pointer(hours(s.warm)), pointer(hours(s.frost))
		r.DegreeDays.Value = pointer(float64(s.degrees) / 1e6)
		for k, c := range q.Below {
			r.HoursBelow = append(r.HoursBelow, Hours{c, hours(s.below[k])})
		}
	}
	if s.low != nil {
		r.MinC = pointer(float64(*s.low) / 1000)
		for k, c := range q.MinBelow {
			r.DaysMinBelow = append(r.DaysMinBelow, Days{c, s.minBelow[k]})
		}
	}
	if s.high != nil {
		r.MaxC = pointer(float64(*s.high) / 1000)
		for k, c := range q.MaxBelow {
			r.DaysMaxBelow = append(r.DaysMaxBelow, Days{c, s.maxBelow[k]})
		}
	}
	if s.rained {
		r.RainMm = pointer(float64(s.rain) / 1000)
	}
	if s.penman+s.hargreaves > 0 {
		r.Et0Mm, r.Et0Days = pointer(micro(s.et0)), &Et0Days{s.penman, s.hargreaves}
	}
	if s.chillFor > 0 && slices.Contains(q.With, WithChill) {
		r.Chill = &Chill{micro(s.chillHours), micro(s.utah), micro(s.chillFor)}
	}
	mean := func(total float64, span int64) *float64 {
		if span == 0 {
			return nil
		}
		return pointer(micro(total / float64(span)))
	}
	r.VpdKPa, r.DewpointC, r.DeltaTC = mean(s.vpd, s.vpdSpan), mean(s.dew, s.dewSpan), mean(s.deltaT, s.deltaSpan)
	return r
}

func hours(ms int64) float64                          { return float64(ms) / float64(meteo.Hour) }
func micro(v float64) float64                         { return math.RoundToEven(v*1e6) / 1e6 }
func pointer[T any](v T) *T                           { return &v }
func dateAt(ms int64, zone *time.Location) civil.Date { return civil.DateOf(time.UnixMilli(ms), zone) }

// method names what a period was computed by.
func method(q Query, used []string) string {
	switch {
	case q.Method != "":
		return q.Method
	case len(used) == 0:
		return "linear" // of nothing
	case len(used) == 1:
		return used[0]
	}
	return "linear+sine"
}

// notes are the sentences without which somebody could read too much into the numbers.
func (q Query) notes(doc Doc) []string {
	var out []string
	if slices.ContainsFunc(doc.Rows, func(r Row) bool { return r.CoveredHours < r.Hours }) {
		out = append(out, words.Say("weather.note-covered"))
	}
	if slices.ContainsFunc(doc.Rows, func(r Row) bool { return r.DegreeDays.Method == "linear+sine" }) {
		out = append(out, words.Say("weather.note-mixed"))
	}
	if slices.ContainsFunc(doc.Rows, func(r Row) bool { return r.Chill != nil }) {
		out = append(out, words.Say("weather.note-chill"))
	}
	if slices.ContainsFunc(doc.Rows, func(r Row) bool { return r.Et0Days != nil && r.Et0Days.Hargreaves > 0 }) {
		out = append(out, words.Say("weather.note-hargreaves"))
	}
	return out
}
