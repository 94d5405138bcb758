package archive

import (
	"context"
	"fmt"
	"iter"
	"runtime"
	"slices"
	"sync"

	"latewood/events/ledger"
	"latewood/events/ledger/proof"
)

// What is kept of read files, in bytes of the cost of each.
const (
	keepBundles = 32 << 20
	keepTiles   = 4 << 20
)

// A Fetch reads one file of an archive by its path with slashes, as "tile/0/001". What it returns belongs to the caller.
type Fetch func(ctx context.Context, name string) ([]byte, error)

// core is the part of an archive that reads: the top of the tree in memory, the rest behind fetch, and nothing believed of
// it that does not fit the top. An Archive's core grows; a Reader's is replaced by a larger one.
type core struct {
	fetch Fetch

	mu   sync.RWMutex
	full proof.Hashes // its leaves are the roots of the full bundles: the tree from level 8 up
	base uint64       // index of the first record whose leaf is in memory; what lies before it is in full bundles on disk
	// The leaves and bodies from base on. The bodies of a Reader are nil until somebody asks.
	leaves []ledger.Hash
	bodies [][]byte
	sealed proof.Signed // the newest published checkpoint; its Note is nil before the first

	tiles   cache[[]ledger.Hash]
	bundles cache[[][]byte]
}

func (c *core) init(fetch Fetch) {
	c.fetch = fetch
	c.tiles.most = keepTiles
	c.bundles.most = keepBundles
}

// grow adds leaves at the right end. The caller holds mu.
func (c *core) grow(leaves []ledger.Hash, bodies [][]byte) {
	for i, leaf := range leaves {
		c.leaves = append(c.leaves, leaf)
		c.bodies = append(c.bodies, bodies[i])
		if n := len(c.leaves); n%width == 0 {
			c.full.Append(fold(c.leaves[n-width:]))
		}
	}
}

// size is the number of records. The caller holds mu.
func (c *core) size() uint64 { return c.base + uint64(len(c.leaves)) }

// Size is the number of records in the archive, sealed or not: also the place of the last.
func (c *core) Size() uint64 {
	c.mu.RLock()
	defer c.mu.RUnlock()
	return c.size()
}

// Sealed is the number of records under the newest published checkpoint: also the place of the last of them.
func (c *core) Sealed() uint64 {
	c.mu.RLock()
	defer c.mu.RUnlock()
	return c.sealed.Size
}

// Checkpoint is the newest published checkpoint. The error Is ErrNoCheckpoint if there is none yet.
func (c *core) Checkpoint() (proof.Signed, error) {
	c.mu.RLock()
	defer c.mu.RUnlock()
	if c.sealed.Note == nil {
		return proof.Signed{}, ErrNoCheckpoint
	}
	return c.sealed, nil
}

// Root is the root of the tree over all records, sealed or not.
func (c *core) Root() (ledger.Hash, error) { return c.RootAt(c.Size()) }

// RootAt is the root of the tree over the first size records.
func (c *core) RootAt(size uint64) (ledger.Hash, error) {
	if have := c.Size(); size > have {
		return ledger.Hash{}, fmt.Errorf("archive: the root of size %d, where there are %d records: %w", size, have, proof.ErrSize)
	}
	return proof.Root(size, c)
}

// ReadHashes is proof.HashReader's: with it proofs are made. Every hash it gives fits the signed root, or, for records that
// are not sealed yet, what was appended. A *DamageError says that a file does not.
func (c *core) ReadHashes(indexes []int64) ([]ledger.Hash, error) {
	out := make([]ledger.Hash, len(indexes))
	for i, x := range indexes {
		if x < 0 {
			return nil, fmt.Errorf("archive: stored hash %d: %w", x, proof.ErrSize)
		}
		h, err := c.hash(context.Background(), x)
		if err != nil {
			return nil, err
		}
		out[i] = h
	}
	return out, nil
}

func (c *core) hash(ctx context.Context, index int64) (ledger.Hash, error) {
	level, n := proof.SplitStoredHashIndex(index)
	first, count := n<<level, uint64(1)<<level
	c.mu.RLock()
	switch {
	case first+count > c.size():
		defer c.mu.RUnlock()
		return ledger.Hash{}, fmt.Errorf("archive: a hash over record %d of %d: %w", first+count, c.size(), proof.ErrSize)
	case level >= height:
		defer c.mu.RUnlock()
		return c.full.At(level-height, n), nil
	case first >= c.base:
		defer c.mu.RUnlock()
		return fold(c.leaves[first-c.base : first-c.base+count]), nil
	}
	want := c.full.At(0, first/width)
	c.mu.RUnlock()
	leaves, err := c.tile(ctx, first/width, want)
	if err != nil {
		return ledger.Hash{}, err
	}
	return fold(leaves[first%width : first%width+count]), nil
}

// tile gives the leaves of a full tile of level 0 whose root must be want.
func (c *core) tile(ctx context.Context, n uint64, want ledger.Hash) ([]ledger.Hash, error) {
	if leaves, ok := c.tiles.get(n); ok {
		return leaves, nil
	}
	t := tile{0, n, width}
	b, err := c.fetch(ctx, t.name())
	if err != nil {
		return nil, fmt.Errorf("archive: reading %s: %w: %w", t.name(), &DamageError{[]Finding{{File: t.name(), Fault: Missing}}}, err)
	}
	leaves, err := parseHashes(b, width)
	if err != nil || fold(leaves) != want {
		return nil, &DamageError{[]Finding{{File: t.name(), Fault: Damaged}}}
	}
	c.tiles.put(n, leaves, width*hashSize)
	return leaves, nil
}

// bundle gives the records of a full bundle over which the hash must be want. The caller does not change them if they
// were kept, and they were if keep is set.
func (c *core) bundle(ctx context.Context, n uint64, want ledger.Hash, keep bool) ([][]byte, error) {
	if bodies, ok := c.bundles.get(n); ok {
		if keep {
			return bodies, nil
		}
		return cloneAll(bodies), nil
	}
	t := tile{entries, n, width}
	b, err := c.fetch(ctx, t.name())
	if err != nil {
		return nil, fmt.Errorf("archive: reading %s: %w: %w", t.name(), &DamageError{[]Finding{{t.name(), Missing, []Span{t.places()}}}}, err)
	}
	bodies, err := parseBundle(b, width)
	leaves := leavesOf(bodies)
	if err == nil && fold(leaves) == want {
		if keep {
			c.bundles.put(n, bodies, len(b))
		}
		return bodies, nil
	}
	// Which records it is can be told where the hashes beside them are good.
	places := []Span{t.places()}
	if good, terr := c.tile(ctx, n, want); terr == nil {
		places = spansOf(differ(leaves, good, n*width+1))
	}
	return nil, &DamageError{[]Finding{{t.name(), Damaged, places}}}
}

// differ gives the places, counted from first, of records whose leaf is not the good one.
func differ(leaves, good []ledger.Hash, first uint64) []uint64 {
	var places []uint64
	for i := range good {
		if i >= len(leaves) || leaves[i] != good[i] {
			places = append(places, first+uint64(i))
		}
	}
	return places
}

func cloneAll(bodies [][]byte) [][]byte {
	out := make([][]byte, len(bodies))
	for i := range bodies {
		out[i] = slices.Clone(bodies[i])
	}
	return out
}

// ReadRecord gives the record at a sealed place, as it was sealed. A place that is not sealed brings a *ledger.HoleError,
// a record that is not what was sealed a *DamageError.
func (c *core) ReadRecord(ctx context.Context, place uint64) ([]byte, error) {
	c.mu.RLock()
	sealed := c.sealed.Size
	c.mu.RUnlock()
	if place < 1 || place > sealed {
		return nil, fmt.Errorf("archive: reading: %w", &ledger.HoleError{Want: place})
	}
	bodies, err := c.run(ctx, (place-1)/width, true)
	if err != nil {
		return nil, err
	}
	return slices.Clone(bodies[(place-1)%width]), nil
}

// LeafHash gives the leaf hash of the record at a place, sealed or not.
func (c *core) LeafHash(place uint64) (ledger.Hash, error) {
	if place < 1 || place > c.Size() {
		return ledger.Hash{}, fmt.Errorf("archive: the leaf of place %d: %w", place, proof.ErrSize)
	}
	return c.hash(context.Background(), proof.StoredHashIndex(0, place-1))
}

// run gives the records that are there of the n-th bundle, full or not.
func (c *core) run(ctx context.Context, n uint64, keep bool) ([][]byte, error) {
	first := n * width
	c.mu.RLock()
	if first < c.base {
		want := c.full.At(0, n)
		c.mu.RUnlock()
		return c.bundle(ctx, n, want, keep)
	}
	from := first - c.base
	to := min(from+width, uint64(len(c.leaves)))
	leaves, bodies := c.leaves[from:to:to], c.bodies[from:to:to]
	c.mu.RUnlock()
	if len(bodies) > 0 && bodies[0] == nil {
		return c.partial(ctx, n, leaves)
	}
	if !keep {
		bodies = cloneAll(bodies)
	}
	return bodies, nil
}

// partial fetches the records of the bundle that is being filled: a Reader has their leaves only.
func (c *core) partial(ctx context.Context, n uint64, leaves []ledger.Hash) ([][]byte, error) {
	if bodies, ok := c.bundles.get(n); ok {
		return cloneAll(bodies), nil
	}
	t := tile{entries, n, len(leaves)}
	b, err := c.fetch(ctx, t.name())
	if err != nil {
		// A full one may have taken its place since.
		full := tile{entries, n, width}
		var ferr error
		if b, ferr = c.fetch(ctx, full.name()); ferr != nil {
			return nil, fmt.Errorf("archive: reading %s: %w", t.name(), err)
		}
		all, _ := parseBundle(b, width)
		b = appendBundle(nil, all[:min(len(all), len(leaves))])
	}
	bodies, err := parseBundle(b, len(leaves))
	if places := differ(leavesOf(bodies), leaves, n*width+1); err != nil || len(places) > 0 {
		return nil, &DamageError{[]Finding{{t.name(), Damaged, spansOf(places)}}}
	}
	c.bundles.put(n, bodies, len(b))
	return cloneAll(bodies), nil
}

// Read yields the sealed records from place first to last, 0 meaning the last that was sealed when Read was called. Every
// record is checked against the tree before it is handed out; a *DamageError names what is not as it was sealed. The rest is
// the law of ledger.Log: a first of 0 is read as 1, a last behind the sealed ones is a *ledger.HoleError after those that are
// there, a body belongs to the caller.
//
// Bundles are read and hashed ahead of the caller, one on each processor.
func (c *core) Read(ctx context.Context, first, last uint64) iter.Seq2[ledger.Entry, error] {
	first = max(first, 1)
	end := c.Sealed()
	hole := last > end
	if last != 0 && !hole {
		end = last
	}
	return func(yield func(ledger.Entry, error) bool) {
		if first <= end {
			ctx, cancel := context.WithCancel(ctx)
			runs := ahead(ctx, (first-1)/width, (end-1)/width, func(n uint64) ([][]byte, error) { return c.run(ctx, n, false) })
			defer runs.wait()
			defer cancel()
			for n := (first - 1) / width; n <= (end-1)/width; n++ {
				bodies, err := runs.next()
				if ctx.Err() != nil {
					err = fmt.Errorf("archive: reading: %w", ctx.Err())
				}
				if err != nil {
					yield(ledger.Entry{}, err)
					return
				}
				for i, body := range bodies {
					place := n*width + uint64(i) + 1
					if place < first || place > end {
						continue
					}
					if !yield(ledger.Entry{Place: place, Kind: kindOf(body), Body: body}, nil) {
						return
					}
				}
			}
		}
		if hole {
			yield(ledger.Entry{}, fmt.Errorf("archive: reading: %w", &ledger.HoleError{Want: max(end+1, first)}))
		}
	}
}

// A pipeline does work ahead of the one who asks, in order, on all processors.
type pipeline[V any] struct {
	results chan chan result[V]
	done    sync.WaitGroup
}

type result[V any] struct {
	v   V
	err error
}

// ahead starts work(first) to work(last). The caller asks next once for each, or cancels ctx, and then waits.
func ahead[V any](ctx context.Context, first, last uint64, work func(n uint64) (V, error)) *pipeline[V] {
	p := &pipeline[V]{results: make(chan chan result[V], runtime.GOMAXPROCS(0))}
	p.done.Go(func() {
		defer close(p.results)
		for n := first; n <= last; n++ {
			one := make(chan result[V], 1)
			select {
			case p.results <- one:
			case <-ctx.Done():
				return
			}
			p.done.Go(func() {
				v, err := work(n)
				one <- result[V]{v, err}
			})
		}
	})
	return p
}

// next gives the next result in order.
func (p *pipeline[V]) next() (V, error) {
	one, ok := <-p.results
	if !ok {
		var none V
		return none, context.Canceled
	}
	r := <-one
	return r.v, r.err
}

func (p *pipeline[V]) wait() { p.done.Wait() }
