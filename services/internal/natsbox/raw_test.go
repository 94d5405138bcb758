package natsbox_test

import (
	"context"
	"fmt"
	"net"
	"strings"
	"testing"
	"time"

	"github.com/nats-io/nats.go"

	"latewood/services/internal/natsbox"
)

func openRaw(t *testing.T, b *natsbox.Box, o natsbox.RawOptions) *natsbox.Raw {
	t.Helper()
	r, err := b.Raw(t.Context(), o)
	if err != nil {
		t.Fatalf("raw: %v", err)
	}
	return r
}

// publishAll sends readings as the sensor, without MQTT, and returns when the broker has them.
func publishAll(t *testing.T, b *natsbox.Box, subject string, from, to int) {
	t.Helper()
	nc, err := b.Sensor(sensor, secret)
	if err != nil {
		t.Fatal(err)
	}
	defer nc.Close()
	for i := from; i <= to; i++ {
		if err := nc.Publish(subject, fmt.Append(nil, i)); err != nil {
			t.Fatal(err)
		}
	}
	flush(t, nc)
}

// next reads n messages.
func next(t *testing.T, r *natsbox.Raw, n int) []natsbox.RawMessage {
	t.Helper()
	var out []natsbox.RawMessage
	for until := time.Now().Add(patient); len(out) < n; {
		got, err := r.Next(t.Context(), n-len(out), time.Second)
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, got...)
		if time.Now().After(until) {
			t.Fatalf("got %d messages, want %d", len(out), n)
		}
	}
	return out
}

// wantRun checks that messages are numbered from first on, at places from seq on.
func wantRun(t *testing.T, what string, got []natsbox.RawMessage, seq uint64, first int) {
	t.Helper()
	for i, m := range got {
		if m.Seq != seq+uint64(i) || string(m.Body) != fmt.Sprint(first+i) {
			t.Fatalf("%s: message %d is %q at %d, want %d at %d", what, i, m.Body, m.Seq, first+i, seq+uint64(i))
		}
	}
}

func TestRaw(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	b := start(t, natsbox.Options{Dir: dir})
	publishAll(t, b, "wx.hollow.air", -1, 0) // before there is a stream: not kept
	r := openRaw(t, b, natsbox.RawOptions{})
	if got, err := r.Next(t.Context(), 10, 10*time.Millisecond); err != nil || len(got) != 0 {
		t.Errorf("an empty stream: got %v, %v", got, err)
	}
	publishAll(t, b, "wx.hollow.air", 1, 10)
	got := next(t, r, 10)
	wantRun(t, "first", got, 1, 1)
	if got[0].Topic != "wx/hollow/air" || time.Since(got[0].At).Abs() > time.Minute || got[0].At.Location() != time.UTC {
		t.Errorf("got topic %q at %v", got[0].Topic, got[0].At)
	}
	if err := r.Done(t.Context(), 4); err != nil {
		t.Fatal(err)
	}
	// A stop and a start: what is not done is given again, in order and before what is new.
	b.Stop()
	b = start(t, natsbox.Options{Dir: dir})
	r = openRaw(t, b, natsbox.RawOptions{})
	publishAll(t, b, "wx.hollow.air", 11, 12)
	wantRun(t, "after the start", next(t, r, 8), 5, 5)
	// The same without a stop of the broker.
	r.Close()
	r = openRaw(t, b, natsbox.RawOptions{})
	wantRun(t, "after a new reader", next(t, r, 8), 5, 5)
	if err := r.Done(t.Context(), 12); err != nil {
		t.Fatal(err)
	}
	if got, err := r.Next(t.Context(), 10, 10*time.Millisecond); err != nil || len(got) != 0 {
		t.Errorf("all is done: got %v, %v", got, err)
	}
	m, ok, err := r.Get(t.Context(), 7)
	if err != nil || !ok || string(m.Body) != "7" || m.Topic != "wx/hollow/air" || m.Seq != 7 {
		t.Errorf("get 7: %+v, %v, %v", m, ok, err)
	}
	if _, ok, err := r.Get(t.Context(), 13); err != nil || ok {
		t.Errorf("get 13: %v, %v, want none", ok, err)
	}
	tail, err := r.Tail(t.Context(), 3)
	if err != nil || len(tail) != 3 {
		t.Fatalf("tail: %v, %v", tail, err)
	}
	wantRun(t, "tail", tail, 10, 10)
	if tail, err = r.Tail(t.Context(), 100); err != nil || len(tail) != 12 {
		t.Errorf("the whole tail: got %d, %v, want 12", len(tail), err)
	}
	// A context that ends ends the wait.
	ctx, cancel := context.WithCancel(t.Context())
	time.AfterFunc(20*time.Millisecond, cancel)
	began := time.Now()
	if got, err := r.Next(ctx, 10, time.Minute); err != nil || len(got) != 0 || time.Since(began) > patient/2 {
		t.Errorf("a cancelled wait: got %v, %v after %v", got, err, time.Since(began))
	}
}

func TestRawIsBounded(t *testing.T) {
	t.Parallel()
	b := start(t, natsbox.Options{})
	r := openRaw(t, b, natsbox.RawOptions{MaxBytes: 20_000})
	publishAll(t, b, "wx.hollow.air", 1, 1000)
	nc, err := b.Sensor(sensor, secret)
	if err != nil {
		t.Fatal(err)
	}
	if err := nc.Publish("wx.hollow.air", make([]byte, natsbox.MaxRawMessage+1)); err != nil {
		t.Fatal(err)
	}
	if err := nc.Publish("wx.hollow.air", []byte("1001")); err != nil {
		t.Fatal(err)
	}
	flush(t, nc)
	wait(t, "the last message", func() bool { _, ok, err := r.Get(t.Context(), 1001); return err == nil && ok })
	first, err := r.First(t.Context())
	if err != nil || first < 500 || first > 1000 {
		t.Errorf("the oldest is %d, %v; want the bound to have driven old ones out", first, err)
	}
	got := next(t, r, 5)
	wantRun(t, "what is left", got, first, int(first))
}

// Whoever opens the stream without saying bounds, to take one message in, must not cut it to the defaults.
func TestRawKeepsItsBounds(t *testing.T) {
	t.Parallel()
	b := start(t, natsbox.Options{})
	openRaw(t, b, natsbox.RawOptions{MaxBytes: 20_000, MaxAge: time.Hour}).Close()
	r := openRaw(t, b, natsbox.RawOptions{})
	publishAll(t, b, "wx.hollow.air", 1, 1000)
	wait(t, "the last message", func() bool { _, ok, err := r.Get(t.Context(), 1000); return err == nil && ok })
	if first, err := r.First(t.Context()); err != nil || first < 500 {
		t.Errorf("the oldest is %d, %v; want the bound of before to have driven old ones out", first, err)
	}
	for _, o := range []natsbox.RawOptions{{MaxBytes: -1}, {MaxAge: -time.Hour}} {
		if _, err := b.Raw(t.Context(), o); err == nil || !strings.Contains(err.Error(), "below zero") {
			t.Errorf("%+v: got %v, want it refused", o, err)
		}
	}
}

// The sensors cannot see, delete or fill the raw stream.
func TestRawIsOutOfReach(t *testing.T) {
	t.Parallel()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	addr := l.Addr().String()
	l.Close()
	b := start(t, natsbox.Options{MQTT: addr})
	r := openRaw(t, b, natsbox.RawOptions{})
	s, code := dial(t, addr, sensor, secret)
	if code != 0 || !s.publish("wx/hollow/air", "1") {
		t.Fatalf("a station cannot publish: code %d", code)
	}
	wantRun(t, "over MQTT", next(t, r, 1), 1, 1)
	nc, err := b.Sensor(sensor, secret)
	if err != nil {
		t.Fatal(err)
	}
	reader, err := b.Readings()
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []*nats.Conn{nc, reader} {
		for _, subject := range []string{"$JS.API.STREAM.DELETE.READINGS", "$JS.API.STREAM.PURGE.READINGS", "$JS.API.CONSUMER.DELETE.READINGS.sense"} {
			if err := c.Publish(subject, nil); err != nil {
				t.Fatal(err)
			}
		}
		flush(t, c)
	}
	for _, topic := range []string{"$JS/API/STREAM/DELETE/READINGS", "$JS/API/STREAM/PURGE/READINGS"} {
		s, _ := dial(t, addr, sensor, secret)
		s.publish(topic, "")
	}
	if m, ok, err := r.Get(t.Context(), 1); err != nil || !ok || string(m.Body) != "1" {
		t.Errorf("afterwards: %q, %v, %v", m.Body, ok, err)
	}
	s, _ = dial(t, addr, sensor, secret)
	if !s.publish("wx/a.b//c/", strings.Repeat("x", 50)) {
		t.Fatal("a station cannot publish")
	}
	if got := next(t, r, 1); got[0].Topic != "wx/a.b//c/" {
		t.Errorf("topic: got %q, want it as the station wrote it", got[0].Topic)
	}
}
