package main

import (
	"strings"

	"github.com/alecthomas/kong"

	"latewood/events/words"
)

// global holds what every command takes.
type global struct {
	Dir  string `help:"${cli_dir}" env:"LATEWOOD_DIR" placeholder:"DIR"`
	Farm string `help:"${cli_farm}" placeholder:"CODE"`
	JSON bool   `help:"${cli_json}" name:"json"`
}

// asked holds what every question takes.
type asked struct {
	KnownBy      string `help:"${cli_known_by}" placeholder:"T"`
	KnownByClaim string `help:"${cli_known_by_claim}" placeholder:"T"`
}

// cli is the command line. Its help stands in the message catalogue, under cli.
type cli struct {
	global

	Demo     demoCommand     `cmd:"" help:"${cli_demo}"`
	Open     openCommand     `cmd:"" help:"${cli_open}"`
	Plant    plantCommand    `cmd:"" help:"${cli_plant}"`
	Add      addCommand      `cmd:"" help:"${cli_add}"`
	Import   importCommand   `cmd:"" help:"${cli_import}"`
	Correct  correctCommand  `cmd:"" help:"${cli_correct}"`
	Withdraw withdrawCommand `cmd:"" help:"${cli_withdraw}"`
	Attach   attachCommand   `cmd:"" help:"${cli_attach}"`
	People   peopleCommand   `cmd:"" help:"${cli_people}"`
	Print    printCommand    `cmd:"" help:"${cli_print}"`
	Status   statusCommand   `cmd:"" help:"${cli_status}"`
	Holds    holdsCommand    `cmd:"" help:"${cli_holds}"`
	Forecast forecastCommand `cmd:"" help:"${cli_forecast}"`
	Why      whyCommand      `cmd:"" help:"${cli_why}"`
	Trace    traceCommand    `cmd:"" help:"${cli_trace}"`
	Calendar calendarCommand `cmd:"" help:"${cli_calendar}"`
	Report   reportCommand   `cmd:"" help:"${cli_report}"`
	Show     showCommand     `cmd:"" help:"${cli_show}"`
	Export   exportCommand   `cmd:"" help:"${cli_export}"`
	Template templateCommand `cmd:"" help:"${cli_template}"`
	Bundle   bundleCommand   `cmd:"" help:"${cli_bundle}"`
	Verify   verifyCommand   `cmd:"" help:"${cli_verify}"`
	Settings settingsCommand `cmd:"" help:"${cli_settings}"`
	Sensors  sensorsCommand  `cmd:"" help:"${cli_sensors}"`
	sealCommands
	Run     runCommand     `cmd:"" help:"${cli_run}"`
	Version versionCommand `cmd:"" help:"${cli_version}"`
}

// vars hands the catalogue's sentences under cli. to the tags above: cli.known-by stands there as ${cli_known_by}.
func vars() kong.Vars {
	out := kong.Vars{}
	english, err := words.In("en")
	if err != nil {
		return out
	}
	for _, key := range english.Keys() {
		if strings.HasPrefix(key, "cli.") {
			out[strings.NewReplacer(".", "_", "-", "_").Replace(key)] = english.Say(key) //words:keys cli.
		}
	}
	return out
}
