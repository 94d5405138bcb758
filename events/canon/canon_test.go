package canon_test

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/gowebpki/jcs"
	"pgregory.net/rapid"

	"latewood/events/canon"
)

// The pairs of the RFC 8785 reference test data (cyberphone/json-canonicalization, testdata, by the RFC's author), as the
// module github.com/gowebpki/jcs carries them. The sums are those of the expected outputs; six of them are published with
// the test data, those of false, null, simpleString and true were taken from the module, v1.0.2.
var outputSums = map[string]string{
	"arrays":       "099601b171cafed97c333f8878d68e7f8c8f795412adb34b2fdcf0e7c7beac42",
	"structures":   "605f65004ec2db7692522a0852c22f1c989e036d547e88963d1a3143cf3195d5",
	"values":       "2d5e01a318d0f0879ab568c4be289c8b1f64ef8921a53c6277d5e069978baacb",
	"unicode":      "0d99aad92a125196ff887876643fd3206786a84ddce2cee52ba4ad256d2381d3",
	"french":       "d99d0ebdcb0033cb858cfa830ae46bc0fb3309413b271f1da828c89901a27ed5",
	"weird":        "6af595a9aa80110b964b4de3f82a05fa6ae7423005019bacfa2620dddc4e94d1",
	"false":        "fcbcf165908dd18a9e49f7ff27810176db8e9f63b4352213741664245224f8aa",
	"null":         "74234e98afe7498fb5daf1f36ac2d78acc339464f950703b8c019892f982b90b",
	"simpleString": "a64a9d392b30235e5a384d1aa7faf3bba8d55342246309355f38b79781845029",
	"true":         "b5bea41b6c623f7c09f1bf24dcae58ebab3c0cdd90ad966bc43a45b44867e12b",
}

func TestReferencePairs(t *testing.T) {
	t.Parallel()
	out, err := exec.Command("go", "list", "-m", "-f", "{{.Dir}}", "github.com/gowebpki/jcs").Output()
	if err != nil {
		t.Fatalf("go list -m github.com/gowebpki/jcs: %v", err)
	}
	dir := filepath.Join(strings.TrimSpace(string(out)), "testdata")
	inputs, err := filepath.Glob(filepath.Join(dir, "input", "*.json"))
	if err != nil || len(inputs) != len(outputSums) {
		t.Fatalf("got %d inputs in %s (%v), want %d", len(inputs), dir, err, len(outputSums))
	}
	for _, in := range inputs {
		name := strings.TrimSuffix(filepath.Base(in), ".json")
		input, err := os.ReadFile(in)
		if err != nil {
			t.Fatal(err)
		}
		want, err := os.ReadFile(filepath.Join(dir, "output", name+".json"))
		if err != nil {
			t.Fatal(err)
		}
		v, err := canon.Parse(input)
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		got := canon.Bytes(v)
		if !bytes.Equal(got, bytes.TrimRight(want, "\n")) {
			t.Errorf("%s:\n got %s\nwant %s", name, got, want)
		}
		sum := sha256.Sum256(want)
		if got := hex.EncodeToString(sum[:]); got != outputSums[name] {
			t.Errorf("%s: the expected output has the sum %s, the table says %s", name, got, outputSums[name])
		}
	}
	t.Logf("counts: %d reference pairs of RFC 8785", len(inputs))
}

// Numbers of RFC 8785 appendix B, and the corners that records meet.
func TestNumbers(t *testing.T) {
	t.Parallel()
	for _, tc := range []struct{ text, want string }{
		{"0", "0"}, {"-0", "0"}, {"-0.0", "0"}, {"-0e3", "0"}, {"1.0", "1"}, {"1E2", "100"}, {"1e+2", "100"}, {"1e-400", "0"},
		{"5e-324", "5e-324"}, {"-5e-324", "-5e-324"},
		{"1.7976931348623157e308", "1.7976931348623157e+308"}, {"-1.7976931348623157e308", "-1.7976931348623157e+308"},
		{"9007199254740992", "9007199254740992"}, {"-9007199254740992", "-9007199254740992"}, {"9007199254740993", "9007199254740992"},
		{"295147905179352830000", "295147905179352830000"}, {"9.999999999999997e22", "9.999999999999997e+22"}, {"1e23", "1e+23"},
		{"1.0000000000000001e23", "1.0000000000000001e+23"}, {"999999999999999700000", "999999999999999700000"},
		{"999999999999999900000", "999999999999999900000"}, {"1e21", "1e+21"}, {"9.999999999999997e-7", "9.999999999999997e-7"},
		{"0.000001", "0.000001"}, {"333333333.3333332", "333333333.3333332"}, {"333333333.33333325", "333333333.33333325"},
		{"333333333.3333333", "333333333.3333333"}, {"333333333.3333334", "333333333.3333334"}, {"-0.0000033333333333333333", "-0.0000033333333333333333"},
		{"1424953923781206.2", "1424953923781206.2"}, {"12.50", "12.5"}, {"0.1", "0.1"},
	} {
		v, err := canon.Parse([]byte(tc.text))
		if err != nil {
			t.Errorf("%s: %v", tc.text, err)
			continue
		}
		if got := string(canon.Bytes(v)); got != tc.want {
			t.Errorf("%s: got %s, want %s", tc.text, got, tc.want)
		}
		if v.Str != tc.text {
			t.Errorf("%s: the text as read is %q", tc.text, v.Str)
		}
	}
}

func TestRefused(t *testing.T) {
	t.Parallel()
	deep := func(n int) string { return strings.Repeat("[", n) + "1" + strings.Repeat("]", n) }
	many := func(last string) string {
		var b strings.Builder
		for i := range 100 {
			b.WriteString(`"n` + strings.Repeat("x", i) + `":1,`)
		}
		return "{" + b.String() + last + "}"
	}
	for _, tc := range []struct {
		name, text string
		what       string
		offset     int
	}{
		{"doubled name", `{"a":1,"a":2}`, canon.DoubledName, 7},
		{"doubled name, once escaped", `{"a":1,"\u0061":2}`, canon.DoubledName, 7},
		{"doubled name among many", many(`"nx":2`), canon.DoubledName, -1},
		{"not UTF-8", "\"a\xff\"", canon.NotUTF8, 1},
		{"not UTF-8 behind an escape", "\"\\n\xc3\"", canon.NotUTF8, 1},
		{"a surrogate in UTF-8", "\"\xed\xa0\x80\"", canon.NotUTF8, 1},
		{"not UTF-8 in a name", "{\"\xfe\":1}", canon.NotUTF8, 2},
		{"high surrogate alone", `"\ud83d"`, canon.HalfASurrogate, 1},
		{"high surrogate and text", `"\ud83dx"`, canon.HalfASurrogate, 1},
		{"high surrogate twice", `"\ud83d\ud83d"`, canon.HalfASurrogate, 1},
		{"high surrogate and an escape", `"\ud83d\n....."`, canon.HalfASurrogate, 1},
		{"low surrogate alone", `"\ude00"`, canon.HalfASurrogate, 1},
		{"too large", `1e400`, canon.NumberTooLarge, 0},
		{"too small to be finite", `[-1e400]`, canon.NumberTooLarge, 1},
		{"two values", `{} {}`, canon.Trailing, 3},
		{"a comma behind", `1,`, canon.Trailing, 1},
		{"too deep", deep(canon.MaxDepth + 1), canon.TooDeep, canon.MaxDepth + 1},
		{"far too deep", strings.Repeat("[", 100_000), canon.TooDeep, canon.MaxDepth + 1},
		{"too deep in objects", strings.Repeat(`{"a":`, canon.MaxDepth+1) + "1" + strings.Repeat("}", canon.MaxDepth+1), canon.TooDeep, -1},
		{"control character", "\"a\tb\"", canon.ControlCharacter, 2},
		{"control character behind an escape", "\"\\n\x00\"", canon.ControlCharacter, 3},
		{"nothing", "", canon.EndsEarly, 0},
		{"blanks", " \n", canon.EndsEarly, 2},
		{"list not closed", "[1", canon.EndsEarly, 2},
		{"list not closed behind a comma", "[1,", canon.EndsEarly, 3},
		{"object not closed", `{"a":1`, canon.EndsEarly, 6},
		{"object not closed behind a comma", `{"a":1,`, canon.EndsEarly, 7},
		{"object without a value", `{"a":`, canon.EndsEarly, 5},
		{"text not closed", `"a`, canon.EndsEarly, 2},
		{"text not closed in an escape", `"\`, canon.EndsEarly, 1},
		{"text not closed behind an escape", `"\n`, canon.EndsEarly, 3},
		{"byte order mark", "\uFEFF{}", canon.Unexpected, 0},
		{"word", "yes", canon.Unexpected, 0},
		{"half a word", "tru", canon.Unexpected, 0},
		{"NaN", "NaN", canon.Unexpected, 0},
		{"plus", "+1", canon.Unexpected, 0},
		{"point first", ".5", canon.Unexpected, 0},
		{"comma too many in a list", "[1,]", canon.Unexpected, 3},
		{"comma too many in an object", `{"a":1,}`, canon.NameExpected, 7},
		{"name without quotes", `{a:1}`, canon.NameExpected, 1},
		{"no colon", `{"a" 1}`, canon.ColonExpected, 5},
		{"no comma", `[1 2]`, canon.CommaExpected, 3},
		{"wrong bracket", `[1}`, canon.CommaExpected, 2},
		{"minus only", "-", canon.BadNumber, 0},
		{"leading zero", "01", canon.BadNumber, 0},
		{"minus and leading zero", "-01", canon.BadNumber, 0},
		{"nothing behind the point", "1.", canon.BadNumber, 0},
		{"nothing behind the e", "1e", canon.BadNumber, 0},
		{"nothing behind the sign", "1e+", canon.BadNumber, 0},
		{"hexadecimal", "0x10", canon.Trailing, 1},
		{"underscore", "1_0", canon.Trailing, 1},
		{"unknown escape", `"\a"`, canon.BadEscape, 1},
		{"short escape", `"\u12"`, canon.BadEscape, 1},
		{"escape with a sign", `"\u+123"`, canon.BadEscape, 1},
		{"escape with an underscore", `"\u1_23"`, canon.BadEscape, 1},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			v, err := canon.Parse([]byte(tc.text))
			e, ok := canon.IsSyntax(err)
			if !ok {
				t.Fatalf("Parse(%.40q): got %v and error %v, want a SyntaxError", tc.text, v, err)
			}
			if e.What != tc.what || tc.offset >= 0 && e.Offset != tc.offset {
				t.Errorf("Parse(%.40q): got %s at byte %d, want %s at %d", tc.text, e.What, e.Offset, tc.what, tc.offset)
			}
			if !utf8.ValidString(e.Error()) || e.Error() == "" {
				t.Errorf("Parse(%.40q): error %q", tc.text, e.Error())
			}
		})
	}
	for _, good := range []string{deep(canon.MaxDepth), many(`"ny":2`), " \t\r\n1 \t\r\n", `"\ud83d\ude00\u00e9\/"`, "\"\x7f\u2028\""} {
		if _, err := canon.Parse([]byte(good)); err != nil {
			t.Errorf("Parse(%.40q): %v", good, err)
		}
	}
}

// texts makes strings with everything that escaping and ordering must get right.
func texts() *rapid.Generator[string] {
	return rapid.OneOf(
		rapid.String(),
		rapid.StringOf(rapid.SampledFrom([]rune("ab\x00\x1f\x7f\b\t\n\f\r\"\\/é€\u2028\u2029\ud7ff\ue000\ufb33\uffff😀\U0010ffff"))),
		rapid.StringMatching(`[a-z]{1,6}`),
	)
}

func numbers() *rapid.Generator[float64] {
	return rapid.OneOf(
		rapid.Float64(),
		rapid.Map(rapid.Int64Range(-1<<54, 1<<54), func(n int64) float64 { return float64(n) }),
		rapid.Map(rapid.Uint64(), math.Float64frombits).Filter(func(f float64) bool { return !math.IsNaN(f) && !math.IsInf(f, 0) }),
		rapid.SampledFrom([]float64{0, math.Copysign(0, -1), 1e21, 1e-7, 5e-324, math.MaxFloat64, 0.1}),
	)
}

func values(depth int) *rapid.Generator[canon.Value] {
	return rapid.Custom(func(t *rapid.T) canon.Value {
		most := 6
		if depth == 0 {
			most = 4
		}
		switch rapid.IntRange(1, most).Draw(t, "kind") {
		case 1:
			return canon.Value{Kind: canon.Null}
		case 2:
			return canon.Truth(rapid.Bool().Draw(t, "bool"))
		case 3:
			return canon.Num(numbers().Draw(t, "number"))
		case 4:
			return canon.Text(texts().Draw(t, "text"))
		case 5:
			return canon.ListOf(rapid.SliceOfN(values(depth-1), 0, 4).Draw(t, "items")...)
		}
		v := canon.Value{Kind: canon.Object}
		for _, name := range rapid.SliceOfNDistinct(texts(), 0, 6, rapid.ID[string]).Draw(t, "names") {
			v.Members = append(v.Members, canon.Member{Name: name, Value: values(depth-1).Draw(t, "value")})
		}
		return v
	})
}

func TestBytesAreThoseOfJCS(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		v := values(4).Draw(t, "value")
		got := canon.Bytes(v)
		want, err := jcs.Transform(got)
		if err != nil {
			t.Fatalf("jcs does not read %s: %v", got, err)
		}
		if !bytes.Equal(got, want) {
			t.Fatalf("not canonical:\n got %s\nwant %s", got, want)
		}
		back, err := canon.Parse(got)
		if err != nil {
			t.Fatalf("Parse(%s): %v", got, err)
		}
		if again := canon.Bytes(back); !bytes.Equal(again, got) {
			t.Fatalf("read and written again:\n got %s\nwant %s", again, got)
		}
		if !bytes.Equal(canon.Append([]byte("x"), v), append([]byte("x"), got...)) {
			t.Fatalf("Append behind a byte differs from Bytes of %s", got)
		}
	})
	t.Logf("counts: %d random values against a second implementation", checks)
}

// A value whose members come in any order, with blanks and escapes between, comes out the same.
func TestOrderAndSpacingDoNotCount(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		v := values(3).Draw(t, "value")
		want := canon.Bytes(v)
		got, err := canon.Parse([]byte(loose(t, v)))
		if err != nil {
			t.Fatalf("Parse of %s, written loosely: %v", want, err)
		}
		if b := canon.Bytes(got); !bytes.Equal(b, want) {
			t.Fatalf("written loosely:\n got %s\nwant %s", b, want)
		}
	})
}

// loose writes v with other spacing, other order and needless escapes.
func loose(t *rapid.T, v canon.Value) string {
	space := rapid.SampledFrom([]string{"", " ", "\n", "\t\r\n"})
	sp := func() string { return space.Draw(t, "space") }
	text := func(s string) string {
		var b strings.Builder
		for _, u := range s {
			if u < 0x20 || u == '"' || u == '\\' || u < 0x80 && rapid.Bool().Draw(t, "escape") {
				b.WriteString(`\u00` + hex.EncodeToString([]byte{byte(u)}))
				continue
			}
			b.WriteRune(u)
		}
		return `"` + b.String() + `"`
	}
	switch v.Kind {
	case canon.String:
		return sp() + text(v.Str) + sp()
	case canon.List:
		items := make([]string, len(v.Items))
		for i := range v.Items {
			items[i] = loose(t, v.Items[i])
		}
		return sp() + "[" + strings.Join(items, ",") + sp() + "]" + sp()
	case canon.Object:
		members := make([]string, len(v.Members))
		for i, m := range rapid.Permutation(v.Members).Draw(t, "order") {
			members[i] = sp() + text(m.Name) + sp() + ":" + loose(t, m.Value)
		}
		return sp() + "{" + strings.Join(members, ",") + sp() + "}" + sp()
	}
	return sp() + string(canon.Bytes(v)) + sp()
}

func TestNotWrittenAnew(t *testing.T) {
	t.Parallel()
	members := []canon.Member{{Name: "b", Value: canon.Num(1)}, {Name: "a", Value: canon.Num(2)}, {Name: "c"}}
	v := canon.ObjectOf(members...)
	if got, want := string(canon.Bytes(v)), `{"a":2,"b":1}`; got != want {
		t.Errorf("got %s, want %s", got, want)
	}
	if members[0].Name != "b" {
		t.Error("writing sorted the caller's members")
	}
	if got, want := string(canon.Bytes(canon.ListOf(canon.Value{}, canon.Num(1), canon.Value{}))), "[1]"; got != want {
		t.Errorf("absent items: got %s, want %s", got, want)
	}
	if got := string(canon.Bytes(canon.Value{})); got != "" {
		t.Errorf("nothing: got %q", got)
	}
}

func TestValue(t *testing.T) {
	t.Parallel()
	var v canon.Value
	v.Set("a", canon.Num(1))
	v.Set("b", canon.ListOf(canon.Text("x"), canon.ObjectOf(canon.Member{Name: "c", Value: canon.Truth(true)})))
	v.Set("a", canon.Num(2))
	c := v.Clone()
	c.Set("a", canon.Num(3))
	c.Members[1].Value.Items[1].Members[0].Value = canon.Truth(false)
	c.Members[1].Value.Items[0].Str = "y"
	if got, want := string(canon.Bytes(v)), `{"a":2,"b":["x",{"c":true}]}`; got != want {
		t.Errorf("the first after its copy changed: got %s, want %s", got, want)
	}
	if got, want := string(canon.Bytes(c)), `{"a":3,"b":["y",{"c":false}]}`; got != want {
		t.Errorf("the copy: got %s, want %s", got, want)
	}
	c.Drop("b")
	c.Drop("nothing")
	if got, want := string(canon.Bytes(c)), `{"a":3}`; got != want {
		t.Errorf("dropped: got %s, want %s", got, want)
	}
	if v.Get("nothing").Kind != canon.Absent || canon.Num(1).Get("a").Kind != canon.Absent {
		t.Error("Get gives something where there is nothing")
	}
	kinds := []canon.Kind{canon.Absent, canon.Null, canon.Bool, canon.Number, canon.String, canon.List, canon.Object}
	var names []string
	for _, k := range kinds {
		names = append(names, k.String())
	}
	if n := len(slices.Compact(slices.Sorted(slices.Values(names)))); n != len(kinds) {
		t.Errorf("kinds share names: %v", names)
	}
}

// FuzzParse holds Parse against a second implementation: it never panics, what both take comes out as the same bytes, and
// what only one takes is one of the differences that the package doc explains.
func FuzzParse(f *testing.F) {
	for _, s := range []string{
		`{}`, `[]`, ` null `, `{"b":1,"a":[true,"\ud83d\ude00",-0.0e1]}`, `"\ud800"`, "\"\xff\"", `1e400`, `{"a":1,"a":2}`, `[1,]`,
		`{"":1}`, `0.1`, `9007199254740993`, strings.Repeat("[", 70), "\uFEFF1", `"` + "\x7f" + `"`, `{"é":1,"😀":2,"דּ":3}`,
	} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		v, err := canon.Parse(b)
		want, otherErr := jcs.Transform(slices.Clip(append([]byte{}, b...)))
		switch {
		case err == nil && otherErr == nil:
			if got := canon.Bytes(v); !bytes.Equal(got, want) {
				t.Errorf("Parse(%q):\n got %s\nwant %s", b, got, want)
			}
		case err == nil:
			t.Errorf("Parse takes %q, which jcs refuses: %v", b, otherErr)
		case otherErr == nil:
			// Ours is the stricter one in depth alone.
			if e, ok := canon.IsSyntax(err); !ok || e.What != canon.TooDeep {
				t.Errorf("Parse refuses %q, which jcs takes: %v", b, err)
			}
		}
	})
}
