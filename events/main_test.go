package events_test

import (
	"flag"
	"fmt"
	"os"
	"testing"
	"time"
)

// checks is how many cases each property is held against: 100, or 5,000 where LATEWOOD_PROOF=1 asks for the full proof.
var checks = 100

// update writes what is missing in testdata/versions, and the golden refusals anew. Samples that are there stay as they are.
var update = flag.Bool("update", false, "add missing samples, write golden files anew")

func TestMain(m *testing.M) {
	flag.Parse()
	if os.Getenv("LATEWOOD_PROOF") == "1" {
		checks = 5000
		if err := flag.Set("rapid.checks", fmt.Sprint(checks)); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
	}
	// A machine's own zone must not show in anything. This one has an offset that the farm of the tests has too.
	zone, err := time.LoadLocation("Pacific/Honolulu")
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
	time.Local = zone
	os.Exit(m.Run())
}
