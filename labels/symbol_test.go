package labels

import (
	"os"
	"strconv"
	"strings"
	"testing"

	qrcode "github.com/skip2/go-qrcode"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// levels from the most error correction to the least.
var levels = []qrcode.RecoveryLevel{qrcode.Highest, qrcode.High, qrcode.Medium, qrcode.Low}

// A capacity is a row of testdata/qr_capacity.tsv: how many bytes a version
// holds, by level.
type capacity struct {
	version, modules int
	bytes            map[qrcode.RecoveryLevel]int
}

func capacities(t require.TestingT) []capacity {
	data, err := os.ReadFile("testdata/qr_capacity.tsv")
	require.NoError(t, err)
	var rows []capacity
	for line := range strings.Lines(string(data)) {
		fields := strings.Split(strings.TrimSpace(line), "\t")
		n, err := strconv.Atoi(fields[0])
		if err != nil {
			continue // comment or heading
		}
		number := func(i int) int {
			v, err := strconv.Atoi(fields[i])
			require.NoError(t, err)
			return v
		}
		rows = append(rows, capacity{n, number(1), map[qrcode.RecoveryLevel]int{
			qrcode.Low: number(4), qrcode.Medium: number(5), qrcode.High: number(6), qrcode.Highest: number(7),
		}})
	}
	require.Len(t, rows, 11)
	return rows
}

// A payload of lower-case letters can only be written as bytes, so the table
// says which version it takes.
func TestSymbolHoldsWhatTheStandardSays(t *testing.T) {
	for _, row := range capacities(t) {
		require.Equal(t, 4*row.version+17, row.modules, "side by version (ISO/IEC 18004)")
		for level, bytes := range row.bytes {
			full, err := qrcode.New(strings.Repeat("a", bytes), level)
			require.NoError(t, err)
			require.Equal(t, row.version, full.VersionNumber, "%d bytes at level %d", bytes, level)
			full.DisableBorder = true
			require.Len(t, full.Bitmap(), row.modules)

			over, err := qrcode.New(strings.Repeat("a", bytes+1), level)
			if row.version == 40 {
				require.Error(t, err, "no larger version")
				continue
			}
			require.NoError(t, err)
			require.Equal(t, row.version+1, over.VersionNumber, "%d bytes at level %d", bytes+1, level)
		}
	}
}

// wantLevel is the level that a payload of n bytes should get, by the table:
// the highest that leaves good modules, down to M; else the highest that leaves
// modules of the least size.
func wantLevel(rows []capacity, n int, box, pitch float64, stock Stock) (level qrcode.RecoveryLevel, module float64, ok bool) {
	size := func(level qrcode.RecoveryLevel) float64 {
		for _, row := range rows {
			if row.version <= 10 && n <= row.bytes[level] {
				dots := int((box/pitch + 1e-6) / float64(row.modules+8))
				return float64(dots) * pitch
			}
		}
		return 0
	}
	for _, level := range levels[:3] {
		if size(level) >= stock.GoodModule-1e-9 {
			return level, size(level), true
		}
	}
	for _, level := range levels {
		if size(level) >= stock.LeastModule-1e-9 {
			return level, size(level), true
		}
	}
	return 0, 0, false
}

func TestFitSymbolTakesTheHighestLevel(t *testing.T) {
	rows := capacities(t)
	stock := Stock{GoodModule: 0.5, LeastModule: 0.375}
	const box = 21.75 // holds version 8 and no more: 21.75 / 0.375 = 58 modules, 8 of them quiet zone
	seen := make(map[qrcode.RecoveryLevel]int)
	for n := 1; n <= 193; n++ {
		level, module, ok := wantLevel(rows, n, box, dot, stock)
		got, err := fitSymbol(strings.Repeat("a", n), box, dot, stock)
		if !ok {
			require.ErrorIs(t, err, ErrTooLong, "%d bytes", n)
			continue
		}
		require.NoError(t, err, "%d bytes", n)
		require.Equal(t, level, got.level, "%d bytes", n)
		require.InDelta(t, module, got.module, 1e-9, "%d bytes", n)
		seen[level]++
	}
	require.Len(t, seen, 4, "every level occurs: %v", seen)
	_, err := fitSymbol(strings.Repeat("a", 192), box, dot, stock)
	require.NoError(t, err, "version 8 at level L holds 192 bytes")
	_, err = fitSymbol(strings.Repeat("a", 193), box, dot, stock)
	require.ErrorIs(t, err, ErrTooLong)
	require.ErrorContains(t, err, "193 characters")
}

func TestFitSymbolKeepsItsSizes(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		stock := rapid.SampledFrom(Stocks()).Draw(t, "stock")
		pitch := rapid.SampledFrom([]float64{dot, 25.4 / 300, 25.4 / 600}).Draw(t, "pitch")
		box := rapid.Float64Range(15, 60).Draw(t, "box")
		payload := rapid.StringMatching(`[ -~]{1,200}`).Draw(t, "payload")
		code, err := fitSymbol(payload, box, pitch, stock)
		if err != nil {
			require.ErrorIs(t, err, ErrTooLong)
			return
		}
		side := float64(len(code.bits)) * code.module
		dots := code.module / pitch
		require.GreaterOrEqual(t, code.module, stock.LeastModule-1e-9)
		require.InDelta(t, float64(int(dots+0.5)), dots, 1e-6, "a module is a whole number of dots")
		quiet := 4 * code.module // ISO/IEC 18004: four modules on each side
		require.GreaterOrEqual(t, code.offset, quiet-1e-9)
		require.GreaterOrEqual(t, box-code.offset-side, quiet-1e-9)
		larger := float64(len(code.bits)+8) * (code.module + pitch)
		require.Greater(t, larger, box-1e-6, "one more dot per module would not fit")
	})
}

func TestBarsAreTheDarkModules(t *testing.T) {
	code, err := fitSymbol("LOT-123", 30, dot, Stock{GoodModule: 0.5, LeastModule: 0.5})
	require.NoError(t, err)
	drawn := make([][]bool, len(code.bits))
	for y := range drawn {
		drawn[y] = make([]bool, len(code.bits))
	}
	for _, bar := range code.bars() {
		for x := bar.x; x < bar.x+bar.n; x++ {
			require.False(t, drawn[bar.y][x], "drawn once")
			drawn[bar.y][x] = true
		}
	}
	require.Equal(t, code.bits, drawn)
}
