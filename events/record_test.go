package events_test

import (
	"bytes"
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"encoding/json"
	"errors"
	"strings"
	"testing"
	"time"

	"github.com/gowebpki/jcs"
	"pgregory.net/rapid"

	"latewood/events"
	"latewood/events/canon"
	"latewood/events/civil"
)

// attributes lists an envelope's texts by their names in JSON.
func attributes(e *events.Envelope) map[string]*string {
	return map[string]*string{
		"actor": &e.Actor, "batch": &e.Batch, "chains": &e.Chains, "devicetime": &e.DeviceTime, "farm": &e.Farm, "id": &e.ID,
		"notedtime": &e.NotedTime, "recordedtime": &e.RecordedTime, "salt": &e.Salt, "source": &e.Source, "time": &e.Time, "type": &e.Type,
	}
}

// The spliced bytes are those of a general canonicaliser, whatever stands in the attributes and the data.
func TestAppendCanonicalIsJCS(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		var e events.Envelope
		all := map[string]any{"specversion": "1.0", "datacontenttype": "application/json"}
		for name, into := range attributes(&e) {
			if *into = rapid.String().Draw(t, name); *into != "" {
				all[name] = *into
			}
		}
		g := gen{t: t}
		data := canon.Bytes(canon.ObjectOf(canon.Member{Name: "b", Value: g.any(3)}, canon.Member{Name: "a", Value: g.any(3)}))
		all["data"] = json.RawMessage(data)
		plain, err := json.Marshal(all)
		if err != nil {
			t.Fatal(err)
		}
		want, err := jcs.Transform(plain)
		if err != nil {
			t.Fatal(err)
		}
		if got := e.AppendCanonical([]byte("before"), data); !bytes.Equal(got, append([]byte("before"), want...)) {
			t.Fatalf("spliced:\n got %s\nwant %s", got, want)
		}
	})
	t.Logf("counts: %d random envelopes against a second implementation", checks)
}

// seal puts an envelope around an accepted draft, as a recorder does.
func (g gen) seal(a events.Accepted) events.Envelope {
	id := a.ID
	if id.IsZero() {
		id = g.id()
	}
	e := events.Envelope{
		Actor: a.Draft.Actor, DeviceTime: a.Draft.DeviceTime, Farm: "tern-hollow", ID: id.String(), NotedTime: a.Draft.NotedTime,
		RecordedTime: events.RecordedAt(time.UnixMilli(int64(g.number(1, 1<<40)))), Salt: base64.StdEncoding.EncodeToString(g.bytes(16)),
		Source: a.Draft.Source, Time: a.Draft.Time, Type: a.Draft.Type,
	}
	if e.Source == "" {
		e.Source = "/farms/tern-hollow/cli"
	}
	if g.coin() {
		e.Batch = g.id().String()
	}
	var links []events.Link
	for _, c := range events.MergeChains(a.Kind.OwnChains(id, a.Draft.Data)) {
		l := events.Link{Chain: c, Place: uint64(g.number(1, 1<<40))}
		if l.Place > 1 {
			copy(l.Prev[:], g.bytes(32))
		}
		links = append(links, l)
	}
	e.Chains = events.FormatChains(links)
	return e
}

// What is stored reads back: every kind, with everything that the recorder fills in.
func TestRecordRoundTrip(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		g := gen{t: t}
		k := pick(g, events.Standard().Kinds()...)
		a, problems := hollow().Check(g.draft(k))
		if len(problems) > 0 {
			t.Fatal(problems)
		}
		e := g.seal(a)
		body := e.AppendCanonical(nil, a.Data)
		r, err := events.ParseRecord(12, body)
		if err != nil {
			t.Fatalf("%v\n%s", err, body)
		}
		if r.Envelope != e {
			t.Fatalf("envelope:\n got %+v\nwant %+v", r.Envelope, e)
		}
		if r.Place != 12 || r.Kind != k.Name || r.Version != k.Version || r.ID.String() != e.ID || !bytes.Equal(r.Data, a.Data) || !bytes.Equal(r.Body, body) {
			t.Fatalf("got %+v", r)
		}
		if !r.Time.Equal(a.Time) || civil.FormatTime(r.Time) != e.Time || events.RecordedAt(r.Recorded) != e.RecordedTime {
			t.Fatalf("times: got %v and %v, want %s and %s", r.Time, r.Recorded, e.Time, e.RecordedTime)
		}
		if r.Noted.IsZero() != (e.NotedTime == "") || !r.Noted.IsZero() && civil.FormatTime(r.Noted) != e.NotedTime {
			t.Fatalf("notedtime: got %v, want %s", r.Noted, e.NotedTime)
		}
		if r.Written.IsZero() != (e.DeviceTime == "") || !r.Written.IsZero() && civil.FormatTime(r.Written)+" "+civil.FormatTime(r.Sent) != e.DeviceTime {
			t.Fatalf("devicetime: got %v %v, want %s", r.Written, r.Sent, e.DeviceTime)
		}
		if want := sha256.Sum256(append([]byte{0}, body...)); r.Leaf() != want {
			t.Fatalf("leaf: got %x, want %x", r.Leaf(), want)
		}
		if _, err := events.Standard().Decode(r); err != nil {
			t.Fatal(err)
		}
	})
	t.Logf("counts: %d random records stored and read back", checks)
}

// good is a small stored record, for tests that break it.
const good = `{"actor":"w_00112233445566778899aabbccddeeff","chains":"picks/north 1 -","data":{"date":"2026-07-01","where":{"block":"north"}},` +
	`"datacontenttype":"application/json","devicetime":"2026-07-01T18:00:00-10:00 2026-07-01T18:05:00-10:00","farm":"tern-hollow",` +
	`"id":"017f22e2-79b0-7cc3-98c4-dc0c0c07398f","notedtime":"2026-07-01T18:00:00-10:00","recordedtime":"2026-07-02T04:06:00.500Z",` +
	`"salt":"AAAAAAAAAAAAAAAAAAAAAA==","source":"/farms/tern-hollow/cli","specversion":"1.0","time":"2026-07-01T00:00:00-10:00","type":"harvest.closed.v1"}`

func TestParseRecord(t *testing.T) {
	t.Parallel()
	r, err := events.ParseRecord(3, []byte(good))
	if err != nil {
		t.Fatal(err)
	}
	if got, want := r.DeviceOffset(), time.Minute+500*time.Millisecond; got != want {
		t.Errorf("DeviceOffset: got %v, want %v", got, want)
	}
	if got, want := r.Known(), time.Date(2026, 7, 2, 4, 0, 0, 0, time.UTC); !got.Equal(want) {
		t.Errorf("Known: got %v, want %v", got, want)
	}
	zone, _ := civil.Zone("Pacific/Honolulu")
	if got, want := r.Day(zone).String(), "2026-07-01"; got != want {
		t.Errorf("Day: got %s, want %s", got, want)
	}
	// The machine's zone has this offset, and must not be taken for it: adding days would follow its clocks.
	if r.Time.Location() == time.Local || r.Time.Location().String() != "" {
		t.Errorf("the time is in the zone %q, want a bare offset", r.Time.Location())
	}
	bare := strings.NewReplacer(`"notedtime":"2026-07-01T18:00:00-10:00",`, "", `"devicetime":"2026-07-01T18:00:00-10:00 2026-07-01T18:05:00-10:00",`, "").Replace(good)
	if r, err = events.ParseRecord(3, []byte(bare)); err != nil {
		t.Fatal(err)
	}
	if !r.Known().Equal(r.Recorded) || r.DeviceOffset() != 0 {
		t.Errorf("without notedtime and devicetime: known %v, offset %v", r.Known(), r.DeviceOffset())
	}
	written, sent, err := events.DeviceClock("2026-07-01T18:00:00-10:00 2026-07-01T18:05:00-10:00")
	if err != nil || sent.Sub(written) != 5*time.Minute || sent.Location() == time.Local {
		t.Errorf("DeviceClock: got %v, %v, %v", written, sent, err)
	}
	for _, bad := range []string{"", "2026-07-01T18:00:00-10:00", "x 2026-07-01T18:00:00-10:00", "2026-07-01T18:00:00-10:00 x"} {
		if _, _, err := events.DeviceClock(bad); err == nil {
			t.Errorf("DeviceClock(%q): no error", bad)
		}
	}
}

func TestParseRecordRefuses(t *testing.T) {
	t.Parallel()
	swap := func(old, new string) string {
		if strings.Count(good, old) != 1 {
			t.Fatalf("%s stands %d times", old, strings.Count(good, old))
		}
		return strings.Replace(good, old, new, 1)
	}
	for _, tc := range []struct{ name, body, want string }{
		{"nothing", "", "begin"},
		{"a list", "[]", "begin"},
		{"a blank before", " " + good, "begin"},
		{"a newline behind", good + "\n", "behind"},
		{"a second record behind", good + good, "behind"},
		{"cut off", good[:len(good)-1], "comma"},
		{"cut off in the data", good[:120], "data"},
		{"cut off in a text", good[:20], "actor"},
		{"blank behind a colon", swap(`"farm":`, `"farm": `), "farm"},
		{"other order", swap(`"farm":"tern-hollow","id":"017f22e2-79b0-7cc3-98c4-dc0c0c07398f"`, `"id":"017f22e2-79b0-7cc3-98c4-dc0c0c07398f","farm":"tern-hollow"`), "order"},
		{"twice", swap(`"farm":"tern-hollow"`, `"farm":"tern-hollow","farm":"tern-hollow"`), "order"},
		{"unknown attribute", swap(`"farm":"tern-hollow"`, `"farm":"tern-hollow","flag":"x"`), "unknown attribute"},
		{"unknown attribute at the end", swap(`"type":"harvest.closed.v1"`, `"type":"harvest.closed.v1","zone":"x"`), "unknown attribute"},
		{"an escape", swap(`tern-hollow","id"`, `tern\u002dhollow","id"`), "farm"},
		{"an escape in a name", swap(`"farm":`, `"f\u0061rm":`), "name"},
		{"a control character", swap(`/cli"`, "/\x01\""), "source"},
		{"not ASCII", swap(`/cli"`, `/clé"`), "source"},
		{"an empty attribute", swap(`"tern-hollow","id"`, `"","id"`), "farm"},
		{"a number", swap(`"tern-hollow","id"`, `7,"id"`), "farm"},
		{"other media type", swap(`application/json`, `text/plain`), "CloudEvents"},
		{"other specversion", swap(`"1.0"`, `"0.3"`), "CloudEvents"},
		{"no specversion", swap(`"specversion":"1.0",`, ``), "CloudEvents"},
		{"no data", swap(`"data":{"date":"2026-07-01","where":{"block":"north"}},`, ``), "CloudEvents"},
		{"data is a text", swap(`{"date":"2026-07-01","where":{"block":"north"}}`, `"x"`), "data"},
		{"data is a list", swap(`{"date":"2026-07-01","where":{"block":"north"}}`, `[{}]`), "data"},
		{"data is nothing", swap(`{"date":"2026-07-01","where":{"block":"north"}}`, ``), "data"},
		{"id", swap(`017f22e2-79b0`, `017f22e2_79b0`), "id"},
		{"id short", swap(`017f22e2-79b0-7cc3-98c4-dc0c0c07398f`, `017f22e2`), "id"},
		{"no id", swap(`"id":"017f22e2-79b0-7cc3-98c4-dc0c0c07398f",`, ``), "id"},
		{"type", swap(`harvest.closed.v1`, `harvest.closed`), "type"},
		{"type version 0", swap(`harvest.closed.v1`, `harvest.closed.v0`), "type"},
		{"no type", swap(`,"type":"harvest.closed.v1"`, ``), "type"},
		{"time", swap(`"time":"2026-07-01T00:00:00-10:00"`, `"time":"2026-07-01"`), "time"},
		{"no time", swap(`"time":"2026-07-01T00:00:00-10:00",`, ``), "missing"},
		{"recordedtime", swap(`2026-07-02T04:06:00.500Z`, `yesterday`), "time"},
		{"no recordedtime", swap(`"recordedtime":"2026-07-02T04:06:00.500Z",`, ``), "missing"},
		{"notedtime", swap(`"notedtime":"2026-07-01T18:00:00-10:00"`, `"notedtime":"July"`), "time"},
		{"devicetime of one", swap(`2026-07-01T18:00:00-10:00 2026-07-01T18:05:00-10:00`, `2026-07-01T18:00:00-10:00`), "devicetime"},
		{"devicetime written", swap(`2026-07-01T18:00:00-10:00 2026`, `x 2026`), "time"},
		{"devicetime sent", swap(` 2026-07-01T18:05:00-10:00`, ` x`), "time"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			r, err := events.ParseRecord(3, []byte(tc.body))
			if !errors.Is(err, events.ErrNotARecord) || !strings.Contains(err.Error(), tc.want) || !strings.Contains(err.Error(), "place 3") {
				t.Errorf("got %v and error %v, want ErrNotARecord with place 3 and %q", r, err, tc.want)
			}
		})
	}
}

// The leaf hash of RFC 6962 section 2.1, with the public vectors of transparency-dev/merkle, rfc6962_test.go.
func TestLeafHash(t *testing.T) {
	t.Parallel()
	for body, want := range map[string]string{
		"":        "6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
		"L123456": "395aa064aa4c29f7010acfe3f25db9485bbd4b91897b6ad7ad547639252b4d56",
	} {
		sum := events.LeafHash([]byte(body))
		if got := hex.EncodeToString(sum[:]); got != want {
			t.Errorf("LeafHash(%q): got %s, want %s", body, got, want)
		}
	}
}

func TestDecodeUnknown(t *testing.T) {
	t.Parallel()
	for _, tc := range []struct {
		kind    string
		version int
	}{{"harvest.closed", 2}, {"harvest.closed", 0}, {"harvest.closed", -1}, {"moon.risen", 1}, {"", 1}} {
		if _, err := events.Standard().DecodeData(tc.kind, tc.version, []byte("{}")); !errors.Is(err, events.ErrNewerVersion) {
			t.Errorf("%s.v%d: got error %v, want ErrNewerVersion", tc.kind, tc.version, err)
		}
	}
	if _, err := events.Standard().DecodeData("harvest.closed", 1, []byte("{")); err == nil {
		t.Error("broken data: no error")
	}
}

// FuzzParseRecord: it never panics, and what it takes is, but for the inside of data, what AppendCanonical writes.
func FuzzParseRecord(f *testing.F) {
	f.Add([]byte(good))
	f.Add([]byte(`{"data":{},"datacontenttype":"application/json","id":"017f22e2-79b0-7cc3-98c4-dc0c0c07398f","recordedtime":"2026-07-02T04:06:00.500Z","specversion":"1.0","time":"2026-07-01T00:00:00Z","type":"a.v1"}`))
	f.Add([]byte(`{"data":{"a":["\"}",{}]}`))
	f.Add([]byte(`{"":`))
	f.Fuzz(func(t *testing.T, body []byte) {
		r, err := events.ParseRecord(1, body)
		if err != nil {
			if !errors.Is(err, events.ErrNotARecord) {
				t.Errorf("error is not ErrNotARecord: %v", err)
			}
			return
		}
		if got := r.Envelope.AppendCanonical(nil, r.Data); !bytes.Equal(got, body) {
			t.Errorf("written again:\n got %q\nwant %q", got, body)
		}
		_, _ = events.Standard().Decode(r)
		_ = r.Leaf()
	})
}
