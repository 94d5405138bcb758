package print

import (
	"fmt"
	"image"
	"image/color"
	"image/png"
	"io"
	"strings"
)

// Text is a QR code for a terminal: two rows of modules a line, with its empty margin, dark on light whatever the terminal's
// own colours are.
func Text(content string) (string, error) {
	m, err := modules(content)
	if err != nil {
		return "", err
	}
	size := len(m) + 2*quiet
	at := func(x, y int) bool {
		x, y = x-quiet, y-quiet
		return y >= 0 && y < len(m) && x >= 0 && x < len(m[y]) && m[y][x]
	}
	var b strings.Builder
	for y := 0; y < size; y += 2 {
		b.WriteString("\x1b[30;107m")
		for x := range size {
			switch up, down := at(x, y), at(x, y+1); {
			case up && down:
				b.WriteRune('█')
			case up:
				b.WriteRune('▀')
			case down:
				b.WriteRune('▄')
			default:
				b.WriteByte(' ')
			}
		}
		b.WriteString("\x1b[0m\n")
	}
	return b.String(), nil
}

// pixels is how many pixels wide a module of a picture is.
const pixels = 8

// Picture writes a QR code as PNG, with its empty margin.
func Picture(w io.Writer, content string) error {
	m, err := modules(content)
	if err != nil {
		return err
	}
	size := (len(m) + 2*quiet) * pixels
	img := image.NewPaletted(image.Rect(0, 0, size, size), color.Palette{color.White, color.Black})
	for y := range m {
		for x := range m[y] {
			if !m[y][x] {
				continue
			}
			for dy := range pixels {
				for dx := range pixels {
					img.SetColorIndex((x+quiet)*pixels+dx, (y+quiet)*pixels+dy, 1)
				}
			}
		}
	}
	if err := png.Encode(w, img); err != nil {
		return fmt.Errorf("print: picture of a code: %w", err)
	}
	return nil
}
