package seal_test

import (
	"bytes"
	"crypto/rand"
	"fmt"
	"os"
	"path/filepath"
	"testing"

	"go.uber.org/goleak"

	"latewood/events/ledger"
	"latewood/events/ledger/archive"
	"latewood/events/ledger/memlog"
	"latewood/services/seal"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

const origin = "latewood/tern-hollow-00000000"

// full says whether the full counts were asked for.
var full = os.Getenv("LATEWOOD_PROOF") == "1"

// rig is a stream in memory, and what seals it, in a folder.
type rig struct {
	t      testing.TB
	dir    string
	stream *memlog.Log
	ring   *seal.Ring
	a      *archive.Archive
	n      uint64
}

func newRig(t testing.TB) *rig {
	t.Helper()
	r := &rig{t: t, dir: t.TempDir(), stream: memlog.New()}
	r.open()
	return r
}

// open opens keys and archive, as a start does.
func (r *rig) open() {
	r.t.Helper()
	var err error
	if r.ring, err = seal.OpenRing(filepath.Join(r.dir, "keys"), origin, rand.Reader); err != nil {
		r.t.Fatal(err)
	}
	if r.a, err = archive.Open(filepath.Join(r.dir, "archive"), r.options()); err != nil {
		r.t.Fatal(err)
	}
	r.t.Cleanup(func() { r.a.Close() })
}

func (r *rig) options() archive.Options {
	return archive.Options{Origin: origin, Keys: r.ring.Public()}
}

func (r *rig) sealer(c seal.Config) *seal.Sealer {
	c.Stream, c.Archive, c.Ring = r.stream, r.a, r.ring
	return seal.New(c)
}

// record appends n records to the stream.
func (r *rig) record(n int) {
	r.t.Helper()
	run := make([]ledger.Entry, n)
	for i := range run {
		r.n++
		run[i] = ledger.Entry{Kind: "pest.scouted", Body: fmt.Appendf(nil, `{"data":{"n":%d,"pad":%q},"type":"pest.scouted.v1"}`, r.n, bytes.Repeat([]byte{'x'}, int(r.n%50)))}
	}
	if err := r.stream.Append(r.t.Context(), r.n-uint64(n), run); err != nil {
		r.t.Fatal(err)
	}
}

// wantSealed says that the archive holds the stream's first size records under a checkpoint, and nothing is wrong with it.
func (r *rig) wantSealed(size uint64) {
	r.t.Helper()
	report, err := r.a.Check(r.t.Context())
	if err != nil || !report.OK() || report.Size != size {
		r.t.Fatalf("got %+v, %v, want %d sealed", report, err, size)
	}
	var f ledger.Frontier
	if size > 0 {
		for e, err := range r.stream.Read(r.t.Context(), 1, size) {
			if err != nil {
				r.t.Fatal(err)
			}
			f.Append(ledger.LeafHash(e.Body))
		}
		if f.Root() != report.Root {
			r.t.Fatalf("root of %d records: got %v, want %v", size, report.Root, f.Root())
		}
	}
}
