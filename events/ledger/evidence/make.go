package evidence

import (
	_ "embed"
	"errors"
	"fmt"

	"latewood/events/canon"
	"latewood/events/ledger/proof"
)

// script checks a file with Python's standard library and openssl, and with nothing of ours.
//
//go:embed verify.py
var script []byte

// Script is the checker in Python that every file of evidence carries.
func Script() []byte { return script }

// Parts are what a file of evidence is made of.
type Parts struct {
	Subject    Subject
	Given      *Record          // the evidence.given that ends the chains
	Records    []*Record        // all others, by place; see Walk
	Checkpoint []byte           // signed, over Given and all others
	Hashes     proof.HashReader // of a tree that begins with the checkpoint's
	Key        proof.Key        // that signed
	Older      []uint64         // sizes of checkpoints that were given out before
	HTML, PDF  []byte           // the first page; PDF may be missing
	Stamp      []byte           // a time stamp over Checkpoint (RFC 3161), may be missing
	Names      []Name           // whose names are opened; none: no names
	// Sign signs a text as a note, with Key.
	Sign func(text string) ([]byte, error)
}

// A Name opens a commitment: who the person behind it is. Commitment is the base64 of SHA-256 over the bytes of Salt (32, in
// base64) and the canonical {certificate, name}.
type Name struct {
	Pseudonym   string
	Name        string
	Certificate string
	Salt        string
	Commitment  string
}

// ErrUnsealed says that the checkpoint does not reach as far as the evidence.
var ErrUnsealed = errors.New("evidence: not all of it is sealed yet")

// Make writes the container. What it wrote is checked once more before it is handed out: an error here is a fault of the
// caller's parts, never of the reader's.
func Make(p Parts) ([]byte, error) {
	sealed, err := proof.OpenCheckpoint(p.Checkpoint, p.Key.Name(), p.Key)
	if err != nil {
		return nil, err
	}
	if sealed.Size < p.Given.Place {
		return nil, fmt.Errorf("%w: place %d, sealed up to %d", ErrUnsealed, p.Given.Place, sealed.Size)
	}
	files := []File{
		{nameCheckpoint, p.Checkpoint},
		{nameHTML, p.HTML},
		{nameKey, []byte(p.Key.String() + "\n")},
		{nameReadme, readme(p, sealed)},
		{nameScript, script},
	}
	if len(p.PDF) > 0 {
		files = append(files, File{namePDF, p.PDF})
	}
	if len(p.Stamp) > 0 {
		files = append(files, File{nameStamp, p.Stamp})
	}
	if len(p.Names) > 0 {
		files = append(files, File{nameNames, formatNames(p.Names)})
	}
	for _, r := range append(p.Records, p.Given) {
		path, err := proof.Inclusion(sealed.Size, r.Place-1, p.Hashes)
		if err != nil {
			return nil, fmt.Errorf("evidence: proof of place %d: %w", r.Place, err)
		}
		f := proof.File{Index: r.Place - 1, Path: path, Checkpoint: p.Checkpoint}
		files = append(files, File{recordName(r.Place), r.Body}, File{proofName(r.Place), f.Format()})
	}
	for _, size := range p.Older {
		if size == 0 || size > sealed.Size {
			continue
		}
		path, err := proof.Consistency(size, sealed.Size, p.Hashes)
		if err != nil {
			return nil, fmt.Errorf("evidence: from size %d: %w", size, err)
		}
		files = append(files, File{growthName(size), proof.Growth{From: size, To: sealed.Size, Path: path}.Format()})
	}
	b, err := seal(manifest{origin: sealed.Origin, subject: p.Subject, given: p.Given.Place, id: p.Given.ID, tree: sealed.Tree}, files, p.Sign)
	if err != nil {
		return nil, err
	}
	if r := Verify(b, Trust{Keys: []proof.Key{p.Key}}); !r.OK {
		return nil, &BadError{r}
	}
	return b, nil
}

// A BadError says that parts do not make evidence: what Verify found.
type BadError struct{ Report Report }

func (e *BadError) Error() string {
	return fmt.Sprintf("evidence: the file would not verify: %s: %s", e.Report.Problems[0].Code, e.Report.Problems[0].What)
}

// seal adds the signed manifest and packs.
func seal(m manifest, files []File, sign func(text string) ([]byte, error)) ([]byte, error) {
	// Packed and unpacked once, the files stand in the order that the manifest needs.
	b, err := Pack(files)
	if err != nil {
		return nil, err
	}
	if m.files, err = Unpack(b); err != nil {
		return nil, err
	}
	note, err := sign(m.text())
	if err != nil {
		return nil, fmt.Errorf("evidence: signing: %w", err)
	}
	return Pack(append(m.files, File{nameManifest, note}))
}

// formatNames writes names.json: a list of objects in canonical form, in the order given.
func formatNames(names []Name) []byte {
	list := canon.Value{Kind: canon.List}
	for _, n := range names {
		list.Items = append(list.Items, canon.ObjectOf(
			canon.Member{Name: "certificate", Value: canon.Text(n.Certificate)},
			canon.Member{Name: "commitment", Value: canon.Text(n.Commitment)},
			canon.Member{Name: "name", Value: canon.Text(n.Name)},
			canon.Member{Name: "pseudonym", Value: canon.Text(n.Pseudonym)},
			canon.Member{Name: "salt", Value: canon.Text(n.Salt)},
		))
	}
	return append(canon.Bytes(list), '\n')
}

// parseNames reads names.json back.
func parseNames(b []byte) ([]Name, error) {
	v, err := canon.Parse(b)
	if err != nil {
		return nil, err
	}
	var out []Name
	for _, n := range v.Items {
		out = append(out, Name{
			Pseudonym: n.Get("pseudonym").Str, Name: n.Get("name").Str, Certificate: n.Get("certificate").Str,
			Salt: n.Get("salt").Str, Commitment: n.Get("commitment").Str,
		})
	}
	if len(out) == 0 || string(formatNames(out)) != string(b) {
		return nil, errors.New("evidence: names.json is not as it is written")
	}
	return out, nil
}
