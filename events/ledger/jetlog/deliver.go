package jetlog

import (
	"context"
	"errors"
	"fmt"
	"math"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"latewood/events/ledger"
)

const (
	// pullMessages and pullBytes limit what is asked for at a time. 10,000 records of 327 bytes in one pull measured the
	// fastest of all ways to replay that the client supports; the bytes keep 10,000 records of 60,000 out of memory.
	pullMessages = 10_000
	pullBytes    = 8 << 20
	// heartbeat is how often an idle server says that it is there. Two missed ones begin the delivery anew.
	heartbeat = time.Second
	// quiet is how long nothing may come before the stream is asked whether there is something.
	quiet = time.Second
	// forgotten is how long the server keeps a consumer that nobody reads from, after a client that died.
	forgotten = time.Minute
)

// errBroken says that one delivery ended for a reason that another may not have.
var errBroken = errors.New("jetlog: delivery broken off")

// Follow is ledger.Log's. It outlasts restarts of the broker: it begins anew behind the last entry that it delivered.
func (l *Log) Follow(ctx context.Context, first uint64, f func([]ledger.Entry) error) error {
	err := l.deliver(ctx, max(first, 1), 0, f)
	if own := (*receiverError)(nil); errors.As(err, &own) {
		return own.err
	}
	if ctx.Err() != nil {
		return ctx.Err()
	}
	return fmt.Errorf("jetlog: following %s from place %d: %w", l.farm, first, err)
}

// A receiverError is what the receiver of a delivery returned. It does not unwrap: what it Is says nothing about the
// delivery.
type receiverError struct{ err error }

func (e *receiverError) Error() string { return e.err.Error() }

// deliver calls f with runs of entries, from next up to and including end, or on and on if end is 0. With an end it gives
// up when nothing came for l.timeout; without one it waits for the broker to come back, unless the connection is closed
// for good or the stream is gone.
//
// Why not the client's ordered consumer: it begins anew by itself when a delivery was lost, and what was skipped
// because it is damaged looks the same to it as what was delivered. Here one rule covers both, in one place.
func (l *Log) deliver(ctx context.Context, next, end uint64, f func([]ledger.Entry) error) error {
	const shortest, longest = 20 * time.Millisecond, time.Second
	wait := shortest
	since := time.Now() // of the last progress
	for {
		after, err := l.deliverOnce(ctx, next, end, f)
		if after > next {
			next, wait, since = after, shortest, time.Now()
		}
		switch {
		case err == nil, !errors.Is(err, errBroken):
			return err
		case ctx.Err() != nil:
			return ctx.Err()
		case l.reader.Conn().IsClosed():
			return l.storeError(nats.ErrConnectionClosed)
		}
		if time.Since(since) > l.timeout && (end > 0 || refused(err)) {
			return l.storeError(err)
		}
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-time.After(wait):
			wait = min(2*wait, longest)
		}
	}
}

// refused says whether the broker answered and said no, as it does when the stream is gone. A cluster that has no leader
// just now answers with code 503, and that passes.
func refused(err error) bool {
	var answer *jetstream.APIError
	return errors.Is(err, jetstream.ErrStreamNotFound) || errors.As(err, &answer) && answer.Code != 503
}

// deliverOnce is one consumer's life. It returns the place from which on the next one goes on, and errBroken if there
// should be a next one.
func (l *Log) deliverOnce(ctx context.Context, next, end uint64, f func([]ledger.Entry) error) (uint64, error) {
	c, err := l.consume(ctx, next, end)
	if err != nil {
		return next, fmt.Errorf("%w: %w", errBroken, err)
	}
	defer c.stop()
	// A consumer dies with its stream, so looking once says which stream this one reads for as long as it lives.
	if _, err := l.Last(ctx); err != nil {
		return next, brokenUnlessFinal(err)
	}
	silence := time.NewTimer(quiet)
	defer silence.Stop()
	run := make([]ledger.Entry, 0, 16)
	for {
		select {
		case <-ctx.Done():
			return next, ctx.Err()
		case err := <-c.trouble:
			return next, fmt.Errorf("%w: %w", errBroken, err)
		case <-silence.C:
			// Nothing came. If the stream has the next place, then either this consumer is stuck, or the entry is
			// damaged and nothing behind it has come yet to show that it was skipped.
			silence.Reset(quiet)
			last, err := l.Last(ctx)
			if err != nil {
				return next, brokenUnlessFinal(err)
			}
			if last < next {
				continue
			}
			return next, l.probe(ctx, next)
		case e := <-c.entries:
			silence.Reset(quiet)
			for more := true; more; {
				switch want := next + uint64(len(run)); {
				case end > 0 && want > end:
					// The server sends on behind what was asked for.
				case e.err != nil, e.Place > want:
					// Hand over what there is before looking into it.
					if err := hand(&next, run, f); err != nil {
						return next, err
					}
					if e.err != nil {
						return next, e.err
					}
					return next, l.probe(ctx, next)
				case e.Place == want:
					run = append(run, e.Entry)
				}
				more = false
				if len(run) < ledger.MaxBatch {
					select {
					case e = <-c.entries:
						more = true
					default:
					}
				}
			}
			if err := hand(&next, run, f); err != nil {
				return next, err
			}
			if end > 0 && next > end {
				return next, nil
			}
			// f may have kept the slice.
			run = make([]ledger.Entry, 0, min(2*len(run)+16, ledger.MaxBatch))
			if err := ctx.Err(); err != nil {
				return next, err
			}
		}
	}
}

// hand gives a run to f and moves next behind it.
func hand(next *uint64, run []ledger.Entry, f func([]ledger.Entry) error) error {
	if len(run) == 0 {
		return nil
	}
	if err := f(run); err != nil {
		return &receiverError{err}
	}
	*next += uint64(len(run))
	return nil
}

// probe finds out why the entry at a place did not come although it should be there: a *HoleError if the stream cannot give it
// either, else errBroken, because the delivery was at fault.
func (l *Log) probe(ctx context.Context, place uint64) error {
	if _, err := l.get(ctx, place); err != nil {
		return brokenUnlessFinal(err)
	}
	return fmt.Errorf("%w: place %d was not delivered", errBroken, place)
}

// brokenUnlessFinal lets another delivery be tried after any error but those that it could not change.
func brokenUnlessFinal(err error) error {
	var hole *ledger.HoleError
	if errors.As(err, &hole) || errors.Is(err, errReplaced) {
		return err
	}
	return fmt.Errorf("%w: %w", errBroken, err)
}

// A delivered is an entry, or why a message is none.
type delivered struct {
	ledger.Entry
	err error
}

// A consumer is one temporary pull consumer on the server and its messages here.
type consumer struct {
	entries chan delivered
	trouble chan error // at most one is looked at
	stop    func()     // returns when nothing of the consumer runs on
}

func (l *Log) consume(ctx context.Context, next, end uint64) (*consumer, error) {
	cctx, cancel := context.WithTimeout(ctx, l.timeout)
	defer cancel()
	cons, err := l.reader.CreateConsumer(cctx, l.stream, jetstream.ConsumerConfig{
		DeliverPolicy:     jetstream.DeliverByStartSequencePolicy,
		OptStartSeq:       next,
		AckPolicy:         jetstream.AckNonePolicy,
		MemoryStorage:     true,
		Replicas:          1,
		InactiveThreshold: forgotten,
	})
	if err != nil {
		return nil, err
	}
	c := &consumer{entries: make(chan delivered, 2*ledger.MaxBatch), trouble: make(chan error, 1)}
	stopped := make(chan struct{})
	tell := func(err error) {
		select {
		case c.trouble <- err:
		default:
		}
	}
	drop := func() {
		// The server would forget it by itself; this is politeness, and not worth waiting for a server that is away.
		dctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), time.Second)
		defer cancel()
		_ = l.reader.DeleteConsumer(dctx, l.stream, cons.CachedInfo().Name)
	}
	options := []jetstream.PullConsumeOpt{
		jetstream.PullHeartbeat(heartbeat),
		jetstream.PullExpiry(30 * time.Second),
		jetstream.ConsumeErrHandler(func(_ jetstream.ConsumeContext, err error) { tell(err) }),
	}
	pull := pullMessages
	if end > 0 {
		// Without this the server would send on behind the end until it is told to stop.
		want := int(min(end-next+1, math.MaxInt32))
		pull = min(pull, want)
		options = append(options, jetstream.StopAfter(want))
	}
	options = append(options, jetstream.PullMaxMessagesWithBytesLimit(pull, pullBytes))
	cc, err := cons.Consume(func(msg jetstream.Msg) {
		var d delivered
		meta, err := msg.Metadata()
		if err == nil {
			d.Entry, err = l.entry(msg.Subject(), meta.Sequence.Stream, msg.Data())
		}
		d.err = err
		select {
		case c.entries <- d:
		case <-stopped:
		}
	}, options...)
	if err != nil {
		drop()
		return nil, err
	}
	c.stop = func() {
		close(stopped)
		cc.Stop()
		<-cc.Closed()
		if l.reader.Conn().IsConnected() {
			drop()
		}
	}
	return c, nil
}
