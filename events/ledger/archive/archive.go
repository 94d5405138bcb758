package archive

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"slices"
	"sync"

	"latewood/events/ledger"
	"latewood/events/ledger/proof"
)

// Options says whose archive it is.
type Options struct {
	// Origin is the ledger's origin, the first line of its checkpoints.
	Origin string
	// Keys is every key that ever signed for this ledger, for its history was signed by them.
	Keys []proof.Key
}

// An Archive is the folder of one ledger, open for writing. One process opens it at a time; the lock of the farm's folder
// sees to that. Its methods may be called from many goroutines; those that write wait for each other.
type Archive struct {
	core
	files
	opt Options

	write  sync.Mutex // held by whoever writes
	tail   *os.File
	end    int64           // length of the tail file up to its last whole record
	synced bool            // all of it is on the disk
	broken error           // why nothing can be written any more
	kept   map[string]bool // partial files that are known to be on the disk
}

// Open opens the archive in dir, or makes an empty one if dir is not there or empty. Before it writes anything it holds
// the top of the tree and the tail against the newest checkpoint; what does not fit comes back as a *DamageError with all
// that Check found, and the files stay as they are. What an interrupted write left behind is put in order: see Publish.
func Open(dir string, opt Options) (*Archive, error) { return open(dir, opt, nil) }

func open(dir string, opt Options, step func(what, name string) error) (*Archive, error) {
	a := &Archive{files: files{dir, step}, opt: opt, kept: map[string]bool{}}
	a.init(local(dir))
	head, err := readHead(dir, opt)
	if err != nil {
		return nil, err
	}
	if head.fresh {
		if err := os.MkdirAll(dir, 0o700); err != nil {
			return nil, store("making", dir, err)
		}
		// If we crash before this, the folder is empty or not there, and opening begins anew.
		if err := a.replace(tailName, tailBytes(0, nil)); err != nil {
			return nil, err
		}
	} else if head.damaged || a.load(head) != nil {
		return nil, damage(dir, opt)
	}
	if a.tail, err = os.OpenFile(a.path(tailName), os.O_RDWR, 0o600); err != nil {
		return nil, store("opening", tailName, err)
	}
	if err := a.tidy(head); err != nil {
		a.tail.Close()
		return nil, err
	}
	return a, nil
}

// local reads the files of a folder.
func local(dir string) Fetch {
	return func(_ context.Context, name string) ([]byte, error) {
		return os.ReadFile(filepath.Join(dir, filepath.FromSlash(name)))
	}
}

// damage says what is wrong with a folder that cannot be opened.
func damage(dir string, opt Options) error {
	report, err := Check(context.Background(), dir, opt)
	if err != nil {
		return err
	}
	return &DamageError{report.Findings}
}

// A head is the small files of a folder, read and not believed more than their signatures and checksums allow.
type head struct {
	fresh   bool         // nothing is there yet
	damaged bool         // they cannot be what a crash leaves
	newest  proof.Signed // the newest checkpoint; its Note is nil if there is none
	publish bool         // it stands in the history, and the file checkpoint is older
	history int          // length of the history up to its last whole note
	torn    bool         // the history is longer
	base    uint64       // of the tail
	bodies  [][]byte     // of the tail
	tail    int          // length of the tail file up to its last whole record
	tailAll int          // its whole length
}

func readHead(dir string, opt Options) (head, error) {
	var h head
	var there [3]bool
	var content [3][]byte
	for i, name := range []string{checkpointName, historyName, tailName} {
		b, err := os.ReadFile(filepath.Join(dir, name))
		if err != nil && !errors.Is(err, fs.ErrNotExist) {
			return h, store("reading", name, err)
		}
		content[i], there[i] = b, err == nil
	}
	if there == [3]bool{} {
		// A folder with other files in it is not ours to fill.
		names, err := os.ReadDir(dir)
		if err != nil && !errors.Is(err, fs.ErrNotExist) {
			return h, store("reading", dir, err)
		}
		h.fresh = !slices.ContainsFunc(names, func(e fs.DirEntry) bool { return e.Name() != tailName+".tmp" })
		h.damaged = !h.fresh
		return h, nil
	}
	var last proof.Signed // of the history
	pieces, good := parseHistory(content[1])
	h.history, h.torn = good, good < len(content[1])
	if n := len(pieces); n > 0 {
		s, err := proof.OpenCheckpoint(pieces[n-1].note, opt.Origin, opt.Keys...)
		if err != nil {
			h.damaged = true
			return h, nil
		}
		last = s
	}
	h.newest = last
	if there[0] {
		s, err := proof.OpenCheckpoint(content[0], opt.Origin, opt.Keys...)
		// The history is written first, so it is never behind.
		if err != nil || last.Note == nil || s.Size > last.Size || s.Size == last.Size && s.Root != last.Root {
			h.damaged = true
			return h, nil
		}
	}
	h.publish = last.Note != nil && !bytes.Equal(content[0], last.Note)
	var err error
	if h.base, h.bodies, h.tail, err = parseTail(content[2]); err != nil || h.base > h.newest.Size {
		h.damaged = true
	}
	h.tailAll = len(content[2])
	return h, nil
}

// load builds the tree in memory and holds it against the newest checkpoint.
func (a *Archive) load(h head) error {
	full, err := loadFull(context.Background(), a.fetch, h.base/width, h.newest.Size)
	if err != nil {
		return err
	}
	a.full, a.base, a.sealed = full, h.base, h.newest
	a.grow(leavesOf(h.bodies), h.bodies)
	if a.size() < h.newest.Size {
		return &DamageError{}
	}
	if h.newest.Note == nil {
		return nil
	}
	// All that this needs is in memory: the tail begins before the end of what is sealed.
	if root, err := a.RootAt(h.newest.Size); err != nil || root != h.newest.Root {
		return &DamageError{}
	}
	return nil
}

// loadFull reads the roots of the first n full bundles of a tree of this size: from tiles of level 1, or, where the last of
// those is not there, from the tiles below.
func loadFull(ctx context.Context, fetch Fetch, n, size uint64) (proof.Hashes, error) {
	var full proof.Hashes
	for k := uint64(0); k*width < n; k++ {
		t := tile{1, k, int(min(size/width-k*width, width))}
		b, err := fetch(ctx, t.name())
		if err == nil {
			hashes, err := parseHashes(b, t.w)
			if err != nil {
				return full, &DamageError{[]Finding{{File: t.name(), Fault: Damaged}}}
			}
			for _, h := range hashes[:min(uint64(t.w), n-k*width)] {
				full.Append(h)
			}
			continue
		}
		for i := k * width; i < min(n, (k+1)*width); i++ {
			t := tile{0, i, width}
			b, err := fetch(ctx, t.name())
			if err != nil {
				return full, fmt.Errorf("archive: reading %s: %w", t.name(), err)
			}
			hashes, err := parseHashes(b, width)
			if err != nil {
				return full, &DamageError{[]Finding{{File: t.name(), Fault: Damaged}}}
			}
			full.Append(fold(hashes))
		}
	}
	return full, nil
}

// tidy puts in order what an interrupted write left behind, after all was found good.
func (a *Archive) tidy(h head) error {
	a.end, a.synced = int64(h.tail), true
	if h.fresh {
		a.end = int64(tailHeader)
	}
	if int64(h.tailAll) > a.end {
		// Records behind the last whole one were never promised to anybody: the ledger has them, and brings them again.
		if err := a.tail.Truncate(a.end); err != nil {
			return store("cutting", tailName, err)
		}
		if err := a.tail.Sync(); err != nil {
			return store("syncing", tailName, err)
		}
	}
	if h.torn {
		if err := cut(a.path(historyName), int64(h.history)); err != nil {
			return store("cutting", historyName, err)
		}
	}
	if h.publish {
		// The history has it, so all tiles that it needs are on the disk.
		if err := a.replace(checkpointName, h.newest.Note); err != nil {
			return err
		}
	}
	if a.base < a.sealed.Size/width*width {
		if err := a.cutTiles(a.sealed.Size); err != nil {
			return err
		}
		return a.shorten(a.sealed.Size)
	}
	return nil
}

func cut(name string, to int64) error {
	f, err := os.OpenFile(name, os.O_WRONLY, 0)
	if err != nil {
		return err
	}
	err = f.Truncate(to)
	if err == nil {
		err = f.Sync()
	}
	return errors.Join(err, f.Close())
}

// Close closes the archive's files. What was appended and not synced may be lost, as in a crash.
func (a *Archive) Close() error {
	a.write.Lock()
	defer a.write.Unlock()
	if errors.Is(a.broken, errClosed) {
		return nil
	}
	a.broken = errClosed
	return a.tail.Close()
}

var errClosed = errors.New("by its owner")

// writable says why nothing can be written, if so. The caller holds write.
func (a *Archive) writable() error {
	if a.broken != nil {
		return fmt.Errorf("%w: %w", ErrClosed, a.broken)
	}
	return nil
}

// Append adds records behind the last. They are neither on the disk, before Sync, nor handed out to readers, before
// Publish. A record has from 1 to MaxEntry bytes. If it fails, nothing of this call was added.
func (a *Archive) Append(bodies ...[]byte) error {
	for i, body := range bodies {
		if len(body) < 1 || len(body) > MaxEntry {
			return fmt.Errorf("archive: record %d of this append has %d bytes, and a bundle takes from 1 to %d", i, len(body), MaxEntry)
		}
	}
	a.write.Lock()
	defer a.write.Unlock()
	if err := a.writable(); err != nil {
		return err
	}
	size := a.Size()
	var b []byte
	for i, body := range bodies {
		b = appendFrame(b, size+uint64(i), body)
	}
	if err := a.before("append", tailName); err != nil {
		return err
	}
	a.synced = false
	if _, err := a.tail.WriteAt(b, a.end); err != nil {
		// If we crash here, a torn record stands at the end, and opening cuts it off. Without a crash we do that now, so that
		// nothing lies between the records to come.
		if terr := a.tail.Truncate(a.end); terr != nil {
			a.broken = errors.Join(err, terr)
		}
		return store("appending to", tailName, err)
	}
	a.end += int64(len(b))
	copies := cloneAll(bodies)
	leaves := leavesOf(copies)
	a.mu.Lock()
	a.grow(leaves, copies)
	a.mu.Unlock()
	return nil
}

// Sync puts all that was appended on the disk.
func (a *Archive) Sync() error {
	a.write.Lock()
	defer a.write.Unlock()
	return a.sync()
}

func (a *Archive) sync() error {
	if err := a.writable(); err != nil {
		return err
	}
	if a.synced {
		return nil
	}
	if err := a.before("sync", tailName); err != nil {
		return err
	}
	if err := a.tail.Sync(); err != nil {
		// After a sync that failed, the system may have dropped what it could not write, and say nothing the next time.
		a.broken = err
		return store("syncing", tailName, err)
	}
	a.synced = true
	return nil
}

// Publish seals: it makes a signed checkpoint the newest one. The checkpoint must be of this tree and not smaller than the
// newest (the error Is ErrOrder else); one of the same size takes its place, as when a witness signed it. When Publish
// returns nil, all its records are here on the disk, in the ledger's second store.
//
// Everything it writes it can write again: after an error the same call may be made anew.
//
// The steps, and what a crash before each of them leaves:
//
//  1. The tail is synced. Before: some of its last records may be missing or torn. They are cut off at opening, and the
//     ledger brings them again.
//  2. Full bundles and full tiles are written, each whole and synced under its name. Before or between: some are there that
//     no checkpoint needs yet. They are written again.
//  3. Partial ones are written in the same way. As before.
//  4. The names are made durable. Before: a file of the two steps above may be gone. As before: the tail still has its
//     records.
//  5. The checkpoint is appended to the history and synced. Before: the older checkpoint counts. Half written: opening cuts
//     it off.
//  6. The file checkpoint is replaced. Before: opening finds the newer one in the history, and finishes from here.
//  7. The tail is replaced by one without the records of full bundles. Before: they stand in both. Opening finishes.
//  8. Partial files that no longer count are removed. Before: they stay until the bundle is full.
func (a *Archive) Publish(note []byte) error {
	s, err := proof.OpenCheckpoint(note, a.opt.Origin, a.opt.Keys...)
	if err != nil {
		return err
	}
	s.Note = slices.Clone(note)
	a.write.Lock()
	defer a.write.Unlock()
	if err := a.writable(); err != nil {
		return err
	}
	was := a.sealed
	switch {
	case bytes.Equal(was.Note, note):
		return nil
	case s.Size == 0 || s.Size < was.Size || len(s.Extra) > 0:
		return fmt.Errorf("%w: size %d behind size %d", ErrOrder, s.Size, was.Size)
	}
	if root, err := a.RootAt(s.Size); err != nil || root != s.Root {
		return fmt.Errorf("%w: size %d with root %v, and the archive has %d records with root %v there", ErrOrder, s.Size, s.Root, a.Size(), root)
	}
	if err := a.sync(); err != nil { // 1
		return err
	}
	if err := a.cutTiles(s.Size); err != nil { // 2, 3, 4
		return err
	}
	if err := a.remember(s.Note); err != nil { // 5
		return err
	}
	if err := a.replace(checkpointName, s.Note); err != nil { // 6
		return err
	}
	a.mu.Lock()
	a.sealed = s
	a.mu.Unlock()
	if err := a.shorten(s.Size); err != nil { // 7
		return err
	}
	a.sweep(was.Size, s.Size) // 8
	return nil
}

// cutTiles writes every file that a checkpoint of this size needs and that may not be on the disk.
func (a *Archive) cutTiles(size uint64) error {
	var names []string
	put := func(t tile, content func() []byte) error {
		name := t.name()
		if t.w < width && a.kept[name] {
			return nil
		}
		if err := a.put(name, content()); err != nil {
			return err
		}
		names = append(names, name)
		return nil
	}
	// Nobody else writes, so what is read here without mu does not change.
	for n := a.base / width; n*width < size; n++ {
		w := min(width, size-n*width)
		from, to := n*width-a.base, n*width-a.base+w
		if err := put(tile{entries, n, int(w)}, func() []byte { return appendBundle(nil, a.bodies[from:to]) }); err != nil {
			return err
		}
		if err := put(tile{0, n, int(w)}, func() []byte { return appendHashes(nil, a.leaves[from:to]) }); err != nil {
			return err
		}
	}
	for level := 1; size>>(level*height) > 0; level++ {
		have, had := size>>(level*height), a.base>>(level*height)
		for n := had / width; n*width < have; n++ {
			w := min(width, have-n*width)
			content := func() []byte { return appendHashes(nil, a.row(level, n, int(w))) }
			if err := put(tile{level, n, int(w)}, content); err != nil {
				return err
			}
		}
	}
	if err := a.syncNames(names); err != nil {
		return err
	}
	for _, name := range names {
		if t, ok := parseTile(name); ok && t.w < width {
			a.kept[name] = true
		}
	}
	return nil
}

// row gives the hashes of a tile of level 1 or above.
func (c *core) row(level int, n uint64, w int) []ledger.Hash {
	hashes := make([]ledger.Hash, w)
	for i := range hashes {
		hashes[i] = c.full.At(height*(level-1), n*width+uint64(i))
	}
	return hashes
}

// remember appends a checkpoint to the history.
func (a *Archive) remember(note []byte) error {
	if err := a.before("append", historyName); err != nil {
		return err
	}
	f, err := os.OpenFile(a.path(historyName), os.O_WRONLY|os.O_CREATE, 0o600)
	if err != nil {
		return store("opening", historyName, err)
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return store("opening", historyName, err)
	}
	if _, err := f.WriteAt(appendHistory(nil, note), info.Size()); err != nil {
		if terr := f.Truncate(info.Size()); terr != nil {
			a.broken = errors.Join(err, terr)
		}
		return store("appending to", historyName, err)
	}
	if err := a.before("sync", historyName); err != nil {
		return err
	}
	if err := f.Sync(); err != nil {
		a.broken = err // whether it stands there is for the next opening to find out
		return store("syncing", historyName, err)
	}
	if info.Size() > 0 {
		return nil
	}
	return a.syncNames([]string{historyName})
}

// shorten takes the records of full bundles out of the tail and out of memory.
func (a *Archive) shorten(size uint64) error {
	base := size / width * width
	if base == a.base {
		return nil
	}
	drop := base - a.base
	b := tailBytes(base, a.bodies[drop:])
	// Some systems do not replace a file that is open.
	a.tail.Close()
	rerr := a.replace(tailName, b)
	f, err := os.OpenFile(a.path(tailName), os.O_RDWR, 0o600)
	if err != nil {
		a.broken = errors.Join(rerr, err)
		return store("opening", tailName, err)
	}
	if rerr != nil {
		// The old tail is as good as the new one, if it is the old one that stands there.
		if info, err := f.Stat(); err != nil || info.Size() != a.end {
			a.broken = errors.Join(rerr, err)
		}
		a.tail = f
		return rerr
	}
	a.tail, a.end, a.synced = f, int64(len(b)), true
	a.mu.Lock()
	a.base = base
	a.leaves = slices.Clone(a.leaves[drop:])
	a.bodies = slices.Clone(a.bodies[drop:])
	a.mu.Unlock()
	return nil
}

// sweep removes the partial files that belong neither to the checkpoint of size now nor to the one before it. Nothing
// depends on it, so what it cannot do is left.
func (a *Archive) sweep(before, now uint64) {
	stay := map[string]bool{}
	for _, size := range []uint64{before, now} {
		for _, t := range edge(size) {
			stay[t.name()] = true
		}
	}
	for name := range a.kept {
		if !stay[name] {
			delete(a.kept, name)
		}
	}
	// Partial files lie in the folder of the tile that is being filled, and, from before, of the one before it.
	var dirs []string
	for level := entries; level < 0 || now>>(level*height) > 0; level++ {
		have := now >> (max(level, 0) * height)
		dirs = append(dirs, path.Dir(tile{level, have / width, 1}.name()))
		if have >= width {
			dirs = append(dirs, path.Dir(tile{level, have/width - 1, 1}.name()))
		}
	}
	slices.Sort(dirs)
	for _, dir := range slices.Compact(dirs) {
		names, err := os.ReadDir(a.path(dir))
		if err != nil {
			continue
		}
		left := len(names)
		for _, e := range names {
			name := path.Join(dir, e.Name())
			if !stay[name] && a.before("remove", name) == nil && os.Remove(a.path(name)) == nil {
				left--
			}
		}
		if left == 0 {
			os.Remove(a.path(dir))
		}
	}
}

// edge is the partial tiles of a tree of this size.
func edge(size uint64) []tile {
	var out []tile
	if w := int(size % width); w > 0 {
		out = append(out, tile{entries, size / width, w})
	}
	for level := 0; size>>(level*height) > 0; level++ {
		if have := size >> (level * height); have%width > 0 {
			out = append(out, tile{level, have / width, int(have % width)})
		}
	}
	return out
}

// Checkpoints gives every checkpoint that was ever published, as it was signed, oldest first. It checks none of them:
// Check does.
func (a *Archive) Checkpoints() ([][]byte, error) {
	b, err := os.ReadFile(a.path(historyName))
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return nil, store("reading", historyName, err)
	}
	var out [][]byte
	pieces, _ := parseHistory(b)
	for _, p := range pieces {
		if p.note != nil {
			out = append(out, slices.Clone(p.note))
		}
	}
	return out, nil
}
