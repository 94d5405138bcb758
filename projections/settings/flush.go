package settings

import "strings"

// Names of the settings of the flush clock. Temperatures are degrees C, K.d are degree-days.
const (
	FlushSpecies       = "flush-species"
	FlushBase          = "flush-base"
	FlushCap           = "flush-cap"
	FlushLag           = "flush-lag"
	FlushGrow          = "flush-grow"
	FlushRest          = "flush-rest"
	FlushWindow        = "flush-window"
	FlushThreshold     = "flush-threshold"
	FlushThresholdStem = "flush-threshold."
	FlushThresholdSD   = "flush-threshold-spread"
	FlushSlope         = "flush-slope"
	FlushTerminalCV    = "flush-terminal-spread"
	FlushCycleCV       = "flush-cycle-spread"
	FlushPriorSD       = "flush-prior-spread"
	FlushTradeLine     = "flush-trade-line"
	FlushShare         = "flush-stretch-share"
	FlushGate          = "flush-gate"
	FlushReversion     = "flush-reversion"
	FlushWarmHours     = "flush-warm-hours"
	FlushSeason        = "flush-cool-season"
	FlushLastPrune     = "flush-last-prune"
	FlushImputed       = "flush-imputed-most"
	FlushYears         = "flush-years-asked"
	FlushDraws         = "flush-draws"
	FlushResponse      = "flush-response"
	FlushCutLength     = "flush-cut-length"
	FlushPace          = "flush-pace"
	FlushWorkDays      = "flush-work-days"
	FlushStationReach  = "flush-station-reach"
)

// Sources that several settings share.
//
//words:data citations beside their numbers, as published
const (
	derivedDurations = "derived from published durations of lychee flushes (Sukhvibul 2014, Batten 1995, Olesen 2002) and remembered climates: a prior, to be fitted to the orchard"
	derivedRooms     = "derived from published counts in controlled rooms (Menzel & Simpson 1988, J Hort Sci 63:349: share of terminals that flowered at a mean of 17.5) with a slope of 0.8"
	flushRead        = "2026-11-25"
	assumption       = "project rule: an assumption, no source"
	degreeDays       = "K.d"
	lychee           = "Litchi chinensis"
)

// A Threshold is the mean temperature at which half of a cultivar's growing terminals flower.
type Threshold struct {
	Code     string   // as in flush-threshold.CODE
	Celsius  float64  // with a slope of 0.8
	Names    []string // as people plant it, in lower case, first the one of the published table
	InRooms  float64  // published share of terminals flowering at a mean of 17.5, the number this was derived from
	FieldRef bool     // a field measurement agrees
}

// Thresholds are the cultivars of which the response was published: see derivedRooms. Synonyms are those of the trade.
//
//words:data names of cultivars, as planted
func Thresholds() []Threshold {
	return []Threshold{
		{"wai-chee", 19.86, []string{"wai chee", "huai zhi", "huaizhi"}, 0.95, false},
		{"salathiel", 18.51, []string{"salathiel"}, 0.78, false},
		{"kwai-may-pink", 18.47, []string{"kwai may pink", "kwai mai pink", "gui wei pink", "bosworth 3"}, 0.77, true},
		{"mauritius", 17.50, []string{"mauritius", "tai so", "da zao", "hlh mauritius"}, 0.50, false},
		{"bengal", 17.21, []string{"bengal"}, 0.41, false},
		{"souey-tung", 16.86, []string{"souey tung", "shui dong"}, 0.31, false},
		{"kwai-may-red", 15.55, []string{"kwai may red", "gui wei red"}, 0.08, false},
	}
}

// ThresholdOf finds a cultivar by one of its names; ok is false for one of which nothing was published.
func ThresholdOf(cultivar string) (Threshold, bool) {
	name := strings.ToLower(strings.Join(strings.Fields(cultivar), " "))
	for _, t := range Thresholds() {
		for _, n := range t.Names {
			if n == name {
				return t, true
			}
		}
	}
	return Threshold{}, false
}

// CultivarCode is the code under which a cultivar's own threshold is set: its published name's, else its name in lower case
// with hyphens.
func CultivarCode(cultivar string) string {
	if t, ok := ThresholdOf(cultivar); ok {
		return t.Code
	}
	return strings.ToLower(strings.Join(strings.Fields(cultivar), "-"))
}

// flushTable lists the settings of the flush clock.
//
//words:data citations beside their numbers, as published
func flushTable() []Setting {
	number := func(name string, value float64, unit string, low, high float64, source string) Setting {
		return Setting{Name: name, Kind: Number, Default: value, Unit: unit, Min: low, Max: high, Source: source, Read: flushRead, Doc: "setting." + name}
	}
	return []Setting{
		{Name: FlushSpecies, Kind: Text, Default: lychee, Source: "project rule: the clock was put together for lychee; a farm that names another species here does so on its own judgement", Doc: "setting.flush-species"},
		number(FlushBase, 11, "Cel", 9, 13, "published: Menzel & Paxton 1985, Scientia Horticulturae, base temperature of shoot growth of lychee seedlings"),
		number(FlushCap, 30, "Cel", 28, 35, assumption),
		number(FlushLag, 200, degreeDays, 100, 400, derivedDurations),
		number(FlushGrow, 620, degreeDays, 400, 900, derivedDurations),
		number(FlushRest, 380, degreeDays, 100, 1200, derivedDurations),
		number(FlushWindow, 28, "d", 14, 42, "published: 24 d to visible inflorescence buds (Lin 2020, Acta Hort 1293:121); 4 to 6 weeks at 15 (Menzel & Simpson 1995)"),
		number(FlushThreshold, 18.5, "Cel", 10, 25, derivedRooms+"; of cultivars that are not in that table 15.5 to 20.5"),
		number(FlushThresholdSD, 0.8, "Cel", 0.1, 3, assumption),
		number(FlushSlope, 0.8, "Cel", 0.5, 1.5, derivedRooms),
		number(FlushTerminalCV, 0.15, "1", 0.03, 0.5, assumption+"; 0.08 to 0.30"),
		number(FlushCycleCV, 0.15, "1", 0.03, 0.6, assumption+": what heat does not explain of a cycle (water, nitrogen, crop load); fitted"),
		number(FlushPriorSD, 0.124, "1", 0.02, 0.5, "derived: ln(1300/800)/3.92, the range of the published clues for a whole cycle"),
		number(FlushTradeLine, 20, "Cel", 10, 30, "common practice: growers say that lychee wants nights and days below 68 F"),
		number(FlushShare, 0.7, "1", 0.05, 1, "project rule"),
		number(FlushGate, 0.9, "1", 0.05, 1, "project rule; a prune after which no flush was complete before winter gave virtually no crop (Olesen 2013)"),
		number(FlushReversion, 22.5, "Cel", 15, 35, "derived: panicles turned leafy at 25/20 and above (Menzel & Simpson 1991, J Hort Sci 66(3))"),
		number(FlushWarmHours, 8, "h", 1, 24, "published: 8 h a day or more above 20 kept plants vegetative, 2 h did not (Menzel & Simpson 1995)"),
		{Name: FlushSeason, Kind: Text, Source: "project rule", Doc: "setting.flush-cool-season"},   // default by latitude
		{Name: FlushLastPrune, Kind: Text, Source: "project rule", Doc: "setting.flush-last-prune"}, // default by latitude
		number(FlushImputed, 10, "%", 0, 50, "project rule"),
		number(FlushYears, 10, "a", 1, 100, "project rule; 20 and more are better"),
		number(FlushDraws, 400, "1", 50, 20000, "project rule"),
		{Name: FlushResponse, Kind: Choice, Default: "logistic", Choices: []string{"logistic", "beta"},
			Source: derivedRooms + "; beta: Chang et al., 'Yu Her Pau', Taiwan, 12 orchard-years, the form of the curve from memory", Read: flushRead, Doc: "setting.flush-response"},
		number(FlushCutLength, 10, "cm", 1, 100, "published: 10 cm tips cut in autumn set new shoots going (Stern, Goren, Gazit); 20 to 30 cm at harvest (Matsumoto 2008)"),
		{Name: FlushPace, Kind: Number, Unit: "1/d", Max: 10000, Source: "the farm's own pace; without it the pace of its past prunes", Doc: "setting.flush-pace"},
		number(FlushWorkDays, 5, "d", 1, 7, "common practice"),
		number(FlushStationReach, 25, "km", 1, 500, "project rule"),
	}
}
