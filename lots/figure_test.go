package lots_test

import (
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"heeltap/lots"
)

func TestFigures(t *testing.T) {
	for n, want := range map[float64]string{0: "0", 1: "1", 2.5: "2.5", 1234567: "1234567", 0.12345: "0.123", -0.0001: "0", -3.25: "-3.25", 1e7: "10000000"} {
		require.Equal(t, want, lots.Figure(n))
	}
	for n, want := range map[float64]string{0: "0", 1083.281: "1083", 887.6: "888", 0.2: "1"} {
		require.Equal(t, want, lots.FigureOf(n, "each"))
	}
	require.Equal(t, "5.662", lots.FigureOf(5.6621, "kg"))
	for percent, want := range map[float64]string{0: "0", 100: "100", 99.9996: "99.99", 99.92: "99.92", 0.0001: "0.01", 100.0001: "100.01", 114: "114", 66.66666: "66.67", -0.001: "-0.01"} {
		require.Equal(t, want, lots.PercentFigure(percent))
	}
}

func TestAPercentageKeepsItsSideOfAllAndNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := rapid.Float64Range(0, 130).Draw(t, "percent")
		shown, err := strconv.ParseFloat(lots.PercentFigure(p), 64)
		require.NoError(t, err)
		require.InDelta(t, p, shown, 0.0101)
		require.Equal(t, p < 100, shown < 100)
		require.Equal(t, p > 100, shown > 100)
		require.Equal(t, p > 0, shown > 0)
	})
}

func TestPackages(t *testing.T) {
	var p lots.Packages
	require.True(t, p.None())
	require.Equal(t, "0 cases", p.String())
	p.Add(false, 12)
	p.Add(true, 1)
	require.Equal(t, "12 cases and 1 keg", p.String())
	require.Equal(t, "1 case and 3 kegs", p.Plus(lots.Packages{Cases: -11, Kegs: 2}).String())
	require.Equal(t, "2 kegs", lots.Packages{Kegs: 2}.String())
}
