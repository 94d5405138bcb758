package sense_test

import (
	"bytes"
	"context"
	"fmt"
	"net"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"

	"latewood/events"
	"latewood/events/canon"
	"latewood/events/ledger"
	"latewood/events/ledger/jetlog"
	"latewood/events/ledger/ledgertest"
	"latewood/services/internal/natsbox"
	"latewood/services/sense"
)

const (
	farm    = "tern-hollow"
	patient = 60 * time.Second
)

var logins = map[string]string{"hollow": "a password out of a test", "ridge": "another password"}

// keeper is a recorder that keeps what it is given, by what it says.
type keeper struct {
	mu   sync.Mutex
	ids  map[events.ID]bool
	said []string
}

func newKeeper() *keeper { return &keeper{ids: map[events.ID]bool{}} }

func (k *keeper) Record(_ context.Context, proposals []sense.Proposal) ([]sense.Outcome, error) {
	k.mu.Lock()
	defer k.mu.Unlock()
	door := events.Door{Catalogue: events.Standard(), Farm: farm, Zone: time.UTC}
	out := make([]sense.Outcome, len(proposals))
	for i, p := range proposals {
		a, problems := door.Check(p.Draft)
		if out[i].Problems = problems; len(problems) > 0 {
			continue
		}
		id := events.RowID(farm, a.Kind.Name, a.Draft.Time, "", a.Draft.Data, 0)
		if out[i].Known = k.ids[id]; !out[i].Known {
			k.ids[id] = true
			a.Draft.Data.Drop("station")
			k.said = append(k.said, p.Device+" "+a.Draft.Time+" "+string(canon.Bytes(a.Draft.Data)))
		}
	}
	return out, nil
}

func (k *keeper) all() []string {
	k.mu.Lock()
	defer k.mu.Unlock()
	return slices.Clone(k.said)
}

// house is a broker with the service that reads its raw stream, on an address that stays the same over stops.
type house struct {
	t      *testing.T
	dir    string
	addr   string
	rules  sense.Rules
	keeper *keeper
	box    *natsbox.Box
	s      *sense.Service
	stop   func()
}

func newHouse(t *testing.T) *house {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	addr := l.Addr().String()
	l.Close()
	h := &house{t: t, dir: t.TempDir(), addr: addr, keeper: newKeeper(), rules: sense.Rules{Settle: 300 * time.Millisecond}}
	h.start()
	t.Cleanup(func() { h.stop() })
	return h
}

func (h *house) start() {
	h.t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), patient)
	defer cancel()
	box, err := natsbox.Start(ctx, natsbox.Options{Dir: filepath.Join(h.dir, "broker"), Sensors: logins, MQTT: h.addr})
	if err != nil {
		h.t.Fatal(err)
	}
	raw, err := box.Raw(ctx, natsbox.RawOptions{})
	if err != nil {
		h.t.Fatal(err)
	}
	s, err := sense.Open(ctx, sense.Config{
		Source: raw, Recorder: h.keeper, List: filepath.Join(h.dir, "refused.json"), Rules: h.rules, Now: time.Now,
	})
	if err != nil {
		h.t.Fatal(err)
	}
	h.box, h.s = box, s
	run, end := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- s.Run(run, func() {}) }()
	h.stop = sync.OnceFunc(func() {
		end()
		if err := <-ended; err != nil {
			h.t.Error(err)
		}
		box.Stop()
	})
}

// station connects with paho's client. Where it does not succeed, the error is given back.
func (h *house) station(user, password string, change func(*mqtt.ClientOptions)) (mqtt.Client, error) {
	o := mqtt.NewClientOptions().AddBroker("tcp://" + h.addr).SetClientID("client-" + user).SetUsername(user).SetPassword(password).
		SetConnectTimeout(10 * time.Second).SetConnectRetry(false).SetAutoReconnect(false).SetProtocolVersion(4)
	if change != nil {
		change(o)
	}
	c := mqtt.NewClient(o)
	token := c.Connect()
	if !token.WaitTimeout(patient) {
		return c, fmt.Errorf("connecting takes too long")
	}
	return c, token.Error()
}

func (h *house) mustStation(user string) mqtt.Client {
	h.t.Helper()
	c, err := h.station(user, logins[user], nil)
	if err != nil {
		h.t.Fatalf("%s: %v", user, err)
	}
	h.t.Cleanup(func() { c.Disconnect(0) })
	return c
}

func publish(t *testing.T, c mqtt.Client, topic string, qos byte, body string) {
	t.Helper()
	token := c.Publish(topic, qos, false, body)
	if !token.WaitTimeout(patient) || token.Error() != nil {
		t.Fatalf("publishing on %s: %v", topic, token.Error())
	}
}

// wait looks again and again: messages come by way of a broker, and nothing tells a test when one has been judged.
func (h *house) wait(what string, so func() bool) {
	h.t.Helper()
	for until := time.Now().Add(patient); !so(); time.Sleep(10 * time.Millisecond) {
		if time.Now().After(until) {
			h.t.Fatalf("%s: never; recorded %q, refused %+v, counts %+v", what, h.keeper.all(), h.s.Refused(), h.s.Counts())
		}
	}
}

// air is a pack as a station with a clock sends it: seconds since 1970, with thousandths.
func air(at time.Time, temperature, humidity float64) string {
	return fmt.Sprintf(`[{"bn":"urn:dev:mac:0024befffe804ff1:","bt":%d.%03d,"bver":10,"n":"temperature","u":"Cel","v":%g},{"n":"humidity","u":"%%RH","v":%g},{"n":"battery","u":"V","v":3.1}]`,
		at.Unix(), at.Nanosecond()/1e6, temperature, humidity)
}

func told(station string, at time.Time, temperature, humidity float64) string {
	return fmt.Sprintf(`mqtt-%s %s {"airTemperature":{"unit":"Cel","value":%g},"relativeHumidity":{"unit":"%%","value":%g}}`,
		station, at.UTC().Format("2006-01-02T15:04:05.999Z"), temperature, humidity)
}

// Real SenML from paho's client, with the server stopped and started in between. Nothing is lost that was acknowledged,
// nothing is recorded twice although the station sends it twice.
func TestStationsOverMQTT(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	at := time.Now().Add(-time.Minute).Truncate(time.Millisecond)
	step := func(n int) time.Time { return at.Add(time.Duration(n) * time.Second) }
	hollow, ridge := h.mustStation("hollow"), h.mustStation("ridge")
	for n := range 3 {
		publish(t, hollow, "wx/hollow/air", 1, air(step(n), 20+float64(n), 60))
		publish(t, ridge, "wx/ridge/air", 0, air(step(n), 15.25, 50))
	}
	var want []string
	for n := range 3 {
		want = append(want, told("hollow", step(n), 20+float64(n), 60), told("ridge", step(n), 15.25, 50))
	}
	h.wait("six readings", func() bool { return len(h.keeper.all()) == 6 })

	// Stopped right after the station got its acknowledgement: the reading is in the raw stream and comes with the next start.
	publish(t, hollow, "wx/hollow/air", 1, air(step(10), 30, 40))
	h.stop()
	h.start()
	want = append(want, told("hollow", step(10), 30, 40))
	h.wait("the reading from before the stop", func() bool { return len(h.keeper.all()) == 7 })

	// A client that keeps what was not acknowledged, and comes back by itself.
	lost := make(chan struct{}, 10)
	c, err := h.station("hollow", logins["hollow"], func(o *mqtt.ClientOptions) {
		o.SetClientID("keeps").SetCleanSession(false).SetAutoReconnect(true).SetMaxReconnectInterval(200 * time.Millisecond).
			SetConnectionLostHandler(func(mqtt.Client, error) { lost <- struct{}{} })
	})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { c.Disconnect(0) })
	publish(t, c, "wx/hollow/air", 1, air(step(11), 31, 40))
	h.stop()
	<-lost
	token := c.Publish("wx/hollow/air", 1, false, air(step(12), 32, 40)) // while the server is away
	h.start()
	if !token.WaitTimeout(patient) || token.Error() != nil {
		t.Fatalf("the reading sent while the server was away: %v", token.Error())
	}
	want = append(want, told("hollow", step(11), 31, 40), told("hollow", step(12), 32, 40))
	h.wait("nine readings", func() bool { return len(h.keeper.all()) == 9 })

	// All of it once more.
	messages := h.s.Counts().Messages
	for _, n := range []int{0, 1, 2} {
		publish(t, c, "wx/hollow/air", 1, air(step(n), 20+float64(n), 60))
	}
	h.wait("the repeats", func() bool { return h.s.Counts().Messages == messages+3 })
	got := h.keeper.all()
	slices.Sort(got)
	slices.Sort(want)
	if !slices.Equal(got, want) {
		t.Errorf("recorded\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
	if refused := h.s.Refused(); len(refused) > 0 {
		t.Errorf("refused: %+v", refused)
	}
	if left := h.s.LeftOut(); len(left) == 0 || left[0].Name != "battery" {
		t.Errorf("left out: got %+v, want the battery", left)
	}
}

// What is refused is still there after a stop, and is taken in by hand.
func TestRefusedOverMQTT(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	now := time.Now().Truncate(time.Second)
	c := h.mustStation("hollow")
	publish(t, c, "wx/hollow/air", 1, air(now.Add(2*time.Hour), 20, 60))
	publish(t, c, "wx/hollow/air", 1, `21.5 C`)
	publish(t, c, "wx/hollow/air", 1, `[{"n":"temperature","u":"Cel","v":20,"t":57}]`)
	publish(t, c, "wx/hollow/air", 1, `[{"n":"temperature","u":"Cel","v":20}]`)
	h.wait("four messages", func() bool { return h.s.Counts().Messages == 4 })
	h.stop()
	h.start()
	refused := h.s.Refused()
	if len(refused) != 3 || refused[0].Kind != sense.Clock || refused[1].Kind != sense.Form || refused[2].Kind != sense.Form {
		t.Fatalf("refused: got %+v", refused)
	}
	if refused[0].Station != "hollow" || refused[0].Topic != "wx/hollow/air" || !strings.Contains(refused[0].Why, "ahead") {
		t.Errorf("got %+v", refused[0])
	}
	got, err := h.s.Retake(t.Context(), refused[0].Seq, -2*time.Hour)
	if err != nil || got.Recorded != 1 {
		t.Errorf("retake: got %+v, %v", got, err)
	}
	if said := h.keeper.all(); len(said) != 2 || !strings.HasPrefix(said[1], "mqtt-hollow "+now.UTC().Format(time.RFC3339)) || !strings.Contains(said[1], "moved back by 2h0m0s") {
		t.Errorf("recorded: %q", said)
	}
	if refused := h.s.Refused(); len(refused) != 2 {
		t.Errorf("still refused: %+v", refused)
	}
}

// proof asks for the full counts.
func proof() bool { return os.Getenv("LATEWOOD_PROOF") == "1" }

// A hostile sensor has a login of its own. It forges records, tries to change and delete streams, and floods. The ledger
// stays as it is, and another station's readings still arrive.
func TestHostileSensor(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	nc, err := h.box.Ledger()
	if err != nil {
		t.Fatal(err)
	}
	log, err := jetlog.Open(t.Context(), nc, farm, jetlog.Options{Create: true})
	if err != nil {
		t.Fatal(err)
	}
	entries := ledgertest.Entries("true", 5)
	if err := log.Append(t.Context(), 0, entries); err != nil {
		t.Fatal(err)
	}
	at := time.Now().Add(-time.Minute).Truncate(time.Millisecond)
	publish(t, h.mustStation("ridge"), "wx/ridge/air", 1, air(at, 20, 60))
	h.wait("the first reading", func() bool { return len(h.keeper.all()) == 1 })

	for name, login := range map[string][2]string{
		"nobody": {"", ""}, "a wrong password": {"hollow", "guess"}, "the ledger's user": {"ledger", ""}, "the raw stream's user": {"raw", ""},
	} {
		if c, err := h.station(login[0], login[1], nil); err == nil {
			c.Disconnect(0)
			t.Errorf("%s is let in", name)
		}
	}
	stream := "LATEWOOD_" + farm
	for _, topic := range []string{
		"latewood/" + farm + "/spray/applied", "latewood/" + farm + "/weather/read",
		"$JS/API/STREAM/DELETE/" + stream, "$JS/API/STREAM/PURGE/" + stream, "$JS/API/STREAM/UPDATE/" + stream,
		"$JS/API/STREAM/MSG/DELETE/" + stream, "$JS/API/STREAM/DELETE/READINGS", "$JS/API/STREAM/PURGE/READINGS",
		"$JS/API/CONSUMER/DELETE/READINGS/sense", "$JS/ACK/READINGS/sense/1/1/1/1/1", "$SYS/REQ/SERVER/PING", "$MQTT/sess/x",
	} {
		c, err := h.station("hollow", logins["hollow"], func(o *mqtt.ClientOptions) { o.SetClientID("hostile") })
		if err != nil {
			t.Fatal(err)
		}
		for _, body := range []string{`{"forged":true}`, `{"seq":1}`, `{"name":"` + stream + `","max_age":1}`} {
			c.Publish(topic, 1, false, body).WaitTimeout(100 * time.Millisecond) // cut off, or acknowledged and thrown away
		}
		c.Disconnect(0)
	}
	c, err := h.station("hollow", logins["hollow"], func(o *mqtt.ClientOptions) { o.SetClientID("listens") })
	if err != nil {
		t.Fatal(err)
	}
	heard := make(chan string, 100)
	c.Subscribe("#", 0, func(_ mqtt.Client, m mqtt.Message) { heard <- m.Topic() }).WaitTimeout(time.Second)
	c.Disconnect(0)

	// The flood: retained messages, each on a topic of its own, more than the sensors' account has room for; then small ones,
	// until not even a session would fit.
	sizes := []int{100 << 10, 1 << 10, 1}
	floods := []int{800, 300, 1000}
	if proof() {
		floods = []int{3000, 2000, 10000}
	}
	began := time.Now()
	c, err = h.station("hollow", logins["hollow"], func(o *mqtt.ClientOptions) { o.SetClientID("floods") })
	if err != nil {
		t.Fatal(err)
	}
	for i, size := range sizes {
		junk := string(bytes.Repeat([]byte("x"), size))
		var tokens []mqtt.Token
		for n := range floods[i] {
			tokens = append(tokens, c.Publish(fmt.Sprintf("wx/hollow/%d/%d", i, n), byte(1+n%2), true, junk))
			if len(tokens) == 50 {
				for _, token := range tokens {
					token.WaitTimeout(patient)
				}
				tokens = tokens[:0]
			}
		}
	}
	c.Disconnect(1000)
	for n := range 50 { // sessions that stay
		c, err := h.station("hollow", logins["hollow"], func(o *mqtt.ClientOptions) { o.SetClientID(fmt.Sprint("stays-", n)).SetCleanSession(false) })
		if err == nil {
			c.Disconnect(0)
		}
	}
	// Another station, afterwards: with a new session, whose state the broker may have no room to keep.
	ridge, err := h.station("ridge", logins["ridge"], func(o *mqtt.ClientOptions) { o.SetClientID("ridge-again") })
	if err != nil {
		t.Fatalf("after the flood no station can connect: %v", err)
	}
	publish(t, ridge, "wx/ridge/air", 1, air(at.Add(30*time.Second), 21, 61))
	ridge.Disconnect(0)
	t.Logf("counts: a flood of %d messages of %d bytes in %v", floods, sizes, time.Since(began).Round(time.Millisecond))
	want := []string{told("ridge", at, 20, 60), told("ridge", at.Add(30*time.Second), 21, 61)}
	h.wait("the reading after the flood", func() bool { return len(h.keeper.all()) == 2 })
	if got := h.keeper.all(); !slices.Equal(got, want) {
		t.Errorf("recorded %q, want %q", got, want)
	}
	if len(heard) > 0 {
		t.Errorf("a sensor hears others: %q", <-heard)
	}

	h.stop()
	h.start()
	nc, err = h.box.Ledger()
	if err != nil {
		t.Fatal(err)
	}
	if log, err = jetlog.Open(t.Context(), nc, farm, jetlog.Options{}); err != nil {
		t.Fatalf("the ledger after the attack: %v", err)
	}
	var got []ledger.Entry
	for e, err := range log.Read(t.Context(), 1, 0) {
		if err != nil {
			t.Fatal(err)
		}
		got = append(got, e)
	}
	if len(got) != len(entries) {
		t.Fatalf("the ledger has %d records, want %d", len(got), len(entries))
	}
	for i, e := range got {
		if !bytes.Equal(e.Body, entries[i].Body) {
			t.Errorf("record %d was changed", i+1)
		}
	}
}
