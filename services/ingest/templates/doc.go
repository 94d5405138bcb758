// Package templates makes the empty table of a kind: headings that import understands, with their units, an example, and what
// each column means in plain words.
//
//	t, err := templates.New(events.Standard(), "picks", templates.Farm{Blocks: ...})
//	err = t.XLSX(w) // or t.CSV(w)
//
// Everything in it comes from the schema of the kind, by way of ingest.Headings: a field that a kind gets tomorrow has its
// column tomorrow. The example is the frozen sample of the kind (testdata/versions), which examples.json repeats so that the
// program has it; go test ./services/ingest/templates -update writes that file anew.
//
// The example row is marked in its first cell, before its value: "example: 2026-06-18". Import passes over it.
package templates
