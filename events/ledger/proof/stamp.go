package proof

import (
	"bytes"
	"crypto/sha256"
	"encoding/asn1"
	"fmt"
	"math/big"
	"time"
)

// A time stamp (RFC 3161) is the word of an authority outside that some bytes were there at a time. We write the query
// and keep the reply; the reply's signature is for openssl to check, against the authority's certificate:
//
//	openssl ts -verify -data checkpoint -in checkpoint.tsr -CAfile authority.pem
//
// A Stamp is what a reply says, unchecked.
type Stamp struct {
	Imprint [32]byte // SHA-256 of what was stamped
	Time    time.Time
}

// Object identifiers: SHA-256 (RFC 5754), signed data (RFC 5652), the content of a time stamp (RFC 3161).
var (
	oidSHA256     = asn1.ObjectIdentifier{2, 16, 840, 1, 101, 3, 4, 2, 1}
	oidSignedData = asn1.ObjectIdentifier{1, 2, 840, 113549, 1, 7, 2}
	oidStamp      = asn1.ObjectIdentifier{1, 2, 840, 113549, 1, 9, 16, 1, 4}
)

type algorithm struct {
	Algorithm  asn1.ObjectIdentifier
	Parameters asn1.RawValue `asn1:"optional"`
}

type imprint struct {
	Algorithm algorithm
	Hash      []byte
}

// StampQuery is a query for a time stamp over data, with the authority's certificate asked for: RFC 3161, section 2.4.1,
// in DER. The nonce, 8 random bytes, comes back in the reply; it is used as a positive number.
func StampQuery(data []byte, nonce [8]byte) ([]byte, error) {
	sum := sha256.Sum256(data)
	nonce[0] &= 0x7f
	return asn1.Marshal(struct {
		Version int
		Imprint imprint
		Nonce   *big.Int
		Cert    bool
	}{1, imprint{algorithm{oidSHA256, asn1.NullRawValue}, sum[:]}, new(big.Int).SetBytes(nonce[:]), true})
}

// ReadStamp takes a reply apart (RFC 3161, section 2.4.2) and says which bytes were stamped when. It checks no signature.
func ReadStamp(reply []byte) (Stamp, error) {
	var r struct {
		Status asn1.RawValue
		Token  asn1.RawValue `asn1:"optional"`
	}
	if rest, err := asn1.Unmarshal(reply, &r); err != nil || len(rest) > 0 {
		return Stamp{}, bad("stamp", fmt.Errorf("it is not a reply of RFC 3161"))
	}
	var status int
	if _, err := asn1.Unmarshal(r.Status.Bytes, &status); err != nil || status > 1 || status < 0 {
		return Stamp{}, bad("stamp", fmt.Errorf("the authority did not grant it: status %d", status))
	}
	var info struct {
		Type    asn1.ObjectIdentifier
		Content asn1.RawValue `asn1:"explicit,tag:0"`
	}
	if _, err := asn1.Unmarshal(r.Token.FullBytes, &info); err != nil || !info.Type.Equal(oidSignedData) {
		return Stamp{}, bad("stamp", fmt.Errorf("there is no signed token in it"))
	}
	var signed struct {
		Version    int
		Algorithms asn1.RawValue
		Content    struct {
			Type    asn1.ObjectIdentifier
			Content []byte `asn1:"explicit,tag:0"`
		}
	}
	// The certificates and signatures behind these three are for openssl.
	if err := leading(info.Content.Bytes, &signed.Version, &signed.Algorithms, &signed.Content); err != nil || !signed.Content.Type.Equal(oidStamp) {
		return Stamp{}, bad("stamp", fmt.Errorf("the token holds no time stamp"))
	}
	var (
		version int
		policy  asn1.ObjectIdentifier
		what    imprint
		serial  *big.Int
		when    asn1.RawValue
	)
	if err := leading(signed.Content.Content, &version, &policy, &what, &serial, &when); err != nil {
		return Stamp{}, bad("stamp", fmt.Errorf("the time stamp cannot be read"))
	}
	if !what.Algorithm.Algorithm.Equal(oidSHA256) || len(what.Hash) != sha256.Size {
		return Stamp{}, bad("stamp", fmt.Errorf("it is not over a SHA-256 hash"))
	}
	// Not into a time.Time: the standard library takes no fractions of a second there, and authorities write them.
	at, err := time.Parse("20060102150405Z", string(when.Bytes))
	if err != nil || when.Tag != asn1.TagGeneralizedTime {
		return Stamp{}, bad("stamp", fmt.Errorf("its time cannot be read"))
	}
	return Stamp{Imprint: [32]byte(what.Hash), Time: at}, nil
}

// Over says whether data is what was stamped.
func (s Stamp) Over(data []byte) bool {
	sum := sha256.Sum256(data)
	return bytes.Equal(sum[:], s.Imprint[:])
}

// leading reads the first elements of a DER sequence and leaves the rest.
func leading(sequence []byte, into ...any) error {
	var outer asn1.RawValue
	if _, err := asn1.Unmarshal(sequence, &outer); err != nil {
		return err
	}
	rest := outer.Bytes
	for _, v := range into {
		var err error
		if rest, err = asn1.Unmarshal(rest, v); err != nil {
			return err
		}
	}
	return nil
}
