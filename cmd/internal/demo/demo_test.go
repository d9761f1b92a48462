package demo

import (
	"testing"

	"github.com/stretchr/testify/require"

	"heeltap/lots"
	"heeltap/lots/lineage"
)

// ledger reads the history as it stands after all corrections.
func ledger(t *testing.T) *lots.Ledger {
	t.Helper()
	l, faults := lots.NewLedger(Rows(Brewery()))
	require.Empty(t, faults)
	return l
}

func TestTheHistoryIsRead(t *testing.T) {
	l := ledger(t)
	delta, err := lineage.DeriveAll(l, lineage.DefaultLimits())
	require.NoError(t, err)
	names := map[string]int{}
	for _, c := range delta.Cells {
		for _, f := range c.Findings {
			names[f.Name]++
			t.Log(f.Name, f.Code, f.Text)
		}
	}
	t.Log(len(l.Records()), names)
}

func TestStory(t *testing.T) { t.Logf("%+v", Told(Brewery())) }
