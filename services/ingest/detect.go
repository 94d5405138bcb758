package ingest

import (
	"slices"
	"strings"

	"latewood/events"
)

// detect tells by its headings what a table holds: the kind that knows them all, first of those whose required fields they
// fill. A kind that has a table with a name of its own goes before the others.
func detect(c *events.Catalogue, headings []string, m *Map, o Options) (*events.Kind, *fault) {
	asked := asked(headings, m)
	var know, full []*events.Kind // know the headings; are filled by them too
	var best *events.Kind         // knows the most
	most := 0
	for _, k := range c.Kinds() {
		s := newSheet(k)
		s.pair(asked)
		var fields []*field
		known := 0
		for _, text := range asked {
			if fs, ok := s.reads(text); ok {
				fields = append(fields, fs...)
				known++
			}
		}
		whole := known == len(asked)
		if m.restIgnored() { // the others would be left out: the kinds that know the most stand for the whole
			whole = known > 0 && known >= most
			if known > most {
				know, full = nil, nil
			}
		}
		if known > most {
			best, most = k, known
		}
		if whole {
			know = append(know, k)
			if s.filledBy(fields, o) {
				full = append(full, k)
			}
		}
	}
	for _, kinds := range [][]*events.Kind{full, know} {
		if i := slices.IndexFunc(kinds, func(k *events.Kind) bool { return k.Name == weatherKind }); i >= 0 && o.Station != "" {
			return kinds[i], nil // who names a station means its readings
		}
		if own := slices.DeleteFunc(slices.Clone(kinds), func(k *events.Kind) bool { return tableName(k) == k.Name }); len(kinds) > 1 && len(own) == 1 {
			kinds = own
		}
		switch {
		case len(kinds) == 1:
			return kinds[0], nil
		case len(kinds) > 1 && len(kinds) <= 6: // more of them tell nobody anything
			names := make([]string, len(kinds))
			for i, k := range kinds {
				names[i] = k.Name
			}
			return nil, wrong(say("ingest.kinds-several", "kinds", strings.Join(names, ", ")), say("ingest.as-say", "tables", strings.Join(Tables(), ", ")))
		}
	}
	if most*2 > len(asked) && most < len(asked) {
		// Most of the headings are of one kind: say what is wrong with the others.
		s := newSheet(best)
		s.pair(asked)
		for _, text := range asked {
			if _, f := s.resolve(text); f != nil {
				return nil, wrong(say("ingest.kind-nearly", "kind", best.Name, "heading", text), f.instead)
			}
		}
	}
	return nil, wrong(say("ingest.kind-none"), say("ingest.as-say", "tables", strings.Join(Tables(), ", ")))
}

// asked is what must be readable: the headings, or what the map says for them, its constants and where unpivoted cells go.
func asked(headings []string, m *Map) []string {
	var out []string
	for _, h := range headings {
		text, mapped := m.field(h)
		switch {
		case h == "" || m.unpivots(h) || mapped && text == "-" || !mapped && (m.ignores(h) || ledgerColumn(h)):
		case mapped:
			out = append(out, text)
		default:
			out = append(out, h)
		}
	}
	for _, c := range m.Constants {
		out = append(out, c.Field)
	}
	if m.SheetInto != "" {
		out = append(out, m.SheetInto)
	}
	if m.Unpivot != nil {
		out = append(out, m.Unpivot.Heading, m.Unpivot.Value)
	}
	return out
}

// filledBy reports whether the fields can give a record all that it must have.
func (s *sheet) filledBy(fields []*field, o Options) bool {
	has := func(name string) bool {
		return slices.ContainsFunc(fields, func(f *field) bool { return f.attr == "" && f.steps[0].name == name })
	}
	for i := range s.kind.Shape.Fields {
		f := &s.kind.Shape.Fields[i]
		derived := f.Name == "station" && s.kind.Name == weatherKind && o.Station != "" || f.Name == "tree" && s.kind.Name == treeKind && has("position")
		if f.Required && !has(f.Name) && !derived {
			return false
		}
	}
	for _, group := range s.kind.Shape.OneOf {
		if !slices.ContainsFunc(group, has) {
			return false
		}
	}
	return true
}
