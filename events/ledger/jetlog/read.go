package jetlog

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"iter"
	"strings"

	"github.com/nats-io/nats.go/jetstream"

	"latewood/events/ledger"
)

// smallRange is the number of entries up to which they are asked for one by one: that costs about 0.06 ms each, and a
// consumer about 1 ms before its first message.
const smallRange = 16

// errStop ends a delivery because its reader has had enough.
var errStop = errors.New("jetlog: reader stopped")

// Read is ledger.Log's.
func (l *Log) Read(ctx context.Context, first, last uint64) iter.Seq2[ledger.Entry, error] {
	first = max(first, 1)
	end, wanted := last, last
	var err error
	if last == 0 || last > l.known.Load() {
		if end, err = l.Last(ctx); last == 0 {
			wanted = end
		}
		end = min(end, wanted)
	}
	return func(yield func(ledger.Entry, error) bool) {
		err := err
		if err == nil {
			err = l.read(ctx, first, end, yield)
		}
		if err == nil && wanted > end && wanted >= first {
			err = &ledger.HoleError{Want: max(end+1, first)}
		}
		if err != nil && !errors.Is(err, errStop) {
			yield(ledger.Entry{}, l.readError(first, last, err))
		}
	}
}

func (l *Log) readError(first, last uint64, err error) error {
	if last == 0 {
		return fmt.Errorf("jetlog: reading %s from place %d: %w", l.farm, first, err)
	}
	return fmt.Errorf("jetlog: reading %s from place %d to %d: %w", l.farm, first, last, err)
}

// read yields first to end, which the log is known to have.
func (l *Log) read(ctx context.Context, first, end uint64, yield func(ledger.Entry, error) bool) error {
	if first > end {
		return nil
	}
	if end-first < smallRange {
		for place := first; place <= end; place++ {
			e, err := l.get(ctx, place)
			if err != nil {
				return err
			}
			if !yield(e, nil) {
				return errStop
			}
		}
		return nil
	}
	err := l.deliver(ctx, first, end, func(run []ledger.Entry) error {
		for _, e := range run {
			if err := ctx.Err(); err != nil {
				return err
			}
			if !yield(e, nil) {
				return errStop
			}
		}
		return nil
	})
	if own := (*receiverError)(nil); errors.As(err, &own) {
		return own.err
	}
	return err
}

// get reads the entry at a place that the log is known to have: a *HoleError if it is not there.
func (l *Log) get(ctx context.Context, place uint64) (ledger.Entry, error) {
	if err := ctx.Err(); err != nil {
		return ledger.Entry{}, err
	}
	gctx, cancel := context.WithTimeout(ctx, l.timeout)
	defer cancel()
	msg, err := l.gets.GetMsg(gctx, place)
	if err == nil {
		return l.entry(msg.Subject, msg.Sequence, msg.Data)
	}
	if err := ctx.Err(); err != nil {
		return ledger.Entry{}, err
	}
	if !errors.Is(err, jetstream.ErrMsgNotFound) {
		return ledger.Entry{}, l.storeError(err)
	}
	// In a cluster any replica may have answered, one that lags behind as well. The leader has the say.
	raw, err := l.askLeader(ctx, map[string]any{"seq": place})
	if err != nil {
		return ledger.Entry{}, err
	}
	if raw == nil {
		got, err := l.nextAfter(ctx, place)
		if err != nil {
			return ledger.Entry{}, err
		}
		return ledger.Entry{}, &ledger.HoleError{Want: place, Got: got}
	}
	return l.entry(raw.Subject, raw.Seq, raw.Data)
}

// entry makes an entry of a message.
func (l *Log) entry(subject string, seq uint64, body []byte) (ledger.Entry, error) {
	kind, ok := strings.CutPrefix(subject, l.prefix)
	if !ok {
		return ledger.Entry{}, fmt.Errorf("%w: place %d has the subject %q, want one under %s", ledger.ErrStore, seq, subject, l.prefix)
	}
	return ledger.Entry{Place: seq, Kind: kind, Body: body}, nil
}

// nextAfter is the place of the first message at or behind place that the broker can read, 0 if there is none.
func (l *Log) nextAfter(ctx context.Context, place uint64) (uint64, error) {
	raw, err := l.askLeader(ctx, map[string]any{"seq": place, "next_by_subj": l.prefix + ">"})
	if err != nil || raw == nil {
		return 0, err
	}
	return raw.Seq, nil
}

// rawMsg is a message in the server's answer to STREAM.MSG.GET.
type rawMsg struct {
	Subject string `json:"subject"`
	Seq     uint64 `json:"seq"`
	Data    []byte `json:"data"`
}

// messageNotFound is the server's code for it (nats-server 2.15.2, errors.json).
const messageNotFound = 10037

// askLeader asks the stream's leader for one message; nil if it has none.
func (l *Log) askLeader(ctx context.Context, request map[string]any) (*rawMsg, error) {
	ctx, cancel := context.WithTimeout(ctx, l.timeout)
	defer cancel()
	body, err := json.Marshal(request)
	if err != nil {
		return nil, err
	}
	reply, err := l.nc.RequestWithContext(ctx, jetstream.DefaultAPIPrefix+"STREAM.MSG.GET."+l.stream, body)
	if err != nil {
		return nil, l.storeError(err)
	}
	var answer struct {
		Error   *jetstream.APIError `json:"error"`
		Message *rawMsg             `json:"message"`
	}
	if err := json.Unmarshal(reply.Data, &answer); err != nil {
		return nil, l.storeError(err)
	}
	switch {
	case answer.Error != nil && answer.Error.ErrorCode == messageNotFound:
		return nil, nil
	case answer.Error != nil:
		return nil, l.storeError(answer.Error)
	}
	return answer.Message, nil
}
