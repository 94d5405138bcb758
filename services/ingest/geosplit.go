package ingest

import "bytes"

// A jsonPart is a value somewhere in a JSON text.
type jsonPart struct {
	at   int // its first byte in the file
	text []byte
}

// A jsonCutter finds where the values of a JSON text begin and end, so that each feature of a large map is read by itself
// and keeps its line. It tells nothing of what is wrong: the parts are read strictly afterwards (canon.Parse).
type jsonCutter struct {
	text []byte
	at   int
}

func (c *jsonCutter) blanks() {
	for c.at < len(c.text) && bytes.IndexByte([]byte(" \t\r\n"), c.text[c.at]) >= 0 {
		c.at++
	}
}

// take takes one byte that must stand next.
func (c *jsonCutter) take(b byte) bool {
	if c.blanks(); c.at < len(c.text) && c.text[c.at] == b {
		c.at++
		return true
	}
	return false
}

// value goes over one value; ok is false where the text ends in it.
func (c *jsonCutter) value() (p jsonPart, ok bool) {
	c.blanks()
	start, depth := c.at, 0
	for c.at < len(c.text) {
		switch b := c.text[c.at]; b {
		case '"':
			if !c.quoted() {
				return jsonPart{}, false
			}
			if depth == 0 {
				return jsonPart{start, c.text[start:c.at]}, true
			}
			continue
		case '{', '[':
			depth++
		case '}', ']':
			if depth--; depth < 0 {
				return jsonPart{start, c.text[start:c.at]}, c.at > start
			}
			if depth == 0 {
				c.at++
				return jsonPart{start, c.text[start:c.at]}, true
			}
		case ',':
			if depth == 0 {
				return jsonPart{start, c.text[start:c.at]}, c.at > start
			}
		}
		c.at++
	}
	return jsonPart{start, c.text[start:c.at]}, depth == 0 && c.at > start
}

// quoted goes over a text in quotes.
func (c *jsonCutter) quoted() bool {
	for c.at++; c.at < len(c.text); c.at++ {
		switch c.text[c.at] {
		case '\\':
			c.at++
		case '"':
			c.at++
			return true
		}
	}
	return false
}

// members cuts an object into its members; of two with one name the last. nil: it is none, or broken.
func members(text []byte) map[string]jsonPart {
	c := &jsonCutter{text: text}
	if !c.take('{') {
		return nil
	}
	out := map[string]jsonPart{}
	for first := true; ; first = false {
		if c.take('}') {
			c.blanks()
			if c.at < len(text) {
				return nil
			}
			return out
		}
		if !first && !c.take(',') {
			return nil
		}
		c.blanks()
		start := c.at
		if c.at >= len(text) || text[c.at] != '"' || !c.quoted() {
			return nil
		}
		name := string(text[start+1 : c.at-1])
		if !c.take(':') {
			return nil
		}
		v, ok := c.value()
		if !ok {
			return nil
		}
		out[name] = v
	}
}

// items cuts a list into its items; nil: it is none, or broken. An empty list has parts all the same.
func items(p jsonPart) []jsonPart {
	c := &jsonCutter{text: p.text}
	if !c.take('[') {
		return nil
	}
	out := []jsonPart{}
	for first := true; ; first = false {
		if c.take(']') {
			return out
		}
		if !first && !c.take(',') {
			return nil
		}
		v, ok := c.value()
		if !ok {
			return nil
		}
		v.at += p.at
		out = append(out, v)
	}
}
