package holds

import (
	"slices"
	"strings"
	"time"

	"latewood/events"
	"latewood/events/civil"
	"latewood/projections"
)

// Flagged is the flags of one block's records that intervals bring.
type Flagged struct {
	Flags []projections.Flag `json:"flags"`
}

// FlagFold finds, block by block, picks inside a withholding interval (pick-in-interval; u-pick sales too), work inside a re-entry interval
// (work-in-reentry), and picks that stood inside the interval of a spray that was withdrawn since (interval-gone).
//
// A tree that moved here while an interval ran on it elsewhere is seen by Of, not by these flags.
func FlagFold() *projections.Fold {
	return projections.NewFold("holds-flags", 3, projections.Block, flagged)
}

// Flags lists them for the whole farm, in order of records.
func Flags(b *projections.Book) []projections.Flag {
	var out []projections.Flag
	f := FlagFold()
	for _, code := range b.Keys(projections.Block) {
		out = append(out, projections.StateOf[Flagged](b, f, code).Flags...)
	}
	return projections.SortFlags(out)
}

func flagged(v *projections.View) *Flagged {
	out := &Flagged{Flags: []projections.Flag{}}
	s := fold(v)
	gone := s.Withdrawn()
	if len(s.Sprays) == 0 && len(gone.Sprays) == 0 {
		return out
	}
	for _, f := range v.Standing() {
		parts := v.Parts(f)
		if len(parts) == 0 || !isWork(f.Kind) {
			continue
		}
		if isPick(f) {
			in, because := s.PickAt(parts, f.Time, v.Zone)
			if in {
				out.add(f, "pick-in-interval", because)
			}
			if was, because := gone.PickAt(parts, f.Time, v.Zone); was && !in {
				out.add(f, "interval-gone", because)
			}
		}
		for _, at := range spans(f, v.Zone) {
			if in, because := s.WorkAt(parts, at, v.Zone); in {
				out.add(f, "work-in-reentry", because)
				break
			}
		}
	}
	out.Flags = projections.SortFlags(out.Flags)
	return out
}

func (d *Flagged) add(f *projections.Fact, name string, because []Because) {
	var why, rests []string
	for _, b := range because {
		if !slices.Contains(why, b.Why) {
			why = append(why, b.Why)
		}
		for _, id := range []string{b.Spray, b.Label, b.Judgement} {
			if id != "" && !slices.Contains(rests, id) {
				rests = append(rests, id)
			}
		}
	}
	flag := projections.NewFlag(f.ID, name, "", "why", strings.Join(why, "; "))
	flag.Because = rests
	d.Flags = append(d.Flags, flag)
}

// isPick reports whether a record is of fruit coming off the trees: a pick, or fruit that buyers picked themselves.
func isPick(f *projections.Fact) bool {
	if f.Kind == "fruit.picked" {
		return true
	}
	d, ok := f.Data().(*events.FruitSold)
	return ok && d.Channel == "u-pick"
}

// isWork reports whether a record of a kind means that somebody was among the trees: everything that is done or seen there
// but the sprays, whose people are handlers, and what is only written down.
func isWork(kind string) bool {
	if strings.HasPrefix(kind, "spray.") {
		return false
	}
	switch kind {
	case "block.established", "block.changed", "block.redrawn", "hold.judged", "harvest.closed":
		return false
	}
	return true
}

// spans lists the moments for which work is asked about: its end, and its start where it has one.
func spans(f *projections.Fact, zone *time.Location) []time.Time {
	out := []time.Time{f.Time}
	if d, ok := f.Data().(*events.TreePruned); ok && d.Started != "" {
		if m, err := events.ParseMoment(d.Started, zone); err == nil {
			out = append(out, m.At)
			if !m.Only && civil.DayStart(m.Day, zone).Equal(m.At) {
				out[1] = m.At.Add(time.Second) // midnight as a time of day, not as a date
			}
		}
	}
	return out
}
