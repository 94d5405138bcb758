package elements

import (
	"slices"
	"strings"

	"latewood/events"
	"latewood/projections"
)

// OfEntry names what is missing in an entry.made: 40 CFR 170.603 and 170.605. The kind is for entries while re-entry runs, so
// the rule is looked at in every one.
func OfEntry(f *projections.Fact) (missing []Missing) {
	d := f.Data().(*events.EntryMade)
	rows := table()
	gone := func(id string) {
		missing = append(missing, Missing{Record: f.ID.String(), Element: id, Rule: rows[id].Source})
	}
	if d.AgeOf18Attested == nil || !*d.AgeOf18Attested {
		gone("entry.age")
	}
	if d.ExceptionClaimed == "" {
		gone("entry.exception")
	}
	for _, item := range Briefing() {
		if !slices.ContainsFunc(d.BriefingItems, func(s string) bool { return strings.EqualFold(strings.TrimSpace(s), item) }) {
			gone(told(item))
		}
	}
	if d.ProtectiveEquipment == "" {
		gone("entry.given")
	}
	return missing
}

// OfFact names what is missing in a record of any kind; nothing for kinds that no row is about, and for what was withdrawn.
func OfFact(b *projections.Book, f *projections.Fact, named Named) []Missing {
	if !f.Stands() {
		return nil
	}
	switch f.Data().(type) {
	case *events.SprayApplied:
		return OfSpray(b, f, named).Missing
	case *events.EntryMade:
		return OfEntry(f)
	}
	return nil
}

// A Count is an element that records of a block lack.
type Count struct {
	Element string `json:"element"`
	Rule    string `json:"rule"`
	Doubt   string `json:"doubt,omitempty"`
	// Records are the ids, in order of time and id.
	Records []string `json:"records"`
}

// ByBlock counts for each block what the records of one of its crops lack, in the order of Table. since picks the records:
// those for which it is true.
func ByBlock(b *projections.Book, named Named, since func(block string, f *projections.Fact) bool) map[string][]Count {
	out := map[string][]Count{}
	for _, f := range b.Facts() {
		missing := []Missing(nil)
		for _, k := range projections.KeysOf(f) {
			if k.Class != projections.Block || !since(k.Code, f) {
				continue
			}
			if missing == nil {
				if missing = OfFact(b, f, named); len(missing) == 0 {
					break
				}
			}
			out[k.Code] = count(out[k.Code], missing)
		}
	}
	order := map[string]int{}
	for i, e := range Table() {
		order[e.ID] = i
	}
	for block := range out {
		slices.SortStableFunc(out[block], func(a, b Count) int { return order[a.Element] - order[b.Element] })
	}
	return out
}

func count(counts []Count, missing []Missing) []Count {
	for _, m := range missing {
		i := slices.IndexFunc(counts, func(c Count) bool { return c.Element == m.Element && c.Doubt == m.Doubt })
		if i < 0 {
			i = len(counts)
			counts = append(counts, Count{Element: m.Element, Rule: m.Rule, Doubt: m.Doubt})
		}
		if !slices.Contains(counts[i].Records, m.Record) {
			counts[i].Records = append(counts[i].Records, m.Record)
		}
	}
	return counts
}
