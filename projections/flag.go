package projections

import (
	"cmp"
	"slices"
	"strings"

	"latewood/events"
	"latewood/events/words"
)

// A Flag says that something about a record asks for a person's eyes. Flags are never stored: they come and go with what
// is known.
type Flag struct {
	ID   string   `json:"id"`   // of the record
	Name string   `json:"flag"` // pick-in-interval, waits-for, ...
	Key  string   `json:"key"`  // of the sentence in the message catalogue
	Args []string `json:"args,omitempty"`
	// Because are the ids of the other records that it rests on, as the sprays and labels of an interval, in order; none
	// where the sentence tells it all.
	Because []string `json:"because,omitempty"`
}

// NewFlag makes a flag; args are names and values for the sentence flag.NAME, or flag.NAME-detail where detail is given.
func NewFlag(id events.ID, name, detail string, args ...string) Flag {
	key := "flag." + name
	if detail != "" {
		key += "-" + detail
	}
	return Flag{ID: id.String(), Name: name, Key: key, Args: args}
}

// Why is the flag's sentence.
func (f Flag) Why() string {
	args := make([]any, len(f.Args))
	for i, a := range f.Args {
		args[i] = a
	}
	return words.Say(f.Key, args...) //words:keys flag.
}

// SortFlags orders flags by record, then by name, then by sentence, and leaves equal ones out.
func SortFlags(flags []Flag) []Flag {
	slices.SortFunc(flags, func(a, b Flag) int {
		return cmp.Or(strings.Compare(a.ID, b.ID), strings.Compare(a.Name, b.Name), strings.Compare(a.Key, b.Key), slices.Compare(a.Args, b.Args))
	})
	return slices.CompactFunc(flags, func(a, b Flag) bool {
		return a.ID == b.ID && a.Name == b.Name && a.Key == b.Key && slices.Equal(a.Args, b.Args)
	})
}
