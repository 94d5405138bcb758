package evidence

import (
	"bytes"
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"latewood/events/canon"
	"latewood/events/ledger"
)

// A Record is a stored record as far as evidence looks at it. It is read here once more, apart from the package events, so
// that a checker depends on nothing but a few hundred lines.
type Record struct {
	Place    uint64 // in the ledger, from 1
	Body     []byte // canonical bytes, as they are hashed
	Leaf     ledger.Hash
	ID       string
	Kind     string // without version
	Time     time.Time
	Recorded time.Time
	Farm     string
	Links    []Link // in byte order of the chains' names
	Data     canon.Value
}

// A Link is a record's place in a chain.
type Link struct {
	Chain string
	Place uint64      // from 1
	Prev  ledger.Hash // the leaf hash of the record before it in the chain; zero for the first
}

// Link finds the record's link in a chain.
func (r *Record) Link(chain string) (Link, bool) {
	i, ok := slices.BinarySearchFunc(r.Links, chain, func(l Link, name string) int { return cmp.Compare(l.Chain, name) })
	if !ok {
		return Link{}, false
	}
	return r.Links[i], true
}

// ParseRecord reads the canonical bytes of a record and refuses bytes that are not in RFC 8785 form.
func ParseRecord(place uint64, body []byte) (*Record, error) {
	v, err := canon.Parse(body)
	if err != nil {
		return nil, fmt.Errorf("evidence: record %d: %w", place, err)
	}
	if v.Kind != canon.Object || !bytes.Equal(canon.Bytes(v), body) {
		return nil, fmt.Errorf("evidence: record %d is not in canonical form", place)
	}
	r := &Record{Place: place, Body: body, Leaf: ledger.LeafHash(body), ID: v.Get("id").Str, Farm: v.Get("farm").Str, Data: v.Get("data")}
	kind, _, ok := cutType(v.Get("type").Str)
	if !ok || r.ID == "" || r.Data.Kind != canon.Object {
		return nil, fmt.Errorf("evidence: record %d has no id, type or data", place)
	}
	r.Kind = kind
	if r.Time, err = time.ParseInLocation(time.RFC3339, v.Get("time").Str, time.UTC); err != nil {
		return nil, fmt.Errorf("evidence: record %d: time: %w", place, err)
	}
	if r.Recorded, err = time.ParseInLocation(time.RFC3339, v.Get("recordedtime").Str, time.UTC); err != nil {
		return nil, fmt.Errorf("evidence: record %d: recordedtime: %w", place, err)
	}
	if r.Links, err = parseLinks(v.Get("chains").Str); err != nil {
		return nil, fmt.Errorf("evidence: record %d: %w", place, err)
	}
	return r, nil
}

// cutType takes "spray.applied.v1" apart.
func cutType(t string) (kind, version string, ok bool) {
	i := strings.LastIndex(t, ".v")
	if i <= 0 {
		return "", "", false
	}
	n, err := strconv.Atoi(t[i+2:])
	return t[:i], t[i+2:], err == nil && n > 0 && strconv.Itoa(n) == t[i+2:]
}

// parseLinks reads a chains attribute: "inputs/north 41 BASE64, spray/ID 1 -".
func parseLinks(text string) ([]Link, error) {
	var out []Link
	for part := range strings.SplitSeq(text, ", ") {
		name, rest, _ := strings.Cut(part, " ")
		digits, prev, ok := strings.Cut(rest, " ")
		place, err := strconv.ParseUint(digits, 10, 53)
		if !ok || err != nil || name == "" || place == 0 || strconv.FormatUint(place, 10) != digits || (place == 1) != (prev == "-") {
			return nil, fmt.Errorf("chains: %q is not a name, a place and a hash", part)
		}
		l := Link{Chain: name, Place: place}
		if place > 1 {
			if l.Prev, err = ledger.ParseHash(prev); err != nil {
				return nil, fmt.Errorf("chains: %q: %w", part, err)
			}
		}
		if n := len(out); n > 0 && out[n-1].Chain >= name {
			return nil, fmt.Errorf("chains: %q does not stand in the order of names", part)
		}
		out = append(out, l)
	}
	return out, nil
}

// chainName is a code as it stands in a chain's name: every byte but A-Z a-z 0-9 - . _ is %XX in capitals.
func chainName(code string) string {
	var b strings.Builder
	for _, c := range []byte(code) {
		if c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z' || c >= '0' && c <= '9' || c == '-' || c == '.' || c == '_' {
			b.WriteByte(c)
		} else {
			fmt.Fprintf(&b, "%%%02X", c)
		}
	}
	return b.String()
}

// version is what a record says: its kind and data, and, of a correction, the kind of the record and the corrected data.
func (r *Record) version() (kind string, data canon.Value) {
	switch r.Kind {
	case "record.corrected":
		kind, _, _ := cutType(r.Data.Get("type").Str)
		return kind, r.Data.Get("data")
	case "record.withdrawn":
		return "", canon.Value{}
	}
	return r.Kind, r.Data
}

// About is the id of the record that r corrects or withdraws, else that of r itself.
func (r *Record) About() string {
	if r.Kind == "record.corrected" || r.Kind == "record.withdrawn" {
		return r.Data.Get("record").Str
	}
	return r.ID
}
