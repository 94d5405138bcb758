package jetlog_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"github.com/nats-io/nats.go"

	"latewood/events/ledger"
	"latewood/events/ledger/jetlog"
	"latewood/events/ledger/ledgertest"
)

// serverDir is where the stand-alone server is built, made when it is first asked for.
var serverDir = sync.OnceValues(func() (string, error) { return os.MkdirTemp("", "jetlog-server-") })

// serverBinary builds the stand-alone nats-server from the module that is pinned here, once a run. The build cache keeps
// all but the linking.
var serverBinary = sync.OnceValues(func() (string, error) {
	dir, err := serverDir()
	if err != nil {
		return "", err
	}
	path := filepath.Join(dir, "nats-server.exe") // the ending does not hurt where it is not needed
	out, err := exec.Command("go", "build", "-ldflags=-s -w", "-o", path, "github.com/nats-io/nats-server/v2").CombinedOutput()
	if err != nil {
		return "", fmt.Errorf("building nats-server: %w\n%s", err, out)
	}
	return path, nil
})

// removeServerBinary tidies up at the end of the run.
func removeServerBinary() {
	if dir, err := serverDir(); err == nil {
		os.RemoveAll(dir)
	}
}

// A process is a nats-server of its own, reached over TCP.
type process struct {
	dir  string
	port int
	cmd  *exec.Cmd
}

func startProcess(t testing.TB) *process {
	t.Helper()
	p := &process{dir: t.TempDir(), port: freePort(t)}
	// The configuration of an operator, as far as it matters here.
	config := fmt.Sprintf("server_name: other\nlisten: 127.0.0.1:%d\njetstream { store_dir: %q, sync_interval: always }\n",
		p.port, filepath.ToSlash(filepath.Join(p.dir, "store")))
	if err := os.WriteFile(filepath.Join(p.dir, "server.conf"), []byte(config), 0o600); err != nil {
		t.Fatal(err)
	}
	p.start(t)
	t.Cleanup(p.kill)
	return p
}

func freePort(t testing.TB) int {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	return l.Addr().(*net.TCPAddr).Port
}

func (p *process) start(t testing.TB) {
	t.Helper()
	binary, err := serverBinary()
	if err != nil {
		t.Fatal(err)
	}
	p.cmd = exec.Command(binary, "-c", filepath.Join(p.dir, "server.conf"), "-l", filepath.Join(p.dir, "server.log"))
	if err := p.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	deadline := time.Now().Add(20 * time.Second)
	for {
		c, err := net.Dial("tcp", fmt.Sprintf("127.0.0.1:%d", p.port))
		if err == nil {
			c.Close()
			return
		}
		if time.Now().After(deadline) {
			log, _ := os.ReadFile(filepath.Join(p.dir, "server.log"))
			t.Fatalf("the server does not listen: %v\n%s", err, log)
		}
		time.Sleep(5 * time.Millisecond)
	}
}

// kill ends the process without a chance to tidy up, as a power cut would as far as a process can.
func (p *process) kill() {
	p.cmd.Process.Kill()
	p.cmd.Wait()
}

func (p *process) conn(t testing.TB) *nats.Conn {
	t.Helper()
	nc, err := nats.Connect(fmt.Sprintf("nats://127.0.0.1:%d", p.port),
		nats.ReconnectBufSize(-1), nats.MaxReconnects(-1), nats.ReconnectWait(20*time.Millisecond), nats.ReconnectJitter(0, 0))
	if err != nil {
		t.Fatalf("connect: %v", err)
	}
	t.Cleanup(nc.Close)
	return nc
}

func (p *process) open(t testing.TB, o jetlog.Options) *jetlog.Log {
	t.Helper()
	o.Create, o.Reader = true, p.conn(t)
	log, err := jetlog.Open(context.Background(), p.conn(t), farm, o)
	if err != nil {
		t.Fatalf("open: %v", err)
	}
	return log
}

func TestLogProcess(t *testing.T) {
	t.Parallel()
	ledgertest.Run(t, func(t *testing.T) ledgertest.Harness {
		p := startProcess(t)
		return ledgertest.Harness{
			Open: func(t *testing.T) ledger.Log { return p.open(t, jetlog.Options{}) },
			Restart: func(t *testing.T) {
				p.kill()
				p.start(t)
			},
		}
	})
}

// rounds is n, or many times n in a full proof.
func rounds(n, full int) int {
	if os.Getenv("LATEWOOD_PROOF") == "1" {
		return full
	}
	return n
}

// TestKill kills the server again and again while a writer appends, singly and in batches. What was acknowledged stands,
// no batch stands in part, nothing stands twice, and the follower that was there all along has seen exactly the ledger.
func TestKill(t *testing.T) {
	t.Parallel()
	p := startProcess(t)
	log := p.open(t, jetlog.Options{Timeout: 5 * time.Second})
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()

	var followed []ledger.Entry
	reached := make(chan uint64, 1)
	followDone := make(chan error, 1)
	follower := p.open(t, jetlog.Options{Timeout: 5 * time.Second})
	go func() {
		followDone <- follower.Follow(ctx, 1, func(run []ledger.Entry) error {
			followed = append(followed, run...)
			select {
			case <-reached:
			default:
			}
			reached <- run[len(run)-1].Place
			return nil
		})
	}()

	var (
		acked              []ledger.Entry
		unknown, stoodThen int
	)
	kills := rounds(4, 200)
	for round := range kills {
		stop := make(chan struct{})
		writer := make(chan error, 1)
		go func() {
			for i := 0; ; i++ {
				select {
				case <-stop:
					writer <- nil
					return
				default:
				}
				entries := ledgertest.Entries(fmt.Sprintf("round %d append %d", round, i), []int{1, 1, 1, 40}[i%4])
				err := log.Append(ctx, uint64(len(acked)), entries)
				if errors.Is(err, ledger.ErrStore) && !errors.Is(err, ledger.ErrUnknownOutcome) {
					time.Sleep(5 * time.Millisecond) // the server is away; nothing was stored
					continue
				}
				if errors.Is(err, ledger.ErrUnknownOutcome) {
					unknown++
					var found int
					if found, err = resolve(ctx, log, uint64(len(acked)), entries); found == 0 && err == nil {
						continue
					}
					stoodThen++
				}
				if err != nil {
					writer <- fmt.Errorf("append %d behind place %d: %w", i, len(acked), err)
					return
				}
				acked = append(acked, entries...)
			}
		}()
		time.Sleep(time.Duration(20+37*(round%5)) * time.Millisecond)
		p.kill()
		p.start(t)
		time.Sleep(50 * time.Millisecond)
		close(stop)
		if err := <-writer; err != nil {
			t.Fatalf("round %d: %v", round, err)
		}
	}
	if len(acked) == 0 {
		t.Fatal("nothing was acknowledged")
	}
	n := 0
	for e, err := range log.Read(ctx, 1, 0) {
		if err != nil {
			t.Fatalf("read: %v", err)
		}
		if n == len(acked) || !bytes.Equal(e.Body, acked[n].Body) || e.Kind != acked[n].Kind {
			t.Fatalf("place %d of %d holds %s", e.Place, len(acked), e.Body)
		}
		n++
	}
	if n != len(acked) {
		t.Errorf("acknowledged %d, found %d", len(acked), n)
	}
	for last := uint64(0); last < uint64(len(acked)); {
		select {
		case last = <-reached:
		case err := <-followDone:
			t.Fatalf("the follower ended: %v", err)
		case <-time.After(30 * time.Second):
			t.Fatalf("the follower stands at %d of %d", last, len(acked))
		}
	}
	cancel()
	if err := <-followDone; !errors.Is(err, context.Canceled) {
		t.Errorf("the follower ended with %v", err)
	}
	for i, e := range followed {
		if e.Place != uint64(i)+1 || !bytes.Equal(e.Body, acked[i].Body) {
			t.Fatalf("the follower saw %s at %d, its entry %d", e.Body, e.Place, i)
		}
	}
	t.Logf("%d kills: %d entries acknowledged, 0 lost, 0 doubled; %d outcomes unknown, of which %d stood", kills, len(acked), unknown, stoodThen)
}

// resolve asks until the server is back to answer.
func resolve(ctx context.Context, log ledger.Log, expectedLast uint64, entries []ledger.Entry) (int, error) {
	for deadline := time.Now().Add(20 * time.Second); ; {
		found, err := ledger.Resolve(ctx, log, expectedLast, entries)
		if err == nil || !errors.Is(err, ledger.ErrStore) || time.Now().After(deadline) {
			return found, err
		}
		time.Sleep(10 * time.Millisecond)
	}
}

// TestGone asks of a server that is not there.
func TestGone(t *testing.T) {
	t.Parallel()
	p := startProcess(t)
	log := p.open(t, jetlog.Options{Timeout: 300 * time.Millisecond})
	mustAppend(t, log, 0, ledgertest.Entries("gone", 50))
	p.kill()
	from := time.Now()
	for _, n := range []int{1, 10} {
		if err := log.Append(t.Context(), 50, ledgertest.Entries("gone", n)); err == nil {
			t.Errorf("append of %d to a server that is gone: no error", n)
		}
	}
	if _, err := log.Last(t.Context()); !errors.Is(err, ledger.ErrStore) {
		t.Errorf("last: got %v, want ErrStore", err)
	}
	for _, last := range []uint64{3, 50, 60} {
		var got error
		for _, err := range log.Read(t.Context(), 1, last) {
			got = err
		}
		if !errors.Is(got, ledger.ErrStore) {
			t.Errorf("read to %d: got %v, want ErrStore", last, got)
		}
	}
	if took := time.Since(from); took > 10*time.Second {
		t.Errorf("six calls with a limit of 0.3 s took %v", took)
	}
}
