package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"

	"latewood/events/units"
	"latewood/events/words"
	"latewood/services/internal/app"
	"latewood/services/serve"
)

func (t *terminal) asked(a asked) app.Asked {
	return app.Asked{Farm: t.global.Farm, KnownBy: a.KnownBy, KnownByClaim: a.KnownByClaim}
}

type showCommand struct {
	asked
	ID string `arg:"" help:"${cli_show_id}"`
}

func (s *showCommand) Run(ctx context.Context, t *terminal) (int, error) {
	return ask(ctx, t, "show", app.ShowRequest{Asked: t.asked(s.asked), ID: s.ID}, func(d app.Shown) {
		t.say("cli.show-head", "kind", d.Kind, "id", d.ID)
		switch {
		case !d.Stands:
			t.say("cli.show-withdrawn")
		case len(d.Versions) > 1:
			t.say("cli.show-versions", "n", len(d.Versions))
		}
		for _, v := range d.Versions {
			fmt.Fprintln(t.out)
			mark := ""
			if v.Counts {
				mark = words.Say("cli.show-counts")
			}
			t.say("cli.show-version", "what", words.Say("cli.version-"+v.What), "place", v.Place, "mark", mark)
			t.pairs(
				"id", v.ID, "follows", v.Follows, "type", v.Type, "time", v.Time, "recorded", v.RecordedTime, "noted", v.NotedTime,
				"actor", who(v.Actor, d.People), "by", who(v.By, d.People), "source", v.Source, "batch", v.Batch, "reason", v.Reason, "leaf", v.Leaf, "proof", proven(v),
				"chains", strings.ReplaceAll(v.Chains, ", ", "\n"), "data", string(v.Data),
			)
			switch {
			case len(v.Moves) > 0:
				t.moveTable("  "+words.Say("cli.show-moves", "n", len(v.Moves)), v.Moves)
			case v.What != "recorded":
				t.under(1, "cli.show-moves-none")
			}
		}
		t.terms(d)
		if len(d.Missing) > 0 {
			fmt.Fprintln(t.out)
			t.say("report.missing-head", "n", len(d.Missing))
			for _, m := range d.Missing {
				fmt.Fprintln(t.out, "  "+m.Words)
			}
		}
		t.files(d.Attachments)
		if len(d.Flags) > 0 {
			fmt.Fprintln(t.out)
			t.flagged(d.Flags)
		}
		fmt.Fprintln(t.out)
		t.root(d.Size, d.Root, d.Sealed)
	})
}

// proven says what shows that a version stands where it stands; the proof itself is in the JSON.
func proven(v app.Version) string {
	if v.Proof == "" {
		return words.Say("cli.show-unproven")
	}
	return words.Say("cli.show-proof", "hashes", v.Hashes, "size", v.Under)
}

// pairs prints names from the catalogue (field.NAME) with their values, one a line, without the empty ones.
func (t *terminal) pairs(pairs ...string) {
	width := 0
	for i := 0; i < len(pairs); i += 2 {
		if pairs[i+1] != "" {
			width = max(width, len(words.Say("field."+pairs[i])))
		}
	}
	for i := 0; i < len(pairs); i += 2 {
		for n, line := range strings.Split(pairs[i+1], "\n") {
			name := words.Say("field." + pairs[i])
			if n > 0 {
				name = ""
			}
			if line != "" {
				fmt.Fprintf(t.out, "  %-*s  %s\n", width, name, line)
			}
		}
	}
}

func firstError(errs ...error) error {
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return nil
}

// output is where a document goes: a file if one is named, written beside and put in place whole, else the terminal.
func (t *terminal) output(path string) (io.Writer, func(keep bool) error, error) {
	return t.outputTo(path, true)
}

// outputTo is output; without force a file that is there already stays as it is, and nothing is begun.
func (t *terminal) outputTo(path string, force bool) (io.Writer, func(keep bool) error, error) {
	if path == "" || path == "-" {
		return t.out, func(bool) error { return nil }, nil
	}
	there := func() error {
		if _, err := os.Lstat(path); err == nil && !force {
			return &serve.Fault{Exit: 1, Text: words.Say("out.there", "file", path)}
		}
		return nil
	}
	if err := there(); err != nil {
		return nil, nil, err
	}
	// A name of its own: two that write the same file do not write into one another.
	f, err := os.OpenFile(fmt.Sprintf("%s.%d.part", path, os.Getpid()), os.O_CREATE|os.O_TRUNC|os.O_WRONLY, 0o666)
	if err != nil {
		return nil, nil, &serve.Fault{Exit: 1, Text: words.Say("cli.no-write", "file", path), Err: err}
	}
	return f, func(keep bool) error {
		var err error
		if keep {
			err = f.Sync() // if we crash behind the rename, the file is whole
		}
		err = firstError(err, f.Close())
		if err == nil && keep {
			if err := there(); err != nil { // it came while we wrote
				_ = os.Remove(f.Name())
				return err
			}
			err = os.Rename(f.Name(), path)
		}
		if err != nil || !keep {
			_ = os.Remove(f.Name())
		}
		if err != nil {
			return &serve.Fault{Exit: 1, Text: words.Say("cli.no-write", "file", path), Err: err}
		}
		return nil
	}, nil
}

type settingsCommand struct {
	asked
	Name   string `arg:"" optional:"" help:"${cli_settings_name}"`
	Adopt  string `help:"${cli_settings_adopt}" placeholder:"VALUE"`
	Unit   string `help:"${cli_settings_unit}" placeholder:"UNIT"`
	From   string `help:"${cli_settings_from}" placeholder:"DATE"`
	Reason string `help:"${cli_settings_reason}"`
	On     string `help:"${cli_on}" placeholder:"DATE"`
	Limits bool   `help:"${cli_settings_limits}"`
}

func (s *settingsCommand) Run(ctx context.Context, t *terminal) (int, error) {
	if s.Adopt != "" && s.Name == "" {
		return 2, &serve.Fault{Exit: 2, Text: words.Say("cli.settings-which")}
	}
	q := app.SettingsRequest{Asked: t.asked(s.asked), Name: s.Name, Adopt: s.Adopt, Unit: s.Unit, From: s.From, Reason: s.Reason, On: s.On, Limits: s.Limits}
	return ask(ctx, t, "settings", q, func(d app.Settings) {
		if d.Recorded != nil {
			t.recorded(*d.Recorded)
		}
		if s.Limits {
			t.limits(d.Limits)
			return
		}
		rows := make([][]string, len(d.Settings))
		for i, x := range d.Settings {
			rows[i] = []string{x.Name, text(x.Value), x.Unit, text(x.Default), x.Means}
		}
		t.table(heads("setting", "value", "unit", "default", "means"), rows)
		if s.Name != "" {
			for _, x := range d.Settings {
				t.say("cli.settings-source", "source", x.Source, "read", dash(x.Read))
			}
		}
	})
}

// limits prints what readings are held against, and where each number is from.
func (t *terminal) limits(limits []app.Limit) {
	var sources []string
	source := func(text string) string {
		if text == "" {
			return ""
		}
		if !slices.Contains(sources, text) {
			sources = append(sources, text)
		}
		return fmt.Sprintf("[%d]", slices.Index(sources, text)+1)
	}
	rows := make([][]string, len(limits))
	for i, l := range limits {
		rows[i] = []string{l.Variable, l.Unit, units.FormatNumber(*l.Low), units.FormatNumber(*l.High)}
		for n := range 6 {
			step := "–"
			if n < len(l.Steps) {
				step = units.FormatNumber(l.Steps[n])
			}
			rows[i] = append(rows[i], step)
		}
		rows[i] = append(rows[i], source(l.Source)+source(l.StepSource))
	}
	t.table(heads("variable", "unit", "low", "high", "step-minute", "step-1", "step-2", "step-3", "step-6", "step-12", "from"), rows)
	for i, text := range sources {
		fmt.Fprintf(t.out, "[%d] %s\n", i+1, text)
	}
	t.say("cli.limits-kept")
}

// text shows a value of a document.
func text(v any) string {
	if v == nil {
		return "–"
	}
	return fmt.Sprint(v)
}
