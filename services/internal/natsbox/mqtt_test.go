package natsbox_test

import (
	"encoding/binary"
	"io"
	"net"
	"testing"
	"time"

	"latewood/events/ledger/ledgertest"
	"latewood/services/internal/natsbox"
)

// A station speaks just enough MQTT 3.1.1 (OASIS, 2014) to send a reading.
type station struct {
	t    *testing.T
	conn net.Conn
}

func text(s string) []byte {
	return append(binary.BigEndian.AppendUint16(nil, uint16(len(s))), s...)
}

func (s station) send(kind byte, body []byte) {
	s.t.Helper()
	if len(body) > 127 {
		s.t.Fatalf("packet of %d bytes: this station writes short ones", len(body))
	}
	if _, err := s.conn.Write(append([]byte{kind, byte(len(body))}, body...)); err != nil {
		s.t.Fatalf("send: %v", err)
	}
}

// receive gives the next packet; false if the broker hung up.
func (s station) receive() (kind byte, body []byte, ok bool) {
	s.t.Helper()
	var head [2]byte
	if _, err := io.ReadFull(s.conn, head[:]); err != nil {
		return 0, nil, false
	}
	body = make([]byte, head[1])
	if _, err := io.ReadFull(s.conn, body); err != nil {
		return 0, nil, false
	}
	return head[0], body, true
}

// hungUp stands for a broker that ended the connection instead of answering.
const hungUp = 255

// dial connects and gives the broker's return code (section 3.2.2.3): 0 accepted, 5 not authorized; or hungUp.
func dial(t *testing.T, addr, user, password string) (station, byte) {
	t.Helper()
	conn, err := net.Dial("tcp", addr)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { conn.Close() })
	conn.SetDeadline(time.Now().Add(patient))
	s := station{t, conn}
	flags := byte(0x02) // clean session
	body := append(text("MQTT"), 4)
	payload := text("client-" + user)
	if user != "" {
		flags |= 0xc0
		payload = append(append(payload, text(user)...), text(password)...)
	}
	s.send(0x10, append(append(body, flags, 0, 60), payload...))
	kind, body, ok := s.receive()
	if !ok {
		return s, hungUp
	}
	if kind != 0x20 || len(body) != 2 {
		t.Fatalf("answer to CONNECT: %x %x %v", kind, body, ok)
	}
	return s, body[1]
}

// publish sends at quality of service 1 and says whether it was acknowledged.
func (s station) publish(topic, payload string) bool {
	s.t.Helper()
	s.send(0x32, append(append(text(topic), 0, 1), payload...))
	kind, _, ok := s.receive()
	return ok && kind == 0x40
}

func TestMQTT(t *testing.T) {
	t.Parallel()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	addr := l.Addr().String()
	l.Close()
	b := start(t, natsbox.Options{MQTT: addr})
	log := open(t, b)
	if err := log.Append(t.Context(), 0, ledgertest.Entries("true", 3)); err != nil {
		t.Fatal(err)
	}
	nc, err := b.Readings()
	if err != nil {
		t.Fatal(err)
	}
	sub, err := nc.SubscribeSync("wx.>")
	if err != nil {
		t.Fatal(err)
	}
	flush(t, nc)

	for _, tt := range []struct{ name, user, password string }{
		{"anonymous", "", ""},
		{"wrong password", sensor, "guess"},
		{"the ledger's user", "ledger", ""},
	} {
		if _, code := dial(t, addr, tt.user, tt.password); code != 5 && code != hungUp {
			t.Errorf("%s: return code %d, want 5, not authorized", tt.name, code)
		}
	}

	s, code := dial(t, addr, sensor, secret)
	if code != 0 {
		t.Fatalf("a station is refused with code %d", code)
	}
	if !s.publish("wx/north/temp", "21.5") {
		t.Error("a reading is not acknowledged")
	}
	msg, err := sub.NextMsg(patient)
	if err != nil || msg.Subject != "wx.north.temp" || string(msg.Data) != "21.5" {
		t.Errorf("reading: got %v, %v", msg, err)
	}
	for _, topic := range []string{
		"latewood/" + farm + "/spray/applied",
		"$JS/API/STREAM/DELETE/LATEWOOD_" + farm,
		"$JS/API/STREAM/PURGE/LATEWOOD_" + farm,
	} {
		s, _ := dial(t, addr, sensor, secret)
		// Acknowledged or cut off: what counts is that nothing comes of it.
		s.publish(topic, `{"forged":true}`)
	}
	n := 0
	for e, err := range open(t, b).Read(t.Context(), 1, 0) {
		if err != nil || string(e.Body) != string(ledgertest.Entries("true", 3)[n].Body) {
			t.Fatalf("the ledger afterwards: place %d %s, %v", e.Place, e.Body, err)
		}
		n++
	}
	if n != 3 {
		t.Errorf("the ledger has %d records, want 3", n)
	}
}
