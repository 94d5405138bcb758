package stations

import (
	"math/big"
	"strings"
	"time"

	"latewood/events"
	"latewood/events/canon"
)

// A Resolved is a record of a SenML pack with its base fields put in: RFC 8428, section 4.6. It has one of Value, Text,
// Truth and Bytes, or a Sum, or a Value and a Sum.
type Resolved struct {
	Index int // in the pack, from 0
	Name  string
	Unit  string // as stated; empty: none
	// At is when it was measured. Relative says that the pack gave no moment but a number of seconds from now (Offset,
	// negative: ago), and At then is that far from the moment that ResolveSenML was given.
	At       time.Time
	Relative bool
	Offset   time.Duration
	// Value and Sum are the doubles nearest to the exact decimals.
	Value, Sum *float64
	Text       *string
	Truth      *bool
	Bytes      *string  // base64 without padding, as it stood there
	Update     *float64 // seconds until the next, at most

	exact *big.Rat // of Value
}

// What a pack may have at most, of the project: more is no pack of a weather station.
const (
	MaxPack    = 1 << 20 // bytes
	MaxRecords = 10_000
)

// firstAbsolute is the least time, in seconds, that is a moment; below it seconds are counted from now: RFC 8428,
// section 4.5.3.
const firstAbsolute = 1 << 28

// senmlVersion is the newest version that there is, and the one that a pack without `bver` has.
const senmlVersion = 10

// base holds the base fields in force.
type base struct {
	name, unit       string
	time, value, sum *big.Rat
	version          float64
	versioned        bool
}

// ResolveSenML reads a pack in JSON. now is when it came in; what counts from now is resolved against it. Where there are
// problems nothing of the pack counts: a base field that was misread would be misread for every record behind it.
func ResolveSenML(pack []byte, now time.Time) ([]Resolved, events.Problems) {
	if len(pack) > MaxPack {
		return nil, events.Problems{{Why: say("stations.senml-large", "most", MaxPack), Instead: say("stations.senml-large-instead")}}
	}
	v, err := canon.Parse(pack)
	if err != nil {
		e, ok := canon.IsSyntax(err)
		if !ok {
			e = &canon.SyntaxError{What: canon.Unexpected}
		}
		what := say("json."+e.What, "offset", e.Offset, "text", shown(e.Text))
		return nil, events.Problems{{Value: shown(string(pack)), Why: say("stations.senml-json", "what", what), Instead: say("stations.senml-instead")}}
	}
	if v.Kind != canon.List || len(v.Items) == 0 {
		return nil, events.Problems{{Value: shown(string(pack)), Why: say("stations.senml-list"), Instead: say("stations.senml-instead")}}
	}
	if len(v.Items) > MaxRecords {
		return nil, events.Problems{{Why: say("stations.senml-records", "most", MaxRecords), Instead: say("stations.senml-large-instead")}}
	}
	r := resolving{now: now, base: base{time: new(big.Rat)}}
	var out []Resolved
	for i, item := range v.Items {
		before := len(r.problems)
		rec, measured := r.record(i, item)
		if measured && len(r.problems) == before {
			out = append(out, rec)
		}
	}
	if len(r.problems) > 0 {
		return nil, r.problems
	}
	return out, nil
}

type resolving struct {
	base
	now      time.Time
	problems events.Problems
}

func (r *resolving) add(i int, field string, value any, why events.Sentence) {
	const most = 20 // nobody reads more about one pack
	if s, ok := value.(string); ok {
		value = shown(s)
	}
	if len(r.problems) < most {
		//words:data a path within the pack
		r.problems = append(r.problems, events.Problem{Field: "[" + number(float64(i)) + "]" + field, Value: value, Why: why, Instead: say("stations.senml-instead")})
	}
}

// record puts the base fields into one record. measured: it says something itself.
func (r *resolving) record(i int, v canon.Value) (out Resolved, measured bool) {
	out.Index = i
	if v.Kind != canon.Object {
		r.add(i, "", events.Plain(v), say("stations.senml-object"))
		return out, false
	}
	var name, unit string
	var at, value, sum *big.Rat
	for _, m := range v.Members {
		measured = measured || !strings.HasPrefix(m.Name, "b")
		switch m.Name {
		case "bn":
			r.text(i, m, &r.name)
		case "bu":
			r.text(i, m, &r.unit)
		case "bt":
			r.number(i, m, &r.time)
		case "bv":
			r.number(i, m, &r.value)
		case "bs":
			r.number(i, m, &r.sum)
		case "bver":
			r.bver(i, m)
		case "n":
			r.text(i, m, &name)
		case "u":
			r.text(i, m, &unit)
		case "t":
			r.number(i, m, &at)
		case "v":
			r.number(i, m, &value)
		case "s":
			r.number(i, m, &sum)
		case "ut":
			var ut *big.Rat
			if r.number(i, m, &ut); ut != nil {
				f := nearest(ut)
				out.Update = &f
			}
		case "vs":
			out.Text = new(string)
			r.text(i, m, out.Text)
		case "vd":
			out.Bytes = new(string)
			r.text(i, m, out.Bytes)
		case "vb":
			if m.Value.Kind != canon.Bool {
				r.add(i, ".vb", events.Plain(m.Value), say("stations.senml-kind", "field", m.Name))
				break
			}
			out.Truth = &m.Value.Bool
		default:
			// Source: RFC 8428, section 4.4: a label that ends so must be understood, any other unknown one is ignored.
			if strings.HasSuffix(m.Name, "_") {
				r.add(i, "."+shown(m.Name), nil, say("stations.senml-must"))
			}
		}
	}
	if !measured {
		return out, false
	}
	r.join(i, &out, name)
	out.Unit = unit
	if unit == "" {
		out.Unit = r.unit
	}
	r.values(i, &out, value, sum)
	r.at(i, &out, at)
	return out, true
}

func (r *resolving) text(i int, m canon.Member, into *string) {
	if m.Value.Kind != canon.String {
		r.add(i, "."+m.Name, events.Plain(m.Value), say("stations.senml-kind", "field", m.Name))
		return
	}
	*into = m.Value.Str
}

func (r *resolving) number(i int, m canon.Member, into **big.Rat) {
	if m.Value.Kind != canon.Number {
		r.add(i, "."+m.Name, events.Plain(m.Value), say("stations.senml-kind", "field", m.Name))
		return
	}
	n, ok := decimal(m.Value.Str)
	if !ok {
		r.add(i, "."+m.Name, m.Value.Str, say("stations.senml-number"))
		return
	}
	*into = n
}

// bver: one version for the whole pack, and none newer than ours.
func (r *resolving) bver(i int, m canon.Member) {
	if m.Value.Kind != canon.Number || m.Value.Num > senmlVersion || r.versioned && m.Value.Num != r.version {
		r.add(i, ".bver", events.Plain(m.Value), say("stations.senml-version", "most", senmlVersion))
		return
	}
	r.version, r.versioned = m.Value.Num, true
}

// join puts the two parts of a name together: section 4.5.1 has the characters that it may be of.
func (r *resolving) join(i int, out *Resolved, name string) {
	out.Name = r.name + name
	letter := func(c byte) bool { return c >= 'A' && c <= 'Z' || c >= 'a' && c <= 'z' || c >= '0' && c <= '9' }
	ok := out.Name != "" && letter(out.Name[0])
	for j := range len(out.Name) {
		ok = ok && (letter(out.Name[j]) || strings.IndexByte("-:./_", out.Name[j]) >= 0)
	}
	if !ok {
		r.add(i, ".n", out.Name, say("stations.senml-name"))
	}
}

// values: one kind of value, or a sum, or both; a base value or sum that stands alone counts as such (from memory).
func (r *resolving) values(i int, out *Resolved, value, sum *big.Rat) {
	n := 0
	for _, there := range []bool{value != nil, out.Text != nil, out.Truth != nil, out.Bytes != nil} {
		if there {
			n++
		}
	}
	if n == 0 && sum == nil && r.value != nil {
		value, n = new(big.Rat), 1
	}
	if n == 0 && sum == nil && r.sum != nil {
		sum = new(big.Rat)
	}
	if n > 1 || n == 0 && sum == nil {
		r.add(i, "", nil, say("stations.senml-values"))
		return
	}
	if value != nil {
		out.exact = value
		if r.value != nil {
			out.exact = new(big.Rat).Add(value, r.value)
		}
		f := nearest(out.exact)
		out.Value = &f
	}
	if sum != nil {
		if r.sum != nil {
			sum = new(big.Rat).Add(sum, r.sum)
		}
		f := nearest(sum)
		out.Sum = &f
	}
}

// at resolves the time, to the nanosecond.
func (r *resolving) at(i int, out *Resolved, at *big.Rat) {
	seconds := r.time
	if at != nil {
		seconds = new(big.Rat).Add(seconds, at)
	}
	// Beyond the year 2262 there are no nanoseconds in 64 bits, and no readings.
	ns, ok := scaled(seconds, int64(time.Second))
	if !ok {
		r.add(i, ".t", seconds.FloatString(3), say("stations.senml-time"))
		return
	}
	if out.Relative = seconds.Cmp(new(big.Rat).SetInt64(firstAbsolute)) < 0; out.Relative {
		out.Offset = time.Duration(ns)
		out.At = r.now.Add(out.Offset)
		return
	}
	out.At = time.Unix(0, ns).UTC()
}
