package stations

import (
	"encoding/csv"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"latewood/events/canon"
	"latewood/events/civil"
)

// vectors reads a check table of testdata/vectors and insists on its number of rows, so that a cut table cannot look like
// success.
func vectors(t testing.TB, name string, want int) []map[string]string {
	t.Helper()
	f, err := os.Open(filepath.Join("..", "..", "..", "testdata", "vectors", name))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	all, err := r.ReadAll()
	if err != nil {
		t.Fatal(name, err)
	}
	if len(all)-1 != want {
		t.Fatalf("%s: got %d rows, want %d", name, len(all)-1, want)
	}
	out := make([]map[string]string, 0, want)
	for _, cells := range all[1:] {
		row := map[string]string{}
		for i, c := range cells {
			row[all[0][i]] = c
		}
		out = append(out, row)
	}
	return out
}

// read runs a file through the parser of its format.
func read(t testing.TB, f Format, o Options, text string) []Reading {
	t.Helper()
	p := New(f, o)
	if p == nil {
		t.Fatalf("no parser for %s", f)
	}
	var out []Reading
	for i, line := range strings.Split(strings.TrimSuffix(text, "\n"), "\n") {
		out = append(out, p.Line(i+1, line)...)
	}
	return append(out, p.End()...)
}

func zone(t testing.TB, name string) *time.Location {
	t.Helper()
	z, err := civil.Zone(name)
	if err != nil {
		t.Fatal(err)
	}
	return z
}

// Source: testdata/vectors/ghcn_daily_dly.csv, a synthetic line in the layout of the GHCN-Daily readme, section III (NOAA).
func TestVectorsDLY(t *testing.T) {
	t.Parallel()
	rows := vectors(t, "ghcn_daily_dly.csv", 31)
	hst := zone(t, "Pacific/Honolulu")
	record := rows[0]["record"]
	values, problems := ParseDLY(record)
	if len(problems) > 0 {
		t.Fatal(problems)
	}
	byDay := map[int]DayValue{}
	for _, v := range values {
		byDay[v.Date.Day] = v
	}
	readings := map[string]Reading{}
	for _, r := range read(t, GHCNDaily, Options{Station: "hollow", Zone: hst}, record) {
		if r.Data != nil {
			readings[civil.DateOf(r.Time.Add(-time.Second), hst).String()] = r
		}
		for _, l := range r.LeftOut {
			readings["left out "+l.Why.Pairs[1].(string)] = r
		}
	}
	for _, row := range rows {
		if row["record"] != record {
			t.Fatal("the rows are of several records")
		}
		day, _ := strconv.Atoi(row["day"])
		date := civil.Date{Year: 2026, Month: time.February, Day: day}
		v, there := byDay[day]
		r, taken := readings[date.String()]
		left, rejected := readings["left out "+date.String()]
		if row["tmax_C"] == "" {
			if there || taken || rejected {
				t.Errorf("day %d: got %+v, want a missing day", day, v)
			}
			continue
		}
		want, _ := strconv.ParseFloat(row["tmax_C"], 64)
		if got := float64(v.Value) / 10; got != want || flagText(v.M) != row["mflag"] || flagText(v.Q) != row["qflag"] {
			t.Errorf("day %d: got %v %q %q, want %v %q %q", day, got, flagText(v.M), flagText(v.Q), want, row["mflag"], row["qflag"])
		}
		switch row["action"] {
		case "use":
			if !taken || r.Data.AirTemperatureMax.Value != want || r.Data.AirTemperatureMax.Unit != "Cel" || *r.Data.Interval != 86400 {
				t.Errorf("day %d: got %+v, want a reading of %v Cel", day, r.Data, want)
			}
		case "reject":
			if taken || !rejected || left.LeftOut[0].Value != row["tmax_C"]+" Cel" {
				t.Errorf("day %d: taken %v, left out %+v, want it left out with its value", day, taken, left.LeftOut)
			}
		default:
			t.Errorf("day %d: unknown action %q", day, row["action"])
		}
	}
}

func flagText(c byte) string {
	if c == 0 {
		return ""
	}
	return string(c)
}

// Source: testdata/vectors/ghcn_daily_by_year.csv, synthetic lines in the layout of the readme of by_year (NOAA).
func TestVectorsByYear(t *testing.T) {
	t.Parallel()
	hst := zone(t, "Pacific/Honolulu")
	for _, row := range vectors(t, "ghcn_daily_by_year.csv", 4) {
		line := strings.Trim(row["line"], `"`)
		v, missing, problems := ParseDayLine(line)
		if missing || len(problems) > 0 {
			t.Errorf("%s: missing %v, %v", line, missing, problems)
			continue
		}
		obs := ""
		if v.ObsTime != "" {
			obs = v.ObsTime[:2] + ":" + v.ObsTime[2:]
		}
		if v.ID != row["id"] || v.Date.String() != row["date"] || v.Element != row["element"] || obs != row["obs_time"] ||
			flagText(v.M) != row["mflag"] || flagText(v.Q) != row["qflag"] || flagText(v.S) != row["sflag"] {
			t.Errorf("%s: got %+v", line, v)
		}
		got := read(t, GHCNDaily, Options{Station: "hollow", Zone: hst}, line)
		if len(got) != 1 || len(got[0].Problems) > 0 {
			t.Errorf("%s: got %+v", line, got)
			continue
		}
		r := got[0]
		if strings.HasPrefix(row["action"], "reject") {
			if r.Data != nil || len(r.LeftOut) != 1 || r.LeftOut[0].Value != strings.Replace(row["value_si"], " C", " Cel", 1) {
				t.Errorf("%s: got %+v, want it left out", line, r)
			}
			continue
		}
		if r.Data == nil {
			t.Errorf("%s: no reading", line)
			continue
		}
		switch row["value_si"] {
		case "trace": // "use as trace, not as 0"
			if r.Data.RainTrace == nil || !*r.Data.RainTrace || r.Data.Rain != nil {
				t.Errorf("%s: got %+v, want a trace and no amount", line, r.Data)
			}
		default:
			q := r.Data.AirTemperatureMax
			if v.Element == "TMIN" {
				q = r.Data.AirTemperatureMin
			}
			if q == nil || number(q.Value)+" C" != row["value_si"] || q.Unit != "Cel" {
				t.Errorf("%s: got %v, want %s", line, q, row["value_si"])
			}
		}
		// An observation at seven describes the 24 hours before, which are mostly the day before; one without a time its day.
		want := "2026-02-02T00:00:00-10:00"
		if v.ObsTime == "0700" {
			want = "2026-02-01T07:00:00-10:00"
		}
		if got := r.Draft().Time; got != want || *r.Data.Interval != 86400 {
			t.Errorf("%s: got %s over %v s, want %s over 86400 s", line, got, *r.Data.Interval, want)
		}
	}
}

// Source: testdata/vectors/isd_lite_lines.csv, synthetic lines in the layout of the ISD-Lite format document of 20 June 2006
// (NOAA); the trace is from memory.
func TestVectorsISDLite(t *testing.T) {
	t.Parallel()
	for _, row := range vectors(t, "isd_lite_lines.csv", 3) {
		h, problems := ParseHour(row["line"])
		if len(problems) > 0 {
			t.Errorf("%s: %v", row["line"], problems)
			continue
		}
		rain := func(a Amount) string {
			if a.Trace {
				return "trace"
			}
			return text(a.MM)
		}
		sky := ""
		if h.Sky != nil {
			sky = strconv.Itoa(*h.Sky)
		}
		for name, got := range map[string]string{
			"time_utc": civil.FormatTime(h.At), "T_C": text(h.AirTemperature), "Td_C": text(h.DewPoint), "slp_hPa": text(h.Pressure),
			"wind_dir_deg": text(h.WindDirection), "wind_m_s": text(h.WindSpeed), "sky_code": sky,
			"precip_1h_mm": rain(h.Rain1), "precip_6h_mm": rain(h.Rain6),
		} {
			want := strings.TrimSuffix(row[name], " (calm)")
			if f, err := strconv.ParseFloat(want, 64); err == nil && name != "time_utc" {
				want = number(f)
			}
			if got != want {
				t.Errorf("%s: %s: got %q, want %q", row["line"], name, got, want)
			}
		}
	}
}

func text(f *float64) string {
	if f == nil {
		return ""
	}
	return number(*f)
}

// Source: testdata/vectors/metar_remark_groups.csv, each row with its own: AFMAN 15-111 (12 March 2019), a published
// explainer, or constructed from the layout.
func TestVectorsMETAR(t *testing.T) {
	t.Parallel()
	for _, row := range vectors(t, "metar_remark_groups.csv", 10) {
		g, ok := ParseGroup(row["group"])
		if !ok {
			t.Errorf("%s (%s): not read", row["group"], row["source"])
			continue
		}
		for name, got := range map[string]*float64{"value1_C": g.First, "value2_C": g.Second} {
			want := row[name]
			if f, err := strconv.ParseFloat(want, 64); err == nil {
				want = number(f)
			}
			if text(got) != want || got != nil && *got == 0 && math.Signbit(*got) {
				t.Errorf("%s (%s): %s: got %q, want %q", row["group"], row["source"], name, text(got), want)
			}
		}
		if !strings.HasPrefix(row["meaning"], map[byte]string{'T': "hourly", '1': "6-hour max", '2': "6-hour min", '4': "24-hour"}[g.Kind]) {
			t.Errorf("%s: got kind %c, want %s", row["group"], g.Kind, row["meaning"])
		}
	}
}

// rfcPacks are the packs of which senml_resolved.csv has the resolved records: the examples of RFC 8428, sections 5.1.1,
// 5.1.2, 5.1.3 and 5.1.4 as far as the table has them, typed from the table's own description of the base fields.
var rfcPacks = map[string]string{
	"rfc8428 5.1.1 single":          `[{"n":"urn:dev:ow:10e2073a01080063","u":"Cel","v":23.1}]`,
	"rfc8428 5.1.2 multiple points": `[{"bn":"urn:dev:ow:10e2073a01080063:","n":"voltage","u":"V","v":120.1},{"n":"current","u":"A","v":1.2}]`,
	"rfc8428 relative times (bt 1276020076.001, t -5..0)": `[
		{"bn":"urn:dev:ow:10e2073a0108006:","bt":1276020076.001,"bu":"A","bver":5,"n":"voltage","u":"V","v":120.1},
		{"n":"current","t":-5,"v":1.2},{"n":"current","t":-4,"v":1.3},{"n":"current","t":-3,"v":1.4},
		{"n":"current","t":-2,"v":1.5},{"n":"current","t":-1,"v":1.6},{"n":"current","v":1.7}]`,
	"rfc8428 two base names (bt 1320078429)": `[
		{"bn":"2001:db8::2/","bt":1320078429,"n":"temperature","u":"Cel","v":25.2},{"n":"humidity","u":"%RH","v":30},
		{"bn":"2001:db8::1/","n":"temperature","u":"Cel","v":12.3},{"n":"humidity","u":"%RH","v":67}]`,
}

// Source: testdata/vectors/senml_resolved.csv, from the examples of RFC 8428.
func TestVectorsSenML(t *testing.T) {
	t.Parallel()
	now := time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)
	resolved := map[string][]Resolved{}
	seen := 0
	for _, row := range vectors(t, "senml_resolved.csv", 14) {
		name := row["example"]
		pack, ok := rfcPacks[name]
		if !ok {
			t.Fatalf("no pack for %q", name)
		}
		if resolved[name] == nil {
			got, problems := ResolveSenML([]byte(pack), now)
			if len(problems) > 0 {
				t.Fatalf("%s: %v", name, problems)
			}
			resolved[name] = got
			seen += len(got)
		}
		i, _ := strconv.Atoi(row["record"])
		if i >= len(resolved[name]) {
			t.Errorf("%s: no record %d", name, i)
			continue
		}
		got := resolved[name][i]
		at := "now"
		if !got.Relative {
			at = canonNumber(got.At)
		} else if !got.At.Equal(now) || got.Offset != 0 {
			t.Errorf("%s %d: got %v from now", name, i, got.Offset)
		}
		if got.Name != row["n"] || got.Unit != row["u"] || at != row["t"] || text(got.Value) != row["v"] {
			t.Errorf("%s %d: got %s %s %s %s, want %s %s %s %s", name, i, got.Name, got.Unit, at, text(got.Value), row["n"], row["u"], row["t"], row["v"])
		}
	}
	if seen != 14 {
		t.Errorf("the packs have %d records, want 14", seen)
	}
}

// canonNumber writes an instant as Unix seconds with its milliseconds.
func canonNumber(at time.Time) string {
	if at.Nanosecond()%1e6 != 0 {
		return at.String()
	}
	s := strconv.FormatInt(at.UnixMilli(), 10)
	whole, part := s[:len(s)-3], strings.TrimRight(s[len(s)-3:], "0")
	if part == "" {
		return whole
	}
	return whole + "." + part
}

// draftText is a draft's data as it will be stored.
func draftText(r Reading) string { return string(canon.Bytes(r.Draft().Data)) }
