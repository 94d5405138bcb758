package sheets

import (
	"strings"
)

// A format is what a number is shown as.
type format struct {
	date, clock bool   // it shows parts of a date, of a time of the day
	span        bool   // it shows hours beyond 24, so a length of time
	percent     bool   // a hundred times the number, with a percent sign
	zeros       int    // it shows this many digits at least, with zeros in front
	words       string // letters that it shows with the number: kg
}

// builtIn holds the formats that workbooks name without writing them down (ECMA-376 part 1, 18.8.30). Those of dates differ
// in order from place to place, which does not matter here: a day is a day.
var builtIn = map[int]string{
	9: "0%", 10: "0.00%", 14: "m/d/yy", 15: "d-mmm-yy", 16: "d-mmm", 17: "mmm-yy", 18: "h:mm AM/PM", 19: "h:mm:ss AM/PM", 20: "h:mm", 21: "h:mm:ss",
	22: "m/d/yy h:mm", 45: "mm:ss", 46: "[h]:mm:ss", 47: "mm:ss.0",
	// East Asian dates and times, by the number alone.
	27: "yy/m/d", 28: "yy/m/d", 29: "yy/m/d", 30: "yy/m/d", 31: "yy/m/d", 32: "h:mm", 33: "h:mm:ss", 34: "h:mm", 35: "h:mm:ss", 36: "yy/m/d",
	50: "yy/m/d", 51: "yy/m/d", 52: "yy/m/d", 53: "yy/m/d", 54: "yy/m/d", 55: "h:mm", 56: "h:mm:ss", 57: "yy/m/d", 58: "yy/m/d",
}

// formatOf gives the format of a style.
func (b *Book) formatOf(style int) format {
	if f, ok := b.formats[style]; ok {
		return f
	}
	var out format
	if s, err := b.f.GetStyle(style); err == nil && s != nil {
		code := builtIn[s.NumFmt]
		if s.CustomNumFmt != nil {
			code = *s.CustomNumFmt
		}
		out = readFormat(code)
	}
	b.formats[style] = out
	return out
}

// readFormat reads a format code as far as it says what a number is. The first of its sections counts, which is the one for
// numbers above zero.
func readFormat(code string) format {
	var f format
	var letters strings.Builder
	digits := false // a placeholder for digits was seen
	whole := true   // no decimal sign yet
	for i := 0; i < len(code); i++ {
		c := code[i]
		switch c {
		case ';':
			i = len(code)
		case '"':
			end := strings.IndexByte(code[i+1:], '"')
			if end < 0 {
				end = len(code) - i - 1
			}
			letters.WriteString(code[i+1 : i+1+end])
			i += end + 1
		case '\\':
			if i++; i < len(code) {
				letters.WriteByte(code[i])
			}
		case '_', '*': // a space as wide as the next letter; the next letter as often as it fits
			i++
		case '[':
			end := strings.IndexByte(code[i:], ']')
			if end < 0 {
				i = len(code)
				break
			}
			inner := code[i+1 : i+end]
			switch lower := strings.ToLower(inner); {
			case strings.Trim(lower, "h") == "" || strings.Trim(lower, "m") == "" || strings.Trim(lower, "s") == "":
				f.span = lower != ""
			case strings.HasPrefix(inner, "$"): // [$kg-409], [$€-407]
				sign, _, _ := strings.Cut(inner[1:], "-")
				letters.WriteString(sign)
			}
			i += end
		case '0':
			digits = true
			if whole {
				f.zeros++
			}
		case '#', '?':
			digits = true
		case '.':
			whole = false
		case '%':
			f.percent = true
		case 'y', 'Y', 'd', 'D', 'e', 'b', 'B', 'g':
			if c == 'g' || (c == 'e' || c == 'b' || c == 'B') && digits {
				break
			}
			f.date = true
		case 'G':
			if strings.HasPrefix(code[i:], "General") {
				i += len("General") - 1
			}
		case 'E':
			if i+1 < len(code) && (code[i+1] == '+' || code[i+1] == '-') { // 0.00E+00
				whole = false
			}
		case 'h', 'H', 's', 'S':
			f.clock = true
		case 'm', 'M': // months, or minutes beside hours or seconds
			if !minutes(code, i) {
				f.date = true
			} else {
				f.clock = true
			}
			for i+1 < len(code) && (code[i+1] == 'm' || code[i+1] == 'M') {
				i++
			}
		case 'A', 'a':
			for _, half := range []string{"AM/PM", "am/pm", "A/P", "a/p"} {
				if strings.HasPrefix(code[i:], half) {
					f.clock = true
					i += len(half) - 1
					break
				}
			}
		}
	}
	if f.span {
		f.date, f.clock = false, false
	}
	if !f.date && !f.clock && !f.span {
		f.words = strings.TrimSpace(letters.String())
	}
	if f.zeros < 2 || !whole {
		f.zeros = 0
	}
	return f
}

// minutes reports whether the m at i stands for minutes: behind hours, or in front of seconds.
func minutes(code string, i int) bool {
	for j := i - 1; j >= 0; j-- {
		switch code[j] {
		case 'h', 'H':
			return true
		case ']': // [h]:mm, but not [$-409]mmmm
			return j > 1 && (code[j-1] == 'h' || code[j-1] == 'H')
		case ':', ' ', '.', '"', '\\', 'm', 'M':
			continue
		}
		break
	}
	for j := i + 1; j < len(code); j++ {
		switch code[j] {
		case 's', 'S':
			return true
		case ':', ' ', '.', '"', '\\', 'm', 'M':
			continue
		}
		break
	}
	return false
}
