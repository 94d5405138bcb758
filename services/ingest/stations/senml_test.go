package stations

import (
	"math/big"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"
)

var noon = time.Date(2026, 1, 15, 22, 0, 0, 0, time.UTC)

// Source of the first: RFC 8428 as told in facts on SenML. The others are constructed from its rules.
func TestResolve(t *testing.T) {
	t.Parallel()
	got, problems := ResolveSenML([]byte(`[{"bn":"urn:dev:ow:10e2073a01080063","bt":1320067464,"bu":"%RH","v":21.2,"t":0},{"v":21.3,"t":10}]`), noon)
	if len(problems) > 0 || len(got) != 2 {
		t.Fatalf("got %v, %v, want two records", got, problems)
	}
	for i, want := range []string{"1320067464", "1320067474"} {
		if canonNumber(got[i].At) != want || got[i].Unit != "%RH" || got[i].Relative {
			t.Errorf("record %d: got %s %s, want %s %%RH", i, canonNumber(got[i].At), got[i].Unit, want)
		}
	}
	// Base fields hold until they are replaced; sums of decimals are exact; a record of base fields alone says nothing.
	got, problems = ResolveSenML([]byte(`[{"bn":"a:","bt":1320067464.1,"bv":0.1,"bs":1},{"n":"x","v":0.2,"t":0.2,"u":"Cel"},{"bn":"b:","bv":10},{"n":"y","s":2},{"n":"z"},{"n":"w","vs":"wet","ut":60}]`), noon)
	if len(problems) > 0 || len(got) != 4 {
		t.Fatalf("got %v, %v, want four records", got, problems)
	}
	if *got[0].Value != 0.3 || canonNumber(got[0].At) != "1320067464.3" || got[0].Name != "a:x" || got[0].Index != 1 {
		t.Errorf("got %+v, want 0.3 at .3", got[0])
	}
	if got[1].Value != nil || *got[1].Sum != 3 || got[1].Name != "b:y" {
		t.Errorf("got %+v, want a sum of 3", got[1])
	}
	if *got[2].Value != 10 || *got[3].Text != "wet" || *got[3].Update != 60 {
		t.Errorf("got %+v and %+v, want the base value and a text", got[2], got[3])
	}
}

// Negative case 16 of the facts: small times count from now, and are no moments of 1970. The border is 2^28.
func TestRelativeTimes(t *testing.T) {
	t.Parallel()
	for pack, want := range map[string]string{
		`[{"n":"t","v":1}]`:                      "now",
		`[{"n":"t","v":1,"t":-60}]`:              "-1m0s",
		`[{"n":"t","v":1,"t":0.5}]`:              "500ms",
		`[{"bt":-30,"n":"t","v":1,"t":-0.25}]`:   "-30.25s",
		`[{"n":"t","v":1,"t":268435455}]`:        "74565h24m15s",
		`[{"n":"t","v":1,"t":268435456}]`:        "1978-07-04T21:24:16Z",
		`[{"n":"t","v":1,"t":1276020076.001}]`:   "2010-06-08T18:01:16.001Z",
		`[{"bt":1276020076,"n":"t","v":1}]`:      "2010-06-08T18:01:16Z",
		`[{"n":"t","v":1,"t":12.76020076001e8}]`: "2010-06-08T18:01:16.001Z",
	} {
		got, problems := ResolveSenML([]byte(pack), noon)
		if len(problems) > 0 {
			t.Errorf("%s: %v", pack, problems)
			continue
		}
		r := got[0]
		text := r.At.Format(time.RFC3339Nano)
		if r.Relative {
			text = r.Offset.String()
			if !r.At.Equal(noon.Add(r.Offset)) {
				t.Errorf("%s: got %v, want %v from now", pack, r.At, r.Offset)
			}
		}
		if r.Relative && r.Offset == 0 {
			text = "now"
		}
		if text != want {
			t.Errorf("%s: got %s, want %s", pack, text, want)
		}
	}
}

func TestBadPacks(t *testing.T) {
	t.Parallel()
	for name, tt := range map[string]struct{ pack, want string }{
		"no JSON":            {`21.5 C`, "stations.senml-json"},
		"doubled label":      {`[{"n":"a","n":"b","v":1}]`, "stations.senml-json"},
		"an object":          {`{"n":"temperature","v":1}`, "stations.senml-list"},
		"empty":              {`[]`, "stations.senml-list"},
		"a number":           {`[1]`, "stations.senml-object"},
		"name is a number":   {`[{"n":1,"v":1}]`, "stations.senml-kind"},
		"no name":            {`[{"u":"Cel","v":1}]`, "stations.senml-name"},
		"name with a blank":  {`[{"n":"air temp","v":1}]`, "stations.senml-name"},
		"name begins with _": {`[{"n":"_a","v":1}]`, "stations.senml-name"},
		"value is a text":    {`[{"n":"a","v":"1"}]`, "stations.senml-kind"},
		"truth is a number":  {`[{"n":"a","vb":1}]`, "stations.senml-kind"},
		"two values":         {`[{"n":"a","v":1,"vs":"x"}]`, "stations.senml-values"},
		"no value":           {`[{"n":"a","u":"Cel"}]`, "stations.senml-values"},
		"must be understood": {`[{"n":"a","v":1,"new_":1}]`, "stations.senml-must"},
		"newer version":      {`[{"bver":11,"n":"a","v":1}]`, "stations.senml-version"},
		"two versions":       {`[{"bver":5,"n":"a","v":1},{"bver":6,"n":"b","v":1}]`, "stations.senml-version"},
		"tiny number":        {`[{"n":"a","v":1e-300}]`, "stations.senml-number"},
		"bomb":               {`[{"n":"a","t":1e-99999999,"v":1}]`, "stations.senml-number"},
		"time out of reach":  {`[{"n":"a","v":1,"t":1e18}]`, "stations.senml-time"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			got, problems := ResolveSenML([]byte(tt.pack), noon)
			if got != nil || len(problems) == 0 || problems[0].Why.Key != tt.want {
				t.Errorf("%s: got %v, %v, want %s", tt.pack, got, problems, tt.want)
			}
			if s := problems.Error(); strings.Contains(s, "⟦") {
				t.Errorf("a sentence with a hole: %s", s)
			}
		})
	}
	if _, problems := ResolveSenML([]byte(`[{"n":"a","v":1,"new":1}]`), noon); len(problems) > 0 {
		t.Errorf("an unknown label that need not be understood: %v", problems)
	}
	many := "[" + strings.Repeat(`{"n":"a","v":1},`, MaxRecords) + `{"n":"a","v":1}]`
	if _, problems := ResolveSenML([]byte(many), noon); len(problems) != 1 || problems[0].Why.Key != "stations.senml-records" {
		t.Errorf("too many records: got %v", problems)
	}
	if _, problems := ResolveSenML(make([]byte, MaxPack+1), noon); len(problems) != 1 || problems[0].Why.Key != "stations.senml-large" {
		t.Errorf("too large: got %v", problems)
	}
}

// Packs of an invented station.
func TestReadings(t *testing.T) {
	t.Parallel()
	o := Options{Station: "hollow", Now: noon}
	for name, tt := range map[string]struct{ pack, want string }{
		"one moment": {
			`[{"bn":"urn:dev:mac:0024befffe804ff1:","bt":1768514400,"n":"temperature","u":"Cel","v":21.5},{"n":"humidity","u":"%RH","v":60},{"n":"battery","u":"V","v":3.1}]`,
			`1 2026-01-15T22:00:00Z {"airTemperature":{"unit":"Cel","value":21.5},"relativeHumidity":{"unit":"%","value":60},"station":"hollow"} -1:stations.no-element(urn:dev:mac:0024befffe804ff1:battery)`,
		},
		"three moments, the last first": {
			`[{"bn":"dev/","bu":"Cel","n":"temp","v":3},{"n":"temp","t":-60.5,"v":2},{"n":"temp","t":-120,"v":1}]`,
			`1 2026-01-15T21:58:00Z {"airTemperature":{"unit":"Cel","value":1},"station":"hollow"}
1 2026-01-15T21:58:59.5Z {"airTemperature":{"unit":"Cel","value":2},"station":"hollow"}
1 2026-01-15T22:00:00Z {"airTemperature":{"unit":"Cel","value":3},"station":"hollow"}`,
		},
		"units are kept or converted": {
			`[{"n":"air-temperature","u":"K","v":294.65},{"n":"relative_humidity","u":"/","v":0.57},{"n":"windSpeed","u":"km/h","v":10.8},{"n":"wind.gust","u":"m/s","v":7},{"n":"windDirection","u":"rad","v":3.141592653589793},{"n":"rain","u":"mm","v":0.2},{"n":"solar","u":"W/m2","v":812},{"n":"leafWetness","u":"/1000","v":125},{"n":"soilTemp","u":"Cel","v":18.25}]`,
			`1 2026-01-15T22:00:00Z {"airTemperature":{"unit":"K","value":294.65},"leafWetness":{"unit":"%","value":12.5},"rain":{"unit":"mm","value":0.2},"relativeHumidity":{"unit":"%","value":57},"soilTemperature":{"unit":"Cel","value":18.25},"solarRadiation":{"unit":"W/m2","value":812},"station":"hollow","windDirection":{"unit":"deg","value":180},"windGust":{"unit":"m/s","value":7},"windSpeed":{"unit":"km/h","value":10.8}}`,
		},
		"what does not fit is left out, the rest is taken": {
			`[{"n":"temp","u":"Cel","v":3},{"n":"rain","u":"mm/h","v":3},{"n":"humidity","v":3},{"n":"wind","u":"m/s","s":3},{"n":"wetness","vb":true}]`,
			`1 2026-01-15T22:00:00Z {"airTemperature":{"unit":"Cel","value":3},"station":"hollow"} -1:stations.unit(rain) -1:stations.unit-missing(humidity) -1:stations.sum(wind) -1:stations.no-number(wetness)`,
		},
		"two values of one moment are both kept": {
			`[{"n":"temp","u":"Cel","v":3},{"n":"a:temp","u":"Cel","v":3},{"n":"b:temp","u":"Cel","v":4}]`,
			`1 2026-01-15T22:00:00Z {"airTemperature":{"unit":"Cel","value":3},"station":"hollow"}
1 2026-01-15T22:00:00Z {"airTemperature":{"unit":"Cel","value":4},"station":"hollow"}`,
		},
		"nothing known":  {`[{"n":"battery","u":"V","v":3.1}]`, `1 -1:stations.no-element(battery)`},
		"uptime as time": {`[{"n":"temp","u":"Cel","v":3,"t":57}]`, `1 !stations.ahead`},
		"no SenML":       {`21.5`, `1 !stations.senml-list`},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			got := ReadSenML([]byte(tt.pack), o)
			through(t, got)
			if told(got) != tt.want+"\n" {
				t.Errorf("got\n%swant\n%s", told(got), tt.want)
			}
		})
	}
}

func TestPackFile(t *testing.T) {
	t.Parallel()
	file := `[{"bt":1768514400,"n":"temperature","u":"Cel","v":21.5},{"n":"bat]t\"ery","v":1}]

[
  {"bt":1768518000,
   "n":"temperature","u":"Cel","v":22.5}, {"n":"battery","u":"V","v":3.1}
]
[{"n":"temperature","u":"Cel","v":21.5}]
[{"bt":1768521600,"n":"temperature","u":"Cel","v":23}, {"n":"battery","u":"V","v":3.2}]
[{"bt":1768521600`
	expect(t, SenML, Options{Station: "hollow"}, file, `1 !stations.senml-name
3 2026-01-15T23:00:00Z {"airTemperature":{"unit":"Cel","value":22.5},"station":"hollow"}
7 !stations.relative
8 2026-01-16T00:00:00Z {"airTemperature":{"unit":"Cel","value":23},"station":"hollow"}
9 !stations.senml-json
9 -9:stations.no-field(battery)
`)
}

// Sums of decimals are the sums that one writes on paper, to the last digit that a double holds.
func TestDecimals(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		a, b := rapid.Int64Range(-1e9, 1e9).Draw(rt, "a"), rapid.Int64Range(-1e9, 1e9).Draw(rt, "b")
		text := func(n int64) string { return new(big.Rat).SetFrac64(n, 1000).FloatString(3) }
		got, problems := ResolveSenML([]byte(`[{"bv":`+text(a)+`,"n":"x","v":`+text(b)+`,"bt":1276020076.001,"t":`+text(b)+`}]`), noon)
		if len(problems) > 0 {
			rt.Fatal(problems)
		}
		want, _ := new(big.Rat).SetFrac64(a+b, 1000).Float64()
		if *got[0].Value != want {
			rt.Fatalf("%s + %s: got %v, want %v", text(a), text(b), *got[0].Value, want)
		}
		if at := int64(1276020076001) + b; at >= firstAbsolute*1000 && got[0].At.UnixMilli() != at {
			rt.Fatalf("time: got %v, want %v", got[0].At.UnixMilli(), at)
		}
	})
	for text, want := range map[string]bool{"1": true, "1e60": true, "1e61": false, "1e-61": false, "1E+9": true, "": false, "1e": false, strings.Repeat("1", 61): false} {
		if _, ok := decimal(text); ok != want {
			t.Errorf("decimal(%q): got %v, want %v", text, ok, want)
		}
	}
	for _, tt := range []struct {
		num, den, want int64
	}{{1, 2, 0}, {3, 2, 2}, {5, 2, 2}, {-1, 2, 0}, {-3, 2, -2}, {7, 3, 2}, {-8, 3, -3}} {
		if got, ok := scaled(big.NewRat(tt.num, tt.den), 1); !ok || got != tt.want {
			t.Errorf("%d/%d: got %d, want %d", tt.num, tt.den, got, tt.want)
		}
	}
}

func TestSniff(t *testing.T) {
	t.Parallel()
	for name, tt := range map[string]struct {
		head string
		want Format
	}{
		"dly":             {dly("ZZ000000001", "202602", "TMAX", 28, "  200  H", nil) + "\n", GHCNDaily},
		"by-year":         {"ZZ000000001,20260201,TMAX,283,,,H,0700\nZZ000000001,20260201,TMIN,-11,,,H,\n", GHCNDaily},
		"by-station":      {"ID,DATE,ELEMENT,DATA_VALUE,M_FLAG,Q_FLAG,S_FLAG,OBS_TIME\nZZ000000001,20260201,TMAX,283,,,H,0700\n", GHCNDaily},
		"isd-lite":        {"2026 01 15 06    78    44 10213   320    31     2    -1 -9999\n", ISDLite},
		"metar":           {"2026/01/15 18:53\nKZZZ 151853Z RMK T00261015\n", METAR},
		"metar, stamped":  {"202601151853 METAR KZZZ 151853Z RMK T00261015", METAR},
		"senml":           {` [ {"bn":"x", "bt":1,"n":"y","v":1}]`, SenML},
		"senml, spread":   {"[\n{\"n\": \"y\",\n\"v\": 1}]", SenML},
		"a list":          {`[{"name":"x","value":1}]`, ""},
		"a table":         {"date,tmax,tmin\n2026-01-01,10,2\n", ""},
		"eight columns":   {"a,b,c,d,e,f,g,h\n1,2,3,4,5,6,7,8\n", ""},
		"json lines":      {`{"type":"weather.read.v1"}`, ""},
		"a broken second": {"2026 01 15 06    78    44 10213   320    31     2    -1 -9999\nhello\n", ""},
		"nothing":         {"\n\n", ""},
	} {
		if got, ok := Sniff([]byte(tt.head), true); got != tt.want && ok || ok != (tt.want != "") {
			t.Errorf("%s: got %q %v, want %q", name, got, ok, tt.want)
		}
	}
	head := "2026 01 15 06    78    44 10213   320    31     2    -1 -9999\n2026 01 15 07   -1"
	if got, ok := Sniff([]byte(head), false); !ok || got != ISDLite {
		t.Errorf("a last line cut off: got %q %v, want isd-lite", got, ok)
	}
}
