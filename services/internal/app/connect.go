package app

import (
	"context"
	"crypto/rand"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"time"

	"latewood/events"
	"latewood/events/ledger/disk"
	"latewood/events/words"
	"latewood/services/serve"
)

// A Connection runs operations; Close ends it.
type Connection interface {
	Caller
	Close() error
}

// patience is how long a command waits for another short command to let go of the folder.
const patience = 3 * time.Second

// OpenSoon is Open with patience: a short command that has the folder open is waited for, a process that runs on it is not.
func OpenSoon(ctx context.Context, o Options) (*App, error) {
	until := time.Now().Add(patience)
	for {
		a, err := Open(ctx, o)
		if !errors.Is(err, ErrBusy) {
			return a, err
		}
		if _, ok := running(o.Dir); ok || time.Now().After(until) {
			return nil, &serve.Fault{Exit: 1, Text: words.Say("app.folder-in-use", "dir", o.Dir), Err: err}
		}
		select {
		case <-ctx.Done():
			return nil, ctx.Err()
		case <-time.After(50 * time.Millisecond):
		}
	}
}

// Connect reaches a folder: through the process that runs on it, else by opening it.
func Connect(ctx context.Context, o Options) (Connection, error) {
	until := time.Now().Add(patience)
	for {
		a, err := Open(ctx, o)
		if err == nil {
			return a, nil
		}
		if !errors.Is(err, ErrBusy) {
			return nil, err
		}
		if c, ok := running(o.Dir); ok {
			return remote{c}, nil
		}
		if time.Now().After(until) {
			return nil, &serve.Fault{Exit: 1, Text: words.Say("app.folder-in-use", "dir", o.Dir), Err: err}
		}
		select {
		case <-ctx.Done():
			return nil, ctx.Err()
		case <-time.After(50 * time.Millisecond):
		}
	}
}

type remote struct{ *serve.Client }

func (remote) Close() error { return nil }

// runFile is what run.json holds.
type runFile struct {
	Port  int    `json:"port"`
	Token string `json:"token"` // for every operation
	Reads string `json:"reads"` // for the records of the archives, and nothing else
}

func runPath(dir string) string { return filepath.Join(dir, "run.json") }

// running finds the process that serves a folder.
func running(dir string) (*serve.Client, bool) {
	b, err := os.ReadFile(runPath(dir))
	if err != nil {
		return nil, false
	}
	var r runFile
	if events.ReadJSON(b, &r) != nil || r.Port == 0 {
		return nil, false
	}
	address := net.JoinHostPort("127.0.0.1", fmt.Sprint(r.Port))
	c, err := net.DialTimeout("tcp", address, time.Second)
	if err != nil {
		return nil, false // left behind by a process that was killed
	}
	_ = c.Close()
	return &serve.Client{Base: "http://" + address, Token: r.Token}, true
}

// Serve answers other commands on this machine until ctx ends or a service fails. ready gets the address.
func (a *App) Serve(ctx context.Context, listen string, ready func(address string)) error {
	l, err := net.Listen("tcp", listen)
	if err != nil {
		return &serve.Fault{Exit: 1, Text: words.Say("app.listen", "address", listen), Err: err}
	}
	var random [64]byte
	if _, err := rand.Read(random[:]); err != nil {
		return fmt.Errorf("app: random bytes: %w", err)
	}
	r := runFile{Port: l.Addr().(*net.TCPAddr).Port, Token: hex.EncodeToString(random[:32]), Reads: hex.EncodeToString(random[32:])}
	err = disk.WriteFile(runPath(a.o.Dir), func(w io.Writer) error {
		b, err := events.WriteJSON(r)
		if err == nil {
			_, err = w.Write(append(b, '\n'))
		}
		return err
	})
	if err != nil {
		return folderFault(a.o.Dir, err)
	}
	defer os.Remove(runPath(a.o.Dir))
	ready(l.Addr().String())
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	served := make(chan error, 1)
	mux := http.NewServeMux()
	mux.Handle("/", serve.Handler(r.Token, a.ops(), a.o.Logger))
	mux.Handle(archivePath, a.tiles(r.Reads))
	go func() { served <- serve.Run(ctx, l, mux) }()
	select {
	case err := <-a.fatal:
		cancel()
		<-served
		return err
	case err := <-served:
		return err
	}
}
