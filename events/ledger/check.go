package ledger

import (
	"fmt"
	"strings"
)

// CheckAppend says what is wrong with entries that are to be appended in one call, apart from where they go: their
// number (1 to MaxBatch) and their kinds. Every Log calls it, so that all refuse the same.
func CheckAppend(entries []Entry) error {
	if n := len(entries); n < 1 || n > MaxBatch {
		return fmt.Errorf("ledger: an append of %d entries: one append takes from 1 to %d", n, MaxBatch)
	}
	for i, e := range entries {
		if !validKind(e.Kind) {
			return fmt.Errorf("ledger: entry %d: %q is not a kind: want words of a-z, 0-9 and '-' with dots between, as spray.applied", i, e.Kind)
		}
	}
	return nil
}

// validKind says whether a kind can stand in a subject: anything else could be read by a broker as another subject,
// or as a wildcard.
func validKind(kind string) bool {
	for word := range strings.SplitSeq(kind, ".") {
		if word == "" {
			return false
		}
		for _, c := range []byte(word) {
			if (c < 'a' || c > 'z') && (c < '0' || c > '9') && c != '-' {
				return false
			}
		}
	}
	return true
}
