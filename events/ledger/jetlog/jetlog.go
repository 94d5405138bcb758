package jetlog

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"sync/atomic"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"latewood/events/ledger"
)

// DefaultTimeout is how long one exchange with the broker may take if Options say nothing. A synced append takes about
// a millisecond; a shared disk can stall for a third of a second; a cluster that lost its leader, killed, takes 4 to
// 8 seconds to elect another.
const DefaultTimeout = 10 * time.Second

// Options say how to open a ledger.
type Options struct {
	// Create makes the ledger if the broker has none of this farm. It is for the one moment in which a farm is opened:
	// with it set always, a ledger that got lost would be replaced by an empty one in silence.
	Create bool
	// Replicas is how many servers keep the ledger: 3 in a cluster. 0 makes one, and takes any number of one that is there.
	Replicas int
	// Timeout limits each exchange with the broker; 0 is DefaultTimeout.
	Timeout time.Duration
	// Reader is another connection to the same broker, for reading and following, so that a replay does not stand in the
	// way of an append's answer. Nil: everything goes over one connection.
	Reader *nats.Conn
	// Health says what is wrong with the store, nil if nothing. It is asked when an append got no answer, and before each
	// append after that until it says nil. Nil if nobody can say, as with a broker elsewhere.
	Health func(context.Context) error
}

// A Log is the ledger of one farm in JetStream. Make one with Open. It holds nothing that has to be closed; the
// connections are their owner's.
type Log struct {
	farm   string
	stream string // LATEWOOD_farm
	prefix string // latewood.farm.

	nc      *nats.Conn
	js      jetstream.JetStream // for appends, and for asking the stream's leader
	reader  jetstream.JetStream // for consumers and single gets
	handle  jetstream.Stream    // on nc
	gets    jetstream.Stream    // on the reader's connection
	created time.Time           // of the stream: tells it from one of the same name that replaced it

	timeout time.Duration
	health  func(context.Context) error
	suspect atomic.Bool   // an append got no answer, and the store was not found well since
	known   atomic.Uint64 // a place that the log is known to have
}

var _ ledger.Log = (*Log)(nil)

// Open opens the ledger of a farm, and makes it first if Options say so and it is not there.
//
// It returns an error that Is ErrAbsent if there is none, *ConfigError if the stream is set up so that it could lose
// records, and *ledger.HoleError if it has lost some by its own account.
func Open(ctx context.Context, nc *nats.Conn, farm string, o Options) (*Log, error) {
	if !validFarm(farm) {
		return nil, fmt.Errorf("jetlog: %q is not a farm code: want up to 32 of a-z, 0-9 and inner '-', as tern-hollow", farm)
	}
	l := &Log{
		farm:    farm,
		stream:  "LATEWOOD_" + farm,
		prefix:  "latewood." + farm + ".",
		nc:      nc,
		timeout: o.Timeout,
		health:  o.Health,
	}
	if l.timeout == 0 {
		l.timeout = DefaultTimeout
	}
	if o.Reader == nil {
		o.Reader = nc
	}
	if err := l.open(ctx, o); err != nil {
		return nil, fmt.Errorf("jetlog: opening the ledger of %s: %w", farm, err)
	}
	return l, nil
}

func (l *Log) open(ctx context.Context, o Options) error {
	ctx, cancel := context.WithTimeout(ctx, l.timeout)
	defer cancel()
	var err error
	if l.js, err = jetstream.New(l.nc, jetstream.WithDefaultTimeout(l.timeout)); err != nil {
		return err
	}
	if l.reader, err = jetstream.New(o.Reader, jetstream.WithDefaultTimeout(l.timeout)); err != nil {
		return err
	}
	l.handle, err = l.js.Stream(ctx, l.stream)
	if errors.Is(err, jetstream.ErrStreamNotFound) {
		if !o.Create {
			return ErrAbsent
		}
		l.handle, err = l.js.CreateStream(ctx, l.newConfig(o.Replicas))
	}
	if err != nil {
		return l.storeError(err)
	}
	config, err := l.serverConfig(ctx)
	if err != nil {
		return l.storeError(err)
	}
	if err := l.checkConfig(config, o.Replicas); err != nil {
		return err
	}
	if l.gets, err = l.reader.Stream(ctx, l.stream); err != nil {
		return l.storeError(err)
	}
	l.created = l.handle.CachedInfo().Created
	_, err = l.Last(ctx)
	return err
}

// validFarm keeps to the grammar of codes: [a-z0-9] and inner '-', up to 32 characters.
func validFarm(farm string) bool {
	if farm == "" || len(farm) > 32 || farm[0] == '-' || farm[len(farm)-1] == '-' {
		return false
	}
	return !strings.ContainsFunc(farm, func(c rune) bool {
		return (c < 'a' || c > 'z') && (c < '0' || c > '9') && c != '-'
	})
}

// errReplaced says that the stream that was opened is gone and another has its name.
var errReplaced = errors.New("the stream was made anew")

// storeError makes an error of the broker Is ErrStore. It still Is what it was, as the end of the caller's context.
func (l *Log) storeError(err error) error {
	return fmt.Errorf("%w: %w", ledger.ErrStore, err)
}

// Last is ledger.Log's. The answer is the stream leader's. It also notices a stream that has lost messages by its own
// account (*ledger.HoleError), or was replaced by another of the same name.
func (l *Log) Last(ctx context.Context) (uint64, error) {
	ctx, cancel := context.WithTimeout(ctx, l.timeout)
	defer cancel()
	info, err := l.handle.Info(ctx)
	if err != nil {
		return 0, fmt.Errorf("jetlog: asking for the last place of %s: %w", l.farm, l.storeError(err))
	}
	if !info.Created.Equal(l.created) {
		return 0, fmt.Errorf("jetlog: %w: %w: %s was made at %s, that which was opened at %s", ledger.ErrStore, errReplaced,
			l.stream, info.Created.UTC().Format(time.RFC3339Nano), l.created.UTC().Format(time.RFC3339Nano))
	}
	state := info.State
	if state.Msgs != state.LastSeq {
		return 0, l.namedHole(ctx, state)
	}
	l.learn(state.LastSeq)
	return state.LastSeq, nil
}

// namedHole says which place is the first missing one in a stream that counts fewer messages than sequences.
func (l *Log) namedHole(ctx context.Context, state jetstream.StreamState) error {
	if state.FirstSeq > 1 {
		hole := &ledger.HoleError{Want: 1}
		if state.Msgs > 0 {
			hole.Got = state.FirstSeq
		}
		return hole
	}
	info, err := l.handle.Info(ctx, jetstream.WithDeletedDetails(true))
	if err != nil || len(info.State.Deleted) == 0 {
		return fmt.Errorf("jetlog: %w: the stream %s has %d messages up to sequence %d", ledger.ErrStore, l.stream, state.Msgs, state.LastSeq)
	}
	hole := &ledger.HoleError{Want: info.State.Deleted[0]}
	if hole.Got, err = l.nextAfter(ctx, hole.Want); err != nil {
		hole.Got = 0
	}
	return hole
}

// learn keeps the largest place that the log is known to have.
func (l *Log) learn(place uint64) {
	for {
		known := l.known.Load()
		if place <= known || l.known.CompareAndSwap(known, place) {
			return
		}
	}
}
