package memlog_test

import (
	"context"
	"errors"
	"fmt"
	"testing"

	"go.uber.org/goleak"

	"latewood/events/ledger"
	"latewood/events/ledger/ledgertest"
	"latewood/events/ledger/memlog"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

func TestLog(t *testing.T) {
	t.Parallel()
	ledgertest.Run(t, func(*testing.T) ledgertest.Harness {
		log := memlog.New()
		return ledgertest.Harness{Open: func(*testing.T) ledger.Log { return log }}
	})
}

func TestLoseAnswer(t *testing.T) {
	t.Parallel()
	for _, stored := range []bool{false, true} {
		t.Run(fmt.Sprintf("stored %v", stored), func(t *testing.T) {
			t.Parallel()
			log := memlog.New()
			entries := ledgertest.Entries("lost", 3)
			log.LoseAnswer(stored)
			err := log.Append(t.Context(), 0, entries)
			if !errors.Is(err, ledger.ErrUnknownOutcome) {
				t.Fatalf("append: got %v, want ErrUnknownOutcome", err)
			}
			want := 0
			if stored {
				want = 3
			}
			if found, err := ledger.Resolve(t.Context(), log, 0, entries); found != want || err != nil {
				t.Errorf("resolve: got %d, %v, want %d", found, err, want)
			}
			if err := ledger.Settle(t.Context(), log, 0, entries); stored != errors.Is(err, ledger.ErrConflict) {
				t.Errorf("a further append of the same entries: got %v", err)
			}
		})
	}
}

func TestSettle(t *testing.T) {
	t.Parallel()
	entries := ledgertest.Entries("settle", 2)
	tests := []struct {
		name string
		prep func(*memlog.Log)
		want error // nil: the entries stand
	}{
		{"plain", func(*memlog.Log) {}, nil},
		{"answer lost, stored", func(l *memlog.Log) { l.LoseAnswer(true) }, nil},
		{"answer lost, not stored", func(l *memlog.Log) { l.LoseAnswer(false) }, nil},
		{"lost twice, then stored", func(l *memlog.Log) { l.LoseAnswer(false); l.LoseAnswer(true) }, nil},
		{"lost for good", func(l *memlog.Log) { l.LoseAnswer(false); l.LoseAnswer(false); l.LoseAnswer(false) }, ledger.ErrUnknownOutcome},
		{"refused", func(l *memlog.Log) { l.Refuse() }, ledger.ErrStore},
		{"lost, then refused", func(l *memlog.Log) { l.LoseAnswer(false); l.Refuse() }, ledger.ErrUnknownOutcome},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			log := memlog.New()
			tt.prep(log)
			err := ledger.Settle(t.Context(), log, 0, entries)
			if !errors.Is(err, tt.want) {
				t.Fatalf("got %v, want %v", err, tt.want)
			}
			if tt.want != nil && err == nil {
				t.Fatalf("got no error, want %v", tt.want)
			}
			last, _ := log.Last(t.Context())
			if stands := last == 2; stands != (tt.want == nil) {
				t.Errorf("error %v, and %d entries stand", err, last)
			}
		})
	}
	t.Run("a stranger's entries", func(t *testing.T) {
		t.Parallel()
		log := memlog.New()
		if err := log.Append(t.Context(), 0, ledgertest.Entries("stranger", 1)); err != nil {
			t.Fatal(err)
		}
		if err := ledger.Settle(t.Context(), log, 0, entries); !errors.Is(err, ledger.ErrConflict) {
			t.Errorf("got %v, want ErrConflict", err)
		}
	})
}

// A lateLog loses the first append on its way; it arrives just before the second.
type lateLog struct {
	*memlog.Log
	onItsWay []ledger.Entry
	appends  int
}

func (l *lateLog) Append(ctx context.Context, expectedLast uint64, entries []ledger.Entry) error {
	l.appends++
	if l.appends == 1 {
		return ledger.ErrUnknownOutcome
	}
	if l.appends == 2 {
		if err := l.Log.Append(ctx, expectedLast, l.onItsWay); err != nil {
			return err
		}
	}
	return l.Log.Append(ctx, expectedLast, entries)
}

func TestSettleLateArrival(t *testing.T) {
	t.Parallel()
	entries := ledgertest.Entries("late", 3)
	tests := []struct {
		name     string
		onItsWay []ledger.Entry
		want     error
	}{
		{"our own", entries, nil},
		{"a stranger's", ledgertest.Entries("stranger", 3), ledger.ErrConflict},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			log := &lateLog{Log: memlog.New(), onItsWay: tt.onItsWay}
			err := ledger.Settle(t.Context(), log, 0, entries)
			if !errors.Is(err, tt.want) || errors.Is(err, ledger.ErrUnknownOutcome) {
				t.Errorf("got %v, want %v", err, tt.want)
			}
			if last, _ := log.Last(t.Context()); last != 3 {
				t.Errorf("%d entries stand, want 3", last)
			}
		})
	}
}

func TestHole(t *testing.T) {
	t.Parallel()
	log := memlog.New()
	if err := log.Append(t.Context(), 0, ledgertest.Entries("hole", 10)); err != nil {
		t.Fatal(err)
	}
	log.Hole(7)
	var hole *ledger.HoleError
	n := 0
	for _, err := range log.Read(t.Context(), 1, 0) {
		if err != nil {
			if !errors.As(err, &hole) {
				t.Fatalf("read: got %v, want a hole", err)
			}
			break
		}
		n++
	}
	if n != 6 || hole == nil || hole.Want != 7 || hole.Got != 8 {
		t.Errorf("read: got %d entries and %+v, want 6 and place 7 missing before 8", n, hole)
	}
	n = 0
	err := log.Follow(t.Context(), 1, func(run []ledger.Entry) error { n += len(run); return nil })
	if n != 6 || !errors.As(err, &hole) {
		t.Errorf("follow: got %d entries and %v, want 6 and a hole", n, err)
	}
}
