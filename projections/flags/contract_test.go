package flags_test

import (
	"slices"
	"strings"
	"testing"

	"latewood/events"
	"latewood/projections"
	"latewood/projections/flags"
	"latewood/projections/foldtest"
	"latewood/projections/holds"
	"latewood/projections/lots"
	"latewood/projections/weather"
)

// carton is what came out of packing: so many of 2 kg.
func carton(n int) events.LotFields {
	return events.LotFields{
		Product: "lychee", Packed: &events.Packed{Count: n, Kind: "carton", NetMass: q(2, "kg")}, Location: &events.Party{Name: "Shed (invented)"},
	}
}

func packed(code, date string, n int, inputs ...events.PackInput) *events.LotPacked {
	l := &events.LotPacked{Lot: code, Inputs: inputs, LotFields: carton(n)}
	l.Date, l.Packed.NetMass = date, q(2, "kg")
	return l
}

func pick(f *foldtest.Farm, at string, kg float64, trees ...string) *events.Record {
	return f.Add(at, &events.FruitPicked{Where: where("north", trees...), Mass: q(kg, "kg"), MassBasis: "scale"})
}

func numeric(n float64) func(l *events.LabelFiled) {
	return func(l *events.LabelFiled) {
		l.Withholding = events.OneOrMany[events.Withholding]{{Kind: "numeric", Value: &n, Unit: "d"}}
		hours := 24.0
		l.Reentry = events.OneOrMany[events.Reentry]{{Hours: &hours}}
	}
}

// cases are the flags of the contract, each with at least one way to come by it. The record that make returns bears the flag.
func cases() []struct {
	name, flag string
	make       func(f *foldtest.Farm) *events.Record
} {
	yes, no := true, false
	input := func(p *events.Record, kg float64) events.PackInput {
		return events.PackInput{Pick: p.ID.String(), Mass: q(kg, "kg")}
	}
	return []struct {
		name, flag string
		make       func(f *foldtest.Farm) *events.Record
	}{
		{"a pick two days after a spray of seven", "pick-in-interval", func(f *foldtest.Farm) *events.Record {
			f.Add("", spray(label(f, numeric(7)), "2020-06-01", nil))
			return pick(f, "2020-06-03T09:00:00-10:00", 20)
		}},
		{"a pick while the label must be read", "pick-in-interval", func(f *foldtest.Farm) *events.Record {
			l := label(f, func(l *events.LabelFiled) {
				l.Withholding = events.OneOrMany[events.Withholding]{{Kind: "growth-stage", Words: "not after colour break"}}
			})
			f.Add("", spray(l, "2020-06-01", nil))
			return pick(f, "2020-06-20T09:00:00-10:00", 20)
		}},
		{"buyers who pick themselves", "pick-in-interval", func(f *foldtest.Farm) *events.Record {
			f.Add("", spray(label(f, numeric(7)), "2020-06-01", nil))
			return f.Add("2020-06-03T09:00:00-10:00", &events.FruitSold{Channel: "u-pick", Where: where("north"), Amount: q(3, "kg")})
		}},
		{"mowing while re-entry runs", "work-in-reentry", func(f *foldtest.Farm) *events.Record {
			f.Add("", spray(label(f, numeric(7)), "2020-06-01", nil))
			return f.Add("2020-06-01T12:00:00-10:00", &events.GroundWorked{Where: where("north"), What: "mown"})
		}},
		{"looking at flushes while re-entry must be read", "work-in-reentry", func(f *foldtest.Farm) *events.Record {
			f.Add("", spray(label(f, nil), "2020-06-01", nil))
			return f.Add("2020-06-02T12:00:00-10:00", &events.FlushSeen{Where: where("north"), Stage: "elongating"})
		}},
		{"a crop that the label does not list", "crop-not-listed", func(f *foldtest.Farm) *events.Record {
			return f.Add("", spray(label(f, func(l *events.LabelFiled) { l.CropListed = &no }), "2020-05-01", nil))
		}},
		{"over the rate", "over-rate", func(f *foldtest.Farm) *events.Record {
			return f.Add("", spray(label(f, nil), "2020-05-01", func(s *events.SprayApplied) { s.Mix[0].Rate = q(7, "kg/har") }))
		}},
		{"the third of two applications", "over-season", func(f *foldtest.Farm) *events.Record {
			l := label(f, nil)
			f.Add("", spray(l, "2020-03-01", nil))
			f.Add("", spray(l, "2020-04-01", nil))
			return f.Add("", spray(l, "2020-05-01", nil))
		}},
		{"over the most of the product a season", "over-season", func(f *foldtest.Farm) *events.Record {
			l := label(f, func(l *events.LabelFiled) { l.MostProduct = q(7, "kg/har") })
			f.Add("", spray(l, "2020-03-01", nil))
			return f.Add("", spray(l, "2020-05-01", nil))
		}},
		{"over the most of the ingredient, by two products", "over-season", func(f *foldtest.Farm) *events.Record {
			l := label(f, func(l *events.LabelFiled) { l.MostIngredient = q(6, "kg/har") }) // 80 % of 4 kg twice
			f.Add("", spray(label(f, nil), "2020-03-01", nil))
			return f.Add("", spray(l, "2020-05-01", nil))
		}},
		{"one mode of action twice in a row", "over-season", func(f *foldtest.Farm) *events.Record {
			one := 1
			l := label(f, func(l *events.LabelFiled) {
				l.MostConsecutive = &one
				l.ActiveIngredients[0].MoA = &events.MoA{Scheme: "invented", Group: "M2"}
			})
			f.Add("", spray(l, "2020-03-01", nil))
			return f.Add("", spray(l, "2020-05-01", nil))
		}},
		{"over the wind", "over-wind", func(f *foldtest.Farm) *events.Record {
			return f.Add("", spray(label(f, nil), "2020-05-01", func(s *events.SprayApplied) {
				s.Conditions = []events.Condition{{At: "2020-05-01T06:00:00-10:00", WindSpeed: q(10, "[mi_i]/h")}}
			}))
		}},
		{"thirteen days after, where the label gives fourteen", "too-soon", func(f *foldtest.Farm) *events.Record {
			l := label(f, nil)
			f.Add("", spray(l, "2020-05-01", nil))
			return f.Add("", spray(l, "2020-05-14", nil))
		}},
		{"before its label was filed", "before-label", func(f *foldtest.Farm) *events.Record { return f.Add("", spray(label(f, nil), "2014-05-01", nil)) }},
		{"after the last lawful use", "label-closed", func(f *foldtest.Farm) *events.Record {
			l := label(f, nil)
			f.Add("2019-12-01", &events.LabelClosed{Label: l.ID.String(), Reason: "cancelled", LastLawfulUse: "2020-04-30"})
			return f.Add("", spray(l, "2020-05-01", nil))
		}},
		{"restricted use without a certificate", "no-certificate", func(f *foldtest.Farm) *events.Record {
			return f.Add("", spray(label(f, func(l *events.LabelFiled) { l.RestrictedUse = &yes }), "2020-05-01", nil))
		}},
		{"a clock that was off", "clock-off", func(f *foldtest.Farm) *events.Record { return clockOff(f) }},
		{"a lot that nothing made", "waits-for", func(f *foldtest.Farm) *events.Record {
			return f.Add("", &events.LotShipped{Lot: "L9", Amount: q(5, "kg"), Recipient: &events.Party{Name: "Buyer (invented)"}, LotTravels: events.LotTravels{Date: "2020-06-05"}})
		}},
		{"a load that nothing made", "waits-for", func(f *foldtest.Farm) *events.Record {
			return f.Add("2020-06-05", &events.DeliveryAnswered{Delivery: "D9", Outcome: "accepted"})
		}},
		{"a bin that nothing filled", "waits-for", func(f *foldtest.Farm) *events.Record {
			return f.Add("", packed("L1", "2020-06-05", 2, events.PackInput{Bin: "B7", Mass: q(4, "kg")}))
		}},
		{"a tree that nobody planted", "waits-for", func(f *foldtest.Farm) *events.Record { return pick(f, "2020-06-01T09:00:00-10:00", 5, "n-9") }},
		{"a label that was withdrawn", "refers-to-nothing", func(f *foldtest.Farm) *events.Record {
			l := label(f, nil)
			f.Withdraw(l, l)
			return f.Add("", spray(l, "2020-05-01", nil))
		}},
		{"a lot whose packing was withdrawn", "refers-to-nothing", func(f *foldtest.Farm) *events.Record {
			p := pick(f, "2020-06-01T09:00:00-10:00", 20)
			l := f.Add("", packed("L1", "2020-06-02", 5, input(p, 10)))
			f.Withdraw(l, l)
			return f.Add("2020-06-03", &events.LotHeld{Lot: "L1", Reason: "smell"})
		}},
		{"a tree before it was planted", "not-in-block", func(f *foldtest.Farm) *events.Record {
			return pick(f, "2011-06-01T09:00:00-10:00", 5, "n-1")
		}},
		{"shipped before packed", "out-of-order", func(f *foldtest.Farm) *events.Record {
			p := pick(f, "2020-06-01T09:00:00-10:00", 20)
			f.Add("", packed("L1", "2020-06-05", 5, input(p, 10)))
			return f.Add("", &events.LotShipped{Lot: "L1", Amount: q(5, "kg"), Recipient: &events.Party{Name: "Buyer (invented)"}, LotTravels: events.LotTravels{Date: "2020-06-04"}})
		}},
		{"treated before received", "out-of-order", func(f *foldtest.Farm) *events.Record {
			f.Add("", &events.LotReceived{Lot: "N1", Amount: q(5, "kg"), LotTravels: events.LotTravels{Date: "2020-06-05"}})
			return f.Add("2020-06-04T08:00:00-10:00", &events.LotTreated{Lot: "N1", Treatment: "hot-water"})
		}},
		{"delivered before picked", "out-of-order", func(f *foldtest.Farm) *events.Record {
			p := pick(f, "2020-06-03T09:00:00-10:00", 20)
			return f.Add("", &events.FruitDelivered{Delivery: "D1", Picks: []events.DrawnPick{{Pick: p.ID.String(), Mass: q(20, "kg")}}, Recipient: &events.Party{Name: "Packer (invented)"}, Date: "2020-06-02"})
		}},
		{"packed before picked", "out-of-order", func(f *foldtest.Farm) *events.Record {
			p := pick(f, "2020-06-03T09:00:00-10:00", 20)
			return f.Add("", packed("L1", "2020-06-02", 5, input(p, 10)))
		}},
		{"done before it was begun", "out-of-order", func(f *foldtest.Farm) *events.Record {
			l := label(f, nil)
			begun := f.Add("", &events.SprayBegun{Where: where("north"), Started: "2020-05-01T09:00:00-10:00"})
			return f.Add("", spray(l, "2020-05-01", func(s *events.SprayApplied) { s.Begun = begun.ID.String() }))
		}},
		{"more packed than picked", "over-drawn", func(f *foldtest.Farm) *events.Record {
			p := pick(f, "2020-06-01T09:00:00-10:00", 20)
			f.Add("", packed("L1", "2020-06-02", 7, input(p, 15)))
			return f.Add("", packed("L2", "2020-06-02", 3, input(p, 7)))
		}},
		{"more shipped than packed", "over-drawn", func(f *foldtest.Farm) *events.Record {
			p := pick(f, "2020-06-01T09:00:00-10:00", 20)
			f.Add("", packed("L1", "2020-06-02", 5, input(p, 12)))
			return f.Add("", &events.LotShipped{Lot: "L1", Amount: q(11, "kg"), Recipient: &events.Party{Name: "Buyer (invented)"}, LotTravels: events.LotTravels{Date: "2020-06-04"}})
		}},
		{"a total that does not come of rate and area", "did-you-mean", func(f *foldtest.Farm) *events.Record {
			return f.Add("", spray(label(f, nil), "2020-05-01", func(s *events.SprayApplied) { s.Mix[0].Total = q(20, "kg") }))
		}},
		{"a rate above three times the label's", "did-you-mean", func(f *foldtest.Farm) *events.Record {
			return f.Add("", spray(label(f, nil), "2020-05-01", func(s *events.SprayApplied) { s.Mix[0].Rate = q(40, "kg/har") }))
		}},
		{"a tree of 1,000 kg in one pick", "did-you-mean", func(f *foldtest.Farm) *events.Record { return pick(f, "2020-06-01T09:00:00-10:00", 1000, "n-1") }},
		{"a tree of 240 kg in a season", "did-you-mean", func(f *foldtest.Farm) *events.Record {
			pick(f, "2020-06-01T09:00:00-10:00", 120, "n-1")
			return pick(f, "2020-06-08T09:00:00-10:00", 120, "n-1")
		}},
		{"a trunk that shrinks", "did-you-mean", func(f *foldtest.Farm) *events.Record {
			f.Add("2019-01-01T09:00:00-10:00", &events.TreeMeasured{Where: where("north", "n-1"), TrunkGirth: q(80, "cm")})
			return f.Add("2020-01-01T09:00:00-10:00", &events.TreeMeasured{Where: where("north", "n-1"), TrunkGirth: q(8, "cm")})
		}},
		{"a tree that shrinks uncut", "did-you-mean", func(f *foldtest.Farm) *events.Record {
			f.Add("2019-01-01T09:00:00-10:00", &events.TreeMeasured{Where: where("north", "n-1"), Height: q(4, "m")})
			return f.Add("2020-01-01T09:00:00-10:00", &events.TreeMeasured{Where: where("north", "n-1"), Height: q(3, "m")})
		}},
		{"restricted use, written down on the fifteenth day", "late", func(f *foldtest.Farm) *events.Record {
			l := label(f, func(l *events.LabelFiled) { l.RestrictedUse = &yes })
			return f.AddFrom(events.Draft{NotedTime: "2020-05-16T08:00:00-10:00"}, spray(l, "2020-05-01", nil))
		}},
		{"posted on the second day", "late", func(f *foldtest.Farm) *events.Record {
			s := f.Add("", spray(label(f, nil), "2020-05-01", nil))
			return f.Add("", &events.SprayPosted{Spray: s.ID.String(), Place: "the board at the shed", From: "2020-05-03T08:00:00-10:00"})
		}},
		{"two picks alike", "looks-like", func(f *foldtest.Farm) *events.Record {
			pick(f, "2020-06-01T09:00:00-10:00", 10, "n-1")
			return pick(f, "2020-06-01T11:00:00-10:00", 10, "n-1")
		}},
		{"typed on two devices", "looks-like", func(f *foldtest.Farm) *events.Record {
			pick(f, "2020-06-01T09:00:00-10:00", 10, "n-1")
			return f.AddFrom(events.Draft{Time: "2020-06-01T11:00:00-10:00", Source: "/farms/tern-hollow/phone-2"},
				&events.FruitPicked{Where: where("north", "n-1"), Mass: q(10, "kg"), MassBasis: "scale"})
		}},
		{"a tree's code used again", "code-reused", func(f *foldtest.Farm) *events.Record {
			return f.Add("", &events.TreePlanted{Tree: "n-1", Block: "north", Row: "2", Cultivar: "Kaimana", Planted: "2019"})
		}},
		{"a block's code used again", "code-reused", func(f *foldtest.Farm) *events.Record {
			return f.Add("2019-01-01", &events.BlockEstablished{Block: "north", Name: "Another", Area: *q(1, "har")})
		}},
		{"a lot's code used again", "code-reused", func(f *foldtest.Farm) *events.Record {
			p := pick(f, "2020-06-01T09:00:00-10:00", 20)
			f.Add("", packed("L1", "2020-06-02", 2, input(p, 5)))
			return f.Add("", packed("L1", "2020-06-03", 2, input(p, 6)))
		}},
		{"a load's code used again", "code-reused", func(f *foldtest.Farm) *events.Record {
			load := func(day string, kg float64) *events.Record {
				p := pick(f, day+"T09:00:00-10:00", 20)
				return f.Add("", &events.FruitDelivered{Delivery: "D1", Picks: []events.DrawnPick{{Pick: p.ID.String(), Mass: q(kg, "kg")}}, Recipient: &events.Party{Name: "Packer (invented)"}, Date: day})
			}
			load("2020-06-02", 20)
			return load("2020-06-03", 19)
		}},
		{"two corrections of one version", "forked", func(f *foldtest.Farm) *events.Record {
			p := pick(f, "2020-06-01T09:00:00-10:00", 10, "n-1")
			f.Correct(p, p, "", &events.FruitPicked{Where: where("north", "n-1"), Mass: q(11, "kg")})
			f.Correct(p, p, "", &events.FruitPicked{Where: where("north", "n-1"), Mass: q(12, "kg")})
			return p
		}},
		{"the spray of a pick's interval was withdrawn", "interval-gone", func(f *foldtest.Farm) *events.Record {
			s := f.Add("", spray(label(f, numeric(7)), "2020-06-01", nil))
			p := pick(f, "2020-06-03T09:00:00-10:00", 20)
			f.Withdraw(s, s)
			return p
		}},
		{"a temperature that is none", "quality-control", func(f *foldtest.Farm) *events.Record {
			f.Add("2015-01-01", &events.StationSited{Station: "gate", Latitude: 19.6, Longitude: -155.1})
			return f.Add("2020-06-01T09:00:00-10:00", &events.WeatherRead{Station: "gate", AirTemperature: q(99, "Cel")})
		}},
	}
}

// clockOff is a pick from a device whose clock was days off.
func clockOff(f *foldtest.Farm) *events.Record {
	return f.AddFrom(events.Draft{Time: "2020-06-01T09:00:00-10:00", DeviceTime: "2020-06-01T09:00:00-10:00 2025-12-29T13:00:00-10:00"},
		&events.FruitPicked{Where: where("north", "n-1"), Mass: q(10, "kg")})
}

// Every flag of the contract has a fold that finds it, a sentence, and a sentence that says what to do.
func TestEveryFlagOfTheContract(t *testing.T) {
	t.Parallel()
	covered := map[string]int{}
	for _, tt := range cases() {
		covered[tt.flag]++
		t.Run(tt.flag+"/"+tt.name, func(t *testing.T) {
			t.Parallel()
			f := orchard(t)
			of := tt.make(f)
			found := false
			for _, fl := range flags.Every(f.Book()) {
				if strings.Contains(fl.Why()+flags.Do(fl.Name), "⟦") {
					t.Errorf("the sentences of %s are not whole: %s / %s", fl.Name, fl.Why(), flags.Do(fl.Name))
				}
				found = found || fl.ID == of.ID.String() && fl.Name == tt.flag
			}
			if !found {
				t.Errorf("%s does not bear %s; the flags are %v", of.Kind, tt.flag, flags.Every(f.Book()))
			}
			foldtest.Laws(t, f.Records, []*projections.Fold{
				flags.Blocks(), flags.Farm(), flags.Stations(), holds.FlagFold(), lots.Fold(), lots.FlagFold(), weather.Fold(),
			}, 7)
		})
	}
	for _, name := range flags.Names() {
		if covered[name] == 0 {
			t.Errorf("no case for the flag %s", name)
		}
	}
	for name := range covered {
		if !slices.Contains(flags.Names(), name) {
			t.Errorf("cases for %s, which is no flag of the contract", name)
		}
	}
	if len(flags.Names()) != 23 {
		t.Errorf("%d names of flags, the contract has 23", len(flags.Names()))
	}
	t.Logf("counts: %d flags, %d cases", len(covered), len(cases()))
}

// What must not be flagged, beside what looks much like it.
func TestNotFlagged(t *testing.T) {
	t.Parallel()
	input := func(p *events.Record, kg float64) events.PackInput {
		return events.PackInput{Pick: p.ID.String(), Mass: q(kg, "kg")}
	}
	for _, tt := range []struct {
		name, flag string
		make       func(f *foldtest.Farm) *events.Record
	}{
		{"packed on the day of the pick, the date alone being known", "out-of-order", func(f *foldtest.Farm) *events.Record {
			p := pick(f, "2020-06-02T09:00:00-10:00", 20)
			return f.Add("", packed("L1", "2020-06-02", 5, input(p, 10)))
		}},
		{"within the tolerance of two scales", "over-drawn", func(f *foldtest.Farm) *events.Record {
			p := pick(f, "2020-06-02T09:00:00-10:00", 20)
			return f.Add("", packed("L1", "2020-06-02", 10, input(p, 20.9)))
		}},
		{"a load that our own shed received and packed", "over-drawn", func(f *foldtest.Farm) *events.Record {
			p := pick(f, "2020-06-02T09:00:00-10:00", 20)
			f.Add("", &events.FruitDelivered{Delivery: "D1", Picks: []events.DrawnPick{{Pick: p.ID.String(), Mass: q(20, "kg")}}, Recipient: &events.Party{Name: "Our shed (invented)"}, Date: "2020-06-02"})
			f.Add("", &events.FruitReceived{Delivery: "D1", Source: &events.Party{Name: "Ourselves (invented)"}, SourceCovered: "yes", Date: "2020-06-02", Commodity: "lychee", Amount: q(20, "kg")})
			return f.Add("", packed("L1", "2020-06-03", 10, input(p, 20)))
		}},
		{"shipped again after it came back", "over-drawn", func(f *foldtest.Farm) *events.Record {
			p := pick(f, "2020-06-01T09:00:00-10:00", 20)
			f.Add("", packed("L1", "2020-06-02", 5, input(p, 10)))
			ship := &events.LotShipped{Lot: "L1", Amount: q(10, "kg"), Recipient: &events.Party{Name: "Buyer (invented)"}, LotTravels: events.LotTravels{Date: "2020-06-04"}}
			f.Add("", ship)
			f.Add("", &events.LotReturned{LotFate: events.LotFate{Lot: "L1", Amount: q(10, "kg"), From: &events.Party{Name: "Buyer (invented)"}, Reason: "too many", Date: "2020-06-05"}})
			again := *ship
			again.Date = "2020-06-06"
			return f.Add("", &again)
		}},
		{"smaller after pruning", "did-you-mean", func(f *foldtest.Farm) *events.Record {
			f.Add("2019-01-01T09:00:00-10:00", &events.TreeMeasured{Where: where("north", "n-1"), Height: q(4, "m")})
			f.Add("2019-08-01T09:00:00-10:00", &events.TreePruned{Where: where("north"), Cut: "after-harvest"})
			return f.Add("2020-01-01T09:00:00-10:00", &events.TreeMeasured{Where: where("north", "n-1"), Height: q(3, "m")})
		}},
		{"a clock that somebody looked at, by a span of places", "clock-off", func(f *foldtest.Farm) *events.Record {
			p := clockOff(f)
			f.Add("2026-01-02T00:00:00Z", &events.RecordsReviewed{Span: &events.Span{First: int(p.Place), Last: int(p.Place)}, Reviewer: "w_00000000000000000000000000000002"})
			return p
		}},
		{"a lot that came in from elsewhere", "waits-for", func(f *foldtest.Farm) *events.Record {
			f.Add("", &events.LotReceived{Lot: "N1", Amount: q(5, "kg"), LotTravels: events.LotTravels{Date: "2020-06-05"}})
			return f.Add("", &events.LotShipped{Lot: "N1", Amount: q(5, "kg"), Recipient: &events.Party{Name: "Buyer (invented)"}, LotTravels: events.LotTravels{Date: "2020-06-06"}})
		}},
		{"re-entry that is over", "work-in-reentry", func(f *foldtest.Farm) *events.Record {
			f.Add("", spray(label(f, numeric(7)), "2020-06-01", nil))
			return f.Add("2020-06-02T08:00:00-10:00", &events.GroundWorked{Where: where("north"), What: "mown"})
		}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			f := orchard(t)
			of := tt.make(f)
			for _, fl := range flags.Every(f.Book()) {
				if fl.ID == of.ID.String() && fl.Name == tt.flag {
					t.Errorf("it bears %s: %s", fl.Name, fl.Why())
				}
			}
		})
	}
}
