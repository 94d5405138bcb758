package jetlog_test

import (
	"context"
	"testing"
	"time"

	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go"

	"latewood/events/ledger"
	"latewood/events/ledger/jetlog"
)

const farm = "tern-hollow"

// A broker is a nats-server in this process, with nothing around it, that a test can stop and start again.
type broker struct {
	dir string
	srv *server.Server
}

func startBroker(t testing.TB) *broker {
	t.Helper()
	b := &broker{dir: t.TempDir()}
	b.start(t)
	t.Cleanup(b.stop)
	return b
}

func (b *broker) start(t testing.TB) {
	t.Helper()
	srv, err := server.NewServer(&server.Options{
		ServerName: "test", DontListen: true, NoSigs: true, NoLog: true,
		JetStream: true, StoreDir: b.dir, SyncAlways: true,
	})
	if err != nil {
		t.Fatalf("server: %v", err)
	}
	go srv.Start()
	if !srv.ReadyForConnections(20 * time.Second) {
		t.Fatal("the server does not start")
	}
	b.srv = srv
}

func (b *broker) stop() {
	b.srv.Shutdown()
	b.srv.WaitForShutdown()
}

func (b *broker) conn(t testing.TB) *nats.Conn {
	t.Helper()
	nc, err := nats.Connect("", nats.InProcessServer(b.srv), nats.NoReconnect())
	if err != nil {
		t.Fatalf("connect: %v", err)
	}
	t.Cleanup(nc.Close)
	return nc
}

// open opens the farm's ledger with a connection for appends and another for reads.
func (b *broker) open(t testing.TB) *jetlog.Log {
	t.Helper()
	return b.openWith(t, jetlog.Options{Create: true})
}

func (b *broker) openWith(t testing.TB, o jetlog.Options) *jetlog.Log {
	t.Helper()
	o.Reader = b.conn(t)
	log, err := jetlog.Open(context.Background(), b.conn(t), farm, o)
	if err != nil {
		t.Fatalf("open: %v", err)
	}
	return log
}

func mustAppend(t testing.TB, log ledger.Log, expectedLast uint64, entries []ledger.Entry) {
	t.Helper()
	if err := log.Append(context.Background(), expectedLast, entries); err != nil {
		t.Fatalf("append %d entries behind place %d: %v", len(entries), expectedLast, err)
	}
}
