package events_test

import (
	"encoding/base64"
	"encoding/hex"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"golang.org/x/text/unicode/norm"
	"pgregory.net/rapid"

	"latewood/events"
	"latewood/events/canon"
	"latewood/events/civil"
	"latewood/events/units"
)

// hollow is the door of the invented farm Tern Hollow, in Hawaii, where clocks never move.
func hollow() *events.Door { return doorIn("Pacific/Honolulu") }

func doorIn(zone string) *events.Door {
	loc, err := civil.Zone(zone)
	if err != nil {
		panic(err)
	}
	return &events.Door{Catalogue: events.Standard(), Farm: "tern-hollow", Zone: loc}
}

// enter checks a draft that must be good.
func enter(t testing.TB, d *events.Door, draft events.Draft) events.Accepted {
	t.Helper()
	a, problems := d.Check(draft)
	if len(problems) > 0 {
		t.Fatalf("%s refused: %v\n%s", draft.Type, problems, canon.Bytes(draft.Data))
	}
	return a
}

func parse(t testing.TB, text string) canon.Value {
	t.Helper()
	v, err := canon.Parse([]byte(text))
	if err != nil {
		t.Fatalf("%s: %v", text, err)
	}
	return v
}

// A gen makes values that a shape takes. full puts every field in, and one item into every list; else they come and go.
type gen struct {
	t    *rapid.T
	full bool
	// early is the field that starts a kind: it lies before all other times.
	early string
}

func (g gen) coin() bool { return g.full || rapid.Bool().Draw(g.t, "there") }

func pick[T any](g gen, from ...T) T { return rapid.SampledFrom(from).Draw(g.t, "pick") }

func (g gen) number(low, high int) int { return rapid.IntRange(low, high).Draw(g.t, "number") }

// object makes an object of a shape's fields.
func (g gen) object(s *events.Shape) canon.Value {
	v := canon.Value{Kind: canon.Object}
	must := map[string]bool{}
	for _, group := range s.OneOf {
		must[pick(g, group...)] = true
	}
	if len(s.Fields) > 0 && !slices.ContainsFunc(s.Fields, func(f events.Field) bool { return f.Required }) {
		must[pick(g, s.Fields...).Name] = true // an empty object says nothing
	}
	for _, f := range s.Fields {
		if f.Required || must[f.Name] || g.coin() {
			v.Members = append(v.Members, canon.Member{Name: f.Name, Value: g.field(f)})
		}
	}
	for _, given := range s.Given {
		if slices.Contains(given.Words, v.Get(given.Field).Str) {
			for _, name := range given.Require {
				if v.Get(name).Kind == canon.Absent {
					v.Set(name, g.field(*s.Field(name)))
				}
			}
		}
	}
	g.related(&v, s)
	return v
}

// related brings what fields say together into the order that the door wants.
func (g gen) related(v *canon.Value, s *events.Shape) {
	fixed := map[string]bool{}
	for _, names := range s.Order {
		for i := 1; i < len(names); i++ {
			a, b := names[i-1], names[i]
			switch {
			case strings.Contains(a+b, "."): // the ends of parts: at the start is no earlier
				if list, member, ok := strings.Cut(b, "."); ok {
					parts := v.Get(list)
					each := func(p *canon.Value) {
						if p.Get(member).Kind != canon.Absent {
							p.Set(member, v.Get(names[0]))
						}
					}
					if parts.Kind == canon.Object {
						each(&parts)
					}
					for k := range parts.Items {
						each(&parts.Items[k])
					}
					v.Set(list, parts)
				}
			case s.Field(a).Shape.Form == events.FormList:
				v.Drop(a)
			case v.Get(a).Kind == canon.Absent || v.Get(b).Kind == canon.Absent:
			case fixed[b]:
				v.Set(a, v.Get(b))
			default:
				v.Set(b, v.Get(a))
				fixed[a], fixed[b] = true, true
			}
		}
	}
	for _, names := range s.Sums {
		sum := 0.0
		for _, name := range names[1:] {
			sum += v.Get(name).Num
		}
		if v.Get(names[0]).Kind == canon.Number {
			v.Set(names[0], canon.Num(sum))
			if sum > 1<<53-1 {
				v.Drop(names[0])
			}
		}
	}
	for _, names := range s.Apart {
		if v.Get(names[0]).Kind != canon.Absent {
			v.Set(names[0], canon.Text("another"))
		}
	}
}

func (g gen) field(f events.Field) canon.Value {
	switch f.Shape.Form {
	case events.FormMoment, events.FormInstant, events.FormDate, events.FormPartial:
		if f.Name == g.early {
			return canon.Text(g.when(f.Shape.Form, 2000))
		}
	}
	return g.value(f.Shape)
}

// when makes a time of ten years, in the form that records keep it.
func (g gen) when(form events.Form, from int) string {
	day := civil.Date{Year: from + g.number(0, 9), Month: time.Month(g.number(1, 12)), Day: g.number(1, 28)}.String()
	if form == events.FormMoment && rapid.Bool().Draw(g.t, "a date only") {
		form = events.FormDate
	}
	switch form {
	case events.FormDate:
		return day
	case events.FormPartial:
		return day[:pick(g, 4, 7, 10)]
	}
	return fmt.Sprintf("%sT%02d:%02d:%02d%s%s", day, g.number(0, 23), g.number(0, 59), g.number(0, 59), pick(g, "", "", ".5", ".125"), pick(g, "-10:00", "Z", "+05:30"))
}

func (g gen) value(s *events.Shape) canon.Value {
	switch s.Form {
	case events.FormObject:
		return g.object(s)
	case events.FormList, events.FormOneOrMany:
		n := 1
		if !g.full {
			n = g.number(1, 3)
		}
		if s.Form == events.FormOneOrMany && n == 1 {
			return g.value(s.Elem)
		}
		v := canon.Value{Kind: canon.List}
		for range n {
			v.Items = append(v.Items, g.value(s.Elem))
		}
		return v
	case events.FormQuantity:
		return g.quantity(s)
	case events.FormNumber:
		low, high := -1000.0, 1000.0
		if s.Min != nil {
			low = *s.Min
		}
		if s.Max != nil {
			high = *s.Max
		}
		return canon.Num(rapid.Float64Range(low, high).Draw(g.t, "number"))
	case events.FormCount:
		least := int64(0)
		if s.Positive {
			least = 1
		}
		return canon.Num(float64(rapid.OneOf(rapid.Int64Range(least, 500), rapid.Int64Range(least, 1<<53-1)).Draw(g.t, "count")))
	case events.FormBool:
		return canon.Truth(rapid.Bool().Draw(g.t, "bool"))
	case events.FormAny:
		return g.any(2)
	case events.FormMoment, events.FormInstant, events.FormDate, events.FormPartial:
		return canon.Text(g.when(s.Form, 2010))
	case events.FormGeometry:
		return canon.ObjectOf(canon.Member{Name: "coordinates", Value: canon.ListOf(canon.Num(-155.1), canon.Num(19.6))}, canon.Member{Name: "type", Value: canon.Text("Point")})
	}
	if len(s.Enum) > 0 {
		return canon.Text(pick(g, s.Enum...))
	}
	return canon.Text(g.text(s.Form))
}

func (g gen) bytes(n int) []byte { return rapid.SliceOfN(rapid.Byte(), n, n).Draw(g.t, "bytes") }

func (g gen) id() events.ID {
	return events.NewID(int64(g.number(1, 1<<40)), [10]byte(g.bytes(10)))
}

func (g gen) text(f events.Form) string {
	free := rapid.StringOf(rapid.SampledFrom([]rune("abcXYZ 019-.,\"\\/\n\té‘€\u0301😀"))).Filter(func(s string) bool {
		return norm.NFC.String(strings.TrimSpace(s)) != "" && norm.NFC.IsNormalString(strings.TrimSpace(s))
	})
	switch f {
	case events.FormText:
		return free.Draw(g.t, "text")
	case events.FormName:
		return strings.TrimSpace(free.Draw(g.t, "name"))
	case events.FormLabel:
		return rapid.StringMatching(`[0-9A-Za-zé#/][0-9A-Za-z é]{0,10}[a-z0-9]`).Draw(g.t, "label")
	case events.FormCode:
		return rapid.StringMatching(`[a-z0-9]([a-z0-9-]{0,30}[a-z0-9])?`).Draw(g.t, "code")
	case events.FormLot:
		return rapid.StringMatching(`[A-Za-z0-9!"%&'()*+,./:;<=>?_-]{1,20}`).Draw(g.t, "lot")
	case events.FormID:
		return g.id().String()
	case events.FormPerson:
		return events.NewPseudonym([16]byte(g.bytes(16)))
	case events.FormSHA256:
		return hex.EncodeToString(g.bytes(32))
	case events.FormBase64:
		return base64.StdEncoding.EncodeToString(g.bytes(32))
	case events.FormGLN:
		body := rapid.StringMatching(`[0-9]{12}`).Draw(g.t, "gln")
		for c := '0'; c <= '9'; c++ {
			sum := 0
			for i, d := range body + string(c) {
				sum += int(d-'0') * (1 + i%2*2)
			}
			if sum%10 == 0 {
				return body + string(c)
			}
		}
	case events.FormGTIN:
		return pick(g, "12345670", "012345678905", "9506000134352", "09506000134352")
	case events.FormZone:
		return pick(g, "Pacific/Honolulu", "America/New_York", "Australia/Lord_Howe", "UTC")
	case events.FormSeason:
		return pick(g, "2026", "2025/26", "1999/00", "0001")
	case events.FormChain:
		return pick(g, "farm", "inputs/north", "lot/L%2F17", "spray/017f22e2-79b0-7cc3-98c4-dc0c0c07398f")
	case events.FormCurrency:
		return pick(g, "USD", "AUD", "THB")
	}
	panic("no text of form " + string(f))
}

// quantity makes one within the limits of its dimension.
func (g gen) quantity(s *events.Shape) canon.Value {
	d := pick(g, s.Dims...)
	code := pick(g, units.Codes(d)...)
	low, high := 0.0, 900.0
	least, most := s.Range(d)
	if least != nil && least.Unit != "" {
		low, _ = units.Convert(least.Value, least.Unit, code)
		high = low + 400
	}
	if most != nil {
		high, _ = units.Convert(most.Value, most.Unit, code)
	}
	// Three decimals, as people write them; the shortest text then reads back as the same double.
	f := rapid.Float64Range(low, high).Draw(g.t, "value")
	n := int64(f * 1000)
	if s.Positive {
		n = max(n, 1)
	}
	return canon.ObjectOf(canon.Member{Name: "value", Value: canon.Num(float64(n) / 1000)}, canon.Member{Name: "unit", Value: canon.Text(code)})
}

func (g gen) any(depth int) canon.Value {
	switch g.number(1, 3+min(depth, 1)*2) {
	case 1:
		return canon.Num(float64(g.number(-1000, 1000)) / 8)
	case 2:
		return canon.Text(g.text(events.FormText))
	case 3:
		return canon.Truth(rapid.Bool().Draw(g.t, "bool"))
	case 4:
		return canon.ListOf(g.any(depth-1), g.any(depth-1))
	}
	return canon.ObjectOf(canon.Member{Name: "a", Value: g.any(depth - 1)}, canon.Member{Name: "é", Value: g.any(depth - 1)})
}

// draft makes a good draft of a kind.
func (g gen) draft(k *events.Kind) events.Draft {
	g.early = k.Starts
	d := events.Draft{Type: k.Type()}
	switch k.Name {
	case "record.corrected":
		var inner []*events.Kind
		for _, k := range events.Standard().Kinds() {
			if events.Correctable(k.Name) {
				inner = append(inner, k)
			}
		}
		in := pick(g, inner...)
		id := g.text(events.FormID)
		d.Data = canon.ObjectOf(
			canon.Member{Name: "record", Value: canon.Text(id)}, canon.Member{Name: "follows", Value: canon.Text(id)},
			canon.Member{Name: "reason", Value: canon.Text("typed wrong")}, canon.Member{Name: "type", Value: canon.Text(in.Type())},
			canon.Member{Name: "data", Value: g.draft(in).Data})
		if len(in.TimeFrom) == 0 && g.coin() {
			d.Data.Set("time", canon.Text(g.when(events.FormInstant, 2010)))
		}
	default:
		d.Data = g.object(k.Shape)
	}
	if !slices.ContainsFunc(k.TimeFrom, func(f string) bool { return d.Data.Get(f).Kind != canon.Absent }) {
		d.Time = g.when(events.FormInstant, 2010)
	}
	if g.coin() {
		d.Actor = g.text(events.FormPerson)
	}
	if g.coin() {
		d.NotedTime = g.when(events.FormInstant, 2020)
	}
	if g.coin() {
		d.DeviceTime = g.when(events.FormInstant, 2020) + " " + g.when(events.FormInstant, 2020)
	}
	if g.coin() {
		d.ID = g.id().String()
	}
	if g.coin() {
		d.Source = "/farms/" + g.text(events.FormCode) + "/" + pick(g, "cli", "import", "mqtt-mauka")
	}
	return d
}
