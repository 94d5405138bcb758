package paper

import (
	"bytes"
	"testing"

	"codeberg.org/go-fonts/dejavu/dejavusans"
	"codeberg.org/go-fonts/dejavu/dejavusansbold"
)

func TestLetters(t *testing.T) {
	t.Parallel()
	for name, ttf := range map[string][]byte{"sans": dejavusans.TTF, "bold": dejavusansbold.TTF} {
		has, err := letters(ttf)
		if err != nil {
			t.Fatal(err)
		}
		for _, r := range "Aazz 0ŽÑúễĄßøÆΩωЖя…\ufffd" {
			if !has(r) {
				t.Errorf("%s: %q is not found", name, r)
			}
		}
		for _, r := range "山田한😀\x00\uffff" {
			if has(r) {
				t.Errorf("%s: %q is found", name, r)
			}
		}
	}
}

func TestLettersOfNoFont(t *testing.T) {
	t.Parallel()
	font := dejavusans.TTF
	for _, b := range [][]byte{nil, {0}, []byte("no font at all, but a text"), font[:11], font[:200], bytes.Repeat([]byte{0xff}, 1000)} {
		if _, err := letters(b); err == nil {
			t.Errorf("%d bytes: no error", len(b))
		}
	}
	for n := 0; n < 400; n++ { // cut anywhere in the tables' heads: an error, never a panic
		_, _ = letters(font[:n])
	}
}
