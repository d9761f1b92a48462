package datecode

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// A date is read back from what was printed, and from nothing else.
func TestDateReadsWhatWasPrinted(t *testing.T) {
	patterns := []string{"BB {year}-{month}-{day} {hour}:{minute}", "{day}{mon}{yy}", "K{packed-yy}{packed-doy}", "{hour}{minute} L{line} {day}.{month}.{year}", "{packed-day}{packed-month}{packed-yy}/{doy}{yy}"}
	rapid.Check(t, func(rt *rapid.T) {
		text := rapid.SampledFrom(patterns).Draw(rt, "pattern")
		p, err := Parse(text)
		require.NoError(rt, err)
		packed := time.Date(2026, 1, 1, 7, 0, 0, 0, time.UTC).AddDate(0, 0, rapid.IntRange(0, 1500).Draw(rt, "days"))
		m := Moment{Packed: packed, ShelfLifeDays: int64(rapid.IntRange(0, 400).Draw(rt, "life")), Line: "L2", Product: "PALE"}
		want := m.best()
		if text == patterns[2] {
			want = packed
		}
		got, ok := p.Date(p.Recorded(m))
		require.True(rt, ok, p.Recorded(m))
		require.Equal(rt, want.Format(time.DateOnly), got.Format(time.DateOnly))
	})
	for pattern, codes := range map[string][]string{
		"BB {year}-{month}-{day}": {"BB 2026-02-30", "BB 2026-13-01", "2026-02-01", "BB 2026-02-01 X", "BB 2026-O2-01", ""},
		"K{yy}{doy}":              {"K26366", "K26000"},
		"{letter}{day}{yy}":       {"C0926"},
		"LOT":                     {"LOT"},
	} {
		p, err := Parse(pattern)
		require.NoError(t, err)
		for _, code := range codes {
			_, ok := p.Date(code)
			require.False(t, ok, "%s as %s", code, pattern)
		}
	}
}

// The finest time that a code shows; a minute without its hour shows none.
func TestResolution(t *testing.T) {
	for pattern, want := range map[string]int64{"{hour}h": 3600, "{hour}:{minute}": 60, "{hour}{minute}{second}": 1, "{minute}": 0, "BB {year}": 0} {
		p, err := Parse(pattern)
		require.NoError(t, err)
		require.Equal(t, want, p.Resolution(), pattern)
	}
}
