package projections

import (
	"time"

	"latewood/events"
	"latewood/events/civil"
)

// A Knowledge says whose knowledge of when an answer is asked for. The zero value is all that the ledger holds.
type Knowledge struct {
	By      time.Time // zero: now
	Claimed bool      // by what the writers claim, not by when the ledger took it
}

// Strict is all that the ledger had taken by a moment: for audits and lateness.
func Strict(by time.Time) Knowledge { return Knowledge{By: by} }

// Claim is all that was written down by a moment as its writers claim: for replays and hindcasts. Never for evidence.
func Claim(by time.Time) Knowledge { return Knowledge{By: by, Claimed: true} }

// Takes reports whether a record was known, and whether that had to be assumed.
//
// In the strict sense it is known from its recordedtime on; as those never fall, that is a prefix of the ledger. In the
// claimed sense it is known from notedtime on, else from recordedtime; but a record that came in a batch without a claim
// is taken as known by the end of the civil day of its time (of the instant before it, where the record speaks for an
// interval): a spreadsheet that was taken in years later did not make anybody learn of the pick only then.
func (k Knowledge) Takes(r *events.Record, zone *time.Location) (known, assumed bool) {
	if k.By.IsZero() {
		return true, false
	}
	if !k.Claimed {
		return !r.Recorded.After(k.By), false
	}
	if !r.Noted.IsZero() {
		return !r.Noted.After(k.By), false
	}
	if r.Envelope.Batch == "" {
		return !r.Recorded.After(k.By), false
	}
	at := r.Time
	if r.Kind == "weather.read" { // a reading speaks for the time before its own
		at = at.Add(-time.Millisecond)
	}
	return !civil.DayEnd(civil.DateOf(at, zone), zone).After(k.By), true
}
