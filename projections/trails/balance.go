package trails

import "math"

// A Balance weighs a unit, or several together, in milligrams.
type Balance struct {
	In, Out, OnHand, Culled, Samples, WrittenOff, Shrink int64
	// Ours and Packers are the two weights of loads: what we drew for them, and what the packer weighed.
	Ours, Packers int64
	Known         bool // every mass that counts is told
	Books         bool // nobody counted what is on hand: it is what the books leave
	packers       bool
}

// Unaccounted is what went in and is nowhere; below 0 where more came out than went in.
func (b Balance) Unaccounted() int64 {
	return b.In - b.Out - b.OnHand - b.Culled - b.Samples - b.WrittenOff - b.Shrink
}

// Percent is what is accounted for, of what went in; ok is false where nothing went in or a mass is not told. 100 is only
// said where nothing is missing to the milligram.
func (b Balance) Percent() (percent float64, ok bool) {
	if b.In <= 0 || !b.Known {
		return 0, false
	}
	lost := b.Unaccounted()
	percent = math.Round(float64(b.In-lost)/float64(b.In)*1e5) / 1e3
	if lost != 0 && percent == 100 {
		if lost > 0 {
			percent = 99.999
		} else {
			percent = 100.001
		}
	}
	return percent, true
}

func (b Balance) add(o Balance) Balance {
	return Balance{
		In: b.In + o.In, Out: b.Out + o.Out, OnHand: b.OnHand + o.OnHand, Culled: b.Culled + o.Culled, Samples: b.Samples + o.Samples,
		WrittenOff: b.WrittenOff + o.WrittenOff, Shrink: b.Shrink + o.Shrink, Ours: b.Ours + o.Ours, Packers: b.Packers + o.Packers,
		Known: b.Known && o.Known, Books: b.Books || o.Books, packers: b.packers || o.packers,
	}
}

// Balance weighs one unit.
func (u *Unit) Balance() Balance {
	b := Balance{Known: true}
	var elsewhere, gone, weighed, count int64
	counted, answered := false, false
	for _, m := range u.Moves {
		in, out := m.To == u.Key, m.From == u.Key
		if m.Unknown && m.How != Rejected && m.How != Recalled {
			b.Known = false
		}
		switch {
		case m.How == Made:
			count += m.MG
		case m.How == Counted:
			counted, count = true, m.MG
		case m.How == Weighed:
			weighed, b.packers = max(weighed, m.MG), true
		case in && (m.How == Returned || m.How == Rejected || m.How == Recalled):
			if u.What() == Lot {
				b.Out -= m.MG
			}
			gone -= m.MG
			count += m.MG
		case in:
			b.In += m.MG
			if u.What() != Lot || m.How == Received {
				count += m.MG // what comes in to be packed is weighed once more in its packages
			}
		case m.How == Culled:
			b.Culled += m.MG
		case m.How == Sampled:
			b.Samples += m.MG
		case m.How == Shrunk:
			b.Shrink += m.MG
		case m.How == WrittenOff:
			b.WrittenOff += m.MG
			count -= m.MG
		case m.How == Elsewhere:
			elsewhere, answered = elsewhere+m.MG, true
		case m.How == Delivered:
			gone += m.MG
			count -= m.MG
		case out:
			b.Out += m.MG
			count -= m.MG
		}
	}
	if u.What() == Delivery && gone > 0 {
		b.load(gone, weighed, elsewhere, answered)
		return b
	}
	b.Books = !counted && count != 0
	b.OnHand = max(count, 0)
	return b
}

// load weighs a load that left: the packer's pack-out where there is one, else the packer's weight, else ours.
func (b *Balance) load(gone, weighed, elsewhere int64, answered bool) {
	b.Ours, b.Packers = b.In, weighed
	switch {
	case answered:
		b.Out = elsewhere
	case b.packers:
		b.Out = weighed
	default:
		b.Out = gone
	}
}
