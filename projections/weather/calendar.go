package weather

import (
	"sort"
	"time"

	"latewood/events/civil"
	"latewood/projections/meteo"
)

// calendar is a run of local days.
type calendar struct {
	first  civil.Date
	bounds []int64 // Unix milliseconds: day i is [bounds[i], bounds[i+1])
	zone   *time.Location
}

// newCalendar lays out the days from first to last.
func newCalendar(first, last civil.Date, zone *time.Location) *calendar {
	n := last.Sub(first) + 1
	c := &calendar{first: first, bounds: make([]int64, n+1), zone: zone}
	for i := range c.bounds {
		c.bounds[i] = civil.DayStart(first.AddDays(i), zone).UnixMilli()
	}
	return c
}

func (c *calendar) days() int             { return len(c.bounds) - 1 }
func (c *calendar) date(i int) civil.Date { return c.first.AddDays(i) }
func (c *calendar) length(i int) int64    { return c.bounds[i+1] - c.bounds[i] }

// find gives the day that holds an instant, -1 if none does. near is a guess: readings come in order of time, so it is
// mostly the day of the one before.
func (c *calendar) find(at int64, near int) int {
	if near >= 0 && at >= c.bounds[near] && at < c.bounds[near+1] {
		return near
	}
	i := sort.Search(len(c.bounds), func(i int) bool { return c.bounds[i] > at }) - 1
	if i == c.days() {
		return -1
	}
	return i
}

// full gives a day's bounds with the stretches of night and noon that daily extremes must cover.
func (c *calendar) full(i int) meteo.DayBounds {
	d := c.date(i)
	b, err := meteo.LocalDay(d.Year, d.Month, d.Day, c.zone)
	if err != nil {
		b = meteo.DayBounds{} // no such date can come out of AddDays; then the stretches are not looked at
	}
	b.Start, b.End = c.bounds[i], c.bounds[i+1]
	return b
}
