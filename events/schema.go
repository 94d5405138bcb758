package events

import (
	"fmt"
	"reflect"
	"slices"
	"strconv"
	"strings"

	"latewood/events/canon"
	"latewood/events/units"
)

// Form says what a field holds: the JSON type and the grammar inside it.
type Form string

// The forms. The words are those that stand in the `is` tags of the data types.
const (
	FormText      Form = "text"     // any text but the empty one, kept as given
	FormName      Form = "name"     // what people call something: a text, brought to NFC, without blanks around it
	FormCode      Form = "code"     // farm, block, tree, station, source, device: [a-z0-9] and inner -, up to 32
	FormLabel     Form = "label"    // a row or a position: any text up to 32 characters, as "2a"
	FormLot       Form = "lot"      // a lot or load code: up to 20 characters of GS1 set 82
	FormID        Form = "id"       // a record's id: a UUID in lower case
	FormPerson    Form = "person"   // a pseudonym: w_ and 32 hex digits
	FormSHA256    Form = "sha256"   // 64 lower-case hex digits
	FormBase64    Form = "base64"   // 32 bytes in padded standard base64
	FormGLN       Form = "gln"      // 13 digits with a check digit
	FormGTIN      Form = "gtin"     // 8, 12, 13 or 14 digits with a check digit
	FormZone      Form = "zone"     // a zone of the IANA time zone database
	FormDate      Form = "date"     // YYYY-MM-DD
	FormPartial   Form = "partial"  // YYYY-MM-DD, YYYY-MM or YYYY
	FormMoment    Form = "moment"   // a time with offset, or a date
	FormInstant   Form = "instant"  // a time with offset
	FormSeason    Form = "season"   // 2026 or 2025/26
	FormType      Form = "type"     // a kind with its version: spray.applied.v1
	FormChain     Form = "chain"    // the name of a chain: farm, or a class and a name, as inputs/north
	FormCurrency  Form = "currency" // three capital letters, ISO 4217
	FormCount     Form = "count"    // a whole number from 0
	FormNumber    Form = "number"   // a number
	FormBool      Form = "bool"     // true or false
	FormQuantity  Form = "quantity" // {value, unit}
	FormObject    Form = "object"   // a group of fields
	FormList      Form = "list"     // one or more of a form
	FormOneOrMany Form = "one-or-many"
	FormAny       Form = "any"     // any JSON value
	FormGeometry  Form = "geojson" // a GeoJSON geometry
	FormData      Form = "data"    // the data of another kind, named by the field `type` beside it
)

// textForms are the forms of a JSON string.
var textForms = []Form{
	FormText, FormName, FormCode, FormLabel, FormLot, FormID, FormPerson, FormSHA256, FormBase64, FormGLN, FormGTIN, FormZone, FormDate,
	FormPartial, FormMoment, FormInstant, FormSeason, FormType, FormChain, FormCurrency,
}

// A Shape is the grammar of one value: what the data types say in Go, made walkable. Validation, table columns,
// templates and the catalogue all read it, so that a field is described once.
type Shape struct {
	Form     Form
	Type     string            // of an object: the name of its Go type, by which shapes that kinds share can be told
	Fields   []Field           // of an object
	Elem     *Shape            // of a list or one-or-many
	Enum     []string          // the words that a text may be; empty: any
	Dims     []units.Dimension // of a quantity: the dimensions that it may have
	Min, Max *float64          // of a number or count, both inclusive
	// Least and Most are the limits of a quantity, both inclusive, where they are not the natural ones (see Range).
	Least, Most *Quantity
	OneOf       [][]string // of an object: groups of fields of which at least one must stand
	Given       []Given    // of an object: fields that must stand where another has a certain value
	Positive    bool       // of a number, count or quantity: zero cannot be
	// Of an object, how fields hang together; a name with dots goes into groups and lists. Order: none lies before the one
	// named before it. Sums: the counts from the second on are together not more than the first. Apart: two texts differ.
	Order, Sums, Apart [][]string

	written *Shape // of a quantity: the object {value, unit}
}

// A Given says that fields must stand where another field holds one of some words, as a pesticide's label must give its
// interval and a fertiliser's need not.
type Given struct {
	Field   string
	Words   []string
	Require []string
}

// A Field is one member of an object.
type Field struct {
	Name     string
	Required bool
	Doc      string
	Shape    *Shape
}

// Field returns the field called name, or nil.
func (s *Shape) Field(name string) *Field {
	for i := range s.Fields {
		if s.Fields[i].Name == name {
			return &s.Fields[i]
		}
	}
	return nil
}

// shapeOf reads a data type's fields and tags:
//
//	is:"form,required"   the form (left out: told by the Go type), and whether the field must stand
//	enum:"a b c"         the words a text may be
//	dim:"mass volume"    the dimensions a Quantity may have
//	min:"0" max:"100"    limits of a number; of a quantity with their unit, as min:"-500 m"
//	doc:"..."            one line for the catalogue
//	oneof:"a b"          on a blank field: at least one of the fields a, b must stand
//	given:"a x y" require:"b c"   on a blank field: where a is x or y, b and c must stand
//	above:"0"            of a number or quantity: zero cannot be
//	order:"a b" sum:"a b c" apart:"a b"   on a blank field: see Shape.Order
//
// It panics on a tag that it does not know: such a tag is a slip of whoever wrote the type, and the test of the
// catalogue meets it at once.
func shapeOf(t reflect.Type) *Shape {
	s := &Shape{Form: FormObject, Type: t.Name()}
	var common []Field
	for i := range t.NumField() {
		f := t.Field(i)
		if group, ok := f.Tag.Lookup("oneof"); ok {
			s.OneOf = append(s.OneOf, strings.Fields(group))
			continue
		}
		if condition, ok := f.Tag.Lookup("given"); ok {
			w := strings.Fields(condition)
			s.Given = append(s.Given, Given{Field: w[0], Words: w[1:], Require: strings.Fields(f.Tag.Get("require"))})
			continue
		}
		if s.relationTag(f.Tag.Lookup) {
			continue
		}
		if f.Anonymous {
			inner := shapeOf(f.Type)
			if f.Type == reflect.TypeFor[Common]() {
				common = inner.Fields // what every kind carries is told last
				continue
			}
			s.Fields = append(s.Fields, inner.Fields...)
			s.join(inner)
			continue
		}
		name := f.Tag.Get("json")
		if name == "" || name == "-" {
			panic(fmt.Sprintf("events: field %s.%s has no json name", t, f.Name))
		}
		form, option, _ := strings.Cut(f.Tag.Get("is"), ",")
		if option != "" && option != "required" {
			panic(fmt.Sprintf("events: field %s.%s: unknown option %q", t, f.Name, option))
		}
		s.Fields = append(s.Fields, Field{
			Name: name, Required: option == "required", Doc: f.Tag.Get("doc"), Shape: fieldShape(f.Type, Form(form), f.Tag),
		})
	}
	s.Fields = append(s.Fields, common...)
	return s
}

func fieldShape(t reflect.Type, form Form, tag reflect.StructTag) *Shape {
	switch t.Kind() {
	case reflect.Pointer:
		return fieldShape(t.Elem(), form, tag)
	case reflect.Slice:
		if form == FormAny || form == FormGeometry || form == FormData {
			return &Shape{Form: form}
		}
		out := FormList
		if strings.HasPrefix(t.Name(), "OneOrMany[") {
			out = FormOneOrMany
		}
		return &Shape{Form: out, Elem: fieldShape(t.Elem(), form, tag)}
	case reflect.Struct:
		if t == reflect.TypeFor[Quantity]() {
			s := &Shape{Form: FormQuantity, Positive: positive(tag)}
			for _, d := range strings.Fields(tag.Get("dim")) {
				s.Dims = append(s.Dims, units.Dimension(d))
			}
			if len(s.Dims) == 0 {
				panic(fmt.Sprintf("events: a quantity without dimension (%s)", tag))
			}
			s.Least, s.Most = quantityLimit(tag, "min", s.Dims), quantityLimit(tag, "max", s.Dims)
			s.written = &Shape{Form: FormObject, Fields: []Field{
				{Name: "value", Required: true, Shape: &Shape{Form: FormNumber}},
				{Name: "unit", Required: true, Shape: &Shape{Form: FormText, Dims: s.Dims}}, // so that a missing one can be told
			}}
			return s
		}
		return shapeOf(t)
	}
	if form == "" {
		switch t.Kind() {
		case reflect.String:
			form = FormText
		case reflect.Bool:
			form = FormBool
		case reflect.Int:
			form = FormCount
		case reflect.Float64:
			form = FormNumber
		default:
			panic(fmt.Sprintf("events: no form for %s", t))
		}
	}
	if !slices.Contains(textForms, form) && form != FormBool && form != FormCount && form != FormNumber {
		panic(fmt.Sprintf("events: form %q is none of a %s", form, t))
	}
	s := &Shape{Form: form, Enum: strings.Fields(tag.Get("enum"))}
	if form == FormNumber || form == FormCount {
		s.Min, s.Max, s.Positive = limit(tag, "min"), limit(tag, "max"), positive(tag)
	}
	return s
}

func positive(tag reflect.StructTag) bool {
	text, ok := tag.Lookup("above")
	if ok && text != "0" {
		panic(fmt.Sprintf("events: above %q, which is not 0", text))
	}
	return ok
}

func limit(tag reflect.StructTag, name string) *float64 {
	text, ok := tag.Lookup(name)
	if !ok {
		return nil
	}
	f, err := strconv.ParseFloat(text, 64)
	if err != nil {
		panic(fmt.Sprintf("events: limit %q is no number", text))
	}
	return &f
}

// quantityLimit reads a limit with its unit, "-500 m".
func quantityLimit(tag reflect.StructTag, name string, dims []units.Dimension) *Quantity {
	text, ok := tag.Lookup(name)
	if !ok {
		return nil
	}
	number, code, _ := strings.Cut(text, " ")
	f, err := strconv.ParseFloat(number, 64)
	if unit, known := units.Lookup(code); err != nil || !known || !slices.Contains(dims, unit.Dimension) {
		panic(fmt.Sprintf("events: limit %q is no quantity of %v", text, dims))
	}
	return &Quantity{Value: f, Unit: code}
}

// Range gives the limits of a quantity of one of its dimensions, both inclusive, nil where there is none.
//
// Where the type sets none they are the natural ones: nothing is colder than -273.15 Cel, a share is 0 to 100 %, a
// direction 0 to 360 deg, and everything else is not below zero, which is a Quantity without unit.
func (s *Shape) Range(d units.Dimension) (low, high *Quantity) {
	switch d {
	case units.Temperature:
		low = &Quantity{Value: -273.15, Unit: "Cel"}
	case units.Share:
		low, high = &Quantity{Value: 0, Unit: "%"}, &Quantity{Value: 100, Unit: "%"}
	case units.Angle:
		low, high = &Quantity{Value: 0, Unit: "deg"}, &Quantity{Value: 360, Unit: "deg"}
	default:
		low = &Quantity{}
	}
	if s.Least != nil && units.Check(s.Least.Unit, d) == nil {
		low = s.Least
	}
	if s.Most != nil && units.Check(s.Most.Unit, d) == nil {
		high = s.Most
	}
	return low, high
}

// Encode makes the JSON value of a data type: fields that are empty (no text, no items, nil) are left out, for absent
// means not known and the ledger holds no empty values.
func Encode(data any) canon.Value {
	v, _ := encode(reflect.ValueOf(data))
	return v
}

func encode(v reflect.Value) (canon.Value, bool) {
	switch v.Kind() {
	case reflect.Pointer:
		if v.IsNil() {
			return canon.Value{}, false
		}
		out, _ := encode(v.Elem())
		return out, true
	case reflect.String:
		return canon.Text(v.String()), v.Len() > 0
	case reflect.Bool:
		return canon.Truth(v.Bool()), true
	case reflect.Int:
		return canon.Num(float64(v.Int())), true
	case reflect.Float64:
		return canon.Num(v.Float()), true
	case reflect.Slice:
		return encodeSlice(v)
	case reflect.Struct:
		out := canon.Value{Kind: canon.Object}
		for i := range v.NumField() {
			f := v.Type().Field(i)
			if f.Anonymous {
				inner, _ := encode(v.Field(i))
				out.Members = append(out.Members, inner.Members...)
				continue
			}
			if name := f.Tag.Get("json"); name != "" {
				if m, ok := encode(v.Field(i)); ok {
					out.Members = append(out.Members, canon.Member{Name: name, Value: m})
				}
			}
		}
		return out, len(out.Members) > 0
	}
	panic(fmt.Sprintf("events: cannot encode %s", v.Type()))
}

func encodeSlice(v reflect.Value) (canon.Value, bool) {
	if v.Len() == 0 {
		return canon.Value{}, false
	}
	if v.Type().Elem().Kind() == reflect.Uint8 { // Raw: JSON that is kept as it is
		out, err := canon.Parse(v.Bytes())
		if err != nil {
			return canon.Value{Kind: canon.Null}, true // the door refuses it at its path, where a gap would be silent
		}
		return out, true
	}
	if strings.HasPrefix(v.Type().Name(), "OneOrMany[") && v.Len() == 1 {
		return encode(v.Index(0))
	}
	out := canon.Value{Kind: canon.List}
	for i := range v.Len() {
		item, _ := encode(v.Index(i))
		out.Items = append(out.Items, item)
	}
	return out, true
}
