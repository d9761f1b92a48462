package labels

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestStocks(t *testing.T) {
	// Paper sizes: ISO 216 (A4) and ANSI/ASME Y14.1 (Letter, 8.5 × 11 in).
	pages := map[string][2]float64{"a4": {210, 297}, "letter": {8.5 * 25.4, 11 * 25.4}, "100x150": {100, 150}, "50x30": {50, 30}}
	require.Len(t, Stocks(), len(pages))
	for _, s := range Stocks() {
		t.Run(s.Name, func(t *testing.T) {
			size := pages[s.Name]
			require.InDelta(t, size[0], s.Width, 1e-9)
			require.InDelta(t, size[1], s.Height, 1e-9)
			require.NotEmpty(t, s.About)
			require.GreaterOrEqual(t, s.GoodModule, s.LeastModule)
			margin := 0.0
			if s.Cells() > 1 {
				margin = 10
			}
			for n := range s.Cells() {
				c := s.cell(n)
				require.GreaterOrEqual(t, c.x, margin)
				require.GreaterOrEqual(t, c.y, margin)
				require.LessOrEqual(t, c.x+c.w, s.Width-margin+1e-9)
				require.LessOrEqual(t, c.y+c.h, s.Height-margin+1e-9)
				for _, v := range []float64{c.x, c.y} {
					require.InDelta(t, math.Round(v/dot), v/dot, 1e-9, "on a 203 dpi head's dot")
				}
				for m := range n {
					require.False(t, overlap(c, s.cell(m)), "cells %d and %d", m, n)
				}
			}
			found, err := StockByName(" " + s.Name)
			require.NoError(t, err)
			require.Equal(t, s.Width, found.Width)
		})
	}
}

func TestStockByNameRefuses(t *testing.T) {
	_, err := StockByName("a3")
	require.EqualError(t, err, `no stock "a3": choose one of a4, letter, 100x150, 50x30`)
}

// overlap reports whether two areas share more than an edge.
func overlap(a, b area) bool {
	const touch = 1e-6
	return a.x < b.x+b.w-touch && b.x < a.x+a.w-touch && a.y < b.y+b.h-touch && b.y < a.y+a.h-touch
}
