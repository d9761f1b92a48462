package sheet

import (
	"context"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"heeltap/lots"
)

// calc finds LibreOffice. Without it the check is left out, but not where HEELTAP_CI is set.
func calc(t *testing.T) string {
	path, err := exec.LookPath("soffice")
	if err != nil {
		if os.Getenv("HEELTAP_CI") == "1" {
			t.Fatal("soffice is missing: install libreoffice-calc-nogui")
		}
		t.Skip("needs soffice of libreoffice-calc-nogui")
	}
	return path
}

// converted has LibreOffice open a file and save it in another folder.
func converted(t *testing.T, path, format string) string {
	t.Helper()
	soffice, dir := calc(t), t.TempDir()
	ctx, stop := context.WithTimeout(context.Background(), 3*time.Minute)
	defer stop()
	args := []string{"-env:UserInstallation=file://" + filepath.Join(dir, "profile"), "--headless", "--norestore", "--convert-to", format, "--outdir", filepath.Join(dir, "out"), path}
	if filepath.Ext(path) == ".csv" {
		args = append([]string{"--infilter=CSV:44,34,76"}, args...) // comma, quote, UTF-8
	}
	out, err := exec.CommandContext(ctx, soffice, args...).CombinedOutput()
	require.NoError(t, err, "%s", out)
	found, err := filepath.Glob(filepath.Join(dir, "out", "*"))
	require.NoError(t, err)
	require.Len(t, found, 1, "%s", out)
	return found[0]
}

// temptations are texts that a spreadsheet would make something else of, if it took them for more than text.
var temptations = []string{"007", "1E5", "1.2E+10", "11-Mar", "3-4", "44927", "123456789012345678", "0012345678905", "TRUE", "=1+1", "+49", "@x", "“quoted”", "it’s", "1,234.5", "26/03/04", "00:30", "½", "_x0041_", "a\nb", "# 7", "Lot Ä/ß 12", "1/2"}

// TestLibreOfficeChangesNothing has LibreOffice open a workbook of ours and save it again: not a cell reads differently.
func TestLibreOfficeChangesNothing(t *testing.T) {
	rows, _, err := Read(golden)
	require.NoError(t, err)
	for i, text := range temptations {
		row := lots.Row{"lot": "L-T" + string(rune('A'+i)), "item": "MALT", "supplier": "S-1", "supplier_lot": text, "quantity": "5.25", "unit": "kg", "received_at": "2026-03-04 10:00", "best_by": text, "document": text}
		rows = append(rows, Row{Sheet: mustSheet(t, "receipts"), Row: row})
	}
	path := filepath.Join(t.TempDir(), "records.xlsx")
	require.NoError(t, WriteWorkbook(path, rows))
	was, err := ReadWith(path, Options{})
	require.NoError(t, err)
	require.Empty(t, was.Faults)
	got, err := ReadWith(converted(t, path, "xlsx"), Options{})
	require.NoError(t, err)
	require.Empty(t, got.Faults)
	require.Equal(t, contents(was.Rows), contents(got.Rows))
	require.Equal(t, len(rows), len(got.Rows))
}

// TestLibreOfficeMangles has LibreOffice read a plain CSV file as people open one, and save it as a workbook: what it made of
// the texts is kept as it was, comes with a warning, or
// is refused. (Zeros that a number lost leave no trace in the file.)
func TestLibreOfficeMangles(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "receipts.csv")
	lotsOf := map[string]string{"L-1": "11-Mar", "L-2": "1.23E+12", "L-3": "123456789012345678", "L-4": "WH 24/117", "L-5": "“smart”"}
	text := receiptsHead
	for _, lot := range []string{"L-1", "L-2", "L-3", "L-4", "L-5"} {
		text += lot + ",MALT,S-1," + lotsOf[lot] + ",5,kg,2026-03-04,,\n"
	}
	require.NoError(t, os.WriteFile(path, []byte(text), 0o600))
	got, err := ReadWith(converted(t, path, "xlsx"), Options{})
	require.NoError(t, err)
	require.Len(t, got.Faults, 1)
	require.Contains(t, got.Faults.Error(), "has more than 15 digits", "a rounded number is refused")
	warned := map[int]bool{got.Faults[0].Line: true}
	for _, w := range got.Warnings {
		warned[w.Line] = true
	}
	require.NotEmpty(t, got.Rows)
	kept := map[string]string{}
	for _, r := range got.Rows {
		kept[r.Row["lot"]] = r.Row["supplier_lot"]
		if r.Row["supplier_lot"] != lotsOf[r.Row["lot"]] {
			require.True(t, warned[r.Line], "%s became %q without a word", lotsOf[r.Row["lot"]], r.Row["supplier_lot"])
		}
	}
	require.Equal(t, "WH 24/117", kept["L-4"])
	require.Equal(t, "“smart”", kept["L-5"])
}
