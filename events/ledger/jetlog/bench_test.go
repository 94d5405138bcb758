package jetlog_test

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"latewood/events/ledger"
	"latewood/events/ledger/jetlog"
	"latewood/events/ledger/ledgertest"
)

// record is a body of the size of an ordinary record.
func record(i int) []ledger.Entry {
	body := fmt.Appendf(make([]byte, 0, 400), `{"n":%09d,"fill":"`, i)
	for len(body) < 398 {
		body = append(body, 'a'+byte(len(body)%26))
	}
	return []ledger.Entry{{Kind: "fruit.picked", Body: append(body, `"}`...)}}
}

func records(from, n int) []ledger.Entry {
	var out []ledger.Entry
	for i := range n {
		out = append(out, record(from+i)...)
	}
	return out
}

func quantile(times []time.Duration, q float64) time.Duration {
	slices.Sort(times)
	return times[int(q*float64(len(times)-1))]
}

func ms(d time.Duration) float64 { return float64(d) / float64(time.Millisecond) }

// BenchmarkAppend takes turns between one durable append of 400 bytes and what it cannot be quicker than: 400 bytes written
// to a file in the same folder and synced. The ratio of the medians says more than either, whatever the disk is.
func BenchmarkAppend(b *testing.B) {
	br := startBroker(b)
	log := br.open(b)
	raw, err := os.Create(filepath.Join(br.dir, "raw"))
	if err != nil {
		b.Fatal(err)
	}
	defer raw.Close()
	var appends, syncs []time.Duration
	for i := 0; b.Loop(); i++ {
		entry := record(i)
		from := time.Now()
		if _, err := raw.Write(entry[0].Body); err != nil {
			b.Fatal(err)
		}
		if err := raw.Sync(); err != nil {
			b.Fatal(err)
		}
		syncs = append(syncs, time.Since(from))
		from = time.Now()
		mustAppend(b, log, uint64(i), entry)
		appends = append(appends, time.Since(from))
	}
	b.ReportMetric(0, "ns/op")
	b.ReportMetric(ms(quantile(appends, 0.5)), "append-p50-ms")
	b.ReportMetric(ms(quantile(appends, 0.99)), "append-p99-ms")
	b.ReportMetric(ms(quantile(syncs, 0.5)), "rawsync-p50-ms")
	b.ReportMetric(ms(quantile(syncs, 0.99)), "rawsync-p99-ms")
	b.ReportMetric(float64(quantile(appends, 0.5))/float64(quantile(syncs, 0.5)), "p50-ratio")
}

// BenchmarkBatch takes turns between an atomic batch of 1000 and 100 entries one by one.
func BenchmarkBatch(b *testing.B) {
	log := startBroker(b).open(b)
	var (
		batched, single time.Duration
		last            int
		rounds          int
	)
	for b.Loop() {
		batch := records(last, ledger.MaxBatch)
		from := time.Now()
		mustAppend(b, log, uint64(last), batch)
		batched += time.Since(from)
		last += ledger.MaxBatch
		from = time.Now()
		for range 100 {
			mustAppend(b, log, uint64(last), record(last))
			last++
		}
		single += time.Since(from)
		rounds++
	}
	batchRate := float64(rounds*ledger.MaxBatch) / batched.Seconds()
	singleRate := float64(rounds*100) / single.Seconds()
	b.ReportMetric(0, "ns/op")
	b.ReportMetric(batchRate, "batched/s")
	b.ReportMetric(singleRate, "single/s")
	b.ReportMetric(batchRate/singleRate, "ratio")
}

// BenchmarkBreakEven takes turns between n entries as one batch and one by one. Where the ratio passes 1, a batch begins to
// pay; jetlog.Singly stands there.
func BenchmarkBreakEven(b *testing.B) {
	for _, n := range []int{2, 4, 8, 12, jetlog.Singly, 24, 32, 64} {
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			log := startBroker(b).open(b)
			var batched, single []time.Duration
			for last := 0; b.Loop(); last += 2 * n {
				entries := records(last, 2*n)
				from := time.Now()
				mustAppend(b, log, uint64(last), entries[:n])
				batched = append(batched, time.Since(from))
				from = time.Now()
				for i := range n {
					mustAppend(b, log, uint64(last+n+i), entries[n+i:n+i+1])
				}
				single = append(single, time.Since(from))
			}
			b.ReportMetric(0, "ns/op")
			b.ReportMetric(ms(quantile(batched, 0.5)), "batch-p50-ms")
			b.ReportMetric(ms(quantile(single, 0.5)), "singly-p50-ms")
			b.ReportMetric(float64(quantile(single, 0.5))/float64(quantile(batched, 0.5)), "ratio")
		})
	}
}

// BenchmarkRead reads ranges of several sizes out of 50,000 entries.
func BenchmarkRead(b *testing.B) {
	const size = 50_000
	brokers := []struct {
		name string
		open func() ledger.Log
	}{
		{"pipe", func() ledger.Log { return startBroker(b).open(b) }},
		{"tcp", func() ledger.Log { return startProcess(b).open(b, jetlog.Options{}) }},
	}
	for _, br := range brokers {
		log := br.open()
		for last := 0; last < size; last += ledger.MaxBatch {
			mustAppend(b, log, uint64(last), records(last, ledger.MaxBatch))
		}
		for _, n := range []uint64{1, 8, 16, 32, 100, 1000, size} {
			b.Run(fmt.Sprintf("%s/%d", br.name, n), func(b *testing.B) {
				for b.Loop() {
					read := uint64(0)
					for _, err := range log.Read(context.Background(), 1, n) {
						if err != nil {
							b.Fatal(err)
						}
						read++
					}
					if read != n {
						b.Fatalf("read %d of %d", read, n)
					}
				}
				b.ReportMetric(float64(n)*float64(b.N)/b.Elapsed().Seconds(), "entries/s")
			})
		}
	}
}

// BenchmarkFollow measures from an acknowledged append to the follower's call.
func BenchmarkFollow(b *testing.B) {
	log := startBroker(b).open(b)
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	seen := make(chan time.Time, 1)
	done := make(chan error, 1)
	go func() {
		done <- log.Follow(ctx, 1, func([]ledger.Entry) error {
			seen <- time.Now()
			return nil
		})
	}()
	var delays []time.Duration
	for i := 0; b.Loop(); i++ {
		mustAppend(b, log, uint64(i), ledgertest.Entries("follow", 1))
		acked := time.Now()
		delays = append(delays, max((<-seen).Sub(acked), 0))
	}
	cancel()
	<-done
	b.ReportMetric(0, "ns/op")
	b.ReportMetric(ms(quantile(delays, 0.5)), "ack-to-seen-p50-ms")
	b.ReportMetric(ms(quantile(delays, 0.99)), "ack-to-seen-p99-ms")
}
