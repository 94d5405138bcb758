package export

import (
	"bytes"
	"slices"
	"time"

	"latewood/events"
	"latewood/events/canon"
	"latewood/events/civil"
	"latewood/events/units"
	"latewood/projections"
	"latewood/projections/orchard"
)

// A feature is one feature of a map (RFC 7946, 3.2). One of which nobody told the place has no geometry.
type feature struct {
	Type       string      `json:"type"`
	ID         string      `json:"id"`
	Geometry   *events.Raw `json:"geometry"`
	Properties any         `json:"properties"`
}

type blockProperties struct {
	Kind      string         `json:"kind"`
	Block     string         `json:"block"`
	Name      string         `json:"name,omitempty"`
	AreaM2    float64        `json:"areaM2,omitempty"`
	Trees     int            `json:"trees"`
	Cultivars map[string]int `json:"cultivars"`
	Stage     string         `json:"stage,omitempty"`
	StageFrom string         `json:"stageFrom,omitempty"`
	LastPrune string         `json:"lastPrune,omitempty"`
	LastPick  string         `json:"lastPick,omitempty"`
}

type treeProperties struct {
	Kind     string `json:"kind"`
	Tree     string `json:"tree"`
	Block    string `json:"block"`
	Row      string `json:"row,omitempty"`
	Position string `json:"position,omitempty"`
	Cultivar string `json:"cultivar"`
	Grafted  string `json:"grafted,omitempty"` // the cultivar put on last
	Species  string `json:"species"`
	Planted  string `json:"planted"`
}

// Ground is the blocks and trees that stand at a moment, as GeoJSON, a feature a line: a block with the outline stated last,
// a tree with the point of its planting unless it was moved since. block is a code, or empty for all. n is how many features
// there are.
func Ground(b *projections.Book, at time.Time, block string) (body []byte, n int, err error) {
	on := civil.DateOf(at, b.Zone())
	places := pointsAndOutlines(b, at, on)
	var out bytes.Buffer
	out.WriteString(`{"type":"FeatureCollection","features":[`)
	add := func(f feature) {
		line, werr := events.WriteJSON(f)
		if werr != nil && err == nil {
			err = werr
		}
		if n > 0 {
			out.WriteByte(',')
		}
		out.WriteByte('\n')
		out.Write(line)
		n++
	}
	for _, s := range orchard.Status(b, on, nil).Blocks {
		if block != "" && s.Block != block {
			continue
		}
		add(feature{Type: "Feature", ID: "block/" + s.Block, Geometry: places.outline[s.Block], Properties: blockProperties{
			"block", s.Block, s.Name, s.AreaM2, s.Trees, s.Cultivars, s.Stage, s.StageFrom, s.LastPrune, s.LastPick,
		}})
		ground := b.View(projections.Key{Class: projections.Block, Code: s.Block}).Ground()
		for _, t := range ground.At(at) {
			p := treeProperties{
				Kind: "tree", Tree: t.Tree, Block: s.Block, Row: t.Row, Position: t.Position, Cultivar: t.Cultivar,
				Species: t.Species, Planted: t.Planted.String(),
			}
			for _, g := range ground.Grafts(t) {
				if !g.At.After(at) {
					p.Grafted = g.Cultivar
				}
			}
			add(feature{Type: "Feature", ID: "tree/" + t.Tree, Geometry: places.point[t.Source], Properties: p})
		}
	}
	if n > 0 {
		out.WriteByte('\n')
	}
	out.WriteString("]}\n")
	return out.Bytes(), n, err
}

// places are what records say of where things are.
type places struct {
	outline map[string]*events.Raw    // by block
	point   map[events.ID]*events.Raw // by the tree.planted
}

func pointsAndOutlines(b *projections.Book, at time.Time, on civil.Date) places {
	p := places{map[string]*events.Raw{}, map[events.ID]*events.Raw{}}
	planted := map[string]events.ID{} // the last with a code
	draw := func(block string, outline events.Raw) {
		if geometry := geometryOf(outline); geometry != nil {
			p.outline[block] = geometry
		}
	}
	for _, f := range b.Facts() { // in order of time: what comes later counts
		if !f.Stands() || f.Time.After(at) {
			continue
		}
		switch d := f.Data().(type) {
		case *events.BlockEstablished:
			draw(d.Block, d.Outline)
		case *events.BlockChanged:
			if d.From <= on.String() {
				draw(d.Block, d.Outline)
			}
		case *events.TreePlanted:
			planted[d.Tree] = f.ID
			if d.Point != nil {
				point := events.Raw(`{"type":"Point","coordinates":[` + units.FormatNumber(d.Point.Longitude) + "," + units.FormatNumber(d.Point.Latitude) + "]}")
				p.point[f.ID] = &point
			}
		case *events.TreeMoved:
			if d.Reason != "renumbered" { // a new number moves no tree
				for _, m := range d.Moves {
					delete(p.point, planted[m.Tree])
				}
			}
		}
	}
	return p
}

// geometryTypes are the types that a geometry may have (RFC 7946, 1.4).
var geometryTypes = []string{"Point", "MultiPoint", "LineString", "MultiLineString", "Polygon", "MultiPolygon", "GeometryCollection"}

// geometryOf is an outline if it is a geometry, nil else: some programs hand out features in its place.
func geometryOf(outline events.Raw) *events.Raw {
	v, err := canon.Parse(outline)
	if err != nil {
		return nil
	}
	if v.Get("type").Str == "Feature" {
		v = v.Get("geometry")
	}
	if !slices.Contains(geometryTypes, v.Get("type").Str) {
		return nil
	}
	out := events.Raw(canon.Bytes(v))
	return &out
}
