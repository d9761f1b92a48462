package histories_test

import (
	"testing"
	_ "time/tzdata"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"heeltap/lots"
	"heeltap/lots/lineage/histories"
)

// Every row can be read, and none stands twice.
func TestRowsCanBeRead(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rows := histories.Draw(t)
		_, faults := lots.NewLedger(histories.Entered(rows))
		require.Empty(t, faults, "%s", histories.Text(rows))
		seen := map[string]bool{}
		for _, r := range rows {
			text := histories.Text([]histories.Row{r})
			require.False(t, seen[text], text)
			seen[text] = true
		}
	})
}

// What the histories hold is what they are for: each sheet of acts comes up.
func TestEverySheetOccurs(t *testing.T) {
	seen := map[string]int{}
	for i := range 300 {
		for _, r := range rapid.Custom(histories.Draw).Example(i) {
			seen[r.Sheet]++
		}
	}
	for _, sheet := range lots.Sheets {
		if sheet.Name != "holds" {
			require.NotZero(t, seen[sheet.Name], sheet.Name)
		}
	}
}
