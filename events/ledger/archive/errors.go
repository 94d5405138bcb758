package archive

import (
	"errors"
	"fmt"
	"strings"

	"latewood/events/ledger"
	"latewood/events/words"
)

// ErrClosed says that the archive was closed, or that a write failed in a way that leaves its files uncertain: it must be
// opened again, which finds out. It wraps ledger.ErrStore.
var ErrClosed = fmt.Errorf("archive: closed: %w", ledger.ErrStore)

// ErrOrder says that a checkpoint does not go on from the newest one that was published, or is not of this tree.
var ErrOrder = errors.New("archive: the checkpoint does not extend what is published")

// ErrNoCheckpoint says that nothing is sealed, or that no checkpoint in the folder can be believed.
var ErrNoCheckpoint = errors.New("archive: there is no checkpoint")

// A Span is records by place, from First to Last.
type Span struct{ First, Last uint64 }

// A Fault is what is wrong with a file.
type Fault string

// The faults.
const (
	Missing    Fault = "missing"    // it should be there and is not
	Damaged    Fault = "damaged"    // it does not hold what the tree says
	Unexpected Fault = "unexpected" // it is no part of an archive
	Unsigned   Fault = "unsigned"   // a checkpoint that none of the ledger's keys signed
	Diverges   Fault = "diverges"   // a signed checkpoint that is not of this tree: a second history
	Unproven   Fault = "unproven"   // files agree with each other and not with the newest checkpoint
)

// A Finding is one file that is not as it should be.
type Finding struct {
	File   string // below the archive, with slashes; in the history with "#" and the number of the checkpoint, from 1
	Fault  Fault
	Places []Span // of the records that this file should hold and does not; none for files that can be made again
}

// Say is the finding as a sentence.
func (f Finding) Say() string {
	if len(f.Places) == 0 {
		return words.Say("archive."+string(f.Fault), "file", f.File)
	}
	return words.Say("archive."+string(f.Fault)+".records", "file", f.File, "places", formatSpans(f.Places))
}

func formatSpans(spans []Span) string {
	var b strings.Builder
	for i, s := range spans {
		if i > 0 {
			b.WriteString(", ")
		}
		if i == 12 {
			b.WriteString("...")
			break
		}
		if s.First == s.Last {
			fmt.Fprintf(&b, "%d", s.First)
		} else {
			fmt.Fprintf(&b, "%d-%d", s.First, s.Last)
		}
	}
	return b.String()
}

// A DamageError says that files of the archive do not hold what was sealed. Nothing of what they hold was handed out.
type DamageError struct {
	Findings []Finding
}

func (e *DamageError) Error() string {
	if len(e.Findings) == 0 {
		return "archive: damaged"
	}
	f := e.Findings[0]
	text := fmt.Sprintf("archive: %s is %s", f.File, f.Fault)
	if len(f.Places) > 0 {
		text += fmt.Sprintf(", records %s", formatSpans(f.Places))
	}
	if n := len(e.Findings) - 1; n > 0 {
		text += fmt.Sprintf(" (and %d more)", n)
	}
	return text
}

// spansOf makes spans of places in order.
func spansOf(places []uint64) []Span {
	var out []Span
	for _, p := range places {
		if n := len(out); n > 0 && out[n-1].Last+1 == p {
			out[n-1].Last = p
		} else {
			out = append(out, Span{p, p})
		}
	}
	return out
}
