package attach

import (
	"archive/zip"
	"bytes"
	"strings"
	"unicode/utf8"
)

// The media types that are kept, as the registry of IANA names them.
const (
	pdf  = "application/pdf"
	jpeg = "image/jpeg"
	png  = "image/png"
	webp = "image/webp"
	heic = "image/heic"
	xlsx = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
	csv  = "text/csv"
	text = "text/plain"
)

// Types lists what people call the kinds that are kept.
func Types() []string { return []string{"PDF", "JPEG", "PNG", "WebP", "HEIC", "XLSX", "CSV", "TXT"} }

// heicBrands are the four letters by which a HEIF file (ISO/IEC 23008-12) says that it holds pictures coded as in HEVC, from
// memory.
var heicBrands = []string{"heic", "heix", "heim", "heis", "hevc", "hevx", "mif1", "msf1"}

// sniff tells what a file is by its content, empty for what is not kept. Among texts only the name can tell a table.
//
// The signatures are those of the WHATWG MIME Sniffing Standard (section 6, "Matching a MIME type pattern") for PDF, JPEG,
// PNG, WebP and ZIP, from memory; a file also has to be long enough to be one.
func sniff(b []byte, name string) string {
	begins := func(s string) bool { return len(b) > len(s)+16 && strings.HasPrefix(string(b[:len(s)]), s) }
	switch {
	case begins("%PDF-"):
		return pdf
	case begins("\xff\xd8\xff"):
		return jpeg
	case begins("\x89PNG\r\n\x1a\n"):
		return png
	case begins("RIFF") && string(b[8:14]) == "WEBPVP":
		return webp
	case len(b) > 16 && string(b[4:8]) == "ftyp":
		for _, brand := range heicBrands {
			if string(b[8:12]) == brand {
				return heic
			}
		}
		return ""
	case begins("PK\x03\x04"):
		if isSheet(b) {
			return xlsx
		}
		return ""
	}
	if !isText(b) {
		return ""
	}
	if strings.HasSuffix(strings.ToLower(name), ".csv") {
		return csv
	}
	return text
}

// isSheet reports whether a ZIP file holds a workbook without programs. Nothing is unpacked.
func isSheet(b []byte) bool {
	z, err := zip.NewReader(bytes.NewReader(b), int64(len(b)))
	if err != nil {
		return false
	}
	types, book := false, false
	for _, f := range z.File {
		name := strings.ToLower(f.Name)
		switch {
		case name == "[content_types].xml":
			types = true
		case name == "xl/workbook.xml":
			book = true
		case strings.HasSuffix(name, ".bin") && strings.Contains(name, "vba"), strings.HasPrefix(name, "xl/macrosheets/"):
			return false
		}
	}
	return types && book
}

// isText reports whether bytes are a text that a person reads: UTF-8 without control characters, and no page or picture
// written as text, which a browser would run.
func isText(b []byte) bool {
	b = bytes.TrimPrefix(b, []byte("\xef\xbb\xbf"))
	if !utf8.Valid(b) {
		return false
	}
	for _, c := range b {
		if c < ' ' && c != '\n' && c != '\r' && c != '\t' && c != '\f' || c == 0x7f {
			return false
		}
	}
	start := bytes.TrimLeft(b, " \t\r\n\f")
	return len(start) > 0 && start[0] != '<' && !bytes.HasPrefix(start, []byte("#!"))
}
