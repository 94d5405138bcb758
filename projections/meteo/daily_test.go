package meteo

import (
	"errors"
	"math"
	"testing"
	"time"
	_ "time/tzdata" // the same zones on every machine

	"pgregory.net/rapid"
)

func zone(t *testing.T, name string) *time.Location {
	t.Helper()
	loc, err := time.LoadLocation(name)
	if err != nil {
		t.Fatal(err)
	}
	return loc
}

// Check table local_day_bounds.csv, exact. Computed from the IANA time-zone
// database by another library.
func TestLocalDayTable(t *testing.T) {
	t.Parallel()
	for _, r := range vectors(t, "local_day_bounds.csv", 16) {
		y, m, d := date(t, r.text("local_date"))
		b := must[DayBounds](t)(LocalDay(y, m, d, zone(t, r.text("zone"))))
		name := r.text("zone") + " " + r.text("local_date")
		if b.Start != instant(t, r.text("start_utc")) || b.End != instant(t, r.text("end_utc")) || b.Hours() != r.num("hours") {
			t.Errorf("%s: got %d to %d, %g h", name, b.Start, b.End, b.Hours())
		}
	}
}

// The night and noon stretches are wall-clock hours, also on the day on which
// the clock changes in between.
func TestLocalDayStretches(t *testing.T) {
	t.Parallel()
	b := must[DayBounds](t)(LocalDay(2026, 3, 8, zone(t, "America/New_York")))
	for _, c := range []struct {
		name, want string
		got        int64
	}{
		{"night from 03:00", "2026-03-08T03:00:00-04:00", b.NightFrom},
		{"night to 07:00", "2026-03-08T07:00:00-04:00", b.NightTo},
		{"noon from 12:00", "2026-03-08T12:00:00-04:00", b.NoonFrom},
		{"noon to 16:00", "2026-03-08T16:00:00-04:00", b.NoonTo},
	} {
		if c.got != instant(t, c.want) {
			t.Errorf("%s: got %d, want %s", c.name, c.got, c.want)
		}
	}
}

// Days whose midnight is skipped, struck twice or left out altogether. The
// clock changes are those of the IANA time-zone database.
func TestLocalDayAtMidnightChanges(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name, zone, date, start string
		hours                   float64
	}{
		{"midnight skipped", "America/Sao_Paulo", "2018-11-04", "2018-11-04T03:00:00Z", 23},
		{"day before it", "America/Sao_Paulo", "2018-11-03", "2018-11-03T03:00:00Z", 24},
		{"midnight falls back to the day before", "America/Sao_Paulo", "2018-02-17", "2018-02-17T02:00:00Z", 25},
		{"day after it", "America/Sao_Paulo", "2018-02-18", "2018-02-18T03:00:00Z", 24},
		{"midnight skipped, east", "Asia/Beirut", "2022-03-27", "2022-03-26T22:00:00Z", 23},
		{"midnight strikes twice", "America/Havana", "2025-11-02", "2025-11-02T04:00:00Z", 25},
		{"midnight skipped, Cuba", "America/Havana", "2025-03-09", "2025-03-09T05:00:00Z", 23},
		{"a date left out", "Pacific/Apia", "2011-12-30", "2011-12-30T10:00:00Z", 0},
		{"the date after it", "Pacific/Apia", "2011-12-31", "2011-12-30T10:00:00Z", 24},
		{"no changes", "UTC", "2026-02-28", "2026-02-28T00:00:00Z", 24},
	}
	for _, tt := range tests {
		y, m, d := date(t, tt.date)
		b := must[DayBounds](t)(LocalDay(y, m, d, zone(t, tt.zone)))
		if b.Start != instant(t, tt.start) || b.Hours() != tt.hours {
			t.Errorf("%s: got %s, %g h; want %s, %g h", tt.name, time.UnixMilli(b.Start).UTC().Format(time.RFC3339), b.Hours(), tt.start, tt.hours)
		}
	}
	if _, err := LocalDay(2026, 2, 30, time.UTC); !errors.Is(err, ErrRange) {
		t.Errorf("30 February: got %v, want ErrRange", err)
	}
}

func TestLocalDaysAbut(t *testing.T) {
	t.Parallel()
	zones := []*time.Location{time.UTC}
	for _, name := range []string{"America/New_York", "Australia/Lord_Howe", "America/Sao_Paulo", "America/Havana", "Pacific/Apia", "Asia/Beirut", "Asia/Kolkata"} {
		zones = append(zones, zone(t, name))
	}
	rapid.Check(t, func(t *rapid.T) {
		loc := rapid.SampledFrom(zones).Draw(t, "zone")
		at := time.Date(1975, 1, 1+rapid.IntRange(0, 22000).Draw(t, "day"), 0, 0, 0, 0, time.UTC)
		next := at.AddDate(0, 0, 1)
		a, err := LocalDay(at.Year(), at.Month(), at.Day(), loc)
		if err != nil {
			t.Fatal(err)
		}
		b, err := LocalDay(next.Year(), next.Month(), next.Day(), loc)
		if err != nil || a.End != b.Start {
			t.Fatalf("%s ends at %d, the next day starts at %d, %v", at.Format(time.DateOnly), a.End, b.Start, err)
		}
		if a.Hours() == 0 { // the date that Apia left out
			return
		}
		if a.Hours() < 23 || a.Hours() > 25 {
			t.Fatalf("%s has %g h", at.Format(time.DateOnly), a.Hours())
		}
		y, m, d := time.UnixMilli(a.Start).In(loc).Date()
		y2, m2, d2 := time.UnixMilli(a.Start - 1).In(loc).Date()
		if y != at.Year() || m != at.Month() || d != at.Day() || (y2 == y && m2 == m && d2 == d) {
			t.Fatalf("%s starts at %d, which is not its first instant", at.Format(time.DateOnly), a.Start)
		}
	})
}

// hourly makes a day and a bit of invented hourly readings, 24 h from start,
// both midnights included: lowest 10 at 05:00, highest 25 at 14:00.
func hourly(start int64) Series {
	values := []float64{14, 13, 12, 11, 10.5, 10, 11, 13, 15, 17, 19, 21, 23, 24, 25, 24, 22, 20, 19, 18, 17, 16, 15.5, 15, 14.5}
	s := Series{Values: values}
	for i := range values {
		s.Times = append(s.Times, start+int64(i)*Hour)
	}
	return s
}

func without(s Series, drop func(hour int) bool) Series {
	var out Series
	for i := range s.Times {
		if !drop(i) {
			out.Times, out.Values = append(out.Times, s.Times[i]), append(out.Values, s.Values[i])
		}
	}
	return out
}

func TestSummarise(t *testing.T) {
	t.Parallel()
	b := must[DayBounds](t)(LocalDay(2026, 1, 15, time.UTC))
	full := hourly(b.Start)
	day := must[DaySummary](t)(Summarise(full, b, Rules{}))
	if day.Min != 10 || day.MinAt != b.Start+5*Hour || day.Max != 25 || day.MaxAt != b.Start+14*Hour {
		t.Errorf("got %g at %d, %g at %d", day.Min, day.MinAt, day.Max, day.MaxAt)
	}
	if !day.MinValid || !day.MaxValid || day.Readings != 24 {
		t.Errorf("got valid %v, %v of %d readings", day.MinValid, day.MaxValid, day.Readings)
	}
	near(t, "covered", day.Covered, 24, 1e-9)
	sum := 0.0
	for _, v := range full.Values {
		sum += v
	}
	near(t, "linear mean", day.Mean, (sum-7-7.25)/24, 1e-9) // trapezoids: half of both ends
	near(t, "hold mean", must[DaySummary](t)(Summarise(full, b, Rules{Method: Hold})).Mean, (sum-14.5)/24, 1e-9)
	near(t, "count mean", must[DaySummary](t)(Summarise(full, b, Rules{Method: Count})).Mean, (sum-14.5)/24, 1e-9)

	tests := []struct {
		name            string
		drop            func(h int) bool
		minOK, maxOK    bool
		min, max, cover float64
	}{
		{"22 hours will do", func(h int) bool { return h > 22 }, true, true, 10, 25, 22},
		{"21 hours will not", func(h int) bool { return h > 21 }, false, false, 10, 25, 21},
		{"two hours' silence is bridged", func(h int) bool { return h == 14 }, true, true, 10, 24, 24},
		{"three are not", func(h int) bool { return h == 14 || h == 15 }, false, false, 10, 24, 21},
		{"nothing", func(int) bool { return true }, false, false, math.NaN(), math.NaN(), 0},
	}
	for _, tt := range tests {
		day := must[DaySummary](t)(Summarise(without(full, tt.drop), b, Rules{}))
		if day.MinValid != tt.minOK || day.MaxValid != tt.maxOK {
			t.Errorf("%s: got valid %v, %v", tt.name, day.MinValid, day.MaxValid)
		}
		if !(day.Min == tt.min || math.IsNaN(day.Min) && math.IsNaN(tt.min)) || !(day.Max == tt.max || math.IsNaN(day.Max) && math.IsNaN(tt.max)) {
			t.Errorf("%s: got %g..%g, want %g..%g", tt.name, day.Min, day.Max, tt.min, tt.max)
		}
		near(t, tt.name+" covered", day.Covered, tt.cover, 1e-9)
	}
	// 22 hours covered, the silence in the night: the maximum stands, the
	// minimum does not. A longest gap of 1 h 59 min keeps 04:00 to 06:00 open.
	day = must[DaySummary](t)(Summarise(without(full, func(h int) bool { return h == 5 }), b, Rules{MaxGap: 2*Hour - 1}))
	if day.MinValid || !day.MaxValid {
		t.Errorf("silent night: got valid %v, %v", day.MinValid, day.MaxValid)
	}
	day = must[DaySummary](t)(Summarise(without(full, func(h int) bool { return h == 14 }), b, Rules{MaxGap: 2*Hour - 1}))
	if !day.MinValid || day.MaxValid {
		t.Errorf("silent noon: got valid %v, %v", day.MinValid, day.MaxValid)
	}
}

func TestSummariseIntervals(t *testing.T) {
	t.Parallel()
	b := must[DayBounds](t)(LocalDay(2026, 1, 15, time.UTC))
	full := hourly(b.Start)
	// The same as hourly means ending at their stamps: the first, at midnight,
	// belongs to the day before and the last to this one.
	means := Series{Times: full.Times, Values: full.Values, Intervals: make([]int64, 25)}
	means.Lows, means.Highs = make([]float64, 25), make([]float64, 25)
	for i := range means.Intervals {
		means.Intervals[i], means.Lows[i], means.Highs[i] = Hour, full.Values[i]-0.5, math.NaN()
	}
	means.Values[0], means.Lows[0] = 2, 1 // the day before
	means.Values[24] = 40                 // this day's last hour
	day := must[DaySummary](t)(Summarise(means, b, Rules{}))
	if day.Min != 9.5 || day.Max != 40 || day.MaxAt != b.End || day.Readings != 24 {
		t.Errorf("got %g..%g at %d of %d readings", day.Min, day.Max, day.MaxAt, day.Readings)
	}
	sum := 0.0
	for _, v := range means.Values[1:] {
		sum += v
	}
	for _, m := range []Method{Linear, Hold, Count} {
		near(t, m.String(), must[DaySummary](t)(Summarise(means, b, Rules{Method: m})).Mean, sum/24, 1e-9)
	}
	if _, err := Summarise(means, DayBounds{}, Rules{}); !errors.Is(err, ErrRules) {
		t.Errorf("no day: got %v, want ErrRules", err)
	}
	if _, err := Summarise(means, b, Rules{Method: 7}); !errors.Is(err, ErrRules) {
		t.Errorf("no method: got %v, want ErrRules", err)
	}
	means.Lows = means.Lows[:3]
	if _, err := Summarise(means, b, Rules{}); !errors.Is(err, ErrLength) {
		t.Errorf("lows: got %v, want ErrLength", err)
	}
}

// A repeated wall hour in autumn and a skipped one in spring: readings are
// instants, so 25 and 23 hours come out whole.
func TestSummariseClockChanges(t *testing.T) {
	t.Parallel()
	loc := zone(t, "America/New_York")
	for _, tt := range []struct {
		day   int
		month time.Month
		hours float64
	}{{8, time.March, 23}, {1, time.November, 25}} {
		b := must[DayBounds](t)(LocalDay(2026, tt.month, tt.day, loc))
		var s Series
		for at := b.Start; at <= b.End; at += Hour {
			s.Times, s.Values = append(s.Times, at), append(s.Values, 15)
		}
		d := must[DaySummary](t)(Summarise(s, b, Rules{}))
		h := must[Hours](t)(HoursBelow(s, 20, Rules{From: b.Start, To: b.End}))
		near(t, "covered", d.Covered, tt.hours, 1e-9)
		near(t, "below", h.Below, tt.hours, 1e-9)
		near(t, "share", h.Share(), 1, 1e-12)
		if !d.MinValid || !d.MaxValid || d.Readings != int(tt.hours) {
			t.Errorf("%s: got %+v", tt.month, d)
		}
	}
}

func TestMonth(t *testing.T) {
	t.Parallel()
	nan := math.NaN()
	month := func(missing ...int) []float64 {
		days := repeat(20, 30)
		days[29] = 50
		for _, d := range missing {
			days[d] = nan
		}
		return days
	}
	tests := []struct {
		name           string
		days           []float64
		valid          bool
		missing, inRow int
		mean           float64
	}{
		{"whole", month(), true, 0, 0, 21},
		{"ten missing", month(0, 2, 4, 6, 8, 10, 12, 14, 16, 18), true, 10, 1, 21.5},
		{"eleven missing", month(0, 2, 4, 6, 8, 10, 12, 14, 16, 18, 20), false, 11, 1, nan},
		{"four in a row", month(3, 4, 5, 6), true, 4, 4, (25*20 + 50) / 26.0},
		{"five in a row", month(3, 4, 5, 6, 7), false, 5, 5, nan},
	}
	for _, tt := range tests {
		m := must[MonthSummary](t)(Month(tt.days))
		if m.Valid != tt.valid || m.Missing != tt.missing || m.InARow != tt.inRow || m.Days != 30 {
			t.Errorf("%s: got %+v", tt.name, m)
		}
		if tt.valid {
			near(t, tt.name, m.Mean, tt.mean, 1e-9)
		} else if !math.IsNaN(m.Mean) {
			t.Errorf("%s: got a mean of %g", tt.name, m.Mean)
		}
	}
	for _, n := range []int{0, 27, 32} {
		if _, err := Month(make([]float64, n)); !errors.Is(err, ErrRules) {
			t.Errorf("%d days: got %v, want ErrRules", n, err)
		}
	}
}

func TestSeriesCheck(t *testing.T) {
	t.Parallel()
	good := Series{Times: []int64{1, 2}, Values: []float64{1, 2}}
	if err := good.Check(); err != nil {
		t.Errorf("got %v", err)
	}
	same := Series{Times: []int64{1, 1}, Values: []float64{1, 2}}
	if err := same.Check(); !errors.Is(err, ErrRules) {
		t.Errorf("same instant: got %v, want ErrRules", err)
	}
	short := Series{Times: []int64{1, 2}, Values: []float64{1, 2}, Intervals: []int64{1}}
	if err := short.Check(); !errors.Is(err, ErrLength) {
		t.Errorf("intervals: got %v, want ErrLength", err)
	}
	if got := (Coverage{}).Share(); !math.IsNaN(got) {
		t.Errorf("share without a window: got %g", got)
	}
	if got := (Coverage{}).PerCoveredDay(3); !math.IsNaN(got) {
		t.Errorf("nothing covered: got %g", got)
	}
}
