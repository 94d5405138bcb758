package sense

import (
	"context"
	"fmt"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"latewood/events"
	"latewood/events/canon"
)

// start is the invented moment at which the tests begin.
var start = time.Date(2026, 1, 15, 22, 0, 0, 0, time.UTC)

// stream is a raw stream in memory, with a clock that the test sets.
type stream struct {
	mu       sync.Mutex
	now      time.Time
	messages []Message
	first    uint64 // the oldest that is still there
	given    int
	done     uint64
	fail     error // of Done
}

func newStream() *stream { return &stream{now: start, first: 1} }

// send puts a message in at the clock's time.
func (s *stream) send(topic, body string) uint64 {
	s.mu.Lock()
	defer s.mu.Unlock()
	seq := uint64(len(s.messages) + 1)
	s.messages = append(s.messages, Message{Seq: seq, Topic: topic, Body: []byte(body), At: s.now})
	return seq
}

func (s *stream) tick(d time.Duration) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.now = s.now.Add(d)
}

func (s *stream) clock() time.Time {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.now
}

func (s *stream) Next(_ context.Context, most int, _ time.Duration) ([]Message, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.given = max(s.given, int(s.first)-1)
	n := min(most, len(s.messages)-s.given)
	out := slices.Clone(s.messages[s.given : s.given+n])
	s.given += n
	return out, nil
}

func (s *stream) Done(_ context.Context, seq uint64) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.fail == nil {
		s.done = seq
	}
	return s.fail
}

func (s *stream) Get(_ context.Context, seq uint64) (Message, bool, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if seq < s.first || seq > uint64(len(s.messages)) {
		return Message{}, false, nil
	}
	return s.messages[seq-1], true, nil
}

func (s *stream) Tail(_ context.Context, n int) ([]Message, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.given = int(s.done) // a reader that is opened goes back to what is not done
	from := max(int(s.done)-n, int(s.first)-1, 0)
	return slices.Clone(s.messages[min(from, int(s.done)):s.done]), nil
}

func (s *stream) First(context.Context) (uint64, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.first, nil
}

// book is a recorder in memory. Ids of readings follow from what they say, as the ledger's do.
type book struct {
	mu      sync.Mutex
	sited   []string
	ids     map[events.ID]bool
	records []string // station, time and data, in their order
	fail    error
	asked   int
}

func newBook(sited ...string) *book { return &book{sited: sited, ids: map[events.ID]bool{}} }

func (b *book) Record(_ context.Context, proposals []Proposal) ([]Outcome, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.asked++
	if b.fail != nil {
		return nil, b.fail
	}
	door := events.Door{Catalogue: events.Standard(), Farm: "tern-hollow", Zone: time.UTC}
	out := make([]Outcome, len(proposals))
	for i, p := range proposals {
		if !slices.Contains(b.sited, p.Station) {
			out[i].Problems = events.Problems{{Why: say("refuse.required")}}
			continue
		}
		a, problems := door.Check(p.Draft)
		if len(problems) > 0 {
			out[i].Problems = problems
			continue
		}
		id := events.RowID("tern-hollow", a.Kind.Name, a.Draft.Time, "", a.Draft.Data, 0)
		if out[i].Known = b.ids[id]; out[i].Known {
			continue
		}
		b.ids[id] = true
		a.Draft.Data.Drop("station")
		b.records = append(b.records, p.Device+" "+a.Draft.Time+" "+string(canon.Bytes(a.Draft.Data)))
	}
	return out, nil
}

func (b *book) all() []string {
	b.mu.Lock()
	defer b.mu.Unlock()
	return slices.Clone(b.records)
}

// world is a service with all that it works with.
type world struct {
	t    *testing.T
	raw  *stream
	book *book
	file string
	s    *Service
	left []Message // read, and not in a window yet
}

func newWorld(t *testing.T, sited ...string) *world {
	w := &world{t: t, raw: newStream(), book: newBook(sited...), file: filepath.Join(t.TempDir(), "refused.json")}
	w.open()
	return w
}

// open opens the service anew, as after a stop or a crash.
func (w *world) open() {
	w.t.Helper()
	s, err := Open(w.t.Context(), Config{Source: w.raw, Recorder: w.book, List: w.file, Now: w.raw.clock})
	if err != nil {
		w.t.Fatal(err)
	}
	w.s, w.left = s, nil
}

// settle lets the clock run and the service work until all that was sent is done.
func (w *world) settle() error {
	w.raw.tick(3 * time.Second)
	for range 1000 {
		if err := w.s.round(w.t.Context(), &w.left); err != nil {
			return err
		}
		if len(w.left) == 0 && w.raw.given == len(w.raw.messages) {
			return nil
		}
	}
	w.t.Fatal("never settled")
	return nil
}

func (w *world) mustSettle() {
	w.t.Helper()
	if err := w.settle(); err != nil {
		w.t.Fatal(err)
	}
}

// sends sends a message and settles.
func (w *world) sends(topic, body string) uint64 {
	w.t.Helper()
	seq := w.raw.send(topic, body)
	w.mustSettle()
	return seq
}

func (w *world) wantRecords(want ...string) {
	w.t.Helper()
	if got := w.book.all(); !slices.Equal(got, want) {
		w.t.Errorf("recorded\n  %s\nwant\n  %s", strings.Join(got, "\n  "), strings.Join(want, "\n  "))
	}
}

// wantRefused checks the list of the refused: place, kind and how often, as "3 clock", "4 form x2".
func (w *world) wantRefused(want ...string) {
	w.t.Helper()
	check := func(what string, refused []Refusal) {
		w.t.Helper()
		var got []string
		for _, r := range refused {
			line := fmt.Sprint(r.Seq, " ", r.Kind)
			if r.Times > 1 {
				line += fmt.Sprint(" x", r.Times)
			}
			got = append(got, line)
			if r.Why == "" || strings.Contains(r.Why+r.Instead, "⟦") {
				w.t.Errorf("%d: no words: %q, %q", r.Seq, r.Why, r.Instead)
			}
		}
		if !slices.Equal(got, want) {
			w.t.Errorf("%s: refused %q, want %q", what, got, want)
		}
	}
	check("in memory", w.s.Refused())
	onDisk, _, err := Listed(w.file)
	if err != nil {
		w.t.Fatal(err)
	}
	check("on the disk", onDisk)
}

// pack is a pack of one element at a moment.
func pack(at time.Time, name, unit, value string) string {
	return fmt.Sprintf(`[{"bn":"urn:dev:mac:0024befffe804ff1:","t":%d.%03d,"n":%q,"u":%q,"v":%s}]`, at.Unix(), at.Nanosecond()/1e6, name, unit, value)
}

// air is a pack with a temperature.
func air(at time.Time, value string) string { return pack(at, "temperature", "Cel", value) }

// cel is how book tells of a temperature.
func cel(station string, at time.Time, value string) string {
	return fmt.Sprintf(`mqtt-%s %s {"airTemperature":{"unit":"Cel","value":%s}}`, station, stamp(at), value)
}
