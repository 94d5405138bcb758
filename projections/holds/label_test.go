package holds_test

import (
	"slices"
	"testing"
	"time"

	"latewood/events"
	"latewood/projections/holds"
)

const (
	honolulu = "Pacific/Honolulu"
	ended    = "2026-06-01T16:00:00-10:00" // of most sprays here
	minute   = "2026-06-01T16:01:00-10:00" // after it
)

// What no machine counts: each kind of compliance 4.3, with the words of the label, none of which may become a date.
func TestWhatAPersonMustRead(t *testing.T) {
	t.Parallel()
	read := func(kind, words string) events.Withholding {
		return events.Withholding{Kind: kind, Words: words, TermOnLabel: "WHP"}
	}
	const words = "DO NOT APPLY AFTER FRUIT SET"
	material := func(d *events.LabelFiled, material string) *events.LabelFiled {
		d.Material = material
		return d
	}
	unlisted := label("A", numeric(7, "d", ""))
	unlisted.CropListed = ptr(false)
	noCrop := material(label("A", numeric(7, "d", "")), "biological")
	noCrop.Crop, noCrop.CropListed = "", nil
	cropByFlag := material(label("A", numeric(7, "d", "")), "biological")
	cropByFlag.Crop = ""
	unsaidCrop := label("A", numeric(7, "d", ""))
	unsaidCrop.CropListed = nil
	nothing := material(label("A"), "other")
	nothing.Withholding, nothing.Reentry = nil, nil
	noValue := numeric(7, "d", "")
	noValue.Value = nil
	noUnit := numeric(7, "", "")
	for _, tt := range []struct {
		name        string
		label       *events.LabelFiled
		role        string
		pick, enter holds.Status
		words       string // of the pick, where it must be read
	}{
		{"nothing stated", label("A", read("none-stated", "")), "", holds.ReadTheLabel, holds.RunOut, ""},
		{"growth stage", label("A", read("growth-stage", words)), "", holds.ReadTheLabel, holds.RunOut, words},
		{"prohibited", label("A", read("prohibited", "DO NOT HARVEST")), "", holds.ReadTheLabel, holds.RunOut, "DO NOT HARVEST"},
		{"unknown", label("A", read("unknown", "illegible")), "", holds.ReadTheLabel, holds.RunOut, "illegible"},
		{"not required when used as directed", label("A", read("none-stated", "not required when used as directed")), "", holds.ReadTheLabel, holds.RunOut, "not required when used as directed"},
		{"a number without its value", label("A", noValue), "", holds.ReadTheLabel, holds.RunOut, "do not harvest within 7 d"},
		{"a number without its unit", label("A", noUnit), "", holds.ReadTheLabel, holds.RunOut, "do not harvest within 7 "},
		{"a number, and a stage for another use", label("A", numeric(7, "d", ""), read("growth-stage", words)), "", holds.ReadTheLabel, holds.RunOut, words},
		{"crop not listed", unlisted, "", holds.ReadTheLabel, holds.RunOut, "do not harvest within 7 d"},
		{"no crop", noCrop, "", holds.ReadTheLabel, holds.RunOut, "do not harvest within 7 d"},
		{"no crop, but said to be listed", cropByFlag, "", holds.Waiting, holds.RunOut, ""},
		{"a crop, and nothing said about the list", unsaidCrop, "", holds.Waiting, holds.RunOut, ""},
		{"nothing filed", nothing, "", holds.ReadTheLabel, holds.ReadTheLabel, ""},
		{"nothing filed, adjuvant", nothing, "adjuvant", holds.None, holds.None, ""},
		{"nothing filed, nutrient", nothing, "nutrient", holds.None, holds.None, ""},
		{"nothing stated, adjuvant", label("A", read("none-stated", "")), "adjuvant", holds.None, holds.RunOut, ""},
		{"a stage, adjuvant", label("A", read("growth-stage", words)), "adjuvant", holds.ReadTheLabel, holds.RunOut, words},
		{"a number, adjuvant", label("A", numeric(7, "d", "")), "adjuvant", holds.Waiting, holds.RunOut, ""},
		{"crop not listed, adjuvant", unlisted, "adjuvant", holds.Waiting, holds.RunOut, ""},
		{"re-entry in words", label("A", numeric(7, "d", ""), events.Reentry{Words: "until sprays have dried"}), "", holds.ReadTheLabel, holds.ReadTheLabel, ""},
		{"zero", label("A"), "", holds.RunOut, holds.RunOut, ""},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			o := newOrchard(t, honolulu)
			item := o.label(tt.label)
			item.Role = tt.role
			o.sprayed("2026-06-01T15:00:00-10:00", ended, block("north"), item)
			got := o.at("north", minute)
			if got.Pick.Status != tt.pick || got.Enter.Status != tt.enter {
				t.Fatalf("got pick %s, enter %s, want %s, %s", got.Pick.Status, got.Enter.Status, tt.pick, tt.enter)
			}
			if tt.pick != holds.ReadTheLabel {
				return
			}
			if got.Pick.From != "" || got.Pick.Readings != nil {
				t.Errorf("a date was computed: %+v", got.Pick)
			}
			if tt.words != "" && !contains(phrases(got.Pick), tt.words) {
				t.Errorf("got words %q, want %q among them", phrases(got.Pick), tt.words)
			}
			for _, b := range got.Pick.Because {
				if b.Why == "" || b.Spray == "" || b.Product != "A" || b.Status == holds.ReadTheLabel && b.From != "" {
					t.Errorf("got because %+v", b)
				}
			}
			// It holds for months, until the crop year turns: 1 October, north.
			if late := o.at("north", "2026-09-30T23:59:59"); late.Pick.Status != holds.ReadTheLabel {
				t.Errorf("on the last day of the crop year: got %s", late.Pick.Status)
			}
			if next := o.at("north", "2026-10-01"); next.Pick.Status != holds.None {
				t.Errorf("in the next crop year: got %s", next.Pick.Status)
			}
			if in, because := o.state("north").PickAt(block("north"), o.when("2026-07-01T09:00:00"), o.Zone()); !in || len(because) == 0 {
				t.Error("a pick while the label must be read is not inside")
			}
		})
	}
}

func TestNoLabel(t *testing.T) {
	t.Parallel()
	o := newOrchard(t, honolulu, "typed", "missing", "spreader", "plan")
	o.sprayed(ended, ended, block("typed"), events.MixItem{Product: "Old Can", Registration: "1-1"})
	o.sprayed(ended, ended, block("missing"), events.MixItem{Label: "019b76df-0000-7000-8000-000000000001"})
	o.sprayed(ended, ended, block("spreader"), events.MixItem{Product: "Spreader", Role: "adjuvant"})
	plan := o.Add("2026-05-01", &events.SprayPlanned{Where: block("plan"), From: "2026-06-01", Mix: []events.MixItem{{Product: "Old Can"}}})
	o.sprayed(ended, ended, rows("plan", "1"), events.MixItem{Label: plan.ID.String()}) // an id, but of no label
	for code, status := range map[string]holds.Status{"typed": holds.ReadTheLabel, "missing": holds.ReadTheLabel, "spreader": holds.None} {
		got := o.at(code, minute)
		if got.Pick.Status != status || got.Enter.Status != status {
			t.Errorf("%s: got %s and %s, want %s", code, got.Pick.Status, got.Enter.Status, status)
		}
	}
	if got := o.at("plan", minute); got.Pick.Status != holds.ReadTheLabel {
		t.Errorf("a plan named as a label: got %s", got.Pick.Status)
	}
	if got := o.at("typed", minute).Pick.Because[0]; got.Product != "Old Can" || got.Label != "" {
		t.Errorf("got %+v", got)
	}
}

// The label's rule decides, else the farm's setting on the day of the spray, else full days.
func TestCountRule(t *testing.T) {
	t.Parallel()
	const date, elapsed, full = "2026-06-08T00:00:00-10:00", "2026-06-08T16:00:00-10:00", "2026-06-09T00:00:00-10:00"
	for _, tt := range []struct{ rule, setting, from string }{
		{"", "", full}, {"date", "", date}, {"elapsed", "", elapsed}, {"full-days", "", full}, {"label-says", "", full},
		{"", "date", date}, {"", "elapsed", elapsed}, {"", "full-days", full},
		{"full-days", "date", full}, {"label-says", "date", full}, {"date", "full-days", date}, {"elapsed", "date", elapsed},
	} {
		o := newOrchard(t, honolulu)
		if tt.setting != "" {
			o.Add("2026-01-01", &events.SettingAdopted{Name: "count-rule", Value: events.Raw(`"` + tt.setting + `"`), From: "2026-06-01"})
			o.Add("2026-01-01", &events.SettingAdopted{Name: "count-rule", Value: events.Raw(`"full-days"`), From: "2026-06-02"})
		}
		o.sprayed(ended, ended, block("north"), o.label(label("A", numeric(7, "d", tt.rule))))
		got := o.at("north", minute).Pick
		want(t, tt.rule+" "+tt.setting, got, holds.Waiting, tt.from)
		if *got.Readings != (holds.Counted{Date: date, Elapsed: elapsed, Full: full}) {
			t.Errorf("%v: got readings %+v", tt, got.Readings)
		}
		if got.Because[0].Words != "do not harvest within 7 d" || got.Because[0].Term != "PHI" {
			t.Errorf("%v: got %+v", tt, got.Because[0])
		}
	}
}

// Every product's label binds; the latest counts for every reading apart.
func TestSeveralProducts(t *testing.T) {
	t.Parallel()
	o := newOrchard(t, honolulu)
	a := o.label(label("A", numeric(7, "d", "date"), entry(12)))
	b := o.label(label("B", numeric(6, "d", "elapsed"), entry(4)))
	h := o.label(label("H", numeric(180, "h", ""), entry(0))) // 7.5 days
	o.sprayed("2026-06-01T15:00:00-10:00", ended, block("north"), a, b, h)
	got := o.at("north", minute)
	want(t, "pick", got.Pick, holds.Waiting, "2026-06-09T04:00:00-10:00")
	if *got.Pick.Readings != (holds.Counted{Date: "2026-06-09T04:00:00-10:00", Elapsed: "2026-06-09T04:00:00-10:00", Full: "2026-06-09T04:00:00-10:00"}) {
		t.Errorf("hours beside days: got %+v", got.Pick.Readings)
	}
	want(t, "enter", got.Enter, holds.Waiting, "2026-06-02T04:00:00-10:00")
	if got, wanted := products(got.Pick), []string{"A", "B", "H"}; !slices.Equal(got, wanted) {
		t.Errorf("because: got %v, want %v", got, wanted)
	}
	if got, wanted := products(got.Enter), []string{"A", "B"}; !slices.Equal(got, wanted) {
		t.Errorf("because of entering: got %v, want %v: 0 h have run out", got, wanted)
	}
	// B's elapsed end, 7 June 16:00, has gone by; A's date, 8 June, has gone by at its start; H runs.
	if got, wanted := products(o.at("north", "2026-06-08T00:00:00").Pick), []string{"H"}; !slices.Equal(got, wanted) {
		t.Errorf("because on 8 June: got %v, want %v", got, wanted)
	}
	want(t, "at H's end", o.at("north", "2026-06-09T04:00:00").Pick, holds.RunOut, "2026-06-09T04:00:00-10:00")
}

// Hours alone give only elapsed time; where a reading of days is still to come they give theirs to all.
func TestHours(t *testing.T) {
	t.Parallel()
	o := newOrchard(t, honolulu, "hours", "both", "before")
	h := o.label(label("H", numeric(48, "h", ""), entry(72)))
	d := o.label(label("D", numeric(1, "d", "date")))
	o.sprayed(ended, ended, block("hours"), h)
	o.sprayed(ended, ended, block("both"), h, d)
	if got := o.at("hours", minute).Pick; *got.Readings != (holds.Counted{Elapsed: "2026-06-03T16:00:00-10:00"}) {
		t.Errorf("hours alone: got %+v", got.Readings)
	}
	// Days that have run out by every reading do not stand beside them any more.
	o.sprayed("2026-05-01", "2026-05-01", block("before"), d)
	o.sprayed(ended, ended, block("before"), h)
	if got := o.at("before", minute).Pick; *got.Readings != (holds.Counted{Elapsed: "2026-06-03T16:00:00-10:00"}) {
		t.Errorf("hours after days that have run out: got %+v", got.Readings)
	}
	if got := o.at("both", minute).Pick; *got.Readings != (holds.Counted{Date: "2026-06-03T16:00:00-10:00", Elapsed: "2026-06-03T16:00:00-10:00", Full: "2026-06-03T16:00:00-10:00"}) {
		t.Errorf("hours beside days: got %+v", got.Readings)
	}
}

// Re-entry rules picking. Source: published, Washington State University, Crop Protection Guide for Tree Fruits, "Entry and
// Preharvest Intervals": re-entry 72 h, pre-harvest 48 h, so 72 h. The readings stay as the withholding gives them.
func TestReentryRulesPicking(t *testing.T) {
	t.Parallel()
	o := newOrchard(t, honolulu, "north", "zero", "words", "long")
	o.sprayed(ended, ended, block("north"), o.label(label("A", numeric(48, "h", ""), entry(72))))
	o.sprayed(ended, ended, block("zero"), o.label(label("Z", entry(24))))
	o.sprayed(ended, ended, block("words"), o.label(label("W", numeric(1, "d", ""), events.Reentry{Words: "until dry"})))
	o.sprayed(ended, ended, block("long"), o.label(label("L", numeric(7, "d", ""), entry(12))))
	const until = "2026-06-04T16:00:00-10:00"
	for _, at := range []string{minute, "2026-06-03T15:59:59-10:00", "2026-06-03T16:00:00-10:00", "2026-06-04T15:59:59-10:00"} {
		got := o.at("north", at)
		want(t, "pick at "+at, got.Pick, holds.Waiting, until)
		want(t, "enter at "+at, got.Enter, holds.Waiting, until)
		if got.Pick.Readings == nil || *got.Pick.Readings != (holds.Counted{Elapsed: "2026-06-03T16:00:00-10:00"}) {
			t.Errorf("readings at %s: got %+v", at, got.Pick.Readings)
		}
		if len(got.Pick.Because) == 0 {
			t.Errorf("at %s: nothing says why", at)
		}
	}
	// What makes the pick wait so long stands beside what makes it wait at all.
	if got := o.at("north", minute).Pick; len(got.Because) != 2 || got.Because[1].From != until {
		t.Errorf("because of picking: got %+v", got.Because)
	}
	want(t, "pick after", o.at("north", until).Pick, holds.RunOut, until)
	want(t, "zero: pick", o.at("zero", minute).Pick, holds.Waiting, "2026-06-02T16:00:00-10:00")
	want(t, "zero: after", o.at("zero", "2026-06-02T16:00:00").Pick, holds.RunOut, "2026-06-02T16:00:00-10:00")
	want(t, "words: pick", o.at("words", "2026-06-20").Pick, holds.ReadTheLabel, "")
	if got := o.at("words", "2026-06-20").Pick; !contains(phrases(got), "until dry") {
		t.Errorf("words: got %q", phrases(got))
	}
	if got := o.at("long", minute).Pick; len(got.Because) != 1 {
		t.Errorf("a re-entry that ends before the withholding stands in because: %+v", got.Because)
	}
}

// Several lines of one label: the strictest counts, and all that run are shown.
func TestSeveralLines(t *testing.T) {
	t.Parallel()
	o := newOrchard(t, honolulu)
	fresh, export := numeric(7, "d", ""), numeric(2, "wk", "date")
	fresh.EndUse, export.EndUse, export.Region = "fresh", "export", "overseas"
	o.sprayed(ended, ended, block("north"), o.label(label("A", fresh, export, events.Reentry{Hours: ptr(4.0), Activity: "irrigating"}, events.Reentry{Hours: ptr(24.0), Activity: "pruning"})))
	got := o.at("north", minute)
	want(t, "pick", got.Pick, holds.Waiting, "2026-06-15T00:00:00-10:00")
	want(t, "enter", got.Enter, holds.Waiting, "2026-06-02T16:00:00-10:00")
	if len(got.Pick.Because) != 2 || got.Pick.Because[0].Use != "fresh" || got.Pick.Because[1].Use != "export, overseas" || got.Enter.Because[1].Use != "pruning" {
		t.Errorf("got %+v and %+v", got.Pick.Because, got.Enter.Because)
	}
}

// A withdrawn label must be read, and its numbers still bound that from below. A label that comes late changes everything at
// once; a closed or superseded one changes nothing.
func TestLabelsLateAndGone(t *testing.T) {
	t.Parallel()
	o := newOrchard(t, honolulu, "gone", "years", "closed")
	gone := o.Add("2026-01-01", label("A", numeric(7, "d", "")))
	years := o.Add("2026-01-01", label("Y", numeric(300, "d", "")))
	closed := o.Add("2026-01-01", label("C", numeric(7, "d", "")))
	o.sprayed(ended, ended, block("gone"), events.MixItem{Label: gone.ID.String()})
	o.sprayed(ended, ended, block("years"), events.MixItem{Label: years.ID.String()})
	o.sprayed(ended, ended, block("closed"), events.MixItem{Label: closed.ID.String()})
	o.Withdraw(gone, gone)
	o.Withdraw(years, years)
	o.Add("2026-06-02", &events.LabelClosed{Label: closed.ID.String(), Reason: "cancelled"})
	newer := label("C", numeric(1, "d", ""))
	newer.Supersedes = closed.ID.String()
	o.Add("2026-06-03", newer)
	got := o.at("gone", "2026-06-20")
	want(t, "withdrawn: pick", got.Pick, holds.ReadTheLabel, "")
	want(t, "withdrawn: enter", got.Enter, holds.ReadTheLabel, "")
	if got.Pick.Because[0].Words != "do not harvest within 7 d" {
		t.Errorf("got %+v", got.Pick.Because[0])
	}
	want(t, "withdrawn: after the turn", o.at("gone", "2026-10-01").Pick, holds.None, "")
	// 300 full days after 1 June 2026 end on 29 March 2027.
	want(t, "withdrawn, long: past the turn", o.at("years", "2027-03-28T23:59:59").Pick, holds.ReadTheLabel, "")
	want(t, "withdrawn, long: after its numbers", o.at("years", "2027-03-29").Pick, holds.None, "")
	want(t, "closed and superseded", o.at("closed", minute).Pick, holds.Waiting, "2026-06-09T00:00:00-10:00")
}

// A device whose clock was off: the later reading of the two, until it is reviewed or corrected.
func TestClockOff(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		name   string
		off    time.Duration // recorder's clock less the device's
		ended  string
		review string // "", id, span, correct
		from   string
		marked bool
	}{
		{"right", 5 * time.Minute, ended, "", "2026-06-08T16:00:00-10:00", false},
		{"slow", 2 * time.Hour, ended, "", "2026-06-08T18:00:00-10:00", true},
		{"fast", -2 * time.Hour, ended, "", "2026-06-08T16:00:00-10:00", true},
		{"slow, reviewed", 2 * time.Hour, ended, "id", "2026-06-08T16:00:00-10:00", false},
		{"slow, reviewed by place", 2 * time.Hour, ended, "span", "2026-06-08T16:00:00-10:00", false},
		{"slow, corrected", 2 * time.Hour, ended, "correct", "2026-06-08T16:30:00-10:00", false},
		{"slow by an hour, a date", time.Hour, "2026-06-01", "", "2026-06-10T00:00:00-10:00", true},
		{"slow by a day, a date", 24 * time.Hour, "2026-06-01", "", "2026-06-10T00:00:00-10:00", true},
		{"fast, a date", -time.Hour, "2026-06-01", "", "2026-06-09T00:00:00-10:00", true},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			o := newOrchard(t, honolulu)
			item := o.label(label("A", numeric(7, "d", "elapsed")))
			sent := o.Next().Add(-tt.off).Format(time.RFC3339)
			rec := o.AddFrom(events.Draft{DeviceTime: sent + " " + sent}, spray("2026-06-01", tt.ended, block("north"), item))
			switch tt.review {
			case "id":
				o.Add("2026-06-03", &events.RecordsReviewed{Records: []string{rec.ID.String()}, Reviewer: applicator})
			case "span":
				o.Add("2026-06-03", &events.RecordsReviewed{Span: &events.Span{First: int(rec.Place), Last: int(rec.Place) + 1}, Reviewer: applicator})
			case "correct":
				o.Correct(rec, rec, "2026-06-01T16:30:00-10:00", spray("2026-06-01", "2026-06-01T16:30:00-10:00", block("north"), item))
			}
			got := o.at("north", "2026-06-03")
			want(t, "pick", got.Pick, holds.Waiting, tt.from)
			if marked := contains(got.Pick.Because[0].Marks, holds.MarkClockOff); marked != tt.marked {
				t.Errorf("got marks %v", got.Pick.Because[0].Marks)
			}
		})
	}
}
