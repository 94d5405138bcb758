// Package register keeps the people of a farm: names, phone numbers, certificates. It stands beside the ledger and not in
// it, because the two must obey opposite laws. What the ledger holds can never be taken back; a person's name has to be
// erasable once no law wants it any more.
//
// # What joins the two
//
// A record names a person by a pseudonym, 128 random bits that say nothing about anybody. Where the law wants the name (who
// applied a restricted product, 7 CFR 110.3(a)) the record also carries a commitment: SHA-256 over 32 random bytes, the
// salt, and the canonical {certificate, name}. Whoever is shown name, number and salt can check them against the record.
// Whoever is not learns nothing, not even by trying all names, for the salt cannot be guessed. When salt and name are
// erased the record still verifies, and leads to nobody.
//
// People do not write pseudonyms. Each person has a tag, as P07, printed on a card; forms and sheets take the tag (or the
// name, which the register looks up), and the pseudonym is stored. A tag is never given to another person.
//
// # The files
//
//	register.json     the persons, written whole; readable by its owner only, else the register does not open
//	erasures.json     one erasure a line, appended and synced before a name goes
//
// The second file is kept apart from the first on purpose. A backup of the register brings back names that were erased
// after it was made; when the register is opened, every erasure in the list is made again. The ledger has a
// person.forgotten record for each erasure, so that the list can be made anew from it (Reapply).
//
// # Corrections
//
// A name that was written wrong is corrected here, and only here. Records made before carry a commitment to the name as it
// stood; the earlier name and salt are kept beside the new ones until the person is erased, so that these records can still
// be shown for what they are.
//
// The disk is not wiped: a file system may keep old blocks of a file that was written anew. Whoever needs more than that
// encrypts the disk.
package register
