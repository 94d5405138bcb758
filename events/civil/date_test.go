package civil_test

import (
	"encoding/json"
	"errors"
	"testing"
	"time"

	"latewood/events/civil"

	"pgregory.net/rapid"
)

func date(t *testing.T, s string) civil.Date {
	t.Helper()
	d, err := civil.ParseDate(s)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

func TestParseDate(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		text string
		want civil.Reason // "" where it is a date
	}{
		{"2026-05-03", ""}, {"0001-01-01", ""}, {"9999-12-31", ""}, {"2024-02-29", ""}, {"2000-02-29", ""}, {"1970-01-01", ""},
		{"2026-02-29", civil.BadDate}, {"1900-02-29", civil.BadDate}, {"2026-04-31", civil.BadDate}, {"2026-13-01", civil.BadDate},
		{"2026-00-10", civil.BadDate}, {"2026-01-00", civil.BadDate}, {"2026-01-32", civil.BadDate},
		{"0000-01-01", civil.BadYear},
		{"", civil.BadForm}, {"2026-5-3", civil.BadForm}, {"2026/05/03", civil.BadForm}, {"03.05.2026", civil.BadForm},
		{"2026-05-03 ", civil.BadForm}, {"+026-05-03", civil.BadForm}, {"2026-05-0x", civil.BadForm}, {"２026-05-3", civil.BadForm},
		{"2026-05", civil.BadForm}, {"20260503", civil.BadForm}, {"-026-05-03", civil.BadForm},
	} {
		d, err := civil.ParseDate(tt.text)
		if tt.want == "" {
			if err != nil || d.String() != tt.text || !d.Valid() || d.IsZero() {
				t.Errorf("ParseDate(%q): got %v, %v", tt.text, d, err)
			}
			continue
		}
		var form *civil.FormError
		if !errors.As(err, &form) || !errors.Is(err, civil.ErrForm) || form.Reason != tt.want || form.Text != tt.text || form.What != civil.DateText {
			t.Errorf("ParseDate(%q): got error %v, want reason %q", tt.text, err, tt.want)
		}
		if !d.IsZero() {
			t.Errorf("ParseDate(%q): got %v beside an error, want the zero Date", tt.text, d)
		}
	}
}

// Source: package time of the standard library, a second implementation of the same calendar.
func TestDateAgainstTime(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(-719162, 2932896).Draw(t, "n") // 0001-01-01 to 9999-12-31
		d := civil.FromDayNumber(n)
		want := time.Unix(int64(n)*86400, 0).UTC()
		if got := d.String(); got != want.Format(time.DateOnly) {
			t.Fatalf("FromDayNumber(%d): got %s, want %s", n, got, want.Format(time.DateOnly))
		}
		if got := d.DayNumber(); got != n {
			t.Fatalf("DayNumber of %s: got %d, want %d", d, got, n)
		}
		if !d.Valid() {
			t.Fatalf("%s is not valid", d)
		}
		if got := d.Weekday(); got != want.Weekday() {
			t.Fatalf("Weekday of %s: got %v, want %v", d, got, want.Weekday())
		}
		if got := civil.DateOf(want.Add(time.Hour), time.UTC); got != d {
			t.Fatalf("DateOf: got %s, want %s", got, d)
		}
		m := rapid.IntRange(-1000, 1000).Draw(t, "m")
		other := d.AddDays(m)
		if got := other.Sub(d); got != m {
			t.Fatalf("%s.Sub(%s): got %d, want %d", other, d, got, m)
		}
		if other.After(d) != (m > 0) || other.Before(d) != (m < 0) || (other.Compare(d) == 0) != (m == 0) {
			t.Fatalf("%s and %s are out of order", other, d)
		}
		back, err := civil.ParseDate(d.String())
		if err != nil || back != d {
			t.Fatalf("ParseDate(%s): got %v, %v", d, back, err)
		}
	})
}

func TestDateJSON(t *testing.T) {
	t.Parallel()
	type row struct {
		D civil.Date         `json:"d,omitzero"`
		P civil.Partial      `json:"p,omitzero"`
		M map[civil.Date]int `json:"m,omitempty"`
	}
	p, err := civil.ParsePartial("2011-06")
	if err != nil {
		t.Fatal(err)
	}
	d := date(t, "2026-05-03")
	got, err := json.Marshal(row{D: d, P: p, M: map[civil.Date]int{d: 1}})
	if want := `{"d":"2026-05-03","p":"2011-06","m":{"2026-05-03":1}}`; err != nil || string(got) != want {
		t.Errorf("got %s, %v, want %s", got, err, want)
	}
	var back row
	if err := json.Unmarshal(got, &back); err != nil || back.D != d || back.P != p || back.M[d] != 1 {
		t.Errorf("got %+v, %v", back, err)
	}
	if got, err := json.Marshal(row{}); err != nil || string(got) != "{}" {
		t.Errorf("nothing: got %s, %v, want {}", got, err)
	}
	if _, err := json.Marshal(civil.Date{}); !errors.Is(err, civil.ErrForm) {
		t.Errorf("zero Date: got error %v, want ErrForm", err)
	}
	if _, err := json.Marshal(civil.Partial{}); !errors.Is(err, civil.ErrForm) {
		t.Errorf("zero Partial: got error %v, want ErrForm", err)
	}
	if err := json.Unmarshal([]byte(`{"d":"2026-02-30"}`), &back); !errors.Is(err, civil.ErrForm) {
		t.Errorf("30 February: got error %v, want ErrForm", err)
	}
	if err := json.Unmarshal([]byte(`{"p":"2026-2"}`), &back); !errors.Is(err, civil.ErrForm) {
		t.Errorf("half a month: got error %v, want ErrForm", err)
	}
}

func TestParsePartial(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		text, first, last string
		precision         civil.Precision
	}{
		{"2011", "2011-01-01", "2011-12-31", civil.ToYear},
		{"2024-02", "2024-02-01", "2024-02-29", civil.ToMonth},
		{"2026-02", "2026-02-01", "2026-02-28", civil.ToMonth},
		{"2026-12", "2026-12-01", "2026-12-31", civil.ToMonth},
		{"2026-05-03", "2026-05-03", "2026-05-03", civil.ToDay},
		{"0000", "", "", ""}, {"2026-13", "", "", ""}, {"2026-", "", "", ""}, {"26", "", "", ""}, {"", "", "", ""}, {"201x", "", "", ""},
		{"2026-02-30", "", "", ""}, {"2026-5", "", "", ""},
	} {
		p, err := civil.ParsePartial(tt.text)
		if tt.first == "" {
			var form *civil.FormError
			if !errors.As(err, &form) || form.What != civil.PartialText || form.Text != tt.text || !p.IsZero() {
				t.Errorf("ParsePartial(%q): got %v, %v, want a FormError", tt.text, p, err)
			}
			continue
		}
		if err != nil || p.First.String() != tt.first || p.Last.String() != tt.last || p.Precision != tt.precision || p.String() != tt.text {
			t.Errorf("ParsePartial(%q): got %+v, %v", tt.text, p, err)
		}
	}
}
