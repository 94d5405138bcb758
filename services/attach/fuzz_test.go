package attach_test

import (
	"bytes"
	"testing"

	"latewood/services/attach"
)

// FuzzPut: whatever bytes come under whatever name, they are kept whole or refused in a sentence.
func FuzzPut(f *testing.F) {
	f.Add([]byte("%PDF-1.7\n%%EOF and more of it than that"), "label.pdf")
	f.Add([]byte("block,kg\nnorth,3\n"), "picks.csv")
	f.Add([]byte(zipped(f, "[Content_Types].xml", "xl/workbook.xml")), "a.xlsx")
	f.Add([]byte("PK\x03\x04 and nothing of a ZIP file behind it"), "../a.xlsx")
	f.Add([]byte("RIFF\x10\x00\x00\x00WEBPVP8 and the rest"), "C:\\a.webp")
	f.Add([]byte("\x00\x00\x00\x18ftypheic and the rest"), "")
	s := attach.New(f.TempDir())
	f.Fuzz(func(t *testing.T, content []byte, name string) {
		k, err := s.Put(bytes.NewReader(content), name)
		if err != nil {
			if key(err) == "" {
				t.Fatal(err)
			}
			return
		}
		if got, err := s.Get(k.Attachment.SHA256); err != nil || !bytes.Equal(got, content) {
			t.Fatalf("kept %+v, read %q, %v", k, got, err)
		}
	})
}
