package units_test

import (
	"testing"

	"latewood/events/units"
)

func BenchmarkBase(b *testing.B) {
	for _, bb := range []struct {
		name  string
		value float64
		code  string
	}{
		{"kg", 12.5, "kg"}, {"m", 3.25, "m"}, {"Cel", -2.2, "Cel"}, {"degF", 68.5, "[degF]"}, {"lb", 27.35, "[lb_av]"},
		{"seventeen-digits", 22.222222222222221, "Cel"},
	} {
		b.Run(bb.name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if _, err := units.Base(bb.value, bb.code); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

func BenchmarkConvert(b *testing.B) {
	b.ReportAllocs()
	for b.Loop() {
		if _, err := units.Convert(68.5, "[degF]", "Cel"); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkFromBase(b *testing.B) {
	b.ReportAllocs()
	for b.Loop() {
		units.FromBase(12_500_000, "kg")
	}
}

func BenchmarkAppendNumber(b *testing.B) {
	for _, bb := range []struct {
		name  string
		value float64
	}{{"whole", 42}, {"decimals", 12.75}, {"seventeen-digits", 22.222222222222221}} {
		b.Run(bb.name, func(b *testing.B) {
			b.ReportAllocs()
			buf := make([]byte, 0, 32)
			for b.Loop() {
				buf = units.AppendNumber(buf[:0], bb.value)
			}
		})
	}
}
