package app

import (
	"cmp"
	"context"
	"slices"

	"latewood/events"
	"latewood/events/ledger/proof"
	"latewood/events/words"
	"latewood/projections"
	"latewood/projections/flags"
	"latewood/projections/reviews"
	"latewood/services/project"
	"latewood/services/serve"
)

// ShowRequest asks for one record.
type ShowRequest struct {
	Asked
	ID string `json:"id"`
}

// Shown is a record with everything that was ever said about it.
type Shown struct {
	ID       string    `json:"id"`
	Kind     string    `json:"kind"`
	Stands   bool      `json:"stands"`
	Forked   bool      `json:"forked,omitempty"`
	Versions []Version `json:"versions"`
	Flags    []Flagged `json:"flags"`
	// Terms are the legal terms of the record by the rule sets of its day; Reviews is who looked it over.
	Terms   []Took         `json:"terms,omitempty"`
	Reviews []reviews.Look `json:"reviews,omitempty"`
	// Missing is what federal rules want in such a record and what is not in it.
	Missing []LackingOne `json:"missing,omitempty"`
	Size    uint64       `json:"size"`
	Root    string       `json:"root"`
	Sealed  bool         `json:"sealed"`
	// Attachments are the files that any version points to, and whether they are there.
	Attachments []Pointed `json:"attachments,omitempty"`
	// People are the tags behind the pseudonyms of this answer.
	People map[string]string `json:"people,omitempty"`
}

// Version is one of a record's versions: the record itself, a correction, or its withdrawal.
type Version struct {
	ID           string `json:"id"`
	What         string `json:"what"` // recorded, corrected, withdrawn
	Follows      string `json:"follows,omitempty"`
	Counts       bool   `json:"counts"`
	Type         string `json:"type"`
	Time         string `json:"time"`
	RecordedTime string `json:"recordedTime"`
	NotedTime    string `json:"notedTime,omitempty"`
	Actor        string `json:"actor"`
	By           string `json:"by,omitempty"`
	Source       string `json:"source"`
	Batch        string `json:"batch,omitempty"`
	Reason       string `json:"reason,omitempty"`
	Place        uint64 `json:"place"`
	Leaf         string `json:"leaf"`
	Chains       string `json:"chains"`
	// Proof shows that the record stands at its place under a signed checkpoint: a C2SP tlog-proof file, with the checkpoint in it.
	// Absent while the record is not sealed. Hashes is how many hashes lead from the record's to the root, Under the size.
	Proof  string     `json:"proof,omitempty"`
	Hashes int        `json:"hashes,omitempty"`
	Under  uint64     `json:"under,omitempty"`
	Data   events.Raw `json:"data,omitempty"`
	// Moves are what a correction or withdrawal changed when it was recorded: intervals, totals, lots, loads, flags.
	Moves []Move `json:"moves,omitempty"`
}

// Took is a legal term of a record and what it took to be written down or posted.
type Took struct {
	Hours  int  `json:"hours"`
	Within int  `json:"within,omitempty"` // hours; absent where the rule gives no number
	Late   bool `json:"late"`
	reviews.Source
}

func (a *App) opShow(ctx context.Context, q ShowRequest) (any, int, error) {
	id, err := events.ParseID(q.ID)
	if err != nil {
		return nil, 2, &serve.Fault{Exit: 2, Text: words.Say("app.id", "text", q.ID), Err: err}
	}
	var doc Shown
	var of *farm
	err = a.read(ctx, q.Asked, func(f *farm, b *projections.Book, _ int) error {
		of = f
		if owner := b.Fact(id); owner != nil {
			id = owner.ID // a correction's id shows the record that it corrects
		}
		first, err := f.stored(ctx, id)
		if err != nil {
			return err
		}
		if first == nil || b.Size() < first.Place && q.KnownBy != "" {
			return &serve.Fault{Exit: 1, Text: words.Say("app.no-record", "id", q.ID)}
		}
		doc = Shown{ID: id.String(), Kind: first.Kind, Stands: true, Flags: []Flagged{}}
		doc.Size, doc.Root = f.mark()
		doc.Sealed = f.sealed(doc.Size)
		doc.Versions, err = f.versions(ctx, b, first)
		if fact := b.Fact(id); fact != nil {
			doc.Stands, doc.Forked = fact.Stands(), fact.Forked
			doc.looked(b, fact)
			doc.Missing = f.missing(b, fact)
		}
		for _, fl := range saidOf(b, a.o.Now()).flagged() {
			if slices.ContainsFunc(doc.Versions, func(v Version) bool { return v.ID == fl.ID }) {
				doc.Flags = append(doc.Flags, fl)
			}
		}
		return err
	})
	if err != nil {
		return nil, 1, err
	}
	if err := of.prove(doc.Versions); err != nil {
		return nil, 1, of.damaged(err)
	}
	if err := of.changes(ctx, doc.Versions); err != nil {
		return nil, 1, err
	}
	of.addFiles(&doc) // not inside: reading files takes its time
	text, err := events.WriteJSON(doc)
	if err != nil {
		return nil, 1, err
	}
	doc.People = of.tags(text)
	return doc, 0, nil
}

// looked adds the record's terms and reviews.
func (d *Shown) looked(b *projections.Book, fact *projections.Fact) {
	v := b.View(projections.FarmKey)
	for _, l := range flags.Terms(v, fact) {
		d.Terms = append(d.Terms, Took{int(l.Took.Hours()), int(l.Term.Within.Hours()), l.Late, reviews.SourceOf(l.Term)})
	}
	d.Reviews = reviews.Looks(v, fact)
}

// changes tells of each correction and withdrawal what it changed: the ledger is folded up to the record before it and with
// it, both asked about the moment at which it was recorded.
func (f *farm) changes(ctx context.Context, versions []Version) error {
	at := map[uint64]*Version{}
	last := uint64(0)
	for i := range versions {
		if v := &versions[i]; v.What != "recorded" {
			at[v.Place] = v
			last = max(last, v.Place)
		}
	}
	if last == 0 {
		return nil
	}
	book := projections.NewBook(events.Standard())
	for r, err := range project.Records(ctx, f.log, 1, last) {
		if err != nil {
			return err
		}
		v := at[r.Place]
		var before []answer
		if v != nil {
			before = answersOf(book, r.Recorded)
		}
		if err := book.Add(r); err != nil {
			return err
		}
		if v != nil {
			v.Moves = moves(before, answersOf(book, r.Recorded))
		}
	}
	return nil
}

// prove adds the proofs of the versions that are sealed. A proof is followed to the signed root before it is given.
func (f *farm) prove(versions []Version) error {
	ar := f.seal.archive.Load()
	if ar == nil || ar.Sealed() == 0 {
		return nil
	}
	now, err := ar.Checkpoint()
	if err != nil {
		return err
	}
	for i := range versions {
		v := &versions[i]
		if v.Place > now.Size {
			continue
		}
		path, err := proof.Inclusion(now.Size, v.Place-1, ar)
		if err != nil {
			return err
		}
		leaf, err := ar.LeafHash(v.Place)
		if err == nil {
			err = proof.CheckInclusion(now.Tree, v.Place-1, leaf, path)
		}
		if err != nil {
			return err
		}
		v.Proof = string(proof.File{Index: v.Place - 1, Path: path, Checkpoint: now.Note}.Format())
		v.Hashes, v.Under = len(path), now.Size
	}
	return nil
}

// versions lists a record and what was said about it, in order of place.
func (f *farm) versions(ctx context.Context, b *projections.Book, first *events.Record) ([]Version, error) {
	out := []Version{asVersion(first, "recorded")}
	out[0].Data = events.Raw(first.Data)
	latest := first.ID
	fact := b.Fact(first.ID)
	if fact != nil && len(fact.Corrections) > 0 {
		latest = fact.Corrections[len(fact.Corrections)-1].ID
	}
	for _, s := range b.Said(first.ID) {
		r, err := f.stored(ctx, s.ID)
		if err != nil {
			return nil, err
		}
		if r == nil {
			continue
		}
		what := "corrected"
		if s.Withdraws {
			what = "withdrawn"
		}
		v := asVersion(r, what)
		v.Follows = s.Follows.String()
		data, err := events.Standard().Decode(r)
		if err != nil {
			return nil, err
		}
		switch d := data.(type) {
		case *events.RecordCorrected:
			v.Reason, v.By, v.Data = d.Reason, d.By, d.Data
			v.Time = cmp.Or(d.Time, v.Time)
		case *events.RecordWithdrawn:
			v.Reason, v.By = d.Reason, d.By
		}
		out = append(out, v)
	}
	slices.SortFunc(out, func(a, b Version) int { return cmp.Compare(a.Place, b.Place) })
	for i := range out {
		out[i].Counts = out[i].ID == latest.String() && (fact == nil || fact.Stands())
	}
	return out, nil
}

func asVersion(r *events.Record, what string) Version {
	e := r.Envelope
	return Version{
		ID: e.ID, What: what, Type: e.Type, Time: e.Time, RecordedTime: e.RecordedTime, NotedTime: e.NotedTime,
		Actor: e.Actor, Source: e.Source, Batch: e.Batch, Place: r.Place, Leaf: hashText(ledger32(r)), Chains: e.Chains,
	}
}
