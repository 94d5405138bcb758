// Package evidence makes and checks the file that a farm hands to somebody else for a lot, a load, a spray or a block: the
// records, what shows that they stand in the signed ledger, and what shows that none was left out. Everything is pure:
// there is no clock, no disk and no network here, and the same parts give the same bytes.
//
// # What it shows
//
// Nothing that was recorded for the subject's blocks up to a place is missing or altered since its seal. Whether everything
// that happened was recorded, and truly, this cannot show. Three things carry the first sentence:
//
//   - Inclusion. For each record a path leads from its bytes to the root of a signed checkpoint (package proof).
//   - Chains. Each record names its place in its chains and the hash of the one before, so a record that is left out leaves
//     a hole. The record evidence.given, appended for this very file, is the next link of every chain that is walked, so
//     that the tail cannot be left out either. [Walk] says which chains a subject needs; the checker walks them again over
//     what it got, and takes nobody's word for what is needed.
//   - The manifest, signed with the ledger's key, which binds all parts.
//
// # The container
//
// A file of evidence is a ZIP archive in one form only: parts in byte order of their names, stored and not compressed, every
// field of every header fixed (time 1980-01-01, version 20, no flags, no extra fields, no comments), nothing between or
// behind. [Unpack] reads the parts, makes the archive again and compares. So a byte that is not covered by a hash does not
// exist, and two programs cannot read two different files.
//
//	README.txt                     what it is and how to check it, in plain words
//	checkpoint                     the signed head of the ledger (C2SP tlog-checkpoint)
//	checkpoint.tsr                 optional: a time stamp over checkpoint (RFC 3161)
//	consistency/NNNNNNNNNN         optional: that the checkpoint of that size is the beginning of this one
//	first-page.html                for people
//	first-page.pdf                 optional: the same on paper
//	ledger.vkey                    the key, to compare with one that came another way
//	manifest                       a signed note over all other parts; see type manifest
//	names.json                     optional: names behind commitments, with salts
//	proofs/NNNNNNNNNN.tlog-proof   for each record its path (C2SP tlog-proof); NNNNNNNNNN is the place in the ledger
//	records/NNNNNNNNNN.json        the records, in the bytes that were hashed
//	verify.py                      checks all this with Python's standard library and openssl
//
// # Who may read it
//
// This package imports the standard library, golang.org/x/mod, and packages of ours that do the same; a test holds that. It
// reads records by itself, in another way than package events, so that a checker need not believe the writer's code.
package evidence
