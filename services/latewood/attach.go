package main

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"latewood/events"
	"latewood/events/words"
	"latewood/services/internal/app"
	"latewood/services/serve"
)

type attachCommand struct {
	File   string `arg:"" optional:"" type:"path" help:"${cli_attach_file}"`
	Name   string `help:"${cli_attach_name}" placeholder:"NAME"`
	All    string `type:"path" help:"${cli_attach_all}" placeholder:"FOLDER"`
	Get    string `help:"${cli_attach_get}" placeholder:"SHA256"`
	Output string `short:"o" help:"${cli_output}" placeholder:"FILE"`
}

// Run takes a file in, or gives one or all out again.
func (a *attachCommand) Run(ctx context.Context, t *terminal) (int, error) {
	said := 0
	for _, s := range []string{a.File, a.Get, a.All} {
		if s != "" {
			said++
		}
	}
	switch {
	case said != 1:
		return 2, &serve.Fault{Exit: 2, Text: words.Say("cli.attach-which")}
	case a.All != "":
		return a.all(ctx, t)
	case a.Get != "":
		return a.get(ctx, t)
	}
	// A pipe or a folder is not opened: opening a pipe waits for whoever writes into it, and no signal ends that.
	if info, err := os.Stat(a.File); err == nil && !info.Mode().IsRegular() {
		return 1, &serve.Fault{Exit: 1, Text: words.Say("attach.irregular", "file", a.File)}
	}
	f, err := os.Open(a.File)
	if err != nil {
		return 1, &serve.Fault{Exit: 1, Text: words.Say("cli.no-file", "file", a.File), Err: err}
	}
	defer f.Close()
	name := a.Name
	if name == "" {
		name = filepath.Base(a.File)
	}
	return t.with(ctx, func(c app.Connection) (int, error) {
		document, exit, err := c.Call(ctx, "attach", app.AttachRequest{Farm: t.global.Farm, Name: name}, f, nil)
		if document == nil {
			return exit, err
		}
		if t.json {
			fmt.Fprintf(t.out, "%s\n", document)
			return exit, err
		}
		var d app.Attached
		if err := events.ReadJSON(document, &d); err != nil {
			return 1, err
		}
		b, err := events.WriteJSON(d.Attachment)
		if err != nil {
			return 1, err
		}
		fmt.Fprintf(t.out, "%s\n", b)
		if d.Known {
			t.tell("cli.attach-known", "n", d.Bytes)
		} else {
			t.tell("cli.attach-done", "n", d.Bytes)
		}
		return exit, nil
	})
}

func (a *attachCommand) get(ctx context.Context, t *terminal) (int, error) {
	return t.with(ctx, func(c app.Connection) (int, error) { return a.fetch(ctx, t, c) })
}

func (a *attachCommand) fetch(ctx context.Context, t *terminal, c app.Connection) (int, error) {
	document, exit, err := c.Call(ctx, "file", app.FileRequest{Farm: t.global.Farm, SHA256: a.Get}, nil, nil)
	if document == nil {
		return exit, err
	}
	var d app.File
	if err := events.ReadJSON(document, &d); err != nil {
		return 1, err
	}
	return exit, t.write(a.Output, string(d.Content))
}

// all writes every file that records point to into a folder, under its hash and with what its name ends in. What is not there,
// or damaged, is told, and the rest is written all the same.
func (a *attachCommand) all(ctx context.Context, t *terminal) (int, error) {
	if err := os.MkdirAll(a.All, 0o700); err != nil {
		return 1, &serve.Fault{Exit: 1, Text: words.Say("cli.no-write", "file", a.All), Err: err}
	}
	return t.with(ctx, func(c app.Connection) (int, error) {
		document, exit, err := c.Call(ctx, "files", app.FilesRequest{Farm: t.global.Farm}, nil, nil)
		if document == nil {
			return exit, err
		}
		var d app.Files
		if err := events.ReadJSON(document, &d); err != nil {
			return 1, err
		}
		written := 0
		for _, f := range d.Files {
			if f.State != "present" {
				t.tell("attach.flag-"+f.State, "name", f.Name, "hash", f.SHA256)
				exit = 1
				continue
			}
			get := attachCommand{Get: f.SHA256, Output: filepath.Join(a.All, f.SHA256+ending(f.Name))}
			if code, err := get.fetch(ctx, t, c); err != nil || code != 0 {
				return code, err
			}
			written++
		}
		if t.json {
			fmt.Fprintf(t.out, "%s\n", document)
			return exit, nil
		}
		t.say("cli.attach-all-done", "n", written, "folder", a.All)
		return exit, nil
	})
}

// ending is what a name ends in, where that is a plain one as .pdf: names come from records, and from other farms' too.
func ending(name string) string {
	end := strings.ToLower(filepath.Ext(name))
	if len(end) < 2 || len(end) > 6 || strings.Trim(end[1:], "abcdefghijklmnopqrstuvwxyz0123456789") != "" {
		return ""
	}
	return end
}

// files prints the files that a record points to.
func (t *terminal) files(files []app.Pointed) {
	if len(files) == 0 {
		return
	}
	rows := make([][]string, len(files))
	for i, f := range files {
		rows[i] = []string{f.Name, dash(f.MediaType), words.Say("attach.state-" + f.State), f.SHA256}
	}
	fmt.Fprintln(t.out)
	t.table(heads("file", "type", "state", "sha256"), rows)
}
