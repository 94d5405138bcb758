package ingest

import (
	"errors"
	"reflect"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func TestParseMap(t *testing.T) {
	t.Parallel()
	rest := []string{"*"}
	for _, tc := range []struct {
		text string
		want *Map
		err  string
	}{
		{text: "date=time,tmax=airTemperatureMax[Cel],rain=rain[mm]", want: &Map{Ignore: rest, Columns: []MapColumn{{"date", "time"}, {"tmax", "airTemperatureMax[Cel]"}, {"rain", "rain[mm]"}}}},
		{text: " a = time , b=- ,", want: &Map{Ignore: rest, Columns: []MapColumn{{"a", "time"}, {"b", "-"}}}},
		{text: `"a,b=c" = time,"Wind (m/s)"=windSpeed[m/s]`, want: &Map{Ignore: rest, Columns: []MapColumn{{"a,b=c", "time"}, {"Wind (m/s)", "windSpeed[m/s]"}}}},
		{text: "d=time,dateOrder=DMY,decimal=comma,kind=picks", want: &Map{Ignore: rest, Kind: "picks", DateOrder: DMY, DecimalComma: true, Columns: []MapColumn{{"d", "time"}}}},
		{text: "columns:\n  a: time\n", want: &Map{Columns: []MapColumn{{"a", "time"}}}},
		{text: "kind: picks", want: &Map{Kind: "picks"}},
		{text: "date=time,tmax", err: "this is not a heading and a field: write heading=field pairs"},
		{text: "=time", err: "this is not a heading and a field"},
		{text: `"a=time`, err: "this is not a heading and a field"},
		{text: "a=time,A=note", err: "this stands twice in the map"},
		{text: "", err: "the file is empty"},
	} {
		got, err := ParseMap(tc.text)
		if tc.err != "" {
			var refusals Refusals
			if !errors.As(err, &refusals) || !strings.HasPrefix(err.Error(), tc.err) {
				t.Errorf("%s: got %v, want %s", tc.text, err, tc.err)
			}
			continue
		}
		if err != nil || !reflect.DeepEqual(got, tc.want) {
			t.Errorf("%s: got %+v, %v, want %+v", tc.text, got, err, tc.want)
		}
	}
}

func TestReadMapRefuses(t *testing.T) {
	t.Parallel()
	for _, tc := range []struct{ text, want string }{
		{"", "m: the file is empty"},
		{"columns: [a", "m: the map is not YAML: "},
		{"a\n", "m:1: this must be pairs of a name and a value: write each pair on a line of its own, as Weight: mass[kg]"},
		{"column:\n  a: time\n", `m:1: "column": a map has no such part: did you mean "columns"?`},
		{"colours: x\n", `m:1: "colours": a map has no such part: `},
		{"columns:\n  a: {x: y}\n", `m:2: "a": this must be one text: `},
		{"columns:\n  a: time\n  a: note\n", `m:3: "a": this stands twice in the map: say it once`},
		{"columns:\n  a:\n", `m:2: "a": this must be one text: `},
		{"x: &x time\ncolumns:\n  a: *x\n", `m:1: "x": a map has no such part: `},
		{"dateOrder: ydm\n", `m:1: "dateOrder": this is not one of the words that can stand here: write one of: dmy, mdy, ymd`},
		{"\ndecimal: point\nkind: [a]\n", `m:3: "kind": this must be one text: `},
		{"decimal: ','\n", `m:1: "decimal": this is not one of the words`},
		{"unpivot:\n  pattern: a*\n", `m:1: "unpivot": it does not say which columns become rows, or where headings and cells go: `},
		{"unpivot:\n  pattern: a*\n  into: {heading: time, valu: mass}\n", `m:3: "valu": a map has no such part: did you mean "value"?`},
		{"skip: 1\nheading: 3\n", `m:2: "heading": skip and heading say the same thing: say it once`},
		{"skip: many\n", `m:1: "skip": this is no number of lines: write a number from 0 to 10000`},
		{"heading: 0\n", `m:1: "heading": this is no number of lines: write a number from 1 to 10000`},
		{"hidden: show\n", `m:1: "hidden": this is not one of the words that can stand here: write one of: take, leave`},
		{"merged: first\n", `m:1: "merged": this is not one of the words that can stand here: write one of: repeat`},
		{"kind: picks\n---\nkind: trees\n", "m: the map is not YAML: "},
		{strings.Repeat("#", maxMap+1), "m: the map has more than 262144 bytes: "},
	} {
		m, err := ReadMap("m", strings.NewReader(tc.text))
		var refusals Refusals
		if !errors.As(err, &refusals) || !strings.HasPrefix(err.Error(), tc.want) {
			t.Errorf("%q: got %+v, %v, want %s", tc.text, m, err, tc.want)
		}
	}
}

// What a map is written as is read to the same map.
func TestMapRoundTrip(t *testing.T) {
	t.Parallel()
	words := rapid.OneOf(
		rapid.StringMatching(`[a-zA-Zé°][a-zA-Z0-9 _\[\]().:,#'"é°/%-]{0,20}[a-z]`),
		rapid.SampledFrom([]string{"yes", "no", "null", "~", "2026-06-01", "1.5", "-", "a: b", "#x", "[a]", "{a}", "*", "&a", "'", "\"", "<<", "=", "|", ">", "a\nb", "Menge (kg)", "0x1F", "!!str"}))
	rapid.Check(t, func(t *rapid.T) {
		list := func(label string) []string {
			return rapid.SliceOfNDistinct(words, 0, 4, func(s string) string { return strings.ToLower(strip(s)) }).Draw(t, label)
		}
		m := &Map{Kind: rapid.SampledFrom([]string{"", "picks", "fruit.picked"}).Draw(t, "kind")}
		for _, h := range list("columns") {
			m.Columns = append(m.Columns, MapColumn{h, words.Draw(t, "field")})
		}
		for _, h := range list("constants") {
			m.Constants = append(m.Constants, MapConstant{h, words.Draw(t, "value")})
		}
		for _, h := range list("names") {
			if m.Names == nil {
				m.Names = map[string]map[string]string{}
			}
			m.Names[h] = map[string]string{words.Draw(t, "said"): words.Draw(t, "code")}
		}
		m.DateOrder = rapid.SampledFrom([]DateOrder{AnyOrder, DMY, MDY, YMD}).Draw(t, "order")
		m.DecimalComma = rapid.Bool().Draw(t, "comma")
		if l := list("ignore"); len(l) > 0 {
			m.Ignore = l
		}
		if l := list("missing"); len(l) > 0 {
			m.Missing = l
		}
		for _, l := range []struct {
			label string
			into  *[]string
		}{{"skipRows", &m.SkipRows}, {"down", &m.Down}, {"sheets", &m.Sheets}} {
			if texts := list(l.label); len(texts) > 0 {
				*l.into = texts
			}
		}
		m.Skip = rapid.IntRange(0, maxSkip).Draw(t, "skip")
		m.SheetInto = rapid.SampledFrom([]string{"", "block"}).Draw(t, "sheetInto")
		m.Hidden = rapid.SampledFrom([]string{"", hiddenTake, hiddenLeave}).Draw(t, "hidden")
		m.Merged = rapid.SampledFrom([]string{"", mergedRepeat}).Draw(t, "merged")
		if rapid.Bool().Draw(t, "unpivot") {
			m.Unpivot = &Unpivot{Pattern: words.Draw(t, "pattern"), Heading: words.Draw(t, "heading"), Value: words.Draw(t, "into")}
			if l := list("turned"); len(l) > 0 {
				m.Unpivot.Columns, m.Unpivot.Pattern = l, ""
			}
		}
		if m.Empty() {
			return
		}
		text := m.String()
		got, err := ReadMap("m", strings.NewReader(text))
		if err != nil {
			t.Fatalf("%v\n%s", err, text)
		}
		if !reflect.DeepEqual(got, m) {
			t.Fatalf("got %+v, want %+v, from\n%s", got, m, text)
		}
	})
}

// What a map says about a table that it does not fit is told when the file is opened.
func TestMapAndTable(t *testing.T) {
	t.Parallel()
	const table = "Day,Where,Kilos,Colour\n2026-06-01,North Block,12,red\n2026-06-02,east,13,\n"
	for _, tc := range []struct{ name, text, want string }{
		{"columns, constants, names", "kind: picks\ncolumns: {Day: time, Where: block, Kilos: 'mass[kg]'}\nconstants: {massBasis: scale, crew: second}\nnames: {block: {North Block: north, East: east}}\nignore: [colour]\n",
			`2: fruit.picked.v1 2026-06-01T00:00:00-10:00 {"crew":"second","mass":{"unit":"kg","value":12},"massBasis":"scale","where":{"block":"north"}}` + "\n" +
				`3: fruit.picked.v1 2026-06-02T00:00:00-10:00 {"crew":"second","mass":{"unit":"kg","value":13},"massBasis":"scale","where":{"block":"east"}}` + "\n"},
		{"a column of the heading, too", "kind: picks\ncolumns: {Day: time, Where: block, Kilos: 'mass[kg]', Colour: note}\nnames: {block: {North Block: north, e: east}}\n",
			`2: fruit.picked.v1 2026-06-01T00:00:00-10:00 {"mass":{"unit":"kg","value":12},"note":"red","where":{"block":"north"}}` + "\n" +
				`3: fruit.picked.v1 2026-06-02T00:00:00-10:00 {"mass":{"unit":"kg","value":13},"where":{"block":"east"}}` + "\n"},
		{"a unit as a constant", "kind: picks\ncolumns: {Day: time, Where: note, Kilos: mass, Colour: '-'}\nconstants: {block: north, unit: lb}\n",
			`2: fruit.picked.v1 2026-06-01T00:00:00-10:00 {"mass":{"unit":"[lb_av]","value":12},"note":"North Block","where":{"block":"north"}}` + "\n" +
				`3: fruit.picked.v1 2026-06-02T00:00:00-10:00 {"mass":{"unit":"[lb_av]","value":13},"note":"east","where":{"block":"north"}}` + "\n"},
		{"the kind by what the map says", "columns: {Day: time, Where: note, Kilos: 'mass[kg]', Colour: '-'}\nconstants: {block: north}\n",
			`2: fruit.picked.v1 2026-06-01T00:00:00-10:00 {"mass":{"unit":"kg","value":12},"note":"North Block","where":{"block":"north"}}` + "\n" +
				`3: fruit.picked.v1 2026-06-02T00:00:00-10:00 {"mass":{"unit":"kg","value":13},"note":"east","where":{"block":"north"}}` + "\n"},
		{"not all columns", "kind: picks\ncolumns: {Day: time, Where: block, Kilos: 'mass[kg]'}\n",
			"f:1: \"Colour\": this is no heading of fruit.picked: leave the column out with ignore in a map, or lead it to a field; required: time, block. All others: latewood template fruit.picked --format csv\n"},
		{"a column that is not there", "kind: picks\ncolumns: {Date: time, Where: block, Kilo: 'mass[kg]'}\nignore: ['*']\n",
			"f:1: \"Date\": the table has no column that the map names: the headings are Day, Where, Kilos, Colour\nf:1: \"Kilo\": the table has no column that the map names: did you mean \"Kilos\"?\n"},
		{"fields that are not there", "kind: picks\ncolumns: {Day: time, Where: blok, Kilos: mass}\nignore: [Colour]\nconstants: {masBasis: scale}\n",
			"f:1: \"Where\": this is no heading of fruit.picked: did you mean \"block\"?\nf:1: \"Kilos\": the column does not say its unit: write mass_kg or mass[kg], or whichever unit the numbers have\n" +
				"f:1: \"masBasis\": this is no heading of fruit.picked: did you mean \"massBasis\"?\n"},
		{"a constant that cannot be", "kind: picks\ncolumns: {Day: time, Where: block}\nignore: [Colour, Kilos]\nconstants: {'mass[kg]': twelve}\n",
			"f:1: \"mass[kg]\": this is no number: write digits with a decimal point, as 12.5\n"},
		{"a constant over a column", "kind: picks\ncolumns: {Day: time, Where: block, Kilos: 'mass[kg]'}\nignore: [Colour]\nconstants: {block: north}\n",
			"f:1: \"data.where.block\": data.where.block is filled by Where already: leave one of the columns out with ignore in a map\n"},
		{"names for nothing", "kind: picks\ncolumns: {Day: time, Where: block, Kilos: 'mass[kg]'}\nignore: [Colour]\nnames: {crew: {a: b}}\n",
			"f:1: \"crew\": no column leads to the field that these names are for: the headings are Day, Where, Kilos, Colour\n"},
		{"an unpivot of nothing", "kind: picks\ncolumns: {Day: time}\nignore: ['*']\nunpivot: {pattern: 'x*', into: {heading: block, value: 'mass[kg]'}}\n",
			"f:1: \"x*\": no column looks like this: the headings are Day, Where, Kilos, Colour\n"},
		{"an unpivot of a missing column", "kind: picks\ncolumns: {Day: time}\nignore: ['*']\nunpivot: {columns: [Kilos, Kilo2], into: {heading: block, value: 'mass[kg]'}}\n",
			"f:1: \"Kilo2\": the table has no column that the map names: did you mean \"Kilos\"?\n"},
		{"an unpivot into nothing", "kind: picks\ncolumns: {Day: time}\nignore: ['*']\nunpivot: {columns: [Kilos], into: {heading: blok, value: 'mass[kg]'}}\n",
			"f:1: \"blok\": this is no heading of fruit.picked: did you mean \"block\"?\n"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			m, err := ReadMap("m", strings.NewReader(tc.text))
			if err != nil {
				t.Fatal(err)
			}
			if got := read(t, table, Options{Name: "f", Map: m}); got != tc.want {
				t.Errorf("got\n%swant\n%s", got, tc.want)
			}
		})
	}
}

// A column a block.
func TestUnpivotBlocks(t *testing.T) {
	t.Parallel()
	m, err := ReadMap("m", strings.NewReader("kind: picks\ncolumns: {Day: time}\nnames: {block: {North Block: north, South: south}}\nmissing: ['-']\nunpivot: {columns: [North Block, South], into: {heading: block, value: 'mass[kg]'}}\n"))
	if err != nil {
		t.Fatal(err)
	}
	got := read(t, "Day,North Block,South\n2026-06-01,12,-\n2026-06-02,,x7\n2026-06-03,1,2\n2026-06-04,,-2\n", Options{Map: m})
	want := "2: fruit.picked.v1 2026-06-01T00:00:00-10:00 " + pick("12") + "\n3: data.mass.value (South): x7: this is no number; write digits with a decimal point, as 12.5\n" +
		"4: fruit.picked.v1 2026-06-03T00:00:00-10:00 " + pick("1") + "\n4: fruit.picked.v1 2026-06-03T00:00:00-10:00 " + strings.Replace(pick("2"), "north", "south", 1) + "\n" +
		"5: data.mass.value (South): -2: refuse.negative\n"
	if got != want {
		t.Errorf("got\n%swant\n%s", got, want)
	}
}

// An inline map takes what it names; other columns that are no headings are left out and listed.
func TestInlineLeavesOut(t *testing.T) {
	t.Parallel()
	r, err := Open(strings.NewReader("date,tmax,sky,rain_mm,note\n2026-06-01,30,blue,0,\n"), Options{Station: "hollow", Zone: zone(t, "UTC"), Map: inline(t, "date=time,tmax=airTemperatureMax[Cel]")})
	if err != nil {
		t.Fatal(err)
	}
	if got := r.LeftOut(); !reflect.DeepEqual(got, []string{"sky"}) || r.Kind().Name != weatherKind {
		t.Errorf("got %v of %s, want [sky] of %s", got, r.Kind().Name, weatherKind)
	}
	_, err = Open(strings.NewReader("date,tmax,sky\n"), Options{Station: "hollow", Zone: zone(t, "UTC"), Map: inline(t, "date=time,tmx=airTemperatureMax[Cel]")})
	if err == nil || !strings.Contains(err.Error(), `did you mean "tmax"?`) {
		t.Errorf("a slip in the map: got %v", err)
	}
}

func TestGlob(t *testing.T) {
	t.Parallel()
	for _, tc := range []struct {
		pattern, text string
		want          bool
	}{
		{"2026-*", "2026-06-01", true}, {"2026-*", "2025-06-01", false}, {"*kg*", "Menge (KG)", true}, {"?/?/2026", "6/1/2026", true}, {"?/?/2026", "16/1/2026", false}, {"*", "", true}, {"", "", true}, {"a", "", false}, {"a*b*c", "aXbYbZc", true}, {"a*b*c", "aXbYbZ", false},
	} {
		if got := glob(tc.pattern, tc.text); got != tc.want {
			t.Errorf("glob(%q, %q): got %v", tc.pattern, tc.text, got)
		}
	}
}
