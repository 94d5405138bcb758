package proof

import (
	"crypto/ed25519"
	"crypto/sha256"
	"encoding/base64"
	"encoding/binary"
	"encoding/hex"
	"encoding/pem"
	"fmt"
	"io"
	"io/fs"
	"strings"
	"unicode"
	"unicode/utf8"

	"golang.org/x/mod/sumdb/note"
)

// Types of keys (C2SP signed-note, "Signature types").
const (
	typeLog     = 0x01 // Ed25519 over the text
	typeWitness = 0x04 // Ed25519 over a checkpoint's text and a time
)

// A Key is a public key: what a checker needs. The zero Key verifies nothing. Keys can be compared with ==.
type Key struct {
	name   string
	typ    byte
	public [ed25519.PublicKeySize]byte
}

var _ note.Verifier = Key{}

// ParseKey reads a verifier key, NAME+ID+BASE64. Blanks and newlines around it are the caller's to cut.
func ParseKey(text string) (Key, error) {
	name, rest, _ := strings.Cut(text, "+")
	id, b64, _ := strings.Cut(rest, "+")
	if !validName(name) {
		return Key{}, bad("key", fmt.Errorf("%q: want NAME+ID+BASE64, the name without blanks", text))
	}
	raw, ok := decode(b64)
	if !ok || len(raw) != 1+ed25519.PublicKeySize {
		return Key{}, bad("key", fmt.Errorf("%q: want the base64 form of 33 bytes behind the second plus sign", text))
	}
	k := Key{name: name, typ: raw[0], public: [ed25519.PublicKeySize]byte(raw[1:])}
	if k.typ != typeLog && k.typ != typeWitness {
		return Key{}, bad("key", fmt.Errorf("%q: type %d is none that this program can check; there are 1 and 4", text, k.typ))
	}
	if id != k.hexID() {
		return Key{}, bad("key", fmt.Errorf("%q: its id is %s, not %s; a character was lost or changed", text, k.hexID(), id))
	}
	return k, nil
}

// String is the verifier key as text, NAME+ID+BASE64.
func (k Key) String() string {
	return k.name + "+" + k.hexID() + "+" + base64.StdEncoding.EncodeToString(append([]byte{k.typ}, k.public[:]...))
}

// Name is the key's name: of a ledger's key, the ledger's origin.
func (k Key) Name() string { return k.name }

// KeyHash is the key's id as a number.
func (k Key) KeyHash() uint32 {
	h := sha256.New()
	h.Write([]byte(k.name))
	h.Write([]byte{'\n', k.typ})
	h.Write(k.public[:])
	return binary.BigEndian.Uint32(h.Sum(nil))
}

func (k Key) hexID() string { return fmt.Sprintf("%08x", k.KeyHash()) }

// ID is name and id, NAME+ID: enough to tell keys apart, not enough to check anything.
func (k Key) ID() string { return k.name + "+" + k.hexID() }

// IsWitness says whether the key signs times beside checkpoints, as a witness does.
func (k Key) IsWitness() bool { return k.typ == typeWitness }

// Public is the key's 32 bytes.
func (k Key) Public() ed25519.PublicKey { return ed25519.PublicKey(k.public[:]) }

// Fingerprint is SHA-256 of the public key in hex, in groups of four digits: to be read out over the telephone. The id is
// too short for that, since somebody could look for a key with the same one.
func (k Key) Fingerprint() string {
	sum := sha256.Sum256(k.public[:])
	digits := hex.EncodeToString(sum[:])
	var b strings.Builder
	for i := 0; i < len(digits); i += 4 {
		if i > 0 {
			b.WriteByte(' ')
		}
		b.WriteString(digits[i : i+4])
	}
	return b.String()
}

// pemPrefix is what stands before the 32 bytes of an Ed25519 key in a SubjectPublicKeyInfo (RFC 8410, section 4).
var pemPrefix = []byte{0x30, 0x2a, 0x30, 0x05, 0x06, 0x03, 0x2b, 0x65, 0x70, 0x03, 0x21, 0x00}

// PEM is the public key in the form that openssl takes.
func (k Key) PEM() []byte {
	return pem.EncodeToMemory(&pem.Block{Type: "PUBLIC KEY", Bytes: append(append([]byte{}, pemPrefix...), k.public[:]...)})
}

// Verify says whether sig is the key's signature over a note's text: 64 bytes, or 72 of a witness.
func (k Key) Verify(text, sig []byte) bool {
	switch k.typ {
	case typeLog:
		return len(sig) == ed25519.SignatureSize && ed25519.Verify(k.Public(), text, sig)
	case typeWitness:
		at, sig, ok := splitCosignature(sig)
		return ok && ed25519.Verify(k.Public(), cosigned(text, at), sig)
	}
	return false
}

// A Secret signs. Its String does not show it; Text does.
type Secret struct {
	key  Key
	seed [ed25519.SeedSize]byte
}

// Generate makes a key that signs checkpoints of the ledger called name, from 32 bytes of random.
func Generate(random io.Reader, name string) (Secret, error) { return generate(random, name, typeLog) }

// GenerateWitness makes a key for a witness: somebody outside who signs that a checkpoint was seen, and when.
func GenerateWitness(random io.Reader, name string) (Secret, error) {
	return generate(random, name, typeWitness)
}

func generate(random io.Reader, name string, typ byte) (Secret, error) {
	if !validName(name) {
		return Secret{}, bad("key", fmt.Errorf("name %q: want one without blanks and plus signs", name))
	}
	var seed [ed25519.SeedSize]byte
	if _, err := io.ReadFull(random, seed[:]); err != nil {
		return Secret{}, fmt.Errorf("proof: making a key: %w", err)
	}
	return secret(name, typ, seed), nil
}

func secret(name string, typ byte, seed [ed25519.SeedSize]byte) Secret {
	s := Secret{key: Key{name: name, typ: typ}, seed: seed}
	copy(s.key.public[:], ed25519.NewKeyFromSeed(seed[:])[ed25519.SeedSize:])
	return s
}

// ParseSecret reads a secret, PRIVATE+KEY+NAME+ID+BASE64. Its errors do not show the secret.
func ParseSecret(text string) (Secret, error) {
	rest, ok := strings.CutPrefix(text, "PRIVATE+KEY+")
	name, rest, _ := strings.Cut(rest, "+")
	id, b64, _ := strings.Cut(rest, "+")
	raw, okKey := decode(b64)
	if !ok || !okKey || !validName(name) || len(raw) != 1+ed25519.SeedSize {
		return Secret{}, bad("secret", fmt.Errorf("want PRIVATE+KEY+NAME+ID+BASE64"))
	}
	if raw[0] != typeLog && raw[0] != typeWitness {
		return Secret{}, bad("secret", fmt.Errorf("type %d is none that this program can sign with; there are 1 and 4", raw[0]))
	}
	s := secret(name, raw[0], [ed25519.SeedSize]byte(raw[1:]))
	if id != s.key.hexID() {
		return Secret{}, bad("secret", fmt.Errorf("its id is %s, not %s; a character was lost or changed", s.key.hexID(), id))
	}
	return s, nil
}

// Key is the public half.
func (s Secret) Key() Key { return s.key }

// String names the key and does not show the secret.
func (s Secret) String() string { return "secret of " + s.key.ID() }

// GoString is String, so that no format verb shows the secret.
func (s Secret) GoString() string { return s.String() }

// Text is the secret as text, PRIVATE+KEY+NAME+ID+BASE64.
func (s Secret) Text() string {
	return "PRIVATE+KEY+" + s.key.ID() + "+" + base64.StdEncoding.EncodeToString(append([]byte{s.key.typ}, s.seed[:]...))
}

// File is what a key file holds: the secret and a newline. Whoever writes it gives it mode 0600.
func (s Secret) File() []byte { return []byte(s.Text() + "\n") }

// ErrOpenKey says that others than its owner may read or write a key file.
var ErrOpenKey = fmt.Errorf("proof: others than its owner may read the key file")

// ParseSecretFile reads a key file. mode is the file's; on systems where modes say nothing (Windows) hand over 0600.
func ParseSecretFile(content []byte, mode fs.FileMode) (Secret, error) {
	if mode.Perm()&0o077 != 0 {
		return Secret{}, fmt.Errorf("%w: mode %04o, want 0600", ErrOpenKey, mode.Perm())
	}
	line, ok := strings.CutSuffix(string(content), "\n")
	if !ok || strings.Contains(line, "\n") {
		return Secret{}, bad("secret", fmt.Errorf("want one line and a newline"))
	}
	return ParseSecret(line)
}

// private is the key in the form of the standard library.
func (s Secret) private() ed25519.PrivateKey { return ed25519.NewKeyFromSeed(s.seed[:]) }

// noteSigner signs texts for the note package.
type noteSigner struct {
	Key
	sign func(text []byte) []byte
}

func (s noteSigner) Sign(text []byte) ([]byte, error) { return s.sign(text), nil }

// validName is the rule of signed notes for names of keys.
func validName(name string) bool {
	return name != "" && len(name) <= 255 && utf8.ValidString(name) &&
		strings.IndexFunc(name, func(r rune) bool { return unicode.IsSpace(r) || r < 0x20 || r == '+' }) < 0
}

// decode reads base64 in the one form that this package writes.
func decode(text string) ([]byte, bool) {
	// The strict decoder still skips line breaks, so the length is checked by writing it again.
	b, err := base64.StdEncoding.Strict().DecodeString(text)
	return b, err == nil && base64.StdEncoding.EncodedLen(len(b)) == len(text)
}
