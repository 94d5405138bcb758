package evidence_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"latewood/events/ledger/evidence"
	"latewood/events/ledger/proof"
)

// A run is one call of the script.
type run struct {
	b    []byte
	keys []proof.Key
	seen [][]byte
}

// An outcome is the exit code of the script and what it printed.
type outcome struct {
	Exit int    `json:"exit"`
	Out  string `json:"out"`
}

// driver calls the script's main for each list of arguments, all in one process: starting Python takes longer than a check.
const driver = `
import contextlib, io, json, sys
sys.path.insert(0, sys.argv[1])
import verify
for args in json.load(sys.stdin):
    out = io.StringIO()
    sys.argv = ["verify.py"] + args
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(out):
        code = verify.main()
    print(json.dumps({"exit": code, "out": out.getvalue()}))
`

// runScript checks files with the script in Python.
func runScript(t *testing.T, script []byte, runs ...run) []outcome {
	t.Helper()
	dir := t.TempDir()
	write := func(name string, b []byte) string {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, b, 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	write("verify.py", script)
	var calls [][]string
	for i, r := range runs {
		keys := ""
		for _, k := range r.keys {
			keys += k.String() + "\n"
		}
		args := []string{write(fmt.Sprintf("file%d", i), r.b), "--key", write(fmt.Sprintf("key%d", i), []byte(keys))}
		for j, s := range r.seen {
			args = append(args, "--seen", write(fmt.Sprintf("seen%d-%d", i, j), s))
		}
		calls = append(calls, args)
	}
	in, err := json.Marshal(calls)
	if err != nil {
		t.Fatal(err)
	}
	var out, errs bytes.Buffer
	c := exec.Command("python3", "-c", driver, dir)
	c.Stdin, c.Stdout, c.Stderr = bytes.NewReader(in), &out, &errs
	if err := c.Run(); err != nil {
		t.Fatalf("python3: %v\n%s", err, errs.String())
	}
	var outcomes []outcome
	for line := range strings.Lines(out.String()) {
		var o outcome
		if err := json.Unmarshal([]byte(line), &o); err != nil {
			t.Fatal(err)
		}
		outcomes = append(outcomes, o)
	}
	if len(outcomes) != len(runs) {
		t.Fatalf("%d outcomes of %d runs", len(outcomes), len(runs))
	}
	return outcomes
}

// The script and Verify agree on what is good and what is not.
func TestScriptAgrees(t *testing.T) {
	t.Parallel()
	cases := problems(t)
	// The script knows no witnesses, and takes no key for wrong use.
	cases = slices.DeleteFunc(cases, func(p problem) bool { return len(p.trust.Witnesses) > 0 || len(p.trust.Keys) == 0 })
	b := small(t)
	for i := range len(b) {
		if i%2001 == 0 || full && i%101 == 0 {
			flipped := bytes.Clone(b)
			flipped[i] ^= 4
			cases = append(cases, problem{name: fmt.Sprintf("byte %d", i), b: flipped, trust: newFarm(t).trust()})
		}
	}
	runs := make([]run, len(cases))
	for i, c := range cases {
		runs[i] = run{c.b, c.trust.Keys, c.trust.Seen}
	}
	good := 0
	for i, o := range runScript(t, evidence.Script(), runs...) {
		want, begins := 3, "WRONG: "
		if evidence.Verify(cases[i].b, cases[i].trust).OK {
			want, begins = 0, "Nothing that was recorded for "
			good++
		}
		if o.Exit != want || !strings.HasPrefix(o.Out, begins) {
			t.Errorf("%s: the script ends with %d, want %d:\n%s", cases[i].name, o.Exit, want, o.Out)
		}
	}
	t.Logf("counts: %d files checked by Go and by Python with openssl, %d of them good", len(cases), good)
}

// Every removal that Verify finds, the script finds, though somebody with the key signed the rest anew.
func TestScriptFindsWhatIsLeftOut(t *testing.T) {
	t.Parallel()
	s := tell(t)
	p := s.give(lot17)
	b := s.seal(p)
	all := append(slices.Clone(p.Records), p.Given)
	var runs []run
	for _, r := range all {
		f := open(t, b)
		f.drop(r)
		gone, err := must(evidence.Head(b)).Reseal(f.files(), s.sign)
		if err != nil {
			t.Fatal(err)
		}
		runs = append(runs, run{gone, s.trust().Keys, nil})
	}
	for i, o := range runScript(t, evidence.Script(), runs...) {
		if o.Exit != 3 {
			t.Errorf("without place %d, %s: the script ends with %d: %s", all[i].Place, all[i].Kind, o.Exit, o.Out)
		}
	}
}

// A file that version 1 made verifies for ever, with the program and with the script that it carries. Files here are added,
// never edited.
func TestGolden(t *testing.T) {
	t.Parallel()
	b, err := os.ReadFile("testdata/lot-l17.v1.zip")
	if err != nil {
		t.Fatal(err)
	}
	text, err := os.ReadFile("testdata/lot-l17.v1.vkey")
	if err != nil {
		t.Fatal(err)
	}
	seen, err := os.ReadFile("testdata/lot-l17.v1.seen")
	if err != nil {
		t.Fatal(err)
	}
	key, err := proof.ParseKey(strings.TrimSpace(string(text)))
	if err != nil {
		t.Fatal(err)
	}
	r := evidence.Verify(b, evidence.Trust{Keys: []proof.Key{key}, Seen: [][]byte{seen}})
	if !r.OK || !r.Complete || r.Records != 11 || r.AsOf != 17 || r.Seen != 1 || len(r.Names) != 1 || len(r.Chains) != 4 {
		t.Errorf("the report: %+v", r)
	}
	for name, script := range map[string][]byte{"its own script": open(t, b).parts["verify.py"], "the script of today": evidence.Script()} {
		if o := runScript(t, script, run{b, []proof.Key{key}, [][]byte{seen}})[0]; o.Exit != 0 {
			t.Errorf("%s ends with %d: %s", name, o.Exit, o.Out)
		}
	}
}
