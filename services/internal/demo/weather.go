package demo

import (
	"bufio"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"time"

	"latewood/events/civil"
)

// sky is the invented weather: a yearly and a daily wave, years that are warmer or cooler, spells, and showers.
type sky struct {
	rand  *rand.Rand
	spell float64
	year  map[int]float64
}

func newSky(r *rand.Rand) *sky {
	s := &sky{rand: r, year: map[int]float64{}}
	for y := 2017; y <= 2026; y++ {
		s.year[y] = r.NormFloat64() * 0.7
	}
	return s
}

// hour invents one hour, in Celsius, percent and millimetres.
func (s *sky) hour(t time.Time) (celsius, humidity, rain float64) {
	day := float64(t.YearDay())
	season := 20.4 - 2.9*math.Cos(2*math.Pi*(day-35)/365.25)
	daily := 3.4 * math.Sin(2*math.Pi*(float64(t.Hour())-8.5)/24)
	s.spell = 0.985*s.spell + s.rand.NormFloat64()*0.22
	celsius = season + daily + s.spell + s.year[t.Year()] + s.rand.NormFloat64()*0.25
	humidity = 78 - 2.6*daily + s.rand.NormFloat64()*3
	if s.rand.Float64() < 0.09 {
		rain = -math.Log(1-s.rand.Float64()) * 1.7
	}
	return round(celsius, 1), math.Round(min(max(humidity, 35), 100)), round(rain, 1)
}

func (o *orchard) writeWeather(w io.Writer) error {
	out := bufio.NewWriterSize(w, 1<<16)
	fmt.Fprintln(out, "time,interval,airTemperature_C,relativeHumidity_pct,rain_mm")
	end := civil.DayStart(Today, o.zone).Add(6 * time.Hour)
	for t := civil.DayStart(First, o.zone); t.Before(end); t = t.Add(time.Hour) {
		c, h, r := o.sky.hour(t)
		fmt.Fprintf(out, "%s,3600,%.1f,%.0f,%.1f\n", civil.FormatTime(t.Add(time.Hour)), c, h, r)
	}
	return out.Flush()
}
