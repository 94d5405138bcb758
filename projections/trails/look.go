package trails

import (
	"slices"

	"latewood/events"
	"latewood/projections"
)

// A Look is a Book with the views that many questions share: making a view costs as much as its key has records. It must not
// outlive what it was asked for: records that come later are not in it.
type Look struct {
	b      *projections.Book
	state  *State
	farm   *projections.View
	blocks map[string]*projections.View
}

// NewLook makes one.
func NewLook(b *projections.Book) *Look {
	return &Look{b: b, state: projections.StateOf[State](b, Fold(), ""), farm: b.View(projections.FarmKey), blocks: map[string]*projections.View{}}
}

// Farm is the view of the farm.
func (l *Look) Farm() *projections.View { return l.farm }

// Block is the view of a block.
func (l *Look) Block(code string) *projections.View {
	if l.blocks[code] == nil {
		l.blocks[code] = l.b.View(projections.Key{Class: projections.Block, Code: code})
	}
	return l.blocks[code]
}

// lot is a lot's unit, nil where nothing is known of it.
func (l *Look) lot(code string) *Unit { return l.state.Unit(Lot + "/" + code) }

// Inputs is what one record of packing or repacking drew, the draws from bins shared out over their picks.
func (l *Look) Inputs(f *projections.Fact) (out []Move) {
	lots, _ := projections.LotsOf(f)
	for _, code := range lots {
		u := l.lot(code)
		if u == nil {
			continue
		}
		for _, m := range u.Moves {
			if m.Record == f.ID.String() && m.To == u.Key && (m.How == Packed || m.How == Repacked) {
				out = append(out, m)
			}
		}
	}
	return out
}

// Product is what a lot was called by the record that made or received it; empty where none is there.
func (l *Look) Product(lot string) string {
	u := l.lot(lot)
	if u == nil {
		return ""
	}
	for _, m := range u.Moves {
		f := l.farm.Fact(m.Record)
		if f == nil || m.How != Made && m.How != Received {
			continue
		}
		switch d := f.Data().(type) {
		case *events.LotPacked:
			return d.Product
		case *events.LotRepacked:
			return d.Product
		case *events.LotReceived:
			return d.ProductDescription
		}
	}
	return ""
}

// known reports whether a record of ours made or received a lot.
func (l *Look) known(lot string) bool {
	u := l.lot(lot)
	return u != nil && slices.ContainsFunc(u.Moves, func(m Move) bool { return m.How == Made || m.How == Received })
}
