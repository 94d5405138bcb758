package archive

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"iter"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"go.uber.org/goleak"

	"latewood/events/ledger"
	"latewood/events/ledger/proof"
)

// full says whether the full counts were asked for.
var full = os.Getenv("LATEWOOD_PROOF") == "1"

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

const origin = "latewood/tern-hollow-00000000"

func secret(b byte) proof.Secret {
	s, err := proof.Generate(bytes.NewReader(bytes.Repeat([]byte{b}, 32)), origin)
	if err != nil {
		panic(err)
	}
	return s
}

var log = secret(1)

func options() Options { return Options{Origin: origin, Keys: []proof.Key{log.Key()}} }

// record is the n-th record, from place 1: its length and its bytes depend on the place.
func record(place uint64) []byte {
	return fmt.Appendf(nil, `{"data":{"n":%d,"pad":%q},"time":"2026-01-01T00:00:00Z","type":"pest.scouted.v1"}`, place, bytes.Repeat([]byte{'x'}, int(place*7%90)))
}

func records(first, last uint64) [][]byte {
	var out [][]byte
	for p := first; p <= last; p++ {
		out = append(out, record(p))
	}
	return out
}

// source gives the records of the tests without those at the places it is told to miss.
func source(missing ...uint64) Source {
	return func(_ context.Context, first, last uint64) iter.Seq2[ledger.Entry, error] {
		return func(yield func(ledger.Entry, error) bool) {
			for p := first; p <= last; p++ {
				if slices.Contains(missing, p) {
					yield(ledger.Entry{}, &ledger.HoleError{Want: p})
					return
				}
				if !yield(ledger.Entry{Place: p, Body: record(p)}, nil) {
					return
				}
			}
		}
	}
}

func rootAt(size uint64) ledger.Hash {
	var f ledger.Frontier
	for p := uint64(1); p <= size; p++ {
		f.Append(ledger.LeafHash(record(p)))
	}
	return f.Root()
}

func sign(t testing.TB, a interface {
	RootAt(uint64) (ledger.Hash, error)
}, size uint64) []byte {
	t.Helper()
	root, err := a.RootAt(size)
	if err != nil {
		t.Fatal(err)
	}
	return note(t, size, root)
}

func note(t testing.TB, size uint64, root ledger.Hash) []byte {
	t.Helper()
	msg, err := proof.Checkpoint{Origin: origin, Tree: proof.Tree{Size: size, Root: root}}.Sign(log)
	if err != nil {
		t.Fatal(err)
	}
	return msg
}

func reopen(t testing.TB, dir string) *Archive {
	t.Helper()
	a, err := Open(dir, options())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { a.Close() })
	return a
}

// build makes an archive that was sealed at each of the sizes, with more records behind the last.
func build(t testing.TB, dir string, unsealed uint64, sizes ...uint64) *Archive {
	t.Helper()
	a := reopen(t, dir)
	for _, size := range sizes {
		if err := a.Append(records(a.Size()+1, size)...); err != nil {
			t.Fatal(err)
		}
		if err := a.Publish(sign(t, a, size)); err != nil {
			t.Fatal(err)
		}
	}
	if err := errors.Join(a.Append(records(a.Size()+1, a.Size()+unsealed)...), a.Sync()); err != nil {
		t.Fatal(err)
	}
	return a
}

// wantRecords reads all that is sealed, one by one and in a row, and compares.
func wantRecords(t testing.TB, a *Archive) {
	t.Helper()
	ctx := t.Context()
	next := uint64(1)
	for e, err := range a.Read(ctx, 0, 0) {
		if err != nil || e.Place != next || e.Kind != "pest.scouted" || !bytes.Equal(e.Body, record(next)) {
			t.Fatalf("place %d: got %d, %q, %q, %v", next, e.Place, e.Kind, e.Body, err)
		}
		next++
	}
	if next-1 != a.Sealed() {
		t.Errorf("read %d records, %d are sealed", next-1, a.Sealed())
	}
	for p := uint64(1); p <= a.Sealed(); p += 1 + a.Sealed()/40 {
		if body, err := a.ReadRecord(ctx, p); err != nil || !bytes.Equal(body, record(p)) {
			t.Errorf("place %d: got %q, %v", p, body, err)
		}
	}
}

func wantClean(t testing.TB, dir string) Report {
	t.Helper()
	report, err := Check(t.Context(), dir, options())
	if err != nil || !report.OK() {
		t.Fatalf("check: %+v, %v", report.Findings, err)
	}
	return report
}

func copyDir(t testing.TB, from string) string {
	t.Helper()
	to := t.TempDir()
	if err := os.CopyFS(to, os.DirFS(from)); err != nil {
		t.Fatal(err)
	}
	return to
}

func listFiles(t testing.TB, dir string) []string {
	t.Helper()
	var names []string
	err := fs.WalkDir(os.DirFS(dir), ".", func(p string, d fs.DirEntry, err error) error {
		if err == nil && !d.IsDir() {
			names = append(names, p)
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return names
}

func readFile(t testing.TB, dir, name string) []byte {
	t.Helper()
	b, err := os.ReadFile(filepath.Join(dir, name))
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func writeFile(t testing.TB, dir, name string, b []byte) {
	t.Helper()
	if err := os.WriteFile(filepath.Join(dir, name), b, 0o600); err != nil {
		t.Fatal(err)
	}
}
