package holds_test

import (
	"fmt"
	"testing"

	"latewood/events"
	"latewood/projections"
	"latewood/projections/holds"
)

// A block of 400 trees with 20 years of 30 sprays.
func grown(b *testing.B) (*orchard, *projections.Book) {
	o := newOrchard(b, honolulu)
	o.rows("north", 20, 20)
	var mix []events.MixItem
	for i := range 10 {
		mix = append(mix, o.label(label(fmt.Sprint("L", i), numeric(float64(i), "d", ""), entry(12))))
	}
	for year := 2006; year < 2026; year++ {
		for i := range 30 {
			day := fmt.Sprintf("%d-%02d-%02dT09:00:00-10:00", year, 1+i%12, 1+i/12*9)
			where := block("north")
			if i%3 == 0 {
				where = rows("north", "3", "4", "5")
			}
			o.sprayed(day, day, where, mix[i%10], mix[(i+3)%10])
		}
	}
	return o, o.Book()
}

func BenchmarkFold(b *testing.B) {
	o, book := grown(b)
	for b.Loop() {
		fresh := o.Book()
		projections.StateOf[holds.State](fresh, holds.Fold(), "north")
	}
	raw, _ := events.WriteJSON(projections.StateOf[holds.State](book, holds.Fold(), "north"))
	b.ReportMetric(float64(len(raw)), "state-bytes")
}

func BenchmarkAt(b *testing.B) {
	o, book := grown(b)
	s := projections.StateOf[holds.State](book, holds.Fold(), "north")
	at := o.when("2025-12-02")
	b.ReportAllocs()
	for b.Loop() {
		s.At(at, o.Zone())
	}
}

func BenchmarkPickAt(b *testing.B) {
	o, book := grown(b)
	s := projections.StateOf[holds.State](book, holds.Fold(), "north")
	at := o.when("2025-12-02T10:00:00")
	parts := rows("north", "3")
	b.ReportAllocs()
	for b.Loop() {
		s.PickAt(parts, at, o.Zone())
	}
}
