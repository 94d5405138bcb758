package canon_test

import (
	"flag"
	"fmt"
	"os"
	"testing"
)

// checks is how many cases each property is held against: 100, or 100,000 where LATEWOOD_PROOF=1 asks for the full proof.
var checks = 100

func TestMain(m *testing.M) {
	flag.Parse()
	if os.Getenv("LATEWOOD_PROOF") == "1" {
		checks = 100_000
		if err := flag.Set("rapid.checks", fmt.Sprint(checks)); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
	}
	os.Exit(m.Run())
}
