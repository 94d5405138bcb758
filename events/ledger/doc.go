// Package ledger says what a farm's ledger is: records in one order, kept as they were written, and a tree of hashes
// over them that lets a stranger check both.
//
// # What a ledger promises
//
// Order. Records stand at places 1, 2, 3, ... of one farm's ledger. The place says what was known when: whatever
// stands at a lower place was known before. It says nothing about when things happened; that is in the record.
//
// Durability. When [Log.Append] returns nil, the record is on the disk of the store, synced, and survives the death of
// the process and a power cut. Until then nobody may be told that it is recorded.
//
// A hole is a fault. Records are never taken out, so the place after n is n+1, always. A broker may skip a record
// whose bytes have rotted and say nothing; a [Log] may not: it stops with a [HoleError]. Whoever gets one does not go
// on with what is behind the hole. A state that was folded past a missing spray is worse than no state.
//
// A fence. Append names the place that it believes to be the last. If another writer was there first, it gets
// [ErrConflict] and nothing is stored. Two recorders on one farm can therefore not interleave: one of them stops.
//
// No guessing. If the answer to an append is lost, the outcome is unknown ([ErrUnknownOutcome]), and the only one who
// knows is the log. [Resolve] reads on from the last known place and compares bytes. A record that was sent can even
// arrive after its sender gave up; the fence makes that harmless, because by then either the same bytes stand in
// that place or others do.
//
// # The tree
//
// A [Frontier] is the Merkle tree of RFC 6962 (section 2.1, SHA-256) over the records' bytes, reduced to what is needed to
// append to it and to give its root: one hash for each set bit of the size. Leaf i of the tree, counted from 0, is the
// record at place i+1. Proofs and checkpoints over the same tree live in the packages that make and check them.
//
// # Who implements it
//
// memlog keeps a log in memory and can be told to fail. jetlog keeps it in a NATS JetStream stream. Every implementation
// runs the suite in ledgertest, and the suite, together with the law at [Log], is the contract.
//
// This package imports the standard library and golang.org/x/mod only, so that an inspector can read all that is
// needed to check a proof in an afternoon.
package ledger
