package holds_test

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"latewood/events"
	"latewood/events/civil"
	"latewood/projections"
	"latewood/projections/foldtest"
	"latewood/projections/holds"
)

// A teller invents a farm's history: everything that can move a hold, in any order, with slips, corrections and labels that
// come late.
type teller struct {
	*orchard
	r       *rand.Rand
	labels  []string // ids, of labels filed or still to come
	pending []func()
	plans   []string
	begun   []string
	sprays  []told
}

// told is a record and its latest version.
type told struct {
	first, last *events.Record
	gone        bool
}

func tell(t testing.TB, seed uint64, n int) *teller {
	r := rand.New(rand.NewPCG(seed, 7))
	zones := []string{"America/New_York", "Australia/Lord_Howe", "Australia/Brisbane", honolulu}
	h := &teller{orchard: newOrchard(t, zones[r.IntN(len(zones))], "north", "south", "west"), r: r}
	h.rows("north", 3, 2)
	h.rows("west", 2, 2)
	for range n {
		h.step()
	}
	for _, late := range h.pending {
		late()
	}
	return h
}

func (h *teller) chance(percent int) bool { return h.r.IntN(100) < percent }

func (h *teller) one(list ...string) string { return list[h.r.IntN(len(list))] }

// day is some day of two years; moment is a time in it, or the day alone.
func (h *teller) day() civil.Date {
	return civil.Date{Year: 2026, Month: 2, Day: 1}.AddDays(h.r.IntN(600))
}

func (h *teller) moment(d civil.Date) string {
	if h.chance(25) {
		return d.String()
	}
	start, length := civil.DayStart(d, h.Zone()), civil.DayLength(d, h.Zone())
	return civil.FormatTime(start.Add(time.Duration(h.r.Int64N(int64(length/time.Second))) * time.Second))
}

func (h *teller) parts() []events.Part {
	var out []events.Part
	for range 1 + h.r.IntN(2) {
		code := h.one("north", "north", "south", "west")
		p := events.Part{Block: code}
		switch h.r.IntN(4) {
		case 0:
			p.Rows = []string{fmt.Sprint(1 + h.r.IntN(4))}
		case 1:
			p.Trees = []string{fmt.Sprint(code, "-", 1+h.r.IntN(3), "-", 1+h.r.IntN(2))}
		case 2:
			p.Except = []string{fmt.Sprint(code, "-1-1")}
		}
		out = append(out, p)
	}
	return out
}

func (h *teller) withholding() events.Withholding {
	w := events.Withholding{Kind: h.one("numeric", "numeric", "numeric", "numeric", "numeric", "numeric", "numeric", "numeric", "zero", "none-stated", "growth-stage", "unknown"), Words: h.one("wait", "do not harvest", "")}
	if w.Kind == "numeric" {
		w.Value, w.Unit, w.CountRule = ptr(float64(h.r.IntN(30))), h.one("h", "d", "wk"), h.one("", "date", "elapsed", "full-days", "label-says")
	}
	return w
}

// product names a label, filed now, later, or never.
func (h *teller) product() events.MixItem {
	item := events.MixItem{Role: h.one("", "", "", "adjuvant", "nutrient")}
	switch {
	case h.chance(4):
		item.Product = "Old Can"
		return item
	case len(h.labels) > 0 && h.chance(60):
		item.Label = h.labels[h.r.IntN(len(h.labels))]
		return item
	}
	id := events.NewID(1, [10]byte{9: byte(len(h.labels) + 1)}).String()
	item.Label = id
	h.labels = append(h.labels, id)
	d := label("L"+fmt.Sprint(len(h.labels)), h.withholding(), entry(float64(h.r.IntN(60))))
	if h.chance(30) {
		d.Withholding = append(d.Withholding, h.withholding())
	}
	if h.chance(5) {
		d.Reentry[0] = events.Reentry{Words: "until dry"}
	}
	if h.chance(5) {
		d.CropListed = ptr(false)
	}
	file := func() {
		rec := h.AddFrom(events.Draft{ID: id, Time: "2026-01-01"}, d)
		if h.chance(15) {
			h.pending = append(h.pending, func() { h.Withdraw(rec, rec) })
		} else if h.chance(15) {
			d := *d
			d.Withholding = []events.Withholding{h.withholding()}
			h.pending = append(h.pending, func() { h.Correct(rec, rec, "", &d) })
		}
	}
	switch h.r.IntN(20) {
	case 0: // never
	case 1, 2:
		h.pending = append(h.pending, file)
	default:
		file()
	}
	return item
}

func (h *teller) applied() *events.SprayApplied {
	d := h.day()
	started, ended := h.moment(d), h.moment(d)
	if len(started) > 10 && len(ended) > 10 && h.when(ended).Before(h.when(started)) {
		started, ended = ended, started
	}
	if len(started) > 10 && len(ended) == 10 {
		started = ended
	}
	out := spray(started, ended, h.parts(), h.product())
	if h.chance(30) {
		out.Mix = append(out.Mix, h.product())
	}
	if h.chance(20) {
		out.Where[0].Ended = h.moment(d.AddDays(1))
	}
	return out
}

func (h *teller) draft() events.Draft {
	if !h.chance(15) {
		return events.Draft{}
	}
	sent := civil.FormatTime(h.Next().Add(time.Duration(h.r.IntN(7200)-3600) * time.Second))
	return events.Draft{DeviceTime: sent + " " + sent}
}

func (h *teller) step() {
	some := func(ids []string) string {
		if len(ids) == 0 || h.chance(50) {
			return ""
		}
		return ids[h.r.IntN(len(ids))]
	}
	switch h.r.IntN(16) {
	case 0, 1, 2, 3:
		d := h.applied()
		d.Plan, d.Begun = some(h.plans), some(h.begun)
		rec := h.AddFrom(h.draft(), d)
		h.sprays = append(h.sprays, told{first: rec, last: rec})
	case 4:
		if h.chance(60) {
			return
		}
		d := &events.SprayPlanned{Where: h.parts(), From: h.moment(h.day()), Mix: []events.MixItem{h.product()}}
		h.plans = append(h.plans, h.Add(h.day().String(), d).ID.String())
	case 5:
		if h.chance(60) {
			return
		}
		d := &events.SprayBegun{Where: h.parts(), Started: h.moment(h.day()), Plan: some(h.plans)}
		if h.chance(50) {
			d.Mix = []events.MixItem{h.product()}
		}
		h.begun = append(h.begun, h.AddFrom(h.draft(), d).ID.String())
	case 6:
		d := &events.SprayCalledOff{Where: h.parts(), Plan: some(h.plans), Begun: some(h.begun), Reason: "wind"}
		if h.chance(70) {
			d.AnythingApplied = ptr(h.chance(50))
		}
		if d.Plan+d.Begun != "" {
			h.Add(h.moment(h.day()), d)
		}
	case 7, 8:
		if len(h.sprays) > 0 {
			d := &events.HoldJudged{Where: h.parts(), Spray: h.sprays[h.r.IntN(len(h.sprays))].first.ID.String(), Words: h.one("wait", "do not harvest", "as I read it"), GrowthStage: "set"}
			if h.chance(70) {
				d.From, d.GrowthStage = h.moment(h.day()), ""
			}
			h.Add(h.moment(h.day()), d)
		}
	case 9:
		h.Add("", &events.HarvestClosed{Where: h.parts(), Date: h.day().String()})
	case 10:
		h.Add(h.moment(h.day()), &events.FruitPicked{Where: h.parts(), Mass: &events.Quantity{Value: 3, Unit: "kg"}})
	case 11, 12:
		h.revise()
	case 13:
		code := fmt.Sprint("north-", 1+h.r.IntN(3), "-", 1+h.r.IntN(2))
		if h.chance(50) {
			h.Add(h.day().String(), &events.TreeMoved{Moves: []events.Move{{Tree: code, From: "north", Block: h.one("north", "west"), Row: "9", Position: "1"}}})
		} else {
			h.Add(h.day().String(), &events.TreeRemoved{Where: trees("north", code)})
		}
	case 14:
		if len(h.sprays) > 0 {
			s := h.sprays[h.r.IntN(len(h.sprays))].first
			d := &events.RecordsReviewed{Records: []string{s.ID.String()}, Reviewer: applicator}
			if h.chance(50) {
				d.Records, d.Span = nil, &events.Span{First: int(s.Place), Last: int(s.Place) + 2}
			}
			h.Add(h.day().String(), d)
		}
	case 15:
		switch h.r.IntN(3) {
		case 0:
			h.Add("2026-01-01", &events.SettingAdopted{Name: "count-rule", Value: events.Raw(`"` + h.one("date", "elapsed", "full-days") + `"`), From: h.day().String()})
		case 1:
			from := h.day()
			h.Add("2026-01-01", &events.SeasonNamed{Season: h.one("2026", "2027"), From: from.String(), To: from.AddDays(200).String()})
		case 2:
			into := h.one("east", "south")
			h.Add("", &events.BlockRedrawn{From: []string{h.one("north", "south")}, Into: []events.DrawnBlock{{Block: into, Area: &events.Quantity{Value: 1, Unit: "har"}}}, Date: h.day().String()})
		}
	}
}

// revise corrects or withdraws a spray.
func (h *teller) revise() {
	if len(h.sprays) == 0 {
		return
	}
	s := &h.sprays[h.r.IntN(len(h.sprays))]
	switch {
	case s.gone:
	case h.chance(30):
		h.Withdraw(s.first, s.last)
		s.gone = true
	default:
		d := h.applied()
		at := h.when(d.Ended)
		s.last = h.Correct(s.first, s.last, civil.FormatTime(at), d)
	}
}

func (h *teller) instants(n int) []time.Time {
	out := make([]time.Time, n)
	for i := range out {
		if len(h.sprays) > 0 && h.chance(60) { // some time after a spray
			out[i] = h.sprays[h.r.IntN(len(h.sprays))].first.Time.Add(time.Duration(h.r.IntN(20*24*60))*time.Minute + time.Second)
			continue
		}
		out[i] = h.when("2026-02-01").Add(time.Duration(h.r.IntN(640*24*60))*time.Minute + time.Minute)
	}
	return out
}

func TestLaws(t *testing.T) {
	t.Parallel()
	records := 0
	for seed := range histories {
		h := tell(t, uint64(seed), 40)
		records += len(h.Records)
		foldtest.Laws(t, h.Records, []*projections.Fold{holds.Fold()}, uint64(seed))
		if t.Failed() {
			t.Fatalf("history %d", seed)
		}
	}
	t.Logf("counts: %d histories of %d records", histories, records)
}

// A State that was written down and read back answers the same, and so does the same history in any order.
func TestAnswersSurvive(t *testing.T) {
	t.Parallel()
	for seed := range histories {
		h := tell(t, uint64(seed)+5000, 30)
		book := h.Book()
		shuffled := slices.Clone(h.Records)
		h.r.Shuffle(len(shuffled), func(i, j int) { shuffled[i], shuffled[j] = shuffled[j], shuffled[i] })
		other := foldtest.BookOf(t, shuffled)
		for _, at := range h.instants(3) {
			a, _ := events.WriteJSON(holds.Holds(book, at))
			b, _ := events.WriteJSON(holds.Holds(other, at))
			if !bytes.Equal(a, b) {
				t.Fatalf("history %d at %s:\n%s\n%s", seed, at, a, b)
			}
			for _, code := range book.Keys(projections.Block) {
				s := projections.StateOf[holds.State](book, holds.Fold(), code)
				raw, err := events.WriteJSON(s)
				if err != nil {
					t.Fatal(err)
				}
				back := &holds.State{}
				if err := events.ReadJSON(raw, back); err != nil {
					t.Fatal(err)
				}
				x, _ := events.WriteJSON(s.At(at, h.Zone()))
				y, _ := events.WriteJSON(back.At(at, h.Zone()))
				if !bytes.Equal(x, y) {
					t.Fatalf("history %d, %s, read back: got %s, want %s", seed, code, y, x)
				}
			}
		}
	}
}

// What every answer keeps, whatever happened: a pick is inside where the answer of its tree says so, a block is as bad as
// its worst part, no date stands where none may be computed, and re-entry binds picking.
func TestAnswersHoldTogether(t *testing.T) {
	t.Parallel()
	asked := 0
	keeps := func(h holds.Hold) bool {
		switch h.Status {
		case holds.InProgress, holds.ReadTheLabel, holds.Waiting:
			return true
		case holds.ReadByPerson:
			return h.From != ""
		}
		return false
	}
	seen := map[holds.Status]int{}
	for seed := range histories {
		h := tell(t, uint64(seed)+9000, 40)
		book := h.Book()
		for _, code := range []string{"north", "west", "south"} {
			s := holds.Of(book, code)
			for _, at := range h.instants(8) {
				b := s.At(at, h.Zone())
				parts := b.Parts
				if parts == nil {
					parts = []holds.Part{{Pick: b.Pick, Enter: b.Enter}}
				}
				worst := [2]holds.Status{holds.None, holds.None}
				for _, p := range parts {
					for i, side := range []holds.Hold{p.Pick, p.Enter} {
						asked++
						seen[side.Status]++
						if side.Status.Worse(worst[i]) {
							worst[i] = side.Status
						}
						dated := side.From != "" || side.Readings != nil
						if dated && (side.Status == holds.InProgress || side.Status == holds.ReadTheLabel || side.Status == holds.Planned || side.Status == holds.None) {
							t.Fatalf("history %d, %s at %s: a date under %s: %+v", seed, code, at, side.Status, side)
						}
						if from := side.From; from != "" && (side.Status == holds.Waiting || side.Status == holds.ReadByPerson) != h.when(from).After(at) {
							t.Fatalf("history %d, %s at %s: %s from %s", seed, code, at, side.Status, from)
						}
						if (side.Status == holds.Planned) != (side.Closes != "") || keeps(side) && len(side.Because) == 0 {
							t.Fatalf("history %d, %s at %s: got %+v", seed, code, at, side)
						}
					}
					if p.Enter.Status == holds.ReadTheLabel && p.Pick.Status.Worse(holds.ReadTheLabel) != (p.Pick.Status == holds.InProgress) {
						t.Fatalf("history %d, %s at %s: entering must be read, picking is %s", seed, code, at, p.Pick.Status)
					}
					if p.Enter.Status == holds.Waiting && (p.Pick.Status == holds.RunOut || p.Pick.Status == holds.None || p.Pick.From != "" && h.when(p.Pick.From).Before(h.when(p.Enter.From))) {
						t.Fatalf("history %d, %s at %s: entering waits until %s, picking is %s from %s", seed, code, at, p.Enter.From, p.Pick.Status, p.Pick.From)
					}
					if len(p.Trees) == 0 && len(p.Rows) == 0 || civil.DayStart(civil.DateOf(at, h.Zone()), h.Zone()).Equal(at) {
						continue
					}
					where := []events.Part{{Block: code, Trees: p.Trees, Rows: p.Rows}}
					if in, _ := s.PickAt(where, at, h.Zone()); in != keeps(p.Pick) {
						t.Fatalf("history %d, %s %v at %s: a pick is inside: %v; the part is %+v", seed, code, where, at, in, p.Pick)
					}
					if in, _ := s.WorkAt(where, at, h.Zone()); in != keeps(p.Enter) {
						t.Fatalf("history %d, %s %v at %s: work is inside: %v; the part is %+v", seed, code, where, at, in, p.Enter)
					}
				}
				if b.Pick.Status != worst[0] || b.Enter.Status != worst[1] {
					t.Fatalf("history %d, %s at %s: the block is %s and %s, its worst parts %v", seed, code, at, b.Pick.Status, b.Enter.Status, worst)
				}
			}
		}
	}
	for _, s := range holds.Statuses() {
		if seen[s] == 0 {
			t.Errorf("no history came to %s", s)
		}
	}
	t.Logf("counts: %d histories, %d answers of parts: %v", histories, asked, seen)
}

// One more spray never opens anything earlier.
func TestOneMoreSprayNeverOpens(t *testing.T) {
	t.Parallel()
	asked := 0
	for seed := range histories {
		h := tell(t, uint64(seed)+20000, 30)
		before := h.Book()
		more := h.Add("", h.applied())
		after := h.Book()
		for _, code := range []string{"north", "west", "south"} {
			less, plus := holds.Of(before, code), holds.Of(after, code)
			// Close to the spray, where it can tell.
			times := h.instants(5)
			for range 10 {
				times = append(times, more.Time.Add(time.Duration(h.r.IntN(30*24*60))*time.Minute-24*time.Hour))
			}
			for _, at := range times {
				for _, p := range []events.Part{{Block: code}, {Block: code, Rows: []string{"1"}}, {Block: code, Rows: []string{"2"}}} {
					asked++
					for which, ask := range []func(*holds.State) (bool, []holds.Because){
						func(s *holds.State) (bool, []holds.Because) { return s.PickAt([]events.Part{p}, at, h.Zone()) },
						func(s *holds.State) (bool, []holds.Because) { return s.WorkAt([]events.Part{p}, at, h.Zone()) },
					} {
						was, _ := ask(less)
						is, _ := ask(plus)
						if was && !is {
							t.Fatalf("history %d, %s at %s, question %d: one more spray opened %v", seed, code, at, which, p)
						}
					}
				}
				a, b := less.At(at, h.Zone()), plus.At(at, h.Zone())
				for i, pair := range [][2]holds.Hold{{a.Pick, b.Pick}, {a.Enter, b.Enter}} {
					if pair[0].Status.Worse(pair[1].Status) {
						t.Fatalf("history %d, %s at %s, side %d: %s became %s", seed, code, at, i, pair[0].Status, pair[1].Status)
					}
					if pair[0].Status == pair[1].Status && pair[0].From != "" && pair[1].From != "" && h.when(pair[1].From).Before(h.when(pair[0].From)) {
						t.Fatalf("history %d, %s at %s, side %d: from %s became %s", seed, code, at, i, pair[0].From, pair[1].From)
					}
				}
			}
		}
	}
	t.Logf("counts: %d histories, %d questions", histories, asked)
}
