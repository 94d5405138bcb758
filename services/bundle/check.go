package bundle

import (
	"errors"
	"fmt"
	"io"
	"os"
	"strings"

	"latewood/events/ledger/evidence"
	"latewood/events/ledger/proof"
	"latewood/events/words"
)

// A Report is what a check found; see evidence.Report.
type Report = evidence.Report

// CheckRequest says what to check and against what. Keys and checkpoints are files or, for keys, the text itself.
type CheckRequest struct {
	File      string
	Key       string
	Seen      []string
	Witnesses []string
}

// A CheckError says in a sentence why a file could not be checked. It is about what the checker brought, not about the file.
type CheckError struct {
	Text string
	Err  error // may be nil
}

func (e *CheckError) Error() string { return e.Text }

func (e *CheckError) Unwrap() error { return e.Err }

// Check reads a file of evidence and checks it. It uses no network, and no folder of a farm. The error is a *CheckError.
func Check(q CheckRequest) (Report, error) {
	b, err := readLimited(q.File)
	if err != nil {
		return Report{}, err
	}
	if q.Key == "" {
		text := words.Say("bundle.no-key")
		if k, err := evidence.KeyOf(b); err == nil {
			text = words.Say("bundle.no-key-but", "fingerprint", k.Fingerprint())
		}
		return Report{}, &CheckError{Text: text}
	}
	t := evidence.Trust{}
	if t.Keys, t.KeyFrom, err = readKeys(q.Key); err != nil {
		return Report{}, err
	}
	for _, k := range t.Keys {
		if k.IsWitness() {
			return Report{}, &CheckError{Text: words.Say("bundle.key-of-witness", "key", k.ID())}
		}
		if k.Name() != t.Keys[0].Name() {
			return Report{}, &CheckError{Text: words.Say("bundle.keys-of-two", "one", t.Keys[0].Name(), "other", k.Name())}
		}
	}
	for _, w := range q.Witnesses {
		keys, _, err := readKeys(w)
		if err != nil {
			return Report{}, err
		}
		for _, k := range keys {
			if !k.IsWitness() {
				return Report{}, &CheckError{Text: words.Say("bundle.no-witness-key", "key", k.ID())}
			}
		}
		t.Witnesses = append(t.Witnesses, keys...)
	}
	for _, path := range q.Seen {
		note, err := ReadCheckpoint(path)
		if err != nil {
			return Report{}, err
		}
		t.Seen = append(t.Seen, note)
	}
	return evidence.Verify(b, t), nil
}

// readKeys reads verifier keys: the text of one, or a file with one a line.
func readKeys(text string) (keys []proof.Key, from string, err error) {
	if k, err := proof.ParseKey(strings.TrimSpace(text)); err == nil {
		return []proof.Key{k}, words.Say("bundle.key-argument"), nil
	}
	b, err := os.ReadFile(text)
	if err != nil {
		return nil, "", &CheckError{Text: words.Say("bundle.key-neither", "text", text), Err: err}
	}
	for line := range strings.Lines(string(b)) {
		if line = strings.TrimSpace(line); line == "" {
			continue
		}
		k, err := proof.ParseKey(line)
		if err != nil {
			return nil, "", &CheckError{Text: words.Say("bundle.key-bad", "file", text), Err: err}
		}
		keys = append(keys, k)
	}
	if len(keys) == 0 {
		return nil, "", &CheckError{Text: words.Say("bundle.key-bad", "file", text)}
	}
	return keys, text, nil
}

// ReadCheckpoint reads a checkpoint that was kept, or takes it out of an earlier file of evidence. The error is a *CheckError.
func ReadCheckpoint(path string) ([]byte, error) {
	b, err := readLimited(path)
	if err != nil {
		return nil, err
	}
	if !strings.HasPrefix(string(b[:min(len(b), 2)]), "PK") {
		return b, nil
	}
	note, err := evidence.CheckpointOf(b)
	if err != nil {
		return nil, &CheckError{Text: words.Say("bundle.seen-bad", "file", path), Err: err}
	}
	return note, nil
}

// readLimited reads a file that is no larger than evidence can be, and one byte more of one that is.
func readLimited(path string) ([]byte, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, &CheckError{Text: words.Say("bundle.unreadable", "file", path), Err: cause(err)}
	}
	defer f.Close()
	b, err := io.ReadAll(io.LimitReader(f, evidence.MaxBytes+1))
	if err != nil {
		return nil, &CheckError{Text: words.Say("bundle.unreadable", "file", path), Err: cause(err)}
	}
	return b, nil
}

// cause is what is left of an error of a file without the path, which the sentence names.
func cause(err error) error {
	var p *os.PathError
	if errors.As(err, &p) {
		return p.Err
	}
	return fmt.Errorf("bundle: %w", err)
}
