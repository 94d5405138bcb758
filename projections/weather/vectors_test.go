package weather_test

import (
	"strings"
	"testing"
	"time"

	"latewood/events"
	"latewood/events/units"
	"latewood/projections/foldtest"
	"latewood/projections/weather"
)

// Source of this and the next tables: testdata/vectors, computed in plain Python; see their headings.
func TestHoursFromReadings(t *testing.T) {
	t.Parallel()
	for _, v := range vectors(t, "hours_from_readings.csv", 7) {
		farm := foldtest.NewFarm(t, "Etc/UTC")
		start := time.Date(2026, 3, 10, 0, 0, 0, 0, time.UTC).UnixMilli()
		var step float64
		for i, r := range strings.Fields(v["readings"]) {
			hour, temp, _ := strings.Cut(r, ":")
			if i == 1 {
				step = num(t, hour)
			}
			instant(farm, start+int64(num(t, hour)*3.6e6), num(t, temp))
		}
		if v["series"] == "night1" {
			step = 1
		}
		book := farm.Book()
		gap := time.Duration(num(t, v["max_gap_h"]) * float64(time.Hour))
		for method, want := range map[string]float64{
			"count": num(t, v["count"]) * step, "hold": num(t, v["hold_h"]), "linear": num(t, v["linear_h"]),
		} {
			// Night 1 crosses midnight: two days in one month.
			row := only(t, report(t, book, weather.Query{Below: []float64{num(t, v["threshold"])}, Method: method, MaxGap: gap}))
			near(t, v["series"]+" "+v["threshold"]+" "+method, &row.HoursBelow[0].Hours, want, 0.001)
			near(t, v["series"]+" covered", &row.CoveredHours, num(t, v["covered_h"]), 0.001)
			if row.DegreeDays.Method != method {
				t.Errorf("method: got %s, want %s", row.DegreeDays.Method, method)
			}
		}
	}
}

func TestHoursFromDailyExtremes(t *testing.T) {
	t.Parallel()
	rows := vectors(t, "hours_below_daily_minmax.csv", 16)
	for _, v := range rows {
		farm := foldtest.NewFarm(t, "Pacific/Honolulu")
		day(t, farm, "2026-01-15", events.WeatherRead{AirTemperatureMin: celsius(num(t, v["tmin_C"])), AirTemperatureMax: celsius(num(t, v["tmax_C"]))})
		row := only(t, report(t, farm.Book(), weather.Query{Below: []float64{num(t, v["threshold_C"])}}))
		near(t, text(v), &row.HoursBelow[0].Hours, num(t, v["hours_below_sine"]), 0.005)
		near(t, "covered", &row.CoveredHours, 24, 0)
	}
}

// The columns of degree_days.csv that this report can give. Rows in F are entered in F and asked for in C.
func TestDegreeDays(t *testing.T) {
	t.Parallel()
	for _, v := range vectors(t, "degree_days.csv", 15) {
		unit, scale := "Cel", 1.0
		if v["unit"] == "F" {
			unit, scale = "[degF]", 1.8
		}
		inC := func(name string) float64 {
			c, err := units.Convert(num(t, v[name]), unit, "Cel")
			if err != nil {
				t.Fatal(err)
			}
			return c
		}
		farm := foldtest.NewFarm(t, "Pacific/Honolulu")
		day(t, farm, "2026-01-31", events.WeatherRead{AirTemperatureMin: in(num(t, v["tmin"]), unit), AirTemperatureMax: in(num(t, v["tmax"]), unit)})
		day(t, farm, "2026-02-01", events.WeatherRead{AirTemperatureMin: in(num(t, v["tmin_next"]), unit)})
		book := farm.Book()
		base, upper := inC("lower"), inC("upper")
		for _, c := range []struct {
			column, method string
			upper          *float64
		}{
			{"avg", "average", nil}, {"avg_clipped", "clipped", &upper}, {"sine", "sine", nil},
			{"sine_h", "sine", &upper}, {"dsine_h", "double-sine", &upper},
		} {
			row := only(t, report(t, book, weather.Query{Base: &base, Upper: c.upper, Method: c.method, To: date(t, "2026-01-31")}))
			if row.DegreeDays.Value == nil {
				t.Fatalf("%s: no value for %s", c.method, text(v))
			}
			got := *row.DegreeDays.Value * scale
			near(t, c.column+" "+text(v), &got, num(t, v[c.column]), 0.01)
		}
	}
}

// A local day has its real length. Source: testdata/vectors, from the IANA time-zone database by Python zoneinfo.
func TestLocalDays(t *testing.T) {
	t.Parallel()
	for _, v := range vectors(t, "local_day_bounds.csv", 16) {
		start, err1 := time.Parse(time.RFC3339, v["start_utc"])
		end, err2 := time.Parse(time.RFC3339, v["end_utc"])
		if err1 != nil || err2 != nil {
			t.Fatal(err1, err2)
		}
		// Every half hour from an hour before the day to an hour behind it: 15 C inside, 25 C outside.
		farm := foldtest.NewFarm(t, v["zone"])
		for at := start.Add(-time.Hour); !at.After(end.Add(time.Hour)); at = at.Add(30 * time.Minute) {
			temp := 25.0
			if at.After(start) && !at.After(end) { // a mean speaks for the half hour before it
				temp = 15
			}
			farm.Add(at.Format(time.RFC3339), &events.WeatherRead{Station: "mauka", Interval: pointer(1800.0), AirTemperature: celsius(temp)})
		}
		on := date(t, v["local_date"])
		row := only(t, report(t, farm.Book(), weather.Query{From: on, To: on, By: weather.ByDay}))
		want := num(t, v["hours"])
		near(t, v["zone"]+" hours", &row.Hours, want, 0)
		near(t, v["zone"]+" covered", &row.CoveredHours, want, 0)
		near(t, v["zone"]+" below 20", row.HoursBelow20, want, 1e-9)
		near(t, v["zone"]+" max", row.MaxC, 15, 0)
	}
}
