// Package histories holds no code, only the proof that records mean the same in whatever order they come.
//
// Its tests make up histories of a farm, of every kind of record there is, written by several people and devices at once;
// send them through the real recorder in several orders; and hold against each other what all folds say in the end.
package histories
