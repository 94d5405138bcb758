package print_test

import (
	"bytes"
	"compress/zlib"
	"flag"
	"fmt"
	"image"
	"image/color"
	"io"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/makiuchi-d/gozxing"
	"github.com/makiuchi-d/gozxing/qrcode"
	"pgregory.net/rapid"

	"latewood/services/internal/paper"
	"latewood/services/print"
)

var update = flag.Bool("update", false, "write the golden files anew")

var made = time.Date(2026, 11, 25, 0, 0, 0, 0, time.UTC)

// cards makes n cards of invented people.
func cards(n int) []print.Card {
	out := make([]print.Card, n)
	for i := range out {
		out[i] = print.Card{Tag: fmt.Sprintf("P%02d", i+1), Name: fmt.Sprintf("Ione Fernside %d", i), Role: "crew", Code: fmt.Sprintf("w_%032x", 7919*(i+1))}
	}
	return out
}

func sheet(t *testing.T, s print.Sheet) ([]byte, []print.Missing) {
	t.Helper()
	var b bytes.Buffer
	missing, err := print.Cards(&b, s)
	if err != nil {
		t.Fatal(err)
	}
	return b.Bytes(), missing
}

// pages gives the drawing of each page of a PDF: its content streams, unpacked. Streams of fonts are told by what they hold.
func pages(t *testing.T, pdf []byte) []string {
	t.Helper()
	var out []string
	for rest := pdf; ; {
		_, after, ok := bytes.Cut(rest, []byte("stream\n"))
		if !ok {
			return out
		}
		packed, next, _ := bytes.Cut(after, []byte("\nendstream"))
		rest = next
		z, err := zlib.NewReader(bytes.NewReader(packed))
		if err != nil {
			continue
		}
		text, err := io.ReadAll(z)
		if err != nil {
			t.Fatal(err)
		}
		if bytes.Contains(text, []byte(" re S")) {
			out = append(out, string(text))
		}
	}
}

// px is dots a point when a page is looked at.
const px = 4

// shapes gives the filled rectangles of a page in points, upper left corner first, y down from the top of the page.
func shapes(t *testing.T, page string, height float64) (out [][4]float64) {
	t.Helper()
	var x, y []float64
	for l := range strings.Lines(page) {
		f := strings.Fields(l)
		if len(f) == 0 {
			continue
		}
		switch f[len(f)-1] {
		case "m", "l":
			if f[len(f)-1] == "m" {
				x, y = nil, nil
			}
			at, err1 := strconv.ParseFloat(f[0], 64)
			up, err2 := strconv.ParseFloat(f[1], 64)
			if err1 != nil || err2 != nil {
				t.Fatalf("not a point: %q", l)
			}
			x, y = append(x, at), append(y, height-up)
		case "h":
			out = append(out, [4]float64{minOf(x), minOf(y), -minOf(neg(x)), -minOf(neg(y))})
		}
	}
	return out
}

func minOf(f []float64) float64 {
	m := math.Inf(1)
	for _, v := range f {
		m = min(m, v)
	}
	return m
}

func neg(f []float64) []float64 {
	out := make([]float64, len(f))
	for i, v := range f {
		out[i] = -v
	}
	return out
}

// paint draws the filled rectangles of a part of a page as a picture.
func paint(rects [][4]float64, box [4]float64) *image.Gray {
	at := func(v, from float64) int { return int(math.Round((v - from) * px)) }
	img := image.NewGray(image.Rect(0, 0, at(box[2], box[0]), at(box[3], box[1])))
	for i := range img.Pix {
		img.Pix[i] = 255
	}
	for _, r := range rects {
		for y := at(r[1], box[1]); y < at(r[3], box[1]); y++ {
			for x := at(r[0], box[0]); x < at(r[2], box[0]); x++ {
				img.SetGray(x, y, color.Gray{})
			}
		}
	}
	return img
}

const mm = 72 / 25.4

// Every code on a sheet is read back from the drawing itself, by a decoder that shares nothing with the one who wrote it.
func TestCodesAreRead(t *testing.T) {
	t.Parallel()
	want := cards(11)
	for _, paper := range []struct {
		name paper.Size
		w, h float64
	}{{paper.A4, 210, 297}, {paper.Letter, 215.9, 279.4}} {
		t.Run(string(paper.name), func(t *testing.T) {
			t.Parallel()
			pdf, missing := sheet(t, print.Sheet{Farm: "Tern Hollow", Paper: paper.name, Made: made, Cards: want})
			if len(missing) != 0 {
				t.Errorf("missing: %v", missing)
			}
			drawn := pages(t, pdf)
			if len(drawn) != 2 || print.Pages(len(want)) != 2 {
				t.Fatalf("%d pages, want 2", len(drawn))
			}
			w, h := paper.w*mm, paper.h*mm
			left, top := (w-2*85.6*mm)/2, (h-4*53.98*mm)/2
			if left < 5*mm || top < 12*mm {
				t.Errorf("margins of %.1f and %.1f mm: printers cannot reach", left/mm, top/mm)
			}
			for i, c := range want {
				page, at := i/8, i%8
				box := [4]float64{left + float64(at%2)*85.6*mm, top + float64(at/2)*53.98*mm}
				box[2], box[3] = box[0]+85.6*mm, box[1]+53.98*mm
				var rects [][4]float64
				for _, r := range shapes(t, drawn[page], h) {
					if r[0] >= box[0] && r[2] <= box[2] && r[1] >= box[1] && r[3] <= box[3] {
						rects = append(rects, r)
					}
				}
				bitmap, err := gozxing.NewBinaryBitmapFromImage(paint(rects, box))
				if err != nil {
					t.Fatal(err)
				}
				read, err := qrcode.NewQRCodeReader().Decode(bitmap, nil)
				if err != nil || read.GetText() != c.Code {
					t.Errorf("%s: read %v, %v, want %s", c.Tag, read, err, c.Code)
				}
				wantQuiet(t, c.Tag, rects, box)
			}
		})
	}
}

// wantQuiet checks that four modules around a code are empty up to the edge of the card: nothing else is filled there, and
// the edge, which is drawn as a line, is further off.
func wantQuiet(t *testing.T, tag string, rects [][4]float64, box [4]float64) {
	t.Helper()
	all := [4]float64{math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)}
	for _, r := range rects {
		all = [4]float64{min(all[0], r[0]), min(all[1], r[1]), max(all[2], r[2]), max(all[3], r[3])}
	}
	side := (all[2] - all[0]) / 29 // a code of version 3
	for i, gap := range []float64{all[0] - box[0], all[1] - box[1], box[2] - all[2], box[3] - all[3]} {
		if gap < 4*side {
			t.Errorf("%s: %.2f modules are empty on side %d, want 4", tag, gap/side, i)
		}
	}
	if mmSide := side / mm; mmSide < 0.6 {
		t.Errorf("%s: a module is %.2f mm wide", tag, mmSide)
	}
}

func TestSameBytes(t *testing.T) {
	t.Parallel()
	s := print.Sheet{Farm: "Tern Hollow", Made: made, Cards: cards(20)}
	s.Cards[3].Name = "Žofie Nguyễn Ιωάννα"
	first, _ := sheet(t, s)
	for range 5 {
		if again, _ := sheet(t, s); !bytes.Equal(again, first) {
			t.Fatal("the same sheet gave other bytes")
		}
	}
	s.Made = made.AddDate(0, 0, 1)
	if again, _ := sheet(t, s); bytes.Equal(again, first) {
		t.Error("another day gave the same bytes")
	}
}

// What stands on a page is as the golden file has it; look at the page itself before writing that anew.
func TestGolden(t *testing.T) {
	t.Parallel()
	pdf, _ := sheet(t, print.Sheet{Farm: "Tern Hollow", Paper: paper.Letter, Made: made, Cards: []print.Card{
		{Tag: "P01", Role: "owner", Code: "w_00112233445566778899aabbccddeeff"},
		{Tag: "P1234", Name: "Bartholomew Featherstonehaugh-Okahele of the Upper Hollow", Role: "manager", Code: "w_ffeeddccbbaa99887766554433221100"},
	}})
	got := strings.Join(pages(t, pdf), "\n")
	path := filepath.Join("testdata", "cards.golden")
	if *update {
		if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if got != string(want) {
		t.Errorf("the page is not as in %s; print it, look at it, then -update", path)
	}
}

func TestMissingLetters(t *testing.T) {
	t.Parallel()
	s := print.Sheet{Farm: "Tern Hollow", Made: made, Cards: []print.Card{
		{Tag: "P02", Name: "Łukasz Ñandú", Code: "w_1"}, {Tag: "P03", Name: "山田 Taro 山 😀", Code: "w_2"}, {Tag: "P04", Code: "w_3"},
	}}
	_, missing := sheet(t, s)
	if got, want := fmt.Sprint(missing), "[{P03 山田😀}]"; got != want {
		t.Errorf("missing %s, want %s", got, want)
	}
}

func TestRefusedSheets(t *testing.T) {
	t.Parallel()
	if _, err := print.Cards(io.Discard, print.Sheet{Paper: "a3"}); err == nil {
		t.Error("paper a3: no error")
	}
	if _, err := print.Cards(io.Discard, print.Sheet{Cards: []print.Card{{Code: strings.Repeat("x", 8000)}}}); err == nil {
		t.Error("a code of 8,000 letters: no error")
	}
	if pdf, _ := sheet(t, print.Sheet{Farm: "Tern Hollow", Made: made}); !bytes.HasPrefix(pdf, []byte("%PDF-")) {
		t.Error("no cards: no PDF")
	}
}

// No text of a card keeps the sheet from being made, and every letter that the font lacks is told.
func TestAnyText(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		c := print.Card{Tag: rapid.String().Draw(rt, "tag"), Name: rapid.String().Draw(rt, "name"), Role: rapid.String().Draw(rt, "role"), Code: "w_1"}
		missing, err := print.Cards(io.Discard, print.Sheet{Farm: rapid.String().Draw(rt, "farm"), Made: made, Cards: []print.Card{c}})
		if err != nil {
			rt.Fatal(err)
		}
		if strings.ContainsAny(c.Name, "山田") && len(missing) == 0 {
			rt.Fatalf("%q: nothing missing", c.Name)
		}
	})
}
