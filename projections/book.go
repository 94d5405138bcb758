package projections

import (
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"latewood/events"
	"latewood/events/civil"
)

// A Key names one thing that folds keep state of: "block/north", "station/mauka", "lot/L17".
type Key struct{ Class, Code string }

func (k Key) String() string { return k.Class + "/" + k.Code }

// Classes of keys.
const (
	Block    = "block"
	Station  = "station"
	Lot      = "lot"
	Delivery = "delivery" // a load
	Farm     = "farm"     // has one key, with an empty code
)

// FarmKey is the key of what is about the farm as a whole.
var FarmKey = Key{Class: Farm}

// A Book is what a set of records says: facts, sorted by key, and what leans on what. It is not safe for use by several
// goroutines at once.
type Book struct {
	cat  *events.Catalogue
	size uint64 // records added

	facts    map[events.ID]*Fact
	versions map[events.ID][]version // corrections and withdrawals by the record they are about
	owners   map[events.ID]events.ID // correction or withdrawal id -> the record it is about
	byKey    map[Key]map[events.ID]*Fact
	// leans holds, for an id that some facts name, the keys of those facts. They are dirty when that id moves.
	leans map[events.ID]map[Key]bool
	// about holds, for an id, the facts that say something about that record: a label's closing, a plan's end.
	about map[events.ID]map[events.ID]*Fact
	// treeBlocks and movesOf tie a tree's moves to every block that it ever stood in.
	treeBlocks map[string]map[string]bool
	movesOf    map[string]map[events.ID]*Fact
	// beside ties blocks that one record names together: a pick over two blocks is shared over the trees of both, so the
	// state of each leans on the ground of the other (View.GroundOf).
	beside map[string]map[string]bool
	// filled holds, for the id of a bin, the picks that went into it: lots are packed of bins.
	filled   map[string]map[events.ID]*Fact
	wide     []*Fact // farm-wide facts, unsorted
	spanning []*Fact // reviews of spans of places, unsorted
	stations map[string]*Series
	overlay  map[events.ID]bool // ids of readings that a correction or withdrawal replaced

	dirty  map[Key]bool
	cache  map[cacheKey]any
	loaded map[cacheKey][]byte // states from a snapshot, not yet read
	ground map[string]*Ground
	farm   *farmState
}

type cacheKey struct {
	fold string
	key  Key
}

// NewBook makes an empty Book.
func NewBook(cat *events.Catalogue) *Book {
	return &Book{
		cat: cat, facts: map[events.ID]*Fact{}, versions: map[events.ID][]version{}, owners: map[events.ID]events.ID{},
		byKey: map[Key]map[events.ID]*Fact{}, leans: map[events.ID]map[Key]bool{},
		about:      map[events.ID]map[events.ID]*Fact{},
		treeBlocks: map[string]map[string]bool{}, movesOf: map[string]map[events.ID]*Fact{},
		beside: map[string]map[string]bool{}, filled: map[string]map[events.ID]*Fact{},
		stations: map[string]*Series{}, overlay: map[events.ID]bool{},
		dirty: map[Key]bool{}, cache: map[cacheKey]any{}, loaded: map[cacheKey][]byte{}, ground: map[string]*Ground{},
	}
}

// Size is the number of records added.
func (b *Book) Size() uint64 { return b.size }

// Catalogue is the catalogue that the Book reads with.
func (b *Book) Catalogue() *events.Catalogue { return b.cat }

// ErrDoubled says that a record was added twice. The ledger holds every id once, so this is a fault of the caller.
var ErrDoubled = errors.New("projections: this record is in the book already")

// Add takes one more record in.
func (b *Book) Add(r *events.Record) error {
	switch r.Kind {
	case "record.corrected", "record.withdrawn":
		if err := b.addVersion(r); err != nil {
			return err
		}
	case "weather.read":
		// Readings are too many to be facts: they go into columns.
		if err := b.addReading(r); err != nil {
			return err
		}
	default:
		if b.facts[r.ID] != nil {
			return fmt.Errorf("%w: place %d, id %s", ErrDoubled, r.Place, r.ID)
		}
		if err := b.addFact(&Fact{ID: r.ID, Kind: r.Kind, Record: r}); err != nil {
			return err
		}
	}
	b.size++
	return nil
}

func (b *Book) addFact(f *Fact) error {
	b.facts[f.ID] = f
	if err := f.resolve(b.cat, b.versions[f.ID]); err != nil {
		return fmt.Errorf("place %d: %w", f.Record.Place, err)
	}
	b.link(f)
	b.touch(f)
	return nil
}

func (b *Book) addVersion(r *events.Record) error {
	v := version{record: r}
	data, err := b.cat.Decode(r)
	if err != nil {
		return fmt.Errorf("place %d: %w", r.Place, err)
	}
	var target, follows string
	switch d := data.(type) {
	case *events.RecordCorrected:
		v.correct, target, follows = d, d.Record, d.Follows
	case *events.RecordWithdrawn:
		v.withdraws, target, follows = true, d.Record, d.Follows
	}
	if v.target, err = events.ParseID(target); err != nil {
		return fmt.Errorf("place %d: record %q: %w", r.Place, target, err)
	}
	if v.follows, err = events.ParseID(follows); err != nil {
		return fmt.Errorf("place %d: follows %q: %w", r.Place, follows, err)
	}
	if _, doubled := b.owners[r.ID]; doubled {
		return fmt.Errorf("%w: place %d, id %s", ErrDoubled, r.Place, r.ID)
	}
	b.owners[r.ID] = v.target
	b.versions[v.target] = append(b.versions[v.target], v)
	b.markLeaning(r.ID)
	b.mark(FarmKey)
	f := b.facts[v.target]
	if f == nil {
		if f = b.liftReading(v.target); f == nil {
			return nil // it waits for its record
		}
	}
	// Both the old and the new keys, and what leans on the fact, see the change.
	b.touch(f)
	b.unlink(f)
	if err := f.resolve(b.cat, b.versions[f.ID]); err != nil {
		return fmt.Errorf("place %d: %w", r.Place, err)
	}
	b.link(f)
	b.touch(f)
	return nil
}

// link files a fact under its keys. A withdrawn fact stays filed: folds pass over it, but reports can name it.
func (b *Book) link(f *Fact) {
	keys := KeysOf(f)
	for _, k := range keys {
		m := b.byKey[k]
		if m == nil {
			m = map[events.ID]*Fact{}
			b.byKey[k] = m
		}
		m[f.ID] = f
	}
	for _, id := range References(f) {
		m := b.leans[id]
		if m == nil {
			m = map[Key]bool{}
			b.leans[id] = m
		}
		for _, k := range keys {
			m[k] = true
		}
	}
	for _, id := range concerns(f) {
		if b.about[id] == nil {
			b.about[id] = map[events.ID]*Fact{}
		}
		b.about[id][f.ID] = f
	}
	b.tie(keys)
	for _, bin := range binsOf(f.decoded) {
		if b.filled[bin] == nil {
			b.filled[bin] = map[events.ID]*Fact{}
		}
		b.filled[bin][f.ID] = f
	}
	switch d := f.decoded.(type) {
	case *events.TreePlanted:
		b.stood(d.Tree, d.Block)
	case *events.TreeMoved:
		for _, m := range d.Moves {
			b.stood(m.Tree, m.Block)
			if b.movesOf[m.Tree] == nil {
				b.movesOf[m.Tree] = map[events.ID]*Fact{}
			}
			b.movesOf[m.Tree][f.ID] = f
		}
	}
	if isWide(f.Kind) {
		b.wide = append(b.wide, f)
	}
	if spans(f) {
		b.spanning = append(b.spanning, f)
	}
	if f.Kind == "weather.read" {
		b.series(f.decoded.(*events.WeatherRead).Station).lift(f)
	}
}

// stood remembers that a tree has to do with a block. Trees are few and blocks fewer, so this only grows: a block that a
// corrected record no longer names costs one fold too many, never a wrong one.
func (b *Book) stood(tree, block string) {
	if b.treeBlocks[tree] == nil {
		b.treeBlocks[tree] = map[string]bool{}
	}
	b.treeBlocks[tree][block] = true
}

// tie remembers that a record names several blocks together. Like stood it only grows.
func (b *Book) tie(keys []Key) {
	for _, k := range keys {
		for _, other := range keys {
			if k.Class != Block || other.Class != Block || k == other {
				continue
			}
			if b.beside[k.Code] == nil {
				b.beside[k.Code] = map[string]bool{}
			}
			b.beside[k.Code][other.Code] = true
		}
	}
}

func (b *Book) unlink(f *Fact) {
	for _, k := range KeysOf(f) {
		delete(b.byKey[k], f.ID)
	}
	for _, id := range concerns(f) {
		delete(b.about[id], f.ID)
	}
	for _, bin := range binsOf(f.decoded) {
		delete(b.filled[bin], f.ID)
	}
	if d, ok := f.decoded.(*events.TreeMoved); ok {
		for _, m := range d.Moves {
			delete(b.movesOf[m.Tree], f.ID)
		}
	}
	b.wide = slices.DeleteFunc(b.wide, func(w *Fact) bool { return w == f })
	b.spanning = slices.DeleteFunc(b.spanning, func(w *Fact) bool { return w == f })
	if d, ok := f.decoded.(*events.WeatherRead); ok {
		b.series(d.Station).drop(f)
	}
}

// touch marks everything dirty that a fact can move.
func (b *Book) touch(f *Fact) {
	if isWide(f.Kind) || spans(f) {
		b.farm = nil
		for k := range b.byKey {
			b.mark(k)
		}
		for code := range b.stations {
			b.mark(Key{Station, code})
		}
	}
	for _, k := range KeysOf(f) {
		b.mark(k)
	}
	b.markLeaning(f.ID)
	for _, id := range concerns(f) {
		b.markLeaning(id)
		if target := b.Fact(id); target != nil {
			for _, k := range KeysOf(target) {
				b.mark(k)
			}
		}
	}
	b.mark(FarmKey)
	for _, tree := range treesOf(f) {
		for block := range b.treeBlocks[tree] {
			b.markGround(block)
		}
	}
	if movesGround(f.Kind) {
		for _, k := range KeysOf(f) {
			if k.Class == Block {
				b.markGround(k.Code)
			}
		}
	}
}

// markGround marks a block whose trees changed, and every block whose state looks at them.
func (b *Book) markGround(block string) {
	b.mark(Key{Block, block})
	for other := range b.beside[block] {
		b.mark(Key{Block, other})
	}
}

// movesGround reports whether a kind can change what newGround makes of a block.
func movesGround(kind string) bool {
	switch kind {
	case "block.established", "block.changed", "block.redrawn", "tree.planted", "tree.moved", "tree.removed", "tree.topworked":
		return true
	}
	return false
}

func (b *Book) markLeaning(id events.ID) {
	for k := range b.leans[id] {
		b.mark(k)
	}
}

func (b *Book) mark(k Key) {
	b.dirty[k] = true
	if k.Class == Block {
		delete(b.ground, k.Code)
	}
}

// isWide reports whether a kind can move every key of the farm.
func isWide(kind string) bool {
	switch kind {
	case "farm.opened", "setting.adopted", "season.named", "rule.adopted":
		return true
	}
	return false
}

// treesOf lists the trees whose standing a fact changes.
func treesOf(f *Fact) []string {
	switch d := f.decoded.(type) {
	case *events.TreePlanted:
		return []string{d.Tree}
	case *events.TreeMoved:
		out := make([]string, len(d.Moves))
		for i, m := range d.Moves {
			out[i] = m.Tree
		}
		return out
	}
	return nil
}

// Fact returns the fact of a record's id, or of the record that a correction or withdrawal with that id is about; nil if
// the Book has none. Readings are no facts unless they were corrected.
func (b *Book) Fact(id events.ID) *Fact {
	if f := b.facts[id]; f != nil {
		return f
	}
	if owner, ok := b.owners[id]; ok {
		return b.facts[owner]
	}
	return nil
}

// Follower returns the correction that follows a version, nil if none does: what a second follower is refused with.
func (b *Book) Follower(target, follows events.ID) *events.Record {
	if v, _ := follower(b.versions[target], follows); v != nil {
		return v.record
	}
	return nil
}

// Waiting lists corrections and withdrawals whose record is not here, by id.
func (b *Book) Waiting() []*events.Record {
	var out []*events.Record
	for target, versions := range b.versions {
		if b.facts[target] == nil {
			for _, v := range versions {
				out = append(out, v.record)
			}
		}
	}
	slices.SortFunc(out, func(x, y *events.Record) int { return slices.Compare(x.ID[:], y.ID[:]) })
	return out
}

// Facts returns all facts but readings, in the order of time and id.
func (b *Book) Facts() []*Fact {
	out := slices.AppendSeq(make([]*Fact, 0, len(b.facts)), maps.Values(b.facts))
	slices.SortFunc(out, before)
	return out
}

// factsOf returns a key's facts in order: for a block, also the moves of every tree that ever stood in it.
func (b *Book) factsOf(k Key) []*Fact {
	set := maps.Clone(b.byKey[k])
	if set == nil {
		set = map[events.ID]*Fact{}
	}
	if k.Class == Block {
		b.addMoves(set, k)
		for _, f := range b.byKey[k] { // trees that a redrawing brought here were planted elsewhere
			if d, ok := f.decoded.(*events.BlockRedrawn); ok {
				for _, from := range d.From {
					b.addMoves(set, Key{Block, from})
				}
			}
		}
	}
	out := slices.AppendSeq(make([]*Fact, 0, len(set)), maps.Values(set))
	slices.SortFunc(out, before)
	return out
}

// addMoves puts the moves of all trees that a block's own facts plant or move into a set.
func (b *Book) addMoves(set map[events.ID]*Fact, k Key) {
	for _, f := range b.byKey[k] {
		for _, tree := range treesOf(f) {
			maps.Copy(set, b.movesOf[tree])
		}
	}
}

// Keys lists the codes of a class of keys that have a fact, in order.
func (b *Book) Keys(class string) []string {
	if class == Farm {
		return []string{""}
	}
	var out []string
	for k, m := range b.byKey {
		if k.Class == class && len(m) > 0 {
			out = append(out, k.Code)
		}
	}
	if class == Station {
		for code, s := range b.stations {
			if s.bare() > 0 && !slices.Contains(out, code) {
				out = append(out, code)
			}
		}
	}
	slices.Sort(out)
	return out
}

// Zone is the farm's zone, UTC while the farm is not opened.
func (b *Book) Zone() *time.Location { return b.state().zone }

// Opened is the farm's first record as it stands, nil while there is none.
func (b *Book) Opened() *events.FarmOpened { return b.state().opened }

// farmState is what the farm-wide facts say.
type farmState struct {
	opened   *events.FarmOpened
	zone     *time.Location
	settings []*Fact // of setting.adopted, standing
	seasons  []*Fact // of season.named, standing
	rules    []*Fact
}

func (b *Book) state() *farmState {
	if b.farm != nil {
		return b.farm
	}
	s := &farmState{zone: time.UTC}
	wide := slices.Clone(b.wide)
	slices.SortFunc(wide, before)
	for _, f := range wide {
		if !f.Stands() {
			continue
		}
		switch d := f.decoded.(type) {
		case *events.FarmOpened:
			s.opened = d
			if zone, err := civil.Zone(d.Zone); err == nil {
				s.zone = zone
			}
		case *events.SettingAdopted:
			s.settings = append(s.settings, f)
		case *events.SeasonNamed:
			s.seasons = append(s.seasons, f)
		case *events.RuleAdopted:
			s.rules = append(s.rules, f)
		}
	}
	b.farm = s
	return s
}

// KeysOf lists the keys that a fact is filed under, in order: the blocks, stations, lots and loads that it names. The farm's
// key has what names none of them, and also what names a lot or load: lots are made of lots, so a fold that follows them
// looks at all at once.
func KeysOf(f *Fact) []Key {
	var out []Key
	switch d := f.decoded.(type) {
	case *events.BlockEstablished:
		out = append(out, Key{Block, d.Block})
	case *events.BlockChanged:
		out = append(out, Key{Block, d.Block})
	case *events.BlockRedrawn:
		for _, code := range d.From {
			out = append(out, Key{Block, code})
		}
		for _, into := range d.Into {
			out = append(out, Key{Block, into.Block})
		}
	case *events.TreePlanted:
		out = append(out, Key{Block, d.Block})
	case *events.TreeMoved:
		for _, m := range d.Moves {
			out = append(out, Key{Block, m.Block})
			if m.From != "" {
				out = append(out, Key{Block, m.From})
			}
		}
	case *events.StationSited:
		out = append(out, Key{Station, d.Station})
	case *events.WeatherRead:
		out = append(out, Key{Station, d.Station})
	default:
		for _, p := range PartsOf(f.decoded) {
			out = append(out, Key{Block, p.Block})
		}
		if station := stationOf(f.decoded); station != "" {
			out = append(out, Key{Station, station})
		}
		lots, loads := lotsOf(f.decoded)
		out = filed(filed(out, Lot, lots), Delivery, loads)
	}
	if len(out) == 0 {
		return []Key{FarmKey}
	}
	slices.SortFunc(out, func(a, b Key) int { return strings.Compare(a.String(), b.String()) })
	return slices.Compact(out)
}

// filed adds the keys of codes, and the farm's where there are any.
func filed(keys []Key, class string, codes []string) []Key {
	for _, code := range codes {
		if code != "" {
			keys = append(keys, Key{class, code}, FarmKey)
		}
	}
	return keys
}

// A Saying is a correction or withdrawal of a record, as the recorder needs it.
type Saying struct {
	ID        events.ID
	Follows   events.ID
	Withdraws bool
	Chains    string // the envelope's attribute
}

// Said lists what was said about a record, in the order of ids; also what waits for it.
func (b *Book) Said(target events.ID) []Saying {
	var out []Saying
	for _, v := range b.versions[target] {
		out = append(out, Saying{v.record.ID, v.follows, v.withdraws, v.record.Envelope.Chains})
	}
	slices.SortFunc(out, func(x, y Saying) int { return slices.Compare(x.ID[:], y.ID[:]) })
	return out
}
