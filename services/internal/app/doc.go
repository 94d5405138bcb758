// Package app puts the program together: it starts the broker, opens the farms of a folder, runs the services of each,
// and offers everything that a command or a page can ask for as operations.
//
// It imports the world, and only services/latewood may import it. Nothing else joins two services: whoever wonders how a
// record gets from a file to a fold reads farm.go from top to bottom.
//
// # The folder
//
//	latewood.lock        held while a process has the folder open; released by its death
//	run.json             port and tokens of that process, while it runs (0600)
//	broker/              the broker's own store
//	farms/CODE/people/   the owner's pseudonym, the register of people, the list of erasures (services/register)
//	farms/CODE/folds/    caches: the recorder's state, the index of ids, the snapshot of the folds
//	farms/CODE/files/    what records point to (services/attach)
//	sensors/             the stations' logins (0600) and the list of refused readings (services/sense)
//	farms/CODE/archive/  keys/   for the seal and its keys
//
// Everything under folds/ can be deleted; the next start makes it again from the ledger.
package app
