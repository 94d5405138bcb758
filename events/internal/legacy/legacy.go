// Package legacy makes data of old versions of records into data of the version after: what a record meant stays readable
// when the kinds have moved on.
//
// There is one function a retired version, named by its kind and the version that it reads: WaterWithheld1 makes version 1
// of water.withheld into version 2. Version 3 would get a WaterWithheld2; nobody touches the first again. Each works on raw
// JSON, so that the Go types of old versions need not live on, and is pure: the same bytes give the same bytes, for ever and
// on every machine. So it leans on nothing that may change either. Units and words that an old text is read with are listed
// beside the function, not taken from the tables of today.
//
// What comes out must be in the normal form of the next version (codes and names as the door writes them, nothing empty),
// where what went in was in that of its own; a sample of the old version, frozen for ever, holds it to that. Data that is not of the
// version that a function reads gives an error, which the reader reports and does not pass over.
//
// The table of which function leads where is standardSteps in package events.
package legacy
