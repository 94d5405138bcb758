package sheets

import (
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"path"
	"strings"

	"archive/zip"

	"github.com/xuri/excelize/v2"
)

// What Open and Rows refuse. What the library said is behind them.
var (
	ErrTooLarge = errors.New("sheets: the workbook is larger than the limits")
	ErrLocked   = errors.New("sheets: the workbook is of the old binary format, or locked with a password")
	ErrBroken   = errors.New("sheets: the workbook cannot be read")
	ErrNoSheet  = errors.New("sheets: the workbook has no such sheet")
)

// A Book is an open workbook.
type Book struct {
	f       *excelize.File
	parts   map[string]string // of each sheet, its part
	texts   []string          // the shared texts
	formats map[int]format    // by the number of a cell's style
	from04  bool              // days are counted from 1904
}

// A Sheet is one table sheet of a workbook.
type Sheet struct {
	Name   string
	Hidden bool
}

// Magic is how a workbook begins: a zip archive.
const Magic = "PK\x03\x04"

// OldMagic is how a workbook of the binary format begins, and one that is locked with a password.
const OldMagic = "\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"

// Open reads a workbook into memory, under the limits of this package. The error Is one of those above, or is that of r.
func Open(r io.Reader) (b *Book, err error) {
	packed, err := io.ReadAll(io.LimitReader(r, MaxPacked+1))
	switch {
	case err != nil:
		return nil, fmt.Errorf("sheets: reading: %w", err)
	case len(packed) > MaxPacked:
		return nil, ErrTooLarge
	case bytes.HasPrefix(packed, []byte(OldMagic)):
		return nil, ErrLocked
	}
	if err := weigh(packed); err != nil {
		return nil, err
	}
	// The library is somebody else's and the bytes are a stranger's. A fault of the one over the others is a workbook that
	// cannot be read, not the end of the program.
	defer func() {
		if r := recover(); r != nil {
			b, err = nil, fmt.Errorf("%w: the library failed: %v", ErrBroken, r)
		}
	}()
	// All parts stay in memory: a limit for XML below the one for all would have the library write temporary files.
	f, err := excelize.OpenReader(bytes.NewReader(packed), excelize.Options{UnzipSizeLimit: MaxUnpacked, UnzipXMLSizeLimit: MaxUnpacked})
	if err != nil {
		return nil, fmt.Errorf("%w: %w", ErrBroken, err)
	}
	b = &Book{f: f, parts: map[string]string{}, formats: map[int]format{}}
	if err := b.look(); err != nil {
		_ = f.Close()
		return nil, err
	}
	return b, nil
}

// weigh looks at the archive's own list before anything is unpacked. The list can lie about sizes; then unpacking ends with
// an error at the size that was told.
func weigh(packed []byte) error {
	z, err := zip.NewReader(bytes.NewReader(packed), int64(len(packed)))
	if err != nil {
		return fmt.Errorf("%w: %w", ErrBroken, err)
	}
	if len(z.File) > MaxParts {
		return ErrTooLarge
	}
	all := uint64(0)
	for _, f := range z.File {
		if all += f.UncompressedSize64; f.UncompressedSize64 > MaxUnpacked || all > MaxUnpacked {
			return ErrTooLarge
		}
	}
	return nil
}

// look finds the parts of the workbook that rows are made of.
func (b *Book) look() error {
	props, err := b.f.GetWorkbookProps()
	if err != nil {
		return fmt.Errorf("%w: %w", ErrBroken, err)
	}
	b.from04 = props.Date1904 != nil && *props.Date1904
	main := "xl/workbook.xml"
	for _, r := range b.relations("_rels/.rels", "") {
		if strings.HasSuffix(r.Type, "/officeDocument") {
			main = r.Target
		}
	}
	dir, name := path.Split(main)
	targets := map[string]string{}
	for _, r := range b.relations(dir+"_rels/"+name+".rels", dir) {
		switch {
		case strings.HasSuffix(r.Type, "/worksheet"):
			targets[r.ID] = r.Target
		case strings.HasSuffix(r.Type, "/sharedStrings"):
			if b.texts, err = sharedTexts(b.part(r.Target)); err != nil {
				return err
			}
		}
	}
	if b.f.WorkBook == nil {
		return ErrBroken
	}
	for _, s := range b.f.WorkBook.Sheets.Sheet {
		if part := targets[s.ID]; part != "" {
			b.parts[s.Name] = part
		}
	}
	return nil
}

// Close lets go of what the library holds.
func (b *Book) Close() error { return b.f.Close() }

// Sheets lists the sheets that hold tables, in the order of their tabs. Charts and macro sheets are none.
func (b *Book) Sheets() []Sheet {
	var out []Sheet
	for _, s := range b.f.WorkBook.Sheets.Sheet {
		if b.parts[s.Name] != "" {
			out = append(out, Sheet{Name: s.Name, Hidden: s.State != "" && s.State != "visible"})
		}
	}
	return out
}

// part gives a part's bytes, nil if it is not there.
func (b *Book) part(name string) []byte {
	if v, ok := b.f.Pkg.Load(name); ok {
		if text, ok := v.([]byte); ok {
			return text
		}
	}
	var out []byte // names are alike in any case of letters (ECMA-376 part 2, 6.2.2.3)
	b.f.Pkg.Range(func(key, v any) bool {
		if k, ok := key.(string); ok && strings.EqualFold(k, name) {
			out, _ = v.([]byte)
			return false
		}
		return true
	})
	return out
}

// A relation says that a part has to do with another.
type relation struct {
	ID, Type, Target string
}

// relations reads a part of relations. Targets come as names of parts; those that are not in the archive are left out.
func (b *Book) relations(part, dir string) []relation {
	var doc struct {
		Relationship []struct {
			ID     string `xml:"Id,attr"`
			Type   string `xml:"Type,attr"`
			Target string `xml:"Target,attr"`
			Mode   string `xml:"TargetMode,attr"`
		}
	}
	if xml.Unmarshal(b.part(part), &doc) != nil {
		return nil
	}
	var out []relation
	for _, r := range doc.Relationship {
		if strings.EqualFold(r.Mode, "External") {
			continue
		}
		target := strings.ReplaceAll(r.Target, "\\", "/")
		if strings.HasPrefix(target, "/") {
			target = path.Clean(target)[1:]
		} else {
			target = path.Join(dir, target)
		}
		out = append(out, relation{r.ID, r.Type, target})
	}
	return out
}

// sharedTexts reads the table of the texts that cells name by number.
func sharedTexts(part []byte) ([]string, error) {
	d := xml.NewDecoder(bytes.NewReader(part))
	var out []string
	for {
		tok, err := d.RawToken()
		if errors.Is(err, io.EOF) {
			return out, nil
		}
		if err != nil {
			return nil, fmt.Errorf("%w: shared texts: %w", ErrBroken, err)
		}
		if e, ok := tok.(xml.StartElement); ok && e.Name.Local == "si" {
			text, err := richText(d, "si")
			if err != nil {
				return nil, err
			}
			out = append(out, text)
		}
	}
}

// richText joins the runs of a text up to the end of the element. How East Asian texts are read aloud (rPh) is no part of it.
func richText(d *xml.Decoder, end string) (string, error) {
	var b strings.Builder
	in, aloud := false, 0
	for {
		tok, err := token(d)
		if err != nil {
			return "", fmt.Errorf("%w: a text: %w", ErrBroken, err)
		}
		switch t := tok.(type) {
		case xml.StartElement:
			switch t.Name.Local {
			case "t":
				in = aloud == 0
			case "rPh":
				aloud++
			}
		case xml.CharData:
			if in {
				b.Write(t)
			}
		case xml.EndElement:
			switch t.Name.Local {
			case "t":
				in = false
			case "rPh":
				aloud--
			case end:
				return unescape(b.String()), nil
			}
		}
	}
}

// unescape undoes _x000D_, as the format writes what XML cannot hold (ECMA-376 part 1, 22.9.2.19).
func unescape(s string) string {
	if !strings.Contains(s, "_x") {
		return s
	}
	var b strings.Builder
	for {
		i := strings.Index(s, "_x")
		if i < 0 || i+7 > len(s) {
			b.WriteString(s)
			return b.String()
		}
		n := rune(0)
		ok := s[i+6] == '_'
		for _, c := range []byte(s[i+2 : i+6]) {
			switch {
			case c >= '0' && c <= '9':
				n = n<<4 + rune(c-'0')
			case c >= 'a' && c <= 'f':
				n = n<<4 + rune(c-'a') + 10
			case c >= 'A' && c <= 'F':
				n = n<<4 + rune(c-'A') + 10
			default:
				ok = false
			}
		}
		if !ok || n >= 0xd800 && n < 0xe000 {
			b.WriteString(s[:i+2])
			s = s[i+2:]
			continue
		}
		b.WriteString(s[:i])
		b.WriteRune(n)
		s = s[i+7:]
	}
}
