// Package serve answers over HTTP. Its /v1 is how a command on the same machine reaches a process that has the folder
// open: loopback only, with a token that stands in a file which nobody else can read.
//
// Every operation is one POST to /v1/NAME: a multipart body of a JSON request and, where the operation takes one, a file.
// The answer is a line of JSON for each piece of progress and one for the end:
//
//	{"progress":{"rows":20000}}
//	{"document":{...},"exit":0}       or  {"error":"...","exit":1}
//
// Exit is the exit code that a command ends with.
package serve

import (
	"bytes"
	"context"
	"crypto/subtle"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"mime/multipart"
	"net"
	"net/http"
	"strings"
	"time"

	"latewood/events"
	"latewood/events/words"
)

// A File is what an operation takes beside its request; nil where there is none.
type File interface {
	io.Reader
	Name() string
}

// An Op answers one operation. progress may be called any number of times before it returns, from one goroutine.
type Op func(ctx context.Context, request []byte, file File, progress func(any)) (document any, exit int, err error)

// A Fault is an error with a sentence for people and an exit code.
type Fault struct {
	Exit int    // 1: it could not; 2: wrong use; 3: a check found something
	Text string // a sentence of the catalogue
	Err  error  // the cause, may be nil
}

func (f *Fault) Error() string {
	if f.Err != nil {
		return f.Text + " (" + f.Err.Error() + ")"
	}
	return f.Text
}

func (f *Fault) Unwrap() error { return f.Err }

// maxRequest is the largest JSON request in bytes; files have no limit here.
const maxRequest = 8 << 20

// Handler serves operations to whoever brings the token.
func Handler(token string, ops map[string]Op, logger *slog.Logger) http.Handler {
	mux := http.NewServeMux()
	for name, op := range ops {
		mux.HandleFunc("POST /v1/"+name, func(w http.ResponseWriter, r *http.Request) {
			if !Allowed(r, token) {
				http.Error(w, words.Say("serve.token"), http.StatusUnauthorized)
				return
			}
			answer(w, r, name, op, logger)
		})
	}
	// A page that somebody has open in a browser on this machine cannot reach in: it has no token, and this refuses
	// requests from other origins before they are looked at.
	return http.NewCrossOriginProtection().Handler(mux)
}

// Allowed reports whether a request brings the token.
func Allowed(r *http.Request, token string) bool {
	given := strings.TrimPrefix(r.Header.Get("Authorization"), "Bearer ")
	return subtle.ConstantTimeCompare([]byte(given), []byte(token)) == 1
}

func answer(w http.ResponseWriter, r *http.Request, name string, op Op, logger *slog.Logger) {
	parts, err := r.MultipartReader()
	if err != nil {
		http.Error(w, words.Say("serve.form"), http.StatusBadRequest)
		return
	}
	var request bytes.Buffer
	part, err := parts.NextPart()
	if err == nil {
		_, err = io.Copy(&request, io.LimitReader(part, maxRequest))
	}
	if err != nil {
		http.Error(w, words.Say("serve.form"), http.StatusBadRequest)
		return
	}
	var file File
	if part, err := parts.NextPart(); err == nil {
		file = upload{part}
	}
	w.Header().Set("Content-Type", "application/x-ndjson")
	// A long import reads its file while it answers with progress.
	_ = http.NewResponseController(w).EnableFullDuplex()
	out := lines{w}
	document, exit, err := op(r.Context(), request.Bytes(), file, func(p any) { out.write(reply{Progress: p}) })
	end := reply{Document: document, Exit: &exit}
	if err != nil {
		end.Error = err.Error()
		var fault *Fault
		if errors.As(err, &fault) {
			exit = fault.Exit
		} else {
			exit = 1
			logger.Error("an operation failed", "service", "serve", "op", name, "error", err)
		}
	}
	out.write(end)
	// Reading and answering go on at once on this connection, so what is left of the request is read here: the server would
	// else read it while it looks for the next one.
	_, _ = io.Copy(io.Discard, r.Body)
}

type upload struct{ *multipart.Part }

func (u upload) Name() string { return u.FileName() }

// reply is one line of an answer.
type reply struct {
	Progress any    `json:"progress,omitempty"`
	Document any    `json:"document,omitempty"`
	Error    string `json:"error,omitempty"`
	Exit     *int   `json:"exit,omitempty"`
}

type lines struct{ w http.ResponseWriter }

func (l lines) write(r reply) {
	b, err := events.WriteJSON(r)
	if err != nil {
		one := 1
		b, _ = events.WriteJSON(reply{Error: err.Error(), Exit: &one})
	}
	_, _ = l.w.Write(append(b, '\n'))
	_ = http.NewResponseController(l.w).Flush()
}

// Run serves a handler on a listener until ctx ends, then lets requests finish for up to ten seconds.
func Run(ctx context.Context, l net.Listener, h http.Handler) error {
	srv := &http.Server{Handler: h, ReadHeaderTimeout: 10 * time.Second}
	failed := make(chan error, 1)
	go func() { failed <- srv.Serve(l) }()
	select {
	case err := <-failed:
		return fmt.Errorf("serve: %w", err)
	case <-ctx.Done():
	}
	soft, cancel := context.WithTimeout(context.WithoutCancel(ctx), 10*time.Second)
	defer cancel()
	if err := srv.Shutdown(soft); err != nil {
		_ = srv.Close()
	}
	return nil
}
