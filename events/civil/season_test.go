package civil_test

import (
	"errors"
	"slices"
	"testing"
	"time"

	"latewood/events/civil"

	"pgregory.net/rapid"
)

var (
	north    = civil.DefaultTurn(27.5)
	south    = civil.DefaultTurn(-26.7)
	calendar = civil.Turn{Month: time.January, Day: 1, Slash: true}
)

func TestDefaultTurn(t *testing.T) {
	t.Parallel()
	for latitude, want := range map[float64]string{90: "10-01", 0: "10-01", -0.001: "04-01", -90: "04-01"} {
		turn := civil.DefaultTurn(latitude)
		if turn.String() != want || turn.Slash != (latitude < 0) || !turn.Valid() {
			t.Errorf("DefaultTurn(%v): got %+v, want %s", latitude, turn, want)
		}
	}
}

func TestCropYear(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		date string
		turn civil.Turn
		want civil.Season
	}{
		{"2025-09-30", north, "2025"}, {"2025-10-01", north, "2026"}, {"2026-01-01", north, "2026"}, {"2026-09-30", north, "2026"}, {"2026-10-01", north, "2027"},
		{"2025-03-31", south, "2024/25"}, {"2025-04-01", south, "2025/26"}, {"2026-03-31", south, "2025/26"}, {"2026-04-01", south, "2026/27"},
		{"1999-12-31", south, "1999/00"}, {"2000-03-31", south, "1999/00"},
		{"2026-01-01", calendar, "2026"}, {"2026-12-31", calendar, "2026"},
		{"2026-06-14", civil.Turn{Month: time.June, Day: 15}, "2026"}, {"2026-06-15", civil.Turn{Month: time.June, Day: 15}, "2027"},
	} {
		if got := civil.CropYear(date(t, tt.date), tt.turn); got != tt.want {
			t.Errorf("CropYear(%s, %s): got %q, want %q", tt.date, tt.turn, got, tt.want)
		}
	}
	if got := civil.CropYear(civil.Date{}, north); got != "" {
		t.Errorf("CropYear of no date: got %q, want none", got)
	}
	if got := civil.CropYear(date(t, "9999-12-31"), north); got != "" {
		t.Errorf("CropYear beyond the last year: got %q, want none", got)
	}
}

func TestSeasonSpan(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		season   civil.Season
		turn     civil.Turn
		from, to string
	}{
		{"2026", north, "2025-10-01", "2026-09-30"},
		{"2025/26", south, "2025-04-01", "2026-03-31"},
		{"1999/00", south, "1999-04-01", "2000-03-31"},
		{"2026", calendar, "2026-01-01", "2026-12-31"},
		{"2024", civil.Turn{Month: time.March, Day: 1}, "2023-03-01", "2024-02-29"},
	} {
		from, to, err := civil.SeasonSpan(tt.season, tt.turn)
		if err != nil || from.String() != tt.from || to.String() != tt.to {
			t.Errorf("SeasonSpan(%q, %s): got %s to %s, %v, want %s to %s", tt.season, tt.turn, from, to, err, tt.from, tt.to)
		}
	}
	for _, tt := range []struct {
		season  civil.Season
		turn    civil.Turn
		instead civil.Season
	}{{"2026", south, "2025/26"}, {"2025/26", north, "2026"}, {"2025/26", calendar, "2026"}} {
		_, _, err := civil.SeasonSpan(tt.season, tt.turn)
		var wrong *civil.SeasonError
		if !errors.As(err, &wrong) || !errors.Is(err, civil.ErrSeason) || wrong.Instead != tt.instead {
			t.Errorf("SeasonSpan(%q, %s): got %v, want %q instead", tt.season, tt.turn, err, tt.instead)
		}
	}
	if _, _, err := civil.SeasonSpan("last", north); !errors.Is(err, civil.ErrForm) {
		t.Errorf("SeasonSpan of no season: got %v, want ErrForm", err)
	}
}

func TestParseSeason(t *testing.T) {
	t.Parallel()
	for s, want := range map[string]civil.Reason{
		"2026": "", "2025/26": "", "1999/00": "", "2025/27": civil.BadSequence, "2025/25": civil.BadSequence, "2025/2026": civil.BadForm, "26": civil.BadForm,
		"": civil.BadForm, "2025-26": civil.BadForm, "202x": civil.BadForm, "2025/": civil.BadForm, "2025/2x": civil.BadForm, "0000": civil.NoSuchYear, "9999/00": civil.NoSuchYear,
	} {
		got, err := civil.ParseSeason(s)
		if want == "" {
			if err != nil || string(got) != s || !got.Valid() {
				t.Errorf("ParseSeason(%q): got %q, %v", s, got, err)
			}
			continue
		}
		var form *civil.FormError
		if !errors.As(err, &form) || form.Reason != want || form.What != civil.SeasonText {
			t.Errorf("ParseSeason(%q): got %v, want reason %q", s, err, want)
		}
	}
}

func TestSeasonOrder(t *testing.T) {
	t.Parallel()
	if got := civil.Season("2025/26").Next(); got != "2026/27" {
		t.Errorf("Next: got %q", got)
	}
	if got := civil.Season("2000/01").Prev(); got != "1999/00" {
		t.Errorf("Prev: got %q", got)
	}
	for _, s := range []civil.Season{civil.Season("9999").Next(), civil.Season("0001").Prev(), civil.Season("x").Next(), civil.Season("").Prev()} {
		if s != "" {
			t.Errorf("beyond the ends: got %q, want none", s)
		}
	}
	got := []civil.Season{"2026", "1999/00", "2025/26", "2001", "1999"}
	slices.SortFunc(got, civil.Season.Compare)
	if want := []civil.Season{"1999", "1999/00", "2001", "2026", "2025/26"}; !slices.Equal(got, want) {
		t.Errorf("sorted: got %v, want %v", got, want)
	}
}

func TestSeasonProperties(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		turn := rapid.SampledFrom([]civil.Turn{north, south, calendar, {Month: 2, Day: 29}, {Month: 3, Day: 1, Slash: true}, {Month: 12, Day: 31}, {Month: 1, Day: 2, Slash: true}}).Draw(t, "turn")
		d := civil.FromDayNumber(rapid.IntRange(-500000, 2900000).Draw(t, "day"))
		s := civil.CropYear(d, turn)
		from, to, err := civil.SeasonSpan(s, turn)
		if err != nil {
			t.Fatal(err)
		}
		if d.Before(from) || d.After(to) || !from.Valid() || !to.Valid() {
			t.Fatalf("%s is in %q, which is %s to %s", d, s, from, to)
		}
		if n := to.Sub(from) + 1; n != 365 && n != 366 {
			t.Fatalf("%q has %d days", s, n)
		}
		if next := civil.CropYear(to.AddDays(1), turn); next != s.Next() || next.Prev() != s || s.Compare(next) >= 0 {
			t.Fatalf("behind %q comes %q, want %q", s, next, s.Next())
		}
		if before := civil.CropYear(from.AddDays(-1), turn); before != s.Prev() {
			t.Fatalf("before %q comes %q, want %q", s, before, s.Prev())
		}
	})
}

func TestParseTurn(t *testing.T) {
	t.Parallel()
	for _, s := range []string{"10-01", "04-01", "01-01", "02-28"} {
		turn, err := civil.ParseTurn(s, true)
		if err != nil || turn.String() != s || !turn.Slash || !turn.Valid() {
			t.Errorf("ParseTurn(%q): got %+v, %v", s, turn, err)
		}
	}
	if turn, err := civil.ParseTurn("2024-10-01", false); err != nil || turn != north {
		t.Errorf("with a year: got %+v, %v", turn, err)
	}
	for _, s := range []string{"02-29", "2024-02-29", "13-01", "10/01", "1-1", "", "October 1"} {
		if _, err := civil.ParseTurn(s, false); !errors.Is(err, civil.ErrForm) {
			t.Errorf("ParseTurn(%q): got %v, want ErrForm", s, err)
		}
	}
}
