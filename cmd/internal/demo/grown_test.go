package demo

import (
	"testing"

	"github.com/stretchr/testify/require"

	"heeltap/lots"
)

// A history of two sites and two years is read without a fault, is the same each time, and at each site all kinds of things happen.
func TestGrownHistories(t *testing.T) {
	size := Grown{Sites: 2, Years: 2, Seed: 1}
	entries := History(size)
	require.Equal(t, entries, History(size))
	for i := 1; i < len(entries); i++ {
		require.False(t, entries[i].Recorded.Before(entries[i-1].Recorded))
	}
	l, faults := lots.NewLedger(Rows(entries))
	require.Empty(t, faults)
	sites := map[bool]map[string]int{false: {}, true: {}}
	for _, e := range entries {
		sites[len(e.Row["run"]+e.Row["lot"]+e.Row["vessel"]) > 3 && (e.Row["run"] + e.Row["lot"] + e.Row["vessel"])[:3] == "N2-"][e.Sheet]++
	}
	for _, sheet := range []string{"receipts", "brews", "crops", "runs", "units", "feeds", "cleans"} {
		first, second := sites[false][sheet], sites[true][sheet]
		if sheet == "brews" { // they name a brew and a vessel to fill
			continue
		}
		require.Greater(t, second, 10, sheet)
		require.InEpsilon(t, first, second, 0.3, sheet)
	}
	require.Greater(t, len(l.Records()), 30000)
	require.Less(t, len(History(Grown{Sites: 1, Years: 2, Seed: 1})), len(entries)*6/10)
}
