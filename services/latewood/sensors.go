package main

import (
	"context"
	"fmt"
	"time"

	"latewood/events/words"
	"latewood/services/internal/app"
	"latewood/services/serve"
)

type sensorsCommand struct {
	Refused refusedCommand `cmd:"" default:"1" help:"${cli_sensors_refused}"`
	TakeIn  takeInCommand  `cmd:"" name:"take-in" help:"${cli_sensors_take_in}"`
	Dismiss dismissCommand `cmd:"" help:"${cli_sensors_dismiss}"`
}

type refusedCommand struct{}

// Run lists what stations sent and what was not taken in.
func (*refusedCommand) Run(ctx context.Context, t *terminal) (int, error) {
	return ask(ctx, t, "sensors", app.SensorsRequest{}, func(d app.SensorsDoc) {
		t.sensors(&d.Sensors, len(d.Refused))
		for _, l := range d.LeftOut {
			t.say("cli.sensors-left-out", "station", l.Station, "name", l.Name, "n", l.Times, "why", l.Why)
		}
		if len(d.Refused) == 0 {
			t.say("cli.sensors-none")
		}
	})
}

// messages say which messages of the list are meant.
type messages struct {
	Seq     []uint64 `arg:"" optional:"" help:"${cli_sensors_seq}" name:"number"`
	All     bool     `help:"${cli_sensors_all}"`
	Station string   `help:"${cli_sensors_station}" placeholder:"CODE"`
}

// wrong says why nobody can tell which.
func (m *messages) wrong() error {
	if (len(m.Seq) > 0) == (m.All || m.Station != "") {
		return &serve.Fault{Exit: 2, Text: words.Say("cli.sensors-which")}
	}
	return nil
}

// all is what the request says of the whole list: what is to be done with it, or nothing.
func (m *messages) all(what string) string {
	if m.All || m.Station != "" {
		return what
	}
	return ""
}

type takeInCommand struct {
	messages
	Shift string `help:"${cli_sensors_shift}" placeholder:"1h"`
}

// Run takes in messages that were refused.
func (c *takeInCommand) Run(ctx context.Context, t *terminal) (int, error) {
	if err := c.wrong(); err != nil {
		return 2, err
	}
	q := app.SensorsRequest{TakeIn: c.Seq, All: c.all(app.AllTakeIn), Station: c.Station, Shift: c.Shift}
	return ask(ctx, t, "sensors", q, func(d app.SensorsDoc) {
		t.say("cli.sensors-taken", "recorded", d.Recorded, "known", d.Known)
		t.notTakenIn(d.Not)
	})
}

type dismissCommand struct{ messages }

// Run takes messages off the list.
func (c *dismissCommand) Run(ctx context.Context, t *terminal) (int, error) {
	if err := c.wrong(); err != nil {
		return 2, err
	}
	q := app.SensorsRequest{Dismiss: c.Seq, All: c.all(app.AllDismiss), Station: c.Station}
	return ask(ctx, t, "sensors", q, func(d app.SensorsDoc) {
		t.say("cli.sensors-dismissed", "n", d.Dismissed)
		t.notTakenIn(d.Not)
	})
}

func (t *terminal) notTakenIn(not []app.NotTakenIn) {
	for _, n := range not {
		t.say("cli.sensors-not", "seq", n.Seq, "why", withInstead(n.Why, n.Instead))
	}
}

// listedInStatus is how many refused messages status shows; the rest is counted.
const listedInStatus = 5

// sensors prints what stations sent that is not in the ledger, at most so many messages.
func (t *terminal) sensors(s *app.Sensors, most int) {
	if s == nil {
		return
	}
	if s.Address != "" && s.Counts != nil {
		t.say("cli.sensors-head", "address", s.Address, "messages", s.Counts.Messages, "recorded", s.Counts.Recorded)
		if s.Counts.Late > 0 {
			t.say("cli.sensors-late", "n", s.Counts.Late, "by", (time.Duration(s.Counts.MostLate) * time.Second).String())
		}
		if s.Counts.Lost > 0 {
			t.say("cli.sensors-lost", "n", s.Counts.Lost)
		}
	}
	if s.Unseen > 0 {
		t.say("cli.sensors-unseen", "n", s.Unseen)
	}
	if len(s.Refused) == 0 {
		return
	}
	t.say("cli.sensors-refused-head", "n", len(s.Refused))
	for i, r := range s.Refused {
		if i == most {
			t.indented(words.Say("cli.sensors-more", "n", len(s.Refused)-most))
			break
		}
		t.indented(words.Say("cli.sensors-line", "seq", r.Seq, "station", dash(r.Station), "at", r.At.UTC().Format("2006-01-02T15:04:05Z"), "n", r.Times, "why", r.Why))
		if r.Instead != "" {
			t.indented("  " + r.Instead)
		}
	}
	t.indented(words.Say("cli.sensors-how", "seq", s.Refused[0].Seq))
}

func (t *terminal) indented(text string) { fmt.Fprintf(t.out, "  %s\n", text) }

func withInstead(why, instead string) string {
	if instead == "" {
		return why
	}
	return words.Say("cli.sensors-instead", "why", why, "instead", instead)
}

// leftOut prints which values of a weather archive were not taken.
func (t *terminal) leftOut(d app.Imported) {
	if d.ValuesLeftOut == 0 {
		return
	}
	t.say("cli.import-left", "n", d.ValuesLeftOut)
	for _, r := range first(d.LeftValues, shownRows) {
		what := ""
		if r.Field != "" {
			what = fmt.Sprintf("%s = %v: ", r.Field, r.Value)
		}
		t.indented(fmt.Sprintf("%s:%d: %s%s", r.File, r.Line, what, r.Why))
	}
	if n := d.ValuesLeftOut - shownRows; n > 0 {
		t.indented(words.Say("cli.import-left-more", "n", n))
	}
}
