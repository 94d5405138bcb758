package events

import (
	"fmt"

	"github.com/segmentio/encoding/json"
)

// Raw is JSON kept as it stands.
type Raw = json.RawMessage

// ReadJSON reads canonical JSON into a Go value. It is lenient on purpose: the door (Check) has refused what is wrong
// before it was stored, and a reader keeps quiet about optional fields that a newer version added.
func ReadJSON(b []byte, into any) error {
	if err := json.Unmarshal(b, into); err != nil {
		return fmt.Errorf("events: decode: %w", err)
	}
	return nil
}

// WriteJSON writes a Go value as JSON, members in the order of the struct's fields and the keys of maps sorted.
func WriteJSON(v any) ([]byte, error) { return json.Append(nil, v, json.SortMapKeys) }
