package holds

import (
	"slices"
	"time"

	"latewood/events/civil"
	"latewood/events/words"
)

// A Status is what a block, or a part of it, answers.
type Status string

// The statuses, worst first.
const (
	InProgress   Status = "in-progress"
	ReadTheLabel Status = "read-the-label"
	Waiting      Status = "waiting"
	Planned      Status = "planned"
	ReadByPerson Status = "read-by-person"
	RunOut       Status = "run-out"
	None         Status = "none"
)

// Statuses lists them, worst first.
func Statuses() []Status {
	return []Status{InProgress, ReadTheLabel, Waiting, Planned, ReadByPerson, RunOut, None}
}

// rank is a status's place from the worst, 0.
func (s Status) rank() int { return slices.Index(Statuses(), s) }

// Worse reports whether a status is worse than another.
func (s Status) Worse(than Status) bool { return s.rank() < than.rank() }

// A Hold is the answer for picking or for entering. Times are RFC 3339 with the farm's offset, "" where there is none.
type Hold struct {
	Status   Status     `json:"status"`
	From     string     `json:"from,omitempty"`   // the first instant outside of every recorded interval
	Closes   string     `json:"closes,omitempty"` // of planned: the start of the plan
	Readings *Counted   `json:"readings,omitempty"`
	Because  []Because  `json:"because"` // what has not run out, by time of the spray, its id, and place in the mix
	from     Instant    // of From
	causes   []sortable // what Because is made from
}

// Counted are the three readings over all products, as text.
type Counted struct {
	Date    string `json:"date,omitempty"`
	Elapsed string `json:"elapsed,omitempty"`
	Full    string `json:"full-days,omitempty"`
}

// A Because is one line of a label, or one spray that is planned or going on, that has not run out.
type Because struct {
	Spray     string   `json:"spray"`
	Product   string   `json:"product,omitempty"`
	Label     string   `json:"label,omitempty"`
	Term      string   `json:"term,omitempty"`  // what the label calls it
	Words     string   `json:"words,omitempty"` // the label's words; of a judgement those that it judged
	Use       string   `json:"use,omitempty"`   // the use, region, rate or activity that the line is for
	Status    Status   `json:"status"`          // of this line alone
	From      string   `json:"from,omitempty"`
	Closes    string   `json:"closes,omitempty"`
	Why       string   `json:"why"` // one sentence for people
	Marks     []string `json:"marks,omitempty"`
	Judgement string   `json:"judgement,omitempty"` // id of the hold.judged that answered it
}

// sortable is a Because with its place.
type sortable struct {
	spray, item, side, n int
	because              Because
}

func (s sortable) compare(o sortable) int {
	return slices.Compare([]int{s.spray, s.item, s.side, s.n}, []int{o.spray, o.item, o.side, o.n})
}

// The sides of an answer.
const (
	picking = iota
	entering
)

// A unit is what an answer is about: one tree, or in a block whose trees are not listed a row or what is left.
type unit struct {
	tree     int // index into Codes; -1 for a row or the rest
	row      string
	position string
}

// has reports whether a cover holds a unit.
func (c Cover) has(u unit) bool {
	if c.All || u.row != "" && slices.Contains(c.Rows, u.row) {
		return true
	}
	if u.tree < 0 {
		return len(c.Trees) > 0 // the trees that it names do not stand any more: it counts for the ground
	}
	for i := 0; i < len(c.Trees) && c.Trees[i] <= u.tree; i += 2 {
		if u.tree <= c.Trees[i+1] {
			return true
		}
	}
	return false
}

// answer gathers what holds one unit at one instant.
type answer struct {
	state *State
	unit  unit
	at    Instant
	zone  *time.Location
	sides [2]side
}

type side struct {
	status Status
	from   Instant // latest end of what runs
	ran    Instant // latest end of what has run out in this crop
	closes Instant
	now    reading // over the lines of which a reading is still to come
	past   reading // over those that have run out
	causes []sortable
}

// reading is the latest of several lines' readings.
type reading struct {
	date, elapsed, full Instant
	days, hours         bool
}

func (r *reading) add(l *Line) {
	switch {
	case l.Full != 0:
		r.days = true
		r.date, r.elapsed, r.full = max(r.date, l.Date), max(r.elapsed, l.Elapsed), max(r.full, l.Full)
	case l.Elapsed != 0:
		r.hours = true
		r.date, r.elapsed, r.full = max(r.date, l.Elapsed), max(r.elapsed, l.Elapsed), max(r.full, l.Elapsed)
	}
}

// counted writes the readings; hours alone have only one.
func (r *reading) counted(zone *time.Location) *Counted {
	switch {
	case r.days:
		return &Counted{Date: r.date.text(zone), Elapsed: r.elapsed.text(zone), Full: r.full.text(zone)}
	case r.hours:
		return &Counted{Elapsed: r.elapsed.text(zone)}
	}
	return nil
}

func (s *side) raise(status Status) {
	if status.Worse(s.status) {
		s.status = status
	}
}

// ask answers for one unit.
func (s *State) ask(u unit, at Instant, zone *time.Location) (pick, enter Hold) {
	a := &answer{state: s, unit: u, at: at, zone: zone}
	a.sides[picking].status, a.sides[entering].status = None, None
	for i := range s.Sprays {
		spray := &s.Sprays[i]
		if at < spray.Last {
			a.spray(i, spray)
		}
	}
	enter = a.hold(entering)
	// Re-entry rules picking: never before it ends, and read it where that must be read.
	p, e := &a.sides[picking], &a.sides[entering]
	binds := false
	switch enter.Status {
	case ReadTheLabel:
		binds = enter.Status.Worse(p.status)
	case Waiting, ReadByPerson:
		dated := p.status == Waiting || p.status == ReadByPerson
		binds = enter.Status.Worse(p.status) || dated && enter.from > p.from
		p.from = max(p.from, enter.from)
	}
	if binds {
		p.raise(enter.Status)
		for _, c := range e.causes {
			if c.because.Status == enter.Status {
				p.causes = append(p.causes, c)
			}
		}
	}
	if p.ran != 0 {
		p.ran = max(p.ran, e.ran)
	}
	return a.hold(picking), enter
}

// hold puts one side into its final form.
func (a *answer) hold(which int) Hold {
	s := &a.sides[which]
	h := Hold{Status: s.status, Because: []Because{}}
	switch s.status {
	case Waiting, ReadByPerson:
		h.from = s.from
	case RunOut:
		h.from = s.ran
	case Planned:
		h.Closes = s.closes.text(a.zone)
	}
	h.From = h.from.text(a.zone)
	if which == picking {
		switch s.status {
		case Waiting, ReadByPerson, RunOut:
			if h.Readings = s.now.counted(a.zone); h.Readings == nil {
				h.Readings = s.past.counted(a.zone)
			}
		}
	}
	slices.SortStableFunc(s.causes, sortable.compare)
	h.causes = s.causes
	for _, c := range s.causes {
		h.Because = append(h.Because, c.because)
	}
	return h
}

// spray lets one spray say what it has to.
func (a *answer) spray(i int, spray *Spray) {
	going := false
	for n := range spray.Spans {
		span := &spray.Spans[n]
		if !span.Cover.has(a.unit) {
			continue
		}
		until := span.Until
		if until >= never {
			until = spray.end(a.unit)
		}
		switch {
		case spray.Kind == "spray.planned":
			a.plan(i, spray, span, until)
		case a.at < span.From:
		case a.at < until:
			if !going {
				a.going(i, spray, span, until)
			}
			going = true
		case span.Until < never:
			for l := range span.Pick {
				a.line(i, picking, l, spray, span, &span.Pick[l])
			}
			for l := range span.Enter {
				a.line(i, entering, l, spray, span, &span.Enter[l])
			}
		}
	}
}

// end is when a plan or a spray begun ends on a unit: when it is called off there, or when the sprays that name it are
// done. Trees that those sprays left out are shut until the last of them ends.
func (s *Spray) end(u unit) Instant {
	off, taken, rest := never, Instant(0), Instant(0)
	for _, e := range s.Ends {
		switch {
		case e.Else == 0:
			if e.Cover.has(u) {
				off = min(off, e.At)
			}
		case e.Cover.has(u):
			taken = max(taken, e.At)
		default:
			rest = max(rest, e.Else)
		}
	}
	if taken == 0 {
		taken = rest
	}
	if taken == 0 {
		return off
	}
	return min(off, taken)
}

// both adds a cause to both sides, for each product of the mix.
func (a *answer) both(i int, spray *Spray, status Status, why func(product string) Because) {
	for which := range a.sides {
		s := &a.sides[which]
		items := spray.Mix
		if len(items) == 0 {
			items = []Item{{}}
		}
		for n, item := range items {
			b := why(product(item.Product))
			b.Spray, b.Product, b.Label, b.Status = spray.ID, item.Product, item.Label, status
			if which == picking {
				b.Term, b.Words = item.Term, item.Words
			} else {
				b.Words = item.Entry
			}
			s.causes = append(s.causes, sortable{i, n, which, 0, b})
		}
	}
}

func (a *answer) plan(i int, spray *Spray, span *Span, until Instant) {
	if a.at >= until || a.at < span.From && a.at < spray.Time {
		return
	}
	from := span.From.text(a.zone)
	if a.at < span.From {
		a.both(i, spray, Planned, func(product string) Because {
			return Because{Closes: from, Why: words.Say("holds.plan-ahead", "product", product, "from", from)}
		})
		return
	}
	for which := range a.sides {
		s := &a.sides[which]
		s.raise(Planned)
		if s.closes == 0 || span.From < s.closes {
			s.closes = span.From
		}
	}
	a.both(i, spray, Planned, func(product string) Because {
		return Because{Closes: from, Why: words.Say("holds.planned", "product", product, "from", from)}
	})
}

func (a *answer) going(i int, spray *Spray, span *Span, until Instant) {
	for which := range a.sides {
		a.sides[which].raise(InProgress)
	}
	a.both(i, spray, InProgress, func(product string) Because {
		b := Because{Marks: span.Marks, Why: words.Say("holds.in-progress", "product", product, "since", span.From.text(a.zone))}
		if span.Until < never {
			b.Why = words.Say("holds.in-progress-until", "product", product, "since", span.From.text(a.zone), "until", until.text(a.zone))
		}
		return b
	})
}

// line lets one line of a label count after the application.
func (a *answer) line(i, which, n int, spray *Spray, span *Span, l *Line) {
	s := &a.sides[which]
	item := Item{}
	if l.Item < len(spray.Mix) {
		item = spray.Mix[l.Item]
	}
	cause := func(status Status, b Because) {
		b.Spray, b.Product, b.Label, b.Status, b.Marks = spray.ID, item.Product, item.Label, status, span.Marks
		b.Term, b.Use = l.Term, l.Use
		if b.Words == "" {
			b.Words = l.Words
		}
		s.causes = append(s.causes, sortable{i, l.Item, which, n, b})
	}
	if l.Reason == "" {
		if l.latest() > a.at {
			s.now.add(l)
		}
		if a.at < l.Opens {
			s.raise(Waiting)
			s.from = max(s.from, l.Opens)
			cause(Waiting, Because{From: l.Opens.text(a.zone), Why: l.why(which, product(item.Product), span.Until, a.zone)})
		} else if a.at < a.state.lapse(a.unit, l.Crop, l.Turn, l.Opens) {
			s.raise(RunOut)
			s.ran = max(s.ran, l.Opens)
			s.past.add(l)
		}
		return
	}
	lapse := max(a.state.lapse(a.unit, l.Crop, l.Turn, span.Until), l.Floor)
	switch j := spray.judgement(a.unit, a.at, l); {
	case j == nil:
		if a.at < lapse {
			s.raise(ReadTheLabel)
			cause(ReadTheLabel, Because{Why: words.Say("holds.read."+string(l.Reason), "product", product(item.Product))})
		}
	case j.From == 0:
		if a.at < lapse {
			s.raise(ReadByPerson)
			cause(ReadByPerson, Because{Words: j.Words, Judgement: j.ID, Why: words.Say("holds.judged-stage", "product", product(item.Product), "stage", j.Stage)})
		}
	case a.at < j.From:
		s.raise(ReadByPerson)
		s.from = max(s.from, j.From)
		from := j.From.text(a.zone)
		cause(ReadByPerson, Because{Words: j.Words, Judgement: j.ID, From: from, Why: words.Say("holds.judged", "product", product(item.Product), "from", from)})
	default:
		if ended := max(j.From, j.Time); a.at < a.state.lapse(a.unit, j.Crop, j.Turn, ended) {
			s.raise(RunOut)
			s.ran = max(s.ran, ended)
		}
	}
}

// judgement is the latest judgement that answers a line on a unit by an instant.
func (s *Spray) judgement(u unit, at Instant, l *Line) *Judgement {
	for i := len(s.Judged) - 1; i >= 0; i-- {
		j := &s.Judged[i]
		if j.Time <= at && (!j.Narrow || plain(j.Words) == plain(l.Words)) && j.Cover.has(u) {
			return j
		}
	}
	return nil
}

// lapse is when what belongs to a crop ends for a unit: with the last closing of that harvest on it that is no earlier
// than since, else when the crop year turns.
func (s *State) lapse(u unit, crop civil.Season, turn, since Instant) Instant {
	closed := Instant(0)
	for _, c := range s.Closings {
		if c.Crop == crop && c.At >= since && c.Cover.has(u) {
			closed = max(closed, c.At)
		}
	}
	switch {
	case closed != 0:
		return closed
	case turn == 0:
		return never
	}
	return turn
}

// why says what was counted.
func (l *Line) why(which int, product string, ended Instant, zone *time.Location) string {
	if which == entering {
		return words.Say("holds.entry", "product", product, "hours", l.Value, "ended", ended.text(zone), "from", l.Opens.text(zone))
	}
	if l.Unit == "h" {
		return words.Say("holds.hours", "product", product, "hours", l.Value, "ended", ended.text(zone), "from", l.Opens.text(zone))
	}
	//words:keys holds.rule.
	rule := words.Say("holds.rule." + l.Rule)
	if l.Unit == "wk" {
		return words.Say("holds.weeks", "product", product, "weeks", l.Value, "ended", ended.text(zone), "rule", rule, "from", l.Opens.text(zone))
	}
	return words.Say("holds.days", "product", product, "days", l.Value, "ended", ended.text(zone), "rule", rule, "from", l.Opens.text(zone))
}

// product names a product in a sentence.
func product(name string) string {
	if name == "" {
		return words.Say("holds.some-product")
	}
	return name
}
