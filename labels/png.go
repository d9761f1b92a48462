package labels

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"hash/crc32"
	"image"
	"image/color"
	"image/png"
	"math"
)

const (
	usualDPI = 300
	leastDPI = 150 // below, the small print is no longer read
	mostDPI  = 1200
	mmPerIn  = 25.4
)

// Palette of a PNG: print heads know no grey.
const (
	paper = iota
	ink
)

// PNG draws one tag in black and white, each QR module a whole number of
// pixels, and notes the resolution so that it prints at its size.
func PNG(tag Tag, opts ImageOptions) ([]byte, error) {
	stock, err := opts.stock()
	if err != nil {
		return nil, err
	}
	pitch, err := pixel(opts.DPI)
	if err != nil {
		return nil, err
	}
	fs := newFaces()
	d, err := layOut(fs, tag, opts.Base, stock, pitch)
	if err != nil {
		return nil, err
	}
	img := image.NewPaletted(image.Rect(0, 0, pixels(d.width, pitch), pixels(d.height, pitch)),
		color.Palette{paper: color.White, ink: color.Black})
	for _, box := range d.boxes {
		fillRect(img, pixels(box.x, pitch), pixels(box.y, pitch), pixels(box.x+box.w, pitch), pixels(box.y+box.h, pitch))
	}
	for _, t := range d.texts {
		var r raster
		fs.pick(t.bold).trace(&r, t.x/pitch, t.y/pitch, t.size/pitch, t.text)
		r.fill(img, map[bool]uint8{true: paper, false: ink}[t.white])
	}
	x, y := d.origin()
	side := pixels(d.symbol.module, pitch)
	for _, bar := range d.symbol.bars() {
		left, top := pixels(x, pitch)+bar.x*side, pixels(y, pitch)+bar.y*side
		fillRect(img, left, top, left+bar.n*side, top+side)
	}
	var b bytes.Buffer
	if err := png.Encode(&b, img); err != nil {
		return nil, fmt.Errorf("write PNG of %s: %w", tag.Code, err)
	}
	return withResolution(b.Bytes(), pitch), nil
}

// pixel is the side of a pixel in mm.
func pixel(dpi int) (float64, error) {
	switch {
	case dpi == 0:
		return mmPerIn / usualDPI, nil
	case dpi == 203: // 8 dots/mm
		return dot, nil
	case dpi < leastDPI || dpi > mostDPI:
		return 0, fmt.Errorf("%d dpi: choose from %d to %d, for a label printer its own 203 or 300", dpi, leastDPI, mostDPI)
	}
	return mmPerIn / float64(dpi), nil
}

// pixels is a length in whole pixels.
func pixels(mm, pitch float64) int { return int(math.Round(mm / pitch)) }

func fillRect(img *image.Paletted, left, top, right, bottom int) {
	for y := top; y < bottom; y++ {
		for x := left; x < right; x++ {
			img.SetColorIndex(x, y, ink)
		}
	}
}

// withResolution puts a pHYs chunk (PNG specification, 11.3.5.3) before the
// first IDAT; the standard library does not write one.
func withResolution(png []byte, pitch float64) []byte {
	perMetre := uint32(math.Round(1000 / pitch))
	chunk := []byte("pHYs")
	chunk = binary.BigEndian.AppendUint32(chunk, perMetre)
	chunk = binary.BigEndian.AppendUint32(chunk, perMetre)
	chunk = append(chunk, 1) // per metre
	chunk = binary.BigEndian.AppendUint32(chunk, crc32.ChecksumIEEE(chunk))
	at := bytes.Index(png, []byte("IDAT")) - 4
	out := bytes.Clone(png[:at])
	out = append(out, 0, 0, 0, 9)
	out = append(out, chunk...)
	return append(out, png[at:]...)
}
