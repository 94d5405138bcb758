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
		"North Block": "north-block", "  Upper/Lower 2a ": "upper-lower-2a", "north": "north", "--x--": "x", "Ōhi‘a": "hi-a", "…": "",
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
