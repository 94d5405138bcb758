// Package jetlog is a ledger in a NATS JetStream stream. It cannot tell whether the broker is in this process or a cluster
// elsewhere. It is the only package that makes JetStream's append and read calls for a ledger.
//
// # How a ledger lies in JetStream
//
// The farm "tern-hollow" has the stream LATEWOOD_tern-hollow with the subjects latewood.tern-hollow.>; a record of kind
// spray.applied is a message on latewood.tern-hollow.spray.applied. The stream sequence of a message is the record's
// place, its payload is the record's bytes. Headers are the broker's affair and are not part of a record. Deleting and
// purging are denied and no limit ever takes a message out, so sequences are places: 1, 2, 3, ...
//
// # What JetStream does not do by itself
//
// It acknowledges before syncing unless its server is told to sync always. natsbox tells its own; for a server
// elsewhere that is the operator's part (sync_interval: always), because a client cannot see it.
//
// It delivers around a damaged record without a word (nats-server issue 8632, open when this was written). So every
// reader here compares each sequence with the one before. A gap can also be a delivery that was lost on the way, so
// the stream itself is asked for the missing sequence before a HoleError is given.
//
// It keeps a configuration that anyone with rights can change later: an update that lets messages expire is accepted
// even on a stream that denies deletes. So Open compares the whole configuration, each time, and refuses any other.
//
// Its message ids remember for a short window only, and a longer one makes every start slower. So none are set, the
// window is the shortest that the server takes, and an append is fenced by the last sequence instead.
//
// # Appending
//
// One entry is one publish with an expected last sequence. Several entries are one atomic batch (NATS 2.12 and later, at
// most 1000 messages) whose first message carries it: all or none. A batch costs a few milliseconds however small
// it is; the benchmarks in this package say from where on it pays.
//
// When the disk fails under a server, it does not answer at all. Every call therefore has a time limit, an unanswered
// append is ErrUnknownOutcome, and Options.Health can say that the store is to blame.
package jetlog
