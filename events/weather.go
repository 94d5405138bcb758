package events

// WeatherRead is one reading of a station. It speaks for [time - interval, time); with no interval, for the instant.
type WeatherRead struct {
	Common
	Station           string    `json:"station" is:"code,required"`
	Interval          *float64  `json:"interval" is:"number" min:"0" max:"31622400" doc:"seconds that the reading speaks for, up to its time"`
	AirTemperature    *Quantity `json:"airTemperature" dim:"temperature" doc:"mean of the interval, or instant"`
	AirTemperatureMin *Quantity `json:"airTemperatureMin" dim:"temperature"`
	AirTemperatureMax *Quantity `json:"airTemperatureMax" dim:"temperature"`
	RelativeHumidity  *Quantity `json:"relativeHumidity" dim:"share" max:"105 %" doc:"a raw sensor may show more than 100"`
	WetBulb           *Quantity `json:"wetBulb" dim:"temperature"`
	WindSpeed         *Quantity `json:"windSpeed" dim:"speed"`
	WindGust          *Quantity `json:"windGust" dim:"speed"`
	WindDirection     *Quantity `json:"windDirection" dim:"angle"`
	Rain              *Quantity `json:"rain" dim:"length"`
	RainTrace         *bool     `json:"rainTrace"`
	SolarRadiation    *Quantity `json:"solarRadiation" dim:"irradiance"`
	LeafWetness       *Quantity `json:"leafWetness" dim:"share" max:"105 %" doc:"share of the interval, or of the sensor's scale"`
	SoilTemperature   *Quantity `json:"soilTemperature" dim:"temperature"`
	_                 struct{}  `oneof:"airTemperature airTemperatureMin airTemperatureMax relativeHumidity wetBulb windSpeed windGust windDirection rain rainTrace solarRadiation leafWetness soilTemperature"`
}

// WeatherDoubted says that a stretch of readings is not to be trusted: one record instead of thousands of withdrawals.
type WeatherDoubted struct {
	Common
	Station  string   `json:"station" is:"code,required"`
	From     string   `json:"from" is:"instant,required"`
	To       string   `json:"to" is:"instant,required"`
	Elements []string `json:"elements" is:"text" enum:"airTemperature airTemperatureMin airTemperatureMax relativeHumidity wetBulb windSpeed windGust windDirection rain rainTrace solarRadiation leafWetness soilTemperature" doc:"the fields of weather.read that are doubted; absent: all"`
	Reason   string   `json:"reason" is:"text,required"`
	_        struct{} `order:"from to"`
}
