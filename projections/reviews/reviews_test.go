package reviews_test

import (
	"encoding/json"
	"slices"
	"strings"
	"testing"
	"time"

	"latewood/events"
	"latewood/events/civil"
	"latewood/projections"
	"latewood/projections/foldtest"
	"latewood/projections/reviews"
)

const (
	worker = "w_00000000000000000000000000000001"
	boss   = "w_00000000000000000000000000000002"
)

func training(f *foldtest.Farm, day string) *events.Record {
	return f.Add("", &events.TrainingGiven{Common: events.Common{By: worker}, Date: day, Kind: "produce-safety", Topics: []string{"hands"}, Trained: []string{worker}})
}

func review(f *foldtest.Farm, at, who string, of ...*events.Record) *events.Record {
	r := &events.RecordsReviewed{Reviewer: who, Role: "supervisor"}
	for _, x := range of {
		r.Records = append(r.Records, x.ID.String())
	}
	return f.Add(at, r)
}

// ask is the report on a day, the same whatever the order of arrival.
func ask(t *testing.T, f *foldtest.Farm, on civil.Date) reviews.Doc {
	t.Helper()
	text := func(records []*events.Record) string {
		j, err := json.Marshal(reviews.Report(foldtest.BookOf(t, records), on))
		if err != nil {
			t.Fatal(err)
		}
		return string(j)
	}
	turned := slices.Clone(f.Records)
	slices.Reverse(turned)
	if a, b := text(f.Records), text(turned); a != b {
		t.Errorf("the order of arrival changes the report:\n%s\n%s", a, b)
	}
	foldtest.Laws(t, f.Records, []*projections.Fold{reviews.Blocks(), reviews.Farm()}, 5)
	return reviews.Report(f.Book(), on)
}

func day(d int) civil.Date { return civil.Date{Year: 2026, Month: time.March, Day: d} }

// What 21 CFR 112.161(b) wants looked over, and what counts as a look.
func TestReport(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		name     string
		make     func(f *foldtest.Farm)
		on       civil.Date
		due      string // kind, due day and overdue of each row
		reviewed string // kind, reviewer's role, marks
	}{
		{"training without a review", func(f *foldtest.Farm) { training(f, "2026-03-01") }, day(5), "training.given 2026-03-08", ""},
		{"the last day of the term", func(f *foldtest.Farm) { training(f, "2026-03-01") }, day(8), "training.given 2026-03-08", ""},
		{"a day later", func(f *foldtest.Farm) { training(f, "2026-03-01") }, day(9), "training.given 2026-03-08 overdue", ""},
		{"before it happened", func(f *foldtest.Farm) { training(f, "2026-03-01") }, civil.Date{Year: 2026, Month: time.February, Day: 27}, "", ""},
		{"reviewed by its id", func(f *foldtest.Farm) { review(f, "2026-03-02T08:00:00-10:00", boss, training(f, "2026-03-01")) }, day(9), "", "training.given supervisor"},
		{"reviewed by a span of places", func(f *foldtest.Farm) {
			x := training(f, "2026-03-01")
			f.Add("2026-03-02T08:00:00-10:00", &events.RecordsReviewed{Span: &events.Span{First: int(x.Place), Last: int(x.Place) + 3}, Reviewer: boss, Role: "supervisor"})
		}, day(9), "", "training.given supervisor"},
		{"a span that ends before it", func(f *foldtest.Farm) {
			x := training(f, "2026-03-01")
			f.Add("2026-03-02T08:00:00-10:00", &events.RecordsReviewed{Span: &events.Span{First: 1, Last: int(x.Place) - 1}, Reviewer: boss})
		}, day(9), "training.given 2026-03-08 overdue", ""},
		{"asked about the day before the review", func(f *foldtest.Farm) { review(f, "2026-03-05T08:00:00-10:00", boss, training(f, "2026-03-01")) }, day(4), "training.given 2026-03-08", ""},
		{"reviewed too late", func(f *foldtest.Farm) { review(f, "2026-03-12T08:00:00-10:00", boss, training(f, "2026-03-01")) }, day(20), "", "training.given supervisor overdue"},
		{"reviewed by who made it", func(f *foldtest.Farm) { review(f, "2026-03-02T08:00:00-10:00", worker, training(f, "2026-03-01")) }, day(9), "", "training.given supervisor same"},
		{"corrected after the review", func(f *foldtest.Farm) {
			x := training(f, "2026-03-01")
			review(f, "2026-03-02T08:00:00-10:00", boss, x)
			f.Correct(x, x, "", &events.TrainingGiven{Common: events.Common{By: worker}, Date: "2026-03-01", Kind: "produce-safety", Topics: []string{"hands", "tools"}, Trained: []string{worker}})
		}, day(9), "training.given 2026-03-08 overdue", ""},
		{"the correction was reviewed", func(f *foldtest.Farm) {
			x := training(f, "2026-03-01")
			c := f.Correct(x, x, "", &events.TrainingGiven{Common: events.Common{By: worker}, Date: "2026-03-01", Kind: "produce-safety", Topics: []string{"hands", "tools"}, Trained: []string{worker}})
			review(f, "2026-03-03T08:00:00-10:00", boss, c)
		}, day(9), "", "training.given supervisor"},
		{"a review that was withdrawn", func(f *foldtest.Farm) {
			r := review(f, "2026-03-02T08:00:00-10:00", boss, training(f, "2026-03-01"))
			f.Withdraw(r, r)
		}, day(9), "training.given 2026-03-08 overdue", ""},
		{"withdrawn, nothing is due", func(f *foldtest.Farm) { x := training(f, "2026-03-01"); f.Withdraw(x, x) }, day(9), "", ""},
		{"tools cleaned in a block, manure, mineral fertiliser, a pick", func(f *foldtest.Farm) {
			where := events.Where{{Block: "north"}}
			f.Add("2026-03-01T08:00:00-10:00", &events.ToolCleaned{What: "shears", Method: "boiled", Where: where})
			f.Add("2026-03-02T08:00:00-10:00", &events.NutrientApplied{Where: where, Material: "chicken manure", Origin: "animal", Total: &events.Quantity{Value: 50, Unit: "kg"}})
			f.Add("2026-03-02T08:00:00-10:00", &events.NutrientApplied{Where: where, Material: "potash", Origin: "mineral", Total: &events.Quantity{Value: 5, Unit: "kg"}})
			f.Add("2026-03-02T08:00:00-10:00", &events.FruitPicked{Where: where, Mass: &events.Quantity{Value: 5, Unit: "kg"}})
		}, day(3), "tool.cleaned 2026-03-08, nutrient.applied 2026-03-09", ""},
		{"the farm's own term", func(f *foldtest.Farm) {
			f.Add("2026-01-01", &events.SettingAdopted{Name: "review-days", Value: events.Raw("30"), From: "2026-01-01"})
			training(f, "2026-03-01")
		}, day(9), "training.given 2026-03-31", ""},
		{"a farm that goes by other rules", func(f *foldtest.Farm) {
			f.Add("2026-01-01", &events.SettingAdopted{Name: "rule-sets", Value: events.Raw(`"eu-plant-protection"`), From: "2026-01-01"})
			training(f, "2026-03-01")
		}, day(9), "", ""},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			f := foldtest.NewFarm(t, "Pacific/Honolulu")
			tt.make(f)
			d := ask(t, f, tt.on)
			var due, done []string
			for _, r := range d.Rows {
				text := r.Kind + " " + r.Due
				if r.Overdue {
					text += " overdue"
				}
				due = append(due, text)
				if r.Source.Source == "" || r.Edition == "" || r.Mark == "" || r.Read == "" {
					t.Errorf("the row has no whole source: %+v", r)
				}
			}
			for _, r := range d.Reviewed {
				text := r.Kind + " " + r.Reviews[0].Role
				if r.Reviews[0].Same {
					text += " same"
				}
				if r.Overdue {
					text += " overdue"
				}
				done = append(done, text)
			}
			if got := strings.Join(due, ", "); got != tt.due {
				t.Errorf("due %q, want %q", got, tt.due)
			}
			if got := strings.Join(done, ", "); got != tt.reviewed {
				t.Errorf("reviewed %q, want %q", got, tt.reviewed)
			}
		})
	}
}

// Lateness counts from the end of the spray to when it was noted, and the last hour of the term is within it.
func TestLate(t *testing.T) {
	t.Parallel()
	f := foldtest.NewFarm(t, "Pacific/Honolulu")
	yes, hours := true, 4.0
	l := f.Add("2015-01-01", &events.LabelFiled{
		Product: "Invented", Material: "pesticide", ReadBy: "test", Registration: "1", Crop: "lychee", RestrictedUse: &yes,
		ActiveIngredients: []events.Ingredient{{Name: "a"}}, Reentry: events.OneOrMany[events.Reentry]{{Hours: &hours}},
		Withholding: events.OneOrMany[events.Withholding]{{Kind: "zero"}},
	})
	spray := func(day, noted string) *events.Record {
		return f.AddFrom(events.Draft{NotedTime: noted}, &events.SprayApplied{
			Where:   events.OneOrMany[events.SprayedPart]{{Part: events.Part{Block: "north"}}},
			Started: day + "T06:00:00-10:00", Ended: day + "T08:00:00-10:00", Target: "mites",
			Mix: []events.MixItem{{Label: l.ID.String()}}, Applicator: &events.Person{Code: worker},
		})
	}
	spray("2025-06-01", "2025-06-15T08:00:00-10:00") // on the hour of the fourteenth day
	late := spray("2025-07-01", "2025-07-15T09:00:00-10:00")
	d := ask(t, f, day(1))
	if len(d.Late) != 1 || d.Late[0].Record != late.ID.String() || d.Late[0].Hours != 14*24+1 || d.Late[0].Within != 14*24 || d.Late[0].Term != "rup.record_by" {
		t.Errorf("late: %+v", d.Late)
	}
}
