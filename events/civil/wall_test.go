package civil_test

import (
	"errors"
	"testing"
	"time"

	"latewood/events/civil"

	"pgregory.net/rapid"
)

// wall reads 2026-11-01T01:30 by way of UTC, which neither skips nor repeats.
func wall(t *testing.T, s string) civil.Wall {
	t.Helper()
	stamp, err := civil.ParseTime(s, time.UTC)
	if err != nil {
		t.Fatal(err)
	}
	return civil.WallOf(stamp.At, time.UTC)
}

func TestResolve(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		name, zone, wall string
		want             []string
	}{
		{"plain", "America/New_York", "2026-07-01T12:00", []string{"2026-07-01T12:00:00-04:00"}},
		{"skipped", "America/New_York", "2026-03-08T02:30", nil},
		{"first skipped second", "America/New_York", "2026-03-08T02:00", nil},
		{"before the gap", "America/New_York", "2026-03-08T01:59:59", []string{"2026-03-08T01:59:59-05:00"}},
		{"behind the gap", "America/New_York", "2026-03-08T03:00", []string{"2026-03-08T03:00:00-04:00"}},
		{"repeated", "America/New_York", "2026-11-01T01:30", []string{"2026-11-01T01:30:00-04:00", "2026-11-01T01:30:00-05:00"}},
		{"first repeated second", "America/New_York", "2026-11-01T01:00", []string{"2026-11-01T01:00:00-04:00", "2026-11-01T01:00:00-05:00"}},
		{"behind the repeat", "America/New_York", "2026-11-01T02:00", []string{"2026-11-01T02:00:00-05:00"}},
		{"fraction kept", "America/New_York", "2026-11-01T01:59:59.999", []string{"2026-11-01T01:59:59.999-04:00", "2026-11-01T01:59:59.999-05:00"}},
		{"half an hour repeated", "Australia/Lord_Howe", "2026-04-05T01:45", []string{"2026-04-05T01:45:00+11:00", "2026-04-05T01:45:00+10:30"}},
		{"half an hour: not repeated", "Australia/Lord_Howe", "2026-04-05T01:15", []string{"2026-04-05T01:15:00+11:00"}},
		{"half an hour skipped", "Australia/Lord_Howe", "2026-10-04T02:15", nil},
		{"half an hour: behind", "Australia/Lord_Howe", "2026-10-04T02:30", []string{"2026-10-04T02:30:00+11:00"}},
		{"never moves", "Australia/Brisbane", "2026-10-04T02:30", []string{"2026-10-04T02:30:00+10:00"}},
		{"midnight skipped", "America/Sao_Paulo", "2018-11-04T00:00", nil},
		{"eleven at night repeated", "America/Sao_Paulo", "2018-02-17T23:30", []string{"2018-02-17T23:30:00-02:00", "2018-02-17T23:30:00-03:00"}},
		{"midnight repeated", "America/Havana", "2023-11-05T00:00", []string{"2023-11-05T00:00:00-04:00", "2023-11-05T00:00:00-05:00"}},
		{"a day left out", "Pacific/Apia", "2011-12-30T12:00", nil},
		{"UTC", "UTC", "2026-10-04T02:30", []string{"2026-10-04T02:30:00Z"}},
	} {
		t.Run(tt.zone+" "+tt.name, func(t *testing.T) {
			t.Parallel()
			loc, w := zone(t, tt.zone), wall(t, tt.wall)
			got := civil.Resolve(w, loc)
			if len(got) != len(tt.want) {
				t.Fatalf("got %v, want %v", got, tt.want)
			}
			for i := range got {
				if civil.FormatTime(got[i]) != tt.want[i] {
					t.Errorf("instant %d: got %s, want %s", i, civil.FormatTime(got[i]), tt.want[i])
				}
			}
			later, err := civil.Later(w, loc)
			if len(got) == 0 {
				if !errors.Is(err, civil.ErrSkipped) {
					t.Errorf("Later: got %v, %v, want ErrSkipped", later, err)
				}
				return
			}
			if err != nil || !later.Equal(got[len(got)-1]) {
				t.Errorf("Later: got %v, %v, want the last", later, err)
			}
		})
	}
}

func TestSkippedErrorTellsTheMove(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		zone, wall, at string
		by             time.Duration
	}{
		{"America/New_York", "2026-03-08T02:30", "2026-03-08T03:00:00-04:00", time.Hour},
		{"Australia/Lord_Howe", "2026-10-04T02:15", "2026-10-04T02:30:00+11:00", 30 * time.Minute},
		{"America/Sao_Paulo", "2018-11-04T00:00", "2018-11-04T01:00:00-02:00", time.Hour},
		{"Pacific/Apia", "2011-12-30T23:59", "2011-12-31T00:00:00+14:00", 24 * time.Hour},
	} {
		_, err := civil.Later(wall(t, tt.wall), zone(t, tt.zone))
		var skip *civil.SkippedError
		if !errors.As(err, &skip) {
			t.Errorf("%s %s: got %v, want a SkippedError", tt.zone, tt.wall, err)
			continue
		}
		if skip.Wall != wall(t, tt.wall) || skip.Zone != tt.zone || civil.FormatTime(skip.At) != tt.at || skip.By != tt.by {
			t.Errorf("%s %s: got %+v, want %s by %v", tt.zone, tt.wall, skip, tt.at, tt.by)
		}
	}
}

func TestSeries(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		name, zone string
		walls      []string
		want       []string // the UTC time of day, or "skipped"
	}{
		{"hourly", "America/New_York",
			[]string{"2026-11-01T00:00", "2026-11-01T01:00", "2026-11-01T01:00", "2026-11-01T02:00"}, []string{"04:00", "05:00", "06:00", "07:00"}},
		{"half-hourly", "America/New_York",
			[]string{"2026-11-01T01:00", "2026-11-01T01:30", "2026-11-01T01:00", "2026-11-01T01:30", "2026-11-01T02:00"},
			[]string{"05:00", "05:30", "06:00", "06:30", "07:00"}},
		{"the first of a series rises", "America/New_York", []string{"2026-11-01T01:30", "2026-11-01T02:00"}, []string{"05:30", "07:00"}},
		{"falls in the middle", "America/New_York",
			[]string{"2026-11-01T01:50", "2026-11-01T01:20", "2026-11-01T01:50"}, []string{"05:50", "06:20", "06:50"}},
		{"once fallen, later to the end of the hour", "America/New_York",
			[]string{"2026-11-01T01:30", "2026-11-01T01:15", "2026-11-01T01:45"}, []string{"05:30", "06:15", "06:45"}},
		{"a fall from outside of the hour is none", "America/New_York", // an older file behind a newer one
			[]string{"2026-12-01T00:00", "2026-11-01T01:00", "2026-11-01T01:00"}, []string{"05:00", "05:00", "06:00"}},
		{"two years, two hours", "America/New_York",
			[]string{"2025-11-02T01:30", "2025-11-02T01:30", "2026-11-01T01:30", "2026-11-01T01:30"}, []string{"05:30", "06:30", "05:30", "06:30"}},
		{"back again after the hour", "America/New_York",
			[]string{"2026-11-01T01:30", "2026-11-01T01:30", "2026-11-01T02:00", "2026-11-01T01:30"}, []string{"05:30", "06:30", "07:00", "05:30"}},
		{"half an hour", "Australia/Lord_Howe",
			[]string{"2026-04-05T01:30", "2026-04-05T01:45", "2026-04-05T01:30", "2026-04-05T01:45", "2026-04-05T02:00"},
			[]string{"14:30", "14:45", "15:00", "15:15", "15:30"}},
		{"midnight", "America/Havana",
			[]string{"2023-11-04T23:00", "2023-11-05T00:00", "2023-11-05T00:00", "2023-11-05T01:00"}, []string{"03:00", "04:00", "05:00", "06:00"}},
		{"skipped and on", "America/New_York",
			[]string{"2026-03-08T01:30", "2026-03-08T02:00", "2026-03-08T02:30", "2026-03-08T03:00"}, []string{"06:30", "skipped", "skipped", "07:00"}},
		{"never moves", "Australia/Brisbane", []string{"2026-04-05T02:00", "2026-04-05T02:00"}, []string{"16:00", "16:00"}},
	} {
		t.Run(tt.zone+" "+tt.name, func(t *testing.T) {
			t.Parallel()
			s := civil.Series{Zone: zone(t, tt.zone)}
			for i, text := range tt.walls {
				at, err := s.Next(wall(t, text))
				got := at.UTC().Format("15:04")
				if errors.Is(err, civil.ErrSkipped) {
					got = "skipped"
				} else if err != nil {
					t.Fatal(err)
				}
				if got != tt.want[i] {
					t.Errorf("row %d, %s: got %s, want %s", i, text, got, tt.want[i])
				}
			}
		})
	}
}

// A clock that runs on and shows local time: the series must give back every instant, as long as both passes of an hour
// are there.
func TestSeriesGivesBackARunningClock(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		loc := zone(t, rapid.SampledFrom([]string{"America/New_York", "Europe/London", "America/Havana", "America/Sao_Paulo", "Australia/Brisbane"}).Draw(t, "zone"))
		step := time.Duration(rapid.SampledFrom([]int{1, 5, 10, 15, 20, 30, 60}).Draw(t, "minutes")) * time.Minute
		start := time.Unix(rapid.Int64Range(0, 60*366*24).Draw(t, "hour")*3600, 0) // 1970 to 2030
		if rapid.Bool().Draw(t, "autumn") {
			start = time.Date(rapid.IntRange(1990, 2030).Draw(t, "year"), rapid.SampledFrom([]time.Month{2, 10, 11}).Draw(t, "month"), 1, 0, 0, 0, 0, time.UTC)
		}
		s := civil.Series{Zone: loc}
		for i := range 40 * 24 {
			at := start.Add(time.Duration(i) * step)
			got, err := s.Next(civil.WallOf(at, loc))
			if err != nil || !got.Equal(at) {
				// The first reading may stand in the second pass of an hour: nothing says so.
				if err == nil && at.Sub(got) == time.Hour && at.Sub(start) < time.Hour {
					return
				}
				t.Fatalf("reading %d: got %v, %v, want %v", i, got, err, at.In(loc))
			}
		}
	})
}

// Resolve against the definition: exactly the instants whose wall is w.
func TestResolveProperties(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		loc := zone(t, rapid.SampledFrom(zones).Draw(t, "zone"))
		at := time.Unix(rapid.Int64Range(-1<<31, 1<<33).Draw(t, "unix"), rapid.Int64Range(0, 999).Draw(t, "ms")*1e6)
		if rapid.Bool().Draw(t, "near a move") {
			if _, end := at.In(loc).ZoneBounds(); !end.IsZero() {
				at = end.Add(time.Duration(rapid.IntRange(-7200, 7200).Draw(t, "seconds")) * time.Second)
			}
		}
		w := civil.WallOf(at, loc)
		if !w.Valid() {
			t.Fatalf("%s is not valid", w)
		}
		found := false
		var last time.Time
		for _, got := range civil.Resolve(w, loc) {
			if civil.WallOf(got, loc) != w {
				t.Fatalf("%s: got %s", w, got)
			}
			if !got.After(last) {
				t.Fatalf("%s: %s is not after %s", w, got, last)
			}
			last = got
			found = found || got.Equal(at)
		}
		if !found {
			t.Fatalf("%s: got %v, want %s among them", w, civil.Resolve(w, loc), at)
		}
		// A wall an hour on that resolves to nothing lies in a gap: time.Date then moves it, so it does not come back.
		next := civil.Wall{Date: w.Date, Hour: w.Hour, Minute: 59 - w.Minute, Second: w.Second}
		plain := time.Date(next.Date.Year, next.Date.Month, next.Date.Day, next.Hour, next.Minute, next.Second, 0, loc)
		if none := len(civil.Resolve(next, loc)) == 0; none != (civil.WallOf(plain, loc) != next) {
			t.Fatalf("%s: skipped is %v, time.Date says %s", next, none, plain)
		}
	})
}

func TestWallCompare(t *testing.T) {
	t.Parallel()
	a, b := wall(t, "2026-05-03T14:10:00.5"), wall(t, "2026-05-03T14:10:00.75")
	if a.Compare(b) != -1 || b.Compare(a) != 1 || a.Compare(a) != 0 || wall(t, "2026-05-04").Compare(a) != 1 {
		t.Errorf("%s and %s are out of order", a, b)
	}
	if got, want := a.String(), "2026-05-03T14:10:00.5"; got != want {
		t.Errorf("got %s, want %s", got, want)
	}
	if (civil.Wall{Date: a.Date, Hour: 24}).Valid() || (civil.Wall{}).Valid() {
		t.Error("24:00 or no date is valid")
	}
}
