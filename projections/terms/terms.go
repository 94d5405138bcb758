// Package terms lists legal terms: how soon something must be written down, posted, handed over or looked over, and how long
// it is kept. Each row is data with its source, the edition of it that was read, how it was read, and the day on which; nothing
// here is advice, and no row says that a rule applies to a farm. State, tribal, buyer and export rules may be stricter and are
// not in this table.
package terms

import (
	"slices"
	"time"
)

// Kind says what a term is about.
type Kind string

// The kinds of terms.
const (
	Record Kind = "record" // from the event to its being written down
	Post   Kind = "post"   // from the end of a spray to what is displayed of it
	Give   Kind = "give"   // from the event, or from somebody's asking, to its being handed over
	Review Kind = "review" // from the record to somebody else's look at it
	Again  Kind = "again"  // from one record of a kind to the next
	Keep   Kind = "keep"   // how long it is kept at least
)

// Mark says how a row was read.
type Mark string

// The marks.
const (
	Published  Mark = "published"       // in the rule's own text
	SecondHand Mark = "second-hand"     // in a summary by an agency or extension service
	Memory     Mark = "from memory"     // not found in print while this was written: look before you lean on it
	Practice   Mark = "common practice" // the rule gives no number
)

// A Term is one row.
type Term struct {
	ID     string
	Kind   Kind
	Rules  string   // the rule set, as settings and reports name it
	Kinds  []string // kinds of records that it is about; none: what a program cannot see in a record
	Within time.Duration
	Years  int // of terms that count in calendar years, instead of Within
	// Restricted limits a term to sprays with a product whose label says restricted use.
	Restricted bool
	Source     string // the paragraph
	Edition    string // of the source
	Mark       Mark
	Read       string // the day on which the source was read
}

// Table lists the terms.
func Table() []Term {
	const (
		restricted = "us-restricted-use"
		workers    = "us-worker-protection"
		produce    = "us-produce"
		trace      = "us-food-traceability"
		read       = "2026-11-25"
		part110    = "7 CFR part 110, GPO edition"
		part170    = "40 CFR part 170, subparts D to G, revision of 2015"
		part112    = "21 CFR part 112 as amended 2024-05-06 (89 FR 37519)"
		part1      = "21 CFR part 1 subpart S, eCFR of 2026-06-11"
	)
	day := 24 * time.Hour
	spray := []string{"spray.applied"}
	traced := []string{"fruit.picked", "pick.cooled", "lot.packed", "lot.repacked", "lot.shipped", "lot.received"}
	return []Term{
		{ID: "rup.record_by", Kind: Record, Rules: restricted, Kinds: spray, Within: 14 * day, Restricted: true,
			Source: "7 CFR 110.3(c), as published by state extension services", Edition: part110, Mark: SecondHand, Read: read},
		{ID: "rup.customer_copy", Kind: Give, Rules: restricted, Kinds: spray, Within: 30 * day, Restricted: true,
			Source: "7 U.S.C. 136i-1(a)(2): a commercial applicator to the customer", Edition: "7 U.S.C. 136i-1", Mark: Published, Read: read},
		{ID: "rup.keep", Kind: Keep, Rules: restricted, Kinds: spray, Years: 2, Restricted: true,
			Source: "7 CFR 110.3(d); 7 U.S.C. 136i-1(a)(1)", Edition: part110, Mark: Published, Read: read},

		{ID: "wps.display_by", Kind: Post, Rules: workers, Kinds: []string{"spray.posted"}, Within: day,
			Source: "40 CFR 170.311(b)(5): displayed within 24 hours after the end of the application", Edition: part170, Mark: SecondHand, Read: read},
		{ID: "wps.display_until", Kind: Keep, Rules: workers, Kinds: []string{"spray.posted"}, Within: 30 * day,
			Source: "40 CFR 170.311(b)(5): displayed until 30 days after re-entry is open", Edition: part170, Mark: SecondHand, Read: read},
		{ID: "wps.copy_on_request", Kind: Give, Rules: workers, Within: 14 * day,
			Source: "40 CFR 170.311(b)(7)-(9): 15 days in the rule, two weeks on a training site; the shorter one stands here", Edition: part170, Mark: Memory, Read: read},
		{ID: "wps.sign_before", Kind: Post, Rules: workers, Within: day,
			Source: "40 CFR 170.409(b): signs up no earlier than 24 hours before the application", Edition: part170, Mark: SecondHand, Read: read},
		{ID: "wps.sign_after", Kind: Post, Rules: workers, Within: 3 * day,
			Source: "40 CFR 170.409(b): signs down within 3 days after re-entry is open", Edition: part170, Mark: SecondHand, Read: read},
		{ID: "wps.keep", Kind: Keep, Rules: workers, Kinds: spray, Years: 2,
			Source: "40 CFR 170.311(b)(6): from the end of the re-entry interval; that start is from memory", Edition: part170, Mark: SecondHand, Read: read},

		{ID: "psr.record_when_done", Kind: Record, Rules: produce, Kinds: reviewed(),
			Source: "21 CFR 112.161(a): when the activity is done or seen; no number, so nothing is late by it", Edition: part112, Mark: Published, Read: read},
		{ID: "psr.review", Kind: Review, Rules: produce, Kinds: reviewed(), Within: 7 * day,
			Source:  "21 CFR 112.161(b) with 112.7(b), 112.30(b), 112.50(b)(2), 112.60(b)(2), 112.140(b): within a reasonable time; the seven days are common practice, the setting review-days",
			Edition: part112, Mark: Practice, Read: read},
		{ID: "psr.water_again", Kind: Again, Rules: produce, Kinds: []string{"water.assessed"}, Years: 1,
			Source: "21 CFR 112.42(a), 112.43(a): at the start of the season, at least yearly", Edition: part112, Mark: Published, Read: read},
		{ID: "psr.exemption_again", Kind: Again, Rules: produce, Kinds: []string{"exemption.claimed"}, Years: 1,
			Source: "21 CFR 112.7(b): looked over every year", Edition: part112, Mark: Memory, Read: read},
		{ID: "psr.keep", Kind: Keep, Rules: produce, Kinds: reviewed(), Years: 2,
			Source: "21 CFR 112.164(a)(1): from the day on which the record was made", Edition: part112, Mark: Memory, Read: read},

		{ID: "ftr.provide", Kind: Give, Rules: trace, Kinds: traced, Within: day,
			Source: "21 CFR 1.1455(c)(1): after a request, or a reasonable time that the agency agrees to", Edition: part1, Mark: Published, Read: read},
		{ID: "ftr.keep", Kind: Keep, Rules: trace, Kinds: traced, Years: 2,
			Source: "21 CFR 1.1455(d)", Edition: part1, Mark: Published, Read: read},

		{ID: "nap.keep", Kind: Keep, Rules: "us-noninsured-crops", Kinds: []string{"fruit.picked", "packout.reported"}, Years: 3,
			Source: "7 CFR 1437.7, now numbered 1437.8", Edition: "7 CFR part 1437, edition of 2008", Mark: Published, Read: read},
		{ID: "eu.electronic_by", Kind: Record, Rules: "eu-plant-protection", Kinds: spray, Within: 30 * day,
			Source: "Implementing Regulation (EU) 2023/564, Art. 3: electronic form within 30 days", Edition: "OJ L 74, 13.3.2023", Mark: Memory, Read: read},
		{ID: "eu.keep", Kind: Keep, Rules: "eu-plant-protection", Kinds: spray, Years: 3,
			Source: "Regulation (EC) 1107/2009, Art. 67(1)", Edition: "OJ L 309, 24.11.2009", Mark: Published, Read: read},
	}
}

// reviewed are the kinds of records that 21 CFR 112.161(b) wants looked over: training (112.30(b)), cleaning (112.140(b)),
// water (112.50(b)(2)), amendments that were treated on the farm (112.60(b)(2)), exemptions (112.7(b)).
func reviewed() []string {
	return []string{"training.given", "tool.cleaned", "water.assessed", "nutrient.applied", "exemption.claimed"}
}

// Of lists the terms of a kind that are about a kind of records and belong to one of the rule sets.
func Of(kind Kind, record string, rules []string) []Term {
	return slices.DeleteFunc(Table(), func(t Term) bool {
		return t.Kind != kind || !slices.Contains(t.Kinds, record) || !slices.Contains(rules, t.Rules)
	})
}

// Days is the term in whole days; 0 where it counts in years or gives no number.
func (t Term) Days() int { return int(t.Within / (24 * time.Hour)) }
