package app

import (
	"bytes"
	"crypto/rand"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"latewood/events/ledger/proof"
	"latewood/services/serve"
)

// What stands under /archive: checkpoint and hashes for everyone, records for the token, nothing else, and nothing to write.
func TestTiles(t *testing.T) {
	t.Parallel()
	a := hollow(t)
	var lines bytes.Buffer
	for range 300 {
		lines.WriteString(`{"type":"tree.seen","time":"2026-06-01","data":{"where":{"block":"north"},"condition":"weak"}}` + "\n")
	}
	if _, _, err := a.opImport(t.Context(), ImportRequest{Name: "seen.jsonl"}, serveFile{&lines}, func(any) {}); err != nil {
		t.Fatal(err)
	}
	f, err := a.farm(t.Context(), "")
	if err != nil {
		t.Fatal(err)
	}
	now, err := f.sealNow(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	key := f.seal.ring.Key().String()
	srv := httptest.NewServer(a.tiles("secret"))
	defer srv.Close()
	for _, c := range []struct {
		method, path, token string
		want                int
	}{
		{"GET", "hollow/checkpoint", "", 200},
		{"HEAD", "hollow/checkpoint", "", 200},
		{"POST", "hollow/checkpoint", "secret", 405},
		{"PUT", "hollow/tile/0/000", "secret", 405},
		{"DELETE", "hollow/tile/entries/000", "secret", 405},
		{"GET", "hollow/tile/0/000", "", 200},
		{"GET", "hollow/tile/0/001", "", 404}, // not full yet
		{"GET", "hollow/tile/entries/000", "", 401},
		{"GET", "hollow/tile/entries/000", "other", 401},
		{"GET", "hollow/tile/entries/000", "secret", 200},
		{"GET", "hollow/tile/entries/009", "secret", 404},
		{"GET", "hollow/checkpoints", "secret", 404},
		{"GET", "hollow/tail", "secret", 404},
		{"GET", "hollow/../keys/ledger.key", "secret", 404},
		{"GET", "hollow/%2e%2e/keys/ledger.key", "secret", 404},
		{"GET", "other/checkpoint", "", 404},
		{"GET", "hollow", "", 404},
		{"GET", "", "secret", 404},
	} {
		r, err := http.NewRequest(c.method, srv.URL+"/archive/"+c.path, nil)
		if err != nil {
			t.Fatal(err)
		}
		if c.token != "" {
			r.Header.Set("Authorization", "Bearer "+c.token)
		}
		resp, err := http.DefaultClient.Do(r)
		if err != nil {
			t.Fatal(err)
		}
		body, _ := io.ReadAll(resp.Body)
		resp.Body.Close()
		if resp.StatusCode != c.want {
			t.Errorf("%s %s with token %q: status %d, want %d", c.method, c.path, c.token, resp.StatusCode, c.want)
		}
		if c.path == "hollow/checkpoint" && c.method == "GET" && !bytes.Equal(body, now.Note) {
			t.Errorf("the checkpoint: got %q, want %q", body, now.Note)
		}
	}
	address := srv.URL + "/archive/hollow"
	got, exit, err := AuditFrom(t.Context(), address, key, "secret", [][]byte{now.Note})
	if err != nil || exit != 0 || !got.OK || got.Records != now.Size || got.Root != now.Root.String() {
		t.Errorf("audit: %+v, exit %d, %v", got, exit, err)
	}
	// Another ledger of the same name, and a checkpoint of a history that this one does not have.
	other, err := proof.Generate(rand.Reader, f.seal.ring.Key().Name())
	if err != nil {
		t.Fatal(err)
	}
	if got, exit, err := AuditFrom(t.Context(), address, other.Key().String(), "secret", nil); err != nil || exit != 3 || len(got.Problems) != 1 || got.OK {
		t.Errorf("another key: %+v, exit %d, %v", got, exit, err)
	}
	for name, tree := range map[string]proof.Tree{
		"cut back": {Size: now.Size + 1, Root: now.Root}, "another history": {Size: 7, Root: now.Root},
	} {
		seen, err := f.seal.ring.SignNote(fmt.Sprintf("%s\n%d\n%s\n", f.seal.ring.Key().Name(), tree.Size, tree.Root))
		if err != nil {
			t.Fatal(err)
		}
		if got, exit, err := AuditFrom(t.Context(), address, key, "secret", [][]byte{seen}); err != nil || exit != 3 || len(got.Problems) != 1 {
			t.Errorf("%s: %+v, exit %d, %v", name, got, exit, err)
		}
	}
	// Who serves something else under the same name is found out.
	forged := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		r.Header.Del("Accept-Encoding")
		resp := httptest.NewRecorder()
		a.tiles("secret").ServeHTTP(resp, r)
		b := resp.Body.Bytes()
		if strings.Contains(r.URL.Path, "entries/000") {
			b = bytes.Replace(b, []byte(`"weak"`), []byte(`"dead"`), 1)
		}
		w.WriteHeader(resp.Code)
		_, _ = w.Write(b)
	}))
	defer forged.Close()
	if got, exit, err := AuditFrom(t.Context(), forged.URL+"/archive/hollow", key, "secret", nil); err != nil || exit != 3 || len(got.Problems) == 0 {
		t.Errorf("a changed record: %+v, exit %d, %v", got, exit, err)
	}
}

type serveFile struct{ *bytes.Buffer }

func (serveFile) Name() string { return "seen.jsonl" }

var _ serve.File = serveFile{}
