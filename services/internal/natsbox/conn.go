package natsbox

import (
	"context"
	"fmt"
	"net/url"
	"slices"
	"strings"
	"time"

	"github.com/nats-io/nats.go"
)

// drainTime limits how long a connection may take to send and handle what it still holds when it is closed.
const drainTime = 5 * time.Second

// Ledger opens a connection to the ledgers' account. Each call opens another one: a reader that replays a whole ledger
// should not stand in the way of an append. The box closes them when it stops; closing one earlier is allowed.
func (b *Box) Ledger() (*nats.Conn, error) {
	return b.connect(ledgerUser, b.logins.ledger)
}

// Readings opens a connection that may read what the sensors publish, wx.>, and nothing else.
func (b *Box) Readings() (*nats.Conn, error) {
	return b.connect(readingsUser, b.logins.readings)
}

// Sensor opens a connection as one of the sensors: what a station does over MQTT, without a port.
func (b *Box) Sensor(user, password string) (*nats.Conn, error) {
	return b.connect(user, password)
}

func (b *Box) connect(user, password string) (*nats.Conn, error) {
	nc, err := nats.Connect("",
		nats.InProcessServer(b.srv),
		nats.UserInfo(user, password),
		nats.Name(user),
		// Nothing lies between us and the server that could come back: if the pipe breaks, the server is gone.
		nats.NoReconnect(),
		nats.DrainTimeout(drainTime),
		// Denied permissions come in here; without a handler the library would print them to stderr.
		nats.ErrorHandler(func(_ *nats.Conn, _ *nats.Subscription, err error) {
			b.log.to.Debug("connection", "user", user, "error", err)
		}),
	)
	if err != nil {
		if !b.srv.Running() {
			return nil, errStopped
		}
		return nil, fmt.Errorf("natsbox: connecting as %s: %w", user, err)
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	if !b.open {
		nc.Close()
		return nil, errStopped
	}
	b.conns = append(slices.DeleteFunc(b.conns, (*nats.Conn).IsClosed), nc)
	return nc, nil
}

// drain closes connections after what they hold has gone out, and returns when they are closed.
func drain(conns []*nats.Conn) {
	for _, nc := range conns {
		closed := nc.StatusChanged(nats.CLOSED)
		if nc.IsClosed() || nc.Drain() != nil {
			nc.Close()
			continue
		}
		select {
		case <-closed:
		case <-time.After(drainTime + time.Second):
			nc.Close()
		}
	}
}

// A Login says who we are to a remote broker. The zero value sends nothing.
type Login struct {
	User, Password string
	CredsFile      string // a NATS credentials file: user JWT and seed
	CAFile         string // PEM file with the authority that signed the broker's certificate
}

// Dial connects to a broker elsewhere, urls as nats://host:4222 or tls://host:4222, several separated by commas. ctx limits
// the wait for the first connection. Afterwards the connection comes back by itself for as long as it takes.
//
// What is sent while it is away fails at once and is not kept for later: a ledger wants to know.
func Dial(ctx context.Context, urls string, login Login) (*nats.Conn, error) {
	opts := []nats.Option{
		nats.Name(serverName),
		nats.ReconnectBufSize(-1),
		nats.MaxReconnects(-1),
		nats.ReconnectWait(250 * time.Millisecond),
		nats.PingInterval(10 * time.Second),
		nats.MaxPingsOutstanding(2),
		nats.DrainTimeout(drainTime),
	}
	if login.User != "" {
		opts = append(opts, nats.UserInfo(login.User, login.Password))
	}
	if login.CredsFile != "" {
		opts = append(opts, nats.UserCredentials(login.CredsFile))
	}
	if login.CAFile != "" {
		opts = append(opts, nats.RootCAs(login.CAFile))
	}
	if deadline, ok := ctx.Deadline(); ok {
		opts = append(opts, nats.Timeout(time.Until(deadline)))
	}
	type result struct {
		nc  *nats.Conn
		err error
	}
	done := make(chan result, 1)
	go func() {
		nc, err := nats.Connect(urls, opts...)
		done <- result{nc, err}
	}()
	select {
	case r := <-done:
		if r.err != nil {
			return nil, fmt.Errorf("natsbox: connecting to %s: %w", redacted(urls), r.err)
		}
		return r.nc, nil
	case <-ctx.Done():
		go func() {
			if r := <-done; r.nc != nil {
				r.nc.Close()
			}
		}()
		return nil, fmt.Errorf("natsbox: connecting to %s: %w", redacted(urls), ctx.Err())
	}
}

// redacted takes the passwords out of the broker's addresses, for messages.
func redacted(urls string) string {
	parts := strings.Split(urls, ",")
	for i, p := range parts {
		u, err := url.Parse(strings.TrimSpace(p))
		if err != nil {
			parts[i] = "(unreadable address)"
			continue
		}
		parts[i] = u.Redacted()
	}
	return strings.Join(parts, ",")
}
