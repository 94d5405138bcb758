package evidence

import (
	"errors"
	"strings"

	"latewood/events/ledger/proof"
)

// A Forger makes the manifest of parts anew, as somebody with the ledger's key could.
type Forger struct{ m manifest }

// Head takes the head of a file's manifest.
func Head(b []byte) (Forger, error) {
	files, err := Unpack(b)
	if err != nil {
		return Forger{}, err
	}
	for _, f := range files {
		if f.Name == nameManifest {
			text, _, _ := strings.Cut(string(f.Body), "\n\n")
			m, ok := readHead(text + "\n")
			if ok {
				return Forger{m}, nil
			}
		}
	}
	return Forger{}, errors.New("no manifest")
}

// Under puts another tree into the head.
func (f Forger) Under(tree proof.Tree) Forger {
	f.m.tree = tree
	return f
}

// Reseal signs a manifest over files.
func (f Forger) Reseal(files []File, sign func(string) ([]byte, error)) ([]byte, error) {
	var rest []File
	for _, x := range files {
		if x.Name != nameManifest {
			rest = append(rest, x)
		}
	}
	return seal(f.m, rest, sign)
}
