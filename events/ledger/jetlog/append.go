package jetlog

import (
	"context"
	"errors"
	"fmt"
	"strconv"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
	"github.com/synadia-io/orbit.go/jetstreamext"

	"latewood/events/ledger"
)

// Singly is the number of waiting entries up to which one append after another is quicker than one atomic batch of all.
// A batch has a fixed price (the server stages it in a store of its own before it commits); BenchmarkBreakEven
// measures where the two meet. Who appends several entries that need not stand together chooses by it.
const Singly = 16

// worry is how long an append may go without an answer before somebody looks why.
const worry = 250 * time.Millisecond

// Codes of the server's answers (nats-server 2.15.2, errors.json).
const (
	wrongLastSequence         = 10071
	wrongLastSequenceConstant = 10164
)

// Append is ledger.Log's: one entry as one publish, several as one atomic batch.
func (l *Log) Append(ctx context.Context, expectedLast uint64, entries []ledger.Entry) error {
	if err := ledger.CheckAppend(entries); err != nil {
		return err
	}
	if err := l.append(ctx, expectedLast, entries); err != nil {
		return fmt.Errorf("jetlog: appending %d entries to %s behind place %d: %w", len(entries), l.farm, expectedLast, err)
	}
	l.learn(expectedLast + uint64(len(entries)))
	return nil
}

func (l *Log) append(ctx context.Context, expectedLast uint64, entries []ledger.Entry) error {
	// Whatever is found before the first byte is sent is a known outcome.
	if err := ctx.Err(); err != nil {
		return err
	}
	if l.suspect.Load() && l.health != nil {
		if err := l.health(ctx); err != nil {
			return l.storeError(err)
		}
		l.suspect.Store(false)
	}
	if l.nc.IsClosed() {
		return l.storeError(nats.ErrConnectionClosed)
	}
	ctx, cancel := context.WithTimeout(ctx, l.timeout)
	defer cancel()
	defer l.watch(ctx, cancel).Stop()
	var (
		last uint64
		err  error
	)
	if len(entries) == 1 {
		last, err = l.publish(ctx, expectedLast, entries[0])
	} else {
		last, err = l.publishBatch(ctx, expectedLast, entries)
	}
	if err != nil {
		return l.outcome(ctx, err)
	}
	if want := expectedLast + uint64(len(entries)); last != want {
		// Cannot be if the server kept to what it was told; then nothing that it says can be relied on.
		return fmt.Errorf("%w: acknowledged as place %d, want %d", ledger.ErrUnknownOutcome, last, want)
	}
	return nil
}

// watch ends an append's wait when there is nothing left to wait for: the connection over which the answer was to come
// is gone, or the store is known to have failed (a server whose disk failed does not answer at all). In a run that goes
// well the answer is there long before it looks for the first time.
func (l *Log) watch(ctx context.Context, cancel func()) *time.Timer {
	reconnects := l.nc.Stats().Reconnects
	return time.AfterFunc(worry, func() {
		for ctx.Err() == nil {
			if !l.nc.IsConnected() || l.nc.Stats().Reconnects != reconnects || l.health != nil && l.health(ctx) != nil {
				cancel()
				return
			}
			select {
			case <-ctx.Done():
			case <-time.After(worry):
			}
		}
	})
}

func (l *Log) publish(ctx context.Context, expectedLast uint64, e ledger.Entry) (uint64, error) {
	msg := &nats.Msg{Subject: l.prefix + e.Kind, Data: e.Body}
	ack, err := l.js.PublishMsg(ctx, msg, jetstream.WithExpectStream(l.stream), jetstream.WithExpectLastSequence(expectedLast))
	if err != nil {
		return 0, err
	}
	return ack.Sequence, nil
}

func (l *Log) publishBatch(ctx context.Context, expectedLast uint64, entries []ledger.Entry) (uint64, error) {
	msgs := make([]*nats.Msg, len(entries))
	for i, e := range entries {
		msgs[i] = &nats.Msg{Subject: l.prefix + e.Kind, Data: e.Body, Header: make(nats.Header, 4)}
	}
	// The server takes the expectation on the first message of a batch only.
	msgs[0].Header.Set(jetstream.ExpectedStreamHeader, l.stream)
	msgs[0].Header.Set(jetstream.ExpectedLastSeqHeader, strconv.FormatUint(expectedLast, 10))
	ack, err := jetstreamext.PublishMsgBatch(ctx, l.js, msgs,
		// An answer to the first message says early that the stream takes batches, before megabytes are sent.
		jetstreamext.BatchFlowControl{AckFirst: true, AckTimeout: l.timeout})
	if err != nil {
		return 0, err
	}
	return ack.Sequence, nil
}

// outcome says what an error means for the append: another was first, nothing was stored, or nobody knows.
func (l *Log) outcome(ctx context.Context, err error) error {
	var refused *jetstream.APIError
	switch {
	case errors.As(err, &refused):
		// The server answers an append with an error only before it stores anything; what goes wrong later it does
		// not answer at all (nats-server 2.15.2, processJetStreamMsgWithBatch and processJetStreamAtomicBatchMsg).
		switch refused.ErrorCode {
		case wrongLastSequence, wrongLastSequenceConstant:
			return fmt.Errorf("%w: %w", ledger.ErrConflict, err)
		}
		return l.storeError(err)
	case errors.Is(err, jetstream.ErrNoStreamResponse), errors.Is(err, nats.ErrNoResponders):
		// Nobody was there to take it.
		return l.storeError(err)
	case errors.Is(err, nats.ErrReconnectBufExceeded), errors.Is(err, nats.ErrMaxPayload):
		// It did not leave the client.
		return l.storeError(err)
	}
	l.suspect.Store(true)
	if l.health != nil {
		if cause := l.health(context.WithoutCancel(ctx)); cause != nil {
			return fmt.Errorf("%w: %w: %w (%w)", ledger.ErrUnknownOutcome, ledger.ErrStore, cause, err)
		}
	}
	return fmt.Errorf("%w: %w", ledger.ErrUnknownOutcome, err)
}
