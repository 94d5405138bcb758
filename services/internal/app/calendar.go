package app

import (
	"bytes"
	"context"
	"strings"
	"time"

	"latewood/events"
	"latewood/events/civil"
	"latewood/events/words"
	"latewood/projections"
	"latewood/projections/holds"
	"latewood/services/remind"
	"latewood/services/serve"
)

// keptInCalendar is how long what is over stays in the calendar, so that programs that read it rarely still learn of it.
const keptInCalendar = 60 * 24 * time.Hour

// CalendarRequest asks for the calendar.
type CalendarRequest struct{ Asked }

// Calendared ends a calendar; its bytes came as pieces.
type Calendared struct {
	Entries int `json:"entries"`
}

func (a *App) opCalendar(ctx context.Context, q CalendarRequest, _ serve.File, progress func(any)) (any, int, error) {
	var out bytes.Buffer
	var doc Calendared
	err := a.read(ctx, q.Asked, func(f *farm, b *projections.Book, _ int) error {
		name := f.code
		if opened := b.Opened(); opened != nil {
			name = opened.Name
		}
		c := remind.Calendar{Name: words.Say("remind.calendar-name", "farm", name), Made: a.o.Now(), Entries: entriesOf(b, f.code, a.o.Now())}
		doc.Entries = len(c.Entries)
		return c.Write(&out)
	})
	if err != nil {
		return nil, 1, err
	}
	progress(Piece{Bytes: out.Bytes()})
	return doc, 0, nil
}

// entriesOf lists the dates of every block.
func entriesOf(b *projections.Book, farm string, now time.Time) (out []remind.Entry) {
	for _, block := range b.Keys(projections.Block) {
		v := b.View(projections.Key{Class: projections.Block, Code: block})
		state := holds.Of(b, block)
		ends := map[string]holds.Interval{}
		for _, in := range state.Withdrawn().Intervals(b.Zone()) {
			ends[in.Spray] = in
		}
		for _, in := range state.Intervals(b.Zone()) {
			ends[in.Spray] = in
		}
		for _, f := range v.Facts {
			switch d := f.Data().(type) {
			case *events.SprayApplied:
				in := ends[f.ID.String()]
				for _, side := range []struct{ what, end string }{{"pick", in.Pick}, {"enter", in.Enter}} {
					at, err := time.Parse(time.RFC3339, side.end)
					if err != nil || at.Before(now.Add(-keptInCalendar)) {
						continue
					}
					e := remind.Entry{UID: uid(f, block, side.what, farm), Sequence: changes(v, f, d.Mix), At: at, Where: block, Cancelled: !f.Stands()}
					text := []string{words.Say("remind.products", "products", strings.Join(v.Products(d.Mix), ", "), "day", civil.DateOf(f.Time, b.Zone()).String()), words.Say("remind.also")}
					if side.what == "pick" {
						e.Summary = words.Say("remind.pick", "block", block)
						if in.ReadPick {
							text = append(text, words.Say("remind.read"))
						}
					} else {
						e.Summary = words.Say("remind.enter", "block", block)
						if in.ReadEnter {
							text = append(text, words.Say("remind.read"))
						}
					}
					if e.Cancelled {
						text = append(text, words.Say("remind.withdrawn"))
					}
					e.Text = strings.Join(text, "\n")
					out = append(out, e)
				}
			case *events.SprayPlanned:
				if e, ok := planned(v, f, d, farm, now); ok {
					out = append(out, e)
				}
			}
		}
	}
	return out
}

// planned is the closure of a plan.
func planned(v *projections.View, f *projections.Fact, d *events.SprayPlanned, farm string, now time.Time) (remind.Entry, bool) {
	from, err := events.ParseMoment(d.From, v.Zone)
	if err != nil {
		return remind.Entry{}, false
	}
	e := remind.Entry{UID: uid(f, v.Key.Code, "plan", farm), Sequence: changes(v, f, d.Mix), At: from.At, Where: v.Key.Code, Before: 12 * time.Hour, Cancelled: !f.Stands(),
		Summary: words.Say("remind.plan", "block", v.Key.Code), Text: words.Say("remind.plan-products", "products", strings.Join(v.Products(d.Mix), ", "))}
	if until, err := events.ParseMoment(d.Until, v.Zone); err == nil && d.Until != "" {
		e.Until = until.Latest(v.Zone)
	}
	for _, about := range v.About(f.ID) {
		switch about.Data().(type) {
		case *events.SprayBegun, *events.SprayApplied, *events.SprayCalledOff:
			e.Cancelled = true
		}
	}
	if e.Cancelled {
		e.Text += "\n" + words.Say("remind.plan-ended")
	}
	last := e.At
	if e.Until.After(last) {
		last = e.Until
	}
	return e, !last.Before(now.Add(-keptInCalendar))
}

func uid(f *projections.Fact, block, what, farm string) string {
	return f.ID.String() + "-" + block + "-" + what + "@" + farm + ".latewood"
}

// changes counts what was recorded that may have moved a date of a spray: its own corrections and its withdrawal, those of its
// labels, and all that was said about it. It only grows.
func changes(v *projections.View, f *projections.Fact, mix []events.MixItem) (n int) {
	count := func(f *projections.Fact) {
		n += len(f.Corrections)
		if !f.Stands() {
			n++
		}
	}
	count(f)
	for _, item := range mix {
		if label := v.Fact(item.Label); label != nil {
			count(label)
		}
	}
	for _, about := range v.AlsoAbout(f.ID) {
		n++
		count(about)
	}
	return n
}
