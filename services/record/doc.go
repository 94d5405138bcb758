// Package record takes proposed records into a farm's ledger. It is the only writer.
//
// What comes in is checked strictly at the door (events.Door), outside of any lock and by as many goroutines as there are
// callers. What depends on the place in the ledger, the chains, the time of recording, whether the id is known already,
// is the committer's: one goroutine a farm, which splices those attributes into the canonical bytes, appends, and answers.
//
// # The promise
//
// A Receipt with a place says that the record stands there, on disk, synced, for ever. No answer, or an error, says
// nothing: the same proposal with the same id may be sent again, as often as anyone likes, and is recorded once.
//
// The committer knows the ledger's last place and sends it along with each append. If somebody else has appended in
// between, the ledger refuses, and the committer stops for good: of two writers the one that was first goes on. After an
// outcome that nobody knows (the answer was lost) it reads the ledger and compares bytes before it does anything else.
//
// # Truth before rules
//
// Only what cannot be true or cannot be read is refused. A pick inside an interval, a rate over the label's, a tree that
// nobody planted are recorded as they happened. The folds flag them.
package record
