package app

import (
	"bytes"
	"cmp"
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"sync"

	"latewood/events"
	"latewood/events/ledger"
	"latewood/events/ledger/archive"
	"latewood/events/words"
	"latewood/projections"
	"latewood/services/internal/natsbox"
	"latewood/services/project"
	"latewood/services/record"
	"latewood/services/serve"
)

// AuditRequest asks for everything to be checked.
type AuditRequest struct {
	Farm string `json:"farm,omitempty"`
}

// Audit is what was checked and what was found.
type Audit struct {
	OK          bool        `json:"ok"`
	Origin      string      `json:"origin,omitempty"`
	Records     uint64      `json:"records"` // sealed
	Root        string      `json:"root"`
	Checkpoints int         `json:"checkpoints"`
	Stream      uint64      `json:"stream"` // records of the broker's files that were compared
	Chains      int         `json:"chains"` // chains that were walked
	Folds       []FoldAudit `json:"folds"`
	Problems    []Finding   `json:"problems"`
}

// FoldAudit says whether a fold's answers are those of a fresh replay.
type FoldAudit struct {
	Name string `json:"name"`
	OK   bool   `json:"ok"`
}

// mostProblems is how many findings an answer lists.
const mostProblems = 100

// DamageAudit is the audit of a folder that cannot be opened because of what was found there.
func DamageAudit(d *Damage) Audit {
	return Audit{Folds: []FoldAudit{}, Problems: d.Findings}
}

// opAudit seals what is not sealed yet and then believes nothing: every file of the archive against its newest checkpoint, every
// older checkpoint against the tree, every record of the broker's files against the archive, every chain link by link, and
// every fold against one made of nothing but the ledger.
func (a *App) opAudit(ctx context.Context, q AuditRequest) (any, int, error) {
	f, err := a.farm(ctx, q.Farm)
	var d *Damage
	if errors.As(err, &d) {
		return DamageAudit(d), 3, nil
	}
	if err != nil {
		return nil, 1, err
	}
	doc := Audit{Folds: []FoldAudit{}, Problems: []Finding{}}
	newest, err := f.sealNow(ctx)
	if err != nil && !doc.problem(err) {
		return nil, 1, err
	}
	ar := f.seal.archive.Load()
	if ar == nil {
		return nil, 1, &serve.Fault{Exit: 1, Text: words.Say("seal.nothing", "farm", f.code)}
	}
	if newest.Note == nil {
		if newest, err = ar.Checkpoint(); err != nil {
			return doc, 3, nil
		}
	}
	doc.Origin = newest.Origin
	// The files of the archive, those of the broker, and what follows from the records: none needs what another finds.
	var report archive.Report
	var errs [3]error
	var found [2]Audit
	var parts sync.WaitGroup
	parts.Go(func() { report, errs[0] = ar.Check(ctx) })
	parts.Go(func() { errs[1] = f.auditStream(ctx, ar, newest.Size, &found[0]) })
	parts.Go(func() { errs[2] = f.auditFolds(ctx, newest.Size, &found[1]) })
	parts.Wait()
	if err := cmp.Or(errs[0], errs[1]); err != nil {
		return nil, 1, err
	}
	doc.Records, doc.Root, doc.Checkpoints = report.Size, hashText(report.Root), report.Checkpoints
	doc.Stream, doc.Chains, doc.Folds = found[0].Stream, found[1].Chains, append(doc.Folds, found[1].Folds...)
	for _, x := range report.Findings {
		doc.add(archiveFinding(x))
	}
	for _, x := range append(found[0].Problems, found[1].Problems...) {
		doc.add(x)
	}
	if errs[2] != nil && !doc.problem(errs[2]) {
		return nil, 1, errs[2]
	}
	doc.OK = len(doc.Problems) == 0
	if !doc.OK {
		return doc, 3, nil
	}
	return doc, 0, nil
}

func (doc *Audit) add(f Finding) {
	if len(doc.Problems) < mostProblems && !slices.Contains(doc.Problems, f) {
		doc.Problems = append(doc.Problems, f)
	}
}

// problem takes an error in as a finding if it speaks of damage, or of a missing key.
func (doc *Audit) problem(err error) bool {
	findings := findingsOf(err)
	var fault *serve.Fault
	if len(findings) == 0 && errors.As(err, &fault) && fault.Err == nil {
		findings = []Finding{{What: fault.Text}}
	}
	for _, f := range findings {
		doc.add(f)
	}
	return len(findings) > 0
}

// auditStream compares the broker's own files, record by record, with what is sealed. The files are read as they lie on the
// disk: what the broker would deliver comes out of its memory for a while.
func (f *farm) auditStream(ctx context.Context, ar *archive.Archive, size uint64, doc *Audit) error {
	enough := errors.New("app: all sealed places were seen")
	look, err := natsbox.LookAt(ctx, filepath.Join(f.app.o.Dir, "broker"), f.code, 0, func(e ledger.Entry) error {
		if e.Place > size {
			return enough
		}
		doc.Stream++
		leaf, err := ar.LeafHash(e.Place)
		if err != nil {
			return nil // the archive's own damage is named already
		}
		if ledger.LeafHash(e.Body) != leaf {
			doc.add(Finding{What: words.Say("seal.differs", "place", e.Place), Place: e.Place})
		}
		return nil
	})
	if err != nil && !errors.Is(err, enough) {
		return err
	}
	if !look.There {
		doc.add(Finding{What: words.Say("seal.stream-gone", "size", size), Place: 1})
		return nil
	}
	for _, x := range lookFindings(look) {
		// Behind what is sealed the broker may be writing just now.
		if x.Place <= size {
			doc.add(x)
		}
	}
	if err == nil && look.Last < size && len(look.Spots) == 0 {
		doc.add(Finding{What: words.Say("seal.stream-short", "last", look.Last, "size", size), Place: look.Last + 1})
	}
	return nil
}

// auditFolds walks all chains and folds the ledger anew, and compares every state with the one that answers are given from.
func (f *farm) auditFolds(ctx context.Context, size uint64, doc *Audit) error {
	state := record.NewState()
	fresh := projections.NewBook(events.Standard())
	take := func(first, last uint64) error {
		for r, err := range project.Records(ctx, f.log, first, last) {
			if err != nil {
				return err
			}
			if err := state.Apply(r); err != nil {
				doc.add(Finding{What: words.Say("seal.chain", "why", err), Place: r.Place, Record: r.ID.String()})
				return err
			}
			if err := fresh.Add(r); err != nil {
				return err
			}
		}
		return nil
	}
	if size > 0 {
		if err := take(1, size); err != nil {
			return err
		}
	}
	doc.Chains = state.Chains()
	if err := f.projector.Wait(ctx, size); err != nil {
		return err
	}
	return f.projector.With(func(b *projections.Book) error {
		if b.Size() > fresh.Size() {
			if err := take(fresh.Size()+1, b.Size()); err != nil {
				return err
			}
		}
		for _, fold := range Folds() {
			ok, err := sameStates(b, fresh, fold)
			if err != nil {
				return err
			}
			doc.Folds = append(doc.Folds, FoldAudit{fold.Name, ok})
			if !ok {
				doc.add(Finding{What: words.Say("seal.fold", "fold", fold.Name, "dir", filepath.Join(f.dir, "folds"))})
			}
		}
		return nil
	})
}

func sameStates(a, b *projections.Book, fold *projections.Fold) (bool, error) {
	keys := a.Keys(fold.Class)
	if !slices.Equal(keys, b.Keys(fold.Class)) {
		return false, nil
	}
	for _, code := range keys {
		x, err := events.WriteJSON(a.State(fold, code))
		if err != nil {
			return false, fmt.Errorf("app: state of %s for %s: %w", fold.Name, code, err)
		}
		y, err := events.WriteJSON(b.State(fold, code))
		if err != nil {
			return false, fmt.Errorf("app: state of %s for %s: %w", fold.Name, code, err)
		}
		if !bytes.Equal(x, y) {
			return false, nil
		}
	}
	return true, nil
}
