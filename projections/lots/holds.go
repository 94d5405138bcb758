package lots

import (
	"bytes"
	"cmp"
	"maps"
	"slices"
	"strings"
	"time"

	"latewood/events"
	"latewood/events/civil"
	"latewood/projections"
)

// HoldingFlags are the flags of a pick that hold what was drawn from it. A withdrawn spray does not free what its interval
// held: a person does.
func HoldingFlags() []string { return []string{"pick-in-interval", "interval-gone"} }

// Fruit is what is held, or was held and is released, at an instant.
type Fruit struct {
	Lots       []Held `json:"lots"`       // by code
	Deliveries []Held `json:"deliveries"` // by code
	Sold       []Sold `json:"sold"`       // flagged fruit that went out in no lot or load, by time and record
}

// Held counts the lots and loads that are held.
func (d Fruit) Held() (lots, deliveries int) {
	for _, h := range d.Lots {
		if h.Held {
			lots++
		}
	}
	for _, h := range d.Deliveries {
		if h.Held {
			deliveries++
		}
	}
	return lots, deliveries
}

// A Held is one lot or load.
type Held struct {
	Lot      string   `json:"lot,omitempty"`
	Delivery string   `json:"delivery,omitempty"`
	Held     bool     `json:"held"`
	Reopened bool     `json:"reopened,omitempty"` // held though it was released: something came that no release knew
	Because  []Reason `json:"because"`            // what holds it, flags first
	Released []Free   `json:"released"`           // every release, by time and id
	Gone     []Went   `json:"gone"`               // what left, by time
	Back     []Went   `json:"back"`               // what came back, is called back or written off
	Out      float64  `json:"outKg"`              // kg that left less what came back, as far as it was told
	// Told are the lot codes of the packer who has the load.
	Told []string `json:"packersLots,omitempty"`
}

// A Reason is one thing that holds a lot or load: a flag on a record, or a person's hold.
type Reason struct {
	Flag    string   `json:"flag,omitempty"`
	Record  string   `json:"record"` // the pick, or the lot.held
	Why     string   `json:"why"`
	Rests   []string `json:"rests,omitempty"`   // the records that the flag rests on: sprays, labels
	Through []string `json:"through,omitempty"` // inputs that brought it, as "lot/L12"
	By      string   `json:"by,omitempty"`
	Since   string   `json:"since,omitempty"` // when somebody held it
	New     bool     `json:"new,omitempty"`   // a release names it but was made before it was known

	known   []known  // of all that it rests on
	answers []string // of a hold by hand
	at      int64
}

func (r *Reason) key() string { return r.Flag + " " + r.Record }

// A Free is a release.
type Free struct {
	ID       string   `json:"id"`
	At       string   `json:"at"`
	By       string   `json:"by,omitempty"`
	Second   string   `json:"secondPerson,omitempty"`
	Basis    string   `json:"basis"`
	Answers  []string `json:"answers"`
	Document string   `json:"document,omitempty"`
	Answered []string `json:"answered"` // what it answered, as FLAG:ID or the id of a lot.held
}

// A Went is where some of it went, or came back from.
type Went struct {
	How    string   `json:"how"`
	Party  string   `json:"party,omitempty"`
	Date   string   `json:"date"`
	Kg     *float64 `json:"kg,omitempty"`
	Reason string   `json:"reason,omitempty"`
	Told   []Told   `json:"told,omitempty"`
	Record string   `json:"record"`
}

// A Sold is flagged fruit that went out in no lot or load.
type Sold struct {
	Went
	Picks   []string `json:"picks,omitempty"`
	Because []Reason `json:"because"`
}

// Holds says which lots and loads of a Book are held at an instant, or were held before and are released. flags are those
// of all its records.
func Holds(b *projections.Book, flags []projections.Flag, at time.Time) Fruit {
	s := projections.StateOf[State](b, Fold(), "")
	q := &question{book: b, view: b.View(projections.FarmKey), at: ms(at), zone: b.Zone(), flags: map[string][]projections.Flag{}}
	for _, f := range flags {
		if slices.Contains(HoldingFlags(), f.Name) {
			q.flags[f.ID] = append(q.flags[f.ID], f)
		}
	}
	doc := Fruit{Lots: []Held{}, Deliveries: []Held{}, Sold: q.sold(s)}
	for _, a := range q.answers(s) {
		h, ok := a.held(q)
		switch {
		case !ok:
		case a.unit.What == Lot:
			doc.Lots = append(doc.Lots, h)
		default:
			doc.Deliveries = append(doc.Deliveries, h)
		}
	}
	return doc
}

// question is one asking of a State.
type question struct {
	book  *projections.Book
	view  *projections.View
	at    int64
	zone  *time.Location
	flags map[string][]projections.Flag // that hold, by record
}

// answer is what holds one unit.
type answer struct {
	unit  *Unit
	open  map[string]*Reason
	freed map[string][]string // by release: what it answered
}

// answers finds what holds each unit: its own reasons, and the open ones of what it was made of, until nothing changes
// any more. Lots that were repacked from one another come to rest too, as reasons only ever add up.
func (q *question) answers(s *State) []*answer {
	var out []*answer
	by := map[string]*answer{}
	for i := range s.Units {
		u := &s.Units[i]
		a := &answer{unit: u, open: map[string]*Reason{}, freed: map[string][]string{}}
		out = append(out, a)
		by[u.key()] = a
		for _, r := range q.own(u) {
			a.take(q, r, "")
		}
	}
	for again := true; again; {
		again = false
		for _, a := range out {
			for _, d := range a.unit.Draws {
				from := by[d.Unit]
				if from == nil || from == a || d.At > q.at {
					continue
				}
				for _, key := range slices.Sorted(maps.Keys(from.open)) {
					if a.take(q, *from.open[key], d.Unit) {
						again = true
					}
				}
			}
		}
	}
	return out
}

// own lists the reasons of a unit itself.
func (q *question) own(u *Unit) []Reason {
	var out []Reason
	for _, d := range u.Draws {
		if d.At > q.at || d.Pick == "" {
			continue
		}
		for _, f := range q.flags[q.pick(d.Pick)] {
			out = append(out, q.reason(f))
		}
	}
	for _, h := range u.Holds {
		if h.At <= q.at {
			out = append(out, Reason{
				Record: h.ID, Why: h.Reason, By: h.By, Since: q.text(h.At), known: []known{q.of(h.ID)}, answers: h.Answers, at: h.At,
			})
		}
	}
	return out
}

// pick is the id of a pick by the id that a record names it with, which may be that of its correction.
func (q *question) pick(id string) string {
	parsed, err := events.ParseID(id)
	if err != nil {
		return id
	}
	if f := q.book.Fact(parsed); f != nil {
		return f.ID.String()
	}
	return parsed.String()
}

func (q *question) reason(f projections.Flag) Reason {
	return Reason{Flag: f.Name, Record: f.ID, Why: f.Why(), Rests: f.Because, known: q.known(f)}
}

// take gives a unit a reason, unless one of its releases answers it. It reports whether anything changed.
func (a *answer) take(q *question, r Reason, through string) bool {
	key := r.key()
	have := a.open[key]
	if have == nil {
		r.New = false
		for i := range a.unit.Frees {
			free := &a.unit.Frees[i]
			if free.At > q.at || !r.named(free) {
				continue
			}
			later := slices.ContainsFunc(r.known, func(k known) bool { return k.after(q.of(free.ID)) })
			if later || r.Flag != "" && !slices.Contains(free.Answers, r.Flag+":"+r.Record) && a.unit.changed(q, r.Record, free) {
				r.New = true
				continue
			}
			name := r.Record
			if r.Flag != "" {
				name = r.Flag + ":" + r.Record
			}
			if !slices.Contains(a.freed[free.ID], name) {
				a.freed[free.ID] = append(a.freed[free.ID], name)
			}
			return false
		}
		r.Through = nil
		have = &r
		a.open[key] = have
		if through == "" {
			return true
		}
	}
	if through == "" || slices.Contains(have.Through, through) {
		return false
	}
	have.Through = append(have.Through, through)
	slices.Sort(have.Through)
	return true
}

// named reports whether a release names a reason.
func (r *Reason) named(free *Act) bool {
	if r.Flag != "" {
		return slices.Contains(free.Answers, r.Flag) || slices.Contains(free.Answers, r.Flag+":"+r.Record)
	}
	if free.At < r.at {
		return false
	}
	return slices.Contains(free.Answers, r.Record) ||
		len(r.answers) > 0 && !slices.ContainsFunc(r.answers, func(f string) bool {
			name, _, _ := strings.Cut(f, ":")
			return !slices.Contains(free.Answers, f) && !slices.Contains(free.Answers, name)
		})
}

// changed reports whether it was told only after a release that the unit drew on a pick: by a correction of its making, or
// by another record with its code.
func (u *Unit) changed(q *question, pick string, free *Act) bool {
	drawn, before := false, false
	for _, d := range u.Draws {
		if d.Pick == pick {
			drawn = true
			before = before || !q.of(d.By).after(q.of(free.ID))
		}
	}
	return drawn && !before
}

// known is when all that a flag rests on was known: the sprays and labels with everything that was said about
// them, the judgements of their labels, and of the pick what moves it.
func (q *question) known(f projections.Flag) (out []known) {
	see := func(r *events.Record) { out = append(out, knownAt(r)) }
	for _, text := range f.Because {
		id, err := events.ParseID(text)
		if err != nil {
			continue
		}
		facts := q.view.AlsoAbout(id)
		if fact := q.book.Fact(id); fact != nil {
			facts = append(facts, fact)
		}
		for _, fact := range facts {
			if fact.ID != id && fact.Kind != "hold.judged" {
				continue
			}
			for _, r := range fact.Versions() {
				see(r)
			}
		}
	}
	id, err := events.ParseID(f.ID)
	if err != nil {
		return out
	}
	if pick := q.book.Fact(id); pick != nil {
		for _, r := range q.moved(pick) {
			see(r)
		}
	}
	return out
}

// moved lists the versions of a pick that put it to another place or time; the first is the record itself.
func (q *question) moved(pick *projections.Fact) []*events.Record {
	out := []*events.Record{pick.Record}
	cat := q.book.Catalogue()
	at, where := pick.Record.Time, []byte(nil)
	if data, err := cat.Decode(pick.Record); err == nil {
		where, _ = events.WriteJSON(projections.PartsOf(data))
	}
	for _, c := range pick.Corrections {
		data, err := cat.Decode(c)
		if err != nil {
			continue
		}
		d, ok := data.(*events.RecordCorrected)
		if !ok {
			continue
		}
		then, there := at, where
		if d.Time != "" {
			if t, err := time.Parse(time.RFC3339, d.Time); err == nil {
				then = t
			}
		}
		if _, version, ok := events.SplitType(d.Type); ok {
			if inner, err := cat.DecodeData(pick.Kind, version, d.Data); err == nil {
				there, _ = events.WriteJSON(projections.PartsOf(inner))
			}
		}
		if !then.Equal(at) || !bytes.Equal(there, where) {
			out = append(out, c)
		}
		at, where = then, there
	}
	return out
}

// known is when something was known: what the writer claims, else when the ledger took it.
type known struct {
	at    int64  // ms
	batch string // of the import that brought it without a claim
}

// after reports whether something was known later than something else. Of one import all is known together.
func (k known) after(o known) bool { return k.at > o.at && (k.batch == "" || k.batch != o.batch) }

func knownAt(r *events.Record) known {
	k := known{at: ms(r.Known())}
	if r.Noted.IsZero() {
		k.batch = r.Envelope.Batch
	}
	return k
}

// of is when a record was known as it stands now.
func (q *question) of(id string) known {
	parsed, err := events.ParseID(id)
	if err != nil {
		return known{}
	}
	f := q.book.Fact(parsed)
	if f == nil {
		return known{}
	}
	if n := len(f.Corrections); n > 0 {
		return knownAt(f.Corrections[n-1])
	}
	return knownAt(f.Record)
}

func (q *question) text(at int64) string { return civil.FormatTime(time.UnixMilli(at).In(q.zone)) }

// held is the unit's line; ok is false where there is nothing to say of it.
func (a *answer) held(q *question) (h Held, ok bool) {
	u := a.unit
	h = Held{Because: []Reason{}, Released: []Free{}, Gone: q.went(u.Gone), Back: q.went(u.Back), Told: u.Told}
	if u.What == Lot {
		h.Lot = u.Code
	} else {
		h.Delivery = u.Code
	}
	for _, r := range a.open {
		h.Because = append(h.Because, *r)
	}
	slices.SortFunc(h.Because, func(x, y Reason) int {
		return cmp.Or(-strings.Compare(x.Flag, y.Flag), strings.Compare(x.Record, y.Record))
	})
	for i := range u.Frees {
		f := &u.Frees[i]
		if f.At > q.at {
			continue
		}
		answered := a.freed[f.ID]
		slices.Sort(answered)
		if answered == nil {
			answered = []string{}
		}
		h.Released = append(h.Released, Free{
			ID: f.ID, At: q.text(f.At), By: f.By, Second: f.Second, Basis: f.Basis, Answers: f.Answers, Document: f.Document, Answered: answered,
		})
	}
	h.Held = len(h.Because) > 0
	h.Reopened = h.Held && len(h.Released) > 0
	for _, w := range h.Gone {
		if w.Kg != nil {
			h.Out += *w.Kg
		}
	}
	for _, w := range h.Back {
		if w.Kg != nil && w.How != "written-off" {
			h.Out -= *w.Kg
		}
	}
	h.Out = max(h.Out, 0)
	return h, h.Held || len(h.Released) > 0
}

func (q *question) went(steps []Step) []Went {
	out := []Went{}
	for _, s := range steps {
		if s.At <= q.at {
			out = append(out, q.step(s))
		}
	}
	return out
}

func (q *question) step(s Step) Went {
	w := Went{How: s.How, Party: s.Party, Date: s.Date, Reason: s.Reason, Told: s.Told, Record: s.Record}
	if s.MG > 0 {
		kg := float64(s.MG) / 1e6
		w.Kg = &kg
	}
	return w
}

// sold lists the sales of flagged fruit.
func (q *question) sold(s *State) []Sold {
	out := []Sold{}
	for _, sale := range s.Sales {
		if sale.At > q.at {
			continue
		}
		line := Sold{Went: q.step(sale.Step), Picks: sale.Picks, Because: []Reason{}}
		for _, id := range append(slices.Clone(sale.Picks), sale.Record) {
			for _, f := range q.flags[q.pick(id)] {
				line.Because = append(line.Because, q.reason(f))
			}
		}
		if len(line.Because) > 0 {
			out = append(out, line)
		}
	}
	return out
}
