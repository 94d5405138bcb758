package project_test

import (
	"context"
	"fmt"
	"math/rand/v2"
	"path/filepath"
	"testing"
	"time"

	"latewood/events"
	"latewood/events/civil"
	"latewood/projections"
	"latewood/projections/flags"
	"latewood/projections/foldtest"
	"latewood/projections/holds"
	"latewood/projections/lots"
	"latewood/projections/orchard"
	"latewood/projections/reviews"
	"latewood/projections/weather"
	"latewood/projections/yields"
	"latewood/services/project"
)

// orchardOf writes the ledger of an invented orchard: 400 trees in 4 blocks, and so many seasons of hourly readings, picks,
// sprays with filed labels, prunes and flushes.
func orchardOf(b *testing.B, seasons int) *writer {
	b.Helper()
	w := newWriter(b)
	r := rand.New(rand.NewPCG(1, 2))
	zone, err := civil.Zone("Pacific/Honolulu")
	if err != nil {
		b.Fatal(err)
	}
	at := func(t time.Time) string { return civil.FormatTime(t) }
	one := func(block string) events.Where { return events.Where{{Block: block}} }
	var blocks []string
	var trees [][2]string
	for i := range 4 {
		block := fmt.Sprintf("block-%d", i)
		blocks = append(blocks, block)
		w.add("2012-01-01T00:00:00Z", events.Envelope{}, &events.BlockEstablished{Block: block, Name: block, Area: events.Quantity{Value: 1, Unit: "har"}})
		for k := range 100 {
			tree := fmt.Sprintf("%s-%02d-%02d", block, k/10, k%10)
			trees = append(trees, [2]string{block, tree})
			w.add("", events.Envelope{}, &events.TreePlanted{Tree: tree, Block: block, Row: fmt.Sprint(k / 10), Position: fmt.Sprint(k % 10), Cultivar: "Kaimana", Planted: "2012"})
		}
	}
	days := 14.0
	hours := 12.0
	label := w.add("2014-01-01T00:00:00Z", events.Envelope{}, &events.LabelFiled{
		Product: "Copper", Material: "pesticide", ReadBy: "w_00112233445566778899aabbccddeeff", Registration: "1-2-3", Crop: "lychee",
		ActiveIngredients: []events.Ingredient{{Name: "copper"}},
		Withholding:       events.OneOrMany[events.Withholding]{{Kind: "numeric", Value: &days, Unit: "d"}},
		Reentry:           events.OneOrMany[events.Reentry]{{Hours: &hours}},
	})
	hour := 3600.0
	start := time.Date(2015, 10, 1, 0, 0, 0, 0, zone)
	for h := range seasons * 365 * 24 {
		t := start.Add(time.Duration(h) * time.Hour)
		w.add(at(t), events.Envelope{}, &events.WeatherRead{
			Station: "mauka", Interval: &hour, AirTemperature: &events.Quantity{Value: float64(80+r.IntN(200)) / 10, Unit: "Cel"},
			RelativeHumidity: &events.Quantity{Value: float64(40 + r.IntN(60)), Unit: "%"}, Rain: &events.Quantity{Value: float64(r.IntN(3)), Unit: "mm"},
		})
		if h%24 != 9 {
			continue
		}
		switch day := h / 24 % 365; {
		case day > 240 && day < 290: // the harvest
			for range 12 {
				tree := trees[r.IntN(len(trees))]
				w.add(at(t), events.Envelope{}, &events.FruitPicked{
					Where: events.Where{{Block: tree[0], Trees: []string{tree[1]}}}, Mass: &events.Quantity{Value: float64(1+r.IntN(600)) / 10, Unit: "kg"},
				})
			}
		case day%20 == 0:
			block := blocks[r.IntN(4)]
			w.add("", events.Envelope{}, &events.SprayApplied{
				Where: events.OneOrMany[events.SprayedPart]{{Part: events.Part{Block: block}}}, Started: at(t.Add(-2 * time.Hour)), Ended: at(t),
				Mix: []events.MixItem{{Label: label.ID.String()}}, Target: "mites", Applicator: &events.Person{Code: "w_00112233445566778899aabbccddeeff"},
			})
		case day%7 == 0:
			w.add(at(t), events.Envelope{}, &events.FlushSeen{Where: one(blocks[r.IntN(4)]), Stage: "elongating"})
		case day%45 == 1:
			w.add(at(t), events.Envelope{}, &events.TreePruned{Where: one(blocks[r.IntN(4)]), Cut: "after-harvest"})
		}
	}
	return w
}

// How fast a ledger is read again, from memory: what a start costs without a snapshot, part by part, and with one.
func BenchmarkReplay(b *testing.B) {
	w := orchardOf(b, 4)
	list := []*projections.Fold{
		orchard.Fold(), holds.Fold(), holds.FlagFold(), yields.Fold(), weather.Fold(), flags.Blocks(), flags.Farm(), flags.Stations(),
		lots.Fold(), lots.FlagFold(), reviews.Blocks(), reviews.Farm(),
	}
	path := filepath.Join(b.TempDir(), "book.snapshot")
	mark := projections.Mark{Origin: "bench", Size: w.n}
	conf := project.Config{
		Log: w.log, Folds: list, Snapshot: path,
		Trust: func(m projections.Mark) bool { return m == mark }, Mark: func(uint64) (projections.Mark, bool) { return mark, true },
	}
	run := func(name string, f func(b *testing.B)) {
		b.Run(name, func(b *testing.B) {
			b.ReportAllocs()
			n := 0
			for b.Loop() {
				f(b)
				n++
			}
			b.ReportMetric(float64(n)*float64(w.n)/b.Elapsed().Seconds(), "records/s")
		})
	}
	run("read and parse", func(b *testing.B) {
		n := uint64(0)
		for _, err := range project.Records(context.Background(), w.log, 1, w.n) {
			if err != nil {
				b.Fatal(err)
			}
			n++
		}
		if n != w.n {
			b.Fatalf("%d of %d records", n, w.n)
		}
	})
	bare := conf
	bare.Snapshot = ""
	run("and decode into the book", func(b *testing.B) { caughtUp(b, bare) })
	var last *project.Projector
	run("and all folds", func(b *testing.B) {
		last = caughtUp(b, conf)
		_ = last.With(func(book *projections.Book) error { foldtest.States(b, book, list); return nil })
	})
	if last == nil {
		return
	}
	if err := last.SaveSnapshot(); err != nil {
		b.Fatal(err)
	}
	run("from a snapshot", func(b *testing.B) {
		p := caughtUp(b, conf)
		_ = p.With(func(book *projections.Book) error { foldtest.States(b, book, list); return nil })
	})
}
