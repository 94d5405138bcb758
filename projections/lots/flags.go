package lots

import (
	"slices"
	"strings"

	"latewood/events"
	"latewood/events/civil"
	"latewood/events/units"
	"latewood/projections"
	"latewood/projections/settings"
)

// Flagged is the flags of the records that name lots, loads and picks.
type Flagged struct {
	Flags []projections.Flag `json:"flags"`
}

// FlagFold finds what does not go together on fruit's way out: something done to a lot or load before it was made, or to a
// pick before it was picked (out-of-order); more taken of a pick, a load or a lot than there was (over-drawn); a code given
// twice (code-reused); and codes of lots, loads and bins that nothing makes (waits-for) or nothing makes any more
// (refers-to-nothing).
func FlagFold() *projections.Fold {
	return projections.NewFold("lots-flags", 1, projections.Farm, flagged)
}

// Flags lists them, in order of records.
func Flags(b *projections.Book) []projections.Flag {
	return projections.StateOf[Flagged](b, FlagFold(), "").Flags
}

// finder collects flags.
type finder struct {
	v     *projections.View
	made  map[string][]*projections.Fact // by unit: standing records that made it or brought it in, by time and id
	ended map[string]bool                // units whose making was withdrawn
	came  map[string]bool                // loads of ours that we received ourselves, or that came back
	drawn map[string]*taking
	order []string // keys of drawn as they came
	flags []projections.Flag
}

// taking is what was taken of a pick, a received load or a lot.
type taking struct {
	takes []take
	back  int64 // what came back, mg
}

type take struct {
	by *projections.Fact
	mg int64
}

func flagged(v *projections.View) *Flagged {
	d := &finder{v: v, made: map[string][]*projections.Fact{}, ended: map[string]bool{}, came: map[string]bool{}, drawn: map[string]*taking{}}
	for _, f := range v.Facts {
		for _, key := range makes(f) {
			if f.Stands() {
				d.made[key] = append(d.made[key], f)
			} else {
				d.ended[key] = true
			}
		}
	}
	standing := v.Standing()
	for _, f := range standing {
		switch data := f.Data().(type) {
		case *events.FruitReceived:
			d.came[data.Delivery] = true
		case *events.DeliveryAnswered:
			d.came[data.Delivery] = d.came[data.Delivery] || data.Outcome == "rejected"
		}
	}
	for key, all := range d.made {
		d.made[key] = makers(all)
	}
	for _, f := range standing {
		d.reused(f)
		d.names(f)
		d.picks(f)
		d.bins(f)
		d.draw(f)
	}
	d.over()
	if d.flags == nil {
		d.flags = []projections.Flag{}
	}
	return &Flagged{Flags: projections.SortFlags(d.flags)}
}

func (d *finder) add(f *projections.Fact, name, detail string, args ...string) {
	d.flags = append(d.flags, projections.NewFlag(f.ID, name, detail, args...))
}

// makes lists the units that a record makes or brings in.
func makes(f *projections.Fact) []string {
	switch d := f.Data().(type) {
	case *events.LotPacked:
		return []string{Lot + "/" + d.Lot}
	case *events.LotRepacked:
		return []string{Lot + "/" + d.Lot}
	case *events.LotReceived:
		return []string{Lot + "/" + d.Lot}
	case *events.FruitDelivered:
		return []string{Delivery + "/" + d.Delivery}
	case *events.FruitReceived:
		return []string{Delivery + "/" + d.Delivery}
	}
	return nil
}

// arrives reports whether a record brings in what others may have made.
func arrives(f *projections.Fact) bool { return f.Kind == "lot.received" || f.Kind == "fruit.received" }

// makers are the records that made a unit here; where none did, those that brought it in.
func makers(all []*projections.Fact) []*projections.Fact {
	if here := slices.DeleteFunc(slices.Clone(all), arrives); len(here) > 0 {
		return here
	}
	return all
}

// reused flags the second record that gives a code.
func (d *finder) reused(f *projections.Fact) {
	for _, key := range makes(f) {
		if first := d.made[key][0]; first != f && !arrives(f) {
			what, code := split(key)
			d.add(f, "code-reused", what, "code", code, "first", first.ID.String())
		}
	}
}

// split takes a unit's key apart; codes may hold slashes.
func split(key string) (what, code string) {
	what, code, _ = strings.Cut(key, "/")
	return what, code
}

// names looks at the lots and loads that a record names.
func (d *finder) names(f *projections.Fact) {
	lots, loads := projections.LotsOf(f)
	look := func(key string) {
		what, code := split(key)
		made := d.made[key]
		switch {
		case slices.Contains(made, f):
		case len(made) == 0 && d.ended[key]:
			d.add(f, "refers-to-nothing", what, "code", code)
		case len(made) == 0:
			d.add(f, "waits-for", what, "code", code)
		case d.before(f, made[0]):
			d.add(f, "out-of-order", what, "code", code, "on", d.day(f), "made", d.day(made[0]))
		}
	}
	for _, code := range lots {
		look(Lot + "/" + code)
	}
	for _, code := range loads {
		look(Delivery + "/" + code)
	}
}

// picks looks at the picks and received loads that a record names by id.
func (d *finder) picks(f *projections.Fact) {
	for _, id := range projections.References(f) {
		target := d.v.Fact(id.String())
		if target == nil || !target.Stands() || target.Kind != "fruit.picked" && target.Kind != "fruit.received" {
			continue // whether it is there is looked at with all references
		}
		if d.before(f, target) {
			d.add(f, "out-of-order", "pick", "id", target.ID.String(), "on", d.day(f), "made", d.day(target))
		}
	}
}

// bins flags bins that nothing filled.
func (d *finder) bins(f *projections.Fact) {
	packed, ok := f.Data().(*events.LotPacked)
	if !ok {
		return
	}
	for _, in := range packed.Inputs {
		if in.Bin != "" && len(d.v.Filled(in.Bin)) == 0 {
			d.add(f, "waits-for", "bin", "bin", in.Bin)
		}
	}
}

// before reports whether one record surely happened before another: where of one only the day is known, on a day before.
func (d *finder) before(f, other *projections.Fact) bool {
	if dayOnly(f.Time, d.v.Zone) || dayOnly(other.Time, d.v.Zone) {
		return civil.DateOf(f.Time, d.v.Zone).Before(civil.DateOf(other.Time, d.v.Zone))
	}
	return f.Time.Before(other.Time)
}

func (d *finder) day(f *projections.Fact) string { return civil.DateOf(f.Time, d.v.Zone).String() }

// takes notes that a record took some of something; a mass that nobody told takes nothing.
func (d *finder) takes(key string, f *projections.Fact, mg int64) {
	if key == "" || mg <= 0 {
		return
	}
	t := d.of(key)
	t.takes = append(t.takes, take{f, mg})
}

func (d *finder) of(key string) *taking {
	if d.drawn[key] == nil {
		d.drawn[key] = &taking{}
		d.order = append(d.order, key)
	}
	return d.drawn[key]
}

// draw notes what a record took, in order of time and id.
func (d *finder) draw(f *projections.Fact) {
	switch data := f.Data().(type) {
	case *events.FruitDelivered:
		if d.came[data.Delivery] {
			return // it came to a shed of ours, or came back: what is packed of it is counted then
		}
		for _, p := range data.Picks {
			mass, _ := d.v.MassOf(p.Mass, p.Containers, civil.DateOf(f.Time, d.v.Zone))
			d.takes(d.pick(p.Pick), f, mass)
		}
	case *events.LotPacked:
		for _, in := range data.Inputs {
			switch {
			case in.Pick != "":
				d.takes(d.pick(in.Pick), f, mg(in.Mass))
			case in.Received != "":
				d.takes(d.pick(in.Received), f, mg(in.Mass))
			}
		}
	case *events.LotRepacked:
		for _, in := range data.Inputs {
			d.takes(Lot+"/"+in.Lot, f, mg(in.Amount))
		}
	case *events.LotShipped:
		d.takes(Lot+"/"+data.Lot, f, mg(data.Amount))
	case *events.FruitSold:
		switch {
		case data.Lot != "":
			d.takes(Lot+"/"+data.Lot, f, mg(data.Amount))
		case len(data.Picks) == 1:
			d.takes(d.pick(data.Picks[0]), f, mg(data.Amount))
		}
	case *events.LotWrittenOff:
		switch {
		case data.Lot != "":
			d.takes(Lot+"/"+data.Lot, f, mg(data.Amount))
		case len(data.Picks) == 1:
			d.takes(d.pick(data.Picks[0]), f, mg(data.Amount))
		}
	case *events.LotReturned:
		d.back(data.LotFate)
	case *events.LotRejected:
		d.back(data.LotFate)
	case *events.LotRecalled:
		if data.Lot != "" && data.Recovered != nil {
			d.of(Lot + "/" + data.Lot).back += mg(data.Recovered)
		}
	case *events.LotReceived:
		// A lot of ours that comes in again was shipped before: between two places of the farm, or back.
		if made := d.made[Lot+"/"+data.Lot]; len(made) > 0 && !slices.Contains(made, f) {
			d.of(Lot + "/" + data.Lot).back += mg(data.Amount)
		}
	}
}

func (d *finder) back(fate events.LotFate) {
	if fate.Lot != "" {
		d.of(Lot + "/" + fate.Lot).back += mg(fate.Amount)
	}
}

// pick is the key of a pick or received load; "" where it is not there.
func (d *finder) pick(id string) string {
	f := d.v.Fact(id)
	if f == nil || !f.Stands() {
		return ""
	}
	return "pick/" + f.ID.String()
}

// over flags the records that took more than there was.
func (d *finder) over() {
	for _, key := range d.order {
		t := d.drawn[key]
		there, ok := d.there(key)
		if !ok || there <= 0 {
			continue
		}
		what, code := split(key)
		sum := -t.back
		for _, one := range t.takes {
			sum += one.mg
			percent, _ := d.v.Number(settings.DrawnTolerance, civil.DateOf(one.by.Time, d.v.Zone))
			if float64(sum) > float64(there)*(1+percent/100) {
				d.add(one.by, "over-drawn", what, "code", code, "taken", kg(sum), "there", kg(there))
			}
		}
	}
}

// there is how much there was of something: a pick as weighed, a load as received, a lot as packed or received.
func (d *finder) there(key string) (mass int64, ok bool) {
	if made := d.made[key]; len(made) > 0 {
		for _, f := range made {
			switch data := f.Data().(type) {
			case *events.LotPacked:
				mass += packedMass(data.Packed)
			case *events.LotRepacked:
				mass += packedMass(data.Packed)
			case *events.LotReceived:
				mass += mg(data.Amount)
			}
		}
		return mass, mass > 0
	}
	_, id := split(key)
	f := d.v.Fact(id)
	if f == nil {
		return 0, false
	}
	switch data := f.Data().(type) {
	case *events.FruitPicked:
		mass, ok = d.v.MassOf(data.Mass, data.Containers, civil.DateOf(f.Time, d.v.Zone))
		return mass, ok
	case *events.FruitReceived:
		return mg(data.Amount), data.Amount != nil
	}
	return 0, false
}

func packedMass(p *events.Packed) int64 {
	if p == nil || p.NetMass == nil {
		return 0
	}
	v, err := units.Base(p.NetMass.Value*float64(p.Count), p.NetMass.Unit)
	if err != nil {
		return 0
	}
	return v
}

func kg(mg int64) string { return units.FormatNumber(float64(mg/1e3)/1e3) + " kg" }
