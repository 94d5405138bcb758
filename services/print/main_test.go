package print_test

import (
	"flag"
	"fmt"
	"os"
	"testing"
)

// TestMain sets the number of random sheets: each reads a font.
func TestMain(m *testing.M) {
	flag.Parse()
	checks := "15"
	if os.Getenv("LATEWOOD_PROOF") == "1" {
		checks = "1000"
	}
	if err := flag.Set("rapid.checks", checks); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(2)
	}
	os.Exit(m.Run())
}
