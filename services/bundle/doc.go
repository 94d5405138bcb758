// Package bundle gives evidence: it makes the file that a farm hands to a packer, an adviser or an inspector for a lot, a
// load, a spray or a block, and checks such files without a ledger at hand.
//
// # Giving
//
// [Giver.Give] walks the ledger once, finds which chains and records belong to the subject ([evidence.Walk]), and appends
// evidence.given with the end of each chain: itself the next link of all of them. Then it waits until the seal has that
// record, walks again up to it, since others may have come between, and makes the file. If we crash between, the
// evidence.given stands in the ledger and nobody has the file: the next call appends another.
//
// Names are opened for the owner only and only of people whose commitments stand in the records shown; access.granted says
// so in the ledger, before the file is made.
//
// # The first page
//
// [Page] is what the page says, as a value; page.html is what it looks like. It tells what the records say with their
// corrections, how late they came, and which devices were not heard. It is signed with the rest, but it is the farm's
// summary: what is proved is the records.
package bundle
