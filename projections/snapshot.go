package projections

import (
	"bufio"
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"maps"
	"math"
	"slices"

	"latewood/events"
)

// A snapshot is a Book written down, so that a start need not read the whole ledger. It is a cache: whatever does not fit
// is thrown away and folded anew. The format, little-endian, lengths as unsigned varints:
//
//	"latewood book 1\n"
//	origin (text), size (8 bytes), root (32 bytes): of the ledger when it was written
//	records: count, then for each its place (8 bytes) and its canonical bytes (length, bytes)
//	stations: count, then for each its code and its months: count, then month number, rows, times, ids, intervals, and
//	          for each element a byte 0 or 1 and the column
//	states: count, then for each fold name, fold version, key class, key code, JSON
//	SHA-256 of everything before
const snapshotMagic = "latewood book 1\n"

// A Mark says which ledger a snapshot is of, and how far.
type Mark struct {
	Origin string   // names the ledger: a snapshot of another one is of no use
	Size   uint64   // records
	Root   [32]byte // of the Merkle tree at that size
}

// ErrSnapshot says that a snapshot cannot be used: damaged, of another ledger, or written by another version.
var ErrSnapshot = errors.New("projections: this snapshot cannot be used")

// Save writes the Book and the states of folds that are up to date.
func (b *Book) Save(w io.Writer, mark Mark, folds []*Fold) error {
	if mark.Size != b.size {
		return fmt.Errorf("projections: a snapshot at %d of a book of %d records", mark.Size, b.size)
	}
	sum := sha256.New()
	out := &writer{w: bufio.NewWriterSize(io.MultiWriter(w, sum), 1<<16)}
	out.raw([]byte(snapshotMagic))
	out.text(mark.Origin)
	out.fixed(mark.Size)
	out.raw(mark.Root[:])
	b.saveRecords(out)
	b.saveStations(out)
	if err := b.saveStates(out, folds); err != nil {
		return err
	}
	if out.err == nil {
		out.err = out.w.Flush()
	}
	if out.err != nil {
		return out.err
	}
	_, err := w.Write(sum.Sum(nil))
	return err
}

func (b *Book) saveRecords(out *writer) {
	var records []*events.Record
	for _, f := range b.facts {
		if f.Record.Body != nil { // a lifted reading has its row in the columns
			records = append(records, f.Record)
		}
	}
	for _, vs := range b.versions {
		for _, v := range vs {
			records = append(records, v.record)
		}
	}
	slices.SortFunc(records, func(x, y *events.Record) int {
		if x.Place < y.Place {
			return -1
		}
		return 1
	})
	out.number(uint64(len(records)))
	for _, r := range records {
		out.fixed(r.Place)
		out.text(string(r.Body))
	}
}

func (b *Book) saveStations(out *writer) {
	out.number(uint64(len(b.stations)))
	for _, code := range slices.Sorted(maps.Keys(b.stations)) {
		s := b.stations[code]
		out.text(code)
		out.number(uint64(len(s.months)))
		for _, k := range slices.Sorted(maps.Keys(s.months)) {
			m := s.months[k]
			m.sort()
			out.fixed(uint64(k))
			out.number(uint64(len(m.Times)))
			out.data(m.Times)
			for _, id := range m.IDs {
				out.raw(id[:])
			}
			out.data(m.Interval)
			for _, col := range m.Cols {
				if col == nil {
					out.raw([]byte{0})
					continue
				}
				out.raw([]byte{1})
				out.data(col)
			}
		}
	}
}

func (b *Book) saveStates(out *writer, folds []*Fold) error {
	type state struct {
		fold *Fold
		key  Key
		json []byte
	}
	var states []state
	for _, f := range folds {
		for _, code := range b.Keys(f.Class) {
			ck := cacheKey{f.Name, Key{f.Class, code}}
			if b.dirty[ck.key] {
				continue
			}
			if stored, ok := b.loaded[ck]; ok {
				states = append(states, state{f, ck.key, stored})
			} else if s, ok := b.cache[ck]; ok {
				j, err := events.WriteJSON(s)
				if err != nil {
					return fmt.Errorf("projections: state of %s for %s: %w", f.Name, ck.key, err)
				}
				states = append(states, state{f, ck.key, j})
			}
		}
	}
	out.number(uint64(len(states)))
	for _, s := range states {
		out.text(s.fold.Name)
		out.number(uint64(s.fold.Version))
		out.text(s.key.Class)
		out.text(s.key.Code)
		out.text(string(s.json))
	}
	return nil
}

// Load reads a snapshot. The caller checks the mark against the ledger before it trusts the Book.
func Load(r io.Reader, cat *events.Catalogue, folds []*Fold) (*Book, Mark, error) {
	book, mark, err := load(r, cat, folds)
	if err != nil {
		return nil, Mark{}, fmt.Errorf("%w: %w", ErrSnapshot, err)
	}
	return book, mark, nil
}

func load(r io.Reader, cat *events.Catalogue, folds []*Fold) (*Book, Mark, error) {
	whole, err := io.ReadAll(r)
	if err != nil {
		return nil, Mark{}, err
	}
	if len(whole) < len(snapshotMagic)+sha256.Size {
		return nil, Mark{}, errors.New("too short")
	}
	body, sum := whole[:len(whole)-sha256.Size], whole[len(whole)-sha256.Size:]
	if got := sha256.Sum256(body); string(got[:]) != string(sum) {
		return nil, Mark{}, errors.New("its checksum is wrong")
	}
	in := &reader{b: body}
	if string(in.raw(len(snapshotMagic))) != snapshotMagic {
		return nil, Mark{}, errors.New("another format")
	}
	var mark Mark
	mark.Origin = in.text()
	mark.Size = in.fixed()
	copy(mark.Root[:], in.raw(32))
	b := NewBook(cat)
	type stored struct {
		place uint64
		body  []byte
	}
	records := make([]stored, 0, 1024)
	for n := in.number(); n > 0 && in.err == nil; n-- {
		records = append(records, stored{in.fixed(), in.bytes()})
	}
	b.loadStations(in)
	for _, s := range records {
		if in.err != nil {
			break
		}
		rec, err := events.ParseRecord(s.place, s.body)
		if err != nil {
			return nil, Mark{}, err
		}
		if err := b.Add(rec); err != nil {
			return nil, Mark{}, err
		}
	}
	clear(b.dirty)
	b.loadStates(in, folds)
	if in.err != nil {
		return nil, Mark{}, in.err
	}
	b.size = mark.Size
	return b, mark, nil
}

func (b *Book) loadStations(in *reader) {
	for n := in.number(); n > 0 && in.err == nil; n-- {
		s := b.series(in.text())
		for k := in.number(); k > 0 && in.err == nil; k-- {
			month := int(in.fixed())
			rows := in.count(8)
			m := &Month{sorted: true, Times: make([]int64, rows), IDs: make([]events.ID, rows), Interval: make([]int32, rows)}
			in.data(m.Times, 8*rows)
			for i := range m.IDs {
				copy(m.IDs[i][:], in.raw(16))
			}
			in.data(m.Interval, 4*rows)
			for e := range m.Cols {
				if flag := in.raw(1); len(flag) == 1 && flag[0] == 1 {
					m.Cols[e] = make([]float64, rows)
					in.data(m.Cols[e], 8*rows)
				}
			}
			s.months[month] = m
			s.rows += rows
		}
	}
}

func (b *Book) loadStates(in *reader, folds []*Fold) {
	for n := in.number(); n > 0 && in.err == nil; n-- {
		name, version := in.text(), int(in.number())
		key := Key{in.text(), in.text()}
		state := in.bytes()
		known := slices.ContainsFunc(folds, func(f *Fold) bool {
			return f.Name == name && f.Version == version && f.Class == key.Class
		})
		if known {
			b.loaded[cacheKey{name, key}] = state
		}
	}
}

// writer writes and remembers the first error.
type writer struct {
	w   *bufio.Writer
	err error
}

func (w *writer) raw(b []byte) {
	if w.err == nil {
		_, w.err = w.w.Write(b)
	}
}
func (w *writer) number(n uint64) { w.raw(binary.AppendUvarint(nil, n)) }
func (w *writer) fixed(n uint64)  { w.raw(binary.LittleEndian.AppendUint64(nil, n)) }
func (w *writer) text(s string) {
	w.number(uint64(len(s)))
	w.raw([]byte(s))
}
func (w *writer) data(v any) {
	if w.err == nil {
		w.err = binary.Write(w.w, binary.LittleEndian, v)
	}
}

// reader reads from memory and remembers the first error.
type reader struct {
	b   []byte
	err error
}

var errShort = errors.New("it ends early")

func (r *reader) raw(n int) []byte {
	if r.err != nil || n < 0 || n > len(r.b) {
		r.err = errShort
		return make([]byte, min(max(n, 0), 64))
	}
	out := r.b[:n:n]
	r.b = r.b[n:]
	return out
}
func (r *reader) number() uint64 {
	n, used := binary.Uvarint(r.b)
	if used <= 0 {
		r.err = errShort
		return 0
	}
	r.b = r.b[used:]
	return n
}
func (r *reader) fixed() uint64 { return binary.LittleEndian.Uint64(r.raw(8)) }
func (r *reader) bytes() []byte { return r.raw(r.count(1)) }
func (r *reader) text() string  { return string(r.bytes()) }

// count reads a number of items of some bytes each, and refuses more than there are bytes left for.
func (r *reader) count(size int) int {
	n := r.number()
	if n > uint64(len(r.b)/size) {
		r.err = errShort
		return 0
	}
	return int(n)
}

func (r *reader) data(into any, size int) {
	b := r.raw(size)
	if r.err != nil {
		return
	}
	switch s := into.(type) {
	case []int64:
		for i := range s {
			s[i] = int64(binary.LittleEndian.Uint64(b[8*i:]))
		}
	case []int32:
		for i := range s {
			s[i] = int32(binary.LittleEndian.Uint32(b[4*i:]))
		}
	case []float64:
		for i := range s {
			s[i] = math.Float64frombits(binary.LittleEndian.Uint64(b[8*i:]))
		}
	}
}
