package events_test

import (
	"crypto/sha256"
	"encoding/base64"
	"errors"
	"fmt"
	"math/big"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"latewood/events"
	"latewood/events/canon"
)

// The example of RFC 9562 appendix A.6: 2022-02-22T19:22:22Z, rand_a 0xCC3, rand_b 0x18C4DC0C0C07398F.
func TestNewID(t *testing.T) {
	t.Parallel()
	// rand_a fills the low 12 of the first two bytes, rand_b the low 62 of the other eight; the six bits above them are
	// the version and the variant, and must not show whatever the random bytes hold there.
	for _, high := range []byte{0x0, 0xf} {
		random := [10]byte{high<<4 | 0x0c, 0xc3, high<<6 | 0x18, 0xc4, 0xdc, 0x0c, 0x0c, 0x07, 0x39, 0x8f}
		id := events.NewID(time.Date(2022, 2, 22, 19, 22, 22, 0, time.UTC).UnixMilli(), random)
		if got, want := id.String(), "017f22e2-79b0-7cc3-98c4-dc0c0c07398f"; got != want {
			t.Errorf("NewID: got %s, want %s", got, want)
		}
		if id.Version() != 7 || id.IsZero() {
			t.Errorf("version: got %d", id.Version())
		}
	}
}

func TestParseID(t *testing.T) {
	t.Parallel()
	want := "017f22e2-79b0-7cc3-98c4-dc0c0c07398f"
	for _, s := range []string{want, strings.ToUpper(want)} {
		id, err := events.ParseID(s)
		if err != nil || id.String() != want {
			t.Errorf("ParseID(%s): got %s, %v", s, id, err)
		}
	}
	for _, bad := range []string{"", want[1:], want + "0", "{" + want[2:] + "}", strings.Replace(want, "-", "", 1) + "0", strings.Replace(want, "7cc3", "7cg3", 1),
		"017f22e27-9b0-7cc3-98c4-dc0c0c07398f", "urn:uuid:" + want} {
		if id, err := events.ParseID(bad); !errors.Is(err, events.ErrBadID) || !id.IsZero() {
			t.Errorf("ParseID(%q): got %s, %v, want ErrBadID", bad, id, err)
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		a, b := gen{t: t}.id(), gen{t: t}.id()
		back, err := events.ParseID(a.String())
		if err != nil || back != a {
			t.Fatalf("ParseID(%s): got %s, %v", a, back, err)
		}
		if a.Less(b) != (a.String() < b.String()) {
			t.Fatalf("%s and %s: the order of the ids is not that of their texts", a, b)
		}
	})
}

// layout does RFC 9562 section 5.8 by the book, on a whole number of 128 bits: custom_a is bits 0 to 47, then the version in
// four bits, custom_b bits 52 to 63, the variant in two, custom_c bits 66 to 127. Bits count from the left.
func layout(digest [32]byte) string {
	whole := new(big.Int).SetBytes(digest[:])
	take := func(first, last int) *big.Int { // bits first to last of the digest, counted from the left
		n := new(big.Int).Rsh(whole, uint(255-last))
		return n.And(n, new(big.Int).Sub(new(big.Int).Lsh(big.NewInt(1), uint(last-first+1)), big.NewInt(1)))
	}
	id := new(big.Int)
	put := func(n *big.Int, bits uint) { id.Or(id.Lsh(id, bits), n) }
	put(take(0, 47), 48)
	put(big.NewInt(8), 4)
	put(take(48, 59), 12)
	put(big.NewInt(2), 2)
	put(take(60, 121), 62)
	h := fmt.Sprintf("%032x", id)
	return h[:8] + "-" + h[8:12] + "-" + h[12:16] + "-" + h[16:20] + "-" + h[20:]
}

func TestRowIDLayout(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		g := gen{t: t}
		data := canon.ObjectOf(canon.Member{Name: "station", Value: canon.Text(g.text(events.FormCode))}, canon.Member{Name: "rain", Value: g.any(1)})
		n := g.number(0, 1000)
		row := canon.ObjectOf(canon.Member{Name: "time", Value: canon.Text("2026-07-01T00:00:00Z")}, canon.Member{Name: "data", Value: data})
		actor := ""
		if g.coin() {
			actor = g.text(events.FormPerson)
			row.Set("actor", canon.Text(actor))
		}
		all := canon.ListOf(canon.Text("tern-hollow"), canon.Text("weather.read"), row, canon.Num(float64(n)))
		want := layout(sha256.Sum256(canon.Bytes(all)))
		id := events.RowID("tern-hollow", "weather.read", "2026-07-01T00:00:00Z", actor, data, n)
		if id.String() != want || id.Version() != 8 {
			t.Fatalf("RowID: got %s, want %s", id, want)
		}
	})
}

// Frozen vectors, of invented data. Other programs may make these ids; they never change.
func TestRowIDFrozen(t *testing.T) {
	t.Parallel()
	reading := `{"airTemperature":{"unit":"Cel","value":18.5},"interval":3600,"station":"mauka"}`
	for _, tc := range []struct {
		name, farm, kind, time, actor, data string
		n                                   int
		hashed, want                        string
	}{
		{"a reading", "tern-hollow", "weather.read", "2026-01-15T06:00:00-10:00", "", reading, 0,
			`["tern-hollow","weather.read",{"data":` + reading + `,"time":"2026-01-15T06:00:00-10:00"},0]`, "55c34df9-648e-87f6-9eab-6ff5407c4c81"},
		{"the same once more in one file", "tern-hollow", "weather.read", "2026-01-15T06:00:00-10:00", "", reading, 1,
			`["tern-hollow","weather.read",{"data":` + reading + `,"time":"2026-01-15T06:00:00-10:00"},1]`, "8a8234f8-a64b-84a9-b914-627971c2ea5a"},
		{"with an actor", "tern-hollow", "harvest.closed", "2026-07-31T00:00:00-10:00", "w_00112233445566778899aabbccddeeff",
			`{"date":"2026-07-31","where":{"block":"north"}}`, 0,
			`["tern-hollow","harvest.closed",{"actor":"w_00112233445566778899aabbccddeeff","data":{"date":"2026-07-31","where":{"block":"north"}},"time":"2026-07-31T00:00:00-10:00"},0]`, "10527395-e6a3-8a12-9281-7fad315e41c5"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			got := events.RowID(tc.farm, tc.kind, tc.time, tc.actor, parse(t, tc.data), tc.n).String()
			if got != tc.want {
				t.Errorf("got %s, want %s", got, tc.want)
			}
			if by := layout(sha256.Sum256([]byte(tc.hashed))); by != tc.want {
				t.Errorf("by the book, over the bytes written out: got %s, want %s", by, tc.want)
			}
		})
	}
}

// Frozen, of invented data: base64 of SHA-256 over the salt and the canonical claim.
func TestCommitmentFrozen(t *testing.T) {
	t.Parallel()
	var salt [32]byte
	for i := range salt {
		salt[i] = byte(i)
	}
	got := events.Commitment(salt, "HI-PA-00417", "Ione Fernside")
	if want := "GuDvtjH5gHrS3AS5n0vEjjDGV9m20NdqsDQslh9k9eA="; got != want {
		t.Errorf("Commitment: got %s, want %s", got, want)
	}
	sum := sha256.Sum256(append(salt[:], `{"certificate":"HI-PA-00417","name":"Ione Fernside"}`...))
	if by := base64.StdEncoding.EncodeToString(sum[:]); by != got {
		t.Errorf("over the bytes written out: got %s, want %s", by, got)
	}
	if salt[0] != 0 || salt[31] != 31 {
		t.Error("the salt was written to")
	}
}

func TestPseudonym(t *testing.T) {
	t.Parallel()
	p := events.NewPseudonym([16]byte{0x00, 0x11, 0xff})
	if want := "w_0011ff00000000000000000000000000"; p != want || !events.IsPseudonym(p) {
		t.Errorf("got %s, want %s", p, want)
	}
	for _, bad := range []string{"", "w_", "w_0011ff0000000000000000000000000", "w_0011FF00000000000000000000000000", "x_0011ff00000000000000000000000000", "w_0011ff000000000000000000000000000"} {
		if events.IsPseudonym(bad) {
			t.Errorf("IsPseudonym(%q)", bad)
		}
	}
}
