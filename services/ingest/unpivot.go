package ingest

import "slices"

// An unpivot turns the columns of a line into rows: a column a day, or a column a block.
type unpivot struct {
	columns []column // heading and cell; no fields of their own
	heading []*field // where the heading goes
	value   []*field // where the cell goes
	first   string
}

// readUnpivot resolves where headings and cells of the turned columns go.
func (t *table) readUnpivot(m *Map, refuse refuser) {
	u := m.Unpivot
	if u == nil {
		return
	}
	out := &unpivot{}
	for i, h := range t.headings {
		if h != "" && m.unpivots(h) {
			out.columns = append(out.columns, column{heading: h, at: i})
		}
	}
	if len(out.columns) == 0 {
		if u.Pattern == "" {
			return // told already
		}
		refuse(u.Pattern, nil, say("ingest.unpivot-none"), say("ingest.headings-are", "headings", joined(t.headings)))
		return
	}
	out.first = out.columns[0].heading
	for _, side := range []struct {
		text string
		into *[]*field
	}{{u.Heading, &out.heading}, {u.Value, &out.value}} {
		fields, f := t.sheet.resolve(side.text)
		if f != nil {
			refuse(side.text, nil, f.why, f.instead)
			return
		}
		*side.into = fields
	}
	for _, name := range m.named() {
		fields, _ := t.sheet.reads(name)
		for _, f := range slices.Concat(out.heading, out.value) {
			if len(fields) > 0 && noIndex(f.path()) == noIndex(fields[0].path()) {
				f.names = newNames(m.Names[name])
			}
		}
	}
	t.unpivot = out
}

// unpivotsInto reports whether headings or cells of turned columns go to the place of f.
func (m *Map) unpivotsInto(s *sheet, f *field) bool {
	if m.Unpivot == nil {
		return false
	}
	for _, text := range []string{m.Unpivot.Heading, m.Unpivot.Value} {
		fields, ok := s.reads(text)
		if ok && slices.ContainsFunc(fields, func(g *field) bool { return noIndex(g.path()) == noIndex(f.path()) }) {
			return true
		}
	}
	return false
}

// turn makes a row of each turned column whose cell says something.
func (t *table) turn(line int, cells []cell) {
	for _, c := range t.unpivot.columns {
		from := &cells[c.at]
		text := strip(from.text)
		if from.bad == nil && (text == "" || t.missing[text]) {
			continue
		}
		filling := t.fill(cells)
		for _, f := range t.unpivot.heading {
			filling = append(filling, filled{field: f, text: c.heading, heading: c.heading})
		}
		for _, f := range t.unpivot.value {
			filling = append(filling, filled{field: f, text: text, heading: c.heading, cell: from})
		}
		row := t.assemble(line, filling)
		// Each row has its own column for the turned field; the table's list names the first.
		row.columns = slices.Clone(row.columns)
		for i := range row.columns {
			if row.columns[i].heading == t.unpivot.first && slices.ContainsFunc(slices.Concat(t.unpivot.heading, t.unpivot.value), func(f *field) bool {
				return withoutZero(f.path()) == withoutZero(row.columns[i].path)
			}) {
				row.columns[i].heading = c.heading
			}
		}
		t.waiting = append(t.waiting, row)
	}
}

func joined(headings []string) string {
	out := ""
	for _, h := range headings {
		if h == "" {
			continue
		}
		if out != "" {
			out += ", "
		}
		out += h
	}
	return out
}
