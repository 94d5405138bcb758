package weather_test

import (
	"fmt"
	"math"
	"sync"
	"testing"
	"time"

	"pgregory.net/rapid"

	"latewood/events"
	"latewood/events/civil"
	"latewood/projections"
	"latewood/projections/foldtest"
	"latewood/projections/weather"
)

// A year of weather that is nothing but two sines, as instants every so many minutes. Invented.
func yearly(f *foldtest.Farm, from, to time.Time, minutes int) {
	for at := from; at.Before(to); at = at.Add(time.Duration(minutes) * time.Minute) {
		instant(f, at.UnixMilli(), wave(at))
	}
}

func wave(at time.Time) float64 {
	day := float64(at.Unix()) / 86400
	return math.Round((19+6*math.Sin(2*math.Pi*day/365.25)+7*math.Sin(2*math.Pi*day))*10) / 10
}

// plainHours is the rule written down again, without this package and meteo: straight lines between instants not further
// apart than two hours, cut at the days' bounds and at the threshold.
func plainHours(times []int64, temps []float64, c float64, from, to int64) (below, covered float64) {
	for i := 1; i < len(times); i++ {
		a, b := times[i-1], times[i]
		if b-a > 2*3600_000 || b <= from || a >= to {
			continue
		}
		at := func(t int64) float64 { return temps[i-1] + (temps[i]-temps[i-1])*float64(t-a)/float64(b-a) }
		lo, hi := max(a, from), min(b, to)
		covered += float64(hi - lo)
		x, y := at(lo), at(hi)
		switch {
		case x < c && y < c:
			below += float64(hi - lo)
		case x < c:
			below += float64(hi-lo) * (c - x) / (y - x)
		case y < c:
			below += float64(hi-lo) * (c - y) / (x - y)
		}
	}
	return below / 3.6e6, covered / 3.6e6
}

func TestAgainstPlainLoop(t *testing.T) {
	t.Parallel()
	zone := "America/New_York" // its clocks move on 8 March 2026
	loc, err := civil.Zone(zone)
	if err != nil {
		t.Fatal(err)
	}
	rapid.Check(t, func(rt *rapid.T) {
		farm := foldtest.NewFarm(t, zone)
		at := time.Date(2026, 3, 6, 0, 0, 0, 0, time.UTC).UnixMilli()
		var times []int64
		var temps []float64
		for range rapid.IntRange(1, 120).Draw(rt, "readings") {
			at += 60_000 * rapid.Int64Range(1, 200).Draw(rt, "minutes")
			temp := float64(rapid.IntRange(-50, 350).Draw(rt, "temp")) / 10
			instant(farm, at, temp)
			times, temps = append(times, at), append(temps, temp)
		}
		book := farm.Book()
		month := report(t, book, weather.Query{})
		days := report(t, book, weather.Query{By: weather.ByDay})
		var below, covered, rows float64
		for _, r := range days.Rows {
			d := date(t, r.Period)
			wantBelow, wantCovered := plainHours(times, temps, 20, civil.DayStart(d, loc).UnixMilli(), civil.DayEnd(d, loc).UnixMilli())
			if math.Abs(r.CoveredHours-wantCovered) > 1e-6 {
				rt.Errorf("%s: covered %v, want %v", r.Period, r.CoveredHours, wantCovered)
			}
			if r.HoursBelow20 != nil {
				near(t, r.Period, r.HoursBelow20, wantBelow, 1e-6)
				below += *r.HoursBelow20
				covered += r.CoveredHours
				near(t, "both sides", pointer(*r.HoursBelow20+*r.HoursAbove20), r.CoveredHours, 1e-9)
			} else if wantCovered > 0 {
				rt.Errorf("%s: no hours, want %v of %v", r.Period, wantBelow, wantCovered)
			}
			rows++
		}
		row := only(t, month)
		if rows != float64(row.Days) {
			rt.Errorf("%v days, month has %d", rows, row.Days)
		}
		if row.HoursBelow20 != nil {
			near(t, "month", row.HoursBelow20, below, 1e-6)
			near(t, "month covered", &row.CoveredHours, covered, 1e-6)
		}
		// The stored days and the columns give one answer.
		if got, want := text(report(t, book, weather.Query{MaxGap: 2 * time.Hour}).Rows), text(month.Rows); got != want {
			rt.Errorf("from columns %s, from the state %s", got, want)
		}
	})
}

func TestDefaults(t *testing.T) {
	t.Parallel()
	farm := foldtest.NewFarm(t, "Pacific/Honolulu")
	// 31 January has a summary and full readings, 1 February a summary and a few readings, 2 February readings only.
	yearly(farm, date31(0), date31(24), 30)
	day(t, farm, "2026-01-31", events.WeatherRead{AirTemperatureMin: celsius(3), AirTemperatureMax: celsius(40), Rain: in(12.7, "mm")})
	day(t, farm, "2026-02-01", events.WeatherRead{AirTemperatureMin: celsius(10), AirTemperatureMax: celsius(30)})
	instant(farm, date31(30).UnixMilli(), 45)
	for h := 49; h <= 72; h++ {
		farm.Add(date31(float64(h)).Format(time.RFC3339), &events.WeatherRead{
			Station: "mauka", Interval: pointer(3600.0), AirTemperature: celsius(25), AirTemperatureMin: celsius(9), AirTemperatureMax: celsius(26), Rain: in(0.2, "mm"),
		})
	}
	book := farm.Book()
	rows := report(t, book, weather.Query{By: weather.ByDay, MinBelow: []float64{9, 9.1}, MaxBelow: []float64{40, 26.5}}).Rows
	if len(rows) != 3 {
		t.Fatalf("got %s, want 3 rows", text(rows))
	}
	if r := rows[0]; r.DegreeDays.Method != "linear" || *r.MinC != 3 || *r.MaxC != 40 || *r.RainMm != 12.7 || r.Days != 1 || r.CoveredHours != 23.5 {
		t.Errorf("a day with both: got %s, want linear, extremes and rain of the summary", text(r))
	}
	// 12.000 h: testdata/vectors/hours_below_daily_minmax.csv.
	if r := rows[1]; r.DegreeDays.Method != "sine" || *r.HoursBelow20 != 12 || *r.HoursAbove20 != 12 || *r.MaxC != 45 || r.RainMm != nil || r.CoveredHours != 24 {
		t.Errorf("a day with a summary and little else: got %s, want sine, 12 h", text(r))
	}
	if r := rows[2]; r.DegreeDays.Method != "linear" || *r.HoursBelow20 != 0 || *r.DegreeDays.Value != 14 || *r.MinC != 9 || *r.RainMm != 4.8 ||
		r.DaysMinBelow[0].Days != 0 || r.DaysMinBelow[1].Days != 1 || r.DaysMaxBelow[1].Days != 1 {
		t.Errorf("a day with hourly means: got %s, want 14 degree-days, 4.8 mm, strict limits", text(r))
	}
	if m := report(t, book, weather.Query{}).Rows; m[1].DegreeDays.Method != "linear+sine" || m[1].Days != 2 || m[1].Hours != 48 {
		t.Errorf("February: got %s, want both methods named", text(m[1]))
	}
	// Daily methods on readings: 2 February is covered, so its own extremes count (hours by the single sine).
	if r := report(t, book, weather.Query{By: weather.ByDay, Method: "average", From: date(t, "2026-02-02")}).Rows[0]; *r.DegreeDays.Value != 6.5 || r.DegreeDays.Method != "average" {
		t.Errorf("average of 9 and 26 above 11: got %s, want 6.5", text(r))
	}
	if r := report(t, book, weather.Query{By: weather.ByDay, Method: "hold", From: date(t, "2026-02-01"), To: date(t, "2026-02-01")}).Rows[0]; r.HoursBelow20 != nil || r.CoveredHours != 0 {
		t.Errorf("hold on a day with a summary only: got %s, want nothing covered", text(r))
	}
}

// date31 is so many hours after the start of 31 January 2026 in Honolulu.
func date31(hours float64) time.Time {
	return time.Date(2026, 1, 31, 10, 0, 0, 0, time.UTC).Add(time.Duration(hours * float64(time.Hour)))
}

func TestGapsAndSettings(t *testing.T) {
	t.Parallel()
	farm := foldtest.NewFarm(t, "Pacific/Honolulu")
	for _, h := range []float64{1, 2, 5, 6} {
		instant(farm, date31(h).UnixMilli(), 15)
	}
	covered := func(q weather.Query) float64 { return only(t, report(t, farm.Book(), q)).CoveredHours }
	if got := covered(weather.Query{}); got != 2 {
		t.Errorf("default gap of 2 h: %v h covered, want 2", got)
	}
	if got := covered(weather.Query{MaxGap: 3 * time.Hour}); got != 5 {
		t.Errorf("gap of 3 h: %v h covered, want 5", got)
	}
	farm.Add("2026-01-01", &events.SettingAdopted{Name: "weather-max-gap", Value: events.Raw("180"), Unit: "min", From: "2026-01-01"})
	if got := covered(weather.Query{}); got != 5 {
		t.Errorf("a setting of 180 min: %v h covered, want 5", got)
	}
	farm.Add("2026-01-01", &events.SettingAdopted{Name: "weather-max-gap", Value: events.Raw("0"), From: "2026-01-31"})
	if got := covered(weather.Query{}); got != 0 {
		t.Errorf("a setting of 0: %v h covered, want 0", got)
	}
	if len(report(t, farm.Book(), weather.Query{MaxGap: time.Hour}).Notes) != 1 {
		t.Error("no note that hours are missing")
	}
}

// A day comes out the same whether the report begins with it or years before it.
func TestWindow(t *testing.T) {
	t.Parallel()
	farm := foldtest.NewFarm(t, "Pacific/Honolulu")
	for h := 0.0; h < 96; h += 1.5 {
		w := events.WeatherRead{Station: "mauka", AirTemperature: celsius(wave(date31(h + 0.7))), RelativeHumidity: in(60, "%")}
		farm.Add(date31(h+0.7).Format(time.RFC3339), &w)
	}
	day(t, farm, "2026-02-04", events.WeatherRead{AirTemperatureMin: celsius(11), AirTemperatureMax: celsius(25)})
	book := farm.Book()
	for _, method := range append(weather.Methods(), "") {
		q := weather.Query{By: weather.ByDay, Method: method, Below: []float64{15}, With: weather.Withs()}
		for _, want := range report(t, book, q).Rows {
			q.From, q.To = date(t, want.Period), date(t, want.Period)
			if got := only(t, report(t, book, q)); text(got) != text(want) {
				t.Errorf("%q alone: got %s, want %s", method, text(got), text(want))
			}
		}
	}
}

// Hourly readings with extremes alone count as their middle; longer ones give the day's extremes and no hours.
func TestExtremesWithoutMean(t *testing.T) {
	t.Parallel()
	farm := foldtest.NewFarm(t, "Pacific/Honolulu")
	for h := 1; h <= 3; h++ {
		farm.Add(date31(float64(h)).Format(time.RFC3339), &events.WeatherRead{
			Station: "mauka", Interval: pointer(3600.0), AirTemperatureMin: celsius(10), AirTemperatureMax: celsius(28),
		})
	}
	farm.Add(date31(24).Format(time.RFC3339), &events.WeatherRead{
		Station: "mauka", Interval: pointer(43200.0), AirTemperatureMin: celsius(7), AirTemperatureMax: celsius(30),
	})
	row := only(t, report(t, farm.Book(), weather.Query{}))
	if row.CoveredHours != 3 || *row.HoursBelow20 != 3 || *row.DegreeDays.Value != 1 || *row.MinC != 7 || *row.MaxC != 30 {
		t.Errorf("got %s, want 3 h at 19 C, and 7 to 30 C", text(row))
	}
}

// Under the count method an instant stands for the usual distance between readings: the middle one, silences left out.
func TestCountStandsFor(t *testing.T) {
	t.Parallel()
	farm := foldtest.NewFarm(t, "Pacific/Honolulu")
	for _, minute := range []float64{0, 3, 13, 23, 33, 300, 600, 900, 1200, 1210} {
		instant(farm, date31(minute/60).UnixMilli(), 15)
	}
	row := only(t, report(t, farm.Book(), weather.Query{Method: "count"}))
	near(t, "10 readings of 10 minutes", row.HoursBelow20, 100.0/60, 1e-6)
}

func TestSameTime(t *testing.T) {
	t.Parallel()
	farm := foldtest.NewFarm(t, "Pacific/Honolulu")
	for h := 0; h <= 24; h++ {
		instant(farm, date31(float64(h)).UnixMilli(), 15)
	}
	first := instant(farm, date31(12).UnixMilli(), 16) // its id is higher than that of the 15 C of the same hour
	day(t, farm, "2026-01-31", events.WeatherRead{Rain: in(3, "mm")})
	row := report(t, farm.Book(), weather.Query{By: weather.ByDay}).Rows[0]
	if *row.MaxC != 16 || *row.MinC != 15 || row.SameTime != 2 || *row.RainMm != 3 {
		t.Errorf("got %s, want the later id to count, and the summary beside the midnight reading", text(row))
	}
	flags := weather.Flags(farm.Book())
	if len(flags) != 2 || flags[1].ID != first.ID.String() || flags[0].Name != "quality-control" {
		t.Errorf("flags: got %s, want both readings of 12:00", text(flags))
	}
	farm.Withdraw(first, first)
	row = report(t, farm.Book(), weather.Query{By: weather.ByDay}).Rows[0]
	if *row.MaxC != 15 || row.SameTime != 0 || len(weather.Flags(farm.Book())) != 0 {
		t.Errorf("withdrawn: got %s, want the other one to count", text(row))
	}
}

// Sensors of one station that send each for itself make readings of one instant that share no element: they are taken
// together, whichever came first, and nothing is flagged. One shared element, and the higher id counts.
func TestSameTimeOtherElements(t *testing.T) {
	t.Parallel()
	together := foldtest.NewFarm(t, "Pacific/Honolulu")
	apart, backwards := foldtest.NewFarm(t, "Pacific/Honolulu"), foldtest.NewFarm(t, "Pacific/Honolulu")
	daily := events.WeatherRead{AirTemperatureMin: celsius(11), AirTemperatureMax: celsius(19), Rain: in(4, "mm"), RelativeHumidity: in(70, "%")}
	for h := 0; h <= 24; h++ {
		at := date31(float64(h)).Format(time.RFC3339)
		air := events.WeatherRead{Station: "mauka", AirTemperature: celsius(15 + float64(h%3))}
		rest := events.WeatherRead{Station: "mauka", RelativeHumidity: in(60, "%"), WindSpeed: in(2, "m/s"), Rain: in(1, "mm")}
		all := rest
		all.AirTemperature = air.AirTemperature
		together.Add(at, &all)
		apart.Add(at, &air)
		apart.Add(at, &rest)
		backwards.Add(at, &rest)
		backwards.Add(at, &air)
	}
	day(t, together, "2026-02-02", daily)
	for _, farm := range []*foldtest.Farm{apart, backwards} {
		day(t, farm, "2026-02-02", events.WeatherRead{Rain: daily.Rain, RelativeHumidity: daily.RelativeHumidity})
		day(t, farm, "2026-02-02", events.WeatherRead{AirTemperatureMin: daily.AirTemperatureMin, AirTemperatureMax: daily.AirTemperatureMax})
	}
	q := weather.Query{By: weather.ByDay, With: weather.Withs()}
	want := report(t, together.Book(), q)
	for name, farm := range map[string]*foldtest.Farm{"apart": apart, "backwards": backwards} {
		got := report(t, farm.Book(), q)
		if text(got.Rows) != text(want.Rows) {
			t.Errorf("%s: got %s\nwant %s", name, text(got.Rows), text(want.Rows))
		}
		if flags := weather.Flags(farm.Book()); len(flags) != 0 {
			t.Errorf("%s: flags: %s", name, text(flags))
		}
	}
	// The humidity once more, with a temperature beside it: now they share an element.
	apart.Add(date31(12).Format(time.RFC3339), &events.WeatherRead{Station: "mauka", AirTemperature: celsius(30), RelativeHumidity: in(50, "%")})
	row := report(t, apart.Book(), q).Rows[0]
	if *row.MaxC != 30 || row.SameTime != 3 || *row.RainMm != 23 {
		t.Errorf("sharing: got %s, want 30 C, three readings flagged, the rain of the one that does not count left out", text(row))
	}
}

func TestQualityControl(t *testing.T) {
	t.Parallel()
	hour := 3600.0
	for _, c := range []struct {
		name, want     string
		read           events.WeatherRead
		wrong, suspect int
	}{
		{"too hot", "range", events.WeatherRead{AirTemperature: celsius(99)}, 1, 0},
		{"at the limit", "", events.WeatherRead{AirTemperature: celsius(60)}, 0, 0},
		{"extremes turned around", "order", events.WeatherRead{AirTemperature: celsius(15), AirTemperatureMin: celsius(18), AirTemperatureMax: celsius(12)}, 1, 0},
		{"wet above dry", "wet-bulb", events.WeatherRead{AirTemperature: celsius(15), WetBulb: celsius(16)}, 1, 0},
		{"gust below mean", "gust", events.WeatherRead{WindSpeed: in(5, "m/s"), WindGust: in(4, "m/s")}, 1, 0},
		{"humidity over-read", "", events.WeatherRead{RelativeHumidity: in(103, "%")}, 0, 1},
		{"more rain than can fall", "rain", events.WeatherRead{Interval: &hour, Rain: in(2401, "mm")}, 1, 0},
		{"more wind than there is", "range", events.WeatherRead{WindSpeed: in(76, "m/s")}, 1, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			farm := foldtest.NewFarm(t, "Pacific/Honolulu")
			c.read.Station = "mauka"
			rec := farm.Add("2026-01-31T12:00:00-10:00", &c.read)
			row := only(t, report(t, farm.Book(), weather.Query{}))
			if row.Wrong != c.wrong || row.Suspect != c.suspect || c.wrong > 0 && c.want == "range" && row.MaxC != nil {
				t.Errorf("got %s, want %d wrong, %d suspect", text(row), c.wrong, c.suspect)
			}
			flags := weather.Flags(farm.Book())
			if c.want == "" {
				if len(flags) > 0 {
					t.Errorf("flagged: %s", text(flags))
				}
				return
			}
			if len(flags) != 1 || flags[0].ID != rec.ID.String() || flags[0].Key != "flag.quality-control-"+c.want {
				t.Errorf("got %s, want one flag %s", text(flags), c.want)
			}
		})
	}
}

func TestSpikeAndFront(t *testing.T) {
	t.Parallel()
	farm := foldtest.NewFarm(t, "Pacific/Honolulu")
	temps := []float64{15, 15.2, 22, 15.1, 15, 8, 8.1} // up and back, then a front
	var recs []*events.Record
	for i, v := range temps {
		recs = append(recs, instant(farm, date31(float64(i)/4).UnixMilli(), v))
	}
	flags := weather.Flags(farm.Book())
	if len(flags) != 1 || flags[0].ID != recs[2].ID.String() {
		t.Errorf("got %s, want the jump there and back alone", text(flags))
	}
	if row := only(t, report(t, farm.Book(), weather.Query{})); row.Suspect != 3 || *row.MaxC != 22 {
		t.Errorf("got %s, want three suspect steps, all in use", text(row))
	}
}

func TestNaught(t *testing.T) {
	t.Parallel()
	farm := foldtest.NewFarm(t, "Pacific/Honolulu")
	day(t, farm, "2026-01-31", events.WeatherRead{AirTemperatureMin: celsius(0), AirTemperatureMax: celsius(0)})
	if flags := weather.Flags(farm.Book()); len(flags) != 1 || flags[0].Key != "flag.quality-control-naught" {
		t.Errorf("got %s, want naught", text(flags))
	}
}

func TestRefusals(t *testing.T) {
	t.Parallel()
	farm := foldtest.NewFarm(t, "Pacific/Honolulu")
	instant(farm, date31(1).UnixMilli(), 15)
	book := farm.Book()
	for field, q := range map[string]weather.Query{
		"upper": {Upper: pointer(11.0)}, "base": {Base: pointer(math.NaN())}, "below": {Below: []float64{300}},
		"method": {Method: "triangle"}, "with": {With: []string{"frost"}}, "max-gap": {MaxGap: -1}, "by": {By: "week"},
		"to": {From: civil.Date{Year: 2026, Month: 2, Day: 1}, To: civil.Date{Year: 2026, Month: 1, Day: 1}}, "station": {Station: "makai"},
	} {
		_, err := weather.Report(book, q)
		p, ok := err.(events.Problem) //nolint:errorlint // it comes bare
		if !ok || p.Field != field || p.Why.String() == "" || p.Instead.String() == "" {
			t.Errorf("%s: got %v, want a problem that says what to write instead", field, err)
		}
		t.Log(err)
	}
	if doc := report(t, book, weather.Query{From: civil.Date{Year: 2030, Month: 1, Day: 1}}); len(doc.Rows) != 0 {
		t.Errorf("after the last reading: got %s, want no rows", text(doc))
	}
}

func TestStateOn(t *testing.T) {
	t.Parallel()
	farm := foldtest.NewFarm(t, "Pacific/Honolulu")
	for _, h := range []float64{1, 2, 49} {
		instant(farm, date31(h).UnixMilli(), 15)
	}
	s := projections.StateOf[weather.State](farm.Book(), weather.Fold(), "mauka")
	for on, want := range map[string]bool{"2026-01-30": false, "2026-01-31": true, "2026-02-01": false, "2026-02-02": true, "2026-02-03": false} {
		d, ok := s.On(date(t, on))
		if ok != want || ok && d.Day != date(t, on) {
			t.Errorf("%s: got %v %v, want %v", on, d.Day, ok, want)
		}
	}
}

func TestLaws(t *testing.T) {
	t.Parallel()
	for _, zone := range []string{"America/New_York", "Pacific/Honolulu", "Australia/Lord_Howe"} {
		rapid.Check(t, func(rt *rapid.T) {
			farm := foldtest.NewFarm(t, zone)
			loc := farm.Zone()
			// Around two days on which clocks move, in three zones.
			starts := []time.Time{time.Date(2026, 3, 7, 12, 0, 0, 0, time.UTC), time.Date(2026, 10, 31, 12, 0, 0, 0, time.UTC), time.Date(2026, 4, 4, 6, 0, 0, 0, time.UTC)}
			at := rapid.SampledFrom(starts).Draw(rt, "start")
			var recs []*events.Record
			for range rapid.IntRange(1, 60).Draw(rt, "readings") {
				at = at.Add(time.Duration(rapid.IntRange(0, 3).Draw(rt, "quarters")) * 15 * time.Minute) // 0: a second one for one time
				w := &events.WeatherRead{Station: rapid.SampledFrom([]string{"mauka", "makai"}).Draw(rt, "station")}
				temp := float64(rapid.IntRange(-300, 700).Draw(rt, "temp")) / 10
				switch rapid.IntRange(0, 3).Draw(rt, "kind") {
				case 0:
					w.AirTemperature = celsius(temp)
				case 1:
					w.AirTemperature, w.Interval, w.Rain = in(temp, "[degF]"), pointer(900.0), in(0.01, "[in_i]")
				case 2:
					w.AirTemperatureMin, w.AirTemperatureMax, w.Interval = celsius(temp), celsius(temp+5), pointer(86400.0)
				case 3:
					w.RelativeHumidity = in(55, "%")
				}
				recs = append(recs, farm.Add(at.In(loc).Format(time.RFC3339), w))
			}
			for range rapid.IntRange(0, 6).Draw(rt, "versions") {
				i := rapid.IntRange(0, len(recs)-1).Draw(rt, "of")
				if recs[i] == nil {
					continue
				}
				if rapid.Bool().Draw(rt, "withdraw") {
					farm.Withdraw(recs[i], recs[i])
				} else {
					moved := recs[i].Time.Add(time.Duration(rapid.IntRange(-1500, 1500).Draw(rt, "minutes")) * time.Minute)
					farm.Correct(recs[i], recs[i], moved.Format(time.RFC3339), &events.WeatherRead{Station: "makai", AirTemperature: celsius(12)})
				}
				recs[i] = nil
			}
			foldtest.Laws(t, farm.Records, []*projections.Fold{weather.Fold()}, rapid.Uint64().Draw(rt, "seed"))
			// Every other way to ask is a function of the same facts.
			q := weather.Query{By: weather.ByDay, Below: []float64{7.2}, MinBelow: []float64{0}, Method: rapid.SampledFrom(append(weather.Methods(), "")).Draw(rt, "method"), With: weather.Withs()}
			back := make([]*events.Record, len(farm.Records))
			for i, r := range farm.Records {
				back[len(back)-1-i] = r
			}
			if a, b := text(report(t, farm.Book(), q)), text(report(t, foldtest.BookOf(t, back), q)); a != b {
				rt.Errorf("backwards: got\n%s\nwant\n%s", b, a)
			}
		})
	}
}

// quarterly is a year of readings every 15 minutes, made once for the benchmarks.
var quarterly = sync.OnceValue(func() *projections.Book {
	b := &testing.B{}
	farm := foldtest.NewFarm(b, "Pacific/Honolulu")
	yearly(farm, time.Date(2025, 1, 1, 10, 0, 0, 0, time.UTC), time.Date(2026, 1, 1, 10, 0, 0, 0, time.UTC), 15)
	return farm.Book()
})

func BenchmarkReportYear(b *testing.B) {
	book := quarterly()
	rows := float64(book.View(projections.Key{Class: projections.Station, Code: "mauka"}).Weather().Rows())
	b.Run("columns", func(b *testing.B) {
		for b.Loop() {
			report(b, book, weather.Query{MaxGap: 2 * time.Hour, Below: []float64{7.2}})
		}
		b.ReportMetric(rows, "readings")
	})
	b.Run("state", func(b *testing.B) {
		report(b, book, weather.Query{})
		for b.Loop() {
			report(b, book, weather.Query{})
		}
	})
	b.Run("fold", func(b *testing.B) {
		fold := weather.Fold()
		farm := foldtest.NewFarm(b, "Pacific/Honolulu")
		for b.Loop() {
			b.StopTimer()
			// A withdrawal of nothing here marks nothing; a setting marks every station.
			if err := book.Add(farm.Add("2026-01-01", &events.SettingAdopted{Name: fmt.Sprint("note-", len(farm.Records), b.N), Value: events.Raw("1"), From: "2026-01-01"})); err != nil {
				b.Fatal(err)
			}
			b.StartTimer()
			book.State(fold, "mauka")
		}
	})
	b.Run("with-all", func(b *testing.B) {
		for b.Loop() {
			report(b, book, weather.Query{With: weather.Withs()})
		}
	})
	// The same hours and degree-days by a plain loop over the columns, no days, no quality control: what cannot be beaten.
	b.Run("plain", func(b *testing.B) {
		s := book.View(projections.Key{Class: projections.Station, Code: "mauka"}).Weather()
		for b.Loop() {
			var below, degrees float64
			var lastT int64
			var last float64
			s.Each(func(m *projections.Month) {
				col := m.Cols[projections.AirTemperature]
				for i, at := range m.Times {
					if d := at - lastT; lastT != 0 && d <= 2*3600_000 {
						for _, c := range [...]float64{20, 0, 7.2} {
							switch x, y := last, col[i]; {
							case x < c && y < c:
								below += float64(d)
							case x < c:
								below += float64(d) * (c - x) / (y - x)
							case y < c:
								below += float64(d) * (c - y) / (x - y)
							}
						}
						degrees += max(0, (last+col[i])/2-11) * float64(d)
					}
					lastT, last = at, col[i]
				}
			})
			if below == 0 || degrees == 0 {
				b.Fatal("nothing added up")
			}
		}
	})
}
