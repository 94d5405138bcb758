package flush

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"latewood/events"
	"latewood/events/civil"
	"latewood/projections"
	"latewood/projections/foldtest"
)

// A site is an invented farm with daily weather: a wave of the year and chance about it.
type site struct {
	*foldtest.Farm
	t testing.TB
}

func q(v float64, unit string) *events.Quantity { return &events.Quantity{Value: v, Unit: unit} }

// newSite has daily weather from the first day up to and with the last. south shifts the wave by half a year.
func newSite(t testing.TB, first, last string, mean, amp float64, south bool) *site {
	s := &site{foldtest.NewFarm(t, "Pacific/Honolulu"), t}
	if south {
		s.Records = nil
		s.Add("2008-01-01", &events.FarmOpened{Name: "Tern Hollow", Zone: "Pacific/Honolulu", Latitude: -19.6, Longitude: 155.1})
	}
	s.weather(first, last, mean, amp, south)
	return s
}

func (s *site) weather(first, last string, mean, amp float64, south bool) {
	from, to := day(s.t, first), day(s.t, last)
	r := rand.New(rand.NewPCG(7, 7))
	spell := 0.0
	for d := from; !d.After(to); d = d.AddDays(1) {
		doy := float64(d.Sub(civil.Date{Year: d.Year, Month: 1, Day: 1}) + 1)
		if south {
			doy += 182.5
		}
		spell = 0.8*spell + r.NormFloat64()
		m := mean + amp*math.Cos(2*math.Pi*(doy-205)/365) + spell
		length := 86400.0
		s.Add(civil.FormatTime(civil.DayStart(d.AddDays(1), s.Zone())), &events.WeatherRead{
			Station: "gate", Interval: &length, AirTemperatureMin: q(math.Round(10*(m-5))/10, "Cel"), AirTemperatureMax: q(math.Round(10*(m+5))/10, "Cel"),
		})
	}
}

func (s *site) block(code, cultivar string, trees int) {
	for i := range trees {
		s.Add("", &events.TreePlanted{Tree: fmt.Sprintf("%s-%d", code, i+1), Block: code, Row: fmt.Sprint(i%2 + 1), Position: fmt.Sprint(i/2 + 1), Cultivar: cultivar, Planted: "2012"})
	}
}

func whole(code string) events.Where { return events.Where{{Block: code}} }

func (s *site) at(d string) string {
	return civil.FormatTime(civil.DayStart(day(s.t, d), s.Zone()).Add(10 * time.Hour))
}

func (s *site) prune(code, d string) {
	s.Add("", &events.TreePruned{Where: whole(code), Cut: "after-harvest", Ended: s.at(d)})
}

func (s *site) seen(code, d, stage string) *events.Record {
	return s.Add(s.at(d), &events.FlushSeen{Where: whole(code), Stage: stage})
}

func (s *site) ask(on string, edit ...func(*Query)) Doc {
	s.t.Helper()
	query := Query{On: day(s.t, on), Cores: 1}
	for _, e := range edit {
		e(&query)
	}
	doc, err := Forecast(s.Book(), query)
	if err != nil {
		s.t.Fatal(err)
	}
	return doc
}

// why is the first reason for which a clock is not known.
func why(b Block) string {
	if len(b.NotKnown) == 0 {
		return ""
	}
	return b.NotKnown[0].Why
}

func bytes(t testing.TB, d Doc) string {
	t.Helper()
	b, err := events.WriteJSON(d)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

// The usual year: pruned after the harvest, seen to break, asked in autumn.
func TestForecast(t *testing.T) {
	t.Parallel()
	s := newSite(t, "2012-01-01", "2025-10-20", 20, 5, false)
	s.block("north", "Kwai May Pink", 8)
	s.prune("north", "2025-07-10")
	s.seen("north", "2025-07-28", "bud-break")
	b := s.ask("2025-10-20").Blocks[0]
	if b.NextBreak == nil || b.CoolShare == nil || b.Look == nil || len(b.NotKnown) > 0 {
		t.Fatalf("got %+v", b)
	}
	if b.NextBreak.P10 > b.NextBreak.P50 || b.NextBreak.P50 > b.NextBreak.P90 || b.Look.From > b.NextBreak.P10 || b.Look.To != b.NextBreak.P90 {
		t.Errorf("band %+v, look %+v", b.NextBreak, b.Look)
	}
	c := b.CoolShare
	if c.Mean < 0 || c.Mean > 1 || c.LastTen < 0 || c.LastTen > 1 || len(c.ByYear) < 11 || c.Winters.Of != len(c.ByYear) || c.TradeLine < c.Mean {
		t.Errorf("cool share %+v", c)
	}
	if b.Stage != "expanding" && b.Stage != "hardened" || b.StageFrom != "estimate" {
		t.Errorf("stage %q from %q", b.Stage, b.StageFrom)
	}
	if b.Basis.Fitted || b.Basis.ObservedCycles != 1 || b.Basis.WeatherYears < 11 {
		t.Errorf("basis %+v", b.Basis)
	}
	// While five cycles are not seen the headline says when to look, and speaks of no share.
	if want := say("flush.head-look", "from", b.Look.From, "to", b.Look.To); b.Headline != want {
		t.Errorf("headline %q, want %q", b.Headline, want)
	}
	// What comes later changes no forecast of an earlier day, as far as it was known then.
	before := bytes(t, s.ask("2025-10-20"))
	s.seen("north", "2025-12-01", "bud-break")
	if got := why(s.ask("2025-10-20").Blocks[0]); got != whyLater {
		t.Errorf("a forecast before the last look: got %q, want it refused", got)
	}
	s.Records = s.Records[:len(s.Records)-1]
	if bytes(t, s.ask("2025-10-20")) != before {
		t.Error("the same records give another answer")
	}
	// One and many cores.
	if got := bytes(t, s.ask("2025-10-20", func(q *Query) { q.Cores = 7; q.Skill = true })); got != bytes(t, s.ask("2025-10-20", func(q *Query) { q.Skill = true })) {
		t.Error("seven goroutines give other bytes than one")
	}
}

// A warm site has no stretch and says so; a cool one has some, with margins on both sides.
func TestStretches(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		name      string
		mean, amp float64
		some      bool
	}{{"warm", 26, 3, false}, {"cool", 20, 5.5, true}} {
		s := newSite(t, "2012-01-01", "2025-06-20", tt.mean, tt.amp, false)
		s.block("north", "Kwai May Pink", 6)
		s.Add("", &events.TreePruned{Where: whole("north"), Cut: "after-harvest", Started: "2024-07-01", Ended: "2024-07-02"})
		s.Add("2025-06-15", &events.FruitPicked{Where: whole("north"), Mass: q(30, "kg")})
		b := s.ask("2025-06-20").Blocks[0]
		if why(b) != whyUncut {
			t.Errorf("%s: got %q, want %q", tt.name, why(b), whyUncut)
		}
		if (len(b.PruneStretches) > 0) != tt.some || (b.BestDay == nil) != tt.some {
			t.Errorf("%s: got stretches %+v, best %+v", tt.name, b.PruneStretches, b.BestDay)
		}
		for _, x := range b.PruneStretches {
			if x.From > x.Best || x.Best > x.To || x.Share < 0.7 || x.Low > x.Share+1e-9 && x.Low > x.High || x.TreesWorkable == nil || x.To > "2025-10-31" {
				t.Errorf("%s: stretch %+v", tt.name, x)
			}
			if n := day(t, x.To).Sub(day(t, x.From)); x.MarginBefore+x.MarginAfter != n {
				t.Errorf("%s: margins of %+v", tt.name, x)
			}
		}
	}
}

// What cannot be answered says why.
func TestNotKnown(t *testing.T) {
	t.Parallel()
	wet := func(s *site) { s.weather("2019-01-01", "2025-10-20", 20, 5, false) }
	for _, tt := range []struct {
		want string
		make func(s *site)
	}{
		{whyNothing, func(s *site) { wet(s) }},
		{whyNoWeather, func(s *site) { s.prune("north", "2025-07-10") }},
		{whyShort, func(s *site) { s.weather("2025-08-01", "2025-10-20", 20, 5, false); s.prune("north", "2025-07-10") }},
		{whyGaps, func(s *site) { s.weather("2019-01-01", "2025-09-20", 20, 5, false); s.prune("north", "2025-07-10") }},
		{whyOrder, func(s *site) {
			wet(s)
			s.prune("north", "2025-07-10")
			s.seen("north", "2025-08-01", "bud-break")
			s.seen("north", "2025-08-03", "hardened")
		}},
		{whyOrder, func(s *site) {
			wet(s)
			s.prune("north", "2025-07-10")
			s.seen("north", "2025-07-16", "hardened")
		}},
		{whyLost, func(s *site) {
			wet(s)
			s.prune("north", "2025-07-10")
			s.Add(s.at("2025-08-01"), &events.DamageSeen{Where: whole("north"), Cause: "hail"})
		}},
		{whyFruit, func(s *site) {
			wet(s)
			s.Add(s.at("2025-06-01"), &events.CropAssessed{Where: whole("north"), Crop: "fair", Method: "eye"})
		}},
	} {
		s := &site{foldtest.NewFarm(t, "Pacific/Honolulu"), t}
		s.block("north", "Bengal", 4)
		tt.make(s)
		b := s.ask("2025-10-20").Blocks[0]
		if why(b) != tt.want || b.NextBreak != nil || b.Headline == "" {
			t.Errorf("got %q %+v, want %q", why(b), b.NotKnown, tt.want)
		}
	}
	s := newSite(t, "2020-01-01", "2020-12-01", 20, 5, false)
	s.Add("", &events.TreePlanted{Tree: "n-1", Block: "north", Cultivar: "Kohala", Species: "Dimocarpus longan", Planted: "2012"})
	if got := why(s.ask("2020-12-01").Blocks[0]); got != whySpecies {
		t.Errorf("a longan: got %q, want no model", got)
	}
	s.Add("2019-01-01", &events.SettingAdopted{Name: "flush-species", Value: events.Raw(`"Dimocarpus longan"`), From: "2019-01-01"})
	if got := why(s.ask("2020-12-01").Blocks[0]); got != whyNothing {
		t.Errorf("a longan for which the farm answers: got %q", got)
	}
	if _, err := Forecast(s.Book(), Query{Block: "nowhere", On: day(t, "2020-12-01")}); err == nil {
		t.Error("a block that is not there was answered")
	}
}

// The clock starts tree by tree, a side resets half of a tree, and fruit cut with branch counts as a prune.
func TestParts(t *testing.T) {
	t.Parallel()
	at := func(s *site, on string) map[string]float64 {
		st := fold(s.Book().View(keyOf("north")))
		out := map[string]float64{}
		for _, x := range st.strandsOf("Bengal", nil, standard(), day(t, on)) {
			out[string(x.phase)+" "+x.from.String()+" "+x.to.String()] += math.Round(x.weight*1000) / 1000
		}
		return out
	}
	check := func(name string, got, want map[string]float64) {
		t.Helper()
		if fmt.Sprint(got) != fmt.Sprint(want) {
			t.Errorf("%s: got %v, want %v", name, got, want)
		}
	}
	fresh := func() *site {
		s := &site{foldtest.NewFarm(t, "Pacific/Honolulu"), t}
		s.block("north", "Bengal", 8)
		s.prune("north", "2025-06-01")
		return s
	}
	s := fresh()
	s.Add("", &events.TreePruned{Where: events.Where{{Block: "north", Rows: []string{"1"}}}, Cut: "hedging", Started: "2025-07-01", Ended: "2025-07-05"})
	check("rows", at(s, "2025-08-01"), map[string]float64{"cut 2025-06-01 2025-06-01": 0.5, "cut 2025-07-01 2025-07-05": 0.5})
	check("under way", at(s, "2025-07-02"), map[string]float64{"cut 2025-06-01 2025-06-01": 0.8, "cut 2025-07-01 2025-07-02": 0.2})
	s = fresh()
	s.Add("", &events.TreePruned{Where: events.Where{{Block: "north", Side: "east"}}, Cut: "hedging", Ended: s.at("2025-07-05")})
	check("side", at(s, "2025-08-01"), map[string]float64{"cut 2025-06-01 2025-06-01": 0.5, "cut 2025-07-05 2025-07-05": 0.5})
	s = fresh()
	s.Add("", &events.TreePruned{Where: whole("north"), Cut: "tip", Ended: s.at("2025-07-05"), ShareOfTerminalsCut: q(30, "%")})
	check("share", at(s, "2025-08-01"), map[string]float64{"cut 2025-06-01 2025-06-01": 0.7, "cut 2025-07-05 2025-07-05": 0.3})
	s = fresh()
	s.Add("", &events.TreePruned{Where: whole("north"), Cut: "root", Ended: s.at("2025-07-05")})
	check("roots", at(s, "2025-08-01"), map[string]float64{"cut 2025-06-01 2025-06-01": 1})
	s = fresh()
	s.Add(s.at("2026-06-01"), &events.FruitPicked{Where: events.Where{{Block: "north", Trees: []string{"north-1", "north-2"}}}, Mass: q(9, "kg"), LengthCutBack: q(25, "cm")})
	s.Add(s.at("2026-06-05"), &events.FruitPicked{Where: events.Where{{Block: "north", Trees: []string{"north-3"}}}, Mass: q(9, "kg"), LengthCutBack: q(4, "cm")})
	check("with the fruit", at(s, "2026-08-01"), map[string]float64{"cut 2026-06-01 2026-06-01": 0.25, "harvested 2026-06-05 2026-06-05": 0.75})
	s = fresh()
	n, k := 40, 10
	s.Add(s.at("2025-07-01"), &events.FlushSeen{Where: whole("north"), Stage: "bud-break", TerminalsCounted: &n, TerminalsInStage: &k})
	check("a quarter broke", at(s, "2025-08-01"), map[string]float64{"broke 2025-06-17 2025-07-01": 0.25, "cut 2025-06-01 2025-06-01": 0.75})
}

// The weather of the last days is not in yet when somebody prunes, or looks: the clock starts all the same.
func TestWeatherBehind(t *testing.T) {
	t.Parallel()
	for _, behind := range []int{1, 5} {
		s := newSite(t, "2019-01-01", day(t, "2025-08-20").AddDays(-behind).String(), 20, 5, false)
		s.block("north", "Bengal", 4)
		s.block("south", "Kaimana", 4)
		s.prune("north", "2025-08-20")
		s.prune("south", "2025-07-20")
		s.seen("south", "2025-08-20", "bud-break")
		for _, b := range s.ask("2025-08-20").Blocks {
			if b.NextBreak == nil || b.NextBreak.P10 <= "2025-08-20" {
				t.Errorf("%d days behind, %s: got %+v, not known %+v", behind, b.Block, b.NextBreak, b.NotKnown)
			}
		}
		if got := Stages(s.Book(), day(t, "2025-08-20"))["north"]; got.Stage != "no-movement" {
			t.Errorf("%d days behind: got %+v, want no-movement", behind, got)
		}
	}
}

// Half a year on, the south gives the days of the north.
func TestMirror(t *testing.T) {
	t.Parallel()
	north := newSite(t, "2012-01-01", "2025-10-20", 20, 5, false)
	north.block("north", "Bengal", 4)
	north.prune("north", "2025-07-10")
	south := newSite(t, "2012-07-02", "2026-04-20", 20, 5, true)
	south.block("north", "Bengal", 4)
	south.prune("north", "2026-01-09")
	a, b := north.ask("2025-10-20").Blocks[0], south.ask("2026-04-20").Blocks[0]
	if a.NextBreak == nil || b.NextBreak == nil || a.Basis.CoolSeason.From != "2025-11-01" || b.Basis.CoolSeason.From != "2026-05-01" {
		t.Fatalf("north %+v, south %+v", a, b)
	}
	near(t, "the middle of the break, in days after the question",
		float64(day(t, a.NextBreak.P50).Sub(day(t, "2025-10-20"))), float64(day(t, b.NextBreak.P50).Sub(day(t, "2026-04-20"))), 4)
	if b.CoolShare.Season != "2026/27" || a.CoolShare.Season != "2026" {
		t.Errorf("seasons %q and %q", a.CoolShare.Season, b.CoolShare.Season)
	}
}

// What is outside the model is named.
func TestOutside(t *testing.T) {
	t.Parallel()
	s := newSite(t, "2020-01-01", "2025-10-20", 20, 5, false)
	s.block("north", "Bengal", 4)
	s.prune("north", "2025-07-10")
	s.Add(s.at("2025-09-01"), &events.TreeGirdled{Where: whole("north")})
	s.Add("", &events.WaterWithheld{Where: whole("north"), From: s.at("2025-09-10"), Until: s.at("2025-10-10")})
	s.Add("", &events.TreePruned{Where: whole("north"), Cut: "tip", Ended: s.at("2025-10-01"), FlushRemoved: "soft", ShareOfTerminalsCut: q(20, "%")})
	var got []string
	for _, o := range s.ask("2025-10-20").Blocks[0].Outside {
		got = append(got, o.Day+" "+o.What)
	}
	if want := "[2025-09-01 girdled 2025-09-10 water-withheld 2025-10-01 flush-removed]"; fmt.Sprint(got) != want {
		t.Errorf("got %v, want %s", got, want)
	}
}

func keyOf(block string) projections.Key {
	return projections.Key{Class: projections.Block, Code: block}
}
