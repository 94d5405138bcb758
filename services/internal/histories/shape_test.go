package histories

import (
	"fmt"
	"slices"
	"strings"

	"latewood/events"
	"latewood/events/canon"
	"latewood/events/civil"
	"latewood/events/units"
)

// others are the kinds that the maker has no words of its own for: their data is made up by their shape. Not among them is
// ledger.moved, behind which nothing comes, and what is said about records.
func others() []*events.Kind {
	own := append(strings.Fields("farm.opened record.corrected record.withdrawn ledger.moved"), kinds...)
	return slices.DeleteFunc(slices.Clone(events.Standard().Kinds()), func(k *events.Kind) bool { return slices.Contains(own, k.Name) })
}

// shaped makes data of a kind by its shape, and its time where no field tells it. Where fields hang together it tries until
// they fit; data that fits never is nil, and the test misses the kind.
func (m *maker) shaped(k *events.Kind) (any, string) {
	door := events.Door{Catalogue: events.Standard(), Farm: farm, Zone: m.zone}
	for range 200 {
		v, at := m.unchecked(k)
		if _, problems := door.Check(events.Draft{Type: k.Type(), Time: at, Data: v}); len(problems) == 0 {
			return v, at
		}
	}
	return nil, ""
}

func (m *maker) unchecked(k *events.Kind) (canon.Value, string) {
	v := m.object(k.Shape, k.Starts)
	if slices.ContainsFunc(k.TimeFrom, func(f string) bool { return v.Get(f).Kind != canon.Absent }) {
		return v, ""
	}
	if k.Starts != "" && v.Get(k.Starts).Kind != canon.Absent {
		return v, stamp(m.anyTime()) // behind all that start
	}
	return v, stamp(m.when())
}

// object makes an object. starts is the field that lies before all other times.
func (m *maker) object(s *events.Shape, starts string) canon.Value {
	v := canon.Value{Kind: canon.Object}
	must := map[string]bool{}
	for _, group := range s.OneOf {
		must[pick(m, group...)] = true
	}
	if !slices.ContainsFunc(s.Fields, func(f events.Field) bool { return f.Required }) {
		must[pick(m, s.Fields...).Name] = true // an empty object says nothing
	}
	for _, f := range s.Fields {
		if f.Required || must[f.Name] || m.chance(25) {
			v.Set(f.Name, m.field(f, starts))
		}
	}
	for _, given := range s.Given {
		if slices.Contains(given.Words, v.Get(given.Field).Str) {
			for _, name := range given.Require {
				if v.Get(name).Kind == canon.Absent {
					v.Set(name, m.field(*s.Field(name), starts))
				}
			}
		}
	}
	return v
}

// speaksOf is the kind of record that a field most often means.
var speaksOf = map[string]string{
	"pick": "fruit.picked", "picks": "fruit.picked", "picksTouched": "fruit.picked", "spray": "spray.applied", "label": "label.filed",
	"received": "fruit.received", "versionSeen": "record.corrected",
}

func (m *maker) field(f events.Field, starts string) canon.Value {
	early := f.Name == starts
	switch f.Name {
	case "block", "blocks":
		return m.listed(f.Shape, func() string { return pick(m, blocks...) })
	case "tree", "trees", "except":
		if f.Shape.Form == events.FormCode || f.Shape.Elem != nil {
			return m.listed(f.Shape, m.tree)
		}
	case "station":
		return canon.Text(pick(m, stations...))
	}
	if kind := speaksOf[f.Name]; kind != "" && m.chance(85) {
		if id := m.some(kind); id != "" && (f.Shape.Form == events.FormID || f.Shape.Elem != nil && f.Shape.Elem.Form == events.FormID) {
			return m.listed(f.Shape, func() string { return id })
		}
	}
	return m.value(f.Shape, early)
}

// listed makes a text, or a list of one or two where the shape wants one.
func (m *maker) listed(s *events.Shape, one func() string) canon.Value {
	if s.Elem == nil {
		return canon.Text(one())
	}
	items := []canon.Value{canon.Text(one())}
	if m.chance(30) {
		items = append(items, canon.Text(one()))
	}
	return canon.ListOf(items...)
}

func (m *maker) value(s *events.Shape, early bool) canon.Value {
	switch s.Form {
	case events.FormObject:
		return m.object(s, "")
	case events.FormList, events.FormOneOrMany:
		n := 1 + m.IntN(2)
		if s.Form == events.FormOneOrMany && n == 1 {
			return m.value(s.Elem, early)
		}
		items := make([]canon.Value, n)
		for i := range items {
			items[i] = m.value(s.Elem, early)
		}
		return canon.ListOf(items...)
	case events.FormQuantity:
		return m.quantity(s)
	case events.FormNumber, events.FormCount:
		low, high := 0.0, 90.0
		if s.Min != nil {
			low = *s.Min
		}
		if s.Max != nil {
			high = min(*s.Max, low+500)
		}
		return canon.Num(float64(int(low) + m.IntN(1+int(high-low))))
	case events.FormBool:
		return canon.Truth(m.chance(50))
	case events.FormAny:
		return canon.ObjectOf(canon.Member{Name: "a", Value: canon.Num(float64(m.IntN(9)))})
	case events.FormGeometry:
		return canon.ObjectOf(canon.Member{Name: "coordinates", Value: canon.ListOf(canon.Num(-155.1), canon.Num(19.6))}, canon.Member{Name: "type", Value: canon.Text("Point")})
	}
	if len(s.Enum) > 0 {
		return canon.Text(pick(m, s.Enum...))
	}
	return canon.Text(m.text(s.Form, early))
}

// quantity makes one within the limits of its dimension.
func (m *maker) quantity(s *events.Shape) canon.Value {
	d := pick(m, s.Dims...)
	code := pick(m, units.Codes(d)...)
	low, high := 0.0, 900.0
	least, most := s.Range(d)
	if least != nil && least.Unit != "" {
		low, _ = units.Convert(least.Value, least.Unit, code)
		high = low + 90
	}
	if most != nil {
		high, _ = units.Convert(most.Value, most.Unit, code)
	}
	// Inside the limits by a tenth of the span, so that rounding does not carry it over them.
	value := low + (high-low)*(0.1+0.8*m.Float64())
	return canon.ObjectOf(canon.Member{Name: "value", Value: canon.Num(float64(int64(value*1000)) / 1000)}, canon.Member{Name: "unit", Value: canon.Text(code)})
}

func (m *maker) text(f events.Form, early bool) string {
	at := m.when()
	if early { // a year before all that ends
		at = at.AddDate(-4, 0, 0)
	}
	switch f {
	case events.FormCode:
		return pick(m, "pond", "shed", "well-2")
	case events.FormLabel:
		return m.row()
	case events.FormLot:
		return pick(m, "L26-014", "L26-015", "D/1", "D2")
	case events.FormID:
		return m.anyRecord()
	case events.FormPerson:
		return pick(m, people...)
	case events.FormSHA256:
		return strings.Repeat(pick(m, "0", "a"), 64)
	case events.FormBase64:
		return "47DEQpj8HBSa+/TImW+5JCeuQeRkm5NMpJWZG3hSuFU="
	case events.FormGLN:
		return "9506000134352"
	case events.FormGTIN:
		return "09506000134352"
	case events.FormZone:
		return m.zone.String()
	case events.FormDate, events.FormPartial:
		return civil.DateOf(at, m.zone).String()
	case events.FormMoment:
		return m.mom(at)
	case events.FormInstant:
		return stamp(at)
	case events.FormSeason:
		return pick(m, "2022", "2023", "2022/23")
	case events.FormChain:
		return pick(m, "farm", "inputs/north", "lot/L26-014", "picks/south")
	case events.FormCurrency:
		return "USD"
	}
	return fmt.Sprint("words ", m.IntN(5))
}

// anyRecord is the id of any record: most often of one that a reference can well mean.
func (m *maker) anyRecord() string {
	for _, kind := range []string{"fruit.picked", "spray.applied", "label.filed"} {
		if id := m.some(kind); id != "" && m.chance(40) {
			return id
		}
	}
	return pick(m, m.entries...).id.String()
}

// value is data in the form that drafts have, whether it was made by hand or by its shape.
func value(data any) canon.Value {
	if v, ok := data.(canon.Value); ok {
		return v
	}
	return events.Encode(data)
}
