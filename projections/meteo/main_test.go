package meteo

import (
	"flag"
	"fmt"
	"os"
	"testing"
)

// TestMain sets the number of property checks: 100 by default, 20,000 where
// LATEWOOD_PROOF=1 asks for the full proof.
func TestMain(m *testing.M) {
	flag.Parse()
	if os.Getenv("LATEWOOD_PROOF") == "1" {
		const checks = "20000"
		if err := flag.Set("rapid.checks", checks); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
		fmt.Println("meteo: property checks a test:", checks)
	}
	os.Exit(m.Run())
}
