package projections

import (
	"slices"

	"latewood/events"
)

// Reviewed reports whether a standing records.reviewed names a fact: by its id, or by a span of places that holds its
// record or its latest correction.
func (v *View) Reviewed(f *Fact) bool { return len(v.Reviews(f)) > 0 }

// Reviews lists the standing records.reviewed that name a fact, by its id, by that of one of its corrections, or by a span of
// places that holds its record or its latest correction, in order of time and id.
func (v *View) Reviews(f *Fact) []*Fact {
	var out []*Fact
	for _, version := range f.Versions() {
		for _, about := range v.About(version.ID) {
			if _, ok := about.decoded.(*events.RecordsReviewed); ok && !slices.Contains(out, about) {
				out = append(out, about)
			}
		}
	}
	place := f.Record.Place
	if n := len(f.Corrections); n > 0 {
		place = f.Corrections[n-1].Place
	}
	for _, other := range v.book.spanning {
		d, ok := other.decoded.(*events.RecordsReviewed)
		if ok && other.Stands() && d.Span != nil && uint64(d.Span.First) <= place && place <= uint64(d.Span.Last) && !slices.Contains(out, other) {
			out = append(out, other)
		}
	}
	slices.SortFunc(out, before)
	return out
}

// spans reports whether a fact speaks of records by their places: any of them may be meant.
func spans(f *Fact) bool {
	d, ok := f.decoded.(*events.RecordsReviewed)
	return ok && d.Span != nil
}
