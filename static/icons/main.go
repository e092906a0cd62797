// Command icons draws the mark as PNG for the sizes that home screens ask for:
// a joint of three sheets, where two seams meet, in the square of its cover. It
// is the drawing of icon.svg, in units of its 512.
package main

import (
	"fmt"
	"image"
	"image/color"
	"image/png"
	"math"
	"os"
)

var (
	paper = color.RGBA{0xfa, 0xf8, 0xf2, 0xff}
	ink   = color.RGBA{0x14, 0x17, 0x1a, 0xff}
)

func main() {
	for _, size := range []int{180, 192, 512} {
		if err := draw(fmt.Sprintf("static/icon-%d.png", size), size); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
	}
}

func draw(name string, size int) error {
	const samples = 4 // along each side of a pixel
	img := image.NewRGBA(image.Rect(0, 0, size, size))
	for y := range size {
		for x := range size {
			dark := 0
			for i := range samples * samples {
				u := (float64(x) + (float64(i%samples)+.5)/samples) * 512 / float64(size)
				v := (float64(y) + (float64(i/samples)+.5)/samples) * 512 / float64(size)
				if inked(u, v) {
					dark++
				}
			}
			mix := func(a, b uint8) uint8 {
				return uint8((int(a)*(samples*samples-dark) + int(b)*dark) / (samples * samples))
			}
			img.SetRGBA(x, y, color.RGBA{mix(paper.R, ink.R), mix(paper.G, ink.G), mix(paper.B, ink.B), 0xff})
		}
	}
	f, err := os.Create(name)
	if err != nil {
		return err
	}
	if err := png.Encode(f, img); err != nil {
		f.Close()
		return err
	}
	return f.Close()
}

// inked tells whether the mark covers a point.
func inked(x, y float64) bool {
	off := math.Max(math.Abs(x-256), math.Abs(y-256)) // from the middle, as squares grow
	switch {
	case off >= 90 && off <= 122: // the cover's edge
		return true
	case off < 90: // the joint: two strokes with square ends
		along := math.Min(math.Abs(x-y), math.Abs(x+y-512)) / math.Sqrt2
		far := math.Max(math.Abs(x-y), math.Abs(x+y-512)) / math.Sqrt2
		return along <= 14 && far <= 50*math.Sqrt2
	}
	across := math.Abs(math.Abs(y-256)-30) <= 10 && math.Abs(x-256) > 106
	down := math.Abs(x-226) <= 10 && math.Abs(y-256) > 106
	return across || down
}
