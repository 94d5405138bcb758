package proof_test

import (
	"bytes"
	"crypto/ed25519"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"golang.org/x/mod/sumdb/note"

	"latewood/events/ledger/proof"
)

// Source: RFC 8032, section 7.1, tests 1 to 3. The seed goes through Generate, so this holds our keys to the RFC.
func TestEd25519Published(t *testing.T) {
	t.Parallel()
	for i, tt := range []struct{ seed, public, message, signature string }{
		{"9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60", "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a", "",
			"e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555fb8821590a33bacc61e39701cf9b46bd25bf5f0595bbe24655141438e7a100b"},
		{"4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb", "3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c", "72",
			"92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da085ac1e43e15996e458f3613d0f11d8c387b2eaeb4302aeeb00d291612bb0c00"},
		{"c5aa8df43f9f837bedb7442f31dcb7b166d38535076f094b85ce3a2e0b4458f7", "fc51cd8e6218a1a38da47ed00230f0580816ed13ba3303ac5deb911548908025", "af82",
			"6291d657deec24024827e69c3abe01a30ce548a284743a445e3680d7db5ac3ac18ff9b538d16f290ae67f760984dc6594a7c15e9716ed28dc027beceea1ec40a"},
	} {
		s, err := proof.Generate(bytes.NewReader(unhex(t, tt.seed)), "rfc8032.example")
		if err != nil {
			t.Fatal(err)
		}
		if got := hex.EncodeToString(s.Key().Public()); got != tt.public {
			t.Errorf("test %d: public key %s, want %s", i+1, got, tt.public)
		}
		sig := unhex(t, tt.signature)
		if !s.Key().Verify(unhex(t, tt.message), sig) {
			t.Errorf("test %d: the published signature is refused", i+1)
		}
		sig[5] ^= 1
		if s.Key().Verify(unhex(t, tt.message), sig) {
			t.Errorf("test %d: a changed signature is taken", i+1)
		}
	}
}

func TestKeyText(t *testing.T) {
	t.Parallel()
	log, _, witness := keys(t)
	for _, s := range []proof.Secret{log, witness} {
		k, err := proof.ParseKey(s.Key().String())
		if err != nil || k != s.Key() {
			t.Errorf("%s: read back as %v, %v", s.Key(), k, err)
		}
		back, err := proof.ParseSecretFile(s.File(), 0o600)
		if err != nil || back != s {
			t.Errorf("%s: the key file read back as %v, %v", s.Key(), back, err)
		}
		for _, shown := range []string{s.String(), fmt.Sprint(s), fmt.Sprintf("%v %+v %#v %s", s, s, s, s)} {
			if strings.Contains(shown, "PRIVATE") || strings.Contains(shown, s.Text()[len(s.Text())-20:]) {
				t.Errorf("printing shows the secret: %s", shown)
			}
		}
	}
	// The note package of golang.org/x/mod reads our texts and finds the same key in them.
	v, err := note.NewVerifier(log.Key().String())
	if err != nil || v.Name() != origin || v.KeyHash() != log.Key().KeyHash() {
		t.Errorf("x/mod reads our key as %v, %v", v, err)
	}
	if _, err := note.NewSigner(log.Text()); err != nil {
		t.Errorf("x/mod refuses our secret: %v", err)
	}
	if log.Key().IsWitness() || !witness.Key().IsWitness() {
		t.Error("ledger and witness are mixed up")
	}
	if got := log.Key().Fingerprint(); len(got) != 64+15 || strings.Count(got, " ") != 15 {
		t.Errorf("fingerprint: got %q, want 16 groups of 4", got)
	}
}

func TestKeyRefused(t *testing.T) {
	t.Parallel()
	log, _, _ := keys(t)
	good, secret := log.Key().String(), log.Text()
	name, rest, _ := strings.Cut(good, "+")
	id, b64, _ := strings.Cut(rest, "+")
	for _, tt := range []struct{ name, text string }{
		{"nothing", ""},
		{"no id", name + "+" + b64},
		{"no name", "+" + id + "+" + b64},
		{"blank in the name", "tern hollow+" + id + "+" + b64},
		{"capitals in the id", name + "+" + strings.ToUpper(id) + "+" + b64},
		{"another id", name + "+00000000+" + b64},
		{"another name", "x" + good},
		{"line break inside", good[:len(good)-4] + "\n" + good[len(good)-4:]},
		{"line break behind", good + "\n"},
		{"padding lost", strings.TrimRight(good, "=") + "A"},
		{"too long", good + "AAAA"},
		{"ML-DSA, type 6", name + "+" + id + "+Bg" + b64[2:]},
	} {
		var format *proof.FormatError
		if k, err := proof.ParseKey(tt.text); !errors.As(err, &format) {
			t.Errorf("%s: got %v, %v, want a FormatError", tt.name, k, err)
		}
	}
	for i := range good {
		for bit := range 8 {
			b := []byte(good)
			b[i] ^= 1 << bit
			if k, err := proof.ParseKey(string(b)); err == nil {
				t.Errorf("byte %d, bit %d changed: got %v, want it refused", i, bit, k)
			}
			if i < len(secret) {
				b = []byte(secret)
				b[i] ^= 1 << bit
				if _, err := proof.ParseSecret(string(b)); err == nil {
					t.Errorf("secret, byte %d, bit %d changed: want it refused", i, bit)
				}
			}
		}
	}
	for _, mode := range []os.FileMode{0o640, 0o604, 0o660, 0o602, 0o644} {
		if _, err := proof.ParseSecretFile(log.File(), mode); !errors.Is(err, proof.ErrOpenKey) {
			t.Errorf("mode %04o: got %v, want ErrOpenKey", mode, err)
		}
	}
	for _, content := range []string{"", secret, secret + "\n\n", "\n" + secret + "\n"} {
		if _, err := proof.ParseSecretFile([]byte(content), 0o600); err == nil {
			t.Errorf("key file %q is taken", content)
		}
	}
	if _, err := proof.Generate(bytes.NewReader(make([]byte, 31)), origin); !errors.Is(err, io.ErrUnexpectedEOF) {
		t.Errorf("31 random bytes: got %v, want io.ErrUnexpectedEOF", err)
	}
	for _, name := range []string{"", "a b", "a+b", "a\u00a0b", "a\nb", strings.Repeat("x", 256), "\xff"} {
		if _, err := proof.Generate(seed(1), name); err == nil {
			t.Errorf("a key named %q is made", name)
		}
	}
}

// TestPEM lets openssl check one of our signatures, with nothing of ours but the bytes.
func TestPEM(t *testing.T) {
	t.Parallel()
	log, other, _ := keys(t)
	dir := t.TempDir()
	msg, err := proof.SignNote("a text\nof two lines\n", log)
	if err != nil {
		t.Fatal(err)
	}
	n, err := proof.ParseNote(msg)
	if err != nil {
		t.Fatal(err)
	}
	write := func(name string, content []byte) string {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, content, 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	text, sig := write("text", []byte(n.Text)), write("sig", n.Lines[0].Bytes)
	check := func(pem string) error {
		out, err := exec.Command("openssl", "pkeyutl", "-verify", "-pubin", "-inkey", pem, "-rawin", "-in", text, "-sigfile", sig).CombinedOutput()
		if err != nil {
			return fmt.Errorf("%w: %s", err, out)
		}
		return nil
	}
	if err := check(write("log.pem", log.Key().PEM())); err != nil {
		t.Errorf("openssl: %v", err)
	}
	if err := check(write("other.pem", other.Key().PEM())); err == nil {
		t.Error("openssl takes the signature for another key's")
	}
	if got, want := len(log.Key().Public()), ed25519.PublicKeySize; got != want {
		t.Errorf("public key of %d bytes, want %d", got, want)
	}
}
