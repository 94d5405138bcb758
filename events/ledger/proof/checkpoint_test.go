package proof_test

import (
	"bytes"
	"encoding/base64"
	"encoding/binary"
	"errors"
	"strings"
	"testing"

	"latewood/events/ledger"
	"latewood/events/ledger/proof"
)

// Source: C2SP tlog-checkpoint, v1.0.0, the example's text.
const publishedCheckpoint = "example.com/behind-the-sofa\n20852163\nCsUYapGGPo4dkMgIAUqom/Xajj7h2fB2MPA3j2jxq2I=\n"

func checkpoint(t testing.TB, size uint64) proof.Checkpoint {
	t.Helper()
	return proof.Checkpoint{Origin: origin, Tree: proof.Tree{Size: size, Root: rootOf(t, grow(size), size)}}
}

func sign(t testing.TB, c proof.Checkpoint, by ...proof.Secret) []byte {
	t.Helper()
	msg, err := c.Sign(by...)
	if err != nil {
		t.Fatal(err)
	}
	return msg
}

func cosignedCheckpoint(t testing.TB) []byte {
	t.Helper()
	log, _, witness := keys(t)
	msg, err := proof.Cosign(sign(t, checkpoint(t, 7), log), log.Key(), witness, 1_764_000_000)
	if err != nil {
		t.Fatal(err)
	}
	return msg
}

func TestCheckpointPublished(t *testing.T) {
	t.Parallel()
	c, err := proof.ParseCheckpoint(publishedCheckpoint)
	if err != nil || c.Origin != "example.com/behind-the-sofa" || c.Size != 20852163 || c.Root.String() != "CsUYapGGPo4dkMgIAUqom/Xajj7h2fB2MPA3j2jxq2I=" {
		t.Errorf("got %+v, %v", c, err)
	}
	if c.Text() != publishedCheckpoint {
		t.Errorf("written again: %q", c.Text())
	}
}

func TestCheckpointForms(t *testing.T) {
	t.Parallel()
	const root = "CsUYapGGPo4dkMgIAUqom/Xajj7h2fB2MPA3j2jxq2I="
	const empty = "47DEQpj8HBSa+/TImW+5JCeuQeRkm5NMpJWZG3hSuFU=" // SHA-256 of nothing
	for _, tt := range []struct {
		name, text string
		good       bool
	}{
		{"three lines", "a/b\n5\n" + root + "\n", true},
		{"empty tree", "a/b\n0\n" + empty + "\n", true},
		{"extension lines", "a/b\n5\n" + root + "\nmore\nand more\n", true},
		{"largest size", "a/b\n9007199254740991\n" + root + "\n", true},
		{"larger size", "a/b\n9007199254740992\n" + root + "\n", false},
		{"far larger size", "a/b\n18446744073709551616\n" + root + "\n", false},
		{"empty tree with a root", "a/b\n0\n" + root + "\n", false},
		{"leading zero", "a/b\n05\n" + root + "\n", false},
		{"sign", "a/b\n+5\n" + root + "\n", false},
		{"negative", "a/b\n-5\n" + root + "\n", false},
		{"hexadecimal", "a/b\n0x5\n" + root + "\n", false},
		{"underscore", "a/b\n1_0\n" + root + "\n", false},
		{"blank", "a/b\n 5\n" + root + "\n", false},
		{"no origin", "\n5\n" + root + "\n", false},
		{"no newline", "a/b\n5\n" + root, false},
		{"two lines", "a/b\n5\n", false},
		{"nothing", "", false},
		{"empty extension", "a/b\n5\n" + root + "\n\nmore\n", false},
		{"root too short", "a/b\n5\n" + root[4:] + "\n", false},
		{"root unpadded", "a/b\n5\n" + strings.TrimRight(root, "=") + "\n", false},
		{"root with an unused bit", "a/b\n5\n" + strings.Replace(root, "I=", "J=", 1) + "\n", false},
		{"root of the other alphabet", "a/b\n5\n" + strings.Replace(root, "/", "_", 1) + "\n", false},
	} {
		c, err := proof.ParseCheckpoint(tt.text)
		if (err == nil) != tt.good {
			t.Errorf("%s: got %v, want taken: %v", tt.name, err, tt.good)
		}
		if err == nil && c.Text() != tt.text {
			t.Errorf("%s: written again it is %q", tt.name, c.Text())
		}
	}
}

func TestCheckpointOpened(t *testing.T) {
	t.Parallel()
	log, other, witness := keys(t)
	c := checkpoint(t, 5)
	msg := sign(t, c, log)
	s, err := proof.OpenCheckpoint(msg, origin, log.Key())
	if err != nil || s.Tree != c.Tree || len(s.By) != 1 || len(s.Witnessed) != 0 || !bytes.Equal(s.Note, msg) {
		t.Errorf("got %+v, %v", s, err)
	}
	var unsigned *proof.UnsignedError
	if _, err := proof.OpenCheckpoint(msg, origin, other.Key()); !errors.As(err, &unsigned) {
		t.Errorf("another key: got %v, want an UnsignedError", err)
	}
	var from *proof.OriginError
	if _, err := proof.OpenCheckpoint(msg, origin+"x", log.Key()); !errors.As(err, &from) || from.Got != origin {
		t.Errorf("another ledger: got %v, want an OriginError", err)
	}
	text, err := proof.SignNote("not a checkpoint\n", log)
	if err != nil {
		t.Fatal(err)
	}
	var format *proof.FormatError
	if _, err := proof.OpenCheckpoint(text, origin, log.Key()); !errors.As(err, &format) {
		t.Errorf("a signed text: got %v, want a FormatError", err)
	}
	if _, err := (proof.Checkpoint{Origin: "a\nb", Tree: c.Tree}).Sign(log); err == nil {
		t.Error("an origin of two lines is signed")
	}
	// While a key is being changed both sign, and who knows either can read.
	both := sign(t, c, log, other)
	for _, k := range []proof.Key{log.Key(), other.Key()} {
		if s, err := proof.OpenCheckpoint(both, origin, k); err != nil || len(s.By) != 1 || s.By[0] != k {
			t.Errorf("signed by two keys, read with %s: %+v, %v", k.ID(), s.By, err)
		}
	}
	// A witness alone does not make a checkpoint.
	seen := cosignedCheckpoint(t)
	if s, err := proof.OpenCheckpoint(seen, origin, log.Key(), witness.Key()); err != nil || len(s.Witnessed) != 1 || s.Witnessed[0].Time != 1_764_000_000 || s.Witnessed[0].Key != witness.Key() {
		t.Errorf("with a witness: %+v, %v", s.Witnessed, err)
	}
	if s, err := proof.OpenCheckpoint(seen, origin, log.Key()); err != nil || len(s.Witnessed) != 0 {
		t.Errorf("a witness that is not asked for: %+v, %v", s.Witnessed, err)
	}
	if _, err := proof.OpenCheckpoint(seen, origin, witness.Key()); !errors.As(err, &unsigned) {
		t.Errorf("only a witness signed: got %v, want an UnsignedError", err)
	}
}

// Source: C2SP tlog-cosignature, v1.0.1: the message that a witness signs. Its example gives no public key, so the parts
// are made here by hand and held against ours.
func TestCosign(t *testing.T) {
	t.Parallel()
	log, other, witness := keys(t)
	msg := cosignedCheckpoint(t)
	n, err := proof.ParseNote(msg)
	if err != nil || len(n.Lines) != 2 || n.Lines[1].Name != witness.Key().Name() || len(n.Lines[1].Bytes) != 72 {
		t.Fatalf("got %+v, %v", n.Lines, err)
	}
	// A ledger's key of the same bytes checks the inner signature over the lines that the specification gives.
	raw := must(base64.StdEncoding.DecodeString(witness.Text()[strings.LastIndex(witness.Text(), "+")+1:]))
	plain := must(proof.Generate(bytes.NewReader(raw[1:]), "x"))
	if !plain.Key().Verify([]byte("cosignature/v1\ntime 1764000000\n"+n.Text), n.Lines[1].Bytes[8:]) {
		t.Error("the witness did not sign the lines of the specification")
	}
	if got := binary.BigEndian.Uint64(n.Lines[1].Bytes); got != 1_764_000_000 {
		t.Errorf("the time in front of the signature: got %d", got)
	}
	// Again by the same witness, later: its line is replaced, the ledger's stays.
	later, err := proof.Cosign(msg, log.Key(), witness, 1_764_000_060)
	if err != nil {
		t.Fatal(err)
	}
	s, err := proof.OpenCheckpoint(later, origin, log.Key(), witness.Key())
	if err != nil || len(s.Witnessed) != 1 || s.Witnessed[0].Time != 1_764_000_060 {
		t.Errorf("cosigned again: %+v, %v", s.Witnessed, err)
	}
	for _, tt := range []struct {
		name    string
		msg     []byte
		log     proof.Key
		witness proof.Secret
		at      int64
	}{
		{"what the ledger did not sign", sign(t, checkpoint(t, 7), other), log.Key(), witness, 1},
		{"with the key of a ledger", sign(t, checkpoint(t, 7), log), log.Key(), other, 1},
		{"before 1970", sign(t, checkpoint(t, 7), log), log.Key(), witness, -1},
		{"no checkpoint", []byte("x"), log.Key(), witness, 1},
	} {
		if _, err := proof.Cosign(tt.msg, tt.log, tt.witness, tt.at); err == nil {
			t.Errorf("%s: want it refused", tt.name)
		}
	}
	for i := range msg {
		b := bytes.Clone(msg)
		b[i] ^= 1
		if _, err := proof.OpenCheckpoint(b, origin, log.Key(), witness.Key()); err == nil {
			// A change in the witness's name or id makes it an unknown key's line, which is let be.
			if s, err := proof.OpenCheckpoint(b, origin, log.Key(), witness.Key()); err != nil || len(s.Witnessed) != 0 {
				t.Errorf("byte %d changed: taken as witnessed", i)
			}
		}
	}
}

// TestHistories shows what a second history looks like to somebody who kept a checkpoint.
func TestHistories(t *testing.T) {
	t.Parallel()
	log, _, _ := keys(t)
	h := grow(5)
	var forged proof.Hashes
	for n := range uint64(9) {
		leaf := ledger.LeafHash(body(n))
		if n == 3 {
			leaf = ledger.LeafHash([]byte("another"))
		}
		forged.Append(leaf)
	}
	seen := must(proof.OpenCheckpoint(sign(t, checkpoint(t, 5), log), origin, log.Key()))
	now := must(proof.OpenCheckpoint(sign(t, proof.Checkpoint{Origin: origin, Tree: proof.Tree{Size: 9, Root: rootOf(t, &forged, 9)}}, log), origin, log.Key()))
	path := must(proof.Consistency(5, 9, &forged))
	var evidence *proof.ConsistencyError
	if err := proof.CheckConsistency(seen.Tree, now.Tree, path); !errors.As(err, &evidence) || evidence.Old != seen.Tree || evidence.New != now.Tree {
		t.Errorf("got %v, want the evidence", err)
	}
	if rootOf(t, h, 5) == rootOf(t, &forged, 5) {
		t.Error("the two histories are one")
	}
	split := &proof.SplitError{One: seen, Other: now}
	if !strings.Contains(split.Error(), "two histories") {
		t.Errorf("got %q", split.Error())
	}
}

func FuzzCheckpoint(f *testing.F) {
	log, _, _ := keys(f)
	f.Add(publishedCheckpoint)
	f.Add("a/b\n0\n47DEQpj8HBSa+/TImW+5JCeuQeRkm5NMpJWZG3hSuFU=\n")
	f.Add("a/b\n5\nCsUYapGGPo4dkMgIAUqom/Xajj7h2fB2MPA3j2jxq2I=\nmore\n")
	f.Fuzz(func(t *testing.T, text string) {
		c, err := proof.ParseCheckpoint(text)
		if err != nil {
			return
		}
		if c.Text() != text {
			t.Errorf("written again it is %q, not %q", c.Text(), text)
		}
		msg, err := c.Sign(log)
		if err != nil {
			return // what a note cannot hold: control characters, bytes that are not UTF-8
		}
		if s, err := proof.OpenCheckpoint(msg, c.Origin, log.Key()); err != nil || s.Tree != c.Tree {
			t.Errorf("signed and opened: %+v, %v", s, err)
		}
	})
}
