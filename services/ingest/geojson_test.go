package ingest

import (
	"strings"
	"testing"
)

const square = `[[[-155.1,19.7],[-155.09,19.7],[-155.09,19.71],[-155.1,19.71],[-155.1,19.7]]]`

// Maps of an invented farm.
func TestGeoJSON(t *testing.T) {
	t.Parallel()
	feature := func(geometry, properties string) string {
		return `{"type":"Feature","geometry":` + geometry + `,"properties":` + properties + `}`
	}
	collection := func(features ...string) string {
		return "{\"type\": \"FeatureCollection\",\n\"features\": [\n" + strings.Join(features, ",\n") + "\n]}\n"
	}
	area := `{"type":"Polygon","coordinates":` + square + `}`
	point := `{"type":"Point","coordinates":[-155.1,19.7,120]}`
	block := `{"block":"north","name":"North","area_ha":1.2,"date":"2020-01-01"}`
	blockRow := ` block.established.v1 2020-01-01T00:00:00-10:00 {"area":{"unit":"har","value":1.2},"block":"north","name":"North","outline":{"coordinates":[[[-155.1,19.7],[-155.09,19.7],[-155.09,19.71],[-155.1,19.71],[-155.1,19.7]]],"type":"Polygon"}}` + "\n"
	tree := `{"block":"north","row":1,"position":2,"cultivar":"Ardent","planted":2011}`
	treeRow := ` tree.planted.v1 2011-01-01T00:00:00-10:00 {"block":"north","cultivar":"Ardent","planted":"2011","point":{"latitude":19.7,"longitude":-155.1},"position":"2","row":"1","tree":"north-01-02"}` + "\n"
	for _, tc := range []struct {
		name, file string
		o          Options
		want       string
	}{
		{"blocks", collection(feature(area, block)), Options{}, "3:" + blockRow},
		{"trees", collection(feature(point, tree)), Options{}, "3:" + treeRow},
		{"both", collection(feature(area, block), feature(point, tree)), Options{}, "3:" + blockRow + "4:" + treeRow},
		{"one feature", feature(area, block), Options{}, "1:" + blockRow},
		{"several areas", collection(feature(`{"type":"MultiPolygon","coordinates":[`+square+`]}`, block)), Options{As: "block.established"},
			"3:" + strings.Replace(strings.Replace(strings.Replace(blockRow, `"Polygon"`, `"MultiPolygon"`, 1), "[[[", "[[[[", 1), "]]]", "]]]]", 1)},
		{"by a map", collection(feature(point, `{"id":7,"Feld":"North Block","Reihe":"1","Baum":"2","Sorte":"Ardent","Jahr":2011,"x":null,"tags":["a"]}`)),
			Options{Map: inline(t, "columns: {Feld: block, Reihe: row, Baum: position, Sorte: cultivar, Jahr: planted, id: '-'}\nnames: {block: {North Block: north}}\nignore: ['*']\n")}, "3:" + treeRow},
		{"on one line", collection(feature(area, `{"Name":"North","code":"north","ha":1.2,"date":"2020-01-01"}`)), Options{Map: inline(t, "Name=name,code=block,ha=area[har],date=time")}, "3:" + blockRow},
		{"a property that means nothing", collection(feature(area, `{"block":"north","nam":"x"}`)), Options{}, "f:3: \"nam\": this is no heading of block.established: did you mean \"name\"?\n"},
		{"a feature without a property", collection(feature(area, block), feature(area, `{"block":"south"}`)), Options{},
			"3:" + blockRow + "4: data.name (name): <nil>: refuse.required\n4: data.area (area_ha): <nil>: refuse.required\n4: time (date): <nil>: refuse.time-missing\n"},
		{"a line", collection(feature(`{"type":"LineString","coordinates":[[0,0],[1,1]]}`, `{}`), feature(area, block)), Options{},
			"3: geometry: LineString: only areas and points are read; draw a block as Polygon or MultiPolygon, a tree as Point\n4:" + blockRow},
		{"a point that should be an area", collection(feature(point, `{}`)), Options{As: "block.established"}, "3: geometry: Point: the features were said to be block.established; draw a block as Polygon or MultiPolygon, a tree as Point\n"},
		{"no geometry", collection(feature("null", block)), Options{}, "3: geometry: <nil>: the feature has no geometry, so it is neither a block nor a tree; draw it, or say what it is with --as\n"},
		{"no geometry, and it is said", collection(feature("null", block)), Options{As: "block.established"}, "3: block.established.v1 2020-01-01T00:00:00-10:00 {\"area\":{\"unit\":\"har\",\"value\":1.2},\"block\":\"north\",\"name\":\"North\"}\n"},
		{"an open ring", collection(feature(`{"type":"Polygon","coordinates":[[[0,0],[1,0],[1,1],[0,1]]]}`, block)), Options{}, "3: geometry: [0,1]: the outline does not end where it begins; write the first position once more as the last\n"},
		{"metres", collection(feature(`{"type":"Point","coordinates":[281000,2179000]}`, tree)), Options{}, "3: geometry: [281000,2179000]: these are no degrees, they may be metres of a map grid; export the map again in WGS 84, longitude and latitude in degrees\n"},
		{"changed places", collection(feature(`{"type":"Point","coordinates":[19.7,-155.1]}`, tree)), Options{}, "3: geometry: [19.7,-155.1]: the latitude is beyond a pole; longitude and latitude may have changed places; write the longitude first\n"},
		{"another system", `{"type":"FeatureCollection","crs":{"type":"name","properties":{"name":"urn:ogc:def:crs:EPSG::3857"}},"features":[]}`, Options{}, "f:1: the coordinates are of another system than RFC 7946 says: export the map again as GeoJSON in WGS 84, longitude and latitude in degrees\n"},
		{"another kind", collection(feature(point, tree)), Options{As: "picks"}, "f: a map holds blocks and trees, and not fruit.picked: leave --as away, or write block.established or trees\n"},
		{"no features", `{"type":"FeatureCollection"}`, Options{}, "f:1: there are no features in this file: write {\"type\": \"FeatureCollection\", \"features\": [...]} with a Feature for each block or tree\n"},
		{"cut off", "{\"type\":\"FeatureCollection\",\n\"features\":[{\"type\":\"Feature\",", Options{}, "f:2: this is no JSON: "},
		{"a broken feature", collection(`{"type":"Feature","a":01}`, feature(area, block)), Options{}, "3: : <nil>: this is no JSON: "},
		{"an empty map", collection(), Options{}, ""},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			tc.o.Name = "f"
			if got := read(t, tc.file, tc.o); got != tc.want && !(strings.HasSuffix(tc.want, ": ") && strings.HasPrefix(got, tc.want)) {
				t.Errorf("got\n%s\nwant\n%s", got, tc.want)
			}
		})
	}
}
