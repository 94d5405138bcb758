package jetlog_test

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"latewood/events/ledger"
	"latewood/events/ledger/jetlog"
	"latewood/events/ledger/ledgertest"
)

// startCluster starts three servers that keep everything three times.
func startCluster(t *testing.T) []*process {
	t.Helper()
	const size = 3
	var routes []string
	ports := make([]int, size)
	for i := range ports {
		ports[i] = freePort(t)
		routes = append(routes, fmt.Sprintf("nats://127.0.0.1:%d", ports[i]))
	}
	var all []*process
	for i := range size {
		p := &process{dir: t.TempDir(), port: freePort(t)}
		config := fmt.Sprintf("server_name: n%d\nlisten: 127.0.0.1:%d\njetstream { store_dir: %q, sync_interval: always }\n"+
			"cluster { name: c, listen: 127.0.0.1:%d, routes: [%s] }\n",
			i, p.port, filepath.ToSlash(filepath.Join(p.dir, "store")), ports[i], strings.Join(routes, ", "))
		if err := os.WriteFile(filepath.Join(p.dir, "server.conf"), []byte(config), 0o600); err != nil {
			t.Fatal(err)
		}
		p.start(t)
		t.Cleanup(p.kill)
		all = append(all, p)
	}
	return all
}

// TestLogCluster runs the contract over a cluster of three: it answers otherwise than one server does, has its own code for
// a conflict, and replicas that lag.
func TestLogCluster(t *testing.T) {
	t.Parallel()
	servers := startCluster(t)
	var urls []string
	for _, p := range servers {
		urls = append(urls, fmt.Sprintf("nats://127.0.0.1:%d", p.port))
	}
	conn := func(t *testing.T) *nats.Conn {
		t.Helper()
		nc, err := nats.Connect(strings.Join(urls, ","), nats.ReconnectBufSize(-1), nats.MaxReconnects(-1))
		if err != nil {
			t.Fatalf("connect: %v", err)
		}
		t.Cleanup(nc.Close)
		return nc
	}
	js, err := jetstream.New(conn(t))
	if err != nil {
		t.Fatal(err)
	}
	for deadline := time.Now().Add(time.Minute); ; {
		ctx, cancel := context.WithTimeout(t.Context(), time.Second)
		_, err := js.AccountInfo(ctx)
		cancel()
		if err == nil {
			break
		}
		if time.Now().After(deadline) {
			t.Fatalf("the cluster does not come together: %v", err)
		}
		time.Sleep(50 * time.Millisecond)
	}
	var farms atomic.Int64
	ledgertest.Run(t, func(t *testing.T) ledgertest.Harness {
		code := fmt.Sprintf("farm-%d", farms.Add(1))
		return ledgertest.Harness{Open: func(t *testing.T) ledger.Log {
			log, err := jetlog.Open(context.Background(), conn(t), code, jetlog.Options{Create: true, Replicas: 3, Reader: conn(t)})
			if err != nil {
				t.Fatalf("open: %v", err)
			}
			return log
		}}
	})
}
