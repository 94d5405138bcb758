package main

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/rogpeppe/go-internal/testscript"

	"latewood/events/civil"
)

// The scripts run this test binary as latewood: the real program with a real broker, in a folder of its own.
func TestMain(m *testing.M) {
	if os.Getenv("LATEWOOD_AS_PROGRAM") != "" { // a test started it as the program, to kill it
		main()
	}
	testscript.Main(m, map[string]func(){"latewood": main})
}

func TestScripts(t *testing.T) {
	t.Parallel()
	sheets, err := filepath.Abs("testdata/sheets")
	if err != nil {
		t.Fatal(err)
	}
	testscript.Run(t, testscript.Params{
		Dir: "testdata/script",
		Setup: func(env *testscript.Env) error {
			env.Setenv("LATEWOOD_DIR", env.WorkDir+"/farm")
			env.Setenv("HOME", env.WorkDir)
			// A file of evidence that an earlier version made, with its key and a checkpoint of before.
			golden, err := filepath.Abs("../../events/ledger/evidence/testdata")
			if err != nil {
				return err
			}
			env.Setenv("GOLDEN", golden)
			env.Setenv("SHEETS", sheets)
			return nil
		},
		Deadline: time.Now().Add(8 * time.Minute), // a command that hangs is told, not waited for
		Cmds:     map[string]func(*testscript.TestScript, bool, []string){"field": field, "await": await, "private": private, "freeport": freeport, "publish": publish, "eventually": eventually, "ids": variable("ids.0"), "batch": variable("batch"), "vkey": variable("vkey"), "port": variable("port"), "token": variable("reads"), "moment": moment, "has": has, "days": days, "newer": newer},
	})
}

// field FILE PATH WANT compares one place of a JSON document, as blocks.0.pick.status, with a text. It is for documents whose
// other places change from run to run.
func field(ts *testscript.TestScript, neg bool, args []string) {
	if len(args) != 3 {
		ts.Fatalf("usage: field FILE PATH WANT")
	}
	got, err := lookUp(ts.ReadFile(args[0]), strings.Split(args[1], "."))
	if err != nil {
		ts.Fatalf("%s: %v", args[1], err)
	}
	if (got == args[2]) == neg {
		ts.Fatalf("%s is %q, want %q (negated: %v)", args[1], got, args[2], neg)
	}
}

// variable makes a command FILE NAME that puts one place of a JSON document into a variable.
func variable(path string) func(*testscript.TestScript, bool, []string) {
	return func(ts *testscript.TestScript, _ bool, args []string) {
		if len(args) != 2 {
			ts.Fatalf("usage: COMMAND FILE NAME")
		}
		got, err := lookUp(ts.ReadFile(args[0]), strings.Split(path, "."))
		if err != nil {
			ts.Fatalf("%s: %v", path, err)
		}
		ts.Setenv(args[1], got)
	}
}

// moment NAME puts the clock's time into a variable.
func moment(ts *testscript.TestScript, _ bool, args []string) {
	if len(args) != 1 {
		ts.Fatalf("usage: moment NAME")
	}
	ts.Setenv(args[0], time.Now().UTC().Format("2006-01-02T15:04:05.000Z"))
}

// has FILE PATH KEY WANT says that one of the objects in a list of a JSON document has a value under a key.
func has(ts *testscript.TestScript, neg bool, args []string) {
	if len(args) != 4 {
		ts.Fatalf("usage: has FILE PATH KEY WANT")
	}
	text := ts.ReadFile(args[0])
	count, err := lookUp(text, append(strings.Split(args[1], "."), "len"))
	if err != nil {
		ts.Fatalf("%s: %v", args[1], err)
	}
	n, err := strconv.Atoi(count)
	ts.Check(err)
	found := false
	for i := range n {
		got, err := lookUp(text, append(strings.Split(args[1], "."), strconv.Itoa(i), args[2]))
		found = found || err == nil && got == args[3]
	}
	if found == neg {
		ts.Fatalf("%s of %s holds %q: %v", args[2], args[1], args[3], found)
	}
}

// private FROM TO writes one file over another, readable by its owner only, as a restore would.
func private(ts *testscript.TestScript, _ bool, args []string) {
	if len(args) != 2 {
		ts.Fatalf("usage: private FROM TO")
	}
	ts.Check(os.WriteFile(ts.MkAbs(args[1]), []byte(ts.ReadFile(args[0])), 0o600))
}

// days FILE FIRST LAST writes invented days of weather: a wave of the year between 15 and 25 C, with spells.
func days(ts *testscript.TestScript, _ bool, args []string) {
	if len(args) != 3 {
		ts.Fatalf("usage: days FILE FIRST LAST")
	}
	first, err := civil.ParseDate(args[1])
	ts.Check(err)
	last, err := civil.ParseDate(args[2])
	ts.Check(err)
	chance := rand.New(rand.NewPCG(5, 5))
	spell := 0.0
	var out strings.Builder
	out.WriteString("date,tmin,tmax\n")
	for d := first; !d.After(last); d = d.AddDays(1) {
		spell = 0.8*spell + chance.NormFloat64()
		mean := 20 + 5*math.Cos(2*math.Pi*float64(d.Sub(civil.Date{Year: d.Year, Month: 7, Day: 24}))/365) + spell
		fmt.Fprintf(&out, "%s,%.1f,%.1f\n", d, mean-5, mean+5)
	}
	ts.Check(os.WriteFile(ts.MkAbs(args[0]), []byte(out.String()), 0o600))
}

// await FILE waits until a background command has made a file.
func await(ts *testscript.TestScript, _ bool, args []string) {
	for range 400 {
		if _, err := os.Stat(ts.MkAbs(args[0])); err == nil {
			return
		}
		time.Sleep(25 * time.Millisecond) // another process makes it; there is nothing here to wait on
	}
	ts.Fatalf("%s did not come", args[0])
}
