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

const (
	idA = "017f22e2-79b0-7cc3-98c4-dc0c0c07398f"
	idB = "018f22e2-79b0-7cc3-98c4-dc0c0c07398f"
	idC = "019f22e2-79b0-7cc3-98c4-dc0c0c07398f"
)

// The chain list of records.md, for the kinds that there are. A record bears the id idA.
func TestOwnChains(t *testing.T) {
	t.Parallel()
	where := `"where":{"block":"north"}`
	several := `"where":[{"block":"south","rows":["1"]},{"block":"north"},{"block":"south","rows":["2"]}]`
	cases := []struct{ kind, data, want string }{
		{"farm.opened", `{"name":"Tern Hollow"}`, "farm"},
		{"setting.adopted", `{"name":"x"}`, "farm"},
		{"block.established", `{"block":"north"}`, "growth/north"},
		{"block.changed", `{"block":"north","from":"2026-01-01"}`, "growth/north"},
		{"block.redrawn", `{"from":["north","south"],"into":[{"block":"upper"},{"block":"north"}]}`, "growth/north growth/south growth/upper"},
		{"tree.planted", `{"tree":"north-01-01","block":"north"}`, "growth/north"},
		{"tree.seen", "{" + several + "}", "growth/north growth/south"},
		{"tree.measured", "{" + where + "}", "growth/north"},
		{"tree.moved", `{"moves":[{"tree":"a","from":"north","block":"south"},{"tree":"b","block":"north"}]}`, "growth/north growth/south"},
		{"tree.moved", `{"moves":[{"tree":"a","block":"south"}]}`, "growth/south"},
		{"tree.topworked", "{" + where + "}", "growth/north"},
		{"tree.removed", "{" + where + "}", "growth/north"},
		{"tree.pruned", "{" + several + "}", "growth/north growth/south"},
		{"flush.seen", "{" + where + "}", "growth/north"},
		{"bloom.seen", "{" + where + "}", "growth/north"},
		{"crop.assessed", "{" + where + "}", "growth/north"},
		{"station.sited", `{"station":"mauka","blocks":["north"]}`, "station/mauka"},
		{"weather.read", `{"station":"mauka"}`, "station/mauka"},
		{"weather.doubted", `{"station":"mauka"}`, "station/mauka"},
		{"label.filed", `{"product":"Brume 80","supersedes":"` + idB + `"}`, "label/" + idA},
		{"label.closed", `{"label":"` + idB + `"}`, "label/" + idB},
		{"spray.planned", "{" + several + "}", "inputs/north inputs/south spray/" + idA},
		{"spray.begun", "{" + where + "}", "inputs/north spray/" + idA},
		{"spray.begun", "{" + where + `,"plan":"` + idB + `"}`, "inputs/north spray/" + idA + " spray/" + idB},
		{"spray.applied", "{" + where + "}", "inputs/north spray/" + idA},
		{"spray.applied", "{" + where + `,"plan":"` + idC + `","begun":"` + idB + `"}`, "inputs/north spray/" + idA + " spray/" + idB + " spray/" + idC},
		{"spray.called-off", "{" + where + `,"plan":"` + idB + `"}`, "inputs/north spray/" + idB},
		{"spray.called-off", "{" + where + `,"begun":"` + idB + `"}`, "inputs/north spray/" + idB},
		{"hold.judged", "{" + where + `,"spray":"` + idB + `"}`, "inputs/north spray/" + idB},
		{"fruit.picked", "{" + several + "}", "picks/north picks/south"},
		{"harvest.closed", "{" + where + "}", "picks/north"},
		{"fruit.set", `{` + where + `}`, "growth/north"},
		{"crop.thinned", `{` + several + `}`, "growth/north growth/south"},
		{"tree.girdled", `{` + where + `}`, "growth/north"},
		{"protection.placed", `{` + several + `}`, "growth/north growth/south"},
		{"protection.removed", `{` + where + `}`, "growth/north"},
		{"hives.placed", `{` + where + `}`, "growth/north"},
		{"hives.removed", `{` + several + `}`, "growth/north growth/south"},
		{"damage.seen", `{` + several + `}`, "inputs/north inputs/south"},
		{"pest.scouted", `{` + where + `}`, "inputs/north"},
		{"ground.worked", `{` + several + `}`, "inputs/north inputs/south"},
		{"nutrient.applied", `{` + where + `}`, "inputs/north"},
		{"water.applied", `{` + several + `}`, "inputs/north inputs/south"},
		{"water.withheld", `{` + where + `}`, "inputs/north"},
		{"sample.tested", `{` + where + `}`, "inputs/north"},
		{"sample.tested", `{` + where + `,"lot":"L17"}`, "inputs/north lot/L17"},
		{"sample.tested", `{"lot":"L 17/2"}`, "lot/L%2017%2F2"},
		{"sample.tested", `{"source":"tank-2"}`, "farm"},
		{"spray.posted", `{"spray":"` + idB + `","place":"shed"}`, "spray/" + idB},
		{"entry.made", `{` + several + `}`, "inputs/north inputs/south"},
		{"exposure.reported", `{` + where + `,"spray":"` + idB + `"}`, "inputs/north"},
		{"exposure.reported", `{"spray":"` + idB + `","place":"the road"}`, "farm"},
		{"fruit.delivered", `{"delivery":"D-4","picks":[{"pick":"` + idB + `"}]}`, "delivery/D-4"},
		{"delivery.answered", `{"delivery":"D-4"}`, "delivery/D-4"},
		{"packout.reported", `{"deliveries":["D-5","D-4"],"packersLotCodes":["X1"]}`, "delivery/D-4 delivery/D-5"},
		{"fruit.received", `{"delivery":"N-1"}`, "delivery/N-1"},
		{"pick.cooled", `{"picks":["` + idB + `"]}`, "farm"},
		{"bin.emptied", `{"bins":["7"],"into":"L17"}`, "lot/L17"},
		{"bin.emptied", `{"bins":["7"]}`, "farm"},
		{"lot.packed", `{"lot":"L17","inputs":[{"pick":"` + idB + `"},{"bin":"7"},{"received":"` + idC + `"}]}`, "lot/L17"},
		{"lot.repacked", `{"lot":"L19","inputs":[{"lot":"L18"},{"lot":"L17"},{"lot":"L18"}]}`, "lot/L17 lot/L18 lot/L19"},
		{"lot.treated", `{"lot":"L17","label":"` + idB + `"}`, "lot/L17"},
		{"lot.treated", `{"delivery":"D-4"}`, "delivery/D-4"},
		{"lot.treated", `{"lot":"L17","delivery":"D-4"}`, "delivery/D-4 lot/L17"},
		{"lot.received", `{"lot":"L17"}`, "lot/L17"},
		{"lot.shipped", `{"lot":"L17"}`, "lot/L17"},
		{"lot.rejected", `{"lot":"L17"}`, "lot/L17"},
		{"lot.returned", `{"lots":["L18","L17"]}`, "lot/L17 lot/L18"},
		{"lot.recalled", `{"lot":"L19","lots":["L18","L17"]}`, "lot/L17 lot/L18 lot/L19"},
		{"lot.held", `{"lot":"L17"}`, "lot/L17"},
		{"lot.held", `{"delivery":"D-4"}`, "delivery/D-4"},
		{"lot.released", `{"lot":"L17","delivery":"D-4"}`, "delivery/D-4 lot/L17"},
		{"fruit.sold", `{` + several + `}`, "picks/north picks/south"},
		{"fruit.sold", `{"lot":"L17"}`, "lot/L17"},
		{"fruit.sold", `{` + where + `,"lot":"L17"}`, "lot/L17 picks/north"},
		{"fruit.sold", `{"picks":["` + idB + `"]}`, "farm"},
		{"lot.written-off", `{"lot":"L17"}`, "lot/L17"},
		{"lot.written-off", `{"picks":["` + idB + `"]}`, "farm"},
		{"stock.counted", `{"location":"cold room","items":[{"lot":"L18"},{"pick":"` + idB + `"},{"lot":"L17"}]}`, "lot/L17 lot/L18"},
		{"stock.counted", `{"items":[{"pick":"` + idB + `"}]}`, "farm"},
		{"training.given", `{"trained":["w"]}`, "farm"},
		{"water.assessed", `{"source":"tank-2"}`, "farm"},
		{"tool.cleaned", `{"what":"knives"}`, "farm"},
		{"tool.cleaned", `{` + where + `}`, "inputs/north"},
		{"check.made", `{}`, "farm"},
		{"room.read", `{"room":"cold room"}`, "farm"},
		{"incident.reported", `{"location":"shed"}`, "farm"},
		{"incident.reported", `{` + several + `,"lotsTouched":["L17"],"picksTouched":["` + idB + `"]}`, "inputs/north inputs/south lot/L17"},
		{"incident.reported", `{"location":"shed","lotsTouched":["L18","L17"]}`, "lot/L17 lot/L18"},
		{"visit.made", `{"areas":["north"]}`, "farm"},
		{"document.filed", `{"about":"lot/L17"}`, "farm"},
		{"exemption.claimed", `{}`, "farm"},
		{"record.corrected", `{"record":"` + idB + `","type":"lot.repacked.v1","data":{"lot":"L19","inputs":[{"lot":"L17"}]}}`, "lot/L17 lot/L19"},
		{"record.corrected", `{"record":"` + idB + `","type":"water.withheld.v1","data":{` + where + `,"reading":"dry"}}`, "inputs/north"},
		{"record.corrected", `{"record":"` + idB + `","type":"water.withheld.v1","data":{` + where + `,"reading":"dry","readingInWords":"dry"}}`, ""},
		{"records.reviewed", `{"records":["` + idB + `"]}`, "farm"},
		{"import.made", `{}`, "farm"},
		{"rule.adopted", `{}`, "farm"},
		{"season.named", `{"blocks":["north"]}`, "farm"},
		{"report.issued", `{}`, "farm"},
		{"drill.held", `{"of":"L17"}`, "farm"},
		{"evidence.given", `{"heads":[{"chain":"lot/L17","place":4},{"chain":"inputs/north","place":7}]}`, "inputs/north lot/L17"},
		{"evidence.given", `{"heads":[{"chain":"inputs/north"},{"chain":"farm"}]}`, "farm inputs/north"},
		{"key.changed", `{}`, "farm"},
		{"ledger.restored", `{}`, "farm"},
		{"ledger.moved", `{}`, "farm"},
		{"access.granted", `{"object":"lot/L17"}`, "farm"},
		{"access.viewed", `{}`, "farm"},
		{"access.ended", `{}`, "farm"},
		{"person.forgotten", `{}`, "farm"},
		// A correction stands where its record would, with the corrected data and its record's id.
		{"record.corrected", `{"record":"` + idB + `","type":"spray.applied.v1","data":{"where":{"block":"south"},"plan":"` + idC + `"}}`,
			"inputs/south spray/" + idB + " spray/" + idC},
		{"record.corrected", `{"record":"` + idB + `","type":"label.filed.v1","data":{}}`, "label/" + idB},
		{"record.corrected", `{"record":"` + idB + `","type":"season.named.v1","data":{}}`, "farm"},
		{"record.corrected", `{"record":"` + idB + `","type":"moon.risen.v1","data":{"where":{"block":"south"}}}`, ""},
		{"record.corrected", `{"record":"` + idB + `","type":"record.corrected.v1","data":{"record":"` + idC + `"}}`, ""},
		{"record.withdrawn", `{"record":"` + idB + `"}`, ""},
		// Names that need escaping; such a block does not get through the door, but a stranger's bundle may hold anything.
		{"harvest.closed", `{"where":{"block":"Käfer 1/2%"}}`, "picks/K%C3%A4fer%201%2F2%25"},
		{"harvest.closed", `{"where":{"block":"a-Z.0_9~"}}`, "picks/a-Z.0_9%7E"},
	}
	seen := map[string]bool{}
	id, err := events.ParseID(idA)
	if err != nil {
		t.Fatal(err)
	}
	for _, tc := range cases {
		seen[tc.kind] = true
		got := events.Standard().Kind(tc.kind).OwnChains(id, parse(t, tc.data))
		if strings.Join(got, " ") != tc.want {
			t.Errorf("%s %s:\n got %v\nwant %s", tc.kind, tc.data, got, tc.want)
		}
	}
	for _, k := range events.Standard().Kinds() {
		if !seen[k.Name] {
			t.Errorf("no case for the chains of %s", k.Name)
		}
	}
	t.Logf("counts: %d cases of own chains", len(cases))
}

func TestDrawnPicks(t *testing.T) {
	t.Parallel()
	for _, tc := range []struct{ kind, data, want string }{
		{"fruit.delivered", `{"delivery":"D-4","picks":[{"pick":"` + idB + `"},{"pick":"` + idA + `"}]}`, "[" + idB + " " + idA + "]"},
		{"lot.packed", `{"lot":"L17","inputs":[{"pick":"` + idB + `","versionSeen":"` + idC + `"},{"bin":"7"},{"received":"` + idC + `"}]}`, "[" + idB + "]"},
		{"lot.packed", `{"lot":"L17"}`, "[]"},
		{"lot.repacked", `{"lot":"L19","inputs":[{"lot":"L17"}]}`, "[]"},
		{"fruit.sold", `{"picks":["` + idB + `"],"lot":"L17"}`, "[]"}, // names a lot, and makes none
	} {
		if got := fmt.Sprint(events.Standard().Kind(tc.kind).DrawnPicks(parse(t, tc.data))); got != tc.want {
			t.Errorf("%s %s: got %s, want %s", tc.kind, tc.data, got, tc.want)
		}
	}
}

func TestMergeChains(t *testing.T) {
	t.Parallel()
	for _, tc := range []struct {
		lists [][]string
		want  string
	}{
		{nil, "farm"},
		{[][]string{nil, {}}, "farm"},
		{[][]string{{"spray/x", "inputs/north"}, nil, {"inputs/north", "inputs/south"}}, "inputs/north inputs/south spray/x"},
		// What stood in the farm's chain keeps its followers there, though they also stand in others.
		{[][]string{{"farm"}, {"growth/north"}}, "farm growth/north"},
		{[][]string{{"lot/b", "lot/B", "lot/a%2F", "lot/a"}}, "lot/B lot/a lot/a%2F lot/b"},
	} {
		if got := strings.Join(events.MergeChains(tc.lists...), " "); got != tc.want {
			t.Errorf("MergeChains(%v): got %s, want %s", tc.lists, got, tc.want)
		}
	}
}

func TestChainsAttribute(t *testing.T) {
	t.Parallel()
	links := []events.Link{{Chain: "inputs/north", Place: 41, Prev: [32]byte{1}}, {Chain: "spray/" + idA, Place: 1}}
	text := "inputs/north 41 AQAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA=, spray/" + idA + " 1 -"
	if got := events.FormatChains(links); got != text {
		t.Errorf("FormatChains: got %s, want %s", got, text)
	}
	rapid.Check(t, func(t *rapid.T) {
		g := gen{t: t}
		var links []events.Link
		for _, name := range rapid.SliceOfNDistinct(rapid.StringMatching(`(inputs|lot|spray)/[A-Za-z0-9._%-]{1,12}`), 1, 9, rapid.ID[string]).Draw(t, "names") {
			l := events.Link{Chain: name, Place: rapid.Uint64Range(1, 1<<63).Draw(t, "place")}
			if l.Place > 1 {
				copy(l.Prev[:], g.bytes(32))
			}
			links = append(links, l)
		}
		slices.SortFunc(links, func(a, b events.Link) int { return strings.Compare(a.Chain, b.Chain) })
		text := events.FormatChains(links)
		back, err := events.ParseChains(text)
		if err != nil || !slices.Equal(back, links) {
			t.Fatalf("ParseChains(%s): got %v, %v", text, back, err)
		}
	})
}

func TestParseChainsRefuses(t *testing.T) {
	t.Parallel()
	hash := "AQAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA="
	for _, tc := range []struct{ name, text, want string }{
		{"nothing", "", "not a name"},
		{"name only", "farm", "not a name"},
		{"no hash", "farm 1", "not a name"},
		{"too much", "farm 1 - x", "not a name"},
		{"no name", " 1 -", "not a name"},
		{"two blanks", "farm  1 -", "not a name"},
		{"comma at the end", "farm 1 -, ", "not a name"},
		{"comma without a blank", "a 1 -,b 1 -", "not a name"},
		{"place 0", "farm 0 -", "not a place"},
		{"place with a zero before", "farm 01 -", "not a place"},
		{"place with a sign", "farm +1 -", "not a place"},
		{"negative place", "farm -1 -", "not a place"},
		{"place too large", "farm 18446744073709551616 " + hash, "not a place"},
		{"first with a hash", "farm 1 " + hash, "first link"},
		{"later without", "farm 2 -", "first link"},
		{"hash too short", "farm 2 AQAA", "not a leaf hash"},
		{"hash without padding", "farm 2 " + hash[:43], "not a leaf hash"},
		{"hash with loose bits", "farm 2 " + hash[:42] + "B=", "not a leaf hash"},
		{"URL alphabet", "farm 2 " + strings.Replace(hash, "AQ", "_Q", 1), "not a leaf hash"},
		{"order", "b 1 -, a 1 -", "order"},
		{"twice", "a 1 -, a 2 " + hash, "order"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			links, err := events.ParseChains(tc.text)
			if err == nil || !strings.Contains(err.Error(), tc.want) {
				t.Errorf("ParseChains(%q): got %v, %v, want an error with %q", tc.text, links, err, tc.want)
			}
		})
	}
}

// FuzzParseChains: what it takes is what FormatChains writes.
func FuzzParseChains(f *testing.F) {
	f.Add("inputs/north 41 AQAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA=, spray/x 1 -")
	f.Add("farm 1 -")
	f.Add(", ")
	f.Fuzz(func(t *testing.T, text string) {
		links, err := events.ParseChains(text)
		if err != nil {
			return
		}
		if got := events.FormatChains(links); got != text {
			t.Errorf("got %q, want %q", got, text)
		}
	})
}

// A record of many blocks stands in as many chains; how many are too many is for the recorder, who knows them all.
func TestMaxChains(t *testing.T) {
	t.Parallel()
	if events.MaxChains != 255 || events.MaxBytes != 60000 {
		t.Errorf("MaxChains %d, MaxBytes %d: records.md says 255 and 60,000", events.MaxChains, events.MaxBytes)
	}
	where := canon.Value{Kind: canon.List}
	for i := range 300 {
		where.Items = append(where.Items, canon.ObjectOf(canon.Member{Name: "block", Value: canon.Text(fmt.Sprintf("b-%03d", i))}))
	}
	k := events.Standard().Kind("harvest.closed")
	got := k.OwnChains(events.ID{}, canon.ObjectOf(canon.Member{Name: "where", Value: where}))
	if len(got) != 300 || !slices.IsSorted(got) {
		t.Errorf("got %d chains, want 300 in order", len(got))
	}
}

func TestCodes(t *testing.T) {
	t.Parallel()
	for s, want := range map[string]bool{
		"a": true, "north-2": true, "0": true, "a--b": true, strings.Repeat("a", 32): true,
		"": false, "-a": false, "a-": false, "-": false, "North": false, "a b": false, "a_b": false, "é": false, strings.Repeat("a", 33): false, "a\n": false,
	} {
		if got := events.IsCode(s); got != want {
			t.Errorf("IsCode(%q): got %v, want %v", s, got, want)
		}
	}
	for s, want := range map[string]string{
		"North Block": "north-block", "  Upper/Lower 2a ": "upper-lower-2a", "north": "north", "--x--": "x", "Ōhi‘a": "ohi-a", "Peña y Núñez": "pena-y-nunez", "e\u0301te\u0301": "ete", "…": "",
		strings.Repeat("ab ", 20): "ab-ab-ab-ab-ab-ab-ab-ab-ab-ab-ab",
	} {
		got := events.NearestCode(s)
		if got != want || got != "" && !events.IsCode(got) {
			t.Errorf("NearestCode(%q): got %q, want %q", s, got, want)
		}
	}
	for s, want := range map[string]bool{
		"L26-014": true, `!"%&'()*+,-./`: true, "_:;<=>?": true, strings.Repeat("9", 20): true,
		"": false, strings.Repeat("9", 21): false, "L 17": false, "L#17": false, "L17é": false, "L@17": false, "[L]": false,
	} {
		if got := events.IsLot(s); got != want {
			t.Errorf("IsLot(%q): got %v, want %v", s, got, want)
		}
	}
}

// Check digits: the numbers of the unit tests of GS1's Syntax Engine and the worked examples of GS1's pages, as published
// there (read in November 2026). Lengths of trade items: 8, 12, 13, 14; of locations: 13.
func TestCheckDigits(t *testing.T) {
	t.Parallel()
	lot := `{"lot":"L-1","inputs":[{"bin":"7","mass":{"value":1,"unit":"kg"}}],"product":"lychee","packed":{"count":1,"kind":"carton","netMass":{"value":1,"unit":"kg"}},"date":"2026-06-19"}`
	for _, tc := range []struct {
		text      string
		gtin, gln bool
	}{
		{"02345673", true, false}, {"416000336108", true, false}, {"1234567890128", true, true}, {"12345678901231", true, false},
		{"6291041500213", true, true}, {"7300011000017", true, true}, {"8904000210037", true, true},
		{"123456789012345675", false, false}, // the length of a shipping container code
		{"12345673", false, false}, {"416000336109", false, false}, {"1234567890127", false, false}, {"12345678901232", false, false},
		{"1234567890 28", false, false}, {"123456789012a", false, false}, {"0", false, false}, {"00000000000", false, false},
	} {
		data := parse(t, lot)
		location := canon.ObjectOf(canon.Member{Name: "gln", Value: canon.Text(tc.text)})
		data.Set("location", location)
		data.Set("gtin", canon.Text(tc.text))
		_, problems := hollow().Check(events.Draft{Type: "lot.packed", Data: data})
		var got []string
		for _, p := range problems {
			got = append(got, p.Field)
		}
		var want []string
		if !tc.gln {
			want = append(want, "data.location.gln")
		}
		if !tc.gtin {
			want = append(want, "data.gtin")
		}
		slices.Sort(got)
		slices.Sort(want)
		if !slices.Equal(got, want) {
			t.Errorf("%s: refused at %v, want %v", tc.text, got, want)
		}
	}
}
