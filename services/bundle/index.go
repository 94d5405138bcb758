package bundle

import (
	"bytes"
	"context"
	"fmt"
	"iter"
	"slices"
	"strings"

	"latewood/events"
	"latewood/events/ledger"
	"latewood/events/ledger/evidence"
)

// Ledger reads records by place.
type Ledger interface {
	Read(ctx context.Context, first, last uint64) iter.Seq2[ledger.Entry, error]
}

// Index finds the place of a record by its id.
type Index interface {
	Lookup(id [16]byte) (place uint64, ok bool, err error)
}

// contents is where the ledger's chains have their records, up to a place. It is made by one walk over the ledger, which
// looks at the first few hundred bytes of each record and at no others: weather, which is nine in ten of them, stands in no
// chain that evidence needs.
type contents struct {
	ctx   context.Context // of the call that made it; it lives no longer
	log   Ledger
	ids   Index
	size  uint64
	at    map[string][]uint64 // places of records by chain
	said  map[string][]uint64 // places of corrections and withdrawals by record
	drawn map[string][]uint64 // places of redrawings by the block they made
	given []uint64            // places of evidence that was given
	read  map[uint64]*evidence.Record
}

var _ evidence.Source = (*contents)(nil)

func newContents(ctx context.Context, log Ledger, ids Index) *contents {
	return &contents{
		ctx: ctx, log: log, ids: ids, at: map[string][]uint64{}, said: map[string][]uint64{}, drawn: map[string][]uint64{},
		read: map[uint64]*evidence.Record{},
	}
}

// walked says whether evidence may need a class of chains.
func walked(class []byte) bool {
	switch string(class) {
	case "growth", "inputs", "picks", "lot", "delivery", "spray", "label":
		return true
	}
	return false
}

// extend reads on, up to and including a place.
func (c *contents) extend(size uint64) error {
	if size <= c.size {
		return nil
	}
	for e, err := range c.log.Read(c.ctx, c.size+1, size) {
		if err != nil {
			return fmt.Errorf("bundle: reading the ledger: %w", err)
		}
		if err := c.take(e); err != nil {
			return err
		}
	}
	return nil
}

func (c *contents) take(e ledger.Entry) error {
	for name := range chainNames(e.Body) {
		class, _, ok := bytes.Cut(name, []byte("/"))
		if ok && walked(class) {
			places := c.at[string(name)] // does not allocate
			c.at[string(name)] = append(places, e.Place)
		}
	}
	c.size = e.Place
	switch e.Kind {
	case "record.corrected", "record.withdrawn", "block.redrawn":
		r, err := evidence.ParseRecord(e.Place, bytes.Clone(e.Body))
		if err != nil {
			return fmt.Errorf("bundle: %w", err)
		}
		c.read[e.Place] = r
		if of := r.About(); of != r.ID {
			c.said[of] = append(c.said[of], e.Place)
		}
		for _, block := range r.MadeBlocks() {
			c.drawn[block] = append(c.drawn[block], e.Place)
		}
	case "evidence.given":
		c.given = append(c.given, e.Place)
	}
	return nil
}

// chainNames yields the names in a record's chains attribute. It stands before the data, so its first mention is it: a quote
// inside a text before it would be escaped.
func chainNames(body []byte) iter.Seq[[]byte] {
	return func(yield func([]byte) bool) {
		_, rest, ok := bytes.Cut(body, []byte(`"chains":"`))
		if !ok {
			return
		}
		text, _, _ := bytes.Cut(rest, []byte(`"`))
		for link := range bytes.SplitSeq(text, []byte(", ")) {
			name, _, _ := bytes.Cut(link, []byte(" "))
			if !yield(name) {
				return
			}
		}
	}
}

// records reads the records at places.
func (c *contents) records(places []uint64) ([]*evidence.Record, error) {
	out := make([]*evidence.Record, 0, len(places))
	for _, p := range places {
		r := c.read[p]
		for e, err := range c.log.Read(c.ctx, p, p) {
			if r != nil {
				break
			}
			if err != nil {
				return nil, fmt.Errorf("bundle: reading place %d: %w", p, err)
			}
			if r, err = evidence.ParseRecord(e.Place, bytes.Clone(e.Body)); err != nil {
				return nil, fmt.Errorf("bundle: %w", err)
			}
			c.read[p] = r
		}
		if r == nil {
			return nil, fmt.Errorf("bundle: %w", &ledger.HoleError{Want: p})
		}
		out = append(out, r)
	}
	return out, nil
}

// Chain is evidence.Source's.
func (c *contents) Chain(name string) ([]*evidence.Record, error) { return c.records(c.at[name]) }

// Record is evidence.Source's.
func (c *contents) Record(id string) (*evidence.Record, error) {
	key, err := events.ParseID(id)
	if err != nil {
		return nil, nil
	}
	place, ok, err := c.ids.Lookup(key)
	if err != nil {
		return nil, fmt.Errorf("bundle: the index of ids: %w", err)
	}
	if !ok || place > c.size {
		return nil, nil
	}
	found, err := c.records([]uint64{place})
	if err != nil {
		return nil, err
	}
	return found[0], nil
}

// About is evidence.Source's.
func (c *contents) About(id string) ([]*evidence.Record, error) { return c.records(c.said[id]) }

// Redrawn is evidence.Source's.
func (c *contents) Redrawn(block string) ([]*evidence.Record, error) {
	return c.records(c.drawn[block])
}

// near lists up to five codes of a class that are written much like one that is not there.
func (c *contents) near(class, code string) []string {
	var out []string
	for chain := range c.at {
		if name, ok := strings.CutPrefix(chain, class+"/"); ok && name != code && alike(strings.ToLower(name), strings.ToLower(code)) {
			out = append(out, name)
		}
	}
	slices.Sort(out)
	return out[:min(len(out), 5)]
}

// alike says whether two codes differ in one letter: another, one more, or one less; or two that changed places.
func alike(a, b string) bool {
	if len(a) > len(b) {
		a, b = b, a
	}
	i := 0
	for i < len(a) && a[i] == b[i] {
		i++
	}
	switch {
	case len(b)-len(a) > 1:
		return false
	case len(b) > len(a):
		return a[i:] == b[i+1:]
	case i == len(a):
		return true
	}
	return a[i+1:] == b[i+1:] || i+1 < len(a) && a[i] == b[i+1] && a[i+1] == b[i] && a[i+2:] == b[i+2:]
}
