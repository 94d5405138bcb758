package paper

import (
	"io"
	"strings"
)

// Sizes of a flow, in mm and points.
const (
	side     = 16.0 // margin left and right
	above    = 15.0
	below    = 20.0 // the foot stands in it
	body     = 9.0
	small    = 7.5
	lineHigh = 4.3 // of body
	cellSize = 8.0
	cellHigh = 3.9
	cellPad  = 1.3
)

// Feet is what stands below every page.
type Feet struct {
	Left string                           // lines of one text, grey
	Page func(page, pages int) string     // right
	Head func(page, pages int) (s string) // above every page but the first; nil: nothing
}

// A Flow is a text that runs down its pages.
type Flow struct {
	d     *Doc
	feet  Feet
	pages int // 0 while they are counted
	y     float64
}

// Set writes a document whose text draw lets run down the pages. It calls draw twice, so draw must do the same both times.
// lack lists the letters that the font does not have.
func Set(w io.Writer, info Info, feet Feet, draw func(*Flow)) (lack string, err error) {
	pages := 0
	for {
		d, err := New(info)
		if err != nil {
			return "", err
		}
		f := &Flow{d: d, feet: feet, pages: pages}
		f.Break()
		draw(f)
		if pages != d.Pages() {
			pages = d.Pages()
			continue
		}
		_, err = d.WriteTo(w)
		return d.Lack(), err
	}
}

// wide is the width between the margins.
func (f *Flow) wide() float64 { return f.d.w - 2*side }

// Break begins a page.
func (f *Flow) Break() {
	f.d.Page()
	f.y = above
	page := f.d.Pages()
	bottom := f.d.h - below + 5
	f.d.Rule(side, bottom, f.d.w-side, bottom, 0.15, 170)
	if f.feet.Page != nil {
		s := f.feet.Page(page, f.pages)
		f.d.Text(f.d.w-side-f.d.Width(small, Plain, s), bottom+1.5, small, Plain, 90, s)
	}
	left, _ := f.d.Printable(f.feet.Left)
	for i, line := range f.d.Wrap(left, f.wide()-32, small, Plain) {
		if i > 2 {
			break
		}
		f.d.Text(side, bottom+1.5+3.4*float64(i), small, Plain, 90, line)
	}
	if f.feet.Head != nil && page > 1 {
		s, _ := f.d.Printable(f.feet.Head(page, f.pages))
		f.d.Text(side, above-6.5, small, Plain, 90, s)
		f.y = above + 1
	}
}

// Need begins a page if less than mm are left on this one.
func (f *Flow) Need(mm float64) {
	if f.y+mm > f.d.h-below && f.y > above+2 {
		f.Break()
	}
}

// Fresh begins a page unless this one is empty.
func (f *Flow) Fresh() {
	if f.y > above+2 {
		f.Break()
	}
}

// Space leaves mm empty.
func (f *Flow) Space(mm float64) { f.y += mm }

// lines writes lines of a size below one another, breaking pages between them.
func (f *Flow) lines(x, wide, size, high float64, style Style, grey int, s string) {
	s, _ = f.d.Printable(s)
	for _, line := range f.d.Wrap(s, wide, size, style) {
		f.Need(high)
		f.d.Text(x, f.y, size, style, grey, line)
		f.y += high
	}
}

// Title writes what a document is, and below it what it is of.
func (f *Flow) Title(title, of string) {
	f.lines(side, f.wide(), 17, 7.5, Bold, 0, title)
	if of != "" {
		f.lines(side, f.wide(), 10, 4.8, Plain, 70, of)
	}
	f.y += 1.5
	f.d.Rule(side, f.y, f.d.w-side, f.y, 0.5, 0)
	f.y += 3
}

// Heading writes a heading, never at the foot of a page.
func (f *Flow) Heading(s string) {
	if s == "" {
		return
	}
	f.Need(24)
	f.y += 2
	f.lines(side, f.wide(), 11.5, 5.2, Bold, 0, s)
	f.y += 1
}

// Big writes a line in large letters, for what is read from a distance.
func (f *Flow) Big(s string) {
	f.Need(20)
	f.lines(side, f.wide(), 22, 9.5, Bold, 0, s)
	f.y += 1
}

// Paragraph writes a paragraph.
func (f *Flow) Paragraph(s string) {
	f.lines(side, f.wide(), body, lineHigh, Plain, 0, s)
	f.y += 1.4
}

// Small writes a paragraph in small grey letters.
func (f *Flow) Small(s string) {
	f.lines(side, f.wide(), small, 3.5, Plain, 70, s)
	f.y += 1.2
}

// Marked writes paragraphs with a bar beside them: what a reader must not miss. Below a head they are a list.
func (f *Flow) Marked(head string, texts []string) {
	const inset, dot = 4.0, 3.0
	type line struct {
		s     string
		style Style
		at    float64
		dot   bool
	}
	var all []line
	add := func(s string, style Style, at float64) {
		s, _ = f.d.Printable(s)
		for i, l := range f.d.Wrap(s, f.wide()-at, body, style) {
			all = append(all, line{l, style, at, at > inset && i == 0})
		}
	}
	at := inset
	if head != "" {
		add(head, Bold, inset)
		at = inset + dot
	}
	for _, s := range texts {
		add(s, Plain, at)
	}
	f.Need(min(float64(len(all))*lineHigh+2, 40))
	for _, l := range all {
		f.Need(lineHigh)
		f.d.Fill(side, f.y-0.4, 1.2, lineHigh+0.1, 40)
		if l.dot {
			f.d.Text(side+inset, f.y, body, Plain, 0, "•")
		}
		f.d.Text(side+l.at, f.y, body, l.style, 0, l.s)
		f.y += lineHigh
	}
	f.y += 2
}

// Figure draws a picture (PNG), as wide as it is to be in mm, and no wider than the page.
func (f *Flow) Figure(title string, png []byte, wide, high float64) {
	if len(png) == 0 || wide <= 0 || high <= 0 {
		return
	}
	if wide > f.wide() {
		wide, high = f.wide(), high*f.wide()/wide
	}
	f.Need(high + 8)
	if title != "" {
		f.lines(side, f.wide(), body, lineHigh, Bold, 0, title)
	}
	f.d.Picture(png, side, f.y, wide, high)
	f.y += high + 3
}

// A Pair is a name and a value.
type Pair struct {
	Name, Value string
	Wide        bool // takes a line of its own
}

// Pairs writes names and values, two beside one another where they are not wide.
func (f *Flow) Pairs(pairs []Pair) {
	const gap = 6.0
	half := (f.wide() - gap) / 2
	for i := 0; i < len(pairs); {
		row := pairs[i : i+1]
		if !pairs[i].Wide && i+1 < len(pairs) && !pairs[i+1].Wide {
			row = pairs[i : i+2]
		}
		i += len(row)
		wide := half
		if row[0].Wide {
			wide = f.wide()
		}
		names, values := make([][]string, len(row)), make([][]string, len(row))
		most := 1
		nameWide := 40.0
		for n, p := range row {
			name, _ := f.d.Printable(p.Name)
			value, _ := f.d.Printable(p.Value)
			names[n] = f.d.Wrap(name, nameWide-2, small, Plain)
			values[n] = f.d.Wrap(value, wide-nameWide, body, Plain)
			most = max(most, len(names[n]), len(values[n]))
		}
		f.Need(float64(min(most, 6))*lineHigh + 1)
		for l := range most {
			f.Need(lineHigh)
			for n := range row {
				x := side + float64(n)*(half+gap)
				if l < len(names[n]) {
					f.d.Text(x, f.y+0.3, small, Plain, 90, names[n][l])
				}
				if l < len(values[n]) {
					f.d.Text(x+nameWide, f.y, body, Plain, 0, values[n][l])
				}
			}
			f.y += lineHigh
		}
		f.y += 0.6
		f.d.Rule(side, f.y, f.d.w-side, f.y, 0.1, 215)
		f.y += 0.9
	}
	f.y += 1
}

// A Column is a column of a table.
type Column struct {
	Heading string
	Right   bool // numbers
}

// Table writes a table; its head stands again on every page that it reaches.
func (f *Flow) Table(columns []Column, rows [][]string) {
	if len(columns) == 0 {
		return
	}
	cells := make([][]string, len(rows))
	for i, r := range rows {
		cells[i] = make([]string, len(columns))
		for c := range columns {
			if c < len(r) {
				cells[i][c], _ = f.d.Printable(r[c])
			}
		}
	}
	widths := f.widths(columns, cells)
	head := make([]string, len(columns))
	for c := range columns {
		head[c], _ = f.d.Printable(columns[c].Heading)
	}
	drawHead := func() {
		lines, high := f.wrapped(head, widths, Bold)
		f.d.Fill(side, f.y, f.wide(), high, 232)
		f.row(columns, lines, widths, Bold)
		f.y += high
		f.d.Rule(side, f.y, f.d.w-side, f.y, 0.25, 0)
	}
	f.Need(22)
	drawHead()
	for _, r := range cells {
		lines, high := f.wrapped(r, widths, Plain)
		// A row that no page holds is cut into rows that one does.
		for most := int((f.d.h - below - above - 30) / cellHigh); high > float64(most+1)*cellHigh; {
			f.Need(high)
			drawHead()
			top := make([][]string, len(lines))
			for c := range lines {
				n := min(most, len(lines[c]))
				top[c], lines[c] = lines[c][:n], lines[c][n:]
			}
			f.row(columns, top, widths, Plain)
			f.y += float64(most)*cellHigh + 1.4
			high -= float64(most) * cellHigh
		}
		if f.y+high > f.d.h-below && f.y > above+20 {
			f.Break()
			drawHead()
		}
		f.row(columns, lines, widths, Plain)
		f.y += high
		f.d.Rule(side, f.y, f.d.w-side, f.y, 0.1, 200)
	}
	f.y += 3
}

func (f *Flow) wrapped(cells []string, widths []float64, style Style) (lines [][]string, high float64) {
	most := 1
	lines = make([][]string, len(cells))
	for c, s := range cells {
		lines[c] = f.d.Wrap(s, widths[c]-2*cellPad, cellSize, style)
		most = max(most, len(lines[c]))
	}
	return lines, float64(most)*cellHigh + 1.4
}

func (f *Flow) row(columns []Column, lines [][]string, widths []float64, style Style) {
	x := side
	for c := range lines {
		for i, l := range lines[c] {
			at := x + cellPad
			if columns[c].Right {
				at = x + widths[c] - cellPad - f.d.Width(cellSize, style, l)
			}
			f.d.Text(at, f.y+0.8+float64(i)*cellHigh, cellSize, style, 0, l)
		}
		x += widths[c]
	}
}

// widths shares the page's width over the columns: each as wide as its widest cell where there is room, never narrower than
// its longest word where that can be, the rest by what each would like to have.
func (f *Flow) widths(columns []Column, cells [][]string) []float64 {
	like, least := make([]float64, len(columns)), make([]float64, len(columns))
	word := func(c int, s string, style Style) {
		for w := range strings.FieldsSeq(s) {
			least[c] = max(least[c], f.d.Width(cellSize, style, w)+2*cellPad+0.2)
		}
	}
	for c, col := range columns {
		like[c] = f.d.Width(cellSize, Bold, col.Heading) + 2*cellPad + 0.2
		word(c, col.Heading, Bold)
		for _, r := range cells {
			for line := range strings.SplitSeq(r[c], "\n") {
				like[c] = max(like[c], f.d.Width(cellSize, Plain, line)+2*cellPad+0.2)
			}
			word(c, r[c], Plain)
		}
		least[c] = min(least[c], f.wide()/3)
		like[c] = max(min(like[c], f.wide()*0.6), least[c])
	}
	return share(like, least, f.wide())
}

// share gives each part what it would like where that fits, and spreads the rest. Where it does not fit the widest parts are
// cut to one width, none below its least; where not even the least fit, each gets its part of it.
func share(like, least []float64, all float64) []float64 {
	sum := func(width func(i int) float64) (s float64) {
		for i := range like {
			s += width(i)
		}
		return s
	}
	out := make([]float64, len(like))
	l, m := sum(func(i int) float64 { return like[i] }), sum(func(i int) float64 { return least[i] })
	cut := func(most float64) func(int) float64 {
		return func(i int) float64 { return max(least[i], min(like[i], most)) }
	}
	switch {
	case l <= all:
		for i := range out {
			out[i] = like[i] * all / l
		}
	case m >= all:
		for i := range out {
			out[i] = least[i] * all / m
		}
	default:
		low, high := 0.0, all
		for range 60 { // halving a page's width so often leaves less than any printer shows
			if mid := (low + high) / 2; sum(cut(mid)) > all {
				high = mid
			} else {
				low = mid
			}
		}
		for i := range out {
			out[i] = cut(low)(i)
		}
	}
	return out
}
