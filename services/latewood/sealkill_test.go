//go:build unix

package main

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"latewood/events"
	"latewood/events/ledger/archive"
	"latewood/events/ledger/proof"
	"latewood/services/internal/app"
	"latewood/services/seal"
)

// signed reads every checkpoint that a folder has published.
func signed(t *testing.T, dir, farm string) [][]byte {
	t.Helper()
	b, err := os.ReadFile(filepath.Join(dir, "farms", farm, "archive", "checkpoints"))
	if err != nil {
		t.Fatal(err)
	}
	var out [][]byte
	blocks := bytes.SplitAfter(b, []byte("\n\n"))
	for i := 0; i+1 < len(blocks); i += 2 { // text and signatures; a torn rest is left out
		if bytes.HasSuffix(blocks[i+1], []byte("\n\n")) {
			out = append(out, bytes.TrimSuffix(bytes.Join(blocks[i:i+2], nil), []byte("\n")))
		}
	}
	return out
}

// TestKilledSeal kills the program while records come in: what was acknowledged is there, every checkpoint that was ever published
// is the beginning of the last tree, and no chain has a hole.
func TestKilledSeal(t *testing.T) {
	t.Parallel()
	const farm = "kill-test"
	file, _ := history(t, 20)
	dir := t.TempDir()
	latewood(t, dir, "import", file, "--farm", farm)
	n, answered := rounds(10, 200), 0
	r := rand.New(rand.NewPCG(5, 6))
	acknowledged, notes := map[string]bool{}, map[string]bool{}
	for range n {
		// The sealer comes a second after the first record: some die before it, some in it, some behind it.
		untilKilled(t, dir, time.Duration(100+r.IntN(2400))*time.Millisecond, func() (string, app.AddRequest) {
			answered++
			id := events.NewID(1_660_000_000_000+int64(answered), [10]byte{9}).String()
			return id, pickRequest(id, answered)
		}, acknowledged)
		for _, note := range signed(t, dir, farm) {
			notes[string(note)] = true
		}
	}
	seen := stored(t, dir)
	for id := range acknowledged {
		if !seen[id] {
			t.Errorf("%s was answered for and is not there", id)
		}
	}
	keys, err := seal.PublicKeys(filepath.Join(dir, "farms", farm, "keys"))
	if err != nil || len(keys) != 1 {
		t.Fatal(keys, err)
	}
	a, err := archive.OpenReader(t.Context(), archive.Folder(filepath.Join(dir, "farms", farm, "archive")), archive.Options{Origin: keys[0].Name(), Keys: keys})
	if err != nil {
		t.Fatal(err)
	}
	newest := a.Checkpoint()
	for note := range notes {
		old, err := proof.OpenCheckpoint([]byte(note), newest.Origin, keys...)
		if err != nil {
			t.Errorf("%q: %v", note, err)
			continue
		}
		path, err := proof.Consistency(old.Size, newest.Size, a)
		if err == nil {
			err = proof.CheckConsistency(old.Tree, newest.Tree, path)
		}
		if err != nil {
			t.Errorf("size %d: %v", old.Size, err)
		}
	}
	if out := latewood(t, dir, "audit"); !strings.Contains(out, "nothing found") {
		t.Errorf("audit: %s", out)
	}
	t.Logf("counts: %d kills, %d acknowledged and all there, %d checkpoints consistent with the last tree of %d", n, len(acknowledged), len(notes), newest.Size)
}

// fullDisk is a folder on a disk that holds so many bytes: a file system in memory where this process may mount one.
func fullDisk(t *testing.T, mib int) (dir string, ok bool) {
	t.Helper()
	dir = t.TempDir()
	if os.Geteuid() != 0 || exec.Command("mount", "-t", "tmpfs", "-o", fmt.Sprintf("size=%dm", mib), "tmpfs", dir).Run() != nil {
		return dir, false
	}
	t.Cleanup(func() { _ = exec.Command("umount", dir).Run() })
	return dir, true
}

// TestFullDisk records until there is no room, and gives the room back: the refusal is one clear line, what was acknowledged is
// there, sealed, and recording goes on. The disk is full by a small file system in memory, where this process may mount one, and
// by a limit for the size of files (RLIMIT_FSIZE).
func TestFullDisk(t *testing.T) {
	t.Parallel()
	var ways []string
	t.Run("file size", func(t *testing.T) {
		ways = append(ways, "a limit of 512 KiB for the size of files")
		dir := t.TempDir()
		filled(t, dir, func() {}, func(args ...string) *exec.Cmd {
			cmd := program(t, args...)
			limited := exec.Command("sh", append([]string{"-c", `ulimit -f 1024; exec "$0" "$@"`, cmd.Path}, args...)...) // POSIX: of 512 bytes
			limited.Env = cmd.Env
			return limited
		}, func() {})
	})
	if dir, ok := fullDisk(t, 100); ok {
		t.Run("file system", func(t *testing.T) {
			ways = append(ways, "a file system of 100 MiB in memory")
			filler := filepath.Join(dir, "filler")
			filled(t, dir, func() {
				// Everything but the last 200 KiB is somebody else's.
				out, err := exec.Command("df", "--output=avail", "-B1", dir).Output()
				if err != nil {
					t.Fatal(err)
				}
				var free int64
				fmt.Sscan(strings.SplitN(string(out), "\n", 2)[1], &free)
				if err := os.WriteFile(filler, make([]byte, max(free-200<<10, 0)), 0o600); err != nil {
					t.Fatal(err)
				}
			}, func(args ...string) *exec.Cmd { return program(t, args...) }, func() { _ = os.Remove(filler) })
		})
	}
	t.Logf("counts: full disk by %s", strings.Join(ways, ", and by "))
}

// filled imports into a folder before, while and after there is no room.
func filled(t *testing.T, dir string, fill func(), command func(args ...string) *exec.Cmd, free func()) {
	t.Helper()
	file, _ := history(t, 3000)
	latewood(t, dir, "import", file, "--farm", "full-test")
	fill()
	more, ids := history(t, 4000)
	b, err := command("import", more, "--farm", "full-test", "--dir", dir).CombinedOutput()
	out := string(b)
	if err == nil || strings.Contains(out, "panic") || strings.Contains(out, "goroutine") || strings.Count(out, "latewood: ") != 1 {
		t.Errorf("an import on a full disk: want one clear line, got %v\n%s", err, out)
	}
	free()
	if out := latewood(t, dir, "import", more, "--farm", "full-test"); !strings.Contains(out, "0 refused") {
		t.Errorf("the same file again with room: %s", out)
	}
	seen := stored(t, dir)
	for _, id := range ids {
		if !seen[id] {
			t.Fatalf("%s is missing", id)
		}
	}
	if out := latewood(t, dir, "audit"); !strings.Contains(out, "nothing found") {
		t.Errorf("audit: %s", out)
	}
	t.Logf("counts: %d records at the end; it said: %s", len(seen), strings.TrimSpace(out))
}
