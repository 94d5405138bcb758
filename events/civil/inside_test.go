package civil

import (
	"testing"
	"time"
)

// nextChange must find the second of a move, and end where there is none.
func TestNextChange(t *testing.T) {
	t.Parallel()
	loc, err := Zone("America/New_York")
	if err != nil {
		t.Fatal(err)
	}
	move := time.Date(2026, 11, 1, 6, 0, 0, 0, time.UTC).Unix()
	const summer, winter = -4 * 3600, -5 * 3600
	for _, tt := range []struct {
		name         string
		from, offset int64
		want         int64
	}{
		{"a second before", move - 1, summer, move},
		{"half an hour before", move - 1800, summer, move},
		{"a day before", move - 86400, summer, move},
		{"behind it there is none", move, winter, move + 48*3600},
	} {
		if got := nextChange(tt.from, tt.offset, loc); got != tt.want {
			t.Errorf("%s: got %d, want %d", tt.name, got, tt.want)
		}
	}
}
