package projections

import "latewood/events"

// Reviewed reports whether a standing records.reviewed names a fact: by its id, or by a span of places that holds its
// record or its latest correction.
func (v *View) Reviewed(f *Fact) bool {
	for _, about := range v.About(f.ID) {
		if _, ok := about.decoded.(*events.RecordsReviewed); ok {
			return true
		}
	}
	place := f.Record.Place
	if n := len(f.Corrections); n > 0 {
		place = f.Corrections[n-1].Place
	}
	for _, other := range v.book.byKey[FarmKey] {
		d, ok := other.decoded.(*events.RecordsReviewed)
		if ok && other.Stands() && d.Span != nil && uint64(d.Span.First) <= place && place <= uint64(d.Span.Last) {
			return true
		}
	}
	return false
}

// spans reports whether a fact speaks of records by their places: any of them may be meant.
func spans(f *Fact) bool {
	d, ok := f.decoded.(*events.RecordsReviewed)
	return ok && d.Span != nil
}
