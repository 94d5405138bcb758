package evidence

import (
	"bytes"
	"crypto/sha256"
	"encoding/base64"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"latewood/events/canon"
	"latewood/events/ledger"
	"latewood/events/ledger/proof"
	"latewood/events/words"
)

// Trust is what a checker brings along. None of it may come out of the file that is checked.
type Trust struct {
	Keys      []proof.Key // of the ledger: one, or those that it had one after the other; all of one name
	KeyFrom   string      // where they came from, for the report
	Witnesses []proof.Key // each must have signed the checkpoint
	Seen      [][]byte    // checkpoints of this ledger that the checker had before
}

// A Report is the outcome of a check. Its JSON form is the answer of `latewood verify`.
type Report struct {
	OK       bool      `json:"ok"`
	Log      string    `json:"log"`      // the ledger's origin
	Size     uint64    `json:"size"`     // records under the checkpoint
	Root     string    `json:"root"`     // base64
	Records  int       `json:"records"`  // in the file
	Complete bool      `json:"complete"` // every chain is there from its first record to AsOf
	AsOf     uint64    `json:"asOf"`     // place up to which the chains are shown
	KeyFrom  string    `json:"keyFrom"`
	SignedBy []string  `json:"signedBy"`
	Problems []Problem `json:"problems"`

	For       string    `json:"for,omitempty"`       // the subject, as lot/L17
	Given     string    `json:"given,omitempty"`     // when the chains ended, by the ledger's clock
	Recipient string    `json:"recipient,omitempty"` // to whom
	Chains    []Walked  `json:"chains,omitempty"`
	Late      *Lateness `json:"late,omitempty"`
	Witnessed []Witness `json:"witnessed,omitempty"`
	Seen      int       `json:"seen"` // checkpoints seen before that this one continues
	Names     []Opened  `json:"names,omitempty"`
	Bins      []string  `json:"bins,omitempty"` // packed from, and bound to a pick by no record
	Stamp     string    `json:"stamp,omitempty"`
	Sentences []string  `json:"sentences"` // the outcome in words; the first says it all
}

// A Problem is one thing that is wrong.
type Problem struct {
	Code   string `json:"code"`
	What   string `json:"what"`
	Record string `json:"record,omitempty"` // the id of the record that it is about
}

// Walked is a chain that is there whole.
type Walked struct {
	Chain   string `json:"chain"`
	Records uint64 `json:"records"` // before the evidence.given
}

// Witness is a signature of somebody outside under the checkpoint.
type Witness struct {
	By string `json:"by"`
	At string `json:"at"`
}

// Opened is a name that fits a commitment of a record in the file.
type Opened struct {
	Name        string `json:"name"`
	Certificate string `json:"certificate,omitempty"`
	Pseudonym   string `json:"pseudonym"`
	Records     int    `json:"records"`
}

// Lateness is how long after it happened a record came into the ledger, over all records in the file but what was given as
// evidence.
type Lateness struct {
	MedianSeconds int64 `json:"medianSeconds"`
	WorstSeconds  int64 `json:"worstSeconds"`
}

// LatenessOf measures records. There must be at least one that is no evidence; else it is nil.
func LatenessOf(records []*Record) *Lateness {
	var late []int64
	for _, r := range records {
		if r.Kind != "evidence.given" {
			late = append(late, max(0, int64(r.Recorded.Sub(r.Time)/time.Second)))
		}
	}
	if len(late) == 0 {
		return nil
	}
	slices.Sort(late)
	return &Lateness{MedianSeconds: late[(len(late)-1)/2], WorstSeconds: late[len(late)-1]}
}

// Verify checks a file of evidence. It needs nothing but its arguments: no clock, no network, no ledger.
func Verify(b []byte, t Trust) Report {
	c := &check{t: t}
	c.out = Report{KeyFrom: t.KeyFrom, SignedBy: []string{}, Problems: []Problem{}}
	c.run(b)
	c.out.OK = len(c.out.Problems) == 0
	c.out.Complete = c.out.OK && c.out.Complete
	c.out.Sentences = c.sentences()
	return c.out
}

type check struct {
	t      Trust
	out    Report
	parts  map[string][]byte
	files  []File
	sealed proof.Signed
	head   manifest
	all    []*Record
	given  *Record
}

// fail notes a problem.
func (c *check) fail(code string, r *Record, what string) {
	p := Problem{Code: code, What: what}
	if r != nil {
		p.Record = r.ID
	}
	c.out.Problems = append(c.out.Problems, p)
}

// run goes on as long as what comes next can be believed at all.
func (c *check) run(b []byte) {
	files, err := Unpack(b)
	var container *ContainerError
	if errors.As(err, &container) {
		c.fail("container", nil, container.Sentence())
		return
	}
	c.files, c.parts = files, map[string][]byte{}
	for _, f := range files {
		c.parts[f.Name] = f.Body
		if !knownName(f.Name) {
			c.fail("unknown-part", nil, words.Say("verify.unknown-part", "name", f.Name))
		}
	}
	for _, name := range []string{nameManifest, nameCheckpoint, nameReadme, nameHTML, nameKey, nameScript} {
		if c.parts[name] == nil {
			c.fail("missing-part", nil, words.Say("verify.missing-part", "name", name))
		}
	}
	if len(c.out.Problems) > 0 || !c.checkpoint() || !c.manifest() || !c.records() {
		return
	}
	c.proofs()
	if c.ending() {
		c.chains()
	}
	c.names()
	c.seen()
	c.stamp()
}

// checkpoint opens the signed head.
func (c *check) checkpoint() bool {
	if len(c.t.Keys) == 0 {
		c.fail("no-key", nil, words.Say("verify.no-key"))
		return false
	}
	keys := slices.Concat(c.t.Keys, c.t.Witnesses)
	s, err := proof.OpenCheckpoint(c.parts[nameCheckpoint], c.t.Keys[0].Name(), keys...)
	if err != nil {
		c.noteFault(nameCheckpoint, err)
		return false
	}
	c.sealed = s
	c.out.Log, c.out.Size, c.out.Root = s.Origin, s.Size, s.Root.String()
	for _, k := range s.By {
		c.out.SignedBy = append(c.out.SignedBy, k.ID())
	}
	c.witness(s)
	return true
}

// noteFault says why a signed part cannot be believed.
func (c *check) noteFault(name string, err error) {
	var unsigned *proof.UnsignedError
	var wrong *proof.SignatureError
	var origin *proof.OriginError
	switch {
	case errors.As(err, &unsigned):
		c.fail("foreign-key", nil, words.Say("verify.foreign-key", "name", name, "signed", printable(strings.Join(unsigned.Signed, ", ")), "key", c.t.Keys[0].ID()))
	case errors.As(err, &wrong):
		c.fail("bad-signature", nil, words.Say("verify.bad-signature", "name", name, "key", wrong.Key.ID()))
	case errors.As(err, &origin):
		c.fail("other-ledger", nil, words.Say("verify.other-ledger", "name", name, "got", printable(origin.Got), "want", origin.Want))
	default:
		c.fail("bad-form", nil, words.Say("verify.bad-form", "name", name))
	}
}

// witness takes in the signatures of witnesses under a checkpoint of the tree.
func (c *check) witness(s proof.Signed) {
	for _, w := range s.Witnessed {
		seen := Witness{By: w.Key.ID(), At: time.Unix(w.Time, 0).UTC().Format(time.RFC3339)}
		if !slices.Contains(c.out.Witnessed, seen) {
			c.out.Witnessed = append(c.out.Witnessed, seen)
		}
	}
}

// manifest opens the manifest and holds every part against it.
func (c *check) manifest() bool {
	note := c.parts[nameManifest]
	parsed, by, err := proof.OpenNote(note, c.t.Keys...)
	if err != nil {
		c.noteFault(nameManifest, err)
		return false
	}
	// A line of a key that nobody asked for could be changed unseen.
	if len(parsed.Lines) != len(by) {
		c.fail("bad-form", nil, words.Say("verify.bad-form", "name", nameManifest))
		return false
	}
	var ok bool
	if c.head, ok = readHead(parsed.Text); !ok {
		c.fail("bad-form", nil, words.Say("verify.bad-form", "name", nameManifest))
		return false
	}
	for _, f := range c.files {
		if f.Name != nameManifest {
			c.head.files = append(c.head.files, f)
		}
	}
	if c.head.origin != c.sealed.Origin || c.head.tree != c.sealed.Tree {
		c.fail("swapped-checkpoint", nil, words.Say("verify.swapped-checkpoint"))
	}
	if got := c.head.text(); got != parsed.Text {
		c.differ(strings.Split(parsed.Text, "\n"), strings.Split(got, "\n"))
	}
	if k, err := proof.ParseKey(strings.TrimSuffix(string(c.parts[nameKey]), "\n")); err != nil || !slices.Contains(c.t.Keys, k) {
		c.fail("other-key", nil, words.Say("verify.other-key"))
	}
	c.out.For = c.head.subject.String()
	return len(c.out.Problems) == 0
}

// differ names the parts of which the manifest says something else than is there.
func (c *check) differ(said, got []string) {
	there := map[string]bool{}
	for _, line := range got {
		there[line] = true
	}
	found := false
	for _, line := range said {
		if there[line] {
			continue
		}
		if f := strings.Split(line, " "); len(f) == 4 && (f[0] == "file" || f[0] == "folder") {
			c.fail("changed-part", nil, words.Say("verify.changed-part", "name", printable(f[1])))
			found = true
		}
	}
	if !found {
		c.fail("added-part", nil, words.Say("verify.added-part"))
	}
}

// records reads the records.
func (c *check) records() bool {
	for _, f := range c.files {
		place, ok := placeIn(f.Name, nameRecords, ".json")
		if !ok {
			continue
		}
		r, err := ParseRecord(place, f.Body)
		if err != nil {
			c.fail("bad-record", nil, words.Say("verify.bad-record", "name", f.Name))
			continue
		}
		c.all = append(c.all, r)
		if place == c.head.given {
			c.given = r
		}
	}
	c.out.Records = len(c.all)
	c.out.Late = LatenessOf(c.all)
	return len(c.out.Problems) == 0
}

// proofs checks that each record stands where it says, under the checkpoint that was opened.
func (c *check) proofs() {
	proofs := 0
	for _, f := range c.files {
		if _, ok := placeIn(f.Name, nameProofs, ".tlog-proof"); ok {
			proofs++
		}
	}
	for i, r := range c.all {
		name := proofName(r.Place)
		f, err := proof.ParseFile(c.parts[name])
		switch {
		case c.parts[name] == nil:
			c.fail("no-proof", r, words.Say("verify.no-proof", "place", r.Place))
			continue
		case err != nil || len(f.Extra) > 0:
			c.fail("bad-form", r, words.Say("verify.bad-form", "name", name))
			continue
		case !bytes.Equal(f.Checkpoint, c.parts[nameCheckpoint]):
			c.fail("other-checkpoint", r, words.Say("verify.other-checkpoint", "place", r.Place))
			continue
		}
		if f.Index != r.Place-1 || proof.CheckInclusion(c.sealed.Tree, f.Index, r.Leaf, f.Path) != nil {
			c.fail("not-in-tree", r, words.Say("verify.not-in-tree", "place", r.Place))
		}
		if i > 0 && r.Recorded.Before(c.all[i-1].Recorded) {
			c.fail("time-goes-back", r, words.Say("verify.time-goes-back", "place", r.Place, "before", c.all[i-1].Place))
		}
	}
	if proofs > len(c.all) {
		c.fail("proof-without-record", nil, words.Say("verify.proof-without-record", "proofs", proofs, "records", len(c.all)))
	}
}

// ending reads the evidence.given, which ends the chains.
func (c *check) ending() bool {
	r := c.given
	if r == nil || r.Kind != "evidence.given" || r.ID != c.head.id {
		c.fail("no-evidence", nil, words.Say("verify.no-evidence", "place", c.head.given))
		return false
	}
	c.out.AsOf = r.Place
	c.out.Given = r.Recorded.UTC().Format(time.RFC3339)
	c.out.Recipient = r.Data.Get("recipient").Get("name").Str
	if s, ok := subjectOf(r); !ok || s != c.head.subject {
		c.fail("other-subject", r, words.Say("verify.other-subject", "want", c.head.subject.String()))
		return false
	}
	for _, later := range c.all {
		if later.Place > r.Place {
			c.fail("behind-the-end", later, words.Say("verify.behind-the-end", "place", later.Place, "end", r.Place))
		}
	}
	return true
}

// chains walks what the subject needs, and every chain from its first record to the evidence.given.
func (c *check) chains() {
	src, err := NewRecords(c.all)
	if err != nil {
		c.fail("doubled-id", nil, words.Say("verify.doubled-id"))
		return
	}
	heads := map[string]canon.Value{}
	for _, h := range c.given.Data.Get("heads").Items {
		heads[h.Get("chain").Str] = h
	}
	scope, err := Walk(c.head.subject, src)
	if err != nil { // a Source in memory has no errors
		c.fail("bad-form", nil, words.Say("verify.bad-form", "name", nameRecords))
		return
	}
	before := len(c.out.Problems)
	for _, m := range scope.Missing {
		c.fail("named-not-shown", m.In, words.Say("verify.named-not-shown", "place", m.In.Place, "kind", m.Kind, "id", printable(m.ID)))
	}
	for _, chain := range scope.Chains {
		if _, ok := heads[chain]; !ok {
			c.fail("chain-not-ended", c.given, words.Say("verify.chain-not-ended", "chain", printable(chain)))
			continue
		}
		records, _ := src.Chain(chain)
		c.chain(chain, records, heads[chain])
	}
	c.out.Bins = scope.Bins
	c.out.Complete = len(c.out.Problems) == before
}

// chain checks one chain: places 1, 2, 3, ... and at each the hash of the record before; the evidence.given is its last.
func (c *check) chain(name string, records []*Record, head canon.Value) {
	var place uint64
	var leaf ledger.Hash
	for _, r := range records {
		l, _ := r.Link(name)
		switch {
		case l.Place != place+1:
			c.fail("hole", r, words.Say("verify.hole", "chain", printable(name), "want", place+1, "got", l.Place))
			return
		case l.Prev != leaf:
			c.fail("broken-link", r, words.Say("verify.broken-link", "chain", printable(name), "place", l.Place))
			return
		}
		place, leaf = l.Place, r.Leaf
	}
	last, ok := c.given.Link(name)
	if !ok || last.Place != place {
		c.fail("no-tail", c.given, words.Say("verify.no-tail", "chain", printable(name), "place", place))
		return
	}
	// What the evidence.given says in words must be what it is bound to. Between the two other records may have come.
	said := uint64(head.Get("place").Num)
	at, _ := ledger.ParseHash(head.Get("leaf").Str)
	for _, r := range records {
		if l, _ := r.Link(name); l.Place == said {
			if r.Leaf == at && said < last.Place {
				break
			}
			c.fail("other-head", c.given, words.Say("verify.other-head", "chain", printable(name), "place", said))
			return
		}
	}
	if said >= last.Place || said == 0 && at != (ledger.Hash{}) {
		c.fail("other-head", c.given, words.Say("verify.other-head", "chain", printable(name), "place", said))
		return
	}
	c.out.Chains = append(c.out.Chains, Walked{Chain: name, Records: last.Place - 1})
}

// names opens commitments.
func (c *check) names() {
	b := c.parts[nameNames]
	if b == nil {
		return
	}
	names, err := parseNames(b)
	if err != nil {
		c.fail("bad-form", nil, words.Say("verify.bad-form", "name", nameNames))
		return
	}
	for _, n := range names {
		salt, err := base64.StdEncoding.Strict().DecodeString(n.Salt)
		claim := canon.ObjectOf(canon.Member{Name: "certificate", Value: canon.Text(n.Certificate)}, canon.Member{Name: "name", Value: canon.Text(n.Name)})
		if sum := sha256.Sum256(canon.Append(salt, claim)); err != nil || len(salt) != 32 || ledger.Hash(sum).String() != n.Commitment {
			c.fail("wrong-name", nil, words.Say("verify.wrong-name", "name", printable(n.Name)))
			continue
		}
		in := 0
		for _, r := range c.all {
			// Both stand in records as plain texts, in one object.
			if bytes.Contains(r.Body, []byte(`"code":"`+n.Pseudonym+`","commitment":"`+n.Commitment+`"`)) {
				in++
			}
		}
		if in == 0 {
			c.fail("idle-name", nil, words.Say("verify.idle-name", "name", printable(n.Name)))
			continue
		}
		c.out.Names = append(c.out.Names, Opened{Name: n.Name, Certificate: n.Certificate, Pseudonym: n.Pseudonym, Records: in})
	}
}

// seen holds the checkpoint against those that the checker had before.
func (c *check) seen() {
	keys := slices.Concat(c.t.Keys, c.t.Witnesses)
	for i, note := range c.t.Seen {
		old, err := proof.OpenCheckpoint(note, c.t.Keys[0].Name(), keys...)
		if err != nil {
			c.fail("seen-unsigned", nil, words.Say("verify.seen-unsigned", "n", i+1))
			continue
		}
		switch {
		case old.Size == c.sealed.Size && old.Root == c.sealed.Root:
			c.witness(old)
			c.out.Seen++
		case old.Size == c.sealed.Size:
			c.fail("second-history", nil, words.Say("verify.second-history", "size", old.Size, "root", old.Root.String(), "other", c.sealed.Root.String()))
		case old.Size > c.sealed.Size:
			c.fail("older-than-seen", nil, words.Say("verify.older-than-seen", "size", c.sealed.Size, "seen", old.Size))
		case old.Size == 0:
			c.fail("seen-empty", nil, words.Say("verify.seen-empty"))
		default:
			c.grown(old)
		}
	}
	for _, w := range c.t.Witnesses {
		if !slices.ContainsFunc(c.out.Witnessed, func(seen Witness) bool { return seen.By == w.ID() }) {
			c.fail("no-witness", nil, words.Say("verify.no-witness", "key", w.ID()))
		}
	}
}

// grown looks for the proof that an older tree is the beginning of this one.
func (c *check) grown(old proof.Signed) {
	b := c.parts[growthName(old.Size)]
	if b == nil {
		c.fail("cannot-compare", nil, words.Say("verify.cannot-compare", "seen", old.Size, "size", c.sealed.Size))
		return
	}
	g, err := proof.ParseGrowth(b)
	if err != nil || g.From != old.Size || g.To != c.sealed.Size {
		c.fail("bad-form", nil, words.Say("verify.bad-form", "name", growthName(old.Size)))
		return
	}
	if proof.CheckConsistency(old.Tree, c.sealed.Tree, g.Path) != nil {
		c.fail("second-history", nil, words.Say("verify.second-history", "size", old.Size, "root", old.Root.String(), "other", c.sealed.Root.String()))
		return
	}
	c.out.Seen++
}

// stamp reads a time stamp. Its signature is for openssl.
func (c *check) stamp() {
	b := c.parts[nameStamp]
	if b == nil {
		return
	}
	s, err := proof.ReadStamp(b)
	if err != nil || !s.Over(c.parts[nameCheckpoint]) {
		c.fail("other-stamp", nil, words.Say("verify.other-stamp"))
		return
	}
	c.out.Stamp = s.Time.UTC().Format(time.RFC3339)
}

// sentences says the outcome in words.
func (c *check) sentences() []string {
	o := &c.out
	if !o.OK {
		return []string{words.Say("verify.not-ok", "n", len(o.Problems))}
	}
	out := []string{First(c.head.subject, c.given)}
	if len(o.Bins) > 0 {
		out = append(out, words.Say("evidence.bins", "bins", strings.Join(o.Bins, ", ")))
	}
	if len(o.Witnessed) == 0 && o.Stamp == "" {
		out = append(out, words.Say("evidence.own-clock"))
	}
	for _, w := range o.Witnessed {
		out = append(out, words.Say("evidence.witnessed", "by", w.By, "at", w.At))
	}
	if o.Stamp != "" {
		out = append(out, words.Say("evidence.stamped", "at", o.Stamp))
	}
	return out
}

// Say names the subject for people.
func (s Subject) Say() string {
	return words.Say("evidence.subject-"+s.Class, "code", s.Code, "season", s.Season)
}

// CheckpointOf takes the checkpoint out of a file of evidence, for who has seen that file before.
func CheckpointOf(b []byte) ([]byte, error) {
	files, err := Unpack(b)
	if err != nil {
		return nil, err
	}
	for _, f := range files {
		if f.Name == nameCheckpoint {
			return f.Body, nil
		}
	}
	return nil, fmt.Errorf("evidence: no checkpoint in the file")
}

// KeyOf takes the key that a file of evidence brings along: to compare with one that came another way, never to check with.
func KeyOf(b []byte) (proof.Key, error) {
	files, err := Unpack(b)
	if err != nil {
		return proof.Key{}, err
	}
	for _, f := range files {
		if f.Name == nameKey {
			return proof.ParseKey(strings.TrimSuffix(string(f.Body), "\n"))
		}
	}
	return proof.Key{}, fmt.Errorf("evidence: no key in the file")
}
