package stations

import (
	"bytes"
	"strings"
)

// Sniff tells by the beginning of a file which format it is in, where that is unmistakable. whole says that head is all of
// the file; otherwise its last line may be cut off and does not count.
func Sniff(head []byte, whole bool) (Format, bool) {
	text := bytes.TrimLeft(head, " \t\r\n")
	if len(text) > 0 && text[0] == '[' {
		return SenML, senml(text)
	}
	lines := strings.Split(string(head), "\n")
	if !whole && len(lines) > 1 {
		lines = lines[:len(lines)-1]
	}
	seen := 0
	var format Format
	for _, line := range lines {
		line = strings.TrimSuffix(line, "\r")
		if strings.TrimSpace(line) == "" {
			continue
		}
		f, ok := of(line)
		switch {
		case !ok:
			return "", false
		case f == "":
			continue // a line that tells nothing yet: a heading, a date
		case format != "" && f != format:
			return "", false
		}
		format = f
		if seen++; seen == 3 {
			break
		}
	}
	return format, format != ""
}

// of tells the format of one line. ok: it fits one of the formats; an empty format: it fits, and tells nothing.
func of(line string) (f Format, ok bool) {
	switch {
	case strings.HasPrefix(line, "ID,DATE,ELEMENT"):
		return "", true
	case strings.Count(line, ",") == 7:
		_, _, problems := ParseDayLine(line)
		return GHCNDaily, len(problems) == 0
	}
	if _, problems := ParseDLY(line); len(problems) == 0 {
		return GHCNDaily, true
	}
	if _, problems := ParseHour(line); len(problems) == 0 {
		return ISDLite, true
	}
	if _, rest, dated := dated(line); dated {
		if line = rest; line == "" {
			return "", true
		}
	}
	_, ok = ParseReport(line)
	return METAR, ok
}

// senml reports whether a text that begins with a list looks like a pack: its first object begins with a label of SenML,
// and one that makes it a measurement.
func senml(text []byte) bool {
	inner := bytes.TrimLeft(text[1:], " \t\r\n")
	if len(inner) == 0 || inner[0] != '{' {
		return false
	}
	object, _, _ := bytes.Cut(inner, []byte("}"))
	squeezed := bytes.ReplaceAll(bytes.ReplaceAll(object, []byte(" "), nil), []byte("\n"), nil)
	has := func(labels ...string) bool {
		for _, l := range labels {
			if bytes.Contains(squeezed, []byte(`"`+l+`":`)) {
				return true
			}
		}
		return false
	}
	return has("n", "bn") && (has("v", "vs", "vb", "vd", "s") || has("bt", "bu", "bver", "bv"))
}
