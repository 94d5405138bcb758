// Package seal keeps the sealed copy of a farm's ledger: it follows the stream, appends the bytes of each record to the
// archive, and signs checkpoints.
//
// # The promise
//
// Acknowledged means: on the disk of the stream. Sealed means: in two stores, under a signature. A record is sealed at most a
// second after it was acknowledged, or when 1,000 wait, whatever is first, and everything is when the program stops.
//
// # What is signed
//
// Tiles are a pure function of the stream, so a sealer needs no fence: two of them make the same files. What must not happen
// is a second history, so a checkpoint is signed only if it extends the newest one that is published (compare and set): the
// archive's own records under that checkpoint give its root, and the new tree begins with them. [archive.Archive.Publish]
// compares once more before it writes.
//
// # Crashes
//
// Each step says at its place in the code what a crash before it leaves. In short: the stream has everything that was
// acknowledged; the archive has a beginning of it; the next start goes on where the archive ends.
//
// # Keys
//
// A [Ring] is the folder with the ledger's keys. The secret is one line in a file for its owner only; beside it stand the
// verifier keys of all secrets that the ledger ever had, for its history was signed with them. Changing the key is told at
// [Ring.Prepare].
package seal
