package main

import (
	"context"
	"fmt"
	"math"
	"strings"

	"latewood/events/words"
	"latewood/projections/flush"
	"latewood/services/internal/app"
)

type forecastCommand struct {
	asked
	Block string `help:"${cli_forecast_block}" placeholder:"B"`
	On    string `help:"${cli_forecast_on}" placeholder:"DATE"`
	Quick bool   `help:"${cli_forecast_quick}"`
}

func (f *forecastCommand) Run(ctx context.Context, t *terminal) (int, error) {
	q := app.ForecastRequest{Asked: t.asked(f.asked), Block: f.Block, On: f.On, Quick: f.Quick}
	return ask(ctx, t, "forecast", q, func(d flush.Doc) {
		if f.Block != "" {
			t.forecastLong(d)
			return
		}
		t.forecast(d)
		if len(d.Blocks) > 0 {
			t.say("cli.forecast-more")
		}
	})
}

func hundred(share float64) int { return int(math.Round(share * 100)) }

// forecast prints two lines a block: the headline, and when to prune.
func (t *terminal) forecast(d flush.Doc) {
	t.say("cli.forecast-head", "on", d.On)
	if len(d.Blocks) == 0 {
		t.say("cli.forecast-empty")
	}
	fmt.Fprintln(t.out)
	for i := range d.Blocks {
		b := &d.Blocks[i]
		t.say("cli.forecast-line", "block", b.Block, "cultivar", dash(b.Cultivar), "headline", b.Headline)
		t.pruneLine(b)
		for _, o := range b.Outside {
			fmt.Fprintln(t.out, "  "+o.Words)
		}
		if b.Skill != nil && b.Skill.Score != nil {
			fmt.Fprintln(t.out, "  "+b.Skill.Words)
		}
	}
	fmt.Fprintln(t.out)
	fmt.Fprintln(t.out, d.Caution)
}

func (t *terminal) pruneLine(b *flush.Block) {
	if len(b.PruneStretches) > 0 {
		var list []string
		for _, s := range b.PruneStretches {
			list = append(list, words.Say("cli.forecast-stretch", "from", s.From, "to", s.To, "share", hundred(s.Share)))
		}
		fmt.Fprintln(t.out, "  "+words.Say("cli.forecast-prune", "stretches", strings.Join(list, "; ")))
		return
	}
	t.pruneNone(b)
}

func (t *terminal) pruneNone(b *flush.Block) {
	if best := b.BestDay; best != nil {
		fmt.Fprintln(t.out, "  "+words.Say("cli.forecast-prune-none", "percent", hundred(b.Basis.ShareAsked), "season", b.PruneSeason, "day", best.Day,
			"share", hundred(best.Share), "low", hundred(best.Low), "high", hundred(best.High)))
	}
}

// forecastLong prints everything that is known of one block.
func (t *terminal) forecastLong(d flush.Doc) {
	t.say("cli.forecast-head", "on", d.On)
	for i := range d.Blocks {
		b := &d.Blocks[i]
		fmt.Fprintln(t.out)
		t.say("cli.forecast-line", "block", b.Block, "cultivar", dash(b.Cultivar), "headline", b.Headline)
		t.forecastClock(b)
		t.forecastStretches(b)
		for _, o := range b.Outside {
			fmt.Fprintln(t.out, "  "+o.Words)
		}
		for _, n := range b.Notes {
			fmt.Fprintln(t.out, "  "+n)
		}
		t.forecastBasis(b)
	}
	fmt.Fprintln(t.out)
	fmt.Fprintln(t.out, d.Caution)
}

func (t *terminal) forecastClock(b *flush.Block) {
	say := func(key string, pairs ...any) { fmt.Fprintln(t.out, "  "+words.Say(key, pairs...)) } //words:keys cli.forecast
	if b.Stage != "" {
		from := words.Say("cli.stage-" + b.StageFrom)
		if b.StageSince != "" {
			say("cli.forecast-stage-since", "stage", b.Stage, "since", b.StageSince, "from", from)
		} else {
			say("cli.forecast-stage", "stage", b.Stage, "from", from)
		}
	}
	var shares []string
	for _, s := range b.Terminals {
		if s.Share >= 0.01 {
			shares = append(shares, fmt.Sprintf("%s %d", s.Stage, hundred(s.Share)))
		}
	}
	if len(shares) > 0 {
		say("cli.forecast-terminals", "shares", strings.Join(shares, ", "))
	}
	for _, n := range b.NotKnown {
		say("cli.forecast-not-known", "percent", hundred(n.Share), "words", n.Words)
	}
	if n := b.NextBreak; n != nil && b.Look != nil {
		say("cli.forecast-break", "p10", n.P10, "p50", n.P50, "p90", n.P90, "from", b.Look.From, "to", b.Look.To)
	}
	if b.MaybeBroken > 0 {
		say("cli.forecast-maybe", "percent", hundred(b.MaybeBroken))
	}
	if c := b.CoolShare; c != nil {
		say("cli.forecast-cool", "mean", hundred(c.Mean), "last", hundred(c.LastTen), "met", c.Winters.Met, "of", c.Winters.Of)
		say("cli.forecast-cool-spread", "wlow", hundred(c.Weather.Low), "whigh", hundred(c.Weather.High), "ilow", hundred(c.Ignorance.Low), "ihigh", hundred(c.Ignorance.High),
			"line", b.Basis.TradeLine, "trade", hundred(c.TradeLine))
		if c.Trend != nil {
			say("cli.forecast-cool-trend", "points", hundred(*c.Trend))
		}
	}
}

func (t *terminal) forecastStretches(b *flush.Block) {
	say := func(key string, pairs ...any) { fmt.Fprintln(t.out, "  "+words.Say(key, pairs...)) } //words:keys cli.forecast
	for _, s := range b.PruneStretches {
		say("cli.forecast-stretch-long", "from", s.From, "to", s.To, "best", s.Best, "share", hundred(s.Share), "low", hundred(s.Low), "high", hundred(s.High),
			"before", s.MarginBefore, "after", s.MarginAfter, "trade", hundred(s.TradeLine), "line", b.Basis.TradeLine)
		if s.TreesWorkable != nil {
			say("cli.forecast-stretch-trees", "n", *s.TreesWorkable)
		}
		if s.FruitOn {
			say("cli.forecast-stretch-fruit")
		}
	}
	if len(b.PruneStretches) == 0 {
		t.pruneNone(b)
	}
	if b.LastPruneDay != "" {
		say("cli.forecast-last", "day", b.LastPruneDay)
	}
}

func (t *terminal) forecastBasis(b *flush.Block) {
	if b.Basis.Station == "" {
		return
	}
	fmt.Fprintln(t.out, "  "+words.Say("cli.forecast-basis", "years", b.Basis.WeatherYears, "station", b.Basis.Station, "cycles", b.Basis.ObservedCycles,
		"counts", b.Basis.Counts, "threshold", b.Basis.Threshold))
	for _, p := range b.Basis.Parameters {
		fmt.Fprintln(t.out, "    "+words.Say("cli.forecast-moved", "name", words.Say("flush.parameter-"+p.Name), "low", p.Low, "high", p.High, "unit", p.Unit, "median", p.Median,
			"prior", p.Prior, "learned", hundred(p.Learned)))
	}
	if c := b.CoolShare; c != nil && len(c.ByYear) > 0 {
		rows := make([][]string, len(c.ByYear))
		for i, y := range c.ByYear {
			rows[i] = []string{y.Season, fmt.Sprint(hundred(y.Share))}
		}
		fmt.Fprintln(t.out)
		t.table(heads("winter", "share"), rows)
	}
	if s := b.Skill; s != nil && len(s.Judged) > 0 {
		fmt.Fprintln(t.out)
		t.say("cli.forecast-judged-head")
		var rows [][]string
		for _, j := range s.Judged {
			row := []string{j.Season, j.Block, "–", fmt.Sprint(hundred(j.Reference)), fmt.Sprint(hundred(j.Share)), "–", "–"}
			if j.Chance != nil {
				row[2] = fmt.Sprint(hundred(*j.Chance))
			}
			if j.Break != nil {
				row[5] = j.Break.From + " – " + j.Break.To
			}
			if j.Band != nil {
				row[6] = j.Band.P10 + " – " + j.Band.P90
			}
			rows = append(rows, row)
		}
		t.table(heads("season", "block", "forecast-chance", "base-rate", "panicles", "break-seen", "break-band"), rows)
		fmt.Fprintln(t.out, s.Words)
	}
}
