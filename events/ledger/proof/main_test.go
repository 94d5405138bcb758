package proof_test

import (
	"bytes"
	"os"
	"testing"

	"latewood/events/ledger"
	"latewood/events/ledger/proof"
)

// full says whether the full counts were asked for.
var full = os.Getenv("LATEWOOD_PROOF") == "1"

// seed gives 32 bytes of one value: a key for tests that everybody can make again.
func seed(b byte) *bytes.Reader { return bytes.NewReader(bytes.Repeat([]byte{b}, 32)) }

const origin = "latewood/tern-hollow-00000000"

// keys makes the invented keys of the tests: of the ledger, of another ledger of the same name, of a witness.
func keys(t testing.TB) (log, other, witness proof.Secret) {
	t.Helper()
	log, err1 := proof.Generate(seed(1), origin)
	other, err2 := proof.Generate(seed(2), origin)
	witness, err3 := proof.GenerateWitness(seed(3), "packer.example/witness")
	if err1 != nil || err2 != nil || err3 != nil {
		t.Fatal(err1, err2, err3)
	}
	return log, other, witness
}

// body is the n-th record of the tests' trees.
func body(n uint64) []byte { return bytes.Repeat([]byte{byte(n), byte(n >> 8)}, int(n%5+1)) }

// grow makes a tree.
func grow(size uint64) *proof.Hashes {
	var h proof.Hashes
	for n := range size {
		h.Append(ledger.LeafHash(body(n)))
	}
	return &h
}

// rootOf gives the root of the first size leaves.
func rootOf(t testing.TB, h *proof.Hashes, size uint64) ledger.Hash {
	t.Helper()
	root, err := proof.Root(size, h)
	if err != nil {
		t.Fatal(err)
	}
	return root
}
