package causes

import (
	"math"
	"slices"

	"latewood/events"
	"latewood/events/civil"
	"latewood/events/units"
	"latewood/projections"
	"latewood/projections/settings"
	"latewood/projections/yields"
)

// gather walks through the records of the season once.
func (f *finder) gather() {
	last := civil.Date{}
	for _, fact := range f.view.Standing() {
		day := civil.DateOf(fact.Time, f.view.Zone)
		in := f.seasons.Of(fact.Kind, fact.Time) == f.season
		if h, ok := fact.Data().(*events.HivesPlaced); ok && in && h.Hives > 0 { // hives speak for the whole block
			f.hives = true
		}
		if !in || !f.mine(fact) {
			continue
		}
		switch d := fact.Data().(type) {
		case *events.FlushSeen:
			f.flushSeen(d, day)
		case *events.BloomSeen:
			f.bloomSeen(d, day)
		case *events.FruitSet:
			if v, ok := percent(d.ShareOfPanicles); ok {
				f.set, f.setKnown = v, true
			}
		case *events.CropAssessed:
			f.crop = d.Crop
		case *events.FruitPicked:
			f.picks++
			if d.Mass != nil {
				if kg, err := units.Convert(d.Mass.Value, d.Mass.Unit, "kg"); err == nil {
					f.kg += kg
				}
			}
		case *events.NutrientApplied:
			f.fed(d, day)
		case *events.WaterApplied:
			if at := day.Sub(f.past.From); at > -75 && at < 45 {
				f.add("late-flush", 0.15, say("causes.watered", "day", day.String()))
			}
		case *events.WaterWithheld:
			f.add("late-flush", -0.3, say("causes.withheld", "day", day.String()))
		case *events.TreeGirdled:
			f.add("girdled-or-regulator", 0.7, say("causes.girdled", "day", day.String()))
		case *events.SprayApplied:
			for _, item := range d.Mix {
				if _, label := f.view.Label(item.Label); item.Label != "" && label != nil && label.Material == "growth-regulator" {
					f.add("girdled-or-regulator", 0.8, say("causes.regulator", "day", day.String()))
				}
			}
		case *events.PestScouted:
			f.pest(d, day)
		case *events.DamageSeen:
			f.damage(d, day)
		case *events.TreeSeen:
			if d.Condition == "weak" || d.Condition == "failing" {
				f.add("shade-or-roots", 0.6, say("causes.weak", "day", day.String(), "condition", d.Condition))
			}
		case *events.FruitSold:
			if d.Channel == "u-pick" && day.After(last) {
				last = day
				f.add("picked-unrecorded", 0.8, say("causes.u-pick", "day", day.String()))
			}
		}
	}
}

func percent(q *events.Quantity) (float64, bool) {
	if q == nil {
		return 0, false
	}
	v, err := units.Convert(q.Value, q.Unit, "%")
	return v / 100, err == nil
}

func (f *finder) flushSeen(d *events.FlushSeen, day civil.Date) {
	at := day.Sub(f.past.From)
	if at < -120 || at > 150 {
		return
	}
	f.seen++
	soft := d.Stage == "bud-break" || d.Stage == "elongating" || d.Stage == "expanding"
	switch {
	case soft && at >= -50 && at <= 25:
		f.add("late-flush", 0.8, say("causes.soft", "day", day.String(), "stage", d.Stage))
		if d.Stage != "bud-break" {
			f.add("leaves-not-mature", 0.3, say("causes.soft", "day", day.String(), "stage", d.Stage))
		}
	case (d.Stage == "hardened" || d.Stage == "dormant") && at >= -50 && at <= 25:
		f.add("late-flush", -0.7, say("causes.mature", "day", day.String(), "stage", d.Stage))
		f.add("leaves-not-mature", -0.8, say("causes.mature", "day", day.String(), "stage", d.Stage))
	}
	if d.TerminalsCounted != nil && d.TerminalsInStage != nil && *d.TerminalsCounted >= 10 {
		share := float64(*d.TerminalsInStage) / float64(*d.TerminalsCounted)
		switch {
		case share > 0.1 && share < 0.45:
			f.add("flushes-in-patches", 0.4, say("causes.patch", "day", day.String(), "k", *d.TerminalsInStage, "n", *d.TerminalsCounted, "stage", d.Stage))
		case share >= 0.8:
			f.add("flushes-in-patches", -0.3, say("causes.together", "day", day.String(), "k", *d.TerminalsInStage, "n", *d.TerminalsCounted, "stage", d.Stage))
		}
	}
}

func (f *finder) bloomSeen(d *events.BloomSeen, day civil.Date) {
	if f.bloomFrom.IsZero() {
		f.bloomFrom = day
	}
	f.bloomTo = day
	n := 0
	for _, p := range []*int{d.LeaflessPanicle, d.LeafyPanicle} {
		if p != nil {
			n += *p
		}
	}
	switch {
	case d.TerminalsCounted != nil && *d.TerminalsCounted > 0 && (d.LeaflessPanicle != nil || d.LeafyPanicle != nil || d.Stage == "none"):
		f.panicles, f.paniclesN = math.Max(f.panicles, float64(n)/float64(*d.TerminalsCounted)), *d.TerminalsCounted
	case d.Stage == "none":
		f.none = true
	case f.panicles < 0 && f.paniclesN == 0:
		f.paniclesN = -1 // panicles were there; nobody counted
	}
	if d.NoMovement != nil && d.TerminalsCounted != nil && *d.NoMovement*2 > *d.TerminalsCounted {
		f.add("no-break-in-season", 0.8, say("causes.idle", "k", *d.NoMovement, "n", *d.TerminalsCounted))
	}
}

func (f *finder) fed(d *events.NutrientApplied, day civil.Date) {
	at := day.Sub(f.past.From)
	if at < -100 || at > 60 {
		return
	}
	if d.Analysis != nil {
		if n, ok := percent(d.Analysis.N); ok && n == 0 {
			return
		}
	}
	f.add("late-flush", 0.5, say("causes.fed", "day", day.String()))
}

func (f *finder) pest(d *events.PestScouted, day civil.Date) {
	f.scouted = true
	with := d.UnitsWith != nil && *d.UnitsWith > 0
	switch {
	case with && d.UnitsExamined != nil && *d.UnitsExamined > 0:
		share := float64(*d.UnitsWith) / float64(*d.UnitsExamined)
		f.add("mites-or-disease", math.Min(0.2+1.6*share, 1.1), say("causes.pest", "target", d.Target, "day", day.String(), "k", *d.UnitsWith, "n", *d.UnitsExamined))
	case d.Decision == "treat":
		f.add("mites-or-disease", 0.5, say("causes.pest-treated", "target", d.Target, "day", day.String()))
	case d.Decision == "none":
		f.add("mites-or-disease", -0.3, say("causes.pest-none", "target", d.Target, "day", day.String()))
	}
}

// bloomAndFruit is how long after the cool season there is bloom and fruit to be hit: common practice.
const bloomAndFruit = 120

func (f *finder) damage(d *events.DamageSeen, day civil.Date) {
	score := 0.9
	if lost, ok := percent(d.FruitLost); ok {
		score = 0.3 + 1.2*lost
	}
	text := say("causes.damage", "cause", d.Cause, "day", day.String())
	switch d.Cause {
	case "frost", "freeze", "wind", "storm", "hail", "heat":
		if day.Before(f.past.From) || day.After(f.past.To.AddDays(bloomAndFruit)) {
			return // neither panicle nor fruit was there to be hit
		}
		f.add("weather-in-bloom", score, text)
	case "pest", "disease":
		f.add("mites-or-disease", score, text)
	case "bird", "bat", "rodent", "large-animal", "theft":
		f.add("birds-or-theft", score, text)
	case "flood", "drought", "salt", "herbicide", "machine", "lightning", "fire":
		f.add("shade-or-roots", score, text)
	case "spray-injury", "drift":
		f.add("girdled-or-regulator", 0.4, text)
	}
}

// trees looks at age, propagation and cultivar.
func (f *finder) trees(on civil.Date) {
	bearing, _ := f.view.Number(settings.BearingAge, on)
	if p, err := civil.ParsePartial(f.past.Planted); err == nil && f.past.Planted != "" {
		age := float64(on.Sub(p.First)) / 365.25
		switch {
		case age < bearing:
			f.add("too-young", 1.2, say("causes.age", "years", int(age)))
		case age < 6: // a substantial crop comes from year 7 on (published: FAO)
			f.add("too-young", 0.35, say("causes.age", "years", int(age)))
		default:
			f.add("too-young", -0.6, say("causes.age", "years", int(age)))
		}
		if f.past.Seedlings*2 > f.past.Trees {
			score := 1.1
			if age > 15 {
				score = 0.5
			}
			f.add("seedling-or-cultivar", score, say("causes.seedling", "years", int(age)))
		}
	}
	uncertain := 0
	for _, fact := range f.view.Standing() {
		if d, ok := fact.Data().(*events.TreePlanted); ok && d.CultivarCertain != nil && !*d.CultivarCertain && (f.tree == "" || d.Tree == f.tree) {
			uncertain++
		}
	}
	if uncertain*2 > f.past.Trees || f.tree != "" && uncertain > 0 {
		f.add("seedling-or-cultivar", 0.6, say("causes.uncertain", "cultivar", f.past.Cultivar))
	}
	if f.clock && f.past.Warmest > f.past.Threshold+2.5 {
		f.add("seedling-or-cultivar", 0.4, say("causes.cultivar-warm", "cultivar", f.past.Cultivar, "mean", tenth(f.past.Warmest), "threshold", tenth(f.past.Threshold)))
	}
}

func tenth(v float64) float64 { return math.Round(v*10) / 10 }

// prunes says whether there was one, and when.
func (f *finder) prunes() {
	if f.seen == 0 && f.panicles < 0 && !f.none && f.crop == "" && f.picks == 0 {
		// Of a season of which nothing is recorded, a prune that is not recorded says nothing either.
		if f.past.LastCut.IsZero() || f.past.From.Sub(f.past.LastCut) > 300 {
			f.missing = append(f.missing, say("causes.missing-prune"))
			return
		}
	}
	if f.past.LastCut.IsZero() || f.past.From.Sub(f.past.LastCut) > 300 {
		f.add("not-pruned", 0.7, say("causes.unpruned"))
		f.add("flushes-in-patches", 0.3, say("causes.unpruned"))
		return
	}
	f.add("not-pruned", -0.8, say("causes.pruned", "day", f.past.LastCut.String()))
	f.add("flushes-in-patches", -0.2, say("causes.pruned", "day", f.past.LastCut.String()))
}

// breaks holds the clock against the weather that came.
func (f *finder) breaks() {
	if !f.clock || !f.past.Known {
		f.missing = append(f.missing, say("causes.missing-clock"))
		return
	}
	best, inside := -1, 0
	for i, b := range f.past.Breaks {
		if b.Day.Before(f.past.From) || b.Day.After(f.past.To) {
			continue
		}
		inside++
		if best < 0 || b.Share > f.past.Breaks[best].Share {
			best = i
		}
	}
	if inside == 0 {
		f.add("no-break-in-season", 0.6, say("causes.no-break", "from", f.past.From.String(), "to", f.past.To.String()))
	} else {
		b := f.past.Breaks[best]
		key, scale := "causes.break-estimated", 0.75
		if b.Seen {
			key, scale = "causes.break-seen", 1.15
		}
		text := say(key, "day", b.Day.String(), "mean", tenth(b.Mean), "threshold", tenth(f.past.Threshold)) //words:keys causes.break
		f.add("warm-at-break", scale*(1-2*b.Share), text)
		if b.Seen {
			f.add("no-break-in-season", -0.6, text)
		} else {
			f.add("no-break-in-season", -0.2, text)
		}
		if b.WarmDays > b.Window/2 {
			f.add("warm-at-break", 0.3, say("causes.warm-days", "n", b.WarmDays, "of", b.Window))
		}
	}
	// A flush that is unfinished well into the cool season.
	if h := f.past.Hardened; !h.IsZero() {
		late := h.Sub(f.past.From)
		switch {
		case late > 20:
			f.add("leaves-not-mature", 0.9, say("causes.hardened-late", "day", h.String()))
		case late < -10:
			f.add("leaves-not-mature", -0.5, say("causes.hardened", "day", h.String()))
		}
	} else if len(f.past.Breaks) > 0 && f.past.Breaks[0].Day.After(f.past.From.AddDays(20)) && !f.past.LastCut.IsZero() && f.past.LastCut.After(f.past.From.AddDays(-45)) {
		f.add("leaves-not-mature", 0.9, say("causes.pruned-late", "day", f.past.LastCut.String()))
	}
}

// before looks at the crop before.
func (f *finder) before() {
	st := projections.StateOf[yields.State](f.book, yields.Fold(), f.block)
	prev := f.season.Prev()
	var sum, n, last float64
	known := false
	for _, s := range st.Seasons {
		kg, ok := f.massOf(&s)
		if !ok {
			continue
		}
		switch {
		case s.Season == prev:
			last, known = kg, true
		case s.Season.Compare(f.season) < 0:
			sum, n = sum+kg, n+1
		}
	}
	switch {
	case !known || n < 2:
		f.missing = append(f.missing, say("causes.missing-yields"))
	case last > 1.8*sum/n:
		f.add("heavy-crop-before", 1.05, say("causes.heavy", "kg", tenth(last), "mean", tenth(sum/n)))
	case last > 1.3*sum/n:
		f.add("heavy-crop-before", 0.6, say("causes.heavy", "kg", tenth(last), "mean", tenth(sum/n)))
	default:
		f.add("heavy-crop-before", -0.6, say("causes.not-heavy", "kg", tenth(last), "mean", tenth(sum/n)))
	}
}

func (f *finder) massOf(s *yields.Season) (float64, bool) {
	if f.tree == "" {
		return float64(s.MG) / 1e6, s.Picks > 0
	}
	for _, t := range s.Trees {
		if t.Tree == f.tree {
			return float64(t.MG) / 1e6, true
		}
	}
	return 0, false
}

// bloom looks at what came between panicle and pick.
func (f *finder) bloom() {
	if !f.bloomFrom.IsZero() && f.past.Air != nil {
		f.frost()
	}
	others := map[string]bool{}
	for _, code := range f.book.Keys(projections.Block) {
		for _, t := range f.book.View(projections.Key{Class: projections.Block, Code: code}).Ground().Trees {
			if t.Until.IsZero() {
				others[t.Cultivar] = true
			}
		}
	}
	if f.setKnown {
		if f.set < 0.15 {
			score := 0.6
			if !f.hives {
				score += 0.4
			}
			if len(others) < 2 {
				score += 0.2
			}
			f.add("no-pollination", score, say("causes.poor-set", "percent", int(f.set*100+0.5)))
			f.add("fruit-drop", -0.4, say("causes.poor-set", "percent", int(f.set*100+0.5)))
		} else {
			f.add("no-pollination", -0.7, say("causes.good-set", "percent", int(f.set*100+0.5)))
			if f.crop == "none" || f.crop == "failed" {
				f.add("fruit-drop", 0.7, say("causes.set-and-gone", "percent", int(f.set*100+0.5), "crop", f.crop))
			}
		}
	} else if f.panicles >= 0.4 {
		f.missing = append(f.missing, say("causes.missing-set"))
	}
	if f.hives {
		f.add("no-pollination", -0.4, say("causes.hives"))
	} else {
		f.add("no-pollination", 0.15, say("causes.no-hives"))
	}
	if len(others) == 1 {
		f.add("no-pollination", 0.1, say("causes.one-cultivar"))
	}
	switch {
	case f.picks == 0 && (f.crop == "fair" || f.crop == "heavy" || f.crop == "left-unpicked"):
		f.add("picked-unrecorded", 1, say("causes.fruit-seen", "crop", f.crop))
	case f.crop == "none" || f.crop == "failed":
		f.add("picked-unrecorded", -0.7, say("causes.crop-was", "crop", f.crop))
	case f.picks == 0 && f.crop == "":
		f.missing = append(f.missing, say("causes.missing-crop"))
	}
	if !f.scouted {
		f.missing = append(f.missing, say("causes.missing-pests"))
	}
}

// frost looks for cold days in bloom.
func (f *finder) frost() {
	a := f.past.Air
	cold := 0
	to := f.bloomTo.AddDays(30)
	for d := max(a.Day(f.bloomFrom), 0); d < min(a.Day(to)+1, len(a.Min)); d++ {
		if a.Min[d] <= 0 {
			cold++
		}
	}
	if cold > 0 {
		f.add("weather-in-bloom", 0.7, say("causes.frost", "n", cold, "from", f.bloomFrom.String(), "to", to.String()))
	}
}

// fork lets the count of panicles decide on which side of the bloom to look.
func (f *finder) fork() {
	counted := f.panicles
	if f.none && counted < 0 {
		counted = 0
	}
	if counted < 0 {
		f.missing = append(f.missing, say("causes.missing-count"))
		if f.seen == 0 {
			f.missing = append(f.missing, say("causes.missing-flush"))
		}
		return
	}
	text := f.bloomWords()
	switch {
	case counted >= 0.5:
		for _, name := range beforeBloom {
			f.add(name, -1, text)
		}
	case counted < 0.3:
		for _, name := range afterBloom {
			f.add(name, -1, text)
		}
		if c := f.cause["mites-or-disease"]; len(c.For) > 0 {
			c.score -= 0.1
		}
		// Something kept the terminals green; what spoke a little for it speaks more.
		for _, name := range beforeBloom {
			if c := f.cause[name]; c.score > 0.3 {
				c.score += 0.3
			}
		}
	}
	if counted >= 0.5 {
		for _, name := range slices.Concat(afterBloom, []string{"mites-or-disease"}) {
			if c := f.cause[name]; c.score > 0.3 {
				c.score += 0.3
			}
		}
	}
	if f.seen == 0 && counted < 0.5 {
		f.missing = append(f.missing, say("causes.missing-flush"))
	}
}
