package stations

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"latewood/events"
)

// through puts every reading through the door of a farm, as the recorder does, and fails where it is refused.
func through(t testing.TB, readings []Reading) {
	t.Helper()
	door := events.Door{Catalogue: events.Standard(), Farm: "tern-hollow", Zone: time.UTC}
	for _, r := range readings {
		if r.Data == nil {
			continue
		}
		if _, problems := door.Check(r.Draft()); len(problems) > 0 {
			t.Errorf("line %d: the door refuses %s: %v", r.Line, draftText(r), problems)
		}
	}
}

// told is a short form of readings: line, time, data; or why not. Keys instead of sentences.
func told(readings []Reading) string {
	var b strings.Builder
	for _, r := range readings {
		fmt.Fprintf(&b, "%d", r.Line)
		if r.Data != nil {
			fmt.Fprintf(&b, " %s %s", r.Draft().Time, draftText(r))
		}
		for _, p := range r.Problems {
			fmt.Fprintf(&b, " !%s", p.Why.Key)
		}
		for _, l := range r.LeftOut {
			fmt.Fprintf(&b, " -%d:%s", l.Line, l.Why.Key)
			if l.Value != nil {
				fmt.Fprintf(&b, "(%v)", l.Value)
			}
		}
		b.WriteByte('\n')
	}
	return b.String()
}

func expect(t *testing.T, f Format, o Options, file, want string) {
	t.Helper()
	got := read(t, f, o, file)
	through(t, got)
	if told(got) != want {
		t.Errorf("got\n%swant\n%s", told(got), want)
	}
}

// dly makes a line of a .dly file of the same value each day, with values of some days replaced. Invented values.
func dly(id, month, element string, days int, value string, other map[int]string) string {
	var b strings.Builder
	b.WriteString(id + month + element)
	for d := 1; d <= 31; d++ {
		cell := "-9999   "
		if d <= days {
			cell = value
		}
		if o, ok := other[d]; ok {
			cell = o
		}
		b.WriteString(cell)
	}
	return b.String()
}

// Days have their real length, 23 and 25 hours where the clocks are moved (New York, 8 March and 1 November 2026: source
// testdata/vectors/local_day_bounds.csv). Invented values.
func TestDaysOfRealLength(t *testing.T) {
	t.Parallel()
	o := Options{Station: "hollow", Zone: zone(t, "America/New_York")}
	file := dly("ZZ000000001", "202603", "TMAX", 0, "", map[int]string{8: "  150  H"}) + "\n" +
		dly("ZZ000000001", "202603", "TMIN", 0, "", map[int]string{8: "  -15  H"}) + "\n" +
		dly("ZZ000000001", "202611", "PRCP", 0, "", map[int]string{1: "    0T H", 2: "   31  H", 3: "    0P H"}) + "\n"
	expect(t, GHCNDaily, o, file, `1 2026-03-09T00:00:00-04:00 {"airTemperatureMax":{"unit":"Cel","value":15},"airTemperatureMin":{"unit":"Cel","value":-1.5},"interval":82800,"station":"hollow"}
3 2026-11-02T00:00:00-05:00 {"interval":90000,"rainTrace":true,"station":"hollow"}
3 2026-11-03T00:00:00-05:00 {"interval":86400,"rain":{"unit":"mm","value":3.1},"station":"hollow"}
3 -3:stations.presumed(0 mm)
`)
}

// Negative case 13 of the facts: the maximum read at seven is not that of the day that has just begun, and values with
// other hours are not mixed with it. Across the moved clock the 24 hours are 23.
func TestTimeOfObservation(t *testing.T) {
	t.Parallel()
	o := Options{Station: "hollow", Zone: zone(t, "America/New_York")}
	file := `ZZ000000001,20260308,TMAX,283,,,H,0700
ZZ000000001,20260308,TMIN,-11,,,H,
ZZ000000001,20260308,PRCP,0,T,,H,0700
ZZ000000001,20260308,AWND,35,,,W,2400
ZZ000000001,20260308,TAVG,120,H,,S,
ZZ000000001,20260308,SNOW,0,,,H,
ZZ000000001,20260309,PRCP,-9999,,,H,0700
ZZ000000001,20260308,TMAX,290,,,H,0700
`
	expect(t, GHCNDaily, o, file, `1 2026-03-08T07:00:00-04:00 {"airTemperatureMax":{"unit":"Cel","value":28.3},"interval":82800,"rainTrace":true,"station":"hollow"} -8:stations.twice(29 Cel)
2 2026-03-09T00:00:00-04:00 {"airTemperature":{"unit":"Cel","value":12},"airTemperatureMin":{"unit":"Cel","value":-1.1},"interval":82800,"station":"hollow"}
4 2026-03-09T00:00:00-04:00 {"interval":82800,"station":"hollow","windSpeed":{"unit":"m/s","value":3.5}}
8 -8:stations.no-field(SNOW)
`)
	got := read(t, GHCNDaily, o, "ZZ000000001,20260308,TMAX,283,,,H,0230\n") // the clocks were moved over half past two
	if told(got) != "1 !stations.skipped\n" {
		t.Errorf("got %s, want it refused", told(got))
	}
}

func TestSeveralStations(t *testing.T) {
	t.Parallel()
	file := "ZZ000000001,20260308,TMAX,283,,,H,\nZZ000000002,20260308,TMAX,100,,,H,\n"
	o := Options{Station: "hollow", Zone: time.UTC}
	expect(t, GHCNDaily, o, file, "2 !stations.several\n")
	o.ID = "ZZ000000002"
	expect(t, GHCNDaily, o, file, `2 2026-03-09T00:00:00Z {"airTemperatureMax":{"unit":"Cel","value":10},"interval":86400,"station":"hollow"}`+"\n")
	o.ID = "ZZ000000003"
	expect(t, GHCNDaily, o, file, "2 !stations.no-such-id\n")
}

// Each flag of the archive has a meaning in words; one that the readme does not have is told as such. Source of the flags:
// readme of GHCN-Daily, QFLAG.
func TestQualityFlags(t *testing.T) {
	t.Parallel()
	for _, flag := range "DGIKLMNORSTWXZ?" {
		got := read(t, GHCNDaily, Options{Station: "hollow", Zone: time.UTC}, fmt.Sprintf("ZZ000000001,20260201,PRCP,12,,%c,H,", flag))
		want := "1 -1:stations.quality(1.2 mm)\n"
		if flag == '?' {
			want = "1 -1:stations.quality-unknown(1.2 mm)\n"
		}
		if told(got) != want || strings.Contains(got[0].LeftOut[0].Why.String(), "⟦") {
			t.Errorf("flag %c: got %q, %s, want %q", flag, told(got), got[0].LeftOut[0].Why, want)
		}
	}
}

func TestBadDailyLines(t *testing.T) {
	t.Parallel()
	good := dly("ZZ000000001", "202602", "TMAX", 28, "  200  H", nil)
	for name, tt := range map[string]struct{ line, want string }{
		"cut off":           {good[:200], "stations.dly-length"},
		"too long":          {good + "x", "stations.dly-length"},
		"letters":           {strings.Replace(good, "  200", "  2O0", 1), "stations.dly-value"},
		"month 13":          {strings.Replace(good, "202602", "202613", 1), "stations.month"},
		"30 February":       {dly("ZZ000000001", "202602", "TMAX", 30, "  200  H", nil), "stations.dly-day"},
		"small letters":     {strings.Replace(good, "TMAX", "tmax", 1), "stations.dly-head"},
		"no cells":          {"ZZ000000001,20260201", "stations.daily-cells"},
		"short id":          {"ZZ1,20260201,TMAX,1,,,H,", "stations.daily-id"},
		"no day":            {"ZZ000000001,20260230,TMAX,1,,,H,", "stations.daily-date"},
		"element":           {"ZZ000000001,20260201,T,1,,,H,", "stations.daily-element"},
		"value":             {"ZZ000000001,20260201,TMAX,1.5,,,H,", "stations.daily-value"},
		"flag":              {"ZZ000000001,20260201,TMAX,1,,AB,H,", "stations.daily-flag"},
		"time":              {"ZZ000000001,20260201,TMAX,1,,,H,0760", "stations.daily-clock"},
		"time behind 24:00": {"ZZ000000001,20260201,TMAX,1,,,H,2401", "stations.daily-clock"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			got := read(t, GHCNDaily, Options{Station: "hollow", Zone: time.UTC}, tt.line)
			if told(got) != "1 !"+tt.want+"\n" {
				t.Errorf("got %q, want %s", told(got), tt.want)
			}
			if s := got[0].Problems.Error(); strings.Contains(s, "⟦") {
				t.Errorf("a sentence with a hole: %s", s)
			}
		})
	}
	if got := read(t, GHCNDaily, Options{Zone: time.UTC}, strings.TrimRight(good, " ")+"\r"); len(got) != 28 {
		t.Errorf("blanks cut off: got %d readings, want 28", len(got))
	}
}

// Negative case 4 of the facts: positions as misprinted ("Pos 9-11, length 2" and "Pos 20-24, length 6") would read the dew
// point of the second line as -1.0; the lengths are right. 14: a trace is neither 0 nor -0.1 mm. Invented values; humidities
// worked out apart from the code, from FAO-56 equations 11 and 14.
func TestHours(t *testing.T) {
	t.Parallel()
	o := Options{Station: "hollow"}
	file := strings.Join([]string{
		"2026 01 15 06    78    44 10213   320    31     2    -1 -9999",
		"2026 01 15 07   -12  -109 -9999     0     0     0     0    25",
		"2026 01 15 08 -9999 -9999 10198 -9999 -9999 -9999 -9999 -9999",
		"2026 01 15 09 -9999   -12 -9999 -9999 -9999 -9999 -9999 -9999",
		"2026 01 15 10    50   150 -9999 -9999 -9999 -9999 -9999 -9999",
		"2026 01 15 12 -9999 -9999 -9999 -9999 -9999 -9999 -9999    30",
		"2026 01 15 18   100 -9999 -9999 -9999 -9999 -9999 -9999    30",
		"2026 01 16 00   100 -9999 -9999 -9999 -9999 -9999 -9999    -1",
	}, "\n")
	expect(t, ISDLite, o, file, `1 2026-01-15T06:00:00Z {"airTemperature":{"unit":"Cel","value":7.8},"interval":3600,"note":"relative humidity worked out from a dew point of 4.4 Cel (FAO-56 equations 11 and 14)","rainTrace":true,"relativeHumidity":{"unit":"%","value":79.04},"station":"hollow","windDirection":{"unit":"deg","value":320},"windSpeed":{"unit":"m/s","value":3.1}}
2 2026-01-15T07:00:00Z {"airTemperature":{"unit":"Cel","value":-1.2},"interval":3600,"note":"relative humidity worked out from a dew point of -10.9 Cel (FAO-56 equations 11 and 14)","rain":{"unit":"mm","value":0},"relativeHumidity":{"unit":"%","value":47.54},"station":"hollow","windDirection":{"unit":"deg","value":0},"windSpeed":{"unit":"m/s","value":0}}
4 -4:stations.dew-alone(-1.2 Cel)
5 2026-01-15T10:00:00Z {"airTemperature":{"unit":"Cel","value":5},"interval":3600,"station":"hollow"} -5:stations.dew-alone(15 Cel)
6 2026-01-15T12:00:00Z {"interval":21600,"rain":{"unit":"mm","value":3},"station":"hollow"}
7 2026-01-15T18:00:00Z {"airTemperature":{"unit":"Cel","value":10},"interval":3600,"station":"hollow"} -7:stations.six-hours(3 mm)
8 2026-01-16T00:00:00Z {"airTemperature":{"unit":"Cel","value":10},"interval":3600,"station":"hollow"} -8:stations.six-hours(0 mm)
8 -8:stations.no-field(pressure) -8:stations.six-hours-many(rain-6h) -8:stations.no-field(sky)
`)
	for name, tt := range map[string]struct{ line, want string }{
		"short":         {"2026 01 15 06    78    44 10213", "stations.isd-length"},
		"hour 24":       {"2026 01 15 24    78    44 10213   320    31     2    -1 -9999", "stations.isd-time"},
		"no day":        {"2026 02 30 06    78    44 10213   320    31     2    -1 -9999", "stations.isd-time"},
		"a letter":      {"2026 01 15 06    7x    44 10213   320    31     2    -1 -9999", "stations.isd-value"},
		"negative rain": {"2026 01 15 06    78    44 10213   320    31     2    -2 -9999", "stations.isd-value"},
		"moved by one":  {" 2026 01 15 06   78    44 10213   320    31     2    -1 -9999", "stations.isd-time"},
	} {
		if got := told(read(t, ISDLite, o, tt.line)); got != "1 !"+tt.want+"\n" {
			t.Errorf("%s: got %q, want %s", name, got, tt.want)
		}
	}
}

// The reports are invented; their groups are those of AFMAN 15-111 and of the table of vectors.
func TestReports(t *testing.T) {
	t.Parallel()
	file := `2026/01/15 18:53
KZZZ 151853Z 32006KT 10SM CLR 03/M01 A3005 RMK AO2 SLP175 T00261015 P0004 11021 20012 401001015
202601160053 METAR KZZZ 160053Z AUTO T00991099 00000KT 10SM 02/ RMK AO2 T0023 P0000=
2026-01-16T03:53Z SPECI KZZZ 160353Z 02/M01 RMK P0012 T00201010
202601160653 METAR KZZZ 160653Z 05/01 RMK 10142 21001
202601160753 METAR KZZZ 160753Z 05/01
`
	o := Options{Station: "hollow"}
	expect(t, METAR, o, file, `2 2026-01-15T18:53:00Z {"airTemperature":{"unit":"Cel","value":2.6},"interval":3600,"note":"relative humidity worked out from a dew point of -1.5 Cel (FAO-56 equations 11 and 14)","rain":{"unit":"mm","value":1.016},"relativeHumidity":{"unit":"%","value":74.3},"station":"hollow"}
2 2026-01-15T18:53:00Z {"airTemperatureMax":{"unit":"Cel","value":10},"airTemperatureMin":{"unit":"Cel","value":-1.5},"interval":86400,"station":"hollow"}
3 2026-01-16T00:53:00Z {"airTemperature":{"unit":"Cel","value":2.3},"interval":3600,"rainTrace":true,"station":"hollow"}
4 2026-01-16T03:53:00Z {"airTemperature":{"unit":"Cel","value":2},"note":"relative humidity worked out from a dew point of -1 Cel (FAO-56 equations 11 and 14)","relativeHumidity":{"unit":"%","value":80.46},"station":"hollow"} -4:stations.special-rain(P)
5 2026-01-16T06:53:00Z {"airTemperatureMax":{"unit":"Cel","value":14.2},"airTemperatureMin":{"unit":"Cel","value":-0.1},"interval":21600,"station":"hollow"}
6 -6:stations.six-hours-many(airTemperatureMax-6h) -6:stations.six-hours-many(airTemperatureMin-6h)
6 -6:stations.metar-bare
`)
	for name, tt := range map[string]struct{ file, want string }{
		"no date":      {"KZZZ 151853Z RMK T00261015\n", "1 !stations.metar-month\n"},
		"another day":  {"2026/01/20 18:53\nKZZZ 151853Z RMK T00261015\n", "2 !stations.metar-day\n"},
		"no report":    {"the weather is fine\n", "1 !stations.metar\n"},
		"two stations": {"202601151853 KZZZ 151853Z RMK T00261015\n202601151853 KZZY 151853Z RMK T00261015\n", "2 !stations.several\n"},
		"two T groups": {"202601151853 KZZZ 151853Z RMK T00261015 T00271015\n", "1 !stations.metar-twice\n"},
	} {
		if got := told(read(t, METAR, o, tt.file)); got != tt.want {
			t.Errorf("%s: got %q, want %q", name, got, tt.want)
		}
	}
	o.ID = "KZZY"
	got := read(t, METAR, o, "202601151853 KZZZ 151853Z RMK T00261015\n202602010003 KZZY 312353Z RMK T10001017\n")
	if len(got) != 1 || got[0].Draft().Time != "2026-01-31T23:53:00Z" || got[0].Data.AirTemperature.Value != 0 {
		t.Errorf("the report of the day before the date: got %s", told(got))
	}
}

func TestGroups(t *testing.T) {
	t.Parallel()
	for _, text := range []string{"", "T", "T2026", "T00261", "T0026101", "12021", "1021", "310211", "40100", "4010010150", "P12", "P00x1", "T////", "11021x"} {
		if g, ok := ParseGroup(text); ok {
			t.Errorf("%q: got %+v, want no group", text, g)
		}
	}
	if g, ok := ParseGroup("P0004"); !ok || *g.Rain.MM != 1.016 {
		t.Errorf("P0004: got %+v, want 1.016 mm (0.04 in)", g)
	}
	if g, ok := ParseGroup("P0000"); !ok || !g.Rain.Trace || g.Rain.MM != nil {
		t.Errorf("P0000: got %+v, want a trace", g)
	}
}
