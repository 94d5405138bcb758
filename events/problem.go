package events

import (
	"strings"

	"latewood/events/words"
)

// A Problem is one reason to refuse a record: which field, what it held, why that cannot be taken, and what to write
// instead.
type Problem struct {
	Field   string   // the path in the record, as data.mix[0].rate.unit
	Value   any      // as read: a string, float64, bool, or nil where nothing stood there
	Why     Sentence // always there
	Instead Sentence // may be empty
}

// Error lets a single problem travel as an error.
func (p Problem) Error() string {
	parts := []string{p.Field, p.Why.String()}
	if s := p.Instead.String(); s != "" {
		parts = append(parts, s)
	}
	return strings.Join(parts, ": ")
}

// Problems are all reasons against one record.
type Problems []Problem

func (p Problems) Error() string {
	lines := make([]string, len(p))
	for i := range p {
		lines[i] = p[i].Error()
	}
	return strings.Join(lines, "\n")
}

// A Sentence is a text of the message catalogue with its values, put into a language only when it is shown.
type Sentence struct {
	Key   string
	Pairs []any
}

// String is the sentence in English, empty for the zero Sentence.
func (s Sentence) String() string {
	if s.Key == "" {
		return ""
	}
	return words.Say(s.Key, s.Pairs...) //words:keys refuse.
}

// say names a sentence.
//
//words:say
func say(key string, pairs ...any) Sentence { return Sentence{key, pairs} }
