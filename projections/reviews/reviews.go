// Package reviews lists the records that somebody else is to look over, and until when, by the terms of the rule sets that a
// farm goes by.
package reviews

import (
	"slices"
	"strings"

	"latewood/events/civil"
	"latewood/events/words"
	"latewood/projections"
	"latewood/projections/settings"
	"latewood/projections/terms"
)

// Doc is the list on a day.
type Doc struct {
	On   string `json:"on"`
	Rows []Row  `json:"rows"` // by due day, then by record
	Note string `json:"note"` // what the list does not cover
}

// Row is one record without a review.
type Row struct {
	Record  string `json:"record"`
	Kind    string `json:"kind"`
	Day     string `json:"day"`
	Due     string `json:"due"`
	Overdue bool   `json:"overdue"`
	Term    string `json:"term"`
	Source  string `json:"source"`
	Read    string `json:"read"`
}

// Due lists the standing records of the kinds that want a review and have none, made up to the end of a day.
func Due(b *projections.Book, on civil.Date) Doc {
	doc := Doc{On: on.String(), Rows: []Row{}, Note: words.Say("reviews.note")}
	v := b.View(projections.FarmKey)
	zone := b.Zone()
	for _, f := range b.Facts() {
		day := civil.DateOf(f.Time, zone)
		if !f.Stands() || day.After(on) {
			continue
		}
		for _, t := range terms.Table() {
			if t.Kind != terms.Review || !slices.Contains(t.Kinds, f.Kind) || !Goes(b, t, day) || v.Reviewed(f) {
				continue
			}
			due := day.AddDays(int(t.Within.Hours() / 24))
			if days, ok := b.Number(settings.ReviewDays, day); ok {
				due = day.AddDays(int(days))
			}
			doc.Rows = append(doc.Rows, Row{
				Record: f.ID.String(), Kind: f.Kind, Day: day.String(), Due: due.String(), Overdue: due.Before(on),
				Term: t.ID, Source: t.Source, Read: t.Read,
			})
		}
	}
	slices.SortStableFunc(doc.Rows, func(a, b Row) int { return strings.Compare(a.Due, b.Due) })
	return doc
}

// Goes reports whether the farm goes by a term's rule set on a day: the setting rule-sets names it.
func Goes(b *projections.Book, t terms.Term, day civil.Date) bool {
	return slices.Contains(strings.Fields(b.Text(settings.RuleSets, day)), t.Rules)
}
