package archive

import (
	"bytes"
	"context"
	"errors"
	"testing"

	"latewood/events/ledger"
	"latewood/events/ledger/memlog"
)

// two makes a stream of size records of which the first sealed stand in an archive.
func two(t *testing.T, size, sealed uint64) (*memlog.Log, *Archive) {
	t.Helper()
	stream := memlog.New()
	for p := uint64(1); p <= size; p++ {
		if err := stream.Append(t.Context(), p-1, []ledger.Entry{{Kind: "pest.scouted", Body: record(p)}}); err != nil {
			t.Fatal(err)
		}
	}
	return stream, build(t, t.TempDir(), 0, sealed)
}

// TestOver reads every stretch across the line between the two stores, with the stream's sealed part gone bad.
func TestOver(t *testing.T) {
	t.Parallel()
	const size, sealed = 30, 21
	stream, a := two(t, size, sealed)
	for p := uint64(1); p <= sealed; p++ {
		stream.Hole(p)
	}
	log := Over(stream, a)
	reads := 0
	for first := uint64(0); first <= size; first++ {
		for last := uint64(0); last <= size; last++ {
			next, end := max(first, 1), last
			if last == 0 {
				end = size
			}
			for e, err := range log.Read(t.Context(), first, last) {
				if err != nil || e.Place != next || e.Kind != "pest.scouted" || !bytes.Equal(e.Body, record(next)) {
					t.Fatalf("read %d to %d: got place %d, kind %s, %v, want place %d", first, last, e.Place, e.Kind, err, next)
				}
				next++
			}
			if next != max(end+1, max(first, 1)) {
				t.Errorf("read %d to %d: got up to %d", first, last, next-1)
			}
			reads++
		}
	}
	ctx, cancel := context.WithCancel(t.Context())
	next := uint64(3)
	err := log.Follow(ctx, next, func(run []ledger.Entry) error {
		for _, e := range run {
			if e.Place != next || !bytes.Equal(e.Body, record(next)) {
				t.Errorf("follow: got place %d, want %d", e.Place, next)
			}
			next++
		}
		if next == size+1 {
			cancel()
		}
		return nil
	})
	if !errors.Is(err, context.Canceled) || next != size+1 {
		t.Errorf("follow: got up to %d, %v", next-1, err)
	}
	t.Logf("counts: %d stretches read across two stores", reads)
}

func TestOverShorterStream(t *testing.T) {
	t.Parallel()
	stream, a := two(t, 20, 21)
	log := Over(stream, a)
	var hole *ledger.HoleError
	if _, err := log.Last(t.Context()); !errors.As(err, &hole) || hole.Want != 21 {
		t.Errorf("last: got %v, want a hole at 21", err)
	}
	for _, err := range log.Read(t.Context(), 1, 0) {
		if !errors.As(err, &hole) {
			t.Errorf("read: got %v, want a hole", err)
		}
	}
}
