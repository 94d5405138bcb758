package words

import (
	"errors"
	"fmt"
	"strings"
)

// A text is a parsed sentence: its parts in order.
type text []part

// A part is plain words, or a placeholder, or a choice between forms.
type part struct {
	plain string
	name  string // of a placeholder or choice; else empty
	forms []text // of a choice; else nil
}

// say puts the sentence together.
func (t text) say(lang string, pairs []any) string {
	var b strings.Builder
	t.write(&b, lang, pairs)
	return b.String()
}

func (t text) write(b *strings.Builder, lang string, pairs []any) {
	for _, p := range t {
		if p.name == "" {
			b.WriteString(p.plain)
			continue
		}
		v, ok := value(p.name, pairs)
		switch {
		case !ok:
			b.WriteString(marker(p.name))
		case p.forms == nil:
			b.WriteString(show(v))
		default:
			p.forms[form(lang, show(v), len(p.forms))].write(b, lang, pairs)
		}
	}
}

// names collects the placeholders into set.
func (t text) names(set map[string]bool) {
	for _, p := range t {
		if p.name != "" {
			set[p.name] = true
		}
		for _, f := range p.forms {
			f.names(set)
		}
	}
}

// parse reads a text as the package doc describes it.
func parse(s string) (text, error) {
	r := reader{s: s}
	t, err := r.text(false)
	if err != nil {
		return nil, fmt.Errorf("%w, at %q", err, s[:min(r.at, len(s))])
	}
	return t, nil
}

type reader struct {
	s  string
	at int
}

// text reads up to the end, or, inside a choice, up to the '|' or '}' that ends the form, which it leaves unread.
func (r *reader) text(inForm bool) (text, error) {
	var t text
	var plain strings.Builder
	flush := func() {
		if plain.Len() > 0 {
			t = append(t, part{plain: plain.String()})
			plain.Reset()
		}
	}
	for r.at < len(r.s) {
		c := r.s[r.at]
		if inForm && (c == '|' || c == '}') {
			break
		}
		r.at++
		switch c {
		case '\\':
			if r.at == len(r.s) {
				return nil, errors.New(`a \ with nothing behind it`)
			}
			e := r.s[r.at]
			r.at++
			switch e {
			case 'n':
				plain.WriteByte('\n')
			case '\\', '{', '}', '|':
				plain.WriteByte(e)
			default:
				return nil, fmt.Errorf(`\%c is no escape; there are \n \\ \{ \} \|`, e)
			}
		case '{':
			flush()
			p, err := r.placeholder(inForm)
			if err != nil {
				return nil, err
			}
			t = append(t, p)
		case '}':
			return nil, errors.New(`} without {; write \} for the character`)
		default:
			plain.WriteByte(c)
		}
	}
	flush()
	return t, nil
}

// placeholder reads what follows '{', through the matching '}'.
func (r *reader) placeholder(inForm bool) (part, error) {
	start := r.at
	for r.at < len(r.s) && r.s[r.at] != '}' && r.s[r.at] != '|' {
		r.at++
	}
	p := part{name: r.s[start:r.at]}
	if !isName(p.name) {
		return p, fmt.Errorf(`{%s: a name of letters, digits, dots, hyphens and underscores must follow {; write \{ for the character`, p.name)
	}
	for r.at < len(r.s) && r.s[r.at] == '|' {
		if inForm {
			return p, fmt.Errorf("{%s|: a choice within a choice", p.name)
		}
		r.at++
		f, err := r.text(true)
		if err != nil {
			return p, err
		}
		p.forms = append(p.forms, f)
	}
	if r.at == len(r.s) {
		return p, fmt.Errorf("{%s is not closed", p.name)
	}
	r.at++
	if len(p.forms) == 1 {
		return p, fmt.Errorf("{%s| has one form only; a choice needs two", p.name)
	}
	return p, nil
}
