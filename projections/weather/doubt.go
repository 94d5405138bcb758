package weather

import (
	"slices"
	"time"

	"latewood/events"
	"latewood/projections"
)

// doubt is a stretch of time in which a person does not believe some elements of a station.
type doubt struct {
	from, to int64    // Unix milliseconds, both inclusive
	elements []string // field names of weather.read; none: all
}

// doubtsOf lists what standing weather.doubted records say of a station, in order of time and id.
func doubtsOf(v *projections.View) []doubt {
	var out []doubt
	for _, f := range v.Standing() {
		if f.Kind == "weather.doubted" {
			if d, ok := readDoubt(f.Raw(), v.Zone); ok {
				out = append(out, d)
			}
		}
	}
	return out
}

func readDoubt(raw []byte, zone *time.Location) (doubt, bool) {
	var d struct {
		From     string   `json:"from"`
		To       string   `json:"to"`
		Elements []string `json:"elements"`
	}
	if events.ReadJSON(raw, &d) != nil {
		return doubt{}, false
	}
	from, err1 := events.ParseMoment(d.From, zone)
	to, err2 := events.ParseMoment(d.To, zone)
	if err1 != nil || err2 != nil {
		return doubt{}, false
	}
	until := to.At.UnixMilli()
	if to.Only { // a day means all of it
		until = to.Latest(zone).UnixMilli() - 1
	}
	return doubt{from.At.UnixMilli(), until, d.Elements}, true
}

// fieldNames are the fields of weather.read in the order of the columns.
var fieldNames = [...]string{
	projections.AirTemperature: "airTemperature", projections.AirTemperatureMin: "airTemperatureMin",
	projections.AirTemperatureMax: "airTemperatureMax", projections.RelativeHumidity: "relativeHumidity",
	projections.WetBulb: "wetBulb", projections.WindSpeed: "windSpeed", projections.WindGust: "windGust",
	projections.WindDirection: "windDirection", projections.Rain: "rain", projections.RainTrace: "rainTrace",
	projections.SolarRadiation: "solarRadiation", projections.LeafWetness: "leafWetness",
	projections.SoilTemperature: "soilTemperature",
}

// doubted reports whether an element at a time is not believed.
func doubted(doubts []doubt, at int64, e projections.Element) bool {
	for i := range doubts {
		d := &doubts[i]
		if at >= d.from && at <= d.to && (len(d.elements) == 0 || slices.Contains(d.elements, fieldNames[e])) {
			return true
		}
	}
	return false
}
