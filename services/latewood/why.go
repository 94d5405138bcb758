package main

import (
	"context"
	"fmt"
	"strings"

	"latewood/events/words"
	"latewood/projections/causes"
	"latewood/services/internal/app"
)

type whyCommand struct {
	asked
	Of     string `arg:"" help:"${cli_why_of}" placeholder:"BLOCK|TREE"`
	Season string `help:"${cli_why_season}" placeholder:"S"`
}

func (w *whyCommand) Run(ctx context.Context, t *terminal) (int, error) {
	return ask(ctx, t, "why", app.WhyRequest{Asked: t.asked(w.asked), Of: w.Of, Season: w.Season}, t.why)
}

// why prints the causes, most first, what was not recorded, and what to look at next.
func (t *terminal) why(d causes.Doc) {
	t.say("cli.why-head", "of", d.Of, "season", d.Season, "verdict", d.Verdict)
	t.say("cli.why-what", "bloom", d.Bloom, "crop", d.Crop)
	fmt.Fprintln(t.out)
	var open []string
	for _, c := range d.Causes {
		if len(c.For)+len(c.Against) == 0 {
			open = append(open, c.Words)
			continue
		}
		t.say("cli.why-cause", "weight", words.Say("causes.weight-"+c.Weight), "words", c.Words)
		for _, text := range c.For {
			fmt.Fprintln(t.out, "    "+words.Say("cli.why-for", "text", text))
		}
		for _, text := range c.Against {
			fmt.Fprintln(t.out, "    "+words.Say("cli.why-against", "text", text))
		}
	}
	if len(open) > 0 {
		t.say("cli.why-rest", "list", strings.Join(open, "; "))
	}
	for _, part := range []struct {
		head string
		list []string
	}{{words.Say("cli.why-missing"), d.Missing}, {words.Say("cli.why-next"), d.Next}} {
		if len(part.list) == 0 {
			continue
		}
		fmt.Fprintln(t.out)
		fmt.Fprintln(t.out, part.head)
		for _, text := range part.list {
			fmt.Fprintln(t.out, "  "+text)
		}
	}
	fmt.Fprintln(t.out)
	fmt.Fprintln(t.out, d.Caution)
}
