package paper

import (
	"bytes"
	"fmt"
	"math"
	"os/exec"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// Widths of columns always fill the page, are never below the least where these fit, and cut only the widest.
func TestShare(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 12).Draw(t, "columns")
		like, least := make([]float64, n), make([]float64, n)
		l, m := 0.0, 0.0
		for i := range like {
			least[i] = rapid.Float64Range(3, 40).Draw(t, "least")
			like[i] = least[i] + rapid.Float64Range(0, 100).Draw(t, "more")
			l, m = l+like[i], m+least[i]
		}
		const all = 178.0
		out := share(like, least, all)
		sum, widest := 0.0, 0.0
		for i := range out {
			sum += out[i]
			if out[i] < like[i]-1e-6 {
				widest = max(widest, out[i])
			}
		}
		if math.Abs(sum-all) > 1e-6 {
			t.Fatalf("the columns take %v of %v", sum, all)
		}
		for i := range out {
			if m <= all && out[i] < least[i]-1e-6 {
				t.Fatalf("column %d gets %v, least %v", i, out[i], least[i])
			}
			if m < all && l > all && out[i] < like[i]-1e-6 && out[i] > least[i]+1e-6 && math.Abs(out[i]-widest) > 1e-6 && out[i] < widest-1e-6 {
				// A column that was cut above its least is as wide as the widest that was cut, unless that one is at its least.
				for j := range out {
					if out[j] > out[i]+1e-6 && out[j] < like[j]-1e-6 && out[j] > least[j]+1e-6 {
						t.Fatalf("column %d was cut to %v, column %d only to %v", i, out[i], j, out[j])
					}
				}
			}
		}
	})
}

// No line is wider than it may be, and no letter is lost.
func TestWrap(t *testing.T) {
	t.Parallel()
	d, err := New(Info{Made: time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)})
	if err != nil {
		t.Fatal(err)
	}
	rapid.Check(t, func(t *rapid.T) {
		s := rapid.StringMatching(`([a-zé0-9/-]{0,30}[ \n]){0,12}`).Draw(t, "text")
		wide := rapid.Float64Range(4, 120).Draw(t, "wide")
		lines := d.Wrap(s, wide, 9, Plain)
		for _, l := range lines {
			if d.Width(9, Plain, l) > wide && len([]rune(l)) > 1 {
				t.Fatalf("%q is wider than %v", l, wide)
			}
		}
		joined := func(s string) string { return strings.Join(strings.Fields(s), "") }
		if got, want := joined(strings.Join(lines, " ")), joined(s); got != want {
			t.Fatalf("got %q, want %q", got, want)
		}
	})
}

// A long table has its head on every page, and the pages are counted right.
func TestSetBreaks(t *testing.T) {
	t.Parallel()
	var rows [][]string
	for i := range 200 {
		rows = append(rows, []string{fmt.Sprint(i), "north", "A note that is long enough to be broken into more than one line of a cell on a page of this width"})
	}
	last := 0
	feet := Feet{Left: "foot", Page: func(page, pages int) string {
		if pages > 0 {
			last = pages
			if page > pages {
				t.Errorf("page %d of %d", page, pages)
			}
		}
		return fmt.Sprintf("%d/%d", page, pages)
	}}
	var first, again bytes.Buffer
	draw := func(f *Flow) {
		f.Title("Title", "of")
		f.Table([]Column{{Heading: "n", Right: true}, {Heading: "block"}, {Heading: "note"}}, rows)
		f.Table([]Column{{Heading: "long"}, {Heading: "x"}}, [][]string{{strings.Repeat("more words than a page holds ", 1500), "x"}})
		f.Marked("Head", []string{"one", "two"})
	}
	info := Info{Size: Letter, Title: "t", Lang: "en", Made: time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)}
	for _, w := range []*bytes.Buffer{&first, &again} {
		if lack, err := Set(w, info, feet, draw); err != nil || lack != "" {
			t.Fatalf("%v, lacking %q", err, lack)
		}
	}
	if last < 5 || !bytes.Equal(first.Bytes(), again.Bytes()) {
		t.Errorf("%d pages; the same bytes: %v", last, bytes.Equal(first.Bytes(), again.Bytes()))
	}
	cmd := exec.Command("pdftotext", "-", "-")
	cmd.Stdin = bytes.NewReader(first.Bytes())
	text, err := cmd.Output()
	if err != nil {
		t.Fatal(err)
	}
	if n := strings.Count(strings.Join(strings.Fields(string(text)), " "), "words"); n != 1500 {
		t.Errorf("of a cell of 1500 words that no page holds %d are read back", n)
	}
	if n := bytes.Count(first.Bytes(), []byte("/Type /Page\n")); n != last {
		t.Errorf("%d pages drawn, %d counted", n, last)
	}
}

// A picture that is none is told when the document is written.
func TestNoPicture(t *testing.T) {
	t.Parallel()
	var b bytes.Buffer
	_, err := Set(&b, Info{}, Feet{}, func(f *Flow) { f.Figure("x", []byte("no picture"), 10, 10) })
	if err == nil {
		t.Error("no error")
	}
}
