package bundle

import (
	"bytes"
	_ "embed"
	"fmt"
	"html/template"
	"slices"
	"strconv"
	"strings"
	"time"

	"latewood/events"
	"latewood/events/civil"
	"latewood/events/ledger/evidence"
	"latewood/events/ledger/proof"
	"latewood/events/words"
	"latewood/projections"
	"latewood/projections/holds"
	"latewood/projections/lots"
	"latewood/services/internal/paper"
)

// A Page is the first page of evidence as a value: what it says, not what it looks like.
type Page struct {
	Title    string
	Under    string // farm and recipient
	Lead     string // the first sentence
	Facts    []Pair
	Sections []Section
	Foot     string
}

// A Pair is a name and what it is.
type Pair struct{ Name, Value string }

// A Section is a heading with texts and a table, each of which may be missing.
type Section struct {
	Head  string
	Texts []string
	Table Table
	Notes []string // below the table
}

// A Table has columns named by Head; cells of Right columns are numbers.
type Table struct {
	Head  []string
	Right []bool
	Rows  [][]string
}

//go:embed page.html
var pageHTML string

// HTML draws the page: one file that needs no other, for the screen and for paper.
func (p Page) HTML() ([]byte, error) {
	t, err := template.New("page").Parse(pageHTML)
	if err != nil {
		return nil, fmt.Errorf("bundle: the first page: %w", err)
	}
	var b bytes.Buffer
	if err := t.Execute(&b, p); err != nil {
		return nil, fmt.Errorf("bundle: the first page: %w", err)
	}
	return b.Bytes(), nil
}

// PDF draws the page for paper, as made on a day. The same page gives the same bytes.
func (p Page) PDF(made civil.Date) ([]byte, error) {
	var b bytes.Buffer
	info := paper.Info{Size: paper.A4, Title: p.Title, Lang: "en", Made: civil.DayStart(made, time.UTC)}
	feet := paper.Feet{
		Left: p.Foot,
		Page: func(page, pages int) string { return words.Say("bundle.page", "page", page, "pages", pages) },
		Head: func(int, int) string { return p.Title },
	}
	// A letter that the font lacks stands as the sign for an unknown one: the page for the screen beside it has it.
	if _, err := paper.Set(&b, info, feet, p.flow); err != nil {
		return nil, fmt.Errorf("bundle: the first page on paper: %w", err)
	}
	return b.Bytes(), nil
}

func (p Page) flow(f *paper.Flow) {
	f.Title(p.Title, p.Under)
	f.Marked("", []string{p.Lead})
	pairs := make([]paper.Pair, len(p.Facts))
	for i, fact := range p.Facts {
		pairs[i] = paper.Pair{Name: fact.Name, Value: fact.Value, Wide: true}
	}
	f.Pairs(pairs)
	for _, s := range p.Sections {
		f.Heading(s.Head)
		for _, text := range s.Texts {
			f.Paragraph(text)
		}
		if len(s.Table.Rows) > 0 {
			columns := make([]paper.Column, len(s.Table.Head))
			for i, h := range s.Table.Head {
				columns[i] = paper.Column{Heading: h, Right: i < len(s.Table.Right) && s.Table.Right[i]}
			}
			f.Table(columns, s.Table.Rows)
		}
		for _, note := range s.Notes {
			f.Small(note)
		}
	}
}

// paging is what a page is made from.
type paging struct {
	subject   evidence.Subject
	given     *evidence.Record
	scope     evidence.Scope
	late      *evidence.Lateness
	key       proof.Key
	size      uint64
	root      string
	recipient string
	names     []evidence.Name
	flags     []projections.Flag
	book      *projections.Book
	zone      *time.Location
	facts     map[events.ID]*projections.Fact // of the scope
}

// makePage says what the records of a scope say, as they stand with their corrections.
func makePage(p paging) Page {
	p.zone = p.book.Zone()
	p.facts = map[events.ID]*projections.Fact{}
	for _, r := range p.scope.Records {
		if id, err := events.ParseID(r.ID); err == nil {
			if f := p.book.Fact(id); f != nil {
				p.facts[f.ID] = f // also where r is a correction of it
			}
		}
	}
	farm := p.given.Farm
	if o := p.book.Opened(); o != nil {
		farm = o.Name
	}
	out := Page{
		Title: words.Say("bundle.title", "subject", p.title()),
		Under: words.Say("bundle.under", "farm", farm),
		Lead:  evidence.First(p.subject, p.given),
		Foot:  words.Say("bundle.foot", "origin", p.key.Name(), "size", p.size, "root", p.root[:8], "zone", p.zone.String()),
	}
	if p.recipient != "" {
		out.Under = words.Say("bundle.under-to", "farm", farm, "recipient", p.recipient)
	}
	out.Facts = p.pairs()
	for _, s := range []Section{p.picks(), p.sprays(), p.others(), p.life(), p.mended(), p.flagged(), p.devices(), p.people(), p.ledger(), p.limits()} {
		if len(s.Texts)+len(s.Table.Rows) > 0 {
			out.Sections = append(out.Sections, s)
		}
	}
	return out
}

func (p *paging) title() string {
	if p.subject.Class == "spray" {
		if f := p.fact(p.subject.Code); f != nil {
			return words.Say("bundle.title-spray", "day", f.Time.In(p.zone).Format(time.DateOnly), "blocks", strings.Join(blocks(f), ", "))
		}
	}
	return words.Say("bundle.title-"+p.subject.Class, "code", p.subject.Code, "season", p.subject.Season)
}

func (p *paging) fact(id string) *projections.Fact {
	key, err := events.ParseID(id)
	if err != nil {
		return nil
	}
	return p.facts[key]
}

// clock writes a moment as people of the farm read it; the start of a day, which is how a date stands in a record, as the date.
func (p *paging) clock(t time.Time) string {
	t = t.In(p.zone)
	if t.Equal(civil.DayStart(civil.DateOf(t, p.zone), p.zone)) {
		return t.Format(time.DateOnly)
	}
	return t.Format("2006-01-02 15:04")
}

func (p *paging) pairs() []Pair {
	out := []Pair{
		{words.Say("bundle.as-of"), words.Say("bundle.as-of-value", "place", p.given.Place, "at", p.clock(p.given.Recorded))},
		{words.Say("bundle.records"), words.Say("bundle.records-value", "n", len(p.scope.Records)+1, "chains", len(p.scope.Chains))},
	}
	if held := p.heldNow(); held != "" {
		out = append(out, Pair{words.Say("bundle.held"), held})
	}
	if p.late != nil {
		out = append(out, Pair{words.Say("bundle.late"), words.Say("bundle.late-value", "median", Span(p.late.MedianSeconds), "worst", Span(p.late.WorstSeconds))})
	}
	return out
}

// heldNow says whether the program holds the lot or load, and because of what.
func (p *paging) heldNow() string {
	fruit := lots.Holds(p.book, p.flags, p.given.Recorded)
	for _, h := range slices.Concat(fruit.Lots, fruit.Deliveries) {
		if (p.subject.Class != "lot" || h.Lot != p.subject.Code) && (p.subject.Class != "delivery" || h.Delivery != p.subject.Code) {
			continue
		}
		if !h.Held {
			return words.Say("bundle.released")
		}
		var because []string
		for _, r := range h.Because {
			if r.Flag == "" {
				because = append(because, words.Say("bundle.held-by-person"))
			} else if !slices.Contains(because, r.Flag) {
				because = append(because, r.Flag)
			}
		}
		return words.Say("bundle.held-because", "because", strings.Join(because, ", "))
	}
	return ""
}

// Span writes how long something took, in the largest unit of which there are at least two.
func Span(seconds int64) string {
	switch {
	case seconds >= 48*3600:
		return words.Say("verify.days", "n", seconds/86400)
	case seconds >= 2*3600:
		return words.Say("verify.hours", "n", seconds/3600)
	case seconds >= 120:
		return words.Say("verify.minutes", "n", seconds/60)
	}
	return words.Say("verify.seconds", "n", seconds)
}

// standing gives the facts of kinds, by time; those withdrawn are told under corrections.
func (p *paging) standing(kinds ...string) []*projections.Fact {
	var out []*projections.Fact
	for _, f := range p.facts {
		if f.Stands() && slices.Contains(kinds, f.Kind) && p.inSeason(f) {
			out = append(out, f)
		}
	}
	slices.SortFunc(out, func(a, b *projections.Fact) int {
		if c := a.Time.Compare(b.Time); c != 0 {
			return c
		}
		return slices.Compare(a.ID[:], b.ID[:])
	})
	return out
}

// inSeason says whether a fact belongs to the season that was asked for.
func (p *paging) inSeason(f *projections.Fact) bool {
	if p.subject.Season == "" {
		return true
	}
	v := p.book.View(projections.Key{Class: projections.Block, Code: p.subject.Code})
	return v.Seasons().Of(f.Kind, f.Time) == civil.Season(p.subject.Season)
}

// blocks lists the blocks of a fact, each once.
func blocks(f *projections.Fact) []string {
	var out []string
	for _, k := range projections.KeysOf(f) {
		if k.Class == projections.Block {
			out = append(out, k.Code)
		}
	}
	slices.Sort(out)
	return slices.Compact(out)
}

func (p *paging) picks() Section {
	s := Section{Head: words.Say("bundle.picks")}
	s.Table = table("pick", "block", "mass", "basis", "entered")
	s.Table.Right = []bool{false, false, true, false, false}
	for _, f := range p.standing("fruit.picked") {
		d := f.Data().(*events.FruitPicked)
		mass := quantity(d.Mass)
		if mass == "" {
			mass = words.Say("bundle.containers", "n", containers(d.Containers))
		}
		s.Table.Rows = append(s.Table.Rows, []string{p.clock(f.Time), strings.Join(blocks(f), ", "), mass, d.MassBasis, p.after(f)})
	}
	if len(p.scope.Bins) > 0 {
		s.Texts = append(s.Texts, words.Say("evidence.bins", "bins", strings.Join(p.scope.Bins, ", ")))
	}
	return s
}

// after says how long after it happened a record came into the ledger.
func (p *paging) after(f *projections.Fact) string {
	return words.Say("bundle.after", "span", Span(max(0, int64(f.Record.Recorded.Sub(f.Record.Time)/time.Second))))
}

func containers(all []events.Container) int {
	n := 0
	for _, c := range all {
		if c.Count != nil {
			n += *c.Count
		} else {
			n++
		}
	}
	return n
}

func quantity(q *events.Quantity) string {
	if q == nil {
		return ""
	}
	return strconv.FormatFloat(q.Value, 'f', -1, 64) + " " + q.Unit
}

// sprays lists the sprays, newest first, and what each of them held at the first pick after it that is shown.
func (p *paging) sprays() Section {
	s := Section{Head: words.Say("bundle.sprays")}
	all := p.standing("spray.applied")
	if len(all) == 0 {
		return s
	}
	picks := p.standing("fruit.picked")
	s.Table = table("ended", "block", "products", "label-says", "next-pick", "at-that-pick")
	slices.Reverse(all)
	for _, f := range all {
		d := f.Data().(*events.SprayApplied)
		for _, block := range blocks(f) {
			next, held := "–", "–"
			if pick := firstAfter(picks, block, f.Time); pick != nil {
				next = words.Say("bundle.days-later", "day", pick.Time.In(p.zone).Format(time.DateOnly), "n", days(f.Time, pick.Time, p.zone))
				held = p.held(block, f.ID.String(), pick.Time)
			}
			s.Table.Rows = append(s.Table.Rows, []string{p.clock(f.Time), block, p.products(d.Mix), p.labelSays(d.Mix), next, held})
		}
	}
	s.Notes = append(s.Notes, words.Say("holds.caution"))
	return s
}

// firstAfter is the first pick in a block at or after a time.
func firstAfter(picks []*projections.Fact, block string, at time.Time) *projections.Fact {
	for _, f := range picks {
		if !f.Time.Before(at) && slices.Contains(blocks(f), block) {
			return f
		}
	}
	return nil
}

func days(from, to time.Time, zone *time.Location) int {
	a, b := civil.DateOf(from, zone), civil.DateOf(to, zone)
	return int(civil.DayStart(b, time.UTC).Sub(civil.DayStart(a, time.UTC)) / (24 * time.Hour))
}

// held is what one spray said of picking in a block at a time.
func (p *paging) held(block, spray string, at time.Time) string {
	h := holds.Of(p.book, block).Only(spray).At(at, p.zone).Pick
	text := words.Say("holds.short-" + string(h.Status))
	if h.Status == holds.Waiting && h.From != "" {
		if t, err := time.Parse(time.RFC3339, h.From); err == nil {
			text = words.Say("bundle.until", "status", text, "at", p.clock(t))
		}
	}
	return text
}

func (p *paging) products(mix []events.MixItem) string {
	var out []string
	for _, m := range mix {
		name := m.Product
		if l := p.label(m.Label); name == "" && l != nil {
			name = l.Product
		}
		if name == "" {
			name = words.Say("bundle.product-unknown")
		}
		out = append(out, name)
	}
	return strings.Join(out, ", ")
}

func (p *paging) label(id string) *events.LabelFiled {
	if f := p.fact(id); f != nil {
		l, _ := f.Data().(*events.LabelFiled)
		return l
	}
	return nil
}

// labelSays is the withholding that a person read off each label.
func (p *paging) labelSays(mix []events.MixItem) string {
	var out []string
	for _, m := range mix {
		l := p.label(m.Label)
		if l == nil {
			if m.Role == "" || m.Role == "active" {
				out = append(out, words.Say("bundle.no-label"))
			}
			continue
		}
		for _, w := range l.Withholding {
			text := w.Words
			if w.Value != nil {
				text = strconv.FormatFloat(*w.Value, 'f', -1, 64) + " " + w.Unit
			}
			if text == "" {
				text = w.Kind
			}
			out = append(out, text)
		}
	}
	if len(out) == 0 {
		return "–"
	}
	return strings.Join(out, "; ")
}

// others counts what else was put on the blocks, by kind.
func (p *paging) others() Section {
	s := Section{Head: words.Say("bundle.others")}
	shown := []string{"fruit.picked", "spray.applied", "label.filed", "evidence.given"}
	count, last := map[string]int{}, map[string]time.Time{}
	for _, f := range p.facts {
		if slices.Contains(shown, f.Kind) || ofLot(f.Kind) || !f.Stands() || !p.inSeason(f) {
			continue
		}
		count[f.Kind]++
		if f.Time.After(last[f.Kind]) {
			last[f.Kind] = f.Time
		}
	}
	s.Table = table("kind", "records", "last")
	s.Table.Right = []bool{false, true, false}
	for _, kind := range sorted(count) {
		s.Table.Rows = append(s.Table.Rows, []string{kind, strconv.Itoa(count[kind]), p.clock(last[kind])})
	}
	return s
}

func sorted[V any](m map[string]V) []string {
	var out []string
	for k := range m {
		out = append(out, k)
	}
	slices.Sort(out)
	return out
}

// ofLot says whether records of a kind are about a lot or load.
func ofLot(kind string) bool {
	return strings.HasPrefix(kind, "lot.") || slices.Contains([]string{
		"fruit.delivered", "delivery.answered", "packout.reported", "fruit.received", "fruit.sold", "bin.emptied", "stock.counted",
	}, kind)
}

// life lists what happened to the lot or load.
func (p *paging) life() Section {
	s := Section{Head: words.Say("bundle.life")}
	s.Table = table("time", "kind", "entered", "record")
	var kinds []string
	for _, f := range p.facts {
		if ofLot(f.Kind) {
			kinds = append(kinds, f.Kind)
		}
	}
	for _, f := range p.standing(kinds...) {
		s.Table.Rows = append(s.Table.Rows, []string{p.clock(f.Time), f.Kind, p.after(f), short(f.ID.String())})
	}
	return s
}

// short is enough of an id to find the record in the file by eye.
func short(id string) string { return "…" + id[len(id)-12:] }

// mended lists corrections and withdrawals.
func (p *paging) mended() Section {
	s := Section{Head: words.Say("bundle.mended")}
	s.Table = table("recorded", "what", "of", "reason")
	for _, r := range p.scope.Records {
		if r.Kind != "record.corrected" && r.Kind != "record.withdrawn" {
			continue
		}
		of := short(r.About())
		if f := p.fact(r.About()); f != nil {
			of = words.Say("bundle.of", "kind", f.Kind, "day", f.Record.Time.In(p.zone).Format(time.DateOnly))
		}
		s.Table.Rows = append(s.Table.Rows, []string{p.clock(r.Recorded), words.Say("bundle." + strings.TrimPrefix(r.Kind, "record.")), of, r.Data.Get("reason").Str})
	}
	if len(s.Table.Rows) == 0 {
		s.Texts = []string{words.Say("bundle.none-mended")}
	}
	return s
}

// flagged lists the flags that stand on the records shown.
func (p *paging) flagged() Section {
	s := Section{Head: words.Say("bundle.flags")}
	s.Table = table("record", "flag", "why")
	for _, f := range p.flags {
		fact := p.fact(f.ID)
		if fact == nil {
			continue
		}
		s.Table.Rows = append(s.Table.Rows, []string{words.Say("bundle.of", "kind", fact.Kind, "day", fact.Record.Time.In(p.zone).Format(time.DateOnly)), f.Name, f.Why()})
	}
	if len(s.Table.Rows) == 0 {
		s.Texts = []string{words.Say("bundle.no-flags")}
	}
	return s
}

// devices lists when each device was heard last: what it has not sent is in no file.
func (p *paging) devices() Section {
	s := Section{Head: words.Say("bundle.devices")}
	s.Table = table("device", "heard", "waiting")
	s.Table.Right = []bool{false, false, true}
	for _, h := range holds.Holds(p.book, p.given.Recorded).Heard {
		last := words.Say("bundle.never")
		if t, err := time.Parse(time.RFC3339, h.Last); err == nil {
			last = words.Say("bundle.heard", "at", p.clock(t), "span", Span(int64(p.given.Recorded.Sub(t)/time.Second)))
		}
		s.Table.Rows = append(s.Table.Rows, []string{h.Device, last, strconv.Itoa(h.Waiting)})
	}
	if len(s.Table.Rows) == 0 {
		s.Texts = []string{words.Say("bundle.no-devices")}
	} else {
		s.Notes = []string{words.Say("bundle.devices-note")}
	}
	return s
}

// people lists the names that are opened.
func (p *paging) people() Section {
	s := Section{Head: words.Say("bundle.people")}
	if len(p.names) == 0 {
		return s
	}
	s.Table = table("name", "certificate", "pseudonym")
	for _, n := range p.names {
		s.Table.Rows = append(s.Table.Rows, []string{n.Name, n.Certificate, n.Pseudonym})
	}
	s.Notes = []string{words.Say("bundle.people-note")}
	return s
}

func (p *paging) ledger() Section {
	return Section{Head: words.Say("bundle.ledger"), Texts: []string{words.Say("bundle.ledger-check")}, Table: Table{
		Head: []string{"", ""},
		Rows: [][]string{
			{words.Say("bundle.origin"), p.key.Name()},
			{words.Say("bundle.size"), strconv.FormatUint(p.size, 10)},
			{words.Say("bundle.root"), p.root},
			{words.Say("bundle.key"), p.key.Fingerprint()},
		},
	}}
}

func (p *paging) limits() Section {
	return Section{Head: words.Say("bundle.limits"), Texts: []string{
		words.Say("evidence.readme-not", "given", p.given.Place), words.Say("evidence.own-clock"), words.Say("evidence.leaks-" + p.subject.Class),
	}}
}

func table(names ...string) Table {
	t := Table{Right: make([]bool, len(names))}
	for _, n := range names {
		t.Head = append(t.Head, words.Say("bundle.head-"+n))
	}
	return t
}
