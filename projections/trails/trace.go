package trails

import (
	"cmp"
	"maps"
	"slices"
	"strings"
	"time"

	"latewood/events"
	"latewood/events/civil"
	"latewood/events/words"
	"latewood/projections"
	"latewood/projections/holds"
)

// A Doc is the answer about one thing.
type Doc struct {
	Of         string      `json:"of"`
	What       string      `json:"what"` // lot, delivery, pick, spray, tree, shipment, block
	Picks      []PickLine  `json:"picks"`
	Trees      []string    `json:"trees"`
	Blocks     []BlockLine `json:"blocks"`
	Sprays     []SprayLine `json:"sprays"`
	Lots       []UnitLine  `json:"lots"`
	Deliveries []UnitLine  `json:"deliveries"`
	Shipments  []OutLine   `json:"shipments"` // shipped, delivered, sold, by time
	Back       []OutLine   `json:"back"`      // returned, rejected, called back
	Stood      []Stood     `json:"stood"`     // treatments, cooling, cleaning, water, training, tests, incidents
	Weather    []Day       `json:"weather"`   // of the days of the picks
	Mass       Mass        `json:"mass"`
	Missing    []Missing   `json:"missing"`
	Notes      []string    `json:"notes"`
	Caution    string      `json:"caution"`
}

// A PickLine is one pick.
type PickLine struct {
	ID     string   `json:"id"`
	Time   string   `json:"time"`
	Blocks []string `json:"blocks"`
	Trees  []string `json:"trees,omitempty"` // where it names trees or rows or rows
	Kg     *float64 `json:"kg,omitempty"`
	Picker string   `json:"picker,omitempty"`
	Crew   string   `json:"crew,omitempty"`
}

// A BlockLine is a block, under the name that it had on the day of its first pick here.
type BlockLine struct {
	Block string `json:"block"`
	Name  string `json:"name,omitempty"`
}

// A SprayLine is a spray that led to this crop.
type SprayLine struct {
	ID       string   `json:"id"`
	Products []string `json:"products"`
	Blocks   []string `json:"blocks"`
	Ended    string   `json:"ended"`
	// DaysBefore is from the day it ended to the first pick here that came after it; absent where no pick came after it.
	DaysBefore *int         `json:"daysBefore,omitempty"`
	Hold       holds.Status `json:"hold"` // of this spray alone, at that pick
}

// A UnitLine is a lot or load.
type UnitLine struct {
	Lot      string   `json:"lot,omitempty"`
	Delivery string   `json:"delivery,omitempty"`
	Date     string   `json:"date,omitempty"` // of its making
	Product  string   `json:"product,omitempty"`
	From     []string `json:"from"` // keys of the units that went into it
	Mass     Mass     `json:"mass"`
}

// An OutLine is fruit that left, or came back.
type OutLine struct {
	Record string   `json:"record"`
	Of     string   `json:"from"` // the unit, as "lot/L12"
	How    How      `json:"how"`
	Party  string   `json:"party,omitempty"`
	Date   string   `json:"date"`
	Kg     *float64 `json:"kg,omitempty"`
	Words  string   `json:"words,omitempty"`
}

// A Stood is a record of something that was done or checked, and stood when the fruit was picked or packed.
type Stood struct {
	Record string `json:"record"`
	Kind   string `json:"kind"`
	Date   string `json:"date"`
}

// A Day is what a station tells about a day.
type Day struct {
	Station string   `json:"station"`
	Date    string   `json:"date"`
	MinC    *float64 `json:"minC,omitempty"`
	MaxC    *float64 `json:"maxC,omitempty"`
	RainMM  *float64 `json:"rainMm,omitempty"`
}

// A Mass is a Balance in kilograms.
type Mass struct {
	In          float64 `json:"inKg"`
	Out         float64 `json:"outKg"`
	OnHand      float64 `json:"onHandKg"`
	OnHandFrom  string  `json:"onHandFrom,omitempty"` // counted, books
	Culled      float64 `json:"culledKg"`
	Samples     float64 `json:"samplesKg"`
	WrittenOff  float64 `json:"writtenOffKg"`
	Shrink      float64 `json:"shrinkKg"`
	Unaccounted float64 `json:"unaccountedKg"`
	// Percent is absent where nothing went in or a mass is not told.
	Percent *float64 `json:"reconciledPercent,omitempty"`
	// Ours and Packers are the two weights of loads, where a packer weighed.
	Ours    *float64 `json:"ourKg,omitempty"`
	Packers *float64 `json:"packerKg,omitempty"`
}

func kg(mg int64) float64 { return float64(mg) / 1e6 }

// Mass gives the Balance in kilograms.
func (b Balance) Mass() Mass {
	m := Mass{In: kg(b.In), Out: kg(b.Out), OnHand: kg(b.OnHand), Culled: kg(b.Culled), Samples: kg(b.Samples), WrittenOff: kg(b.WrittenOff),
		Shrink: kg(b.Shrink), Unaccounted: kg(b.Unaccounted())}
	if b.OnHand != 0 {
		m.OnHandFrom = "counted"
		if b.Books {
			m.OnHandFrom = "books"
		}
	}
	if p, ok := b.Percent(); ok {
		m.Percent = &p
	}
	if b.packers {
		ours, packers := kg(b.Ours), kg(b.Packers)
		m.Ours, m.Packers = &ours, &packers
	}
	return m
}

// Trace answers about a lot, load, pick, spray, tree, shipment, or a block on a day, written BLOCK/DATE. What is not there is
// told as an events.Problem.
func Trace(b *projections.Book, of string) (Doc, error) {
	look := NewLook(b)
	t := &tracer{b: b, look: look, s: look.state, zone: b.Zone(), doc: Doc{Of: of, Caution: words.Say("trace.caution")}}
	start, err := t.start(of)
	if err != nil {
		return Doc{}, err
	}
	t.walk(start)
	t.fill(start)
	return t.doc, nil
}

type tracer struct {
	b    *projections.Book
	look *Look
	s    *State
	zone *time.Location
	doc  Doc

	units map[string]bool // every unit of the answer
	facts []*projections.Fact
	first map[string]time.Time // of the picks, by block
}

// start is the units that a question means.
func (t *tracer) start(of string) ([]string, error) {
	if id, err := events.ParseID(of); err == nil {
		if f := t.b.Fact(id); f != nil {
			return t.startAt(of, f)
		}
		return nil, events.Problem{Field: "of", Value: of, Why: sentence("trace.no-record"), Instead: sentence("trace.what-to-ask")}
	}
	if block, day, ok := strings.Cut(of, "/"); ok {
		return t.startDay(of, block, day)
	}
	lot, load := t.s.Unit(Lot+"/"+of), t.s.Unit(Delivery+"/"+of)
	switch {
	case lot != nil:
		t.doc.What = Lot
		if load != nil {
			t.doc.Notes = append(t.doc.Notes, words.Say("trace.both", "code", of))
		}
		return []string{lot.Key}, nil
	case load != nil:
		t.doc.What = Delivery
		return []string{load.Key}, nil
	case t.look.Farm().HasTree(of):
		t.doc.What = "tree"
		return t.picksOf(t.b.Keys(projections.Block), func(f *projections.Fact) bool {
			return slices.ContainsFunc(f.Data().(*events.FruitPicked).Where, func(p events.Part) bool { return t.covers(p, of, f.Time) })
		}), nil
	}
	return nil, events.Problem{Field: "of", Value: of, Why: sentence("trace.nothing"), Instead: sentence("trace.what-to-ask")}
}

// covers reports whether a tree stood in a part.
func (t *tracer) covers(p events.Part, tree string, at time.Time) bool {
	return slices.ContainsFunc(t.look.Block(p.Block).Ground().Resolve([]events.Part{p}, at),
		func(s projections.Standing) bool { return s.Tree == tree })
}

// picksOf lists the keys of the standing picks in some blocks that a question means.
func (t *tracer) picksOf(blocks []string, means func(*projections.Fact) bool) (keys []string) {
	for _, block := range blocks {
		for _, f := range t.look.Block(block).Standing() {
			if _, ok := f.Data().(*events.FruitPicked); ok && means(f) {
				keys = append(keys, Pick+"/"+f.ID.String())
			}
		}
	}
	slices.Sort(keys)
	return slices.Compact(keys)
}

// find is a unit with its moves. A pick that went nowhere stands in no state.
func (t *tracer) find(key string) *Unit {
	if u := t.s.Unit(key); u != nil {
		return u
	}
	id, ok := strings.CutPrefix(key, Pick+"/")
	if !ok {
		return nil
	}
	moves := pickedOf(t.look.Farm(), t.fact(id))
	if moves == nil {
		return nil
	}
	return &Unit{key, moves}
}

func (t *tracer) fact(id string) *projections.Fact {
	parsed, err := events.ParseID(id)
	if err != nil {
		return nil
	}
	return t.b.Fact(parsed)
}

func (t *tracer) startAt(of string, f *projections.Fact) ([]string, error) {
	if !f.Stands() {
		t.doc.Notes = append(t.doc.Notes, words.Say("trace.withdrawn"))
	}
	switch d := f.Data().(type) {
	case *events.FruitPicked:
		t.doc.What = Pick
		return []string{Pick + "/" + f.ID.String()}, nil
	case *events.SprayApplied:
		t.doc.What = "spray"
		return t.after(f, d), nil
	case *events.LotShipped:
		t.doc.What = "shipment"
		return []string{Lot + "/" + d.Lot}, nil
	case *events.FruitSold:
		t.doc.What = "shipment"
		if d.Lot != "" {
			return []string{Lot + "/" + d.Lot}, nil
		}
		var keys []string
		for _, pick := range d.Picks {
			keys = append(keys, Pick+"/"+pick)
		}
		return keys, nil
	}
	codes, loads := projections.LotsOf(f)
	switch {
	case len(codes) > 0:
		t.doc.What = Lot
		return []string{Lot + "/" + codes[0]}, nil
	case len(loads) > 0:
		t.doc.What = Delivery
		return []string{Delivery + "/" + loads[0]}, nil
	}
	return nil, events.Problem{Field: "of", Value: of, Why: sentence("trace.other-record", "kind", f.Kind), Instead: sentence("trace.what-to-ask")}
}

// after is the picks of a spray's crop that came after it, of what it covered.
func (t *tracer) after(f *projections.Fact, d *events.SprayApplied) []string {
	blocks := map[string]bool{}
	for _, p := range d.Where {
		blocks[p.Block] = true
	}
	return t.picksOf(slices.Sorted(maps.Keys(blocks)), func(p *projections.Fact) bool {
		return !p.Time.Before(f.Time) && slices.ContainsFunc(p.Data().(*events.FruitPicked).Where, func(part events.Part) bool {
			if !blocks[part.Block] {
				return false
			}
			seasons := t.look.Block(part.Block).Seasons()
			return seasons.Of(f.Kind, f.Time) == seasons.Of(p.Kind, p.Time)
		})
	})
}

func (t *tracer) startDay(of, block, text string) ([]string, error) {
	day, err := civil.ParseDate(text)
	if err != nil {
		return nil, events.Problem{Field: "of", Value: of, Why: sentence("trace.no-day"), Instead: sentence("trace.what-to-ask")}
	}
	if !slices.Contains(t.b.Keys(projections.Block), block) {
		return nil, events.Problem{Field: "of", Value: of, Why: sentence("trace.no-block", "block", block), Instead: sentence("trace.what-to-ask")}
	}
	t.doc.What = "block"
	keys := t.picksOf([]string{block}, func(f *projections.Fact) bool {
		return civil.DateOf(f.Time, t.zone) == day &&
			slices.ContainsFunc(f.Data().(*events.FruitPicked).Where, func(p events.Part) bool { return p.Block == block })
	})
	if len(keys) == 0 {
		t.doc.Notes = append(t.doc.Notes, words.Say("trace.no-picks", "block", block, "date", day.String()))
	}
	return keys, nil
}

// walk goes back from the start to the picks, and on from it to who got the fruit.
func (t *tracer) walk(start []string) {
	t.units = map[string]bool{}
	for _, side := range []func(m Move) (at, next string){
		func(m Move) (string, string) { return m.To, m.From },
		func(m Move) (string, string) { return m.From, m.To },
	} {
		seen := map[string]bool{}
		for todo := slices.Clone(start); len(todo) > 0; {
			key := todo[len(todo)-1]
			todo = todo[:len(todo)-1]
			if seen[key] {
				continue // fruit that was packed in a ring is named once
			}
			seen[key], t.units[key] = true, true
			u := t.find(key)
			if u == nil {
				continue
			}
			for _, m := range u.Moves {
				if at, next := side(m); at == key && next != "" && next != key {
					todo = append(todo, next)
				}
			}
		}
	}
}

// fill answers about the units that the walk found.
func (t *tracer) fill(start []string) {
	t.doc.Picks, t.doc.Trees, t.doc.Blocks, t.doc.Sprays = []PickLine{}, []string{}, []BlockLine{}, []SprayLine{}
	t.doc.Lots, t.doc.Deliveries, t.doc.Shipments, t.doc.Back = []UnitLine{}, []UnitLine{}, []OutLine{}, []OutLine{}
	t.doc.Stood, t.doc.Weather, t.doc.Missing = []Stood{}, []Day{}, []Missing{}
	if t.doc.Notes == nil {
		t.doc.Notes = []string{}
	}
	t.first = map[string]time.Time{}
	for _, key := range slices.Sorted(maps.Keys(t.units)) {
		u := t.find(key)
		if u == nil {
			u = &Unit{Key: key}
			t.doc.Notes = append(t.doc.Notes, words.Say("trace.not-there", "what", key))
		}
		switch u.What() {
		case Pick:
			t.pick(u)
		default:
			t.unit(u)
		}
		t.out(u)
	}
	balance := Balance{Known: true}
	for _, key := range start {
		if u := t.find(key); u != nil {
			balance = balance.add(u.Balance())
		}
	}
	t.doc.Mass = balance.Mass()
	slices.SortFunc(t.doc.Picks, func(a, b PickLine) int { return cmp.Or(strings.Compare(a.Time, b.Time), strings.Compare(a.ID, b.ID)) })
	byDate := func(a, b OutLine) int {
		return cmp.Or(strings.Compare(a.Date, b.Date), strings.Compare(a.Record, b.Record), strings.Compare(a.Of, b.Of))
	}
	slices.SortFunc(t.doc.Shipments, byDate)
	slices.SortFunc(t.doc.Back, byDate)
	t.trees()
	t.blocks()
	t.sprays()
	t.stood()
	t.weather()
	t.missing()
}

func (t *tracer) local(at time.Time) string { return at.In(t.zone).Format(time.RFC3339) }

func (t *tracer) pick(u *Unit) {
	f := t.fact(u.Code())
	if f == nil {
		return
	}
	d, ok := f.Data().(*events.FruitPicked)
	if !ok {
		return
	}
	t.facts = append(t.facts, f)
	line := PickLine{ID: u.Code(), Time: t.local(f.Time), Blocks: []string{}, Picker: d.Picker, Crew: d.Crew}
	for _, p := range d.Where {
		line.Blocks = append(line.Blocks, p.Block)
		if !p.Whole() {
			for _, tree := range t.look.Block(p.Block).Ground().Resolve([]events.Part{p}, f.Time) {
				line.Trees = append(line.Trees, tree.Tree)
			}
		}
		if at, ok := t.first[p.Block]; !ok || f.Time.Before(at) {
			t.first[p.Block] = f.Time
		}
	}
	slices.Sort(line.Blocks)
	line.Blocks = slices.Compact(line.Blocks)
	if mg, ok := t.look.Block(line.Blocks[0]).MassOf(d.Mass, d.Containers, civil.DateOf(f.Time, t.zone)); ok {
		mass := kg(mg)
		line.Kg = &mass
	}
	t.doc.Picks = append(t.doc.Picks, line)
}

func (t *tracer) unit(u *Unit) {
	line := UnitLine{From: []string{}, Mass: u.Balance().Mass()}
	for _, m := range u.Moves {
		if m.To == u.Key && m.From != "" {
			line.From = append(line.From, m.From)
		}
		switch m.How {
		case Made, Received, Drawn:
			line.Date = cmp.Or(line.Date, m.Date)
			if f := t.fact(m.Record); f != nil {
				t.facts = append(t.facts, f)
				switch d := f.Data().(type) {
				case *events.LotPacked:
					line.Product = d.Product
				case *events.LotRepacked:
					line.Product = d.Product
				}
			}
		case Shipped:
			if f := t.fact(m.Record); f != nil {
				t.facts = append(t.facts, f)
			}
		}
	}
	slices.Sort(line.From)
	line.From = slices.Compact(line.From)
	if u.What() == Lot {
		line.Lot = u.Code()
		t.doc.Lots = append(t.doc.Lots, line)
	} else {
		line.Delivery = u.Code()
		t.doc.Deliveries = append(t.doc.Deliveries, line)
	}
}

// out lists what left a unit for somebody, and what came back.
func (t *tracer) out(u *Unit) {
	for _, m := range u.Moves {
		line := OutLine{Record: m.Record, Of: u.Key, How: m.How, Party: m.Party, Date: m.Date, Words: m.Words}
		if !m.Unknown {
			mass := kg(m.MG)
			line.Kg = &mass
		}
		switch m.How {
		case Shipped, Delivered, Sold:
			t.doc.Shipments = append(t.doc.Shipments, line)
		case Returned, Rejected, Recalled:
			t.doc.Back = append(t.doc.Back, line)
		}
	}
}

func (t *tracer) trees() {
	for _, p := range t.doc.Picks {
		t.doc.Trees = append(t.doc.Trees, p.Trees...)
	}
	slices.Sort(t.doc.Trees)
	t.doc.Trees = slices.Compact(t.doc.Trees)
}

func (t *tracer) blocks() {
	for _, block := range slices.Sorted(maps.Keys(t.first)) {
		t.doc.Blocks = append(t.doc.Blocks, BlockLine{block, NameOn(t.look.Block(block), t.first[block])})
	}
}

// NameOn is what a block was called at a moment.
func NameOn(v *projections.View, at time.Time) (name string) {
	for _, f := range v.Standing() {
		if f.Time.After(at) {
			break
		}
		switch d := f.Data().(type) {
		case *events.BlockEstablished:
			name = d.Name
		case *events.BlockChanged:
			name = cmp.Or(d.Name, name)
		}
	}
	return name
}

// sentence names a sentence of the catalogue with its values, name and value in turn.
//
//words:say
func sentence(key string, pairs ...any) events.Sentence {
	return events.Sentence{Key: key, Pairs: pairs}
}
