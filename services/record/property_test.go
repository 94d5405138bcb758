package record_test

import (
	"context"
	"errors"
	"fmt"
	"testing"
	"time"

	"pgregory.net/rapid"

	"latewood/events"
	"latewood/events/ledger"
	"latewood/services/record"
)

// tally counts what the property met, over all of its cases.
type tally struct{ cases, records, known, refused, unknown, lost, corrections, restarts int }

// Random calls, some of them lost, some sent again, by a clock that jumps: the committer's state is that of the ledger,
// every chain hangs together, and every acknowledged record stands once, where its receipt says.
func TestHistories(t *testing.T) {
	t.Parallel()
	var n tally
	rapid.Check(t, func(rt *rapid.T) { history(t, rt, &n) })
	t.Logf("counts: %d histories, %d records; %d times known, %d refused, %d outcomes unknown, %d answers lost, %d corrections and withdrawals, %d restarts",
		n.cases, n.records, n.known, n.refused, n.unknown, n.lost, n.corrections, n.restarts)
}

func history(t *testing.T, rt *rapid.T, n *tally) {
	n.cases++
	r := newRig(t)
	defer func() { r.stop() }()
	told := map[string]record.Receipt{} // by id, the first receipt
	type sent struct {
		p       record.Proposal
		unknown bool
	}
	var all []sent // everything that was ever sent with an id, for sending again
	ids := 0
	number := func(max int) int { return rapid.IntRange(0, max).Draw(rt, "n") }
	fresh := func() string { ids++; return id(ids) }
	// Corrections follow something that was sent: often the newest, sometimes anything.
	some := func() string {
		if ids == 0 || number(9) == 0 {
			return id(1000 + number(5)) // something that never comes, or not yet
		}
		return id(1 + number(ids-1))
	}
	make1 := func() record.Proposal {
		blocks := []string{"north", "south", "east", "west"}[:1+number(3)]
		switch number(9) {
		case 0:
			n.corrections++
			return correction(fresh(), some(), some(), picked(float64(1+number(50)), blocks...))
		case 1:
			n.corrections++
			target := some()
			return correction(fresh(), target, target, picked(float64(1+number(50)), blocks...))
		case 2:
			n.corrections++
			return withdrawal(fresh(), some(), some())
		case 3:
			return proposal(fresh(), "2026-05-02", sprayed(blocks...))
		case 4:
			return pick("", float64(1+number(3)), blocks...) // without an id: a new record each time
		case 5:
			p := pick("", -1)
			return p
		case 6:
			if len(all) > 0 { // once more, as it was or with other data
				p := all[number(len(all)-1)].p
				if number(3) == 0 {
					p.Draft.Data = events.Encode(picked(1234))
				}
				return p
			}
		case 7:
			p := pick(fresh(), 3)
			p.Draft.Time = r.clock.now().Add(time.Duration(number(4)-2) * time.Hour).Format(time.RFC3339)
			return p
		}
		return pick(fresh(), float64(1+number(50)), blocks...)
	}
	acknowledge := func(p record.Proposal, rc record.Receipt) {
		if len(rc.Problems) > 0 {
			n.refused++
			if rc.Place != 0 {
				rt.Fatalf("refused, with a place: %+v", rc)
			}
			return
		}
		if rc.Place == 0 || p.Draft.ID != "" && rc.ID.String() != p.Draft.ID {
			rt.Fatalf("sent %s, got %+v", p.Draft.ID, rc)
		}
		if rc.Known {
			n.known++
		}
		was, before := told[rc.ID.String()]
		if before && (!rc.Known || was.Place != rc.Place || was.Leaf != rc.Leaf) {
			rt.Fatalf("told %+v, then %+v", was, rc)
		}
		if !before {
			told[rc.ID.String()] = rc
		}
	}
	send := func(ps []record.Proposal) {
		out, err := r.rec.Record(context.Background(), ps)
		for i, p := range ps {
			if p.Draft.ID != "" {
				all = append(all, sent{p, err != nil})
			}
			if err == nil {
				acknowledge(p, out[i])
			}
		}
		if err != nil {
			if !errors.Is(err, ledger.ErrUnknownOutcome) && !errors.Is(err, ledger.ErrStore) {
				rt.Fatalf("record: %v", err)
			}
			n.unknown++
		}
	}
	send([]record.Proposal{proposal("", "2008-01-01", opened())})
	for range 3 + number(15) {
		switch number(7) {
		case 0: // the clock jumps
			r.clock.set(day.Add(time.Duration(number(200)-100) * time.Minute))
		case 1: // answers get lost, up to more than Settle's patience
			for range 1 + number(3) {
				n.lost++
				r.log.LoseAnswer(number(1) == 0)
			}
		case 2:
			r.log.Refuse()
		case 3: // the program ends and starts again, from the saved state
			n.restarts++
			r.stop()
			if len(told) == int(r.state.Size()) { // else an append is in doubt, and the end of the ledger is read anew
				checkState(t, r.log, r.state)
			}
			state := record.NewState()
			for _, rec := range r.records() {
				if err := state.Apply(rec); err != nil {
					rt.Fatal(err)
				}
				if _, ok, _ := r.index.Lookup(rec.ID); !ok {
					_ = r.index.Add(rec.ID, rec.Place)
				}
			}
			r = &rig{t: t, log: r.log, index: r.index, folds: r.folds, state: state, clock: r.clock}
			r.start()
		}
		size := 1 + number(3)
		if number(3) == 0 {
			size = 17 + number(20)
		}
		ps := make([]record.Proposal, size)
		for i := range ps {
			ps[i] = make1()
		}
		send(ps)
	}
	// What nobody could say is sent again, once the faults are over.
	for range 8 {
		_, _ = r.rec.Record(context.Background(), []record.Proposal{pick("", 1)})
	}
	for i := range all {
		if all[i].unknown {
			send([]record.Proposal{all[i].p})
		}
	}
	r.stop()
	records := r.records()
	n.records += len(records)
	checkState(t, r.log, r.state)
	seen := map[string]uint64{}
	last := time.Time{}
	for _, rec := range records {
		if first, twice := seen[rec.Envelope.ID]; twice {
			rt.Fatalf("%s stands at %d and at %d", rec.ID, first, rec.Place)
		}
		seen[rec.Envelope.ID] = rec.Place
		if rec.Recorded.Before(last) {
			rt.Fatalf("recordedtime fell at %d", rec.Place)
		}
		last = rec.Recorded
	}
	for id, rc := range told {
		if seen[id] != rc.Place || ledger.Hash(records[rc.Place-1].Leaf()) != rc.Leaf {
			rt.Fatalf("told that %s stands at %d; it stands at %d", id, rc.Place, seen[id])
		}
	}
	if err := forks(records); err != nil {
		rt.Fatal(err)
	}
	if t.Failed() {
		rt.Fatal("see above")
	}
}

// forks finds two records that follow one version.
func forks(records []*events.Record) error {
	first := map[[2]string]string{}
	for _, rec := range records {
		data, err := events.Standard().Decode(rec)
		if err != nil {
			return err
		}
		var key [2]string
		switch d := data.(type) {
		case *events.RecordCorrected:
			key = [2]string{d.Record, d.Follows}
		case *events.RecordWithdrawn:
			key = [2]string{d.Record, d.Follows}
		default:
			continue
		}
		if other := first[key]; other != "" {
			return fmt.Errorf("%s and %s both follow %s of %s", other, rec.ID, key[1], key[0])
		}
		first[key] = rec.ID.String()
	}
	return nil
}
