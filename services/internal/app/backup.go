package app

import (
	"archive/tar"
	"bufio"
	"compress/gzip"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"latewood/events"
	"latewood/events/civil"
	"latewood/events/ledger/disk"
	"latewood/events/words"
	"latewood/services/serve"
)

// A backup is a tar file, packed with gzip: a manifest first, then for each farm its archive (every record, in plain files),
// keys, people and files. The broker's store is not in it: it is made again from the archive. Nor are caches.
const (
	manifestName  = "latewood-backup.json"
	backupVersion = 1
)

// backedUp is the folders of a farm that a backup holds.
var backedUp = []string{"archive", "keys", "people", "files"}

// manifest says what a backup holds, and under which roots.
type manifest struct {
	Version int          `json:"version"`
	At      string       `json:"at"`
	Keys    bool         `json:"keys"`
	Farms   []backedFarm `json:"farms"`
}

type backedFarm struct {
	Farm string `json:"farm"`
	Size uint64 `json:"size"` // sealed
	Root string `json:"root"`
}

// BackupRequest asks for a backup into a file, named absolutely.
type BackupRequest struct {
	File  string `json:"file"`
	NoKey bool   `json:"noKey,omitempty"`
}

// BackedUp is what was written.
type BackedUp struct {
	File    string `json:"file"`
	At      string `json:"at"`
	Farms   int    `json:"farms"`
	Records uint64 `json:"records"`
	Bytes   int64  `json:"bytes"`
	Keys    bool   `json:"keys"` // the secret keys are in it
}

// opBackup seals everything and copies it. A crash leaves FILE.part and whatever stood in FILE before.
func (a *App) opBackup(ctx context.Context, q BackupRequest) (any, int, error) {
	codes, err := a.Codes()
	if err != nil {
		return nil, 1, err
	}
	if len(codes) == 0 {
		return nil, 1, &serve.Fault{Exit: 1, Text: words.Say("app.no-farm", "dir", a.o.Dir)}
	}
	m := manifest{Version: backupVersion, At: civil.FormatTime(a.o.Now().UTC()), Keys: !q.NoKey}
	var farms []*farm
	for _, code := range codes {
		f, err := a.farm(ctx, code)
		if err != nil {
			return nil, 1, err
		}
		if f.recorder.Head().Size == 0 {
			continue
		}
		s, err := f.sealNow(ctx)
		if err != nil {
			return nil, 1, err
		}
		m.Farms = append(m.Farms, backedFarm{code, s.Size, hashText(s.Root)})
		farms = append(farms, f)
	}
	doc := BackedUp{File: q.File, At: m.At, Farms: len(farms), Keys: m.Keys}
	for _, f := range m.Farms {
		doc.Records += f.Size
	}
	if doc.Bytes, err = a.writeBackup(ctx, q.File, m, farms); err != nil {
		return nil, 1, &serve.Fault{Exit: 1, Text: words.Say("seal.backup-write", "file", q.File), Err: err}
	}
	// When it was, for status.
	err = disk.WriteFile(filepath.Join(a.o.Dir, "backup.json"), func(w io.Writer) error {
		_, err := fmt.Fprintf(w, "{\"at\":%q}\n", m.At)
		return err
	})
	if err != nil {
		return nil, 1, folderFault(a.o.Dir, err)
	}
	return doc, 0, nil
}

func (a *App) writeBackup(ctx context.Context, file string, m manifest, farms []*farm) (size int64, err error) {
	part := file + ".part"
	out, err := os.OpenFile(part, os.O_WRONLY|os.O_CREATE|os.O_TRUNC, 0o600)
	if err != nil {
		return 0, err
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, out.Close(), os.Remove(part))
		}
	}()
	buffered := bufio.NewWriterSize(out, 1<<16)
	packed := gzip.NewWriter(buffered)
	t := tar.NewWriter(packed)
	text, err := events.WriteJSON(m)
	if err != nil {
		return 0, err
	}
	if err := putFile(t, manifestName, text, a.o.Now()); err != nil {
		return 0, err
	}
	for _, f := range farms {
		// While the archive is copied nothing is sealed; records go on being taken.
		if err := f.seal.archive.Load().Still(func(string) error { return a.putFarm(ctx, t, f, m.Keys) }); err != nil {
			return 0, err
		}
	}
	if err := errors.Join(t.Close(), packed.Close(), buffered.Flush(), out.Sync()); err != nil {
		return 0, err
	}
	info, err := out.Stat()
	if err != nil {
		return 0, err
	}
	if err := out.Close(); err != nil {
		return 0, err
	}
	if err := os.Rename(part, file); err != nil {
		return 0, err
	}
	return info.Size(), disk.SyncDir(filepath.Dir(file))
}

func (a *App) putFarm(ctx context.Context, t *tar.Writer, f *farm, keys bool) error {
	for _, sub := range backedUp {
		root := filepath.Join(f.dir, sub)
		err := filepath.WalkDir(root, func(p string, d fs.DirEntry, err error) error {
			if err != nil || !d.Type().IsRegular() || strings.HasSuffix(p, ".tmp") {
				return err
			}
			if sub == "keys" && !keys && strings.HasSuffix(p, ".key") {
				return nil
			}
			rel, err := filepath.Rel(f.dir, p)
			if err != nil {
				return err
			}
			content, err := os.ReadFile(p)
			if err != nil {
				return err
			}
			if err := ctx.Err(); err != nil {
				return err
			}
			return putFile(t, path.Join("farms", f.code, filepath.ToSlash(rel)), content, a.o.Now())
		})
		if err != nil && !errors.Is(err, fs.ErrNotExist) {
			return err
		}
	}
	return nil
}

func putFile(t *tar.Writer, name string, content []byte, at time.Time) error {
	if err := t.WriteHeader(&tar.Header{Name: name, Mode: 0o600, Size: int64(len(content)), ModTime: at.UTC().Truncate(time.Second), Format: tar.FormatPAX}); err != nil {
		return err
	}
	_, err := t.Write(content)
	return err
}

// Limits of what a backup may unpack to: it comes from outside, even if it says that it is ours.
const (
	mostBackupFiles = 1 << 22
	mostBackupFile  = 1 << 32 // bytes of one file
)

var errBackup = errors.New("app: not a backup")

// unpack reads a backup into a folder that is there and empty.
func unpack(ctx context.Context, in io.Reader, into string) (m manifest, err error) {
	packed, err := gzip.NewReader(bufio.NewReaderSize(in, 1<<16))
	if err != nil {
		return m, fmt.Errorf("%w: %w", errBackup, err)
	}
	root, err := os.OpenRoot(into)
	if err != nil {
		return m, err
	}
	defer root.Close()
	t := tar.NewReader(packed)
	for n := 0; ; n++ {
		if err := ctx.Err(); err != nil {
			return m, err
		}
		h, err := t.Next()
		if errors.Is(err, io.EOF) && n > 0 {
			return m, nil
		}
		if err != nil {
			return m, fmt.Errorf("%w: %w", errBackup, err)
		}
		if n == 0 {
			text, err := io.ReadAll(io.LimitReader(t, 1<<20))
			if err == nil {
				err = events.ReadJSON(text, &m)
			}
			if err != nil || h.Name != manifestName || m.Version != backupVersion {
				return m, fmt.Errorf("%w: it does not begin with %s of version %d", errBackup, manifestName, backupVersion)
			}
			continue
		}
		if !m.names(h) || n > mostBackupFiles {
			return m, fmt.Errorf("%w: it holds %q", errBackup, h.Name)
		}
		if err := root.MkdirAll(path.Dir(h.Name), 0o700); err != nil {
			return m, err
		}
		w, err := root.OpenFile(h.Name, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
		if err != nil {
			return m, err
		}
		_, err = io.Copy(w, t)
		if err := errors.Join(err, w.Sync(), w.Close()); err != nil {
			return m, err
		}
	}
}

// names reports whether a backup of this manifest may hold a file.
func (m manifest) names(h *tar.Header) bool {
	parts := strings.Split(h.Name, "/")
	return h.Typeflag == tar.TypeReg && h.Size <= mostBackupFile && len(parts) >= 4 && parts[0] == "farms" &&
		path.Clean(h.Name) == h.Name && slices.Contains(backedUp, parts[2]) &&
		slices.ContainsFunc(m.Farms, func(f backedFarm) bool { return f.Farm == parts[1] && events.IsCode(f.Farm) })
}
