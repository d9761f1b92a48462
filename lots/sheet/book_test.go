package sheet

import (
	"archive/zip"
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"github.com/xuri/excelize/v2"

	"heeltap/lots"
)

// saved writes a workbook that a test has filled.
func saved(t testing.TB, fill func(f *excelize.File)) string {
	t.Helper()
	f := excelize.NewFile()
	defer f.Close()
	fill(f)
	path := filepath.Join(t.TempDir(), "book.xlsx")
	require.NoError(t, f.SaveAs(path))
	return path
}

// receiptsPage adds a page with the columns that most tests need and one good row of texts.
func receiptsPage(t testing.TB, f *excelize.File) {
	t.Helper()
	require.NoError(t, f.SetSheetName("Sheet1", "receipts"))
	require.NoError(t, f.SetSheetRow("receipts", "A1", &[]string{"lot", "item", "supplier", "supplier_lot", "quantity", "unit", "received_at", "best_by", "status", "fault"}))
	require.NoError(t, f.SetSheetRow("receipts", "A2", &[]string{"M-1", "MALT", "S-1", "L1", "12.5", "kg", "2026-03-04 10:00"}))
}

func setFormat(t testing.TB, f *excelize.File, cell, format string) {
	t.Helper()
	id, err := f.NewStyle(&excelize.Style{CustomNumFmt: &format})
	require.NoError(t, err)
	require.NoError(t, f.SetCellStyle("receipts", cell, cell, id))
}

func TestCellsAreReadAsAPersonWouldHaveWrittenThem(t *testing.T) {
	day := 46085.0 // 2026-03-04 in the calendar of 1900
	for _, c := range []struct {
		name, cell string
		value      any
		format     string
		want       string
	}{
		{"text", "D2", "=1+1", "", "=1+1"},
		{"text that looks like a number", "D2", "00123", "", "00123"},
		{"number in a text column", "D2", 12345, "", "12345"},
		{"zeros in front by format", "D2", 123, "00000", "00123"},
		{"whole number", "E2", 1000, "", "1000"},
		{"binary noise", "E2", 0.1 + 0.2, "", "0.3"},
		{"more noise", "E2", 1.005 * 3, "", "3.015"},
		{"large number without exponent", "E2", 1e14, "", "100000000000000"},
		{"small number without exponent", "E2", 0.00000125, "", "0.00000125"},
		{"number with a thousands format", "E2", 1234.5, "#,##0.00", "1234.5"},
		{"number with a unit in quotes", "E2", 12.5, `0.0" kg/day"`, "12.5"},
		{"number in red", "E2", 7, "[Red]0", "7"},
		{"negative number", "E2", -5, "", "-5"},
		{"boolean", "D2", true, "", "TRUE"},
		{"day", "G2", day, "yyyy-mm-dd", "2026-03-04"},
		{"day as elsewhere", "G2", day, "dd.mm.yyyy", "2026-03-04"},
		{"day with a language", "G2", day, "[$-407]d. mmmm yyyy;@", "2026-03-04"},
		{"month alone", "G2", day, "mmmm", "2026-03-04"},
		{"day and time", "G2", day + 10.5/24, "yyyy-mm-dd hh:mm", "2026-03-04 10:30"},
		{"midnight shown as time", "G2", day, "yyyy-mm-dd hh:mm", "2026-03-04 00:00"},
		{"time under a day's format", "G2", day + 0.25, "yyyy-mm-dd", "2026-03-04 06:00"},
		{"seconds", "G2", day + 36001.0/86400, "yyyy-mm-dd hh:mm:ss", "2026-03-04 10:00:01"},
		{"rounded to the second", "G2", day + 0.416666667, "yyyy-mm-dd hh:mm", "2026-03-04 10:00"},
		{"rounded into the next day", "G2", day + 0.9999999, "yyyy-mm-dd hh:mm", "2026-03-05 00:00"},
		{"day with only a clock's format", "G2", day + 0.5, "h:mm AM/PM", "2026-03-04 12:00"},
		{"Go time", "G2", time.Date(2026, 3, 4, 10, 0, 0, 0, time.UTC), "yyyy-mm-dd hh:mm", "2026-03-04 10:00"},
		{"best-by day", "H2", day, "yyyy-mm-dd", "2026-03-04"},
		{"text in a column of time", "G2", "2026-03-04T10:00:00+01:00", "", "2026-03-04T10:00:00+01:00"},
		{"rich text", "D2", []excelize.RichTextRun{{Text: "L"}, {Text: "42", Font: &excelize.Font{Bold: true}}}, "", "L42"},
	} {
		t.Run(c.name, func(t *testing.T) {
			path := saved(t, func(f *excelize.File) {
				receiptsPage(t, f)
				if runs, ok := c.value.([]excelize.RichTextRun); ok {
					require.NoError(t, f.SetCellRichText("receipts", c.cell, runs))
				} else {
					require.NoError(t, f.SetCellValue("receipts", c.cell, c.value))
				}
				if c.format != "" {
					setFormat(t, f, c.cell, c.format)
				}
			})
			rows, faults, err := Read(path)
			require.NoError(t, err)
			require.Empty(t, faults)
			require.Len(t, rows, 1)
			require.Equal(t, c.want, rows[0].Row[map[byte]string{'D': "supplier_lot", 'E': "quantity", 'G': "received_at", 'H': "best_by"}[c.cell[0]]])
			require.Equal(t, "receipts", rows[0].File)
			require.Equal(t, 2, rows[0].Line)
		})
	}
}

// The formats that a file names by number: ECMA-376-1 18.8.30.
func TestBuiltInFormats(t *testing.T) {
	for id, want := range map[string]format{
		"0": {}, "1": {}, "2": {}, "4": {}, "9": {percent: true}, "10": {percent: true}, "11": {}, "14": {date: true}, "17": {date: true},
		"18": {clock: true}, "21": {clock: true}, "22": {date: true, clock: true}, "45": {clock: true}, "46": {clock: true}, "49": {}, "": {}, "x": {},
	} {
		require.Equal(t, want, builtIn(id), id)
	}
}

func TestCellFaults(t *testing.T) {
	const lost = "is a date or time to the spreadsheet, so what was written is lost: format the column as text and write it again"
	for _, c := range []struct {
		name, cell string
		value      any
		format     string
		want       string
	}{
		{"date made of a supplier's lot", "D2", 46085, "d-mmm", "receipts:2: supplier_lot: " + lost},
		{"date made of a lot", "A2", 46085, "yyyy-mm-dd", "receipts:2: lot: " + lost},
		{"date in a number", "E2", 46085, "yyyy-mm-dd", "receipts:2: quantity: " + lost},
		{"number in a time", "G2", 46085, "", "receipts:2: received_at: 46085 is a number: give the cell a date and time, such as 2026-03-04 10:00"},
		{"clock alone", "G2", 0.5, "hh:mm", "receipts:2: received_at: is a time without a day, or a date too far off: write 2026-03-04 10:00"},
		{"elapsed time", "G2", 1.5, "[h]:mm", "receipts:2: received_at: is a time without a day, or a date too far off: write 2026-03-04 10:00"},
		{"before the calendar", "G2", -1, "yyyy-mm-dd", "receipts:2: received_at: is a time without a day, or a date too far off: write 2026-03-04 10:00"},
		{"percentage", "E2", 0.5, "0.0%", "receipts:2: quantity: is a percentage: write a plain number"},
		{"number longer than a spreadsheet keeps", "D2", 340000000000000015, "", "receipts:2: supplier_lot: has more than 15 digits, which a spreadsheet rounds: format the column as text and write it again"},
		{"cell under no heading", "L2", "note", "", `receipts:2: "note" is in a column without a heading`},
	} {
		t.Run(c.name, func(t *testing.T) {
			path := saved(t, func(f *excelize.File) {
				receiptsPage(t, f)
				require.NoError(t, f.SetCellValue("receipts", c.cell, c.value))
				if c.format != "" {
					setFormat(t, f, c.cell, c.format)
				}
				require.NoError(t, f.SetSheetRow("receipts", "A3", &[]string{"M-2", "MALT", "S-1", "L1", "12.5", "kg", "2026-03-04"}))
			})
			rows, faults, err := Read(path)
			require.NoError(t, err)
			require.Equal(t, c.want, faults.Error())
			require.Len(t, rows, 1, "the good row stands")
			require.Equal(t, 3, rows[0].Line)
		})
	}
}

func TestMergedCellsAreFaults(t *testing.T) {
	path := saved(t, func(f *excelize.File) {
		receiptsPage(t, f)
		for line := 3; line <= 6; line++ {
			require.NoError(t, f.SetSheetRow("receipts", fmt.Sprintf("A%d", line), &[]string{fmt.Sprintf("M-%d", line), "MALT", "S-1", "L1", "1", "kg", "2026-03-04"}))
		}
		require.NoError(t, f.MergeCell("receipts", "D3", "D5"))
		require.NoError(t, f.MergeCell("receipts", "L2", "M2"))
	})
	rows, faults, err := Read(path)
	require.NoError(t, err)
	var lines []int
	for _, r := range rows {
		lines = append(lines, r.Line)
	}
	require.Equal(t, []int{2, 6}, lines)
	require.Len(t, faults, 3)
	require.Equal(t, "receipts:4: supplier_lot: the cells D3:D5 are merged, so only the first holds anything: unmerge them and fill in each", faults[1].String())

	path = saved(t, func(f *excelize.File) {
		receiptsPage(t, f)
		for i := range maxMerges + 1 {
			require.NoError(t, f.MergeCell("receipts", fmt.Sprintf("A%d", 10+2*i), fmt.Sprintf("A%d", 11+2*i)))
		}
	})
	rows, faults, err = Read(path)
	require.NoError(t, err)
	require.Empty(t, rows)
	require.Len(t, faults, 1)
	require.Contains(t, faults[0].Reason, "has more than 100 merged areas")
}

func TestPageFaults(t *testing.T) {
	path := saved(t, func(f *excelize.File) {
		receiptsPage(t, f)
		for _, name := range []string{"recipt", "Notes", "Empty", "codes", "runs"} {
			_, err := f.NewSheet(name)
			require.NoError(t, err)
		}
		require.NoError(t, f.SetCellValue("recipt", "A1", "lot"))
		require.NoError(t, f.SetCellValue("Notes", "C9", 7))
		require.NoError(t, f.SetSheetRow("runs", "B3", &[]string{"run", "colour"}))
	})
	rows, faults, err := Read(path)
	require.NoError(t, err)
	require.Len(t, rows, 1)
	require.Len(t, faults, 2, "a page without cells is left alone")
	require.Equal(t, "runs:3: colour: runs has no such column: it has run, product, line, started_at, ended_at, date_code, good, rejects, clock_offset_min, by", faults[0].String())
	require.Equal(t, `book.xlsx:1: has pages that are not record sheets: "recipt" (did you mean receipts?), "Notes". Rename or remove them, or skip them with --skip-others; the sheets are `+strings.Join(sheetNames(""), " "), faults[1].String())
}

func TestAWorkbookWithoutSheetsIsRefused(t *testing.T) {
	path := saved(t, func(f *excelize.File) { require.NoError(t, f.SetCellValue("Sheet1", "A1", "x")) })
	_, _, err := Read(path)
	require.ErrorContains(t, err, "has none of the pages that are read (site items parties")
	require.Equal(t, lots.NotFound, lots.KindOf(err))
}

func TestTheCalendarOf1904(t *testing.T) {
	yes := true
	path := saved(t, func(f *excelize.File) {
		require.NoError(t, f.SetWorkbookProps(&excelize.WorkbookPropsOptions{Date1904: &yes}))
		receiptsPage(t, f)
		require.NoError(t, f.SetCellValue("receipts", "G2", 46085-1462)) // the calendars are 1462 days apart: ECMA-376-1 18.17.4.1
		setFormat(t, f, "G2", "yyyy-mm-dd")
	})
	rows, faults, err := Read(path)
	require.NoError(t, err)
	require.Empty(t, faults)
	require.Equal(t, "2026-03-04", rows[0].Row["received_at"])
}

// Parts of a workbook written by hand: what no library would write.
const (
	bookXML = `<workbook xmlns:r="r"><sheets><sheet name="codes" sheetId="1" r:id="a"/></sheets></workbook>`
	relsXML = `<Relationships><Relationship Id="a" Type="http://x/worksheet" Target="worksheets/one.xml"/></Relationships>`
	headXML = `<row r="1"><c r="A1" t="inlineStr"><is><t>run</t></is></c><c r="B1" t="inlineStr"><is><t>date_code</t></is></c><c r="C1" t="inlineStr"><is><t>since</t></is></c></row>`
)

func zipped(t testing.TB, parts map[string]string) []byte {
	t.Helper()
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	for name, content := range parts {
		w, err := z.Create(name)
		require.NoError(t, err)
		_, err = w.Write([]byte(content))
		require.NoError(t, err)
	}
	require.NoError(t, z.Close())
	return b.Bytes()
}

func byHand(t testing.TB, page string) []byte {
	return zipped(t, map[string]string{"xl/workbook.xml": bookXML, "xl/_rels/workbook.xml.rels": relsXML,
		"xl/worksheets/one.xml": "<worksheet><sheetData>" + page + "</sheetData></worksheet>"})
}

const maxTestBook = 1 << 20 // small, so that the bomb below is quick

func readBytes(data []byte) (*reading, error) {
	r := &reading{left: maxRows, room: maxTestBook}
	return r, r.workbook("book.xlsx", bytes.NewReader(data), int64(len(data)))
}

func TestPagesWrittenByHand(t *testing.T) {
	want := lots.Row{"run": "R1", "date_code": "L1", "since": "2026-03-04"}
	for _, c := range []struct{ name, page string }{
		{"cells without places", strings.ReplaceAll(headXML, "r=", "x=") + `<row><c t="str"><v>R1</v></c><c t="str"><v>L1</v></c><c t="str"><v>2026-03-04</v></c></row>`},
		{"result of a formula", headXML + `<row r="2"><c r="A2" t="str"><f>"R"&amp;1</f><v>R1</v></c><c r="B2" t="str"><v>L1</v></c><c r="C2" t="d"><f>X</f><v>2026-03-04</v></c></row>`},
		{"phonetic text", headXML + `<row r="2"><c r="A2" t="inlineStr"><is><r><t>R</t></r><r><t>1</t></r><rPh sb="0" eb="1"><t>ar</t></rPh></is></c><c r="B2" t="str"><v>L1</v></c><c r="C2" t="str"><v>2026-03-04</v></c></row>`},
		{"escapes", headXML + `<row r="2"><c r="A2" t="str"><v>_x0052_1</v></c><c r="B2" t="inlineStr"><is><t>_x004C_1</t></is></c><c r="C2" t="str"><v>2026-03-04</v></c></row>`},
		{"formula that gives an empty text", headXML + `<row r="2"><c r="A2" t="str"><v>R1</v></c><c r="B2" t="str"><v>L1</v></c><c r="C2" t="str"><v>2026-03-04</v></c><c r="F2" t="str"><f>""</f><v></v></c></row>`},
	} {
		t.Run(c.name, func(t *testing.T) {
			r, err := readBytes(byHand(t, c.page))
			require.NoError(t, err)
			require.Empty(t, r.faults)
			require.Len(t, r.rows, 1)
			require.Equal(t, want, r.rows[0].Row)
			require.Equal(t, 2, r.rows[0].Line)
		})
	}
}

func TestPageFaultsWrittenByHand(t *testing.T) {
	cells := func(third string) string {
		return headXML + `<row r="2"><c r="A2" t="str"><v>R1</v></c><c r="B2" t="str"><v>L1</v></c>` + third + `</row>`
	}
	for _, c := range []struct{ name, page, want string }{
		{"error cell", cells(`<c r="C2" t="e"><f>1/0</f><v>#DIV/0!</v></c>`), "codes:2: since: is a spreadsheet's error, #DIV/0!: check the paper and write what it says"},
		{"formula never calculated", cells(`<c r="C2"><f>NOW()</f></c>`), "codes:2: since: is a formula without a result: open the workbook in a spreadsheet and save it"},
		{"shared text that is not there", cells(`<c r="C2" t="s"><v>7</v></c>`), "codes:2: since: names a text that the workbook does not hold"},
		{"no number", cells(`<c r="C2"><v>NaN</v></c>`), `codes:2: since: "NaN" is not a number`},
		{"no date", cells(`<c r="C2" t="d"><v>soon</v></c>`), `codes:2: since: "soon" is not a date`},
		{"error in the heading", strings.Replace(headXML, `t="inlineStr"><is><t>run</t></is>`, `t="e"><v>#REF!</v>`, 1) + `<row r="2"><c r="A2" t="str"><v>R1</v></c></row>`, "codes:1: is a spreadsheet's error, #REF!: check the paper and write what it says"},
		{"zero byte", cells(`<c r="C2" t="str"><v>a_x0000_b</v></c>`), "codes:2: since: contains a zero byte"},
	} {
		t.Run(c.name, func(t *testing.T) {
			r, err := readBytes(byHand(t, c.page))
			require.NoError(t, err)
			require.Equal(t, c.want, r.faults.Error())
			require.Empty(t, r.rows)
		})
	}
}

func TestHostileWorkbooksAreErrors(t *testing.T) {
	whole, err := os.ReadFile(saved(t, func(f *excelize.File) { receiptsPage(t, f) }))
	require.NoError(t, err)
	bomb := byHand(t, headXML+"<!--"+strings.Repeat(" ", maxTestBook)+"-->")
	require.Less(t, len(bomb), maxTestBook/100)
	for _, c := range []struct {
		name string
		data []byte
		want string
	}{
		{"cut off", whole[:len(whole)/2], "it is damaged"},
		{"no parts", zipped(t, nil), "the part that lists its pages is missing"},
		{"another kind of zip", zipped(t, map[string]string{"word/document.xml": "<x/>"}), "the part that lists its pages is missing"},
		{"no pages", zipped(t, map[string]string{"xl/workbook.xml": "<workbook/>", "xl/_rels/workbook.xml.rels": relsXML}), "the part that lists its pages is missing"},
		{"page that is not there", zipped(t, map[string]string{"xl/workbook.xml": bookXML, "xl/_rels/workbook.xml.rels": relsXML}), "its part xl/worksheets/one.xml is missing"},
		{"bomb", bomb, "it unpacks to more than 256 MiB"},
		{"no XML", byHand(t, "<<<"), "its part xl/worksheets/one.xml is damaged"},
		{"cut in a cell", zipped(t, map[string]string{"xl/workbook.xml": bookXML, "xl/_rels/workbook.xml.rels": relsXML, "xl/worksheets/one.xml": `<worksheet><sheetData><row><c t="str"><v>`}), "unexpected EOF"},
		{"row that cannot be", byHand(t, `<row r="-7"><c><v>1</v></c></row>`), `it has a row "-7"`},
		{"cell that cannot be", byHand(t, `<row><c r="ZZZZZZZZZZZZZ1"><v>1</v></c></row>`), `it has a cell "ZZZZZZZZZZZZZ1"`},
		{"too many cells", byHand(t, `<row>`+strings.Repeat(`<c r="A1"><v>1</v></c>`, maxColumns+1)+`</row>`), "it has more than 16384 cells in a row"},
		{"too many columns", byHand(t, `<row>`+strings.Repeat(`<c/>`, maxColumns+1)+`</row>`), "it has more than 16384 columns"},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, err := readBytes(c.data)
			require.ErrorContains(t, err, c.want)
			require.ErrorContains(t, err, "book.xlsx cannot be read as a workbook")
			require.Equal(t, lots.Invalid, lots.KindOf(err))
		})
	}
}

func TestATextTooLongIsNotKeptWhole(t *testing.T) {
	rels := strings.Replace(relsXML, "</Relationships>", `<Relationship Id="s" Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/sharedStrings" Target="sharedStrings.xml"/></Relationships>`, 1)
	require.Contains(t, rels, "sharedStrings")
	data := zipped(t, map[string]string{"xl/workbook.xml": bookXML, "xl/_rels/workbook.xml.rels": rels,
		"xl/sharedStrings.xml":  "<sst><si><t>" + strings.Repeat("ä", 10*maxCell) + "</t></si></sst>",
		"xl/worksheets/one.xml": "<worksheet><sheetData>" + headXML + `<row r="2"><c r="A2" t="s"><v>0</v></c><c r="B2" t="s"><v>0</v></c></row></sheetData></worksheet>`})
	b, err := openBook(bytes.NewReader(data), int64(len(data)), maxTestBook)
	require.NoError(t, err)
	require.Len(t, []rune(b.strings[0]), maxCell+1, "many cells may show it")
	r, err := readBytes(data)
	require.NoError(t, err)
	require.ErrorContains(t, r.faults, "codes:2: run: is longer than 32767 characters")
}

func TestAPageNamedTwice(t *testing.T) {
	r, err := readBytes(zipped(t, map[string]string{
		"xl/workbook.xml":            strings.Replace(bookXML, "</sheets>", `<sheet name="codes" sheetId="2" r:id="a"/></sheets>`, 1),
		"xl/_rels/workbook.xml.rels": relsXML, "xl/worksheets/one.xml": "<worksheet><sheetData>" + headXML + "</sheetData></worksheet>"}))
	require.NoError(t, err)
	require.Equal(t, "codes:1: two pages have this name: rename one", r.faults.Error())
}

func TestCellPlaces(t *testing.T) {
	for _, c := range []struct {
		ref          string
		column, line int
		ok           bool
	}{
		{"A1", 0, 1, true}, {"Z9", 25, 9, true}, {"AA10", 26, 10, true}, {"XFD1048576", 16383, 1048576, true}, {"$B$7", 1, 7, true},
		{"XFE1", 0, 0, false}, {"A0", 0, 0, false}, {"7", 0, 0, false}, {"A", 0, 0, false}, {"", 0, 0, false}, {"ÄA1", 0, 0, false}, {"A-1", 0, 0, false},
	} {
		column, line, ok := cellPlace(c.ref)
		require.Equal(t, c.ok, ok, c.ref)
		if ok {
			require.Equal(t, []int{c.column, c.line}, []int{column, line}, c.ref)
		}
	}
}

func TestAWrittenWorkbookIsAllTextWithABoldFrozenHeading(t *testing.T) {
	rows, _, err := Read(golden)
	require.NoError(t, err)
	path := filepath.Join(t.TempDir(), "out.xlsx")
	require.NoError(t, WriteWorkbook(path, rows))
	f, err := excelize.OpenFile(path)
	require.NoError(t, err)
	defer f.Close()
	require.Equal(t, sheetNames(""), f.GetSheetList())
	for _, s := range lots.Sheets {
		panes, err := f.GetPanes(s.Name)
		require.NoError(t, err)
		require.True(t, panes.Freeze)
		require.Equal(t, 1, panes.YSplit)
		for i := range s.Columns {
			for line := 1; line <= 2; line++ {
				at, err := excelize.CoordinatesToCellName(i+1, line)
				require.NoError(t, err)
				formula, err := f.GetCellFormula(s.Name, at)
				require.NoError(t, err)
				require.Empty(t, formula)
				if v, _ := f.GetCellValue(s.Name, at); v != "" {
					kind, err := f.GetCellType(s.Name, at)
					require.NoError(t, err)
					require.Equal(t, excelize.CellTypeInlineString, kind, s.Name+" "+at)
				}
				id, err := f.GetCellStyle(s.Name, at)
				require.NoError(t, err)
				style, err := f.GetStyle(id)
				require.NoError(t, err)
				require.Equal(t, 49, style.NumFmt, "text, also where a cell is empty")
				require.Equal(t, line == 1, style.Font != nil && style.Font.Bold)
			}
			letter, err := excelize.ColumnNumberToName(i + 1)
			require.NoError(t, err)
			width, err := f.GetColWidth(s.Name, letter)
			require.NoError(t, err)
			require.GreaterOrEqual(t, width, float64(minWidth))
			require.LessOrEqual(t, width, float64(maxWidth))
		}
	}
}

func TestWriteWorkbookReplacesOnlyWorkbooksOfSheets(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "out.xlsx")
	require.NoError(t, WriteWorkbook(path, nil))
	require.NoError(t, WriteWorkbook(path, nil), "its own file is replaced")
	foreign := saved(t, func(f *excelize.File) { require.NoError(t, f.SetCellValue("Sheet1", "A1", "mine")) })
	text := filepath.Join(dir, "notes.txt")
	require.NoError(t, os.WriteFile(text, []byte("mine"), 0o600))
	for _, p := range []string{foreign, text, dir} {
		err := WriteWorkbook(p, nil)
		require.ErrorContains(t, err, "already exists and is not a workbook of record sheets: name another file")
		require.Equal(t, lots.Conflict, lots.KindOf(err))
	}
	left, err := os.ReadDir(dir)
	require.NoError(t, err)
	require.Len(t, left, 2, "nothing is left beside")
	got, err := os.ReadFile(text)
	require.NoError(t, err)
	require.Equal(t, "mine", string(got))
}

func TestWriteWorkbookRefusesWhatXMLCanNotHold(t *testing.T) {
	for _, v := range []string{"a\x01b", "a\x1b", "a\uffffb", "_x0041_x0042_"} {
		path := filepath.Join(t.TempDir(), "out.xlsx")
		err := WriteWorkbook(path, []Row{{Sheet: mustSheet(t, "codes"), Row: lots.Row{"ref": v}}})
		require.ErrorContains(t, err, "which a workbook cannot hold: export a folder instead")
		require.NoFileExists(t, path)
	}
}

func TestWriteWorkbookRefusesMoreRowsThanAPageHolds(t *testing.T) {
	rows := make([]Row, bookRows+1)
	for i := range rows {
		rows[i].Sheet = mustSheet(t, "codes")
	}
	err := WriteWorkbook(filepath.Join(t.TempDir(), "out.xlsx"), rows)
	require.EqualError(t, err, "codes has more than 1048575 rows, which a workbook cannot hold: export a folder instead")
}

func TestBigWorkbooksStream(t *testing.T) {
	const n = 20_000
	rows := make([]Row, n)
	for i := range rows {
		rows[i] = Row{Sheet: mustSheet(t, "codes"), Row: lots.Row{"run": fmt.Sprintf("R%d", i), "date_code": "=L1", "since": "2026-03-04 10:00"}}
	}
	path := filepath.Join(t.TempDir(), "out.xlsx")
	require.NoError(t, WriteWorkbook(path, rows))
	again, faults, err := Read(path)
	require.NoError(t, err)
	require.Empty(t, faults)
	require.Equal(t, contents(rows), contents(again))
	require.Equal(t, n+1, again[n-1].Line)
}

// Whatever a page holds: no panic, and what is read can be written and read again.
func FuzzWorkbook(f *testing.F) {
	for _, page := range []string{
		"", headXML, headXML + `<row r="2"><c r="A2" t="str"><v>R1</v></c><c r="B2"><v>1e5</v></c><c r="C2" t="d"><v>2026-03-04</v></c></row>`,
		headXML + `<row r="9"><c t="b"><v>1</v></c><c t="e"><v>#N/A</v></c><c s="3"><f>A1</f></c></row>`, `<row r="1048577"><c r="XFD1"><v>0</v></c></row>`, `<c`, `<row><c t="s"><v>0</v></c></row><mergeCell ref="A1:B9"/>`,
	} {
		f.Add(page, "<sst><si><t>run</t></si></sst>", `<styleSheet><numFmts><numFmt numFmtId="170" formatCode="yyyy"/></numFmts><cellXfs><xf numFmtId="170"/><xf numFmtId="14"/></cellXfs></styleSheet>`)
	}
	f.Fuzz(func(t *testing.T, page, texts, styles string) {
		data := zipped(t, map[string]string{"xl/workbook.xml": bookXML, "xl/_rels/workbook.xml.rels": relsXML, "xl/sharedStrings.xml": texts, "xl/styles.xml": styles,
			"xl/worksheets/one.xml": "<worksheet><sheetData>" + page + "</sheetData></worksheet>"})
		r, err := readBytes(data)
		if err != nil {
			require.NotEmpty(t, lots.KindOf(err))
			return
		}
		checkReading(t, r)
		sameInMemory(t, mustSheet(t, "codes"), r.rows)
	})
}

// Whatever bytes are called a workbook: an error, never a panic.
func FuzzWorkbookBytes(f *testing.F) {
	f.Add(byHand(f, headXML))
	f.Add([]byte("PK\x03\x04"))
	f.Add([]byte{})
	f.Fuzz(func(t *testing.T, data []byte) {
		if r, err := readBytes(data); err == nil {
			checkReading(t, r)
		}
	})
}
