package app

import (
	"context"
	"errors"
	"time"

	"latewood/events"
	"latewood/events/civil"
	"latewood/events/words"
	"latewood/projections"
	"latewood/projections/lots"
	"latewood/projections/settings"
	"latewood/projections/trails"
	"latewood/services/record"
	"latewood/services/report"
	"latewood/services/report/shed"
	"latewood/services/serve"
)

// TraceRequest asks where something came from and where it went. Drill has the exercise recorded.
type TraceRequest struct {
	Asked
	Of    string `json:"of"`
	Drill bool   `json:"drill,omitempty"`
}

// Traced is the answer about one thing.
type Traced struct {
	trails.Doc
	// Held are the lots and loads of the answer that are held, with why.
	Held    []lots.Held       `json:"held"`
	Seconds float64           `json:"seconds"`
	Drill   *Drill            `json:"drill,omitempty"`
	People  map[string]string `json:"people,omitempty"` // tags behind the pseudonyms
}

// A Drill is an exercise that was recorded.
type Drill struct {
	Record string      `json:"record"`
	Limits DrillLimits `json:"limits"`
	// Within says whether both measured values are inside the limits.
	Within bool `json:"within"`
}

// DrillLimits are the farm's own: no published figure says how fast or how complete, but the 24 hours of 21 CFR 1.1455(c).
type DrillLimits struct {
	Minutes float64 `json:"minutes"`
	Percent float64 `json:"percent"`
}

func (a *App) opTrace(ctx context.Context, q TraceRequest) (any, int, error) {
	if q.Drill && q.KnownBy+q.KnownByClaim != "" {
		return nil, 2, &serve.Fault{Exit: 2, Text: words.Say("trace.drill-now")}
	}
	began := time.Now()
	start := a.o.Now()
	var doc Traced
	var of *farm
	var limits DrillLimits
	err := a.read(ctx, q.Asked, func(f *farm, b *projections.Book, _ int) (err error) {
		of = f
		if doc.Doc, err = trails.Trace(b, q.Of); err != nil {
			return err
		}
		doc.Held = heldOf(doc.Doc, saidOf(b, start).held)
		day := civil.DateOf(start, b.Zone())
		limits.Minutes, _ = b.Number(settings.DrillMinutes, day)
		limits.Percent, _ = b.Number(settings.DrillPercent, day)
		text, err := events.WriteJSON(doc.Doc)
		doc.People = f.tags(text)
		return err
	})
	var problem events.Problem
	if errors.As(err, &problem) {
		return nil, 2, &serve.Fault{Exit: 2, Text: problem.Error()}
	}
	if err != nil {
		return nil, 1, err
	}
	doc.Seconds = time.Since(began).Seconds()
	if !q.Drill {
		return doc, 0, nil
	}
	return of.drill(ctx, q, doc, limits, start)
}

// traceSheet is the reporter of the sheet that a traceability request asks for.
func traceSheet(_ *farm, b *projections.Book, q ReportRequest, at time.Time) (*report.Report, error) {
	query := shed.Query{Lots: q.Lots, Commodity: q.Commodity, At: at}
	if err := daysAsked(q, &query.From, &query.To); err != nil {
		return nil, err
	}
	for _, lot := range q.Lots {
		if _, err := trails.Trace(b, lot); err != nil {
			return nil, &serve.Fault{Exit: 2, Text: words.Say("trace.no-lot", "lot", lot), Err: err}
		}
	}
	return shed.Sheet(b, query), nil
}

// heldOf picks the held lots and loads of an answer.
func heldOf(doc trails.Doc, fruit lots.Fruit) []lots.Held {
	out := []lots.Held{}
	for _, side := range []struct {
		units []trails.UnitLine
		held  []lots.Held
	}{{doc.Lots, fruit.Lots}, {doc.Deliveries, fruit.Deliveries}} {
		in := map[string]bool{}
		for _, u := range side.units {
			in[u.Lot+u.Delivery] = true
		}
		for _, h := range side.held {
			if h.Held && in[h.Lot+h.Delivery] {
				out = append(out, h)
			}
		}
	}
	return out
}

// drill records an exercise with what it measured, and ends with 3 where that is outside the farm's limits: the record is
// there either way.
func (f *farm) drill(ctx context.Context, q TraceRequest, doc Traced, limits DrillLimits, start time.Time) (any, int, error) {
	within := doc.Mass.Percent != nil && *doc.Mass.Percent >= limits.Percent && *doc.Mass.Percent <= 100 && doc.Seconds <= limits.Minutes*60
	measured := map[string]any{"seconds": doc.Seconds, "unaccountedKg": doc.Mass.Unaccounted, "missingElements": float64(len(doc.Missing))}
	if doc.Mass.Percent != nil {
		measured["reconciledPercent"] = *doc.Mass.Percent
	}
	zone := f.zone()
	held := events.DrillHeld{
		Of: q.Of, Started: civil.FormatTime(start.In(zone)), Ended: civil.FormatTime(start.Add(time.Duration(doc.Seconds * float64(time.Second))).In(zone)), Direction: "both",
	}
	for _, part := range []struct {
		into *events.Raw
		v    any
	}{{&held.Limits, map[string]any{"minutes": limits.Minutes, "percent": limits.Percent}}, {&held.Measured, measured}} {
		text, err := events.WriteJSON(part.v)
		if err != nil {
			return nil, 1, err
		}
		*part.into = text
	}
	draft, problems, err := f.naming(false).draft(ctx, events.Draft{Type: "drill.held", Data: events.Encode(held)})
	if err != nil {
		return nil, 1, err
	}
	if len(problems) > 0 {
		return nil, 1, &serve.Fault{Exit: 1, Text: problems.Error(), Err: problems}
	}
	recorded, exit, err := f.record(ctx, []record.Proposal{{Draft: draft, Device: "cli", Clock: true}})
	if err != nil {
		return nil, exit, err
	}
	if len(recorded.Refused) > 0 || len(recorded.IDs) == 0 {
		return nil, 1, &serve.Fault{Exit: 1, Text: words.Say("trace.drill-refused")}
	}
	doc.Drill = &Drill{Record: recorded.IDs[0], Limits: limits, Within: within}
	if !within {
		return doc, 3, nil
	}
	return doc, 0, nil
}
