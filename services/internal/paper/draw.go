package paper

import (
	"bytes"
	"crypto/sha256"
	"fmt"
	"io"
	"strings"
	"time"

	"codeberg.org/go-fonts/dejavu/dejavusans"
	"codeberg.org/go-fonts/dejavu/dejavusansbold"
	"codeberg.org/go-pdf/fpdf"
)

// A Size is a size of sheets.
type Size string

// The sizes.
const (
	A4     Size = "a4"
	Letter Size = "letter"
)

// Sizes lists them.
func Sizes() []Size { return []Size{A4, Letter} }

// MM gives width and height in mm, upright; of the empty Size those of A4. ok is false for a size that is not known.
func (s Size) MM() (w, h float64, ok bool) {
	switch s {
	case A4, "":
		return 210, 297, true
	case Letter:
		return 215.9, 279.4, true
	}
	return 0, 0, false
}

// A Style is how letters look.
type Style string

// The styles.
const (
	Plain Style = ""
	Bold  Style = "B"
)

// Info is what a document says about itself.
type Info struct {
	Size  Size
	Wide  bool // lying
	Title string
	Lang  string
	Made  time.Time
}

// A Doc is a document that is being drawn.
type Doc struct {
	pdf  *fpdf.Fpdf
	has  func(rune) bool
	lack string
	w, h float64
}

// points is mm a point.
const points = 25.4 / 72

const family = "dejavu"

// New begins a document.
func New(info Info) (*Doc, error) {
	w, h, ok := info.Size.MM()
	if !ok {
		return nil, fmt.Errorf("paper: no size %q", info.Size)
	}
	if info.Wide {
		w, h = h, w
	}
	has, err := letters(dejavusansbold.TTF)
	if err != nil {
		return nil, err
	}
	d := &Doc{pdf: fpdf.NewCustom(&fpdf.InitType{UnitStr: "mm", Size: fpdf.SizeType{Wd: w, Ht: h}}), has: has, w: w, h: h}
	pdf := d.pdf
	pdf.SetCatalogSort(true)
	pdf.SetCreationDate(info.Made.UTC())
	pdf.SetModificationDate(info.Made.UTC())
	pdf.SetProducer("latewood", true)
	title, _ := d.Printable(info.Title)
	pdf.SetTitle(title, true)
	pdf.SetLang(info.Lang)
	pdf.SetAutoPageBreak(false, 0)
	pdf.SetMargins(0, 0, 0)
	pdf.AddUTF8FontFromBytes(family, "", dejavusans.TTF)
	pdf.AddUTF8FontFromBytes(family, "B", dejavusansbold.TTF)
	return d, nil
}

// Page begins the next page.
func (d *Doc) Page() { d.pdf.AddPage() }

// Pages is how many pages there are.
func (d *Doc) Pages() int { return d.pdf.PageCount() }

// Size is the width and height of a page in mm.
func (d *Doc) Size() (w, h float64) { return d.w, d.h }

// Lack lists the letters that were to be drawn and that the font does not have, each once.
func (d *Doc) Lack() string { return d.lack }

// Box draws the edge of a box, width mm wide, in a shade of grey: 0 is black, 255 white.
func (d *Doc) Box(x, y, w, h, width float64, grey int) {
	d.pdf.SetDrawColor(grey, grey, grey)
	d.pdf.SetLineWidth(width)
	d.pdf.Rect(x, y, w, h, "D")
}

// Fill fills a box with a shade of grey.
func (d *Doc) Fill(x, y, w, h float64, grey int) {
	d.pdf.SetFillColor(grey, grey, grey)
	d.pdf.Rect(x, y, w, h, "F")
}

// Rule draws a line.
func (d *Doc) Rule(x1, y1, x2, y2, width float64, grey int) {
	d.pdf.SetDrawColor(grey, grey, grey)
	d.pdf.SetLineWidth(width)
	d.pdf.Line(x1, y1, x2, y2)
}

// Picture draws a PNG into a box. What is no PNG is told when the document is written.
func (d *Doc) Picture(png []byte, x, y, w, h float64) {
	name := fmt.Sprintf("%x", sha256.Sum256(png))
	d.pdf.RegisterImageOptionsReader(name, fpdf.ImageOptions{ImageType: "png"}, bytes.NewReader(png))
	d.pdf.ImageOptions(name, x, y, w, h, false, fpdf.ImageOptions{ImageType: "png"}, 0, "")
}

// A Rect is a box by its left, upper, right and lower edge.
type Rect struct{ X0, Y0, X1, Y1 float64 }

// Shape fills boxes in black as one shape: single boxes would show hair lines between them on some printers and screens.
func (d *Doc) Shape(boxes []Rect) {
	d.pdf.SetFillColor(0, 0, 0)
	for _, b := range boxes {
		d.pdf.MoveTo(b.X0, b.Y0)
		d.pdf.LineTo(b.X1, b.Y0)
		d.pdf.LineTo(b.X1, b.Y1)
		d.pdf.LineTo(b.X0, b.Y1)
		d.pdf.ClosePath()
	}
	d.pdf.DrawPath("F")
}

// Width is how wide a line of text is in mm.
func (d *Doc) Width(size float64, style Style, s string) float64 {
	d.pdf.SetFont(family, string(style), size)
	return d.pdf.GetStringWidth(s)
}

// Text writes a line with its upper left corner at x, top, in a shade of grey. size is in points.
func (d *Doc) Text(x, top, size float64, style Style, grey int, s string) {
	if s == "" {
		return
	}
	d.pdf.SetFont(family, string(style), size)
	d.pdf.SetTextColor(grey, grey, grey)
	d.pdf.Text(x, top+0.8*size*points, s)
}

// Fit writes a line from x, top, no wider than wide: smaller if it must be, cut if that does not do.
func (d *Doc) Fit(x, top, wide, size float64, style Style, s string) {
	if s == "" {
		return
	}
	least := max(size/2, 7)
	d.pdf.SetFont(family, string(style), size)
	for size > least && d.pdf.GetStringWidth(s) > wide {
		size = max(size-0.5, least)
		d.pdf.SetFontSize(size)
	}
	for runes := []rune(s); d.pdf.GetStringWidth(s) > wide && len(runes) > 0; {
		runes = runes[:len(runes)-1]
		s = strings.TrimRight(string(runes), " ") + "…"
	}
	d.Text(x, top, size, style, 0, s)
}

// Printable puts the sign for an unknown letter where the font has none, and tells the letters that are not there, each once.
func (d *Doc) Printable(s string) (out, lack string) {
	var b strings.Builder
	for _, r := range s {
		if d.has(r) || r == '\n' {
			b.WriteRune(r)
			continue
		}
		b.WriteRune('\ufffd')
		if !strings.ContainsRune(lack, r) {
			lack += string(r)
		}
	}
	for _, r := range lack {
		if !strings.ContainsRune(d.lack, r) {
			d.lack += string(r)
		}
	}
	return b.String(), lack
}

// Wrap breaks a text into lines no wider than wide: at blanks, within a word only where it alone is too wide. A line break in
// the text is one in the lines.
func (d *Doc) Wrap(s string, wide, size float64, style Style) []string {
	d.pdf.SetFont(family, string(style), size)
	var out []string
	for text := range strings.SplitSeq(s, "\n") {
		line := ""
		for _, word := range strings.Fields(text) {
			switch joined := strings.TrimLeft(line+" "+word, " "); {
			case d.pdf.GetStringWidth(joined) <= wide:
				line = joined
				continue
			case line != "":
				out = append(out, line)
			}
			for line = word; d.pdf.GetStringWidth(line) > wide; {
				n := d.fitting(line, wide)
				out = append(out, line[:n])
				line = line[n:]
			}
		}
		out = append(out, line)
	}
	return out
}

// fitting is how many bytes of a word fit into a width: one letter at least, and rather up to a hyphen, a slash or an
// underscore than anywhere.
func (d *Doc) fitting(word string, wide float64) int {
	n, nice := 0, 0
	for i, r := range word {
		end := i + len(string(r))
		if d.pdf.GetStringWidth(word[:end]) > wide && n > 0 {
			break
		}
		n = end
		if strings.ContainsRune("-/_,;", r) {
			nice = end
		}
	}
	if nice > n/2 && n < len(word) {
		return nice
	}
	return n
}

// WriteTo writes the document. One without pages gets an empty one: a PDF needs it.
func (d *Doc) WriteTo(w io.Writer) (int64, error) {
	if d.Pages() == 0 {
		d.Page()
	}
	c := &counter{w: w}
	if err := d.pdf.Output(c); err != nil {
		return c.n, fmt.Errorf("paper: writing: %w", err)
	}
	return c.n, nil
}

type counter struct {
	w io.Writer
	n int64
}

func (c *counter) Write(b []byte) (int, error) {
	n, err := c.w.Write(b)
	c.n += int64(n)
	return n, err
}
