package main

import (
	"context"
	"fmt"
	"strings"

	"latewood/events/units"
	"latewood/events/words"
	"latewood/projections/holds"
	"latewood/projections/weather"
	"latewood/projections/yields"
	"latewood/services/internal/app"
	"latewood/services/report"
)

type statusCommand struct {
	asked
	On string `help:"${cli_on}" placeholder:"DATE"`
}

func (s *statusCommand) Run(ctx context.Context, t *terminal) (int, error) {
	return ask(ctx, t, "status", app.StatusRequest{Asked: t.asked(s.asked), On: s.On}, t.status)
}

// status prints how every block stands.
func (t *terminal) status(d app.Status) {
	t.say("cli.status-head", "farm", d.Name, "on", d.On)
	if len(d.Blocks) == 0 {
		t.say("cli.status-empty")
	}
	rows := make([][]string, len(d.Blocks))
	for i, b := range d.Blocks {
		stage := b.Stage
		if b.StageSince != "" {
			stage += " " + b.StageSince
		}
		if stage != "" && b.StageFrom != "" {
			stage += " (" + words.Say("cli.stage-"+b.StageFrom) + ")"
		}
		rows[i] = []string{b.Block, fmt.Sprint(b.Trees), cultivars(b.Cultivars), dash(b.LastPrune), dash(stage), d.Running[b.Block].Pick, d.Running[b.Block].Enter, fmt.Sprint(d.Flags[b.Block])}
	}
	t.table(heads("block", "trees", "cultivars", "last-prune", "stage", "pick", "enter", "flags"), rows)
	for _, b := range d.Blocks {
		for _, due := range b.Due {
			t.say("cli.status-due", "block", b.Block, "due", due)
		}
	}
	t.lacking(d.Lacking)
	fmt.Fprintln(t.out)
	t.say("holds.caution")
	if d.Held.Lots+d.Held.Deliveries > 0 {
		t.say("cli.status-held", "lots", d.Held.Lots, "loads", d.Held.Deliveries)
	}
	if d.OtherFlags > 0 {
		t.say("cli.status-other-flags", "n", d.OtherFlags)
	}
	t.sensors(d.Sensors, listedInStatus)
	t.root(d.Size, d.Root, d.Sealed)
	t.say("cli.status-disk", "backup", d.BackupWords, "free", gigabytes(d.FreeBytes))
	if d.BackupOld != "" {
		fmt.Fprintln(t.out, d.BackupOld)
	}
}

func cultivars(m map[string]int) string {
	var parts []string
	for _, name := range sortedKeys(m) {
		parts = append(parts, fmt.Sprintf("%s %d", name, m[name]))
	}
	return dash(strings.Join(parts, ", "))
}

func gigabytes(n int64) string { return fmt.Sprintf("%.1f GB", float64(n)/1e9) }

type holdsCommand struct {
	asked
	At string `help:"${cli_holds_at}" placeholder:"T"`
}

func (h *holdsCommand) Run(ctx context.Context, t *terminal) (int, error) {
	return ask(ctx, t, "holds", app.HoldsRequest{Asked: t.asked(h.asked), At: h.At}, func(d app.Holds) {
		t.holds(d.Doc)
		t.heldFruit(d)
	})
}

// holds prints which intervals run, and why.
func (t *terminal) holds(d holds.Doc) {
	t.say("cli.holds-head", "at", d.At)
	fmt.Fprintln(t.out)
	rows := make([][]string, 0, len(d.Blocks))
	for _, b := range d.Blocks {
		rows = append(rows, holdRow(b.Block, b.Pick, b.Enter))
		for _, p := range b.Parts {
			rows = append(rows, holdRow("  "+partText(p), p.Pick, p.Enter))
		}
	}
	t.table(heads("block", "pick", "from", "enter", "from"), rows)
	for _, b := range d.Blocks {
		for _, line := range because(b) {
			fmt.Fprintln(t.out, line)
		}
	}
	for _, h := range d.Heard {
		t.say("cli.heard", "device", h.Device, "last", dash(h.Last), "waiting", h.Waiting)
	}
	fmt.Fprintln(t.out)
	fmt.Fprintln(t.out, d.Caution)
}

func holdRow(name string, pick, enter holds.Hold) []string {
	return []string{name, holdWord(pick), opens(pick), holdWord(enter), opens(enter)}
}

// holdWord is the status in words.
func holdWord(h holds.Hold) string { return words.Say("holds.status-" + string(h.Status)) }

// opens is when the recorded interval ends or ended, or when a plan closes; the times of an answer have the farm's offset.
func opens(h holds.Hold) string {
	switch {
	case h.From != "" && h.Status == holds.RunOut:
		return words.Say("cli.ended", "at", clock(h.From))
	case h.From != "":
		return clock(h.From)
	case h.Closes != "":
		return words.Say("cli.closes", "at", clock(h.Closes))
	}
	return "–"
}

// clock shortens a time to day, hour and minute, in the offset that it has.
func clock(text string) string {
	if len(text) < len("2006-01-02T15:04") {
		return text
	}
	return text[:10] + " " + text[11:16]
}

func partText(p holds.Part) string {
	var parts []string
	if len(p.Rows) > 0 {
		parts = append(parts, words.Say("cli.rows", "rows", strings.Join(p.Rows, " ")))
	}
	if n := len(p.Trees); n > 0 {
		trees := strings.Join(first(p.Trees, 3), " ")
		if n > 3 {
			trees += " " + words.Say("cli.more", "n", n-3)
		}
		parts = append(parts, trees)
	}
	return strings.Join(parts, ", ")
}

// because lists why a block is not open, each line once.
func because(b holds.BlockHolds) []string {
	var out []string
	seen := map[string]bool{}
	for _, hold := range []struct {
		what string
		h    holds.Hold
	}{{words.Say("table.pick"), b.Pick}, {words.Say("table.enter"), b.Enter}} {
		for _, why := range hold.h.Because {
			line := fmt.Sprintf("  %s, %s: %s", b.Block, hold.what, why.Why)
			if !seen[line] {
				seen[line] = true
				out = append(out, line)
			}
		}
	}
	return out
}

type reportCommand struct {
	Yield   yieldCommand   `cmd:"" help:"${cli_report_yield}"`
	Weather weatherCommand `cmd:"" help:"${cli_report_weather}"`
	Reviews reviewsCommand `cmd:"" help:"${cli_report_reviews}"`
	Flags   flagsCommand   `cmd:"" help:"${cli_report_flags}"`

	Sprays       spraysCommand      `cmd:"" help:"${cli_report_sprays}"`
	Posting      postingCommand     `cmd:"" help:"${cli_report_posting}"`
	CustomerCopy copyCommand        `cmd:"" help:"${cli_report_customer_copy}"`
	Ingredients  ingredientsCommand `cmd:"" help:"${cli_report_ingredients}"`
	Exposure     exposureCommand    `cmd:"" help:"${cli_report_exposure}"`
	TraceSheet   traceSheetCommand  `cmd:"" help:"${cli_report_trace_sheet}"`
}

type yieldCommand struct {
	asked
	shown
	Season string `help:"${cli_season}" placeholder:"S"`
	By     string `help:"${cli_report_by}" enum:"tree,block,cultivar" default:"tree"`
}

func (y *yieldCommand) Run(ctx context.Context, t *terminal) (int, error) {
	q := app.YieldRequest{Asked: t.asked(y.asked), Season: y.Season, By: y.By}
	return tabled(ctx, t, "yield", q, &y.shown, t.yield, yieldTable)
}

// yield prints the seasons of the blocks, and how many trees have an index.
func (t *terminal) yield(d yields.Doc) {
	if len(d.Rows) == 0 && len(d.Blocks) == 0 {
		t.say("cli.yield-empty")
		return
	}
	rows := make([][]string, len(d.Blocks))
	for i, b := range d.Blocks {
		rows[i] = []string{b.Block, string(b.Season), number(b.Kg, 1), number(b.KgPerTree, 1), number(b.KgPerHa, 0), fmt.Sprint(b.BearingTrees)}
	}
	t.table(heads("block", "season", "kg", "kg-per-tree", "kg-per-ha", "bearing-trees"), rows)
	with := 0
	for _, tree := range d.Trees {
		if tree.I != nil {
			with++
		}
	}
	t.say("cli.yield-trees", "rows", len(d.Rows), "n", with)
	for _, n := range d.Notes {
		fmt.Fprintln(t.out, n)
	}
	for _, w := range first(d.WithoutKg, shownRows) {
		t.say("cli.yield-without", "pick", w.Pick, "why", w.Why)
	}
}

func yieldTable(d yields.Doc) report.Table {
	t := columns("season", "block", "tree", "cultivar", "kg#", "picks#", "age_years#", "basis")
	for _, r := range d.Rows {
		age := report.Cell{}
		if r.AgeYears != nil {
			age = report.Count(*r.AgeYears)
		}
		t.Add(report.Text(string(r.Season)), report.Text(r.Block), report.Text(r.Tree), report.Text(r.Cultivar), whole(r.Kg), report.Count(r.Picks), age, report.Text(string(r.Basis)))
	}
	return t
}

func number(f *float64, digits int) string {
	if f == nil {
		return "–"
	}
	return fmt.Sprintf("%.*f", digits, *f)
}

type weatherCommand struct {
	asked
	shown
	Station  string    `help:"${cli_weather_station}" placeholder:"CODE"`
	From     string    `help:"${cli_weather_from}" placeholder:"DATE"`
	To       string    `help:"${cli_weather_to}" placeholder:"DATE"`
	By       string    `help:"${cli_report_period}" enum:"day,month" default:"month"`
	Base     *float64  `help:"${cli_weather_base}" placeholder:"C"`
	Upper    *float64  `help:"${cli_weather_upper}" placeholder:"C"`
	Below    []float64 `help:"${cli_weather_below}" placeholder:"C"`
	MinBelow []float64 `help:"${cli_weather_min_below}" placeholder:"C"`
	MaxBelow []float64 `help:"${cli_weather_max_below}" placeholder:"C"`
	With     []string  `help:"${cli_weather_with}"`
	Method   string    `help:"${cli_weather_method}" placeholder:"M"`
	MaxGap   string    `help:"${cli_weather_gap}" placeholder:"2h"`
}

func (w *weatherCommand) Run(ctx context.Context, t *terminal) (int, error) {
	q := app.WeatherRequest{
		Asked: t.asked(w.asked), Station: w.Station, From: w.From, To: w.To, By: w.By, Base: w.Base, Upper: w.Upper,
		Below: w.Below, MinBelow: w.MinBelow, MaxBelow: w.MaxBelow, With: w.With, Method: w.Method, MaxGap: w.MaxGap,
	}
	return tabled(ctx, t, "weather", q, &w.shown, t.weather, weatherTable)
}

func (t *terminal) weather(d weather.Doc) {
	if len(d.Rows) == 0 {
		t.say("cli.weather-empty")
		return
	}
	rows := make([][]string, len(d.Rows))
	for i, r := range d.Rows {
		rows[i] = []string{
			r.Station, r.Period, fmt.Sprint(r.Days), fmt.Sprintf("%.0f of %.0f", r.CoveredHours, r.Hours),
			number(r.HoursBelow20, 1), number(r.DegreeDays.Value, 1), number(r.MinC, 1), number(r.MaxC, 1), number(r.RainMm, 1),
		}
	}
	t.table(heads("station", "period", "days", "covered", "below-20", "degree-days", "min-c", "max-c", "rain-mm"), rows)
	t.say("cli.weather-by", "method", d.Rows[0].DegreeDays.Method, "base", units.FormatNumber(d.Rows[0].DegreeDays.Base))
	for _, n := range d.Notes {
		fmt.Fprintln(t.out, n)
	}
}
