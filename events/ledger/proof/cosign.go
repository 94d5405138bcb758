package proof

import (
	"crypto/ed25519"
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"strconv"

	"golang.org/x/mod/sumdb/note"
)

// A Cosignature says that a witness had seen a checkpoint, and no newer one of that ledger, at a time.
type Cosignature struct {
	Key  Key
	Time int64 // seconds since 1970, by the witness's clock
}

// Cosign adds the line of a witness to a checkpoint, made at unix seconds. It opens the checkpoint first, with the ledger's
// key: nobody witnesses what the ledger did not sign. That the checkpoint is consistent with those that the witness saw
// before is for the caller to have checked; see CheckConsistency. Lines that are there stay; an older one of the same
// witness is replaced.
func Cosign(msg []byte, log Key, witness Secret, unix int64) ([]byte, error) {
	if witness.key.typ != typeWitness {
		return nil, fmt.Errorf("proof: %s is not the key of a witness", witness.key.ID())
	}
	if unix < 0 {
		return nil, errors.New("proof: a time before 1970")
	}
	s, err := OpenCheckpoint(msg, log.Name(), log)
	if err != nil {
		return nil, err
	}
	var unverified *note.UnverifiedNoteError
	if _, err := note.Open(s.Note, note.VerifierList()); !errors.As(err, &unverified) {
		return nil, fmt.Errorf("proof: cosigning: %w", err)
	}
	signer := noteSigner{witness.key, func(text []byte) []byte {
		sig := binary.BigEndian.AppendUint64(nil, uint64(unix))
		return append(sig, signEd25519(witness, cosigned(text, unix))...)
	}}
	out, err := note.Sign(unverified.Note, signer)
	if err != nil {
		return nil, fmt.Errorf("proof: cosigning: %w", err)
	}
	if _, err := OpenCheckpoint(out, log.Name(), log, witness.key); err != nil {
		return nil, err
	}
	return out, nil
}

// cosigned is what a witness signs.
func cosigned(text []byte, unix int64) []byte {
	b := append([]byte("cosignature/v1\ntime "), strconv.FormatInt(unix, 10)...)
	return append(append(b, '\n'), text...)
}

// splitCosignature takes the bytes of a witness's line apart: time and signature.
func splitCosignature(b []byte) (unix int64, sig []byte, ok bool) {
	if len(b) != 8+ed25519.SignatureSize {
		return 0, nil, false
	}
	at := binary.BigEndian.Uint64(b)
	if at > math.MaxInt64 {
		return 0, nil, false
	}
	return int64(at), b[8:], true
}
