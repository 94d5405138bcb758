package ingest

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"latewood/events"
)

// times reads a weather table and gives the times of its rows, or why they have none.
func times(t *testing.T, zoneName, text string) []string {
	t.Helper()
	z := zone(t, zoneName)
	var out []string
	door := events.Door{Catalogue: events.Standard(), Farm: "tern-hollow", Zone: zone(t, "Pacific/Honolulu")}
	r, err := Open(strings.NewReader(text), Options{As: "weather", Station: "hollow", Zone: z})
	if err != nil {
		t.Fatal(err)
	}
	for {
		row, err := r.Next()
		if err != nil {
			return out
		}
		a, problems := door.Check(row.Draft)
		switch {
		case len(row.Problems) > 0:
			out = append(out, row.Problems[0].Why.Key)
		case len(problems) > 0:
			out = append(out, problems[0].Why.Key)
		default:
			text := a.Draft.Time
			if i := row.Draft.Data.Get("interval"); i.Num != 0 {
				text += fmt.Sprintf(" %v", i.Num)
			}
			out = append(out, text)
		}
	}
}

func TestWeatherTimes(t *testing.T) {
	t.Parallel()
	for _, tc := range []struct {
		name, zone string
		times      string // blank for the heading's column, one a line
		want       string
	}{
		// New York 2026: 8 March has 23 hours, 1 November 25. Lord Howe moves its clocks by half an hour, on 5 April and 4 October
		// 2026. Published: IANA time zone database.
		{"days", "America/New_York", "2026-03-07 2026-03-08 2026-03-09 2026-11-01", "2026-03-08T00:00:00-05:00 86400, 2026-03-09T00:00:00-04:00 82800, 2026-03-10T00:00:00-04:00 86400, 2026-11-02T00:00:00-05:00 90000"},
		{"days of half an hour more and less", "Australia/Lord_Howe", "2026-04-05 2026-10-04", "2026-04-06T00:00:00+10:30 88200, 2026-10-05T00:00:00+11:00 84600"},
		{"days without moves", "Australia/Brisbane", "2026-04-05", "2026-04-06T00:00:00+10:00 86400"},
		{"a day that was left out", "Pacific/Apia", "2011-12-29 2011-12-30 2011-12-31", "2011-12-31T00:00:00+14:00 86400, ingest.skipped, 2012-01-01T00:00:00+14:00 86400"},
		{"no day", "UTC", "2026-02-30 soon", "refuse.time-date, refuse.not.moment"},
		{"hours that are repeated", "America/New_York", "2026-11-01T00:00 2026-11-01T01:00 2026-11-01T01:00 2026-11-01T02:00", "2026-11-01T00:00:00-04:00, 2026-11-01T01:00:00-04:00, 2026-11-01T01:00:00-05:00, 2026-11-01T02:00:00-05:00"},
		{"half hours that are repeated", "America/New_York", "2026-11-01T01:00 2026-11-01T01:30 2026-11-01T01:00 2026-11-01T01:30 2026-11-01T02:00",
			"2026-11-01T01:00:00-04:00, 2026-11-01T01:30:00-04:00, 2026-11-01T01:00:00-05:00, 2026-11-01T01:30:00-05:00, 2026-11-01T02:00:00-05:00"},
		{"an hour that is skipped", "America/New_York", "2026-03-08T01:30 2026-03-08T02:30 2026-03-08T03:30", "2026-03-08T01:30:00-05:00, ingest.skipped, 2026-03-08T03:30:00-04:00"},
		{"newest first", "America/New_York", "2026-11-01T02:00 2026-11-01T01:30 2026-11-01T01:00 2026-11-01T01:30 2026-11-01T00:30", "2026-11-01T02:00:00-05:00, ingest.backwards, ingest.backwards, ingest.backwards, 2026-11-01T00:30:00-04:00"},
		{"with offsets", "America/New_York", "2026-11-01T01:30:00-05:00 2026-11-01T01:30:00-04:00 2026-11-01T05:30:00Z", "2026-11-01T01:30:00-05:00, 2026-11-01T01:30:00-04:00, 2026-11-01T05:30:00Z"},
		{"a logger on standard time", "Etc/GMT+5", "2026-03-08T02:30 2026-11-01T01:30", "2026-03-08T02:30:00-05:00, 2026-11-01T01:30:00-05:00"},
		{"midnight at the end", "UTC", "2026-06-01T24:00", "refuse.time-clock"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			var b strings.Builder
			b.WriteString("time,airTemperature_C\n")
			for s := range strings.FieldsSeq(tc.times) {
				b.WriteString(s + ",20\n")
			}
			if got := strings.Join(times(t, tc.zone, b.String()), ", "); got != tc.want {
				t.Errorf("got  %s\nwant %s", got, tc.want)
			}
		})
	}
}

// Two stations in one file have a clock each.
func TestTwoLoggers(t *testing.T) {
	t.Parallel()
	got := strings.Join(times(t, "America/New_York", "time,station,airTemperature_C\n"+
		"2026-11-01T01:00,a,1\n2026-11-01T01:00,b,1\n2026-11-01T01:30,a,1\n2026-11-01T01:30,b,1\n2026-11-01T01:00,a,1\n2026-11-01T01:00,b,1\n"), " ")
	want := "2026-11-01T01:00:00-04:00 2026-11-01T01:00:00-04:00 2026-11-01T01:30:00-04:00 2026-11-01T01:30:00-04:00 2026-11-01T01:00:00-05:00 2026-11-01T01:00:00-05:00"
	if got != want {
		t.Errorf("got  %s\nwant %s", got, want)
	}
}

// A stated interval stays; on a day's row it must be the day's.
func TestIntervals(t *testing.T) {
	t.Parallel()
	got := strings.Join(times(t, "America/New_York", "time,airTemperature_C,interval\n2026-06-01T01:00,1,600\n2026-06-01T02:00,1,\n2026-06-01,1,86400\n2026-03-08,1,86400\n2026-11-01,1,86400\n"), ", ")
	want := "2026-06-01T01:00:00-04:00 600, 2026-06-01T02:00:00-04:00, 2026-06-02T00:00:00-04:00 86400, ingest.day-interval, ingest.day-interval"
	if got != want {
		t.Errorf("got  %s\nwant %s", got, want)
	}
}

// A year of hours, from one clock with all its moves, comes out an hour apart throughout.
func TestYearOfHours(t *testing.T) {
	t.Parallel()
	z := zone(t, "America/New_York")
	start := time.Date(2026, 1, 1, 0, 0, 0, 0, z)
	var b strings.Builder
	b.WriteString("time,airTemperature_C\n")
	const n = 365 * 24
	for i := range n {
		fmt.Fprintf(&b, "%s,%d\n", start.Add(time.Duration(i)*time.Hour).Format("01/02/2006 3:04:05 PM"), i%30)
	}
	r, err := Open(strings.NewReader(b.String()), Options{As: "weather", Station: "hollow", Zone: z, DateOrder: MDY})
	if err != nil {
		t.Fatal(err)
	}
	for i := range n {
		row, err := r.Next()
		if err != nil || len(row.Problems) > 0 {
			t.Fatal(err, row.Problems)
		}
		if want := start.Add(time.Duration(i) * time.Hour).Format(time.RFC3339); row.Draft.Time != want {
			t.Fatalf("row %d: got %s, want %s", i, row.Draft.Time, want)
		}
	}
	t.Logf("counts: %d hours", n)
}
