package disk_test

import (
	"bufio"
	"errors"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"testing"

	"latewood/events/ledger/disk"
)

// holdLock names the lock that a copy of this test program takes and holds until it is killed.
const holdLock = "DISK_TEST_HOLD_LOCK"

func TestMain(m *testing.M) {
	if path := os.Getenv(holdLock); path != "" {
		if _, err := disk.TryLock(path); err != nil {
			os.Exit(1)
		}
		os.Stdout.WriteString("held\n")
		io.Copy(io.Discard, os.Stdin) // until the parent closes it
		os.Exit(0)
	}
	os.Exit(m.Run())
}

func write(text string) func(io.Writer) error {
	return func(w io.Writer) error {
		_, err := io.WriteString(w, text)
		return err
	}
}

func wantContent(t *testing.T, path, want string) {
	t.Helper()
	got, err := os.ReadFile(path)
	if err != nil || string(got) != want {
		t.Errorf("%s: got %q, %v, want %q", filepath.Base(path), got, err, want)
	}
}

func TestWriteFile(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	path := filepath.Join(dir, "state")
	if err := disk.WriteFile(path, write("one")); err != nil {
		t.Fatal(err)
	}
	wantContent(t, path, "one")
	// A crash of an earlier call left half a temporary file behind.
	if err := os.WriteFile(path+".tmp", []byte("half of something longer"), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := disk.WriteFile(path, write("two")); err != nil {
		t.Fatal(err)
	}
	wantContent(t, path, "two")
	// A writer that fails half way leaves the old content and nothing else.
	broken := errors.New("broken")
	err := disk.WriteFile(path, func(w io.Writer) error {
		io.WriteString(w, "thr")
		return broken
	})
	if !errors.Is(err, broken) {
		t.Errorf("got %v, want the writer's error", err)
	}
	wantContent(t, path, "two")
	names, err := os.ReadDir(dir)
	if err != nil || len(names) != 1 {
		t.Errorf("folder: got %v, %v, want the one file", names, err)
	}
	if err := disk.WriteFile(filepath.Join(dir, "none", "state"), write("x")); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("folder that is not there: got %v, want os.ErrNotExist", err)
	}
}

func TestFree(t *testing.T) {
	t.Parallel()
	free, err := disk.Free(t.TempDir())
	if err != nil || free <= 0 {
		t.Errorf("got %d, %v, want some space", free, err)
	}
	if _, err := disk.Free(filepath.Join(t.TempDir(), "none")); err == nil {
		t.Error("folder that is not there: got no error")
	}
}

func TestLock(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "lock")
	first, err := disk.TryLock(path)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := disk.TryLock(path); !errors.Is(err, disk.ErrLocked) {
		t.Errorf("second lock in one process: got %v, want ErrLocked", err)
	}
	if err := errors.Join(first.Unlock(), first.Unlock()); err != nil {
		t.Errorf("unlock twice: %v", err)
	}
	again, err := disk.TryLock(path)
	if err != nil {
		t.Fatalf("lock after unlock: %v", err)
	}
	defer again.Unlock()
}

// TestLockDiesWithItsHolder kills a process that holds the lock.
func TestLockDiesWithItsHolder(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "lock")
	cmd := exec.Command(os.Args[0])
	cmd.Env = append(os.Environ(), holdLock+"="+path)
	stdin, err := cmd.StdinPipe()
	if err != nil {
		t.Fatal(err)
	}
	defer stdin.Close()
	stdout, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	if line, err := bufio.NewReader(stdout).ReadString('\n'); line != "held\n" {
		t.Fatalf("the other process says %q, %v", line, err)
	}
	if _, err := disk.TryLock(path); !errors.Is(err, disk.ErrLocked) {
		t.Errorf("while another process holds it: got %v, want ErrLocked", err)
	}
	if err := cmd.Process.Kill(); err != nil {
		t.Fatal(err)
	}
	cmd.Wait()
	l, err := disk.TryLock(path)
	if err != nil {
		t.Fatalf("after its holder was killed: %v", err)
	}
	l.Unlock()
}
