// Package reviews lists the records that somebody else is to look over, until when, who looked them over, and what was
// written down later than its term: by the terms of the rule sets that a farm goes by (package terms, setting rule-sets).
//
// A review is for what it saw: when a record is corrected after it, the record is due again. Who reviewed his own entry is
// shown so; whether that will do is for the rule to say. The list knows no rule that is not in the table, and no row of the
// table says that it applies to a farm.
package reviews

import (
	"cmp"
	"slices"
	"strings"

	"latewood/events"
	"latewood/events/civil"
	"latewood/events/words"
	"latewood/projections"
	"latewood/projections/flags"
	"latewood/projections/settings"
	"latewood/projections/terms"
)

// State is the records of one key that want a review, by time and id. Who has reviewed them depends on the order in which
// things became known, and is asked by Report.
type State struct {
	Items []Item `json:"items"`
}

// An Item is one record under one term.
type Item struct {
	Record string `json:"record"`
	Kind   string `json:"kind"`
	Day    string `json:"day"`
	Due    string `json:"due"`
	Term   string `json:"term"`
}

// A Look is one review of a record.
type Look struct {
	Review   string `json:"review"` // id of the records.reviewed
	Reviewer string `json:"reviewer"`
	Role     string `json:"role,omitempty"`
	Day      string `json:"day"`
	Same     bool   `json:"samePerson,omitempty"` // who made the record
	Before   bool   `json:"beforeCorrection,omitempty"`
}

// Blocks is the fold over blocks, Farm the one over what belongs to none.
func Blocks() *projections.Fold {
	return projections.NewFold("reviews", 1, projections.Block, fold)
}

// Farm is the fold over what belongs to no block.
func Farm() *projections.Fold {
	return projections.NewFold("reviews-farm", 1, projections.Farm, fold)
}

func fold(v *projections.View) *State {
	out := &State{Items: []Item{}}
	for _, f := range v.Standing() {
		day := civil.DateOf(f.Time, v.Zone)
		for _, t := range terms.Of(terms.Review, f.Kind, strings.Fields(v.Text(settings.RuleSets, day))) {
			if !wanted(f) {
				continue
			}
			item := Item{
				Record: f.ID.String(), Kind: f.Kind, Day: day.String(), Term: t.ID,
				Due: day.AddDays(t.Days()).String(),
			}
			if days, ok := v.Number(settings.ReviewDays, day); ok && t.Mark == terms.Practice {
				item.Due = day.AddDays(int(days)).String()
			}
			out.Items = append(out.Items, item)
		}
	}
	return out
}

// wanted leaves out what the rule's paragraphs do not mean: amendments that are not of animal origin.
func wanted(f *projections.Fact) bool {
	d, ok := f.Data().(*events.NutrientApplied)
	return !ok || d.Origin == "animal"
}

func look(v *projections.View, f, review *projections.Fact, made string) Look {
	d, ok := review.Data().(*events.RecordsReviewed)
	if !ok {
		return Look{}
	}
	l := Look{
		Review: review.ID.String(), Reviewer: d.Reviewer, Role: d.Role, Day: civil.DateOf(review.Time, v.Zone).String(),
		Same: d.Reviewer == made,
	}
	if n := len(f.Corrections); n > 0 && d.Span == nil {
		last := f.Corrections[n-1]
		l.Before = !slices.Contains(d.Records, last.ID.String()) && last.Known().After(review.Record.Known())
	}
	return l
}

// Looks lists who looked a record over, whether or not it has to be.
func Looks(v *projections.View, f *projections.Fact) []Look {
	var out []Look
	for _, r := range v.Reviews(f) {
		out = append(out, look(v, f, r, cmp.Or(f.Common().By, f.Record.Envelope.Actor)))
	}
	return out
}

// Doc is the list on a day.
type Doc struct {
	On       string `json:"on"`
	Rows     []Row  `json:"rows"`     // without a review of what stands, by due day, then record
	Reviewed []Row  `json:"reviewed"` // with one, by day, then record
	Late     []Late `json:"late"`     // written down or posted after the term, by day, then record
	Note     string `json:"note"`     // what the list does not cover
}

// Row is one record and its term.
type Row struct {
	Record  string   `json:"record"`
	Kind    string   `json:"kind"`
	Blocks  []string `json:"blocks,omitempty"`
	Day     string   `json:"day"`
	Due     string   `json:"due"`
	Overdue bool     `json:"overdue"` // not reviewed, or reviewed later than that
	Reviews []Look   `json:"reviews,omitempty"`
	Source
}

// Late is a record that took longer than its term.
type Late struct {
	Record string `json:"record"`
	Kind   string `json:"kind"`
	Day    string `json:"day"`
	Hours  int    `json:"hours"`  // that it took
	Within int    `json:"within"` // hours of the term
	Source
}

// Source is where a term comes from.
type Source struct {
	Term    string `json:"term"`
	Rules   string `json:"rules"`
	Source  string `json:"source"`
	Edition string `json:"edition"`
	Mark    string `json:"mark"`
	Read    string `json:"read"`
}

// SourceOf is a term's source.
func SourceOf(t terms.Term) Source {
	return Source{t.ID, t.Rules, t.Source, t.Edition, string(t.Mark), t.Read}
}

// Report lists the standing records made up to the end of a day that want a review, those that have had one by then, and those
// that were late.
func Report(b *projections.Book, on civil.Date) Doc {
	doc := Doc{On: on.String(), Rows: []Row{}, Reviewed: []Row{}, Late: late(b, on), Note: words.Say("reviews.note")}
	sources := map[string]Source{}
	for _, t := range terms.Table() {
		sources[t.ID] = SourceOf(t)
	}
	v := b.View(projections.FarmKey)
	seen := map[string]int{}
	var rows []Row
	gather := func(s *State, block string) {
		for _, item := range s.Items {
			if item.Day > on.String() {
				continue
			}
			key := item.Record + " " + item.Term
			i, ok := seen[key]
			if !ok {
				i = len(rows)
				seen[key] = i
				row := Row{Record: item.Record, Kind: item.Kind, Day: item.Day, Due: item.Due, Source: sources[item.Term]}
				if id, err := events.ParseID(item.Record); err == nil {
					row.Reviews = Looks(v, b.Fact(id))
				}
				row.Reviews = slices.DeleteFunc(row.Reviews, func(l Look) bool { return l.Day > on.String() })
				rows = append(rows, row)
			}
			if block != "" {
				rows[i].Blocks = append(rows[i].Blocks, block)
			}
		}
	}
	for _, code := range b.Keys(projections.Block) {
		gather(projections.StateOf[State](b, Blocks(), code), code)
	}
	gather(projections.StateOf[State](b, Farm(), ""), "")
	for _, row := range rows {
		first := slices.IndexFunc(row.Reviews, func(l Look) bool { return !l.Before })
		if first >= 0 {
			row.Overdue = row.Reviews[first].Day > row.Due
			doc.Reviewed = append(doc.Reviewed, row)
			continue
		}
		row.Overdue = row.Due < on.String()
		doc.Rows = append(doc.Rows, row)
	}
	slices.SortFunc(doc.Rows, func(x, y Row) int {
		return cmp.Or(strings.Compare(x.Due, y.Due), strings.Compare(x.Record, y.Record), strings.Compare(x.Term, y.Term))
	})
	slices.SortFunc(doc.Reviewed, func(x, y Row) int {
		return cmp.Or(strings.Compare(x.Day, y.Day), strings.Compare(x.Record, y.Record), strings.Compare(x.Term, y.Term))
	})
	return doc
}

// late lists what took longer than its term.
func late(b *projections.Book, on civil.Date) []Late {
	out := []Late{}
	v := b.View(projections.FarmKey)
	for _, f := range b.Facts() {
		day := civil.DateOf(f.Time, b.Zone())
		if !f.Stands() || day.After(on) {
			continue
		}
		for _, l := range flags.Terms(v, f) {
			if l.Late {
				out = append(out, Late{
					Record: f.ID.String(), Kind: f.Kind, Day: day.String(), Hours: int(l.Took.Hours()), Within: int(l.Term.Within.Hours()),
					Source: SourceOf(l.Term),
				})
			}
		}
	}
	return out
}
