package archive

import (
	"compress/gzip"
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"strconv"
	"strings"
)

// Handler serves the archive read-only, on the paths of C2SP tlog-tiles below its root: checkpoint, tile/<L>/<N>[.p/<W>]
// and tile/entries/<N>[.p/<W>], all under the newest checkpoint and nothing behind it. A partial file can be had in every
// width that was ever published. What is served was checked against the tree like everything else; a file that is
// damaged brings status 500.
//
// Entry bundles hold whole records. Whoever mounts this decides who may read them.
func (a *Archive) Handler() http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.Method != http.MethodGet && r.Method != http.MethodHead {
			w.Header().Set("Allow", "GET, HEAD")
			w.WriteHeader(http.StatusMethodNotAllowed)
			return
		}
		name := strings.TrimPrefix(r.URL.Path, "/")
		h := w.Header()
		h.Set("X-Content-Type-Options", "nosniff")
		if name == checkpointName {
			s, err := a.Checkpoint()
			if err != nil {
				w.WriteHeader(http.StatusNotFound)
				return
			}
			h.Set("Content-Type", "text/plain; charset=utf-8")
			h.Set("Cache-Control", "no-cache")
			send(w, r, s.Note, false)
			return
		}
		t, ok := parseTile(name)
		if !ok {
			w.WriteHeader(http.StatusNotFound)
			return
		}
		b, err := a.tileBytes(r.Context(), t)
		switch {
		case errors.Is(err, errBeyond):
			w.WriteHeader(http.StatusNotFound)
		case err != nil:
			w.WriteHeader(http.StatusInternalServerError)
		default:
			h.Set("Content-Type", "application/octet-stream")
			// Not for caches that others share: records are not for everybody.
			h.Set("Cache-Control", "private, max-age=31536000, immutable")
			h.Set("Vary", "Accept-Encoding")
			send(w, r, b, t.level == entries)
		}
	})
}

// send writes a body, packed if that is worth it and the client takes it.
func send(w http.ResponseWriter, r *http.Request, b []byte, pack bool) {
	if pack && acceptsGzip(r) {
		w.Header().Set("Content-Encoding", "gzip")
		if r.Method == http.MethodHead {
			return
		}
		z, err := gzip.NewWriterLevel(w, gzip.BestSpeed)
		if err == nil {
			z.Write(b) // a client that went away is not our concern
			z.Close()
		}
		return
	}
	w.Header().Set("Content-Length", strconv.Itoa(len(b)))
	if r.Method != http.MethodHead {
		w.Write(b)
	}
}

func acceptsGzip(r *http.Request) bool {
	for part := range strings.SplitSeq(r.Header.Get("Accept-Encoding"), ",") {
		coding, weight, _ := strings.Cut(strings.TrimSpace(part), ";")
		if strings.TrimSpace(coding) == "gzip" && strings.TrimRight(strings.TrimSpace(weight), "0.") != "q=" {
			return true
		}
	}
	return false
}

var errBeyond = errors.New("archive: a tile beyond the newest checkpoint")

// tileBytes is the content of a tile under the newest checkpoint, checked.
func (c *core) tileBytes(ctx context.Context, t tile) ([]byte, error) {
	end := t.n*width + uint64(t.w)
	if end > c.Sealed()>>(max(t.level, 0)*height) {
		return nil, errBeyond
	}
	c.mu.RLock()
	switch first := t.n * width; {
	case t.level > 0:
		defer c.mu.RUnlock()
		return appendHashes(nil, c.row(t.level, t.n, t.w)), nil
	case t.level == 0 && first >= c.base:
		defer c.mu.RUnlock()
		return appendHashes(nil, c.leaves[first-c.base:][:t.w]), nil
	case t.level == 0:
		want := c.full.At(0, t.n)
		c.mu.RUnlock()
		leaves, err := c.tile(ctx, t.n, want)
		if err != nil {
			return nil, err
		}
		return appendHashes(nil, leaves[:t.w]), nil
	}
	c.mu.RUnlock()
	bodies, err := c.run(ctx, t.n, true)
	if err != nil {
		return nil, err
	}
	return appendBundle(nil, bodies[:t.w]), nil
}

// maxFetched is the most that a file of an archive can have: a full bundle of the largest records.
const maxFetched = width * (2 + MaxEntry)

// HTTP fetches files of an archive that is served elsewhere; prefix is the address above checkpoint. What the client adds,
// such as an authorisation, is the caller's business.
func HTTP(client *http.Client, prefix string) Fetch {
	prefix = strings.TrimSuffix(prefix, "/") + "/"
	return func(ctx context.Context, name string) ([]byte, error) {
		r, err := http.NewRequestWithContext(ctx, http.MethodGet, prefix+name, nil)
		if err != nil {
			return nil, fmt.Errorf("archive: fetching %s: %w", name, err)
		}
		resp, err := client.Do(r)
		if err != nil {
			return nil, fmt.Errorf("archive: fetching %s: %w", name, err)
		}
		defer resp.Body.Close()
		if resp.StatusCode != http.StatusOK {
			return nil, fmt.Errorf("archive: fetching %s: status %d", name, resp.StatusCode)
		}
		b, err := io.ReadAll(io.LimitReader(resp.Body, maxFetched+1))
		if err == nil && len(b) > maxFetched {
			err = fmt.Errorf("more than %d bytes", maxFetched)
		}
		if err != nil {
			return nil, fmt.Errorf("archive: fetching %s: %w", name, err)
		}
		return b, nil
	}
}
