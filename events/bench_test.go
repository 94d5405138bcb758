package events_test

import (
	"os"
	"path/filepath"
	"testing"

	"latewood/events"
	"latewood/events/canon"
)

// The way of a record in and out, for a reading (small, and by the million) and a spray (large).
func BenchmarkRecord(b *testing.B) {
	for _, kind := range []string{"weather.read", "spray.applied"} {
		body, err := os.ReadFile(filepath.Join(versions, kind+".v1.json"))
		if err != nil {
			b.Fatal(err)
		}
		r, err := events.ParseRecord(1, body)
		if err != nil {
			b.Fatal(err)
		}
		data, err := canon.Parse(r.Data)
		if err != nil {
			b.Fatal(err)
		}
		door := hollow()
		b.Run(kind+"/check", func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if _, problems := door.Check(events.Draft{Type: kind, Time: r.Envelope.Time, Data: data}); len(problems) > 0 {
					b.Fatal(problems)
				}
			}
		})
		b.Run(kind+"/write", func(b *testing.B) {
			b.ReportAllocs()
			buf := make([]byte, 0, 8192)
			for b.Loop() {
				buf = r.Envelope.AppendCanonical(buf[:0], r.Data)
			}
		})
		b.Run(kind+"/read", func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if _, err := events.ParseRecord(1, body); err != nil {
					b.Fatal(err)
				}
			}
		})
		b.Run(kind+"/decode", func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if _, err := events.Standard().Decode(r); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
