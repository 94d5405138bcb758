// Package terms lists legal terms: how soon something must be written down, posted or looked over. Each row is data with
// its source, how that source was read, and the day on which it was read; nothing here is advice, and no row says that a
// rule applies to a farm. State, tribal, buyer and export rules may be stricter and are not in this table.
package terms

import "time"

// Kind says what a term is about.
type Kind string

// The kinds of terms.
const (
	Record Kind = "record" // from the event to its being written down
)

// A Term is one row.
type Term struct {
	ID     string
	Kind   Kind
	Rules  string   // the rule set, as settings and reports name it
	Kinds  []string // kinds of records that it is about
	Within time.Duration
	// Restricted limits a term to sprays with a product whose label says restricted use.
	Restricted bool
	Source     string
	Read       string // the day on which the source was read
}

// Table lists the terms.
func Table() []Term {
	day := 24 * time.Hour
	return []Term{
		{ID: "rup.record_by", Kind: Record, Rules: "us-restricted-use", Kinds: []string{"spray.applied"}, Within: 14 * day, Restricted: true,
			Source: "7 CFR 110.3(c), as published by state extension services", Read: "2026-11-25"},
		{ID: "eu.electronic_by", Kind: Record, Rules: "eu-plant-protection", Kinds: []string{"spray.applied"}, Within: 30 * day,
			Source: "Implementing Regulation (EU) 2023/564, Art. 3: electronic form within 30 days", Read: "2026-11-25"},
	}
}
