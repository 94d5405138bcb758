package civil_test

import (
	"testing"
	"time"

	"latewood/events/civil"
)

func BenchmarkParseTime(b *testing.B) {
	loc, err := civil.Zone("America/New_York")
	if err != nil {
		b.Fatal(err)
	}
	for _, s := range []string{"2026-05-03T14:10:00-04:00", "2026-05-03T14:10:00", "2026-05-03"} {
		b.Run(s, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if _, err := civil.ParseTime(s, loc); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

func BenchmarkAppendTime(b *testing.B) {
	at := time.Date(2026, 5, 3, 14, 10, 0, 0, time.FixedZone("", -4*3600))
	buf := make([]byte, 0, 32)
	b.ReportAllocs()
	for b.Loop() {
		buf = civil.AppendTime(buf[:0], at)
	}
}

func BenchmarkDays(b *testing.B) {
	loc, err := civil.Zone("America/New_York")
	if err != nil {
		b.Fatal(err)
	}
	at := time.Date(2026, 5, 3, 14, 10, 0, 0, time.UTC)
	d := civil.DateOf(at, loc)
	b.Run("DateOf", func(b *testing.B) {
		for b.Loop() {
			civil.DateOf(at, loc)
		}
	})
	b.Run("DayStart", func(b *testing.B) {
		for b.Loop() {
			civil.DayStart(d, loc)
		}
	})
	b.Run("AddDays", func(b *testing.B) {
		for b.Loop() {
			civil.Date.AddDays(d, 14)
		}
	})
	b.Run("Series", func(b *testing.B) {
		b.ReportAllocs()
		s := civil.Series{Zone: loc}
		w := civil.WallOf(at, loc)
		for b.Loop() {
			if _, err := s.Next(w); err != nil {
				b.Fatal(err)
			}
		}
	})
}
