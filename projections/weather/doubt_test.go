package weather

import (
	"testing"
	"time"

	"latewood/events/civil"
	"latewood/projections"
)

func TestDoubts(t *testing.T) {
	t.Parallel()
	zone, err := civil.Zone("Pacific/Honolulu")
	if err != nil {
		t.Fatal(err)
	}
	at := func(text string) int64 {
		v, err := time.Parse(time.RFC3339, text)
		if err != nil {
			t.Fatal(err)
		}
		return v.UnixMilli()
	}
	days, ok := readDoubt([]byte(`{"station":"mauka","from":"2026-01-10","to":"2026-01-11","reason":"a wasp nest"}`), zone)
	if !ok {
		t.Fatal("days are not read")
	}
	hours, ok := readDoubt([]byte(`{"station":"mauka","from":"2026-01-10T08:00:00-10:00","to":"2026-01-10T09:00:00-10:00","elements":["rain"]}`), zone)
	if !ok {
		t.Fatal("hours are not read")
	}
	for _, c := range []struct {
		name string
		d    doubt
		at   string
		e    projections.Element
		want bool
	}{
		{"before the first day", days, "2026-01-09T23:59:59-10:00", projections.AirTemperature, false},
		{"first instant", days, "2026-01-10T00:00:00-10:00", projections.AirTemperature, true},
		{"last instant", days, "2026-01-11T23:59:59-10:00", projections.SoilTemperature, true},
		{"behind the last day", days, "2026-01-12T00:00:00-10:00", projections.AirTemperature, false},
		{"its end", hours, "2026-01-10T09:00:00-10:00", projections.Rain, true},
		{"another element", hours, "2026-01-10T09:00:00-10:00", projections.AirTemperature, false},
		{"after its end", hours, "2026-01-10T09:00:01-10:00", projections.Rain, false},
	} {
		if got := doubted([]doubt{c.d}, at(c.at), c.e); got != c.want {
			t.Errorf("%s: got %v, want %v", c.name, got, c.want)
		}
	}
	if _, ok := readDoubt([]byte(`{"station":"mauka","from":"soon"}`), zone); ok {
		t.Error("a doubt without days is read")
	}
}
