// Command latewood keeps the records of an orchard: what was planted, cut, sprayed and picked, in a ledger that nothing
// takes back, and says from it how every block stands.
//
// It is one binary for everything. A command talks to the process that has the folder open (latewood run), else opens the
// folder itself. See cli.go for the commands and services/internal/app for how the program is put together.
package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"strconv"
	"strings"
	"syscall"

	"github.com/alecthomas/kong"

	"latewood/events/words"
	"latewood/services/serve"
)

func main() {
	stop := boundMemory()
	exit := run(os.Args[1:], os.Stdin, os.Stdout, os.Stderr)
	stop()
	os.Exit(exit)
}

// run is the whole program; main only lends it the process.
func run(args []string, in io.Reader, out, errs io.Writer) int {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	var c cli
	exit := -1
	parser, err := kong.New(&c, kong.Name("latewood"), kong.Description(words.Say("cli.about")), kong.UsageOnError(),
		kong.Writers(out, errs), kong.Exit(func(code int) { exit = code }), vars(), kong.ShortUsageOnError(),
		kong.ConfigureHelp(kong.HelpOptions{Compact: true, NoExpandSubcommands: true}))
	if err != nil {
		fmt.Fprintln(errs, err)
		return 2
	}
	if len(args) == 0 {
		args = []string{"--help"}
	}
	command, err := parser.Parse(joinNegative(args))
	if exit >= 0 { // help or version was asked for
		return exit
	}
	if err != nil {
		fmt.Fprintln(errs, "latewood: "+err.Error())
		return 2
	}
	t := &terminal{in: in, out: out, errs: errs, json: c.JSON, global: &c.global}
	exit, err = command.Selected().Target.Addr().Interface().(runner).Run(ctx, t)
	if err != nil {
		t.fail(err)
		var fault *serve.Fault
		if errors.As(err, &fault) {
			return fault.Exit
		}
		return max(exit, 1)
	}
	return exit
}

// joinNegative writes "--lon -155.1" as "--lon=-155.1": the parser would take the number for a short flag.
func joinNegative(args []string) []string {
	var out []string
	for _, a := range args {
		n := len(out)
		if _, err := strconv.ParseFloat(a, 64); err == nil && a[0] == '-' && n > 0 && strings.HasPrefix(out[n-1], "--") && !strings.Contains(out[n-1], "=") {
			out[n-1] += "=" + a
			continue
		}
		out = append(out, a)
	}
	return out
}

// runner is what every command is.
type runner interface {
	Run(ctx context.Context, t *terminal) (exit int, err error)
}
