package weather

import (
	"slices"

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
		d, ok := f.Data().(*events.WeatherDoubted)
		if !ok {
			continue
		}
		from, err1 := events.ParseMoment(d.From, v.Zone)
		to, err2 := events.ParseMoment(d.To, v.Zone)
		if err1 == nil && err2 == nil { // the door let only instants in
			out = append(out, doubt{from.At.UnixMilli(), to.At.UnixMilli(), d.Elements})
		}
	}
	return out
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
