package projections

import (
	"cmp"
	"maps"
	"slices"
	"strings"
	"time"

	"latewood/events"
	"latewood/events/civil"
	"latewood/events/units"
	"latewood/projections/settings"
)

// A View is what a fold sees of one key.
type View struct {
	Key   Key
	Zone  *time.Location
	Facts []*Fact // of the key, withdrawn ones too, in order of time and id
	book  *Book
}

// View returns the view of a key.
func (b *Book) View(k Key) *View {
	return &View{Key: k, Zone: b.Zone(), Facts: b.factsOf(k), book: b}
}

// Standing are the facts that count, in order.
func (v *View) Standing() []*Fact {
	return slices.DeleteFunc(slices.Clone(v.Facts), func(f *Fact) bool { return !f.Stands() })
}

// Farm is the farm's first record, nil while there is none.
func (v *View) Farm() *events.FarmOpened { return v.book.Opened() }

// Fact finds a fact anywhere in the Book by the text of an id, nil if it is not there.
func (v *View) Fact(id string) *Fact {
	parsed, err := events.ParseID(id)
	if err != nil {
		return nil
	}
	return v.book.facts[parsed]
}

// Label finds the label with an id: its fact and its data, nil if there is none by this knowledge or it was withdrawn.
func (v *View) Label(id string) (*Fact, *events.LabelFiled) {
	f := v.Fact(id)
	if f == nil {
		return nil, nil
	}
	label, _ := f.decoded.(*events.LabelFiled)
	if label == nil || !f.Stands() {
		return f, nil
	}
	return f, label
}

// Products names what is in a mix, each once: as typed, else as on its label, else by the label's id.
func (v *View) Products(mix []events.MixItem) []string {
	out := []string{}
	for _, item := range mix {
		name := item.Product
		if _, label := v.Label(item.Label); label != nil {
			name = cmp.Or(name, label.Product)
		}
		if name = cmp.Or(name, item.Label); !slices.Contains(out, name) {
			out = append(out, name)
		}
	}
	return out
}

// About lists the standing facts that say something about a record (its plan's end, its label's closing, a judgement), in
// order of time and id.
func (v *View) About(id events.ID) []*Fact {
	var out []*Fact
	for f := range maps.Values(v.book.about[id]) {
		if f.Stands() {
			out = append(out, f)
		}
	}
	slices.SortFunc(out, before)
	return out
}

// AlsoAbout is About with the facts that were withdrawn: what was said and does not count any more.
func (v *View) AlsoAbout(id events.ID) []*Fact {
	out := slices.AppendSeq(make([]*Fact, 0, len(v.book.about[id])), maps.Values(v.book.about[id]))
	slices.SortFunc(out, before)
	return out
}

// Filled lists the standing picks that went into a bin, in order of time and id. The view must be of the farm's key: only
// that moves with every pick.
func (v *View) Filled(bin string) []*Fact {
	var out []*Fact
	for f := range maps.Values(v.book.filled[bin]) {
		if f.Stands() {
			out = append(out, f)
		}
	}
	slices.SortFunc(out, before)
	return out
}

// MassOf is a mass as weighed, else that of containers by the settings of a day, in milligrams; ok is false where neither
// is known.
func (v *View) MassOf(mass *events.Quantity, containers []events.Container, on civil.Date) (mg int64, ok bool) {
	if mass != nil {
		mg, err := units.Base(mass.Value, mass.Unit)
		return mg, err == nil
	}
	for _, c := range containers {
		n := 1
		if c.Count != nil {
			n = max(*c.Count, 0)
		}
		value, known := v.Number(settings.ContainerMassStem+c.Kind, on)
		all, err := units.Base(value*float64(n), "kg")
		if !known || err != nil || mg > units.MaxBase-all {
			return 0, false
		}
		mg += all
	}
	return mg, len(containers) > 0
}

// Parts returns the parts of a fact's `where` that lie in the view's block.
func (v *View) Parts(f *Fact) []events.Part {
	// A copy: DeleteFunc on the fact's own parts would take the other blocks' parts away for good.
	return slices.DeleteFunc(slices.Clone(PartsOf(f.decoded)), func(p events.Part) bool { return p.Block != v.Key.Code })
}

// Ground is the standing of the trees of the view's block.
func (v *View) Ground() *Ground { return v.book.groundOf(v.Key.Code) }

// GroundOf is the standing of the trees of another block, for records that name several blocks together: a pick over two
// blocks is shared over the trees of both. The view's key is computed anew when the trees of a block move that one of its
// records names beside it; of any other block the answer may be out of date.
func (v *View) GroundOf(block string) *Ground { return v.book.groundOf(block) }

// HasBlock reports whether any record of the Book establishes a block, or plants a tree, with this code.
func (v *View) HasBlock(code string) bool {
	for _, f := range v.book.byKey[Key{Block, code}] {
		switch f.decoded.(type) {
		case *events.BlockEstablished, *events.BlockRedrawn, *events.TreePlanted:
			if f.Stands() {
				return true
			}
		}
	}
	return false
}

// HasTree reports whether a standing record planted a tree with this code, anywhere on the farm.
func (v *View) HasTree(code string) bool {
	for block := range v.book.treeBlocks[code] {
		for _, f := range v.book.byKey[Key{Block, block}] {
			if d, ok := f.decoded.(*events.TreePlanted); ok && d.Tree == code && f.Stands() {
				return true
			}
		}
	}
	return false
}

// Planters lists the standing tree.planted facts of a code in order: more than one means that the code was used again.
func (v *View) Planters(code string) []*Fact {
	var out []*Fact
	for block := range v.book.treeBlocks[code] {
		for _, f := range v.book.byKey[Key{Block, block}] {
			if d, ok := f.decoded.(*events.TreePlanted); ok && d.Tree == code && f.Stands() {
				out = append(out, f)
			}
		}
	}
	slices.SortFunc(out, before)
	return out
}

// Weather is a station's readings, nil if there are none.
func (v *View) Weather() *Series { return v.book.stations[v.Key.Code] }

// adopted finds the setting.adopted that holds on a day: of those from that day or before, the one with the latest
// `from`; of equal ones the latest by time and id.
func (b *Book) adopted(name string, on civil.Date) *events.SettingAdopted {
	var best *events.SettingAdopted
	for _, f := range b.state().settings {
		d := f.decoded.(*events.SettingAdopted)
		if d.Name == name && d.From <= on.String() && (best == nil || d.From >= best.From) {
			best = d
		}
	}
	return best
}

// Adopted lists the standing setting.adopted facts of the farm in order.
func (b *Book) Adopted() []*Fact { return slices.Clone(b.state().settings) }

// Number is a setting's value on a day in the setting's own unit; ok is false where it has neither default nor value.
func (b *Book) Number(name string, on civil.Date) (value float64, ok bool) {
	s, known := settings.Lookup(name)
	if !known {
		return 0, false
	}
	if d := b.adopted(name, on); d != nil {
		var f float64
		if events.ReadJSON(d.Value, &f) == nil {
			if f, ok = s.InUnit(f, d.Unit); ok {
				return f, true
			}
		}
	}
	value, ok = s.Default.(float64)
	return value, ok
}

// Text is a setting's text on a day, "" where it has neither default nor value.
func (b *Book) Text(name string, on civil.Date) string {
	if d := b.adopted(name, on); d != nil {
		var s string
		if events.ReadJSON(d.Value, &s) == nil {
			return s
		}
	}
	s, _ := settings.Lookup(name)
	text, _ := s.Default.(string)
	return text
}

// Number is a setting's value on a day: see Book.Number.
func (v *View) Number(name string, on civil.Date) (float64, bool) { return v.book.Number(name, on) }

// Text is a setting's text on a day: see Book.Text.
func (v *View) Text(name string, on civil.Date) string { return v.book.Text(name, on) }

// Wide lists the standing season.named facts in order.
func (v *View) seasonsNamed() []*Fact { return v.book.state().seasons }

// A Fold computes the state of one key of its class.
type Fold struct {
	Name    string // stable: it names stored states
	Version int    // raised whenever the same facts give other bytes
	Class   string
	fold    func(*View) any
	read    func([]byte) (any, error)
}

// NewFold wraps a pure function as a fold.
func NewFold[S any](name string, version int, class string, fold func(*View) *S) *Fold {
	return &Fold{
		Name: name, Version: version, Class: class,
		fold: func(v *View) any { return fold(v) },
		read: func(b []byte) (any, error) {
			s := new(S)
			return s, events.ReadJSON(b, s)
		},
	}
}

// State returns a fold's state of a key, computed anew if anything under the key moved. The state belongs to the Book:
// callers must not change it.
func (b *Book) State(f *Fold, code string) any {
	ck := cacheKey{f.Name, Key{f.Class, code}}
	b.clean(ck.key)
	if s, ok := b.cache[ck]; ok {
		return s
	}
	if stored, ok := b.loaded[ck]; ok {
		if s, err := f.read(stored); err == nil {
			b.cache[ck] = s
			return s
		}
	}
	s := f.fold(b.View(ck.key))
	b.cache[ck] = s
	return s
}

// clean drops what is stored of a dirty key.
func (b *Book) clean(k Key) {
	if !b.dirty[k] {
		return
	}
	delete(b.dirty, k)
	for ck := range b.cache {
		if ck.key == k {
			delete(b.cache, ck)
		}
	}
	for ck := range b.loaded {
		if ck.key == k {
			delete(b.loaded, ck)
		}
	}
}

// StateOf is State with the type of the fold's state.
func StateOf[S any](b *Book, f *Fold, code string) *S { return b.State(f, code).(*S) }

// Dirty lists the keys whose states would be computed anew, in order.
func (b *Book) Dirty() []Key {
	out := slices.AppendSeq(make([]Key, 0, len(b.dirty)), maps.Keys(b.dirty))
	slices.SortFunc(out, func(a, b Key) int {
		return cmp.Or(strings.Compare(a.Class, b.Class), strings.Compare(a.Code, b.Code))
	})
	return out
}
