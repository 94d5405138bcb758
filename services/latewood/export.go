package main

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"os"

	"latewood/events"
	"latewood/events/words"
	"latewood/services/internal/app"
	"latewood/services/serve"
)

type exportCommand struct {
	asked
	Kind   []string `help:"${cli_export_kind}" placeholder:"KIND"`
	From   string   `help:"${cli_export_from}" placeholder:"T"`
	To     string   `help:"${cli_export_to}" placeholder:"T"`
	Block  string   `help:"${cli_export_block}" placeholder:"BLOCK"`
	Format string   `help:"${cli_export_format}" enum:"jsonl,csv,xlsx,geojson" default:"jsonl"`
	Output string   `short:"o" help:"${cli_output}" placeholder:"FILE"`
	Force  bool     `help:"${cli_force}"`
}

// Help says what a table cannot hold, and how it is written all the same.
func (e *exportCommand) Help() string { return words.Say("cli.export-more") }

func (e *exportCommand) Run(ctx context.Context, t *terminal) (int, error) {
	if e.Format == "csv" && len(e.Kind) != 1 {
		return 2, &serve.Fault{Exit: 2, Text: words.Say("cli.export-one-kind")}
	}
	q := app.ExportRequest{Asked: t.asked(e.asked), Kinds: e.Kind, From: e.From, To: e.To, Block: e.Block, Format: e.Format}
	return written(ctx, t, calls(t, "export", q), file{e.Output, e.Format == "xlsx", e.Force, "export.xlsx"}, func(d app.Exported) {
		if e.Format == "geojson" {
			t.tell("out.ground", "n", d.Records, "size", d.Size, "root", d.Root)
			return
		}
		t.tell("cli.exported", "n", d.Records, "size", d.Size, "root", d.Root)
	})
}

type templateCommand struct {
	Kind   string `arg:"" help:"${cli_template_kind}"`
	Format string `help:"${cli_template_format}" enum:"xlsx,csv" default:"xlsx"`
	Output string `short:"o" help:"${cli_output}" placeholder:"FILE"`
	Force  bool   `help:"${cli_force}"`
}

// Help says how a template is filled in.
func (c *templateCommand) Help() string { return words.Say("cli.template-more") }

func (c *templateCommand) Run(ctx context.Context, t *terminal) (int, error) {
	q := app.TemplateRequest{Farm: t.global.Farm, Kind: c.Kind, Format: c.Format}
	call := calls(t, "template", q)
	if q.Farm == "" && !t.hasFolder() { // no farm to ask, and none is begun by asking
		call = func(_ context.Context, progress func([]byte)) ([]byte, int, error) {
			return app.TemplateAlone(q, progress)
		}
	}
	return written(ctx, t, call, file{c.Output, c.Format == "xlsx", c.Force, c.Kind + ".xlsx"}, func(d app.Template) {
		if c.Output != "" && c.Output != "-" {
			t.tell("out.template", "kind", d.Kind, "file", c.Output)
		}
	})
}

// A file is where a command writes to, as it was told.
type file struct {
	path   string // empty or -: standard output
	binary bool   // nothing for a terminal
	force  bool
	offer  string // a name for it
}

// hasFolder reports whether the folder to work in is there.
func (t *terminal) hasFolder() bool {
	dir := t.global.Dir
	if dir == "" {
		var err error
		if dir, err = dataDir(); err != nil {
			return false
		}
	}
	_, err := os.Stat(dir)
	return err == nil
}

// A call is an operation whose bytes come as progress.
type call func(ctx context.Context, progress func([]byte)) (document []byte, exit int, err error)

// calls asks the folder.
func calls(t *terminal, name string, q any) call {
	return func(ctx context.Context, progress func([]byte)) (document []byte, exit int, err error) {
		exit, err = t.with(ctx, func(c app.Connection) (int, error) {
			var err error
			document, exit, err = c.Call(ctx, name, q, nil, progress)
			return exit, err
		})
		return document, exit, err
	}
}

// forTerminal refuses to write what is nothing for a terminal onto one.
func (t *terminal) forTerminal(to file) error {
	if f, ok := t.out.(*os.File); ok && to.binary && (to.path == "" || to.path == "-") && isTerminal(f) {
		return &serve.Fault{Exit: 2, Text: words.Say("out.binary", "file", to.offer)}
	}
	return nil
}

// written writes what an operation hands over, and shows its document beside it.
func written[D any](ctx context.Context, t *terminal, ask call, to file, show func(D)) (int, error) {
	toScreen := to.path == "" || to.path == "-"
	if err := t.forTerminal(to); err != nil {
		return 2, err
	}
	out, done, err := t.outputTo(to.path, to.force)
	if err != nil {
		return 1, err
	}
	w := bufio.NewWriterSize(out, 1<<16)
	var werr error
	document, exit, err := ask(ctx, func(p []byte) {
		if werr == nil {
			werr = writePiece(w, p)
		}
	})
	err = firstError(err, werr, w.Flush())
	if err := firstError(err, done(err == nil)); err != nil {
		return max(exit, 1), err
	}
	if t.json && !toScreen {
		fmt.Fprintf(t.out, "%s\n", document)
	}
	var d D
	if err := events.ReadJSON(document, &d); err != nil {
		return 1, err
	}
	show(d)
	return exit, nil
}

// writePiece writes what one piece of progress carries: stored records, or the bytes of a file.
func writePiece(w io.Writer, p []byte) error {
	var piece struct {
		app.Lines
		app.Piece
	}
	if err := events.ReadJSON(p, &piece); err != nil {
		return err
	}
	for _, r := range piece.Records {
		if _, err := w.Write(append(r, '\n')); err != nil {
			return err
		}
	}
	_, err := w.Write(piece.Bytes)
	return err
}
