// Package remind turns dates that the ledger knows into a calendar (iCalendar, RFC 5545) that a phone or an office program
// reads: the ends of intervals, and the closures that are planned.
//
// An entry keeps its UID for ever, and its SEQUENCE rises with every correction, so that a calendar that is read again moves
// the entry instead of showing it twice; what no longer holds stays in for a while as cancelled, so that it goes away there as
// well. Lines end with CRLF and are folded at 75 octets. Every text ends with the sentence that the label and the local rules
// decide: an entry in a calendar is read without its program.
package remind
