// Package proof makes and checks what a stranger needs to believe a ledger: signed checkpoints, the signatures of
// witnesses under them, and proofs that a record stands in a tree and that a tree has only grown. Everything is pure:
// keys, times and random bytes are arguments, and nothing is read or written.
//
// # Reading is strict
//
// Every text here has exactly one form. Base64 is padded, of the standard alphabet, without line breaks and with
// unused bits zero; numbers are decimal without leading zeros; lines end in one newline. So no byte of a checkpoint, a
// proof or a key can change without a refusal, and two programs that read the same bytes see the same thing. Forms that
// others may write differently (several signature lines, extension lines) are taken as their specifications say.
//
// # Keys
//
// A key has a name, which for a ledger is its origin, and a type. Type 1 is Ed25519 over a note's text: it signs
// checkpoints. Type 4 is Ed25519 over a checkpoint and a time: a witness. The id of a key is the first four bytes of
// SHA-256(name, 0x0A, type, public key). Two text forms (C2SP signed-note, v1.0.0):
//
//	NAME+ID+BASE64                a verifier key: id as 8 hex digits, then the base64 of type and public key (33 bytes)
//	PRIVATE+KEY+NAME+ID+BASE64    a secret: the base64 of type and seed (33 bytes)
//
// A key file is one line with a secret, readable for its owner only. A public key also has a PEM form that openssl reads
// ([Key.PEM]): the 12 bytes 302a300506032b6570032100 and the 32 of the key, in base64 between the usual lines (RFC 8410,
// section 4).
//
// # Notes
//
// A signed note is a text that ends in a newline, an empty line, and signature lines (C2SP signed-note, v1.0.0):
//
//	— NAME BASE64                 an em dash; the base64 of key id (4 bytes) and signature
//
// # Checkpoints
//
// A checkpoint is a signed note with this text (C2SP tlog-checkpoint, v1.0.0):
//
//	latewood/tern-hollow-1a2b3c4d                     the origin: which ledger
//	1234                                              the size: how many records
//	3m+Wr1d9DvPM1jWgSp2s4mSGB0yNgNvTb3SbWCNXaWI=      the root of the Merkle tree (RFC 6962, section 2.1)
//
// A witness signs a checkpoint together with a time (C2SP tlog-cosignature, v1.0.1, type 4): the signature is over the
// lines "cosignature/v1" and "time UNIX" and the checkpoint's text, and stands in its line behind 8 bytes of time, big endian.
//
// # Proof files
//
// A proof file shows that one record stands in a checkpoint's tree (C2SP tlog-proof, format @v1; .tlog-proof):
//
//	c2sp.org/tlog-proof@v1
//	extra BASE64                  optional, not authenticated
//	index 41                      from 0: the record's place less one
//	BASE64                        the hashes of the path, from the leaf's sibling upwards
//	                              an empty line
//	...                           the checkpoint as it was signed
//
// The record itself travels beside it. A consistency file shows that an older tree is the beginning of a newer one; C2SP
// has no format for it, so this one is ours, in the same manner:
//
//	latewood-consistency/v1
//	from 1000
//	to 1234
//	BASE64                        the hashes of the path (RFC 9162, section 2.1.4), in order
//
// # What a proof cannot see
//
// The path of a proof fixes its shape, not the size: the same path can be checked against several sizes if the root
// stays the same (RFC 9162, section 2.1.3.2). What binds size and root together is the signature under the checkpoint. So
// nobody should take a size from anywhere but an opened checkpoint; [File.Check] and [OpenCheckpoint] see to it.
//
// This package imports the standard library, golang.org/x/mod and the ledger's contract, so that an inspector can read
// all of it in an afternoon.
package proof
