package meteo

import (
	"fmt"
	"math"
	"sort"
)

// Lengths of time in milliseconds, the unit of every instant and interval.
const (
	Minute int64 = 60_000
	Hour         = 60 * Minute
	Day          = 24 * Hour
)

// Longest silences that are bridged between two readings, in milliseconds.
// Project rules: a temperature can be drawn straight over two hours without
// moving a daily total much, but a frost alarm may not assume half an hour.
const (
	DefaultMaxGap = 2 * Hour
	FrostMaxGap   = 30 * Minute
)

// farthest bounds the instants that are accepted (about 140,000 years), so
// that differences of times never overflow.
const farthest = int64(1) << 52

// A Series is a run of readings of one element at one station, ordered by
// time, as parallel slices.
//
// Times are Unix milliseconds, rising. Values are in the unit of the
// thresholds used with them; NaN stands for a missing value. Intervals, in
// milliseconds, tell for each reading that it speaks for [time-interval,
// time); nil, or 0 for one reading, means the instant. Lows and Highs are
// the extremes that a logger noted within the interval (nil, or NaN for one
// reading, where it noted none); only [Summarise] looks at them.
type Series struct {
	Times     []int64
	Values    []float64
	Intervals []int64
	Lows      []float64
	Highs     []float64
}

// Check reports slices of different length with [ErrLength] and times that do
// not rise with [ErrRules]. The meters do without it: they leave out a
// reading that does not come after the one before it, and count it.
func (s Series) Check() error {
	if err := s.lengths(); err != nil {
		return err
	}
	for i := 1; i < len(s.Times); i++ {
		if s.Times[i] <= s.Times[i-1] {
			return fmt.Errorf("meteo: reading %d at %d does not come after the one before it at %d: %w",
				i, s.Times[i], s.Times[i-1], ErrRules)
		}
	}
	return nil
}

func (s Series) lengths() error {
	n := len(s.Times)
	if len(s.Values) != n || wrong(len(s.Intervals), n) || wrong(len(s.Lows), n) || wrong(len(s.Highs), n) {
		return fmt.Errorf("meteo: %d times, %d values, %d intervals, %d lows, %d highs: %w",
			n, len(s.Values), len(s.Intervals), len(s.Lows), len(s.Highs), ErrLength)
	}
	return nil
}

// usable tells a number from a missing value.
func usable(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

func wrong(have, want int) bool { return have != 0 && have != want }

func (s Series) interval(i int) int64 {
	if s.Intervals == nil {
		return 0
	}
	return s.Intervals[i]
}

// Between returns the part of the series that says something about [from,
// to), in Unix milliseconds: the readings inside it and one neighbour on
// either side, so that the lines across both bounds can be drawn. No copying;
// two binary searches. Together with [Rules.From] and [Rules.To] it makes a
// year of days one run through the readings. The series must be ordered.
func (s Series) Between(from, to int64) Series {
	lo := sort.Search(len(s.Times), func(i int) bool { return s.Times[i] >= from })
	hi := lo + sort.Search(len(s.Times)-lo, func(i int) bool { return s.Times[lo+i] >= to })
	// A missing value is no neighbour: the line runs to the next real one.
	for lo > 0 {
		lo--
		if usable(s.Values[lo]) {
			break
		}
	}
	for hi < len(s.Times) {
		hi++
		if usable(s.Values[hi-1]) {
			break
		}
	}
	cut := Series{Times: s.Times[lo:hi], Values: s.Values[lo:hi]}
	if s.Intervals != nil {
		cut.Intervals = s.Intervals[lo:hi]
	}
	if s.Lows != nil {
		cut.Lows = s.Lows[lo:hi]
	}
	if s.Highs != nil {
		cut.Highs = s.Highs[lo:hi]
	}
	return cut
}

// A Method names how readings become time.
type Method uint8

// The methods. Project rule for the default: [Linear] for readings more often
// than daily.
const (
	// Linear draws straight lines between readings; hours are cut at the
	// exact crossings. For irregular or frequent readings.
	Linear Method = iota
	// Hold keeps each value until the next reading. For sensors that report
	// a step when it happens.
	Hold
	// Count takes the number of readings times a nominal interval, whatever
	// lies between them. For regular hourly readings and for chill tables,
	// which were made per hourly reading.
	Count
)

// String gives the method's name as stored with results: linear, hold, count.
func (m Method) String() string {
	switch m {
	case Linear:
		return "linear"
	case Hold:
		return "hold"
	case Count:
		return "count"
	}
	return fmt.Sprintf("method(%d)", uint8(m))
}

// ParseMethod reads the names that [Method.String] writes; anything else is
// [ErrRules].
func ParseMethod(name string) (Method, error) {
	for _, m := range []Method{Linear, Hold, Count} {
		if m.String() == name {
			return m, nil
		}
	}
	return 0, fmt.Errorf("meteo: method %q, known are linear, hold, count: %w", name, ErrRules)
}

// Rules say how readings are turned into time. The zero value is usable:
// linear, gaps up to two hours bridged, no window.
type Rules struct {
	// Method: see the constants.
	Method Method
	// MaxGap in milliseconds: a silence between two readings longer than
	// this adds neither hours nor coverage; one exactly as long still does.
	// 0 means [DefaultMaxGap]. The interval that a reading itself claims to
	// speak for is not a silence and counts whatever its length, so daily
	// means do not belong here: use the daily functions.
	MaxGap int64
	// Nominal in milliseconds: what one instant reading stands for under
	// [Count]; needed there, unused elsewhere. A reading with an interval of
	// its own stands for that interval.
	Nominal int64
	// From and To, Unix milliseconds: only [From, To) is measured, lines are
	// cut at both ends. Both 0: no window.
	From, To int64
}

func (r Rules) check() (Rules, error) {
	switch {
	case r.Method > Count:
		return r, fmt.Errorf("meteo: %s: %w", r.Method, ErrRules)
	case r.MaxGap < 0:
		return r, fmt.Errorf("meteo: longest gap %d ms is negative: %w", r.MaxGap, ErrRules)
	case r.Nominal < 0:
		return r, fmt.Errorf("meteo: nominal interval %d ms is negative: %w", r.Nominal, ErrRules)
	case (r.From != 0 || r.To != 0) && r.From >= r.To:
		return r, fmt.Errorf("meteo: window from %d to %d is empty: %w", r.From, r.To, ErrRules)
	}
	if r.MaxGap == 0 {
		r.MaxGap = DefaultMaxGap
	}
	if r.From == 0 && r.To == 0 {
		r.From, r.To = -2*farthest, 2*farthest
	}
	return r, nil
}

// windowed tells whether a real window was given.
func (r Rules) windowed() bool { return r.From > -2*farthest }

// A piece is a stretch of time with a straight line over it: value a at
// instant from, b at instant to. from == to is no piece.
type piece struct {
	from, to int64
	a, b     float64
}

func (p piece) length() float64 { return float64(p.to - p.from) }

// clip cuts a piece to [from, to); outside it the piece comes back empty.
func (p piece) clip(from, to int64) piece {
	if p.from >= from && p.to <= to {
		return p
	}
	if p.to <= from || p.from >= to {
		return piece{}
	}
	slope := (p.b - p.a) / float64(p.to-p.from)
	q := p
	if p.from < from {
		q.from, q.a = from, p.a+slope*float64(from-p.from)
	}
	if p.to > to {
		q.to, q.b = to, p.b-slope*float64(p.to-to)
	}
	return q
}

// A walker turns readings, one at a time, into pieces. It remembers the last
// reading only.
type walker struct {
	rules   Rules
	started bool
	lastT   int64
	lastV   float64

	covered  int64 // ms inside the window
	longest  int64 // ms, longest silence that was not bridged
	gaps     int   // number of silences that were not bridged
	readings int   // readings that speak inside the window
	ignored  int   // not a number, or not after the one before
}

// step takes one reading. bridge is the line from the reading before, own the
// stretch that the reading itself speaks for; both are cut to the window and
// may be empty. speaks tells whether the reading counts for the window, and
// taken whether it was used at all.
func (w *walker) step(t, interval int64, v float64) (bridge, own piece, speaks bool) {
	if !usable(v) || interval < 0 || interval > farthest ||
		t < -farthest || t > farthest || (w.started && t <= w.lastT) {
		w.ignored++
		return piece{}, piece{}, false
	}
	start := t - interval
	if w.started {
		if start < w.lastT {
			start = w.lastT
		}
		if hole := start - w.lastT; hole > w.rules.MaxGap {
			if w.lastT < w.rules.To && start > w.rules.From {
				w.gaps++
				w.longest = max(w.longest, hole)
			}
		} else if hole > 0 {
			b := v
			if w.rules.Method == Hold {
				b = w.lastV
			}
			bridge = piece{w.lastT, start, w.lastV, b}.clip(w.rules.From, w.rules.To)
			w.covered += bridge.to - bridge.from
		}
	}
	if interval > 0 {
		own = piece{start, t, v, v}.clip(w.rules.From, w.rules.To)
		w.covered += own.to - own.from
		speaks = own.to > own.from
	} else {
		speaks = t >= w.rules.From && t < w.rules.To
	}
	if speaks {
		w.readings++
	}
	w.started, w.lastT, w.lastV = true, t, v
	return bridge, own, speaks
}

// weight is what the reading stands for under the count method, in ms.
func (w *walker) weight(own piece, interval int64) int64 {
	if interval > 0 {
		return own.to - own.from
	}
	return w.rules.Nominal
}

// Coverage says how much of the time asked about had readings.
type Coverage struct {
	// Covered, hours: time between readings not further apart than the
	// longest gap, and time for which readings with an interval speak.
	Covered float64
	// Window, hours: length of the window asked for; 0 without a window.
	Window float64
	// Readings that speak inside the window, and readings left out because
	// they were not numbers or did not come after the one before them.
	Readings, Ignored int
	// Gaps: silences not bridged that touch the window; LongestGap, hours.
	// Silence before the first and after the last reading is not among them:
	// compare Covered with Window.
	Gaps       int
	LongestGap float64
}

func (w *walker) coverage() Coverage {
	c := Coverage{
		Covered:    hours(float64(w.covered)),
		Readings:   w.readings,
		Ignored:    w.ignored,
		Gaps:       w.gaps,
		LongestGap: hours(float64(w.longest)),
	}
	if w.rules.windowed() {
		c.Window = hours(float64(w.rules.To - w.rules.From))
	}
	return c
}

// Share is Covered / Window, 0 to 1; NaN without a window.
func (c Coverage) Share() float64 {
	if c.Window == 0 {
		return math.NaN()
	}
	return c.Covered / c.Window
}

// PerCoveredDay divides a total by the days covered (24 h each). It is how
// totals of periods with different gaps can be laid side by side; a total
// scaled up from it is an estimate and is to be labelled so (project rule).
// NaN where nothing is covered.
func (c Coverage) PerCoveredDay(total float64) float64 {
	if c.Covered == 0 {
		return math.NaN()
	}
	return total / (c.Covered / 24)
}

func hours(ms float64) float64 { return ms / float64(Hour) }
