package record

import (
	"time"

	"latewood/events"
	"latewood/events/ledger"
)

// made is a record with all that depends on its place.
type made struct {
	id       events.ID
	kind     string
	body     []byte
	leaf     ledger.Hash
	links    []events.Link
	recorded time.Time
	picks    []events.ID    // that a lot or load was made of
	moves    bool           // the ledger goes on elsewhere
	zone     *time.Location // that the farm has from here on; nil: as before
}

// run is the records that are made on top of the State and not appended yet: what the next of them is judged by and
// continues. It is thrown away if they do not make it.
type run struct {
	base     *State
	size     uint64
	recorded time.Time
	moved    bool
	heads    map[string]head
	byID     map[events.ID]*standing
	said     map[events.ID][]saying // by the record that it is about
	drawn    map[events.ID][]string // as the State's
	items    []*item                // those that are to be appended, in order
}

// standing is what is left of an item that counts as recorded: enough to judge by.
type standing struct {
	item            *item // nil in a dry run
	kind, typ, time string
	data            []byte
	chains          []string
}

// saying is a correction or withdrawal, and what a later one of the same record has to know of it.
type saying struct {
	Version
	of     string // the kind that a correction takes its record for
	chains []string
}

// fits reports whether it can be of a record of a kind.
func (s *saying) fits(kind string) bool {
	if s.Withdraws {
		return events.Withdrawable(kind)
	}
	return s.of == kind && events.Correctable(kind)
}

func (s *State) next() *run {
	return &run{
		base: s, size: s.Size(), recorded: s.Recorded, moved: s.Abandoned != "", heads: map[string]head{},
		byID: map[events.ID]*standing{}, said: map[events.ID][]saying{}, drawn: map[events.ID][]string{},
	}
}

// at is the recordedtime of the next record by a clock: whole milliseconds, and never less than the one before it. Clocks
// go back; recordedtime does not.
func (on *run) at(now time.Time) time.Time {
	now = now.UTC().Truncate(time.Millisecond)
	if now.Before(on.recorded) {
		return on.recorded
	}
	return now
}

// continued are the links with which the next record stands in chains.
func (on *run) continued(chains []string) []events.Link {
	out := make([]events.Link, len(chains))
	for i, c := range chains {
		h, ok := on.heads[c]
		if !ok {
			h = on.base.heads[c]
		}
		out[i] = events.Link{Chain: c, Place: h.place + 1, Prev: h.leaf}
	}
	return out
}

// put adds an item whose record is made.
func (on *run) put(it *item) {
	on.size++
	on.recorded = it.recorded
	on.moved = on.moved || it.moves
	chains := make([]string, len(it.links))
	for i, l := range it.links {
		on.heads[l.Chain] = head{l.Place, it.leaf}
		chains[i] = l.Chain
	}
	if len(it.picks) > 0 {
		drawInto(on.drawn, it.picks, drawnInto(it.links))
	}
	d := &it.accepted.Draft
	st := &standing{kind: it.kind, typ: d.Type, time: d.Time, data: it.accepted.Data, chains: chains}
	if it.job.dry == nil {
		st.item = it
	}
	on.byID[it.id] = st
	on.items = append(on.items, it)
	if target, v, ok := asVersion(it); ok {
		of, _, _ := events.SplitType(d.Data.Get("type").Str)
		on.said[target] = append(on.said[target], saying{v, of, chains})
	}
}

// asVersion reads an item as something said about a record.
func asVersion(it *item) (target events.ID, v Version, ok bool) {
	kind := it.accepted.Kind.Name
	if kind != "record.corrected" && kind != "record.withdrawn" {
		return target, v, false
	}
	data := it.accepted.Draft.Data
	target, err1 := events.ParseID(data.Get("record").Str)
	follows, err2 := events.ParseID(data.Get("follows").Str)
	return target, Version{ID: it.accepted.ID, Follows: follows, Withdraws: kind == "record.withdrawn"}, err1 == nil && err2 == nil
}
