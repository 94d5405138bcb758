package print

import (
	"fmt"
	"io"
	"strings"
	"time"

	"codeberg.org/go-fonts/dejavu/dejavusans"
	"codeberg.org/go-fonts/dejavu/dejavusansbold"
	"codeberg.org/go-pdf/fpdf"

	"latewood/events/words"
)

// A Card stands for one person.
type Card struct {
	Tag  string // P07
	Name string // may be empty
	Role string // a word; may be empty
	Code string // what the code holds: the pseudonym
}

// A Paper is a size of sheets.
type Paper string

// The papers that a sheet of cards can be printed on.
const (
	A4     Paper = "a4"
	Letter Paper = "letter"
)

// Papers lists them.
func Papers() []Paper { return []Paper{A4, Letter} }

// size gives width and height in mm.
func (p Paper) size() (w, h float64, ok bool) {
	switch p {
	case A4, "":
		return 210, 297, true
	case Letter:
		return 215.9, 279.4, true
	}
	return 0, 0, false
}

// A Sheet is cards to be printed, eight on a page.
type Sheet struct {
	Farm  string // what people call it
	Paper Paper  // empty: A4
	Made  time.Time
	Cards []Card
}

// Missing says that the font does not have some letters of a card. They are printed as the sign for an unknown letter.
type Missing struct {
	Tag     string `json:"tag"`
	Letters string `json:"letters"`
}

// Sizes in mm. A page has two columns of four cards.
const (
	cardW, cardH = 85.6, 53.98
	columns      = 2
	onPage       = 8
	inset        = 5.0  // from the edge of a card to what stands on it
	codeSize     = 33.0 // of the code with its empty margin
	codeTop      = 9.5
)

// Pages is how many pages a number of cards takes.
func Pages(cards int) int { return (cards + onPage - 1) / onPage }

// Cards writes the PDF. It tells which letters the font lacks.
func Cards(w io.Writer, s Sheet) ([]Missing, error) {
	pageW, pageH, ok := s.Paper.size()
	if !ok {
		return nil, fmt.Errorf("print: no paper %q", s.Paper)
	}
	d := &drawing{pdf: fpdf.NewCustom(&fpdf.InitType{UnitStr: "mm", Size: fpdf.SizeType{Wd: pageW, Ht: pageH}})}
	var err error
	if d.has, err = letters(dejavusansbold.TTF); err != nil {
		return nil, err
	}
	pdf := d.pdf
	pdf.SetCatalogSort(true)
	pdf.SetCreationDate(s.Made.UTC())
	pdf.SetModificationDate(s.Made.UTC())
	pdf.SetProducer("latewood", true)
	farm, _ := d.printable(s.Farm)
	pdf.SetTitle(words.Say("people.cards-title", "farm", farm), true)
	pdf.SetLang("en")
	pdf.SetAutoPageBreak(false, 0)
	pdf.SetMargins(0, 0, 0)
	pdf.AddUTF8FontFromBytes("dejavu", "", dejavusans.TTF)
	pdf.AddUTF8FontFromBytes("dejavu", "B", dejavusansbold.TTF)

	left, top := (pageW-columns*cardW)/2, (pageH-onPage/columns*cardH)/2
	pages := Pages(len(s.Cards))
	for i, c := range s.Cards {
		at := i % onPage
		if at == 0 {
			pdf.AddPage()
			d.text(left, top-9, columns*cardW, 9, "", words.Say("people.cards-head", "farm", farm, "date", s.Made.Format("2006-01-02"), "page", i/onPage+1, "pages", pages))
		}
		if err := d.card(left+float64(at%columns)*cardW, top+float64(at/columns)*cardH, farm, c); err != nil {
			return nil, err
		}
	}
	if pages == 0 {
		pdf.AddPage() // a PDF needs one
	}
	if err := pdf.Output(w); err != nil {
		return nil, fmt.Errorf("print: cards: %w", err)
	}
	return d.missing, nil
}

// A drawing is a PDF that is being made.
type drawing struct {
	pdf     *fpdf.Fpdf
	has     func(rune) bool
	missing []Missing
}

// card draws a card with its upper left corner at x, y.
func (d *drawing) card(x, y float64, farm string, c Card) error {
	pdf := d.pdf
	pdf.SetDrawColor(160, 160, 160)
	pdf.SetLineWidth(0.2)
	pdf.Rect(x, y, cardW, cardH, "D") // where to cut
	name, lackName := d.printable(c.Name)
	tag, lackTag := d.printable(c.Tag)
	role, _ := d.printable(c.Role)
	if lack := lackName + lackTag; lack != "" {
		d.missing = append(d.missing, Missing{Tag: c.Tag, Letters: lack})
	}
	wide := cardW - 2*inset
	beside := wide - codeSize
	d.text(x+inset, y+4, wide, 8, "", farm)
	d.text(x+inset, y+codeTop+9, beside, 44, "B", tag)
	d.text(x+inset, y+codeTop+codeSize-7, beside, 9, "", role)
	d.name(x+inset, y+codeTop+codeSize+0.5, wide, name)
	return d.code(x+cardW-inset-codeSize+3, y+codeTop-1, codeSize, c.Code)
}

// name writes a name on one line, or where it would be small on two.
func (d *drawing) name(x, top, wide float64, s string) {
	const large, small = 15, 10
	d.pdf.SetFont("dejavu", "B", 11)
	at := middle(s)
	if d.pdf.GetStringWidth(s) <= wide || at < 0 {
		d.text(x, top, wide, large, "B", s)
		return
	}
	d.text(x, top-0.5, wide, small, "B", s[:at])
	d.text(x, top+3.7, wide, small, "B", s[at+1:])
}

// middle finds the blank nearest to the middle of a text, -1 if it has none.
func middle(s string) int {
	best := -1
	for i := range s {
		if s[i] == ' ' && (best < 0 || abs(2*i-len(s)) < abs(2*best-len(s))) {
			best = i
		}
	}
	return best
}

func abs(n int) int { return max(n, -n) }

// points is mm a point.
const points = 25.4 / 72

// text writes a line from x, top, no wider than wide: smaller if it must be, cut if that does not do. size is in points.
func (d *drawing) text(x, top, wide, size float64, style, s string) {
	if s == "" {
		return
	}
	least := max(size/2, 7)
	d.pdf.SetFont("dejavu", style, size)
	for size > least && d.pdf.GetStringWidth(s) > wide {
		size = max(size-0.5, least)
		d.pdf.SetFontSize(size)
	}
	for runes := []rune(s); d.pdf.GetStringWidth(s) > wide && len(runes) > 0; {
		runes = runes[:len(runes)-1]
		s = strings.TrimRight(string(runes), " ") + "…"
	}
	d.pdf.SetTextColor(0, 0, 0)
	d.pdf.Text(x, top+0.8*size*points, s)
}

// printable puts the sign for an unknown letter where the font has none, and tells the letters that are not there, each once.
func (d *drawing) printable(s string) (out, lack string) {
	var b strings.Builder
	for _, r := range s {
		if d.has(r) {
			b.WriteRune(r)
			continue
		}
		b.WriteRune('\ufffd')
		if !strings.ContainsRune(lack, r) {
			lack += string(r)
		}
	}
	return b.String(), lack
}
