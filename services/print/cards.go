package print

import (
	"fmt"
	"io"
	"time"

	"latewood/events/words"
	"latewood/services/internal/paper"
)

// A Card stands for one person.
type Card struct {
	Tag  string // P07
	Name string // may be empty
	Role string // a word; may be empty
	Code string // what the code holds: the pseudonym
}

// A Sheet is cards to be printed, eight on a page.
type Sheet struct {
	Farm  string     // what people call it
	Paper paper.Size // empty: A4
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
	farm := s.Farm
	doc, err := paper.New(paper.Info{Size: s.Paper, Title: words.Say("people.cards-title", "farm", farm), Lang: words.English, Made: s.Made})
	if err != nil {
		return nil, fmt.Errorf("print: cards: %w", err)
	}
	d := &drawing{doc: doc}
	farm, _ = doc.Printable(farm)
	pageW, pageH := doc.Size()
	left, top := (pageW-columns*cardW)/2, (pageH-onPage/columns*cardH)/2
	pages := Pages(len(s.Cards))
	for i, c := range s.Cards {
		at := i % onPage
		if at == 0 {
			doc.Page()
			doc.Fit(left, top-9, columns*cardW, 9, paper.Plain, words.Say("people.cards-head", "farm", farm, "date", s.Made.Format("2006-01-02"), "page", i/onPage+1, "pages", pages))
		}
		if err := d.card(left+float64(at%columns)*cardW, top+float64(at/columns)*cardH, farm, c); err != nil {
			return nil, err
		}
	}
	if _, err := doc.WriteTo(w); err != nil {
		return nil, fmt.Errorf("print: cards: %w", err)
	}
	return d.missing, nil
}

// A drawing is a sheet of cards that is being made.
type drawing struct {
	doc     *paper.Doc
	missing []Missing
}

// card draws a card with its upper left corner at x, y.
func (d *drawing) card(x, y float64, farm string, c Card) error {
	d.doc.Box(x, y, cardW, cardH, 0.2, 160) // where to cut
	name, lackName := d.doc.Printable(c.Name)
	tag, lackTag := d.doc.Printable(c.Tag)
	role, _ := d.doc.Printable(c.Role)
	if lack := lackName + lackTag; lack != "" {
		d.missing = append(d.missing, Missing{Tag: c.Tag, Letters: lack})
	}
	wide := cardW - 2*inset
	beside := wide - codeSize
	d.doc.Fit(x+inset, y+4, wide, 8, paper.Plain, farm)
	d.doc.Fit(x+inset, y+codeTop+9, beside, 44, paper.Bold, tag)
	d.doc.Fit(x+inset, y+codeTop+codeSize-7, beside, 9, paper.Plain, role)
	d.name(x+inset, y+codeTop+codeSize+0.5, wide, name)
	return d.code(x+cardW-inset-codeSize+3, y+codeTop-1, codeSize, c.Code)
}

// name writes a name on one line, or where it would be small on two.
func (d *drawing) name(x, top, wide float64, s string) {
	const large, small = 15, 10
	at := middle(s)
	if d.doc.Width(11, paper.Bold, s) <= wide || at < 0 {
		d.doc.Fit(x, top, wide, large, paper.Bold, s)
		return
	}
	d.doc.Fit(x, top-0.5, wide, small, paper.Bold, s[:at])
	d.doc.Fit(x, top+3.7, wide, small, paper.Bold, s[at+1:])
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
