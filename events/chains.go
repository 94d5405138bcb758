package events

import (
	"encoding/base64"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"latewood/events/canon"
)

// FarmChain is the chain of every record that no other rule places.
const FarmChain = "farm"

// MaxChains is the most chains that one record may stand in. A record of one block, or of one lot with its loads, stands in
// a handful; what needs more is split by desks and `bundle` before it is recorded.
const MaxChains = 255

// A chainRule tells a record's own chains from its id and data. It sees nothing else, so that anyone who holds the bytes
// can tell them too.
type chainRule func(id ID, data canon.Value) []string

// OwnChains returns the chains that a record stands in by its type and data alone, in byte order of their names. data is
// that of the kind's newest version (see Upcast); id is the record's.
//
// A correction's own chains are those that its record would have with the corrected data: a spray that moves to another
// block by correction is seen in that block's chain. Beside them, corrections and withdrawals stand in the chains of what
// they follow. Those are not theirs by data, and whoever records them adds them with MergeChains; a withdrawal has no
// chains of its own, so for it this is nil.
func (k *Kind) OwnChains(id ID, data canon.Value) []string {
	switch k.Name {
	case "record.withdrawn":
		return nil
	case "record.corrected":
		name, version, _ := SplitType(data.Get("type").Str)
		of, err := ParseID(data.Get("record").Str)
		if inner := k.in.Kind(name); inner != nil && err == nil && Correctable(name) {
			up := data.Get("data")
			if version < inner.Version {
				up, err = k.in.upcast(inner, version, up)
			}
			if err == nil {
				return inner.OwnChains(of, up)
			}
		}
		return nil
	}
	return MergeChains(k.chain(id, data))
}

// DrawnPicks lists the picks that a lot or load was made of, in the order of its data; none for records of other kinds. data is
// that of the kind's newest version. What corrects or withdraws such a pick afterwards stands in the record's lot/ or
// delivery/ chain too, so that who walks that chain sees it.
func (k *Kind) DrawnPicks(data canon.Value) []ID {
	var path []string
	switch k.Name {
	case "fruit.delivered":
		path = []string{"picks", "pick"}
	case "lot.packed":
		path = []string{"inputs", "pick"}
	default:
		return nil
	}
	var out []ID
	for _, v := range at(data, path).Items {
		if id, err := ParseID(v.Str); err == nil {
			out = append(out, id)
		}
	}
	return out
}

// MergeChains puts chain names in byte order, each once; no names at all become the farm's chain.
func MergeChains(lists ...[]string) []string {
	all := slices.Concat(lists...)
	slices.Sort(all)
	all = slices.Compact(all)
	if len(all) == 0 {
		return []string{FarmChain}
	}
	return all
}

// chainFarm is for what no other rule places.
func chainFarm(ID, canon.Value) []string { return nil }

func chainBlock(class, field string) chainRule {
	return func(_ ID, data canon.Value) []string { return named(class, data.Get(field)) }
}

// chainWhere places a record by its `where`; a record without one stands in the farm's chain.
func chainWhere(class string) chainRule {
	return func(_ ID, data canon.Value) []string { return whereChains(class, data) }
}

func whereChains(class string, data canon.Value) []string {
	where := data.Get("where")
	if where.Kind != canon.List {
		return named(class, where.Get("block"))
	}
	var out []string
	for _, part := range where.Items {
		out = append(out, named(class, part.Get("block"))...)
	}
	return out
}

// chainOwn gives a record a chain of its own id.
func chainOwn(class string) chainRule {
	return func(id ID, _ canon.Value) []string { return []string{class + "/" + id.String()} }
}

// chainNamed puts a record into the chains of the ids in fields.
func chainNamed(class string, fields ...string) chainRule {
	return func(_ ID, data canon.Value) []string {
		var out []string
		for _, f := range fields {
			out = append(out, named(class, data.Get(f))...)
		}
		return out
	}
}

// chainCodes puts a record into the chains of the lots or loads that stand at paths, as "inputs.lot" for those of every item
// of the list inputs.
func chainCodes(class string, paths ...string) chainRule {
	return func(_ ID, data canon.Value) []string {
		var out []string
		for _, path := range paths {
			out = append(out, named(class, at(data, strings.Split(path, ".")))...)
		}
		return out
	}
}

// chainEach puts a record into the chains of every rule.
func chainEach(rules ...chainRule) chainRule {
	return func(id ID, data canon.Value) []string {
		var out []string
		for _, rule := range rules {
			out = append(out, rule(id, data)...)
		}
		return out
	}
}

// chainLotOrLoad is for what is done to a lot or to a load.
func chainLotOrLoad(id ID, data canon.Value) []string {
	return chainEach(chainCodes("lot", "lot"), chainCodes("delivery", "delivery"))(id, data)
}

// at walks a path; below a list it gathers what stands at the path in every item.
func at(v canon.Value, path []string) canon.Value {
	if len(path) == 0 {
		return v
	}
	if v.Kind != canon.List {
		return at(v.Get(path[0]), path[1:])
	}
	out := canon.Value{Kind: canon.List}
	for _, item := range v.Items {
		out.Items = append(out.Items, at(item, path))
	}
	return out
}

// chainSpray is for what happens in a spray's life: the inputs of its blocks, the chain of its own id if it begins one,
// and the chains of what it names.
func chainSpray(own bool, names ...string) chainRule {
	refs := chainNamed("spray", names...)
	return func(id ID, data canon.Value) []string {
		out := append(whereChains("inputs", data), refs(id, data)...)
		if own {
			out = append(out, "spray/"+id.String())
		}
		return out
	}
}

// chainRedrawn places a redrawing in the chains of the blocks that were and that are.
func chainRedrawn(_ ID, data canon.Value) []string {
	out := named("growth", data.Get("from"))
	for _, b := range data.Get("into").Items {
		out = append(out, named("growth", b.Get("block"))...)
	}
	return out
}

// chainMoved places a move in the chains of the old block and the new one.
func chainMoved(_ ID, data canon.Value) []string {
	var out []string
	for _, m := range data.Get("moves").Items {
		out = append(out, named("growth", m.Get("block"))...)
		out = append(out, named("growth", m.Get("from"))...)
	}
	return out
}

// chainHeads is for evidence, which is itself the next link of every chain that it shows the end of.
func chainHeads(_ ID, data canon.Value) []string {
	var out []string
	for _, h := range data.Get("heads").Items {
		if c := h.Get("chain"); c.Kind == canon.String {
			out = append(out, c.Str)
		}
	}
	return out
}

// named makes chain names of a text or a list of texts.
func named(class string, v canon.Value) []string {
	switch v.Kind {
	case canon.String:
		return []string{class + "/" + chainName(v.Str)}
	case canon.List:
		var out []string
		for _, item := range v.Items {
			out = append(out, named(class, item)...)
		}
		return out
	}
	return nil
}

// A Link is a record's place in one chain.
type Link struct {
	Chain string
	Place uint64   // in the chain, from 1, without gaps
	Prev  [32]byte // the leaf hash of the chain's record before; zero for the first
}

// FormatChains writes the envelope's chains attribute: for each link, in the order given, the chain's name, the place and
// the leaf hash of the one before ("-" for the first).
func FormatChains(links []Link) string {
	var b strings.Builder
	for i, l := range links {
		if i > 0 {
			b.WriteString(", ")
		}
		b.WriteString(l.Chain)
		b.WriteByte(' ')
		b.WriteString(strconv.FormatUint(l.Place, 10))
		b.WriteByte(' ')
		if l.Place == 1 {
			b.WriteByte('-')
		} else {
			b.WriteString(base64Text(l.Prev))
		}
	}
	return b.String()
}

// ParseChains reads a chains attribute and refuses what FormatChains would not write.
func ParseChains(s string) ([]Link, error) {
	parts := strings.Split(s, ", ")
	links := make([]Link, 0, len(parts))
	for _, part := range parts {
		f := strings.Split(part, " ")
		if len(f) != 3 || f[0] == "" {
			return nil, fmt.Errorf("events: chains: %q is not a name, a place and a hash", part)
		}
		place, err := strconv.ParseUint(f[1], 10, 64)
		if err != nil || place == 0 || strconv.FormatUint(place, 10) != f[1] {
			return nil, fmt.Errorf("events: chains: %q is not a place in a chain", f[1])
		}
		l := Link{Chain: f[0], Place: place}
		if (place == 1) != (f[2] == "-") {
			return nil, fmt.Errorf("events: chains: %s %d: the first link, and only it, has no hash before it", f[0], place)
		}
		if place > 1 {
			prev, err := base64.StdEncoding.Strict().DecodeString(f[2])
			if err != nil || len(prev) != 32 {
				return nil, fmt.Errorf("events: chains: %s %d: %q is not a leaf hash", f[0], place, f[2])
			}
			copy(l.Prev[:], prev)
		}
		if n := len(links); n > 0 && links[n-1].Chain >= l.Chain {
			return nil, fmt.Errorf("events: chains: %s does not stand in the order of names", l.Chain)
		}
		links = append(links, l)
	}
	return links, nil
}
