package events_test

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"latewood/events"
	"latewood/events/canon"
)

// What people get wrong, and what they are told. The golden file is read by somebody before it changes: every line must tell
// a grower what is wrong, why, and what to write.
func TestRefusals(t *testing.T) {
	t.Parallel()
	spray := func(rest string) string {
		return `{"where":{"block":"north"},"started":"2026-04-13T06:20","ended":"2026-04-13T08:40","mix":[{"product":"Brume 80"}],"target":"mites",` +
			`"applicator":{"code":"w_00112233445566778899aabbccddeeff"}` + rest + `}`
	}
	cases := []struct{ name, draft string }{
		{"a kind with a slip", `{"type":"fruit.piked","data":{}}`},
		{"a kind that is none", `{"type":"breakfast","data":{}}`},
		{"a version of the future", `{"type":"fruit.picked.v3","data":{}}`},
		{"nothing", `{}`},
		{"no data", `{"type":"fruit.picked"}`},
		{"an id of its own making", `{"type":"harvest.closed","id":"pick-17","data":{"where":{"block":"north"},"date":"2026-07-31"}}`},
		{"a person by name", `{"type":"harvest.closed","actor":"Ione","data":{"where":{"block":"north"},"date":"2026-07-31"}}`},
		{"a person by name in the data", `{"type":"fruit.picked","time":"2026-06-18","data":{"where":{"block":"north"},"mass":{"value":40,"unit":"kg"},"picker":"Ione"}}`},
		{"no time", `{"type":"fruit.picked","data":{"where":{"block":"north"},"mass":{"value":40,"unit":"kg"}}}`},
		{"no time, though a field would give it", `{"type":"tree.pruned","data":{"where":{"block":"north"},"cut":"shaping"}}`},
		{"an American date", `{"type":"fruit.picked","time":"6/18/2026","data":{"where":{"block":"north"},"mass":{"value":40,"unit":"kg"}}}`},
		{"30 February", `{"type":"harvest.closed","data":{"where":{"block":"north"},"date":"2026-02-30"}}`},
		{"a time where a date is wanted", `{"type":"harvest.closed","data":{"where":{"block":"north"},"date":"2026-07-31T10:00"}}`},
		{"planted some time", `{"type":"tree.planted","data":{"tree":"a","block":"north","cultivar":"Haku","planted":"spring 2011"}}`},
		{"microseconds", `{"type":"fruit.picked","time":"2026-06-18T10:00:00.123456-10:00","data":{"where":{"block":"north"},"mass":{"value":40,"unit":"kg"}}}`},
		{"time against date", `{"type":"harvest.closed","time":"2026-07-30","data":{"where":{"block":"north"},"date":"2026-07-31"}}`},
		{"started after it ended", `{"type":"spray.applied","data":` + strings.Replace(spray(""), "06:20", "09:20", 1) + `}`},
		{"a device's clock once", `{"type":"harvest.closed","devicetime":"2026-07-31T10:00:00Z","data":{"where":{"block":"north"},"date":"2026-07-31"}}`},
		{"noted on a day", `{"type":"harvest.closed","notedtime":"2026-07-31","data":{"where":{"block":"north"},"date":"2026-07-31"}}`},
		{"where as a word", `{"type":"harvest.closed","data":{"where":"north","date":"2026-07-31"}}`},
		{"no where", `{"type":"harvest.closed","data":{"date":"2026-07-31"}}`},
		{"a block by its name", `{"type":"harvest.closed","data":{"where":{"block":"North Block"},"date":"2026-07-31"}}`},
		{"a row as a number", `{"type":"harvest.closed","data":{"where":{"block":"north","rows":[3]},"date":"2026-07-31"}}`},
		{"rows as a text", `{"type":"harvest.closed","data":{"where":{"block":"north","rows":"1-3"},"date":"2026-07-31"}}`},
		{"no rows", `{"type":"harvest.closed","data":{"where":{"block":"north","rows":[]},"date":"2026-07-31"}}`},
		{"a field with a slip", `{"type":"harvest.closed","data":{"wehre":{"block":"north"},"date":"2026-07-31"}}`},
		{"a field that is none", `{"type":"harvest.closed","data":{"where":{"block":"north"},"date":"2026-07-31","weatherLooked":"fine"}}`},
		{"null", `{"type":"harvest.closed","data":{"where":{"block":"north"},"date":"2026-07-31","note":null}}`},
		{"an empty note", `{"type":"harvest.closed","data":{"where":{"block":"north"},"date":"2026-07-31","note":""}}`},
		{"neither mass nor containers", `{"type":"fruit.picked","time":"2026-06-18","data":{"where":{"block":"north"}}}`},
		{"a mass as a text", `{"type":"fruit.picked","time":"2026-06-18","data":{"where":{"block":"north"},"mass":"40 kg"}}`},
		{"a mass without a unit", `{"type":"fruit.picked","time":"2026-06-18","data":{"where":{"block":"north"},"mass":{"value":40}}}`},
		{"pounds as people say", `{"type":"fruit.picked","time":"2026-06-18","data":{"where":{"block":"north"},"mass":{"value":40,"unit":"lbs"}}}`},
		{"a unit that is none", `{"type":"fruit.picked","time":"2026-06-18","data":{"where":{"block":"north"},"mass":{"value":40,"unit":"bushel"}}}`},
		{"litres of fruit", `{"type":"fruit.picked","time":"2026-06-18","data":{"where":{"block":"north"},"mass":{"value":40,"unit":"L"}}}`},
		{"less than no fruit", `{"type":"fruit.picked","time":"2026-06-18","data":{"where":{"block":"north"},"mass":{"value":-4,"unit":"kg"}}}`},
		{"too much fruit", `{"type":"fruit.picked","time":"2026-06-18","data":{"where":{"block":"north"},"mass":{"value":1e18,"unit":"kg"}}}`},
		{"a number in quotes", `{"type":"fruit.picked","time":"2026-06-18","data":{"where":{"block":"north"},"mass":{"value":"40","unit":"kg"}}}`},
		{"a share of 130", `{"type":"tree.topworked","time":"2026-06-18","data":{"where":{"block":"north"},"cultivar":"Ember","share":{"value":130,"unit":"%"}}}`},
		{"a condition with a slip", `{"type":"tree.seen","time":"2026-06-18","data":{"where":{"block":"north"},"condition":"thriveing"}}`},
		{"a condition that is none", `{"type":"tree.seen","time":"2026-06-18","data":{"where":{"block":"north"},"condition":"so-so"}}`},
		{"a latitude in minutes", `{"type":"station.sited","time":"2026-06-18","data":{"station":"mauka","latitude":1936,"longitude":-155}}`},
		{"half a tree", `{"type":"block.established","time":"2026-06-18","data":{"block":"north","name":"North","area":{"value":1,"unit":"har"},"trees":2.5}}`},
		{"an area in metres", `{"type":"block.established","time":"2026-06-18","data":{"block":"north","name":"North","area":{"value":100,"unit":"m"}}}`},
		{"a zone by its letters", `{"type":"farm.opened","time":"2026-06-18","data":{"name":"Tern Hollow","zone":"HST-time","latitude":19.6,"longitude":-155.1}}`},
		{"a reading of nothing", `{"type":"weather.read","time":"2026-06-18T06:00:00-10:00","data":{"station":"mauka"}}`},
		{"a logger's gap", `{"type":"weather.read","time":"2026-06-18T06:00:00-10:00","data":{"station":"mauka","airTemperature":{"value":-999,"unit":"Cel"}}}`},
		{"yes for true", `{"type":"spray.applied","data":` + spray(`,"spot":"yes"`) + `}`},
		{"a product without a list", `{"type":"spray.applied","data":` + strings.Replace(spray(""), `[{"product":"Brume 80"}]`, `{"product":"Brume 80"}`, 1) + `}`},
		{"a mix of nothing known", `{"type":"spray.applied","data":` + strings.Replace(spray(""), `"product":"Brume 80"`, `"batch":"B1"`, 1) + `}`},
		{"a label by its product", `{"type":"spray.applied","data":` + strings.Replace(spray(""), `"product":"Brume 80"`, `"label":"Brume 80"`, 1) + `}`},
		{"a spray of nobody, for nothing", `{"type":"spray.applied","data":{"where":{"block":"north"},"started":"2026-04-13","ended":"2026-04-13","mix":[{"product":"Brume 80"}]}}`},
		{"a pesticide's label with its name only", `{"type":"label.filed","time":"2026-01-12","data":{"product":"Brume 80","material":"pesticide","readBy":"P07"}}`},
		{"an interval in days of the week", `{"type":"label.filed","time":"2026-01-12","data":{"product":"Brume 80","material":"other","readBy":"P07","withholding":{"kind":"numeric","value":"2 weeks"}}}`},
		{"a season as a span", `{"type":"season.named","time":"2026-09-01","data":{"season":"2025-2026","from":"2025-10-01","to":"2026-09-30"}}`},
		{"a season of two years apart", `{"type":"season.named","time":"2026-09-01","data":{"season":"2024/26","from":"2025-10-01","to":"2026-09-30"}}`},
		{"a GLN with a slip", `{"type":"farm.opened","time":"2026-06-18","data":{"name":"Tern Hollow","zone":"UTC","latitude":1,"longitude":1,"contact":{"gln":"9506000134353"}}}`},
		{"an outline in words", `{"type":"block.changed","data":{"block":"north","from":"2026-01-01","outline":"along the road"}}`},
		{"a correction of what is not corrected", `{"type":"record.corrected","time":"2026-06-19","data":{"record":"` + idA + `","follows":"` + idA + `","reason":"x","type":"import.made.v1","data":{"a":1}}}`},
		{"a correction with a slip inside", `{"type":"record.corrected","time":"2026-06-19","data":{"record":"` + idA + `","follows":"` + idA + `","reason":"x","type":"tree.seen.v1","data":{"where":{"block":"north"},"condition":"fine"}}}`},
		{"a correction of half", `{"type":"record.corrected","time":"2026-06-19","data":{"record":"` + idA + `","follows":"` + idA + `","reason":"x","type":"tree.seen.v1","data":{"condition":"weak"}}}`},
		{"a correction of a kind that is none", `{"type":"record.corrected","time":"2026-06-19","data":{"record":"` + idA + `","follows":"` + idA + `","reason":"x","type":"tree.saw.v1","data":{"condition":"weak"}}}`},
		{"half a hash", `{"type":"import.made","time":"2026-06-19","data":{"file":{"name":"a.csv","sha256":"e3b0c44298fc1c149afbf4c8996fb924"},"rows":1,"recorded":1,"refused":0}}`},
		{"a file in another encoding", "{\"type\":\"tree.planted\",\"data\":{\"tree\":\"a\",\"block\":\"north\",\"cultivar\":\"LATIN1\",\"planted\":\"2011\"}}"},
		{"an old version by hand, wrong", `{"type":"water.withheld.v1","data":{"where":{"block":"north"},"from":"October","reading":"58 cbar","read":3}}`},
		{"an old version that mixes two", `{"type":"water.withheld.v1","data":{"where":{"block":"north"},"from":"2025-10-03","reading":"58 cbar","readingInWords":"dry"}}`},
		{"a correction that mixes two versions", `{"type":"record.corrected","time":"2026-06-19","data":{"record":"` + idA + `","follows":"` + idA + `","reason":"x","type":"water.withheld.v1","data":{"where":{"block":"north"},"from":"2025-10-03","reading":"58 cbar","readingInWords":"dry"}}}`},
		{"a correction of the future", `{"type":"record.corrected","time":"2026-06-19","data":{"record":"` + idA + `","follows":"` + idA + `","reason":"x","type":"water.withheld.v9","data":{"where":{"block":"north"}}}}`},
		{"a reading as it used to be", `{"type":"water.withheld","data":{"where":{"block":"north"},"from":"2025-10-03","reading":"58 cbar"}}`},
		{"damage that ended before it began", `{"type":"damage.seen","data":{"where":{"block":"north"},"cause":"wind","from":"2026-05-03","until":"2026-05-02"}}`},
		{"damage by a cause that is none", `{"type":"damage.seen","time":"2026-05-03","data":{"where":{"block":"north"},"cause":"windy"}}`},
		{"a look that decides nothing", `{"type":"pest.scouted","time":"2026-05-03","data":{"where":{"block":"north"},"target":"mites","method":"visual"}}`},
		{"a sample of nowhere", `{"type":"sample.tested","data":{"material":"soil","sampled":"2026-05-03","results":[{"what":"pH","value":5.8}]}}`},
		{"somebody's name at an entry", `{"type":"entry.made","data":{"where":{"block":"north"},"who":"Ione","from":"2026-05-03T10:00","until":"2026-05-03T11:00"}}`},
		{"a lot code with a blank in it", `{"type":"lot.shipped","data":{"lot":"L26 014","amount":{"value":6,"unit":"kg"},"recipient":{"name":"Quay Market"},"date":"2026-06-20"}}`},
		{"a load without its fruit", `{"type":"fruit.delivered","data":{"delivery":"D26-031","picks":[{"pick":"` + idA + `"}],"recipient":{"name":"Reed End Packers"},"date":"2026-06-18"}}`},
		{"a release that answers nothing", `{"type":"lot.released","time":"2026-06-20","data":{"lot":"L26-014","basis":"interval-run"}}`},
		{"a release of nothing", `{"type":"lot.released","time":"2026-06-20","data":{"basis":"looks fine","answers":["pick-in-interval"]}}`},
		{"a GTIN with a slip", `{"type":"lot.repacked","data":{"lot":"L26-019","inputs":[{"lot":"L26-014","amount":{"value":6,"unit":"kg"}}],"product":"lychee","gtin":"9506000134353","packed":{"count":12,"kind":"punnet","netMass":{"value":500,"unit":"g"}},"date":"2026-06-20","location":{"code":"tern-hollow"}}}`},
		{"a dose as people say", `{"type":"lot.treated","time":"2026-06-20","data":{"lot":"L26-014","treatment":"irradiation","dose":{"value":400,"unit":"grays"}}}`},
		{"fruit sold from nowhere", `{"type":"fruit.sold","time":"2026-06-20","data":{"channel":"market","value":{"amount":60,"currency":"$"}}}`},
		{"a paper that holds from a year", `{"type":"document.filed","time":"2026-06-20","data":{"kind":"permit","about":"moving fruit","until":"2027"}}`},
		{"a pick of nothing", `{"type":"fruit.picked","time":"2026-06-18","data":{"where":{"block":"north"},"mass":{"value":0,"unit":"kg"}}}`},
		{"no crates at all", `{"type":"fruit.picked","time":"2026-06-18","data":{"where":{"block":"north"},"containers":[{"kind":"crate","count":0}]}}`},
		{"a block without ground", `{"type":"block.changed","data":{"block":"north","from":"2026-01-01","area":{"value":0,"unit":"har"}}}`},
		{"a tree in its own place", `{"type":"tree.planted","data":{"tree":"north-01-07","block":"north","cultivar":"Haku","planted":"2011","replaces":"north-01-07"}}`},
		{"more shoots moving than shoots", `{"type":"flush.seen","time":"2026-09-02","data":{"where":{"block":"north"},"stage":"elongating","terminalsCounted":40,"terminalsInThatStage":43}}`},
		{"more panicles than shoots", `{"type":"bloom.seen","time":"2026-02-20","data":{"where":{"block":"north"},"stage":"panicles-out","terminalsCounted":60,"leaflessPanicle":34,"leafyPanicle":19,"vegetative":12}}`},
		{"more leaves with mites than leaves", `{"type":"pest.scouted","time":"2026-05-03","data":{"where":{"block":"north"},"target":"mites","method":"visual","unitsExamined":20,"unitsWith":25,"decision":"treat"}}`},
		{"no hives", `{"type":"hives.placed","time":"2026-02-18","data":{"where":{"block":"north"},"hives":0}}`},
		{"a fertiliser of none", `{"type":"nutrient.applied","time":"2026-08-12","data":{"where":{"block":"north"},"material":"Fernmeal pellets","total":{"value":0,"unit":"kg"}}}`},
		{"a label that ends before it begins", `{"type":"label.filed","time":"2026-01-12","data":{"product":"Cling","material":"adjuvant","readBy":"P07","validFrom":"2027-01-01","validUntil":"2026-12-31","rates":[{"min":{"value":0.5,"unit":"%"},"max":{"value":0.25,"unit":"%"}}]}}`},
		{"a plan that ends before it begins", `{"type":"spray.planned","time":"2026-04-10","data":{"where":{"block":"north"},"from":"2026-04-13T06:00","until":"2026-04-12","mix":[{"product":"Brume 80"}]}}`},
		{"a part that ended before the spray began", `{"type":"spray.applied","data":` + strings.Replace(spray(""), `{"block":"north"}`, `[{"block":"north","ended":"2026-04-13T08:05"},{"block":"upper","ended":"2026-04-13T06:10"}]`, 1) + `}`},
		{"signs down before they were up", `{"type":"spray.applied","data":` + spray(`,"warning":{"signsUp":"2026-04-13T06:00","signsDown":"2026-04-12T09:00"},"suspensions":[{"from":"2026-04-13T07:30","to":"2026-04-13T07:00"}]`) + `}`},
		{"a product without any of it", `{"type":"spray.applied","data":` + strings.Replace(spray(""), `"product":"Brume 80"`, `"product":"Brume 80","rate":{"value":0,"unit":"kg/har"},"total":{"value":0,"unit":"kg"}`, 1) + `}`},
		{"a sheet taken down before it hung", `{"type":"spray.posted","data":{"spray":"` + idA + `","place":"shed door","from":"2026-04-13T09:15","removed":"2026-04-12"}}`},
		{"a load lighter than empty", `{"type":"fruit.delivered","data":{"delivery":"D26-031","picks":[{"pick":"` + idA + `","mass":{"value":0,"unit":"kg"}}],"recipient":{"name":"Reed End Packers"},"date":"2026-06-18"}}`},
		{"a gross mass under the tare", `{"type":"fruit.delivered","data":{"delivery":"D26-031","picks":[{"pick":"` + idA + `","mass":{"value":40,"unit":"kg"}}],"recipient":{"name":"Reed End Packers"},"date":"2026-06-18","masses":{"gross":{"value":40,"unit":"kg"},"tare":{"value":100,"unit":"[lb_av]"},"net":{"value":41,"unit":"kg"}}}}`},
		{"fruit received before it was picked", `{"type":"fruit.received","data":{"delivery":"FS-9","source":{"name":"Fernside Nursery"},"sourceCovered":"told","date":"2026-06-19","commodity":"lychee","amount":{"value":0,"unit":"kg"}}}`},
		{"harvested after it came", `{"type":"fruit.received","data":{"delivery":"FS-9","source":{"name":"Fernside Nursery"},"sourceCovered":"as-told","date":"2026-06-19","commodity":"lychee","amount":{"value":12,"unit":"kg"},"harvestDates":["2026-06-18","2026-06-20"]}}`},
		{"a lot packed before its fruit came", `{"type":"lot.packed","data":{"lot":"L26-014","inputs":[{"bin":"7","mass":{"value":6,"unit":"kg"}}],"receivedDate":"2026-06-20","product":"lychee","packed":{"count":3,"kind":"carton","netMass":{"value":2,"unit":"kg"}},"date":"2026-06-19","location":{"code":"tern-hollow"}}}`},
		{"a lot of no cartons", `{"type":"lot.packed","data":{"lot":"L26-014","inputs":[{"bin":"7","mass":{"value":6,"unit":"kg"}}],"product":"lychee","packed":{"count":0,"kind":"carton","netMass":{"value":0,"unit":"kg"}},"date":"2026-06-19","location":{"code":"tern-hollow"}}}`},
		{"a lot made of itself", `{"type":"lot.repacked","data":{"lot":"L26-019","inputs":[{"lot":"L26-014","amount":{"value":6,"unit":"kg"}},{"lot":"L26-019","amount":{"value":6,"unit":"kg"}}],"product":"lychee","packed":{"count":12,"kind":"punnet","netMass":{"value":500,"unit":"g"}},"date":"2026-06-20","location":{"code":"tern-hollow"}}}`},
		{"a lot code of 21 characters", `{"type":"lot.shipped","data":{"lot":"L26-014-NORTH-ROW-0001","amount":{"value":6,"unit":"kg"},"recipient":{"name":"Quay Market"},"date":"2026-06-20"}}`},
		{"nothing shipped", `{"type":"lot.shipped","data":{"lot":"L26-014","amount":{"value":0,"unit":"kg"},"recipient":{"name":"Quay Market"},"date":"2026-06-20"}}`},
		{"a treatment with a slip", `{"type":"lot.treated","time":"2026-06-20","data":{"lot":"L26-014","treatment":"vapor-heat"}}`},
		{"training that had run out when it was given", `{"type":"training.given","data":{"date":"2026-01-20","kind":"worker-protecton","topics":["signs"],"trained":["w_00112233445566778899aabbccddeeff"],"validUntil":"2025-12-31"}}`},
		{"training valid until the year before", `{"type":"training.given","data":{"date":"2026-01-20","kind":"handler","topics":["signs"],"trained":["w_00112233445566778899aabbccddeeff"],"validUntil":"2025-12-31"}}`},
		{"a paper that ended before it began", `{"type":"document.filed","time":"2026-06-20","data":{"kind":"licence","about":"spraying","from":"2026-01-01","until":"2025-12-31"}}`},
		{"doubted backwards", `{"type":"weather.doubted","time":"2026-06-20","data":{"station":"mauka","from":"2026-06-18T10:00","to":"2026-06-18T09:00","reason":"a leaf"}}`},
		{"an element that no station reads", `{"type":"weather.doubted","time":"2026-06-20","data":{"station":"mauka","from":"2026-06-18T08:00","to":"2026-06-18T09:00","elements":["airTemprature","hail"],"reason":"a leaf"}}`},
		{"a review of the places backwards", `{"type":"records.reviewed","time":"2026-07-01","data":{"span":{"first":188,"last":120},"reviewer":"w_00112233445566778899aabbccddeeff"}}`},
		{"a season backwards", `{"type":"season.named","time":"2026-09-01","data":{"season":"2026","from":"2026-09-30","to":"2025-10-01"}}`},
		{"a drill that ended first", `{"type":"drill.held","data":{"of":"L26-014","started":"2026-07-02T09:48","ended":"2026-07-02T09:00"}}`},
		{"several at once", `{"type":"fruit.picked","time":"2026-06-18","data":{"where":{"block":"North"},"mass":{"value":40,"unit":"lb"},"picker":"P07","condition":"damp","basis":"scale"}}`},
		{"where the clocks moved", `{"type":"fruit.picked","time":"2026-03-08T02:30","zone":"America/New_York","data":{"where":{"block":"north"},"mass":{"value":40,"unit":"kg"}}}`},
	}
	var b strings.Builder
	b.WriteString("Made by go test ./events -run Refusals -update. What people get wrong (the draft), and what they are told (field, value, why, instead).\n")
	lines := 0
	for _, tc := range cases {
		d := parse(t, tc.draft)
		if c := d.Get("data").Get("cultivar"); c.Str == "LATIN1" {
			data := d.Get("data")
			data.Set("cultivar", canon.Text("Groff\xe9"))
			d.Set("data", data)
		}
		door := hollow()
		if zone := d.Get("zone").Str; zone != "" {
			door = doorIn(zone)
		}
		_, problems := door.Check(events.Draft{
			ID: d.Get("id").Str, Type: d.Get("type").Str, Time: d.Get("time").Str, NotedTime: d.Get("notedtime").Str, DeviceTime: d.Get("devicetime").Str,
			Actor: d.Get("actor").Str, Data: d.Get("data"),
		})
		if len(problems) == 0 {
			t.Errorf("%s: nothing is wrong with it", tc.name)
		}
		fmt.Fprintf(&b, "\n# %s\n  %s\n", tc.name, tc.draft)
		for _, p := range problems {
			lines++
			value := "nothing"
			if p.Value != nil {
				j, err := events.WriteJSON(p.Value)
				if err != nil {
					t.Fatal(err)
				}
				value = string(j)
			}
			fmt.Fprintf(&b, "    %s, %s: %s\n        %s\n", p.Field, value, p.Why, p.Instead)
		}
	}
	path := filepath.Join("testdata", "refusals.golden")
	if *update {
		if err := os.WriteFile(path, []byte(b.String()), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if got := b.String(); got != string(want) {
		t.Errorf("the refusals changed; look at them, then run go test ./events -run Refusals -update:\n%s", got)
	}
	t.Logf("counts: %d bad drafts, %d refusals", len(cases), lines)
}
