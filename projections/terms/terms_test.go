package terms_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"latewood/events"
	"latewood/projections/terms"
)

// The terms with a deadline that the project's facts list (compliance 0, 2.2, 3.1, 3.2, 5.1), with the value given there.
// Published sources: 7 CFR 110.3(c), (d); 7 U.S.C. 136i-1(a)(1), (2); 40 CFR 170.311(b), 170.409(b); 21 CFR 112.42, 112.43,
// 112.161(b), 112.164; 21 CFR 1.1455(c), (d); 7 CFR 1437; Regulation (EC) 1107/2009 art. 67(1).
func TestTableHoldsTheFacts(t *testing.T) {
	t.Parallel()
	const day = 24 * time.Hour
	want := []struct {
		id     string
		kind   terms.Kind
		within time.Duration
		years  int
	}{
		{"rup.record_by", terms.Record, 14 * day, 0},
		{"rup.customer_copy", terms.Give, 30 * day, 0},
		{"rup.keep", terms.Keep, 0, 2},
		{"wps.display_by", terms.Post, day, 0},
		{"wps.display_until", terms.Keep, 30 * day, 0},
		{"wps.copy_on_request", terms.Give, 14 * day, 0},
		{"wps.sign_before", terms.Post, day, 0},
		{"wps.sign_after", terms.Post, 3 * day, 0},
		{"wps.keep", terms.Keep, 0, 2},
		{"psr.record_when_done", terms.Record, 0, 0},
		{"psr.review", terms.Review, 7 * day, 0},
		{"psr.water_again", terms.Again, 0, 1},
		{"psr.exemption_again", terms.Again, 0, 1},
		{"psr.keep", terms.Keep, 0, 2},
		{"ftr.provide", terms.Give, day, 0},
		{"ftr.keep", terms.Keep, 0, 2},
		{"nap.keep", terms.Keep, 0, 3},
		{"eu.keep", terms.Keep, 0, 3},
	}
	for _, w := range want {
		i := slices.IndexFunc(terms.Table(), func(row terms.Term) bool { return row.ID == w.id })
		if i < 0 {
			t.Errorf("no row %s", w.id)
			continue
		}
		if got := terms.Table()[i]; got.Kind != w.kind || got.Within != w.within || got.Years != w.years {
			t.Errorf("%s is %s within %s, %d years; want %s, %s, %d", w.id, got.Kind, got.Within, got.Years, w.kind, w.within, w.years)
		}
	}
	t.Logf("counts: %d terms", len(want))
}

// Every row says where it comes from, in which edition, how and when it was read, and speaks of kinds that there are.
func TestRowsAreWhole(t *testing.T) {
	t.Parallel()
	marks := []terms.Mark{terms.Published, terms.SecondHand, terms.Memory, terms.Practice}
	seen := map[string]bool{}
	for _, row := range terms.Table() {
		if seen[row.ID] {
			t.Errorf("%s stands twice", row.ID)
		}
		seen[row.ID] = true
		if row.Rules == "" || row.Source == "" || row.Edition == "" || !slices.Contains(marks, row.Mark) {
			t.Errorf("%s is not whole: %+v", row.ID, row)
		}
		if _, err := time.Parse(time.DateOnly, row.Read); err != nil {
			t.Errorf("%s was read on %q", row.ID, row.Read)
		}
		if row.Within != 0 && row.Years != 0 {
			t.Errorf("%s counts in days and in years", row.ID)
		}
		for _, kind := range row.Kinds {
			if events.Standard().Kind(kind) == nil {
				t.Errorf("%s is about %s, which is no kind of records", row.ID, kind)
			}
		}
		if strings.ContainsAny(row.Rules, " \t") {
			t.Errorf("the rule set %q of %s is not one word", row.Rules, row.ID)
		}
	}
}

func TestOf(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		name   string
		kind   terms.Kind
		record string
		rules  []string
		want   []string
	}{
		{"a spray, restricted use", terms.Record, "spray.applied", []string{"us-restricted-use"}, []string{"rup.record_by"}},
		{"a spray, two sets", terms.Record, "spray.applied", []string{"eu-plant-protection", "us-restricted-use"}, []string{"rup.record_by", "eu.electronic_by"}},
		{"a spray, no set", terms.Record, "spray.applied", nil, nil},
		{"training", terms.Review, "training.given", []string{"us-produce"}, []string{"psr.review"}},
		{"a pick wants no review", terms.Review, "fruit.picked", []string{"us-produce"}, nil},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			var got []string
			for _, row := range terms.Of(tt.kind, tt.record, tt.rules) {
				got = append(got, row.ID)
			}
			if !slices.Equal(got, tt.want) {
				t.Errorf("Of(%s, %s, %q) = %q, want %q", tt.kind, tt.record, tt.rules, got, tt.want)
			}
		})
	}
}
