package demo

import (
	"bufio"
	"fmt"
	"io"
	"math"

	"latewood/events"
	"latewood/events/civil"
)

// writeWork writes what was done and seen, season by season, and keeps the picks for their own table.
func (o *orchard) writeWork(w io.Writer) error {
	out := bufio.NewWriterSize(w, 1<<16)
	for year := 2018; year <= Today.Year; year++ {
		for i := range o.blocks {
			if err := o.season(out, &o.blocks[i], year); err != nil {
				return err
			}
		}
	}
	if err := o.now(out); err != nil {
		return err
	}
	return out.Flush()
}

func where(block string) events.Where { return events.Where{{Block: block}} }

func sprayed(block string) events.OneOrMany[events.SprayedPart] {
	return events.OneOrMany[events.SprayedPart]{{Part: events.Part{Block: block}}}
}

// season invents one crop of one block: bloom, sprays, picks, the closing, the prune and the flush after it.
//
//words:data invented notes
func (o *orchard) season(w io.Writer, b *block, year int) error {
	good := 1 + b.bias*[]float64{1, -1}[year%2] + o.rand.NormFloat64()*0.12
	bloom := dayOf(year, b.pick-105+o.rand.IntN(9))
	start := dayOf(year, b.pick+o.rand.IntN(8))
	panicles := int(min(max(60*good, 3), 98))
	records := []dated{{o.at(bloom, 9, 0), &events.BloomSeen{
		Where: where(b.code), Stage: "panicles-out", TerminalsCounted: count(100), LeaflessPanicle: count(panicles), Vegetative: count(100 - panicles),
	}}}
	add := func(at string, data any) { records = append(records, dated{at, data}) }
	spray := func(day civil.Date, n int, rate float64, unit, total, target string) {
		add("", &events.SprayApplied{
			Where: sprayed(b.code), Started: o.at(day, 6, 30), Ended: o.at(day, 8, 45),
			Mix:         []events.MixItem{{Label: label(n), Rate: q(rate, unit), Total: q(round(rate*b.area, 3), total)}},
			AreaTreated: q(b.area, "har"), Target: target, EquipmentKind: "air-blast", Applicator: sprayer(),
			Conditions: []events.Condition{{At: o.at(day, 6, 30), WindSpeed: q(round(1+o.rand.Float64()*2.2, 1), "m/s"), AirTemperature: q(round(18+o.rand.Float64()*3, 1), "Cel")}},
		})
	}
	spray(bloom.AddDays(-18), labelMite, 4.5, "kg/har", "kg", "erinose mite")
	spray(bloom.AddDays(20), labelMould, 0.8, "L/har", "L", "panicle blight")
	if start.After(Today) {
		return o.write(w, records)
	}
	last := o.pick(b, year, start, good)
	if year < Today.Year {
		add("", &events.HarvestClosed{Where: where(b.code), Date: last.AddDays(1).String()})
		prune := last.AddDays(10 + o.rand.IntN(18))
		add("", &events.TreePruned{
			Where: where(b.code), Cut: "after-harvest", Started: prune.AddDays(-1).String(), Ended: o.at(prune, 15, 30),
			LengthRemoved: q(float64(25+o.rand.IntN(25)), "cm"), ShareOfTerminalsCut: q(90, "%"), HeightAfter: q(3.2, "m"), FateOfPrunings: "chipped between the rows",
		})
		for i, stage := range []string{"bud-break", "expanding", "hardened"} {
			day := prune.AddDays(24 + 22*i + o.rand.IntN(7))
			add(o.at(day, 10, 0), &events.FlushSeen{Where: where(b.code), Stage: stage, TerminalsCounted: count(40), TerminalsInStage: count(24 + o.rand.IntN(14))})
		}
	}
	return o.write(w, records)
}

// dated is a record's data and the time that it brings; empty: a field of the data tells it.
type dated struct {
	at   string
	data any
}

func (o *orchard) write(w io.Writer, records []dated) error {
	for _, r := range records {
		if err := line(w, "", r.at, r.data); err != nil {
			return err
		}
	}
	return nil
}

// pick invents the picks of a crop and returns the day of the last one.
func (o *orchard) pick(b *block, year int, start civil.Date, good float64) civil.Date {
	last := start
	age := float64(year - b.planted)
	grown := b.kg * min(age/9, 1.15)
	for round := range 4 {
		day := start.AddDays(4*round + o.rand.IntN(2))
		if day.After(Today) {
			break
		}
		last = day
		share := []float64{0.3, 0.35, 0.22, 0.13}[round]
		if b.byTree {
			o.pickTrees(b, day, share, grown, good)
			continue
		}
		for r := 1; r <= b.rows; r++ {
			kg := float64(b.positions) * grown * max(good, 0.03) * share * (1 + o.rand.NormFloat64()*0.1)
			o.row(b, day, fmt.Sprint(r), "", kg)
		}
	}
	return last
}

func (o *orchard) pickTrees(b *block, day civil.Date, share, grown, good float64) {
	for r := 1; r <= b.rows; r++ {
		for p := 1; p <= b.positions; p++ {
			// Trees of one block fall out of step with the years.
			swing := good
			if (r*7+p*3)%5 == 0 {
				swing = 2 - good
			}
			kg := grown * max(swing, 0) * share * math.Exp(o.rand.NormFloat64()*0.25)
			if kg < 0.4 {
				continue
			}
			o.row(b, day, "", fmt.Sprintf("%s-%02d-%02d", b.code, r, p), kg)
		}
	}
}

// row keeps one row of picks.csv.
func (o *orchard) row(b *block, day civil.Date, row, tree string, kg float64) {
	if kg <= 0 {
		return
	}
	at := o.at(day, 7+o.rand.IntN(4), o.rand.IntN(60))
	o.picks = append(o.picks, fmt.Sprintf("%s,%s,%s,%s,%.1f,scale\n", at, b.code, row, tree, kg))
}

func (o *orchard) writePicks(w io.Writer) error {
	out := bufio.NewWriterSize(w, 1<<16)
	fmt.Fprintln(out, "time,block,rows,trees,mass_kg,massBasis")
	for _, row := range o.picks {
		fmt.Fprint(out, row)
	}
	return out.Flush()
}

// now invents what is going on in the last days, so that every sort of answer shows: an interval that runs, one that ended,
// one that the label gives in words, a spray that is planned, and a pick that came too early.
//
//words:data invented notes
func (o *orchard) now(w io.Writer) error {
	spray := func(block string, day civil.Date, hour int, area float64, mix ...events.MixItem) dated {
		return dated{"", &events.SprayApplied{
			Where: sprayed(block), Started: o.at(day, hour, 0), Ended: o.at(day, hour+2, 15), Mix: mix, AreaTreated: q(area, "har"),
			Target: "fruit fly and mites", EquipmentKind: "backpack", Applicator: sprayer(),
			Conditions: []events.Condition{{At: o.at(day, hour, 0), WindSpeed: q(1.4, "m/s"), AirTemperature: q(21.5, "Cel")}},
		}}
	}
	early := Today.AddDays(-2)
	o.picks = append(o.picks, fmt.Sprintf("%s,road,1,,14.5,scale\n", o.at(early, 9, 30)))
	return o.write(w, []dated{
		spray("road", Today.AddDays(-5), 6, 0.42, events.MixItem{Label: label(labelMite), Rate: q(4.5, "kg/har"), Total: q(1.89, "kg")}),
		spray("house", Today.AddDays(-1), 17, 0.34, events.MixItem{Label: label(labelOil), Rate: q(8, "L/har"), Total: q(2.72, "L")}),
		spray("gulch", Today.AddDays(-3), 6, 0.35, events.MixItem{Label: label(labelBait), Rate: q(10, "L/har"), Total: q(3.5, "L")}),
		{o.at(Today.AddDays(-1), 18, 0), &events.SprayPlanned{
			Where: where("upper"), From: o.at(Today.AddDays(2), 6, 0), Until: o.at(Today.AddDays(2), 9, 0),
			Mix: []events.MixItem{{Label: label(labelMite), Rate: q(4.5, "kg/har")}},
		}},
	})
}
