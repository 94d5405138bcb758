package sense

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"maps"
	"sync"
	"time"

	"latewood/events"
	"latewood/projections/settings"
)

// A Message is what a station sent, as it came.
type Message = struct {
	Seq   uint64    // its place in the raw stream
	Topic string    // wx/STATION/...
	Body  []byte    // a pack of SenML, if all is well
	At    time.Time // when it came in, by this machine's clock
}

// A Source is the raw stream. natsbox.Raw is one.
type Source interface {
	// Next gives messages that it has not given before, in order: those that are there, else the first that comes within
	// wait. None: none came, or ctx ended.
	Next(ctx context.Context, most int, wait time.Duration) ([]Message, error)
	// Done says that all messages up to seq are taken care of and need not be given again after the next start.
	Done(ctx context.Context, seq uint64) error
	// Get reads one message again; false: it is not there any more.
	Get(ctx context.Context, seq uint64) (Message, bool, error)
	// Tail gives the last n messages that are done.
	Tail(ctx context.Context, n int) ([]Message, error)
	// First is the place of the oldest message that is still there.
	First(ctx context.Context) (uint64, error)
}

// A Proposal is a reading for the ledger.
type Proposal struct {
	Station string
	Device  string // mqtt-STATION
	Draft   events.Draft
}

// An Outcome answers a Proposal: it is recorded, or Known before, or there are Problems and it is not.
type Outcome struct {
	Known    bool
	Problems events.Problems
}

// A Recorder takes readings into the ledger. Its ids must follow from what a reading says, so that the same reading once
// more is Known. It answers each proposal in its place; after an error nothing is known, and all come again.
type Recorder interface {
	Record(ctx context.Context, proposals []Proposal) ([]Outcome, error)
}

// Rules are the limits of what is believed. A zero stands for the default; those of the table are told there (package
// settings), with their sources, and a farm can adopt others.
type Rules struct {
	Back    time.Duration // settings.StationBack: of a message behind the newest of its station
	Oldest  time.Duration // settings.StationFirst: of the first message of a station of which nothing is known
	Behind  time.Duration // settings.StationLag: suspect if it stays the same from message to message, to within half a minute
	PerHour int           // settings.StationPerHour
	Late    time.Duration // settings.StationLate: only counted; it is believed all the same
	// Ahead is how far a reading may lie ahead of this machine's clock: 5 minutes (common practice). No setting, because the
	// recorder takes nothing that lies 2 minutes ahead; beyond 5 it is the clock that people should look at.
	Ahead time.Duration
	// Reset is the moment before which a time is that of a clock which has lost its battery: such clocks fall back to 1970,
	// 1980 or 2000 (common practice). Default: the start of 2001.
	Reset time.Time
	// Settle is how long messages that speak of one moment may take to come in: 2 seconds.
	Settle time.Duration
}

// RulesFrom gives the limits of the table of settings, each asked for by name; false: not said.
func RulesFrom(number func(setting string) (float64, bool)) Rules {
	in := func(setting string, unit time.Duration) time.Duration {
		v, _ := number(setting)
		return time.Duration(v * float64(unit))
	}
	return Rules{
		Back:   in(settings.StationBack, time.Minute),
		Oldest: in(settings.StationFirst, 24*time.Hour), Behind: in(settings.StationLag, time.Minute),
		PerHour: int(in(settings.StationPerHour, 1)), Late: in(settings.StationLate, time.Hour),
	}
}

func (r Rules) filled() Rules {
	d := RulesFrom(func(name string) (float64, bool) {
		s, _ := settings.Lookup(name)
		v, ok := s.Default.(float64)
		return v, ok
	})
	r.Ahead, r.Back, r.Oldest = cmp.Or(r.Ahead, 5*time.Minute), cmp.Or(r.Back, d.Back), cmp.Or(r.Oldest, d.Oldest)
	r.Behind, r.PerHour, r.Late = cmp.Or(r.Behind, d.Behind), cmp.Or(r.PerHour, d.PerHour), cmp.Or(r.Late, d.Late)
	if r.Reset.IsZero() {
		r.Reset = time.Date(2001, 1, 1, 0, 0, 0, 0, time.UTC)
	}
	r.Settle = cmp.Or(r.Settle, 2*time.Second)
	return r
}

// late is how long after its time a reading came in, 0 where that is soon enough.
func (r Rules) late(after time.Duration) time.Duration {
	if after <= r.Late {
		return 0
	}
	return after
}

// rules are the limits for a station.
func (s *Service) rules(station string) Rules {
	if s.c.RulesOf == nil {
		return s.c.Rules
	}
	return s.c.RulesOf(station).filled()
}

// Config is what a Service works with.
type Config struct {
	Source   Source
	Recorder Recorder
	// List is the file that the list of the refused is kept in.
	List  string
	Rules Rules
	// RulesOf gives a station's limits, asked for each message; nil: Rules. Settle is always that of Rules.
	RulesOf func(station string) Rules
	Now     func() time.Time // this machine's clock
	Logger  *slog.Logger     // nil: nothing is logged
}

// Counts say what became of messages since the start.
type Counts struct {
	Messages int `json:"messages"`
	Recorded int `json:"recorded"` // readings
	Repeats  int `json:"repeats"`  // messages that said nothing new, and readings that were known
	Refused  int `json:"refused"`  // messages
	Lost     int `json:"lost"`     // messages that the raw stream dropped before they were read
	// Late counts the readings recorded that came in later after their time than Rules.Late, MostLate says how much the worst did,
	// in seconds: what was answered about their time before has changed.
	Late     int   `json:"late,omitempty"`
	MostLate int64 `json:"mostLate,omitempty"`
}

// A Service senses. Open it, Run it.
type Service struct {
	c Config

	work  sync.Mutex // keeps the windows of Run and Retake apart; minds, judged and last are theirs
	minds map[string]*mind
	// judged is a window that could not be finished. It is not judged again: minds would count it twice.
	judged *window
	last   uint64 // the place of the last message

	mu      sync.Mutex // never held while somebody else is asked; taken after work
	list    *list
	counts  Counts
	leftOut map[string]*LeftOut // by station and name
}

// tail is how many messages are read again at the start, to know what the stations said last.
const tail = 4096

// Open reads the list of the refused and what the stations said last.
func Open(ctx context.Context, c Config) (*Service, error) {
	if c.Logger == nil {
		c.Logger = slog.New(slog.DiscardHandler)
	}
	c.Rules = c.Rules.filled()
	l, err := loadList(c.List)
	if err != nil {
		return nil, err
	}
	s := &Service{c: c, minds: map[string]*mind{}, list: l, leftOut: map[string]*LeftOut{}}
	messages, err := c.Source.Tail(ctx, tail)
	if err != nil {
		return nil, fmt.Errorf("sense: looking back: %w", err)
	}
	for _, m := range messages {
		s.last = m.Seq
		if l.has(m) {
			continue
		}
		for _, p := range s.judge([]Message{m}).proposals {
			s.remember(p)
		}
	}
	first, err := c.Source.First(ctx)
	if err != nil {
		return nil, fmt.Errorf("sense: looking back: %w", err)
	}
	l.prune(first)
	return s, nil
}

// Bounds of a window, and of the wait for the first message of one.
const (
	mostTogether = 256
	idle         = time.Minute
)

// Run reads the raw stream until ctx ends. What cannot be recorded now is tried again, more and more slowly; ready is called
// before the first message is read.
func (s *Service) Run(ctx context.Context, ready func()) error {
	ready()
	var pending []Message
	pause := time.Second
	for ctx.Err() == nil {
		err := s.round(ctx, &pending)
		if err == nil {
			pause = time.Second
			continue
		}
		if ctx.Err() != nil {
			break
		}
		s.c.Logger.Error("readings cannot be taken in", "part", "sense", "error", err)
		wait := time.NewTimer(pause)
		select {
		case <-ctx.Done():
		case <-wait.C:
		}
		wait.Stop()
		pause = min(2*pause, time.Minute)
	}
	return nil
}

// round finishes what is complete, then reads what is there or waits for it.
func (s *Service) round(ctx context.Context, pending *[]Message) error {
	for {
		n := s.complete(*pending)
		if n == 0 {
			break
		}
		if err := s.window(ctx, (*pending)[:n]); err != nil {
			return err
		}
		*pending = (*pending)[n:]
	}
	wait := idle
	over := false // no message of the window can still be on its way
	if len(*pending) > 0 {
		wait = s.end(*pending).Sub(s.c.Now())
		over = wait <= 0 || wait > s.c.Rules.Settle // the latter: our clock was put back
		wait = min(max(wait, 0), s.c.Rules.Settle)
	}
	messages, err := s.c.Source.Next(ctx, mostTogether, wait)
	*pending = append(*pending, messages...)
	if err != nil || ctx.Err() != nil || !over || len(messages) > 0 {
		return err
	}
	n := len(*pending)
	if err := s.window(ctx, *pending); err != nil {
		return err
	}
	*pending = (*pending)[n:]
	return nil
}

// end is when the window that begins with the first message closes.
func (s *Service) end(pending []Message) time.Time { return pending[0].At.Add(s.c.Rules.Settle) }

// complete is how many messages make the first window, 0 while it may still grow. Where a window ends follows from the
// messages alone.
func (s *Service) complete(pending []Message) int {
	if s.judged != nil {
		return len(s.judged.messages) // it failed, and comes first
	}
	if len(pending) == 0 {
		return 0
	}
	end := s.end(pending)
	for i, m := range pending {
		if i == mostTogether || !m.At.Before(end) {
			return i
		}
	}
	return 0
}

// window takes care of messages that came in together.
func (s *Service) window(ctx context.Context, messages []Message) error {
	s.work.Lock()
	defer s.work.Unlock()
	w := s.judged
	if w == nil {
		w = s.judge(messages)
		s.judged = w
	}
	if err := s.record(ctx, w); err != nil {
		return err
	}
	if err := s.finish(ctx, w); err != nil {
		return err
	}
	w.finished = true
	// If we crash before this, the messages are read again: their readings are then known, and so are the refused.
	if err := s.c.Source.Done(ctx, messages[len(messages)-1].Seq); err != nil {
		return err
	}
	s.judged = nil
	s.tidy()
	return nil
}

// mostMinds is the most stations that are kept in mind before those are forgotten of which nothing was recorded.
const mostMinds = 1000

// tidy keeps a sensor that invents names from filling the memory.
func (s *Service) tidy() {
	if len(s.minds) > mostMinds {
		maps.DeleteFunc(s.minds, func(_ string, k *mind) bool { return len(k.moments) == 0 })
	}
}

// known reports whether something of a station was recorded.
func (s *Service) known(station string) bool {
	return s.minds[station] != nil && len(s.minds[station].moments) > 0
}

// record hands the readings of a window over, and turns what the recorder has against them into refusals.
func (s *Service) record(ctx context.Context, w *window) error {
	if w.recorded {
		return nil
	}
	outcomes, err := s.hand(ctx, w.proposals)
	if err != nil {
		return err
	}
	w.recorded = true
	refused := map[int]bool{}
	for i, o := range outcomes {
		p := w.proposals[i]
		if len(o.Problems) == 0 {
			s.remember(p)
			continue
		}
		for _, from := range p.from {
			if !refused[from] {
				refused[from] = true
				w.refuse(w.messages[from], p.station, Record, o.Problems[0].Why, o.Problems[0].Instead)
			}
		}
	}
	return nil
}

// hand gives readings to the recorder and counts what became of them.
func (s *Service) hand(ctx context.Context, readings []proposed) ([]Outcome, error) {
	if len(readings) == 0 {
		return nil, nil
	}
	proposals := make([]Proposal, len(readings))
	for i, p := range readings {
		proposals[i] = p.proposal()
	}
	outcomes, err := s.c.Recorder.Record(ctx, proposals)
	if err != nil {
		return nil, fmt.Errorf("sense: recording: %w", err)
	}
	if len(outcomes) != len(proposals) {
		return nil, errors.New("sense: recording: an answer is missing")
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	for i, o := range outcomes {
		switch {
		case len(o.Problems) > 0:
		case o.Known:
			s.counts.Repeats++
		default:
			s.counts.Recorded++
			if late := readings[i].late; late > 0 {
				s.counts.Late++
				s.counts.MostLate = max(s.counts.MostLate, int64(late/time.Second))
			}
		}
	}
	return outcomes, nil
}

// finish writes down what was refused, and counts.
func (s *Service) finish(ctx context.Context, w *window) error {
	if w.finished {
		return nil
	}
	lost := 0
	for _, m := range w.messages {
		if s.last > 0 && m.Seq > s.last+1 {
			lost += int(m.Seq - s.last - 1)
		}
		s.last = max(s.last, m.Seq)
	}
	if lost > 0 {
		s.c.Logger.Warn("the raw stream dropped messages before they were read", "part", "sense", "n", lost)
	}
	first := uint64(0)
	if len(w.refusals) > 0 {
		var err error
		if first, err = s.c.Source.First(ctx); err != nil {
			return err
		}
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	if lost > 0 {
		s.counts.Lost += lost
	}
	if len(w.refusals) > 0 {
		s.list.prune(first)
		for _, r := range w.refusals {
			s.list.add(r, s.known(r.Station))
		}
		if err := s.list.save(); err != nil {
			return err
		}
	}
	s.counts.Messages += len(w.messages)
	s.counts.Repeats += w.repeats
	s.counts.Refused += len(w.refusals)
	for _, l := range w.leftOut {
		s.leave(l)
	}
	return nil
}

// Counts says what became of messages since the start.
func (s *Service) Counts() Counts {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.counts
}
