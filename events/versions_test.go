package events_test

import (
	"bytes"
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"latewood/events"
	"latewood/events/canon"
)

// versions holds one stored record for every kind and version that ever was. Files there are added, never edited: they stand
// for the records in people's ledgers. invented holds those of a kind that only these tests have.
const (
	versions = "../testdata/versions"
	invented = "testdata/versions"
)

// sampleID is the id of a sample: it depends on the name alone.
func sampleID(name string) events.ID {
	sum := sha256.Sum256([]byte("sample " + name))
	return events.NewID(time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC).UnixMilli(), [10]byte(sum[:10]))
}

// stored makes the bytes of a sample, as a recorder would have.
func stored(t *testing.T, door *events.Door, name, kind, at, data string) []byte {
	t.Helper()
	for {
		before, rest, found := strings.Cut(data, "{{")
		if !found {
			break
		}
		of, after, _ := strings.Cut(rest, "}}")
		data = before + sampleID(of).String() + after
	}
	a := enter(t, door, events.Draft{
		Type: kind, Time: at, NotedTime: "2026-10-05T18:30:00-10:00", DeviceTime: "2026-10-05T18:30:00.25-10:00 2026-10-05T18:31:02-10:00",
		Actor: "w_2f4e6d8c0b1a39584736251403f2e1d0", Data: parse(t, data),
	})
	salt := sha256.Sum256([]byte("salt " + name))
	var links []events.Link
	for _, chain := range events.MergeChains(a.Kind.OwnChains(sampleID(name), a.Draft.Data)) {
		l := events.Link{Chain: chain, Place: 2, Prev: sha256.Sum256([]byte("before " + chain))}
		if strings.HasPrefix(chain, "spray/") || strings.HasPrefix(chain, "label/") {
			l = events.Link{Chain: chain, Place: 1}
		}
		links = append(links, l)
	}
	e := events.Envelope{
		Actor: a.Draft.Actor, Batch: sampleID("import.made").String(), Chains: events.FormatChains(links), DeviceTime: a.Draft.DeviceTime, Farm: door.Farm,
		ID: sampleID(name).String(), NotedTime: a.Draft.NotedTime, RecordedTime: "2026-10-06T04:31:03.000Z", Salt: base64.StdEncoding.EncodeToString(salt[:16]),
		Source: "/farms/tern-hollow/import", Time: a.Draft.Time, Type: a.Draft.Type,
	}
	return e.AppendCanonical(nil, a.Data)
}

// leaves reads the list of leaf hashes of a folder of samples: "HASH  FILE" a line, by file.
func leaves(t *testing.T, dir string) map[string]string {
	t.Helper()
	out := map[string]string{}
	b, err := os.ReadFile(filepath.Join(dir, "LEAVES.txt"))
	if errors.Is(err, fs.ErrNotExist) {
		return out
	}
	if err != nil {
		t.Fatal(err)
	}
	for line := range strings.Lines(string(b)) {
		hash, file, ok := strings.Cut(strings.TrimSpace(line), "  ")
		if !ok || out[file] != "" {
			t.Fatalf("LEAVES.txt: %q", line)
		}
		out[file] = hash
	}
	return out
}

// add writes a sample, and its leaf, unless it is there.
func add(t *testing.T, dir, file string, body func() []byte) {
	t.Helper()
	if _, err := os.Stat(filepath.Join(dir, file)); !errors.Is(err, fs.ErrNotExist) {
		return
	}
	listed := leaves(t, dir)
	b := body()
	if err := os.WriteFile(filepath.Join(dir, file), b, 0o644); err != nil {
		t.Fatal(err)
	}
	leaf := events.LeafHash(b)
	listed[file] = hex.EncodeToString(leaf[:])
	var lines []string
	for file, hash := range listed {
		lines = append(lines, hash+"  "+file+"\n")
	}
	slices.SortFunc(lines, func(a, b string) int { return strings.Compare(a[66:], b[66:]) })
	if err := os.WriteFile(filepath.Join(dir, "LEAVES.txt"), []byte(strings.Join(lines, "")), 0o644); err != nil {
		t.Fatal(err)
	}
}

// Every kind and version has a sample, and every sample is read for ever.
func TestSamples(t *testing.T) {
	t.Parallel()
	if *update {
		for _, s := range samples {
			k := events.Standard().Kind(s.kind)
			name := s.kind
			if k.Version > 1 {
				name = k.Type() // the first version has its own, frozen before
			}
			add(t, versions, k.Type()+".json", func() []byte { return stored(t, hollow(), name, s.kind, s.time, s.data) })
		}
		for _, s := range retired(t) {
			add(t, versions, s.kind+".v1.json", func() []byte { return stored(t, s.door, s.kind, s.kind, "", s.data) })
		}
	}
	have := hold(t, versions, events.Standard())
	for _, k := range events.Standard().Kinds() {
		for v := 1; v <= k.Version; v++ {
			if typ := fmt.Sprintf("%s.v%d", k.Name, v); !have[typ] {
				t.Errorf("no sample of %s: write one into samples_test.go and run go test ./events -run Samples -update", typ)
			}
		}
	}
	t.Logf("counts: %d frozen samples", len(have))
}

// retired is what the samples of retired versions were first made of, each with a door of the time when that was the newest.
func retired(t *testing.T) []struct {
	door       *events.Door
	kind, data string
} {
	t.Helper()
	type waterWithheld struct { // version 1
		events.Common
		Where   events.Where `json:"where" is:",required"`
		From    string       `json:"from" is:"moment,required"`
		Until   string       `json:"until" is:"moment"`
		Reason  string       `json:"reason" is:"text"`
		Reading string       `json:"reading" is:"text"`
	}
	none := func(events.ID, canon.Value) []string { return []string{"inputs/north"} }
	return []struct {
		door       *events.Door
		kind, data string
	}{{
		then(t, events.NewKind[waterWithheld]("water.withheld", 1, none, "from", "until", "from")), "water.withheld",
		`{"where": {"block": "north"}, "from": "2025-10-03", "until": "2025-11-18", "reason": "a dry spell before bloom", "reading": "58 cbar"}`,
	}}
}

// then is a door of the time when a kind was what it no longer is.
func then(t *testing.T, old *events.Kind) *events.Door {
	t.Helper()
	kinds := slices.DeleteFunc(slices.Clone(events.Standard().Kinds()), func(k *events.Kind) bool { return k.Name == old.Name })
	steps := slices.DeleteFunc(events.Standard().Steps(), func(s events.Step) bool { return s.Kind == old.Name && s.From >= old.Version })
	cat, err := events.NewCatalogue(append(kinds, old), steps)
	if err != nil {
		t.Fatal(err)
	}
	door := hollow()
	door.Catalogue = cat
	return door
}

// hold checks a folder of samples against a catalogue: the same leaf as ever, decoded into today's type, encoded again to the
// same bytes of data where its version is today's; what an old version became would be let in today, and the record itself is
// let in as it stands. It returns the types that it met.
func hold(t *testing.T, dir string, cat *events.Catalogue) map[string]bool {
	t.Helper()
	door := hollow()
	door.Catalogue = cat
	listed := leaves(t, dir)
	files, err := filepath.Glob(filepath.Join(dir, "*.json"))
	if err != nil || len(files) == 0 || len(files) != len(listed) {
		t.Errorf("%s: %d samples, %d leaves in LEAVES.txt (%v)", dir, len(files), len(listed), err)
	}
	have := map[string]bool{}
	for _, path := range files {
		name := filepath.Base(path)
		body, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		r, err := events.ParseRecord(1, body)
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		if leaf := r.Leaf(); hex.EncodeToString(leaf[:]) != listed[name] {
			t.Errorf("%s: its leaf is %x, LEAVES.txt has %s: samples are added, never edited", name, leaf, listed[name])
		}
		if name != r.Envelope.Type+".json" {
			t.Errorf("%s holds a %s", name, r.Envelope.Type)
		}
		have[r.Envelope.Type] = true
		if got := r.Envelope.AppendCanonical(nil, r.Data); !bytes.Equal(got, body) {
			t.Errorf("%s: written again:\n got %s\nwant %s", name, got, body)
		}
		data, err := cat.Decode(r)
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		encoded := canon.Bytes(events.Encode(data))
		k := cat.Kind(r.Kind)
		if r.Version == k.Version && !bytes.Equal(encoded, r.Data) {
			t.Errorf("%s: encoded again:\n got %s\nwant %s", name, encoded, r.Data)
		}
		if c, ok := data.(*events.RecordCorrected); ok {
			kind, version, _ := events.SplitType(c.Type)
			if _, err := cat.DecodeData(kind, version, c.Data); err != nil {
				t.Errorf("%s: the corrected data: %v", name, err)
			}
		}
		whole := events.Draft{
			ID: r.Envelope.ID, Source: r.Envelope.Source, Type: r.Envelope.Type, Time: r.Envelope.Time, NotedTime: r.Envelope.NotedTime,
			DeviceTime: r.Envelope.DeviceTime, Actor: r.Envelope.Actor, Data: parse(t, string(r.Data)),
		}
		a, problems := door.Check(whole)
		if len(problems) > 0 || !bytes.Equal(a.Data, r.Data) || a.Draft.Type != r.Envelope.Type || a.Draft.Time != r.Envelope.Time || a.Version != r.Version {
			t.Errorf("%s: as a whole record the door changes or refuses it: %v\n%s %s", name, problems, a.Draft.Type, a.Data)
		} else if got, want := events.MergeChains(a.OwnChains()), chainsIn(t, r); !slices.Equal(got, want) && r.Kind != "record.corrected" && r.Kind != "record.withdrawn" {
			t.Errorf("%s: its own chains are %v, it stands in %v", name, got, want)
		}
		if a, problems := door.Check(events.Draft{Type: k.Type(), Time: r.Envelope.Time, Data: events.Encode(data)}); len(problems) > 0 || !bytes.Equal(a.Data, encoded) {
			t.Errorf("%s: the door changes or refuses it: %v\n%s", name, problems, a.Data)
		}
	}
	return have
}

func chainsIn(t *testing.T, r *events.Record) []string {
	t.Helper()
	links, err := events.ParseChains(r.Envelope.Chains)
	if err != nil {
		t.Fatal(err)
	}
	var out []string
	for _, l := range links {
		out = append(out, l.Chain)
	}
	return out
}

// An invented kind whose meaning changed: its first version, and a correction of it, as they were written when that was the
// newest, are read by a catalogue that knows the second.
func TestSamplesOfAnOldVersion(t *testing.T) {
	t.Parallel()
	if *update {
		type moonRisen struct { // as the type was then
			events.Common
			Name   string  `json:"name" is:"name,required"`
			Tenths float64 `json:"tenths" is:"number,required" min:"0" max:"10"`
		}
		none := func(events.ID, canon.Value) []string { return nil }
		door := then(t, events.NewKind[moonRisen]("moon.risen", 1, none, ""))
		add(t, invented, "moon.risen.v1.json", func() []byte {
			return stored(t, door, "moon.risen", "moon.risen", "2026-09-26T18:10:00-10:00", `{"name": "harvest moon", "tenths": 9, "note": "invented, for the tests of versions"}`)
		})
		add(t, invented, "record.corrected.v1.json", func() []byte {
			return stored(t, door, "corrected moon.risen", "record.corrected", "2026-09-27T08:00:00-10:00", `{"record": "{{moon.risen}}", "follows": "{{moon.risen}}",
				"type": "moon.risen.v1", "reason": "it was nearly full", "data": {"name": "harvest moon", "tenths": 9.5}}`)
		})
	}
	cat := second(t)
	hold(t, invented, cat)
	body, err := os.ReadFile(filepath.Join(invented, "record.corrected.v1.json"))
	if err != nil {
		t.Fatal(err)
	}
	r, err := events.ParseRecord(2, body)
	if err != nil {
		t.Fatal(err)
	}
	data, err := cat.Decode(r)
	if err != nil {
		t.Fatal(err)
	}
	c := data.(*events.RecordCorrected)
	kind, version, _ := events.SplitType(c.Type)
	inner, err := cat.DecodeData(kind, version, c.Data)
	if err != nil {
		t.Fatal(err)
	}
	if m := inner.(*moonRisen); version != 1 || m.Brightness.Value != 95 || m.Brightness.Unit != "%" {
		t.Errorf("got version %d, %+v", version, m)
	}
	// The standard catalogue does not know the kind, and says so instead of passing over it.
	if _, err := events.Standard().DecodeData(kind, version, c.Data); !errors.Is(err, events.ErrNewerVersion) {
		t.Errorf("a kind that this program does not know: got %v", err)
	}
}
