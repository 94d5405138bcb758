package events_test

import (
	"strings"
	"testing"
	"time"

	"latewood/events"
	"latewood/events/canon"
	"latewood/events/civil"
)

// small is the least data of some kinds, without the fields that say when.
var small = map[string]string{
	"fruit.picked":       `{"where":{"block":"north"},"mass":{"value":12.5,"unit":"kg"}}`,
	"tree.pruned":        `{"where":{"block":"north"},"cut":"shaping"}`,
	"tree.planted":       `{"tree":"north-01-01","block":"north","cultivar":"Haku"}`,
	"spray.applied":      `{"where":{"block":"north"},"mix":[{"product":"Brume 80"}],"target":"mites","applicator":{"code":"w_00112233445566778899aabbccddeeff"}}`,
	"spray.begun":        `{"where":{"block":"north"}}`,
	"spray.planned":      `{"where":{"block":"north"},"from":"2026-06-05","mix":[{"product":"Brume 80"}]}`,
	"harvest.closed":     `{"where":{"block":"north"}}`,
	"block.changed":      `{"block":"north","soil":"ash"}`,
	"block.redrawn":      `{"from":["north"],"into":[{"block":"upper"}]}`,
	"drill.held":         `{"of":"L26-014"}`,
	"setting.adopted":    `{"name":"bearing-age","value":4,"from":"2026-01-01"}`,
	"rule.adopted":       `{"name":"tip early","rule":"x","hash":"e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855","from":"2026-01-01"}`,
	"season.named":       `{"season":"2026","from":"2025-09-01","to":"2026-08-31"}`,
	"label.filed":        `{"product":"Brume 80","material":"other","readBy":"P07","validFrom":"2025-01-01"}`,
	"label.closed":       `{"label":"017f22e2-79b0-7cc3-98c4-dc0c0c07398f","reason":"expired","lastLawfulUse":"2025-12-31"}`,
	"hold.judged":        `{"where":{"block":"north"},"spray":"017f22e2-79b0-7cc3-98c4-dc0c0c07398f","words":"until dry","from":"2026-06-02"}`,
	"damage.seen":        `{"where":{"block":"north"},"cause":"frost"}`,
	"sample.tested":      `{"material":"soil","where":{"block":"north"},"results":[{"what":"pH","value":5.8}]}`,
	"spray.posted":       `{"spray":"017f22e2-79b0-7cc3-98c4-dc0c0c07398f","place":"shed door"}`,
	"entry.made":         `{"where":{"block":"north"},"who":"w_00112233445566778899aabbccddeeff"}`,
	"exposure.reported":  `{"who":"w_00112233445566778899aabbccddeeff"}`,
	"water.applied":      `{"where":{"block":"north"}}`,
	"water.withheld":     `{"where":{"block":"north"}}`,
	"fruit.delivered":    `{"delivery":"D-1","picks":[{"pick":"017f22e2-79b0-7cc3-98c4-dc0c0c07398f","mass":{"value":12,"unit":"kg"}}],"recipient":{"code":"reed-end"}}`,
	"delivery.answered":  `{"delivery":"D-1","outcome":"accepted"}`,
	"packout.reported":   `{"deliveries":["D-1"],"delivered":{"value":12,"unit":"kg"}}`,
	"fruit.received":     `{"delivery":"N-1","source":{"code":"fernside"},"sourceCovered":"no","commodity":"lychee","amount":{"value":12,"unit":"kg"}}`,
	"pick.cooled":        `{"picks":["017f22e2-79b0-7cc3-98c4-dc0c0c07398f"]}`,
	"bin.emptied":        `{"bins":["7"]}`,
	"lot.packed":         `{"lot":"L-1","inputs":[{"pick":"017f22e2-79b0-7cc3-98c4-dc0c0c07398f","mass":{"value":12,"unit":"kg"}}],"product":"lychee","packed":{"count":6,"kind":"carton","netMass":{"value":12,"unit":"kg"}},"location":{"code":"tern-hollow"}}`,
	"lot.repacked":       `{"lot":"L-2","inputs":[{"lot":"L-1","amount":{"value":12,"unit":"kg"}}],"product":"lychee","packed":{"count":6,"kind":"carton","netMass":{"value":12,"unit":"kg"}},"location":{"code":"tern-hollow"}}`,
	"lot.treated":        `{"lot":"L-1","treatment":"cold"}`,
	"lot.received":       `{"lot":"L-1","amount":{"value":12,"unit":"kg"}}`,
	"lot.shipped":        `{"lot":"L-1","amount":{"value":12,"unit":"kg"},"recipient":{"code":"quay-market"}}`,
	"lot.rejected":       `{"lot":"L-1","from":{"code":"quay-market"},"reason":"brown"}`,
	"lot.returned":       `{"lot":"L-1","from":{"code":"quay-market"},"reason":"brown"}`,
	"lot.recalled":       `{"lot":"L-1","recipient":{"code":"quay-market"},"reason":"brown"}`,
	"lot.held":           `{"lot":"L-1","reason":"warm"}`,
	"lot.released":       `{"lot":"L-1","basis":"test-result","answers":["pick-in-interval"]}`,
	"fruit.sold":         `{"channel":"market","lot":"L-1"}`,
	"lot.written-off":    `{"lot":"L-1","amount":{"value":12,"unit":"kg"},"reason":"decay"}`,
	"stock.counted":      `{"location":"cold room","items":[{"lot":"L-1","amount":{"value":12,"unit":"kg"}}]}`,
	"training.given":     `{"kind":"handler","topics":["signs"],"trained":["w_00112233445566778899aabbccddeeff"],"validUntil":"2027-01-01"}`,
	"water.assessed":     `{"source":"tank-2","systems":["drip"],"factors":[{"factor":"animals","finding":"none"}],"outcome":"no measure"}`,
	"tool.cleaned":       `{"what":"clippers","method":"washed"}`,
	"check.made":         `{"checklist":"before harvest","items":[{"question":"toilets stocked?","answer":"yes"}]}`,
	"room.read":          `{"room":"cold room","temperature":{"value":5,"unit":"Cel"}}`,
	"incident.reported":  `{"what":"spill","location":"shed"}`,
	"visit.made":         `{"who":"Hollow Crop Office"}`,
	"document.filed":     `{"kind":"permit","about":"moving fruit","from":"2026-01-01","until":"2026-12-31"}`,
	"exemption.claimed":  `{"rule":"21 CFR 112.5","until":"2026-12-31"}`,
	"fruit.set":          `{"where":{"block":"north"}}`,
	"crop.thinned":       `{"where":{"block":"north"},"what":"fruit"}`,
	"pest.scouted":       `{"where":{"block":"north"},"target":"mites","method":"trap","decision":"none"}`,
	"tree.girdled":       `{"where":{"block":"north"}}`,
	"ground.worked":      `{"where":{"block":"north"},"what":"mown"}`,
	"protection.placed":  `{"where":{"block":"north"},"kind":"net"}`,
	"protection.removed": `{"where":{"block":"north"},"kind":"net"}`,
	"hives.placed":       `{"where":{"block":"north"},"hives":2}`,
	"hives.removed":      `{"where":{"block":"north"},"hives":2}`,
	"nutrient.applied":   `{"where":{"block":"north"},"material":"meal","total":{"value":12,"unit":"kg"}}`,
	"weather.doubted":    `{"station":"mauka","from":"2026-06-01T00:00:00-10:00","to":"2026-06-02T00:00:00-10:00","reason":"a leaf"}`,
	"weather.read":       `{"station":"mauka","rain":{"value":0,"unit":"mm"}}`,
}

const (
	honolulu = "Pacific/Honolulu"
	newYork  = "America/New_York"
	lordHowe = "Australia/Lord_Howe" // moves its clocks by half an hour
)

func TestTime(t *testing.T) {
	t.Parallel()
	cases := []struct {
		name, zone, kind string
		time             string
		fields           string // put over the least data: name=value, with blanks between
		want             string // the record's time, or FIELD KEY of the refusal
	}{
		// Missing: the field that gives it, else nothing does.
		{"missing, given by ended", honolulu, "spray.applied", "", "started=2026-06-01T14:00:00-10:00 ended=2026-06-01T16:00:00-10:00", "2026-06-01T16:00:00-10:00"},
		{"missing, given by a date", honolulu, "spray.applied", "", "started=2026-06-01 ended=2026-06-01", "2026-06-01T00:00:00-10:00"},
		{"missing, given by started of what has no end", honolulu, "spray.begun", "", "started=2026-06-01T14:00:00-10:00", "2026-06-01T14:00:00-10:00"},
		{"missing, given by date", honolulu, "harvest.closed", "", "date=2026-07-31", "2026-07-31T00:00:00-10:00"},
		{"missing, given by date of redrawing", honolulu, "block.redrawn", "", "date=2026-01-01", "2026-01-01T00:00:00-10:00"},
		{"missing, given by from", honolulu, "block.changed", "", "from=2026-03-01", "2026-03-01T00:00:00-10:00"},
		{"missing, given by ended of a drill", honolulu, "drill.held", "", "started=2026-06-01T09:00:00-10:00 ended=2026-06-01T10:30:00-10:00", "2026-06-01T10:30:00-10:00"},
		{"missing, pruning that ended", honolulu, "tree.pruned", "", "started=2026-06-01 ended=2026-06-03", "2026-06-03T00:00:00-10:00"},
		{"missing, pruning that began", honolulu, "tree.pruned", "", "started=2026-06-01T07:30:00-10:00", "2026-06-01T07:30:00-10:00"},
		{"missing, pruning without either", honolulu, "tree.pruned", "", "", "time refuse.time-missing"},
		{"missing, no field gives it", honolulu, "fruit.picked", "", "", "time refuse.time-missing"},
		{"missing, of a reading", honolulu, "weather.read", "", "", "time refuse.time-missing"},
		{"missing, the field required", honolulu, "harvest.closed", "", "", "data.date refuse.required"},
		{"missing, the field unreadable", honolulu, "harvest.closed", "", "date=soon", "data.date refuse.not.date"},

		// Planted: to the day, the month or the year.
		{"planted on a day", honolulu, "tree.planted", "", "planted=2011-03-14", "2011-03-14T00:00:00-10:00"},
		{"planted in a month", honolulu, "tree.planted", "", "planted=2011-03", "2011-03-01T00:00:00-10:00"},
		{"planted in a year", honolulu, "tree.planted", "", "planted=2011", "2011-01-01T00:00:00-10:00"},
		{"planted in a year, the day known", honolulu, "tree.planted", "2011-03-14", "planted=2011", "2011-03-14T00:00:00-10:00"},
		{"planted in a month, the time known", honolulu, "tree.planted", "2011-03-14T09:00:00-10:00", "planted=2011-03", "2011-03-14T09:00:00-10:00"},
		{"planted on the last day of the month", honolulu, "tree.planted", "2011-03-31T23:59:59-10:00", "planted=2011-03", "2011-03-31T23:59:59-10:00"},
		{"planted in another month", honolulu, "tree.planted", "2011-04-01", "planted=2011-03", "time refuse.time-contradicts"},
		{"planted in another year", honolulu, "tree.planted", "2012-01-01T00:00:00-10:00", "planted=2011", "time refuse.time-contradicts"},
		{"planted the day before elsewhere, the same day here", honolulu, "tree.planted", "2012-01-01T09:59:59Z", "planted=2011", "2012-01-01T09:59:59Z"},

		// Contradictions.
		{"another instant", honolulu, "spray.applied", "2026-06-01T16:00:01-10:00", "started=2026-06-01 ended=2026-06-01T16:00:00-10:00", "time refuse.time-contradicts"},
		{"the same instant, another offset", honolulu, "spray.applied", "2026-06-02T02:00:00Z", "started=2026-06-01 ended=2026-06-01T16:00:00-10:00", "2026-06-02T02:00:00Z"},
		{"another day", honolulu, "harvest.closed", "2026-07-30", "date=2026-07-31", "time refuse.time-contradicts"},
		{"an instant of another day", honolulu, "harvest.closed", "2026-08-01T00:00:00-10:00", "date=2026-07-31", "time refuse.time-contradicts"},
		{"an instant of that day", honolulu, "harvest.closed", "2026-07-31T17:00:00-10:00", "date=2026-07-31", "2026-07-31T17:00:00-10:00"},
		{"an instant of that day, told in UTC", honolulu, "harvest.closed", "2026-08-01T09:59:59Z", "date=2026-07-31", "2026-08-01T09:59:59Z"},
		{"a date, the field an instant of it", honolulu, "spray.applied", "2026-06-01", "started=2026-06-01 ended=2026-06-01T16:00:00-10:00", "2026-06-01T16:00:00-10:00"},
		{"a date, the field an instant of another", honolulu, "spray.applied", "2026-06-02", "started=2026-06-01 ended=2026-06-01T16:00:00-10:00", "time refuse.time-contradicts"},
		{"started after ended", honolulu, "spray.applied", "", "started=2026-06-01T16:00:01-10:00 ended=2026-06-01T16:00:00-10:00", "data.started refuse.starts-after"},
		{"started at the end", honolulu, "spray.applied", "", "started=2026-06-01T16:00:00-10:00 ended=2026-06-01T16:00:00-10:00", "2026-06-01T16:00:00-10:00"},
		{"started on the day that it ended", honolulu, "spray.applied", "", "started=2026-06-01T16:00:00-10:00 ended=2026-06-01", "2026-06-01T00:00:00-10:00"},
		{"the same as it comes out of a ledger", honolulu, "spray.applied", "2026-06-01T00:00:00-10:00", "started=2026-06-01T16:00:00-10:00 ended=2026-06-01", "2026-06-01T00:00:00-10:00"},
		{"started on a later day than it ended", honolulu, "spray.applied", "", "started=2026-06-02 ended=2026-06-01", "data.started refuse.starts-after"},
		{"started on a later day than it ended, with times", honolulu, "spray.applied", "", "started=2026-06-02T00:00:00-10:00 ended=2026-06-01", "data.started refuse.starts-after"},
		{"started on a date, ended the same day", honolulu, "spray.applied", "", "started=2026-06-01 ended=2026-06-01T00:30:00-10:00", "2026-06-01T00:30:00-10:00"},
		{"started after the stated time of a day", honolulu, "spray.applied", "2026-06-01T12:00:00-10:00", "started=2026-06-01T16:00:00-10:00 ended=2026-06-01", "data.started refuse.starts-after"},
		{"a drill that started after it ended", honolulu, "drill.held", "", "started=2026-06-01T11:00:00-10:00 ended=2026-06-01T10:30:00-10:00", "data.started refuse.starts-after"},
		{"pruning: its end is the time, where only the start is noted", honolulu, "tree.pruned", "2026-06-03T15:00:00-10:00", "started=2026-06-01", "2026-06-03T15:00:00-10:00"},
		{"pruning: a date for the end", honolulu, "tree.pruned", "2026-06-03", "started=2026-06-01T07:30:00-10:00", "2026-06-03T00:00:00-10:00"},
		{"pruning: a date, started that day", honolulu, "tree.pruned", "2026-06-01", "started=2026-06-01T07:30:00-10:00", "2026-06-01T07:30:00-10:00"},
		{"pruning: started after the time", honolulu, "tree.pruned", "2026-06-01T07:00:00-10:00", "started=2026-06-01T07:30:00-10:00", "data.started refuse.starts-after"},
		{"pruning: started on a later day", honolulu, "tree.pruned", "2026-05-31", "started=2026-06-01", "data.started refuse.starts-after"},

		// When decided or filed: no field gives the time of plans, settings, rules, seasons and labels.
		{"a plan is not its start", honolulu, "spray.planned", "", "", "time refuse.time-missing"},
		{"a plan before its start", honolulu, "spray.planned", "2026-06-01T08:00:00-10:00", "", "2026-06-01T08:00:00-10:00"},
		{"a plan written down after its start", honolulu, "spray.planned", "2026-06-06", "", "2026-06-06T00:00:00-10:00"},
		{"a setting is not its from", honolulu, "setting.adopted", "", "", "time refuse.time-missing"},
		{"a setting for the past", honolulu, "setting.adopted", "2026-06-01", "", "2026-06-01T00:00:00-10:00"},
		{"a rule is not its from", honolulu, "rule.adopted", "", "", "time refuse.time-missing"},
		{"a season is not its from", honolulu, "season.named", "", "", "time refuse.time-missing"},
		{"a season", honolulu, "season.named", "2026-09-01", "", "2026-09-01T00:00:00-10:00"},
		{"a label is not its validity", honolulu, "label.filed", "", "", "time refuse.time-missing"},
		{"a label", honolulu, "label.filed", "2026-02-03", "", "2026-02-03T00:00:00-10:00"},
		{"a label's closing is not the last lawful use", honolulu, "label.closed", "", "", "time refuse.time-missing"},
		{"a judgement is not the end that it gives", honolulu, "hold.judged", "", "", "time refuse.time-missing"},

		// What goes on for a while: its end is its time, its start stands in and comes first.
		{"damage that ended", honolulu, "damage.seen", "", "from=2026-05-02 until=2026-05-03T16:00:00-10:00", "2026-05-03T16:00:00-10:00"},
		{"damage that began", honolulu, "damage.seen", "", "from=2026-05-02T04:00:00-10:00", "2026-05-02T04:00:00-10:00"},
		{"damage that began, seen later", honolulu, "damage.seen", "2026-05-04T09:00:00-10:00", "from=2026-05-02T04:00:00-10:00", "2026-05-04T09:00:00-10:00"},
		{"damage that ended, another time", honolulu, "damage.seen", "2026-05-04T09:00:00-10:00", "from=2026-05-02 until=2026-05-03T16:00:00-10:00", "time refuse.time-contradicts"},
		{"damage seen before it began", honolulu, "damage.seen", "2026-05-01", "from=2026-05-02", "data.from refuse.starts-after"},
		{"damage seen, no more known", honolulu, "damage.seen", "2026-05-04T09:00:00-10:00", "", "2026-05-04T09:00:00-10:00"},
		{"damage without any time", honolulu, "damage.seen", "", "", "time refuse.time-missing"},
		{"water that ran", honolulu, "water.applied", "", "from=2026-07-01T18:00:00-10:00 until=2026-07-02T02:00:00-10:00", "2026-07-02T02:00:00-10:00"},
		{"water that ran backwards", honolulu, "water.applied", "", "from=2026-07-02T18:00:00-10:00 until=2026-07-02T02:00:00-10:00", "data.from refuse.starts-after"},
		{"water of a day", honolulu, "water.applied", "2026-07-02", "", "2026-07-02T00:00:00-10:00"},
		{"water withheld so far", honolulu, "water.withheld", "", "from=2026-08-24", "2026-08-24T00:00:00-10:00"},
		{"water withheld", honolulu, "water.withheld", "", "from=2026-08-24 until=2026-09-28", "2026-09-28T00:00:00-10:00"},
		{"an entry is its end", honolulu, "entry.made", "", "from=2026-04-13T15:10:00-10:00 until=2026-04-13T15:40:00-10:00", "2026-04-13T15:40:00-10:00"},
		{"an entry without an end", honolulu, "entry.made", "", "from=2026-04-13T15:10:00-10:00", "data.until refuse.required"},
		{"an incident that goes on", honolulu, "incident.reported", "", "from=2026-06-17T20:00:00-10:00", "2026-06-17T20:00:00-10:00"},
		{"an incident that is over", honolulu, "incident.reported", "", "from=2026-06-17T20:00:00-10:00 until=2026-06-18", "2026-06-18T00:00:00-10:00"},
		{"a visit", honolulu, "visit.made", "", "from=2026-05-06T09:00:00-10:00 until=2026-05-06T11:15:00-10:00", "2026-05-06T11:15:00-10:00"},
		{"a visit that ended before it began", honolulu, "visit.made", "", "from=2026-05-06T12:00:00-10:00 until=2026-05-06T11:15:00-10:00", "data.from refuse.starts-after"},

		// A moment or day of its own name.
		{"a sample: when it was taken", honolulu, "sample.tested", "", "sampled=2026-06-17", "2026-06-17T00:00:00-10:00"},
		{"a sample: not when the sheet came", honolulu, "sample.tested", "2026-06-24", "sampled=2026-06-17", "time refuse.time-contradicts"},
		{"a posting: when it was put up", honolulu, "spray.posted", "", "from=2026-04-13T09:15:00-10:00 until=2026-05-14 removed=2026-05-15", "2026-04-13T09:15:00-10:00"},
		{"an exposure", honolulu, "exposure.reported", "", "when=2026-04-13T08:20:00-10:00", "2026-04-13T08:20:00-10:00"},
		{"an exposure, reported later", honolulu, "exposure.reported", "2026-04-14", "when=2026-04-13T08:20:00-10:00", "time refuse.time-contradicts"},
		{"a load", honolulu, "fruit.delivered", "", "date=2026-06-18", "2026-06-18T00:00:00-10:00"},
		{"a load, the hour known", honolulu, "fruit.delivered", "2026-06-18T15:00:00-10:00", "date=2026-06-18", "2026-06-18T15:00:00-10:00"},
		{"a neighbour's load", honolulu, "fruit.received", "", "date=2026-06-19", "2026-06-19T00:00:00-10:00"},
		{"a cooling", honolulu, "pick.cooled", "", "date=2026-06-18", "2026-06-18T00:00:00-10:00"},
		{"a lot", honolulu, "lot.packed", "", "date=2026-06-19 receivedDate=2026-06-18", "2026-06-19T00:00:00-10:00"},
		{"a lot on another day", honolulu, "lot.packed", "2026-06-20", "date=2026-06-19", "time refuse.time-contradicts"},
		{"a lot of lots", honolulu, "lot.repacked", "", "date=2026-06-22", "2026-06-22T00:00:00-10:00"},
		{"a lot that came", honolulu, "lot.received", "", "date=2026-06-22", "2026-06-22T00:00:00-10:00"},
		{"a lot that went", honolulu, "lot.shipped", "", "date=2026-06-20", "2026-06-20T00:00:00-10:00"},
		{"a lot that was refused", honolulu, "lot.rejected", "", "date=2026-06-22", "2026-06-22T00:00:00-10:00"},
		{"a lot that was refused, no day", honolulu, "lot.rejected", "", "", "time refuse.time-missing"},
		{"a lot that came back", honolulu, "lot.returned", "2026-06-27T10:00:00-10:00", "", "2026-06-27T10:00:00-10:00"},
		{"a lot called back", honolulu, "lot.recalled", "", "date=2026-06-28", "2026-06-28T00:00:00-10:00"},
		{"a training", honolulu, "training.given", "", "date=2026-01-20", "2026-01-20T00:00:00-10:00"},
		{"a document is not its validity", honolulu, "document.filed", "", "", "time refuse.time-missing"},
		{"a claim is not its end", honolulu, "exemption.claimed", "", "", "time refuse.time-missing"},
		{"a doubt is not what it doubts", honolulu, "weather.doubted", "", "", "time refuse.time-missing"},
		{"a doubt", honolulu, "weather.doubted", "2026-06-20T08:00:00-10:00", "", "2026-06-20T08:00:00-10:00"},

		// The form that is kept.
		{"offset kept", honolulu, "fruit.picked", "2026-06-01T16:00:00+05:30", "", "2026-06-01T16:00:00+05:30"},
		{"Z kept", honolulu, "fruit.picked", "2026-06-01T16:00:00Z", "", "2026-06-01T16:00:00Z"},
		{"+00:00 is Z", honolulu, "fruit.picked", "2026-06-01T16:00:00+00:00", "", "2026-06-01T16:00:00Z"},
		{"-00:00 is Z", honolulu, "fruit.picked", "2026-06-01T16:00:00-00:00", "", "2026-06-01T16:00:00Z"},
		{"no offset: the farm's", honolulu, "fruit.picked", "2026-06-01T16:00:00", "", "2026-06-01T16:00:00-10:00"},
		{"no offset, summer", newYork, "fruit.picked", "2026-06-01T16:00:00", "", "2026-06-01T16:00:00-04:00"},
		{"no offset, winter", newYork, "fruit.picked", "2026-01-01T16:00:00", "", "2026-01-01T16:00:00-05:00"},
		{"no seconds", honolulu, "fruit.picked", "2026-06-01T16:00", "", "2026-06-01T16:00:00-10:00"},
		{"a blank for the T", honolulu, "fruit.picked", "2026-06-01 16:00", "", "2026-06-01T16:00:00-10:00"},
		{"a fraction", honolulu, "fruit.picked", "2026-06-01T16:00:00.125-10:00", "", "2026-06-01T16:00:00.125-10:00"},
		{"a fraction with zeros behind", honolulu, "fruit.picked", "2026-06-01T16:00:00.500-10:00", "", "2026-06-01T16:00:00.5-10:00"},
		{"a fraction of nothing", honolulu, "fruit.picked", "2026-06-01T16:00:00.000-10:00", "", "2026-06-01T16:00:00-10:00"},
		{"a finer fraction", honolulu, "fruit.picked", "2026-06-01T16:00:00.1234-10:00", "", "time refuse.time-fine"},
		{"a date: the start of the local day", newYork, "fruit.picked", "2026-06-01", "", "2026-06-01T00:00:00-04:00"},
		{"a date on which midnight is skipped", "America/Havana", "fruit.picked", "2026-03-08", "", "2026-03-08T01:00:00-04:00"},
		{"fields are kept so too", newYork, "spray.applied", "", "started=2026-06-01T14:00 ended=2026-06-01T16:00:00.250000-04:00", "data.ended refuse.time-fine"},

		// Hours that come twice, and hours that never come.
		{"repeated hour: the later", newYork, "fruit.picked", "2026-11-01T01:30:00", "", "2026-11-01T01:30:00-05:00"},
		{"repeated hour, the first by its offset", newYork, "fruit.picked", "2026-11-01T01:30:00-04:00", "", "2026-11-01T01:30:00-04:00"},
		{"repeated half hour: the later", lordHowe, "fruit.picked", "2026-04-05T01:45:00", "", "2026-04-05T01:45:00+10:30"},
		{"skipped hour", newYork, "fruit.picked", "2026-03-08T02:30:00", "", "time refuse.skipped-hour"},
		{"skipped hour with an offset", newYork, "fruit.picked", "2026-03-08T02:30:00-05:00", "", "2026-03-08T02:30:00-05:00"},
		{"skipped half hour", lordHowe, "fruit.picked", "2026-10-04T02:15:00", "", "time refuse.skipped-hour"},
		{"skipped hour in a field", newYork, "spray.begun", "", "started=2026-03-08T02:30:00", "data.started refuse.skipped-hour"},
		{"skipped day", "Pacific/Apia", "fruit.picked", "2011-12-30", "", "time refuse.skipped-hour"},

		// No time at all.
		{"no such day", honolulu, "fruit.picked", "2026-02-30", "", "time refuse.time-date"},
		{"24:00", honolulu, "fruit.picked", "2026-06-01T24:00:00-10:00", "", "time refuse.time-clock"},
		{"leap second", honolulu, "fruit.picked", "2026-06-30T23:59:60Z", "", "time refuse.time-leap"},
		{"small letters", honolulu, "fruit.picked", "2026-06-01t16:00:00z", "", "time refuse.time-case"},
		{"offset without a colon", honolulu, "fruit.picked", "2026-06-01T16:00:00-1000", "", "time refuse.time-offset"},
		{"American date", honolulu, "fruit.picked", "06/01/2026", "", "time refuse.not.moment"},
		{"a number of a sheet", honolulu, "fruit.picked", "46174", "", "time refuse.not.moment"},
		{"year 0", honolulu, "fruit.picked", "0000-01-01", "", "time refuse.time-year"},
		{"an hour for a date", honolulu, "harvest.closed", "", "date=2026-07-31T10:00:00-10:00", "data.date refuse.not.date"},
	}
	for _, tc := range cases {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			door := doorIn(tc.zone)
			draft := events.Draft{Type: tc.kind, Time: tc.time, Data: parse(t, small[tc.kind])}
			for _, f := range strings.Fields(tc.fields) {
				name, value, _ := strings.Cut(f, "=")
				draft.Data.Set(name, canon.Text(value))
			}
			a, problems := door.Check(draft)
			if field, key, refused := strings.Cut(tc.want, " "); refused {
				if len(problems) != 1 || problems[0].Field != field || problems[0].Why.Key != key {
					t.Fatalf("got time %s, problems %v; want %s at %s", a.Draft.Time, problems, key, field)
				}
				return
			}
			if len(problems) > 0 || a.Draft.Time != tc.want {
				t.Fatalf("got time %s, problems %v; want %s", a.Draft.Time, problems, tc.want)
			}
			if at, err := time.Parse(time.RFC3339, tc.want); err != nil || !at.Equal(a.Time) {
				t.Errorf("Accepted.Time is %v, Draft.Time %s", a.Time, tc.want)
			}
			// As it comes out of the ledger it goes in again.
			if b, problems := door.Check(a.Draft); len(problems) > 0 || b.Draft.Time != a.Draft.Time || string(b.Data) != string(a.Data) {
				t.Errorf("in normal form: got %s %s, problems %v; want %s %s", b.Draft.Time, b.Data, problems, a.Draft.Time, a.Data)
			}
		})
	}
	t.Logf("counts: %d cases of time", len(cases))
}

// Kinds without a field that gives the time want one stated, and take it as it is; so do those that have such fields and
// where none stands.
func TestTimeIsStated(t *testing.T) {
	t.Parallel()
	must := map[string]bool{}
	for _, kind := range strings.Fields(`fruit.picked fruit.set crop.thinned pest.scouted tree.girdled ground.worked protection.placed protection.removed
		hives.placed hives.removed nutrient.applied delivery.answered packout.reported bin.emptied lot.treated lot.held lot.released fruit.sold lot.written-off
		stock.counted water.assessed tool.cleaned check.made room.read document.filed exemption.claimed weather.doubted label.filed setting.adopted spray.planned`) {
		must[kind] = true
		data := parse(t, small[kind])
		if _, problems := hollow().Check(events.Draft{Type: kind, Data: data}); len(problems) != 1 || problems[0].Why.Key != events.NeedsTime {
			t.Errorf("%s without a time: got %v", kind, problems)
		}
		if a := enter(t, hollow(), events.Draft{Type: kind, Time: "2026-06-20", Data: data}); a.Draft.Time != "2026-06-20T00:00:00-10:00" {
			t.Errorf("%s on a day: got %s", kind, a.Draft.Time)
		}
	}
	for _, k := range events.Standard().Kinds() {
		if must[k.Name] && len(k.TimeFrom) > 0 {
			t.Errorf("%s: its time comes from %v", k.Name, k.TimeFrom)
		}
	}
}

// A contradiction names both values.
func TestContradictionNamesBoth(t *testing.T) {
	t.Parallel()
	data := parse(t, small["harvest.closed"])
	data.Set("date", canon.Text("2026-07-31"))
	_, problems := hollow().Check(events.Draft{Type: "harvest.closed", Time: "2026-07-30", Data: data})
	if text := problems.Error(); !strings.Contains(text, "2026-07-30") || !strings.Contains(text, "2026-07-31") || !strings.Contains(text, "data.date") {
		t.Errorf("got %s", text)
	}
	data = parse(t, small["spray.applied"])
	data.Set("started", canon.Text("2026-06-02"))
	data.Set("ended", canon.Text("2026-06-01T10:00:00-10:00"))
	_, problems = hollow().Check(events.Draft{Type: "spray.applied", Data: data})
	if text := problems.Error(); !strings.Contains(text, "2026-06-02") || !strings.Contains(text, "2026-06-01T10:00:00-10:00") || !strings.Contains(text, "data.ended") {
		t.Errorf("got %s", text)
	}
}

// The times of the envelope beside `time`.
func TestEnvelopeTimes(t *testing.T) {
	t.Parallel()
	for _, tc := range []struct{ name, noted, device, want string }{
		{"none", "", "", " | "},
		{"noted in the farm's zone", "2026-06-01T16:00", "", "2026-06-01T16:00:00-10:00 | "},
		{"both", "2026-06-01T16:00:00+00:00", "2026-06-01T16:00:00.500Z 2026-06-01T16:00:01", "2026-06-01T16:00:00Z | 2026-06-01T16:00:00.5Z 2026-06-01T16:00:01-10:00"},
		{"noted a date", "2026-06-01", "", "notedtime refuse.date-for-instant"},
		{"noted nothing", "last week", "", "notedtime refuse.not.moment"},
		{"device once", "", "2026-06-01T16:00:00Z", "devicetime refuse.devicetime"},
		{"device, two blanks", "", "2026-06-01T16:00:00Z  2026-06-01T16:00:00Z", "devicetime refuse.devicetime"},
		{"device three times", "", "2026-06-01T16:00:00Z 2026-06-01T16:00:00Z 2026-06-01T16:00:00Z", "devicetime refuse.devicetime"},
		{"device a date", "", "2026-06-01 2026-06-01", "devicetime refuse.date-for-instant"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			a, problems := hollow().Check(events.Draft{Type: "fruit.picked", Time: "2026-06-01", NotedTime: tc.noted, DeviceTime: tc.device, Data: parse(t, small["fruit.picked"])})
			got := a.Draft.NotedTime + " | " + a.Draft.DeviceTime
			if len(problems) > 0 {
				got = problems[0].Field + " " + problems[0].Why.Key
			}
			if got != tc.want {
				t.Errorf("got %q, want %q", got, tc.want)
			}
		})
	}
}

// What a correction states about the time is held against the data that it brings.
func TestCorrectedTime(t *testing.T) {
	t.Parallel()
	for _, tc := range []struct{ name, kind, time, fields, want string }{
		{"none", "spray.applied", "", "started=2026-06-01 ended=2026-06-01T16:00:00-10:00", ""},
		{"the same", "spray.applied", "2026-06-02T02:00:00+00:00", "started=2026-06-01 ended=2026-06-01T16:00:00-10:00", "2026-06-02T02:00:00Z"},
		{"a date, the field an instant of it", "spray.applied", "2026-06-01", "started=2026-06-01 ended=2026-06-01T16:00:00-10:00", "2026-06-01T16:00:00-10:00"},
		{"a date", "fruit.picked", "2026-06-01", "", "2026-06-01T00:00:00-10:00"},
		{"no offset", "fruit.picked", "2026-06-01T08:00", "", "2026-06-01T08:00:00-10:00"},
		{"another instant", "spray.applied", "2026-06-01T15:00:00-10:00", "started=2026-06-01 ended=2026-06-01T16:00:00-10:00", "data.time refuse.time-contradicts"},
		{"started after ended", "spray.applied", "", "started=2026-06-03 ended=2026-06-01T16:00:00-10:00", "data.data.started refuse.starts-after"},
		{"unreadable", "fruit.picked", "noon", "", "data.time refuse.not.moment"},
		{"skipped", "fruit.picked", "2026-02-30", "", "data.time refuse.time-date"},
		{"inner field missing", "harvest.closed", "", "", "data.data.date refuse.required"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			inner := parse(t, small[tc.kind])
			for _, f := range strings.Fields(tc.fields) {
				name, value, _ := strings.Cut(f, "=")
				inner.Set(name, canon.Text(value))
			}
			data := canon.ObjectOf(canon.Member{Name: "record", Value: canon.Text(idA)}, canon.Member{Name: "follows", Value: canon.Text(idB)},
				canon.Member{Name: "reason", Value: canon.Text("typed wrong")}, canon.Member{Name: "type", Value: canon.Text(tc.kind + ".v1")}, canon.Member{Name: "data", Value: inner})
			if tc.time != "" {
				data.Set("time", canon.Text(tc.time))
			}
			a, problems := hollow().Check(events.Draft{Type: "record.corrected", Time: "2026-06-10T08:00:00-10:00", Data: data})
			got := a.Draft.Data.Get("time").Str
			if len(problems) > 0 {
				got = problems[0].Field + " " + problems[0].Why.Key
			}
			if got != tc.want || len(problems) > 1 {
				t.Errorf("got %q (%v), want %q", got, problems, tc.want)
			}
			if len(problems) == 0 && a.Draft.Time != "2026-06-10T08:00:00-10:00" {
				t.Errorf("the correction's own time became %s", a.Draft.Time)
			}
		})
	}
}

func TestMoment(t *testing.T) {
	t.Parallel()
	zone, err := civil.Zone(newYork)
	if err != nil {
		t.Fatal(err)
	}
	for _, tc := range []struct{ text, str, day, latest string }{
		{"2026-06-01T16:00:00Z", "2026-06-01T16:00:00Z", "2026-06-01", "2026-06-01T16:00:00Z"},
		{"2026-06-02T03:00:00Z", "2026-06-02T03:00:00Z", "2026-06-01", "2026-06-02T03:00:00Z"},
		{"2026-06-01", "2026-06-01", "2026-06-01", "2026-06-02T00:00:00-04:00"},
		{"2026-11-01", "2026-11-01", "2026-11-01", "2026-11-02T00:00:00-05:00"}, // 25 hours
	} {
		m, err := events.ParseMoment(tc.text, zone)
		if err != nil || m.String() != tc.str || m.Day.String() != tc.day || civil.FormatTime(m.Latest(zone)) != tc.latest {
			t.Errorf("%s: got %s, day %s, latest %s, %v", tc.text, m, m.Day, civil.FormatTime(m.Latest(zone)), err)
		}
	}
	if _, err := events.ParseMoment("soon", zone); err == nil {
		t.Error("soon: no error")
	}
	if got, want := events.RecordedAt(time.Date(2026, 6, 1, 16, 0, 0, 999_999, zone)), "2026-06-01T20:00:00.000Z"; got != want {
		t.Errorf("RecordedAt: got %s, want %s", got, want)
	}
}
