package record

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"
	"time"

	"latewood/events"
	"latewood/events/canon"
	"latewood/events/ledger"
)

// State is what the committer knows of the ledger: enough to make the next record, nothing more.
type State struct {
	First     ledger.Hash // leaf of the first record: it names the ledger
	LastLeaf  ledger.Hash
	Recorded  time.Time // of the last record
	frontier  ledger.Frontier
	heads     map[string]head
	drawn     map[events.ID][]string // by pick: the chains of the lots and loads that name it
	Abandoned string                 // where the ledger went, after ledger.moved
}

// head is the end of a chain.
type head struct {
	place uint64
	leaf  ledger.Hash
}

// NewState is the state of an empty ledger.
func NewState() *State { return &State{heads: map[string]head{}, drawn: map[events.ID][]string{}} }

// Size is the number of records, which is also the last place.
func (s *State) Size() uint64 { return s.frontier.Size() }

// Root is the root of the Merkle tree over all records.
func (s *State) Root() ledger.Hash { return s.frontier.Root() }

// Origin names the ledger of a farm for ever: latewood/FARM-XXXXXXXX, with the first eight hex digits of its first leaf.
func (s *State) Origin(farm string) string { return fmt.Sprintf("latewood/%s-%x", farm, s.First[:4]) }

// Chains is the number of chains that have records.
func (s *State) Chains() int { return len(s.heads) }

// Head is the last place of a chain and the leaf hash there; 0 for a chain without records.
func (s *State) Head(chain string) (uint64, ledger.Hash) {
	h := s.heads[chain]
	return h.place, h.leaf
}

// ErrChain says that a stored record does not continue its chains, or breaks the order of recording: the ledger's bytes
// are not those that a recorder wrote.
var ErrChain = errors.New("record: a record does not follow those before it")

// Apply takes in the record that comes next in the ledger.
func (s *State) Apply(r *events.Record) error {
	if r.Place != s.Size()+1 {
		return fmt.Errorf("%w: place %d behind %d", ErrChain, r.Place, s.Size())
	}
	if r.Recorded.Before(s.Recorded) {
		return fmt.Errorf("%w: place %d was recorded before the one in front of it", ErrChain, r.Place)
	}
	links, err := events.ParseChains(r.Envelope.Chains)
	if err != nil {
		return fmt.Errorf("%w: place %d: %w", ErrChain, r.Place, err)
	}
	leaf := ledger.Hash(r.Leaf())
	for _, l := range links {
		if h := s.heads[l.Chain]; l.Place != h.place+1 || l.Prev != h.leaf {
			return fmt.Errorf("%w: place %d stands at %d in chain %s, which ends at %d", ErrChain, r.Place, l.Place, l.Chain, h.place)
		}
	}
	m := &made{id: r.ID, leaf: leaf, links: links, recorded: r.Recorded, moves: r.Kind == "ledger.moved"}
	if draws(r.Kind, r.Data) {
		data, err := canon.Parse(r.Data)
		if err != nil {
			return fmt.Errorf("%w: place %d: %w", ErrChain, r.Place, err)
		}
		m.picks = drawnPicks(r.Kind, data)
	}
	s.take(m)
	return nil
}

// draws reports whether a record may name picks that a lot or load was made of, without reading all of it.
func draws(kind string, data []byte) bool {
	return kind == "lot.packed" || kind == "fruit.delivered" ||
		kind == "record.corrected" && (bytes.Contains(data, []byte(`"type":"lot.packed.`)) || bytes.Contains(data, []byte(`"type":"fruit.delivered.`)))
}

// drawnPicks are the picks that a record, or the corrected version of one, says a lot or load was made of.
func drawnPicks(kind string, data canon.Value) []events.ID {
	if kind == "record.corrected" {
		kind, _, _ = events.SplitType(data.Get("type").Str)
		data = data.Get("data")
	}
	k := events.Standard().Kind(kind)
	if k == nil {
		return nil
	}
	return k.DrawnPicks(data)
}

// drawnInto are the chains of a record that are those of lots and loads.
func drawnInto(links []events.Link) []string {
	var out []string
	for _, l := range links {
		if strings.HasPrefix(l.Chain, "lot/") || strings.HasPrefix(l.Chain, "delivery/") {
			out = append(out, l.Chain)
		}
	}
	return out
}

// drawInto notes for picks which chains a correction of them stands in from now on.
func drawInto(drawn map[events.ID][]string, picks []events.ID, chains []string) {
	for _, p := range picks {
		for _, c := range chains {
			if !slices.Contains(drawn[p], c) {
				drawn[p] = append(drawn[p], c)
			}
		}
	}
}

// take takes in a record that continues the ledger.
func (s *State) take(m *made) {
	for _, l := range m.links {
		s.heads[l.Chain] = head{l.Place, m.leaf}
	}
	if len(m.picks) > 0 {
		drawInto(s.drawn, m.picks, drawnInto(m.links))
	}
	if s.Size() == 0 {
		s.First = m.leaf
	}
	if m.moves {
		s.Abandoned = m.id.String()
	}
	s.frontier.Append(m.leaf)
	s.LastLeaf, s.Recorded = m.leaf, m.recorded
}

// stateMagic begins a stored state. A new layout takes a new number.
const stateMagic = "latewood recorder 2\n"

// Save writes the state: a cache, of which Load trusts nothing that the ledger does not bear out.
func (s *State) Save(w io.Writer) error {
	tree, err := s.frontier.MarshalBinary()
	if err != nil {
		return err
	}
	b := append([]byte(stateMagic), s.First[:]...)
	b = append(b, s.LastLeaf[:]...)
	b = binary.BigEndian.AppendUint64(b, uint64(s.Recorded.UnixMilli()))
	b = appendText(b, s.Abandoned)
	b = appendText(b, string(tree))
	b = binary.AppendUvarint(b, uint64(len(s.heads)))
	for _, name := range slices.Sorted(maps.Keys(s.heads)) {
		h := s.heads[name]
		b = appendText(b, name)
		b = binary.AppendUvarint(b, h.place)
		b = append(b, h.leaf[:]...)
	}
	b = binary.AppendUvarint(b, uint64(len(s.drawn)))
	for _, id := range slices.SortedFunc(maps.Keys(s.drawn), func(a, b events.ID) int { return slices.Compare(a[:], b[:]) }) {
		b = append(b, id[:]...)
		b = binary.AppendUvarint(b, uint64(len(s.drawn[id])))
		for _, chain := range s.drawn[id] {
			b = appendText(b, chain)
		}
	}
	sum := ledger.LeafHash(b)
	_, err = w.Write(append(b, sum[:]...))
	return err
}

func appendText(b []byte, s string) []byte {
	b = binary.AppendUvarint(b, uint64(len(s)))
	return append(b, s...)
}

// ErrState says that a stored state is damaged or of another version. The caller reads the ledger from the start.
var ErrState = errors.New("record: this stored state cannot be used")

// LoadState reads what Save wrote.
func LoadState(r io.Reader) (*State, error) {
	b, err := io.ReadAll(r)
	if err != nil {
		return nil, fmt.Errorf("%w: %w", ErrState, err)
	}
	n := len(b) - len(ledger.Hash{})
	if n < len(stateMagic) || string(b[:len(stateMagic)]) != stateMagic || ledger.LeafHash(b[:n]) != ledger.Hash(b[n:]) {
		return nil, ErrState
	}
	in := cursor{b: b[len(stateMagic):n]}
	s := NewState()
	copy(s.First[:], in.take(32))
	copy(s.LastLeaf[:], in.take(32))
	if ms := in.take(8); ms != nil {
		s.Recorded = time.UnixMilli(int64(binary.BigEndian.Uint64(ms))).UTC()
	}
	s.Abandoned = in.text()
	if err := s.frontier.UnmarshalBinary([]byte(in.text())); err != nil {
		return nil, fmt.Errorf("%w: %w", ErrState, err)
	}
	for n := in.number(); n > 0 && !in.short; n-- {
		name := in.text()
		h := head{place: in.number()}
		copy(h.leaf[:], in.take(32))
		s.heads[name] = h
	}
	for n := in.number(); n > 0 && !in.short; n-- {
		var id events.ID
		copy(id[:], in.take(len(id)))
		for m := in.number(); m > 0 && !in.short; m-- {
			s.drawn[id] = append(s.drawn[id], in.text())
		}
	}
	if in.short || len(in.b) > 0 {
		return nil, ErrState
	}
	return s, nil
}

// cursor reads a byte string from its front.
type cursor struct {
	b     []byte
	short bool
}

func (c *cursor) take(n int) []byte {
	if n < 0 || n > len(c.b) {
		c.short = true
		return nil
	}
	out := c.b[:n]
	c.b = c.b[n:]
	return out
}

func (c *cursor) number() uint64 {
	n, used := binary.Uvarint(c.b)
	if used <= 0 {
		c.short = true
		return 0
	}
	c.b = c.b[used:]
	return n
}

func (c *cursor) text() string {
	n := c.number()
	if n > uint64(len(c.b)) {
		c.short = true
		return ""
	}
	return string(c.take(int(n)))
}
