package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"latewood/events/words"
	"latewood/projections/yields"
	"latewood/services/internal/app"
	"latewood/services/internal/demo"
)

type demoCommand struct {
	Once bool `help:"${cli_demo_once}"`
}

// demoSeed makes the orchard the same for everybody.
const demoSeed = 2026

// Run opens the invented orchard and does the main job before the user's eyes.
func (d *demoCommand) Run(ctx context.Context, t *terminal) (int, error) {
	dir := t.global.Dir
	if dir == "" {
		var err error
		if dir, err = os.MkdirTemp("", "latewood-demo-*"); err != nil {
			return 1, err
		}
		if d.Once {
			defer os.RemoveAll(dir)
		}
	}
	a, err := app.OpenSoon(ctx, app.Options{Dir: dir, Logger: t.logger()})
	if err != nil {
		return 1, err
	}
	t.say("demo.intro", "dir", dir)
	err = d.show(ctx, t, a, dir)
	if err == nil && !d.Once {
		t.say("demo.stays", "dir", dir)
		err = a.Serve(ctx, "127.0.0.1:0", func(address string) { t.say("cli.running", "dir", dir, "address", address) })
	}
	if err = errors.Join(err, a.Close()); err != nil {
		return 1, err
	}
	if !d.Once {
		t.say("cli.stopped")
	}
	return 0, nil
}

func (d *demoCommand) show(ctx context.Context, t *terminal, a *app.App, dir string) error {
	made := filepath.Join(dir, "demo-files")
	if err := os.MkdirAll(made, 0o700); err != nil {
		return err
	}
	files, err := demo.Write(made, demoSeed)
	if err != nil {
		return err
	}
	t.head("demo.import")
	started := time.Now()
	imp := &importCommand{quiet: true}
	total := 0
	for _, f := range files {
		var all app.Recorded
		q := app.ImportRequest{Farm: demo.Code, As: f.As, Station: f.Station, Name: f.Name}
		if _, err := imp.one(ctx, t, a, q, filepath.Join(made, f.Name), &all); err != nil {
			return err
		}
		total += all.Recorded
		if len(all.Refused) > 0 {
			return fmt.Errorf("demo: %s: %d rows refused", f.Name, len(all.Refused))
		}
	}
	t.say("demo.imported", "n", total, "seconds", fmt.Sprintf("%.1f", time.Since(started).Seconds()))
	noon := demo.Today.String() + "T12:00:00-10:00"
	t.head("demo.status")
	if _, err := askOn(ctx, t, a, "status", app.StatusRequest{On: demo.Today.String()}, t.status); err != nil {
		return err
	}
	t.head("demo.holds", "at", noon)
	if _, err := askOn(ctx, t, a, "holds", app.HoldsRequest{At: noon}, t.holds); err != nil {
		return err
	}
	t.head("demo.forecast")
	if _, err := askOn(ctx, t, a, "forecast", app.ForecastRequest{On: demo.Today.String(), Quick: true}, t.forecast); err != nil {
		return err
	}
	t.head("demo.yields")
	if _, err := askOn(ctx, t, a, "yield", app.YieldRequest{}, func(doc yields.Doc) { t.trees(doc) }); err != nil {
		return err
	}
	if t.json {
		return nil
	}
	t.head("demo.next")
	if d.Once && t.global.Dir == "" { // the folder goes when this ends
		dir = "tern-hollow"
		t.say("demo.keep", "dir", dir)
	}
	t.say("demo.try", "dir", dir)
	return nil
}

// head prints a heading.
//
//words:say
func (t *terminal) head(key string, pairs ...any) {
	if t.json {
		return
	}
	text := words.Say(key, pairs...) //words:keys demo
	if f, ok := t.out.(*os.File); ok && isTerminal(f) {
		text = "\x1b[1m" + text + "\x1b[0m"
	}
	fmt.Fprintf(t.out, "\n%s\n\n", text)
}
