package app

import (
	"context"
	"crypto/rand"
	"errors"
	"path/filepath"
	"slices"

	"latewood/events"
	"latewood/events/ledger/proof"
	"latewood/events/words"
	"latewood/projections"
	"latewood/services/record"
	"latewood/services/serve"
)

// KeyRequest asks for the ledger's verifier key.
type KeyRequest struct {
	Farm string `json:"farm,omitempty"`
}

// Key is what a checker needs, to be handed over by another road than what is to be checked.
type Key struct {
	VKey        string   `json:"vkey"`
	Origin      string   `json:"origin"`
	Fingerprint string   `json:"fingerprint"`
	Earlier     []string `json:"earlier"` // verifier keys that signed before
	Signs       bool     `json:"signs"`   // the secret is there
	Size        uint64   `json:"size"`    // of the newest checkpoint
	Root        string   `json:"root"`
	Place       uint64   `json:"place,omitempty"` // of the key.changed, after a change
}

func (f *farm) keyDoc() Key {
	ring := f.seal.ring
	k := ring.Key()
	doc := Key{VKey: k.String(), Origin: k.Name(), Fingerprint: k.Fingerprint(), Earlier: []string{}, Signs: ring.CanSign()}
	for _, old := range ring.Public() {
		if old != k {
			doc.Earlier = append(doc.Earlier, old.String())
		}
	}
	if s, err := f.seal.archive.Load().Checkpoint(); err == nil {
		doc.Size, doc.Root = s.Size, hashText(s.Root)
	}
	return doc
}

func (a *App) opKey(ctx context.Context, q KeyRequest) (any, int, error) {
	f, err := a.farm(ctx, q.Farm)
	if err != nil {
		return nil, 1, err
	}
	if f.seal.archive.Load() == nil {
		return nil, 1, &serve.Fault{Exit: 1, Text: words.Say("seal.nothing", "farm", f.code)}
	}
	return f.keyDoc(), 0, nil
}

// RotateRequest changes the key. Lost says that the secret is gone.
type RotateRequest struct {
	Farm   string `json:"farm,omitempty"`
	Reason string `json:"reason,omitempty"`
	Lost   bool   `json:"lost,omitempty"`
}

// opRotate changes the key: what a crash leaves at each step is told at seal.Ring's Prepare.
func (a *App) opRotate(ctx context.Context, q RotateRequest) (any, int, error) {
	f, err := a.farm(ctx, q.Farm)
	if err != nil {
		return nil, 1, err
	}
	ar := f.seal.archive.Load()
	file := filepath.Join(f.keysDir(), "ledger.key")
	switch ring := f.seal.ring; {
	case ar == nil:
		return nil, 1, &serve.Fault{Exit: 1, Text: words.Say("seal.nothing", "farm", f.code)}
	case !ring.CanSign() && !q.Lost:
		return nil, 1, &serve.Fault{Exit: 1, Text: words.Say("seal.key-gone", "file", file)}
	case ring.CanSign() && q.Lost:
		return nil, 2, &serve.Fault{Exit: 2, Text: words.Say("seal.not-lost", "file", file)}
	}
	f.importing.Lock() // one change at a time
	old := f.seal.ring.Key()
	next, err := f.seal.ring.Prepare(rand.Reader)
	f.importing.Unlock()
	if err != nil {
		return nil, 1, err
	}
	ar.Trust(next)
	if f.seal.sealer.Load() == nil {
		f.runSeal(f.seal.ring)
	}
	reason := q.Reason
	if reason == "" && q.Lost {
		reason = words.Say("seal.reason-lost")
	}
	doc, exit, err := f.record(ctx, []record.Proposal{{
		Draft:  events.Draft{Type: "key.changed", Data: events.Encode(events.KeyChanged{OldKey: old.String(), NewKey: next.String(), Reason: reason})},
		Device: "cli", Clock: true,
	}})
	if err != nil || exit != 0 {
		return doc, exit, err
	}
	if err := f.settleKey(ctx); err != nil {
		return nil, 1, err
	}
	out := f.keyDoc()
	out.Place = doc.Last
	return out, 0, nil
}

// resumeKey finishes a change of the key that was cut off behind its record.
func (f *farm) resumeKey(ctx context.Context) error {
	if f.seal.ring == nil || f.seal.ring.Next() == nil {
		return nil
	}
	next := *f.seal.ring.Next()
	f.seal.archive.Load().Trust(next)
	var changes []string
	_ = f.projector.With(func(b *projections.Book) error {
		for _, fact := range b.View(projections.FarmKey).Facts {
			if d, ok := fact.Data().(*events.KeyChanged); ok {
				changes = append(changes, d.NewKey)
			}
		}
		return nil
	})
	if !slices.Contains(changes, next.String()) {
		return nil
	}
	return f.settleKey(ctx)
}

// settleKey signs a checkpoint with both keys and puts the new one in the old one's place.
func (f *farm) settleKey(ctx context.Context) error {
	s := f.seal.sealer.Load()
	if s == nil {
		return nil
	}
	if err := s.SealAgain(ctx); err != nil {
		return f.damaged(err)
	}
	return f.seal.ring.Finish()
}

// CheckpointRequest asks for the newest checkpoint. Since is an older one, as it was signed: then the answer shows that the
// newest tree begins with it.
type CheckpointRequest struct {
	Farm  string `json:"farm,omitempty"`
	Since string `json:"since,omitempty"`
}

// Checkpointed is a checkpoint as it was signed.
type Checkpointed struct {
	Checkpoint string `json:"checkpoint"`
	Size       uint64 `json:"size"`
	Root       string `json:"root"`
	Since      uint64 `json:"since,omitempty"`
	Growth     string `json:"growth,omitempty"` // a consistency file from Since to Size
}

func (a *App) opCheckpoint(ctx context.Context, q CheckpointRequest) (any, int, error) {
	f, err := a.farm(ctx, q.Farm)
	if err != nil {
		return nil, 1, err
	}
	s, err := f.sealNow(ctx)
	if err != nil {
		return nil, 1, err
	}
	doc := Checkpointed{Checkpoint: string(s.Note), Size: s.Size, Root: hashText(s.Root)}
	if q.Since == "" {
		return doc, 0, nil
	}
	ar := f.seal.archive.Load()
	old, err := proof.OpenCheckpoint([]byte(q.Since), s.Origin, f.seal.ring.Public()...)
	if err != nil {
		return nil, 1, &serve.Fault{Exit: 1, Text: words.Say("seal.not-ours", "origin", s.Origin), Err: err}
	}
	root, err := ar.RootAt(min(old.Size, s.Size))
	if err != nil {
		return nil, 1, f.damaged(err)
	}
	if old.Size > s.Size || root != old.Root {
		return nil, 3, &serve.Fault{Exit: 3, Text: words.Say("seal.split", "size", old.Size, "root", hashText(old.Root), "have", s.Size)}
	}
	path, err := proof.Consistency(old.Size, s.Size, ar)
	if errors.Is(err, proof.ErrEmptyTree) {
		return nil, 1, &serve.Fault{Exit: 1, Text: words.Say("seal.since-empty")}
	}
	if err != nil {
		return nil, 1, f.damaged(err)
	}
	doc.Since, doc.Growth = old.Size, string(proof.Growth{From: old.Size, To: s.Size, Path: path}.Format())
	return doc, 0, nil
}
