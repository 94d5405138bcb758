package lots

import (
	"slices"
	"time"

	"latewood/events"
	"latewood/events/civil"
	"latewood/projections"
)

// Bins knows which picks lay in a bin when something was packed from it.
type Bins struct {
	v       *projections.View
	emptied map[string][]emptied // by bin, in order
}

// emptied is a moment at which a bin was emptied, or was packed from.
type emptied struct {
	at     time.Time
	packed bool
}

// BinsOf reads off a view when bins were emptied or packed from. The view must be of the farm's key.
func BinsOf(v *projections.View) *Bins {
	b := &Bins{v: v, emptied: map[string][]emptied{}}
	for _, f := range v.Standing() {
		switch d := f.Data().(type) {
		case *events.BinEmptied:
			for _, bin := range d.Bins {
				b.emptied[bin] = append(b.emptied[bin], emptied{f.Time, false})
			}
		case *events.LotPacked:
			for _, in := range d.Inputs {
				if in.Bin != "" {
					b.emptied[in.Bin] = append(b.emptied[in.Bin], emptied{f.Time, true})
				}
			}
		}
	}
	return b
}

// Picks lists the picks that lay in a bin when a lot was packed from it: those since it was last emptied, or, where nobody
// wrote that down, since it was last packed from before its last filling. Too many is better than too few: these picks hold
// the lot.
func (b *Bins) Picks(bin string, packed *projections.Fact) []*projections.Fact {
	until := packed.Time
	if dayOnly(packed.Time, b.v.Zone) {
		until = civil.DayEnd(civil.DateOf(packed.Time, b.v.Zone), b.v.Zone)
	}
	picks := slices.DeleteFunc(b.v.Filled(bin), func(p *projections.Fact) bool { return p.Time.After(until) })
	if len(picks) == 0 {
		return nil
	}
	last := picks[len(picks)-1].Time
	var since time.Time
	for _, e := range b.emptied[bin] {
		// Emptied before it was packed from; packed from before it was filled for the last time.
		if !e.packed && e.at.Before(packed.Time) || e.packed && e.at.Before(last) && !dayOnly(e.at, b.v.Zone) {
			if e.at.After(since) {
				since = e.at
			}
		}
	}
	return slices.DeleteFunc(picks, func(p *projections.Fact) bool { return p.Time.Before(since) })
}

// dayOnly reports whether a time is the first instant of a day: so times are kept of which only the day is known.
func dayOnly(t time.Time, zone *time.Location) bool {
	return civil.DayStart(civil.DateOf(t, zone), zone).Equal(t)
}
