package bundle_test

import (
	"context"
	"crypto/sha256"
	"fmt"
	"os"
	"testing"
	"time"

	"latewood/events/ledger/evidence"
	"latewood/projections"
	"latewood/services/bundle"
)

// BenchmarkLot gives evidence on a lot of 500 records out of a large ledger, and checks it: 100,000 records, or 1,000,000 where
// LATEWOOD_PROOF=1 asks for the full proof. Beside the times stand ratios within the same run: giving against a plain walk over
// the ledger that hashes every record, checking against one hash over the bytes of the file.
func BenchmarkLot(b *testing.B) {
	size := 100_000
	if os.Getenv("LATEWOOD_PROOF") == "1" {
		size = 1_000_000
	}
	r := hollow(b)
	label := r.add("label.filed", `{"product":"Oil","material":"pesticide"}`)
	var inputs string
	for i := range 200 {
		r.add("spray.applied", fmt.Sprintf(sprayed, "east", label, ""))
		pick := r.add("fruit.picked", fmt.Sprintf(picked, i+1, "east"))
		inputs += fmt.Sprintf(`,{"pick":%q,"mass":{"unit":"kg","value":9}}`, pick)
	}
	for range 98 {
		r.add("water.applied", `{"where":{"block":"east"}}`)
	}
	r.add("lot.packed", `{"inputs":[`+inputs[1:]+`],"lot":"BIG","product":"lychee","date":"2026-05-04","packed":{"count":1,"kind":"carton","netMass":{"unit":"kg","value":9}},"location":{"name":"Tern Hollow"}}`)
	book := func() (book *projections.Book) {
		_ = r.with(context.Background(), uint64(len(r.entries)), func(b *projections.Book) error { book = b; return nil })
		return book
	}()
	for len(r.entries) < size {
		r.add("weather.read", `{"station":"hill","airTemperature":{"value":21.5,"unit":"Cel"},"relativeHumidity":{"value":80,"unit":"%"},"rain":{"value":0,"unit":"mm"}}`)
	}
	g := bundle.New(bundle.Config{
		Log: r, Index: r, Seal: r, Size: func() uint64 { return uint64(len(r.entries)) }, Record: r.record,
		With:  func(_ context.Context, _ uint64, f func(*projections.Book) error) error { return f(book) },
		Flags: func(*projections.Book) []projections.Flag { return nil },
		Name:  func(_, _ string) (evidence.Name, bool) { return evidence.Name{}, false },
	})
	var giving, walking, checking, hashing time.Duration
	records, bytes := 0, 0
	for b.Loop() {
		start := time.Now()
		given, err := g.Give(context.Background(), bundle.Request{Of: "BIG"})
		if err != nil {
			b.Fatal(err)
		}
		giving += time.Since(start)
		start = time.Now()
		for e := range r.Read(context.Background(), 1, uint64(len(r.entries))) {
			sha256.Sum256(e.Body)
		}
		walking += time.Since(start)
		start = time.Now()
		rep := evidence.Verify(given.File, evidence.Trust{Keys: r.Keys()})
		checking += time.Since(start)
		if !rep.Complete {
			b.Fatal(rep.Problems)
		}
		start = time.Now()
		sha256.Sum256(given.File)
		hashing += time.Since(start)
		records, bytes = given.Records, len(given.File)
	}
	n := float64(b.N)
	b.ReportMetric(giving.Seconds()*1e3/n, "ms/give")
	b.ReportMetric(checking.Seconds()*1e3/n, "ms/check")
	b.ReportMetric(giving.Seconds()/walking.Seconds(), "give/walk")
	b.ReportMetric(checking.Seconds()/hashing.Seconds(), "check/hash")
	b.Logf("%d records of %d in %d KiB", records, size, bytes>>10)
}
