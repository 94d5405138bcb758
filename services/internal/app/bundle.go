package app

import (
	"context"
	"fmt"
	"path/filepath"

	"latewood/events"
	"latewood/events/ledger"
	"latewood/events/ledger/archive"
	"latewood/events/ledger/evidence"
	"latewood/events/ledger/proof"
	"latewood/events/words"
	"latewood/projections"
	"latewood/projections/flags"
	"latewood/services/bundle"
	"latewood/services/record"
	"latewood/services/register"
	"latewood/services/seal"
	"latewood/services/serve"
)

// BundleRequest asks for evidence on a lot, a load, a spray or a block and season.
type BundleRequest struct {
	Farm      string   `json:"farm,omitempty"`
	Of        string   `json:"of"`
	Recipient string   `json:"recipient,omitempty"`
	Names     bool     `json:"names,omitempty"`
	Seen      [][]byte `json:"seen,omitempty"` // checkpoints that the recipient has
}

func (a *App) opBundle(ctx context.Context, q BundleRequest) (any, int, error) {
	f, err := a.farm(ctx, q.Farm)
	if err != nil {
		return nil, 1, err
	}
	// What comes without a login comes from the owner; the register says whether that still is the owner.
	if p, ok := f.people.Get(f.owner); q.Names && (!ok || p.Role != register.Owner) {
		return nil, 1, &serve.Fault{Exit: 1, Text: words.Say("bundle.names-owner")}
	}
	if f.recorder.Head().Size == 0 {
		return nil, 1, &serve.Fault{Exit: 1, Text: words.Say("seal.nothing", "farm", f.code)}
	}
	// Also begins the seal of a ledger whose first record has just come.
	if _, err := f.sealNow(ctx); err != nil {
		return nil, 1, err
	}
	g := bundle.New(bundle.Config{
		Log: f.log, Index: f.index, Seal: evidenceSeal{f}, Size: func() uint64 { return f.recorder.Head().Size },
		Record: f.appendDrafts, With: f.withAt, Flags: flags.Every, Name: f.openName,
	})
	doc, err := g.Give(ctx, bundle.Request{Of: q.Of, Recipient: q.Recipient, Names: q.Names, Seen: q.Seen})
	if r, ok := bundle.IsRefusal(err); ok {
		return nil, 1, &serve.Fault{Exit: 1, Text: r.Text, Err: r.Err}
	}
	if err != nil {
		return nil, 1, f.damaged(err)
	}
	return doc, 0, nil
}

// appendDrafts records what the program itself has to say, and gives the places.
func (f *farm) appendDrafts(ctx context.Context, drafts []events.Draft) ([]uint64, error) {
	var proposals []record.Proposal
	for _, d := range drafts {
		proposals = append(proposals, record.Proposal{Draft: d, Device: "cli", DefaultActor: f.owner, Clock: true})
	}
	receipts, err := f.recorder.Record(ctx, proposals)
	if err != nil {
		return nil, f.cannotRecord(err)
	}
	var places []uint64
	for _, r := range receipts {
		if len(r.Problems) > 0 {
			return nil, &serve.Fault{Exit: 1, Text: r.Problems[0].Error()}
		}
		places = append(places, r.Place)
	}
	return places, nil
}

// withAt lets ask the folds, once they have the record at a place.
func (f *farm) withAt(ctx context.Context, place uint64, ask func(*projections.Book) error) error {
	if err := f.projector.Wait(ctx, place); err != nil {
		return err
	}
	return f.projector.With(ask)
}

// openName finds the name behind a commitment.
func (f *farm) openName(pseudonym, commitment string) (evidence.Name, bool) {
	p, ok := f.people.Get(pseudonym)
	if !ok || p.Erased != nil {
		return evidence.Name{}, false
	}
	for _, proof := range p.Proofs() {
		if proof.Commitment == commitment {
			return evidence.Name{Pseudonym: pseudonym, Name: proof.Name, Certificate: proof.Number, Salt: proof.Salt, Commitment: commitment}, true
		}
	}
	return evidence.Name{}, false
}

// evidenceSeal is the farm's seal as evidence needs it. The archive may be opened anew meanwhile, so it is asked for each time.
type evidenceSeal struct{ f *farm }

func (s evidenceSeal) archive() *archive.Archive { return s.f.seal.archive.Load() }

// Wait seals what is there at once: nobody who asks for evidence should wait for the clock.
func (s evidenceSeal) Wait(ctx context.Context, place uint64) error {
	if s.Sealed() >= place {
		return nil
	}
	if _, err := s.f.sealNow(ctx); err != nil {
		return err
	}
	if sealed := s.Sealed(); sealed < place {
		return fmt.Errorf("app: sealed up to %d: %w", sealed, seal.ErrStopped)
	}
	return nil
}

func (s evidenceSeal) Sealed() uint64                 { return s.f.seal.Sealed() }
func (s evidenceSeal) Checkpoints() ([][]byte, error) { return s.archive().Checkpoints() }
func (s evidenceSeal) ReadHashes(indexes []int64) ([]ledger.Hash, error) {
	return s.archive().ReadHashes(indexes)
}

// Keys puts the key that signs now last.
func (s evidenceSeal) Keys() []proof.Key {
	ring := s.f.seal.ring
	var out []proof.Key
	for _, k := range ring.Public() {
		if k != ring.Key() {
			out = append(out, k)
		}
	}
	return append(out, ring.Key())
}

func (s evidenceSeal) Sign(text string) ([]byte, error) {
	note, err := s.f.seal.ring.SignNote(text)
	if err != nil {
		return nil, &serve.Fault{Exit: 1, Text: words.Say("seal.no-key", "farm", s.f.code, "file", filepath.Join(s.f.keysDir(), "ledger.key")), Err: err}
	}
	return note, nil
}
