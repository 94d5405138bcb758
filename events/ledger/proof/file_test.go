package proof_test

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"latewood/events/ledger"
	"latewood/events/ledger/proof"
)

func proofFile(t testing.TB, size, index uint64) proof.File {
	t.Helper()
	log, _, _ := keys(t)
	path, err := proof.Inclusion(size, index, grow(size))
	if err != nil {
		t.Fatal(err)
	}
	return proof.File{Index: index, Path: path, Checkpoint: sign(t, checkpoint(t, size), log)}
}

func TestFile(t *testing.T) {
	t.Parallel()
	log, other, _ := keys(t)
	for _, extra := range [][]byte{nil, []byte("x"), bytes.Repeat([]byte{0}, 999)} {
		for _, at := range [][2]uint64{{1, 0}, {7, 0}, {7, 6}, {8, 5}, {300, 299}} {
			f := proofFile(t, at[0], at[1])
			f.Extra = extra
			b := f.Format()
			back, err := proof.ParseFile(b)
			if err != nil || !bytes.Equal(back.Format(), b) || back.Index != at[1] || !slices.Equal(back.Path, f.Path) || !bytes.Equal(back.Extra, extra) {
				t.Errorf("size %d, index %d: read back as %+v, %v", at[0], at[1], back, err)
			}
			s, err := back.Check(ledger.LeafHash(body(at[1])), origin, log.Key())
			if err != nil || s.Size != at[0] {
				t.Errorf("size %d, index %d: %+v, %v", at[0], at[1], s, err)
			}
		}
	}
	f := proofFile(t, 8, 5)
	var wrong *proof.InclusionError
	if _, err := f.Check(ledger.LeafHash(body(4)), origin, log.Key()); !errors.As(err, &wrong) {
		t.Errorf("another record: got %v, want an InclusionError", err)
	}
	var unsigned *proof.UnsignedError
	if _, err := f.Check(ledger.LeafHash(body(5)), origin, other.Key()); !errors.As(err, &unsigned) {
		t.Errorf("another key: got %v, want an UnsignedError", err)
	}
}

// TestFileChanged flips every bit of a proof file, and puts every other size and index into it: none proves anything.
func TestFileChanged(t *testing.T) {
	t.Parallel()
	log, _, _ := keys(t)
	leaf := ledger.LeafHash(body(5))
	b := proofFile(t, 21, 5).Format()
	refused := 0
	refuse := func(b []byte, what string) {
		f, err := proof.ParseFile(b)
		if err == nil {
			_, err = f.Check(leaf, origin, log.Key())
		}
		if err == nil {
			t.Errorf("%s: taken", what)
		}
		refused++
	}
	for i := range b {
		for bit := range 8 {
			c := bytes.Clone(b)
			c[i] ^= 1 << bit
			refuse(c, fmt.Sprintf("byte %d, bit %d", i, bit))
		}
		refuse(slices.Concat(b[:i], b[i+1:]), fmt.Sprintf("byte %d left out", i))
		refuse(slices.Concat(b[:i], b[i:i+1], b[i:]), fmt.Sprintf("byte %d doubled", i))
		refuse(b[:i], fmt.Sprintf("cut at %d", i))
	}
	for n := range 300 {
		if n != 21 {
			refuse(bytes.Replace(b, []byte("\n21\n"), fmt.Appendf(nil, "\n%d\n", n), 1), fmt.Sprintf("size %d", n))
		}
		if n != 5 {
			refuse(bytes.Replace(b, []byte("index 5\n"), fmt.Appendf(nil, "index %d\n", n), 1), fmt.Sprintf("index %d", n))
		}
	}
	t.Logf("counts: a proof file of %d bytes changed in %d ways, none taken", len(b), refused)
}

func TestFileForms(t *testing.T) {
	t.Parallel()
	good := string(proofFile(t, 7, 2).Format())
	many := strings.Repeat("AAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA=\n", 65)
	for _, tt := range []struct{ name, old, new string }{
		{"another version", "@v1", "@v2"},
		{"no index", "index 2\n", ""},
		{"two indexes", "index 2\n", "index 2\nindex 2\n"},
		{"leading zero", "index 2", "index 02"},
		{"negative", "index 2", "index -2"},
		{"beyond all", "index 2", "index 9007199254740991"},
		{"extra behind the index", "index 2\n", "index 2\nextra AAAA\n"},
		{"empty extra", "index 2\n", "extra \nindex 2\n"},
		{"loose extra", "index 2\n", "extra AB==\nindex 2\n"},
		{"two extras", "index 2\n", "extra AAAA\nextra AAAA\nindex 2\n"},
		{"too many hashes", "index 2\n", "index 2\n" + many},
		{"a line that is no hash", "index 2\n", "index 2\nAAAA\n"},
		{"carriage returns", "\n", "\r\n"},
		{"no empty line", "\n\n" + origin, "\n" + origin},
		{"too long", "index 2\n", "extra " + strings.Repeat("AAAA", 1<<16) + "\nindex 2\n"},
	} {
		b := strings.Replace(good, tt.old, tt.new, 1)
		if tt.name == "carriage returns" {
			b = strings.ReplaceAll(good, tt.old, tt.new)
		}
		var format *proof.FormatError
		if _, err := proof.ParseFile([]byte(b)); !errors.As(err, &format) {
			t.Errorf("%s: got %v, want a FormatError", tt.name, err)
		}
	}
}

func TestGrowth(t *testing.T) {
	t.Parallel()
	h := grow(21)
	for _, from := range []uint64{1, 8, 13, 21} {
		g := proof.Growth{From: from, To: 21, Path: must(proof.Consistency(from, 21, h))}
		b := g.Format()
		back, err := proof.ParseGrowth(b)
		if err != nil || !bytes.Equal(back.Format(), b) {
			t.Fatalf("from %d: read back as %+v, %v", from, back, err)
		}
		if err := proof.CheckConsistency(checkpoint(t, from).Tree, checkpoint(t, 21).Tree, back.Path); err != nil {
			t.Errorf("from %d: %v", from, err)
		}
	}
	good := string(proof.Growth{From: 8, To: 21, Path: must(proof.Consistency(8, 21, h))}.Format())
	if _, err := proof.ParseGrowth([]byte(strings.Replace(good, "from 8", "from 0", 1))); !errors.Is(err, proof.ErrEmptyTree) {
		t.Errorf("from 0: got %v, want ErrEmptyTree", err)
	}
	for _, tt := range []struct{ name, old, new string }{
		{"another version", "/v1", "/v2"}, {"no from", "from 8\n", ""}, {"shrinking", "to 21", "to 7"}, {"leading zero", "from 8", "from 08"},
		{"too large", "to 21", "to 9007199254740992"}, {"not a hash", "to 21\n", "to 21\nx\n"},
	} {
		if _, err := proof.ParseGrowth([]byte(strings.Replace(good, tt.old, tt.new, 1))); err == nil {
			t.Errorf("%s: taken", tt.name)
		}
	}
	for _, b := range []string{"", good[:len(good)-1], good + "\n"} {
		if _, err := proof.ParseGrowth([]byte(b)); err == nil {
			t.Errorf("%q: taken", b)
		}
	}
}

// FuzzFile feeds proof files. Nothing may panic, and what is taken has one form only.
func FuzzFile(f *testing.F) {
	log, _, _ := keys(f)
	p := proofFile(f, 7, 2)
	f.Add(p.Format())
	p.Extra = []byte("more")
	f.Add(p.Format())
	f.Add(proofFile(f, 1, 0).Format())
	f.Fuzz(func(t *testing.T, b []byte) {
		p, err := proof.ParseFile(b)
		if err != nil {
			return
		}
		if !bytes.Equal(p.Format(), b) {
			t.Errorf("written again it is %q, not %q", p.Format(), b)
		}
		if s, err := p.Check(ledger.LeafHash(body(2)), origin, log.Key()); err == nil && (s.Size != 7 || p.Index != 2) {
			t.Errorf("%q proves something that nobody signed", b)
		}
	})
}

// FuzzGrowth feeds consistency files.
func FuzzGrowth(f *testing.F) {
	f.Add(proof.Growth{From: 8, To: 21, Path: must(proof.Consistency(8, 21, grow(21)))}.Format())
	f.Add([]byte("latewood-consistency/v1\nfrom 1\nto 1\n"))
	f.Fuzz(func(t *testing.T, b []byte) {
		g, err := proof.ParseGrowth(b)
		if err != nil {
			return
		}
		if !bytes.Equal(g.Format(), b) {
			t.Errorf("written again it is %q, not %q", g.Format(), b)
		}
		proof.CheckConsistency(proof.Tree{Size: g.From}, proof.Tree{Size: g.To}, g.Path)
	})
}

// FuzzStamp feeds replies of time stamp authorities.
func FuzzStamp(f *testing.F) {
	f.Add([]byte{0x30, 0x03, 0x02, 0x01, 0x00})
	f.Fuzz(func(t *testing.T, b []byte) { proof.ReadStamp(b) })
}

// TestStamp has an authority made for this test stamp a checkpoint with openssl, which also checks the reply (RFC 3161).
func TestStamp(t *testing.T) {
	t.Parallel()
	log, _, _ := keys(t)
	dir := t.TempDir()
	data := sign(t, checkpoint(t, 5), log)
	query, err := proof.StampQuery(data, [8]byte{0xff, 1, 2, 3, 4, 5, 6, 7})
	if err != nil || len(query) != 69 {
		t.Fatalf("query of %d bytes, %v, want 69", len(query), err)
	}
	write := func(name string, b []byte) {
		if err := os.WriteFile(filepath.Join(dir, name), b, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	run := func(args ...string) ([]byte, error) {
		cmd := exec.Command("openssl", args...)
		cmd.Dir = dir
		return cmd.CombinedOutput()
	}
	must := func(args ...string) string {
		t.Helper()
		out, err := run(args...)
		if err != nil {
			t.Fatalf("openssl %v: %v\n%s", args, err, out)
		}
		return string(out)
	}
	write("checkpoint", data)
	write("query.tsq", query)
	write("serial", []byte("01\n"))
	write("authority.cnf", []byte("[req]\ndistinguished_name=dn\nx509_extensions=ext\nprompt=no\n[dn]\nCN=Invented authority of a test\n[ext]\n"+
		"keyUsage=critical,digitalSignature\nextendedKeyUsage=critical,timeStamping\n"+
		"[tsa]\ndefault_tsa=t\n[t]\nserial=./serial\nsigner_cert=./authority.pem\nsigner_key=./authority.key\nsigner_digest=sha256\n"+
		"default_policy=1.2.3.4.1\ndigests=sha256\naccuracy=secs:1\nclock_precision_digits=3\ness_cert_id_alg=sha256\n"))
	if text := must("ts", "-query", "-in", "query.tsq", "-text"); !strings.Contains(text, "sha256") || !strings.Contains(text, "Certificate required: yes") {
		t.Errorf("openssl reads our query as:\n%s", text)
	}
	must("req", "-x509", "-newkey", "rsa:2048", "-nodes", "-keyout", "authority.key", "-out", "authority.pem", "-days", "3650", "-config", "authority.cnf")
	must("ts", "-reply", "-config", "authority.cnf", "-section", "t", "-queryfile", "query.tsq", "-out", "reply.tsr")
	must("ts", "-verify", "-data", "checkpoint", "-in", "reply.tsr", "-CAfile", "authority.pem")
	must("ts", "-verify", "-queryfile", "query.tsq", "-in", "reply.tsr", "-CAfile", "authority.pem")

	reply, err := os.ReadFile(filepath.Join(dir, "reply.tsr"))
	if err != nil {
		t.Fatal(err)
	}
	stamp, err := proof.ReadStamp(reply)
	if err != nil || !stamp.Over(data) || time.Since(stamp.Time).Abs() > time.Hour {
		t.Errorf("read the reply as %v, %v", stamp, err)
	}
	changed := bytes.Replace(data, []byte("\n5\n"), []byte("\n6\n"), 1)
	write("checkpoint", changed)
	if out, err := run("ts", "-verify", "-data", "checkpoint", "-in", "reply.tsr", "-CAfile", "authority.pem"); err == nil || !bytes.Contains(out, []byte("imprint mismatch")) {
		t.Errorf("a changed checkpoint: openssl says %v\n%s", err, out)
	}
	if stamp.Over(changed) {
		t.Error("a changed checkpoint: taken as stamped")
	}
	for _, n := range []int{0, 1, 10, 100, len(reply) - 1} {
		if _, err := proof.ReadStamp(reply[:n]); err == nil {
			t.Errorf("a reply cut to %d bytes is read", n)
		}
	}
	t.Logf("counts: a query of %d bytes, a reply of %d bytes", len(query), len(reply))
}
