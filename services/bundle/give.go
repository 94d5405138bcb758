package bundle

import (
	"context"
	"errors"
	"fmt"
	"regexp"
	"slices"
	"strings"
	"time"

	"latewood/events"
	"latewood/events/civil"
	"latewood/events/ledger"
	"latewood/events/ledger/evidence"
	"latewood/events/ledger/proof"
	"latewood/events/words"
	"latewood/projections"
)

// Seal is what a Giver needs of the sealer and its archive.
type Seal interface {
	// Wait returns when the record at a place is sealed, or why it will not be.
	Wait(ctx context.Context, place uint64) error
	// Sealed is the number of records under the newest checkpoint.
	Sealed() uint64
	// Checkpoints gives every checkpoint that was published, oldest first.
	Checkpoints() ([][]byte, error)
	// ReadHashes reads hashes of the sealed tree, as proof.HashReader.
	ReadHashes(indexes []int64) ([]ledger.Hash, error)
	// Keys are the verifier keys that the ledger ever had, the one that signs now last.
	Keys() []proof.Key
	// Sign signs a text as a note, with the last of Keys.
	Sign(text string) ([]byte, error)
}

// Config is what a Giver is made of. All of it must be there.
type Config struct {
	Log   Ledger
	Index Index
	Seal  Seal
	// Size is the number of records in the ledger.
	Size func() uint64
	// Record appends drafts and gives the places where they stand.
	Record func(ctx context.Context, drafts []events.Draft) ([]uint64, error)
	// With lets f ask the folds, once they have the record at a place.
	With func(ctx context.Context, place uint64, f func(*projections.Book) error) error
	// Flags lists the flags of all folds.
	Flags func(*projections.Book) []projections.Flag
	// Name finds who stands behind a commitment; ok is false where the register does not know it any more.
	Name func(pseudonym, commitment string) (n evidence.Name, ok bool)
	// Patience is how long the seal is waited for; 0: half a minute.
	Patience time.Duration
}

// A Giver gives evidence of one ledger. Its methods may be called by several goroutines.
type Giver struct{ c Config }

// New makes a Giver.
func New(c Config) *Giver {
	if c.Patience == 0 {
		c.Patience = 30 * time.Second
	}
	return &Giver{c}
}

// A Request asks for evidence.
type Request struct {
	Of        string // lot, load, id of a spray, or BLOCK/SEASON; with lot:, delivery:, spray: or block: before it where it could be two
	Recipient string // to whom, may be empty
	Names     bool   // open the names behind commitments; the caller has seen to it that the owner asks
	Seen      [][]byte
}

// Given is a file of evidence and what is in it.
type Given struct {
	For       string   `json:"for"`
	Place     uint64   `json:"place"` // of the evidence.given
	Record    string   `json:"record"`
	Records   int      `json:"records"`
	Chains    []string `json:"chains"`
	Size      uint64   `json:"size"`
	Root      string   `json:"root"`
	Continues []uint64 `json:"continues"` // sizes of earlier checkpoints that it is shown to continue
	Names     int      `json:"names"`
	NamesGone int      `json:"namesGone,omitempty"` // commitments whose names were erased
	Recipient string   `json:"recipient,omitempty"`
	Suggested string   `json:"suggested"` // a name for the file
	File      []byte   `json:"file,omitempty"`
}

// A Refusal says in a sentence why there is no evidence.
type Refusal struct {
	Text string
	Err  error // may be nil
}

func (e *Refusal) Error() string { return e.Text }

func (e *Refusal) Unwrap() error { return e.Err }

func refusal(text string, err error) error { return &Refusal{Text: text, Err: err} }

// tries is how often evidence is appended anew because records that came between led to more chains.
const tries = 4

// Give makes the file. The error is a *Refusal where there is something that a person can do about it.
func (g *Giver) Give(ctx context.Context, q Request) (Given, error) {
	if q.Names && strings.TrimSpace(q.Recipient) == "" {
		return Given{}, refusal(words.Say("bundle.names-to-whom"), nil)
	}
	c := newContents(ctx, g.c.Log, g.c.Index)
	if err := c.extend(g.c.Size()); err != nil {
		return Given{}, err
	}
	s, err := c.subject(q.Of)
	if err != nil {
		return Given{}, err
	}
	seen, err := g.seen(q.Seen)
	if err != nil {
		return Given{}, err
	}
	scope, given, err := g.append(ctx, c, s, q)
	if err != nil {
		return Given{}, err
	}
	p := evidence.Parts{Subject: s, Given: given, Records: scope.Records, Hashes: hashes{g.c.Seal}, Sign: g.c.Seal.Sign}
	keys := g.c.Seal.Keys()
	p.Key = keys[len(keys)-1]
	// If we crash here, the evidence stands in the ledger and nobody has the file.
	if err := g.wait(ctx, given.Place); err != nil {
		return Given{}, err
	}
	sizes, err := g.checkpoint(&p, c.given, seen)
	if err != nil {
		return Given{}, err
	}
	out := Given{
		For: s.String(), Place: given.Place, Record: given.ID, Records: len(scope.Records) + 1, Chains: scope.Chains, Size: sizes.Size, Root: sizes.Root.String(),
		Continues: p.Older, Recipient: q.Recipient, Suggested: suggested(s),
	}
	if q.Names {
		p.Names, out.NamesGone = g.names(scope.Records)
		out.Names = len(p.Names)
	}
	var page Page
	err = g.c.With(ctx, given.Place, func(b *projections.Book) error {
		page = makePage(paging{
			subject: s, given: given, scope: scope, late: evidence.LatenessOf(scope.Records), key: p.Key, size: sizes.Size, root: out.Root,
			recipient: q.Recipient, names: p.Names, flags: g.c.Flags(b), book: b,
		})
		return nil
	})
	if err != nil {
		return Given{}, err
	}
	if p.HTML, err = page.HTML(); err != nil {
		return Given{}, err
	}
	if p.PDF, err = page.PDF(civil.DateOf(given.Recorded, time.UTC)); err != nil {
		return Given{}, err
	}
	if out.File, err = evidence.Make(p); err != nil {
		return Given{}, fmt.Errorf("bundle: %w", err)
	}
	return out, nil
}

// hashes reads the sealed tree.
type hashes struct{ s Seal }

func (h hashes) ReadHashes(indexes []int64) ([]ledger.Hash, error) { return h.s.ReadHashes(indexes) }

// append records the evidence.given, and with names the access.granted before it, and walks again up to it.
func (g *Giver) append(ctx context.Context, c *contents, s evidence.Subject, q Request) (evidence.Scope, *evidence.Record, error) {
	for range tries {
		scope, err := c.scope(s)
		if err != nil {
			return evidence.Scope{}, nil, err
		}
		drafts, err := c.drafts(s, scope, q)
		if err != nil {
			return evidence.Scope{}, nil, err
		}
		places, err := g.c.Record(ctx, drafts)
		if err != nil {
			return evidence.Scope{}, nil, err
		}
		place := places[len(places)-1]
		if err := c.extend(place - 1); err != nil {
			return evidence.Scope{}, nil, err
		}
		again, err := c.scope(s)
		if err != nil {
			return evidence.Scope{}, nil, err
		}
		if slices.Equal(again.Chains, scope.Chains) {
			given, err := c.records([]uint64{place})
			if err != nil {
				return evidence.Scope{}, nil, err
			}
			return again, given[0], nil
		}
		// A record that came between led to a chain that this evidence does not end: it is given once more.
		if err := c.extend(place); err != nil {
			return evidence.Scope{}, nil, err
		}
		q.Names = false // granted already
	}
	return evidence.Scope{}, nil, refusal(words.Say("bundle.too-busy"), nil)
}

// subject finds what a text means.
func (c *contents) subject(of string) (evidence.Subject, error) {
	class, code, given := strings.Cut(of, ":")
	if !given || !slices.Contains(evidence.Classes(), class) {
		class, code = "", of
	}
	var found []evidence.Subject
	for _, s := range subjects(code) {
		if class != "" && s.Class != class {
			continue
		}
		for _, chain := range s.Chains() {
			if len(c.at[chain]) > 0 {
				found = append(found, s)
				break
			}
		}
	}
	switch len(found) {
	case 1:
		return found[0], nil
	case 0:
		return evidence.Subject{}, c.unknown(class, code)
	}
	var ways []string
	for _, s := range found {
		ways = append(ways, s.Class+":"+code)
	}
	return evidence.Subject{}, refusal(words.Say("bundle.which", "of", code, "ways", strings.Join(ways, ", ")), nil)
}

// subjects lists what a code could be, by its form.
func subjects(code string) []evidence.Subject {
	out := []evidence.Subject{{Class: "lot", Code: code}, {Class: "delivery", Code: code}}
	if id, err := events.ParseID(code); err == nil {
		return []evidence.Subject{{Class: "spray", Code: id.String()}}
	}
	if block, season, ok := strings.Cut(code, "/"); ok && events.IsCode(block) {
		if s, err := civil.ParseSeason(season); err == nil {
			out = append(out, evidence.Subject{Class: "block", Code: block, Season: string(s)})
		}
	}
	return out
}

// unknown refuses what is not in the ledger, and says what is near to it.
func (c *contents) unknown(class, code string) error {
	if code == "" {
		return refusal(words.Say("bundle.nothing"), nil)
	}
	block, season, slash := strings.Cut(code, "/")
	_, badSeason := civil.ParseSeason(season)
	var near []string
	for _, k := range []string{"lot", "delivery"} {
		if class == "" || class == k {
			near = append(near, c.near(k, code)...)
		}
	}
	slices.Sort(near)
	near = slices.Compact(near)
	switch {
	case len(near) > 0:
		return refusal(words.Say("bundle.unknown-near", "of", code, "near", strings.Join(near, ", ")), nil)
	case len(c.at["growth/"+code])+len(c.at["inputs/"+code]) > 0:
		return refusal(words.Say("bundle.season-missing", "of", code), nil)
	case slash && badSeason != nil && len(c.at["growth/"+block]) > 0:
		return refusal(words.Say("bundle.season-bad", "season", season, "of", block), nil)
	}
	if _, err := events.ParseID(code); err == nil {
		return refusal(words.Say("bundle.unknown-spray", "of", code), nil)
	}
	return refusal(words.Say("bundle.unknown", "of", code), nil)
}

// scope walks, and refuses what no evidence can be given for.
func (c *contents) scope(s evidence.Subject) (evidence.Scope, error) {
	scope, err := evidence.Walk(s, c)
	switch {
	case err != nil:
		return evidence.Scope{}, err
	case len(scope.Missing) > 0:
		m := scope.Missing[0]
		return evidence.Scope{}, refusal(words.Say("bundle.missing", "kind", m.Kind, "id", m.ID, "in", m.In.Kind, "place", m.In.Place, "of", s.Code), nil)
	case len(scope.Chains) > events.MaxChains:
		return evidence.Scope{}, refusal(words.Say("bundle.too-many-chains", "n", len(scope.Chains), "most", events.MaxChains), nil)
	case len(scope.Records) > evidence.MaxRecords:
		return evidence.Scope{}, refusal(words.Say("bundle.too-many-records", "n", len(scope.Records), "most", evidence.MaxRecords), nil)
	}
	return scope, nil
}

// drafts makes what is to be recorded.
func (c *contents) drafts(s evidence.Subject, scope evidence.Scope, q Request) ([]events.Draft, error) {
	d := events.EvidenceGiven{Size: int(c.size)}
	switch s.Class {
	case "lot":
		d.For.Lot = s.Code
	case "delivery":
		d.For.Delivery = s.Code
	case "spray":
		d.For.Spray = s.Code
	case "block":
		d.For.Block, d.For.Season = s.Code, s.Season
	}
	if q.Recipient != "" {
		d.Recipient = &events.Party{Name: q.Recipient}
	}
	for _, chain := range scope.Chains {
		h := events.Head{Chain: chain, Leaf: ledger.Hash{}.String()}
		if places := c.at[chain]; len(places) > 0 {
			last, err := c.records(places[len(places)-1:])
			if err != nil {
				return nil, err
			}
			l, _ := last[0].Link(chain)
			h.Place, h.Leaf = int(l.Place), last[0].Leaf.String()
		}
		d.Heads = append(d.Heads, h)
	}
	out := []events.Draft{{Type: "evidence.given", Data: events.Encode(d)}}
	if q.Names {
		grant := events.AccessGranted{Grant: "names", Object: s.String(), To: q.Recipient} //words:data a field of a record
		out = append([]events.Draft{{Type: "access.granted", Data: events.Encode(grant)}}, out...)
	}
	return out, nil
}

func (g *Giver) wait(ctx context.Context, place uint64) error {
	ctx, cancel := context.WithTimeout(ctx, g.c.Patience)
	defer cancel()
	if err := g.c.Seal.Wait(ctx, place); err != nil {
		return refusal(words.Say("bundle.unsealed", "place", place, "sealed", g.c.Seal.Sealed()), err)
	}
	return nil
}

// seen reads the sizes of checkpoints that the recipient has.
func (g *Giver) seen(notes [][]byte) ([]proof.Checkpoint, error) {
	var out []proof.Checkpoint
	keys := g.c.Seal.Keys()
	for i, note := range notes {
		s, err := proof.OpenCheckpoint(note, keys[0].Name(), keys...)
		if err != nil {
			return nil, refusal(words.Say("bundle.seen-foreign", "n", i+1), err)
		}
		if s.Size > g.c.Seal.Sealed() {
			return nil, refusal(words.Say("bundle.seen-newer", "n", i+1, "size", s.Size, "sealed", g.c.Seal.Sealed()), nil)
		}
		if s.Size == 0 {
			continue
		}
		root, err := proof.Root(s.Size, hashes{g.c.Seal})
		if err != nil {
			return nil, fmt.Errorf("bundle: the root at %d: %w", s.Size, err)
		}
		if root != s.Root {
			return nil, refusal(words.Say("bundle.seen-split", "n", i+1, "size", s.Size), nil)
		}
		out = append(out, s.Checkpoint)
	}
	return out, nil
}

// checkpoint picks the first checkpoint that covers the evidence, and the sizes that it is shown to continue: those under which
// earlier evidence was given, and those that the recipient has seen. Because it is always the first one, the checkpoints of
// earlier files can be told from the history alone.
func (g *Giver) checkpoint(p *evidence.Parts, given []uint64, seen []proof.Checkpoint) (proof.Tree, error) {
	notes, err := g.c.Seal.Checkpoints()
	if err != nil {
		return proof.Tree{}, fmt.Errorf("bundle: checkpoints: %w", err)
	}
	var out proof.Tree
	var sizes []uint64
	for _, note := range notes {
		n, err := proof.ParseNote(note)
		if err != nil {
			return proof.Tree{}, fmt.Errorf("bundle: checkpoints: %w", err)
		}
		cp, err := proof.ParseCheckpoint(n.Text)
		if err != nil {
			return proof.Tree{}, fmt.Errorf("bundle: checkpoints: %w", err)
		}
		sizes = append(sizes, cp.Size)
		if cp.Size >= p.Given.Place && (out.Size == 0 || out.Size == cp.Size) {
			p.Checkpoint, out = note, cp.Tree // of one size the last: it may bear more signatures
		}
	}
	if out.Size == 0 {
		return proof.Tree{}, refusal(words.Say("bundle.unsealed", "place", p.Given.Place, "sealed", g.c.Seal.Sealed()), nil)
	}
	for _, place := range given[max(0, len(given)-mostOlder):] {
		if i := slices.IndexFunc(sizes, func(size uint64) bool { return size >= place }); i >= 0 {
			p.Older = append(p.Older, sizes[i])
		}
	}
	for _, s := range seen {
		p.Older = append(p.Older, s.Size)
	}
	slices.Sort(p.Older)
	p.Older = slices.DeleteFunc(slices.Compact(p.Older), func(size uint64) bool { return size >= out.Size })
	return out, nil
}

// mostOlder is how many earlier pieces of evidence a file is shown to continue; older ones with --seen.
const mostOlder = 200

var commitment = regexp.MustCompile(`"code":"(w_[0-9a-f]{32})","commitment":"([A-Za-z0-9+/]{43}=)"`)

// names opens the commitments of records; gone counts those that the register does not know any more.
func (g *Giver) names(records []*evidence.Record) (out []evidence.Name, gone int) {
	seen := map[string]bool{}
	for _, r := range records {
		for _, m := range commitment.FindAllSubmatch(r.Body, -1) {
			if seen[string(m[0])] {
				continue
			}
			seen[string(m[0])] = true
			if n, ok := g.c.Name(string(m[1]), string(m[2])); ok {
				out = append(out, n)
			} else {
				gone++
			}
		}
	}
	slices.SortFunc(out, func(a, b evidence.Name) int { return strings.Compare(a.Name+a.Commitment, b.Name+b.Commitment) })
	return out, gone
}

// suggested is a name for the file.
func suggested(s evidence.Subject) string {
	name := strings.NewReplacer("/", "-", "%", "_", " ", "-").Replace(s.String())
	return name + ".evidence.zip"
}

// IsRefusal gives the sentence of a Refusal.
func IsRefusal(err error) (*Refusal, bool) {
	var r *Refusal
	ok := errors.As(err, &r)
	return r, ok
}
