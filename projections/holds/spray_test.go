package holds_test

import (
	"testing"

	"latewood/events"
	"latewood/projections/holds"
)

// step is a question on a way through time, and what both sides answer.
type step struct {
	at   string
	pick holds.Status
	from string
}

func (o *orchard) walk(t *testing.T, block string, steps []step) {
	t.Helper()
	s := o.state(block)
	for _, st := range steps {
		want(t, block+" at "+st.at, s.At(o.when(st.at), o.Zone()).Pick, st.pick, st.from)
	}
}

func TestPlan(t *testing.T) {
	t.Parallel()
	plan := func(code string) *events.SprayPlanned {
		return &events.SprayPlanned{Where: block(code), From: "2026-06-01T06:00:00-10:00", Until: "2026-06-01T10:00:00-10:00", Mix: []events.MixItem{{Product: "A"}}}
	}
	o := newOrchard(t, honolulu, "open", "begun", "off", "done", "day", "half")
	o.rows("half", 2, 2)
	item := o.label(label("A", numeric(7, "d", "")))
	const made = "2026-05-31T18:00:00-10:00"
	p := map[string]*events.Record{}
	for _, code := range []string{"open", "begun", "off", "done", "half"} {
		p[code] = o.Add(made, plan(code))
	}
	day := plan("day")
	day.From = "2026-06-01"
	o.Add(made, day)
	o.Add("", &events.SprayBegun{Where: block("begun"), Started: "2026-06-01T07:00:00-10:00", Plan: p["begun"].ID.String()})
	o.Add("2026-06-01T08:00:00-10:00", &events.SprayCalledOff{Where: block("off"), Plan: p["off"].ID.String(), Reason: "wind"})
	o.Add("2026-06-01T08:00:00-10:00", &events.SprayCalledOff{Where: rows("half", "1"), Plan: p["half"].ID.String(), Reason: "wind", AnythingApplied: ptr(false)})
	done := spray("2026-06-01T07:00:00-10:00", "2026-06-01T09:00:00-10:00", block("done"), item)
	done.Plan = p["done"].ID.String()
	o.Add("", done)

	// Before it was made nobody knew; before its start it stands in because only.
	if got := o.at("open", "2026-05-31T17:59:59"); len(got.Pick.Because) != 0 {
		t.Errorf("before it was made: got %+v", got.Pick)
	}
	for _, at := range []string{"2026-05-31T18:00:00", "2026-06-01T05:59:59"} {
		got := o.at("open", at)
		want(t, at, got.Pick, holds.None, "")
		if len(got.Pick.Because) != 1 || len(got.Enter.Because) != 1 || got.Enter.Because[0].Closes != "2026-06-01T06:00:00-10:00" {
			t.Errorf("before its start: got %+v", got)
		}
	}
	for _, at := range []string{"2026-06-01T06:00:00", "2026-06-01T12:00:00", "2027-01-01"} { // past its until, too
		got := o.at("open", at)
		want(t, "pick at "+at, got.Pick, holds.Planned, "")
		want(t, "enter at "+at, got.Enter, holds.Planned, "")
		if got.Pick.Closes != "2026-06-01T06:00:00-10:00" || got.Enter.Closes != got.Pick.Closes || got.Pick.Readings != nil {
			t.Errorf("at %s: got %+v", at, got.Pick)
		}
	}
	if in, _ := o.state("open").WorkAt(block("open"), o.when("2026-06-01T07:00:00"), o.Zone()); in {
		t.Error("a plan alone flags work")
	}
	o.walk(t, "begun", []step{{"2026-06-01T06:59:59", holds.Planned, ""}, {"2026-06-01T07:00:00", holds.InProgress, ""}, {"2026-06-05", holds.InProgress, ""}})
	o.walk(t, "off", []step{{"2026-06-01T07:59:59", holds.Planned, ""}, {"2026-06-01T08:00:00", holds.None, ""}})
	o.walk(t, "done", []step{
		{"2026-06-01T06:59:59", holds.Planned, ""}, {"2026-06-01T07:00:00", holds.InProgress, ""}, {"2026-06-01T08:59:59", holds.InProgress, ""},
		{"2026-06-01T09:00:00", holds.Waiting, "2026-06-09T00:00:00-10:00"}, {"2026-06-09T00:00:00", holds.RunOut, "2026-06-09T00:00:00-10:00"},
	})
	o.walk(t, "day", []step{{"2026-05-31T23:59:59", holds.None, ""}, {"2026-06-01", holds.Planned, ""}})
	half := o.at("half", "2026-06-01T09:00:00")
	if len(half.Parts) != 2 || half.Parts[0].Pick.Status != holds.None || half.Parts[1].Pick.Status != holds.Planned {
		t.Errorf("called off on one row: got %+v", half.Parts)
	}
}

// A plan over two blocks that was begun in one of them still stands in the other.
func TestPlanOverTwoBlocks(t *testing.T) {
	t.Parallel()
	o := newOrchard(t, honolulu, "north", "south")
	both := append(block("north"), block("south")...)
	mix := []events.MixItem{o.label(label("A", numeric(7, "d", "")))}
	plan := o.Add("2026-05-31", &events.SprayPlanned{Where: both, From: "2026-06-01T06:00:00-10:00", Mix: mix}).ID.String()
	begun := o.Add("", &events.SprayBegun{Where: both, Started: "2026-06-02T06:00:00-10:00", Mix: mix})
	o.Add("", &events.SprayBegun{Where: block("north"), Started: "2026-06-01T07:00:00-10:00", Plan: plan})
	for code, status := range map[string]holds.Status{"north": holds.InProgress, "south": holds.Planned} {
		want(t, code, o.at(code, "2026-06-01T08:00:00").Pick, status, "")
	}
	done := spray("2026-06-02T06:00:00-10:00", "2026-06-02T08:00:00-10:00", block("south"), mix...)
	done.Begun = begun.ID.String()
	o.Add("", done)
	o.Add("2026-06-02T09:00:00-10:00", &events.SprayCalledOff{Where: block("south"), Plan: plan, Reason: "wind", AnythingApplied: ptr(false)})
	want(t, "north, applied in the south only", o.at("north", "2026-06-03").Pick, holds.InProgress, "")
	want(t, "south", o.at("south", "2026-06-03").Pick, holds.Waiting, "2026-06-10T00:00:00-10:00")
}

func TestBegun(t *testing.T) {
	t.Parallel()
	o := newOrchard(t, honolulu, "north", "open", "byplan", "off", "some", "unsaid", "rows")
	o.rows("rows", 3, 2)
	item := o.label(label("A", numeric(7, "d", "")))
	begun := func(code, plan string) *events.Record {
		return o.Add("", &events.SprayBegun{Where: block(code), Started: "2026-06-01T07:00:00-10:00", Mix: []events.MixItem{item}, Plan: plan})
	}
	applied := func(parts []events.Part, started, ended string, begun *events.Record, plan string) {
		d := spray(started, ended, parts, item)
		d.Plan = plan
		if begun != nil {
			d.Begun = begun.ID.String()
		}
		o.Add("", d)
	}
	off := func(code string, b *events.Record, anything *bool) {
		o.Add("2026-06-01T08:00:00-10:00", &events.SprayCalledOff{Where: block(code), Begun: b.ID.String(), Reason: "wind", AnythingApplied: anything})
	}
	begun("open", "")
	applied(block("north"), "2026-06-01T07:30:00-10:00", "2026-06-01T09:00:00-10:00", begun("north", ""), "")
	plan := o.Add("2026-05-31", &events.SprayPlanned{Where: block("byplan"), From: "2026-06-01T06:00:00-10:00", Mix: []events.MixItem{item}}).ID.String()
	begun("byplan", plan)
	applied(block("byplan"), "2026-06-01", "2026-06-01", nil, plan) // names the plan only, and knows only the day
	off("off", begun("off", ""), ptr(false))
	off("some", begun("some", ""), ptr(true))
	off("unsaid", begun("unsaid", ""), nil)
	b := begun("rows", "")
	applied(rows("rows", "1"), "2026-06-01T07:00:00-10:00", "2026-06-01T09:00:00-10:00", b, "")
	applied(rows("rows", "2"), "2026-06-01T14:00:00-10:00", "2026-06-01T16:00:00-10:00", b, "")

	o.walk(t, "open", []step{{"2026-06-01T06:59:59", holds.None, ""}, {"2026-06-01T07:00:00", holds.InProgress, ""}, {"2028-01-01", holds.InProgress, ""}})
	o.walk(t, "north", []step{
		{"2026-06-01T07:00:00", holds.InProgress, ""}, {"2026-06-01T07:30:00", holds.InProgress, ""}, {"2026-06-01T08:59:59", holds.InProgress, ""},
		{"2026-06-01T09:00:00", holds.Waiting, "2026-06-09T00:00:00-10:00"},
	})
	if got := o.at("north", "2026-06-01T08:00:00"); len(got.Pick.Because) != 1 {
		t.Errorf("a spray begun and applied stands twice: %+v", got.Pick.Because)
	}
	o.walk(t, "byplan", []step{{"2026-06-01T23:59:59", holds.InProgress, ""}, {"2026-06-02", holds.Waiting, "2026-06-09T00:00:00-10:00"}})
	o.walk(t, "off", []step{{"2026-06-01T07:59:59", holds.InProgress, ""}, {"2026-06-01T08:00:00", holds.None, ""}})
	for _, code := range []string{"some", "unsaid"} {
		o.walk(t, code, []step{{"2026-06-01T07:59:59", holds.InProgress, ""}, {"2026-06-01T08:00:00", holds.ReadTheLabel, ""}, {"2026-10-01", holds.None, ""}})
		got := o.at(code, "2026-06-02")
		want(t, code+": enter", got.Enter, holds.ReadTheLabel, "")
		if got.Pick.Because[0].Product != "A" || got.Pick.Because[0].Words != "do not harvest within 7 d" {
			t.Errorf("%s: got %+v", code, got.Pick.Because[0])
		}
	}
	// Rows that no spray covered are shut until the last one is done, then nothing holds them.
	for _, tt := range []struct {
		at   string
		want [3]holds.Status
	}{
		{"2026-06-01T08:00:00", [3]holds.Status{holds.InProgress, holds.InProgress, holds.InProgress}},
		{"2026-06-01T12:00:00", [3]holds.Status{holds.Waiting, holds.InProgress, holds.InProgress}},
		{"2026-06-01T16:00:00", [3]holds.Status{holds.Waiting, holds.Waiting, holds.None}},
	} {
		for i, wanted := range tt.want {
			row := string(rune('1' + i))
			if got := statusOf(o.at("rows", tt.at), row); got != wanted {
				t.Errorf("row %s at %s: got %s, want %s", row, tt.at, got, wanted)
			}
		}
	}
}

// statusOf is the pick's status of a whole row.
func statusOf(b holds.BlockHolds, row string) holds.Status {
	for _, p := range b.Parts {
		if contains(p.Rows, row) {
			return p.Pick.Status
		}
	}
	return b.Pick.Status
}

// Called off by its plan alone, with something applied, and a part of it recorded as applied: both hold.
func TestCalledOffByPlan(t *testing.T) {
	t.Parallel()
	o := newOrchard(t, honolulu)
	o.rows("north", 2, 1)
	item := o.label(label("A", numeric(7, "d", "")))
	plan := o.Add("2026-05-31", &events.SprayPlanned{Where: block("north"), From: "2026-06-01T06:00:00-10:00", Mix: []events.MixItem{item}})
	o.Add("", &events.SprayBegun{Where: block("north"), Started: "2026-06-01T07:00:00-10:00", Plan: plan.ID.String()})
	d := spray("2026-06-01T07:00:00-10:00", "2026-06-01T08:00:00-10:00", rows("north", "1"), item)
	d.Plan = plan.ID.String()
	o.Add("", d)
	o.Add("2026-06-01T08:00:00-10:00", &events.SprayCalledOff{Where: rows("north", "2"), Plan: plan.ID.String(), Reason: "wind"})
	got := o.at("north", "2026-06-02")
	if statusOf(got, "1") != holds.Waiting || statusOf(got, "2") != holds.ReadTheLabel {
		t.Errorf("got %+v", got)
	}
	want(t, "the block", got.Pick, holds.ReadTheLabel, "")
}

func TestJudged(t *testing.T) {
	t.Parallel()
	const words = "do not apply after fruit set"
	stage := events.Withholding{Kind: "growth-stage", Words: words}
	o := newOrchard(t, honolulu, "dated", "stage", "typed", "narrow", "twice", "rows", "past", "numeric")
	o.rows("rows", 2, 1)
	a := o.label(label("A", stage))
	judge := func(code, made string, spray *events.Record, words, from, growth string) {
		o.Add(made, &events.HoldJudged{Where: block(code), Spray: spray.ID.String(), Words: words, From: from, GrowthStage: growth})
	}
	const made = "2026-06-02T08:00:00-10:00"
	judge("dated", made, o.sprayed(ended, ended, block("dated"), a), "do not  apply after\nfruit set", "2026-06-20", "")
	judge("stage", made, o.sprayed(ended, ended, block("stage"), a), words, "", "before fruit set")
	judge("typed", made, o.sprayed(ended, ended, block("typed"), events.MixItem{Product: "Old Can"}), "7 days, 12 hours", "2026-06-20T06:00:00-10:00", "")
	narrow := o.sprayed(ended, ended, block("narrow"), a, o.label(label("B", events.Withholding{Kind: "prohibited", Words: "do not harvest"})))
	judge("narrow", made, narrow, words, "2026-06-20", "")
	twice := o.sprayed(ended, ended, block("twice"), a)
	judge("twice", made, twice, words, "2026-06-10", "")
	judge("twice", "2026-06-03T08:00:00-10:00", twice, words, "2026-06-25", "")
	half := o.sprayed(ended, ended, block("rows"), a)
	o.Add(made, &events.HoldJudged{Where: rows("rows", "1"), Spray: half.ID.String(), Words: words, From: "2026-06-20"})
	judge("past", "2026-06-25T08:00:00-10:00", o.sprayed(ended, ended, block("past"), a), words, "2026-06-20", "")
	judge("numeric", made, o.sprayed(ended, ended, block("numeric"), a, o.label(label("N", numeric(30, "d", "date")))), words, "2026-06-20", "")

	const day = "2026-06-20T00:00:00-10:00"
	o.walk(t, "dated", []step{
		{"2026-06-02T07:59:59", holds.ReadTheLabel, ""}, {"2026-06-02T08:00:00", holds.ReadByPerson, day},
		{"2026-06-19T23:59:59", holds.ReadByPerson, day}, {"2026-06-20", holds.RunOut, day}, {"2026-09-30T23:59:59", holds.RunOut, day}, {"2026-10-01", holds.None, ""},
	})
	got := o.at("dated", "2026-06-10").Pick.Because[0]
	if got.Words != "do not  apply after\nfruit set" || got.Judgement == "" || got.From != day {
		t.Errorf("got %+v", got)
	}
	// A stage gives no date: it stays a person's reading until the crop is over, and holds no pick.
	o.walk(t, "stage", []step{{"2026-06-02T07:59:59", holds.ReadTheLabel, ""}, {"2026-06-02T08:00:00", holds.ReadByPerson, ""}, {"2026-09-30T23:59:59", holds.ReadByPerson, ""}, {"2026-10-01", holds.None, ""}})
	for code, in := range map[string]bool{"dated": true, "stage": false} {
		if got, _ := o.state(code).PickAt(block(code), o.when("2026-06-10T09:00:00"), o.Zone()); got != in {
			t.Errorf("%s: a pick under a person's reading: got inside %v, want %v", code, got, in)
		}
	}
	o.walk(t, "typed", []step{{"2026-06-02T08:00:00", holds.ReadByPerson, "2026-06-20T06:00:00-10:00"}, {"2026-06-20T06:00:00", holds.RunOut, "2026-06-20T06:00:00-10:00"}})
	want(t, "typed: enter", o.at("typed", "2026-06-10").Enter, holds.ReadByPerson, "2026-06-20T06:00:00-10:00")
	o.walk(t, "narrow", []step{{"2026-06-10", holds.ReadTheLabel, ""}, {"2026-06-21", holds.ReadTheLabel, ""}})
	o.walk(t, "twice", []step{{"2026-06-02T12:00:00", holds.ReadByPerson, "2026-06-10T00:00:00-10:00"}, {"2026-06-12", holds.ReadByPerson, "2026-06-25T00:00:00-10:00"}})
	if b := o.at("rows", "2026-06-10"); statusOf(b, "1") != holds.ReadByPerson || statusOf(b, "2") != holds.ReadTheLabel || b.Pick.Status != holds.ReadTheLabel {
		t.Errorf("judged for one row: got %+v", b)
	}
	o.walk(t, "past", []step{{"2026-06-24", holds.ReadTheLabel, ""}, {"2026-06-26", holds.RunOut, "2026-06-25T08:00:00-10:00"}})
	// A judgement answers what no number does; numbers run on.
	o.walk(t, "numeric", []step{{"2026-06-10", holds.Waiting, "2026-07-01T00:00:00-10:00"}, {"2026-06-25", holds.Waiting, "2026-07-01T00:00:00-10:00"}})
}

// The crop that a spray leads to, and its end.
func TestCrops(t *testing.T) {
	t.Parallel()
	o := newOrchard(t, honolulu, "closed", "after", "rows", "two", "run", "long", "named")
	o.rows("rows", 2, 1)
	o.rows("two", 2, 1)
	read := o.label(label("A", events.Withholding{Kind: "unknown"}))
	week := o.label(label("W", numeric(7, "d", "")))
	year := o.label(label("Y", numeric(200, "d", "")))
	pick := func(code, at string) {
		o.Add(at, &events.FruitPicked{Where: block(code), Mass: &events.Quantity{Value: 10, Unit: "kg"}})
	}
	// Closed on 30 June: the label need not be read from the end of that day on. A pick closes nothing.
	o.sprayed(ended, ended, block("closed"), read)
	pick("closed", "2026-06-20T09:00:00-10:00")
	o.Add("", &events.HarvestClosed{Where: block("closed"), Date: "2026-06-30"})
	o.walk(t, "closed", []step{{"2026-06-21", holds.ReadTheLabel, ""}, {"2026-06-30T23:59:59", holds.ReadTheLabel, ""}, {"2026-07-01", holds.None, ""}})
	// Sprayed after the closing it leads to the next crop, and that ends in 2027.
	o.Add("", &events.HarvestClosed{Where: block("after"), Date: "2026-05-20"})
	o.sprayed(ended, ended, block("after"), read)
	o.walk(t, "after", []step{{"2026-10-01", holds.ReadTheLabel, ""}, {"2027-09-30T23:59:59", holds.ReadTheLabel, ""}, {"2027-10-01", holds.None, ""}})
	// Closed on one row only.
	o.sprayed(ended, ended, block("rows"), read)
	o.Add("", &events.HarvestClosed{Where: rows("rows", "1"), Date: "2026-06-30"})
	if b := o.at("rows", "2026-07-02"); statusOf(b, "1") != holds.None || statusOf(b, "2") != holds.ReadTheLabel {
		t.Errorf("closed on one row: got %+v", b)
	}
	// Sprayed after one row was closed and before the other: on the first the closing says nothing about this spray.
	o.Add("", &events.HarvestClosed{Where: rows("two", "1"), Date: "2026-05-20"})
	o.sprayed(ended, ended, block("two"), read)
	o.Add("", &events.HarvestClosed{Where: rows("two", "2"), Date: "2026-06-30"})
	if b := o.at("two", "2026-06-30"); b.Parts != nil || b.Pick.Status != holds.ReadTheLabel {
		t.Errorf("two closings, before the second: got %+v", b)
	}
	if b := o.at("two", "2026-07-01"); statusOf(b, "1") != holds.ReadTheLabel || statusOf(b, "2") != holds.None {
		t.Errorf("two closings, after the second: got %+v", b)
	}
	// Run out in this crop; after its closing nothing is left to say.
	o.sprayed(ended, ended, block("run"), week)
	o.Add("", &events.HarvestClosed{Where: block("run"), Date: "2026-06-30"})
	const from = "2026-06-09T00:00:00-10:00"
	o.walk(t, "run", []step{{"2026-06-08T23:59:59", holds.Waiting, from}, {"2026-06-09", holds.RunOut, from}, {"2026-06-30T23:59:59", holds.RunOut, from}, {"2026-07-01", holds.None, ""}})
	// A number runs past the closing and the turn, and has run out in the crop in which it ends.
	o.sprayed(ended, ended, block("long"), year)
	o.Add("", &events.HarvestClosed{Where: block("long"), Date: "2026-06-30"})
	const end = "2026-12-19T00:00:00-10:00"
	o.walk(t, "long", []step{{"2026-07-01", holds.Waiting, end}, {"2026-10-01", holds.Waiting, end}, {"2026-12-19", holds.RunOut, end}, {"2027-09-30T23:59:59", holds.RunOut, end}, {"2027-10-01", holds.None, ""}})
	// A season that the farm named moves the turn.
	o.Add("2026-01-01", &events.SeasonNamed{Season: "2026", From: "2025-11-01", To: "2026-12-31", Blocks: []string{"named"}})
	o.sprayed(ended, ended, block("named"), read)
	o.walk(t, "named", []step{{"2026-12-31T23:59:59", holds.ReadTheLabel, ""}, {"2027-01-01", holds.None, ""}})
}

// Corrections count, withdrawn sprays drop out, and what they held can still be asked.
func TestCorrectedAndWithdrawn(t *testing.T) {
	t.Parallel()
	o := newOrchard(t, honolulu, "north", "south")
	item := o.label(label("A", numeric(7, "d", "date")))
	rec := o.sprayed(ended, ended, block("north"), item)
	want(t, "as recorded", o.at("north", minute).Pick, holds.Waiting, "2026-06-08T00:00:00-10:00")
	fix := o.Correct(rec, rec, "2026-06-03T16:00:00-10:00", spray("2026-06-03T15:00:00-10:00", "2026-06-03T16:00:00-10:00", block("north"), item))
	want(t, "corrected: on the first day", o.at("north", minute).Pick, holds.None, "")
	want(t, "corrected", o.at("north", "2026-06-04").Pick, holds.Waiting, "2026-06-10T00:00:00-10:00")
	moved := o.Correct(rec, fix, "2026-06-03T16:00:00-10:00", spray("2026-06-03T15:00:00-10:00", "2026-06-03T16:00:00-10:00", block("south"), item))
	want(t, "corrected to another block", o.at("north", "2026-06-04").Pick, holds.None, "")
	want(t, "there", o.at("south", "2026-06-04").Pick, holds.Waiting, "2026-06-10T00:00:00-10:00")
	o.Withdraw(rec, moved)
	want(t, "withdrawn", o.at("south", "2026-06-04").Pick, holds.None, "")
	was := o.state("south").Withdrawn()
	if in, because := was.PickAt(block("south"), o.when("2026-06-04T09:00:00"), o.Zone()); !in || because[0].Spray != rec.ID.String() {
		t.Errorf("what it held: got %v, %+v", in, because)
	}
	if in, _ := o.state("south").PickAt(block("south"), o.when("2026-06-04T09:00:00"), o.Zone()); in {
		t.Error("a withdrawn spray still holds")
	}
}
