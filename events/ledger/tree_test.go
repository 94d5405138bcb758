package ledger

import (
	"bytes"
	"encoding/hex"
	"encoding/json"
	"strings"
	"testing"

	"golang.org/x/mod/sumdb/tlog"
	"pgregory.net/rapid"
)

// The leaves and the roots by tree size are those of transparency-dev/merkle (Apache-2.0), testonly/constants.go, the
// test data that Certificate Transparency logs are checked with.
var publishedLeaves = []string{
	"", "00", "10", "2021", "3031", "40414243", "5051525354555657", "606162636465666768696a6b6c6d6e6f",
}

var publishedRoots = []string{
	"e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855", // size 0: SHA-256 of nothing
	"6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
	"fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125",
	"aeb6bcfe274b70a14fb067a5e5578264db0fa9b51af5e0ba159158f329e06e77",
	"d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
	"4e3bbb1f7b478dcfe71fb631631519a3bca12c9aefca1612bfce4c13a86264d4",
	"76e67dadbcdf1e10e1b74ddc608abd2f98dfb16fbce75277b5232a127f2087ef",
	"ddb89be403809e325750d3d263cd78929c2942b7942a34b77e122c9594a74c8c",
	"5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328",
}

func TestFrontierPublishedRoots(t *testing.T) {
	t.Parallel()
	var f Frontier
	for size, want := range publishedRoots {
		root := f.Root()
		if got := hex.EncodeToString(root[:]); got != want {
			t.Errorf("root of size %d: got %s, want %s", size, got, want)
		}
		if got := f.Size(); got != uint64(size) {
			t.Errorf("size: got %d, want %d", got, size)
		}
		if size < len(publishedLeaves) {
			f.Append(LeafHash(unhex(t, publishedLeaves[size])))
		}
	}
}

func TestLeafHashPublished(t *testing.T) {
	t.Parallel()
	// Source: transparency-dev/merkle, rfc6962/rfc6962_test.go.
	tests := []struct{ name, data, want string }{
		{"empty", "", "6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d"},
		{"L123456", "L123456", "395aa064aa4c29f7010acfe3f25db9485bbd4b91897b6ad7ad547639252b4d56"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			h := LeafHash([]byte(tt.data))
			if got := hex.EncodeToString(h[:]); got != tt.want {
				t.Errorf("got %s, want %s", got, tt.want)
			}
		})
	}
}

// TestFrontierAgreesWithTlog holds every size from 1 to 300 against the hash store of golang.org/x/mod, which computes
// roots in another way.
func TestFrontierAgreesWithTlog(t *testing.T) {
	t.Parallel()
	var (
		f      Frontier
		stored []Hash
	)
	reader := tlog.HashReaderFunc(func(indexes []int64) ([]Hash, error) {
		out := make([]Hash, len(indexes))
		for i, x := range indexes {
			out[i] = stored[x]
		}
		return out, nil
	})
	for n := range int64(300) {
		body := bytes.Repeat([]byte{byte(n), byte(n >> 8)}, int(n%7))
		f.Append(LeafHash(body))
		hashes, err := tlog.StoredHashes(n, body, reader)
		if err != nil {
			t.Fatalf("stored hashes of leaf %d: %v", n, err)
		}
		stored = append(stored, hashes...)
		want, err := tlog.TreeHash(n+1, reader)
		if err != nil {
			t.Fatalf("tree hash of size %d: %v", n+1, err)
		}
		if got := f.Root(); got != want {
			t.Fatalf("root of size %d: got %v, want %v", n+1, got, want)
		}
	}
}

// TestFrontierStored cuts a growing tree at a drawn size, takes it through its stored form, and lets both grow on.
func TestFrontierStored(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		before := rapid.IntRange(0, 200).Draw(t, "before")
		after := rapid.IntRange(0, 70).Draw(t, "after")
		var f Frontier
		for i := range before {
			f.Append(LeafHash([]byte{byte(i)}))
		}
		data, err := f.MarshalBinary()
		if err != nil {
			t.Fatalf("marshal: %v", err)
		}
		var g Frontier
		if err := g.UnmarshalBinary(data); err != nil {
			t.Fatalf("unmarshal: %v", err)
		}
		kept := f.Clone()
		for i := range after {
			f.Append(LeafHash([]byte{byte(i)}))
			g.Append(LeafHash([]byte{byte(i)}))
		}
		if f.Root() != g.Root() || f.Size() != g.Size() {
			t.Fatalf("after %d+%d leaves: got %v at %d, want %v at %d", before, after, g.Root(), g.Size(), f.Root(), f.Size())
		}
		if again, _ := kept.MarshalBinary(); !bytes.Equal(again, data) {
			t.Fatalf("the clone changed when the original grew")
		}
	})
}

func TestFrontierRefusesOtherBytes(t *testing.T) {
	t.Parallel()
	var f Frontier
	for i := range 5 {
		f.Append(LeafHash([]byte{byte(i)}))
	}
	good, _ := f.MarshalBinary()
	tests := []struct {
		name string
		data []byte
	}{
		{"nothing", nil},
		{"other format", append([]byte{2}, good[1:]...)},
		{"a hash short", good[:len(good)-32]},
		{"a byte long", append(bytes.Clone(good), 0)},
		{"size without hashes", good[:9]},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			g := f.Clone()
			if err := g.UnmarshalBinary(tt.data); err == nil {
				t.Fatalf("got no error for %d bytes", len(tt.data))
			}
			if g.Root() != f.Root() {
				t.Errorf("a refused form changed the frontier")
			}
		})
	}
}

func TestParseHash(t *testing.T) {
	t.Parallel()
	h := LeafHash([]byte("L123456"))
	text := h.String()
	got, err := ParseHash(text)
	if err != nil || got != h {
		t.Fatalf("parse %q: got %v, %v", text, got, err)
	}
	j, err := json.Marshal(h)
	if err != nil || string(j) != `"`+text+`"` {
		t.Errorf("JSON form: got %s, %v, want %q", j, err, text)
	}
	// The last character of 32 bytes carries two unused bits: "U" for 0101.00, "V" sets one of them.
	if !strings.HasSuffix(text, "Y=") {
		t.Fatalf("the sample hash ends in %q; choose the near miss below anew", text[42:])
	}
	tests := []struct{ name, text string }{
		{"empty", ""},
		{"short", text[:40]},
		{"no padding", text[:43]},
		{"unused bits set", text[:42] + "Z="},
		{"url alphabet", strings.NewReplacer("/", "_", "+", "-").Replace(text)},
		{"line break", text[:40] + "\n" + text[41:]},
		{"31 bytes", text[:41] + "A=="},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			if got, err := ParseHash(tt.text); err == nil {
				t.Errorf("%q: got %v, want an error", tt.text, got)
			}
		})
	}
}

func FuzzFrontierUnmarshal(f *testing.F) {
	var tree Frontier
	for i := range 6 {
		data, _ := tree.MarshalBinary()
		f.Add(data)
		tree.Append(LeafHash([]byte{byte(i)}))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		var g Frontier
		if g.UnmarshalBinary(data) != nil {
			return
		}
		again, err := g.MarshalBinary()
		if err != nil || !bytes.Equal(again, data) {
			t.Errorf("an accepted form comes back as other bytes: %x, %v", again, err)
		}
	})
}

func unhex(t *testing.T, s string) []byte {
	t.Helper()
	b, err := hex.DecodeString(s)
	if err != nil {
		t.Fatalf("test data %q: %v", s, err)
	}
	return b
}
