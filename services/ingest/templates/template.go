package templates

import (
	_ "embed"
	"encoding/csv"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"sync"

	"latewood/events"
	"latewood/events/canon"
	"latewood/events/civil"
	"latewood/events/units"
	"latewood/services/ingest"
	"latewood/services/internal/sheets"
)

// A Choice is something of the farm that a cell can name.
type Choice struct{ Code, Name string }

// A Farm is what a template lists of the farm that it is for. The zero Farm lists nothing.
type Farm struct {
	Code     string
	Blocks   []Choice
	Stations []Choice
	Labels   []Choice // by id and product
}

// A Column is one column of a template.
type Column struct {
	ingest.Heading
	Aside   bool // of the envelope, or filled in by the program: nobody has to care
	Example string
	// Choices are what a drop-down offers. Only them: for words that the kind lists.
	Choices []string
	Only    bool
	Of      string   // what of the farm is offered: blocks, stations, labels; empty: nothing
	OneOf   []string // fields of which one must be filled in
	When    *When    // must be filled in where another column holds one of some words
}

// A When says that a column must be filled in where another holds one of some words.
type When struct {
	Column string
	Words  []string
}

// A Template is the empty table of a kind.
type Template struct {
	Kind    *events.Kind
	Columns []Column
	farm    Farm
}

// mixes is how many products of a tank a template has room for.
const mixes = 3

// New makes the template of a kind, or of a table by its short name. The error is ingest's.
func New(c *events.Catalogue, as string, farm Farm) (*Template, error) {
	k, err := ingest.KindOf(c, as)
	if err != nil {
		return nil, err
	}
	headings, err := ingest.Headings(c, as)
	if err != nil {
		return nil, err
	}
	sample, err := example(k.Name)
	if err != nil {
		return nil, err
	}
	t := &Template{Kind: k, farm: farm}
	for _, h := range headings {
		if h.Field == "devicetime" {
			continue // a device says it
		}
		t.Columns = append(t.Columns, t.column(h, sample))
	}
	t.mixes(sample)
	slices.SortStableFunc(t.Columns, func(a, b Column) int { return t.rank(a) - t.rank(b) })
	return t, nil
}

// rank orders columns: the time, what must be filled in, of several fields the ones of which one must, what may, and what
// the program fills in. What says where stands together.
func (t *Template) rank(c Column) int {
	where := t.Kind.Shape.Field("where")
	switch {
	case c.Field == "time" && c.Required:
		return 0
	case where != nil && where.Required && strings.HasPrefix(c.Field, "data.where") && strings.Count(c.Field, ".") == 2:
		return 1
	case c.Aside:
		return 5
	case c.Required:
		return 2
	case len(c.OneOf) > 0 || c.When != nil && len(c.When.Words) > 0 && strings.Count(c.Field, ".") == 1:
		return 3
	}
	return 4
}

// aside are fields that the program fills in, or that a person has no reason to type.
func aside(h ingest.Heading) bool {
	return !strings.HasPrefix(h.Field, "data.") && !h.Required || strings.HasPrefix(h.Field, "data.attachments") || h.Form == events.FormBase64
}

func (t *Template) column(h ingest.Heading, sample canon.Value) Column {
	c := Column{Heading: h, Aside: aside(h), Example: t.exampleOf(h, sample)}
	path := strings.TrimPrefix(h.Field, "data.")
	name := path[strings.LastIndexByte(path, '.')+1:]
	for _, group := range t.Kind.Shape.OneOf {
		if first, _, _ := strings.Cut(strings.ReplaceAll(path, "[0]", ""), "."); slices.Contains(group, first) {
			c.OneOf = group
		}
	}
	for _, g := range t.Kind.Shape.Given {
		if slices.Contains(g.Require, path) {
			c.When = &When{g.Field, g.Words}
		}
	}
	switch {
	case len(h.Words) > 0:
		c.Choices, c.Only = h.Words, !h.List
	case h.Form == events.FormBool:
		c.Choices, c.Only = []string{"yes", "no"}, true
	case h.Form == events.FormCode && (name == "block" || path == "blocks") && t.Kind.Name != "block.established" && !strings.HasPrefix(path, "into"):
		c.Of = "blocks"
	case h.Form == events.FormCode && name == "station" && t.Kind.Name != "station.sited":
		c.Of = "stations"
	case h.Form == events.FormID && name == "label":
		c.Of = "labels"
	}
	return c
}

// mixes gives the products of a tank beyond the first their columns.
func (t *Template) mixes(sample canon.Value) {
	var more []Column
	for n := 1; n < mixes; n++ {
		for _, c := range t.Columns {
			rest, ok := strings.CutPrefix(c.Field, "data.mix[0]")
			if !ok {
				continue
			}
			item := "mix[" + strconv.Itoa(n) + "]"
			h := c.Heading
			h.Text, h.Field, h.Required = strings.Replace(h.Text, "mix[0]", item, 1), "data."+item+rest, false
			more = append(more, t.column(h, sample))
		}
	}
	for i := len(t.Columns) - 1; i >= 0 && len(more) > 0; i-- {
		if strings.HasPrefix(t.Columns[i].Field, "data.mix[0]") {
			t.Columns = slices.Insert(t.Columns, i+1, more...)
			return
		}
	}
}

//go:embed examples.json
var examples []byte

var samples = sync.OnceValues(func() (canon.Value, error) { return canon.Parse(examples) })

// A sample is {"time", "data"}, by kind.
func example(kind string) (canon.Value, error) {
	all, err := samples()
	if err != nil {
		return canon.Value{}, fmt.Errorf("templates: examples: %w", err)
	}
	return all.Get(kind), nil
}

// exampleOf finds the value of a column in the sample, as one would type it.
func (t *Template) exampleOf(h ingest.Heading, sample canon.Value) string {
	switch h.Field {
	case "time":
		if !h.Required { // another column says it
			return ""
		}
		return minutes(sample.Get("time").Str)
	case "id", "actor", "notedtime":
		return ""
	}
	v := sample.Get("data")
	for name := range strings.SplitSeq(strings.TrimPrefix(h.Field, "data."), ".") {
		name, index, _ := strings.Cut(name, "[")
		n, _ := strconv.Atoi(strings.TrimSuffix(index, "]"))
		switch v = v.Get(name); {
		case v.Kind == canon.List && !h.List, v.Kind == canon.List && index != "":
			if n >= len(v.Items) {
				return ""
			}
			v = v.Items[n]
		case n > 0:
			return ""
		}
	}
	return typed(h, v)
}

// typed writes a value as one would type it.
func typed(h ingest.Heading, v canon.Value) string {
	switch v.Kind {
	case canon.List:
		texts := make([]string, len(v.Items))
		for i, item := range v.Items {
			texts[i] = typed(h, item)
		}
		return strings.Join(texts, "; ")
	case canon.Number:
		return units.FormatNumber(v.Num)
	case canon.Bool:
		if v.Bool {
			return "yes"
		}
		return "no"
	case canon.Object:
		if h.Form == events.FormQuantity {
			return converted(h, v)
		}
		if h.Form == events.FormGeometry || h.Form == events.FormAny {
			return string(canon.Bytes(v))
		}
	case canon.String:
		switch h.Form {
		case events.FormPerson:
			return "P07" // as it is printed on a card: nobody types a pseudonym
		case events.FormMoment, events.FormInstant:
			return minutes(v.Str)
		}
		return v.Str
	}
	return ""
}

// converted is a measure in the unit of its heading, three digits of it: 22 cm for 9 inches.
func converted(h ingest.Heading, v canon.Value) string {
	i := strings.LastIndexByte(h.Text, '_')
	code, ok := units.Suffix(h.Text[i+1:])
	if i < 0 || !ok {
		return ""
	}
	if code == v.Get("unit").Str {
		return units.FormatNumber(v.Get("value").Num)
	}
	f, err := units.Convert(v.Get("value").Num, v.Get("unit").Str, code)
	if err != nil || f == 0 {
		return ""
	}
	scale := math.Pow(10, 2-math.Floor(math.Log10(math.Abs(f))))
	return units.FormatNumber(math.Round(f*scale) / scale)
}

// minutes leaves out seconds that are none.
func minutes(at string) string { return strings.Replace(at, ":00-10:00", "-10:00", 1) }

// exampleRow is the example, marked in its first cell.
func (t *Template) exampleRow() []string {
	out := make([]string, len(t.Columns))
	for i, c := range t.Columns {
		out[i] = c.Example
	}
	out[0] = strings.TrimRight(sheets.ExampleMark+": "+out[0], ": ")
	return out
}

// CSV writes headings and the example, lines ended as RFC 4180 has it.
func (t *Template) CSV(w io.Writer) error {
	out := csv.NewWriter(w)
	out.UseCRLF = true
	headings := make([]string, len(t.Columns))
	for i, c := range t.Columns {
		headings[i] = c.Text
	}
	if err := out.WriteAll([][]string{headings, t.exampleRow()}); err != nil {
		return fmt.Errorf("templates: %w", err)
	}
	return nil
}

// keep is as what a spreadsheet is to keep what people type.
func (c *Column) keep() sheets.Keep {
	switch {
	case c.List:
		return sheets.KeepText
	case c.Form == events.FormDate:
		return sheets.KeepDays
	case c.Form == events.FormNumber || c.Form == events.FormCount || c.Form == events.FormQuantity || c.Form == events.FormMoment || c.Form == events.FormInstant:
		return sheets.KeepAny
	}
	return sheets.KeepText
}

// value is the example as a cell.
func (c *Column) value(text string) sheets.Value {
	if d, err := civil.ParseDate(text); err == nil && c.Form == events.FormDate {
		return sheets.Day(d)
	}
	if f, err := strconv.ParseFloat(text, 64); err == nil && c.keep() == sheets.KeepAny {
		return sheets.Figure(f)
	}
	return sheets.Words(text)
}
