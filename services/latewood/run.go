package main

import (
	"context"
	"errors"
	"fmt"
	"net"
	"runtime/debug"
	"time"

	"latewood/events/words"
	"latewood/services/internal/app"
	"latewood/services/serve"
)

type runCommand struct {
	Listen  string `help:"${cli_run_listen}" default:"127.0.0.1:0" placeholder:"ADDR"`
	MQTT    string `name:"mqtt" help:"${cli_run_mqtt}" placeholder:"ADDR"`
	Cert    string `name:"mqtt-cert" help:"${cli_run_mqtt_cert}" placeholder:"FILE"`
	Key     string `name:"mqtt-key" help:"${cli_run_mqtt_key}" placeholder:"FILE"`
	Sensors string `help:"${cli_run_sensors}" placeholder:"FILE"`
	RawMiB  int64  `name:"raw-mib" help:"${cli_run_raw_mib}" placeholder:"N"`
	RawDays int    `help:"${cli_run_raw_days}" placeholder:"N"`

	Postgres string `help:"${cli_run_postgres}" env:"LATEWOOD_POSTGRES" placeholder:"URL"`
}

// Run holds the folder open until it is told to stop, so that commands need not open it one by one.
func (r *runCommand) Run(ctx context.Context, t *terminal) (int, error) {
	dir, err := t.dir()
	if err != nil {
		return 1, err
	}
	if err := r.wrong(); err != nil {
		return 2, err
	}
	a, err := app.OpenSoon(ctx, app.Options{Dir: dir, Logger: t.logger(), Postgres: r.Postgres, MQTT: app.MQTT{
		Address: r.MQTT, Users: r.Sensors, Certificate: r.Cert, Key: r.Key,
		RawBytes: r.RawMiB << 20, RawAge: time.Duration(r.RawDays) * 24 * time.Hour,
	}})
	if err != nil {
		return 1, err
	}
	if err := a.Warm(ctx); err != nil {
		return 1, errors.Join(err, a.Close())
	}
	if err := a.Listen(ctx); err != nil {
		return 1, errors.Join(err, a.Close())
	}
	err = a.Serve(ctx, r.Listen, func(address string) {
		t.say("cli.running", "dir", dir, "address", address)
		if r.Postgres != "" {
			t.say("cli.running-postgres")
		}
		if r.MQTT != "" {
			t.say("cli.running-mqtt", "address", r.MQTT)
			if r.Cert == "" && !loopback(r.MQTT) {
				t.tell("cli.running-mqtt-clear")
			}
		}
	})
	if err = errors.Join(err, a.Close()); err != nil {
		return 1, err
	}
	t.say("cli.stopped")
	return 0, nil
}

// Bounds of the options: 16 TiB and 100 years, beyond which the numbers that they are multiplied to overflow.
const (
	mostRawMiB  = 16 << 20
	mostRawDays = 36525
)

// wrong says which option cannot be meant.
func (r *runCommand) wrong() error {
	switch {
	case r.RawMiB < 0 || r.RawMiB > mostRawMiB:
		return &serve.Fault{Exit: 2, Text: words.Say("cli.run-raw-range", "option", "--raw-mib", "value", r.RawMiB, "most", mostRawMiB)}
	case r.RawDays < 0 || r.RawDays > mostRawDays:
		return &serve.Fault{Exit: 2, Text: words.Say("cli.run-raw-range", "option", "--raw-days", "value", r.RawDays, "most", mostRawDays)}
	case r.MQTT == "" && (r.Cert != "" || r.Key != "" || r.Sensors != "" || r.RawMiB != 0 || r.RawDays != 0):
		return &serve.Fault{Exit: 2, Text: words.Say("cli.run-without-mqtt")}
	}
	return nil
}

// loopback reports whether an address can be reached from this machine only.
func loopback(address string) bool {
	host, _, err := net.SplitHostPort(address)
	ip := net.ParseIP(host)
	return err == nil && (host == "localhost" || ip != nil && ip.IsLoopback())
}

type versionCommand struct{}

// Run prints what the program was built from.
func (versionCommand) Run(_ context.Context, t *terminal) (int, error) {
	version, revision := "devel", ""
	if info, ok := debug.ReadBuildInfo(); ok {
		if info.Main.Version != "" {
			version = info.Main.Version
		}
		for _, s := range info.Settings {
			if s.Key == "vcs.revision" {
				revision = s.Value
			}
		}
	}
	if t.json {
		fmt.Fprintf(t.out, "{\"version\":%q,\"revision\":%q}\n", version, revision)
		return 0, nil
	}
	t.say("cli.version-line", "version", version, "revision", dash(revision))
	return 0, nil
}
