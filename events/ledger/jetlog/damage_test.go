package jetlog_test

import (
	"bytes"
	"context"
	"errors"
	"os"
	"path/filepath"
	"testing"
	"time"

	"latewood/events/ledger"
	"latewood/events/ledger/ledgertest"
)

// flip changes one bit inside the stored bytes of a record, in the block files of a server that does not run.
func flip(t *testing.T, dir string, body []byte) {
	t.Helper()
	blocks, err := filepath.Glob(filepath.Join(dir, "jetstream", "*", "streams", "*", "msgs", "*.blk"))
	if err != nil || len(blocks) == 0 {
		t.Fatalf("no block files: %v", err)
	}
	for _, path := range blocks {
		data, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		if at := bytes.Index(data, body); at >= 0 {
			data[at+len(body)/2] ^= 0x10
			if err := os.WriteFile(path, data, 0o600); err != nil {
				t.Fatal(err)
			}
			return
		}
	}
	t.Fatal("the record is in no block file")
}

// TestDamagedRecord flips one bit of one record. The broker starts, counts all records, and leaves the damaged one out
// without a word; the ledger must not.
func TestDamagedRecord(t *testing.T) {
	t.Parallel()
	const size = 300
	tests := []struct {
		name string
		at   uint64 // place of the damaged record
		got  uint64 // place that the hole names as the next
	}{
		{"first", 1, 2},
		{"in the middle", 150, 151},
		{"last", size, 0},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			b := startBroker(t)
			all := ledgertest.Entries("damage", size)
			mustAppend(t, b.open(t), 0, all)
			b.stop()
			flip(t, b.dir, all[tt.at-1].Body)
			b.start(t)
			log := b.open(t)

			check := func(what string, n uint64, err error) {
				t.Helper()
				var hole *ledger.HoleError
				if !errors.As(err, &hole) || hole.Want != tt.at || hole.Got != tt.got || n != tt.at-1 {
					t.Errorf("%s: got %d entries and %v, want %d and place %d missing before %d", what, n, err, tt.at-1, tt.at, tt.got)
				}
			}
			for _, r := range []struct {
				what        string
				first, last uint64
			}{
				{"reading all", 1, 0},
				{"reading a few", max(tt.at, 3) - 2, min(tt.at+2, size)},
				{"reading the one", tt.at, tt.at},
			} {
				n, last := r.first-1, error(nil)
				for e, err := range log.Read(t.Context(), r.first, r.last) {
					if last = err; err == nil {
						if n++; e.Place != n || !bytes.Equal(e.Body, all[n-1].Body) {
							t.Fatalf("%s: place %d came as %d: %s", r.what, n, e.Place, e.Body)
						}
					}
				}
				check(r.what, n, last)
			}
			ctx, cancel := context.WithTimeout(t.Context(), 30*time.Second)
			defer cancel()
			n := uint64(0)
			err := log.Follow(ctx, 1, func(run []ledger.Entry) error {
				n += uint64(len(run))
				return nil
			})
			check("following", n, err)
		})
	}
}
