package app

import (
	"encoding/base64"
	"testing"

	"latewood/events/ledger"
	"latewood/events/ledger/proof"
)

// hollow is a folder of its own with one farm in it.
func hollow(t *testing.T) *App {
	t.Helper()
	a, err := Open(t.Context(), Options{Dir: t.TempDir()})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { a.Close() })
	request := OpenRequest{Farm: "hollow", Name: "Hollow", Zone: "Pacific/Honolulu", Latitude: 19.7, Longitude: -155.1}
	if _, exit, err := a.opOpen(t.Context(), request); err != nil || exit != 0 {
		t.Fatal(exit, err)
	}
	return a
}

// Each version of a record comes with a proof that holds against the key alone, and for no other record.
func TestShownProof(t *testing.T) {
	t.Parallel()
	a := hollow(t)
	const id = "018f0000-0000-7000-8000-000000000001"
	add := AddRequest{Kind: "fruit.picked", ID: id, Time: "2026-06-01", Data: `{"where":{"block":"north"},"mass":{"value":3,"unit":"kg"}}`}
	if _, exit, err := a.opAdd(t.Context(), add); err != nil || exit != 0 {
		t.Fatal(exit, err)
	}
	if _, exit, err := a.opCorrect(t.Context(), CorrectRequest{ID: id, Set: []string{"mass.value=4"}, Reason: "read wrong"}); err != nil || exit != 0 {
		t.Fatal(exit, err)
	}
	f, err := a.farm(t.Context(), "")
	if err != nil {
		t.Fatal(err)
	}
	if _, err := f.sealNow(t.Context()); err != nil {
		t.Fatal(err)
	}
	key := f.seal.ring.Key()
	doc, _, err := a.opShow(t.Context(), ShowRequest{ID: id})
	if err != nil {
		t.Fatal(err)
	}
	versions := doc.(Shown).Versions
	if len(versions) != 2 {
		t.Fatalf("%d versions, want 2", len(versions))
	}
	for i, v := range versions {
		file, err := proof.ParseFile([]byte(v.Proof))
		if err != nil {
			t.Fatalf("the proof of version %d: %v", i, err)
		}
		leafOf := func(v Version) (leaf ledger.Hash) {
			b, err := base64.StdEncoding.DecodeString(v.Leaf)
			if err != nil || copy(leaf[:], b) != len(leaf) {
				t.Fatalf("leaf %q: %v", v.Leaf, err)
			}
			return leaf
		}
		s, err := file.Check(leafOf(v), key.Name(), key)
		if err != nil || file.Index != v.Place-1 || s.Size != v.Under || len(file.Path) != v.Hashes {
			t.Errorf("version %d: index %d under %d, %v", i, file.Index, s.Size, err)
		}
		if _, err := file.Check(leafOf(versions[1-i]), key.Name(), key); err == nil {
			t.Errorf("the proof of version %d holds for the other", i)
		}
	}
}
