package meteo

import (
	"math"
	"testing"
)

// yearOfQuarters is an invented year of 15-minute temperatures: 35,040
// readings with a yearly and a daily wave.
func yearOfQuarters() Series {
	const n = 365 * 96
	s := Series{Times: make([]int64, n), Values: make([]float64, n)}
	for i := range n {
		days := float64(i) / 96
		s.Times[i] = int64(i) * 15 * Minute
		v := 20 - 8*math.Cos(2*math.Pi*days/365) + 6*math.Sin(2*math.Pi*days) + 0.7*math.Sin(float64(i))
		s.Values[i] = math.Round(v*10) / 10
	}
	return s
}

// One pass over a year allocates nothing.
func TestMetersDoNotAllocate(t *testing.T) {
	s := yearOfQuarters()
	for _, m := range []Method{Linear, Hold, Count} {
		r := Rules{Method: m, Nominal: 15 * Minute}
		if n := testing.AllocsPerRun(2, func() {
			if _, err := HoursBelow(s, 20, r); err != nil {
				t.Error(err)
			}
			if _, err := DegreeDaysFrom(s, 11, 30, r); err != nil {
				t.Error(err)
			}
		}); n != 0 {
			t.Errorf("%s: got %g allocations, want none", m, n)
		}
	}
}

func BenchmarkHoursYear(b *testing.B) {
	s := yearOfQuarters()
	for _, m := range []Method{Linear, Hold, Count} {
		b.Run(m.String(), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if _, err := HoursBelow(s, 20, Rules{Method: m, Nominal: 15 * Minute}); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N*len(s.Times)), "ns/reading")
		})
	}
}

func BenchmarkDegreeDaysYear(b *testing.B) {
	s := yearOfQuarters()
	for _, m := range []Method{Linear, Hold, Count} {
		b.Run(m.String(), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if _, err := DegreeDaysFrom(s, 11, 30, Rules{Method: m, Nominal: 15 * Minute}); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N*len(s.Times)), "ns/reading")
		})
	}
}

// A year day by day: hours, degree-days and extremes of each of 365 days.
func BenchmarkYearByDays(b *testing.B) {
	s := yearOfQuarters()
	b.ReportAllocs()
	for b.Loop() {
		for d := range int64(365) {
			from, to := d*Day, (d+1)*Day
			day := s.Between(from, to)
			r := Rules{From: from, To: to}
			if _, err := HoursBelow(day, 20, r); err != nil {
				b.Fatal(err)
			}
			if _, err := DegreeDaysFrom(day, 11, 30, r); err != nil {
				b.Fatal(err)
			}
			bounds := DayBounds{Start: from, End: to, NightFrom: from + 3*Hour, NightTo: from + 7*Hour, NoonFrom: from + 12*Hour, NoonTo: from + 16*Hour}
			if _, err := Summarise(day, bounds, Rules{}); err != nil {
				b.Fatal(err)
			}
		}
	}
}

func BenchmarkWetBulb(b *testing.B) {
	for b.Loop() {
		if _, err := WetBulb(25, 60, SeaLevel, Aspirated); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkSun(b *testing.B) {
	for b.Loop() {
		if _, err := Sun(25.47, -80.48, 2026, 1, 15); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkCheckStep(b *testing.B) {
	for b.Loop() {
		CheckStep(AirTemperature, 20, 21, 15*Minute)
		CheckRange(AirTemperature, 21)
	}
}
