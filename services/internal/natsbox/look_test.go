package natsbox_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"latewood/events/ledger"
	"latewood/events/ledger/jetlog"
	"latewood/services/internal/natsbox"
)

// stocked is the folder of a stopped broker with a ledger of single records and batches.
func stocked(t *testing.T) (dir string, bodies [][]byte) {
	t.Helper()
	dir = t.TempDir()
	box, err := natsbox.Start(t.Context(), natsbox.Options{Dir: dir})
	if err != nil {
		t.Fatal(err)
	}
	defer box.Stop()
	nc, err := box.Ledger()
	if err != nil {
		t.Fatal(err)
	}
	log, err := jetlog.Open(t.Context(), nc, "hollow", jetlog.Options{Create: true})
	if err != nil {
		t.Fatal(err)
	}
	for _, n := range []int{1, 1, 30, 1, 50, 1} {
		run := make([]ledger.Entry, n)
		for i := range run {
			run[i] = ledger.Entry{Kind: "pest.scouted", Body: fmt.Appendf(nil, `{"n":%d,"pad":%q}`, len(bodies), bytes.Repeat([]byte{'x'}, len(bodies)%40))}
			bodies = append(bodies, run[i].Body)
		}
		if err := log.Append(t.Context(), uint64(len(bodies)-n), run); err != nil {
			t.Fatal(err)
		}
	}
	return dir, bodies
}

func lookAt(t *testing.T, dir string, after uint64) (natsbox.Look, map[uint64][]byte) {
	t.Helper()
	got := map[uint64][]byte{}
	l, err := natsbox.LookAt(t.Context(), dir, "hollow", after, func(e ledger.Entry) error {
		got[e.Place] = e.Body
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return l, got
}

// TestLook holds our reading of block files against what the server of this version writes.
func TestLook(t *testing.T) {
	t.Parallel()
	dir, bodies := stocked(t)
	l, got := lookAt(t, dir, 0)
	if !l.There || !l.Settings || l.First != 1 || l.Last != uint64(len(bodies)) || l.Records != len(bodies) || len(l.Spots) > 0 || len(l.Gaps) > 0 {
		t.Errorf("got %+v, want %d records and nothing wrong", l, len(bodies))
	}
	for i, want := range bodies {
		if !bytes.Equal(got[uint64(i)+1], want) {
			t.Errorf("place %d: got %q, want %q", i+1, got[uint64(i)+1], want)
		}
	}
	if _, got := lookAt(t, dir, 80); len(got) != len(bodies)-80 {
		t.Errorf("behind place 80: got %d records, want %d", len(got), len(bodies)-80)
	}
	if l, _ := lookAt(t, t.TempDir(), 0); l.There {
		t.Error("an empty folder: got a ledger")
	}
	stop := errors.New("enough")
	if _, err := natsbox.LookAt(t.Context(), dir, "hollow", 0, func(ledger.Entry) error { return stop }); !errors.Is(err, stop) {
		t.Errorf("f's error: got %v", err)
	}
	ended, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := natsbox.LookAt(ended, dir, "hollow", 0, func(ledger.Entry) error { return nil }); !errors.Is(err, context.Canceled) {
		t.Errorf("an ended context: got %v", err)
	}
}

// TestLookDamaged flips one bit in each part of a record and cuts the file everywhere in its last records: what is handed out
// is what was stored, and what is not is named.
func TestLookDamaged(t *testing.T) {
	t.Parallel()
	dir, bodies := stocked(t)
	path := filepath.Join(natsbox.StreamDir(dir, "hollow"), "msgs", "1.blk")
	good, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	right := func(got map[uint64][]byte, what string) {
		for place, body := range got {
			if place < 1 || place > uint64(len(bodies)) || !bytes.Equal(body, bodies[place-1]) {
				t.Errorf("%s: place %d was handed out as %q", what, place, body)
			}
		}
	}
	step, flips, cuts := 7, 0, 0
	if os.Getenv("LATEWOOD_PROOF") == "1" {
		step = 1
	}
	for at := 0; at < len(good); at += step {
		bad := slices.Clone(good)
		bad[at] ^= 1 << (at % 8)
		if err := os.WriteFile(path, bad, 0o600); err != nil {
			t.Fatal(err)
		}
		l, got := lookAt(t, dir, 0)
		what := fmt.Sprintf("byte %d", at)
		right(got, what)
		if len(l.Spots) != 1 || len(got) != len(bodies)-1 {
			t.Errorf("%s: got %d of %d records, %+v", what, len(got), len(bodies), l.Spots)
		}
		flips++
	}
	for cut := len(good) - 1; cut > len(good)-600; cut -= step {
		if err := os.WriteFile(path, good[:cut], 0o600); err != nil {
			t.Fatal(err)
		}
		l, got := lookAt(t, dir, 0)
		right(got, fmt.Sprintf("cut at %d", cut))
		if len(l.Spots) == 1 && !l.Spots[0].Torn || len(l.Spots) > 1 || len(l.Gaps) > 0 || len(got) == len(bodies) {
			t.Errorf("cut at %d: got %d records, %+v", cut, len(got), l)
		}
		cuts++
	}
	t.Logf("counts: %d bits flipped and %d cuts in a block of %d records, nothing wrong handed out", flips, cuts, len(bodies))
}
