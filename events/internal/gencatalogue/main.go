// Gencatalogue writes events/CATALOGUE.md from the Go types of the kinds, their doc comments and their frozen samples.
//
//	go generate ./events
//
// It runs in the folder events. The text that stands around the tables is catalogue.tmpl.
package main

import (
	"bytes"
	_ "embed"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path"
	"reflect"
	"slices"
	"strings"
	"text/template"

	"latewood/events"
	"latewood/events/canon"
	"latewood/events/units"
)

//go:embed catalogue.tmpl
var page string

func main() {
	b, err := document(os.DirFS("."), os.DirFS("../testdata/versions"))
	if err == nil {
		err = os.WriteFile("CATALOGUE.md", b, 0o644)
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, "gencatalogue:", err)
		os.Exit(1)
	}
}

// The template's values.
type (
	catalogue struct {
		Kinds      []kind
		Forms      []form
		Dimensions []dimension
		Shared     []shared
	}
	kind struct {
		shared
		Version  int
		Anchor   string
		TimeFrom []string
		Starts   string
		Chains   []chain
		Example  string
	}
	shared struct {
		Name, Doc string
		Fields    []field
		OneOf     [][]string
		Given     []events.Given
		Relations []relation
	}
	relation struct {
		How   string // order, sum, apart
		Paths []string
	}
	field struct {
		Positive       bool
		Path, Doc      string
		Required       bool
		One, Many      bool   // one or a list, a list
		Shared, Anchor string // the shape that is told elsewhere
		Form           string
		Words          []string
		Dims           []units.Dimension
		Low, High      string
	}
	form      struct{ Name, Doc string }
	dimension struct {
		Name  units.Dimension
		Codes []string
		Base  string
	}
	chain struct {
		How, Class string
		Paths      []string
	}
)

// document makes the page: source is the folder of the package events, samples that of the frozen samples.
func document(source, samples fs.FS) ([]byte, error) {
	docs, forms, err := comments(source)
	if err != nil {
		return nil, err
	}
	c := catalogue{Forms: forms}
	for _, d := range units.Dimensions() {
		c.Dimensions = append(c.Dimensions, dimension{d, units.Codes(d), d.Base()})
	}
	kinds := events.Standard().Kinds()
	common := shapesInMany(kinds)
	told := func(t string) bool { return common[t] != nil }
	common["Common"] = &events.Shape{Type: "Common", Form: events.FormObject, Fields: commonFields(kinds[0].Shape)}
	for _, name := range sorted(common) {
		c.Shared = append(c.Shared, tell(name, docs[name], common[name], told))
	}
	for _, k := range kinds {
		of := reflect.TypeOf(k.New()).Elem().Name()
		shape := *k.Shape
		shape.Fields = slices.DeleteFunc(slices.Clone(shape.Fields), func(f events.Field) bool { return common["Common"].Field(f.Name) != nil })
		out := kind{
			shared: tell(k.Name, docs[of], &shape, told), Version: k.Version, Anchor: anchor(k.Name), TimeFrom: k.TimeFrom, Starts: k.Starts,
		}
		body, err := fs.ReadFile(samples, k.Type()+".json")
		if err != nil {
			return nil, fmt.Errorf("the sample of %s: %w", k.Name, err)
		}
		r, err := events.ParseRecord(1, body)
		if err != nil {
			return nil, err
		}
		data, err := canon.Parse(r.Data)
		if err != nil {
			return nil, err
		}
		out.Chains = chainsOf(k, r.ID, data)
		out.Example = show(data, k.Shape, "")
		c.Kinds = append(c.Kinds, out)
	}
	t, err := template.New("catalogue").Parse(page)
	if err != nil {
		return nil, err
	}
	var b bytes.Buffer
	if err := t.Execute(&b, c); err != nil {
		return nil, err
	}
	return b.Bytes(), nil
}

// comments reads the doc comments of the types, by name, and the comments of the forms, in their order.
func comments(source fs.FS) (docs map[string]string, forms []form, err error) {
	docs = map[string]string{}
	files, err := fs.Glob(source, "*.go")
	if err != nil {
		return nil, nil, err
	}
	for _, name := range files {
		if strings.HasSuffix(name, "_test.go") {
			continue
		}
		b, err := fs.ReadFile(source, name)
		if err != nil {
			return nil, nil, err
		}
		f, err := parser.ParseFile(token.NewFileSet(), path.Base(name), b, parser.ParseComments)
		if err != nil {
			return nil, nil, err
		}
		for _, d := range f.Decls {
			g, ok := d.(*ast.GenDecl)
			if !ok {
				continue
			}
			for _, spec := range g.Specs {
				switch spec := spec.(type) {
				case *ast.TypeSpec:
					doc := spec.Doc
					if doc == nil {
						doc = g.Doc
					}
					docs[spec.Name.Name] = plain(doc, spec.Name.Name)
				case *ast.ValueSpec:
					if id, ok := spec.Type.(*ast.Ident); ok && id.Name == "Form" && spec.Comment != nil {
						value := spec.Values[0].(*ast.BasicLit).Value
						forms = append(forms, form{strings.Trim(value, `"`), strings.ReplaceAll(plain(spec.Comment, ""), "|", "\\|")})
					}
				}
			}
		}
	}
	return docs, forms, nil
}

// plain is a doc comment as one paragraph, without the name that Go style begins it with: "TreePruned is a cut" says
// "A cut".
func plain(doc *ast.CommentGroup, name string) string {
	text := strings.Join(strings.Fields(doc.Text()), " ")
	for _, begin := range []string{name + " is ", "A " + name + " is ", "An " + name + " is "} {
		if rest, ok := strings.CutPrefix(text, begin); ok && name != "" {
			return strings.ToUpper(rest[:1]) + rest[1:]
		}
	}
	for _, begin := range []string{name + " ", "A " + name + " ", "An " + name + " "} {
		if rest, ok := strings.CutPrefix(text, begin); ok && name != "" {
			return strings.ToUpper(rest[:1]) + rest[1:]
		}
	}
	return text
}

// shapesInMany finds the objects that stand in more than one place, by their types.
func shapesInMany(kinds []*events.Kind) map[string]*events.Shape {
	count := map[string]int{}
	shapes := map[string]*events.Shape{}
	var visit func(s *events.Shape, top bool)
	visit = func(s *events.Shape, top bool) {
		if s.Form == events.FormObject && !top {
			count[s.Type]++
			shapes[s.Type] = s
		}
		for _, f := range s.Fields {
			visit(f.Shape, false)
		}
		if s.Elem != nil {
			visit(s.Elem, false)
		}
	}
	for _, k := range kinds {
		visit(k.Shape, true)
	}
	for name, n := range count {
		if n < 2 {
			delete(shapes, name)
		}
	}
	return shapes
}

// commonFields are the fields that every kind carries: the last of each, as many as the type Common has.
func commonFields(s *events.Shape) []events.Field {
	n := reflect.TypeFor[events.Common]().NumField()
	return s.Fields[len(s.Fields)-n:]
}

func sorted(m map[string]*events.Shape) []string {
	var out []string
	for name := range m {
		out = append(out, name)
	}
	slices.Sort(out)
	return out
}

// anchor is the fragment by which a heading is linked.
func anchor(heading string) string {
	return strings.ToLower(strings.ReplaceAll(heading, ".", ""))
}

// tell lists an object's fields, those of groups inside it too, unless such a group is told elsewhere.
func tell(name, doc string, s *events.Shape, told func(string) bool) shared {
	out := shared{Name: name, Doc: doc, OneOf: s.OneOf, Given: s.Given, Relations: relations(s, "")}
	var visit func(s *events.Shape, path string)
	visit = func(s *events.Shape, path string) {
		for _, f := range s.Fields {
			row := field{Path: path + f.Name, Doc: f.Doc, Required: f.Required}
			inner := f.Shape
			below := row.Path + "."
			if inner.Elem != nil {
				row.Many, row.One = true, inner.Form == events.FormOneOrMany
				if !row.One {
					below = row.Path + "[]."
				}
				inner = inner.Elem
			}
			row.Form, row.Words, row.Dims = string(inner.Form), inner.Enum, inner.Dims
			row.Low, row.High = limits(inner)
			row.Positive = inner.Positive
			group := inner.Form == events.FormObject
			if group && told(inner.Type) {
				row.Shared, row.Anchor = inner.Type, anchor(inner.Type)
				group = false
			}
			out.Fields = append(out.Fields, row)
			if group {
				visit(inner, below)
				for _, names := range inner.OneOf {
					var paths []string
					for _, n := range names {
						paths = append(paths, below+n)
					}
					out.OneOf = append(out.OneOf, paths)
				}
				out.Relations = append(out.Relations, relations(inner, below)...)
			}
		}
	}
	visit(s, "")
	return out
}

// relations are how the fields of one object hang together, with their paths.
func relations(s *events.Shape, below string) []relation {
	var out []relation
	for _, r := range []struct {
		how  string
		each [][]string
	}{{"order", s.Order}, {"sum", s.Sums}, {"apart", s.Apart}} {
		for _, names := range r.each {
			paths := make([]string, len(names))
			for i, name := range names {
				paths[i] = below + name
			}
			out = append(out, relation{r.how, paths})
		}
	}
	return out
}

// limits are those that a field sets itself.
func limits(s *events.Shape) (low, high string) {
	if s.Min != nil {
		low = units.FormatNumber(*s.Min)
	}
	if s.Max != nil {
		high = units.FormatNumber(*s.Max)
	}
	if s.Least != nil {
		low = s.Least.String()
	}
	if s.Most != nil {
		high = s.Most.String()
	}
	return low, high
}

// chainsOf says where a kind's own chains come from, by looking where the names in those of its sample stand in its data.
func chainsOf(k *events.Kind, id events.ID, data canon.Value) []chain {
	switch k.Name {
	case "record.corrected":
		return []chain{{How: "corrected"}}
	case "record.withdrawn":
		return []chain{{How: "followed"}}
	}
	var out []chain
	for _, name := range k.OwnChains(id, data) {
		class, rest, _ := strings.Cut(name, "/")
		c := chain{How: "field", Class: class}
		switch {
		case name == events.FarmChain:
			c.How = "farm"
		case rest == id.String():
			c.How = "own"
		default:
			if c.Paths = find(data, name, ""); c.Paths != nil {
				c.How = "heads"
			} else {
				c.Paths = find(data, rest, "")
			}
		}
		// Two blocks of one field give one line.
		if i := slices.IndexFunc(out, func(o chain) bool { return o.How == c.How && (o.Class == c.Class || o.How == "heads") }); i >= 0 {
			for _, p := range c.Paths {
				if !slices.Contains(out[i].Paths, p) {
					out[i].Paths = append(out[i].Paths, p)
				}
			}
			continue
		}
		out = append(out, c)
	}
	return out
}

// find lists the paths at which a text stands.
func find(v canon.Value, text, at string) []string {
	var out []string
	switch v.Kind {
	case canon.String:
		if v.Str == text {
			out = append(out, strings.TrimPrefix(at, "."))
		}
	case canon.List:
		for _, item := range v.Items {
			out = append(out, find(item, text, at)...)
		}
	case canon.Object:
		for _, m := range v.Members {
			out = append(out, find(m.Value, text, at+"."+m.Name)...)
		}
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// wide is the longest line of an example that is not broken.
const wide = 110

// show writes a value for people, fields in the order of the type, on as few lines as are readable.
func show(v canon.Value, s *events.Shape, indent string) string {
	if one := line(v, s); len(indent)+len(one) <= wide {
		return one
	}
	deeper := indent + "  "
	var rows []string
	open, close := "{", "}"
	switch v.Kind {
	case canon.Object:
		for _, m := range inOrder(v, s) {
			rows = append(rows, fmt.Sprintf("%q: %s", m.Name, show(m.Value, below(s, m.Name), deeper)))
		}
	case canon.List:
		open, close = "[", "]"
		for _, item := range v.Items {
			rows = append(rows, show(item, below(s, ""), deeper))
		}
	default:
		return line(v, s)
	}
	return open + "\n" + deeper + strings.Join(rows, ",\n"+deeper) + "\n" + indent + close
}

func line(v canon.Value, s *events.Shape) string {
	var rows []string
	switch v.Kind {
	case canon.Object:
		for _, m := range inOrder(v, s) {
			rows = append(rows, fmt.Sprintf("%q: %s", m.Name, line(m.Value, below(s, m.Name))))
		}
		return "{" + strings.Join(rows, ", ") + "}"
	case canon.List:
		for _, item := range v.Items {
			rows = append(rows, line(item, below(s, "")))
		}
		return "[" + strings.Join(rows, ", ") + "]"
	}
	return string(canon.Bytes(v))
}

// below is the shape inside another: of a member, or of an item. It is nil where nobody knows.
func below(s *events.Shape, name string) *events.Shape {
	for s != nil && s.Elem != nil {
		if name == "" {
			return s.Elem
		}
		s = s.Elem
	}
	if s == nil {
		return nil
	}
	if f := s.Field(name); f != nil {
		return f.Shape
	}
	return nil
}

// inOrder gives an object's members in the order of its type; a quantity's value before its unit.
func inOrder(v canon.Value, s *events.Shape) []canon.Member {
	members := slices.Clone(v.Members)
	for s != nil && s.Elem != nil {
		s = s.Elem
	}
	if s == nil {
		return members
	}
	if s.Form == events.FormQuantity {
		slices.Reverse(members)
		return members
	}
	at := func(m canon.Member) int {
		return slices.IndexFunc(s.Fields, func(f events.Field) bool { return f.Name == m.Name })
	}
	slices.SortStableFunc(members, func(a, b canon.Member) int { return at(a) - at(b) })
	return members
}
