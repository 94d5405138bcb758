package main

import (
	"context"
	"fmt"
	"path/filepath"
	"strings"

	"latewood/events"
	"latewood/events/words"
	"latewood/services/internal/app"
	"latewood/services/report"
)

// shown is how a report is shown.
type shown struct {
	Format string `help:"${cli_report_formats}" enum:",text,json,csv,xlsx,html,pdf" default:""`
	Output string `short:"o" help:"${cli_output}" placeholder:"FILE"`
	Force  bool   `help:"${cli_force}"`
	Paper  string `help:"${cli_print_paper}" enum:"a4,letter" default:"a4"`
}

// as is the format: as told, else by the file's name, else text.
func (s *shown) as(t *terminal) report.Format {
	if t.json {
		return report.AsJSON
	}
	if s.Format != "" {
		return report.Format(s.Format)
	}
	switch ext := strings.ToLower(strings.TrimPrefix(filepath.Ext(s.Output), ".")); ext {
	case "json", "csv", "xlsx", "html", "pdf":
		return report.Format(ext)
	}
	return report.AsText
}

// tabled asks for a report that has a document of its own and writes it: text as show prints it, JSON as the document, the
// rest from its table.
func tabled[D any](ctx context.Context, t *terminal, name string, q any, how *shown, show func(D), table func(D) report.Table) (int, error) {
	as := how.as(t)
	to := file{how.Output, as.Binary(), how.Force, name + "." + string(as)}
	if err := t.forTerminal(to); err != nil {
		return 2, err
	}
	out, done, err := t.outputTo(how.Output, how.Force)
	if err != nil {
		return 1, err
	}
	exit, err := t.with(ctx, func(c app.Connection) (int, error) {
		document, exit, err := c.Call(ctx, name, q, nil, nil)
		if document == nil {
			return exit, err
		}
		if as == report.AsJSON {
			_, werr := fmt.Fprintf(out, "%s\n", document)
			return exit, firstError(err, werr)
		}
		var d D
		if derr := events.ReadJSON(document, &d); derr != nil {
			return 1, derr
		}
		if as == report.AsText {
			screen := t.out
			t.out = out
			show(d)
			t.out = screen
			return exit, err
		}
		rows := table(d)
		rows.Key = name
		r := &report.Report{
			Kind: name, Title: words.Say("report.title-" + name), Wide: true, Sections: []report.Section{{Tables: []report.Table{rows}}},
			Cautions: []string{words.Say("holds.caution")},
		}
		_, rerr := r.Render(out, as, report.Options{Paper: report.Paper(how.Paper)})
		return exit, firstError(err, rerr)
	})
	return exit, firstError(err, done(err == nil))
}

// columns makes a table of columns by key; a # behind a key says that it holds numbers.
func columns(keys ...string) report.Table {
	var t report.Table
	for _, k := range keys {
		key, numbers := strings.CutSuffix(k, "#")
		t.Columns = append(t.Columns, report.Column{Key: key, Heading: strings.ReplaceAll(key, "_", " "), Numbers: numbers})
	}
	return t
}

// whole is a number as the document has it.
func whole(f *float64) report.Cell { return report.Perhaps(f, -1) }

// paged is what every report takes that is written onto paper as well.
type paged struct {
	shown
	Lang  string `help:"${cli_report_lang}" default:"en"`
	Table string `help:"${cli_report_table}" placeholder:"KEY"`
	Issue bool   `help:"${cli_report_issue}"`
	For   string `help:"${cli_report_issue_to}" name:"issue-to" placeholder:"NAME"`
}

// make asks for a report and writes it.
func (p *paged) make(ctx context.Context, t *terminal, q app.ReportRequest) (int, error) {
	as := p.as(t)
	q.Format, q.Lang, q.Paper, q.Table, q.Issue, q.IssueTo = string(as), p.Lang, p.Paper, p.Table, p.Issue || p.For != "", p.For
	quiet := *t
	quiet.json = false // the answer is the report itself
	return written(ctx, &quiet, calls(t, "report", q), file{p.Output, as.Binary(), p.Force, q.Kind + "." + string(as)}, func(d app.Reported) {
		if p.Output != "" && p.Output != "-" {
			t.tell("report.written", "kind", d.Kind, "file", p.Output, "size", d.Size, "root", d.Root)
		}
		if d.Issued != "" {
			t.tell("report.issued", "id", d.Issued, "hash", d.Hash)
		}
		if d.Letters != "" {
			t.tell("report.letters", "letters", d.Letters)
		}
	})
}

// ofSprays is what reports about sprays take.
type ofSprays struct {
	asked
	paged
	Season string `help:"${cli_season}" placeholder:"S"`
	From   string `help:"${cli_report_from}" placeholder:"DATE"`
	Until  string `help:"${cli_report_to}" name:"to" placeholder:"DATE"`
	Block  string `help:"${cli_export_block}" placeholder:"BLOCK"`
	Spray  string `help:"${cli_report_spray}" placeholder:"ID"`
	On     string `help:"${cli_on}" placeholder:"DATE"`
}

func (s *ofSprays) run(ctx context.Context, t *terminal, kind string) (int, error) {
	return s.make(ctx, t, app.ReportRequest{
		Asked: t.asked(s.asked), Kind: kind, Season: s.Season, From: s.From, To: s.Until, Block: s.Block, Spray: s.Spray, On: s.On,
	})
}

type spraysCommand struct{ ofSprays }

func (c *spraysCommand) Run(ctx context.Context, t *terminal) (int, error) {
	return c.run(ctx, t, "sprays")
}

type postingCommand struct{ ofSprays }

func (c *postingCommand) Run(ctx context.Context, t *terminal) (int, error) {
	return c.run(ctx, t, "posting")
}

type copyCommand struct{ ofSprays }

func (c *copyCommand) Run(ctx context.Context, t *terminal) (int, error) {
	return c.run(ctx, t, "customer-copy")
}

type ingredientsCommand struct{ ofSprays }

func (c *ingredientsCommand) Run(ctx context.Context, t *terminal) (int, error) {
	return c.run(ctx, t, "ingredients")
}

type exposureCommand struct{ ofSprays }

func (c *exposureCommand) Run(ctx context.Context, t *terminal) (int, error) {
	return c.run(ctx, t, "exposure")
}

// lacking prints what records lack.
func (t *terminal) lacking(list []app.Lacking) {
	for _, l := range list {
		t.say("report.lacking", "n", len(l.Records), "blocks", dash(strings.Join(l.Blocks, ", ")), "words", l.Words)
	}
	if len(list) > 0 {
		t.say("report.lacking-more")
	}
}
