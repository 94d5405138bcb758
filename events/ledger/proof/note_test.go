package proof_test

import (
	"bytes"
	"encoding/base64"
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"

	"golang.org/x/mod/sumdb/note"

	"latewood/events/ledger/proof"
)

// Source: C2SP signed-note, v1.0.0, the example with the key example.com/foo.
const (
	publishedKey  = "example.com/foo+530d903a+AekyeRrm56hApGFkyQR4ZCbV54Id2LKaANYcrnKv3U2k"
	publishedNote = "This is an example message.\n\n" +
		"— example.com/foo Uw2QOkn8srV1yJGh2VYRlL1Tnagv1YEq6TfXppzi2ONncAlTgK7Ztg1ERYNZXsYjOBH3mFXmRKuwHjG1Yu72IneyaQM=\n"
)

func mustKey(t testing.TB, text string) proof.Key {
	t.Helper()
	k, err := proof.ParseKey(text)
	if err != nil {
		t.Fatal(err)
	}
	return k
}

func TestNotePublished(t *testing.T) {
	t.Parallel()
	n, by, err := proof.OpenNote([]byte(publishedNote), mustKey(t, publishedKey))
	if err != nil || n.Text != "This is an example message.\n" || len(by) != 1 || by[0].Name() != "example.com/foo" {
		t.Errorf("got %q, %v, %v", n.Text, by, err)
	}
}

func TestNote(t *testing.T) {
	t.Parallel()
	log, other, witness := keys(t)
	msg, err := proof.SignNote("first\n\nthird\n", log, other)
	if err != nil {
		t.Fatal(err)
	}
	n, by, err := proof.OpenNote(msg, other.Key(), log.Key(), other.Key())
	if err != nil || n.Text != "first\n\nthird\n" || !slices.Equal(by, []proof.Key{log.Key(), other.Key()}) {
		t.Errorf("two keys: got %q, %v, %v", n.Text, by, err)
	}
	if _, by, err := proof.OpenNote(msg, other.Key()); err != nil || len(by) != 1 {
		t.Errorf("one of two keys: got %v, %v", by, err)
	}
	var unsigned *proof.UnsignedError
	if _, _, err := proof.OpenNote(msg, witness.Key()); !errors.As(err, &unsigned) || len(unsigned.Signed) != 2 || len(unsigned.Want) != 1 {
		t.Errorf("a foreign key: got %v, want an UnsignedError with two signers", err)
	}
	if _, _, err := proof.OpenNote(msg); !errors.As(err, &unsigned) {
		t.Errorf("no key: got %v, want an UnsignedError", err)
	}
	changed := bytes.Replace(msg, []byte("third"), []byte("thirt"), 1)
	var wrong *proof.SignatureError
	if _, _, err := proof.OpenNote(changed, other.Key()); !errors.As(err, &wrong) || wrong.Key != other.Key() {
		t.Errorf("a changed text: got %v, want a SignatureError of %v", err, other.Key())
	}
	if _, err := proof.SignNote("no newline", log); err == nil {
		t.Error("a text without newline is signed")
	}
	if _, err := proof.SignNote("tab\there\n", log); err == nil {
		t.Error("a text with a control character is signed")
	}
	if _, err := proof.SignNote("x\n"); err == nil {
		t.Error("a note is made without a signature")
	}
	if _, err := proof.SignNote("x\n", witness); err == nil {
		t.Error("a witness signs a text that is no checkpoint")
	}
}

func TestNoteRefused(t *testing.T) {
	t.Parallel()
	log, _, _ := keys(t)
	msg, err := proof.SignNote("text\n", log)
	if err != nil {
		t.Fatal(err)
	}
	good := string(msg)
	line := good[strings.Index(good, "— "):]
	b64 := strings.TrimSpace(line[strings.LastIndex(line, " ")+1:])
	loose := func() string { // the same bytes, an unused bit set
		const alphabet = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/"
		i := len(b64) - 1 - strings.Count(b64, "=")
		return b64[:i] + string(alphabet[strings.IndexByte(alphabet, b64[i])|1]) + b64[i+1:]
	}()
	if raw, err := base64.StdEncoding.DecodeString(loose); err != nil || loose == b64 || !bytes.Equal(raw, must(base64.StdEncoding.DecodeString(b64))) {
		t.Fatalf("%q is not another form of %q", loose, b64)
	}
	for _, tt := range []struct{ name, msg string }{
		{"nothing", ""},
		{"text only", "text\n"},
		{"no empty line", "text\n" + line},
		{"no newline at the end", strings.TrimSuffix(good, "\n")},
		{"two newlines at the end", good + "\n"},
		{"no signatures", "text\n\n"},
		{"hyphen for dash", strings.Replace(good, "—", "-", 1)},
		{"no name", "text\n\n— " + b64 + "\n"},
		{"no signature", "text\n\n— " + origin + "\n"},
		{"two blanks", strings.Replace(good, origin+" ", origin+"  ", 1)},
		{"blank behind", strings.TrimSuffix(good, "\n") + " \n"},
		{"carriage returns", strings.ReplaceAll(good, "\n", "\r\n")},
		{"tab", strings.Replace(good, "text", "te\tt", 1)},
		{"zero byte", strings.Replace(good, "text", "te\x00t", 1)},
		{"not UTF-8", strings.Replace(good, "text", "te\xfft", 1)},
		{"loose base64", strings.Replace(good, b64, loose, 1)},
		{"unpadded base64", strings.Replace(good, b64, strings.TrimRight(b64, "="), 1)},
		{"signed twice", good + line},
		{"four bytes", "text\n\n— " + origin + " AAAAAA==\n"},
		{"too many lines", "text\n\n" + manyLines(65)},
		{"too long", strings.Repeat("text\n", 1<<18) + "\n" + line},
	} {
		var format *proof.FormatError
		if _, _, err := proof.OpenNote([]byte(tt.msg), log.Key()); !errors.As(err, &format) {
			t.Errorf("%s: got %v, want a FormatError", tt.name, err)
		}
	}
	if _, err := proof.ParseNote([]byte("text\n\n" + manyLines(16))); err != nil {
		t.Errorf("16 signatures, which the specification asks for: %v", err)
	}
	for i := range msg {
		for bit := range 8 {
			b := bytes.Clone(msg)
			b[i] ^= 1 << bit
			if _, _, err := proof.OpenNote(b, log.Key()); err == nil {
				t.Errorf("byte %d, bit %d changed: want it refused", i, bit)
			}
		}
	}
}

func manyLines(n int) string {
	var b strings.Builder
	for i := range n {
		fmt.Fprintf(&b, "— k%d AAAAAAA=\n", i)
	}
	return b.String()
}

func must[T any](v T, err error) T {
	if err != nil {
		panic(err)
	}
	return v
}

// FuzzNote feeds what others may send. Nothing may panic; what opens must open in the note package too and be one form only.
func FuzzNote(f *testing.F) {
	log, other, witness := keys(f)
	f.Add([]byte(publishedNote))
	msg, err := proof.SignNote("a\n\nb\n", log, other)
	if err != nil {
		f.Fatal(err)
	}
	f.Add(msg)
	f.Add(cosignedCheckpoint(f))
	v, err := note.NewVerifier(log.Key().String())
	if err != nil {
		f.Fatal(err)
	}
	f.Fuzz(func(t *testing.T, msg []byte) {
		n, err := proof.ParseNote(msg)
		if err != nil {
			return
		}
		var b strings.Builder
		b.WriteString(n.Text + "\n")
		for _, l := range n.Lines {
			raw := []byte{byte(l.ID >> 24), byte(l.ID >> 16), byte(l.ID >> 8), byte(l.ID)}
			b.WriteString("— " + l.Name + " " + base64.StdEncoding.EncodeToString(append(raw, l.Bytes...)) + "\n")
		}
		if b.String() != string(msg) {
			t.Errorf("written again it is %q, not %q", b.String(), msg)
		}
		_, _, err = proof.OpenNote(msg, log.Key(), witness.Key())
		_, xerr := note.Open(msg, note.VerifierList(v, witness.Key()))
		if (err == nil) != (xerr == nil) {
			t.Errorf("%q: we say %v, x/mod says %v", msg, err, xerr)
		}
	})
}
