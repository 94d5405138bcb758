// Package house keeps the laws of the house, as tests. It has no other code.
//
//	imports_test.go     who may import whom, and which one package speaks to which big dependency
//	rooms_test.go       one doc a package, no clock and no I/O in the pure rooms, no init, names, file sizes
//	top_test.go         what may stand at the top of the repository, what no file may contain
//	keys_test.go        each key of the catalogue is used, each use has a key and fitting placeholders
//	sentences_test.go   no sentence for a user outside the catalogue
//	claims_test.go      words that this program never says
//
// Each law is a function from a tree of files to the list of what breaks it. A test runs it on this repository, and a
// second one on a small planted tree that breaks it, so that a law that stopped looking is noticed. The tables in these
// files are the place where a law is changed: every line carries its reason.
//
// Two small commands live below: tally reads the output of go test and counts, release packs the archives.
package house
