package holds_test

import (
	"flag"
	"fmt"
	"os"
	"testing"
)

// histories is how many invented histories each law is held against: 25, or 1,000 where LATEWOOD_PROOF=1 asks for the full
// proof, which also asks for 5,000 cases of each property.
var histories = 25

var update = flag.Bool("update", false, "write the golden files anew")

func TestMain(m *testing.M) {
	flag.Parse()
	if os.Getenv("LATEWOOD_PROOF") == "1" {
		histories = 1000
		if err := flag.Set("rapid.checks", "5000"); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
	}
	os.Exit(m.Run())
}
