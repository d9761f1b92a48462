package draw_test

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"heeltap/graph/recall/draw"
)

// Sample sizes: the percentages of 21 CFR 7.42(b)(3) of 1, 37 and 320 consignees, rounded up.
func TestSampleSizes(t *testing.T) {
	for level, want := range map[string][3]int{"A": {1, 37, 320}, "C": {1, 4, 32}, "D": {1, 1, 7}, "E": {0, 0, 0}} {
		for i, n := range []int{1, 37, 320} {
			got, _, err := draw.SampleSize(level, 0, n)
			require.NoError(t, err)
			require.Equal(t, want[i], got, "level %s of %d", level, n)
		}
	}
	got, percent, err := draw.SampleSize("B", 30, 37)
	require.NoError(t, err)
	require.Equal(t, 12, got, "11.1, rounded up")
	require.InDelta(t, 30, percent, 0)
	for _, p := range []float64{0, 10, 100, 101, math.NaN(), math.Inf(1)} { // more than 10 and less than 100
		_, _, err := draw.SampleSize("B", p, 37)
		require.Error(t, err)
	}
	_, _, err = draw.SampleSize("F", 50, 37)
	require.Error(t, err)
}

// The same seed draws the same parties whatever their order; who joins later puts nobody out but by rank.
func TestDrawIsReproducible(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 30).Draw(t, "n")
		var parties []string
		for i := range n {
			parties = append(parties, fmt.Sprintf("D-%d", i))
		}
		size := rapid.IntRange(0, n).Draw(t, "size")
		seed := rapid.String().Draw(t, "seed")
		drawn := draw.Parties(parties, size, seed)
		require.Len(t, drawn, size)
		require.Equal(t, drawn, draw.Parties(rapid.Permutation(parties).Draw(t, "order"), size, seed))
		require.Subset(t, draw.Parties(parties, n, seed), drawn)
		more := draw.Parties(append(parties, "D-new"), size, seed)
		var stayed int
		for _, p := range drawn {
			for _, q := range more {
				if p == q {
					stayed++
				}
			}
		}
		require.GreaterOrEqual(t, stayed, size-1)
	})
	require.NotEqual(t, draw.Parties([]string{"a", "b", "c", "d", "e", "f", "g", "h"}, 4, "1"), draw.Parties([]string{"a", "b", "c", "d", "e", "f", "g", "h"}, 4, "2"))
}
