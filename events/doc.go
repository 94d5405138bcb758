// Package events is the language of facts: what a record is, which kinds there are, and what may enter a ledger.
//
// A record says what happened, once, for ever. It is a CloudEvents 1.0 event (CNCF, v1.0.2, JSON format) whose stored bytes
// are its RFC 8785 canonical form. It carries two times: `time`, when it happened, and `recordedtime`, when the ledger took
// it. A mistake is not edited; a later record.corrected or record.withdrawn names it.
//
// # From a draft to bytes and back
//
//	Draft        what somebody proposes: type, time, data as JSON values
//	Door.Check   refuses it with every Problem at once, or brings it into its normal form: Accepted
//	Envelope     AppendCanonical splices what the recorder fills in around the accepted data: the bytes that are stored
//	ParseRecord  reads stored bytes: Record
//	Catalogue    Decode makes its data the Go type of the kind's newest version, as *SprayApplied
//
// Nothing here keeps records, knows the time or asks other records: the ledger is events/ledger, what records mean together
// is projections.
//
// # Kinds
//
// A kind is one Go type and one line of the table in catalogue.go. The type's fields and tags are the whole grammar: JSON
// names, forms, units, limits, what must stand (see the comment on shapeOf). Door, Encode, templates and CATALOGUE.md all
// read it, so that a field is described once.
//
// To add a kind:
//
//  1. Write the data type into the file of its subject, with a doc comment that says what it is for: the catalogue prints it.
//  2. Give it a line in standardKinds: name in the past tense, version 1, which chains, which field gives its time.
//  3. Write its first sample: an entry in samples_test.go, then go test ./events -run Samples -update. The tests ask for two
//     more lines, taken from the description of the records and not from the type: what must stand (catalogue_test.go), and
//     its chains (chains_test.go).
//  4. Write the catalogue anew: go generate ./events.
//  5. Let projections know it: KeysOf and References in projections/where.go, and the folds that it moves.
//
// To change what a kind means: raise its version in standardKinds, write what makes old data into new into
// events/internal/legacy, on raw JSON, and name it in standardSteps. The old sample stays; the new version gets its own. A
// new optional field needs none of that. Nothing is ever renamed or dropped without a step, and no stored byte is ever
// rewritten. water.withheld is the example: version 1 had its reading as text.
//
// Readers see only the newest version (Decode). Writers write it too, and corrections of old records bring their data in
// it. An export holds old records as they were written, and so the door lets them in again (see Door.Check).
//
// # Files
//
//	catalogue.go schema.go shapes.go   kinds, the grammar of their data, shapes that they share
//	orchard.go growth.go care.go spray.go harvest.go packing.go weather.go papers.go keeping.go   the data types
//	door.go values.go times.go versions.go grammar.go codes.go problem.go   what is refused, and in which words
//	record.go ids.go chains.go decode.go   envelope, ids, chains, JSON
//
// events/canon has JSON values and their canonical bytes, events/units quantities, events/civil days and zones,
// events/words every sentence that a user reads.
package events

//go:generate go run ./internal/gencatalogue
