package ingest

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"maps"
	"slices"
	"strconv"
	"strings"

	"go.yaml.in/yaml/v4"

	"latewood/events"
	"latewood/events/words"
)

// maxMap is the largest map file in bytes.
const maxMap = 256 << 10

//words:data the keys of a map file
var mapKeys = []string{"kind", "columns", "constants", "names", "dateOrder", "decimal", "ignore", "missing", "unpivot", "skip", "heading", "skipRows", "down", "sheets", "sheetInto", "hidden", "merged"}

// ReadMap reads a map from a YAML file:
//
//	kind: picks
//	columns:
//	  Date: time
//	  Weight: mass[kg]
//	  Remarks: "-"
//	constants:
//	  massBasis: scale
//	names:
//	  block: {"North Block": north}
//	dateOrder: dmy          # or mdy, ymd
//	decimal: comma          # or point
//	ignore: [Initials]
//	missing: ["n/a"]
//	unpivot:
//	  columns: [Monday, Tuesday]    # or pattern: "2026-*"
//	  into: {heading: time, value: "mass[kg]"}
//	skip: 3                 # lines above the heading; or heading: 4, the heading's own line
//	skipRows: ["Total*"]    # rows whose first cell looks like this
//	down: [Date]            # an empty cell says what the one above it says
//	sheets: ["Block *"]     # of a workbook
//	sheetInto: block        # where the name of the sheet goes; names are looked up as for a column
//	hidden: leave           # or take: hidden rows
//	merged: repeat          # joined cells all have what the first has
//
// All texts are taken as they are written: 2026-06-01 and yes stay what they are. name is what messages call the file. The
// error is Refusals, or that of r.
func ReadMap(name string, r io.Reader) (*Map, error) {
	text, err := io.ReadAll(io.LimitReader(r, maxMap+1))
	if err != nil {
		return nil, fmt.Errorf("ingest: reading the map: %w", err)
	}
	in := mapReader{name: name}
	if len(text) > maxMap {
		in.refuse(0, "", nil, say("ingest.map-large", "most", maxMap), say("ingest.map-yaml-instead"))
		return nil, in.refusals
	}
	root, err := parseYAML(text)
	switch {
	case err != nil:
		in.refuse(0, "", nil, say("ingest.map-yaml", "cause", oneLine(err)), say("ingest.map-yaml-instead"))
		return nil, in.refusals
	case root == nil:
		in.refuse(0, "", nil, say("ingest.empty"), say("ingest.map-yaml-instead"))
		return nil, in.refusals
	}
	m := &Map{}
	in.read(root, m)
	if len(in.refusals) > 0 {
		return nil, in.refusals
	}
	return m, nil
}

// parseYAML gives the root of the only document in text, nil where there is none.
func parseYAML(text []byte) (root *yaml.Node, err error) {
	// The parser is somebody else's and the text is a stranger's. A fault of the one over the other is a map that cannot be
	// read, not the end of the program.
	defer func() {
		if r := recover(); r != nil {
			root, err = nil, fmt.Errorf("ingest: the YAML parser failed: %v", r)
		}
	}()
	d := yaml.NewDecoder(bytes.NewReader(text))
	var doc, more yaml.Node
	if err := d.Decode(&doc); err != nil {
		if errors.Is(err, io.EOF) {
			return nil, nil
		}
		return nil, err
	}
	if err := d.Decode(&more); !errors.Is(err, io.EOF) {
		return nil, errors.New("ingest: more than one YAML document")
	}
	if doc.Kind == yaml.DocumentNode && len(doc.Content) == 1 {
		return doc.Content[0], nil
	}
	return &doc, nil
}

func oneLine(err error) string { return strings.Join(strings.Fields(err.Error()), " ") }

// A mapReader walks the nodes of a map file and collects what is wrong.
type mapReader struct {
	name     string
	refusals Refusals
}

func (in *mapReader) refuse(line int, column string, value any, why, instead events.Sentence) {
	in.refusals = append(in.refusals, Refusal{File: in.name, Line: line, Column: column, Problem: events.Problem{Value: value, Why: why, Instead: instead}})
}

// each goes through the pairs of a mapping, each key once.
func (in *mapReader) each(n *yaml.Node, what string, do func(key string, line int, value *yaml.Node)) {
	if n.Kind != yaml.MappingNode {
		in.refuse(n.Line, what, nil, say("ingest.map-mapping"), say("ingest.map-mapping-instead"))
		return
	}
	seen := map[string]bool{}
	for i := 0; i+1 < len(n.Content); i += 2 {
		key, value := n.Content[i], n.Content[i+1]
		text, ok := in.scalar(key, what)
		switch {
		case !ok:
		case seen[text]:
			in.refuse(key.Line, text, nil, say("ingest.map-doubled"), say("ingest.map-doubled-instead"))
		default:
			seen[text] = true
			do(text, key.Line, value)
		}
	}
}

// scalar takes a text as it is written. An alias (*name) is none: a map is short enough to say things twice.
func (in *mapReader) scalar(n *yaml.Node, what string) (string, bool) {
	if n.Kind != yaml.ScalarNode || n.Tag == "!!null" || strip(n.Value) == "" {
		in.refuse(n.Line, what, nil, say("ingest.map-scalar"), say("ingest.map-scalar-instead"))
		return "", false
	}
	return strip(n.Value), true
}

// texts takes a list of texts, or one text.
func (in *mapReader) texts(n *yaml.Node, what string) []string {
	if n.Kind != yaml.SequenceNode {
		text, ok := in.scalar(n, what)
		if !ok {
			return nil
		}
		return []string{text}
	}
	var out []string
	for _, item := range n.Content {
		if text, ok := in.scalar(item, what); ok {
			out = append(out, text)
		}
	}
	return out
}

func (in *mapReader) read(root *yaml.Node, m *Map) {
	skips := 0
	in.each(root, "", func(key string, line int, value *yaml.Node) {
		switch key {
		case "kind":
			m.Kind, _ = in.scalar(value, key)
		case "columns":
			in.each(value, key, func(heading string, _ int, value *yaml.Node) {
				if fields := in.texts(value, heading); len(fields) > 0 {
					m.Columns = append(m.Columns, MapColumn{heading, strings.Join(fields, "+")})
				}
			})
		case "constants":
			in.each(value, key, func(name string, _ int, value *yaml.Node) {
				if text, ok := in.scalar(value, name); ok {
					m.Constants = append(m.Constants, MapConstant{name, text})
				}
			})
		case "names":
			in.each(value, key, func(name string, _ int, value *yaml.Node) {
				codes := map[string]string{}
				in.each(value, name, func(said string, _ int, value *yaml.Node) {
					if code, ok := in.scalar(value, said); ok {
						codes[said] = code
					}
				})
				if m.Names == nil {
					m.Names = map[string]map[string]string{}
				}
				m.Names[name] = codes
			})
		case "dateOrder":
			text, ok := in.scalar(value, key)
			if m.DateOrder, _ = dateOrder(text); ok && m.DateOrder == AnyOrder {
				in.refuse(value.Line, key, text, say("ingest.map-word"), say("refuse.one-word-of", "words", strings.Join([]string{string(DMY), string(MDY), string(YMD)}, ", ")))
			}
		case "decimal":
			text, ok := in.scalar(value, key)
			if m.DecimalComma = text == "comma"; ok && text != "comma" && text != "point" {
				in.refuse(value.Line, key, text, say("ingest.map-word"), say("refuse.one-word-of", "words", "comma, point"))
			}
		case "ignore":
			m.Ignore = in.texts(value, key)
		case "missing":
			m.Missing = in.texts(value, key)
		case "unpivot":
			m.Unpivot = in.unpivot(value, line)
		case "skip":
			skips++
			m.Skip = in.number(value, key, 0)
		case "heading":
			skips++
			m.Skip = max(in.number(value, key, 1)-1, 0)
		case "skipRows":
			m.SkipRows = in.texts(value, key)
		case "down":
			m.Down = in.texts(value, key)
		case "sheets":
			m.Sheets = in.texts(value, key)
		case "sheetInto":
			m.SheetInto, _ = in.scalar(value, key)
		case "hidden":
			m.Hidden = in.oneWord(value, key, hiddenTake, hiddenLeave)
		case "merged":
			m.Merged = in.oneWord(value, key, mergedRepeat)
		default:
			in.unknownKey(line, key, mapKeys)
		}
		if skips == 2 {
			skips++
			in.refuse(line, key, nil, say("tables.map-skip"), say("ingest.map-doubled-instead"))
		}
	})
}

// number takes a count of lines.
func (in *mapReader) number(n *yaml.Node, what string, least int) int {
	text, ok := in.scalar(n, what)
	if !ok {
		return 0
	}
	i, err := strconv.Atoi(text)
	if err != nil || i < least || i > maxSkip {
		in.refuse(n.Line, what, text, say("tables.map-number"), say("tables.map-number-instead", "least", least, "most", maxSkip))
		return 0
	}
	return i
}

// oneWord takes one of some words.
func (in *mapReader) oneWord(n *yaml.Node, what string, of ...string) string {
	text, ok := in.scalar(n, what)
	if ok && !slices.Contains(of, text) {
		in.refuse(n.Line, what, text, say("ingest.map-word"), say("refuse.one-word-of", "words", strings.Join(of, ", ")))
	}
	return text
}

func (in *mapReader) unknownKey(line int, key string, keys []string) {
	instead := say("refuse.one-word-of", "words", strings.Join(keys, ", "))
	if near := nearest(key, keys); near != "" {
		instead = say("refuse.did-you-mean", "near", near)
	}
	in.refuse(line, key, nil, say("ingest.map-key"), instead)
}

func (in *mapReader) unpivot(n *yaml.Node, at int) *Unpivot {
	u := &Unpivot{}
	in.each(n, "unpivot", func(key string, line int, value *yaml.Node) {
		switch key {
		case "columns":
			u.Columns = in.texts(value, key)
		case "pattern":
			u.Pattern, _ = in.scalar(value, key)
		case "into":
			in.each(value, key, func(key string, line int, value *yaml.Node) {
				switch key {
				case "heading":
					u.Heading, _ = in.scalar(value, key)
				case "value":
					u.Value, _ = in.scalar(value, key)
				default:
					in.unknownKey(line, key, []string{"heading", "value"})
				}
			})
		default:
			in.unknownKey(line, key, []string{"columns", "pattern", "into"})
		}
	})
	if len(u.Columns) == 0 && u.Pattern == "" || u.Heading == "" || u.Value == "" {
		in.refuse(at, "unpivot", nil, say("ingest.unpivot-half"), say("ingest.unpivot-half-instead"))
	}
	return u
}

// String writes the map as the text of a file that ReadMap reads to the same map. It begins with a comment that asks to be
// read.
func (m *Map) String() string {
	root := &yaml.Node{Kind: yaml.MappingNode}
	add := func(n *yaml.Node, key string, value *yaml.Node) {
		n.Content = append(n.Content, text(key), value)
	}
	if m.Kind != "" {
		add(root, "kind", text(m.Kind))
	}
	if len(m.Columns) > 0 {
		n := &yaml.Node{Kind: yaml.MappingNode}
		for _, c := range m.Columns {
			add(n, c.Heading, text(c.Field))
		}
		add(root, "columns", n)
	}
	if len(m.Constants) > 0 {
		n := &yaml.Node{Kind: yaml.MappingNode}
		for _, c := range m.Constants {
			add(n, c.Field, text(c.Value))
		}
		add(root, "constants", n)
	}
	if len(m.Names) > 0 {
		n := &yaml.Node{Kind: yaml.MappingNode}
		for _, name := range m.named() {
			codes := &yaml.Node{Kind: yaml.MappingNode}
			for _, said := range slices.Sorted(maps.Keys(m.Names[name])) {
				add(codes, said, text(m.Names[name][said]))
			}
			add(n, name, codes)
		}
		add(root, "names", n)
	}
	if m.DateOrder != AnyOrder {
		add(root, "dateOrder", text(string(m.DateOrder)))
	}
	if m.DecimalComma {
		add(root, "decimal", text("comma"))
	}
	for _, l := range []struct {
		key   string
		texts []string
	}{{"ignore", m.Ignore}, {"missing", m.Missing}, {"skipRows", m.SkipRows}, {"down", m.Down}, {"sheets", m.Sheets}} {
		if len(l.texts) > 0 {
			add(root, l.key, list(l.texts))
		}
	}
	for _, w := range []struct{ key, word string }{{"sheetInto", m.SheetInto}, {"hidden", m.Hidden}, {"merged", m.Merged}} {
		if w.word != "" {
			add(root, w.key, text(w.word))
		}
	}
	if m.Skip > 0 {
		add(root, "skip", text(strconv.Itoa(m.Skip)))
	}
	if u := m.Unpivot; u != nil {
		n := &yaml.Node{Kind: yaml.MappingNode}
		if len(u.Columns) > 0 {
			add(n, "columns", list(u.Columns))
		}
		if u.Pattern != "" {
			add(n, "pattern", text(u.Pattern))
		}
		into := &yaml.Node{Kind: yaml.MappingNode}
		add(into, "heading", text(u.Heading))
		add(into, "value", text(u.Value))
		add(n, "into", into)
		add(root, "unpivot", n)
	}
	root.HeadComment = words.Say("ingest.map-comment")
	var b bytes.Buffer
	e := yaml.NewEncoder(&b)
	e.SetIndent(2)
	// Neither can fail: the nodes are well built, and the buffer takes everything.
	if err := errors.Join(e.Encode(root), e.Close()); err != nil {
		return ""
	}
	return b.String()
}

func text(s string) *yaml.Node {
	n := &yaml.Node{}
	n.SetString(s)
	return n
}

func list(texts []string) *yaml.Node {
	n := &yaml.Node{Kind: yaml.SequenceNode, Style: yaml.FlowStyle}
	for _, s := range texts {
		n.Content = append(n.Content, text(s))
	}
	return n
}
