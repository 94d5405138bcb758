package stations

import (
	"math"

	"latewood/events"
	"latewood/projections/meteo"
)

// mostHumid is the highest relative humidity that a record takes, in %: what sensors over-read by (project rule).
const mostHumid = 105

// addDew turns a dew point into the relative humidity of the temperature beside it, both in Cel, and notes the dew point:
// FAO-56 (Allen and others 1998), equations 11 and 14. false: there is no temperature, or the dew point lies so far above
// it that one of the two is wrong.
func addDew(w *events.WeatherRead, dew float64) bool {
	if w.AirTemperature == nil {
		return false
	}
	vapour, err := meteo.VapourFromDew(dew)
	if err != nil {
		return false
	}
	most, err := meteo.SatVapour(w.AirTemperature.Value)
	if err != nil || most == 0 {
		return false
	}
	share := math.Round(vapour/most*1e4) / 100
	if !(share <= mostHumid) {
		return false
	}
	w.RelativeHumidity = quantity(share, "%")
	w.Note = say("stations.dew-note", "dew", number(dew)).String()
	return true
}
