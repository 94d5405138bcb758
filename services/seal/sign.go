package seal

import "latewood/events/ledger/proof"

// SignNote signs a text that is no checkpoint, as the manifest of a file of evidence, with the newest key alone: whoever holds
// it checks every signature under the text. The text's form keeps it from ever being taken for a checkpoint.
func (r *Ring) SignNote(text string) ([]byte, error) {
	if !r.CanSign() {
		return nil, ErrNoSecret
	}
	return proof.SignNote(text, r.signers()[0])
}
