package archive

import (
	"context"
	"fmt"
	"iter"
	"slices"

	"latewood/events/ledger"
	"latewood/events/ledger/proof"
)

// A Source hands out records by place, as ledger.Log.Read does: the ledger's stream, or another archive. It is not
// believed; what it gives is held against the tree.
type Source func(ctx context.Context, first, last uint64) iter.Seq2[ledger.Entry, error]

// Repair mends the archive in dir, which nobody may have open, and gives the report of a Check afterwards. Tiles of
// hashes are made again from the records. Records that are damaged are taken from source, which may be nil if none are;
// record by record whichever of the two fits the tree. Before anything is written, the root over all that will stand there
// has been computed and is that of the newest checkpoint. If it cannot be reached, nothing is written, and the error is a
// *DamageError with what is lost.
//
// A checkpoint of the history that is damaged cannot be made again. It is left out, and the old file is kept beside the
// new one as checkpoints.damaged. A checkpoint that diverges stays: it is evidence.
//
// The order of writing is that of Publish. A crash in between leaves an archive that is as damaged as before or less.
func Repair(ctx context.Context, dir string, opt Options, source Source) (Report, error) {
	s := scan{ctx: ctx, dir: dir, opt: opt}
	if err := s.run(); err != nil {
		return Report{}, err
	}
	if s.report.OK() {
		return s.report, nil
	}
	if s.newest.Note == nil {
		return s.report, fmt.Errorf("archive: repairing: %w", ErrNoCheckpoint)
	}
	m := mending{scan: &s, source: source, files: files{dir: dir}, bundles: map[uint64][][]byte{}}
	if err := m.gather(); err != nil {
		return s.report, err
	}
	if err := m.writeAll(); err != nil {
		return s.report, err
	}
	return Check(ctx, dir, opt)
}

type mending struct {
	*scan
	files
	source  Source
	bundles map[uint64][][]byte // the records of the full bundles that are to be written again
}

// gather collects the records of every bundle whose file is not as it was sealed, and proves that with them the signed
// root follows.
func (m *mending) gather() error {
	var lost []uint64
	for i := range m.held {
		b, n := &m.held[i], uint64(i)
		if m.proven && b.records.says(b.chosen) {
			continue
		}
		bodies, gone, err := m.mend(n, b)
		if err != nil {
			return err
		}
		lost = append(lost, gone...)
		if len(gone) > 0 {
			continue
		}
		if hash := fold(leavesOf(bodies)); !b.records.says(hash) || m.proven {
			m.bundles[n] = bodies
			b.chosen = hash
		}
	}
	gone, err := m.mendEdge()
	if err != nil {
		return err
	}
	if lost = append(lost, gone...); len(lost) > 0 {
		return &DamageError{[]Finding{{"tile/entries", Missing, spansOf(lost)}}}
	}
	m.full = proof.Hashes{}
	for i := range m.held {
		m.full.Append(m.held[i].chosen)
	}
	m.leaves = leavesOf(m.last)
	if root, err := m.root(); err != nil || root != m.newest.Root {
		return &DamageError{[]Finding{{checkpointName, Unproven, []Span{{1, m.newest.Size}}}}}
	}
	m.proven = true
	return nil
}

// mend puts the records of one full bundle together, and says which cannot be had.
func (m *mending) mend(n uint64, b *bundleScan) ([][]byte, []uint64, error) {
	content, _, err := m.read(tile{entries, n, width}.name())
	if err != nil {
		return nil, nil, err
	}
	have, _ := parseBundle(content, width)
	content, _, err = m.read(tile{0, n, width}.name())
	if err != nil {
		return nil, nil, err
	}
	// Only hashes that fit the hash above say which record is the good one.
	good, err := parseHashes(content, width)
	if err != nil || !b.above.says(fold(good)) && !(m.proven && b.hashes.says(b.chosen)) {
		good = nil
	}
	brought := make([][]byte, width)
	if good == nil || len(differ(leavesOf(have), good, 1)) > 0 {
		if brought, err = m.bring(n*width+1, (n+1)*width); err != nil {
			return nil, nil, err
		}
	}
	bodies := make([][]byte, width)
	var lost []uint64
	for i := range bodies {
		var mine []byte
		if i < len(have) {
			mine = have[i]
		}
		bodies[i] = better(mine, brought[i], good, i)
		if bodies[i] == nil {
			lost = append(lost, n*width+uint64(i)+1)
		}
	}
	return bodies, lost, nil
}

// better chooses between the archive's record and the source's: the one that fits, or, where no hash tells, the
// source's, since it is the archive's file that is known to be damaged. Nil if neither will do.
func better(mine, brought []byte, good []ledger.Hash, i int) []byte {
	if good == nil {
		if brought != nil {
			return brought
		}
		return mine
	}
	for _, body := range [][]byte{mine, brought} {
		if body != nil && ledger.LeafHash(body) == good[i] {
			return body
		}
	}
	return nil
}

// bring asks the source for records. What it cannot give is nil.
func (m *mending) bring(first, last uint64) ([][]byte, error) {
	out := make([][]byte, last-first+1)
	if m.source == nil {
		return out, nil
	}
	// Behind a hole the source stops, so it is asked again behind it.
	for next := first; next <= last; {
		for e, err := range m.source(m.ctx, next, last) {
			if err != nil {
				break
			}
			if e.Place >= first && e.Place <= last && len(e.Body) > 0 && len(e.Body) <= MaxEntry {
				out[e.Place-first] = e.Body
			}
			next = max(next, e.Place)
		}
		next++
		if err := m.ctx.Err(); err != nil {
			return nil, err
		}
	}
	return out, nil
}

// mendEdge puts the records behind the full bundles together.
func (m *mending) mendEdge() ([]uint64, error) {
	w := m.newest.Size % width
	if w == 0 || m.proven {
		return nil, nil
	}
	first := m.newest.Size - w + 1
	brought, err := m.bring(first, m.newest.Size)
	if err != nil {
		return nil, err
	}
	var good []ledger.Hash
	if uint64(len(m.told)) == w {
		good = m.told // nobody vouches for them yet
	}
	edges := m.edges()
	m.last = make([][]byte, w)
	var lost []uint64
	for i := range m.last {
		mine := edges[2][i]
		m.last[i] = better(mine, brought[i], good, i)
		if m.last[i] == nil { // perhaps it is the hash that is wrong
			m.last[i] = better(mine, brought[i], nil, i)
		}
		if m.last[i] == nil {
			lost = append(lost, first+uint64(i))
		}
	}
	return lost, nil
}

// writeAll writes every file that was named, and those that follow from them.
func (m *mending) writeAll() error {
	var names []string
	put := func(t tile, content []byte) error {
		names = append(names, t.name())
		return m.put(t.name(), content)
	}
	again := map[uint64]bool{} // tiles of level 0 that are to be made from the records
	for n, bodies := range m.bundles {
		if err := put(tile{entries, n, width}, appendBundle(nil, bodies)); err != nil {
			return err
		}
		again[n] = true
	}
	for i := range m.held {
		if b := &m.held[i]; !b.hashes.says(b.chosen) {
			again[uint64(i)] = true
		}
	}
	for n := range again {
		bodies := m.bundles[n]
		if bodies == nil {
			content, _, err := m.read(tile{entries, n, width}.name())
			if err != nil {
				return err
			}
			if bodies, err = parseBundle(content, width); err != nil {
				return err
			}
		}
		if err := put(tile{0, n, width}, appendHashes(nil, leavesOf(bodies))); err != nil {
			return err
		}
	}
	for level := 1; m.newest.Size>>(level*height) >= width; level++ {
		for n := range m.newest.Size >> ((level + 1) * height) {
			if err := m.putOther(tile{level, n, width}, put); err != nil {
				return err
			}
		}
	}
	for _, t := range edge(m.newest.Size) {
		if err := m.putOther(t, put); err != nil {
			return err
		}
	}
	if err := m.dropPartial(); err != nil {
		return err
	}
	if err := m.syncNames(names); err != nil {
		return err
	}
	if err := m.writeHistory(); err != nil {
		return err
	}
	if current, _, err := m.read(checkpointName); err != nil {
		return err
	} else if !slices.Equal(current, m.newest.Note) {
		if err := m.replace(checkpointName, m.newest.Note); err != nil {
			return err
		}
	}
	return m.writeTail()
}

// putOther writes a tile whose content is known if another stands there.
func (m *mending) putOther(t tile, put func(tile, []byte) error) error {
	want, ok := m.content(t)
	if !ok {
		return nil
	}
	have, there, err := m.read(t.name())
	if err != nil || there && slices.Equal(have, want) {
		return err
	}
	return put(t, want)
}

// dropPartial removes the partial files of older checkpoints that are damaged: nobody needs them.
func (m *mending) dropPartial() error {
	need := map[string]bool{}
	for _, t := range edge(m.newest.Size) {
		need[t.name()] = true
	}
	for _, f := range m.report.Findings {
		if t, ok := parseTile(f.File); ok && f.Fault == Damaged && t.w < width && !need[f.File] {
			if err := m.remove(f.File); err != nil {
				return err
			}
		}
	}
	return nil
}

// writeHistory leaves out what is no good checkpoint.
func (m *mending) writeHistory() error {
	if !m.damaged {
		return nil
	}
	old, there, err := m.read(historyName)
	if err != nil {
		return err
	}
	if there {
		if err := m.replace(historyName+".damaged", old); err != nil {
			return err
		}
	}
	var b, last []byte
	for _, k := range m.history {
		if k.fault == "" || k.fault == Diverges {
			b, last = appendHistory(b, k.note), k.note
		}
	}
	if !slices.Equal(last, m.newest.Note) {
		b = appendHistory(b, m.newest.Note)
	}
	return m.replace(historyName, b)
}

// writeTail writes the tail anew: the sealed records behind the full bundles, and those behind them that can still be
// read without a gap.
func (m *mending) writeTail() error {
	edge := m.newest.Size / width * width
	bodies := slices.Clone(m.last)
	for place := m.newest.Size + 1; ; place++ {
		i := place - 1 - m.base
		if i >= uint64(len(m.tail)) || m.tail[i] == nil {
			break
		}
		bodies = append(bodies, m.tail[i])
	}
	b := tailBytes(edge, bodies)
	if have, there, err := m.read(tailName); err != nil || there && slices.Equal(have, b) {
		return err
	}
	return m.replace(tailName, b)
}
