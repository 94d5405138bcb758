package archive

import (
	"bytes"
	"crypto/sha256"
	"fmt"
	"testing"
	"time"
)

// BenchmarkCheck holds a whole check of an archive against SHA-256 of the same bytes, on one processor, in the same run: the
// metric sha256/check is how fast the check is, as a share of that.
func BenchmarkCheck(b *testing.B) {
	const n = 40_000
	dir := b.TempDir()
	a, err := Open(dir, options())
	if err != nil {
		b.Fatal(err)
	}
	var all [][]byte
	for i := range n {
		all = append(all, fmt.Appendf(nil, `{"data":{"n":%d,"pad":%q},"type":"pest.scouted.v1"}`, i, bytes.Repeat([]byte{'x'}, 420)))
	}
	if err := a.Append(all...); err != nil {
		b.Fatal(err)
	}
	if err := a.Publish(sign(b, a, n)); err != nil {
		b.Fatal(err)
	}
	a.Close()
	var plain, check time.Duration
	for b.Loop() {
		t := time.Now()
		for _, body := range all {
			sha256.Sum256(body)
		}
		plain += time.Since(t)
		t = time.Now()
		if r, err := Check(b.Context(), dir, options()); err != nil || !r.OK() {
			b.Fatal(r, err)
		}
		check += time.Since(t)
	}
	b.ReportMetric(plain.Seconds()/check.Seconds(), "sha256/check")
	b.ReportMetric(float64(n)*float64(b.N)/check.Seconds(), "records/s")
}
