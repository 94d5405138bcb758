// Package sheetstest builds workbooks for tests, part by part, with no help of the library that reads them: what it writes is
// what the format's standard says (ECMA-376 part 1), down to what no well-meant program would write.
package sheetstest

import (
	"archive/zip"
	"bytes"
	"encoding/xml"
	"fmt"
	"maps"
	"slices"
	"strings"
	"testing"
)

// The styles that every workbook of this package has, by number.
const (
	General = iota
	Day     // 14, a date as the place of the reader writes it
	Clock   // 20, h:mm
	Percent // 9, 0%
	Padded  // 000
	Pounds  // 0.0 "lb"
	DayMon  // 16, d-mmm
	Hours   // 46, [h]:mm:ss
	DayTime // 22, m/d/yy h:mm
)

// A Cell is one cell as it stands in the file. A text, a number or a truth can stand in its place, and nil for none.
type Cell struct {
	Type    string // t: s, str, b, e, d, inlineStr
	Value   string // v
	Formula string // f; "-" writes an empty one
	Style   int
	Ref     string // r; empty: the place in the row
}

// Num is a number in a style.
func Num(n float64, style int) Cell { return Cell{Value: fmt.Sprint(n), Style: style} }

// A Sheet is one sheet.
type Sheet struct {
	Name   string
	State  string // hidden, veryHidden
	Rows   [][]any
	Hidden []int    // rows, from 1
	Merged []string // B2:B6
}

// A Book is a workbook.
type Book struct {
	Sheets   []Sheet
	From1904 bool
	Shared   []string          // shared texts, which cells of type s name
	Parts    map[string]string // parts that are added or replaced
}

// Bytes writes the workbook.
func (b Book) Bytes(t testing.TB) []byte {
	t.Helper()
	parts := map[string]string{
		"[Content_Types].xml": `<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types"><Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/><Default Extension="xml" ContentType="application/xml"/><Override PartName="/xl/workbook.xml" ContentType="application/vnd.openxmlformats-officedocument.spreadsheetml.sheet.main+xml"/></Types>`,
		"_rels/.rels":         `<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships"><Relationship Id="rId1" Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/officeDocument" Target="xl/workbook.xml"/></Relationships>`,
		"xl/styles.xml": `<styleSheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><numFmts count="2"><numFmt numFmtId="164" formatCode="000"/><numFmt numFmtId="165" formatCode="0.0 &quot;lb&quot;"/></numFmts>` +
			`<fonts count="1"><font/></fonts><fills count="1"><fill/></fills><borders count="1"><border/></borders><cellStyleXfs count="1"><xf/></cellStyleXfs><cellXfs count="9"><xf numFmtId="0"/><xf numFmtId="14"/><xf numFmtId="20"/><xf numFmtId="9"/><xf numFmtId="164"/><xf numFmtId="165"/><xf numFmtId="16"/><xf numFmtId="46"/><xf numFmtId="22"/></cellXfs></styleSheet>`,
	}
	var book, rels strings.Builder
	book.WriteString(`<workbook xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main" xmlns:r="http://schemas.openxmlformats.org/officeDocument/2006/relationships">`)
	if b.From1904 {
		book.WriteString(`<workbookPr date1904="1"/>`)
	}
	book.WriteString(`<sheets>`)
	const kind = `http://schemas.openxmlformats.org/officeDocument/2006/relationships/`
	for i, s := range b.Sheets {
		state := ""
		if s.State != "" {
			state = fmt.Sprintf(` state="%s"`, s.State)
		}
		fmt.Fprintf(&book, `<sheet name="%s" sheetId="%d"%s r:id="rId%d"/>`, escaped(s.Name), i+1, state, i+1)
		fmt.Fprintf(&rels, `<Relationship Id="rId%d" Type="%sworksheet" Target="worksheets/sheet%d.xml"/>`, i+1, kind, i+1)
		parts[fmt.Sprintf("xl/worksheets/sheet%d.xml", i+1)] = s.xml()
	}
	fmt.Fprintf(&rels, `<Relationship Id="rId900" Type="%sstyles" Target="styles.xml"/><Relationship Id="rId901" Type="%ssharedStrings" Target="sharedStrings.xml"/>`, kind, kind)
	book.WriteString(`</sheets></workbook>`)
	parts["xl/workbook.xml"] = book.String()
	parts["xl/_rels/workbook.xml.rels"] = `<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">` + rels.String() + `</Relationships>`
	var shared strings.Builder
	for _, s := range b.Shared {
		shared.WriteString(`<si><t>` + escaped(s) + `</t></si>`)
	}
	parts["xl/sharedStrings.xml"] = `<sst xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main">` + shared.String() + `</sst>`
	for name, text := range b.Parts {
		parts[name] = text
	}
	var out bytes.Buffer
	z := zip.NewWriter(&out)
	for _, name := range slices.Sorted(maps.Keys(parts)) {
		text := parts[name]
		w, err := z.Create(name)
		if err != nil {
			t.Fatal(err)
		}
		if !strings.HasPrefix(text, "<?xml") {
			text = `<?xml version="1.0" encoding="UTF-8" standalone="yes"?>` + "\n" + text
		}
		if _, err := w.Write([]byte(text)); err != nil {
			t.Fatal(err)
		}
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}

func escaped(s string) string {
	var b strings.Builder
	_ = xml.EscapeText(&b, []byte(s)) // a Builder takes everything
	return b.String()
}

func (s Sheet) xml() string {
	var b strings.Builder
	b.WriteString(`<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>`)
	for i, row := range s.Rows {
		if row == nil {
			continue
		}
		hidden := ""
		for _, n := range s.Hidden {
			if n == i+1 {
				hidden = ` hidden="1"`
			}
		}
		fmt.Fprintf(&b, `<row r="%d"%s>`, i+1, hidden)
		for j, v := range row {
			if v == nil {
				continue
			}
			b.WriteString(cellXML(v, fmt.Sprintf("%s%d", letters(j+1), i+1)))
		}
		b.WriteString(`</row>`)
	}
	b.WriteString(`</sheetData>`)
	if len(s.Merged) > 0 {
		b.WriteString(`<mergeCells>`)
		for _, m := range s.Merged {
			fmt.Fprintf(&b, `<mergeCell ref="%s"/>`, m)
		}
		b.WriteString(`</mergeCells>`)
	}
	b.WriteString(`</worksheet>`)
	return b.String()
}

func cellXML(v any, ref string) string {
	c, ok := v.(Cell)
	if !ok {
		switch x := v.(type) {
		case string:
			return fmt.Sprintf(`<c r="%s" t="inlineStr"><is><t xml:space="preserve">%s</t></is></c>`, ref, escaped(x))
		case bool:
			c = Cell{Type: "b", Value: map[bool]string{true: "1", false: "0"}[x]}
		default:
			c = Cell{Value: fmt.Sprint(x)}
		}
	}
	if c.Ref != "" {
		ref = c.Ref
	}
	out := fmt.Sprintf(`<c r="%s"`, ref)
	if c.Style > 0 {
		out += fmt.Sprintf(` s="%d"`, c.Style)
	}
	if c.Type != "" {
		out += fmt.Sprintf(` t="%s"`, c.Type)
	}
	out += ">"
	switch c.Formula {
	case "":
	case "-":
		out += "<f/>"
	default:
		out += "<f>" + escaped(c.Formula) + "</f>"
	}
	if c.Value != "" {
		out += "<v>" + escaped(c.Value) + "</v>"
	}
	return out + "</c>"
}

func letters(n int) string {
	out := ""
	for n > 0 {
		n--
		out = string(rune('A'+n%26)) + out
		n /= 26
	}
	return out
}
