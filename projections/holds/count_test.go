package holds_test

import (
	"fmt"
	"math"
	"testing"
	"time"

	"latewood/events"
	"latewood/events/civil"
	"latewood/projections"
	"latewood/projections/holds"

	"pgregory.net/rapid"
)

// The readings of one interval, written down by hand.
//
// Source of the three readings: design of the project, compliance 4.2 (published sources are silent on how such days are
// counted); its example is the first row. Zone rules: IANA time zone database. New York 2026: clocks forward 8 March 02:00
// to 03:00, back 1 November 02:00 to 01:00. Lord Howe 2026: back 5 April 02:00 to 01:30, forward 4 October 02:00 to 02:30.
// Brisbane keeps +10:00.
func TestReadingsByHand(t *testing.T) {
	t.Parallel()
	const newYork, howe, brisbane = "America/New_York", "Australia/Lord_Howe", "Australia/Brisbane"
	for _, tt := range []struct {
		name, zone, ended     string
		value                 float64
		unit                  string
		date, elapsed, fullDs string
	}{
		{"compliance 4.2", newYork, "2026-06-01T16:00:00-04:00", 7, "d",
			"2026-06-08T00:00:00-04:00", "2026-06-08T16:00:00-04:00", "2026-06-09T00:00:00-04:00"},
		{"a week", newYork, "2026-06-01T16:00:00-04:00", 1, "wk",
			"2026-06-08T00:00:00-04:00", "2026-06-08T16:00:00-04:00", "2026-06-09T00:00:00-04:00"},
		{"hours", newYork, "2026-06-01T16:00:00-04:00", 7, "h", "", "2026-06-01T23:00:00-04:00", ""},
		{"no hours", newYork, "2026-06-01T16:00:00-04:00", 0, "h", "", "2026-06-01T16:00:00-04:00", ""},
		{"one day from midnight", newYork, "2026-06-01T00:00:00-04:00", 1, "d",
			"2026-06-02T00:00:00-04:00", "2026-06-02T00:00:00-04:00", "2026-06-03T00:00:00-04:00"},
		{"one day from the last second", newYork, "2026-06-01T23:59:59-04:00", 1, "d",
			"2026-06-02T00:00:00-04:00", "2026-06-02T23:59:59-04:00", "2026-06-03T00:00:00-04:00"},
		{"one day from a date", newYork, "2026-06-01", 1, "d",
			"2026-06-02T00:00:00-04:00", "2026-06-03T00:00:00-04:00", "2026-06-03T00:00:00-04:00"},
		{"seven days from a date", newYork, "2026-06-01", 7, "d",
			"2026-06-08T00:00:00-04:00", "2026-06-09T00:00:00-04:00", "2026-06-09T00:00:00-04:00"},
		{"hours from a date", newYork, "2026-06-01", 4, "h", "", "2026-06-02T04:00:00-04:00", ""},
		{"no days: by full days the day itself", newYork, "2026-06-01T16:00:00-04:00", 0, "d",
			"2026-06-01T16:00:00-04:00", "2026-06-01T16:00:00-04:00", "2026-06-02T00:00:00-04:00"},
		{"no days from a date", newYork, "2026-06-01", 0, "d",
			"2026-06-02T00:00:00-04:00", "2026-06-02T00:00:00-04:00", "2026-06-02T00:00:00-04:00"},

		{"spring, over the hour", newYork, "2026-03-07T16:00:00-05:00", 1, "d",
			"2026-03-08T00:00:00-05:00", "2026-03-08T17:00:00-04:00", "2026-03-09T00:00:00-04:00"},
		{"spring, a week", newYork, "2026-03-05T16:00:00-05:00", 7, "d",
			"2026-03-12T00:00:00-04:00", "2026-03-12T17:00:00-04:00", "2026-03-13T00:00:00-04:00"},
		{"spring, hours are real", newYork, "2026-03-07T20:00:00-05:00", 12, "h", "", "2026-03-08T09:00:00-04:00", ""},
		{"spring, midnight", newYork, "2026-03-08T00:00:00-05:00", 1, "d",
			"2026-03-09T00:00:00-04:00", "2026-03-09T01:00:00-04:00", "2026-03-10T00:00:00-04:00"},
		// 24 real hours from the last second end 59:59 after the full day: full days are raised to elapsed.
		{"spring, last second", newYork, "2026-03-07T23:59:59-05:00", 1, "d",
			"2026-03-08T00:00:00-05:00", "2026-03-09T00:59:59-04:00", "2026-03-09T00:59:59-04:00"},
		{"spring, a date", newYork, "2026-03-07", 1, "d",
			"2026-03-08T00:00:00-05:00", "2026-03-09T01:00:00-04:00", "2026-03-09T01:00:00-04:00"},
		{"autumn, over the hour", newYork, "2026-10-31T16:00:00-04:00", 1, "d",
			"2026-11-01T00:00:00-04:00", "2026-11-01T15:00:00-05:00", "2026-11-02T00:00:00-05:00"},
		{"autumn, a week", newYork, "2026-10-28T16:00:00-04:00", 1, "wk",
			"2026-11-04T00:00:00-05:00", "2026-11-04T15:00:00-05:00", "2026-11-05T00:00:00-05:00"},
		{"autumn, hours are real", newYork, "2026-10-31T20:00:00-04:00", 12, "h", "", "2026-11-01T07:00:00-05:00", ""},
		// 24 real hours from midnight end at 23:00 of the same day: elapsed is raised to the date.
		{"autumn, midnight", newYork, "2026-11-01T00:00:00-04:00", 1, "d",
			"2026-11-02T00:00:00-05:00", "2026-11-02T00:00:00-05:00", "2026-11-03T00:00:00-05:00"},
		{"autumn, last second", newYork, "2026-10-31T23:59:59-04:00", 1, "d",
			"2026-11-01T00:00:00-04:00", "2026-11-01T22:59:59-05:00", "2026-11-02T00:00:00-05:00"},
		{"autumn, in the repeated hour", newYork, "2026-11-01T01:30:00-05:00", 1, "d",
			"2026-11-02T00:00:00-05:00", "2026-11-02T01:30:00-05:00", "2026-11-03T00:00:00-05:00"},

		{"Lord Howe, half an hour back", howe, "2026-04-04T16:00:00+11:00", 1, "d",
			"2026-04-05T00:00:00+11:00", "2026-04-05T15:30:00+10:30", "2026-04-06T00:00:00+10:30"},
		{"Lord Howe, half an hour forward", howe, "2026-10-03T16:00:00+10:30", 1, "d",
			"2026-10-04T00:00:00+10:30", "2026-10-04T16:30:00+11:00", "2026-10-05T00:00:00+11:00"},
		{"Lord Howe, forward, last second", howe, "2026-10-03T23:59:59+10:30", 1, "d",
			"2026-10-04T00:00:00+10:30", "2026-10-05T00:29:59+11:00", "2026-10-05T00:29:59+11:00"},
		{"Lord Howe, back, midnight", howe, "2026-04-05T00:00:00+11:00", 1, "d",
			"2026-04-06T00:00:00+10:30", "2026-04-06T00:00:00+10:30", "2026-04-07T00:00:00+10:30"},
		{"Brisbane", brisbane, "2026-10-03T16:00:00+10:00", 7, "d",
			"2026-10-10T00:00:00+10:00", "2026-10-10T16:00:00+10:00", "2026-10-11T00:00:00+10:00"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			o := newOrchard(t, tt.zone)
			started := tt.ended
			if len(started) > 10 {
				started = o.when(tt.ended).Add(-time.Minute).Format(time.RFC3339)
			}
			item := o.label(label("A", numeric(tt.value, tt.unit, "")))
			o.sprayed(started, tt.ended, block("north"), item)
			s := o.state("north")
			end := tt.ended
			if len(end) == 10 {
				end += "T23:59:59.999"
			}
			// Right after the end the readings are all to come, or are the last that there are.
			after := o.when(end).Add(time.Millisecond)
			got := s.At(after, o.Zone()).Pick
			r := got.Readings
			if r == nil {
				t.Fatalf("no readings at %s: %+v", after, got)
			}
			if r.Date != tt.date || r.Elapsed != tt.elapsed || r.Full != tt.fullDs {
				t.Errorf("got date %s, elapsed %s, full-days %s\nwant date %s, elapsed %s, full-days %s", r.Date, r.Elapsed, r.Full, tt.date, tt.elapsed, tt.fullDs)
			}
		})
	}
}

// expected counts an interval the other way round than the package: with the wall clock of package time.
func expected(ended string, value int, unit, rule string, zone *time.Location) time.Time {
	dateOnly := len(ended) == 10
	var end time.Time
	if dateOnly {
		end, _ = time.ParseInLocation("2006-01-02", ended, zone)
	} else {
		end, _ = time.ParseInLocation("2006-01-02T15:04:05", ended, zone)
	}
	midnight := func(days int) time.Time { return time.Date(end.Year(), end.Month(), end.Day()+days, 0, 0, 0, 0, zone) }
	last := end
	if dateOnly {
		last = midnight(1)
	}
	if unit == "h" {
		return last.Add(time.Duration(value) * time.Hour)
	}
	if unit == "wk" {
		value *= 7
	}
	max := func(a, b time.Time) time.Time {
		if a.After(b) {
			return a
		}
		return b
	}
	date := max(midnight(value), last)
	elapsed := max(last.Add(time.Duration(value)*24*time.Hour), date)
	full := max(midnight(value+1), elapsed)
	return map[string]time.Time{"date": date, "elapsed": elapsed, "full-days": full, "label-says": full, "": full}[rule]
}

// The grid of compliance 4.2: every reading, unit, number and end, in zones and on days where clocks move, asked one second
// before, at, and one second after the opening. Each case has a block of its own.
func TestTheTable(t *testing.T) {
	t.Parallel()
	count := 0
	for _, day := range []struct{ zone, date string }{
		{"America/New_York", "2026-06-01"},
		{"America/New_York", "2026-03-07"}, // clocks forward on 8 March
		{"America/New_York", "2026-03-08"},
		{"America/New_York", "2026-03-02"},
		{"America/New_York", "2026-10-31"}, // clocks back on 1 November
		{"America/New_York", "2026-11-01"},
		{"America/New_York", "2026-10-26"},
		{"Australia/Lord_Howe", "2026-04-04"},
		{"Australia/Lord_Howe", "2026-04-05"},
		{"Australia/Lord_Howe", "2026-10-03"},
		{"Australia/Lord_Howe", "2026-10-04"},
		{"Australia/Brisbane", "2026-10-03"},
	} {
		o := newOrchard(t, day.zone)
		type asked struct {
			code, name string
			opens      time.Time
			instantly  bool // it opens at the very end of the application
		}
		var cases []asked
		for _, clock := range []string{"T00:00:00", "T16:00:00", "T23:59:59", ""} {
			for _, unit := range []string{"h", "d", "wk"} {
				for _, n := range []int{0, 1, 7} {
					for _, rule := range []string{"", "date", "elapsed", "full-days", "label-says"} {
						ended := day.date + clock
						code := fmt.Sprint("b", len(cases))
						o.sprayed(ended, ended, block(code), o.label(label("A", numeric(float64(n), unit, rule))))
						opens := expected(ended, n, unit, rule, o.Zone())
						cases = append(cases, asked{code, fmt.Sprint(day.zone, " ", ended, " ", n, " ", unit, " ", rule), opens, opens.Equal(expected(ended, 0, "h", "", o.Zone()))})
					}
				}
			}
		}
		book := o.Book()
		for _, c := range cases {
			count++
			s := projections.StateOf[holds.State](book, holds.Fold(), c.code)
			from := c.opens.Format(time.RFC3339)
			before := s.At(c.opens.Add(-time.Second), o.Zone()).Pick
			switch {
			case !c.instantly:
				want(t, c.name+", a second before", before, holds.Waiting, from)
			case before.Status != holds.InProgress && before.Status != holds.None:
				t.Errorf("%s, a second before the end: got %s, want in-progress, or none before the start", c.name, before.Status)
			}
			want(t, c.name+", then", s.At(c.opens, o.Zone()).Pick, holds.RunOut, from)
			want(t, c.name+", a second after", s.At(c.opens.Add(time.Second), o.Zone()).Pick, holds.RunOut, from)
			for at, in := range map[time.Time]bool{c.opens.Add(-time.Second): before.Status != holds.None, c.opens.Add(time.Second): false} {
				if got, _ := s.PickAt(block(c.code), at, o.Zone()); got != in {
					t.Errorf("%s: a pick at %s: got inside %v, want %v", c.name, at, got, in)
				}
			}
		}
	}
	t.Logf("counts: %d cases, each asked at three instants", count)
}

// Full days are never shorter than elapsed time, elapsed time never shorter than the date, and nothing opens before the
// end; in zones that move their clocks, and for ends at any second and for dates.
func TestReadingsKeepTheirOrder(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		name := rapid.SampledFrom([]string{"America/New_York", "Australia/Lord_Howe", "Australia/Brisbane", "Pacific/Honolulu", "Africa/Cairo", "America/Havana", "Asia/Beirut"}).Draw(t, "zone")
		zone, err := civil.Zone(name)
		if err != nil {
			t.Fatal(err)
		}
		day := civil.Date{Year: 2026, Month: 1, Day: 1}.AddDays(rapid.IntRange(0, 730).Draw(t, "day"))
		end := holds.End{At: civil.DayEnd(day, zone), Day: day}
		if rapid.Bool().Draw(t, "instant") {
			length := civil.DayLength(day, zone)
			second := rapid.OneOf(rapid.Int64Range(0, int64(length/time.Second)-1), rapid.Int64Range(0, 3600), rapid.Int64Range(int64(length/time.Second)-3600, int64(length/time.Second)-1)).Draw(t, "second")
			end.At = civil.DayStart(day, zone).Add(time.Duration(second) * time.Second)
		}
		n := float64(rapid.IntRange(0, 400).Draw(t, "n"))
		unit := rapid.SampledFrom([]string{"d", "wk"}).Draw(t, "unit")
		r, ok := holds.Count(end, n, unit, zone)
		if !ok {
			t.Fatal("not counted")
		}
		if r.Full.Before(r.Elapsed) || r.Elapsed.Before(r.Date) || r.Date.Before(end.At) {
			t.Fatalf("%v + %v %s: date %s, elapsed %s, full-days %s are out of order", end, n, unit, r.Date, r.Elapsed, r.Full)
		}
		// What the order raises, it raises by less than the clocks moved.
		days := n
		if unit == "wk" {
			days *= 7
		}
		if pure := end.At.Add(time.Duration(days) * 24 * time.Hour); r.Elapsed.Sub(pure) > time.Hour {
			t.Fatalf("elapsed %s is raised over %s by more than an hour", r.Elapsed, pure)
		}
		if pure := civil.DayStart(end.Day.AddDays(int(days)+1), zone); r.Full.Sub(pure) > time.Hour {
			t.Fatalf("full-days %s is raised over %s by more than an hour", r.Full, pure)
		}
		h, _ := holds.Count(end, n, "h", zone)
		if !h.Date.IsZero() || !h.Full.IsZero() || h.Elapsed.Sub(end.At) != time.Duration(n)*time.Hour {
			t.Fatalf("hours: got %+v", h)
		}
		if more, _ := holds.Count(end, n+1, unit, zone); more.Full.Before(r.Full) || more.Elapsed.Before(r.Elapsed) || more.Date.Before(r.Date) {
			t.Fatalf("one more opens earlier: %+v before %+v", more, r)
		}
	})
	if _, ok := holds.Count(holds.End{}, math.Pi, "month", time.UTC); ok {
		t.Error("months were counted")
	}
}

// A spray of which only the day is known opens no earlier than the same spray ended at 23:59:59, and a pick at noon of that
// day is inside.
func TestDateOnlyIsCareful(t *testing.T) {
	t.Parallel()
	for _, zone := range []string{"America/New_York", "Australia/Lord_Howe", "Australia/Brisbane"} {
		for _, day := range []string{"2026-03-07", "2026-04-04", "2026-06-01", "2026-10-03", "2026-10-31", "2026-11-01"} {
			for _, rule := range []string{"", "date", "elapsed", "full-days", "label-says"} {
				for _, w := range []events.Withholding{numeric(7, "d", rule), numeric(1, "wk", rule), numeric(48, "h", rule), numeric(0, "d", rule), {Kind: "zero"}} {
					o := newOrchard(t, zone, "day", "second")
					item := o.label(label("A", w, entry(12)))
					o.sprayed(day, day, block("day"), item)
					o.sprayed(day+"T23:59:59", day+"T23:59:59", block("second"), item)
					after := o.when(day + "T23:59:59").Add(time.Hour)
					ofDay, ofSecond := o.state("day").At(after, o.Zone()), o.state("second").At(after, o.Zone())
					for _, pair := range [][2]holds.Hold{{ofDay.Pick, ofSecond.Pick}, {ofDay.Enter, ofSecond.Enter}} {
						if when(t, pair[0].From, o.Zone()).Before(when(t, pair[1].From, o.Zone())) {
							t.Errorf("%s %s %v: the day opens %s, its last second %s", zone, day, w, pair[0].From, pair[1].From)
						}
					}
					noon := o.at("day", day+"T12:00:00")
					if noon.Pick.Status != holds.InProgress || noon.Enter.Status != holds.InProgress {
						t.Errorf("noon: got %s and %s, want in-progress", noon.Pick.Status, noon.Enter.Status)
					}
					if !contains(noon.Pick.Because[0].Marks, holds.MarkEndNotKnown) || !contains(o.at("day", day+"T00:00:00").Enter.Because[0].Marks, holds.MarkEndNotKnown) {
						t.Errorf("noon: got marks %v, want %s", noon.Pick.Because[0].Marks, holds.MarkEndNotKnown)
					}
					if in, _ := o.state("day").PickAt(block("day"), o.when(day+"T12:00:00"), o.Zone()); !in {
						t.Error("a pick at noon is not inside")
					}
				}
			}
		}
	}
}
