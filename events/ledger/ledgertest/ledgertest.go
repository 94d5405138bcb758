// Package ledgertest is the contract of ledger.Log as tests. Every implementation runs it; what the suite does not ask
// for, no user of a Log may rely on.
package ledgertest

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"testing"
	"time"

	"latewood/events/ledger"
)

// A Harness is one empty ledger and what the suite may do with it.
type Harness struct {
	// Open opens the ledger, and opens it again: a second writer, a reader in another process.
	Open func(t *testing.T) ledger.Log
	// Restart stops all that lies below the log and starts it again. Logs opened before are not used after it. Nil if the
	// log does not promise to outlive that.
	Restart func(t *testing.T)
}

// patience is how long the suite waits for what has to happen. Nothing waits that long in a run that goes well.
const patience = 60 * time.Second

// Run runs the suite. setup makes a fresh ledger for each test of it and cleans up after itself with t.Cleanup.
func Run(t *testing.T, setup func(t *testing.T) Harness) {
	tests := []struct {
		name string
		run  func(*testing.T, Harness)
	}{
		{"empty log", testEmpty},
		{"entries keep their order", testOrder},
		{"wrong last place is refused", testFence},
		{"batch of 1000 is all or nothing", testBatch},
		{"malformed appends are refused", testMalformed},
		{"bodies come back byte for byte", testBytes},
		{"large batch of large bodies", testLarge},
		{"read takes any range", testRanges},
		{"read stops when told to", testReadStops},
		{"read behind the end is a hole", testReadBehindEnd},
		{"follow catches up and stays", testFollow},
		{"follow stops when told to", testFollowStops},
		{"one of many appenders wins", testOneWins},
		{"two writers never interleave", testTwoWriters},
		{"resolve finds what stands", testResolve},
		{"random appends agree with a list", testModel},
		{"restart keeps everything", testRestart},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			tt.run(t, setup(t))
		})
	}
}

// Entries makes n entries that differ from each other and from those with another tag.
func Entries(tag string, n int) []ledger.Entry {
	kinds := []string{"spray.applied", "fruit.picked", "weather.read", "tree.planted"}
	out := make([]ledger.Entry, n)
	for i := range out {
		out[i] = ledger.Entry{Kind: kinds[i%len(kinds)], Body: fmt.Appendf(nil, `{"n":%d,"tag":%q}`, i, tag)}
	}
	return out
}

func testContext(t *testing.T) context.Context {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), patience)
	t.Cleanup(cancel)
	return ctx
}

func mustAppend(t *testing.T, log ledger.Log, expectedLast uint64, entries []ledger.Entry) {
	t.Helper()
	if err := log.Append(testContext(t), expectedLast, entries); err != nil {
		t.Fatalf("append %d entries behind place %d: %v", len(entries), expectedLast, err)
	}
}

// check says whether the log holds exactly want, from place 1 on.
func check(t *testing.T, log ledger.Log, want []ledger.Entry) {
	t.Helper()
	last, err := log.Last(testContext(t))
	if err != nil || last != uint64(len(want)) {
		t.Fatalf("last: got %d, %v, want %d", last, err, len(want))
	}
	checkRange(t, log, 1, 0, want)
}

// checkRange says whether reading first to last yields exactly want, with the places that belong to it.
func checkRange(t *testing.T, log ledger.Log, first, last uint64, want []ledger.Entry) {
	t.Helper()
	n := 0
	for e, err := range log.Read(testContext(t), first, last) {
		if err != nil {
			t.Fatalf("read %d to %d: after %d entries: %v", first, last, n, err)
		}
		if n == len(want) {
			t.Fatalf("read %d to %d: got place %d, want only %d entries", first, last, e.Place, len(want))
		}
		checkEntry(t, e, max(first, 1)+uint64(n), want[n])
		n++
	}
	if n != len(want) {
		t.Fatalf("read %d to %d: got %d entries, want %d", first, last, n, len(want))
	}
}

func checkEntry(t *testing.T, got ledger.Entry, place uint64, want ledger.Entry) {
	t.Helper()
	if got.Place != place || got.Kind != want.Kind || !bytes.Equal(got.Body, want.Body) {
		t.Fatalf("got place %d, kind %s, %d bytes %.80q, want place %d, kind %s, %d bytes %.80q",
			got.Place, got.Kind, len(got.Body), got.Body, place, want.Kind, len(want.Body), want.Body)
	}
}

func testEmpty(t *testing.T, h Harness) {
	check(t, h.Open(t), nil)
}

func testOrder(t *testing.T, h Harness) {
	log := h.Open(t)
	var all []ledger.Entry
	for i, n := range []int{1, 1, 2, 1, 17, 100, 1} {
		entries := Entries(fmt.Sprint("order", i), n)
		mustAppend(t, log, uint64(len(all)), entries)
		all = append(all, entries...)
		check(t, log, all)
	}
	check(t, h.Open(t), all)
}

func testFence(t *testing.T, h Harness) {
	log := h.Open(t)
	all := Entries("kept", 3)
	mustAppend(t, log, 0, all)
	for _, n := range []int{1, 2, 40} {
		for _, expected := range []uint64{0, 2, 4, 1000} {
			err := log.Append(testContext(t), expected, Entries("refused", n))
			if !errors.Is(err, ledger.ErrConflict) || errors.Is(err, ledger.ErrUnknownOutcome) {
				t.Errorf("append %d behind %d of 3: got %v, want ErrConflict", n, expected, err)
			}
			check(t, log, all)
		}
	}
}

func testBatch(t *testing.T, h Harness) {
	log := h.Open(t)
	all := Entries("batch", ledger.MaxBatch)
	mustAppend(t, log, 0, all)
	check(t, log, all)
	err := log.Append(testContext(t), ledger.MaxBatch-1, Entries("late", ledger.MaxBatch))
	if !errors.Is(err, ledger.ErrConflict) {
		t.Errorf("batch behind the last place but one: got %v, want ErrConflict", err)
	}
	check(t, log, all)
}

func testMalformed(t *testing.T, h Harness) {
	log := h.Open(t)
	entry := func(kind string) []ledger.Entry { return []ledger.Entry{{Kind: kind, Body: []byte("{}")}} }
	tests := []struct {
		name    string
		entries []ledger.Entry
	}{
		{"no entries", nil},
		{"one too many", Entries("many", ledger.MaxBatch+1)},
		{"no kind", entry("")},
		{"wildcard", entry("spray.*")},
		{"tail wildcard", entry(">")},
		{"empty word", entry("spray..applied")},
		{"dot at the end", entry("spray.")},
		{"space", entry("spray applied")},
		{"line break", entry("spray.applied\r\n")},
		{"capital", entry("Spray.applied")},
		{"bad one behind a good one", append(Entries("good", 1), entry("spray.$x")...)},
	}
	for _, tt := range tests {
		err := log.Append(testContext(t), 0, tt.entries)
		if err == nil || errors.Is(err, ledger.ErrConflict) || errors.Is(err, ledger.ErrUnknownOutcome) || errors.Is(err, ledger.ErrStore) {
			t.Errorf("%s: got %v, want an error about the entries", tt.name, err)
		}
	}
	check(t, log, nil)
}

func testBytes(t *testing.T, h Harness) {
	log := h.Open(t)
	long := bytes.Repeat([]byte("0123456789"), 6000)
	binary := make([]byte, 256)
	for i := range binary {
		binary[i] = byte(i)
	}
	bodies := [][]byte{
		[]byte(`{"note":"line\nbreak","weight":{"unit":"kg","value":12.5}}`),
		[]byte("{\"name\":\"Frühe Seeschwalbe 荔枝\"}"),
		[]byte("NATS/1.0\r\nNats-Expected-Last-Sequence: 7\r\n\r\n"),
		[]byte("\r\n"),
		{0},
		binary,
		long,
	}
	var all []ledger.Entry
	for _, b := range bodies {
		all = append(all, ledger.Entry{Kind: "a.b-2.c", Body: b})
	}
	for i := range all {
		mustAppend(t, log, uint64(i), all[i:i+1])
	}
	mustAppend(t, log, uint64(len(all)), all)
	check(t, log, append(all[:len(all):len(all)], all...))
	if len(long) != 60_000 {
		t.Errorf("the long body has %d bytes, want the longest record, 60000", len(long))
	}
	// What the caller does with its bytes afterwards is its own affair.
	scratch := []byte("before")
	mustAppend(t, log, uint64(2*len(all)), []ledger.Entry{{Kind: "k", Body: scratch}})
	copy(scratch, "after!")
	checkRange(t, log, uint64(2*len(all))+1, 0, []ledger.Entry{{Kind: "k", Body: []byte("before")}})
}

func testLarge(t *testing.T, h Harness) {
	log := h.Open(t)
	all := Entries("large", 100)
	for i := range all {
		all[i].Body = append(all[i].Body, bytes.Repeat([]byte{byte(i)}, 59_000)...)
	}
	mustAppend(t, log, 0, all)
	check(t, log, all)
}

func testRanges(t *testing.T, h Harness) {
	log := h.Open(t)
	all := Entries("range", 700)
	mustAppend(t, log, 0, all)
	tests := []struct{ first, last uint64 }{
		{1, 0}, {0, 0}, {0, 3}, {1, 1}, {2, 2}, {700, 700}, {700, 0}, {1, 2}, {5, 12}, {3, 200}, {650, 699}, {100, 700},
	}
	for _, tt := range tests {
		end := tt.last
		if end == 0 {
			end = 700
		}
		checkRange(t, log, tt.first, tt.last, all[max(tt.first, 1)-1:end])
	}
	// Nothing to read: behind the end with an open range, and an upside-down range.
	checkRange(t, log, 701, 0, nil)
	checkRange(t, log, 900, 0, nil)
	checkRange(t, log, 9, 8, nil)
}

func testReadStops(t *testing.T, h Harness) {
	log := h.Open(t)
	all := Entries("stop", 500)
	mustAppend(t, log, 0, all)
	// The caller breaks off.
	n := 0
	for e, err := range log.Read(testContext(t), 1, 0) {
		if err != nil {
			t.Fatalf("read: %v", err)
		}
		checkEntry(t, e, uint64(n)+1, all[n])
		if n++; n == 3 {
			break
		}
	}
	// The bodies are the caller's: what it does to one does not come back to others.
	for e, err := range log.Read(testContext(t), 1, 0) {
		if err != nil {
			t.Fatalf("read: %v", err)
		}
		clear(e.Body)
	}
	// What is appended while a reader reads is not in its range.
	n = 0
	for _, err := range log.Read(testContext(t), 1, 0) {
		if err != nil {
			t.Fatalf("read: %v", err)
		}
		if n == 0 {
			mustAppend(t, log, 500, Entries("during", 1))
		}
		n++
	}
	if n != 500 {
		t.Errorf("a read that began at 500 entries gave %d", n)
	}
	// The context ends.
	ctx, cancel := context.WithCancel(testContext(t))
	defer cancel()
	n = 0
	var last error
	for _, err := range log.Read(ctx, 1, 0) {
		if last = err; err != nil {
			break
		}
		n++
		cancel()
	}
	if !errors.Is(last, context.Canceled) || n == 0 {
		t.Errorf("read with a context that ended: got %v after %d entries, want context.Canceled", last, n)
	}
	check(t, log, append(all, Entries("during", 1)...))
}

func testReadBehindEnd(t *testing.T, h Harness) {
	log := h.Open(t)
	all := Entries("end", 30)
	mustAppend(t, log, 0, all)
	tests := []struct{ first, last, entries, want uint64 }{
		{1, 31, 30, 31},
		{29, 2000, 2, 31},
		{31, 31, 0, 31},
		{40, 41, 0, 40},
	}
	for _, tt := range tests {
		var (
			n    uint64
			hole *ledger.HoleError
		)
		for e, err := range log.Read(testContext(t), tt.first, tt.last) {
			if err != nil {
				if !errors.As(err, &hole) {
					t.Fatalf("read %d to %d of 30: got %v, want a hole", tt.first, tt.last, err)
				}
				continue // nothing may come behind an error
			}
			if hole != nil {
				t.Fatalf("read %d to %d of 30: place %d came behind the error", tt.first, tt.last, e.Place)
			}
			n++
		}
		if hole == nil || n != tt.entries || hole.Want != tt.want || hole.Got != 0 {
			t.Errorf("read %d to %d of 30: got %d entries and hole %+v, want %d entries and place %d missing", tt.first, tt.last, n, hole, tt.entries, tt.want)
		}
	}
}

func testFollow(t *testing.T, h Harness) {
	log := h.Open(t)
	all := Entries("follow", 2500)
	for from := 0; from < 2400; from += 800 {
		mustAppend(t, log, uint64(from), all[from:from+800])
	}
	const first = 11
	ctx, cancel := context.WithCancel(testContext(t))
	defer cancel()
	places := make(chan uint64, 4)
	done := make(chan error, 1)
	go func() {
		next := uint64(first)
		done <- h.Open(t).Follow(ctx, first, func(run []ledger.Entry) error {
			if len(run) == 0 || len(run) > ledger.MaxBatch {
				return fmt.Errorf("a run of %d entries", len(run))
			}
			for _, e := range run {
				want := all[next-1]
				if e.Place != next || e.Kind != want.Kind || !bytes.Equal(e.Body, want.Body) {
					return fmt.Errorf("got place %d, %.60q, want place %d, %.60q", e.Place, e.Body, next, want.Body)
				}
				next++
			}
			select {
			case places <- next - 1:
			case <-ctx.Done():
			}
			return nil
		})
	}()
	await := func(place uint64) {
		t.Helper()
		for {
			select {
			case got := <-places:
				if got == place {
					return
				}
			case err := <-done:
				t.Fatalf("follow ended before place %d: %v", place, err)
			}
		}
	}
	await(2400)
	mustAppend(t, log, 2400, all[2400:2401])
	await(2401)
	mustAppend(t, log, 2401, all[2401:])
	await(2500)
	cancel()
	select {
	case err := <-done:
		if !errors.Is(err, context.Canceled) {
			t.Errorf("follow ended with %v, want context.Canceled", err)
		}
	case <-time.After(patience):
		t.Fatal("follow did not end with its context")
	}
}

func testFollowStops(t *testing.T, h Harness) {
	log := h.Open(t)
	mustAppend(t, log, 0, Entries("stops", 10))
	enough := errors.New("enough")
	calls := 0
	err := log.Follow(testContext(t), 1, func([]ledger.Entry) error { calls++; return enough })
	if err != enough || calls != 1 {
		t.Errorf("follow: got %v after %d calls, want f's error as it is after 1", err, calls)
	}
	// Following from behind the end waits; what comes before the first place is not delivered.
	got := make(chan []ledger.Entry, 1)
	done := make(chan error, 1)
	go func() {
		done <- log.Follow(testContext(t), 12, func(run []ledger.Entry) error { got <- run; return enough })
	}()
	mustAppend(t, log, 10, Entries("unseen", 1))
	mustAppend(t, log, 11, Entries("seen", 1))
	if err := <-done; err != enough {
		t.Fatalf("follow from behind the end: got %v, want f's error", err)
	}
	run := <-got
	checkEntry(t, run[0], 12, Entries("seen", 1)[0])
	// A context that has ended before the start.
	ctx, cancel := context.WithCancel(testContext(t))
	cancel()
	err = log.Follow(ctx, 1, func([]ledger.Entry) error { return nil })
	if !errors.Is(err, context.Canceled) {
		t.Errorf("follow with an ended context: got %v, want context.Canceled", err)
	}
	err = log.Append(ctx, 12, Entries("ended", 1))
	if !errors.Is(err, context.Canceled) || errors.Is(err, ledger.ErrUnknownOutcome) {
		t.Errorf("append with an ended context: got %v, want context.Canceled and a known outcome", err)
	}
}

func testOneWins(t *testing.T, h Harness) {
	const writers, rounds = 8, 5
	log := h.Open(t)
	var all []ledger.Entry
	for round := range rounds {
		n := 1 + 9*(round%2) // singly, and as a batch
		errs := make(chan error, writers)
		won := make(chan int, writers)
		for w := range writers {
			go func() {
				err := log.Append(testContext(t), uint64(len(all)), Entries(fmt.Sprintf("r%dw%d", round, w), n))
				if err == nil {
					won <- w
				}
				errs <- err
			}()
		}
		for range writers {
			if err := <-errs; err != nil && !errors.Is(err, ledger.ErrConflict) {
				t.Errorf("round %d: got %v, want ErrConflict", round, err)
			}
		}
		if len(won) != 1 {
			t.Fatalf("round %d: %d appends behind the same place were taken, want 1", round, len(won))
		}
		all = append(all, Entries(fmt.Sprintf("r%dw%d", round, <-won), n)...)
		check(t, log, all)
	}
}

func testTwoWriters(t *testing.T, h Harness) {
	const each = 12
	type block struct {
		at      uint64
		entries []ledger.Entry
	}
	blocks := make(chan block, 2*each)
	errs := make(chan error, 2)
	for w := range 2 {
		log := h.Open(t)
		go func() {
			for i := 0; i < each; {
				last, err := log.Last(testContext(t))
				if err != nil {
					errs <- err
					return
				}
				entries := Entries(fmt.Sprintf("w%di%d", w, i), 1+i%3)
				switch err := log.Append(testContext(t), last, entries); {
				case err == nil:
					blocks <- block{last, entries}
					i++
				case !errors.Is(err, ledger.ErrConflict):
					errs <- err
					return
				}
			}
			errs <- nil
		}()
	}
	for range 2 {
		if err := <-errs; err != nil {
			t.Fatalf("writer: %v", err)
		}
	}
	close(blocks)
	byPlace := map[uint64]ledger.Entry{}
	for b := range blocks {
		for i, e := range b.entries {
			byPlace[b.at+1+uint64(i)] = e
		}
	}
	var all []ledger.Entry
	for place := uint64(1); byPlace[place].Kind != ""; place++ {
		all = append(all, byPlace[place])
	}
	check(t, h.Open(t), all)
}

func testResolve(t *testing.T, h Harness) {
	log := h.Open(t)
	all := Entries("stands", 20)
	mustAppend(t, log, 0, all)
	tests := []struct {
		name     string
		expected uint64
		entries  []ledger.Entry
		found    int
		want     error
	}{
		{"all of it", 5, all[5:20], 15, nil},
		{"some of the log", 5, all[5:8], 3, nil},
		{"nothing yet", 20, Entries("new", 3), 0, nil},
		{"another's", 19, Entries("new", 1), 0, ledger.ErrConflict},
		{"a part", 18, append(all[18:20:20], Entries("new", 1)...), 2, ledger.ErrUnknownOutcome},
		{"a part, then another's", 18, []ledger.Entry{all[18], all[0]}, 1, ledger.ErrConflict},
		{"another kind", 19, []ledger.Entry{{Kind: "x", Body: all[19].Body}}, 0, ledger.ErrConflict},
	}
	for _, tt := range tests {
		found, err := ledger.Resolve(testContext(t), log, tt.expected, tt.entries)
		if found != tt.found || !errors.Is(err, tt.want) {
			t.Errorf("%s: got %d, %v, want %d, %v", tt.name, found, err, tt.found, tt.want)
		}
	}
	var hole *ledger.HoleError
	if _, err := ledger.Resolve(testContext(t), log, 21, Entries("new", 1)); !errors.As(err, &hole) {
		t.Errorf("resolving behind a place that the log does not have: got %v, want a hole", err)
	}
}

func testModel(t *testing.T, h Harness) {
	rnd := rand.New(rand.NewPCG(1, 2))
	log := h.Open(t)
	var all []ledger.Entry
	for op := range 60 {
		expected := uint64(len(all))
		if rnd.IntN(4) == 0 {
			expected = rnd.Uint64N(expected + 3)
		}
		entries := Entries(fmt.Sprint("op", op), 1+rnd.IntN(1+rnd.IntN(40)))
		err := log.Append(testContext(t), expected, entries)
		switch {
		case expected == uint64(len(all)):
			if err != nil {
				t.Fatalf("op %d: append %d behind %d: %v", op, len(entries), expected, err)
			}
			all = append(all, entries...)
		case !errors.Is(err, ledger.ErrConflict):
			t.Fatalf("op %d: append behind %d of %d: got %v, want ErrConflict", op, expected, len(all), err)
		}
		if rnd.IntN(3) == 0 && len(all) > 0 {
			first := 1 + rnd.Uint64N(uint64(len(all)))
			last := first + rnd.Uint64N(uint64(len(all))-first+1)
			checkRange(t, log, first, last, all[first-1:last])
		}
	}
	check(t, log, all)
}

func testRestart(t *testing.T, h Harness) {
	if h.Restart == nil {
		t.Log("this log does not promise to outlive its process; nothing to test")
		return
	}
	var all []ledger.Entry
	for round := range 3 {
		log := h.Open(t)
		check(t, log, all)
		for i, n := range []int{1, 60, 1} {
			entries := Entries(fmt.Sprintf("restart%d-%d", round, i), n)
			mustAppend(t, log, uint64(len(all)), entries)
			all = append(all, entries...)
		}
		h.Restart(t)
	}
	log := h.Open(t)
	check(t, log, all)
	err := log.Append(testContext(t), uint64(len(all))-1, Entries("fenced", 1))
	if !errors.Is(err, ledger.ErrConflict) {
		t.Errorf("append behind the last place but one after a restart: got %v, want ErrConflict", err)
	}
}
