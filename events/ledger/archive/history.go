package archive

import (
	"bytes"
)

// appendHistory appends a checkpoint as the history has it: the note, then an empty line.
func appendHistory(dst, note []byte) []byte { return append(append(dst, note...), '\n') }

// A piece of the history file: a note, or bytes that are none.
type piece struct {
	note []byte // nil for bytes that are no note
	at   int    // where it begins
}

// parseHistory takes the history apart: notes in their order, and what is none. What stands behind the last whole note is
// the torn rest of an interrupted write: good is where it begins. A note has one empty line inside, before its signature
// lines, and one behind; so a damaged newline spoils the notes beside it and no others.
func parseHistory(b []byte) (pieces []piece, good int) {
	var text []byte // the block before, if it was a text
	textAt := 0
	for at := 0; at < len(b); {
		n := bytes.Index(b[at:], []byte("\n\n"))
		if n < 0 {
			break // not whole
		}
		block := b[at : at+n+1]
		switch signatures := bytes.HasPrefix(block, []byte("— ")); {
		case signatures && text != nil:
			pieces = append(pieces, piece{note: b[textAt : at+n+1], at: textAt})
			text, good = nil, at+n+2
		case signatures:
			pieces = append(pieces, piece{at: at})
			good = at + n + 2
		default:
			if text != nil {
				pieces = append(pieces, piece{at: textAt})
				good = at
			}
			text, textAt = block, at
		}
		at += n + 2
	}
	return pieces, good
}
