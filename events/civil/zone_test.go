package civil_test

import (
	"encoding/csv"
	"errors"
	"os"
	"strconv"
	"testing"
	"time"

	"latewood/events/civil"

	"pgregory.net/rapid"
)

func zone(t interface {
	Helper()
	Fatal(...any)
}, name string) *time.Location {
	t.Helper()
	loc, err := civil.Zone(name)
	if err != nil {
		t.Fatal(err)
	}
	return loc
}

func TestZone(t *testing.T) {
	t.Parallel()
	for _, name := range []string{"", "Local", "local", "localtime", "posixrules", "right/UTC", "posix/UTC", "Nowhere/Orchard", "../UTC", "+10:00"} {
		loc, err := civil.Zone(name)
		var wrong *civil.ZoneError
		if !errors.Is(err, civil.ErrZone) || !errors.As(err, &wrong) || wrong.Name != name || loc != nil {
			t.Errorf("Zone(%q): got %v, %v, want a ZoneError", name, loc, err)
		}
	}
	if loc, err := civil.Zone("UTC"); err != nil || loc.String() != "UTC" {
		t.Errorf("Zone(UTC): got %v, %v", loc, err)
	}
}

// Source: testdata/vectors/local_day_bounds.csv, from the IANA time-zone database by another implementation (Python
// zoneinfo).
func TestDayBoundsAgainstVectors(t *testing.T) {
	t.Parallel()
	f, err := os.Open("../../testdata/vectors/local_day_bounds.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	rows, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	if got, want := len(rows)-1, 16; got != want {
		t.Errorf("rows: got %d, want %d", got, want)
	}
	for _, row := range rows[1:] {
		loc, d := zone(t, row[0]), date(t, row[1])
		start, end, length := civil.DayStart(d, loc), civil.DayEnd(d, loc), civil.DayLength(d, loc)
		hours, _ := strconv.ParseFloat(row[4], 64)
		if civil.FormatTime(start.UTC()) != row[2] || civil.FormatTime(end.UTC()) != row[3] || length.Hours() != hours {
			t.Errorf("%s %s: got %s to %s, %v, want %s to %s, %v h", row[0], row[1], start, end, length, row[2], row[3], hours)
		}
	}
}

// Sources: the IANA time-zone database's own history of these places; the instants follow from the moves named beside
// each line.
func TestDayStart(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		name, zone, date, want string
		length                 time.Duration
	}{
		{"midnight skipped to 01:00", "America/Sao_Paulo", "2018-11-04", "2018-11-04T01:00:00-02:00", 23 * time.Hour},
		{"midnight skipped to 01:00", "Asia/Beirut", "2022-03-27", "2022-03-27T01:00:00+03:00", 23 * time.Hour},
		{"midnight skipped to 01:00", "America/Havana", "2023-03-12", "2023-03-12T01:00:00-04:00", 23 * time.Hour},
		{"midnight comes twice, 01:00 back to 00:00", "America/Havana", "2023-11-05", "2023-11-05T00:00:00-04:00", 25 * time.Hour},
		{"24:00 back to 23:00: midnight once, the day before longer", "America/Sao_Paulo", "2018-02-18", "2018-02-18T00:00:00-03:00", 24 * time.Hour},
		{"the day before it", "America/Sao_Paulo", "2018-02-17", "2018-02-17T00:00:00-02:00", 25 * time.Hour},
		{"00:01 back to 23:01: the first minute counts", "America/St_Johns", "2006-10-29", "2006-10-29T00:00:00-02:30", 25 * time.Hour},
		{"date line: a day left out starts with the next", "Pacific/Apia", "2011-12-30", "2011-12-31T00:00:00+14:00", 0},
		{"date line: the day before", "Pacific/Apia", "2011-12-29", "2011-12-29T00:00:00-10:00", 24 * time.Hour},
		{"half an hour", "Australia/Lord_Howe", "2026-04-05", "2026-04-05T00:00:00+11:00", 24*time.Hour + 30*time.Minute},
		{"never moves", "Australia/Brisbane", "2026-10-04", "2026-10-04T00:00:00+10:00", 24 * time.Hour},
		{"UTC", "UTC", "2026-10-04", "2026-10-04T00:00:00Z", 24 * time.Hour},
		{"far future, by rule", "America/New_York", "2400-07-01", "2400-07-01T00:00:00-04:00", 24 * time.Hour},
		{"local mean time, -04:56:02", "America/New_York", "1880-05-01", "1880-05-01T00:00:02-04:56", 24 * time.Hour},
		{"local mean time, +08:05:43", "Asia/Shanghai", "1880-05-01", "1880-05-01T00:00:17+08:06", 24 * time.Hour},
	} {
		t.Run(tt.zone+" "+tt.date+" "+tt.name, func(t *testing.T) {
			t.Parallel()
			loc, d := zone(t, tt.zone), date(t, tt.date)
			start := civil.DayStart(d, loc)
			if got := civil.FormatTime(start); got != tt.want {
				t.Errorf("DayStart: got %s, want %s", got, tt.want)
			}
			if got := civil.DayLength(d, loc); got != tt.length {
				t.Errorf("DayLength: got %v, want %v", got, tt.length)
			}
			if tt.length > 0 && civil.DateOf(start, loc) != d {
				t.Errorf("the first instant is on %s", civil.DateOf(start, loc))
			}
			if before := civil.DateOf(start.Add(-time.Nanosecond), loc); !before.Before(d) {
				t.Errorf("the instant before the first is on %s already", before)
			}
		})
	}
}

// From 2038 on, on 31 December of leap years, the standard library names bounds that have gone by (see nextChange).
// Everything that walks from one period to the next must come to an end there all the same.
func TestLastDayOfLeapYears(t *testing.T) {
	t.Parallel()
	for _, name := range zones {
		loc := zone(t, name)
		for year := 2036; year < 2100; year += 4 {
			for _, d := range []civil.Date{{Year: year, Month: 12, Day: 30}, {Year: year, Month: 12, Day: 31}, {Year: year + 1, Month: 1, Day: 1}} {
				start := civil.DayStart(d, loc)
				w := civil.Wall{Date: d}
				if got := civil.WallOf(start, loc); got != w || civil.DayLength(d, loc) != 24*time.Hour {
					t.Errorf("%s %s: starts at %s and lasts %v, want midnight and 24h", name, d, got, civil.DayLength(d, loc))
				}
				if got := civil.Resolve(w, loc); len(got) != 1 || !got[0].Equal(start) {
					t.Errorf("%s %s: got %v, want %s", name, w, got, start)
				}
			}
		}
	}
}

// zones is a selection for the property tests: whole and half hours, moves at midnight, both hemispheres, none.
var zones = []string{
	"America/New_York", "Australia/Lord_Howe", "Australia/Brisbane", "America/Sao_Paulo", "America/Havana", "Asia/Beirut", "Asia/Kolkata",
	"Asia/Shanghai", "Pacific/Honolulu", "Pacific/Apia", "Europe/London", "Africa/Cairo", "America/Asuncion", "Antarctica/Troll", "Asia/Gaza", "UTC",
}

func TestDayProperties(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		loc := zone(t, rapid.SampledFrom(zones).Draw(t, "zone"))
		at := time.Unix(rapid.Int64Range(-1<<31, 1<<33).Draw(t, "unix"), 0)
		d := civil.DateOf(at, loc)
		start, end := civil.DayStart(d, loc), civil.DayEnd(d, loc)
		// Every instant lies in its day. (Places where clocks go back over midnight for minutes break this by design; none
		// of them is in the list after 1970 but Sao Paulo's and Havana's kind, which keep it.)
		if at.Unix() >= 0 && (at.Before(start) || !at.Before(end)) {
			t.Fatalf("%s is not in %s to %s", at.In(loc), start, end)
		}
		if got := civil.DateOf(start, loc); got != d {
			t.Fatalf("%s starts on %s", d, got)
		}
		if before := civil.DateOf(start.Add(-time.Nanosecond), loc); !before.Before(d) {
			t.Fatalf("%s starts at %s, after an instant of its own", d, start)
		}
		if length := end.Sub(start); length < 20*time.Hour || length > 28*time.Hour {
			t.Fatalf("%s lasts %v", d, length)
		}
	})
}
