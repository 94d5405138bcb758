package projections

import (
	"latewood/events"
	"latewood/events/canon"
)

// canonical is the canonical JSON of a kind's data.
func canonical(data any) []byte { return canon.Bytes(events.Encode(data)) }
