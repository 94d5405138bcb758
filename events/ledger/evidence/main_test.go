package evidence_test

import (
	"bytes"
	"encoding/base64"
	"errors"
	"fmt"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"latewood/events"
	"latewood/events/canon"
	"latewood/events/ledger"
	"latewood/events/ledger/evidence"
	"latewood/events/ledger/proof"
)

// full says whether the full counts were asked for.
var full = os.Getenv("LATEWOOD_PROOF") == "1"

const origin = "latewood/tern-hollow-00000000"

// secret is an invented key that everybody can make again.
func secret(t testing.TB, seed byte, name string) proof.Secret {
	t.Helper()
	s, err := proof.Generate(bytes.NewReader(bytes.Repeat([]byte{seed}, 32)), name)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// A farm is a ledger in memory with a recorder of its own: it gives records their chains by the table in events.
type farm struct {
	t       testing.TB
	key     proof.Secret
	records []*evidence.Record
	hashes  proof.Hashes
	heads   map[string]events.Link // the next link of each chain
	now     time.Time
}

func newFarm(t testing.TB) *farm {
	return &farm{t: t, key: secret(t, 1, origin), heads: map[string]events.Link{}, now: time.Date(2026, 5, 1, 6, 0, 0, 0, time.UTC)}
}

// add appends a record that happened an hour before. more are chains beside its own.
func (f *farm) add(kind, data string, more ...string) *evidence.Record {
	f.t.Helper()
	v, err := canon.Parse([]byte(data))
	if err != nil {
		f.t.Fatalf("%s: %v", data, err)
	}
	n := uint64(len(f.records) + 1)
	var random [10]byte
	random[9], random[8] = byte(n), byte(n>>8)
	id := events.NewID(f.now.UnixMilli(), random)
	k := events.Standard().Kind(kind)
	chains := events.MergeChains(k.OwnChains(id, v), more)
	var links []events.Link
	for _, c := range chains {
		l := f.heads[c]
		l.Chain, l.Place = c, l.Place+1
		links = append(links, l)
	}
	e := events.Envelope{
		Farm: "tern-hollow", ID: id.String(), RecordedTime: events.RecordedAt(f.now), Time: f.now.Add(-time.Hour).Format(time.RFC3339),
		Salt: base64.StdEncoding.EncodeToString(bytes.Repeat([]byte{byte(n)}, 16)), Source: "/farms/tern-hollow/cli", Type: k.Type(), Chains: events.FormatChains(links),
	}
	r, err := evidence.ParseRecord(n, e.AppendCanonical(nil, canon.Bytes(v)))
	if err != nil {
		f.t.Fatal(err)
	}
	for _, l := range links {
		f.heads[l.Chain] = events.Link{Place: l.Place, Prev: r.Leaf}
	}
	f.records = append(f.records, r)
	f.hashes.Append(r.Leaf)
	f.now = f.now.Add(24 * time.Hour)
	return r
}

func (f *farm) root(size uint64) ledger.Hash {
	root, err := proof.Root(size, &f.hashes)
	if err != nil {
		f.t.Fatal(err)
	}
	return root
}

func (f *farm) checkpoint(size uint64) []byte {
	note, err := proof.Checkpoint{Origin: origin, Tree: proof.Tree{Size: size, Root: f.root(size)}}.Sign(f.key)
	if err != nil {
		f.t.Fatal(err)
	}
	return note
}

func (f *farm) sign(text string) ([]byte, error) { return proof.SignNote(text, f.key) }

func (f *farm) source() *evidence.Records {
	src, err := evidence.NewRecords(f.records)
	if err != nil {
		f.t.Fatal(err)
	}
	return src
}

// give appends an evidence.given for a subject and makes the parts of its file.
func (f *farm) give(s evidence.Subject) evidence.Parts {
	f.t.Helper()
	scope, err := evidence.Walk(s, f.source())
	if err != nil {
		f.t.Fatal(err)
	}
	of := fmt.Sprintf(`{%q:%q}`, s.Class, s.Code)
	if s.Season != "" {
		of = fmt.Sprintf(`{%q:%q,"season":%q}`, s.Class, s.Code, s.Season)
	}
	var heads []string
	for _, c := range scope.Chains {
		heads = append(heads, fmt.Sprintf(`{"chain":%q,"leaf":%q,"place":%d}`, c, ledger.Hash(f.heads[c].Prev).String(), f.heads[c].Place))
	}
	given := f.add("evidence.given", fmt.Sprintf(`{"for":%s,"heads":[%s],"recipient":{"name":"Harrow Packing"},"size":%d}`, of, strings.Join(heads, ","), len(f.records)))
	return evidence.Parts{
		Subject: s, Given: given, Records: scope.Records, Hashes: &f.hashes, Key: f.key.Key(), HTML: []byte("<!doctype html><title>invented</title>\n"), Sign: f.sign,
	}
}

// seal puts the newest checkpoint under the parts and makes the file.
func (f *farm) seal(p evidence.Parts) []byte {
	f.t.Helper()
	p.Checkpoint = f.checkpoint(uint64(len(f.records)))
	b, err := evidence.Make(p)
	if err != nil {
		f.t.Fatal(err)
	}
	return b
}

func (f *farm) trust() evidence.Trust {
	return evidence.Trust{Keys: []proof.Key{f.key.Key()}, KeyFrom: "the tests"}
}

const spray = `{"where":{"block":%q},"started":"2026-05-05T07:00:00Z","ended":"2026-05-05T08:00:00Z","mix":[{"label":%q,"role":"active"}],"applicator":{"code":"w_00112233445566778899aabbccddeeff","commitment":%q}}`

// A story is Tern Hollow with two lots and a load, invented.
type story struct {
	*farm
	label, northSpray, southSpray, pick1, pick2, pick3, fixed1, fixed2 *evidence.Record
}

// person is whose commitment stands in the sprays.
func person() evidence.Name {
	salt := [32]byte{7}
	return evidence.Name{
		Pseudonym: "w_00112233445566778899aabbccddeeff", Name: "Ira Sund", Certificate: "PA-1", Salt: base64.StdEncoding.EncodeToString(salt[:]),
		Commitment: events.Commitment(salt, "PA-1", "Ira Sund"),
	}
}

func tell(t testing.TB) *story {
	s := &story{farm: newFarm(t)}
	s.add("farm.opened", `{"name":"Tern Hollow"}`)
	s.add("block.established", `{"block":"north","name":"North"}`)
	s.add("block.established", `{"block":"south","name":"South"}`)
	s.label = s.add("label.filed", `{"product":"Oil","material":"pesticide"}`)
	s.northSpray = s.add("spray.applied", fmt.Sprintf(spray, "north", s.label.ID, person().Commitment))
	s.southSpray = s.add("spray.applied", fmt.Sprintf(spray, "south", s.label.ID, person().Commitment))
	s.pick1 = s.add("fruit.picked", `{"mass":{"unit":"kg","value":410},"where":{"block":"north"}}`)
	s.pick2 = s.add("fruit.picked", `{"mass":{"unit":"kg","value":320},"where":[{"block":"north"},{"block":"south"}]}`)
	s.pick3 = s.add("fruit.picked", `{"mass":{"unit":"kg","value":99},"where":{"block":"north"}}`)
	s.fixed1 = s.correct(s.pick1, `{"mass":{"unit":"kg","value":401},"where":{"block":"north"}}`)
	s.add("lot.packed", fmt.Sprintf(`{"inputs":[{"pick":%q,"versionSeen":%q},{"pick":%q}],"lot":"L17"}`, s.pick1.ID, s.fixed1.ID, s.pick2.ID))
	s.add("lot.packed", fmt.Sprintf(`{"inputs":[{"pick":%q}],"lot":"L18"}`, s.pick3.ID))
	s.fixed2 = s.correct(s.pick2, `{"mass":{"unit":"kg","value":302},"where":[{"block":"north"},{"block":"south"}]}`, "lot/L17")
	s.add("water.applied", `{"where":{"block":"north"}}`)
	s.add("lot.shipped", `{"lot":"L17","recipient":{"name":"Harrow Packing"}}`)
	s.add("fruit.delivered", fmt.Sprintf(`{"delivery":"D 1/2","picks":[{"pick":%q}]}`, s.pick3.ID))
	return s
}

// correct appends a correction of a record.
func (f *farm) correct(r *evidence.Record, data string, more ...string) *evidence.Record {
	kind := r.Kind + ".v1"
	for _, l := range r.Links {
		more = append(more, l.Chain)
	}
	return f.add("record.corrected", fmt.Sprintf(`{"data":%s,"follows":%q,"reason":"scale","record":%q,"type":%q}`, data, r.ID, r.ID, kind), more...)
}

var lot17 = evidence.Subject{Class: "lot", Code: "L17"}

// codes lists what a check found.
func codes(r evidence.Report) string {
	var out []string
	for _, p := range r.Problems {
		out = append(out, p.Code)
	}
	slices.Sort(out)
	return strings.Join(slices.Compact(out), " ")
}

// forge is an attacker: it makes a container of parts, after they were changed, and where it holds the ledger's key it signs a
// manifest over them.
type forge struct {
	parts map[string][]byte
}

func open(t testing.TB, b []byte) forge {
	t.Helper()
	files, err := evidence.Unpack(b)
	if err != nil {
		t.Fatal(err)
	}
	f := forge{map[string][]byte{}}
	for _, p := range files {
		f.parts[p.Name] = p.Body
	}
	return f
}

func (f forge) files() []evidence.File {
	var out []evidence.File
	for name, body := range f.parts {
		out = append(out, evidence.File{Name: name, Body: body})
	}
	return out
}

// drop takes a record and its proof out.
func (f forge) drop(r *evidence.Record) {
	delete(f.parts, fmt.Sprintf("records/%010d.json", r.Place))
	delete(f.parts, fmt.Sprintf("proofs/%010d.tlog-proof", r.Place))
}

func (f forge) pack(t testing.TB) []byte {
	t.Helper()
	b, err := evidence.Pack(f.files())
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func asBad(err error, into **evidence.BadError) bool { return errors.As(err, into) }
