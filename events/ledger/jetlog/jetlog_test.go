package jetlog_test

import (
	"errors"
	"os"
	"testing"

	"go.uber.org/goleak"

	"latewood/events/ledger"
	"latewood/events/ledger/jetlog"
	"latewood/events/ledger/ledgertest"
)

func TestMain(m *testing.M) {
	goleak.VerifyTestMain(m, goleak.Cleanup(func(code int) {
		removeServerBinary()
		os.Exit(code)
	}))
}

func TestLogEmbedded(t *testing.T) {
	t.Parallel()
	ledgertest.Run(t, func(t *testing.T) ledgertest.Harness {
		b := startBroker(t)
		return ledgertest.Harness{
			Open: func(t *testing.T) ledger.Log { return b.open(t) },
			Restart: func(t *testing.T) {
				b.stop()
				b.start(t)
			},
		}
	})
}

func TestOpenAbsent(t *testing.T) {
	t.Parallel()
	b := startBroker(t)
	_, err := jetlog.Open(t.Context(), b.conn(t), farm, jetlog.Options{})
	if !errors.Is(err, jetlog.ErrAbsent) {
		t.Errorf("got %v, want ErrAbsent", err)
	}
}

// TestClosedConnection closes the connections under a log that is in use.
func TestClosedConnection(t *testing.T) {
	t.Parallel()
	b := startBroker(t)
	nc, reader := b.conn(t), b.conn(t)
	log, err := jetlog.Open(t.Context(), nc, farm, jetlog.Options{Create: true, Reader: reader})
	if err != nil {
		t.Fatal(err)
	}
	mustAppend(t, log, 0, ledgertest.Entries("closed", 40))
	seen := make(chan struct{}, 40)
	done := make(chan error, 1)
	go func() {
		done <- log.Follow(t.Context(), 1, func([]ledger.Entry) error { seen <- struct{}{}; return nil })
	}()
	<-seen
	reader.Close()
	if err := <-done; !errors.Is(err, ledger.ErrStore) {
		t.Errorf("follow: got %v, want ErrStore", err)
	}
	for _, err := range log.Read(t.Context(), 1, 40) {
		if !errors.Is(err, ledger.ErrStore) {
			t.Errorf("read: got %v, want ErrStore", err)
		}
	}
	nc.Close()
	for _, n := range []int{1, 2} {
		err := log.Append(t.Context(), 40, ledgertest.Entries("closed", n))
		if !errors.Is(err, ledger.ErrStore) || errors.Is(err, ledger.ErrUnknownOutcome) {
			t.Errorf("append of %d: got %v, want ErrStore and a known outcome", n, err)
		}
	}
}
