package holds

import (
	"slices"
	"strings"
	"time"

	"latewood/events"
	"latewood/events/civil"
	"latewood/events/words"
	"latewood/projections"
)

// A Doc is the answer of the whole farm.
type Doc struct {
	At      string       `json:"at"`
	Blocks  []BlockHolds `json:"blocks"` // by code
	Heard   []Heard      `json:"heard"`  // by device
	Caution string       `json:"caution"`
}

// Heard is a device and when the ledger last had something from it: what a phone has not sent yet is in no answer.
type Heard struct {
	Device  string `json:"device"`
	Last    string `json:"last,omitempty"`
	Waiting int    `json:"waiting"` // entries that it holds back, as far as it told
}

// Holds answers for every block of a Book at an instant. It lists the devices that sent a devicetime; whoever knows which
// are paired, and what waits on them, adds that.
func Holds(b *projections.Book, at time.Time) Doc {
	zone := b.Zone()
	d := Doc{At: civil.FormatTime(at.In(zone)), Blocks: []BlockHolds{}, Heard: heard(b, zone), Caution: words.Say("holds.caution")}
	for _, code := range b.Keys(projections.Block) {
		s := Of(b, code)
		if len(s.Sprays) > 0 || b.View(projections.Key{Class: projections.Block, Code: code}).HasBlock(code) {
			d.Blocks = append(d.Blocks, s.At(at, zone))
		}
	}
	return d
}

// heard lists the devices that sent a devicetime and the recordedtime of the last record of each.
func heard(b *projections.Book, zone *time.Location) []Heard {
	last := map[string]time.Time{}
	see := func(r *events.Record) {
		if r == nil || r.Envelope.DeviceTime == "" {
			return
		}
		device := r.Envelope.Source[strings.LastIndex(r.Envelope.Source, "/")+1:]
		if r.Recorded.After(last[device]) {
			last[device] = r.Recorded
		}
	}
	for _, f := range b.Facts() {
		see(f.Record)
		see(f.Withdrawn)
		for _, c := range f.Corrections {
			see(c)
		}
	}
	out := []Heard{}
	for device, t := range last {
		out = append(out, Heard{Device: device, Last: civil.FormatTime(t.In(zone))})
	}
	slices.SortFunc(out, func(a, b Heard) int { return strings.Compare(a.Device, b.Device) })
	return out
}

// Due lists what waits for somebody in the block at an instant: plans past their until, sprays begun on an earlier day
// whose end is not recorded, and sprays whose label must be read.
func (s *State) Due(at time.Time, zone *time.Location) []Due {
	moment := instant(at)
	today := civil.DateOf(at, zone)
	var out []Due
	for i := range s.Sprays {
		spray := &s.Sprays[i]
		if moment >= spray.Last || len(spray.Spans) == 0 {
			continue
		}
		since := spray.Spans[0].From
		one := s.Only(spray.ID).At(at, zone)
		d := Due{Record: spray.ID, Since: since.text(zone)}
		names := product("")
		if len(spray.Mix) > 0 {
			names = product(spray.Mix[0].Product)
		}
		switch worst := min(one.Pick.Status.rank(), one.Enter.Status.rank()); Statuses()[worst] {
		case Planned:
			if spray.Kind != "spray.planned" || spray.Due == 0 || moment < spray.Due {
				continue
			}
			d.What, d.Words = "plan-overdue", words.Say("holds.due-plan", "product", names, "until", spray.Due.text(zone))
		case InProgress:
			if spray.Kind != "spray.begun" || civil.DateOf(since.Time(zone), zone) == today {
				continue
			}
			d.What, d.Words = "spray-open", words.Say("holds.due-open", "product", names, "since", d.Since)
		case ReadTheLabel:
			if spray.Kind == "spray.planned" || spray.Kind == "spray.begun" {
				continue // its own line tells
			}
			d.What, d.Since = "read-the-label", spray.Spans[0].Until.text(zone)
			d.Words = words.Say("holds.due-read", "product", names, "ended", d.Since)
		default:
			continue
		}
		out = append(out, d)
	}
	return out
}
