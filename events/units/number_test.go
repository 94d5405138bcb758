package units_test

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"testing"

	"latewood/events/units"
)

// Source: RFC 8785, appendix B, the table of IEEE 754 doubles and their JSON text; written down from memory,
// and each line agrees with the engine of the second table below.
func TestFormatNumberRFC8785(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		bits uint64
		want string
	}{
		{0x0000000000000000, "0"},
		{0x8000000000000000, "0"},
		{0x0000000000000001, "5e-324"},
		{0x8000000000000001, "-5e-324"},
		{0x7fefffffffffffff, "1.7976931348623157e+308"},
		{0xffefffffffffffff, "-1.7976931348623157e+308"},
		{0x4340000000000000, "9007199254740992"},
		{0xc340000000000000, "-9007199254740992"},
		{0x4430000000000000, "295147905179352830000"},
		{0x44b52d02c7e14af5, "9.999999999999997e+22"},
		{0x44b52d02c7e14af6, "1e+23"},
		{0x44b52d02c7e14af7, "1.0000000000000001e+23"},
		{0x444b1ae4d6e2ef4e, "999999999999999700000"},
		{0x444b1ae4d6e2ef4f, "999999999999999900000"},
		{0x444b1ae4d6e2ef50, "1e+21"},
		{0x3eb0c6f7a0b5ed8c, "9.999999999999997e-7"},
		{0x3eb0c6f7a0b5ed8d, "0.000001"},
		{0x41b3de4355555553, "333333333.3333332"},
		{0x41b3de4355555554, "333333333.33333325"},
		{0x41b3de4355555555, "333333333.3333333"},
		{0x41b3de4355555556, "333333333.3333334"},
		{0x41b3de4355555557, "333333333.33333343"},
		{0xbecbf647612f3696, "-0.0000033333333333333333"},
		{0x43143ff3c1cb0959, "1424953923781206.2"},
		{0x7ff8000000000000, ""}, // NaN
		{0x7ff0000000000000, ""}, // infinity
		{0xfff0000000000000, ""},
	} {
		if got := units.FormatNumber(math.Float64frombits(tt.bits)); got != tt.want {
			t.Errorf("%016x: got %q, want %q", tt.bits, got, tt.want)
		}
	}
}

// Source: String(x) of an ECMAScript engine (V8, node 20) for doubles drawn at random and at the edges of the
// format, in testdata/es_numbers.csv as the bits in hexadecimal and the text.
func TestFormatNumberECMAScript(t *testing.T) {
	t.Parallel()
	f, err := os.Open("testdata/es_numbers.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	if len(rows) < 1000 {
		t.Errorf("rows: got %d, want at least 1000", len(rows))
	}
	for _, row := range rows[1:] {
		bits, err := strconv.ParseUint(row[0], 16, 64)
		if err != nil {
			t.Fatal(err)
		}
		if got := units.FormatNumber(math.Float64frombits(bits)); got != row[1] {
			t.Errorf("%s: got %q, want %q", row[0], got, row[1])
		}
	}
}

func TestAppendNumberKeepsWhatStandsThere(t *testing.T) {
	t.Parallel()
	if got, want := string(units.AppendNumber([]byte(`{"value":`), -12.05)), `{"value":-12.05`; got != want {
		t.Errorf("got %s, want %s", got, want)
	}
}
