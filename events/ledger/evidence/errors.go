package evidence

import (
	"fmt"
	"strings"

	"latewood/events/words"
)

// What can be wrong with a container.
const (
	notZip      = "not-zip"
	cutShort    = "cut-short"
	behind      = "bytes-behind"
	tooLarge    = "too-large"
	tooMany     = "too-many"
	badPath     = "bad-path"
	doubled     = "doubled"
	unsorted    = "unsorted"
	encrypted   = "encrypted"
	compressed  = "compressed"
	overlap     = "overlap"
	twoHeaders  = "two-headers"
	checksum    = "checksum"
	otherLayout = "other-layout"
)

// A ContainerError says why a file is not a container as Pack writes it.
type ContainerError struct {
	Code string // one of a fixed list; behind "verify.zip-" it is a key of the message catalogue
	Name string // of the part, may be empty
}

func (e *ContainerError) Error() string {
	return fmt.Sprintf("evidence: container: %s: %q", e.Code, e.Name)
}

// Sentence says it to a user.
func (e *ContainerError) Sentence() string {
	return words.Say("verify.zip-"+e.Code, "name", e.Name, "files", MaxFiles, "megabytes", MaxBytes>>20)
}

func container(code, name string) error { return &ContainerError{Code: code, Name: name} }

// printable makes text from outside fit for a line on a terminal.
func printable(s string) string {
	if len(s) > maxName {
		s = s[:maxName]
	}
	return strings.Map(func(r rune) rune {
		if r < 0x20 || r >= 0x7f {
			return '?'
		}
		return r
	}, s)
}
