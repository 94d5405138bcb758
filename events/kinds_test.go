package events_test

import (
	"bytes"
	"fmt"
	"reflect"
	"slices"
	"strings"
	"sync/atomic"
	"testing"

	"pgregory.net/rapid"

	"latewood/events"
	"latewood/events/canon"
)

// Every kind: what the door lets through decodes into the Go type, and that encodes to the same bytes, which the door lets
// through unchanged.
func TestRoundTrip(t *testing.T) {
	t.Parallel()
	kinds := events.Standard().Kinds()
	for _, k := range kinds {
		t.Run(k.Name, func(t *testing.T) {
			t.Parallel()
			door := hollow()
			rapid.Check(t, func(t *rapid.T) {
				draft := gen{t: t, full: rapid.Bool().Draw(t, "full")}.draft(k)
				given := canon.Bytes(draft.Data)
				a, problems := door.Check(draft)
				if len(problems) > 0 {
					t.Fatalf("refused: %v\n%s", problems, given)
				}
				if !bytes.Equal(canon.Bytes(draft.Data), given) {
					t.Fatal("Check changed the caller's data")
				}
				data, err := door.Catalogue.DecodeData(k.Name, k.Version, a.Data)
				if err != nil {
					t.Fatalf("%v\n%s", err, a.Data)
				}
				if got := door.Catalogue.KindOf(data); got.Name != k.Name {
					t.Fatalf("KindOf(%T): got %s", data, got.Name)
				}
				back := events.Encode(data)
				if got := canon.Bytes(back); !bytes.Equal(got, a.Data) {
					t.Fatalf("encoded again:\n got %s\nwant %s", got, a.Data)
				}
				again := a.Draft
				again.Data = back
				b, problems := door.Check(again)
				if len(problems) > 0 {
					t.Fatalf("the normal form is refused: %v\n%s", problems, a.Data)
				}
				if !bytes.Equal(b.Data, a.Data) || !b.Time.Equal(a.Time) || b.ID != a.ID {
					t.Fatalf("the normal form changed:\n got %s %v %v\nwant %s %v %v", b.Data, b.Time, b.ID, a.Data, a.Time, a.ID)
				}
				b.Draft.Data, a.Draft.Data = canon.Value{}, canon.Value{}
				if !reflect.DeepEqual(b.Draft, a.Draft) {
					t.Fatalf("the normal form of the envelope changed:\n got %+v\nwant %+v", b.Draft, a.Draft)
				}
			})
		})
	}
	t.Logf("counts: %d kinds, %d random records each", len(kinds), checks)
}

// A place is one field of a full record, with what is allowed there.
type place struct {
	path     string
	shape    *events.Shape
	required bool
	oneOf    bool // one of a group, of which another may stand in
	set      func(canon.Value)
	drop     func()
	add      func(name string) // puts another field beside it
}

// places lists the fields of a value that has them all.
func places(v *canon.Value, s *events.Shape, path string) []place {
	var out []place
	switch s.Form {
	case events.FormObject:
		for _, f := range s.Fields {
			m := v.Get(f.Name)
			if m.Kind == canon.Absent {
				continue
			}
			given := slices.ContainsFunc(s.Given, func(g events.Given) bool {
				return slices.Contains(g.Require, f.Name) && slices.Contains(g.Words, v.Get(g.Field).Str)
			})
			out = append(out, place{
				path: path + "." + f.Name, shape: f.Shape, required: f.Required || given,
				set:  func(m canon.Value) { v.Set(f.Name, m) },
				drop: func() { v.Drop(f.Name) },
				add:  func(name string) { v.Set(name, canon.Text("x")) },
			})
			for i := range v.Members {
				if v.Members[i].Name == f.Name {
					out = append(out, places(&v.Members[i].Value, f.Shape, path+"."+f.Name)...)
				}
			}
		}
	case events.FormQuantity:
		out = append(out,
			place{path: path + ".value", shape: &events.Shape{Form: events.FormNumber}, required: true,
				set: func(m canon.Value) { v.Set("value", m) }, drop: func() { v.Drop("value") }, add: func(name string) { v.Set(name, canon.Text("x")) }},
			place{path: path + ".unit", shape: &events.Shape{Form: events.FormText}, required: true,
				set: func(m canon.Value) { v.Set("unit", m) }, drop: func() { v.Drop("unit") }, add: func(name string) { v.Set(name, canon.Text("x")) }})
	case events.FormList, events.FormOneOrMany:
		if v.Kind != canon.List {
			return places(v, s.Elem, path)
		}
		for i := range v.Items {
			out = append(out, place{path: fmt.Sprintf("%s[%d]", path, i), shape: s.Elem, set: func(m canon.Value) { v.Items[i] = m }})
			out = append(out, places(&v.Items[i], s.Elem, fmt.Sprintf("%s[%d]", path, i))...)
		}
	}
	return out
}

// wrongFor lists values that cannot stand at a shape, by what is wrong with them.
func wrongFor(s *events.Shape) map[string]canon.Value {
	all := map[string]canon.Value{
		"null":         {Kind: canon.Null},
		"empty list":   {Kind: canon.List},
		"empty object": {Kind: canon.Object},
		"empty text":   canon.Text(""),
		"blanks":       canon.Text(" \t"),
	}
	more := map[string]canon.Value{
		"number": canon.Num(3), "bool": canon.Truth(true), "text": canon.Text("x"), "list": canon.ListOf(canon.Num(3)),
		"object": canon.ObjectOf(canon.Member{Name: "z", Value: canon.Num(3)}),
	}
	if s.Positive && s.Form == events.FormCount {
		all["nothing of it"] = canon.Num(0)
	}
	elem := s
	for elem.Form == events.FormList || elem.Form == events.FormOneOrMany {
		elem = elem.Elem
	}
	for name, v := range more {
		switch {
		case s.Form == events.FormAny,
			name == "object" && (elem.Form == events.FormObject || elem.Form == events.FormQuantity || elem.Form == events.FormData), // tried as an unknown field
			name == "list" && (s.Form == events.FormList || s.Form == events.FormOneOrMany),                                          // tried at its items
			name == "number" && (s.Form == events.FormNumber || s.Form == events.FormCount),
			name == "bool" && s.Form == events.FormBool,
			name == "text" && s.Form == events.FormOneOrMany,
			name == "text" && slices.Contains([]events.Form{events.FormText, events.FormName, events.FormLabel, events.FormLot, events.FormCode}, s.Form) && len(s.Enum) == 0:
			continue
		}
		all["a "+name] = v
	}
	return all
}

// fullDraft makes a record of a kind with every field in it; of several runs the same.
func fullDraft(k *events.Kind) events.Draft {
	return rapid.Custom(func(t *rapid.T) events.Draft {
		d := gen{t: t, full: true}.draft(k)
		if k.Name == "label.filed" {
			d.Data.Set("material", canon.Text("pesticide"))
		}
		return d
	}).Example(7)
}

// Every kind, every field at every depth: the wrong type, nothing, emptiness, the field missing, a field nobody knows. Each
// is refused once, at its own path.
func TestRefusedAtItsPath(t *testing.T) {
	t.Parallel()
	var refused, fields atomic.Int64
	t.Cleanup(func() {
		t.Logf("counts: %d kinds, %d fields, %d refusals at the right path", len(events.Standard().Kinds()), fields.Load(), refused.Load())
	})
	for _, k := range events.Standard().Kinds() {
		t.Run(k.Name, func(t *testing.T) {
			t.Parallel()
			door := hollow()
			draft := fullDraft(k)
			enter(t, door, draft)
			shape := k.Shape
			if k.Name == "record.corrected" { // its inner data is that of a kind
				inner := *shape
				inner.Fields = slices.Clone(shape.Fields)
				name, _, _ := events.SplitType(draft.Data.Get("type").Str)
				inner.Field("data").Shape = door.Catalogue.Kind(name).Shape
				shape = &inner
			}
			check := func(what, path string, data canon.Value, why ...string) {
				t.Helper()
				bad := draft
				bad.Data = data
				_, problems := door.Check(bad)
				if len(problems) != 1 || problems[0].Field != path || problems[0].Why.String() == "" || problems[0].Instead.String() == "" {
					t.Errorf("%s at %s: got %v", what, path, problems)
					return
				}
				if len(why) > 0 && !slices.Contains(why, problems[0].Why.Key) {
					t.Errorf("%s at %s: got %s, want one of %v", what, path, problems[0].Why.Key, why)
				}
				if text := problems.Error(); strings.Contains(text, "⟦") {
					t.Errorf("%s at %s: a sentence lacks a value: %s", what, path, text)
				}
				refused.Add(1)
			}
			all := places(&draft.Data, shape, "data")
			for i, p := range all {
				fields.Add(1)
				for what, value := range wrongFor(p.shape) {
					v := draft.Data.Clone()
					places(&v, shape, "data")[i].set(value)
					check(what, p.path, v)
				}
				if p.drop == nil {
					continue
				}
				if p.required {
					v := draft.Data.Clone()
					places(&v, shape, "data")[i].drop()
					check("missing", p.path, v, "refuse.required", "refuse.required-given")
				}
				v := draft.Data.Clone()
				places(&v, shape, "data")[i].add(p.path[strings.LastIndexByte(p.path, '.')+1:] + "z")
				check("unknown", p.path+"z", v, "refuse.unknown-field")
			}
		})
	}
}
