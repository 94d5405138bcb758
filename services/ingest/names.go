package ingest

import (
	"slices"
	"strings"
)

// names looks up what a table calls something: "North Block" for the block north.
type names map[string]string

// foldName makes the ways to write a name one.
func foldName(s string) string { return strings.ToLower(strings.Join(strings.Fields(s), " ")) }

func newNames(given map[string]string) names {
	out := make(names, 2*len(given))
	for _, code := range given {
		out[foldName(code)] = code // who writes the code itself is right as well
	}
	for name, code := range given {
		out[foldName(name)] = code
	}
	return out
}

// code finds the code of a name. A name that the map does not have is refused: it would be taken for a code.
func (n names) code(text string) (string, *fault) {
	if code, ok := n[foldName(text)]; ok {
		return code, nil
	}
	known := make([]string, 0, len(n))
	for name := range n {
		known = append(known, name)
	}
	slices.Sort(known)
	instead := say("ingest.name-instead")
	if near := nearest(text, known); near != "" {
		instead = say("ingest.name-near", "near", near, "code", n[near])
	}
	return "", wrong(say("ingest.name"), instead)
}
