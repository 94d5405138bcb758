package ingest

import (
	"errors"
	"io"
	"slices"
	"strings"

	"latewood/events"
	"latewood/services/internal/sheets"
)

// XLSX is a workbook. GeoJSON is in geojson.go.
const XLSX Format = "xlsx"

// isWorkbook reports whether a file begins as workbooks do, those of the old kind and locked ones too.
func isWorkbook(head []byte) bool {
	return strings.HasPrefix(string(head), sheets.Magic) || strings.HasPrefix(string(head), sheets.OldMagic)
}

// openBook unpacks a workbook.
func openBook(r io.Reader, name string) (*sheets.Book, error) {
	b, err := sheets.Open(r)
	if err != nil {
		return nil, bookFault(err, name, "")
	}
	return b, nil
}

// bookFault says in a sentence what is wrong with a workbook or a sheet as a whole; other errors are the disk's.
func bookFault(err error, name, sheet string) error {
	p := events.Problem{}
	switch {
	case errors.Is(err, sheets.ErrTooLarge):
		p.Why = say("tables.too-large", "packed", sheets.MaxPacked>>20, "unpacked", sheets.MaxUnpacked>>20)
		p.Instead = say("tables.too-large-instead")
	case errors.Is(err, sheets.ErrLocked):
		p.Why, p.Instead = say("tables.locked"), say("tables.locked-instead")
	case errors.Is(err, sheets.ErrBroken), errors.Is(err, sheets.ErrNoSheet):
		p.Why, p.Instead = say("tables.broken"), say("tables.broken-instead")
	default:
		return err
	}
	return Refusals{{File: name, Sheet: sheet, Problem: p}}
}

// chosen is the sheets of a workbook that are read. Ours are called by a name or a pattern; else it is the only one that
// holds something and is not hidden, or all such where the map says what a sheet's name is.
func chosen(b *sheets.Book, m *Map, o Options) (names []string, named bool, err error) {
	patterns := m.Sheets
	if o.Sheet != "" {
		patterns = []string{o.Sheet}
	}
	var all, shown []string
	for _, s := range b.Sheets() {
		all = append(all, s.Name)
		if !s.Hidden && foldName(s.Name) != foldName(sheets.ReadMe) {
			shown = append(shown, s.Name)
		}
	}
	no := func(why, instead events.Sentence) error {
		return refused(o.Name, 0, "", events.Problem{Why: why, Instead: instead})
	}
	if len(patterns) == 0 {
		return shown, false, nil
	}
	for _, p := range patterns {
		from := shown
		if slices.ContainsFunc(all, func(s string) bool { return foldName(s) == foldName(p) }) {
			from = all // a hidden sheet is read where it is called by its name
		}
		any := false
		for _, s := range from {
			if foldName(s) == foldName(p) || glob(p, s) {
				any = true
				if !slices.Contains(names, s) {
					names = append(names, s)
				}
			}
		}
		if !any {
			instead := say("tables.sheets-are", "sheets", strings.Join(all, ", "))
			if near := nearest(p, all); near != "" {
				instead = say("refuse.did-you-mean", "near", near)
			}
			return nil, false, no(say("tables.no-sheet", "sheet", p), instead)
		}
	}
	return names, true, nil
}

// opened is a sheet with its headings read.
type opened struct {
	grid     *sheetGrid
	headings []string
	at       int
}

// openSheets reads the headings of the sheets that are to be read.
func openSheets(b *sheets.Book, m *Map, o Options) ([]opened, error) {
	names, named, err := chosen(b, m, o)
	if err != nil {
		return nil, err
	}
	var out []opened
	var refusals Refusals
	for _, name := range names {
		g, headings, at, err := openSheet(b, name, m, o)
		switch {
		case errors.Is(err, io.EOF) && !named:
			continue // an empty sheet, as new workbooks have
		case errors.Is(err, io.EOF):
			err = Refusals{{File: o.Name, Sheet: name, Problem: events.Problem{Why: say("tables.sheet-empty"), Instead: say("ingest.empty-instead")}}}
		}
		var told Refusals
		switch {
		case errors.As(err, &told):
			refusals = append(refusals, told...)
		case err != nil:
			return nil, err
		default:
			out = append(out, opened{g, headings, at})
		}
	}
	switch {
	case len(refusals) > 0:
		return nil, refusals
	case len(out) == 0:
		return nil, refused(o.Name, 0, "", events.Problem{Why: say("tables.no-rows"), Instead: say("ingest.empty-instead")})
	}
	return out, nil
}

// oneOf refuses several sheets that nobody chose: which of them are tables of records, a machine cannot tell.
func oneOf(found []opened, m *Map, o Options) error {
	if len(found) == 1 || o.Sheet != "" || len(m.Sheets) > 0 || m.SheetInto != "" {
		return nil
	}
	var names []string
	for _, s := range found {
		names = append(names, s.grid.name)
	}
	return refused(o.Name, 0, "", events.Problem{Why: say("tables.several", "sheets", strings.Join(names, ", ")), Instead: say("tables.several-instead", "sheet", names[0])})
}

// A workbook is a source: the tables of its sheets, one behind the other.
type workbook struct{ tables []*table }

func (w *workbook) next() (Row, error) {
	for len(w.tables) > 0 {
		row, err := w.tables[0].next()
		if !errors.Is(err, io.EOF) {
			return row, err
		}
		w.tables = w.tables[1:]
	}
	return Row{}, io.EOF
}

// openWorkbook makes a Reader for the sheets of a workbook.
func openWorkbook(r io.Reader, kind *events.Kind, m *Map, o Options) (*Reader, error) {
	b, err := openBook(r, o.Name)
	if err != nil {
		return nil, err
	}
	found, err := openSheets(b, m, o)
	if err != nil {
		return nil, err
	}
	found, kinds := sheetKinds(found, kind, o.Catalogue)
	if slices.Contains(kinds, nil) || kind != nil {
		if err := oneOf(found, m, o); err != nil {
			return nil, err
		}
	}
	w := &workbook{}
	out := &Reader{format: XLSX, mapped: o.Map, kind: kind, src: w}
	var refusals Refusals
	for i, s := range found {
		t, err := newTable(s.grid, s.headings, s.at, kinds[i], m, o)
		var told Refusals
		switch {
		case errors.As(err, &told):
			for i := range told {
				told[i].Sheet = s.grid.name
			}
			refusals = append(refusals, told...)
			continue
		case err != nil:
			return nil, err
		}
		w.tables = append(w.tables, t)
		out.kind = t.sheet.kind
		for _, h := range t.leftOut {
			if !slices.Contains(out.leftOut, h) {
				out.leftOut = append(out.leftOut, h)
			}
		}
	}
	if len(refusals) > 0 {
		return nil, refusals
	}
	return out, nil
}

// sheetKinds tells the kinds of sheets: what was said, else the kind that a sheet is named after, as exports and templates
// name theirs. A workbook of such sheets is read whole; of one kind alone where that was said.
func sheetKinds(found []opened, said *events.Kind, c *events.Catalogue) ([]opened, []*events.Kind) {
	if said != nil {
		if i := slices.IndexFunc(found, func(s opened) bool { return s.grid.name == said.Name }); i >= 0 {
			found = found[i : i+1]
		}
	}
	kinds := make([]*events.Kind, len(found))
	for i, s := range found {
		if kinds[i] = said; said == nil {
			kinds[i] = c.Kind(s.grid.name)
		}
	}
	return found, kinds
}

// A sheetGrid reads the rows of one sheet.
type sheetGrid struct {
	file, name string
	book       *sheets.Book
	rows       *sheets.Rows
	width      int // of the headings
	headed     []bool
	hidden     string          // what the map says of hidden rows
	repeat     bool            // joined cells all have what the first of them has
	anchors    map[string]cell // of the joined cells that reach down from rows above
}

// openSheet finds the heading of a sheet. io.EOF: nothing stands in it.
func openSheet(b *sheets.Book, name string, m *Map, o Options) (g *sheetGrid, headings []string, at int, err error) {
	rows, err := b.Rows(name)
	if err != nil {
		return nil, nil, 0, bookFault(err, o.Name, name)
	}
	g = &sheetGrid{file: o.Name, name: name, book: b, rows: rows, hidden: m.Hidden, repeat: m.Merged == mergedRepeat, anchors: map[string]cell{}}
	no := func(line int, column string, p events.Problem) error {
		return Refusals{{File: o.Name, Sheet: name, Line: line, Column: column, Problem: p}}
	}
	var row sheets.Row
	for {
		row, err = rows.Next()
		switch {
		case errors.Is(err, io.EOF) && m.skipped() > 0:
			return nil, nil, 0, no(0, "", events.Problem{Why: say("tables.no-heading", "line", m.skipped()+1), Instead: say("tables.no-heading-instead")})
		case errors.Is(err, io.EOF):
			return nil, nil, 0, err
		case err != nil:
			return nil, nil, 0, bookFault(err, o.Name, name)
		}
		if row.N > m.skipped() && len(row.Cells) > 0 {
			break
		}
	}
	if len(row.Cells) > maxColumns {
		return nil, nil, 0, no(row.N, "", events.Problem{Why: say("ingest.columns", "most", maxColumns), Instead: say("ingest.columns-instead")})
	}
	for i, c := range row.Cells {
		if c.Kind == sheets.Uncalculated || c.Kind == sheets.Error {
			f := g.cell(c).bad
			return nil, nil, 0, no(row.N, sheets.ColumnName(i+1), events.Problem{Value: c.Text, Why: f.why, Instead: f.instead})
		}
		headings = append(headings, strip(strings.Join(strings.Fields(c.Text), " "))) // line breaks in headings are for the eye
	}
	g.width = len(headings)
	for _, h := range headings {
		g.headed = append(g.headed, h != "")
	}
	return g, headings, row.N, nil
}

// row gives the next row that holds something.
func (g *sheetGrid) row() ([]cell, int, events.Problems, error) {
	for {
		row, err := g.rows.Next()
		if errors.Is(err, io.EOF) {
			return nil, 0, nil, err
		}
		if err != nil {
			return nil, 0, nil, bookFault(err, g.file, g.name)
		}
		cells := make([]cell, max(g.width, len(row.Cells)))
		for i, c := range row.Cells {
			cells[i] = g.cell(c)
		}
		g.join(row, cells)
		if len(row.Cells) == 0 && !slices.ContainsFunc(cells, func(c cell) bool { return c.text != "" || c.bad != nil }) {
			continue
		}
		if row.Hidden {
			switch g.hidden {
			case hiddenLeave:
				continue
			case hiddenTake:
			default:
				return nil, row.N, events.Problems{{Why: say("tables.hidden"), Instead: say("tables.hidden-instead")}}, nil
			}
		}
		return cells, row.N, nil, nil
	}
}

// cell makes a cell of the table out of one of the sheet.
func (g *sheetGrid) cell(c sheets.Cell) cell {
	out := cell{text: c.Text, kind: c.Kind, shown: c.Shown}
	switch c.Kind {
	case sheets.Error:
		out.bad = wrong(say("ingest.spreadsheet-error"), say("ingest.spreadsheet-error-instead"))
	case sheets.Uncalculated:
		out.text = "=" + strings.TrimPrefix(c.Formula, "=")
		out.bad = wrong(say("tables.formula"), say("tables.formula-instead"))
	case sheets.Number:
		out.zeros = c.Zeros
		if day, ok := g.book.Day(c.Value); ok && c.Value >= 20000 && c.Value < 80000 {
			out.day = day
		}
	}
	return out
}

// join tells cells that they are joined. A value that stands once for several cells says nothing certain about any of them:
// a weight over three rows is no weight of the first. Cells joined with such as have no heading are as good as alone.
func (g *sheetGrid) join(row sheets.Row, cells []cell) {
	for _, r := range row.Joined {
		first, ok := g.anchors[r.Name]
		if !ok && r.Left <= len(cells) && row.N == r.Top {
			first = cells[r.Left-1]
		}
		if r.Bottom == row.N {
			delete(g.anchors, r.Name)
		} else {
			g.anchors[r.Name] = first
		}
		if first.text == "" {
			continue
		}
		headed := 0
		for at := r.Left; at <= min(r.Right, g.width); at++ {
			if g.headed[at-1] {
				headed++
			}
		}
		if headed == 1 && r.Top == r.Bottom {
			continue
		}
		for at := r.Left; at <= min(r.Right, g.width); at++ {
			if g.repeat {
				cells[at-1] = first
				continue
			}
			cells[at-1].bad = wrong(say("tables.merged", "range", r.Name), say("tables.merged-instead"))
			if cells[at-1].text == "" {
				cells[at-1].text = first.text
			}
		}
	}
}
