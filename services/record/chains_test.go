package record_test

import (
	"slices"
	"strings"
	"testing"

	"latewood/events"
	"latewood/events/canon"
	"latewood/services/record"
)

const person = "w_00112233445566778899aabbccddeeff"

func mix() []events.MixItem { return []events.MixItem{{Product: "Copper"}} }

func parts(blocks ...string) events.OneOrMany[events.SprayedPart] {
	var out events.OneOrMany[events.SprayedPart]
	for _, b := range blocks {
		out = append(out, events.SprayedPart{Part: events.Part{Block: b}})
	}
	return out
}

func sprayed(blocks ...string) *events.SprayApplied {
	return &events.SprayApplied{
		Where: parts(blocks...), Started: "2026-05-01", Ended: "2026-05-01", Mix: mix(), Target: "mites", Applicator: &events.Person{Code: person},
	}
}

func TestChains(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.open()
	plan, begun := id(201), id(202)
	applied := sprayed("north", "south")
	applied.Plan, applied.Begun = plan, begun
	tests := []struct {
		name string
		data any
		want string
	}{
		{"settings", &events.SettingAdopted{Name: "bearing-age", Value: events.Raw("4"), From: "2026-01-01"}, "farm"},
		{"season", &events.SeasonNamed{Season: "2026", From: "2025-10-01", To: "2026-09-30"}, "farm"},
		{"block", &events.BlockEstablished{Block: "north", Name: "North", Area: events.Quantity{Value: 1, Unit: "har"}}, "growth/north"},
		{"redrawn", &events.BlockRedrawn{From: []string{"north", "east"}, Into: []events.DrawnBlock{{Block: "south"}}, Date: "2026-05-01"}, "growth/east growth/north growth/south"},
		{"tree", &events.TreePlanted{Tree: "t1", Block: "north", Cultivar: "Kaimana", Planted: "2010"}, "growth/north"},
		{"moved", &events.TreeMoved{Moves: []events.Move{{Tree: "t1", From: "north", Block: "south"}}}, "growth/north growth/south"},
		{"station", &events.StationSited{Station: "mauka", Latitude: 19, Longitude: -155}, "station/mauka"},
		{"weather", &events.WeatherRead{Station: "mauka", AirTemperature: &events.Quantity{Value: 20, Unit: "Cel"}}, "station/mauka"},
		{"pruned", &events.TreePruned{Where: where("north"), Cut: "tip", Ended: "2026-05-01"}, "growth/north"},
		{"flush", flush(), "growth/north"},
		{"picked", picked(3, "south", "north"), "picks/north picks/south"},
		{"closed", &events.HarvestClosed{Where: where("north"), Date: "2026-05-01"}, "picks/north"},
		{"label", &events.LabelFiled{Product: "Copper", Material: "nutrient", ReadBy: person}, "label/ID"},
		{"label closed", &events.LabelClosed{Label: id(200), Reason: "expired"}, "label/" + id(200)},
		{"plan", &events.SprayPlanned{Where: where("north"), From: "2026-05-01", Mix: mix()}, "inputs/north spray/ID"},
		{"begun", &events.SprayBegun{Where: where("north"), Started: "2026-05-01", Plan: plan}, "inputs/north spray/" + plan + " spray/ID"},
		{"called off", &events.SprayCalledOff{Where: where("north"), Plan: plan, Reason: "wind"}, "inputs/north spray/" + plan},
		{"applied", applied, "inputs/north inputs/south spray/" + plan + " spray/" + begun + " spray/ID"},
		{"judged", &events.HoldJudged{Where: where("north"), Spray: id(203), Words: "until ripe", GrowthStage: "ripe"}, "inputs/north spray/" + id(203)},
		{"reviewed", &events.RecordsReviewed{Records: []string{id(1)}, Reviewer: person}, "farm"},
	}
	classes := map[string]bool{}
	for _, tt := range tests {
		p := proposal("", "2026-05-01T00:00:00Z", tt.data)
		if k := events.Standard().KindOf(tt.data); len(k.TimeFrom) > 0 {
			p.Draft.Time = ""
		}
		rc := r.one(p)
		want := strings.Fields(strings.ReplaceAll(tt.want, "ID", rc.ID.String()))
		slices.Sort(want)
		if got := r.chains(rc.Place); !slices.Equal(got, want) {
			t.Errorf("%s: got %v, want %v", tt.name, got, want)
		}
		for _, c := range want {
			class, _, _ := strings.Cut(c, "/")
			classes[class] = true
		}
		if !events.Correctable(r.at(rc.Place).Kind) {
			continue
		}
		// A correction with the same data stands where its record stands, and so does a withdrawal.
		c := r.one(correction("", rc.ID.String(), rc.ID.String(), tt.data))
		if got := r.chains(c.Place); !slices.Equal(got, want) {
			t.Errorf("%s, corrected: got %v, want %v", tt.name, got, want)
		}
		if !events.Withdrawable(r.at(rc.Place).Kind) {
			continue
		}
		w := r.one(withdrawal("", rc.ID.String(), c.ID.String()))
		if got := r.chains(w.Place); !slices.Equal(got, want) {
			t.Errorf("%s, withdrawn: got %v, want %v", tt.name, got, want)
		}
	}
	r.check()
	if want := []string{"farm", "growth", "inputs", "label", "picks", "spray", "station"}; len(classes) != len(want) {
		t.Errorf("the table has classes %v, want %v", classes, want)
	}
}

// A correction stands in all chains of its record and of each version before it, wherever those stand: in the ledger, or
// in the same call.
func TestChainsOfCorrections(t *testing.T) {
	t.Parallel()
	ps := []record.Proposal{
		pick(id(1), 1, "north"),
		correction(id(2), id(1), id(1), picked(1, "south")),
		correction(id(3), id(1), id(2), picked(1, "east")),
		withdrawal(id(4), id(1), id(3)),
	}
	want := [][]string{
		{"picks/north"},
		{"picks/north", "picks/south"},
		{"picks/east", "picks/north", "picks/south"},
		{"picks/east", "picks/north", "picks/south"},
	}
	// Cuts of the four into calls: singly, all together, and every way between. The filler makes the call long enough for an
	// atomic batch.
	for cut := range 8 {
		for _, filler := range []int{0, 30} {
			r := newRig(t)
			r.open()
			for i := 0; i < len(ps); {
				n := 1
				for i+n < len(ps) && cut>>(i+n-1)&1 == 0 {
					n++
				}
				call := slices.Clone(ps[i : i+n])
				for range filler {
					call = append(call, pick("", 9, "west"))
				}
				for j, rc := range r.send(call...) {
					if len(rc.Problems) > 0 {
						t.Fatalf("cut %b: %v", cut, rc.Problems)
					}
					if j < n {
						if got := r.chains(rc.Place); !slices.Equal(got, want[i+j]) {
							t.Errorf("cut %03b, filler %d, number %d: chains %v, want %v", cut, filler, i+j, got, want[i+j])
						}
					}
				}
				i += n
			}
			r.check()
		}
	}
}

// packed is a lot made of picks.
func packed(lot string, picks ...string) *events.LotPacked {
	p := &events.LotPacked{Lot: lot}
	for _, id := range picks {
		p.Inputs = append(p.Inputs, events.PackInput{Pick: id, Mass: &events.Quantity{Value: 1, Unit: "kg"}})
	}
	p.Product, p.Date, p.Location = "lychee", "2026-05-20", &events.Party{Name: "Tern Hollow"}
	p.Packed = &events.Packed{Count: 1, Kind: "carton", NetMass: &events.Quantity{Value: 1, Unit: "kg"}}
	return p
}

// What is said about a pick after it went into a lot or load stands in the chain of that lot or load too: in the ledger, in the
// same call, and after the state was read back.
func TestChainsOfDrawnPicks(t *testing.T) {
	t.Parallel()
	load := &events.FruitDelivered{Delivery: "D/1", Picks: []events.DrawnPick{{Pick: id(2), Mass: &events.Quantity{Value: 1, Unit: "kg"}}}, Recipient: &events.Party{Name: "Harrow Packing"}, Date: "2026-05-20"}
	lot := "" // the date gives the time
	moved := correction(id(5), id(4), id(4), picked(1, "north"))
	moved.Draft.Data = events.Encode(events.RecordCorrected{Record: id(4), Follows: id(4), Type: "lot.packed.v1", Reason: "another pick", Data: events.Raw(canon.Bytes(events.Encode(packed("L17", id(3)))))})
	ps := []record.Proposal{
		pick(id(1), 1, "north"), pick(id(2), 1, "north"), pick(id(3), 1, "south"),
		correction(id(10), id(1), id(1), picked(2, "north")), // before it was packed
		proposal(id(4), lot, packed("L17", id(1), id(2))),
		correction(id(11), id(1), id(10), picked(3, "east")),
		proposal(id(6), lot, load),
		correction(id(12), id(2), id(2), picked(3, "north")),
		moved, // the third pick comes into the lot by a correction
		withdrawal(id(13), id(3), id(3)),
		withdrawal(id(14), id(2), id(12)),
	}
	want := map[int]string{
		3: "picks/north", 5: "lot/L17 picks/east picks/north", 7: "delivery/D%2F1 lot/L17 picks/north", 8: "lot/L17",
		9: "lot/L17 picks/south", 10: "delivery/D%2F1 lot/L17 picks/north",
	}
	for _, size := range []int{1, 3, len(ps)} {
		for _, filler := range []int{0, 30} {
			r := newRig(t)
			r.open()
			for i := 0; i < len(ps); i += size {
				n := min(size, len(ps)-i)
				call := slices.Clone(ps[i : i+n])
				for range filler {
					call = append(call, pick("", 9, "west"))
				}
				for j, rc := range r.send(call...) {
					if len(rc.Problems) > 0 {
						t.Fatalf("%s: %v", call[j].Draft.Type, rc.Problems)
					}
					if w, ok := want[i+j]; ok && j < n {
						if got := r.chains(rc.Place); !slices.Equal(got, strings.Fields(w)) {
							t.Errorf("calls of %d, filler %d, number %d: chains %v, want %s", size, filler, i+j, got, w)
						}
					}
				}
			}
			r.check()
		}
	}
}

// What came before its record stands in the chains that its own data gives; what comes later stands in those as well.
func TestChainsOfWaiting(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.open()
	steps := []struct {
		p    record.Proposal
		want string
	}{
		{withdrawal(id(11), id(10), id(10)), "farm"},
		{correction(id(3), id(1), id(2), picked(1, "east")), "picks/east"},
		{pick(id(1), 1, "north"), "picks/north"},
		{correction(id(2), id(1), id(1), picked(1, "south")), "picks/east picks/north picks/south"},
		{withdrawal(id(4), id(1), id(3)), "picks/east picks/north picks/south"},
		{pick(id(10), 1, "north"), "picks/north"},
	}
	for _, s := range steps {
		rc := r.one(s.p)
		if got := r.chains(rc.Place); !slices.Equal(got, strings.Fields(s.want)) {
			t.Errorf("%s: chains %v, want %s", s.p.Draft.Type, got, s.want)
		}
	}
	r.check()
}

// Evidence is the next link of every chain that it shows the end of.
func TestChainsOfEvidence(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.open()
	rc := r.one(proposal("", "", sprayed("north")))
	own := "spray/" + rc.ID.String()
	given := &events.EvidenceGiven{For: events.EvidenceFor{Spray: rc.ID.String()}, Size: 2, Heads: []events.Head{
		{Chain: "inputs/north", Place: 1, Leaf: rc.Leaf.String()}, {Chain: own, Place: 1, Leaf: rc.Leaf.String()},
	}}
	e := r.one(proposal("", "2026-05-30T00:00:00Z", given))
	links, err := events.ParseChains(r.at(e.Place).Envelope.Chains)
	if err != nil || len(links) != 2 {
		t.Fatalf("%v, %v", links, err)
	}
	for _, l := range links {
		if l.Place != 2 || l.Prev != rc.Leaf {
			t.Errorf("link %+v, want place 2 behind %v", l, rc.Leaf)
		}
	}
	r.check()
	if place, leaf := r.state.Head(own); place != 2 || leaf != e.Leaf {
		t.Errorf("the chain %s ends at %d, %v", own, place, leaf)
	}
	if place, leaf := r.state.Head("inputs/nowhere"); place != 0 || leaf != (record.State{}).LastLeaf {
		t.Errorf("a chain without records ends at %d, %v", place, leaf)
	}
}
