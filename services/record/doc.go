// Package record takes proposed records into a farm's ledger. It is the only writer.
//
// What comes in is checked strictly at the door (events.Door), outside of any lock and by as many goroutines as there are
// callers. What depends on the place in the ledger, the chains, the time of recording, whether the id is known already,
// is the committer's: one goroutine a farm, which splices those attributes into the canonical bytes, appends, and answers.
//
// # The promise
//
// A Receipt with a place says that the record stands there, on disk, synced, for ever. No answer, or an error, says
// nothing: the same proposal with the same id may be sent again, as often as anyone likes, and is recorded once. (Two
// errors say more: that of the caller's own context, and ErrStopped. Then nothing of the call was recorded.)
//
// The committer knows the ledger's last place and sends it along with each append. If somebody else has appended in
// between, the ledger refuses, and the committer stops for good: of two writers the one that was first goes on. After an
// outcome that nobody knows (the answer was lost) it reads the ledger and compares bytes before it does anything else. What
// it does not find there may still be on its way. So it remembers it until something else stands in that place, and does
// not take its own late record for another writer's.
//
// # Calls that wait together
//
// What waits is judged and made in one run, in the order in which it came, each record on top of those before it: a call
// may hold a record, its correction and the correction of that. A run of a few records is appended one by one, a longer one
// as an atomic batch. Each caller is told what became of its own; if the store fails in the middle, those whose records
// stand by then have their receipts.
//
// # What waits for what is not here
//
// Devices send in any order. A correction or withdrawal of a record, or of a version, that is not here is recorded and
// waits; nothing that comes between is refused for it. Refused is the second follower of one version, and whatever comes
// once a withdrawal hangs together with its record through all versions between. So as long as writers do not contradict
// each other, the same records are taken in whatever order they come (services/internal/histories tries that).
//
// # Truth before rules
//
// Only what cannot be true or cannot be read is refused. A pick inside an interval, a rate over the label's, a tree that
// nobody planted are recorded as they happened. The folds flag them.
package record
