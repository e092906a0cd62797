package main

import (
	"bytes"
	"image"
	"image/color"
	"image/draw"
	"image/png"
	"os"
	"path/filepath"
	"testing"
	"time"

	"duskline/internal/browser"
	"duskline/internal/daylog"
	"duskline/internal/store"
	"duskline/internal/store/sqlite"
	"duskline/static"
)

// largest is what a picture of the README may weigh.
const largest = 150 << 10

// The pictures of the README: Now on a tablet, the plan of a day, and its printed
// summary. `make pictures` keeps them in docs/.
func TestPictures(t *testing.T) {
	log, err := sqlite.Open(t.Context(), filepath.Join(t.TempDir(), databaseName))
	if err != nil {
		t.Fatal(err)
	}
	defer log.Close()
	now := time.Now()
	if err := writeDemo(t.Context(), log, now); err != nil {
		t.Fatal(err)
	}
	build, err := static.New(static.Files)
	if err != nil {
		t.Fatal(err)
	}
	h := &host{log: log, memo: &store.Memo{}, build: build, logf: t.Errorf}
	server := browser.Serve(t, h.handler(h.routes))
	zone, err := forenoon(now)
	if err != nil {
		t.Fatal(err)
	}
	yesterday := string(daylog.DateOf(now.In(zone)).Add(-1))
	p := browser.Start(t).Open(browser.Tablet)
	open := func(path string) {
		t.Helper()
		if status := p.Go(server.URL + "/job/" + demoJob + path); status != 200 {
			t.Fatalf("%s: %d", path, status)
		}
	}
	open("/")
	shrink(t, p.ShotOf("", "now"))
	p.Resize(browser.Desk)
	open("/day/" + yesterday)
	shrink(t, p.ShotOf("figure.plan > .wide", "plan"))
	open("/day/" + yesterday + "/summary")
	shrink(t, p.Picture(p.Print(browser.Letter, "summary"), "summary"))
}

// shrink writes a picture again with few colors: the pages have no more.
func shrink(t *testing.T, path string) {
	t.Helper()
	raw, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	full, err := png.Decode(bytes.NewReader(raw))
	if err != nil {
		t.Fatal(err)
	}
	small := image.NewPaletted(full.Bounds(), colors())
	draw.Draw(small, small.Bounds(), full, full.Bounds().Min, draw.Src)
	var out bytes.Buffer
	if err := (&png.Encoder{CompressionLevel: png.BestCompression}).Encode(&out, small); err != nil {
		t.Fatal(err)
	}
	if out.Len() > largest || full.Bounds().Dx() < 400 || full.Bounds().Dy() < 300 {
		t.Errorf("%s is %v and %d bytes", filepath.Base(path), full.Bounds().Size(), out.Len())
	}
	if err := os.WriteFile(path, out.Bytes(), 0o644); err != nil {
		t.Fatal(err)
	}
}

// colors are paper to ink in steps, and the red and the blue of the pages fading
// into the paper.
func colors() color.Palette {
	var p color.Palette
	paper, white := [3]int{0xfa, 0xf8, 0xf2}, [3]int{0xff, 0xff, 0xff}
	add := func(from, to [3]int, steps int) {
		for i := range steps {
			var c [3]uint8
			for k := range c {
				c[k] = uint8(from[k] + (to[k]-from[k])*i/max(steps-1, 1))
			}
			p = append(p, color.RGBA{c[0], c[1], c[2], 0xff})
		}
	}
	add(paper, [3]int{0x14, 0x18, 0x1b}, 24)
	add(white, [3]int{}, 16)
	add(paper, [3]int{0xb3, 0x23, 0x1b}, 8)
	add(paper, [3]int{0x0a, 0x4c, 0x86}, 8)
	return p
}
