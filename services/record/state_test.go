package record_test

import (
	"encoding/binary"
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"

	"latewood/events"
	"latewood/events/ledger"
	"latewood/services/record"
)

// grown is a ledger with records in many chains, and the state of it.
func grown(t *testing.T) (*rig, []*events.Record) {
	t.Helper()
	r := newRig(t)
	r.open()
	r.one(proposal(id(50), "", packed("L17", id(1), id(2))))
	r.one(proposal(id(51), "", packed("L18", id(2))))
	for i := range 30 {
		r.one(pick(id(i), float64(i+1), fmt.Sprint("b", i%7), "north"))
	}
	r.one(proposal("", "", sprayed("north", "south")))
	r.check()
	return r, r.records()
}

func TestStateSaved(t *testing.T) {
	t.Parallel()
	r, records := grown(t)
	for cut := range len(records) + 1 {
		s := record.NewState()
		for _, rec := range records[:cut] {
			if err := s.Apply(rec); err != nil {
				t.Fatal(err)
			}
		}
		back, err := record.LoadState(strings.NewReader(saved(t, s)))
		if err != nil {
			t.Fatalf("at %d: %v", cut, err)
		}
		if back.Size() != s.Size() || back.Root() != s.Root() || back.First != s.First || back.LastLeaf != s.LastLeaf || !back.Recorded.Equal(s.Recorded) || back.Origin(farm) != s.Origin(farm) {
			t.Errorf("at %d: %+v, want %+v", cut, back, s)
		}
		for _, rec := range records[cut:] { // it goes on as the one that was saved
			if err := back.Apply(rec); err != nil {
				t.Fatal(err)
			}
		}
		if saved(t, back) != saved(t, r.state) {
			t.Errorf("loaded at %d and gone on, it is another state", cut)
		}
	}
}

func TestStateDamaged(t *testing.T) {
	t.Parallel()
	r, _ := grown(t)
	good := saved(t, r.state)
	n := 0
	refused := func(text, what string) {
		t.Helper()
		n++
		if _, err := record.LoadState(strings.NewReader(text)); !errors.Is(err, record.ErrState) {
			t.Errorf("%s: got %v, want ErrState", what, err)
		}
	}
	for i := range good {
		flipped := []byte(good)
		flipped[i] ^= 1 << (i % 8)
		refused(string(flipped), fmt.Sprintf("byte %d flipped", i))
	}
	for i := 0; i < len(good); i += 7 {
		refused(good[:i], fmt.Sprintf("cut at %d", i))
	}
	refused(good+"x", "a byte behind")
	refused(good+good, "twice")
	// With a checksum that is right: what cannot have been written is refused all the same.
	signed := func(body string) string {
		sum := ledger.LeafHash([]byte(body))
		return body + string(sum[:])
	}
	body := good[:len(good)-32]
	for i := 20; i < len(body); i++ {
		refused(signed(body[:i]), fmt.Sprintf("cut at %d, signed", i))
	}
	refused(signed(body+"x"), "a byte behind, signed")
	refused(signed(strings.Replace(body, "recorder 2", "recorder 1", 1)), "another version")
	if _, err := record.LoadState(errReader{}); !errors.Is(err, record.ErrState) || !errors.Is(err, errDisk) {
		t.Errorf("a file that cannot be read: %v", err)
	}
	t.Logf("counts: %d damaged states of %d bytes", n, len(good))
}

type errReader struct{}

func (errReader) Read([]byte) (int, error) { return 0, errDisk }

func FuzzLoadState(f *testing.F) {
	r := newRig(f)
	r.open()
	r.one(pick("", 1))
	r.stop()
	good := saved(f, r.state)
	f.Add([]byte(good[:len(good)-32]))
	f.Add([]byte("latewood recorder 1\n"))
	f.Fuzz(func(t *testing.T, body []byte) {
		sum := ledger.LeafHash(body)
		s, err := record.LoadState(strings.NewReader(string(body) + string(sum[:])))
		if err != nil {
			if !errors.Is(err, record.ErrState) {
				t.Fatalf("got %v, want ErrState", err)
			}
			return
		}
		// What loads can be used and saved, and is then the same.
		text := saved(t, s)
		again, err := record.LoadState(strings.NewReader(text))
		if err != nil || saved(t, again) != text || again.Size() != s.Size() || again.Root() != s.Root() {
			t.Fatalf("saved again: %v", err)
		}
	})
}

func TestApplyRefuses(t *testing.T) {
	t.Parallel()
	_, records := grown(t)
	at := len(records) - 1 // the spray: in inputs/north, inputs/south and its own chain
	build := func() *record.State {
		s := record.NewState()
		for _, rec := range records[:at] {
			if err := s.Apply(rec); err != nil {
				t.Fatal(err)
			}
		}
		return s
	}
	// remade is the last record with another envelope.
	remade := func(change func(*events.Envelope)) *events.Record {
		rec := *records[at-1]
		change(&rec.Envelope)
		made, err := events.ParseRecord(rec.Place, rec.Envelope.AppendCanonical(nil, rec.Data))
		if err != nil {
			t.Fatal(err)
		}
		return made
	}
	before := func() *record.State {
		s := record.NewState()
		for _, rec := range records[:at-1] {
			if err := s.Apply(rec); err != nil {
				t.Fatal(err)
			}
		}
		return s
	}
	links, err := events.ParseChains(records[at-1].Envelope.Chains)
	if err != nil {
		t.Fatal(err)
	}
	relinked := func(change func([]events.Link)) *events.Record {
		return remade(func(e *events.Envelope) {
			own := append([]events.Link(nil), links...)
			change(own)
			e.Chains = events.FormatChains(own)
		})
	}
	tests := []struct {
		name string
		rec  *events.Record
	}{
		{"the place after next", func() *events.Record { r := *records[at]; return &r }()},
		{"a place that is taken", records[at-2]},
		{"recorded before the one in front", remade(func(e *events.Envelope) { e.RecordedTime = events.RecordedAt(day.Add(-time.Hour)) })},
		{"a chain's place too high", relinked(func(l []events.Link) { l[0].Place++ })},
		{"a chain's place too low", relinked(func(l []events.Link) { l[0].Place-- })},
		{"another hash before", relinked(func(l []events.Link) { l[1].Prev[0]++ })},
		{"a new chain that does not begin at 1", relinked(func(l []events.Link) { l[0].Chain = "picks/aaa" })},
		{"an old chain that begins again", relinked(func(l []events.Link) { l[0].Place, l[0].Prev = 1, [32]byte{} })},
		{"no chains", remade(func(e *events.Envelope) { e.Chains = "" })},
		{"not a list of chains", remade(func(e *events.Envelope) { e.Chains = "picks/north" })},
	}
	for _, tt := range tests {
		s := before()
		was := saved(t, s)
		if err := s.Apply(tt.rec); !errors.Is(err, record.ErrChain) {
			t.Errorf("%s: got %v, want ErrChain", tt.name, err)
		}
		if saved(t, s) != was {
			t.Errorf("%s: the state moved", tt.name)
		}
		if err := s.Apply(records[at-1]); err != nil {
			t.Errorf("%s: the right record afterwards: %v", tt.name, err)
		}
	}
	if s := build(); s.Apply(records[at]) != nil || s.Size() != uint64(len(records)) {
		t.Error("the ledger as it stands was refused")
	}
}

func TestOrigin(t *testing.T) {
	t.Parallel()
	s := record.NewState()
	binary.BigEndian.PutUint32(s.First[:], 0x0a1b2c3d)
	if got, want := s.Origin(farm), "latewood/tern-hollow-0a1b2c3d"; got != want {
		t.Errorf("origin %s, want %s", got, want)
	}
	if s.Size() != 0 || !s.Recorded.IsZero() {
		t.Errorf("an empty ledger: %d, %v", s.Size(), s.Recorded)
	}
}
