package sheet

import (
	"bytes"
	"encoding/csv"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"unicode"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"heeltap/lots"
)

// anyRows draws rows of any sheet as they can be recorded, with texts of every kind that a cell can hold.
func anyRows(t *rapid.T) []Row {
	texts := rapid.OneOf(
		rapid.StringMatching(`[=+@-]?[A-Za-z0-9 ,;"'./|_-]{1,12}`),
		rapid.StringOfN(rapid.RuneFrom(nil, unicode.L, unicode.N, unicode.P, unicode.S, unicode.Zs), 1, 8, -1),
		rapid.SampledFrom([]string{"2026-03-04", "2026-03-04 10:00", "007", "1e5", "1.2E+10", "11-Mar", "44927", "TRUE", "=1+1", "_x0041_", "_x005F_", "a\nb", "a\rb", "\"", "a\tb", "\\.", "#", "]]>", "&amp;"}),
	).Filter(func(v string) bool {
		return !errorValue.MatchString(strings.TrimSpace(v)) && !isSumWord(strings.TrimSpace(v))
	})
	typed := map[lots.Type][]string{
		lots.Number: {"12", "12.345", "0.5", "1200.50"}, lots.Amount: {"all", "7.125"}, lots.Count: {"12", "9000"}, lots.Offset: {"-1.5", "3"},
		lots.Time: {"2026-03-04", "2026-03-04 10:00", "2026-03-04T10:00:00+01:00"}, lots.UnitOf: lots.UnitNames(), lots.YesNo: {"yes", "no"},
	}
	var rows []Row
	for _, s := range lots.Sheets {
		for range rapid.IntRange(0, 2).Draw(t, s.Name) {
			row := lots.Row{}
			for _, c := range s.Columns {
				draw := texts
				if c.Type == lots.Choice {
					draw = rapid.SampledFrom(c.Values)
				} else if list := typed[c.Type]; list != nil {
					draw = rapid.SampledFrom(list)
				}
				if v := strings.TrimSpace(draw.Draw(t, c.Name)); v != "" && rapid.Bool().Draw(t, "filled") {
					row[c.Name] = v
				}
			}
			if len(row) > 0 {
				rows = append(rows, Row{Sheet: s, Row: row})
			}
		}
	}
	return rows
}

// contents drops where rows stand, which writing decides, and writes numbers as writing does.
func contents(rows []Row) []Row {
	out := make([]Row, len(rows))
	for i, r := range rows {
		row := lots.Row{}
		for _, c := range r.Sheet.Columns {
			if v := r.Row[c.Name]; v != "" {
				row[c.Name] = lots.Unmistakable(c, v)
			}
		}
		out[i] = Row{Sheet: r.Sheet, Row: row}
	}
	return out
}

// sameAgain reads what was written, whichever decimal sign the site has.
func sameAgain(t *rapid.T, path string, rows []Row) {
	sign := rapid.SampledFrom([]lots.Decimal{lots.Point, lots.Comma}).Draw(t, "sign")
	got, err := ReadWith(path, Options{Decimal: sign})
	require.NoError(t, err)
	require.Empty(t, got.Faults)
	require.Equal(t, contents(rows), contents(got.Rows))
}

func TestAFolderReadsBackAsWritten(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "out")
	rapid.Check(t, func(t *rapid.T) {
		rows := anyRows(t)
		require.NoError(t, WriteFolder(dir, rows))
		sameAgain(t, dir, rows)
	})
}

func TestAWorkbookReadsBackAsWritten(t *testing.T) {
	path := filepath.Join(t.TempDir(), "out.xlsx")
	rapid.Check(t, func(t *rapid.T) {
		rows := anyRows(t)
		require.NoError(t, WriteWorkbook(path, rows))
		sameAgain(t, path, rows)
	})
}

func TestAFolderAndAWorkbookOfTheSameRowsReadTheSame(t *testing.T) {
	rows, _, err := Read(golden)
	require.NoError(t, err)
	path := filepath.Join(t.TempDir(), "out.xlsx")
	require.NoError(t, WriteWorkbook(path, rows))
	again, faults, err := Read(path)
	require.NoError(t, err)
	require.Empty(t, faults)
	require.Equal(t, contents(rows), contents(again))
	require.Equal(t, "site", again[0].File)
	require.Equal(t, 2, again[0].Line)
}

// Whatever bytes stand in a file: no panic, places that exist, and rows that
// can be written and read again as they are.
func FuzzCSV(f *testing.F) {
	for _, name := range []string{"receipts.csv", "parties.csv", "holds.csv"} {
		b, err := os.ReadFile(filepath.Join(golden, name))
		require.NoError(f, err)
		f.Add(b)
	}
	for _, s := range []string{"", "\n", codesHead, codesHead + "R1,L1,2026,,\n", "\uFEFF" + codesHead + "\"a\r\nb\",\"\"\"\",=1,,", "run;date_code;since\n", "run,date_code,since,fault\nR1,\"L1\n", "\xff\xfe", "PK\x03\x04", "run,date_code,since\rx", "run,date_code,since,\n,,,x\n"} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		for _, name := range []string{"codes", "receipts", "parties", "holds"} {
			s := mustSheet(t, name)
			r := &reading{left: maxRows}
			require.NoError(t, r.csv(bytes.NewReader(data), s))
			checkReading(t, r)
			sameInMemory(t, s, r.rows)
		}
	})
}

// sameInMemory writes the rows of one sheet as CSV and reads them again.
func sameInMemory(t *testing.T, s *lots.Sheet, rows []Row) {
	t.Helper()
	_, err := grouped(rows)
	require.NoError(t, err)
	var b bytes.Buffer
	require.NoError(t, csv.NewWriter(&b).WriteAll(slices.Collect(csvOf(s, rows).lines)))
	again := &reading{left: maxRows}
	require.NoError(t, again.csv(&b, s))
	require.Empty(t, again.faults)
	require.Equal(t, contents(rows), contents(again.rows))
}

func checkReading(t *testing.T, r *reading) {
	t.Helper()
	last := map[string]int{}
	for _, row := range r.rows {
		require.NotEmpty(t, row.Row)
		require.Positive(t, row.Line)
		if strings.HasSuffix(row.File, ".csv") {
			require.Greater(t, row.Line, last[row.File])
			last[row.File] = row.Line
		}
		for column, v := range row.Row {
			require.True(t, row.Sheet.Has(column))
			require.Equal(t, strings.TrimSpace(v), v)
			require.NotEmpty(t, v)
			require.Empty(t, unreadable(v))
		}
	}
	for _, f := range r.faults {
		require.NotEmpty(t, f.File)
		require.NotEmpty(t, f.Reason)
		require.Positive(t, f.Line)
	}
}
