package events_test

import (
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"

	"latewood/events"
	"latewood/events/canon"
)

// walk visits every shape of a kind with its path.
func walk(s *events.Shape, path string, visit func(path string, s *events.Shape)) {
	visit(path, s)
	for _, f := range s.Fields {
		walk(f.Shape, path+"."+f.Name, visit)
	}
	if s.Elem != nil {
		walk(s.Elem, path+"[]", visit)
	}
}

// The tags of the data types name fields, forms and limits that there are.
func TestShapes(t *testing.T) {
	t.Parallel()
	forms := []events.Form{
		events.FormText, events.FormName, events.FormCode, events.FormLabel, events.FormLot, events.FormID, events.FormPerson, events.FormSHA256, events.FormBase64,
		events.FormGLN, events.FormGTIN, events.FormZone, events.FormDate, events.FormPartial, events.FormMoment, events.FormInstant, events.FormSeason, events.FormType, events.FormChain,
		events.FormCurrency, events.FormCount, events.FormNumber, events.FormBool, events.FormQuantity, events.FormObject, events.FormList, events.FormOneOrMany,
		events.FormAny, events.FormGeometry, events.FormData,
	}
	n, related := 0, 0
	for _, k := range events.Standard().Kinds() {
		if noun, verb, ok := strings.Cut(k.Name, "."); !ok || !events.IsCode(noun) || !events.IsCode(verb) {
			t.Errorf("%s: a kind is named noun.past-tense", k.Name)
		}
		for _, name := range append(slices.Clone(k.TimeFrom), k.Starts) {
			if f := k.Shape.Field(name); name != "" && (f == nil || !slices.Contains([]events.Form{events.FormDate, events.FormPartial, events.FormMoment}, f.Shape.Form)) {
				t.Errorf("%s: %s gives no time", k.Name, name)
			}
		}
		for _, common := range []string{"by", "note", "attachments"} {
			if k.Shape.Field(common) == nil {
				t.Errorf("%s has no field %s", k.Name, common)
			}
		}
		walk(k.Shape, k.Name, func(path string, s *events.Shape) {
			n++
			if !slices.Contains(forms, s.Form) {
				t.Errorf("%s: form %q is none", path, s.Form)
			}
			names := map[string]bool{}
			for _, f := range s.Fields {
				if names[f.Name] {
					t.Errorf("%s.%s stands twice", path, f.Name)
				}
				names[f.Name] = true
			}
			for _, group := range s.OneOf {
				for _, name := range group {
					if f := s.Field(name); f == nil || f.Required {
						t.Errorf("%s: one of %v: %s is no field, or must stand anyway", path, group, name)
					}
				}
			}
			for _, g := range s.Given {
				f := s.Field(g.Field)
				if f == nil || len(g.Words) == 0 || len(g.Require) == 0 {
					t.Errorf("%s: given %+v says nothing", path, g)
					continue
				}
				for _, w := range g.Words {
					if !slices.Contains(f.Shape.Enum, w) {
						t.Errorf("%s: given %s: %s is no word of it", path, g.Field, w)
					}
				}
				for _, name := range g.Require {
					if r := s.Field(name); r == nil || r.Required {
						t.Errorf("%s: given %s: %s is no field, or must stand anyway", path, g.Field, name)
					}
				}
			}
			relations := 0
			for _, names := range slices.Concat(s.Order, s.Sums, s.Apart) {
				relations++
				for _, name := range names {
					at := s
					for part := range strings.SplitSeq(name, ".") {
						for at != nil && at.Elem != nil {
							at = at.Elem
						}
						f := at.Field(part)
						if f == nil {
							t.Fatalf("%s: %v: %s is no field", path, names, name)
						}
						at = f.Shape
					}
				}
				if len(names) < 2 {
					t.Errorf("%s: %v relates nothing", path, names)
				}
			}
			related += relations
			for _, d := range s.Dims {
				low, high := s.Range(d)
				if low == nil || high != nil && low.Unit != "" && low.Value >= high.Value {
					t.Errorf("%s: limits of %s: %v to %v", path, d, low, high)
				}
			}
		})
	}
	if len(events.Standard().Kinds()) < 88 {
		t.Errorf("kinds are gone: %d", len(events.Standard().Kinds()))
	}
	t.Logf("counts: %d kinds, %d shapes, %d relations of fields", len(events.Standard().Kinds()), n, related)
}

// What must stand in each kind: the bold fields of records.md, "a|b" where one of two must. Ours to add where the program
// itself writes the record, or the record would say nothing: import.made, report.issued, evidence.given, drill.held,
// ledger.restored and their like. What is held, released or treated may be a load as well as a lot. Of "x or y" that is not
// bold one must stand where the fruit or the place would be unknown without (fruit.sold, incident.reported).
var mustStand = map[string]string{
	"farm.opened":        "name zone latitude longitude",
	"setting.adopted":    "name value from",
	"block.established":  "block name area",
	"block.changed":      "block from",
	"block.redrawn":      "from into date",
	"tree.planted":       "tree block cultivar planted",
	"tree.seen":          "where condition",
	"tree.measured":      "where",
	"tree.moved":         "moves",
	"tree.topworked":     "where cultivar",
	"tree.removed":       "where",
	"station.sited":      "station latitude longitude",
	"tree.pruned":        "where cut",
	"flush.seen":         "where stage",
	"bloom.seen":         "where stage|bbchCode",
	"crop.assessed":      "where crop method",
	"label.filed":        "product material readBy",
	"label.closed":       "label reason",
	"spray.planned":      "where from mix",
	"spray.begun":        "where started",
	"spray.called-off":   "where plan|begun reason",
	"spray.applied":      "where started ended mix target|purpose applicator",
	"hold.judged":        "where spray words from|growthStage",
	"fruit.picked":       "where mass|containers",
	"harvest.closed":     "where date",
	"fruit.set":          "where",
	"crop.thinned":       "where what",
	"damage.seen":        "where cause",
	"pest.scouted":       "where target method decision",
	"tree.girdled":       "where",
	"ground.worked":      "where what",
	"protection.placed":  "where kind",
	"protection.removed": "where kind",
	"hives.placed":       "where hives",
	"hives.removed":      "where hives",
	"sample.tested":      "material where|lot|source sampled results",
	"spray.posted":       "spray place from",
	"entry.made":         "where who from until",
	"exposure.reported":  "who when",
	"nutrient.applied":   "where material total",
	"water.applied":      "where",
	"water.withheld":     "where from",
	"fruit.delivered":    "delivery picks recipient date",
	"delivery.answered":  "delivery outcome",
	"packout.reported":   "deliveries delivered",
	"fruit.received":     "delivery source sourceCovered date commodity amount",
	"pick.cooled":        "picks date",
	"bin.emptied":        "bins",
	"lot.packed":         "lot inputs product packed date location",
	"lot.repacked":       "lot inputs product packed date location",
	"lot.treated":        "lot|delivery treatment",
	"lot.received":       "lot amount date",
	"lot.shipped":        "lot amount recipient date",
	"lot.rejected":       "lot|lots recipient|from reason",
	"lot.returned":       "lot|lots recipient|from reason",
	"lot.recalled":       "lot|lots recipient|from reason",
	"lot.held":           "lot|delivery reason",
	"lot.released":       "lot|delivery basis answers",
	"fruit.sold":         "channel picks|lot|where",
	"lot.written-off":    "lot|picks amount reason",
	"stock.counted":      "location items",
	"training.given":     "date kind topics trained",
	"water.assessed":     "source systems factors outcome",
	"tool.cleaned":       "what method",
	"check.made":         "checklist items",
	"room.read":          "room",
	"incident.reported":  "what from where|location",
	"visit.made":         "who from",
	"document.filed":     "kind about",
	"exemption.claimed":  "rule",
	"weather.doubted":    "from reason station to",
	"weather.read": "station airTemperature|airTemperatureMin|airTemperatureMax|relativeHumidity|wetBulb|windSpeed|windGust|windDirection|rain|" +
		"rainTrace|solarRadiation|leafWetness|soilTemperature",
	"record.corrected": "record type follows reason data",
	"record.withdrawn": "record follows reason",
	"records.reviewed": "records|span reviewer",
	"import.made":      "file rows recorded refused",
	"rule.adopted":     "name rule hash from",
	"season.named":     "season from to",
	"report.issued":    "kind hash size root",
	"drill.held":       "of started ended",
	"evidence.given":   "for heads size",
	"key.changed":      "oldKey newKey",
	"ledger.restored":  "sealedSize salvaged lost",
	"ledger.moved":     "to",
	"access.granted":   "grant",
	"access.viewed":    "grant",
	"access.ended":     "grant",
	"person.forgotten": "who",
}

func TestMustStand(t *testing.T) {
	t.Parallel()
	for _, k := range events.Standard().Kinds() {
		want := strings.Fields(mustStand[k.Name])
		var got []string
		for _, f := range k.Shape.Fields {
			if f.Required {
				got = append(got, f.Name)
			}
		}
		for _, group := range k.Shape.OneOf {
			got = append(got, strings.Join(group, "|"))
		}
		slices.Sort(want)
		slices.Sort(got)
		if !slices.Equal(got, want) {
			t.Errorf("%s: got %v, want %v", k.Name, got, want)
		}
	}
}

// A test-only catalogue: a kind of the moon, whose second version tells brightness as a share where the first told tenths.
type moonRisen struct {
	events.Common
	Name       string          `json:"name" is:"name,required"`
	Brightness events.Quantity `json:"brightness" is:"quantity,required" dim:"share"`
}

func moonUp(data []byte) ([]byte, error) {
	v, err := canon.Parse(data)
	if err != nil {
		return nil, err
	}
	tenths := v.Get("tenths")
	if tenths.Kind != canon.Number {
		return nil, errors.New("no tenths")
	}
	v.Drop("tenths")
	v.Set("brightness", canon.ObjectOf(canon.Member{Name: "value", Value: canon.Num(tenths.Num * 10)}, canon.Member{Name: "unit", Value: canon.Text("%")}))
	return canon.Bytes(v), nil
}

// second is the standard catalogue with a version 2 of an invented kind.
func second(t testing.TB) *events.Catalogue {
	t.Helper()
	none := func(events.ID, canon.Value) []string { return nil }
	c, err := events.NewCatalogue(append(slices.Clone(events.Standard().Kinds()), events.NewKind[moonRisen]("moon.risen", 2, none, "")),
		append(events.Standard().Steps(), events.Step{Kind: "moon.risen", From: 1, Up: moonUp}))
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func TestUpcast(t *testing.T) {
	t.Parallel()
	c := second(t)
	for version, data := range map[int]string{
		1: `{"name":"harvest moon","note":"clear","tenths":7.5}`,
		2: `{"brightness":{"unit":"%","value":75},"name":"harvest moon","note":"clear"}`,
	} {
		got, err := c.DecodeData("moon.risen", version, []byte(data))
		if err != nil {
			t.Fatal(err)
		}
		m := got.(*moonRisen)
		if m.Name != "harvest moon" || m.Note != "clear" || m.Brightness != (events.Quantity{Value: 75, Unit: "%"}) {
			t.Errorf("version %d: got %+v", version, m)
		}
		// Run twice, a step gives the same: it looks at nothing but its input.
		k := c.Kind("moon.risen")
		a, err1 := c.Upcast(k, version, []byte(data))
		b, err2 := c.Upcast(k, version, []byte(data))
		if err1 != nil || err2 != nil || string(a) != string(b) {
			t.Errorf("version %d: a step is not pure: %s, %s, %v, %v", version, a, b, err1, err2)
		}
	}
	if _, err := c.DecodeData("moon.risen", 1, []byte(`{"name":"x"}`)); err == nil || !strings.Contains(err.Error(), "moon.risen from version 1 to 2") {
		t.Errorf("a step that fails: got %v", err)
	}
	if _, err := c.DecodeData("moon.risen", 3, []byte(`{}`)); !errors.Is(err, events.ErrNewerVersion) {
		t.Errorf("a newer version: got %v", err)
	}
	// An old version comes in as it stands; a newer one than anybody knows does not.
	door := hollow()
	door.Catalogue = c
	if a := enter(t, door, events.Draft{Type: "moon.risen.v1", Time: "2026-09-26", Data: parse(t, `{"name":"x","tenths":1}`)}); a.Draft.Type != "moon.risen.v1" || string(a.Data) != `{"name":"x","tenths":1}` {
		t.Errorf("an old version at the door: got %s %s", a.Draft.Type, a.Data)
	}
	_, problems := door.Check(events.Draft{Type: "moon.risen.v3", Time: "2026-09-26", Data: parse(t, `{"name":"x"}`)})
	if len(problems) != 1 || problems[0].Why.Key != "refuse.version" || !strings.Contains(problems.Error(), "moon.risen.v2") {
		t.Errorf("a newer version at the door: got %v", problems)
	}
	if a := enter(t, door, events.Draft{Type: "moon.risen", Time: "2026-09-26", Data: parse(t, `{"name":"x","brightness":{"value":10,"unit":"%"}}`)}); a.Draft.Type != "moon.risen.v2" {
		t.Errorf("without a version: got %s", a.Draft.Type)
	}
}

func TestNewCatalogueRefuses(t *testing.T) {
	t.Parallel()
	none := func(events.ID, canon.Value) []string { return nil }
	moon := func(version int) *events.Kind { return events.NewKind[moonRisen]("moon.risen", version, none, "") }
	step := func(from int) events.Step { return events.Step{Kind: "moon.risen", From: from, Up: moonUp} }
	type sun struct{ events.Common }
	for _, tc := range []struct {
		name  string
		kinds []*events.Kind
		steps []events.Step
		want  string
	}{
		{"a kind twice", []*events.Kind{moon(1), moon(1)}, nil, "twice"},
		{"a type twice", []*events.Kind{moon(1), events.NewKind[moonRisen]("moon.set", 1, none, "")}, nil, "one data type"},
		{"version 0", []*events.Kind{moon(0)}, nil, "version 0"},
		{"no step", []*events.Kind{moon(2)}, nil, "no step of moon.risen from version 1"},
		{"a gap", []*events.Kind{moon(4)}, []events.Step{step(1), step(3)}, "no step of moon.risen from version 2"},
		{"the first missing", []*events.Kind{moon(3)}, []events.Step{step(2)}, "no step of moon.risen from version 1"},
		{"a step twice", []*events.Kind{moon(2)}, []events.Step{step(1), step(1)}, "twice"},
		{"an empty step", []*events.Kind{moon(2)}, []events.Step{{Kind: "moon.risen", From: 1}}, "empty"},
		{"a step too far", []*events.Kind{moon(2)}, []events.Step{step(1), step(2)}, "from version 2"},
		{"a step from version 0", []*events.Kind{moon(2)}, []events.Step{step(0), step(1)}, "from version 0"},
		{"a step of no kind", []*events.Kind{events.NewKind[sun]("sun.risen", 1, none, "")}, []events.Step{step(1)}, "no kind"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			if _, err := events.NewCatalogue(tc.kinds, tc.steps); err == nil || !strings.Contains(err.Error(), tc.want) {
				t.Errorf("got %v, want an error with %q", err, tc.want)
			}
		})
	}
	if _, err := events.NewCatalogue([]*events.Kind{moon(3)}, []events.Step{step(2), step(1)}); err != nil {
		t.Errorf("steps in any order: %v", err)
	}
}

// A slip in a data type's tags stops the first test that builds the catalogue.
func TestNewKindPanics(t *testing.T) {
	t.Parallel()
	none := func(events.ID, canon.Value) []string { return nil }
	for name, build := range map[string]func(){
		"no json name": func() {
			type bad struct{ A string }
			events.NewKind[bad]("a.b", 1, none, "")
		},
		"unknown option": func() {
			type bad struct {
				A string `json:"a" is:"text,must"`
			}
			events.NewKind[bad]("a.b", 1, none, "")
		},
		"unknown form": func() {
			type bad struct {
				A string `json:"a" is:"txt"`
			}
			events.NewKind[bad]("a.b", 1, none, "")
		},
		"quantity without dimension": func() {
			type bad struct {
				A *events.Quantity `json:"a"`
			}
			events.NewKind[bad]("a.b", 1, none, "")
		},
		"limit that is no number": func() {
			type bad struct {
				A float64 `json:"a" min:"low"`
			}
			events.NewKind[bad]("a.b", 1, none, "")
		},
		"limit of another dimension": func() {
			type bad struct {
				A *events.Quantity `json:"a" dim:"length" min:"-1 kg"`
			}
			events.NewKind[bad]("a.b", 1, none, "")
		},
		"above what is not zero": func() {
			type bad struct {
				A float64 `json:"a" above:"1"`
			}
			events.NewKind[bad]("a.b", 1, none, "")
		},
		"a type without a form": func() {
			type bad struct {
				A map[string]string `json:"a"`
			}
			events.NewKind[bad]("a.b", 1, none, "")
		},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			defer func() {
				if recover() == nil {
					t.Error("no panic")
				}
			}()
			build()
		})
	}
}

func TestKindOf(t *testing.T) {
	t.Parallel()
	c := events.Standard()
	for _, data := range []any{events.FruitPicked{}, &events.FruitPicked{}} {
		if k := c.KindOf(data); k == nil || k.Name != "fruit.picked" || k.Type() != "fruit.picked.v1" {
			t.Errorf("KindOf(%T): got %v", data, k)
		}
	}
	for _, data := range []any{nil, 3, moonRisen{}, &events.Part{}} {
		if k := c.KindOf(data); k != nil {
			t.Errorf("KindOf(%T): got %s", data, k.Name)
		}
	}
	if c.Kind("moon.risen") != nil {
		t.Error("a kind that is none")
	}
	if got := fmt.Sprintf("%T", c.Kind("fruit.picked").New()); got != "*events.FruitPicked" {
		t.Errorf("New: got %s", got)
	}
}

func TestSplitType(t *testing.T) {
	t.Parallel()
	for text, want := range map[string]string{
		"spray.applied.v1": "spray.applied 1 true", "a.v12": "a 12 true", "a.v1.v2": "a.v1 2 true",
		"": " 0 false", "spray.applied": " 0 false", ".v1": " 0 false", "a.v": " 0 false", "a.v0": " 0 false", "a.v01": " 0 false", "a.v+1": " 0 false",
		"a.v-1": " 0 false", "a.v1x": " 0 false", "a.v99999999999999999999": " 0 false",
	} {
		kind, version, ok := events.SplitType(text)
		if got := fmt.Sprint(kind, " ", version, " ", ok); got != want {
			t.Errorf("SplitType(%q): got %s, want %s", text, got, want)
		}
	}
}

// The one JSON codec of the program writes and reads what the standard library does.
func TestJSON(t *testing.T) {
	t.Parallel()
	in := map[string]any{"b": 1.5, "a": []any{"x", nil, true}, "é": map[string]any{"z": 1e21, "y": "<&>\u2028"}}
	got, err := events.WriteJSON(in)
	if err != nil {
		t.Fatal(err)
	}
	again, err := events.WriteJSON(in)
	if err != nil || string(again) != string(got) {
		t.Errorf("twice: %s and %s, %v", got, again, err)
	}
	var a, b any
	if err := events.ReadJSON(got, &a); err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(got, &b); err != nil || fmt.Sprint(a) != fmt.Sprint(b) || fmt.Sprint(a) != fmt.Sprint(in) {
		t.Errorf("got %v, the standard library %v (%v), want %v", a, b, err, in)
	}
	var o struct {
		Many events.OneOrMany[events.Part] `json:"many"`
	}
	for text, want := range map[string]int{`{"many":{"block":"a"}}`: 1, `{"many": [{"block":"a"},{"block":"b"}]}`: 2, `{}`: 0} {
		o.Many = nil
		if err := events.ReadJSON([]byte(text), &o); err != nil || len(o.Many) != want {
			t.Errorf("%s: got %v, %v", text, o.Many, err)
		}
	}
	if err := events.ReadJSON([]byte(`{"many":3}`), &o); err == nil {
		t.Error("a number for a part: no error")
	}
}
