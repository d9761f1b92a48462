package main

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// No two parties' letters get one file, also where upper and lower case are one to the file system, and every name can stand anywhere.
func TestFileNamesNeverMeet(t *testing.T) {
	require.Equal(t, []string{"consignee D-1", "supplier D-1", "consignee X%3a1", "consignee X%3f1", "consignee X%2f1", "consignee 100%25", "consignee Br%c3%a4u"},
		fileNames([]string{"consignee D-1", "supplier D-1", "consignee X:1", "consignee X?1", "consignee X/1", "consignee 100%", "consignee Bräu"}))
	require.Equal(t, []string{"consignee ab", "consignee %41b", "consignee C"}, fileNames([]string{"consignee ab", "consignee Ab", "consignee C"}))
	code := rapid.StringOf(rapid.SampledFrom([]rune("aAbBkK\u212AäÄa\u0308%3Ff:/\\?*\"<>| .1")))
	rapid.Check(t, func(t *rapid.T) {
		var names []string
		for _, c := range rapid.SliceOfNDistinct(code, 1, 12, rapid.ID[string]).Draw(t, "codes") {
			names = append(names, "consignee "+c)
		}
		seen := map[string]string{}
		for i, n := range fileNames(names) {
			require.NotContains(t, seen, strings.ToLower(n), "%q", names[i])
			seen[strings.ToLower(n)] = names[i]
			require.False(t, strings.ContainsAny(n, `:/\?*"<>|`))
			require.Equal(t, strings.ToValidUTF8(n, ""), n)
		}
	})
}

// A spreadsheet runs no cell of the table, and a mail merge prints telephone numbers as they are.
func TestMergeCellsAreNotRun(t *testing.T) {
	for cell, want := range map[string]string{"": "", "D-1": "D-1", "+353 1 555": "+353 1 555", "+1 (555) 010.4/5": "+1 (555) 010.4/5", "=1+1": "'=1+1", "+1+1": "'+1+1", "+A1": "'+A1", "-1": "'-1",
		"@SUM(A1)": "'@SUM(A1)", "\t=1": "'\t=1", "\r=1": "'\r=1", "+1-cmd|' /C calc'!A0": "'+1-cmd|' /C calc'!A0"} {
		require.Equal(t, want, unrun(cell))
	}
}

// A list that no cell of a workbook can hold is cut after a whole item, and says so.
func TestLongListsFitACell(t *testing.T) {
	require.Equal(t, "P-1; P-2", fitting("P-1; P-2"))
	var units []string
	for i := range 4000 {
		units = append(units, fmt.Sprintf("PALLET-%09d", i))
	}
	all := strings.Join(units, "; ")
	got := fitting(all)
	require.LessOrEqual(t, len(got), mostCell)
	require.Greater(t, len(got), mostCell-100)
	kept, found := strings.CutSuffix(got, "; AND MORE: see the sheet units")
	require.True(t, found)
	require.True(t, strings.HasPrefix(all, kept+"; "), "a whole item is the last")
	require.Equal(t, "AND MORE: see the sheet units", fitting(strings.Repeat("🍺", mostCell)), "no item at all fits")
	require.Equal(t, strings.Repeat("x", mostCell), fitting(strings.Repeat("x", mostCell)))
}
