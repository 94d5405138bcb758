package canon

import (
	"slices"
	"unicode/utf16"
)

// Kind is the JSON type of a Value.
type Kind uint8

// The JSON types. Absent is the zero Value: nothing stands there.
const (
	Absent Kind = iota
	Null
	Bool
	Number
	String
	List
	Object
)

// String names the kind in one word.
func (k Kind) String() string {
	return [...]string{"nothing", "null", "bool", "number", "text", "list", "object"}[k]
}

// A Member is one name and value of an object.
type Member struct {
	Name  string
	Value Value
}

// A Value is one JSON value. The zero Value is Absent.
type Value struct {
	Kind    Kind
	Bool    bool
	Num     float64
	Str     string // the text of a String; the text as read of a Number
	Items   []Value
	Members []Member // in the order read, or as set
}

// Text makes a String.
func Text(s string) Value { return Value{Kind: String, Str: s} }

// Num makes a Number. f must be finite: JSON has no text for anything else, and Append writes none.
func Num(f float64) Value { return Value{Kind: Number, Num: f} }

// Truth makes a Bool.
func Truth(b bool) Value { return Value{Kind: Bool, Bool: b} }

// ListOf makes a List.
func ListOf(items ...Value) Value { return Value{Kind: List, Items: items} }

// ObjectOf makes an Object of members in the order given.
func ObjectOf(members ...Member) Value { return Value{Kind: Object, Members: members} }

// Get returns the member called name, Absent if there is none or v is no object.
func (v Value) Get(name string) Value {
	for i := range v.Members {
		if v.Members[i].Name == name {
			return v.Members[i].Value
		}
	}
	return Value{}
}

// Set puts a member into an object, over one of the same name if there is one. An Absent v becomes an object.
func (v *Value) Set(name string, m Value) {
	v.Kind = Object
	for i := range v.Members {
		if v.Members[i].Name == name {
			v.Members[i].Value = m
			return
		}
	}
	v.Members = append(v.Members, Member{name, m})
}

// Drop removes the member called name.
func (v *Value) Drop(name string) {
	v.Members = slices.DeleteFunc(v.Members, func(m Member) bool { return m.Name == name })
}

// Clone copies v so deep that a change to one is not seen in the other.
func (v Value) Clone() Value {
	if v.Items != nil {
		items := make([]Value, len(v.Items))
		for i := range v.Items {
			items[i] = v.Items[i].Clone()
		}
		v.Items = items
	}
	if v.Members != nil {
		members := make([]Member, len(v.Members))
		for i := range v.Members {
			members[i] = Member{v.Members[i].Name, v.Members[i].Value.Clone()}
		}
		v.Members = members
	}
	return v
}

// less orders names by UTF-16 code units, as RFC 8785 section 3.2.3 asks.
func less(a, b string) int {
	// Names of plain ASCII, as ours are, sort the same way by bytes; only code points above U+FFFF sort differently.
	for i := 0; i < len(a) && i < len(b); i++ {
		if a[i] >= 0x80 || b[i] >= 0x80 {
			return slices.Compare(utf16.Encode([]rune(a)), utf16.Encode([]rune(b)))
		}
		if a[i] != b[i] {
			return int(a[i]) - int(b[i])
		}
	}
	return len(a) - len(b)
}
