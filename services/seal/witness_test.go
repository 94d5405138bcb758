package seal_test

import (
	"crypto/rand"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"latewood/events/ledger/proof"
	"latewood/services/seal"
)

func TestWitness(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	s := r.sealer(seal.Config{})
	newest := func() []byte {
		t.Helper()
		r.record(5)
		if err := s.Seal(t.Context()); err != nil {
			t.Fatal(err)
		}
		c, err := r.a.Checkpoint()
		if err != nil {
			t.Fatal(err)
		}
		return c.Note
	}
	growth := func(from, to uint64) []byte {
		t.Helper()
		path, err := proof.Consistency(from, to, r.a)
		if err != nil {
			t.Fatal(err)
		}
		return proof.Growth{From: from, To: to, Path: path}.Format()
	}
	file := filepath.Join(t.TempDir(), "packer.key")
	if _, _, err := seal.OpenWitness(file, "", rand.Reader); !errors.Is(err, seal.ErrNoWitness) {
		t.Fatalf("no key: got %v", err)
	}
	w, made, err := seal.OpenWitness(file, "packer.example", rand.Reader)
	if err != nil || !made {
		t.Fatal(made, err)
	}
	if w, made, err = seal.OpenWitness(file, "packer.example", rand.Reader); err != nil || made {
		t.Fatal(made, err)
	}
	log := r.ring.Key()
	one, two, three := newest(), newest(), newest()
	signed, _, err := w.Cosign(one, log, nil, 1_700_000_000)
	if err != nil {
		t.Fatal(err)
	}
	c, err := proof.OpenCheckpoint(signed, origin, log, w.Key())
	if err != nil || len(c.Witnessed) != 1 || c.Witnessed[0].Time != 1_700_000_000 {
		t.Errorf("got %+v, %v", c.Witnessed, err)
	}
	// Another history of the same ledger, by the same key: only who holds the secret can make it.
	secret, err := os.ReadFile(filepath.Join(r.dir, "keys", "ledger.key"))
	if err != nil {
		t.Fatal(err)
	}
	key, err := proof.ParseSecretFile(secret, 0o600)
	if err != nil {
		t.Fatal(err)
	}
	forged, err := proof.Checkpoint{Origin: origin, Tree: proof.Tree{Size: 5, Root: [32]byte{1}}}.Sign(key)
	if err != nil {
		t.Fatal(err)
	}
	longer, err := proof.Checkpoint{Origin: origin, Tree: proof.Tree{Size: 10, Root: [32]byte{1}}}.Sign(key)
	if err != nil {
		t.Fatal(err)
	}
	for _, tt := range []struct {
		name       string
		checkpoint []byte
		growth     []byte
		want       string
	}{
		{"grown without a proof", two, nil, seal.NoGrowth},
		{"grown with another proof", two, growth(10, 15), seal.NoGrowth},
		{"another history of the same size", forged, nil, seal.Split},
		{"another history that is longer", longer, growth(5, 10), seal.Split},
		{"no checkpoint", []byte("x"), nil, ""},
	} {
		if _, _, err := w.Cosign(tt.checkpoint, log, tt.growth, 1_700_000_001); err == nil || seal.Refusal(err).What != tt.want {
			t.Errorf("%s: got %v, %q, want %q", tt.name, err, seal.Refusal(err).What, tt.want)
		}
	}
	if _, _, err := w.Cosign(one, log, nil, 1_700_000_002); err != nil {
		t.Errorf("the same again: %v", err)
	}
	if _, _, err := w.Cosign(three, log, growth(5, 15), 1_700_000_003); err != nil {
		t.Errorf("grown: %v", err)
	}
	if _, _, err := w.Cosign(two, log, growth(5, 10), 1_700_000_004); seal.Refusal(err).What != seal.Older || seal.Refusal(err).Seen != 15 {
		t.Errorf("older: got %v", err)
	}
}

// openssl runs it in a folder. It is one of the tools that the tests need; see .ci/test.
func openssl(t *testing.T, dir string, args ...string) (string, error) {
	t.Helper()
	cmd := exec.CommandContext(t.Context(), "openssl", args...)
	cmd.Dir = dir
	out, err := cmd.CombinedOutput()
	return string(out), err
}

// TestStamp has a throw-away authority, made here with openssl, answer our question over a real checkpoint, and openssl check
// the answer.
func TestStamp(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	put := func(name string, content []byte) {
		t.Helper()
		if err := os.WriteFile(filepath.Join(dir, name), content, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	must := func(args ...string) {
		t.Helper()
		if out, err := openssl(t, dir, args...); err != nil {
			t.Fatalf("openssl %v: %v\n%s", args, err, out)
		}
	}
	put("tsa.cnf", []byte(`[req]
distinguished_name = dn
prompt = no
[dn]
CN = throw-away authority
[tsa]
default_tsa = a
[a]
serial = serial
crypto_device = builtin
signer_cert = tsa.pem
signer_key = tsa.key
signer_digest = sha256
default_policy = 1.2.3.4.1
digests = sha256
accuracy = secs:1
ordering = no
tsa_name = no
ess_cert_id_chain = no
[ext]
basicConstraints = CA:FALSE
keyUsage = critical,digitalSignature
extendedKeyUsage = critical,timeStamping
`))
	put("serial", []byte("01\n"))
	must("req", "-x509", "-newkey", "ed25519", "-nodes", "-keyout", "ca.key", "-out", "ca.pem", "-subj", "/CN=throw-away root", "-days", "2")
	must("req", "-new", "-newkey", "rsa:2048", "-nodes", "-keyout", "tsa.key", "-out", "tsa.csr", "-config", "tsa.cnf")
	must("x509", "-req", "-in", "tsa.csr", "-CA", "ca.pem", "-CAkey", "ca.key", "-CAcreateserial", "-out", "tsa.pem", "-days", "2", "-extfile", "tsa.cnf", "-extensions", "ext")

	r := newRig(t)
	r.record(9)
	if err := r.sealer(seal.Config{}).Seal(t.Context()); err != nil {
		t.Fatal(err)
	}
	c, err := r.a.Checkpoint()
	if err != nil {
		t.Fatal(err)
	}
	query, err := seal.StampQuery(c.Note, rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	put("checkpoint", c.Note)
	put("changed", append(c.Note[:len(c.Note):len(c.Note)], '\n'))
	put("query.tsq", query)
	must("ts", "-query", "-in", "query.tsq", "-text")
	must("ts", "-reply", "-config", "tsa.cnf", "-section", "a", "-queryfile", "query.tsq", "-out", "reply.tsr")
	must("ts", "-verify", "-data", "checkpoint", "-in", "reply.tsr", "-CAfile", "ca.pem")
	must("ts", "-verify", "-queryfile", "query.tsq", "-in", "reply.tsr", "-CAfile", "ca.pem")
	if out, err := openssl(t, dir, "ts", "-verify", "-data", "changed", "-in", "reply.tsr", "-CAfile", "ca.pem"); err == nil {
		t.Errorf("a changed checkpoint: openssl took it: %s", out)
	}
	reply, err := os.ReadFile(filepath.Join(dir, "reply.tsr"))
	if err != nil {
		t.Fatal(err)
	}
	at, over, err := seal.ReadStamp(reply, c.Note)
	if err != nil || !over || time.Since(at).Abs() > time.Hour {
		t.Errorf("got %v, over the checkpoint %v, %v", at, over, err)
	}
	if _, over, _ := seal.ReadStamp(reply, []byte("something else")); over {
		t.Error("a reply over something else was taken")
	}
}
