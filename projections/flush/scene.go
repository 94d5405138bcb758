package flush

import (
	"latewood/events/civil"
)

// A Scene is the weather of one past winter laid behind a day: day 0 is the day after.
type Scene struct {
	Season string // the crop that the winter led to
	Heat   Sums
	Cool   Sums // of what the reaction reads
	Filled float64
}

// Scenes cuts the record into winters as long as a horizon of days, each beginning on the calendar day after `after` of its
// year, and named by the season that season gives for a day of it. A winter of which more than the model allows was filled
// in is left out; left says how many were.
func (a *Air) Scenes(after civil.Date, days int, m Model, season func(civil.Date) string) (out []Scene, left int) {
	sums := a.sums(m.reaction())
	start := after.AddDays(1)
	for year := a.First.Year; year <= after.Year; year++ {
		first := civil.Date{Year: year, Month: start.Month, Day: start.Day}
		if !first.Valid() { // 29 February
			first = civil.Date{Year: year, Month: 3, Day: 1}
		}
		i := a.Day(first)
		if i < 0 || i+days > a.Heat.Days() || !first.AddDays(days-1).Before(start) {
			continue
		}
		filled := a.Filled.Over(i, i+days) / float64(days)
		if filled > m.Imputed {
			left++
			continue
		}
		from, to := m.Season.On(first)
		out = append(out, Scene{
			Season: season(from.AddDays(to.Sub(from) / 2)), Heat: a.Heat.cut(i, i+days), Cool: sums.cut(i, i+days), Filled: filled,
		})
	}
	return out, left
}

// cut copies the days [from, to) as sums of their own.
func (s Sums) cut(from, to int) Sums {
	out := make(Sums, to-from+1)
	for i := range out {
		out[i] = s[from+i] - s[from]
	}
	return out
}
