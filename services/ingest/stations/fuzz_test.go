package stations

import (
	"bytes"
	"math"
	"math/big"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"latewood/events"
	"latewood/events/canon"
)

// check holds what is true of every file: lines rise and are lines of the file, a reading can be drafted and its draft goes
// through the door or is refused in words, what is told can be shown.
func check(t *testing.T, lines int, readings []Reading) {
	t.Helper()
	door := events.Door{Catalogue: events.Standard(), Farm: "tern-hollow", Zone: time.UTC}
	before := 0
	for _, r := range readings {
		if r.Line < max(before, 1) || r.Line > max(lines, 1) {
			t.Fatalf("line %d after %d of %d", r.Line, before, lines)
		}
		before = r.Line
		problems := r.Problems
		if r.Data != nil {
			if len(problems) > 0 {
				t.Fatalf("line %d has data and problems", r.Line)
			}
			_, problems = door.Check(r.Draft())
		}
		if r.Data == nil && len(r.Problems) == 0 && len(r.LeftOut) == 0 {
			t.Fatalf("line %d says nothing", r.Line)
		}
		for _, l := range r.LeftOut {
			if l.Line < 1 || l.Line > lines {
				t.Fatalf("left out of line %d of %d", l.Line, lines)
			}
			problems = append(problems, l.Problem)
		}
		for _, p := range problems {
			if p.Why.String() == "" || strings.Contains(p.Error(), "⟦") {
				t.Fatalf("a problem without words: %+v", p)
			}
			if s, ok := p.Value.(string); ok && !utf8.ValidString(s) {
				t.Fatalf("a value that cannot be shown: %q", s)
			}
		}
	}
}

// fuzz gives a file of arbitrary bytes to a parser, twice: it must say the same both times.
func fuzz(f *testing.F, format Format) {
	f.Fuzz(func(t *testing.T, data []byte, id string) {
		z, err := time.LoadLocation("America/New_York")
		if err != nil {
			t.Fatal(err)
		}
		o := Options{Station: "hollow", ID: id, Zone: z}
		text := string(data)
		lines := strings.Count(text, "\n") + 1
		first := read(t, format, o, text)
		check(t, lines, first)
		if second := read(t, format, o, text); told(second) != told(first) {
			t.Fatalf("first\n%sthen\n%s", told(first), told(second))
		}
		Sniff(data, false)
	})
}

func FuzzDaily(f *testing.F) {
	f.Add([]byte(dly("ZZ000000001", "202602", "TMAX", 28, "  283  H", map[int]string{3: "-9999   ", 4: "  811 XH"})+"\n"), "")
	f.Add([]byte("ID,DATE,ELEMENT\nZZ000000001,20260308,PRCP,0,T,,H,0700\nZZ000000002,20260201,TMIN,-11,,,H,\n"), "ZZ000000001")
	f.Add([]byte("ZZ000000001,20261101,TMAX,283,,,H,0130\nZZ000000001,20260308,TMAX,283,,,H,0230\n"), "")
	fuzz(f, GHCNDaily)
}

func FuzzISDLite(f *testing.F) {
	for _, row := range vectors(f, "isd_lite_lines.csv", 3) {
		f.Add([]byte(row["line"]+"\n"), "")
	}
	fuzz(f, ISDLite)
}

func FuzzMETAR(f *testing.F) {
	f.Add([]byte("2026/01/15 18:53\nKZZZ 151853Z 03/M01 RMK AO2 T00261015 P0000 11021 20012 401001015=\n"), "")
	f.Add([]byte("202601312359 SPECI KZZZ 010000Z RMK P0012 T0234\n"), "KZZZ")
	for _, row := range vectors(f, "metar_remark_groups.csv", 10) {
		f.Add([]byte("202601151853 KZZZ 151853Z RMK "+row["group"]), "KZZZ")
	}
	fuzz(f, METAR)
}

func FuzzSenMLFile(f *testing.F) {
	f.Add([]byte("[{\"bt\":1768514400,\n\"n\":\"temp\",\"u\":\"Cel\",\"v\":1}]\n[1]\n"), "")
	for _, pack := range rfcPacks {
		f.Add([]byte(pack), "")
	}
	fuzz(f, SenML)
}

// FuzzSenML gives arbitrary bytes as a pack. Where a pack resolves, its resolved records, written as a pack without base
// fields, resolve to the same.
func FuzzSenML(f *testing.F) {
	for _, pack := range rfcPacks {
		f.Add([]byte(pack))
	}
	f.Add([]byte(`[{"bn":"a","bv":0.1,"bs":-3,"bu":"Cel","bt":-0.5,"n":"temp","v":1e3,"s":2,"ut":3},{"n":"x","vd":"aGk","new":{}}]`))
	now := time.Date(2026, 1, 15, 22, 0, 0, 0, time.UTC)
	f.Fuzz(func(t *testing.T, pack []byte) {
		check(t, 1, ReadSenML(pack, Options{Station: "hollow", Now: now}))
		got, problems := ResolveSenML(pack, now)
		if len(problems) > 0 && got != nil {
			t.Fatal("records beside problems")
		}
		var b bytes.Buffer
		for i, r := range got {
			if b.WriteByte(','); i == 0 {
				b.Reset()
				b.WriteByte('[')
			}
			b.WriteString(plain(r))
		}
		if len(got) == 0 {
			return
		}
		b.WriteByte(']')
		again, problems := ResolveSenML(b.Bytes(), now)
		if len(problems) > 0 || len(again) != len(got) {
			t.Fatalf("%s: %v", b.Bytes(), problems)
		}
		for i := range got {
			if plain(again[i]) != plain(got[i]) {
				t.Fatalf("resolved again: got %s, want %s", plain(again[i]), plain(got[i]))
			}
		}
	})
}

// plain writes a resolved record as one that needs no base.
func plain(r Resolved) string {
	s := `{"n":"` + r.Name + `"`
	add := func(label, value string) { s += `,"` + label + `":` + value }
	if r.Unit != "" {
		add("u", string(quote(r.Unit)))
	}
	ns := r.At.UnixNano()
	if r.Relative {
		ns = int64(r.Offset)
	}
	add("t", seconds(ns))
	switch {
	case r.Value != nil && tooFar(*r.Value), r.Sum != nil && tooFar(*r.Sum):
		return `{"n":"` + r.Name + `","v":0}` // the double's text may have an exponent beyond the bounds
	}
	if r.Value != nil {
		add("v", number(*r.Value))
	}
	if r.Sum != nil {
		add("s", number(*r.Sum))
	}
	if r.Text != nil {
		add("vs", string(quote(*r.Text)))
	}
	if r.Bytes != nil {
		add("vd", string(quote(*r.Bytes)))
	}
	if r.Truth != nil {
		add("vb", map[bool]string{true: "true", false: "false"}[*r.Truth])
	}
	return s + "}"
}

func quote(s string) []byte { return canon.AppendText(nil, s) }

func tooFar(f float64) bool { return f != 0 && (math.Abs(f) > 1e20 || math.Abs(f) < 1e-6) }

// seconds writes nanoseconds as a decimal number of seconds.
func seconds(ns int64) string { return big.NewRat(ns, 1e9).FloatString(9) }
