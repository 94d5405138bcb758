package main

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// What the README shows under "Your first hour" works as written. Blocks that need a file of the reader's own, an ID that only
// an answer gives, or somebody to stop them, are told apart by what they name.
func TestReadme(t *testing.T) {
	t.Parallel()
	b, err := os.ReadFile(filepath.Join("..", "..", "README.md"))
	if err != nil {
		t.Fatal(err)
	}
	_, hour, ok := strings.Cut(string(b), "## Your first hour")
	if !ok {
		t.Fatal("the README has no first hour")
	}
	hour, _, _ = strings.Cut(hour, "\n## ")
	var script strings.Builder
	script.WriteString("set -e\n")
	blocks := 0
	for _, block := range indented(hour) {
		if strings.Contains(block, " ID ") || strings.Contains(block, "station.csv") || strings.Contains(block, "go build") ||
			strings.Contains(block, "latewood run") {
			continue
		}
		blocks++
		script.WriteString(block)
	}
	if blocks < 4 {
		t.Fatalf("%d blocks of commands found", blocks)
	}
	dir := t.TempDir()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	if err := os.Symlink(self, filepath.Join(dir, "latewood")); err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command("sh", "-c", script.String())
	cmd.Dir = dir
	cmd.Env = append(os.Environ(), "PATH="+dir+":"+os.Getenv("PATH"), "LATEWOOD_DIR="+filepath.Join(dir, "orchard"), "LATEWOOD_AS_PROGRAM=1")
	if out, err := cmd.CombinedOutput(); err != nil {
		t.Errorf("%v\n%s\n--- ran:\n%s", err, out, script.String())
	}
}

// indented lists the blocks of lines that begin with four blanks, without them.
func indented(text string) []string {
	var out []string
	var block strings.Builder
	for _, line := range append(strings.Split(text, "\n"), "end") {
		if code, ok := strings.CutPrefix(line, "    "); ok {
			block.WriteString(code + "\n")
			continue
		}
		if block.Len() > 0 {
			out = append(out, block.String())
			block.Reset()
		}
	}
	return out
}
