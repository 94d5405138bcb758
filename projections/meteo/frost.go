package meteo

import (
	"fmt"
	"math"
)

// A FrostLimit is a temperature that a published rule hangs on.
type FrostLimit struct {
	Code string
	// F as published; the comparison in C is F to C, unrounded. From and To
	// differ only for a band.
	FromF, ToF float64
	Source     string
}

// FrostLimits lists published shelter-height limits (about 1.5 m, 5 ft, above
// ground: leaves and grass can be at freezing while the shelter reads 36 F).
// They are for orientation. No published limit for mature lychee was found, so
// none is here: the grower sets the threshold.
func FrostLimits() []FrostLimit {
	return []FrostLimit{
		{Code: "freeze-warning", FromF: 32, ToF: 32,
			Source: "published: NWS Blacksburg newsletter 2007, minimum at or below 32 F"},
		{Code: "frost-advisory", FromF: 33, ToF: 36,
			Source: "published: NWS Blacksburg newsletter 2007, with light wind and clear sky"},
		{Code: "hard-freeze", FromF: 28, ToF: 28,
			Source: "published: University of Wisconsin weather column, NWS offices"},
		{Code: "young-lychee-harmed", FromF: 26.6, ToF: 28.4,
			Source: "published: Paull & Duarte, Tropical Fruits, -2 to -3 C (the copy seen had lost the minus sign)"},
	}
}

// FrostRules are the settings of the frost functions, in the readings' unit
// and in milliseconds. All margins are project rules. The threshold is the
// grower's.
type FrostRules struct {
	Threshold float64
	// MaxGap: longest silence that is drawn over; also the silence at night
	// that raises the blind alert. 0 means [FrostMaxGap], half an hour. Hourly
	// data need more, and get later alarms.
	MaxGap int64
}

// Margins and times of the frost rules, degrees C and ms. Project rules.
const (
	watchMargin    = 3.0 // above the threshold, falling after sunset
	forecastMargin = 2.0 // forecast minimum above the threshold
	warnMargin     = 1.0 // above the threshold; also to be left for an end
	fallTime       = Hour
	reachTime      = 2 * Hour
	reachReadings  = 4
	confirmTime    = 10 * Minute
	endTime        = 30 * Minute
	exposureTime   = 30 * Minute
)

func (r FrostRules) check() (FrostRules, error) {
	if err := finite("frost threshold", r.Threshold); err != nil {
		return r, err
	}
	if r.MaxGap < 0 {
		return r, fmt.Errorf("meteo: longest gap %d ms is negative: %w", r.MaxGap, ErrRules)
	}
	if r.MaxGap == 0 {
		r.MaxGap = FrostMaxGap
	}
	return r, nil
}

// DegreeHoursBelow is the integral of threshold minus temperature over the
// time below the threshold, in degree-hours of the readings' unit, over
// covered time, by the method of the rules (Linear: trapezoids cut at the
// crossings).
//
// Source: project rule. Errors as [HoursBelow]. Set MaxGap to [FrostMaxGap]
// where it guides an alarm.
func DegreeHoursBelow(s Series, threshold float64, r Rules) (float64, Coverage, error) {
	// Turned upside down it is a sum of degrees above a base.
	if err := s.lengths(); err != nil {
		return 0, Coverage{}, err
	}
	m, err := NewDegreeDayMeter(-threshold, NoUpper(), r)
	if err != nil {
		return 0, Coverage{}, err
	}
	for i, t := range s.Times {
		m.AddInterval(t, s.interval(i), -s.Values[i])
	}
	total := m.Result()
	return total.Total * 24, total.Coverage, nil
}

// A FrostEvent is a stretch of frost at the threshold.
type FrostEvent struct {
	// Start is where the line crosses the threshold downwards (the reading
	// itself after a gap); End where it last crosses upwards, 0 while the
	// event is open. Unix milliseconds.
	Start, End int64
	Open       bool
	// Min and MinAt: the lowest reading.
	Min   float64
	MinAt int64
	// Hours at or below the threshold, and degree-hours below it, by straight
	// lines over covered time.
	Hours, DegreeHours float64
	// Exposure is the coldest that lasted: the lowest temperature that was
	// not exceeded for 30 minutes on end; NaN where no 30 minutes of the
	// event are covered without a gap.
	Exposure float64
	// Gap: readings were missing for longer than MaxGap inside it.
	Gap bool
}

// FrostEvents finds frost in a series of instants, ordered by time.
//
// An event is confirmed by two readings at or below the threshold ten minutes
// or more apart with nothing above it between them and no gap. It ends once
// the temperature stays more than one degree above the threshold for 30
// minutes; shorter rises belong to it. A silence does not end it.
//
// Source: project rules. Intervals are read as instants at their end. Errors:
// [ErrLength], [ErrNotFinite], [ErrRules].
func FrostEvents(s Series, r FrostRules) ([]FrostEvent, error) {
	r, err := r.check()
	if err != nil {
		return nil, err
	}
	if err := s.lengths(); err != nil {
		return nil, err
	}
	f := frostFinder{rules: r, s: s, first: -1, last: -1}
	for i, v := range s.Values {
		if !usable(v) || (f.last >= 0 && s.Times[i] <= s.Times[f.last]) {
			continue
		}
		f.step(i)
		f.last = i
	}
	if f.confirmed {
		f.close(true)
	}
	return f.events, nil
}

// A frostFinder walks over readings by index. first is where the present run
// or event starts (-1: none), back the last reading at or below the threshold.
type frostFinder struct {
	rules     FrostRules
	s         Series
	events    []FrostEvent
	last      int
	first     int
	back      int
	confirmed bool
	warmSince int64 // since when every reading lies above the margin; 0: not
	warm      bool
}

func (f *frostFinder) step(i int) {
	t, v := f.s.Times[i], f.s.Values[i]
	gap := f.last >= 0 && t-f.s.Times[f.last] > f.rules.MaxGap
	if gap {
		f.warm = false
		if !f.confirmed {
			f.first = -1
		}
	}
	if v <= f.rules.Threshold {
		f.warm = false
		if f.first < 0 {
			f.first = i
		}
		f.back = i
		if !f.confirmed && t-f.s.Times[f.first] >= confirmTime {
			f.confirmed = true
		}
		return
	}
	if !f.confirmed {
		f.first = -1
		return
	}
	if v <= f.rules.Threshold+warnMargin {
		f.warm = false
		return
	}
	if !f.warm {
		f.warm, f.warmSince = true, t
	}
	if t-f.warmSince >= endTime {
		f.close(false)
	}
}

// close writes the event down; open while no end is known.
func (f *frostFinder) close(open bool) {
	s, c := f.s, f.rules.Threshold
	e := FrostEvent{Open: open, Min: math.Inf(1), Exposure: math.NaN()}
	e.Start = f.crossing(f.first, -1)
	if !open {
		e.End = f.crossing(f.back, +1)
	}
	stop := f.back
	if open {
		stop = f.last
	}
	// One reading further on either side, for the lines across the threshold.
	from, to := max(f.first-1, 0), min(stop+2, len(s.Times))
	rules := Rules{MaxGap: f.rules.MaxGap, From: e.Start, To: s.Times[stop] + 1}
	if !open {
		rules.To = e.End
	}
	if rules.To <= rules.From {
		rules.To = rules.From + 1
	}
	part := Series{Times: s.Times[from:to], Values: s.Values[from:to]}
	for i := f.first; i <= stop; i++ {
		if v := s.Values[i]; usable(v) && v < e.Min {
			e.Min, e.MinAt = v, s.Times[i]
		}
	}
	// At or below: the next number above the threshold makes it strict.
	below, errHours := HoursBelow(part, math.Nextafter(c, math.Inf(1)), rules)
	sum, _, errSum := DegreeHoursBelow(part, c, rules)
	if errHours == nil && errSum == nil {
		e.Hours, e.DegreeHours, e.Gap = below.Below, sum, below.Gaps > 0
	}
	e.Exposure = LowestFor(part, exposureTime, f.rules.MaxGap)
	f.events = append(f.events, e)
	f.first, f.confirmed, f.warm = -1, false, false
}

// crossing is the instant at which the line between reading i and its
// neighbour on the given side meets the threshold; the reading's own instant
// where there is no neighbour near enough.
func (f *frostFinder) crossing(i, side int) int64 {
	s, c := f.s, f.rules.Threshold
	for j := i + side; j >= 0 && j < len(s.Times); j += side {
		if !usable(s.Values[j]) {
			continue
		}
		span := s.Times[j] - s.Times[i]
		if span*int64(side) <= 0 {
			continue // not in order: left out everywhere
		}
		if span > f.rules.MaxGap || -span > f.rules.MaxGap || s.Values[j] <= c {
			break
		}
		share := (c - s.Values[i]) / (s.Values[j] - s.Values[i])
		return s.Times[i] + int64(math.Round(share*float64(span)))
	}
	return s.Times[i]
}

// LowestFor is the lowest value that was not exceeded for a whole stretch of
// time on end (ms), along straight lines between instants not further apart
// than maxGap: the number to hold against kill tables that speak of 30
// minutes' exposure. NaN where no such stretch is covered.
//
// Source: project rule. It looks at every placing of the stretch, not only at
// those that start with a reading.
func LowestFor(s Series, stretch, maxGap int64) float64 {
	best := math.NaN()
	run := make([]int, 0, len(s.Times))
	flush := func() {
		if low := lowestInRun(s, run, stretch); math.IsNaN(best) || low < best {
			best = low
		}
		run = run[:0]
	}
	for i, v := range s.Values {
		if !usable(v) {
			continue
		}
		if n := len(run); n > 0 {
			if step := s.Times[i] - s.Times[run[n-1]]; step <= 0 {
				continue
			} else if step > maxGap {
				flush()
			}
		}
		run = append(run, i)
	}
	flush()
	return best
}

// lowestInRun handles one run without a gap. The best placing has an end on a
// reading, or is where the values at both ends are equal; between two
// neighbouring such placings both ends move along straight lines.
func lowestInRun(s Series, run []int, stretch int64) float64 {
	n := len(run)
	if n < 2 || s.Times[run[n-1]]-s.Times[run[0]] < stretch {
		return math.NaN()
	}
	at := func(i int) (float64, float64) { return float64(s.Times[run[i]]), s.Values[run[i]] }
	first, _ := at(0)
	final, _ := at(n - 1)
	width := float64(stretch)
	value := func(i int, t float64) float64 { // along the line that starts at reading i
		t0, v0 := at(i)
		t1, v1 := at(i + 1)
		return v0 + (v1-v0)*(t-t0)/(t1-t0)
	}
	best := math.Inf(1)
	left, right := 0, 0 // lines under the two ends of the stretch
	start := first
	for start+width <= final {
		for left < n-2 {
			if t, _ := at(left + 1); t > start {
				break
			}
			left++
		}
		for right < n-2 {
			if t, _ := at(right + 1); t > start+width {
				break
			}
			right++
		}
		// How far can it move before an end reaches the next reading?
		nextLeft, _ := at(left + 1)
		nextRight, _ := at(right + 1)
		room := math.Min(nextLeft-start, nextRight-start-width)
		inner := math.Inf(-1)
		for i := left + 1; i <= right; i++ {
			if t, v := at(i); t >= start && t <= start+width {
				inner = math.Max(inner, v)
			}
		}
		a0, b0 := value(left, start), value(right, start+width)
		a1, b1 := value(left, start+math.Max(0, room)), value(right, start+width+math.Max(0, room))
		best = math.Min(best, math.Max(inner, math.Max(a0, b0)))
		if d0, d1 := a0-b0, a1-b1; room > 0 && d0*d1 < 0 {
			meet := a0 + (a1-a0)*(d0/(d0-d1))
			best = math.Min(best, math.Max(inner, meet))
		}
		if room <= 0 {
			break
		}
		best = math.Min(best, math.Max(inner, math.Max(a1, b1)))
		start += room
	}
	return best
}

// A FrostLevel is the state of a frost alert.
type FrostLevel uint8

// The levels.
const (
	FrostNone FrostLevel = iota
	FrostWatch
	FrostWarn
	FrostNow // an event is on
)

// String gives a code: none, watch, warn, event.
func (l FrostLevel) String() string {
	switch l {
	case FrostNone:
		return "none"
	case FrostWatch:
		return "watch"
	case FrostWarn:
		return "warn"
	case FrostNow:
		return "event"
	}
	return fmt.Sprintf("frost-level(%d)", uint8(l))
}

// Reasons why a frost level stands.
const (
	FrostByForecast = "forecast-minimum" // forecast within 2 C of the threshold
	FrostByFalling  = "falling"          // within 3 C and falling for an hour after sunset
	FrostByNear     = "near"             // within 1 C, now or in the last 30 minutes
	FrostByTrend    = "trend"            // the last hour's line reaches the threshold within 2 h
	FrostByReadings = "readings"         // at or below it for 10 minutes, not yet over
)

// A FrostVerdict is a level, why, and whether the station has gone silent.
type FrostVerdict struct {
	Level  FrostLevel
	Reason string
	// Blind: no reading for longer than MaxGap, at night, and the last one
	// within 3 C of the threshold. Silence is not good news.
	Blind bool
	// Last and LastAt: the latest usable reading; NaN and 0 without one.
	Last   float64
	LastAt int64
}

// Frost judges the alert at an instant now from the readings up to it (the
// night's, best from the afternoon on), the sun's times and a forecast
// minimum (NaN: none). Night is [sunset, sunrise), Unix milliseconds.
//
//	watch  within 3 C and falling for 60 minutes after sunset; or forecast minimum within 2 C
//	warn   within 1 C (now or in the last 30 minutes); or the straight line through the last
//	       60 minutes (4 readings at least) reaches the threshold within 2 h
//	event  an open [FrostEvent]
//
// A reading older than MaxGap says nothing of now; an open event stands all the
// same. Margins are in the readings' unit and meant for C. Source: project
// rules. Errors as [FrostEvents].
func Frost(s Series, now, sunset, sunrise int64, forecastMin float64, r FrostRules) (FrostVerdict, error) {
	r, err := r.check()
	if err != nil {
		return FrostVerdict{}, err
	}
	if err := s.lengths(); err != nil {
		return FrostVerdict{}, err
	}
	n := len(s.Times)
	for n > 0 && s.Times[n-1] > now {
		n--
	}
	s = Series{Times: s.Times[:n], Values: s.Values[:n]}
	events, err := FrostEvents(s, r)
	if err != nil {
		return FrostVerdict{}, err
	}
	v := FrostVerdict{Last: math.NaN()}
	for i := n - 1; i >= 0; i-- {
		if usable(s.Values[i]) {
			v.Last, v.LastAt = s.Values[i], s.Times[i]
			break
		}
	}
	silent := !usable(v.Last) || now-v.LastAt > r.MaxGap
	v.Blind = silent && now >= sunset && now < sunrise && v.Last <= r.Threshold+watchMargin
	look := frostLook{s: s, now: now, c: r.Threshold}
	switch {
	case len(events) > 0 && events[len(events)-1].Open:
		v.Level, v.Reason = FrostNow, FrostByReadings
	case !silent && look.lowest(endTime) <= r.Threshold+warnMargin:
		v.Level, v.Reason = FrostWarn, FrostByNear
	case !silent && look.reaches():
		v.Level, v.Reason = FrostWarn, FrostByTrend
	case !silent && v.Last <= r.Threshold+watchMargin && look.falling(sunset):
		v.Level, v.Reason = FrostWatch, FrostByFalling
	case forecastMin <= r.Threshold+forecastMargin:
		v.Level, v.Reason = FrostWatch, FrostByForecast
	}
	return v, nil
}

// A frostLook looks back from now over a series that ends there.
type frostLook struct {
	s   Series
	now int64
	c   float64
}

// lowest is the lowest reading of the last span ms.
func (l frostLook) lowest(span int64) float64 {
	low := math.Inf(1)
	for i := len(l.s.Times) - 1; i >= 0 && l.now-l.s.Times[i] <= span; i-- {
		if v := l.s.Values[i]; usable(v) && v < low {
			low = v
		}
	}
	return low
}

// line is the least-squares line through the last hour: value at now, slope
// per ms, and the number of readings.
func (l frostLook) line() (atNow, slope float64, n int) {
	var st, sv, stt, stv float64
	for i := len(l.s.Times) - 1; i >= 0 && l.now-l.s.Times[i] <= fallTime; i-- {
		v := l.s.Values[i]
		if !usable(v) {
			continue
		}
		t := float64(l.s.Times[i] - l.now)
		n++
		st, sv, stt, stv = st+t, sv+v, stt+t*t, stv+t*v
	}
	k := float64(n)
	if d := k*stt - st*st; n >= 2 && d > 0 {
		slope = (k*stv - st*sv) / d
		atNow = (sv - slope*st) / k
	}
	return atNow, slope, n
}

// reaches tells whether that line meets the threshold within two hours.
func (l frostLook) reaches() bool {
	atNow, slope, n := l.line()
	return n >= reachReadings && slope < 0 && atNow+slope*float64(reachTime) <= l.c
}

// falling tells whether the line has fallen for an hour, all of it after
// sunset, and the hour ended lower than it began.
func (l frostLook) falling(sunset int64) bool {
	if l.now-fallTime < sunset {
		return false
	}
	_, slope, n := l.line()
	if n < 2 || slope >= 0 {
		return false
	}
	first, last := math.NaN(), math.NaN()
	for i := len(l.s.Times) - 1; i >= 0 && l.now-l.s.Times[i] <= fallTime; i-- {
		if v := l.s.Values[i]; usable(v) {
			if math.IsNaN(last) {
				last = v
			}
			first = v
		}
	}
	return last < first
}
