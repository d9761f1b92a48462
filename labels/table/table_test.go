package table

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// A spreadsheet runs no cell of the table, and a mail merge prints telephone numbers as they are.
func TestMergeCellsAreNotRun(t *testing.T) {
	for cell, want := range map[string]string{"": "", "D-1": "D-1", "+353 1 555": "+353 1 555", "+1 (555) 010.4/5": "+1 (555) 010.4/5", "=1+1": "'=1+1", "+1+1": "'+1+1", "+A1": "'+A1", "-1": "'-1",
		"@SUM(A1)": "'@SUM(A1)", "\t=1": "'\t=1", "\r=1": "'\r=1", "+1-cmd|' /C calc'!A0": "'+1-cmd|' /C calc'!A0"} {
		require.Equal(t, want, unrun(cell))
	}
}

// A list that no cell of a workbook can hold is cut after a whole item, and says so.
func TestLongListsFitACell(t *testing.T) {
	const more = "AND MORE: see the sheet units"
	require.Equal(t, "P-1; P-2", fitting("P-1; P-2", more))
	var units []string
	for i := range 4000 {
		units = append(units, fmt.Sprintf("PALLET-%09d", i))
	}
	all := strings.Join(units, "; ")
	got := fitting(all, more)
	require.LessOrEqual(t, len(got), mostCell)
	require.Greater(t, len(got), mostCell-100)
	kept, found := strings.CutSuffix(got, "; AND MORE: see the sheet units")
	require.True(t, found)
	require.True(t, strings.HasPrefix(all, kept+"; "), "a whole item is the last")
	require.Equal(t, "AND MORE: see the sheet units", fitting(strings.Repeat("🍺", mostCell), more), "no item at all fits")
	require.Equal(t, strings.Repeat("x", mostCell), fitting(strings.Repeat("x", mostCell), more))
}
