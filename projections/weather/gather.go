package weather

import (
	"math"
	"slices"
	"strconv"

	"latewood/events"
	"latewood/projections"
	"latewood/projections/meteo"
)

// Limits between readings. Project rules.
const (
	dailyFrom  = 20 * meteo.Hour // an interval from here to dailyTo is a daily summary
	dailyTo    = 28 * meteo.Hour
	middleUpTo = 2 * meteo.Hour // longest interval of which the middle of the extremes stands for a missing mean
	looksTwice = 2.0            // C: a smaller step is within every limit of meteo.Limits
)

// span says what a reading speaks for.
type span uint8

const (
	shorter span = iota
	daily
	longer
)

func spanOf(interval int64) span {
	switch {
	case interval < dailyFrom:
		return shorter
	case interval <= dailyTo:
		return daily
	}
	return longer
}

// summary is what a daily summary says of a day. NaN: nothing.
type summary struct {
	at                                              int64 // when it ends, ms
	low, high, mean, humidity, wetBulb, wind, solar float64
	rain                                            int64 // um
	rained, known                                   bool
}

// table is a stretch of a station's readings, in columns and by local day.
type table struct {
	cal *calendar
	// Shorter readings in order of time, also those around the calendar's edges: with a temperature, or all of them where
	// more of the air is wanted. NaN: missing.
	times, spans                         []int64 // ms
	temp, humidity, wetBulb, wind, solar []float64
	// By local day.
	low, high                    []float64 // of shorter readings, C; NaN: none
	rain                         []int64   // of shorter readings, um
	rained                       []bool
	count, suspect, wrong, twice []int32
	daily                        []summary // nil while there is none

	flags []projections.Flag
}

// wants says which columns are to be gathered beside the temperature and the rain.
type wants struct {
	air   bool // humidity, wet bulb, wind, radiation
	flags bool // quality control of everything, with flags
}

// gather reads a station's columns into a table for the days of a calendar and a little around them.
func gather(station string, s *projections.Series, cal *calendar, doubts []doubt, want wants) *table {
	n := cal.days()
	t := &table{
		cal: cal, low: missing(n), high: missing(n), rain: make([]int64, n), rained: make([]bool, n),
		count: make([]int32, n), suspect: make([]int32, n), wrong: make([]int32, n), twice: make([]int32, n),
	}
	g := &gatherer{table: t, station: station, doubts: doubts, want: want, limits: limits()}
	// Beyond the edges: a line from the reading before, the summary of the day after.
	from, to := cal.bounds[0]-3*meteo.Day, cal.bounds[n]+3*meteo.Day
	var rows int
	s.Each(func(m *projections.Month) {
		if m.Times[len(m.Times)-1] >= from && m.Times[0] <= to {
			rows += len(m.Times)
		}
	})
	t.times, t.spans, t.temp = make([]int64, 0, rows), make([]int64, 0, rows), make([]float64, 0, rows)
	s.Each(func(m *projections.Month) {
		if m.Times[len(m.Times)-1] >= from && m.Times[0] <= to {
			g.month(m)
		}
	})
	return t
}

// series is a column's readings, without those that lack it.
func (t *table) series(col []float64) meteo.Series {
	s := meteo.Series{Times: t.times, Values: col, Intervals: t.spans}
	if !slices.ContainsFunc(col, math.IsNaN) {
		return s
	}
	// The days are cut out of the series one by one, and a cut looks for the next reading on either side: a year that
	// lacks an element must not be walked through every day.
	s = meteo.Series{}
	for i, v := range col {
		if !math.IsNaN(v) {
			s.Times, s.Values, s.Intervals = append(s.Times, t.times[i]), append(s.Values, v), append(s.Intervals, t.spans[i])
		}
	}
	return s
}

func missing(n int) []float64 {
	out := make([]float64, n)
	for i := range out {
		out[i] = math.NaN()
	}
	return out
}

// gatherer carries what one run over the months remembers.
type gatherer struct {
	*table
	station string
	doubts  []doubt
	want    wants
	limits  [projections.SoilTemperature + 1][2]float64
	day     int // of the row before

	cols *projections.Month
	row  int
	last [2]spot // the two usable temperatures before, the nearer first
}

// spot is a temperature with its place.
type spot struct {
	at, span int64
	value    float64
	day      int
	id       events.ID
	known    bool
}

// limits gives the range of each element by meteo's table; elements without one may be anything.
func limits() (out [projections.SoilTemperature + 1][2]float64) {
	for e := range out {
		out[e] = [2]float64{math.Inf(-1), math.Inf(1)}
	}
	of := map[meteo.Variable][]projections.Element{
		meteo.AirTemperature:   {projections.AirTemperature, projections.AirTemperatureMin, projections.AirTemperatureMax, projections.WetBulb},
		meteo.RelativeHumidity: {projections.RelativeHumidity}, meteo.WindSpeed: {projections.WindSpeed},
		meteo.WindDirection: {projections.WindDirection}, meteo.SolarRadiation: {projections.SolarRadiation},
		meteo.SoilTemperature: {projections.SoilTemperature},
	}
	for _, l := range meteo.Limits() {
		for _, e := range of[l.Variable] {
			out[e] = [2]float64{l.Low, l.High}
		}
	}
	out[projections.Rain][0], out[projections.WindGust][0] = 0, 0
	return out
}

func (g *gatherer) month(m *projections.Month) {
	g.cols = m
	for i, at := range m.Times {
		g.row = i
		interval := int64(m.Interval[i]) * 1000
		kind := spanOf(interval)
		g.day = g.cal.find(at-interval/2, g.day)
		if g.sameTime(i, at, kind) {
			continue
		}
		if g.day >= 0 {
			g.count[g.day]++
		}
		switch kind {
		case shorter:
			g.shorter(at, interval)
		case daily:
			g.summary(at, interval)
		case longer:
			g.addRain(g.value(projections.Rain, at), interval)
		}
		if g.want.flags {
			g.others(at)
		}
	}
}

// sameTime reports whether a later row has the same time, speaks for a like span and tells an element that this one tells
// too: then that one counts. Sensors of one station that send each for itself share no element, and all of them count.
func (g *gatherer) sameTime(i int, at int64, kind span) (superseded bool) {
	m := g.cols
	alike := func(j int) bool {
		return spanOf(int64(m.Interval[j])*1000) == kind && share(m, i, j)
	}
	twin := false
	for j := i + 1; j < len(m.Times) && m.Times[j] == at; j++ {
		superseded = superseded || alike(j)
	}
	for j := i - 1; j >= 0 && m.Times[j] == at; j-- {
		twin = twin || alike(j)
	}
	if superseded || twin {
		if g.day >= 0 {
			g.twice[g.day]++
		}
		g.flag("same-time", "station", g.station)
	}
	return superseded
}

// share reports whether two rows tell the same element.
func share(m *projections.Month, i, j int) bool {
	for _, col := range m.Cols {
		if col != nil && !math.IsNaN(col[i]) && !math.IsNaN(col[j]) {
			return true
		}
	}
	return false
}

// value is a row's element, NaN where it is missing, doubted or outside of what can be.
func (g *gatherer) value(e projections.Element, at int64) float64 {
	col := g.cols.Cols[e]
	if col == nil {
		return math.NaN()
	}
	v := col[g.row]
	if math.IsNaN(v) || len(g.doubts) > 0 && doubted(g.doubts, at, e) {
		return math.NaN()
	}
	if l := &g.limits[e]; v >= l[0] && v <= l[1] {
		return v
	}
	if e == projections.RelativeHumidity && meteo.CheckRange(meteo.RelativeHumidity, v).Verdict == meteo.Suspect {
		g.bump(g.suspect)
		return v
	}
	g.bump(g.wrong)
	if math.IsInf(g.limits[e][1], 1) {
		g.flag("negative", "field", fieldNames[e], "value", number(v))
		return math.NaN()
	}
	g.flag("range", "field", fieldNames[e], "value", number(v), "unit", projections.ElementUnits[e],
		"low", number(g.limits[e][0]), "high", number(g.limits[e][1]))
	return math.NaN()
}

func (g *gatherer) bump(counter []int32) {
	if g.day >= 0 {
		counter[g.day]++
	}
}

// flag makes a quality-control flag on the row's record.
func (g *gatherer) flag(detail string, args ...string) {
	if g.want.flags && g.day >= 0 {
		g.flags = append(g.flags, projections.NewFlag(g.cols.IDs[g.row], "quality-control", detail, args...))
	}
}

func number(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

// temperatures reads a row's mean and extremes. Extremes in the wrong order are left out.
func (g *gatherer) temperatures(at int64) (mean, low, high float64) {
	mean = g.value(projections.AirTemperature, at)
	low, high = g.value(projections.AirTemperatureMin, at), g.value(projections.AirTemperatureMax, at)
	if meteo.CheckExtremes(low, mean, high).Verdict == meteo.Wrong {
		g.bump(g.wrong)
		g.flag("order")
		low, high = math.NaN(), math.NaN()
	}
	return mean, low, high
}

func (g *gatherer) shorter(at, interval int64) {
	mean, low, high := g.temperatures(at)
	measured := !math.IsNaN(mean)
	if !measured && interval > 0 && interval <= middleUpTo {
		mean = (low + high) / 2
	}
	before := len(g.times) - 1
	joins := before >= 0 && g.times[before] == at // another row of this instant, which tells other elements
	switch {
	case joins:
		if !math.IsNaN(mean) && (measured || math.IsNaN(g.temp[before])) {
			g.temp[before], g.spans[before] = mean, interval
		}
	case g.want.air || !math.IsNaN(mean):
		g.times, g.spans, g.temp = append(g.times, at), append(g.spans, interval), append(g.temp, mean)
	}
	if g.want.air {
		for _, c := range [...]struct {
			col *[]float64
			of  projections.Element
		}{
			{&g.humidity, projections.RelativeHumidity}, {&g.wetBulb, projections.WetBulb}, {&g.wind, projections.WindSpeed},
			{&g.solar, projections.SolarRadiation},
		} {
			v := g.value(c.of, at)
			if !joins {
				*c.col = append(*c.col, v)
			} else if !math.IsNaN(v) {
				(*c.col)[before] = v
			}
		}
	}
	if g.day >= 0 {
		for _, v := range [...]float64{mean, low, high} {
			if !math.IsNaN(v) {
				g.low[g.day], g.high[g.day] = lower(g.low[g.day], v), higher(g.high[g.day], v)
			}
		}
	}
	g.addRain(g.value(projections.Rain, at), interval)
	if !math.IsNaN(mean) {
		g.steps(spot{at, interval, mean, g.day, g.cols.IDs[g.row], true})
	}
}

// lower and higher are the lesser and the greater of two values, of which either may be missing.
func lower(a, b float64) float64 {
	if a < b || math.IsNaN(b) {
		return a
	}
	return b
}

func higher(a, b float64) float64 {
	if a > b || math.IsNaN(b) {
		return a
	}
	return b
}

// steps judges a temperature by the ones before it. A step counts as suspect and stays in use: fronts do that. A value
// that jumps away and back is flagged as well.
func (g *gatherer) steps(now spot) {
	before, earlier := g.last[0], g.last[1]
	if before.known && before.at == now.at {
		return // the middle of extremes and a mean, told apart
	}
	g.last = [2]spot{now, before}
	if !before.known || math.Abs(now.value-before.value) <= looksTwice {
		return
	}
	if meteo.CheckStep(meteo.AirTemperature, before.value, now.value, now.at-before.at).Verdict >= meteo.Suspect && now.day >= 0 {
		g.suspect[now.day]++
	}
	if !earlier.known || before.day < 0 || math.Abs(before.value-earlier.value) <= looksTwice {
		return
	}
	spike := meteo.CheckSpike(meteo.AirTemperature, earlier.value, before.value, now.value, before.at-earlier.at, now.at-before.at)
	if spike.Verdict >= meteo.Suspect && g.want.flags {
		g.flags = append(g.flags, projections.NewFlag(before.id, "quality-control", "spike", "value", number(before.value)))
	}
}

func (g *gatherer) summary(at, interval int64) {
	mean, low, high := g.temperatures(at)
	sum := summary{
		at: at, low: low, high: high, mean: mean, humidity: math.NaN(), wetBulb: math.NaN(), wind: math.NaN(), solar: math.NaN(), known: true,
	}
	if meteo.CheckNaught(low, high).Verdict >= meteo.Suspect {
		g.bump(g.suspect)
		g.flag("naught", "value", number(low))
	}
	if g.want.air {
		sum.humidity, sum.wetBulb = g.value(projections.RelativeHumidity, at), g.value(projections.WetBulb, at)
		sum.wind, sum.solar = g.value(projections.WindSpeed, at), g.value(projections.SolarRadiation, at)
	}
	rain, ok := g.rainOf(g.value(projections.Rain, at), interval)
	sum.rain, sum.rained = rain, ok
	if g.day < 0 {
		return
	}
	if g.daily == nil {
		g.daily = make([]summary, g.cal.days())
	}
	if before := &g.daily[g.day]; before.known && before.at == at {
		sum.fill(before) // it tells other elements
	}
	g.daily[g.day] = sum // the last to end, where a day has several
}

// fill takes over what a summary of the same day says and this one does not.
func (s *summary) fill(from *summary) {
	for _, f := range [...]struct {
		into *float64
		from float64
	}{
		{&s.low, from.low}, {&s.high, from.high}, {&s.mean, from.mean}, {&s.humidity, from.humidity}, {&s.wetBulb, from.wetBulb},
		{&s.wind, from.wind}, {&s.solar, from.solar},
	} {
		if math.IsNaN(*f.into) {
			*f.into = f.from
		}
	}
	if !s.rained {
		s.rain, s.rained = from.rain, from.rained
	}
}

// addRain adds a reading's rain to its day.
func (g *gatherer) addRain(mm float64, interval int64) {
	if um, ok := g.rainOf(mm, interval); ok && g.day >= 0 {
		g.rain[g.day] += um
		g.rained[g.day] = true
	}
}

// rainOf is an amount of rain in micrometres, if there is one and it can be.
func (g *gatherer) rainOf(mm float64, interval int64) (um int64, ok bool) {
	if math.IsNaN(mm) {
		return 0, false
	}
	if interval >= meteo.Minute && meteo.CheckRange(meteo.RainPerMinute, mm/float64(interval/meteo.Minute)).Verdict == meteo.Wrong {
		g.bump(g.wrong)
		g.flag("rain", "value", number(mm))
		return 0, false
	}
	return int64(math.RoundToEven(mm * 1000)), true
}

// others judges the elements that no sum here uses.
func (g *gatherer) others(at int64) {
	if !g.want.air {
		for _, e := range [...]projections.Element{projections.RelativeHumidity, projections.WetBulb, projections.WindSpeed, projections.SolarRadiation} {
			g.value(e, at)
		}
	}
	for _, e := range [...]projections.Element{projections.WindGust, projections.WindDirection, projections.SoilTemperature} {
		g.value(e, at)
	}
	if dry, wet := g.raw(projections.AirTemperature), g.raw(projections.WetBulb); meteo.CheckWetBulb(dry, wet).Verdict == meteo.Wrong {
		g.bump(g.wrong)
		g.flag("wet-bulb")
	}
	if speed, gust := g.raw(projections.WindSpeed), g.raw(projections.WindGust); meteo.CheckGust(speed, gust).Verdict == meteo.Wrong {
		g.bump(g.wrong)
		g.flag("gust")
	}
}

// raw is a row's element as it came.
func (g *gatherer) raw(e projections.Element) float64 {
	if col := g.cols.Cols[e]; col != nil {
		return col[g.row]
	}
	return math.NaN()
}
