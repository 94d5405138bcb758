package idindex

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
	"io"
	"iter"
	"os"
	"path/filepath"
	"slices"
	"sort"
	"sync"
	"sync/atomic"

	"latewood/events/ledger/disk"
)

const (
	pageSize    = 4096
	entrySize   = 24
	perPage     = 170 // entries of 24 bytes in a page, with room for its checksum
	trailerSize = 64
	runExt      = ".run"
	runFormat   = 1
)

// runMagic begins the trailer of every run, of every format.
var runMagic = [8]byte{'L', 'W', 'I', 'D', 'I', 'D', 'X', 0}

// castagnoli is CRC-32C, which processors have an instruction for.
var castagnoli = crc32.MakeTable(crc32.Castagnoli)

func be64(b []byte) uint64 { return binary.BigEndian.Uint64(b) }

// An entry is an id and where its record stands.
type entry struct {
	id    ID
	place uint64
}

// compareEntries orders by id; of one id twice, the first place comes first.
func compareEntries(a, b entry) int {
	if c := bytes.Compare(a.id[:], b.id[:]); c != 0 {
		return c
	}
	switch {
	case a.place < b.place:
		return -1
	case a.place > b.place:
		return 1
	}
	return 0
}

// A run is one open file of the index.
type run struct {
	path     string
	file     *os.File
	from, to uint64 // places: the ids of records behind from, up to and including to
	count    uint64 // entries
	fences   []ID   // the first id of each page
	filter   filter
	damaged  atomic.Bool // a page was found damaged
}

// trailer is the last 64 bytes of a run, big endian.
//
//	0  magic       8 bytes "LWIDIDX" and a zero byte
//	8  format      4 bytes, 1
//	12 checksum    4 bytes, CRC-32C of fences, filter and trailer, these four bytes as zero
//	16 from        8 bytes
//	24 to          8 bytes: the size of the ledger that the index covers with this run
//	32 count       8 bytes
//	40 pages       8 bytes
//	48 words       8 bytes, of the filter
//	56 zero        8 bytes
func (r *run) trailer() []byte {
	b := make([]byte, trailerSize)
	copy(b, runMagic[:])
	binary.BigEndian.PutUint32(b[8:], runFormat)
	binary.BigEndian.PutUint64(b[16:], r.from)
	binary.BigEndian.PutUint64(b[24:], r.to)
	binary.BigEndian.PutUint64(b[32:], r.count)
	binary.BigEndian.PutUint64(b[40:], uint64(len(r.fences)))
	binary.BigEndian.PutUint64(b[48:], uint64(len(r.filter)))
	return b
}

func runPath(dir string, from, to uint64) string {
	return filepath.Join(dir, fmt.Sprintf("%020d-%020d%s", from, to, runExt))
}

// writeRun writes a run of entries in their order, of which there are at most limit, and opens it. Of several entries with one
// id, the first is kept.
func writeRun(dir string, from, to uint64, limit int, entries iter.Seq[entry]) (*run, error) {
	r := &run{path: runPath(dir, from, to), from: from, to: to, filter: newFilter(limit)}
	err := disk.WriteFile(r.path, func(w io.Writer) error {
		var page [pageSize]byte
		used := 0
		put := func() error {
			clear(page[used*entrySize:])
			binary.BigEndian.PutUint32(page[pageSize-4:], crc32.Checksum(page[:pageSize-4], castagnoli))
			used = 0
			_, err := w.Write(page[:])
			return err
		}
		var last entry
		for e := range entries {
			if r.count > 0 && e.id == last.id {
				continue
			}
			last = e
			if used == perPage {
				if err := put(); err != nil {
					return err
				}
			}
			if used == 0 {
				r.fences = append(r.fences, e.id)
			}
			copy(page[used*entrySize:], e.id[:])
			binary.BigEndian.PutUint64(page[used*entrySize+16:], e.place)
			r.filter.add(hashID(e.id))
			used++
			r.count++
		}
		if used > 0 {
			if err := put(); err != nil {
				return err
			}
		}
		rest := r.rest()
		_, err := w.Write(rest)
		return err
	})
	if err != nil {
		return nil, err
	}
	if r.file, err = os.Open(r.path); err != nil {
		return nil, err
	}
	return r, nil
}

// rest is what follows the pages: fences, filter, trailer with its checksum.
func (r *run) rest() []byte {
	b := make([]byte, 0, len(r.fences)*16+len(r.filter)*8+trailerSize)
	for _, id := range r.fences {
		b = append(b, id[:]...)
	}
	for _, word := range r.filter {
		b = binary.BigEndian.AppendUint64(b, word)
	}
	b = append(b, r.trailer()...)
	binary.BigEndian.PutUint32(b[len(b)-trailerSize+12:], crc32.Checksum(b, castagnoli))
	return b
}

// openRun opens a run that lies there and checks all of it but the pages, which are checked when they are read. An error that is
// ErrDamaged is about the content, another about the file system.
func openRun(path string) (_ *run, err error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer func() {
		if err != nil {
			f.Close()
		}
	}()
	damaged := func(why error) error { return fmt.Errorf("%w: %s: %w", ErrDamaged, path, why) }
	info, err := f.Stat()
	if err != nil {
		return nil, err
	}
	size := info.Size()
	if size < trailerSize {
		return nil, damaged(errors.New("too short"))
	}
	t := make([]byte, trailerSize)
	if _, err := f.ReadAt(t, size-trailerSize); err != nil {
		return nil, damaged(err)
	}
	if !bytes.Equal(t[:8], runMagic[:]) {
		return nil, damaged(errors.New("not a run"))
	}
	if v := binary.BigEndian.Uint32(t[8:]); v != runFormat {
		return nil, damaged(fmt.Errorf("format %d", v))
	}
	r := &run{path: path, file: f, from: be64(t[16:]), to: be64(t[24:]), count: be64(t[32:])}
	pages, words := be64(t[40:]), be64(t[48:])
	// Compared with the size before anything is allocated. The limits keep the sum from wrapping round.
	if pages > uint64(size)/pageSize || words > uint64(size)/8 || words == 0 ||
		pages*(pageSize+16)+words*8+trailerSize != uint64(size) {
		return nil, damaged(errors.New("sizes do not add up"))
	}
	if r.count > pages*perPage || pages > 0 && r.count <= (pages-1)*perPage || pages == 0 && r.count > 0 {
		return nil, damaged(errors.New("count does not fit the pages"))
	}
	if filepath.Base(path) != filepath.Base(runPath("", r.from, r.to)) {
		return nil, damaged(errors.New("named after other places than it covers"))
	}
	rest := make([]byte, size-int64(pages)*pageSize)
	if _, err := f.ReadAt(rest, int64(pages)*pageSize); err != nil {
		return nil, damaged(err)
	}
	sum := rest[len(rest)-trailerSize+12:][:4]
	want := binary.BigEndian.Uint32(sum)
	clear(sum)
	if crc32.Checksum(rest, castagnoli) != want {
		return nil, damaged(errors.New("checksum"))
	}
	r.fences = make([]ID, pages)
	for i := range r.fences {
		r.fences[i] = ID(rest[i*16:])
	}
	r.filter = make(filter, words)
	for i := range r.filter {
		r.filter[i] = be64(rest[int(pages)*16+i*8:])
	}
	return r, nil
}

// readPage reads and checks one page and gives its entries, 24 bytes each, in buf.
func (r *run) readPage(n int, buf *[pageSize]byte) ([]byte, error) {
	// An unreadable sector is as good as a wrong one: what stood there is in the ledger.
	if _, err := r.file.ReadAt(buf[:], int64(n)*pageSize); err != nil {
		r.damaged.Store(true)
		return nil, fmt.Errorf("%w: %s: page %d: %w", ErrDamaged, r.path, n, err)
	}
	if crc32.Checksum(buf[:pageSize-4], castagnoli) != binary.BigEndian.Uint32(buf[pageSize-4:]) {
		r.damaged.Store(true)
		return nil, fmt.Errorf("%w: %s: checksum of page %d", ErrDamaged, r.path, n)
	}
	return buf[:min(perPage, int(r.count)-n*perPage)*entrySize], nil
}

// pages are buffers for lookups.
var pages = sync.Pool{New: func() any { return new([pageSize]byte) }}

// lookup finds an id in the run.
func (r *run) lookup(id ID) (uint64, bool, error) {
	// The page is the last one that does not begin behind the id.
	page, exact := slices.BinarySearchFunc(r.fences, id, func(fence, id ID) int { return bytes.Compare(fence[:], id[:]) })
	if !exact {
		page--
	}
	if page < 0 {
		return 0, false, nil
	}
	buf := pages.Get().(*[pageSize]byte)
	defer pages.Put(buf)
	b, err := r.readPage(page, buf)
	if err != nil {
		return 0, false, err
	}
	n := len(b) / entrySize
	i := sort.Search(n, func(i int) bool { return bytes.Compare(b[i*entrySize:][:16], id[:]) >= 0 })
	if i == n || !bytes.Equal(b[i*entrySize:][:16], id[:]) {
		return 0, false, nil
	}
	return be64(b[i*entrySize+16:]), true, nil
}

// mergeRuns gives the entries of several runs in one order. What failed says after the last entry why there were no more,
// nil if these were all.
func mergeRuns(runs []*run) (_ iter.Seq[entry], failed func() error) {
	var err error
	seq := func(yield func(entry) bool) {
		cursors := make([]*cursor, 0, len(runs))
		for _, r := range runs {
			c := &cursor{run: r}
			if c.next(&err) {
				cursors = append(cursors, c)
			}
		}
		for len(cursors) > 0 && err == nil {
			// There are at most a few handfuls of runs, so looking at each is quick enough.
			least := 0
			for i := range cursors {
				if compareEntries(cursors[i].entry, cursors[least].entry) < 0 {
					least = i
				}
			}
			if !yield(cursors[least].entry) {
				return
			}
			if !cursors[least].next(&err) {
				cursors = slices.Delete(cursors, least, least+1)
			}
		}
	}
	return seq, func() error { return err }
}

// A cursor walks through a run.
type cursor struct {
	run   *run
	page  int    // the next to be read
	rest  []byte // entries of the page before that are still to come
	buf   [pageSize]byte
	entry entry
}

// next moves to the next entry. It returns false at the end and on an error, which it puts in err.
func (c *cursor) next(err *error) bool {
	if len(c.rest) == 0 {
		if c.page == len(c.run.fences) {
			return false
		}
		rest, rerr := c.run.readPage(c.page, &c.buf)
		if rerr != nil {
			*err = rerr
			return false
		}
		c.page++
		c.rest = rest
	}
	c.entry = entry{ID(c.rest), be64(c.rest[16:])}
	c.rest = c.rest[entrySize:]
	return true
}

func (r *run) close() error { return r.file.Close() }

// remove closes the run and deletes its file.
func (r *run) remove() error {
	return errors.Join(r.file.Close(), os.Remove(r.path))
}
