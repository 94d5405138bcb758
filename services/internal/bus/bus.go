// Package bus carries the ledger's records to whoever folds them, through a Watermill Router. It is the only package that
// knows Watermill.
//
// A ledger is not a queue, and three habits of queues would harm it: handing out the next message before the last one was
// taken, sending a message again later than its followers, and putting a message aside that nobody could take. So the
// subscriber here packs runs of records that follow one another into one message, hands out the next run only after the
// last was acknowledged, sends the same run again in place when it was refused, and after a few refusals stops with the
// reason: records are never skipped. Where a reader stands is its own business (its checkpoint), not the broker's.
package bus

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"log/slog"
	"sync"
	"time"

	"github.com/ThreeDotsLabs/watermill"
	"github.com/ThreeDotsLabs/watermill/message"

	"latewood/events/ledger"
)

// Tries is how often a run of records is handed over before the reader is stopped.
const Tries = 3

// retryAfter is the wait between two tries.
const retryAfter = 50 * time.Millisecond

// ErrPoison says that a handler refused the same records Tries times. Its reader has stopped before them. The error that
// Is ErrPoison also Is that of the first refusal.
var ErrPoison = errors.New("these records could not be taken in")

// Deliver hands the records of a log to handle, in order, from place first on, until ctx ends (nil) or something is
// wrong: ErrPoison with the reason, a *ledger.HoleError, or an error of the log. A handle that panics has refused.
//
// handle gets from 1 to ledger.MaxBatch entries at a time, one call after the other; what it refuses it gets again, from
// the same entry on. The bodies belong to it, and those of one call lie in one piece of memory: whoever keeps one of many
// for long keeps a copy. ready, which may be nil, is called once delivery runs. name stands in logs and errors. When
// Deliver returns, nothing of it runs on.
func Deliver(ctx context.Context, name string, log ledger.Log, first uint64, logger *slog.Logger, ready func(), handle func([]ledger.Entry) error) error {
	if ctx.Err() != nil {
		return nil
	}
	router, err := message.NewRouter(message.RouterConfig{CloseTimeout: 10 * time.Second}, watermill.NewSlogLogger(quiet(logger)))
	if err != nil {
		return fmt.Errorf("bus: %w", err)
	}
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	sub := &subscriber{log: log, first: first}
	h := &handler{handle: handle}
	router.AddConsumerHandler(name, "ledger", sub, func(m *message.Message) error {
		err := h.take(m.Payload)
		if errors.Is(err, ErrPoison) {
			cancel()
		}
		return err
	})
	var waiting sync.WaitGroup
	waiting.Go(func() {
		select {
		case <-router.Running():
			if ready != nil {
				ready()
			}
		case <-ctx.Done():
		}
	})
	err = router.Run(ctx)
	cancel()
	waiting.Wait()
	sub.wait()
	poison := h.end()
	switch {
	case poison != nil:
		return fmt.Errorf("bus: %s: %w", name, poison)
	case sub.err != nil:
		return fmt.Errorf("bus: %s: %w", name, sub.err)
	case err != nil:
		return fmt.Errorf("bus: %s: %w", name, err)
	}
	return nil
}

// handler calls a function that takes records, and counts its refusals.
type handler struct {
	handle func([]ledger.Entry) error

	mu      sync.Mutex // held while handle runs
	refused int
	why     error // of the first refusal: what comes after it may only be its consequence
	poison  error
	ended   bool
}

// take unpacks a message and hands it over.
func (h *handler) take(payload []byte) (err error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.ended || h.poison != nil {
		return context.Canceled
	}
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("bus: panic: %v", p)
		}
		if err == nil {
			h.refused, h.why = 0, nil
			return
		}
		if h.refused++; h.refused == 1 {
			h.why = err
		}
		if h.refused >= Tries {
			h.poison = fmt.Errorf("%w: %w", ErrPoison, h.why)
			err = h.poison
		}
	}()
	entries, err := unpack(payload)
	if err != nil {
		return err
	}
	return h.handle(entries)
}

// end waits for a call that is under way and lets none follow. It returns why records were refused for good, nil if none
// were.
func (h *handler) end() error {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.ended = true
	return h.poison
}

// quiet drops what Watermill logs of every message; warnings and errors stay.
func quiet(logger *slog.Logger) *slog.Logger {
	if logger == nil {
		return slog.New(slog.DiscardHandler)
	}
	return slog.New(floor{logger.Handler()})
}

// floor is a handler that lets warnings and errors through.
type floor struct{ slog.Handler }

func (f floor) Enabled(ctx context.Context, l slog.Level) bool {
	return l >= slog.LevelWarn && f.Handler.Enabled(ctx, l)
}

func (f floor) WithAttrs(attrs []slog.Attr) slog.Handler { return floor{f.Handler.WithAttrs(attrs)} }

func (f floor) WithGroup(name string) slog.Handler { return floor{f.Handler.WithGroup(name)} }

// subscriber is a Watermill subscriber over a ledger.
type subscriber struct {
	log   ledger.Log
	first uint64
	runs  sync.WaitGroup
	stop  context.CancelFunc
	err   error // why it ended, if not because it was told to; read after wait
}

var _ message.Subscriber = (*subscriber)(nil)

// Subscribe starts following the ledger. There is one topic, and one subscription.
func (s *subscriber) Subscribe(ctx context.Context, _ string) (<-chan *message.Message, error) {
	ctx, s.stop = context.WithCancel(ctx)
	out := make(chan *message.Message)
	s.runs.Go(func() {
		defer close(out)
		err := s.log.Follow(ctx, s.first, func(entries []ledger.Entry) error {
			return hand(ctx, out, entries)
		})
		if ctx.Err() == nil {
			s.err = err
		}
	})
	return out, nil
}

// hand sends a run of records and waits until it was taken, sending it again in place when it was refused.
func hand(ctx context.Context, out chan<- *message.Message, entries []ledger.Entry) error {
	payload := pack(entries)
	for {
		m := message.NewMessageWithContext(ctx, watermill.NewULID(), payload)
		select {
		case out <- m:
		case <-ctx.Done():
			return ctx.Err()
		}
		select {
		case <-m.Acked():
			return nil
		case <-m.Nacked():
		case <-ctx.Done():
			return ctx.Err()
		}
		select {
		case <-time.After(retryAfter):
		case <-ctx.Done():
			return ctx.Err()
		}
	}
}

// Close ends the subscription; the router calls it when it stops.
func (s *subscriber) Close() error {
	if s.stop != nil {
		s.stop()
	}
	return nil
}

func (s *subscriber) wait() {
	if s.stop != nil {
		s.stop()
	}
	s.runs.Wait()
}

// pack writes entries one behind the other: place, length of kind, kind, length of body, body.
func pack(entries []ledger.Entry) []byte {
	n := 0
	for _, e := range entries {
		n += 20 + len(e.Kind) + len(e.Body)
	}
	b := make([]byte, 0, n)
	for _, e := range entries {
		b = binary.AppendUvarint(b, e.Place)
		b = binary.AppendUvarint(b, uint64(len(e.Kind)))
		b = append(b, e.Kind...)
		b = binary.AppendUvarint(b, uint64(len(e.Body)))
		b = append(b, e.Body...)
	}
	return b
}

func unpack(b []byte) ([]ledger.Entry, error) {
	var out []ledger.Entry
	number := func() (uint64, bool) {
		n, used := binary.Uvarint(b)
		if used <= 0 {
			return 0, false
		}
		b = b[used:]
		return n, true
	}
	text := func() ([]byte, bool) {
		n, ok := number()
		if !ok || n > uint64(len(b)) {
			return nil, false
		}
		out := b[:n:n]
		b = b[n:]
		return out, true
	}
	for len(b) > 0 {
		place, ok1 := number()
		kind, ok2 := text()
		body, ok3 := text()
		if !ok1 || !ok2 || !ok3 {
			return nil, errors.New("bus: a message was cut short")
		}
		out = append(out, ledger.Entry{Place: place, Kind: string(kind), Body: body})
	}
	return out, nil
}
