package main

import (
	"io"
	"os"
	"slices"
	"strings"
	"testing"

	"github.com/alecthomas/kong"
)

// TestSurface holds the changelog to its word: what scripts may hold on to stands there, so every command is named in the first
// Surface section that lists the commands, in the form `people add|list`.
func TestSurface(t *testing.T) {
	t.Parallel()
	b, err := os.ReadFile("../../deploy/CHANGELOG.md")
	if err != nil {
		t.Fatal(err)
	}
	_, list, ok := strings.Cut(string(b), "\n- Commands: ")
	if !ok {
		t.Fatal("deploy/CHANGELOG.md has no line that begins with \"- Commands: \"")
	}
	list, _, _ = strings.Cut(list, "\n- ")
	named := map[string]bool{}
	for i, code := range strings.Split(list, "`") {
		if words := strings.Fields(code); i%2 == 1 && len(words) > 0 && !strings.HasPrefix(words[0], "--") {
			named[words[0]] = true
			for _, sub := range strings.Split(strings.Join(words[1:], ""), "|") {
				named[strings.TrimSpace(words[0]+" "+sub)] = true
			}
		}
	}
	var c cli
	parser, err := kong.New(&c, vars(), kong.Writers(io.Discard, io.Discard))
	if err != nil {
		t.Fatal(err)
	}
	var there []string
	for _, leaf := range parser.Model.Leaves(false) {
		path := leaf.Name
		for p := leaf.Parent; p != nil && p.Type == kong.CommandNode; p = p.Parent {
			path = p.Name + " " + path
			there = append(there, p.Name)
		}
		there = append(there, path)
		if !named[path] {
			t.Errorf("the command %q is not named in the Commands line of deploy/CHANGELOG.md", path)
		}
	}
	for name := range named {
		if !slices.Contains(there, name) {
			t.Errorf("deploy/CHANGELOG.md names the command %q, which there is not", name)
		}
	}
}
