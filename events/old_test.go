package events_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"latewood/events"
	"latewood/events/canon"
)

// Records of a retired version at the door: as a ledger held them they stay, as a hand wrote them they become the newest.
func TestOldVersionAtTheDoor(t *testing.T) {
	t.Parallel()
	const where = `"where":{"block":"north"}`
	for _, tc := range []struct{ name, data, want string }{
		{"a number and its unit", `{"from":"2025-10-03","reading":"58 cbar",` + where + `}`, "v1"},
		{"words", `{"from":"2025-10-03","reading":" cracks in the clay ",` + where + `}`, "v1"},
		{"no reading", `{"from":"2025-10-03",` + where + `}`, "v1"},
		{"in another order", `{` + where + `,"reading":"58 cbar","from":"2025-10-03"}`, "v1"},
		{"every field", `{"by":"w_00112233445566778899aabbccddeeff","from":"2025-10-03","note":"n","reading":"5.5 %","reason":"r","until":"2025-11-18T16:00:00-10:00",` + where + `}`, "v1"},
		{"a reading as the newest version has it", `{"from":"2025-10-03","reading":{"unit":"kPa","value":58},` + where + `}`, "v1"},
		{"a where that is a list of one", `{"from":"2025-10-03","reading":"58 cbar","where":[{"block":"north"}]}`,
			`{"from":"2025-10-03","reading":{"unit":"kPa","value":58},` + where + `}`},
		{"an hour without an offset", `{"from":"2025-10-03T08:00","reading":"dry",` + where + `}`,
			`{"from":"2025-10-03T08:00:00-10:00","readingInWords":"dry",` + where + `}`},
		{"a block with blanks", `{"from":"2025-10-03","where":{"block":" north"}}`, `{"from":"2025-10-03",` + where + `}`},
		{"null", `{"from":"2025-10-03","reading":null,` + where + `}`, "data.reading refuse.null"},
		{"an empty reading", `{"from":"2025-10-03","reading":"",` + where + `}`, "data.reading refuse.empty"},
		{"a number for a reading", `{"from":"2025-10-03","reading":58,` + where + `}`, "data.reading refuse.wrong-type"},
		{"a field that it never had", `{"from":"2025-10-03","depth":"30 cm",` + where + `}`, "data.depth refuse.unknown-field"},
		{"no block", `{"from":"2025-10-03","reading":"58 cbar"}`, "data.where refuse.required"},
		{"a reading of both versions", `{"from":"2025-10-03","reading":"58 cbar","readingInWords":"dry",` + where + `}`, "data refuse.version-data"},
		{"no object", `[3]`, "data refuse.wrong-type"},
		{"it ended before it began", `{"from":"2025-10-03","until":"2025-10-02",` + where + `}`, "data.from refuse.starts-after"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			door := hollow()
			given := parse(t, tc.data)
			a, problems := door.Check(events.Draft{Type: "water.withheld.v1", Data: given})
			if field, key, refused := strings.Cut(tc.want, " "); refused && !strings.HasPrefix(tc.want, "{") {
				if len(problems) != 1 || problems[0].Field != field || problems[0].Why.Key != key {
					t.Fatalf("got %v, want %s at %s", problems, key, field)
				}
				return
			}
			if len(problems) > 0 {
				t.Fatal(problems)
			}
			version, want := 1, string(canon.Bytes(given))
			if tc.want != "v1" {
				version, want = 2, tc.want
			}
			if string(a.Data) != want || a.Version != version || a.Draft.Type != fmt.Sprintf("water.withheld.v%d", version) || string(canon.Bytes(a.Draft.Data)) != want {
				t.Errorf("got %s version %d %s, want %d %s", a.Draft.Type, a.Version, a.Data, version, want)
			}
			if got := fmt.Sprint(a.OwnChains()); got != "[inputs/north]" {
				t.Errorf("chains: got %s", got)
			}
			same(t, door, a)
		})
	}
}

// same checks that what came out of the door goes in again and stays as it is.
func same(t interface {
	Helper()
	Fatalf(string, ...any)
}, door *events.Door, a events.Accepted) {
	t.Helper()
	b, problems := door.Check(a.Draft)
	if len(problems) > 0 || string(b.Data) != string(a.Data) || b.Draft.Type != a.Draft.Type || b.Draft.Time != a.Draft.Time || b.Version != a.Version {
		t.Fatalf("once more it is %s %s %s, problems %v; it was %s %s %s", b.Draft.Type, b.Draft.Time, b.Data, problems, a.Draft.Type, a.Draft.Time, a.Data)
	}
}

// A version may move what the chains are told from: they are told from what the newest makes of it.
func TestOldVersionsChains(t *testing.T) {
	t.Parallel()
	type sunSet struct { // version 2
		events.Common
		Block string `json:"block" is:"code,required"`
	}
	chain := func(_ events.ID, data canon.Value) []string { return []string{"growth/" + data.Get("block").Str} }
	up := func(data []byte) ([]byte, error) {
		v, err := canon.Parse(data)
		if err != nil {
			return nil, err
		}
		return canon.Bytes(canon.ObjectOf(canon.Member{Name: "block", Value: v.Get("field")})), nil
	}
	cat, err := events.NewCatalogue(append(slices.Clone(events.Standard().Kinds()), events.NewKind[sunSet]("sun.set", 2, chain, "")),
		append(events.Standard().Steps(), events.Step{Kind: "sun.set", From: 1, Up: up}))
	if err != nil {
		t.Fatal(err)
	}
	door := hollow()
	door.Catalogue = cat
	a := enter(t, door, events.Draft{Type: "sun.set.v1", Time: "2026-06-01", Data: parse(t, `{"field":"north"}`)})
	if got := fmt.Sprint(a.OwnChains()); got != "[growth/north]" || string(a.Data) != `{"field":"north"}` {
		t.Errorf("got %s, %s", got, a.Data)
	}
	a = enter(t, door, events.Draft{Type: "record.corrected", Time: "2026-06-02", Data: parse(t,
		`{"record":"`+idA+`","follows":"`+idA+`","reason":"x","type":"sun.set.v1","data":{"field":"south"}}`)})
	if got := fmt.Sprint(a.OwnChains()); got != "[growth/south]" || !strings.Contains(string(a.Data), `"data":{"field":"south"}`) {
		t.Errorf("got %s, %s", got, a.Data)
	}
}

// Corrections that were written when an older version was the newest come in as they stand too.
func TestOldCorrection(t *testing.T) {
	t.Parallel()
	correction := func(typ, data, more string) string {
		return `{"data":` + data + `,"follows":"` + idA + `","reason":"typed wrong","record":"` + idA + `"` + more + `,"type":"` + typ + `"}`
	}
	old := `{"from":"2025-10-03","reading":"58 cbar","until":"2025-11-18T16:00:00-10:00","where":{"block":"north"}}`
	now := `{"from":"2025-10-03","reading":{"unit":"kPa","value":58},"until":"2025-11-18T16:00:00-10:00","where":{"block":"north"}}`
	byHand := strings.Replace(old, `{"block":"north"}`, `[{"block":"north"}]`, 1)
	for _, tc := range []struct{ name, data, want string }{
		{"the newest", correction("water.withheld.v2", now, ""), correction("water.withheld.v2", now, "")},
		{"an old one", correction("water.withheld.v1", old, ""), correction("water.withheld.v1", old, "")},
		{"an old one with its time", correction("water.withheld.v1", old, `,"time":"2025-11-18T16:00:00-10:00"`), correction("water.withheld.v1", old, `,"time":"2025-11-18T16:00:00-10:00"`)},
		{"an old one, only the day of its time", correction("water.withheld.v1", old, `,"time":"2025-11-18"`), correction("water.withheld.v1", old, `,"time":"2025-11-18T16:00:00-10:00"`)},
		{"an old one by hand", correction("water.withheld.v1", byHand, ""), correction("water.withheld.v2", now, "")},
		{"an old one against its time", correction("water.withheld.v1", old, `,"time":"2025-11-19"`), "data.time refuse.time-contradicts"},
		{"an old one that ended before it began", correction("water.withheld.v1", strings.Replace(old, "2025-10-03", "2025-12-03", 1), ""), "data.data.from refuse.starts-after"},
		{"an old one without its block", correction("water.withheld.v1", `{"from":"2025-10-03"}`, ""), "data.data.where refuse.required"},
		{"an old one of null", correction("water.withheld.v1", `{"from":null}`, ""), "data.data.from refuse.null"},
		{"an old one that is none", correction("water.withheld.v1", `3`, ""), "data.data refuse.wrong-type"},
		{"one of the future", correction("water.withheld.v3", now, ""), "data.type refuse.version"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			door := hollow()
			a, problems := door.Check(events.Draft{Type: "record.corrected", Time: "2026-06-02T08:00:00-10:00", Data: parse(t, tc.data)})
			if !strings.HasPrefix(tc.want, "{") {
				if len(problems) != 1 || problems[0].Field+" "+problems[0].Why.Key != tc.want {
					t.Fatalf("got %v, want %s", problems, tc.want)
				}
				return
			}
			if len(problems) > 0 || string(a.Data) != tc.want {
				t.Fatalf("got %s, problems %v\nwant %s", a.Data, problems, tc.want)
			}
			if got := fmt.Sprint(a.OwnChains()); got != "[inputs/north]" {
				t.Errorf("chains: got %s", got)
			}
			same(t, door, a)
		})
	}
}

// Whatever the door of its time let in, today's lets in as it stands, and what it became is data of today.
func TestOldRecordsComeBack(t *testing.T) {
	t.Parallel()
	today := hollow()
	for _, old := range retired(t) {
		k := old.door.Catalogue.Kind(old.kind)
		rapid.Check(t, func(t *rapid.T) {
			g := gen{t: t, full: rapid.Bool().Draw(t, "full")}
			draft := g.draft(k)
			if k.Name == "water.withheld" && g.coin() {
				draft.Data.Set("reading", canon.Text(g.reading()))
			}
			then, problems := old.door.Check(draft)
			if len(problems) > 0 {
				t.Fatalf("refused then: %v\n%s", problems, canon.Bytes(draft.Data))
			}
			now, problems := today.Check(then.Draft)
			if len(problems) > 0 || string(now.Data) != string(then.Data) || now.Draft.Type != then.Draft.Type || !now.Time.Equal(then.Time) {
				t.Fatalf("got %s %s, problems %v\nwant %s %s", now.Draft.Type, now.Data, problems, then.Draft.Type, then.Data)
			}
			if !strings.HasSuffix(now.Draft.Type, ".v1") {
				t.Fatalf("it became %s", now.Draft.Type)
			}
			same(t, today, now)
			data, err := today.Catalogue.DecodeData(k.Name, 1, now.Data)
			if err != nil {
				t.Fatal(err)
			}
			enterAll(t, today, events.Draft{Type: k.Name, Time: now.Draft.Time, Data: events.Encode(data)})
		})
	}
	t.Logf("counts: %d retired versions, %d random records each", len(retired(t)), checks)
}

// enterAll is enter for property tests.
func enterAll(t *rapid.T, d *events.Door, draft events.Draft) {
	t.Helper()
	if _, problems := d.Check(draft); len(problems) > 0 {
		t.Fatalf("%s refused: %v\n%s", draft.Type, problems, canon.Bytes(draft.Data))
	}
}

// reading is a text as version 1 of water.withheld may have it, often a number and something like a unit.
func (g gen) reading() string {
	return pick(g, "", " ", "-", "--", "+") + pick(g, "0", "58", "5.5", "-12.25", "100", "101", "100000", "1e5", "0.1234567890123456789", "9007199254740993", ".5", "5.", "5,5", "1-2") +
		pick(g, "", " ", "  ", "\t") + pick(g, "kPa", "cbar", "cb", "bar", "hPa", "mbar", "psi", "%", "mm", "cm", "KPA", "m", "", "in the red")
}
