package lots

import (
	"cmp"
	"maps"
	"slices"
	"strings"
	"time"

	"latewood/events"
	"latewood/events/civil"
	"latewood/events/units"
	"latewood/projections"
)

// What a code names.
const (
	Lot      = "lot"
	Delivery = "delivery" // a load
)

// State is what the records say of lots and loads. It has no day of its own: Holds is asked about an instant. Nor does it hold
// when anything was known, which Holds reads off the records: so it is the same in whatever order they were recorded.
type State struct {
	Units []Unit `json:"units"` // by kind and code
	Sales []Sale `json:"sales"` // of picks that went out in no lot or load, by time and id
}

// A Unit is one lot or load.
type Unit struct {
	What  string `json:"what"`
	Code  string `json:"code"`
	Made  []Act  `json:"made,omitempty"`  // what made it or brought it in, by time and id; several where the code was used again
	Draws []Draw `json:"draws,omitempty"` // what it was made of
	Holds []Act  `json:"holds,omitempty"` // by hand
	Frees []Act  `json:"frees,omitempty"` // releases
	Gone  []Step `json:"gone,omitempty"`
	Back  []Step `json:"back,omitempty"`
	// Told are the lot codes that a packer gave to fruit of a load.
	Told []string `json:"told,omitempty"`
}

func (u *Unit) key() string { return u.What + "/" + u.Code }

// A Draw is one input of a unit: a pick, or another unit.
type Draw struct {
	At   int64  `json:"at"` // ms, of the record that drew it
	Pick string `json:"pick,omitempty"`
	Unit string `json:"unit,omitempty"` // "lot/L12"
	By   string `json:"by"`             // id of the record
}

// An Act is something that a person did to a unit.
type Act struct {
	ID       string   `json:"id"`
	At       int64    `json:"at"`           // ms
	By       string   `json:"by,omitempty"` // pseudonym
	Second   string   `json:"second,omitempty"`
	Reason   string   `json:"reason,omitempty"`
	Basis    string   `json:"basis,omitempty"`
	Answers  []string `json:"answers,omitempty"`
	Document string   `json:"document,omitempty"`
}

// A Step is where some of it went, or came back from.
type Step struct {
	At     int64  `json:"at"`
	How    string `json:"how"` // shipped, delivered, sold; returned, rejected, recalled, written-off
	Party  string `json:"party,omitempty"`
	Date   string `json:"date,omitempty"`
	MG     int64  `json:"mg,omitempty"` // 0: not told
	Reason string `json:"reason,omitempty"`
	Told   []Told `json:"told,omitempty"`
	Record string `json:"record"`
}

// A Told is somebody who was told of it, and what they answered.
type Told struct {
	Party  string `json:"party"`
	When   string `json:"when,omitempty"`
	How    string `json:"how,omitempty"`
	Answer string `json:"answer,omitempty"`
}

// A Sale is fruit of picks, or off the trees, that went to who eats it.
type Sale struct {
	Step
	Picks []string `json:"picks,omitempty"`
}

// Fold is the fold over the farm.
func Fold() *projections.Fold { return projections.NewFold("lots", 1, projections.Farm, fold) }

// builder makes a State out of a view.
type builder struct {
	v     *projections.View
	units map[string]*Unit
	sales []Sale
	bins  *Bins
}

func fold(v *projections.View) *State {
	b := &builder{v: v, units: map[string]*Unit{}, bins: BinsOf(v)}
	for _, f := range v.Standing() {
		b.add(f)
	}
	s := &State{Units: make([]Unit, 0, len(b.units)), Sales: b.sales}
	if s.Sales == nil {
		s.Sales = []Sale{}
	}
	for _, key := range slices.Sorted(maps.Keys(b.units)) {
		u := b.units[key]
		slices.SortFunc(u.Draws, func(x, y Draw) int {
			return cmp.Or(cmp.Compare(x.At, y.At), strings.Compare(x.By, y.By), strings.Compare(x.Pick, y.Pick), strings.Compare(x.Unit, y.Unit))
		})
		u.Draws = slices.Compact(u.Draws)
		slices.Sort(u.Told)
		u.Told = slices.Compact(u.Told)
		s.Units = append(s.Units, *u)
	}
	return s
}

func (b *builder) unit(what, code string) *Unit {
	key := what + "/" + code
	if b.units[key] == nil {
		b.units[key] = &Unit{What: what, Code: code}
	}
	return b.units[key]
}

// either is the unit of a record that names a lot or a load.
func (b *builder) either(lot, delivery string) *Unit {
	if lot != "" {
		return b.unit(Lot, lot)
	}
	return b.unit(Delivery, delivery)
}

func ms(t time.Time) int64 { return t.UnixMilli() }

func (b *builder) act(f *projections.Fact) Act {
	return Act{ID: f.ID.String(), At: ms(f.Time), By: cmp.Or(f.Common().By, f.Record.Envelope.Actor)}
}

func mg(q *events.Quantity) int64 {
	if q == nil {
		return 0
	}
	v, err := units.Base(q.Value, q.Unit)
	if err != nil {
		return 0
	}
	return v
}

// step starts a Step of a record; without a date the day of the record's time counts.
func (b *builder) step(f *projections.Fact, how, party, date string, amount *events.Quantity) Step {
	if date == "" {
		date = civil.DateOf(f.Time, b.v.Zone).String()
	}
	return Step{At: ms(f.Time), How: how, Party: party, Date: date, MG: mg(amount), Record: f.ID.String()}
}

// add takes one record in. Records come in order of time and id.
func (b *builder) add(f *projections.Fact) {
	switch d := f.Data().(type) {
	case *events.FruitDelivered:
		b.delivered(f, d)
	case *events.FruitReceived:
		u := b.unit(Delivery, d.Delivery)
		u.Made = append(u.Made, b.act(f))
	case *events.DeliveryAnswered:
		if d.Outcome == "rejected" {
			s := b.step(f, "rejected", "", "", d.WeighedMass)
			s.Reason = d.Reason
			u := b.unit(Delivery, d.Delivery)
			u.Back = append(u.Back, s)
		}
	case *events.PackoutReported:
		for _, code := range d.Deliveries {
			u := b.unit(Delivery, code)
			u.Told = append(u.Told, d.PackersLotCodes...)
		}
	case *events.LotPacked:
		b.packed(f, d)
	case *events.LotRepacked:
		u := b.unit(Lot, d.Lot)
		u.Made = append(u.Made, b.act(f))
		for _, in := range d.Inputs {
			if in.Lot != d.Lot {
				u.Draws = append(u.Draws, Draw{At: ms(f.Time), Unit: Lot + "/" + in.Lot, By: f.ID.String()})
			}
		}
	case *events.LotReceived:
		u := b.unit(Lot, d.Lot)
		u.Made = append(u.Made, b.act(f))
	case *events.LotShipped:
		u := b.unit(Lot, d.Lot)
		u.Gone = append(u.Gone, b.step(f, "shipped", d.Recipient.Called(), d.Date, d.Amount))
	case *events.FruitSold:
		b.sold(f, d)
	case *events.LotWrittenOff:
		if d.Lot != "" {
			u := b.unit(Lot, d.Lot)
			s := b.step(f, "written-off", "", "", d.Amount)
			s.Reason = d.Reason
			u.Back = append(u.Back, s)
		}
	case *events.LotRejected:
		b.fate(f, "rejected", &d.LotFate)
	case *events.LotReturned:
		b.fate(f, "returned", &d.LotFate)
	case *events.LotRecalled:
		b.fate(f, "recalled", &d.LotFate)
	case *events.LotHeld:
		a := b.act(f)
		a.Reason, a.Answers, a.Second, a.Document = d.Reason, d.Answers, d.SecondPerson, d.Document
		u := b.either(d.Lot, d.Delivery)
		u.Holds = append(u.Holds, a)
	case *events.LotReleased:
		a := b.act(f)
		a.Basis, a.Answers, a.Second, a.Document = d.Basis, d.Answers, d.SecondPerson, d.Document
		u := b.either(d.Lot, d.Delivery)
		u.Frees = append(u.Frees, a)
	}
}

func (b *builder) delivered(f *projections.Fact, d *events.FruitDelivered) {
	u := b.unit(Delivery, d.Delivery)
	u.Made = append(u.Made, b.act(f))
	day := civil.DateOf(f.Time, b.v.Zone)
	s := b.step(f, "delivered", d.Recipient.Called(), d.Date, nil)
	for _, p := range d.Picks {
		u.Draws = append(u.Draws, Draw{At: ms(f.Time), Pick: p.Pick, By: f.ID.String()})
		if mass, ok := b.v.MassOf(p.Mass, p.Containers, day); ok {
			s.MG += mass
		}
	}
	if d.Masses != nil && d.Masses.Net != nil {
		s.MG = mg(d.Masses.Net)
	}
	u.Gone = append(u.Gone, s)
}

func (b *builder) packed(f *projections.Fact, d *events.LotPacked) {
	u := b.unit(Lot, d.Lot)
	u.Made = append(u.Made, b.act(f))
	draw := Draw{At: ms(f.Time), By: f.ID.String()}
	for _, in := range d.Inputs {
		one := draw
		switch {
		case in.Pick != "":
			one.Pick = in.Pick
		case in.Received != "":
			received := b.v.Fact(in.Received)
			if received == nil {
				continue // it waits, and is flagged for that
			}
			load, ok := received.Data().(*events.FruitReceived)
			if !ok {
				continue
			}
			one.Unit = Delivery + "/" + load.Delivery
		default:
			for _, pick := range b.bins.Picks(in.Bin, f) {
				one.Pick = pick.ID.String()
				u.Draws = append(u.Draws, one)
			}
			continue
		}
		u.Draws = append(u.Draws, one)
	}
}

func (b *builder) sold(f *projections.Fact, d *events.FruitSold) {
	s := b.step(f, "sold", cmp.Or(d.Buyer.Called(), d.Channel), "", d.Amount)
	if d.Lot != "" {
		u := b.unit(Lot, d.Lot)
		u.Gone = append(u.Gone, s)
		return
	}
	b.sales = append(b.sales, Sale{Step: s, Picks: d.Picks})
}

func (b *builder) fate(f *projections.Fact, how string, d *events.LotFate) {
	s := b.step(f, how, cmp.Or(d.From.Called(), d.Recipient.Called()), d.Date, cmp.Or(d.Recovered, d.Amount))
	s.Reason = d.Reason
	for _, t := range d.Told {
		s.Told = append(s.Told, Told{Party: t.Party.Called(), When: t.When, How: t.How, Answer: t.Answer})
	}
	codes := slices.Clone(d.Lots)
	if d.Lot != "" {
		codes = append(codes, d.Lot)
	}
	slices.Sort(codes)
	for _, code := range slices.Compact(codes) {
		u := b.unit(Lot, code)
		if how == "recalled" && d.Recovered == nil {
			s.MG = 0 // called back, not yet here
		}
		u.Back = append(u.Back, s)
	}
}
