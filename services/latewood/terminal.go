package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"time"
	"unicode/utf8"

	"latewood/events"
	"latewood/events/words"
	"latewood/services/internal/app"
	"latewood/services/serve"
)

// terminal is where a command reads and writes. Answers go to out, everything else to errs.
type terminal struct {
	in     io.Reader
	out    io.Writer
	errs   io.Writer
	json   bool
	global *global
	drawn  bool // a line of progress stands on the terminal

	toldAt   time.Duration // since the import began, and
	toldRows int           // the row: of the last line of progress where there is no terminal
}

// fail prints one clear line.
func (t *terminal) fail(err error) {
	if err == nil {
		return
	}
	line := strings.ReplaceAll(err.Error(), "\n", "; ")
	fmt.Fprintln(t.errs, "latewood: "+line)
}

// say prints a sentence of the catalogue to the answer.
//
//words:say
func (t *terminal) say(key string, pairs ...any) { fmt.Fprintln(t.out, words.Say(key, pairs...)) } //words:keys cli

// tell prints a sentence beside the answer.
//
//words:say
func (t *terminal) tell(key string, pairs ...any) { fmt.Fprintln(t.errs, words.Say(key, pairs...)) } //words:keys cli

// root prints what a record stands under, and whether that is signed.
func (t *terminal) root(size uint64, root string, sealed bool) {
	key := "cli.root"
	if sealed {
		key = "cli.root-signed"
	}
	t.say(key, "size", size, "root", root) //words:keys cli.root
}

// dir is the folder to work in, and whether nobody named it.
func (t *terminal) dir() (string, error) {
	if t.global.Dir != "" {
		return filepath.Abs(t.global.Dir)
	}
	dir, err := dataDir()
	if err == nil {
		t.tell("cli.using", "dir", dir)
	}
	return dir, err
}

// dataDir is the user's own folder for data of programs.
func dataDir() (string, error) {
	home, err := os.UserHomeDir()
	if err != nil {
		return "", &serve.Fault{Exit: 1, Text: words.Say("cli.no-home"), Err: err}
	}
	switch runtime.GOOS {
	case "windows":
		if local := os.Getenv("LocalAppData"); local != "" {
			return filepath.Join(local, "Latewood"), nil
		}
		return filepath.Join(home, "AppData", "Local", "Latewood"), nil
	case "darwin":
		return filepath.Join(home, "Library", "Application Support", "Latewood"), nil
	}
	if data := os.Getenv("XDG_DATA_HOME"); filepath.IsAbs(data) {
		return filepath.Join(data, "latewood"), nil
	}
	return filepath.Join(home, ".local", "share", "latewood"), nil
}

// with runs f on a connection to the folder.
func (t *terminal) with(ctx context.Context, f func(app.Connection) (int, error)) (exit int, err error) {
	dir, err := t.dir()
	if err != nil {
		return 1, err
	}
	c, err := app.Connect(ctx, app.Options{Dir: dir, Logger: t.logger()})
	if err != nil {
		return 1, err
	}
	defer func() {
		if cerr := c.Close(); cerr != nil && err == nil {
			exit, err = 1, cerr
		}
	}()
	return f(c)
}

// logger writes warnings and worse as one line each.
func (t *terminal) logger() *slog.Logger {
	return slog.New(slog.NewTextHandler(t.errs, &slog.HandlerOptions{Level: slog.LevelWarn}))
}

// ask calls an operation and either prints its JSON or hands the document to show.
func ask[D any](ctx context.Context, t *terminal, name string, request any, show func(D)) (int, error) {
	return t.with(ctx, func(c app.Connection) (int, error) {
		return askOn(ctx, t, c, name, request, show)
	})
}

func askOn[D any](ctx context.Context, t *terminal, c app.Connection, name string, request any, show func(D)) (int, error) {
	document, exit, err := c.Call(ctx, name, request, nil, nil)
	if document == nil {
		return exit, err
	}
	if t.json {
		fmt.Fprintf(t.out, "%s\n", document)
		return exit, err
	}
	var d D
	if derr := events.ReadJSON(document, &d); derr != nil {
		return 1, errors.Join(err, derr)
	}
	show(d)
	return exit, err
}

// table prints rows under a heading, columns aligned by what a terminal shows; right-aligned where every cell but the
// heading is a number.
func (t *terminal) table(head []string, rows [][]string) {
	if len(rows) == 0 {
		return
	}
	width := make([]int, len(head))
	right := make([]bool, len(head))
	for c := range head {
		width[c] = utf8.RuneCountInString(head[c])
		right[c] = true
		for _, r := range rows {
			width[c] = max(width[c], utf8.RuneCountInString(r[c]))
			right[c] = right[c] && isNumber(r[c])
		}
	}
	line := func(cells []string) {
		var b strings.Builder
		for c, cell := range cells {
			if c > 0 {
				b.WriteString("  ")
			}
			pad := strings.Repeat(" ", width[c]-utf8.RuneCountInString(cell))
			if right[c] {
				b.WriteString(pad + cell)
			} else {
				b.WriteString(cell + pad)
			}
		}
		fmt.Fprintln(t.out, strings.TrimRight(b.String(), " "))
	}
	line(head)
	rule := make([]string, len(head))
	for c := range rule {
		rule[c] = strings.Repeat("─", width[c])
	}
	line(rule)
	for _, r := range rows {
		line(r)
	}
}

func isNumber(s string) bool {
	return s == "" || s == "–" || strings.Trim(s, "0123456789.,-%") == ""
}

// heads puts the headings of a table together from the catalogue: table.NAME.
func heads(names ...string) []string {
	out := make([]string, len(names))
	for i, n := range names {
		out[i] = words.Say("table." + n)
	}
	return out
}
