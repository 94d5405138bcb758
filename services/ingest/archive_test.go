package ingest

import (
	"errors"
	"io"
	"strings"
	"testing"

	"latewood/events/canon"
)

// Files of weather archives, said and sniffed. The formats themselves are tested in stations. Invented values.
func TestArchives(t *testing.T) {
	t.Parallel()
	for name, tt := range map[string]struct {
		file, as, want string
		left           int
	}{
		"isd-lite": {"2026 01 15 06    78 -9999 10213   320    31     2    -1 -9999\n2026 01 15 07    xx\n", "isd-lite",
			`1 2026-01-15T06:00:00Z {"airTemperature":{"unit":"Cel","value":7.8},"interval":3600,"rainTrace":true,"station":"hollow","windDirection":{"unit":"deg","value":320},"windSpeed":{"unit":"m/s","value":3.1}}
2 stations.isd-length
`, 2},
		"by-year": {"ZZ000000001,20260201,TMAX,283,,,H,\nZZ000000001,20260201,TMIN,811,,X,H,\n", "weather",
			`1 2026-02-02T00:00:00-05:00 {"airTemperatureMax":{"unit":"Cel","value":28.3},"interval":86400,"station":"hollow"}` + "\n", 1},
		"metar": {"202601151853 KZZZ 151853Z 03/M01 RMK T00261015\n", "metar",
			`1 2026-01-15T18:53:00Z {"airTemperature":{"unit":"Cel","value":2.6},"note":"relative humidity worked out from a dew point of -1.5 Cel (FAO-56 equations 11 and 14)","relativeHumidity":{"unit":"%","value":74.3},"station":"hollow"}` + "\n", 0},
		"senml": {"[{\"bn\":\"x:\",\"bt\":1768514400,\n\"n\":\"temp\",\"u\":\"Cel\",\"v\":21.5},{\"n\":\"battery\",\"u\":\"V\",\"v\":3}]", "",
			`1 2026-01-15T22:00:00Z {"airTemperature":{"unit":"Cel","value":21.5},"station":"hollow"}` + "\n", 1},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			r, err := Open(strings.NewReader(tt.file), Options{Name: "f", As: tt.as, Station: "hollow", Zone: zone(t, "America/New_York")})
			if err != nil {
				t.Fatal(err)
			}
			var got strings.Builder
			for {
				row, err := r.Next()
				if errors.Is(err, io.EOF) {
					break
				}
				if err != nil {
					t.Fatal(err)
				}
				got.WriteString(string(canon.Bytes(canon.Num(float64(row.Line)))))
				for _, p := range row.Problems {
					got.WriteString(" " + p.Why.Key)
				}
				if len(row.Problems) == 0 {
					if row.Draft.Type != "weather.read" || r.Kind().Name != "weather.read" {
						t.Errorf("type %q, kind %v", row.Draft.Type, r.Kind())
					}
					got.WriteString(" " + row.Draft.Time + " " + string(canon.Bytes(row.Draft.Data)))
				}
				got.WriteByte('\n')
			}
			if got.String() != tt.want {
				t.Errorf("got\n%swant\n%s", got.String(), tt.want)
			}
			if left, n := r.LeftValues(); n != tt.left || len(left) != n {
				t.Errorf("left out: got %d %v, want %d", n, left, tt.left)
			}
		})
	}
}

func TestArchivesRefused(t *testing.T) {
	t.Parallel()
	line := "2026 01 15 06    78    44 10213   320    31     2    -1 -9999\n"
	for name, tt := range map[string]struct {
		file string
		o    Options
		want string
	}{
		"no station":     {line, Options{}, "which station"},
		"a map":          {line, Options{As: "isd-lite", Station: "hollow", Map: &Map{Kind: "weather"}}, "needs no map"},
		"a list":         {`[{"type":"x"}]`, Options{Station: "hollow"}, "JSON list"},
		"another format": {line, Options{As: "picks", Station: "hollow"}, "heading"},
	} {
		_, err := Open(strings.NewReader(tt.file), tt.o)
		var refusals Refusals
		if !errors.As(err, &refusals) || !strings.Contains(err.Error(), tt.want) {
			t.Errorf("%s: got %v, want %q", name, err, tt.want)
		}
	}
	two := "ZZ000000001,20260201,TMAX,283,,,H,\nZZ000000002,20260201,TMAX,100,,,H,\n"
	r, err := Open(strings.NewReader(two), Options{Station: "hollow=ZZ000000002", Zone: zone(t, "America/New_York")})
	if err != nil {
		t.Fatal(err)
	}
	row, err := r.Next()
	if err != nil || row.Draft.Data.Get("station").Str != "hollow" || row.Draft.Data.Get("airTemperatureMax").Get("value").Num != 10 {
		t.Errorf("the second of two stations: got %+v, %v", row, err)
	}
}

func FuzzArchive(f *testing.F) {
	formats := []string{"", "ghcn-daily", "isd-lite", "metar", "senml"}
	f.Add([]byte("2026 01 15 06    78    44 10213   320    31     2    -1 -9999\n"), 0)
	f.Add([]byte("ZZ000000001,20260201,TMAX,283,,,H,0700\n"), 1)
	f.Add([]byte("202601151853 KZZZ 151853Z RMK T00261015\n"), 3)
	f.Add([]byte(`[{"bt":1768514400,"n":"temp","u":"Cel","v":21.5}]`), 4)
	f.Fuzz(func(t *testing.T, data []byte, format int) {
		drain(t, data, Options{As: formats[uint(format)%uint(len(formats))], Station: "hollow"})
	})
}
