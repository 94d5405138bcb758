package flags_test

import (
	"slices"
	"strings"
	"testing"

	"latewood/events"
	"latewood/projections"
	"latewood/projections/flags"
	"latewood/projections/foldtest"
)

func q(value float64, unit string) *events.Quantity {
	return &events.Quantity{Value: value, Unit: unit}
}

func where(block string, trees ...string) events.Where {
	return events.Where{{Block: block, Trees: trees}}
}

// orchard opens an invented farm with a block of four trees.
func orchard(t *testing.T) *foldtest.Farm {
	t.Helper()
	f := foldtest.NewFarm(t, "Pacific/Honolulu")
	f.Add("2010-01-01", &events.BlockEstablished{Block: "north", Name: "North", Area: *q(0.5, "har")})
	for _, tree := range []string{"n-1", "n-2", "n-3", "n-4"} {
		f.Add("", &events.TreePlanted{Tree: tree, Block: "north", Row: "1", Cultivar: "Bengal", Planted: "2012"})
	}
	return f
}

// label files an invented label that states every limit.
func label(f *foldtest.Farm, change func(*events.LabelFiled)) *events.Record {
	four, ten := 2, 14
	listed := true
	l := &events.LabelFiled{
		Product: "Mitefall 80 (invented)", Material: "pesticide", ReadBy: "test", Registration: "INVENTED-1", Crop: "lychee", CropListed: &listed,
		ActiveIngredients: []events.Ingredient{{Name: "invented sulphur", Share: q(80, "%")}},
		Withholding:       events.OneOrMany[events.Withholding]{{Kind: "zero"}},
		Reentry:           events.OneOrMany[events.Reentry]{{Words: "until dry"}},
		Rates:             []events.LabelRate{{Max: q(6, "kg/har")}}, MostApplications: &four, LeastDaysBetween: &ten, WindLimit: q(4, "m/s"),
	}
	if change != nil {
		change(l)
	}
	return f.Add("2015-01-01", l)
}

// spray applies a product to the whole block within its limits.
func spray(l *events.Record, day string, change func(*events.SprayApplied)) *events.SprayApplied {
	s := &events.SprayApplied{
		Where:   events.OneOrMany[events.SprayedPart]{{Part: events.Part{Block: "north"}}},
		Started: day + "T06:00:00-10:00", Ended: day + "T08:00:00-10:00", AreaTreated: q(0.5, "har"), Target: "mites",
		Mix:        []events.MixItem{{Label: l.ID.String(), Rate: q(4, "kg/har"), Total: q(2, "kg")}},
		Applicator: &events.Person{Code: "w_00000000000000000000000000000001"},
	}
	if change != nil {
		change(s)
	}
	return s
}

// namesOf lists the flags of a record.
func namesOf(t *testing.T, records []*events.Record, of *events.Record) []string {
	t.Helper()
	var out []string
	for _, fl := range flags.All(foldtest.BookOf(t, records)) {
		if fl.ID == of.ID.String() {
			out = append(out, fl.Name)
			if strings.Contains(fl.Why(), "⟦") {
				t.Errorf("the sentence of %s is not whole: %s", fl.Name, fl.Why())
			}
		}
	}
	slices.Sort(out)
	return slices.Compact(out)
}

func TestFlags(t *testing.T) {
	t.Parallel()
	no, yes := false, true
	tests := []struct {
		name string
		make func(f *foldtest.Farm) *events.Record // returns the record that is looked at
		want []string
	}{
		{"a spray within every limit", func(f *foldtest.Farm) *events.Record { return f.Add("", spray(label(f, nil), "2020-05-01", nil)) }, nil},
		{"crop not listed", func(f *foldtest.Farm) *events.Record {
			return f.Add("", spray(label(f, func(l *events.LabelFiled) { l.CropListed = &no }), "2020-05-01", nil))
		}, []string{"crop-not-listed"}},
		{"before its label was filed", func(f *foldtest.Farm) *events.Record { return f.Add("", spray(label(f, nil), "2014-05-01", nil)) }, []string{"before-label"}},
		{"over the rate", func(f *foldtest.Farm) *events.Record {
			return f.Add("", spray(label(f, nil), "2020-05-01", func(s *events.SprayApplied) { s.Mix[0].Rate, s.Mix[0].Total = q(7, "kg/har"), q(3.5, "kg") }))
		}, []string{"over-rate"}},
		{"a slipped point in rate and total", func(f *foldtest.Farm) *events.Record {
			return f.Add("", spray(label(f, nil), "2020-05-01", func(s *events.SprayApplied) { s.Mix[0].Rate = q(40, "kg/har") }))
		}, []string{"did-you-mean", "over-rate"}},
		{"the same rate in pounds an acre", func(f *foldtest.Farm) *events.Record {
			return f.Add("", spray(label(f, nil), "2020-05-01", func(s *events.SprayApplied) { s.Mix[0].Rate = q(3.5, "[lb_av]/[acr_us]") }))
		}, nil},
		{"over the wind", func(f *foldtest.Farm) *events.Record {
			return f.Add("", spray(label(f, nil), "2020-05-01", func(s *events.SprayApplied) {
				s.Conditions = []events.Condition{{At: "2020-05-01T06:00:00-10:00", WindSpeed: q(10, "[mi_i]/h")}}
			}))
		}, []string{"over-wind"}},
		{"too soon", func(f *foldtest.Farm) *events.Record {
			l := label(f, nil)
			f.Add("", spray(l, "2020-05-01", nil))
			return f.Add("", spray(l, "2020-05-14", nil))
		}, []string{"too-soon"}},
		{"soon enough on other trees", func(f *foldtest.Farm) *events.Record {
			l := label(f, nil)
			f.Add("", spray(l, "2020-05-01", func(s *events.SprayApplied) { s.Where[0].Trees = []string{"n-1"} }))
			return f.Add("", spray(l, "2020-05-02", func(s *events.SprayApplied) { s.Where[0].Trees = []string{"n-2"} }))
		}, nil},
		{"the third of two applications", func(f *foldtest.Farm) *events.Record {
			l := label(f, nil)
			f.Add("", spray(l, "2020-03-01", nil))
			f.Add("", spray(l, "2020-04-01", nil))
			return f.Add("", spray(l, "2020-05-01", nil))
		}, []string{"over-season"}},
		{"the first of the next season", func(f *foldtest.Farm) *events.Record {
			l := label(f, nil)
			f.Add("", spray(l, "2020-03-01", nil))
			f.Add("", spray(l, "2020-04-01", nil))
			return f.Add("", spray(l, "2020-10-02", nil))
		}, nil},
		{"restricted, without a certificate", func(f *foldtest.Farm) *events.Record {
			return f.Add("", spray(label(f, func(l *events.LabelFiled) { l.RestrictedUse = &yes }), "2020-05-01", nil))
		}, []string{"late", "no-certificate"}}, // written down in 2026
		{"restricted, noted on the tenth day", func(f *foldtest.Farm) *events.Record {
			l := label(f, func(l *events.LabelFiled) { l.RestrictedUse = &yes })
			return f.AddFrom(events.Draft{NotedTime: "2020-05-11T08:00:00-10:00"}, spray(l, "2020-05-01", func(s *events.SprayApplied) {
				s.Applicator.Commitment = "47DEQpj8HBSa+/TImW+5JCeuQeRkm5NMpJWZG3hSuFU="
			}))
		}, nil},
		{"a label that was closed", func(f *foldtest.Farm) *events.Record {
			l := label(f, nil)
			f.Add("2019-12-01", &events.LabelClosed{Label: l.ID.String(), Reason: "cancelled", LastLawfulUse: "2020-04-30"})
			return f.Add("", spray(l, "2020-05-01", nil))
		}, []string{"label-closed"}},
		{"its last lawful day", func(f *foldtest.Farm) *events.Record {
			l := label(f, nil)
			f.Add("2019-12-01", &events.LabelClosed{Label: l.ID.String(), Reason: "cancelled", LastLawfulUse: "2020-05-01"})
			return f.Add("", spray(l, "2020-05-01", nil))
		}, nil},
		{"a label that is not here", func(f *foldtest.Farm) *events.Record {
			l := label(f, nil)
			f.Records = slices.DeleteFunc(f.Records, func(r *events.Record) bool { return r == l })
			return f.Add("", spray(l, "2020-05-01", nil))
		}, []string{"waits-for"}},
		{"a label that was withdrawn", func(f *foldtest.Farm) *events.Record {
			l := label(f, nil)
			f.Withdraw(l, l)
			return f.Add("", spray(l, "2020-05-01", nil))
		}, []string{"refers-to-nothing"}},
		{"a tree nobody planted", func(f *foldtest.Farm) *events.Record {
			return f.Add("2020-06-01", &events.FruitPicked{Where: where("north", "n-9"), Mass: q(5, "kg")})
		}, []string{"waits-for"}},
		{"a tree before it was planted", func(f *foldtest.Farm) *events.Record {
			return f.Add("2011-06-01", &events.FruitPicked{Where: where("north", "n-1"), Mass: q(5, "kg")})
		}, []string{"not-in-block"}},
		{"a block nobody established", func(f *foldtest.Farm) *events.Record {
			return f.Add("2020-06-01", &events.FruitPicked{Where: where("south"), Mass: q(5, "kg")})
		}, []string{"waits-for"}},
		{"a code used again", func(f *foldtest.Farm) *events.Record {
			return f.Add("", &events.TreePlanted{Tree: "n-1", Block: "north", Row: "2", Cultivar: "Kaimana", Planted: "2019"})
		}, []string{"code-reused"}},
		{"a tree of 1,000 kg", func(f *foldtest.Farm) *events.Record {
			return f.Add("2020-06-01T09:00:00-10:00", &events.FruitPicked{Where: where("north", "n-1"), Mass: q(1000, "kg")})
		}, []string{"did-you-mean"}},
		{"two picks alike", func(f *foldtest.Farm) *events.Record {
			f.Add("2020-06-01T09:00:00-10:00", &events.FruitPicked{Where: where("north", "n-1"), Mass: q(10, "kg")})
			return f.Add("2020-06-01T11:00:00-10:00", &events.FruitPicked{Where: where("north", "n-1"), Mass: q(10, "kg")})
		}, []string{"looks-like"}},
		{"a clock that was off", func(f *foldtest.Farm) *events.Record {
			return f.AddFrom(events.Draft{Time: "2020-06-01T09:00:00-10:00", DeviceTime: "2020-06-01T09:00:00-10:00 2025-12-31T13:00:00-10:00"},
				&events.FruitPicked{Where: where("north", "n-1"), Mass: q(10, "kg")})
		}, []string{"clock-off"}},
		{"a correction without its record", func(f *foldtest.Farm) *events.Record {
			p := f.Add("2020-06-01", &events.FruitPicked{Where: where("north", "n-1"), Mass: q(10, "kg")})
			c := f.Correct(p, p, "", &events.FruitPicked{Where: where("north", "n-1"), Mass: q(11, "kg")})
			f.Records = slices.DeleteFunc(f.Records, func(r *events.Record) bool { return r == p })
			return c
		}, []string{"waits-for"}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			f := orchard(t)
			of := tt.make(f)
			if got := namesOf(t, f.Records, of); !slices.Equal(got, tt.want) {
				t.Errorf("flags %q, want %q", got, tt.want)
			}
			foldtest.Laws(t, f.Records, []*projections.Fold{flags.Blocks(), flags.Farm()}, 1)
		})
	}
}

// A flag goes when what it asks for comes.
func TestFlagsGo(t *testing.T) {
	t.Parallel()
	f := orchard(t)
	p := f.Add("2020-06-01", &events.FruitPicked{Where: where("north", "n-9"), Mass: q(5, "kg")})
	b := f.Book()
	if n := len(flags.All(b)); n != 1 {
		t.Fatalf("%d flags before, want 1", n)
	}
	if err := b.Add(f.Add("", &events.TreePlanted{Tree: "n-9", Block: "north", Row: "1", Cultivar: "Bengal", Planted: "2012"})); err != nil {
		t.Fatal(err)
	}
	if got := flags.All(b); len(got) != 0 {
		t.Errorf("flags of %s are left: %v", p.ID, got)
	}
}
