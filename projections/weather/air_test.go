package weather_test

import (
	"math"
	"strings"
	"testing"
	"time"

	"latewood/events"
	"latewood/projections/foldtest"
	"latewood/projections/meteo"
	"latewood/projections/weather"
)

// Dew point, deficit and Delta T of constant air are those of one reading. Source: testdata/vectors/psychrometrics.csv,
// computed from FAO-56 equations; rows at the station's pressure only.
func TestAirOfReadings(t *testing.T) {
	t.Parallel()
	n := 0
	for _, v := range vectors(t, "psychrometrics.csv", 20) {
		if v["p_kPa"] != "101.325" {
			continue
		}
		n++
		farm := foldtest.NewFarm(t, "Pacific/Honolulu")
		farm.Add("2020-01-01", &events.StationSited{Station: "mauka", Latitude: 19.6, Longitude: -155.1})
		for h := 0; h <= 24; h++ {
			farm.Add(date31(float64(h)).Format(time.RFC3339), &events.WeatherRead{
				Station: "mauka", AirTemperature: celsius(num(t, v["T_C"])), RelativeHumidity: in(num(t, v["RH_pct"]), "%"),
			})
		}
		row := report(t, farm.Book(), weather.Query{With: weather.Withs()}).Rows[0]
		near(t, text(v)+" VPD", row.VpdKPa, num(t, v["VPD_kPa"]), 0.0005)
		near(t, text(v)+" Td", row.DewpointC, num(t, v["Td_C"]), 0.02)
		// FAO-56 eq. 7 gives 101.3 kPa at sea level.
		near(t, text(v)+" Delta T", row.DeltaTC, num(t, v["DeltaT_iter_C"]), 0.02)
	}
	if n < 10 {
		t.Errorf("%d rows checked, want 10 or more", n)
	}
}

// Source: FAO Irrigation and Drainage Paper 56, example 18 (Uccle, 6 July): 3.9 mm. The report takes a mean humidity
// where the example has extremes, so it is set to what gives the example's vapour pressure, 1.409 kPa of 1.997.
func TestPenmanMonteith(t *testing.T) {
	t.Parallel()
	uccle := func(daily bool) *foldtest.Farm {
		farm := foldtest.NewFarm(t, "Europe/Brussels")
		farm.Add("2020-01-01", &events.StationSited{
			Station: "mauka", Latitude: 50.8, Longitude: 4.35, Elevation: in(100, "m"), Sensors: []events.Sensor{{What: "wind speed", Height: in(10, "m")}},
		})
		w := events.WeatherRead{
			RelativeHumidity: in(70.556, "%"), WindSpeed: in(10, "km/h"), SolarRadiation: in(22.07/0.0864, "W/m2"),
			AirTemperatureMin: celsius(12.3), AirTemperatureMax: celsius(21.5),
		}
		if daily {
			day(t, farm, "2015-07-06", w)
		}
		return farm
	}
	row := only(t, report(t, uccle(true).Book(), weather.Query{With: []string{"et0"}}))
	near(t, "example 18", row.Et0Mm, 3.9, 0.05)
	if row.Et0Days.PenmanMonteith != 1 || row.Et0Days.Hargreaves != 0 || row.Chill != nil || row.VpdKPa != nil {
		t.Errorf("got %s, want one day by Penman-Monteith and nothing else", text(row))
	}

	// The same day from readings: temperatures on a straight way between the extremes, the rest constant. The mean of the
	// vapour pressure differs a little from that of the day's means.
	farm := uccle(false)
	for h := 0; h <= 24; h++ {
		temp := 12.3 + 9.2*(1-math.Abs(float64(h)-12)/12)
		farm.Add(time.Date(2015, 7, 5, 22+h, 0, 0, 0, time.UTC).Format(time.RFC3339), &events.WeatherRead{
			Station: "mauka", AirTemperature: celsius(math.Round(temp*100) / 100), RelativeHumidity: in(70.556, "%"),
			WindSpeed: in(10, "km/h"), SolarRadiation: in(22.07/0.0864, "W/m2"),
		})
	}
	row = report(t, farm.Book(), weather.Query{By: weather.ByDay, With: []string{"et0"}}).Rows[0]
	near(t, "from readings", row.Et0Mm, 3.9, 0.15)
	if row.Et0Days.PenmanMonteith != 1 {
		t.Errorf("got %s, want Penman-Monteith", text(row))
	}
}

// Source: FAO-56 example 20 (Lyon, July): 5.0 mm by Hargreaves; its printed form is from memory.
func TestHargreaves(t *testing.T) {
	t.Parallel()
	farm := foldtest.NewFarm(t, "Europe/Paris")
	farm.Add("2020-01-01", &events.StationSited{Station: "mauka", Latitude: 45.72, Longitude: 4.9, Elevation: in(200, "m")})
	day(t, farm, "2015-07-15", events.WeatherRead{AirTemperatureMin: celsius(14.8), AirTemperatureMax: celsius(26.6)})
	doc := report(t, farm.Book(), weather.Query{With: []string{"et0"}})
	near(t, "example 20", only(t, doc).Et0Mm, 5.0, 0.05)
	if len(doc.Notes) != 1 || !strings.Contains(doc.Notes[0], "Hargreaves") {
		t.Errorf("notes: got %q, want what Hargreaves is", doc.Notes)
	}
}

// Each row of testdata/vectors/chill_per_reading.csv stands for an hour.
func TestChillOfReadings(t *testing.T) {
	t.Parallel()
	rows := vectors(t, "chill_per_reading.csv", 23)
	for _, minutes := range []int{60, 15} {
		farm := foldtest.NewFarm(t, "Pacific/Honolulu")
		var chill, utah float64
		for i, v := range rows {
			chill += num(t, v["chill_hours_C"])
			utah += num(t, v["utah_C"])
			for m := 0; m < 60; m += minutes {
				farm.Add(date31(float64(i)+float64(m)/60).Format(time.RFC3339), &events.WeatherRead{Station: "mauka", AirTemperature: celsius(num(t, v["T_C"]))})
			}
		}
		doc := report(t, farm.Book(), weather.Query{With: []string{"chill"}})
		c := only(t, doc).Chill
		if c == nil {
			t.Fatal("no chill")
		}
		near(t, "chilling hours", &c.Hours, chill, 1e-6)
		near(t, "Utah units", &c.UtahUnits, utah, 1e-6)
		near(t, "hours judged", &c.HoursJudged, 23, 1e-6)
		if !strings.Contains(strings.Join(doc.Notes, " "), "not to lychee") {
			t.Errorf("notes %q do not say what chill was fitted to", doc.Notes)
		}
	}
}

// Every hour counts once, whichever day asks, as instants and as means that lie across midnight.
func TestChillOfDays(t *testing.T) {
	t.Parallel()
	for _, interval := range []*float64{nil, pointer(3600.0)} {
		farm := foldtest.NewFarm(t, "Pacific/Honolulu")
		for h := 0; h < 72; h++ {
			at := float64(h)
			if interval != nil {
				at += 0.5
			}
			farm.Add(date31(at).Format(time.RFC3339), &events.WeatherRead{Station: "mauka", Interval: interval, AirTemperature: celsius(5)})
		}
		want := []float64{24, 24, 24}
		if interval != nil { // the first half hour belongs to 30 January, the last of 2 February is missing
			want = []float64{0.5, 24, 24, 23.5}
		}
		rows := report(t, farm.Book(), weather.Query{By: weather.ByDay, With: []string{"chill"}, From: date(t, "2026-01-30")}).Rows
		for i, r := range rows {
			if r.Chill == nil || r.Chill.HoursJudged != want[i] || r.Chill.UtahUnits != want[i] {
				t.Errorf("%s: got %s, want %v hours", r.Period, text(r.Chill), want[i])
			}
		}
		if len(rows) != len(want) {
			t.Errorf("got %d rows, want %d", len(rows), len(want))
		}
	}
}

// A summary's humidity speaks for a day that readings do not cover; its mean temperature goes with it where it has one.
func TestAirOfSummaries(t *testing.T) {
	t.Parallel()
	farm := foldtest.NewFarm(t, "Pacific/Honolulu")
	farm.Add(date31(1).Format(time.RFC3339), &events.WeatherRead{Station: "mauka", AirTemperature: celsius(30), RelativeHumidity: in(10, "%")})
	farm.Add(date31(2).Format(time.RFC3339), &events.WeatherRead{Station: "mauka", AirTemperature: celsius(30), RelativeHumidity: in(10, "%")})
	day(t, farm, "2026-01-31", events.WeatherRead{AirTemperature: celsius(20), RelativeHumidity: in(50, "%")})
	row := only(t, report(t, farm.Book(), weather.Query{With: weather.Withs()}))
	near(t, "VPD", row.VpdKPa, 1.1691, 0.0005) // 20 C and 50 %: testdata/vectors/psychrometrics.csv
	near(t, "Td", row.DewpointC, 9.27, 0.02)
	near(t, "Delta T", row.DeltaTC, 6.16, 0.02)

	// With extremes the saturation pressure is the mean of both (FAO-56 eq. 12, 19): example 5, 18 and 25 C, 68 %: ea 1.78.
	farm = foldtest.NewFarm(t, "Pacific/Honolulu")
	day(t, farm, "2026-01-31", events.WeatherRead{AirTemperature: celsius(20), AirTemperatureMin: celsius(18), AirTemperatureMax: celsius(25), RelativeHumidity: in(68, "%")})
	row = only(t, report(t, farm.Book(), weather.Query{With: weather.Withs()}))
	near(t, "VPD", row.VpdKPa, 1.779/0.68*0.32, 0.005)
	near(t, "Delta T of the mean, not of the middle", row.DeltaTC, deltaT(t, 20, 68), 0.001)
}

func deltaT(t *testing.T, temp, rh float64) float64 {
	t.Helper()
	pressure, err := meteo.Pressure(0)
	if err != nil {
		t.Fatal(err)
	}
	v, err := meteo.DeltaT(temp, rh, pressure)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// Hours rebuilt from extremes need the day before and the day after; see meteo.Linvill.
func TestChillOfSummaries(t *testing.T) {
	t.Parallel()
	farm := foldtest.NewFarm(t, "Pacific/Honolulu")
	for _, on := range []string{"2026-01-30", "2026-01-31", "2026-02-01", "2026-02-03"} {
		day(t, farm, on, events.WeatherRead{AirTemperatureMin: celsius(2), AirTemperatureMax: celsius(5)})
	}
	want := map[string]float64{"2026-01-30": 17, "2026-01-31": 24, "2026-02-01": 18, "2026-02-03": 11}
	for _, r := range report(t, farm.Book(), weather.Query{By: weather.ByDay, With: []string{"chill"}}).Rows {
		if r.Chill == nil || math.Abs(r.Chill.HoursJudged-want[r.Period]) > 1 || r.Chill.Hours != r.Chill.HoursJudged || r.Chill.UtahUnits > r.Chill.Hours {
			t.Errorf("%s: got %s, want about %v hours, all from 0 to 7.2 C", r.Period, text(r.Chill), want[r.Period])
		}
	}
}

// A station that nobody sited has the farm's place; where it moved, the later place counts from its day on.
func TestPlaces(t *testing.T) {
	t.Parallel()
	farm := foldtest.NewFarm(t, "Pacific/Honolulu")
	for _, on := range []string{"2026-01-15", "2026-01-16"} {
		day(t, farm, on, events.WeatherRead{AirTemperatureMin: celsius(12), AirTemperatureMax: celsius(22)})
	}
	q := weather.Query{By: weather.ByDay, With: []string{"et0"}}
	home := report(t, farm.Book(), q).Rows
	farm.Add("2020-01-01", &events.StationSited{Station: "mauka", Latitude: 19.6, Longitude: -155.1})
	farm.Add("2026-01-16", &events.StationSited{Station: "mauka", Latitude: 50, Longitude: 4})
	moved := report(t, farm.Book(), q).Rows
	if *home[0].Et0Mm != *moved[0].Et0Mm || *moved[1].Et0Mm > *moved[0].Et0Mm/2 {
		t.Errorf("got %s at home, %s with the move, want the same first day and a northern second one", text(home), text(moved))
	}
}
