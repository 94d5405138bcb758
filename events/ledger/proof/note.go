package proof

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"strings"
	"unicode/utf8"

	"golang.org/x/mod/sumdb/note"
)

const (
	maxNote       = 1 << 20 // bytes of a note; a manifest of 10,000 files is below
	maxSignatures = 64      // lines; the specification asks for 16 at least
)

// A Line is one signature line of a note, taken apart and not checked.
type Line struct {
	Name  string
	ID    uint32
	Bytes []byte // what stands behind the id
}

// A Note is a signed note taken apart. Nothing in it is to be believed before OpenNote has seen it.
type Note struct {
	Text  string // with its last newline
	Lines []Line
}

// ParseNote takes a note apart. Beside what the specification asks for, base64 must be strict and no key may sign twice.
func ParseNote(msg []byte) (Note, error) { return parseNote(msg, maxNote) }

func parseNote(msg []byte, most int) (Note, error) {
	if len(msg) > most {
		return Note{}, bad("note", fmt.Errorf("%d bytes, and %d is the most", len(msg), most))
	}
	for i, r := range string(msg) {
		if r < 0x20 && r != '\n' {
			return Note{}, bad("note", fmt.Errorf("a control character at byte %d", i))
		}
	}
	if !utf8.Valid(msg) {
		return Note{}, bad("note", fmt.Errorf("it is not UTF-8"))
	}
	split := bytes.LastIndex(msg, []byte("\n\n"))
	if split < 0 {
		return Note{}, bad("note", fmt.Errorf("no empty line between text and signatures"))
	}
	n := Note{Text: string(msg[:split+1])}
	block, ok := strings.CutSuffix(string(msg[split+2:]), "\n")
	if !ok {
		return Note{}, bad("note", fmt.Errorf("it does not end in a newline behind a signature"))
	}
	type who struct {
		name string
		id   uint32
	}
	seen := map[who]bool{}
	for line := range strings.SplitSeq(block, "\n") {
		rest, ok := strings.CutPrefix(line, "— ")
		name, b64, _ := strings.Cut(rest, " ")
		raw, okSig := decode(b64)
		if !ok || !okSig || !validName(name) || len(raw) < 5 {
			return Note{}, bad("note", fmt.Errorf("%q is not a signature line", line))
		}
		l := Line{Name: name, ID: binary.BigEndian.Uint32(raw), Bytes: raw[4:]}
		if seen[who{l.Name, l.ID}] {
			return Note{}, bad("note", fmt.Errorf("%s+%08x signed twice", l.Name, l.ID))
		}
		seen[who{l.Name, l.ID}] = true
		if n.Lines = append(n.Lines, l); len(n.Lines) > maxSignatures {
			return Note{}, bad("note", fmt.Errorf("more than %d signatures", maxSignatures))
		}
	}
	return n, nil
}

// OpenNote checks a note and says which of the keys signed it, in the order of the lines. Lines of other keys are let
// be, as the specification says. It returns an *UnsignedError if no key of keys signed, a *SignatureError if one of
// them has a line that does not fit, and a *FormatError for what is no note.
func OpenNote(msg []byte, keys ...Key) (Note, []Key, error) { return openNote(msg, maxNote, keys) }

func openNote(msg []byte, most int, keys []Key) (Note, []Key, error) {
	n, err := parseNote(msg, most)
	if err != nil {
		return Note{}, nil, err
	}
	known := map[string]Key{}
	var verifiers []note.Verifier
	for _, k := range keys {
		if other, there := known[k.ID()]; there && other != k {
			return Note{}, nil, bad("key", fmt.Errorf("two keys with the id %s", k.ID()))
		} else if !there {
			known[k.ID()] = k
			verifiers = append(verifiers, k)
		}
	}
	opened, err := note.Open(msg, note.VerifierList(verifiers...))
	var wrong *note.InvalidSignatureError
	var none *note.UnverifiedNoteError
	switch {
	case errors.As(err, &wrong):
		return Note{}, nil, &SignatureError{Note: msg, Key: known[fmt.Sprintf("%s+%08x", wrong.Name, wrong.Hash)]}
	case errors.As(err, &none):
		e := &UnsignedError{Note: msg, Want: keys}
		for _, l := range n.Lines {
			e.Signed = append(e.Signed, fmt.Sprintf("%s+%08x", l.Name, l.ID))
		}
		return Note{}, nil, e
	case err != nil:
		return Note{}, nil, bad("note", fmt.Errorf("%v", err))
	}
	var by []Key
	for _, s := range opened.Sigs {
		by = append(by, known[fmt.Sprintf("%s+%08x", s.Name, s.Hash)])
	}
	return n, by, nil
}

// SignNote signs a text, which must end in a newline, with secrets of ledgers, in their order.
func SignNote(text string, secrets ...Secret) ([]byte, error) {
	if len(secrets) == 0 {
		return nil, errors.New("proof: a note without a signature")
	}
	var signers []note.Signer
	for _, s := range secrets {
		if s.key.typ != typeLog {
			return nil, fmt.Errorf("proof: %s is the key of a witness and signs checkpoints only", s.key.ID())
		}
		signers = append(signers, noteSigner{s.key, func(text []byte) []byte { return signEd25519(s, text) }})
	}
	msg, err := note.Sign(&note.Note{Text: text}, signers...)
	if err != nil {
		return nil, fmt.Errorf("proof: signing: %w", err)
	}
	// What could not be read back, such as a control character in the text, is not handed out.
	if _, _, err := OpenNote(msg, secrets[0].key); err != nil {
		return nil, err
	}
	return msg, nil
}
