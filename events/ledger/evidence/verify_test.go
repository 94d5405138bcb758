package evidence_test

import (
	"bytes"
	"fmt"
	"slices"
	"strings"
	"testing"

	"latewood/events/ledger"
	"latewood/events/ledger/evidence"
	"latewood/events/ledger/proof"
)

func TestLot(t *testing.T) {
	t.Parallel()
	s := tell(t)
	p := s.give(lot17)
	p.Names = []evidence.Name{person()}
	b := s.seal(p)
	r := evidence.Verify(b, s.trust())
	if !r.OK || !r.Complete || len(r.Problems) > 0 {
		t.Fatalf("a good file: %+v", r)
	}
	if r.Log != origin || r.Size != 17 || r.AsOf != 17 || r.Records != len(p.Records)+1 || r.For != "lot/L17" || r.Recipient != "Harrow Packing" || r.KeyFrom != "the tests" {
		t.Errorf("the report: %+v", r)
	}
	var chains []string
	for _, c := range r.Chains {
		chains = append(chains, fmt.Sprintf("%s %d", c.Chain, c.Records))
	}
	want := fmt.Sprintf("inputs/north 2, inputs/south 1, label/%s 1, lot/L17 3", s.label.ID)
	if got := strings.Join(chains, ", "); got != want {
		t.Errorf("chains: got %s, want %s", got, want)
	}
	var places []uint64
	for _, r := range p.Records {
		places = append(places, r.Place)
	}
	// Label, both sprays, both picks with their corrections, the packing, the water, the shipping; not pick 9 nor lot L18.
	if want := []uint64{4, 5, 6, 7, 8, 10, 11, 13, 14, 15}; !slices.Equal(places, want) {
		t.Errorf("places: got %v, want %v", places, want)
	}
	if bytes.Contains(b, []byte(s.pick3.ID)) || bytes.Contains(b, []byte("L18")) {
		t.Error("the file speaks of a pick of another lot")
	}
	if len(r.Names) != 1 || r.Names[0].Records != 2 || r.Names[0].Name != "Ira Sund" {
		t.Errorf("names: %+v", r.Names)
	}
	if r.Late == nil || r.Late.MedianSeconds != 3600 || r.Late.WorstSeconds != 3600 {
		t.Errorf("lateness: %+v", r.Late)
	}
	if !strings.HasPrefix(r.Sentences[0], "Nothing that was recorded for lot L17") || !strings.HasSuffix(r.Sentences[0], "this cannot show.") {
		t.Errorf("the sentence: %s", r.Sentences[0])
	}
	if again := s.seal(p); !bytes.Equal(again, b) {
		t.Error("the same parts made another file")
	}
}

func TestSubjects(t *testing.T) {
	t.Parallel()
	s := tell(t)
	plan := s.add("spray.planned", `{"where":{"block":"south"}}`)
	begun := s.add("spray.begun", fmt.Sprintf(`{"where":{"block":"south"},"plan":%q}`, plan.ID))
	applied := s.add("spray.applied", fmt.Sprintf(`{"where":{"block":"south"},"begun":%q,"mix":[]}`, begun.ID))
	s.add("spray.posted", fmt.Sprintf(`{"spray":%q}`, applied.ID))
	received := s.add("fruit.received", `{"delivery":"N7"}`)
	s.add("lot.packed", fmt.Sprintf(`{"inputs":[{"received":%q},{"bin":"B4"}],"lot":"L19"}`, received.ID))
	s.add("lot.repacked", `{"inputs":[{"lot":"L19"},{"lot":"L18"}],"lot":"L20"}`)
	s.add("block.redrawn", `{"from":["south"],"into":[{"block":"south-a"},{"block":"south-b"}]}`)
	pick := s.add("fruit.picked", `{"where":{"block":"south-a"}}`)
	s.add("lot.packed", fmt.Sprintf(`{"inputs":[{"pick":%q}],"lot":"L21"}`, pick.ID))
	label := "label/" + s.label.ID
	sp := func(ids ...string) string {
		var out []string
		for _, id := range ids {
			out = append(out, "spray/"+id)
		}
		slices.Sort(out)
		return strings.Join(out, " ")
	}
	for _, tc := range []struct {
		name string
		of   evidence.Subject
		want string
		bins string
	}{
		{"lot", evidence.Subject{Class: "lot", Code: "L18"}, "inputs/north " + label + " lot/L18", ""},
		{"load with a blank and a slash", evidence.Subject{Class: "delivery", Code: "D 1/2"}, "delivery/D%201%2F2 inputs/north " + label, ""},
		{"block", evidence.Subject{Class: "block", Code: "north", Season: "2026"}, "growth/north inputs/north " + label + " picks/north", ""},
		{"block, season over two years", evidence.Subject{Class: "block", Code: "south", Season: "2025/26"}, "growth/south inputs/south " + label + " picks/south", ""},
		{"spray", evidence.Subject{Class: "spray", Code: applied.ID}, sp(plan.ID, begun.ID, applied.ID), ""},
		{"plan", evidence.Subject{Class: "spray", Code: plan.ID}, sp(plan.ID, begun.ID, applied.ID), ""},
		{"spray with a label", evidence.Subject{Class: "spray", Code: s.northSpray.ID}, label + " " + sp(s.northSpray.ID), ""},
		{"neighbour's fruit and a bin", evidence.Subject{Class: "lot", Code: "L19"}, "delivery/N7 lot/L19", "B4"},
		{"repacked", evidence.Subject{Class: "lot", Code: "L20"}, "delivery/N7 inputs/north " + label + " lot/L18 lot/L19 lot/L20", "B4"},
		{"redrawn block", evidence.Subject{Class: "lot", Code: "L21"}, "inputs/south inputs/south-a " + label + " lot/L21", ""},
		{"what is not there", evidence.Subject{Class: "lot", Code: "nothing"}, "lot/nothing", ""},
	} {
		// One after another: each appends its evidence.
		p := s.give(tc.of)
		r := evidence.Verify(s.seal(p), s.trust())
		var chains []string
		for _, c := range r.Chains {
			chains = append(chains, c.Chain)
		}
		if got := strings.Join(chains, " "); !r.OK || got != tc.want || strings.Join(r.Bins, " ") != tc.bins {
			t.Errorf("%s: ok %v, problems %s, bins %v\n got %s\nwant %s", tc.name, r.OK, codes(r), r.Bins, got, tc.want)
		}
		if r.For != tc.of.String() {
			t.Errorf("%s: for %q, want %q", tc.name, r.For, tc.of.String())
		}
	}
}

// A withdrawal, and records that came between asking for the heads and appending, belong to the chains too.
func TestWhatCameBetween(t *testing.T) {
	t.Parallel()
	s := tell(t)
	scope, err := evidence.Walk(lot17, s.source())
	if err != nil {
		t.Fatal(err)
	}
	var heads []string
	for _, c := range scope.Chains {
		heads = append(heads, fmt.Sprintf(`{"chain":%q,"leaf":%q,"place":%d}`, c, ledger.Hash(s.heads[c].Prev).String(), s.heads[c].Place))
	}
	s.add("water.applied", `{"where":{"block":"north"}}`)
	s.add("record.withdrawn", fmt.Sprintf(`{"follows":%q,"reason":"double","record":%q}`, s.fixed2.ID, s.pick2.ID), "lot/L17", "picks/north", "picks/south")
	given := s.add("evidence.given", fmt.Sprintf(`{"for":{"lot":"L17"},"heads":[%s],"size":16}`, strings.Join(heads, ",")))
	scope, _ = evidence.Walk(lot17, s.source())
	records := slices.DeleteFunc(scope.Records, func(r *evidence.Record) bool { return r == given })
	p := evidence.Parts{Subject: lot17, Given: given, Records: records, Hashes: &s.hashes, Key: s.key.Key(), HTML: []byte("x"), Sign: s.sign}
	if r := evidence.Verify(s.seal(p), s.trust()); !r.OK || r.Records != len(records)+1 {
		t.Errorf("with records between: %s", codes(r))
	}
}

// Every byte of a file, flipped in turn: none verifies.
func TestEveryByte(t *testing.T) {
	t.Parallel()
	b := small(t)
	trust := newFarm(t).trust()
	if r := evidence.Verify(b, trust); !r.OK {
		t.Fatalf("the file itself: %s", codes(r))
	}
	flips := []byte{0x01, 0x20, 0x80}
	step := 1
	if full {
		flips = []byte{1, 2, 4, 8, 16, 32, 64, 128, 255}
	}
	n := 0
	changed := bytes.Clone(b)
	for i := 0; i < len(b); i += step {
		for _, x := range flips {
			changed[i] ^= x
			if r := evidence.Verify(changed, trust); r.OK || r.Complete {
				t.Fatalf("byte %d of %d xor %#x: it verifies", i, len(b), x)
			}
			changed[i] ^= x
			n++
		}
	}
	for i := range len(b) {
		if i%7 == 0 && evidence.Verify(b[:i], trust).OK {
			t.Fatalf("cut off at byte %d: it verifies", i)
		}
	}
	if evidence.Verify(append(bytes.Clone(b), 0), trust).OK {
		t.Error("with a byte behind it: it verifies")
	}
	t.Logf("counts: %d changes of a file of %d bytes", n, len(b))
}

// small is evidence with few bytes, for tests that try each of them.
func small(t testing.TB) []byte {
	f := newFarm(t)
	f.add("farm.opened", `{"name":"Tern Hollow"}`)
	pick := f.add("fruit.picked", `{"where":{"block":"north"}}`)
	f.add("lot.packed", fmt.Sprintf(`{"inputs":[{"pick":%q}],"lot":"L17"}`, pick.ID))
	return f.seal(f.give(lot17))
}

// Somebody with the ledger's key takes out each record in turn, and each tail of each chain, and signs the rest anew: the
// check says that it is not complete.
func TestNothingLeftOut(t *testing.T) {
	t.Parallel()
	s := tell(t)
	s.add("water.applied", `{"where":{"block":"north"}}`)
	s.add("pest.scouted", `{"where":{"block":"south"}}`)
	p := s.give(lot17)
	s.add("water.applied", `{"where":{"block":"north"}}`) // behind the evidence
	b := s.seal(p)
	good := evidence.Verify(b, s.trust())
	if !good.Complete {
		t.Fatalf("the file itself: %s", codes(good))
	}
	reseal := func(f forge) []byte {
		out, err := must(evidence.Head(b)).Reseal(f.files(), s.sign)
		if err != nil {
			t.Fatal(err)
		}
		return out
	}
	if r := evidence.Verify(reseal(open(t, b)), s.trust()); !r.Complete {
		t.Fatalf("signed anew without a change: %s", codes(r))
	}
	all := append(slices.Clone(p.Records), p.Given)
	n := 0
	without := func(what string, gone ...*evidence.Record) {
		f := open(t, b)
		for _, r := range gone {
			f.drop(r)
		}
		if r := evidence.Verify(reseal(f), s.trust()); r.Complete || r.OK {
			t.Errorf("%s: it is complete", what)
		}
		n++
	}
	for _, r := range all {
		// The correction of a pick from before it was packed is held by the version seen alone; so it is here.
		without(fmt.Sprintf("without place %d, %s", r.Place, r.Kind), r)
		f := open(t, b)
		delete(f.parts, fmt.Sprintf("records/%010d.json", r.Place))
		if evidence.Verify(reseal(f), s.trust()).OK {
			t.Errorf("without the record but with the proof of place %d: it verifies", r.Place)
		}
		f = open(t, b)
		delete(f.parts, fmt.Sprintf("proofs/%010d.tlog-proof", r.Place))
		if evidence.Verify(reseal(f), s.trust()).OK {
			t.Errorf("without the proof of place %d: it verifies", r.Place)
		}
	}
	for _, c := range good.Chains {
		var in []*evidence.Record
		for _, r := range p.Records {
			if _, ok := r.Link(c.Chain); ok {
				in = append(in, r)
			}
		}
		for i := range in {
			without(fmt.Sprintf("%s from its place %d on", c.Chain, i+1), in[i:]...)
			without(fmt.Sprintf("%s up to its place %d", c.Chain, i+1), in[:i+1]...)
		}
	}
	t.Logf("counts: %d removals, signed anew", n)
}

// A problem is a file, what its checker brings along, and the codes of what is wrong.
type problem struct {
	name  string
	b     []byte
	trust evidence.Trust
	want  string
}

// problems makes files with one thing wrong each, and some with nothing wrong.
func problems(t testing.TB) []problem {
	s := tell(t)
	first := s.seal(s.give(lot17))
	early := s.checkpoint(9)
	p := s.give(lot17)
	p.Older = []uint64{17}
	b := s.seal(p)
	size := uint64(len(s.records))
	tree := proof.Tree{Size: size, Root: s.root(size)}
	other := secret(t, 2, origin)
	stranger := secret(t, 3, "latewood/elsewhere-11111111")
	split, err := proof.Checkpoint{Origin: origin, Tree: proof.Tree{Size: size, Root: s.root(3)}}.Sign(s.key)
	if err != nil {
		t.Fatal(err)
	}
	splitOlder, _ := proof.Checkpoint{Origin: origin, Tree: proof.Tree{Size: 17, Root: s.root(3)}}.Sign(s.key)
	empty, _ := proof.Checkpoint{Origin: origin, Tree: proof.Tree{Root: s.root(0)}}.Sign(s.key)
	witness, err := proof.GenerateWitness(bytes.NewReader(bytes.Repeat([]byte{4}, 32)), "harrow.example/witness")
	if err != nil {
		t.Fatal(err)
	}
	signed, err := proof.Cosign(s.checkpoint(size), s.key.Key(), witness, 1780000000)
	if err != nil {
		t.Fatal(err)
	}
	reseal := func(change func(f forge)) []byte {
		f := open(t, b)
		change(f)
		out, err := must(evidence.Head(b)).Reseal(f.files(), s.sign)
		if err != nil {
			t.Fatal(err)
		}
		return out
	}
	repack := func(change func(f forge)) []byte {
		f := open(t, b)
		change(f)
		return f.pack(t)
	}
	record := fmt.Sprintf("records/%010d.json", s.northSpray.Place)
	proofOf := func(r *evidence.Record) string { return fmt.Sprintf("proofs/%010d.tlog-proof", r.Place) }
	key := s.trust()
	with := func(f func(t *evidence.Trust)) evidence.Trust {
		out := key
		f(&out)
		return out
	}
	return []problem{
		{"good", b, key, ""},
		{"the checkpoint of the file before was seen", b, with(func(t *evidence.Trust) { t.Seen = [][]byte{must(evidence.CheckpointOf(first))} }), ""},
		{"this checkpoint was seen", b, with(func(t *evidence.Trust) { t.Seen = [][]byte{s.checkpoint(size)} }), ""},
		{"the witness signed what was seen", b, with(func(t *evidence.Trust) { t.Witnesses, t.Seen = []proof.Key{witness.Key()}, [][]byte{signed} }), ""},
		{"two keys, one after the other", b, with(func(t *evidence.Trust) { t.Keys = []proof.Key{other.Key(), s.key.Key()} }), ""},

		{"no key", b, with(func(t *evidence.Trust) { t.Keys = nil }), "no-key"},
		{"another key of the same name", b, with(func(t *evidence.Trust) { t.Keys = []proof.Key{other.Key()} }), "foreign-key"},
		{"the key of another ledger", b, with(func(t *evidence.Trust) { t.Keys = []proof.Key{stranger.Key()} }), "foreign-key"},
		{"not a file of evidence", []byte("hello, hello, hello, hello"), key, "container"},
		{"a record changed", repack(func(f forge) { f.parts[record] = bytes.Replace(f.parts[record], []byte("north"), []byte("south"), 1) }), key, "changed-part"},
		{"the first page changed", repack(func(f forge) { f.parts["first-page.html"] = []byte("all is well") }), key, "changed-part"},
		{"a part added", repack(func(f forge) { f.parts["names.json"] = []byte("[]") }), key, "added-part"},
		{"a part removed", repack(func(f forge) { delete(f.parts, "README.txt") }), key, "missing-part"},
		{"an unknown part", repack(func(f forge) { f.parts["extra"] = []byte("x") }), key, "unknown-part"},
		{"the manifest of the file before", repack(func(f forge) { f.parts["manifest"] = open(t, first).parts["manifest"] }), key, "changed-part swapped-checkpoint"},
		{"a checkpoint of before", repack(func(f forge) { f.parts["checkpoint"] = early }), key, "changed-part swapped-checkpoint"},
		{"a manifest signed by somebody else", repack(func(f forge) {
			text, _, _ := strings.Cut(string(f.parts["manifest"]), "\n\n")
			f.parts["manifest"] = must(proof.SignNote(text+"\n", other))
		}), key, "foreign-key"},
		{"a manifest with a second line", repack(func(f forge) {
			text, _, _ := strings.Cut(string(f.parts["manifest"]), "\n\n")
			f.parts["manifest"] = must(proof.SignNote(text+"\n", s.key, other))
		}), key, "bad-form"},
		{"a checkpoint as the manifest", repack(func(f forge) { f.parts["manifest"] = f.parts["checkpoint"] }), key, "bad-form"},
		{"a manifest as the checkpoint", repack(func(f forge) { f.parts["checkpoint"] = f.parts["manifest"] }), key, "bad-form"},

		{"signed anew: a record changed", reseal(func(f forge) { f.parts[record] = bytes.Replace(f.parts[record], []byte("north"), []byte("south"), 1) }), key, "hole not-in-tree"},
		{"signed anew: a record that is none", reseal(func(f forge) { f.parts[record] = []byte("{}") }), key, "bad-record"},
		{"signed anew: a record with a blank", reseal(func(f forge) { f.parts[record] = append([]byte(" "), f.parts[record]...) }), key, "bad-record"},
		{"signed anew: two proofs swapped", reseal(func(f forge) {
			a, b := proofOf(s.northSpray), proofOf(s.southSpray)
			f.parts[a], f.parts[b] = f.parts[b], f.parts[a]
		}), key, "not-in-tree"},
		{"signed anew: a proof for the checkpoint before", reseal(func(f forge) { f.parts[proofOf(s.northSpray)] = open(t, first).parts[proofOf(s.northSpray)] }), key, "other-checkpoint"},
		{"signed anew: a proof that is none", reseal(func(f forge) { f.parts[proofOf(s.northSpray)] = []byte("x") }), key, "bad-form"},
		{"signed anew: another key in the file", reseal(func(f forge) { f.parts["ledger.vkey"] = []byte(other.Key().String() + "\n") }), key, "other-key"},
		{"signed anew: a time stamp over something else", reseal(func(f forge) { f.parts["checkpoint.tsr"] = []byte("x") }), key, "other-stamp"},
		{"signed anew: names that are none", reseal(func(f forge) { f.parts["names.json"] = []byte("[]\n") }), key, "bad-form"},

		{"an older checkpoint than one seen", first, with(func(t *evidence.Trust) { t.Seen = [][]byte{s.checkpoint(size)} }), "older-than-seen"},
		{"a second history of the same size", b, with(func(t *evidence.Trust) { t.Seen = [][]byte{split} }), "second-history"},
		{"a second history before", b, with(func(t *evidence.Trust) { t.Seen = [][]byte{splitOlder} }), "second-history"},
		{"nothing to compare with", b, with(func(t *evidence.Trust) { t.Seen = [][]byte{early} }), "cannot-compare"},
		{"an empty ledger was seen", b, with(func(t *evidence.Trust) { t.Seen = [][]byte{empty} }), "seen-empty"},
		{"what was seen is signed by somebody else", b, with(func(t *evidence.Trust) {
			t.Seen = [][]byte{must(proof.Checkpoint{Origin: origin, Tree: tree}.Sign(other))}
		}), "seen-unsigned"},
		{"no witness", b, with(func(t *evidence.Trust) { t.Witnesses = []proof.Key{witness.Key()} }), "no-witness"},
	}
}

// Each thing that can be wrong has a line of its own.
func TestProblems(t *testing.T) {
	t.Parallel()
	for _, tc := range problems(t) {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			r := evidence.Verify(tc.b, tc.trust)
			if got := codes(r); got != tc.want || r.OK != (tc.want == "") {
				t.Errorf("got %q, want %q\n%+v", got, tc.want, r.Problems)
			}
			for _, p := range r.Problems {
				if p.What == "" || strings.Contains(p.What, "⟦") || strings.Contains(p.What, "\n") {
					t.Errorf("%s: the line is %q", p.Code, p.What)
				}
			}
		})
	}
}

func must[T any](v T, err error) T {
	if err != nil {
		panic(err)
	}
	return v
}

func TestNames(t *testing.T) {
	t.Parallel()
	s := tell(t)
	p := s.give(lot17)
	p.Checkpoint = s.checkpoint(uint64(len(s.records)))
	for _, tc := range []struct {
		name   string
		change func(n *evidence.Name)
		want   string
	}{
		{"another name", func(n *evidence.Name) { n.Name = "Ila Sund" }, "wrong-name"},
		{"another certificate", func(n *evidence.Name) { n.Certificate = "PA-2" }, "wrong-name"},
		{"no salt", func(n *evidence.Name) { n.Salt = "" }, "wrong-name"},
		{"another pseudonym", func(n *evidence.Name) { n.Pseudonym = "w_" + strings.Repeat("0", 32) }, "idle-name"},
	} {
		n := person()
		tc.change(&n)
		p.Names = []evidence.Name{n}
		_, err := evidence.Make(p)
		var bad *evidence.BadError
		if !asBad(err, &bad) || codes(bad.Report) != tc.want {
			t.Errorf("%s: got %v, want %s", tc.name, err, tc.want)
		}
	}
}
