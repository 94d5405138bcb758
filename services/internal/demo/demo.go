// Package demo invents an orchard: Tern Hollow, a windward site on an island of Hawaii that is on no map, with 400 lychee
// trees in four blocks and their records of nine harvests. Everything in it is invented: the place, the people, the
// products and what their labels say, the weather and the fruit. Nothing here is a measurement of anything.
//
// The orchard comes as files, as a grower's own would: a file of farm, blocks and labels, tables of trees, picks and
// weather, and a file of what was seen and done. The demo takes them in through the same door as anybody's.
package demo

import (
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"time"

	"latewood/events"
	"latewood/events/canon"
	"latewood/events/civil"
)

// Code is the farm's code, Zone its zone.
const (
	Code = "tern-hollow"
	Zone = "Pacific/Honolulu"
)

// Today is the day on which the invented records end: the middle of the harvest of 2026.
var Today = civil.Date{Year: 2026, Month: time.June, Day: 12}

// First is the first day with weather.
var First = civil.Date{Year: 2017, Month: time.October, Day: 1}

// A File is one of the orchard's files and how it is imported.
type File struct {
	Name    string
	As      string // empty: the file says it itself
	Station string
}

// block is one invented block.
type block struct {
	code, name, cultivar string
	rows, positions      int
	planted              int
	area                 float64 // ha
	kg                   float64 // of a grown tree in a good year
	bias                 float64 // how strongly good and poor years alternate
	pick                 int     // day of the year on which its harvest begins
	byTree               bool    // its picks are weighed tree by tree
}

// blocks are the invented blocks.
//
//words:data invented names
func blocks() []block {
	return []block{
		{"upper", "Upper terrace", "Kwai May Pink", 10, 10, 2010, 0.36, 38, 0.55, 158, true},
		{"gulch", "Gulch side", "Souey Tung", 8, 12, 2011, 0.35, 30, 0.35, 142, false},
		{"road", "Along the road", "Bengal", 8, 13, 2012, 0.42, 34, 0.60, 165, false},
		{"house", "Behind the house", "Kaimana", 10, 10, 2013, 0.34, 42, 0.25, 150, true},
	}
}

// Write writes the orchard's files into a folder, in the order in which they are to be imported. The same seed gives the
// same bytes.
func Write(dir string, seed uint64) ([]File, error) {
	zone, err := civil.Zone(Zone)
	if err != nil {
		return nil, err
	}
	o := &orchard{rand: rand.New(rand.NewPCG(seed, 7)), zone: zone, blocks: blocks()}
	o.sky = newSky(rand.New(rand.NewPCG(seed, 11)))
	parts := []struct {
		File
		write func(io.Writer) error
	}{
		{File{Name: "farm.jsonl"}, o.writeFarm},
		{File{Name: "trees.csv", As: "trees"}, o.writeTrees},
		{File{Name: "weather.csv", As: "weather", Station: "terrace"}, o.writeWeather},
		{File{Name: "work.jsonl"}, o.writeWork},
		{File{Name: "picks.csv", As: "picks"}, o.writePicks},
	}
	var files []File
	for _, p := range parts {
		f, err := os.Create(filepath.Join(dir, p.Name))
		if err != nil {
			return nil, fmt.Errorf("demo: %w", err)
		}
		err = p.write(f)
		if cerr := f.Close(); err == nil {
			err = cerr
		}
		if err != nil {
			return nil, fmt.Errorf("demo: %s: %w", p.Name, err)
		}
		files = append(files, p.File)
	}
	return files, nil
}

type orchard struct {
	rand   *rand.Rand
	zone   *time.Location
	blocks []block
	sky    *sky
	picks  []string // rows of picks.csv, made with the work so that both tell one story
	ids    int
}

// id makes ids that are the same at every run: the demo's labels are named by its sprays.
func (o *orchard) id() string {
	o.ids++
	return events.NewID(1_700_000_000_000+int64(o.ids), [10]byte{0, 0, 0, 0, 0, 0, 0, 0, byte(o.ids >> 8), byte(o.ids)}).String()
}

// line writes one record.
func line(w io.Writer, id, at string, data any) error {
	kind := events.Standard().KindOf(data)
	v := canon.ObjectOf(canon.Member{Name: "type", Value: canon.Text(kind.Type())}, canon.Member{Name: "data", Value: events.Encode(data)})
	if id != "" {
		v.Set("id", canon.Text(id))
	}
	if at != "" {
		v.Set("time", canon.Text(at))
	}
	_, err := w.Write(append(canon.Bytes(v), '\n'))
	return err
}

func q(value float64, unit string) *events.Quantity {
	return &events.Quantity{Value: value, Unit: unit}
}

func yes() *bool { b := true; return &b }

func count(n int) *int { return &n }

// sprayer is the invented applicator of the demo; no register holds a name for this pseudonym.
func sprayer() *events.Person { return &events.Person{Code: "w_00000000000000000000000000000de0"} }

// at is a time of day on the farm, in the ledger's form.
func (o *orchard) at(d civil.Date, hour, minute int) string {
	return civil.FormatTime(time.Date(d.Year, d.Month, d.Day, hour, minute, 0, 0, o.zone))
}

func round(f float64, digits int) float64 {
	p := math.Pow(10, float64(digits))
	return math.Round(f*p) / p
}

func dayOf(year, yearDay int) civil.Date {
	return civil.Date{Year: year, Month: time.January, Day: 1}.AddDays(yearDay - 1)
}

// Labels of the demo, by id: invented products.
const (
	labelMite = iota
	labelMould
	labelOil
	labelBait
	labels
)

// writeFarm writes the farm, its blocks, its station, and what somebody read off four labels that nobody ever printed.
//
//words:data invented names and label texts
func (o *orchard) writeFarm(w io.Writer) error {
	if err := line(w, "", "2017-09-01", &events.FarmOpened{
		Name: "Tern Hollow", Zone: Zone, Latitude: 19.72, Longitude: -155.09, Elevation: q(310, "m"),
	}); err != nil {
		return err
	}
	for _, b := range o.blocks {
		if err := line(w, "", "2017-09-01", &events.BlockEstablished{
			Block: b.code, Name: b.name, Area: *q(b.area, "har"),
			BlockFields: events.BlockFields{RowSpacing: q(7, "m"), TreeSpacing: q(5, "m"), Irrigation: "micro-sprinklers under the trees"},
		}); err != nil {
			return err
		}
	}
	if err := line(w, "", "2017-09-20", &events.StationSited{
		Station: "terrace", Latitude: 19.7203, Longitude: -155.0911, Elevation: q(312, "m"),
		Sensors: []events.Sensor{{What: "air temperature", Height: q(1.5, "m"), Since: "2017-09-20"}, {What: "rain", Since: "2017-09-20"}},
		Blocks:  []string{"upper", "gulch", "road", "house"},
	}); err != nil {
		return err
	}
	if err := line(w, "", "2025-06-01", &events.SettingAdopted{
		Name: "flush-stretch-share", Value: events.Raw("0.5"), Unit: "1", From: "2025-06-01", Reason: "half of the terminals is a crop here",
	}); err != nil {
		return err
	}
	hours := func(h float64) events.OneOrMany[events.Reentry] { return events.OneOrMany[events.Reentry]{{Hours: &h}} }
	days := func(n float64, words string) events.OneOrMany[events.Withholding] {
		return events.OneOrMany[events.Withholding]{{Kind: "numeric", Value: &n, Unit: "d", TermOnLabel: "pre-harvest interval", Words: words}}
	}
	filed := []events.LabelFiled{
		labelMite: {Product: "Mitefall 80 (invented)", Material: "pesticide", Registration: "INVENTED-1", Crop: "lychee", CropListed: yes(),
			ActiveIngredients: []events.Ingredient{{Name: "invented sulphur", Share: q(80, "%"), MoA: &events.MoA{Scheme: "invented", Group: "M2"}}},
			Withholding:       days(7, "Do not apply within 7 days of harvest."), Reentry: hours(24),
			Rates: []events.LabelRate{{Max: q(6, "kg/har")}}, MostApplications: count(4), LeastDaysBetween: count(14)},
		labelMould: {Product: "Panicle Guard (invented)", Material: "pesticide", Registration: "INVENTED-2", Crop: "lychee", CropListed: yes(),
			ActiveIngredients: []events.Ingredient{{Name: "invented strobin", Share: q(25, "%"), MoA: &events.MoA{Scheme: "invented", Group: "11"}}},
			Withholding:       days(14, "Do not apply within 14 days of harvest."), Reentry: hours(4),
			Rates: []events.LabelRate{{Max: q(1, "L/har")}}, MostApplications: count(3), LeastDaysBetween: count(10), WindLimit: q(4.5, "m/s")},
		labelOil: {Product: "Clear Oil (invented)", Material: "minimum-risk", Crop: "fruit trees", CropListed: yes(),
			Withholding: events.OneOrMany[events.Withholding]{{Kind: "zero", TermOnLabel: "pre-harvest interval", Words: "May be used up to the day of harvest."}}, Reentry: hours(4)},
		labelBait: {Product: "Fly Bait (invented)", Material: "pesticide", Registration: "INVENTED-3", Crop: "lychee", CropListed: yes(),
			ActiveIngredients: []events.Ingredient{{Name: "invented spinosyn", Share: q(0.02, "%"), MoA: &events.MoA{Scheme: "invented", Group: "5"}}},
			Withholding:       events.OneOrMany[events.Withholding]{{Kind: "growth-stage", TermOnLabel: "pre-harvest interval", Words: "Do not apply to fruit that has begun to colour."}}, Reentry: hours(4)},
	}
	o.ids = 0
	for i := range filed {
		filed[i].ReadBy = "invented for the demo"
		filed[i].LabelVersion = "1"
		if err := line(w, o.id(), "2017-09-25", &filed[i]); err != nil {
			return err
		}
	}
	return nil
}

// label is the id under which writeFarm filed a label.
func label(n int) string {
	o := orchard{ids: n}
	return o.id()
}

func (o *orchard) writeTrees(w io.Writer) error {
	if _, err := io.WriteString(w, "block,row,position,cultivar,planted,propagation\n"); err != nil {
		return err
	}
	for _, b := range o.blocks {
		for r := 1; r <= b.rows; r++ {
			for p := 1; p <= b.positions; p++ {
				if _, err := fmt.Fprintf(w, "%s,%d,%d,%s,%d,air-layer\n", b.code, r, p, b.cultivar, b.planted); err != nil {
					return err
				}
			}
		}
	}
	return nil
}
