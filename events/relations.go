package events

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"latewood/events/canon"
	"latewood/events/civil"
	"latewood/events/units"
)

// relations looks at what fields of one object say together: what ends does not end before it began, parts are not more
// than their whole, and what is made is not made of itself. It is asked only where each field is right by itself.
//
// Nothing is refused here that could have happened: a pick inside an interval, more packed than picked, a reading that
// leaps are told as flags, by folds that see other records too.
func (c *check) relations(v canon.Value, s *Shape, path string) {
	for _, names := range s.Order {
		for i := 1; i < len(names); i++ {
			c.ordered(v, s, path, names[i-1], names[i])
		}
	}
	for _, names := range s.Sums {
		c.summed(v, path, names[0], names[1:])
	}
	for _, names := range s.Apart {
		for _, one := range reached(v, s, path, names[0]) {
			for _, other := range reached(v, s, path, names[1]) {
				if one.value.Str == other.value.Str {
					c.add(other.path, other.value.Str, say("refuse.same", "field", one.path), say("refuse.same-instead"))
				}
			}
		}
	}
}

// reach is a value that stands at some depth of an object.
type reach struct {
	value canon.Value
	shape *Shape
	path  string
}

// reached lists what stands at a name with dots; below a list it is in each item.
func reached(v canon.Value, s *Shape, path, name string) []reach {
	if s.Elem != nil {
		if v.Kind != canon.List {
			return reached(v, s.Elem, path, name)
		}
		var out []reach
		for i, item := range v.Items {
			out = append(out, reached(item, s.Elem, fmt.Sprintf("%s[%d]", path, i), name)...)
		}
		return out
	}
	if name == "" {
		return []reach{{v, s, path}}
	}
	first, rest, _ := strings.Cut(name, ".")
	f, member := s.Field(first), v.Get(first)
	if f == nil || member.Kind == canon.Absent {
		return nil
	}
	return reached(member, f.Shape, path+"."+first, rest)
}

// ordered refuses a later value that lies before an earlier one.
func (c *check) ordered(v canon.Value, s *Shape, path, earlier, later string) {
	for _, a := range reached(v, s, path, earlier) {
		for _, b := range reached(v, s, path, later) {
			switch a.shape.Form {
			case FormQuantity:
				low, err1 := units.Base(a.value.Get("value").Num, a.value.Get("unit").Str)
				high, err2 := units.Base(b.value.Get("value").Num, b.value.Get("unit").Str)
				one, _ := units.Lookup(a.value.Get("unit").Str)
				if err1 == nil && err2 == nil && units.Check(b.value.Get("unit").Str, one.Dimension) == nil && high < low {
					c.add(b.path+".value", b.value.Get("value").Num, say("refuse.less", "field", a.path, "value", quantityText(a.value)), say("refuse.order-instead"))
				}
			case FormCount, FormNumber:
				if b.value.Num < a.value.Num {
					c.add(b.path, b.value.Num, say("refuse.less", "field", a.path, "value", units.FormatNumber(a.value.Num)), say("refuse.order-instead"))
				}
			default:
				from, ok1 := c.span(a)
				to, ok2 := c.span(b)
				if ok1 && ok2 && to.last < from.first {
					c.add(b.path, b.value.Str, say("refuse.before", "field", a.path, "value", a.value.Str), say("refuse.order-instead"))
				}
			}
		}
	}
}

func quantityText(v canon.Value) string {
	return Quantity{Value: v.Get("value").Num, Unit: v.Get("unit").Str}.String()
}

// between are the first and the last instant that a time or date can mean, in milliseconds of Unix time.
type between struct{ first, last int64 }

func (c *check) span(r reach) (between, bool) {
	zone := c.door.Zone
	if r.shape.Form == FormPartial {
		p, err := civil.ParsePartial(r.value.Str)
		if err != nil {
			return between{}, false
		}
		return between{civil.DayStart(p.First, zone).UnixMilli(), civil.DayEnd(p.Last, zone).UnixMilli() - 1}, true
	}
	m, err := ParseMoment(r.value.Str, zone)
	if err != nil {
		return between{}, false
	}
	last := m.Latest(zone).UnixMilli()
	if m.Only {
		last-- // the day's end is the next one's start
	}
	return between{m.At.UnixMilli(), last}, true
}

// summed refuses counts of parts that are together more than the count of the whole.
func (c *check) summed(v canon.Value, path, whole string, parts []string) {
	total := v.Get(whole)
	if total.Kind != canon.Number {
		return
	}
	var standing []string
	sum := 0.0
	for _, name := range parts {
		if part := v.Get(name); part.Kind == canon.Number {
			standing = append(standing, name)
			sum += part.Num
		}
	}
	if sum > total.Num && !math.IsInf(sum, 0) {
		c.add(path+"."+whole, total.Num, say("refuse.over-total", "fields", strings.Join(standing, ", "), "sum", units.FormatNumber(sum)),
			say("refuse.order-instead"))
	}
}

// relationTag reads the tag of a blank field that says how fields hang together; it is false for other fields.
func (s *Shape) relationTag(tag func(string) (string, bool)) bool {
	for _, r := range [...]struct {
		name string
		into *[][]string
	}{{"order", &s.Order}, {"sum", &s.Sums}, {"apart", &s.Apart}} {
		if text, found := tag(r.name); found {
			*r.into = append(*r.into, strings.Fields(text))
			return true
		}
	}
	return false
}

// join takes over how the fields of an embedded struct hang together.
func (s *Shape) join(inner *Shape) {
	s.OneOf = slices.Concat(s.OneOf, inner.OneOf)
	s.Given = slices.Concat(s.Given, inner.Given)
	s.Order = slices.Concat(s.Order, inner.Order)
	s.Sums = slices.Concat(s.Sums, inner.Sums)
	s.Apart = slices.Concat(s.Apart, inner.Apart)
}
