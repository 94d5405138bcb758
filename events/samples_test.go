package events_test

// samples is what the frozen samples in testdata/versions were first made of: one rich record a kind and version, of the
// invented farm Tern Hollow. {{kind}} stands for the id of that kind's sample.
//
// The files are what counts. A line here that changes later changes no file; a kind or version without a file gets one by
// go test ./events -run Samples -update.
var samples = []struct {
	kind string
	time string // empty: a field of the data gives it
	data string
}{
	{"farm.opened", "2008-02-01T00:00:00-10:00", `{
		"name": "Tern Hollow", "zone": "Pacific/Honolulu", "latitude": 19.6042, "longitude": -155.1167,
		"elevation": {"value": 640, "unit": "[ft_i]"},
		"contact": {"code": "tern-hollow", "name": "Tern Hollow Orchard", "phone": "+1 555 0100", "address": "Mile 4, Hollow Road", "gln": "9506000134352"},
		"note": "Two generations of air-layered trees on old cinder."}`},
	{"setting.adopted", "2026-01-05T09:00:00-10:00", `{
		"name": "container-mass.picking-crate", "value": 11.5, "unit": "kg", "source": "mean of 40 crates weighed on 5 January 2026",
		"from": "2026-01-01", "reason": "the crates of the new supplier are larger"}`},
	{"block.established", "2008-02-01T08:00:00-10:00", `{
		"block": "north", "name": "North Block", "area": {"value": 2.4, "unit": "[acr_us]"}, "trees": 96,
		"rowSpacing": {"value": 25, "unit": "[ft_i]"}, "treeSpacing": {"value": 20, "unit": "[ft_i]"},
		"soil": "cinder under 20 cm of loam", "irrigation": "micro-sprinkler",
		"outline": {"type": "Polygon", "coordinates": [[[-155.1167, 19.6042], [-155.1157, 19.6042], [-155.1157, 19.6051], [-155.1167, 19.6051], [-155.1167, 19.6042]]]},
		"programmeNumbers": {"farm": "417", "tract": "1203", "field": "2", "insuranceUnit": "0001-0001", "county": "hollow"},
		"insurableArea": {"value": 2.2, "unit": "[acr_us]"},
		"practice": {"irrigated": true, "organic": "transition", "organicSince": "2025-01-01"}}`},
	{"block.changed", "", `{
		"block": "north", "from": "2026-03-01", "name": "North Block, with the gully", "area": {"value": 10500, "unit": "m2"},
		"irrigation": "micro-sprinkler on two lines", "insurableArea": {"value": 2.3, "unit": "[acr_us]"}}`},
	{"block.redrawn", "", `{
		"from": ["gully", "north"], "date": "2026-03-15",
		"into": [
			{"block": "north", "name": "North Block", "area": {"value": 0.8, "unit": "har"}, "rows": ["1", "2", "2a"]},
			{"block": "upper", "name": "Upper Block", "area": {"value": 0.45, "unit": "har"}, "trees": ["gully-01-01", "gully-01-02"]}],
		"note": "The gully rows are worked with the slope above them now."}`},
	{"tree.planted", "2011-03-14T00:00:00-10:00", `{
		"tree": "north-01-07", "block": "north", "row": "1", "position": "7", "cultivar": "Haku", "cultivarCertain": false,
		"species": "Litchi chinensis", "propagation": "air-layer", "rootstock": "own roots", "planted": "2011-03",
		"source": {"code": "fernside", "name": "Fernside Nursery"}, "replaces": "north-01-06",
		"point": {"latitude": 19.60425, "longitude": -155.11642}}`},
	{"tree.seen", "2026-05-20T10:15:00-10:00", `{
		"where": {"block": "north", "rows": ["1"], "except": ["north-01-01"], "side": "west"}, "condition": "weak",
		"cause": "yellow leaves from the tips, wet feet after the March rain"}`},
	{"tree.measured", "2026-05-20T11:00:00-10:00", `{
		"where": {"block": "north", "trees": ["north-01-07"]}, "height": {"value": 4.6, "unit": "m"},
		"canopyWidthAlong": {"value": 5.1, "unit": "m"}, "canopyWidthAcross": {"value": 4.9, "unit": "m"},
		"skirtHeight": {"value": 70, "unit": "cm"}, "trunkGirth": {"value": 24.5, "unit": "[in_i]"}, "girthHeight": {"value": 30, "unit": "cm"}}`},
	{"tree.moved", "2026-03-16T14:00:00-10:00", `{
		"moves": [
			{"tree": "gully-01-01", "from": "gully", "block": "upper", "row": "1", "position": "1"},
			{"tree": "gully-01-02", "from": "gully", "block": "upper", "row": "1", "position": "2"}],
		"reason": "renumbered"}`},
	{"tree.topworked", "2026-02-11T15:30:00-10:00", `{
		"where": {"block": "upper", "trees": ["upper-02-05", "upper-02-06"]}, "cultivar": "Ember", "share": {"value": 60, "unit": "%"},
		"note": "Bark grafts on the three western limbs."}`},
	{"tree.removed", "2026-03-20T16:00:00-10:00", `{
		"where": [{"block": "north", "trees": ["north-02-11"]}, {"block": "upper", "trees": ["upper-01-04", "upper-01-05"]}],
		"reason": "root rot; stumps ground out"}`},
	{"station.sited", "2019-11-02T00:00:00-10:00", `{
		"station": "mauka", "latitude": 19.6051, "longitude": -155.1162, "elevation": {"value": 203, "unit": "m"},
		"sensors": [
			{"what": "airTemperature", "height": {"value": 2, "unit": "m"}, "since": "2019-11-02", "calibrated": "2025-11-03"},
			{"what": "soilTemperature", "height": {"value": -10, "unit": "cm"}, "since": "2021-05-01"},
			{"what": "rain", "height": {"value": 1, "unit": "m"}, "since": "2019-11-02"}],
		"blocks": ["north", "upper"]}`},
	{"tree.pruned", "", `{
		"where": [{"block": "north", "rows": ["1", "2"]}, {"block": "upper", "share": {"value": 50, "unit": "%"}}], "cut": "after-harvest",
		"started": "2026-08-03T07:30:00-10:00", "ended": "2026-08-05", "complete": true,
		"lengthRemoved": {"value": 45, "unit": "cm"}, "shareOfTerminalsCut": {"value": 85, "unit": "%"}, "shareOfCanopy": {"value": 20, "unit": "%"},
		"flushRemoved": "soft", "heightAfter": {"value": 3.6, "unit": "m"}, "tool": "pole saw", "crew": "crew of four",
		"fateOfPrunings": "chipped in the row"}`},
	{"flush.seen", "2026-09-02T09:00:00-10:00", `{
		"where": {"block": "north", "rows": ["1"]}, "stage": "elongating", "shootLength": {"value": 60, "unit": "mm"},
		"budLength": {"value": 4.5, "unit": "mm"}, "terminalsCounted": 40, "terminalsInThatStage": 31, "bbchCode": "115"}`},
	{"bloom.seen", "2026-02-20T08:30:00-10:00", `{
		"where": {"block": "north"}, "stage": "panicles-out", "bbchCode": "517", "terminalsCounted": 60,
		"leaflessPanicle": 34, "leafyPanicle": 9, "vegetative": 5, "noMovement": 12}`},
	{"crop.assessed", "2026-05-28T13:00:00-10:00", `{
		"where": {"block": "upper"}, "crop": "fair", "method": "count", "massExpected": {"value": 1850, "unit": "kg"},
		"massLost": {"value": 220, "unit": "kg"}, "cause": "wind on 2 May", "fruitCounted": 1430, "treesCounted": 5}`},
	{"label.filed", "2026-01-12T10:00:00-10:00", `{
		"product": "Brume 80", "material": "pesticide", "readBy": "P07", "labelVersion": "rev. 4", "labelDate": "2025-10",
		"document": "9f86d081884c7d659a2feaa0c55ad015a3bf4f1b2b0b822cd15d6c15b0f00a08", "language": "en",
		"jurisdiction": "US", "region": "HI", "supplemental": "main", "validFrom": "2026-01-01", "validUntil": "2027-12-31",
		"registration": "00000-417",
		"activeIngredients": [{"name": "sulfur", "share": {"value": 80, "unit": "%"}, "moa": {"scheme": "FRAC", "group": "M02", "version": "2025"}}],
		"crop": "tropical tree fruit", "cropListed": true,
		"withholding": [
			{"kind": "numeric", "value": 1, "unit": "d", "termOnLabel": "PHI", "countRule": "full-days", "words": "Do not apply within 1 day of harvest.", "endUse": "fresh"},
			{"kind": "none-stated", "endUse": "processing", "words": "no line about fruit for processing"}],
		"reentry": [
			{"hours": 24, "words": "Do not enter treated areas during the restricted-entry interval of 24 hours.", "doubleNotification": true},
			{"hours": 72, "activity": "hand thinning"}],
		"rates": [{"min": {"value": 3, "unit": "[lb_av]/[acr_us]"}, "max": {"value": 6, "unit": "[lb_av]/[acr_us]"}}, {"max": {"value": 0.3, "unit": "%"}, "per": "tank"}],
		"leastDaysBetweenApplications": 10, "mostApplicationsASeason": 6,
		"mostProductPerSeason": {"value": 36, "unit": "[lb_av]/[acr_us]"}, "mostProductPerApplication": {"value": 6, "unit": "[lb_av]/[acr_us]"},
		"mostActiveIngredientPerSeason": {"value": 28.8, "unit": "[lb_av]/[acr_us]"}, "mostActiveIngredientPerApplication": {"value": 4.8, "unit": "[lb_av]/[acr_us]"},
		"whatItCallsASeason": "calendar year", "mostConsecutiveUsesOfAGroup": 3, "windLimit": {"value": 10, "unit": "[mi_i]/h"},
		"bufferToWater": {"value": 25, "unit": "[ft_i]"}, "rainFreeTime": {"value": 4, "unit": "h"},
		"bloomAndPollinatorWords": "Do not apply while bees are foraging.", "equipmentAllowed": ["air-blast", "backpack"], "signalWord": "CAUTION",
		"protectiveEquipment": "long sleeves, gloves, goggles", "earlyEntryEquipment": "coveralls, gloves, goggles", "restrictedUse": false,
		"safetyDataSheet": "60303ae22b998861bce3b28f33eec1be758a213c86c93c076dbe9f558c11c752", "organicUse": true,
		"attachments": [{"sha256": "9f86d081884c7d659a2feaa0c55ad015a3bf4f1b2b0b822cd15d6c15b0f00a08", "name": "brume-80-label.pdf", "mediaType": "application/pdf"}]}`},
	{"label.closed", "2026-10-02T08:00:00-10:00", `{
		"label": "{{label.filed}}", "reason": "superseded", "lastLawfulUse": "2026-12-31", "source": "letter of the maker, 28 September 2026"}`},
	{"spray.planned", "2026-04-10T17:00:00-10:00", `{
		"where": [{"block": "north"}, {"block": "upper", "rows": ["1"]}], "from": "2026-04-13T06:00:00-10:00", "until": "2026-04-13",
		"mix": [{"label": "{{label.filed}}", "rate": {"value": 5, "unit": "[lb_av]/[acr_us]"}, "role": "active"}],
		"by": "w_8c3d1f0a5b6e4d2c9a7f0e1d2c3b4a59",
		"noticesGiven": [{"who": "beekeeper of the lower field", "how": "telephone", "when": "2026-04-10T16:30:00-10:00"}]}`},
	{"spray.begun", "", `{
		"where": {"block": "north"}, "started": "2026-04-13T06:20:00-10:00", "plan": "{{spray.planned}}",
		"mix": [{"label": "{{label.filed}}", "batch": "B2217"}]}`},
	{"spray.called-off", "2026-04-13T07:10:00-10:00", `{
		"where": {"block": "upper", "rows": ["1"]}, "plan": "{{spray.planned}}", "begun": "{{spray.begun}}",
		"reason": "wind rose above the label's limit", "anythingApplied": false}`},
	{"spray.applied", "", `{
		"where": [{"block": "north", "ended": "2026-04-13T08:05:00-10:00"}, {"block": "upper", "rows": ["2", "3"], "side": "east", "ended": "2026-04-13T08:40:00-10:00"}],
		"started": "2026-04-13T06:20:00-10:00", "ended": "2026-04-13T08:40:00-10:00",
		"mix": [
			{"label": "{{label.filed}}", "rate": {"value": 5, "unit": "[lb_av]/[acr_us]"}, "total": {"value": 12, "unit": "[lb_av]"}, "batch": "B2217", "role": "active"},
			{"product": "Cling", "rate": {"value": 0.25, "unit": "%"}, "total": {"value": 0.6, "unit": "[gal_us]"}, "role": "adjuvant"}],
		"areaTreated": {"value": 2.4, "unit": "[acr_us]"}, "target": "erinose mite", "purpose": "protect the spring flush",
		"plan": "{{spray.planned}}", "begun": "{{spray.begun}}", "cropStage": "panicles elongating", "mixVolume": {"value": 240, "unit": "[gal_us]"}, "tanks": 3,
		"waterSource": "rain tank 2", "equipmentKind": "air-blast", "dropletClass": "medium", "releaseHeight": {"value": 1.2, "unit": "m"},
		"sides": "both", "alternateRows": false,
		"conditions": [
			{"at": "2026-04-13T06:20:00-10:00", "windSpeed": {"value": 3, "unit": "[mi_i]/h"}, "windDirection": {"value": 65, "unit": "deg"}, "atHeight": {"value": 2, "unit": "m"},
				"airTemperature": {"value": 66, "unit": "[degF]"}, "relativeHumidity": {"value": 82, "unit": "%"}, "measuredBy": "hand-held meter"},
			{"at": "2026-04-13T08:40:00-10:00", "windSpeed": {"value": 7, "unit": "[mi_i]/h"}, "airTemperature": {"value": 72, "unit": "[degF]"}}],
		"applicator": {"code": "w_8c3d1f0a5b6e4d2c9a7f0e1d2c3b4a59", "commitment": "GuDvtjH5gHrS3AS5n0vEjjDGV9m20NdqsDQslh9k9eA="},
		"noncertifiedApplicator": "w_2f4e6d8c0b1a39584736251403f2e1d0",
		"supervisedBy": {"code": "w_8c3d1f0a5b6e4d2c9a7f0e1d2c3b4a59"},
		"contractor": {"code": "mist-and-row", "name": "Mist and Row"}, "customer": {"code": "tern-hollow", "name": "Tern Hollow Orchard"},
		"spot": false, "suspensions": [{"from": "2026-04-13T07:00:00-10:00", "to": "2026-04-13T07:30:00-10:00", "reason": "gusts"}],
		"warning": {"signsUp": "2026-04-13T06:00:00-10:00", "signsDown": "2026-04-14T09:00:00-10:00", "oral": "2026-04-13T05:45:00-10:00", "by": "w_2f4e6d8c0b1a39584736251403f2e1d0"},
		"leftOver": "none; tank rinsed over row 3"}`},
	{"hold.judged", "2026-04-13T18:00:00-10:00", `{
		"where": {"block": "upper"}, "spray": "{{spray.applied}}", "words": "Do not harvest until sprays have dried.", "from": "2026-04-14T08:00:00-10:00",
		"growthStage": "before fruit set", "by": "w_8c3d1f0a5b6e4d2c9a7f0e1d2c3b4a59"}`},
	{"fruit.picked", "2026-06-18T11:40:00-10:00", `{
		"where": {"block": "north", "rows": ["1"], "trees": ["north-02-03"]}, "mass": {"value": 412.5, "unit": "[lb_av]"},
		"containers": [{"id": "bin-031", "kind": "half-bin", "count": 1, "tare": {"value": 18, "unit": "kg"}}, {"kind": "picking-crate", "count": 12, "tare": {"value": 1.4, "unit": "kg"}}],
		"massBasis": "scale", "scale": "shed platform", "ticket": "T-2026-118", "picker": "w_2f4e6d8c0b1a39584736251403f2e1d0", "crew": "morning crew",
		"grades": {"first": {"value": 350, "unit": "[lb_av]"}, "second": {"value": 42.5, "unit": "[lb_av]"}, "cull": {"value": 20, "unit": "[lb_av]"}},
		"cullReasons": ["cracked", "bird"], "condition": "dry", "lengthCutBackWithTheFruit": {"value": 30, "unit": "cm"}, "use": "fresh",
		"nextRecipient": {"code": "reed-end", "name": "Reed End Packers"}, "referenceDocument": {"type": "bin card", "number": "0417"}}`},
	{"harvest.closed", "", `{"where": [{"block": "north"}, {"block": "upper"}], "date": "2026-07-22", "note": "Left the last clusters to the birds."}`},
	{"weather.read", "2026-06-18T06:00:00-10:00", `{
		"station": "mauka", "interval": 3600, "airTemperature": {"value": 18.4, "unit": "Cel"}, "airTemperatureMin": {"value": 17.9, "unit": "Cel"},
		"airTemperatureMax": {"value": 19.1, "unit": "Cel"}, "relativeHumidity": {"value": 101.5, "unit": "%"}, "wetBulb": {"value": 18.3, "unit": "Cel"},
		"windSpeed": {"value": 1.2, "unit": "m/s"}, "windGust": {"value": 3.4, "unit": "m/s"}, "windDirection": {"value": 245, "unit": "deg"},
		"rain": {"value": 0, "unit": "mm"}, "rainTrace": true, "solarRadiation": {"value": 0, "unit": "W/m2"}, "leafWetness": {"value": 80, "unit": "%"},
		"soilTemperature": {"value": 21.2, "unit": "Cel"}}`},
	{"record.corrected", "2026-06-19T07:00:00-10:00", `{
		"record": "{{fruit.picked}}", "type": "fruit.picked.v1", "follows": "{{fruit.picked}}", "reason": "the scale showed kilograms",
		"time": "2026-06-18T11:30:00-10:00",
		"data": {"where": {"block": "north", "rows": ["1"]}, "mass": {"value": 412.5, "unit": "kg"}, "massBasis": "scale"}}`},
	{"record.withdrawn", "2026-06-20T07:00:00-10:00", `{
		"record": "{{flush.seen}}", "follows": "{{flush.seen}}", "reason": "entered for the wrong day; entered anew"}`},
	{"records.reviewed", "2026-07-01T12:00:00-10:00", `{
		"records": ["{{spray.applied}}", "{{fruit.picked}}"], "span": {"first": 120, "last": 188}, "reviewer": "w_8c3d1f0a5b6e4d2c9a7f0e1d2c3b4a59", "role": "supervisor"}`},
	{"import.made", "2026-01-15T08:00:00-10:00", `{
		"file": {"name": "picks-2009-2025.xlsx", "sha256": "2c26b46b68ffc68ff99b453c1d30413413422d706483bfa0f98a5e886266e7ae"}, "map": "picks.yaml",
		"rows": 412, "recorded": 409, "refused": 3}`},
	{"rule.adopted", "2026-08-01T09:00:00-10:00", `{
		"name": "tip-by-september", "rule": "tip hardened flush until 15 September\n", "hash": "13a7630e9f1b7897668cb2340c5720fe21c62256998e8d18e98a2f8156cb6fd3",
		"from": "2026-08-01"}`},
	{"season.named", "2026-09-20T10:00:00-10:00", `{
		"season": "2026", "from": "2025-09-15", "to": "2026-08-31", "blocks": ["north", "upper"], "species": "Litchi chinensis"}`},
	{"report.issued", "2026-08-30T15:00:00-10:00", `{
		"kind": "yield", "season": "2026", "hash": "fcde2b2edba56bf408601fb721fe9b5c338d10ee429ea04fae5511b68fbf8fb9", "size": 2411,
		"root": "SBNJTRN+FjG7owHVrKtue7eqdM4RhdRWVl71HXN2d7I=",
		"typed": [{"field": "remark", "text": "first full year of the upper block"}], "to": {"code": "hollow-grants", "name": "Hollow Grants Office"}}`},
	{"drill.held", "", `{
		"of": "L26-014", "started": "2026-07-02T09:00:00-10:00", "ended": "2026-07-02T09:48:00-10:00", "direction": "both",
		"limits": {"hours": 24, "massPercent": 100}, "measured": {"minutes": 48, "massPercent": 99.6}, "gaps": "one bin card without a row", "action": "cards now printed with rows"}`},
	{"evidence.given", "2026-07-03T10:00:00-10:00", `{
		"for": {"block": "north", "season": "2026"}, "recipient": {"code": "reed-end", "name": "Reed End Packers"},
		"heads": [
			{"chain": "inputs/north", "place": 41, "leaf": "9XO3pOMwzJEtDvIGtsMLmKyC7vCuXNBl4wsB8wUoRLc="},
			{"chain": "picks/north", "place": 97, "leaf": "AQIDBAUGBwgJCgsMDQ4PEBESExQVFhcYGRobHB0eHyA="}],
		"size": 2018}`},
	{"key.changed", "2026-09-01T08:00:00-10:00", `{
		"oldKey": "latewood/tern-hollow-395aa064+3c1a2b4d+AaBcDeFgHiJkLmNoPqRsTuVwXyZ0123456789+/abcd=",
		"newKey": "latewood/tern-hollow-395aa064+7e5f6a8b+AzYxWvUtSrQpOnMlKjIhGfEdCbA9876543210+/dcba=", "reason": "yearly change"}`},
	{"ledger.restored", "2026-09-05T08:00:00-10:00", `{"sealedSize": 2410, "salvaged": 12, "lost": 1, "words": "power failed while the disk was full"}`},
	{"ledger.moved", "2026-10-05T17:00:00-10:00", `{"to": "latewood/tern-hollow-8d2f7c10"}`},
	{"access.granted", "2026-07-03T10:05:00-10:00", `{"grant": "g-0031", "object": "lot/L26-014", "to": "Reed End Packers", "until": "2026-10-01"}`},
	{"access.viewed", "2026-07-04T00:00:00-10:00", `{"grant": "g-0031", "object": "lot/L26-014", "note": "four views"}`},
	{"access.ended", "2026-10-01T00:00:00-10:00", `{"grant": "g-0031", "object": "lot/L26-014"}`},
	{"person.forgotten", "2026-10-05T09:00:00-10:00", `{"who": "w_2f4e6d8c0b1a39584736251403f2e1d0", "reason": "the keep-until date has gone by"}`},
	{"fruit.set", "2026-03-28T09:00:00-10:00", `{
		"where": {"block": "north", "rows": ["1", "2"]}, "shareOfPanicles": {"value": 62, "unit": "%"}, "fruitsPerPanicle": 8.4}`},
	{"crop.thinned", "2026-04-21T10:00:00-10:00", `{
		"where": {"block": "north", "trees": ["north-01-07"]}, "what": "fruit", "share": {"value": 30, "unit": "%"}, "method": "by hand, to one fruit a side branch"}`},
	{"damage.seen", "", `{
		"where": [{"block": "north"}, {"block": "upper", "rows": ["1"]}], "cause": "wind", "agent": "trade wind storm", "organ": "fruit",
		"from": "2026-05-02", "until": "2026-05-03T16:00:00-10:00", "severity": "about a third of the clusters on the windward side",
		"fruitLost": {"value": 220, "unit": "kg"}, "treesDead": 0,
		"noticeGiven": {"who": "Hollow Crop Office", "how": "telephone", "when": "2026-05-05T09:30:00-10:00"}}`},
	{"pest.scouted", "2026-04-11T08:00:00-10:00", `{
		"where": {"block": "north", "rows": ["1", "2"]}, "target": "erinose mite", "method": "visual", "unitsExamined": 60, "unitsWith": 14, "count": 41,
		"trap": "T4", "stage": "adults on soft flush", "naturalEnemies": "predatory mites on 9 shoots", "threshold": "20 % of shoots, our own", "decision": "treat"}`},
	{"tree.girdled", "2026-09-10T14:00:00-10:00", `{
		"where": {"block": "upper", "trees": ["upper-02-05"]}, "part": "main limbs", "shareOfLimbs": {"value": 50, "unit": "%"},
		"width": {"value": 3, "unit": "mm"}, "healed": false}`},
	{"ground.worked", "2026-09-12T15:30:00-10:00", `{"where": [{"block": "north"}, {"block": "upper"}], "what": "mulched", "note": "With the prunings of August."}`},
	{"protection.placed", "2026-05-10T16:00:00-10:00", `{"where": {"block": "north", "rows": ["2a"]}, "kind": "bags", "count": 840}`},
	{"protection.removed", "2026-06-20T12:00:00-10:00", `{"where": {"block": "north", "rows": ["2a"]}, "kind": "bags", "count": 796}`},
	{"hives.placed", "2026-02-18T18:30:00-10:00", `{"where": {"block": "north"}, "hives": 6, "keeper": {"code": "gorse-bees", "name": "Gorse Bees"}}`},
	{"hives.removed", "2026-03-30T19:00:00-10:00", `{"where": {"block": "north"}, "hives": 6, "keeper": {"code": "gorse-bees", "name": "Gorse Bees"}}`},
	{"sample.tested", "", `{
		"material": "fruit", "where": {"block": "north", "rows": ["1"]}, "lot": "L26-014", "source": "shed-bench", "sampled": "2026-06-17",
		"laboratory": "Hollow Valley Laboratory", "method": "refractometer and titration",
		"results": [
			{"what": "soluble solids", "value": 18.2, "unit": "Brix", "limit": 17},
			{"what": "titratable acid", "value": 0.45, "unit": "% citric acid"},
			{"what": "sulfur residue", "value": 0.01, "unit": "ppm", "belowDetection": true}],
		"document": "9f86d081884c7d659a2feaa0c55ad015a3bf4f1b2b0b822cd15d6c15b0f00a08"}`},
	{"nutrient.applied", "2026-08-12T08:00:00-10:00", `{
		"where": {"block": "north"}, "material": "Fernmeal pellets", "total": {"value": 400, "unit": "[lb_av]"}, "origin": "animal",
		"analysis": {"n": {"value": 4, "unit": "%"}, "p": {"value": 2, "unit": "%"}, "k": {"value": 3, "unit": "%"}}, "method": "by hand under the skirt",
		"treated": true, "treatmentRecord": "certificate 26-118 of the maker", "touchesFruit": false}`},
	{"water.applied", "", `{
		"where": [{"block": "north"}, {"block": "upper"}], "amount": {"value": 12, "unit": "m3"}, "from": "2026-07-01T18:00:00-10:00",
		"until": "2026-07-02T02:00:00-10:00", "hours": 6.5, "method": "micro-sprinkler", "source": "tank-2", "touchesFruit": false}`},
	{"water.withheld", "", `{
		"where": {"block": "north"}, "from": "2026-08-24", "until": "2026-09-28", "reason": "a dry spell for a hardened flush",
		"reading": {"value": 62, "unit": "kPa"}, "readingInWords": "cracks in the clay at the lower end"}`},
	{"spray.posted", "", `{
		"spray": "{{spray.applied}}", "place": "board at the shed door", "from": "2026-04-13T09:15:00-10:00", "until": "2026-05-14",
		"removed": "2026-05-15T08:00:00-10:00", "safetyDataSheetThere": true, "language": "en, es"}`},
	{"entry.made", "", `{
		"where": {"block": "north", "rows": ["1"]}, "who": ["w_2f4e6d8c0b1a39584736251403f2e1d0", "w_8c3d1f0a5b6e4d2c9a7f0e1d2c3b4a59"],
		"from": "2026-04-13T15:10:00-10:00", "until": "2026-04-13T15:40:00-10:00", "activity": "closing a broken sprinkler line", "exceptionClaimed": "short-term, no hand labor",
		"briefingItems": ["place and product", "when entry opens", "what may be touched"], "ageOf18Attested": true, "protectiveEquipment": "coveralls, gloves, goggles"}`},
	{"exposure.reported", "", `{
		"who": "w_2f4e6d8c0b1a39584736251403f2e1d0", "when": "2026-04-13T08:20:00-10:00", "spray": "{{spray.applied}}", "where": {"block": "north"},
		"place": "turning place at the end of row 1", "what": "mist in the face; eyes rinsed for 15 minutes, then seen by a doctor"}`},
	{"fruit.delivered", "", `{
		"delivery": "D26-031", "picks": [{"pick": "{{fruit.picked}}", "mass": {"value": 350, "unit": "[lb_av]"}, "containers": [{"id": "bin-031", "kind": "half-bin", "count": 1, "tare": {"value": 18, "unit": "kg"}}]}],
		"recipient": {"code": "reed-end", "name": "Reed End Packers", "phone": "+1 555 0142"}, "date": "2026-06-18",
		"masses": {"gross": {"value": 390, "unit": "[lb_av]"}, "tare": {"value": 40, "unit": "[lb_av]"}, "net": {"value": 350, "unit": "[lb_av]"}},
		"temperature": {"value": 76, "unit": "[degF]"}, "carrier": {"code": "tern-hollow"}, "permit": "MV-2026-07", "referenceDocument": {"type": "load slip", "number": "31"}}`},
	{"delivery.answered", "2026-06-18T17:20:00-10:00", `{
		"delivery": "D26-031", "outcome": "part-accepted", "weighedMass": {"value": 157.2, "unit": "kg"}, "ticket": "R-5512", "reason": "two crates wet"}`},
	{"packout.reported", "2026-06-27T10:00:00-10:00", `{
		"deliveries": ["D26-030", "D26-031"], "delivered": {"value": 402.7, "unit": "kg"}, "packed": {"value": 351, "unit": "kg"}, "seconds": {"value": 22.5, "unit": "kg"},
		"culls": [{"mass": {"value": 14, "unit": "kg"}, "reason": "cracked"}, {"mass": {"value": 9.2, "unit": "kg"}, "reason": "bird"}],
		"shrink": {"value": 6, "unit": "kg"}, "packersLotCodes": ["RE 26/1187", "RE 26/1188"], "settlementDocument": "settlement 26-77"}`},
	{"fruit.received", "", `{
		"delivery": "FS-9", "source": {"code": "fernside", "name": "Fernside Nursery", "phone": "+1 555 0177"}, "sourceCovered": "as-told", "date": "2026-06-19",
		"commodity": "lychee", "variety": "Haku", "amount": {"value": 12, "unit": "kg"}, "growingArea": "Fernside, lower terrace", "harvestDates": ["2026-06-18", "2026-06-19"],
		"harvester": {"code": "fernside"}, "cooling": "not cooled", "evidenceFile": "60303ae22b998861bce3b28f33eec1be758a213c86c93c076dbe9f558c11c752",
		"verifyResult": "complete, key as shown on their card", "referenceDocument": {"type": "field tag", "number": "9"}}`},
	{"pick.cooled", "", `{
		"picks": ["{{fruit.picked}}"], "location": {"code": "tern-hollow", "name": "Tern Hollow Orchard, lower shed"}, "date": "2026-06-18", "method": "forced air",
		"temperature": {"value": 5, "unit": "Cel"}, "nextRecipient": {"code": "reed-end"}, "referenceDocument": {"type": "cooler log", "number": "118"}}`},
	{"bin.emptied", "2026-06-19T09:30:00-10:00", `{"bins": ["bin-031", "bin-032"], "into": "L26-014", "washed": true}`},
	{"lot.packed", "", `{
		"lot": "L26-014",
		"inputs": [
			{"pick": "{{fruit.picked}}", "versionSeen": "{{record.corrected}}", "mass": {"value": 58, "unit": "kg"}},
			{"received": "{{fruit.received}}", "mass": {"value": 12, "unit": "kg"}},
			{"bin": "bin-032", "mass": {"value": 20.4, "unit": "kg"}}],
		"receivedDate": "2026-06-19", "product": "lychee, Haku, 2 kg carton", "gtin": "09506000134352", "packed": {"count": 40, "kind": "carton", "netMass": {"value": 2, "unit": "kg"}},
		"culls": {"mass": {"value": 9.4, "unit": "kg"}, "reason": "small"}, "samples": {"value": 1, "unit": "kg"}, "date": "2026-06-19",
		"location": {"code": "tern-hollow", "name": "Tern Hollow Orchard, lower shed", "address": "Mile 4, Hollow Road", "gln": "9506000134352"},
		"harvester": {"code": "tern-hollow", "phone": "+1 555 0100"}, "referenceDocument": {"type": "packing log", "number": "14"}}`},
	{"lot.repacked", "", `{
		"lot": "L26-019", "inputs": [{"lot": "L26-014", "amount": {"value": 10, "unit": "kg"}}, {"lot": "L26-015", "amount": {"value": 6, "unit": "kg"}}], "receivedDate": "2026-06-21",
		"product": "lychee, mixed, 500 g punnet", "gtin": "9506000134352", "packed": {"count": 31, "kind": "punnet", "netMass": {"value": 500, "unit": "g"}},
		"culls": [{"mass": {"value": 0.4, "unit": "kg"}, "reason": "brown"}, {"mass": {"value": 0.1, "unit": "kg"}}], "samples": {"value": 0, "unit": "kg"}, "date": "2026-06-22",
		"location": {"code": "tern-hollow"}, "harvester": {"code": "tern-hollow"}, "referenceDocument": {"type": "packing log", "number": "19"}}`},
	{"lot.treated", "2026-06-20T14:00:00-10:00", `{
		"lot": "L26-014", "delivery": "D26-031", "treatment": "irradiation", "label": "{{label.filed}}", "dose": {"value": 410, "unit": "Gy"},
		"temperature": {"value": 8, "unit": "Cel"}, "duration": {"value": 22, "unit": "min"}, "facility": {"code": "cape-treatment", "name": "Cape Treatment"},
		"certificate": "CT-26-0410", "result": "least dose 410 Gy, most 655 Gy"}`},
	{"lot.received", "", `{
		"lot": "FS26-03", "amount": {"value": 24, "unit": "kg"}, "previousSource": {"code": "fernside", "name": "Fernside Nursery"}, "from": {"code": "fernside"},
		"to": {"code": "tern-hollow"}, "date": "2026-06-22", "productDescription": "lychee, Haku, 2 kg carton", "lotCodeSource": {"code": "fernside", "phone": "+1 555 0177"},
		"carrier": {"code": "fernside"}, "permit": "MV-2026-11", "treatments": ["forced air"], "temperature": {"value": 6, "unit": "Cel"}, "referenceDocument": {"type": "invoice", "number": "331"}}`},
	{"lot.shipped", "", `{
		"lot": "L26-014", "amount": {"value": 60, "unit": "kg"}, "recipient": {"code": "quay-market", "name": "Quay Market", "phone": "+1 555 0190", "address": "2 Quay Street"},
		"from": {"code": "tern-hollow", "name": "Tern Hollow Orchard, lower shed"}, "to": {"code": "quay-market"}, "date": "2026-06-20",
		"productDescription": "lychee, Haku, 2 kg carton", "lotCodeSource": {"code": "tern-hollow", "gln": "9506000134352"}, "carrier": {"code": "island-cold", "name": "Island Cold Freight"},
		"permit": "MV-2026-12", "treatments": ["irradiation"], "temperature": {"value": 5.5, "unit": "Cel"}, "referenceDocument": {"type": "bill of lading", "number": "BL-0620"}}`},
	{"lot.rejected", "", `{
		"lot": "L26-014", "amount": {"value": 6, "unit": "kg"}, "recipient": {"code": "quay-market"}, "reason": "brown skin", "date": "2026-06-22", "condition": "dry, 11 Cel on arrival",
		"told": [{"party": {"code": "island-cold"}, "when": "2026-06-22T11:00:00-10:00", "how": "telephone", "answer": "will look at the logger"}], "recovered": {"value": 6, "unit": "kg"}}`},
	{"lot.returned", "", `{
		"lots": ["L26-014", "L26-019"], "amount": {"value": 9, "unit": "kg"}, "recipient": {"code": "quay-market"}, "from": {"code": "quay-market"}, "reason": "not sold by Saturday",
		"date": "2026-06-27", "condition": "soft", "recovered": {"value": 8.5, "unit": "kg"}}`},
	{"lot.recalled", "", `{
		"lot": "L26-014", "lots": ["L26-019"], "amount": {"value": 57, "unit": "kg"}, "recipient": {"code": "quay-market"}, "reason": "a pick of 18 June was inside an interval",
		"date": "2026-06-28", "told": [
			{"party": {"code": "quay-market"}, "when": "2026-06-28T08:05:00-10:00", "how": "telephone", "answer": "taken off the shelf"},
			{"party": {"name": "Hollow Food Office"}, "when": "2026-06-28", "how": "e-mail"}], "recovered": {"value": 31, "unit": "kg"}}`},
	{"lot.held", "2026-06-19T15:00:00-10:00", `{
		"lot": "L26-014", "reason": "the label was read again: its interval had not run", "answers": ["pick-in-interval:{{fruit.picked}}"],
		"document": "60303ae22b998861bce3b28f33eec1be758a213c86c93c076dbe9f558c11c752", "secondPerson": "w_2f4e6d8c0b1a39584736251403f2e1d0"}`},
	{"lot.released", "2026-06-20T07:00:00-10:00", `{
		"lot": "L26-014", "delivery": "D26-031", "basis": "test-result", "answers": ["pick-in-interval:{{fruit.picked}}", "{{lot.held}}"],
		"document": "9f86d081884c7d659a2feaa0c55ad015a3bf4f1b2b0b822cd15d6c15b0f00a08", "secondPerson": "w_2f4e6d8c0b1a39584736251403f2e1d0"}`},
	{"fruit.sold", "2026-06-21T12:00:00-10:00", `{
		"channel": "farm-stand", "picks": ["{{fruit.picked}}"], "lot": "L26-014", "where": {"block": "north", "rows": ["1"]}, "amount": {"value": 42, "unit": "[lb_av]"},
		"buyer": {"code": "stand-customers"}, "value": {"amount": 252, "currency": "USD"}}`},
	{"lot.written-off", "2026-07-01T08:00:00-10:00", `{
		"lot": "L26-014", "picks": ["{{fruit.picked}}"], "amount": {"value": 3.4, "unit": "kg"}, "reason": "decay; composted"}`},
	{"stock.counted", "2026-06-30T17:00:00-10:00", `{
		"location": "cold room 1", "items": [{"lot": "L26-014", "amount": {"value": 14, "unit": "kg"}}, {"pick": "{{fruit.picked}}", "amount": {"value": 20, "unit": "[lb_av]"}}]}`},
	{"training.given", "", `{
		"date": "2026-01-20", "kind": "worker-protection", "topics": ["signs and entry", "washing", "whom to tell"],
		"trained": ["w_2f4e6d8c0b1a39584736251403f2e1d0", "w_8c3d1f0a5b6e4d2c9a7f0e1d2c3b4a59"], "trainer": "Hollow Valley Extension", "language": "en",
		"place": "lower shed", "validUntil": "2027-01-19"}`},
	{"water.assessed", "2026-01-25T10:00:00-10:00", `{
		"source": "tank-2", "systems": ["micro-sprinkler", "spray mix"], "factors": [{"factor": "other users", "finding": "none above the intake"}, {"factor": "animals", "finding": "tank lid replaced"}],
		"daysBetweenLastDirectWaterAndHarvest": 4, "outcome": "no measure needed for the sprinklers; mix water is tested", "measures": "lid lock; test each May",
		"reviewer": "w_8c3d1f0a5b6e4d2c9a7f0e1d2c3b4a59"}`},
	{"tool.cleaned", "2026-06-18T06:30:00-10:00", `{
		"what": "picking clippers", "method": "washed, then 5 minutes in the bath", "agent": "chlorine, 100 ppm", "where": {"block": "north"}}`},
	{"check.made", "2026-06-18T06:00:00-10:00", `{
		"checklist": "before harvest", "items": [{"question": "signs of animals in the rows?", "answer": "droppings in row 2", "action": "ten trees marked, not picked"}, {"question": "toilets stocked?", "answer": "yes"}]}`},
	{"room.read", "2026-06-19T06:00:00-10:00", `{"room": "cold room 1", "temperature": {"value": 4.8, "unit": "Cel"}, "humidity": {"value": 94, "unit": "%"}}`},
	{"incident.reported", "", `{
		"what": "animal-intrusion", "from": "2026-06-17T20:00:00-10:00", "until": "2026-06-18T05:30:00-10:00", "where": {"block": "north", "rows": ["2"]}, "location": "fence at the gully",
		"lotsTouched": ["L26-014"], "picksTouched": ["{{fruit.picked}}"], "action": "droppings taken out, ten trees not picked",
		"told": [{"party": {"code": "reed-end"}, "when": "2026-06-18T08:00:00-10:00", "how": "telephone"}]}`},
	{"visit.made", "", `{
		"who": "Hollow Crop Office", "from": "2026-05-06T09:00:00-10:00", "until": "2026-05-06T11:15:00-10:00", "areas": ["north", "upper", "lower shed"], "briefed": true}`},
	{"document.filed", "2026-02-01T09:00:00-10:00", `{
		"kind": "insurance", "about": "the crop of 2026", "issuer": "Hollow Crop Office", "number": "HC-26-0417", "from": "2026-01-01", "until": "2026-12-31",
		"document": "60303ae22b998861bce3b28f33eec1be758a213c86c93c076dbe9f558c11c752",
		"attachments": [{"sha256": "60303ae22b998861bce3b28f33eec1be758a213c86c93c076dbe9f558c11c752", "name": "policy.pdf", "mediaType": "application/pdf"}]}`},
	{"exemption.claimed", "2026-01-31T16:00:00-10:00", `{
		"rule": "21 CFR 112.5", "basisFigures": {"2023": 61200, "2024": 58750, "2025": 64010, "currency": "USD"}, "years": ["2023", "2024", "2025"], "until": "2026-12-31"}`},
	{"weather.doubted", "2026-06-20T08:00:00-10:00", `{"station": "mauka", "from": "2026-06-18T02:00:00-10:00", "to": "2026-06-18T09:30:00-10:00",
		"elements": ["rain"], "reason": "A leaf lay in the funnel.", "note": "Cleaned the same morning."}`},
}
