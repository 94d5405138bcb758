package record_test

import (
	"context"
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/gowebpki/jcs"

	"latewood/events"
	"latewood/events/canon"
	"latewood/services/record"
)

// How many records go through the committer, over a ledger in memory: what the recorder itself costs.
func BenchmarkRecord(b *testing.B) {
	for _, n := range []int{1, 100, 1000} {
		b.Run(fmt.Sprintf("calls of %d", n), func(b *testing.B) {
			r := newRig(b)
			r.open()
			done := 0
			for b.Loop() {
				ps := make([]record.Proposal, n)
				for i := range ps {
					ps[i] = pick("", float64(i+1))
				}
				if _, err := r.rec.Record(context.Background(), ps); err != nil {
					b.Fatal(err)
				}
				done += n
			}
			b.ReportMetric(float64(done)/b.Elapsed().Seconds(), "records/s")
			r.stop()
		})
	}
}

// The canonical bytes of a record by its size, three ways to the same bytes: splice is what the committer does, which gets
// data in canonical form; ours reads the whole record as text and writes it; library does that with a general canonicaliser
// (RFC 8785). Run one beside the other for the ratios.
func BenchmarkCanonical(b *testing.B) {
	for _, size := range []int{500, 1000, 2000, 5000, 20_000, 60_000} {
		env, data := sized(b, size)
		body := env.AppendCanonical(nil, data)
		mixed := shuffled(b, env, data)
		if got, err := jcs.Transform(mixed); err != nil || string(got) != string(body) {
			b.Fatalf("the two differ: %v\n%s\n%s", err, got, body)
		}
		b.Run(fmt.Sprintf("splice/%d", size), func(b *testing.B) {
			b.SetBytes(int64(len(body)))
			b.ReportAllocs()
			buf := make([]byte, 0, len(body))
			for b.Loop() {
				buf = env.AppendCanonical(buf[:0], data)
			}
		})
		b.Run(fmt.Sprintf("ours/%d", size), func(b *testing.B) {
			b.SetBytes(int64(len(body)))
			b.ReportAllocs()
			buf := make([]byte, 0, len(body))
			for b.Loop() {
				v, err := canon.Parse(mixed)
				if err != nil {
					b.Fatal(err)
				}
				buf = canon.Append(buf[:0], v)
			}
			if string(buf) != string(body) {
				b.Fatal("other bytes")
			}
		})
		b.Run(fmt.Sprintf("library/%d", size), func(b *testing.B) {
			b.SetBytes(int64(len(body)))
			b.ReportAllocs()
			for b.Loop() {
				if _, err := jcs.Transform(mixed); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

// sized makes a pick whose record has about so many bytes: with more containers the larger it is.
func sized(b *testing.B, size int) (*events.Envelope, []byte) {
	b.Helper()
	door := events.Door{Catalogue: events.Standard(), Farm: farm}
	for n := 0; ; n++ {
		d := picked(12.5)
		for i := range n {
			d.Containers = append(d.Containers, events.Container{ID: fmt.Sprintf("%04d", i), Kind: "bin", Tare: &events.Quantity{Value: 38.5, Unit: "kg"}})
		}
		door.Zone = day.Location()
		a, problems := door.Check(proposal(id(1), "2026-05-01T10:00:00-10:00", d).Draft)
		if len(problems) > 0 {
			b.Fatal(problems)
		}
		env := &events.Envelope{
			Actor: person, Farm: farm, ID: id(1), RecordedTime: events.RecordedAt(day), Salt: "AAAAAAAAAAAAAAAAAAAAAA==",
			Source: "/farms/tern-hollow/cli", Time: a.Draft.Time, Type: a.Draft.Type,
			Chains: "picks/north 41 47DEQpj8HBSa+/TImW+5JCeuQeRkm5NMpJWZG3hSuFU=",
		}
		if len(env.AppendCanonical(nil, a.Data)) >= size-80 {
			return env, a.Data
		}
	}
}

// shuffled writes the record with its attributes in another order, as an outside sender may.
func shuffled(b *testing.B, env *events.Envelope, data []byte) []byte {
	b.Helper()
	attributes := []string{
		`"specversion":"1.0"`, `"datacontenttype":"application/json"`, `"data":` + string(data),
		`"actor":"` + env.Actor + `"`, `"farm":"` + env.Farm + `"`, `"id":"` + env.ID + `"`, `"recordedtime":"` + env.RecordedTime + `"`,
		`"salt":"` + env.Salt + `"`, `"source":"` + env.Source + `"`, `"time":"` + env.Time + `"`, `"type":"` + env.Type + `"`,
		`"chains":"` + env.Chains + `"`,
	}
	rand.New(rand.NewPCG(1, 2)).Shuffle(len(attributes), func(i, j int) { attributes[i], attributes[j] = attributes[j], attributes[i] })
	return []byte("{" + strings.Join(attributes, ",") + "}")
}
