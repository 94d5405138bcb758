package civil_test

import (
	"errors"
	"regexp"
	"strings"
	"testing"
	"time"

	"latewood/events/civil"

	"pgregory.net/rapid"
)

func TestParseTime(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		text      string
		want      string
		precision civil.Precision
		offset    bool
	}{
		{"2026-05-03T14:10:00+10:00", "2026-05-03T14:10:00+10:00", civil.ToSecond, true},
		{"2026-05-03T14:10:00Z", "2026-05-03T14:10:00Z", civil.ToSecond, true},
		{"2026-05-03T14:10:00+00:00", "2026-05-03T14:10:00Z", civil.ToSecond, true},
		{"2026-05-03T14:10:00-00:00", "2026-05-03T14:10:00Z", civil.ToSecond, true},
		{"2026-05-03T14:10:00-09:30", "2026-05-03T14:10:00-09:30", civil.ToSecond, true},
		{"2026-05-03T14:10:00.5-04:00", "2026-05-03T14:10:00.5-04:00", civil.ToSecond, true},
		{"2026-05-03T14:10:00.050Z", "2026-05-03T14:10:00.05Z", civil.ToSecond, true},
		{"2026-05-03T14:10:00.000Z", "2026-05-03T14:10:00Z", civil.ToSecond, true},
		{"2026-05-03T14:10:59.123Z", "2026-05-03T14:10:59.123Z", civil.ToSecond, true},
		{"2026-05-03 14:10:00Z", "2026-05-03T14:10:00Z", civil.ToSecond, true},
		{"2026-05-03T14:10Z", "2026-05-03T14:10:00Z", civil.ToMinute, true},
		{"2026-05-03T14:10:00", "2026-05-03T14:10:00-04:00", civil.ToSecond, false},
		{"2026-05-03T14:10", "2026-05-03T14:10:00-04:00", civil.ToMinute, false},
		{"2026-01-03 14:10", "2026-01-03T14:10:00-05:00", civil.ToMinute, false},
		{"2026-05-03", "2026-05-03T00:00:00-04:00", civil.ToDay, false},
		{"2026-11-01T01:30:00", "2026-11-01T01:30:00-05:00", civil.ToSecond, false}, // repeated: the later
		{"2026-11-01T01:30:00-04:00", "2026-11-01T01:30:00-04:00", civil.ToSecond, true},
		{"0001-01-01T00:00:00+15:59", "0001-01-01T00:00:00+15:59", civil.ToSecond, true},
		{"9999-12-31T23:59:59.999-15:59", "9999-12-31T23:59:59.999-15:59", civil.ToSecond, true},
		{"1969-12-31T23:59:59.25Z", "1969-12-31T23:59:59.25Z", civil.ToSecond, true},
	} {
		got, err := civil.ParseTime(tt.text, zone(t, "America/New_York"))
		if err != nil {
			t.Errorf("ParseTime(%q): %v", tt.text, err)
			continue
		}
		if civil.FormatTime(got.At) != tt.want || got.Precision != tt.precision || got.Offset != tt.offset {
			t.Errorf("ParseTime(%q): got %s, %s, %v, want %s, %s, %v", tt.text, civil.FormatTime(got.At), got.Precision, got.Offset, tt.want, tt.precision, tt.offset)
		}
	}
}

func TestParseTimeRefuses(t *testing.T) {
	t.Parallel()
	for text, want := range map[string]civil.Reason{
		"2026-05-03t14:10:00Z": civil.LowerCase, "2026-05-03T14:10:00z": civil.LowerCase,
		"2026-06-30T23:59:60Z": civil.LeapSecond, "2026-06-30T23:59:61Z": civil.BadClock, "2026-05-03T24:00:00Z": civil.BadClock,
		"2026-05-03T14:60:00Z": civil.BadClock, "2026-05-03T99:00": civil.BadClock,
		"0000-05-03T14:10:00Z": civil.BadYear, "2026-02-30T14:10:00Z": civil.BadDate, "2026-13-03": civil.BadDate,
		"2026-05-03T14:10:00.1234Z": civil.TooFine, "2026-05-03T14:10:00.000000Z": civil.TooFine, "2026-05-03T14:10:00.1234": civil.TooFine,
		"2026-05-03T14:10:00.Z": civil.BadForm, "2026-05-03T14:10:00.": civil.BadForm, "2026-05-03T14:10:00,5Z": civil.BadForm,
		"2026-05-03T14:10:00+10": civil.BadOffset, "2026-05-03T14:10:00+1000": civil.BadOffset, "2026-05-03T14:10:00+10:60": civil.BadOffset,
		"2026-05-03T14:10:00+16:00": civil.BadOffset, "2026-05-03T14:10:00+99:99": civil.BadOffset, "2026-05-03T14:10:00+1x:00": civil.BadOffset,
		"2026-05-03T14:10:00Z ": civil.BadForm, " 2026-05-03T14:10:00Z": civil.BadForm, "2026-05-03T14:10:00UTC": civil.BadForm,
		"2026-05-03T14:10:00 +10:00": civil.BadForm, "2026-05-03T14": civil.BadForm, "2026-05-03T": civil.BadForm, "2026-05-03T14:1": civil.BadForm,
		"2026-05-03T14:10:": civil.BadForm, "2026-05-03T14:10:0": civil.BadForm, "2026-05-03T1x:10:00": civil.BadForm, "2026-05-03T14:10:0x": civil.BadForm,
		"2026-05": civil.BadForm, "2026": civil.BadForm, "": civil.BadForm, "yesterday at noon": civil.BadForm, "03/05/2026 14:10": civil.BadForm,
		"20260503T141000Z": civil.BadForm, "2026-05-03X14:10:00Z": civil.BadForm,
	} {
		got, err := civil.ParseTime(text, time.UTC)
		var form *civil.FormError
		if !errors.As(err, &form) || form.Reason != want || form.What != civil.TimeText || form.Text != text {
			t.Errorf("ParseTime(%q): got %v, %v, want reason %q", text, got, err, want)
		}
	}
	for _, tt := range []struct{ zone, text string }{
		{"America/New_York", "2026-03-08T02:30:00"}, {"America/Sao_Paulo", "2018-11-04T00:00"}, {"Pacific/Apia", "2011-12-30"}, {"Pacific/Apia", "2011-12-30T10:00"},
	} {
		if got, err := civil.ParseTime(tt.text, zone(t, tt.zone)); !errors.Is(err, civil.ErrSkipped) {
			t.Errorf("ParseTime(%q, %s): got %v, %v, want ErrSkipped", tt.text, tt.zone, got, err)
		}
	}
	// A date whose midnight is skipped is a day like others.
	if got, err := civil.ParseTime("2018-11-04", zone(t, "America/Sao_Paulo")); err != nil || civil.FormatTime(got.At) != "2018-11-04T01:00:00-02:00" {
		t.Errorf("got %v, %v", got, err)
	}
}

func TestFormatRecorded(t *testing.T) {
	t.Parallel()
	east := time.FixedZone("", 10*3600)
	for _, tt := range []struct {
		t    time.Time
		want string
	}{
		{time.Date(2026, 5, 3, 0, 10, 0, 0, east), "2026-05-02T14:10:00.000Z"},
		{time.Date(2026, 5, 3, 14, 10, 0, 5e6, time.UTC), "2026-05-03T14:10:00.005Z"},
		{time.Date(2026, 5, 3, 14, 10, 0, 999_999_999, time.UTC), "2026-05-03T14:10:00.999Z"},
		{time.Date(1969, 12, 31, 23, 59, 59, 250e6, time.UTC), "1969-12-31T23:59:59.250Z"},
	} {
		if got := civil.FormatRecorded(tt.t); got != tt.want {
			t.Errorf("got %s, want %s", got, tt.want)
		}
	}
}

func TestAppendTimeKeepsWhatStandsThere(t *testing.T) {
	t.Parallel()
	at := time.Date(2026, 5, 3, 14, 10, 0, 120_999_999, time.FixedZone("", -9*3600-1800))
	if got, want := string(civil.AppendTime([]byte("at "), at)), "at 2026-05-03T14:10:00.12-09:30"; got != want {
		t.Errorf("got %s, want %s", got, want)
	}
}

// Source: package time of the standard library, a second writer and reader of RFC 3339.
func TestTimeAgainstRFC3339(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		offset := rapid.IntRange(-959, 959).Draw(t, "minutes") * 60
		at := time.Unix(rapid.Int64Range(-62135510400, 253402214400).Draw(t, "unix"), rapid.Int64Range(0, 999).Draw(t, "ms")*1e6).In(time.FixedZone("", offset))
		text := civil.FormatTime(at)
		if want := at.Format(time.RFC3339Nano); text != want {
			t.Fatalf("FormatTime: got %s, want %s", text, want)
		}
		got, err := civil.ParseTime(text, time.UTC)
		if err != nil || !got.At.Equal(at) || civil.FormatTime(got.At) != text || !got.Offset || got.Precision != civil.ToSecond {
			t.Fatalf("ParseTime(%s): got %+v, %v", text, got, err)
		}
		if got, want := civil.FormatRecorded(at), at.UTC().Format("2006-01-02T15:04:05.000Z"); got != want {
			t.Fatalf("FormatRecorded: got %s, want %s", got, want)
		}
	})
}

func FuzzParseTime(f *testing.F) {
	for _, s := range []string{"2026-05-03T14:10:00+10:00", "2026-05-03", "2026-11-01T01:30", "2026-03-08T02:30:00.5", "2026-05-03T14:10:00.123Z", "", "\xff"} {
		f.Add(s)
	}
	loc, err := civil.Zone("America/New_York")
	if err != nil {
		f.Fatal(err)
	}
	form := regexp.MustCompile(`^\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d{0,2}[1-9])?(Z|[+-]\d\d:\d\d)$`)
	f.Fuzz(func(t *testing.T, s string) {
		got, err := civil.ParseTime(s, loc)
		if err != nil {
			if !errors.Is(err, civil.ErrForm) && !errors.Is(err, civil.ErrSkipped) {
				t.Errorf("ParseTime(%q): %v is neither ErrForm nor ErrSkipped", s, err)
			}
			return
		}
		text := civil.FormatTime(got.At)
		if !form.MatchString(text) {
			t.Errorf("FormatTime of %q: %s", s, text)
		}
		again, err := civil.ParseTime(text, loc)
		if err != nil || !again.At.Equal(got.At) {
			t.Errorf("ParseTime(%q) is %s, which reads back as %v, %v", s, text, again, err)
		}
		// What the standard library reads too, it reads as the same instant.
		if want, err := time.Parse(time.RFC3339, strings.Replace(s, " ", "T", 1)); err == nil && !want.Equal(got.At) {
			t.Errorf("ParseTime(%q): got %s, want %s", s, got.At, want)
		}
	})
}
