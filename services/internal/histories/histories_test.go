package histories

import (
	"bytes"
	"context"
	"fmt"
	"maps"
	"math/rand/v2"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"go.uber.org/goleak"

	"latewood/events"
	"latewood/events/civil"
	"latewood/projections"
)

func TestMain(m *testing.M) {
	// A machine's own zone must not show in anything. This one has an offset that some of the farms have too.
	zone, err := civil.Zone("Pacific/Honolulu")
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
	time.Local = zone
	goleak.VerifyTestMain(m)
}

// counted is how many histories the property is held against, and how long the longest are.
func counted() (histories, longest int) {
	if os.Getenv("LATEWOOD_PROOF") == "1" {
		return 1000, 240
	}
	return 25, 120
}

// Histories of every kind of record, with corrections of corrections, withdrawals, references that come late, equal times
// and devices whose clocks are off, arrive in several orders, some of it twice. Nothing is refused but what records.md
// refuses; in every order the folds say the same; and each ledger keeps the laws of house.check.
//
// In a third of the histories writers contradict each other. There it depends on the order who comes first, so different
// orders may say different things; the model says which of them are taken.
//
// The farm's zone is not corrected in these histories: records that tell only a date get their time from the zone that the
// recorder knew when they came, and that is how it should be.
func TestOrders(t *testing.T) {
	t.Parallel()
	histories, longest := counted()
	n := &tally{kinds: map[string]int{}, reasons: map[string]int{}, corrected: map[string]int{}, withdrawn: map[string]int{}}
	// The group ends only when all histories have.
	t.Run("seed", func(t *testing.T) {
		for seed := range histories {
			t.Run(fmt.Sprint(seed), func(t *testing.T) {
				t.Parallel()
				inOrders(t, uint64(seed), longest, n)
			})
		}
	})
	t.Logf("counts: %d histories in %d orders: %d records sent, %d recorded, %d known, %d refused; %d snapshots with their tails, %d moments strictly known, %d by claim",
		n.histories, n.orders, n.sent, n.records, n.known, n.refused, n.snapshots, n.moments, n.claimed)
	t.Logf("counts: refused: %s", counts(n.reasons))
	t.Logf("counts: kinds: %s", counts(n.kinds))
	t.Logf("counts: %d kinds corrected, %d withdrawn", len(n.corrected), len(n.withdrawn))
	for _, k := range events.Standard().Kinds() {
		if n.kinds[k.Name] == 0 && k.Name != "ledger.moved" { // behind which nothing comes
			t.Errorf("no history had a %s", k.Name)
		}
		if events.Correctable(k.Name) && k.Name != "farm.opened" && n.corrected[k.Name] == 0 {
			t.Errorf("no history corrected a %s", k.Name)
		}
		if events.Withdrawable(k.Name) && n.withdrawn[k.Name] == 0 {
			t.Errorf("no history withdrew a %s", k.Name)
		}
	}
}

func counts(m map[string]int) string {
	var parts []string
	for _, k := range slices.Sorted(maps.Keys(m)) {
		parts = append(parts, fmt.Sprintf("%s %d", k, m[k]))
	}
	return strings.Join(parts, ", ")
}

func inOrders(t *testing.T, seed uint64, longest int, n *tally) {
	r := rand.New(rand.NewPCG(seed, 11))
	m := makeHistory(seed, 20+r.IntN(longest-19))
	if r.IntN(3) == 0 { // a diary: everything was noted at some time before it came
		for _, e := range m.entries {
			e.draft.NotedTime = stamp(arrival.Add(-time.Duration(r.IntN(1000)) * 24 * time.Hour))
		}
	}
	type outcome struct {
		order string
		set   string
		says  []byte
		claim []byte
	}
	by := arrival.Add(-time.Duration(r.IntN(1000)) * 24 * time.Hour)
	var outcomes []outcome
	for _, o := range orders(m.entries, r) {
		snapshot := snapshotPath(t)
		h := build(t, snapshot)
		h.record(retried(o.entries, r), r, n)
		h.check(snapshot, r, n)
		out := outcome{order: o.name, says: h.says()}
		var ids []string
		for _, rec := range h.records() {
			ids = append(ids, rec.Envelope.ID+" "+string(rec.Data))
		}
		slices.Sort(ids)
		out.set = strings.Join(ids, "\n")
		if m.entries[0].draft.NotedTime != "" { // then who knew what when is a function of the records as well
			known, assumed, err := h.proj.AsKnown(context.Background(), projections.Claim(by))
			if err != nil || assumed != 0 {
				t.Fatalf("claimed: %v, %d assumed", err, assumed)
			}
			out.claim = says(t, known)
		}
		outcomes = append(outcomes, out)
	}
	n.Lock()
	n.histories++
	n.Unlock()
	for i, a := range outcomes {
		if !m.forks && a.set != outcomes[0].set {
			t.Fatalf("%s and %s recorded different sets, and nobody contradicted anybody", outcomes[0].order, a.order)
		}
		for _, b := range outcomes[:i] {
			if a.set != b.set {
				continue
			}
			if !bytes.Equal(a.says, b.says) {
				t.Fatalf("%s and %s say different things:\n%s", b.order, a.order, diff(b.says, a.says))
			}
			if !bytes.Equal(a.claim, b.claim) {
				t.Fatalf("%s and %s, as claimed to be known by %v, say different things:\n%s", b.order, a.order, by, diff(b.claim, a.claim))
			}
			n.Lock()
			if a.claim != nil {
				n.claimed++
			}
			n.Unlock()
		}
	}
}
