// Tally reads the output of go test -json, shows what somebody must see, and counts.
//
//	go test -json ./... | tally
//
// It shows one line a package, the whole output of every test that failed, every test that was skipped, and the lines that
// tests print to say how much they looked at: those with "counts: " in them. The last line is
//
//	N passed, N failed
//
// with ", N skipped" behind it if any were. A test and each of its subtests count one; a package that failed without a
// failing test, because it did not build or ended early, counts as one failed. The exit code is 0 if nothing failed and at
// least one test ran, else 1.
package main

import (
	"bufio"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"
)

func main() {
	ok, err := tally(os.Stdin, os.Stdout)
	if err != nil {
		fmt.Fprintln(os.Stderr, "tally:", err)
		os.Exit(1)
	}
	if !ok {
		os.Exit(1)
	}
}

// An event is one line of go test -json (go doc cmd/test2json, and go help buildjson for the build-... actions).
type event struct {
	Action      string
	Package     string
	Test        string
	Elapsed     float64 // seconds
	Output      string
	ImportPath  string // of build-output
	FailedBuild string // on the fail of a package whose build failed: the ImportPath of the output that says why
}

// A count is how many tests ended how.
type count struct{ passed, failed, skipped int }

func (c *count) add(d count) {
	c.passed += d.passed
	c.failed += d.failed
	c.skipped += d.skipped
}

// A suite is the tests of one package while they run.
type suite struct {
	count
	output map[string][]string // by test; "" is the package's own
	failed []string            // tests, in the order they ended
}

// tally does it all. It reports whether something ran and nothing failed.
func tally(in io.Reader, out io.Writer) (bool, error) {
	var sum count
	suites := map[string]*suite{}
	builds := map[string][]string{}
	var skipped, counts, failed []string
	packages := 0

	lines := bufio.NewReader(in)
	for {
		line, err := lines.ReadBytes('\n')
		if len(line) > 0 {
			var e event
			if line[0] != '{' || json.Unmarshal(line, &e) != nil {
				fmt.Fprint(out, string(line)) // not one of theirs: somebody should see it
			} else {
				s := suites[e.Package]
				if s == nil {
					s = &suite{output: map[string][]string{}}
					suites[e.Package] = s
				}
				switch e.Action {
				case "build-output":
					builds[e.ImportPath] = append(builds[e.ImportPath], e.Output)
				case "output":
					s.output[e.Test] = append(s.output[e.Test], e.Output)
					if _, says, ok := strings.Cut(e.Output, "counts: "); ok {
						counts = append(counts, fmt.Sprintf("%s %s: %s", e.Package, e.Test, strings.TrimSpace(says)))
					}
				case "pass", "fail", "skip":
					if e.Test != "" {
						s.end(e)
						if e.Action == "skip" {
							skipped = append(skipped, fmt.Sprintf("%s %s: %s", e.Package, e.Test, why(s.output[e.Test])))
						}
						break
					}
					packages++
					if e.Action == "fail" && len(s.failed) == 0 {
						s.count.failed++
					}
					if s.count.failed > 0 {
						failed = append(failed, e.Package)
						s.show(out, e.Package, builds[e.FailedBuild])
					}
					fmt.Fprintf(out, "%-4s %-45s %6.1f s  %s\n", mark(e.Action, s.count), e.Package, e.Elapsed, ran(s.count))
					sum.add(s.count)
					s.output = nil
				}
			}
		}
		if err == io.EOF {
			break
		}
		if err != nil {
			return false, fmt.Errorf("read: %w", err)
		}
	}

	// A package that never ended: its process was killed, or ours of the go command.
	for name, s := range suites {
		if s.output != nil && name != "" {
			s.count.failed++
			sum.add(s.count)
			failed = append(failed, name+" (did not end)")
		}
	}
	list(out, "What the tests say they looked at", counts)
	list(out, "Skipped", skipped)
	list(out, "Failed packages", failed)
	fmt.Fprintf(out, "\nEach test and each subtest counts one; %d packages.\n%s\n", packages, sum)
	return sum.failed == 0 && sum.passed > 0, nil
}

func (c count) String() string {
	s := fmt.Sprintf("%d passed, %d failed", c.passed, c.failed)
	if c.skipped > 0 {
		s += fmt.Sprintf(", %d skipped", c.skipped)
	}
	return s
}

// end takes in the end of one test.
func (s *suite) end(e event) {
	switch e.Action {
	case "pass":
		s.passed++
		delete(s.output, e.Test)
	case "fail":
		s.count.failed++
		s.failed = append(s.failed, e.Test)
	case "skip":
		s.skipped++
	}
}

// show writes the output of what failed: the build's, that of each failed test, and the package's own.
func (s *suite) show(out io.Writer, name string, build []string) {
	fmt.Fprintf(out, "\n--- %s ---\n%s", name, strings.Join(build, ""))
	for _, test := range s.failed {
		fmt.Fprint(out, strings.Join(s.output[test], ""))
		delete(s.output, test)
	}
	// Tests that began and did not end: a panic or a time limit stopped the process, and their output says where.
	var left []string
	for test := range s.output {
		if test != "" {
			left = append(left, test)
		}
	}
	slices.Sort(left)
	for _, test := range append(left, "") {
		fmt.Fprint(out, strings.Join(s.output[test], ""))
	}
}

// why gives the reason from the output of a skipped test: its last line that is not go test's own.
func why(output []string) string {
	for _, line := range slices.Backward(output) {
		line = strings.TrimSpace(line)
		if line != "" && !strings.HasPrefix(line, "===") && !strings.HasPrefix(line, "---") {
			return line
		}
	}
	return "it does not say why"
}

func mark(action string, c count) string {
	switch {
	case c.failed > 0:
		return "FAIL"
	case action == "skip":
		return "-" // no test files
	default:
		return "ok"
	}
}

// ran is the count of one package, in words where there is nothing to count.
func ran(c count) string {
	if c == (count{}) {
		return "no tests"
	}
	return c.String()
}

func list(out io.Writer, title string, lines []string) {
	if len(lines) == 0 {
		return
	}
	fmt.Fprintf(out, "\n%s:\n", title)
	for _, l := range lines {
		fmt.Fprintf(out, "  %s\n", l)
	}
}
