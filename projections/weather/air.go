package weather

import (
	"math"
	"slices"
	"strings"
	"time"

	"latewood/events"
	"latewood/events/civil"
	"latewood/events/units"
	"latewood/projections"
	"latewood/projections/meteo"
)

// What a report can bring beside the temperatures, as Query.With names it.
const (
	WithET0      = "et0"      // reference evapotranspiration, mm
	WithChill    = "chill"    // chilling hours and Utah units: fitted to temperate fruit, not to lychee
	WithVPD      = "vpd"      // vapour pressure deficit, kPa
	WithDewPoint = "dewpoint" // C
	WithDeltaT   = "deltat"   // dry less wet bulb, C
)

// place is where a station stood from an instant on.
type place struct {
	from                int64 // Unix milliseconds
	latitude, elevation float64
	windHeight          float64 // m; 0: not known, the wind is taken as it stands
}

// placesOf lists where a station stood; the farm's own place speaks for a station that nobody sited.
func placesOf(v *projections.View) []place {
	var out []place
	for _, f := range v.Standing() {
		d, ok := f.Data().(*events.StationSited)
		if !ok {
			continue
		}
		p := place{from: f.Time.UnixMilli(), latitude: d.Latitude, elevation: metres(d.Elevation)}
		for _, s := range d.Sensors {
			if strings.Contains(strings.ToLower(s.What), "wind") && s.Height != nil {
				p.windHeight = metres(s.Height)
			}
		}
		out = append(out, p)
	}
	if len(out) > 0 {
		return out
	}
	p := place{}
	if farm := v.Farm(); farm != nil {
		p.latitude, p.elevation = farm.Latitude, metres(farm.Elevation)
	}
	return []place{p}
}

func metres(q *events.Quantity) float64 {
	if q == nil {
		return 0
	}
	m, err := units.Convert(q.Value, q.Unit, "m")
	if err != nil {
		return 0
	}
	return m
}

// at is the place at an instant: the last one before it, else the first.
func placeAt(places []place, at int64) place {
	p := places[0]
	for _, next := range places[1:] {
		if next.from <= at {
			p = next
		}
	}
	return p
}

// derived is what the air of a day gives. NaN: not known.
type derived struct {
	vpd, dew, deltaT           float64 // means over the covered time
	vpdSpan, dewSpan, dryWet   int64   // ms covered by them
	et0                        float64 // mm
	et0Method                  string  // penman-monteith, hargreaves
	chillHours, utah, chillFor float64 // chilling hours, Utah units, hours that were weighed
}

// air is what was asked for, computed at each reading.
type air struct {
	vapour, vpd, dew, deltaT, wind, solar meteo.Series
	asks                                  func(string) bool
}

func newAir(t *table, a ask) *air {
	out := &air{asks: func(name string) bool { return slices.Contains(a.with, name) }}
	columns := [...]struct {
		name string
		into *meteo.Series
		of   func(temp, rh, pressure float64) (float64, error)
	}{
		{WithET0, &out.vapour, func(temp, rh, _ float64) (float64, error) { return meteo.VapourFromRH(temp, rh) }},
		{WithVPD, &out.vpd, func(temp, rh, _ float64) (float64, error) { return meteo.VPD(temp, rh) }},
		{WithDewPoint, &out.dew, func(temp, rh, _ float64) (float64, error) { return meteo.DewPointFromRH(temp, rh) }},
		{WithDeltaT, &out.deltaT, meteo.DeltaT},
	}
	for _, c := range columns {
		if !out.asks(c.name) {
			continue
		}
		for i, temp := range t.temp {
			pressure := pressureAt(a.places, t.times[i])
			rh, ok := humidityOf(temp, t.humidity[i], t.wetBulb[i], pressure)
			if !ok {
				continue
			}
			if v, err := c.of(temp, rh, pressure); err == nil { // else out of the range of the formula: not known
				c.into.Times, c.into.Values, c.into.Intervals = append(c.into.Times, t.times[i]), append(c.into.Values, v), append(c.into.Intervals, t.spans[i])
			}
		}
	}
	if out.asks(WithET0) {
		out.wind, out.solar = t.series(t.wind), t.series(t.solar)
	}
	return out
}

func pressureAt(places []place, at int64) float64 {
	p, err := meteo.Pressure(placeAt(places, at).elevation)
	if err != nil {
		return meteo.SeaLevel
	}
	return p
}

// humidityOf is the relative humidity in %, as measured, else from the wet bulb of an aspirated psychrometer.
func humidityOf(temp, rh, wet, pressure float64) (float64, bool) {
	if math.IsNaN(temp) {
		return 0, false
	}
	if math.IsNaN(rh) {
		if math.IsNaN(wet) {
			return 0, false
		}
		v, err := meteo.RHFromWetBulb(temp, wet, pressure, meteo.Aspirated)
		return v, err == nil
	}
	v, _, err := meteo.UsableRH(rh)
	return v, err == nil
}

// derive fills in what was asked for beside the temperatures.
func (e *engine) derive(i int, r *result) error {
	d := &r.derived
	d.vpd, d.dew, d.deltaT, d.et0 = math.NaN(), math.NaN(), math.NaN(), math.NaN()
	sum := e.summaryOf(i)
	mean := func(name string, readings meteo.Series, from func(rh, temp float64) (float64, error)) (float64, int64, error) {
		if !e.air.asks(name) {
			return math.NaN(), 0, nil
		}
		v, covered, err := e.mean(i, readings)
		if err != nil || r.enough(covered) || !sum.known {
			return v, covered, err
		}
		temp := sum.mean
		if math.IsNaN(temp) && sum.extremes() {
			temp = (sum.low + sum.high) / 2
		}
		if rh, ok := humidityOf(temp, sum.humidity, sum.wetBulb, pressureAt(e.ask.places, e.cal.bounds[i])); ok {
			if summed, err := from(rh, temp); err == nil { // else out of the range of the formula
				return summed, r.Length, nil
			}
		}
		return v, covered, nil
	}
	// A day's saturation pressure is the mean of both extremes' (FAO-56 eq. 12) where the summary has them.
	vapour := func(rh, temp float64) (float64, error) {
		if sum.extremes() {
			return meteo.VapourFromMeanRH(sum.low, sum.high, rh)
		}
		return meteo.VapourFromRH(temp, rh)
	}
	var err error
	if d.vpd, d.vpdSpan, err = mean(WithVPD, e.air.vpd, func(rh, temp float64) (float64, error) {
		if !sum.extremes() {
			return meteo.VPD(temp, rh)
		}
		es, err := meteo.DaySatVapour(sum.low, sum.high)
		return es * (1 - rh/100), err
	}); err != nil {
		return err
	}
	if d.dew, d.dewSpan, err = mean(WithDewPoint, e.air.dew, func(rh, temp float64) (float64, error) {
		ea, err := vapour(rh, temp)
		if err != nil {
			return 0, err
		}
		return meteo.DewPoint(ea)
	}); err != nil {
		return err
	}
	if d.deltaT, d.dryWet, err = mean(WithDeltaT, e.air.deltaT, func(rh, temp float64) (float64, error) {
		return meteo.DeltaT(temp, rh, pressureAt(e.ask.places, e.cal.bounds[i]))
	}); err != nil {
		return err
	}
	if e.air.asks(WithET0) {
		ea, covered, err := mean(WithET0, e.air.vapour, vapour)
		if err != nil {
			return err
		}
		if err := e.evaporation(i, r, ea, covered); err != nil {
			return err
		}
	}
	if e.air.asks(WithChill) {
		return e.chill(i, r)
	}
	return nil
}

// mean is the mean of readings over a day's covered time, along straight lines.
func (e *engine) mean(i int, readings meteo.Series) (mean float64, covered int64, err error) {
	s := readings.Between(e.cal.bounds[i], e.cal.bounds[i+1])
	if len(s.Times) == 0 {
		return math.NaN(), 0, nil
	}
	sum, err := meteo.Summarise(s, meteo.DayBounds{Start: e.cal.bounds[i], End: e.cal.bounds[i+1]}, meteo.Rules{MaxGap: e.ask.gap(e.cal.date(i))})
	return sum.Mean, milliseconds(sum.Covered), err
}

// evaporation fills in the reference evapotranspiration: Penman-Monteith where vapour, wind and radiation cover the day,
// else Hargreaves from its extremes.
func (e *engine) evaporation(i int, r *result, ea float64, covered int64) error {
	low, high, ok, err := e.lowHigh(i)
	if err != nil || !ok {
		return err
	}
	p := placeAt(e.ask.places, e.cal.bounds[i])
	orbit, err := meteo.OrbitOn(p.latitude, dayOfYear(r.Day.Day))
	if err != nil {
		return err
	}
	element := func(readings meteo.Series, summed float64) (float64, bool, error) {
		v, covered, err := e.mean(i, readings)
		if err == nil && !r.enough(covered) {
			v = summed
			if !e.summaryOf(i).known {
				v = math.NaN()
			}
		}
		return v, !math.IsNaN(v), err
	}
	s := e.summaryOf(i)
	wind, windy, err := element(e.air.wind, s.wind)
	if err != nil {
		return err
	}
	sun, sunny, err := element(e.air.solar, s.solar)
	if err != nil {
		return err
	}
	if r.enough(covered) && windy && sunny {
		if v, err := penman(p, orbit, low, high, ea, wind, sun); err == nil {
			r.derived.et0, r.derived.et0Method = v, "penman-monteith"
			return nil
		}
	}
	if v, err := meteo.Hargreaves(low, high, orbit.Radiation); err == nil {
		r.derived.et0, r.derived.et0Method = v, "hargreaves"
	}
	return nil
}

// dayOfYear is 1 on 1 January.
func dayOfYear(d civil.Date) int {
	return d.DayNumber() - civil.Date{Year: d.Year, Month: time.January, Day: 1}.DayNumber() + 1
}

// penman is FAO-56's equation for a day: wind in m/s at the sensor's height, sun as the day's mean in W/m2.
func penman(p place, orbit meteo.Orbit, low, high, ea, wind, sun float64) (float64, error) {
	if p.windHeight > 0 {
		var err error
		if wind, err = meteo.WindAt2m(wind, p.windHeight); err != nil {
			return 0, err
		}
	}
	const wattDays = 0.0864 // MJ/m2 a day in 1 W/m2
	rs := sun * wattDays
	rso, err := meteo.ClearSky(p.elevation, orbit.Radiation)
	if err != nil {
		return 0, err
	}
	rnl, err := meteo.NetLongwave(low, high, ea, rs, rso)
	if err != nil {
		return 0, err
	}
	return meteo.PenmanMonteith(meteo.ET0Input{
		Tmin: low, Tmax: high, Tmean: math.NaN(), Vapour: ea, Wind2: wind, Net: meteo.NetRadiation(rs, rnl), Elevation: p.elevation,
	})
}

// chill weighs the day's hours: readings where they answer for the day, each for what it stands for as under the count
// method; else hours rebuilt from the extremes of three days (meteo.Linvill).
func (e *engine) chill(i int, r *result) error {
	from, to := e.cal.bounds[i], e.cal.bounds[i+1]
	cut := e.cover.Between(from, to)
	if r.Method == "linear" || r.Method == "hold" || r.Method == "count" {
		each := nominal(cut, e.ask.gap(r.Day.Day))
		for k, t := range cut.Times {
			v, start := cut.Values[k], t-cut.Intervals[k]
			weight := float64(each)
			switch {
			case math.IsNaN(v):
				continue
			case start < t: // an interval, cut to the day
				weight = float64(min(t, to) - max(start, from))
			case t < from || t >= to:
				continue
			}
			if weight <= 0 {
				continue
			}
			weight /= float64(meteo.Hour)
			r.derived.chillHours += weight * meteo.ChillHoursC(v)
			r.derived.utah += weight * meteo.UtahC(v)
			r.derived.chillFor += weight
		}
		return nil
	}
	low, high, ok, err := e.lowHigh(i)
	if err != nil || !ok {
		return err
	}
	beforeLow, beforeHigh, before, err := e.lowHigh(i - 1)
	if err != nil {
		return err
	}
	afterLow, err := e.lowOf(i + 1)
	if err != nil {
		return err
	}
	if !before {
		beforeLow, beforeHigh = math.NaN(), math.NaN()
	}
	hours, sources, err := meteo.Linvill(meteo.LinvillDay{
		DayOfYear: dayOfYear(r.Day.Day), Latitude: placeAt(e.ask.places, from).latitude,
		Min: low, Max: high, PrevMin: beforeLow, PrevMax: beforeHigh, NextMin: afterLow,
	})
	if err != nil {
		return err
	}
	var sum meteo.ChillSum
	for k, v := range hours {
		if sources[k] == meteo.FromModel {
			sum.AddC(v)
		}
	}
	r.derived.chillHours, r.derived.utah, r.derived.chillFor = sum.Hours, sum.Utah, float64(sum.Readings)
	return nil
}
