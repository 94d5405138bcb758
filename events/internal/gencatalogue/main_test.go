package main

import (
	"bytes"
	"io/fs"
	"os"
	"strings"
	"testing"

	"latewood/events"
	"latewood/events/canon"
)

// The catalogue that is checked in is what the types and samples say.
func TestCatalogueIsFresh(t *testing.T) {
	t.Parallel()
	got, err := document(os.DirFS("../.."), os.DirFS("../../../testdata/versions"))
	if err != nil {
		t.Fatal(err)
	}
	want, err := fs.ReadFile(os.DirFS("../.."), "CATALOGUE.md")
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(got, want) {
		t.Error("events/CATALOGUE.md is not what the types and samples say: go generate ./events, and look at the difference")
	}
	if !bytes.HasPrefix(got, []byte("<!-- Code generated ")) {
		t.Error("it does not say that it is generated")
	}
	again, err := document(os.DirFS("../.."), os.DirFS("../../../testdata/versions"))
	if err != nil || !bytes.Equal(again, got) {
		t.Errorf("made twice, it differs (%v)", err)
	}
}

// Every kind, every field and every doc comment is there, and every example is what its sample holds.
func TestCatalogueIsWhole(t *testing.T) {
	t.Parallel()
	b, err := document(os.DirFS("../.."), os.DirFS("../../../testdata/versions"))
	if err != nil {
		t.Fatal(err)
	}
	page := string(b)
	fields := 0
	for _, k := range events.Standard().Kinds() {
		_, section, found := strings.Cut(page, "\n### "+k.Name+"\n\n")
		if !found {
			t.Errorf("%s has no section", k.Name)
			continue
		}
		section, _, _ = strings.Cut(section, "\n### ")
		if strings.HasPrefix(section, "\n") || !strings.Contains(section, "Chains: ") || strings.Contains(section, "Chains: .") {
			t.Errorf("%s: no purpose or no chains:\n%s", k.Name, section)
		}
		for _, f := range k.Shape.Fields {
			fields++
			if !strings.Contains(page, "| `"+f.Name+"` |") {
				t.Errorf("%s: no row for %s", k.Name, f.Name)
			}
		}
		_, example, _ := strings.Cut(section, "```json\n")
		example, _, _ = strings.Cut(example, "\n```")
		shown, err := canon.Parse([]byte(example))
		if err != nil {
			t.Errorf("%s: the example: %v", k.Name, err)
			continue
		}
		body, err := os.ReadFile("../../../testdata/versions/" + k.Type() + ".json")
		if err != nil {
			t.Fatal(err)
		}
		r, err := events.ParseRecord(1, body)
		if err != nil {
			t.Fatal(err)
		}
		if got := canon.Bytes(shown); !bytes.Equal(got, r.Data) {
			t.Errorf("%s: the example is not the sample:\n got %s\nwant %s", k.Name, got, r.Data)
		}
	}
	t.Logf("counts: %d kinds, %d fields, %d bytes of catalogue", len(events.Standard().Kinds()), fields, len(b))
}
