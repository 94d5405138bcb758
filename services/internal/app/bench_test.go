package app_test

import (
	"bytes"
	"context"
	"fmt"
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
	a, err := app.Open(context.Background(), app.Options{Dir: b.TempDir()})
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { _ = a.Close() })
	benchCall(b, a, "open", app.OpenRequest{Farm: "bench", Name: "Bench", Zone: "Pacific/Honolulu", Latitude: 19, Longitude: -155}, nil)
	return a
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
	var bodies [][]byte
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
