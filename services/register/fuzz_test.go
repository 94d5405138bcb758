package register_test

import (
	"errors"
	"os"
	"path/filepath"
	"testing"

	"latewood/services/register"
)

// FuzzOpen: whatever stands in the two files, the register opens or says which file is not one.
func FuzzOpen(f *testing.F) {
	f.Add([]byte(`{"version":1,"lastTag":2,"persons":[{"pseudonym":"w_00000000000000000000000000000005","tag":"P02","name":"Ione","certificates":[{"number":"1","salt":"","commitment":""}]}]}`),
		[]byte(`{"pseudonym":"w_00000000000000000000000000000005","tag":"P02","on":"2026-01-01","record":""}`+"\n"))
	f.Add([]byte(`{"version":1,"persons":null}`), []byte("\n"))
	f.Add([]byte(`[]`), []byte(`{"pseudonym":`))
	f.Fuzz(func(t *testing.T, persons, erasures []byte) {
		dir := t.TempDir()
		for name, b := range map[string][]byte{"register.json": persons, "erasures.json": erasures} {
			if err := os.WriteFile(filepath.Join(dir, name), b, 0o600); err != nil {
				t.Fatal(err)
			}
		}
		r, err := register.Open(register.Config{Dir: dir, Owner: owner})
		var file *register.FileError
		if err != nil {
			if !errors.As(err, &file) {
				t.Fatal(err)
			}
			return
		}
		p, err := r.Add(register.New{Name: "Tama Reef"}, day(t, "2026-01-05"))
		if err != nil {
			t.Fatal(err)
		}
		if _, err := r.Erase(p.Pseudonym, "left", day(t, "2026-01-05"), "id", false); err != nil {
			t.Fatal(err)
		}
		again, err := register.Open(register.Config{Dir: dir, Owner: owner})
		if err != nil {
			t.Fatalf("what it wrote does not open: %v", err)
		}
		if q, ok := again.Get(p.Pseudonym); !ok || q.Erased == nil || q.Tag != p.Tag {
			t.Fatalf("%+v, want the tombstone of %s", q, p.Tag)
		}
	})
}
