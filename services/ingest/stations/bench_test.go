package stations

import (
	"testing"
	"time"
)

func BenchmarkLine(b *testing.B) {
	for _, bb := range []struct {
		format Format
		line   string
	}{
		{GHCNDaily, dly("ZZ000000001", "202602", "TMAX", 28, "  283  H", nil)},
		{ISDLite, "2026 01 15 06    78    44 10213   320    31     2    -1 -9999"},
		{METAR, "202601151853 METAR KZZZ 151853Z 32006KT 10SM CLR 03/M01 A3005 RMK AO2 SLP175 T00261015 P0004 11021 20012"},
	} {
		b.Run(string(bb.format), func(b *testing.B) {
			p := New(bb.format, Options{Station: "hollow", ID: map[Format]string{METAR: "KZZZ"}[bb.format], Zone: time.UTC})
			b.SetBytes(int64(len(bb.line)))
			for n := 1; b.Loop(); n++ {
				p.Line(n, bb.line)
			}
		})
	}
}

func BenchmarkSenML(b *testing.B) {
	pack := []byte(`[{"bn":"urn:dev:mac:0024befffe804ff1:","bt":1768514400.123,"n":"temperature","u":"Cel","v":21.5},{"n":"humidity","u":"%RH","v":60},{"n":"battery","u":"V","v":3.1}]`)
	b.SetBytes(int64(len(pack)))
	for b.Loop() {
		ReadSenML(pack, Options{Station: "hollow"})
	}
}
