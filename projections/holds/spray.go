package holds

import (
	"slices"
	"strings"

	"latewood/events"
	"latewood/events/civil"
	"latewood/projections"
)

type fact = *projections.Fact

// moment reads a time of a record; what cannot be read is taken as the record's own time.
func (b *builder) moment(text string, f fact) events.Moment {
	if m, err := events.ParseMoment(text, b.zone); err == nil {
		return m
	}
	return events.Moment{At: f.Time, Day: civil.DateOf(f.Time, b.zone)}
}

func (b *builder) planned(f fact, d *events.SprayPlanned) Spray {
	s := Spray{ID: f.ID.String(), Kind: f.Kind, Time: instant(f.Time), Mix: b.mix(d.Mix), Last: never}
	if d.Until != "" {
		s.Due = instant(b.moment(d.Until, f).Latest(b.zone))
	}
	s.Spans = []Span{{Cover: b.cover(f), From: instant(b.moment(d.From, f).At), Until: never}}
	for _, about := range b.view.About(f.ID) {
		if len(b.view.Parts(about)) == 0 {
			continue // it is about the plan in another block
		}
		switch e := about.Data().(type) {
		case *events.SprayBegun:
			s.Ends = append(s.Ends, Ending{Cover: Cover{All: true}, At: instant(b.moment(e.Started, about).At)})
		case *events.SprayApplied:
			if e.Plan == s.ID {
				s.Ends = append(s.Ends, Ending{Cover: Cover{All: true}, At: instant(b.moment(e.Started, about).At)})
			}
		case *events.SprayCalledOff:
			if e.Plan == s.ID {
				s.Ends = append(s.Ends, Ending{Cover: b.cover(about), At: b.offAt(about)})
			}
		}
	}
	for _, e := range s.Ends {
		if e.Cover.All {
			s.Last = min(s.Last, e.At)
		}
	}
	return s
}

// offAt is when a spray was called off.
func (b *builder) offAt(f fact) Instant {
	behind, _ := b.slow(f, civil.DateOf(f.Time, b.zone))
	return instant(f.Time.Add(behind))
}

func (b *builder) begun(f fact, d *events.SprayBegun) Spray {
	s := Spray{ID: f.ID.String(), Kind: f.Kind, Time: instant(f.Time), Mix: b.mix(b.mixOf(d)), Last: never}
	started := b.moment(d.Started, f)
	_, before := b.slow(f, started.Day)
	span := Span{Cover: b.cover(f), From: instant(started.At.Add(-before)), Until: never}
	if before > 0 {
		span.Marks = []string{MarkClockOff}
	}
	s.Spans = []Span{span}
	for _, about := range b.aboutBegun(f, d) {
		switch e := about.Data().(type) {
		case *events.SprayApplied:
			a := b.applied(about, e)
			end := Ending{At: never}
			for _, span := range a.Spans {
				end.At, end.Else = min(end.At, span.From), max(end.Else, span.Until)
			}
			end.Cover = b.cover(about)
			s.Ends = append(s.Ends, end)
		case *events.SprayCalledOff:
			s.Ends = append(s.Ends, Ending{Cover: b.cover(about), At: b.offAt(about)})
		}
	}
	if i := slices.IndexFunc(s.Ends, func(e Ending) bool { return e.Else != 0 }); i >= 0 {
		s.Last = 0
		for _, e := range s.Ends {
			s.Last = max(s.Last, e.Else)
		}
	}
	return s
}

// aboutBegun are the records that end a spray begun in this block: those that name it, and those that name only its plan
// and are no earlier.
func (b *builder) aboutBegun(f fact, d *events.SprayBegun) []fact {
	all := b.view.About(f.ID)
	if plan := b.view.Fact(d.Plan); plan != nil {
		all = append(all, b.view.About(plan.ID)...)
	}
	id := f.ID.String()
	var out []fact
	for _, about := range all {
		var names bool
		switch e := about.Data().(type) {
		case *events.SprayApplied:
			names = e.Begun == id || e.Begun == "" && e.Plan == d.Plan && !b.moment(e.Ended, about).Latest(b.zone).Before(f.Time)
		case *events.SprayCalledOff:
			names = e.Begun == id || e.Begun == "" && e.Plan == d.Plan && !about.Time.Before(f.Time)
		}
		if names && len(b.view.Parts(about)) > 0 && !slices.Contains(out, about) {
			out = append(out, about)
		}
	}
	return out
}

// mixOf is the mix of a spray begun, its plan's where it brings none.
func (b *builder) mixOf(d *events.SprayBegun) []events.MixItem {
	if len(d.Mix) > 0 {
		return d.Mix
	}
	if plan := b.planOf(d.Plan); plan != nil {
		return plan.Mix
	}
	return nil
}

// planOf finds a plan that stands and is about this block, nil if there is none.
func (b *builder) planOf(id string) *events.SprayPlanned {
	f := b.view.Fact(id)
	if f == nil || !f.Stands() || len(b.view.Parts(f)) == 0 {
		return nil
	}
	plan, _ := f.Data().(*events.SprayPlanned)
	return plan
}

// begunOf is planOf for a spray begun.
func (b *builder) begunOf(id string) *events.SprayBegun {
	f := b.view.Fact(id)
	if f == nil || !f.Stands() || len(b.view.Parts(f)) == 0 {
		return nil
	}
	begun, _ := f.Data().(*events.SprayBegun)
	return begun
}

func (b *builder) applied(f fact, d *events.SprayApplied) Spray {
	s := Spray{ID: f.ID.String(), Kind: f.Kind, Time: instant(f.Time), Mix: b.mix(d.Mix)}
	started := b.moment(d.Started, f)
	behind, before := b.slow(f, started.Day)
	crop := b.seasons.Of(f.Kind, f.Time)
	byEnd := map[string]int{}
	parts := [][]events.Part{}
	var ends []string
	for _, p := range d.Where {
		if p.Block != b.view.Key.Code {
			continue
		}
		text := p.Ended
		if text == "" {
			text = d.Ended
		}
		i, ok := byEnd[text]
		if !ok {
			i = len(ends)
			byEnd[text] = i
			ends, parts = append(ends, text), append(parts, nil)
		}
		parts[i] = append(parts[i], p.Part)
	}
	for i, text := range ends {
		m := b.moment(text, f)
		end := endOf(m, b.zone).later(behind, m.Only, b.zone)
		span := Span{Cover: b.coverOf(parts[i], f.Time), From: instant(started.At.Add(-before)), Until: instant(end.At)}
		span.From = min(span.From, span.Until)
		if m.Only {
			span.Marks = append(span.Marks, MarkEndNotKnown)
		}
		if behind+before > 0 {
			span.Marks = append(span.Marks, MarkClockOff)
		}
		for place, item := range d.Mix {
			pick, enter := b.lines(place, item, end, crop)
			span.Pick, span.Enter = append(span.Pick, pick...), append(span.Enter, enter...)
		}
		s.Spans = append(s.Spans, span)
	}
	s.Judged = b.judged(s.Spans, f.ID)
	s.Last = b.last(s)
	return s
}

// calledOff is what a spray that was called off leaves to read; something is false where nothing was applied.
//
// Where nothing is said about that, a plan that was never begun left nothing, and a spray that was begun is not known.
func (b *builder) calledOff(f fact, d *events.SprayCalledOff) (s Spray, something bool) {
	var mix []events.MixItem
	id, plan := d.Begun, d.Plan
	wasBegun := d.Begun != ""
	if begun := b.begunOf(d.Begun); begun != nil {
		mix = b.mixOf(begun)
		if plan == "" {
			plan = begun.Plan
		}
	}
	if id == "" {
		id = d.Plan
	}
	if p := b.planOf(plan); p != nil && len(mix) == 0 {
		mix = p.Mix
	}
	about := []events.ID{f.ID}
	for _, text := range []string{d.Begun, plan} {
		parsed, err := events.ParseID(text)
		if err != nil {
			continue
		}
		about = append(about, parsed)
		for _, a := range b.view.About(parsed) {
			if _, ok := a.Data().(*events.SprayBegun); ok && len(b.view.Parts(a)) > 0 && !a.Time.After(f.Time) {
				wasBegun = true
			}
		}
	}
	reason := CalledOff
	switch {
	case d.AnythingApplied != nil && !*d.AnythingApplied, d.AnythingApplied == nil && !wasBegun:
		return Spray{}, false
	case d.AnythingApplied == nil:
		reason = CalledOffUnsaid
	}
	at := b.offAt(f)
	end := End{At: at.Time(b.zone), Day: civil.DateOf(at.Time(b.zone), b.zone)}
	crop := b.seasons.Of(f.Kind, f.Time)
	span := Span{Cover: b.cover(f), From: at, Until: at}
	if behind, before := b.slow(f, end.Day); behind+before > 0 {
		span.Marks = []string{MarkClockOff}
	}
	for place, item := range mix {
		pick, enter := b.lines(place, item, end, crop)
		span.Pick = append(span.Pick, b.unread(pick, reason, crop)...)
		span.Enter = append(span.Enter, b.unread(enter, reason, crop)...)
	}
	if len(span.Pick) == 0 {
		span.Pick = []Line{b.reason(0, reason, crop)}
	}
	if len(span.Enter) == 0 {
		span.Enter = []Line{b.reason(0, reason, crop)}
	}
	s = Spray{ID: id, Kind: f.Kind, Time: instant(f.Time), Mix: b.mix(mix), Spans: []Span{span}}
	s.Judged = b.judged(s.Spans, about...)
	s.Last = b.last(s)
	return s, true
}

// judged are the judgements about a spray, by time and id.
func (b *builder) judged(spans []Span, ids ...events.ID) []Judgement {
	said := map[string]bool{}
	for _, span := range spans {
		for _, l := range slices.Concat(span.Pick, span.Enter) {
			if l.Reason != "" && l.Words != "" {
				said[plain(l.Words)] = true
			}
		}
	}
	var facts []fact
	for _, id := range ids {
		for _, f := range b.view.About(id) {
			if _, ok := f.Data().(*events.HoldJudged); ok && len(b.view.Parts(f)) > 0 && !slices.Contains(facts, f) {
				facts = append(facts, f)
			}
		}
	}
	slices.SortFunc(facts, func(a, c fact) int {
		if x := a.Time.Compare(c.Time); x != 0 {
			return x
		}
		return slices.Compare(a.ID[:], c.ID[:])
	})
	var out []Judgement
	for _, f := range facts {
		d := f.Data().(*events.HoldJudged)
		j := Judgement{ID: f.ID.String(), Time: instant(f.Time), Cover: b.cover(f), Words: d.Words, Narrow: said[plain(d.Words)], Stage: d.GrowthStage}
		if d.From != "" {
			from := b.moment(d.From, f).At
			j.From = instant(from)
			j.Crop, j.Turn = b.ends(f.Kind, latest(from, f.Time))
		}
		out = append(out, j)
	}
	return out
}

// plain is a text without what copying changes: blanks and capitals.
func plain(s string) string { return strings.ToLower(strings.Join(strings.Fields(s), " ")) }

// last is when a spray that was done has nothing more to say.
func (b *builder) last(s Spray) Instant {
	var last Instant
	bound := func(crop civil.Season, turn Instant) {
		if turn == 0 {
			turn = never
		}
		last = max(last, turn)
		for _, c := range b.state.Closings {
			if c.Crop == crop {
				last = max(last, c.At)
			}
		}
	}
	for _, span := range s.Spans {
		last = max(last, span.Until)
		for _, l := range slices.Concat(span.Pick, span.Enter) {
			last = max(last, l.Floor, l.latest())
			bound(l.Crop, l.Turn)
		}
	}
	for _, j := range s.Judged {
		last = max(last, j.From, j.Time)
		if j.From != 0 {
			bound(j.Crop, j.Turn)
		}
	}
	return last
}
