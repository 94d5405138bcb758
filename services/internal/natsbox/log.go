package natsbox

import (
	"errors"
	"fmt"
	"log/slog"
	"sync"
)

// serverLog hands the server's lines on to slog and remembers a fatal one: the server only logs why it could not start.
type serverLog struct {
	to *slog.Logger

	mu    sync.Mutex
	first error
}

func newServerLog(to *slog.Logger) *serverLog {
	if to == nil {
		to = slog.New(slog.DiscardHandler)
	}
	return &serverLog{to: to.With("part", "broker")}
}

func (l *serverLog) fatal() error {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.first
}

func (l *serverLog) Fatalf(format string, v ...any) {
	text := fmt.Sprintf(format, v...)
	l.mu.Lock()
	if l.first == nil {
		l.first = errors.New(text)
	}
	l.mu.Unlock()
	l.to.Error(text)
}

func (l *serverLog) Errorf(format string, v ...any)  { l.to.Error(fmt.Sprintf(format, v...)) }
func (l *serverLog) Noticef(format string, v ...any) { l.to.Debug(fmt.Sprintf(format, v...)) }
func (l *serverLog) Debugf(string, ...any)           {}
func (l *serverLog) Tracef(string, ...any)           {}

// plainSecrets is the server's warning about passwords that are not hashed. Ours are random, made at this start, and never
// leave the process, so it would only frighten people.
//
//words:data the server's own text, compared with what it logs
const plainSecrets = "Plaintext passwords detected, use nkeys or bcrypt"

func (l *serverLog) Warnf(format string, v ...any) {
	text := fmt.Sprintf(format, v...)
	if text == plainSecrets {
		l.to.Debug(text)
		return
	}
	l.to.Warn(text)
}
