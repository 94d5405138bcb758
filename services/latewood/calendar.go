package main

import (
	"context"

	"latewood/services/internal/app"
)

type calendarCommand struct {
	asked
	Output string `short:"o" help:"${cli_output}" placeholder:"FILE"`
	Force  bool   `help:"${cli_force}"`
}

func (c *calendarCommand) Run(ctx context.Context, t *terminal) (int, error) {
	ask := calls(t, "calendar", app.CalendarRequest{Asked: t.asked(c.asked)})
	return written(ctx, t, ask, file{c.Output, false, c.Force, "orchard.ics"}, func(d app.Calendared) {
		if c.Output != "" && c.Output != "-" {
			t.tell("cli.calendar-done", "n", d.Entries, "file", c.Output)
		}
	})
}
