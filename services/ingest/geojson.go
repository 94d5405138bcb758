package ingest

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"math"
	"regexp"
	"slices"
	"strings"

	"latewood/events"
	"latewood/events/canon"
	"latewood/services/internal/sheets"
)

// GeoJSON is a map of blocks or trees (RFC 7946).
const GeoJSON Format = "geojson"

// blockKind is the kind that an area on a map makes; a point makes a tree.
const blockKind = "block.established"

// maxGeo is the largest GeoJSON file in bytes. A tree takes about 300.
const maxGeo = 64 << 20

// The headings under which a feature's geometry and its id stand, beside those of its properties.
const (
	geometryColumn = "geometry"
	featureColumn  = "@id"
)

//words:data the beginning of a GeoJSON object
var geoType = regexp.MustCompile(`"type"\s*:\s*"(FeatureCollection|Feature)"`)

// isGeoJSON tells a map from JSON Lines by its first object: records have another type.
func isGeoJSON(o Options, head []byte) bool {
	if strings.TrimSpace(o.As) == string(GeoJSON) {
		return true
	}
	head = bytes.TrimLeft(head, " \t\r\n")
	at := geoType.FindIndex(head)
	return head[0] == '{' && at != nil && !bytes.Contains(head[:at[0]], []byte(`"data"`))
}

// A geo reads the features of one file, each as a row of a table whose columns are the properties. Features of one kind can
// have different properties, so the whole file is looked at before the first is given.
type geo struct {
	rows   []geoRow
	tables map[string]*table // by kind
}

type geoRow struct {
	line    int
	kind    string // empty: problem says why
	cells   []cell
	problem *events.Problem
}

// next gives the next feature.
func (g *geo) next() (Row, error) {
	for {
		if len(g.rows) == 0 {
			return Row{}, io.EOF
		}
		at := g.rows[0]
		if at.problem != nil {
			g.rows = g.rows[1:]
			return Row{Line: at.line, Problems: events.Problems{*at.problem}}, nil
		}
		t := g.tables[at.kind]
		if len(t.waiting) == 0 {
			t.grid.(*geoGrid).rows = append(t.grid.(*geoGrid).rows, at)
		}
		row, err := t.next()
		if len(t.waiting) == 0 {
			g.rows = g.rows[1:]
		}
		if errors.Is(err, io.EOF) {
			continue // the map passes over it
		}
		return row, err
	}
}

// A geoGrid gives the features that it is handed, one at a time.
type geoGrid struct{ rows []geoRow }

func (g *geoGrid) row() ([]cell, int, events.Problems, error) {
	if len(g.rows) == 0 {
		return nil, 0, nil, io.EOF
	}
	r := g.rows[0]
	g.rows = g.rows[:0]
	return r.cells, r.line, nil, nil
}

// A feature is one feature as it was read.
type feature struct {
	line     int
	value    canon.Value
	kind     string
	geometry canon.Value
}

// openGeo reads a GeoJSON file.
func openGeo(r io.Reader, kind *events.Kind, m *Map, o Options) (*Reader, error) {
	found, problems, err := features(r, kind, o)
	if err != nil {
		return nil, err
	}
	out := &Reader{format: GeoJSON, kind: kind, mapped: o.Map}
	src := &geo{rows: problems, tables: map[string]*table{}}
	for _, k := range []string{blockKind, treeKind} {
		var of []feature
		for _, f := range found {
			if f.kind == k {
				of = append(of, f)
			}
		}
		if len(of) == 0 {
			continue
		}
		t, rows, err := geoTable(of, k, m, o)
		if err != nil {
			return nil, err
		}
		src.tables[k], src.rows = t, append(src.rows, rows...)
		for _, h := range t.leftOut {
			if h != featureColumn && !slices.Contains(out.leftOut, h) {
				out.leftOut = append(out.leftOut, h)
			}
		}
		out.kind = t.sheet.kind
	}
	if len(src.tables) > 1 {
		out.kind = nil
	}
	slices.SortStableFunc(src.rows, func(a, b geoRow) int { return a.line - b.line })
	out.src = src
	return out, nil
}

// geoCells puts the features of one kind under headings: the geometry, the feature's id, and every property that one has.
func geoCells(of []feature, kindName string, o Options) (headings []string, rows []geoRow, err error) {
	headings = []string{geometryColumn, featureColumn}
	index := map[string]int{}
	for _, f := range of {
		for _, p := range f.value.Get("properties").Members {
			name := strip(p.Name)
			if _, known := index[name]; !known && name != "" {
				index[name] = len(headings)
				headings = append(headings, name)
			}
		}
		if len(headings) > maxColumns {
			return nil, nil, refused(o.Name, f.line, "", events.Problem{Why: say("ingest.columns", "most", maxColumns), Instead: say("ingest.columns-instead")})
		}
	}
	for i, h := range headings[2:] {
		if sameHeading(h, geometryColumn) || sameHeading(h, featureColumn) {
			headings[i+2] = "properties." + h
		}
	}
	for _, f := range of {
		cells := make([]cell, len(headings))
		if f.geometry.Kind == canon.Object {
			cells[0].text = string(canon.Bytes(f.geometry))
		}
		cells[1] = property(f.value.Get("id"))
		for _, p := range f.value.Get("properties").Members {
			if at, ok := index[strip(p.Name)]; ok {
				cells[at] = property(p.Value)
			}
		}
		rows = append(rows, geoRow{line: f.line, kind: kindName, cells: cells})
	}
	return headings, rows, nil
}

// proposeGeo guesses a map for the properties of the kind that most features are of.
func proposeGeo(r io.Reader, o Options) (*Map, error) {
	var kind *events.Kind
	if k, p := kindOf(o.Catalogue, o.As); p == nil {
		kind = k
	}
	found, _, err := features(r, kind, o)
	if err != nil {
		return nil, err
	}
	by := map[string][]feature{}
	for _, f := range found {
		by[f.kind] = append(by[f.kind], f)
	}
	most := blockKind
	if len(by[treeKind]) > len(by[blockKind]) {
		most = treeKind
	}
	if len(by[most]) == 0 {
		return nil, refused(o.Name, 1, "", events.Problem{Why: say("tables.geo-none"), Instead: say("tables.geo-none-instead")})
	}
	headings, rows, err := geoCells(by[most], most, o)
	if err != nil {
		return nil, err
	}
	var texts [][]string
	for _, r := range rows[:min(len(rows), sampled)] {
		var row []string
		for _, c := range r.cells[2:] {
			row = append(row, c.text)
		}
		texts = append(texts, row)
	}
	return ProposeMap(o.Catalogue, most, headings[2:], texts), nil
}

// geoTable makes a table of the features of one kind.
func geoTable(of []feature, kindName string, m *Map, o Options) (*table, []geoRow, error) {
	headings, rows, err := geoCells(of, kindName, o)
	if err != nil {
		return nil, nil, err
	}
	kind := o.Catalogue.Kind(kindName)
	if kind == nil {
		return nil, nil, refused(o.Name, 0, "", events.Problem{Value: kindName, Why: say("ingest.as", "as", kindName)})
	}
	// The geometry goes where the kind has one, unless the map leads it elsewhere or away.
	with := *m
	if _, mapped := m.field(geometryColumn); !mapped {
		with.Columns = append(slices.Clone(m.Columns), MapColumn{geometryColumn, map[string]string{blockKind: "outline", treeKind: geometryColumn}[kindName]})
	}
	if _, mapped := m.field(featureColumn); !mapped {
		with.Columns = append(slices.Clone(with.Columns), MapColumn{featureColumn, "-"})
	}
	if kindName == treeKind {
		split(&with, headings, rows)
		headings = append(headings, "geometry.latitude", "geometry.longitude")
	}
	t, err := newTable(&geoGrid{}, headings, of[0].line, kind, &with, o)
	return t, rows, err
}

// split gives the two numbers of a tree's point columns of their own, as the record has them.
func split(m *Map, headings []string, rows []geoRow) {
	for i := range rows {
		var lat, lon cell
		if v, err := canon.Parse([]byte(rows[i].cells[0].text)); err == nil {
			if at := v.Get("coordinates").Items; len(at) >= 2 {
				lon = cell{text: string(canon.Bytes(at[0])), kind: sheets.Number}
				lat = cell{text: string(canon.Bytes(at[1])), kind: sheets.Number}
			}
		}
		rows[i].cells = append(rows[i].cells, lat, lon)
	}
	for j, c := range m.Columns {
		if sameHeading(c.Heading, geometryColumn) {
			m.Columns = slices.Clone(m.Columns)
			if c.Field != "-" {
				m.Columns = append(m.Columns, MapColumn{"geometry.latitude", "point.latitude"}, MapColumn{"geometry.longitude", "point.longitude"})
			} else {
				m.Columns = append(m.Columns, MapColumn{"geometry.latitude", "-"}, MapColumn{"geometry.longitude", "-"})
			}
			m.Columns[j].Field = "-"
			return
		}
	}
}

// property makes a cell of the value of a property. Lists and objects stay JSON.
func property(v canon.Value) cell {
	switch v.Kind {
	case canon.String:
		return cell{text: v.Str, kind: sheets.Text}
	case canon.Number:
		return cell{text: string(canon.Bytes(v)), kind: sheets.Number}
	case canon.Absent, canon.Null:
		return cell{}
	}
	return cell{text: string(canon.Bytes(v))}
}

// features reads the features of a file, and says which cannot be used.
func features(r io.Reader, kind *events.Kind, o Options) (found []feature, bad []geoRow, err error) {
	text, err := io.ReadAll(io.LimitReader(r, maxGeo+1))
	if err != nil {
		return nil, nil, fmt.Errorf("ingest: reading: %w", err)
	}
	no := func(line int, why, instead events.Sentence) error {
		return refused(o.Name, line, "", events.Problem{Why: why, Instead: instead})
	}
	if len(text) > maxGeo {
		return nil, nil, no(0, say("tables.geo-large", "most", maxGeo>>20), say("tables.geo-large-instead"))
	}
	if kind != nil && kind.Name != blockKind && kind.Name != treeKind {
		return nil, nil, no(0, say("tables.geo-kind", "kind", kind.Name), say("tables.geo-kind-instead"))
	}
	whole := members(text)
	if old, ok := whole["crs"]; ok && !bytes.Contains(old.text, []byte("CRS84")) && !bytes.Contains(old.text, []byte("4326")) && strings.TrimSpace(string(old.text)) != "null" {
		return nil, nil, no(lineAt(text, old.at), say("tables.geo-crs"), say("tables.geo-crs-instead"))
	}
	var parts []jsonPart
	switch {
	case whole == nil:
	case strings.Trim(string(whole["type"].text), "\"") == "Feature":
		parts = []jsonPart{{at: bytes.IndexByte(text, '{'), text: bytes.TrimSpace(text)}}
	default:
		parts = items(whole["features"])
	}
	if parts == nil {
		if _, err := canon.Parse(text); err != nil {
			if e, ok := canon.IsSyntax(err); ok {
				return nil, nil, no(lineAt(text, e.Offset), say("ingest.json-syntax", "what", say("json."+e.What, "offset", e.Offset, "text", e.Text)), say("tables.geo-broken-instead"))
			}
		}
		return nil, nil, no(1, say("tables.geo-none"), say("tables.geo-none-instead"))
	}
	line, from := 1, 0
	for _, p := range parts {
		line += bytes.Count(text[from:p.at], []byte("\n"))
		from = p.at
		f := feature{line: line}
		if problem := f.read(p.text, kind); problem != nil {
			bad = append(bad, geoRow{line: line, problem: problem})
			continue
		}
		found = append(found, f)
	}
	return found, bad, nil
}

func lineAt(text []byte, at int) int {
	return 1 + bytes.Count(text[:min(max(at, 0), len(text))], []byte("\n"))
}

// read takes a feature apart.
func (f *feature) read(text []byte, kind *events.Kind) *events.Problem {
	v, err := canon.Parse(text)
	if err != nil {
		e, ok := canon.IsSyntax(err)
		if !ok {
			e = &canon.SyntaxError{What: canon.Unexpected}
		}
		return &events.Problem{Why: say("ingest.json-syntax", "what", say("json."+e.What, "offset", e.Offset, "text", e.Text)), Instead: say("tables.geo-broken-instead")}
	}
	if v.Kind != canon.Object || v.Get("type").Str != "Feature" {
		return &events.Problem{Why: say("tables.geo-feature"), Instead: say("tables.geo-none-instead")}
	}
	if p := v.Get("properties"); p.Kind != canon.Object && p.Kind != canon.Null && p.Kind != canon.Absent {
		return &events.Problem{Field: "properties", Why: say("tables.geo-properties"), Instead: say("tables.geo-properties-instead")}
	}
	f.value, f.geometry = v, v.Get("geometry")
	shape := f.geometry.Get("type").Str
	switch {
	case f.geometry.Kind == canon.Null || f.geometry.Kind == canon.Absent:
		if kind == nil {
			return &events.Problem{Field: geometryColumn, Why: say("tables.geo-without"), Instead: say("tables.geo-without-instead")}
		}
		f.kind = kind.Name
		return nil
	case shape == "Point":
		f.kind = treeKind
	case shape == "Polygon" || shape == "MultiPolygon":
		f.kind = blockKind
	default:
		return &events.Problem{Field: geometryColumn, Value: shape, Why: say("tables.geo-shape"), Instead: say("tables.geo-shape-instead")}
	}
	if kind != nil && kind.Name != f.kind {
		return &events.Problem{Field: geometryColumn, Value: shape, Why: say("tables.geo-other", "kind", kind.Name), Instead: say("tables.geo-shape-instead")}
	}
	return checkShape(f.geometry, shape)
}

// checkShape looks at coordinates: each a longitude and a latitude, rings closed and of four positions at least (RFC 7946
// section 3.1.6).
func checkShape(g canon.Value, shape string) *events.Problem {
	at := g.Get("coordinates")
	switch shape {
	case "Point":
		return position(at)
	case "Polygon":
		return polygon(at)
	}
	if at.Kind != canon.List || len(at.Items) == 0 {
		return geoProblem("tables.geo-ring", at)
	}
	for _, p := range at.Items {
		if problem := polygon(p); problem != nil {
			return problem
		}
	}
	return nil
}

func polygon(v canon.Value) *events.Problem {
	if v.Kind != canon.List || len(v.Items) == 0 {
		return geoProblem("tables.geo-ring", v)
	}
	for _, ring := range v.Items {
		if ring.Kind != canon.List || len(ring.Items) < 4 {
			return geoProblem("tables.geo-ring", ring)
		}
		for _, p := range ring.Items {
			if problem := position(p); problem != nil {
				return problem
			}
		}
		if string(canon.Bytes(ring.Items[0])) != string(canon.Bytes(ring.Items[len(ring.Items)-1])) {
			return geoProblem("tables.geo-open", ring.Items[len(ring.Items)-1])
		}
	}
	return nil
}

func position(v canon.Value) *events.Problem {
	if v.Kind != canon.List || len(v.Items) < 2 || v.Items[0].Kind != canon.Number || v.Items[1].Kind != canon.Number {
		return geoProblem("tables.geo-position", v)
	}
	lon, lat := v.Items[0].Num, v.Items[1].Num
	switch {
	case math.Abs(lon) > 180 && math.Abs(lat) > 90, math.Abs(lon) > 180 && math.Abs(lat) > 180:
		return geoProblem("tables.geo-metres", v)
	case math.Abs(lat) > 90 && math.Abs(lon) <= 90:
		return geoProblem("tables.geo-swapped", v)
	case math.Abs(lat) > 90 || math.Abs(lon) > 180:
		return geoProblem("tables.geo-position", v)
	}
	return nil
}

// geoProblem names what is wrong with coordinates: tables.geo-ring, -open, -position, -metres, -swapped.
func geoProblem(key string, v canon.Value) *events.Problem {
	value := events.Plain(v)
	if text := canon.Bytes(v); len(text) > 120 {
		value = string(text[:120]) + "..."
	}
	return &events.Problem{Field: geometryColumn, Value: value, Why: say(key), Instead: say(key + "-instead")} //words:keys tables.geo-
}
