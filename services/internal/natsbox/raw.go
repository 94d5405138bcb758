package natsbox

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
)

// Names of the raw stream and of the place up to which it was read, seen in the store's folders.
const (
	rawStream   = "READINGS"
	rawConsumer = "sense"
)

// Bounds of the raw stream where RawOptions say nothing. A pack of a station takes a few hundred bytes: ten stations that
// send every five minutes fill 64 MiB in about two months.
const (
	DefaultRawBytes = 64 << 20
	DefaultRawAge   = 90 * 24 * time.Hour
)

// MaxRawMessage is the most that a station may send at once, in bytes. What is larger is no reading and is not kept.
const MaxRawMessage = 128 << 10

// rawAhead is how many messages may be read before the first of them is done.
const rawAhead = 8192

// RawOptions bound the raw stream. Beyond either bound the oldest messages go. 0 leaves a bound as the stream has it, so that
// whoever only looks does not cut off what another start was told to keep; a new stream gets DefaultRawBytes, DefaultRawAge.
type RawOptions struct {
	MaxBytes int64
	MaxAge   time.Duration
}

// from fills in the bounds that are not said.
func (o RawOptions) from(ctx context.Context, js jetstream.JetStream) (RawOptions, error) {
	if o.MaxBytes < 0 || o.MaxAge < 0 { // the server takes these for "no bound"
		return o, fmt.Errorf("natsbox: raw readings: bounds of %d bytes and %v: want none below zero", o.MaxBytes, o.MaxAge)
	}
	now := jetstream.StreamConfig{MaxBytes: DefaultRawBytes, MaxAge: DefaultRawAge}
	switch s, err := js.Stream(ctx, rawStream); {
	case err == nil:
		now = s.CachedInfo().Config
	case !errors.Is(err, jetstream.ErrStreamNotFound):
		return o, fmt.Errorf("natsbox: raw readings: looking at the stream: %w", err)
	}
	return RawOptions{MaxBytes: cmp.Or(o.MaxBytes, now.MaxBytes), MaxAge: cmp.Or(o.MaxAge, now.MaxAge)}, nil
}

// A RawMessage is what a station sent, as it came. It is an alias, so that whoever reads raw messages can declare the same
// type and know nothing of brokers.
type RawMessage = struct {
	Seq   uint64    // its place in the raw stream
	Topic string    // as the station named it: wx/hollow/air
	Body  []byte    // what it sent
	At    time.Time // when it came in, by this machine's clock
}

// Raw is the raw stream: everything that the sensors publish on wx.>, kept as it came, in an account of its own. The
// sensors cannot reach it, nor use up its room: what MQTT keeps for them (sessions, retained messages) is counted to theirs.
//
// One reader at a time may use Next and Done; Get, Tail and First may be called by anyone.
type Raw struct {
	nc       *nats.Conn
	stream   jetstream.Stream
	consumer jetstream.Consumer
	open     []jetstream.Msg // read and not done, in order
}

// Raw opens the raw stream and makes it if it is not there. From then on it takes in all that is published on wx.>, also
// while nobody reads.
func (b *Box) Raw(ctx context.Context, o RawOptions) (_ *Raw, err error) {
	nc, err := b.connect(rawUser, b.logins.raw)
	if err != nil {
		return nil, err
	}
	defer func() {
		if err != nil {
			nc.Close()
		}
	}()
	js, err := jetstream.New(nc)
	if err != nil {
		return nil, fmt.Errorf("natsbox: raw readings: %w", err)
	}
	if o, err = o.from(ctx, js); err != nil {
		return nil, err
	}
	r := &Raw{nc: nc}
	r.stream, err = js.CreateOrUpdateStream(ctx, jetstream.StreamConfig{
		Name:     rawStream,
		Subjects: []string{"wx.>"},
		Storage:  jetstream.FileStorage,
		// The oldest go first: a sensor that floods drives out old messages, never the new ones.
		Discard:    jetstream.DiscardOld,
		MaxBytes:   o.MaxBytes,
		MaxAge:     o.MaxAge,
		MaxMsgSize: MaxRawMessage,
		// Stations send no message ids; the window is as small as the server lets it be.
		Duplicates: 100 * time.Millisecond,
	})
	if err != nil {
		return nil, fmt.Errorf("natsbox: raw readings: opening the stream: %w", err)
	}
	r.consumer, err = js.CreateOrUpdateConsumer(ctx, rawStream, jetstream.ConsumerConfig{
		Durable:       rawConsumer,
		DeliverPolicy: jetstream.DeliverAllPolicy,
		AckPolicy:     jetstream.AckAllPolicy,
		AckWait:       24 * time.Hour, // nothing is given twice while the process lives
		MaxDeliver:    -1,
		MaxAckPending: rawAhead,
	})
	if err != nil {
		return nil, fmt.Errorf("natsbox: raw readings: opening the consumer: %w", err)
	}
	// What was read before the last stop and is not done is given again, at once and in order.
	if _, err := js.ResetConsumer(ctx, rawStream, rawConsumer); err != nil {
		return nil, fmt.Errorf("natsbox: raw readings: going back to what is not done: %w", err)
	}
	return r, nil
}

// Close ends the connection. The stream goes on taking in what is published.
func (r *Raw) Close() { r.nc.Close() }

// Next gives messages in the order in which they came, at most so many: those that are there, else the first that comes
// within wait. None: none came. ctx ends the wait; what was on its way then is given after the next Raw.
func (r *Raw) Next(ctx context.Context, most int, wait time.Duration) ([]RawMessage, error) {
	if most = min(most, rawAhead-len(r.open)); most <= 0 {
		return nil, errors.New("natsbox: raw readings: too many are read and not done")
	}
	batch, err := r.consumer.FetchNoWait(most)
	if err != nil {
		return nil, fmt.Errorf("natsbox: raw readings: %w", err)
	}
	out, err := r.take(batch)
	if err != nil || len(out) > 0 || wait <= 0 {
		return out, err
	}
	ctx, cancel := context.WithTimeout(ctx, wait)
	defer cancel()
	if batch, err = r.consumer.Fetch(1, jetstream.FetchContext(ctx)); err != nil {
		if ctx.Err() != nil {
			return nil, nil
		}
		return nil, fmt.Errorf("natsbox: raw readings: %w", err)
	}
	out, err = r.take(batch)
	if ctx.Err() != nil {
		err = nil
	}
	return out, err
}

func (r *Raw) take(batch jetstream.MessageBatch) (out []RawMessage, err error) {
	for m := range batch.Messages() {
		meta, err := m.Metadata()
		if err != nil {
			return out, fmt.Errorf("natsbox: raw readings: %w", err)
		}
		r.open = append(r.open, m)
		out = append(out, RawMessage{Seq: meta.Sequence.Stream, Topic: topicOf(m.Subject()), Body: m.Data(), At: meta.Timestamp.UTC()})
	}
	if err := batch.Error(); err != nil && !errors.Is(err, nats.ErrTimeout) && !errors.Is(err, jetstream.ErrNoMessages) {
		return out, fmt.Errorf("natsbox: raw readings: %w", err)
	}
	return out, nil
}

// Done says that all messages up to seq are taken care of: they are not given again, also not after a crash.
func (r *Raw) Done(ctx context.Context, seq uint64) error {
	for n := len(r.open); n > 0; n-- {
		m := r.open[n-1]
		meta, err := m.Metadata()
		if err != nil {
			return fmt.Errorf("natsbox: raw readings: %w", err)
		}
		if meta.Sequence.Stream > seq {
			continue
		}
		if err := m.DoubleAck(ctx); err != nil {
			return fmt.Errorf("natsbox: raw readings: done up to %d: %w", seq, err)
		}
		r.open = append([]jetstream.Msg(nil), r.open[n:]...)
		return nil
	}
	return nil
}

// Get reads one message, done or not. false: it is not, or no longer, in the stream.
func (r *Raw) Get(ctx context.Context, seq uint64) (RawMessage, bool, error) {
	m, err := r.stream.GetMsg(ctx, seq)
	switch {
	case errors.Is(err, jetstream.ErrMsgNotFound):
		return RawMessage{}, false, nil
	case err != nil:
		return RawMessage{}, false, fmt.Errorf("natsbox: raw reading %d: %w", seq, err)
	}
	return RawMessage{Seq: m.Sequence, Topic: topicOf(m.Subject), Body: m.Data, At: m.Time.UTC()}, true, nil
}

// Tail gives the last n messages that are done, fewer if the stream has no more, in their order.
func (r *Raw) Tail(ctx context.Context, n int) ([]RawMessage, error) {
	info, err := r.consumer.Info(ctx)
	if err != nil {
		return nil, fmt.Errorf("natsbox: raw readings: %w", err)
	}
	first, err := r.First(ctx)
	if err != nil {
		return nil, err
	}
	var out []RawMessage
	last := info.AckFloor.Stream
	for seq := max(first, last+1-min(uint64(n), last)); seq <= last; seq++ {
		m, ok, err := r.Get(ctx, seq)
		if err != nil {
			return nil, err
		}
		if ok {
			out = append(out, m)
		}
	}
	return out, nil
}

// First is the place of the oldest message that the stream still has, or of the next one where it has none.
func (r *Raw) First(ctx context.Context) (uint64, error) {
	info, err := r.stream.Info(ctx)
	if err != nil {
		return 0, fmt.Errorf("natsbox: raw readings: %w", err)
	}
	return max(info.State.FirstSeq, 1), nil
}

// topicOf turns a subject back into the topic of MQTT that it came from: levels are divided by a slash there, a dot within
// one is // here, and a level that is empty is a slash (nats-server, mqtt.go, mqttToNATSSubjectConversion).
func topicOf(subject string) string {
	levels := strings.Split(subject, ".")
	for i, l := range levels {
		if l == "/" {
			l = ""
		}
		levels[i] = strings.ReplaceAll(l, "//", ".")
	}
	return strings.Join(levels, "/")
}
