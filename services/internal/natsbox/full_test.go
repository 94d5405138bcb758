//go:build linux || darwin

package natsbox_test

import (
	"context"
	"encoding/json"
	"errors"
	"os"
	"os/exec"
	"os/signal"
	"strconv"
	"syscall"
	"testing"
	"time"

	"latewood/events/ledger"
	"latewood/events/ledger/ledgertest"
	"latewood/services/internal/natsbox"
)

// fillDisk names the folder in which a copy of this test program writes until the system refuses; fillBatch is how
// many entries it appends at a time.
const (
	fillDisk  = "NATSBOX_TEST_FILL_DISK"
	fillBatch = "NATSBOX_TEST_FILL_BATCH"
)

// filled is what the copy reports.
type filled struct {
	Acked    uint64 // entries acknowledged before the first failure
	Unknown  bool   // whether the first failure was an unknown outcome
	Store    bool   // and whether it was put down to the store
	Found    int    // how many entries of the failed append Resolve found
	Resolved string // and its error
	After    bool   // whether a further append was refused by ErrStore with a known outcome
	Health   string
	Millis   [2]int64  // how long the two appends that failed took
	Texts    [2]string // and their errors
}

// copyMain appends until it fails, in a copy of this program that was started for it. The file size limit of the process
// stands in for a full disk: it hits the same write in the server, and needs no rights to set up.
func copyMain() (code int, ok bool) {
	dir := os.Getenv(fillDisk)
	if dir == "" {
		return 0, false
	}
	batch, err := strconv.Atoi(os.Getenv(fillBatch))
	if err == nil {
		var report filled
		if report, err = fill(dir, batch); err == nil {
			err = json.NewEncoder(os.Stdout).Encode(report)
		}
	}
	if err != nil {
		os.Stderr.WriteString(err.Error() + "\n")
		return 1, true
	}
	return 0, true
}

func fill(dir string, batch int) (report filled, err error) {
	ctx := context.Background()
	b, err := natsbox.Start(ctx, natsbox.Options{Dir: dir})
	if err != nil {
		return report, err
	}
	defer b.Stop()
	log, err := openErr(b)
	if err != nil {
		return report, err
	}
	// A write beyond the limit raises a signal that ends the process, unless it is ignored; then the write fails.
	signal.Ignore(syscall.SIGXFSZ)
	if err := syscall.Setrlimit(syscall.RLIMIT_FSIZE, &syscall.Rlimit{Cur: 300_000, Max: 300_000}); err != nil {
		return report, err
	}
	entries := ledgertest.Entries("fill", batch)
	for i := range entries {
		entries[i].Body = append(entries[i].Body, make([]byte, 20_000)...)
	}
	try := func(i int) error {
		from := time.Now()
		err := log.Append(ctx, report.Acked, entries)
		report.Millis[i] = time.Since(from).Milliseconds()
		if err != nil {
			report.Texts[i] = err.Error()
		}
		return err
	}
	for err == nil {
		if err = try(0); err == nil {
			report.Acked += uint64(batch)
		}
	}
	report.Unknown, report.Store = errors.Is(err, ledger.ErrUnknownOutcome), errors.Is(err, ledger.ErrStore)
	if report.Found, err = ledger.Resolve(ctx, log, report.Acked, entries); err != nil {
		report.Resolved = err.Error()
	}
	err = try(1)
	report.After = errors.Is(err, ledger.ErrStore) && !errors.Is(err, ledger.ErrUnknownOutcome)
	if h := b.Health(ctx); h != nil {
		report.Health = h.Error()
	}
	return report, nil
}

func TestDiskFull(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name  string
		batch int
		known bool // whether the store can say that nothing was stored
	}{
		{"single entries", 1, false},
		{"in the middle of committing a batch", 10, false},
		{"while a batch is staged", 20, true},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			dir := t.TempDir()
			cmd := exec.Command(os.Args[0])
			cmd.Env = append(os.Environ(), fillDisk+"="+dir, fillBatch+"="+strconv.Itoa(tt.batch))
			cmd.Stderr = os.Stderr
			out, err := cmd.Output()
			if err != nil {
				t.Fatalf("the copy: %v", err)
			}
			var got filled
			if err := json.Unmarshal(out, &got); err != nil {
				t.Fatalf("the copy says %q: %v", out, err)
			}
			t.Logf("report: %+v", got)
			if !got.Store || got.Unknown == tt.known {
				t.Errorf("first failure after %d entries: unknown outcome %v, store %v: %s", got.Acked, got.Unknown, got.Store, got.Texts[0])
			}
			if !got.After {
				t.Errorf("a further append: want ErrStore with a known outcome, got %s", got.Texts[1])
			}
			if got.Millis[0] > 10_000 || got.Millis[1] > 2000 {
				t.Errorf("the failures took %v ms", got.Millis)
			}
			if got.Health == "" && !tt.known {
				t.Error("Health says that all is well")
			}
			checkAfterFull(t, dir, got, tt.batch)
		})
	}
}

// checkAfterFull opens the ledger when there is room again: everything acknowledged is there, no batch in part, no hole,
// and it takes more.
func checkAfterFull(t *testing.T, dir string, got filled, batch int) {
	t.Helper()
	log := open(t, start(t, natsbox.Options{Dir: dir}))
	last, err := log.Last(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	if last != got.Acked && last != got.Acked+uint64(batch) {
		t.Errorf("acknowledged %d, found %d, in batches of %d", got.Acked, last, batch)
	}
	n := uint64(0)
	for _, err := range log.Read(t.Context(), 1, 0) {
		if err != nil {
			t.Fatalf("reading afterwards: %v", err)
		}
		n++
	}
	if n != last {
		t.Errorf("read %d of %d", n, last)
	}
	if err := log.Append(t.Context(), last, ledgertest.Entries("again", 3)); err != nil {
		t.Errorf("append after there was room again: %v", err)
	}
}

// TestFolderReadOnly looks at a folder that belongs to another user.
func TestFolderReadOnly(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	if err := os.Chmod(dir, 0o555); err != nil {
		t.Fatal(err)
	}
	err := startAsNobody(t, dir)
	if !errors.Is(err, natsbox.ErrReadOnly) {
		t.Errorf("got %v, want ErrReadOnly", err)
	}
}
