package record

import (
	"bytes"
	"context"
	"crypto/rand"
	"encoding/base64"
	"fmt"
	"slices"
	"time"

	"latewood/events"
	"latewood/events/canon"
	"latewood/events/civil"
	"latewood/events/ledger"
)

// future is how far ahead of the recorder's clock a record's time may lie.
const future = 2 * time.Minute

// judge does the checks that need the ledger. It fills in the receipt's problems, or that the record is known.
func (r *Recorder) judge(ctx context.Context, it *item, on *run) error {
	a, rc := &it.accepted, it.receipt
	if it.given {
		if before := on.byID[a.ID]; before != nil {
			if it.same(before.typ, before.time, before.data) {
				rc.Known, it.twin = true, before.item
			} else {
				r.refuseOther(it)
			}
			return nil
		}
		before, err := r.stored(ctx, a.ID)
		if err != nil {
			return err
		}
		if before != nil {
			if it.same(before.Envelope.Type, before.Envelope.Time, before.Data) {
				rc.Known, rc.Place, rc.Leaf = true, before.Place, before.Leaf()
			} else {
				r.refuseOther(it)
			}
			return nil
		}
	}
	r.judgeOpening(it, on)
	r.judgeClock(it, on)
	switch a.Kind.Name {
	case "farm.opened":
		it.zone = zoneIn(a.Draft.Data)
	case "record.corrected", "record.withdrawn":
		return r.judgeFollower(ctx, it, on)
	}
	return nil
}

// same reports whether a record with the item's id has its content. Where the writer gave no time, the time is what the
// clock showed, or what the zone made of a date in the data: both may be another by now, and neither is content.
func (it *item) same(typ, time string, data []byte) bool {
	a := &it.accepted
	return typ == a.Draft.Type && (time == a.Draft.Time || it.Draft.Time == "") && bytes.Equal(data, a.Data)
}

func (r *Recorder) refuseOther(it *item) {
	it.refuse("id", it.accepted.ID.String(), say("refuse.id-known"), say("refuse.id-known-instead"))
}

// judgeOpening lets farm.opened be the first record, and only that; and nothing behind ledger.moved.
func (r *Recorder) judgeOpening(it *item, on *run) {
	typ := it.accepted.Draft.Type
	switch opens := it.accepted.Kind.Name == "farm.opened"; {
	case on.size == 0 && !opens:
		it.refuse("type", typ, say("refuse.not-opened"), say("refuse.not-opened-instead"))
	case on.size > 0 && opens:
		it.refuse("type", typ, say("refuse.opened-already"), say("refuse.opened-already-instead"))
	}
	if on.moved {
		it.refuse("type", typ, say("refuse.moved"), say("refuse.moved-instead"))
	}
}

// judgeClock gives the item its recordedtime, and refuses what has not happened yet by the recorder's clock, after the
// device's clock was set right.
func (r *Recorder) judgeClock(it *item, on *run) {
	d := &it.accepted.Draft
	now := r.c.Now()
	it.recorded = on.at(now)
	var offset time.Duration
	if d.DeviceTime != "" {
		if _, sent, err := events.DeviceClock(d.DeviceTime); err == nil {
			offset = now.Sub(sent)
		}
	}
	if it.accepted.Time.Add(offset).After(now.Add(future)) {
		it.refuse("time", d.Time, say("refuse.future", "now", events.RecordedAt(now)), say("refuse.future-instead"))
	}
	if d.NotedTime != "" {
		if noted, err := time.Parse(time.RFC3339, d.NotedTime); err == nil && noted.After(it.recorded) {
			it.refuse("notedtime", d.NotedTime, say("refuse.noted-later", "now", events.RecordedAt(it.recorded)), say("refuse.noted-later-instead"))
		}
	}
}

// judgeFollower refuses a correction or withdrawal that cannot be: of another kind, of a kind that is not corrected, of what
// is withdrawn, or the second follower of one version. What follows something that is not here waits for it.
func (r *Recorder) judgeFollower(ctx context.Context, it *item, on *run) error {
	data := it.accepted.Draft.Data
	target, v, ok := asVersion(it)
	if !ok {
		return nil // refused at the door
	}
	kind, err := r.kindOf(ctx, target, it, on)
	if err != nil {
		return err
	}
	name, _, _ := events.SplitType(data.Get("type").Str)
	switch {
	case kind == "": // it is not here yet and cannot be judged
	case !v.Withdraws && !events.Correctable(kind):
		it.refuse("data.record", target.String(), say("refuse.not-correctable", "kind", kind), say("refuse.not-correctable-instead"))
	case !v.Withdraws && name != kind:
		it.refuse("data.type", data.Get("type").Str, say("refuse.other-kind", "kind", kind), say("refuse.write", "text", events.Standard().Kind(kind).Type()))
	case v.Withdraws && !events.Withdrawable(kind):
		it.refuse("data.record", target.String(), say("refuse.not-withdrawable", "kind", kind), say("refuse.not-correctable-instead"))
	}
	if len(it.receipt.Problems) > 0 {
		return nil
	}
	said, err := r.saidOf(ctx, target, kind, on)
	if err != nil {
		return err
	}
	it.said = said
	versions := make([]Version, len(said))
	for i, s := range said {
		versions[i] = s.Version
	}
	newest, end := latest(target, versions)
	if end != nil {
		it.refuse("data.record", target.String(), say("refuse.withdrawn", "by", end.ID.String()), say("refuse.withdrawn-instead"))
		return nil
	}
	for _, other := range versions {
		if other.Follows == v.Follows {
			instead := say("refuse.write", "text", newest.String())
			if other.Withdraws { // it waits for a version, and still it comes first
				instead = say("refuse.withdrawn-instead")
			}
			it.refuse("data.follows", v.Follows.String(), say("refuse.second-follower", "first", other.ID.String()), instead)
			return nil
		}
	}
	if kind == "farm.opened" && v.Follows == newest {
		it.zone = zoneIn(data.Get("data"))
	}
	return nil
}

// kindOf is the kind of a record that an item is about, empty if it is not here.
func (r *Recorder) kindOf(ctx context.Context, target events.ID, it *item, on *run) (string, error) {
	if target == it.accepted.ID {
		return it.accepted.Kind.Name, nil
	}
	if st := on.byID[target]; st != nil {
		return st.kind, nil
	}
	before, err := r.stored(ctx, target)
	if err != nil || before == nil {
		return "", err
	}
	return before.Kind, nil
}

// saidOf lists what was said about a record, in the ledger and in the run. What was said before the record came, and turned
// out to be of another kind than it, never counts and is left out.
func (r *Recorder) saidOf(ctx context.Context, target events.ID, kind string, on *run) ([]saying, error) {
	// The folds must have seen all that stands before they can say what follows what.
	if err := r.c.Folds.Wait(ctx, on.base.Size()); err != nil {
		return nil, fmt.Errorf("record: %w", err)
	}
	var all []saying
	for _, v := range r.c.Folds.Said(target) {
		s := saying{Version: v}
		var err error
		if s.chains, err = chainNames(v.Chains); err != nil {
			return nil, fmt.Errorf("record: %s: %w", v.ID, err)
		}
		if kind != "" && !v.Withdraws {
			rec, err := r.stored(ctx, v.ID)
			if err != nil {
				return nil, err
			}
			if rec != nil {
				var d events.RecordCorrected
				if err := events.ReadJSON(rec.Data, &d); err != nil {
					return nil, fmt.Errorf("record: %s: %w", v.ID, err)
				}
				s.of, _, _ = events.SplitType(d.Type)
			}
		}
		all = append(all, s)
	}
	all = append(all, on.said[target]...)
	if kind == "" {
		return all, nil
	}
	return slices.DeleteFunc(all, func(s saying) bool { return !s.fits(kind) }), nil
}

// latest walks from a record along its corrections to the newest that hangs together with it. end is the withdrawal of one
// of these, nil while the record stands. A withdrawal of a version that is not here waits like a correction: what comes
// between must still be able to come.
func latest(record events.ID, versions []Version) (newest events.ID, end *Version) {
	newest = record
	for range len(versions) + 1 {
		var next *Version
		for i := range versions {
			v := &versions[i]
			switch {
			case v.Follows != newest || v.ID == newest:
			case v.Withdraws:
				return newest, v
			case next == nil || next.ID.Less(v.ID): // forks come from restores only; the folds take the higher id too
				next = v
			}
		}
		if next == nil {
			break
		}
		newest = next.ID
	}
	return newest, nil
}

// zoneIn is the zone that the data of farm.opened names.
func zoneIn(data canon.Value) *time.Location {
	zone, err := civil.Zone(data.Get("zone").Str)
	if err != nil {
		return nil // refused at the door
	}
	return zone
}

// make splices what depends on the place into a record.
func (r *Recorder) make(ctx context.Context, it *item, on *run) error {
	chains, err := r.chains(ctx, it, on)
	if err != nil {
		return err
	}
	if len(chains) > events.MaxChains {
		it.refuse("data", nil, say("refuse.chains", "n", len(chains), "most", events.MaxChains), say("refuse.chains-instead"))
		return nil
	}
	var salt [16]byte
	if _, err := rand.Read(salt[:]); err != nil {
		return fmt.Errorf("record: random bytes: %w", err)
	}
	d := &it.accepted.Draft
	it.id, it.kind, it.links = it.accepted.ID, it.accepted.Kind.Name, on.continued(chains)
	it.moves, it.picks = it.kind == "ledger.moved", drawnPicks(it.kind, d.Data)
	env := events.Envelope{
		Actor: d.Actor, DeviceTime: d.DeviceTime, Farm: r.c.Farm, ID: it.id.String(), NotedTime: d.NotedTime,
		RecordedTime: events.RecordedAt(it.recorded), Salt: base64.StdEncoding.EncodeToString(salt[:]), Source: d.Source,
		Time: d.Time, Type: d.Type, Chains: events.FormatChains(it.links),
	}
	if env.Source == "" {
		env.Source = "/farms/" + r.c.Farm + "/" + it.Device
	}
	if !it.Batch.IsZero() {
		env.Batch = it.Batch.String()
	}
	it.body = env.AppendCanonical(make([]byte, 0, len(it.accepted.Data)+512+len(env.Chains)), it.accepted.Data)
	if len(it.body) > events.MaxBytes {
		it.refuse("data", nil, say("refuse.too-many-bytes", "n", len(it.body), "most", events.MaxBytes), say("refuse.too-many-bytes-instead"))
	}
	it.leaf = ledger.LeafHash(it.body)
	return nil
}

// chains are the record's own, and for what follows a record also those of it and of each earlier version, and of a pick those
// of every lot or load that named it before: who walks a lot's chain sees what became of its picks.
func (r *Recorder) chains(ctx context.Context, it *item, on *run) ([]string, error) {
	a := it.accepted
	lists := [][]string{a.Kind.OwnChains(a.ID, a.Draft.Data)}
	target, _, ok := asVersion(it)
	if !ok {
		return lists[0], nil
	}
	if st := on.byID[target]; st != nil {
		lists = append(lists, st.chains)
	} else if before, err := r.stored(ctx, target); err != nil {
		return nil, err
	} else if before != nil {
		names, err := chainNames(before.Envelope.Chains)
		if err != nil {
			return nil, fmt.Errorf("record: place %d: %w", before.Place, err)
		}
		lists = append(lists, names)
	}
	for _, s := range it.said {
		lists = append(lists, s.chains)
	}
	lists = append(lists, on.base.drawn[target], on.drawn[target])
	return events.MergeChains(lists...), nil
}

func chainNames(chains string) ([]string, error) {
	links, err := events.ParseChains(chains)
	if err != nil {
		return nil, err
	}
	out := make([]string, len(links))
	for i, l := range links {
		out[i] = l.Chain
	}
	return out, nil
}

// stored reads the record with an id back, nil if there is none.
func (r *Recorder) stored(ctx context.Context, id events.ID) (*events.Record, error) {
	place, ok, err := r.c.Index.Lookup(id)
	if err != nil {
		return nil, fmt.Errorf("record: the index of ids: %w", err)
	}
	if !ok {
		return nil, nil
	}
	for e, err := range r.c.Log.Read(ctx, place, place) {
		if err != nil {
			return nil, fmt.Errorf("record: reading place %d: %w", place, err)
		}
		return events.ParseRecord(e.Place, e.Body)
	}
	return nil, &ledger.HoleError{Want: place}
}
