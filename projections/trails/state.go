package trails

import (
	"cmp"
	"maps"
	"slices"
	"strings"

	"latewood/events"
	"latewood/events/civil"
	"latewood/events/units"
	"latewood/projections"
	"latewood/projections/lots"
)

// What a unit is.
const (
	Pick     = "pick"
	Delivery = "delivery" // a load, ours or one that came in
	Lot      = "lot"
)

// State is the moves of every load and lot, and of every pick that went anywhere: of the others PickUnit tells all there is.
type State struct {
	Units []Unit `json:"units"` // by key
}

// A Unit is a pick, a load or a lot.
type Unit struct {
	Key   string `json:"key"`   // "pick/ID", "delivery/CODE", "lot/CODE"
	Moves []Move `json:"moves"` // by time, record, and order in the record
}

// What is the kind of the unit, and Code its id or code.
func (u *Unit) What() string { what, _, _ := strings.Cut(u.Key, "/"); return what }

// Code is the pick's id, or the code of the load or lot.
func (u *Unit) Code() string { _, code, _ := strings.Cut(u.Key, "/"); return code }

// A How is the way in which fruit moved.
type How string

// The moves. What is told of a unit without moving it stands at the end.
const (
	Picked     How = "picked"
	Received   How = "received"
	Drawn      How = "drawn"    // of a pick into a load
	Packed     How = "packed"   // into a lot
	Repacked   How = "repacked" // of a lot into another
	Delivered  How = "delivered"
	Shipped    How = "shipped"
	Sold       How = "sold"
	WrittenOff How = "written-off"
	Culled     How = "culled"
	Sampled    How = "sampled"
	Shrunk     How = "shrunk"
	Elsewhere  How = "packed-elsewhere" // of a load, at somebody else's shed
	Returned   How = "returned"
	Rejected   How = "rejected"
	Recalled   How = "recalled"

	Made    How = "made"    // what a lot came to in its packages
	Counted How = "counted" // what was found on hand
	Weighed How = "weighed" // what the packer weighed of a load
)

// A Move is fruit that went from one unit to another, or into the farm, or out of it.
type Move struct {
	At      int64  `json:"at"` // ms
	Record  string `json:"record"`
	How     How    `json:"how"`
	From    string `json:"from,omitempty"` // empty: from outside
	To      string `json:"to,omitempty"`   // empty: out, or nowhere
	MG      int64  `json:"mg"`
	Unknown bool   `json:"unknown,omitempty"` // the record tells no mass
	Party   string `json:"party,omitempty"`
	Date    string `json:"date,omitempty"`
	Words   string `json:"words,omitempty"` // reason, channel, reference document, lot codes of a packer
}

// Fold is the fold over the farm.
func Fold() *projections.Fold { return projections.NewFold("trails", 1, projections.Farm, fold) }

// Unit finds a unit; nil where nothing is known of it.
func (s *State) Unit(key string) *Unit {
	i, ok := slices.BinarySearchFunc(s.Units, key, func(u Unit, key string) int { return strings.Compare(u.Key, key) })
	if !ok {
		return nil
	}
	return &s.Units[i]
}

type builder struct {
	v     *projections.View
	units map[string][]Move
	bins  *lots.Bins
}

func fold(v *projections.View) *State {
	b := &builder{v: v, units: map[string][]Move{}, bins: lots.BinsOf(v)}
	for _, f := range v.Standing() {
		b.add(f)
	}
	s := &State{Units: make([]Unit, 0, len(b.units))}
	for _, key := range slices.Sorted(maps.Keys(b.units)) {
		moves := b.units[key]
		if id, ok := strings.CutPrefix(key, Pick+"/"); ok {
			moves = append(pickedOf(v, v.Fact(id)), moves...)
		}
		s.Units = append(s.Units, Unit{key, moves})
	}
	return s
}

// pickedOf is the move that a pick is itself; none where it is not there or does not stand.
func pickedOf(v *projections.View, f *projections.Fact) []Move {
	if f == nil || !f.Stands() {
		return nil
	}
	d, ok := f.Data().(*events.FruitPicked)
	if !ok {
		return nil
	}
	day := civil.DateOf(f.Time, v.Zone)
	mg, ok := v.MassOf(d.Mass, d.Containers, day)
	return []Move{{At: f.Time.UnixMilli(), Record: f.ID.String(), How: Picked, To: Pick + "/" + f.ID.String(), MG: mg, Unknown: !ok, Date: day.String()}}
}

// put notes a move at both of its ends.
func (b *builder) put(m Move) {
	if m.From != "" {
		b.units[m.From] = append(b.units[m.From], m)
	}
	if m.To != "" && m.To != m.From {
		b.units[m.To] = append(b.units[m.To], m)
	}
}

// mass is a quantity in mg; ok is false where it is not told.
func mass(q *events.Quantity) (mg int64, ok bool) {
	if q == nil {
		return 0, false
	}
	mg, err := units.Base(q.Value, q.Unit)
	return mg, err == nil
}

func (m Move) of(q *events.Quantity) Move {
	mg, ok := mass(q)
	m.MG, m.Unknown = mg, !ok
	return m
}

func (m Move) from(key string) Move { m.From = key; return m }
func (m Move) to(key string) Move   { m.To = key; return m }
func (m Move) as(how How) Move      { m.How = how; return m }

// move begins a Move of a record.
func (b *builder) move(f *projections.Fact, date string) Move {
	if date == "" {
		date = civil.DateOf(f.Time, b.v.Zone).String()
	}
	return Move{At: f.Time.UnixMilli(), Record: f.ID.String(), Date: date}
}

// add takes one record in. Records come in order of time and id.
func (b *builder) add(f *projections.Fact) {
	switch d := f.Data().(type) {
	case *events.FruitDelivered:
		b.delivered(f, d)
	case *events.DeliveryAnswered:
		key := Delivery + "/" + d.Delivery
		m := b.move(f, "")
		m.Words = d.Reason
		if d.WeighedMass != nil {
			b.put(m.as(Weighed).to(key).of(d.WeighedMass))
		}
		if d.Outcome == "rejected" {
			m = m.as(Rejected).to(key).of(d.WeighedMass)
			if m.Unknown { // all of it came back
				for _, sent := range b.units[key] {
					if sent.How == Delivered {
						m.MG, m.Unknown = m.MG+sent.MG, sent.Unknown
					}
				}
			}
			b.put(m)
		}
	case *events.PackoutReported:
		b.packout(f, d)
	case *events.FruitReceived:
		m := b.move(f, d.Date).as(Received).to(Delivery + "/" + d.Delivery).of(d.Amount)
		m.Party = d.Source.Called()
		b.put(m)
	case *events.LotPacked:
		b.packed(f, d)
	case *events.LotRepacked:
		key := Lot + "/" + d.Lot
		for _, in := range d.Inputs {
			if in.Lot != d.Lot {
				b.put(b.move(f, d.Date).as(Repacked).from(Lot + "/" + in.Lot).to(key).of(in.Amount))
			}
		}
		b.made(b.move(f, d.Date), key, &d.LotFields)
	case *events.LotReceived:
		m := b.move(f, d.Date).as(Received).to(Lot + "/" + d.Lot).of(d.Amount)
		m.Party = d.PreviousSource.Called()
		b.put(m)
	case *events.LotShipped:
		m := b.move(f, d.Date).as(Shipped).from(Lot + "/" + d.Lot).of(d.Amount)
		m.Party, m.Words = d.Recipient.Called(), paper(d.ReferenceDocument)
		b.put(m)
	case *events.FruitSold:
		b.sold(f, d)
	case *events.LotWrittenOff:
		m := b.move(f, "").as(WrittenOff)
		m.Words = d.Reason
		if d.Lot != "" {
			b.put(m.from(Lot + "/" + d.Lot).of(d.Amount))
			return
		}
		b.share(m, Pick, d.Picks, d.Amount)
	case *events.LotRejected:
		b.fate(f, Rejected, &d.LotFate)
	case *events.LotReturned:
		b.fate(f, Returned, &d.LotFate)
	case *events.LotRecalled:
		b.fate(f, Recalled, &d.LotFate)
	case *events.StockCounted:
		for _, item := range d.Items {
			m := b.move(f, "").as(Counted).of(item.Amount)
			m.Words = d.Location
			if item.Lot != "" {
				b.put(m.to(Lot + "/" + item.Lot))
			} else {
				b.put(m.to(Pick + "/" + item.Pick))
			}
		}
	}
}

func paper(r *events.Reference) string {
	if r == nil {
		return ""
	}
	return strings.TrimSpace(r.Type + " " + r.Number)
}

func (b *builder) delivered(f *projections.Fact, d *events.FruitDelivered) {
	key, day := Delivery+"/"+d.Delivery, civil.DateOf(f.Time, b.v.Zone)
	gone := b.move(f, d.Date).as(Delivered).from(key)
	for _, p := range d.Picks {
		m := b.move(f, d.Date).as(Drawn).from(Pick + "/" + p.Pick).to(key)
		mg, ok := b.v.MassOf(p.Mass, p.Containers, day)
		m.MG, m.Unknown = mg, !ok
		b.put(m)
		gone.MG += mg
		gone.Unknown = gone.Unknown || !ok
	}
	gone.Party, gone.Words = d.Recipient.Called(), paper(d.ReferenceDocument)
	if d.Masses != nil && d.Masses.Net != nil {
		gone = gone.of(d.Masses.Net)
	}
	b.put(gone)
}

// packout shares what became of loads over them, by what was drawn for each.
func (b *builder) packout(f *projections.Fact, d *events.PackoutReported) {
	m := b.move(f, "")
	m.Words = strings.Join(d.PackersLotCodes, ", ")
	b.share(m.as(Weighed), Delivery, d.Deliveries, d.Delivered)
	for _, part := range []struct {
		how    How
		amount *events.Quantity
	}{{Elsewhere, d.Packed}, {Elsewhere, d.Seconds}, {Shrunk, d.Shrink}} {
		if part.amount != nil {
			b.share(m.as(part.how), Delivery, d.Deliveries, part.amount)
		}
	}
	for _, c := range d.Culls {
		m.Words = c.Reason
		b.share(m.as(Culled), Delivery, d.Deliveries, c.Mass)
	}
}

// share puts an amount of several units together, by the masses that came into each.
func (b *builder) share(m Move, what string, codes []string, amount *events.Quantity) {
	codes = slices.Compact(slices.Sorted(slices.Values(codes)))
	total, ok := mass(amount)
	weights := make([]int64, len(codes))
	for i, code := range codes {
		if what == Pick {
			for _, in := range pickedOf(b.v, b.v.Fact(code)) {
				weights[i] = in.MG
			}
			continue
		}
		for _, in := range b.units[what+"/"+code] {
			if in.To == what+"/"+code && in.How != Weighed && in.How != Counted {
				weights[i] += in.MG
			}
		}
	}
	for i, mg := range units.ShareOut(total, weights, codes) {
		one := m
		one.MG, one.Unknown = mg, !ok
		if m.How == Weighed || m.How == Returned || m.How == Rejected || m.How == Recalled {
			one.To = what + "/" + codes[i]
		} else {
			one.From = what + "/" + codes[i]
		}
		b.put(one)
	}
}

func (b *builder) packed(f *projections.Fact, d *events.LotPacked) {
	key := Lot + "/" + d.Lot
	for _, in := range d.Inputs {
		m := b.move(f, d.Date).as(Packed).to(key).of(in.Mass)
		switch {
		case in.Pick != "":
			b.put(m.from(Pick + "/" + in.Pick))
		case in.Received != "":
			load, ok := b.received(in.Received)
			if ok {
				m.From = Delivery + "/" + load
			}
			b.put(m) // a record that is not there yet leaves a move from outside
		default:
			picks := b.bins.Picks(in.Bin, f)
			if len(picks) == 0 {
				b.put(m)
				continue
			}
			ids := make([]string, len(picks))
			weights := make([]int64, len(picks))
			for i, p := range picks {
				ids[i] = p.ID.String()
				weights[i] = b.inBin(p, in.Bin)
			}
			for i, mg := range units.ShareOut(m.MG, weights, ids) {
				one := m.from(Pick + "/" + ids[i])
				one.MG = mg
				b.put(one)
			}
		}
	}
	b.made(b.move(f, d.Date), key, &d.LotFields)
}

func (b *builder) received(id string) (load string, ok bool) {
	f := b.v.Fact(id)
	if f == nil {
		return "", false
	}
	d, ok := f.Data().(*events.FruitReceived)
	if !ok {
		return "", false
	}
	return d.Delivery, true
}

// inBin is what a pick put into a bin, in mg; its whole mass where the bin's own is not told.
func (b *builder) inBin(p *projections.Fact, bin string) int64 {
	d := p.Data().(*events.FruitPicked)
	day := civil.DateOf(p.Time, b.v.Zone)
	for _, c := range d.Containers {
		if c.ID == bin {
			if mg, ok := b.v.MassOf(nil, []events.Container{c}, day); ok {
				return mg
			}
		}
	}
	mg, _ := b.v.MassOf(d.Mass, d.Containers, day)
	return mg
}

// made notes what a lot came to, and what was sorted out and sampled.
func (b *builder) made(m Move, key string, d *events.LotFields) {
	if p := d.Packed; p != nil {
		each, ok := mass(p.NetMass)
		one := m.as(Made).to(key)
		one.MG, one.Unknown = each*int64(p.Count), !ok
		b.put(one)
	}
	for _, c := range d.Culls {
		one := m.as(Culled).from(key).of(c.Mass)
		one.Words = c.Reason
		b.put(one)
	}
	if d.Samples != nil {
		b.put(m.as(Sampled).from(key).of(d.Samples))
	}
}

func (b *builder) sold(f *projections.Fact, d *events.FruitSold) {
	m := b.move(f, "").as(Sold)
	m.Party, m.Words = cmp.Or(d.Buyer.Called(), d.Channel), d.Channel
	if d.Lot != "" {
		b.put(m.from(Lot + "/" + d.Lot).of(d.Amount))
		return
	}
	b.share(m, Pick, d.Picks, d.Amount)
}

// fate notes what came back. What is only called back has not moved; nor has what a buyer did not take, before it is told
// how much of it there is.
func (b *builder) fate(f *projections.Fact, how How, d *events.LotFate) {
	m := b.move(f, d.Date).as(how)
	m.Party, m.Words = cmp.Or(d.From.Called(), d.Recipient.Called()), d.Reason
	back := d.Recovered
	if how != Recalled {
		back = cmp.Or(d.Recovered, d.Amount)
	}
	codes := slices.Clone(d.Lots)
	if d.Lot != "" {
		codes = append(codes, d.Lot)
	}
	b.share(m, Lot, codes, back)
}
