package labels

import (
	"fmt"
	"math"

	qrcode "github.com/skip2/go-qrcode"
)

// quietModules is the width of the empty border that a QR code needs on each
// side, in modules (ISO/IEC 18004).
const quietModules = 4

// dot is the pitch of a print head of 8 dots/mm, sold as 203 dpi, in mm.
// Module sizes are whole numbers of it. Every second one of them is a whole
// number of dots of a head of 12 dots/mm too; on any other printer a module is
// off by less than one dot, and the sum of them by no more.
const dot = 0.125

// A symbol is a QR code with its size in print.
type symbol struct {
	bits   [][]bool // rows of modules from the top left, true is dark, without quiet zone
	level  qrcode.RecoveryLevel
	module float64 // side of one module (the X dimension), mm
	offset float64 // where the first module lies within the box it was fitted into, mm
}

// fitSymbol makes the QR code of payload for a square box (mm), its quiet zone
// inside the box, with modules as large as the box allows in whole steps of
// pitch mm. It takes the highest error-correction level that leaves modules of
// the stock's good size. A payload too long for that even at level M gets the
// highest level that leaves modules of the least size: finer modules cost a
// scanner more than a level gains it.
func fitSymbol(payload string, box, pitch float64, stock Stock) (symbol, error) {
	all := []qrcode.RecoveryLevel{qrcode.Highest, qrcode.High, qrcode.Medium, qrcode.Low}
	if code, ok := encode(payload, box, pitch, stock.GoodModule, all[:3]); ok {
		return code, nil
	}
	if code, ok := encode(payload, box, pitch, stock.LeastModule, all); ok {
		return code, nil
	}
	return symbol{}, fmt.Errorf("%w: a QR code of %d characters would need modules finer than %g mm to fit into %g mm;"+
		" use a shorter code or server address, or a larger stock", ErrTooLong, len(payload), stock.LeastModule, box)
}

// encode tries error-correction levels until one leaves modules of at least
// least mm.
func encode(payload string, box, pitch, least float64, levels []qrcode.RecoveryLevel) (symbol, bool) {
	for _, level := range levels {
		code, err := qrcode.New(payload, level)
		if err != nil {
			continue // longer than the largest symbol of this level holds
		}
		code.DisableBorder = true
		bits := code.Bitmap()
		modules := float64(len(bits) + 2*quietModules)
		module := pitch * math.Floor(box/(modules*pitch)+1e-9)
		if module < least-1e-9 {
			continue
		}
		margin := math.Floor((box-modules*module)/2/pitch+1e-9) * pitch
		return symbol{bits, level, module, margin + quietModules*module}, true
	}
	return symbol{}, false
}

// A bar is a run of dark modules in one row, in modules.
type bar struct{ x, y, n int }

// bars are the dark modules, merged along each row.
func (s symbol) bars() []bar {
	var bars []bar
	for y, row := range s.bits {
		for x := 0; x < len(row); x++ {
			start := x
			for x < len(row) && row[x] {
				x++
			}
			if x > start {
				bars = append(bars, bar{start, y, x - start})
			}
		}
	}
	return bars
}
