package canon

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"unicode/utf16"
	"unicode/utf8"
)

// MaxDepth is the deepest nesting that Parse takes. No record of ours goes deeper than eight.
const MaxDepth = 64

// A SyntaxError says what is wrong with bytes that were to be JSON, and where.
type SyntaxError struct {
	Offset int    // in bytes from 0
	What   string // one of the words below; behind "json." it is a key of the message catalogue
	Text   string // the text it is about, may be empty
}

// What a SyntaxError can say.
const (
	EndsEarly        = "ends-early"
	Unexpected       = "unexpected" // what begins no value
	NameExpected     = "name-expected"
	ColonExpected    = "colon-expected"
	CommaExpected    = "comma-expected"
	DoubledName      = "doubled-name"
	BadNumber        = "bad-number"
	NumberTooLarge   = "number-too-large" // for a double
	NotUTF8          = "not-utf8"
	ControlCharacter = "control-character" // below U+0020, in a string without an escape
	BadEscape        = "bad-escape"
	HalfASurrogate   = "half-a-surrogate"
	TooDeep          = "too-deep"
	Trailing         = "trailing" // text behind the value
)

func (e *SyntaxError) Error() string {
	if e.Text != "" {
		return fmt.Sprintf("json: byte %d: %s: %q", e.Offset, e.What, e.Text)
	}
	return fmt.Sprintf("json: byte %d: %s", e.Offset, e.What)
}

// Parse reads one JSON value and refuses anything behind it but white space.
func Parse(b []byte) (Value, error) {
	p := parser{b: b}
	p.space()
	v, err := p.value(0)
	if err != nil {
		return Value{}, err
	}
	p.space()
	if p.i < len(b) {
		return Value{}, p.fail(Trailing, snippet(b[p.i:]))
	}
	return v, nil
}

// IsSyntax reports whether err is about bytes that are not the JSON which Parse takes.
func IsSyntax(err error) (*SyntaxError, bool) {
	var e *SyntaxError
	ok := errors.As(err, &e)
	return e, ok
}

type parser struct {
	b []byte
	i int
}

func (p *parser) fail(what, text string) error {
	return &SyntaxError{Offset: p.i, What: what, Text: text}
}

func snippet(b []byte) string {
	if len(b) > 24 {
		b = b[:24]
	}
	return strings.ToValidUTF8(string(b), "\uFFFD")
}

func (p *parser) space() {
	for p.i < len(p.b) {
		switch p.b[p.i] {
		case ' ', '\t', '\n', '\r':
			p.i++
		default:
			return
		}
	}
}

func (p *parser) value(depth int) (Value, error) {
	if depth > MaxDepth {
		return Value{}, p.fail(TooDeep, "")
	}
	if p.i >= len(p.b) {
		return Value{}, p.fail(EndsEarly, "")
	}
	switch c := p.b[p.i]; {
	case c == '{':
		return p.object(depth)
	case c == '[':
		return p.list(depth)
	case c == '"':
		s, err := p.text()
		return Value{Kind: String, Str: s}, err
	case c == '-' || c >= '0' && c <= '9':
		return p.number()
	}
	for _, w := range [...]struct {
		text string
		v    Value
	}{{"true", Truth(true)}, {"false", Truth(false)}, {"null", Value{Kind: Null}}} {
		if len(p.b)-p.i >= len(w.text) && string(p.b[p.i:p.i+len(w.text)]) == w.text {
			p.i += len(w.text)
			return w.v, nil
		}
	}
	return Value{}, p.fail(Unexpected, snippet(p.b[p.i:]))
}

func (p *parser) object(depth int) (Value, error) {
	v := Value{Kind: Object, Members: []Member{}}
	p.i++
	p.space()
	if p.i < len(p.b) && p.b[p.i] == '}' {
		p.i++
		return v, nil
	}
	var names map[string]bool // of objects with many members, so that a hostile one cannot make us compare all with all
	for {
		p.space()
		if p.i >= len(p.b) {
			return Value{}, p.fail(EndsEarly, "")
		}
		if p.b[p.i] != '"' {
			return Value{}, p.fail(NameExpected, snippet(p.b[p.i:]))
		}
		at := p.i
		name, err := p.text()
		if err != nil {
			return Value{}, err
		}
		if len(v.Members) == 32 {
			names = make(map[string]bool, 64)
			for _, m := range v.Members {
				names[m.Name] = true
			}
		}
		if names[name] || names == nil && has(v.Members, name) {
			p.i = at
			return Value{}, p.fail(DoubledName, name)
		}
		if names != nil {
			names[name] = true
		}
		p.space()
		if p.i >= len(p.b) || p.b[p.i] != ':' {
			return Value{}, p.fail(ColonExpected, snippet(p.b[p.i:]))
		}
		p.i++
		p.space()
		m, err := p.value(depth + 1)
		if err != nil {
			return Value{}, err
		}
		v.Members = append(v.Members, Member{name, m})
		more, err := p.next('}')
		if err != nil || !more {
			return v, err
		}
	}
}

func has(members []Member, name string) bool {
	return slices.ContainsFunc(members, func(m Member) bool { return m.Name == name })
}

func (p *parser) list(depth int) (Value, error) {
	v := Value{Kind: List, Items: []Value{}}
	p.i++
	p.space()
	if p.i < len(p.b) && p.b[p.i] == ']' {
		p.i++
		return v, nil
	}
	for {
		p.space()
		m, err := p.value(depth + 1)
		if err != nil {
			return Value{}, err
		}
		v.Items = append(v.Items, m)
		more, err := p.next(']')
		if err != nil || !more {
			return v, err
		}
	}
}

// next steps over a comma (true) or the closing byte (false).
func (p *parser) next(closing byte) (more bool, err error) {
	p.space()
	if p.i >= len(p.b) {
		return false, p.fail(EndsEarly, "")
	}
	switch p.b[p.i] {
	case ',':
		p.i++
		return true, nil
	case closing:
		p.i++
		return false, nil
	}
	return false, p.fail(CommaExpected, snippet(p.b[p.i:]))
}

func (p *parser) number() (Value, error) {
	start := p.i
	digits := func() int {
		n := p.i
		for p.i < len(p.b) && p.b[p.i] >= '0' && p.b[p.i] <= '9' {
			p.i++
		}
		return p.i - n
	}
	if p.b[p.i] == '-' {
		p.i++
	}
	lead := p.i
	n := digits()
	bad := n == 0 || n > 1 && p.b[lead] == '0'
	if !bad && p.i < len(p.b) && p.b[p.i] == '.' {
		p.i++
		bad = digits() == 0
	}
	if !bad && p.i < len(p.b) && (p.b[p.i] == 'e' || p.b[p.i] == 'E') {
		p.i++
		if p.i < len(p.b) && (p.b[p.i] == '+' || p.b[p.i] == '-') {
			p.i++
		}
		bad = digits() == 0
	}
	text := string(p.b[start:p.i])
	if bad {
		p.i = start
		return Value{}, p.fail(BadNumber, snippet(p.b[start:]))
	}
	f, err := strconv.ParseFloat(text, 64)
	if err != nil || math.IsInf(f, 0) {
		p.i = start
		return Value{}, p.fail(NumberTooLarge, text)
	}
	return Value{Kind: Number, Num: f, Str: text}, nil
}

func (p *parser) text() (string, error) {
	p.i++ // the opening quote
	start := p.i
	for p.i < len(p.b) {
		c := p.b[p.i]
		if c == '"' {
			s := p.b[start:p.i]
			if !utf8.Valid(s) {
				p.i = start
				return "", p.fail(NotUTF8, "")
			}
			p.i++
			return string(s), nil
		}
		if c == '\\' {
			return p.escaped(start)
		}
		if c < 0x20 {
			return "", p.fail(ControlCharacter, "")
		}
		p.i++
	}
	return "", p.fail(EndsEarly, "")
}

// escaped reads the rest of a string that has at least one escape; start is its first byte behind the quote.
func (p *parser) escaped(start int) (string, error) {
	out := append([]byte(nil), p.b[start:p.i]...)
	for p.i < len(p.b) {
		c := p.b[p.i]
		switch {
		case c == '"':
			if !utf8.Valid(out) {
				p.i = start
				return "", p.fail(NotUTF8, "")
			}
			p.i++
			return string(out), nil
		case c < 0x20:
			return "", p.fail(ControlCharacter, "")
		case c != '\\':
			out = append(out, c)
			p.i++
		default:
			r, err := p.escape()
			if err != nil {
				return "", err
			}
			out = utf8.AppendRune(out, r)
		}
	}
	return "", p.fail(EndsEarly, "")
}

func (p *parser) escape() (rune, error) {
	if p.i+1 >= len(p.b) {
		return 0, p.fail(EndsEarly, "")
	}
	c := p.b[p.i+1]
	if c != 'u' {
		for i, from := range `"\/bfnrt` {
			if rune(c) == from {
				p.i += 2
				return rune("\"\\/\b\f\n\r\t"[i]), nil
			}
		}
		return 0, p.fail(BadEscape, snippet(p.b[p.i:]))
	}
	r, ok := p.hex4(p.i + 2)
	if !ok {
		return 0, p.fail(BadEscape, snippet(p.b[p.i:]))
	}
	if !utf16.IsSurrogate(r) {
		p.i += 6
		return r, nil
	}
	if p.i+7 < len(p.b) && p.b[p.i+6] == '\\' && p.b[p.i+7] == 'u' {
		if low, ok := p.hex4(p.i + 8); ok {
			if pair := utf16.DecodeRune(r, low); pair != utf8.RuneError {
				p.i += 12
				return pair, nil
			}
		}
	}
	return 0, p.fail(HalfASurrogate, snippet(p.b[p.i:]))
}

func (p *parser) hex4(i int) (rune, bool) {
	if i+4 > len(p.b) {
		return 0, false
	}
	n, err := strconv.ParseUint(string(p.b[i:i+4]), 16, 32)
	return rune(n), err == nil
}
