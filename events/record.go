package events

import (
	"bytes"
	"crypto/sha256"
	"errors"
	"fmt"
	"time"

	"latewood/events/canon"
	"latewood/events/civil"
)

// MaxBytes is the largest record. An entry tile of the archive takes 65,535 bytes; the rest is room for proofs.
const MaxBytes = 60000

// An Envelope is what stands around a record's data, as texts in the form in which they are stored. Empty: absent.
type Envelope struct {
	Actor        string
	Batch        string
	DeviceTime   string // "WRITTEN SENT"
	Farm         string
	ID           string
	NotedTime    string
	RecordedTime string
	Salt         string
	Source       string
	Time         string
	Type         string
	Chains       string
}

// AppendCanonical appends the record's canonical bytes: the envelope's attributes in the order that RFC 8785 gives them,
// with data (which must be canonical already) spliced in. The order is fixed, so nothing is sorted here; a test holds it
// against a general canonicaliser. ParseRecord reads it back if all texts are ASCII that needs no escape, as the door and
// the recorder see to.
func (e *Envelope) AppendCanonical(dst, data []byte) []byte {
	dst = append(dst, '{')
	first := true
	put := func(name, value string) {
		if value == "" {
			return
		}
		if !first {
			dst = append(dst, ',')
		}
		first = false
		dst = append(dst, '"')
		dst = append(dst, name...)
		dst = append(dst, `":`...)
		dst = canon.AppendText(dst, value)
	}
	put("actor", e.Actor)
	put("batch", e.Batch)
	put("chains", e.Chains)
	if !first {
		dst = append(dst, ',')
	}
	first = false
	dst = append(dst, `"data":`...)
	dst = append(dst, data...)
	put("datacontenttype", "application/json")
	put("devicetime", e.DeviceTime)
	put("farm", e.Farm)
	put("id", e.ID)
	put("notedtime", e.NotedTime)
	put("recordedtime", e.RecordedTime)
	put("salt", e.Salt)
	put("source", e.Source)
	put("specversion", "1.0")
	put("time", e.Time)
	put("type", e.Type)
	return append(dst, '}')
}

// A Record is one stored record, its envelope read.
type Record struct {
	Place    uint64 // in the ledger, from 1
	ID       ID
	Kind     string
	Version  int
	Time     time.Time // with the offset in which it was written
	Recorded time.Time // UTC
	Noted    time.Time // zero: absent
	Written  time.Time // the device's clock when it was written, and
	Sent     time.Time // when it was sent; both zero: absent
	Envelope Envelope
	Data     []byte // canonical JSON
	Body     []byte // the whole record's canonical bytes
}

// ErrNotARecord says that bytes are not a stored record.
var ErrNotARecord = errors.New("events: not a record")

// ErrNewerVersion says that a record has a version that this program does not know. Its reader stops: skipping it would
// tell something that is not so.
var ErrNewerVersion = errors.New("events: this record was written by a newer version of the program")

// LeafHash is the record's hash as a leaf of the ledger's Merkle tree: SHA-256 of a zero byte and the bytes (RFC 6962
// section 2.1).
func LeafHash(body []byte) [32]byte {
	h := sha256.New()
	h.Write([]byte{0})
	h.Write(body)
	var sum [32]byte
	h.Sum(sum[:0])
	return sum
}

// Leaf is the record's leaf hash.
func (r *Record) Leaf() [32]byte { return LeafHash(r.Body) }

// Day is the civil day of the record's time in a zone.
func (r *Record) Day(zone *time.Location) civil.Date { return civil.DateOf(r.Time, zone) }

// ParseRecord reads stored bytes. It checks the envelope's form, not the data: the door did that.
func ParseRecord(place uint64, body []byte) (*Record, error) {
	r := &Record{Place: place, Body: body}
	if err := r.scan(body); err != nil {
		return nil, fmt.Errorf("%w: place %d: %w", ErrNotARecord, place, err)
	}
	return r, nil
}

// scan reads the canonical envelope in one pass. It knows that our own bytes have their attributes in order, none of them
// empty, and outside data only ASCII that needs no escape; it refuses anything else. So what it takes is, but for the
// inside of data, exactly what AppendCanonical writes.
func (r *Record) scan(b []byte) error {
	e := &r.Envelope
	s := scanner{b: b}
	if !s.take('{') {
		return errors.New("does not begin with {")
	}
	var prev []byte
	specversion, contenttype := "", ""
	for {
		name, ok := s.text()
		if !ok || !s.take(':') {
			return fmt.Errorf("byte %d: an attribute's name was expected", s.i)
		}
		if bytes.Compare(name, prev) <= 0 {
			return fmt.Errorf("attribute %q does not stand in canonical order", name)
		}
		prev = name
		if string(name) == "data" {
			start := s.i
			if start == len(b) || b[start] != '{' || !s.skip() {
				return errors.New("data is no object, or does not end")
			}
			r.Data = b[start:s.i]
		} else {
			text, ok := s.text()
			if !ok || len(text) == 0 {
				return fmt.Errorf("attribute %s is not a plain text", name)
			}
			value := string(text)
			switch string(name) {
			case "actor":
				e.Actor = value
			case "batch":
				e.Batch = value
			case "chains":
				e.Chains = value
			case "datacontenttype":
				contenttype = value
			case "devicetime":
				e.DeviceTime = value
			case "farm":
				e.Farm = value
			case "id":
				e.ID = value
			case "notedtime":
				e.NotedTime = value
			case "recordedtime":
				e.RecordedTime = value
			case "salt":
				e.Salt = value
			case "source":
				e.Source = value
			case "specversion":
				specversion = value
			case "time":
				e.Time = value
			case "type":
				e.Type = value
			default:
				return fmt.Errorf("unknown attribute %q", name)
			}
		}
		if s.take('}') {
			break
		}
		if !s.take(',') {
			return fmt.Errorf("byte %d: a comma was expected", s.i)
		}
	}
	if s.i != len(b) {
		return errors.New("bytes behind the record")
	}
	if specversion != "1.0" || contenttype != "application/json" || r.Data == nil {
		return errors.New("not a CloudEvents 1.0 event with JSON data")
	}
	return r.interpret()
}

// interpret turns the envelope's texts into values.
func (r *Record) interpret() (err error) {
	e := &r.Envelope
	if r.ID, err = ParseID(e.ID); err != nil {
		return fmt.Errorf("id %q: %w", e.ID, err)
	}
	var ok bool
	if r.Kind, r.Version, ok = SplitType(e.Type); !ok {
		return fmt.Errorf("type %q is not a kind and a version", e.Type)
	}
	for _, t := range []struct {
		text string
		into *time.Time
	}{{e.Time, &r.Time}, {e.RecordedTime, &r.Recorded}, {e.NotedTime, &r.Noted}} {
		if t.text == "" {
			continue
		}
		if *t.into, err = parseStored(t.text); err != nil {
			return err
		}
	}
	if r.Time.IsZero() || r.Recorded.IsZero() {
		return errors.New("time or recordedtime is missing")
	}
	if e.DeviceTime != "" {
		if r.Written, r.Sent, err = DeviceClock(e.DeviceTime); err != nil {
			return err
		}
	}
	return nil
}

// Known is when the ledger may be said to have known the record, in the claimed sense, before the rule for imports:
// notedtime, else recordedtime.
func (r *Record) Known() time.Time {
	if !r.Noted.IsZero() {
		return r.Noted
	}
	return r.Recorded
}

// DeviceOffset is how far the device's clock was off: the recorder's clock at arrival less the device's at sending. Zero
// without a devicetime.
func (r *Record) DeviceOffset() time.Duration {
	if r.Sent.IsZero() {
		return 0
	}
	return r.Recorded.Sub(r.Sent)
}

// Decode reads a record's data into the Go type of its kind's newest version, through the upcasters where the record is
// older.
func (c *Catalogue) Decode(r *Record) (any, error) {
	return c.DecodeData(r.Kind, r.Version, r.Data)
}

// DecodeData reads data of a kind and version.
func (c *Catalogue) DecodeData(kind string, version int, data []byte) (any, error) {
	k := c.by[kind]
	if k == nil || version < 1 || version > k.Version {
		return nil, fmt.Errorf("%w: type %s.v%d", ErrNewerVersion, kind, version)
	}
	data, err := c.Upcast(k, version, data)
	if err != nil {
		return nil, err
	}
	into := k.New()
	if err := ReadJSON(data, into); err != nil {
		return nil, fmt.Errorf("%s.v%d: %w", kind, version, err)
	}
	return into, nil
}

// Upcast leads data from version, which is 1 or more, up to the newest version of the kind.
func (c *Catalogue) Upcast(k *Kind, version int, data []byte) ([]byte, error) {
	for i := version; i < k.Version; i++ {
		up, err := c.steps[k.Name][i-1](data)
		if err != nil {
			return nil, fmt.Errorf("events: %s from version %d to %d: %w", k.Name, i, i+1, err)
		}
		data = up
	}
	return data, nil
}

// upcast is Upcast of a value.
func (c *Catalogue) upcast(k *Kind, version int, v canon.Value) (canon.Value, error) {
	data, err := c.Upcast(k, version, canon.Bytes(v))
	if err != nil {
		return v, err
	}
	return canon.Parse(data)
}

// scanner walks canonical JSON without building anything.
type scanner struct {
	b []byte
	i int
}

func (s *scanner) take(c byte) bool {
	if s.i < len(s.b) && s.b[s.i] == c {
		s.i++
		return true
	}
	return false
}

// text reads a string of ASCII without escapes.
func (s *scanner) text() ([]byte, bool) {
	if !s.take('"') {
		return nil, false
	}
	start := s.i
	for ; s.i < len(s.b); s.i++ {
		switch c := s.b[s.i]; {
		case c == '"':
			s.i++
			return s.b[start : s.i-1], true
		case c == '\\' || c < 0x20 || c >= 0x80:
			return nil, false
		}
	}
	return nil, false
}

// skip steps over one object or list, looking only for where it ends.
func (s *scanner) skip() bool {
	depth := 0
	for ; s.i < len(s.b); s.i++ {
		switch s.b[s.i] {
		case '"':
			for s.i++; s.i < len(s.b) && s.b[s.i] != '"'; s.i++ {
				if s.b[s.i] == '\\' {
					s.i++
				}
			}
		case '{', '[':
			depth++
		case '}', ']':
			depth--
			if depth == 0 {
				s.i++
				return true
			}
			if depth < 0 {
				return false
			}
		default:
			if depth == 0 {
				return false
			}
		}
	}
	return false
}

func parseStored(s string) (time.Time, error) {
	// Not Parse: that takes the machine's zone for an offset which the machine has too, and days would turn with it.
	t, err := time.ParseInLocation(time.RFC3339, s, time.UTC)
	if err != nil {
		return time.Time{}, fmt.Errorf("%q is not a time with offset", s)
	}
	return t, nil
}
