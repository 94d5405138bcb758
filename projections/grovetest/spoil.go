package grovetest

import (
	"math/rand/v2"
	"testing"

	"latewood/events"
	"latewood/events/civil"
	"latewood/projections/foldtest"
)

// Causes lists what Spoil can do to a season, by names that are this package's own.
func Causes() []string {
	return []string{"young", "seedlings", "unpruned", "late-feed", "pruned-late", "warm", "heavy-before", "regulator", "mites", "frost", "no-bees", "dropped", "birds", "left"}
}

// green says which causes keep terminals green; the others act on panicles.
var green = map[string]bool{"young": true, "seedlings": true, "unpruned": true, "late-feed": true, "pruned-late": true, "warm": true, "heavy-before": true, "regulator": true}

// Green reports whether a cause acts before the panicles.
func Green(cause string) bool { return green[cause] }

// Spoil invents a farm with one block whose crop of 2025 failed for the causes given; thin leaves out everything that would
// have told: looks, counts, and what was done.
func Spoil(t testing.TB, seed uint64, thin bool, causes ...string) *foldtest.Farm {
	s := &spoiler{Farm: foldtest.NewFarm(t, "Pacific/Honolulu"), r: rand.New(rand.NewPCG(seed, 21)), has: map[string]bool{}}
	for _, c := range causes {
		s.has[c] = true
	}
	s.sky()
	s.plant()
	for year := 2021; year <= 2024; year++ {
		kg := 40 + 10*s.r.Float64()
		if year == 2024 && s.has["heavy-before"] {
			kg *= 2.3
		}
		s.put(civil.Date{Year: year, Month: 6, Day: 10}, &events.FruitPicked{Where: north(), Mass: quantity(kg, "kg")})
		if year < 2024 {
			s.prune(civil.Date{Year: year, Month: 7, Day: 5})
		}
	}
	if thin {
		return s.Farm
	}
	s.growth()
	s.bloom()
	s.crop()
	return s.Farm
}

type spoiler struct {
	*foldtest.Farm
	r   *rand.Rand
	has map[string]bool
}

func (s *spoiler) put(d civil.Date, data any) {
	s.Add(d.String()+"T10:00:00-10:00", data)
}

func (s *spoiler) prune(d civil.Date) {
	s.Add("", &events.TreePruned{Where: north(), Cut: "after-harvest", Ended: d.String() + "T15:00:00-10:00"})
}

// sky is cool winters; that of the spoiled crop is warm where that is the cause.
func (s *spoiler) sky() {
	for d := (civil.Date{Year: 2020, Month: 1, Day: 1}); d.Before(civil.Date{Year: 2025, Month: 9, Day: 1}); d = d.AddDays(1) {
		mean := 22.0
		if d.Month >= 11 || d.Month <= 3 {
			mean = 15.5
			if s.has["warm"] && d.After(civil.Date{Year: 2024, Month: 10, Day: 1}) {
				mean = 21.5
			}
		}
		mean += s.r.NormFloat64()
		length := 86400.0
		s.Add(civil.FormatTime(civil.DayStart(d.AddDays(1), s.Zone())), &events.WeatherRead{
			Station: "gate", Interval: &length, AirTemperatureMin: quantity(mean-4, "Cel"), AirTemperatureMax: quantity(mean+4, "Cel"),
		})
	}
}

func (s *spoiler) plant() {
	planted, from := "2009", "air-layer"
	if s.has["young"] {
		planted = "2023"
	}
	if s.has["seedlings"] {
		from = "seedling"
		planted = "2014"
	}
	for _, tree := range []string{"n-1", "n-2", "n-3", "n-4"} {
		s.Add("", &events.TreePlanted{Tree: tree, Block: "north", Row: "1", Position: tree[2:], Cultivar: "Kwai May Pink", Planted: planted, Propagation: from})
	}
	s.Add("", &events.TreePlanted{Tree: "s-1", Block: "south", Cultivar: "Bengal", Planted: "2009"})
}

func count(n int) *int { return &n }

// growth is from the harvest of 2024 to the break.
func (s *spoiler) growth() {
	at := func(month, day int) civil.Date {
		year := 2024
		if month < 7 {
			year = 2025
		}
		return civil.Date{Year: year, Month: 1, Day: 1}.AddDays(monthDay(month, day) + s.r.IntN(4))
	}
	look := func(d civil.Date, stage string, k int) {
		s.put(d, &events.FlushSeen{Where: north(), Stage: stage, TerminalsCounted: count(40), TerminalsInStage: count(k)})
	}
	switch {
	case s.has["unpruned"]:
		look(at(10, 20), "hardened", 12)
	case s.has["pruned-late"]:
		s.prune(at(10, 12))
		look(at(11, 10), "elongating", 35)
	default:
		s.prune(at(7, 20))
		look(at(8, 15), "bud-break", 36)
		look(at(9, 25), "hardened", 36)
	}
	if s.has["late-feed"] {
		s.put(at(9, 20), &events.NutrientApplied{Where: north(), Material: "urea", Total: quantity(12, "kg"), Analysis: &events.Analysis{N: quantity(46, "%")}})
		look(at(10, 28), "expanding", 34)
	} else if !s.has["pruned-late"] && !s.has["unpruned"] {
		look(at(10, 25), "hardened", 37)
	}
	if s.has["warm"] {
		look(at(12, 20), "bud-break", 36)
	}
	if s.has["regulator"] {
		label := s.put2(&events.LabelFiled{
			Product: "Invented Regulator", Material: "growth-regulator", ReadBy: "invented", Registration: "INVENTED-9", Crop: "lychee", CropListed: yes(),
			ActiveIngredients: []events.Ingredient{{Name: "invented"}}, Withholding: events.OneOrMany[events.Withholding]{{Kind: "none-stated"}}, Reentry: events.OneOrMany[events.Reentry]{{Words: "read it"}},
		})
		d := at(12, 1)
		s.Add("", &events.SprayApplied{
			Where: events.OneOrMany[events.SprayedPart]{{Part: events.Part{Block: "north"}}}, Started: d.String() + "T07:00:00-10:00", Ended: d.String() + "T08:00:00-10:00",
			Mix: []events.MixItem{{Label: label, Total: quantity(1, "L")}}, Target: "flush", Applicator: &events.Person{Code: "w_00000000000000000000000000000de0"},
		})
	}
	// What is looked for and not found is a record too.
	with := 0
	if s.has["mites"] {
		with = 28
	}
	decision := "none"
	if with > 0 {
		decision = "treat"
	}
	s.put(at(2, 10), &events.PestScouted{Where: north(), Target: "erinose mite", Method: "visual", UnitsExamined: count(40), UnitsWith: &with, Decision: decision})
}

func yes() *bool { b := true; return &b }

func (s *spoiler) put2(data any) string { return s.Add("2024-01-05", data).ID.String() }

func monthDay(month, day int) int {
	return []int{0, 31, 59, 90, 120, 151, 181, 212, 243, 273, 304, 334}[month-1] + day - 1
}

// bloom counts terminals: few panicles where a cause keeps them green.
func (s *spoiler) bloom() {
	kept := false
	for c := range s.has {
		kept = kept || green[c]
	}
	panicles := 34
	if kept {
		panicles = 2 + s.r.IntN(5)
	}
	s.put(civil.Date{Year: 2025, Month: 3, Day: 1}, &events.BloomSeen{Where: north(), Stage: "panicles-out", TerminalsCounted: count(40), LeaflessPanicle: &panicles, Vegetative: count(40 - panicles)})
	if !s.has["no-bees"] {
		s.put(civil.Date{Year: 2025, Month: 3, Day: 15}, &events.HivesPlaced{Where: north(), Hives: 4})
	}
	if s.has["frost"] {
		s.put(civil.Date{Year: 2025, Month: 3, Day: 18}, &events.DamageSeen{Where: north(), Cause: "frost", Organ: "panicle"})
	}
}

// crop is from set to the harvest that was not.
func (s *spoiler) crop() {
	set := 55.0
	if s.has["no-bees"] || s.has["frost"] {
		set = 6
	}
	s.put(civil.Date{Year: 2025, Month: 4, Day: 10}, &events.FruitSet{Where: north(), ShareOfPanicles: quantity(set, "%")})
	if s.has["birds"] {
		s.put(civil.Date{Year: 2025, Month: 5, Day: 25}, &events.DamageSeen{Where: north(), Cause: "bird", FruitLost: quantity(85, "%")})
	}
	crop := "none"
	switch {
	case s.has["left"]:
		crop = "left-unpicked"
	case s.has["dropped"]:
		crop = "failed"
	case s.has["birds"]:
		crop = "fair"
	}
	s.put(civil.Date{Year: 2025, Month: 6, Day: 1}, &events.CropAssessed{Where: north(), Crop: crop, Method: "eye"})
}
