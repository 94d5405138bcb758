package serve_test

import (
	"bytes"
	"context"
	"io"
	"log"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync"
	"testing"

	"latewood/services/serve"
)

// file is a file in memory.
type file struct{ io.Reader }

func (file) Name() string { return "a.csv" }

// loud collects what the HTTP server has to say against its handlers.
type loud struct {
	mu  sync.Mutex
	buf bytes.Buffer
}

func (l *loud) Write(b []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.buf.Write(b)
}

func (l *loud) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.buf.String()
}

// started serves three operations: one that reads its file, one that leaves it, one that fails.
func started(t *testing.T) (*serve.Client, *loud) {
	t.Helper()
	ops := map[string]serve.Op{
		"read": func(_ context.Context, q []byte, f serve.File, progress func(any)) (any, int, error) {
			progress(map[string]int{"rows": 1})
			n, err := io.Copy(io.Discard, f)
			return map[string]any{"bytes": n, "request": string(q)}, 0, err
		},
		"leave": func(context.Context, []byte, serve.File, func(any)) (any, int, error) {
			return map[string]int{"a": 1}, 3, nil
		},
		"fail": func(context.Context, []byte, serve.File, func(any)) (any, int, error) {
			return nil, 2, &serve.Fault{Exit: 2, Text: "wrong"}
		},
	}
	srv := httptest.NewUnstartedServer(serve.Handler("secret", ops, slog.New(slog.DiscardHandler)))
	said := &loud{}
	srv.Config.ErrorLog = log.New(said, "", 0)
	srv.Start()
	t.Cleanup(srv.Close)
	return &serve.Client{Base: srv.URL, Token: "secret"}, said
}

// Calls follow one another on one connection, also where an operation leaves its file unread.
func TestCalls(t *testing.T) {
	t.Parallel()
	c, said := started(t)
	big := strings.Repeat("x", 1<<20)
	for range 30 {
		rows := 0
		doc, exit, err := c.Call(t.Context(), "read", map[string]int{"q": 1}, file{strings.NewReader(big)}, func([]byte) { rows++ })
		if err != nil || exit != 0 || rows != 1 || !strings.Contains(string(doc), `"bytes":1048576`) {
			t.Fatalf("read: %s, exit %d, %d of progress, %v", doc, exit, rows, err)
		}
		if _, exit, err := c.Call(t.Context(), "leave", nil, file{strings.NewReader(big)}, nil); err != nil || exit != 3 {
			t.Fatalf("leave: exit %d, %v", exit, err)
		}
		if _, exit, err := c.Call(t.Context(), "fail", nil, nil, nil); err == nil || exit != 2 || err.Error() != "wrong" {
			t.Fatalf("fail: exit %d, %v", exit, err)
		}
	}
	if s := said.String(); s != "" {
		t.Errorf("the server said: %s", s)
	}
}

// Nobody gets in without the token, nor from a page of another origin.
func TestToken(t *testing.T) {
	t.Parallel()
	c, _ := started(t)
	stranger := &serve.Client{Base: c.Base, Token: "guess"}
	if _, _, err := stranger.Call(t.Context(), "leave", nil, nil, nil); err == nil {
		t.Error("a wrong token got in")
	}
	r, err := http.NewRequestWithContext(t.Context(), http.MethodPost, c.Base+"/v1/leave", strings.NewReader("x"))
	if err != nil {
		t.Fatal(err)
	}
	r.Header.Set("Authorization", "Bearer secret")
	r.Header.Set("Origin", "https://example.org")
	resp, err := http.DefaultClient.Do(r)
	if err != nil {
		t.Fatal(err)
	}
	resp.Body.Close()
	if resp.StatusCode != http.StatusForbidden {
		t.Errorf("a page of another origin got %s", resp.Status)
	}
}
