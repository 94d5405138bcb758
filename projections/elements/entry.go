package elements

import (
	"cmp"
	"slices"
	"strings"
	"time"

	"latewood/events"
	"latewood/events/words"
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

// A Count is an element that records lack.
type Count struct {
	Element string   `json:"element"`
	Rule    string   `json:"rule"`
	Doubt   string   `json:"doubt,omitempty"`
	Records []string `json:"records"` // ids, in order of time and id
	Blocks  []string `json:"blocks"`  // by code
}

// Lacking counts what the records from one moment up to another lack, in the order of Table.
func Lacking(b *projections.Book, named Named, from, to time.Time) []Count {
	r := newReader(b, named)
	out := []Count{}
	for _, f := range b.Facts() {
		if f.Time.Before(from) || f.Time.After(to) || !f.Stands() {
			continue
		}
		var missing []Missing
		switch f.Data().(type) {
		case *events.SprayApplied:
			missing = r.spray(f).Missing
		case *events.EntryMade:
			missing = OfEntry(f)
		}
		for _, m := range missing {
			i := slices.IndexFunc(out, func(c Count) bool { return c.Element == m.Element && c.Doubt == m.Doubt })
			if i < 0 {
				i = len(out)
				out = append(out, Count{Element: m.Element, Rule: m.Rule, Doubt: m.Doubt})
			}
			if !slices.Contains(out[i].Records, m.Record) {
				out[i].Records = append(out[i].Records, m.Record)
			}
			for _, k := range projections.KeysOf(f) {
				if k.Class == projections.Block && !slices.Contains(out[i].Blocks, k.Code) {
					out[i].Blocks = append(out[i].Blocks, k.Code)
				}
			}
		}
	}
	order := map[string]int{}
	for i, e := range Table() {
		order[e.ID] = i
	}
	for i := range out {
		slices.Sort(out[i].Blocks)
	}
	slices.SortStableFunc(out, func(a, b Count) int {
		return cmp.Or(order[a.Element]-order[b.Element], strings.Compare(a.Doubt, b.Doubt))
	})
	return out
}

// Words names the element with its paragraph.
func (c Count) Words(say *words.Catalogue) string {
	return Missing{Element: c.Element, Rule: c.Rule, Doubt: c.Doubt}.Words(say)
}
