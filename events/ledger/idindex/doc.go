// Package idindex remembers for ever at which place the record with a given id stands, so that the same id is recorded
// once and answered with its first place, however late it comes again: a phone that was in a drawer for two seasons, a
// file imported a second time.
//
// # How it lies on disk
//
// Ids added since the last flush are in memory: the tail. A flush writes the tail as a run, a file that is sorted by id and
// never changed:
//
//	pages     4096 bytes each: 170 entries of 24 bytes (id 16, place 8, big endian), 12 bytes of zero, CRC-32C (4)
//	fences    the first id of each page, 16 bytes each
//	filter    a Bloom filter over the ids, 10 bits an id, 7 probes: of 1000 ids that are not there, about 8 look as if
//	trailer   64 bytes: see trailer
//
// Fences and filters are held in memory, about 1.4 bytes a record; everything else stays on disk. A lookup asks the
// filters, and where one says maybe, reads one page.
//
// A run is named after the places that it covers, from and to: the ids of all records behind from, up to and including to.
// The runs of an index follow one another: 0 to a, a to b, b to c. When there are more than eight, the newest are merged
// into one, with more of the older the smaller they are, so that each entry is written again only a few times.
//
// # It can always be thrown away
//
// Everything here is also in the ledger. So the index has no repair: a run that is damaged, of another format, or out of
// line is deleted with all behind it, and Open says up to which place the index still knows. The caller adds the rest
// from the ledger. The same happens when a page turns out damaged in the middle of work: the call returns ErrDamaged,
// and the next Open starts from what is left. Who restores or replaces a ledger deletes the folder, or calls Reset: the
// index cannot know that the same places now hold other records.
//
// Nothing that a crash can leave behind is worse than that. A run exists only whole (written beside, synced, renamed), and
// a crash between writing a merged run and deleting its parts leaves both, of which Open takes the longer.
package idindex
