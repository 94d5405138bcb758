package main

import (
	"context"
	"errors"
	"fmt"

	"latewood/events"
	"latewood/services/bundle"
	"latewood/services/internal/app"
	"latewood/services/serve"
)

type bundleCommand struct {
	Of        string   `arg:"" help:"${cli_bundle_of}"`
	Output    string   `short:"o" required:"" help:"${cli_bundle_output}" placeholder:"FILE"`
	Recipient string   `help:"${cli_bundle_recipient}" placeholder:"NAME"`
	Names     bool     `help:"${cli_bundle_names}"`
	Seen      []string `help:"${cli_bundle_seen}" placeholder:"CHECKPOINT" sep:"none"`
}

// Run writes the file whole or not at all, and tells what is in it; under --json as a document without the file itself.
func (b *bundleCommand) Run(ctx context.Context, t *terminal) (int, error) {
	q := app.BundleRequest{Farm: t.global.Farm, Of: b.Of, Recipient: b.Recipient, Names: b.Names}
	for _, path := range b.Seen {
		note, err := bundle.ReadCheckpoint(path)
		var bad *bundle.CheckError
		if errors.As(err, &bad) {
			return 1, &serve.Fault{Exit: 1, Text: bad.Text, Err: bad.Err}
		}
		q.Seen = append(q.Seen, note)
	}
	// A file that cannot be written is told before anything is recorded.
	out, done, err := t.output(b.Output)
	if err != nil {
		return 1, err
	}
	exit, err := t.with(ctx, func(c app.Connection) (int, error) {
		document, exit, err := c.Call(ctx, "bundle", q, nil, nil)
		if document == nil {
			return max(exit, 1), firstError(err, errNothing)
		}
		var d bundle.Given
		if err := events.ReadJSON(document, &d); err != nil {
			return 1, err
		}
		if _, err := out.Write(d.File); err != nil {
			return 1, err
		}
		size := len(d.File)
		d.File = nil
		switch {
		case b.Output == "-":
		case t.json:
			j, err := events.WriteJSON(d)
			if err != nil {
				return 1, err
			}
			fmt.Fprintf(t.out, "%s\n", j)
		default:
			t.say("bundle.done", "file", b.Output, "records", d.Records, "kilobytes", (size+1023)/1024, "place", d.Place, "size", d.Size)
			if d.Names > 0 || d.NamesGone > 0 {
				t.say("bundle.done-names", "n", d.Names, "gone", d.NamesGone)
			}
			t.say("bundle.done-key")
		}
		return exit, nil
	})
	return exit, firstError(err, done(err == nil))
}

// errNothing is for an answer without a document and without an error, which no operation gives.
var errNothing = errors.New("bundle: no answer")
