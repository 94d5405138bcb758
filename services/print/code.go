package print

import (
	"fmt"
	"image/color"

	"github.com/boombuler/barcode"
	"github.com/boombuler/barcode/qr"

	"latewood/services/internal/paper"
)

// quiet is how many empty modules stand on each side of a QR code.
const quiet = 4

// modules is a QR code: rows of modules, true is dark, without the empty margin.
func modules(content string) ([][]bool, error) {
	b, err := qr.Encode(content, qr.M, qr.Auto)
	if err != nil {
		return nil, fmt.Errorf("print: code: %w", err)
	}
	size := b.Bounds()
	out := make([][]bool, size.Dy())
	for y := range out {
		out[y] = make([]bool, size.Dx())
		for x := range out[y] {
			out[y][x] = dark(b, x, y)
		}
	}
	return out, nil
}

func dark(b barcode.Barcode, x, y int) bool {
	return color.GrayModel.Convert(b.At(x, y)).(color.Gray).Y < 128
}

// code draws a QR code with its empty margin into a square of size mm. All dark modules are one shape.
func (d *drawing) code(x, y, size float64, content string) error {
	m, err := modules(content)
	if err != nil {
		return err
	}
	side := size / float64(len(m)+2*quiet)
	x, y = x+quiet*side, y+quiet*side
	var dark []paper.Rect
	for row := range m {
		for from := 0; from < len(m[row]); from++ {
			if !m[row][from] {
				continue
			}
			to := from
			for to < len(m[row]) && m[row][to] {
				to++
			}
			dark = append(dark, paper.Rect{X0: x + float64(from)*side, Y0: y + float64(row)*side, X1: x + float64(to)*side, Y1: y + float64(row+1)*side})
			from = to
		}
	}
	d.doc.Shape(dark)
	return nil
}
