package ingest

import (
	"strings"
	"testing"

	"latewood/events"
)

func sheetOf(t testing.TB, as string) *sheet {
	t.Helper()
	k, p := kindOf(events.Standard(), as)
	if p != nil {
		t.Fatal(p)
	}
	return newSheet(k)
}

// where shows where a heading leads, or why nowhere.
func where(s *sheet, heading string) string {
	fields, f := s.resolve(heading)
	if f != nil {
		return f.why.String() + ": " + f.instead.String()
	}
	var out []string
	for _, f := range fields {
		text := f.path()
		if f.unit != "" {
			text += " " + f.unit
		}
		switch f.part {
		case datePart:
			text += " date"
		case clockPart:
			text += " clock"
		}
		out = append(out, text)
	}
	return strings.Join(out, " + ")
}

func TestHeadings(t *testing.T) {
	t.Parallel()
	for _, tc := range []struct{ as, heading, want string }{
		// A path, with its unit as a suffix or in brackets.
		{"picks", "mass_kg", "data.mass kg"},
		{"picks", "mass[kg]", "data.mass kg"},
		{"picks", "mass[[lb_av]]", "data.mass [lb_av]"},
		{"picks", "mass[lb_av]", "data.mass [lb_av]"},
		{"picks", "mass_lb", "data.mass [lb_av]"},
		{"picks", "data.mass_kg", "data.mass kg"},
		{"picks", "grades.first_kg", "data.grades.first kg"},
		{"weather", "rain[mm]", "data.rain mm"},
		{"weather", "airTemperatureMax[Cel]", "data.airTemperatureMax Cel"},
		{"weather", "airTemperatureMax_F", "data.airTemperatureMax [degF]"},
		{"weather", "windSpeed[[mi_i]/h]", "data.windSpeed [mi_i]/h"},
		{"weather", "windSpeed[m/s]", "data.windSpeed m/s"},
		{"weather", "interval", "data.interval"},
		{"weather", "interval_s", "data.interval"},
		{"sprays", "mix[1].rate_lha", "data.mix[1].rate L/har"},
		{"sprays", "mix[0].rate_galac", "data.mix[0].rate [gal_us]/[acr_us]"},
		{"sprays", "mix.product", "data.mix[0].product"},
		{"sprays", "rate_l_per_ha", "data.mix[0].rate L/har"},
		{"sprays", "areaTreated_ha", "data.areaTreated har"},
		{"sprays", "conditions[1].windSpeed_mps", "data.conditions[1].windSpeed m/s"},
		// However the name is cut into words.
		{"sprays", "area_treated_ha", "data.areaTreated har"},
		{"sprays", "Area treated_ha", "data.areaTreated har"},
		{"weather", "air_temperature_max_C", "data.airTemperatureMax Cel"},
		{"picks", "  Mass_KG ", `the unit KG is not known: write Mass[kg]`},
		// where, by its parts.
		{"picks", "block", "data.where.block"},
		{"picks", "rows", "data.where.rows"},
		{"picks", "row", "data.where.rows"},
		{"picks", "trees", "data.where.trees"},
		{"picks", "except", "data.where.except"},
		{"picks", "share_pct", "data.where.share %"},
		{"picks", "where[1].block", "data.where[1].block"},
		{"sprays", "where[0].ended", "data.where.ended"},
		{"tree.topworked", "share_pct", "data.share %"},
		{"tree.topworked", "where.share_pct", "data.where.share %"},
		{"trees", "block", "data.block"},
		// Envelope and times.
		{"picks", "time", "time"},
		{"picks", "date", "time date"},
		{"picks", "Timestamp", "time"},
		{"picks", "time.clock", "time clock"},
		{"harvest.closed", "date", "data.date"},
		{"sprays", "date", "data.started date + data.ended date"},
		{"sprays", "started.clock", "data.started clock"},
		{"picks", "id", "id"}, {"picks", "actor", "actor"}, {"picks", "by", "data.by"}, {"picks", "note", "data.note"}, {"picks", "notedtime", "notedtime"},
		// Words of the trade.
		{"labels", "phi_d", "data.withholding d"},
		{"labels", "withholding_wk", "data.withholding wk"},
		{"labels", "rei_h", "data.reentry.hours"},
		{"labels", "withholding.value", "data.withholding.value"},
		{"labels", "withholding[1].endUse", "data.withholding[1].endUse"},
		{"picks", "weight_lb", "data.mass [lb_av]"},
		// Refused, with what to write.
		{"picks", "mass", "the column does not say its unit: write mass_kg or mass[kg], or whichever unit the numbers have"},
		{"weather", "rain", "the column does not say its unit: write rain_mm or rain[mm], or whichever unit the numbers have"},
		{"picks", "mass_ha", "the unit ha measures an area, which does not fit this field: write mass_kg or mass[kg], or whichever unit the numbers have"},
		{"picks", "mas_kg", `this is no heading of fruit.picked: did you mean "mass_kg"?`},
		{"picks", "mas[lb]", `this is no heading of fruit.picked: did you mean "mass[[lb_av]]"?`},
		{"picks", "blok", `this is no heading of fruit.picked: did you mean "block"?`},
		{"sprays", "prodct", `this is no heading of spray.applied: did you mean "product"?`},
		{"sprays", "areaTreted_ac", `this is no heading of spray.applied: did you mean "areaTreated_ac"?`},
		{"picks", "block_kg", "this field has no unit: write block"},
		{"picks", "block[kg]", "this field has no unit: write block"},
		{"picks", "mass[stone]", "the unit stone is not known: write one of: [lb_av] [oz_av] g kg mg t ug"},
		{"picks", "mass[lbs]", "the unit lbs is not known: write mass[[lb_av]]"},
		{"picks", "containers[100].kind", "a list has at most 99 items in a table: write the record as JSON"},
		{"picks", "mass[0]_kg", "this is no heading of fruit.picked: "},
		{"picks", "weather today", "this is no heading of fruit.picked: leave the column out with ignore in a map, or lead it to a field; required: time, block. All others: latewood template fruit.picked --format csv"},
		{"picks", "", "this is no heading of fruit.picked: "},
		{"picks", "mass.unit.x", "this is no heading of fruit.picked: "},
		{"weather", "weather", `this is no heading of weather.read: `},
	} {
		t.Run(tc.as+" "+tc.heading, func(t *testing.T) {
			t.Parallel()
			got := where(sheetOf(t, tc.as), tc.heading)
			if got != tc.want && !(strings.HasSuffix(tc.want, ": ") && strings.HasPrefix(got, tc.want)) {
				t.Errorf("got  %s\nwant %s", got, tc.want)
			}
		})
	}
}

// Every heading that a template can have is read, of every kind, and leads where it says.
func TestHeadingsOfAllKinds(t *testing.T) {
	t.Parallel()
	n := 0
	for _, k := range events.Standard().Kinds() {
		all, err := Headings(events.Standard(), k.Name)
		if err != nil {
			t.Fatal(err)
		}
		s := newSheet(k)
		seen := map[string]bool{}
		for _, h := range all {
			n++
			fields, f := s.resolve(h.Text)
			switch {
			case f != nil && h.Field == "data.time" && k.Name == "record.corrected":
				// the name of an attribute of the envelope; as a path it is data.time
			case f != nil:
				t.Errorf("%s: %q is not read: %v: %v", k.Name, h.Text, f.why, f.instead)
			case fields[0].path() != withoutFirst(h.Field, fields[0]) && h.Field != "data.time":
				t.Errorf("%s: %q leads to %s, not to %s", k.Name, h.Text, fields[0].path(), h.Field)
			}
			if seen[h.Text] && h.Text != "time" {
				t.Errorf("%s: %q stands twice", k.Name, h.Text)
			}
			seen[h.Text] = true
		}
	}
	t.Logf("counts: %d headings of %d kinds", n, len(events.Standard().Kinds()))
}

// withoutFirst writes a path as pathOf does: the first of a one-or-many without its index.
func withoutFirst(path string, f *field) string {
	if withoutZero(path) == withoutZero(f.path()) {
		return f.path()
	}
	return path
}

// No field has a name of which only cases or underscores tell it from its neighbour's, and no alias hides a field.
func TestNamesStayApart(t *testing.T) {
	t.Parallel()
	var walk func(kind string, s *events.Shape)
	walk = func(kind string, s *events.Shape) {
		if s.Elem != nil {
			walk(kind, s.Elem)
		}
		seen := map[string]string{}
		for i := range s.Fields {
			f := fold(s.Fields[i].Name)
			if seen[f] != "" {
				t.Errorf("%s: %s and %s are one heading", kind, seen[f], s.Fields[i].Name)
			}
			seen[f] = s.Fields[i].Name
			walk(kind, s.Fields[i].Shape)
		}
	}
	for _, k := range events.Standard().Kinds() {
		walk(k.Name, k.Shape)
		for word, target := range alias[k.Name] {
			if word != fold(word) {
				t.Errorf("%s: the alias %q is never met", k.Name, word)
			}
			if f := ownField(k.Shape, word); f != nil && f.Shape.Form != events.FormObject {
				t.Errorf("%s: the alias %q hides a field", k.Name, word)
			}
			for piece := range strings.SplitSeq(target, "+") {
				if _, f := newSheet(k).walk(piece); f != nil {
					t.Errorf("%s: the alias %q leads nowhere", k.Name, word)
				}
			}
		}
	}
}

func TestDetect(t *testing.T) {
	t.Parallel()
	for _, tc := range []struct{ headings, station, want string }{
		{"block,row,position,cultivar,planted", "", "tree.planted"},
		{"tree,block,cultivar,planted", "", "tree.planted"},
		{"time,block,mass_kg", "", "fruit.picked"},
		{"date,block,mass,unit,picker", "", "fruit.picked"},
		{"block,started,ended,product,rate_lha", "", "spray.applied"},
		{"time,product,material,readBy,phi_d,rei_h", "", "label.filed"},
		{"date,airTemperatureMax_C,rain_mm", "hollow", "weather.read"},
		{"date,station,airTemperatureMax_C", "", "weather.read"},
		{"block,name,area_ha,time", "", "block.established"},
		{"time,block,row,position,cultivar", "", "tree.planted"}, // planted is wanted: the door says so, row by row
		{"date,airTemperatureMax_C,rain_mm", "", "weather.read"}, // the station is asked for next
		{"time,block,stage", "", "could be of"},
		{"time,block,mass_kg,colour", "", "look like those of fruit.picked, but colour"},
		{"a,b,c", "", "of no kind"},
		{"time,note", "", "of no kind"}, // every kind has them
		{"time,note", "hollow", "weather.read"},
	} {
		t.Run(tc.headings, func(t *testing.T) {
			t.Parallel()
			k, f := detect(events.Standard(), strings.Split(tc.headings, ","), &Map{}, Options{Station: tc.station})
			got := ""
			if f != nil {
				got = f.why.String()
			} else {
				got = k.Name
			}
			if got != tc.want && (f == nil || !strings.Contains(got, tc.want)) {
				t.Errorf("got %s, want %s", got, tc.want)
			}
		})
	}
}
