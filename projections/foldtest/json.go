package foldtest

import (
	"latewood/events"
	"latewood/events/canon"
)

func canonicalJSON(data any) []byte { return canon.Bytes(events.Encode(data)) }
