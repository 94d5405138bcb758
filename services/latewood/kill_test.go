//go:build unix

package main

import (
	"bufio"
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"latewood/events"
	"latewood/services/internal/app"
	"latewood/services/record"
)

// rounds is how often the program is killed: 50 in the full proof.
func rounds(small, full int) int {
	if os.Getenv("LATEWOOD_PROOF") != "" {
		return full
	}
	return small
}

// history is a file of records: a farm, a block, and picks, each with an id of its own.
func history(t *testing.T, picks int) (path string, ids []string) {
	t.Helper()
	var b strings.Builder
	b.WriteString(`{"type":"farm.opened","time":"2020-01-01","data":{"name":"Kill test","zone":"Pacific/Honolulu","latitude":19,"longitude":-155}}` + "\n")
	b.WriteString(`{"type":"block.established","time":"2020-01-01","data":{"block":"north","name":"North","area":{"value":1,"unit":"har"}}}` + "\n")
	start := time.Date(2021, 5, 1, 8, 0, 0, 0, time.UTC)
	for i := range picks {
		id := events.NewID(1_600_000_000_000+int64(i), [10]byte{byte(i >> 8), byte(i)}).String()
		ids = append(ids, id)
		fmt.Fprintf(&b, `{"id":%q,"type":"fruit.picked","time":%q,"data":{"where":{"block":"north"},"mass":{"value":%d.5,"unit":"kg"},"massBasis":"scale"}}`+"\n",
			id, start.Add(time.Duration(i)*time.Minute).Format(time.RFC3339), i%40+1)
	}
	path = filepath.Join(t.TempDir(), "history.jsonl")
	if err := os.WriteFile(path, []byte(b.String()), 0o600); err != nil {
		t.Fatal(err)
	}
	return path, ids
}

// stored reads the ledger of a folder back: every record whole, every chain without a gap, each id once.
func stored(t *testing.T, dir string) map[string]bool {
	t.Helper()
	// A child that another test is just starting may hold the folder's lock between fork and exec.
	a, err := app.OpenSoon(context.Background(), app.Options{Dir: dir})
	if err != nil {
		t.Fatalf("the next start is not clean: %v", err)
	}
	defer a.Close()
	seen := map[string]bool{}
	codes, err := a.Codes()
	if err != nil {
		t.Fatal(err)
	}
	if len(codes) == 0 {
		return seen // killed before the farm was there
	}
	state := record.NewState()
	place := uint64(0)
	_, exit, err := a.Call(context.Background(), "export", app.ExportRequest{}, nil, func(p []byte) {
		var l app.Lines
		if err := events.ReadJSON(p, &l); err != nil {
			t.Error(err)
		}
		for _, body := range l.Records {
			place++
			r, err := events.ParseRecord(place, body)
			if err != nil {
				t.Errorf("half a record: %v", err)
				continue
			}
			if err := state.Apply(r); err != nil {
				t.Errorf("a broken chain: %v", err)
			}
			if seen[r.Envelope.ID] {
				t.Errorf("%s stands twice", r.Envelope.ID)
			}
			seen[r.Envelope.ID] = true
		}
	})
	if err != nil || exit != 0 {
		t.Fatalf("export: exit %d, %v", exit, err)
	}
	return seen
}

// A program that is killed in the middle of an import leaves whole records and whole chains; the same file again records
// exactly what is missing.
func TestKilledImport(t *testing.T) {
	t.Parallel()
	file, ids := history(t, 6000)
	r := rand.New(rand.NewPCG(1, 2))
	n, there := rounds(4, 50), 0
	dir := t.TempDir()
	for round := range n {
		if round%5 == 0 { // begin anew now and then: an import into an empty folder is killed too
			dir = t.TempDir()
		}
		cmd := program(t, "import", file, "--farm", "kill-test", "--dir", dir)
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		time.Sleep(time.Duration(r.IntN(900)) * time.Millisecond) // the moment of death is what this test is about
		_ = cmd.Process.Kill()
		_ = cmd.Wait()
		there = len(stored(t, dir))
	}
	out := latewood(t, dir, "import", file, "--farm", "kill-test")
	if !strings.Contains(out, "0 refused") {
		t.Errorf("the same file again: %s", out)
	}
	seen := stored(t, dir)
	for _, id := range ids {
		if !seen[id] {
			t.Fatalf("%s is missing after the import was run to its end", id)
		}
	}
	t.Logf("counts: killed imports %d; %d records stood after the last kill, %d at the end", n, there, len(seen))
}

// A program that is killed while it makes a farm, at each of the files that it makes for it, leaves a folder in which the same
// command opens the farm.
func TestKilledOpen(t *testing.T) {
	t.Parallel()
	file, ids := history(t, 20)
	n, seen := rounds(1, 20), 0
	const stream = "broker/jetstream/LEDGER/streams/LATEWOOD_kill-test"
	for _, made := range []string{
		stream, stream + "/msgs", stream + "/meta.inf", stream + "/meta.sum", stream + "/msgs/1.blk", "farms/kill-test",
		"farms/kill-test/people/owner.json", "farms/kill-test/keys/ledger.key", "farms/kill-test/keys/ledger.vkeys", "farms/kill-test/archive/checkpoint",
	} {
		dir := t.TempDir()
		for range n { // a second kill falls on what the first one left
			cmd := program(t, "import", file, "--farm", "kill-test", "--dir", dir)
			if err := cmd.Start(); err != nil {
				t.Fatal(err)
			}
			ended := make(chan struct{})
			go func() { _ = cmd.Wait(); close(ended) }()
			for alive := true; alive; { // no pause: the file beside it comes within microseconds
				if _, err := os.Lstat(filepath.Join(dir, made)); err == nil {
					seen++
					break
				}
				select {
				case <-ended:
					alive = false
				default:
				}
			}
			_ = cmd.Process.Kill()
			<-ended
		}
		if out := latewood(t, dir, "import", file, "--farm", "kill-test"); !strings.Contains(out, "0 refused") {
			t.Errorf("killed at %s: the same file again: %s", made, out)
		}
		there := stored(t, dir)
		for _, id := range ids {
			if !there[id] {
				t.Fatalf("killed at %s: %s is missing", made, id)
			}
		}
	}
	t.Logf("counts: killed while a farm is made: %d", seen)
}

// Every record that the program answered for is there after a kill, once.
func TestKilledRun(t *testing.T) {
	t.Parallel()
	file, _ := history(t, 50)
	dir := t.TempDir()
	latewood(t, dir, "import", file, "--farm", "kill-test")
	n, answered := rounds(3, 25), 0
	r := rand.New(rand.NewPCG(3, 4))
	acknowledged := map[string]bool{}
	for range n {
		untilKilled(t, dir, time.Duration(200+r.IntN(600))*time.Millisecond, func() (string, app.AddRequest) {
			answered++
			id := events.NewID(1_650_000_000_000+int64(answered), [10]byte{7}).String()
			return id, pickRequest(id, answered)
		}, acknowledged)
	}
	seen := stored(t, dir)
	for id := range acknowledged {
		if !seen[id] {
			t.Errorf("%s was answered for and is not there", id)
		}
	}
	t.Logf("counts: killed runs %d, acknowledged %d, lost 0 wanted", n, len(acknowledged))
}

// pickRequest adds a pick with an id of its own.
func pickRequest(id string, n int) app.AddRequest {
	return app.AddRequest{
		Kind: "fruit.picked", ID: id, Time: "2022-06-01T08:00:00-10:00",
		Data: fmt.Sprintf(`{"where":{"block":"north"},"mass":{"value":%d,"unit":"kg"}}`, n%90+1),
	}
}

// untilKilled runs the program on a folder, adds records one by one, and kills it after a while. What it answered for stands in
// acknowledged then.
func untilKilled(t *testing.T, dir string, after time.Duration, next func() (id string, q app.AddRequest), acknowledged map[string]bool) {
	t.Helper()
	cmd := program(t, "run", "--dir", dir)
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	if !bufio.NewScanner(out).Scan() { // it says where it listens
		t.Fatal("run ended at once")
	}
	c, err := app.Connect(context.Background(), app.Options{Dir: dir})
	if err != nil {
		t.Fatal(err)
	}
	die := time.AfterFunc(after, func() { _ = cmd.Process.Kill() })
	for {
		id, q := next()
		doc, _, err := c.Call(context.Background(), "add", q, nil, nil)
		if err != nil {
			break
		}
		var d app.Recorded
		if err := events.ReadJSON(doc, &d); err != nil || d.Recorded != 1 {
			t.Fatalf("add: %s, %v", doc, err)
		}
		acknowledged[id] = true
	}
	die.Stop()
	_ = cmd.Process.Kill()
	_ = cmd.Wait()
}

// program is the real program in a process of its own: this test binary under the name that TestMain knows.
func program(t *testing.T, args ...string) *exec.Cmd {
	t.Helper()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(self, args...)
	cmd.Args[0] = "latewood"
	cmd.Env = append(os.Environ(), "LATEWOOD_AS_PROGRAM=1")
	return cmd
}
