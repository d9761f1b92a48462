package sheet

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"heeltap/lots"
)

const golden = "testdata/folder"

func TestReadFolder(t *testing.T) {
	rows, faults, err := Read(golden)
	require.NoError(t, err)
	require.Empty(t, faults)
	require.Len(t, rows, 38)
	byPlace := map[place]Row{}
	for _, r := range rows {
		byPlace[place{r.File, r.Line}] = r
	}
	require.Equal(t, lots.Row{"name": "Sample Brewery", "time_zone": "Europe/Berlin", "volume_unit": "hL", "mass_unit": "kg"},
		byPlace[place{"site.csv", 2}].Row)
	require.Equal(t, `the "grist" desk`, byPlace[place{"parties.csv", 2}].Row["contact"])
	require.Equal(t, "Mill Lane 1\n10000 Town", byPlace[place{"parties.csv", 2}].Row["address"])
	require.Equal(t, "C-1", byPlace[place{"parties.csv", 4}].Row["party"], "a row after one of two lines stands on line 4")
	require.Equal(t, "=1+1 -0042", byPlace[place{"receipts.csv", 2}].Row["supplier_lot"], "a text that looks like a formula is kept as printed")
	require.NotContains(t, byPlace[place{"receipts.csv", 3}].Row, "into", "empty cells are absent")
	require.Equal(t, "label wrong", byPlace[place{"holds.csv", 2}].Row["reason"])
	ledger, faults := lots.NewLedger(entered(rows))
	require.Empty(t, faults, "every row can be understood")
	require.Len(t, ledger.Records(), len(rows))
}

func entered(rows []Row) []lots.Entered {
	out := make([]lots.Entered, len(rows))
	for i, r := range rows {
		out[i] = lots.Entered{Seq: int64(i + 1), Sheet: r.Sheet, Row: r.Row}
	}
	return out
}

func TestRowsComeInTheOrderOfSheetsThenLines(t *testing.T) {
	rows, _, err := Read(golden)
	require.NoError(t, err)
	at, line := 0, 0
	for _, r := range rows {
		if r.Sheet != lots.Sheets[at] {
			for at++; r.Sheet != lots.Sheets[at]; at++ {
			}
			line = 0
		}
		require.Greater(t, r.Line, line)
		line = r.Line
	}
	require.Equal(t, "holds", lots.Sheets[at].Name)
}

func TestWriteFolderGivesTheGoldenFiles(t *testing.T) {
	rows, _, err := Read(golden)
	require.NoError(t, err)
	out := filepath.Join(t.TempDir(), "out")
	require.NoError(t, WriteFolder(out, rows))
	entries, err := os.ReadDir(out)
	require.NoError(t, err)
	require.Len(t, entries, len(lots.Sheets))
	for _, s := range lots.Sheets {
		want, err := os.ReadFile(filepath.Join(golden, s.File()))
		require.NoError(t, err)
		got, err := os.ReadFile(filepath.Join(out, s.File()))
		require.NoError(t, err)
		require.Equal(t, string(want), string(got), s.File())
	}
}

func TestWriteFolderWithoutRowsGivesHeadings(t *testing.T) {
	out := filepath.Join(t.TempDir(), "out")
	require.NoError(t, WriteFolder(out, nil))
	rows, faults, err := Read(out)
	require.NoError(t, err)
	require.Empty(t, faults)
	require.Empty(t, rows)
	got, err := os.ReadFile(filepath.Join(out, "codes.csv"))
	require.NoError(t, err)
	require.Equal(t, "run,date_code,since,until,ref\n", string(got))
}

// readCSV reads one file of a folder.
func readCSV(t *testing.T, name, content string) ([]Row, lots.Faults) {
	t.Helper()
	dir := t.TempDir()
	require.NoError(t, os.WriteFile(filepath.Join(dir, name), []byte(content), 0o600))
	rows, faults, err := Read(dir)
	require.NoError(t, err)
	return rows, faults
}

const codesHead = "run,date_code,since,until,ref\n"

func TestCSVIsRead(t *testing.T) {
	good := lots.Row{"run": "R1", "date_code": "L1", "since": "2026-03-04 10:00"}
	for _, c := range []struct{ name, content string }{
		{"plain", codesHead + "R1,L1,2026-03-04 10:00,,\n"},
		{"no newline at the end", codesHead + "R1,L1,2026-03-04 10:00,,"},
		{"byte-order mark", "\uFEFF" + codesHead + "R1,L1,2026-03-04 10:00,,\n"},
		{"CRLF", strings.ReplaceAll(codesHead+"R1,L1,2026-03-04 10:00,,\n", "\n", "\r\n")},
		{"columns in another order", "since,run,date_code\n2026-03-04 10:00,R1,L1\n"},
		{"spaces at the ends", " run , date_code,since \n R1 ,\tL1,2026-03-04 10:00\u00a0\n"},
		{"quoted", `"run","date_code","since"` + "\n" + `"R1","L1","2026-03-04 10:00"` + "\n"},
		{"fault column", "run,date_code,since,fault\nR1,L1,2026-03-04 10:00,since: is needed\n"},
		{"columns without a heading and without content", "run,date_code,since,,\nR1,L1,2026-03-04 10:00,,\n"},
		{"blank lines and rows", "\n,,\n" + codesHead + "\n,,,,\n , \nR1,L1,2026-03-04 10:00,,\n\n"},
	} {
		t.Run(c.name, func(t *testing.T) {
			rows, faults := readCSV(t, "codes.csv", c.content)
			require.Empty(t, faults)
			require.Len(t, rows, 1)
			require.Equal(t, good, rows[0].Row)
		})
	}
}

func TestTextsAreKeptAsPrinted(t *testing.T) {
	for _, text := range []string{"=SUM(A1)", "+49", "-0042", "@x", "007", "a  b", "3-4", "1E5", `q"q`, "tab\tin", "two\nlines", "Ünïcode ✓", "'x", "TRUE", "12,5", ";"} {
		rows, faults := readCSV(t, "codes.csv", codesHead+`R1,"`+strings.ReplaceAll(text, `"`, `""`)+"\",2026-03-04,,\n")
		require.Empty(t, faults, text)
		require.Equal(t, text, rows[0].Row["date_code"])
	}
}

func TestCSVFaults(t *testing.T) {
	for _, c := range []struct {
		name, content string
		want          string
		rows          int
	}{
		{"unknown column", "run,datecode,since\nR1,L1,2026\n", "codes.csv:1: datecode: codes has no such column; did you mean date_code?", 0},
		{"unknown column like none", "run,date_code,since,colour of the sky\nR1,L1,2026,x\n",
			"codes.csv:1: colour of the sky: codes has no such column: it has run, date_code, since, until, ref", 0},
		{"required column missing", "run,since\nR1,2026\n", "codes.csv:1: date_code: this column is needed and missing from the heading", 0},
		{"column twice", "run,date_code,since,run\nR1,L1,2026,R1\n", "codes.csv:1: run: appears twice in the heading", 0},
		{"semicolons", "run;date_code;since\nR1;L1;2026\n", "codes.csv:1: is separated by semicolons: save it comma-separated", 0},
		{"tabs", "run\tdate_code\tsince\nR1\tL1\t2026\n", "codes.csv:1: is separated by tabs: save it comma-separated", 0},
		{"old line ends", "run,date_code,since\rR1,L1,2026\r", "codes.csv:1: the lines end in a carriage return alone: save the file as CSV UTF-8", 0},
		{"UTF-16", "\xff\xfer\x00u\x00n\x00", "codes.csv:1: is UTF-16, not UTF-8: save it as CSV UTF-8", 0},
		{"UTF-16 without a mark", "r\x00u\x00n\x00", "codes.csv:1: is UTF-16, not UTF-8: save it as CSV UTF-8", 0},
		{"workbook by another name", "PK\x03\x04abc", "codes.csv:1: is a workbook named .csv: save it as CSV UTF-8, or give it the ending .xlsx", 0},
		{"empty file", "", "codes.csv:1: has no heading: write the column names run,date_code,since,until,ref", 0},
		{"blank file", "\n,,\n", "codes.csv:1: has no heading: write the column names run,date_code,since,until,ref", 0},
		{"quote open in the heading", "run,\"date_code,since\nR1,L1,2026\n", "codes.csv:1: a quoted cell is not closed, or text follows its closing quote: double the quotes inside a cell", 0},
		{"cell too many", codesHead + "R1,L1,12,5,,\nR1,L1,2026,,\n",
			"codes.csv:2: has 6 cells where the heading has 5: a text with a comma needs quotes, and numbers a decimal point", 1},
		{"cell too few", codesHead + "\"R\n1\",L1,2026,,\nR1,L1,2026\n", "codes.csv:4: has 3 cells where the heading has 5: a comma or a quote is missing", 1},
		{"not UTF-8", codesHead + "R1,L\xfc1,2026,,\n", "codes.csv:2: date_code: is not UTF-8: save the file as UTF-8", 0},
		{"zero byte", codesHead + "R1,L\x001,2026,,\n", "codes.csv:2: date_code: contains a zero byte", 0},
		{"huge cell", codesHead + "R1," + strings.Repeat("x", maxCell+1) + ",2026,,\n", "codes.csv:2: date_code: is longer than 32767 characters", 0},
		{"bare quote", codesHead + "R1,L\"1,2026,,\nR1,L1,2026,,\n", "codes.csv:2: a quote is inside a cell that is not quoted: put the cell in quotes and double the quotes in it", 1},
		{"text after a quote", codesHead + "R1,\"L\"1,2026,,\nR1,L1,2026,,\n", "codes.csv:2: a quoted cell is not closed, or text follows its closing quote: double the quotes inside a cell", 1},
		{"quote never closed", codesHead + "R1,L1,2026,,\nR1,\"L1,2026,,\nR1,L1,2026,,\n", "codes.csv:3: a quoted cell is not closed, or text follows its closing quote: double the quotes inside a cell", 1},
		{"cell under no heading", "run,date_code,since,\nR1,L1,2026,note\n", `codes.csv:2: "note" is in a column without a heading`, 0},
		{"only a fault", "run,date_code,since,fault\n,,,was bad\n", "codes.csv:2: fault: only the fault is left of this row: write the row or delete it", 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			rows, faults := readCSV(t, "codes.csv", c.content)
			require.Equal(t, c.want, faults.Error())
			require.Len(t, rows, c.rows)
		})
	}
}

func TestTheLongestCellIsRead(t *testing.T) {
	long := strings.Repeat("x", maxCell)
	rows, faults := readCSV(t, "codes.csv", codesHead+"R1,"+long+",2026,,\n")
	require.Empty(t, faults)
	require.Equal(t, long, rows[0].Row["date_code"])
	wide := strings.Repeat("🍺", maxCell/2+1) // two UTF-16 units each
	_, faults = readCSV(t, "codes.csv", codesHead+"R1,"+wide+",2026,,\n")
	require.Equal(t, "codes.csv:2: date_code: is longer than 32767 characters", faults.Error())
}

func TestAMissingQuoteDoesNotPullInTheWholeFile(t *testing.T) {
	content := codesHead + "R1,L1,2026,,\nR1,\"L1,2026,,\n" + strings.Repeat("R1,L1,2026,,\n", 2*maxRecord/13)
	rows, faults := readCSV(t, "codes.csv", content)
	require.Equal(t, "codes.csv:2: a row after this line is longer than 4 MiB: is a closing quote missing?", faults.Error())
	require.Len(t, rows, 1)
}

func TestBigFilesStream(t *testing.T) {
	const n = 150_000
	content := codesHead + strings.Repeat("R1,L1,2026-03-04 10:00,,\n", n)
	rows, faults := readCSV(t, "codes.csv", content)
	require.Empty(t, faults)
	require.Len(t, rows, n)
	require.Equal(t, n+1, rows[n-1].Line)
}

func TestFaultsAreCapped(t *testing.T) {
	_, faults := readCSV(t, "codes.csv", codesHead+strings.Repeat("R1\n", maxFaults+10))
	require.Len(t, faults, maxFaults+1)
	require.Equal(t, "codes.csv:100001: has 100000 faults so far; the rest of it was not read", faults[maxFaults].String())
}

func TestRowsAreCapped(t *testing.T) {
	r := &reading{left: 2}
	require.NoError(t, r.csv(strings.NewReader(codesHead+strings.Repeat("R1,L1,2026,,\n", 4)), mustSheet(t, "codes")))
	require.Len(t, r.rows, 2)
	require.Equal(t, "codes.csv:4: there are more than 5000000 rows in all: import them in parts", r.faults.Error())
}

func mustSheet(t testing.TB, name string) *lots.Sheet {
	s, ok := lots.SheetNamed(name)
	require.True(t, ok)
	return s
}

func TestFolderFaults(t *testing.T) {
	dir := t.TempDir()
	for name, content := range map[string]string{
		"recipts.csv": "lot\n", "whatever at all.csv": "x\n", "Codes.csv": codesHead + "R1,L1,2026,,\n", "notes.txt": "hello",
		"._codes.csv": "junk", "codes.csv": codesHead,
	} {
		require.NoError(t, os.WriteFile(filepath.Join(dir, name), []byte(content), 0o600))
	}
	require.NoError(t, os.Mkdir(filepath.Join(dir, "runs.csv"), 0o700))
	rows, faults, err := Read(dir)
	require.NoError(t, err)
	require.Len(t, rows, 1)
	require.Len(t, faults, 4)
	require.Equal(t, "codes.csv:1: is the sheet codes again, as well as Codes.csv: put their rows into one file", faults[0].String())
	require.Equal(t, "recipts.csv:1: is not one of the sheets; did you mean receipts.csv?", faults[1].String())
	require.Equal(t, "whatever at all.csv:1: is not one of the sheets ("+strings.Join(sheetNames(".csv"), " ")+"); skip it with --skip-others", faults[2].String())
	require.Equal(t, "runs.csv:1: is not a file", faults[3].String())
}

func TestWhatCanNotBeOpened(t *testing.T) {
	dir := t.TempDir()
	write := func(name, content string) string {
		p := filepath.Join(dir, name)
		require.NoError(t, os.WriteFile(p, []byte(content), 0o600))
		return p
	}
	empty := t.TempDir()
	for _, c := range []struct {
		name, path string
		kind       lots.ErrKind
		want       string
	}{
		{"missing", filepath.Join(dir, "none"), lots.NotFound, "does not exist: name a folder of CSV files or an .xlsx workbook"},
		{"empty folder", empty, lots.NotFound, "has none of the files that are read: site.csv items.csv"},
		{"one CSV file", write("codes.csv", codesHead), lots.Invalid, "is one CSV file: name the folder that holds it"},
		{"old workbook", write("a.xls", "\xD0\xCF\x11\xE0\xA1\xB1\x1A\xE1"), lots.Invalid, "is an old or a password-protected workbook"},
		{"empty file", write("b.xlsx", ""), lots.Invalid, "is neither a folder of CSV files nor an .xlsx workbook"},
		{"text", write("c.txt", "hello"), lots.Invalid, "is neither a folder of CSV files nor an .xlsx workbook"},
		{"damaged workbook", write("d.xlsx", "PK\x03\x04 and nothing else"), lots.Invalid, "cannot be read as a workbook: it is damaged"},
	} {
		t.Run(c.name, func(t *testing.T) {
			rows, faults, err := Read(c.path)
			require.ErrorContains(t, err, c.want)
			require.Equal(t, c.kind, lots.KindOf(err))
			require.Empty(t, rows)
			require.Empty(t, faults)
		})
	}
}

func TestWriteFolderReplacesOnlySheets(t *testing.T) {
	parent := t.TempDir()
	dir := filepath.Join(parent, "out")
	rows := []Row{{Sheet: mustSheet(t, "codes"), Row: lots.Row{"run": "R1", "date_code": "L1", "since": "2026-03-04"}}}
	require.NoError(t, WriteFolder(dir, rows))
	require.NoError(t, WriteFolder(dir, nil), "a folder of sheets is replaced")
	left, _, err := Read(dir)
	require.NoError(t, err)
	require.Empty(t, left)

	foreign := filepath.Join(dir, "notes.txt")
	require.NoError(t, os.WriteFile(foreign, []byte("mine"), 0o600))
	err = WriteFolder(dir, rows)
	require.ErrorContains(t, err, "holds notes.txt, which is not a record sheet and would be lost: name another folder")
	require.Equal(t, lots.Conflict, lots.KindOf(err))
	left, _, err = Read(dir)
	require.NoError(t, err)
	require.Empty(t, left, "nothing was written")
	require.FileExists(t, foreign)
	siblings, err := os.ReadDir(parent)
	require.NoError(t, err)
	require.Len(t, siblings, 1, "nothing is left beside the folder")
}

func TestWriteFolderRefusesWhatReadWouldRefuse(t *testing.T) {
	s := mustSheet(t, "codes")
	for _, c := range []struct {
		name string
		row  Row
		want string
	}{
		{"no sheet", Row{}, "a row that belongs to no known sheet cannot be written"},
		{"unknown column", Row{Sheet: s, Row: lots.Row{"colour": "red"}}, `codes has no column "colour" to write`},
		{"zero byte", Row{Sheet: s, Row: lots.Row{"ref": "a\x00"}}, "ref of a row of codes contains a zero byte: amend it first"},
		{"not UTF-8", Row{Sheet: s, Row: lots.Row{"ref": "\xff"}}, "ref of a row of codes is not UTF-8: save the file as UTF-8: amend it first"},
	} {
		t.Run(c.name, func(t *testing.T) {
			dir := filepath.Join(t.TempDir(), "out")
			require.EqualError(t, WriteFolder(dir, []Row{c.row}), c.want)
			require.NoDirExists(t, dir)
		})
	}
}

func TestWriteFolderFollowsALinkToAFolder(t *testing.T) {
	parent := t.TempDir()
	real, link := filepath.Join(parent, "real"), filepath.Join(parent, "link")
	require.NoError(t, WriteFolder(real, nil))
	require.NoError(t, os.Symlink(real, link))
	require.NoError(t, WriteFolder(link, []Row{{Sheet: mustSheet(t, "codes"), Row: lots.Row{"run": "R1", "date_code": "L1", "since": "2026"}}}))
	rows, _, err := Read(real)
	require.NoError(t, err)
	require.Len(t, rows, 1)
	info, err := os.Lstat(link)
	require.NoError(t, err)
	require.NotZero(t, info.Mode()&os.ModeSymlink, "the link is still a link")
}

func TestFaultyRowsAreWrittenMendedAndReadAgain(t *testing.T) {
	in := t.TempDir()
	require.NoError(t, os.WriteFile(filepath.Join(in, "codes.csv"), []byte(codesHead+"R1,L1,2026-03-04,,\nR9,L\"2,2026-03-05,,\nR9,\"=L3\",2026-03-06,,\n"), 0o600))
	require.NoError(t, os.WriteFile(filepath.Join(in, "colours.csv"), []byte("x\n"), 0o600))
	rows, faults, err := Read(in)
	require.NoError(t, err)
	require.Len(t, rows, 2)
	faults = append(faults, lots.Fault{File: "codes.csv", Line: 4, Column: "run", Reason: `there is no run "R9"`},
		lots.Fault{File: "codes.csv", Line: 4, Column: "since", Reason: "is odd"})
	out := filepath.Join(t.TempDir(), "bad")
	require.NoError(t, WriteFaulty(out, rows, faults))

	entries, err := os.ReadDir(out)
	require.NoError(t, err)
	require.Len(t, entries, 1)
	got, err := os.ReadFile(filepath.Join(out, "codes.csv"))
	require.NoError(t, err)
	require.Equal(t, `run,date_code,since,until,ref,fault
R9,=L3,2026-03-06,,,"run: there is no run ""R9""; since: is odd"
,,,,,codes.csv line 3: a quote is inside a cell that is not quoted: put the cell in quotes and double the quotes in it
`, string(got))

	again, faults, err := Read(out)
	require.NoError(t, err)
	require.Equal(t, "codes.csv:3: fault: only the fault is left of this row: write the row or delete it", faults.Error())
	require.Len(t, again, 1)
	require.Equal(t, lots.Row{"run": "R9", "date_code": "=L3", "since": "2026-03-06"}, again[0].Row)

	require.EqualError(t, WriteFaulty(out, rows, nil), "there are no bad rows to write")
}
