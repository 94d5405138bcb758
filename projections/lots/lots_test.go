package lots_test

import (
	"encoding/json"
	"slices"
	"strings"
	"testing"
	"time"

	"latewood/events"
	"latewood/projections"
	"latewood/projections/flags"
	"latewood/projections/foldtest"
	"latewood/projections/holds"
	"latewood/projections/lots"
)

func q(value float64, unit string) *events.Quantity {
	return &events.Quantity{Value: value, Unit: unit}
}

// always is an instant after everything in these tests.
var always = time.Date(2030, 1, 1, 0, 0, 0, 0, time.UTC)

// story is an invented farm with a block, a label of seven days, and what a test does to it.
type story struct {
	*foldtest.Farm
	t     *testing.T
	label *events.Record
}

func begin(t *testing.T) *story {
	t.Helper()
	s := &story{Farm: foldtest.NewFarm(t, "Pacific/Honolulu"), t: t}
	s.Add("2010-01-01", &events.BlockEstablished{Block: "north", Name: "North", Area: *q(0.5, "har")})
	days, hours, listed := 7.0, 4.0, true
	s.label = s.Add("2015-01-01", &events.LabelFiled{
		Product: "Mitefall (invented)", Material: "pesticide", ReadBy: "test", Registration: "INVENTED-1", Crop: "lychee", CropListed: &listed,
		ActiveIngredients: []events.Ingredient{{Name: "invented sulphur"}},
		Withholding:       events.OneOrMany[events.Withholding]{{Kind: "numeric", Value: &days, Unit: "d"}},
		Reentry:           events.OneOrMany[events.Reentry]{{Hours: &hours}},
	})
	return s
}

func (s *story) sprayed(day string) *events.SprayApplied {
	return &events.SprayApplied{
		Where:   events.OneOrMany[events.SprayedPart]{{Part: events.Part{Block: "north"}}},
		Started: day + "T06:00:00-10:00", Ended: day + "T08:00:00-10:00", Target: "mites",
		Mix: []events.MixItem{{Label: s.label.ID.String()}}, Applicator: &events.Person{Code: "w_00000000000000000000000000000001"},
	}
}

func (s *story) spray(day string) *events.Record { s.t.Helper(); return s.Add("", s.sprayed(day)) }

func (s *story) pick(day string, bins ...string) *events.Record {
	s.t.Helper()
	p := &events.FruitPicked{Where: events.Where{{Block: "north"}}, Mass: q(100, "kg")}
	for _, bin := range bins {
		p.Containers = append(p.Containers, events.Container{ID: bin, Kind: "bin"})
	}
	if len(bins) > 0 {
		p.Mass = nil
	}
	return s.Add(day+"T12:00:00-10:00", p)
}

func (s *story) pack(code, day string, inputs ...events.PackInput) *events.Record {
	s.t.Helper()
	l := &events.LotPacked{Lot: code, Inputs: inputs, LotFields: fields(day)}
	return s.Add("", l)
}

func fields(day string) events.LotFields {
	return events.LotFields{
		Product: "lychee", Packed: &events.Packed{Count: 5, Kind: "carton", NetMass: q(2, "kg")}, Location: &events.Party{Name: "Shed (invented)"}, Date: day,
	}
}

func of(p *events.Record) events.PackInput {
	return events.PackInput{Pick: p.ID.String(), Mass: q(10, "kg")}
}

func (s *story) repack(code, day string, from ...string) *events.Record {
	s.t.Helper()
	l := &events.LotRepacked{Lot: code, LotFields: fields(day)}
	for _, lot := range from {
		l.Inputs = append(l.Inputs, events.LotInput{Lot: lot, Amount: q(3, "kg")})
	}
	return s.Add("", l)
}

func (s *story) deliver(code, day string, picks ...*events.Record) *events.Record {
	s.t.Helper()
	d := &events.FruitDelivered{Delivery: code, Recipient: &events.Party{Name: "Packer (invented)"}, Date: day}
	for _, p := range picks {
		d.Picks = append(d.Picks, events.DrawnPick{Pick: p.ID.String(), Mass: q(20, "kg")})
	}
	return s.Add("", d)
}

// release lets a lot go.
func (s *story) release(lot, day string, answers ...string) *events.Record {
	s.t.Helper()
	return s.Add(day+"T15:00:00-10:00", &events.LotReleased{
		Lot: lot, Basis: "test-result", Answers: answers, SecondPerson: "w_00000000000000000000000000000002", Common: events.Common{By: "w_00000000000000000000000000000003"},
	})
}

// fruit is what is held, and checks the laws on the way: the order of arrival and snapshots change nothing.
func (s *story) fruit() lots.Fruit {
	s.t.Helper()
	return s.at(always)
}

func (s *story) at(at time.Time) lots.Fruit {
	s.t.Helper()
	ask := func(b *projections.Book) string {
		text, err := json.Marshal(lots.Holds(b, flags.Every(b), at))
		if err != nil {
			s.t.Fatal(err)
		}
		return string(text)
	}
	want := ask(s.Book())
	turned := slices.Clone(s.Records)
	slices.Reverse(turned)
	if got := ask(foldtest.BookOf(s.t, turned)); got != want {
		s.t.Errorf("the last record first gives\n%s\nwant\n%s", got, want)
	}
	foldtest.Laws(s.t, s.Records, []*projections.Fold{lots.Fold(), lots.FlagFold(), holds.FlagFold()}, 3)
	b := s.Book()
	return lots.Holds(b, flags.Every(b), at)
}

// state is one word about each lot and load.
func state(d lots.Fruit) string {
	var out []string
	for _, list := range [][]lots.Held{d.Lots, d.Deliveries} {
		for _, h := range list {
			word := "free"
			switch {
			case h.Reopened:
				word = "reopened"
			case h.Held:
				word = "held"
			}
			out = append(out, h.Lot+h.Delivery+" "+word)
		}
	}
	return strings.Join(out, ", ")
}

func TestHolds(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		name string
		make func(s *story)
		want string
	}{
		{"a pick outside of every interval", func(s *story) {
			s.spray("2020-05-01")
			s.pack("L1", "2020-06-02", of(s.pick("2020-06-01")))
		}, ""},
		{"a pick in an interval", func(s *story) {
			s.spray("2020-06-01")
			s.pack("L1", "2020-06-03", of(s.pick("2020-06-02")))
		}, "L1 held"},
		{"a spray that came after all", func(s *story) {
			p := s.pick("2020-06-02")
			s.pack("L1", "2020-06-03", of(p))
			s.deliver("D1", "2020-06-03", p)
			s.spray("2020-06-01")
		}, "L1 held, D1 held"},
		{"a lot of one pick in and one outside", func(s *story) {
			s.spray("2020-06-01")
			s.pack("L1", "2020-06-20", of(s.pick("2020-06-02")), of(s.pick("2020-06-19")))
			s.pack("L2", "2020-06-20", of(s.pick("2020-06-18")))
		}, "L1 held"},
		{"repacked twice and commingled", func(s *story) {
			s.spray("2020-06-01")
			s.pack("L1", "2020-06-03", of(s.pick("2020-06-02")))
			s.pack("L2", "2020-06-21", of(s.pick("2020-06-20")))
			s.repack("L3", "2020-06-22", "L1", "L2")
			s.repack("L4", "2020-06-23", "L3")
			s.repack("L5", "2020-06-23", "L2")
		}, "L1 held, L3 held, L4 held"},
		{"lots that were repacked from one another", func(s *story) {
			s.spray("2020-06-01")
			s.pack("A", "2020-06-03", of(s.pick("2020-06-02")))
			s.repack("B", "2020-06-04", "A", "C")
			s.repack("C", "2020-06-05", "B")
		}, "A held, B held, C held"},
		{"packed from bins", func(s *story) {
			s.spray("2020-06-01")
			s.pick("2020-06-02", "B7")
			s.pack("L1", "2020-06-03", events.PackInput{Bin: "B7", Mass: q(10, "kg")})
			s.Add("2020-06-04T09:00:00-10:00", &events.BinEmptied{Bins: []string{"B7"}})
			s.pick("2020-06-20", "B7")
			s.pack("L2", "2020-06-21", events.PackInput{Bin: "B7", Mass: q(10, "kg")})
		}, "L1 held"},
		{"two lots out of one filling of a bin", func(s *story) {
			s.spray("2020-06-01")
			s.pick("2020-06-02", "B7")
			s.pack("L1", "2020-06-03", events.PackInput{Bin: "B7", Mass: q(10, "kg")})
			s.pack("L2", "2020-06-04", events.PackInput{Bin: "B7", Mass: q(10, "kg")})
		}, "L1 held, L2 held"},
		{"a load that our shed received", func(s *story) {
			s.spray("2020-06-01")
			s.deliver("D1", "2020-06-02", s.pick("2020-06-02"))
			r := s.Add("", &events.FruitReceived{Delivery: "D1", Source: &events.Party{Name: "Ourselves (invented)"}, SourceCovered: "yes", Date: "2020-06-03", Commodity: "lychee", Amount: q(20, "kg")})
			s.pack("L1", "2020-06-04", events.PackInput{Received: r.ID.String(), Mass: q(10, "kg")})
		}, "L1 held, D1 held"},
		{"by hand", func(s *story) {
			s.pack("L1", "2020-06-02", of(s.pick("2020-06-01")))
			s.Add("2020-06-03T09:00:00-10:00", &events.LotHeld{Lot: "L1", Reason: "smells of diesel"})
			s.repack("L2", "2020-06-04", "L1")
		}, "L1 held, L2 held"},
		{"by hand, released by its id", func(s *story) {
			s.pack("L1", "2020-06-02", of(s.pick("2020-06-01")))
			h := s.Add("2020-06-03T09:00:00-10:00", &events.LotHeld{Lot: "L1", Reason: "smells of diesel"})
			s.release("L1", "2020-06-04", h.ID.String())
		}, "L1 free"},
		{"by hand, a release of something else", func(s *story) {
			s.spray("2020-06-01")
			s.pack("L1", "2020-06-03", of(s.pick("2020-06-02")))
			s.Add("2020-06-03T09:00:00-10:00", &events.LotHeld{Lot: "L1", Reason: "smells of diesel"})
			s.release("L1", "2020-06-04", "pick-in-interval")
		}, "L1 reopened"},
		{"by hand for a flag, which is answered", func(s *story) {
			s.spray("2020-06-01")
			s.pack("L1", "2020-06-03", of(s.pick("2020-06-02")))
			s.Add("2020-06-03T09:00:00-10:00", &events.LotHeld{Lot: "L1", Reason: "too early", Answers: []string{"pick-in-interval"}})
			s.release("L1", "2020-06-04", "pick-in-interval")
		}, "L1 free"},
		{"released, its repack is free with it", func(s *story) {
			s.spray("2020-06-01")
			s.pack("L1", "2020-06-03", of(s.pick("2020-06-02")))
			s.release("L1", "2020-06-04", "pick-in-interval")
			s.repack("L2", "2020-06-05", "L1")
		}, "L1 free"},
		{"released after the repack that is held for itself too", func(s *story) {
			s.spray("2020-06-01")
			p := s.pick("2020-06-02")
			s.pack("L1", "2020-06-03", of(p))
			s.pack("L2", "2020-06-03", of(p))
			s.repack("L3", "2020-06-05", "L1", "L2")
			s.release("L1", "2020-06-06", "pick-in-interval")
		}, "L1 free, L2 held, L3 held"},
		{"one pick of two is answered", func(s *story) {
			s.spray("2020-06-01")
			p := s.pick("2020-06-02")
			s.pack("L1", "2020-06-04", of(p), of(s.pick("2020-06-03")))
			s.release("L1", "2020-06-05", "pick-in-interval:"+p.ID.String())
		}, "L1 reopened"},
		{"a release that was withdrawn", func(s *story) {
			s.spray("2020-06-01")
			s.pack("L1", "2020-06-03", of(s.pick("2020-06-02")))
			r := s.release("L1", "2020-06-05", "pick-in-interval")
			s.Withdraw(r, r)
		}, "L1 held"},
		{"a second spray that comes after the release", func(s *story) {
			s.spray("2020-06-01")
			s.pack("L1", "2020-06-04", of(s.pick("2020-06-03")))
			s.release("L1", "2020-06-05", "pick-in-interval")
			s.spray("2020-06-02")
		}, "L1 reopened"},
		{"the first spray of all that comes after a release for another pick", func(s *story) {
			s.spray("2020-06-01")
			s.pack("L1", "2020-06-25", of(s.pick("2020-06-02")), of(s.pick("2020-06-24")))
			s.release("L1", "2020-06-26", "pick-in-interval")
			s.spray("2020-06-23")
		}, "L1 reopened"},
		{"a spray that is withdrawn holds on until a person says", func(s *story) {
			sp := s.spray("2020-06-01")
			s.pack("L1", "2020-06-03", of(s.pick("2020-06-02")))
			s.Withdraw(sp, sp)
		}, "L1 held"},
		{"a spray that is withdrawn after a release for it", func(s *story) {
			sp := s.spray("2020-06-01")
			s.pack("L1", "2020-06-03", of(s.pick("2020-06-02")))
			s.release("L1", "2020-06-05", "pick-in-interval")
			s.Withdraw(sp, sp)
		}, "L1 reopened"},
		{"a spray that is withdrawn and answered", func(s *story) {
			sp := s.spray("2020-06-01")
			s.pack("L1", "2020-06-03", of(s.pick("2020-06-02")))
			s.Withdraw(sp, sp)
			s.release("L1", "2020-06-05", "interval-gone")
		}, "L1 free"},
		{"a spray whose date is corrected away", func(s *story) {
			sp := s.spray("2020-06-01")
			s.pack("L1", "2020-06-03", of(s.pick("2020-06-02")))
			s.Correct(sp, sp, "2020-05-01T08:00:00-10:00", s.sprayed("2020-05-01"))
		}, ""},
		{"a pick's mass is corrected after the release", func(s *story) {
			s.spray("2020-06-01")
			p := s.pick("2020-06-02")
			s.pack("L1", "2020-06-03", of(p))
			s.release("L1", "2020-06-05", "pick-in-interval")
			s.Correct(p, p, "", &events.FruitPicked{Where: events.Where{{Block: "north"}}, Mass: q(90, "kg")})
		}, "L1 free"},
		{"a pick's day is corrected after the release", func(s *story) {
			s.spray("2020-06-01")
			p := s.pick("2020-06-02")
			s.pack("L1", "2020-06-04", of(p))
			s.release("L1", "2020-06-05", "pick-in-interval")
			s.Correct(p, p, "2020-06-03T12:00:00-10:00", &events.FruitPicked{Where: events.Where{{Block: "north"}}, Mass: q(100, "kg")})
		}, "L1 reopened"},
		{"another pick is corrected into the lot after a release of all", func(s *story) {
			s.spray("2020-06-01")
			a, b := s.pick("2020-06-02"), s.pick("2020-06-03")
			l := s.pack("L1", "2020-06-04", of(a))
			s.release("L1", "2020-06-05", "pick-in-interval")
			s.Correct(l, l, "", &events.LotPacked{Lot: "L1", Inputs: []events.PackInput{of(a), of(b)}, LotFields: fields("2020-06-04")})
		}, "L1 reopened"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			s := begin(t)
			tt.make(s)
			if got := state(s.fruit()); got != tt.want {
				t.Errorf("held: %q, want %q", got, tt.want)
			}
		})
	}
}

// Who has it, who let it go, and why it is held again.
func TestWhoHasIt(t *testing.T) {
	t.Parallel()
	s := begin(t)
	s.spray("2020-06-01")
	p := s.pick("2020-06-02")
	s.pack("L1", "2020-06-03", of(p))
	buyer := &events.Party{Name: "Buyer (invented)"}
	s.Add("", &events.LotShipped{Lot: "L1", Amount: q(8, "kg"), Recipient: buyer, LotTravels: events.LotTravels{Date: "2020-06-04"}})
	s.Add("2020-06-05T09:00:00-10:00", &events.FruitSold{Channel: "market", Lot: "L1", Amount: q(2, "kg")})
	s.Add("", &events.LotRecalled{LotFate: events.LotFate{Lots: []string{"L1"}, Recipient: buyer, Reason: "interval", Date: "2020-06-06",
		Told: []events.Told{{Party: buyer, When: "2020-06-06T10:00:00-10:00", How: "phone", Answer: "sold half"}}}})
	s.Add("", &events.LotReturned{LotFate: events.LotFate{Lot: "L1", Amount: q(4, "kg"), From: buyer, Reason: "recalled", Date: "2020-06-07"}})
	s.deliver("D1", "2020-06-03", p)
	s.Add("2020-06-08T09:00:00-10:00", &events.PackoutReported{Deliveries: []string{"D1"}, Delivered: q(20, "kg"), PackersLotCodes: []string{"PK-1"}})
	s.Add("2020-06-03T18:00:00-10:00", &events.FruitSold{Channel: "farm-stand", Picks: []string{p.ID.String()}, Amount: q(1, "kg")})
	s.release("L1", "2020-06-09", "pick-in-interval")
	d := s.fruit()
	if got := state(d); got != "L1 free, D1 held" {
		t.Fatalf("held: %q", got)
	}
	l := d.Lots[0]
	if len(l.Gone) != 2 || l.Gone[0].Party != "Buyer (invented)" || *l.Gone[0].Kg != 8 || l.Gone[1].Party != "market" {
		t.Errorf("gone: %+v", l.Gone)
	}
	if len(l.Back) != 2 || l.Back[0].How != "recalled" || l.Back[0].Kg != nil || l.Back[0].Told[0].Answer != "sold half" || *l.Back[1].Kg != 4 {
		t.Errorf("back: %+v", l.Back)
	}
	if l.Out != 6 {
		t.Errorf("%v kg are out, want 6", l.Out)
	}
	r := l.Released[0]
	if r.Basis != "test-result" || r.By != "w_00000000000000000000000000000003" || r.Second != "w_00000000000000000000000000000002" ||
		!slices.Equal(r.Answered, []string{"pick-in-interval:" + p.ID.String()}) || r.At != "2020-06-09T15:00:00-10:00" {
		t.Errorf("released: %+v", r)
	}
	if load := d.Deliveries[0]; load.Gone[0].Party != "Packer (invented)" || !slices.Equal(load.Told, []string{"PK-1"}) || *load.Gone[0].Kg != 20 {
		t.Errorf("load: %+v", load)
	}
	if len(d.Sold) != 1 || d.Sold[0].Party != "farm-stand" || d.Sold[0].Because[0].Record != p.ID.String() {
		t.Errorf("sold: %+v", d.Sold)
	}
	// Before the release, and before the fruit was there at all.
	for _, tt := range []struct{ at, want string }{
		{"2020-06-08T12:00:00-10:00", "L1 held, D1 held"}, {"2020-06-01T12:00:00-10:00", ""},
	} {
		at, err := time.Parse(time.RFC3339, tt.at)
		if err != nil {
			t.Fatal(err)
		}
		if got := state(s.at(at)); got != tt.want {
			t.Errorf("at %s: %q, want %q", tt.at, got, tt.want)
		}
	}
	// What reopens says so.
	s.spray("2020-05-31")
	d = s.fruit()
	if got := state(d); got != "L1 reopened, D1 held" || !d.Lots[0].Because[0].New {
		t.Errorf("after another spray: %q, %+v", got, d.Lots[0].Because)
	}
}

// What one import brings is known together: the order of its rows releases and holds nothing.
func TestOneImport(t *testing.T) {
	t.Parallel()
	s := begin(t)
	batch := "018f0000-0000-7000-8000-0000000000aa"
	p := s.pick("2020-06-02")
	s.pack("L1", "2020-06-03", of(p))
	in := func(at string, data any) *events.Record {
		r := s.Add(at, data)
		env := r.Envelope
		env.Batch = batch
		copied, err := events.ParseRecord(r.Place, env.AppendCanonical(nil, r.Data))
		if err != nil {
			t.Fatal(err)
		}
		s.Records[len(s.Records)-1] = copied
		return copied
	}
	in("2020-06-05T15:00:00-10:00", &events.LotReleased{Lot: "L1", Basis: "interval-run", Answers: []string{"pick-in-interval"}})
	in("", s.sprayed("2020-06-01"))
	if got := state(s.fruit()); got != "L1 free" {
		t.Errorf("held: %q, want L1 free", got)
	}
	s.spray("2020-05-31") // by hand, later
	if got := state(s.fruit()); got != "L1 reopened" {
		t.Errorf("held: %q, want L1 reopened", got)
	}
}
