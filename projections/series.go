package projections

import (
	"fmt"
	"math"
	"slices"
	"time"

	"latewood/events"
	"latewood/events/units"
)

// An Element is one thing that a station measures.
type Element uint8

// The elements, in the order of the columns.
const (
	AirTemperature    Element = iota // Cel, mean of the interval or instant
	AirTemperatureMin                // Cel
	AirTemperatureMax                // Cel
	RelativeHumidity                 // %
	WetBulb                          // Cel
	WindSpeed                        // m/s
	WindGust                         // m/s
	WindDirection                    // deg
	Rain                             // mm
	RainTrace                        // 1 where a trace was seen
	SolarRadiation                   // W/m2
	LeafWetness                      // %
	SoilTemperature                  // Cel
	elements
)

// ElementUnits are the units of the columns, by element.
var ElementUnits = [elements]string{"Cel", "Cel", "Cel", "%", "Cel", "m/s", "m/s", "deg", "mm", "", "W/m2", "%", "Cel"}

// A Month is a station's readings of one month of UTC, in columns, sorted by time and then by id. A column that nobody
// measured is nil; a value that one reading lacks is NaN. Of two readings for one time the later row (the higher id)
// counts.
type Month struct {
	Times    []int64     // Unix milliseconds
	IDs      []events.ID // of the records
	Interval []int32     // seconds that the reading speaks for, up to its time; 0: the instant
	Cols     [elements][]float64
	sorted   bool
}

// A Series is everything that a station told, by month.
type Series struct {
	months map[int]*Month // by months since January 1970
	// lifted are readings that a correction or withdrawal turned into facts. Their rows in the columns no longer count.
	lifted map[events.ID]*Fact
	rows   int
	hidden int // rows of the columns that are lifted
}

func monthOf(ms int64) int {
	t := time.UnixMilli(ms).UTC()
	return (t.Year()-1970)*12 + int(t.Month()) - 1
}

func (b *Book) series(station string) *Series {
	s := b.stations[station]
	if s == nil {
		s = &Series{months: map[int]*Month{}, lifted: map[events.ID]*Fact{}}
		b.stations[station] = s
	}
	return s
}

// Rows is the number of readings that came, corrected ones too.
func (s *Series) Rows() int { return s.rows }

// bare is the number of rows in the columns that no correction or withdrawal lifted out.
func (s *Series) bare() int {
	n := -s.hidden
	for _, m := range s.months {
		n += len(m.Times)
	}
	return n
}

func (b *Book) addReading(r *events.Record) error {
	b.markLeaning(r.ID)
	if len(b.versions[r.ID]) > 0 { // its correction was here first
		return b.addFact(&Fact{ID: r.ID, Kind: r.Kind, Record: r})
	}
	data, err := b.cat.Decode(r)
	if err != nil {
		return fmt.Errorf("place %d: %w", r.Place, err)
	}
	w := data.(*events.WeatherRead)
	b.series(w.Station).add(r, w)
	b.mark(Key{Station, w.Station})
	return nil
}

// Values are a reading's elements in the columns' units; NaN where it has none.
func Values(w *events.WeatherRead) [elements]float64 {
	var out [elements]float64
	for e, q := range [...]*events.Quantity{
		w.AirTemperature, w.AirTemperatureMin, w.AirTemperatureMax, w.RelativeHumidity, w.WetBulb, w.WindSpeed, w.WindGust,
		w.WindDirection, w.Rain, nil, w.SolarRadiation, w.LeafWetness, w.SoilTemperature,
	} {
		out[e] = math.NaN()
		if q == nil {
			continue
		}
		if q.Unit == ElementUnits[e] {
			out[e] = q.Value
		} else if v, err := units.Convert(q.Value, q.Unit, ElementUnits[e]); err == nil {
			out[e] = v
		}
	}
	if w.RainTrace != nil && *w.RainTrace {
		out[RainTrace] = 1
	}
	return out
}

func (s *Series) add(r *events.Record, w *events.WeatherRead) {
	ms := r.Time.UnixMilli()
	m := s.months[monthOf(ms)]
	if m == nil {
		m = &Month{sorted: true}
		s.months[monthOf(ms)] = m
	}
	m.append(ms, r.ID, w)
	s.rows++
}

func (m *Month) append(ms int64, id events.ID, w *events.WeatherRead) {
	interval := int32(0)
	if w.Interval != nil {
		interval = int32(*w.Interval)
	}
	m.push(ms, id, interval, Values(w))
}

func (m *Month) push(ms int64, id events.ID, interval int32, values [elements]float64) {
	if n := len(m.Times); m.sorted && n > 0 && (m.Times[n-1] > ms || m.Times[n-1] == ms && !m.IDs[n-1].Less(id)) {
		m.sorted = false
	}
	m.Times = append(m.Times, ms)
	m.IDs = append(m.IDs, id)
	m.Interval = append(m.Interval, interval)
	for e := range m.Cols {
		if m.Cols[e] == nil {
			if math.IsNaN(values[e]) {
				continue
			}
			m.Cols[e] = make([]float64, len(m.Times)-1, cap(m.Times))
			for i := range m.Cols[e] {
				m.Cols[e][i] = math.NaN()
			}
		}
		m.Cols[e] = append(m.Cols[e], values[e])
	}
}

// sort brings the rows into the order of time and id.
func (m *Month) sort() {
	if m.sorted {
		return
	}
	order := make([]int, len(m.Times))
	for i := range order {
		order[i] = i
	}
	slices.SortFunc(order, func(a, b int) int {
		if m.Times[a] != m.Times[b] {
			if m.Times[a] < m.Times[b] {
				return -1
			}
			return 1
		}
		return slices.Compare(m.IDs[a][:], m.IDs[b][:])
	})
	m.Times = arrange(m.Times, order)
	m.IDs = arrange(m.IDs, order)
	m.Interval = arrange(m.Interval, order)
	for e := range m.Cols {
		if m.Cols[e] != nil {
			m.Cols[e] = arrange(m.Cols[e], order)
		}
	}
	m.sorted = true
}

func arrange[T any](s []T, order []int) []T {
	out := make([]T, len(s))
	for i, from := range order {
		out[i] = s[from]
	}
	return out
}

// liftReading turns a reading into a fact, because something was said about it. It returns nil if there is no such
// reading.
func (b *Book) liftReading(id events.ID) *Fact {
	// A handful of readings are ever corrected; looking through the columns costs less than an index of all of them.
	for station, s := range b.stations {
		for _, m := range s.months {
			for i := range m.IDs {
				if m.IDs[i] == id {
					f := &Fact{ID: id, Kind: "weather.read", Version: 1, Time: time.UnixMilli(m.Times[i]).UTC()}
					f.Record = &events.Record{ID: id, Kind: f.Kind, Version: 1, Time: f.Time, Data: m.data(station, i)}
					f.data = f.Record.Data
					f.decoded, _ = b.cat.DecodeData(f.Kind, 1, f.data)
					b.facts[id] = f
					b.link(f)
					return f
				}
			}
		}
	}
	return nil
}

// lift hides a reading's row behind a fact; drop takes the fact away again.
func (s *Series) lift(f *Fact) {
	if _, known := s.lifted[f.ID]; !known {
		if s.has(f.ID) {
			s.hidden++
		} else {
			s.rows++
		}
	}
	s.lifted[f.ID] = f
}

func (s *Series) drop(f *Fact) { s.lifted[f.ID] = nil }

func (s *Series) has(id events.ID) bool {
	for _, m := range s.months {
		if slices.Contains(m.IDs, id) {
			return true
		}
	}
	return false
}

// Each calls f for each month in order of time, with its rows as they stand: sorted, without what was withdrawn, with
// corrected readings in their place. f must not keep or change the month.
func (s *Series) Each(f func(*Month)) {
	months := make(map[int]*Month, len(s.months))
	for k, m := range s.months {
		m.sort()
		months[k] = m
	}
	if len(s.lifted) > 0 {
		months = s.overlaid(months)
	}
	order := make([]int, 0, len(months))
	for k := range months {
		order = append(order, k)
	}
	slices.Sort(order)
	for _, k := range order {
		if len(months[k].Times) > 0 {
			f(months[k])
		}
	}
}

// overlaid copies the months that lifted readings touch and puts those readings as they stand now into them.
func (s *Series) overlaid(months map[int]*Month) map[int]*Month {
	for k, m := range months {
		hit := false
		for _, id := range m.IDs {
			if _, lifted := s.lifted[id]; lifted {
				hit = true
				break
			}
		}
		if !hit {
			continue
		}
		kept := &Month{sorted: true}
		for i, id := range m.IDs {
			if _, lifted := s.lifted[id]; !lifted {
				kept.push(m.Times[i], id, m.Interval[i], m.row(i))
			}
		}
		months[k] = kept
	}
	ids := make([]events.ID, 0, len(s.lifted))
	for id, f := range s.lifted {
		if f != nil && f.Stands() {
			ids = append(ids, id)
		}
	}
	slices.SortFunc(ids, func(a, b events.ID) int { return slices.Compare(a[:], b[:]) })
	copied := map[int]bool{}
	for _, id := range ids {
		f := s.lifted[id]
		ms := f.Time.UnixMilli()
		k := monthOf(ms)
		switch {
		case months[k] == nil:
			months[k] = &Month{sorted: true}
		case months[k] == s.months[k] && !copied[k]:
			months[k] = months[k].clone()
		}
		copied[k] = true
		months[k].append(ms, id, f.decoded.(*events.WeatherRead))
	}
	for _, m := range months {
		m.sort()
	}
	return months
}

func (m *Month) clone() *Month {
	c := &Month{Times: slices.Clone(m.Times), IDs: slices.Clone(m.IDs), Interval: slices.Clone(m.Interval), sorted: m.sorted}
	for e := range m.Cols {
		c.Cols[e] = slices.Clone(m.Cols[e])
	}
	return c
}

func (m *Month) row(i int) [elements]float64 {
	var out [elements]float64
	for e := range m.Cols {
		out[e] = math.NaN()
		if m.Cols[e] != nil {
			out[e] = m.Cols[e][i]
		}
	}
	return out
}

// data writes a row as the data of a weather.read in the columns' units. Only what is lifted comes this way, and every
// correction brings its own data; this stands in for the original until then.
func (m *Month) data(station string, i int) []byte {
	values := m.row(i)
	q := func(e Element) *events.Quantity {
		if math.IsNaN(values[e]) {
			return nil
		}
		return &events.Quantity{Value: values[e], Unit: ElementUnits[e]}
	}
	w := &events.WeatherRead{
		Station: station, AirTemperature: q(AirTemperature), AirTemperatureMin: q(AirTemperatureMin),
		AirTemperatureMax: q(AirTemperatureMax), RelativeHumidity: q(RelativeHumidity), WetBulb: q(WetBulb),
		WindSpeed: q(WindSpeed), WindGust: q(WindGust), WindDirection: q(WindDirection), Rain: q(Rain),
		SolarRadiation: q(SolarRadiation), LeafWetness: q(LeafWetness), SoilTemperature: q(SoilTemperature),
	}
	if values[RainTrace] == 1 {
		trace := true
		w.RainTrace = &trace
	}
	if m.Interval[i] > 0 {
		seconds := float64(m.Interval[i])
		w.Interval = &seconds
	}
	return canonical(w)
}
