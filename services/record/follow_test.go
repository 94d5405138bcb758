package record_test

import (
	"strings"
	"testing"

	"latewood/events"
	"latewood/services/record"
)

func flush() *events.FlushSeen { return &events.FlushSeen{Where: where("north"), Stage: "dormant"} }

func TestCorrections(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.open()
	r.one(pick(id(1), 1))
	t.Run("one after the other", func(t *testing.T) {
		r.one(correction(id(2), id(1), id(1), picked(2)))
		r.one(correction(id(3), id(1), id(2), picked(3)))
	})
	t.Run("a second follower is shown the first, and what to follow", func(t *testing.T) {
		for follows, first := range map[string]string{id(1): id(2), id(2): id(3)} {
			p := r.refused(correction(id(4), id(1), follows, picked(4)), "data.follows", "refuse.second-follower")
			if !strings.Contains(p.Why.String(), first) || !strings.Contains(p.Instead.String(), id(3)) {
				t.Errorf("following %s: %s", follows, p.Error())
			}
			r.refused(withdrawal(id(4), id(1), follows), "data.follows", "refuse.second-follower")
		}
	})
	t.Run("the same correction again is known", func(t *testing.T) {
		if rc := r.one(correction(id(2), id(1), id(1), picked(2))); !rc.Known || rc.Place != 3 {
			t.Errorf("got %+v", rc)
		}
	})
	t.Run("another kind", func(t *testing.T) {
		p := r.refused(correction("", id(1), id(3), flush()), "data.type", "refuse.other-kind")
		if !strings.Contains(p.Error(), "fruit.picked.v1") {
			t.Errorf("the kind to write is not named: %s", p.Error())
		}
	})
	t.Run("a correction is not corrected", func(t *testing.T) {
		for _, data := range []any{picked(4), flush()} {
			r.refused(correction("", id(2), id(2), data), "data.record", "refuse.not-correctable")
		}
		r.refused(withdrawal("", id(2), id(2)), "data.record", "refuse.not-withdrawable")
	})
	t.Run("nor itself", func(t *testing.T) {
		r.refused(correction(id(50), id(50), id(50), picked(4)), "data.record", "refuse.not-correctable")
		r.refused(withdrawal(id(50), id(50), id(50)), "data.record", "refuse.not-withdrawable")
	})
	t.Run("withdrawn is final", func(t *testing.T) {
		r.one(withdrawal(id(5), id(1), id(3)))
		for _, follows := range []string{id(1), id(2), id(3), id(5), id(77)} {
			p := r.refused(correction("", id(1), follows, picked(6)), "data.record", "refuse.withdrawn")
			if !strings.Contains(p.Error(), id(5)) {
				t.Errorf("the withdrawal is not named: %s", p.Error())
			}
			r.refused(withdrawal("", id(1), follows), "data.record", "refuse.withdrawn")
		}
		if rc := r.one(withdrawal(id(5), id(1), id(3))); !rc.Known {
			t.Errorf("the same withdrawal again: %+v", rc)
		}
		r.refused(correction("", id(5), id(5), picked(6)), "data.record", "refuse.not-correctable")
		r.refused(withdrawal("", id(5), id(5)), "data.record", "refuse.not-withdrawable")
	})
	r.check()
}

// Withdrawals and corrections of records that are not here yet wait, and nothing that comes between is refused.
func TestWaiting(t *testing.T) {
	t.Parallel()
	p1, c2, c3, w4 := pick(id(1), 1), correction(id(2), id(1), id(1), picked(2)), correction(id(3), id(1), id(2), picked(3)), withdrawal(id(4), id(1), id(3))
	all := []record.Proposal{p1, c2, c3, w4}
	n := 0
	permute(len(all), func(order []int) {
		n++
		for _, together := range []bool{false, true} {
			r := newRig(t)
			r.open()
			var ps []record.Proposal
			for _, i := range order {
				ps = append(ps, all[i])
			}
			if together {
				for i, rc := range r.send(ps...) {
					if len(rc.Problems) > 0 {
						t.Errorf("order %v in one call: number %d is refused: %v", order, i, rc.Problems)
					}
				}
			} else {
				for _, p := range ps {
					if rc := r.send(p)[0]; len(rc.Problems) > 0 {
						t.Errorf("order %v: %s is refused: %v", order, p.Draft.ID, rc.Problems)
					}
				}
			}
			// Whatever the order: all four stand, the fact is withdrawn, and nothing follows any more.
			r.refused(correction("", id(1), id(1), picked(9)), "data.record", "refuse.withdrawn")
			f := r.folds.book.Fact(r.at(2).ID)
			if f == nil || f.Stands() || len(f.Corrections) != 2 {
				t.Errorf("order %v: the fact is %+v", order, f)
			}
			r.check()
		}
	})
	t.Logf("counts: %d orders, each one by one and in one call", n)
}

// permute calls f with every order of n things.
func permute(n int, f func([]int)) {
	order := make([]int, 0, n)
	used := make([]bool, n)
	var step func()
	step = func() {
		if len(order) == n {
			f(order)
			return
		}
		for i := range n {
			if !used[i] {
				used[i] = true
				order = append(order, i)
				step()
				order = order[:len(order)-1]
				used[i] = false
			}
		}
	}
	step()
}

// Only the first of two that follow a version which is not here yet is taken.
func TestWaitingFork(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.open()
	r.one(correction(id(3), id(1), id(2), picked(3)))
	r.refused(correction(id(4), id(1), id(2), picked(4)), "data.follows", "refuse.second-follower")
	r.refused(withdrawal(id(4), id(1), id(2)), "data.follows", "refuse.second-follower")
	r.one(withdrawal(id(5), id(1), id(7)))
	r.refused(correction(id(6), id(1), id(7), picked(6)), "data.follows", "refuse.second-follower")
	r.one(pick(id(1), 1))
	r.refused(correction(id(4), id(1), id(2), picked(4)), "data.follows", "refuse.second-follower")
	r.one(correction(id(2), id(1), id(1), picked(2)))
	r.check()
}

func TestNotCorrectable(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	rc := r.open()
	sum := strings.Repeat("0", 64)
	base64 := "47DEQpj8HBSa+/TImW+5JCeuQeRkm5NMpJWZG3hSuFU="
	who := "w_00112233445566778899aabbccddeeff"
	always := []any{
		&events.RecordsReviewed{Records: []string{id(1)}, Reviewer: who},
		&events.ImportMade{File: events.ImportedFile{Name: "a.csv", SHA256: sum}},
		&events.ReportIssued{Kind: "yield", Hash: sum, Root: base64},
		&events.DrillHeld{Of: "lot", Started: "2026-05-01", Ended: "2026-05-01"},
		&events.EvidenceGiven{For: events.EvidenceFor{Block: "north"}, Heads: []events.Head{{Chain: "inputs/north", Place: 1, Leaf: base64}}},
		&events.KeyChanged{OldKey: "a", NewKey: "b"},
		&events.LedgerRestored{},
		&events.AccessGranted{Grant: "g"}, &events.AccessViewed{Grant: "g"}, &events.AccessEnded{Grant: "g"},
		&events.PersonForgotten{Who: who},
	}
	at := func(data any) record.Proposal {
		p := proposal("", "2026-05-30T00:00:00Z", data)
		if k := events.Standard().KindOf(data); len(k.TimeFrom) > 0 {
			p.Draft.Time = ""
		}
		return p
	}
	for _, data := range always {
		rec := r.at(r.one(at(data)).Place)
		// The door refuses a correction of such a type; the recorder one of another type.
		if rc := r.send(correction("", rec.ID.String(), rec.ID.String(), data))[0]; len(rc.Problems) == 0 {
			t.Errorf("%s was corrected", rec.Kind)
		}
		r.refused(correction("", rec.ID.String(), rec.ID.String(), picked(1)), "data.record", "refuse.not-correctable")
		r.refused(withdrawal("", rec.ID.String(), rec.ID.String()), "data.record", "refuse.not-withdrawable")
	}
	corrected := []any{
		&events.RuleAdopted{Name: "rule", Rule: "text", Hash: sum, From: "2026-01-01"},
		&events.SeasonNamed{Season: "2026", From: "2025-10-01", To: "2026-09-30"},
		&events.SettingAdopted{Name: "bearing-age", Value: events.Raw("4"), From: "2026-01-01"},
	}
	for _, data := range corrected {
		rec := r.at(r.one(at(data)).Place)
		r.refused(withdrawal("", rec.ID.String(), rec.ID.String()), "data.record", "refuse.not-withdrawable")
		r.one(correction("", rec.ID.String(), rec.ID.String(), data))
	}
	r.refused(withdrawal("", rc.ID.String(), rc.ID.String()), "data.record", "refuse.not-withdrawable")
	r.check()
	t.Logf("counts: %d kinds not corrected, %d corrected but not withdrawn", len(always), len(corrected)+1)
}

func TestFoldsThatStopped(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.open()
	r.one(pick(id(1), 1))
	r.folds.err = errDisk
	if _, err := r.rec.Record(t.Context(), []record.Proposal{correction(id(2), id(1), id(1), picked(2))}); err == nil {
		t.Fatal("a correction was judged without knowing what follows what")
	}
	r.one(pick(id(3), 3)) // what happened is recorded all the same
	r.folds.err = nil
	if rc := r.one(correction(id(2), id(1), id(1), picked(2))); rc.Known {
		t.Errorf("got %+v", rc)
	}
	r.check()
}

// A correction that came before its record, and took it for one of another kind, never counts and stands in nobody's way;
// nor does a withdrawal of what is not withdrawn.
func TestWaitingForAnotherKind(t *testing.T) {
	t.Parallel()
	setting := &events.SettingAdopted{Name: "bearing-age", Value: events.Raw("4"), From: "2026-01-01"}
	for _, together := range []bool{false, true} {
		r := newRig(t)
		r.open()
		early := []record.Proposal{
			correction(id(11), id(1), id(1), flush()),
			withdrawal(id(12), id(2), id(2)),
			pick(id(1), 1),
			proposal(id(2), "2026-01-01", setting),
			correction(id(13), id(1), id(1), picked(2, "south")),
			correction(id(14), id(2), id(2), setting),
		}
		if together {
			for i, rc := range r.send(early...) {
				if len(rc.Problems) > 0 {
					t.Errorf("number %d in one call: %v", i, rc.Problems)
				}
			}
		} else {
			for _, p := range early {
				r.one(p)
			}
		}
		if got := r.chains(6); strings.Join(got, " ") != "picks/north picks/south" {
			t.Errorf("the correction stands in %v", got)
		}
		r.refused(correction(id(15), id(1), id(1), picked(3)), "data.follows", "refuse.second-follower")
		r.refused(correction(id(16), id(1), id(13), flush()), "data.type", "refuse.other-kind")
		r.one(withdrawal(id(17), id(1), id(13)))
		r.check()
	}
}
