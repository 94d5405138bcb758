package foldtest

import "time"

// Next is the recordedtime that the next record will get: what a devicetime is held against.
func (f *Farm) Next() time.Time { return f.clock.Add(time.Second) }
