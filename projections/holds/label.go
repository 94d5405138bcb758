package holds

import (
	"slices"
	"strings"
	"time"

	"latewood/events"
	"latewood/events/civil"
	"latewood/projections/settings"
)

// item is what can be said of one product of a mix before anything is counted.
func (b *builder) item(m events.MixItem) Item {
	out := Item{Product: m.Product, Label: m.Label}
	f, _ := b.view.Label(m.Label)
	if f == nil {
		return out
	}
	label, ok := f.Data().(*events.LabelFiled)
	if !ok {
		return out
	}
	out.Product = label.Product
	if len(label.Withholding) > 0 {
		out.Term, out.Words = label.Withholding[0].TermOnLabel, label.Withholding[0].Words
	}
	if len(label.Reentry) > 0 {
		out.Entry = label.Reentry[0].Words
	}
	return out
}

func (b *builder) mix(items []events.MixItem) []Item {
	var out []Item
	for _, m := range items {
		out = append(out, b.item(m))
	}
	return out
}

// lines are what the label of one product says for an application that ended, and that leads to a crop.
func (b *builder) lines(place int, m events.MixItem, end End, crop civil.Season) (pick, enter []Line) {
	read := func(r Reason) ([]Line, []Line) {
		return []Line{b.reason(place, r, crop)}, []Line{b.reason(place, r, crop)}
	}
	if m.Label == "" {
		if !m.IsActive() {
			return nil, nil
		}
		return read(NoLabel)
	}
	f, label := b.view.Label(m.Label)
	if label != nil {
		return b.withholding(place, label, m.IsActive(), end, crop), b.reentry(place, label, m.IsActive(), end, crop)
	}
	if f == nil || f.Stands() { // not here, or a record that is no label
		return read(LabelMissing)
	}
	withdrawn, ok := f.Data().(*events.LabelFiled)
	if !ok {
		return read(LabelMissing)
	}
	// The words of a withdrawn label are still shown, and its numbers still bound what a person must read from below.
	pick = b.withholding(place, withdrawn, m.IsActive(), end, crop)
	enter = b.reentry(place, withdrawn, m.IsActive(), end, crop)
	return b.unread(pick, LabelWithdrawn, crop), b.unread(enter, LabelWithdrawn, crop)
}

// reason is a line that a person must read.
func (b *builder) reason(place int, r Reason, crop civil.Season) Line {
	return Line{Item: place, Reason: r, Crop: crop, Turn: b.turn(crop)}
}

// unread makes lines into reasons, no shorter than their numbers.
func (b *builder) unread(lines []Line, r Reason, crop civil.Season) []Line {
	out := make([]Line, len(lines))
	for i, l := range lines {
		out[i] = b.reason(l.Item, r, crop)
		out[i].Term, out[i].Words, out[i].Use, out[i].Floor = l.Term, l.Words, l.Use, max(l.Opens, l.Floor)
	}
	return out
}

// withholding are a label's lines about picking: of several all count, so the strictest does.
func (b *builder) withholding(place int, label *events.LabelFiled, active bool, end End, crop civil.Season) []Line {
	var out []Line
	for _, w := range label.Withholding {
		l := Line{Item: place, Term: w.TermOnLabel, Words: w.Words, Use: uses(w.EndUse, w.Region, w.Rate)}
		reason := Reason("")
		switch w.Kind {
		case "zero":
			l.Opens = instant(end.At)
			l.Crop, l.Turn = b.ends("spray.applied", end.At)
		case "numeric":
			reason = Unknown
			if w.Value == nil {
				break
			}
			if r, ok := Count(end, *w.Value, w.Unit, b.zone); ok {
				reason = ""
				l.Value, l.Unit, l.Rule = *w.Value, w.Unit, b.rule(w.CountRule, end.Day)
				b.number(&l, r)
			}
		case "none-stated":
			if !active {
				continue
			}
			reason = NoneStated
		default:
			reason = Reason(w.Kind) // growth-stage, prohibited, unknown
		}
		if reason != "" {
			l = b.unread([]Line{l}, reason, crop)[0]
		}
		out = append(out, l)
	}
	if !active {
		return out
	}
	if len(out) == 0 {
		out = []Line{b.reason(place, NotStated, crop)}
	}
	switch listed := label.CropListed; {
	case listed != nil && !*listed:
		return b.unread(out, CropNotListed, crop)
	case label.Crop == "" && (listed == nil || regulated(label.Material)):
		return b.unread(out, CropMissing, crop)
	}
	return out
}

// uses joins what a line is for.
func uses(texts ...string) string {
	return strings.Join(slices.DeleteFunc(texts, func(s string) bool { return s == "" }), ", ")
}

// regulated reports whether a label of a material must name the crop.
func regulated(material string) bool {
	return material == "pesticide" || material == "growth-regulator"
}

// reentry are a label's lines about entering.
func (b *builder) reentry(place int, label *events.LabelFiled, active bool, end End, crop civil.Season) []Line {
	var out []Line
	for _, r := range label.Reentry {
		l := Line{Item: place, Words: r.Words, Use: r.Activity}
		if r.Hours == nil {
			out = append(out, b.unread([]Line{l}, EntryWords, crop)...)
			continue
		}
		l.Value, l.Unit, l.Rule = *r.Hours, "h", ByElapsed
		count, _ := Count(end, *r.Hours, "h", b.zone)
		b.number(&l, count)
		out = append(out, l)
	}
	if active && len(out) == 0 {
		out = append(out, b.reason(place, NotStated, crop))
	}
	return out
}

// number fills in what was counted.
func (b *builder) number(l *Line, r Readings) {
	l.Elapsed = instant(r.Elapsed)
	if !r.Full.IsZero() {
		l.Date, l.Full = instant(r.Date), instant(r.Full)
	}
	opens := r.by(l.Rule)
	l.Opens = instant(opens)
	l.Crop, l.Turn = b.ends("spray.applied", opens)
}

// rule is the label's rule of counting, else the farm's on the day of the application, else full days.
func (b *builder) rule(onLabel string, day civil.Date) string {
	switch onLabel {
	case ByDate, ByElapsed, ByFull, LabelSays:
		return onLabel
	}
	switch r := b.view.Text(settings.CountRule, day); r {
	case ByDate, ByElapsed:
		return r
	}
	return ByFull
}

// slow is how far the careful reading of a record's times lies from what its device wrote: behind for ends, before for
// starts; both 0 where its clock was right, or somebody looked the record over since.
//
// A record that was corrected has its times from the correction.
func (b *builder) slow(f fact, day civil.Date) (behind, before time.Duration) {
	off := f.Record.DeviceOffset()
	tolerance, ok := b.view.Number(settings.ClockTolerance, day)
	if !ok || off.Abs() <= time.Duration(tolerance*float64(time.Minute)) || len(f.Corrections) > 0 || b.view.Reviewed(f) {
		return 0, 0
	}
	return max(off, 0), max(-off, 0)
}
