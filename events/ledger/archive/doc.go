// Package archive keeps the sealed records of a ledger in plain files: the second full copy, in an open format, outside
// the broker's store. It is a folder that any web server can serve (C2SP tlog-tiles, v0.1.0), and every record read from
// it is checked against the signed tree before it is handed out.
//
// # The folder
//
//	checkpoint                   the newest signed checkpoint (see package proof)
//	checkpoints                  every checkpoint that was ever published, each followed by an empty line
//	tile/entries/<N>             bundles of 256 records: each as its length in two bytes, big endian, and its bytes
//	tile/0/<N>                   tiles of 256 leaf hashes, 32 bytes each
//	tile/1/<N>, tile/2/<N>, ...  tiles of 256 hashes, each over a full tile of the level below
//	tile/.../<N>.p/<W>           the same with W records or hashes, for the right edge of the tree
//	tail                         the records that stand in no full bundle yet
//
// <N> counts from 0, in groups of three digits: 1234067 is x001/x234/067. Of the partial files those of the newest
// checkpoint and of the one before it are kept; [Archive.Handler] serves all.
//
// The file tail is not for others. It begins with the line "latewood tail 1", the index of its first record (8 bytes, big
// endian, a multiple of 256) and a checksum over the two; then, for each record, its length (2 bytes), a checksum (4 bytes)
// and its bytes. Checksums are CRC-32C; a record's is over its index (8 bytes) and its bytes.
//
// # What is promised
//
// A record is sealed when a checkpoint over it was published: then it is on the disk here, synced, and so is everything that
// proves it. What was appended and not sealed is a convenience. After a crash some of it may be gone, and whoever feeds the
// archive brings it again from the ledger, from [Archive.Size] on.
//
// Nothing is handed out that does not fit the newest checkpoint. In memory stands one hash for each 256 records, checked
// against the signed root when the archive is opened; a bundle that is read is hashed and compared with its own. So a
// flipped bit on the disk is a [DamageError] that names file and records, never a wrong record.
//
// # Damage
//
// [Open] refuses an archive that is damaged where it looks, and changes nothing. [Check] looks everywhere and names every
// file and record. [Repair] makes tiles of hashes again from the records, and records from another copy, and writes only
// what leads to the signed root. A damaged bundle that Open did not look at is found when it is read.
//
// # Crashes
//
// Every step of writing says what a crash before it leaves; see [Archive.Publish]. The tests cut the work off at each of
// them, take away what was not synced yet, and open what is left.
package archive
