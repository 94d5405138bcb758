// Package projections turns the ledger into answers. Its folds are pure: the same records give the same state to the
// byte, on any machine, in whatever order the records came.
//
// # From records to facts
//
// A Book holds what a prefix of the ledger says. Records go in as they come (Add). Out come facts: a Fact is one record
// as it stands now, with the latest correction's data and time, or withdrawn. Three rules make that independent of the
// order of arrival:
//
//   - A correction or withdrawal that comes before its record waits, and counts when the record comes.
//   - Facts are sorted by effective time, then by the record's own id. Places and recordedtimes order nothing.
//   - Of two corrections that follow one version (only a restore can bring that), the one with the higher id counts, and
//     the fact is marked as forked.
//
// # Keys, views and folds
//
// A fold computes the state of one key, a block, a station, a lot or a load, from that key's facts. It gets a View: the facts, the trees
// that stand in the block, the labels that sprays name, the settings of a day. The Book knows which facts belong to which
// key and which keys lean on which records, marks a key dirty when something under it moves, and computes its state when
// somebody asks. So a thousand records that touch one block cost one fold.
//
// Formally: for a fold F, a key K and a set R of records, state(F, K) is a function of the effective facts of R that
// concern K, of the facts that those name by id, and of the farm-wide facts (farm.opened, setting.adopted,
// season.named). In plain words: nothing else can change the answer.
//
// # To add a fold
//
//  1. Make a package named by a noun, with a State that encoding/json writes in one way only (no maps with floats as
//     keys, no pointers into facts).
//  2. Write func(*projections.View) *State, and wrap it with projections.NewFold: name, version, class of key.
//  3. Put questions about a day on State as methods with the day as an argument. A fold has no clock.
//  4. Raise the version whenever the same facts would give other bytes: stored snapshots are then thrown away.
//  5. List it in services/project, and give it a test that shuffles arrival (projections/foldtest).
package projections
