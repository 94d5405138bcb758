// Package elements names what a rule wants to stand in a record and does not: of sprays, of what is displayed about them, of
// warnings, and of entries while re-entry runs.
//
// Each element is a row with its paragraph, the edition of it that was read, how it was read, and on which day (Table). A row
// applies to a record where its rule can be seen to: a product that its label says is restricted, a covered product, a hired
// applicator. Where a record does not tell whether it applies, what is missing is named with that doubt (Missing.Doubt).
//
//	s := elements.OfSpray(book, fact, named)
//	for _, m := range s.Missing { fmt.Println(m.Words(catalogue)) }
//
// Federal elements only: what a state, a tribe, a buyer or a programme asks for beside them is not in the table. That nothing
// is missing says that these elements stand in the record, and nothing about the farm.
package elements

import (
	"latewood/events/words"
	"latewood/projections/terms"
)

// A Set is the elements of one rule.
type Set string

// The sets.
const (
	Restricted Set = "us-restricted-use" // 7 CFR 110.3(a)
	Spot       Set = "us-spot"           // 7 CFR 110.3(b)
	Commercial Set = "us-commercial"     // 40 CFR 171.303(b)(7)
	Display    Set = "us-display"        // 40 CFR 170.311(b)(1)
	Warning    Set = "us-warning"        // 40 CFR 170.409
	Entry      Set = "us-early-entry"    // 40 CFR 170.603, 170.605
)

// An Element is one thing that a rule wants.
type Element struct {
	ID      string // also its sentence: element.ID
	Set     Set
	Source  string // the paragraph
	Edition string
	Mark    terms.Mark
	Read    string // the day on which the source was read
}

// Table lists the elements.
func Table() []Element {
	const (
		read    = "2026-11-25"
		part110 = "7 CFR part 110, GPO edition"
		part171 = "40 CFR part 171, revision of 2017"
		part170 = "40 CFR part 170, subparts D to G, revision of 2015"
	)
	var out []Element
	set := func(set Set, edition string, mark terms.Mark, rows ...[2]string) {
		for _, r := range rows {
			out = append(out, Element{ID: r[0], Set: set, Source: r[1], Edition: edition, Mark: mark, Read: read})
		}
	}
	set(Restricted, part110, terms.Published,
		[2]string{"rup.product", "7 CFR 110.3(a)(1)"}, [2]string{"rup.registration", "7 CFR 110.3(a)(1)"}, [2]string{"rup.total", "7 CFR 110.3(a)(2)"},
		[2]string{"rup.location", "7 CFR 110.3(a)(3)"}, [2]string{"rup.area", "7 CFR 110.3(a)(4)"}, [2]string{"rup.crop", "7 CFR 110.3(a)(5)"},
		[2]string{"rup.date", "7 CFR 110.3(a)(6)"}, [2]string{"rup.applicator", "7 CFR 110.3(a)(7)"}, [2]string{"rup.certificate", "7 CFR 110.3(a)(7)"})
	// That there is a variant for spots is published; its text was not found in print.
	set(Spot, part110, terms.Memory,
		[2]string{"spot.product", "7 CFR 110.3(b)(1)"}, [2]string{"spot.registration", "7 CFR 110.3(b)(1)"}, [2]string{"spot.total", "7 CFR 110.3(b)(2)"},
		[2]string{"spot.place", "7 CFR 110.3(b)(3)"}, [2]string{"spot.date", "7 CFR 110.3(b)(4)"})
	const commercial = "40 CFR 171.303(b)(7)"
	set(Commercial, part171, terms.SecondHand,
		[2]string{"com.customer", commercial}, [2]string{"com.address", commercial}, [2]string{"com.location", commercial}, [2]string{"com.area", commercial},
		[2]string{"com.crop", commercial}, [2]string{"com.time", commercial}, [2]string{"com.product", commercial}, [2]string{"com.registration", commercial},
		[2]string{"com.total", commercial}, [2]string{"com.applicator", commercial}, [2]string{"com.certificate", commercial}, [2]string{"com.noncertified", commercial})
	const display = "40 CFR 170.311(b)(1)"
	set(Display, part170, terms.SecondHand,
		[2]string{"wps.sheet", display}, [2]string{"wps.product", display}, [2]string{"wps.registration", display}, [2]string{"wps.ingredients", display},
		[2]string{"wps.crop", display}, [2]string{"wps.location", display}, [2]string{"wps.times", display}, [2]string{"wps.interval", display})
	const warning = "40 CFR 170.409(a)"
	set(Warning, part170, terms.Memory, [2]string{"notice.signs", warning}, [2]string{"notice.oral", warning}, [2]string{"notice.either", warning})
	set(Entry, part170, terms.Published, [2]string{"entry.age", "40 CFR 170.605(a)"})
	set(Entry, part170, terms.Memory, [2]string{"entry.exception", "40 CFR 170.603"})
	const entry = "40 CFR 170.605"
	for _, item := range Briefing() {
		set(Entry, part170, terms.Published, [2]string{told(item), entry})
	}
	set(Entry, part170, terms.Published, [2]string{"entry.given", entry})
	return out
}

// Briefing lists the codes that an entry.made names its briefing items by: what 40 CFR 170.605 has people told before an early
// entry, in its order; the last says that the label was read to them or explained.
func Briefing() []string {
	return []string{"place", "pesticide", "interval", "exception", "contact", "time", "equipment", "supplies", "label"}
}

// told is the element of a briefing item.
func told(item string) string {
	if item == "exception" { // entry.exception is the exception itself
		return "entry.exception-told"
	}
	return "entry." + item
}

// table is Table by id.
func table() map[string]Element {
	out := map[string]Element{}
	for _, e := range Table() {
		out[e.ID] = e
	}
	return out
}

// Of lists the elements of a set.
func Of(set Set) (out []Element) {
	for _, e := range Table() {
		if e.Set == set {
			out = append(out, e)
		}
	}
	return out
}

// Words names the element.
func (e Element) Words(say *words.Catalogue) string { return say.Say("element." + e.ID) }

// A Missing is an element that is not in a record.
type Missing struct {
	Record  string `json:"record"`
	Element string `json:"element"`
	Rule    string `json:"rule"`              // the paragraph
	Product string `json:"product,omitempty"` // of the mix, where the element is one product's
	// Doubt is set where the record does not tell whether the rule applies: restricted.
	Doubt string `json:"doubt,omitempty"`
}

// Words names what is missing, of which product, and by which paragraph.
func (m Missing) Words(say *words.Catalogue) string {
	name := say.Say("element." + m.Element)
	if m.Product != "" {
		name = say.Say("element-of", "element", name, "product", m.Product)
	}
	if m.Doubt != "" {
		return say.Say("element-doubt-"+m.Doubt, "element", name, "rule", m.Rule)
	}
	return say.Say("element-missing", "element", name, "rule", m.Rule)
}
