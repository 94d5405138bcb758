package events_test

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"latewood/events"
	"latewood/events/canon"
)

// Limits of quantities: exact range, dimension, and what nature allows.
func TestQuantities(t *testing.T) {
	t.Parallel()
	station := `{"station":"mauka",%s}`
	pick := `{"where":{"block":"north"},%s}`
	for _, tc := range []struct{ name, kind, data, want string }{
		{"the largest mass", "fruit.picked", fmt.Sprintf(pick, `"mass":{"value":9007199254740991,"unit":"mg"}`), ""},
		{"one more", "fruit.picked", fmt.Sprintf(pick, `"mass":{"value":9007199254740992,"unit":"mg"}`), "data.mass.value refuse.too-large"},
		{"the largest mass in tonnes", "fruit.picked", fmt.Sprintf(pick, `"mass":{"value":9007199.254740991,"unit":"t"}`), ""},
		{"more in tonnes", "fruit.picked", fmt.Sprintf(pick, `"mass":{"value":9007200,"unit":"t"}`), "data.mass.value refuse.too-large"},
		{"beyond whole numbers", "fruit.picked", fmt.Sprintf(pick, `"mass":{"value":1e300,"unit":"kg"}`), "data.mass.value refuse.too-large"},
		{"no mass", "fruit.picked", fmt.Sprintf(pick, `"mass":{"value":0,"unit":"kg"}`), "data.mass.value refuse.zero"},
		{"negative mass", "fruit.picked", fmt.Sprintf(pick, `"mass":{"value":-0.1,"unit":"kg"}`), "data.mass.value refuse.negative"},
		{"minus nothing", "fruit.picked", fmt.Sprintf(pick, `"mass":{"value":-0,"unit":"kg"}`), "data.mass.value refuse.zero"},
		{"a volume for a mass", "fruit.picked", fmt.Sprintf(pick, `"mass":{"value":3,"unit":"L"}`), "data.mass.unit refuse.dimension"},
		{"a unit that is none", "fruit.picked", fmt.Sprintf(pick, `"mass":{"value":3,"unit":"bushels"}`), "data.mass.unit refuse.unit-unknown"},
		{"a unit as people say it", "fruit.picked", fmt.Sprintf(pick, `"mass":{"value":3,"unit":"lbs"}`), "data.mass.unit refuse.unit-unknown"},
		{"other case", "fruit.picked", fmt.Sprintf(pick, `"mass":{"value":3,"unit":"KG"}`), "data.mass.unit refuse.unit-unknown"},
		{"a number in quotes", "fruit.picked", fmt.Sprintf(pick, `"mass":{"value":"3","unit":"kg"}`), "data.mass.value refuse.wrong-type"},
		{"a bare number", "fruit.picked", fmt.Sprintf(pick, `"mass":3`), "data.mass refuse.wrong-type"},
		{"a text", "fruit.picked", fmt.Sprintf(pick, `"mass":"3 kg"`), "data.mass refuse.wrong-type"},

		{"share 0", "tree.pruned", fmt.Sprintf(pick, `"cut":"tip","shareOfCanopy":{"value":0,"unit":"%"}`), ""},
		{"share 100", "tree.pruned", fmt.Sprintf(pick, `"cut":"tip","shareOfCanopy":{"value":100,"unit":"%"}`), ""},
		{"share over 100", "tree.pruned", fmt.Sprintf(pick, `"cut":"tip","shareOfCanopy":{"value":100.1,"unit":"%"}`), "data.shareOfCanopy.value refuse.above"},
		{"negative share", "tree.pruned", fmt.Sprintf(pick, `"cut":"tip","shareOfCanopy":{"value":-1,"unit":"%"}`), "data.shareOfCanopy.value refuse.below"},
		{"share of a part", "tree.seen", `{"where":{"block":"north","share":{"value":130,"unit":"%"}},"condition":"weak"}`, "data.where.share.value refuse.above"},

		{"humidity of a raw sensor", "weather.read", fmt.Sprintf(station, `"relativeHumidity":{"value":105,"unit":"%"}`), ""},
		{"more humidity than that", "weather.read", fmt.Sprintf(station, `"relativeHumidity":{"value":105.1,"unit":"%"}`), "data.relativeHumidity.value refuse.above"},
		{"negative humidity", "weather.read", fmt.Sprintf(station, `"relativeHumidity":{"value":-0.5,"unit":"%"}`), "data.relativeHumidity.value refuse.below"},
		{"direction 360", "weather.read", fmt.Sprintf(station, `"windDirection":{"value":360,"unit":"deg"}`), ""},
		{"direction over 360", "weather.read", fmt.Sprintf(station, `"windDirection":{"value":361,"unit":"deg"}`), "data.windDirection.value refuse.above"},
		{"negative direction", "weather.read", fmt.Sprintf(station, `"windDirection":{"value":-10,"unit":"deg"}`), "data.windDirection.value refuse.below"},
		{"frost", "weather.read", fmt.Sprintf(station, `"airTemperature":{"value":-40,"unit":"[degF]"}`), ""},
		{"absolute zero", "weather.read", fmt.Sprintf(station, `"airTemperature":{"value":0,"unit":"K"}`), ""},
		{"colder than cold", "weather.read", fmt.Sprintf(station, `"airTemperature":{"value":-273.2,"unit":"Cel"}`), "data.airTemperature.value refuse.below"},
		{"a logger's gap", "weather.read", fmt.Sprintf(station, `"airTemperature":{"value":-9999,"unit":"[degF]"}`), "data.airTemperature.value refuse.below"},
		{"negative rain", "weather.read", fmt.Sprintf(station, `"rain":{"value":-0.2,"unit":"mm"}`), "data.rain.value refuse.negative"},
		{"negative wind", "weather.read", fmt.Sprintf(station, `"windSpeed":{"value":-1,"unit":"m/s"}`), "data.windSpeed.value refuse.negative"},
		{"negative light", "weather.read", fmt.Sprintf(station, `"solarRadiation":{"value":-2,"unit":"W/m2"}`), "data.solarRadiation.value refuse.negative"},
		{"interval", "weather.read", fmt.Sprintf(station, `"interval":3600,"rain":{"value":1,"unit":"mm"}`), ""},
		{"negative interval", "weather.read", fmt.Sprintf(station, `"interval":-1,"rain":{"value":1,"unit":"mm"}`), "data.interval refuse.below"},
		{"interval over a year", "weather.read", fmt.Sprintf(station, `"interval":31622401,"rain":{"value":1,"unit":"mm"}`), "data.interval refuse.above"},

		{"below the sea", "station.sited", `{"station":"shore","latitude":31.7,"longitude":35.5,"elevation":{"value":-430,"unit":"m"}}`, ""},
		{"in feet", "station.sited", `{"station":"shore","latitude":31.7,"longitude":35.5,"elevation":{"value":-1400,"unit":"[ft_i]"}}`, ""},
		{"far below the sea", "station.sited", `{"station":"shore","latitude":31.7,"longitude":35.5,"elevation":{"value":-501,"unit":"m"}}`, "data.elevation.value refuse.below"},
		{"a sensor in the soil", "station.sited", `{"station":"shore","latitude":31.7,"longitude":35.5,"sensors":[{"what":"soil","height":{"value":-20,"unit":"cm"}}]}`, ""},
		{"a tree below the ground", "tree.measured", fmt.Sprintf(pick, `"height":{"value":-1,"unit":"m"}`), "data.height.value refuse.negative"},
		{"latitude", "station.sited", `{"station":"shore","latitude":90.1,"longitude":0}`, "data.latitude refuse.above"},
		{"longitude", "station.sited", `{"station":"shore","latitude":0,"longitude":-180.5}`, "data.longitude refuse.below"},
		{"a strength in g/L is no share", "label.filed", `{"product":"Brume","material":"other","readBy":"P07","activeIngredients":[{"name":"x","share":{"value":480,"unit":"g/L"}}]}`, ""},
		{"a strength over 100 %", "label.filed", `{"product":"Brume","material":"other","readBy":"P07","activeIngredients":[{"name":"x","share":{"value":480,"unit":"%"}}]}`, "data.activeIngredients[0].share.value refuse.above"},
		{"a count", "block.established", `{"block":"north","name":"North","area":{"value":1,"unit":"har"},"trees":240}`, ""},
		{"half a tree", "block.established", `{"block":"north","name":"North","area":{"value":1,"unit":"har"},"trees":240.5}`, "data.trees refuse.count"},
		{"fewer trees than none", "block.established", `{"block":"north","name":"North","area":{"value":1,"unit":"har"},"trees":-1}`, "data.trees refuse.count"},
		{"more trees than whole numbers", "block.established", `{"block":"north","name":"North","area":{"value":1,"unit":"har"},"trees":9007199254740992}`, "data.trees refuse.too-large"},
		{"no whole number any more, in a setting", "setting.adopted", `{"name":"x","from":"2026-01-01","value":{"a":[1,9007199254740993]}}`, "data.value.a[1] refuse.too-large"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			refusedFor(t, events.Draft{Type: tc.kind, Time: "2026-06-01", Data: parse(t, tc.data)}, tc.want)
		})
	}
}

// refusedFor checks that a draft has exactly one problem, FIELD KEY, or none.
func refusedFor(t *testing.T, draft events.Draft, want string) events.Accepted {
	t.Helper()
	a, problems := hollow().Check(draft)
	got := ""
	if len(problems) > 0 {
		got = problems[0].Field + " " + problems[0].Why.Key
	}
	if got != want || len(problems) > 1 {
		t.Errorf("got %q (%v), want %q", got, problems, want)
	}
	return a
}

// Values that no JSON text can bring, from Go code that went wrong.
func TestNotFromJSON(t *testing.T) {
	t.Parallel()
	pick := func(f float64) canon.Value {
		return events.Encode(&events.FruitPicked{Where: events.Where{{Block: "north"}}, Mass: &events.Quantity{Value: f, Unit: "kg"}})
	}
	site := func(f float64) canon.Value {
		return events.Encode(&events.StationSited{Station: "mauka", Latitude: f, Longitude: 0})
	}
	setting := func(raw string) canon.Value {
		return events.Encode(&events.SettingAdopted{Name: "x", Value: events.Raw(raw), From: "2026-01-01"})
	}
	for _, tc := range []struct {
		name, kind string
		data       canon.Value
		want       string
	}{
		{"NaN in a quantity", "fruit.picked", pick(math.NaN()), "data.mass.value refuse.not-a-number"},
		{"infinite quantity", "fruit.picked", pick(math.Inf(1)), "data.mass.value refuse.not-a-number"},
		{"NaN", "station.sited", site(math.NaN()), "data.latitude refuse.not-a-number"},
		{"infinite", "station.sited", site(math.Inf(-1)), "data.latitude refuse.not-a-number"},
		{"NaN in free data", "setting.adopted", canon.ObjectOf(canon.Member{Name: "name", Value: canon.Text("x")}, canon.Member{Name: "from", Value: canon.Text("2026-01-01")},
			canon.Member{Name: "value", Value: canon.Num(math.NaN())}), "data.value refuse.not-a-number"},
		{"raw that is no JSON", "setting.adopted", setting("{"), "data.value refuse.null"},
		{"raw null", "setting.adopted", setting("null"), "data.value refuse.null"},
		{"no raw", "setting.adopted", setting(""), "data.value refuse.required"},
		{"raw", "setting.adopted", setting(` {"b":1.0,"a":[2]} `), ""},
		{"no data", "setting.adopted", canon.Value{}, "data refuse.required"},
		{"a list", "setting.adopted", canon.ListOf(canon.Num(1)), "data refuse.wrong-type"},
		{"null", "setting.adopted", canon.Value{Kind: canon.Null}, "data refuse.null"},
		{"nothing in it", "setting.adopted", canon.Value{Kind: canon.Object}, "data refuse.empty"},
		{"Latin-1", "tree.planted", canon.ObjectOf(canon.Member{Name: "tree", Value: canon.Text("a")}, canon.Member{Name: "block", Value: canon.Text("b")},
			canon.Member{Name: "cultivar", Value: canon.Text("Groff\xe9")}, canon.Member{Name: "planted", Value: canon.Text("2026")}), "data.cultivar refuse.not-utf8"},
		{"Latin-1 in free data", "setting.adopted", canon.ObjectOf(canon.Member{Name: "name", Value: canon.Text("x")}, canon.Member{Name: "from", Value: canon.Text("2026-01-01")},
			canon.Member{Name: "value", Value: canon.ObjectOf(canon.Member{Name: "caf\xe9", Value: canon.Num(1)})}), "data.value refuse.not-utf8"},
		{"the character zero", "setting.adopted", canon.ObjectOf(canon.Member{Name: "name", Value: canon.Text("a\x00b")}, canon.Member{Name: "from", Value: canon.Text("2026-01-01")},
			canon.Member{Name: "value", Value: canon.Num(1)}), "data.name refuse.zero-character"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			refusedFor(t, events.Draft{Type: tc.kind, Time: "2026-06-01", Data: tc.data}, tc.want)
		})
	}
	_, problems := hollow().Check(events.Draft{Type: "setting.adopted", Time: "2026-01-01", Data: canon.ObjectOf(canon.Member{Name: "na\xffme", Value: canon.Text("\xff")})})
	for _, p := range problems {
		if strings.ContainsRune(p.Field, 0xFFFD) && p.Value == "\uFFFD" {
			return
		}
	}
	t.Errorf("bytes that are no text reach the message: %v", problems)
}

func TestEnvelope(t *testing.T) {
	t.Parallel()
	base := events.Draft{Type: "fruit.picked", Time: "2026-06-01", Data: parse(t, small["fruit.picked"])}
	for _, tc := range []struct {
		name string
		set  func(d *events.Draft)
		want string
	}{
		{"as it is", func(d *events.Draft) {}, ""},
		{"type with its version", func(d *events.Draft) { d.Type = "fruit.picked.v1" }, ""},
		{"no type", func(d *events.Draft) { d.Type = "" }, "type refuse.required"},
		{"unknown kind", func(d *events.Draft) { d.Type = "fruit.eaten" }, "type refuse.kind-unknown"},
		{"capitals", func(d *events.Draft) { d.Type = "Fruit.Picked.v1" }, "type refuse.kind-unknown"},
		{"newer version", func(d *events.Draft) { d.Type = "fruit.picked.v2" }, "type refuse.version"},
		{"version 0", func(d *events.Draft) { d.Type = "fruit.picked.v0" }, "type refuse.kind-unknown"},
		{"version with a zero before", func(d *events.Draft) { d.Type = "fruit.picked.v01" }, "type refuse.kind-unknown"},
		{"id of version 7", func(d *events.Draft) { d.ID = idA }, ""},
		{"id in capitals", func(d *events.Draft) { d.ID = strings.ToUpper(idA) }, ""},
		{"id of version 8", func(d *events.Draft) { d.ID = "55c34df9-648e-87f6-9eab-6ff5407c4c81" }, ""},
		{"id of version 4", func(d *events.Draft) { d.ID = "55c34df9-648e-47f6-9eab-6ff5407c4c81" }, "id refuse.not.id"},
		{"id of another variant", func(d *events.Draft) { d.ID = "55c34df9-648e-77f6-deab-6ff5407c4c81" }, "id refuse.not.id"},
		{"id of the oldest variant", func(d *events.Draft) { d.ID = "55c34df9-648e-77f6-0eab-6ff5407c4c81" }, "id refuse.not.id"},
		{"no id at all", func(d *events.Draft) { d.ID = "1234" }, "id refuse.not.id"},
		{"the empty UUID", func(d *events.Draft) { d.ID = "00000000-0000-0000-0000-000000000000" }, "id refuse.not.id"},
		{"actor", func(d *events.Draft) { d.Actor = "w_00112233445566778899aabbccddeeff" }, ""},
		{"actor by name", func(d *events.Draft) { d.Actor = "Ione Fernside" }, "actor refuse.not.person"},
		{"source", func(d *events.Draft) { d.Source = "/farms/tern-hollow/mqtt-mauka" }, ""},
		{"source of another farm", func(d *events.Draft) { d.Source = "/farms/reed-end/cli" }, ""},
		{"source that breaks the envelope", func(d *events.Draft) { d.Source = `/farms/tern-hollow/"` }, "source refuse.source"},
		{"source elsewhere", func(d *events.Draft) { d.Source = "https://example.org/x" }, "source refuse.source"},
		{"source without a device", func(d *events.Draft) { d.Source = "/farms/tern-hollow" }, "source refuse.source"},
		{"source with more", func(d *events.Draft) { d.Source = "/farms/tern-hollow/cli/x" }, "source refuse.source"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			d := base
			tc.set(&d)
			a := refusedFor(t, d, tc.want)
			if tc.want == "" && (a.Draft.Type != "fruit.picked.v1" || a.Draft.ID != strings.ToLower(d.ID) || !a.ID.IsZero() && a.ID.String() != a.Draft.ID) {
				t.Errorf("got type %s, id %s", a.Draft.Type, a.Draft.ID)
			}
		})
	}
}

// The normal form of what was typed a little differently.
func TestNormalForm(t *testing.T) {
	t.Parallel()
	for _, tc := range []struct{ name, kind, data, want string }{
		{"a where of one part", "tree.seen", `{"where":[{"block":"north"}],"condition":"weak"}`, `{"condition":"weak","where":{"block":"north"}}`},
		{"a where of two", "tree.seen", `{"where":[{"block":"north"},{"block":"east"}],"condition":"weak"}`, `{"condition":"weak","where":[{"block":"north"},{"block":"east"}]}`},
		{"a name, decomposed and with blanks", "tree.planted", `{"tree":" a ","block":"b","cultivar":" Cafe\u0301 ","planted":"2011","note":" Cafe\u0301 "}`,
			`{"block":"b","cultivar":"Café","note":" Cafe` + "\u0301" + ` ","planted":"2011","tree":"a"}`},
		{"rows", "tree.seen", `{"where":{"block":"north","rows":[" 2a ","e\u0301"]},"condition":"weak"}`, `{"condition":"weak","where":{"block":"north","rows":["2a","é"]}}`},
		{"ids in capitals", "label.closed", `{"label":"017F22E2-79B0-7CC3-98C4-DC0C0C07398F","reason":"expired"}`, `{"label":"017f22e2-79b0-7cc3-98c4-dc0c0c07398f","reason":"expired"}`},
		{"numbers", "weather.read", `{"station":"m","interval":3.6e3,"rain":{"value":0.10,"unit":"mm"}}`, `{"interval":3600,"rain":{"unit":"mm","value":0.1},"station":"m"}`},
		{"inside a correction", "record.corrected", `{"record":"` + idA + `","follows":"` + idA + `","reason":"typed wrong","type":"tree.seen.v1","data":{"where":[{"block":" north "}],"condition":"weak"}}`,
			`{"data":{"condition":"weak","where":{"block":"north"}},"follows":"` + idA + `","reason":"typed wrong","record":"` + idA + `","type":"tree.seen.v1"}`},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			a := enter(t, hollow(), events.Draft{Type: tc.kind, Time: map[bool]string{false: "2026-06-01"}[tc.kind == "tree.planted"], Data: parse(t, tc.data)})
			if string(a.Data) != tc.want {
				t.Errorf("got  %s\nwant %s", a.Data, tc.want)
			}
		})
	}
}

// What must stand depends, for a label, on what kind of product it is of.
func TestLabelMustGive(t *testing.T) {
	t.Parallel()
	for _, material := range []string{"pesticide", "growth-regulator", "minimum-risk", "adjuvant", "nutrient", "biological", "other"} {
		_, problems := hollow().Check(events.Draft{Type: "label.filed", Time: "2026-02-03", Data: canon.ObjectOf(
			canon.Member{Name: "product", Value: canon.Text("Brume 80")}, canon.Member{Name: "readBy", Value: canon.Text("P07")}, canon.Member{Name: "material", Value: canon.Text(material)})})
		var got []string
		for _, p := range problems {
			got = append(got, strings.TrimPrefix(p.Field, "data."))
		}
		want := ""
		if material == "pesticide" || material == "growth-regulator" {
			want = "registration activeIngredients crop withholding reentry"
		}
		if strings.Join(got, " ") != want {
			t.Errorf("%s: missing %v, want %s", material, got, want)
		}
	}
}

// Which records can be corrected, and which withdrawn: records.md, The ledger itself.
func TestCorrectable(t *testing.T) {
	t.Parallel()
	neither := "record.corrected record.withdrawn records.reviewed import.made report.issued drill.held evidence.given key.changed " +
		"ledger.restored ledger.moved access.granted access.viewed access.ended person.forgotten"
	correctedOnly := "farm.opened setting.adopted rule.adopted season.named"
	for _, k := range events.Standard().Kinds() {
		corrected, withdrawn := true, true
		switch {
		case strings.Contains(" "+neither+" ", " "+k.Name+" "):
			corrected, withdrawn = false, false
		case strings.Contains(" "+correctedOnly+" ", " "+k.Name+" "):
			withdrawn = false
		}
		if events.Correctable(k.Name) != corrected || events.Withdrawable(k.Name) != withdrawn {
			t.Errorf("%s: correctable %v, withdrawable %v; want %v, %v", k.Name, events.Correctable(k.Name), events.Withdrawable(k.Name), corrected, withdrawn)
		}
		if corrected {
			continue
		}
		refusedFor(t, events.Draft{Type: "record.corrected", Time: "2026-06-01", Data: canon.ObjectOf(
			canon.Member{Name: "record", Value: canon.Text(idA)}, canon.Member{Name: "follows", Value: canon.Text(idA)}, canon.Member{Name: "reason", Value: canon.Text("x")},
			canon.Member{Name: "type", Value: canon.Text(k.Type())}, canon.Member{Name: "data", Value: canon.ObjectOf(canon.Member{Name: "a", Value: canon.Num(1)})},
		)}, "data.type refuse.not-correctable")
	}
}

// FuzzCheck: whatever JSON somebody sends as data of any kind, the door answers with problems that can be said, or with bytes
// that it takes again unchanged.
func FuzzCheck(f *testing.F) {
	kinds := events.Standard().Kinds()
	for i, k := range kinds {
		if data := small[k.Name]; data != "" {
			f.Add(uint8(i), "2026-06-01", []byte(data))
		}
	}
	f.Add(uint8(0), "", []byte(`{"where":[{"block":"a","rows":[null,1,""],"share":{"value":1e400}}]}`))
	f.Fuzz(func(t *testing.T, kind uint8, at string, text []byte) {
		data, err := canon.Parse(text)
		if err != nil {
			return
		}
		k := kinds[int(kind)%len(kinds)]
		a, problems := hollow().Check(events.Draft{Type: k.Name, Time: at, Data: data})
		if len(problems) > 0 {
			for _, p := range problems {
				if p.Field == "" || p.Why.String() == "" || strings.Contains(p.Error(), "⟦") {
					t.Errorf("%s: a problem that cannot be said: %+v", text, p)
				}
			}
			return
		}
		b, problems := hollow().Check(a.Draft)
		if len(problems) > 0 || string(b.Data) != string(a.Data) || b.Draft.Time != a.Draft.Time {
			t.Errorf("%s %s: in normal form %s %s: got %s %s, %v", k.Name, text, a.Draft.Time, a.Data, b.Draft.Time, b.Data, problems)
		}
		if _, err := events.Standard().DecodeData(k.Name, k.Version, a.Data); err != nil {
			t.Errorf("%s %s: %v", k.Name, a.Data, err)
		}
	})
}
