package flush

import (
	"math"
	"slices"

	"latewood/events"
	"latewood/events/civil"
	"latewood/events/units"
	"latewood/projections"
	"latewood/projections/weather"
)

// Air is the weather of one station, day after day without holes: what was not measured is filled in and marked.
type Air struct {
	Station string
	First   civil.Date
	Heat    Sums      // degree-days
	Mean    Sums      // of daily means, C
	Max     []float64 // C; NaN: not known
	Min     []float64 // C; NaN: not known
	Warm    []float64 // hours at or above 20; NaN: not measured within the day
	Filled  Sums      // 1 a day that was filled in
	cool    []float64 // daily means
	beta    Sums      // of Beta, made when asked for
}

// Last is the last day.
func (a *Air) Last() civil.Date { return a.First.AddDays(a.Heat.Days() - 1) }

// Day is the place of a date among the days; it can lie outside.
func (a *Air) Day(d civil.Date) int { return d.Sub(a.First) }

// Date is the date of a place.
func (a *Air) Date(i int) civil.Date { return a.First.AddDays(i) }

// Holes is the share of the days [from, to] that was filled in or lies outside of what the station told.
func (a *Air) Holes(from, to civil.Date) float64 {
	n := to.Sub(from) + 1
	if n <= 0 {
		return 0
	}
	i, k := a.Day(from), a.Day(to)+1
	inside := max(min(k, a.Heat.Days())-max(i, 0), 0)
	return (float64(n-inside) + a.Filled.Over(i, k)) / float64(n)
}

// sums are the running sums that a reaction reads.
func (a *Air) sums(r reaction) Sums {
	if !r.beta {
		return a.Mean
	}
	if a.beta == nil {
		days := make([]float64, len(a.cool))
		for i, v := range a.cool {
			days[i] = Beta(v)
		}
		a.beta = NewSums(days)
	}
	return a.beta
}

// NewAir makes Air of days, the first at a date. Days that are not known are filled in: up to three in a row by a line
// between their neighbours, more by the middle of the same calendar days of other years, or the line where there is none.
// Project rule.
func NewAir(station string, first civil.Date, days []weather.HeatDay) *Air {
	n := len(days)
	a := &Air{Station: station, First: first, Max: make([]float64, n), Min: make([]float64, n), Warm: make([]float64, n), cool: make([]float64, n)}
	heat, filled := make([]float64, n), make([]float64, n)
	last := -1 // the last known day
	for i := 0; i <= n; i++ {
		if i < n && !days[i].Known {
			continue
		}
		for k := last + 1; k < i; k++ {
			filled[k] = 1
			heat[k], a.cool[k] = fill(days, k, last, i)
			a.Max[k], a.Min[k], a.Warm[k] = math.NaN(), math.NaN(), math.NaN()
		}
		if i < n {
			heat[i], a.cool[i], a.Max[i], a.Min[i], a.Warm[i] = days[i].Degrees, days[i].Mean, days[i].Max, days[i].Min, math.NaN()
			if days[i].Shorter {
				a.Warm[i] = days[i].Warm
			}
		}
		last = i
	}
	a.Heat, a.Mean, a.Filled = NewSums(heat), NewSums(a.cool), NewSums(filled)
	return a
}

// fill makes up day k of a hole between the known days before and after it (-1 and len where the record begins or ends).
func fill(days []weather.HeatDay, k, before, after int) (heat, mean float64) {
	if after-before > 4 || before < 0 || after >= len(days) {
		var n, h, m float64
		for year := -60; year <= 60; year++ {
			i := k + int(math.Round(float64(year)*365.25))
			if year != 0 && i >= 0 && i < len(days) && days[i].Known {
				n, h, m = n+1, h+days[i].Degrees, m+days[i].Mean
			}
		}
		if n > 0 {
			return h / n, m / n
		}
	}
	switch {
	case before < 0 && after >= len(days):
		return 0, 0
	case before < 0:
		return days[after].Degrees, days[after].Mean
	case after >= len(days):
		return days[before].Degrees, days[before].Mean
	}
	f := float64(k-before) / float64(after-before)
	return days[before].Degrees*(1-f) + days[after].Degrees*f, days[before].Mean*(1-f) + days[after].Mean*f
}

// A Sky is the weather that a block's clock reads: what came, and what past winters were like.
type Sky struct {
	Own   *Air   // of the station that speaks for the block; nil: no station does
	Past  *Air   // for past winters: Own, or another station's longer series
	Far   string // the station, where it stands further from the farm than the setting allows
	Named bool   // the station was sited as speaking for the block
}

// Weather finds the weather for blocks up to the end of a day, each station's once.
type Weather struct {
	book  *projections.Book
	model Model
	end   civil.Date
	airs  map[string]*Air
	sites map[string]*events.StationSited
}

// NewWeather looks at nothing after a day.
func NewWeather(b *projections.Book, m Model, end civil.Date) *Weather {
	w := &Weather{book: b, model: m, end: end, airs: map[string]*Air{}, sites: map[string]*events.StationSited{}}
	for _, code := range b.Keys(projections.Station) {
		for _, f := range b.View(projections.Key{Class: projections.Station, Code: code}).Standing() {
			if d, ok := f.Data().(*events.StationSited); ok && !civil.DateOf(f.Time, b.Zone()).After(end) {
				w.sites[code] = d
			}
		}
	}
	return w
}

func (w *Weather) air(code string) *Air {
	if a, ok := w.airs[code]; ok {
		return a
	}
	var a *Air
	first, days, err := weather.Heat(w.book.View(projections.Key{Class: projections.Station, Code: code}), w.model.Base, w.model.Cap, w.end)
	if err == nil && slices.ContainsFunc(days, func(d weather.HeatDay) bool { return d.Known }) {
		a = NewAir(code, first, days)
	}
	w.airs[code] = a
	return a
}

// For gives the weather of a block: the station that was sited as speaking for it, of several the one that told last, else
// the one nearest to the farm. Past winters come from that station too if it has as many as are asked for, else from the
// station with the longest series, which must tell up to the same season.
func (w *Weather) For(block string) Sky {
	var s Sky
	best := math.Inf(1)
	var longest *Air
	for _, code := range w.book.Keys(projections.Station) {
		a := w.air(code)
		if a == nil {
			continue
		}
		if longest == nil || a.Heat.Days() > longest.Heat.Days() {
			longest = a
		}
		site := w.sites[code]
		named := site != nil && slices.Contains(site.Blocks, block)
		away := w.away(site)
		switch {
		case s.Named && !named:
		case named && !s.Named, s.Own == nil, a.Last().After(s.Own.Last().AddDays(30)), away < best && !s.Own.Last().After(a.Last().AddDays(30)):
			s.Own, s.Named, best = a, named, away
		}
	}
	if s.Own == nil {
		return s
	}
	if best > w.model.Reach && !s.Named && !math.IsInf(best, 1) {
		s.Far = s.Own.Station
	}
	s.Past = s.Own
	if s.Own.Heat.Days() < (w.model.Years+1)*365 && longest.Heat.Days() > s.Own.Heat.Days()+365 {
		s.Past = longest
	}
	return s
}

// away is how far a station stands from the farm's own point, km; 0 where nobody told: then it is taken as the farm's own.
func (w *Weather) away(site *events.StationSited) float64 {
	farm := w.book.Opened()
	if site == nil || farm == nil {
		return 0
	}
	const radius = 6371 // km, of the earth
	rad := math.Pi / 180
	dLat, dLon := (site.Latitude-farm.Latitude)*rad, (site.Longitude-farm.Longitude)*rad
	h := math.Pow(math.Sin(dLat/2), 2) + math.Cos(site.Latitude*rad)*math.Cos(farm.Latitude*rad)*math.Pow(math.Sin(dLon/2), 2)
	return 2 * radius * math.Asin(math.Min(1, math.Sqrt(h)))
}

// percent reads a share that a person wrote, 0 to 1; ok is false where none stands.
func percent(q *events.Quantity) (float64, bool) {
	if q == nil {
		return 0, false
	}
	v, err := units.Convert(q.Value, q.Unit, "%")
	if err != nil {
		return 0, false
	}
	return min(max(v/100, 0), 1), true
}
