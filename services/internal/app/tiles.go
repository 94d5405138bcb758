package app

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"slices"
	"strings"
	"time"

	"latewood/events"
	"latewood/events/ledger"
	"latewood/events/ledger/archive"
	"latewood/events/ledger/proof"
	"latewood/events/words"
	"latewood/services/seal"
	"latewood/services/serve"
)

// archivePath is where the archives of a folder's farms stand on its listener: /archive/FARM/checkpoint, and tiles beside it.
const archivePath = "/archive/"

// tiles serves the archives of the folder's farms, read-only, under the paths of C2SP tlog-tiles.
//
// Checkpoints and tiles of hashes go to anyone who reaches the listener: they say how many records there are and nothing about
// them, and a witness needs no more. Entry bundles are whole records: they go to who brings the token for reading, which opens nothing else.
func (a *App) tiles(token string) http.Handler {
	return http.StripPrefix(archivePath, http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		code, rest, _ := strings.Cut(r.URL.Path, "/")
		codes, err := a.Codes()
		if err != nil || !events.IsCode(code) || !slices.Contains(codes, code) {
			http.NotFound(w, r)
			return
		}
		if strings.HasPrefix(rest, archive.EntriesPath) && !serve.Allowed(r, token) {
			http.Error(w, words.Say("serve.token"), http.StatusUnauthorized)
			return
		}
		f, err := a.farm(r.Context(), code)
		if err != nil {
			http.Error(w, http.StatusText(http.StatusServiceUnavailable), http.StatusServiceUnavailable)
			return
		}
		ar := f.seal.archive.Load() // may be opened anew meanwhile, so it is asked for each time
		if ar == nil {
			http.NotFound(w, r)
			return
		}
		http.StripPrefix(code, ar.Handler()).ServeHTTP(w, r)
	}))
}

// AuditFrom reads the archive of a ledger over HTTP, without its folder, and believes only what fits a checkpoint that the key
// signed: every record is fetched and held against the tree, and every checkpoint seen before must be its beginning.
func AuditFrom(ctx context.Context, address, key, token string, seen [][]byte) (Audit, int, error) {
	doc := Audit{Folds: []FoldAudit{}, Problems: []Finding{}}
	k, err := seal.ReadKey(key)
	if err != nil {
		return doc, 2, &serve.Fault{Exit: 2, Text: words.Say("cli.vkey-bad", "text", key)}
	}
	client := &http.Client{Timeout: time.Minute, Transport: bearer{token}}
	doc.Origin = k.Name()
	ar, err := archive.OpenReader(ctx, archive.HTTP(client, address), archive.Options{Origin: k.Name(), Keys: []proof.Key{k}})
	if err != nil {
		var unsigned *proof.UnsignedError
		if errors.As(err, &unsigned) {
			doc.add(Finding{What: words.Say("seal.remote-unsigned", "key", k.String())})
			return doc, 3, nil
		}
		if doc.problem(err) {
			return doc, 3, nil
		}
		return doc, 1, &serve.Fault{Exit: 1, Text: words.Say("seal.remote", "address", address, "why", err)}
	}
	now := ar.Checkpoint()
	doc.Root, doc.Checkpoints = now.Root.String(), 1
	for _, note := range seen {
		old, err := proof.OpenCheckpoint(note, k.Name(), k)
		if err != nil {
			return doc, 1, &serve.Fault{Exit: 1, Text: words.Say("seal.remote-seen", "why", err)}
		}
		doc.Checkpoints++
		root, err := ar.RootAt(old.Size)
		switch {
		case old.Size > now.Size:
			doc.add(Finding{What: words.Say("seal.remote-older", "size", now.Size, "seen", old.Size)})
		case err != nil:
			return doc, 1, &serve.Fault{Exit: 1, Text: words.Say("seal.remote", "address", address, "why", err)}
		case root != old.Root:
			doc.add(Finding{What: words.Say("seal.remote-split", "size", old.Size)})
		}
	}
	for e, err := range ar.Read(ctx, 1, now.Size) {
		if err != nil {
			if doc.problem(err) {
				break
			}
			return doc, 1, &serve.Fault{Exit: 1, Text: words.Say("seal.remote", "address", address, "why", err)}
		}
		// The archive has the hash of every record under the signed root, and gives none that does not fit it; this says so once more.
		if leaf, err := ar.LeafHash(e.Place); err != nil || leaf != ledger.LeafHash(e.Body) {
			doc.add(Finding{What: words.Say("seal.differs", "place", e.Place), Place: e.Place})
		}
		doc.Records = e.Place
	}
	if doc.OK = len(doc.Problems) == 0 && doc.Records == now.Size; !doc.OK {
		return doc, 3, nil
	}
	return doc, 0, nil
}

// bearer brings a token with every request.
type bearer struct{ token string }

func (b bearer) RoundTrip(r *http.Request) (*http.Response, error) {
	if b.token != "" {
		r = r.Clone(r.Context())
		r.Header.Set("Authorization", fmt.Sprintf("Bearer %s", b.token))
	}
	return http.DefaultTransport.RoundTrip(r)
}
