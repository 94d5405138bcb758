// Package settings is the table of numbers and choices that somebody could argue with: each with its unit, its default,
// where that comes from, and the day it was read.
//
// A farm replaces one with a setting.adopted record and in no other way, so that every answer of the past can be given
// again with the numbers that stood then. Folds ask a View for a setting on a day and get the farm's own value or the
// default of this table.
package settings

import (
	"strings"
	"sync"

	"latewood/events/units"
)

// Kind says what values a setting takes.
type Kind string

// The kinds of values.
const (
	Number Kind = "number" // a JSON number in the setting's unit
	Choice Kind = "choice" // one of the setting's words
	Text   Kind = "text"   // a text with a grammar of its own
)

// A Setting is one row of the table.
type Setting struct {
	Name    string
	Kind    Kind
	Default any // float64 for a Number, string else; nil: none, and what needs it says so
	Unit    string
	Choices []string
	Min     float64
	Max     float64
	Source  string // published source, or "common practice", or "project rule"
	Read    string // the day the source was read; empty for rules of the project
	Doc     string // a key of the message catalogue
}

// Names of settings that code asks for.
const (
	SeasonTurn        = "season-turn"
	CountRule         = "count-rule"
	BearingAge        = "bearing-age"
	ClockTolerance    = "clock-tolerance"
	MostKgPerTree     = "most-kg-per-tree-season"
	RateSlip          = "rate-slip"
	TotalSlip         = "total-slip"
	HoldGap           = "weather-max-gap"
	RuleSets          = "rule-sets"
	StationBack       = "station-clock-back"
	StationLag        = "station-clock-lag"
	StationFirst      = "station-first-reading"
	StationPerHour    = "station-readings-per-hour"
	StationLate       = "station-late"
	DrawnTolerance    = "drawn-tolerance"
	MeasureSlip       = "measure-slip"
	ReviewDays        = "review-days"
	DrillMinutes      = "drill-minutes"
	DrillPercent      = "drill-percent"
	ContainerMassStem = "container-mass."
)

// Table lists every setting but the container masses and the thresholds of single cultivars, which are named by what the farm
// has.
func Table() []Setting {
	return append([]Setting{
		{Name: SeasonTurn, Kind: Text, Source: "project rule",
			Doc: "setting.season-turn"}, // default by latitude: 10-01 north, 04-01 south
		{Name: CountRule, Kind: Choice, Default: "full-days", Choices: []string{"date", "elapsed", "full-days"},
			Source: "project rule: no published rule says how the days of an interval are counted; the longest of three readings",
			Doc:    "setting.count-rule"},
		{Name: BearingAge, Kind: Number, Default: 3.0, Unit: "a", Max: 50,
			Source: "published: FAO, The lychee crop in Asia and the Pacific: first crop in year 3 to 5", Read: "2026-11-25",
			Doc: "setting.bearing-age"},
		{Name: ClockTolerance, Kind: Number, Default: 5.0, Unit: "min", Max: 1440, Source: "project rule",
			Doc: "setting.clock-tolerance"},
		{Name: MostKgPerTree, Kind: Number, Default: 200.0, Unit: "kg", Min: 1, Max: 10000,
			Source: "common practice: the range of one mature tree and year in published yields is 0 to 200 kg", Read: "2026-11-25",
			Doc: "setting.most-kg-per-tree-season"},
		{Name: RateSlip, Kind: Number, Default: 3.0, Unit: "1", Min: 1, Max: 1000, Source: "project rule",
			Doc: "setting.rate-slip"},
		{Name: TotalSlip, Kind: Number, Default: 25.0, Unit: "%", Max: 1000, Source: "project rule",
			Doc: "setting.total-slip"},
		{Name: DrawnTolerance, Kind: Number, Default: 5.0, Unit: "%", Max: 100,
			Source: "project rule: two scales and a little dew; no published figure was found",
			Doc:    "setting.drawn-tolerance"},
		{Name: MeasureSlip, Kind: Number, Default: 10.0, Unit: "%", Max: 100, Source: "project rule",
			Doc: "setting.measure-slip"},
		{Name: ReviewDays, Kind: Number, Default: 7.0, Unit: "d", Min: 1, Max: 365,
			Source: "common practice: 21 CFR 112.161(b) says within a reasonable time and gives no number", Read: "2026-11-25",
			Doc: "setting.review-days"},
		{Name: DrillMinutes, Kind: Number, Default: 1440.0, Unit: "min", Min: 1, Max: 14400,
			Source: "published: 21 CFR 1.1455(c)(1), records within 24 hours; shorter limits of buyers and audits are common practice", Read: "2026-11-25",
			Doc: "setting.drill-minutes"},
		{Name: DrillPercent, Kind: Number, Default: 100.0, Unit: "%", Max: 100,
			Source: "common practice: all of it, or the gap explained; no published figure was found", Read: "2026-11-25", Doc: "setting.drill-percent"},
		//words:data names of rule sets
		{Name: RuleSets, Kind: Text, Default: "us-restricted-use us-worker-protection us-produce",
			Source: "project rule: the rule sets whose terms are looked at; which rules apply to a farm nobody here knows",
			Doc:    "setting.rule-sets"},
		{Name: HoldGap, Kind: Number, Default: 2.0, Unit: "h", Max: 48, Source: "project rule",
			Doc: "setting.weather-max-gap"},
		{Name: StationBack, Kind: Number, Default: 30.0, Unit: "min", Min: 1, Max: 44640,
			Source: "project rule: less than the hour by which clocks jump that follow summer time", Doc: "setting.station-clock-back"},
		{Name: StationLag, Kind: Number, Default: 10.0, Unit: "min", Min: 1, Max: 44640,
			Source: "project rule: longer than stations commonly gather before they send", Doc: "setting.station-clock-lag"},
		{Name: StationFirst, Kind: Number, Default: 31.0, Unit: "d", Min: 1, Max: 3660, Source: "project rule",
			Doc: "setting.station-first-reading"},
		{Name: StationPerHour, Kind: Number, Default: 360.0, Unit: "1", Min: 1, Max: 36000,
			Source: "project rule: one every ten seconds", Doc: "setting.station-readings-per-hour"},
		{Name: StationLate, Kind: Number, Default: 2.0, Unit: "h", Min: 0.1, Max: 8784,
			Source: "project rule: the default of weather-max-gap; the hours had been answered as not covered", Doc: "setting.station-late"},
	}, flushTable()...)
}

// byName is the table as Lookup wants it: folds ask often.
var byName = sync.OnceValue(func() map[string]Setting {
	m := map[string]Setting{}
	for _, s := range Table() {
		m[s.Name] = s
	}
	return m
})

// Lookup finds a setting by name. A container mass is found under its stem: container-mass.bin-large; a cultivar's own
// threshold too: flush-threshold.kwai-may-pink.
func Lookup(name string) (Setting, bool) {
	if s, ok := byName()[name]; ok {
		return s, true
	}
	if kind, ok := strings.CutPrefix(name, ContainerMassStem); ok && kind != "" {
		return Setting{Name: name, Kind: Number, Unit: "kg", Max: 5000, Source: "the farm's own scale",
			Doc: "setting.container-mass"}, true
	}
	if code, ok := strings.CutPrefix(name, FlushThresholdStem); ok && code != "" {
		for _, t := range Thresholds() {
			if t.Code == code {
				return Setting{Name: name, Kind: Number, Default: t.Celsius, Unit: "Cel", Min: 10, Max: 25, Source: derivedRooms, Read: flushRead, Doc: "setting.flush-threshold-of"}, true
			}
		}
		return Setting{Name: name, Kind: Number, Unit: "Cel", Min: 10, Max: 25, Source: "the farm's own judgement of a cultivar", Doc: "setting.flush-threshold-of"}, true
	}
	return Setting{}, false
}

// InUnit converts a number that a farm wrote in a unit of its own to the setting's unit. Units that are no UCUM codes of
// ours (years, ratios) are taken as they stand.
func (s Setting) InUnit(value float64, unit string) (float64, bool) {
	if unit == "" || unit == s.Unit {
		return value, true
	}
	if _, ok := units.Lookup(s.Unit); !ok {
		return 0, false
	}
	v, err := units.Convert(value, unit, s.Unit)
	return v, err == nil
}
