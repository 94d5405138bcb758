package app_test

import (
	"bytes"
	"context"
	"crypto/sha256"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"latewood/events"
	"latewood/projections"
	"latewood/services/internal/app"
)

// picksFile is a JSON Lines file of n picks, no two alike.
func picksFile(n, offset int) []byte {
	var b strings.Builder
	start := time.Date(2015, 5, 1, 8, 0, 0, 0, time.UTC)
	for i := range n {
		fmt.Fprintf(&b, `{"type":"fruit.picked","time":%q,"data":{"where":{"block":"north"},"mass":{"value":%d.5,"unit":"kg"},"massBasis":"scale"}}`+"\n",
			start.Add(time.Duration(offset+i)*time.Second).Format(time.RFC3339), i%40+1)
	}
	return []byte(b.String())
}

func benchApp(b *testing.B) *app.App {
	b.Helper()
	a := benchOpen(b, b.TempDir())
	b.Cleanup(func() { _ = a.Close() })
	benchCall(b, a, "open", app.OpenRequest{Farm: "bench", Name: "Bench", Zone: "Pacific/Honolulu", Latitude: 19, Longitude: -155}, nil)
	return a
}

// yearsFile is a JSON Lines file of n records as a farm with a weather station has them: a reading every ten minutes, a pick of a tree
// to every fifty of them.
func yearsFile(n int) []byte {
	var b strings.Builder
	start := time.Date(2005, 5, 1, 8, 0, 0, 0, time.UTC)
	for i := range n {
		at := start.Add(time.Duration(i) * 10 * time.Minute).Format(time.RFC3339)
		if i%50 == 0 {
			fmt.Fprintf(&b, `{"type":"fruit.picked","time":%q,"data":{"where":{"block":"b%d"},"mass":{"value":%d.%d,"unit":"kg"},"massBasis":"scale"}}`+"\n", at, i/50%20, i%41+1, i/50%97)
			continue
		}
		fmt.Fprintf(&b, `{"type":"weather.read","time":%q,"data":{"station":"hill","airTemperature":{"value":%d.%d,"unit":"Cel"},"relativeHumidity":{"value":%d,"unit":"%%"},"windSpeed":{"value":2,"unit":"m/s"},"rain":{"value":0,"unit":"mm"}}}`+"\n",
			at, 15+i/6%10, i%10, 60+i%30)
	}
	return []byte(b.String())
}

func benchOpen(b *testing.B, dir string) *app.App {
	b.Helper()
	a, err := app.Open(context.Background(), app.Options{Dir: dir})
	if err != nil {
		b.Fatal(err)
	}
	return a
}

// benchBodies is the records of the farm, as they are stored.
func benchBodies(b *testing.B, a *app.App) (bodies [][]byte) {
	b.Helper()
	_, _, err := a.Call(context.Background(), "export", app.ExportRequest{}, nil, func(p []byte) {
		var l app.Lines
		if err := events.ReadJSON(p, &l); err != nil {
			b.Fatal(err)
		}
		for _, r := range l.Records {
			bodies = append(bodies, bytes.Clone(r))
		}
	})
	if err != nil {
		b.Fatal(err)
	}
	return bodies
}

func benchCall(b *testing.B, a *app.App, name string, q any, file []byte) {
	b.Helper()
	var exit int
	var err error
	if file != nil {
		_, exit, err = a.Call(context.Background(), name, q, memFile{bytes.NewReader(file), "bench.jsonl"}, nil)
	} else {
		_, exit, err = a.Call(context.Background(), name, q, nil, nil)
	}
	if err != nil || exit != 0 {
		b.Fatalf("%s: exit %d, %v", name, exit, err)
	}
}

// BenchmarkImport takes picks in as a file and, in the same run and folder, one by one: what is compared is the durable
// way in whole, from text to answer. Goal: ten times.
func BenchmarkImport(b *testing.B) {
	a := benchApp(b)
	const many, few = 5000, 200
	var bulk, single time.Duration
	n := 0
	for b.Loop() {
		started := time.Now()
		benchCall(b, a, "import", app.ImportRequest{Name: "bench.jsonl"}, picksFile(many, n))
		bulk += time.Since(started)
		n += many
		started = time.Now()
		for range few {
			n++
			benchCall(b, a, "add", app.AddRequest{Kind: "fruit.picked", Time: time.Unix(1_000_000_000+int64(n), 0).UTC().Format(time.RFC3339),
				Data: `{"where":{"block":"north"},"mass":{"value":3,"unit":"kg"}}`}, nil)
		}
		single += time.Since(started)
	}
	bulkRate, singleRate := float64(many)/(bulk.Seconds()/float64(b.N)), float64(few)/(single.Seconds()/float64(b.N))
	b.ReportMetric(bulkRate, "bulk/s")
	b.ReportMetric(singleRate, "single/s")
	b.ReportMetric(bulkRate/singleRate, "times")
}

// BenchmarkReplay reads records from their bytes, decodes them and folds them into a Book, against only parsing their
// envelopes in the same run.
func BenchmarkReplay(b *testing.B) {
	a := benchApp(b)
	benchCall(b, a, "import", app.ImportRequest{Name: "bench.jsonl"}, picksFile(20000, 0))
	bodies := benchBodies(b, a)
	var parse, fold time.Duration
	for b.Loop() {
		started := time.Now()
		for i, body := range bodies {
			if _, err := events.ParseRecord(uint64(i+1), body); err != nil {
				b.Fatal(err)
			}
		}
		parse += time.Since(started)
		started = time.Now()
		book := projections.NewBook(events.Standard())
		for i, body := range bodies {
			r, err := events.ParseRecord(uint64(i+1), body)
			if err != nil {
				b.Fatal(err)
			}
			if err := book.Add(r); err != nil {
				b.Fatal(err)
			}
		}
		for _, f := range app.Folds() {
			for _, code := range book.Keys(f.Class) {
				book.State(f, code)
			}
		}
		fold += time.Since(started)
	}
	n := float64(len(bodies)) * float64(b.N)
	b.ReportMetric(n/parse.Seconds(), "parsed/s")
	b.ReportMetric(n/fold.Seconds(), "folded/s")
	b.ReportMetric(fold.Seconds()/parse.Seconds(), "times-parse")
}

// BenchmarkAudit checks everything, as the command does, against SHA-256 over the bytes of the same records in the same run: 50,000
// records, or 1,000,000 where LATEWOOD_PROOF=1 asks for the full proof. What is more than hashing in it is the comparison with the
// broker's files and a fresh replay of all folds; archive.BenchmarkCheck measures the seals alone.
func BenchmarkAudit(b *testing.B) {
	n := 50_000
	if os.Getenv("LATEWOOD_PROOF") == "1" {
		n = 1_000_000
	}
	a := benchApp(b)
	benchCall(b, a, "import", app.ImportRequest{Name: "bench.jsonl"}, yearsFile(n))
	bodies := benchBodies(b, a)
	var audit, plain time.Duration
	for b.Loop() {
		started := time.Now()
		benchCall(b, a, "audit", app.AuditRequest{}, nil)
		audit += time.Since(started)
		started = time.Now()
		for _, body := range bodies {
			sha256.Sum256(body)
		}
		plain += time.Since(started)
	}
	b.ReportMetric(plain.Seconds()/audit.Seconds(), "sha256/audit")
	b.ReportMetric(float64(len(bodies))*float64(b.N)/audit.Seconds(), "records/s")
}

// BenchmarkBoot opens a folder and asks what holds, with the caches that a clean stop leaves and without them, against reading the
// records' envelopes in the same run: 50,000 records, or 1,000,000 where LATEWOOD_PROOF=1 asks for the full proof.
func BenchmarkBoot(b *testing.B) {
	n := 50_000
	if os.Getenv("LATEWOOD_PROOF") == "1" {
		n = 1_000_000
	}
	dir := b.TempDir()
	a := benchOpen(b, dir)
	benchCall(b, a, "open", app.OpenRequest{Farm: "bench", Name: "Bench", Zone: "Pacific/Honolulu", Latitude: 19, Longitude: -155}, nil)
	benchCall(b, a, "import", app.ImportRequest{Name: "bench.jsonl"}, yearsFile(n))
	bodies := benchBodies(b, a)
	if err := a.Close(); err != nil {
		b.Fatal(err)
	}
	boot := func() time.Duration {
		started := time.Now()
		a := benchOpen(b, dir)
		benchCall(b, a, "holds", app.HoldsRequest{}, nil)
		took := time.Since(started)
		if err := a.Close(); err != nil {
			b.Fatal(err)
		}
		return took
	}
	var warm, cold, parse time.Duration
	for b.Loop() {
		warm += boot()
		if err := os.RemoveAll(filepath.Join(dir, "farms", "bench", "folds")); err != nil {
			b.Fatal(err)
		}
		cold += boot() // leaves the caches behind
		started := time.Now()
		for i, body := range bodies {
			if _, err := events.ParseRecord(uint64(i+1), body); err != nil {
				b.Fatal(err)
			}
		}
		parse += time.Since(started)
	}
	runs := float64(b.N)
	b.ReportMetric(warm.Seconds()/runs, "s/boot")
	b.ReportMetric(cold.Seconds()/runs, "s/boot-without-caches")
	b.ReportMetric(warm.Seconds()/parse.Seconds(), "boot/parse")
	b.ReportMetric(cold.Seconds()/parse.Seconds(), "without-caches/parse")
}
