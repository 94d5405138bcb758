package elements_test

import (
	"slices"
	"strings"
	"testing"

	"latewood/events"
	"latewood/events/words"
	"latewood/projections/elements"
	"latewood/projections/foldtest"
)

func q(value float64, unit string) *events.Quantity {
	return &events.Quantity{Value: value, Unit: unit}
}

// Every row has its source, edition and date, an id of its own, and a name in every language that has the sheets.
func TestTable(t *testing.T) {
	t.Parallel()
	seen := map[string]bool{}
	for _, e := range elements.Table() {
		if seen[e.ID] {
			t.Errorf("%s stands twice", e.ID)
		}
		seen[e.ID] = true
		if e.Source == "" || e.Edition == "" || e.Mark == "" || e.Read == "" {
			t.Errorf("%s lacks where it is from: %+v", e.ID, e)
		}
		for _, lang := range words.Languages() {
			c, err := words.In(lang)
			if err != nil {
				t.Fatal(err)
			}
			if !c.Has("element." + e.ID) {
				t.Errorf("%s has no name in %s", e.ID, lang)
			}
			if name := e.Words(c); strings.Contains(name, "⟦") {
				t.Errorf("%s: %s", e.ID, name)
			}
		}
	}
	for _, set := range []elements.Set{elements.Restricted, elements.Spot, elements.Commercial, elements.Display, elements.Warning, elements.Entry} {
		if len(elements.Of(set)) == 0 {
			t.Errorf("%s has no elements", set)
		}
	}
	t.Logf("counts: %d elements", len(seen))
}

// Which rules are looked at depends on what the products are.
func TestSets(t *testing.T) {
	t.Parallel()
	yes, no, four := true, false, 4.0
	days := 7.0
	reentry := events.OneOrMany[events.Reentry]{{Hours: &four}}
	withholding := events.OneOrMany[events.Withholding]{{Kind: "numeric", Value: &days, Unit: "d"}}
	pesticide := events.LabelFiled{Product: "Invented", Material: "pesticide", ReadBy: "owner", Registration: "INVENTED-1", Crop: "lychee", CropListed: &yes,
		ActiveIngredients: []events.Ingredient{{Name: "invented"}}, Withholding: withholding, Reentry: reentry}
	with := func(change func(*events.LabelFiled)) *events.LabelFiled {
		l := pesticide
		change(&l)
		return &l
	}
	all := []elements.Set{elements.Restricted, elements.Display, elements.Warning}
	for _, tc := range []struct {
		name  string
		label *events.LabelFiled // nil: typed
		role  string
		want  []elements.Set
		doubt bool // in what the restricted-use rule wants
	}{
		{"restricted", with(func(l *events.LabelFiled) { l.RestrictedUse = &yes }), "", all, false},
		{"not restricted", with(func(l *events.LabelFiled) { l.RestrictedUse = &no }), "", []elements.Set{elements.Display, elements.Warning}, false},
		{"the label as filed does not say", &pesticide, "", all, true},
		{"typed without a label", nil, "", []elements.Set{elements.Restricted, elements.Display}, true},
		{"minimum risk", &events.LabelFiled{Product: "Oil", Material: "minimum-risk", ReadBy: "owner", Reentry: reentry}, "", nil, false},
		{"an adjuvant's label", &events.LabelFiled{Product: "Spreader", Material: "adjuvant", ReadBy: "owner"}, "adjuvant", nil, false},
		{"nutrient in the mix", &pesticide, "nutrient", nil, false},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			f := foldtest.NewFarm(t, "America/New_York")
			f.Add("2010-01-01", &events.BlockEstablished{Block: "north", Name: "North", Area: *q(1, "har")})
			item := events.MixItem{Product: "Typed", Role: tc.role}
			if tc.label != nil {
				item = events.MixItem{Label: f.Add("2026-01-02", tc.label).ID.String(), Role: tc.role}
			}
			rec := f.Add("", &events.SprayApplied{
				Where:   events.OneOrMany[events.SprayedPart]{{Part: events.Part{Block: "north"}}},
				Started: "2026-05-04T06:00:00-04:00", Ended: "2026-05-04T08:00:00-04:00", Mix: []events.MixItem{item}, Target: "mites",
				Applicator: &events.Person{Code: "w_000000000000000000000000000000a1"},
			})
			b := f.Book()
			s := elements.OfSpray(b, b.Fact(rec.ID), nil)
			if !slices.Equal(s.Sets, tc.want) {
				t.Errorf("looked at %v, want %v", s.Sets, tc.want)
			}
			for _, m := range s.Missing {
				if strings.HasPrefix(m.Element, "rup.") && (m.Doubt != "") != tc.doubt {
					t.Errorf("%s: doubt %q", m.Element, m.Doubt)
				}
			}
		})
	}
}

// A withdrawn record lacks nothing: it does not count.
func TestWithdrawn(t *testing.T) {
	t.Parallel()
	f := foldtest.NewFarm(t, "America/New_York")
	rec := f.Add("", &events.EntryMade{Where: events.Where{{Block: "north"}}, Who: events.OneOrMany[string]{"w_000000000000000000000000000000a1"},
		From: "2026-05-04T06:00:00-04:00", Until: "2026-05-04T07:00:00-04:00"})
	b := f.Book()
	if got := elements.OfFact(b, b.Fact(rec.ID), nil); len(got) != len(elements.Of(elements.Entry)) {
		t.Errorf("an empty entry lacks %d elements, want all %d", len(got), len(elements.Of(elements.Entry)))
	}
	f.Withdraw(rec, rec)
	b = f.Book()
	if got := elements.OfFact(b, b.Fact(rec.ID), nil); len(got) != 0 {
		t.Errorf("a withdrawn entry lacks %v", got)
	}
}
