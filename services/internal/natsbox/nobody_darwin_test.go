package natsbox_test

import (
	"testing"

	"latewood/services/internal/natsbox"
)

// startAsNobody starts a broker as whoever runs the tests, who is not root on a Mac.
func startAsNobody(t *testing.T, dir string) error {
	t.Helper()
	b, err := natsbox.Start(t.Context(), natsbox.Options{Dir: dir})
	if err == nil {
		b.Stop()
	}
	return err
}
