package natsbox

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"time"

	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"latewood/events/ledger/disk"
)

// DefaultReserve is how much of the disk stays free if Options say nothing, in bytes: room for the archive's next
// tiles, for Postgres, for the system, and for somebody to log in and tidy up.
const DefaultReserve = 64 << 20

// Options say what kind of broker to start.
type Options struct {
	// Dir is the folder of the broker's store. It is made if it is not there.
	Dir string
	// Reserve is how many bytes of the disk the store leaves free, measured once at start; 0 is DefaultReserve.
	Reserve int64
	// Sensors are the users that may publish readings, by name, with their passwords (plain, or bcrypt as nats-server
	// takes it).
	Sensors map[string]string
	// MQTT is the host:port on which stations are listened to; empty: no listener, and the process has no port open.
	MQTT string
	// Certificate is what the MQTT listener shows; it then speaks TLS and nothing else. Nil: stations speak in the clear.
	Certificate *tls.Certificate
	// Logger gets the server's warnings and errors, and its notices at debug level. Nil: nothing is logged.
	Logger *slog.Logger
}

// A Box is a running broker. Stop it when done.
type Box struct {
	dir    string
	srv    *server.Server
	log    *serverLog
	lock   *disk.Lock
	logins logins

	mu    sync.Mutex
	conns []*nats.Conn // nil after Stop
	open  bool
}

// Start starts a broker on a folder and returns when it answers. Recovering a large store takes seconds (about one for a
// million records whose index is lost); ctx limits the wait.
//
// Errors about the folder are *FolderError. Opening a damaged store can destroy what is left of it: whoever owns the
// folder looks at it before.
func Start(ctx context.Context, o Options) (_ *Box, err error) {
	dir, err := filepath.Abs(o.Dir)
	if err != nil {
		return nil, fmt.Errorf("natsbox: folder %s: %w", o.Dir, err)
	}
	lock, err := openFolder(dir)
	if err != nil {
		return nil, err
	}
	defer func() {
		if err != nil {
			lock.Unlock()
		}
	}()
	maxStore, err := maxStore(dir, o.Reserve)
	if err != nil {
		return nil, err
	}
	logins, err := newLogins()
	if err != nil {
		return nil, err
	}
	so, err := serverOptions(dir, maxStore, logins, o)
	if err != nil {
		return nil, err
	}
	srv, err := server.NewServer(so)
	if err != nil {
		return nil, fmt.Errorf("natsbox: configuring the broker: %w", err)
	}
	b := &Box{dir: dir, srv: srv, log: newServerLog(o.Logger), lock: lock, logins: logins, open: true}
	srv.SetLoggerV2(b.log, false, false, false)
	started := make(chan struct{})
	go func() {
		defer close(started)
		srv.Start()
	}()
	select {
	case <-started:
		if err = b.ready(ctx); err == nil && o.MQTT != "" {
			err = b.boundSensors(ctx)
		}
	case <-ctx.Done():
		err = ctx.Err()
	}
	if err != nil {
		// The server counts what it starts in a way that a shutdown at the same time can miss (the race detector saw it), so
		// its start is waited for. The folder is let go of only after both have ended.
		<-started
		srv.Shutdown()
		srv.WaitForShutdown()
		return nil, fmt.Errorf("natsbox: starting the broker in %s: %w", dir, err)
	}
	return b, nil
}

// openFolder makes the folder, locks it, and makes sure that a file in it can be written and synced.
func openFolder(dir string) (*disk.Lock, error) {
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return nil, folderError(dir, "opening", err)
	}
	lock, err := disk.TryLock(filepath.Join(dir, "broker.lock"))
	if err != nil {
		return nil, folderError(dir, "locking", err)
	}
	probe := filepath.Join(dir, "probe")
	err = disk.WriteFile(probe, func(w io.Writer) error {
		_, err := w.Write(make([]byte, 4096))
		return err
	})
	if err == nil {
		err = os.Remove(probe)
	}
	if err != nil {
		lock.Unlock()
		return nil, folderError(dir, "writing", err)
	}
	return lock, nil
}

// maxStore is how large JetStream may grow in dir: what it has and what the disk has, less the reserve. The server's own
// default is three quarters of both, which would refuse appends at the next start on a disk that the ledger has mostly
// filled.
func maxStore(dir string, reserve int64) (int64, error) {
	if reserve == 0 {
		reserve = DefaultReserve
	}
	free, err := disk.Free(dir)
	if err != nil {
		return 0, folderError(dir, "measuring", err)
	}
	var used int64
	err = filepath.WalkDir(filepath.Join(dir, server.JetStreamStoreDir), func(_ string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if d.Type().IsRegular() {
			info, err := d.Info()
			if err != nil {
				return err
			}
			used += info.Size()
		}
		return nil
	})
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return 0, folderError(dir, "measuring", err)
	}
	// Zero would mean "choose yourself" to the server.
	return used + max(free-reserve, 1), nil
}

// ready waits until JetStream answers on the ledger's account.
func (b *Box) ready(ctx context.Context) error {
	if err := b.log.fatal(); err != nil {
		return err
	}
	nc, err := b.Ledger()
	if err != nil {
		return err
	}
	js, err := jetstream.New(nc)
	if err != nil {
		return err
	}
	for wait := time.Millisecond; ; wait = min(2*wait, 100*time.Millisecond) {
		actx, cancel := context.WithTimeout(ctx, time.Second)
		_, err := js.AccountInfo(actx)
		cancel()
		if err == nil {
			return nil
		}
		select {
		case <-ctx.Done():
			return errors.Join(ctx.Err(), err, b.log.fatal())
		case <-time.After(wait):
		}
	}
}

// Health says nil if the broker can store. It reads the folder and is meant for when something went wrong and for a
// status page, not for every append. A disk that ran full Is ErrFull; the ledger then takes nothing more until the
// box has been stopped and started again with room to write.
func (b *Box) Health(context.Context) error {
	if !b.srv.Running() {
		return errStopped
	}
	h := b.srv.Healthz(&server.HealthzOptions{})
	if h.Error == "" {
		return nil
	}
	// The server hands the system's error on as text only.
	if strings.Contains(h.Error, "no space left") || strings.Contains(h.Error, "not enough space") {
		return fmt.Errorf("natsbox: broker in %s: %w: %s", b.dir, ErrFull, h.Error)
	}
	if free, err := disk.Free(b.dir); err == nil && free < 1<<20 {
		return fmt.Errorf("natsbox: broker in %s: %w: %s", b.dir, ErrFull, h.Error)
	}
	return fmt.Errorf("natsbox: broker in %s: %s", b.dir, h.Error)
}

// Stop ends the broker: connections first, what they still have to send goes out, then the server, which writes its index
// so that the next start is quick. It returns when the folder is free. A second call does nothing.
func (b *Box) Stop() {
	b.mu.Lock()
	conns := b.conns
	b.conns = nil
	wasOpen := b.open
	b.open = false
	b.mu.Unlock()
	if !wasOpen {
		return
	}
	drain(conns)
	b.srv.Shutdown()
	b.srv.WaitForShutdown()
	b.lock.Unlock()
}
