package archive

import (
	"bytes"
	"context"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"latewood/events/ledger"
	"latewood/events/ledger/proof"
)

// A Report is what Check found.
type Report struct {
	Size        uint64      // under the newest checkpoint that a known key signed
	Root        ledger.Hash // of that checkpoint
	Checkpoints int         // in the history, good or not
	Unsealed    int         // whole records in the tail behind the newest checkpoint
	Torn        int         // bytes of the tail behind its last whole record: what a crash leaves, no finding
	Bytes       int64       // bytes of records hashed
	Findings    []Finding
}

// OK says whether everything is as it was sealed.
func (r Report) OK() bool { return len(r.Findings) == 0 }

// Check holds every file of the archive in dir against the newest checkpoint: every record is hashed, every tile made
// again and compared, every checkpoint of the history opened and its root computed anew. It only reads, needs nothing but
// the files, and believes none of them. An archive that is open may be checked as long as nothing is published meanwhile.
// The error is about reading, or ctx; what is wrong with the files stands in the report.
//
// How it tells which file is wrong: the hash over a full bundle can be computed from its records, read from its tile of
// hashes, and read from the tile above. Where two of the three agree, they are taken; where none do, all ways are tried. If
// the root that follows is the signed one, what was taken is right and everything else is named. If no way leads to
// the signed root, that is said (Unproven), and nothing can be told apart.
func Check(ctx context.Context, dir string, opt Options) (Report, error) {
	s := scan{ctx: ctx, dir: dir, opt: opt}
	if err := s.run(); err != nil {
		return Report{}, err
	}
	return s.report, nil
}

// scan is one run of Check, with what Repair needs of it.
type scan struct {
	ctx context.Context
	dir string
	opt Options

	report  Report
	newest  proof.Signed
	history []mark
	damaged bool // the history has pieces that are no good checkpoint

	base   uint64        // of the tail
	tail   [][]byte      // its records, nil where one cannot be read
	parted [][]byte      // the records of the partial bundle that the newest checkpoint needs, as far as they can be read
	told   []ledger.Hash // the hashes of those, as their tile has them; nil where it cannot be read
	leaves []ledger.Hash // the hashes of last
	held   []bundleScan  // the full bundles under the newest checkpoint
	full   proof.Hashes  // over what was chosen of them
	last   [][]byte      // the records behind the full bundles, as chosen; nil where there is none
	proven bool
}

// A mark is one checkpoint of the history.
type mark struct {
	note   []byte
	signed proof.Signed
	fault  Fault // empty if it was opened
}

// bundleScan is what the files say of one full bundle.
type bundleScan struct {
	records, hashes, above voice // from its records, from its tile of level 0, from the tile above
	broken                 bool  // the file of the records is there and cannot be read as one
	gone, goneTile         bool  // the files are not there
	bytes                  int64
	parts                  map[uint64]ledger.Hash // roots over its first records, for checkpoints of the history that end there
	chosen                 ledger.Hash
}

// A voice is a hash that somebody names, or nothing.
type voice struct {
	hash ledger.Hash
	ok   bool
}

func (v voice) says(h ledger.Hash) bool { return v.ok && v.hash == h }

func (s *scan) found(file string, fault Fault, places ...Span) {
	s.report.Findings = append(s.report.Findings, Finding{file, fault, places})
}

// read reads a file; ok is false if it is not there.
func (s *scan) read(name string) (b []byte, ok bool, err error) {
	b, err = os.ReadFile(filepath.Join(s.dir, filepath.FromSlash(name)))
	if errors.Is(err, fs.ErrNotExist) {
		return nil, false, nil
	}
	if err != nil {
		return nil, false, store("reading", name, err)
	}
	return b, true, s.ctx.Err()
}

func (s *scan) run() error {
	for _, step := range []func() error{s.readCheckpoints, s.readTail, s.readBundles, s.choose, s.judgeBundles, s.judgeTail, s.judgeTiles, s.judgeHistory} {
		if err := step(); err != nil {
			return err
		}
	}
	return nil
}

func (s *scan) readCheckpoints() error {
	current, there, err := s.read(checkpointName)
	if err != nil {
		return err
	}
	content, thereHistory, err := s.read(historyName)
	if err != nil {
		return err
	}
	pieces, _ := parseHistory(content)
	s.history = make([]mark, len(pieces))
	if err := s.openHistory(pieces); err != nil {
		return err
	}
	s.report.Checkpoints = len(s.history)
	if there {
		m := s.open(current)
		switch {
		case m.fault != "":
			s.found(checkpointName, m.fault)
		case m.signed.Size > s.newest.Size || s.newest.Note == nil:
			s.newest = m.signed
			if thereHistory {
				s.found(historyName, Damaged)
			} else {
				s.found(historyName, Missing)
			}
			s.damaged = true
		case m.signed.Size == s.newest.Size && m.signed.Root != s.newest.Root:
			s.found(checkpointName, Diverges)
		}
	} else if len(s.history) > 1 {
		s.found(checkpointName, Missing) // after the first, a crash cannot take it away
	}
	s.report.Size, s.report.Root = s.newest.Size, s.newest.Root
	return nil
}

func (s *scan) openHistory(pieces []piece) error {
	if len(pieces) == 0 {
		return nil
	}
	ctx, cancel := context.WithCancel(s.ctx)
	marks := ahead(ctx, 0, uint64(len(pieces))-1, func(n uint64) (mark, error) { return s.open(pieces[n].note), nil })
	defer marks.wait()
	defer cancel()
	for n := range s.history {
		m, err := marks.next()
		if err != nil {
			return err
		}
		s.history[n] = m
		switch {
		case m.fault != "":
			s.found(historyName+"#"+strconv.Itoa(n+1), m.fault)
			s.damaged = true
		case m.signed.Size >= s.newest.Size:
			s.newest = m.signed
		}
	}
	return nil
}

func (s *scan) open(note []byte) mark {
	m := mark{note: note}
	var unsigned *proof.UnsignedError
	var err error
	if m.signed, err = proof.OpenCheckpoint(note, s.opt.Origin, s.opt.Keys...); errors.As(err, &unsigned) {
		m.fault = Unsigned
	} else if err != nil {
		m.fault = Damaged
	}
	return m
}

func (s *scan) readTail() error {
	b, there, err := s.read(tailName)
	if err != nil {
		return err
	}
	base, bodies, good, err := parseTail(b)
	s.base = s.newest.Size / width * width
	switch {
	case !there && s.newest.Note == nil:
		s.found(tailName, Missing)
	case !there:
		s.found(tailName, Missing, s.sealedTail()...)
	case err != nil || base > s.newest.Size:
		s.found(tailName, Damaged, s.sealedTail()...)
	default:
		s.base, s.tail = base, bodies
		s.report.Torn = len(b) - good
		// Behind a damaged record others may be whole.
		loose, err := Salvage(s.dir)
		if err != nil {
			return err
		}
		for _, e := range loose {
			if i := e.Place - 1 - base; i >= uint64(len(s.tail)) {
				for uint64(len(s.tail)) < i {
					s.tail = append(s.tail, nil)
				}
				s.tail = append(s.tail, e.Body)
			}
		}
		s.report.Unsealed = max(0, int(base)+len(bodies)-int(s.newest.Size))
	}
	return nil
}

// sealedTail is the sealed records that a tail must hold.
func (s *scan) sealedTail() []Span {
	if n := s.newest.Size; n%width > 0 {
		return []Span{{n/width*width + 1, n}}
	}
	return nil
}

// readBundles reads and hashes all full bundles and their tiles, on all processors.
func (s *scan) readBundles() error {
	n := s.newest.Size / width
	cuts := map[uint64][]uint64{} // bundle: how many of its records checkpoints end at
	for _, m := range s.history {
		if k := m.signed.Size % width; m.fault == "" && k > 0 && m.signed.Size < n*width {
			cuts[m.signed.Size/width] = append(cuts[m.signed.Size/width], k)
		}
	}
	s.held = make([]bundleScan, n)
	if n == 0 {
		return nil
	}
	ctx, cancel := context.WithCancel(s.ctx)
	runs := ahead(ctx, 0, n-1, func(i uint64) (bundleScan, error) { return s.readBundle(i, cuts[i]) })
	defer runs.wait()
	defer cancel()
	var err error
	for i := range s.held {
		if s.held[i], err = runs.next(); err != nil {
			return err
		}
		s.report.Bytes += s.held[i].bytes
	}
	for k := uint64(0); k*width < n; k++ {
		t := tile{1, k, int(min(n-k*width, width))}
		b, _, err := s.read(t.name())
		if err != nil {
			return err
		}
		if hashes, err := parseHashes(b, t.w); err == nil {
			for i, h := range hashes {
				s.held[k*width+uint64(i)].above = voice{h, true}
			}
		}
	}
	return nil
}

func (s *scan) readBundle(n uint64, cuts []uint64) (bundleScan, error) {
	var out bundleScan
	b, there, err := s.read(tile{entries, n, width}.name())
	if err != nil {
		return out, err
	}
	out.gone = !there
	var leaves []ledger.Hash
	bodies, err := parseBundle(b, width)
	if err == nil {
		leaves = leavesOf(bodies)
		out.records = voice{fold(leaves), true}
		out.bytes = int64(len(b) - 2*width)
	} else {
		out.broken = there
	}
	b, there, err = s.read(tile{0, n, width}.name())
	if err != nil {
		return out, err
	}
	out.goneTile = !there
	if hashes, err := parseHashes(b, width); err == nil {
		out.hashes = voice{fold(hashes), true}
		if leaves == nil {
			leaves = hashes
		}
	}
	if leaves == nil || len(cuts) == 0 {
		return out, nil
	}
	out.parts = map[uint64]ledger.Hash{}
	var f ledger.Frontier
	slices.Sort(cuts)
	for i, leaf := range leaves {
		f.Append(leaf)
		if _, ok := slices.BinarySearch(cuts, uint64(i)+1); ok {
			out.parts[uint64(i)+1] = f.Root()
		}
	}
	return out, nil
}

// maxTried is how many ways are tried where files do not agree.
const maxTried = 243

// choose decides which hash of each bundle, and which records behind them, are taken, so that the signed root follows.
func (s *scan) choose() error {
	if s.newest.Note == nil {
		return nil
	}
	if err := s.readEdge(); err != nil {
		return err
	}
	var open []int // bundles of which no two voices agree
	for i := range s.held {
		b := &s.held[i]
		voices := []voice{b.above, b.records, b.hashes}
		switch {
		case b.records.ok && (b.hashes.says(b.records.hash) || b.above.says(b.records.hash)):
			b.chosen = b.records.hash
		case b.hashes.ok && b.above.says(b.hashes.hash):
			b.chosen = b.hashes.hash
		default:
			open = append(open, i)
			for _, v := range slices.Backward(voices) {
				if v.ok {
					b.chosen = v.hash
				}
			}
		}
	}
	ways := 1
	for range open {
		if ways *= 3; ways > maxTried {
			ways = 1
			break
		}
	}
	for way := range ways {
		for _, i := range open {
			b := &s.held[i]
			if v := []voice{b.above, b.records, b.hashes}[way%3]; v.ok && ways > 1 {
				b.chosen = v.hash
			}
			way /= 3
		}
		s.full = proof.Hashes{}
		for i := range s.held {
			s.full.Append(s.held[i].chosen)
		}
		for _, last := range s.edges() {
			s.last = last
			s.leaves = leavesOf(last)
			if root, err := s.root(); err == nil && root == s.newest.Root {
				s.proven = true
				return nil
			}
		}
	}
	s.found(checkpointName, Unproven, Span{1, s.newest.Size})
	return nil
}

// readEdge reads the partial bundle of the newest checkpoint, and its tile.
func (s *scan) readEdge() error {
	w := int(s.newest.Size % width)
	if w == 0 {
		return nil
	}
	b, _, err := s.read(tile{entries, s.newest.Size / width, w}.name())
	if err != nil {
		return err
	}
	s.parted, _ = parseBundle(b, w)
	b, _, err = s.read(tile{0, s.newest.Size / width, w}.name())
	if err != nil {
		return err
	}
	s.told, _ = parseHashes(b, w)
	return nil
}

// edges gives what the records behind the full bundles may be: from the tail where it can be read, from the partial
// bundle, and, one by one, what fits the partial tile.
func (s *scan) edges() [][][]byte {
	w := int(s.newest.Size % width)
	if w == 0 {
		return [][][]byte{nil}
	}
	tail, parted := make([][]byte, w), make([][]byte, w)
	for i := range tail {
		if at := s.newest.Size/width*width - s.base + uint64(i); at < uint64(len(s.tail)) {
			tail[i] = s.tail[at]
		}
	}
	copy(parted, s.parted)
	first, second, third := slices.Clone(tail), slices.Clone(parted), make([][]byte, w)
	for i := range w {
		if first[i] == nil {
			first[i] = parted[i]
		}
		if second[i] == nil {
			second[i] = tail[i]
		}
		for _, body := range [][]byte{tail[i], parted[i]} {
			if body != nil && (third[i] == nil || len(s.told) == w && ledger.LeafHash(body) == s.told[i]) {
				third[i] = body
			}
		}
	}
	return [][][]byte{first, second, third}
}

// root is the root over what is chosen. There is none where a record is missing.
func (s *scan) root() (ledger.Hash, error) {
	if slices.ContainsFunc(s.last, func(b []byte) bool { return b == nil }) {
		return ledger.Hash{}, ErrNoCheckpoint
	}
	var c core
	c.full, c.base, c.leaves = s.full, s.full.Size()*width, s.leaves
	return c.RootAt(s.newest.Size)
}

// judgeBundles names the bundles and tiles of level 0 that do not hold what was chosen.
func (s *scan) judgeBundles() error {
	for i := range s.held {
		b, n := &s.held[i], uint64(i)
		records, hashes := tile{entries, n, width}, tile{0, n, width}
		switch {
		case b.gone:
			s.found(records.name(), Missing, records.places())
		case !b.records.says(b.chosen) && (s.proven || !b.records.ok):
			places := []Span{records.places()}
			if b.hashes.says(b.chosen) {
				body, _, err := s.read(records.name())
				if err != nil {
					return err
				}
				content, _, err := s.read(hashes.name())
				if err != nil {
					return err
				}
				bodies, _ := parseBundle(body, width)
				if good, err := parseHashes(content, width); err == nil {
					places = spansOf(differ(leavesOf(bodies), good, n*width+1))
				}
			}
			s.found(records.name(), Damaged, places...)
		}
		switch {
		case b.goneTile:
			s.found(hashes.name(), Missing)
		case !b.hashes.says(b.chosen) && (s.proven || !b.hashes.ok):
			s.found(hashes.name(), Damaged)
		}
	}
	return nil
}

// judgeTail names the sealed records that the tail does not hold as they were sealed.
func (s *scan) judgeTail() error {
	if !s.proven || s.tail == nil && s.report.hasFile(tailName) {
		return nil
	}
	var places []uint64
	for place := s.base + 1; place <= s.newest.Size; place++ {
		var body []byte
		if i := place - 1 - s.base; i < uint64(len(s.tail)) {
			body = s.tail[i]
		}
		edge := s.newest.Size / width * width
		good := body != nil
		if good && place > edge {
			good = ledger.LeafHash(body) == s.leaves[place-1-edge]
		}
		if !good {
			places = append(places, place)
		}
	}
	if len(places) > 0 {
		s.found(tailName, Damaged, spansOf(places)...)
	}
	return nil
}

func (r *Report) hasFile(name string) bool {
	return slices.ContainsFunc(r.Findings, func(f Finding) bool { return f.File == name })
}

// content is what a tile must hold; ok is false where that is not known or the tile lies beyond the newest checkpoint.
func (s *scan) content(t tile) (b []byte, ok bool) {
	end := t.n*width + uint64(t.w)
	if !s.proven || end > s.newest.Size>>(max(t.level, 0)*height) {
		return nil, false
	}
	switch edge := s.newest.Size / width; {
	case t.level > 0:
		c := core{full: s.full}
		return appendHashes(nil, c.row(t.level, t.n, t.w)), true
	case t.n < edge:
		return nil, false // looked at in judgeBundles, or a partial one that is to be compared with the full one
	case t.level == 0:
		return appendHashes(nil, s.leaves[:t.w]), true
	default:
		return appendBundle(nil, s.last[:t.w]), true
	}
}

// judgeTiles looks at every file below tile, and at every one that should be there.
func (s *scan) judgeTiles() error {
	want := map[string]bool{}
	for _, t := range edge(s.newest.Size) {
		want[t.name()] = true
	}
	for level := 1; s.newest.Size>>(level*height) >= width; level++ {
		for n := range s.newest.Size >> ((level + 1) * height) {
			want[tile{level, n, width}.name()] = true
		}
	}
	there, err := s.list()
	if err != nil {
		return err
	}
	for _, name := range there {
		t, ok := parseTile(name)
		switch {
		case !ok && !strings.HasSuffix(name, ".tmp"):
			s.found(name, Unexpected)
		case !ok:
		default:
			if err := s.judgeTile(t); err != nil {
				return err
			}
		}
		delete(want, name)
	}
	var missing []string
	for name := range want {
		missing = append(missing, name)
	}
	slices.Sort(missing)
	for _, name := range missing {
		s.found(name, Missing)
	}
	return nil
}

// list gives the names of all files below tile, in order.
func (s *scan) list() ([]string, error) {
	var names []string
	err := filepath.WalkDir(filepath.Join(s.dir, "tile"), func(p string, d fs.DirEntry, err error) error {
		switch {
		case errors.Is(err, fs.ErrNotExist):
			return nil
		case err != nil:
			return err
		case !d.IsDir():
			rel, err := filepath.Rel(s.dir, p)
			if err != nil {
				return err
			}
			names = append(names, filepath.ToSlash(rel))
		}
		return s.ctx.Err()
	})
	if err != nil {
		return nil, store("reading", "tile", err)
	}
	slices.Sort(names)
	return names, nil
}

func (s *scan) judgeTile(t tile) error {
	want, ok := s.content(t)
	if !ok && s.proven && t.w < width && t.level < 1 && t.n < s.newest.Size/width {
		// A partial one from before its bundle was full: it is the beginning of the full one.
		full, there, err := s.read(tile{t.level, t.n, width}.name())
		if err != nil || !there {
			return err
		}
		if t.level == 0 {
			want, ok = full[:min(len(full), t.w*hashSize)], true
		} else if bodies, _ := parseBundle(full, width); len(bodies) >= t.w {
			want, ok = appendBundle(nil, bodies[:t.w]), true
		}
	}
	if !ok {
		return nil
	}
	have, _, err := s.read(t.name())
	if err != nil {
		return err
	}
	if !bytes.Equal(have, want) {
		s.found(t.name(), Damaged)
	}
	return nil
}

// judgeHistory computes the root at each checkpoint anew.
func (s *scan) judgeHistory() error {
	if !s.proven {
		return nil
	}
	c := core{full: s.full, base: s.full.Size() * width, leaves: s.leaves, fetch: local(s.dir)}
	c.tiles.most = keepTiles
	var spine ledger.Frontier // over the bundles
	order := make([]int, len(s.history))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int {
		x, y := s.history[a].signed.Size, s.history[b].signed.Size
		switch {
		case x < y:
			return -1
		case x > y:
			return 1
		}
		return 0
	})
	for _, i := range order {
		m := &s.history[i]
		if m.fault != "" {
			continue
		}
		n, k := m.signed.Size/width, m.signed.Size%width
		for spine.Size() < n {
			spine.Append(s.held[spine.Size()].chosen)
		}
		var root ledger.Hash
		switch {
		case k == 0:
			root = spine.Root()
		case n == uint64(len(s.held)):
			f := spine.Clone()
			var part ledger.Frontier
			for _, leaf := range s.leaves[:k] {
				part.Append(leaf)
			}
			f.Append(part.Root())
			root = f.Root()
		default:
			b := &s.held[n]
			part, ok := b.parts[k]
			if !ok || !b.records.says(b.chosen) && (b.records.ok || !b.hashes.says(b.chosen)) {
				// What the parts were made of is damaged. The other file may be good.
				r, err := c.RootAt(m.signed.Size)
				if err != nil {
					continue // the damage is named already
				}
				root = r
				break
			}
			// The right-hand part joins the larger trees on its left one by one, as a bundle of its own would.
			f := spine.Clone()
			f.Append(part)
			root = f.Root()
		}
		if root != m.signed.Root {
			m.fault = Diverges
			s.found(historyName+"#"+strconv.Itoa(i+1), Diverges)
		}
	}
	return nil
}
