package main

import (
	"context"
	"fmt"
	"strings"

	"latewood/events/units"
	"latewood/events/words"
	"latewood/projections/trails"
	"latewood/services/internal/app"
)

type traceCommand struct {
	asked
	Of    string `arg:"" help:"${cli_trace_of}" placeholder:"LOT|LOAD|TREE|ID|BLOCK/DATE"`
	Drill bool   `help:"${cli_trace_drill_flag}"`
}

func (c *traceCommand) Run(ctx context.Context, t *terminal) (int, error) {
	return ask(ctx, t, "trace", app.TraceRequest{Asked: t.asked(c.asked), Of: c.Of, Drill: c.Drill}, t.trace)
}

// trace prints where it came from, where it went, and what is unaccounted.
func (t *terminal) trace(d app.Traced) {
	t.say("cli.trace-head", "of", d.Of, "what", words.Say("cli.trace-what-"+d.What))
	list := func(head string, n int, line func(i int) string) {
		fmt.Fprintln(t.out)
		if n == 0 {
			fmt.Fprintln(t.out, words.Say("cli.trace-"+head)+": "+words.Say("cli.trace-none"))
			return
		}
		fmt.Fprintln(t.out, words.Say("cli.trace-"+head))
		for i := range n {
			fmt.Fprintln(t.out, "  "+strings.TrimRight(line(i), " "))
		}
	}
	list("blocks", len(d.Blocks), func(i int) string { return d.Blocks[i].Block + "  " + d.Blocks[i].Name })
	list("picks", len(d.Picks), func(i int) string {
		p, trees := d.Picks[i], ""
		if len(p.Trees) > 0 {
			trees = words.Say("cli.trace-trees", "trees", strings.Join(p.Trees, ", ")) + "  "
		}
		return words.Say("cli.trace-pick", "time", p.Time, "blocks", strings.Join(p.Blocks, ", "), "kg", inKg(p.Kg), "trees", trees, "id", p.ID)
	})
	list("sprays", len(d.Sprays), func(i int) string {
		s := d.Sprays[i]
		days := words.Say("cli.trace-no-days")
		if s.DaysBefore != nil {
			days = words.Say("cli.trace-days", "days", *s.DaysBefore)
		}
		return words.Say("cli.trace-spray", "ended", s.Ended, "products", strings.Join(s.Products, ", "), "blocks", strings.Join(s.Blocks, ", "), "days", days, "hold", string(s.Hold))
	})
	unit := func(units []trails.UnitLine) func(i int) string {
		return func(i int) string {
			u := units[i]
			from := strings.Join(u.From, ", ")
			if len(u.From) > 3 {
				from = words.Say("cli.trace-more", "list", strings.Join(u.From[:3], ", "), "n", len(u.From)-3)
			}
			return words.Say("cli.trace-unit", "code", u.Lot+u.Delivery, "date", u.Date, "product", u.Product, "from", from)
		}
	}
	list("lots", len(d.Lots), unit(d.Lots))
	list("deliveries", len(d.Deliveries), unit(d.Deliveries))
	out := func(lines []trails.OutLine) func(i int) string {
		return func(i int) string {
			o := lines[i]
			return words.Say("cli.trace-out", "date", o.Date, "how", words.Say("cli.trace-how-"+string(o.How)), "party", o.Party, "kg", inKg(o.Kg), "from", o.Of, "words", o.Words)
		}
	}
	list("shipments", len(d.Shipments), out(d.Shipments))
	if len(d.Back) > 0 {
		list("back", len(d.Back), out(d.Back))
	}
	if len(d.Stood) > 0 {
		list("stood", len(d.Stood), func(i int) string { return d.Stood[i].Date + "  " + d.Stood[i].Kind + "  " + d.Stood[i].Record })
	}
	t.missing(d.Missing)
	fmt.Fprintln(t.out)
	t.mass(d.Mass)
	for _, h := range d.Held {
		t.say("cli.trace-held", "code", h.Lot+h.Delivery)
	}
	for _, note := range d.Notes {
		fmt.Fprintln(t.out, note)
	}
	percent := words.Say("cli.trace-no-percent")
	if d.Mass.Percent != nil {
		percent = words.Say("cli.trace-percent", "percent", units.FormatNumber(*d.Mass.Percent))
	}
	seconds := fmt.Sprintf("%.3f", d.Seconds)
	if d.Drill != nil {
		t.say("cli.trace-drill", "id", d.Drill.Record, "seconds", seconds, "percent", percent)
		verdict := words.Say("cli.trace-outside")
		if d.Drill.Within {
			verdict = words.Say("cli.trace-within")
		}
		t.say("cli.trace-limits", "minutes", d.Drill.Limits.Minutes, "percent", d.Drill.Limits.Percent, "verdict", verdict)
	} else {
		t.say("cli.trace-seconds", "seconds", seconds)
	}
	fmt.Fprintln(t.out)
	fmt.Fprintln(t.out, d.Caution)
}

// missing prints what records lack, record by record.
func (t *terminal) missing(list []trails.Missing) {
	fmt.Fprintln(t.out)
	if len(list) == 0 {
		fmt.Fprintln(t.out, words.Say("cli.trace-missing")+": "+words.Say("cli.trace-nothing"))
		return
	}
	fmt.Fprintln(t.out, words.Say("cli.trace-missing"))
	for i, m := range list {
		if i == 0 || list[i-1].Record != m.Record {
			fmt.Fprintln(t.out, "  "+words.Say("cli.trace-missing-of", "event", words.Say("trace.event-"+m.Event), "record", m.Record))
		}
		element := words.Say("trace.element-" + m.Element)
		if m.Part == "" {
			fmt.Fprintln(t.out, "    "+words.Say("cli.trace-missing-line", "element", element, "rule", m.Rule))
			continue
		}
		var parts []string
		for _, p := range strings.Split(m.Part, ", ") {
			parts = append(parts, words.Say("trace.part-"+p))
		}
		fmt.Fprintln(t.out, "    "+words.Say("cli.trace-missing-part", "element", element, "rule", m.Rule, "part", strings.Join(parts, ", ")))
	}
}

// mass prints a balance.
func (t *terminal) mass(m trails.Mass) {
	books, percent := "", words.Say("cli.trace-no-percent")
	if m.OnHandFrom == "books" {
		books = " (" + words.Say("cli.trace-books") + ")"
	}
	if m.Percent != nil {
		percent = words.Say("cli.trace-percent", "percent", units.FormatNumber(*m.Percent))
	}
	n := units.FormatNumber
	t.say("cli.trace-mass", "in", n(m.In), "out", n(m.Out), "hand", n(m.OnHand), "books", books, "culled", n(m.Culled), "samples", n(m.Samples),
		"written", n(m.WrittenOff), "shrink", n(m.Shrink))
	t.say("cli.trace-unaccounted", "kg", n(m.Unaccounted), "percent", percent)
	if m.Unaccounted < 0 {
		t.say("cli.trace-over")
	}
	if m.Ours != nil && m.Packers != nil {
		t.say("cli.trace-two-weights", "ours", n(*m.Ours), "packers", n(*m.Packers))
	}
}

func inKg(kg *float64) string {
	if kg == nil {
		return words.Say("cli.trace-no-kg")
	}
	return words.Say("cli.trace-kg", "kg", units.FormatNumber(*kg))
}

type traceSheetCommand struct {
	asked
	paged
	Lot       []string `help:"${cli_trace_sheet_lot}" placeholder:"LOT"`
	From      string   `help:"${cli_report_from}" placeholder:"DATE"`
	To        string   `help:"${cli_report_to}" placeholder:"DATE"`
	Commodity string   `help:"${cli_trace_sheet_commodity}" placeholder:"NAME"`
}

func (c *traceSheetCommand) Run(ctx context.Context, t *terminal) (int, error) {
	return c.make(ctx, t, app.ReportRequest{Asked: t.asked(c.asked), Kind: "trace-sheet", Lots: c.Lot, From: c.From, To: c.To, Commodity: c.Commodity})
}
