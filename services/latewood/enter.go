package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"latewood/events"
	"latewood/events/words"
	"latewood/services/internal/app"
	"latewood/services/serve"
)

type openCommand struct {
	Code string  `arg:"" name:"farm-code" help:"${cli_open_code}"`
	Name string  `required:"" help:"${cli_open_name}"`
	Zone string  `required:"" help:"${cli_open_zone}" placeholder:"AREA/PLACE"`
	Lat  float64 `required:"" help:"${cli_open_lat}" placeholder:"DEGREES"`
	Lon  float64 `required:"" help:"${cli_open_lon}" placeholder:"DEGREES"`
}

func (o *openCommand) Run(ctx context.Context, t *terminal) (int, error) {
	q := app.OpenRequest{Farm: o.Code, Name: o.Name, Zone: o.Zone, Latitude: o.Lat, Longitude: o.Lon}
	return ask(ctx, t, "open", q, func(d app.Recorded) {
		t.recorded(d)
		if d.Recorded > 0 {
			t.say("cli.opened", "farm", o.Code)
		}
	})
}

type plantCommand struct {
	Block       string `required:"" help:"${cli_plant_block}"`
	Rows        string `required:"" help:"${cli_plant_rows}" placeholder:"1-20"`
	Positions   string `required:"" help:"${cli_plant_positions}" placeholder:"1-20"`
	Cultivar    string `required:"" help:"${cli_plant_cultivar}"`
	Planted     string `required:"" help:"${cli_plant_planted}" placeholder:"YEAR"`
	Species     string `help:"${cli_plant_species}"`
	Propagation string `help:"${cli_plant_propagation}"`
	Except      string `help:"${cli_plant_except}" placeholder:"TREES"`
}

func (p *plantCommand) Run(ctx context.Context, t *terminal) (int, error) {
	return ask(ctx, t, "plant", app.PlantRequest{
		Farm: t.global.Farm, Block: p.Block, Rows: p.Rows, Positions: p.Positions, Cultivar: p.Cultivar, Planted: p.Planted,
		Species: p.Species, Propagation: p.Propagation, Except: p.Except,
	}, t.recorded)
}

type addCommand struct {
	Kind  string `arg:"" help:"${cli_add_kind}"`
	Time  string `help:"${cli_add_time}" placeholder:"T"`
	Noted string `help:"${cli_add_noted}" placeholder:"T"`
	ID    string `help:"${cli_add_id}" placeholder:"UUID"`
	Data  string `required:"" help:"${cli_add_data}" placeholder:"JSON"`
}

func (a *addCommand) Run(ctx context.Context, t *terminal) (int, error) {
	data := []byte(a.Data)
	if a.Data == "-" {
		var err error
		if data, err = io.ReadAll(io.LimitReader(t.in, events.MaxBytes+1)); err != nil {
			return 1, err
		}
	}
	q := app.AddRequest{Farm: t.global.Farm, Kind: a.Kind, Time: a.Time, Noted: a.Noted, ID: a.ID, Data: string(data)}
	return ask(ctx, t, "add", q, t.recorded)
}

type correctCommand struct {
	ID     string   `arg:"" help:"${cli_correct_id}"`
	Set    []string `required:"" sep:"none" help:"${cli_correct_set}" placeholder:"FIELD=VALUE"`
	Reason string   `required:"" help:"${cli_correct_reason}"`
	Check  bool     `help:"${cli_correct_check}"`
}

func (c *correctCommand) Run(ctx context.Context, t *terminal) (int, error) {
	return t.change(ctx, "correct", c.Check, func(check bool) any {
		return app.CorrectRequest{Farm: t.global.Farm, ID: c.ID, Set: c.Set, Reason: c.Reason, Check: check}
	})
}

type withdrawCommand struct {
	ID     string `arg:"" optional:"" help:"${cli_withdraw_id}"`
	Batch  string `help:"${cli_withdraw_batch}" placeholder:"ID"`
	Reason string `required:"" help:"${cli_correct_reason}"`
	Check  bool   `help:"${cli_correct_check}"`
}

func (w *withdrawCommand) Run(ctx context.Context, t *terminal) (int, error) {
	if (w.ID == "") == (w.Batch == "") {
		return 2, &serve.Fault{Exit: 2, Text: words.Say("cli.withdraw-which")}
	}
	return t.change(ctx, "withdraw", w.Check, func(check bool) any {
		return app.WithdrawRequest{Farm: t.global.Farm, ID: w.ID, Batch: w.Batch, Reason: w.Reason, Check: check}
	})
}

// change shows what a correction or withdrawal would move, then makes it, unless only the showing was wanted.
func (t *terminal) change(ctx context.Context, name string, only bool, request func(check bool) any) (int, error) {
	return t.with(ctx, func(c app.Connection) (int, error) {
		return t.changeOn(ctx, c, name, only, request)
	})
}

func (t *terminal) changeOn(ctx context.Context, c app.Connection, name string, only bool, request func(check bool) any) (int, error) {
	if only {
		return askOn(ctx, t, c, name, request(true), t.moved)
	}
	if !t.json { // shown before it writes
		document, exit, err := c.Call(ctx, name, request(true), nil, nil)
		var d app.Moved
		if document == nil || exit != 0 {
			if document != nil && events.ReadJSON(document, &d) == nil {
				t.recorded(d.Recorded)
			}
			return exit, err
		}
		if err := events.ReadJSON(document, &d); err != nil {
			return 1, err
		}
		t.moves(d.Moves)
	}
	return askOn(ctx, t, c, name, request(false), func(d app.Moved) { t.recorded(d.Recorded) })
}

func (t *terminal) moved(d app.Moved) {
	t.moves(d.Moves)
	if d.Check && len(d.Refused) == 0 {
		t.say("cli.check-only")
		return
	}
	t.recorded(d.Recorded)
}

func (t *terminal) moves(moves []app.Move) {
	if len(moves) == 0 {
		t.say("cli.moves-nothing")
		return
	}
	t.moveTable(words.Say("cli.moves", "n", len(moves)), moves)
}

func (t *terminal) moveTable(head string, moves []app.Move) {
	fmt.Fprintln(t.out, head)
	rows := make([][]string, len(moves))
	for i, m := range moves {
		rows[i] = []string{m.Of, m.What, dash(m.Before), dash(m.After)}
	}
	t.table(heads("of", "what", "before", "after"), rows)
}

func dash(s string) string {
	if s == "" {
		return "–"
	}
	return s
}

type importCommand struct {
	Files        []string `arg:"" help:"${cli_import_files}" type:"existingfile"`
	As           string   `help:"${cli_import_as}" placeholder:"KIND"`
	Map          string   `help:"${cli_import_map}" placeholder:"MAP"`
	Sheet        string   `help:"${cli_import_sheet}" placeholder:"NAME"`
	Station      string   `help:"${cli_import_station}" placeholder:"CODE"`
	Zone         string   `help:"${cli_import_zone}" placeholder:"AREA/PLACE"`
	Check        bool     `help:"${cli_import_check}"`
	WriteMap     string   `help:"${cli_import_write_map}" placeholder:"FILE"`
	AllOrNothing bool     `help:"${cli_import_all}"`

	quiet bool // leaves out how to undo it
}

func (i *importCommand) Run(ctx context.Context, t *terminal) (int, error) {
	if i.WriteMap != "" && !i.Check {
		return 2, &serve.Fault{Exit: 2, Text: words.Say("cli.write-map-check")}
	}
	mapText := i.Map
	if b, err := os.ReadFile(i.Map); i.Map != "" && err == nil {
		mapText = string(b)
	}
	return t.with(ctx, func(c app.Connection) (int, error) {
		var all app.Recorded
		all.Refused, all.Flagged = []app.Refusal{}, []app.Flagged{}
		exit := 0
		for _, path := range i.Files {
			q := app.ImportRequest{
				Farm: t.global.Farm, As: i.As, Map: mapText, Sheet: i.Sheet, Station: i.Station, Zone: i.Zone, Check: i.Check,
				AllOrNothing: i.AllOrNothing, ProposeMap: i.WriteMap != "", Name: filepath.Base(path),
			}
			code, err := i.one(ctx, t, c, q, path, &all)
			exit = max(exit, code)
			if err != nil {
				return exit, err
			}
		}
		if t.json {
			return exit, t.document(all)
		}
		return exit, nil
	})
}

// one takes one file in and adds its answer to all.
func (i *importCommand) one(ctx context.Context, t *terminal, c app.Connection, q app.ImportRequest, path string, all *app.Recorded) (int, error) {
	f, err := os.Open(path)
	if err != nil {
		return 1, &serve.Fault{Exit: 1, Text: words.Say("cli.no-file", "file", path), Err: err}
	}
	defer f.Close()
	started := time.Now()
	document, exit, err := c.Call(ctx, "import", q, f, func(p []byte) {
		var n app.Progress
		if events.ReadJSON(p, &n) == nil {
			t.progress(q.Name, n.Rows, time.Since(started))
		}
	})
	t.progressEnd()
	if document == nil {
		return exit, err
	}
	var d app.Imported
	if err := events.ReadJSON(document, &d); err != nil {
		return 1, err
	}
	if i.WriteMap != "" && d.Map != "" {
		if err := os.WriteFile(i.WriteMap, []byte(d.Map), 0o644); err != nil {
			return 1, &serve.Fault{Exit: 1, Text: words.Say("cli.no-write", "file", i.WriteMap), Err: err}
		}
		t.tell("cli.map-written", "file", i.WriteMap)
	}
	all.Recorded += d.Recorded.Recorded
	all.Known += d.Known
	all.Refused = append(all.Refused, d.Refused...)
	all.Flagged = append(all.Flagged, d.Flagged...)
	all.Last, all.Root, all.Batch = d.Last, d.Root, d.Batch
	if d.Held != nil {
		if all.Held == nil {
			all.Held = &app.HeldCodes{Lots: []string{}, Deliveries: []string{}}
		}
		all.Held.Lots = append(all.Held.Lots, d.Held.Lots...)
		all.Held.Deliveries = append(all.Held.Deliveries, d.Held.Deliveries...)
	}
	if i.quiet {
		d.Batch = ""
	}
	if !t.json {
		t.imported(q, d)
	}
	return exit, err
}

func (t *terminal) imported(q app.ImportRequest, d app.Imported) {
	for _, p := range d.Preview {
		fmt.Fprintf(t.out, "%s\n", p)
	}
	switch {
	case q.Check:
		t.say("cli.import-checked", "file", q.Name, "recorded", d.Recorded.Recorded, "known", d.Known, "refused", d.Rows(d.Refused))
	default:
		t.say("cli.import-done", "file", q.Name, "recorded", d.Recorded.Recorded, "known", d.Known, "refused", d.Rows(d.Refused))
	}
	t.refusals(d.Refused)
	t.leftOut(d)
	t.flagged(d.Flagged)
	t.held(d.Held)
	if d.Batch != "" {
		t.say("cli.import-undo", "batch", d.Batch)
	}
}

// recorded prints what became of records that were entered by hand.
func (t *terminal) recorded(d app.Recorded) {
	t.refusals(d.Refused)
	if d.Recorded > 0 || d.Known > 0 {
		t.say("cli.recorded", "recorded", d.Recorded, "known", d.Known, "last", d.Last)
		for _, id := range first(d.IDs, 5) {
			t.say("cli.recorded-id", "id", id)
		}
		t.root(d.Last, d.Root, d.Sealed)
	}
	t.flagged(d.Flagged)
	t.held(d.Held)
}

// shownRows is how many refusals or flags are printed before the rest is only counted.
const shownRows = 20

func (t *terminal) refusals(rows []app.Refusal) {
	for _, r := range first(rows, shownRows) {
		where := r.Field
		if r.Column != "" {
			where += " (" + r.Column + ")"
		}
		value := ""
		if r.Value != nil {
			value = fmt.Sprintf(" = %v", r.Value)
		}
		file := r.File
		if r.Sheet != "" {
			file += " (" + r.Sheet + ")"
		}
		fmt.Fprintf(t.errs, "%s:%d: %s%s: %s; %s\n", file, r.Line, where, value, r.Why, r.Instead)
	}
	if n := len(rows) - shownRows; n > 0 {
		t.tell("cli.more-refused", "n", n)
	}
}

func (t *terminal) flagged(flags []app.Flagged) {
	if len(flags) == 0 {
		return
	}
	t.say("cli.flagged", "n", len(flags))
	var todo []string
	for _, f := range first(flags, shownRows) {
		fmt.Fprintf(t.out, "  %s  %s: %s\n", f.ID, f.Flag, f.Why)
		if codes := heldBy(f); codes != "" {
			t.under(2, "cli.flag-holds", "codes", codes)
		}
		if line := f.Flag + ": " + f.Do; f.Do != "" && !slices.Contains(todo, line) {
			todo = append(todo, line)
		}
	}
	if n := len(flags) - shownRows; n > 0 {
		t.say("cli.more-flags", "n", n)
	}
	if len(todo) > 0 {
		t.say("cli.flags-do")
		for _, line := range todo {
			fmt.Fprintf(t.out, "  %s\n", line)
		}
	}
}

// heldBy names the lots and loads that a flag holds.
func heldBy(f app.Flagged) string {
	var out []string
	for _, code := range f.Lots {
		out = append(out, words.Say("lots.lot", "code", code))
	}
	for _, code := range f.Deliveries {
		out = append(out, words.Say("lots.delivery", "code", code))
	}
	return strings.Join(out, ", ")
}

// held says which lots and loads are held by what was recorded.
func (t *terminal) held(h *app.HeldCodes) {
	if h == nil {
		return
	}
	t.say("cli.held-now", "codes", heldBy(app.Flagged{Lots: h.Lots, Deliveries: h.Deliveries}))
	t.say("lots.caution")
}

func first[T any](s []T, n int) []T { return slices.Clone(s[:min(len(s), n)]) }

// A long import is told of every so often where no terminal redraws a line: in the log of a script, a line a row would bury the rest.
const (
	progressEvery = 5 * time.Second
	progressRows  = 50_000
)

// progress shows how far a long import is: on one line of a terminal, else in a line every few seconds or many rows.
func (t *terminal) progress(name string, rows int, took time.Duration) {
	f, ok := t.errs.(*os.File)
	drawn := ok && isTerminal(f)
	if !drawn && took-t.toldAt < progressEvery && rows-t.toldRows < progressRows {
		return
	}
	rate := 0
	if s := took.Seconds(); s > 0 {
		rate = int(float64(rows) / s)
	}
	line := words.Say("cli.progress", "file", name, "rows", rows, "rate", rate)
	if !drawn {
		fmt.Fprintln(t.errs, line)
		t.toldAt, t.toldRows = took, rows
		return
	}
	fmt.Fprintf(t.errs, "\r%s", line)
	t.drawn = true
}

// progressEnd takes the line off the terminal; the next file is told of anew.
func (t *terminal) progressEnd() {
	if t.drawn {
		fmt.Fprint(t.errs, "\r\x1b[K")
	}
	t.drawn, t.toldAt, t.toldRows = false, 0, 0
}

func isTerminal(f *os.File) bool {
	info, err := f.Stat()
	return err == nil && info.Mode()&os.ModeCharDevice != 0
}
