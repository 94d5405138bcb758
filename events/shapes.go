package events

import (
	"bytes"
	"cmp"

	"latewood/events/units"
)

// A Quantity is a measured value with its unit, kept as the person gave it. Unit is a UCUM code (Unified Code for Units
// of Measure), as kg, [lb_av], L/har. Sums never use Value as it stands: they use units.Base, which is exact.
type Quantity struct {
	Value float64 `json:"value" is:"number,required"`
	Unit  string  `json:"unit" is:"text,required"`
}

// String writes the quantity for people, as "12.5 kg".
func (q Quantity) String() string { return units.FormatNumber(q.Value) + " " + q.Unit }

// A Where says which part of the farm a record is about: one part, or several.
type Where = OneOrMany[Part]

// A Part is a block, or a piece of one. Block alone is every tree that stands in it at the record's time. Rows and Trees
// add up; Except takes trees away.
type Part struct {
	Block  string    `json:"block" is:"code,required"`
	Rows   []string  `json:"rows" is:"label"`
	Trees  []string  `json:"trees" is:"code"`
	Except []string  `json:"except" is:"code"`
	Share  *Quantity `json:"share" dim:"share"`
	Side   string    `json:"side" enum:"north east south west left right"`
}

// Whole reports whether the part is its block without any limit.
func (p Part) Whole() bool {
	return len(p.Rows) == 0 && len(p.Trees) == 0 && len(p.Except) == 0
}

// OneOrMany is a list that stands as a bare item where it has exactly one.
type OneOrMany[T any] []T

// UnmarshalJSON takes an item or a list of items.
func (o *OneOrMany[T]) UnmarshalJSON(b []byte) error {
	b = bytes.TrimSpace(b)
	if len(b) > 0 && b[0] == '[' {
		return ReadJSON(b, (*[]T)(o))
	}
	var one T
	if err := ReadJSON(b, &one); err != nil {
		return err
	}
	*o = OneOrMany[T]{one}
	return nil
}

// An Attachment is a file kept beside the ledger and bound to it by its hash.
type Attachment struct {
	SHA256    string `json:"sha256" is:"sha256,required"`
	Name      string `json:"name" is:"text,required"`
	MediaType string `json:"mediaType" is:"text"`
}

// Common stands in the data of every kind.
type Common struct {
	By          string       `json:"by" is:"person" doc:"who did it, if not the one who entered it"`
	Note        string       `json:"note" is:"text" doc:"free text; no names of people"`
	Attachments []Attachment `json:"attachments" is:""`
}

// CommonFields gives access to what every kind carries.
func (c *Common) CommonFields() *Common { return c }

// A Person is somebody whom the law wants named: a pseudonym, and a commitment to name and certificate that lie in the
// register (see Commitment).
type Person struct {
	Code       string `json:"code" is:"person,required"`
	Commitment string `json:"commitment" is:"base64"`
}

// A Party is a business: a packer, a supplier, an authority. A natural person is a party by register code only.
type Party struct {
	Code    string `json:"code" is:"code"`
	Name    string `json:"name" is:"name"`
	Phone   string `json:"phone" is:"text"`
	Address string `json:"address" is:"text"`
	GLN     string `json:"gln" is:"gln" doc:"global location number, 13 digits with its check digit"`
}

// Called is what people call the business: its name, else its code, else its number; empty for nobody.
func (p *Party) Called() string {
	if p == nil {
		return ""
	}
	return cmp.Or(p.Name, p.Code, p.GLN)
}

// A Point is a place on the Earth, WGS 84, in degrees; east and north are positive.
type Point struct {
	Latitude  float64 `json:"latitude" is:"number,required" min:"-90" max:"90"`
	Longitude float64 `json:"longitude" is:"number,required" min:"-180" max:"180"`
}
