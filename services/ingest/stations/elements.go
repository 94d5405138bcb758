package stations

import (
	"math"
	"math/big"
	"slices"
	"strings"
	"time"

	"latewood/events"
	"latewood/events/units"
)

// elementNames says which field of a reading the last part of a SenML name means, without hyphens, underscores, dots and
// capitals. RFC 8428 has no such rule; these are the names that devices use (common practice).
var elementNames = map[string]string{
	"temperature": "airTemperature", "temp": "airTemperature", "airtemperature": "airTemperature", "airtemp": "airTemperature",
	"outdoortemperature": "airTemperature",
	"temperaturemin":     "airTemperatureMin", "mintemperature": "airTemperatureMin", "tempmin": "airTemperatureMin", "tmin": "airTemperatureMin",
	"airtemperaturemin": "airTemperatureMin",
	"temperaturemax":    "airTemperatureMax", "maxtemperature": "airTemperatureMax", "tempmax": "airTemperatureMax", "tmax": "airTemperatureMax",
	"airtemperaturemax": "airTemperatureMax",
	"humidity":          "relativeHumidity", "relativehumidity": "relativeHumidity", "rh": "relativeHumidity", "hum": "relativeHumidity",
	"airhumidity": "relativeHumidity",
	"wetbulb":     "wetBulb", "wetbulbtemperature": "wetBulb",
	"windspeed": "windSpeed", "wind": "windSpeed",
	"windgust": "windGust", "gust": "windGust",
	"winddirection": "windDirection", "winddir": "windDirection",
	"rain": "rain", "rainfall": "rain", "precipitation": "rain",
	"solarradiation": "solarRadiation", "solar": "solarRadiation", "irradiance": "solarRadiation", "radiation": "solarRadiation",
	"leafwetness": "leafWetness", "wetness": "leafWetness",
	"soiltemperature": "soilTemperature", "soiltemp": "soilTemperature",
}

// elementOf looks up what a name means; "" for none.
func elementOf(name string) string {
	if i := strings.LastIndexAny(name, "/:"); i >= 0 {
		name = name[i+1:]
	}
	return elementNames[strings.ToLower(strings.Map(func(r rune) rune {
		if r == '-' || r == '_' || r == '.' {
			return -1
		}
		return r
	}, name))]
}

// A scale turns a unit of SenML into one of the ledger.
type scale struct {
	unit     string // UCUM
	num, den int64  // exact factor
}

// senmlUnits are the units in which a weather element can come. Primary: RFC 8428, section 12.1. Secondary (km/h, mm, cm,
// hPa, /100, /1000): RFC 8798, table 2, from memory. deg is not among them as far as we know; devices send it.
var senmlUnits = map[string]scale{
	"Cel": {"Cel", 1, 1}, "K": {"K", 1, 1},
	"%RH": {"%", 1, 1}, "%": {"%", 1, 1}, "/": {"%", 100, 1}, "/100": {"%", 1, 1}, "/1000": {"%", 1, 10},
	"m/s": {"m/s", 1, 1}, "km/h": {"km/h", 1, 1},
	"deg": {"deg", 1, 1},
	"m":   {"m", 1, 1}, "cm": {"cm", 1, 1}, "mm": {"mm", 1, 1},
	"W/m2": {"W/m2", 1, 1},
}

// dimensions of the fields that SenML can fill.
var dimensions = map[string]units.Dimension{
	"airTemperature": units.Temperature, "airTemperatureMin": units.Temperature, "airTemperatureMax": units.Temperature,
	"wetBulb": units.Temperature, "soilTemperature": units.Temperature,
	"relativeHumidity": units.Share, "leafWetness": units.Share,
	"windSpeed": units.Speed, "windGust": units.Speed, "windDirection": units.Angle,
	"rain": units.Length, "solarRadiation": units.Irradiance,
}

// field is where a reading keeps an element.
func field(w *events.WeatherRead, name string) **events.Quantity {
	switch name {
	case "airTemperature":
		return &w.AirTemperature
	case "airTemperatureMin":
		return &w.AirTemperatureMin
	case "airTemperatureMax":
		return &w.AirTemperatureMax
	case "relativeHumidity":
		return &w.RelativeHumidity
	case "wetBulb":
		return &w.WetBulb
	case "windSpeed":
		return &w.WindSpeed
	case "windGust":
		return &w.WindGust
	case "windDirection":
		return &w.WindDirection
	case "rain":
		return &w.Rain
	case "solarRadiation":
		return &w.SolarRadiation
	case "leafWetness":
		return &w.LeafWetness
	case "soilTemperature":
		return &w.SoilTemperature
	}
	return nil
}

// quantityOf is a resolved value in a unit of the ledger; why says what is wrong with it, its key is empty if nothing is.
func (r Resolved) quantityOf(element string) (q *events.Quantity, why events.Sentence) {
	if r.Value == nil {
		if r.Sum != nil {
			return nil, say("stations.sum")
		}
		return nil, say("stations.no-number")
	}
	if r.Unit == "rad" && dimensions[element] == units.Angle {
		return quantity(math.Round(*r.Value*180/math.Pi*1000)/1000, "deg"), events.Sentence{}
	}
	s, ok := senmlUnits[r.Unit]
	if r.Unit == "" {
		return nil, say("stations.unit-missing")
	}
	if !ok || units.Check(s.unit, dimensions[element]) != nil {
		return nil, say("stations.unit", "unit", shown(r.Unit), "element", element)
	}
	if s.num == 1 && s.den == 1 {
		return quantity(*r.Value, s.unit), events.Sentence{}
	}
	return quantity(nearest(new(big.Rat).Mul(r.exact, big.NewRat(s.num, s.den))), s.unit), events.Sentence{}
}

// ReadSenML makes a pack readings, one for each moment in it, in order of time. Options.Now is when the pack came in. A pack
// that is not SenML, or whose times cannot be right, gives one Reading with the problems, and nothing of it counts. A value
// that means no element, or has no unit that fits, is left out, and the others are taken.
func ReadSenML(pack []byte, o Options) []Reading { return readSenML(1, pack, o) }

func readSenML(line int, pack []byte, o Options) []Reading {
	resolved, problems := ResolveSenML(pack, o.Now)
	if len(problems) > 0 {
		return []Reading{{Line: line, Problems: problems}}
	}
	at := map[int64]*Reading{}
	var out []*Reading
	var left []LeftOut
	for _, r := range resolved {
		path := "[" + number(float64(r.Index)) + "]"
		refuse := func(field string, value any, why, instead events.Sentence) []Reading {
			return []Reading{bad(line, path+field, value, why, instead)}
		}
		switch {
		case r.Relative && r.Offset > 0:
			return refuse(".t", r.Offset.String(), say("stations.ahead"), say("stations.ahead-instead"))
		case r.Relative && o.Now.IsZero():
			return refuse(".t", r.Offset.String(), say("stations.relative"), say("stations.relative-instead"))
		}
		element := elementOf(r.Name)
		if element == "" {
			left = append(left, LeftOut{line, events.Problem{Field: path + ".n", Value: shown(r.Name), Why: say("stations.no-element")}})
			continue
		}
		q, why := r.quantityOf(element)
		if why.Key != "" {
			left = append(left, LeftOut{line, events.Problem{
				Field: path, Value: shown(r.Name), Why: why,
				Instead: say("stations.unit-instead", "element", element, "units", strings.Join(unitsFor(element), ", ")),
			}})
			continue
		}
		ms := r.At.UnixMilli()
		if at[ms] != nil {
			if ok, same := merge(field(at[ms].Data, element), q); ok || same {
				continue
			}
			// Two values for one moment: both are kept, and the folds flag them.
		}
		reading := &Reading{Line: line, Time: time.UnixMilli(ms).UTC(), Data: &events.WeatherRead{Station: o.Station}}
		*field(reading.Data, element) = q
		out = append(out, reading)
		if at[ms] == nil {
			at[ms] = reading
		}
	}
	slices.SortStableFunc(out, func(a, b *Reading) int { return a.Time.Compare(b.Time) })
	all := make([]Reading, 0, len(out)+1)
	for _, r := range out {
		all = append(all, *r)
	}
	switch {
	case len(left) == 0:
	case len(all) == 0:
		all = append(all, Reading{Line: line, LeftOut: left})
	default:
		all[0].LeftOut = left
	}
	return all
}

// unitsFor lists the units of SenML that an element can come in.
func unitsFor(element string) []string {
	var out []string
	for unit, s := range senmlUnits {
		if units.Check(s.unit, dimensions[element]) == nil {
			out = append(out, unit)
		}
	}
	if dimensions[element] == units.Angle {
		out = append(out, "rad")
	}
	slices.Sort(out)
	return out
}

// packs reads a file with one pack of SenML after the other; a pack may run over several lines.
type packs struct {
	o      Options
	buf    []byte
	first  int // the line on which the pack in buf begins
	depth  int
	quoted bool // within a text
	slash  bool // behind a backslash in it
	tally
}

func (p *packs) Line(n int, text string) []Reading {
	p.tally.add(n, "")
	if len(p.buf) == 0 {
		if strings.TrimSpace(text) == "" {
			return nil
		}
		p.first = n
	}
	if len(p.buf)+len(text) > MaxPack {
		out := bad(p.first, "", nil, say("stations.senml-large", "most", MaxPack), say("stations.senml-large-instead"))
		p.reset()
		return []Reading{out}
	}
	p.buf = append(append(p.buf, text...), '\n')
	for i := range len(text) {
		switch c := text[i]; {
		case p.slash:
			p.slash = false
		case p.quoted:
			p.slash, p.quoted = c == '\\', c != '"'
		case c == '"':
			p.quoted = true
		case c == '[' || c == '{':
			p.depth++
		case c == ']' || c == '}':
			p.depth--
		}
	}
	if p.depth > 0 || p.quoted {
		return nil
	}
	return p.pack()
}

func (p *packs) pack() []Reading {
	out := readSenML(p.first, p.buf, p.o)
	for i := range out {
		kept := out[i].LeftOut[:0]
		for _, l := range out[i].LeftOut {
			if l.Why.Key == "stations.no-element" { // told once for the file
				p.tally.add(p.first, elementless(l))
				continue
			}
			kept = append(kept, l)
		}
		out[i].LeftOut = kept
	}
	p.reset()
	return slices.DeleteFunc(out, func(r Reading) bool { return r.Data == nil && len(r.Problems) == 0 && len(r.LeftOut) == 0 })
}

// elementless is the last part of a name that means no element.
func elementless(l LeftOut) string {
	name, _ := l.Value.(string)
	if i := strings.LastIndexAny(name, "/:"); i >= 0 {
		name = name[i+1:]
	}
	return name
}

func (p *packs) reset() { p.buf, p.depth, p.quoted, p.slash = nil, 0, false, false }

func (p *packs) End() []Reading {
	var out []Reading
	if len(p.buf) > 0 {
		out = p.pack()
	}
	return append(out, p.tally.told()...)
}
