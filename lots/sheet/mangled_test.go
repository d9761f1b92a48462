package sheet

import (
	"archive/zip"
	"bytes"
	"compress/flate"
	"hash/crc32"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"github.com/xuri/excelize/v2"

	"heeltap/lots"
)

const receiptsHead = "lot,item,supplier,supplier_lot,quantity,unit,received_at,best_by,document\n"

// contentsOf reads one file of a folder.
func contentsOf(t *testing.T, name, content string, how Options) Contents {
	t.Helper()
	dir := t.TempDir()
	require.NoError(t, os.WriteFile(filepath.Join(dir, name), []byte(content), 0o600))
	c, err := ReadWith(dir, how)
	require.NoError(t, err)
	return c
}

// What spreadsheets make of texts is common practice: shortened numbers, dates, days as numbers.
func TestWhatASpreadsheetMadeOfATextIsAWarning(t *testing.T) {
	for _, c := range []struct{ name, lot, want string }{
		{"shortened", "1.2E+10", "receipts.csv:2: supplier_lot: 1.2E+10 looks like a long number that a spreadsheet shortened: check the paper and write all its digits"},
		{"day and month", "11-Mar", "receipts.csv:2: supplier_lot: 11-Mar looks like a date that a spreadsheet made of a code such as 3-11: check the paper"},
		{"month and year", "Mar-11", "receipts.csv:2: supplier_lot: Mar-11 looks like a date that a spreadsheet made of a code such as 3-11: check the paper"},
		{"in German", "11. Mrz", "receipts.csv:2: supplier_lot: 11. Mrz looks like a date that a spreadsheet made of a code such as 3-11: check the paper"},
		{"with its year", "11-Mar-26", "receipts.csv:2: supplier_lot: 11-Mar-26 looks like a date that a spreadsheet made of a code such as 3-11: check the paper"},
		{"digits dropped", "123456789012345000", "receipts.csv:2: supplier_lot: 123456789012345000 looks like a number whose last digits a spreadsheet dropped, since it keeps 15: check the paper"},
		{"a lot with an E", "1E5", ""}, {"a lot with a dash", "3-4", ""}, {"a lot with a month", "MAR26", ""}, {"a number", "44927", ""}, {"a date", "2026-03-11", ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			got := contentsOf(t, "receipts.csv", receiptsHead+"L-1,MALT,S-1,"+c.lot+",5,kg,2026-03-04,,\n", Options{})
			require.Empty(t, got.Faults)
			require.Equal(t, c.lot, got.Rows[0].Row["supplier_lot"])
			require.Equal(t, c.want, got.Warnings.Error())
		})
	}
	got := contentsOf(t, "codes.csv", codesHead+"R1,11-Mar-26,2026-03-04,,\nR1,11-Mar,2026-03-04,,\n", Options{})
	require.Equal(t, "codes.csv:3: date_code: 11-Mar looks like a date that a spreadsheet made of a code such as 3-11: check the paper", got.Warnings.Error(), "a coder may print a whole date")
}

func TestADayNumberAmongDatesIsAWarning(t *testing.T) {
	row := func(lot, bestBy string) string {
		return lot + ",MALT,S-1,x" + lot + ",5,kg,2026-03-04," + bestBy + ",\n"
	}
	got := contentsOf(t, "receipts.csv", receiptsHead+row("L-1", "2027-01-01")+row("L-2", "44927")+row("L-3", "2027-03-01"), Options{})
	require.Equal(t, "receipts.csv:3: best_by: 44927 may be the date 2023-01-01, as a spreadsheet counts days, because others in this column are dates: check the paper", got.Warnings.Error())
	got = contentsOf(t, "receipts.csv", receiptsHead+row("L-1", "week 9")+row("L-2", "44927")+row("L-3", "2027-03-01"), Options{})
	require.Empty(t, got.Warnings)
}

func TestErrorsOfASpreadsheetAreFaults(t *testing.T) {
	for _, v := range []string{"#REF!", "#N/A", "#VALUE!", "#DIV/0!", "#NAME?", "#NUM!", "#NULL!", "#SPILL!", "#BEZUG!", "#NV", "######"} {
		got := contentsOf(t, "receipts.csv", receiptsHead+"L-1,MALT,S-1,"+v+",5,kg,2026-03-04,,\n", Options{})
		require.Empty(t, got.Rows)
		require.Equal(t, "receipts.csv:2: supplier_lot: is a spreadsheet's error, "+v+": check the paper and write what it says", got.Faults.Error())
	}
	for _, v := range []string{"#12", "#URGENT!", "N/A", "#", "# 7"} {
		got := contentsOf(t, "receipts.csv", receiptsHead+"L-1,MALT,S-1,"+v+",5,kg,2026-03-04,,\n", Options{})
		require.Empty(t, got.Faults, v)
	}
}

func TestARowOfTotalsIsKnownForOne(t *testing.T) {
	rows := receiptsHead + "L-1,MALT,S-1,a,500,kg,2026-03-04,,\nL-2,MALT,S-1,b,250.5,kg,2026-03-05,,\n"
	const want = "receipts.csv:4: looks like a totals row: leave it out"
	for name, last := range map[string]string{
		"word in the code": "Total,,,,750.5,,,,\n", "in German": "Summe:,,,,750.5,kg,,,\n", "word elsewhere": ",Sum,,,750.5,,,,\n",
		"no word": ",,,,750.5,,,,\n", "no word, with its unit": ",,,,750.5 kg,,,,\n", "word and another number": "TOTAL,,,,751,,,,\n",
	} {
		t.Run(name, func(t *testing.T) {
			got := contentsOf(t, "receipts.csv", rows+last, Options{})
			require.Equal(t, want, got.Faults.Error())
			require.Len(t, got.Rows, 2)
		})
	}
	for name, last := range map[string]string{
		"another sum":      ",,,,700,,,,\n",
		"a lot named so":   "TOTAL,MALT,S-1,c,10,kg,2026-03-06,,\n",
		"as much as above": "L-3,MALT,S-1,c,750.5,kg,2026-03-06,,\n",
	} {
		t.Run(name, func(t *testing.T) {
			got := contentsOf(t, "receipts.csv", rows+last, Options{})
			require.Empty(t, got.Faults)
			require.Len(t, got.Rows, 3)
		})
	}
}

func TestAFileSaysWhatPeopleSay(t *testing.T) {
	got := contentsOf(t, "receipts.csv", "lot,item,supplier,supplier_lot,quantity,received_at,status,unit\n"+
		"L-1,MALT,S-1,a,60 KG,2026-03-04,Hold,\nL-2,MALT,S-1,b,2.5 t,2026-03-04,,\nL-3,MALT,S-1,c,100,2026-03-04,,lbs\n", Options{})
	require.Empty(t, got.Faults)
	require.Equal(t, []string{"60", "kg", "hold"}, []string{got.Rows[0].Row["quantity"], got.Rows[0].Row["unit"], got.Rows[0].Row["status"]})
	require.Equal(t, "60 KG", got.Rows[0].Written["quantity"], "the file's own words are kept for a file of bad rows")
	require.Equal(t, []string{"2500", "kg"}, []string{got.Rows[1].Row["quantity"], got.Rows[1].Row["unit"]})
	require.Equal(t, []string{"100", "lb"}, []string{got.Rows[2].Row["quantity"], got.Rows[2].Row["unit"]})

	out := filepath.Join(t.TempDir(), "bad")
	require.NoError(t, WriteFaulty(out, got.Rows, lots.Faults{{File: "receipts.csv", Line: 3, Column: "item", Reason: "is odd"}}))
	bad, err := os.ReadFile(filepath.Join(out, "receipts.csv"))
	require.NoError(t, err)
	require.Contains(t, string(bad), "L-2,MALT,S-1,b,2.5 t,,2026-03-04")
}

func TestNumbersThatCanBeReadTwoWays(t *testing.T) {
	rows := func(numbers ...string) string {
		text := receiptsHead
		for _, n := range numbers {
			text += `L,MALT,S-1,a,"` + n + `",kg,2026-03-04,,` + "\n"
		}
		return text
	}
	quantities := func(c Contents) (out []string) {
		for _, r := range c.Rows {
			out = append(out, r.Row["quantity"])
		}
		return out
	}
	got := contentsOf(t, "receipts.csv", rows("12.000", "7"), Options{})
	require.Empty(t, got.Faults)
	require.Equal(t, []string{"12", "7"}, quantities(got))
	require.Equal(t, "receipts.csv:2: quantity: 12.000 read as 12 kg; if you meant twelve thousand, write 12000", got.Warnings.Error())

	got = contentsOf(t, "receipts.csv", rows("12.000", "7.5"), Options{})
	require.Empty(t, got.Warnings, "another number of the column shows that the point is the decimal sign")

	got = contentsOf(t, "receipts.csv", rows("1.250,5", "12,5", "7.5", "1 250"), Options{Decimal: lots.Comma})
	require.Empty(t, got.Faults)
	require.Equal(t, []string{"1250.5", "12.5", "7.5", "1250"}, quantities(got))
	require.Empty(t, got.Warnings)

	got = contentsOf(t, "receipts.csv", rows("12.000"), Options{Decimal: lots.Comma})
	require.Empty(t, got.Rows)
	require.Equal(t, `receipts.csv:2: quantity: "12.000" can be 12 or 12000: write it without thousands separators, and with a decimal comma`, got.Faults.Error())
}

// A workbook's own numbers are no texts: their point is nobody's separator of thousands.
func TestNumbersOfAWorkbookAreSure(t *testing.T) {
	path := saved(t, func(f *excelize.File) {
		receiptsPage(t, f)
		require.NoError(t, f.SetCellValue("receipts", "E2", 12.345))
	})
	for _, sign := range []lots.Decimal{lots.Point, lots.Comma} {
		got, err := ReadWith(path, Options{Decimal: sign})
		require.NoError(t, err)
		require.Empty(t, got.Faults)
		require.Empty(t, got.Warnings)
		require.Equal(t, "12.345", got.Rows[0].Row["quantity"])
	}
	path = saved(t, func(f *excelize.File) {
		receiptsPage(t, f)
		require.NoError(t, f.SetCellValue("receipts", "E2", "12.345"))
	})
	got, err := ReadWith(path, Options{})
	require.NoError(t, err)
	require.Len(t, got.Warnings, 1)
}

func TestPagesAreNamedInAnyCase(t *testing.T) {
	path := saved(t, func(f *excelize.File) {
		receiptsPage(t, f)
		require.NoError(t, f.SetSheetName("receipts", " Receipts "))
	})
	rows, faults, err := Read(path)
	require.NoError(t, err)
	require.Empty(t, faults)
	require.Len(t, rows, 1)
	require.Equal(t, "receipts", rows[0].File)
}

func TestOtherPagesAndFilesArePassedOverOnRequest(t *testing.T) {
	path := saved(t, func(f *excelize.File) {
		receiptsPage(t, f)
		for _, name := range []string{"Notes", "Empty", "recipt"} {
			_, err := f.NewSheet(name)
			require.NoError(t, err)
		}
		require.NoError(t, f.SetCellValue("Notes", "A1", "x"))
		require.NoError(t, f.SetCellValue("recipt", "A1", "x"))
	})
	got, err := ReadWith(path, Options{SkipOthers: true})
	require.NoError(t, err)
	require.Empty(t, got.Faults)
	require.Len(t, got.Rows, 1)
	require.Equal(t, []string{"Notes", "recipt"}, got.PassedOver)

	dir := t.TempDir()
	require.NoError(t, os.WriteFile(filepath.Join(dir, "codes.csv"), []byte(codesHead+"R1,L1,2026-03-04,,\n"), 0o600))
	require.NoError(t, os.WriteFile(filepath.Join(dir, "notes.csv"), []byte("x\n"), 0o600))
	got, err = ReadWith(dir, Options{SkipOthers: true})
	require.NoError(t, err)
	require.Empty(t, got.Faults)
	require.Equal(t, []string{"notes.csv"}, got.PassedOver)
}

const stringsRels = `<Relationship Id="s" Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/sharedStrings" Target="sharedStrings.xml"/></Relationships>`

// swollen is a small workbook whose texts unpack to so many bytes; it says of itself what it is told to.
func swollen(t *testing.T, unpacked int, says uint64) []byte {
	t.Helper()
	content := []byte("<sst>" + strings.Repeat("<si><t>a</t></si>", unpacked/17) + "</sst>")
	var packed bytes.Buffer
	w, err := flate.NewWriter(&packed, flate.BestCompression)
	require.NoError(t, err)
	_, err = w.Write(content)
	require.NoError(t, err)
	require.NoError(t, w.Close())

	var b bytes.Buffer
	z := zip.NewWriter(&b)
	part, err := z.CreateRaw(&zip.FileHeader{Name: "xl/sharedStrings.xml", Method: zip.Deflate, CRC32: crc32.ChecksumIEEE(content),
		CompressedSize64: uint64(packed.Len()), UncompressedSize64: says})
	require.NoError(t, err)
	_, err = part.Write(packed.Bytes())
	require.NoError(t, err)
	for name, content := range map[string]string{"xl/workbook.xml": bookXML, "xl/_rels/workbook.xml.rels": strings.Replace(relsXML, "</Relationships>", stringsRels, 1),
		"xl/worksheets/one.xml": "<worksheet><sheetData>" + headXML + "</sheetData></worksheet>"} {
		w, err := z.Create(name)
		require.NoError(t, err)
		_, err = w.Write([]byte(content))
		require.NoError(t, err)
	}
	require.NoError(t, z.Close())
	return b.Bytes()
}

// A small file that unpacks hugely is refused before it costs memory, whether it says so or not.
func TestASmallFileThatUnpacksHugelyCostsLittle(t *testing.T) {
	const unpacked = 48 << 20
	for name, c := range map[string]struct {
		says uint64
		want string
	}{
		"as it says":         {unpacked / 17 * 17, "it unpacks to more than 100 times its size"},
		"says it is nothing": {1000, "its part xl/sharedStrings.xml is damaged"},
		"says it is endless": {1 << 62, "it unpacks to more than 100 times its size"},
	} {
		t.Run(name, func(t *testing.T) {
			data := swollen(t, unpacked, c.says)
			require.Less(t, len(data), 1<<20)
			var before, after runtime.MemStats
			runtime.ReadMemStats(&before)
			r := &reading{left: maxRows, room: maxBook}
			err := r.workbook("book.xlsx", bytes.NewReader(data), int64(len(data)))
			runtime.ReadMemStats(&after)
			require.ErrorContains(t, err, c.want)
			require.Less(t, after.TotalAlloc-before.TotalAlloc, uint64(8<<20), "bytes allocated")
		})
	}
}

// Whatever stands in a cell: it is judged, and never twice.
func FuzzMangled(f *testing.F) {
	for _, s := range []string{"1.2E+10", "11-Mar", "#REF!", "44927", "Total", "123456789012345000", "11. Mrz", "12.000 kg"} {
		f.Add(s, s)
	}
	f.Fuzz(func(t *testing.T, first, second string) {
		r := &reading{left: maxRows}
		p := &page{into: r, sheet: mustSheet(t, "receipts"), file: "receipts.csv"}
		p.add(1, strings.Split(strings.TrimSpace(receiptsHead), ","))
		for line := 2; line < 6; line++ {
			p.add(line, []string{first, "MALT", "S-1", second, second, "", "2026-03-04", first, second})
		}
		p.finish()
		checkReading(t, r)
		for _, w := range r.warnings {
			require.NotEmpty(t, w.Reason)
			require.Positive(t, w.Line)
			require.True(t, p.sheet.Has(w.Column))
		}
	})
}
