package natsbox_test

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/nats-io/nats.go"

	"latewood/events/ledger/ledgertest"
	"latewood/services/internal/natsbox"
)

// TestSensorCannotTouchTheLedger is an attacker with a station's password: it forges a record, deletes, purges and
// reconfigures the stream, reads it, and listens in. A control shows that the same requests do reach the ledger from
// the ledger's own account, so that a typing error here could not pass for a defence.
func TestSensorCannotTouchTheLedger(t *testing.T) {
	t.Parallel()
	b := start(t, natsbox.Options{})
	log := open(t, b)
	all := ledgertest.Entries("true", 5)
	if err := log.Append(t.Context(), 0, all); err != nil {
		t.Fatal(err)
	}
	evil, err := b.Sensor(sensor, secret)
	if err != nil {
		t.Fatal(err)
	}
	own, err := b.Ledger()
	if err != nil {
		t.Fatal(err)
	}

	const stream = "LATEWOOD_" + farm
	config := `{"name":"` + stream + `","subjects":["latewood.` + farm + `.>"],"storage":"file","max_age":3600000000000,"num_replicas":1}`
	requests := []struct{ name, subject, body string }{
		{"forge a record", "latewood." + farm + ".spray.applied", `{"forged":true}`},
		{"delete the stream", "$JS.API.STREAM.DELETE." + stream, ""},
		{"purge the stream", "$JS.API.STREAM.PURGE." + stream, ""},
		{"let records expire", "$JS.API.STREAM.UPDATE." + stream, config},
		{"delete a record", "$JS.API.STREAM.MSG.DELETE." + stream, `{"seq":2}`},
		{"read a record", "$JS.API.STREAM.MSG.GET." + stream, `{"seq":2}`},
		{"read a record directly", "$JS.API.DIRECT.GET." + stream, `{"seq":2}`},
		{"look at the stream", "$JS.API.STREAM.INFO." + stream, ""},
		{"list streams", "$JS.API.STREAM.NAMES", ""},
		{"make a stream of one's own", "$JS.API.STREAM.CREATE.MINE", `{"name":"MINE","subjects":["latewood.>"]}`},
		{"make a consumer", "$JS.API.CONSUMER.CREATE." + stream, `{"stream_name":"` + stream + `","config":{"ack_policy":"none","deliver_subject":"wx.mine"}}`},
		{"speak to the system", "$SYS.REQ.SERVER.PING", ""},
	}
	for _, r := range requests {
		// A sensor may not subscribe, so it gets no answer; it publishes and hopes. The reply subject is one that it may
		// publish to and the reader of readings may see, the best it can choose.
		if err := evil.PublishRequest(r.subject, "wx.answer", []byte(r.body)); err != nil {
			t.Fatalf("%s: %v", r.name, err)
		}
		flush(t, evil)
		if err := evil.LastError(); !errors.Is(err, nats.ErrPermissionViolation) {
			t.Errorf("%s: got %v, want a permission violation", r.name, err)
		} else if !strings.Contains(err.Error(), r.subject) {
			t.Errorf("%s: the violation is about something else: %v", r.name, err)
		}
		if _, err := evil.Request(r.subject, []byte(r.body), 50*time.Millisecond); err == nil {
			t.Errorf("%s: answered", r.name)
		}
	}
	for _, subject := range []string{">", "latewood.>", "wx.>", "$JS.>", "$JS.ACK.>", "_INBOX.>"} {
		sub, err := evil.SubscribeSync(subject)
		if err != nil {
			continue
		}
		flush(t, evil)
		if err := log.Append(t.Context(), mustLast(t, log), ledgertest.Entries("overheard", 1)); err != nil {
			t.Fatal(err)
		}
		if msg, err := sub.NextMsg(50 * time.Millisecond); err == nil {
			t.Errorf("subscribed to %s and heard %s", subject, msg.Subject)
		}
		all = append(all, ledgertest.Entries("overheard", 1)...)
	}

	// The ledger is as it was, and so is its configuration.
	n := 0
	for e, err := range open(t, b).Read(t.Context(), 1, 0) {
		if err != nil {
			t.Fatalf("reading the ledger afterwards: %v", err)
		}
		if n == len(all) || !bytes.Equal(e.Body, all[n].Body) {
			t.Fatalf("place %d holds %s", e.Place, e.Body)
		}
		n++
	}
	if n != len(all) {
		t.Errorf("the ledger has %d records, want %d", n, len(all))
	}

	// The control: from its own account the ledger is there, and even there it refuses to be cut.
	var info struct {
		Error *struct {
			ErrCode int `json:"err_code"`
		} `json:"error"`
	}
	for _, tt := range []struct {
		request int
		code    int // 0: done
	}{
		{7, 0},     // look
		{5, 0},     // read
		{4, 10057}, // delete a record: denied by the stream
		{2, 10110}, // purge: denied by the stream
	} {
		r := requests[tt.request]
		reply, err := own.Request(r.subject, []byte(r.body), patient)
		if err != nil {
			t.Fatalf("control: %s: %v", r.name, err)
		}
		info.Error = nil
		if err := json.Unmarshal(reply.Data, &info); err != nil {
			t.Fatalf("control: %s: %v", r.name, err)
		}
		code := 0
		if info.Error != nil {
			code = info.Error.ErrCode
		}
		if code != tt.code {
			t.Errorf("control: %s: got code %d, want %d: %s", r.name, code, tt.code, reply.Data)
		}
	}
}

func mustLast(t *testing.T, log interface {
	Last(context.Context) (uint64, error)
}) uint64 {
	t.Helper()
	last, err := log.Last(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	return last
}

func TestReadingsArrive(t *testing.T) {
	t.Parallel()
	b := start(t, natsbox.Options{})
	reader, err := b.Readings()
	if err != nil {
		t.Fatal(err)
	}
	sub, err := reader.SubscribeSync("wx.>")
	if err != nil {
		t.Fatal(err)
	}
	flush(t, reader)
	station, err := b.Sensor(sensor, secret)
	if err != nil {
		t.Fatal(err)
	}
	if err := station.Publish("wx.a.b", []byte("21.5")); err != nil {
		t.Fatal(err)
	}
	msg, err := sub.NextMsg(patient)
	if err != nil || msg.Subject != "wx.a.b" || string(msg.Data) != "21.5" {
		t.Errorf("got %v, %v, want the reading", msg, err)
	}
	// The reader reads, and that is all it does.
	if err := reader.Publish("wx.a.b", []byte("invented")); err != nil {
		t.Fatal(err)
	}
	flush(t, reader)
	if err := reader.LastError(); !errors.Is(err, nats.ErrPermissionViolation) {
		t.Errorf("the reader published: %v", err)
	}
}

func TestStrangersAreRefused(t *testing.T) {
	t.Parallel()
	b := start(t, natsbox.Options{})
	tests := []struct {
		name, user, password string
		welcome              bool
	}{
		{"a sensor", sensor, secret, true},
		{"nobody", "", "", false},
		{"sensor with a wrong password", sensor, "guess", false},
		{"sensor without a password", sensor, "", false},
		{"the ledger's user without its secret", "ledger", "", false},
		{"the ledger's user with a sensor's password", "ledger", secret, false},
		{"unknown user", "owner", secret, false},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			// Raw, because the client library and the server can both be writing to the pipe when the server hangs up.
			pipe, err := b.Pipe()
			if err != nil {
				t.Fatal(err)
			}
			defer pipe.Close()
			pipe.SetDeadline(time.Now().Add(patient))
			from := bufio.NewReader(pipe)
			if line, err := from.ReadString('\n'); err != nil || !strings.HasPrefix(line, "INFO ") {
				t.Fatalf("greeted with %q, %v", line, err)
			}
			login := map[string]any{"verbose": false, "pedantic": false, "protocol": 1}
			if tt.user != "" {
				login["user"], login["pass"] = tt.user, tt.password
			}
			text, err := json.Marshal(login)
			if err != nil {
				t.Fatal(err)
			}
			if _, err := fmt.Fprintf(pipe, "CONNECT %s\r\nPING\r\n", text); err != nil {
				t.Fatal(err)
			}
			if line, _ := from.ReadString('\n'); !strings.Contains(line, "Authorization Violation") != tt.welcome {
				t.Errorf("answered with %q", line)
			}
		})
	}
}
