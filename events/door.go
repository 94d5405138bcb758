package events

import (
	"fmt"
	"math"
	"strings"
	"time"

	"golang.org/x/text/unicode/norm"

	"latewood/events/canon"
	"latewood/events/civil"
	"latewood/events/units"
)

// A Draft is a record as somebody proposes it: nothing filled in yet. Empty texts are absent.
type Draft struct {
	ID         string
	Source     string
	Type       string // with or without version; without means the newest
	Time       string
	NotedTime  string
	DeviceTime string
	Actor      string
	Data       canon.Value
}

// A Door checks drafts for one farm. It is the only way in: what it lets through is strict, normal and canonical.
type Door struct {
	Catalogue *Catalogue
	Farm      string         // code
	Zone      *time.Location // the farm's zone, for times that bring no offset
}

// An Accepted is a draft that has no problem in itself. What other records have to say about it is for the recorder.
type Accepted struct {
	Kind    *Kind
	Version int
	ID      ID // zero: none given
	Time    time.Time
	Draft   Draft // with its texts in normal form
	Data    []byte
}

// NeedsTime is what Check reports for a draft with no time and no field that gives one. A person's `add` then means
// now; everything else is refused.
const NeedsTime = "refuse.time-missing"

// Check reads a draft strictly. Either the problems are empty, or the Accepted is of no use. All problems of a draft
// are told at once.
//
// Check brings the draft into its normal form on the way: codes and names in NFC, times as the ledger writes them, a
// `where` of one part as an object.
func (d *Door) Check(draft Draft) (Accepted, Problems) {
	c := check{door: d}
	out := Accepted{Draft: draft}
	kind, version := c.kind(draft.Type)
	if kind == nil {
		return out, c.problems
	}
	out.Kind, out.Version = kind, version
	out.Draft.Type = kind.Name + ".v" + fmt.Sprint(version)
	if draft.ID != "" {
		out.ID = c.id("id", draft.ID)
		out.Draft.ID = strings.ToLower(draft.ID)
	}
	if draft.Actor != "" && !IsPseudonym(draft.Actor) {
		c.add("actor", draft.Actor, say("refuse.person"), say("refuse.person-instead"))
	}
	out.Draft.NotedTime = c.instant("notedtime", draft.NotedTime)
	c.deviceTime(&out.Draft)
	out.Draft.Data = draft.Data.Clone()
	if kind.Name == "record.corrected" {
		c.corrected(&out.Draft.Data)
	}
	c.value(&out.Draft.Data, kind.Shape, "data")
	if len(c.problems) == 0 {
		c.time(&out)
	}
	if len(c.problems) > 0 {
		return out, c.problems
	}
	out.Data = canon.Append(make([]byte, 0, 256), out.Draft.Data)
	return out, nil
}

type check struct {
	door     *Door
	problems Problems
	// dataShape is the shape of a correction's inner data, where its type is known.
	dataShape *Shape
}

func (c *check) add(field string, value any, why, instead Sentence) {
	c.problems = append(c.problems, Problem{Field: field, Value: value, Why: why, Instead: instead})
}

func (c *check) kind(text string) (*Kind, int) {
	if text == "" {
		c.add("type", nil, say("refuse.required"), say("refuse.type-instead"))
		return nil, 0
	}
	name, version, ok := SplitType(text)
	if !ok {
		name, version = text, 0
	}
	k := c.door.Catalogue.Kind(name)
	if k == nil {
		instead := say("refuse.kind-instead")
		if near := nearest(name, c.door.Catalogue.names()); near != "" {
			instead = say("refuse.did-you-mean", "near", near)
		}
		c.add("type", text, say("refuse.kind-unknown"), instead)
		return nil, 0
	}
	if version == 0 {
		version = k.Version
	}
	if version != k.Version {
		c.add("type", text, say("refuse.version", "kind", name, "version", version), say("refuse.write", "text", k.Type()))
		return nil, 0
	}
	return k, version
}

func (c *Catalogue) names() []string {
	out := make([]string, len(c.kinds))
	for i, k := range c.kinds {
		out[i] = k.Name
	}
	return out
}

func (c *check) id(field, text string) ID {
	id, err := ParseID(strings.ToLower(text))
	if err != nil || id.Version() != 7 && id.Version() != 8 || id[8]>>6 != 2 {
		c.add(field, text, say("refuse.id"), say("refuse.id-instead"))
	}
	return id
}

// deviceTime checks the pair "WRITTEN SENT".
func (c *check) deviceTime(d *Draft) {
	if d.DeviceTime == "" {
		return
	}
	written, sent, ok := strings.Cut(d.DeviceTime, " ")
	if !ok || written == "" || sent == "" {
		c.add("devicetime", d.DeviceTime, say("refuse.devicetime"), say("refuse.devicetime-instead"))
		return
	}
	written, sent = c.instant("devicetime", written), c.instant("devicetime", sent)
	d.DeviceTime = written + " " + sent
}

// corrected finds the shape of the data inside a correction, and refuses types that cannot be corrected.
func (c *check) corrected(data *canon.Value) {
	t := data.Get("type")
	if t.Kind != canon.String {
		return // told by the general check
	}
	name, version, ok := SplitType(t.Str)
	k := c.door.Catalogue.Kind(name)
	switch {
	case !ok || k == nil:
		c.add("data.type", t.Str, say("refuse.kind-unknown"), say("refuse.type-instead"))
	case version > k.Version:
		c.add("data.type", t.Str, say("refuse.version", "kind", name, "version", version), say("refuse.write", "text", k.Type()))
	case !Correctable(name):
		c.add("data.type", t.Str, say("refuse.not-correctable", "kind", name), say("refuse.not-correctable-instead"))
	case version < k.Version:
		c.add("data.type", t.Str, say("refuse.version", "kind", name, "version", version), say("refuse.write", "text", k.Type()))
	default:
		c.dataShape = k.Shape
	}
}

// Correctable reports whether records of a kind can be corrected. Of the ledger's own kinds only rules and named seasons
// can; everything that happened on the farm can, and so can farm.opened and setting.adopted.
func Correctable(kind string) bool {
	switch kind {
	case "record.corrected", "record.withdrawn", "records.reviewed", "import.made", "report.issued", "drill.held",
		"evidence.given", "key.changed", "ledger.restored", "ledger.moved", "access.granted", "access.viewed",
		"access.ended", "person.forgotten":
		return false
	}
	return true
}

// Withdrawable reports whether records of a kind can be withdrawn.
func Withdrawable(kind string) bool {
	switch kind {
	case "farm.opened", "setting.adopted", "rule.adopted", "season.named":
		return false
	}
	return Correctable(kind)
}

// value checks v against a shape and brings it into its normal form.
func (c *check) value(v *canon.Value, s *Shape, path string) {
	if v.Kind == canon.Null {
		c.add(path, nil, say("refuse.null"), say("refuse.null-instead"))
		return
	}
	switch s.Form {
	case FormObject:
		c.object(v, s, path)
	case FormQuantity:
		c.quantity(v, s, path)
	case FormOneOrMany:
		if v.Kind != canon.List {
			c.value(v, s.Elem, path)
			return
		}
		c.list(v, s, path)
		if len(v.Items) == 1 {
			*v = v.Items[0]
		}
	case FormList:
		c.list(v, s, path)
	case FormNumber, FormCount:
		c.number(v, s, path)
	case FormBool:
		if v.Kind != canon.Bool {
			c.wrong(*v, path, say("refuse.bool-instead"))
		}
	case FormAny:
		c.free(*v, path)
	case FormGeometry:
		if v.Kind != canon.Object || v.Get("type").Kind != canon.String {
			c.wrong(*v, path, say("refuse.geojson-instead"))
			return
		}
		c.free(*v, path)
	case FormData:
		if c.dataShape != nil {
			c.value(v, c.dataShape, path)
		} else if v.Kind != canon.Object {
			c.wrong(*v, path, say("refuse.object-instead"))
		}
	default:
		c.text(v, s, path)
	}
}

// wrong reports a value of the wrong JSON type.
func (c *check) wrong(v canon.Value, path string, instead Sentence) {
	c.add(path, Plain(v), say("refuse.wrong-type", "type", v.Kind.String()), instead)
}

// Plain turns a value into what a message shows of it: text, number, truth; for a list or object its JSON.
func Plain(v canon.Value) any {
	switch v.Kind {
	case canon.String:
		return v.Str
	case canon.Number:
		return v.Num
	case canon.Bool:
		return v.Bool
	case canon.List, canon.Object:
		return string(canon.Bytes(v))
	}
	return nil
}

func (c *check) object(v *canon.Value, s *Shape, path string) {
	if v.Kind != canon.Object {
		c.wrong(*v, path, say("refuse.object-instead"))
		return
	}
	if len(v.Members) == 0 && len(s.Fields) > 0 {
		c.add(path, "{}", say("refuse.empty"), say("refuse.leave-out"))
		return
	}
	for i := range v.Members {
		m := &v.Members[i]
		f := s.Field(m.Name)
		if f == nil {
			instead := say("refuse.fields-instead", "fields", strings.Join(fieldNames(s), ", "))
			if near := nearest(m.Name, fieldNames(s)); near != "" {
				instead = say("refuse.did-you-mean", "near", near)
			}
			c.add(path+"."+m.Name, Plain(m.Value), say("refuse.unknown-field"), instead)
			continue
		}
		c.value(&m.Value, f.Shape, path+"."+m.Name)
	}
	for i := range s.Fields {
		if f := &s.Fields[i]; f.Required && v.Get(f.Name).Kind == canon.Absent {
			c.add(path+"."+f.Name, nil, say("refuse.required"), wanted(f.Shape))
		}
	}
	for _, group := range s.OneOf {
		if !stands(*v, group) {
			c.add(path+"."+group[0], nil, say("refuse.one-of", "fields", strings.Join(group, ", ")), say("refuse.one-of-instead"))
		}
	}
}

func stands(v canon.Value, names []string) bool {
	for _, n := range names {
		if v.Get(n).Kind != canon.Absent {
			return true
		}
	}
	return false
}

func fieldNames(s *Shape) []string {
	out := make([]string, len(s.Fields))
	for i := range s.Fields {
		out[i] = s.Fields[i].Name
	}
	return out
}

// wanted says what a missing field holds.
func wanted(s *Shape) Sentence {
	switch {
	case len(s.Enum) > 0:
		return say("refuse.one-word-of", "words", strings.Join(s.Enum, ", "))
	case s.Form == FormQuantity:
		return say("refuse.quantity-instead", "units", strings.Join(codesOf(s.Dims), " "))
	case s.Form == FormList || s.Form == FormOneOrMany:
		return wanted(s.Elem)
	}
	return say("refuse.form."+string(s.Form), "example", exampleOf(s.Form))
}

// codesOf lists the unit codes of dimensions, for people.
func codesOf(dims []units.Dimension) []string {
	var out []string
	for _, d := range dims {
		out = append(out, units.Codes(d)...)
	}
	return out
}

func (c *check) list(v *canon.Value, s *Shape, path string) {
	if v.Kind != canon.List {
		c.wrong(*v, path, say("refuse.list-instead"))
		return
	}
	if len(v.Items) == 0 {
		c.add(path, "[]", say("refuse.empty"), say("refuse.leave-out"))
		return
	}
	for i := range v.Items {
		c.value(&v.Items[i], s.Elem, fmt.Sprintf("%s[%d]", path, i))
	}
}

func (c *check) number(v *canon.Value, s *Shape, path string) {
	if v.Kind != canon.Number {
		c.wrong(*v, path, say("refuse.number-instead"))
		return
	}
	if s.Form == FormCount && (v.Num != math.Trunc(v.Num) || v.Num < 0) {
		c.add(path, v.Num, say("refuse.count"), say("refuse.form.count", "example", "12"))
		return
	}
	c.limits(v.Num, s, path)
}

func (c *check) limits(f float64, s *Shape, path string) {
	if math.Abs(f) > 1<<53-1 {
		c.add(path, f, say("refuse.too-large"), say("refuse.too-large-instead"))
		return
	}
	if s.Min != nil && f < *s.Min || s.Max != nil && f > *s.Max {
		low, high := "", ""
		if s.Min != nil {
			low = units.FormatNumber(*s.Min)
		}
		if s.Max != nil {
			high = units.FormatNumber(*s.Max)
		}
		c.add(path, f, say("refuse.range", "low", low, "high", high), say("refuse.range-instead"))
	}
}

func (c *check) quantity(v *canon.Value, s *Shape, path string) {
	if v.Kind != canon.Object {
		c.wrong(*v, path, say("refuse.quantity-instead", "units", strings.Join(codesOf(s.Dims), " ")))
		return
	}
	before := len(c.problems)
	c.object(v, quantityShape, path)
	if len(c.problems) > before {
		return
	}
	code := v.Get("unit").Str
	unit, ok := units.Lookup(code)
	if !ok {
		instead := say("refuse.one-word-of", "words", strings.Join(codesOf(s.Dims), " "))
		if near := units.Nearest(code); near != "" {
			instead = say("refuse.did-you-mean", "near", near)
		}
		c.add(path+".unit", code, say("refuse.unit-unknown"), instead)
		return
	}
	fits := false
	for _, d := range s.Dims {
		fits = fits || d == unit.Dimension
	}
	if !fits {
		names := make([]string, len(s.Dims))
		for i, d := range s.Dims {
			names[i] = string(d)
		}
		c.add(path+".unit", code, say("refuse.dimension", "is", string(unit.Dimension), "want", strings.Join(names, ", ")),
			say("refuse.one-word-of", "words", strings.Join(codesOf(s.Dims), " ")))
		return
	}
	f := v.Get("value").Num
	if _, err := units.Base(f, code); err != nil {
		c.add(path+".value", f, say("refuse.too-large"), say("refuse.too-large-instead"))
		return
	}
	if f < 0 && !signed(unit.Dimension) {
		c.add(path+".value", f, say("refuse.negative", "what", string(unit.Dimension)), say("refuse.negative-instead"))
		return
	}
	c.limits(f, s, path+".value")
}

// signed reports whether a dimension has values below zero: temperatures, directions told as minus degrees are not.
func signed(d units.Dimension) bool { return d == units.Temperature || d == units.Length }

var quantityShape = &Shape{Form: FormObject, Fields: []Field{
	{Name: "value", Required: true, Shape: &Shape{Form: FormNumber}},
	{Name: "unit", Required: true, Shape: &Shape{Form: FormText}},
}}

// free looks only for what the ledger never holds: null and emptiness, at any depth.
func (c *check) free(v canon.Value, path string) {
	switch v.Kind {
	case canon.Null:
		c.add(path, nil, say("refuse.null"), say("refuse.null-instead"))
	case canon.List:
		if len(v.Items) == 0 {
			c.add(path, "[]", say("refuse.empty"), say("refuse.leave-out"))
		}
		for i := range v.Items {
			c.free(v.Items[i], fmt.Sprintf("%s[%d]", path, i))
		}
	case canon.Object:
		if len(v.Members) == 0 {
			c.add(path, "{}", say("refuse.empty"), say("refuse.leave-out"))
		}
		for _, m := range v.Members {
			c.free(m.Value, path+"."+m.Name)
		}
	}
}

// text checks every form that is a JSON string.
func (c *check) text(v *canon.Value, s *Shape, path string) {
	if v.Kind != canon.String {
		c.wrong(*v, path, wanted(s))
		return
	}
	if strings.TrimSpace(v.Str) == "" {
		c.add(path, v.Str, say("refuse.empty"), say("refuse.leave-out"))
		return
	}
	if len(s.Enum) > 0 {
		for _, w := range s.Enum {
			if v.Str == w {
				return
			}
		}
		instead := say("refuse.one-word-of", "words", strings.Join(s.Enum, ", "))
		if near := nearest(v.Str, s.Enum); near != "" {
			instead = say("refuse.did-you-mean", "near", near)
		}
		c.add(path, v.Str, say("refuse.word"), instead)
		return
	}
	switch s.Form {
	case FormDate, FormPartial, FormMoment, FormInstant:
		c.when(v, s.Form, path)
		return
	case FormText:
		return
	case FormCode, FormLabel, FormLot:
		v.Str = norm.NFC.String(v.Str)
	}
	if grammarHolds(s.Form, v.Str, c.door.Catalogue) {
		return
	}
	instead := say("refuse.form."+string(s.Form), "example", exampleOf(s.Form))
	if s.Form == FormCode {
		if near := NearestCode(v.Str); near != "" {
			instead = say("refuse.did-you-mean", "near", near)
		}
	}
	c.add(path, v.Str, say("refuse.grammar", "form", string(s.Form)), instead)
}

func grammarHolds(f Form, s string, cat *Catalogue) bool {
	switch f {
	case FormCode:
		return IsCode(s)
	case FormLabel:
		return len([]rune(s)) <= 32 && strings.TrimSpace(s) == s
	case FormLot:
		return IsLot(s)
	case FormID:
		id, err := ParseID(s)
		return err == nil && id.String() == s
	case FormPerson:
		return IsPseudonym(s)
	case FormSHA256:
		return len(s) == 64 && isHex(s)
	case FormBase64:
		return isBase64Hash(s)
	case FormGLN:
		return isGLN(s)
	case FormZone:
		_, err := civil.Zone(s)
		return err == nil
	case FormSeason:
		_, err := civil.ParseSeason(s)
		return err == nil
	case FormType:
		name, version, ok := SplitType(s)
		return ok && cat.Kind(name) != nil && version >= 1
	case FormCurrency:
		return len(s) == 3 && strings.ToUpper(s) == s && strings.Trim(s, "ABCDEFGHIJKLMNOPQRSTUVWXYZ") == ""
	}
	return true
}

// exampleOf shows how a form is written.
func exampleOf(f Form) string {
	switch f {
	case FormCode:
		return "north-2"
	case FormLabel:
		return "2a"
	case FormLot:
		return "L26-014"
	case FormID:
		return "017f22e2-79b0-7cc3-98c4-dc0c0c07398f"
	case FormPerson:
		return "w_00112233445566778899aabbccddeeff"
	case FormSHA256:
		return "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"
	case FormBase64:
		return "47DEQpj8HBSa+/TImW+5JCeuQeRkm5NMpJWZG3hSuFU="
	case FormGLN:
		return "9506000134352"
	case FormZone:
		return "Pacific/Honolulu"
	case FormDate, FormPartial:
		return "2026-06-01"
	case FormMoment, FormInstant:
		return "2026-06-01T16:00:00-10:00"
	case FormSeason:
		return "2026"
	case FormType:
		return "spray.applied.v1"
	case FormCurrency:
		return "USD"
	case FormBool:
		return "true"
	case FormNumber, FormCount:
		return "12"
	}
	return "..."
}

// nearest finds the name that somebody probably meant: the one within a third of its letters, else none.
func nearest(s string, names []string) string {
	best, bestAt := "", len(s)/3+1
	for _, n := range names {
		if d := distance(strings.ToLower(s), strings.ToLower(n)); d < bestAt {
			best, bestAt = n, d
		}
	}
	return best
}

// distance counts the letters to change, put in or leave out (Levenshtein).
func distance(a, b string) int {
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := 1; i <= len(a); i++ {
		diagonal := row[0]
		row[0] = i
		for j := 1; j <= len(b); j++ {
			cost := diagonal
			if a[i-1] != b[j-1] {
				cost++
			}
			diagonal = row[j]
			row[j] = min(cost, row[j]+1, row[j-1]+1)
		}
	}
	return row[len(b)]
}
