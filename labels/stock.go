package labels

import (
	"fmt"
	"strings"
)

// A Stock is what tags are printed on: a page, and the cells it is divided
// into. Sizes are in mm.
type Stock struct {
	Name          string // as given on a command line
	About         string // for a person choosing
	Width, Height float64
	Columns, Rows int
	// GoodModule is the QR module size that is kept if need be at the cost of
	// error correction (but not below level M), LeastModule the smallest that
	// is printed at all; see [Stocks] for where they come from.
	GoodModule, LeastModule float64

	left, top    float64 // of the first cell
	cellW, cellH float64
	cut          bool // draw where to cut
	arrange      func(*pen, Tag, string) error
}

// Cells is the number of tags on one page.
func (s Stock) Cells() int { return s.Columns * s.Rows }

// cell is the place of the n-th cell of a page, row by row from 0.
func (s Stock) cell(n int) area {
	column, row := n%s.Columns, n/s.Columns
	return area{s.left + float64(column)*s.cellW, s.top + float64(row)*s.cellH, s.cellW, s.cellH}
}

// Stocks lists what can be printed on.
//
// ISO/IEC 18004 leaves the module size to the application. The sizes here are
// choices of our own for a plain QR code read by phones and hand scanners; the
// GS1 figures are a yardstick, and no tag claims to carry a GS1 symbol.
//
//   - A label of 100 × 150 mm hangs on a pallet and is read from some way off. It
//     keeps what GS1 asks of two-dimensional codes in general distribution, 1.5
//     times 0.495 mm (GS1 General Specifications), up to whole dots: 0.75 mm.
//   - A cell of a sheet is read at arm's length: at least GS1's smallest module of
//     linear codes in general distribution, 0.495 mm, up to whole dots: 0.5 mm.
//   - A label of 50 × 30 mm is read in the hand: 0.5 mm is four dots of a 203 dpi
//     print head and six of a 300 dpi one. The least, 0.375 mm, is three dots at
//     203 dpi: heated dots spread (common practice), and of three a half too many
//     still leaves a dark module apart from a light one.
//
// Places and sizes are whole multiples of a 203 dpi head's dot. Sheets keep
// 10 mm clear of the paper's edge, more than office printers leave blank.
func Stocks() []Stock {
	return []Stock{
		{
			Name: "a4", About: "A4 paper, 8 tags of 95 × 68 mm to cut apart",
			Width: 210, Height: 297, Columns: 2, Rows: 4, GoodModule: 0.75, LeastModule: 0.5,
			left: 10, top: 12.5, cellW: 95, cellH: 68, cut: true, arrange: (*pen).card,
		},
		{
			Name: "letter", About: "US Letter paper, 8 tags of 97 × 64 mm to cut apart",
			Width: 215.9, Height: 279.4, Columns: 2, Rows: 4, GoodModule: 0.75, LeastModule: 0.5,
			left: 11, top: 11.75, cellW: 97, cellH: 64, cut: true, arrange: (*pen).card,
		},
		{
			Name: "100x150", About: "label stock, one tag of 100 × 150 mm",
			Width: 100, Height: 150, Columns: 1, Rows: 1, GoodModule: 1, LeastModule: 0.75,
			cellW: 100, cellH: 150, arrange: (*pen).placard,
		},
		{
			Name: "50x30", About: "label stock, one tag of 50 × 30 mm",
			Width: 50, Height: 30, Columns: 1, Rows: 1, GoodModule: 0.5, LeastModule: 0.375,
			cellW: 50, cellH: 30, arrange: (*pen).sticker,
		},
	}
}

// StockByName finds a stock by its name, in any case.
func StockByName(name string) (Stock, error) {
	var names []string
	for _, s := range Stocks() {
		if strings.EqualFold(s.Name, strings.TrimSpace(name)) {
			return s, nil
		}
		names = append(names, s.Name)
	}
	return Stock{}, fmt.Errorf("no stock %q: choose one of %s", name, strings.Join(names, ", "))
}
