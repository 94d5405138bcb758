package natsbox_test

import (
	"runtime"
	"syscall"
	"testing"

	"latewood/services/internal/natsbox"
)

// startAsNobody starts a broker with the file rights of a user who owns nothing, also where the tests run as root.
func startAsNobody(t *testing.T, dir string) error {
	t.Helper()
	done := make(chan error)
	go func() {
		// The rights belong to the thread. It is not given back, so it ends with the goroutine.
		runtime.LockOSThread()
		if err := syscall.Setfsuid(65534); err != nil {
			done <- err
			return
		}
		b, err := natsbox.Start(t.Context(), natsbox.Options{Dir: dir})
		if err == nil {
			b.Stop()
		}
		done <- err
	}()
	return <-done
}
