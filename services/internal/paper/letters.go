package paper

import (
	"encoding/binary"
	"errors"
)

// errFont says that the bytes of a font are not what they should be.
var errFont = errors.New("paper: not a TrueType font with a table of letters")

// letters reads from a TrueType font which letters it has: its cmap table, format 4 (the first 65,536 characters, which is
// also all that the PDF can hold), as the OpenType specification describes it ("cmap: Character To Glyph Index Mapping
// Table", from memory).
func letters(ttf []byte) (has func(rune) bool, err error) {
	u16 := func(at int) int {
		if at < 0 || at+2 > len(ttf) {
			err = errFont
			return 0
		}
		return int(binary.BigEndian.Uint16(ttf[at:]))
	}
	u32 := func(at int) int { return u16(at)<<16 | u16(at+2) }
	cmap := 0
	for i := range u16(4) {
		if at := 12 + 16*i; at+16 <= len(ttf) && string(ttf[at:at+4]) == "cmap" {
			cmap = u32(at + 8)
		}
	}
	table := 0
	for i := range u16(cmap + 2) {
		if at := cmap + u32(cmap+4+8*i+4); cmap > 0 && u16(at) == 4 {
			table = at
		}
	}
	if err != nil || table == 0 {
		return nil, errFont
	}
	set := map[rune]bool{}
	segments := u16(table+6) / 2
	for i := range segments {
		ends := table + 14 + 2*i
		starts, deltas, offsets := ends+2*segments+2, ends+4*segments+2, ends+6*segments+2
		first, last, delta, offset := u16(starts), u16(ends), u16(deltas), u16(offsets)
		for c := first; c <= last && c < 0xffff; c++ {
			glyph := c
			if offset != 0 {
				if glyph = u16(offsets + offset + 2*(c-first)); glyph == 0 {
					continue
				}
			}
			if (glyph+delta)&0xffff != 0 {
				set[rune(c)] = true
			}
		}
	}
	if err != nil {
		return nil, errFont
	}
	return func(r rune) bool { return set[r] }, nil
}
