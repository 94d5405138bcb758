package projections

import (
	"slices"
	"time"

	"latewood/events"
)

// A Fact is one record as it stands by the knowledge of a Book: its latest version, or withdrawn.
type Fact struct {
	ID      events.ID
	Kind    string
	Version int       // of Data
	Time    time.Time // effective: of the latest correction that names one, else of the record
	Record  *events.Record
	// Corrections are the versions after the record, each following the one before; the last one counts.
	Corrections []*events.Record
	// Withdrawn is the record that ended this one, nil while it stands.
	Withdrawn *events.Record
	// Forked says that two corrections followed one version.
	Forked bool

	data    []byte
	decoded any
	reason  string
}

// Stands reports whether the fact counts: it is not withdrawn.
func (f *Fact) Stands() bool { return f.Withdrawn == nil }

// Versions are the records that make the fact, in the order in which they follow one another: the record itself, its
// corrections, its withdrawal.
func (f *Fact) Versions() []*events.Record {
	out := append([]*events.Record{f.Record}, f.Corrections...)
	if f.Withdrawn != nil {
		out = append(out, f.Withdrawn)
	}
	return out
}

// Raw is the effective data as canonical JSON.
func (f *Fact) Raw() []byte { return f.data }

// Common is what every kind carries.
func (f *Fact) Common() *events.Common {
	if c, ok := f.decoded.(interface{ CommonFields() *events.Common }); ok {
		return c.CommonFields()
	}
	return &events.Common{}
}

// Data is the effective data as the Go type of its kind, as *events.SprayApplied. Callers must not change it.
func (f *Fact) Data() any { return f.decoded }

// before is the order in which folds see facts.
func before(a, b *Fact) int {
	if c := a.Time.Compare(b.Time); c != 0 {
		return c
	}
	return slices.Compare(a.ID[:], b.ID[:])
}

// version is one correction or withdrawal as the Book reads it.
type version struct {
	record    *events.Record
	target    events.ID
	follows   events.ID
	withdraws bool
	correct   *events.RecordCorrected
}

// resolve makes the effective version of a fact out of the record and everything that follows it. Versions that follow
// something unknown wait: they do not count yet.
func (f *Fact) resolve(cat *events.Catalogue, versions []version) error {
	f.Version, f.Time, f.data = f.Record.Version, f.Record.Time, f.Record.Data
	f.Corrections, f.Withdrawn, f.Forked = nil, nil, false
	at := f.ID
	for {
		next, forked := follower(versions, at)
		if forked {
			f.Forked = true
		}
		if next == nil {
			break
		}
		f.Corrections = append(f.Corrections, next.record)
		_, f.Version, _ = events.SplitType(next.correct.Type)
		f.data = next.correct.Data
		if next.correct.Time != "" {
			t, err := time.Parse(time.RFC3339, next.correct.Time)
			if err != nil {
				return err
			}
			f.Time = t
		}
		at = next.record.ID
	}
	// A withdrawal is final and wins over any correction, whichever version it follows.
	for i := range versions {
		if v := &versions[i]; v.withdraws && (f.Withdrawn == nil || f.Withdrawn.ID.Less(v.record.ID)) && f.knows(v.follows, versions) {
			f.Withdrawn = v.record
		}
	}
	decoded, err := cat.DecodeData(f.Kind, f.Version, f.data)
	if err != nil {
		return err
	}
	f.decoded = decoded
	return nil
}

// follower finds the correction that follows the version with id at: of several, the one with the higher id.
func follower(versions []version, at events.ID) (best *version, forked bool) {
	for i := range versions {
		v := &versions[i]
		if v.withdraws || v.follows != at || v.record.ID == at {
			continue
		}
		if best == nil {
			best = v
			continue
		}
		forked = true
		if best.record.ID.Less(v.record.ID) {
			best = v
		}
	}
	return best, forked
}

// knows reports whether id is the record or one of its corrections that are here.
func (f *Fact) knows(id events.ID, versions []version) bool {
	if id == f.ID {
		return true
	}
	return slices.ContainsFunc(versions, func(v version) bool { return !v.withdraws && v.record.ID == id })
}
