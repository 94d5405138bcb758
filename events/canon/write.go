package canon

import (
	"slices"

	"latewood/events/units"
)

// Append appends the canonical bytes of v to dst. Members and items that are Absent are left out.
func Append(dst []byte, v Value) []byte {
	switch v.Kind {
	case Null:
		return append(dst, "null"...)
	case Bool:
		if v.Bool {
			return append(dst, "true"...)
		}
		return append(dst, "false"...)
	case Number:
		return units.AppendNumber(dst, v.Num)
	case String:
		return AppendText(dst, v.Str)
	case List:
		dst = append(dst, '[')
		first := true
		for _, m := range v.Items {
			if m.Kind == Absent {
				continue
			}
			if !first {
				dst = append(dst, ',')
			}
			first = false
			dst = Append(dst, m)
		}
		return append(dst, ']')
	case Object:
		return appendObject(dst, v.Members)
	}
	return dst
}

func appendObject(dst []byte, members []Member) []byte {
	if !slices.IsSortedFunc(members, func(a, b Member) int { return less(a.Name, b.Name) }) {
		members = slices.Clone(members)
		slices.SortFunc(members, func(a, b Member) int { return less(a.Name, b.Name) })
	}
	dst = append(dst, '{')
	first := true
	for _, m := range members {
		if m.Value.Kind == Absent {
			continue
		}
		if !first {
			dst = append(dst, ',')
		}
		first = false
		dst = AppendText(dst, m.Name)
		dst = append(dst, ':')
		dst = Append(dst, m.Value)
	}
	return append(dst, '}')
}

// AppendText appends s as a JSON string with the escapes of RFC 8785 section 3.2.2.2. s must be valid UTF-8.
func AppendText(dst []byte, s string) []byte {
	const hex = "0123456789abcdef"
	dst = append(dst, '"')
	start := 0
	for i := 0; i < len(s); i++ {
		c := s[i]
		if c >= 0x20 && c != '"' && c != '\\' {
			continue
		}
		dst = append(dst, s[start:i]...)
		start = i + 1
		switch c {
		case '"', '\\':
			dst = append(dst, '\\', c)
		case '\b':
			dst = append(dst, '\\', 'b')
		case '\t':
			dst = append(dst, '\\', 't')
		case '\n':
			dst = append(dst, '\\', 'n')
		case '\f':
			dst = append(dst, '\\', 'f')
		case '\r':
			dst = append(dst, '\\', 'r')
		default:
			dst = append(dst, '\\', 'u', '0', '0', hex[c>>4], hex[c&15])
		}
	}
	dst = append(dst, s[start:]...)
	return append(dst, '"')
}

// Bytes returns the canonical bytes of v.
func Bytes(v Value) []byte { return Append(make([]byte, 0, 256), v) }
