package holds_test

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"latewood/events"
	"latewood/projections"
	"latewood/projections/holds"
)

// A mixed block: four rows of three trees, sprayed in parts that ended apart, one tree left out, one planted since.
func mixed(t *testing.T) *orchard {
	o := newOrchard(t, "America/New_York", "north", "south")
	o.rows("north", 4, 3)
	a := o.label(label("Anchor 5", numeric(7, "d", ""), entry(12)))
	b := o.label(label("Bramble", events.Withholding{Kind: "growth-stage", Words: "Do not apply after fruit set.", TermOnLabel: "Restraint"}, events.Reentry{Hours: ptr(24.0), Words: "24 hours"}))
	d := spray("2026-06-01T07:00:00-04:00", "2026-06-01T11:00:00-04:00", nil, a)
	d.Where = []events.SprayedPart{
		{Part: events.Part{Block: "north", Rows: []string{"1", "2"}, Except: []string{"north-2-3"}}, Ended: "2026-06-01T09:00:00-04:00"},
		{Part: events.Part{Block: "north", Rows: []string{"3"}}},
	}
	o.Add("", d)
	o.sprayed("2026-06-02", "2026-06-02", trees("north", "north-4-1"), b)
	o.tree("north", "4", "4", "2026-06-03")
	o.sprayed("2026-06-03T06:00:00-04:00", "2026-06-03T07:00:00-04:00", block("north"), o.label(label("Zest", entry(4))))
	plan := &events.SprayPlanned{Where: rows("north", "3"), From: "2026-06-12T06:00:00-04:00", Mix: []events.MixItem{a}}
	o.Add("2026-06-03", plan)
	return o
}

func TestMixedBlock(t *testing.T) {
	t.Parallel()
	o := mixed(t)
	b := o.at("north", "2026-06-03T08:00:00")
	type part struct {
		rows, trees []string
		pick, enter holds.Status
	}
	wanted := []part{
		{[]string{"1"}, []string{"north-2-1", "north-2-2"}, holds.Waiting, holds.Waiting},
		{nil, []string{"north-2-3", "north-4-2", "north-4-3", "north-4-4"}, holds.Waiting, holds.Waiting},
		{[]string{"3"}, nil, holds.Waiting, holds.Waiting},
		{nil, []string{"north-4-1"}, holds.ReadTheLabel, holds.Waiting},
	}
	var got []part
	for _, p := range b.Parts {
		got = append(got, part{p.Rows, p.Trees, p.Pick.Status, p.Enter.Status})
	}
	if len(got) != len(wanted) {
		t.Fatalf("got parts %+v", got)
	}
	for i := range wanted {
		if !slices.Equal(got[i].rows, wanted[i].rows) || !slices.Equal(got[i].trees, wanted[i].trees) || got[i].pick != wanted[i].pick || got[i].enter != wanted[i].enter {
			t.Errorf("part %d: got %+v, want %+v", i, got[i], wanted[i])
		}
	}
	want(t, "the block's pick", b.Pick, holds.ReadTheLabel, "")
	want(t, "the block's enter", b.Enter, holds.Waiting, "2026-06-04T00:00:00-04:00")
	want(t, "row 1", b.Parts[0].Pick, holds.Waiting, "2026-06-09T00:00:00-04:00")
	want(t, "the tree left out", b.Parts[1].Pick, holds.Waiting, "2026-06-03T11:00:00-04:00")
	if south := o.at("south", "2026-06-03T08:00:00"); south.Pick.Status != holds.None || south.Parts != nil || south.Pick.Because == nil {
		t.Errorf("south: got %+v", south)
	}
	for code, in := range map[string]bool{"north-1-1": true, "north-2-3": false, "north-4-1": true, "north-4-4": false} {
		if got, _ := o.state("north").PickAt(trees("north", code), o.when("2026-06-05T08:00:00"), o.Zone()); got != in {
			t.Errorf("a pick from %s: got inside %v, want %v", code, got, in)
		}
	}
}

// The whole document of the mixed block, as it stood when it was looked over by eye.
func TestGolden(t *testing.T) {
	t.Parallel()
	o := mixed(t)
	sent := o.Next().Add(-time.Second).Format(time.RFC3339)
	o.AddFrom(events.Draft{Time: "2026-06-03", DeviceTime: sent + " " + sent, Source: "/farms/tern-hollow/shed"}, &events.FlushSeen{Where: block("north"), Stage: "hardened"})
	for name, at := range map[string]string{"mixed": "2026-06-03T08:00:00", "planned": "2026-06-12T06:00:00"} {
		doc := holds.Holds(o.Book(), o.when(at))
		raw, err := events.WriteJSON(doc)
		if err != nil {
			t.Fatal(err)
		}
		var got bytes.Buffer
		if err := json.Indent(&got, append(raw, '\n'), "", "  "); err != nil {
			t.Fatal(err)
		}
		path := filepath.Join("testdata", name+".json")
		if *update {
			if err := os.WriteFile(path, got.Bytes(), 0o600); err != nil {
				t.Fatal(err)
			}
		}
		wanted, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(got.Bytes(), wanted) {
			t.Errorf("%s: got\n%s\nwant\n%s", name, got.Bytes(), wanted)
		}
	}
}

// A block whose trees nobody listed: the rows that records name, and the rest.
func TestUnlistedBlock(t *testing.T) {
	t.Parallel()
	o := newOrchard(t, honolulu, "rows", "whole", "trees")
	item := o.label(label("A", numeric(7, "d", "")))
	o.sprayed(ended, ended, rows("rows", "10", "2"), item)
	o.sprayed(ended, ended, block("whole"), item)
	o.sprayed(ended, ended, trees("trees", "trees-1-1"), item)
	got := o.at("rows", minute)
	if len(got.Parts) != 2 || !slices.Equal(got.Parts[0].Rows, []string{"2", "10"}) || got.Parts[0].Pick.Status != holds.Waiting || got.Parts[1].Rows != nil || got.Parts[1].Pick.Status != holds.None {
		t.Errorf("rows: got %+v", got.Parts)
	}
	want(t, "rows: the block", got.Pick, holds.Waiting, "2026-06-09T00:00:00-10:00")
	for row, in := range map[string]bool{"2": true, "10": true, "3": false} { // row 3 belongs to the rest
		if got, _ := o.state("rows").PickAt(rows("rows", row), o.when("2026-06-03T09:00:00"), o.Zone()); got != in {
			t.Errorf("a pick from row %s: got inside %v, want %v", row, got, in)
		}
	}
	for _, code := range []string{"whole", "trees"} {
		if b := o.at(code, minute); b.Parts != nil || b.Pick.Status != holds.Waiting {
			t.Errorf("%s: got %+v", code, b)
		}
	}
	// Trees listed later stood there all the time, and one planted since did not.
	o.tree("whole", "1", "1", "2011")
	o.tree("whole", "1", "2", "2026-06-02")
	if b := o.at("whole", "2026-06-03"); len(b.Parts) != 2 || b.Parts[0].Pick.Status != holds.Waiting || b.Parts[1].Pick.Status != holds.None {
		t.Errorf("listed later: got %+v", b.Parts)
	}
}

// Trees that come and go: a tree counts where it stood at the spray, and answers where it stands.
func TestTreesMove(t *testing.T) {
	t.Parallel()
	o := newOrchard(t, honolulu, "north", "south")
	o.rows("north", 2, 2)
	o.rows("south", 1, 1)
	o.sprayed(ended, ended, rows("north", "1"), o.label(label("A", numeric(7, "d", ""))))
	const day = "2026-06-03T00:00:00-10:00"
	o.Add(day, &events.TreeMoved{Moves: []events.Move{{Tree: "north-1-1", From: "north", Block: "south", Row: "9", Position: "1"}, {Tree: "north-2-1", From: "north", Block: "south", Row: "9", Position: "2"}}})
	o.Add(day, &events.TreeMoved{Moves: []events.Move{{Tree: "north-1-2", Block: "north", Row: "7", Position: "1"}}})
	o.Add(day, &events.TreeRemoved{Where: trees("north", "north-2-2")})
	b := o.at("north", "2026-06-04")
	if b.Pick.Status != holds.Waiting || b.Parts != nil {
		t.Errorf("the one tree left: got %+v", b)
	}
	if alone := o.at("south", "2026-06-04"); alone.Pick.Status != holds.None {
		t.Errorf("the fold of a block knows its own records only: got %s", alone.Pick.Status)
	}
	s := holds.Of(o.Book(), "south")
	got := s.At(o.when("2026-06-04"), o.Zone())
	want(t, "with what moved in", got.Pick, holds.Waiting, "2026-06-09T00:00:00-10:00")
	if len(got.Parts) != 2 || !slices.Equal(got.Parts[1].Trees, []string{"north-1-1"}) || !slices.Equal(got.Parts[0].Rows, []string{"1"}) || !slices.Equal(got.Parts[0].Trees, []string{"north-2-1"}) {
		t.Errorf("got parts %+v", got.Parts)
	}
	if doc := holds.Holds(o.Book(), o.when("2026-06-04")); doc.Blocks[1].Pick.Status != holds.Waiting {
		t.Errorf("the document: got %+v", doc.Blocks[1].Pick)
	}
	if before := s.At(o.when("2026-06-02"), o.Zone()); before.Pick.Status != holds.None {
		t.Errorf("before it moved: got %s", before.Pick.Status)
	}
}

// A block that was made from others takes what holds them.
func TestRedrawn(t *testing.T) {
	t.Parallel()
	o := newOrchard(t, honolulu, "north", "listed", "other")
	o.rows("listed", 2, 1)
	item := o.label(label("A", numeric(7, "d", "")))
	o.sprayed(ended, ended, rows("north", "1"), item)
	o.sprayed(ended, ended, rows("listed", "1"), item)
	area := &events.Quantity{Value: 0.5, Unit: "har"}
	o.Add("", &events.BlockRedrawn{From: []string{"north"}, Into: []events.DrawnBlock{{Block: "north-a", Area: area}, {Block: "north-b", Area: area}}, Date: "2026-06-03"})
	o.Add("", &events.BlockRedrawn{From: []string{"listed"}, Into: []events.DrawnBlock{{Block: "listed-a", Area: area}}, Date: "2026-06-03"})
	o.Add("2026-06-03", &events.TreeMoved{Moves: []events.Move{{Tree: "listed-1-1", From: "listed", Block: "listed-a", Row: "1", Position: "1"}, {Tree: "listed-2-1", From: "listed", Block: "listed-a", Row: "2", Position: "1"}}})
	o.sprayed("2026-06-05T10:00:00-10:00", "2026-06-05T10:00:00-10:00", block("north"), item) // under the old name, by mistake
	book := o.Book()
	for _, code := range []string{"north-a", "north-b"} {
		got := holds.Of(book, code).At(o.when("2026-06-04"), o.Zone())
		want(t, code, got.Pick, holds.Waiting, "2026-06-09T00:00:00-10:00")
		want(t, code+", afterwards", holds.Of(book, code).At(o.when("2026-06-10"), o.Zone()).Pick, holds.RunOut, "2026-06-09T00:00:00-10:00")
	}
	got := holds.Of(book, "listed-a").At(o.when("2026-06-04"), o.Zone())
	if statusOf(got, "1") != holds.Waiting || statusOf(got, "2") != holds.None {
		t.Errorf("trees that both know: got %+v", got)
	}
	if s := holds.Of(book, "other"); len(s.Sprays) != 0 {
		t.Errorf("a block that has nothing to do with it: got %+v", s.Sprays)
	}
}

// What another block's records say of trees is carried over tree by tree, also what ends a spray and what a person judged;
// a tree that the other block does not know counts as one of its own after a redrawing.
func TestCarriedTreeByTree(t *testing.T) {
	t.Parallel()
	o := newOrchard(t, honolulu, "old", "new")
	o.rows("old", 3, 1)
	o.tree("new", "1", "1", "2011")
	read := o.label(label("R", events.Withholding{Kind: "unknown", Words: "?"}))
	begun := o.Add("", &events.SprayBegun{Where: block("old"), Started: "2026-06-01T07:00:00-10:00", Mix: []events.MixItem{read}})
	o.Add("2026-06-01T08:00:00-10:00", &events.SprayCalledOff{Where: rows("old", "1"), Begun: begun.ID.String(), Reason: "wind", AnythingApplied: ptr(false)})
	rec := o.sprayed("2026-06-01T05:00:00-10:00", "2026-06-01T06:00:00-10:00", block("old"), read)
	o.Add("2026-06-02T08:00:00-10:00", &events.HoldJudged{Where: rows("old", "1"), Spray: rec.ID.String(), Words: "?", From: "2026-06-20"})
	// In the new block they stand in another order.
	o.Add("2026-06-03", &events.TreeMoved{Moves: []events.Move{
		{Tree: "old-1-1", From: "old", Block: "new", Row: "9", Position: "1"}, {Tree: "old-2-1", From: "old", Block: "new", Row: "8", Position: "1"},
	}})
	got := holds.Of(o.Book(), "new").At(o.when("2026-06-04"), o.Zone())
	for row, status := range map[string]holds.Status{"1": holds.None, "8": holds.InProgress, "9": holds.ReadByPerson} {
		if s := statusOf(got, row); s != status {
			t.Errorf("moved, row %s: got %s, want %s", row, s, status)
		}
	}
	o.Add("", &events.BlockRedrawn{From: []string{"old"}, Into: []events.DrawnBlock{{Block: "new", Area: &events.Quantity{Value: 1, Unit: "har"}}}, Date: "2026-06-03"})
	got = holds.Of(o.Book(), "new").At(o.when("2026-06-04"), o.Zone())
	for row, status := range map[string]holds.Status{"1": holds.InProgress, "8": holds.InProgress, "9": holds.ReadByPerson} {
		if s := statusOf(got, row); s != status {
			t.Errorf("redrawn, row %s: got %s, want %s", row, s, status)
		}
	}
}

// A pick of which only the date is known speaks for its whole day.
func TestPickOfADay(t *testing.T) {
	t.Parallel()
	o := newOrchard(t, "America/New_York")
	item := o.label(label("A", numeric(7, "d", "elapsed"), entry(12)))
	rec := o.sprayed("2026-06-01T15:00:00-04:00", "2026-06-01T16:00:00-04:00", block("north"), item)
	for _, tt := range []struct {
		at   string
		pick bool
		work bool
	}{
		{"2026-05-31", false, false},
		{"2026-06-01", true, true}, // it may have been in the morning, and nobody knows
		{"2026-06-01T14:59:59-04:00", false, false},
		{"2026-06-01T15:00:00-04:00", true, true},
		{"2026-06-02T03:59:59-04:00", true, true},
		{"2026-06-02T04:00:00-04:00", true, false},
		{"2026-06-02", true, true},
		{"2026-06-03", true, false},
		{"2026-06-08", true, false}, // opens at 16:00
		{"2026-06-08T15:59:59-04:00", true, false},
		{"2026-06-08T16:00:00-04:00", false, false},
		{"2026-06-09", false, false},
	} {
		at, _ := events.ParseMoment(tt.at, o.Zone())
		pick, because := o.state("north").PickAt(block("north"), at.At, o.Zone())
		work, _ := o.state("north").WorkAt(block("north"), at.At, o.Zone())
		if pick != tt.pick || work != tt.work {
			t.Errorf("%s: got pick %v, work %v, want %v, %v", tt.at, pick, work, tt.pick, tt.work)
		}
		if pick && (len(because) == 0 || because[0].Spray != rec.ID.String()) || !pick && because != nil {
			t.Errorf("%s: got because %+v", tt.at, because)
		}
	}
}

func TestOnly(t *testing.T) {
	t.Parallel()
	o := newOrchard(t, honolulu)
	one := o.sprayed(ended, ended, block("north"), o.label(label("A", numeric(7, "d", ""))))
	o.sprayed(ended, ended, block("north"), o.label(label("B", numeric(14, "d", ""))))
	s := o.state("north")
	want(t, "both", s.At(o.when(minute), o.Zone()).Pick, holds.Waiting, "2026-06-16T00:00:00-10:00")
	want(t, "one", s.Only(one.ID.String()).At(o.when(minute), o.Zone()).Pick, holds.Waiting, "2026-06-09T00:00:00-10:00")
}

func TestDue(t *testing.T) {
	t.Parallel()
	o := newOrchard(t, honolulu)
	mix := []events.MixItem{{Product: "A"}}
	plan := o.Add("2026-05-31", &events.SprayPlanned{Where: block("north"), From: "2026-06-01T06:00:00-10:00", Until: "2026-06-01", Mix: mix})
	o.Add("2026-05-31", &events.SprayPlanned{Where: block("north"), From: "2026-06-01T06:00:00-10:00", Mix: mix}) // without until
	begun := o.Add("", &events.SprayBegun{Where: block("north"), Started: "2026-06-01T07:00:00-10:00", Mix: mix})
	read := o.sprayed(ended, ended, block("north"), mix[0])
	for at, wanted := range map[string][][2]string{
		"2026-06-01T23:59:59": {{"read-the-label", read.ID.String()}},
		"2026-06-02":          {{"plan-overdue", plan.ID.String()}, {"spray-open", begun.ID.String()}, {"read-the-label", read.ID.String()}},
		"2026-05-31":          nil,
	} {
		var got [][2]string
		for _, d := range o.state("north").Due(o.when(at), o.Zone()) {
			got = append(got, [2]string{d.What, d.Record})
			if d.Words == "" || d.Since == "" {
				t.Errorf("got %+v", d)
			}
		}
		if !slices.Equal(got, wanted) {
			t.Errorf("at %s: got %v, want %v", at, got, wanted)
		}
	}
}

// Every block is listed, and a device is heard by the last of anything that it sent.
func TestDocument(t *testing.T) {
	t.Parallel()
	o := newOrchard(t, honolulu, "north", "south")
	item := o.label(label("A"))
	send := func(device string, data any) *events.Record {
		sent := o.Next().Format(time.RFC3339)
		return o.AddFrom(events.Draft{Time: "2026-06-03", Source: "/farms/tern-hollow/" + device, DeviceTime: sent + " " + sent}, data)
	}
	first := send("phone", &events.FlushSeen{Where: block("north"), Stage: "dormant"})
	send("tablet", &events.FlushSeen{Where: block("north"), Stage: "dormant"})
	last := send("phone", &events.RecordWithdrawn{Record: first.ID.String(), Follows: first.ID.String(), Reason: "test"})
	o.sprayed(ended, ended, block("nowhere"), item) // a block that nothing else names
	o.Add("2026-06-03", &events.FlushSeen{Where: block("typo"), Stage: "dormant"})
	doc := holds.Holds(o.Book(), o.when("2026-06-03T08:00:00"))
	var codes []string
	for _, b := range doc.Blocks {
		codes = append(codes, b.Block)
	}
	if !slices.Equal(codes, []string{"north", "nowhere", "south"}) || doc.At != "2026-06-03T08:00:00-10:00" || doc.Caution == "" {
		t.Errorf("got %v at %s, %q", codes, doc.At, doc.Caution)
	}
	if len(doc.Heard) != 2 || doc.Heard[0].Device != "phone" || doc.Heard[1].Device != "tablet" || !o.when(doc.Heard[0].Last).Equal(last.Recorded) {
		t.Errorf("heard: got %+v", doc.Heard)
	}
	empty := holds.Holds(projections.NewBook(events.Standard()), time.Unix(0, 0))
	raw, err := events.WriteJSON(empty)
	if err != nil || !bytes.Contains(raw, []byte(`"blocks":[],"heard":[]`)) {
		t.Errorf("an empty ledger: got %s, %v", raw, err)
	}
}
