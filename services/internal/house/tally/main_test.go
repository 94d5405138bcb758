package main

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// j writes one line of go test -json from name, value pairs.
func j(pairs ...string) string {
	var fields []string
	for i := 0; i < len(pairs); i += 2 {
		fields = append(fields, fmt.Sprintf("%q:%q", pairs[i], pairs[i+1]))
	}
	return "{" + strings.Join(fields, ",") + "}\n"
}

func TestTally(t *testing.T) {
	t.Parallel()
	for _, tc := range []struct {
		name, in string
		ok       bool
		has      []string
		hasNot   []string
	}{
		{
			"all well",
			j("Action", "output", "Package", "p", "Test", "TestA", "Output", "quiet\n") +
				j("Action", "output", "Package", "p", "Test", "TestA", "Output", "    a_test.go:1: counts: 12 things\n") +
				j("Action", "pass", "Package", "p", "Test", "TestA/sub") + j("Action", "pass", "Package", "p", "Test", "TestA") + j("Action", "pass", "Package", "p"),
			true,
			[]string{"ok   p ", "p TestA: 12 things", "\n2 passed, 0 failed\n"},
			[]string{"quiet", "Skipped", "Failed"},
		},
		{
			"a failure shows its output only",
			j("Action", "output", "Package", "p", "Test", "TestA", "Output", "fine\n") + j("Action", "pass", "Package", "p", "Test", "TestA") +
				j("Action", "output", "Package", "p", "Test", "TestB", "Output", "got 1, want 2\n") + j("Action", "fail", "Package", "p", "Test", "TestB") + j("Action", "fail", "Package", "p"),
			false,
			[]string{"got 1, want 2", "FAIL p ", "Failed packages:\n  p\n", "\n1 passed, 1 failed\n"},
			[]string{"fine"},
		},
		{
			"a skip is listed with its reason",
			j("Action", "output", "Package", "p", "Test", "TestA", "Output", "=== RUN TestA\n") + j("Action", "output", "Package", "p", "Test", "TestA", "Output", "    a_test.go:3: no such system\n") +
				j("Action", "output", "Package", "p", "Test", "TestA", "Output", "--- SKIP: TestA\n") + j("Action", "skip", "Package", "p", "Test", "TestA") +
				j("Action", "pass", "Package", "p", "Test", "TestB") + j("Action", "pass", "Package", "p"),
			true,
			[]string{"Skipped:\n  p TestA: a_test.go:3: no such system\n", "\n1 passed, 0 failed, 1 skipped\n"},
			nil,
		},
		{
			"a build that fails counts one",
			j("Action", "build-output", "ImportPath", "q [q.test]", "Output", "q.go:1: undefined: x\n") +
				j("Action", "fail", "Package", "q", "FailedBuild", "q [q.test]") + j("Action", "pass", "Package", "p", "Test", "TestA") + j("Action", "pass", "Package", "p"),
			false,
			[]string{"undefined: x", "\n1 passed, 1 failed\n"},
			nil,
		},
		{
			"a panic shows the test that did not end",
			j("Action", "output", "Package", "p", "Test", "TestA", "Output", "panic: here\n") + j("Action", "output", "Package", "p", "Output", "exit status 2\n") + j("Action", "fail", "Package", "p"),
			false,
			[]string{"panic: here\nexit status 2\n", "\n0 passed, 1 failed\n"},
			nil,
		},
		{
			"a package that never ended counts as failed",
			j("Action", "pass", "Package", "p", "Test", "TestA"),
			false,
			[]string{"p (did not end)", "\n1 passed, 1 failed\n"},
			nil,
		},
		{"nothing ran", j("Action", "skip", "Package", "p"), false, []string{"-    p", "\n0 passed, 0 failed\n"}, nil},
		{"empty", "", false, []string{"0 passed, 0 failed"}, nil},
		{"foreign lines are shown, the last without a line end", "go: something is wrong\n" + j("Action", "pass", "Package", "p", "Test", "T") + j("Action", "pass", "Package", "p") + "{broken", true, []string{"go: something is wrong\n", "{broken"}, nil},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			var out strings.Builder
			ok, err := tally(strings.NewReader(tc.in), &out)
			if err != nil || ok != tc.ok {
				t.Errorf("tally: got %v, %v, want %v", ok, err, tc.ok)
			}
			for _, w := range tc.has {
				if !strings.Contains("\n"+out.String(), w) {
					t.Errorf("output lacks %q:\n%s", w, out.String())
				}
			}
			for _, w := range tc.hasNot {
				if strings.Contains(out.String(), w) {
					t.Errorf("output has %q:\n%s", w, out.String())
				}
			}
		})
	}
}

// The real thing: what go test writes today, for a module of three packages of which one fails and one does not build.
func TestTallyOfGoTest(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	for name, text := range map[string]string{
		"go.mod":      "module try\n\ngo 1.24\n",
		"a/a.go":      "package a\n",
		"a/a_test.go": "package a\nimport \"testing\"\nfunc TestGood(t *testing.T) { t.Run(\"sub\", func(t *testing.T) {}); t.Log(\"counts: 7 things\") }\nfunc TestBad(t *testing.T) { t.Error(\"got this\") }\nfunc TestOut(t *testing.T) { t.Skip(\"not here\") }\n",
		"b/b.go":      "package b\nvar x int = \"no\"\n",
		"b/b_test.go": "package b\n",
		"c/c.go":      "package c\n",
		"d/d_test.go": "package d\nimport \"testing\"\nfunc TestPanics(t *testing.T) { panic(\"ended early\") }\n",
		"e/e_test.go": "package e\nimport (\"testing\"; \"os\")\nfunc TestMain(m *testing.M) { os.Exit(3) }\n",
	} {
		p := filepath.Join(dir, name)
		if err := os.MkdirAll(filepath.Dir(p), 0o700); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(p, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	cmd := exec.Command("go", "test", "-vet=off", "-json", "./...")
	cmd.Dir = dir
	cmd.Env = append(os.Environ(), "GOFLAGS=-mod=mod", "GOWORK=off")
	in, err := cmd.Output()
	if err == nil {
		t.Fatal("go test of a module that fails ended well")
	}
	var out strings.Builder
	ok, err := tally(strings.NewReader(string(in)), &out)
	if ok || err != nil {
		t.Errorf("tally: got %v, %v, want false and no error", ok, err)
	}
	for _, w := range []string{"got this", "cannot use \"no\"", "panic: ended early", "try/a TestGood: 7 things", "try/a TestOut: a_test.go:5: not here", "\n2 passed, 4 failed, 1 skipped\n"} {
		if !strings.Contains(out.String(), w) {
			t.Errorf("output lacks %q", w)
		}
	}
	if t.Failed() {
		t.Logf("input:\n%s\noutput:\n%s", in, out.String())
	}
}
