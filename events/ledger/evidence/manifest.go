package evidence

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"strconv"
	"strings"

	"latewood/events/ledger/proof"
)

// Names of the parts. Others are refused: version 1 has no room for what nobody looks at.
const (
	nameReadme     = "README.txt"
	nameCheckpoint = "checkpoint"
	nameStamp      = "checkpoint.tsr" // optional: a time stamp over checkpoint, for openssl
	nameGrowth     = "consistency"    // folder, optional: from checkpoints that were given out before
	nameHTML       = "first-page.html"
	namePDF        = "first-page.pdf" // optional
	nameKey        = "ledger.vkey"
	nameManifest   = "manifest"
	nameNames      = "names.json" // optional
	nameProofs     = "proofs"     // folder
	nameRecords    = "records"    // folder
	nameScript     = "verify.py"
)

const manifestLine = "latewood-evidence/v1"

func recordName(place uint64) string { return fmt.Sprintf("%s/%010d.json", nameRecords, place) }
func proofName(place uint64) string  { return fmt.Sprintf("%s/%010d.tlog-proof", nameProofs, place) }
func growthName(size uint64) string  { return fmt.Sprintf("%s/%010d", nameGrowth, size) }

// placeIn reads the number in a name of the form that the three functions above write.
func placeIn(name, folder, ending string) (uint64, bool) {
	digits, ok := strings.CutPrefix(name, folder+"/")
	digits, ok2 := strings.CutSuffix(digits, ending)
	n, err := strconv.ParseUint(digits, 10, 63)
	return n, ok && ok2 && err == nil && n > 0 && len(digits) == 10
}

// knownName says whether version 1 has a part of this name.
func knownName(name string) bool {
	switch name {
	case nameReadme, nameCheckpoint, nameStamp, nameHTML, namePDF, nameKey, nameManifest, nameNames, nameScript:
		return true
	}
	for _, folder := range [][2]string{{nameRecords, ".json"}, {nameProofs, ".tlog-proof"}, {nameGrowth, ""}} {
		if _, ok := placeIn(name, folder[0], folder[1]); ok {
			return true
		}
	}
	return false
}

// A manifest says what the file is about and binds all its parts together. Its text:
//
//	latewood-evidence/v1
//	origin latewood/tern-hollow-1a2b3c4d
//	for lot/L17
//	given 1230 017f22e2-79b0-7cc3-98c4-dc0c0c07398f     place and id of the evidence.given
//	size 1234
//	root 3m+Wr1d9DvPM1jWgSp2s4mSGB0yNgNvTb3SbWCNXaWI=
//	folder NAME COUNT SHA256                             over the lines "SHA256 SIZE NAME" of its files
//	file NAME SIZE SHA256
//
// Folders and files stand in the order of the container, SHA-256 in hex. The second line cannot be that of a checkpoint, whose
// second line is a number: no signature under the one can be put under the other.
type manifest struct {
	origin  string
	subject Subject
	given   uint64
	id      string
	tree    proof.Tree
	files   []File // all but the manifest
}

func (m manifest) text() string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s\norigin %s\nfor %s\ngiven %d %s\nsize %d\nroot %s\n", manifestLine, m.origin, m.subject, m.given, m.id, m.tree.Size, m.tree.Root)
	for i := 0; i < len(m.files); {
		f := m.files[i]
		folder, _, in := strings.Cut(f.Name, "/")
		if !in {
			fmt.Fprintf(&b, "file %s %d %s\n", f.Name, len(f.Body), hexSum(f.Body))
			i++
			continue
		}
		sum, n := sha256.New(), 0
		for ; i < len(m.files) && strings.HasPrefix(m.files[i].Name, folder+"/"); i, n = i+1, n+1 {
			f := m.files[i]
			fmt.Fprintf(sum, "%s %d %s\n", hexSum(f.Body), len(f.Body), f.Name)
		}
		fmt.Fprintf(&b, "folder %s %d %s\n", folder, n, hex.EncodeToString(sum.Sum(nil)))
	}
	return b.String()
}

func hexSum(b []byte) string {
	sum := sha256.Sum256(b)
	return hex.EncodeToString(sum[:])
}

// readHead reads the lines of a manifest before its files.
func readHead(text string) (m manifest, ok bool) {
	lines := strings.Split(text, "\n")
	if len(lines) < 7 || lines[0] != manifestLine {
		return m, false
	}
	var of, place, size, root string
	for _, f := range []struct {
		line, name string
		into       *string
	}{{lines[1], "origin", &m.origin}, {lines[2], "for", &of}, {lines[3], "given", &place}, {lines[4], "size", &size}, {lines[5], "root", &root}} {
		if *f.into, ok = strings.CutPrefix(f.line, f.name+" "); !ok {
			return m, false
		}
	}
	place, m.id, _ = strings.Cut(place, " ")
	var err error
	if m.given, err = strconv.ParseUint(place, 10, 53); err != nil || m.id == "" {
		return m, false
	}
	c, err := proof.ParseCheckpoint(m.origin + "\n" + size + "\n" + root + "\n")
	m.tree = c.Tree
	m.subject, ok = parseSubject(of)
	return m, ok && err == nil
}

// parseSubject reads what Subject's String wrote.
func parseSubject(text string) (Subject, bool) {
	text, season, _ := strings.Cut(text, " ")
	class, name, _ := strings.Cut(text, "/")
	var code strings.Builder
	for i := 0; i < len(name); i++ {
		c := name[i]
		if c == '%' && i+2 < len(name) {
			b, err := hex.DecodeString(name[i+1 : i+3])
			if err != nil {
				return Subject{}, false
			}
			c, i = b[0], i+2
		}
		code.WriteByte(c)
	}
	s := Subject{Class: class, Code: code.String(), Season: season}
	for _, c := range Classes() {
		if c == class {
			return s, s.Code != "" && (class == "block") == (season != "")
		}
	}
	return s, false
}
