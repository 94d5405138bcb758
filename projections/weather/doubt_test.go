package weather_test

import (
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"latewood/events"
	"latewood/events/civil"
	"latewood/projections"
	"latewood/projections/weather"
)

func TestDoubted(t *testing.T) {
	t.Parallel()
	cat := events.Standard()
	zone, err := civil.Zone("Pacific/Honolulu")
	if err != nil {
		t.Fatal(err)
	}
	door := &events.Door{Catalogue: cat, Farm: "tern-hollow", Zone: zone}
	var records []*events.Record
	add := func(at time.Time, data any) *events.Record {
		t.Helper()
		a, problems := door.Check(events.Draft{Type: cat.KindOf(data).Type(), Time: at.Format(time.RFC3339), Data: events.Encode(data)})
		if len(problems) > 0 {
			t.Fatal(problems)
		}
		env := events.Envelope{
			Farm: door.Farm, ID: events.NewID(1_770_000_000_000+int64(len(records)), [10]byte{}).String(), Salt: "AAAAAAAAAAAAAAAAAAAAAA==",
			RecordedTime: events.RecordedAt(date31(200)), Source: "/farms/tern-hollow/cli", Time: a.Draft.Time, Type: a.Draft.Type, Chains: "farm 1 -",
		}
		r, err := events.ParseRecord(uint64(len(records)+1), env.AppendCanonical(nil, a.Data))
		if err != nil {
			t.Fatal(err)
		}
		records = append(records, r)
		return r
	}
	book := func(order []*events.Record) *projections.Book {
		b := projections.NewBook(cat)
		for _, r := range order {
			if err := b.Add(r); err != nil {
				t.Fatal(err)
			}
			weather.Flags(b) // asking in between must not change the answer
		}
		return b
	}
	add(date31(-9999), &events.FarmOpened{Name: "Tern Hollow", Zone: "Pacific/Honolulu", Latitude: 19.6, Longitude: -155.1})
	for h := 0; h <= 24; h++ {
		add(date31(float64(h)), &events.WeatherRead{Station: "mauka", AirTemperature: celsius(15), Rain: in(1, "mm")})
	}
	say := func(name string, covered, rain float64, count int) {
		t.Helper()
		row := report(t, book(records), weather.Query{By: weather.ByDay}).Rows[0]
		if row.CoveredHours != covered || *row.RainMm != rain || row.Days != count {
			t.Errorf("%s: got %s, want %v h covered, %v mm", name, text(row), covered, rain)
		}
		shuffled := slices.Clone(records)
		rand.New(rand.NewPCG(1, 2)).Shuffle(len(shuffled), func(i, j int) { shuffled[i], shuffled[j] = shuffled[j], shuffled[i] })
		if got := report(t, book(shuffled), weather.Query{By: weather.ByDay}).Rows[0]; text(got) != text(row) {
			t.Errorf("%s, shuffled: got %s, want %s", name, text(got), text(row))
		}
	}
	say("before", 24, 24, 1)
	rain := add(date31(30), &events.WeatherDoubted{
		Station: "mauka", From: date31(2).Format(time.RFC3339), To: date31(4).Format(time.RFC3339), Elements: []string{"rain"}, Reason: "a wasp nest",
	})
	say("rain of three readings", 24, 21, 1)
	add(date31(30), &events.WeatherDoubted{Station: "mauka", From: date31(10).Format(time.RFC3339), To: date31(11).Format(time.RFC3339), Reason: "fell over"})
	say("and all of two", 21, 19, 1) // 9 to 12 is a silence of three hours
	add(date31(30), &events.WeatherDoubted{Station: "makai", From: date31(0).Format(time.RFC3339), To: date31(24).Format(time.RFC3339), Reason: "another station"})
	say("another station", 21, 19, 1)
	add(date31(31), &events.RecordWithdrawn{Record: rain.ID.String(), Follows: rain.ID.String(), Reason: "no nest"})
	say("one of them withdrawn", 21, 22, 1)
}
