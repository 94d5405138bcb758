// Package lots says which lots and loads are held, why, and where what is held has gone.
//
// A lot or a load is held while a pick that it drew on is flagged (picked inside an interval, or while the label had to be
// read), and while somebody has held it by hand. It is held until a person releases it: a release answers the flags that it
// names, and a hold by hand that came before it. A release that names no flag answers only a hold by hand, so a flag that
// comes up later holds the fruit again. Where it already left the farm, those who have it are listed.
//
// Masses, write-offs and what a trace needs beyond this come with the packer's part.
package lots

import (
	"cmp"
	"slices"
	"strings"
	"time"

	"latewood/events"
	"latewood/events/civil"
	"latewood/projections"
)

// What a code names.
const (
	Lot      = "lot"
	Delivery = "delivery"
)

// State is what the records say of lots and loads, in order of kind and code.
type State struct {
	Units []Unit `json:"units"`
}

// Unit is one lot or load.
type Unit struct {
	What   string   `json:"what"`
	Code   string   `json:"code"`
	Picks  []string `json:"picks,omitempty"` // ids of fruit.picked drawn on directly
	Lots   []string `json:"lots,omitempty"`  // codes of lots repacked from
	Holds  []Act    `json:"holds,omitempty"` // by hand
	Frees  []Act    `json:"frees,omitempty"`
	Gone   []Gone   `json:"gone,omitempty"`
	Record string   `json:"record,omitempty"` // id of the record that made it
}

// Act is a hold or release by a person.
type Act struct {
	ID      string   `json:"id"`
	At      string   `json:"at"`
	By      string   `json:"by,omitempty"`
	Reason  string   `json:"reason,omitempty"`
	Basis   string   `json:"basis,omitempty"`
	Answers []string `json:"answers,omitempty"`
}

// Gone is where some of it went.
type Gone struct {
	To     string           `json:"to"`
	Date   string           `json:"date"`
	Amount *events.Quantity `json:"amount,omitempty"`
	Record string           `json:"record"`
}

// Fold is the fold over the farm.
func Fold() *projections.Fold { return projections.NewFold("lots", 1, projections.Farm, fold) }

type builder struct {
	units map[string]*Unit
	zone  *time.Location
}

func (b *builder) unit(what, code string) *Unit {
	key := what + "/" + code
	if b.units[key] == nil {
		b.units[key] = &Unit{What: what, Code: code}
	}
	return b.units[key]
}

func (b *builder) named(lot, delivery string) []*Unit {
	var out []*Unit
	if lot != "" {
		out = append(out, b.unit(Lot, lot))
	}
	if delivery != "" {
		out = append(out, b.unit(Delivery, delivery))
	}
	return out
}

func fold(v *projections.View) *State {
	b := &builder{units: map[string]*Unit{}, zone: v.Zone}
	for _, f := range v.Standing() {
		b.add(f)
	}
	s := &State{Units: make([]Unit, 0, len(b.units))}
	for _, u := range b.units {
		slices.Sort(u.Picks)
		u.Picks = slices.Compact(u.Picks)
		slices.Sort(u.Lots)
		u.Lots = slices.Compact(u.Lots)
		s.Units = append(s.Units, *u)
	}
	slices.SortFunc(s.Units, func(a, b Unit) int { return cmp.Or(strings.Compare(a.What, b.What), strings.Compare(a.Code, b.Code)) })
	return s
}

// add takes one record in. Records come in order of time and id.
func (b *builder) add(f *projections.Fact) {
	id := f.ID.String()
	act := func(reason, basis string, answers []string) Act {
		by := f.Common().By
		if by == "" {
			by = f.Record.Envelope.Actor
		}
		return Act{ID: id, At: civil.FormatTime(f.Time.In(b.zone)), By: by, Reason: reason, Basis: basis, Answers: answers}
	}
	switch d := f.Data().(type) {
	case *events.FruitDelivered:
		u := b.unit(Delivery, d.Delivery)
		u.Record = id
		for _, p := range d.Picks {
			u.Picks = append(u.Picks, p.Pick)
		}
		u.Gone = append(u.Gone, Gone{To: partyName(d.Recipient), Date: d.Date, Amount: d.NetMass, Record: id})
	case *events.LotPacked:
		u := b.unit(Lot, d.Lot)
		u.Record = id
		for _, in := range d.Inputs {
			if in.Pick != "" {
				u.Picks = append(u.Picks, in.Pick)
			}
		}
	case *events.LotRepacked:
		u := b.unit(Lot, d.Lot)
		u.Record = id
		for _, in := range d.Inputs {
			u.Lots = append(u.Lots, in.Lot)
		}
	case *events.LotShipped:
		u := b.unit(Lot, d.Lot)
		u.Gone = append(u.Gone, Gone{To: partyName(d.Recipient), Date: d.Date, Amount: d.Amount, Record: id})
	case *events.FruitSold:
		if d.Lot != "" {
			u := b.unit(Lot, d.Lot)
			u.Gone = append(u.Gone, Gone{To: cmp.Or(partyName(d.Buyer), d.Channel), Date: civil.DateOf(f.Time, b.zone).String(), Amount: d.Amount, Record: id})
		}
	case *events.LotHeld:
		for _, u := range b.named(d.Lot, d.Delivery) {
			u.Holds = append(u.Holds, act(d.Reason, "", d.Answers))
		}
	case *events.LotReleased:
		for _, u := range b.named(d.Lot, d.Delivery) {
			u.Frees = append(u.Frees, act("", d.Basis, d.Answers))
		}
	}
}

func partyName(p *events.Party) string {
	if p == nil {
		return ""
	}
	return cmp.Or(p.Name, p.Code)
}

// Held is a lot or load that is held, or that was and has been released.
type Held struct {
	What     string    `json:"what"`
	Code     string    `json:"code"`
	Held     bool      `json:"held"`
	Because  []Because `json:"because"`            // what holds it
	Released []Act     `json:"released,omitempty"` // by whom
	Gone     []Gone    `json:"gone,omitempty"`     // to whom it has gone
}

// Because is one reason: a flagged pick, or a person's hold.
type Because struct {
	Pick   string `json:"pick,omitempty"`
	Flag   string `json:"flag,omitempty"`
	Why    string `json:"why"`
	Record string `json:"record,omitempty"` // the lot.held
}

// HoldingFlags are the flags of a pick that hold what was drawn from it.
func HoldingFlags() []string { return []string{"pick-in-interval"} }

// Holds lists the lots and loads of a Book that are held or were released, by kind and code. flags are those of all records.
func Holds(b *projections.Book, flags []projections.Flag) []Held {
	s := projections.StateOf[State](b, Fold(), "")
	byPick := map[string][]projections.Flag{}
	for _, f := range flags {
		if slices.Contains(HoldingFlags(), f.Name) {
			byPick[f.ID] = append(byPick[f.ID], f)
		}
	}
	at := map[string]int{}
	for i, u := range s.Units {
		at[u.What+"/"+u.Code] = i
	}
	out := []Held{}
	for i := range s.Units {
		u := &s.Units[i]
		h := Held{What: u.What, Code: u.Code, Because: []Because{}, Released: u.Frees, Gone: u.Gone}
		for _, pick := range s.picks(at, u, map[string]bool{}) {
			for _, f := range byPick[pick] {
				if !u.answered(f) {
					h.Because = append(h.Because, Because{Pick: pick, Flag: f.Name, Why: f.Why()})
				}
			}
		}
		for _, hold := range u.Holds {
			if !slices.ContainsFunc(u.Frees, func(free Act) bool { return free.At >= hold.At }) {
				h.Because = append(h.Because, Because{Why: hold.Reason, Record: hold.ID})
			}
		}
		h.Held = len(h.Because) > 0
		if h.Held || len(h.Released) > 0 {
			out = append(out, h)
		}
	}
	return out
}

// picks are the picks that a unit drew on, through lots that it was repacked from.
func (s *State) picks(at map[string]int, u *Unit, seen map[string]bool) []string {
	if seen[u.What+"/"+u.Code] {
		return nil // a lot that was packed from itself: flagged elsewhere
	}
	seen[u.What+"/"+u.Code] = true
	out := slices.Clone(u.Picks)
	for _, lot := range u.Lots {
		if i, ok := at[Lot+"/"+lot]; ok {
			out = append(out, s.picks(at, &s.Units[i], seen)...)
		}
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// answered reports whether a release names a flag: by its name, or as NAME:ID for one pick.
func (u *Unit) answered(f projections.Flag) bool {
	return slices.ContainsFunc(u.Frees, func(free Act) bool {
		return slices.Contains(free.Answers, f.Name) || slices.Contains(free.Answers, f.Name+":"+f.ID)
	})
}
