package record_test

import (
	"context"
	"fmt"
	"strings"
	"testing"
	"time"

	"latewood/events"
	"latewood/events/canon"
	"latewood/events/ledger"
	"latewood/services/record"
)

func TestReceipt(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	var all []record.Receipt
	all = append(all, r.open())
	for i := range 40 {
		all = append(all, r.one(pick("", float64(i+1))))
	}
	all = append(all, r.send(pick("", 50), pick("", 51), pick("", 52))...)
	records := r.records()
	if len(records) != len(all) {
		t.Fatalf("%d receipts, %d records", len(all), len(records))
	}
	for i, rc := range all {
		rec := records[i]
		if rc.Place != uint64(i+1) || rc.Place != rec.Place || rc.ID != rec.ID || rc.Leaf != ledger.Hash(rec.Leaf()) || rc.Known {
			t.Errorf("receipt %+v, record %d %s %v", rc, rec.Place, rec.ID, ledger.Hash(rec.Leaf()))
		}
		if rec.ID.Version() != 7 {
			t.Errorf("place %d: a record by hand got an id of version %d, want 7", rec.Place, rec.ID.Version())
		}
		if got, want := rec.Envelope.Source, "/farms/tern-hollow/cli"; got != want {
			t.Errorf("source %q, want %q", got, want)
		}
		if len(rec.Envelope.Salt) != 24 || i > 0 && rec.Envelope.Salt == records[i-1].Envelope.Salt {
			t.Errorf("place %d: salt %q", rec.Place, rec.Envelope.Salt)
		}
	}
	h, leaf := r.rec.Head(), records[0].Leaf()
	if h.Size != uint64(len(all)) || h.Origin != fmt.Sprintf("latewood/tern-hollow-%x", leaf[:4]) {
		t.Errorf("head %+v", h)
	}
	var f ledger.Frontier
	for _, rec := range records {
		f.Append(rec.Leaf())
	}
	if h.Root != f.Root() {
		t.Errorf("root %v, want %v", h.Root, f.Root())
	}
	r.check()
}

func TestKnownIDs(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.open()
	first := r.one(pick(id(1), 12.5))
	r.one(pick(id(2), 3))
	t.Run("the same again", func(t *testing.T) {
		again := r.one(pick(id(1), 12.5))
		if !again.Known || again.Place != first.Place || again.Leaf != first.Leaf || again.ID != first.ID {
			t.Errorf("got %+v, want place %d of the first, known", again, first.Place)
		}
	})
	t.Run("capitals and an equal text of the data", func(t *testing.T) {
		p := pick(strings.ToUpper(id(1)), 12.5)
		p.Draft.Data, _ = canon.Parse([]byte(`{"mass":{"unit":"kg","value":12.50},"where":[{"block":"north"}]}`))
		p.Draft.Type = "fruit.picked"
		if again := r.one(p); !again.Known || again.Place != first.Place {
			t.Errorf("got %+v, want the first place %d, known", again, first.Place)
		}
	})
	t.Run("another actor, device or note of when", func(t *testing.T) {
		p := pick(id(1), 12.5)
		p.Device, p.Draft.Actor, p.Draft.NotedTime = "import", "w_00112233445566778899aabbccddeeff", "2026-05-02T00:00:00Z"
		if again := r.one(p); !again.Known || again.Place != first.Place {
			t.Errorf("got %+v, want the first place %d, known", again, first.Place)
		}
	})
	t.Run("other data", func(t *testing.T) { r.refused(pick(id(1), 12.6), "id", "refuse.id-known") })
	t.Run("another time", func(t *testing.T) {
		p := pick(id(1), 12.5)
		p.Draft.Time = "2026-05-01T10:00:01-10:00"
		r.refused(p, "id", "refuse.id-known")
	})
	t.Run("another kind", func(t *testing.T) {
		r.refused(proposal(id(1), "2026-05-01T10:00:00-10:00", &events.FlushSeen{Where: where("north"), Stage: "dormant"}), "id", "refuse.id-known")
	})
	t.Run("in one call", func(t *testing.T) {
		out := r.send(pick(id(3), 1), pick(id(3), 1), pick(id(3), 2), pick(id(1), 12.5), pick(id(3), 1))
		if out[0].Known || len(out[0].Problems) > 0 || out[0].Place == 0 {
			t.Errorf("the first: %+v", out[0])
		}
		for _, i := range []int{1, 4} {
			if !out[i].Known || out[i].Place != out[0].Place || out[i].Leaf != out[0].Leaf {
				t.Errorf("number %d: %+v, want the place of the first, %d", i, out[i], out[0].Place)
			}
		}
		r.wantProblem(out[2], "id", "refuse.id-known")
		if !out[3].Known || out[3].Place != first.Place {
			t.Errorf("known from before: %+v", out[3])
		}
	})
	t.Run("what came by the clock comes again later", func(t *testing.T) {
		p := pick(id(4), 7)
		p.Draft.Time, p.Clock = "", true
		was := r.one(p)
		r.clock.set(day.Add(time.Hour))
		if again := r.one(p); !again.Known || again.Place != was.Place {
			t.Errorf("got %+v, want known at %d", again, was.Place)
		}
		p.Draft.Data = events.Encode(picked(8))
		r.refused(p, "id", "refuse.id-known")
	})
	r.check()
}

func TestPreparedAgain(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.open()
	p, err := r.rec.Prepare([]record.Proposal{pick("", 1), pick("", 2), pick("", -1)})
	if err != nil {
		t.Fatal(err)
	}
	var receipts [][]record.Receipt
	for range 2 {
		out, err := r.rec.Commit(t.Context(), p)
		if err != nil {
			t.Fatal(err)
		}
		receipts = append(receipts, out)
	}
	for i := range 2 {
		if a, b := receipts[0][i], receipts[1][i]; a.Known || !b.Known || a.Place != b.Place {
			t.Errorf("number %d: %+v, then %+v", i, a, b)
		}
	}
	if a, b := receipts[0][2].Problems, receipts[1][2].Problems; len(a) != 1 || len(b) != 1 {
		t.Errorf("a refused one: %v, then %v", a, b)
	}
}

func TestRows(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.open()
	batch, err := events.ParseID(id(900))
	if err != nil {
		t.Fatal(err)
	}
	file := func(batch events.ID) []record.Receipt {
		rows := record.NewRows()
		var out []record.Receipt
		for _, kg := range []float64{5, 6, 5, 5, 7} {
			p := pick("", kg)
			p.Rows, p.Batch, p.Device, p.DefaultActor = rows, batch, "import", "w_00112233445566778899aabbccddeeff"
			out = append(out, r.send(p)...)
		}
		return out
	}
	first := file(batch)
	seen := map[events.ID]bool{}
	for i, rc := range first {
		if rc.Known || len(rc.Problems) > 0 || seen[rc.ID] || rc.ID.Version() != 8 {
			t.Errorf("row %d: %+v", i, rc)
		}
		seen[rc.ID] = true
	}
	rec := r.at(first[0].Place)
	want := events.RowID(farm, "fruit.picked", rec.Envelope.Time, "", events.Encode(picked(5)), 0)
	if first[0].ID != want {
		t.Errorf("the first row has id %s, want %s", first[0].ID, want)
	}
	if want := events.RowID(farm, "fruit.picked", rec.Envelope.Time, "", events.Encode(picked(5)), 2); first[3].ID != want {
		t.Errorf("the third equal row has id %s, want %s", first[3].ID, want)
	}
	if rec.Envelope.Batch != batch.String() || rec.Envelope.Actor != "w_00112233445566778899aabbccddeeff" || rec.Envelope.Source != "/farms/tern-hollow/import" {
		t.Errorf("envelope %+v", rec.Envelope)
	}
	for i, rc := range file(events.ID{}) {
		if !rc.Known || rc.Place != first[i].Place {
			t.Errorf("the same file again, row %d: %+v, want known at %d", i, rc, first[i].Place)
		}
	}
	// A row that brings its actor is another row than one that does not.
	p := pick("", 5)
	p.Rows, p.Draft.Actor = record.NewRows(), "w_00112233445566778899aabbccddeeff"
	if rc := r.one(p); rc.Known || rc.ID == want {
		t.Errorf("a row with an actor: %+v", rc)
	}
	r.check()
}

func TestOpening(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.refused(pick("", 1), "type", "refuse.not-opened")
	out := r.send(pick("", 1), proposal("", "2008-01-01", opened()), pick("", 2), proposal("", "2008-01-02", opened()))
	r.wantProblem(out[0], "type", "refuse.not-opened")
	r.wantProblem(out[3], "type", "refuse.opened-already")
	if out[1].Place != 1 || out[2].Place != 2 {
		t.Errorf("opened at %d, the pick behind it at %d", out[1].Place, out[2].Place)
	}
	r.refused(proposal("", "2008-01-01", opened()), "type", "refuse.opened-already")
	// The recorder itself reads times in the farm's zone from here on.
	rc := r.one(proposal("", "2026-05-01T10:00:00", picked(3)))
	if got := r.at(rc.Place).Envelope.Time; got != "2026-05-01T10:00:00-10:00" {
		t.Errorf("time %s", got)
	}
	moved := opened()
	moved.Zone = "America/New_York"
	r.one(correction("", out[1].ID.String(), out[1].ID.String(), moved))
	rc = r.one(proposal("", "2026-05-01T10:00:00", picked(4)))
	if got := r.at(rc.Place).Envelope.Time; got != "2026-05-01T10:00:00-04:00" {
		t.Errorf("time after the zone was corrected: %s", got)
	}
	r.refused(withdrawal("", out[1].ID.String(), out[1].ID.String()), "data.record", "refuse.not-withdrawable")
	r.check()
}

// A farm.opened that cannot be stored does not open: what came with it must not be the ledger's first record.
func TestOpeningTooLarge(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	large := opened()
	large.Note = strings.Repeat("x", events.MaxBytes)
	out := r.send(proposal("", "2008-01-01", large), pick("", 1))
	r.wantProblem(out[0], "data", "refuse.too-many-bytes")
	r.wantProblem(out[1], "type", "refuse.not-opened")
	r.open()
	r.check()
}

func TestMoved(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.open()
	out := r.send(pick("", 1), proposal("", "2026-05-30", &events.LedgerMoved{To: "another folder"}), pick("", 2))
	if len(out[0].Problems)+len(out[1].Problems) > 0 {
		t.Fatalf("got %+v", out)
	}
	r.wantProblem(out[2], "type", "refuse.moved")
	r.refused(pick("", 3), "type", "refuse.moved")
	r.check()
	if r.state.Abandoned != out[1].ID.String() {
		t.Errorf("abandoned %q", r.state.Abandoned)
	}
	loaded, err := record.LoadState(strings.NewReader(saved(t, r.state)))
	if err != nil || loaded.Abandoned != r.state.Abandoned {
		t.Errorf("loaded: %v, abandoned %q", err, loaded.Abandoned)
	}
}

func TestClock(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.open()
	last := r.at(1).Recorded
	for _, by := range []time.Duration{time.Second, -time.Hour, 0, 2 * time.Hour, -48 * time.Hour, 999 * time.Microsecond} {
		r.clock.set(day.Add(by))
		rec := r.at(r.one(pick("", 1)).Place)
		if rec.Recorded.Before(last) {
			t.Errorf("with the clock at %v, recordedtime fell from %v to %v", day.Add(by), last, rec.Recorded)
		}
		if want := events.RecordedAt(rec.Recorded); rec.Envelope.RecordedTime != want || len(want) != len("2026-06-01T12:00:00.000Z") {
			t.Errorf("recordedtime %q", rec.Envelope.RecordedTime)
		}
		last = rec.Recorded
	}
	if want := day.Add(2 * time.Hour); !last.Equal(want) {
		t.Errorf("the last recordedtime is %v, want that of the clock's highest, %v", last, want)
	}
	r.check()
}

func TestFuture(t *testing.T) {
	t.Parallel()
	at := func(d time.Duration) string { return day.Add(d).Format(time.RFC3339Nano) }
	// The device sent this when its clock showed sent, and the recorder's showed day.
	device := func(sent time.Duration) string { return at(sent-time.Minute) + " " + at(sent) }
	tests := []struct {
		name   string
		time   time.Duration // of the record, from the recorder's clock on
		device string
		ok     bool
	}{
		{"now", 0, "", true},
		{"two minutes ahead", 2 * time.Minute, "", true},
		{"a millisecond more", 2*time.Minute + time.Millisecond, "", false},
		{"a year ahead", 366 * 24 * time.Hour, "", false},
		{"device an hour fast, time by it", time.Hour, device(time.Hour), true},
		{"device an hour fast, two minutes ahead by it", time.Hour + 2*time.Minute, device(time.Hour), true},
		{"device an hour fast, three minutes ahead by it", time.Hour + 3*time.Minute, device(time.Hour), false},
		{"device an hour slow, time by it", -time.Hour, device(-time.Hour), true},
		{"device an hour slow, time three minutes ahead of it", -time.Hour + 3*time.Minute, device(-time.Hour), false},
		{"device years slow", -10 * 365 * 24 * time.Hour, device(-10 * 365 * 24 * time.Hour), true},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			r := newRig(t)
			r.open()
			p := pick("", 1)
			p.Draft.Time, p.Draft.DeviceTime = at(tt.time), tt.device
			if tt.ok {
				rec := r.at(r.one(p).Place)
				if tt.device != "" && rec.DeviceOffset() != rec.Recorded.Sub(rec.Sent) {
					t.Errorf("offset %v", rec.DeviceOffset())
				}
				return
			}
			if p := r.refused(p, "time", "refuse.future"); !strings.Contains(p.Error(), "2026-06-01T12:00:00.000Z") {
				t.Errorf("the sentence does not show the clock: %s", p.Error())
			}
		})
	}
}

func TestNotedTime(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.open()
	p := pick("", 1)
	p.Draft.NotedTime = "2026-05-02"
	if rc := r.send(p)[0]; len(rc.Problems) == 0 {
		t.Error("a date was taken for the instant when it was noted")
	}
	p.Draft.NotedTime = "2026-06-01T12:00:00Z"
	r.one(p)
	p.Draft.NotedTime = "2026-06-01T12:00:00.001Z"
	r.refused(p, "notedtime", "refuse.noted-later")
	// The clock fell back: what was noted before the ledger's own last time is not later than what this record will bear.
	r.clock.set(day.Add(-time.Hour))
	p.Draft.NotedTime = "2026-06-01T11:30:00Z"
	rec := r.at(r.one(p).Place)
	if rec.Noted.After(rec.Recorded) {
		t.Errorf("noted %v after recorded %v", rec.Noted, rec.Recorded)
	}
	r.check()
}

func TestTooLarge(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.open()
	noted := func(n int) record.Proposal {
		d := picked(1)
		d.Note = strings.Repeat("x", n)
		return proposal("", "2026-05-01T10:00:00-10:00", d)
	}
	rec := r.at(r.one(noted(1)).Place)
	second := r.at(r.one(noted(1)).Place) // from the second on, the chain's link has a hash
	over := len(second.Body) - 1
	if len(rec.Body) >= len(second.Body) {
		t.Fatalf("bodies of %d and %d bytes", len(rec.Body), len(second.Body))
	}
	exact := r.one(noted(events.MaxBytes - over))
	if got := len(r.at(exact.Place).Body); got != events.MaxBytes {
		t.Errorf("the largest record has %d bytes, want %d", got, events.MaxBytes)
	}
	r.refused(noted(events.MaxBytes-over+1), "data", "refuse.too-many-bytes")
	r.refused(noted(200_000), "data", "refuse.too-many-bytes")
	r.check()
}

func TestTooManyChains(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.open()
	blocks := func(n int) *events.FruitPicked {
		var names []string
		for i := range n {
			names = append(names, fmt.Sprintf("b%03d", i))
		}
		return picked(1, names...)
	}
	of := func(n int) record.Proposal { return proposal("", "2026-05-01T10:00:00-10:00", blocks(n)) }
	rc := r.one(of(events.MaxChains))
	if got := len(r.chains(rc.Place)); got != events.MaxChains {
		t.Errorf("%d chains", got)
	}
	if p := r.refused(of(events.MaxChains+1), "data", "refuse.chains"); !strings.Contains(p.Error(), "256") {
		t.Errorf("the sentence does not name the number: %s", p.Error())
	}
	// A correction that brings another block stands in the chains of the old blocks too, and that is one too many.
	north := picked(1, "north")
	r.refused(correction("", rc.ID.String(), rc.ID.String(), north), "data", "refuse.chains")
	if back := r.one(correction("", rc.ID.String(), rc.ID.String(), blocks(3))); len(r.chains(back.Place)) != events.MaxChains {
		t.Errorf("a correction stands in %d chains", len(r.chains(back.Place)))
	}
	r.check()
}

func TestTrial(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	trial := record.NewTrial()
	check := func(ps ...record.Proposal) []record.Receipt {
		t.Helper()
		out, err := r.rec.Check(context.Background(), trial, ps)
		if err != nil {
			t.Fatal(err)
		}
		if r.rec.Head().Size != 0 {
			t.Fatal("a dry run appended")
		}
		for _, rc := range out {
			if rc.Place != 0 {
				t.Errorf("a dry run gave a place: %+v", rc)
			}
		}
		return out
	}
	r.wantProblem(check(pick(id(1), 1))[0], "type", "refuse.not-opened")
	out := check(proposal(id(9), "2008-01-01", opened()), pick(id(1), 1))
	if len(out[0].Problems)+len(out[1].Problems) > 0 || out[1].ID.String() != id(1) {
		t.Fatalf("opening and a pick: %+v", out)
	}
	r.wantProblem(check(proposal("", "2008-01-01", opened()))[0], "type", "refuse.opened-already")
	if rc := check(pick(id(1), 1))[0]; !rc.Known || len(rc.Problems) > 0 {
		t.Errorf("the same in a later call: %+v", rc)
	}
	r.wantProblem(check(pick(id(1), 2))[0], "id", "refuse.id-known")
	// A correction of what was only tried, a second follower, and one that comes after a withdrawal.
	if rc := check(correction(id(2), id(1), id(1), picked(2)))[0]; len(rc.Problems) > 0 {
		t.Errorf("a correction: %v", rc.Problems)
	}
	if p := r.wantProblem(check(correction(id(3), id(1), id(1), picked(3)))[0], "data.follows", "refuse.second-follower"); !strings.Contains(p.Error(), id(2)) {
		t.Errorf("the first is not named: %s", p.Error())
	}
	r.wantProblem(check(correction(id(4), id(1), id(2), &events.FlushSeen{Where: where("north"), Stage: "dormant"}))[0], "data.type", "refuse.other-kind")
	check(withdrawal(id(5), id(1), id(2)))
	r.wantProblem(check(correction(id(6), id(1), id(2), picked(3)))[0], "data.record", "refuse.withdrawn")
	// What only shows in the finished record shows in a dry run too.
	large := picked(1)
	large.Note = strings.Repeat("x", events.MaxBytes)
	r.wantProblem(check(proposal("", "2026-05-01T10:00:00-10:00", large))[0], "data", "refuse.too-many-bytes")
	check(proposal("", "2026-05-30", &events.LedgerMoved{To: "x"}))
	r.wantProblem(check(pick("", 1))[0], "type", "refuse.moved")
	// A new trial knows nothing of it, and neither does the ledger.
	trial = record.NewTrial()
	r.wantProblem(check(pick(id(1), 1))[0], "type", "refuse.not-opened")
	r.open()
	r.one(pick(id(1), 2))
	p, err := r.rec.Prepare([]record.Proposal{pick(id(1), 2), pick("", 3)})
	if err != nil {
		t.Fatal(err)
	}
	tried, err := r.rec.Try(t.Context(), record.NewTrial(), p)
	if err != nil || !tried[0].Known || tried[0].Place != 2 || tried[1].Known {
		t.Errorf("a trial on a ledger with records: %v, %+v", err, tried)
	}
	if out, err := r.rec.Commit(t.Context(), p); err != nil || !out[0].Known || out[1].Place != 3 || out[1].ID != tried[1].ID {
		t.Errorf("what was tried is committed: %v, %+v", err, out)
	}
	r.check()
}
