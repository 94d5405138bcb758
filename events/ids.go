package events

import (
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"strings"

	"latewood/events/canon"
)

// An ID is a record's identity: a UUID of RFC 9562. The same id is the same record, for ever.
type ID [16]byte

// ErrBadID says that a text is not a UUID in the form 017f22e2-79b0-7cc3-98c4-dc0c0c07398f.
var ErrBadID = errors.New("events: not a UUID")

// ParseID reads a UUID of any version; which of them can be a new record's id is for the Door. Capitals are taken and come
// back as small letters.
func ParseID(s string) (ID, error) {
	var id ID
	if len(s) != 36 || s[8] != '-' || s[13] != '-' || s[18] != '-' || s[23] != '-' {
		return id, ErrBadID
	}
	var digits [32]byte
	copy(digits[:8], s[:8])
	copy(digits[8:12], s[9:13])
	copy(digits[12:16], s[14:18])
	copy(digits[16:20], s[19:23])
	copy(digits[20:], s[24:])
	if _, err := hex.Decode(id[:], digits[:]); err != nil {
		return ID{}, ErrBadID
	}
	return id, nil
}

// String writes the id in the form that stands in records.
func (id ID) String() string {
	var b [36]byte
	hex.Encode(b[:8], id[:4])
	hex.Encode(b[9:13], id[4:6])
	hex.Encode(b[14:18], id[6:8])
	hex.Encode(b[19:23], id[8:10])
	hex.Encode(b[24:], id[10:])
	b[8], b[13], b[18], b[23] = '-', '-', '-', '-'
	return string(b[:])
}

// IsZero reports whether id is no id at all.
func (id ID) IsZero() bool { return id == ID{} }

// Version is the UUID's version: 7 from a writer or the recorder, 8 for rows and readings that brought no id.
func (id ID) Version() int { return int(id[6] >> 4) }

// Less orders ids by their bytes, which is also the order of their texts.
func (id ID) Less(other ID) bool { return string(id[:]) < string(other[:]) }

// NewID makes a UUID of version 7 (RFC 9562 section 5.7) from a Unix time in milliseconds and ten random bytes. Clock and
// randomness are the caller's: this room has neither.
func NewID(milliseconds int64, random [10]byte) ID {
	var id ID
	binary.BigEndian.PutUint64(id[:8], uint64(milliseconds)<<16)
	copy(id[6:], random[:])
	id[6] = id[6]&0x0f | 0x70
	id[8] = id[8]&0x3f | 0x80
	return id
}

// RowID makes the id of a row or reading that brings none: a UUID of version 8 (RFC 9562 section 5.8) that is the same
// whenever the same row is read again, so that a file taken in twice records nothing new.
//
// It is SHA-256 over the canonical bytes of
//
//	[farm, kind without version, {data, time}, n]
//
// where the object also has actor if the row brought one, and n counts equal rows of one file from 0. Bits 0 to 47 of
// the digest go to custom_a, 48 to 59 to custom_b, 60 to 121 to custom_c.
func RowID(farm, kind, time, actor string, data canon.Value, n int) ID {
	row := canon.ObjectOf(canon.Member{Name: "data", Value: data}, canon.Member{Name: "time", Value: canon.Text(time)})
	if actor != "" {
		row.Set("actor", canon.Text(actor))
	}
	sum := sha256.Sum256(canon.Bytes(canon.ListOf(canon.Text(farm), canon.Text(kind), row, canon.Num(float64(n)))))
	// The digest's bits run on without a gap; version and variant are put in between.
	var id ID
	copy(id[:6], sum[:6])
	high := binary.BigEndian.Uint64(sum[:8])
	low := binary.BigEndian.Uint64(sum[8:16])
	b := high >> 4 & 0xfff    // bits 48 to 59
	c := high<<60>>2 | low>>6 // bits 60 to 121: four of the first word, 58 of the second
	binary.BigEndian.PutUint16(id[6:8], uint16(8<<12|b))
	binary.BigEndian.PutUint64(id[8:], 1<<63|c)
	return id
}

// Commitment binds a record to a person's certificate and name without showing them: base64 of SHA-256 over the salt
// and the canonical {certificate, name}. The 32 salt bytes belong to that person and certificate and lie in the register.
func Commitment(salt [32]byte, certificate, name string) string {
	claim := canon.ObjectOf(
		canon.Member{Name: "certificate", Value: canon.Text(certificate)},
		canon.Member{Name: "name", Value: canon.Text(name)},
	)
	return base64Text(sha256.Sum256(canon.Append(salt[:], claim)))
}

// NewPseudonym makes the name under which a person stands in records, of 16 random bytes.
func NewPseudonym(random [16]byte) string { return "w_" + hex.EncodeToString(random[:]) }

// IsPseudonym reports whether s is a pseudonym: w_ and 32 small hex digits.
func IsPseudonym(s string) bool {
	return len(s) == 34 && strings.HasPrefix(s, "w_") && isHex(s[2:])
}

func isHex(s string) bool {
	for i := range len(s) {
		if c := s[i]; (c < '0' || c > '9') && (c < 'a' || c > 'f') {
			return false
		}
	}
	return true
}
