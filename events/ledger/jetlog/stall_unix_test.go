//go:build linux || darwin

package jetlog_test

import (
	"errors"
	"os"
	"syscall"
	"testing"
	"time"

	"latewood/events/ledger"
	"latewood/events/ledger/jetlog"
	"latewood/events/ledger/ledgertest"
)

// TestStalledServer stops a server without killing it: it takes what is sent and does not answer. Let go on, it does what
// it was told.
func TestStalledServer(t *testing.T) {
	t.Parallel()
	for _, n := range []int{1, 30} {
		p := startProcess(t)
		log := p.open(t, jetlog.Options{Timeout: time.Second})
		entries := ledgertest.Entries("stalled", n)
		signal(t, p.cmd.Process, syscall.SIGSTOP)
		// The signal is on its way; the server may still answer until it has arrived.
		var status syscall.WaitStatus
		if _, err := syscall.Wait4(p.cmd.Process.Pid, &status, syscall.WUNTRACED, nil); err != nil || !status.Stopped() {
			t.Fatalf("the server does not stop: %v, %v", status, err)
		}
		from := time.Now()
		err := log.Append(t.Context(), 0, entries)
		if !errors.Is(err, ledger.ErrUnknownOutcome) {
			t.Errorf("append of %d to a stalled server: got %v, want ErrUnknownOutcome", n, err)
		}
		if took := time.Since(from); took > 20*time.Second {
			t.Errorf("append of %d to a stalled server took %v", n, took)
		}
		signal(t, p.cmd.Process, syscall.SIGCONT)
		// A single entry had been sent whole; of a batch only the first message, which the server acknowledges before more
		// is sent, so that the batch never comes to be.
		want := 0
		if n == 1 {
			want = 1
		}
		deadline := time.Now().Add(20 * time.Second)
		for {
			found, err := ledger.Resolve(t.Context(), log, 0, entries)
			if err == nil && found == want {
				break
			}
			if time.Now().After(deadline) {
				t.Fatalf("resolve: got %d, %v, want %d", found, err, want)
			}
			time.Sleep(10 * time.Millisecond)
		}
		if err := ledger.Settle(t.Context(), log, uint64(want), ledgertest.Entries("then", n)); err != nil {
			t.Errorf("append afterwards: %v", err)
		}
	}
}

func signal(t *testing.T, p *os.Process, s syscall.Signal) {
	t.Helper()
	if err := p.Signal(s); err != nil {
		t.Fatalf("%v: %v", s, err)
	}
}
